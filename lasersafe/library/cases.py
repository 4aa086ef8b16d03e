"""Cases and assessments in a program or a notebook."""

from __future__ import annotations

import math
import numbers
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from html import escape
from pathlib import Path
from typing import Any

import tomli_w

from lasersafe import models
from lasersafe.ask.printed import brief
from lasersafe.assessment import assess as assess_case
from lasersafe.drawing.text import distance, tidy, unit_text
from lasersafe.errors import InputError, OutputError, refuse
from lasersafe.library.beams import shown_quantity, to_si
from lasersafe.models import Case, typed_inputs
from lasersafe.quantity import MEASURED, parse_quantity, shown
from lasersafe.results import Assessment, SetupResult
from lasersafe.sheet.front import limit_text
from lasersafe.wording import Wording, load_wording, localise

_LINE = "1px solid rgba(128,128,128,0.5)"
_CELL = f"padding:3px 9px;text-align:left;vertical-align:top;border-bottom:{_LINE}"
_TABLE = "border-collapse:collapse;margin:6px 0;color:inherit;background:transparent"
_PAPER = "background:#ffffff;padding:4px;max-width:900px;overflow-x:auto"
_DRAWN = re.compile(r'<svg [^>]*?viewBox="([^"]*)"[^>]*?font-family')


def _words(text: str) -> str:
    return escape(tidy(text), quote=True).replace("\n", "<br>")


