"""The exposure map: the ratio of exposure to limit on the floor, a tone for each decade."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from itertools import groupby

from lasersafe.drawing import symbols
from lasersafe.drawing.floor import Floor
from lasersafe.drawing.labels import Label
from lasersafe.drawing.legend import limits_line
from lasersafe.drawing.page import Entry, Paper, foot_lines, lay_out, scale_bar
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, Mark, Rect, Run, box, edge
from lasersafe.drawing.shapes import clip_ring
from lasersafe.drawing.style import DECADES
from lasersafe.drawing.values import quantity, ratio, tidy
from lasersafe.drawing.view import fit
from lasersafe.records.scene import HazardMap, SceneResult
from lasersafe.wording import Wording

_MOST_CELLS = 110
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
    table = found.ratio.max(axis=0).tolist()  # NaN where any height has NaN
    classes = []
    for row in range(0, rows, up):
        line = []
        for column in range(0, columns, across):
            values = [value for one in table[row : row + up] for value in one[column : column + across]]
            line.append(max(decade(value) for value in values))
        classes.append(line)
    return _edges(found.x.tolist(), across), _edges(found.y.tolist(), up), classes


def _edges(centres: list[float], step: int) -> list[float]:
    width = centres[1] - centres[0] if len(centres) > 1 else 1.0
    edges = [value - width / 2 for value in centres[::step]]
    return [*edges, centres[-1] + width / 2]


def map_page(scene: SceneResult, paper: Paper, title: str, wording: Wording) -> Drawing | None:
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
    foot = foot_lines(
        paper, wording, [text for text in (limits, tidy(wording.say(found.note))) if text], "plan.map_meaning"
    )
    below, unit = wording.text("plan.map_below"), wording.text("plan.map_unit")
    entries = [legend_entry(value, below, unit, wording) for value in used]
    entries.append(Entry(partial(edge, fill=_NOT_WORKED_OUT), wording.text("plan.map_outside")))
    layout = lay_out(paper, "map", wording.text("plan.map", title=title), (), entries, foot)
    view = fit((xs[0], ys[0], xs[-1], ys[-1]), layout.drawing.frame)
    layers = Floor(scene, view, wording)
    marks = layers.marks
    marks += _outside(*view.point((xs[0], ys[0])), *view.point((xs[-1], ys[-1])), view.frame)
    across, up = [view.point((x, 0.0))[0] for x in xs], [view.point((0.0, y))[1] for y in ys]
    marks += class_marks(classes, across, up, view.frame)
    marks.append(Lines(_borders(across, up, classes), BLACK, 0.55))
    bar, rect = scale_bar(view)
    layers.board.boxes.append(rect)
    layers.room()
    layers.aims(rays=False)
    layers.barriers()
    layers.labels = [Label(one.text, one.places, True, clear=one.clear) for one in layers.names if one.rank == 0]
    _persons(found, layers)
    layers.write()
    return layout.filled(paper, view, wording, head, [*marks, *bar])


def _outside(left: float, low: float, right: float, high: float, frame: Rect) -> list[Mark]:
    """Grey what lies around the map, so that it cannot be taken for a place below the limit."""
    x0, y0, x1, y1 = frame
    left, right, low, high = max(left, x0), min(right, x1), max(low, y0), min(high, y1)
    around = ((x0, y0, left, y1), (right, y0, x1, y1), (left, y0, right, low), (left, high, right, y1))
    rings = tuple(box(part) for part in around if part[2] - part[0] > 1e-6 and part[3] - part[1] > 1e-6)
    return [Area((ring,), _NOT_WORKED_OUT) for ring in rings]


def _persons(found: HazardMap, layers: Floor) -> None:
    """Draw persons with what the map has exactly where they are."""
    for one in found.persons:
        if layers.view.holds(one.position, 0.5):
            place = layers.view.point(one.position)
            layers.marks += symbols.person(place)
            layers.board.block(place, 1.6)
            key = "plan.person_below" if one.ratio <= 1.0 else "plan.map_place"
            words = layers.text(key, ratio=ratio(one.ratio))
            layers.labels.append(Label(f"{one.name}{words}", (place,), clear=1.6))


def class_marks(
    classes: Sequence[Sequence[int]], across: Sequence[float], up: Sequence[float], frame: Rect
) -> list[Mark]:
    """Return the cells above the lowest class, toned, between edges on paper."""
    marks: list[Mark] = []
    for value in sorted({value for row in classes for value in row} - {0}):
        rings = []
        for number, row in enumerate(classes):
            start = 0
            for one, cells_alike in groupby(row):
                end = start + len(list(cells_alike))
                ring = (
                    clip_ring(box((across[start], up[number], across[end], up[number + 1])), frame)
                    if one == value
                    else ()
                )
                rings += [ring] if ring else []
                start = end
        marks += [Area((ring,), DECADES[value - 1]) for ring in rings]
    return marks


def _borders(across: Sequence[float], up: Sequence[float], classes: list[list[int]]) -> tuple[Run, ...]:
    """Return the steps between cells above the limit and others."""
    runs: list[Run] = []
    for row, line in enumerate(classes):
        for column, value in enumerate(line):
            if column + 1 < len(line) and (value > 0) != (line[column + 1] > 0):
                runs.append(((across[column + 1], up[row]), (across[column + 1], up[row + 1])))
            if row + 1 < len(classes) and (value > 0) != (classes[row + 1][column] > 0):
                runs.append(((across[column], up[row + 1]), (across[column + 1], up[row + 1])))
    return tuple(runs)


def sample_of(value: int) -> Callable[[Rect], list[Mark]]:
    """Return what draws a sample of a class for the legend."""
    return lambda rect: [*class_marks([[value]], (rect[0], rect[2]), (rect[1], rect[3]), rect), *edge(rect)]


def legend_entry(value: int, below: str, unit: str, wording: Wording) -> Entry:
    """Return the line of the legend for a class, counted in *unit*; *below* says what is not above one."""
    if not value:
        return Entry(sample_of(value), below)
    low, high = f"{10 ** (value - 1)}", f"{10**value}"
    key = "map_over" if value == len(DECADES) else "map_from"
    return Entry(sample_of(value), wording.text(f"plan.{key}", low=low, high=high, unit=unit))
