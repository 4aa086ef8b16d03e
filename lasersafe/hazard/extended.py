"""Extended sources against the limits: over the distance, at the most hazardous viewing distance, and in parts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.crossing import farthest_crossing
from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import ALPHA_MIN, Comparison, compare_source
from lasersafe.limits import angle_max, cone_angle, correction_factor, hazard_limits
from lasersafe.optics.extended import (
    ExtendedSource,
    cone_share,
    exposure_per_amount,
    limited_angle,
    parts,
)
from lasersafe.reference import load_toml, shared_path
from lasersafe.wording.message import Message

FLOAT = NDArray[np.float64]
CLOSEST_VIEW = 0.1  # m; nearest distance at which an eye is taken to focus (common practice, no source)
_FARTHEST_VIEW = 1e4  # m
_MOST = 100_000  # points in one call, for memory


@dataclass(frozen=True)
class SourceFinding:
    """What decides for an extended source at one distance."""

    ratio: float
    limit: float
    unit: str
    hazard: str
    rule: str
    source: str
    distance: float
    aperture: float
    angle: float  # of the part that decides, the mean of its axes, each limited first [rad]
    share: float  # of the power in the part that decides [1]
    part: str  # which part, in words


def _compared(
    rule_set: str, tissue: str, emission: Emission, wavelength: float, duration: float, source: ExtendedSource,
    distance: FLOAT,
) -> Iterator[tuple[Comparison, FLOAT, FLOAT]]:  # fmt: skip
    """Yield every comparison at distances [m] of shape (n,), its exposure there and limits for each part (n, parts)."""
    _, _, first, second = parts(source, distance[:, np.newaxis])
    cone = float(cone_angle(rule_set, duration))
    own = _seen(source, tissue, distance[:, np.newaxis], first, second)
    for row in compare_source(rule_set, tissue, emission, wavelength, duration, *own):
        limit = row.limit
        if row.hazard == "retina photochemical":
            limit = limit / cone_share(first, second, cone, source.peak_over_mean if source.count == (1, 1) else None)
        exposure = exposure_per_amount(source, distance, np.broadcast_to(row.aperture, limit.shape)[:, 0])
        yield row, exposure * emission.amount, limit


def source_findings(
    rule_set: str,
    tissue: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    source: ExtendedSource,
    distance: float,
) -> list[SourceFinding]:
    """Return every comparison at one distance; of an array, each with its most restrictive part [1]_.

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
        Highest ratio first; of equal parts the largest.

    References
    ----------
    .. [1] ICNIRP2013, sources with hot spots: every part is judged by itself.
    """
    index, share, first, second = parts(source, distance)
    area = (index[:, 1] - index[:, 0] + 1) * (index[:, 3] - index[:, 2] + 1)
    time, unit = (duration, "W/m2") if emission.kind == "continuous" else (emission.pulse_duration, "J/m2")
    plain = compare_source(rule_set, tissue, emission, wavelength, duration, np.zeros(1), np.zeros(1))
    every = _compared(rule_set, tissue, emission, wavelength, duration, source, np.array([distance]))
    found = []
    for row, (_, exposure, limit) in zip(plain, every, strict=True):
        value = share / limit[0]
        best = value >= value.max() * (1.0 - 1e-12)
        at = int(np.argmax(np.where(best, area, 0)))
        a, b, c, d = index[at].tolist()
        seen = _seen(source, tissue, distance, first[[at]], second[[at]])
        angle = float(limited_angle(*seen, ALPHA_MIN, float(angle_max(rule_set, time)))[0])
        whole = area[at] == source.count[0] * source.count[1]
        words = Message("extended.whole" if whole else "extended.part",
                        left=a + 1, right=b + 1, first=c + 1, last=d + 1)  # fmt: skip
        found.append(
            SourceFinding(
                float(exposure[0] * value[at]), float(limit[0, at]), unit, row.hazard, row.rule, row.source, distance,
                float(row.aperture[0]), angle, float(share[at]), words,
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
        flat, worst = np.asarray(distance, dtype=np.float64).reshape(-1), np.zeros(np.size(distance))
        share = parts(source, 1.0)[1]
        size = max(1, _MOST // share.size)
        for start in range(0, flat.size, size):
            at = slice(start, start + size)
            for _, exposure, limit in _compared(rule_set, tissue, emission, wavelength, duration, source, flat[at]):
                worst[at] = np.maximum(worst[at], exposure * (share / limit).max(axis=1))
        return worst.reshape(np.shape(distance))

    return ratio


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


def radiance_limit(rule_set: str, wavelength: float, duration: float) -> tuple[float, str, str]:
    """Return the photochemical limit of the retina as a radiance [1]_.

    Parameters
    ----------
    rule_set : str
        Name of the rule set. Printed for the directive; of another set the limit is divided by the solid angle of its
        cone.
    wavelength : float
        400 nm to 600 nm. [m]
    duration : float
        10 s to 3e4 s. [s]

    Returns
    -------
    float
        Mean radiance over the exposure. [W/m2/sr]
    str
        Where it stands.
    str
        How it was obtained.

    Raises
    ------
    OutOfRangeError
        If the limit does not apply there.

    References
    ----------
    .. [1] EU2006-25, Table 2.3 (``shared/radiance/eu200625_photochemical.toml``).
    """
    if not (400e-9 <= wavelength <= 600e-9 and 10.0 <= duration <= 3e4):
        message = (
            f"radiance limit at {wavelength * 1e9:.6g} nm for {duration:g} s: it covers 400 nm to 600 nm and 10 s to "
            "30000 s"
        )
        raise OutOfRangeError(message)
    blue = float(correction_factor(rule_set, "C_B", wavelength))
    if rule_set != "EU-2006/25/EC":
        row = next(h for h in hazard_limits(rule_set, "eye", wavelength, duration) if h.name == "retina photochemical")
        solid = math.pi / 4.0 * float(cone_angle(rule_set, duration)) ** 2
        return float(row.irradiance) / solid, f"{row.source}; over the solid angle of the cone", "own"
    content = load_toml(shared_path("radiance", "eu200625_photochemical.toml"))
    printed = next(r for r in reversed(content["table"]["row"]) if float(r["duration"][0]) < duration or "dose" in r)
    level = float(printed["dose"]) / duration if "dose" in printed else float(printed["level"])
    source = content["source"]
    return level * blue, f"{source['key']}, {source['locator']}", source["seen"]


def mean_radiance(source: ExtendedSource, power: float) -> float:
    """Return the radiance of the brightest spot of a source, with its own peak over mean (1 when unknown) [W/m2/sr].

    Parameters
    ----------
    source : ExtendedSource
        The source; emitters are taken as ellipses.
    power : float
        Power before its transmittance. [W]

    Returns
    -------
    float
        On the normal; infinity for a point. [W/m2/sr]
    """
    area = math.pi / 4.0 * source.size[0] * source.size[1]
    if not area > 0.0:
        return math.inf
    share = float(source.shares.max()) * source.transmittance * power * (source.peak_over_mean or 1.0)
    if source.spread == "cone":
        return share / area * 4.0 / (math.pi * source.divergence[0] * source.divergence[1])
    return share / area / (math.pi if source.spread == "lambert" else 2.0 * math.pi)
