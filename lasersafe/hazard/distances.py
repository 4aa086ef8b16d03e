"""How far a beam or its scatter exceeds a limit: closed forms, and a bracket with bisection where there is none.

A distance is the farthest place where the exposure, averaged over the limiting aperture, is above the limit;
0.0 where it is nowhere above. An exposure equal to the limit is not above it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.crossing import ends_by_search, farthest_crossing
from lasersafe.optics.checks import FloatArray, choice, finite, positive, within
from lasersafe.optics.geometry import PROFILES, PROPAGATIONS, BeamGeometry
from lasersafe.optics.reflection import scatter_exposure, scatter_intensity, source_angle

__all__ = [
    "critical_diameter",
    "direct_distance",
    "direct_distance_arrays",
    "farthest_crossing",
    "hazard_interval",
    "scatter_distance",
    "scatter_distance_extended",
]


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
        filled = np.square(hole) * (math.pi / 4.0) * most / whole
        root = np.sqrt(-np.log1p(-filled) if profile == "gaussian" else filled)
        diameter = np.where(filled < 1.0, hole / root, 0.0)
    return finite("critical diameter", diameter, "m")


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
        way = critical - waist
        if propagation == "hyperbolic":
            way = np.sqrt(way * (critical + waist))
        farthest = np.where(critical > waist, np.maximum(position + way / angle, 0.0), 0.0)
    return finite("distance", farthest, "m")


def _checked(amount: float, limit: float, aperture: float) -> tuple[float, float, float]:
    return (
        float(positive("amount", amount, "W or J")),
        float(positive("limit", limit, "W/m2 or J/m2")),
        float(positive("aperture", aperture, "m")),
    )


def direct_distance(amount: float, limit: float, aperture: float, beam: BeamGeometry) -> float:
    """Return the farthest distance at which a beam exceeds a limit [1]_.

    Closed form where both axes are alike; otherwise a bracket, searched around both waists, and bisection.

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
    float
        Distance from the last optic; 0.0 where the limit is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.

    References
    ----------
    .. [1] OSHA-OTM, range equation and lens-on-laser formula; ISO11146-1 for the hyperbolic beam.

    Examples
    --------
    >>> from lasersafe.optics.propagation import through_lens
    >>> round(direct_distance(300.0, 50.0, 7e-3, through_lens(8.5e-3, 0.15, "1/e")), 2)
    48.93
    """
    amount, limit, aperture = _checked(amount, limit, aperture)
    if not beam.circular:
        return ends_by_search(amount, limit, aperture, beam)[1]
    distance = direct_distance_arrays(
        amount,
        limit,
        aperture,
        beam.waist_diameter[0],
        beam.divergence[0],
        beam.waist_position[0],
        profile=beam.profile,
        propagation=beam.propagation,
    )
    return float(distance)


def hazard_interval(amount: float, limit: float, aperture: float, beam: BeamGeometry) -> tuple[float, float]:
    """Return where along its path a beam exceeds a limit: from the nearest to the farthest such place [1]_.

    Behind a lens the first number can be above 0: the beam is wide at the lens and strong around the focus.

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
        Nearest and farthest distance from the last optic; (0.0, 0.0) where the limit is nowhere exceeded. An
        astigmatic beam may keep the limit somewhere in between. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.

    References
    ----------
    .. [1] OSHA-OTM, lens-on-laser formula, solved for both sides of the focus.
    """
    amount, limit, aperture = _checked(amount, limit, aperture)
    if not beam.circular:
        return ends_by_search(amount, limit, aperture, beam)
    farthest = direct_distance(amount, limit, aperture, beam)
    position = beam.waist_position[0]
    return (max(0.0, 2.0 * position - farthest) if farthest > 0.0 else 0.0), farthest


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


def scatter_distance_extended(
    amount: ArrayLike,
    reflectance: ArrayLike,
    view_angle: ArrayLike,
    model: str,
    spot_diameter: tuple[ArrayLike, ArrayLike],
    limit_of_angle: Callable[[FloatArray], FloatArray],
    *,
    smallest_angle: float = 0.0,
    largest_angle: float = math.pi,
) -> FloatArray:
    """Return how far a scattering spot exceeds a limit that depends on the angle it subtends [1]_.

    The exposure is that of a small spot of the same power, which is never below that of the real one on its normal.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that falls on the surface. [W or J]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"`` or ``"hemisphere"``.
    spot_diameter : tuple of array_like, (x, y), each of shape (...)
        Diameters of the spot on the surface. [m]
    limit_of_angle : callable
        Takes source angles [rad] of any shape, returns the limits there [W/m2 or J/m2]; infinity where there is none.
    smallest_angle, largest_angle : float
        What each axis of the spot is limited to before the mean of both is taken. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        Farthest distance from the spot at which the exposure is above the limit. [m]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used or a limit is NaN, zero or negative.

    References
    ----------
    .. [1] ICNIRP2013, angular subtense of an oblong source.
    """
    whole, part, view, x, y = np.broadcast_arrays(
        positive("amount", amount, "W or J"),
        within("reflectance", reflectance, "", 0.0, 1.0),
        within("view_angle", view_angle, "rad", 0.0, math.pi / 2.0),
        within("spot_diameter", spot_diameter[0], "m", 0.0, math.inf),
        within("spot_diameter", spot_diameter[1], "m", 0.0, math.inf),
    )

    def limits(angle: FloatArray) -> FloatArray:
        found = np.broadcast_to(np.asarray(limit_of_angle(angle), dtype=np.float64), angle.shape)
        if not (found > 0.0).all():
            message = "limit of an extended source is not a positive number; correct the limit"
            raise OutOfRangeError(message)
        return found

    def ratio(distance: FloatArray) -> FloatArray:
        angle = source_angle(x, y, distance, view, smallest_angle, largest_angle)
        return np.asarray(scatter_exposure(whole, part, distance, view, model) / limits(angle))

    ends = [limits(np.full(x.shape, angle)) for angle in (min(largest_angle, math.pi), max(smallest_angle, 0.0))]
    lowest = np.minimum(ends[0], ends[1])
    intensity = scatter_intensity(whole, part, view, model)
    bounded = np.isfinite(lowest) & (intensity > 0.0)
    with np.errstate(over="ignore", under="ignore"):
        reach = finite("distance", np.sqrt(np.where(bounded, intensity / np.where(bounded, lowest, 1.0), 1.0)), "m")
    highest = np.maximum(ends[0], ends[1])
    spread = np.where(bounded & np.isfinite(highest), highest / np.where(bounded, lowest, 1.0), 1e8)
    near, far = reach / (4.0 * np.sqrt(spread)), 2.0 * reach
    while (ratio(far[np.newaxis])[0] > 1.0).any():
        far = finite("distance", 2.0 * far, "m")
    return farthest_crossing(ratio, near, far)
