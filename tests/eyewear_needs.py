"""Scale numbers from plain figures, as the tables of the documents give them."""

from __future__ import annotations

from lasersafe.hazard import eyewear_scale
from lasersafe.hazard.exposure import Emission
from lasersafe.records import ScaleNeed


def scale_numbers(
    wavelength: float, *, beam_diameter_63: float | tuple[float, float], **figures: float | None
) -> tuple[ScaleNeed, ...]:
    """Return the scale numbers of continuous light (power), of one pulse, or of a train (with a repetition rate)."""
    kind = "continuous" if "power" in figures else "pulse train" if figures.get("repetition_rate") else "single pulse"
    emission = Emission(kind, **{name: figure for name, figure in figures.items() if figure is not None})
    return eyewear_scale.scale_numbers(emission, wavelength, beam_diameter_63)
