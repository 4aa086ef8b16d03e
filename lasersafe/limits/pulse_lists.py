"""Limits for pulses that are given one by one: times, durations, energies, once or repeated for ever."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.limits.evaluate import log_t2
from lasersafe.limits.exposure import check_area, check_points
from lasersafe.limits.grid import EDGE, Floats, grid_of, hazards_of
from lasersafe.limits.pulse_results import PulseTrainLimit
from lasersafe.limits.tables import load_rule_set
from lasersafe.limits.train_rule import COUNT_SLACK, train_factor, train_sides
from lasersafe.limits.windows import Points, Windows, rows_of, strictest, time_edges

MOST = 500  # pulses in a list
_FARTHEST = 2**60  # pulses
_NEAR = 1e-11  # relative distance at which a window is kept for the row on the other side


class _Line(NamedTuple):
    """Pulses in the order of their starts; with a period they come again and again."""

    start: Floats  # [s] the first is 0
    pulse: Floats  # [s]
    energy: Floats  # in units of the largest
    period: float | None  # [s]

    def before(self, time: Floats) -> tuple[Floats, Floats]:
        """Return how many pulses start before a time, and their energy; times from 0 on."""
        total = np.concatenate([[0.0], np.cumsum(self.energy)])
        if self.period is None:
            at = np.searchsorted(self.start, time, side="left")
            return at.astype(np.float64), total[at]
        turns = np.floor(time / self.period)
        at = np.searchsorted(self.start, time - turns * self.period, side="left")
        return turns * self.start.size + at, turns * total[-1] + total[at]

    def part(self, where: NDArray[np.bool_]) -> _Line:
        """Return some of the pulses."""
        return _Line(self.start[where], self.pulse[where], self.energy[where], self.period)


def _fewest(time: Floats, energy: Floats, number: Floats, edges: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the windows that no shorter one between the same two edges exceeds in energy."""
    cell = np.searchsorted(edges, time)
    order = np.lexsort((-energy, time, cell))
    time, energy, number, cell = time[order], energy[order], number[order], cell[order]
    rank = np.unique(energy, return_inverse=True)[1].reshape(-1)
    place = cell * (time.size + 1) + rank  # rises from cell to cell, so that each begins anew
    keep = place > np.concatenate([[-1], np.maximum.accumulate(place)[:-1]])
    for one in (cell - 1, cell):  # the edges below and above
        keep |= np.abs(time / edges[np.clip(one, 0, edges.size - 1)] - 1.0) < _NEAR
    return time[keep], energy[keep], number[keep]


def _spans(line: _Line, edges: Floats, duration: float, pedestal: float) -> tuple[Floats, Floats, Floats]:
    """Return length, energy and number of pulses of every window that can decide the mean rule."""
    size = line.start.size
    first, last = (a.reshape(-1) for a in np.meshgrid(np.arange(size), np.arange(size), indexing="ij"))
    total = np.concatenate([[0.0], np.cumsum(line.energy)])
    offset, energy = line.start[last] - line.start[first], total[last + 1] - total[first]
    number = last - first + 1.0
    if line.period is None:
        use = (last >= first) & (offset < duration * (1.0 - COUNT_SLACK))
        time, energy, number = offset[use] + line.pulse[last[use]], energy[use], number[use]
    else:
        wraps = last < first
        offset = offset + wraps * line.period
        energy, number = energy + wraps * total[-1], number + wraps * size
        most = np.ceil((duration * (1.0 - COUNT_SLACK) - offset) / line.period) - 1.0
        ends = np.append(edges[edges >= line.period], duration)  # up to a shorter one there are no turns but 0 and 1
        turns = np.floor((ends - (offset + line.pulse[last])[:, None]) / line.period)
        turns = (turns[..., None] + np.array([-1.0, 0.0, 1.0])).reshape(offset.size, -1)
        turns = np.concatenate(
            [turns, np.zeros_like(most)[:, None], np.ones_like(most)[:, None], most[:, None]], axis=1
        )
        turns = np.clip(turns, 0.0, np.maximum(most, 0.0)[:, None])
        use = np.broadcast_to((most >= 0.0)[:, None], turns.shape)
        time = ((offset + line.pulse[last])[:, None] + turns * line.period)[use]
        energy = (energy[:, None] + turns * total[-1])[use]
        number = (number[:, None] + turns * size)[use]
    several = number > 1.0  # one pulse by itself is the rule of the single pulse
    time, energy, number = np.minimum(time, duration)[several], energy[several], number[several]
    fills = [duration] if pedestal == 0.0 else [*edges[(edges >= line.pulse.max()) & (edges < duration)], duration]
    for fill in fills:  # between pulses a pedestal goes on filling, up to the end of a row
        count, sums = line.before(line.start + fill * (1.0 - COUNT_SLACK))
        count0, sums0 = line.before(line.start)
        time = np.append(time, np.full(size, fill))
        energy, number = np.append(energy, sums - sums0), np.append(number, count - count0)
    filled: Floats = np.asarray(energy + pedestal * time, dtype=np.float64)
    return _fewest(time, filled, np.asarray(number, dtype=np.float64), edges)


