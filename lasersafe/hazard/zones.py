"""How far each way for light reaches: direct beam, mirror reflection, scatter."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from lasersafe.hazard.distances import direct_distance, farthest_crossing, scatter_distance, scatter_distance_extended
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria, source_caps, train_limit
from lasersafe.hazard.lasting import plain_limits
from lasersafe.hazard.two_axes import narrowest
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.checks import unique
from lasersafe.optics.extended import limited_angle
from lasersafe.optics.propagation import BeamGeometry, diameters
from lasersafe.optics.reflection import scatter_exposure, source_angles
from lasersafe.results_step import Criterion, Zone

FLOAT = NDArray[np.float64]
FARTHEST = 1e9  # m
LIMITING_APERTURES = (1e-3, 3.5e-3, 7e-3, 11e-3)  # m, where the comparison is not asked
_FEW = 4096  # up to this many source angles, equal ones are looked for


@dataclass(frozen=True)
class Reach:
    """The farthest distance for one rule set, the comparison that decides it, and the source angle there."""

    distance: float
    criterion: Criterion
    angle: float = ALPHA_MIN


def exposure_at(beam: BeamGeometry, distance: float, criterion: Criterion, factor: float = 1.0) -> float:
    """Return the exposure that a comparison sees at a distance from the last optic.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        Distance from the last optic. [m]
    criterion : Criterion
        The comparison; its amount is spread over its own limiting aperture.
    factor : float
        Reflectance or transmission on the way. [1]

    Returns
    -------
    float
        Exposure in the unit of the limit. [W/m2 or J/m2]
    """
    return _mean_at(beam, float(distance), float(criterion.amount * factor), float(criterion.limiting_aperture))


@lru_cache(maxsize=8192)
def _mean_at(beam: BeamGeometry, distance: float, amount: float, aperture: float) -> float:
    dx, dy = _diameters_at(beam, distance)
    return float(mean_exposure(amount, dx, dy, aperture, beam.profile))


@lru_cache(maxsize=2048)
def _diameters_at(beam: BeamGeometry, distance: float) -> tuple[float, float]:
    dx, dy = diameters(beam, distance)
    return float(dx), float(dy)


@lru_cache(maxsize=2048)
def worst_place(
    beam: BeamGeometry, distance: float, apertures: tuple[float, ...] = LIMITING_APERTURES
) -> tuple[float, ...]:
    """Return the places at or beyond a distance where the beam can be narrowest.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        Distance from the last optic. [m]
    apertures : tuple of float
        Apertures over which it is averaged there. [m]

    Returns
    -------
    tuple of float
        The distance, every waist beyond it, and where between two waists most comes through each aperture or none. [m]
    """
    low, high = sorted(beam.waist_position)
    beyond = [p for p in (low, high) if p > distance]
    start = max(low, distance)
    if high > start:
        holes = np.array([0.0, *apertures])
        axes = beam.waist_diameter, beam.divergence, beam.waist_position
        waist, angle, place = ((np.asarray(x), np.asarray(y)) for x, y in axes)
        ends = np.asarray(start), np.asarray(high)
        beyond += narrowest(holes, waist, angle, place, *ends, beam.profile, beam.propagation).tolist()
    return (distance, *beyond)


@lru_cache(maxsize=256)
def direct_reach(
    rule_set: str,
    tissue: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    reflectance: float = 1.0,
) -> Reach:
    """Return how far the direct beam, or its reflection by a flat mirror, exceeds the limit.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    beam : BeamGeometry
        The beam.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    reflectance : float
        1 for the direct beam, the mirror's reflectance for a reflection. [1]

    Returns
    -------
    Reach
        Distance along the path from the last optic, 0 where no place exceeds the limit.
    """
    lit = emission.scaled(reflectance)
    best: Reach | None = None
    for criterion in criteria(rule_set, tissue, lit, wavelength, duration, ALPHA_MIN):
        distance = float(direct_distance(criterion.amount, criterion.limit, criterion.limiting_aperture, beam))
        if best is None or distance > best.distance:
            best = Reach(distance, criterion)
    assert best is not None
    return best


@dataclass(frozen=True)
class _Limits:
    """The limits of one emission as functions of the source angle, one for each comparison of :func:`criteria`."""

    rule_set: str
    tissue: str
    emission: Emission
    wavelength: float
    duration: float

    @cached_property
    def count(self) -> int:
        """How many comparisons there are."""
        return len(self._of(np.array([ALPHA_MIN])))

    def _of(self, angle: FLOAT) -> list[FLOAT]:
        emission = self.emission
        if emission.kind == "pulse train":
            train = train_limit(self.rule_set, self.tissue, emission, self.wavelength, self.duration, angle)
            return [np.asarray(train.per_pulse)]  # the strictest, since scatter fills every aperture alike
        pulsed = emission.kind == "single pulse"
        time = emission.pulse_duration if pulsed else self.duration
        rows = plain_limits(self.rule_set, self.tissue, pulsed, self.wavelength, time, angle)
        return [np.asarray(row.limit) for row in rows]

    @cached_property
    def hazards(self) -> tuple[str, ...]:
        """The hazard of each comparison, "" where one limit stands for several."""
        if self.emission.kind == "pulse train" and self.count == 1:
            return ("",)
        found = criteria(self.rule_set, self.tissue, self.emission, self.wavelength, self.duration, ALPHA_MIN)
        return tuple(c.hazard for c in found) if len(found) == self.count else ("",) * self.count

    def at(self, angle: FLOAT) -> list[FLOAT]:
        """Return the limit of each comparison at source angles [rad] of shape (...), equal angles once."""
        angle = np.asarray(angle, dtype=np.float64)
        different = unique(angle) if angle.size <= _FEW else angle
        if different.size == angle.size:
            found = self._of(angle)
            return [found[index] for index in range(self.count)]
        found = self._of(different)
        place = np.searchsorted(different, angle)
        return [found[index][place] for index in range(self.count)]

    def functions(self) -> list[Callable[[FLOAT], FLOAT]]:
        """Return one function for each comparison."""

        def one(index: int) -> Callable[[FLOAT], FLOAT]:
            return lambda angle: self.at(angle)[index]

        return [one(index) for index in range(self.count)]


@lru_cache(maxsize=256)
def _limits_of_angle(rule_set: str, tissue: str, emission: Emission, wavelength: float, duration: float) -> _Limits:
    return _Limits(rule_set, tissue, emission, wavelength, duration)


@lru_cache(maxsize=256)
def scatter_reach(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    *,
    reflectance: float = 1.0,
    view_angle: float = 0.0,
    model: str = "lambert",
    spot_diameter: float = 0.0,
) -> Reach:
    """Return how far from the lit surface the scatter exceeds the limit.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    reflectance : float
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : float
        Angle from the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : float
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]

    Returns
    -------
    Reach
        Distance from the surface.
    """
    compared = criteria(rule_set, tissue, emission, wavelength, duration, ALPHA_MIN)
    point = [Reach(float(scatter_distance(c.amount, c.limit, reflectance, view_angle, model)), c) for c in compared]
    best = max(point, key=lambda reach: reach.distance)
    if tissue == "skin" or spot_diameter <= ALPHA_MIN * best.distance:
        return best
    caps = source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
    amount, spot = compared[0].amount, (spot_diameter, spot_diameter)
    distance = max(
        float(
            scatter_distance_extended(
                amount, reflectance, view_angle, model, spot, function, smallest_angle=ALPHA_MIN, largest_angle=cap
            )
        )
        for function in _limits_of_angle(rule_set, tissue, emission, wavelength, duration).functions()
        for cap in map(float, caps)
    )
    if distance <= 0.0:
        return Reach(distance, best.criterion)
    first, second = source_angles(*spot, distance, view_angle)
    there = [
        Reach(distance, c, angle)
        for angle in (float(limited_angle(first, second, ALPHA_MIN, cap)) for cap in caps)
        for c in criteria(rule_set, tissue, emission, wavelength, duration, angle)
    ]
    return max(there, key=lambda reach: reach.criterion.amount / reach.criterion.limit)


def scatter_ratio(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    distance: FLOAT,
    *,
    reflectance: float = 1.0,
    view_angle: float = 0.0,
    model: str = "lambert",
    spot_diameter: float = 0.0,
    parts: Mapping[str, float] | None = None,
) -> FLOAT:
    """Return how many times the limit the scatter of a lit spot gives at distances from it.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    distance : numpy.ndarray, shape (...)
        From the spot. [m]
    reflectance : float
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : float
        Angle from the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : float
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]
    parts : mapping of str to float, optional
        Hazard -> part of its limit that may be used; without it all of every limit. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit, the worst comparison. [1]
    """
    if tissue == "eye" and spot_diameter > 0.0:
        first, second = source_angles(spot_diameter, spot_diameter, distance, view_angle)
        limits = _limits_of_angle(rule_set, tissue, emission, wavelength, duration)
        amount = criteria(rule_set, tissue, emission, wavelength, duration, ALPHA_MIN)[0].amount
        rows = [
            (amount, limit, hazard)
            for cap in source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
            for limit, hazard in zip(
                limits.at(limited_angle(first, second, ALPHA_MIN, cap)), limits.hazards, strict=True
            )
        ]
    else:
        compared = criteria(rule_set, tissue, emission, wavelength, duration, ALPHA_MIN)
        rows = [(c.amount, np.asarray(c.limit), c.hazard) for c in compared]
    found = np.zeros_like(np.asarray(distance, dtype=np.float64))
    least = 1.0 if parts is None else min(parts.values())
    for amount, limit, hazard in rows:
        most = limit if parts is None else limit * parts.get(hazard, least)
        found = np.maximum(found, scatter_exposure(amount, reflectance, distance, view_angle, model) / most)
    return found


def zone(
    way: str,
    tissue: str,
    reaches: dict[str, Reach],
    origin: str,
    focus: float | None = None,
    note: str = "",
) -> Zone:
    """Return the zone of one way and tissue: the farthest reach over all rule sets.

    Parameters
    ----------
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    tissue : str
        ``eye`` or ``skin``.
    reaches : dict of str to Reach
        The reach under each rule set.
    origin : str
        What the distance is measured from.
    focus : float, optional
        Distance of the focus from the last optic. [m]
    note : str
        Remark for the sheet.

    Returns
    -------
    Zone
        Without steps.
    """
    decided = max(reaches, key=lambda name: reaches[name].distance)
    reach = reaches[decided]
    from_focus = None if focus is None or reach.distance <= 0.0 else reach.distance - focus
    return Zone(
        way,
        tissue,
        reach.distance,
        origin,
        from_focus,
        reach.criterion,
        by_rule_set={name: r.distance for name, r in reaches.items()},
        note=note,
    )


__all__ = [
    "FARTHEST",
    "Reach",
    "direct_reach",
    "exposure_at",
    "farthest_crossing",
    "scatter_ratio",
    "scatter_reach",
    "worst_place",
    "zone",
]
