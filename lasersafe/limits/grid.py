"""The limits of an edition at arrays of points: cells of wavelength, duration and source size, and what holds in each.

Between two neighbouring edges of all tables (rows, factors, apertures) lies a cell, and each edge is a cell of its own:
on it (within a relative 1e-12) the rows of both sides hold, each with the strictest factors and the smallest aperture
that meet there. In a cell every limit has one closed form, a *piece*:
``coefficient * (extra + 2**(slope * (lambda - origin))) * t**power * C_E * T_2**power_T_2``. Units are those of the
print (nm, s, mrad, J/m2 or W/m2), except for apertures, which are in m.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations
from typing import Any, NamedTuple, NoReturn

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.limits.tables import EDGE, Floats, LimitTable, Range, Row, RuleSet, load_rule_set
from lasersafe.quantity import choice

TISSUES = ("eye", "skin")
WAVELENGTHS = (180.0, 1e6)  # [nm]
DURATIONS = (1e-13, 3e4)  # [s]
_LOG10 = math.log2(10.0)
_BLOCK = 50_000  # points: arrays that stay in the cache
_HELD = 10_000  # points that may have a lower limit, which are worked out together
_FEW = 512  # up to this many points a binary search is faster than the classes of an axis, where they are known
_CLASSES = 16384  # of values on an axis, at most
_NONE = -(2**40)  # class that holds an edge
_SURE = 1e-9  # binary logarithm by which one limit has to be above another to be left out

Ints = NDArray[np.integer[Any]]


class Piece(NamedTuple):
    """One row of a limit table on some cells, with the rows of the factors that apply there."""

    hazard: str
    cone: bool
    row: Row
    factors: tuple[Row, ...]
    aperture: Row


class Axis:
    """The edges of one axis; cell ``2 k`` lies between edges k and k + 1, cell ``2 k - 1`` on the inner edge k.

    Edges are in a unit, values in SI units. Values are sorted into classes by the leading bits of their numbers; a
    class that an edge lies in is looked at more closely. Cells are told as multiples of a stride.
    """

    def __init__(self, edges: set[float], stride: int, unit: float = 1.0) -> None:
        self.edges, self.stride = sorted(edges), stride
        self.inner = np.array(self.edges[1:-1])
        middles = [0.5 * (low + high) for low, high in zip(self.edges, self.edges[1:], strict=False)]
        self.centres = sorted([*self.edges[1:-1], *middles])
        cells = range(len(self.centres))
        self.ends = np.array([[self.edges[(n + 1) // 2], self.edges[n // 2 + 1]] for n in cells]).T  # of each cell
        self._lowered = self.inner * (unit * (1.0 - EDGE))
        self._raised = np.concatenate([[0.0], self.inner * (unit * (1.0 + EDGE))])
        self._ends = unit * np.array([self.edges[0] * (1.0 - 2.0 * EDGE), self.edges[-1] * (1.0 + 2.0 * EDGE)])
        octaves = math.log2(self.edges[-1] / self.edges[0])
        self._bits = 52 - int(math.log2(_CLASSES / octaves))  # that do not count for the class of a number

    @cached_property
    def _class(self) -> Ints:
        """The cell of each class, by the bits of a number themselves; most is never touched."""
        first, last = (self._ends.view(np.int64) >> self._bits).tolist()
        starts = (np.arange(first, last + 2) << self._bits).view(np.float64)
        cell = self.exactly(starts[:-1])
        cell[(cell != self.exactly(np.nextafter(starts[1:], 0.0))) | (cell % (2 * self.stride) > 0)] = _NONE
        found = np.zeros(last + 1, dtype=np.intp)
        found[first:] = cell
        return found

    def cells(self, span: Range, whole: Sequence[float] = ()) -> range:
        """Return the cells of a range with both its ends; an end in *whole* belongs to the range above it alone."""
        first, last = self.edges.index(span[0]), self.edges.index(span[1])
        stop = 2 * last - 1 if span[1] in whole else 2 * last
        return range(max(2 * first - 1, 0), min(stop, len(self.centres)))

    def at(self, values: Floats) -> Ints:
        """Return the cell of each value, which lies in the range of the axis; far below 0 where an edge is near."""
        if values.size <= (_FEW if "_class" in vars(self) else _CLASSES):
            return self.exactly(values)
        cell: Ints = self._class.take(values.view(np.int64) >> self._bits)
        return cell

    def exactly(self, values: Floats) -> Ints:
        """Return the cell of each value."""
        above = self._lowered.searchsorted(values, side="right")
        return np.asarray(self.stride * (2 * above - (values <= self._raised.take(above))))


@dataclass(frozen=True)
class Grid:
    """The tables of one edition and tissue, laid out for look-up."""

    rule_set: RuleSet
    tissue: str
    wavelengths: Axis  # [nm]
    durations: Axis  # [s]
    slots: Ints  # shape (depth, cells): pieces by wavelength, duration and source size, the first ones filled
    pieces: tuple[Piece | None, ...]  # None: no limit; those of cells that are marked are there once more
    marked: tuple[int, int]  # the first piece with a curve and a constant, or with more slots; small and large sources
    sized: Range  # wavelengths at which the size of a source counts [m]
    parameters: Floats  # shape (9, pieces), see `_parameters`
    floors: Floats  # shape (depth, cells): the least that the limits of further slots can be [J/m2]
    source_max: Floats  # by cell: alpha_max = 2 ** source_max * t ** source_power [rad]
    source_power: Floats
    source_min: float  # alpha_min [rad]
    t2: tuple[float, ...]  # log2 T_2 = clip(first + second * alpha, third, fourth); the last is that of a small source

    @cached_property
    def texts(self) -> dict[str, NDArray[Any]]:
        """Return what is printed about each piece, "" where there is no limit; to be read only."""
        rows = [(p.hazard, str(p.row.source), p.row.source.seen) if p else ("", "", "") for p in self.pieces]
        hazard, source, seen = zip(*rows, strict=True)
        return {"hazard": np.array(hazard), "source": np.array(source, object), "seen": np.array(seen, object)}

    def words(self, kind: str, piece: Ints, area_row: Ints | None = None) -> NDArray[np.object_]:
        """Return what is printed about pieces, or about the rows of the area rule (-1: none) that lower them."""
        found = np.asarray(self.texts[kind][piece], dtype=object)
        rule = self.rule_set.area
        if area_row is not None and rule is not None:
            for number, row in enumerate(rule.rows):
                found = np.where(area_row == number, str(row.source) if kind == "source" else row.source.seen, found)
        return found

    @cached_property
    def amounts(self) -> Floats:
        """Return the coefficients of doses [J/m2] and those of irradiances [W/m2], 0 where the other holds."""
        rated = self.parameters[2] != 0.0
        return np.where([rated, ~rated], 0.0, self.parameters[0])

    @cached_property
    def hazards(self) -> frozenset[str]:
        """Return the hazards of the pieces."""
        return frozenset(piece.hazard for piece in self.pieces if piece)

    @cached_property
    def aperture_ranges(self) -> Ints:
        """Return for each piece which range of time with an aperture of its own it has, -1: no limit."""
        ranges = ["" if piece is None else f"{piece.aperture.duration}" for piece in self.pieces]
        kinds = sorted(set(ranges) - {""})
        return np.array([kinds.index(text) if text else -1 for text in ranges])

    @cached_property
    def _spans(self) -> frozenset[Range]:
        return frozenset(piece.row.wavelength for piece in self.pieces if piece)

    def covers(self, lowest: float, highest: float) -> bool:
        """Return whether any row holds at some wavelength of a range, both ends and a last bit included. [nm]."""
        low, high = lowest * (1.0 - 2.0 * EDGE), highest * (1.0 + 2.0 * EDGE)
        return any(first <= high and last >= low for first, last in self._spans)

    def log_t2(self, angle: Floats) -> Floats:
        """Return the logarithm to base 2 of T_2 before sources of some angles [rad]."""
        first, rise, low, high, _ = self.t2
        return np.asarray(np.minimum(np.maximum(first + rise * angle, low), high))

    def apertures(self, piece: Ints, duration: Floats) -> Floats:
        """Return the limiting apertures of pieces. [m]."""
        hole, growth = self.parameters[3].take(piece), self.parameters[4].take(piece)
        return np.asarray(hole * np.exp2(growth * np.log2(duration)) if growth.any() else hole)

    def evaluate(
        self, points: Sequence[Floats], size: int, check: Callable[[Floats, Floats, Floats], object]
    ) -> tuple[Floats, Ints]:
        """Return the strictest limit [J/m2] at *size* points, and its piece.

        The points are wavelength, duration and source angle: flat, in SI units, of that length or of 1; *check* refuses
        those outside the edition, a block at a time, as it is read.
        """
        found, deciding = np.empty(size), np.empty(size, dtype=np.int16)
        several: list[list[Any]] = []  # number, cell and columns of the points that may have a lower limit
        alone = [False, False, *(one.size == 1 for one in points)]  # which columns hold one value
        for start in range(0, size, _BLOCK):
            part = slice(start, start + _BLOCK)
            lam, time, angle = (a if a.size == 1 else a[part] for a in points)
            check(lam, time, angle)
            cell = np.empty(found[part].size, dtype=np.intp)
            np.add(self.wavelengths.at(lam), self.durations.at(time), out=cell)
            if (near := np.flatnonzero(cell < 0)).size:
                cell[near] = self.wavelengths.exactly(_some(lam, near)) + self.durations.exactly(_some(time, near))
            deciding[part], more = self._doses(0, found[part], cell, lam, time, angle)
            if more.size:
                several.append([more + start, *(_some(one, more) for one in (cell, lam, time, angle))])
            if several and (start + _BLOCK >= size or sum(one[0].size for one in several) > _HELD):
                every = zip(alone, zip(*several, strict=True), strict=True)
                self._lower(found, deciding, *(parts[0] if one else np.concatenate(parts) for one, parts in every))
                several = []
        return found, deciding

    def _lower(self, found: Floats, deciding: Ints, where: Ints, *columns: Any) -> None:
        """Put the further limits of points where they are lower, of equal ones that over the smaller aperture."""
        for depth in range(1, self.slots.shape[0]):
            if not where.size:
                break
            dose, time = np.empty(where.size), columns[2]
            other, more = self._doses(depth, dose, *columns)
            have, own = found.take(where), deciding.take(where)
            better = dose < have * (1.0 - EDGE)
            if (tie := np.flatnonzero((dose <= have * (1.0 + EDGE)) & ~better)).size:
                moment = _some(time, tie)
                better[tie] = self.apertures(other.take(tie), moment) < self.apertures(own.take(tie), moment)
            lower = np.flatnonzero(better)
            found[where.take(lower)] = np.minimum(dose, have)[lower]
            deciding[where.take(lower)] = other[lower]
            where, columns = where.take(more), tuple(_some(one, more) for one in columns)

    def _doses(
        self, depth: int, value: Floats, cell: Ints, lam: Floats, time: Floats, angle: Floats
    ) -> tuple[Ints, Ints]:
        """Fill in the limit of one slot of each point [J/m2]; return its piece, and the points that have more.

        For the first slot the cells are those of small sources, and become those of the sources that are there.
        """
        _, extra, _, _, _, power, slope, power_t2, sized = self.parameters
        log_time = np.log2(time)
        if depth:
            piece = self.slots[depth].take(cell)
            at = np.flatnonzero(((sized != 0.0) | (power_t2 != 0.0)).take(piece) & (cell % 3 > 0))
        else:
            large = (angle > self.source_min * (1.0 + EDGE)) & (lam >= self.sized[0]) & (lam <= self.sized[1])
            at = np.flatnonzero(large if large.size == value.size else np.broadcast_to(large, value.shape))
        if at.size:
            source, log, place = _some(angle, at), _some(log_time, at), cell.take(at)
            raised = np.log2(source)
            above = raised - self.source_max.take(place)
            above -= self.source_power.take(place) * log
            raised = raised + np.maximum(above, 0.0, out=above)
            raised -= math.log2(self.source_min)
            log_t2 = self.log_t2(source)
            if not depth:
                place += 1
                place += log >= log_t2 - EDGE
                cell[at] = place
        piece = self.slots[depth].take(cell)
        np.multiply(power.take(piece), log_time, out=value)
        term = slope.take(piece)
        term *= lam
        value += term
        marked = np.flatnonzero(piece >= self.marked[depth > 0])
        if at.size:
            own = piece.take(at)
            if not depth:
                marked = np.concatenate([marked, at.take(np.flatnonzero(own >= self.marked[1]))])
            raised *= sized.take(own)
            raised += (log_t2 - self.t2[4]) * power_t2.take(own)
            value[at] += raised
        np.exp2(value, out=value)
        term = self.amounts[1].take(piece)
        term *= time
        term += self.amounts[0].take(piece)
        value *= term
        if marked.size and extra.any():
            own = piece.take(marked)
            value[marked] *= 1.0 + extra.take(own) * np.exp2(-slope.take(own) * _some(lam, marked))
        return piece, marked.take(np.flatnonzero(value.take(marked) >= self.floors[depth].take(cell.take(marked))))


def _some(values: Any, at: Ints) -> Any:
    """Return values at some points; one value holds everywhere."""
    return values if values.size == 1 else values.take(at)


def hazards_of(rule_set: str, tissue: str) -> tuple[str, ...]:
    """Return the names of the hazards that the edition knows for a tissue, in the order of its tables."""
    choice("tissue", tissue, TISSUES)
    tables = load_rule_set(rule_set).limits
    return tuple(dict.fromkeys(table.hazard[tissue] for table in tables if tissue in table.hazard))


@lru_cache(maxsize=64)
def grid_of(rule_set: str, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of an edition for a tissue, of all hazards or of one."""
    hazards_of(rule_set, tissue)  # refuses a tissue that is none
    return build(load_rule_set(rule_set), tissue, hazard)


