"""What a sweep prints: tables as text, CSV, JSON and parquet, and its drawing."""

from __future__ import annotations

import importlib.util
import io
import json
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

import lasersafe
from lasersafe import records, studies
from lasersafe.ask import SweepQuestion
from lasersafe.ask.drawings import picture
from lasersafe.assessment import fingerprint
from lasersafe.drawing.chart import Axis, Heading, curve_page, round_ends
from lasersafe.drawing.page import Paper
from lasersafe.drawing.primitives import Drawing
from lasersafe.drawing.text import decimals, measured, spoken, unit_text
from lasersafe.errors import refuse
from lasersafe.files import DASH, Output, csv_text, existing, mark_of, suffix_of, write_outputs
from lasersafe.quantity import for_spreadsheet, format_quantity, parse_quantity, shown
from lasersafe.records import InputTolerance
from lasersafe.wording import Message, Wording, caution_line, joined, listed, load_wording

TABLES = (".csv", ".json", ".parquet")
DRAWINGS = (".svg", ".png", ".pdf")
MOST_LINES = 200
_FOR_CSV = partial(format_quantity, unit="1", digits=4, rounding="up")
PULSES = ("laser.pulse_duration", "laser.repetition_rate", "laser.duty")
MOST_NAMED = 8
_TOLD = ("field", "typed", "unit", "nominal", "low", "high", "kind")
EXACT, CORNER, TYPED = "exact inputs", "worst corner of the tolerances", "values as typed"


class _Column(NamedTuple):
    """A column of the table: its name in files, the two lines that head it on a terminal, values and their texts."""

    name: str
    head: tuple[str, str] | None  # None: it is in files only
    values: list[Any]
    text: Callable[[Any], str]
    cell: Callable[[Any], Any]  # of a CSV file


def _columns(found: studies.Sweep) -> list[_Column]:
    word = load_wording(found.subject.case.language).text
    grid = np.meshgrid(*(one.values for one in found.varied), indexing="ij") if found.varied else []
    names = np.array(found.subject.context.rule_sets)
    made = [
        _Column(one.column, (one.path, ""), axis.ravel().tolist(), partial(studies.nearest_text, one=one), float)
        for one, axis in zip((varied.input for varied in found.varied), grid, strict=True)
    ]
    for way, tissue in studies.ZONES:
        far, decided = (each[way, tissue].ravel() for each in (found.distances, found.decided))
        head = word(f"way.{way}"), word(f"tissue.{tissue}")
        made += [
            _Column(f"{way}_{tissue}_m", head, far.tolist(), _distance, _FOR_CSV),
            _Column(f"{way}_{tissue}_rule_set", None, names[decided].tolist(), str, str),
        ]
    return made


def facts(found: studies.Sweep) -> dict[str, Any]:
    """Return what a table is about: the case, what was held and what was varied, in plain values."""
    subject = found.subject
    varied = {one.input.path for one in found.varied}
    how = worked_out_with(subject, found.start)
    return {
        **subject.facts(),
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
                "low": float(one.values[0]),
                "high": float(one.values[-1]),
                "count": int(one.values.size),
                "spacing": "listed" if one.listed else "log" if one.log else "linear",
                "nominal": one.input.nominal,
                "stated": one.input.stated,
            }
            for one in found.varied
        ],
        "fingerprint_of_the_case": fingerprint(subject.case),
        "version": lasersafe.__version__,
        "notes": notes(found),
    }


def notes(found: studies.Sweep) -> list[str]:
    """Return what has to be known beside the table."""
    subject, start = found.subject, found.start
    return [Message("study.meaning"), durations(subject, start), *alone(subject), *certainty(subject, start)]


def alone(subject: studies.Subject) -> list[str]:
    """Return what the distances of one laser with one set-up leave out, in sentences."""
    glowing = [f"'{one.name}'" for one in subject.case.extended if one.laser == subject.context.laser.name]
    left_out = [Message("study.not_glowing", sources=joined(glowing, ", "))] if glowing else []
    return [Message("study.alone"), *left_out]


def durations(subject: studies.Subject, varied: Collection[str]) -> str:
    """Return the sentence that states the exposure durations."""
    if studies.DURATION in varied:
        return Message("study.duration_varied")
    if "laser.wavelength" in varied or any(path in varied for path in PULSES):
        return Message("study.duration_usual")
    beam, spread = (
        studies.trimmed(format_quantity(subject.context.duration(way)[0], "s")) for way in ("direct", "scatter")
    )
    return Message("study.duration", beam=beam, scatter=spread)


