"""A scanned beam at the eye or skin: the effective train of passes, how far it reaches, and what a cut-off earns."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.crossing import farthest_crossing
from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.lasting import body_area
from lasersafe.hazard.scan_trains import joined_within, sweep_aperture, trains_of
from lasersafe.hazard.zones import direct_reach, exposure_at
from lasersafe.limits import TrainRow, count_pulses, pulse_train_limit
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.propagation import BeamGeometry, diameters
from lasersafe.optics.scanning import ScanPattern, dwell, most_passes, sweep_widths

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


def _compared(
    rule_set: str,
    tissue: str,
    emissions: tuple[Emission, ...],
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    pattern: ScanPattern,
    distance: FLOAT,
) -> tuple[list[_Compared], FLOAT, list[str]]:
    """Return every comparison, the stays of shape (trains, ...) and the trains in words."""
    dx, dy = diameters(beam, distance)
    joined = 0.0
    if any(one.kind != "continuous" for one in emissions):
        joined = joined_within(rule_set, tissue, wavelength)
    trains, stays = [], []
    for way in sweep_widths(dx, dy, sweep_aperture(tissue, wavelength)):
        stay, passes = dwell(pattern, distance, way), most_passes(pattern, distance, way)
        for train in trains_of(emissions, pattern, stay, passes, duration, joined):
            trains.append(train)
            stays.append(stay)
    found = pulse_train_limit(
        rule_set,
        tissue,
        wavelength,
        np.stack([t.pulse_duration for t in trains]),
        np.stack([t.rate for t in trains]),
        np.stack([t.duration for t in trains]),
        ALPHA_MIN,
        exposed_area=body_area(tissue, wavelength),
    )
    energy = np.stack([t.energy for t in trains])
    result = []
    for row in found.rows:
        here = np.isfinite(row.per_pulse)
        if here.any():
            exposure = mean_exposure(energy, dx, dy, np.where(here, row.limiting_aperture, 1.0), beam.profile)
            limit = np.where(here, row.per_pulse, math.inf)
            result.append(_Compared(exposure / limit, exposure, limit, row))
    return result, np.stack(stays), [t.what for t in trains]


def _counts_as_standing(emission: Emission) -> bool:
    """Return True where no effective train stands for the passes: one pulse, bursts, lists, pulses on a pedestal."""
    return emission.kind == "single pulse" or bool(emission.burst or emission.pulses or emission.pedestal)


def _standing(beam: BeamGeometry, pattern: ScanPattern, distance: FLOAT, aperture: float) -> NDArray[np.bool_]:
    longest = sweep_widths(*diameters(beam, distance), aperture)[1]
    return np.asarray(dwell(pattern, distance, longest) >= pattern.period)


def scan_ratio(
    rule_set: str,
    tissue: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    pattern: ScanPattern,
    distance: ArrayLike,
) -> FLOAT:
    """Return the exposure of the running scan over its limit, at the slowest place of the pattern.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    beam : BeamGeometry
        The beam that is scanned.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    pattern : ScanPattern
        The pattern.
    distance : array_like, shape (...)
        From the last optic. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        Highest ratio over all rules; that of the stopped beam where the pattern is too narrow to earn credit. [1]
    """
    place = np.asarray(distance, dtype=np.float64)
    still = _standing(beam, pattern, place, sweep_aperture(tissue, wavelength))
    if _counts_as_standing(emission):
        still = np.ones_like(still)
    stopped = np.zeros(place.shape)
    if still.any():
        dx, dy = diameters(beam, place)
        for c in criteria(rule_set, tissue, emission, wavelength, duration, ALPHA_MIN):
            stopped = np.maximum(stopped, mean_exposure(c.amount, dx, dy, c.limiting_aperture, beam.profile) / c.limit)
    if still.all():
        return stopped
    moving = place[~still]
    best = np.zeros(moving.shape)
    for one in _compared(rule_set, tissue, (emission,), beam, wavelength, duration, pattern, moving)[0]:
        best = np.maximum(best, one.ratio.max(axis=0))
    result = stopped.copy()
    result[~still] = best
    return result


def scan_findings(
    rule_set: str,
    tissue: str,
    emissions: tuple[Emission, ...],
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    pattern: ScanPattern,
    distances: tuple[float, ...],
) -> tuple[ScanFinding, ...]:
    """Return the comparison that decides for the running scan at each of some distances, as `scan_finding`.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emissions : tuple of Emission
        The setting at each of the distances.
    beam : BeamGeometry
        The beam that is scanned.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    pattern : ScanPattern
        The pattern.
    distances : tuple of float
        From the last optic. [m]

    Returns
    -------
    tuple of ScanFinding
        The one with the highest ratio at each distance.
    """
    place = np.array(distances)
    aperture = sweep_aperture(tissue, wavelength)
    stay = dwell(pattern, place, sweep_widths(*diameters(beam, place), aperture)[1])
    passes = math.floor(duration / pattern.period) + 1.0
    pulsed = np.array([one.kind == "pulse train" for one in emissions])
    rates = np.array([one.repetition_rate for one in emissions])
    pulses = np.where(pulsed, count_pulses(np.maximum(stay, 1e-13), rates), 0.0)
    still = _standing(beam, pattern, place, aperture) | np.array([_counts_as_standing(one) for one in emissions])
    result: dict[int, ScanFinding] = {}
    if not still.all():
        moving = tuple(one for one, stands in zip(emissions, still.tolist(), strict=True) if not stands)
        found, stays, names = _compared(rule_set, tissue, moving, beam, wavelength, duration, pattern, place[~still])
        for column, n in enumerate(np.flatnonzero(~still).tolist()):
            top = max(found, key=lambda one: float(one.ratio[:, column].max()))
            at = int(top.ratio[:, column].argmax())
            result[n] = ScanFinding(
                float(top.ratio[at, column]), float(top.exposure[at, column]), float(top.limit[at, column]), "J/m2",
                top.row.rule, top.row.hazard, str(np.asarray(top.row.source)[at, column]), names[at],
                float(stays[at, column]), float(pulses[n]), passes, False,
            )  # fmt: skip
    for n in np.flatnonzero(still).tolist():
        exposures = [
            (exposure_at(beam, distances[n], one), one)
            for one in criteria(rule_set, tissue, emissions[n], wavelength, duration, ALPHA_MIN)
        ]
        exposure, c = max(exposures, key=lambda pair: pair[0] / pair[1].limit)
        result[n] = ScanFinding(
            exposure / c.limit, exposure, c.limit, c.limit_unit, "standing", c.hazard, c.source,
            "the beam counts as standing", float(stay[n]), float(pulses[n]), passes, True,
        )  # fmt: skip
    return tuple(result[n] for n in range(place.size))


def scan_distance(
    rule_set: str,
    tissue: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    pattern: ScanPattern,
) -> float:
    """Return how far the running scan exceeds the limit, from the last optic [m].

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    beam : BeamGeometry
        The beam that is scanned.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    pattern : ScanPattern
        The pattern.

    Returns
    -------
    float
        Farthest place where the ratio is above 1; 0 where it is nowhere above. [m]
    """

    def ratio(distance: FLOAT) -> FLOAT:
        return scan_ratio(rule_set, tissue, emission, beam, wavelength, duration, pattern, distance)

    far = 2.0 * max(1.0, *beam.waist_position)
    while float(ratio(np.array([far]))[0]) > 1.0 or far < 4.0 * max(beam.waist_position):
        far *= 2.0
    stopped = direct_reach(rule_set, tissue, emission, beam, wavelength, duration).distance
    far = max(far, 1.01 * stopped)
    while float(ratio(np.array([far]))[0]) > 1.0:
        far *= 2.0
    found = float(farthest_crossing(ratio, _NEAREST, far, points=300))
    focus = [p for p in beam.waist_position if p > found and float(ratio(np.array([p]))[0]) > 1.0]
    return max([found, *focus])
