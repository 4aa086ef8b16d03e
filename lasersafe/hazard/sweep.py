"""Ratio of emission to limit for a great many settings of a pulse train at once.

For one wavelength, exposure and a small source every limit is ``coefficient * t ** power`` on a few ranges of time,
with powers that are quarters. So the rules of a train need square roots only; the settings are worked through in blocks
that stay in the processor's cache. Gives what `pulse_train_limit` gives, for settings that are possible.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.frozen import dataclass
from lasersafe.hazard.exposure import body_area
from lasersafe.limits import hazard_limits, time_t2
from lasersafe.limits.grid import EDGE, grid_of
from lasersafe.limits.pulses import COUNT_SLACK
from lasersafe.limits.tables import load_rule_set
from lasersafe.optics.checks import unique

Floats = NDArray[np.float64]
SMALL_SOURCE = 1.5e-3  # [rad]
_BLOCK = 8192
_NO_SLACK = 1.0 - COUNT_SLACK


class Piece(NamedTuple):
    """A limit ``coefficient * t ** (quarters / 4)`` on a range of time [s], over one aperture [m]."""

    low: float
    high: float
    coefficient: float
    quarters: int
    aperture: tuple[float, float]  # diameter at both ends of the range


class Joining(NamedTuple):
    """The train rule at one wavelength: T_i [s], the time in which groups are counted [s], and C_P."""

    within: float
    counted: float
    longest: float
    by_number: bool  # C_P = N ** -0.25 for every pulse, else that of ICNIRP for a small source


@dataclass(frozen=True)
class Compiled:
    """The limits of one rule set and tissue at one wavelength and exposure, ready for many settings."""

    rule_set: str
    tissue: str
    duration: float
    hazards: tuple[tuple[str, tuple[Piece, ...]], ...]
    joining: tuple[Joining, ...]
    train_hazards: tuple[str, ...]


@lru_cache(maxsize=128)
def _hazards(rule_set: str, tissue: str, wavelength: float) -> tuple[tuple[str, tuple[Piece, ...]], ...]:
    """Return the limits of every hazard as pieces of time."""
    grid = grid_of(rule_set, tissue)
    ends = unique(np.concatenate([[1e-13], grid.duration_edges, [3e4]]))
    first, second = (ends[:-1] ** (1 - w) * ends[1:] ** w for w in (1 / 3, 2 / 3))
    times = np.concatenate([first, second])
    hazards = []
    for limit in hazard_limits(rule_set, tissue, wavelength, times, exposed_area=body_area(tissue, wavelength)):
        one, two = np.split(limit.radiant_exposure, 2)
        small, large = np.split(limit.limiting_aperture, 2)
        pieces: list[Piece] = []
        for n, (low, high) in enumerate(pairwise(ends)):
            if not np.isfinite(one[n]):
                continue
            quarters = round(4 * float(np.log(two[n] / one[n]) / np.log(second[n] / first[n])))
            coefficient = float(one[n] / first[n] ** (quarters / 4))
            piece = Piece(float(low), float(high), coefficient, quarters, (float(small[n]), float(large[n])))
            last = pieces[-1] if pieces else None
            same = (
                last is not None and last.high == low and last.quarters == quarters and last.aperture == piece.aperture
            )
            if last is not None and same and abs(last.coefficient / coefficient - 1) < 1e-13:
                pieces[-1] = last._replace(high=float(high))
            else:
                pieces.append(piece)
        hazards.append((limit.name, tuple(pieces)))
    return tuple(hazards)


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
    hazards = _hazards(rule_set, tissue, wavelength)
    t2 = float(time_t2(rule_set, SMALL_SOURCE))
    by_number = all((p.value, p.power, p.floor) == (1.0, -0.25, 0.0) for p in rules.train_factors)
    nm = wavelength * 1e9
    joining = tuple(
        Joining(row.joined_within, min(duration, t2 if row.counted_over is None else row.counted_over),
                rules.longest_pulse, by_number)
        for row in rules.train_times if row.wavelength[0] * (1 - EDGE) <= nm <= row.wavelength[1] * (1 + EDGE)
    )  # fmt: skip
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
        self._roots: dict[int, Floats] = {}

    def count(self, window: float) -> Floats:
        """Return how many pulses start in a window."""
        number = np.ceil(self.rate * (window * _NO_SLACK))
        return np.maximum(number, 1.0, out=number)

    def share(self, energy: Floats, limit: Floats | float) -> None:
        """Note the ratio of an energy to a limit, where it is the highest."""
        np.maximum(self.worst, np.divide(energy, limit, out=self.scratch), out=self.worst)

    def pulse_power(self, quarters: int) -> Floats:
        """Return pulse duration to the power of so many quarters."""
        if quarters not in self._roots:
            self._roots[quarters] = _power(self.pulse, quarters)
        return self._roots[quarters]


def _power(time: Floats, quarters: int) -> Floats:
    if quarters == 4:
        return time
    root = np.sqrt(time)
    if quarters == 2:
        return root
    fourth = np.sqrt(root)
    return fourth if quarters == 1 else np.multiply(root, fourth, out=root)


def _limit_at(pieces: tuple[Piece, ...], time: float) -> float:
    """Return the stricter limit of the pieces that hold at a time."""
    found = [p.coefficient * time ** (p.quarters / 4) for p in pieces
             if p.low * (1 - EDGE) <= time <= p.high * (1 + EDGE)]  # fmt: skip
    return min(found, default=np.inf)


def _of_pulse(block: _Block, pieces: tuple[Piece, ...]) -> Floats | float:
    """Return the limit of a single pulse."""
    here = [p for p in pieces if p.high * (1 + EDGE) >= block.least and p.low * (1 - EDGE) <= block.longest]
    if len(here) == 1 and here[0].low <= block.least and here[0].high >= block.longest:
        one = here[0]
        return one.coefficient if one.quarters == 0 else block.pulse_power(one.quarters) * one.coefficient
    limit = np.full_like(block.pulse, np.inf)
    for one in here:
        inside = (block.pulse >= one.low * (1 - EDGE)) & (block.pulse <= one.high * (1 + EDGE))
        value = one.coefficient if one.quarters == 0 else block.pulse_power(one.quarters) * one.coefficient
        np.minimum(limit, np.where(inside, value, np.inf), out=limit)
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
            limit = one.coefficient if one.quarters == 0 else _power(span, one.quarters) * one.coefficient
            if one.low * (1 - EDGE) > shortest or one.high * (1 + EDGE) < duration:
                inside = (span >= one.low * (1 - EDGE)) & (span <= one.high * (1 + EDGE))
                limit = np.where(inside, limit, np.inf)
            block.share(lit, limit)
    for one in pieces:
        for edge, last in ((one.high * (1 + EDGE), True), (one.low * (1 - EDGE), False)):
            if not block.least < edge < duration or edge <= 1.1e-13 or edge >= 2.9e4:
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
            if one.quarters or beyond:
                window = number * block.period
                window += block.pulse
            if beyond:
                use &= (window >= one.low * (1 - EDGE)) & (window <= one.high * (1 + EDGE))
            if one.quarters:
                limit = _power(window, one.quarters)
                limit *= one.coefficient
            number += 1.0
            number *= block.energy
            number *= use
            block.share(number, limit)


def _train(block: _Block, pieces: tuple[Piece, ...], joining: Joining, single: Floats | float, duration: float) -> None:
    """Note every pulse, and the pulses inside T_i, against C_P times their limit."""
    within = None
    if block.longest > joining.within * (1 + EDGE):
        within = block.pulse <= joining.within * (1 + EDGE)
    time = min(joining.within, duration)
    number = block.count(joining.counted)
    together = None
    if block.least <= joining.within * (1 + EDGE):
        together = block.count(time)
        if float(together.max()) <= 1.0:
            together = None
        else:
            grouped = np.ceil(number / together)
            number = grouped if within is None else np.where(within, grouped, number)
    energy = block.energy
    if joining.by_number:
        raised = np.sqrt(np.sqrt(number, out=number), out=number)  # N ** 0.25 = 1 / C_P
    elif duration <= 0.25 * (1 + EDGE) or float(number.max()) <= 600.0:
        raised = np.ones_like(number)
    else:
        many = number > 600.0
        raised = np.sqrt(np.sqrt(number, out=number), out=number)
        raised *= 0.2
        np.clip(raised, 1.0, 2.5, out=raised)
        raised = np.where(many, raised, 1.0)
    if not joining.by_number and within is not None:
        raised = np.where(within, raised, 1.0)
    lit = energy * raised
    if block.longest > joining.longest:
        lit = lit * (block.pulse <= joining.longest * (1 + EDGE))
    block.share(lit, single)
    if together is not None:
        lit = lit * together
        lit *= (together > 1.0) if within is None else (within & (together > 1.0))
        block.share(lit, _limit_at(pieces, time))


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
            joined = [j for j in limits.joining if name in limits.train_hazards]
            if not joined or any(block.longest > j.longest for j in joined):
                block.share(q, single)
            _mean(block, pieces, limits.duration)
            for one in joined:
                _train(block, pieces, one, single, limits.duration)
        found[part] = block.worst
    return found