def as_json(found: studies.Sweep) -> dict[str, Any]:
    """Return the table ready for JSON, with full numbers."""
    columns = _columns(found)
    names = [one.name for one in columns]
    rows = [dict(zip(names, row, strict=True)) for row in zip(*(one.values for one in columns), strict=True)]
    return {**facts(found), "columns": names, "rows": rows, "caution": caution_line()}


def as_csv(found: studies.Sweep) -> str:
    """Return the table as CSV: remarks behind ``#``, one line of headings, then the points."""
    columns, about = _columns(found), facts(found)
    said = (
        f"{about['title']}: {about['laser']}, {about['setup']}",
        f"rule sets {' and '.join(about['rule_sets'])}, the stricter decides; lasersafe {about['version']}, "
        f"case {about['fingerprint_of_the_case']}",
        *about["notes"],
        caution_line(),
    )
    remarks = [f"# {for_spreadsheet(' '.join(line.split()))}\n" for line in said]
    points = zip(*(map(one.cell, one.values) for one in columns), strict=True)
    return "".join([*remarks, csv_text([[one.name for one in columns], *points])])


def as_text(found: studies.Sweep) -> str:
    """Return the table for a terminal, distances rounded up."""
    subject, wording = found.subject, load_wording(found.subject.case.language)
    name = Message("study.named" if subject.context.setup.fitted else "study.not_fitted", name=subject.name)
    lines: list[str] = [Message("study.limits", name=name, sets=listed(subject.context.rule_sets))]
    stated = ", ".join(f"{one.input.path} = {wording.say(one.input.stated)}" for one in found.varied)
    lines.append(Message("study.stated", values=stated))
    if worked_out_with(subject, found.start) == CORNER:
        lines.append(Message("study.in_corner"))
    columns = [one for one in _columns(found) if one.head is not None]
    if found.size <= MOST_LINES:
        texts = [[*(one.head or ()), *map(one.text, one.values)] for one in columns]
        aligned = [[text.rjust(max(map(len, column))) for text in column] for column in texts]
        table = ["  ".join(row).rstrip() for row in zip(*aligned, strict=True)]
    else:
        table = [wording.text("study.many", count=found.size)]
    said = [*map(wording.say, lines), "", *table, "", *map(wording.say, notes(found)), wording.caution_short]
    with decimals(wording):
        return "\n".join(map(measured, said))


def _distance(value: float) -> str:
    """Return a distance as a person reads it, rounded up."""
    plain = 0.1 <= value < 1000.0
    return f"{format_quantity(value, '1', 3, 'up')} m" if plain else format_quantity(value, "m", 3, "up")


def worked_out_with(subject: studies.Subject, values: Mapping[str, float]) -> str:
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


def certainty(subject: studies.Subject, values: Mapping[str, float]) -> list[str]:
    """Return the sentence on the tolerances of all inputs that are not changed; nothing where there are none."""
    how, every = worked_out_with(subject, values), subject.unsure(values)
    if how == EXACT:
        return []
    named: list[str] = [f"{one.field} = {one.typed}" for one in every]
    if how == CORNER:
        used = (
            Message("study.with", value=_text(one, one.used[0]))
            if one.found == "monotone"
            else Message("study.worst_from", low=_text(one, one.low), high=_text(one, one.high))
            for one in every
        )
        named = [Message("study.used", field=field, used=words) for field, words in zip(named, used, strict=True)]
    more = len(named) - MOST_NAMED
    said = Message("study.named", name=joined(named[:MOST_NAMED]))
    if more > 0:
        said = Message("study.more", named=said, count=more)
    if how == CORNER:
        return [Message("study.corner", named=said)]
    return [Message("study.typed", why=subject.case.settings.decide_by_reason.rstrip("."), named=said)]


def _text(one: InputTolerance, value: float) -> str:
    if one.field.endswith("wavelength"):
        return f"{value * 1e9:.6g} nm"
    return studies.trimmed(format_quantity(value, one.unit, 4))


def certainty_data(subject: studies.Subject, values: Mapping[str, float]) -> dict[str, Any]:
    """Return the same as plain values."""
    how = worked_out_with(subject, values)
    return {
        "worked_out_with": how,
        "tolerances": [
            records.as_json(one, _TOLD) | {"used": [one.nominal] if how == TYPED else list(one.used)}
            for one in subject.unsure(values)
        ],
        "decided_as_typed_because": subject.case.settings.decide_by_reason if how == TYPED else "",
    }


