"""Beams: how wide they are, what passes an aperture, and how a laser, a lens or a fibre end makes one.

Numbers that the formulas of ``optics`` and ``hazard`` cannot use are refused; nothing is clipped or masked.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.quantity import FIBRE_FACTOR, OVER_1_E, choice

FloatArray = NDArray[np.float64]
_MOST, _LEAST = float(np.finfo(np.float64).max), math.ulp(0.0)


def floats(name: str, value: ArrayLike) -> FloatArray:
    """Return *value* as an array of floats.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    InputError
        If it is not numbers.
    """
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError):
        refuse(f"{name} = {value!r} is not a number; give plain numbers in SI units")


def _checked(name: str, value: ArrayLike, unit: str, low: float, high: float, allowed: str = "") -> FloatArray:
    """Return *value* as floats, or refuse the first that is not from *low* to *high*, NaN too."""
    most = min(high, _MOST)
    if type(value) is float and low <= value <= most:
        return np.asarray(value)
    numbers = floats(name, value)
    if numbers.size and not (numbers.min() >= low and numbers.max() <= most):
        first = float(np.atleast_1d(numbers)[~np.atleast_1d((numbers >= low) & (numbers <= most))].flat[0])
        allowed = allowed or (f"{low:.6g} or more and finite" if math.isinf(high) else f"from {low:.6g} to {high:.6g}")
        refuse(f"{name} = {first:.6g} {unit}".rstrip() + f": must be {allowed}; correct this figure", OutOfRangeError)
    return numbers


def finite(name: str, value: ArrayLike, unit: str) -> FloatArray:
    """Return *value* as floats, or refuse it where it is NaN or infinite.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]
    unit : str
        Unit of *value*, for the message.

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    OutOfRangeError
        If any number is NaN or infinite.
    """
    return _checked(name, value, unit, -_MOST, _MOST, "a finite number")


def positive(name: str, value: ArrayLike, unit: str, most: float = _MOST) -> FloatArray:
    """Return *value* as floats, or refuse it where it is not above zero and finite.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]
    unit : str
        Unit of *value*, for the message.
    most : float, optional
        Largest number allowed. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    OutOfRangeError
        If any number is NaN, infinite, zero or negative, or above the largest.
    """
    allowed = "above 0 and finite" + ("" if most == _MOST else f", at most {most:.6g}")
    return _checked(name, value, unit, _LEAST, most, allowed)


def within(name: str, value: ArrayLike, unit: str, low: float, high: float) -> FloatArray:
    """Return *value* as floats, or refuse it where it is outside *low* to *high* (both allowed).

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape (...)
        What was given. [any]
    unit : str
        Unit of *value*, for the message.
    low, high : float
        Smallest and largest number allowed; *high* may be infinity, which itself is never allowed. [any]

    Returns
    -------
    numpy.ndarray, shape (...)
        The same numbers. [any]

    Raises
    ------
    OutOfRangeError
        If any number is NaN, infinite or outside.
    """
    return _checked(name, value, unit, low, high)


class Many:
    """Base of records of numbers: of one case, or of many as arrays of shape (n,) that broadcast together."""

    def taken(self, at: NDArray[np.intp]) -> Self:
        """Return the cases with these numbers."""
        return replace(self, **{name: taken(value, at) for name, value in vars(self).items()})  # type: ignore[type-var]


def taken(value: Any, at: NDArray[np.intp]) -> Any:
    """Return the cases with some numbers.

    Parameters
    ----------
    value : Many, numpy.ndarray of shape () or (n,), a tuple or list of them, or what all cases share
        Values of cases.
    at : numpy.ndarray of int, shape (m,)
        Numbers of the cases.

    Returns
    -------
    Many, numpy.ndarray of shape () or (m,), tuple or list
        The same of these cases; what was one array in two places still is.
    """
    if isinstance(value, np.ndarray):
        return value[at] if value.ndim else value
    if isinstance(value, (tuple, list)):
        found = {id(one): taken(one, at) for one in value}
        return type(value)(found[id(one)] for one in value)
    return value.taken(at) if isinstance(value, Many) else value


def unique(values: FloatArray) -> FloatArray:
    """Return values in order without doubles; `numpy.unique` would load `numpy.ma`, which every command would pay for.

    Parameters
    ----------
    values : numpy.ndarray, shape (...)
        Any numbers. [any]

    Returns
    -------
    numpy.ndarray, shape (n,)
        Ascending. [any]
    """
    ordered = np.sort(values, axis=None)
    keep = np.ones(ordered.size, dtype=bool)
    keep[1:] = ordered[1:] != ordered[:-1]
    return np.asarray(ordered[keep])


def first_highest(values: FloatArray) -> int:
    """Return the place of the highest number, of equals the first: what differs in the last digits is equal.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        Numbers of 0 or more. [any]

    Returns
    -------
    int
        Where it is; 0 where there is a NaN. [1]
    """
    return int(np.argmax(values >= values.max() * (1.0 - 1e-12)))


Pair = tuple[float, float]

PROFILES = ("gaussian", "top-hat")
PROPAGATIONS = ("hyperbolic", "linear")
CRITERIA = tuple(OVER_1_E)

_LONGEST = 1e15  # m, and its inverse in rad: far beyond any use, and far from what overflows
_TAKEN = {  # of one beam: unit, lowest and highest
    "waist_diameter": ("m", 0.0, _LONGEST),
    "divergence": ("rad", 1.0 / _LONGEST, math.pi),
    "waist_position": ("m", -_LONGEST, _LONGEST),
}


def pair(name: str, value: ArrayLike) -> Pair:
    """Return one number twice, or two numbers, as the axes x and y.

    Parameters
    ----------
    name : str
        Name of the field, for the message.
    value : array_like, shape () or (2,)
        What was given. [any]

    Returns
    -------
    tuple of float, (x, y)
        The two numbers. [any]

    Raises
    ------
    InputError
        If it is neither one number nor two.
    """
    numbers = floats(name, value)
    if numbers.shape not in ((), (1,), (2,)):
        refuse(f"{name} = {value!r}: give one number, or two for the axes x and y")
    x, y = np.broadcast_to(numbers, (2,))
    return float(x), float(y)


@dataclass(frozen=True)
class BeamGeometry(Many):
    """A beam, or many as arrays that broadcast together, as the formulas of this package use them [1]_.

    Numbers and words are checked here, arrays where they are used. Where both axes are one array, they are circular.

    Parameters
    ----------
    waist_diameter : tuple of float, or of numpy.ndarray of shape (...), (x, y)
        Full 1/e diameter at the waist; 0 for a point focus. [m]
    divergence : tuple of float, or of numpy.ndarray of shape (...), (x, y)
        Full 1/e angle far from the waist. [rad]
    waist_position : tuple of float, or of numpy.ndarray of shape (...), (x, y)
        Place of the waist, from the last optic; negative inside the laser. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"`` (evenly filled disc or ellipse).
    propagation : str
        ``"hyperbolic"``, d^2 = d0^2 + phi^2 (z - z0)^2, or ``"linear"``, d = d0 + phi |z - z0|.

    Raises
    ------
    OutOfRangeError
        If a number is not finite or a length is beyond 1e15 m, a waist is negative, or a divergence is not above 0
        (1e-15 rad) and at most pi.
    InputError
        If a profile or propagation is not known.

    References
    ----------
    .. [1] ISO11146-1, clause on the propagation of the beam width.
    """

    waist_diameter: tuple[Any, Any]
    divergence: tuple[Any, Any]
    waist_position: tuple[Any, Any] = (0.0, 0.0)
    profile: str = "gaussian"
    propagation: str = "hyperbolic"

    def __post_init__(self) -> None:
        choice("profile", self.profile, PROFILES)
        choice("propagation", self.propagation, PROPAGATIONS)
        if not self.single:
            return
        for name, (unit, low, high) in _TAKEN.items():
            both = getattr(self, name)
            if type(both) is tuple and len(both) == 2 and all(type(x) is float and low <= x <= high for x in both):
                continue  # what is made by the formulas of this package
            object.__setattr__(self, name, pair(name, both))
            within(name, getattr(self, name), unit, low, high)

    @property
    def single(self) -> bool:
        """Whether it is one beam, not arrays."""
        pairs = (self.waist_diameter, self.divergence, self.waist_position)
        return not any(isinstance(one, np.ndarray) for both in pairs if isinstance(both, tuple) for one in both)

    def as_wide_as(self, axis: int) -> BeamGeometry:
        """Return the circular beam as wide everywhere as one axis."""
        waist, angle, place = self.waist_diameter[axis], self.divergence[axis], self.waist_position[axis]
        return BeamGeometry((waist, waist), (angle, angle), (place, place), self.profile, self.propagation)

    @property
    def circular(self) -> bool:
        """Whether both axes of every beam are alike."""
        pairs = (self.waist_diameter, self.divergence, self.waist_position)
        return all(
            x is y or (x == y if isinstance(x, float) and isinstance(y, float) else np.array_equal(x, y))
            for x, y in pairs
        )


def diameters(beam: BeamGeometry, distance: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the 1/e diameters of a beam in x and y at a distance, or of many beams.

    Parameters
    ----------
    beam : BeamGeometry
        The beam; its numbers were checked when it was made.
    distance : array_like, shape (...)
        Distance along the path from the last optic. [m]

    Returns
    -------
    tuple of numpy.ndarray, each of shape (...)
        Full 1/e diameters. [m]

    Raises
    ------
    OutOfRangeError
        If a distance is not a finite number.
    """
    if isinstance(distance, float) and beam.single:
        return _diameters_at(beam, float(distance))
    place = finite("distance", distance, "m")
    x = _along(beam.waist_diameter[0], beam.divergence[0], place - beam.waist_position[0], beam.propagation)
    if beam.circular:
        return x, x
    return x, _along(beam.waist_diameter[1], beam.divergence[1], place - beam.waist_position[1], beam.propagation)


