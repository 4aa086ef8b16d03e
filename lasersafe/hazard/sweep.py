"""Ratio of emission to limit for a great many settings of a pulse train at once.

For one wavelength, exposure and a small source every limit is ``coefficient * t ** power`` on a few ranges of time. The
settings are worked through in blocks that stay in the processor's cache. Gives what `pulse_train_limit` gives, for
settings that are possible.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.hazard.emission import body_area
from lasersafe.limits import time_t2
from lasersafe.limits.exposure import COUNT_SLACK, count_pulses, quick_power, train_factor, undivided
from lasersafe.limits.grid import DURATIONS, Grid, grid_of, hazards_of
from lasersafe.limits.records import EDGE
from lasersafe.limits.tables import load_rule_set

Floats = NDArray[np.float64]
SMALL_SOURCE = 1.5e-3  # [rad]
_BLOCK = 8192


class Piece(NamedTuple):
    """A limit ``coefficient * t ** power`` on a range of time [s], over one aperture [m]."""

    low: float
    high: float
    coefficient: float
    power: float
    aperture: tuple[float, float]  # diameter at both ends of the range


class Joining(NamedTuple):
    """The train rule at one wavelength: T_i [s], and the time in which groups are counted [s]."""

    within: float
    counted: float


@dataclass(frozen=True)
class Compiled:
    """The limits of one rule set and tissue at one wavelength and exposure, ready for many settings."""

    rule_set: str
    tissue: str
    duration: float
    hazards: tuple[tuple[str, tuple[Piece, ...]], ...]
    joining: tuple[Joining, ...]
    train_hazards: tuple[str, ...]

    @property
    def apertures(self) -> set[float]:
        """The limiting apertures of all pieces. [m]."""
        return {size for _, pieces in self.hazards for piece in pieces for size in piece.aperture}


def _pieces(grid: Grid, wavelength_nm: float, area: float | None) -> tuple[Piece, ...]:
    """Return the rows of one hazard at a wavelength, for a small source; two where two hold at a time."""
    column = int(grid.wavelengths.at(np.array([wavelength_nm]))[0])
    pieces: list[Piece] = []
    for n, (low, high) in enumerate(pairwise(grid.durations.edges)):
        for at in grid.slots[:, column + 6 * n]:
            if grid.pieces[at] is None:
                continue
            coefficient, extra, rate, hole, growth, power, slope, *_ = grid.parameters[:, at].tolist()
            coefficient *= float(np.exp2(slope * wavelength_nm)) + extra if slope else 1.0
            first, last = hole * low**growth, hole * high**growth
            piece = Piece(low, high, coefficient, power + rate, (first, last))
            same = [p for p in pieces if p._replace(low=low, high=high) == piece and p.high == low]
            for one in same:
                pieces.remove(one)
            pieces.append(piece._replace(low=min([low, *(one.low for one in same)])))
    rule = grid.rule_set.area
    if area is None or rule is None or rule.hazard not in grid.hazards:
        return tuple(pieces)
    if wavelength_nm < rule.wavelength[0] * (1 - EDGE):
        return tuple(pieces)
    start = rule.duration[0]
    for row in rule.rows:
        if row.area[0] * (1 - EDGE) <= area <= row.area[1] * (1 + EDGE):
            value = float(row.at(area))
            pieces += [
                p._replace(low=max(p.low, start), coefficient=value, power=1.0) for p in pieces if p.high > start
            ]
    return tuple(pieces)


@lru_cache(maxsize=256)
def compiled(rule_set: str, tissue: str, wavelength: float, duration: float) -> Compiled:
    """Return the limits at one wavelength and exposure, for a small source, as a few powers of time.

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
    Compiled
        For `ratios`.
    """
    rules = load_rule_set(rule_set)
    t2 = float(time_t2(rule_set, SMALL_SOURCE))
    nm = wavelength * 1e9
    joining = tuple(
        Joining(row.joined_within, min(duration, t2 if row.counted_over is None else row.counted_over))
        for row in rules.train_times if row.wavelength[0] * (1 - EDGE) <= nm <= row.wavelength[1] * (1 + EDGE)
    )  # fmt: skip
    area = body_area(tissue, wavelength)
    found = ((name, _pieces(grid_of(rule_set, tissue, name), nm, area)) for name in hazards_of(rule_set, tissue))
    hazards = tuple((name, pieces) for name, pieces in found if pieces)
    return Compiled(rule_set, tissue, duration, hazards, joining, tuple(rules.train_hazards))


class _Block:
    """Settings of one block, and what several rules need of them."""

    def __init__(self, energy: Floats, pulse: Floats, rate: Floats, duration: float) -> None:
        self.energy, self.pulse, self.rate = energy, pulse, rate
        self.period = 1.0 / rate
        self.least, self.longest = float(pulse.min()), float(pulse.max())
        self.total = self.count(duration)
        self.worst = np.zeros_like(energy)
        self.scratch = np.empty_like(energy)
        self._roots: dict[float, Floats] = {}

    def count(self, window: float) -> Floats:
        """Return how many pulses start in a window."""
        return count_pulses(np.asarray(window), self.rate)  # to the last bit as the full rules do

    def share(self, energy: Floats, limit: Floats | float) -> None:
        """Note the ratio of an energy to a limit, where it is the highest."""
        np.maximum(self.worst, np.divide(energy, limit, out=self.scratch), out=self.worst)

    def limit(self, piece: Piece, time: Floats | None = None) -> Floats | float:
        """Return the limit of a piece at some times, those of the pulses when none are given."""
        if piece.power == 0.0:
            return piece.coefficient
        if time is not None:
            return quick_power(time, piece.power) * piece.coefficient
        if piece.power not in self._roots:
            self._roots[piece.power] = quick_power(self.pulse, piece.power)
        return self._roots[piece.power] * piece.coefficient


def _limit_at(pieces: tuple[Piece, ...], time: float) -> float:
    """Return the stricter limit of the pieces that hold at a time."""
    found = [p.coefficient * time**p.power for p in pieces
             if p.low * (1 - EDGE) <= time <= p.high * (1 + EDGE)]  # fmt: skip
    return min(found, default=np.inf)


def _of_pulse(block: _Block, pieces: tuple[Piece, ...]) -> Floats | float:
    """Return the limit of a single pulse."""
    here = [p for p in pieces if p.high * (1 + EDGE) >= block.least and p.low * (1 - EDGE) <= block.longest]
    if len(here) == 1 and here[0].low <= block.least and here[0].high >= block.longest:
        return block.limit(here[0])
    limit = np.full_like(block.pulse, np.inf)
    for one in here:
        inside = (block.pulse >= one.low * (1 - EDGE)) & (block.pulse <= one.high * (1 + EDGE))
        np.minimum(limit, np.where(inside, block.limit(one), np.inf), out=limit)
    return limit


def _mean(block: _Block, pieces: tuple[Piece, ...], duration: float) -> None:
    """Note the windows of the mean rule: the whole exposure, and the last and first window of each piece."""
    lit = block.energy * block.total
    block.share(lit, _limit_at(pieces, duration))
    span = block.total - 1.0
    span *= block.period
    span += block.pulse
    np.minimum(span, duration, out=span)
    slowest = float(block.period.max())
    shortest = max(block.least, duration - slowest - 2 * duration * COUNT_SLACK)
    for one in pieces:
        if one.low * (1 - EDGE) <= duration and one.high * (1 + EDGE) >= shortest:
            limit = block.limit(one, span)
            if one.low * (1 - EDGE) > shortest or one.high * (1 + EDGE) < duration:
                inside = (span >= one.low * (1 - EDGE)) & (span <= one.high * (1 + EDGE))
                limit = np.where(inside, limit, np.inf)
            block.share(lit, limit)
    for one in pieces:
        for edge, last in ((one.high * (1 + EDGE), True), (one.low * (1 - EDGE), False)):
            if not block.least < edge < duration or edge <= 1.1 * DURATIONS[0] or edge >= 0.97 * DURATIONS[1]:
                continue
            number = edge - block.pulse
            number *= block.rate
            (np.floor if last else np.ceil)(number, out=number)  # gaps between the pulses of the window
            use = number >= 1.0
            if not use.any():
                continue
            use &= number < block.total
            np.maximum(number, 0.0, out=number)
            limit = one.coefficient
            beyond = edge - slowest < one.low if last else edge + slowest > one.high
            if one.power or beyond:
                window = number * block.period
                window += block.pulse
            if beyond:
                use &= (window >= one.low * (1 - EDGE)) & (window <= one.high * (1 + EDGE))
            if one.power:
                limit = block.limit(one, window)
            number += 1.0
            number *= block.energy
            number *= use
            block.share(number, limit)


def _train(
    block: _Block, limits: Compiled, pieces: tuple[Piece, ...], joining: Joining, single: Floats | float
) -> None:
    """Note every pulse, and the pulses inside T_i, against C_P times their limit."""
    rules = load_rule_set(limits.rule_set)
    within = block.pulse <= joining.within * (1 + EDGE)
    time = min(joining.within, limits.duration)
    together = np.where(within, block.count(time), 1.0) if within.any() else np.ones_like(block.pulse)
    number = np.ceil(block.count(joining.counted) / together)
    factor, row = train_factor(
        rules, np.asarray(SMALL_SOURCE), np.asarray(limits.duration), block.pulse, within, number
    )
    use = (row >= 0) & (block.pulse <= rules.longest_pulse * (1 + EDGE)) & ~undivided(block.pulse, block.period)
    lit = np.where(use, block.energy / factor, 0.0)
    block.share(lit, single)
    if float(together.max()) > 1.0:
        block.share(np.where(together > 1.0, lit * together, 0.0), _limit_at(pieces, time))


def ratios(limits: Compiled, pulse_energy: ArrayLike, pulse_duration: ArrayLike, repetition_rate: ArrayLike) -> Floats:
    """Return energy of a pulse over its limit, the highest of all hazards and rules, for a wide beam.

    Parameters
    ----------
    limits : Compiled
        From `compiled`.
    pulse_energy : array_like, shape (n,)
        Energy of one pulse. [J]
    pulse_duration : array_like, shape (n,)
        Duration of one pulse, not longer than the period or the exposure. [s]
    repetition_rate : array_like, shape (n,)
        Pulses per second. [Hz]

    Returns
    -------
    numpy.ndarray, shape (n,)
        Energy over limit; divided by the area of the beam it is exposure over limit. [m2]

    Raises
    ------
    InputError
        If a pulse is longer than its period or the exposure, or a value is not finite and above 0.
    """
    energy, pulse, rate = (
        np.ascontiguousarray(v, dtype=np.float64) for v in (pulse_energy, pulse_duration, repetition_rate)
    )
    energy, pulse, rate = (np.ascontiguousarray(a) for a in np.broadcast_arrays(energy, pulse, rate))
    found = np.empty(energy.shape)
    for start in range(0, energy.size, _BLOCK):
        part = slice(start, start + _BLOCK)
        q, t, f = energy[part], pulse[part], rate[part]
        good = bool(
            q.min() > 0 and f.min() > 0 and t.min() >= 1e-13 * (1 - EDGE)
            and t.max() <= limits.duration * (1 + EDGE) and (t * f).max() <= 1 + COUNT_SLACK
            and q.max() < np.inf and f.max() < np.inf
        )  # fmt: skip
        if not good:
            message = (
                "settings: a pulse is longer than its period or the exposure, or a value is not finite and above 0"
            )
            raise InputError(message)
        block = _Block(q, t, f, limits.duration)
        for name, pieces in limits.hazards:
            single = _of_pulse(block, pieces)
            block.share(q, single)
            _mean(block, pieces, limits.duration)
            for one in limits.joining if name in limits.train_hazards else ():
                _train(block, limits, pieces, one, single)
        found[part] = block.worst
    return found
