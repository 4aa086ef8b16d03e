"""What plan, map and section have in common: a view to scale, inks and tones, marks, and labels placed last."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.primitives import Area, Lines, Mark, Pair, Rect, Run, clip_ring, clip_run, grey
from lasersafe.records.scene import Polygon, SceneResult
from lasersafe.wording import Wording

AIM_INK = "#333333"
AIM_DASHES = (5.0, 1.0, 0.8, 1.0)
ITEM_INK = "#555555"
DARK, LIGHT = grey(0.6), grey(0.85)
DECADES = (grey(0.92), grey(0.78), grey(0.6), grey(0.42))


def tone(rings: Sequence[Run], frame: Rect, fill: str) -> list[Mark]:
    """Return a filled area inside a frame."""
    cut = tuple(ring for ring in (clip_ring(ring, frame) for ring in rings) if ring)
    return [Area(cut, fill)] if cut else []


def strokes(runs: Iterable[Run], frame: Rect, ink: str, thick: float, dashes: tuple[float, ...] = ()) -> list[Mark]:
    """Return lines inside a frame."""
    cut = tuple(part for run in runs for part in clip_run(run, frame))
    return [Lines(cut, ink, thick, dashes)] if cut else []


_STEPS = (1, 2, 2.5, 5)


def round_scale(extent: Pair, room: Pair) -> int:
    """Return the largest round scale, 1 : n, at which an extent [m] fits into a room on paper [mm].

    Parameters
    ----------
    extent : tuple of float
        Width and height of what is drawn. [m]
    room : tuple of float
        Width and height of the frame. [mm]

    Returns
    -------
    int
        1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500 and so on.
    """
    need = max(1.0, *(1000.0 * size / space for size, space in zip(extent, room, strict=True)))
    power = 10 ** max(math.floor(math.log10(need)) - 1, 0)
    while True:
        for step in _STEPS:
            scale = step * power
            if scale == int(scale) and scale >= need * (1.0 - 1e-12):
                return int(scale)
        power *= 10


@dataclass(frozen=True)
class View:
    """A part of the scene in a frame on paper."""

    frame: Rect
    middle: Pair  # [m] what lies in the middle of the frame
    scale: int

    def point(self, place: Sequence[float]) -> Pair:
        """Return where a place of the scene lies on paper."""
        factor = 1000.0 / self.scale
        x0, y0, x1, y1 = self.frame
        return (
            (x0 + x1) / 2 + (place[0] - self.middle[0]) * factor,
            (y0 + y1) / 2 + (place[1] - self.middle[1]) * factor,
        )

    def run(self, places: Iterable[Sequence[float]]) -> Run:
        """Return where the places of a line lie on paper."""
        factor = 1000.0 / self.scale
        x0, y0, x1, y1 = self.frame
        x, y, (middle_x, middle_y) = (x0 + x1) / 2, (y0 + y1) / 2, self.middle
        return tuple([(x + (p[0] - middle_x) * factor, y + (p[1] - middle_y) * factor) for p in places])

    def rings(self, polygons: Iterable[Polygon]) -> list[Run]:
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


def fit(extent: Rect, frame: Rect) -> View:
    """Return the view that shows an extent of the scene [m] at the largest round scale."""
    x0, y0, x1, y1 = extent
    scale = round_scale((x1 - x0, y1 - y0), (frame[2] - frame[0], frame[3] - frame[1]))
    return View(frame, ((x0 + x1) / 2, (y0 + y1) / 2), scale)


def extent_of(points: Iterable[Sequence[float]]) -> Rect | None:
    """Return the rectangle around points, or None when there are none; what is not finite does not count."""
    known = [p for p in points if math.isfinite(p[0]) and math.isfinite(p[1])]
    if not known:
        return None
    xs, ys = [p[0] for p in known], [p[1] for p in known]
    return min(xs), min(ys), max(xs), max(ys)


def grown(rect: Rect, share: float, least: float) -> Rect:
    """Return a rectangle with a border, a share of its longer side, and at least so wide and high."""
    x0, y0, x1, y1 = rect
    edge = share * max(x1 - x0, y1 - y0)
    more_x = edge + max(0.0, least - (x1 - x0) - 2 * edge) / 2
    more_y = edge + max(0.0, least - (y1 - y0) - 2 * edge) / 2
    return x0 - more_x, y0 - more_y, x1 + more_x, y1 + more_y


def longer(rect: Rect) -> float:
    """Return the longer side of a rectangle."""
    return max(rect[2] - rect[0], rect[3] - rect[1])


@dataclass
class Sketch:
    """One view of a scene: marks, and the labels that are placed when all marks are known."""

    scene: SceneResult
    view: View
    wording: Wording
    marks: list[Mark] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    used: set[str] = field(default_factory=set)  # keys of the legend that are on the drawing

    def __post_init__(self) -> None:
        self.text, self.say = self.wording.text, self.wording.say
        self.board = Board(self.frame)

    @property
    def frame(self) -> Rect:
        """Where it lies on paper. [mm]."""
        return self.view.frame

    def write(self) -> None:
        """Place all labels, the bold ones first; one for which there is no room is left out."""
        for label in sorted(self.labels, key=lambda label: not label.bold):
            self.board.put(label)
        self.marks += [*self.board.under, *self.board.marks]
