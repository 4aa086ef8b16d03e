"""Limits, distances and eyewear for numbers and arrays."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe import limits
from lasersafe.ask import EyewearQuestion
from lasersafe.ask.eyewear import work_out
from lasersafe.errors import InputError, refuse
from lasersafe.hazard import distances, marking
from lasersafe.hazard.distances import ReachArrays, beam_reach, reaches
from lasersafe.hazard.exposure import Comparison, Emission, Received, body_area, compare
from lasersafe.hazard.eyewear_scale import scale_numbers as needed_numbers
from lasersafe.library.beams import FIELDS, Beam, Given, broadcast, checked, given, given_density
from lasersafe.limits import ExposureLimit, PulseTrainLimit, rule_sets
from lasersafe.optics.beam import FloatArray, check_diffraction, to_1_over_e
from lasersafe.quantity import format_quantity, shown
from lasersafe.records import MarkingVerdict
from lasersafe.wording import caution_line

MODES = "DIRM"


@checked
def exposure_limit(
    rule_set: str, tissue: str, wavelength: Given, duration: Given, source_angle: Given = 1.5e-3, *,
    exposed_area: Given | None = None,
) -> ExposureLimit:  # fmt: skip
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
    area = body_area(tissue, wavelength) if exposed_area is None else exposed_area
    return limits.exposure_limit(rule_set, tissue, wavelength, duration, source_angle, exposed_area=area)


@checked
def pulse_train_limit(
    rule_set: str, tissue: str, wavelength: Given, pulse_duration: Given, repetition_rate: Given, duration: Given,
    source_angle: Given = 1.5e-3, *, exposed_area: Given | None = None,
) -> PulseTrainLimit:  # fmt: skip
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
    area = body_area(tissue, wavelength) if exposed_area is None else exposed_area
    pulses = pulse_duration, repetition_rate, duration
    return limits.pulse_train_limit(rule_set, tissue, wavelength, *pulses, source_angle, exposed_area=area)


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
        refuse(f"exposure is in {unit} and limit in {other}: give both as irradiance, or both as radiant exposure")
    broadcast(exposure=above, limit=below)
    density = np.asarray(marking.optical_density(above, below))
    return density if exact else np.asarray(marking.round_up_density(density))


@checked
def scale_numbers(
    wavelength: Given, beam_diameter: Given, criterion: str, *, power: Given | None = None,
    pulse_energy: Given | None = None, pulse_duration: Given | None = None, repetition_rate: Given | None = None,
    profile: str = "gaussian",
) -> dict[str, FloatArray]:  # fmt: skip
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
        Power of a continuous beam, or the mean power of a train. [W]
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
        If an input cannot be used, or the emission is incomplete.

    References
    ----------
    .. [1] EN207-2017, table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, sections 5.2 to 5.4.

    Examples
    --------
    >>> scale_numbers("1070 nm", "7 mm", "1/e", power=["10 W", "1 kW", "500 kW"])
    {'D': array([ 6.,  8., inf])}
    """
    sent = _light(power, pulse_energy, pulse_duration, repetition_rate)
    names = "power", "pulse_energy", "pulse_duration", "repetition_rate"
    width = to_1_over_e(beam_diameter, criterion, profile)
    light, width, *each = np.broadcast_arrays(wavelength, width, *(getattr(sent, name) for name in names))
    found: dict[str, NDArray[np.float64]] = {}
    for place in np.ndindex(light.shape):
        mean, energy, pulse, rate = (float(values[place]) for values in each)
        one = Emission(sent.kind, mean, energy, pulse, rate)
        for need in needed_numbers(one, float(light[place]), float(width[place])):
            row = found.setdefault(need.mode, np.zeros(light.shape))
            row[place] = max(row[place], np.inf if need.scale_number is None else need.scale_number)
    return {letter: found[letter] for letter in MODES if letter in found}


