"""How far beams and their scatter exceed the limits, for one laser or a million."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.hazard import distances
from lasersafe.hazard.distances import ReachArrays, beam_reach, reaches
from lasersafe.hazard.emission import Emission, Received
from lasersafe.hazard.exposure import compare
from lasersafe.library.beams import Beam, check_free_beam, needed_beam
from lasersafe.library.given import Given, broadcast, given, given_or_none
from lasersafe.limits import rule_sets
from lasersafe.optics.checks import FloatArray, choice
from lasersafe.optics.reflection import SCATTER_MODELS
from lasersafe.quantity import format_quantity
from lasersafe.wording import caution_line

TISSUES = ("eye", "skin")


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
        Which limit decided.
    by_rule_set : dict of str to numpy.ndarray, shape (...)
        The distance under each rule set alone. [m]
    """

    way: str
    tissue: str
    duration: FloatArray
    limit_unit: str

    @property
    def rule_set(self) -> NDArray[np.str_]:
        """The rule set that decided, shape (...)."""
        return self._word(0)

    @property
    def hazard(self) -> NDArray[np.str_]:
        """The hazard that decided, shape (...)."""
        return self._word(1)

    @property
    def rule(self) -> NDArray[np.str_]:
        """The rule that decided: "continuous", "single pulse", "mean" or "train", shape (...)."""
        return self._word(2)

    def _word(self, part: int) -> NDArray[np.str_]:
        return np.array([label[part] for label in self.labels])[self.decided]

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
        if not float(width) > 0.0:
            message = f"step = {step!r}: must be above 0"
            raise InputError(message)
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
    power: Given | None, pulse_energy: Given | None, pulse_duration: Given | None, repetition_rate: Given | None
) -> Emission:
    mean = given_or_none("power", power)
    energy = given_or_none("pulse energy", pulse_energy)
    pulse = given_or_none("pulse duration", pulse_duration)
    rate = given_or_none("repetition rate", repetition_rate)
    broadcast(power=mean, pulse_energy=energy, pulse_duration=pulse, repetition_rate=rate)
    if pulse is None:
        if energy is not None or rate is not None:
            message = "pulse duration is missing: give it with the pulse energy or the repetition rate"
            raise InputError(message)
        if mean is None:
            message = "emission is missing: give power, or pulse_energy with pulse_duration"
            raise InputError(message)
        return Emission("continuous", power=mean)
    if rate is None:
        if energy is None or mean is not None:
            message = "one single pulse needs pulse_energy and pulse_duration; a train needs repetition_rate too"
            raise InputError(message)
        return Emission("single pulse", pulse_energy=energy, pulse_duration=pulse)
    if energy is not None and mean is None:
        return Emission("pulse train", pulse_energy=energy, pulse_duration=pulse, repetition_rate=rate)
    if energy is None and mean is not None:
        return Emission("pulse train", pulse_energy=np.asarray(mean / rate), pulse_duration=pulse, repetition_rate=rate)
    message = "a pulse train needs either pulse_energy or power (the mean power), and not both"
    raise InputError(message)


def _sets(rule_set: str | None) -> tuple[str, ...]:
    return rule_sets() if rule_set is None else (choice("rule_set", rule_set, rule_sets()),)


def _result(way: str, tissue: str, kind: str, duration: FloatArray, found: ReachArrays) -> HazardDistance:
    lasting = np.broadcast_to(duration, found.distance.shape)
    unit = "W/m2" if kind == "continuous" else "J/m2"
    return HazardDistance(**vars(found), way=way, tissue=tissue, duration=lasting, limit_unit=unit)


def direct_distance(
    beam: Beam,
    wavelength: Given,
    duration: Given,
    *,
    power: Given | None = None,
    pulse_energy: Given | None = None,
    pulse_duration: Given | None = None,
    repetition_rate: Given | None = None,
    tissue: str = "eye",
    rule_set: str | None = None,
    reflectance: Given = 1.0,
) -> HazardDistance:
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
    choice("tissue", tissue, TISSUES)
    emitted = _light(power, pulse_energy, pulse_duration, repetition_rate)
    light, time, part = given("wavelength", wavelength), given("duration", duration), given("reflectance", reflectance)
    needed_beam(beam)
    broadcast(beam=np.empty(beam.shape), emission=_together(emitted), wavelength=light, duration=time, reflectance=part)
    check_free_beam(beam, light)
    compared = [one for name in _sets(rule_set) for one in compare(Received(name, tissue, emitted, light, time))]
    found = reaches(compared, lambda one: beam_reach(one, beam.axes(), part))
    return _result("direct", tissue, emitted.kind, time, found)


def scatter_distance(
    wavelength: Given,
    duration: Given,
    *,
    power: Given | None = None,
    pulse_energy: Given | None = None,
    pulse_duration: Given | None = None,
    repetition_rate: Given | None = None,
    tissue: str = "eye",
    rule_set: str | None = None,
    reflectance: Given = 1.0,
    view_angle: Given = 0.0,
    model: str = "lambert",
) -> HazardDistance:
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
    choice("tissue", tissue, TISSUES)
    choice("model", model, SCATTER_MODELS)
    emitted = _light(power, pulse_energy, pulse_duration, repetition_rate)
    light, time = given("wavelength", wavelength), given("duration", duration)
    part, angle = given("reflectance", reflectance), given("view angle", view_angle)
    broadcast(emission=_together(emitted), wavelength=light, duration=time, reflectance=part, view_angle=angle)
    compared = [one for name in _sets(rule_set) for one in compare(Received(name, tissue, emitted, light, time))]
    found = reaches(compared, lambda one: distances.scatter_distance(one.amount, one.limit, part, angle, model))
    return _result("scatter", tissue, emitted.kind, time, found)


def _together(light: Emission) -> NDArray[Any]:
    parts = (light.amount, light.pulse_duration, light.repetition_rate)
    return np.empty(np.broadcast_shapes(*map(np.shape, parts)), dtype=bool)
