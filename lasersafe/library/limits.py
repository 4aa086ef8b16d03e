"""Exposure limits and eyewear for whatever a caller hands in: see ``lasersafe.limits`` for the same on SI floats."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe import limits
from lasersafe.errors import InputError
from lasersafe.hazard import marking
from lasersafe.hazard.eyewear_scale import scale_numbers as needed_numbers
from lasersafe.hazard.lasting import body_area
from lasersafe.library.given import Given, broadcast, given, given_density, given_or_none
from lasersafe.limits import ExposureLimit, PulseTrainLimit, rule_sets
from lasersafe.optics.beam import CRITERIA, PROFILES, to_1_over_e
from lasersafe.optics.checks import FloatArray, choice

TISSUES = ("eye", "skin")
MODES = "DIRM"


def exposure_limit(
    rule_set: str,
    tissue: str,
    wavelength: Given,
    duration: Given,
    source_angle: Given = 1.5e-3,
    *,
    exposed_area: Given | None = None,
) -> ExposureLimit:
    """Return the exposure limit of one edition, the strictest of all hazards [1]_ [2]_.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        ``"eye"`` or ``"skin"``.
    wavelength : number, str, pint quantity, or an array of them, shape (...)
        Vacuum wavelength, 180 nm to 1 mm. [m]
    duration : number, str, pint quantity, or an array of them, shape (...)
        Exposure duration, or that of a single pulse, 100 fs to 30 000 s. [s]
    source_angle : number, str, pint quantity, or an array of them, shape (...)
        Angle that the source subtends at the eye. [rad]
    exposed_area : number, str, pint quantity, or an array of them, shape (...), optional
        Area of skin that is exposed; it counts in the far infrared. Left out: a large one, as distances take it. [m2]

    Returns
    -------
    ExposureLimit
        ``irradiance`` [W/m2], ``radiant_exposure`` [J/m2], ``limiting_aperture`` [m], ``hazard`` and ``source`` as
        arrays of the shape of all inputs together.

    Raises
    ------
    InputError
        If an input cannot be used.
    OutOfRangeError
        If the edition does not cover an input.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_*.toml``).
    .. [2] EU2006-25, Annex II, Tables 2.2 to 2.6 (``shared/limits/eu200625_*.toml``).

    Examples
    --------
    >>> exposure_limit("ICNIRP-2013", "eye", ["532 nm", "1064 nm"], "0.25 s").irradiance.round(1)
    array([ 25.5, 127.3])
    """
    _known(rule_set, tissue)
    light, time, angle, area = _given(
        tissue, wavelength=wavelength, duration=duration, source_angle=source_angle, exposed_area=exposed_area
    )
    return limits.exposure_limit(rule_set, tissue, light, time, angle, exposed_area=area)


def pulse_train_limit(
    rule_set: str,
    tissue: str,
    wavelength: Given,
    pulse_duration: Given,
    repetition_rate: Given,
    duration: Given,
    source_angle: Given = 1.5e-3,
    *,
    exposed_area: Given | None = None,
) -> PulseTrainLimit:
    """Return the limit for each pulse of a regular train of equal pulses [1]_ [2]_.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        ``"eye"`` or ``"skin"``.
    wavelength : number, str, pint quantity, or an array of them, shape (...)
        Vacuum wavelength, 180 nm to 1 mm. [m]
    pulse_duration : number, str, pint quantity, or an array of them, shape (...)
        Duration of one pulse. [s]
    repetition_rate : number, str, pint quantity, or an array of them, shape (...)
        Pulses per second. [Hz]
    duration : number, str, pint quantity, or an array of them, shape (...)
        Exposure duration. [s]
    source_angle : number, str, pint quantity, or an array of them, shape (...)
        Angle that the source subtends at the eye. [rad]
    exposed_area : number, str, pint quantity, or an array of them, shape (...), optional
        Area of skin that is exposed. Left out: a large one, as distances take it. [m2]

    Returns
    -------
    PulseTrainLimit
        ``per_pulse`` [J/m2] and ``deciding_rule`` as arrays of the shape of all inputs together; ``rows`` holds every
        rule with its own limiting aperture.

    Raises
    ------
    InputError
        If an input cannot be used, or a pulse is longer than its period.
    OutOfRangeError
        If the edition does not cover an input.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_train_*.toml``).
    .. [2] EU2006-25, Annex II, Table 2.6 (``shared/limits/eu200625_train_*.toml``).
    """
    _known(rule_set, tissue)
    light, pulse, rate, time, angle, area = _given(
        tissue, wavelength=wavelength, pulse_duration=pulse_duration, repetition_rate=repetition_rate,
        duration=duration, source_angle=source_angle, exposed_area=exposed_area,
    )  # fmt: skip
    return limits.pulse_train_limit(rule_set, tissue, light, pulse, rate, time, angle, exposed_area=area)


def _known(rule_set: str, tissue: str) -> None:
    choice("rule_set", rule_set, rule_sets())
    choice("tissue", tissue, TISSUES)


def _given(tissue: str, **named: Given) -> list[Any]:
    """Return inputs as SI numbers; the last is the exposed area, a large one where it was left out."""
    area = given_or_none("exposed area", named.pop("exposed_area"))
    read = {name: given(name.replace("_", " "), value) for name, value in named.items()}
    broadcast(**read, exposed_area=area)
    return [*read.values(), body_area(tissue, read["wavelength"]) if area is None else area]


def optical_density(exposure: Given, limit: Given, *, exact: bool = False) -> FloatArray:
    """Return the optical density that brings an exposure down to its limit, rounded up to 0.1 [1]_.

    Density says nothing about damage: see `scale_numbers` for what the filter has to withstand.

    Parameters
    ----------
    exposure : number, str, pint quantity, or an array of them, shape (...)
        Exposure without eyewear, averaged over the limiting aperture. [W/m2 or J/m2]
    limit : number, str, pint quantity, or an array of them, shape (...)
        Exposure limit, in the same kind of unit. [W/m2 or J/m2]
    exact : bool
        Do not round; below 0 where the exposure is below the limit.

    Returns
    -------
    numpy.ndarray, shape (...)
        Optical density, 0 where none is needed. [1]

    Raises
    ------
    InputError
        If an input cannot be used, or one is an irradiance and the other a radiant exposure.

    References
    ----------
    .. [1] DGUV203-042, sections 5.1 and 5.1.3.

    Examples
    --------
    >>> optical_density("25.984 kW/m2", ["50 W/m2", "5 mW/cm2"])
    array([2.8, 2.8])
    """
    above, unit = given_density("exposure", exposure)
    below, other = given_density("limit", limit)
    if unit and other and unit != other:
        message = f"exposure is in {unit} and limit in {other}: give both as irradiance, or both as radiant exposure"
        raise InputError(message)
    broadcast(exposure=above, limit=below)
    density = np.asarray(marking.optical_density(above, below))
    return density if exact else np.asarray(marking.round_up_density(density))


def scale_numbers(
    wavelength: Given,
    beam_diameter: Given,
    criterion: str,
    *,
    power: Given | None = None,
    pulse_energy: Given | None = None,
    pulse_duration: Given | None = None,
    repetition_rate: Given | None = None,
    profile: str = "gaussian",
) -> dict[str, FloatArray]:
    """Return the EN 207 scale numbers that circular beams ask of eyewear, by mode letter [1]_ [2]_.

    A pulse train asks for every letter named, on the same eyewear. A scale number is about damage; the marking must
    also be at least the optical density, see `optical_density`.

    Parameters
    ----------
    wavelength : number, str, pint quantity, or an array of them, shape (...)
        Vacuum wavelength. [m]
    beam_diameter : number, str, pint quantity, or an array of them, shape (...)
        Full diameter at the eyewear. [m]
    criterion : str
        What it was read at: ``"1/e"``, ``"1/e2"`` or ``"FWHM"``.
    power : number, str, pint quantity, or an array of them, shape (...), optional
        Power of a continuous beam. [W]
    pulse_energy : number, str, pint quantity, or an array of them, shape (...), optional
        Energy of one pulse. [J]
    pulse_duration : number, str, pint quantity, or an array of them, shape (...), optional
        Duration of one pulse. [s]
    repetition_rate : number, str, pint quantity, or an array of them, shape (...), optional
        Pulses per second; left out: one single pulse. [Hz]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.

    Returns
    -------
    dict of str to numpy.ndarray, shape (...)
        Letter D, I, R or M -> scale number; 0 where a beam does not ask for the letter, infinity beyond the highest
        number that the standard has, so that no marking is ever enough.

    Raises
    ------
    InputError
        If an input cannot be used, or neither or both of power and pulses are given.

    References
    ----------
    .. [1] EN207-2017, table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, sections 5.2 to 5.4.

    Examples
    --------
    >>> scale_numbers("1070 nm", "7 mm", "1/e", power=["10 W", "1 kW", "500 kW"])
    {'D': array([ 6.,  8., inf])}
    """
    choice("criterion", criterion, CRITERIA)
    choice("profile", profile, PROFILES)
    names = ("wavelength", "beam diameter", "power", "pulse energy", "pulse duration", "repetition rate")
    values = (wavelength, beam_diameter, power, pulse_energy, pulse_duration, repetition_rate)
    read = {name: given_or_none(name, value) for name, value in zip(names, values, strict=True)}
    if read["wavelength"] is None or read["beam diameter"] is None:
        message = "wavelength, beam diameter: both are needed"
        raise InputError(message)
    read["beam diameter"] = to_1_over_e(read["beam diameter"], criterion, profile)
    shape = broadcast(**{name.replace(" ", "_"): value for name, value in read.items()})
    flat = {name: None if one is None else np.broadcast_to(one, shape).reshape(-1) for name, one in read.items()}
    found: dict[str, NDArray[np.float64]] = {}
    for place in range(int(np.prod(shape))):
        light, width, *rest = (None if one is None else float(one[place]) for one in flat.values())
        assert light is not None
        assert width is not None
        needs = needed_numbers(
            light, beam_diameter_63=width,
            power=rest[0], pulse_energy=rest[1], pulse_duration=rest[2], repetition_rate=rest[3],
        )  # fmt: skip
        for need in needs:
            row = found.setdefault(need.mode, np.zeros(int(np.prod(shape))))
            number = np.inf if need.scale_number is None else float(need.scale_number)
            row[place] = max(row[place], number)
    return {letter: found[letter].reshape(shape) for letter in MODES if letter in found}
