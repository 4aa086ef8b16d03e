"""A scanned beam: the trains of pulses that stand for it, how far it reaches, and what a cut-off earns.

While a scan runs a great many settings are compared place by place by their lowest limits alone; what is printed comes
from the full rules for the few settings that are left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError, OutOfRangeError, refuse
from lasersafe.hazard.distances import direct_reach, farthest_crossing, last_kept
from lasersafe.hazard.exposure import Emission, Floats, Received, criteria, pulse_train, train_limit, trains_at
from lasersafe.hazard.settings import SettingSpace, Tried, trains
from lasersafe.limits import TrainRow, count_pulses, rule_sets
from lasersafe.limits.exposure import COUNT_SLACK
from lasersafe.limits.patterns import RegularTrains
from lasersafe.limits.tables import inside, load_rule_set
from lasersafe.optics.beam import BeamGeometry, diameters, first_highest, mean_exposure
from lasersafe.optics.viewing import ScanPattern, sweep_widths
from lasersafe.records import Criterion, badness

WITHIN = "pulses within one pass"
JOINED = "pulses in groups within T_i"


class Passes(NamedTuple):
    """What crosses the aperture, as trains of equal pulses; arrays over the distance."""

    what: str  # which train this is, in words
    energy: Floats  # per pulse of the train, before the aperture [J]
    pulse_duration: Floats  # [s]
    rate: Floats  # [Hz]
    duration: Floats  # exposure [s]


def pulsed_trains(pulse: Floats, rate: Floats, stay: Floats, passes: Floats, least: Floats, scan: Scan) -> list[Passes]:
    """Return the trains that stand for the pulses of a laser that is scanned, as arrays that broadcast together [1]_.

    At a place where the spot turns it stays once in each period, elsewhere it passes several times for a part of that
    stay. Every pass counts whole, with one pulse more than fits, and so does every period that begins.

    Parameters
    ----------
    pulse, rate : numpy.ndarray, shape (...)
        Pulse duration [s] and repetition rate [Hz] of the laser.
    stay : numpy.ndarray, shape (...)
        Time within each period that the spot stays, at most: so many pulses fit. [s]
    passes : numpy.ndarray, shape (...)
        Separate passes in each period. [1]
    least : numpy.ndarray, shape (...)
        The stay at least: so long do they last, for their limit. [s]
    scan : Scan
        The moving beam.

    Returns
    -------
    list of Passes
        In place of an energy, the laser pulses in each of its pulses. [1]

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """
    period, duration, joins = scan.pattern.period, scan.duration, scan.joined > pulse
    time = np.minimum(stay, min(duration, period))
    whole, one = np.full_like(time, duration), np.ones_like(time)
    longest = np.minimum(np.maximum(time, pulse), duration)
    short, brief = np.minimum(pulse, whole), np.minimum(np.maximum(least, pulse), longest)

    def count(window: Floats) -> Floats:
        return np.asarray(count_pulses(np.maximum(window, 1e-13), rate))

    def often(times: Floats | float, number: Floats, length: Floats) -> Floats:  # no more pulses than the laser emits
        return np.asarray(np.minimum(np.minimum(times, rate / number), 1.0 / length))

    begun, at_turn = scan.begun, count(longest)
    part = np.minimum(np.maximum(time / passes, pulse), duration)
    each, part = count(part), np.minimum(np.maximum(least / passes, pulse), part)
    most = np.maximum(np.minimum(passes * each, count(np.full_like(time, period))), at_turn)
    together = np.maximum(brief, np.minimum((most - 1.0) / rate, min(period, duration)))
    found = [
        Passes("each pass as one pulse", at_turn, brief, often(begun, at_turn, brief), whole),
        Passes("passes of a period as one pulse", most, together, often(begun, most, together), whole),
        Passes("each of the separate passes as one pulse", each, part, often(passes * begun, each, part), whole),
        Passes(WITHIN, one, short, rate + 0.0 * time, longest),
        Passes("all pulses of the exposure", one, short, often(most * begun, one, short), whole),
    ]
    span = np.maximum(np.minimum(brief, scan.joined), pulse)
    # where no pulses are joined the first train stands for them
    for number, times in ((most, 1.0), (each, passes)) if joins.any() else ():
        group = np.minimum(count(np.maximum(scan.joined, pulse)), number)
        own = (group, span, often(times * np.ceil(number / group) * begun, group, span), whole)
        found.append(Passes(JOINED, *(np.where(joins, *pair) for pair in zip(own, found[0][1:], strict=True))))
    return found


_NEAREST = 1e-3  # m


@dataclass(frozen=True)
class ScanFinding:
    """The comparison that decides for a scanned beam at one place."""

    ratio: float  # exposure over limit [1]
    exposure: float  # per pulse of the effective train, or that of the beam where it is taken as standing
    criterion: Criterion  # its note says which effective train it is
    light: Received  # that train, or the beam that is taken as standing
    pass_time: float  # longest stay at the slowest place in a period [s]
    pulses: float  # laser pulses in a pass, 0 for continuous emission [1]
    passes: float  # periods of the pattern of which the exposure holds a part [1]
    standing: bool  # True where the pattern is too narrow to earn credit


class _Compared(NamedTuple):
    """One rule for all trains at once; arrays of shape (trains, ...)."""

    ratio: Floats
    exposure: Floats
    limit: Floats
    row: TrainRow


@dataclass(frozen=True)
class Scan:
    """A moving beam as one rule set judges it: wavelength [m], exposure duration [s], pattern.

    A place stands for all from it on to ``step`` times as far: the narrowest beam and the longest stay of any of them,
    of a beam that tolerances let be ``wider`` times as wide, and its focus off by ``loose`` [m].
    """

    rule_set: str
    tissue: str
    beam: BeamGeometry
    wavelength: float
    duration: float
    pattern: ScanPattern
    wider: float = 1.0
    loose: float = 0.0
    step: float = 1.0

    @cached_property
    def aperture(self) -> float:
        """The aperture that a sweep is timed over: the largest that any rule set sets. [m]."""
        rows = (row for name in rule_sets() for row in load_rule_set(name).apertures[self.tissue])
        holding = (row for row in rows if inside(row.wavelength, np.asarray(self.wavelength * 1e9)))
        return max(1e-3 * float(row.at(time)) for row in holding for time in row.duration)

    @property
    def periods(self) -> float:
        """Periods of which the exposure holds a part: both ends can lie within a pass. [1]."""
        return math.floor(self.duration / self.pattern.period * (1.0 + COUNT_SLACK)) + 1.0

    @property
    def begun(self) -> float:
        """Those periods over the duration. [Hz]."""
        return self.periods / self.duration

    @cached_property
    def joined(self) -> float:
        """T_i, the longest that holds, 0 where there is none. [s]."""
        return max((within for within, _ in self.limits.joining), default=0.0)

    @cached_property
    def limits(self) -> RegularTrains:
        """The limits for the quick rules."""
        return trains_at(self.rule_set, self.tissue, self.wavelength, self.duration)

    def stays(self, place: Floats) -> Floats:
        """Return longest stay [s], passes and shortest stay [s] in each period for both widths of a sweep."""
        far, pattern = np.multiply(place, self.step), self.pattern
        (x0, y0), (x1, y1) = (diameters(self.beam, at) for at in (place - self.loose, far + self.loose))
        widest = self.wider * np.maximum(x0, x1), self.wider * np.maximum(y0, y1)
        ways, narrow = (sweep_widths(x, y, self.aperture) for x, y in (widest, self.narrowest(place)))
        longest, passes = ([of(place, way) for way in ways] for of in (pattern.dwell, pattern.most_passes))
        return np.stack([longest, passes, [pattern.dwell(far, way) for way in narrow]])

    def narrowest(self, place: ArrayLike) -> tuple[Floats, Floats]:
        """Return the least diameters. [m]."""
        x, y = (np.clip(waist, place, np.multiply(place, self.step)) for waist in self.beam.waist_position)
        return diameters(self.beam, x)[0], diameters(self.beam, y)[1]

    def received(self, emission: Emission) -> Received:
        """Return what is judged where the beam counts as standing."""
        return Received(self.rule_set, self.tissue, emission, self.wavelength, self.duration)

    def mean(self, amount: ArrayLike, place: ArrayLike, aperture: ArrayLike) -> Floats:
        """Return an amount [W or J] averaged over an aperture [m] at places [m]."""
        x, y = self.narrowest(place)
        return mean_exposure(amount, x, y, aperture, self.beam.profile)


def _compared(scan: Scan, emission: Emission, distance: Floats) -> tuple[list[_Compared], Floats, list[Passes]]:
    """Return every comparison, the stays of shape (trains, ...) and the trains, all of which have to be below [1]_.

    Passes of one period that reach the aperture are counted as one longer pulse, and as separate ones. Pulses of the
    laser are counted one by one within a pass, one by one over the exposure, in groups within T_i, and as one pulse for
    each pass.

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """
    setting = emission.power, emission.pulse_energy, emission.pulse_duration, emission.repetition_rate
    every: list[tuple[Floats, Passes]] = []
    for stay, passes, least in zip(*scan.stays(distance), strict=True):
        power, energy, pulse, rate = (value + 0.0 * stay for value in setting)
        if emission.kind == "continuous":
            time = np.minimum(stay, min(scan.duration, scan.pattern.period))
            often, whole = np.minimum(scan.begun, 1.0 / time), np.full_like(time, scan.duration)
            every.append((stay, Passes("each pass as one pulse", power * time, time, often, whole)))
            continue
        own = pulsed_trains(pulse, rate, stay, passes, least, scan)
        every += [(stay, one._replace(energy=one.energy * energy)) for one in own]
    energy, pulse, rate, time = (np.stack(column) for column in list(zip(*(one for _, one in every), strict=True))[1:])
    result = []
    for row in train_limit(replace(scan.received(pulse_train(energy, pulse, rate)), duration=time)).rows:
        here = np.isfinite(row.per_pulse)
        if here.any():
            exposure = scan.mean(energy, distance, np.where(here, row.limiting_aperture, 1.0))
            limit = np.where(here, row.per_pulse, math.inf)
            result.append(_Compared(exposure / limit, exposure, limit, row))
    return result, np.stack([stay for stay, _ in every]), [one for _, one in every]


def _counts_as_standing(emission: Emission) -> bool:
    """Return True where no effective train stands for the passes: one pulse, bursts, lists, pulses on a pedestal."""
    return emission.kind == "single pulse" or bool(emission.burst or emission.pulses or emission.pedestal)


def scan_ratio(scan: Scan, emission: Emission, distance: ArrayLike) -> Floats:
    """Return the exposure of the running scan over its limit, at the slowest place of the pattern.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    emission : Emission
        The setting.
    distance : array_like, shape (...)
        From the last optic. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        Highest ratio over all rules; that of the stopped beam where the pattern is too narrow to earn credit. [1]
    """
    place = np.asarray(distance, dtype=np.float64)
    still = scan.stays(place)[0, 1] >= scan.pattern.period
    if _counts_as_standing(emission):
        still = np.ones_like(still)
    result = np.zeros(place.shape)
    if still.any():
        for c in criteria(scan.received(emission)):
            result = np.maximum(result, scan.mean(c.amount, place, c.limiting_aperture) / c.limit)
    if not still.all():
        rows = _compared(scan, emission, place[~still])[0]
        result[~still] = np.max([one.ratio.max(axis=0) for one in rows], axis=0, initial=0.0)
    return np.asarray(result)


_PARTS, _FINER, _ENOUGH, _TIMES = 40, 10, 1.0001, 3


def highest_onward(scan: Scan, emission: Emission, distance: float, known: float = 0.0) -> tuple[float, float, float]:
    """Return a bound of the ratio of the running scan at or beyond a distance, and where: a place and its `Scan.step`.

    Farther away a wider spot can stay for longer, by a whole line of a raster or for good: the stay does not fall with
    the distance as the exposure does.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    emission : Emission
        The setting.
    distance : float
        From the last optic. [m]
    known : float
        What is not above that need not be bounded closely. [1]

    Returns
    -------
    tuple of float
        Ratio [1], place [m], step [1].
    """
    beam, found = scan.beam, list[tuple[float, float, float]]()
    far = 1e3 * max(distance, *beam.waist_position, *np.divide(beam.waist_diameter, beam.divergence).tolist())
    step = (far / distance) ** (1.0 / _PARTS)
    low = distance * step ** np.arange(_PARTS)
    for enough in (*[_ENOUGH] * _TIMES, math.inf):
        bound, least = scan_ratio(replace(scan, step=step), emission, low), scan_ratio(scan, emission, low).max()
        finer = bound > max(least, known) * enough
        done = np.where(finer, -math.inf, bound)
        n = int(done.argmax())
        found.append((float(done[n]), float(low[n]), step))
        if not finer.any():
            break
        step **= 1.0 / _FINER
        low = (low[finer][:, None] * step ** np.arange(_FINER)).reshape(-1)
    return max(found, key=lambda one: badness(one[0]))


def scan_finding(scan: Scan, emission: Emission, distance: float) -> ScanFinding:
    """Return the comparison that decides for the running scan at a distance, that with the highest ratio.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    emission : Emission
        The setting.
    distance : float
        From the last optic. [m]

    Returns
    -------
    ScanFinding
        What decides, and the numbers behind it.
    """
    place, pulses = np.array([distance]), 0.0
    stay = float(scan.stays(place)[0, 1, 0])
    if emission.kind == "pulse train":
        pulses = float(count_pulses(np.array(max(stay, 1e-13)), np.array(emission.repetition_rate)))
    if stay >= scan.pattern.period or _counts_as_standing(emission):
        light = scan.received(emission)
        exposures = [(float(scan.mean(c.amount, distance, c.limiting_aperture)), c) for c in criteria(light)]
        exposure, c = max(exposures, key=lambda pair: badness(pair[0] / pair[1].limit))
        c = replace(c, note="the beam counts as standing")
        return ScanFinding(exposure / c.limit, exposure, c, light, stay, pulses, scan.periods, True)
    found, stays, every = _compared(scan, emission, place)
    top = max(found, key=lambda one: badness(float(one.ratio.max())))
    at = int(top.ratio.argmax())
    (what, *train), row = every[at], top.row
    energy, pulse, rate, time = (float(one[0]) for one in train)
    limit, aperture, window = (float(one[at, 0]) for one in (top.limit, row.limiting_aperture, row.averaging_time))
    c = Criterion(
        scan.rule_set, scan.tissue, row.hazard, row.rule, energy, "J", limit, "J/m2", aperture, window,
        str(np.asarray(row.source)[at, 0]), note=what,
    )  # fmt: skip
    light = replace(scan.received(pulse_train(energy, pulse, rate)), duration=time)
    exposure = float(top.exposure[at, 0])
    return ScanFinding(exposure / c.limit, exposure, c, light, float(stays[at, 0]), pulses, scan.periods, False)


def scan_distance(scan: Scan, emission: Emission) -> float:
    """Return how far the running scan exceeds the limit, from the last optic [m].

    Parameters
    ----------
    scan : Scan
        The moving beam.
    emission : Emission
        The setting.

    Returns
    -------
    float
        Farthest place where the ratio is above 1; 0 where it is nowhere above. [m]
    """
    ratio = partial(scan_ratio, scan, emission)
    waists: tuple[float, float] = scan.beam.waist_position
    far = max(2.0, 4.0 * max(waists), 1.01 * direct_reach(scan.received(emission), scan.beam).distance)
    while float(ratio(np.array([far]))[0]) > 1.0:
        far *= 2.0
    found = float(farthest_crossing(ratio, _NEAREST, far, points=300))
    focus = [p for p in waists if p > found and float(ratio(np.array([p]))[0]) > 1.0]
    return max([found, *focus])


_MOST = 24  # settings compared by the full rules where limiting apertures differ
_PLACES = 300  # for the quick search
_SURELY = 0.9995  # settings that reach less than this part of the farthest are not narrowed down
_FEW = 24
_ROUNDS = 8
_BEYOND = 1.06  # times the farthest reach so far: up to where a worse setting is looked for
_BAD = 24  # settings that are looked at there
_ASIDE = np.array([1e-6, 1e-5, 1e-4, 1e-3])
_CLEAR = 1.0005  # so far beyond a reach a bound no longer counts what is below there
_CLOSE = 4e-6  # relative width of the last bracket, of which the far end is taken


def running_ratios(scan: Scan, tried: Tried, ways: Floats) -> Floats:
    """Return energy over limit of the effective trains of many settings, for a wide beam, as in `_compared`.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    tried : Tried
        Settings of a train, n or one.
    ways : numpy.ndarray, shape (3, k, n) or (3, k, 1)
        As `Scan.stays` gives them; the strictest counts. [s, 1, s]

    Returns
    -------
    numpy.ndarray, shape (n,)
        Highest ratio; divided by the area of the beam it is exposure over limit. [m2]
    """
    stays, passes, least = np.broadcast_to(ways, (*ways.shape[:2], max(tried.energy.size, ways.shape[2])))
    parts = pulsed_trains(tried.pulse, tried.rate + 0.0 * stays, stays, passes, least, scan)
    whole = [(number * tried.energy, length, often) for what, number, length, often, _ in parts if what != WITHIN]
    q, t, f = (
        np.concatenate([np.broadcast_to(c, stays.shape) for c in column]).reshape(-1)
        for column in zip(*whole, strict=True)
    )
    found: Floats = (q / scan.limits.per_pulse(t, f)).reshape(-1, stays.shape[1]).max(axis=0)
    return found


def _near_jumps(row: SettingSpace, tried: Tried, best: int, ways: Floats) -> Tried:
    """Return settings beside the best one: the rates just above which one more pulse falls into a pass."""
    pulse, rates = float(tried.pulse[best]), [np.zeros(0)]
    for stay in np.concatenate([ways[0], ways[0] / ways[1]]).reshape(-1) if row.duty is None else ():
        near = np.floor(stay * float(tried.rate[best])) + np.array([-1.0, 0.0, 1.0, 2.0])
        at = np.concatenate([np.arange(1.0, 9.0), near])
        rates.append(at[at >= 1.0] / stay * (1.0 + 4e-9))
    rate = np.concatenate(rates)
    rate = rate[(rate >= tried.rate.min()) & (rate <= tried.rate.max()) & (rate * pulse <= 1.0)]
    rate = np.append(rate, tried.rate[best])
    return Tried(row.energy_at(rate), np.full_like(rate, pulse), rate, np.ones_like(rate), 1.0 / rate)


@lru_cache(maxsize=256)
def _settings(row: SettingSpace, duration: float) -> Tried | None:
    """Return the settings with which the movement counts: trains without bursts, lists and pedestal; None without."""
    if row.kind != "pulse train" or row.pattern is not None or row.burst_pulses is not None or row.pedestal:
        return None
    try:
        return trains(row, (), duration)
    except InputError:
        return None


@lru_cache(maxsize=512)
def worst_running(
    scan: Scan, space: SettingSpace, standing: tuple[Emission, ...], place: float
) -> tuple[Emission, ...]:
    """Return the settings that can be worst while the scan runs, at one place.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    space : SettingSpace
        The allowed settings.
    standing : tuple of Emission
        The worst of the beam that stands still, the worst for a wide beam first; always among the answer.
    place : float
        From the last optic. [m]

    Returns
    -------
    tuple of Emission
        At least one, without doubles.
    """
    found = dict.fromkeys(standing)
    ways, several = scan.stays(np.array([place])), len(scan.limits.apertures) > 1
    for row in space.rows if space.adjustable else ():
        tried = _settings(row, scan.duration)
        if tried is None:
            continue
        own = running_ratios(scan, tried, ways)
        best = first_highest(own)
        beside, worst = _near_jumps(row, tried, best, ways), tried.emission(best, row)
        more = running_ratios(scan, beside, ways)
        if float(more.max()) > float(own[best]) * (1.0 + 1e-9):
            worst = beside.emission(int(more.argmax()), row)
        found[worst] = None
        if several:
            spread = sorted({round(i) for i in np.linspace(0, tried.energy.size - 1, _MOST).tolist()})
            found |= dict.fromkeys(tried.emission(i, row) for i in spread)
    if several and len(found) > 2:
        worst = max(found, key=lambda one: float(scan_ratio(scan, one, np.array([place]))[0]))
        return tuple(dict.fromkeys([*standing, worst]))
    return tuple(found)


def scan_reach(
    scan: Scan, space: SettingSpace, standing: tuple[Emission, ...], places: tuple[float, ...] = ()
) -> float:
    """Return how far the running scan exceeds the limit at any of the allowed settings, from the last optic [m].

    From the reach of one setting the worst setting of that place is looked up, and its reach in turn, until none is
    farther. The fast rules tell about where, the full rules of `scan_distance` narrow it down and look farther out.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    space : SettingSpace
        The allowed settings.
    standing : tuple of Emission
        The worst of the beam that stands still, the worst for a wide beam first.
    places : tuple of float
        Places from which the search starts as well. [m]

    Returns
    -------
    float
        Farthest place where the ratio is above 1; 0 where it is nowhere above. [m]
    """
    stopped = direct_reach(scan.received(standing[0]), scan.beam).distance
    far = max(2.0 * max(1.0, *scan.beam.waist_position), 2.0 * stopped)
    quick: dict[Emission, float] = {}
    slow: dict[Emission, None] = {}

    def look_at(found: tuple[Emission, ...]) -> None:
        for one in found:
            if one in quick or one in slow:
                continue
            about = _quick_reach(scan, one, far)
            if about is None or (about > 0.0 and not max(_NEAREST, *scan.beam.waist_position) < about < 0.9 * far):
                slow[one] = None
            else:
                quick[one] = about

    look_at(standing)
    for place in places:
        if place > max(quick.values(), default=0.0):
            look_at(worst_running(scan, space, standing, place))
    for _ in range(_ROUNDS if space.adjustable else 0):
        best = max(quick.values(), default=0.0)
        where = max(best, *scan.beam.waist_position) or 1.0
        for row in space.rows:
            look_at(_farther(scan, row, where))
        if not max(quick.values(), default=0.0) > best:
            look_at(worst_running(scan, space, standing, where))
        if not max(quick.values(), default=0.0) > best:
            break
    result = max((scan_distance(scan, one) for one in slow), default=0.0)
    best = max(quick.values(), default=0.0)
    for one, about in sorted(quick.items(), key=lambda pair: -pair[1]):
        if about > 0.0 and about >= _SURELY * best and about >= _SURELY * result:
            result = max(result, _narrowed(scan, one, about, far, result))
    return max((_at_last(scan, one, result) for one in (*slow, *quick)), default=result)


def _at_last(scan: Scan, emission: Emission, known: float) -> float:
    """Return a known reach, or how far one setting at most exceeds the limit beyond it, where it stays longer."""
    low = high = max(known, _NEAREST) * _CLEAR
    while highest_onward(scan, emission, high, 1.0)[0] > 1.0:
        low, high = high, 2.0 * high
    if low == high:
        return known
    while high > low * _CLEAR:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if highest_onward(scan, emission, middle, 1.0)[0] > 1.0 else (low, middle)
    return high


def _farther(scan: Scan, row: SettingSpace, where: float) -> tuple[Emission, ...]:
    """Return the setting that exceeds the limit farthest behind a place, of those that are bad there; or none."""
    apertures, tried = scan.limits.apertures, _settings(row, scan.duration)
    if tried is None or len(apertures) != 1:
        return ()
    place = where * np.concatenate([np.linspace(1.0, 1.01, _FEW // 2), np.linspace(1.015, _BEYOND, _FEW // 2)])
    ways = scan.stays(place)
    bad = np.argsort(-running_ratios(scan, tried, ways[..., :1]), kind="stable")[:_BAD]
    columns = Tried(*(column[bad] for column in tried))
    if row.duty is None:
        beside = _near_jumps(row, tried, int(bad[0]), ways[..., :: _FEW // 3])
        columns = Tried(*(np.concatenate(pair) for pair in zip(columns, beside, strict=True)))
    every = Tried(*(np.repeat(column, _FEW) for column in columns))
    found = running_ratios(scan, every, np.tile(ways, columns.rate.size)).reshape(-1, _FEW)
    over = found * scan.mean(1.0, place, next(iter(apertures))) > 1.0
    if not over.any():
        return ()
    last = int(np.flatnonzero(over.any(axis=0))[-1])
    return (columns.emission(int(np.argmax(over[:, last])), row),)


def _quick_reach(scan: Scan, emission: Emission, far: float, passes: int = 2) -> float | None:
    """Return about where the running scan exceeds the limit for the last time, or None where this cannot be said."""
    apertures = scan.limits.apertures
    if emission.kind != "pulse train" or _counts_as_standing(emission) or len(apertures) != 1:
        return None
    (aperture,) = apertures
    energy, pulse, rate = emission.pulse_energy, emission.pulse_duration, emission.repetition_rate
    tried = Tried(*(np.array([value]) for value in (energy, pulse, rate, 1.0, 1.0 / rate)))
    still = energy / float(scan.limits.per_pulse(pulse, rate))

    def last_over(place: Floats) -> int:
        ways = scan.stays(place)
        value = np.where(ways[0, 1] >= scan.pattern.period, still, running_ratios(scan, tried, ways))
        over = np.flatnonzero(value * scan.mean(1.0, place, aperture) > 1.0)
        return int(over[-1]) if over.size else -1

    place = np.geomspace(_NEAREST, far, _PLACES)
    last = last_over(place)
    for _ in range(passes - 1):
        if 0 <= last < _PLACES - 1:
            place = np.linspace(place[last], place[last + 1], _PLACES)
            last = max(last_over(place), 0)
    return float(place[last]) if last >= 0 else 0.0


def _narrowed(scan: Scan, emission: Emission, quick: float, far: float, known: float) -> float:
    """Return the reach of one setting that is about *quick*, by the full rules; 0 where it is not above *known*."""

    def above(distance: Floats) -> NDArray[np.bool_]:
        found = scan_ratio(scan, emission, distance)
        if np.isnan(found).any():
            refuse("ratio of exposure to limit is not a number; correct the exposure or the limit", OutOfRangeError)
        return np.asarray(found > 1.0)

    if known > 0.0 and not above(np.concatenate([[known], np.geomspace(known * 1.0001, far, _FEW)])).any():
        return 0.0
    about = _quick_reach(scan, emission, far, 3) or quick
    grid = about * np.concatenate([1.0 - _ASIDE[::-1], 1.0 + _ASIDE, np.geomspace(1.002, far / about, _FEW)])
    over = above(grid)
    if over[-1] or not over.any():
        return scan_distance(scan, emission)
    return last_kept(above, grid, over, narrow=_CLOSE)
