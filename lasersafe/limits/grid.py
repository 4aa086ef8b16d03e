"""Lay the rows of an edition out on a grid of wavelength, duration and source size, so that arrays can be looked up.

Between two neighbouring edges of all tables (rows, factors, apertures) every limit has one closed form,
``coefficient * (extra + exp(slope * (lambda - origin))) * t**power * C_E * T_2**power_T_2``: a *piece*. A cell of the
grid lists the pieces that hold in it; where there is none, a piece without a row stands for "no limit". Units are those
of the print (nm, s, mrad, J/m2 or W/m2), except for apertures, which are in m.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import ReferenceDataError
from lasersafe.limits.records import LimitRow, LimitTable, PowerRow, RuleSet, SpectralRow
from lasersafe.limits.tables import load_rule_set, nearest

TISSUES = ("eye", "skin")
WAVELENGTHS = (180.0, 1e6)  # [nm]
DURATIONS = (1e-13, 3e4)  # [s]
# what a piece needs beyond coefficient * t ** power, as bits
IS_IRRADIANCE, HAS_SPECTRAL, HAS_SOURCE, HAS_T2, HAS_GROWING_APERTURE, HAS_MORE, BY_SIZE = 1, 2, 4, 8, 16, 32, 64
EDGE = 1e-12  # relative distance within which a value counts as on an edge
_LN10 = math.log(10.0)

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Piece:
    """One row of a limit table on one cell, with the rows of the factors that apply there."""

    hazard: str
    row: LimitRow
    factors: tuple[SpectralRow, ...]
    aperture: PowerRow
    cone: bool


@dataclass(frozen=True)
class Grid:
    """The tables of one edition and tissue, laid out for look-up."""

    rule_set: RuleSet
    tissue: str
    wavelength_edges: Floats  # [nm] inner edges
    duration_edges: Floats  # [s] inner edges
    # by (wavelength, duration), flat: up to this value a point is on the lower edge of the cell
    wavelength_top: Floats  # [nm]
    duration_top: Floats  # [s]
    slots: tuple[Ints, ...]  # each: piece by (wavelength, duration, size), flat
    pieces: tuple[Piece | None, ...]  # None: no limit
    flags: NDArray[np.uint8]
    coefficient: Floats
    power: Floats
    power_T_2: Floats  # noqa: N815
    slope: Floats  # natural logarithm per nm
    origin: Floats
    extra: Floats
    source_max: Floats  # alpha_max = source_max * t ** source_power [mrad]
    source_power: Floats
    aperture: Floats  # [m], times t ** aperture_power
    aperture_power: Floats
    hazards: tuple[str, ...]
    source_min: float  # alpha_min [mrad]
    t2: tuple[float, float, float, float]  # ln T_2 = clip(first + second * alpha, third, fourth)


def check_tissue(tissue: str) -> None:
    """Refuse a tissue other than eye and skin."""
    if tissue not in TISSUES:
        raise nearest(tissue, "tissue", TISSUES)


def hazards_of(rule_set: str, tissue: str) -> tuple[str, ...]:
    """Return the names of the hazards that the edition knows for a tissue, in the order of its tables."""
    check_tissue(tissue)
    tables = load_rule_set(rule_set).limits
    return tuple(dict.fromkeys(table.hazard[tissue] for table in tables if tissue in table.hazard))


@lru_cache(maxsize=64)
def grid_of(rule_set: str, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of an edition for a tissue, of all hazards or of one."""
    check_tissue(tissue)
    return build(load_rule_set(rule_set), tissue, hazard)


def _seek(ranges: Iterable[tuple[float, float]], value: float) -> int:
    for number, (low, high) in enumerate(ranges):
        if low <= value < high:
            return number
    return -1


