"""One page: title, scale, frame, legend, what its signs say, and the lines at the foot that every drawing carries."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from lasersafe.drawing import primitives as pen
from lasersafe.drawing.sketch import AIM_DASHES, AIM_INK, ITEM_INK, Sketch
from lasersafe.drawing.text import clean, distance, duration, in_unit, tidy, width_of, wrap
from lasersafe.records.scene import BarrierLine, SceneResult, SpectatorLine, ZoneShape
from lasersafe.wording import Wording, joined, word

_TITLE, _LINE, _ENTRY = 4.2, 2.6, 2.5
_LEADING = 1.25
_SWATCH = (11.0, 4.6)
_GAP = 4.0
Foot = Sequence[tuple[str, bool]]  # lines, and whether each is bold
_HEAD_LINES = 2
_TITLE_LINES = 2


@dataclass(frozen=True)
class Paper:
    """Name of the format, size of the drawing and its white margin, in millimetres."""

    name: str
    width: float
    height: float
    margin: float = 0.0


@dataclass(frozen=True)
class Entry:
    """One line of the legend: a sample, a short name in bold, and what it says."""

    sample: Callable[[pen.Rect], list[pen.Mark]]
    head: str
    text: str = ""

    def lines(self, room: float) -> list[tuple[str, bool]]:
        """Return the lines of the entry."""
        if not self.text:
            return [(line, False) for line in wrap(clean(self.head), _ENTRY, room)]
        found = [(line, True) for line in wrap(clean(self.head), _ENTRY, room, True)]
        return found + [(line, False) for line in wrap(clean(self.text), _ENTRY, room)]


@dataclass
class Layout:
    """A page with its frame still empty."""

    drawing: pen.Drawing
    head_y: float

    def scale_lines(self, texts: Sequence[str], margin: float) -> None:
        """Write the two lines below the title."""
        room = self.drawing.width - 2 * margin
        y = self.head_y
        for text in texts[:_HEAD_LINES]:
            lines = wrap(clean(text), _LINE, room) or ("",)
            line = lines[0] if len(lines) == 1 else wrap(clean(text), _LINE, room - 4.0)[0] + " …"
            self.drawing.marks.append(pen.Words(margin, y, line, _LINE))
            y -= _LINE * _LEADING

    def filled(self, paper: Paper, sketch: Sketch, shown: str | None, *more: pen.Mark) -> pen.Drawing:
        """Return the page with its scale and what it shows, what is drawn in the frame, and the edge of the frame."""
        view = sketch.view
        scale = sketch.text("plan.scale", scale=view.scale, paper=paper.name)
        lines = wrap(scale, _LINE, paper.width - 2 * paper.margin) if shown is None else (scale, shown)
        self.scale_lines(lines, paper.margin)
        self.drawing.marks.extend([*sketch.marks, *sketch.bar, *more, *pen.edge(view.frame, 0.35)])
        return replace(self.drawing, scale=view.scale)


def lay_out(paper: Paper, kind: str, title: str, zones: Sequence[Entry], signs: Sequence[Entry], foot: Foot) -> Layout:
    """Return a page with title, legend and foot, and the frame that is left for the drawing.

    Parameters
    ----------
    paper : Paper
        Size.
    kind, title : str
        What the page shows; a sweep has no scale.
    zones, signs : sequence of Entry
        Legend in two columns, and below it the one of the signs in four.
    foot : sequence of tuple
        Lines at the foot, and whether each is bold.

    Returns
    -------
    Layout
        The page; a legend that would take more than half of it is set beside a frame as high as there is room.
    """
    m, wide = paper.margin, paper.width - 2 * paper.margin
    marks: list[pen.Mark] = []
    y = paper.height - m
    heads = wrap(clean(title), _TITLE, wide, True)
    if len(heads) > _TITLE_LINES:
        heads = (*heads[: _TITLE_LINES - 1], wrap(heads[_TITLE_LINES - 1], _TITLE, wide - 6.0, True)[0] + "…")
    for line in heads:
        y -= _TITLE * _LEADING
        marks.append(pen.Words(m, y + 0.3 * _TITLE, line, _TITLE, True))
    y -= _LINE * _LEADING
    head_y = y + 0.3 * _LINE
    top = y - (_HEAD_LINES - 1) * _LINE * _LEADING - 1.0
    low = m
    for text, bold in reversed(foot):
        for line in reversed(wrap(clean(text), _ENTRY, wide, bold)):
            marks.append(pen.Words(m, low + 0.3 * _ENTRY, line, _ENTRY, bold))
            low += _ENTRY * _LEADING
    low += 1.5
    for entries, columns in ((signs, 4), (zones, 2)):
        low += in_columns(entries, columns, wide, m, low, marks)
    frame = (m, low + 1.0, paper.width - m, max(top, low + 20.0))
    drawing = pen.Drawing(kind, clean(title), paper.width, paper.height, frame, int(kind != "sweep"), marks)
    return Layout(drawing, head_y)


def in_columns(
    entries: Sequence[Entry], columns: int, wide: float, left: float, low: float, marks: list[pen.Mark]
) -> float:
    """Set entries in columns that stand on ``low``; return their height."""
    if not entries:
        return 0.0
    column = (wide - (columns - 1) * _GAP) / columns
    sample, _ = _SWATCH
    laid = [(entry, entry.lines(column - sample - 2.0)) for entry in entries]
    heights = [max(_SWATCH[1] + 1.4, len(lines) * _ENTRY * _LEADING + 1.4) for _, lines in laid]
    rows = [heights[n : n + columns] for n in range(0, len(heights), columns)]
    total = sum(map(max, rows)) + 1.0
    y = low + total
    for number, row in enumerate(rows):
        for place, (entry, lines) in enumerate(laid[number * columns : (number + 1) * columns]):
            x = left + place * (column + _GAP)
            marks += entry.sample((x, y - _SWATCH[1] - 0.4, x + sample, y - 0.4))
            base = y - _ENTRY * 1.1
            for line, bold in lines:
                marks.append(pen.Words(x + sample + 2.0, base, line, _ENTRY, bold))
                base -= _ENTRY * _LEADING
        y -= max(row)
    return total


def direction_arrows(frame: pen.Rect, directions: Sequence[tuple[str, float]]) -> tuple[list[pen.Mark], list[pen.Rect]]:
    """Return arrows with names, as north and stage, at the upper right of the frame, and the room they take."""
    marks: list[pen.Mark] = []
    rects: list[pen.Rect] = []
    right = frame[2] - 1.5
    for name, bearing in directions:
        half = max(7.0, width_of(name, _ENTRY) / 2 + 1.0)
        rect = (right - 2 * half, frame[3] - 19.0, right, frame[3] - 1.5)
        x, y = right - half, frame[3] - 8.5
        fx, fy = pen.bearing_vector(bearing)
        marks.append(pen.Area((pen.box(rect),), pen.WHITE))
        marks += pen.arrow((x - 5.5 * fx, y - 5.5 * fy), (x + 5.5 * fx, y + 5.5 * fy), pen.BLACK, 0.5, 3.2)
        marks.append(pen.Words(x - width_of(name, _ENTRY) / 2, rect[1] + 0.8, name, _ENTRY, False, pen.BLACK, True))
        rects.append(rect)
        right -= 2 * half
    return marks, rects


def foot_lines(
    paper: Paper, wording: Wording, extra: Sequence[str] = (), meaning: str = "plan.meaning"
) -> list[tuple[str, bool]]:
    """Return what stands at the foot of every drawing; on a page of its own it is marked as a draft too."""
    found = [(wording.text(meaning), False), *[(text, False) for text in extra], (wording.caution_short, True)]
    return [*found, (wording.text("draft.header"), True)] if paper.margin else found


def state_of(barrier: BarrierLine) -> tuple[str, str]:
    """Return how a barrier is drawn, and against what it does not hold.

    It holds against all that hits it ("holds"), only for the set-ups fitted today ("today"), only against some of the
    lasers ("part"), it does not hold for what is fitted ("fails"), or nothing was judged ("plain").
    """
    if not barrier.ways:
        return "plain", ""
    fitted = [way for way in barrier.ways if way.fitted]
    lasers = dict.fromkeys(way.laser for way in fitted)
    against, beaten = [], 0
    for laser in lasers:
        own = [way for way in fitted if way.laser == laser]
        failing = list(dict.fromkeys(way.way for way in own if not way.holds))
        if failing:
            every = all(not way.holds for way in own)
            beaten += 1
            alone = joined(map(word, failing), ", ")
            against.append(alone if len(lasers) == 1 else laser if every else joined([laser, alone], " "))
    if against:
        return ("fails" if beaten == len(lasers) else "part"), joined(against)
    later = dict.fromkeys(way.setup for way in barrier.ways if not way.holds)
    return ("today", ", ".join(later)) if later else ("holds", "")


def outermost(lines: Sequence[SpectatorLine]) -> list[SpectatorLine]:
    """Return for each side, and each rule, the line that lies farthest out: behind it people are behind them all."""
    found: dict[tuple[str, str], tuple[float, SpectatorLine]] = {}
    for line in lines:
        if line.distance <= 0.0 or not line.line:
            continue
        way = (math.sin(line.bearing), math.cos(line.bearing))
        out = max(x * way[0] + y * way[1] for x, y in line.line)
        key = (line.side, line.line_kind)
        if key not in found or not out <= found[key][0]:
            found[key] = (out, line)
    return [line for _, line in found.values()]


def limits_line(zones: Iterable[ZoneShape], wording: Wording) -> str:
    """Return the limits of some zones, of which tissue or of fire, with their times in one sentence."""
    kinds = {"eye": "tissue.eye", "skin": "tissue.skin", "ignition": "plan.short_ignition"}
    found = dict.fromkeys(
        f"{wording.text(key)} {limit_text(zone, wording)}"
        for zone in zones if zone.limit is not None for kind, key in kinds.items() if kind in zone.kind
    )  # fmt: skip
    return wording.text("plan.map_limits", limits="; ".join(found)) if found else ""


def left_out_line(scene: SceneResult, wording: Wording) -> str:
    """Return in one sentence what refuses the verdict and is in no zone, line or map; "" for nothing."""
    return wording.text("scene.left_out", what=tidy(scene.left_out)) if scene.left_out else ""


def tag(kind: str, far: float, origin: str, wording: Wording) -> str:
    """Return the short name of a zone with its distance, and from where it counts."""
    words = {"kind": wording.text(f"plan.short_{kind}"), "distance": distance(far), "origin": wording.say(origin)}
    return wording.text("plan.tag", **words)


def limit_text(zone: ZoneShape, wording: Wording) -> str:
    """Return the limit of a zone with its time."""
    limit = wording.say(zone.limited_by) if zone.limit is None else in_unit(zone.limit, zone.limit_unit, 3, "down")
    return limit + ("" if zone.duration is None else wording.text("plan.time", duration=duration(zone.duration)))


_SIGNS = ("laser", "aim", "axis", "person", "eyes", "target", "camera", "mirror", "scatter", "holds", "this", "part",
          "today", "fails", "plain", "door", "window", "gap", "line", "item")  # fmt: skip


def sign_entries(used: Iterable[str], wording: Wording) -> list[Entry]:
    """Return the legend of the signs that are on a drawing."""
    return [Entry(partial(_sign, key), wording.text(f"plan.legend_{key}")) for key in _SIGNS if key in used]


def _sign(key: str, rect: pen.Rect) -> list[pen.Mark]:
    """Return the sample of a sign."""
    x0, y0, x1, y1 = rect
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    across = ((x0, y), (x1, y))
    if key in ("holds", "this", "part", "today", "fails", "plain"):
        return pen.barrier(across, key)
    if key in ("door", "window", "gap"):
        around = [] if key == "door" else pen.barrier(across, "holds")
        return [*around, *pen.opening((x0 + 3.0, y - 0.5), (x1 - 3.0, y - 0.5), key, True)]
    trace = ((x0 + 1.0, y), (x1 - 1.0, y))
    drawn: dict[str, list[pen.Mark]] = {
        "laser": pen.laser((x + 2.5, y), math.pi / 2),
        "aim": [pen.Lines((across,), AIM_INK, 0.3, AIM_DASHES)],
        "axis": [pen.Lines((across,), pen.BLACK, 0.35, AIM_DASHES)],
        "person": pen.person((x, y)),
        "eyes": pen.person((x, y)),
        "target": pen.target((x, y), False),
        "camera": pen.camera((x - 1.0, y), math.pi / 2),
        "mirror": pen.surface((x, y), trace, True),
        "scatter": pen.surface((x, y), trace, False),
        "line": [pen.Lines((across,), pen.BLACK, 0.9, (4.0, 1.0))],
        "item": [pen.Lines((pen.closed(pen.box(rect)),), ITEM_INK, 0.3, (3.0, 0.8))],
    }
    return drawn[key]
