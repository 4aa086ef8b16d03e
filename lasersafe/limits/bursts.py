"""Limits for pulses in bursts (bursts of bursts, too) that repeat, with or without a continuous pedestal.

A pattern is a number with mixed radix: pulse ``a`` of burst ``b`` of group ``c``. A window that opens with a burst
holds the most pulses for its length, because the pulses of a burst are closer than the bursts.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import InputError
from lasersafe.limits.evaluate import log_t2
from lasersafe.limits.exposure import check_area, check_points
from lasersafe.limits.grid import EDGE, Floats, grid_of, hazards_of
from lasersafe.limits.pulse_results import PulseTrainLimit, Trains
from lasersafe.limits.tables import load_rule_set
from lasersafe.limits.train_rule import COUNT_SLACK, train_factor, train_sides, undivided
from lasersafe.limits.windows import Objects, Points, Windows, rows_of, strictest, time_edges

Level = tuple[Floats, Floats]  # number of units, spacing of their starts [s]; inner first, the last repeats for ever


def _column(values: Floats, like: Floats) -> Floats:
    return values.reshape(values.shape + (1,) * (like.ndim - values.ndim))


def _sizes(levels: Sequence[Level]) -> list[Floats]:
    """Return how many pulses one unit of each level holds."""
    sizes = [np.ones_like(levels[0][1])]
    for count, _ in levels[:-1]:
        sizes.append(sizes[-1] * count)
    return sizes


def _count(levels: Sequence[Level], window: Floats) -> Floats:
    """Return the largest number of pulses that start in a half-open window, shape of *window*."""
    rest, total = window, np.ones_like(window)
    for (count, spacing), size in zip(reversed(levels), reversed(_sizes(levels)), strict=True):
        step = _column(spacing, window)
        index = np.clip(np.ceil(rest / step * (1.0 - COUNT_SLACK)) - 1.0, 0.0, _column(count, window) - 1.0)
        total = total + index * _column(size, window)
        rest = rest - index * step
    return total


def _place(levels: Sequence[Level], index: Floats) -> Floats:
    """Return the start of a pulse by its number, from the start of pulse 0 [s]."""
    rest, place = index, np.zeros_like(index)
    for (_, spacing), size in zip(reversed(levels), reversed(_sizes(levels)), strict=True):
        whole = np.floor(rest / _column(size, index))
        rest = rest - whole * _column(size, index)
        place = place + whole * _column(spacing, index)
    return place


def _windows(levels: Sequence[Level], room: Floats) -> tuple[Floats, Floats]:
    """Return pulses, and time from first to last start, of the windows next to each edge; shape (points, candidates).

    From one pulse to another each digit changes by at most the last digit, up or down. Within one row
    ``limit / energy`` has no least value inside a run of equal steps; so each change is the least, the most, or next to
    the edge.
    """
    rooms, numbers, gaps = room[..., None], np.ones((*room.shape, 1)), np.zeros((*room.shape, 1))
    for (count, spacing), size in zip(reversed(levels), reversed(_sizes(levels)), strict=True):
        step, last, unit = (_column(a, rooms)[..., None] for a in (spacing, count - 1.0, size))
        near = np.floor(rooms[..., None] / step)
        digits = near + np.array([-1.0, 0.0, 1.0])
        if np.isinf(count).all():
            digits = np.maximum(digits, 0.0)
        else:
            ends = [np.broadcast_to(end, near.shape) for end in (-last, np.zeros_like(last), last)]
            digits = np.clip(np.concatenate([digits, *ends], axis=-1), -last, last)
        numbers = (numbers[..., None] + digits * unit).reshape(*room.shape, -1)
        gaps = (gaps[..., None] + digits * step).reshape(*room.shape, -1)
        rooms = (rooms[..., None] - digits * step).reshape(*room.shape, -1)
    return numbers.reshape(room.shape[0], -1), gaps.reshape(room.shape[0], -1)


def _groups(levels: Sequence[Level], joined_within: Floats, counted: Floats) -> Floats:
    """Return N: how many groups no longer than T_i the pulses of the counting time make.

    Pulses are grouped from the first of each burst on, and afresh in each burst that does not fit into T_i; every burst
    that the counting time can touch counts whole.
    """
    window = joined_within * (1.0 - COUNT_SLACK)
    length, groups = np.zeros_like(window), np.ones_like(window)
    for number, (count, spacing) in enumerate(levels):
        fits = length < window
        together = np.maximum(np.ceil((window - length) / spacing), 1.0)
        units = count
        if number == len(levels) - 1:
            units = np.maximum(np.ceil((counted + length) / spacing * (1.0 - COUNT_SLACK)), 1.0)
        groups = np.where(fits, np.ceil(units / together), units * groups)
        length = length + (count - 1.0) * spacing
    return groups


def mean_windows(points: Points, levels: Sequence[Level], pulse: Floats, duration: Floats, pedestal: Floats) -> Windows:
    """Return the windows of the mean rule that can decide."""
    edges = np.concatenate(
        [pulse[:, None], time_edges(points, float(pulse.min()), float(duration.max())), duration[:, None]], axis=1
    )
    whole = _count(levels, duration)[:, None]
    numbers, gaps = _windows(levels, edges - pulse[:, None])
    few = np.concatenate([np.minimum(2.0, whole), whole], axis=1)
    numbers, gaps = np.concatenate([numbers, few], axis=1), np.concatenate([gaps, _place(levels, few - 1.0)], axis=1)
    use = (numbers > 1.0) & (gaps > 0.0) & (gaps < duration[:, None] * (1.0 - COUNT_SLACK))
    times = np.where(use, np.minimum(gaps + pulse[:, None], duration[:, None]), duration[:, None])
    numbers = np.where(use, np.minimum(numbers, whole), whole)
    if (pedestal > 0.0).any():  # between pulses the window goes on filling, up to the end of a row
        edges = edges[:, 1:]
        inside = (edges >= pulse[:, None]) & (edges < duration[:, None]) & (pedestal[:, None] > 0.0)
        ends = np.where(inside, edges, duration[:, None])
        numbers = np.concatenate([numbers, _count(levels, ends)], axis=1)
        times = np.concatenate([times, ends], axis=1)
    numbers = np.concatenate([numbers, whole], axis=1)
    times = np.concatenate([times, duration[:, None]], axis=1)
    return Windows("mean", numbers + pedestal[:, None] * times, times, numbers)


def _factor_windows(points: Points, levels: Sequence[Level], train: Trains, pedestal: Floats) -> list[Windows]:
    """Return the windows of the train rule: every pulse, and the pulses inside T_i together."""
    rules = load_rule_set(points.rule_set)
    grid = grid_of(points.rule_set, points.tissue)
    found = []
    lasting = train.pulse  # of a unit of each level, when nothing is dark in it
    gapless = np.ones(train.pulse.shape, dtype=bool)
    for count, spacing in levels:
        gapless &= undivided(lasting, spacing)
        lasting = count * spacing
    for chosen in train_sides(rules, points.wavelength * 1e9):
        within_time = np.array([row.joined_within for row in rules.train_times])[chosen]
        over = np.array([np.nan if row.counted_over is None else row.counted_over for row in rules.train_times])[chosen]
        over = np.where(np.isnan(over), np.exp(log_t2(grid, points.angle * 1e3)), over)
        counted = np.minimum(train.duration, over)
        applies = (chosen >= 0) & (train.pulse <= rules.longest_pulse * (1 + EDGE)) & ~gapless
        within = train.pulse <= within_time * (1 + EDGE)
        group_time = np.where(within, np.minimum(within_time, train.duration), train.pulse)
        joined = np.where(within, _count(levels, group_time), 1.0)
        each = _count(levels, counted)
        number = np.where(within, np.minimum(_groups(levels, group_time, counted), each), each)
        factor, row_of = train_factor(rules, train.angle, train.duration, train.pulse, within, number)
        texts: Objects = np.array(
            [f"; {row.source}; {part.source}" for part in rules.train_factors for row in rules.train_times],
            dtype=object,
        )
        texts = texts[row_of * len(rules.train_times) + chosen]
        for time, energy, use in (
            (train.pulse, 1.0 + pedestal * train.pulse, applies),
            (group_time, joined + pedestal * group_time, applies & within & ((joined > 1.0) | (pedestal > 0.0))),
        ):
            use = use & (row_of >= 0)
            if use.any():
                found.append(
                    Windows(
                        "train",
                        energy[:, None],
                        time[:, None],
                        number[:, None],
                        factor[:, None],
                        within_time[:, None],
                        joined[:, None],
                        use[:, None],
                        texts[:, None],
                    )
                )
    return found


def _check(pulse: Floats, levels: Sequence[Level], duration: Floats, pedestal: Floats) -> None:
    for name, values, unit in [
        ("pulse duration", pulse, " s"), ("duration", duration, " s"),
        *((f"spacing {n + 1} of the pulses", spacing, " s") for n, (_, spacing) in enumerate(levels)),
    ]:  # fmt: skip
        bad = ~((values > 0.0) & np.isfinite(values))
        if bad.any():
            message = f"{name} = {values[bad].flat[0]:g}{unit}: needs a finite number above 0"
            raise InputError(message)
    bad = ~((pedestal >= 0.0) & np.isfinite(pedestal))
    if bad.any():
        message = f"pedestal = {pedestal[bad].flat[0]:g}: needs a finite number, 0 or more"
        raise InputError(message)
    bad = ~(pulse <= levels[0][1] * (1.0 + COUNT_SLACK))
    if bad.any():
        message = (
            f"pulse duration = {pulse[bad].flat[0]:g} s is longer than the {levels[0][1][bad].flat[0]:g} s from one "
            "pulse to the next; give a shorter pulse or a lower rate"
        )
        raise InputError(message)
    for (count, spacing), (_, outer) in pairwise(levels):
        bad = ~((count >= 1.0) & (count == np.floor(count)) & np.isfinite(count))
        if bad.any():
            message = f"pulses in a burst = {count[bad].flat[0]:g}: needs a whole number, 1 or more"
            raise InputError(message)
        bad = ~(count * spacing <= outer * (1.0 + COUNT_SLACK))
        if bad.any():
            message = (
                f"{count[bad].flat[0]:g} pulses with {spacing[bad].flat[0]:g} s between their starts do not fit into "
                f"the {outer[bad].flat[0]:g} s from one burst to the next; give fewer pulses, a shorter spacing or a "
                "lower rate"
            )
            raise InputError(message)
    bad = ~(pulse <= duration * (1 + EDGE))
    if bad.any():
        message = (
            f"duration = {duration[bad].flat[0]:g} s is shorter than the pulse duration {pulse[bad].flat[0]:g} s; "
            "give the time over which the pulses are received"
        )
        raise InputError(message)


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
    area = None if exposed_area is None else check_area(rule_set, exposed_area)
    given = [
        np.asarray(value, dtype=np.float64)
        for value in (wavelength, pulse_duration, repetition_rate, duration, source_angle, pedestal,
                      *(part for level in bursts for part in level))
    ]  # fmt: skip
    shape = np.broadcast_shapes(*(a.shape for a in given), () if area is None else area.shape)
    lam, pulse, rate, time, angle, base, *parts = (np.broadcast_to(a, shape).reshape(-1) for a in given)
    bad = ~((rate > 0.0) & np.isfinite(rate))
    if bad.any():
        message = f"repetition rate = {rate[bad].flat[0]:g} Hz: needs a finite number above 0"
        raise InputError(message)
    levels: list[Level] = [(parts[i], parts[i + 1]) for i in range(0, len(parts), 2)]
    levels.append((np.full(rate.shape, np.inf), 1.0 / rate))
    hazards_of(rule_set, tissue)
    check_points(rule_set, lam, pulse, angle, "pulse duration")
    check_points(rule_set, lam, time, angle)
    _check(pulse, levels, time, base)
    flat_area = None if area is None else np.broadcast_to(area, shape).reshape(-1)
    points = Points(rule_set, tissue, lam, angle, flat_area)
    train = Trains(lam, pulse, rate, time, angle, flat_area)
    one = np.ones((lam.size, 1))
    windows = [
        Windows("single pulse", one + (base * pulse)[:, None], pulse[:, None], one),
        mean_windows(points, levels, pulse, time, base),
        *_factor_windows(points, levels, train, base),
    ]
    return strictest(points, rows_of(points, windows), shape)
