"""Where an emission meets the limits: the list of comparisons that one exposure has to pass.

Each rule set, hazard and pulse rule has its own limit *and* its own limiting aperture, so none can be
dropped before the beam is known. An exposure passes when every comparison passes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.lasting import body_area, plain_limits
from lasersafe.limits import (
    PulseTrainLimit,
    TrainRow,
    angle_max,
    burst_train_limit,
    pulse_list_limit,
    pulse_train_limit,
)
from lasersafe.limits.grid import DURATIONS
from lasersafe.optics.checks import FloatArray
from lasersafe.results_step import Criterion

ALPHA_MIN = 1.5e-3


@dataclass(frozen=True)
class Emission:
    """What a laser emits at one setting, in SI units.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse`` or ``pulse train``.
    power : float
        Mean power; 0 for a single pulse. [W]
    pulse_energy : float
        Energy of one pulse; 0 for continuous emission. [J]
    pulse_duration : float
        Duration of one pulse; 0 for continuous emission. [s]
    repetition_rate : float
        Pulses per second; 0 unless a train. Of a pattern, as many as there are on average. [Hz]
    burst : tuple of (number, spacing)
        Pulses in a burst and time between their starts [s], bursts in a group and their spacing, and so on.
    pulses : tuple of (start, duration, energy)
        Pulses one by one [s, s, J]; ``pulse_energy`` is then the largest.
    period : float, optional
        Time after which the list of pulses begins again; None: it comes once. [s]
    pedestal : float
        Power between and under the pulses. [W]
    name : str
        Name of the mode in the maker's table.
    """

    kind: str
    power: float = 0.0
    pulse_energy: float = 0.0
    pulse_duration: float = 0.0
    repetition_rate: float = 0.0
    burst: tuple[tuple[float, float], ...] = ()
    pulses: tuple[tuple[float, float, float], ...] = ()
    period: float | None = None
    pedestal: float = 0.0
    name: str = ""

    @property
    def shortest_pulse(self) -> float:
        """Duration of the shortest pulse, 0 for continuous emission. [s]."""
        return min((length for _, length, _ in self.pulses), default=self.pulse_duration)

    def scaled(self, factor: float) -> Emission:
        """Return the emission after a reflection or filter that lets *factor* through."""
        return replace(
            self,
            power=self.power * factor,
            pulse_energy=self.pulse_energy * factor,
            pulses=tuple((start, length, energy * factor) for start, length, energy in self.pulses),
            pedestal=self.pedestal * factor,
        )


def continuous(power: float) -> Emission:
    """Return continuous emission.

    Parameters
    ----------
    power : float
        What leaves the laser. [W]
    """
    return Emission("continuous", power=power)


def single_pulse(pulse_energy: float, pulse_duration: float) -> Emission:
    """Return one pulse.

    Parameters
    ----------
    pulse_energy : float
        Energy of the pulse. [J]
    pulse_duration : float
        Its duration. [s]
    """
    return Emission("single pulse", pulse_energy=pulse_energy, pulse_duration=pulse_duration)


def pulse_train(pulse_energy: float, pulse_duration: float, repetition_rate: float, pedestal: float = 0.0) -> Emission:
    """Return a regular train of pulses, on a pedestal.

    Parameters
    ----------
    pulse_energy : float
        Energy of one pulse. [J]
    pulse_duration : float
        Duration of one pulse. [s]
    repetition_rate : float
        Pulses per second. [Hz]
    pedestal : float
        Power under and between the pulses. [W]
    """
    mean = pulse_energy * repetition_rate + pedestal
    return Emission("pulse train", mean, pulse_energy, pulse_duration, repetition_rate, pedestal=pedestal)


def pulse_pattern(
    pulses: tuple[tuple[float, float, float], ...], period: float | None = None, pedestal: float = 0.0
) -> Emission:
    """Return pulses given one by one, once or repeated, on a pedestal.

    Parameters
    ----------
    pulses : tuple of (start, duration, energy)
        In the order of time; each [s, s, J].
    period : float, optional
        Time after which the list begins again. [s]
    pedestal : float
        Power under and between the pulses. [W]

    Returns
    -------
    Emission
        With the largest pulse as its pulse.
    """
    largest = max(pulses, key=lambda pulse: pulse[2])
    total = sum(energy for _, _, energy in pulses)
    mean = 0.0 if period is None else total / period
    rate = 0.0 if period is None else len(pulses) / period
    return Emission(
        "pulse train", mean + pedestal, largest[2], largest[1], rate, pulses=pulses, period=period, pedestal=pedestal
    )


def source_caps(rule_set: str, kind: str, shortest_pulse: ArrayLike, duration: ArrayLike) -> tuple[FloatArray, ...]:
    """Return what each axis of a source is limited to before the mean of both is taken; the lowest limit counts [1]_.

    Of a train, alpha_max of a pulse and that of the longest window: its factor goes with the angle, and so does the
    limit of each window.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    kind : str
        ``continuous``, ``single pulse`` or ``pulse train``.
    shortest_pulse : array_like, shape (...)
        Duration of a pulse, of a list the shortest. [s]
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    tuple of numpy.ndarray, shape (...)
        One or two angles. [rad]

    References
    ----------
    .. [1] ICNIRP2013 and EU2006-25: alpha_min, alpha_max; oblong sources.
    """
    own = angle_max(rule_set, duration if kind == "continuous" else shortest_pulse)
    largest = angle_max(rule_set, DURATIONS[1])
    return (own, np.maximum(own, largest)) if kind == "pulse train" and (own < largest).any() else (own,)


def train_limit(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    source_angle: ArrayLike = ALPHA_MIN,
) -> PulseTrainLimit:
    """Return the limit for the largest pulse of a train, of bursts or of a list, with or without a pedestal.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        Pulses of any pattern.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    source_angle : array_like, shape (...)
        Angular subtense of the source. [rad]

    Returns
    -------
    PulseTrainLimit
        Arrays of the shape of *source_angle*.
    """
    exposed_area = body_area(tissue, wavelength)
    if emission.pulses:
        start, length, energy = (np.array(column) for column in zip(*emission.pulses, strict=True))
        return pulse_list_limit(
            rule_set, tissue, wavelength, start, length, energy, duration, source_angle,
            exposed_area=exposed_area, period=emission.period, pedestal=emission.pedestal,
        )  # fmt: skip
    if emission.burst or emission.pedestal:
        size = float(np.prod([number for number, _ in emission.burst])) if emission.burst else 1.0
        return burst_train_limit(
            rule_set, tissue, wavelength, emission.pulse_duration, emission.burst, emission.repetition_rate / size,
            duration, source_angle, exposed_area=exposed_area, pedestal=emission.pedestal / emission.pulse_energy,
        )  # fmt: skip
    return pulse_train_limit(
        rule_set, tissue, wavelength, emission.pulse_duration, emission.repetition_rate, duration, source_angle,
        exposed_area=exposed_area,
    )  # fmt: skip


def _train_note(row: TrainRow) -> str:
    """Return the numbers behind one rule of a train."""
    text = f"window {float(row.averaging_time):.6g} s, {float(row.pulses):.6g} pulses"
    if row.rule == "train":
        text += f", {float(row.pulses_joined):.6g} joined within T_i, C_P = {float(row.pulse_factor):.4g}"
    return text


@lru_cache(maxsize=4096)
def criteria(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    source_angle: float = ALPHA_MIN,
) -> tuple[Criterion, ...]:
    """Return every comparison that an exposure to this emission has to pass.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        What reaches the place, before it is averaged over an aperture.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    source_angle : float
        Angular subtense of the source. [rad]

    Returns
    -------
    tuple of Criterion
        At least one; of the skin for a large area.

    Raises
    ------
    OutOfRangeError
        If the rule set has no limit there.
    """
    found: list[Criterion] = []
    if emission.kind == "pulse train":
        train = train_limit(rule_set, tissue, emission, wavelength, duration, source_angle)
        for row in train.rows:
            limit = float(row.per_pulse)
            if np.isfinite(limit):
                found.append(
                    Criterion(
                        rule_set,
                        tissue,
                        row.hazard,
                        row.rule,
                        emission.pulse_energy,
                        "J",
                        limit,
                        "J/m2",
                        float(row.limiting_aperture),
                        duration,
                        str(row.source),
                        str(row.seen),
                        _train_note(row),
                    )
                )
    else:
        pulsed = emission.kind == "single pulse"
        time = emission.pulse_duration if pulsed else duration
        for one in plain_limits(rule_set, tissue, pulsed, wavelength, time, source_angle):
            limit = float(one.limit)
            if np.isfinite(limit):
                found.append(
                    Criterion(
                        rule_set,
                        tissue,
                        one.hazard,
                        "single pulse" if pulsed else "continuous",
                        emission.pulse_energy if pulsed else emission.power,
                        "J" if pulsed else "W",
                        limit,
                        "J/m2" if pulsed else "W/m2",
                        float(one.aperture),
                        float(one.time),
                        str(one.source),
                        str(one.seen),
                    )
                )
    if not found:
        message = f"{rule_set} has no {tissue} limit at {wavelength * 1e9:.6g} nm for {duration:g} s"
        raise OutOfRangeError(message)
    return tuple(found)
