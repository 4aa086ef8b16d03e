"""Build the beam of a free laser, a lens or a fibre end, and refuse one that diffraction forbids.

Every diameter and every divergence in a `BeamGeometry` is a full one at 1/e of the peak (d63 for a Gaussian).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.optics.checks import FloatArray, choice, finite, positive, within
from lasersafe.optics.geometry import (
    CRITERIA,
    PROFILES,
    PROPAGATIONS,
    BeamGeometry,
    Pair,
    diameters,
    pair,
    to_1_over_e,
)

__all__ = [
    "CRITERIA",
    "FIBRE_CRITERIA",
    "PROFILES",
    "PROPAGATIONS",
    "BeamGeometry",
    "check_diffraction",
    "collimated",
    "diameters",
    "fibre_multimode",
    "fibre_single_mode",
    "least_divergence",
    "through_lens",
    "to_1_over_e",
    "waist_before",
]

FIBRE_CRITERIA = ("5 %", "1/e2", "1/e")

FIBRE_FACTOR = {"5 %": 1.7, "1/e2": math.sqrt(2.0), "1/e": 1.0}
_ROUNDING = 1e-9


def collimated(
    diameter: ArrayLike,
    divergence: ArrayLike,
    criterion: str,
    profile: str = "gaussian",
    *,
    waist_position: ArrayLike = 0.0,
    at: ArrayLike = 0.0,
    propagation: str = "hyperbolic",
) -> BeamGeometry:
    """Return a free beam from a diameter measured at a stated place and a divergence [1]_.

    Parameters
    ----------
    diameter : array_like, shape () or (2,)
        Full diameter at the place *at*; two numbers for an elliptical beam. [m]
    divergence : array_like, shape () or (2,)
        Full angle far from the waist. [rad]
    criterion : str
        ``"1/e"``, ``"1/e2"`` or ``"FWHM"``, of both diameter and divergence.
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    waist_position : array_like, shape () or (2,)
        Place of the waist, from the last optic. [m]
    at : array_like, shape () or (2,)
        Place where the diameter was measured, from the last optic. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    BeamGeometry
        The beam; its waist follows from the diameter measured.

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
    width = pair("diameter", to_1_over_e(positive("diameter", diameter, "m"), criterion, profile))
    angle = pair("divergence", to_1_over_e(positive("divergence", divergence, "rad"), criterion, profile))
    position = pair("waist_position", finite("waist_position", waist_position, "m"))
    place = pair("at", finite("at", at, "m"))
    for axis in (0, 1):
        spread = angle[axis] * abs(place[axis] - position[axis])
        if not spread < width[axis]:
            message = (
                f"diameter = {width[axis]:.6g} m (1/e) at {place[axis]:.6g} m: the divergence alone makes the beam "
                f"{spread:.6g} m wide there; check the divergence and the place of the waist"
            )
            raise OutOfRangeError(message)
    x, y = waist_before(np.array(width), np.array(angle), np.subtract(place, position), propagation)
    return BeamGeometry((float(x), float(y)), angle, position, profile, propagation)


def waist_before(width: FloatArray, angle: FloatArray, away: FloatArray, propagation: str) -> FloatArray:
    """Return the waist of beams from their diameter at a distance from it; NaN where the angle alone is wider.

    Parameters
    ----------
    width : numpy.ndarray, shape (...)
        Full diameter. [m]
    angle : numpy.ndarray, shape (...)
        Full angle. [rad]
    away : numpy.ndarray, shape (...)
        Distance from the waist. [m]
    propagation : str
        ``hyperbolic`` or ``linear``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Diameter at the waist. [m]
    """
    spread = angle * np.abs(away)
    rest = width - spread
    possible = rest > 0.0
    room = np.where(possible, rest, math.nan)
    return np.sqrt(room * (width + spread)) if propagation == "hyperbolic" else room