@dataclass(frozen=True, eq=False, repr=False)
class HazardDistance(ReachArrays):
    """Distances beyond which the computed exposure is below every limit for the stated time, and what decided each.

    ``numpy.asarray(result)`` gives the distances; ``float(result)`` that of a single beam.

    Attributes
    ----------
    way, tissue : str
        ``"direct"`` or ``"scatter"``; ``"eye"`` or ``"skin"``.
    distance : numpy.ndarray, shape (...)
        From the last optic along the path, or from the lit surface for scatter; 0 where nothing is above a limit. [m]
    duration : numpy.ndarray, shape (...)
        Exposure duration. [s]
    limit : numpy.ndarray, shape (...)
        The limit that decided, in ``limit_unit``. [W/m2 or J/m2]
    limit_unit : str
        ``"W/m2"``, or ``"J/m2"`` for one pulse.
    limiting_aperture : numpy.ndarray, shape (...)
        Diameter over which the exposure is averaged for that limit. [m]
    rule_set, hazard, rule : numpy.ndarray of str, shape (...)
        Which limit decided, by its rule: "continuous", "single pulse", "mean" or "train".
    by_rule_set : dict of str to numpy.ndarray, shape (...)
        The distance under each rule set alone. [m]
    """

    way: str
    tissue: str
    duration: FloatArray
    limit_unit: str
    rule_set: NDArray[np.str_]
    hazard: NDArray[np.str_]
    rule: NDArray[np.str_]

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        if copy is False:
            return np.asarray(self.distance, dtype=dtype)
        return np.array(self.distance, dtype=dtype)

    def __float__(self) -> float:
        return float(self.distance)

    def rounded_up(self, step: float = 0.1) -> FloatArray:
        """Return the distances rounded up, as they are to be printed.

        Parameters
        ----------
        step : float
            To whole multiples of it. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            Never below `distance`. [m]
        """
        width = given("distance", step)
        if width.ndim or not float(width) > 0.0:
            refuse(f"step = {step!r}: must be above 0, one length for all")
        digits = max(0, 2 - math.floor(math.log10(float(width))))
        up = np.round(np.ceil(self.distance / width) * width, digits)
        return np.asarray(np.where(up >= self.distance, up, np.round(up + width, digits)))

    def __repr__(self) -> str:
        """Say it in words, distances rounded up and limits down, with the caution."""
        if self.distance.size == 0:
            return f"{self.way}, {self.tissue}: no beams\n{caution_line()}"
        where = "last optic" if self.way == "direct" else "lit surface"
        low, high = (format_quantity(end, "m", 3, "up") for end in (self.distance.min(), self.distance.max()))
        time = format_quantity(float(self.duration.flat[0]), "s")
        if self.distance.size > 1:
            text = f"{self.distance.size} distances, {low} to {high} from the {where}"
        elif float(self.distance.flat[0]) == 0.0:
            text = f"nowhere above a limit for {time}"
        else:
            limit = format_quantity(float(self.limit.flat[0]), self.limit_unit, 4, "down")
            decided = ", ".join(self.labels[int(self.decided.flat[0])])
            text = f"{low} from the {where}; beyond it the computed exposure is below {limit} ({decided}) for {time}"
        return f"{self.way}, {self.tissue}: {text}\n{caution_line()}"


def _light(
    mean: FloatArray | None, energy: FloatArray | None, pulse: FloatArray | None, rate: FloatArray | None
) -> Emission:
    if pulse is None:
        if mean is not None and energy is None and rate is None:
            return Emission("continuous", power=mean)
        message = "emission is missing: give power, or pulse_energy with pulse_duration"
        if energy is not None or rate is not None:
            message = "pulse duration is missing: give it with the pulse energy or the repetition rate"
    elif rate is None:
        if mean is None and energy is not None:
            return Emission("single pulse", pulse_energy=energy, pulse_duration=pulse)
        message = "one single pulse needs pulse_energy and pulse_duration; a train needs repetition_rate too"
    else:
        each = np.asarray(mean / rate) if energy is None and mean is not None else energy if mean is None else None
        if each is not None:
            return Emission("pulse train", pulse_energy=each, pulse_duration=pulse, repetition_rate=rate)
        message = "a pulse train needs either pulse_energy or power (the mean power), and not both"
    raise InputError(message)


def _distance(
    way: str, seen: Received, rule_set: str | None, reach: Callable[[Comparison], FloatArray]
) -> HazardDistance:
    names = rule_sets() if rule_set is None else (rule_set,)
    found = reaches([one for name in names for one in compare(replace(seen, rule_set=name))], reach)
    of_limit = seen.wavelength, seen.duration, seen.emission.pulse_duration, seen.emission.repetition_rate
    shape = np.broadcast_shapes(found.distance.shape, *(np.shape(one) for one in of_limit))  # all alike are one number

    def wide(values: Any) -> Any:
        return values if values.shape == shape else np.array(np.broadcast_to(values, shape))

    answer = {name: wide(one) if isinstance(one, np.ndarray) else one for name, one in vars(found).items()}
    answer["by_rule_set"] = {name: wide(one) for name, one in found.by_rule_set.items()}
    answer |= {
        name: np.array(words)[answer["decided"]]
        for name, words in zip(("rule_set", "hazard", "rule"), zip(*found.labels, strict=True), strict=True)
    }
    unit = "W/m2" if seen.emission.kind == "continuous" else "J/m2"
    lasting = np.broadcast_to(seen.duration, shape)
    return HazardDistance(**answer, way=way, tissue=seen.tissue, duration=lasting, limit_unit=unit)


