"""What lasers emit: at one setting, or at many as arrays."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.limits import angle_max, rule_sets
from lasersafe.limits.grid import DURATIONS
from lasersafe.limits.regular import RegularTrains, regular_trains
from lasersafe.limits.tables import load_rule_set
from lasersafe.optics.checks import FloatArray, Many

Floats = NDArray[np.float64]
WHOLE_BODY = 0.2  # m2: more than the largest area class of the skin rule, 0.1 m2


@dataclass(frozen=True)
class Emission(Many):
    """What a laser emits at one setting, or at many as arrays that broadcast together, in SI units.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse`` or ``pulse train``.
    power : float, or numpy.ndarray of shape (...)
        Mean power; 0 for a single pulse. [W]
    pulse_energy : float, or numpy.ndarray of shape (...)
        Energy of one pulse; 0 for continuous emission. [J]
    pulse_duration : float, or numpy.ndarray of shape (...)
        Duration of one pulse; 0 for continuous emission. [s]
    repetition_rate : float, or numpy.ndarray of shape (...)
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
    power: Any = 0.0
    pulse_energy: Any = 0.0
    pulse_duration: Any = 0.0
    repetition_rate: Any = 0.0
    burst: tuple[tuple[Any, Any], ...] = ()
    pulses: tuple[tuple[float, float, float], ...] = ()
    period: float | None = None
    pedestal: float = 0.0
    name: str = ""

    @property
    def single(self) -> bool:
        """Whether it is one setting, not arrays."""
        numbers = (self.power, self.pulse_energy, self.pulse_duration, self.repetition_rate)
        return not any(isinstance(one, np.ndarray) for one in numbers)

    @property
    def shortest_pulse(self) -> Any:
        """Duration of the shortest pulse, 0 for continuous emission. [s]."""
        return min((length for _, length, _ in self.pulses), default=self.pulse_duration)

    @property
    def amount(self) -> Any:
        """What is compared: power, or energy per pulse. [W or J]."""
        return self.power if self.kind == "continuous" else self.pulse_energy

    def scaled(self, factor: float) -> Emission:
        """Return the emission after a reflection or filter that lets *factor* through."""
        return replace(
            self, power=self.power * factor, pulse_energy=self.pulse_energy * factor, pedestal=self.pedestal * factor,
            pulses=tuple((start, length, energy * factor) for start, length, energy in self.pulses),
        )  # fmt: skip


@dataclass(frozen=True)
class Received(Many):
    """Light that a tissue receives, as one rule set judges it; or many of them as arrays that broadcast together.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        What reaches the place, before it is averaged over an aperture.
    wavelength : float, or numpy.ndarray of shape (...)
        Wavelength. [m]
    duration : float, or numpy.ndarray of shape (...)
        Exposure duration. [s]
    """

    rule_set: str
    tissue: str
    emission: Emission
    wavelength: Any
    duration: Any

    @property
    def single(self) -> bool:
        """Whether it is one exposure, not arrays."""
        return self.emission.single and isinstance(self.wavelength, float) and isinstance(self.duration, float)


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


def source_caps(light: Received) -> tuple[FloatArray, ...]:
    """Return what each axis of a source is limited to before the mean of both is taken; the lowest limit counts [1]_.

    Of a train, alpha_max of a pulse and that of the longest window: its factor goes with the angle, and so does the
    limit of each window.

    Parameters
    ----------
    light : Received
        What the source sends, and how long it lasts.

    Returns
    -------
    tuple of numpy.ndarray, shape (...)
        One or two angles. [rad]

    References
    ----------
    .. [1] ICNIRP2013 and EU2006-25: alpha_min, alpha_max; oblong sources.
    """
    emission, rule_set = light.emission, light.rule_set
    own = angle_max(rule_set, light.duration if emission.kind == "continuous" else emission.shortest_pulse)
    largest = angle_max(rule_set, DURATIONS[1])
    return (own, np.maximum(own, largest)) if emission.kind == "pulse train" and (own < largest).any() else (own,)


def trains_at(rule_set: str, tissue: str, wavelength: float, duration: float) -> RegularTrains:
    """Return the limits of regular trains at one wavelength and exposure; of the skin for a large area.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    RegularTrains
        For a small source.
    """
    return regular_trains(rule_set, tissue, wavelength, duration, body_area(tissue, wavelength))


def body_area(tissue: str, wavelength: ArrayLike) -> float | None:
    """Return the exposed skin area to assume, or None where no limit depends on it at any duration.

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    wavelength : array_like, shape (...)
        Wavelength. [m]

    Returns
    -------
    float or None
        A large area; from which time on it counts is said by the tables. [m2]

    References
    ----------
    .. [1] ICNIRP2013, limits for the skin, large exposed area.
    """
    if tissue != "skin":
        return None
    rules = [rule for name in rule_sets() if (rule := load_rule_set(name).area) is not None]
    first = min((rule.wavelength[0] * 1e-9 for rule in rules), default=np.inf)
    far = np.size(wavelength) > 0 and np.max(wavelength) >= first * (1.0 - 1e-9)
    return WHOLE_BODY if far else None
