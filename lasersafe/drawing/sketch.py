"""What plan, map and section have in common: a view to scale, inks and tones, marks, and labels placed last.

No label stands over another or outside the frame; where one stands off its place, a leader goes there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import count, pairwise

from lasersafe.drawing import primitives as pen
from lasersafe.drawing.text import ASCENT, DESCENT, clean, quantity, spoken, width_of, wrap
from lasersafe.records.scene import Polygon, SceneResult
from lasersafe.wording import Wording

AIM_INK = "#333333"
AIM_DASHES = (5.0, 1.0, 0.8, 1.0)
ITEM_INK = "#555555"
DARK, LIGHT = pen.grey(0.6), pen.grey(0.85)
DECADES = (pen.grey(0.92), pen.grey(0.78), pen.grey(0.6), pen.grey(0.42))


def tone(rings: Sequence[pen.Run], frame: pen.Rect, fill: str) -> list[pen.Mark]:
    """Return a filled area inside a frame."""
    cut = tuple(ring for ring in (pen.clip_ring(ring, frame) for ring in rings) if ring)
    return [pen.Area(cut, fill)] if cut else []


def strokes(
    runs: Iterable[pen.Run], frame: pen.Rect, ink: str, thick: float, dashes: tuple[float, ...] = ()
) -> list[pen.Mark]:
    """Return lines inside a frame."""
    cut = tuple(part for run in runs for part in pen.clip_run(run, frame))
    return [pen.Lines(cut, ink, thick, dashes)] if cut else []


_STEPS = (1, 2, 2.5, 5)


@dataclass(frozen=True)
class View:
    """A part of the scene in a frame on paper."""

    frame: pen.Rect
    middle: pen.Pair  # [m] what lies in the middle of the frame
    scale: int

    def point(self, place: Sequence[float]) -> pen.Pair:
        """Return where a place of the scene lies on paper."""
        (x0, y0, x1, y1), factor = self.frame, 1000.0 / self.scale
        x, y = (place[0] - self.middle[0]) * factor, (place[1] - self.middle[1]) * factor
        return (x0 + x1) / 2 + x, (y0 + y1) / 2 + y

    def run(self, places: Iterable[Sequence[float]]) -> pen.Run:
        """Return where the places of a line lie on paper."""
        return tuple([self.point(place) for place in places])

    def rings(self, polygons: Iterable[Polygon]) -> list[pen.Run]:
        """Return the outlines and holes of an area on paper."""
        found = []
        for polygon in polygons:
            found += [self.run(ring) for ring in (polygon.outline, *polygon.holes) if len(ring) > 2]
        return found

    def holds(self, place: Sequence[float], edge: float = 0.0) -> bool:
        """Return whether a place of the scene lies in the frame, at least ``edge`` millimetres inside."""
        x, y = self.point(place)
        x0, y0, x1, y1 = self.frame
        return x0 + edge <= x <= x1 - edge and y0 + edge <= y <= y1 - edge


_BAR = 4.0  # [mm] below what is drawn, for the scale bar


def fit(extent: pen.Rect, frame: pen.Rect) -> View:
    """Return the view that shows an extent of the scene [m] at the largest round scale: 1, 2, 5, 10, 20, 25, 50, ...

    Its own frame leaves room for the scale bar below it, which so hides nothing.
    """
    frame = (frame[0], frame[1] + _BAR, *frame[2:])
    x0, y0, x1, y1 = extent
    sides = ((x1 - x0, frame[2] - frame[0]), (y1 - y0, frame[3] - frame[1]))
    need = max(1.0, *(1000.0 * size / space for size, space in sides))
    powers = count(max(math.floor(math.log10(need)) - 1, 0))
    scales = (step * 10**power for power in powers for step in _STEPS)
    scale = next(int(scale) for scale in scales if scale == int(scale) and scale >= need * (1.0 - 1e-12))
    return View(frame, ((x0 + x1) / 2, (y0 + y1) / 2), scale)


def extent_of(points: Iterable[Sequence[float]]) -> pen.Rect | None:
    """Return the rectangle around points, or None when there are none; what is not finite does not count."""
    known = [p for p in points if math.isfinite(p[0]) and math.isfinite(p[1])]
    if not known:
        return None
    xs, ys = [p[0] for p in known], [p[1] for p in known]
    return min(xs), min(ys), max(xs), max(ys)


def grown(rect: pen.Rect, share: float, least: float) -> pen.Rect:
    """Return a rectangle with a border, a share of its longer side, and at least so wide and high."""
    x0, y0, x1, y1 = rect
    edge = share * max(x1 - x0, y1 - y0)
    more_x = edge + max(0.0, least - (x1 - x0) - 2 * edge) / 2
    more_y = edge + max(0.0, least - (y1 - y0) - 2 * edge) / 2
    return x0 - more_x, y0 - more_y, x1 + more_x, y1 + more_y


def longer(rect: pen.Rect) -> float:
    """Return the longer side of a rectangle."""
    return max(rect[2] - rect[0], rect[3] - rect[1])


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
    places: Sequence[pen.Pair]
    bold: bool = False
    ink: str = pen.BLACK
    clear: float = 0.0  # size of the symbol at the place, kept free
    size: float = SIZE
    rank: int = 0  # the lower, the sooner it is named on the drawing
    said: str = ""  # in the list beside the drawing; "" for the text itself


@dataclass
class Board:
    """What is already on the drawing: boxes of text, symbols, and lines that are better not covered."""

    frame: pen.Rect
    boxes: list[pen.Rect] = field(default_factory=list)
    symbols: list[pen.Rect] = field(default_factory=list)
    lines: list[tuple[pen.Pair, pen.Pair]] = field(default_factory=list)
    leaders: list[tuple[pen.Pair, pen.Pair]] = field(default_factory=list)
    edges: set[tuple[int, int]] = field(default_factory=set)  # cells that the edge of a zone runs through
    under: list[pen.Mark] = field(default_factory=list)
    marks: list[pen.Mark] = field(default_factory=list)

    def block(self, place: pen.Pair, half: float) -> None:
        """Keep a symbol free."""
        self.symbols.append((place[0] - half, place[1] - half, place[0] + half, place[1] + half))

    def cover(self, run: pen.Run) -> None:
        """Note where a line runs that labels had better not hide."""
        for start, end in pairwise(run):
            parts = int(math.dist(start, end) / _CELL) + 1
            dx, dy = (end[0] - start[0]) / parts, (end[1] - start[1]) / parts
            cells = [(int((start[0] + dx * k) / _CELL), int((start[1] + dy * k) / _CELL)) for k in range(parts)]
            self.edges.update(cells)

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
            self.under += [pen.Lines(((anchor, foot),), pen.WHITE, 0.7), pen.Lines(((anchor, foot),), label.ink, 0.2)]
            x, y = anchor
            self.under.append(pen.Area((((x - 0.45, y), (x, y - 0.45), (x + 0.45, y), (x, y + 0.45)),), label.ink))
        y = rect[3] - _PAD - ASCENT * size
        for line in lines:
            right = rect[0] + _PAD + width_of(line, size, label.bold)
            self.marks.append(
                pen.Area((pen.box((rect[0] + 0.2, y - 0.3 * size, right + 0.3, y + 0.85 * size)),), pen.WHITE)
            )
            self.marks.append(pen.Words(rect[0] + _PAD, y, line, size, label.bold, label.ink, True))
            y -= _LEADING * size
        return True

    def _best(self, label: Label, wide: float, high: float) -> tuple[pen.Rect, pen.Pair] | None:
        best: tuple[float, pen.Rect, pen.Pair] | None = None
        for far in _RINGS:
            for anchor in label.places:
                for sx, sy in _SIDES:
                    reach = far + label.clear
                    x = anchor[0] + sx * reach - (wide if sx < -0.5 else 0.0 if sx > 0.5 else wide / 2)
                    y = anchor[1] + sy * reach - (high if sy < -0.5 else 0.0 if sy > 0.5 else high / 2)
                    best = self._weigh(best, (x, y, x + wide, y + high), anchor, far)
                    if best is not None and best[0] <= far:
                        return best[1], best[2]
        if best is None:  # anywhere
            x0, y0, x1, y1 = self.frame
            anchor = label.places[0]
            for row in range(int((y1 - y0 - high) // _GRID) + 1):
                for column in range(int((x1 - x0 - wide) // _GRID) + 1):
                    x, y = x0 + 0.5 + column * _GRID, y0 + 0.5 + row * _GRID
                    far = math.dist(anchor, (x + wide / 2, y + high / 2))
                    best = self._weigh(best, (x, y, x + wide, y + high), anchor, far)
        return None if best is None else (best[1], best[2])

    def _weigh(
        self, best: tuple[float, pen.Rect, pen.Pair] | None, rect: pen.Rect, anchor: pen.Pair, far: float
    ) -> tuple[float, pen.Rect, pen.Pair] | None:
        if (best is not None and far >= best[0]) or not pen.within(rect, self.frame):
            return best
        if any([pen.overlap(rect, other) for other in self.boxes]):
            return best
        foot = _nearest(anchor, rect)
        cost = far + 14.0 * sum([pen.overlap(rect, other) for other in self.symbols])
        if best is not None and cost >= best[0]:
            return best
        column, row, last_column, last_row = [int(value / _CELL) for value in rect]
        rows = range(row, last_row + 1)
        cost += 0.7 * sum([(x, y) in self.edges for x in range(column, last_column + 1) for y in rows])
        if best is not None and cost >= best[0]:
            return best
        cost += 9.0 * sum([pen.clip_line(*line, rect) is not None for line in self.leaders])
        cost += 4.0 * sum([pen.clip_line(*line, rect) is not None for line in self.lines])
        if best is not None and cost >= best[0]:
            return best
        if far > _RINGS[0]:
            cost += 9.0 * sum([pen.clip_line(anchor, foot, other) is not None for other in self.boxes])
            cost += 5.0 * sum([_cross(anchor, foot, *line) for line in self.leaders])
        return (cost, rect, anchor) if best is None or cost < best[0] else best


def _nearest(point: pen.Pair, rect: pen.Rect) -> pen.Pair:
    return min(max(point[0], rect[0]), rect[2]), min(max(point[1], rect[1]), rect[3])


def _cross(a: pen.Pair, b: pen.Pair, c: pen.Pair, d: pen.Pair) -> bool:
    def side(p: pen.Pair, q: pen.Pair, r: pen.Pair) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    return side(a, b, c) * side(a, b, d) < 0.0 and side(c, d, a) * side(c, d, b) < 0.0


@dataclass
class Sketch:
    """One view of a scene with its scale bar: marks, and the labels that are placed when all marks are known."""

    scene: SceneResult
    view: View
    wording: Wording
    marks: list[pen.Mark] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    used: set[str] = field(default_factory=set)  # keys of the legend that are on the drawing

    def __post_init__(self) -> None:
        self.text, self.say, self.frame = self.wording.text, self.wording.say, self.view.frame
        self.board, self.bar = Board(self.frame), list[pen.Mark]()

    def place_bar(self) -> None:
        """Put the scale bar, in metres, below the frame at its left."""
        x0, y0, x1, _ = self.frame
        most = min(60.0, (x1 - x0) * 0.4) * self.view.scale / 1000.0 * (1 + 1e-12)
        power = 10.0 ** math.floor(math.log10(most))
        long = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= most)
        step = long * 1000.0 / self.view.scale / 4
        x, y = x0 + 1.0 + width_of("0", SIZE) + 1.0, y0 - 2.8
        parts = [(x + k * step, y, x + (k + 1) * step, y + 1.4) for k in range(4)]
        inks, texts = (pen.BLACK, pen.WHITE) * 2, ((x0 + 1.0, "0"), (x + 4 * step + 1.0, spoken(f"{long:g} m")))
        self.bar = [mark for part, ink in zip(parts, inks, strict=True) for mark in pen.edge(part, 0.2, fill=ink)]
        self.bar += [pen.Words(a, y - 0.2, t, SIZE, framed=True) for a, t in texts]

    def laser(self, place: pen.Pair, bearing: float, name: str, height: float) -> None:
        """Draw a laser with its name; its height [m] stands in the list beside the drawing."""
        way, high = pen.bearing_vector(bearing), self.text("plan.high", name=name, height=quantity(height, "m"))
        middle = (place[0] - 2.6 * way[0], place[1] - 2.6 * way[1])
        self.marks += pen.laser(place, bearing)
        self.board.block(middle, 2.6)
        self.labels.append(Label(name, [middle], True, clear=2.6, said=high))

    def write(self) -> None:
        """Place the scale bar and all labels, the bold ones first; one for which there is no room is left out."""
        self.place_bar()
        for label in sorted(self.labels, key=lambda label: not label.bold):
            self.board.put(label)
        self.marks += [*self.board.under, *self.board.marks]
