"""Which of the allowed settings are worst while a scan runs, and how far the worst of them reaches.

A great many settings are compared place by place by their lowest limits alone; what is printed comes from the full
rules of `scanning` for the few settings that are left.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError, OutOfRangeError, refuse
from lasersafe.hazard.distances import direct_reach
from lasersafe.hazard.exposure import Emission, Floats
from lasersafe.hazard.scanning import WITHIN, Scan, pulsed_trains, scan_distance, scan_ratio
from lasersafe.hazard.settings import SettingSpace, Tried, trains

_MOST = 24  # settings compared by the full rules where limiting apertures differ
_NEAREST = 1e-3  # m
_PLACES = 300  # for the quick search
_SURELY = 0.9995  # settings that reach less than this part of the farthest are not narrowed down
_FEW = 24
_SECTIONS = 32
_ROUNDS = 8
_BEYOND = 1.06  # times the farthest reach so far: up to where a worse setting is looked for
_BAD = 24  # settings that are looked at there
_ASIDE = np.array([1e-6, 1e-5, 1e-4, 1e-3])
_CLOSE = 4e-6  # relative width of the last bracket, of which the far end is taken


def _plain(row: SettingSpace) -> bool:
    """Return True where the movement counts: trains without bursts, lists and pedestal."""
    return row.kind == "pulse train" and row.pattern is None and row.burst_pulses is None and not row.pedestal


def running_ratios(scan: Scan, energy: Floats, pulse: Floats, rate: Floats, ways: Floats) -> Floats:
    """Return energy over limit of the effective trains of many settings, for a wide beam, as in `trains_of`.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    energy, pulse, rate : numpy.ndarray, shape (n,)
        Settings of a train. [J, s, Hz]
    ways : numpy.ndarray, shape (2, k, n) or (2, k, 1)
        Times in each period that the spot stays [s], and separate passes [1]; the strictest counts.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Highest ratio; divided by the area of the beam it is exposure over limit. [m2]
    """
    stays, passes = np.broadcast_to(ways, (*ways.shape[:2], energy.size))
    parts = pulsed_trains(pulse, rate + 0.0 * stays, stays, passes, scan)
    whole = [(number * energy, length, often) for what, number, length, often, _ in parts if what != WITHIN]
    q, t, f = (
        np.concatenate([np.broadcast_to(c, stays.shape) for c in column]).reshape(-1)
        for column in zip(*whole, strict=True)
    )
    found: Floats = (q / scan.limits.per_pulse(t, f)).reshape(-1, energy.size).max(axis=0)
    return found


def _near_jumps(tried: Tried, best: int, ways: Floats) -> Tried:
    """Return settings beside the best one: the rates just above which one more pulse falls into a pass."""
    pulse = float(tried.pulse[best])
    rates = []
    for stay in np.concatenate([ways[0], ways[0] / ways[1]]).reshape(-1):
        near = np.floor(stay * float(tried.rate[best])) + np.array([-1.0, 0.0, 1.0, 2.0])
        at = np.concatenate([np.arange(1.0, 9.0), near])
        rates.append(at[at >= 1.0] / stay * (1.0 + 4e-9))
    rate = np.concatenate([*rates, tried.rate[best : best + 1]])
    rate = rate[(rate >= tried.rate.min()) & (rate <= tried.rate.max()) & (rate * pulse <= 1.0)]
    return Tried(np.zeros_like(rate), np.full_like(rate, pulse), rate, np.ones_like(rate), 1.0 / rate)


@lru_cache(maxsize=256)
def _settings(space: SettingSpace, duration: float) -> Tried:
    return trains(space, (), duration)


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
    ways = scan.stays(np.array([place]))
    apertures = scan.limits.apertures
    for row in space.rows:
        if not _plain(row) or not space.adjustable:
            continue
        try:
            tried = _settings(row, scan.duration)
        except InputError:
            continue
        own = running_ratios(scan, tried.energy, tried.pulse, tried.rate, ways)
        best = int(np.argmax(own >= own.max() * (1.0 - 1e-12)))  # of equals the first
        beside = _near_jumps(tried, best, ways)
        worst = tried.emission(best, row)
        if row.duty is None and beside.rate.size:
            beside = beside._replace(energy=np.minimum(row.caps[0], row.caps[1] / beside.rate))
            more = running_ratios(scan, beside.energy, beside.pulse, beside.rate, ways)
            if float(more.max()) > float(own[best]) * (1.0 + 1e-9):
                worst = beside.emission(int(more.argmax()), row)
        found[worst] = None
        if len(apertures) > 1:
            spread = sorted({round(i) for i in np.linspace(0, tried.energy.size - 1, _MOST).tolist()})
            for setting in (tried.emission(i, row) for i in spread):
                found[setting] = None
    if len(apertures) > 1 and len(found) > 2:
        where = np.array([place])
        by = {e: float(scan_ratio(scan, e, where)[0]) for e in found}
        return (*standing, *(e for e in sorted(by, key=lambda e: -by[e])[:1] if e not in standing))
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
    result = 0.0
    for one in slow:
        result = max(result, scan_distance(scan, one))
    best = max(quick.values(), default=0.0)
    for one, about in sorted(quick.items(), key=lambda pair: -pair[1]):
        if about > 0.0 and about >= _SURELY * best and about >= _SURELY * result:
            own = _narrowed(scan, one, about, far, result)
            result = max(result, own)
    return result


def _farther(scan: Scan, row: SettingSpace, where: float) -> tuple[Emission, ...]:
    """Return the setting that exceeds the limit farthest behind a place, of those that are bad there; or none."""
    apertures = scan.limits.apertures
    if not _plain(row) or len(apertures) != 1:
        return ()
    try:
        tried = _settings(row, scan.duration)
    except InputError:
        return ()
    place = where * np.concatenate([np.linspace(1.0, 1.01, _FEW // 2), np.linspace(1.015, _BEYOND, _FEW // 2)])
    ways = scan.stays(place)
    own = running_ratios(scan, tried.energy, tried.pulse, tried.rate, ways[..., :1])
    bad = np.argsort(-own, kind="stable")[:_BAD]
    columns = Tried(*(column[bad] for column in tried))
    if row.duty is None:
        beside = _near_jumps(tried, int(bad[0]), ways[..., :: _FEW // 3])
        beside = beside._replace(energy=np.minimum(row.caps[0], row.caps[1] / beside.rate))
        columns = Tried(*(np.concatenate(pair) for pair in zip(columns, beside, strict=True)))
    energy, pulse, rate = (np.repeat(column, _FEW) for column in (columns.energy, columns.pulse, columns.rate))
    found = running_ratios(scan, energy, pulse, rate, np.tile(ways, columns.rate.size))
    share = scan.mean(1.0, place, next(iter(apertures)))
    over = found.reshape(-1, _FEW) * share > 1.0
    if not over.any():
        return ()
    last = int(np.flatnonzero(over.any(axis=0))[-1])
    return (columns.emission(int(np.argmax(over[:, last])), row),)


def _quick_reach(scan: Scan, emission: Emission, far: float, passes: int = 2) -> float | None:
    """Return about where the running scan exceeds the limit for the last time, or None where this cannot be said."""
    plain = emission.kind == "pulse train" and not (emission.burst or emission.pulses or emission.pedestal)
    apertures = scan.limits.apertures
    if not plain or len(apertures) != 1:
        return None
    (aperture,) = apertures
    energy, pulse, rate = (
        np.full(_PLACES, value) for value in (emission.pulse_energy, emission.pulse_duration, emission.repetition_rate)
    )
    still = float((energy[:1] / scan.limits.per_pulse(pulse[:1], rate[:1]))[0])

    def last_over(place: Floats) -> int:
        ways = scan.stays(place)
        moving = running_ratios(scan, energy, pulse, rate, ways)
        value = np.where(ways[0, 1] >= scan.pattern.period, still, moving)
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
    for _ in range(_ROUNDS):
        last = int(np.flatnonzero(over)[-1])
        near, end = float(grid[last]), float(grid[last + 1])
        if end - near <= _CLOSE * end:
            break
        grid = np.linspace(near, end, _SECTIONS + 1)
        over = np.concatenate([[True], above(grid[1:-1]), [False]])
    last = int(np.flatnonzero(over)[-1])
    return float(grid[last + 1])