@checked
def direct_distance(
    beam: Beam, wavelength: Given, duration: Given, *, power: Given | None = None, pulse_energy: Given | None = None,
    pulse_duration: Given | None = None, repetition_rate: Given | None = None, tissue: str = "eye",
    rule_set: str | None = None, reflectance: Given = 1.0,
) -> HazardDistance:  # fmt: skip
    """Return how far a direct beam, or its reflection by a flat mirror, exceeds the limits [1]_.

    Give ``power`` for continuous emission; ``pulse_energy`` and ``pulse_duration`` for one pulse; with
    ``repetition_rate`` as well, and the pulse energy or the mean power, for a train.

    Parameters
    ----------
    beam : Beam
        From `collimated_beam`, `lens_beam` or `fibre_beam`.
    wavelength : number, str, pint quantity, or an array of them, shape (...)
        Vacuum wavelength. [m]
    duration : number, str, pint quantity, or an array of them, shape (...)
        Exposure duration. [s]
    power : number, str, pint quantity, or an array of them, shape (...), optional
        Power, or the mean power of a train. [W]
    pulse_energy : number, str, pint quantity, or an array of them, shape (...), optional
        Energy of one pulse. [J]
    pulse_duration : number, str, pint quantity, or an array of them, shape (...), optional
        Duration of one pulse. [s]
    repetition_rate : number, str, pint quantity, or an array of them, shape (...), optional
        Pulses per second; left out: one single pulse. [Hz]
    tissue : str
        ``"eye"`` or ``"skin"``.
    rule_set : str, optional
        One of `rule_sets`. Left out, all are worked out and the farthest distance decides.
    reflectance : number, str, pint quantity, or an array of them, shape (...)
        Of a flat mirror on the way; 1 for the direct beam and for a mirror that is not known. [1]

    Returns
    -------
    HazardDistance
        Of the shape of all inputs together.

    Raises
    ------
    InputError
        If an input cannot be used, or the emission is incomplete.
    OutOfRangeError
        If a limit is asked for outside what the documents cover, or the beam spreads less than diffraction allows.

    References
    ----------
    .. [1] OSHA-OTM, range equation; ISO11146-1 for the hyperbolic beam.

    Examples
    --------
    >>> from lasersafe.library.beams import lens_beam
    >>> far = direct_distance(lens_beam("8.5 mm", "150 mm", "1/e"), "1070 nm", "10 s", power=["0.5 kW", "1.5 kW"])
    >>> far.distance.round(1)
    array([ 63.1, 109.2])
    """
    seen = Received("", tissue, _light(power, pulse_energy, pulse_duration, repetition_rate), wavelength, duration)
    if beam.free:
        check_diffraction(beam.axes(), wavelength)
    return _distance("direct", seen, rule_set, lambda one: beam_reach(one, beam.axes(), reflectance))


@checked
def scatter_distance(
    wavelength: Given, duration: Given, *, power: Given | None = None, pulse_energy: Given | None = None,
    pulse_duration: Given | None = None, repetition_rate: Given | None = None, tissue: str = "eye",
    rule_set: str | None = None, reflectance: Given = 1.0, view_angle: Given = 0.0, model: str = "lambert",
) -> HazardDistance:  # fmt: skip
    """Return how far from a lit surface its scatter exceeds the limits, taken as a point source [1]_.

    A point is the farther side; a case file can credit the size of the lit spot.

    Parameters
    ----------
    wavelength : number, str, pint quantity, or an array of them, shape (...)
        Vacuum wavelength. [m]
    duration : number, str, pint quantity, or an array of them, shape (...)
        Exposure duration. [s]
    power : number, str, pint quantity, or an array of them, shape (...), optional
        Power, or the mean power of a train. [W]
    pulse_energy : number, str, pint quantity, or an array of them, shape (...), optional
        Energy of one pulse. [J]
    pulse_duration : number, str, pint quantity, or an array of them, shape (...), optional
        Duration of one pulse. [s]
    repetition_rate : number, str, pint quantity, or an array of them, shape (...), optional
        Pulses per second; left out: one single pulse. [Hz]
    tissue : str
        ``"eye"`` or ``"skin"``.
    rule_set : str, optional
        One of `rule_sets`. Left out, all are worked out and the farthest distance decides.
    reflectance : number, str, pint quantity, or an array of them, shape (...)
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : number, str, pint quantity, or an array of them, shape (...)
        Angle from the normal of the surface. [rad]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    HazardDistance
        Of the shape of all inputs together.

    Raises
    ------
    InputError
        If an input cannot be used, or the emission is incomplete.
    OutOfRangeError
        If a limit is asked for outside what the documents cover.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula; DGUV203-093, section 4.3, for ``"hemisphere"``.
    """

    def reach(one: Comparison) -> FloatArray:
        return distances.scatter_distance(one.amount, one.limit, reflectance, view_angle, model)

    light = _light(power, pulse_energy, pulse_duration, repetition_rate)
    return _distance("scatter", Received("", tissue, light, wavelength, duration), rule_set, reach)


