"""The records that the tables of an edition become, in the units of the print (nm, s, mrad, mm, J/m2, W/m2)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Range = tuple[float, float]


@dataclass(frozen=True)
class Source:
    """Where a row stands, and how its figures were obtained."""

    key: str
    locator: str
    seen: str
    note: str

    def __str__(self) -> str:
        return f"{self.key}, {self.locator}"


@dataclass(frozen=True)
class LimitRow:
    """One printed limit: ``coefficient * t ** power * factors``, in J/m2 or W/m2."""

    wavelength: Range
    duration: Range
    sizes: tuple[int, ...]  # 0 small source, 1 extended and shorter than T_2, 2 extended and not shorter
    quantity: str  # H | E
    coefficient: float
    power: float
    power_T_2: float  # noqa: N815  (the symbol as printed)
    factors: tuple[str, ...]
    formula: str
    source: Source


@dataclass(frozen=True)
class LimitTable:
    """The rows of one hazard in one printed table."""

    file: str
    hazard: Mapping[str, str]  # tissue -> hazard
    aperture: str | None  # name of the aperture table, None for that of the tissue
    cone: bool
    whole_nanometres: tuple[float, ...]
    rows: tuple[LimitRow, ...]


@dataclass(frozen=True)
class SpectralRow:
    """``constant + coefficient * 10 ** (slope * (x - origin))`` on a range of wavelength or source angle."""

    range: Range
    constant: float
    coefficient: float
    slope: float
    origin: float
    formula: str
    source: Source

    def at(self, value: float) -> float:
        """Return the value of the row at a wavelength or an angle."""
        return self.constant + self.coefficient * float(10.0 ** (self.slope * (value - self.origin)))


@dataclass(frozen=True)
class PowerRow:
    """``value * t ** power`` on a range of wavelength [nm] and duration [s]."""

    wavelength: Range
    duration: Range
    value: float
    power: float
    formula: str
    source: Source


@dataclass(frozen=True)
class Factor:
    """A correction factor, by wavelength or by source angle."""

    name: str
    meaning: str
    rows: tuple[SpectralRow, ...]


@dataclass(frozen=True)
class TimeFactor:
    """A quantity that depends on the duration alone."""

    name: str
    meaning: str
    rows: tuple[PowerRow, ...]


@dataclass(frozen=True)
class AreaRule:
    """The reduction for large exposed areas of skin: ``coefficient * area ** power`` in W/m2."""

    hazard: str
    wavelength: Range
    duration: Range
    rows: tuple[tuple[Range, float, float, Source], ...]


@dataclass(frozen=True)
class TrainTime:
    """T_i, and the time over which pulses are counted (None: T_2), on a range of wavelength [nm]."""

    wavelength: Range
    joined_within: float
    counted_over: float | None
    source: Source


@dataclass(frozen=True)
class TrainFactor:
    """C_P on ranges of exposure time, source angle and number of pulses."""

    within: bool  # for pulses, or groups, not longer than T_i
    exposure: Range
    source_angle: tuple[float | None, float | None]  # [mrad], None stands for alpha_max
    pulses: Range
    value: float
    power: float
    floor: float
    formula: str
    source: Source


@dataclass(frozen=True)
class RuleSet:
    """One edition with all its tables, in the units of the print."""

    name: str
    title: str
    key: str
    limits: tuple[LimitTable, ...]
    factors: Mapping[str, Factor]
    angle_factors: Mapping[str, Factor]
    time_factors: Mapping[str, TimeFactor]
    apertures: Mapping[str, tuple[PowerRow, ...]]
    area: AreaRule | None
    train_hazards: tuple[str, ...]
    longest_pulse: float
    train_times: tuple[TrainTime, ...]
    train_factors: tuple[TrainFactor, ...]