class _Layout:
    """Collects pieces and cells while a grid is built."""

    def __init__(self, rules: RuleSet, tissue: str, tables: list[LimitTable]) -> None:
        self.rules, self.tissue, self.tables = rules, tissue, tables
        wavelengths, durations = set(WAVELENGTHS), set(DURATIONS)
        used = {name for table in tables for row in table.rows for name in row.factors}
        for table in tables:
            for row in table.rows:
                wavelengths.update(row.wavelength)
                durations.update(row.duration)
            for hole in rules.apertures[table.aperture or tissue]:
                wavelengths.update(hole.wavelength)
                durations.update(hole.duration)
        for name in used & set(rules.factors):
            for part in rules.factors[name].rows:
                wavelengths.update(part.range)
        if "C_E" in used:
            durations.update(end for part in rules.time_factors["alpha_max"].rows for end in part.duration)
        self.wavelengths, self.durations = sorted(wavelengths), sorted(durations)
        if (self.wavelengths[0], self.wavelengths[-1]) != WAVELENGTHS:
            self._refuse("a row lies outside 180 nm to 1 mm")
        if (self.durations[0], self.durations[-1]) != DURATIONS:
            self._refuse("a row lies outside 1e-13 s to 3e4 s")
        self.columns = [0.5 * (low + high) for low, high in pairwise(self.wavelengths)]
        self.times = [0.5 * (low + high) for low, high in pairwise(self.durations)]
        self.pieces: list[Piece | None] = [None]
        self.source_rows: list[int] = [0]
        self.cells: dict[tuple[int, int, int], list[int]] = {}
        alpha_max = [part.duration for part in rules.time_factors["alpha_max"].rows]
        self.alpha_max = [_seek(alpha_max, time) for time in self.times]
        for table in tables:
            self._place(table)

    def _refuse(self, message: str) -> None:
        text = f"rule set {self.rules.name}, {self.tissue}: {message}"
        raise ReferenceDataError(text)

    def _place(self, table: LimitTable) -> None:
        holes = self.rules.apertures[table.aperture or self.tissue]
        known: dict[tuple[int, ...], int] = {}
        for number, row in enumerate(table.rows):
            columns = range(
                self._at(self.wavelengths, row.wavelength[0]), self._at(self.wavelengths, row.wavelength[1])
            )
            times = range(self._at(self.durations, row.duration[0]), self._at(self.durations, row.duration[1]))
            for column in columns:
                parts = self._factors(row, self.columns[column])
                key = tuple(id(part) for part in parts)
                for time in times:
                    hole = next(
                        (
                            h
                            for h in holes
                            if h.wavelength[0] <= self.columns[column] < h.wavelength[1]
                            and h.duration[0] <= self.times[time] < h.duration[1]
                        ),
                        None,
                    )
                    if hole is None:
                        self._refuse(f"no limiting aperture at {self.columns[column]:g} nm, {self.times[time]:g} s")
                        continue
                    full = (number, id(hole), self.alpha_max[time], *key)
                    piece = known.get(full)
                    if piece is None:
                        piece = known[full] = len(self.pieces)
                        self.pieces.append(Piece(table.hazard[self.tissue], row, parts, hole, table.cone))
                        self.source_rows.append(self.alpha_max[time])
                    for size in row.sizes:
                        self.cells.setdefault((column, time, size), []).append(piece)

    @staticmethod
    def _at(edges: list[float], value: float) -> int:
        return bisect_right(edges, value) - 1

    def _factors(self, row: LimitRow, wavelength: float) -> tuple[SpectralRow, ...]:
        parts = []
        for name in row.factors:
            if name == "C_E":
                continue
            if name not in self.rules.factors:
                self._refuse(f"a row is multiplied by {name}, which has no table")
            rows = self.rules.factors[name].rows
            found = _seek([part.range for part in rows], wavelength)
            if found < 0:
                self._refuse(f"{name} has no value at {wavelength:g} nm, where a limit needs it")
            parts.append(rows[found])
        return tuple(parts)

    def whole(self) -> None:
        """Refuse a point of wavelength, duration and source size without any limit."""
        for column, time, size in product(range(len(self.columns)), range(len(self.times)), range(3)):
            if (column, time, size) not in self.cells and not (size == 2 and self.times[time] < 10.0):
                self._refuse(f"no limit at {self.columns[column]:g} nm, {self.times[time]:g} s")


def _t2(rules: RuleSet) -> tuple[float, float, float, float]:
    below, between, above = rules.angle_factors["T_2"].rows
    first = math.log(between.coefficient) - between.origin * between.slope * _LN10
    return first, between.slope * _LN10, math.log(below.constant), math.log(above.constant)


_PARAMETERS = (
    "coefficient",
    "power",
    "power_T_2",
    "slope",
    "origin",
    "extra",
    "source_max",
    "source_power",
    "aperture",
    "aperture_power",
)


