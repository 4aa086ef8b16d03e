"""The highest exposure over limit on the cells of a grid of the floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lasersafe.records.scene import HazardMap
from lasersafe.scene.bound import Asked, Places, Question, bounds
from lasersafe.scene.lights import Light, Lights, total
from lasersafe.wording import Message

FLOAT = NDArray[np.float64]
INDEX = NDArray[np.intp]
EYES = (("standing adult", 1.6), ("child", 1.0))  # m; common practice, no source
SLACK = 0.1  # m, above and below a height of the eyes
NEGLIGIBLE = 1e-6
LOOSE = 1.25  # times what the weakest of five places in a square gets: its cells are not told apart below that
_MOST = 64  # boxes of one cell
_FIRST = 64  # cells along an edge of the first squares
_TOGETHER = 400_000  # squares times lights that are looked at together
_FIVE = np.array([(0.0, 0.0), (-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)])


@dataclass
class _Squares:
    """Squares of the grid of one size, and the light that matters in each."""

    cell: INDEX  # which sum, which height, and the lowest row and column, of shape (squares, 4)
    light: INDEX  # that is still looked at, of shape (squares, lights)
    group: INDEX  # to which each belongs, -1 for none
    rest: FLOAT  # what is proven of the others of each group, of shape (squares, groups)

    def taken(self, at: INDEX | slice) -> _Squares:
        return _Squares(*(one[at] for one in vars(self).values()))

    def each(self, table: Lights, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return at least what each light gives anywhere in boxes, one for each square."""
        return table.most(self.light, middle, half, np.zeros(len(middle)), self.group >= 0, self.group)

    def gets(self, table: Lights, known: FLOAT, middle: FLOAT, half: FLOAT, places: FLOAT, rise: float) -> FLOAT:
        """Return at least what there is at places of squares, of shape (squares, places, groups).

        Of each group only the light is looked at that is the strongest by what is known, of shape (squares, lights).
        """
        groups, count = np.arange(self.rest.shape[1]), len(places)
        best = np.where(self.group[:, :, None] == groups, known[:, :, None], -1.0).argmax(axis=1)
        light, group = (np.take_along_axis(one, best, axis=1).repeat(count, axis=0) for one in (self.light, self.group))
        points = (middle[:, None] + half[:, None] * np.pad(places, ((0, 0), (0, 1)))).reshape(-1, 3)
        column, wanted = np.broadcast_to(np.array([0.0, 0.0, rise]), points.shape), group == groups
        found = table.most(light, points, column, np.zeros(len(points)), wanted, np.where(wanted, group, -1))
        return found.reshape(len(middle), count, len(groups))

    def quarters(self, each: FLOAT, least: FLOAT, size: int, rows: int, columns: int) -> _Squares:
        """Return what of their quarters is on the grid, without lights that are no stronger than others everywhere."""
        keep = np.zeros(self.group.shape, dtype=bool)
        for number, floor in enumerate(least.T):
            mine = self.group == number
            some = mine & ~(each < np.maximum(floor, NEGLIGIBLE / 1e3)[:, None])
            left_out = np.where(mine & ~some, each, 0.0).max(axis=1, initial=0.0)
            self.rest[:, number] = np.maximum(self.rest[:, number], left_out)
            keep |= some
        order = np.argsort(~keep, axis=1, kind="stable")[:, : int(keep.sum(axis=1).max(initial=0))]
        group = np.take_along_axis(np.where(keep, self.group, -1), order, axis=1)
        found = _Squares(self.cell, np.take_along_axis(self.light, order, axis=1), group, self.rest)
        found = found.taken(np.arange(len(keep)).repeat(4))
        found.cell[:, 2:] += np.tile([(0, 0), (0, size), (size, 0), (size, size)], (len(keep), 1))
        return found.taken(np.flatnonzero((found.cell[:, 2] < rows) & (found.cell[:, 3] < columns)))


