"""What a sweep prints: tables as text, CSV, JSON and parquet, and its drawing."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

import lasersafe
from lasersafe.assessment.fingerprint import fingerprint
from lasersafe.drawing.chart import Axis, Heading, Nominal, Trace, curve_page, round_ends
from lasersafe.drawing.contours import contour_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.primitives import Drawing
from lasersafe.drawing.values import decimals, measured, quantity
from lasersafe.errors import InputError, refuse
from lasersafe.hazard.marking import round_up_density
from lasersafe.quantity import format_quantity, parse_quantity
from lasersafe.records import fields
from lasersafe.records.sources import InputTolerance
from lasersafe.studies.sweeping import DURATION, ZONES, Subject, Sweep, Varied, nearest_text, trimmed
from lasersafe.typed import for_spreadsheet, shown
from lasersafe.wording import Wording, caution_line, load_wording
from lasersafe.wording.message import Message, joined, listed

MOST_LINES = 200
CSV_DIGITS = 4
PULSES = ("laser.pulse_duration", "laser.repetition_rate", "laser.duty")
NO_PYARROW = (
    "a .parquet file needs pyarrow, which is not installed: install 'lasersafe[parquet]', or write .csv or .json"
)

MOST_NAMED = 8
_TOLD = ("field", "typed", "unit", "nominal", "low", "high", "kind")
EXACT, CORNER, TYPED = "exact inputs", "worst corner of the tolerances", "values as typed"


def density_column(place: float) -> str:
    """Return the name of the column with the optical density."""
    return f"optical_density_at_{place:.6g}_m"


def columns(found: Sweep) -> list[str]:
    """Return the names of the columns, the unit in each."""
    names = [one.input.column for one in found.varied]
    for way, tissue in ZONES:
        names += [f"{way}_{tissue}_m", f"{way}_{tissue}_rule_set"]
    return names if found.place is None else [*names, density_column(found.place)]


def by_column(found: Sweep) -> dict[str, list[Any]]:
    """Return the full numbers, one list for each column."""
    values = [one.span.values for one in found.varied]
    grid = np.meshgrid(*values, indexing="ij") if values else []
    names = np.array(found.subject.context.rule_sets)
    lists: list[list[Any]] = [axis.reshape(-1).tolist() for axis in grid]
    for zone in ZONES:
        lists.append(found.distances[zone].reshape(-1).tolist())
        lists.append(names[found.decided[zone].reshape(-1)].tolist())
    if found.density is not None:
        lists.append(found.density.reshape(-1).tolist())
    return dict(zip(columns(found), lists, strict=True))


def facts(found: Sweep) -> dict[str, Any]:
    """Return what a table is about: the case, what was held and what was varied, in plain values."""
    subject = found.subject
    varied = {one.input.path for one in found.varied}
    how = worked_out_with(subject, found.start)
    return {
        "title": subject.case.title,
        "laser": subject.context.laser.name,
        "setup": subject.context.setup.name,
        "fitted": subject.context.setup.fitted,
        "rule_sets": list(subject.context.rule_sets),
        "held": {
            one.column: one.nominal
            for path, one in subject.inputs.items()
            if path not in varied and (not one.typed or how == TYPED)
        },
        **certainty_data(subject, found.start),
        "varied": [
            {
                "field": one.input.path,
                "column": one.input.column,
                "low": float(one.span.values[0]),
                "high": float(one.span.values[-1]),
                "count": int(one.span.values.size),
                "spacing": "listed" if one.span.listed else "log" if one.span.log else "linear",
                "nominal": one.input.nominal,
                "stated": one.input.stated,
            }
            for one in found.varied
        ],
        "fingerprint_of_the_case": fingerprint(subject.case),
        "version": lasersafe.__version__,
        "notes": notes(found),
    }


def notes(found: Sweep) -> list[str]:
    """Return what has to be known beside the table."""
    said = [
        Message("study.meaning"),
        durations(found.subject, {one.input.path for one in found.varied}),
        Message("study.alone"),
        *certainty(found.subject, found.start),
    ]
    if found.place is not None:
        place = trimmed(format_quantity(found.place, "m"))
        said.append(Message("study.density", place=place))
    return said


def durations(subject: Subject, varied: Collection[str]) -> str:
    """Return the sentence that states the exposure durations."""
    if DURATION in varied:
        return Message("study.duration_varied")
    if "laser.wavelength" in varied or any(path in varied for path in PULSES):
        return Message("study.duration_usual")
    beam, spread = (trimmed(format_quantity(subject.context.duration(way)[0], "s")) for way in ("direct", "scatter"))
    return Message("study.duration", beam=beam, scatter=spread)


def as_json(found: Sweep) -> dict[str, Any]:
    """Return the table ready for JSON, with full numbers."""
    table = by_column(found)
    names = list(table)
    rows = [dict(zip(names, row, strict=True)) for row in zip(*table.values(), strict=True)]
    return {**facts(found), "columns": names, "rows": rows, "caution": caution_line()}


def as_csv(found: Sweep) -> str:
    """Return the table as CSV: remarks behind ``#``, one line of headings, then the points."""
    table = by_column(found)
    about = facts(found)
    text = io.StringIO()
    for line in (
        f"{about['title']}: {about['laser']}, {about['setup']}",
        f"rule sets {' and '.join(about['rule_sets'])}, the stricter decides; lasersafe {about['version']}, "
        f"case {about['fingerprint_of_the_case']}",
        *about["notes"],
        caution_line(),
    ):
        text.write(f"# {for_spreadsheet(' '.join(line.split()))}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(table)
    ways = {f"{way}_{tissue}_m" for way, tissue in ZONES}
    for row in zip(*table.values(), strict=True):
        writer.writerow(
            format_quantity(value, "1", CSV_DIGITS, "up")
            if name in ways
            else _density(value)
            if name.startswith("optical_density")
            else value
            for name, value in zip(table, row, strict=True)
        )
    return text.getvalue()


def _density(value: float) -> str:
    return f"{round_up_density(value):.1f}" if value > 0.0 else "0"


def as_parquet(found: Sweep) -> bytes:
    """Return the table as Parquet, with full numbers and what it is about in the metadata.

    Raises
    ------
    InputError
        If pyarrow is not installed.
    """
    need_pyarrow()
    import pyarrow
    import pyarrow.parquet

    table = pyarrow.table(by_column(found))
    about = {**facts(found), "caution": caution_line()}
    table = table.replace_schema_metadata({"lasersafe": json.dumps(about, ensure_ascii=False)})
    buffer = io.BytesIO()
    pyarrow.parquet.write_table(table, buffer)
    return buffer.getvalue()


def need_pyarrow() -> None:
    """Refuse Parquet where it cannot be written.

    Raises
    ------
    InputError
        If pyarrow is not installed.
    """
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        raise InputError(NO_PYARROW) from None


def as_text(found: Sweep) -> str:
    """Return the table for a terminal, distances rounded up."""
    subject, wording = found.subject, load_wording(found.subject.case.language)
    name = Message("study.named" if subject.context.setup.fitted else "study.not_fitted", name=subject.name)
    lines: list[str] = [Message("study.limits", name=name, sets=listed(subject.context.rule_sets))]
    stated = ", ".join(f"{one.input.path} = {one.input.stated}" for one in found.varied)
    lines.append(Message("study.stated", values=stated))
    if worked_out_with(subject, found.start) == CORNER:
        lines.append(Message("study.in_corner"))
    table = _summary(found, wording) if found.size > MOST_LINES else _table(found, wording)
    said = [*map(wording.say, lines), "", *table, "", *map(wording.say, notes(found)), wording.caution_short]
    with decimals(wording):
        return "\n".join(map(measured, said))


def _table(found: Sweep, wording: Wording) -> list[str]:
    heads = [(one.input.path, "") for one in found.varied]
    heads += [(wording.text(f"way.{way}"), wording.text(f"tissue.{tissue}")) for way, tissue in ZONES]
    if found.place is not None:
        place = trimmed(format_quantity(found.place, "m"))
        heads.append((wording.text("study.density_head"), wording.text("study.at", place=place)))
    rows = list(_rows(found))
    widths = [max(len(a), len(b), *(len(row[k]) for row in rows)) for k, (a, b) in enumerate(heads)]

    def line(cells: list[str]) -> str:
        return "  ".join(cell.rjust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()

    return [line([a for a, _ in heads]), line([b for _, b in heads]), *map(line, rows)]


def _rows(found: Sweep) -> Iterator[list[str]]:
    table = by_column(found)
    inputs = [(one.input, table[one.input.column]) for one in found.varied]
    zones = [table[f"{way}_{tissue}_m"] for way, tissue in ZONES]
    density = None if found.place is None else table[density_column(found.place)]
    for k in range(found.size):
        cells = [nearest_text(values[k], one) for one, values in inputs]
        cells += [distance_text(values[k]) for values in zones]
        yield cells if density is None else [*cells, _density(density[k])]


def distance_text(value: float) -> str:
    """Return a distance as a person reads it, rounded up."""
    return (
        f"{format_quantity(value, '1', 3, 'up')} m" if 0.1 <= value < 1000.0 else format_quantity(value, "m", 3, "up")
    )


def _summary(found: Sweep, wording: Wording) -> list[str]:
    table = by_column(found)

    def where(k: int) -> str:
        inputs = [one.input for one in found.varied]
        return ", ".join(f"{one.path} = {nearest_text(table[one.column][k], one)}" for one in inputs)

    lines = [wording.text("study.summary", count=found.size)]
    for way, tissue in ZONES:
        values = table[f"{way}_{tissue}_m"]
        low, high = int(np.argmin(values)), int(np.argmax(values))
        ends = [wording.text("study.there", distance=distance_text(values[k]), values=where(k)) for k in (low, high)]
        lines.append(f"{wording.text(f'way.{way}')}, {wording.text(f'tissue.{tissue}')}: {ends[0]}; {ends[1]}")
    return lines


def worked_out_with(subject: Subject, values: Mapping[str, float]) -> str:
    """Return which values of the inputs that are not changed are used: `EXACT`, `CORNER` or `TYPED`.

    Parameters
    ----------
    subject : Subject
        What the question is about.
    values : mapping of str to float
        Path of each input that is changed to a value that it takes. [SI]
    """
    if not subject.unsure(values):
        return EXACT
    return TYPED if subject.case.settings.decide_by == "as typed" else CORNER


def certainty(subject: Subject, values: Mapping[str, float]) -> list[str]:
    """Return the sentence on the tolerances of all inputs that are not changed; nothing where there are none."""
    how, every = worked_out_with(subject, values), subject.unsure(values)
    if how == EXACT:
        return []
    named: list[str] = [f"{one.field} = {one.typed}" for one in every]
    if how == CORNER:
        named = [Message("study.used", field=field, used=_used(one)) for field, one in zip(named, every, strict=True)]
    more = len(named) - MOST_NAMED
    said = Message("study.named", name=joined(named[:MOST_NAMED]))
    if more > 0:
        said = Message("study.more", named=said, count=more)
    if how == CORNER:
        return [Message("study.corner", named=said)]
    return [Message("study.typed", why=subject.case.settings.decide_by_reason.rstrip("."), named=said)]


def _used(one: InputTolerance) -> str:
    if one.found == "monotone":
        return Message("study.with", value=_text(one, one.used[0]))
    return Message("study.worst_from", low=_text(one, one.low), high=_text(one, one.high))


def _text(one: InputTolerance, value: float) -> str:
    if one.field.endswith("wavelength"):
        return f"{value * 1e9:.6g} nm"
    return trimmed(format_quantity(value, one.unit, 4))


def certainty_data(subject: Subject, values: Mapping[str, float]) -> dict[str, Any]:
    """Return the same as plain values."""
    how = worked_out_with(subject, values)
    return {
        "worked_out_with": how,
        "tolerances": [
            fields.as_json(one, _TOLD) | {"used": [one.nominal] if how == TYPED else list(one.used)}
            for one in subject.unsure(values)
        ],
        "decided_as_typed_because": subject.case.settings.decide_by_reason if how == TYPED else "",
    }


PAPER = Paper("A4", 297.0, 210.0, 10.0)
MOST_CURVES = 6
_WIDE = 20.0  # a range of such a ratio gets a logarithmic axis
_DIRECT = ("direct", "eye")
_WHAT_IF = "A what-if drawing of one laser with one set-up. It is no part of a sheet that somebody signs."
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Shown:
    """An input with the unit in which it is shown."""

    varied: Varied
    unit: str
    factor: float

    @property
    def values(self) -> Floats:
        return np.asarray(self.varied.span.values / self.factor)

    @property
    def nominal(self) -> float | None:
        value = self.varied.input.nominal
        return None if value is None else value / self.factor

    def axis(self) -> Axis:
        low, high = float(self.values[0]), float(self.values[-1])
        log = self.varied.span.log or (low > 0.0 and high / low >= _WIDE)
        unit = "" if self.unit == "1" else f" [{self.unit.replace('u', 'µ')}]"
        return Axis(f"{self.varied.input.words} ({self.varied.input.path}){unit}", low, high, log)


def zone_of(text: str) -> tuple[str, str]:
    """Return the zone that was asked for by name.

    Parameters
    ----------
    text : str
        As typed, ``direct eye``.

    Raises
    ------
    InputError
        If there is none of that name.
    """
    names = {" ".join(zone): zone for zone in ZONES}
    plain = " ".join(text.replace("-", " ").replace(",", " ").split()).lower()
    if plain not in names:
        refuse(f"show = {shown(text)}: write one of: {', '.join(names)}")
    return names[plain]


def check_drawable(varied: tuple[Varied, ...]) -> None:
    """Refuse what no drawing can show.

    Raises
    ------
    InputError
        If not one or two inputs are varied, or only one value of one of them.
    """
    if len(varied) > 2:
        refuse(f"drawing: {len(varied)} inputs are varied; a drawing shows one or two, leave the others at one value")
    for one in varied:
        if one.span.values.size < 2 and len(varied) == 1:
            refuse(f"drawing: {one.input.path} has one value only; a drawing needs two or more")


def draw(found: Sweep, zone: tuple[str, str] | None = None) -> Drawing:
    """Return the drawing of a sweep.

    Parameters
    ----------
    found : Sweep
        One or two varied inputs.
    zone : tuple of str, optional
        Way and tissue, where only one is drawn; without it all are drawn over one input, over two the direct beam and
        the eye.
    """
    check_drawable(found.varied)
    shown_inputs = [_shown(one) for one in found.varied]
    if len(shown_inputs) == 1:
        return _over_one(found, shown_inputs[0], zone)
    way = zone or _DIRECT
    first, second = shown_inputs
    if min(found.shape) > MOST_CURVES:
        nominal = None
        if first.nominal is not None and second.nominal is not None:
            nominal = (first.nominal, second.nominal, "in the case")
        heading = _heading(found, shown_inputs, f"{_words(way)}: distance as contour lines")
        grid = (first.values, second.values, found.distances[way])
        return contour_page(PAPER, heading, first.axis(), second.axis(), grid, _level, nominal)
    if found.shape[0] <= found.shape[1]:
        return _family(found, second, first, found.distances[way], way)
    return _family(found, first, second, found.distances[way].T, way)


def _shown(varied: Varied) -> _Shown:
    """Return an input in the unit that suits its largest value, or the middle of a range of ratios."""
    low, high = float(varied.span.values[0]), float(np.abs(varied.span.values).max())
    typical = math.sqrt(low * high) if low > 0.0 and high >= _WIDE * low else high
    name = format_quantity(typical, varied.input.unit).partition(" ")[2] or varied.input.unit
    return _Shown(varied, name, parse_quantity(f"1 {name}", varied.input.unit, "unit").value if name != "1" else 1.0)


def _words(zone: tuple[str, str]) -> str:
    way, tissue = zone
    return f"{ {'direct': 'direct beam', 'mirror': 'mirror', 'scatter': 'scatter'}[way] }, {tissue}"


def _over_one(found: Sweep, x: _Shown, zone: tuple[str, str] | None) -> Drawing:
    zones = ZONES if zone is None else (zone,)
    alike: list[list[tuple[str, str]]] = []  # zones of one curve
    for one in zones:
        same = [k for k in alike if np.allclose(found.distances[one], found.distances[k[0]], rtol=1e-9)]
        if same:
            same[0].append(one)
        else:
            alike.append([one])
    traces = [(" = ".join(map(_words, names)), found.distances[names[0]]) for names in alike]
    return _curves(found, x, traces, "distance", "")


def _family(found: Sweep, x: _Shown, other: _Shown, table: Floats, zone: tuple[str, str]) -> Drawing:
    """Return one curve over ``x`` for each value of the other input, the rows of ``table``."""
    names = [nearest_text(float(v), other.varied.input) for v in other.varied.span.values]
    traces = [(name, row) for name, row in zip(names, table, strict=True)]
    held = f"one curve for each {other.varied.input.words} ({other.varied.input.path})"
    if other.varied.input.nominal is not None:
        held += f"; the case says {other.varied.input.stated}"
    return _curves(found, x, traces, f"{_words(zone)}: distance", held)


def _curves(found: Sweep, x: _Shown, traces: list[tuple[str, Floats]], what: str, held: str) -> Drawing:
    every = np.concatenate([values for _, values in traces])
    above = every[every > 0.0]
    log = bool(above.size) and float(above.max()) >= _WIDE * float(above.min())
    low, high = (float(above.min()), float(above.max())) if log else (0.0, float(every.max()) or 1.0)
    unit, factor = _length(high)
    y = Axis(f"{what} [{unit}]", *round_ends(low / factor, high / factor, log=log), log)
    drawn = []
    for name, values in traces:
        none = "" if values.max() > 0.0 else ": below the limit at every distance"
        points = tuple(zip(x.values.tolist(), (values / factor).tolist(), strict=True))
        drawn.append(Trace(name, f"{name}{none}", points))
    nominal = None if x.nominal is None else Nominal(x.nominal, f"in the case: {x.varied.input.stated}")
    return curve_page(PAPER, _heading(found, [x], held), x.axis(), y, drawn, nominal)


def _length(most: float) -> tuple[str, float]:
    for unit, factor in (("km", 1e3), ("m", 1.0), ("mm", 1e-3)):
        if most >= (10.0 if unit == "km" else 0.1) * factor:
            return unit, factor
    return "mm", 1e-3


def _level(value: float) -> str:
    number = f"{value:.3g}" if 0.1 <= value < 1000.0 else ""
    return f"{number} m" if number else quantity(value, "m").replace(".00", "").replace(".0", "")


def _heading(found: Sweep, axes: list[_Shown], held: str) -> Heading:
    subject = found.subject
    limits = f"limits of {' and '.join(subject.context.rule_sets)}, the stricter decides"
    fitted = "" if subject.context.setup.fitted else " (not fitted today)"
    origin = "Direct beam and mirror are measured from the last optic along the beam, scatter from the lit surface."
    outside = [
        f"What the case says, {one.varied.input.words} {one.varied.input.stated}, lies outside the drawing."
        for one in axes
        if one.nominal is not None and not one.values[0] <= one.nominal <= one.values[-1]
    ]
    times = durations(subject, {one.input.path for one in found.varied})
    joined = f"Lines join the {found.size} points of the sweep; between two of them a limit may jump."
    said = [*outside, *certainty(subject, found.start), _WHAT_IF]
    foot = [(f"{Message('study.meaning')} {origin} {times} {joined}", False), *[(text, False) for text in said]]
    lines = (f"{subject.name}{fitted}; {limits}", held)
    return Heading(subject.case.title, lines, (*foot, (caution_line(), True)))
