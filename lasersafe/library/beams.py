"""Beams of many lasers at once, built from what a data sheet says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lasersafe.errors import InputError
from lasersafe.library.given import Given, broadcast, given, given_or_none
from lasersafe.optics.beam import (
    CRITERIA,
    FIBRE_CRITERIA,
    PROFILES,
    PROPAGATIONS,
    BeamGeometry,
    check_diffraction,
    diameters,
    fibre_multimode,
    mean_exposure,
    to_1_over_e,
)
from lasersafe.optics.checks import FloatArray, choice
from lasersafe.quantity import format_quantity
from lasersafe.typed import shown


@dataclass(frozen=True, eq=False, repr=False)
class Beam:
    """Beams, circular or oblong; all diameters and angles are full ones at 1/e of the peak, whatever was typed.

    Attributes
    ----------
    waist_diameter : numpy.ndarray, shape (...)
        Diameter at the waist; 0 for a point focus. [m]
    divergence : numpy.ndarray, shape (...)
        Angle far from the waist. [rad]
    waist_position : numpy.ndarray, shape (...)
        Place of the waist, from the last optic. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.
    waist_diameter_y, divergence_y : numpy.ndarray, shape (...), or None
        The same on the other axis of an oblong beam. [m, rad]
    free : bool
        Whether it leaves the laser without an optic, so that diffraction bounds its divergence.
    """

    waist_diameter: FloatArray
    divergence: FloatArray
    waist_position: FloatArray
    profile: str = "gaussian"
    propagation: str = "hyperbolic"
    waist_diameter_y: FloatArray | None = None
    divergence_y: FloatArray | None = None
    free: bool = False

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape that its arrays have together."""
        beams = self.axes()
        return np.broadcast_shapes(
            *(one.shape for one in (*beams.waist_diameter, *beams.divergence, *beams.waist_position))
        )

    def axes(self) -> BeamGeometry:
        """Return both axes, as the functions of ``hazard`` take them."""
        waist = self.waist_diameter if self.waist_diameter_y is None else self.waist_diameter_y
        angle = self.divergence if self.divergence_y is None else self.divergence_y
        return BeamGeometry(
            (self.waist_diameter, waist), (self.divergence, angle), (self.waist_position, self.waist_position),
            self.profile, self.propagation,
        )  # fmt: skip

    def diameters(self, distance: Given) -> tuple[FloatArray, FloatArray]:
        """Return the full 1/e diameters [m] in x and y at a distance from the last optic.

        Parameters
        ----------
        distance : number, str, pint quantity, or an array of them
            From the last optic. [m]
        """
        way = given("distance", distance)
        broadcast(beam=np.empty(self.shape), distance=way)
        return diameters(self.axes(), way)

    def diameter(self, distance: Given) -> FloatArray:
        """Return the full 1/e diameter [m] of a circular beam at a distance from the last optic.

        Parameters
        ----------
        distance : number, str, pint quantity, or an array of them
            From the last optic. [m]
        """
        if self.waist_diameter_y is not None or self.divergence_y is not None:
            message = "diameter: this beam is oblong and has two; diameters(distance) gives both"
            raise InputError(message)
        return self.diameters(distance)[0]

    def __repr__(self) -> str:
        waist, angle = _span(self.waist_diameter, "m"), _span(self.divergence, "rad")
        if self.waist_diameter_y is not None:
            waist += f" x {_span(self.waist_diameter_y, 'm')}"
        if self.divergence_y is not None:
            angle += f" x {_span(self.divergence_y, 'rad')}"
        return (
            f"Beam: waist {waist} at {_span(self.waist_position, 'm')} from the last optic, "
            f"full angle {angle} (both at 1/e); {self.profile}, {self.propagation}"
        )


def _span(values: FloatArray, unit: str) -> str:
    low, high = float(np.min(values)), float(np.max(values))
    text = format_quantity(low, unit, 4)
    return text if low == high else f"{text} to {format_quantity(high, unit, 4)}"


def _words(criterion: str, profile: str, propagation: str) -> None:
    choice("criterion", criterion, CRITERIA)
    choice("profile", profile, PROFILES)
    choice("propagation", propagation, PROPAGATIONS)


