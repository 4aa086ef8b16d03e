"""Read the tables of an edition and refuse what is not whole.

A table file holds one table as printed: where it stands (``[source]``), and its rows (``[table]``). Every range is
``[from, to)``; strings keep the printed digits. Nothing here evaluates a limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError, ReferenceDataError
from lasersafe.limits.records import (
    AreaRule,
    Factor,
    LimitRow,
    LimitTable,
    Range,
    Row,
    RuleSet,
    Source,
    TrainFactor,
    TrainTime,
)
from lasersafe.reference import load_toml, shared_path

_SOURCE_KEYS = {"key", "locator", "seen", "errata"}
_SEEN = {"read", "part", "memory", "common practice"}
_UNITS = {
    "wavelength": "nm",
    "duration": "s",
    "H": "J/m2",
    "E": "W/m2",
    "diameter": "mm",
    "area": "m2",
    "source_angle": "mrad",
    "exposure": "s",
    "pulses": "1",
    "T_i": "s",
    "counted_over": "s",
    "longest_pulse": "s",
}
_KINDS: dict[str, tuple[set[str], set[str], set[str], set[str]]] = {
    # kind: table keys needed, table keys allowed, row keys needed, row keys allowed
    "limit": (
        {"hazard"},
        {"cone", "aperture", "whole_nanometres"},
        {"wavelength", "duration"},
        {"H", "E", "power", "power_T_2", "factors", "source"},
    ),
    "factor": ({"name", "meaning"}, set(), {"wavelength"}, {"constant", "coefficient", "slope", "origin"}),
    "angle factor": ({"name", "meaning"}, set(), {"source_angle"}, {"constant", "coefficient", "per", "origin"}),
    "time factor": ({"name", "meaning"}, set(), {"duration", "value"}, {"power"}),
    "aperture": ({"name"}, set(), {"wavelength", "duration", "diameter"}, {"power"}),
    "area": ({"hazard", "wavelength", "duration"}, set(), {"area", "E"}, {"power"}),
    "train time": ({"hazards", "longest_pulse"}, set(), {"wavelength", "T_i", "counted_over"}, set()),
    "train factor": (set(), set(), {"pulse", "exposure", "source_angle", "pulses", "value"}, {"power", "floor"}),
}


def _refuse(file: str, message: str) -> ReferenceDataError:
    return ReferenceDataError(f"data file {file}: {message}")


def _keys(file: str, where: str, found: Iterable[str], needed: set[str], allowed: set[str]) -> None:
    names = set(found)
    for name in sorted(needed - names):
        raise _refuse(file, f"{where} lacks '{name}'")
    for name in sorted(names - needed - allowed):
        raise _refuse(file, f"{where} has the unknown key '{name}'")


def _number(file: str, text: Any) -> float:
    try:
        return float(text)
    except (TypeError, ValueError):
        raise _refuse(file, f"'{text}' is not a number") from None


def _range(file: str, pair: Any) -> Range:
    if not isinstance(pair, list) or len(pair) != 2:
        raise _refuse(file, f"{pair!r} is not a range [from, to]")
    low, high = (_number(file, end) for end in pair)
    if not low < high:
        raise _refuse(file, f"the range {pair!r} does not rise")
    return low, high


def tile(file: str, what: str, ranges: list[Range]) -> None:
    """Refuse a gap or an overlap between neighbouring ranges of one column."""
    ordered = sorted(ranges)
    for (_, end), (start, _) in pairwise(ordered):
        if start > end:
            raise _refuse(file, f"{what} has a gap from {end:g} to {start:g}")
        if start < end:
            raise _refuse(file, f"{what} overlaps from {start:g} to {end:g}")


def _tile_plane(file: str, boxes: list[tuple[Range, Range]]) -> None:
    """Refuse gaps and overlaps: no hole in the wavelengths, and none in the durations of any one wavelength."""
    edges = sorted({edge for wavelength, _ in boxes for edge in wavelength})
    for low, high in pairwise(edges):
        column = [duration for wavelength, duration in boxes if wavelength[0] <= low and high <= wavelength[1]]
        if not column:
            raise _refuse(file, f"wavelength has a gap from {low:g} to {high:g}")
        tile(file, f"duration, at {low:g} nm to {high:g} nm,", column)


def _check(file: str, content: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    _keys(file, "the file", content, {"source", "table"}, set())
    source, table = content["source"], content["table"]
    _keys(file, "[source]", source, _SOURCE_KEYS, {"read_in"})
    if source["seen"] not in _SEEN:
        raise _refuse(file, f"seen = '{source['seen']}' is none of {', '.join(sorted(_SEEN))}")
    kind = table.get("kind")
    if kind not in _KINDS:
        raise _refuse(file, f"kind = '{kind}' is none of {', '.join(_KINDS)}")
    needed, allowed, row_needed, row_allowed = _KINDS[kind]
    _keys(file, "[table]", table, needed | {"kind", "unit", "row"}, allowed)
    for number, row in enumerate(table["row"], start=1):
        _keys(file, f"row {number}", row, row_needed, row_allowed | {"seen", "note"})
    _check_units(file, table, (row_needed | row_allowed | needed) & (set(_UNITS) | {"value", "constant"}))
    return source, table


def _check_units(file: str, table: dict[str, Any], columns: set[str]) -> None:
    unit = table["unit"]
    wanted = {"value" if column == "constant" else column for column in columns}
    for column in sorted(wanted - set(unit)):
        raise _refuse(file, f"column '{column}' has no unit")
    for column, given in unit.items():
        if column not in wanted:
            raise _refuse(file, f"unit names the unknown column '{column}'")
        if column in _UNITS and given != _UNITS[column]:
            raise _refuse(file, f"column '{column}' is in '{given}'; only '{_UNITS[column]}' is read")


def _source(source: dict[str, Any], row: dict[str, Any], where: str) -> Source:
    return Source(
        source["key"],
        f"{source['locator']}: {where}" if where else source["locator"],
        row.get("seen", source["seen"]),
        row.get("note", ""),
    )


def _span(name: str, pair: list[str], unit: str) -> str:
    ends = f"from {pair[0]}" if pair[1] == "inf" else f"{pair[0]} to {pair[1]}"
    return f"{name} {ends} {unit}".strip()


def _limit_row(file: str, source: dict[str, Any], row: dict[str, Any], t2_from: Mapping[Any, str]) -> LimitRow:
    quantities = [name for name in ("H", "E") if name in row]
    if len(quantities) != 1:
        raise _refuse(file, "a row needs either H or E")
    quantity, size, factors = quantities[0], row.get("source"), row.get("factors", [])
    if size not in (None, "small", "extended"):
        raise _refuse(file, f"source = '{size}' is neither 'small' nor 'extended'")
    start, end = row["duration"]
    sizes: tuple[int, ...] = {None: (0, 1, 2), "small": (0,), "extended": (1, 2)}[size]
    if "T_2" in (start, end) and size != "extended":
        raise _refuse(file, "T_2 is the end of a range only where source = 'extended'")
    if end == "T_2":
        sizes, end = (1,), "3e4"
    if start == "T_2":
        sizes, start = (2,), t2_from.get(tuple(row["wavelength"]), "10")
    parts = [row[quantity]] if row[quantity] != "1" or not factors else []
    parts += [f"t^{row['power']}"] if "power" in row else []
    parts += factors
    parts += [f"T_2^{row['power_T_2']}"] if "power_T_2" in row else []
    where = [_span("", row["wavelength"], "nm"), _span("", row["duration"], "s")] + ([f"{size} source"] if size else [])
    return LimitRow(
        wavelength=_range(file, row["wavelength"]),
        duration=_range(file, [start, end]),
        sizes=sizes,
        quantity=quantity,
        coefficient=_number(file, row[quantity]),
        power=_number(file, row.get("power", 0)),
        power_T_2=_number(file, row.get("power_T_2", 0)),
        factors=tuple(factors),
        formula=f"{quantity} = {' '.join(parts)}",
        source=_source(source, row, ", ".join(where)),
    )


def _limit_table(file: str, source: dict[str, Any], table: dict[str, Any]) -> LimitTable:
    before_t2 = {tuple(row["wavelength"]): row["duration"][0] for row in table["row"] if row["duration"][1] == "T_2"}
    rows = tuple(_limit_row(file, source, row, before_t2) for row in table["row"])
    for size in (0, 1, 2):
        boxes = [(row.wavelength, row.duration) for row in rows if size in row.sizes]
        _tile_plane(file, boxes)
    whole = tuple(_number(file, edge) for edge in table.get("whole_nanometres", ()))
    return LimitTable(file, dict(table["hazard"]), table.get("aperture"), bool(table.get("cone")), whole, rows)


def _row(file: str, source: dict[str, Any], row: dict[str, Any], name: str, column: str) -> Row:
    """Read a row of a table with one value by wavelength, source angle or duration."""
    value = "diameter" if "diameter" in row else "value" if "value" in row else "constant"
    curved = "slope" in row or "per" in row
    if ("origin" in row) != curved or not (curved or value in row):
        raise _refuse(file, "a row needs a constant, or a slope with its origin, or both")
    parts = [row[value] + (f" t^{row['power']}" if "power" in row else "")] if value in row else []
    slope = 0.0
    if curved:
        slope = _number(file, row["slope"]) if "slope" in row else 1.0 / _number(file, row["per"])
        argument = f"({'alpha' if column == 'source_angle' else 'lambda'} - {row['origin']})"
        times = f"{row['coefficient']} x " if row.get("coefficient", "1") != "1" else ""
        parts.append(f"{times}10^({row['slope'] + ' ' + argument if 'slope' in row else argument + '/' + row['per']})")
    columns = ("wavelength", "duration") if "wavelength" in row and column == "duration" else (column,)
    where = ", ".join(_span("", row[one], _UNITS[one]) for one in columns)
    return Row(
        range=_range(file, row[column]),
        wavelength=_range(file, row.get("wavelength", ["0", "inf"])),
        constant=_number(file, row.get(value, 0)),
        power=_number(file, row.get("power", 0)),
        coefficient=_number(file, row.get("coefficient", 1)) if curved else 0.0,
        slope=slope,
        origin=_number(file, row.get("origin", 0)),
        formula=f"{name} = {' + '.join(parts)}",
        source=_source(source, row, where),
    )


def _train_time(file: str, source: dict[str, Any], row: dict[str, Any]) -> TrainTime:
    return TrainTime(
        _range(file, row["wavelength"]),
        _number(file, row["T_i"]),
        None if row["counted_over"] == "T_2" else _number(file, row["counted_over"]),
        _source(source, row, _span("", row["wavelength"], "nm")),
    )


def _train_factor(file: str, source: dict[str, Any], row: dict[str, Any]) -> TrainFactor:
    if row["pulse"] not in ("within T_i", "beyond T_i"):
        raise _refuse(file, f"pulse = '{row['pulse']}' is neither 'within T_i' nor 'beyond T_i'")
    low, high = (None if end == "alpha_max" else _number(file, end) for end in row["source_angle"])
    value, power, floor = row["value"], row.get("power"), row.get("floor")
    formula = f"C_P = {value}" if not power else f"C_P = {value + ' ' if value != '1' else ''}N^{power}"
    where = [f"pulse {row['pulse']}"]
    for column, name, start in (("exposure", "exposure", "0"), ("source_angle", "alpha", "0"), ("pulses", "N", "1")):
        if row[column] != [start, "inf"]:
            where.append(_span(name, row[column], _UNITS[column] if column != "pulses" else ""))
    return TrainFactor(
        row["pulse"] == "within T_i",
        _range(file, row["exposure"]),
        (low, high),
        _range(file, row["pulses"]),
        _number(file, value),
        _number(file, power or 0),
        _number(file, floor or 0),
        formula + (f", not below {floor}" if floor else ""),
        _source(source, row, ", ".join(where)),
    )


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


def nearest(value: object, field: str, known: Iterable[str]) -> InputError:
    """Return the error for a name that is not known, naming the nearest one."""
    from difflib import get_close_matches

    names = list(known)
    close = get_close_matches(str(value), names, n=1, cutoff=0.4)
    hint = f"; did you mean '{close[0]}'?" if close else ""
    return InputError(f"{field} = {value!r} is not known; choose one of {', '.join(names)}{hint}")


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
    if name not in _index():
        raise nearest(name, "rule set", rule_sets())
    folder, entry = _index()[name]
    files = [f"{entry['prefix']}_{table}.toml" for table in entry["tables"]]
    return assemble(name, {file: load_toml(folder / file) for file in files})


def assemble(name: str, contents: Mapping[str, dict[str, Any]]) -> RuleSet:
    """Return the edition that the contents of table files make up."""
    limits: list[LimitTable] = []
    factors: dict[str, dict[str, Factor]] = {"factor": {}, "angle factor": {}, "time factor": {}}
    apertures: dict[str, tuple[Row, ...]] = {}
    area: AreaRule | None = None
    train: tuple[tuple[str, ...], float, tuple[TrainTime, ...]] = ((), 0.0, ())
    train_factors: tuple[TrainFactor, ...] = ()
    for file, content in contents.items():
        source, table = _check(file, content)
        rows, kind = table["row"], table["kind"]
        if kind == "limit":
            limits.append(_limit_table(file, source, table))
        elif kind in factors:
            column = {"factor": "wavelength", "angle factor": "source_angle", "time factor": "duration"}[kind]
            read = tuple(_row(file, source, row, table["name"], column) for row in rows)
            tile(file, column, [row.range for row in read])
            factors[kind][table["name"]] = Factor(table["meaning"], read)
        elif kind == "aperture":
            holes = tuple(_row(file, source, row, "aperture", "duration") for row in rows)
            _tile_plane(file, [(row.wavelength, row.range) for row in holes])
            apertures[table["name"]] = holes
        elif kind == "area":
            steps = []
            for row in rows:
                where = _source(source, row, _span("area", row["area"], "m2"))
                power = _number(file, row.get("power", 0))
                steps.append((_range(file, row["area"]), _number(file, row["E"]), power, where))
            tile(file, "area", [step[0] for step in steps])
            wavelength, duration = _range(file, table["wavelength"]), _range(file, table["duration"])
            area = AreaRule(table["hazard"], wavelength, duration, tuple(steps))
        elif kind == "train time":
            times = tuple(_train_time(file, source, row) for row in rows)
            tile(file, "wavelength", [row.wavelength for row in times])
            train = (tuple(table["hazards"]), _number(file, table["longest_pulse"]), times)
        else:
            train_factors = tuple(_train_factor(file, source, row) for row in rows)
    by = (factors["factor"], factors["angle factor"], factors["time factor"])
    return RuleSet(name, tuple(limits), *by, apertures, area, *train, train_factors)
