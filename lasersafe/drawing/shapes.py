"""Cutting of outlines on paper; plain tuples, since a drawing has few corners."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from lasersafe.drawing.primitives import Pair, Rect, Run


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
