"""What lies before an eye: air, instruments and cameras: what they lose, collect, magnify and image. No thresholds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import As, Printed, Seen, Source, Span, check_cover, load
from lasersafe.optics.checks import FloatArray, finite, positive, within


@dataclass(frozen=True)
class _Haze:
    visibility: Annotated[Span, As("visibility_km", 1e3)]
    factor: Printed
    power: Printed
    seen: Seen


@dataclass(frozen=True)
class Kruse:
    """The constants of the Kruse form; lengths in m."""

    file: ClassVar = "atmosphere/kruse.toml"
    source: Source
    contrast: Annotated[float, As("form.contrast", printed=True)]
    reference: Annotated[float, As("form.reference_nm", 1e-9, printed=True)]
    wavelength: Annotated[Span, As("form.wavelength_nm", 1e-9)]
    rows: Annotated[tuple[_Haze, ...], As("row")]

    def __post_init__(self) -> None:
        """Refuse visibilities that leave a gap or overlap."""
        check_cover("visibility", (row.visibility for row in self.rows), (0.0, self.rows[-1].visibility[1]))


def transmitted(attenuation: ArrayLike, distance: ArrayLike) -> FloatArray:
    """Return the part of a beam that is left after a way through air, by Beer and Lambert [1]_.

    Parameters
    ----------
    attenuation : array_like, shape (...)
        Attenuation coefficient; 0 for no loss. [m-1]
    distance : array_like, shape (...)
        Length of the way. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        exp(-mu z). [1]

    Raises
    ------
    OutOfRangeError
        If a number is negative or not finite.

    References
    ----------
    .. [1] Elementary: law of Beer and Lambert.

    Examples
    --------
    >>> round(float(transmitted(1e-5, 10e3)), 4)
    0.9048
    """
    loss = within("attenuation", attenuation, "1/m", 0.0, math.inf)
    way = within("distance", distance, "m", 0.0, math.inf)
    with np.errstate(under="ignore", over="ignore"):
        return np.asarray(np.exp(-(loss * way)))


def kruse_attenuation(visibility: float, wavelength: float) -> float:
    """Return the attenuation coefficient of air from the visibility; at an edge of the rows the smaller [1]_.

    Parameters
    ----------
    visibility : float
        Visual range, up to 1000 km. [m]
    wavelength : float
        Wavelength, 400 nm to 2.5 um. [m]

    Returns
    -------
    float
        3.912 / V (wavelength / 550 nm)^-q, where q depends on V. Bands in which vapour absorbs lose more. [m-1]

    Raises
    ------
    OutOfRangeError
        If a number is outside the rows.

    References
    ----------
    .. [1] KRUSE1962, from memory (``shared/atmosphere/kruse.toml``).

    Examples
    --------
    >>> round(kruse_attenuation(10e3, 1064e-9) * 1e4, 3)
    1.659
    """
    data = load(Kruse)
    farthest = data.rows[-1].visibility[1]
    range_ = float(within("visibility", visibility, "m", 1.0, farthest))
    light = float(within("wavelength", wavelength, "m", *data.wavelength))
    found = []
    for row in data.rows:
        if row.visibility[0] <= range_ <= row.visibility[1]:
            exponent = row.factor * (range_ / 1e3) ** row.power
            found.append(data.contrast / range_ * (light / data.reference) ** -exponent)
    return float(finite("attenuation", min(found), "1/m"))


PUPIL = 7e-3  # m; the dilated pupil of the limits
_AIRY = 2.44


def collecting_gain(objective: ArrayLike, pupil: ArrayLike = PUPIL, transmission: ArrayLike = 1.0) -> FloatArray:
    """Return how much more light enters the eye through an instrument whose objective is filled [1]_ [2]_.

    Parameters
    ----------
    objective : array_like, shape (...)
        Diameter of the objective. [m]
    pupil : array_like, shape (...)
        Diameter of the pupil of the eye, or of another limiting aperture. [m]
    transmission : array_like, shape (...)
        Part that the glass passes, 0 to 1. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        tau (D / pupil)^2; can be below 1. An exit pupil wider than the pupil would lose light: nothing is lost, which
        is the bound. [1]

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


