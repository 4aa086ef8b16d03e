"""What a drawing or a page is made of, measured from the lower left corner of the paper; outlines are cut here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise


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
    return toward(start, end, first), toward(start, end, last)


def clip_run(run: Sequence[Pair], rect: Rect) -> list[Run]:
    """Return the parts of a line through points that lie inside a rectangle."""
    found: list[list[Pair]] = []
    x0, y0, x1, y1 = rect
    # which sides each point lies beyond: 1 left, 2 right, 4 below, 8 above (Cohen and Sutherland)
    sides = [(x < x0) + 2 * (x > x1) + 4 * (y < y0) + 8 * (y > y1) for x, y in run]
    if len(run) > 1 and not any(sides):
        return [tuple(run)]
    for (start, end), (first, last) in zip(pairwise(run), pairwise(sides), strict=True):
        if first & last:
            continue
        cut = (start, end) if not first and not last else clip_line(start, end, rect)
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
    if len(points) > 2 and all([x0 <= x <= x1 and y0 <= y <= y1 for x, y in points]):
        return tuple(points)
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