def _parameters(rules: RuleSet, piece: Piece | None, source_row: int) -> tuple[float, ...]:
    if piece is None:
        return (0, math.inf, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, math.nan, 0.0)
    row = piece.row
    coefficient, extra, slope, weighted = row.coefficient, 0.0, 0.0, 0.0
    curved = [part for part in piece.factors if part.slope]
    for part in piece.factors:
        coefficient *= part.coefficient if part.slope else part.constant
    for part in curved:
        if part.constant and (len(curved) > 1 or not part.coefficient):
            message = f"rule set {rules.name}: {part.formula} cannot be multiplied by another factor that varies"
            raise ReferenceDataError(message)
        extra += part.constant / part.coefficient
        slope += part.slope * _LN10
        weighted += part.slope * _LN10 * part.origin
    alpha_max = rules.time_factors["alpha_max"].rows[source_row]
    flags = (
        IS_IRRADIANCE * (row.quantity == "E")
        + HAS_SPECTRAL * bool(slope)
        + HAS_SOURCE * ("C_E" in row.factors)
        + HAS_T2 * bool(row.power_T_2)
        + HAS_GROWING_APERTURE * bool(piece.aperture.power)
    )
    return (
        flags,
        coefficient,
        row.power,
        row.power_T_2,
        slope,
        weighted / slope if slope else 0.0,
        extra,
        alpha_max.value,
        alpha_max.power,
        piece.aperture.value * 1e-3,
        piece.aperture.power,
    )


def build(rules: RuleSet, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of a rule set for a tissue; of all hazards, it must leave no point without a limit."""
    tables = [t for t in rules.limits if tissue in t.hazard and hazard in (None, t.hazard[tissue])]
    if not tables:
        raise nearest(hazard, "hazard", sorted({t.hazard[tissue] for t in rules.limits if tissue in t.hazard}))
    layout = _Layout(rules, tissue, tables)
    if hazard is None:
        layout.whole()
    shape = (len(layout.columns), len(layout.times), 3)
    depth = max(len(pieces) for pieces in layout.cells.values())
    slots = np.zeros((depth, *shape), dtype=np.intp)
    for cell, pieces in layout.cells.items():
        for slot, piece in enumerate(pieces):
            slots[(slot, *cell)] = piece
    slots[0], kinds = _mark_cells(slots)
    marks = [HAS_MORE * more + BY_SIZE * split for _, more, split in kinds]
    values = np.array([_parameters(rules, layout.pieces[n], layout.source_rows[n]) for n, _, _ in kinds]).T
    pieces_kept = tuple(layout.pieces[number] for number, _, _ in kinds)
    names = tuple(dict.fromkeys(piece.hazard for piece in pieces_kept if piece))
    whole = {edge for table in tables for edge in table.whole_nanometres}
    wavelengths, durations = np.array(layout.wavelengths[1:-1]), np.array(layout.durations[1:-1])
    shared = np.array([edge not in whole for edge in layout.wavelengths[1:-1]])
    wavelength_top = np.concatenate(([0.0], wavelengths * (1.0 + EDGE) * shared))
    duration_top = np.concatenate(([0.0], durations * (1.0 + EDGE)))
    columns: dict[str, Any] = {
        name: np.ascontiguousarray(column) for name, column in zip(_PARAMETERS, values[1:], strict=True)
    }
    return Grid(
        rule_set=rules,
        tissue=tissue,
        wavelength_edges=wavelengths,
        duration_edges=durations,
        wavelength_top=np.repeat(wavelength_top, shape[1]),
        duration_top=np.tile(duration_top, shape[0]),
        slots=tuple(slots.reshape(depth, -1)),
        pieces=pieces_kept,
        flags=(values[0] + marks).astype(np.uint8),
        hazards=names,
        source_min=rules.time_factors["alpha_min"].rows[0].value,
        t2=_t2(rules),
        **columns,
    )


def _mark_cells(slots: NDArray[np.intp]) -> tuple[Ints, list[tuple[int, bool, bool]]]:
    """Renumber the first slot so that a piece also tells whether its cell has more, and whether they differ by size.

    Returns the new first slot, and for each new number the piece and both marks; the other slots stay valid.
    """
    kinds: dict[tuple[int, bool, bool], int] = {(piece, False, False): piece for piece in range(int(slots.max()) + 1)}
    more = (slots[1:] != 0).any(axis=0) if slots.shape[0] > 1 else np.zeros(slots.shape[1:], dtype=bool)
    split = (slots != slots[..., :1]).any(axis=(0, 3))
    first = np.empty_like(slots[0])
    for cell in np.ndindex(*first.shape):
        key = (int(slots[(0, *cell)]), bool(more[cell]), bool(split[cell[:2]]))
        first[cell] = kinds.setdefault(key, len(kinds))
    return first, list(kinds)
