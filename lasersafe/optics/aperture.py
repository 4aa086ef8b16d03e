"""How much of a beam passes a centred round aperture, and the exposure averaged over it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.optics.checks import FloatArray, choice, finite, positive, within
from lasersafe.optics.geometry import PROFILES

_NODES = 384  # steps of about 0.1 in ln(tan psi), at most 0.15: see tests/crosscheck for the error
_TAIL = 18.0  # beyond it both factors are exponentials to exp(-36), and the rule is a geometric series
_CHUNK = 2048
_WIDE = 1.0  # (aperture / shorter axis)^2 up to which the series is summed: its terms shrink at once, none cancel
_SERIES_BLOCK = 8192
_TERMS = 40  # at most; 18 are enough for full accuracy
_THINNEST = 1e-9  # of the aperture: an axis below this is a line, and the integral differs by less than 1e-17


def thin(width: ArrayLike, aperture: ArrayLike) -> FloatArray:
    """Return the width of a beam at an aperture, at least what counts as a line or a point there, as in a focus.

    Parameters
    ----------
    width : array_like, shape (...)
        Full 1/e width of the beam, 0 in a point focus. [m]
    aperture : array_like, shape (...)
        Diameter of the aperture. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        The width, but at least 1e-9 of the aperture, where the fraction that passes differs by less than 1e-17. [m]
    """
    return np.asarray(np.maximum(width, _THINNEST * np.asarray(aperture)))


def _gaussian_elliptical(dx: FloatArray, dy: FloatArray, hole: FloatArray) -> FloatArray:
    """Integrate over the angle psi, in u = ln(tan psi), where the trapezoid rule converges for every ellipse."""
    result = np.empty(dx.shape)
    steps = np.arange(_NODES + 1, dtype=np.float64)[:, np.newaxis]
    for start in range(0, dx.size, _CHUNK):
        part = slice(start, start + _CHUNK)
        long_axis = thin(np.maximum(dx[part], dy[part]) / hole[part], 1.0)
        short_axis = thin(np.minimum(dx[part], dy[part]) / hole[part], 1.0)
        low, high = -_TAIL, np.log(long_axis / short_axis) + _TAIL
        step = (high - low) / _NODES
        u = low + steps * step
        grow = np.exp(-2.0 * np.abs(u))
        cosine2 = np.where(u > 0.0, grow, 1.0) / (1.0 + grow)
        sine2 = np.where(u > 0.0, 1.0, grow) / (1.0 + grow)
        with np.errstate(over="ignore", under="ignore"):  # to infinity, where the fraction is 0
            spread = np.square(long_axis) * cosine2 + np.square(short_axis) * sine2
            inside = -np.expm1(-1.0 / spread)
        weight = np.exp(-np.abs(u)) / (1.0 + grow)
        weight[[0, -1]] /= -np.expm1(-step)
        result[part] = (inside * weight).sum(axis=0) * step * (2.0 / math.pi)
    return np.minimum(result, 1.0)


def _gaussian_wide(dx: FloatArray, dy: FloatArray, hole: FloatArray) -> FloatArray:
    """Sum the expansion for a beam wider than the aperture: sum of (-1)^(k+1) q^k P_(k-1)(t) / k!, Legendre P.

    With q = D^2 / (dx dy) and t = (dx / dy + dy / dx) / 2, from the mean of (a^2 cos^2 psi + b^2 sin^2 psi)^-k.
    """
    total = np.empty(dx.shape)
    for start in range(0, dx.size, _SERIES_BLOCK):
        part = slice(start, start + _SERIES_BLOCK)
        with np.errstate(under="ignore"):
            x, y = hole[part] / dx[part], hole[part] / dy[part]
            before = x * y
            x, y = np.square(x), np.square(y)
            middle, product = 0.5 * (x + y), x * y
            this = middle * before
            sum_, factorial = before.copy(), 1.0
            for k in range(2, _TERMS):
                factorial *= k
                term = this / factorial
                if k % 2 == 0:
                    sum_ -= term
                else:
                    sum_ += term
                if not (term > 1e-18 * sum_).any():
                    break
                term = (2.0 - 1.0 / k) * middle
                term *= this
                before = before * product
                before *= 1.0 - 1.0 / k
                term -= before
                before, this = this, term
            total[part] = sum_
    return total


def _top_hat(dx: FloatArray, dy: FloatArray, hole: FloatArray) -> FloatArray:
    a, b = np.maximum(dx, dy) / hole, np.minimum(dx, dy) / hole
    with np.errstate(divide="ignore", invalid="ignore", under="ignore", over="ignore"):
        # hole inside the ellipse; ellipse inside the hole; else two circular and two elliptical sectors
        beyond = np.sqrt(np.maximum((a - 1.0) * (a + 1.0), 0.0))
        within_hole = np.sqrt(np.maximum((1.0 - b) * (1.0 + b), 0.0))
        circle_angle = np.arctan2(b * beyond, a * within_hole)
        ellipse_angle = np.arctan2(within_hole, beyond)
        crossing = (2.0 / math.pi) * (circle_angle / (a * b) + ellipse_angle)
        narrow = (2.0 / math.pi) * np.where(a > 0.0, np.arcsin(np.minimum(1.0 / a, 1.0)) + beyond / np.square(a), 1.0)
        crossing = np.where(a * b > 0.0, crossing, narrow)
        return np.where(a <= 1.0, 1.0, np.where(b >= 1.0, 1.0 / (a * b), np.minimum(crossing, 1.0)))


def fraction_through(dx: ArrayLike, dy: ArrayLike, aperture: ArrayLike, profile: str = "gaussian") -> FloatArray:
    """Return the part of a beam that passes a centred round aperture [1]_.

    A Gaussian ellipse with 1/e radii a, b and an aperture of radius R lets through
    1 - 1/(2 pi) times the integral of exp(-R^2 / (a^2 cos^2 psi + b^2 sin^2 psi)) over psi.

    Parameters
    ----------
    dx, dy : array_like, shape (...)
        Full 1/e diameters of the beam in x and y; 0 for a line or a point. [m]
    aperture : array_like, shape (...)
        Diameter of the aperture. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Fraction, from 0 to 1. [1]

    Raises
    ------
    InputError
        If the profile is not known.
    OutOfRangeError
        If a diameter is negative or not finite, or the aperture is not positive.

    References
    ----------
    .. [1] KOLESAR2000 for the circular Gaussian; the other integrals are derived in docs/method.md.

    Examples
    --------
    >>> round(float(fraction_through(23.53e-3, 23.53e-3, 7e-3)), 3)
    0.085
    """
    choice("profile", profile, PROFILES)
    x, y, hole = np.broadcast_arrays(
        within("dx", dx, "m", 0.0, math.inf), within("dy", dy, "m", 0.0, math.inf), positive("aperture", aperture, "m")
    )
    if profile == "top-hat":
        return np.asarray(_top_hat(x, y, hole))
    with np.errstate(over="ignore", under="ignore"):
        fraction = np.asarray(-np.expm1(-np.square(hole / thin(x, hole))))
    uneven = x != y
    if uneven.any():
        fraction = np.atleast_1d(fraction)
        chosen = np.atleast_1d(uneven)
        found, (a, b, c) = np.empty(int(uneven.sum())), (part[uneven] for part in (x, y, hole))
        wide = np.minimum(a, b) >= c / math.sqrt(_WIDE)
        if wide.any():
            found[wide] = _gaussian_wide(a[wide], b[wide], c[wide])
        if not wide.all():
            found[~wide] = _gaussian_elliptical(a[~wide], b[~wide], c[~wide])
        fraction[chosen] = found
        fraction = fraction.reshape(x.shape)
    return fraction


def mean_exposure(
    amount: ArrayLike, dx: ArrayLike, dy: ArrayLike, aperture: ArrayLike, profile: str = "gaussian"
) -> FloatArray:
    """Return the exposure averaged over a centred round aperture [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy of the beam. [W or J]
    dx, dy : array_like, shape (...)
        Full 1/e diameters of the beam in x and y. [m]
    aperture : array_like, shape (...)
        Diameter of the limiting aperture. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance or radiant exposure; for a beam much wider than the aperture, the peak. [W/m2 or J/m2]

    Raises
    ------
    InputError
        If the profile is not known.
    OutOfRangeError
        If a number cannot be used, or the exposure is not finite.

    References
    ----------
    .. [1] ICNIRP2013, limiting apertures: the limits are averages over the aperture.
    """
    whole = within("amount", amount, "W or J", 0.0, math.inf)
    fraction = fraction_through(dx, dy, aperture, profile)
    return _mean(whole, fraction, positive("aperture", aperture, "m"))


def mean_exposure_of_circular(amount: float, diameter: FloatArray, aperture: float) -> FloatArray:
    """Return `mean_exposure` of a circular Gaussian, for numbers that were checked before [1]_.

    Parameters
    ----------
    amount : float
        Power or energy of the beam. [W or J]
    diameter : numpy.ndarray, shape (...)
        Full 1/e diameter of the beam. [m]
    aperture : float
        Diameter of the limiting aperture. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance or radiant exposure. [W/m2 or J/m2]

    Raises
    ------
    OutOfRangeError
        If the exposure is not finite.

    References
    ----------
    .. [1] KOLESAR2000, fraction through a centred aperture.
    """
    with np.errstate(divide="ignore", over="ignore", under="ignore"):
        fraction = -np.expm1(-np.square(aperture / diameter))
    return _mean(amount, fraction, aperture)


def _mean(whole: FloatArray | float, fraction: FloatArray, hole: FloatArray | float) -> FloatArray:
    with np.errstate(over="ignore", divide="ignore", under="ignore", invalid="ignore"):
        exposure = whole * fraction / (math.pi / 4.0 * np.square(hole))
    return finite("exposure", exposure, "W/m2 or J/m2")


def peak_exposure(amount: ArrayLike, dx: ArrayLike, dy: ArrayLike) -> FloatArray:
    """Return the exposure in the middle of the beam, of a Gaussian or a top-hat [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy of the beam. [W or J]
    dx, dy : array_like, shape (...)
        Full 1/e diameters of the beam in x and y. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        4 amount / (pi dx dy). [W/m2 or J/m2]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a diameter is 0 so that the peak has no bound.

    References
    ----------
    .. [1] SIEGMAN1986, Gaussian beam: its power is its peak times pi a b, with 1/e radii a and b.
    """
    whole = within("amount", amount, "W or J", 0.0, math.inf)
    x, y = positive("dx", dx, "m"), positive("dy", dy, "m")
    with np.errstate(over="ignore", divide="ignore", under="ignore", invalid="ignore"):
        return finite("peak exposure", whole / (math.pi / 4.0 * x * y), "W/m2 or J/m2")