PAPER = Paper("A4", 297.0, 210.0, 10.0)
MOST_CURVES = 6
_WIDE = 20.0  # a range of such a ratio gets a logarithmic axis
_DIRECT = ("direct", "eye")
Floats = NDArray[np.float64]


def check_drawable(varied: tuple[studies.Varied, ...]) -> None:
    """Refuse what no drawing can show.

    Raises
    ------
    InputError
        If not one or two inputs are varied, or only one value of one of them.
    """
    if len(varied) > 2:
        refuse(f"drawing: {len(varied)} inputs are varied; a drawing shows one or two, leave the others at one value")
    for one in varied:
        if one.values.size < 2 and len(varied) == 1:
            refuse(f"drawing: {one.input.path} has one value only; a drawing needs two or more")


def draw(found: studies.Sweep, zone: tuple[str, str] | None = None) -> Drawing:
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
    with decimals(wording := load_wording(found.subject.case.language)):
        if len(found.varied) == 1:
            alike: list[list[tuple[str, str]]] = []  # zones of one curve
            for one in studies.ZONES if zone is None else (zone,):
                same = (k for k in alike if np.allclose(found.distances[one], found.distances[k[0]], rtol=1e-9))
                if not (there := next(same, [])):
                    alike.append(there)
                there.append(one)
            traces = [(" = ".join(_words(one, wording) for one in each), found.distances[each[0]]) for each in alike]
            return _curves(found, found.varied[0], traces, wording.text("study.distance"), wording)
        way = zone or _DIRECT
        what = wording.text("study.distance_of", zone=_words(way, wording))
        few = int(np.argmin(found.shape))  # curves for values of the input that has fewer, both ends among them
        other, values = found.varied[few].input, found.varied[few].values
        drawn = np.unique(np.linspace(0, values.size - 1, MOST_CURVES).round().astype(int))
        names = [spoken(unit_text(studies.nearest_text(float(value), other))) for value in values[drawn]]
        says = "" if other.nominal is None else wording.text("study.case_says", stated=other.stated)
        held = wording.text("study.one_curve", words=wording.input_name(other.name), path=other.path) + measured(says)
        rows = zip(names, np.moveaxis(found.distances[way], few, 0)[drawn], strict=True)
        return _curves(found, found.varied[1 - few], list(rows), what, wording, held)


def _axis(varied: studies.Varied, wording: Wording) -> tuple[Axis, Floats, float | None]:
    """Return the axis of an input, its values and what the case says in the unit that suits the largest of them.

    Of a range of ratios, the middle says which unit that is.
    """
    one, low, high = varied.input, float(varied.values[0]), float(np.abs(varied.values).max())
    typical = math.sqrt(low * high) if low > 0.0 and high >= _WIDE * low else high
    unit = format_quantity(typical, one.mark.unit).partition(" ")[2] or one.mark.unit
    factor = 1.0 if unit == "1" else parse_quantity(f"1 {unit}", one.mark.unit, "unit").value
    values, shown_unit = np.asarray(varied.values / factor), "" if unit == "1" else f" [{unit.replace('u', 'µ')}]"
    low, high = float(values[0]), float(values[-1])
    log = varied.log or (low > 0.0 and high / low >= _WIDE)
    axis = Axis(f"{wording.input_name(one.name)} ({one.path}){shown_unit}", low, high, log)
    return axis, values, None if one.nominal is None else one.nominal / factor


def _words(zone: tuple[str, str], wording: Wording) -> str:
    return f"{wording.text(f'way.{zone[0]}')}, {wording.text(f'tissue.{zone[1]}')}"


def _curves(
    found: studies.Sweep, varied: studies.Varied, traces: list[tuple[str, Floats]], what: str, wording: Wording,
    held: str = "",
) -> Drawing:  # fmt: skip
    x, across, said = _axis(varied, wording)
    every = np.concatenate([values for _, values in traces])
    above = every[every > 0.0]
    log = bool(above.size) and float(above.max()) >= _WIDE * float(above.min())
    low, high = (float(above.min()), float(above.max())) if log else (0.0, float(every.max()) or 1.0)
    unit, factor = ("km", 1e3) if high >= 1e4 else ("m", 1.0) if high >= 0.1 else ("mm", 1e-3)
    y = Axis(f"{what} [{unit}]", *round_ends(low / factor, high / factor, log=log), log)
    drawn = [(name, list(zip(across.tolist(), (values / factor).tolist(), strict=True))) for name, values in traces]
    in_case = wording.text("study.in_case")
    nominal = None if said is None else (said, measured(f"{in_case}: {varied.input.stated}"))
    return curve_page(PAPER, _heading(found, [varied], held, wording), x, y, drawn, nominal)