@lru_cache(maxsize=2048)
def _diameters_at(beam: BeamGeometry, distance: float) -> tuple[FloatArray, FloatArray]:
    x, y = diameters(beam, np.asarray(distance))
    for one in (x, y):
        one.setflags(write=False)
    return x, y


def _along(waist: ArrayLike, angle: ArrayLike, way: FloatArray, propagation: str) -> FloatArray:
    with np.errstate(over="ignore"):
        spread = np.asarray(angle) * way
        diameter = np.hypot(waist, spread) if propagation == "hyperbolic" else waist + np.abs(spread)
    return finite("diameter", diameter, "m")


def to_1_over_e(width: ArrayLike, criterion: str, profile: str = "gaussian") -> FloatArray:
    """Return a diameter or divergence at 1/e of the peak from one on another criterion [1]_.

    Parameters
    ----------
    width : array_like, shape (...)
        Full diameter or full angle on *criterion*. [m or rad]
    criterion : str
        ``"1/e"``, ``"1/e2"`` or ``"FWHM"``.
    profile : str
        ``"gaussian"``, or ``"top-hat"`` whose edge is the same place on every criterion.

    Returns
    -------
    numpy.ndarray, shape (...)
        The same at 1/e: a Gaussian's 1/e2 width over sqrt(2), its FWHM over sqrt(ln 2). [m or rad]

    Raises
    ------
    InputError
        If the criterion or profile is not known.
    OutOfRangeError
        If a width is not positive and finite.

    References
    ----------
    .. [1] SIEGMAN1986, Gaussian beam: its profile is exp(-(2 r / d63)^2).

    Examples
    --------
    >>> float(to_1_over_e(4.0, "1/e2").round(4))
    2.8284
    """
    choice("criterion", criterion, CRITERIA)
    choice("profile", profile, PROFILES)
    factor = OVER_1_E[criterion] if profile == "gaussian" else 1.0
    return np.asarray(positive("width", width, "") / factor)


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
                sum_ += term if k % 2 else -term
                if not (term > 1e-18 * sum_).any():
                    break
                before, this = this, (2.0 - 1.0 / k) * middle * this - before * product * (1.0 - 1.0 / k)
            total[part] = sum_
    return total


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
        a, b = np.maximum(x, y) / hole, np.minimum(x, y) / hole
        with np.errstate(divide="ignore", invalid="ignore", under="ignore", over="ignore"):
            # hole inside the ellipse; ellipse inside the hole; else two circular and two elliptical sectors
            beyond = np.sqrt(np.maximum((a - 1.0) * (a + 1.0), 0.0))
            within_hole = np.sqrt(np.maximum((1.0 - b) * (1.0 + b), 0.0))
            circle_angle = np.arctan2(b * beyond, a * within_hole)
            ellipse_angle = np.arctan2(within_hole, beyond)
            crossing = (2.0 / math.pi) * (circle_angle / (a * b) + ellipse_angle)
            share = np.arcsin(np.minimum(1.0 / a, 1.0)) + beyond / np.square(a)
            narrow = (2.0 / math.pi) * np.where(a > 0.0, share, 1.0)
            crossing = np.where(a * b > 0.0, crossing, narrow)
            inside = np.where(b >= 1.0, 1.0 / (a * b), np.minimum(crossing, 1.0))
            return np.asarray(np.where(a <= 1.0, 1.0, inside))
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
    fraction, hole = fraction_through(dx, dy, aperture, profile), positive("aperture", aperture, "m")
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


