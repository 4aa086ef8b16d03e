"""The exposure-over-distance chart of one set-up, for grey print: line styles, letters and names, no colour."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from lasersafe.results import ChartData, ChartMark, Curve
from lasersafe.sheet.flow import Box, Mark, Path, Text
from lasersafe.sheet.text import RAISED, Style, tidy, unit_text, width_of, wrap
from lasersafe.sheet.values import in_unit
from lasersafe.sheet.values import place as placed_at
from lasersafe.wording import Wording

_DASHES: tuple[tuple[float, ...], ...] = (
    (),
    (7, 3),
    (1.5, 2.2),
    (8, 2, 1.5, 2),
    (12, 3),
    (3, 3),
    (8, 2, 1.5, 2, 1.5, 2),
)
_LABEL = Style(7, spacing=1.2)
_NAME = Style(7, True, spacing=1.2)
_TICK = Style(7)
_TITLE = Style(8)
_LEFT = 46.0  # room for the axis title and the numbers
_GUTTER = 0.23  # share of the width for the names of the limits
_PLOT = 215.0
_SIGNS = {"person": "▲", "barrier": "■"}

Points = list[tuple[float, float]]


class Chart:
    """A chart laid out in its own coordinates: x to the right, y up, the top at zero."""

    def __init__(self, data: ChartData, width: float, wording: Wording) -> None:
        self.data = data
        self.wording = wording
        self.width = width
        self.marks: list[Mark] = []
        self.height = 0.0
        self._layout()

    def draw(self, marks: list[Mark], left: float, top: float) -> None:
        """Add the chart to a page, its upper left corner at ``left`` and ``top``."""
        for mark in self.marks:
            if isinstance(mark, Path):
                marks.append(replace(mark, points=tuple((x + left, y + top) for x, y in mark.points)))
            else:
                marks.append(replace(mark, x=mark.x + left, y=mark.y + top))

    def _layout(self) -> None:
        curves = [(curve, _usable(curve)) for curve in self.data.curves]
        drawn = [(curve, points) for curve, points in curves if len(points) > 1]
        limits = [line for line in self.data.limits if math.isfinite(line.value) and line.value > 0]
        on_axis = [mark for mark in self.data.marks if math.isfinite(mark.distance) and mark.distance > 0]
        if not drawn:
            self._notes([self.wording.text("chart.empty")], 0.0)
            return
        self.left, self.right = _LEFT, self.width * (1 - _GUTTER)
        self._ranges([points for _, points in drawn], [line.value for line in limits], on_axis)
        flags = self._flags(on_axis)
        self.top = -flags - 4.0
        self.bottom = self.top - _PLOT
        self._grid()
        self._verticals(on_axis)
        lines = [self._clipped(points) for _, points in drawn]
        levels = [self._y(line.value) for line in limits]
        for number, line in enumerate(lines):
            dashes, thick = _DASHES[number % len(_DASHES)], 1.3 if number < len(_DASHES) else 2.2
            self.marks.extend(Path(tuple(piece), 0.0, thick, dashes) for piece in line)
        names = [f"{tidy(line.label)}: {in_unit(line.value, self.data.unit, 3, 'down')}" for line in limits]
        lowest = self._limits(names, levels)
        self._letters(lines, levels)
        end = min(self._axes(), lowest)
        end = self._legend([curve.label for curve, _ in drawn], end)
        notes = [
            self.wording.text("chart.off_axis", name=mark.label, distance=placed_at(mark.distance))
            for mark in self.data.marks
            if mark not in on_axis
        ]
        notes += [self.wording.text("chart.not_drawn", name=curve.label) for curve, points in curves if len(points) < 2]
        self._notes(notes, end)

    def _ranges(self, curves: list[Points], limits: list[float], marks: Sequence[ChartMark]) -> None:
        xs = [x for points in curves for x, _ in points] + [mark.distance for mark in marks]
        ys = [y for points in curves for _, y in points]
        low = max(min(ys), min(limits) / 30) if limits else max(min(ys), max(ys) / 1e8)
        self.x_range = (math.log10(_nice(min(xs), down=True)), math.log10(_nice(max(xs) * 1.02, down=False)))
        self.y_range = (math.floor(math.log10(low)), math.ceil(math.log10(max([*ys, *limits]) * 1.05)))

    def _x(self, distance: float) -> float:
        low, high = self.x_range
        return self.left + (math.log10(distance) - low) / (high - low) * (self.right - self.left)

    def _y(self, exposure: float) -> float:
        low, high = self.y_range
        return self.bottom + (math.log10(exposure) - low) / (high - low) * _PLOT

    def _text(self, x: float, y: float, text: str, style: Style, turn: float = 0.0) -> None:
        self.marks.append(Text(x, y, text.replace("\u00a0", " "), style.size, style.font, style.ink, turn))

    def _flags(self, marks: Sequence[ChartMark]) -> float:
        """Write the names above the plot, each to the right of its line, so that no line crosses a name."""
        places: dict[float, list[ChartMark]] = {}
        for mark in sorted(marks, key=lambda mark: (mark.distance, mark.kind, mark.label)):
            places.setdefault(round(self._x(mark.distance), 1), []).append(mark)
        done: list[tuple[float, float, float]] = []  # left edge, right edge, upper edge
        self.staffs: dict[float, float] = {}
        texts = []
        for x in sorted(places, reverse=True):
            room = min(self.width - x - 4.0, 170.0)
            lines = []
            for mark in places[x]:
                sign = _SIGNS.get(mark.kind, "●")
                label = f"{sign} {mark.label}, {placed_at(mark.distance)}"
                lines += [line[0].text for line in wrap(label, _LABEL, room)]
            wide = max(width_of(line, _LABEL) for line in lines)
            base = max((top for left, _, top in done if left <= x + wide + 6.0), default=2.0)
            top = base + len(lines) * _LABEL.leading + 2.0
            done.append((x, x + wide, top))
            self.staffs[x] = top
            texts.append((x, top, lines))
        height = max((top for _, _, top in done), default=0.0)
        for x, top, lines in texts:
            y = top - height
            self.staffs[x] = y
            for line in lines:
                y -= _LABEL.leading
                self._text(x + 3.0, y + 1.5, line, _LABEL)
        return height

    def _verticals(self, marks: Sequence[ChartMark]) -> None:
        kinds: dict[float, set[str]] = {}
        for mark in marks:
            kinds.setdefault(round(self._x(mark.distance), 1), set()).add(mark.kind)
        for x, top in self.staffs.items():
            dashes: tuple[float, ...] = () if "barrier" in kinds[x] else (1, 1.6)
            self.marks.append(Path(((x, self.bottom), (x, top - 1.0)), 0.25, 0.9 if not dashes else 0.7, dashes))
            if "barrier" in kinds[x]:
                self.marks.append(Box(x - 2.4, self.bottom - 2.4, 4.8, 4.8, fill=0.0))
            if "person" in kinds[x]:
                y = self.bottom
                self.marks.append(Path(((x - 3, y), (x + 3, y), (x, y + 5.2), (x - 3, y)), fill=0.0))

    def _grid(self) -> None:
        for low, high, at, ends, crossing in (
            (*self.x_range, self._x, (self.bottom, self.top), True),
            (*self.y_range, self._y, (self.left, self.right), False),
        ):
            fine = high - low <= 5.0
            for power in range(math.floor(low), math.ceil(high) + 1):
                for digit in range(1, 10) if fine else (1,):
                    place = math.log10(digit) + power
                    if low - 1e-9 <= place <= high + 1e-9:
                        line = at(10.0**place)
                        points = ((line, ends[0]), (line, ends[1])) if crossing else ((ends[0], line), (ends[1], line))
                        self.marks.append(Path(points, 0.78 if digit == 1 else 0.91, 0.5 if digit == 1 else 0.3))

    def _axes(self) -> float:
        self.marks.append(Box(self.left, self.bottom, self.right - self.left, _PLOT, ink=0.0, thick=0.8))
        below = self.bottom - _TICK.size - 5.0
        last = -math.inf
        for label, place in _ticks(*self.x_range):
            x = self._x(10.0**place) - width_of(label, _TICK) / 2
            if x > last + 4.0:
                self._text(x, below, label, _TICK)
                last = x + width_of(label, _TICK)
        low, high = self.y_range
        step = max(1, math.ceil((high - low) * 11.0 / _PLOT))
        for power in range(math.floor(low), math.ceil(high) + 1):
            if (power - math.floor(low)) % step == 0:
                label = "10" + str(power).translate(RAISED)
                self._text(self.left - 4.0 - width_of(label, _TICK), self._y(10.0**power) - 2.4, label, _TICK)
        title = self.wording.text("chart.x_axis")
        middle = (self.left + self.right - width_of(title, _TITLE)) / 2
        self._text(middle, below - 12.0, title, _TITLE)
        title = f"{self.data.quantity} [{unit_text(self.data.unit)}]"
        middle = self.bottom + (_PLOT - width_of(title, _TITLE)) / 2
        self._text(9.0, max(middle, self.bottom - 20.0), title, _TITLE, 90.0)
        return below - 15.0

    def _limits(self, labels: Sequence[str], levels: Sequence[float]) -> float:
        """Draw the limits and write their names in the right margin, pushed apart where they would touch."""
        x = self.right + 14.0
        blocks = [[line[0].text for line in wrap(label, _LABEL, self.width - x)] for label in labels]
        heights = [len(block) * _LABEL.leading for block in blocks]
        order = sorted(range(len(blocks)), key=lambda index: -levels[index])
        tops: list[float] = []
        ceiling = self.top
        for index in order:
            tops.append(min(levels[index] + heights[index] / 2, ceiling))
            ceiling = tops[-1] - heights[index] - 2.0
        floor = self.bottom
        for turn in reversed(range(len(order))):  # lift what hangs below the plot
            tops[turn] = max(tops[turn], floor + heights[order[turn]])
            floor = tops[turn] + 2.0
        excess = max(tops[0] - self.top, 0.0) if tops else 0.0  # more names than room: the last hang below after all
        lowest = 0.0
        for index, upper in zip(order, tops, strict=True):
            y = upper - excess
            middle = y - heights[index] / 2
            self.marks.append(Path(((self.left, levels[index]), (self.right, levels[index])), 0.0, 0.8, (4, 1.5)))
            self.marks.append(Path(((self.right, levels[index]), (x - 2.0, middle)), 0.0, 0.5))
            for line in blocks[index]:
                y -= _LABEL.leading
                self._text(x, y + 1.8, line, _LABEL)
            lowest = min(lowest, y)
        return lowest

    def _letters(self, lines: list[list[Points]], levels: Sequence[float]) -> None:
        """Put the letter of each curve on it, where the other curves, limits and letters are farthest away."""
        placed: Points = []
        for number, pieces in enumerate(lines):
            best, place = (-math.inf, -math.inf), None
            for step in range(2, 47):
                x = self.left + (self.right - self.left) * step / 48
                y = _height_at(pieces, x)
                if y is None:
                    continue
                others = [_height_at(other, x) for index, other in enumerate(lines) if index != number]
                gaps = [abs(y - other) for other in others if other is not None] + [abs(y - level) for level in levels]
                gaps += [abs(x - staff) * 1.5 for staff in self.staffs] + [y - self.bottom - 4.0, self.top - y]
                letters = min((math.hypot(x - px, y - py) for px, py in placed), default=math.inf)
                score = (min(letters, 18.0), min(*gaps, letters, 20.0) - 0.01 * step)
                if score > best:
                    best, place = score, (x, y)
            if place is None:
                continue
            placed.append(place)
            letter = _letter(number)
            half = width_of(letter, _NAME) / 2 + 1.6
            self.marks.append(Box(place[0] - half, place[1] - 4.6, 2 * half, 9.2, fill=1.0, ink=0.0, thick=0.6))
            self._text(place[0] - half + 1.6, place[1] - 2.5, letter, _NAME)

    def _clipped(self, points: Points) -> list[Points]:
        """Return the curve in plot coordinates, cut at the lower edge."""
        pieces: list[Points] = [[]]
        before: tuple[float, float] | None = None
        for distance, exposure in points:
            here = (self._x(distance), self._y(exposure))
            if before is not None and (before[1] < self.bottom) != (here[1] < self.bottom):
                share = (self.bottom - before[1]) / (here[1] - before[1])
                edge = (before[0] + share * (here[0] - before[0]), self.bottom)
                pieces[-1].append(edge)
                if here[1] < self.bottom:
                    pieces.append([])
            if here[1] >= self.bottom:
                pieces[-1].append(here)
            before = here
        return [piece for piece in pieces if len(piece) > 1]

    def _legend(self, labels: Sequence[str], top: float) -> float:
        y = top - 4.0
        x = self.left
        for number, label in enumerate(labels):
            lines = [line[0].text for line in wrap(label, _LABEL, self.width - x - 52.0)]
            middle = y - _LABEL.leading / 2 - 1.0
            thick = 1.3 if number < len(_DASHES) else 2.2
            self.marks.append(Path(((x, middle), (x + 34.0, middle)), 0.0, thick, _DASHES[number % len(_DASHES)]))
            self._text(x + 39.0, y - _LABEL.leading + 1.0, _letter(number), _NAME)
            for line in lines:
                y -= _LABEL.leading
                self._text(x + 52.0, y + 1.0, line, _LABEL)
            y -= 1.5
        kinds = {mark.kind for mark in self.data.marks}
        signs = [f"{sign} {self.wording.text(f'chart.{kind}')}" for kind, sign in _SIGNS.items() if kind in kinds]
        key = "   ".join(signs)
        if key:
            y -= _LABEL.leading
            self._text(x, y + 1.0, key, _LABEL)
        return y - 2.0

    def _notes(self, notes: Sequence[str], top: float) -> None:
        y = top
        for note in notes:
            for line in wrap(note, _LABEL, self.width):
                y -= _LABEL.leading
                self._text(0.0, y + 1.0, line[0].text, _LABEL)
        self.height = 4.0 - y


def _usable(curve: Curve) -> Points:
    return [
        (x, y)
        for x, y in zip(curve.distance, curve.exposure, strict=True)
        if math.isfinite(x) and math.isfinite(y) and x > 0 and y > 0
    ]


def _nice(value: float, *, down: bool) -> float:
    """Return the next 1, 2 or 5 times a power of ten."""
    power = math.floor(math.log10(value))
    steps = [factor * 10.0**exponent for exponent in (power - 1, power, power + 1) for factor in (1, 2, 5)]
    return max(step for step in steps if step <= value) if down else min(step for step in steps if step > value)


def _ticks(low: float, high: float) -> list[tuple[str, float]]:
    digits = (1, 2, 5) if high - low <= 3.0 else (1,)
    found = []
    for power in range(math.floor(low), math.ceil(high) + 1):
        for digit in digits:
            place = power + math.log10(digit)
            if low - 1e-9 <= place <= high + 1e-9:
                value = f"{digit}e{power}" if not -3 <= power <= 4 else f"{digit * 10.0**power:.{max(-power, 0)}f}"
                if "e" in value:
                    value = f"{digit}×10{str(power).translate(RAISED)}"
                found.append((value, place))
    return found


def _letter(number: int) -> str:
    return chr(ord("A") + number % 26) * (number // 26 + 1)


def _height_at(pieces: list[Points], x: float) -> float | None:
    for piece in pieces:
        if piece[0][0] <= x <= piece[-1][0]:
            for (x0, y0), (x1, y1) in pairwise(piece):
                if x0 <= x <= x1:
                    return y0 if x1 == x0 else y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return None
