"""Solve backwards: up to which value of an input something stays within a target."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.optics.checks import unique

Floats = NDArray[np.float64]
GRID = 1025
_SECTIONS = 64
_ROUNDS = 60
_BESIDE = 1e-9


class Solution(NamedTuple):
    """How far an input may go.

    Parameters
    ----------
    value : float or None
        The last value up to which, from its end of the range, every value that was tried keeps the target; None where
        already that end does not.
    every : bool
        Whether the whole range keeps it; ``value`` is then the other end.
    reached : float
        What the function gives at ``value``; of no value, at the end of the range.
    """

    value: float | None
    every: bool
    reached: float


def solved_input(
    evaluate: Callable[[Floats], Floats],
    low: float,
    high: float,
    target: float,
    critical: Sequence[float] = (),
    *,
    largest: bool,
    points: int = GRID,
    sections: int = _SECTIONS,
    close: float = 0.0,
) -> Solution:
    """Return how far an input may go so that it keeps a target, as does every value on the cautious side of it.

    The function may go up and down: the range is scanned on a grid and at the critical places, and the first step above
    the target is narrowed down to neighbouring numbers, of which the one that keeps the target is returned.

    Parameters
    ----------
    evaluate : callable
        Takes an array of values of the input, returns an array.
    low, high : float
        The range that is allowed. [any]
    target : float
        What must not be exceeded. [any]
    critical : sequence of float
        Places where the function may jump or turn; both their sides are tried. [any]
    largest : bool
        Whether the largest value is asked for, such that it and every smaller one keep the target; else the smallest,
        such that it and every larger one do.
    points, sections : int
        Values that are tried over the range, and parts into which each step towards the crossing divides what is left:
        fewer for a function that takes long.
    close : float
        How near to the crossing is near enough, as a part of the value. [1]

    Returns
    -------
    Solution
        On the cautious side of the crossing.

    Raises
    ------
    InputError
        If the range or the target cannot be used, or the function is not a number somewhere.
    """
    if not (np.isfinite([low, high, target]).all() and low < high):
        message = f"range = {low:.6g} to {high:.6g}, target = {target:.6g}: write finite numbers, the lower end first"
        raise InputError(message)

    def values(places: Floats) -> Floats:
        found = np.broadcast_to(np.asarray(evaluate(places), dtype=np.float64), places.shape)
        if np.isnan(found).any():
            message = "the function is not a number somewhere in the range; give a narrower range"
            raise InputError(message)
        return found

    grid = np.geomspace(low, high, points) if low > 0.0 else np.linspace(low, high, points)
    grid[0], grid[-1] = low, high
    beside = [c * f for c in critical for f in (1.0 - _BESIDE, 1.0, 1.0 + _BESIDE)]
    grid = unique(np.concatenate([grid, [c for c in beside if low < c < high]]))
    grid = grid if largest else grid[::-1]
    found = values(grid)
    kept = found <= target
    if kept.all():
        return Solution(float(grid[-1]), True, float(found[-1]))
    if not kept[0]:
        return Solution(None, False, float(found[0]))
    first = int(np.argmin(kept))
    inner, outer, reached = float(grid[first - 1]), float(grid[first]), float(found[first - 1])
    for _ in range(_ROUNDS):
        places = np.linspace(inner, outer, sections + 1)
        places[0], places[-1] = inner, outer
        found = values(places)
        kept = found <= target
        kept[0], kept[-1] = True, False
        first = int(np.argmin(kept))
        if (places[first - 1], places[first]) == (inner, outer):
            break
        inner, outer, reached = float(places[first - 1]), float(places[first]), float(found[first - 1])
        if abs(outer - inner) <= close * abs(inner):
            break
    return Solution(inner, False, reached)