def collected(exposure: ArrayLike, focal_length: ArrayLike, f_number: ArrayLike, most: ArrayLike) -> FloatArray:
    """Return what enters the lens from an even exposure at its front [1]_.

    Parameters
    ----------
    exposure : array_like, shape (...)
        Irradiance or radiant exposure at the lens. [W/m2 or J/m2]
    focal_length : array_like, shape (...)
        Focal length. [m]
    f_number : array_like, shape (...)
        The number after f/. [1]
    most : array_like, shape (...)
        Power or energy of the whole beam, which is never exceeded. [W or J]

    Returns
    -------
    numpy.ndarray, shape (...)
        The smaller of E pi D^2 / 4 and the whole. [W or J]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] Elementary: area of the entrance pupil.
    """
    level = within("exposure", exposure, "W/m2 or J/m2", 0.0, math.inf)
    whole = within("most", most, "W or J", 0.0, math.inf)
    return np.asarray(np.minimum(level * (math.pi / 4.0) * np.square(entrance_pupil(focal_length, f_number)), whole))


def image_spot(
    wavelength: ArrayLike,
    focal_length: ArrayLike,
    f_number: ArrayLike,
    source_angle: ArrayLike = 0.0,
    pixel: ArrayLike = 0.0,
    defocus: ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Return the diameter of the image of a source, and whether the source is resolved [1]_.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]
    focal_length : array_like, shape (...)
        Focal length. [m]
    f_number : array_like, shape (...)
        The number after f/. [1]
    source_angle : array_like, shape (...)
        Angle that the source subtends at the camera; 0 for a beam that enters the lens. [rad]
    pixel : array_like, shape (...)
        Width of a pixel; 0 where not known, which is the bound. [m]
    defocus : array_like, shape (...)
        Diameter of the blur; 0 for a sharp image, which is the bound. [m]

    Returns
    -------
    tuple of numpy.ndarray, each of shape (...)
        The largest of 2.44 lambda N, f alpha, pixel and blur [m]; 1 where f alpha is that, else 0. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] Elementary: Airy disc and image of an angle.
    """
    light, number = positive("wavelength", wavelength, "m"), positive("f_number", f_number, "")
    image = positive("focal_length", focal_length, "m") * within("source_angle", source_angle, "rad", 0.0, math.pi)
    least = np.maximum(_AIRY * light * number, within("pixel", pixel, "m", 0.0, math.inf))
    least = np.maximum(least, within("defocus", defocus, "m", 0.0, math.inf))
    return np.asarray(np.maximum(image, least)), np.asarray(image > least, dtype=np.float64)


def spot_exposure(amount: ArrayLike, spot_diameter: ArrayLike, transmission: ArrayLike = 1.0) -> FloatArray:
    """Return the exposure in an image spot that holds all that was collected [1]_.

    The mean over the spot; the middle of a perfect Airy disc is up to 3.7 times as bright.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy that enters the lens. [W or J]
    spot_diameter : array_like, shape (...)
        Diameter of the image. [m]
    transmission : array_like, shape (...)
        Part that lens and filter pass. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        tau P / (pi d^2 / 4). [W/m2 or J/m2]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] Elementary: power over area.
    """
    inside = within("amount", amount, "W or J", 0.0, math.inf) * within("transmission", transmission, "", 0.0, 1.0)
    with np.errstate(over="ignore"):
        area = math.pi / 4.0 * np.square(positive("spot_diameter", spot_diameter, "m"))
        return finite("exposure in the image", inside / area, "W/m2 or J/m2")


def resolved_exposure(
    exposure_on_surface: ArrayLike, reflectance: ArrayLike, f_number: ArrayLike, transmission: ArrayLike = 1.0
) -> FloatArray:
    """Return the exposure in the image of a resolved scattering spot, which no distance changes [1]_.

    Parameters
    ----------
    exposure_on_surface : array_like, shape (...)
        Irradiance or radiant exposure of the lit spot. [W/m2 or J/m2]
    reflectance : array_like, shape (...)
        Part scattered, 0 to 1. [1]
    f_number : array_like, shape (...)
        The number after f/. [1]
    transmission : array_like, shape (...)
        Part that lens and filter pass. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        pi tau L / (4 N^2) with L = rho E / pi. [W/m2 or J/m2]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] MCCLUNEY1994, irradiance of an image by the radiance of its object.
    """
    level = within("exposure_on_surface", exposure_on_surface, "W/m2 or J/m2", 0.0, math.inf)
    sent = level * within("reflectance", reflectance, "", 0.0, 1.0) * within("transmission", transmission, "", 0.0, 1.0)
    with np.errstate(over="ignore"):
        return finite("exposure in the image", sent / (4.0 * np.square(positive("f_number", f_number, ""))), "W/m2")
