"""A drawing as SVG text, without scripts, links or style sheets, and as a PNG picture, through Pillow."""

from __future__ import annotations

import math
from collections.abc import Iterator
from html import escape
from io import BytesIO
from itertools import pairwise
from typing import TYPE_CHECKING

from lasersafe.data import shared_path
from lasersafe.drawing.primitives import Area, Drawing, Lines, Mark, Run, Words
from lasersafe.drawing.typeface import FAMILY, FILES, clean, missing, width_of
from lasersafe.errors import OutputError, refuse

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont


DOTS_PER_INCH = 200
_FINER = 2  # drawn so many times larger, then averaged


def to_png(drawing: Drawing, dots_per_inch: int = DOTS_PER_INCH) -> bytes:
    """Return a drawing as the bytes of a PNG file.

    Parameters
    ----------
    drawing : Drawing
        What is drawn.
    dots_per_inch : int
        Resolution, also written into the file, so that it prints to scale.

    Raises
    ------
    OutputError
        If a text holds a character that the typeface does not have.
    """
    from PIL import Image, ImageChops, ImageDraw, ImageFont

    factor = dots_per_inch / 25.4 * _FINER
    size = (round(drawing.width * factor / _FINER) * _FINER, round(drawing.height * factor / _FINER) * _FINER)
    image = Image.new("RGB", size, "#ffffff")
    draw = ImageDraw.Draw(image)
    fonts: dict[tuple[float, bool], FreeTypeFont] = {}

    def pixels(run: Run) -> list[tuple[float, float]]:
        return [(x * factor, size[1] - y * factor) for x, y in run]

    for mark in drawing.marks:
        if isinstance(mark, Lines):
            thick = max(1, round(mark.thick * factor))
            for run in mark.runs:
                for part in dashed(run, mark.dashes):
                    draw.line(pixels(part), fill=mark.ink, width=thick, joint="curve" if thick > 3 else None)
        elif isinstance(mark, Area):
            if len(mark.rings) == 1:
                draw.polygon(pixels(mark.rings[0]), fill=mark.fill)
                continue
            mask = Image.new("1", size)
            for ring in mark.rings:
                one = Image.new("1", size)
                ImageDraw.Draw(one).polygon(pixels(ring), fill=1)
                mask = ImageChops.logical_xor(mask, one)
            image.paste(mark.fill, mask=mask)
        else:
            _write(mark, drawing.kind)
            key = (mark.size, mark.bold)
            if key not in fonts:
                path = str(shared_path("fonts", FILES[mark.bold]))
                fonts[key] = ImageFont.truetype(path, mark.size * factor, layout_engine=ImageFont.Layout.BASIC)
            ((place),) = pixels(((mark.x, mark.y),))
            draw.text(place, mark.text, font=fonts[key], fill=mark.ink, anchor="ls")
    buffer = BytesIO()
    image.reduce(_FINER).quantize(128, dither=Image.Dither.NONE).save(
        buffer, "PNG", dpi=(dots_per_inch, dots_per_inch), optimize=False
    )
    return buffer.getvalue()


def _write(words: Words, kind: str) -> None:
    unknown = missing(words.text)
    if unknown:
        refuse(
            f"{kind}: the character {unknown} (U+{ord(unknown):04X}) in '{words.text}' cannot be drawn in a PNG; "
            "write it with Latin, Greek or Cyrillic letters, or ask for SVG",
            OutputError,
        )


def dashed(run: Run, dashes: tuple[float, ...]) -> Iterator[Run]:
    """Yield the dashes of a line, or the line itself when it has none."""
    if not dashes:
        yield run
        return
    number, left = 0, dashes[0]
    part = [run[0]]
    for start, end in pairwise(run):
        long = math.dist(start, end)
        done = 0.0
        while long - done > left:
            done += left
            place = (start[0] + (end[0] - start[0]) * done / long, start[1] + (end[1] - start[1]) * done / long)
            if number % 2 == 0:
                yield (*part, place)
            part = [place]
            number += 1
            left = dashes[number % len(dashes)]
        left -= long - done
        part.append(end)
    if number % 2 == 0 and len(part) > 1:
        yield tuple(part)


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
