"""The settings that a user may turn, which of them are tried, and the worst of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import InputError, refuse
from lasersafe.hazard import exposure as comparisons
from lasersafe.hazard.exposure import Emission, Floats, Received, pulse_train, train_limit, trains_at
from lasersafe.limits import rule_sets
from lasersafe.limits.exposure import count_pulses, duration_edges
from lasersafe.optics.beam import first_highest, unique
from lasersafe.records import Criterion, badness

Range = tuple[float, float]


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
        number = 1.0 if self.burst_pulses is None else self.burst_pulses[1]
        if self.repetition_rate is None:
            return self.caps[0] if self.kind == "single pulse" else 0.0
        return float(self.energy_at(self.repetition_rate[0] * number)) * number

    def energy_at(self, rate: ArrayLike, caps: tuple[ArrayLike, ArrayLike] | None = None) -> Floats:
        """Return the highest energy of one pulse [J] at rates of pulses [Hz], by its caps or by others."""
        energy, power = caps or self.caps
        return np.asarray(np.minimum(energy, np.asarray(power) / rate))

    def energy_in(self, time: float) -> float:
        """Return a bound of the energy [J] that leaves in a time [s] at any setting: what begins in it is whole.

        At most the mean power, and one pulse, burst or list more; and as many of these as the highest rate has.
        """
        if self.modes:
            return max(mode.energy_in(time) for mode in self.modes)
        mean, whole, base = self.highest_mean_power, self.highest_pulse_energy, self.pedestal
        fastest = None if self.repetition_rate is None else self.repetition_rate[1]
        if self.pattern is not None:
            base, period = self.pattern.pedestal, self.pattern.period
            fastest = None if period is None else 1.0 / period
        counted = math.inf if self.kind == "continuous" else whole + base * time
        if fastest is not None:
            counted += whole * (float(count_pulses(np.asarray(time), np.asarray(fastest))) - 1.0)
        return counted if mean is None else min(counted, mean * time + whole)

    @property
    def caps(self) -> tuple[float, float]:
        """Highest energy of one pulse [J] and highest mean power [W], infinite where there is no such cap."""
        energy, power = (math.inf if span is None else span[1] for span in (self.pulse_energy, self.power))
        return energy, power

    @property
    def rows(self) -> tuple[SettingSpace, ...]:
        """The modes, or the space itself."""
        return self.modes or (self,)


KNOBS = ("power", "pulse_energy", "pulse_duration", "repetition_rate", "duty", "burst_pulses", "burst_spacing")


def stated(span: Range | None) -> Range:
    """Return a range that settings of a kind always have.

    Parameters
    ----------
    span : tuple of float, optional
        A range of a `SettingSpace`. [any]

    Returns
    -------
    tuple of float
        The same. [any]
    """
    assert span is not None
    return span


_GRID = 17
_COARSE = 5
_STEPS = 24  # whole pulses tried from each end and kink on
_FEW_STEPS = 8  # and for windows that end on the end of a row
_ABOVE = 1.0 + 4e-9  # just more than the slack of the pulse count
_BELOW = 1.0 - 4e-9
_SHORTEST, _LONGEST = 1e-13, 3e4
_RETINA = 400e-9, 1400e-9  # m
_LARGE = (0.1, 5e-3 * _ABOVE, 7e-3, 12e-3, 20e-3, 34e-3, 58e-3)  # rad: before smaller ones C_P goes by the pulse alone
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

    def together(self, space: SettingSpace) -> Emission:
        """Return all settings as one emission of arrays."""
        burst = () if space.burst_pulses is None else ((self.number, self.spacing),)
        return replace(pulse_train(self.energy, self.pulse, self.rate * self.number, space.pedestal), burst=burst)


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


def _jumps(span: Range, bounds: Floats, windows: ArrayLike, steps: int, last: float = 0.0) -> Floats:
    """Return rates at which whole periods, and a *last* part of one, fill a window: next to each bound, and the first.

    Just above such a rate one pulse more starts in the window, just below the window is the longer one; at the rate
    itself both hold, by the stricter side.
    """
    window = np.asarray(windows, dtype=np.float64)[:, None]
    near, beside = np.floor(bounds * window - last), np.arange(-1.0, steps)
    counts = np.sort((near[:, :, None] + beside).reshape(window.size, near.shape[1] * beside.size), axis=1)
    new = (counts >= 1.0) & (np.diff(counts, axis=1, prepend=0.0) > 0.0)
    rates: Floats = ((counts + last) / window)[new][:, None] * np.array([_BELOW, 1.0, _ABOVE])
    return rates[(rates >= span[0]) & (rates <= span[1])]


def _bounds(space: SettingSpace, numbers: Floats, longest_rate: float = np.inf) -> Floats:
    """Return the ends of the rates, and the kinks between them where a cap on the energy meets one on the power."""
    low, high = stated(space.repetition_rate)
    energy, power = space.caps
    kinks = power / (energy * numbers) if np.isfinite(energy + power) else np.array([])
    found = np.array([low, high, *kinks, longest_rate])
    return unique(found[(found >= low) & (found <= high) & (found <= longest_rate)])


def _plain_trains(space: SettingSpace, windows: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Return pulse durations and rates to be tried, in pairs."""
    span, edges = stated(space.repetition_rate), row_edges()
    bounds = _bounds(space, np.array([1.0]))
    coarse = _points(span, np.concatenate([bounds, 1.0 / edges]))
    pairs = []
    if space.duty is not None:
        for duty in _points(space.duty, np.array([1.0 - 4e-9]), _COARSE):
            found = [_jumps(span, bounds, windows, _STEPS), _jumps(span, bounds, edges, _FEW_STEPS, float(duty))]
            whole = (duty / edges[:, None] * np.array([_BELOW, 1.0, _ABOVE])).ravel()  # a pulse as long as a row
            rates = np.concatenate([coarse, whole[(whole >= span[0]) & (whole <= span[1])], *found])
            pairs.append((duty / rates, rates))
        every = np.concatenate([coarse, _jumps(span, bounds, windows, _STEPS)])
        for edge in edges:
            rates = every[(edge * every > space.duty[0]) & (edge * every < space.duty[1])]
            pairs.append((np.full_like(rates, edge), rates))
    else:
        lasting = stated(space.pulse_duration)
        shortest, longest = lasting
        for pulse in _points(lasting, edges, 2):
            own = _bounds(space, np.array([1.0]), 1.0 / float(pulse))
            found = [own * _BELOW] if own.size and own[-1] * pulse == 1.0 else []  # where pulses touch, and just before
            found += [_jumps(span, own, windows, _STEPS), _jumps(span, own, edges[edges > pulse] - pulse, _FEW_STEPS)]
            rates = np.concatenate([coarse, own, *found])
            pairs.append((np.full_like(rates, pulse), rates))
        pulses = _points(lasting, edges)
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
        (low, high), lasting, apart = map(stated, (space.burst_pulses, space.pulse_duration, space.burst_spacing))
        cap, power = space.caps
        kinks = power / (cap * np.array(stated(space.repetition_rate))) if np.isfinite(cap + power) else np.array([])
        several = np.array([low, low + 1.0, *np.geomspace(low, high, 5)[1:-1], high, *np.floor(kinks), *np.ceil(kinks)])
        numbers = np.arange(low, high + 1.0) if high - low < 8 else unique(np.clip(np.round(several), low, high))
        steps = [w / np.arange(1, 9) * f for w in windows for f in (_ABOVE, 1.0, _BELOW)]
        # no spacing is shorter than the pulse
        spacings = _points(apart, np.concatenate([row_edges(), lasting, *steps]), _COARSE)
        within = {w - (n - 1.0) * s for w in windows for n in numbers for s in apart}  # whole bursts
        span, bounds = stated(space.repetition_rate), _bounds(space, numbers)
        jumps = _jumps(span, bounds[:-1], (*windows, *(w for w in within if w > 0.0 and w not in windows)), 2)
        touching = [1.0 / (number * spacing) for number in numbers for spacing in apart]
        rates = _points(span, np.concatenate([bounds, touching, 1.0 / row_edges(), jumps]), _COARSE)
        pulses = _points(lasting, row_edges(), _COARSE)
        pulse, rate = (a.reshape(-1) for a in np.meshgrid(pulses, rates))
    else:
        pulse, rate = _plain_trains(space, windows)
    shape = (pulse.size, numbers.size, spacings.size)
    pulse, rate, number, spacing = (np.broadcast_to(a, shape).reshape(-1) for a in (
        pulse[:, None, None], rate[:, None, None], numbers[:, None], spacings))  # fmt: skip
    spacing = np.where(number > 1.0, spacing, 1.0 / rate)  # of one pulse it means nothing
    energy = space.energy_at(rate * number)
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
        return [comparisons.continuous(stated(space.power)[1])]
    if space.kind == "single pulse":
        durations = _points(stated(space.pulse_duration), row_edges())
        return [comparisons.single_pulse(stated(space.pulse_energy)[1], float(t)) for t in durations]
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