FIBRE_CRITERIA = tuple(FIBRE_FACTOR)

_ROUNDING = 1e-9


def both(value: Any, change: Callable[[Any], Any]) -> tuple[Any, Any]:
    """Return the axes x and y of a beam changed alike: one array for both stays one, and a number stays a number.

    Parameters
    ----------
    value : float, or numpy.ndarray of shape (...), or a tuple or list of two
        One for both axes, or each. [any]
    change : callable
        What is done with an axis.

    Returns
    -------
    tuple of float or numpy.ndarray of shape (...), (x, y)
        The axes. [any]
    """
    x, y = value if isinstance(value, (tuple, list)) else (value, value)
    first = change(x) if isinstance(x, np.ndarray) else float(change(x))
    return first, first if y is x else change(y) if isinstance(y, np.ndarray) else float(change(y))


def collimated(
    diameter: Any, divergence: Any, criterion: str, profile: str = "gaussian", *, waist_position: Any = 0.0,
    at: Any = 0.0, propagation: str = "hyperbolic",
) -> BeamGeometry:  # fmt: skip
    """Return a free beam, or many, from a diameter measured at a stated place and a divergence [1]_.

    Parameters
    ----------
    diameter : float, or numpy.ndarray of shape (...), or a tuple of two
        Full diameter at the place *at*; two for an elliptical beam. [m]
    divergence : float, or numpy.ndarray of shape (...), or a tuple of two
        Full angle far from the waist. [rad]
    criterion : str
        ``"1/e"``, ``"1/e2"`` or ``"FWHM"``, of both diameter and divergence.
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    waist_position : float, or numpy.ndarray of shape (...), or a tuple of two
        Place of the waist, from the last optic. [m]
    at : float, or numpy.ndarray of shape (...)
        Place where the diameter was measured, from the last optic. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    BeamGeometry
        The beam; its waist follows from the diameter measured. Of many it is NaN where the angle alone is wider.

    Raises
    ------
    InputError
        If a word is not known.
    OutOfRangeError
        If a number cannot be used, or the beam would already be wider at *at* by its divergence alone.

    References
    ----------
    .. [1] ISO11146-1, clause on the propagation of the beam width.
    """
    choice("propagation", propagation, PROPAGATIONS)
    width = both(diameter, lambda one: to_1_over_e(positive("diameter", one, "m"), criterion, profile))
    angle = both(divergence, lambda one: to_1_over_e(positive("divergence", one, "rad"), criterion, profile))
    position = both(waist_position, lambda one: finite("waist_position", one, "m"))
    first, second = zip(width, angle, position, strict=True)
    x = _waist(*first, at, propagation)
    y = x if all(one is other for one, other in zip(first, second, strict=True)) else _waist(*second, at, propagation)
    return BeamGeometry((x, y), angle, position, profile, propagation)