def _mean(points: Points, line: _Line, duration: float, pedestal: float) -> Windows:
    edges = time_edges(points, float(line.pulse.min()), duration)
    different, which = np.unique(edges, axis=0, return_inverse=True)  # most points share their edges
    found = [_spans(line, np.unique(own), duration, pedestal) for own in different]
    width = max(time.size for time, _, _ in found)
    time, energy, number = (
        np.stack([np.pad(columns[i], (0, width - columns[i].size), "edge") for columns in found])[which.reshape(-1)]
        for i in range(3)
    )
    return Windows("mean", energy, time, number)


def _groups(short: _Line, long: _Line, window: float, counted: Floats) -> Floats:
    """Return N: the most groups inside T_i that start within each counting time, longer pulses one by one."""
    begins = np.concatenate([short.start, long.start])
    times = counted[:, None] * (1.0 - COUNT_SLACK)
    found = np.zeros((counted.size, begins.size))
    if long.start.size:
        found += long.before(begins + times)[0] - long.before(begins)[0]
    if short.start.size:
        at = short.before(begins)[0].astype(np.int64)
        end = short.before(begins + times)[0].astype(np.int64)
        found += _jumps(short, window, np.broadcast_to(at, end.shape), end)
    return np.asarray(found.max(axis=1))


