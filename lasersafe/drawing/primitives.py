"""What a drawing or a page is made of, measured from the lower left corner of the paper: shapes, words and signs.

Outlines are cut here. Signs are plain shapes, centred on a place, in millimetres. A drawing becomes SVG text, without
scripts, links or style sheets, or a PNG picture, through Pillow.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from html import escape
from io import BytesIO
from itertools import pairwise
from typing import TYPE_CHECKING

from lasersafe.data import shared_path
from lasersafe.drawing.text import FAMILY, FILES, clean, missing, width_of
from lasersafe.errors import OutputError, refuse

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont


def clip_line(start: Pair, end: Pair, rect: Rect) -> tuple[Pair, Pair] | None:
    """Return the part of a straight line inside a rectangle (Liang and Barsky), or None."""
    x0, y0, x1, y1 = rect
    dx, dy = end[0] - start[0], end[1] - start[1]
    first, last = 0.0, 1.0
    for step, gap in ((-dx, start[0] - x0), (dx, x1 - start[0]), (-dy, start[1] - y0), (dy, y1 - start[1])):
        if step == 0.0:
            if gap < 0.0:
                return None
            continue
        place = gap / step
        if step < 0.0:
            first = max(first, place)
        else:
            last = min(last, place)
        if first > last:
            return None
    return start if first == 0.0 else toward(start, end, first), end if last == 1.0 else toward(start, end, last)


def clip_run(run: Sequence[Pair], rect: Rect) -> list[Run]:
    """Return the parts of a line through points that lie inside a rectangle."""
    found: list[list[Pair]] = []
    for cut in (clip_line(start, end, rect) for start, end in pairwise(run)):
        if cut is None:
            continue
        if found and found[-1][-1] == cut[0]:
            found[-1].append(cut[1])
        else:
            found.append(list(cut))
    return [tuple(part) for part in found]


def clip_ring(ring: Sequence[Pair], rect: Rect) -> Run:
    """Return a ring cut to a rectangle (Sutherland and Hodgman); parts may be joined along its edge."""
    x0, y0, x1, y1 = rect
    points = list(ring)
    for axis, bound, sign in ((0, x0, 1.0), (0, x1, -1.0), (1, y0, 1.0), (1, y1, -1.0)):
        if not points:
            return ()
        kept: list[Pair] = []
        before = points[-1]
        for point in points:
            inside, was = sign * (point[axis] - bound) >= 0.0, sign * (before[axis] - bound) >= 0.0
            if inside != was:
                share = (bound - before[axis]) / (point[axis] - before[axis])
                other = before[1 - axis] + share * (point[1 - axis] - before[1 - axis])
                kept.append((bound, other) if axis == 0 else (other, bound))
            if inside:
                kept.append(point)
            before = point
        points = kept
    return tuple(points) if len(points) > 2 else ()


def along(run: Sequence[Pair], count: int) -> list[Pair]:
    """Return points at even steps along a line, its ends left out."""
    steps = [math.dist(a, b) for a, b in pairwise(run)]
    total = sum(steps)
    if total <= 0.0:
        return list(run[:1])
    found = []
    for number in range(1, count + 1):
        left = total * number / (count + 1)
        for (a, b), step in zip(pairwise(run), steps, strict=True):
            if left <= step and step > 0.0:
                found.append(toward(a, b, left / step))
                break
            left -= step
    return found


def toward(start: Sequence[float], end: Sequence[float], share: float) -> Pair:
    """Return the point at a share of the way from one point to another."""
    return start[0] + (end[0] - start[0]) * share, start[1] + (end[1] - start[1]) * share


def overlap(one: Rect, other: Rect) -> bool:
    """Return whether two rectangles share an area."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def within(one: Rect, other: Rect) -> bool:
    """Return whether the first rectangle lies in the second."""
    return one[0] >= other[0] and one[1] >= other[1] and one[2] <= other[2] and one[3] <= other[3]


Pair = tuple[float, float]
Run = tuple[Pair, ...]
Rect = tuple[float, float, float, float]  # low x, low y, high x, high y
BLACK = "#000000"
WHITE = "#ffffff"


