"""Charts of a quantity over an input: axes, grid, and curves that dashes and names tell apart in grey print too."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from lasersafe.drawing import primitives as pen
from lasersafe.drawing.page import Entry, Paper, lay_out
from lasersafe.drawing.sketch import Board, Label
from lasersafe.drawing.text import RAISED, spoken, width_of
from lasersafe.wording import Message

TICK = 2.5
TITLE = 2.8
GRID = "#c4c4c4"
FINE = "#e4e4e4"
_LEFT, _RIGHT, _BELOW, _ABOVE = 3.0, 8.0, 11.0, 7.0
_MOST = 8

DASHES: tuple[tuple[float, ...], ...] = (
    (), (3.2, 1.1), (0.7, 0.9), (4.2, 0.9, 0.7, 0.9), (6.5, 1.2), (1.6, 1.6), (4.2, 0.9, 0.7, 0.9, 0.7, 0.9),
    (1.2, 0.6),
)  # fmt: skip
INKS = (pen.BLACK, "#1d4e9e", "#35601c", "#8f1d4f", "#5b3b91", "#a8560b", "#1f7f93", "#555555")
NOMINAL_DASHES = (1.8, 1.0, 0.5, 1.0)
_THICK, _PLACES = 0.5, 23
Curve = tuple[str, Sequence[pen.Pair]]  # its name, and its points


@dataclass(frozen=True)
class Axis:
    """One axis.

    Parameters
    ----------
    title : str
        What is shown, with its unit.
    low, high : float
        Ends, ``low`` below ``high``; both above zero where ``log``.
    log : bool
        Equal ratios in equal lengths.
    """

    title: str
    low: float
    high: float
    log: bool = False

    def share(self, value: float) -> float:
        """Return where a value lies, 0 at the low end and 1 at the high one; far below where it has no place."""
        if not self.log:
            return (value - self.low) / (self.high - self.low)
        if not value > 0.0:
            return -10.0
        return math.log(value / self.low) / math.log(self.high / self.low)

    def marks(self) -> tuple[list[float], list[float]]:
        """Return the values that get a number, and those that get a fine line only."""
        if not self.log:
            return round_steps(self.low, self.high, (self.high - self.low) / _MOST), []
        first, last = math.floor(math.log10(self.low)), math.ceil(math.log10(self.high))
        every = range(first, last + 1)
        digits = (1, 2, 5) if last - first <= 3 else (1,)
        jump = max(1, math.ceil((last - first) / 12))
        numbered = [d * 10.0**p for p in every if (p - first) % jump == 0 for d in digits]
        fine = [d * 10.0**p for p in every for d in range(1, 10)] if last - first <= 6 else [10.0**p for p in every]
        low, high = self.low * (1.0 - 1e-9), self.high * (1.0 + 1e-9)
        numbered, fine = ([v for v in each if low <= v <= high] for each in (numbered, fine))
        if len(numbered) < 2:  # less than a step of 1, 2, 5: as on a plain axis
            return Axis(self.title, self.low, self.high).marks()
        return numbered, fine


def round_ends(low: float, high: float, *, log: bool) -> pen.Pair:
    """Return ends of an axis at round numbers, at or beyond those given.

    Parameters
    ----------
    low, high : float
        Smallest and largest value; above zero where ``log``. [any]
    log : bool
        Whether the axis is logarithmic.

    Returns
    -------
    tuple of float
        [as the ends]
    """
    if log:
        return _round(low, down=True), _round(high, down=False)
    step = _step(max(high - low, abs(high) * 1e-6, 1e-12) / _MOST)
    return math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step


def _round(value: float, *, down: bool) -> float:
    power = math.floor(math.log10(value))
    steps = [d * 10.0**p for p in (power - 1, power, power + 1) for d in (1, 2, 5)]
    inside = [s for s in steps if (s <= value * (1 + 1e-9) if down else s >= value * (1 - 1e-9))]
    return max(inside) if down else min(inside)


def round_steps(low: float, high: float, least: float) -> list[float]:
    """Return round values between two ends, not nearer to each other than ``least``."""
    step = _step(least)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


def _step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return min(d * power for d in (1.0, 2.0, 5.0, 10.0) if d * power >= least * (1.0 - 1e-9))


def tick_text(value: float) -> str:
    """Return a number at an axis without needless digits."""
    if value == 0.0:
        return "0"
    power = math.floor(math.log10(abs(value)) + 1e-9)
    if -3 <= power <= 4:
        return spoken(f"{value:.{max(0, 3 - power)}f}".rstrip("0").rstrip(".")) if power < 3 else f"{value:.0f}"
    digits = spoken(f"{value / 10.0**power:.3g}")
    return ("" if digits == "1" else f"{digits}·") + "10" + str(power).translate(RAISED)


@dataclass(frozen=True)
class Plot:
    """Two axes in a frame on paper."""

    x: Axis
    y: Axis
    room: pen.Rect  # inside the axes, in mm
    head: float = 0.0  # kept for names above the axes, in mm

    def point(self, x: float, y: float) -> pen.Pair:
        """Return where two values meet on paper."""
        x0, y0, x1, y1 = self.room
        return x0 + self.x.share(x) * (x1 - x0), y0 + self.y.share(y) * (y1 - y0)


def grid_marks(plot: Plot) -> list[pen.Mark]:
    """Return the lines of the grid, under everything else."""
    x0, y0, x1, y1 = plot.room
    marks: list[pen.Mark] = []
    for values, ink, thick in ((1, FINE, 0.12), (0, GRID, 0.2)):
        runs = [((x, y0), (x, y1)) for v in plot.x.marks()[values] for x in [plot.point(v, plot.y.low)[0]]]
        runs += [((x0, y), (x1, y)) for v in plot.y.marks()[values] for y in [plot.point(plot.x.low, v)[1]]]
        if runs:
            marks.append(pen.Lines(tuple(runs), ink, thick))
    return marks


def axis_marks(plot: Plot) -> list[pen.Mark]:
    """Return edge, numbers and titles; a number that would touch the one before it is left out."""
    x0, y0, x1, y1 = plot.room
    marks = pen.edge(plot.room, 0.35)
    last = -math.inf
    for value in plot.x.marks()[0]:
        text, x = tick_text(value), plot.point(value, plot.y.low)[0]
        wide = width_of(text, TICK)
        marks.append(pen.Lines((((x, y0), (x, y0 - 0.9)),), pen.BLACK, 0.25))
        if x - wide / 2 > last + 1.5:
            marks.append(pen.Words(x - wide / 2, y0 - 1.4 - TICK, text, TICK))
            last = x + wide / 2
    last = -math.inf
    for value in plot.y.marks()[0]:
        text, y = tick_text(value), plot.point(plot.x.low, value)[1]
        marks.append(pen.Lines((((x0, y), (x0 - 0.9, y)),), pen.BLACK, 0.25))
        if y > last + TICK * 1.1:
            marks.append(pen.Words(x0 - 1.5 - width_of(text, TICK), y - 0.36 * TICK, text, TICK))
            last = y
    marks.append(pen.Words((x0 + x1 - width_of(plot.x.title, TITLE)) / 2, y0 - 8.2, plot.x.title, TITLE))
    marks.append(pen.Words(x0, y1 + 2.2 + plot.head, plot.y.title, TITLE))
    return marks


@dataclass(frozen=True)
class Heading:
    """What stands around the chart: title, two lines below it, and the lines at the foot, each bold or not."""

    title: str
    lines: tuple[str, ...]
    foot: tuple[tuple[str, bool], ...]
    language: str = "en"


def curve_page(
    paper: Paper, heading: Heading, x: Axis, y: Axis, curves: Sequence[Curve], nominal: tuple[float, str] | None = None
) -> pen.Drawing:
    """Return a page with curves.

    Parameters
    ----------
    paper : Paper
        Size.
    heading : Heading
        Texts around the chart.
    x, y : Axis
        Axes.
    curves : sequence of tuple
        At least one: its name, and its points, a value of the input and of the quantity each, the input rising.
    nominal : tuple of float and str, optional
        What the case says today, and what to write beside it; nothing is drawn when it lies outside the axis.
    """
    entries = []
    for number, (name, points) in enumerate(curves):
        none = not any(value > 0.0 for _, value in points)
        name = Message("draw.nowhere", name=name).said(heading.language) if none else name
        entries.append(Entry(partial(curve_sample, number), name))
    layout = lay_out(paper, "sweep", heading.title, entries, (), heading.foot)
    layout.scale_lines(heading.lines, paper.margin)
    # two axes that fill the page, with room for numbers and titles
    frame, wide = layout.drawing.frame, max([width_of(tick_text(v), TICK) for v in y.marks()[0]] or [0.0])
    plot = Plot(x, y, (frame[0] + wide + _LEFT, frame[1] + _BELOW, frame[2] - _RIGHT, frame[3] - _ABOVE))
    board = Board(plot.room)
    marks = grid_marks(plot)
    if nominal is not None and x.low <= nominal[0] <= x.high:
        at, (_, low, _, high) = plot.point(nominal[0], y.low)[0], plot.room
        board.cover(((at, low), (at, high)))
        places = [(at, high - (high - low) * share) for share in (0.04, 0.96, 0.12, 0.88, 0.2, 0.8)]
        board.put(Label(nominal[1], places))
        tip = ((at, low), (at - 1.1, low - 1.9), (at + 1.1, low - 1.9))
        marks += [pen.Lines((((at, low), (at, high)),), pen.BLACK, 0.25, NOMINAL_DASHES), pen.Area((tip,), pen.BLACK)]
    marks += curve_marks(plot, curves, board)
    layout.drawing.marks.extend([*marks, *axis_marks(plot)])
    return layout.drawing


def curve_marks(plot: Plot, curves: Sequence[Curve], board: Board, bold: bool = False) -> list[pen.Mark]:
    """Return curves, each given as its name and points, with their names beside them where there is room."""
    marks: list[pen.Mark] = []
    labels = []
    for number, (name, points) in enumerate(curves):
        runs = pen.clip_run([plot.point(x, y) for x, y in points], plot.room)
        for run in runs:
            board.cover(run)
        if runs:
            marks.append(line := curve(number, *runs))
            places = pen.along(max(runs, key=lambda run: abs(run[-1][0] - run[0][0])), _PLACES)
            middle = len(places) / 2 - 0.5
            places = [place for _, place in sorted(enumerate(places), key=lambda one: abs(one[0] - middle))]
            labels.append(Label(name, places, bold, line.ink, clear=0.8))
    for label in labels:
        board.put(label)
    return [*marks, *board.under, *board.marks]


def curve(number: int, *runs: pen.Run) -> pen.Lines:
    """Return lines as a curve of that number is drawn; the inks differ in brightness too."""
    return pen.Lines(runs, INKS[number % len(INKS)], _THICK, DASHES[number % len(DASHES)])


def curve_sample(number: int, rect: pen.Rect) -> list[pen.Mark]:
    """Return the sample of a curve for the legend."""
    y = (rect[1] + rect[3]) / 2
    return [curve(number, ((rect[0], y), (rect[2], y)))]
