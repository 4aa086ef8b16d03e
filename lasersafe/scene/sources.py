"""Where light comes from: a laser, its image in a mirror, a mirror that faces anywhere, a lit spot."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene.directions import Directions, Vector
from lasersafe.scene.profile import CLOSEST, NEAREST, BeamProfile, ScatterProfile
from lasersafe.scene.spots import Spots

FLOAT = NDArray[np.float64]
_JUST = 1.01  # times the radius of an aperture: from here on the irradiance at its edge falls away from the axis
_MOVED, _LIT = 3, 4  # boxes along each edge of where a head moves, and of where light falls


def squared_gaps(middle: FLOAT, half: FLOAT, start: FLOAT, size: FLOAT) -> FLOAT:
    """Return squares of how far boxes are from others, of shape (boxes, others). [m2]."""
    found = np.zeros((len(middle), len(start)))
    for axis in range(3):  # by hand: sums over three are slow
        between = np.abs(middle[:, axis, None] - start[:, axis])
        between -= half[:, axis, None]
        between -= size[:, axis]
        np.maximum(between, 0.0, out=between)
        between *= between
        found += between
    return found


@dataclass(frozen=True)
class Source:
    """One way for light to leave one place.

    Parameters
    ----------
    way : str
        ``direct``, ``mirror`` or ``scatter``: what barriers are judged for.
    apex : tuple of float
        Where the straight ways start: the last optic, its image, a mirror, a lit spot. [m]
    directions : Box or Cone
        Where it can go, margins included.
    profile : BeamProfile or ScatterProfile
        How many times the limit, by distance.
    reach : float
        Farthest distance along the path at which the limit is exceeded, rounded up. [m]
    offset : float
        Path from the last optic to the apex; 0 for the laser and for its image. [m]
    factor : float
        Reflectance on the way. [1]
    plane : tuple, optional
        A point of the mirror, or of the lit surface, and its normal: light is only in front of it.
    surface : str
        Name of the mirror or lit surface.
    start : float
        Distance from the apex from which the light is there. [m]
    spot : float
        For scatter and mirrors in front of a head that can turn: the apex is the last optic, and the lit spot is so far
        from it in any of the directions; for a patch the radius of it; 0 when the apex is the lit spot. [m]
    patch : bool
        Whether the lit spot is anywhere on a patch round the apex.
    bend : str
        Of a mirror, ``flat``, ``convex``, ``concave`` or, where any of them may be, ``unknown``.
    moves : tuple of float
        How far the apex can be from where it is stated, along x, y and z. [m]
    wide : float
        Of a lit spot: how far from the apex, or from a place of it, light starts. [m]
    slack : float
        How far lit spots can be from where they are stated. [m]
    bulge : float
        Of a convex mirror: sine of the angle between its own normal and that of its rim, by which it sends light behind
        its plane. [1]
    through : tuple, optional
        Middle and radius of a disc that all light passes. [m]
    parts : tuple of tuple of float
        Of a lit face: each place, as the middle and the half edges of a box. [m]
    origin : tuple, optional
        Middle and half edges of a box from which light comes that flat mirrors send on: no path is shorter than the
        straight way from there. [m]
    """

    way: str
    apex: Vector
    directions: Directions
    profile: BeamProfile | ScatterProfile
    reach: float
    offset: float = 0.0
    factor: float = 1.0
    plane: tuple[Vector, Vector] | None = None
    surface: str = ""
    start: float = 0.0
    note: str = ""
    spot: float = 0.0
    patch: bool = False
    bend: str = "flat"
    moves: Vector = (0.0, 0.0, 0.0)
    wide: float = 0.0
    slack: float = 0.0
    bulge: float = 0.0
    through: tuple[Vector, float] | None = None
    parts: tuple[tuple[float, ...], ...] = ()
    origin: tuple[Vector, Vector] | None = None

    def over(self, middle: FLOAT, half: FLOAT, nearest: FLOAT | None = None) -> FLOAT:
        """Return at least the exposure over limit anywhere in boxes, whatever stands between [1]_.

        Distances to a set of straight ways change no faster than the place moves, so that the middle of a box and half
        of its diagonal say how near to the light it can come.

        Parameters
        ----------
        middle, half : numpy.ndarray, shape (boxes, 3)
            Middles and half edges. [m]
        nearest : numpy.ndarray, shape (boxes,), optional
            Light that starts nearer than this is stopped. [m]

        Returns
        -------
        numpy.ndarray, shape (boxes,)
            0 where no light comes. [1]

        References
        ----------
        .. [1] docs/method.md, section 16.
        """
        size, (x, y, z) = np.sqrt(np.einsum("ij,ij->i", half, half)), middle.T
        front = np.ones(len(middle), dtype=bool)
        level = np.zeros(len(middle))
        if self.plane is not None:
            on, n = np.array(self.plane[0]), np.array(self.plane[1])
            level = (middle - on) @ n + half @ np.abs(n)
            least_level = 0.0
            if self.bulge > 0.0:
                least_level = -self.bulge * (np.sqrt(np.square(middle - on).sum(axis=1)) + size) - self.spot
            front = level >= least_level
        if self.through is not None:
            centre, apex = np.array(self.through[0]), np.array(self.apex)
            way = middle - apex
            part = ((centre - apex) * way).sum(axis=1) / np.maximum(np.square(way).sum(axis=1), 1e-300)
            off = np.sqrt(np.square(apex + np.clip(part, 0.0, 1.0)[:, None] * way - centre).sum(axis=1))
            front &= off <= self.through[1] + np.maximum(size, self.spot)
        if self.spots is not None or isinstance(self.profile, ScatterProfile):
            # light that is stopped starts no farther than the nearest
            away = np.sqrt(squared_gaps(middle, half, *self.starts).min(axis=1)) if nearest is None else nearest
            away = np.maximum(away if self.parts else np.maximum(away, self.away(x, y, z) - size), 0.0)
            if isinstance(self.profile, BeamProfile):
                path = away + self.offset
                if self.origin is not None:
                    box = np.array(self.origin)
                    path = np.maximum(path, np.sqrt(squared_gaps(middle, half, box[:1], box[1:])[:, 0]))
                found = self.profile.from_here_on(path)
            else:
                away = np.maximum(away, self.profile.nearest)
                found = self.profile.at(away)
                if self.plane is not None:
                    cosine = np.clip(level / away, 0.0, 1.0)
                    known = self.spots is None or self.profile.lambert  # else another spot may be seen more aslant
                    least = np.clip((level - 2.0 * (half @ np.abs(n))) / (away + 2.0 * size), 0.0, 1.0) * known
                    found = found * (cosine if self.profile.lambert else 1.0)
                    found = found * (2.0 / (1.0 + np.minimum(least, cosine)) if self.profile.wide else 1.0)
        else:
            wide = half + np.array(self.moves)
            size = np.sqrt(np.einsum("ij,ij->i", wide, wide))
            dx, dy, dz = (middle - np.array(self.apex)).T
            axial = self.directions.axial(dx, dy, dz)
            aside = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - axial * axial, 0.0))
            gap = self._gap(middle, half)
            low = np.maximum(axial - size, np.sqrt(np.maximum(gap * gap - np.square(aside + size), 0.0)))
            high = axial + size + self.offset
            if self.bend == "flat":
                near = low + self.offset < self.profile.close_by
                if self.profile.round_gaussian:  # farther from the axis it is weaker, the nearer place counted in
                    off = np.maximum(aside - size, _JUST * self.profile.aperture_radius)
                    low = np.maximum(low, np.sqrt(np.maximum(gap * gap - off * off, 0.0)))
                low = np.where(near, -self.offset, low)
                found = self.profile.over(low + self.offset, high, np.maximum(aside - size, 0.0))
            else:
                found = self.profile.from_here_on(np.maximum(low, 0.0) + self.offset)
            front &= axial + size > 0.0
        return np.asarray(np.where(front, self.factor * found, 0.0))

    def gaps(self, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return how far boxes are from each of the boxes in which light starts, of shape (boxes, starts). [m]."""
        return np.sqrt(squared_gaps(middle, half, *self.starts))

    def _gap(self, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return how far boxes are from where light starts, at least, of shape (boxes,). [m]."""
        between = np.maximum(np.abs(middle - np.array(self.apex)) - half - np.array(self.moves), 0.0)
        return np.asarray(np.sqrt(np.einsum("ij,ij->i", between, between)))

    @cached_property
    def starts(self) -> tuple[FLOAT, FLOAT]:
        """Boxes in which all light starts: middles and half edges, of shape (starts, 3). [m]."""
        if self.parts:
            boxes = np.array(self.parts)
            return boxes[:, :3], boxes[:, 3:] + self.wide
        if self.spots is None:
            beam = isinstance(self.profile, BeamProfile)
            blur = self.profile.tail(self.offset, self.factor) if beam else self.wide  # type: ignore[union-attr]
            middle, half = _parts(np.array(self.apex), np.array(self.moves), _MOVED)
            return middle, half + blur
        (low_x, low_y), (high_x, high_y) = self.spots.corners.min(axis=0), self.spots.corners.max(axis=0)
        low, high = np.array([low_x, low_y, self.spots.heights[0]]), np.array([high_x, high_y, self.spots.heights[1]])
        middle, half = _parts((low + high) / 2.0, (high - low) / 2.0, _LIT)
        half = half + self.slack
        reached = self.spots.away(*middle.T) <= np.sqrt(np.square(half).sum(axis=1)) + 1e-6
        return middle[reached], half[reached] + self.wide

    @property
    def aimed(self) -> bool:
        """Whether it is a beam in certain directions, so that some places are in it and others are not."""
        return self.spots is None and isinstance(self.profile, BeamProfile)

    @property
    def home(self) -> FLOAT | None:
        """The side of walls on which all light starts: that of its apex; None where spots may be on both."""
        return None if self.spots is not None or self.parts else np.array(self.apex)

    def still(self, point: FLOAT) -> Source:
        """Return it at the one place from which a point [m] of shape (3,) can get most light for certain."""
        if not any(self.moves):
            return self
        apex, moves = np.array(self.apex), np.array(self.moves)
        x, y, z = np.clip(point, apex - moves, apex + moves).tolist()
        there, none = point[None, :], np.zeros((1, 3))
        fixed = [replace(self, apex=at, moves=(0.0, 0.0, 0.0)) for at in (self.apex, (x, y, z))]
        return max(fixed, key=lambda one: float(one.over(there, none)[0]))

    def nearest_light(self, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return a place of each box, of shape (boxes, 3), where much light can be expected: on the axis of a beam."""
        if self.spots is not None or isinstance(self.profile, ScatterProfile):
            start = self.starts[0][self.gaps(middle, half).argmin(axis=1)]
            return np.asarray(np.clip(start, middle - half, middle + half))
        offset = middle - np.array(self.apex)
        way = self.directions.nearest(offset)
        slow = np.where(np.abs(way) > 1e-12, way, 1e-12)
        both = [(offset + side * half) / slow for side in (-1.0, 1.0)]
        enter, leave = np.minimum(*both).max(axis=1), np.maximum(*both).min(axis=1)
        met, along = (enter <= leave) & (leave > 0.0), np.maximum((offset * way).sum(axis=1), 0.0)
        last = max(self.profile.beam.waist_position) - self.offset
        at = np.where(met, np.clip(last, np.maximum(enter, 0.0), np.maximum(leave, 0.0)), along)
        return np.asarray(np.clip(np.array(self.apex) + way * at[:, None], middle - half, middle + half))

    def ratio(
        self,
        x: FLOAT,
        y: FLOAT,
        z: FLOAT,
        *,
        bound: bool = False,
    ) -> FLOAT:
        """Return exposure over limit at points, whatever stands between.

        Parameters
        ----------
        x, y, z : numpy.ndarray, shape (...)
            The points. [m]
        bound : bool
            For an oblong beam, take a bound that costs less.

        Returns
        -------
        numpy.ndarray, shape (...)
            0 where no light comes. [1]
        """
        if isinstance(self.profile, ScatterProfile):
            found = self._scattered(self.profile, x, y, z)
        else:
            path, aside, lit = self.along(x, y, z)
            if not self.one_path:
                found = self.factor * self.profile.from_here_on(path)
            else:
                found = self.factor * self.profile.beside(path, aside, bound=bound)
            found = np.where(lit, found, 0.0)
        return np.asarray(found)

    @cached_property
    def spots(self) -> Spots | None:
        """Every place of a lit spot that turns with the head or lies on a patch; None for all else."""
        if not self.spot > 0.0:
            return None
        flat = None
        if self.patch and self.plane is not None and not self.bulge:
            on, normal = self.plane
            level = sum((a - o) * n for a, o, n in zip(self.apex, on, normal, strict=True))
            flat = normal if abs(level) <= 1e-9 * (1.0 + math.hypot(*on)) else None
        return Spots(self.apex, self.directions, self.spot, self.patch, flat, self.slack)

    @property
    def one_path(self) -> bool:
        """Whether light has one path to each point; else the end of it is not known, see `BeamProfile.from_here_on`."""
        return self.spots is None and self.bend == "flat"

    def away(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        """Return how far points of shape (...) are from the apex, or from the nearest place of the lit spot. [m]."""
        return self.from_apex(x, y, z) if self.spots is None else self.spots.away(x, y, z)

    def from_apex(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        """Return how far points of shape (...) are from the apex. [m]."""
        dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
        return np.asarray(np.sqrt(dx * dx + dy * dy + dz * dz))

    def along(self, x: FLOAT, y: FLOAT, z: FLOAT) -> tuple[FLOAT, FLOAT, NDArray[np.bool_]]:
        """Return path from the last optic to points, how far beside the beam they lie [m], and where light is."""
        if self.spots is not None:
            axial = self.spots.away(x, y, z)
            aside, lit = np.zeros_like(axial), np.ones(axial.shape, dtype=bool)
        else:
            dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
            axial = self.directions.axial(dx, dy, dz)
            aside = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - axial * axial, 0.0))
            lit = axial > 0.0
        if self.plane is not None:
            lit &= self._in_front(self.plane, x, y, z)
        return axial + self.offset, aside, np.asarray(lit)

    def _in_front(self, plane: tuple[Vector, Vector], x: FLOAT, y: FLOAT, z: FLOAT) -> NDArray[np.bool_]:
        on, n = plane
        return np.asarray((x - on[0]) * n[0] + (y - on[1]) * n[1] + (z - on[2]) * n[2] >= 0.0)

    def _scattered(self, profile: ScatterProfile, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        away = np.maximum(self.away(x, y, z), CLOSEST)
        found = profile.ratio(away)
        found = found * self.factor
        if self.plane is not None:
            n = self.plane[1]
            dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
            cosine = np.clip((dx * n[0] + dy * n[1] + dz * n[2]) / away, 0.0, 1.0)
            found = found * (cosine if profile.lambert else 1.0) * (2.0 / (1.0 + cosine) if profile.wide else 1.0)
            found = np.where(self._in_front(self.plane, x, y, z), found, 0.0)
        return found

    def cut_plane(self) -> tuple[Vector, Vector] | None:
        """Return the mirror behind which screens do not count, None without one."""
        return self.plane if self.way == "mirror" and self.start > 0.0 else None

    def path_to(self, point: Vector) -> float:
        """Return the length of the way from the last optic, or from the lit spot, to a point. [m]."""
        here, none = np.array([point]), np.zeros((1, 3))
        away = float(self.gaps(here, none).min() if self.parts else self._gap(here, none)[0])
        if self.spots is not None:
            away = float(self.away(*here.T)[0])
        return max(away, CLOSEST) if self.way == "scatter" else max(away + self.offset, NEAREST)


def _parts(middle: FLOAT, half: FLOAT, most: int) -> tuple[FLOAT, FLOAT]:
    """Return a box in up to so many parts along each edge: middles and half edges, of shape (parts, 3). [m]."""
    counts = [most if edge > 0.0 else 1 for edge in half]
    steps = [(2.0 * np.arange(n) + 1.0) / n - 1.0 for n in counts]
    grid = np.stack([axis.ravel() for axis in np.meshgrid(*steps, indexing="ij")], axis=1)
    return middle + grid * half, np.broadcast_to(half / np.array(counts), grid.shape).copy()