def through_lens(
    diameter: ArrayLike,
    focal_length: float,
    criterion: str,
    profile: str = "gaussian",
    *,
    focus_diameter: ArrayLike | None = None,
    propagation: str = "hyperbolic",
) -> BeamGeometry:
    """Return the beam behind a lens that is lit by a collimated beam [1]_.

    Parameters
    ----------
    diameter : array_like, shape () or (2,)
        Full diameter at the lens. [m]
    focal_length : float
        Focal length; negative for a diverging lens, whose focus is virtual. [m]
    criterion : str
        ``"1/e"``, ``"1/e2"`` or ``"FWHM"``, of every diameter here.
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    focus_diameter : array_like, shape () or (2,), optional
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
    width = pair("diameter", to_1_over_e(positive("diameter", diameter, "m"), criterion, profile))
    length = float(finite("focal_length", focal_length, "m"))
    positive("focal_length without its sign", abs(length), "m")
    waist: Pair = (0.0, 0.0)
    if focus_diameter is not None:
        spot = to_1_over_e(positive("focus_diameter", focus_diameter, "m"), criterion, profile)
        waist = pair("focus_diameter", spot)
    angle = (width[0] / abs(length), width[1] / abs(length))
    return BeamGeometry(waist, angle, (length, length), profile, propagation)


def fibre_multimode(
    numerical_aperture: float,
    criterion: str,
    *,
    core_diameter: float | None = None,
    propagation: str = "hyperbolic",
) -> BeamGeometry:
    """Return the beam from the bare end of a multimode fibre [1]_.

    Parameters
    ----------
    numerical_aperture : float
        Numerical aperture, between 0 and 1. [1]
    criterion : str
        Where on the far field the numerical aperture was read: ``"5 %"`` of the peak, ``"1/e2"`` or ``"1/e"``.
    core_diameter : float, optional
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
    aperture = float(positive("numerical_aperture", numerical_aperture, ""))
    within("numerical_aperture", aperture, "", 0.0, 1.0)
    angle = 2.0 * aperture / FIBRE_FACTOR[criterion]
    core = 0.0 if core_diameter is None else float(positive("core_diameter", core_diameter, "m"))
    return BeamGeometry((core, core), (angle, angle), (0.0, 0.0), "gaussian", propagation)


def fibre_single_mode(
    mode_field_diameter: float, wavelength: float, *, propagation: str = "hyperbolic"
) -> BeamGeometry:
    """Return the beam from the bare end of a single-mode fibre [1]_.

    Parameters
    ----------
    mode_field_diameter : float
        Mode field diameter, at 1/e2. [m]
    wavelength : float
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
    field = float(positive("mode_field_diameter", mode_field_diameter, "m"))
    light = float(positive("wavelength", wavelength, "m"))
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


def check_diffraction(beam: BeamGeometry, wavelength: float) -> None:
    """Refuse a divergence smaller than diffraction allows for the waist [1]_.

    A point focus (waist 0) is a deliberate bound and is not judged.

    Parameters
    ----------
    beam : BeamGeometry
        The beam. [1]
    wavelength : float
        Vacuum wavelength. [m]

    Raises
    ------
    OutOfRangeError
        If an axis beats diffraction, with the smallest divergence possible.

    References
    ----------
    .. [1] ISO11146-1, beam propagation ratio, which is 1 for the Gaussian and more for any other beam.
    """
    light = float(positive("wavelength", wavelength, "m"))
    for axis, waist, angle in zip("xy", beam.waist_diameter, beam.divergence, strict=True):
        if waist == 0.0:
            continue
        least = least_divergence(waist, light)
        if not angle >= least * (1.0 - _ROUNDING):
            where = "" if beam.circular else f" in {axis}"
            message = (
                f"divergence = {angle * 1e3:.6g} mrad{where} (full angle at 1/e) is below the diffraction limit: "
                f"{light * 1e9:.6g} nm light with a waist of {waist * 1e3:.6g} mm (1/e) spreads by at least "
                f"{least * 1e3:.6g} mrad; check the criterion, the unit and the beam diameter"
            )
            raise OutOfRangeError(message)
