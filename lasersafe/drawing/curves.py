"""Curves of a quantity over an input: dashes and names tell them apart, so that grey print is enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lasersafe.drawing.axes import Axis, Plot, axis_marks, grid_marks, plot_in
from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.page import Entry, Paper, lay_out
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, Mark, Pair, Rect, Run
from lasersafe.drawing.shapes import along, clip_run

DASHES: tuple[tuple[float, ...], ...] = (
    (),
    (3.2, 1.1),
    (0.7, 0.9),
    (4.2, 0.9, 0.7, 0.9),
    (6.5, 1.2),
    (1.6, 1.6),
    (4.2, 0.9, 0.7, 0.9, 0.7, 0.9),
    (1.2, 0.6),
)
INKS = (BLACK, "#1d4e9e", "#35601c", "#8f1d4f", "#5b3b91", "#a8560b", "#1f7f93", "#555555")
NOMINAL_DASHES = (1.8, 1.0, 0.5, 1.0)
_THICK = 0.5
_PLACES = 23


@dataclass(frozen=True)
class Trace:
    """One curve.

    Parameters
    ----------
    name : str
        Short, written on it.
    text : str
        For the legend; "" for the name.
    points : tuple of Pair
        Value of the input and of the quantity, the input rising.
    """

    name: str
    text: str
    points: tuple[Pair, ...]


@dataclass(frozen=True)
class Heading:
    """What stands around the chart: title, two lines below it, and the lines at the foot, each bold or not."""

    title: str
    lines: tuple[str, ...]
    foot: tuple[tuple[str, bool], ...]


@dataclass(frozen=True)
class Nominal:
    """A value to be marked on the x axis, and what to write beside it."""

    value: float
    text: str


def curve_page(
    paper: Paper, heading: Heading, x: Axis, y: Axis, traces: Sequence[Trace], nominal: Nominal | None = None
) -> Drawing:
    """Return a page with curves.

    Parameters
    ----------
    paper : Paper
        Size.
    heading : Heading
        Texts around the chart.
    x, y : Axis
        Axes.
    traces : sequence of Trace
        At least one.
    nominal : Nominal, optional
        What the case says today; nothing is drawn when it lies outside the axis.
    """
    entries = [Entry(_sample(k), trace.text or trace.name) for k, trace in enumerate(traces)]
    layout = lay_out(paper, "sweep", heading.title, entries, (), heading.foot, 0)
    layout.scale_lines(heading.lines, paper.margin)
    plot = plot_in(layout.drawing.frame, x, y)
    board = Board(plot.room)
    marks = grid_marks(plot)
    if nominal is not None and x.low <= nominal.value <= x.high:
        marks += _nominal(plot, nominal, board)
    drawn: list[tuple[int, Trace, list[Run]]] = []
    for k, trace in enumerate(traces):
        runs = clip_run(plot.run(trace.points), plot.room)
        drawn.append((k, trace, runs))
        for run in runs:
            board.cover(run)
    for k, _, runs in drawn:
        if runs:
            marks.append(Lines(tuple(runs), ink(k), _THICK, dashes(k)))
    for k, trace, runs in drawn:
        if runs:
            longest = max(runs, key=lambda run: abs(run[-1][0] - run[0][0]))
            board.put(Label(trace.name, tuple(_from_middle(along(longest, _PLACES))), ink=ink(k), clear=0.8))
    return _finish(paper, layout.drawing, [*marks, *board.under, *board.marks, *axis_marks(plot)], layout.drawing.frame)


def _finish(paper: Paper, drawing: Drawing, marks: list[Mark], frame: Rect) -> Drawing:
    return Drawing(drawing.kind, drawing.title, paper.width, paper.height, frame, 0, [*drawing.marks, *marks])


def _from_middle(places: list[Pair]) -> list[Pair]:
    middle = len(places) / 2 - 0.5
    return sorted(places, key=lambda place: abs(places.index(place) - middle))


def _nominal(plot: Plot, nominal: Nominal, board: Board) -> list[Mark]:
    x = plot.point(nominal.value, plot.y.low)[0]
    low, high = plot.room[1], plot.room[3]
    board.cover(((x, low), (x, high)))
    places = tuple((x, high - (high - low) * share) for share in (0.04, 0.96, 0.12, 0.88, 0.2, 0.8))
    board.put(Label(nominal.text, places))
    return [Lines((((x, low), (x, high)),), BLACK, 0.25, NOMINAL_DASHES), Area((_tip(x, low),), BLACK)]


def _tip(x: float, y: float) -> Run:
    return ((x, y), (x - 1.1, y - 1.9), (x + 1.1, y - 1.9))


def ink(number: int) -> str:
    """Return the ink of a curve; the inks differ in brightness too."""
    return INKS[number % len(INKS)]


def dashes(number: int) -> tuple[float, ...]:
    """Return the dashes of a curve."""
    return DASHES[number % len(DASHES)]


def _sample(number: int):  # type: ignore[no-untyped-def]
    def sample(rect: Rect) -> list[Mark]:
        y = (rect[1] + rect[3]) / 2
        return [Lines((((rect[0], y), (rect[2], y)),), ink(number), _THICK, dashes(number))]

    return sample
