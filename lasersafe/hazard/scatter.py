"""How far the scatter of a lit spot exceeds the limits, for one case or for many."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache, reduce

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.crossing import Places, last_crossing, last_fall
from lasersafe.hazard.distances import scatter_distance
from lasersafe.hazard.emission import Emission, Floats, source_caps, taken
from lasersafe.hazard.exposure import ALPHA_MIN, compare_source, criteria
from lasersafe.hazard.zones import Reach
from lasersafe.optics.checks import within
from lasersafe.optics.extended import limited_angle
from lasersafe.optics.reflection import scatter_exposure, source_angles

LimitOfAngles = Callable[[Floats, Floats, Places], Floats]  # angles of both axes, shape (n,), and which case each is of
_NODES = 48
_TABLE = 4096
_FEW = 64
_BLOCK = 4096
_ANGLES = (1.5e-3, 5e-3, 0.1)  # [rad] where the tables step with the angle: the limit jumps up at the last
_BESIDE = 1e-9
_WIDEST = 1e15  # m, far beyond any use


def step_places(spot_diameter: ArrayLike) -> list[Floats]:
    """Return the distances from a lit spot just beyond which its angle passes a step of the tables.

    Parameters
    ----------
    spot_diameter : array_like, shape (...)
        1/e diameter of the lit spot. [m]

    Returns
    -------
    list of numpy.ndarray, shape (...)
        Distances, for each step. [m]
    """
    spot = np.asarray(spot_diameter, dtype=np.float64)
    return [spot / (2.0 * math.tan(angle / 2.0)) * (1.0 + _BESIDE) for angle in _ANGLES]


def spot_limits(
    rule_set: str,
    tissue: str,
    light: Emission,
    wavelength: ArrayLike,
    duration: ArrayLike,
    part: Callable[[str], float] = lambda hazard: 1.0,
) -> LimitOfAngles:
    """Return the function from the angles of lit spots to the lowest of their limits.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    light : Emission
        What falls on the spot; of many, the cases.
    wavelength : array_like, shape (...)
        Wavelength. [m]
    duration : array_like, shape (...)
        Exposure duration. [s]
    part : callable
        Takes a hazard, returns the part of its limit that may be used; 0 leaves the hazard out. [1]

    Returns
    -------
    callable
        As for `scatter_farthest`; infinite where no hazard is left.
    """
    lam, time = np.asarray(wavelength, dtype=np.float64), np.asarray(duration, dtype=np.float64)

    def lowest(first: Floats, second: Floats, at: Places) -> Floats:
        if light.single:
            every = compare_source(rule_set, tissue, light, float(lam), float(time), first, second)
        else:
            own = light.taken(at)
            every = compare_source(rule_set, tissue, own, taken(lam, at), taken(time, at), first, second)
        mine = [one.limit * share for one in every if (share := part(one.hazard)) > 0.0]
        return np.broadcast_to(reduce(np.minimum, mine, np.asarray(np.inf)), first.shape)

    return lowest


def scatter_farthest(
    amount: ArrayLike,
    limit_of_angles: LimitOfAngles,
    reflectance: ArrayLike,
    view_angle: ArrayLike,
    model: str,
    spot_diameter: ArrayLike,
    shape: tuple[int, ...],
    alike: bool = False,
) -> Floats:
    """Return how far from the lit surface the scatter exceeds the limit [1]_.

    A spot that is a point at the distance of a point source keeps that distance. Else the limit depends on the angle
    that the spot subtends: the ratio is read on a grid and beside the angles at which the tables step, and its last
    fall through 1 is narrowed down.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy. [W or J]
    limit_of_angles : callable
        Takes the angles of both axes [rad] and the number of the case of each, all of shape (n,), returns the lowest
        limits.
    reflectance : array_like, shape (...)
        Of the surface. [1]
    view_angle : array_like, shape (...)
        From the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : array_like, shape (...)
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]
    shape : tuple of int
        Shape of the cases; a limit has it in flat order.
    alike : bool
        Whether the limit at an angle, and the view, is the same for every case: the grid is then read once for all.

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the surface. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] ICNIRP2013, angular subtense of an oblong source.
    """
    spot_diameter = within("spot_diameter", spot_diameter, "m", 0.0, _WIDEST)
    whole, part, view, spot = (
        np.broadcast_to(np.asarray(a, dtype=np.float64), shape).reshape(-1)
        for a in (amount, reflectance, view_angle, spot_diameter)
    )
    every = np.arange(whole.size)
    first = every[:1] if alike else every
    point = limit_of_angles(*(np.full(first.size, ALPHA_MIN),) * 2, first)
    found = np.array(scatter_distance(whole, point, part, view, model))
    extended = np.flatnonzero(spot > ALPHA_MIN * found)
    if alike and extended.size > _FEW:
        found[extended] = _alike(
            whole[extended], limit_of_angles, part[extended], view[extended], model, spot[extended], extended
        )
        return found.reshape(shape)
    for start in range(0, extended.size, _BLOCK):
        at = extended[start : start + _BLOCK]
        found[at] = _extended(whole[at], limit_of_angles, part[at], view[at], model, spot[at], at)
    return found.reshape(shape)


def _alike(
    whole: Floats,
    limit_of_angles: LimitOfAngles,
    part: Floats,
    view: Floats,
    model: str,
    spot: Floats,
    at: Places,
) -> Floats:
    """Do as `_extended`, where the limit depends on nothing but distance over spot.

    With rho that quotient and I the intensity, the limit is exceeded where rho^2 limit(rho) is below I / spot^2; the
    last such place of a table is the one from which on the least value of the table is no longer below.
    """
    lit = np.flatnonzero(scatter_exposure(whole, part, 1.0, view, model) > 0.0)
    result = np.zeros(whole.size)
    if not lit.size:
        return result
    strength = scatter_exposure(whole[lit], part[lit], 1.0, view[lit], model) / np.square(spot[lit])

    def weighed(place: Floats) -> Floats:
        angles = source_angles(1.0, 1.0, place, view[0])
        return np.asarray(np.square(place) * limit_of_angles(*angles, np.broadcast_to(at[:1], place.shape)))

    far, near = 1.0 / ALPHA_MIN * (1.0 + 1e-9), 1e-3
    while not float(weighed(np.array([near]))[0]) < strength.min():
        near /= 16.0
    steps = np.array([1.0 / (2.0 * math.tan(angle / 2.0)) for angle in _ANGLES])
    nodes = np.sort(np.concatenate([np.geomspace(near, far, _TABLE), steps * (1.0 - _BESIDE), steps * (1.0 + _BESIDE)]))
    nodes = nodes[(nodes >= near) & (nodes <= far)]
    table = weighed(nodes)
    if not table[-1] >= strength.max():
        message = "distance: the limit is still exceeded where the lit spot is a point; correct the spot or the limit"
        raise OutOfRangeError(message)
    least = np.minimum.accumulate(table[::-1])[::-1]
    last = np.searchsorted(least, strength, side="left") - 1  # the last place where the least value is below

    def ratio(place: Floats, row: Places) -> Floats:
        return np.asarray(strength[row] / weighed(place))

    rows = np.arange(lit.size)
    found = last_fall(ratio, nodes[last], nodes[last + 1], np.zeros(lit.size), rows) * spot[lit]
    result[lit] = found * (1.0 + 1e-15)
    return result


def _extended(
    whole: Floats,
    limit_of_angles: LimitOfAngles,
    part: Floats,
    view: Floats,
    model: str,
    spot: Floats,
    at: Places,
) -> Floats:
    def ratio(place: Floats, row: Places) -> Floats:
        angles = source_angles(spot[row], spot[row], place, view[row])
        return np.asarray(
            scatter_exposure(whole[row], part[row], place, view[row], model) / limit_of_angles(*angles, at[row])
        )

    lit = np.flatnonzero(scatter_exposure(whole, part, 1.0, view, model) > 0.0)
    result = np.zeros(whole.size)
    if not lit.size:
        return result
    ends = (np.full(whole.size, angle) for angle in (0.0, math.pi))
    highest = reduce(np.maximum, (limit_of_angles(end, end, at) for end in ends))
    far = spot / ALPHA_MIN * (1.0 + 1e-9)
    near = scatter_distance(whole, highest, part, view, model) / 4.0
    near = np.minimum(np.where(near > 0.0, near, far / 2.0), far / 2.0)
    steps = [spot / (2.0 * math.tan(angle / 2.0)) for angle in _ANGLES]
    grid = np.geomspace(near[lit], far[lit], _NODES)
    grid[0], grid[-1] = near[lit], far[lit]
    beside = [s[lit] * f for s in steps for f in (1.0 - _BESIDE, 1.0 + _BESIDE)]
    nodes = np.sort(np.clip(np.concatenate([grid, np.array(beside)]), near[lit], far[lit]), axis=0)
    result[lit] = last_crossing(ratio, nodes, lit)
    return result


def scatter_ratios(
    amount: ArrayLike,
    limit_of_angles: LimitOfAngles,
    distance: ArrayLike,
    reflectance: ArrayLike,
    view_angle: ArrayLike,
    model: str,
    spot_diameter: ArrayLike,
    shape: tuple[int, ...],
) -> Floats:
    """Return how many times the limit the scatter of a lit spot gives at distances from it.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy. [W or J]
    limit_of_angles : callable
        As for `scatter_farthest`.
    distance : array_like, shape (...)
        From the surface. [m]
    reflectance : array_like, shape (...)
        Of the surface. [1]
    view_angle : array_like, shape (...)
        From the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : array_like, shape (...)
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]
    shape : tuple of int
        Shape of the cases.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit. [1]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.
    """
    whole, place, part, view, spot = (
        np.broadcast_to(np.asarray(a, dtype=np.float64), shape).reshape(-1)
        for a in (amount, distance, reflectance, view_angle, spot_diameter)
    )
    limit = limit_of_angles(*source_angles(spot, spot, place, view), np.arange(whole.size))
    return np.asarray(scatter_exposure(whole, part, place, view, model) / limit).reshape(shape)


@lru_cache(maxsize=256)
def scatter_reach(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    *,
    reflectance: float = 1.0,
    view_angle: float = 0.0,
    model: str = "lambert",
    spot_diameter: float = 0.0,
) -> Reach:
    """Return how far from the lit surface the scatter exceeds the limit.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    reflectance : float
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : float
        Angle from the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : float
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]

    Returns
    -------
    Reach
        Distance from the surface.
    """
    spot = spot_diameter if tissue == "eye" else 0.0
    limits = spot_limits(rule_set, tissue, emission, wavelength, duration)
    distance = float(scatter_farthest(emission.amount, limits, reflectance, view_angle, model, spot, ()))
    first, second = source_angles(spot, spot, distance, view_angle) if distance > 0.0 else (0.0, 0.0)
    caps = source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
    there = [
        Reach(distance, c, angle)
        for angle in (float(limited_angle(first, second, ALPHA_MIN, cap)) for cap in caps)
        for c in criteria(rule_set, tissue, emission, wavelength, duration, angle)
    ]
    return max(there, key=lambda reach: reach.criterion.amount / reach.criterion.limit)


def scatter_ratio(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    distance: Floats,
    *,
    reflectance: float = 1.0,
    view_angle: float = 0.0,
    model: str = "lambert",
    spot_diameter: float = 0.0,
    part: Callable[[str], float] = lambda hazard: 1.0,
) -> Floats:
    """Return how many times the limit the scatter of a lit spot gives at distances from it.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    distance : numpy.ndarray, shape (...)
        From the spot. [m]
    reflectance : float
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : float
        Angle from the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : float
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]
    part : callable
        Takes a hazard, returns the part of its limit that may be used. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit, the worst comparison. [1]
    """
    limits = spot_limits(rule_set, tissue, emission, wavelength, duration, part)
    spot, place = spot_diameter if tissue == "eye" else 0.0, np.asarray(distance, dtype=np.float64)
    return scatter_ratios(emission.amount, limits, place, reflectance, view_angle, model, spot, place.shape)
