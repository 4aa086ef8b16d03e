"""The limits of one wavelength as powers of time, and by them the limit of a great many regular trains at once.

Gives the lowest limit per pulse that `pulse_train_limit` gives, without saying which rule decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import refuse
from lasersafe.limits.exposure import COUNT_SLACK, count_pulses, train_factor, train_sides, undivided
from lasersafe.limits.grid import DURATIONS, Grid, grid_of, hazards_of
from lasersafe.limits.records import EDGE, Floats, RuleSet, inside

_BLOCK = 32_768


class Power(NamedTuple):
    """A limit ``coefficient * t ** power`` on a range of time [s]."""

    low: float
    high: float
    coefficient: float
    power: float


def _powers(grid: Grid, nm: float, area: float | None) -> tuple[list[Power], set[float]]:
    """Return the rows of one hazard at a wavelength for a small source, and their limiting apertures [m]."""
    column = int(grid.wavelengths.exactly(np.array(nm)))
    pieces: list[Power] = []
    apertures: set[float] = set()
    for n, (low, high) in enumerate(pairwise(grid.durations.edges)):
        for at in grid.slots[:, column + 2 * n * grid.durations.stride]:
            if grid.pieces[at] is None:
                continue
            coefficient, extra, rate, hole, growth, power, slope, *_ = grid.parameters[:, at].tolist()
            coefficient *= float(np.exp2(slope * nm)) + extra if slope else 1.0
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
    """The limits of regular trains at one wavelength and exposure, for a small source.

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
    """

    rules: RuleSet
    duration: float
    hazards: dict[str, list[Power]]
    apertures: frozenset[float]
    joining: tuple[tuple[float, float], ...]
    source_angle: float  # [rad]

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
        span = total - 1.0
        span *= period
        span += pulse
        np.minimum(span, duration, out=span)
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
                number = edge * (1 + EDGE) - pulse
                number *= rate
                np.floor(number, out=number)  # gaps between the pulses of the last window up to the edge
                for _ in range(2):
                    use = number >= 1.0
                    use &= number < total
                    if use.any():
                        many = number * use
                        window = many * period
                        window += pulse
                        many += use
                        note(many, _limit(pieces, window))
                    number += 1.0
            for within, counted in self.joining if name in self.rules.train_hazards else ():
                short = pulse <= within * (1 + EDGE)
                time = np.asarray(min(within, duration))
                together = np.where(short, count_pulses(time, rate), 1.0) if short.any() else np.ones(pulse.shape)
                groups = np.ceil(count_pulses(np.asarray(counted), rate) / together)
                of = (np.asarray(self.source_angle), np.asarray(duration), pulse, short, groups)
                factor, row = train_factor(self.rules, *of)
                use = (row >= 0) & (pulse <= self.rules.longest_pulse * (1 + EDGE)) & ~undivided(pulse, period)
                share = np.where(use, 1.0 / factor, 0.0)
                note(share, single)
                if float(together.max()) > 1.0:
                    note(share * together * (together > 1.0), _limit(pieces, time))
        return 1.0 / worst


@lru_cache(maxsize=256)
def regular_trains(
    rule_set: str, tissue: str, wavelength: float, duration: float, exposed_area: float | None = None
) -> RegularTrains:
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

    Returns
    -------
    RegularTrains
        For a small source.
    """
    grids = {name: grid_of(rule_set, tissue, name) for name in hazards_of(rule_set, tissue)}
    some = next(iter(grids.values()))
    rules, nm = some.rule_set, wavelength * 1e9
    found = {name: _powers(grid, nm, exposed_area) for name, grid in grids.items()}
    rows = {int(side[()]) for side in train_sides(rules, np.array(nm))} - {-1}
    joining = [
        (row.joined_within, min(duration, 2.0 ** some.t2[4] if row.counted_over is None else row.counted_over))
        for row in (rules.train_times[number] for number in sorted(rows))
        if any(found[name][0] for name in rules.train_hazards if name in found)
    ]
    return RegularTrains(
        rules,
        duration,
        {name: pieces for name, (pieces, _) in found.items() if pieces},
        frozenset(hole for _, apertures in found.values() for hole in apertures),
        tuple(joining),
        some.source_min * 1e-3,
    )