def _table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table; the cells are HTML already."""
    head = "".join(f'<th style="{_CELL};font-weight:600">{escape(name)}</th>' for name in header)
    lines = ["".join(f'<td style="{_CELL}">{cell}</td>' for cell in row) for row in rows]
    body = "\n".join(f'<tr style="background:transparent">{line}</tr>' for line in lines)
    top = f'<thead><tr style="background:transparent">{head}</tr></thead>\n' if header else ""
    return f'<table style="{_TABLE}">\n{top}<tbody>\n{body}\n</tbody></table>'


def _heading(text: str) -> str:
    return f'<div style="font-weight:600;margin:10px 0 2px">{_words(text)}</div>'


def case_html(case: Case) -> str:
    """Return a case as a table of its inputs as typed.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    str
        HTML.
    """
    wording = load_wording(case.language)
    inputs = typed_inputs(case)
    with_lines = any(line.line is not None for line in inputs)
    keys = ("line", "field", "typed", "used") if with_lines else ("field", "typed", "used")
    rows = []
    for line in inputs:
        cells = [f"<code>{escape(line.field)}</code>", _words(line.typed), escape(unit_text(line.used))]
        rows.append(["" if line.line is None else str(line.line), *cells] if with_lines else cells)
    title = f'<div style="font-size:1.2em;font-weight:600">{_words(case.title)}</div>'
    where = f"<div>{_words(case.place)} · {_words(case.dates)}</div>"
    table = _table([wording.text(f"inputs.{key}") for key in keys], rows)
    return f'<div style="color:inherit">\n{title}\n{where}\n{table}\n</div>'


def assessment_html(assessment: Assessment) -> str:
    """Return an assessment: the short answer, as the command line gives it, zones, and the plan or else the charts.

    Parameters
    ----------
    assessment : Assessment
        What is shown.

    Returns
    -------
    str
        HTML with the drawings as inline SVG.
    """
    wording = load_wording(assessment.language)
    shown = localise(assessment, wording)
    answer = [(label, line) for label, line in brief(assessment)[1:] if line]
    rows = [(f"<b>{_words(label)}</b>", _words(line)) for label, line in answer]
    parts = [
        f'<div style="font-size:1.2em;font-weight:600">{_words(shown.title)}</div>',
        f"<div>{_words(shown.place)} · {_words(shown.dates)}</div>",
        _table((), rows).replace(f"border-bottom:{_LINE}", "border:0"),
        f'<div style="font-weight:600;margin:6px 0">{_words(wording.caution_short)}</div>',
    ]
    parts += [_setup(result, wording, shown.units == "metric and feet") for result in shown.setups]
    parts += _drawings(shown, wording)
    facts = f"{wording.text('sheet.program', version=shown.version)} · {shown.fingerprint[:12]}"
    parts.append(f'<div style="font-size:0.85em;opacity:0.75">{_words(facts)}</div>')
    return '<div style="color:inherit">\n' + "\n".join(parts) + "\n</div>"


def _setup(result: SetupResult, wording: Wording, with_feet: bool) -> str:
    text = wording.text
    state = text("setup.fitted" if result.fitted else "setup.not_fitted")
    rows = []
    for zone in result.zones:
        way, tissue = wording.text(f"way.{zone.way}"), wording.text(f"tissue.{zone.tissue}")
        reach = text("setup.from_origin", distance=distance(zone.distance, with_feet), origin=zone.origin)
        rows.append(
            [f"{_words(way)}, {_words(tissue)}", f"<b>{_words(reach)}</b>", _words(limit_text(zone.criterion, wording))]
        )
    head = _heading(f"{result.laser}: {result.setup} ({state})")
    setting = f"<div>{_words(text('setup.setting', setting=unit_text(result.setting)))}</div>" if result.setting else ""
    return head + setting + _table([text(f"setup.{key}") for key in ("way", "distance", "limit")], rows)


def _drawings(assessment: Assessment, wording: Wording) -> list[str]:
    from lasersafe.drawing.primitives import to_svg

    if assessment.scene is not None:
        from lasersafe.drawing.page import Paper
        from lasersafe.drawing.plan import plan_page

        drawings = [("", to_svg(plan_page(assessment, Paper("A4", 190.0, 260.0), wording)))]
    else:
        from lasersafe.sheet.drawings import exposure_chart
        from lasersafe.sheet.paint import refuse_unprintable

        try:
            refuse_unprintable(assessment.setups)
        except OutputError as error:
            return [f"<div>{_words(str(error))}</div>"]
        charts = [(one, exposure_chart(one.chart, 190.0, wording)) for one in assessment.setups]
        drawings = [(_heading(f"{one.laser}: {one.setup}"), to_svg(chart)) for one, chart in charts]
    return [f'{head}<div style="{_PAPER}">\n{_inline(drawing)}\n</div>' for head, drawing in drawings]


def _inline(svg: str) -> str:
    """Return an SVG file as an element that is as wide as the page around it lets it be."""
    start = svg.index("<svg ")
    style = 'style="width:100%;height:auto;color:#000000"'
    return _DRAWN.sub(
        lambda match: f'<svg xmlns="http://www.w3.org/2000/svg" {style} viewBox="{match[1]}" font-family',
        svg[start:].strip(),
        count=1,
    )


Source = Case | Mapping[str, Any] | str | os.PathLike[str]
_DEEPEST = 12


class Svg(str):
    """The text of an SVG file; a notebook shows it as a drawing."""

    __slots__ = ()

    def _repr_svg_(self) -> str:
        return str(self)


def read_case(path: str | os.PathLike[str]) -> Case:
    """Return the case that a file describes.

    Parameters
    ----------
    path : path
        A case file, as ``lasersafe new`` starts one.

    Returns
    -------
    Case
        Every field as typed and in SI units; a notebook shows it as a table.

    Raises
    ------
    CaseError
        If there are faults; all of them, with their lines.
    """
    _refuse_starter(str(path))
    text = models.read_case_text(path)
    case = models.parse_case(text, str(path))
    case._text = text
    return case


def make_case(source: str | Mapping[str, Any]) -> Case:
    """Return the case that a text or nested dictionaries describe.

    Parameters
    ----------
    source : str or mapping
        The text of a case file, or its tables as dictionaries and lists. A number with a unit is text, as
        ``"1.5 kW"``, or a pint quantity of any registry.

    Returns
    -------
    Case
        Every field as typed and in SI units; a notebook shows it as a table.

    Raises
    ------
    CaseError
        If there are faults; all of them.
    InputError
        If a quantity has a dimension that no field has.
    """
    if isinstance(source, str):
        _refuse_starter(source)
        if "\n" not in source.strip():
            refuse(f"case = {shown(source)}: one line is no case; give the text of a case file, or read_case its name")
        case = models.parse_case(source)
        case._text = source
        return case
    if not isinstance(source, Mapping):
        refuse(f"case = {shown(source)}: give the text of a case file, or a dictionary of its tables")
    data = _as_typed(source)
    case = models.case_from(data)
    case._text = tomli_w.dumps(data)
    return case


def starter_case(name: str) -> Case:
    """Return one of the starter cases.

    Parameters
    ----------
    name : str
        As ``lasersafe new`` lists them: ``"handheld-welder"``, ``"nanosecond-marker"``, ``"visible-diode"``,
        ``"co2-cutter"``, ``"ultraviolet"`` or ``"demo"``.

    Returns
    -------
    Case
        All names and serial numbers in it are invented.

    Raises
    ------
    InputError
        If there is no starter case of that name.
    """
    from lasersafe.ask.cases import template_text

    return make_case(template_text(name).decode("utf-8"))


def _refuse_starter(name: str) -> None:
    """Refuse the name of a starter case where a file or a text is expected, unless there is such a file."""
    from lasersafe.ask.cases import template_names

    if name in template_names() and not Path(name).exists():
        refuse(f"case = {shown(name)}: there is no such file; starter_case({name!r}) gives the starter case")


def _case_of(source: Source) -> Case:
    if isinstance(source, Case):
        return source
    if isinstance(source, str) and "\n" not in source:
        return read_case(source)
    if isinstance(source, (str, Mapping)):
        return make_case(source)
    if isinstance(source, os.PathLike):
        return read_case(source)
    refuse(f"case = {shown(source)}: give a case, the name of a case file, its text, or a dictionary of its tables")


def assess(case: Source, language: str | None = None) -> Assessment:
    """Return the assessment of a case.

    Parameters
    ----------
    case : Case, path, str or mapping
        A case; or the name of a case file, its text, or its tables as dictionaries.
    language : str, optional
        Language of the wording, as ``"de"``; without it, that of the case.

    Returns
    -------
    Assessment
        Decision, set-ups with their zones, scenarios, eyewear, barriers, scene; all numbers in SI units, each with
        its steps. A notebook shows the decision block, the zones and the drawing.

    Raises
    ------
    CaseError
        If the case has faults; all of them.
    CalcError
        If the case lies outside what the documents cover.
    """
    return assess_case(_case_of(case), language)


def write_sheet(case: Source, path: str | os.PathLike[str], *, paper: str | None = None, replace: bool = False) -> Path:
    """Assess a case and print its sheet as a PDF, with the case inside, so that ``lasersafe verify`` can check it.

    Parameters
    ----------
    case : Case, path, str or mapping
        A case; or the name of a case file, its text, or its tables as dictionaries. Only the sheet of a case file
        carries the signatures that are on record beside the file.
    path : path
        The PDF to write.
    paper : str, optional
        ``"A4"`` or ``"Letter"``; without it, what the case says.
    replace : bool
        Replace a signed sheet of the same case, or another file; a dated copy of it is kept.

    Returns
    -------
    pathlib.Path
        Where the sheet is.

    Raises
    ------
    CaseError
        If the case has faults; all of them.
    InputError
        If the paper is not known, or the case was changed after it was read.
    OutputError
        If the file cannot be written.
    """
    from lasersafe.signing.making import make_sheet, save_sheet
    from lasersafe.signing.record import Record, read_record, record_path

    if paper not in (None, "A4", "Letter"):
        refuse(f"paper = {shown(paper)}: allowed are A4 and Letter")
    file = isinstance(case, os.PathLike) or (isinstance(case, str) and "\n" not in case)
    record = read_record(record_path(Path(str(case)))) if file else Record()
    text = _text_of(_case_of(case))
    name = Path(str(case)).name if file else ""
    made = make_sheet(text, models.parse_case(text, str(case) if file else "case"), record, paper, file=name)
    save_sheet(Path(path), made, replace)
    return Path(path)


def _text_of(case: Case) -> str:
    """Return the text that a case was read from, refused when it says something else by now."""
    text = case._text
    if text and models.canonical(models.parse_case(text)) == models.canonical(case):
        return text
    refuse("case: it was changed after it was read or made, and a sheet has to carry its text; use make_case for it")


def plan_svg(case: Source | Assessment, *, page: int = 1, elevation: bool = False, paper: str = "A4") -> Svg:
    """Return the plan of a case that has a scene, to scale, as SVG.

    Parameters
    ----------
    case : Case, Assessment, path, str or mapping
        A case or what it was assessed to.
    page : int
        Page of the drawing, from 1: the plan, then details, overview and key where the plan needs them.
    elevation : bool
        The elevations instead of the plan.
    paper : str
        ``"A4"``, ``"A3"``, ``"A2"``, ``"A1"``, ``"Letter"`` or ``"Tabloid"``.

    Returns
    -------
    Svg
        Text, to be written to a file; a notebook shows the drawing.

    Raises
    ------
    InputError
        If the case has no scene, or there is no such paper or page.
    """
    from lasersafe.ask.drawings import drawings_of
    from lasersafe.drawing.primitives import to_svg

    assessment = case if isinstance(case, Assessment) else assess(case)
    drawings = drawings_of(assessment, paper, elevation=elevation)
    if isinstance(page, bool) or page not in range(1, len(drawings) + 1):
        kinds = ", ".join(f"{number} {drawing.kind}" for number, drawing in enumerate(drawings, 1))
        refuse(f"page = {shown(page)}: there are {kinds}")
    return Svg(to_svg(drawings[page - 1]))


# What a notebook shows of them: all that a notebook has of both comes through here.
Case._repr_html_ = case_html  # type: ignore[attr-defined]
Assessment._repr_html_ = assessment_html  # type: ignore[attr-defined]


def _as_typed(value: Any, field: str = "case", depth: int = 0) -> Any:
    """Return nested data with each pint quantity as the text that a case file would have.

    Parameters
    ----------
    value : Any
        Dictionaries, lists, text, numbers, days, pint quantities, values of another case.
    field : str
        Where it stands, for the message.
    depth : int
        How deep it is nested.

    Returns
    -------
    Any
        Plain data, as ``tomllib`` gives it.

    Raises
    ------
    InputError
        If something in it has no place in a case file.
    """
    if depth > _DEEPEST:
        refuse(f"{field[:60]}: nested too deeply; this is no case")
    if isinstance(value, Mapping):
        return {str(key): _as_typed(one, _joined(field, str(key)), depth + 1) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_as_typed(one, f"{field}[{number}]", depth + 1) for number, one in enumerate(value, 1)]
    if hasattr(value, "magnitude") and hasattr(value, "to"):
        return _quantity(value, field, depth)
    if isinstance(getattr(value, "typed", None), str):
        return value.typed
    if isinstance(value, (str, bool, int, date)):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        if not math.isfinite(value):
            refuse(f"{field} = {float(value)!r}: write a finite number")
        return float(value)
    if hasattr(value, "tolist"):
        return _as_typed(value.tolist(), field, depth + 1)
    refuse(f"{field} = {shown(value)}: this has no place in a case; write text, a number or a quantity")


def _joined(field: str, key: str) -> str:
    return key if field == "case" else f"{field}.{key}"


def _quantity(value: Any, field: str, depth: int) -> Any:
    for unit in MEASURED:
        try:
            number = to_si(value, unit, field)
        except InputError as error:
            if "no plain number" in str(error) or "masked" in str(error) or "offset" in str(error):
                raise
            continue
        if number.ndim:
            return [_as_typed(one, field, depth + 1) for one in value]
        return _as_written(value, float(number), unit, field)
    refuse(
        f"{field} = {shown_quantity(value)}: no field of a case has this dimension; 'lasersafe units' lists the units"
    )


def _as_written(value: Any, number: float, unit: str, field: str) -> str:
    """Return a quantity in its own unit where that is one of ours, else in SI."""
    for text in (f"{value.magnitude:.12g} {value.units:~P}".strip(), f"{value.magnitude:.12g} {value.units:P}"):
        try:
            if parse_quantity(text, unit, field).value == number:
                return text
        except InputError:
            continue
    return repr(number) if unit == "1" else f"{number!r} {unit}"
