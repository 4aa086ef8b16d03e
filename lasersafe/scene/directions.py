"""Sets of directions that a beam can take, and how far beside them a point lies."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FLOAT = NDArray[np.float64]
TURN = 2.0 * math.pi
STEEP = math.radians(85.0)  # from here an outline is made all round

Vector = tuple[float, float, float]


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

    def axial(self, dx: FLOAT, dy: FLOAT, dz: FLOAT) -> FLOAT:
        """Return how far along the nearest direction of the set the points lie.

        Parameters
        ----------
        dx, dy, dz : numpy.ndarray, shape (...)
            From the apex to the points. [m]

        Returns
        -------
        numpy.ndarray, shape (...)
            The largest projection on a direction of the set; negative behind the apex. [m]
        """
        (low, high), half = self.elevation, self.half_bearing
        flat = np.sqrt(dx * dx + dy * dy)
        if half >= math.pi:
            along = flat
        else:
            sine, cosine = math.sin(self.bearing), math.cos(self.bearing)
            ahead, aside = dx * sine + dy * cosine, np.abs(dx * cosine - dy * sine)
            edge = ahead * math.cos(half) + aside * math.sin(half)
            along = np.where(ahead >= flat * math.cos(half), flat, edge)
        c_low, s_low, c_high, s_high = math.cos(low), math.sin(low), math.cos(high), math.sin(high)
        between = (along >= 0.0) & (dz * c_low >= along * s_low) & (along * s_high >= dz * c_high)
        ends = np.maximum(along * c_low + dz * s_low, along * c_high + dz * s_high)
        inside: FLOAT = np.where(between, np.sqrt(along * along + dz * dz), ends)
        return inside

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

    @property
    def all_round(self) -> bool:
        """Whether every direction is in it."""
        return self.half_angle >= math.pi

    def axial(self, dx: FLOAT, dy: FLOAT, dz: FLOAT) -> FLOAT:
        """Return how far along the nearest direction of the set the points lie; see `Box.axial`. [m]."""
        square = dx * dx + dy * dy + dz * dz
        if self.half_angle >= math.pi:
            return np.asarray(np.sqrt(square))
        ahead = dx * self.axis[0] + dy * self.axis[1] + dz * self.axis[2]
        aside = np.sqrt(np.maximum(square - ahead * ahead, 0.0))
        cosine, sine = math.cos(self.half_angle), math.sin(self.half_angle)
        inside = ahead * sine >= aside * cosine if self.half_angle <= math.pi / 2 else ahead >= np.sqrt(square) * cosine
        found: FLOAT = np.where(inside, np.sqrt(square), ahead * cosine + aside * sine)
        return found

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

    @property
    def all_round(self) -> bool:
        """Whether every bearing is in it."""
        return self.box().all_round

    def axial(self, dx: FLOAT, dy: FLOAT, dz: FLOAT) -> FLOAT:
        """Return how far along the nearest direction of the set the points lie; see `Box.axial`. [m]."""
        ahead, away = self.inner.axial(dx, dy, dz), np.sqrt(dx * dx + dy * dy + dz * dz)
        aside = np.sqrt(np.maximum(away * away - ahead * ahead, 0.0))
        off = np.maximum(np.arctan2(aside, ahead) - self.margin, 0.0)
        return np.asarray(away * np.cos(off))

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
    margin = directions.margin if isinstance(directions, Around) else 0.0
    return inner.bearing, inner.half_bearing, *inner.elevation, margin


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


STRAIGHT = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)  # rows of the matrix that turns nothing
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
