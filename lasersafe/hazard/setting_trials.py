"""Which settings of a train are tried when the worst is searched.

Limits are not monotonic across the edges of their rows, and whole pulses are counted; but between two neighbouring
edges, jumps and kinks the ratio of emission to limit runs one way in each knob. So the search tries both ends of every
range, every edge inside, both sides of every jump that can matter and the jump itself, the kink where a cap on the
energy meets one on the mean power, the corner where pulses touch, and a grid between.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.hazard.emission import Emission, continuous, pulse_train, single_pulse
from lasersafe.hazard.lasting import duration_edges
from lasersafe.hazard.settings import Range, SettingSpace
from lasersafe.limits import rule_sets
from lasersafe.optics.checks import unique

Floats = NDArray[np.float64]
_GRID = 17
_COARSE = 5
_STEPS = 24  # whole pulses tried from each end and kink on
_FEW_STEPS = 8  # and for windows that end on the end of a row
_ABOVE = 1.0 + 4e-9  # just more than the slack of the pulse count
_BELOW = 1.0 - 4e-9
_SHORTEST, _LONGEST = 1e-13, 3e4
_SLACK = 1e-9  # relative, of bursts that follow each other without a gap, as when a case is read
_LAST_DIGITS = 1e-12


class Tried(NamedTuple):
    """Settings of a train, as arrays of one length."""

    energy: Floats
    pulse: Floats
    rate: Floats  # of bursts, when there are any
    number: Floats  # pulses in a burst, 1 without
    spacing: Floats  # [s], the period without

    def emission(self, at: int, space: SettingSpace) -> Emission:
        """Return one of the settings."""
        energy, pulse, rate, number, spacing = (float(column[at]) for column in self)
        found = replace(pulse_train(energy, pulse, rate * number, space.pedestal), name=space.name)
        if space.burst_pulses is not None and number > 1.0:
            found = replace(found, burst=((number, spacing),))
        return found


def _points(span: Range, edges: Floats, grid: int = _GRID) -> Floats:
    low, high = span
    if low == high:
        return np.array([low])
    inside = edges[(edges > low) & (edges < high)]
    return unique(np.concatenate([np.geomspace(low, high, grid)[1:-1], [low, high], inside]))


@lru_cache(maxsize=4)
def _edges(names: tuple[str, ...]) -> Floats:
    return np.array(duration_edges(names))


def row_edges() -> Floats:
    """Return the durations at which a limit of any rule set may jump or turn.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Ascending. [s]
    """
    return _edges(rule_sets())


def _jumps(span: Range, bounds: Floats, window: float, steps: int, last: float = 0.0) -> Floats:
    """Return rates at which whole periods, and a *last* part of one, fill a window: next to each bound, and the first.

    Just above such a rate one pulse more starts in the window, just below the window is the longer one; at the rate
    itself both hold, by the stricter side.
    """
    near = np.floor(bounds * window - last)
    counts = np.concatenate(
        [(near[:, None] + np.arange(-1.0, 2.0)).ravel(), (near[:, None] + np.arange(steps)).ravel()]
    )
    rates: Floats = ((unique(counts[counts >= 1.0]) + last) / window)[:, None] * np.array([_BELOW, 1.0, _ABOVE])
    return rates[(rates >= span[0]) & (rates <= span[1])]


def _bounds(space: SettingSpace, numbers: Floats, longest_rate: float = np.inf) -> Floats:
    """Return the ends of the rates, and the kinks between them where a cap on the energy meets one on the power."""
    assert space.repetition_rate is not None
    low, high = space.repetition_rate
    energy, power = space.caps
    kinks = power / (energy * numbers) if np.isfinite(energy + power) else np.array([])
    found = np.array([low, high, *kinks, longest_rate])
    return unique(found[(found >= low) & (found <= high) & (found <= longest_rate)])


def _burst_rates(space: SettingSpace, windows: tuple[float, ...], numbers: Floats) -> Floats:
    """Return the rates of bursts to be tried."""
    assert space.repetition_rate is not None
    assert space.burst_spacing is not None
    if space.repetition_rate[0] == space.repetition_rate[1]:
        return np.array([space.repetition_rate[0]])
    bounds = _bounds(space, numbers)
    touching = [1.0 / (number * spacing) for number in numbers for spacing in space.burst_spacing]
    found = [_jumps(space.repetition_rate, bounds[:-1], window, 2) for window in windows]
    return _points(space.repetition_rate, np.concatenate([bounds, touching, 1.0 / row_edges(), *found]), _COARSE)


def _plain_trains(space: SettingSpace, windows: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Return pulse durations and rates to be tried, in pairs."""
    assert space.repetition_rate is not None
    span, edges = space.repetition_rate, row_edges()
    bounds = _bounds(space, np.array([1.0]))
    coarse = _points(span, np.concatenate([bounds, 1.0 / edges]))
    pairs = []
    if space.duty is not None:
        for duty in _points(space.duty, np.array([1.0 - 4e-9]), _COARSE):
            found = [_jumps(span, bounds, window, _STEPS) for window in windows]
            found += [_jumps(span, bounds, edge, _FEW_STEPS, float(duty)) for edge in edges]
            whole = (duty / edges[:, None] * np.array([_BELOW, 1.0, _ABOVE])).ravel()  # a pulse as long as a row
            rates = np.concatenate([coarse, whole[(whole >= span[0]) & (whole <= span[1])], *found])
            pairs.append((duty / rates, rates))
        for edge in edges:
            rates = np.concatenate([coarse, *(_jumps(span, bounds, window, _STEPS) for window in windows)])
            rates = rates[(edge * rates > space.duty[0]) & (edge * rates < space.duty[1])]
            pairs.append((np.full_like(rates, edge), rates))
    else:
        assert space.pulse_duration is not None
        shortest, longest = space.pulse_duration
        for pulse in _points(space.pulse_duration, edges, 2):
            own = _bounds(space, np.array([1.0]), 1.0 / float(pulse))
            found = [own * _BELOW] if own.size and own[-1] * pulse == 1.0 else []  # where pulses touch, and just before
            found += [_jumps(span, own, window, _STEPS) for window in windows]
            found += [_jumps(span, own, float(edge - pulse), _FEW_STEPS) for edge in edges if edge > pulse]
            rates = np.concatenate([coarse, own, *found])
            pairs.append((np.full_like(rates, pulse), rates))
        pulses = _points(space.pulse_duration, edges)
        pairs.append(tuple(a.reshape(-1) for a in np.meshgrid(pulses, coarse)))  # type: ignore[arg-type]
        pairs.append((1.0 / coarse, coarse))  # pulses that touch
        for rate in bounds if longest > shortest else ():  # windows that end on the end of a row
            ends = np.concatenate([np.floor((edges - end) * rate)[:, None] + np.arange(-1.0, 2.0)
                                   for end in (shortest, longest)], axis=1)  # fmt: skip
            found_pulses = (edges[:, None] - ends / rate).ravel()[:, None] * np.array([_BELOW, 1.0, _ABOVE])
            found_pulses = found_pulses[(found_pulses > shortest) & (found_pulses < longest)]
            pairs.append((found_pulses, np.full_like(found_pulses, rate)))
    pulse, rate = (np.concatenate(column) for column in zip(*pairs, strict=True))
    if space.pulse_duration is not None:
        inside = (pulse >= space.pulse_duration[0]) & (pulse <= space.pulse_duration[1])
        pulse, rate = pulse[inside], rate[inside]
    return pulse, rate


