"""A drawing as SVG text: plain paths and text, in millimetres, without scripts, links or style sheets."""

from __future__ import annotations

from html import escape

from lasersafe.drawing.primitives import Area, Drawing, Lines, Mark, Run
from lasersafe.drawing.typeface import FAMILY, clean, width_of


def to_svg(drawing: Drawing) -> str:
    """Return a drawing as the text of an SVG file; equal drawings give equal text.

    Parameters
    ----------
    drawing : Drawing
        What is drawn.

    Returns
    -------
    str
        SVG 1.1 with a view box in millimetres, so that a print at 100 % is to scale.
    """
    wide, high = _number(drawing.width), _number(drawing.height)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{high}mm" viewBox="0 0 {wide} {high}" '
        f"font-family=\"'{FAMILY}', Verdana, sans-serif\">",
        f"<title>{_text(drawing.title)}</title>",
        f'<rect width="{wide}" height="{high}" fill="#ffffff"/>',
        *[_mark(mark, drawing.height) for mark in drawing.marks],
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _mark(mark: Mark, high: float) -> str:
    if isinstance(mark, Lines):
        path = "".join([_path(run, high) for run in mark.runs])
        dashes = f' stroke-dasharray="{" ".join(map(_number, mark.dashes))}"' if mark.dashes else ""
        return f'<path d="{path}" fill="none" stroke="{mark.ink}" stroke-width="{_number(mark.thick)}"{dashes}/>'
    if isinstance(mark, Area):
        path = "".join([_path(ring, high) + "Z" for ring in mark.rings])
        return f'<path d="{path}" fill="{mark.fill}" fill-rule="evenodd"/>'
    bold = ' font-weight="bold"' if mark.bold else ""
    long = _number(width_of(mark.text, mark.size, mark.bold))
    return (
        f'<text x="{_number(mark.x)}" y="{_number(high - mark.y)}" font-size="{_number(mark.size)}"{bold} '
        f'fill="{mark.ink}" textLength="{long}" lengthAdjust="spacingAndGlyphs">{_text(mark.text)}</text>'
    )


def _path(run: Run, high: float) -> str:
    (x, y), *rest = run
    return f"M{_number(x)} {_number(high - y)}" + "".join([f"L{_number(a)} {_number(high - b)}" for a, b in rest])


def _number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _text(text: str) -> str:
    return escape(clean(text), quote=True)
