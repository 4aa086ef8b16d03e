"""The exposure-over-distance chart of the sheet as SVG, for a page that has no scene to draw."""

from __future__ import annotations

from html import escape

from lasersafe.results import ChartData
from lasersafe.sheet.chart import Chart
from lasersafe.sheet.flow import Box, Mark, Path, Text
from lasersafe.sheet.fonts import BOLD
from lasersafe.sheet.text import Style, width_of
from lasersafe.wording import Wording

_WIDTH = 540.0  # [point]
_EDGE = 6.0


def chart_svg(data: ChartData, wording: Wording) -> str:
    """Return a chart as an SVG element.

    Parameters
    ----------
    data : ChartData
        What is drawn.
    wording : Wording
        Texts.

    Returns
    -------
    str
        SVG without an XML declaration.
    """
    chart = Chart(data, _WIDTH, wording)
    wide, high = _number(_WIDTH + 2 * _EDGE), _number(chart.height + 2 * _EDGE)
    marks = "\n".join(filter(None, map(_mark, chart.marks)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{_number(-_EDGE)} {_number(-_EDGE)} {wide} {high}" '
        f"font-family=\"'DejaVu Sans', Verdana, sans-serif\">\n<title>{escape(data.title)}</title>\n"
        f'<rect x="{_number(-_EDGE)}" y="{_number(-_EDGE)}" width="{wide}" height="{high}" fill="#ffffff"/>\n'
        f"{marks}\n</svg>"
    )


def _mark(mark: Mark) -> str:
    if isinstance(mark, Text):
        bold = ' font-weight="bold"' if mark.font == BOLD else ""
        long = _number(width_of(mark.text, Style(mark.size, mark.font == BOLD)))
        x, y = _number(mark.x), _number(-mark.y)
        turn = f' transform="rotate({_number(-mark.turn)} {x} {y})"' if mark.turn else ""
        return (
            f'<text x="{x}" y="{y}" font-size="{_number(mark.size)}"{bold} fill="{_grey(mark.ink)}" '
            f'textLength="{long}" lengthAdjust="spacingAndGlyphs"{turn}>{escape(mark.text)}</text>'
        )
    if isinstance(mark, Box):
        return (
            f'<rect x="{_number(mark.x)}" y="{_number(-mark.y - mark.height)}" width="{_number(mark.width)}" '
            f'height="{_number(mark.height)}" fill="{_grey(mark.fill)}" stroke="{_grey(mark.ink)}" '
            f'stroke-width="{_number(mark.thick)}"/>'
        )
    if isinstance(mark, Path):
        way = "M" + "L".join(f"{_number(a)} {_number(-b)}" for a, b in mark.points)
        dashes = f' stroke-dasharray="{" ".join(map(_number, mark.dashes))}"' if mark.dashes else ""
        pen = f'stroke="{_grey(mark.ink)}" stroke-width="{_number(mark.thick)}"{dashes}'
        return f'<path d="{way}" fill="{_grey(mark.fill)}" {pen}/>'
    return ""


def _grey(level: float | None) -> str:
    if level is None:
        return "none"
    part = f"{round(255 * level):02x}"
    return f"#{part * 3}"


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
