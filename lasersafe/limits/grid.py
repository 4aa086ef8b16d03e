"""The limits of an edition at arrays of points: cells of wavelength, duration and source size, and what holds in each.

Between two neighbouring edges of all tables (rows, factors, apertures) lies a cell, and each edge is a cell of its own:
on it (within a relative 1e-12) the rows of both sides hold, each with the strictest factors and the smallest aperture
that meet there. In a cell every limit has one closed form, a *piece*:
``coefficient * (extra + 2**(slope * (lambda - origin))) * t**power * C_E * T_2**power_T_2``. Units are those of the
print (nm, s, mrad, J/m2 or W/m2), except for apertures, which are in m.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, NamedTuple, NoReturn

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import ReferenceDataError
from lasersafe.limits.records import EDGE, Floats, LimitTable, Range, Row, RuleSet
from lasersafe.limits.tables import load_rule_set, nearest

TISSUES = ("eye", "skin")
WAVELENGTHS = (180.0, 1e6)  # [nm]
DURATIONS = (1e-13, 3e4)  # [s]
_LOG10 = math.log2(10.0)
_BLOCK = 30_000  # points: arrays that stay in the cache
_FEW = 512  # up to this many points a binary search is faster than the classes of an axis
_CLASSES = 4096  # of values on an axis, at most
_NONE = -1  # class that holds an edge
_LATE, _CURVED, _GROWING = 1, 2, 4  # pieces with a power of T_2, with a curve, whose aperture grows

Ints = NDArray[np.integer[Any]]
_ALL: Ints = np.empty(0, dtype=np.intp)


class Piece(NamedTuple):
    """One row of a limit table on some cells, with the rows of the factors that apply there."""

    hazard: str
    cone: bool
    row: Row
    factors: tuple[Row, ...]
    aperture: Row


class Points(NamedTuple):
    """The strictest limit at each point."""

    radiant_exposure: Floats  # [J/m2]
    irradiance: Floats  # [W/m2]
    aperture: Floats  # [m]
    piece: Ints  # number in Grid.pieces


class Axis:
    """The edges of one axis; cell ``2 k`` lies between edges k and k + 1, cell ``2 k - 1`` on the inner edge k.

    Values are sorted into classes by the leading bits of their numbers; a class that an edge lies in is looked at more
    closely.
    """

    def __init__(self, edges: set[float]) -> None:
        self.edges = sorted(edges)
        self.inner = np.array(self.edges[1:-1])
        middles = [0.5 * (low + high) for low, high in zip(self.edges, self.edges[1:], strict=False)]
        self.centres = sorted([*self.edges[1:-1], *middles])
        self._lowered = self.inner * (1.0 - EDGE)
        self._raised = np.concatenate([[0.0], self.inner * (1.0 + EDGE)])
        ends = np.array([self.edges[0] * (1.0 - 2.0 * EDGE), self.edges[-1] * (1.0 + 2.0 * EDGE)])
        octaves = math.log2(self.edges[-1] / self.edges[0])
        self._bits = 52 - int(math.log2(_CLASSES / octaves))  # that do not count for the class of a number
        self._first, last = (ends.view(np.int64) >> self._bits).tolist()
        starts = (np.arange(self._first, last + 2) << self._bits).view(np.float64)
        self._class = self._exactly(starts[:-1])
        edged = (self._class != self._exactly(np.nextafter(starts[1:], 0.0))) | (self._class % 2 > 0)
        self._class[edged] = _NONE

    def cells(self, span: Range, whole: Sequence[float] = ()) -> range:
        """Return the cells of a range with both its ends; an end in *whole* belongs to the range above it alone."""
        first, last = self.edges.index(span[0]), self.edges.index(span[1])
        stop = 2 * last - 1 if span[1] in whole else 2 * last
        return range(max(2 * first - 1, 0), min(stop, len(self.centres)))

    def at(self, values: Floats) -> Ints:
        """Return the cell of each value, which lies in the range of the axis."""
        if values.size <= _FEW:
            return self._exactly(values)
        number = values.view(np.int64) >> self._bits
        number -= self._first
        cell: Ints = self._class.take(number)
        near = np.flatnonzero(cell == _NONE)
        if near.size:
            cell[near] = self._exactly(values[near])
        return cell

    def _exactly(self, values: Floats) -> Ints:
        above = self._lowered.searchsorted(values, side="right")
        return np.asarray(2 * above - (values <= self._raised.take(above)))


@dataclass(frozen=True)
class Grid:
    """The tables of one edition and tissue, laid out for look-up."""

    rule_set: RuleSet
    tissue: str
    wavelengths: Axis  # [nm]
    durations: Axis  # [s]
    slots: Ints  # shape (depth, wavelengths, durations, 3): pieces by cell and source size, the first ones filled
    pieces: tuple[Piece | None, ...]  # the first is None: no limit
    sized: NDArray[np.bool_]  # whether any piece depends on the size of the source, by cell
    parameters: Floats  # shape (10, pieces), see `_parameters`
    kinds: NDArray[np.uint8]  # shape (pieces,)
    source_max: Floats  # by cell of duration: alpha_max = source_max * t ** source_power [mrad]
    source_power: Floats
    source_min: float  # alpha_min [mrad]
    t2: tuple[float, float, float, float]  # log2 T_2 = clip(first + second * alpha, third, fourth)

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

    def log_t2(self, source_mrad: Floats | float) -> Floats:
        """Return the binary logarithm of T_2 / s."""
        first, rise, low, high = self.t2
        return np.asarray(np.clip(first + rise * source_mrad, low, high))

    def evaluate(self, wavelength: Floats, duration: Floats, source_angle: Floats, size: int) -> Points:
        """Return the strictest limit at *size* points; the arrays are flat, in SI units, of that length or of 1."""
        found = Points(np.empty(size), np.empty(size), np.empty(size), np.empty(size, dtype=np.int16))
        for start in range(0, size, _BLOCK):
            part = slice(start, min(start + _BLOCK, size))
            lam, time, angle = (a if a.size == 1 else a[part] for a in (wavelength, duration, source_angle))
            whole: NDArray[Any]
            for whole, block in zip(found, self._block(lam, time, angle, part.stop - start), strict=True):
                whole[part] = block
        return found

    def _block(self, wavelength: Floats, time: Floats, source_angle: Floats, size: int) -> Points:
        nm, log_time = wavelength * 1e9, np.log2(time)
        row = self.durations.at(time)
        cell = np.array(np.broadcast_to(3 * (self.wavelengths.at(nm) * self.slots.shape[2] + row), size))
        log_t2, factor = np.full(1, self.log_t2(self.source_min)), np.ones(1)
        extended = source_angle > self.source_min * (1.0 + EDGE) * 1e-3
        if extended.any() and (at := np.flatnonzero(self.sized.take(cell) & extended)).size:
            log_t2, factor = np.full(size, log_t2), np.ones(size)
            mrad, row, log = _some(source_angle, at) * 1e3, _some(row, at), _some(log_time, at)
            late = self.log_t2(mrad)
            cell[at] += 1 + (log >= late - EDGE)
            highest = self.source_max.take(row) * np.exp2(self.source_power.take(row) * log)
            log_t2[at], factor[at] = late, mrad / self.source_min * np.maximum(mrad / highest, 1.0)
        columns = (nm, time, log_time, log_t2, factor)
        slots = self.slots.reshape(self.slots.shape[0], -1)
        found, where = self._pieces(slots[0].take(cell), *columns), _ALL
        for slot in slots[1:]:
            piece = slot.take(_some(cell, where))
            more = np.flatnonzero(piece > 0)
            if not more.size:
                break
            where = where[more] if where.size else np.asarray(more)
            other = self._pieces(piece[more], *[_some(a, where) for a in columns])
            dose, have = other.radiant_exposure, found.radiant_exposure[where]
            lower = np.flatnonzero((dose < have) | ((dose == have) & (other.aperture < found.aperture[where])))
            whole: NDArray[Any]
            for whole, part in zip(found, other, strict=True):
                whole[where[lower]] = part[lower]
        return found

    def _pieces(
        self, piece: Ints, nm: Floats, time: Floats, log_time: Floats, log_t2: Floats, source: Floats
    ) -> Points:
        """Work one piece out at each point; C_E goes with the whole source."""
        coefficient, power, power_t2, slope, origin, extra, sized, rated, hole, growth = self.parameters
        kind = self.kinds.take(piece)
        value = np.exp2(power.take(piece) * log_time)
        value *= coefficient.take(piece)
        if (at := np.flatnonzero((kind & _LATE) > 0)).size:
            value[at] *= np.exp2(power_t2.take(piece[at]) * _some(log_t2, at))
        if (at := np.flatnonzero((kind & _CURVED) > 0)).size:
            own = piece[at]
            value[at] *= extra.take(own) + np.exp2(slope.take(own) * (_some(nm, at) - origin.take(own)))
        if source.size > 1 or source[0] != 1.0:
            one = sized.take(piece)  # 1 or 0: of what follows, one of two terms is nothing
            value *= one * source + (1.0 - one)
        one = rated.take(piece)
        dose = value * (one * time + (1.0 - one))
        value /= one + (1.0 - one) * time
        aperture = hole.take(piece)
        if (at := np.flatnonzero((kind & _GROWING) > 0)).size:
            aperture[at] *= np.exp2(growth.take(piece[at]) * _some(log_time, at))
        return Points(dose, value, aperture, piece)


def _some(values: Any, at: Ints) -> Any:
    """Return values at some points; one value holds everywhere."""
    return values if values.size == 1 or at is _ALL else values.take(at)


def hazards_of(rule_set: str, tissue: str) -> tuple[str, ...]:
    """Return the names of the hazards that the edition knows for a tissue, in the order of its tables."""
    if tissue not in TISSUES:
        raise nearest(tissue, "tissue", TISSUES)
    tables = load_rule_set(rule_set).limits
    return tuple(dict.fromkeys(table.hazard[tissue] for table in tables if tissue in table.hazard))


@lru_cache(maxsize=64)
def grid_of(rule_set: str, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of an edition for a tissue, of all hazards or of one."""
    names = hazards_of(rule_set, tissue)
    if hazard is not None and hazard not in names:
        raise nearest(hazard, "hazard", sorted(names))
    return build(load_rule_set(rule_set), tissue, hazard)