def collimated_beam(
    beam_diameter: Given,
    divergence: Given,
    criterion: str,
    *,
    beam_diameter_y: Given | None = None,
    divergence_y: Given | None = None,
    profile: str = "gaussian",
    propagation: str = "hyperbolic",
) -> Beam:
    """Return a beam without a lens, its waist at the last optic [1]_.

    Parameters
    ----------
    beam_diameter : number, str, pint quantity, or an array of them, shape (...)
        Full diameter at the last optic. [m]
    divergence : number, str, pint quantity, or an array of them, shape (...)
        Full angle, from the data sheet. [rad]
    criterion : str
        What all were read at: ``"1/e"``, ``"1/e2"`` or ``"FWHM"``.
    beam_diameter_y : number, str, pint quantity, or an array of them, shape (...), optional
        Diameter on the other axis of an oblong beam. [m]
    divergence_y : number, str, pint quantity, or an array of them, shape (...), optional
        Full angle on the other axis. [rad]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"``, or ``"linear"`` as published tables use it.

    Returns
    -------
    Beam
        Of the shape of the inputs together.

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] ISO11146-1, clause on the propagation of the beam width.

    Examples
    --------
    >>> collimated_beam("4 mm", "3 mrad", "1/e2")
    Beam: waist 2.828 mm at 0 m from the last optic, full angle 2.121 mrad (both at 1/e); gaussian, hyperbolic
    """
    _words(criterion, profile, propagation)
    width, angle = given("beam diameter", beam_diameter), given("divergence", divergence)
    other, turned = given_or_none("beam diameter", beam_diameter_y), given_or_none("divergence", divergence_y)
    broadcast(beam_diameter=width, divergence=angle, beam_diameter_y=other, divergence_y=turned)
    x, spread, y, spread_y = (
        None if one is None else to_1_over_e(one, criterion, profile) for one in (width, angle, other, turned)
    )
    assert x is not None
    assert spread is not None
    return Beam(x, spread, np.zeros(()), profile, propagation, y, spread_y, free=True)


def lens_beam(
    beam_diameter: Given,
    focal_length: Given,
    criterion: str,
    *,
    beam_diameter_y: Given | None = None,
    focus_diameter: Given | None = None,
    profile: str = "gaussian",
    propagation: str = "hyperbolic",
) -> Beam:
    """Return the beam behind a lens that is lit by a collimated beam [1]_.

    Parameters
    ----------
    beam_diameter : number, str, pint quantity, or an array of them, shape (...)
        Full diameter at the lens. [m]
    focal_length : number, str, pint quantity, or an array of them, shape (...)
        Focal length of a collecting lens. [m]
    criterion : str
        What the diameters were read at: ``"1/e"``, ``"1/e2"`` or ``"FWHM"``.
    beam_diameter_y : number, str, pint quantity, or an array of them, shape (...), optional
        Diameter at the lens on the other axis of an oblong beam. [m]
    focus_diameter : number, str, pint quantity, or an array of them, shape (...), optional
        Full diameter in the focus, the smaller one of an oblong focus. Left out, the focus is a point, which gives the
        farther distance. [m]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    Beam
        From the lens; its waist lies at the focal length.

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] DGUV203-093, section 4.3: full angle d63 / f; OSHA-OTM, lens-on-laser formula.
    """
    _words(criterion, profile, propagation)
    width, length = given("beam diameter", beam_diameter), given("focal length", focal_length)
    spot = given_or_none("focus diameter", focus_diameter)
    other = given_or_none("beam diameter", beam_diameter_y)
    broadcast(beam_diameter=width, focal_length=length, focus_diameter=spot, beam_diameter_y=other)
    waist = np.zeros(()) if spot is None else to_1_over_e(spot, criterion, profile)
    angle = to_1_over_e(width, criterion, profile) / length
    turned = None if other is None else np.asarray(to_1_over_e(other, criterion, profile) / length)
    if not (angle <= np.pi).all() or not (turned is None or (turned <= np.pi).all()):
        message = "focal length: so short for this beam diameter that there is no such lens; check both units"
        raise InputError(message)
    return Beam(waist, np.asarray(angle), length, profile, propagation, divergence_y=turned)


