"""How far light exceeds a limit: at a place, at its worst place, and the farthest place of all comparisons.

Circular beams have a closed form; of beams with two axes, and of any other ratio, one search finds the last place
at which it falls to 1, for one case or for many.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.hazard.exposure import ALPHA_MIN, Comparison, Floats, Received, compare, criteria, strictest_by_aperture
from lasersafe.hazard.instruments import Aid, through
from lasersafe.optics.beam import BeamGeometry, FloatArray, diameters, finite, mean_exposure, positive, within
from lasersafe.optics.reflection import scatter_intensity
from lasersafe.optics.viewing import transmitted
from lasersafe.records import Criterion, Zone, badness

Places = NDArray[np.intp]
Ratio = Callable[[Floats, Places], Floats]  # places [m] and the number of the case of each, both of shape (n,)
_NARROW = 2e-14  # relative width at which a bracket is done
_STEPS = 200
_GRID = 400
_SECTIONS = 32


def farthest_crossing(
    ratio: Callable[[Floats], Floats], near: float, far: float, *, points: int = _GRID, also: ArrayLike = ()
) -> float:
    """Return the farthest place at which one ratio falls through 1, the worst of a logarithmic grid narrowed down.

    Parameters
    ----------
    ratio : callable
        Takes places of shape (n,) [m], returns ratios of the same shape.
    near, far : float
        Ends of the search. [m]
    points : int
        Places of the grid.
    also : array_like, shape (m,)
        Places beside them at which the ratio can jump up. [m]

    Returns
    -------
    float
        0 where no place of the grid is above 1. [m]

    Raises
    ------
    OutOfRangeError
        If a ratio is no number, or the ratio is above 1 at the far end.
    """
    nodes = np.clip(np.sort(np.append(np.geomspace(near, far, points), also)), near, far)
    over = _over(np.asarray(ratio(nodes)), nodes)
    return last_kept(lambda place: np.asarray(ratio(place)) > 1.0, nodes, over) if over.any() else 0.0


def last_kept(
    above: Callable[[Floats], NDArray[np.bool_]], nodes: Floats, over: NDArray[np.bool_], sections: int = _SECTIONS,
    narrow: float = _NARROW,
) -> float:  # fmt: skip
    """Return the place from which on nothing is above to the end of the nodes, narrowed down between two of them.

    A call costs more than a place: many places are tried at once.

    Parameters
    ----------
    above : callable
        Takes places of shape (n,), returns where something is above. [any]
    nodes : numpy.ndarray, shape (k,)
        Places, rising or falling. [any]
    over : numpy.ndarray of bool, shape (k,)
        Where it is above at these: somewhere, but not at the last.
    sections : int
        Parts into which what is left is divided each time.
    narrow : float
        Relative width at which this ends, 0: with neighbouring numbers. [1]

    Returns
    -------
    float
        The side that is not above. [any]
    """
    while True:
        near, end = nodes[np.flatnonzero(over)[-1] + np.arange(2)].tolist()
        if abs(end - near) <= narrow * abs(end) or 0.5 * (near + end) in (near, end):
            return float(end)
        nodes = np.linspace(near, end, sections + 1)
        nodes[-1] = end
        over = np.concatenate([[True], above(nodes[1:-1]), [False]])


def _over(values: Floats, nodes: Floats) -> NDArray[np.bool_]:
    """Return where ratios are above 1; refuse what is no number, and a last node where they are."""
    if not (values >= 0.0).all():
        refuse(
            "ratio of exposure to limit is not a number or negative; correct the exposure or the limit", OutOfRangeError
        )
    over = values > 1.0
    if over[-1].any():
        place = float(np.atleast_1d(nodes[-1])[np.atleast_1d(over[-1])][0])
        refuse(f"distance: the limit is still exceeded at {place:.6g} m, the end of the search", OutOfRangeError)
    return np.asarray(over)


def last_crossing(ratio: Ratio, nodes: Floats, at: Places) -> Floats:
    """Return where each case falls through 1 for the last time between its nodes.

    Parameters
    ----------
    ratio : callable
        Takes places and the numbers of their cases, both of shape (n,).
    nodes : numpy.ndarray, shape (k, n)
        Places at which the ratio is read, of each case in order. [m]
    at : numpy.ndarray of int, shape (n,)
        Numbers of the cases.

    Returns
    -------
    numpy.ndarray, shape (n,)
        0 where no node is above 1. [m]

    Raises
    ------
    OutOfRangeError
        If a ratio is no number or negative, or is above 1 at the last node.
    """
    columns = np.broadcast_to(at, nodes.shape)
    values = np.broadcast_to(ratio(nodes.reshape(-1), columns.reshape(-1)), (nodes.size,)).reshape(nodes.shape)
    over = _over(values, nodes)
    rows = np.flatnonzero(over.any(axis=0))
    last = nodes.shape[0] - 1 - np.argmax(over[::-1, rows], axis=0)
    found = np.zeros(nodes.shape[1])
    found[rows] = last_fall(ratio, nodes[last, rows], nodes[last + 1, rows], np.zeros(rows.size), at[rows])
    return found


def last_fall(ratio: Ratio, above: Floats, below: Floats, offset: Floats, at: Places) -> Floats:
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
        refuse(
            f"distance: the limit is still exceeded at {below[low > 0.0][0]:.6g} m; correct the beam or the limit",
            OutOfRangeError,
        )
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


_OFFSETS, _FEW_OFFSETS = 64, 24
_CACHED = 65_536  # circular beams that are worked out together
_BLOCK = 512  # beams whose nodes are read together
_SHALLOW = 1e-9  # of the way between the waists: a point focus seen by its peak has no depth of its own
_ZOOM, _ZOOMS = 9, 5
_SUMMITS = 3  # of the places that are higher than their neighbours, how many are narrowed down
_POINTS = 4000


def _circular_distance(beam: BeamGeometry, numbers: Iterable[Floats], found: Floats | None = None) -> FloatArray:
    """Return the farthest distance at which circular beams exceed the limit, in closed form [1]_.

    The numbers are amount, limit and aperture, waist, divergence and position of the waist of the circular beams.

    The exposure equals the limit where the 1/e diameter is D / sqrt(-ln(1 - x)) with x = limit pi D^2 / (4 amount); of
    a beam with even profile D / sqrt(x).

    References
    ----------
    .. [1] KOLESAR2000, fraction through a centred aperture, solved for the diameter.
    """
    amount, limit, aperture, waist, angle, position = numbers
    positive("amount", amount, "W or J")
    positive("limit", limit, "W/m2 or J/m2")
    positive("aperture", aperture, "m")
    within("waist_diameter", waist, "m", 0.0, math.inf)
    positive("divergence", angle, "rad", math.pi)
    finite("waist_position", position, "m")
    with np.errstate(all="ignore"):
        square = np.square(aperture)
        empty = square * limit / amount * (-math.pi / 4.0)
        none = np.zeros_like(empty)  # of two arrays numpy finds the larger numbers twice as fast as of an array and one
        empty = np.maximum(empty, np.full_like(empty, -1.0))
        square = square / (np.log1p(empty) if beam.profile == "gaussian" else empty / (empty > -1.0))
        if beam.propagation == "hyperbolic":  # what follows is 0 where no beam of this amount exceeds the limit
            way = np.sqrt(np.maximum(-square - np.square(waist), none))
        else:
            way = np.maximum(np.sqrt(-square) - waist, none)
        way = np.divide(way, angle, out=found)
        if position.ndim or position.any():
            way = np.multiply(way > 0.0, np.maximum(position + way, 0.0), out=found)
    return np.asarray(way) if way.max(initial=0.0) < math.inf else finite("distance", way, "m")


def direct_distance(amount: ArrayLike, limit: ArrayLike, aperture: ArrayLike, beam: BeamGeometry) -> FloatArray:
    """Return the farthest distance at which beams exceed the limit [1]_; diameters and divergence are 1/e values.

    Of a circular beam the closed form. Of a beam with two axes, the last crossing: between a circular beam as wide as
    its longer axis, which lets less through, and one as wide as its shorter axis, which lets more through.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy of the beam. [W or J]
    limit : array_like, shape (...)
        Limit of the exposure. [W/m2 or J/m2]
    aperture : array_like, shape (...)
        Limiting aperture. [m]
    beam : BeamGeometry, shape (...)
        The beams.

    Returns
    -------
    numpy.ndarray, shape (...)
        0 where no place exceeds the limit. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used or the distance is too large to compute.

    References
    ----------
    .. [1] OSHA-OTM, range equation (``"linear"``); ISO11146-1 for the hyperbolic beam.

    Examples
    --------
    >>> beam = BeamGeometry((2e-3, 2e-3), (2e-3, 2e-3), propagation="linear")
    >>> direct_distance(100.0, [16.0, 50.0], 7e-3, beam).round(0)
    array([1410.,  797.])
    """
    waist, angle, position = beam.waist_diameter, beam.divergence, beam.waist_position
    if beam.circular:
        every = (amount, limit, aperture, waist[0], angle[0], position[0])
        numbers = [np.asarray(one, dtype=np.float64) for one in every]
        shape = np.broadcast_shapes(*(one.shape for one in numbers))
        if (size := math.prod(shape)) <= _CACHED:
            return _circular_distance(beam, numbers)
        flat = [c.reshape(()) if c.size == 1 else np.broadcast_to(c, shape).reshape(-1) for c in numbers]
        found = np.empty(size)
        for first in range(0, size, _CACHED):
            part = slice(first, first + _CACHED)
            _circular_distance(beam, (c if c.ndim == 0 else c[part] for c in flat), found[part])
        return found.reshape(shape)
    shape, many, (whole, most, hole) = _flat(beam, amount, limit, aperture)
    (d_x, d_y), (a_x, a_y), (p_x, p_y) = many.waist_diameter, many.divergence, many.waist_position

    def ratio(place: Floats, at: Places) -> Floats:
        dx, dy = diameters(many.taken(at), place)
        return np.asarray(mean_exposure(whole[at], dx, dy, hole[at], beam.profile) / most[at])

    last_waist = np.maximum(np.maximum(p_x, p_y), 0.0)
    alone = [direct_distance(whole, most, hole, many.as_wide_as(axis)) for axis in (0, 1)]
    near, far = np.minimum(*alone), np.maximum(*alone) * (1.0 + 1e-12)
    over = near > last_waist
    rest = np.flatnonzero(~over)
    near[rest] = last_waist[rest]
    over[rest] = ratio(last_waist[rest], rest) > 1.0
    depth = np.maximum(np.maximum(d_x, hole) / a_x, np.maximum(d_y, hole) / a_y)
    found = np.zeros(whole.size)
    lit = np.flatnonzero(over)
    found[lit] = last_fall(ratio, near[lit], far[lit], (depth - last_waist)[lit], lit)
    between = np.flatnonzero(~over & (p_x != p_y) & (np.maximum(p_x, p_y) > 0.0))
    for first in range(0, between.size, _BLOCK):
        at = between[first : first + _BLOCK]
        own = many.taken(at)
        low, high = np.maximum(np.minimum(*own.waist_position), 0.0), np.maximum(*own.waist_position)
        found[at] = last_crossing(ratio, _nodes(own, low, high, hole[at]), at)
    return found.reshape(shape)


def _flat(beam: BeamGeometry, *others: ArrayLike) -> tuple[tuple[int, ...], BeamGeometry, list[Floats]]:
    """Return the shape to which beams and other numbers broadcast, and both as flat arrays of it."""
    given = np.broadcast_arrays(*others, *beam.waist_diameter, *beam.divergence, *beam.waist_position)
    *rest, d_x, d_y, a_x, a_y, p_x, p_y = (np.ascontiguousarray(c, dtype=np.float64).reshape(-1) for c in given)
    return (
        given[0].shape,
        replace(beam, waist_diameter=(d_x, d_y), divergence=(a_x, a_y), waist_position=(p_x, p_y)),
        rest,
    )


def attenuated_distance(
    amount: float, limit: float, aperture: float, beam: BeamGeometry, attenuation: float
) -> tuple[float, float]:
    """Return how far a beam exceeds the limit through air that takes a part of it, without and with that loss.

    Parameters
    ----------
    amount : float
        Power or energy of the beam. [W or J]
    limit : float
        Limit of the exposure. [W/m2 or J/m2]
    aperture : float
        Limiting aperture. [m]
    beam : BeamGeometry
        The beam.
    attenuation : float
        Attenuation coefficient of the air. [m-1]

    Returns
    -------
    tuple of float
        Without loss, and with loss; 0 where no place exceeds the limit. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.
    """
    loss = float(within("attenuation", attenuation, "1/m", 0.0, math.inf))
    bare = float(direct_distance(amount, limit, aperture, beam))
    if bare == 0.0 or loss == 0.0:
        return bare, bare

    def ratio(distance: Floats) -> Floats:
        exposure = mean_exposure(amount, *diameters(beam, distance), aperture, beam.profile)
        return np.asarray(exposure * transmitted(loss, distance) / limit)

    far = bare * (1.0 + 1e-9)
    if ratio(np.array([far]))[0] > 1.0:  # the loss on this way is below the rounding of the numbers
        return bare, bare
    narrow = worst_place(beam, bare * 1e-9, (aperture,))  # a focus far away is above the limit on a short way alone
    return bare, min(farthest_crossing(ratio, bare * 1e-9, far, points=_POINTS, also=narrow), bare)


def narrowest(aperture: ArrayLike, beam: BeamGeometry, start: ArrayLike, end: ArrayLike) -> Floats:
    """Return the place between two ends at which most of a beam with two axes comes through an aperture [1]_.

    It need not be where the beam covers least: an aperture that takes in one axis whole asks for the other one.

    Parameters
    ----------
    aperture : array_like, shape (...)
        Diameter of the aperture; 0 for the peak of the beam. [m]
    beam : BeamGeometry
        The beams.
    start, end : array_like, shape (...)
        Ends of the search. [m]

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
    shape, many, (hole, near, far) = _flat(beam, aperture, start, end)
    best = near.copy()
    rows = np.flatnonzero(far > near)
    for first in range(0, rows.size, _BLOCK):
        at = rows[first : first + _BLOCK]
        own = many.taken(at)
        nodes = _nodes(own, near[at], far[at], hole[at], _FEW_OFFSETS)
        value = _concentration(own, hole[at], nodes)
        edge = np.full((1, at.size), -np.inf)
        top = (value >= np.vstack([edge, value[:-1]])) & (value >= np.vstack([value[1:], edge]))
        highest = np.argsort(np.where(top, value, -np.inf), axis=0)[-_SUMMITS:]
        low, high = np.maximum(highest - 1, 0), np.minimum(highest + 1, nodes.shape[0] - 1)
        nodes = np.linspace(np.take_along_axis(nodes, low, 0), np.take_along_axis(nodes, high, 0), _ZOOM)
        for _ in range(_ZOOMS):
            value = _concentration(own, hole[at], nodes)
            top = np.argmax(value, axis=0)[np.newaxis]
            found, height = np.take_along_axis(nodes, top, 0)[0], np.take_along_axis(value, top, 0)[0]
            low, high = np.maximum(top - 1, 0), np.minimum(top + 1, _ZOOM - 1)
            nodes = np.linspace(np.take_along_axis(nodes, low, 0)[0], np.take_along_axis(nodes, high, 0)[0], _ZOOM)
        best[at] = found[np.argmax(height, axis=0), np.arange(at.size)]
    return best.reshape(shape)


