"""Extended sources against the limits: over the distance, at the most hazardous viewing distance, and in parts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.crossing import farthest_crossing
from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import ALPHA_MIN, Comparison, compare_source
from lasersafe.limits import angle_max, cone_angle
from lasersafe.optics.extended import (
    ExtendedSource,
    cone_share,
    exposure_per_amount,
    limited_angle,
    most_restrictive_part,
    parts,
)
from lasersafe.wording.message import Message

FLOAT = NDArray[np.float64]
CLOSEST_VIEW = 0.1  # m; nearest distance at which an eye is taken to focus (common practice, no source)
_FARTHEST_VIEW = 1e4  # m
_MOST = 100_000  # points in one call, for memory


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
    unit = "W/m2" if emission.kind == "continuous" else "J/m2"
    single = source.count == (1, 1)

    cone = float(cone_angle(rule_set, duration))
    rows = compare_source(rule_set, tissue, emission, wavelength, duration, np.zeros(1), np.zeros(1))
    found = []
    for number, row in enumerate(rows):

        def limit_of(first: FLOAT, second: FLOAT, number: int = number, row: Comparison = row) -> FLOAT:
            one, two = _seen(source, tissue, distance, first, second)
            limit = compare_source(rule_set, tissue, emission, wavelength, duration, one, two)[number].limit
            if _photochemical(row.hazard):
                limit = limit / cone_share(first, second, cone, source.peak_over_mean if single else None)
            return limit

        part = most_restrictive_part(source, distance, limit_of)
        aperture = float(row.aperture[0])
        exposure = float(exposure_per_amount(source, distance, aperture)) * emission.amount
        angles = _seen(source, tissue, distance, np.array([part.angles[0]]), np.array([part.angles[1]]))
        time = duration if emission.kind == "continuous" else emission.pulse_duration
        angle = float(limited_angle(angles[0][0], angles[1][0], ALPHA_MIN, float(angle_max(rule_set, time))))
        whole = part.columns == (0, source.count[0] - 1) and part.rows == (0, source.count[1] - 1)
        (left, right), (first, last) = part.columns, part.rows
        words = Message("extended.whole" if whole else "extended.part",
                        left=left + 1, right=right + 1, first=first + 1, last=last + 1)  # fmt: skip
        found.append(
            SourceFinding(
                exposure * part.value, exposure * part.share, part.share / part.value, unit, row.hazard, row.rule,
                str(row.source), rule_set, distance, angle, part.share, words, aperture,
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
    single = source.count == (1, 1)
    index, share, _, _ = parts(source, 1.0)
    way = distance[:, np.newaxis]
    wide = source.size[0] + (index[:, 1] - index[:, 0]) * source.pitch[0]
    tall = source.size[1] + (index[:, 3] - index[:, 2]) * source.pitch[1]
    first, second = (2.0 * np.arctan2(length, 2.0 * way) for length in (wide, tall))
    own = _seen(source, tissue, way, first, second)
    cone = float(cone_angle(rule_set, duration))
    worst = np.zeros(distance.shape)
    for row in compare_source(rule_set, tissue, emission, wavelength, duration, *own):
        limit = row.limit
        if _photochemical(row.hazard):
            limit = limit / cone_share(first, second, cone, source.peak_over_mean if single else None)
        value = (share / limit).max(axis=1)
        hole = np.broadcast_to(row.aperture, limit.shape)[:, 0]
        worst = np.maximum(worst, exposure_per_amount(source, distance, hole) * emission.amount * value)
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


def extended_distance(ratio: Callable[[FLOAT], FLOAT], nearest: float = CLOSEST_VIEW) -> float:
    """Return how far from an extended source the limit is exceeded, searched from *nearest* on [m].

    Parameters
    ----------
    ratio : callable
        Takes distances [m], returns ratios; at most 1 from some distance on.
    nearest : float
        Nearest viewing distance. [m]

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
    return farthest_crossing(ratio, nearest, far, points=160)