def _waist(width: Any, angle: Any, position: Any, at: Any, propagation: str) -> Any:
    """Return the diameter at the waist from one at another place; of many NaN where the angle alone is wider."""
    place = finite("at", at, "m")
    spread = angle * np.abs(place - position)
    room = np.asarray(width - spread)
    single = not room.ndim and isinstance(width, float)
    if single and not room > 0.0:
        refuse(
            f"diameter = {width:.6g} m (1/e) at {place:.6g} m: the divergence alone makes the beam "
            f"{spread:.6g} m wide there; check the divergence and the place of the waist",
            OutOfRangeError,
        )
    if not (room > 0.0).all():
        room = np.where(room > 0.0, room, math.nan)
    waist = np.sqrt(room * (width + spread)) if propagation == "hyperbolic" else room
    return float(waist) if single else waist


def through_lens(
    diameter: Any, focal_length: Any, criterion: str, profile: str = "gaussian", *, focus_diameter: Any = None,
    propagation: str = "hyperbolic",
) -> BeamGeometry:  # fmt: skip
    """Return the beam behind a lens that is lit by a collimated beam, or many [1]_.

    Parameters
    ----------
    diameter : float, or numpy.ndarray of shape (...), or a tuple of two
        Full diameter at the lens. [m]
    focal_length : float, or numpy.ndarray of shape (...)
        Focal length; negative for a diverging lens, whose focus is virtual. [m]
    criterion : str
        ``"1/e"``, ``"1/e2"`` or ``"FWHM"``, of every diameter here.
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    focus_diameter : float, or numpy.ndarray of shape (...), or a tuple of two, optional
        Full diameter in the focus. Left out, the focus is a point, which gives the farther distance. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    BeamGeometry
        The beam, from the lens: divergence d over the size of f, waist at z = f.

    Raises
    ------
    InputError
        If a word is not known.
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] DGUV203-093, section 4.3: full angle d63 / f; OSHA-OTM, lens-on-laser formula.
    """
    length, _ = both(focal_length, lambda one: finite("focal_length", one, "m"))
    size = positive("focal_length without its sign", np.abs(length), "m")
    waist: tuple[Any, Any] = (0.0, 0.0)
    if focus_diameter is not None:
        waist = both(focus_diameter, lambda one: to_1_over_e(positive("focus_diameter", one, "m"), criterion, profile))
    angle = both(diameter, lambda one: to_1_over_e(positive("diameter", one, "m"), criterion, profile) / size)
    return BeamGeometry(waist, angle, (length, length), profile, propagation)


