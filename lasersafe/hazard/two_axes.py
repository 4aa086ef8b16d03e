"""How far beams with two different axes exceed a limit: brackets on arrays, cf. `hazard.crossing` for one beam."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.distances import direct_distance_arrays
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.geometry import diameter_at

Floats = NDArray[np.float64]
Ratio = Callable[[Floats, NDArray[np.intp]], Floats]
_NARROW = 2e-14  # relative width at which a bracket is done
_STEPS = 200
_OFFSETS, _FEW_OFFSETS = 64, 24
_BLOCK = 512  # beams whose nodes are read together
_SHALLOW = 1e-9  # of the way between the waists: a point focus seen by its peak has no depth of its own
_ZOOM, _ZOOMS = 9, 5
_SUMMITS = 3  # of the places that are higher than their neighbours, how many are narrowed down


def farthest_of_two_axes(
    amount: Floats,
    limit: Floats,
    aperture: Floats,
    waist_diameter: tuple[Floats, Floats],
    divergence: tuple[Floats, Floats],
    waist_position: tuple[Floats, Floats],
    profile: str,
    propagation: str,
) -> Floats:
    """Return the farthest distance at which beams with two axes exceed a limit [1]_.

    Beyond both waists the exposure only falls, so one bracket holds the answer. Where the limit is kept there already,
    the places between the waists are read as `crossing.ends_by_search` does.

    Parameters
    ----------
    amount : numpy.ndarray, shape (...)
        Power or energy. [W or J]
    limit : numpy.ndarray, shape (...)
        Exposure limit. [W/m2 or J/m2]
    aperture : numpy.ndarray, shape (...)
        Limiting aperture. [m]
    waist_diameter : tuple of numpy.ndarray, (x, y), each of shape (...)
        Full 1/e diameters at the waists. [m]
    divergence : tuple of numpy.ndarray, (x, y), each of shape (...)
        Full 1/e angles. [rad]
    waist_position : tuple of numpy.ndarray, (x, y), each of shape (...)
        Places of the waists, from the last optic. [m]
    profile : str
        ``gaussian`` or ``top-hat``.
    propagation : str
        ``hyperbolic`` or ``linear``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the last optic, at its end where the limit is kept; 0 where it is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] Own: the mean exposure falls with each diameter, docs/method.md.
    """
    columns = np.broadcast_arrays(amount, limit, aperture, *waist_diameter, *divergence, *waist_position)
    shape = columns[0].shape
    whole, most, hole, d_x, d_y, a_x, a_y, p_x, p_y = (np.ascontiguousarray(c).reshape(-1) for c in columns)

    def ratio(place: Floats, at: NDArray[np.intp]) -> Floats:
        dx = diameter_at(d_x[at], a_x[at], p_x[at], place, propagation)
        dy = diameter_at(d_y[at], a_y[at], p_y[at], place, propagation)
        return np.asarray(mean_exposure(whole[at], dx, dy, hole[at], profile) / most[at])

    every = np.arange(whole.size)
    last_waist = np.maximum(np.maximum(p_x, p_y), 0.0)
    # A circular beam as wide as the longer axis lets less through, one as wide as the shorter axis more.
    alone = [
        direct_distance_arrays(whole, most, hole, d, a, p, profile=profile, propagation=propagation)
        for d, a, p in ((d_x, a_x, p_x), (d_y, a_y, p_y))
    ]
    near, far = np.minimum(*alone), np.maximum(*alone) * (1.0 + 1e-12)
    sure = near > last_waist
    over = sure.copy()
    rest = np.flatnonzero(~sure)
    near[rest] = last_waist[rest]
    over[rest] = ratio(last_waist[rest], rest) > 1.0
    depth = np.maximum(np.maximum(d_x, hole) / a_x, np.maximum(d_y, hole) / a_y)
    found = np.zeros(whole.size)
    found[over] = last_fall(ratio, near[over], far[over], (depth - last_waist)[over], every[over])
    between = np.flatnonzero(~over & (p_x != p_y) & (np.maximum(p_x, p_y) > 0.0))
    for start in range(0, between.size, _BLOCK):
        at = between[start : start + _BLOCK]
        found[at] = _between_waists(ratio, at, d_x[at], d_y[at], hole[at], (a_x[at], a_y[at]), (p_x[at], p_y[at]))
    return found.reshape(shape)


def last_fall(ratio: Ratio, above: Floats, below: Floats, offset: Floats, at: NDArray[np.intp]) -> Floats:
    """Narrow brackets in which a ratio falls through 1, by the rule of false position with halving.

    The ratio is read on logarithmic scales, places with an *offset* added: far out it is a straight line there. An end
    that has stayed twice counts half, so that both ends close in.

    Parameters
    ----------
    ratio : callable
        Takes places [m] and the number of the case of each, both of shape (n,), returns the ratios there.
    above, below : numpy.ndarray, shape (n,)
        An end where the ratio is above 1, and one where it is not. [m]
    offset : numpy.ndarray, shape (n,)
        Added to a place before its logarithm is taken. [m]
    at : numpy.ndarray, shape (n,)
        Number of the case of each bracket. [1]

    Returns
    -------
    numpy.ndarray, shape (n,)
        The end where the ratio is not above 1. [m]

    Raises
    ------
    OutOfRangeError
        If the ratio is above 1 at the far end.
    """
    if not at.size:
        return below
    rows = np.arange(at.size)
    with np.errstate(divide="ignore"):
        high, low = np.log(ratio(above, at)), np.log(ratio(below, at))
    if (low > 0.0).any():
        message = f"distance: the limit is still exceeded at {below[low > 0.0][0]:.6g} m; correct the beam or the limit"
        raise OutOfRangeError(message)
    below = np.where(high > 0.0, below, above)  # the bracket was exact
    result = below.copy()
    kept = np.zeros(at.size)
    for step in range(_STEPS):
        with np.errstate(invalid="ignore", divide="ignore"):
            part = high / (high - low)
        part = np.where(np.isfinite(part) & (step % 8 != 7), part, 0.5)
        start, end = above + offset, below + offset
        with np.errstate(invalid="ignore", divide="ignore"):  # an end at the last optic, no offset: halved below
            place = start * (end / start) ** np.clip(part, 0.0, 1.0) - offset
        middle = 0.5 * (above + below)
        place = np.where((place > above) & (place < below), place, middle)
        place = np.clip(place, above + 0.25 * _NARROW * above, np.maximum(below - 0.25 * _NARROW * below, above))
        place = np.where((place > above) & (place < below), place, middle)
        with np.errstate(divide="ignore"):
            value = np.log(ratio(place, at))
        over = value > 0.0
        low = np.where(over & (kept > 0.0), low * 0.5, low)
        high = np.where(~over & (kept < 0.0), high * 0.5, high)
        kept = np.where(over, 1.0, -1.0)
        above, high = np.where(over, place, above), np.where(over, value, high)
        below, low = np.where(over, below, place), np.where(over, low, value)
        middle = 0.5 * (above + below)
        done = (below - above <= _NARROW * below) | (middle <= above) | (middle >= below)
        result[rows[done]] = below[done]
        if done.all():
            return result
        more = ~done
        above, below, offset, high, low, kept = (part[more] for part in (above, below, offset, high, low, kept))
        at, rows = at[more], rows[more]
    result[rows] = below
    return result


def narrowest(
    aperture: Floats,
    waist_diameter: tuple[Floats, Floats],
    divergence: tuple[Floats, Floats],
    waist_position: tuple[Floats, Floats],
    start: Floats,
    end: Floats,
    profile: str,
    propagation: str,
) -> Floats:
    """Return the place between two ends at which most of a beam with two axes comes through an aperture [1]_.

    It need not be where the beam covers least: an aperture that takes in one axis whole asks for the other one.

    Parameters
    ----------
    aperture : numpy.ndarray, shape (...)
        Diameter of the aperture; 0 for the peak of the beam. [m]
    waist_diameter : tuple of numpy.ndarray, (x, y), each of shape (...)
        Full 1/e diameters at the waists. [m]
    divergence : tuple of numpy.ndarray, (x, y), each of shape (...)
        Full 1/e angles. [rad]
    waist_position : tuple of numpy.ndarray, (x, y), each of shape (...)
        Places of the waists, from the last optic. [m]
    start, end : numpy.ndarray, shape (...)
        Ends of the search. [m]
    profile : str
        ``gaussian`` or ``top-hat``.
    propagation : str
        ``hyperbolic`` or ``linear``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the last optic. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] Own: read at places dense around both waists, the best narrowed down.
    """
    columns = np.broadcast_arrays(aperture, *waist_diameter, *divergence, *waist_position, start, end)
    shape = columns[0].shape
    hole, d_x, d_y, a_x, a_y, p_x, p_y, near, far = (np.ascontiguousarray(c).reshape(-1) for c in columns)
    best = near.copy()
    rows = np.flatnonzero(far > near)
    for first in range(0, rows.size, _BLOCK):
        at = rows[first : first + _BLOCK]
        beams = tuple(column[at] for column in (hole, d_x, d_y, a_x, a_y, p_x, p_y))
        ends = near[at], far[at]
        nodes = _nodes(*ends, (d_x[at], d_y[at]), hole[at], (a_x[at], a_y[at]), (p_x[at], p_y[at]), _FEW_OFFSETS)
        value = _concentration(beams, nodes, profile, propagation)
        edge = np.full((1, at.size), -np.inf)
        top = (value >= np.vstack([edge, value[:-1]])) & (value >= np.vstack([value[1:], edge]))
        highest = np.argsort(np.where(top, value, -np.inf), axis=0)[-_SUMMITS:]
        low, high = np.maximum(highest - 1, 0), np.minimum(highest + 1, nodes.shape[0] - 1)
        nodes = np.linspace(np.take_along_axis(nodes, low, 0), np.take_along_axis(nodes, high, 0), _ZOOM)
        for _ in range(_ZOOMS):
            value = _concentration(beams, nodes, profile, propagation)
            top = np.argmax(value, axis=0)[np.newaxis]
            found, height = np.take_along_axis(nodes, top, 0)[0], np.take_along_axis(value, top, 0)[0]
            low, high = np.maximum(top - 1, 0), np.minimum(top + 1, _ZOOM - 1)
            nodes = np.linspace(np.take_along_axis(nodes, low, 0)[0], np.take_along_axis(nodes, high, 0)[0], _ZOOM)
        best[at] = found[np.argmax(height, axis=0), np.arange(at.size)]
    return best.reshape(shape)


def _concentration(beams: tuple[Floats, ...], place: Floats, profile: str, propagation: str) -> Floats:
    """Return how much of a beam comes through an aperture at places, or a number that rises with its peak."""
    hole, d_x, d_y, a_x, a_y, p_x, p_y = beams
    dx, dy = diameter_at(d_x, a_x, p_x, place, propagation), diameter_at(d_y, a_y, p_y, place, propagation)
    peak = hole == 0.0
    return np.where(peak, -dx * dy, mean_exposure(1.0, dx, dy, np.where(peak, 1.0, hole), profile))


def _nodes(
    start: Floats,
    end: Floats,
    waist_diameter: tuple[Floats, Floats],
    hole: Floats,
    divergence: tuple[Floats, Floats],
    position: tuple[Floats, Floats],
    count: int = _OFFSETS,
) -> Floats:
    """Return ascending places between two ends, dense around both waists; of shape (places, beams)."""
    apart = np.abs(position[0] - position[1])
    places = [start[np.newaxis], end[np.newaxis]]
    for waist, own_angle, own_place in zip(waist_diameter, divergence, position, strict=True):
        depth = np.maximum(np.maximum(waist, hole) / own_angle, apart * _SHALLOW)
        offsets = np.geomspace(depth / 16.0, 2.0 * (apart + depth), count)
        places += [own_place - offsets, own_place + offsets]
    every = np.concatenate(places)
    even = start + (end - start) * np.linspace(0.0, 1.0, every.shape[0])[:, np.newaxis]  # what lies outside is spread
    return np.sort(np.where((every < start) | (every > end), even, every), axis=0)


def _between_waists(
    ratio: Ratio,
    at: NDArray[np.intp],
    waist_x: Floats,
    waist_y: Floats,
    hole: Floats,
    angle: tuple[Floats, Floats],
    position: tuple[Floats, Floats],
) -> Floats:
    """Return the last place between two waists where the limit is exceeded, read at places dense around both."""
    nodes = _nodes(
        np.maximum(np.minimum(*position), 0.0), np.maximum(*position), (waist_x, waist_y), hole, angle, position
    )
    columns = np.broadcast_to(at, nodes.shape)
    over = ratio(nodes.reshape(-1), columns.reshape(-1)).reshape(nodes.shape) > 1.0
    any_over = over.any(axis=0)
    last = nodes.shape[0] - 1 - np.argmax(over[::-1], axis=0)
    rows = np.arange(at.size)
    found = np.zeros(at.size)
    where = np.flatnonzero(any_over)
    last = np.minimum(last, nodes.shape[0] - 2)
    found[where] = last_fall(
        ratio, nodes[last, rows][where], nodes[last + 1, rows][where], np.zeros(where.size), at[where]
    )
    return found