@dataclass(frozen=True)
class KnobChange:
    """What it brings to hold one knob at its other end, or at half, while all others stay free.

    Parameters
    ----------
    knob : str
        Name of the field, or ``mode``.
    now, then : float
        Value at the worst setting, and the one that is tried; NaN for a mode. [any]
    ratio : float
        Exposure over limit at the worst of the settings that are left, divided by that of the worst setting. [1]
    emission : Emission
        The worst of the settings that are left.
    halved : bool
        True when the knob has no lower end, so that half was tried.
    name : str
        The mode that is left out.
    """

    knob: str
    now: float
    then: float
    ratio: float
    emission: Emission
    halved: bool = False
    name: str = ""


def _windows(rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float) -> tuple[float, ...]:
    """Return the times in which pulses are counted: T_i, the counting time of each rule set, and the exposure."""
    found = {duration}
    for rule_set in rule_sets:
        for joining in trains_at(rule_set, tissue, wavelength, duration).joining:
            found |= {time for time in joining if 0.0 < time < np.inf}
    return tuple(sorted(found))


def _ratio(
    rule_set: str, tissue: str, tried: Tried, space: SettingSpace, wavelength: float, duration: float,
    angles: ArrayLike = comparisons.ALPHA_MIN,
) -> Floats:  # fmt: skip
    """Return energy over limit at each setting, before a small source or before those of some angles [rad]."""
    if space.burst_pulses is None and not space.pedestal and np.ptp(angles) == 0.0:
        limits = trains_at(rule_set, tissue, wavelength, duration, float(np.max(angles)))
        return tried.energy / limits.per_pulse(tried.pulse, tried.rate)
    light = Received(rule_set, tissue, tried.together(space), wavelength, duration)
    return tried.energy / train_limit(light, angles).per_pulse


