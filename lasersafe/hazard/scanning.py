"""A scanned beam at the eye or skin: the effective train of passes, how far it reaches, and what a cut-off earns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.crossing import farthest_crossing
from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.lasting import body_area
from lasersafe.hazard.scan_trains import joined_within, sweep_aperture, trains_of
from lasersafe.hazard.sweep import Compiled, compiled
from lasersafe.hazard.zones import direct_reach, exposure_at, worst_place
from lasersafe.limits import TrainRow, count_pulses, pulse_train_limit
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.propagation import BeamGeometry, diameters
from lasersafe.optics.scanning import ScanPattern, dwell, most_passes, sweep_widths
from lasersafe.records.step import Criterion
from lasersafe.wording.message import Message

FLOAT = NDArray[np.float64]
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


@dataclass(frozen=True)
class _Compared:
    """One rule for all trains at once; arrays of shape (trains, ...)."""

    ratio: FLOAT
    exposure: FLOAT
    limit: FLOAT
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
        """T_i. [s]."""
        return joined_within(self.rule_set, self.tissue, self.wavelength)

    @cached_property
    def limits(self) -> Compiled:
        """The limits for the quick rules."""
        return compiled(self.rule_set, self.tissue, self.wavelength, self.duration)

    def stays(self, place: FLOAT) -> FLOAT:
        """Return stay [s] and separate passes in each period for both widths of a sweep, shape (2, 2, ...)."""
        ways = sweep_widths(*diameters(self.beam, place), self.aperture)
        return np.stack([[of(self.pattern, place, way) for way in ways] for of in (dwell, most_passes)])

    def standing(self, emission: Emission) -> tuple[Criterion, ...]:
        """Return what the beam is compared with where it counts as standing."""
        return criteria(self.rule_set, self.tissue, emission, self.wavelength, self.duration)

    def mean(self, amount: ArrayLike, place: ArrayLike, aperture: ArrayLike) -> FLOAT:
        """Return an amount [W or J] averaged over an aperture [m] at places [m]."""
        return mean_exposure(amount, *diameters(self.beam, place), aperture, self.beam.profile)


def _compared(
    scan: Scan,
    emissions: tuple[Emission, ...],
    distance: FLOAT,
) -> tuple[list[_Compared], FLOAT, list[str]]:
    """Return every comparison, the stays of shape (trains, ...) and the trains in words."""
    joined = scan.joined if any(one.kind != "continuous" for one in emissions) else 0.0
    trains, stays = [], []
    for stay, passes in zip(*scan.stays(distance), strict=True):
        for train in trains_of(emissions, scan.pattern, stay, passes, scan.duration, joined):
            trains.append(train)
            stays.append(stay)
    found = pulse_train_limit(
        scan.rule_set,
        scan.tissue,
        scan.wavelength,
        np.stack([t.pulse_duration for t in trains]),
        np.stack([t.rate for t in trains]),
        np.stack([t.duration for t in trains]),
        ALPHA_MIN,
        exposed_area=body_area(scan.tissue, scan.wavelength),
    )
    energy = np.stack([t.energy for t in trains])
    result = []
    for row in found.rows:
        here = np.isfinite(row.per_pulse)
        if here.any():
            exposure = scan.mean(energy, distance, np.where(here, row.limiting_aperture, 1.0))
            limit = np.where(here, row.per_pulse, math.inf)
            result.append(_Compared(exposure / limit, exposure, limit, row))
    return result, np.stack(stays), [t.what for t in trains]


def _counts_as_standing(emission: Emission) -> bool:
    """Return True where no effective train stands for the passes: one pulse, bursts, lists, pulses on a pedestal."""
    return emission.kind == "single pulse" or bool(emission.burst or emission.pulses or emission.pedestal)


def scan_ratio(
    scan: Scan,
    emission: Emission,
    distance: ArrayLike,
) -> FLOAT:
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
        for c in scan.standing(emission):
            result = np.maximum(result, scan.mean(c.amount, place, c.limiting_aperture) / c.limit)
    if not still.all():
        rows = _compared(scan, (emission,), place[~still])[0]
        result[~still] = np.max([one.ratio.max(axis=0) for one in rows], axis=0, initial=0.0)
    return np.asarray(result)


def scan_findings(
    scan: Scan,
    emissions: tuple[Emission, ...],
    distances: tuple[float, ...],
) -> tuple[ScanFinding, ...]:
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
            top = max(found, key=lambda one: float(one.ratio[:, column].max()))
            at = int(top.ratio[:, column].argmax())
            result[n] = ScanFinding(
                float(top.ratio[at, column]), float(top.exposure[at, column]), float(top.limit[at, column]), "J/m2",
                top.row.rule, top.row.hazard, str(np.asarray(top.row.source)[at, column]), names[at],
                float(stays[at, column]), float(pulses[n]), passes, False,
            )  # fmt: skip
    for n in np.flatnonzero(still).tolist():
        exposures = [(exposure_at(scan.beam, distances[n], one), one) for one in scan.standing(emissions[n])]
        exposure, c = max(exposures, key=lambda pair: pair[0] / pair[1].limit)
        result[n] = ScanFinding(
            exposure / c.limit, exposure, c.limit, c.limit_unit, "standing", c.hazard, c.source,
            "the beam counts as standing", float(stay[n]), float(pulses[n]), passes, True,
        )  # fmt: skip
    return tuple(result[n] for n in range(place.size))


def scan_distance(
    scan: Scan,
    emission: Emission,
) -> float:
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

    def ratio(distance: FLOAT) -> FLOAT:
        return scan_ratio(scan, emission, distance)

    waists: tuple[float, float] = scan.beam.waist_position
    far = 2.0 * max(1.0, *waists)
    while float(ratio(np.array([far]))[0]) > 1.0 or far < 4.0 * max(waists):
        far *= 2.0
    stopped = direct_reach(scan.rule_set, scan.tissue, emission, scan.beam, scan.wavelength, scan.duration).distance
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
    rule_sets: tuple[str, ...],
    tissue: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    distance: float,
    *,
    monitored: bool,
    reaction_time: float | None,
    factor: float = 1.0,
) -> ScanCredit:
    """Return whether a cut-off earns credit: the stopped beam for its reaction time has to be below the limit.

    Parameters
    ----------
    rule_sets : tuple of str
        Rule sets to work out; every one has to agree.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    beam : BeamGeometry
        The beam that is scanned.
    wavelength : float
        Wavelength. [m]
    distance : float
        Closest distance; places beyond it count as well. [m]
    monitored : bool
        Whether the movement is monitored and stops the laser.
    reaction_time : float or None
        From the failure to the last light. [s]
    factor : float
        Reflectance on the way. [1]

    Returns
    -------
    ScanCredit
        With the ratio of that further exposure.
    """
    if not monitored or reaction_time is None:
        return ScanCredit(False, Message("scan.no_cut_off"), math.inf)
    lit = emission.scaled(factor)
    time = reaction_time if emission.kind == "continuous" else max(reaction_time, emission.pulse_duration)
    worst = 0.0
    for rule_set in rule_sets:
        for c in criteria(rule_set, tissue, lit, wavelength, time, ALPHA_MIN):
            for place in worst_place(beam, distance, (c.limiting_aperture,)):
                value = exposure_at(beam, place, c) / c.limit
                worst = value if not value <= worst else worst
    below = bool(worst <= 1.0)
    reason = Message("scan.below" if below else "scan.above", time=f"{reaction_time:g} s")
    return ScanCredit(below, reason, worst)
