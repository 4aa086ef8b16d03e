"""The highest exposure over limit on a grid of the floor."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from lasersafe.results_scene import HazardMap
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source

FLOAT = NDArray[np.float64]
EYES = (("standing adult", 1.6), ("child", 1.0))  # m; common practice, no source
_ROWS = 64  # rows of the grid worked out at a time, so that the arrays stay in the cache


def hazard_map(
    sources: Iterable[tuple[Source, tuple[Piece, ...]]],
    x: FLOAT,
    y: FLOAT,
    heights: Sequence[tuple[str, float]] = EYES,
) -> HazardMap:
    """Return the map of a set of sources.

    Parameters
    ----------
    sources : iterable of (Source, tuple of Piece)
        Each source with the solid parts of the screens that hold against it.
    x : numpy.ndarray, shape (columns,)
        Places of the columns. [m]
    y : numpy.ndarray, shape (rows,)
        Places of the rows. [m]
    heights : sequence of (str, float)
        Name and height of the eyes above the floor. [m]

    Returns
    -------
    HazardMap
        ``ratio`` of shape (heights, rows, columns).
    """
    pairs = list(sources)
    ratio = np.zeros((len(heights), y.size, x.size))
    for first in range(0, y.size, _ROWS):
        part = slice(first, first + _ROWS)
        grid_x, grid_y = np.broadcast_arrays(x[None, :], y[part, None])
        for level, (_, height) in enumerate(heights):
            z = np.full(grid_x.shape, height)
            here = ratio[level, part]
            for source, pieces in pairs:
                np.maximum(here, source.ratio(grid_x, grid_y, z, pieces, fast=True), out=here)
    return HazardMap(x, y, tuple(heights), ratio)