def judge_marking(
    marking: str, wavelength: Given, beam_diameter: Given, criterion: str, *, power: Given | None = None,
    pulse_energy: Given | None = None, pulse_duration: Given | None = None, repetition_rate: Given | None = None,
    continuous: bool = False, duration: Given | None = None, profile: str = "gaussian",
) -> MarkingVerdict:  # fmt: skip
    """Return what eyewear is worth in front of a beam, from what is printed on it [1]_ [2]_.

    The strictest of all rule sets decides. What cannot be read counts as no protection; nothing is guessed. That a
    laser cannot pulse has to be said: pulses ask for more.

    Parameters
    ----------
    marking : str
        As printed, such as ``"1064 D LB6 + R LB7"`` or ``"190-540 nm & 800-1100 nm OD 5+"``.
    wavelength : number or str
        Vacuum wavelength; as text also a range, or with a tolerance, as ``"1064 nm +- 5 nm"``. [m]
    beam_diameter : number or str
        Full diameter at the eyewear, or ``"unknown"`` for the strictest. [m]
    criterion : str
        What it was read at: ``"1/e"``, ``"1/e2"``, ``"FWHM"``, or ``"unknown"`` for the strictest.
    power : number or str, optional
        Power of a continuous beam, or the mean power of pulses. [W]
    pulse_energy : number or str, optional
        Energy of one pulse. [J]
    pulse_duration : number or str, optional
        Duration of one pulse; as text also a range, as ``"2..350 ns"``. [s]
    repetition_rate : number or str, optional
        Pulses per second, as text also a range, or ``"single"`` for one that is not repeated. [Hz]
    continuous : bool
        True for a laser that cannot pulse.
    duration : number or str, optional
        Exposure; left out: 30 000 s up to 400 nm, else 10 s. [s]
    profile : str
        ``"gaussian"`` or ``"top-hat"``.

    Returns
    -------
    MarkingVerdict
        ``enough``; ``verdict``, one of "enough", "not enough", "wrong wavelength", "not marked for this mode" and
        "no protection"; ``reasons``; ``ends``, the marked bands that end within 1 % of the wavelength.

    Raises
    ------
    InputError
        If an input other than the marking is missing or cannot be used.

    References
    ----------
    .. [1] EN207-2017, marking and table of scale numbers (``shared/eyewear/en207_2017.toml``).
    .. [2] DGUV203-042, sections 5.1 to 5.4 and appendix 8.

    Examples
    --------
    >>> judge_marking("190-540nm & 800-1100nm OD 5+", "1064 nm", "8 mm", "1/e2", power="5 W", continuous=True).verdict
    'not marked for this mode'
    """
    for name, said in (("marking", marking), ("criterion", criterion), ("profile", profile)):
        if not isinstance(said, str):
            refuse(f"{name} = {shown(said)}: this is no text; write it as it is printed")
    if not isinstance(continuous, (bool, np.bool_)):
        refuse(f"continuous = {shown(continuous)}: write True for a laser that cannot pulse, else False")
    typed: dict[str, Any] = {
        "wavelength": wavelength, "beam_diameter": beam_diameter, "power": power, "pulse_energy": pulse_energy,
        "pulse_duration": pulse_duration, "repetition_rate": repetition_rate, "duration": duration,
    }  # fmt: skip
    for name, value in typed.items():
        if value is not None and not isinstance(value, str):  # text is read by the question, as it may be a range
            number = given(field := name.replace("_", " "), value)
            if number.ndim:
                refuse(f"{field}: one value is needed here, not {number.size}")
            typed[name] = f"{float(number)!r} {FIELDS[field].unit}"
    question = EyewearQuestion(**typed, criterion=criterion, profile=profile, continuous=continuous, wearing=[marking])
    *_, (verdict,) = work_out(question)
    return verdict
