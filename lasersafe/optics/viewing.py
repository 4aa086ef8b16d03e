"""Instruments held to the eye: what they collect, pass on and magnify."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.optics.checks import FloatArray, finite, positive, within

PUPIL = 7e-3  # m; the dilated pupil of the limits


def collecting_gain(
    objective: ArrayLike,
    pupil: ArrayLike = PUPIL,
    transmission: ArrayLike = 1.0,
    magnification: ArrayLike | None = None,
) -> FloatArray:
    """Return how much more light enters the eye through an instrument whose objective is filled [1]_ [2]_.

    Parameters
    ----------
    objective : array_like, shape (...)
        Diameter of the objective. [m]
    pupil : array_like, shape (...)
        Diameter of the pupil of the eye, or of another limiting aperture. [m]
    transmission : array_like, shape (...)
        Part that the glass passes, 0 to 1. [1]
    magnification : array_like, shape (...), optional
        Angular magnification; an exit pupil wider than the pupil then loses light. Left out: nothing is lost, which is
        the bound. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        tau (D / pupil)^2, at most tau M^2 with a magnification; can be below 1. [1]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory.
    .. [2] BINOCULAR, 7x50 at a pupil of 7 mm.

    Examples
    --------
    >>> round(float(collecting_gain(50e-3)), 2)
    51.02
    """
    widening = positive("objective", objective, "m") / positive("pupil", pupil, "m")
    if magnification is not None:
        widening = np.minimum(widening, positive("magnification", magnification, ""))
    part = within("transmission", transmission, "", 0.0, 1.0)
    with np.errstate(over="ignore"):
        return finite("collecting gain", part * np.square(widening), "")


def imaged_aperture(aperture: ArrayLike, objective: ArrayLike, magnification: ArrayLike) -> FloatArray:
    """Return the diameter at the objective of the light that comes through a limiting aperture at the eye [1]_ [2]_.

    Parameters
    ----------
    aperture : array_like, shape (...)
        Diameter of the limiting aperture. [m]
    objective : array_like, shape (...)
        Diameter of the objective. [m]
    magnification : array_like, shape (...)
        Angular magnification. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        M D_a, at most the objective; for a pupil of 7 mm or more the objective, whatever its exit pupil loses. [m]

    Raises
    ------
    OutOfRangeError
        If a number is not positive and finite.

    References
    ----------
    .. [1] Elementary: the exit pupil is the objective made smaller by the magnification.
    .. [2] ANSI-Z136-1, appendix B, from memory: the objective counts whole where the aperture is the pupil.

    Examples
    --------
    >>> imaged_aperture([1e-3, 3.5e-3, 7e-3], 50e-3, 7.0).tolist()
    [0.007, 0.0245, 0.05]
    """
    hole, whole = positive("aperture", aperture, "m"), positive("objective", objective, "m")
    image = np.minimum(hole * positive("magnification", magnification, ""), whole)
    return np.asarray(np.where(hole >= PUPIL, whole, image))


def magnified_angle(source_angle: ArrayLike, magnification: ArrayLike) -> FloatArray:
    """Return the angle that a source subtends through an instrument [1]_.

    Parameters
    ----------
    source_angle : array_like, shape (...)
        Angle without the instrument. [rad]
    magnification : array_like, shape (...)
        Angular magnification. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        M alpha, at most pi. [rad]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] Elementary: angular magnification.

    Examples
    --------
    >>> float(magnified_angle(1e-3, 7.0))
    0.007
    """
    angle = within("source_angle", source_angle, "rad", 0.0, math.pi)
    return np.asarray(np.minimum(angle * positive("magnification", magnification, ""), math.pi))


def entrance_pupil(focal_length: ArrayLike, f_number: ArrayLike) -> FloatArray:
    """Return the diameter of the entrance pupil of a lens [1]_.

    Parameters
    ----------
    focal_length : array_like, shape (...)
        Focal length. [m]
    f_number : array_like, shape (...)
        Focal length over pupil, the number after f/. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        f / N. [m]

    Raises
    ------
    OutOfRangeError
        If a number is not positive and finite.

    References
    ----------
    .. [1] Elementary: definition of the f-number.

    Examples
    --------
    >>> float(entrance_pupil(200e-3, 2.8).round(4))
    0.0714
    """
    return finite(
        "entrance pupil", positive("focal_length", focal_length, "m") / positive("f_number", f_number, ""), "m"
    )
