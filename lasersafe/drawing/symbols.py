"""The signs on the plan, all made of plain shapes, centred on a place. Sizes in millimetres."""

from __future__ import annotations

import math
from itertools import pairwise

from lasersafe.drawing.primitives import BLACK, WHITE, Area, Lines, Mark, Pair, Run, closed, toward

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
