"""Places for labels: none over another, none outside the frame, with a leader where a label stands off its place."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from lasersafe.drawing.primitives import (
    BLACK,
    WHITE,
    Area,
    Lines,
    Mark,
    Pair,
    Rect,
    Run,
    Words,
    box,
    clip_line,
    overlap,
    within,
)
from lasersafe.drawing.typeface import ASCENT, DESCENT, clean, width_of, wrap

SIZE = 2.5
_LEADING = 1.22
_PAD = 0.5
_LONGEST = 46.0  # width of a label
_RINGS = (1.6, 4.0, 7.5, 12.0, 18.0, 26.0, 36.0, 50.0)
_SIDES = ((1, 0.35), (-1, 0.35), (1, -0.35), (-1, -0.35), (0.3, 1), (0.3, -1), (-0.3, 1), (-0.3, -1))
_WORTH_A_LEADER = 3.2
_GRID = 7.0
_CELL = 3.0


@dataclass(frozen=True)
class Label:
    """A text that wants to stand close to one of its places."""

    text: str
    places: Sequence[Pair]
    bold: bool = False
    ink: str = BLACK
    clear: float = 0.0  # size of the symbol at the place, kept free
    size: float = SIZE


@dataclasses.dataclass
class Board:
    """What is already on the drawing: boxes of text, symbols, and lines that are better not covered."""

    frame: Rect
    boxes: list[Rect] = field(default_factory=list)
    symbols: list[Rect] = field(default_factory=list)
    lines: list[tuple[Pair, Pair]] = field(default_factory=list)
    leaders: list[tuple[Pair, Pair]] = field(default_factory=list)
    edges: set[tuple[int, int]] = field(default_factory=set)  # cells that the edge of a zone runs through
    under: list[Mark] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)

    def block(self, place: Pair, half: float) -> None:
        """Keep a symbol free."""
        self.symbols.append((place[0] - half, place[1] - half, place[0] + half, place[1] + half))

    def cover(self, run: Run) -> None:
        """Note where a line runs that labels had better not hide."""
        edges = self.edges
        for start, end in pairwise(run):
            count = int(math.dist(start, end) / _CELL) + 1
            if count == 1:
                edges.add((int(start[0] / _CELL), int(start[1] / _CELL)))
                continue
            dx, dy = (end[0] - start[0]) / count, (end[1] - start[1]) / count
            for k in range(count):
                edges.add((int((start[0] + dx * k) / _CELL), int((start[1] + dy * k) / _CELL)))

    def _hidden(self, rect: Rect) -> int:
        x0, y0, x1, y1 = [int(value / _CELL) for value in rect]
        edges = self.edges
        return sum([(x, y) in edges for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)]) if edges else 0

    def put(self, label: Label) -> bool:
        """Write a label at its best free place; when there is none, remember it and return False."""
        size = label.size
        lines = wrap(clean(label.text), size, _LONGEST, label.bold)
        if not lines or not label.places:
            return True
        wide = max(width_of(line, size, label.bold) for line in lines) + 2 * _PAD
        high = ((len(lines) - 1) * _LEADING + ASCENT + DESCENT) * size + 2 * _PAD
        found = self._best(label, wide, high)
        if found is None:
            return False
        rect, anchor = found
        self.boxes.append(rect)
        foot = _nearest(anchor, rect)
        if math.dist(foot, anchor) > _WORTH_A_LEADER + label.clear:
            self.leaders.append((anchor, foot))
            self.under += [Lines(((anchor, foot),), WHITE, 0.7), Lines(((anchor, foot),), label.ink, 0.2)]
            x, y = anchor
            self.under.append(Area((((x - 0.45, y), (x, y - 0.45), (x + 0.45, y), (x, y + 0.45)),), label.ink))
        y = rect[3] - _PAD - ASCENT * size
        for line in lines:
            right = rect[0] + _PAD + width_of(line, size, label.bold)
            self.marks.append(Area((box((rect[0] + 0.2, y - 0.3 * size, right + 0.3, y + 0.85 * size)),), WHITE))
            self.marks.append(Words(rect[0] + _PAD, y, line, size, label.bold, label.ink, True))
            y -= _LEADING * size
        return True

    def _best(self, label: Label, wide: float, high: float) -> tuple[Rect, Pair] | None:
        best: tuple[float, Rect, Pair] | None = None
        for far in _RINGS:
            for anchor in label.places:
                for sx, sy in _SIDES:
                    reach = far + label.clear
                    x = anchor[0] + sx * reach - (wide if sx < -0.5 else 0.0 if sx > 0.5 else wide / 2)
                    y = anchor[1] + sy * reach - (high if sy < -0.5 else 0.0 if sy > 0.5 else high / 2)
                    best = self._weigh(best, (x, y, x + wide, y + high), anchor, far)
                    if best is not None and best[0] <= far:
                        return best[1], best[2]
        if best is None:
            best = self._anywhere(label, wide, high)
        return None if best is None else (best[1], best[2])

    def _anywhere(self, label: Label, wide: float, high: float) -> tuple[float, Rect, Pair] | None:
        best: tuple[float, Rect, Pair] | None = None
        x0, y0, x1, y1 = self.frame
        anchor = label.places[0]
        for row in range(int((y1 - y0 - high) // _GRID) + 1):
            for column in range(int((x1 - x0 - wide) // _GRID) + 1):
                x, y = x0 + 0.5 + column * _GRID, y0 + 0.5 + row * _GRID
                far = math.dist(anchor, (x + wide / 2, y + high / 2))
                best = self._weigh(best, (x, y, x + wide, y + high), anchor, far)
        return best

    def _weigh(
        self, best: tuple[float, Rect, Pair] | None, rect: Rect, anchor: Pair, far: float
    ) -> tuple[float, Rect, Pair] | None:
        if (best is not None and far >= best[0]) or not within(rect, self.frame):
            return best
        x0, y0, x1, y1 = rect
        for a0, b0, a1, b1 in self.boxes:
            if x0 < a1 and a0 < x1 and y0 < b1 and b0 < y1:
                return best
        foot = _nearest(anchor, rect)
        cost = far
        cost += 14.0 * sum([overlap(rect, other) for other in self.symbols])
        if best is not None and cost >= best[0]:
            return best
        cost += 0.7 * self._hidden(rect)
        if best is not None and cost >= best[0]:
            return best
        cost += 9.0 * _crossing(self.leaders, rect)
        cost += 4.0 * _crossing(self.lines, rect)
        if best is not None and cost >= best[0]:
            return best
        if far > _RINGS[0]:
            cost += 9.0 * sum([clip_line(anchor, foot, other) is not None for other in self.boxes])
            cost += 5.0 * sum([_cross(anchor, foot, *line) for line in self.leaders])
        return (cost, rect, anchor) if best is None or cost < best[0] else best


def _nearest(point: Pair, rect: Rect) -> Pair:
    return min(max(point[0], rect[0]), rect[2]), min(max(point[1], rect[1]), rect[3])


def _crossing(lines: Sequence[tuple[Pair, Pair]], rect: Rect) -> int:
    """Return how many of some lines meet a rectangle."""
    x0, y0, x1, y1 = rect
    count = 0
    for start, end in lines:
        (ax, ay), (bx, by) = start, end
        if (ax < x0 and bx < x0) or (ax > x1 and bx > x1) or (ay < y0 and by < y0) or (ay > y1 and by > y1):
            continue
        count += clip_line(start, end, rect) is not None
    return count


def _cross(a: Pair, b: Pair, c: Pair, d: Pair) -> bool:
    def side(p: Pair, q: Pair, r: Pair) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0.0 and side(c, d, a) * side(c, d, b) < 0.0
