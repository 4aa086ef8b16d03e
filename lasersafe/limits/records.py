"""The records that the tables of an edition become, in the units of the print (nm, s, mrad, mm, J/m2, W/m2)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Objects = NDArray[np.object_]
Range = tuple[float, float]
EVERYWHERE: Range = (0.0, math.inf)
EDGE = 1e-12  # relative distance within which a value counts as on an edge


def inside(span: Range, value: Floats) -> NDArray[np.bool_]:
    """Return whether values lie in a range, both edges included."""
    return np.asarray((value >= span[0] * (1 - EDGE)) & (value <= span[1] * (1 + EDGE)))


@dataclass(frozen=True)
class Source:
    """Where a row stands, and how its figures were obtained."""

    key: str
    locator: str
    seen: str
    note: str

    def __str__(self) -> str:
        return f"{self.key}, {self.locator}"


@dataclass(frozen=True, eq=False)
class Row:
    """One printed row: ranges, and ``constant * x ** power + coefficient * 10 ** (slope * (x - origin))``.

    What x is, the table says: a column of ranges; for C_P the number of pulses. A limit is ``constant * t ** power *
    factors * T_2 ** power_T_2``. Columns that a table does not have keep their defaults.
    """

    source: Source
    formula: str
    wavelength: Range = EVERYWHERE
    duration: Range = EVERYWHERE
    source_angle: tuple[float | None, float | None] = EVERYWHERE  # None stands for alpha_max
    exposure: Range = EVERYWHERE
    pulses: Range = EVERYWHERE
    area: Range = EVERYWHERE
    constant: float = 0.0
    power: float = 0.0
    coefficient: float = 0.0
    slope: float = 0.0
    origin: float = 0.0
    quantity: str = ""  # H | E
    power_T_2: float = 0.0  # noqa: N815  (the symbol as printed)
    factors: tuple[str, ...] = ()
    sizes: tuple[int, ...] = (0, 1, 2)  # 0 small source, 1 extended and shorter than T_2, 2 extended and not shorter
    joined_within: float = 0.0  # T_i
    counted_over: float | None = None  # for how long pulses are counted, None: T_2
    within: bool = False  # C_P for pulses, or groups, not longer than T_i
    floor: float = 0.0  # of C_P

    def at(self, x: Floats | float) -> Floats:
        """Return the value of the row."""
        plain = np.asarray(self.constant * x**self.power)
        if not self.slope:
            return plain
        with np.errstate(over="ignore"):
            return np.asarray(plain + self.coefficient * 10.0 ** (self.slope * (x - self.origin)))


@dataclass(frozen=True)
class LimitTable:
    """The rows of one hazard in one printed table."""

    file: str
    hazard: Mapping[str, str]  # tissue -> hazard
    aperture: str | None  # name of the aperture table, None for that of the tissue
    cone: bool
    whole_nanometres: tuple[float, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Factor:
    """What depends on the wavelength, the source angle or the duration alone."""

    meaning: str
    column: str
    rows: tuple[Row, ...]

    def at(self, x: Floats, strictest: Callable[..., Floats]) -> Floats:
        """Return the value at each x, at an edge the lower or higher of two (`numpy.fmin`, `fmax`); NaN: no row."""
        result = np.full(x.shape, np.nan)
        for row in self.rows:
            here = inside(getattr(row, self.column), x)
            if here.any():
                result = np.where(here, strictest(result, row.at(np.where(here, x, row.origin))), result)
        return result

    def row(self, x: float) -> Row:
        """Return the last row that has begun at x."""
        return next(row for row in reversed(self.rows) if x >= getattr(row, self.column)[0] * (1 - EDGE))


@dataclass(frozen=True)
class AreaRule:
    """The reduction for large exposed areas of skin: ``constant * area ** power`` in W/m2."""

    hazard: str
    wavelength: Range
    duration: Range
    rows: tuple[Row, ...]


@dataclass
class RuleSet:
    """One edition with all its tables, in the units of the print."""

    name: str
    limits: list[LimitTable] = field(default_factory=list)
    factors: dict[str, Factor] = field(default_factory=dict)  # by wavelength
    angle_factors: dict[str, Factor] = field(default_factory=dict)
    time_factors: dict[str, Factor] = field(default_factory=dict)
    apertures: dict[str, tuple[Row, ...]] = field(default_factory=dict)
    area: AreaRule | None = None
    train_hazards: tuple[str, ...] = ()
    longest_pulse: float = 0.0
    train_times: list[Row] = field(default_factory=list)
    train_factors: list[Row] = field(default_factory=list)


@dataclass(frozen=True)
class TrainRow:
    """The limit per pulse that one rule sets for one hazard over one limiting aperture.

    Attributes
    ----------
    rule : str
        "single pulse", "mean" or "train".
    hazard : str
        Name of the hazard.
    per_pulse : numpy.ndarray, shape (...)
        Limit for each pulse, ``inf`` where the rule does not apply. [J/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Diameter over which a pulse is averaged, by the averaging time of the rule. [m]
    pulses : numpy.ndarray, shape (...)
        Number of pulses in the averaging window, or N of the train factor (pulses inside T_i count once). [1]
    pulse_factor : numpy.ndarray, shape (...)
        C_P; 1 for the other rules. [1]
    joined_within : numpy.ndarray, shape (...)
        T_i; NaN for the other rules. [s]
    pulses_joined : numpy.ndarray, shape (...)
        Number of pulses that count as one because they lie inside T_i. [1]
    averaging_time : numpy.ndarray, shape (...)
        Duration for which the limit was taken. [s]
    limit : numpy.ndarray, shape (...)
        Limit for that duration, before it is shared among the pulses. [J/m2]
    """

    rule: str
    hazard: str
    words: Callable[[str], Objects] = field(repr=False)
    per_pulse: Floats
    limiting_aperture: Floats
    pulses: Floats
    pulse_factor: Floats
    joined_within: Floats
    pulses_joined: Floats
    averaging_time: Floats
    limit: Floats

    @property
    def source(self) -> Objects:
        """Document and row, "" where the rule does not apply; shape (...)."""
        return self.words("source")

    @property
    def seen(self) -> Objects:
        """How the row was obtained; shape (...)."""
        return self.words("seen")


@dataclass(frozen=True)
class PulseTrainLimit:
    """The limit for each pulse of a train, and every rule that was worked out.

    Attributes
    ----------
    per_pulse : numpy.ndarray, shape (...)
        The lowest limit. [J/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Diameter that goes with the lowest limit; for a narrow beam compare every row with its own. [m]
    decided : numpy.ndarray of int, shape (...)
        Number of the row that sets it, -1 where none does.
    rows : tuple of TrainRow
        Every rule, hazard and limiting aperture.
    """

    rule_set: str
    tissue: str
    per_pulse: Floats
    limiting_aperture: Floats
    decided: NDArray[np.intp] = field(repr=False)
    rows: tuple[TrainRow, ...]

    @property
    def deciding_rule(self) -> Objects:
        """The rule that sets the lowest limit, "" where none does; shape (...)."""
        return np.asarray(np.array([*(row.rule for row in self.rows), ""], dtype=object)[self.decided])

    @property
    def hazard(self) -> Objects:
        """The hazard that sets it; shape (...)."""
        return np.asarray(np.array([*(row.hazard for row in self.rows), ""], dtype=object)[self.decided])

    @property
    def source(self) -> Objects:
        """Where it stands; shape (...)."""
        found = np.full(self.decided.shape, "", dtype=object)
        for number, row in enumerate(self.rows):
            found = np.where(self.decided == number, row.source, found)
        return found