def _jumps(line: _Line, window: float, at: NDArray[np.int64], end: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return how many groups it takes from one pulse, by its number, up to another: 1, 2, 4, ... at a time."""
    size = line.start.size
    reach = line.before(line.start + window * (1.0 - COUNT_SLACK))[0].astype(np.int64) - np.arange(size)
    leaps = [np.maximum(reach, 1)]
    far = int((end - at).max())
    while leaps[-1].min() < far and leaps[-1].max() < _FARTHEST:
        one = leaps[-1]
        leaps.append(one + one[(np.arange(size) + one) % size])
    groups = np.zeros(end.shape, dtype=np.int64)
    for power in range(len(leaps) - 1, -1, -1):
        more = True
        while more:  # the longest leap may be needed again
            after = at + leaps[power][at % size]
            short_of = after < end
            at, groups = np.where(short_of, after, at), groups + short_of * 2**power
            more = power == len(leaps) - 1 and bool(short_of.any())
    return groups + (at < end)


def _factors(points: Points, line: _Line, duration: float, pedestal: float) -> list[Windows]:
    rules = load_rule_set(points.rule_set)
    grid = grid_of(points.rule_set, points.tissue)
    size, count = points.angle.size, line.start.size
    t2 = np.exp(log_t2(grid, points.angle * 1e3))
    found = []
    for chosen in train_sides(rules, points.wavelength * 1e9):
        if chosen[0] < 0:
            continue
        row = rules.train_times[int(chosen[0])]
        within = line.pulse <= row.joined_within * (1 + EDGE)
        counted = np.minimum(duration, t2 if row.counted_over is None else row.counted_over)
        group_time = min(row.joined_within, duration)
        times, which = np.unique(np.broadcast_to(counted, (size,)), return_inverse=True)
        number = _groups(line.part(within), line.part(~within), group_time, times)[which.reshape(-1)]

        def factors(
            pulse: Floats, inside: NDArray[np.bool_], number: Floats = number
        ) -> tuple[Floats, NDArray[np.intp]]:
            count = np.broadcast_to(number[:, None], (size, pulse.size))
            return train_factor(rules, points.angle[:, None], np.asarray(duration), pulse, inside, count)

        texts = np.array([f"; {row.source}; {part.source}" for part in rules.train_factors], dtype=object)
        ones = np.ones((size, count))
        factor, at = factors(line.pulse, within)
        use = (line.pulse <= rules.longest_pulse * (1 + EDGE)) & (at >= 0)
        found.append(Windows(
            "train", (line.energy + pedestal * line.pulse) * ones, line.pulse * ones, number[:, None] * ones, factor,
            row.joined_within * ones, ones, use, texts[at],
        ))  # fmt: skip
        short = line.part(within)
        if not short.start.size:
            continue
        ends, begins = short.before(short.start + group_time * (1.0 - COUNT_SLACK)), short.before(short.start)
        joined, energy = ends[0] - begins[0], ends[1] - begins[1] + pedestal * group_time
        several = (joined > 1.0) | (pedestal > 0.0)
        if several.any():
            best = int(np.where(several, energy, -np.inf).argmax())
            one = np.ones((size, 1))
            factor, at = factors(np.array([group_time]), np.array([True]))
            found.append(Windows(
                "train", energy[best] * one, group_time * one, number[:, None], factor, row.joined_within * one,
                joined[best] * one, at >= 0, texts[at],
            ))  # fmt: skip
    return found


def _checked(
    start: ArrayLike,
    pulse_duration: ArrayLike,
    energy: ArrayLike,
    duration: float,
    period: float | None,
    pedestal: float,
) -> _Line:
    begin, pulse, amount = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (start, pulse_duration, energy))
    begin, pulse, amount = (np.array(a) for a in np.broadcast_arrays(begin, pulse, amount))
    if begin.ndim != 1 or not 1 <= begin.size <= MOST:
        message = f"pulses: {begin.size} are given; 1 to {MOST} can be worked out one by one, use bursts for more"
        raise InputError(message)
    for name, values, lowest, unit in (
        ("start", begin, -np.inf, "s"), ("pulse duration", pulse, 0.0, "s"), ("energy", amount, 0.0, "J"),
        ("duration", np.array([duration]), 0.0, "s"),
        ("period", np.array([1.0 if period is None else period]), 0.0, "s"),
        ("pedestal", np.array([pedestal]), -5e-324, "W"),
    ):  # fmt: skip
        bad = ~((values > lowest) & np.isfinite(values))
        if bad.any():
            message = f"{name} = {values[bad][0]:g} {unit}: needs a finite number" + (
                " above 0" if lowest == 0.0 else ""
            )
            raise InputError(message)
    ends = begin + pulse
    following = np.append(begin[1:], np.inf if period is None else begin[0] + period)
    late = np.flatnonzero(~(ends <= following + COUNT_SLACK * np.abs(ends)))
    if late.size:
        n = int(late[0])
        message = (
            f"pulse {n + 1} ends at {ends[n]:g} s, after the start of the next one at {following[n]:g} s; give the "
            "pulses in the order of time, without overlap, inside the period"
        )
        raise InputError(message)
    long = np.flatnonzero(~(pulse <= duration * (1 + EDGE)))
    if long.size:
        message = (
            f"duration = {duration:g} s is shorter than the pulse duration {pulse[long[0]]:g} s; give the time over "
            "which the pulses are received"
        )
        raise InputError(message)
    return _Line(begin - begin[0], pulse, amount / amount.max(), period)


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
    area = None if exposed_area is None else check_area(rule_set, exposed_area)
    hazards_of(rule_set, tissue)
    angle = np.asarray(source_angle, dtype=np.float64)
    flat = angle.reshape(-1)
    lam = np.full(flat.size, float(wavelength))
    line = _checked(start, pulse_duration, energy, float(duration), period, float(pedestal))
    check_points(rule_set, lam, line.pulse, flat, "pulse duration")
    check_points(rule_set, lam, np.array([float(duration)]), flat)
    largest = float(np.max(np.asarray(energy, dtype=np.float64)))
    base = float(pedestal) / largest
    points = Points(rule_set, tissue, lam, flat, None if area is None else np.full(flat.size, float(area)))
    ones = np.ones((flat.size, line.start.size))
    windows = [
        Windows("single pulse", (line.energy + base * line.pulse) * ones, line.pulse * ones, ones),
        _mean(points, line, float(duration), base),
        *_factors(points, line, float(duration), base),
    ]
    return strictest(points, rows_of(points, windows), angle.shape)
