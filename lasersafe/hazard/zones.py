"""Where beams exceed the limits: at a place, at its worst place, and the farthest place of all comparisons."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.aided import Aid, through
from lasersafe.hazard.distances import direct_distance, narrowest
from lasersafe.hazard.emission import Emission, Floats
from lasersafe.hazard.exposure import ALPHA_MIN, Comparison, compare, criteria, strictest_by_aperture
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.geometry import BeamGeometry, diameters
from lasersafe.records.step import Criterion, Zone

FARTHEST = 1e9  # m
LIMITING_APERTURES = (1e-3, 3.5e-3, 7e-3, 11e-3)  # m, where the comparison is not asked
_SLACK = 1.0 + 1e-9
_SAME = 1.0 - 1e-12


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
    return float(mean_exposure(amount, *diameters(beam, distance), aperture, beam.profile))


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
    holes = np.array([0.0, *apertures])
    found = worst_places(beam, np.full(holes.shape, distance), holes)
    return tuple(dict.fromkeys([distance, *(float(place) for one in found for place in one)]))


def worst_places(beams: BeamGeometry, distance: Floats, aperture: Floats) -> list[Floats]:
    """Return places at or beyond distances, at one of which most comes through, as `zones.worst_place` does.

    Parameters
    ----------
    beams : BeamGeometry
        The beams.
    distance : numpy.ndarray, shape (...)
        From the last optic. [m]
    aperture : numpy.ndarray, shape (...)
        What is averaged over. [m]

    Returns
    -------
    list of numpy.ndarray
        Places. [m]
    """
    if beams.circular:
        return [np.maximum(distance, beams.waist_position[0])]
    low, high = np.minimum(*beams.waist_position), np.maximum(*beams.waist_position)
    start, end = np.maximum(low, distance), np.maximum(high, distance)
    return [np.asarray(distance), start, end, narrowest(aperture, beams, start, end)]


def beam_reach(one: Comparison, beam: BeamGeometry, factor: ArrayLike = 1.0) -> Floats:
    """Return how far beams exceed one limit.

    Parameters
    ----------
    one : Comparison
        What is compared.
    beam : BeamGeometry, shape (...)
        The beams.
    factor : array_like, shape (...)
        Reflectance on the way. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        0 where no place exceeds the limit, or it does not apply. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.
    """
    amount, limit = _scaled(one.amount, factor), one.limit
    applies = np.isfinite(limit) & (amount > 0.0)  # a reflectance of 0
    if applies.all():
        return direct_distance(amount, limit, one.aperture, beam)
    amount, limit = np.where(applies, amount, 1.0), np.where(applies, limit, 1.0)
    return np.where(applies, direct_distance(amount, limit, one.aperture, beam), 0.0)


def _scaled(amount: ArrayLike, factor: ArrayLike) -> Floats:
    return np.asarray(amount if np.ndim(factor) == 0 and factor == 1.0 else amount * np.asarray(factor))


def farthest(compared: Iterable[Comparison], beams: BeamGeometry, factor: ArrayLike = 1.0) -> Floats:
    """Return how far beams exceed any of their limits: the farthest place, 0 where no place does.

    Parameters
    ----------
    compared : iterable of Comparison
        At least one.
    beams : BeamGeometry
        The beams.
    factor : array_like, shape (...)
        Reflectance on the way. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the last optic. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.
    """
    every = strictest_by_aperture(compared)
    if beams.circular or len(every) == 1:
        return reduce(np.maximum, (beam_reach(one, beams, factor) for one in every))
    # A circular beam as wide as the shorter axis reaches farther: where it adds nothing, nothing is searched.
    alone = [
        BeamGeometry(
            (np.asarray(beams.waist_diameter[i]),) * 2, (np.asarray(beams.divergence[i]),) * 2,
            (np.asarray(beams.waist_position[i]),) * 2, beams.profile, beams.propagation,
        )
        for i in (0, 1)
    ]  # fmt: skip
    bounds = [np.maximum(*(beam_reach(one, round_, factor) for round_ in alone)) for one in every]
    distance: Floats | None = None
    for number in sorted(range(len(every)), key=lambda n: -float(np.max(bounds[n]))):
        if distance is None or not (bounds[number] * _SLACK <= distance).all():
            own = beam_reach(every[number], beams, factor)
            distance = own if distance is None else np.maximum(distance, own)
    assert distance is not None
    return np.asarray(
        np.broadcast_to(distance, np.broadcast_shapes(*(bound.shape for bound in bounds), distance.shape))
    )


def highest_ratio(
    compared: Iterable[Comparison], beams: BeamGeometry, distance: ArrayLike, factor: ArrayLike = 1.0
) -> Floats:
    """Return exposure over limit, the worst comparison at the worst place at or beyond a distance.

    Parameters
    ----------
    compared : iterable of Comparison
        At least one.
    beams : BeamGeometry
        The beams.
    distance : array_like, shape (...)
        From the last optic. [m]
    factor : array_like, shape (...)
        Reflectance on the way. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit. [1]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.
    """
    place = np.asarray(distance, dtype=np.float64)
    return reduce(np.maximum, (
        np.asarray(mean_exposure(
            _scaled(one.amount, factor), *diameters(beams, worst), one.aperture, beams.profile
        ) / one.limit)
        for one in strictest_by_aperture(compared)
        for worst in worst_places(beams, place, one.aperture)
    ))  # fmt: skip


@dataclass(frozen=True)
class ReachArrays:
    """The farthest distances, and which comparison decided each.

    Attributes
    ----------
    distance : numpy.ndarray, shape (...)
        0 where no place exceeds a limit. [m]
    limit : numpy.ndarray, shape (...)
        The limit that decided. [W/m2 or J/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Its limiting aperture. [m]
    decided : numpy.ndarray of int, shape (...)
        Index into ``labels``.
    labels : tuple of (rule set, hazard, rule)
        What the indices mean.
    by_rule_set : dict of str to numpy.ndarray, shape (...)
        The distance under each rule set alone. [m]
    """

    distance: Floats
    limit: Floats
    limiting_aperture: Floats
    decided: NDArray[np.intp]
    labels: tuple[tuple[str, str, str], ...]
    by_rule_set: dict[str, Floats]


def reaches(compared: Sequence[Comparison], distance_of: Callable[[Comparison], Floats]) -> ReachArrays:
    """Return the farthest distances of all comparisons, and which decided each; of equals the first.

    Parameters
    ----------
    compared : sequence of Comparison
        What is compared, of one or of several rule sets.
    distance_of : callable
        How far one limit, which is finite, is exceeded, of shape (...).

    Returns
    -------
    ReachArrays
        With the distance under each rule set.
    """
    known: dict[tuple[float, ...], Floats] = {}  # rule sets often agree: the same limit is worked out once
    distances: list[Floats] = []
    for number, one in enumerate(compared):
        single = one.limit.ndim == one.aperture.ndim == 0
        key = (float(one.limit), float(one.aperture), id(one.amount)) if single else (float(number),)
        if key not in known:
            applies = np.isfinite(one.limit)
            own = one if applies.all() else replace(one, limit=np.where(applies, one.limit, 1.0))
            known[key] = distance_of(own) if own is one else np.where(applies, distance_of(own), -1.0)
        distances.append(known[key])
    shape = np.broadcast_shapes(*(one.shape for one in distances))
    best, limit, aperture = np.full(shape, -2.0), np.full(shape, np.nan), np.full(shape, np.nan)
    decided, by_rule_set = np.zeros(shape, dtype=np.intp), dict[str, Floats]()
    for number, (one, distance) in enumerate(zip(compared, distances, strict=True)):
        mine = np.broadcast_to(distance, shape)
        name = one.rule_set
        by_rule_set[name] = np.maximum(by_rule_set[name], mine) if name in by_rule_set else mine
        farther = distance > best
        if farther.any():
            for values, new in ((best, distance), (limit, one.limit), (aperture, one.aperture), (decided, number)):
                np.copyto(values, new, where=farther)
    labels = tuple((one.rule_set, one.hazard, one.rule) for one in compared)
    return ReachArrays(best, limit, aperture, decided, labels, by_rule_set)


@lru_cache(maxsize=256)
def direct_reach(
    rule_set: str,
    tissue: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    reflectance: float = 1.0,
    aid: Aid | None = None,
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
    aid : Aid, optional
        The instrument that the eye looks through: the farther of both eyes counts.

    Returns
    -------
    Reach
        Distance along the path from the last optic, 0 where no place exceeds the limit.
    """
    lit = emission.scaled(reflectance)
    compared = list(compare(rule_set, tissue, lit, wavelength, duration))
    seen = compared if aid is None else [*compared, *through(compared, aid, wavelength)]
    found = reaches(seen, lambda one: beam_reach(one, beam))
    rows = criteria(rule_set, tissue, lit, wavelength, duration, ALPHA_MIN)
    return Reach(float(found.distance), rows[int(found.decided) % len(rows)])


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
    farthest_of_all = max(reach.distance for reach in reaches.values())
    reach = next(one for one in reaches.values() if not one.distance < farthest_of_all * _SAME)  # of equals the first
    from_focus = None if focus is None or reach.distance <= 0.0 else reach.distance - focus
    return Zone(
        way,
        tissue,
        farthest_of_all,
        origin,
        from_focus,
        reach.criterion,
        by_rule_set={name: r.distance for name, r in reaches.items()},
        note=note,
    )
