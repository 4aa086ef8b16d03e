"""The tables of an edition as records, in the units of the print (nm, s, mrad, mm, J/m2, W/m2), and how they are read.

A table file holds one table as printed: where it stands (``[source]``), and its rows (``[table]``). Every range is
``[from, to)``; strings keep the printed digits. Reading refuses what is not whole; nothing here evaluates a limit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.data import load_toml, shared_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.quantity import choice

Floats = NDArray[np.float64]
Objects = NDArray[np.object_]
Range = tuple[float, float]
EVERYWHERE: Range = (0.0, math.inf)
EDGE = 1e-12  # relative distance within which a value counts as on an edge
_BESIDE = 1e-9


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

    @cached_property
    def shortest_joined(self) -> float:
        """The least T_i, or 0. [s]."""
        return min((row.joined_within for row in self.train_times), default=0.0)

    @cached_property
    def factor_falls(self) -> tuple[float, ...]:
        """The angles just beyond which C_P of pulses longer than T_i falls. [rad]."""
        lows = {row.source_angle[0] for row in self.train_factors if row.power < 0.0 and not row.within}
        return tuple(low * 1e-3 * (1.0 + _BESIDE) for low in sorted(filter(None, lows)))


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


_SOURCE_KEYS = {"key", "locator", "seen", "errata"}
_SEEN = {"read", "part", "memory", "common practice"}
_RANGES = {  # column: unit, its name in a locator
    "wavelength": ("nm", ""),
    "duration": ("s", ""),
    "source_angle": ("mrad", ""),
    "exposure": ("s", "exposure"),
    "pulses": ("1", "N"),
    "area": ("m2", "area"),
}
_VALUES = {"H": "J/m2", "E": "W/m2", "diameter": "mm", "value": "", "constant": ""}  # "": the table says
_UNITS = {
    **{column: unit for column, (unit, _) in _RANGES.items()},
    **{column: unit for column, unit in _VALUES.items() if unit},
    **{"T_i": "s", "counted_over": "s", "longest_pulse": "s"},
}
_CURVE = ("coefficient", "slope", "per", "origin")
_KINDS: dict[str, tuple[set[str], set[str], set[str], set[str]]] = {
    # kind: table keys needed, table keys allowed, row keys needed, row keys allowed
    "limit": (
        {"hazard"},
        {"cone", "aperture", "whole_nanometres"},
        {"wavelength", "duration"},
        {"H", "E", "power", "power_T_2", "factors", "source"},
    ),
    "factor": ({"name", "meaning"}, set(), {"wavelength"}, {"constant", *_CURVE}),
    "angle factor": ({"name", "meaning"}, set(), {"source_angle"}, {"constant", *_CURVE}),
    "time factor": ({"name", "meaning"}, set(), {"duration", "value"}, {"power"}),
    "aperture": ({"name"}, set(), {"wavelength", "duration", "diameter"}, {"power"}),
    "area": ({"hazard", "wavelength", "duration"}, set(), {"area", "E"}, {"power"}),
    "train time": ({"hazards", "longest_pulse"}, set(), {"wavelength", "T_i", "counted_over"}, set()),
    "train factor": (set(), set(), {"pulse", "exposure", "source_angle", "pulses", "value"}, {"power", "floor"}),
}


def _keys(where: str, found: Iterable[str], needed: set[str], allowed: set[str]) -> None:
    for name in sorted(needed - {*found}):
        _require(False, f"{where} lacks '{name}'")
    for name in sorted({*found} - needed - allowed):
        _require(False, f"{where} has the unknown key '{name}'")


def _require(good: bool, message: str) -> None:
    if not good:
        raise ReferenceDataError(message)


def _number(text: Any) -> float:
    try:
        return float(text)
    except (TypeError, ValueError):
        refuse(f"'{text}' is not a number", ReferenceDataError)


def _range(pair: Any) -> Range:
    _require(isinstance(pair, list) and len(pair) == 2, f"{pair!r} is not a range [from, to]")
    low, high = (_number(end) for end in pair)
    _require(low < high, f"the range {pair!r} does not rise")
    return low, high


def _tile(what: str, ranges: Iterable[Range]) -> None:
    """Refuse a gap or an overlap between neighbouring ranges of one column."""
    for (_, end), (start, _) in pairwise(sorted(ranges)):
        _require(start <= end, f"{what} has a gap from {end:g} to {start:g}")
        _require(start >= end, f"{what} overlaps from {start:g} to {end:g}")


def _tile_plane(rows: Iterable[Row]) -> None:
    """Refuse gaps and overlaps: no hole in the wavelengths, and none in the durations of any one wavelength."""
    boxes = [(row.wavelength, row.duration) for row in rows]
    for low, high in pairwise(sorted({edge for wavelength, _ in boxes for edge in wavelength})):
        column = [duration for wavelength, duration in boxes if wavelength[0] <= low and high <= wavelength[1]]
        _require(bool(column), f"wavelength has a gap from {low:g} to {high:g}")
        _tile(f"duration, at {low:g} nm to {high:g} nm,", column)


def _check(content: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    _keys("the file", content, {"source", "table"}, set())
    source, table = content["source"], content["table"]
    _keys("[source]", source, _SOURCE_KEYS, {"read_in"})
    _require(source["seen"] in _SEEN, f"seen = '{source['seen']}' is none of {', '.join(sorted(_SEEN))}")
    kind = table.get("kind")
    _require(kind in _KINDS, f"kind = '{kind}' is none of {', '.join(_KINDS)}")
    needed, allowed, row_needed, row_allowed = _KINDS[kind]
    _keys("[table]", table, needed | {"kind", "unit", "row"}, allowed)
    for number, row in enumerate(table["row"], start=1):
        _keys(f"row {number}", row, row_needed, row_allowed | {"seen", "note"})
    columns = (row_needed | row_allowed | needed) & {*_UNITS, *_VALUES}
    wanted = {"value" if column == "constant" else column for column in columns}
    for column in sorted(wanted - set(table["unit"])):
        _require(False, f"column '{column}' has no unit")
    for column, given in table["unit"].items():
        _require(column in wanted, f"unit names the unknown column '{column}'")
        unit = _UNITS.get(column, given)
        _require(given == unit, f"column '{column}' is in '{given}'; only '{unit}' is read")
    return source, table


def _formula(symbol: str, row: dict[str, Any], value: str | None) -> str:
    variable = "N" if symbol == "C_P" else "t"
    terms = [f"{variable}^{row['power']}"] if "power" in row else []
    terms += row.get("factors", [])
    terms += [f"T_2^{row['power_T_2']}"] if "power_T_2" in row else []
    if value and not (terms and row[value] == "1"):
        terms.insert(0, row[value])
    parts = [" ".join(terms)] if value else []
    if "origin" in row:
        argument = f"({'alpha' if 'source_angle' in row else 'lambda'} - {row['origin']})"
        times = f"{row['coefficient']} x " if row.get("coefficient", "1") != "1" else ""
        parts.append(f"{times}10^({row['slope'] + ' ' + argument if 'slope' in row else argument + '/' + row['per']})")
    return f"{symbol} = {' + '.join(parts)}" + (f", not below {row['floor']}" if "floor" in row else "")


def _locator(row: dict[str, Any]) -> str:
    found = [f"pulse {row['pulse']}"] if "pulse" in row else []
    for column, (unit, name) in _RANGES.items():
        low, high = row.get(column, ("0", "inf"))
        if high != "inf" or low not in ("0", "1"):
            name = "alpha" if column == "source_angle" and "pulse" in row else name
            ends = f"from {low}" if high == "inf" else f"{low} to {high}"
            found.append(f"{name} {ends} {unit if unit != '1' else ''}".strip())
    return ", ".join(found + ([f"{row['source']} source"] if "source" in row else []))


def _row(source: dict[str, Any], table: dict[str, Any], row: dict[str, Any]) -> Row:
    values = [column for column in _VALUES if column in row]
    value = values[0] if values else None
    kind, columns = table["kind"], dict(row)
    more: dict[str, Any] = {"constant": _number(row[value]) if value else 0.0}
    if kind == "limit":
        _require(len(values) == 1, "a row needs either H or E")
        more |= {"quantity": value, "factors": tuple(row.get("factors", ())), "sizes": _sizes(table, columns)}
    elif kind == "train factor":
        _require(
            row["pulse"] in ("within T_i", "beyond T_i"),
            f"pulse = '{row['pulse']}' is neither 'within T_i' nor 'beyond T_i'",
        )
        angles = columns.pop("source_angle")
        ends = tuple(None if end == "alpha_max" else _number(end) for end in angles)
        more |= {"within": row["pulse"] == "within T_i", "source_angle": ends}
    elif kind == "train time":
        over = row["counted_over"]
        more |= {"joined_within": _number(row["T_i"]), "counted_over": None if over == "T_2" else _number(over)}
    curved = "slope" in row or "per" in row
    good = ("origin" in row) == curved and (curved or bool(value) or kind == "train time")
    _require(good, "a row needs a constant, or a slope with its origin, or both")
    if curved:
        slope = _number(row["slope"]) if "slope" in row else 1.0 / _number(row["per"])
        more |= {"slope": slope, "coefficient": _number(row.get("coefficient", 1)), "origin": _number(row["origin"])}
    symbol = (
        value if kind == "limit" else {"aperture": "aperture", "train factor": "C_P"}.get(kind, table.get("name", ""))
    )
    more |= {column: _range(columns[column]) for column in _RANGES if column in columns}
    more |= {column: _number(row[column]) for column in ("power", "power_T_2", "floor") if column in row}
    where = ": ".join(filter(None, (source["locator"], _locator(row))))
    origin = Source(source["key"], where, row.get("seen", source["seen"]), row.get("note", ""))
    return Row(origin, _formula(str(symbol), row, value), **more)


def _sizes(table: dict[str, Any], row: dict[str, Any]) -> tuple[int, ...]:
    """Return for which sizes of the source a row holds, and put times in place of T_2."""
    size = row.get("source")
    _require(size in (None, "small", "extended"), f"source = '{size}' is neither 'small' nor 'extended'")
    start, end = row["duration"]
    extended = size == "extended"
    _require(extended or "T_2" not in (start, end), "T_2 is the end of a range only where source = 'extended'")
    if end == "T_2":
        row["duration"] = [start, "3e4"]
        return (1,)
    if start == "T_2":
        before = [
            o["duration"] for o in table["row"] if o["wavelength"] == row["wavelength"] and o["duration"][1] == "T_2"
        ]
        row["duration"] = [before[-1][0] if before else "10", end]
        return (2,)
    return {None: (0, 1, 2), "small": (0,), "extended": (1, 2)}[size]


MORE_FOLDERS: list[Path] = []  # each with a rule_sets.toml and its tables, beside shared/limits; for tests


def _index() -> dict[str, tuple[Path, dict[str, Any]]]:
    folders = (shared_path("limits"), *MORE_FOLDERS)
    return {entry["name"]: (folder, entry) for folder in folders for entry in _entries(folder)}


@lru_cache(maxsize=4)
def _entries(folder: Path) -> list[dict[str, Any]]:
    return list(load_toml(folder / "rule_sets.toml")["rule_set"])


def rule_sets() -> tuple[str, ...]:
    """Return the names of the editions that can be asked for, the default first.

    Examples
    --------
    >>> rule_sets()
    ('ICNIRP-2013', 'EU-2006/25/EC')
    """
    return tuple(_index())


@lru_cache(maxsize=8)
def load_rule_set(name: str) -> RuleSet:
    """Return an edition with all its tables.

    Parameters
    ----------
    name : str
        One of `rule_sets`.

    Raises
    ------
    InputError
        If there is no such edition.
    ReferenceDataError
        If a table has a gap, an overlap, an unknown key or a column without a unit.
    """
    choice("rule set", name, _index())
    folder, entry = _index()[name]
    files = [f"{entry['prefix']}_{table}.toml" for table in entry["tables"]]
    return assemble(name, {file: load_toml(folder / file) for file in files})


def assemble(name: str, contents: Mapping[str, dict[str, Any]]) -> RuleSet:
    """Return the edition that the contents of table files make up."""
    rules = RuleSet(name)
    for file, content in contents.items():
        try:
            _add(rules, file, *_check(content))
        except ReferenceDataError as error:
            refuse(f"data file {file}: {error}", ReferenceDataError)
    return rules


def _add(rules: RuleSet, file: str, source: dict[str, Any], table: dict[str, Any]) -> None:
    kind, rows = table["kind"], tuple(_row(source, table, row) for row in table["row"])
    if kind == "limit":
        for size in (0, 1, 2):
            _tile_plane(row for row in rows if size in row.sizes)
        whole = tuple(_number(edge) for edge in table.get("whole_nanometres", ()))
        cone = bool(table.get("cone"))
        rules.limits.append(LimitTable(file, dict(table["hazard"]), table.get("aperture"), cone, whole, rows))
    elif kind == "aperture":
        _tile_plane(rows)
        rules.apertures[table["name"]] = rows
    elif kind == "train factor":
        rules.train_factors.extend(rows)
    else:
        column = {"angle factor": "source_angle", "time factor": "duration", "area": "area"}.get(kind, "wavelength")
        _tile(column, [getattr(row, column) for row in rows])
        if kind == "area":
            rules.area = AreaRule(table["hazard"], _range(table["wavelength"]), _range(table["duration"]), rows)
        elif kind == "train time":
            rules.train_hazards, rules.longest_pulse = tuple(table["hazards"]), _number(table["longest_pulse"])
            rules.train_times.extend(rows)
        else:
            kept = {"factor": rules.factors, "angle factor": rules.angle_factors, "time factor": rules.time_factors}
            kept[kind][table["name"]] = Factor(table["meaning"], column, rows)