def trains(space: SettingSpace, windows: tuple[float, ...] = (), longest: float = _LONGEST) -> Tried:
    """Return the settings of a train to be tried; more energy is never less harmful.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings of a train.
    windows : tuple of float
        Times in which whole pulses are counted. [s]
    longest : float
        The exposure; no pulse may be longer. [s]

    Returns
    -------
    Tried
        At least one setting.

    Raises
    ------
    InputError
        If no setting of the ranges is possible.
    """
    bursts = space.burst_pulses is not None and space.burst_spacing is not None
    numbers = spacings = np.array([1.0])
    if bursts:
        assert space.burst_pulses is not None
        assert space.burst_spacing is not None
        assert space.repetition_rate is not None
        assert space.pulse_duration is not None
        low, high = space.burst_pulses
        cap, power = space.caps
        kinks = power / (cap * np.array(space.repetition_rate)) if np.isfinite(cap + power) else np.array([])
        several = np.array([low, low + 1.0, *np.geomspace(low, high, 5)[1:-1], high, *np.floor(kinks), *np.ceil(kinks)])
        numbers = np.arange(low, high + 1.0) if high - low < 8 else unique(np.clip(np.round(several), low, high))
        steps = [w / np.arange(1, 9) * f for w in windows for f in (_ABOVE, 1.0, _BELOW)]
        closest = np.array(space.pulse_duration)  # no spacing is shorter than the pulse
        spacings = _points(space.burst_spacing, np.concatenate([row_edges(), closest, *steps]), _COARSE)
        within = {w - (n - 1.0) * s for w in windows for n in numbers for s in space.burst_spacing}  # whole bursts
        rates = _burst_rates(space, (*windows, *(w for w in within if w > 0.0 and w not in windows)), numbers)
        pulses = _points(space.pulse_duration, row_edges(), _COARSE)
        pulse, rate = (a.reshape(-1) for a in np.meshgrid(pulses, rates))
    else:
        pulse, rate = _plain_trains(space, windows)
    shape = (pulse.size, numbers.size, spacings.size)
    pulse, rate, number, spacing = (np.broadcast_to(a, shape).reshape(-1) for a in (
        pulse[:, None, None], rate[:, None, None], numbers[:, None], spacings))  # fmt: skip
    spacing = np.where(number > 1.0, spacing, 1.0 / rate)  # of one pulse it means nothing
    cap, power = space.caps
    energy = np.minimum(cap, power / (rate * number))
    fits = (pulse * rate <= 1.0 + _LAST_DIGITS) & (pulse <= longest) & (pulse >= _SHORTEST * (1.0 - _LAST_DIGITS))
    if bursts:
        fits &= (pulse <= spacing) & ((number * spacing * rate <= 1.0 + _SLACK) | (number == 1.0))
    if not fits.any():
        message = "emission: no allowed setting is possible, every pulse is longer than its period or than the exposure"
        if bursts:
            message = "emission: no allowed setting is possible, the pulses of a burst do not fit between two bursts"
        raise InputError(message)
    return Tried(*(a[fits] for a in (energy, pulse, rate, number, spacing)))