def _concentration(beams: BeamGeometry, hole: Floats, place: Floats) -> Floats:
    """Return what passes each hole, or of a hole of 0 how high the peak is."""
    dx, dy = diameters(beams, place)
    peak = hole == 0.0
    return np.where(peak, -dx * dy, mean_exposure(1.0, dx, dy, np.where(peak, 1.0, hole), beams.profile))


def _nodes(beams: BeamGeometry, start: Floats, end: Floats, hole: Floats, count: int = _OFFSETS) -> Floats:
    """Return places between two ends, closer to each other near the waists, of shape (k, n)."""
    apart = np.abs(beams.waist_position[0] - beams.waist_position[1])
    places = [start[np.newaxis], end[np.newaxis]]
    for waist, angle, place in zip(beams.waist_diameter, beams.divergence, beams.waist_position, strict=True):
        depth = np.maximum(np.maximum(waist, hole) / angle, apart * _SHALLOW)
        offsets = np.geomspace(depth / 16.0, 2.0 * (apart + depth), count)
        places += [place - offsets, place + offsets]
    every = np.concatenate(places)
    even = start + (end - start) * np.linspace(0.0, 1.0, every.shape[0])[:, np.newaxis]  # what lies outside is spread
    return np.sort(np.where((every < start) | (every > end), even, every), axis=0)


