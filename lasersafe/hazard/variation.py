"""How far beams reach and what they expose, as arrays that broadcast together: one case or a million.

The same closed forms as `hazard.distances`: with single numbers they give what those give.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.comparisons import Comparison, Floats, strictest_by_aperture
from lasersafe.hazard.distances import direct_distance_arrays
from lasersafe.hazard.two_axes import farthest_of_two_axes, narrowest
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.geometry import BeamGeometry, diameter_at

Axes = tuple[Floats, Floats]
_SLACK = 1.0 + 1e-9


@dataclass(frozen=True)
class Beams:
    """Beams as arrays; each pair holds the axes x and y, twice the same array where the beams are circular.

    Parameters
    ----------
    waist_diameter : tuple of numpy.ndarray
        Full 1/e diameter at the waist. [m]
    divergence : tuple of numpy.ndarray
        Full 1/e angle far from the waist. [rad]
    waist_position : tuple of numpy.ndarray
        From the last optic. [m]
    profile, propagation : str
        As in `optics.geometry.BeamGeometry`.
    """

    waist_diameter: Axes
    divergence: Axes
    waist_position: Axes
    profile: str = "gaussian"
    propagation: str = "hyperbolic"

    @staticmethod
    def of(beam: BeamGeometry) -> Beams:
        """Return one beam."""
        pairs = (beam.waist_diameter, beam.divergence, beam.waist_position)
        waist, angle, place = ((np.asarray(x), np.asarray(y)) for x, y in pairs)
        return Beams(waist, angle, place, beam.profile, beam.propagation)

    @property
    def circular(self) -> bool:
        """Whether both axes are alike in every case."""
        pairs = (self.waist_diameter, self.divergence, self.waist_position)
        return all(x is y or np.array_equal(x, y) for x, y in pairs)

    @property
    def as_circular(self) -> tuple[Beams, Beams]:
        """Circular beams as wide as each of the axes."""
        first, second = (
            replace(
                self,
                waist_diameter=(self.waist_diameter[i],) * 2,
                divergence=(self.divergence[i],) * 2,
                waist_position=(self.waist_position[i],) * 2,
            )
            for i in (0, 1)
        )
        return first, second

    def taken(self, at: NDArray[np.intp]) -> Beams:
        """Return some of the beams; what is a single number stays one."""

        def some(pair: Axes) -> Axes:
            first = pair[0] if pair[0].ndim == 0 else pair[0][at]
            return first, first if pair[1] is pair[0] else (pair[1] if pair[1].ndim == 0 else pair[1][at])

        pairs = (some(self.waist_diameter), some(self.divergence), some(self.waist_position))
        return Beams(*pairs, self.profile, self.propagation)

    def diameters(self, place: Floats) -> Axes:
        """Return both 1/e diameters at places [m]."""
        x, y = (
            diameter_at(self.waist_diameter[i], self.divergence[i], self.waist_position[i], place, self.propagation)
            for i in ((0, 0) if self.circular else (0, 1))
        )
        return x, y


def _scaled(amount: Floats, factor: ArrayLike) -> Floats:
    return amount if np.ndim(factor) == 0 and factor == 1.0 else np.asarray(amount * np.asarray(factor))


def farthest(compared: Iterable[Comparison], beams: Beams, factor: ArrayLike = 1.0) -> Floats:
    """Return how far beams exceed any of their limits: the farthest place, 0 where no place does.

    Parameters
    ----------
    compared : iterable of Comparison
        At least one.
    beams : Beams
        The beams.
    factor : array_like, shape (...)
        Reflectance on the way. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the last optic. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.
    """
    every = [(one, _scaled(one.amount, factor)) for one in strictest_by_aperture(compared)]
    if beams.circular or len(every) == 1:
        return reduce(np.maximum, (_reach(amount, one, beams) for one, amount in every))
    # A circular beam as wide as the shorter axis reaches farther: where it adds nothing, nothing is searched.
    bounds = [np.maximum(*(_reach(amount, one, alone) for alone in beams.as_circular)) for one, amount in every]
    distance: Floats | None = None
    for number in sorted(range(len(every)), key=lambda n: -float(np.max(bounds[n]))):
        if distance is None or not (bounds[number] * _SLACK <= distance).all():
            own = _reach(every[number][1], every[number][0], beams)
            distance = own if distance is None else np.maximum(distance, own)
    assert distance is not None
    return np.asarray(
        np.broadcast_to(distance, np.broadcast_shapes(*(bound.shape for bound in bounds), distance.shape))
    )


def _reach(amount: Floats, one: Comparison, beams: Beams) -> Floats:
    applies = np.isfinite(one.limit)
    limit = one.limit if applies.all() else np.where(applies, one.limit, 1.0)
    if not (amount > 0.0).all():  # a reflectance of 0
        applies, amount = applies & (amount > 0.0), np.where(amount > 0.0, amount, 1.0)
    if beams.circular:
        found = direct_distance_arrays(
            amount, limit, one.aperture, beams.waist_diameter[0], beams.divergence[0], beams.waist_position[0],
            profile=beams.profile, propagation=beams.propagation,
        )  # fmt: skip
    else:
        found = farthest_of_two_axes(
            amount, limit, one.aperture, beams.waist_diameter, beams.divergence, beams.waist_position, beams.profile,
            beams.propagation,
        )  # fmt: skip
    return found if applies.all() else np.where(applies, found, 0.0)


def highest_ratio(compared: Iterable[Comparison], beams: Beams, distance: ArrayLike, factor: ArrayLike = 1.0) -> Floats:
    """Return exposure over limit, the worst comparison at the worst place at or beyond a distance.

    Parameters
    ----------
    compared : iterable of Comparison
        At least one.
    beams : Beams
        The beams.
    distance : array_like, shape (...)
        From the last optic. [m]
    factor : array_like, shape (...)
        Reflectance on the way. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit. [1]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.
    """
    groups = strictest_by_aperture(compared)
    highest: Floats | None = None
    for one in groups:
        for place in worst_places(beams, np.asarray(distance, dtype=np.float64), one.aperture):
            dx, dy = beams.diameters(place)
            mean = mean_exposure(_scaled(one.amount, factor), dx, dy, one.aperture, beams.profile)
            ratio = np.asarray(mean / one.limit)
            highest = ratio if highest is None else np.maximum(highest, ratio)
    assert highest is not None
    return highest


def worst_places(beams: Beams, distance: Floats, aperture: Floats) -> list[Floats]:
    """Return places at or beyond distances, at one of which most comes through, as `zones.worst_place` does.

    Parameters
    ----------
    beams : Beams
        The beams.
    distance : numpy.ndarray, shape (...)
        From the last optic. [m]
    aperture : numpy.ndarray, shape (...)
        What is averaged over. [m]

    Returns
    -------
    list of numpy.ndarray
        Places. [m]
    """
    if beams.circular:
        return [np.maximum(distance, beams.waist_position[0])]
    low, high = np.minimum(*beams.waist_position), np.maximum(*beams.waist_position)
    start, end = np.maximum(low, distance), np.maximum(high, distance)
    axes = (beams.waist_diameter, beams.divergence, beams.waist_position)
    between = narrowest(aperture, *axes, start, end, beams.profile, beams.propagation)
    return [np.asarray(distance), start, end, between]


def waist_before(width: Floats, angle: Floats, away: Floats, propagation: str) -> Floats:
    """Return the waist of beams from their diameter at a distance from it; NaN where the angle alone is wider.

    Parameters
    ----------
    width : numpy.ndarray, shape (...)
        Full diameter. [m]
    angle : numpy.ndarray, shape (...)
        Full angle. [rad]
    away : numpy.ndarray, shape (...)
        Distance from the waist. [m]
    propagation : str
        ``hyperbolic`` or ``linear``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Diameter at the waist. [m]
    """
    spread = angle * np.abs(away)
    rest = width - spread
    possible = rest > 0.0
    room = np.where(possible, rest, math.nan)
    return np.sqrt(room * (width + spread)) if propagation == "hyperbolic" else room
