"""Extended sources against the limits: over the distance, at the most hazardous viewing distance, and in parts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.crossing import bisect, narrow
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, source_caps, train_limit
from lasersafe.hazard.lasting import plain_limits
from lasersafe.limits import angle_max, cone_angle
from lasersafe.optics.extended import (
    ExtendedSource,
    cone_share,
    exposure_per_amount,
    limited_angle,
    most_restrictive_part,
    parts,
)

FLOAT = NDArray[np.float64]
CLOSEST_VIEW = 0.1  # m; nearest distance at which an eye is taken to focus (common practice, no source)
_FARTHEST_VIEW = 1e4  # m
_MOST = 100_000  # points in one call, for memory
_AT_ONCE = 2_048  # angles whose limits cost little more than that of one


@dataclass(frozen=True)
class SourceRow:
    """One comparison of an extended source; arrays over the angles that were asked for."""

    hazard: str
    rule: str
    limit: FLOAT  # W/m2 or J/m2
    aperture: FLOAT  # m
    source: str


@dataclass(frozen=True)
class SourceFinding:
    """What decides for an extended source at one distance."""

    ratio: float
    exposure: float
    limit: float
    unit: str
    hazard: str
    rule: str
    source: str
    rule_set: str
    distance: float
    angle: float  # of the part that decides, the mean of its axes, each limited first [rad]
    share: float  # of the power in the part that decides [1]
    part: str  # which part, in words
    aperture: float


def limits_of_source(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    first: ArrayLike,
    second: ArrayLike,
) -> list[SourceRow]:
    """Return every comparison for sources that subtend two angles [1]_.

    Each angle is limited to alpha_min and alpha_max(t) before the mean is taken. The train factor depends on the angle
    as it is, so the limit of the unlimited mean is worked out as well and the lower of both is taken.

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
    first, second : array_like, shape (...)
        Angles of both axes. [rad]

    Returns
    -------
    list of SourceRow
        Limits of shape (...).

    References
    ----------
    .. [1] ICNIRP2013 and EU2006-25: alpha_min, alpha_max, C_E; oblong sources.
    """
    time = duration if emission.kind == "continuous" else emission.pulse_duration
    one, two = np.broadcast_arrays(np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64))
    caps = source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
    angles = np.stack([limited_angle(one, two, ALPHA_MIN, cap) for cap in caps])
    if emission.kind == "pulse train":
        train = train_limit(rule_set, tissue, emission, wavelength, duration, angles)
        found = [(r.hazard, r.rule, r.per_pulse, r.limiting_aperture, r.source) for r in train.rows]
    else:
        pulsed = emission.kind == "single pulse"
        rule = "single pulse" if pulsed else "continuous"
        rows = plain_limits(rule_set, tissue, pulsed, wavelength, time, angles)
        found = [(row.hazard, rule, row.limit, row.aperture, row.source) for row in rows]
    result = []
    for hazard, rule, limit, aperture, source in found:
        if not np.isfinite(limit).any():
            continue
        names = np.atleast_1d(np.asarray(source, dtype=object)).reshape(-1)
        text = next((str(n) for n in names if str(n)), "")
        hole = np.nanmin(np.broadcast_to(np.asarray(aperture, dtype=np.float64), angles.shape), axis=0)
        result.append(SourceRow(hazard, rule, np.asarray(limit).min(axis=0), hole, text))
    return result


def _photochemical(hazard: str) -> bool:
    return hazard == "retina photochemical"


def source_findings(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    source: ExtendedSource,
    distance: float,
) -> list[SourceFinding]:
    """Return every comparison at one distance; of an array, each with its most restrictive part.

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
    source : ExtendedSource
        The source; its power is that of the emission times its transmittance.
    distance : float
        From the source. [m]

    Returns
    -------
    list of SourceFinding
        Highest ratio first.
    """
    amount = emission.power if emission.kind == "continuous" else emission.pulse_energy
    unit = "W/m2" if emission.kind == "continuous" else "J/m2"
    single = source.count == (1, 1)

    cone = float(cone_angle(rule_set, duration))
    rows = limits_of_source(rule_set, tissue, emission, wavelength, duration, np.zeros(1), np.zeros(1))
    known: dict[tuple[bytes, bytes], list[SourceRow]] = {}  # all rows ask for the limits at the same angles
    found = []
    for number, row in enumerate(rows):

        def limit_of(first: FLOAT, second: FLOAT, number: int = number, row: SourceRow = row) -> FLOAT:
            one, two = _seen(source, tissue, distance, first, second)
            key = one.tobytes(), two.tobytes()
            if key not in known:
                known[key] = limits_of_source(rule_set, tissue, emission, wavelength, duration, one, two)
            limit = known[key][number].limit
            if _photochemical(row.hazard):
                limit = limit / cone_share(first, second, cone, source.peak_over_mean if single else None)
            return limit

        part = most_restrictive_part(source, distance, limit_of)
        aperture = float(row.aperture[0])
        exposure = float(exposure_per_amount(source, distance, aperture)) * amount
        angles = _seen(source, tissue, distance, np.array([part.angles[0]]), np.array([part.angles[1]]))
        time = duration if emission.kind == "continuous" else emission.pulse_duration
        angle = float(limited_angle(angles[0][0], angles[1][0], ALPHA_MIN, float(angle_max(rule_set, time))))
        whole = part.columns == (0, source.count[0] - 1) and part.rows == (0, source.count[1] - 1)
        words = (
            "the whole source"
            if whole
            else (
                f"columns {part.columns[0] + 1} to {part.columns[1] + 1}, rows {part.rows[0] + 1} to {part.rows[1] + 1}"
            )
        )
        found.append(
            SourceFinding(
                exposure * part.value, exposure * part.share, part.share / part.value, unit, row.hazard, row.rule,
                row.source, rule_set, distance, angle, part.share, words, aperture,
            )
        )  # fmt: skip
    return sorted(found, key=lambda f: -f.ratio)


def source_ratio(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    source: ExtendedSource,
) -> Callable[[FLOAT], FLOAT]:
    """Return the function from distances [m] to the highest ratio of exposure to limit.

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
    source : ExtendedSource
        The source.

    Returns
    -------
    callable
        Takes and returns arrays of any shape.
    """

    def ratio(distance: FLOAT) -> FLOAT:
        flat = np.asarray(distance, dtype=np.float64).reshape(-1)
        size = max(1, _MOST // parts(source, 1.0)[1].size)
        found = [
            _ratios(rule_set, tissue, emission, wavelength, duration, source, flat[start : start + size])
            for start in range(0, flat.size, size)
        ]
        return np.concatenate(found).reshape(np.shape(distance))

    return ratio


def _ratios(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    source: ExtendedSource,
    distance: FLOAT,
) -> FLOAT:
    """Do as `source_findings` at many distances at once."""
    amount = emission.power if emission.kind == "continuous" else emission.pulse_energy
    single = source.count == (1, 1)
    index, share, _, _ = parts(source, 1.0)
    way = distance[:, np.newaxis]
    wide = source.size[0] + (index[:, 1] - index[:, 0]) * source.pitch[0]
    tall = source.size[1] + (index[:, 3] - index[:, 2]) * source.pitch[1]
    first, second = (2.0 * np.arctan2(length, 2.0 * way) for length in (wide, tall))
    own = _seen(source, tissue, way, first, second)
    cone = float(cone_angle(rule_set, duration))
    worst = np.zeros(distance.shape)
    for row in limits_of_source(rule_set, tissue, emission, wavelength, duration, *own):
        limit = row.limit
        if _photochemical(row.hazard):
            limit = limit / cone_share(first, second, cone, source.peak_over_mean if single else None)
        value = (share / limit).max(axis=1)
        hole = np.where(np.isfinite(row.aperture[:, 0]), row.aperture[:, 0], 1.0)
        worst = np.maximum(worst, exposure_per_amount(source, distance, hole) * amount * value)
    return worst


def _seen(source: ExtendedSource, tissue: str, distance: ArrayLike, first: FLOAT, second: FLOAT) -> tuple[FLOAT, FLOAT]:
    """Return the angles that are credited: none for the skin, less where an emitter has a bright spot."""
    if tissue == "skin":
        return np.zeros_like(first), np.zeros_like(second)
    lost = 1.0 - 1.0 / math.sqrt(source.peak_over_mean or 1.0)
    own = [2.0 * np.arctan2(size, 2.0 * np.asarray(distance)) * lost for size in source.size]
    return np.maximum(first - own[0], 0.0), np.maximum(second - own[1], 0.0)


def most_hazardous_distance(
    ratio: Callable[[FLOAT], FLOAT], nearest: float = CLOSEST_VIEW, farthest: float = _FARTHEST_VIEW, points: int = 120
) -> tuple[float, float]:
    """Return the distance at or beyond *nearest* with the highest ratio, and that ratio.

    The nearest place is not always the worst: a narrow cone fills the pupil far away as well, where the source is
    small. Places on a logarithmic grid are compared and the best one is narrowed down.

    Parameters
    ----------
    ratio : callable
        Takes distances [m], returns ratios.
    nearest, farthest : float
        Ends of the search. [m]
    points : int
        Places on the grid.

    Returns
    -------
    tuple of float
        Distance, the farthest of equal ones within 1e-9 [m], and ratio [1].

    Raises
    ------
    OutOfRangeError
        If the ends are not in order.
    """
    if not 0.0 < nearest < farthest:
        message = f"search from {nearest:g} m to {farthest:g} m: the ends must be above 0 and in order"
        raise OutOfRangeError(message)
    grid = np.geomspace(nearest, farthest, points)
    grid[0] = nearest
    best, value = nearest, -math.inf
    for _ in range(9):
        values = ratio(grid)
        at = int(np.flatnonzero(values >= values.max() * (1.0 - 1e-9))[-1])
        if not float(values[at]) <= value:
            best, value = float(grid[at]), float(values[at])
        low, high = grid[max(at - 1, 0)], grid[min(at + 1, grid.size - 1)]
        if not low < high:
            break
        grid = np.linspace(low, high, 13)
    return best, value


def extended_distance(ratio: Callable[[FLOAT], FLOAT], nearest: float = CLOSEST_VIEW, sections: int = 1) -> float:
    """Return how far from an extended source the limit is exceeded, searched from *nearest* on [m].

    Parameters
    ----------
    ratio : callable
        Takes distances [m], returns ratios; at most 1 from some distance on.
    nearest : float
        Nearest viewing distance. [m]
    sections : int
        Places that are worked out at once when the distance is narrowed down, plus one.

    Returns
    -------
    float
        0 where it is exceeded nowhere beyond *nearest*. [m]
    """
    far = 10.0 * nearest
    while float(ratio(np.array([far]))[0]) > 1.0:
        far *= 4.0
    far *= 16.0
    while float(ratio(np.array([far]))[0]) > 1.0:
        far *= 4.0
    grid = np.geomspace(nearest, far, 160)
    grid[0], grid[-1] = nearest, far
    over = np.flatnonzero(ratio(grid) > 1.0)
    if over.size == 0:
        return 0.0
    last = int(over[-1])
    ends = grid[last : last + 1], grid[last + 1 : last + 2]
    return float((bisect(ratio, *ends) if sections < 2 else narrow(ratio, *ends, sections))[0])


def sections_for(source: ExtendedSource, emission: Emission) -> int:
    """Return into how many parts a bracket is divided best: many where few parts of an array and no list are judged.

    Parameters
    ----------
    source : ExtendedSource
        The source.
    emission : Emission
        What feeds it.

    Returns
    -------
    int
        1 or more.
    """
    if emission.pulses:
        return 1
    return int(np.clip(_AT_ONCE // parts(source, 1.0)[1].size, 1, 32))
