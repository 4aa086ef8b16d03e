"""Steps, comparisons, zones, eyewear: the lowest of the result records, which a single question needs too."""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.records.fields import HIDDEN, SAME, SPOKEN, badness, highest, told


@dataclass(frozen=True)
class Step:
    """One line of a calculation: symbol, formula, numbers put in, result, source."""

    symbol: str
    meaning: str = field(metadata=SPOKEN)
    formula: str = field(metadata=SPOKEN)
    numbers: str = field(metadata=SPOKEN)
    value: float
    unit: str
    source: str = field(metadata=SPOKEN)
    seen: str = "read"  # read | part | memory | common practice | own


@dataclass(frozen=True)
class Criterion:
    """One limit that an emission is compared with, under one rule of one rule set.

    ``amount`` (W or J) spread over the limiting aperture is compared with ``limit`` (W/m2 or J/m2).
    """

    rule_set: str
    tissue: str  # eye | skin
    hazard: str = field(metadata=SPOKEN)  # retina thermal, cornea thermal, ultraviolet photochemical ...
    rule: str = field(metadata=SPOKEN)  # continuous | single pulse | mean | train
    amount: float
    amount_unit: str  # W | J
    limit: float = field(metadata=told(unit="limit_unit"))
    limit_unit: str  # W/m2 | J/m2
    limiting_aperture: float
    duration: float = field(metadata=told("duration_s"))
    source: str
    seen: str = "read"
    note: str = field(default="", metadata=SPOKEN)
    steps: tuple[Step, ...] = ()

    @property
    def retinal(self) -> bool:
        """Whether an image on the retina is judged: nobody focuses on what is nearer than 0.1 m."""
        return self.hazard.startswith("retina")


@dataclass(frozen=True)
class Zone:
    """How far one way for light reaches: the distance beyond which the computed exposure is below the limit."""

    way: str = field(metadata=SAME)  # direct | mirror | scatter
    tissue: str = field(metadata=SAME)  # eye | skin
    # [m] from the last optic; for scatter, from the surface
    distance: float = field(metadata=told("distance_m", rank=1, worse=badness))
    origin: str = field(metadata=told("from", spoken=True))  # "last optic" or "surface"
    distance_from_focus: float | None = field(metadata=told("distance_from_focus_m"))  # [m] after a lens
    # rule set -> distance [m]
    by_rule_set: dict[str, float] = field(
        default_factory=dict, kw_only=True, metadata=told("by_rule_set_m", each=highest)
    )
    # the one that decides
    criterion: Criterion = field(metadata=told(inside=("rule_set", "hazard", "rule", "duration", "limit")))
    note: str = field(default="", kw_only=True, metadata=SPOKEN)
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class ScaleNeed:
    """The EN 207 scale number that one mode letter asks for."""

    mode: str  # D | I | R | M
    scale_number: int | None  # None: beyond what the standard knows
    density_value: float  # what the filter must withstand
    density_unit: str  # W/m2 | J/m2
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class MarkingVerdict:
    """What is to be thought of eyewear as marked."""

    text: str = field(metadata=told("typed"))  # the marking as typed
    enough: bool
    # enough | enough against scatter only | not enough | wrong wavelength | not marked for this mode
    verdict: str = field(metadata=SPOKEN)
    reasons: tuple[str, ...] = field(default=(), metadata=told(hidden=True, spoken=True))
    # marked bands [nm] that end within 1 % of the wavelength
    ends: tuple[str, ...] = field(default=(), metadata=told("bands_that_end_here_nm"))


def _numbers(scales: tuple[ScaleNeed, ...]) -> dict[str, int | None]:
    return {scale.mode: scale.scale_number for scale in scales}


@dataclass(frozen=True, kw_only=True)
class EyewearNeed:
    """What eyewear has to carry at a stated closest distance."""

    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)
    person: str = field(metadata=SAME)
    wavelength: float = field(metadata=told("wavelength_m"))
    distance: float | None = field(metadata=told("distance_m"))
    optical_density: float = field(metadata=told(each=highest))  # rounded up to 0.1
    # what would bring a direct hit below the skin limit, rounded up to 0.1
    optical_density_skin: float = field(default=0.0, metadata=told(each=highest))
    scales: tuple[ScaleNeed, ...] = field(metadata=told("scale_numbers", shown=_numbers))
    marking: str = field(metadata=SPOKEN)  # one line to ask for, as "1070 D LB8"
    decides: str = field(metadata=SPOKEN)  # sentence: which of density and damage class decides
    reliable: bool = field(metadata=told(each=all))
    no_reliance: str = field(metadata=SPOKEN)  # the reason, starting "no eyewear can be relied on here", or ""
    verdict: MarkingVerdict | None = field(default=None, metadata=told("worn"))  # on the eyewear that the person wears
    notes: tuple[str, ...] = field(default=(), metadata=SPOKEN)
    optical_density_exact: float = field(metadata=told(hidden=True, each=highest))
    tissue: str = field(metadata=HIDDEN)
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)
    # [m] all that the marking covers, where a tolerance makes several of one
    wavelengths: tuple[float, ...] = field(default=(), metadata=HIDDEN)
