"""What the rules of a train are made of: how pulses are counted, which row of T_i holds, and C_P by the rows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lasersafe.limits.factors import angle_max
from lasersafe.limits.grid import EDGE, Floats
from lasersafe.limits.records import RuleSet

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
    upper = np.full(wavelength_nm.shape, -1, dtype=np.intp)
    lower = np.full(wavelength_nm.shape, -1, dtype=np.intp)
    for number, row in enumerate(rules.train_times):
        low, high = row.wavelength
        upper[(wavelength_nm >= low * (1 - EDGE)) & (wavelength_nm <= high * (1 + EDGE))] = number
    for number, row in reversed(list(enumerate(rules.train_times))):
        low, high = row.wavelength
        lower[(wavelength_nm >= low * (1 - EDGE)) & (wavelength_nm <= high * (1 + EDGE))] = number
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
            value = row.value * quick_power(count, row.power) if row.power else row.value
            factor = np.where(here, np.minimum(np.maximum(value, row.floor), 1.0), factor)
            chosen = np.where(here, number, chosen)
    return factor, chosen