def _heading(found: studies.Sweep, axes: Sequence[studies.Varied], held: str, wording: Wording) -> Heading:
    subject = found.subject
    name = Message("study.named" if subject.context.setup.fitted else "study.not_fitted", name=subject.name)
    outside = [
        wording.text("study.outside", words=wording.input_name(one.input.name), stated=one.input.stated)
        for one in axes
        if one.input.nominal is not None and not one.values[0] <= one.input.nominal <= one.values[-1]
    ]
    meant = [Message("study.meaning"), Message("study.origin"), durations(subject, found.start), *alone(subject)[1:]]
    first = " ".join(map(wording.say, [*meant, Message("study.points", count=found.size)]))
    foot = [first, *outside, *map(wording.say, certainty(subject, found.start)), wording.text("study.what_if")]
    limits = wording.say(Message("study.limits", name=name, sets=listed(subject.context.rule_sets)))
    said = [*((measured(text), False) for text in foot), (wording.caution_short, True)]
    return Heading(subject.case.title, (limits, held), tuple(said), wording.language)


def run_sweep(case: Path, question: SweepQuestion, replace: bool) -> tuple[dict[str, Any], str]:
    """Work a sweep out, write its files, and return what to print as JSON and as text.

    Raises
    ------
    InputError
        If the question cannot be answered as typed; no file is written then.
    OutputError
        If a file cannot be written.
    """
    output, drawing = question.output, question.drawing
    if not question.vary:
        refuse("vary: missing; say what to change, as --vary setup.divergence=1mrad..10mrad:50")
    for option, path, endings in (("output", output, TABLES), ("drawing", drawing, DRAWINGS)):
        if path is not None:
            suffix = suffix_of(path, option, *endings, dash=option == "output")
            if path != DASH:
                existing(path, 0)  # a folder, a pipe, a link: refused before there is work
            if suffix == ".parquet" and importlib.util.find_spec("pyarrow") is None:
                install = "install 'lasersafe[parquet]', or write .csv or .json"
                refuse(f"a .parquet file needs pyarrow, which is not installed: {install}")
    zones: dict[str | None, tuple[str, str]] = {" ".join(zone): zone for zone in studies.ZONES}
    show = question.show and " ".join(question.show.replace("-", " ").replace(",", " ").split()).lower()
    if show is not None and show not in zones:
        refuse(f"show = {shown(question.show)}: write one of: {', '.join(map(str, zones))}")
    subject = studies.open_subject(case, question.laser, question.setup)
    varied = studies.read_varied(subject, question.vary)
    if drawing is not None:
        check_drawable(varied)
    found = studies.sweep(subject, varied)
    names = {kind: name for kind, name in (("table", output), ("drawing", drawing)) if name is not None}
    files = [
        Output(name, _content(found, name, zones.get(show)), mark_of(f"sweep {kind}", case, subject.case.title))
        for kind, name in names.items()
    ]
    write_outputs(files, replace=replace)
    if not files:
        return as_json(found), as_text(found)
    wording = load_wording(subject.case.language)
    lines = [wording.text(f"terminal.{kind}", value=name) for kind, name in names.items()]
    data = {kind: str(name) for kind, name in names.items()} | {"points": found.size, "caution": caution_line()}
    if output is None:
        return {**as_json(found), **data}, "\n".join([*lines, as_text(found)])
    return data, "\n".join([*lines, wording.text("terminal.points", count=found.size), wording.caution_short])


def _content(found: studies.Sweep, path: Path, zone: tuple[str, str] | None) -> bytes:
    suffix = path.suffix.lower()
    if suffix == ".csv" or path == DASH:
        return as_csv(found).encode()
    if suffix == ".json":
        return (json.dumps(as_json(found), indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()
    if suffix == ".parquet":  # with full numbers, and what it is about in the metadata
        import pyarrow
        import pyarrow.parquet

        about = {**facts(found), "caution": caution_line()}
        table = pyarrow.table({one.name: one.values for one in _columns(found)})
        table = table.replace_schema_metadata({"lasersafe": json.dumps(about, ensure_ascii=False)})
        buffer = io.BytesIO()
        pyarrow.parquet.write_table(table, buffer)
        return buffer.getvalue()
    page = draw(found, zone)
    if suffix != ".pdf":
        return picture(page, suffix)
    from lasersafe.sheet.drawings import drawings_pdf

    named = {"title": found.subject.case.title, "name": found.subject.name}
    return drawings_pdf([page], named, found.subject.name, load_wording(found.subject.case.language))