def fibre_multimode(
    numerical_aperture: ArrayLike, criterion: str, *, core_diameter: ArrayLike | None = None,
    propagation: str = "hyperbolic",
) -> BeamGeometry:  # fmt: skip
    """Return the beam from the bare end of a multimode fibre, or of many as arrays [1]_.

    Parameters
    ----------
    numerical_aperture : array_like, shape (...)
        Numerical aperture, between 0 and 1. [1]
    criterion : str
        Where on the far field the numerical aperture was read: ``"5 %"`` of the peak, ``"1/e2"`` or ``"1/e"``.
    core_diameter : array_like, shape (...), optional
        Diameter of the core, taken as the waist; left out, the end is a point. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    BeamGeometry
        Gaussian beam; divergence 2 NA / 1.7 for the 5 % criterion, 2 NA / sqrt(2) for 1/e2, 2 NA for 1/e.

    Raises
    ------
    InputError
        If the criterion is not known.
    OutOfRangeError
        If the numerical aperture is not between 0 and 1 or the core is not positive.

    References
    ----------
    .. [1] KOLESAR2000, d63 = 2 r NA / 1.7 (1.7 is the rounded square root of ln 20, which is 1.731).

    Examples
    --------
    >>> round(fibre_multimode(0.20, "5 %").divergence[0] * 14, 3)
    3.294
    """
    choice("criterion", criterion, FIBRE_CRITERIA)
    aperture = within("numerical_aperture", positive("numerical_aperture", numerical_aperture, ""), "", 0.0, 1.0)
    angle = 2.0 * aperture / FIBRE_FACTOR[criterion]
    core = 0.0 if core_diameter is None else positive("core_diameter", core_diameter, "m") * 1.0  # a number stays one
    return BeamGeometry((core, core), (angle, angle), (0.0, 0.0), "gaussian", propagation)


def fibre_single_mode(
    mode_field_diameter: ArrayLike, wavelength: ArrayLike, *, propagation: str = "hyperbolic"
) -> BeamGeometry:
    """Return the beam from the bare end of a single-mode fibre, or of many as arrays [1]_.

    Parameters
    ----------
    mode_field_diameter : array_like, shape (...)
        Mode field diameter, at 1/e2. [m]
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    BeamGeometry
        Gaussian beam: waist MFD / sqrt(2), divergence 2 sqrt(2) wavelength / (pi MFD).

    Raises
    ------
    OutOfRangeError
        If a number is not positive, or the mode is so small that the angle would reach pi.

    References
    ----------
    .. [1] KOLESAR2000, d63 = 2 sqrt(2) r wavelength / (pi MFD).
    """
    field, light = positive("mode_field_diameter", mode_field_diameter, "m"), positive("wavelength", wavelength, "m")
    waist = field / math.sqrt(2.0)
    angle = 2.0 * math.sqrt(2.0) * light / (math.pi * field)
    return BeamGeometry((waist, waist), (angle, angle), (0.0, 0.0), "gaussian", propagation)


