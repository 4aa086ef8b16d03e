"""How far the sum of the fractions of several wavelengths is above 1, for many cases: cf. `hazard.combine` for one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.comparisons import Comparison, Floats, strictest_by_aperture
from lasersafe.hazard.two_axes import last_fall
from lasersafe.hazard.variation import Beams, farthest
from lasersafe.optics.aperture import mean_exposure

Places = NDArray[np.intp]
_NEAREST = 1e-3  # m
_NODES = 400
_BLOCK = 1024


class Member(NamedTuple):
    """One wavelength of a sum: its comparisons in the group, and its beams."""

    compared: list[Comparison]
    beams: Beams


def _taken(values: Floats, at: Places) -> Floats:
    return values if values.ndim == 0 else values[at]


def _total(members: Sequence[Member], factor: Floats, place: Floats, at: Places) -> Floats:
    total = np.zeros(place.shape)
    for compared, beams in members:
        own = beams.taken(at)
        dx, dy = own.diameters(place)
        worst = np.zeros(place.shape)
        for one in compared:
            amount = _taken(one.amount, at) * _taken(factor, at)
            mean = mean_exposure(amount, dx, dy, _taken(one.aperture, at), own.profile)
            worst = np.maximum(worst, mean / _taken(one.limit, at))
        total = total + worst
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
    single, far, last_waist = np.zeros(size), np.zeros(size), np.full(size, _NEAREST)
    for compared, beams in groups:
        shared = [
            Comparison(c.rule_set, c.hazard, c.rule, c.amount, np.asarray(c.limit / len(groups)), c.aperture)
            for c in compared
        ]
        single = np.maximum(single, farthest(compared, beams, times))
        far = np.maximum(far, farthest(shared, beams, times))  # beyond it no fraction is above 1 / n
        last_waist = np.maximum(last_waist, np.maximum(*beams.waist_position))
    found = single.copy()
    every = np.flatnonzero(far > single)
    if len(groups) == 1 or not every.size:
        return found

    def ratio(place: Floats, at: Places) -> Floats:
        return _total(groups, times, place, at)

    near = np.maximum(single, _NEAREST)[every]
    end = np.maximum(far[every], near) * (1.0 + 1e-9) + 1e-9
    start = np.clip(last_waist[every], near, end)
    beyond = ratio(start, every) > 1.0  # from the last waist on all fractions fall
    at = every[beyond]
    found[at] = np.maximum(single[at], last_fall(ratio, start[beyond], end[beyond], np.zeros(at.size), at))
    rest = np.flatnonzero(~beyond & (start > near))
    for first in range(0, rest.size, _BLOCK):
        part = rest[first : first + _BLOCK]
        nodes = np.geomspace(near[part], start[part], _NODES)
        nodes[0], nodes[-1] = near[part], start[part]
        columns = np.broadcast_to(every[part], nodes.shape)
        over = ratio(nodes.reshape(-1), columns.reshape(-1)).reshape(nodes.shape) > 1.0
        number = np.flatnonzero(over.any(axis=0))
        last = (_NODES - 1 - np.argmax(over[::-1], axis=0))[number]
        own = every[part][number]
        fall = last_fall(ratio, nodes[last, number], nodes[last + 1, number], np.zeros(own.size), own)
        found[own] = np.maximum(single[own], fall)
    return found
