"""Lay the rows of an edition out in cells of wavelength, duration and source size.

Between two neighbouring edges of all tables (rows, factors, apertures) lies a cell, and each edge is a cell of its own:
on it the rows of both sides hold, each with the strictest factors and the smallest aperture that meet there.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NoReturn

from lasersafe.errors import ReferenceDataError
from lasersafe.limits.records import LimitRow, LimitTable, PowerRow, Range, RuleSet, SpectralRow

WAVELENGTHS = (180.0, 1e6)  # [nm]
DURATIONS = (1e-13, 3e4)  # [s]


@dataclass(frozen=True)
class Piece:
    """One row of a limit table on one cell, with the rows of the factors that apply there."""

    hazard: str
    row: LimitRow
    factors: tuple[SpectralRow, ...]
    aperture: PowerRow
    alpha_max: PowerRow
    cone: bool


class Axis:
    """The edges of one axis; cell ``2 k`` lies between edges k and k + 1, cell ``2 k - 1`` on the inner edge k."""

    def __init__(self, edges: set[float]) -> None:
        self.edges = sorted(edges)
        self.size = 2 * len(self.edges) - 3
        self.centres = [
            self.edges[(cell + 1) // 2] if cell % 2 else 0.5 * (self.edges[cell // 2] + self.edges[cell // 2 + 1])
            for cell in range(self.size)
        ]

    def cells(self, span: Range, whole: frozenset[float] = frozenset()) -> range:
        """Return the cells of a range with both its ends; an end in *whole* belongs to the range above it alone."""
        first, last = bisect_left(self.edges, span[0]), bisect_left(self.edges, span[1])
        stop = 2 * last - 1 if span[1] in whole else 2 * last
        return range(max(2 * first - 1, 0), min(stop, self.size))


class Layout:
    """The pieces of the limit tables of one tissue, and the cells in which they hold."""

    def __init__(self, rules: RuleSet, tissue: str, tables: list[LimitTable]) -> None:
        self.rules, self.tissue = rules, tissue
        wavelengths, durations = set(WAVELENGTHS), set(DURATIONS)
        used = {name for table in tables for row in table.rows for name in row.factors}
        for table in tables:
            for row in table.rows:
                wavelengths.update(row.wavelength)
                durations.update(row.duration)
            for hole in self._holes(table):
                wavelengths.update(hole.wavelength)
                durations.update(hole.duration)
        for name in used & set(rules.factors):
            for part in rules.factors[name].rows:
                wavelengths.update(part.range)
        if rules.area is not None and any(rules.area.hazard == table.hazard.get(tissue) for table in tables):
            wavelengths.update(rules.area.wavelength)
            durations.update(rules.area.duration)
        self.alpha_max = rules.time_factors["alpha_max"].rows
        if "C_E" in used:
            durations.update(end for part in self.alpha_max for end in part.duration)
        self.wavelengths, self.durations = Axis(wavelengths), Axis(durations)
        if (self.wavelengths.edges[0], self.wavelengths.edges[-1]) != WAVELENGTHS:
            self._refuse("a row lies outside 180 nm to 1 mm")
        if (self.durations.edges[0], self.durations.edges[-1]) != DURATIONS:
            self._refuse("a row lies outside 1e-13 s to 3e4 s")
        self.whole_nanometres = frozenset(edge for table in tables for edge in table.whole_nanometres)
        self.pieces: list[Piece | None] = [None]
        self.cells: list[list[tuple[int, tuple[int, ...]]]] = [
            [] for _ in range(self.wavelengths.size * self.durations.size)
        ]
        for table in tables:
            for row in table.rows:
                self._place(table, row)

    def _refuse(self, message: str) -> NoReturn:
        text = f"rule set {self.rules.name}, {self.tissue}: {message}"
        raise ReferenceDataError(text)

    def _holes(self, table: LimitTable) -> tuple[PowerRow, ...]:
        return self.rules.apertures[table.aperture or self.tissue]

    def _place(self, table: LimitTable, row: LimitRow) -> None:
        columns = self.wavelengths.cells(row.wavelength, self.whole_nanometres)
        times = self.durations.cells(row.duration)
        for factors, holes, some_columns in self._runs_of_columns(table, row, columns):
            for hole, alpha_max, some_times in self._runs_of_times(holes, times, some_columns[0]):
                number = len(self.pieces)
                self.pieces.append(Piece(table.hazard[self.tissue], row, factors, hole, alpha_max, table.cone))
                entry = (number, row.sizes)
                for column in some_columns:
                    start = column * self.durations.size
                    for time in some_times:
                        self.cells[start + time].append(entry)

    def _runs_of_columns(
        self, table: LimitTable, row: LimitRow, columns: range
    ) -> Iterator[tuple[tuple[SpectralRow, ...], list[PowerRow], list[int]]]:
        """Yield runs of wavelengths with the same factors and apertures."""
        within = [
            hole
            for hole in self._holes(table)
            if hole.wavelength[0] < row.wavelength[1] and row.wavelength[0] < hole.wavelength[1]
        ]
        run: tuple[tuple[SpectralRow, ...], list[PowerRow], list[int]] | None = None
        for column in columns:
            wavelength = self.wavelengths.centres[column]
            factors = tuple(self._factor(name, wavelength) for name in row.factors if name != "C_E")
            holes = [hole for hole in within if hole.wavelength[0] <= wavelength <= hole.wavelength[1]]
            if run is None or run[0] != factors or run[1] != holes:
                if run is not None:
                    yield run
                run = (factors, holes, [])
            run[2].append(column)
        if run is not None:
            yield run

    def _runs_of_times(
        self, holes: list[PowerRow], times: range, column: int
    ) -> Iterator[tuple[PowerRow, PowerRow, list[int]]]:
        """Yield runs of durations with the same aperture and the same alpha_max."""
        run: tuple[PowerRow, PowerRow, list[int]] | None = None
        for time in times:
            duration = self.durations.centres[time]
            meeting = [hole for hole in holes if hole.duration[0] <= duration <= hole.duration[1]]
            if not meeting:
                wavelength = self.wavelengths.centres[column]
                self._refuse(f"no limiting aperture at {wavelength:g} nm, {duration:g} s")
            hole = min(meeting, key=lambda hole: hole.value * duration**hole.power)
            angles = [part for part in self.alpha_max if part.duration[0] <= duration <= part.duration[1]]
            alpha_max = max(angles, key=lambda part: part.value * duration**part.power)  # the strictest C_E
            if run is None or run[0] is not hole or run[1] is not alpha_max:
                if run is not None:
                    yield run
                run = (hole, alpha_max, [])
            run[2].append(time)
        if run is not None:
            yield run

    def _factor(self, name: str, wavelength: float) -> SpectralRow:
        if name not in self.rules.factors:
            self._refuse(f"a row is multiplied by {name}, which has no table")
        meeting = [part for part in self.rules.factors[name].rows if part.range[0] <= wavelength <= part.range[1]]
        if not meeting:
            self._refuse(f"{name} has no value at {wavelength:g} nm, where a limit needs it")
        if len(meeting) == 1:
            return meeting[0]
        return min(meeting, key=lambda part: part.at(wavelength))

    def whole(self) -> None:
        """Refuse a point of wavelength, duration and source size without any limit."""
        for cell, content in enumerate(self.cells):
            column, time = divmod(cell, self.durations.size)
            covered = {size for _, sizes in content for size in sizes}
            if not covered >= {0, 1, 2}:
                wavelength, duration = self.wavelengths.centres[column], self.durations.centres[time]
                self._refuse(f"no limit at {wavelength:g} nm, {duration:g} s")
