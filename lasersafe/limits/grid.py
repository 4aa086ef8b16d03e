"""The layout of an edition as arrays, so that arrays of points can be looked up.

In a cell of the layout every limit has one closed form,
``coefficient * (extra + exp(slope * (lambda - origin))) * t**power * C_E * T_2**power_T_2``: a *piece*. A cell of the
grid lists the pieces that hold in it; where there is none, a piece without a row stands for "no limit". Units are those
of the print (nm, s, mrad, J/m2 or W/m2), except for apertures, which are in m.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import ReferenceDataError
from lasersafe.limits.layout import Layout, Piece
from lasersafe.limits.records import RuleSet
from lasersafe.limits.tables import load_rule_set, nearest

TISSUES = ("eye", "skin")
# what a piece needs beyond coefficient * t ** power, as bits
IS_IRRADIANCE, HAS_SPECTRAL, HAS_SOURCE, HAS_T2, HAS_GROWING_APERTURE, HAS_MORE, BY_SIZE = 1, 2, 4, 8, 16, 32, 64
EDGE = 1e-12  # relative distance within which a value counts as on an edge
_LN10 = math.log(10.0)

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Grid:
    """The tables of one edition and tissue, laid out for look-up."""

    rule_set: RuleSet
    tissue: str
    wavelength_edges: Floats  # [nm] inner edges
    duration_edges: Floats  # [s] inner edges
    # by cell: up to this value a point is on the lower edge of the cell
    wavelength_top: Floats  # [nm]
    duration_top: Floats  # [s]
    slots: tuple[Ints, ...]  # each: piece by (wavelength, duration, size), flat; cells as in layout.Axis
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

    @cached_property
    def texts(self) -> dict[str, NDArray[Any]]:
        """Return what is printed about each piece, "" where there is no limit; to be read only."""
        rows = [
            ("", "", "") if piece is None else (piece.hazard, str(piece.row.source), piece.row.source.seen)
            for piece in self.pieces
        ]
        hazard, source, seen = zip(*rows, strict=True)
        return {"hazard": np.array(hazard), "source": _objects(source), "seen": _objects(seen)}

    @cached_property
    def wavelength_lowered(self) -> Floats:
        """Return the edges from which on a point is in the next cell. [nm]."""
        return self.wavelength_edges * (1.0 - EDGE)

    @cached_property
    def duration_lowered(self) -> Floats:
        """Return the edges from which on a point is in the next cell. [s]."""
        return self.duration_edges * (1.0 - EDGE)

    @cached_property
    def aperture_ranges(self) -> tuple[tuple[str, ...], Ints]:
        """Return the ranges of time with an aperture of their own, and which is each piece's (-1: no limit)."""
        ranges = ["" if piece is None else f"{piece.aperture.duration}" for piece in self.pieces]
        kinds = sorted(set(ranges) - {""})
        return tuple(kinds), np.array([kinds.index(text) if text else -1 for text in ranges])

    @cached_property
    def _spans(self) -> frozenset[tuple[float, float]]:
        return frozenset(piece.row.wavelength for piece in self.pieces if piece)

    def covers(self, lowest: float, highest: float) -> bool:
        """Return whether any row holds at some wavelength of a range, both ends and a last bit included. [nm]."""
        low, high = lowest * (1.0 - 2.0 * EDGE), highest * (1.0 + 2.0 * EDGE)
        return any(first <= high and last >= low for first, last in self._spans)


def _objects(texts: tuple[str, ...]) -> NDArray[np.object_]:
    return np.array(texts, dtype=object)


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


def _parameters(rules: RuleSet, piece: Piece | None) -> tuple[float, ...]:
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
    flags = (
        IS_IRRADIANCE * (row.quantity == "E")
        + HAS_SPECTRAL * bool(slope)
        + HAS_SOURCE * ("C_E" in row.factors)
        + HAS_T2 * bool(row.power_T_2)
        + HAS_GROWING_APERTURE * bool(piece.aperture.power)
    )
    origin = weighted / slope if slope else 0.0
    return (
        *(flags, coefficient, row.power, row.power_T_2, slope, origin, extra),
        *(piece.alpha_max.value, piece.alpha_max.power, piece.aperture.value * 1e-3, piece.aperture.power),
    )


