"""The settings that a user may turn, and which of them to try.

Limits are not monotonic across the edges of their rows, and whole pulses are counted; but between two neighbouring
edges, jumps and kinks the ratio of emission to limit runs one way in each knob. So the search tries both ends of every
range, every edge inside, both sides of every jump that can matter, the kink where a cap on the energy meets one on the
mean power, and a grid between.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.frozen import dataclass
from lasersafe.hazard.exposure import Emission, continuous, pulse_train, single_pulse
from lasersafe.optics.checks import unique

DURATION_EDGES = (1e-11, 1e-9, 1e-7, 1e-6, 5e-6, 13e-6, 18e-6, 50e-6, 625e-6, 1e-3, 0.25, 0.35, 1.0, 10.0)
_GRID = 17
_COARSE = 5
_STEPS = 24  # whole pulses beyond this change a count by less than 5 %, and the first jump after each end is tried too
_ABOVE = 1.0 + 4e-9  # just more than the slack of the pulse count
_BELOW = 1.0 - 4e-9
_SHORTEST, _LONGEST = 1e-13, 3e4
_SLACK = 1e-9  # relative, of bursts that follow each other without a gap, as when a case is read
_LAST_DIGITS = 1e-12

Range = tuple[float, float]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SettingSpace:
    """Ranges that the user may turn, in SI units; a fixed value is a range of equal ends.

    Parameters
    ----------
    kind : str
        ``continuous``, ``single pulse``, ``pulse train``, ``pulse list`` or ``mode table``.
    power : tuple of float, optional
        Range of power, or of mean power of a train. [W]
    pulse_energy : tuple of float, optional
        Range of energy per pulse. [J]
    pulse_duration : tuple of float, optional
        Range of pulse duration. [s]
    repetition_rate : tuple of float, optional
        Range of repetition rate; of bursts, when there are any. [Hz]
    duty : tuple of float, optional
        Range of the share of the period that a pulse lasts, in place of ``pulse_duration``. [1]
    burst_pulses : tuple of float, optional
        Range of the number of pulses in a burst. [1]
    burst_spacing : tuple of float, optional
        Range of the time between the starts of the pulses of a burst. [s]
    pedestal : float
        Power under and between the pulses. [W]
    modes : tuple of SettingSpace
        The rows of a table of modes, each with its name.
    name : str
        Name of the mode.
    pattern : Emission, optional
        Pulses one by one, which cannot be turned.
    """

    kind: str
    power: Range | None = None
    pulse_energy: Range | None = None
    pulse_duration: Range | None = None
    repetition_rate: Range | None = None
    duty: Range | None = None
    burst_pulses: Range | None = None
    burst_spacing: Range | None = None
    pedestal: float = 0.0
    modes: tuple[SettingSpace, ...] = ()
    name: str = ""
    pattern: Emission | None = None

    @property
    def knobs(self) -> dict[str, Range]:
        """The ranges that are more than one value, by name."""
        return {name: span for name in KNOBS if (span := getattr(self, name)) is not None and span[0] != span[1]}

    @property
    def adjustable(self) -> bool:
        """True when at least one knob can be turned, or one of several modes chosen."""
        return bool(self.knobs) or len(self.modes) > 1 or any(mode.adjustable for mode in self.modes)

    def held(self, knob: str, value: float) -> SettingSpace:
        """Return the space with one knob at a fixed value."""
        changed: dict[str, Any] = {knob: (value, value)}
        return replace(self, **changed)

    def scaled(self, factor: float) -> SettingSpace:
        """Return the space of what is left when *factor* of every power and energy passes."""

        def part(span: Range | None) -> Range | None:
            return None if span is None else (span[0] * factor, span[1] * factor)

        return replace(
            self, power=part(self.power), pulse_energy=part(self.pulse_energy), pedestal=self.pedestal * factor,
            modes=tuple(mode.scaled(factor) for mode in self.modes),
            pattern=None if self.pattern is None else self.pattern.scaled(factor),
        )  # fmt: skip

    @property
    def highest_mean_power(self) -> float | None:
        """Highest mean power of all settings, pedestal included; None when pulses do not repeat. [W]."""
        if self.modes:
            return max((power for mode in self.modes if (power := mode.highest_mean_power) is not None), default=None)
        if self.pattern is not None:
            return None if self.pattern.period is None else self.pattern.power
        if self.power is not None:
            return self.power[1] + self.pedestal
        if self.pulse_energy is not None and self.repetition_rate is not None:
            number = 1.0 if self.burst_pulses is None else self.burst_pulses[1]
            return self.pulse_energy[1] * self.repetition_rate[1] * number + self.pedestal
        return None

    @property
    def longest_pulse(self) -> float:
        """Longest pulse of all settings; 0 without pulses. [s]."""
        if self.modes:
            return max(mode.longest_pulse for mode in self.modes)
        if self.pattern is not None:
            return max((length for _, length, _ in self.pattern.pulses), default=0.0)
        if self.duty is not None and self.repetition_rate is not None:
            return self.duty[1] / self.repetition_rate[0]
        return 0.0 if self.pulse_duration is None else self.pulse_duration[1]

    @property
    def highest_pulse_energy(self) -> float:
        """Highest energy of one pulse, of one burst, or of a whole list; 0 without pulses. [J]."""
        if self.modes:
            return max(mode.highest_pulse_energy for mode in self.modes)
        if self.pattern is not None:
            return sum(energy for _, _, energy in self.pattern.pulses)
        energy, power = _caps(self)
        number = 1.0 if self.burst_pulses is None else self.burst_pulses[1]
        if self.repetition_rate is None:
            return energy if self.kind == "single pulse" else 0.0
        return min(energy * number, power / self.repetition_rate[0])

    @property
    def rows(self) -> tuple[SettingSpace, ...]:
        """The modes, or the space itself."""
        return self.modes or (self,)


KNOBS = (
    "power", "pulse_energy", "pulse_duration", "repetition_rate", "duty", "burst_pulses", "burst_spacing",
)  # fmt: skip


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


def _jumps(low: float, high: float, window: float, steps: int) -> Floats:
    """Return the first rates in a range at which one pulse more starts in a window."""
    first = max(1.0, np.floor(low * window))
    counts = first + np.arange(steps)
    rates: Floats = counts / window * _ABOVE
    return rates[(rates > low) & (rates < high)]


def _caps(space: SettingSpace) -> tuple[float, float]:
    energy = np.inf if space.pulse_energy is None else space.pulse_energy[1]
    power = np.inf if space.power is None else space.power[1]
    return energy, power


def _rates(space: SettingSpace, windows: tuple[float, ...], numbers: Floats, grid: int) -> Floats:
    """Return the rates to be tried; a count of whole pulses jumps just above every k / window."""
    assert space.repetition_rate is not None
    low, high = space.repetition_rate
    if low == high:
        return np.array([low])
    energy, power = _caps(space)
    kinks = [power / (energy * n) for n in numbers] if np.isfinite(energy + power) else []
    starts = [low, *(k for k in kinks if low < k < high)]
    found = [np.array(starts[1:]), *(1.0 / np.array(DURATION_EDGES)[None, :])]
    for window in windows:
        for start in starts:
            found.append(_jumps(start, high, window, _STEPS if space.burst_pulses is None else 2))
    pulses = space.pulse_duration or (0.0, 0.0)
    for edge in (
        DURATION_EDGES if space.burst_pulses is None else ()
    ):  # windows of a few pulses that just end before, or after, the end of a row
        for pulse in {*pulses}:
            if edge > pulse:
                at = np.arange(1, 9) / (edge - pulse)
                found += [at * _ABOVE, at * _BELOW]
    return _points((low, high), np.concatenate(found), grid)


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
    assert space.repetition_rate is not None
    bursts = space.burst_pulses is not None and space.burst_spacing is not None
    grid = _COARSE if bursts else _GRID
    numbers = spacings = np.array([1.0])
    if bursts:
        assert space.burst_pulses is not None
        assert space.burst_spacing is not None
        low, high = space.burst_pulses
        cap, power = _caps(space)
        kinks = power / (cap * np.array(space.repetition_rate)) if np.isfinite(cap + power) else np.array([])
        several = np.array([low, low + 1.0, *np.geomspace(low, high, 5)[1:-1], high, *np.floor(kinks), *np.ceil(kinks)])
        numbers = np.arange(low, high + 1.0) if high - low < 8 else unique(np.clip(np.round(several), low, high))
        steps = [w / np.arange(1, 9) * f for w in windows for f in (_ABOVE, _BELOW)]
        closest = np.array(space.pulse_duration or ())  # no spacing is shorter than the pulse
        spacings = _points(space.burst_spacing, np.concatenate([np.array(DURATION_EDGES), closest, *steps]), grid)
    within = {w - (n - 1.0) * s for w in windows for n in numbers for s in space.burst_spacing or ()}  # whole bursts
    rates = _rates(space, (*windows, *(w for w in within if w > 0.0 and w not in windows)), numbers, grid)
    edges = np.array(DURATION_EDGES)
    if space.duty is not None:
        duties = _points(space.duty, np.array([]), _COARSE)
        pairs = [(d / rates, rates) for d in duties]
        for edge in DURATION_EDGES:
            inside = (edge * rates > space.duty[0]) & (edge * rates < space.duty[1])
            pairs.append((np.full(int(inside.sum()), edge), rates[inside]))
        pulse, rate = (np.concatenate(column) for column in zip(*pairs, strict=True))
    else:
        assert space.pulse_duration is not None
        pulse, rate = (a.reshape(-1) for a in np.meshgrid(_points(space.pulse_duration, edges, grid), rates))
    shape = (pulse.size, numbers.size, spacings.size)
    pulse, rate, number, spacing = (np.broadcast_to(a, shape).reshape(-1) for a in (
        pulse[:, None, None], rate[:, None, None], numbers[:, None], spacings))  # fmt: skip
    spacing = np.where(number > 1.0, spacing, 1.0 / rate)  # of one pulse it means nothing
    cap, power = _caps(space)
    energy = np.minimum(cap, power / (rate * number))
    fits = (pulse * rate <= 1.0) & (pulse <= longest) & (pulse >= _SHORTEST * (1.0 - _LAST_DIGITS))
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
        durations = _points(space.pulse_duration, np.array(DURATION_EDGES))
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