@dataclass(frozen=True)
class Lines:
    """Open lines of one pen."""

    runs: tuple[Run, ...]
    ink: str = BLACK
    thick: float = 0.25
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Area:
    """A filled area; a ring inside another one is a hole."""

    rings: tuple[Run, ...]
    fill: str = BLACK


@dataclass(slots=True)  # thousands of them: a frozen one takes three times as long to make
class Words:
    """One line of text; its base line starts at ``x``, ``y``. ``size`` is the height of the type."""

    x: float
    y: float
    text: str
    size: float = 2.5
    bold: bool = False
    ink: str = BLACK
    framed: bool = False  # whether it has to lie inside the frame of the drawing
    turn: float = 0.0  # [degree], counter-clockwise; only on a page of the sheet


Mark = Lines | Area | Words


@dataclass(frozen=True)
class Drawing:
    """One page of a plan, or one chart, in millimetres."""

    kind: str  # plan | overview | elevation | map | key | sweep | chart
    title: str
    width: float
    height: float
    frame: Rect
    scale: int  # 1 : scale; 0 when nothing on the page is to scale
    marks: list[Mark] = field(default_factory=list)


def moved(marks: Iterable[Mark], x: float, y: float) -> list[Mark]:
    """Return marks elsewhere on the paper."""

    def run(points: Run) -> Run:
        return tuple([(a + x, b + y) for a, b in points])

    found: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Words):
            found.append(replace(mark, x=mark.x + x, y=mark.y + y))
        elif isinstance(mark, Lines):
            found.append(replace(mark, runs=tuple(map(run, mark.runs))))
        else:
            found.append(replace(mark, rings=tuple(map(run, mark.rings))))
    return found


def grey(level: float) -> str:
    """Return an ink from 0 (black) to 1 (white)."""
    return f"#{round(255 * level):02x}" + 2 * f"{round(255 * level):02x}"


def arrow(tail: Pair, tip: Pair, ink: str = BLACK, thick: float = 0.3, head: float = 2.0) -> list[Mark]:
    """Return a line with a filled head at its tip."""
    dx, dy = tip[0] - tail[0], tip[1] - tail[1]
    long = (dx * dx + dy * dy) ** 0.5
    if long < 1e-9:
        return []
    ux, uy = dx / long, dy / long
    neck = (tip[0] - ux * head, tip[1] - uy * head)
    side = head * 0.32
    wings = (tip, (neck[0] - uy * side, neck[1] + ux * side), (neck[0] + uy * side, neck[1] - ux * side))
    return [Lines(((tail, neck),), ink, thick), Area((wings,), ink)]


def box(rect: Rect) -> Run:
    """Return the corners of a rectangle."""
    x0, y0, x1, y1 = rect
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def closed(run: Run) -> Run:
    """Return a ring that ends where it began."""
    return (*run, run[0])


def edge(rect: Rect, thick: float = 0.3, ink: str = BLACK, fill: str = "") -> list[Mark]:
    """Return the edge of a rectangle, filled when ``fill`` says so."""
    found: list[Mark] = [Area((box(rect),), fill)] if fill else []
    return [*found, Lines((closed(box(rect)),), ink, thick)]


# --- the signs on a plan --------------------------------------------------------------------------------------------

_WARNING = "#f9a800"  # RAL 1003, signal yellow


def bearing_vector(bearing: float) -> Pair:
    """Return the unit vector of a bearing, clockwise from the y axis."""
    return math.sin(bearing), math.cos(bearing)


def circle(place: Pair, radius: float, corners: int = 20) -> Run:
    """Return the corners of a circle."""
    x, y = place
    turn = 2 * math.pi / corners
    return tuple((x + radius * math.cos(turn * k), y + radius * math.sin(turn * k)) for k in range(corners))


def _turned(place: Pair, bearing: float, points: Run) -> Run:
    """Return points given as (to the right, forwards), turned to a bearing."""
    fx, fy = bearing_vector(bearing)
    return tuple((place[0] + r * fy + f * fx, place[1] - r * fx + f * fy) for r, f in points)


