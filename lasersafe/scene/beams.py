"""Directions that light can take, and how much of it a beam or a lit spot brings to a place in them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, reduce
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.optics.beam import BeamGeometry, diameters, fraction_through, mean_exposure
from lasersafe.optics.reflection import Ends
from lasersafe.records import Criterion, badness

FLOAT = NDArray[np.float64]
INDEX = NDArray[np.intp]
TURN = 2.0 * math.pi
STEEP = math.radians(85.0)  # from here an outline is made all round

Vector = tuple[float, float, float]
STRAIGHT = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)  # rows of the matrix that turns nothing
NEAREST = 1e-3  # m
POINT = 1e-7  # m: a focus that is described as a point
_RAYS = 36.0  # k^2: of 1e15 times the limit no more than 1 is left outside so many diameters
LEAST = 1e-4  # of the limit: light that gives less, all of it together, is none
CLOSEST = 0.01  # m: nearer to a lit spot its ratio is taken from here
AFAR = 1e4  # m: from here a lit spot is a point
BEAM = (
    ("waist", float, 2), ("divergence", float, 2), ("waist_position", float, 2), ("linear", float), ("even", float),
    ("round", float),
    ("radius", float), ("blur", float), ("close_by", float), ("wider", float), ("loose", float),
)  # fmt: skip
_PUPIL = 5.5e-3  # m: radius of the widest limiting aperture
Parts = tuple[tuple[BeamGeometry, Ends | None], ...]
NO_BEAM = (POINT, POINT), (0.0, 0.0), (0.0, 0.0), 0.0, 0.0, 0.0, 0.0, _PUPIL, 0.0, 1.0, 0.0
_erf = np.vectorize(math.erf, otypes=[np.float64])


def unit(bearing: float, elevation: float) -> Vector:
    """Return the unit vector of a bearing and an elevation [rad]."""
    flat = math.cos(elevation)
    return flat * math.sin(bearing), flat * math.cos(bearing), math.sin(elevation)


def angles(vector: Vector) -> tuple[float, float]:
    """Return bearing and elevation of a vector [rad]."""
    x, y, z = vector
    return math.atan2(x, y) % TURN, math.atan2(z, math.hypot(x, y))


@dataclass(frozen=True)
class Box:
    """All directions between two bearings (clockwise) and two elevations, margins included.

    Parameters
    ----------
    bearing : float
        Middle bearing. [rad]
    half_bearing : float
        Half of the range of bearings, up to pi. [rad]
    elevation : tuple of float
        Lowest and highest elevation. [rad]
    """

    bearing: float
    half_bearing: float
    elevation: tuple[float, float]

    @property
    def all_round(self) -> bool:
        """Whether every bearing is in it."""
        return self.half_bearing >= math.pi

    @property
    def everywhere(self) -> bool:
        """Whether every direction is in it."""
        return self.all_round and self.elevation[1] - self.elevation[0] >= math.pi - 1e-9

    def widened(self, margin: float) -> Box:
        """Return it with a margin on every side."""
        low = max(-math.pi / 2.0, self.elevation[0] - margin)
        high = min(math.pi / 2.0, self.elevation[1] + margin)
        steepest = min(max(abs(low), abs(high)), math.pi / 2.0)
        sine = math.sin(min(margin, math.pi / 2.0)) / max(math.cos(steepest), 1e-9)
        extra = math.asin(sine) if sine < 1.0 else math.pi
        half = math.pi if steepest >= STEEP else min(math.pi, self.half_bearing + max(extra, margin))
        return Box(self.bearing, half, (low, high))

    def cone(self) -> Cone:
        """Return a cone that holds the whole set."""
        middle = (self.elevation[0] + self.elevation[1]) / 2.0
        axis = np.array(unit(self.bearing, middle))
        if self.half_bearing > math.pi / 2.0:
            return Cone((0.0, 0.0, 1.0), math.pi)
        bearings = self.bearing + np.linspace(-self.half_bearing, self.half_bearing, 33)
        elevations = np.linspace(*self.elevation, 33)
        grid_b, grid_e = np.meshgrid(bearings, elevations)
        flat = np.cos(grid_e)
        dots = flat * np.sin(grid_b) * axis[0] + flat * np.cos(grid_b) * axis[1] + np.sin(grid_e) * axis[2]
        half = math.acos(min(1.0, max(-1.0, float(dots.min()))))
        return Cone((float(axis[0]), float(axis[1]), float(axis[2])), min(math.pi, half * 1.0001))

    def box(self) -> Box:
        """Return itself."""
        return self


@dataclass(frozen=True)
class Cone:
    """All directions within an angle of an axis; pi is every direction.

    Parameters
    ----------
    axis : tuple of float
        Unit vector.
    half_angle : float
        Half of the opening angle. [rad]
    """

    axis: Vector
    half_angle: float

    def cone(self) -> Cone:
        """Return itself."""
        return self

    def box(self) -> Box:
        """Return a box of bearings and elevations that holds the whole cone."""
        bearing, elevation = angles(self.axis)
        low, high = elevation - self.half_angle, elevation + self.half_angle
        if self.half_angle >= math.pi or max(abs(low), abs(high)) >= STEEP:
            return Box(bearing, math.pi, (max(low, -math.pi / 2.0), min(high, math.pi / 2.0)))
        half = math.asin(min(1.0, math.sin(self.half_angle) / math.cos(elevation)))
        return Box(bearing, half * 1.0001, (low, high))


@dataclass(frozen=True)
class Around:
    """All directions within an angle of any direction of a box, as a margin or the field of a scan makes them.

    Parameters
    ----------
    inner : Box
        The box.
    margin : float
        The angle. [rad]
    """

    inner: Box
    margin: float

    def cone(self) -> Cone:
        """Return a cone that holds the whole set."""
        inner = self.inner.cone()
        return Cone(inner.axis, min(inner.half_angle + self.margin, math.pi))

    def box(self) -> Box:
        """Return a box of bearings and elevations that holds the whole set."""
        return self.inner.widened(self.margin)


def nearest(angles: FLOAT, v: FLOAT) -> FLOAT:
    """Return of sets of directions the one along which vectors lie farthest.

    Parameters
    ----------
    angles : numpy.ndarray, shape (n, 5)
        As `angles_of` gives them. [rad]
    v : numpy.ndarray, shape (n, 3)
        The vectors. [m]

    Returns
    -------
    numpy.ndarray, shape (n, 3)
        Unit vectors.
    """
    middle, half, low, high, margin = angles.T
    turn = (np.arctan2(v[:, 0], v[:, 1]) - middle + math.pi) % TURN - math.pi
    bearing = np.clip(turn, -half, half)
    along = np.hypot(v[:, 0], v[:, 1]) * np.cos(turn - bearing)
    rise = np.clip(np.arctan2(v[:, 2], along), low, high)
    bearing, flat = bearing + middle, np.cos(rise)
    start = np.stack([flat * np.sin(bearing), flat * np.cos(bearing), np.sin(rise)], axis=1)
    # turned towards the vectors, at most by the margin
    away = np.sqrt(np.square(v).sum(axis=1))[:, None]
    wanted = np.where(away > 0.0, v / np.maximum(away, 1e-300), start)
    ahead = (wanted * start).sum(axis=1)[:, None]
    aside = wanted - ahead * start
    size = np.sqrt(np.square(aside).sum(axis=1))[:, None]
    off = np.minimum(np.arctan2(size, ahead), margin[:, None])
    return np.asarray(np.cos(off) * start + np.sin(off) * aside / np.maximum(size, 1e-300))


def angles_of(directions: Directions) -> tuple[float, float, float, float, float]:
    """Return bearing, half of their range, lowest and highest elevation, and the margin round all of them [rad]."""
    if isinstance(directions, Cone):
        bearing, elevation = angles(directions.axis)
        return bearing, 0.0, elevation, elevation, directions.half_angle
    inner = directions.inner if isinstance(directions, Around) else directions
    margin = min(directions.margin, math.pi) if isinstance(directions, Around) else 0.0
    return inner.bearing, inner.half_bearing, *inner.elevation, margin


def axial(directions: Directions, dx: FLOAT, dy: FLOAT, dz: FLOAT) -> FLOAT:
    """Return how far along the nearest direction of a set points lie.

    Parameters
    ----------
    directions : Box, Cone or Around
        The set.
    dx, dy, dz : numpy.ndarray, shape (...)
        From the apex to the points. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        The largest projection on a direction of the set; negative behind the apex. [m]
    """
    offset = np.stack(np.broadcast_arrays(dx, dy, dz))
    *ends, margin = angles_of(directions)
    points = offset.reshape(3, -1)
    found = axial_of_each(np.sin(ends), np.cos(ends), np.full(points.shape[1], margin), points)
    return np.asarray(found.reshape(offset.shape[1:]))


def axial_of_each(sine: FLOAT, cosine: FLOAT, margin: FLOAT, offset: FLOAT) -> FLOAT:
    """Return what `axial` does, of points of shape (3, n) each for a set of its own or for one.

    The sets are the sines and cosines, of shape (4, n) or (4,), of the first four angles of `angles_of`, and the last.
    """
    (turn_s, half_s, s_low, s_high), (turn_c, half_c, c_low, c_high), (dx, dy, dz) = sine, cosine, offset
    flat = np.sqrt(dx * dx + dy * dy)
    ahead, aside = dx * turn_s + dy * turn_c, np.abs(dx * turn_c - dy * turn_s)
    along = np.where(ahead >= flat * half_c, flat, ahead * half_c + aside * half_s)
    between = (along >= 0.0) & (dz * c_low >= along * s_low) & (along * s_high >= dz * c_high)
    ends = np.maximum(along * c_low + dz * s_low, along * c_high + dz * s_high)
    found = np.where(between, np.sqrt(along * along + dz * dz), ends)
    at = (margin > 0.0).nonzero()[0]
    if at.size:
        square, turn, near = flat[at] * flat[at] + dz[at] * dz[at], margin[at], found[at]
        beside = np.sqrt(np.maximum(square - near * near, 0.0))
        inside = near * np.sin(turn) >= beside * np.cos(turn)
        found[at] = np.where(inside, np.sqrt(square), near * np.cos(turn) + beside * np.sin(turn))
    return np.asarray(found)


def about(nominal: Box, margin: float) -> Directions:
    """Return all directions within a margin [rad] of a box: of one direction a cone, at any elevation."""
    low, high = nominal.elevation
    if not margin > 0.0:
        return nominal
    if nominal.half_bearing == 0.0 and low == high:
        return Cone(unit(nominal.bearing, low), min(margin, math.pi))
    return Around(nominal, margin)


def widened(directions: Directions, angle: float) -> Directions:
    """Return all directions within an angle [rad] of some."""
    if isinstance(directions, Cone):
        return replace(directions, half_angle=min(directions.half_angle + angle, math.pi))
    if isinstance(directions, Around):
        return replace(directions, margin=directions.margin + angle)
    return Around(directions, angle) if angle > 0.0 else directions


EVERYWHERE = Cone((0.0, 0.0, 1.0), math.pi)
Directions = Box | Cone | Around


def mirrored(point: Vector, on: Vector, normal: Vector) -> Vector:
    """Return the image of a point in a plane through *on* with a unit normal."""
    away = sum((p - o) * n for p, o, n in zip(point, on, normal, strict=True))
    x, y, z = (p - 2.0 * away * n for p, n in zip(point, normal, strict=True))
    return x, y, z


def turned(direction: Vector, normal: Vector) -> Vector:
    """Return a direction after reflection by a plane with a unit normal."""
    return mirrored(direction, (0.0, 0.0, 0.0), normal)


def turned_over(directions: Directions) -> Directions:
    """Return directions after reflection by a level mirror."""
    if isinstance(directions, Cone):
        x, y, z = directions.axis
        return Cone((x, y, -z), directions.half_angle)
    inner = directions.inner if isinstance(directions, Around) else directions
    low, high = inner.elevation
    box = Box(inner.bearing, inner.half_bearing, (-high, -low))
    return Around(box, directions.margin) if isinstance(directions, Around) else box


# what bounds need of a beam, as numbers; see `lasersafe.scene.lights`


@dataclass(eq=False)
class BeamProfile:
    """A beam against its limits: the ratio on the axis, and a bound beside it.

    Beside the beam no part of the aperture sees more than the irradiance at its inner edge, so the ratio is at most
    that of the peak times exp(-(2 (rho - a) / d)^2), with the aperture radius a and the longer diameter d.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    criteria : tuple of Criterion
        All comparisons that an exposure has to pass.
    wider : float
        How many times as wide tolerances let it be, which is worse beside it. [1]
    loose : float
        How far from where it is they let its focus be, to either side. [m]
    """

    beam: BeamGeometry
    criteria: tuple[Criterion, ...]
    wider: float = 1.0
    loose: float = 0.0

    @cached_property
    def strengths(self) -> dict[float, float]:
        """The highest amount over limit for each aperture; what is spread in the same way differs by it only."""
        found: dict[float, float] = {}
        for c in self.criteria:
            ratio = c.amount / c.limit if c.limit > 0.0 else math.inf
            found[c.limiting_aperture] = max(found.get(c.limiting_aperture, -math.inf), ratio, key=badness)
        return found

    def widths(self, distance: FLOAT) -> tuple[FLOAT, FLOAT]:
        """Return both 1/e diameters, a point focus as a small spot. [m]."""
        dx, dy = diameters(self.beam, distance)
        wide = np.maximum(dx, POINT)
        return wide, wide if self.beam.circular else np.maximum(dy, POINT)

    def on_axis(self, distance: FLOAT) -> FLOAT:
        """Return the ratio on the axis, for distances from the last optic [m] of shape (...)."""
        dx, dy = self.widths(np.maximum(distance, NEAREST))
        each = (mean_exposure(most, dx, dy, hole, self.beam.profile) for hole, most in self.strengths.items())
        return reduce(np.maximum, each, np.zeros_like(dx))

    @cached_property
    def apertures(self) -> tuple[float, ...]:
        """The limiting apertures of all comparisons. [m]."""
        return tuple(sorted({c.limiting_aperture for c in self.criteria}))

    @cached_property
    def aperture_radius(self) -> float:
        """Radius of the largest limiting aperture. [m]."""
        return max(c.limiting_aperture for c in self.criteria) / 2.0

    @cached_property
    def row(self) -> tuple[object, ...]:
        """The beam in the order of `BEAM`."""
        beam, radius = self.beam, self.aperture_radius
        waist = tuple(max(one, POINT) for one in beam.waist_diameter)
        even = beam.profile != "gaussian"
        return (
            waist, beam.divergence, beam.waist_position, beam.propagation == "linear", even, beam.circular and not even,
            radius, radius, self.close_by, self.wider, self.loose,
        )  # fmt: skip

    @cached_property
    def beside_axis(self) -> float:
        """By how much a straight way can be longer than the axis because it starts or ends beside it. [m].

        Rays of an even beam that spreads by phi lengthen it besides, up to sqrt(1 + phi^2 / 4) times.
        """
        if self.beam.profile == "gaussian":
            return self.aperture_radius
        beam = self.beam
        starts = zip(beam.waist_diameter, beam.divergence, beam.waist_position, strict=True)
        widest = max(waist + angle * (abs(place) + self.loose) for waist, angle, place in starts)
        return float(self.aperture_radius + self.wider * widest / 2.0)

    def in_irradiance(self, power: float = 1.0, aperture: float = 1e-9) -> BeamProfile:
        """Return the beam with an irradiance [W/m2] for its ratio: over an aperture [m], or the peak."""
        one = Criterion("", "", "irradiance", "continuous", power, "W", 1.0, "W/m2", aperture, math.inf, "")
        return replace(self, criteria=(one,))

    def gain(self, width: float) -> float:
        """Return how many times a surface of a width [m] that gathers light can raise a ratio."""
        return max(1.0, (width / min(c.limiting_aperture for c in self.criteria)) ** 2)

    @cached_property
    def close_by(self) -> float:
        """Nearer than this the aim that points nearest to a place need not be the worst one for it. [m].

        Beyond it the irradiance E = exp(-4 (L^2 - s^2) / d(s)^2) / d(s)^2 at a place L away rises with s, its distance
        along the axis, as far as rays count, k diameters aside: 4 s > k^2 phi^2 (size of z0).
        """
        wide = zip(self.beam.divergence, self.beam.waist_position, strict=True)
        more = self.wider * self.wider
        return max(float(_RAYS * more * angle * angle * (abs(place) + self.loose) / 4.0) for angle, place in wide)

    def tail(self, distance: float, factor: float, least: float = LEAST) -> float:
        """Return how far from the axis rays have to be so that all of them together give less than a ratio. [m].

        The power outside so many widths is all put through the limiting aperture of each comparison.
        """
        ends = np.maximum(distance + np.array([-1.0, 1.0]) * self.loose, 0.0)
        widest = self.wider * max(float(one.max()) for one in self.widths(ends))
        if self.beam.profile != "gaussian":
            return widest / 2.0
        holes = (factor * c.amount / (math.pi * c.limiting_aperture**2 / 4.0) / c.limit for c in self.criteria)
        return widest / 2.0 * math.sqrt(max(math.log(max(max(holes, default=0.0), 1e-300) / least), 1.0))

    @property
    def last_waist(self) -> float:
        """The place of the last waist, 0 without one. [m]."""
        last = max(self.beam.waist_position)
        return last if last > NEAREST else 0.0

    @cached_property
    def crest(self) -> float:
        """The highest ratio anywhere; slow to find between two waists."""
        from lasersafe.hazard.distances import worst_place

        return float(np.max(self.on_axis(np.array(worst_place(self.beam, NEAREST, self.apertures)))))

    def spread(self, distance: FLOAT, factor: float = 1.0) -> FLOAT:
        """Return how far beside the axis the ratio can still exceed 1, for distances [m] of shape (...). [m]."""
        ends = np.asarray(distance) - self.loose, np.asarray(distance) + self.loose
        waists = [np.clip(waist, *ends) for waist in self.beam.waist_position]
        places = (*ends, *waists) if self.loose else ends[:1]
        widths, even = [self.widths(np.maximum(one, NEAREST)) for one in places], self.beam.profile != "gaussian"
        strengths = [(most, hole) for hole, most in self.strengths.items()]
        bounds = (_axis_and_peak(strengths, even, *both) for both in widths)
        axis, peak = (reduce(np.maximum, part) for part in zip(*bounds, strict=True))
        widest = reduce(np.maximum, itertools.chain(*widths))
        with np.errstate(divide="ignore", invalid="ignore"):
            beside = np.sqrt(np.log(np.maximum(peak * factor, 1.0))) if self.beam.profile == "gaussian" else 1.0
        wide = self.wider * widest / 2.0
        return np.asarray(np.where(axis * factor > 1.0, self.aperture_radius + wide * beside, 0.0))


@dataclass(eq=False)
class ScatterProfile:
    """A lit spot against its limits, as a function of the distance from it.

    Parameters
    ----------
    ratio : callable
        Distances [m] of shape (...) to exposure over limit, brightest direction.
    lambert : bool
        Whether it falls with the cosine from the normal.
    size : float
        Diameter that is credited, 0 where none is: seen aslant it looks smaller, so that its limit is up to
        2 / (1 + cos) lower. [m]
    nearest : float
        Nearer to it its ratio is taken from here. [m]
    spread : float
        No place gets more than one straight before all of it at this distance; 0 where that is not known. [m]
    """

    ratio: Callable[[FLOAT], FLOAT]
    lambert: bool = True
    size: float = 0.0
    nearest: float = CLOSEST
    spread: float = 0.0

    @property
    def at_one(self) -> float:
        """The ratio at 1 m; without credit for a size it falls with 1 / r^2."""
        return _at_one(self.ratio)

    def before(self, distance: FLOAT) -> FLOAT:
        """Return the ratio at distances straight before it. [1]."""
        distance = np.maximum(distance, self.spread)
        return self.ratio(distance) if self.size else np.asarray(self.at_one / np.square(distance))


@lru_cache(maxsize=512)  # what is lit is told apart by its spread, and has one ratio
def _at_one(ratio: Callable[[FLOAT], FLOAT]) -> float:
    return float(ratio(np.ones(1))[0])


def beam_over(column: Mapping[str, FLOAT], light: INDEX, low: FLOAT, high: FLOAT, aside: FLOAT) -> FLOAT:
    """Return at least the ratio of beams anywhere between two distances along them, so far beside or farther.

    Parameters
    ----------
    column : mapping of numpy.ndarray, each of shape (lights, ...)
        The beams, as `lasersafe.scene.lights.Lights` has them.
    light : numpy.ndarray of int, shape (rows,)
        Which of them is asked for.
    low, high : numpy.ndarray, shape (rows,)
        Along the beam, from the last optic. [m]
    aside : numpy.ndarray, shape (rows,)
        From the axis, at least. [m]

    Returns
    -------
    numpy.ndarray, shape (rows,)
        Exposure over limit: of the narrowest beam between the two on the axis, and of the widest beside it. [1]
    """
    loose = column["loose"].take(light, 0)
    low = np.maximum(low - loose, NEAREST)
    high = np.maximum(high + loose, low)
    ends, place = (_widths(column, light, low), _widths(column, light, high)), column["waist_position"].take(light, 0)
    least, most = np.minimum(*ends), np.maximum(*ends).max(axis=1) * column["wider"].take(light, 0)
    inside = (low[:, None] < place) & (place < high[:, None])
    least = np.where(inside, np.minimum(least, column["waist"].take(light, 0)), least)
    axis, peak = _of_table(column, light, *least.T)
    outside = np.maximum(aside - column["radius"].take(light, 0), 0.0)
    with np.errstate(under="ignore", over="ignore"):
        found = np.minimum(axis, peak * np.exp(-np.square(2.0 * outside / most)))
    even = column["even"].take(light, 0) > 0.0
    return np.where(even, np.where(outside <= most / 2.0, axis, 0.0), found)


def beam_from_here_on(
    column: Mapping[str, FLOAT],
    profiles: Sequence[BeamProfile | ScatterProfile],
    light: INDEX,
    near: FLOAT,
    far: FLOAT,
) -> FLOAT:
    """Return at least the ratio of beams on their axis from the shortest path to the longest [m]; see `beam_over`.

    The longest counts where `Source.ends` are known, else any longer path does.
    """
    distance = np.maximum(near - column["loose"].take(light, 0), NEAREST)
    found, most = _of_table(column, light, *_widths(column, light, distance).T)[0], np.full(len(light), np.inf)
    at = (column["ends"][light, 0, 0] > 0.0).nonzero()[0]
    if at.size:
        own, offset = light[at], column["offset"].take(light[at], 0)
        ends = column["ends"].take(own, 0)
        low, high = np.maximum(near[at] - offset, 0.0), far[at] - offset + column["radius"].take(own, 0)
        most[at] = _of_table(column, own, *np.maximum(widths_within(ends, low, high), POINT).T)[0]
    before = (distance < column["last_waist"].take(light, 0)) & (most > found)
    for number in set(light[before].tolist()):
        rows = before & (light == number)
        found[rows] = np.maximum(found[rows], cast("BeamProfile", profiles[number]).crest)
    return np.asarray(np.minimum(found, most))


def widths_within(ends: FLOAT, low: FLOAT, high: FLOAT) -> FLOAT:
    """Return the least width on each axis between two distances behind curved mirrors.

    Parameters
    ----------
    ends : numpy.ndarray, shape (rows, 2, 5)
        `lasersafe.optics.reflection.Ends`. [m, rad]
    low, high : numpy.ndarray, shape (rows,)
        From the mirrors. [m]

    Returns
    -------
    numpy.ndarray, shape (rows, 2)
        1/e diameters. [m]
    """
    low, high = low[:, None], high[:, None]
    least, most, slow, steep, own = (ends[:, :, number] for number in range(5))
    before, behind = least - np.maximum(steep * low, steep * high), np.minimum(slow * low, slow * high) - most
    wide = np.maximum(np.maximum(before, behind), 0.0)
    return np.asarray(np.sqrt(wide * wide + np.square(own * low)))


def _widths(column: Mapping[str, FLOAT], light: INDEX, distance: FLOAT) -> FLOAT:
    """Return both 1/e diameters of beams, a point focus as a small spot, of shape (rows, 2). [m]."""
    waist, spread = column["waist"].take(light, 0), distance[:, None] - column["waist_position"].take(light, 0)
    spread *= column["divergence"].take(light, 0)
    wide = np.sqrt(waist * waist + spread * spread)
    linear = column["linear"].take(light, 0) > 0.0
    return np.where(linear[:, None], waist + np.abs(spread), wide) if linear.any() else wide


def _axis_and_peak(
    strengths: Iterable[tuple[ArrayLike, ArrayLike]], even: ArrayLike, dx: FLOAT, dy: FLOAT
) -> tuple[FLOAT, FLOAT]:
    """Return at least the ratios on the axis, and those of the peak, of beams of two diameters [m] of one shape.

    For each limiting aperture [m] there is the amount over the limit [m2], of one beam or of each.
    """
    axis, strongest, alike = np.zeros_like(dx), np.full_like(dx, -np.inf), np.broadcast_to(even, dx.shape)
    oblong = (dx != dy) & ~alike
    for one, aperture in strengths:
        strength, hole = (np.broadcast_to(np.asarray(value), dx.shape) for value in (one, aperture))
        strongest = np.maximum(strongest, strength)
        some = ~(strength <= 0.0)  # NaN counts
        if not some.any():
            continue
        with np.errstate(over="ignore", under="ignore"):
            through = -np.expm1(-np.square(hole / dx))
        if (at := some & oblong).any():  # of a round aperture: what the square round it takes
            through[at] = _erf(hole[at] / dx[at]) * _erf(hole[at] / dy[at])
        if (at := some & alike).any():
            through[at] = fraction_through(dx[at], dy[at], hole[at], "top-hat")
        mean = strength * through / (math.pi / 4.0 * np.square(hole))
        mean = np.where(oblong, np.minimum(mean, strength * 4.0 / (math.pi * dx * dy)), mean)
        axis = np.where(some, np.maximum(axis, mean), axis)
    return axis, strongest * 4.0 / (math.pi * dx * dy)


def _of_table(column: Mapping[str, FLOAT], light: INDEX, dx: FLOAT, dy: FLOAT) -> tuple[FLOAT, FLOAT]:
    strengths = zip(column["strength"].take(light, 0).T, column["hole"].take(light, 0).T, strict=True)
    return _axis_and_peak(strengths, column["even"].take(light, 0) > 0.0, dx, dy)


@lru_cache(maxsize=2048)
def farthest_of(criteria: tuple[Criterion, ...], beam: BeamGeometry, factor: float = 1.0) -> float:
    """Return how far along the beam any of the comparisons is exceeded [m]."""
    return farthest_of_each([(BeamProfile(beam, criteria), factor)])[0]


def farthest_of_each(wanted: Sequence[tuple[BeamProfile, float]]) -> list[float]:
    """Return how far a share of each of some beams exceeds any of its comparisons [m], worked out all at once."""
    from lasersafe.hazard.distances import direct_distance

    kinds: dict[tuple[bool, str, str], list[tuple[int, float, float, BeamGeometry]]] = {}
    for number, (profile, share) in enumerate(wanted):
        beam = profile.beam
        rows = kinds.setdefault((beam.circular, beam.profile, beam.propagation), [])
        rows += [(number, most * share, aperture, beam) for aperture, most in profile.strengths.items()]
    found = np.zeros(len(wanted))
    for (circular, *kind), rows in kinds.items():
        numbers, amounts, apertures, beams = zip(*rows, strict=True)
        axes = np.array([(one.waist_diameter, one.divergence, one.waist_position) for one in beams]).transpose(1, 2, 0)
        many = BeamGeometry(*((x, x if circular else y) for x, y in axes), *kind)  # type: ignore[arg-type]
        np.maximum.at(found, list(numbers), direct_distance(np.array(amounts), 1.0, np.array(apertures), many))
    return list(map(float, found))
