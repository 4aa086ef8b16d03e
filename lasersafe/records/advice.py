"""What a scene adds beside its zones: rules of a region, and advice for cameras."""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.records.fields import SAME, badness, told


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


def _share(ratio: float | None) -> float:
    """No threshold for the wavelength is worse than a share below 1, and better than one above."""
    return 1.0 if ratio is None else badness(ratio)


@dataclass(frozen=True, kw_only=True)
class CameraLine:
    """What one camera may receive on one way: advice, never a verdict."""

    camera: str = field(metadata=SAME)
    laser: str = field(default="", metadata=SAME)
    setup: str = field(default="", metadata=SAME)
    way: str = field(metadata=SAME)  # direct | mirror | scatter
    surface: str = ""
    distance: float  # [m] along the beam, or from the lit surface
    exposure: float = field(metadata=told(rank=2, worse=badness))  # in the image
    unit: str  # W/m2 | J/m2, of one pulse
    spot: float  # [m] diameter of the image
    resolved: bool
    threshold: float | None  # the lowest published one for this wavelength and mode
    threshold_source: str
    ratio: float | None = field(metadata=told(rank=1, worse=_share))
    words: str
    advice: tuple[str, ...] = ()