def build(rules: RuleSet, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of a rule set for a tissue; of all hazards, it must leave no point without a limit."""
    tables = [t for t in rules.limits if tissue in t.hazard and hazard in (None, t.hazard[tissue])]
    layout = _Layout(rules, tissue, tables)
    if hazard is None:
        layout.check_whole()
    largest = [layout.alpha_max(time) for time in layout.durations.centres]
    below, between, above = rules.angle_factors["T_2"].rows
    rise = between.slope * _LOG10
    first = math.log2(between.coefficient) - between.origin * rise
    source_min = rules.time_factors["alpha_min"].rows[0].constant
    low, high = math.log2(below.constant), math.log2(above.constant)
    t2 = (first, rise * 1e3, low, high, min(max(first + rise * source_min, low), high))
    parameters = np.array([_parameters(rules, piece, t2[4]) for piece in layout.pieces], dtype=np.float64)
    slots = _strict(layout, parameters)
    sized = (parameters[:, 7:] != 0.0).any(axis=1)[slots].any(axis=3) | (slots != slots[..., :1]).any(axis=3)
    mark = (parameters[:, 1] != 0.0)[slots]
    mark[:-1] |= slots[1:] > 0
    # in the order of `Grid.marked`: those without marks, those of large sources, those of small ones
    size = len(layout.pieces)
    code = slots + size * np.where(mark, [2, 1, 1], 0)
    there = np.zeros(3 * size, dtype=bool)
    there[code] = there[0] = True
    codes = np.flatnonzero(there)
    of_large, of_small = np.searchsorted(codes, [size, 2 * size]).tolist()
    codes %= size
    spans = layout.wavelengths.ends[:, sized.any(axis=(0, 2))] * 1e-9
    return Grid(
        rules,
        tissue,
        layout.wavelengths,
        layout.durations,
        slots=(np.cumsum(there) - 1)[code].reshape(slots.shape[0], -1),
        pieces=tuple(layout.pieces[one] for one in codes),
        marked=(of_small, of_large),
        sized=(float(spans.min(initial=math.inf)) * (1.0 - EDGE), float(spans.max(initial=0.0)) * (1.0 + EDGE)),
        parameters=np.ascontiguousarray(parameters[codes].T),
        floors=_floors(layout, slots, parameters, t2),
        source_max=np.tile(np.log2([row.constant * 1e-3 for row in largest]).repeat(3), slots.shape[1]),
        source_power=np.tile(np.array([row.power for row in largest]).repeat(3), slots.shape[1]),
        source_min=source_min * 1e-3,
        t2=t2,
    )


def _strict(layout: _Layout, parameters: Floats) -> Ints:
    """Return the slots of each cell without pieces that another is below in the whole of it.

    Logarithms of limits are straight between the ends of a cell. Of two that agree on an edge in time and differ in
    nothing else the first is kept.
    """
    slots, pieces = layout.slots(), layout.pieces
    names = [piece.hazard if piece else "" for piece in pieces]
    told = np.column_stack([parameters, [names.index(name) for name in names]])
    log_times, lam = np.log2(layout.durations.ends), layout.wavelengths.ends * 1e-9
    for one, other in combinations(range(slots.shape[0]), 2):
        at = np.nonzero((slots[one] > 0) & (slots[other] > 0))
        column, number, size = at
        first, second = slots[one][at], slots[other][at]
        a, b = parameters[first].T, parameters[second].T
        rise, tilt = b[5] + b[2] - a[5] - a[2], b[6] - a[6]
        excess = np.log2(b[0] / a[0]) + (rise * log_times[:, None, number] + tilt * lam[None, :, column])
        least, most = excess.min(axis=(0, 1)), excess.max(axis=(0, 1))
        straight = ((a[1] == 0.0) & (b[1] == 0.0)) | ((a[1] == b[1]) & (a[6] == b[6]))
        straight &= (size == 0) | (a[7:] == b[7:]).all(axis=0)  # T_2 and C_E do not vary with a small source
        alike = straight & (told[first][:, [1, 3, 4, 6, 9]] == told[second][:, [1, 3, 4, 6, 9]]).all(axis=1)
        alike &= number % 2 > 0
        slots[other][at] = np.where(straight & (least > _SURE) | alike & (least >= -EDGE), 0, second)
        slots[one][at] = np.where(straight & (most < -_SURE) | alike & (least < -EDGE), 0, first)
    order = np.argsort(np.where(slots == 0, 2, (parameters[:, 7:] == 0.0).all(axis=1)[slots]), axis=0, kind="stable")
    slots = np.take_along_axis(slots, order, axis=0)
    return slots[: int((slots > 0).any(axis=(1, 2, 3)).sum())]


def _floors(layout: _Layout, slots: Ints, parameters: Floats, t2: tuple[float, ...]) -> Floats:
    """Return the least dose of the further slots of each cell: limits rise or fall with time and wavelength [J/m2]."""
    log_times, lam = np.log2(layout.durations.ends), layout.wavelengths.ends * 1e-9
    coefficient, extra, rate, _, _, power, slope, power_t2, _ = parameters[slots].transpose(4, 0, 1, 2, 3)
    log = np.log2(coefficient) + ((power + rate) * log_times[:, None, None, :, None]).min(axis=0)
    turned = slope * lam[:, None, :, None, None]
    log += (turned + np.log2(1.0 + extra * np.exp2(-turned))).min(axis=0)
    log += np.minimum(0.0, np.minimum(power_t2 * (t2[2] - t2[4]), power_t2 * (t2[3] - t2[4])))  # and C_E is at least 1
    least = np.minimum.accumulate(np.exp2(log - _SURE)[::-1], axis=0)[::-1].reshape(slots.shape[0], -1)
    return np.concatenate([least[1:], np.full_like(least[:1], np.inf)])


def _parameters(rules: RuleSet, piece: Piece | None, log_t2: float) -> tuple[float, ...]:
    """Return coefficient, what is added to a curve over it, whether W/m2, aperture [m] and the power by which it grows.

    Then the powers of t, 2**lambda [m], T_2 (over that of a small source, which the coefficient has) and C_E.
    """
    if piece is None:
        return (math.inf, 0.0, 0.0, math.nan, *[0.0] * 5)
    row, hole = piece.row, piece.aperture
    coefficient, extra, slope, weighted = row.constant * 2.0 ** (row.power_T_2 * log_t2), 0.0, 0.0, 0.0
    curved = [part for part in piece.factors if part.slope]
    for part in piece.factors:
        coefficient *= part.coefficient if part.slope else part.constant
    for part in curved:
        if part.constant and len(curved) > 1:
            refuse(
                f"rule set {rules.name}: {part.formula} cannot be multiplied by another factor that varies",
                ReferenceDataError,
            )
        extra += part.constant / part.coefficient
        slope += part.slope * _LOG10
        weighted += part.slope * _LOG10 * part.origin
    return (
        *(coefficient * 2.0**-weighted, extra * 2.0**weighted, row.quantity == "E", hole.constant * 1e-3, hole.power),
        *(row.power, slope * 1e9, row.power_T_2, "C_E" in row.factors),
    )


def _least(rows: list[Row], x: float) -> Row:
    """Return the row with the least value at x."""
    return rows[0] if len(rows) == 1 else min(rows, key=lambda row: float(row.at(x)))


class _Layout:
    """The pieces of the limit tables of one tissue, and the cells in which they hold."""

    def __init__(self, rules: RuleSet, tissue: str, tables: Sequence[LimitTable]) -> None:
        self.rules, self.tissue = rules, tissue
        wavelengths, durations = set(WAVELENGTHS), set(DURATIONS)
        used = {name for table in tables for row in table.rows for name in row.factors}
        spans = [(row.wavelength, row.duration) for table in tables for row in table.rows]
        spans += [(hole.wavelength, hole.duration) for table in tables for hole in self._holes(table)]
        if rules.area is not None and any(rules.area.hazard == table.hazard[tissue] for table in tables):
            spans.append((rules.area.wavelength, rules.area.duration))
        spans += [
            (part.wavelength, DURATIONS) for name in used & set(rules.factors) for part in rules.factors[name].rows
        ]
        if "C_E" in used:
            spans += [(WAVELENGTHS, part.duration) for part in rules.time_factors["alpha_max"].rows]
        spans += [(row.wavelength, DURATIONS) for row in rules.train_times]
        for wavelength, duration in spans:
            wavelengths.update(wavelength)
            durations.update(duration)
        self.durations = Axis(durations, 3)
        self.wavelengths = Axis(wavelengths, 3 * len(self.durations.centres), 1e-9)
        if (self.wavelengths.edges[0], self.wavelengths.edges[-1]) != WAVELENGTHS:
            self._refuse("a row lies outside 180 nm to 1 mm")
        if (self.durations.edges[0], self.durations.edges[-1]) != DURATIONS:
            self._refuse("a row lies outside 1e-13 s to 3e4 s")
        self.whole = [edge for table in tables for edge in table.whole_nanometres]
        self.pieces: list[Piece | None] = [None]
        shape = (len(self.wavelengths.centres), len(self.durations.centres), 3)
        self._held: dict[tuple[int, ...], list[int]] = {cell: [] for cell in np.ndindex(shape)}
        self._shape = shape
        # where two rows of a hazard meet, the apertures of both hold
        self._over: dict[tuple[str, float], list[Row]] = {}
        self._least_of: dict[tuple[int, ...], Row] = {}
        for table in tables:
            for low, high in dict.fromkeys(row.wavelength for row in table.rows):
                for hole in self._holes(table):
                    first, last = max(low, hole.wavelength[0]), min(high, hole.wavelength[1])
                    for column in self.wavelengths.cells((first, last)) if first < last else ():
                        key = table.hazard[tissue], self.wavelengths.centres[column]
                        self._over.setdefault(key, []).append(hole)
        for table in tables:
            for row in table.rows:
                self._place(table, row)

    def _refuse(self, message: str) -> NoReturn:
        text = f"rule set {self.rules.name}, {self.tissue}: {message}"
        raise ReferenceDataError(text)

    def _holes(self, table: LimitTable) -> tuple[Row, ...]:
        return self.rules.apertures[table.aperture or self.tissue]

    def _place(self, table: LimitTable, row: Row) -> None:
        numbers: dict[tuple[Row, ...], dict[int, int]] = {}
        names, hazard = [name for name in row.factors if name != "C_E"], table.hazard[self.tissue]
        times = self.durations.cells(row.duration)
        for column in self.wavelengths.cells(row.wavelength, self.whole):
            nm = self.wavelengths.centres[column]
            factors = tuple(self._factor(name, nm) for name in names)
            own, over = numbers.setdefault(factors, {}), self._over.get((hazard, nm), [])
            for number in times:
                hole = self._hole(over, number, nm)
                if id(hole) not in own:
                    own[id(hole)] = len(self.pieces)
                    self.pieces.append(Piece(hazard, table.cone, row, factors, hole))
                for size in row.sizes:
                    self._held[column, number, size].append(own[id(hole)])

    def _hole(self, over: list[Row], number: int, nm: float) -> Row:
        """Return the smallest of some apertures in a cell of time, looked up once for all wavelengths with them."""
        key = number, *map(id, over)
        if key not in self._least_of:
            time = self.durations.centres[number]
            holes = [hole for hole in over if hole.duration[0] <= time <= hole.duration[1]]
            if not holes:
                self._refuse(f"no limiting aperture at {nm:g} nm, {time:g} s")
            self._least_of[key] = _least(holes, time)
        return self._least_of[key]

    def _factor(self, name: str, nm: float) -> Row:
        if name not in self.rules.factors:
            self._refuse(f"a row is multiplied by {name}, which has no table")
        meeting = [part for part in self.rules.factors[name].rows if part.wavelength[0] <= nm <= part.wavelength[1]]
        if not meeting:
            self._refuse(f"{name} has no value at {nm:g} nm, where a limit needs it")
        return _least(meeting, nm)

    def alpha_max(self, time: float) -> Row:
        """Return the row of alpha_max with the strictest C_E."""
        rows = self.rules.time_factors["alpha_max"].rows
        meeting = [part for part in rows if part.duration[0] <= time <= part.duration[1]]
        return max(meeting, key=lambda part: float(part.at(time)))

    def slots(self) -> Ints:
        """Return the pieces of each cell, shape (depth, wavelengths, durations, 3), filled up with 0."""
        depth = max(len(held) for held in self._held.values())
        filled = [held + [0] * (depth - len(held)) for held in self._held.values()]
        return np.ascontiguousarray(np.array(filled, dtype=np.intp).T).reshape(depth, *self._shape)

    def check_whole(self) -> None:
        """Refuse a point of wavelength, duration and source size without any limit."""
        for (column, time, _), held in self._held.items():
            if not held:
                wavelength, duration = self.wavelengths.centres[column], self.durations.centres[time]
                self._refuse(f"no limit at {wavelength:g} nm, {duration:g} s")
