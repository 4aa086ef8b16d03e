"""Maps with tones: exposure over limit on the floor, and the irradiance on a barrier."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np

from lasersafe.drawing import primitives as pen
from lasersafe.drawing.chart import Axis, Plot, axis_marks
from lasersafe.drawing.page import Entry, Paper, foot_lines, lay_out, left_out_line, limits_line
from lasersafe.drawing.room import Floor
from lasersafe.drawing.sketch import DECADES, Label, fit
from lasersafe.drawing.text import in_unit, quantity, ratio, tidy
from lasersafe.records.scene import BarrierLine, BarrierMap, HazardMap, SceneResult
from lasersafe.wording import Wording

_HEAD = 8.0  # mm above each strip, for its name
_FEET = 11.0  # mm below, for the metres
_SIDE = 12.0  # mm at the left, for the heights
_DECADES = 3  # below the highest, that an unrated barrier shows


def barrier_page(found: BarrierMap, line: BarrierLine, paper: Paper, title: str, wording: Wording) -> pen.Drawing:
    """Return one page with the strips of a barrier.

    Parameters
    ----------
    found : BarrierMap
        Irradiance by way.
    line : BarrierLine
        The barrier, with its searched peaks.
    paper : Paper
        Size of the page.
    title : str
        Title of the case.
    wording : Wording
        Texts.
    """
    rating = found.rating
    base = rating
    if base is None:  # a round irradiance [W/m2] some decades below the highest on the barrier
        most = max((float(values.max()) for values in found.ways.values()), default=0.0)
        base = 10.0 ** (math.floor(math.log10(most)) - _DECADES) if 0.0 < most < math.inf else 1.0
    rank = decade if rating is None else share_of_rating
    lit = {way: values for way, values in found.ways.items() if not values.max() <= 0.0} or found.ways
    classes = {way: [[rank(value / base) for value in row] for row in values.tolist()] for way, values in lit.items()}
    used = sorted({value for rows in classes.values() for row in rows for value in row})
    words = in_unit(base, "W/m2", 3, "down")
    meant = "plan.barrier_unrated" if rating is None else "plan.barrier_rated"
    below = wording.text("plan.barrier_below", value=words)
    if rating is None:
        entries = [legend_entry(value, below, words, wording) for value in used]
    else:
        entries = [Entry(sample_of(value), wording.text(f"plan.barrier_share_{value}", value=words)) for value in used]
    foot = foot_lines(paper, wording, [wording.text(meant, value=words)], "plan.barrier_meaning")
    layout = lay_out(
        paper, "barrier", wording.text("plan.barrier_map", name=found.name, title=title), (), entries, foot
    )
    x0, y0, x1, y1 = layout.drawing.frame
    length, high = found.along[-1] - found.along[0], found.heights[-1] - found.heights[0]
    room = ((x1 - x0 - _SIDE - 4.0) / length, ((y1 - y0) / len(classes) - _HEAD - _FEET) / high)
    mm = min(room)
    marks: list[pen.Mark] = []
    top = y1
    for way, rows in classes.items():
        low = top - _HEAD - high * mm
        peaks = [one.aimed for one in line.ways if one.way == way and one.fitted and one.aimed is not None]
        peak = in_unit(max(peaks), "W/m2", 3, "up") if peaks else wording.text("plan.barrier_no_peak")
        head = wording.text("plan.barrier_way", way=wording.text(f"way.{way}"), peak=peak)
        left, across = x0 + _SIDE, [x0 + _SIDE + (at - found.along[0]) * mm for at in found.along]
        up = [low + (at - found.heights[0]) * mm for at in found.heights]
        frame = (left, low, across[-1], up[-1])
        axes = Axis("m", 0.0, length), Axis(head, found.heights[0], found.heights[-1])
        marks += [*class_marks(rows, across, up, frame), *axis_marks(Plot(*axes, frame))]
        top = low - _FEET
    layout.scale_lines((wording.text("plan.barrier_axes"),), paper.margin)
    layout.drawing.marks.extend(marks)
    return replace(layout.drawing, scale=math.ceil(1000.0 / mm))


def share_of_rating(ratio: float) -> int:
    """Return the class of a share of the rating: 0 to 1 %, 1 to 10 %, 2 to the rating, 4 above it and for NaN."""
    return next((value for value, most in ((0, 0.01), (1, 0.1), (2, 1.0)) if ratio <= most), len(DECADES))


_MOST_CELLS, _NARROW = 110, 110.0  # of a row; width of a map at least, for its names [mm]
_NOT_WORKED_OUT = "#d6d6d6"


def decade(times: float) -> int:
    """Return the class of a times: 0 up to 1, then one for each factor of ten, the last for all above and for NaN."""
    if times <= 1.0:
        return 0
    if not times <= 10.0 ** (len(DECADES) - 1):
        return len(DECADES)
    return max(1, math.ceil(math.log10(times) - 1e-12))


def cells(found: HazardMap) -> tuple[list[float], list[float], list[list[int]]]:
    """Return the edges of columns and rows [m] and the class of each cell, the highest of heights and merged cells."""
    rows, columns = found.ratio.shape[1], found.ratio.shape[2]
    across, up = math.ceil(columns / _MOST_CELLS), math.ceil(rows / _MOST_CELLS)
    table = np.maximum.reduceat(found.ratio.max(axis=0), range(0, rows, up), axis=0)  # NaN where any of them has NaN
    table = np.maximum.reduceat(table, range(0, columns, across), axis=1)
    classes = [[decade(value) for value in row] for row in table.tolist()]
    return _edges(found.x.tolist(), across), _edges(found.y.tolist(), up), classes


def _edges(centres: list[float], step: int) -> list[float]:
    width = centres[1] - centres[0] if len(centres) > 1 else 1.0
    edges = [value - width / 2 for value in centres[::step]]
    return [*edges, centres[-1] + width / 2]


def map_page(scene: SceneResult, paper: Paper, title: str, wording: Wording) -> pen.Drawing | None:
    """Return the exposure map, or None when the scene has none.

    Parameters
    ----------
    scene : SceneResult
        What is drawn.
    paper : Paper
        Size of the page.
    title : str
        Title of the case.
    wording : Wording
        Texts.
    """
    found = scene.map
    if found is None or not found.ratio.size:
        return None
    xs, ys, classes = cells(found)
    used = sorted({value for row in classes for value in row})
    heights = ", ".join(f"{wording.say(name)} {quantity(height, 'm')}" for name, height in found.heights)
    tissue = wording.text(f"tissue.{found.tissue}") if f"tissue.{found.tissue}" in wording.texts else found.tissue
    head = wording.text("plan.map_note", heights=heights, tissue=tissue)
    limits = limits_line((zone for zone in scene.zones if "eye" in zone.kind), wording)
    extra = limits, tidy(wording.say(found.note)), left_out_line(scene, wording)
    foot = foot_lines(paper, wording, [*filter(None, extra)], "plan.map_meaning")
    below, unit = wording.text("plan.map_below"), wording.text("plan.map_unit")
    entries = [legend_entry(value, below, unit, wording) for value in used]
    entries.append(Entry(_crossed_out, wording.text("plan.map_outside")))
    layout = lay_out(paper, "map", wording.text("plan.map", title=title), (), entries, foot)
    view = fit((xs[0], ys[0], xs[-1], ys[-1]), layout.drawing.frame)
    x0, y0, x1, y1 = view.frame
    spare = max(x1 - x0 - max((xs[-1] - xs[0]) * 1000.0 / view.scale, _NARROW), 0.0) / 2
    view = replace(view, frame=(x0 + spare, y0, x1 - spare, y1))
    layers = Floor(scene, view, wording)
    across, up = [view.point((x, 0.0))[0] for x in xs], [view.point((0.0, y))[1] for y in ys]
    x0, y0, x1, y1 = view.frame
    left, right, low, high = max(across[0], x0), min(across[-1], x1), max(up[0], y0), min(up[-1], y1)
    around = ((x0, y0, left, y1), (right, y0, x1, y1), (left, y0, right, low), (left, high, right, y1))
    for part in around:  # grey around the map, so that it cannot be taken for a place below the limit
        if part[2] - part[0] > 1e-6 and part[3] - part[1] > 1e-6:
            layers.marks += _crossed_out(part)
    layers.marks += class_marks(classes, across, up, view.frame)
    borders: list[pen.Run] = []  # between cells above the limit and others
    for row, line in enumerate(classes):
        for column, value in enumerate(line):
            if column + 1 < len(line) and (value > 0) != (line[column + 1] > 0):
                borders.append(((across[column + 1], up[row]), (across[column + 1], up[row + 1])))
            if row + 1 < len(classes) and (value > 0) != (classes[row + 1][column] > 0):
                borders.append(((across[column], up[row + 1]), (across[column + 1], up[row + 1])))
    layers.marks.append(pen.Lines(tuple(borders), pen.BLACK, 0.55))
    layers.room()
    layers.aims(rays=False)
    layers.barriers()
    layers.labels = [one for one in layers.labels if one.rank == 0]
    for one in found.persons:
        if view.holds(one.position, 0.5):
            place = view.point(one.position)
            layers.marks += pen.person(place)
            layers.board.block(place, 1.6)
            words = layers.text("plan.person_below" if one.ratio <= 1.0 else "plan.map_place", ratio=ratio(one.ratio))
            layers.labels.append(Label(f"{one.name}{words}", (place,), clear=1.6))
    layers.write()
    return layout.filled(paper, layers, head)


def _crossed_out(rect: pen.Rect) -> list[pen.Mark]:
    """Return a grey field with a cross, which no tone of a decade has."""
    x0, y0, x1, y1 = rect
    cross = (((x0, y0), (x1, y1)), ((x0, y1), (x1, y0)))
    return [*pen.edge(rect, 0.2, fill=_NOT_WORKED_OUT), pen.Lines(cross, pen.BLACK, 0.2)]


def class_marks(
    classes: Sequence[Sequence[int]], across: Sequence[float], up: Sequence[float], frame: pen.Rect
) -> list[pen.Mark]:
    """Return the cells above the lowest class, toned, between edges on paper."""
    rings = defaultdict[int, list[pen.Run]](list)
    for number, row in enumerate(classes):
        start = 0
        for value, cells_alike in groupby(row):
            end = start + len(list(cells_alike))
            ring = pen.clip_ring(pen.box((across[start], up[number], across[end], up[number + 1])), frame)
            rings[value] += [ring] if ring else []
            start = end
    return [pen.Area((ring,), DECADES[value - 1]) for value in sorted({*rings} - {0}) for ring in rings[value]]


def sample_of(value: int) -> Callable[[pen.Rect], list[pen.Mark]]:
    """Return what draws a sample of a class for the legend."""
    return lambda rect: [*class_marks([[value]], (rect[0], rect[2]), (rect[1], rect[3]), rect), *pen.edge(rect)]


def legend_entry(value: int, below: str, unit: str, wording: Wording) -> Entry:
    """Return the line of the legend for a class, counted in *unit*; *below* says what is not above one."""
    if not value:
        return Entry(sample_of(value), below)
    low, high = f"{10 ** (value - 1)}", f"{10**value}"
    key = "map_over" if value == len(DECADES) else "map_from"
    return Entry(sample_of(value), wording.text(f"plan.{key}", low=low, high=high, unit=unit))
