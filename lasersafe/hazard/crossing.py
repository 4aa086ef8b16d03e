"""Find where a ratio of exposure to limit falls through 1 for the last time, by bracket and bisection on arrays."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.checks import FloatArray, positive, unique, within
from lasersafe.optics.geometry import BeamGeometry, diameters

_BISECTIONS = 200  # at most; a bracket stops earlier, when its ends are neighbours
_GRID = 400
_SECTIONS = 64
_SEARCHABLE = (1e-30, 1e30)  # where no intermediate of the search can overflow


def bisect(ratio: Callable[[FloatArray], FloatArray], above: FloatArray, below: FloatArray) -> FloatArray:
    """Narrow brackets until their ends are neighbouring numbers.

    Parameters
    ----------
    ratio : callable
        Takes distances of shape (...) [m], returns the ratios of exposure to limit there.
    above, below : numpy.ndarray, shape (...)
        An end where the ratio is above 1, and one where it is not. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        The end where the ratio is not above 1. [m]
    """
    for _ in range(_BISECTIONS):
        middle = 0.5 * (above + below)
        if not ((middle != above) & (middle != below)).any():
            break
        over = ratio(middle) > 1.0
        above, below = np.where(over, middle, above), np.where(over, below, middle)
    return below


def narrow(
    ratios: Callable[[FloatArray], FloatArray], above: FloatArray, below: FloatArray, sections: int = _SECTIONS
) -> FloatArray:
    """Do as `bisect`, in sections instead of halves, where one call for many places costs little more than for one.

    Parameters
    ----------
    ratios : callable
        Takes distances of shape (sections + 1, n) [m], returns the ratios of exposure to limit there.
    above, below : numpy.ndarray, shape (n,)
        An end where the ratio is above 1, and one where it is not. [m]
    sections : int
        Parts into which a bracket is divided in each step.

    Returns
    -------
    numpy.ndarray, shape (n,)
        The end where the ratio is not above 1. [m]
    """
    fractions = np.linspace(0.0, 1.0, sections + 1)[:, np.newaxis]
    columns = np.arange(above.size)
    for _ in range(_BISECTIONS):
        places = above + (below - above) * fractions
        places[0], places[-1] = above, below
        over = ratios(places) > 1.0
        over[0], over[-1] = True, False
        step = sections - np.argmax(over[::-1], axis=0)
        nearer, farther = places[step, columns], places[step + 1, columns]
        if ((nearer == above) & (farther == below)).all():
            break
        above, below = nearer, farther
    return bisect(lambda z: ratios(z[np.newaxis])[0], above, below)


def farthest_crossing(
    ratio_function: Callable[[FloatArray], FloatArray], near: ArrayLike, far: ArrayLike, *, points: int = _GRID
) -> FloatArray:
    """Return the farthest distance at which a ratio of exposure to limit is above 1.

    The ratio may go up and down: it is read on a logarithmic grid, then the last step down is bisected.

    Parameters
    ----------
    ratio_function : callable
        Takes distances of shape (k, ...) [m], returns the ratios there, of a shape that broadcasts to it.
    near, far : array_like, shape (...)
        Ends of the search, 0 < near < far; the ratio must be at most 1 at *far*. [m]
    points : int
        Places on the grid. A rise that is narrower than a step, (far / near)^(1 / points), can be missed. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Upper end of the last bracket, so the ratio there is at most 1; 0 where no place of the grid exceeds. [m]

    Raises
    ------
    OutOfRangeError
        If an end cannot be used, a ratio is NaN or negative, or the ratio is still above 1 at *far*.
    """
    first, last = np.broadcast_arrays(positive("near", near, "m"), positive("far", far, "m"))
    if not (first < last).all():
        message = "near must be below far; correct the ends of the search"
        raise OutOfRangeError(message)
    shape = first.shape
    first, last = first.reshape(-1), last.reshape(-1)

    def ratios(distance: FloatArray) -> FloatArray:
        found = ratio_function(distance.reshape(-1, *shape))
        values = np.broadcast_to(np.asarray(found, dtype=np.float64), (distance.shape[0], *shape))
        if not (values >= 0.0).all():
            message = "ratio of exposure to limit is not a number or negative; correct the exposure or the limit"
            raise OutOfRangeError(message)
        return values.reshape(distance.shape)

    grid = np.geomspace(first, last, points)
    grid[0], grid[-1] = first, last
    over = ratios(grid) > 1.0
    if over[-1].any():
        message = f"distance: the limit is still exceeded at {last[over[-1]][0]:.6g} m, the end of the search"
        raise OutOfRangeError(message)
    any_over = over.any(axis=0)
    step = np.where(any_over, points - 1 - np.argmax(over[::-1], axis=0), 0)
    columns = np.arange(first.size)
    above, below = grid[step, columns], grid[np.minimum(step + 1, points - 1), columns]
    crossing = narrow(ratios, above, below)
    return np.asarray(np.where(any_over, crossing, 0.0).reshape(shape))


def last_place(ratio_function: Callable[[FloatArray], FloatArray], near: float, far: float) -> float:
    """Return where a ratio that only falls with the distance is above 1 for the last time.

    Parameters
    ----------
    ratio_function : callable
        Takes distances of shape (k,) [m], returns the ratios there.
    near, far : float
        Ends of the search. [m]

    Returns
    -------
    float
        Upper end of the last bracket; 0 where the ratio is not above 1 at *near*. [m]

    Raises
    ------
    OutOfRangeError
        If the ratio is NaN, or still above 1 at *far*.
    """
    return float(farthest_crossing(ratio_function, near, far, points=_SECTIONS))


def _ratio_along(
    amount: float, limit: float, aperture: float, beam: BeamGeometry
) -> Callable[[FloatArray], FloatArray]:
    def ratio(distance: FloatArray) -> FloatArray:
        dx, dy = diameters(beam, distance)
        return np.asarray(mean_exposure(amount, dx, dy, aperture, beam.profile) / limit)

    return ratio


def _nodes(amount: float, limit: float, aperture: float, beam: BeamGeometry) -> FloatArray:
    """Return ascending places from 0 to where the limit is kept for good, dense around both waists."""
    angles = beam.divergence[0] * beam.divergence[1]
    far = max(0.0, *beam.waist_position) + math.sqrt(4.0 * amount / (math.pi * limit * angles))
    far *= 1.0 + 1e-9
    places = [np.array([0.0, far])]
    apart = abs(beam.waist_position[0] - beam.waist_position[1])
    for waist, angle, position in zip(beam.waist_diameter, beam.divergence, beam.waist_position, strict=True):
        places.append(np.array([position]))
        if apart > 0.0:
            depth = max(waist, aperture) / angle
            offsets = np.geomspace(depth / 16.0, 2.0 * (apart + depth), 64)
            places += [position - offsets, position + offsets]
    nodes = unique(np.concatenate(places))
    return np.asarray(nodes[(nodes >= 0.0) & (nodes <= far)])


def ends_by_search(amount: float, limit: float, aperture: float, beam: BeamGeometry) -> tuple[float, float]:
    """Return the nearest and the farthest place where a beam of any kind exceeds a limit.

    The exposure is read at places that are dense around both waists; the first and the last step are bisected.

    Parameters
    ----------
    amount : float
        Power or energy of the beam. [W or J]
    limit : float
        Exposure limit. [W/m2 or J/m2]
    aperture : float
        Diameter of the limiting aperture. [m]
    beam : BeamGeometry
        The beam. [1]

    Returns
    -------
    tuple of float
        Distances from the last optic; (0.0, 0.0) where the limit is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number is not within 1e-30 to 1e30, or the search does not end.
    """
    within("amount", amount, "W or J", *_SEARCHABLE)
    within("limit", limit, "W/m2 or J/m2", *_SEARCHABLE)
    within("aperture", aperture, "m", *_SEARCHABLE)
    ratio = _ratio_along(amount, limit, aperture, beam)
    nodes = _nodes(amount, limit, aperture, beam)
    over = np.flatnonzero(ratio(nodes) > 1.0)
    if over.size == 0:
        return 0.0, 0.0
    first, last = int(over[0]), int(over[-1])
    if last == nodes.size - 1:
        message = f"distance: the limit is still exceeded at {nodes[-1]:.6g} m; correct the beam or the limit"
        raise OutOfRangeError(message)
    near = 0.0 if first == 0 else float(narrow(ratio, nodes[first : first + 1], nodes[first - 1 : first])[0])
    return near, float(narrow(ratio, nodes[last : last + 1], nodes[last + 1 : last + 2])[0])