def scatter_distance(
    amount: ArrayLike, limit: ArrayLike, reflectance: ArrayLike = 1.0, view_angle: ArrayLike = 0.0,
    model: str = "lambert",
) -> FloatArray:  # fmt: skip
    """Return how far a small scattering spot exceeds a limit [1]_ [2]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that falls on the surface. [W or J]
    limit : array_like, shape (...)
        Exposure limit. [W/m2 or J/m2]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"``: sqrt(rho Phi cos(theta) / (pi limit)); ``"hemisphere"``: sqrt(rho Phi / (2 pi limit)).

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the spot. [m]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula.
    .. [2] DGUV203-093, section 4.3, whose figures for isotropic scatter follow ``"hemisphere"``.

    Examples
    --------
    >>> round(float(scatter_distance(500.0, 1000.0)), 4)
    0.3989
    """
    intensity = scatter_intensity(positive("amount", amount, "W or J"), reflectance, view_angle, model)
    most = positive("limit", limit, "W/m2 or J/m2")
    with np.errstate(over="ignore", under="ignore"):
        return finite("distance", np.sqrt(intensity / most), "m")


FARTHEST = 1e9  # m
PEAK_APERTURE = 1e-9  # m; so small that the average over it is the peak
LIMITING_APERTURES = (1e-3, 3.5e-3, 7e-3, 11e-3)  # m, where the comparison is not asked
_SLACK = 1.0 + 1e-9
_SAME = 1.0 - 1e-12


