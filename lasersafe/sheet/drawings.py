"""Plans, elevations and the charts of exposure over distance, as a part of the sheet or pages of their own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial

import lasersafe
from lasersafe.drawing import primitives
from lasersafe.drawing.chart import Axis, Plot, axis_marks, curve_marks, curve_sample, grid_marks, round_ends
from lasersafe.drawing.maps import cells, legend_entry, map_page
from lasersafe.drawing.page import Entry, Paper, in_columns, left_out_line
from lasersafe.drawing.plan import plan_page, way_pages
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, Mark, Pair, Words, moved
from lasersafe.drawing.room import elevation_pages
from lasersafe.drawing.sketch import Board
from lasersafe.drawing.text import in_unit, tidy, unit_text, width_of, wrap
from lasersafe.drawing.text import place as placed_at
from lasersafe.results import ChartData, ChartMark, LimitLine
from lasersafe.sheet.flow import MILLIMETRE, Page, Placed, Sheet
from lasersafe.sheet.paint import Facts, naming, paint
from lasersafe.wording import Wording

_TYPE, _LINE = 2.5, 3.0  # [mm]
_LEFT, _GUTTER, _PLOT = 14.0, 0.23, 76.0  # room for the numbers, share of the width for the limits, height
_AXIS = 10.0  # below the plot, for its numbers and title
_SIGNS = {"person": "▲", "barrier": "■"}
_LIMIT_DASHES, _STAFF_DASHES = (1.4, 0.5), (0.7, 0.7)


def exposure_chart(data: ChartData, width: float, wording: Wording) -> Drawing:
    """Return the chart of one set-up, as high as its names and notes ask.

    Parameters
    ----------
    data : ChartData
        What is drawn.
    width : float
        Width. [mm]
    wording : Wording
        Texts.
    """
    text = wording.text
    curves = []
    for one in data.curves:
        points = zip(one.distance, one.exposure, strict=True)
        curves.append((tidy(one.label), [(x, y) for x, y in points if 0.0 < x < math.inf and 0.0 < y < math.inf]))
    drawn = [(label, points) for label, points in curves if len(points) > 1]
    limits = [line for line in data.limits if math.isfinite(line.value) and line.value > 0]
    shown = [mark for mark in data.marks if math.isfinite(mark.distance) and mark.distance > 0]
    if not drawn:
        return _page(data, width, [], (0.0, 0.0), (), [text("chart.empty")])
    places = [place for _, points in drawn for place, _ in points] + [mark.distance for mark in shown]
    values, levels = [value for _, points in drawn for _, value in points], [line.value for line in limits]
    low = max(min(values), min(levels) / 30 if levels else max(values) / 1e8)  # what lies far below all is cut off
    ends = math.floor(math.log10(low)), math.ceil(math.log10(max([*values, *levels]) * 1.05))
    x = Axis(text("chart.x_axis"), *round_ends(min(places), max(places) * 1.02, log=True), log=True)
    y = Axis(f"{data.quantity} [{unit_text(data.unit)}]", 10.0 ** ends[0], 10.0 ** ends[1], log=True)
    plot = Plot(x, y, (_LEFT, 0.0, width * (1.0 - _GUTTER), _PLOT))
    board = Board(plot.room)
    marks = grid_marks(plot)
    upright, head = _flags(plot, shown, width, board)
    across, lowest = _limits(plot, limits, data.unit, width, board)
    letters = [chr(ord("A") + number % 26) * (number // 26 + 1) for number in range(len(drawn))]
    named = [(letter, points) for letter, (_, points) in zip(letters, drawn, strict=True)]
    marks += [*upright, *across, *curve_marks(plot, named, board, bold=True)]
    marks += axis_marks(Plot(plot.x, plot.y, plot.room, head))
    entries = [Entry(partial(curve_sample, n), f"{letters[n]}  {label}") for n, (label, _) in enumerate(drawn)]
    kinds = {mark.kind for mark in shown}
    below = ["   ".join(f"{sign} {text(f'chart.{kind}')}" for kind, sign in _SIGNS.items() if kind in kinds)]
    below += [
        text("chart.off_axis", name=mark.label, distance=placed_at(mark.distance))
        for mark in data.marks
        if mark not in shown
    ]
    below += [text("chart.not_drawn", name=label) for label, points in curves if len(points) < 2]
    return _page(data, width, marks, (_PLOT + head + 5.5, min(-_AXIS, lowest)), entries, below)


def _page(
    data: ChartData, width: float, marks: list[Mark], ends: Pair, entries: Sequence[Entry], below: Sequence[str]
) -> Drawing:
    """Return the finished drawing, from its two ends in height; below the chart stand its curves and some texts."""
    high, low = ends
    legend = list[Mark]()
    low -= in_columns(entries, 2, width, 0.0, 0.0, legend)
    marks = [*marks, *moved(legend, 0.0, low)]
    for line in (line for one in below for line in wrap(one, _TYPE, width)):
        low -= _LINE
        marks.append(Words(0.0, low + 0.5, line, _TYPE))
    low -= 1.4
    frame = (0.0, 0.0, width, high - low)
    return Drawing("chart", data.title, width, high - low, frame, 0, moved(marks, 0.0, -low))


def _flags(plot: Plot, shown: Sequence[ChartMark], width: float, board: Board) -> tuple[list[Mark], float]:
    """Return people and barriers as upright lines with their names above, and how high the names reach.

    A name stands to the right of its line, in the highest row from which on downwards all others end before the line,
    so that no line crosses a name.
    """
    _, y0, _, y1 = plot.room
    names: dict[float, list[str]] = {}
    marks: list[Mark] = []
    for mark in sorted(shown, key=lambda mark: (mark.distance, mark.kind, mark.label)):
        x = round(plot.point(mark.distance, plot.y.low)[0], 1)
        name = f"{_SIGNS.get(mark.kind, '●')} {mark.label}, {placed_at(mark.distance)}"
        names.setdefault(x, []).extend(wrap(name, _TYPE, min(width - x - 2.0, 60.0)))
        if mark.kind == "person":
            marks.append(Area((((x - 1.1, y0), (x + 1.1, y0), (x, y0 + 1.8)),)))
        elif mark.kind == "barrier":
            marks.append(Area((((x - 0.9, y0), (x + 0.9, y0), (x + 0.9, y0 + 1.8), (x - 0.9, y0 + 1.8)),)))
    ends: list[float] = []  # of the last name in each row, from the top
    rows: dict[float, int] = {}
    for x, lines in names.items():
        rows[x] = next(row for row in range(len(ends) + 1) if all(end < x - 1.5 for end in ends[row:]))
        wide = max(width_of(line, _TYPE) for line in lines)
        ends[rows[x] : rows[x] + len(lines)] = [x + 1.0 + wide] * len(lines)
    for x, lines in names.items():
        top = y1 + 1.0 + (len(ends) - rows[x]) * _LINE
        staff = ((x, y0), (x, top - 0.5))
        marks.append(Lines((staff,), BLACK, 0.2, _STAFF_DASHES))
        board.lines.append(staff)
        marks += [Words(x + 1.0, top - (n + 1) * _LINE + 0.7, line, _TYPE) for n, line in enumerate(lines)]
    return marks, len(ends) * _LINE


def _limits(plot: Plot, limits: Sequence[LimitLine], unit: str, width: float, board: Board) -> tuple[list[Mark], float]:
    """Return the limits with their names at the right, pushed apart downwards, and how low the names reach."""
    x0, _, x1, top = plot.room
    marks: list[Mark] = []
    for limit in sorted(limits, key=lambda limit: -limit.value):
        level = plot.point(plot.x.low, limit.value)[1]
        name = f"{tidy(limit.label)}: {in_unit(limit.value, unit, 3, 'down')}"
        lines = wrap(name, _TYPE, width - x1 - 5.0)
        top = min(level + len(lines) * _LINE / 2, top)
        marks.append(Lines((((x0, level), (x1, level)),), BLACK, 0.3, _LIMIT_DASHES))
        marks.append(Lines((((x1, level), (x1 + 4.5, top - len(lines) * _LINE / 2)),), BLACK, 0.18))
        board.lines.append(((x0, level), (x1, level)))
        marks += [Words(x1 + 5.0, top - (n + 1) * _LINE + 0.7, line, _TYPE) for n, line in enumerate(lines)]
        top -= len(lines) * _LINE + 0.7
    return marks, top


_ELEVATION = 128.0  # height of an elevation in the sheet [mm]
_MAP = 150.0
_WAY, _GAP = 84.0, 4.0  # height of a drawing of one way, and what lies between two of them
_TALL_MAP, _LEAST_MAP = 220.0, 125.0
_SMALLEST = 5000  # 1 : so much, from which on a drawing of one way says nothing


def warning(sheet: Sheet, side: float) -> float:
    """Draw the warning sign for laser light at the upper right; return how far down it reaches.

    Parameters
    ----------
    sheet : Sheet
        Where.
    side : float
        Of the triangle. [mm]
    """
    high = side * 0.87
    drawing = Drawing(
        "sign", sheet.text("sheet.sign"), side, high, (0.0, 0.0, side, high), 0, primitives.hazard((0.0, 0.0), side)
    )
    foot = sheet.y - high * MILLIMETRE
    sheet.marks.append(Placed(sheet.left + sheet.width - side * MILLIMETRE, foot, drawing))
    return foot


def plan(sheet: Sheet) -> None:
    """Print the plan of a case that has a scene."""
    if sheet.assessment.scene is not None:
        sheet.new_page()
        sheet.begin("plan.heading")
        paper = Paper(sheet.paper, sheet.width / MILLIMETRE, (sheet.room - 2.0) / MILLIMETRE)
        sheet.figure(plan_page(sheet.assessment, paper, sheet.wording))
        sheet.new_page()


def annex(sheet: Sheet) -> None:
    """Print what else is drawn of a scene: each way of the light, elevations, and the exposure map."""
    found, wording, title = sheet.assessment.scene, sheet.wording, sheet.assessment.title
    if found is None:
        return
    wide = sheet.width / MILLIMETRE
    half = Paper(sheet.paper, (wide - _GAP) / 2, _WAY)
    sheet.begin("plan.annex_heading", keep=_WAY * MILLIMETRE)
    every = way_pages(sheet.assessment, half, wording)
    ways = [one for one in every if one.scale <= _SMALLEST]
    if far := [one.title for one in every if one not in ways]:  # the room would be a dot
        sheet.paragraph(sheet.text("annex.too_far", drawings="; ".join(far)))
    for pair in zip(ways[::2], [*ways[1::2], *[None] * (len(ways) % 2)], strict=True):
        sheet.figure(*filter(None, pair), gap=_GAP)
        sheet.space(6.0)
    x0, y0, x1, y1 = found.plan.extent
    drawings = elevation_pages(found, Paper(sheet.paper, wide, _ELEVATION), title, wording)
    for drawing in drawings:
        sheet.figure(drawing)
        sheet.space(6.0)
    high, room = _MAP if x1 - x0 >= y1 - y0 else _TALL_MAP, sheet.room / MILLIMETRE - 1.0
    used = {one for line in cells(found.map)[2] for one in line} if found.map and found.map.ratio.size else set()
    if len(used) == 1:
        everywhere = legend_entry(used.pop(), sheet.text("plan.map_below"), sheet.text("plan.map_unit"), wording).head
        alike = sheet.text("annex.map_alike", title=sheet.text("plan.map", title=title), everywhere=everywhere)
        sheet.paragraph(" ".join(filter(None, (alike, left_out_line(found, wording)))))
    elif chart := map_page(
        found, Paper(sheet.paper, wide, room if _LEAST_MAP <= room < high else high), title, wording
    ):
        sheet.figure(chart)
        sheet.space(6.0)


def drawings_pdf(drawings: Sequence[Drawing], named: Mapping[str, object], subject: str, wording: Wording) -> bytes:
    """Return drawings of one size as the bytes of a PDF file, one on each page.

    Parameters
    ----------
    drawings : sequence of Drawing
        At least one, all of the same size.
    named : mapping of str to object
        What holds the texts that a user wrote, by the name for it in a message.
    subject : str
        What they show.
    wording : Wording
        Texts.

    Raises
    ------
    OutputError
        If a text holds a character that cannot be printed.
    """
    program = wording.text("sheet.program", version=lasersafe.__version__)
    facts = Facts(drawings[0].title, program, subject, program, wording.language)
    size = (drawings[0].width * MILLIMETRE, drawings[0].height * MILLIMETRE)
    with naming(named):
        return paint([Page([Placed(0.0, 0.0, drawing)]) for drawing in drawings], [], size, None, facts)
