"""The correction factors of an edition by themselves; how the pulses of a train are counted, and their C_P."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.limits.records import EDGE, Floats, RuleSet, inside
from lasersafe.limits.tables import load_rule_set, nearest

COUNT_SLACK = 1e-9  # relative: 20 Hz for 10 s is 200 pulses, whatever the last bit of the product says


def count_pulses(duration: Floats, repetition_rate: Floats) -> Floats:
    """Return the largest number of pulses that can start in a half-open window of a duration.

    A window that is no multiple of the period holds one pulse more when it opens with a pulse: 10 Hz for 0.25 s gives
    3, not 2.5, which is the careful side.

    Parameters
    ----------
    duration : numpy.ndarray, shape (...)
        Length of the window. [s]
    repetition_rate : numpy.ndarray, shape (...)
        Pulses in a second. [Hz]

    Returns
    -------
    numpy.ndarray, shape (...)
        Whole number of pulses, at least 1. [1]

    Examples
    --------
    >>> count_pulses(np.array([0.25, 10.0]), np.array([10.0, 20.0]))
    array([  3., 200.])
    """
    count: Floats = np.maximum(np.ceil(duration * repetition_rate * (1.0 - COUNT_SLACK)), 1.0)
    return count


def train_sides(rules: RuleSet, wavelength_nm: Floats) -> list[NDArray[np.intp]]:
    """Return the row of the T_i table at each wavelength (-1: none), and the row below where an edge is met."""
    upper, lower = (np.full(wavelength_nm.shape, -1, dtype=np.intp) for _ in range(2))
    for number, row in enumerate(rules.train_times):
        here = inside(row.wavelength, wavelength_nm)
        upper[here] = number
        lower[here & (lower < 0)] = number
    return [upper] if np.array_equal(upper, lower) else [upper, lower]


def undivided(pulse: Floats, spacing: Floats) -> NDArray[np.bool_]:
    """Return whether each pulse lasts until the next one: that is continuous emission, which has no train factor."""
    return np.asarray(pulse >= spacing * (1.0 - COUNT_SLACK))


def quick_power(base: Floats, power: float) -> Floats:
    """Return a power of positive numbers; quarters, which most tables have, by square roots."""
    if power in (-0.25, 0.25, 0.5, 0.75, 1.0):
        root = base if power == 1.0 else np.sqrt(base)
        fourth = root if power in (0.5, 1.0) else np.sqrt(root)
        if power == 0.75:
            return np.asarray(root * fourth)
        return np.asarray(1.0 / fourth if power < 0.0 else fourth)
    return np.asarray(base**power)


def train_factor(
    rules: RuleSet, source_angle: Floats, duration: Floats, pulse: Floats, within: NDArray[np.bool_], count: Floats
) -> tuple[Floats, NDArray[np.intp]]:
    """Return C_P by the rows of an edition, NaN where none holds. Ranges are "above ... up to and including".

    Parameters
    ----------
    rules : RuleSet
        The edition.
    source_angle, duration, pulse : numpy.ndarray
        Angle of the source [rad], exposure and pulse duration [s]; they broadcast to the shape of *count*.
    within : numpy.ndarray of bool, shape (...)
        Whether the pulse, or group, is not longer than T_i.
    count : numpy.ndarray, shape (...)
        Number of pulses, or groups. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        C_P. [1]
    numpy.ndarray of int, shape (...)
        Number of the row that gave it, -1 for none.
    """
    alpha = np.asarray(source_angle) * 1e3
    alpha_max: Floats | None = None
    factor, chosen = np.full(count.shape, np.nan), np.full(count.shape, -1, dtype=np.intp)
    for number, row in enumerate(rules.train_factors):
        if None in row.source_angle and alpha_max is None:
            alpha_max = np.asarray(angle_max(rules.name, pulse) * 1e3)
        low, high = (alpha_max if end is None else end for end in row.source_angle)
        assert low is not None
        assert high is not None
        here = (
            ((duration > row.exposure[0] * (1 + EDGE)) | (row.exposure[0] == 0.0))
            & (duration <= row.exposure[1] * (1 + EDGE))
            & ((alpha > low * (1 + EDGE)) | (np.asarray(low) == 0.0))
            & (alpha <= high * (1 + EDGE))
        )
        if not here.any():
            continue
        here = here & (within == row.within) & (count >= row.pulses[0]) & (count <= row.pulses[1])
        if here.any():
            value = row.constant * quick_power(count, row.power) if row.power else row.constant
            factor = np.where(here, np.minimum(np.maximum(value, row.floor), 1.0), factor)
            chosen = np.where(here, number, chosen)
    return factor, chosen


def cone_angle(rule_set: str, duration: ArrayLike) -> Floats:
    """Return the acceptance angle for the photochemical limit of the retina.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    numpy.ndarray, shape (...)
        Full angle of the cone. [rad]
    """
    return _of_time(rule_set, "gamma", duration)


def _of_time(rule_set: str, name: str, duration: ArrayLike) -> Floats:
    """Return an angle that depends on the duration, at an edge the larger, which is the stricter. [rad]."""
    time = np.asarray(duration, dtype=np.float64)
    return np.asarray(load_rule_set(rule_set).time_factors[name].at(time, np.fmax) * 1e-3)


def correction_factor(rule_set: str, name: str, wavelength: ArrayLike) -> Floats:
    """Return a factor that depends on the wavelength: C_A, C_B, C_C, C_2, or the time T_1.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    name : str
        The symbol as printed, with an underscore.
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        The factor, or T_1 in seconds; the lower value at an edge shared by two rows, NaN where the table has no row.

    Raises
    ------
    InputError
        If the edition has no such factor.

    Examples
    --------
    >>> correction_factor("ICNIRP-2013", "C_A", [532e-9, 850e-9, 1064e-9]).round(3)
    array([1.   , 1.995, 5.   ])
    """
    factors = load_rule_set(rule_set).factors
    if name not in factors:
        raise nearest(name, "factor", factors)
    return factors[name].at(np.asarray(wavelength, dtype=np.float64) * 1e9, np.fmin)


def time_t2(rule_set: str, source_angle: ArrayLike) -> Floats:
    """Return T_2, the time from which a longer stare heats the retina no further.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    source_angle : array_like, shape (...)
        Angle that the source subtends. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        T_2, 10 to 100. [s]

    Examples
    --------
    >>> float(time_t2("ICNIRP-2013", 50e-3).round(2))
    31.07
    """
    alpha = np.asarray(source_angle, dtype=np.float64) * 1e3
    return load_rule_set(rule_set).angle_factors["T_2"].at(alpha, np.fmin)


def angle_max(rule_set: str, duration: ArrayLike) -> Floats:
    """Return alpha_max, the source angle from which the limit grows with the square of the angle.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    numpy.ndarray, shape (...)
        alpha_max. [rad]

    Examples
    --------
    >>> angle_max("ICNIRP-2013", [1e-6, 0.01, 10.0])
    array([0.005, 0.02 , 0.1  ])
    """
    return _of_time(rule_set, "alpha_max", duration)


def source_factor(rule_set: str, duration: ArrayLike, source_angle: ArrayLike) -> Floats:
    """Return C_E, which goes with the power of the whole source.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]
    source_angle : array_like, shape (...)
        Angle that the source subtends. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        1 up to alpha_min, alpha/alpha_min up to alpha_max, alpha**2/(alpha_min alpha_max) above. [1]

    Examples
    --------
    >>> source_factor("ICNIRP-2013", 10.0, [1e-3, 15e-3, 0.2]).round(2)
    array([  1.  ,  10.  , 266.67])
    """
    alpha = np.asarray(source_angle, dtype=np.float64)
    least = load_rule_set(rule_set).time_factors["alpha_min"].rows[0].constant * 1e-3
    result: Floats = np.maximum(alpha, least) / least * np.maximum(alpha / angle_max(rule_set, duration), 1.0)
    return result
