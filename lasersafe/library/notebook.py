"""What a notebook shows of a case and of an assessment, as HTML."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

from lasersafe.ask.printed import brief
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_page
from lasersafe.drawing.primitives import to_svg
from lasersafe.drawing.text import distance, tidy, unit_text
from lasersafe.errors import OutputError
from lasersafe.models import Case, typed_inputs
from lasersafe.results import Assessment
from lasersafe.sheet.drawings import exposure_chart
from lasersafe.sheet.front import limit_text
from lasersafe.sheet.paint import refuse_unprintable
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
    told = [(f"<b>{_words(label)}</b>", _words(line)) for label, line in answer]
    parts = [
        f'<div style="font-size:1.2em;font-weight:600">{_words(shown.title)}</div>',
        f"<div>{_words(shown.place)} · {_words(shown.dates)}</div>",
        _table((), told).replace(f"border-bottom:{_LINE}", "border:0"),
        f'<div style="font-weight:600;margin:6px 0">{_words(wording.caution_short)}</div>',
    ]
    text, headings = wording.text, [wording.text(f"setup.{key}") for key in ("way", "distance", "limit")]
    for result in shown.setups:
        rows = []
        for zone in result.zones:
            far = distance(zone.distance, shown.units == "metric and feet")
            names = f"{text(f'way.{zone.way}')}, {text(f'tissue.{zone.tissue}')}"
            reach = text("setup.from_origin", distance=far, origin=zone.origin)
            rows.append((_words(names), f"<b>{_words(reach)}</b>", _words(limit_text(zone.criterion, wording))))
        state = text("setup.fitted" if result.fitted else "setup.not_fitted")
        set_to = _words(text("setup.setting", setting=unit_text(result.setting))) if result.setting else ""
        head = _heading(f"{result.laser}: {result.setup} ({state})")
        parts.append(head + (f"<div>{set_to}</div>" if set_to else "") + _table(headings, rows))
    parts += _drawings(shown, wording)
    facts = f"{wording.text('sheet.program', version=shown.version)} · {shown.fingerprint[:12]}"
    parts.append(f'<div style="font-size:0.85em;opacity:0.75">{_words(facts)}</div>')
    return '<div style="color:inherit">\n' + "\n".join(parts) + "\n</div>"


def _drawings(assessment: Assessment, wording: Wording) -> list[str]:
    if assessment.scene is not None:
        drawings = [("", to_svg(plan_page(assessment, Paper("A4", 190.0, 260.0), wording)))]
    else:
        try:
            refuse_unprintable(assessment.setups)
        except OutputError as error:
            return [f"<div>{_words(str(error))}</div>"]
        charts = [(one, exposure_chart(one.chart, 190.0, wording)) for one in assessment.setups]
        drawings = [(_heading(f"{one.laser}: {one.setup}"), to_svg(chart)) for one, chart in charts]
    # an element that is as wide as the page around it lets it be
    as_wide = r'<svg xmlns="http://www.w3.org/2000/svg" style="width:100%;height:auto;color:#000000" viewBox="\1"'
    inline = [
        (head, _DRAWN.sub(as_wide + " font-family", svg[svg.index("<svg ") :].strip(), 1)) for head, svg in drawings
    ]
    return [f'{head}<div style="{_PAPER}">\n{svg}\n</div>' for head, svg in inline]