def build(rules: RuleSet, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of a rule set for a tissue; of all hazards, it must leave no point without a limit."""
    tables = [t for t in rules.limits if tissue in t.hazard and hazard in (None, t.hazard[tissue])]
    layout = _Layout(rules, tissue, tables)
    if hazard is None:
        layout.check_whole()
    parameters = np.array([_parameters(rules, piece) for piece in layout.pieces], dtype=np.float64)
    largest = [layout.alpha_max(time) for time in layout.durations.centres]
    below, between, above = rules.angle_factors["T_2"].rows
    rise = between.slope * _LOG10
    first = math.log2(between.coefficient) - between.origin * rise
    slots = layout.slots()
    sized = np.array([p is not None and ("C_E" in p.row.factors or p.row.sizes != (0, 1, 2)) for p in layout.pieces])
    return Grid(
        rules,
        tissue,
        layout.wavelengths,
        layout.durations,
        slots,
        tuple(layout.pieces),
        sized[slots].any(axis=(0, 3)).repeat(3),
        np.ascontiguousarray(parameters.T),
        ((parameters[:, [2, 3, 9]] != 0.0) @ [_LATE, _CURVED, _GROWING]).astype(np.uint8),
        source_max=np.array([row.constant for row in largest]),
        source_power=np.array([row.power for row in largest]),
        source_min=rules.time_factors["alpha_min"].rows[0].constant,
        t2=(first, rise, math.log2(below.constant), math.log2(above.constant)),
    )


def _parameters(rules: RuleSet, piece: Piece | None) -> tuple[float, ...]:
    """Return coefficient, powers of t and T_2, slope [1/nm, binary], origin [nm], extra, whether C_E, whether W/m2.

    Last the aperture [m] and the power of t by which it grows.
    """
    if piece is None:
        return (math.inf, 0.0, 0.0, 0.0, 0.0, 0.0, False, False, math.nan, 0.0)
    row, hole = piece.row, piece.aperture
    coefficient, extra, slope, weighted = row.constant, 0.0, 0.0, 0.0
    curved = [part for part in piece.factors if part.slope]
    for part in piece.factors:
        coefficient *= part.coefficient if part.slope else part.constant
    for part in curved:
        if part.constant and len(curved) > 1:
            message = f"rule set {rules.name}: {part.formula} cannot be multiplied by another factor that varies"
            raise ReferenceDataError(message)
        extra += part.constant / part.coefficient
        slope += part.slope * _LOG10
        weighted += part.slope * _LOG10 * part.origin
    origin = weighted / slope if slope else 0.0
    return (
        *(coefficient, row.power, row.power_T_2, slope, origin, extra, "C_E" in row.factors, row.quantity == "E"),
        *(hole.constant * 1e-3, hole.power),
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
        for wavelength, duration in spans:
            wavelengths.update(wavelength)
            durations.update(duration)
        self.wavelengths, self.durations = Axis(wavelengths), Axis(durations)
        if (self.wavelengths.edges[0], self.wavelengths.edges[-1]) != WAVELENGTHS:
            self._refuse("a row lies outside 180 nm to 1 mm")
        if (self.durations.edges[0], self.durations.edges[-1]) != DURATIONS:
            self._refuse("a row lies outside 1e-13 s to 3e4 s")
        self.whole = [edge for table in tables for edge in table.whole_nanometres]
        self.pieces: list[Piece | None] = [None]
        shape = (len(self.wavelengths.centres), len(self.durations.centres), 3)
        self._held: dict[tuple[int, ...], list[int]] = {cell: [] for cell in np.ndindex(shape)}
        self._shape = shape
        for table in tables:
            for row in table.rows:
                self._place(table, row)

    def _refuse(self, message: str) -> NoReturn:
        text = f"rule set {self.rules.name}, {self.tissue}: {message}"
        raise ReferenceDataError(text)

    def _holes(self, table: LimitTable) -> tuple[Row, ...]:
        return self.rules.apertures[table.aperture or self.tissue]

    def _place(self, table: LimitTable, row: Row) -> None:
        numbers: dict[tuple[tuple[Row, ...], Row], int] = {}
        names = [name for name in row.factors if name != "C_E"]
        times = self.durations.cells(row.duration)
        for column in self.wavelengths.cells(row.wavelength, self.whole):
            nm = self.wavelengths.centres[column]
            factors = tuple(self._factor(name, nm) for name in names)
            over = [hole for hole in self._holes(table) if hole.wavelength[0] <= nm <= hole.wavelength[1]
                    and hole.wavelength[0] < row.wavelength[1] and row.wavelength[0] < hole.wavelength[1]]  # fmt: skip
            for number in times:
                time = self.durations.centres[number]
                holes = [hole for hole in over if hole.duration[0] <= time <= hole.duration[1]]
                if not holes:
                    self._refuse(f"no limiting aperture at {nm:g} nm, {time:g} s")
                hole = _least(holes, time)
                if (factors, hole) not in numbers:
                    numbers[factors, hole] = len(self.pieces)
                    self.pieces.append(Piece(table.hazard[self.tissue], table.cone, row, factors, hole))
                for size in row.sizes:
                    self._held[column, number, size].append(numbers[factors, hole])

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