def fibre_beam(
    numerical_aperture: Given,
    criterion: str,
    *,
    core_diameter: Given | None = None,
    propagation: str = "hyperbolic",
) -> Beam:
    """Return the beam from the bare end of a multimode fibre [1]_.

    Parameters
    ----------
    numerical_aperture : number, str, pint quantity, or an array of them, shape (...)
        Numerical aperture, between 0 and 1. [1]
    criterion : str
        Where on the far field it was read: ``"5 %"`` of the peak, ``"1/e2"`` or ``"1/e"``.
    core_diameter : number, str, pint quantity, or an array of them, shape (...), optional
        Diameter of the core. Left out, the end is a point, which gives the farther distance. [m]
    propagation : str
        ``"hyperbolic"`` or ``"linear"``.

    Returns
    -------
    Beam
        From the fibre end.

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] KOLESAR2000, d63 = 2 r NA / 1.7 for the 5 % criterion.
    """
    choice("criterion", criterion, FIBRE_CRITERIA)
    choice("propagation", propagation, PROPAGATIONS)
    aperture, core = given("numerical aperture", numerical_aperture), given_or_none("core diameter", core_diameter)
    broadcast(numerical_aperture=aperture, core_diameter=core)
    per_aperture = fibre_multimode(0.5, criterion).divergence[0] / 0.5  # the angle goes with the aperture
    return Beam(np.zeros(()) if core is None else core, aperture * per_aperture, np.zeros(()), "gaussian", propagation)


def needed_beam(beam: object) -> Beam:
    """Return a beam, or refuse anything else.

    Parameters
    ----------
    beam : object
        What was handed in.

    Raises
    ------
    InputError
        If it is no beam.
    """
    if isinstance(beam, Beam):
        return beam
    message = f"beam = {shown(beam)}: this is no beam; make one with collimated_beam, lens_beam or fibre_beam"
    raise InputError(message)


def check_free_beam(beam: Beam, wavelength: FloatArray) -> None:
    """Refuse a beam without an optic that spreads less than diffraction allows.

    Parameters
    ----------
    beam : Beam
        The beam.
    wavelength : numpy.ndarray, shape (...)
        Vacuum wavelength. [m]

    Raises
    ------
    OutOfRangeError
        With the smallest divergence possible.
    """
    if not beam.free:
        return
    both = beam.axes()
    for waists, angles in zip(both.waist_diameter, both.divergence, strict=True):
        waist, angle, light = np.broadcast_arrays(waists, angles, wavelength)
        if light.size:
            worst = int(np.argmin(waist * angle / light))
            diameter, divergence, lam = (float(array.reshape(-1)[worst]) for array in (waist, angle, light))
            check_diffraction(BeamGeometry((diameter, diameter), (divergence, divergence)), lam)


def beam_exposure(
    beam: Beam,
    distance: Given,
    limiting_aperture: Given,
    *,
    power: Given | None = None,
    pulse_energy: Given | None = None,
) -> FloatArray:
    """Return the exposure along a beam, averaged over a limiting aperture [1]_.

    Parameters
    ----------
    beam : Beam
        The beam.
    distance : number, str, pint quantity, or an array of them, shape (...)
        From the last optic. [m]
    limiting_aperture : number, str, pint quantity, or an array of them, shape (...)
        Diameter over which the exposure is averaged; it belongs to the limit. [m]
    power : number, str, pint quantity, or an array of them, shape (...), optional
        Power of the beam; this or the pulse energy. [W]
    pulse_energy : number, str, pint quantity, or an array of them, shape (...), optional
        Energy of one pulse. [J]

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance, or radiant exposure of one pulse. [W/m2 or J/m2]

    Raises
    ------
    InputError
        If an input cannot be used.

    References
    ----------
    .. [1] KOLESAR2000, fraction through a centred aperture.

    Examples
    --------
    >>> beam_exposure(lens_beam("8.5 mm", "150 mm", "1/e"), ["8 m", "50 m"], "7 mm", power="1.5 kW").round(0)
    array([9651.,  239.])
    """
    if (power is None) == (pulse_energy is None):
        message = "power, pulse energy: give one of them, for an irradiance or for a radiant exposure"
        raise InputError(message)
    amount = given("power", power) if pulse_energy is None else given("pulse energy", pulse_energy)
    hole, (dx, dy) = given("limiting aperture", limiting_aperture), needed_beam(beam).diameters(distance)
    broadcast(beam=dx + dy, limiting_aperture=hole, amount=amount)
    if not ((dx > 0.0) & (dy > 0.0)).all():
        message = "distance: at a point focus there is no finite exposure; give a focus diameter, or another distance"
        raise InputError(message)
    return mean_exposure(amount, dx, dy, hole, beam.profile)