@dataclass(frozen=True)
class Reach:
    """The farthest distance for one rule set, the comparison that decides it, and the source angle there."""

    distance: float
    criterion: Criterion
    angle: float = ALPHA_MIN


def exposure_at(beam: BeamGeometry, distance: float, criterion: Criterion, factor: float = 1.0) -> float:
    """Return the exposure that a comparison sees at a distance from the last optic.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        Distance from the last optic. [m]
    criterion : Criterion
        The comparison; its amount is spread over its own limiting aperture.
    factor : float
        Reflectance or transmission on the way. [1]

    Returns
    -------
    float
        Exposure in the unit of the limit. [W/m2 or J/m2]
    """
    return _mean_at(beam, float(distance), float(criterion.amount * factor), float(criterion.limiting_aperture))


@lru_cache(maxsize=8192)
def _mean_at(beam: BeamGeometry, distance: float, amount: float, aperture: float) -> float:
    return float(mean_exposure(amount, *diameters(beam, distance), aperture, beam.profile))


@lru_cache(maxsize=2048)
def worst_place(
    beam: BeamGeometry, distance: float, apertures: tuple[float, ...] = LIMITING_APERTURES
) -> tuple[float, ...]:
    """Return the places at or beyond a distance where the beam can be narrowest.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        Distance from the last optic. [m]
    apertures : tuple of float
        Apertures over which it is averaged there. [m]

    Returns
    -------
    tuple of float
        The distance, every waist beyond it, and where between two waists most comes through each aperture or none. [m]
    """
    holes = np.array([0.0, *apertures])
    found = worst_places(beam, np.full(holes.shape, distance), holes)
    return tuple(dict.fromkeys([distance, *(float(place) for one in found for place in one)]))


