"""What emissions are compared with, as arrays that broadcast together: one case or a million.

The same comparisons as `hazard.exposure.criteria`. What does not vary stays a single number, so that its limit is
looked up once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError, OutOfRangeError
from lasersafe.hazard.durations import ACCIDENTAL, DELIBERATE, EDGE, WORKING_DAY
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria
from lasersafe.hazard.lasting import body_area, plain_limits
from lasersafe.hazard.sweep import SMALL_SOURCE, compiled, ratios
from lasersafe.limits import TrainRow, burst_train_limit, pulse_train_limit

Floats = NDArray[np.float64]
_MANY = 256  # trains from which on the quick way pays


def _nothing() -> Floats:
    return np.asarray(0.0)


@dataclass(frozen=True)
class Comparison:
    """One comparison of many cases.

    Parameters
    ----------
    rule_set, hazard, rule : str
        Where the limit stands.
    amount : numpy.ndarray, shape (...)
        Power or energy per pulse. [W or J]
    limit : numpy.ndarray, shape (...)
        Infinite where the comparison does not apply. [W/m2 or J/m2]
    aperture : numpy.ndarray, shape (...)
        Limiting aperture. [m]
    """

    rule_set: str
    hazard: str
    rule: str
    amount: Floats
    limit: Floats
    aperture: Floats


@dataclass(frozen=True)
class Light:
    """What lasers emit, as arrays.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse`` or ``pulse train``.
    power : numpy.ndarray, shape (...)
        Of continuous emission. [W]
    pulse_energy : numpy.ndarray, shape (...)
        Energy of one pulse. [J]
    pulse_duration : numpy.ndarray, shape (...)
        Duration of one pulse. [s]
    repetition_rate : numpy.ndarray, shape (...)
        Pulses, or bursts, per second. [Hz]
    burst : tuple of (number, spacing)
        As in `hazard.exposure.Emission`.
    pedestal : float
        Power between and under the pulses. [W]
    """

    kind: str
    power: Floats = field(default_factory=_nothing)
    pulse_energy: Floats = field(default_factory=_nothing)
    pulse_duration: Floats = field(default_factory=_nothing)
    repetition_rate: Floats = field(default_factory=_nothing)
    burst: tuple[tuple[float, float], ...] = ()
    pedestal: float = 0.0

    @property
    def amount(self) -> Floats:
        """What is compared: power, or energy per pulse."""
        return self.power if self.kind == "continuous" else self.pulse_energy


def exposure_durations(wavelength: ArrayLike, way: str) -> Floats:
    """Return the exposure durations of `hazard.durations.exposure_duration` for many wavelengths.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure duration. [s]
    """
    light = np.asarray(wavelength, dtype=np.float64)
    shorter = DELIBERATE if way == "scatter" else ACCIDENTAL
    return np.where(light <= 400e-9 * (1.0 + EDGE), WORKING_DAY, shorter)


def comparisons(
    rule_set: str,
    tissue: str,
    light: Light,
    wavelength: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike = ALPHA_MIN,
) -> tuple[Comparison, ...]:
    """Return every comparison that an exposure has to pass, as `hazard.exposure.criteria` does for one case.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    light : Light
        What is emitted.
    wavelength : array_like, shape (...)
        Wavelength. [m]
    duration : array_like, shape (...)
        Exposure duration. [s]
    source_angle : array_like, shape (...)
        Angular subtense of the source. [rad]

    Returns
    -------
    tuple of Comparison
        At least one applies to each case.

    Raises
    ------
    InputError
        If pulses do not fit into their period or the exposure.
    OutOfRangeError
        If a value lies outside what the edition covers, or there is no limit.
    """
    wavelength, duration = np.asarray(wavelength, dtype=np.float64), np.asarray(duration, dtype=np.float64)
    found: list[Comparison] = []
    quick = _one_aperture(rule_set, tissue, light, wavelength, duration, source_angle)
    if quick is not None:
        return (quick,)
    if light.kind == "pulse train":
        for row in _train_rows(rule_set, tissue, light, wavelength, duration, source_angle):
            there = np.isfinite(row.per_pulse)
            if there.any():
                aperture = row.limiting_aperture if there.all() else np.where(there, row.limiting_aperture, 1.0)
                found.append(
                    Comparison(rule_set, row.hazard, row.rule, light.amount, np.asarray(row.per_pulse), aperture)
                )
    else:
        pulsed = light.kind == "single pulse"
        time = light.pulse_duration if pulsed else duration
        for one in plain_limits(rule_set, tissue, pulsed, wavelength, time, source_angle):
            if not np.isfinite(one.limit).any():
                continue
            aperture = np.where(np.isfinite(one.limit), one.aperture, 1.0)
            rule = "single pulse" if pulsed else "continuous"
            found.append(Comparison(rule_set, one.hazard, rule, light.amount, np.asarray(one.limit), aperture))
    covered = reduce(np.logical_or, (np.isfinite(c.limit) for c in found), np.array(False))
    if not covered.all():
        message = f"{rule_set} has no {tissue} limit for some of these wavelengths and durations"
        raise OutOfRangeError(message)
    return tuple(found)


def _one_aperture(
    rule_set: str,
    tissue: str,
    light: Light,
    wavelength: Floats,
    duration: Floats,
    source_angle: ArrayLike,
) -> Comparison | None:
    """Return the strictest comparison of many trains at one wavelength and exposure, where all share one aperture."""
    plain = light.kind == "pulse train" and not light.burst and not light.pedestal
    single = np.ndim(wavelength) == np.ndim(duration) == np.ndim(source_angle) == 0
    trains = np.broadcast(light.pulse_duration, light.repetition_rate)
    if not plain or not single or float(np.asarray(source_angle)) != SMALL_SOURCE or trains.size < _MANY:
        return None
    limits = compiled(rule_set, tissue, float(wavelength), float(duration))
    apertures = {size for _, pieces in limits.hazards for piece in pieces for size in piece.aperture}
    if len(apertures) != 1 or len({name for name, _ in limits.hazards}) != 1:
        return None
    try:
        pulse, rate = np.broadcast_arrays(light.pulse_duration, light.repetition_rate)
        limit = 1.0 / ratios(limits, np.ones(pulse.size), pulse.reshape(-1), rate.reshape(-1))
    except InputError:  # said in more detail by what follows
        return None
    name = limits.hazards[0][0]
    return Comparison(rule_set, name, "train", light.amount, limit.reshape(trains.shape), np.asarray(apertures.pop()))


def _train_rows(
    rule_set: str,
    tissue: str,
    light: Light,
    wavelength: Floats,
    duration: Floats,
    source_angle: ArrayLike,
) -> tuple[TrainRow, ...]:
    area = body_area(tissue, wavelength)
    if not light.burst and not light.pedestal:
        return pulse_train_limit(
            rule_set, tissue, wavelength, light.pulse_duration, light.repetition_rate, duration, source_angle,
            exposed_area=area,
        ).rows  # fmt: skip
    return burst_train_limit(
        rule_set, tissue, wavelength, light.pulse_duration, light.burst, light.repetition_rate, duration, source_angle,
        exposed_area=area, pedestal=light.pedestal / light.pulse_energy,
    ).rows  # fmt: skip


def fixed_comparisons(
    rule_set: str, tissue: str, emission: Emission, factor: ArrayLike, wavelength: float, duration: float
) -> tuple[Comparison, ...]:
    """Return the comparisons of one setting whose power and energies are multiplied by factors.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    factor : array_like, shape (...)
        What power and energy are multiplied by. [1]
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    tuple of Comparison
        At least one.

    Raises
    ------
    OutOfRangeError
        If the rule set has no limit there.
    """
    times = np.asarray(factor, dtype=np.float64)
    found = criteria(rule_set, tissue, emission, wavelength, duration, ALPHA_MIN)
    amount = found[0].amount * times
    return tuple(
        Comparison(c.rule_set, c.hazard, c.rule, amount, np.asarray(c.limit), np.asarray(c.limiting_aperture))
        for c in found
    )


def strictest_by_aperture(compared: Iterable[Comparison]) -> list[Comparison]:
    """Return the comparisons that can decide: of those with one amount and aperture, the lowest limit.

    Parameters
    ----------
    compared : iterable of Comparison
        Of one beam.

    Returns
    -------
    list of Comparison
        Names are those of the first of each group.
    """
    groups: dict[tuple[int, float], Comparison] = {}
    others: list[Comparison] = []
    for one in compared:
        aperture = float(one.aperture.flat[0])
        if one.aperture.ndim and not (one.aperture == aperture).all():
            others.append(one)
            continue
        key = (id(one.amount), aperture)
        limit = np.minimum(groups[key].limit, one.limit) if key in groups else one.limit
        groups[key] = Comparison(one.rule_set, one.hazard, one.rule, one.amount, limit, np.asarray(aperture))
    return [*groups.values(), *others]
