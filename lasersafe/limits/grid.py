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
from itertools import combinations
from typing import Any, NamedTuple, NoReturn

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.limits.records import EDGE, Floats, LimitTable, Range, Row, RuleSet
from lasersafe.limits.tables import load_rule_set, nearest

TISSUES = ("eye", "skin")
WAVELENGTHS = (180.0, 1e6)  # [nm]
DURATIONS = (1e-13, 3e4)  # [s]
_LOG10 = math.log2(10.0)
_BLOCK = 50_000  # points: arrays that stay in the cache
_FEW = 512  # up to this many points a binary search is faster than the classes of an axis
_CLASSES = 8192  # of values on an axis, at most
_NONE = -(2**40)  # class that holds an edge
_SIZED, _BENT, _MORE = 1, 2, 4  # marks, see `Grid.marks`

Ints = NDArray[np.integer[Any]]


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
    closely. Cells are told as multiples of a stride.
    """

    def __init__(self, edges: set[float], stride: int) -> None:
        self.edges, self.stride = sorted(edges), stride
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
        self._class = self.exactly(starts[:-1])
        edged = (self._class != self.exactly(np.nextafter(starts[1:], 0.0))) | (self._class % (2 * stride) > 0)
        self._class[edged] = _NONE

    def cells(self, span: Range, whole: Sequence[float] = ()) -> range:
        """Return the cells of a range with both its ends; an end in *whole* belongs to the range above it alone."""
        first, last = self.edges.index(span[0]), self.edges.index(span[1])
        stop = 2 * last - 1 if span[1] in whole else 2 * last
        return range(max(2 * first - 1, 0), min(stop, len(self.centres)))

    def at(self, values: Floats) -> Ints:
        """Return the cell of each value, which lies in the range of the axis; far below 0 where an edge is near."""
        if values.size <= _FEW:
            return self.exactly(values)
        number = values.view(np.int64) >> self._bits
        number -= self._first
        cell: Ints = self._class.take(number)
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
    pieces: tuple[Piece | None, ...]  # the first is None: no limit
    marks: NDArray[
        np.uint8
    ]  # by slot and cell, of a small source, and next to it of any: depends on the source size, has a
    # curve and a constant (in the first: or a growing aperture in any), and whether there are more
    parameters: Floats  # shape (9, pieces), see `_parameters`
    source_max: Floats  # by cell: alpha_max = 2 ** source_max * t ** source_power [mrad]
    source_power: Floats
    source_min: float  # alpha_min [mrad]
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

    def even(self, lowest: float, highest: float) -> bool:
        """Return whether no limit depends on the wavelength from one to another, at no time and angle. [nm]."""
        first, last = self.wavelengths.exactly(np.array([lowest, highest])).tolist()
        held = self.slots[:, first : first + self.wavelengths.stride]
        return bool(first == last and not self.parameters[6].take(held).any())

    def log_t2(self, source_mrad: Floats | float) -> Floats:
        """Return the binary logarithm of T_2 / s."""
        first, rise, low, high, _ = self.t2
        return np.asarray(np.minimum(np.maximum(first + rise * source_mrad, low), high))

    def evaluate(self, wavelength: Floats, duration: Floats, source_angle: Floats, size: int) -> Points:
        """Return the strictest limit at *size* points; the arrays are flat, in SI units, of that length or of 1."""
        found = Points(np.empty(size), np.empty(size), np.empty(size), np.empty(size, dtype=np.int16))
        for start in range(0, size, _BLOCK):
            part = slice(start, start + _BLOCK)
            lam, time, angle = (a if a.size == 1 else a[part] for a in (wavelength, duration, source_angle))
            block = Points._make(whole[part] for whole in found)
            nm, log_time, cell = lam * 1e9, np.log2(time), np.empty(block.piece.size, dtype=np.intp)
            np.add(self.wavelengths.at(nm), self.durations.at(time), out=cell)
            if (near := np.flatnonzero(cell < 0)).size:
                cell[near] = self.wavelengths.exactly(_some(nm, near)) + self.durations.exactly(_some(time, near))
            bent = self._strictest([cell, nm, time, log_time, angle], block)
            np.divide(block.radiant_exposure, time, out=block.irradiance)
            self.parameters[3].take(block.piece, out=block.aperture, mode="wrap")
            block.aperture[bent] *= np.exp2(self.parameters[4].take(block.piece[bent]) * _some(log_time, bent))
        return found

    def _strictest(self, columns: list[Any], found: Points) -> Ints:
        """Note the lowest dose and its piece at the cell, nm, time, its logarithm and angle of each point.

        Returns where an aperture may grow.
        """
        hole, growth = self.parameters[3:5]
        extended = int((columns[4] > self.source_min * (1.0 + EDGE) * 1e-3).any())
        bent, where = np.empty((2, 0), dtype=np.intp)
        for depth in range(self.slots.shape[0]):
            mark = self.marks[depth, extended:].take(columns[0])
            marked = np.flatnonzero(mark >= _BENT)
            at, more = (marked.take(np.flatnonzero(mark.take(marked) & one > 0)) for one in (_BENT, _MORE))
            piece, dose = self._doses(depth, mark, at, *columns)
            if depth:
                have, own = found.radiant_exposure.take(where), found.piece.take(where)
                better = dose < have
                if (tie := np.flatnonzero(dose == have)).size:
                    log = _some(columns[3], tie)
                    one, two = (hole.take(p) * np.exp2(growth.take(p) * log) for p in (piece.take(tie), own.take(tie)))
                    better[tie] = one < two
                lower = np.flatnonzero(better)
                found.radiant_exposure[where.take(lower)], found.piece[where.take(lower)] = dose[lower], piece[lower]
            else:
                bent, found.piece[:], found.radiant_exposure[:] = at, piece, dose
            if not more.size:
                break
            where = where.take(more) if depth else more
            columns = [_some(values, more) for values in columns]
        return bent

    def _doses(
        self, depth: int, mark: Ints, bent: Ints, cell: Ints, nm: Floats, time: Floats, log_time: Floats, angle: Floats
    ) -> tuple[Ints, Floats]:
        """Return the piece in one slot of each point, and its limit [J/m2]."""
        coefficient, extra, rated, _, _, power, slope, power_t2, sized = self.parameters
        extended = angle > self.source_min * (1.0 + EDGE) * 1e-3
        at = np.flatnonzero((mark & _SIZED > 0) & extended)
        if at.size:
            mrad, log, place = _some(angle, at) * 1e3, _some(log_time, at), cell.take(at)
            log_t2, log_angle = self.log_t2(mrad), np.log2(mrad)
            cell = cell.copy()
            cell[at] = place + 1 + (log >= log_t2 - EDGE)
            above = log_angle - self.source_max.take(place) - self.source_power.take(place) * log
            log_angle = log_angle + np.maximum(above, 0.0, out=above)
        piece = self.slots[depth].take(cell)
        value, term = power.take(piece), slope.take(piece)
        value *= log_time
        term *= nm
        value += term
        if at.size:
            own = piece.take(at)
            log_angle -= math.log2(self.source_min)
            log_angle *= sized.take(own)
            log_angle += (log_t2 - self.t2[4]) * power_t2.take(own)
            value[at] += log_angle
        np.exp2(value, out=value)
        value *= coefficient.take(piece)
        own = piece.take(bent)
        value[bent] *= 1.0 + extra.take(own) * np.exp2(-slope.take(own) * _some(nm, bent))
        one = rated.take(piece)  # 1 or 0: of what follows, one of two terms is nothing
        np.subtract(1.0, one, out=term)
        one *= time
        term += one
        value *= term
        return piece, value


def _some(values: Any, at: Ints) -> Any:
    """Return values at some points; one value holds everywhere."""
    return values if values.size == 1 else values.take(at)


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
    largest = [layout.alpha_max(time) for time in layout.durations.centres]
    below, between, above = rules.angle_factors["T_2"].rows
    rise = between.slope * _LOG10
    first = math.log2(between.coefficient) - between.origin * rise
    source_min = rules.time_factors["alpha_min"].rows[0].constant
    low, high = math.log2(below.constant), math.log2(above.constant)
    t2 = (first, rise, low, high, min(max(first + rise * source_min, low), high))
    parameters = np.array([_parameters(rules, piece, t2[4]) for piece in layout.pieces], dtype=np.float64)
    slots = _strict(layout.slots(), layout.pieces, parameters, np.log2(layout.durations.centres))
    sized = (parameters[:, 7:] != 0.0).any(axis=1)[slots].any(axis=3) | (slots != slots[..., :1]).any(axis=3)
    bent = (parameters[:, 1] != 0.0)[slots]
    bent[0] |= (parameters[:, 4] != 0.0)[slots].any(axis=0)
    more = np.concatenate([slots[1:] > 0, np.zeros_like(bent[:1])])
    marks = (_BENT * bent + _MORE * more).astype(np.uint8)
    marks[..., 1] = np.bitwise_or.reduce(marks, axis=3) | _SIZED * sized
    return Grid(
        rules,
        tissue,
        layout.wavelengths,
        layout.durations,
        slots.reshape(slots.shape[0], -1),
        tuple(layout.pieces),
        marks.reshape(slots.shape[0], -1),
        np.ascontiguousarray(parameters.T),
        source_max=np.tile(np.log2([row.constant for row in largest]).repeat(3), slots.shape[1]),
        source_power=np.tile(np.array([row.power for row in largest]).repeat(3), slots.shape[1]),
        source_min=source_min,
        t2=t2,
    )


def _strict(slots: Ints, pieces: Sequence[Piece | None], parameters: Floats, log_times: Floats) -> Ints:
    """Return the slots without the milder of two pieces that meet on an edge in time and differ in nothing else."""
    names = [piece.hazard if piece else "" for piece in pieces]
    told = np.column_stack([parameters, [names.index(name) for name in names]])
    value = (parameters[:, 5:6] + parameters[:, 2:3]) * log_times
    value[1:] += np.log2(parameters[1:, :1])  # the first is no piece
    edges = np.arange(1, log_times.size, 2)
    for size in range(3):
        same = [1, 3, 4, 6, 9, 7, 8][: 7 if size else 5]  # T_2 and C_E do not vary with a small source
        alike = (told[:, None, same] == told[:, same]).all(axis=2)
        held = slots[:, :, edges, size]
        for one, other in combinations(range(slots.shape[0]), 2):
            first, second = held[one], held[other]
            both = alike[first, second]
            excess = value[second, edges] - value[first, edges]
            second[both & (excess >= -EDGE)] = 0
            first[both & (excess < -EDGE)] = 0
        slots[:, :, edges, size] = held
    order = np.argsort(slots == 0, axis=0, kind="stable")
    slots = np.take_along_axis(slots, order, axis=0)
    return slots[: int((slots > 0).any(axis=(1, 2, 3)).sum())]


def _parameters(rules: RuleSet, piece: Piece | None, log_t2: float) -> tuple[float, ...]:
    """Return coefficient, what is added to a curve over it, whether W/m2, aperture [m] and the power by which it grows.

    Then the powers of t, 2**nm, T_2 (over that of a small source, which the coefficient has) and C_E.
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
        *(row.power, slope, row.power_T_2, "C_E" in row.factors),
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
        self.durations = Axis(durations, 3)
        self.wavelengths = Axis(wavelengths, 3 * len(self.durations.centres))
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