def build(rules: RuleSet, tissue: str, hazard: str | None = None) -> Grid:
    """Return the grid of a rule set for a tissue; of all hazards, it must leave no point without a limit."""
    tables = [t for t in rules.limits if tissue in t.hazard and hazard in (None, t.hazard[tissue])]
    if not tables:
        raise nearest(hazard, "hazard", sorted({t.hazard[tissue] for t in rules.limits if tissue in t.hazard}))
    layout = Layout(rules, tissue, tables)
    if hazard is None:
        layout.whole()
    slots = _slots(layout)
    first, kinds = _mark_cells(slots)
    parameters = [_parameters(rules, piece) for piece in layout.pieces]
    values = np.array([parameters[number] for number in kinds // 4]).T
    wavelengths, durations = np.array(layout.wavelengths.edges[1:-1]), np.array(layout.durations.edges[1:-1])
    columns: dict[str, Any] = {
        name: np.ascontiguousarray(column) for name, column in zip(_PARAMETERS, values[1:], strict=True)
    }
    return Grid(
        rule_set=rules,
        tissue=tissue,
        wavelength_edges=wavelengths,
        duration_edges=durations,
        wavelength_top=_top(wavelengths)[:, None].repeat(layout.durations.size, axis=1).ravel(),
        duration_top=np.tile(_top(durations), layout.wavelengths.size),
        slots=(first, *slots.reshape(slots.shape[0], -1)[1:]),
        pieces=tuple(layout.pieces[number] for number in kinds // 4),
        flags=(values[0] + HAS_MORE * (kinds // 2 % 2) + BY_SIZE * (kinds % 2)).astype(np.uint8),
        hazards=tuple(dict.fromkeys(piece.hazard for piece in layout.pieces if piece)),
        source_min=rules.time_factors["alpha_min"].rows[0].value,
        t2=_t2(rules),
        **columns,
    )


def _top(edges: Floats) -> Floats:
    """Return, for each cell of an axis, up to which value a point is on the lower edge of the cell."""
    top = np.zeros(2 * edges.size + 1)
    top[2::2] = edges * (1.0 + EDGE)
    return top


def _slots(layout: Layout) -> Ints:
    """Return the pieces of each cell, shape (depth, cells, 3), where the last axis is the source size."""
    distinct: dict[tuple[tuple[int, tuple[int, ...]], ...], int] = {}
    kind_of_cell = [distinct.setdefault(tuple(content), len(distinct)) for content in layout.cells]
    by_kind = [[[number for number, sizes in content if size in sizes] for size in (0, 1, 2)] for content in distinct]
    depth = max(len(pieces) for sizes in by_kind for pieces in sizes)
    padding = [0] * depth
    filled = [[(pieces + padding)[:depth] for pieces in sizes] for sizes in by_kind]
    return np.ascontiguousarray(np.moveaxis(np.array(filled, dtype=np.intp)[kind_of_cell], -1, 0))


def _mark_cells(slots: Ints) -> tuple[Ints, Ints]:
    """Renumber the first slot so that a piece also tells whether its cell has more, and whether they differ by size.

    Returns the new first slot, flat, and for each number ``4 * piece + 2 * more + differs``; the numbers of the other
    slots stay valid.
    """
    more = (slots[1:] != 0).any(axis=0)
    differs = (slots != slots[..., :1]).any(axis=(0, 2))
    key = 4 * slots[0] + 2 * more + differs[:, None]
    plain = 4 * np.arange(slots.max() + 1)
    marked = sorted(set(key.ravel().tolist()) - set(plain.tolist()))
    kinds = np.concatenate([plain, np.array(marked, dtype=np.intp)])
    order = np.argsort(kinds)
    first = order[np.searchsorted(kinds, key.ravel(), sorter=order)]
    return first, kinds