def worst_places(beams: BeamGeometry, distance: Floats, aperture: Floats) -> list[Floats]:
    """Return places at or beyond distances, at one of which most comes through, as `worst_place` does.

    Parameters
    ----------
    beams : BeamGeometry
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
    return [np.asarray(distance), start, end, narrowest(aperture, beams, start, end)]


def beam_reach(one: Comparison, beam: BeamGeometry, factor: ArrayLike = 1.0) -> Floats:
    """Return how far beams exceed one limit.

    Parameters
    ----------
    one : Comparison
        What is compared.
    beam : BeamGeometry, shape (...)
        The beams.
    factor : array_like, shape (...)
        Reflectance on the way. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        0 where no place exceeds the limit, or it does not apply. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.
    """
    amount, limit = _scaled(one.amount, factor), one.limit
    applies = np.isfinite(limit) & (amount > 0.0)  # a reflectance of 0
    if applies.all():
        return direct_distance(amount, limit, one.aperture, beam)
    amount, limit = np.where(applies, amount, 1.0), np.where(applies, limit, 1.0)
    return np.where(applies, direct_distance(amount, limit, one.aperture, beam), 0.0)


def _scaled(amount: ArrayLike, factor: ArrayLike) -> Floats:
    return np.asarray(amount if np.ndim(factor) == 0 and factor == 1.0 else amount * np.asarray(factor))


def farthest(compared: Iterable[Comparison], beams: BeamGeometry, factor: ArrayLike = 1.0) -> Floats:
    """Return how far beams exceed any of their limits: the farthest place, 0 where no place does.

    Parameters
    ----------
    compared : iterable of Comparison
        At least one.
    beams : BeamGeometry
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
    every = strictest_by_aperture(compared)
    if beams.circular or len(every) == 1:
        return reduce(np.maximum, (beam_reach(one, beams, factor) for one in every))
    # A circular beam as wide as the shorter axis reaches farther: where it adds nothing, nothing is searched.
    bounds = [np.maximum(*(beam_reach(one, beams.as_wide_as(axis), factor) for axis in (0, 1))) for one in every]
    distance = np.full(np.broadcast_shapes(*(bound.shape for bound in bounds)), -1.0)
    for number in sorted(range(len(every)), key=lambda n: -float(np.max(bounds[n]))):
        if not (bounds[number] * _SLACK <= distance).all():
            distance = np.maximum(distance, beam_reach(every[number], beams, factor))
    return distance


