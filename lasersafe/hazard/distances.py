"""How far the exposure exceeds the limit: closed forms, and the last crossing of beams with two axes.

All distances are path lengths: from the last optic for a beam, whatever mirrors it meets on the way, and from the lit
surface for scatter.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.hazard.crossing import Places, farthest_crossing, last_crossing, last_fall
from lasersafe.hazard.emission import Floats
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.atmosphere import transmitted
from lasersafe.optics.checks import FloatArray, choice, finite, positive, within
from lasersafe.optics.geometry import PROFILES, PROPAGATIONS, BeamGeometry, diameters
from lasersafe.optics.reflection import scatter_intensity

_OFFSETS, _FEW_OFFSETS = 64, 24
_BLOCK = 512  # beams whose nodes are read together
_SHALLOW = 1e-9  # of the way between the waists: a point focus seen by its peak has no depth of its own
_ZOOM, _ZOOMS = 9, 5
_SUMMITS = 3  # of the places that are higher than their neighbours, how many are narrowed down
_POINTS = 4000


def critical_diameter(
    amount: ArrayLike, limit: ArrayLike, aperture: ArrayLike, profile: str = "gaussian"
) -> FloatArray:
    """Return the 1/e diameter of the circular beam whose averaged exposure equals the limit [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy of the beam. [W or J]
    limit : array_like, shape (...)
        Exposure limit. [W/m2 or J/m2]
    aperture : array_like, shape (...)
        Diameter of the limiting aperture. [m]
    profile : str
        ``"gaussian"``: D / sqrt(-ln(1 - x)) with x = limit pi D^2 / (4 amount); ``"top-hat"``: D / sqrt(x).

    Returns
    -------
    numpy.ndarray, shape (...)
        Diameter; 0 where no beam of this amount exceeds the limit (x of 1 or more). [m]

    Raises
    ------
    InputError
        If the profile is not known.
    OutOfRangeError
        If a number is not positive and finite, or the diameter is too large to compute.

    References
    ----------
    .. [1] KOLESAR2000, fraction through a centred aperture, solved for the diameter.
    """
    choice("profile", profile, PROFILES)
    whole = positive("amount", amount, "W or J")
    most = positive("limit", limit, "W/m2 or J/m2")
    hole = positive("aperture", aperture, "m")
    with np.errstate(all="ignore"):
        filled = np.minimum(np.square(hole) * (math.pi / 4.0) * most / whole, 1.0)
        root = np.sqrt(-np.log1p(-filled)) if profile == "gaussian" else np.sqrt(filled) / (filled < 1.0)
        return finite("critical diameter", hole / root, "m")  # an infinite root where no beam exceeds the limit


def direct_distance_arrays(
    amount: ArrayLike,
    limit: ArrayLike,
    aperture: ArrayLike,
    waist_diameter: ArrayLike,
    divergence: ArrayLike,
    waist_position: ArrayLike = 0.0,
    *,
    profile: str = "gaussian",
    propagation: str = "hyperbolic",
) -> FloatArray:
    """Return the farthest distance at which circular beams exceed a limit, in closed form [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy of the beam. [W or J]
    limit : array_like, shape (...)
        Exposure limit. [W/m2 or J/m2]
    aperture : array_like, shape (...)
        Diameter of the limiting aperture. [m]
    waist_diameter : array_like, shape (...)
        Full 1/e diameter at the waist. [m]
    divergence : array_like, shape (...)
        Full 1/e angle far from the waist. [rad]
    waist_position : array_like, shape (...)
        Place of the waist, from the last optic. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the last optic; 0 where the limit is nowhere exceeded. [m]

    Raises
    ------
    InputError
        If a word is not known.
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] OSHA-OTM, range equation (``"linear"``); ISO11146-1 for the hyperbolic beam.

    Examples
    --------
    >>> direct_distance_arrays(100.0, [16.0, 50.0], 7e-3, 2e-3, 2e-3, propagation="linear").round(0)
    array([1410.,  797.])
    """
    choice("propagation", propagation, PROPAGATIONS)
    critical = critical_diameter(amount, limit, aperture, profile)
    waist = within("waist_diameter", waist_diameter, "m", 0.0, math.inf)
    angle = positive("divergence", divergence, "rad")
    within("divergence", angle, "rad", 0.0, math.pi)
    position = finite("waist_position", waist_position, "m")
    with np.errstate(all="ignore"):
        way = np.maximum(critical - waist, 0.0)
        over = way > 0.0
        if propagation == "hyperbolic":
            way = np.sqrt(way * (critical + waist))
        return finite("distance", over * np.maximum(position + way / angle, 0.0), "m")


def direct_distance(amount: ArrayLike, limit: ArrayLike, aperture: ArrayLike, beam: BeamGeometry) -> FloatArray:
    """Return the farthest distance at which beams exceed the limit; all diameters and the divergence are 1/e values.

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
    """
    waist, angle, position = beam.waist_diameter, beam.divergence, beam.waist_position
    if beam.circular:
        return direct_distance_arrays(
            amount, limit, aperture, waist[0], angle[0], position[0], profile=beam.profile, propagation=beam.propagation
        )
    given = np.broadcast_arrays(amount, limit, aperture, *waist, *angle, *position)
    shape = given[0].shape
    whole, most, hole, *columns = (np.ascontiguousarray(c, dtype=np.float64).reshape(-1) for c in given)
    d_x, d_y, a_x, a_y, p_x, p_y = columns
    many = BeamGeometry((d_x, d_y), (a_x, a_y), (p_x, p_y), beam.profile, beam.propagation)

    def ratio(place: Floats, at: Places) -> Floats:
        dx, dy = diameters(many.taken(at), place)
        return np.asarray(mean_exposure(whole[at], dx, dy, hole[at], beam.profile) / most[at])

    last_waist = np.maximum(np.maximum(p_x, p_y), 0.0)
    alone = [
        direct_distance_arrays(whole, most, hole, d, a, p, profile=beam.profile, propagation=beam.propagation)
        for d, a, p in ((d_x, a_x, p_x), (d_y, a_y, p_y))
    ]
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
    for start in range(0, between.size, _BLOCK):
        at = between[start : start + _BLOCK]
        own = many.taken(at)
        low, high = np.maximum(np.minimum(*own.waist_position), 0.0), np.maximum(*own.waist_position)
        found[at] = last_crossing(ratio, _nodes(own, low, high, hole[at]), at)
    return found.reshape(shape)


def attenuated_distance(
    amount: float, limit: float, aperture: float, beam: BeamGeometry, attenuation: float, path_before: float = 0.0
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
    path_before : float
        Way through air before the last optic. [m]

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
    before = float(within("path_before", path_before, "m", 0.0, math.inf))
    bare = float(direct_distance(amount, limit, aperture, beam))
    if bare == 0.0 or loss == 0.0:
        return bare, bare

    def ratio(distance: Floats) -> Floats:
        exposure = mean_exposure(amount, *diameters(beam, distance), aperture, beam.profile)
        return np.asarray(exposure * transmitted(loss, before + distance) / limit)

    far = bare * (1.0 + 1e-9)
    # beyond both waists the ratio only falls, so one bracket is enough; before them it is searched
    waist = max(beam.waist_position)
    near = waist if 0.0 < waist < bare and ratio(np.array([waist]))[0] > 1.0 else bare * 1e-9
    if ratio(np.array([far]))[0] > 1.0:  # the loss on this way is below the rounding of the numbers
        return bare, bare
    return bare, min(farthest_crossing(ratio, near, far, points=_POINTS if near < waist else 3), bare)


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
    given = np.broadcast_arrays(
        aperture, *beam.waist_diameter, *beam.divergence, *beam.waist_position, start, end
    )  # fmt: skip
    shape = given[0].shape
    hole, d_x, d_y, a_x, a_y, p_x, p_y, near, far = (
        np.ascontiguousarray(c, dtype=np.float64).reshape(-1) for c in given
    )
    many = BeamGeometry((d_x, d_y), (a_x, a_y), (p_x, p_y), beam.profile, beam.propagation)
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
    amount: ArrayLike,
    limit: ArrayLike,
    reflectance: ArrayLike = 1.0,
    view_angle: ArrayLike = 0.0,
    model: str = "lambert",
) -> FloatArray:
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
