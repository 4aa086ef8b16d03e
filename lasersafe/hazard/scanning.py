"""A scanned beam: the trains of pulses that stand for it, how far it reaches, and what a cut-off earns."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.hazard.distances import direct_reach, exposure_at, farthest_crossing, worst_place
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, Floats, Received, body_area, criteria, trains_at
from lasersafe.limits import TrainRow, count_pulses, pulse_train_limit, rule_sets
from lasersafe.limits.exposure import COUNT_SLACK
from lasersafe.limits.patterns import RegularTrains
from lasersafe.limits.tables import EDGE, load_rule_set
from lasersafe.optics.beam import BeamGeometry, diameters, mean_exposure
from lasersafe.optics.sources import ScanPattern, dwell, most_passes, sweep_widths
from lasersafe.records.fields import badness
from lasersafe.wording import Message

WITHIN = "pulses within one pass"
JOINED = "pulses in groups within T_i"


class Passes(NamedTuple):
    """What crosses the aperture, as trains of equal pulses; arrays over the distance."""

    what: str  # which train this is, in words
    energy: Floats  # per pulse of the train, before the aperture [J]
    pulse_duration: Floats  # [s]
    rate: Floats  # [Hz]
    duration: Floats  # exposure [s]


def sweep_aperture(tissue: str, wavelength: float) -> float:
    """Return the aperture that a sweep is timed over: the largest that any rule set sets [m].

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    float
        Diameter. [m]
    """
    nm = wavelength * 1e9
    return max(
        1e-3 * float(row.at(time))
        for name in rule_sets()
        for row in load_rule_set(name).apertures[tissue]
        if row.wavelength[0] * (1 - EDGE) <= nm <= row.wavelength[1] * (1 + EDGE)
        for time in row.duration
    )


def pulsed_trains(
    pulse: Floats, rate: Floats, stay: Floats, passes: Floats, scan: Scan
) -> list[tuple[str, Floats, Floats, Floats, Floats]]:
    """Return the trains that stand for the pulses of a laser that is scanned, as arrays that broadcast together [1]_.

    At a place where the spot turns it stays once in each period, elsewhere it passes several times for a part of that
    stay. Every pass counts whole, with one pulse more than fits, and so does every period that begins.

    Parameters
    ----------
    pulse, rate : numpy.ndarray, shape (...)
        Pulse duration [s] and repetition rate [Hz] of the laser.
    stay : numpy.ndarray, shape (...)
        Time within each period that the spot stays. [s]
    passes : numpy.ndarray, shape (...)
        Separate passes in each period. [1]
    scan : Scan
        The moving beam.

    Returns
    -------
    list of tuple
        What the train is, laser pulses in each of its pulses [1], pulse duration [s], rate [Hz] and exposure [s].

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """
    period, duration, joined = scan.pattern.period, scan.duration, scan.joined
    time = np.minimum(stay, min(duration, period))
    whole, one = np.full_like(time, duration), np.ones_like(time)
    longest = np.minimum(np.maximum(time, pulse), duration)
    short = np.minimum(pulse, whole)

    def count(window: Floats) -> Floats:
        return np.asarray(count_pulses(np.maximum(window, 1e-13), rate))

    def often(times: Floats | float, number: Floats, length: Floats) -> Floats:  # no more pulses than the laser emits
        return np.asarray(np.minimum(np.minimum(times, rate / number), 1.0 / length))

    at_turn = count(longest)
    part = np.minimum(np.maximum(time / passes, pulse), duration)
    each = count(part)
    most = np.maximum(np.minimum(passes * each, count(np.full_like(time, period))), at_turn)
    periods = (np.floor(duration / period * (1.0 + COUNT_SLACK)) + 1.0) / duration  # begun in a second
    together = np.maximum(longest, np.minimum((most - 1.0) / rate, min(period, duration)))
    found = [
        ("each pass as one pulse", at_turn, longest, often(1.0 / period, at_turn, longest), whole),
        ("passes of a period as one pulse", most, together, often(1.0 / period, most, together), whole),
        ("each of the separate passes as one pulse", each, part, often(passes * periods, each, part), whole),
        (WITHIN, one, short, rate + 0.0 * time, longest),
        ("all pulses of the exposure", one, short, often(most * periods, one, short), whole),
    ]
    span = np.maximum(np.minimum(longest, joined), pulse)
    for number, times in ((most, 1.0), (each, passes)):
        group = np.minimum(count(np.maximum(joined, pulse)), number)
        groups = times * np.ceil(number / group) * periods
        found.append((JOINED, group, span, often(groups, group, span), whole))
    return found


def trains_of(scan: Scan, emissions: tuple[Emission, ...], stay: Floats, passes: Floats) -> list[Passes]:
    """Return the trains that stand for a scanned beam, all of which have to be below their limits [1]_.

    Passes of one period that reach the aperture are counted as one longer pulse, and as separate ones. Pulses of the
    laser are counted one by one within a pass, one by one over the exposure, in groups within T_i, and as one pulse for
    each pass.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    emissions : tuple of Emission
        One setting, or as many as there are places, each at its own; continuous, or pulse trains.
    stay : numpy.ndarray, shape (n,)
        Time within each period that the spot stays. [s]
    passes : numpy.ndarray, shape (n,)
        Separate passes in each period. [1]

    Returns
    -------
    list of Passes
        Arrays of shape (n,).

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """
    (kind,) = {one.kind for one in emissions}
    rows = ((one.power, one.pulse_energy, one.pulse_duration, one.repetition_rate) for one in emissions)
    power, energy, pulse, rate = (np.array(column) + 0.0 * stay for column in zip(*rows, strict=True))
    if kind == "continuous":
        time = np.minimum(stay, min(scan.duration, scan.pattern.period))
        often, whole = np.full_like(time, 1.0 / scan.pattern.period), np.full_like(time, scan.duration)
        return [Passes("each pass as one pulse", power * time, time, often, whole)]
    every = pulsed_trains(pulse, rate, stay, passes, scan)
    found = [Passes(what, number * energy, *others) for what, number, *others in every]
    joins = scan.joined > pulse  # elsewhere the first train stands for those within T_i
    return [
        Passes(one.what, *(np.where(joins, own, first) for own, first in zip(one[1:], found[0][1:], strict=True)))
        if one.what == JOINED
        else one
        for one in found
        if one.what != JOINED or joins.any()
    ]


_NEAREST = 1e-3  # m


@dataclass(frozen=True)
class ScanFinding:
    """The comparison that decides for a scanned beam at one place."""

    ratio: float  # exposure over limit [1]
    exposure: float  # per pulse of the effective train, or irradiance where the beam is taken as standing
    limit: float
    unit: str  # W/m2 | J/m2
    rule: str  # single pulse | mean | train | standing
    hazard: str
    source: str
    train: str  # which effective train, in words
    pass_time: float  # longest stay at the slowest place in a period [s]
    pulses: float  # laser pulses in a pass, 0 for continuous emission [1]
    passes: float  # passes in the exposure [1]
    standing: bool  # True where the pattern is too narrow to earn credit


class _Compared(NamedTuple):
    """One rule for all trains at once; arrays of shape (trains, ...)."""

    ratio: Floats
    exposure: Floats
    limit: Floats
    row: TrainRow


@dataclass(frozen=True)
class Scan:
    """A moving beam as one rule set judges it: wavelength [m], exposure duration [s], pattern."""

    rule_set: str
    tissue: str
    beam: BeamGeometry
    wavelength: float
    duration: float
    pattern: ScanPattern

    @cached_property
    def aperture(self) -> float:
        """The aperture that a sweep passes. [m]."""
        return sweep_aperture(self.tissue, self.wavelength)

    @cached_property
    def joined(self) -> float:
        """T_i, the longest that holds, 0 where there is none. [s]."""
        return max((within for within, _ in self.limits.joining), default=0.0)

    @cached_property
    def limits(self) -> RegularTrains:
        """The limits for the quick rules."""
        return trains_at(self.rule_set, self.tissue, self.wavelength, self.duration)

    def stays(self, place: Floats) -> Floats:
        """Return stay [s] and separate passes in each period for both widths of a sweep, shape (2, 2, ...)."""
        ways = sweep_widths(*diameters(self.beam, place), self.aperture)
        return np.stack([[of(self.pattern, place, way) for way in ways] for of in (dwell, most_passes)])

    def received(self, emission: Emission) -> Received:
        """Return what is judged where the beam counts as standing."""
        return Received(self.rule_set, self.tissue, emission, self.wavelength, self.duration)

    def mean(self, amount: ArrayLike, place: ArrayLike, aperture: ArrayLike) -> Floats:
        """Return an amount [W or J] averaged over an aperture [m] at places [m]."""
        return mean_exposure(amount, *diameters(self.beam, place), aperture, self.beam.profile)


def _compared(
    scan: Scan, emissions: tuple[Emission, ...], distance: Floats
) -> tuple[list[_Compared], Floats, list[str]]:
    """Return every comparison, the stays of shape (trains, ...) and the trains in words."""
    ways = zip(*scan.stays(distance), strict=True)
    every = [(stay, *train) for stay, passes in ways for train in trains_of(scan, emissions, stay, passes)]
    stays, names, *columns = zip(*every, strict=True)
    energy, pulse, rate, time = map(np.stack, columns)
    area = body_area(scan.tissue, scan.wavelength)
    found = pulse_train_limit(
        scan.rule_set, scan.tissue, scan.wavelength, pulse, rate, time, ALPHA_MIN, exposed_area=area
    )
    result = []
    for row in found.rows:
        here = np.isfinite(row.per_pulse)
        if here.any():
            exposure = scan.mean(energy, distance, np.where(here, row.limiting_aperture, 1.0))
            limit = np.where(here, row.per_pulse, math.inf)
            result.append(_Compared(exposure / limit, exposure, limit, row))
    return result, np.stack(stays), list(names)


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
        rows = _compared(scan, (emission,), place[~still])[0]
        result[~still] = np.max([one.ratio.max(axis=0) for one in rows], axis=0, initial=0.0)
    return np.asarray(result)


def scan_findings(scan: Scan, emissions: tuple[Emission, ...], distances: tuple[float, ...]) -> tuple[ScanFinding, ...]:
    """Return the comparison that decides for the running scan at each of some distances.

    Parameters
    ----------
    scan : Scan
        The moving beam.
    emissions : tuple of Emission
        The setting at each of the distances.
    distances : tuple of float
        From the last optic. [m]

    Returns
    -------
    tuple of ScanFinding
        The one with the highest ratio at each distance.
    """
    place = np.array(distances)
    stay = scan.stays(place)[0, 1]
    passes = math.floor(scan.duration / scan.pattern.period) + 1.0
    pulsed = np.array([one.kind == "pulse train" for one in emissions])
    rates = np.array([one.repetition_rate for one in emissions])
    pulses = np.where(pulsed, count_pulses(np.maximum(stay, 1e-13), rates), 0.0)
    still = (stay >= scan.pattern.period) | np.array([_counts_as_standing(one) for one in emissions])
    result: dict[int, ScanFinding] = {}
    if not still.all():
        moving = tuple(one for one, stands in zip(emissions, still.tolist(), strict=True) if not stands)
        found, stays, names = _compared(scan, moving, place[~still])
        for column, n in enumerate(np.flatnonzero(~still).tolist()):
            top = max(found, key=lambda one: badness(float(one.ratio[:, column].max())))
            at = int(top.ratio[:, column].argmax())
            result[n] = ScanFinding(
                float(top.ratio[at, column]), float(top.exposure[at, column]), float(top.limit[at, column]), "J/m2",
                top.row.rule, top.row.hazard, str(np.asarray(top.row.source)[at, column]), names[at],
                float(stays[at, column]), float(pulses[n]), passes, False,
            )  # fmt: skip
    for n in np.flatnonzero(still).tolist():
        exposures = [(exposure_at(scan.beam, distances[n], one), one) for one in criteria(scan.received(emissions[n]))]
        exposure, c = max(exposures, key=lambda pair: badness(pair[0] / pair[1].limit))
        result[n] = ScanFinding(
            exposure / c.limit, exposure, c.limit, c.limit_unit, "standing", c.hazard, c.source,
            "the beam counts as standing", float(stay[n]), float(pulses[n]), passes, True,
        )  # fmt: skip
    return tuple(result[n] for n in range(place.size))


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
    far = 2.0 * max(1.0, *waists)
    while float(ratio(np.array([far]))[0]) > 1.0 or far < 4.0 * max(waists):
        far *= 2.0
    stopped = direct_reach(scan.received(emission), scan.beam).distance
    far = max(far, 1.01 * stopped)
    while float(ratio(np.array([far]))[0]) > 1.0:
        far *= 2.0
    found = float(farthest_crossing(ratio, _NEAREST, far, points=300))
    focus = [p for p in waists if p > found and float(ratio(np.array([p]))[0]) > 1.0]
    return max([found, *focus])


@dataclass(frozen=True)
class ScanCredit:
    """Whether the movement of a scan may be counted at a place, and why."""

    given: bool
    reason: str
    ratio: float  # of the stopped beam, for the reaction time when there is one, else for the exposure


def scan_credit(
    lights: Iterable[Received], beam: BeamGeometry, distance: float, reaction_time: float | None, factor: float = 1.0
) -> ScanCredit:
    """Return whether a cut-off earns credit: the stopped beam for its reaction time has to be below the limit.

    Parameters
    ----------
    lights : iterable of Received
        Every setting as every rule set judges it for that time; all have to agree.
    beam : BeamGeometry
        The beam that is scanned.
    distance : float
        Closest distance; places beyond it count as well. [m]
    reaction_time : float or None
        From the failure to the last light; None where nothing monitors the movement. [s]
    factor : float
        Reflectance on the way. [1]

    Returns
    -------
    ScanCredit
        With the ratio of that further exposure.
    """
    if reaction_time is None:
        return ScanCredit(False, Message("scan.no_cut_off"), math.inf)
    worst = 0.0
    for light in lights:
        for c in criteria(replace(light, emission=light.emission.scaled(factor))):
            for place in worst_place(beam, distance, (c.limiting_aperture,)):
                worst = max(worst, exposure_at(beam, place, c) / c.limit, key=badness)
    below = bool(worst <= 1.0)
    reason = Message("scan.below" if below else "scan.above", time=f"{reaction_time:g} s")
    return ScanCredit(below, reason, worst)
