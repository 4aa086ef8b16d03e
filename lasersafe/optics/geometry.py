"""How wide a beam is at a distance.

Every diameter and every divergence in a `BeamGeometry` is a full one at 1/e of the peak (d63 for a Gaussian).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.optics.checks import FloatArray, choice, finite, floats, positive, within

Pair = tuple[float, float]

PROFILES = ("gaussian", "top-hat")
PROPAGATIONS = ("hyperbolic", "linear")
CRITERIA = ("1/e", "1/e2", "FWHM")

_GAUSSIAN_FACTOR = {"1/e": 1.0, "1/e2": math.sqrt(2.0), "FWHM": math.sqrt(math.log(2.0))}
_LONGEST = 1e15  # m, and its inverse in rad: far beyond any use, and far from what overflows


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
        message = f"{name} = {value!r}: give one number, or two for the axes x and y"
        raise InputError(message)
    x, y = np.broadcast_to(numbers, (2,))
    return float(x), float(y)


@dataclass(frozen=True)
class BeamGeometry:
    """A beam, or many as arrays that broadcast together, as the formulas of this package use them [1]_.

    Numbers are checked here, arrays where they are used. Where both axes are one array, the beams are circular.

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
        if not self.single:
            return
        for name in ("waist_diameter", "divergence", "waist_position"):
            object.__setattr__(self, name, pair(name, getattr(self, name)))
        within("waist_diameter", self.waist_diameter, "m", 0.0, _LONGEST)
        positive("divergence", self.divergence, "rad")
        within("divergence", self.divergence, "rad", 1.0 / _LONGEST, math.pi)
        within("waist_position", self.waist_position, "m", -_LONGEST, _LONGEST)
        choice("profile", self.profile, PROFILES)
        choice("propagation", self.propagation, PROPAGATIONS)

    @property
    def single(self) -> bool:
        """Whether it is one beam, not arrays."""
        pairs = (self.waist_diameter, self.divergence, self.waist_position)
        return not any(isinstance(one, np.ndarray) for both in pairs if isinstance(both, tuple) for one in both)

    @property
    def circular(self) -> bool:
        """Whether both axes of every beam are alike."""
        pairs = (self.waist_diameter, self.divergence, self.waist_position)
        return all(
            x is y or (x == y if isinstance(x, float) and isinstance(y, float) else np.array_equal(x, y))
            for x, y in pairs
        )

    def taken(self, at: NDArray[np.intp]) -> BeamGeometry:
        """Return the beams with these numbers."""
        if self.single:
            return self

        def some(axes: tuple[Any, Any]) -> tuple[Any, Any]:
            first = axes[0] if np.ndim(axes[0]) == 0 else axes[0][at]
            return first, first if axes[1] is axes[0] else (axes[1] if np.ndim(axes[1]) == 0 else axes[1][at])

        pairs = (some(self.waist_diameter), some(self.divergence), some(self.waist_position))
        return BeamGeometry(*pairs, self.profile, self.propagation)


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
    factor = _GAUSSIAN_FACTOR[criterion] if profile == "gaussian" else 1.0
    return np.asarray(positive("width", width, "") / factor)
