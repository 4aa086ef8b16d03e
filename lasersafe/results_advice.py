"""What a scene adds beside its zones: rules of a region, and advice for cameras."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SpectatorRule:
    """One row of a pack of regional rules for spectators, judged on this plan."""

    pack: str
    pack_name: str
    rule: str
    text: str
    outcome: str  # met | not met | cannot be judged from this case | does not apply
    words: str  # what is asked, and what was found
    source: str
    seen: str


@dataclass(frozen=True)
class CameraLine:
    """What one camera may receive on one way: advice, never a verdict."""

    camera: str
    laser: str
    setup: str
    way: str  # direct | mirror | scatter
    surface: str
    distance: float  # [m] along the beam, or from the lit surface
    exposure: float  # in the image
    unit: str  # W/m2 | J/m2, of one pulse
    spot: float  # [m] diameter of the image
    resolved: bool
    threshold: float | None  # the lowest published one for this wavelength and mode
    threshold_source: str
    ratio: float | None
    words: str
    advice: tuple[str, ...] = ()
