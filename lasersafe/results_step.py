"""Steps, comparisons, zones, eyewear: the lowest of the result records, which a single question needs too."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Step:
    """One line of a calculation: symbol, formula, numbers put in, result, source."""

    symbol: str
    meaning: str
    formula: str
    numbers: str
    value: float
    unit: str
    source: str
    seen: str = "read"  # read | part | memory | common practice | own


@dataclass(frozen=True)
class Criterion:
    """One limit that an emission is compared with, under one rule of one rule set.

    ``amount`` (W or J) spread over the limiting aperture is compared with ``limit`` (W/m2 or J/m2).
    """

    rule_set: str
    tissue: str  # eye | skin
    hazard: str  # retina thermal, cornea thermal, ultraviolet photochemical ...
    rule: str  # continuous | single pulse | mean | train
    amount: float
    amount_unit: str  # W | J
    limit: float
    limit_unit: str  # W/m2 | J/m2
    limiting_aperture: float
    duration: float
    source: str
    seen: str = "read"
    note: str = ""
    steps: tuple[Step, ...] = ()

    @property
    def retinal(self) -> bool:
        """Whether an image on the retina is judged: nobody focuses on what is nearer than 0.1 m."""
        return self.hazard.startswith("retina")


@dataclass(frozen=True)
class Zone:
    """How far one way for light reaches: the distance beyond which the computed exposure is below the limit."""

    way: str  # direct | mirror | scatter
    tissue: str  # eye | skin
    distance: float  # [m] from the last optic; for scatter, from the surface
    origin: str  # "last optic" or "surface"
    distance_from_focus: float | None  # [m] after a lens
    criterion: Criterion  # the one that decides
    by_rule_set: dict[str, float] = field(default_factory=dict)  # rule set -> distance [m]
    steps: tuple[Step, ...] = ()
    note: str = ""


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

    text: str  # the marking as typed
    enough: bool
    verdict: str  # enough | enough against scatter only | not enough | wrong wavelength | not marked for this mode
    reasons: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()  # marked bands [nm] that end within 1 % of the wavelength


@dataclass(frozen=True)
class EyewearNeed:
    """What eyewear has to carry at a stated closest distance."""

    laser: str
    setup: str
    person: str
    wavelength: float
    distance: float | None
    optical_density: float  # rounded up to 0.1
    optical_density_exact: float
    tissue: str
    scales: tuple[ScaleNeed, ...]
    decides: str  # sentence: which of density and damage class decides
    marking: str  # one line to ask for, as "1070 D LB8"
    reliable: bool
    no_reliance: str  # the reason, starting "no eyewear can be relied on here", or ""
    notes: tuple[str, ...] = ()
    verdict: MarkingVerdict | None = None  # on the eyewear that the person wears
    optical_density_skin: float = 0.0  # what would bring a direct hit below the skin limit, rounded up to 0.1
    steps: tuple[Step, ...] = ()
    wavelengths: tuple[float, ...] = ()  # [m] all that the marking covers, where a tolerance makes several of one