def least_divergence(waist_diameter: float, wavelength: float) -> float:
    """Return the smallest full 1/e angle that diffraction allows [1]_.

    Parameters
    ----------
    waist_diameter : float
        Full 1/e diameter at the waist. [m]
    wavelength : float
        Vacuum wavelength. [m]

    Returns
    -------
    float
        2 wavelength / (pi d63), the same as a half angle of wavelength / (pi w0) at 1/e2. [rad]

    Raises
    ------
    OutOfRangeError
        If a number is not positive and finite.

    References
    ----------
    .. [1] ISO11146-1, beam propagation ratio, which is 1 for the Gaussian and more for any other beam.
    """
    waist = float(positive("waist_diameter", waist_diameter, "m"))
    return 2.0 * float(positive("wavelength", wavelength, "m")) / (math.pi * waist)


def narrowest(beams: Sequence[BeamGeometry]) -> BeamGeometry:
    """Return a beam that is nowhere behind the last optic wider than any of some, all of one profile [1]_.

    Parameters
    ----------
    beams : sequence of BeamGeometry
        The beams, without a point focus. [1]

    Returns
    -------
    BeamGeometry
        On each axis with the least waist and divergence, the waist as far away as any, and as much narrower as a waist
        that is nearer asks for.

    References
    ----------
    .. [1] Own: (q - z)^2 - (p - z)^2 is q^2 - p^2 at most, for a waist at p, the last at q and any z of 0 or more.
    """
    found = []
    for axis in (0, 1):
        waist, angle = min(one.waist_diameter[axis] for one in beams), min(one.divergence[axis] for one in beams)
        places = [one.waist_position[axis] for one in beams]
        last = max(places)
        nearer = math.sqrt(max(0.0, *(last * last - place * place for place in places)))
        angle = min(angle, waist / nearer) if nearer else angle
        found.append((math.sqrt(max(waist * waist - (angle * nearer) ** 2, 0.0)), angle, last))
    waists, angles, positions = zip(*found, strict=True)
    kinds = {one.propagation for one in beams}
    same = len(kinds) == 1 and len({one.waist_position for one in beams}) == 1
    return BeamGeometry(waists, angles, positions, beams[0].profile, kinds.pop() if same else "hyperbolic")


def check_diffraction(beam: BeamGeometry, wavelength: ArrayLike, criterion: str = "1/e") -> None:
    """Refuse a divergence smaller than diffraction allows for the waist [1]_.

    A point focus (waist 0) is a deliberate bound and is not judged.

    Parameters
    ----------
    beam : BeamGeometry
        The beam, or many of shape (...). [1]
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]
    criterion : str
        On which a refusal names the angles and the waist, best the one that was typed.

    Raises
    ------
    OutOfRangeError
        If an axis beats diffraction, with the smallest divergence possible.

    References
    ----------
    .. [1] ISO11146-1, beam propagation ratio, which is 1 for the Gaussian and more for any other beam.
    """
    typed = OVER_1_E[criterion] if beam.profile == "gaussian" else 1.0
    for axis, *pairs in zip("xy", beam.waist_diameter, beam.divergence, strict=True):
        every = np.broadcast_arrays(*pairs, positive("wavelength", wavelength, "m"))
        share = np.where(every[0] > 0.0, every[0] * every[1] / every[2], math.inf)
        if not np.isfinite(share).any():
            continue
        waist, angle, light = (float(one.flat[int(share.argmin())]) for one in every)
        least = least_divergence(waist, light)
        if not angle >= least * (1.0 - _ROUNDING):
            where = "" if beam.circular else f" in {axis}"
            refuse(
                f"divergence = {typed * angle * 1e3:.6g} mrad{where} (full angle at {criterion}) is below the "
                f"diffraction limit: {light * 1e9:.6g} nm light with a waist of {typed * waist * 1e3:.6g} mm "
                f"({criterion}) spreads by at least {typed * least * 1e3:.6g} mrad; check the criterion, the unit and "
                "the beam diameter",
                OutOfRangeError,
            )
