"""The highest exposure over limit on the cells of a grid of the floor."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lasersafe.records.scene import HazardMap
from lasersafe.scene.bound import Places, Question, bounds
from lasersafe.scene.lights import Light
from lasersafe.wording.message import Message

FLOAT = NDArray[np.float64]
EYES = (("standing adult", 1.6), ("child", 1.0))  # m; common practice, no source
SLACK = 0.1  # m, above and below a height of the eyes
NEGLIGIBLE = 1e-6
_MOST = 64  # boxes of one cell


def hazard_map(
    sums: Sequence[Sequence[Sequence[Light]]], x: FLOAT, y: FLOAT, heights: Sequence[tuple[str, float]] = EYES
) -> HazardMap:
    """Return the map of a scene: nowhere in a cell there is more than its ratio.

    Parameters
    ----------
    sums : sequence of groups
        Each as `lasersafe.scene.bound.bound` takes it; the highest of them counts.
    x : numpy.ndarray, shape (columns,)
        Middles of the columns. [m]
    y : numpy.ndarray, shape (rows,)
        Middles of the rows. [m]
    heights : sequence of (str, float)
        Name and height of the eyes above the floor. [m]

    Returns
    -------
    HazardMap
        ``ratio`` of shape (heights, rows, columns).
    """
    half_x, half_y = ((float(one[1] - one[0]) if one.size > 1 else 0.0) / 2.0 for one in (x, y))
    xs, ys = (part.ravel() for part in np.meshgrid(x, y))
    ratio = np.zeros((len(heights), y.size, x.size))
    half = np.array([half_x, half_y, SLACK])
    asked = []
    for _, height in heights:
        middle = np.column_stack([xs, ys, np.full(xs.size, height)])
        asked += [Question(groups, Places(middle - half, middle + half)) for groups in sums]
    for number, found in enumerate(bounds(asked, to_limit=True, most=_MOST)):
        upper, level = found.upper.reshape(y.size, x.size), number // len(sums)
        ratio[level] = np.maximum(ratio[level], np.where(upper < NEGLIGIBLE, 0.0, upper))
    return HazardMap(x, y, tuple(heights), ratio, note=Message("map.negligible", least=f"{NEGLIGIBLE:g}"))
