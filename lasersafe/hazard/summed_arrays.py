"""How far the sum of the fractions of several wavelengths is above 1: of one case or of many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.comparisons import Comparison, Floats, strictest_by_aperture
from lasersafe.hazard.two_axes import last_fall
from lasersafe.hazard.variation import Beams, farthest, highest_ratio

Places = NDArray[np.intp]
_NEAREST = 1e-3  # m


class Member(NamedTuple):
    """One wavelength of a sum: its comparisons in the group, and its beams."""

    compared: list[Comparison]
    beams: Beams


def _taken(values: Floats, at: Places) -> Floats:
    return values if values.ndim == 0 else values[at]


def _total(members: Sequence[Member], factor: Floats, place: Floats, at: Places) -> Floats:
    """Return the sum of the highest fraction that each wavelength has at or beyond its place: it only falls."""
    total = np.zeros(place.shape)
    for compared, beams in members:
        own = [
            replace(c, amount=_taken(c.amount, at), limit=_taken(c.limit, at), aperture=_taken(c.aperture, at))
            for c in compared
        ]
        total = total + highest_ratio(own, beams.taken(at), place, _taken(factor, at))
    return total


def summed_farthest(members: Sequence[Member], factor: ArrayLike, size: int) -> Floats:
    """Return how far the sum of one group is above 1; of a single wavelength, its own distance.

    Parameters
    ----------
    members : sequence of Member
        The wavelengths that add.
    factor : array_like, shape () or (size,)
        Reflectance on the way. [1]
    size : int
        Number of cases; all arrays have this length or are single numbers.

    Returns
    -------
    numpy.ndarray, shape (size,)
        Distance from the last optic. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.
    """
    times = np.asarray(factor, dtype=np.float64)
    groups = [Member(strictest_by_aperture(compared), beams) for compared, beams in members]
    single, far = np.zeros(size), np.zeros(size)
    for compared, beams in groups:
        shared = [
            Comparison(c.rule_set, c.hazard, c.rule, c.amount, np.asarray(c.limit / len(groups)), c.aperture)
            for c in compared
        ]
        single = np.maximum(single, farthest(compared, beams, times))
        far = np.maximum(far, farthest(shared, beams, times))  # beyond it no fraction is above 1 / n
    found = single.copy()
    every = np.flatnonzero(far > single)
    if len(groups) == 1 or not every.size:
        return found

    def ratio(place: Floats, at: Places) -> Floats:
        return _total(groups, times, place, at)

    near = np.maximum(single, _NEAREST)[every]
    end = np.maximum(far[every], near) * (1.0 + 1e-9) + 1e-9
    above = ratio(near, every) > 1.0
    at = every[above]
    found[at] = np.maximum(single[at], last_fall(ratio, near[above], end[above], np.zeros(at.size), at))
    return found
