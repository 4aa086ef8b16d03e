"""What a notebook shows of a case and of an assessment, as HTML."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

from lasersafe.ask.printed import brief
from lasersafe.drawing.text import distance, tidy, unit_text
from lasersafe.errors import OutputError
from lasersafe.models import Case, typed_inputs
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
