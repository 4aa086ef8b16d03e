"""The worst point of the settings that a user may turn.

A setting space is a set of ranges. Limits are not monotonic across the edges of their rows, so the search
takes both ends of every range, every edge of a row or of T_i that lies inside, and a fine grid between.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.hazard.exposure import Emission, continuous, pulse_train, single_pulse
from lasersafe.limits import hazard_limits, pulse_train_limit

_DURATION_EDGES = (1e-11, 1e-9, 1e-7, 1e-6, 5e-6, 13e-6, 18e-6, 50e-6, 625e-6, 1e-3, 0.25, 0.35, 1.0)
_GRID = 25
_STEPS = 64  # whole pulses beyond this change a count by less than 2 %
_ABOVE = 1.0 + 4e-9  # just more than the slack of the pulse count

Range = tuple[float, float]


@dataclass(frozen=True)
class SettingSpace:
    """Ranges that the user may turn, in SI units; a fixed value is a range of equal ends.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse`` or ``pulse train``.
    power : tuple of float, optional
        Range of power, or of mean power of a train. [W]
    pulse_energy : tuple of float, optional
        Range of energy per pulse. [J]
    pulse_duration : tuple of float, optional
        Range of pulse duration. [s]
    repetition_rate : tuple of float, optional
        Range of repetition rate. [Hz]
    """

    kind: str
    power: Range | None = None
    pulse_energy: Range | None = None
    pulse_duration: Range | None = None
    repetition_rate: Range | None = None

    @property
    def adjustable(self) -> bool:
        """True when at least one knob can be turned."""
        ranges = (self.power, self.pulse_energy, self.pulse_duration, self.repetition_rate)
        return any(r is not None and r[0] != r[1] for r in ranges)


def _points(span: Range, edges: tuple[float, ...] = ()) -> NDArray[np.float64]:
    low, high = span
    if low == high:
        return np.array([low])
    inside = [e for e in edges if low < e < high]
    return np.unique(np.concatenate([np.geomspace(low, high, _GRID), [low, high], inside]))


def _rates(span: Range, windows: tuple[float, ...]) -> NDArray[np.float64]:
    """Return the rates to be tried; a count of whole pulses jumps just above every k / window."""
    low, high = span
    jumps = [k / window * _ABOVE for window in windows for k in _counts(low * window, high * window)]
    return _points(span, (*jumps, *(1.0 / t for t in _DURATION_EDGES)))


def _counts(low: float, high: float) -> range:
    first = max(1, int(np.floor(low)))
    return range(first, min(first + _STEPS, int(min(high, 1e15)) + 1))


def _windows(rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float) -> tuple[float, ...]:
    """Return the times in which pulses are counted: T_i of each rule set, and the exposure itself."""
    found = {duration}
    for rule_set in rule_sets:
        train = pulse_train_limit(rule_set, tissue, wavelength, 1e-9, 1.0, duration)
        found |= {float(row.joined_within) for row in train.rows if np.isfinite(row.joined_within)}
    return tuple(sorted(found))


def candidates(space: SettingSpace, windows: tuple[float, ...] = ()) -> list[Emission]:
    """Return the settings to be tried: ends, row edges and a grid between; more energy is never less harmful.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    windows : tuple of float
        Times in which whole pulses are counted. [s]

    Returns
    -------
    list of Emission
        At least one.

    Raises
    ------
    InputError
        If no setting of the ranges is possible, because every pulse would be longer than its period.
    """
    if space.kind == "continuous":
        assert space.power is not None
        return [continuous(space.power[1])]
    assert space.pulse_duration is not None
    durations = _points(space.pulse_duration, _DURATION_EDGES)
    if space.kind == "single pulse":
        assert space.pulse_energy is not None
        return [single_pulse(space.pulse_energy[1], float(t)) for t in durations]
    assert space.repetition_rate is not None
    rates = _rates(space.repetition_rate, windows)
    found = []
    for rate in map(float, rates):
        if space.power is not None:
            energy = space.power[1] / rate
            if space.pulse_energy is not None:
                energy = min(energy, space.pulse_energy[1])
        else:
            assert space.pulse_energy is not None
            energy = space.pulse_energy[1]
        found += [pulse_train(energy, float(t), rate) for t in durations if t * rate <= 1.0]
    if not found:
        message = "emission: no allowed setting is possible, every pulse is longer than its period"
        raise InputError(message)
    return found


def worst_setting(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> Emission:
    """Return the setting with the highest ratio of emission to limit for a wide beam.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search; the highest ratio in any of them wins.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    Emission
        The worst setting; for equal ratios the one with the lowest rate and the shortest pulse.
    """
    windows = _windows(rule_sets, tissue, wavelength, duration) if space.kind == "pulse train" else ()
    tried = candidates(space, windows)
    if len(tried) == 1:
        return tried[0]
    energy = np.array([e.pulse_energy for e in tried])
    pulse = np.array([e.pulse_duration for e in tried])
    ratio = np.zeros(len(tried))
    for rule_set in rule_sets:
        if space.kind == "single pulse":
            for hazard in hazard_limits(rule_set, tissue, wavelength, pulse):
                ratio = np.maximum(ratio, energy / hazard.radiant_exposure)
        else:
            rate = np.array([e.repetition_rate for e in tried])
            limit = pulse_train_limit(rule_set, tissue, wavelength, pulse, rate, duration)
            ratio = np.maximum(ratio, energy / limit.per_pulse)
    return tried[int(np.argmax(ratio >= ratio.max() * (1.0 - 1e-9)))]  # the first of equal ones
