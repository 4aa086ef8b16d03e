"""Limits for each pulse of a regular train, of bursts that repeat, and of a list of pulses."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import InputError
from lasersafe.limits.events import limit_of
from lasersafe.limits.exposure import check_area, check_points
from lasersafe.limits.factors import COUNT_SLACK
from lasersafe.limits.grid import hazards_of
from lasersafe.limits.patterns import Bools, Level, Line, Pattern, Points
from lasersafe.limits.records import EDGE, Floats, PulseTrainLimit

MOST = 500  # pulses in a list


def pulse_train_limit(
    rule_set: str,
    tissue: str,
    wavelength: ArrayLike,
    pulse_duration: ArrayLike,
    repetition_rate: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike = 1.5e-3,
    *,
    exposed_area: ArrayLike | None = None,
) -> PulseTrainLimit:
    """Return the limit for each pulse of a regular train of equal pulses [1]_ [2]_.

    Three rules are worked out for each hazard and the lowest limit decides: no pulse above the limit of a single pulse;
    the mean over no window up to the exposure above the limit of that window; and, for thermal hazards, no pulse above
    C_P times the limit of a single pulse, where pulses inside T_i count as one. The number of pulses in a time is the
    largest that can start in it, rounded up (`count_pulses`).

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    pulse_duration : array_like, shape (...)
        Duration of one pulse, 1e-13 to 3e4. [s]
    repetition_rate : array_like, shape (...)
        Pulses in a second. [Hz]
    duration : array_like, shape (...)
        Exposure duration, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed. [m2]

    Returns
    -------
    PulseTrainLimit
        Arrays that have the broadcast shape of the inputs.

    Raises
    ------
    InputError
        If the rule set or tissue is not known, a pulse is longer than its period, or the exposure is shorter than a
        pulse.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_train_*.toml``).
    .. [2] EU2006-25, Annex II, Table 2.6 (``shared/limits/eu200625_train_*.toml``).

    Examples
    --------
    >>> limit = pulse_train_limit("EU-2006/25/EC", "eye", 1064e-9, 10e-9, 20.0, 10.0)
    >>> round(float(limit.per_pulse), 4), str(limit.deciding_rule)
    (0.0133, 'train')
    """
    return burst_train_limit(
        *(rule_set, tissue, wavelength, pulse_duration, (), repetition_rate, duration, source_angle),
        exposed_area=exposed_area,
    )


def burst_train_limit(
    rule_set: str,
    tissue: str,
    wavelength: ArrayLike,
    pulse_duration: ArrayLike,
    bursts: Sequence[tuple[ArrayLike, ArrayLike]],
    repetition_rate: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike = 1.5e-3,
    *,
    exposed_area: ArrayLike | None = None,
    pedestal: ArrayLike = 0.0,
) -> PulseTrainLimit:
    """Return the limit for each pulse of equal pulses in bursts that repeat [1]_ [2]_.

    The rules are those of `pulse_train_limit`. The mean is taken over every window from the start of a pulse to the end
    of a pulse, and over the whole exposure; a train factor counts the groups inside T_i, afresh in each burst.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    pulse_duration : array_like, shape (...)
        Duration of one pulse. [s]
    bursts : sequence of (count, spacing)
        Number of pulses in a burst and time between their starts [s]; then bursts in a group of bursts and their
        spacing, and so on. Empty for a plain train. Each number and spacing has the shape (...).
    repetition_rate : array_like, shape (...)
        Bursts (of the outermost kind) in a second. [Hz]
    duration : array_like, shape (...)
        Exposure duration. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed. [m2]
    pedestal : array_like, shape (...), optional
        Power that is there all the time, divided by the energy of one pulse. [1/s]

    Returns
    -------
    PulseTrainLimit
        ``per_pulse`` is the limit for a pulse without its share of the pedestal.

    Raises
    ------
    InputError
        If bursts overlap, a number of pulses is not whole, or the exposure is shorter than a pulse.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_train_*.toml``).
    .. [2] EU2006-25, Annex II, Table 2.6 (``shared/limits/eu200625_train_*.toml``).

    Examples
    --------
    >>> limit = burst_train_limit("ICNIRP-2013", "eye", 1064e-9, 10e-9, [(10, 1e-6)], 1e3, 10.0)
    >>> round(float(limit.per_pulse), 5), str(limit.deciding_rule)
    (0.001, 'train')
    """
    area = np.asarray(0.0) if exposed_area is None else check_area(rule_set, exposed_area)
    parts = (part for level in bursts for part in level)
    values = (wavelength, pulse_duration, repetition_rate, duration, source_angle, pedestal, area, *parts)
    given = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values))
    lam, pulse, rate, time, angle, base, extent, *flat = (a.reshape(-1) for a in given)
    _above("repetition rate", rate, " Hz")
    levels = [Level(count, spacing, 1.0 / spacing) for count, spacing in zip(flat[::2], flat[1::2], strict=True)]
    levels.append(Level(np.full(rate.shape, np.inf), 1.0 / rate, rate))
    hazards_of(rule_set, tissue)
    check_points(rule_set, lam, pulse, angle, "pulse duration")
    check_points(rule_set, lam, time, angle)
    _check_pattern(pulse, levels, time, base)
    points = Points(rule_set, tissue, lam, angle, None if exposed_area is None else extent, time, base)
    return limit_of(points, Pattern(pulse, levels), given[0].shape)


def pulse_list_limit(
    rule_set: str,
    tissue: str,
    wavelength: float,
    start: ArrayLike,
    pulse_duration: ArrayLike,
    energy: ArrayLike,
    duration: float,
    source_angle: ArrayLike = 1.5e-3,
    *,
    exposed_area: float | None = None,
    period: float | None = None,
    pedestal: float = 0.0,
) -> PulseTrainLimit:
    """Return the limit for the largest of a list of pulses, when the others keep their proportion to it [1]_ [2]_.

    The rules are those of `pulse_train_limit`: every pulse with its own duration; every window from the start of a
    pulse to the end of a pulse, and the whole exposure wherever it begins; C_P for every pulse and for the pulses that
    start inside one T_i.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : float
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    start : array_like, shape (n,)
        When each pulse starts, rising. [s]
    pulse_duration : array_like, shape (n,)
        Duration of each pulse. [s]
    energy : array_like, shape (n,)
        Energy of each pulse, on any scale. [J]
    duration : float
        Exposure duration. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye. [rad]
    exposed_area : float, optional
        Area of skin that is exposed. [m2]
    period : float, optional
        Time after which the list begins again, for ever; without it the list comes once. [s]
    pedestal : float, optional
        Power that is there all the time, on the scale of the energies. [W]

    Returns
    -------
    PulseTrainLimit
        Arrays of the shape of *source_angle*.

    Raises
    ------
    InputError
        If pulses overlap, are not in the order of time or longer than the exposure, or there are too many.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_train_*.toml``).
    .. [2] EU2006-25, Annex II, Table 2.6 (``shared/limits/eu200625_train_*.toml``).

    Examples
    --------
    >>> limit = pulse_list_limit("ICNIRP-2013", "eye", 1064e-9, [0, 1e-6], 10e-9, [1, 3], 10.0)
    >>> round(float(limit.per_pulse), 4), str(limit.deciding_rule)
    (0.015, 'train')
    """
    hazards_of(rule_set, tissue)
    angle = np.asarray(source_angle, dtype=np.float64)
    line = _checked(start, pulse_duration, energy, float(duration), period, float(pedestal))
    alpha, one = angle.reshape(-1), np.ones(angle.size)
    lam, time = float(wavelength) * one, float(duration) * one
    check_points(rule_set, lam, line.pulse, alpha, "pulse duration")
    check_points(rule_set, lam, time, alpha)
    area = None if exposed_area is None else check_area(rule_set, exposed_area) * one
    base = float(pedestal) / float(np.max(np.asarray(energy, dtype=np.float64))) * one
    return limit_of(Points(rule_set, tissue, lam, alpha, area, time, base), line, angle.shape)


def _refuse(good: Bools, text: str, *values: Floats) -> None:
    """Refuse the first point that is not good; the text has a place for its value in each array."""
    if not good.all():
        message = text.format(*(float(value[~good][0]) for value in values))
        raise InputError(message)


def _above(name: str, values: Floats, unit: str = " s") -> None:
    _refuse((values > 0.0) & np.isfinite(values), name + " = {:g}" + unit + ": needs a finite number above 0", values)


def _check_pattern(pulse: Floats, levels: Sequence[Level], duration: Floats, pedestal: Floats) -> None:
    _above("pulse duration", pulse)
    _above("duration", duration)
    for number, level in enumerate(levels, start=1):
        _above(f"spacing {number} of the pulses", level.spacing)
    good = (pedestal >= 0.0) & np.isfinite(pedestal)
    _refuse(good, "pedestal = {:g}: needs a finite number, 0 or more", pedestal)
    text = "pulse duration = {:g} s is longer than "
    if len(levels) == 1:
        text += (
            "the period {:g} s of {:g} Hz; give a shorter pulse or a lower rate, or treat the emission as continuous"
        )
    else:
        text += "the {:g} s from one pulse to the next; give a shorter pulse or a lower rate"
    _refuse(pulse <= levels[0].spacing * (1.0 + COUNT_SLACK), text, pulse, levels[0].spacing, levels[-1].rate)
    for (count, spacing, _), (_, outer, _) in pairwise(levels):
        good = (count >= 1.0) & (count == np.floor(count)) & np.isfinite(count)
        _refuse(good, "pulses in a burst = {:g}: needs a whole number, 1 or more", count)
        text = (
            "{:g} pulses with {:g} s between their starts do not fit into the {:g} s from one burst to the next; "
            "give fewer pulses, a shorter spacing or a lower rate"
        )
        _refuse(count * spacing <= outer * (1.0 + COUNT_SLACK), text, count, spacing, outer)
    _check_received(pulse, duration)


def _check_received(pulse: Floats, duration: Floats) -> None:
    text = (
        "duration = {:g} s is shorter than the pulse duration {:g} s; give the time over which the pulses are received"
    )
    _refuse(pulse <= duration * (1 + EDGE), text, duration, pulse)


def _checked(
    start: ArrayLike,
    pulse_duration: ArrayLike,
    energy: ArrayLike,
    duration: float,
    period: float | None,
    pedestal: float,
) -> Line:
    given = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (start, pulse_duration, energy))
    begin, pulse, amount = (np.array(a) for a in np.broadcast_arrays(*given))
    if begin.ndim != 1 or not 1 <= begin.size <= MOST:
        message = f"pulses: {begin.size} are given; 1 to {MOST} can be worked out one by one, use bursts for more"
        raise InputError(message)
    _refuse(np.isfinite(begin), "start = {:g} s: needs a finite number", begin)
    _above("pulse duration", pulse)
    _above("energy", amount, " J")
    _above("duration", np.array([duration]))
    _above("period", np.array([1.0 if period is None else period]))
    base = np.array([pedestal])
    _refuse((base >= 0.0) & np.isfinite(base), "pedestal = {:g} W: needs a finite number", base)
    ends = begin + pulse
    following = np.append(begin[1:], np.inf if period is None else begin[0] + period)
    text = (
        "pulse {:g} ends at {:g} s, after the start of the next one at {:g} s; give the pulses in the order of time, "
        "without overlap, inside the period"
    )
    _refuse(ends <= following + COUNT_SLACK * np.abs(ends), text, np.arange(1.0, begin.size + 1.0), ends, following)
    _check_received(pulse, np.full(pulse.size, duration))
    return Line(begin - begin[0], pulse, amount / amount.max(), period)
