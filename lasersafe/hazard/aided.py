"""Viewing through binoculars, a camera finder or a magnifier: exposure and distances (ENOHD)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import As, Printed, Seen, Source, Span, check, check_cover, load
from lasersafe.errors import InputError
from lasersafe.hazard.distances import direct_distance, scatter_distance_extended
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.checks import FloatArray, positive
from lasersafe.optics.geometry import BeamGeometry
from lasersafe.optics.viewing import PUPIL, collecting_gain, entrance_pupil, imaged_aperture
from lasersafe.reference import shared_path

NORMAL_LENS = 50e-3  # m; a finder shows life size with about this lens (common practice, no source)


@dataclass(frozen=True)
class Band:
    """How much glass passes between two wavelengths [m]."""

    wavelength: Annotated[Span, As("wavelength_nm", 1e-9)]
    transmission: Printed
    seen: Seen

    def __post_init__(self) -> None:
        """Refuse glass that adds light."""
        check(0.0 < self.transmission <= 1.0, "'transmission' must be above 0 and at most 1")


@dataclass(frozen=True)
class Aid:
    """An instrument: name, angular magnification, objective [m] and where the figures come from.

    ``glass`` False takes no credit for what glass stops: transmission 1 at every wavelength.
    """

    name: str
    magnification: Printed
    objective: Annotated[float, As("objective_mm", 1e-3, printed=True)]
    note: str = ""
    seen: Seen = "memory"
    glass: Annotated[bool, As(None)] = True

    def collects(self, aperture: ArrayLike) -> FloatArray:
        """Return the diameter [m] at the objective of what comes through limiting apertures [m] of shape (...)."""
        return imaged_aperture(aperture, self.objective, self.magnification)

    def gain(self, wavelength: float, aperture: float = PUPIL) -> float:
        """Return the collecting gain at a wavelength [m] into a limiting aperture [m], with the objective filled."""
        passed = transmission(wavelength) if self.glass else 1.0
        return float(collecting_gain(self.collects(aperture), aperture, passed))

    def words(self, wavelength: float, aperture: float) -> str:
        """Return the instrument in words, with what it passes at a wavelength [m] into a limiting aperture [m]."""
        passed = transmission(wavelength) if self.glass else 1.0
        used = f"{float(self.collects(aperture)) * 1e3:.3g} mm of the objective into {aperture * 1e3:.3g} mm"
        return f"{self.name}, {used}, τ = {passed:g}"


# What a case that says only "aided" is compared with: the standard 7x50, and no credit for its glass.
UNDESCRIBED = Aid("7x50 without loss (the aid is not described)", 7.0, 50e-3, glass=False)


@dataclass(frozen=True)
class _Viewing:
    source: Source
    band: tuple[Band, ...]
    aid: tuple[Aid, ...]

    def __post_init__(self) -> None:
        edges = [one.wavelength for one in self.band]
        check_cover("bands", edges, (min(low for low, _ in edges), max(high for _, high in edges)))


@lru_cache(maxsize=1)
def viewing_data() -> tuple[tuple[Band, ...], tuple[Aid, ...], Source]:
    """Return the bands and instruments of ``shared/viewing/aids.toml`` and its source.

    Raises
    ------
    ReferenceDataError
        If the file is damaged.
    """
    content = load(_Viewing, shared_path("viewing", "aids.toml"))
    return content.band, content.aid, content.source


def transmission(wavelength: float) -> float:
    """Return the part that the glass of an instrument passes; at an edge the larger neighbour [1]_.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    float
        0.9 visible, 0.7 near it, 0 where glass stops the light. [1]

    Raises
    ------
    OutOfRangeError
        If the wavelength is not positive and finite.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory (``shared/viewing/aids.toml``).

    Examples
    --------
    >>> transmission(532e-9), transmission(1070e-9), transmission(10.6e-6)
    (0.9, 0.7, 0.0)
    """
    place = float(positive("wavelength", wavelength, "m"))
    slack = 1e-12 * place
    found = [b.transmission for b in viewing_data()[0] if b.wavelength[0] - slack <= place <= b.wavelength[1] + slack]
    return max(found, default=0.0)


def aid(name: str) -> Aid:
    """Return an instrument of the data file by name.

    Parameters
    ----------
    name : str
        As in ``shared/viewing/aids.toml``.

    Returns
    -------
    Aid
        The instrument.

    Raises
    ------
    InputError
        If there is none of this name.
    """
    for one in viewing_data()[1]:
        if one.name == name:
            return one
    known = ", ".join(one.name for one in viewing_data()[1])
    message = f"viewing aid = {name!r} is not known here; write one of: {known}"
    raise InputError(message)


def finder(focal_length: float, f_number: float) -> Aid:
    """Return the optical finder of a camera with a lens; an electronic finder or a screen is no aid [1]_.

    Parameters
    ----------
    focal_length : float
        Focal length of the lens. [m]
    f_number : float
        The number after f/. [1]

    Returns
    -------
    Aid
        Objective f / N, magnification f / 50 mm but not below 1.

    Raises
    ------
    OutOfRangeError
        If a number is not positive and finite.

    References
    ----------
    .. [1] Own: common practice, no source: a finder shows life size with a lens of about 50 mm.
    """
    pupil = float(entrance_pupil(focal_length, f_number))
    return Aid("optical finder of a camera", max(1.0, focal_length / NORMAL_LENS), pupil, "common practice, no source")


def aided_exposure(
    amount: ArrayLike, dx: ArrayLike, dy: ArrayLike, objective: float, gain: float, profile: str = "gaussian"
) -> FloatArray:
    """Return the exposure at the eye behind an instrument, averaged over the limiting aperture as imaged [1]_.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy of the beam. [W or J]
    dx, dy : array_like, shape (...)
        Full 1/e diameters of the beam at the objective. [m]
    objective : float
        Diameter of what is collected at the objective, see `Aid.collects`. [m]
    gain : float
        Collecting gain into the same limiting aperture, see `Aid.gain`. [1]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        The mean over what is collected times the gain. [W/m2 or J/m2]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory.
    """
    return np.asarray(mean_exposure(amount, dx, dy, objective, profile) * gain)


def aided_distance(
    amount: float, limit: float, aperture: float, beam: BeamGeometry, objective: float, gain: float
) -> float:
    """Return the farthest distance at which a beam exceeds a limit, with or without the instrument: the ENOHD [1]_.

    Parameters
    ----------
    amount : float
        Power or energy of the beam. [W or J]
    limit : float
        Exposure limit. [W/m2 or J/m2]
    aperture : float
        Limiting aperture of the eye without the instrument. [m]
    beam : BeamGeometry
        The beam. [1]
    objective : float
        Diameter of what is collected at the objective, see `Aid.collects`. [m]
    gain : float
        Collecting gain into the same aperture; 0 where the glass passes nothing. [1]

    Returns
    -------
    float
        Distance from the last optic, never below that of the bare eye. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory.
    """
    bare = direct_distance(amount, limit, aperture, beam)
    if gain == 0.0:
        return bare
    return max(bare, direct_distance(amount, limit / float(positive("gain", gain, "")), objective, beam))


def aided_scatter_distance(
    amount: float,
    reflectance: float,
    view_angle: float,
    model: str,
    spot_diameter: tuple[float, float],
    limit_of_angle: Callable[[FloatArray], FloatArray],
    gain: float,
    magnification: float,
    largest_angle: float = math.pi,
) -> float:
    """Return how far a scattering spot exceeds a limit through an instrument that also magnifies the spot [1]_ [2]_.

    Parameters
    ----------
    amount : float
        Power or energy that falls on the surface. [W or J]
    reflectance : float
        Part scattered, 0 to 1. [1]
    view_angle : float
        Angle between the surface normal and the eye, 0 to pi / 2. [rad]
    model : str
        ``"lambert"`` or ``"hemisphere"``.
    spot_diameter : tuple of float, (x, y)
        Diameters of the spot; 0 gives no credit for an extended source. [m]
    limit_of_angle : callable
        Takes source angles [rad] of any shape, returns the limits there [W/m2 or J/m2].
    gain : float
        Collecting gain. [1]
    magnification : float
        Angular magnification. [1]
    largest_angle : float
        What each axis, magnified, is limited to before the mean of both is taken. [rad]

    Returns
    -------
    float
        Distance from the spot, never below that of the bare eye. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used or a limit is not positive.

    References
    ----------
    .. [1] ICNIRP2013, angular subtense: the magnified source counts.
    .. [2] ANSI-Z136-1, appendix B, from memory.
    """
    limited = partial(
        scatter_distance_extended, reflectance=reflectance, view_angle=view_angle, model=model,
        limit_of_angle=limit_of_angle, largest_angle=largest_angle,
    )  # fmt: skip
    bare = limited(amount, spot_diameter=spot_diameter)
    if gain == 0.0:
        return float(bare)
    more = amount * float(positive("gain", gain, ""))
    wide = spot_diameter[0] * magnification, spot_diameter[1] * magnification
    aided = limited(more, spot_diameter=wide)  # seen as a spot so much larger
    return max(float(bare), float(aided))


def enohd_factor(gain: float) -> float:
    """Return by what an instrument lengthens the distance of a wide beam [1]_.

    Parameters
    ----------
    gain : float
        Collecting gain. [1]

    Returns
    -------
    float
        Its square root, at least 1. [1]

    References
    ----------
    .. [1] BINOCULAR, from the law of the square of the distance.
    """
    return max(1.0, math.sqrt(gain))