def emission_ratio(
    rule_sets: tuple[str, ...], tissue: str, emission: Emission, wavelength: float, duration: float
) -> tuple[float, Criterion]:
    """Return the highest ratio of an emission to its limits for a wide beam, and the comparison that gives it.

    Parameters
    ----------
    rule_sets : tuple of str
        The rule sets to work out.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        One setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    float
        Amount over limit; divided by the area of the beam it is exposure over limit. [m2]
    Criterion
        The comparison.
    """
    lights = [Received(name, tissue, emission, wavelength, duration) for name in rule_sets]
    found = [one for light in lights for one in comparisons.criteria(light)]
    worst = max(found, key=lambda one: badness(one.amount / one.limit))
    return worst.amount / worst.limit, worst


@lru_cache(maxsize=512)
def worst_ratio(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[float, Emission]:
    """Return the highest ratio of emission to limit over all settings, for a wide beam, and the setting.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search; the highest ratio in any of them wins.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    float
        Amount over limit. [m2]
    Emission
        The setting; for equal ratios the first that was tried.

    Raises
    ------
    InputError
        If no setting is possible.
    """
    found: list[tuple[float, Emission]] = []
    for mode in space.rows:
        try:
            if mode.kind != "pulse train" or mode.pattern is not None:
                tested = candidates(mode)
                found += [(emission_ratio(rule_sets, tissue, one, wavelength, duration)[0], one) for one in tested]
                continue
            tried = trains(mode, _windows(rule_sets, tissue, wavelength, duration), duration)
            ratio = np.max([_ratio(name, tissue, tried, mode, wavelength, duration) for name in rule_sets], axis=0)
        except InputError:
            if len(space.rows) == 1:
                raise
            continue
        ratio[np.isnan(ratio)] = np.inf
        at = first_highest(ratio)
        found.append((float(ratio[at]), tried.emission(at, mode)))
    if not found:
        refuse("emission: no mode of the table is possible, every pulse is longer than its period or than the exposure")
    return max(found, key=lambda one: badness(one[0]))


def worst_settings(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[Emission, ...]:
    """Return the worst setting of each rule set, rule, hazard and limiting aperture, the worst for a wide beam first.

    A narrow beam is averaged over apertures of different size, so the setting that is worst for a wide beam need not be
    worst for a narrow one. Where all comparisons share one aperture there is one setting for each rule set only, and
    before the retina those of large sources.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    tuple of Emission
        At least one, without doubles.
    """
    one_by_one = not space.adjustable or space.kind != "pulse train" or space.pattern is not None
    if one_by_one and not space.modes and len(alone := candidates(space)) == 1:
        return (alone[0],)
    found = {worst_ratio(space, rule_sets, tissue, wavelength, duration)[1]: None}
    if space.adjustable:
        found |= dict.fromkeys(worst_ratio(space, (name,), tissue, wavelength, duration)[1] for name in rule_sets)
        for mode in space.rows:
            if mode.kind != "pulse train" or mode.pattern is not None:
                continue
            limits = [trains_at(name, tissue, wavelength, duration) for name in rule_sets]
            if len({hole for one in limits for hole in one.apertures}) == 1:
                continue
            try:
                tried = trains(mode, _windows(rule_sets, tissue, wavelength, duration), duration)
            except InputError:
                continue
            for name in rule_sets:
                for row in train_limit(Received(name, tissue, tried.together(mode), wavelength, duration)).rows:
                    own = tried.energy / row.per_pulse
                    at = first_highest(own)
                    found.setdefault(tried.emission(at, mode))
        retinal = tissue == "eye" and _RETINA[0] * _BELOW <= wavelength <= _RETINA[1] * _ABOVE
        found |= dict.fromkeys(_for_large_sources(space, rule_sets, wavelength, duration)) if retinal else {}
    return tuple(found)


def _for_large_sources(
    space: SettingSpace, rule_sets: tuple[str, ...], wavelength: float, duration: float
) -> Iterator[Emission]:
    """Yield the setting that is the worst for the eye before sources of some angles, under each rule set.

    The limit of the retina grows with the angle otherwise for the mean than for pulses. Up to T_i all have one factor,
    so that the largest angle tells enough; longer ones have factors of their own, and a C_P that falls with their
    number. Between two angles a ratio is known to half a step.
    """
    modes = list[tuple[SettingSpace, Tried | None, list[Emission]]]()
    known = (trains_at(name, "eye", wavelength, duration).joining for name in rule_sets)
    joined = min((within for joining in known for within, _ in joining), default=0.0)
    angles = _LARGE[: 1 if space.longest_pulse < joined else None]
    for mode in space.rows:
        if mode.kind == "pulse train" and mode.pattern is None:
            try:
                train = trains(mode, _windows(rule_sets, "eye", wavelength, duration), duration)
            except InputError:
                continue
            modes.append((mode, train, [train.together(mode)]))
        elif space.modes:
            modes.append((mode, None, candidates(mode)))
    for name, angle in product(rule_sets, angles):
        worst = list[tuple[float, Emission]]()
        for mode, tried, every in modes:
            lights = [Received(name, "eye", one, wavelength, duration) for one in every]
            if tried is None:
                seen = (comparisons.compare_source(one, angle, angle) for one in lights)
                ratios = (max(float(np.max(c.amount / c.limit)) for c in own) for own in seen)
                worst += zip(ratios, every, strict=True)
                continue
            credited = comparisons.credited_angles(lights[0], angle, angle)
            ratio = np.max([_ratio(name, "eye", tried, mode, wavelength, duration, own) for own in credited], axis=0)
            at = first_highest(ratio)
            worst.append((float(ratio[at]), tried.emission(at, mode)))
        if worst:
            yield max(worst, key=lambda one: badness(one[0]))[1]


def knob_changes(
    space: SettingSpace, rule_sets: tuple[str, ...], tissue: str, wavelength: float, duration: float
) -> tuple[KnobChange, ...]:
    """Return what it brings to hold each knob at its other end, or at half of a cap, with the others still free.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    rule_sets : tuple of str
        The rule sets to search.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]

    Returns
    -------
    tuple of KnobChange
        The one that brings most first.
    """
    highest, worst = worst_ratio(space, rule_sets, tissue, wavelength, duration)
    found = []
    if len(space.modes) > 1:
        rest = replace(space, modes=tuple(mode for mode in space.modes if mode.name != worst.name))
        ratio, emission = worst_ratio(rest, rule_sets, tissue, wavelength, duration)
        found.append(KnobChange("mode", np.nan, np.nan, ratio / highest, emission, name=worst.name))
    own = next((mode for mode in space.modes if mode.name == worst.name), space)
    caps = {name: span for name in ("power", "pulse_energy") if (span := getattr(own, name)) is not None}
    (number, spacing), *_ = (*worst.burst, (1.0, np.nan))
    length, rate = worst.pulse_duration, worst.repetition_rate
    turned = {"burst_pulses": number, "burst_spacing": spacing, "repetition_rate": rate / number}
    turned |= {"duty": length * rate, "pulse_duration": length}
    for knob, span in (own.knobs | caps).items():
        now, halved = span[1] if knob in caps else turned[knob], span[0] == span[1]
        if np.isnan(now):  # one pulse has no spacing
            continue
        if knob in caps:
            then = span[1] / 2.0 if halved else span[0]
        else:
            then = span[0] if abs(now / span[0] - 1.0) > abs(span[1] / now - 1.0) else span[1]
        held = own.held(knob, then)
        changed = replace(space, modes=tuple(held if mode is own else mode for mode in space.modes))
        try:
            ratio, emission = worst_ratio(changed if space.modes else held, rule_sets, tissue, wavelength, duration)
        except InputError:
            continue
        found.append(KnobChange(knob, now, then, ratio / highest, emission, halved))
    return tuple(sorted(found, key=lambda one: one.ratio))
