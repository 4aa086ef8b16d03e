"""A quantity over two inputs: contour lines with their values, over tones from light to dark."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from lasersafe.drawing.chart import TICK, Axis, Heading, Plot, axis_marks, from_middle, plot_in
from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.page import Entry, Paper, lay_out
from lasersafe.drawing.primitives import (
    BLACK,
    WHITE,
    Area,
    Drawing,
    Lines,
    Mark,
    Pair,
    Run,
    Words,
    along,
    box,
    edge,
    grey,
    overlap,
    within,
)
from lasersafe.drawing.typeface import ASCENT, DESCENT, width_of

Floats = NDArray[np.float64]
_LIGHT, _DARK = 1.0, 150 / 255
_PLACES = 15


def levels_of(values: Floats, most: int = 8) -> list[float]:
    """Return round values between the smallest and the largest, about equally far apart.

    Parameters
    ----------
    values : numpy.ndarray, shape (...)
        What is drawn; zeros are left out of a range of ratios. [any]
    most : int
        How many levels at most.

    Returns
    -------
    list of float
        Rising; empty when all values are alike. [as the values]
    """
    above = values[values > 0.0]
    if not above.size or values.min() == values.max():
        return []
    low, high = float(above.min()), float(values.max())
    if high > 4.0 * low:
        powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
        for digits in ((1.0, 1.5, 2.0, 3.0, 5.0, 7.0), (1.0, 2.0, 5.0), (1.0, 3.0), (1.0,)):
            found = [d * 10.0**p for p in powers for d in digits if low < d * 10.0**p < high]
            if len(found) <= most:
                return found
        jump = math.ceil(len(found) / most)
        return found[::jump]
    axis = Axis("", float(values.min()), high)
    return [v for v in axis.marks()[0] if values.min() < v < high]


def contour_page(
    paper: Paper,
    heading: Heading,
    x: Axis,
    y: Axis,
    grid: tuple[Floats, Floats, Floats],
    name: Callable[[float], str],
    nominal: tuple[float, float, str] | None = None,
) -> Drawing:
    """Return a page with contour lines.

    Parameters
    ----------
    paper : Paper
        Size.
    heading : Heading
        Texts around the chart.
    x, y : Axis
        Axes.
    grid : tuple of numpy.ndarray, shapes (n,), (m,), (n, m)
        Values of both inputs, and of the quantity.
    name : callable
        From a value of the quantity to its text.
    nominal : tuple of float, float, str, optional
        What the case says today, and what to write beside it.
    """
    from contourpy import FillType, LineType, contour_generator

    xs, ys, values = grid
    levels = levels_of(values)
    tones = [grey(_LIGHT - (_LIGHT - _DARK) * k / max(len(levels), 1)) for k in range(len(levels) + 1)]
    bands = zip(tones, _bands(levels, values, name), strict=True)
    entries = [Entry(partial(edge, thick=0.2, fill=tone), text) for tone, text in bands]
    layout = lay_out(paper, "sweep", heading.title, (), entries, heading.foot, 0)
    layout.scale_lines(heading.lines, paper.margin)
    plot = plot_in(layout.drawing.frame, x, y)
    ratio = bool(levels) and float(values.max()) > 4.0 * float(values[values > 0.0].min())

    def scale(value: Any) -> Any:
        return np.log10(np.maximum(value, values[values > 0.0].min() / 10.0)) if ratio else value

    across = np.array([plot.point(float(v), y.low)[0] for v in xs])
    up = np.array([plot.point(x.low, float(v))[1] for v in ys])
    made = contour_generator(across, up, scale(values).T, line_type=LineType.Separate, fill_type=FillType.OuterOffset)
    marks: list[Mark] = []
    bounds = [-1e300, *[float(scale(level)) for level in levels], 1e300]
    for tone, low, high in zip(tones, bounds[:-1], bounds[1:], strict=True):
        points, offsets = cast("Any", made.filled(low, high))
        for outline, cuts in zip(points, offsets, strict=True):
            marks.append(Area(tuple(_run(outline[a:b]) for a, b in pairwise(cuts)), tone))
    board = Board(plot.room)
    lines = {level: [_run(line) for line in made.lines(float(scale(level)))] for level in levels}
    marks += [Lines(tuple(runs), BLACK, 0.35) for runs in lines.values() if runs]
    texts: list[Mark] = []
    if nominal is not None and x.low <= nominal[0] <= x.high and y.low <= nominal[1] <= y.high:
        texts += _cross(plot.point(nominal[0], nominal[1]), nominal[2], board)
    for level, runs in lines.items():
        texts += _name(name(level), runs, plot, board)
    layout.drawing.marks.extend([*marks, *board.under, *texts, *board.marks, *axis_marks(plot)])
    return layout.drawing


def _run(points: Any) -> Run:
    return tuple([(float(a), float(b)) for a, b in points])


def _bands(levels: Sequence[float], values: Floats, name: Callable[[float], str]) -> list[str]:
    if not levels:
        return [f"{name(float(values.max()))} everywhere"]
    between = [f"{name(a)} to {name(b)}" for a, b in pairwise(levels)]
    return [f"up to {name(levels[0])}", *between, f"above {name(levels[-1])}"]


def _name(text: str, runs: Sequence[Run], plot: Plot, board: Board) -> list[Mark]:
    """Return the value of a contour, written on its line where no other text stands."""
    wide = width_of(text, TICK) + 1.0
    for run in sorted(runs, key=lambda one: -_extent(one)):
        for x, y in from_middle(along(run, _PLACES)):
            rect = (x - wide / 2, y - 0.5 * TICK - 0.3, x + wide / 2, y + 0.5 * TICK + 0.3)
            if within(rect, plot.room) and not any(overlap(rect, other) for other in board.boxes):
                board.boxes.append(rect)
                low = y - (ASCENT - DESCENT) / 2 * TICK
                return [Area((box(rect),), WHITE), Words(x - wide / 2 + 0.5, low, text, TICK)]
    return []


def _extent(run: Run) -> float:
    xs, ys = [x for x, _ in run], [y for _, y in run]
    return max(xs) - min(xs) + max(ys) - min(ys)


def _cross(place: Pair, text: str, board: Board) -> list[Mark]:
    x, y = place
    arms = (((x - 2.2, y), (x + 2.2, y)), ((x, y - 2.2), (x, y + 2.2)))
    board.block(place, 2.4)
    board.boxes.append((x - 2.4, y - 2.4, x + 2.4, y + 2.4))
    board.put(Label(text, (place,), bold=True, clear=2.4))
    return [Lines(arms, WHITE, 1.4), Lines(arms, BLACK, 0.6)]