def hazard_map(
    sums: Sequence[Sequence[Sequence[Light]]], x: FLOAT, y: FLOAT, heights: Sequence[tuple[str, float]] = EYES
) -> HazardMap:
    """Return the map of a scene: nowhere in a cell there is more than its ratio [1]_.

    Squares of many cells are bounded as a whole, and cut into four where that says too little: where the bound is more
    than `LOOSE` times what the weakest of five places in the square gets, or a power of ten from 1 on lies between. So
    a cell has no more than `LOOSE` times the bound of it alone, but for dark strips that miss corners and middle of a
    square; and whether it is below the limit is answered as if it was asked alone.

    Parameters
    ----------
    sums : sequence of groups
        Each as `lasersafe.scene.bound.Question` takes it; the highest of them counts.
    x : numpy.ndarray, shape (columns,)
        Middles of the columns, evenly spaced. [m]
    y : numpy.ndarray, shape (rows,)
        Middles of the rows, evenly spaced. [m]
    heights : sequence of (str, float)
        Name and height of the eyes above the floor. [m]

    Returns
    -------
    HazardMap
        ``ratio`` of shape (heights, rows, columns).

    References
    ----------
    .. [1] docs/method.md, section 16: the exposure map.
    """
    eyes = np.array([height for _, height in heights])
    half_x, half_y = ((float(one[1] - one[0]) if one.size > 1 else 0.0) / 2.0 for one in (x, y))
    edge = np.array([half_x, half_y, SLACK])
    asked = Asked([Question(groups, Places(np.zeros((1, 3)), np.zeros((1, 3)))) for groups in sums])
    starts = (len(sums), len(heights), -(-y.size // _FIRST), -(-x.size // _FIRST))
    cell = np.stack([one.ravel() for one in np.indices(starts)], axis=1)
    ratio = np.zeros((*starts[:2], starts[2] * _FIRST, starts[3] * _FIRST))
    rest = np.zeros((len(cell), int(asked.group.max(initial=-1)) + 1))
    cell[:, 2:] *= _FIRST
    todo = [(_FIRST, _Squares(cell, asked.light[cell[:, 0]], asked.group[cell[:, 0]], rest))]
    unsure = [np.zeros((0, 4), dtype=np.intp)]
    while todo:
        size, now = todo.pop()
        if now.light.size > _TOGETHER and len(now.cell) > 1:
            todo += [(size, now.taken(slice(first, None, 2))) for first in (0, 1)]
            continue
        _, level, row, column = now.cell.T
        last = np.minimum(row + size, y.size) - 1, np.minimum(column + size, x.size) - 1
        low = np.stack([x[column], y[row], eyes[level]], axis=1) - edge
        high = np.stack([x[last[1]], y[last[0]], eyes[level]], axis=1) + edge
        middle, half = (low + high) / 2.0, (high - low) / 2.0
        each = now.each(asked.table, middle, half)
        upper = total(now.group, each, now.rest)
        done, least = (upper < NEGLIGIBLE) | (size == 1), np.zeros_like(now.rest)
        upper[upper < NEGLIGIBLE] = 0.0
        if size > 2:  # for four cells five places are no help
            at = np.flatnonzero(~done)
            some, inside = now.taken(at), np.broadcast_to(np.array([0.0, 0.0, SLACK]), (at.size, 3))
            known = some.each(asked.table, middle[at], inside)
            found = some.gets(asked.table, known, middle[at], half[at], _FIVE, SLACK)
            least[at], lowest = found.min(axis=1), found.sum(axis=2).min(axis=1)
            done[at] = (upper[at] <= LOOSE * lowest) & (_decade(upper[at]) == _decade(lowest))
        elif size == 1:
            at = np.flatnonzero(upper > 1.0)
            found = now.taken(at).gets(asked.table, each[at], middle[at], half[at], _FIVE[:1], 0.0)
            unsure.append(now.cell[at[~(found.sum(axis=(1, 2)) > 1.0)]])
        block, (which, level, row, column) = np.arange(size), now.cell[done].T[:, :, None, None]
        ratio[which, level, row + block[:, None], column + block] = upper[done, None, None]
        at = np.flatnonzero(~done)
        if at.size:
            todo.append((size // 2, now.taken(at).quarters(each[at], least[at], size // 2, y.size, x.size)))
    cells = np.concatenate(unsure)  # not above at their middle: their parts may be below
    parts = [cells[cells[:, 0] == number] for number in range(len(sums))]
    middles = [np.stack([x[part[:, 3]], y[part[:, 2]], eyes[part[:, 1]]], axis=1) for part in parts]
    questions = [Question(groups, Places(at - edge, at + edge)) for groups, at in zip(sums, middles, strict=True)]
    for part, proven in zip(parts, bounds(questions, to_limit=True, most=_MOST), strict=True):
        ratio[tuple(part.T)] = np.minimum(ratio[tuple(part.T)], proven.upper)
    highest = ratio.max(axis=0, initial=0.0)[:, : y.size, : x.size]
    return HazardMap(x, y, tuple(heights), highest, note=Message("map.negligible", least=f"{NEGLIGIBLE:g}"))


def _decade(ratio: FLOAT) -> FLOAT:
    """Return between which powers of ten ratios are, counted from 1."""
    return np.asarray(np.ceil(np.log10(np.maximum(ratio, 1.0))))
