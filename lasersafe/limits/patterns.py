"""Pulses: equal ones in bursts (of bursts) that repeat, some given one by one, and a great many regular trains.

Of regular trains at one wavelength the limits are powers of time; the lowest limit per pulse, which `pulse_train_limit`
gives too, is worked out at once, without saying which rule decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import refuse
from lasersafe.limits.exposure import COUNT_SLACK, count_pulses, train_factor, train_sides, undivided
from lasersafe.limits.grid import DURATIONS, Grid, grid_of, hazards_of
from lasersafe.limits.tables import EDGE, Floats, RuleSet, inside

Bools = NDArray[np.bool_]
Columns = tuple[Floats, Floats, Floats]
_FARTHEST = 2**60  # pulses
_NEAR = 1e-11  # relative distance at which a window is kept for the row on the other side


class Points(NamedTuple):
    """Flat arrays of one length: where the limits are taken, and how long the light is received."""

    rule_set: str
    tissue: str
    wavelength: Floats  # [m]
    angle: Floats  # [rad]
    area: Floats | None  # [m2]
    duration: Floats  # [s]
    pedestal: Floats  # power that is there all the time, divided by the energy of a pulse [1/s]

    @property
    def fills(self) -> Bools:
        """Whether the end of a row ends a window: a pedestal fills it so far, a large area has less from there on."""
        return (self.pedestal > 0.0) | (self.area is not None)

    def part(self, where: slice) -> Points:
        """Return some points."""
        return Points(*(one[where] if isinstance(one, np.ndarray) else one for one in self))  # type: ignore[arg-type]


class Level(NamedTuple):
    """Units with equal spacing: pulses of a burst, bursts of a group; the outermost repeat for ever."""

    number: Floats
    spacing: Floats  # of their starts [s]
    rate: Floats  # the inverse, as given, so that pulses are counted to the last bit as elsewhere [Hz]


class Pattern(NamedTuple):
    """Equal pulses in bursts, with or without a continuous pedestal; arrays have the shape (points,).

    It is a number with mixed radix: pulse ``a`` of burst ``b`` of group ``c``. A window that opens with a burst holds
    the most pulses for its length, because the pulses of a burst are closer than the bursts.
    """

    pulse: Floats  # [s]
    levels: Sequence[Level]

    @property
    def pulses(self) -> tuple[Floats, Floats]:
        """Duration and energy of the pulse."""
        return self.pulse[:, None], np.ones((self.pulse.size, 1))

    @property
    def gapless(self) -> Bools:
        """Whether nothing is dark, in no level."""
        lasting, gapless = self.pulse, np.ones(self.pulse.shape, dtype=bool)
        for count, spacing, _ in self.levels:
            gapless &= undivided(lasting, spacing)
            lasting = count * spacing
        return gapless

    def part(self, where: slice) -> Pattern:
        """Return the pattern of some points."""
        return Pattern(self.pulse[where], [Level(*(column[where] for column in level)) for level in self.levels])

    def joined(self, within: Bools, time: Floats, pedestal: Floats) -> tuple[Floats, Floats]:
        """Return number and energy of the pulses in T_i."""
        number = np.where(within[:, 0], _count(self.levels, time), 1.0)
        return number, number + pedestal * time

    def groups(self, within: Bools, time: Floats, counted: Floats) -> Floats:
        """Return N: how many groups no longer than T_i the pulses of the counting time make.

        Pulses are grouped from the first of each burst on, and afresh in each burst that does not fit into T_i; every
        burst that the counting time can touch counts whole.
        """
        window = time * (1.0 - COUNT_SLACK)
        length, groups = np.zeros_like(window), np.ones_like(window)
        for number, (count, spacing, rate) in enumerate(self.levels):
            fits = length < window
            together = count_pulses(time - length / (1.0 - COUNT_SLACK), rate)
            units = count_pulses(counted + length, rate) if number == len(self.levels) - 1 else count
            groups = np.where(fits, np.ceil(units / together), units * groups)
            length = length + (count - 1.0) * spacing
        each = _count(self.levels, counted)
        return np.where(within[:, 0], np.minimum(groups, each), each)

    def windows(self, points: Points, edges: Floats) -> Columns:
        """Return the windows from the start of a pulse to the end of a pulse, and the whole exposure."""
        levels, pulse, duration, pedestal = self.levels, self.pulse, points.duration, points.pedestal
        edges = np.concatenate([pulse[:, None], edges, duration[:, None]], axis=1)
        whole = _count(levels, duration)[:, None]
        numbers, gaps = _windows(levels, edges - pulse[:, None])
        few = np.concatenate([np.minimum(2.0, whole), whole], axis=1)
        gaps, numbers = np.hstack([gaps, _place(levels, few - 1.0)]), np.hstack([numbers, few])
        use = (numbers > 1.0) & (gaps > 0.0) & (gaps < duration[:, None] * (1.0 - COUNT_SLACK))
        times = np.where(use, np.minimum(gaps + pulse[:, None], duration[:, None]), duration[:, None])
        numbers = np.where(use, np.minimum(numbers, whole), whole)
        every = [(numbers, times), (whole, duration[:, None])]
        if points.fills.any():
            edges, fills = edges[:, 1:], points.fills[:, None]
            inside = (edges >= pulse[:, None]) & (edges < duration[:, None]) & fills
            inside &= (_count(levels, edges) > 1.0) | (pedestal[:, None] > 0.0)  # one by itself is the single pulse
            ends = np.where(inside, edges, duration[:, None])
            every.append((_count(levels, ends), ends))
        numbers, times = map(np.hstack, zip(*every, strict=True))
        return times, numbers + pedestal[:, None] * times, numbers


def _column(values: Floats, like: Floats) -> Floats:
    return values.reshape(values.shape + (1,) * (like.ndim - values.ndim))


def _sizes(levels: Sequence[Level]) -> list[Floats]:
    """Return how many pulses one unit of each level holds."""
    sizes = [np.ones_like(levels[0].spacing)]
    for level in levels[:-1]:
        sizes.append(sizes[-1] * level.number)
    return sizes


def _count(levels: Sequence[Level], window: Floats) -> Floats:
    """Return the largest number of pulses that start in a half-open window, shape of *window*."""
    rest, total = window, np.ones_like(window)
    for (count, spacing, rate), size in zip(reversed(levels), reversed(_sizes(levels)), strict=True):
        index = np.minimum(count_pulses(rest, _column(rate, window)), _column(count, window)) - 1.0
        total = total + index * _column(size, window)
        rest = rest - index * _column(spacing, window)
    return total


def _place(levels: Sequence[Level], index: Floats) -> Floats:
    """Return the start of a pulse by its number, from the start of pulse 0 [s]."""
    rest, place = index, np.zeros_like(index)
    for (_, spacing, _), size in zip(reversed(levels), reversed(_sizes(levels)), strict=True):
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
    for (count, spacing, _), size in zip(reversed(levels), reversed(_sizes(levels)), strict=True):
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


class Line(NamedTuple):
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

    def some(self, where: NDArray[np.bool_]) -> Line:
        """Return some of the pulses."""
        return Line(self.start[where], self.pulse[where], self.energy[where], self.period)

    @property
    def pulses(self) -> tuple[Floats, Floats]:
        """Duration and energy of each pulse."""
        return self.pulse[None], self.energy[None]

    @property
    def gapless(self) -> Bools:
        """Pulses that are given one by one are apart."""
        return np.zeros(1, dtype=bool)

    def part(self, where: slice) -> Line:
        """Return the same pulses, which are those of all points."""
        return self

    def windows(self, points: Points, edges: Floats) -> Columns:
        """Return every window that can decide; most points share their edges."""
        different, which = np.unique(edges, axis=0, return_inverse=True)
        duration, pedestal = float(points.duration[0]), float(points.pedestal[0])
        found = [_spans(self, np.unique(own), duration, pedestal, bool(points.fills[0])) for own in different]
        width = max(time.size for time, _, _ in found)
        time, energy, number = (
            np.stack([np.pad(columns[i], (0, width - columns[i].size), "edge") for columns in found])[which.reshape(-1)]
            for i in range(3)
        )
        return time, energy, number

    def joined(self, within: Bools, time: Floats, pedestal: Floats) -> tuple[Floats, Floats]:
        """Return number and energy of the pulses in the T_i that holds the most energy, of those with a group."""
        short = self.some(within[0])
        if not short.start.size:
            return np.ones(1), np.ones(1)
        ends, begins = short.before(short.start + time[0] * (1.0 - COUNT_SLACK)), short.before(short.start)
        number, energy = ends[0] - begins[0], ends[1] - begins[1]
        several = (number > 1.0) | (pedestal[0] > 0.0)
        best = int(np.where(several, energy, -np.inf).argmax())
        return number[best : best + 1], energy[best] + pedestal[:1] * time[:1]

    def groups(self, within: Bools, time: Floats, counted: Floats) -> Floats:
        """Return N for each counting time."""
        times, which = np.unique(counted, return_inverse=True)
        return groups_of(self.some(within[0]), self.some(~within[0]), float(time[0]), times)[which.reshape(-1)]


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


def _spans(line: Line, edges: Floats, duration: float, pedestal: float, fill: bool) -> tuple[Floats, Floats, Floats]:
    """Return length, energy and number of pulses of every window that can decide the mean rule."""
    size = line.start.size
    first, last = (a.reshape(-1) for a in np.meshgrid(np.arange(size), np.arange(size), indexing="ij"))
    total = np.concatenate([[0.0], np.cumsum(line.energy)])
    offset, energy = line.start[last] - line.start[first], total[last + 1] - total[first]
    number, wraps, period = last - first + 1.0, last < first, line.period or 0.0
    offset, energy, number = offset + wraps * period, energy + wraps * total[-1], number + wraps * size
    length = (offset + line.pulse[last])[:, None]
    if line.period is None:
        turns, use = np.zeros_like(length), (~wraps & (offset < duration * (1.0 - COUNT_SLACK)))[:, None]
    else:
        most = np.ceil((duration * (1.0 - COUNT_SLACK) - offset) / period) - 1.0
        ends = np.append(edges[edges >= period], duration)  # up to a shorter one there are no turns but 0 and 1
        turns = np.floor((ends - length) / period)[..., None] + np.array([-1.0, 0.0, 1.0])
        turns = np.column_stack([turns.reshape(offset.size, -1), np.zeros_like(most), np.ones_like(most), most])
        turns = np.clip(turns, 0.0, np.maximum(most, 0.0)[:, None])
        use = np.broadcast_to((most >= 0.0)[:, None], turns.shape)
    time, energy = (length + turns * period)[use], (energy[:, None] + turns * total[-1])[use]
    number = (number[:, None] + turns * size)[use]
    several = number > 1.0  # one pulse by itself is the rule of the single pulse
    time, energy, number = np.minimum(time, duration)[several], energy[several], number[several]
    fills = [*edges[(edges >= line.pulse.max()) & (edges < duration)], duration] if fill else [duration]
    count0, sums0 = line.before(line.start)
    for end in fills:
        count, sums = line.before(line.start + end * (1.0 - COUNT_SLACK))
        use = (count - count0 > 1.0) | (pedestal > 0.0) | (end == duration)
        time = np.append(time, np.full(size, end)[use])
        energy, number = np.append(energy, (sums - sums0)[use]), np.append(number, (count - count0)[use])
    filled: Floats = np.asarray(energy + pedestal * time, dtype=np.float64)
    return _fewest(time, filled, np.asarray(number, dtype=np.float64), edges)


def groups_of(short: Line, long: Line, window: float, counted: Floats) -> Floats:
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


def _jumps(line: Line, window: float, at: NDArray[np.int64], end: NDArray[np.int64]) -> NDArray[np.int64]:
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


_BLOCK = 32_768


class Power(NamedTuple):
    """A limit ``coefficient * t ** power`` on a range of time [s]."""

    low: float
    high: float
    coefficient: float
    power: float


def _powers(grid: Grid, nm: float, area: float | None, angle: float) -> tuple[list[Power], set[float]]:
    """Return the rows of one hazard at a wavelength for a source of an angle [rad], and their limiting apertures [m].

    Before a large source a row ends at T_2 as well, and where alpha_max passes the angle.
    """
    column = int(grid.wavelengths.exactly(np.array(nm * 1e-9)))
    pieces: list[Power] = []
    apertures: set[float] = set()
    large = angle > grid.source_min * (1.0 + EDGE) and grid.sized[0] <= nm * 1e-9 <= grid.sized[1]
    log_t2, log_angle = (float(grid.log_t2(np.asarray(angle))), math.log2(angle)) if large else (math.inf, -math.inf)
    for n, ends in enumerate(pairwise(grid.durations.edges)):
        cell = column + 2 * n * grid.durations.stride
        most, rise = float(grid.source_max[cell]), float(grid.source_power[cell])
        inner = [2.0**log_t2, *([2.0 ** ((log_angle - most) / rise)] if rise else [])]
        cuts = sorted({*ends, *(time for time in inner if ends[0] < time < ends[1])})
        for low, high in pairwise(cuts):
            above = max(log_angle - most - rise * math.log2(low * high) / 2.0, 0.0)
            for at in grid.slots[:, cell + (1 + (low >= 2.0**log_t2 * (1.0 - EDGE)) if large else 0)]:
                if grid.pieces[at] is None:
                    continue
                coefficient, extra, rate, hole, growth, power, slope, *by_size = grid.parameters[:, at].tolist()
                coefficient *= float(np.exp2(slope * nm * 1e-9)) + extra if slope else 1.0
                if large:
                    times_t2, sized = by_size
                    raised = log_angle - math.log2(grid.source_min) + (log_angle - most if above else 0.0)
                    coefficient *= 2.0 ** (sized * raised + times_t2 * (log_t2 - grid.t2[4]))
                    power -= sized * rise if above else 0.0
                apertures |= {hole * low**growth, hole * high**growth}
                before = [p for p in pieces if p.high == low and p[2:] == (coefficient, power + rate)]
                for one in before:
                    pieces.remove(one)
                pieces.append(Power(before[0].low if before else low, high, coefficient, power + rate))
    rule = grid.rule_set.area
    if area is not None and rule is not None and rule.hazard in grid.hazards and nm >= rule.wavelength[0] * (1 - EDGE):
        late = [p._replace(low=max(p.low, rule.duration[0])) for p in pieces if p.high > rule.duration[0]]
        held = [float(row.at(area)) for row in rule.rows if inside(row.area, np.array(area))]
        pieces += [p._replace(coefficient=value, power=1.0) for value in held for p in late]
    return pieces, apertures


def _limit(pieces: list[Power], time: Floats) -> Floats:
    """Return the strictest of the pieces that hold at each time, infinite where none does."""
    limit = np.full(time.shape, np.inf)
    least, most = float(time.min()), float(time.max())
    for one in pieces:
        start, end = one.low * (1 - EDGE), one.high * (1 + EDGE)
        if not (start <= most and end >= least):
            continue
        if start <= least and end >= most:
            np.minimum(limit, one.coefficient * time**one.power if one.power else one.coefficient, out=limit)
        else:
            at = np.flatnonzero(inside(one[:2], time))
            limit.reshape(-1)[at] = np.minimum(limit.take(at), one.coefficient * time.take(at) ** one.power)
    return limit


def _lowest(pieces: list[Power], start: float, end: float) -> float:
    """Return a lower bound of the strictest of the pieces between two times, infinite where none holds."""
    ends = [(p, max(start, p.low), min(end, p.high)) for p in pieces if p.low <= end and p.high >= start]
    return min((p.coefficient * t**p.power for p, low, high in ends for t in (low, high)), default=np.inf)


@dataclass(frozen=True)
class RegularTrains:
    """The limits of regular trains at one wavelength and exposure, for sources of one angle.

    Attributes
    ----------
    rules : RuleSet
        The edition.
    duration : float
        Exposure duration. [s]
    hazards : dict
        By name the limits of each hazard that applies.
    apertures : frozenset of float
        All limiting apertures. [m]
    joining : tuple of tuple of float
        T_i, and the time in which groups are counted. [s]
    source_angle : float
        Angle of the source. [rad]
    fills : bool
        Whether an area of skin is stated, so that windows end with rows too.
    """

    rules: RuleSet
    duration: float
    hazards: dict[str, list[Power]]
    apertures: frozenset[float]
    joining: tuple[tuple[float, float], ...]
    source_angle: float  # [rad]
    fills: bool  # as that of `Points`

    def per_pulse(self, pulse_duration: ArrayLike, repetition_rate: ArrayLike) -> Floats:
        """Return the limit for each pulse, the lowest of all hazards and rules [J/m2].

        Parameters
        ----------
        pulse_duration : array_like, shape (...)
            Duration of one pulse, not longer than the period or the exposure. [s]
        repetition_rate : array_like, shape (...)
            Pulses per second. [Hz]

        Raises
        ------
        InputError
            If a pulse is longer than its period or the exposure, or a value is not finite and above 0.
        """
        given = np.broadcast_arrays(*(np.asarray(a, dtype=np.float64) for a in (pulse_duration, repetition_rate)))
        pulse, rate = (np.ascontiguousarray(a).reshape(-1) for a in given)
        found = np.empty(pulse.shape)
        for start in range(0, pulse.size, _BLOCK):
            part = slice(start, start + _BLOCK)
            found[part] = self._block(pulse[part], rate[part])
        return found.reshape(given[0].shape)

    def _block(self, pulse: Floats, rate: Floats) -> Floats:
        duration, least, longest = self.duration, float(pulse.min()), float(pulse.max())
        good = least >= DURATIONS[0] * (1 - EDGE) and longest <= duration * (1 + EDGE) and 0 < rate.min()
        if not (good and rate.max() < np.inf and (pulse * rate).max() <= 1 + COUNT_SLACK):
            refuse("a pulse is longer than its period or the exposure, or a value is not finite and above 0")
        period, worst, scratch = 1.0 / rate, np.zeros(pulse.shape), np.empty(pulse.shape)
        gap = float(period.max())

        def note(number: Floats | float, limit: Floats | float) -> None:
            np.maximum(worst, np.divide(number, limit, out=scratch), out=worst)

        total = count_pulses(np.asarray(duration), rate)
        span = np.minimum((total - 1.0) * period + pulse, duration)
        for name, pieces in self.hazards.items():
            single = _limit(pieces, pulse)
            note(1.0, single)
            whole = _limit(pieces, np.asarray(duration))
            note(total, whole)
            note(total, _limit(pieces, span))
            for edge in {end for piece in pieces for end in piece[:2] if least < end < duration}:
                # at most (edge + 2 gaps) / gap pulses lie in such a window, no fewer than duration / gap in the whole
                start = max(edge - gap, float(period.min()))
                if (edge + 2.0 * gap) * whole < 0.999 * duration * _lowest(pieces, start, edge + gap):
                    continue
                if self.fills:
                    begun = count_pulses(np.asarray(edge), rate)
                    note(begun * ((begun > 1.0) & (pulse <= edge)), _limit(pieces, np.asarray(edge)))
                last = np.floor((edge * (1 + EDGE) - pulse) * rate)  # gaps between the pulses up to the edge
                for number in (last, last + 1.0):
                    use = (number >= 1.0) & (number < total)
                    if use.any():
                        note((number + 1.0) * use, _limit(pieces, number * use * period + pulse))
            for within, counted in self.joining if name in self.rules.train_hazards else ():
                short = pulse <= within * (1 + EDGE)
                time = np.asarray(min(within, duration))
                together = np.where(short, count_pulses(time, rate), 1.0) if short.any() else np.ones(pulse.shape)
                groups = np.ceil(count_pulses(np.asarray(counted), rate) / together)
                use = (pulse <= self.rules.longest_pulse * (1 + EDGE)) & ~undivided(pulse, period)
                shorter = short & (pulse < within * (1 - EDGE))
                for joined in [short] + [shorter] * bool((short > shorter).any()):  # a pulse of T_i is of both sides
                    of = (np.asarray(self.source_angle), np.asarray(duration), pulse, joined, groups)
                    factor, row = train_factor(self.rules, *of)
                    share = np.where(use & (row >= 0), 1.0 / factor, 0.0)
                    note(share, single)
                    if float(together.max()) > 1.0:
                        note(share * together * (together > 1.0), _limit(pieces, time))
        return 1.0 / worst


@lru_cache(maxsize=256)
def regular_trains(
    rule_set: str, tissue: str, wavelength: float, duration: float, exposed_area: float | None = None,
    source_angle: float = 1.5e-3,
) -> RegularTrains:  # fmt: skip
    """Return the limits of regular trains at one wavelength and exposure.

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
    exposed_area : float, optional
        Area of skin that is exposed. [m2]
    source_angle : float, optional
        Angle that the source subtends. [rad]

    Returns
    -------
    RegularTrains
        The limits of any number of trains.
    """
    grids = {name: grid_of(rule_set, tissue, name) for name in hazards_of(rule_set, tissue)}
    some = next(iter(grids.values()))
    rules, nm = some.rule_set, wavelength * 1e9
    found = {name: _powers(grid, nm, exposed_area, source_angle) for name, grid in grids.items()}
    rows = {int(side[()]) for side in train_sides(rules, np.array(nm))} - {-1}
    t2 = 2.0 ** float(some.log_t2(np.asarray(source_angle)))
    joining = [
        (row.joined_within, min(duration, t2 if row.counted_over is None else row.counted_over))
        for row in (rules.train_times[number] for number in sorted(rows))
        if any(found[name][0] for name in rules.train_hazards if name in found)
    ]
    holding = {name: pieces for name, (pieces, _) in found.items() if pieces}
    apertures = frozenset(hole for _, holes in found.values() for hole in holes)
    joined, fills = tuple(joining), exposed_area is not None
    return RegularTrains(rules, duration, holding, apertures, joined, source_angle, fills)