def highest_ratio(
    compared: Iterable[Comparison], beams: BeamGeometry, distance: ArrayLike, factor: ArrayLike = 1.0
) -> Floats:
    """Return exposure over limit, the worst comparison at the worst place at or beyond a distance.

    Parameters
    ----------
    compared : iterable of Comparison
        At least one.
    beams : BeamGeometry
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
    place = np.asarray(distance, dtype=np.float64)
    return reduce(np.maximum, (
        np.asarray(mean_exposure(
            _scaled(one.amount, factor), *diameters(beams, worst), one.aperture, beams.profile
        ) / one.limit)
        for one in strictest_by_aperture(compared)
        for worst in worst_places(beams, place, one.aperture)
    ))  # fmt: skip


@dataclass(frozen=True)
class ReachArrays:
    """The farthest distances, and which comparison decided each.

    Attributes
    ----------
    distance : numpy.ndarray, shape (...)
        0 where no place exceeds a limit. [m]
    limit : numpy.ndarray, shape (...)
        The limit that decided. [W/m2 or J/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Its limiting aperture. [m]
    decided : numpy.ndarray of int, shape (...)
        Index into ``labels``.
    labels : tuple of (rule set, hazard, rule)
        What the indices mean.
    by_rule_set : dict of str to numpy.ndarray, shape (...)
        The distance under each rule set alone. [m]
    """

    distance: Floats
    limit: Floats
    limiting_aperture: Floats
    decided: NDArray[np.intp]
    labels: tuple[tuple[str, str, str], ...]
    by_rule_set: dict[str, Floats]


def reaches(compared: Sequence[Comparison], distance_of: Callable[[Comparison], Floats]) -> ReachArrays:
    """Return the farthest distances of all comparisons, and which decided each; of equals the first.

    Parameters
    ----------
    compared : sequence of Comparison
        What is compared, of one or of several rule sets.
    distance_of : callable
        How far one limit, which is finite, is exceeded, of shape (...).

    Returns
    -------
    ReachArrays
        With the distance under each rule set.
    """
    known: dict[tuple[float, ...], Floats] = {}  # rule sets often agree: the same limit is worked out once
    distances: list[Floats] = []
    for number, one in enumerate(compared):
        single = one.limit.ndim == one.aperture.ndim == 0
        key = (float(one.limit), float(one.aperture), id(one.amount)) if single else (float(number),)
        if key not in known:
            applies = np.isfinite(one.limit)
            own = one if applies.all() else replace(one, limit=np.where(applies, one.limit, 1.0))
            known[key] = distance_of(own) if own is one else np.where(applies, distance_of(own), -1.0)
        distances.append(known[key])
    shape = np.broadcast_shapes(*(one.shape for one in distances))
    best, limit, aperture = np.full(shape, -2.0), np.full(shape, np.nan), np.full(shape, np.nan)
    decided, by_rule_set = np.zeros(shape, dtype=np.intp), dict[str, Floats]()
    for number, (one, distance) in enumerate(zip(compared, distances, strict=True)):
        mine = np.broadcast_to(distance, shape)
        name = one.rule_set
        by_rule_set[name] = np.maximum(by_rule_set[name], mine) if name in by_rule_set else mine
        farther = (distance > best) | np.isnan(distance)
        if farther.any():
            for values, new in ((best, distance), (limit, one.limit), (aperture, one.aperture), (decided, number)):
                np.copyto(values, new, where=farther)
    labels = tuple((one.rule_set, one.hazard, one.rule) for one in compared)
    return ReachArrays(best, limit, aperture, decided, labels, by_rule_set)


@lru_cache(maxsize=256)
def direct_reach(light: Received, beam: BeamGeometry, reflectance: float = 1.0, aid: Aid | None = None) -> Reach:
    """Return how far the direct beam, or its reflection by a flat mirror, exceeds the limit.

    Parameters
    ----------
    light : Received
        The setting, and who is exposed to it.
    beam : BeamGeometry
        The beam.
    reflectance : float
        1 for the direct beam, the mirror's reflectance for a reflection. [1]
    aid : Aid, optional
        The instrument that the eye looks through: the farther of both eyes counts.

    Returns
    -------
    Reach
        Distance along the path from the last optic, 0 where no place exceeds the limit.
    """
    lit = replace(light, emission=light.emission.scaled(reflectance))
    compared = list(compare(lit))
    seen = compared if aid is None else [*compared, *through(compared, aid, light.wavelength)]
    found = reaches(seen, lambda one: beam_reach(one, beam))
    rows = criteria(lit)
    return Reach(float(found.distance), rows[int(found.decided) % len(rows)])


def zone(
    way: str, tissue: str, reaches: dict[str, Reach], origin: str, focus: float | None = None, note: str = ""
) -> Zone:
    """Return the zone of one way and tissue: the farthest reach over all rule sets.

    Parameters
    ----------
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    tissue : str
        ``eye`` or ``skin``.
    reaches : dict of str to Reach
        The reach under each rule set.
    origin : str
        What the distance is measured from.
    focus : float, optional
        Distance of the focus from the last optic. [m]
    note : str
        Remark for the sheet.

    Returns
    -------
    Zone
        Without steps.
    """
    farthest_of_all = max((reach.distance for reach in reaches.values()), key=badness)
    reach = next(one for one in reaches.values() if not one.distance < farthest_of_all * _SAME)  # of equals the first
    from_focus = None if focus is None or reach.distance <= 0.0 else reach.distance - focus
    by_set = {name: one.distance for name, one in reaches.items()}
    return Zone(way, tissue, farthest_of_all, origin, from_focus, reach.criterion, by_rule_set=by_set, note=note)