def laser(place: Pair, bearing: float) -> list[Mark]:
    """Return a black box with a nose; the last optic is at the tip."""
    body = _turned(
        place, bearing, ((-1.3, -5.2), (1.3, -5.2), (1.3, -2.0), (0.45, -2.0), (0.0, 0.0), (-0.45, -2.0), (-1.3, -2.0))
    )
    return [Area((body,), BLACK)]


def person(place: Pair) -> list[Mark]:
    """Return a ring with a dot."""
    ring = circle(place, 1.5)
    return [Area((ring,), WHITE), Lines((closed(ring),), BLACK, 0.4), Area((circle(place, 0.55, 10),), BLACK)]


def camera(place: Pair, bearing: float | None) -> list[Mark]:
    """Return a box with an open cone."""
    way = bearing or 0.0
    body = _turned(place, way, ((-1.2, -1.2), (1.2, -1.2), (1.2, 1.2), (-1.2, 1.2)))
    marks: list[Mark] = [Area((body,), WHITE), Lines((closed(body),), BLACK, 0.4)]
    if bearing is not None:
        marks.append(Lines((_turned(place, way, ((0.0, 1.2), (-1.2, 3.0), (1.2, 3.0), (0.0, 1.2))),), BLACK, 0.35))
    return marks


def target(place: Pair, stop: bool) -> list[Mark]:
    """Return a diamond with a cross; black with a rated stop."""
    x, y = place
    ring = ((x, y + 2.0), (x + 2.0, y), (x, y - 2.0), (x - 2.0, y))
    marks: list[Mark] = [Area((ring,), BLACK if stop else WHITE), Lines((closed(ring),), BLACK, 0.4)]
    ink = WHITE if stop else BLACK
    marks.append(Lines((((x - 1.0, y), (x + 1.0, y)), ((x, y - 1.0), (x, y + 1.0))), ink, 0.3))
    return marks


def surface(place: Pair, line: Run, mirror: bool) -> list[Mark]:
    """Return the trace of a surface: a double line for a mirror, ticks for scatter, a star when it faces anywhere."""
    if len(line) > 1 and math.dist(line[0], line[-1]) > 1.0:
        (x0, y0), (x1, y1) = start, end = line[0], line[-1]
        long = math.dist(start, end)
        nx, ny = -(y1 - y0) / long * 0.5, (x1 - x0) / long * 0.5
        if mirror:
            pair = (((x0 + nx, y0 + ny), (x1 + nx, y1 + ny)), ((x0 - nx, y0 - ny), (x1 - nx, y1 - ny)))
            return [Lines(pair, BLACK, 0.45)]
        count = max(2, int(long / 1.6))
        feet = [toward(start, end, k / count) for k in range(count + 1)]
        ticks = tuple((foot, (foot[0] + 2.2 * nx, foot[1] + 2.2 * ny)) for foot in feet)
        return [Lines((line,), BLACK, 0.5), Lines(ticks, BLACK, 0.25)]
    x, y = place
    arms = [math.pi / 6 + math.pi / 3 * k for k in range(3)]
    ways = [(1.8 * math.cos(a), 1.8 * math.sin(a)) for a in arms]
    rays = tuple(((x - dx, y - dy), (x + dx, y + dy)) for dx, dy in ways)
    marks: list[Mark] = [Lines(rays, BLACK, 0.45)]
    if mirror:
        marks.append(Lines((closed(circle(place, 1.8)),), BLACK, 0.35))
    return marks


def barrier(run: Run, kind: str) -> list[Mark]:
    """Return a barrier.

    ``holds`` is a solid bar, one that holds in part has white dashes, ``fails`` an open bar with crosses,
    ``plain`` a double line.
    """
    marks: list[Mark] = []
    if kind == "holds":
        return [Lines((run,), BLACK, 1.5)]
    if kind in ("today", "part", "this"):
        return [Lines((run,), BLACK, 1.5), Lines((run,), WHITE, 0.5, (1.4, 1.4))]
    marks += [Lines((run,), BLACK, 1.3), Lines((run,), WHITE, 0.8)]
    if kind == "fails":
        crosses: list[Run] = []
        for start, end in pairwise(run):
            count = max(1, int(math.dist(start, end) / 6.0))
            for k in range(count):
                x, y = toward(start, end, (k + 0.5) / count)
                crosses += [((x - 1.1, y - 1.1), (x + 1.1, y + 1.1)), ((x - 1.1, y + 1.1), (x + 1.1, y - 1.1))]
        marks.append(Lines(tuple(crosses), BLACK, 0.4))
    return marks