def candidates(space: SettingSpace, windows: tuple[float, ...] = ()) -> list[Emission]:
    """Return the settings to be tried: ends, row edges, jumps, kinks and a grid between.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    windows : tuple of float
        Times in which whole pulses are counted. [s]

    Returns
    -------
    list of Emission
        At least one.

    Raises
    ------
    InputError
        If no setting of the ranges is possible, because every pulse would be longer than its period.
    """
    if space.modes:
        return [one for mode in space.modes for one in candidates(mode, windows)]
    if space.pattern is not None:
        return [space.pattern]
    if space.kind == "continuous":
        assert space.power is not None
        return [continuous(space.power[1])]
    if space.kind == "single pulse":
        assert space.pulse_energy is not None
        assert space.pulse_duration is not None
        durations = _points(space.pulse_duration, row_edges())
        return [single_pulse(space.pulse_energy[1], float(t)) for t in durations]
    tried = trains(space, windows)
    return [tried.emission(at, space) for at in range(tried.energy.size)]


def extreme_settings(space: SettingSpace) -> list[Emission]:
    """Return the setting of most energy in a pulse and that of most power, of equals the shortest pulse.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.

    Returns
    -------
    list of Emission
        Two, as found among `candidates`.

    Raises
    ------
    InputError
        If no setting of the ranges is possible.
    """
    if space.kind != "pulse train" or space.pattern is not None:
        tried = candidates(space)
        columns = [[one.pulse_energy for one in tried], [one.power for one in tried]]
        pulses = [one.pulse_duration for one in tried]
        return [tried[_first_most(np.array(column), np.array(pulses))] for column in columns]
    train = trains(space)
    power = train.energy * train.rate * train.number
    return [train.emission(_first_most(column, train.pulse), space) for column in (train.energy, power)]


def _first_most(column: Floats, pulse: Floats) -> int:
    most = np.flatnonzero(column == column.max())
    return int(most[np.argmin(pulse[most])])
