"""Lit spots and extended sources against the limits: how far they exceed them, and where they are worst."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, reduce

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.data import load_toml, shared_path
from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.hazard import exposure as comparisons
from lasersafe.hazard.distances import Places, Reach, farthest_crossing, last_crossing, last_fall, scatter_distance
from lasersafe.hazard.exposure import ALPHA_MIN, Comparison, Floats, Received, compare_source, credited_angles, criteria
from lasersafe.limits import angle_max, cone_angle, correction_factor, hazard_limits
from lasersafe.limits.exposure import time_t2
from lasersafe.optics.reflection import POINT, LitSpot, source_angles
from lasersafe.optics.viewing import ExtendedSource, limited_angle, parts
from lasersafe.records import badness
from lasersafe.wording import Message

CLOSEST_VIEW = 0.1  # m; common practice, no source: nobody looks at a lit spot from nearer, no barrier is nearer to one
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


@dataclass(frozen=True)
class Viewed:
    """An extended source, the setting of the laser that feeds it, and who is exposed to its light.

    Parameters
    ----------
    light : Received
        The setting, and who is exposed to it.
    source : ExtendedSource
        The source; its power is that of the emission times its transmittance.
    """

    light: Received
    source: ExtendedSource

    def _compared(self, distance: Floats) -> Iterator[tuple[Comparison, Floats, Floats]]:
        """Yield each comparison at distances [m] of shape (n,), its exposure there and limits for each part."""
        light, source = self.light, self.source
        _, _, first, second = parts(source, distance[:, np.newaxis])
        cone = float(cone_angle(light.rule_set, light.duration))
        for row in compare_source(light, *self.angles(distance[:, np.newaxis])):
            limit = np.broadcast_to(row.limit, first.shape)  # one number where no angle changes it
            if row.hazard == "retina photochemical" and source.peak_over_mean is not None and source.count == (1, 1):
                with np.errstate(divide="ignore"):  # the largest share of the source that lies in the cone
                    part = np.minimum(cone / first, 1.0) * np.minimum(cone / second, 1.0)
                limit = limit / np.minimum(part * source.peak_over_mean, 1.0)
            exposure = source.exposure_per_amount(distance, np.broadcast_to(row.aperture, limit.shape)[:, 0])
            yield row, exposure * light.emission.amount, limit

    def angles(self, distance: ArrayLike) -> tuple[Floats, Floats]:
        """Return the angles that are credited: none for the skin, less where an emitter has a bright spot."""
        _, _, first, second = parts(self.source, distance)
        if self.light.tissue == "skin":
            return np.zeros_like(first), np.zeros_like(second)
        lost = 1.0 - 1.0 / math.sqrt(self.source.peak_over_mean or 1.0)
        own = [2.0 * np.arctan2(size, 2.0 * np.asarray(distance)) * lost for size in self.source.size]
        return np.maximum(first - own[0], 0.0), np.maximum(second - own[1], 0.0)

    def findings(self, distance: float) -> list[SourceFinding]:
        """Return every comparison at one distance; of an array, each with its most restrictive part [1]_.

        Parameters
        ----------
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
        light, source = self.light, self.source
        index, share, _, _ = parts(source, distance)
        area = (index[:, 1] - index[:, 0] + 1) * (index[:, 3] - index[:, 2] + 1)
        steady = light.emission.kind == "continuous"
        time, unit = (light.duration, "W/m2") if steady else (light.emission.pulse_duration, "J/m2")
        plain = compare_source(light, np.zeros(1), np.zeros(1))
        found = []
        for row, (_, exposure, limit) in zip(plain, self._compared(np.array([distance])), strict=True):
            value = share / limit[0]
            best = value >= value.max() * (1.0 - 1e-12)
            at = int(np.argmax(np.where(best, area, 0)))
            a, b, c, d = index[at].tolist()
            angle = float(limited_angle(*self.angles(distance), ALPHA_MIN, float(angle_max(light.rule_set, time)))[at])
            whole = area[at] == source.count[0] * source.count[1]
            words = Message("extended.whole" if whole else "extended.part",
                            left=a + 1, right=b + 1, first=c + 1, last=d + 1)  # fmt: skip
            found.append(
                SourceFinding(
                    float(exposure[0] * value[at]), float(limit[0, at]), unit, row.hazard, row.rule, row.source,
                    distance, float(row.aperture[0]), angle, float(share[at]), words,
                )
            )  # fmt: skip
        return sorted(found, key=lambda f: -f.ratio)

    def ratio(self, distance: Floats) -> Floats:
        """Return the highest ratio of exposure to limit at distances [m] of any shape."""
        flat, worst = np.asarray(distance, dtype=np.float64).reshape(-1), np.zeros(np.size(distance))
        share = parts(self.source, 1.0)[1]
        size = max(1, _MOST // share.size)
        for start in range(0, flat.size, size):
            at = slice(start, start + size)
            for _, exposure, limit in self._compared(flat[at]):
                worst[at] = np.maximum(worst[at], exposure * (share / limit).max(axis=1))
        return worst.reshape(np.shape(distance))


def most_hazardous_distance(
    ratio: Callable[[Floats], Floats], nearest: float = CLOSEST_VIEW, farthest: float = _FARTHEST_VIEW,
    points: int = 120, also: ArrayLike = (),
) -> tuple[float, float]:  # fmt: skip
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
    also : array_like, shape (m,)
        Places beside them at which the ratio can jump up. [m]

    Returns
    -------
    tuple of float
        Distance, the farthest of equal ones within 1e-9 [m], and ratio [1].
    """
    grid = np.clip(np.sort(np.append(np.geomspace(nearest, farthest, points), also)), nearest, farthest)
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


def extended_distance(ratio: Callable[[Floats], Floats], steps: Floats, nearest: float = CLOSEST_VIEW) -> float:
    """Return how far from an extended source the limit is exceeded, searched from *nearest* on [m].

    Parameters
    ----------
    ratio : callable
        Takes distances [m], returns ratios.
    steps : numpy.ndarray, shape (n,)
        `step_distances` of the source; just beyond them the ratio can jump up. [m]
    nearest : float
        Nearest viewing distance. [m]

    Returns
    -------
    float
        0 where it is exceeded nowhere beyond *nearest*. [m]
    """
    far = max(10.0 * nearest, float(steps.max()))  # where every part is a point: from there on the ratio only falls
    while float(ratio(np.array([far]))[0]) > 1.0:
        far *= 4.0
    return farthest_crossing(ratio, nearest, far, points=160, also=steps)


def step_distances(source: ExtendedSource, lights: Iterable[Received] = ()) -> Floats:
    """Return the distances just beyond which a part of a source passes a step of the tables, or T_2 of it the time.

    Parameters
    ----------
    source : ExtendedSource
        The source.
    lights : iterable of Received
        What feeds it, and for how long people look at it.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Distances; beyond the farthest every part counts as a point. [m]
    """
    credited = 1.0 / math.sqrt(source.peak_over_mean or 1.0)
    axes = zip(source.size, source.count, source.pitch, strict=True)
    lengths = np.concatenate([size * credited + np.arange(n) * pitch for size, n, pitch in axes])
    longest = np.full(parts(source, 1.0)[1].shape, lengths.max())
    turns = [place for light in lights for place in turning_places(light, Viewed(light, source).angles, longest)]
    return np.concatenate([*step_places(lengths), *turns]) * (1.0 + 1e-6)


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

    References
    ----------
    .. [1] EU2006-25, Table 2.3 (``shared/radiance/eu200625_photochemical.toml``).
    """
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


LimitOfAngles = Callable[[Floats, Floats, Places], Floats]  # angles of both axes, shape (n,), and which case each is of
_NODES = 48
_TABLE = 4096
_FEW = 64
_BLOCK = 4096
_BESIDE, _NEAR, _HALVINGS = 1e-9, 1e-6, 44
# distance over spot where its angle passes a step of the tables: 1.5 mrad, 5 mrad, 0.1 rad; the limit jumps at the last
_STEPS = np.array([0.5 / math.tan(angle / 2.0) for angle in (1.5e-3, 5e-3, 0.1)])
_BESIDE_STEPS = np.concatenate([_STEPS * (1.0 - _BESIDE), _STEPS * (1.0 + _BESIDE)])


def step_places(spot_diameter: ArrayLike) -> list[Floats]:
    """Return the distances from a lit spot just beyond which its angle passes a step of the tables.

    Parameters
    ----------
    spot_diameter : array_like, shape (...)
        1/e diameter of the lit spot. [m]

    Returns
    -------
    list of numpy.ndarray, shape (...)
        Distances, for each step. [m]
    """
    spot = np.asarray(spot_diameter, dtype=np.float64)
    return [spot * step for step in _STEPS * (1.0 + _BESIDE)]


def turning_places(light: Received, angles: Callable[..., tuple[Floats, Floats]], longest: ArrayLike) -> list[Floats]:
    """Return the distances just beyond which T_2 of sources is below the time of exposure; a limit can fall there.

    Parameters
    ----------
    light : Received
        What the sources send, and who is exposed to it.
    angles : callable
        Takes distances [m], returns the angles of both axes [rad], of many sources each at its own.
    longest : array_like, shape (...)
        Length that no axis exceeds; none where it is 0. [m]

    Returns
    -------
    list of numpy.ndarray, shape (...)
        One for each angle of `credited_angles`; none where every time is outside the range of T_2. [m]
    """
    time, name = np.asarray(light.duration, dtype=np.float64), light.rule_set
    shortest, most = time_t2(name, np.array([0.0, math.pi]))
    if light.tissue != "eye" or not np.any(longest) or not ((time > shortest) & (time < most)).any():
        return []
    size, found = np.where(np.asarray(longest) > 0.0, longest, 1.0), []
    for number in range(len(credited_angles(light, ALPHA_MIN, ALPHA_MIN))):
        near, far = size * _NEAR, size / ALPHA_MIN
        for _ in range(_HALVINGS):
            place = np.sqrt(near * far)
            later = time_t2(name, credited_angles(light, *angles(place))[number]) >= time
            near, far = np.where(later, place, near), np.where(later, far, place)
        found.append(far * (1.0 + _BESIDE))
    return found


def spot_limits(light: Received, part: Callable[[str], float] = lambda hazard: 1.0) -> LimitOfAngles:
    """Return the function from the angles of lit spots to the lowest of their limits.

    Parameters
    ----------
    light : Received
        What falls on the spot, and who is exposed to its scatter; of many, the cases.
    part : callable
        Takes a hazard, returns the part of its limit that may be used; 0 leaves the hazard out. [1]

    Returns
    -------
    callable
        As for `scatter_farthest`; infinite where no hazard is left.
    """
    light, _ = comparisons.without_amount(light, False)

    def lowest(first: Floats, second: Floats, at: Places) -> Floats:
        every = compare_source(light if light.single else light.taken(at), first, second)
        mine = [one.limit * share for one in every if (share := part(one.hazard)) > 0.0]
        return np.broadcast_to(reduce(np.minimum, mine, np.asarray(np.inf)), first.shape)

    return lowest


def scatter_farthest(
    amount: ArrayLike,
    limit_of_angles: LimitOfAngles,
    spot: LitSpot,
    shape: tuple[int, ...],
    alike: bool = False,
    turns: Sequence[Floats] = (),
) -> Floats:
    """Return how far from the lit surface the scatter exceeds the limit [1]_.

    A spot that is a point at the distance of a point source keeps that distance. Else the limit depends on the angle
    that the spot subtends: the ratio is read on a grid and beside the angles at which the tables step, and its last
    fall through 1 is narrowed down.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy. [W or J]
    limit_of_angles : callable
        Takes the angles of both axes [rad] and the number of the case of each, all of shape (n,), returns the lowest
        limits.
    spot : LitSpot
        What scatters.
    shape : tuple of int
        Shape of the cases; a limit has it in flat order.
    alike : bool
        Whether the limit at an angle, and the view, is the same for every case: the grid is then read once for all.
    turns : sequence of numpy.ndarray, shape (...)
        Places of `turning_places`. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the surface. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] ICNIRP2013, angular subtense of an oblong source.
    """
    spots, whole = spot.spread(shape), np.broadcast_to(np.asarray(amount, dtype=np.float64), shape).reshape(-1)
    every = np.arange(whole.size)
    first = every[:1] if alike else every
    point = limit_of_angles(*(np.full(first.size, ALPHA_MIN),) * 2, first)
    found = np.array(scatter_distance(whole, point, spots.reflectance, spots.view_angle, spots.model))
    extended = np.flatnonzero(spots.diameter > ALPHA_MIN * found)
    found[extended] = 0.0
    extended = extended[spots.taken(extended).exposure(whole[extended], 1.0) > 0.0]
    search, block = (_alike, extended.size) if alike and extended.size > _FEW else (_extended, _BLOCK)
    also = np.array([np.broadcast_to(one, shape).reshape(-1) for one in turns]).reshape(-1, whole.size)
    for start in range(0, extended.size, block):
        at = extended[start : start + block]
        found[at] = search(whole[at], limit_of_angles, spots.taken(at), at, also[:, at])
    return found.reshape(shape)


def _alike(whole: Floats, limit_of_angles: LimitOfAngles, spot: LitSpot, at: Places, also: Floats) -> Floats:
    """Do as `_extended`, where the limit depends on nothing but distance over spot.

    With rho that quotient and I the intensity, the limit is exceeded where rho^2 limit(rho) is below I / spot^2; the
    last such place of a table is the one from which on the least value of the table is no longer below.
    """
    strength = spot.exposure(whole, 1.0) / np.square(spot.diameter)

    def weighed(place: Floats) -> Floats:
        angles = source_angles(1.0, 1.0, place, spot.view_angle[0])
        return np.asarray(np.square(place) * limit_of_angles(*angles, np.broadcast_to(at[:1], place.shape)))

    far, near = 1.0 / ALPHA_MIN * (1.0 + 1e-9), 1e-3
    while not float(weighed(np.array([near]))[0]) < strength.min():
        near /= 16.0
    turns = also[:, 0] / spot.diameter[0] * (1.0 + _BESIDE)
    nodes = np.sort(np.concatenate([np.geomspace(near, far, _TABLE), _BESIDE_STEPS, turns]))
    nodes = nodes[(nodes >= near) & (nodes <= far)]
    table = weighed(nodes)
    if not table[-1] >= strength.max():
        refuse(
            "distance: the limit is still exceeded where the lit spot is a point; correct the spot or the limit",
            OutOfRangeError,
        )
    least = np.minimum.accumulate(table[::-1])[::-1]
    last = np.searchsorted(least, strength, side="left") - 1  # the last place where the least value is below

    def ratio(place: Floats, row: Places) -> Floats:
        return np.asarray(strength[row] / weighed(place))

    rows = np.arange(at.size)
    found = last_fall(ratio, nodes[last], nodes[last + 1], np.zeros(at.size), rows) * spot.diameter
    return np.asarray(found * (1.0 + 1e-15))


def _extended(whole: Floats, limit_of_angles: LimitOfAngles, spot: LitSpot, at: Places, also: Floats) -> Floats:
    def ratio(place: Floats, row: Places) -> Floats:
        own = spot.taken(row)
        return np.asarray(own.exposure(whole[row], place) / limit_of_angles(*own.angles(place), at[row]))

    ends = (np.full(at.size, angle) for angle in (0.0, math.pi))
    highest = reduce(np.maximum, (limit_of_angles(end, end, at) for end in ends))
    far = spot.diameter / ALPHA_MIN * (1.0 + 1e-9)
    near = scatter_distance(whole, highest, spot.reflectance, spot.view_angle, spot.model) / 4.0
    near = np.minimum(np.where(near > 0.0, near, far / 2.0), far / 2.0)
    grid = np.geomspace(near, far, _NODES)
    grid[0], grid[-1] = near, far
    beside = np.multiply.outer(_BESIDE_STEPS, spot.diameter)
    nodes = np.sort(np.clip(np.concatenate([grid, beside, also]), near, far), axis=0)
    return last_crossing(ratio, nodes, np.arange(at.size))


def scatter_ratios(
    amount: ArrayLike, limit_of_angles: LimitOfAngles, distance: ArrayLike, spot: LitSpot, shape: tuple[int, ...]
) -> Floats:
    """Return how many times the limit the scatter of a lit spot gives at distances from it.

    Parameters
    ----------
    amount : array_like, shape (...)
        Power or energy. [W or J]
    limit_of_angles : callable
        As for `scatter_farthest`.
    distance : array_like, shape (...)
        From the surface. [m]
    spot : LitSpot
        What scatters.
    shape : tuple of int
        Shape of the cases.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit. [1]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.
    """
    whole, place = (np.broadcast_to(np.asarray(a, dtype=np.float64), shape).reshape(-1) for a in (amount, distance))
    spots = spot.spread(shape)
    limit = limit_of_angles(*spots.angles(place), np.arange(whole.size))
    return np.asarray(spots.exposure(whole, place) / limit).reshape(shape)


@lru_cache(maxsize=256)
def scatter_reach(light: Received, spot: LitSpot = POINT) -> Reach:
    """Return how far from the lit surface the scatter exceeds the limit.

    Parameters
    ----------
    light : Received
        What falls on the spot, and who is exposed to its scatter.
    spot : LitSpot
        What scatters; its size counts for the eye alone.

    Returns
    -------
    Reach
        Distance from the surface.
    """
    seen = spot if light.tissue == "eye" else replace(spot, diameter=0.0)
    turns = turning_places(light, seen.angles, seen.diameter)
    distance = float(scatter_farthest(light.emission.amount, spot_limits(light), seen, (), turns=turns))
    first, second = seen.angles(np.asarray(distance)) if distance > 0.0 else (0.0, 0.0)
    there = [
        Reach(distance, c, angle)
        for angle in credited_angles(light, first, second).tolist()
        for c in criteria(light, angle)
    ]
    return max(there, key=lambda reach: badness(reach.criterion.amount / reach.criterion.limit))


def scatter_ratio(
    light: Received, spot: LitSpot = POINT, part: Callable[[str], float] = lambda hazard: 1.0
) -> Callable[[Floats], Floats]:
    """Return the function from distances [m] to how many times the limit a lit spot gives there or farther away.

    It only falls: the ratio itself can rise just beyond a step of the tables, where the spot becomes a point.

    Parameters
    ----------
    light : Received
        What falls on the spot, and who is exposed to its scatter.
    spot : LitSpot
        What scatters; its size counts for the eye alone.
    part : callable
        Takes a hazard, returns the part of its limit that may be used. [1]

    Returns
    -------
    callable
        Takes and returns arrays of any shape; the worst comparison counts.
    """
    seen, limits = spot if light.tissue == "eye" else replace(spot, diameter=0.0), spot_limits(light, part)

    def there(distance: Floats) -> Floats:
        place = np.asarray(distance, dtype=np.float64)
        return scatter_ratios(light.emission.amount, limits, place, seen, place.shape)

    steps = step_places(seen.diameter) + turning_places(light, seen.angles, seen.diameter)
    peaks = [(float(step), float(there(step))) for step in steps if step > 0.0]  # a point has none

    def ratio(distance: Floats) -> Floats:
        beyond = (np.where(distance < step, peak, 0.0) for step, peak in peaks)
        return reduce(np.maximum, beyond, there(distance))

    return ratio
