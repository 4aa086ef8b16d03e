"""What a surface sends back: mirror images, scatter models and the size of the spot as a source."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.optics.checks import FloatArray, choice, finite, positive, within

SCATTER_MODELS = ("lambert", "hemisphere")


def scatter_intensity(
    amount: ArrayLike, reflectance: ArrayLike, view_angle: ArrayLike, model: str = "lambert"
) -> FloatArray:
    """Return what a small scattering spot sends into a direction, per solid angle [1]_ [2]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that falls on the surface. [W or J]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"``: rho Phi cos(theta) / pi, or ``"hemisphere"`` (even in every direction): rho Phi / (2 pi).

    Returns
    -------
    numpy.ndarray, shape (...)
        Radiant intensity; over the square of the distance it is the exposure. [W/sr or J/sr]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula, for ``"lambert"``.
    .. [2] DGUV203-093, section 4.3, whose figures for isotropic scatter follow ``"hemisphere"``.
    """
    choice("model", model, SCATTER_MODELS)
    whole, part = within("amount", amount, "W or J", 0.0, math.inf), within("reflectance", reflectance, "", 0.0, 1.0)
    scattered = np.asarray(whole * part)
    angle = within("view_angle", view_angle, "rad", 0.0, math.pi / 2.0)
    if model == "hemisphere":
        return np.asarray(scattered / (2.0 * math.pi) * np.ones_like(angle))
    return np.asarray(scattered * np.cos(angle) / math.pi)


def scatter_exposure(
    amount: ArrayLike,
    reflectance: ArrayLike,
    distance: ArrayLike,
    view_angle: ArrayLike = 0.0,
    model: str = "lambert",
) -> FloatArray:
    """Return the exposure from a small scattering spot, facing it [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that falls on the surface. [W or J]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    distance : array_like, shape (...)
        From the spot. [m]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance or radiant exposure. [W/m2 or J/m2]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula.
    """
    intensity = scatter_intensity(amount, reflectance, view_angle, model)
    way = positive("distance", distance, "m")
    with np.errstate(over="ignore", divide="ignore", under="ignore"):
        return finite("exposure", intensity / way / way, "W/m2 or J/m2")


def source_angles(
    spot_x: ArrayLike, spot_y: ArrayLike, distance: ArrayLike, view_angle: ArrayLike = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return the two angles that a spot subtends, the longer axis foreshortened by the view [1]_.

    Which axis is foreshortened is not known; the longer one gives the smaller angle and so the stricter limit.

    Parameters
    ----------
    spot_x, spot_y : array_like, shape (...)
        Diameters of the spot on the surface. [m]
    distance : array_like, shape (...)
        From the spot to the eye. [m]
    view_angle : array_like, shape (...)
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]

    Returns
    -------
    tuple of numpy.ndarray, each of shape (...)
        Angle of the longer axis after foreshortening, angle of the shorter axis. [rad]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] ICNIRP2013, angular subtense of an oblong source: the mean of the two axes, each limited first.
    """
    x, y = within("spot_x", spot_x, "m", 0.0, math.inf), within("spot_y", spot_y, "m", 0.0, math.inf)
    way = positive("distance", distance, "m")
    slant = np.cos(within("view_angle", view_angle, "rad", 0.0, math.pi / 2.0))
    first = 2.0 * np.arctan2(np.maximum(x, y) * slant, 2.0 * way)
    second = 2.0 * np.arctan2(np.minimum(x, y), 2.0 * way)
    return np.asarray(first), np.asarray(second)