def opening(start: Pair, end: Pair, kind: str, is_open: bool) -> list[Mark]:
    """Return a door with its swing, a window as three lines, or a gap; what is open is white."""
    long = math.dist(start, end)
    if long < 0.2:
        return []
    ux, uy = (end[0] - start[0]) / long, (end[1] - start[1]) / long
    nx, ny = -uy, ux

    def at(along: float, aside: float) -> Pair:
        return start[0] + ux * along + nx * aside, start[1] + uy * along + ny * aside

    marks: list[Mark] = [Lines(((start, end),), WHITE, 1.8)]
    ends = ((at(0, -0.9), at(0, 0.9)), (at(long, -0.9), at(long, 0.9)))
    if kind == "window":
        panes = tuple((at(0, a), at(long, a)) for a in (-0.6, 0.0, 0.6))
        return [*marks, Lines((*panes, *ends), BLACK, 0.25)]
    if kind == "door":
        leaf = (at(0, 0), at(0, long)) if is_open else (at(0, 0), at(long, 0))
        swing = tuple(at(long * math.sin(a), long * math.cos(a)) for a in [math.pi / 16 * k for k in range(9)])
        return [*marks, Lines((leaf, *ends), BLACK, 0.5), Lines((swing,), BLACK, 0.2)]
    if not is_open:
        marks.append(Lines(((start, end),), BLACK, 0.4))
    return [*marks, Lines(ends, BLACK, 0.4)]


def hazard(place: Pair, side: float) -> list[Mark]:
    """Return the warning sign for laser light, ISO 7010 W004, its lower left corner at a place.

    The proportions are those that IEC 60825-1 prints for its hazard label, from memory: for a side of 100 a yellow rim
    of 2, a black band of 6, corners of radius 5, rays that end on circles of 42 and 28, a spot of 14, lines of 2.
    """
    unit, high = side / 100.0, side * math.sqrt(0.75)
    corners = (place, (place[0] + side, place[1]), (place[0] + side / 2, place[1] + high))
    middle = (place[0] + side / 2, place[1] + high / 3)

    def rim(inset: float) -> Run:
        share = 1.0 - inset * unit / (high / 3)
        radius = max(5.0 - inset, 1.0) * unit
        found: list[Pair] = []
        for number, corner in enumerate(corners):
            tip = toward(middle, corner, share)
            centre = toward(tip, middle, 2 * radius / (math.dist(tip, middle) or 1.0))
            start = math.radians(210 + 120 * number)
            turns = [start + math.radians(15 * k - 60) for k in range(9)]
            found += [(centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in turns]
        return tuple(found)

    rays = [(21.0 if k % 2 else 14.0, math.radians(15 * k)) for k in range(1, 24)]
    lines = tuple(
        (middle, (middle[0] + far * unit * math.cos(a), middle[1] + far * unit * math.sin(a))) for far, a in rays
    )
    beam = (middle, (middle[0] + 31.0 * unit, middle[1]))
    return [
        Area((rim(0.0),), _WARNING),
        Area((rim(2.0),), BLACK),
        Area((rim(8.0),), _WARNING),
        Lines((*lines, beam), BLACK, 2.0 * unit),
        Area((circle(middle, 7.0 * unit, 32),), BLACK),
    ]


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
            if unknown := missing(mark.text):
                what = f"the character {unknown} (U+{ord(unknown):04X}) in '{mark.text}' cannot be drawn in a PNG"
                instead = "write it with Latin, Greek or Cyrillic letters, or ask for SVG"
                refuse(f"{drawing.kind}: {what}; {instead}", OutputError)
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
