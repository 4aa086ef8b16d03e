"""Where light comes from: a laser, its image in a mirror, a mirror that faces anywhere, a lit spot."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lasersafe.optics.beam import BeamGeometry
from lasersafe.optics.reflection import Ends
from lasersafe.scene import beams as geometry
from lasersafe.scene.beams import CLOSEST, FLOAT, BeamProfile, Directions, ScatterProfile, Vector, angles_of, nearest

if TYPE_CHECKING:
    from lasersafe.scene.walls import Walls

INDEX = NDArray[np.intp]
_CLASSES = (1, 8, 27, 64, 1 << 30)  # lights are told apart by in how many boxes they start
_SPREAD = np.array([0, 1, 8, 9, 64, 65, 72, 73])  # the three bits of a number, each the third from the last
_AWAY = 1e12  # m: where a box in which nothing starts is put
_ALIKE = 30  # rows of each light from which on lights are looked at one by one
_NO_ENDS = ((0.0,) * 5,) * 2
_CELLS = 50_000  # numbers of one array, which a processor keeps at hand
CLUSTER = 8  # boxes in which a light starts that are looked at together
_MOVED, _LIT = 3, 4  # boxes along each edge of where a head moves, and of where light falls
STEEP = 0.2  # rad: rays that are more aslant are not as simple as their small angles
_STEP = math.radians(10.0)  # of a ring of spots
_BOXES, _APEX, _BALL, _DISC, _SPHERE = range(5)  # what is known of where lit spots are
# what bounds need of a way for light, as numbers; see `lasersafe.scene.lights`
ROW = np.dtype([
    ("apex", float, 3), ("moves", float, 3), ("offset", float), ("factor", float), ("angles", float, 5),
    ("on", float, 3), ("normal", float, 3), ("plane", float), ("face", float, 3), ("bulge", float),
    ("through", float, 3), ("through_radius", float), ("through_normal", float, 3), ("tails", float, 2),
    ("aims", float, 5), ("back", float, (3, 3)), ("spot", float), ("slack", float), ("spots", float), ("aimed", float),
    ("flat", float),
    ("home", float, 3), ("cut_on", float, 3), ("cut_normal", float, 3), *geometry.BEAM, ("last_waist", float),
    ("at_one", float), ("lambert", float), ("wide", float), ("nearest", float), ("brightest", float),
    ("ends", float, (2, 5)), ("origin", float, (2, 3)), ("passed", float, 4),
])  # fmt: skip


@dataclass(frozen=True)
class Spots:
    """All places of a lit spot.

    Parameters
    ----------
    apex : tuple of float
        The last optic. [m]
    directions : Box or Cone
        Where the head can point, margins included.
    distance : float
        From the last optic to the spot. [m]
    solid : bool
        Whether the spot can be anywhere within that distance of the apex too: a patch of a surface that stands still.
    normal : tuple of float, optional
        Of a solid patch that is flat, a disc round the apex.
    slack : float
        How far each spot can be from there besides, with a head that moves. [m]
    """

    apex: Vector
    directions: Directions
    distance: float
    solid: bool = False
    normal: Vector | None = None
    slack: float = 0.0

    def away(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        """Return how far points are from the nearest spot; of shape (...). [m]."""
        found = self._away(x, y, z)
        return np.maximum(found - self.slack, 0.0) if self.slack else found

    def _away(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
        square = dx * dx + dy * dy + dz * dz
        if self.normal is not None:
            above = dx * self.normal[0] + dy * self.normal[1] + dz * self.normal[2]
            aside = np.sqrt(np.maximum(square - above * above, 0.0))
            return np.asarray(np.hypot(above, np.maximum(aside - self.distance, 0.0)))
        far = np.sqrt(square)
        if self.solid:
            return np.asarray(np.maximum(far - self.distance, 0.0))
        beside = np.maximum(far - geometry.axial(self.directions, dx, dy, dz), 0.0)
        return np.asarray(np.sqrt((far - self.distance) ** 2 + 2.0 * self.distance * beside))

    @cached_property
    def heights(self) -> tuple[float, float]:
        """The lowest and the highest spot. [m]."""
        if self.normal is not None:
            rise = self.distance * math.sqrt(max(1.0 - self.normal[2] ** 2, 0.0))
            return self.apex[2] - rise, self.apex[2] + rise
        low, high = (self.apex[2] + self.distance * math.sin(e) for e in self.directions.box().elevation)
        return low, high

    def _ring(self, turns: FLOAT, away: FLOAT | float) -> FLOAT:
        return np.stack([self.apex[0] + away * np.sin(turns), self.apex[1] + away * np.cos(turns)], axis=1)

    @cached_property
    def corners(self) -> FLOAT:
        """Corners of a convex polygon that holds all spots on the plan, of shape (corners, 2). [m]."""
        if self.normal is not None:
            return self._disc(self.normal)
        box = self.directions.box()
        half = min(box.half_bearing, math.pi)
        longest = max(math.cos(min(max(0.0, box.elevation[0]), box.elevation[1])), 0.0)
        shortest = max(min(math.cos(e) for e in box.elevation), 0.0)
        turns = np.linspace(box.bearing - half, box.bearing + half, max(1, math.ceil(half / _STEP)) + 1)
        middles = (turns[:-1] + turns[1:]) / 2.0
        wide = self.distance * longest / math.cos(float(turns[1] - turns[0]) / 2.0)
        ends = turns[[0, -1]]
        near = self.distance * (shortest if half <= math.pi / 2.0 else 0.0)
        rings = [self._ring(middles, wide), self._ring(ends, self.distance * longest), self._ring(ends, near)]
        return np.concatenate(rings)

    def _disc(self, normal: Vector) -> FLOAT:
        """Return the corners of a polygon round a disc on the plan, of shape (corners, 2). [m]."""
        flat = math.hypot(normal[0], normal[1])
        along = np.array([-normal[1], normal[0]]) / flat if flat > 1e-9 else np.array([1.0, 0.0])
        across = np.array([along[1], -along[0]]) * abs(normal[2])
        turns = np.linspace(-math.pi, math.pi, 33)[:-1]
        wide = self.distance / math.cos(math.pi / 32.0)
        ring = np.cos(turns)[:, None] * along + np.sin(turns)[:, None] * across
        return np.asarray(np.array(self.apex[:2]) + wide * ring)


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
        Middle and radius of a disc that all light passes, and its normal, 0 where that is not exact. [m]
    gates : tuple of tuple of float
        Boxes of that disc, as `parts`, one of which each ray passes, and of those that a wall crosses a place on the
        side on which it passes, else NaN; empty where they are not known. [m]
    whole : bool
        No wall cuts it before the last mirror.
    aims : tuple, optional
        Of what flat mirrors send on: the directions of the head itself, and the rows of the matrix that turns a way
        behind the last mirror back to them.
    parts : tuple of tuple of float
        Of a lit face: each place, as the middle and the half edges of a box. [m]
    origin : tuple, optional
        Middle and half edges of a box from which light comes that flat mirrors send on: no path along an axis is
        shorter than the straight way from there, but for the slant of the rays of an even beam. [m]
    seen_in : tuple, optional
        Of the image of a lit spot: a point of the level mirror and its normal; screens behind it do not count.
    sharp : bool
        Edges cut the beam as if it had no width: no bound, but what its width costs there.
    bends : int
        Mirrors of unknown curvature on the way; the second is bounded only as one that the tightest beam meets.
    unbounded : bool
        It stands for many ways over a curved mirror, of which some may give more.
    finer : tuple of (BeamGeometry, tuple or None)
        Of a curved mirror of stated radius: beams of which each bounds a part of what its profile bounds as a whole,
        and with each its `ends`.
    ends : tuple, optional
        Of one of these parts what bounds it up to the end of the path too, `lasersafe.optics.reflection.Ends`. [m, rad]
    widest : BeamGeometry, optional
        Of the same: no beam for which the profile stands is wider behind the mirror.
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
    through: tuple[Vector, float, Vector] | None = None
    gates: tuple[tuple[float, ...], ...] = ()
    whole: bool = True
    aims: tuple[Directions, tuple[Vector, Vector, Vector]] | None = None
    parts: tuple[tuple[float, ...], ...] = ()
    origin: tuple[Vector, Vector] | None = None
    seen_in: tuple[Vector, Vector] | None = None
    sharp: bool = False
    bends: int = 0
    unbounded: bool = False
    finer: geometry.Parts = ()
    ends: Ends | None = None
    widest: BeamGeometry | None = None

    def __hash__(self) -> int:
        """Return a number that most others do not have."""
        return hash((self.apex, self.surface, self.offset, self.factor, self.spot, id(self.profile)))

    @property
    def as_beam(self) -> BeamProfile:
        """Its profile, of what is known to be a beam and no lit spot."""
        assert isinstance(self.profile, BeamProfile)
        return self.profile

    @cached_property
    def row(self) -> tuple[object, ...]:
        """What bounds of it need, in the order of `ROW`."""
        profile, box, none = self.profile, angles_of(self.directions), (0.0, 0.0, 0.0)
        beam = profile.row if isinstance(profile, BeamProfile) else geometry.NO_BEAM
        last = profile.last_waist if isinstance(profile, BeamProfile) and not self.one_path else 0.0
        scatter = profile if isinstance(profile, ScatterProfile) else None
        kind = _BOXES if self.parts else _APEX if not (any(self.moves) or self.wide) else _BOXES
        if self.spots is not None:
            kind = _DISC if self.spots.normal is not None else _BALL if self.patch else _SPHERE
        on, normal = self.plane or (none, none)
        aims, back = self.aims or (self.directions, geometry.STRAIGHT)
        cut_on, cut_normal = self.cut_plane() or (none, none)
        disc, wide, upright = self.through or (none, math.inf, none)
        return (
            self.apex, self.moves, self.offset, self.factor, box,
            on, normal, self.plane is not None, normal if self.parts and not self.wide else none, self.bulge,
            disc, wide, upright, self.tails, angles_of(aims), back,
            self.spot, self.slack if self.spots is not None else 0.0, kind,
            self.aimed, self.bend == "flat", (math.nan,) * 3 if self.home is None else tuple(self.home.tolist()),
            cut_on, cut_normal, *beam, last,
            0.0 if scatter is None or scatter.size else scatter.at_one,
            scatter is not None and scatter.lambert, scatter is not None and scatter.size > 0.0,
            CLOSEST if scatter is None else scatter.nearest,
            math.inf if scatter is None or not scatter.spread > 0.0 else scatter.at_one / scatter.spread**2,
            self.ends or _NO_ENDS, self.origin or ((math.nan,) * 3, none), self.passed,
        )  # fmt: skip

    @cached_property
    def tails(self) -> tuple[float, float]:
        """How far from the apex light can start, and how far from an axis it can pass the disc that it passes. [m]."""
        if self.through is None or not self.aimed:
            return self.spot, 0.0
        loose, (middle, radius) = math.hypot(*self.moves), self.through[:2]
        away = math.dist(middle, self.apex)
        ends = (max(away + side * (loose + radius), 0.0) for side in (-1.0, 1.0))
        if self.sharp:
            return loose, 0.0
        return loose + self.as_beam.tail(0.0, self.factor), max(self.as_beam.tail(one, self.factor) for one in ends)

    @cached_property
    def passed(self) -> tuple[float, float, float, float]:
        """What bounds light at a distance L behind the disc that all of it passes, smaller than the beam [1]_.

        The ratio at the disc at most, the square of how far behind it that is spread [m2], times L^2 the ratio of all
        that passes [m2], and twice the radius [m]; infinite where nothing is known.

        References
        ----------
        .. [1] Own: docs/method.md, section 16.
        """
        profile, unknown = self.profile, (math.inf, math.inf, math.inf, 0.0)
        if self.through is None or not self.aimed or not isinstance(profile, BeamProfile):
            return unknown
        beam, angle, width = profile.beam, profile.beam.divergence[0], profile.widths(np.zeros(()))[0]
        slope = profile.tail(0.0, self.factor) / float(width) * angle  # of all rays that count
        plain = beam.circular and beam.profile == "gaussian" and beam.propagation != "linear"
        if not plain or not 0.0 < slope < STEEP or profile.wider != 1.0 or profile.loose:
            return unknown
        loose, (middle, radius) = math.hypot(*self.moves), self.through[:2]
        reach, away = loose + radius, math.dist(middle, self.apex) + self.offset
        waist = beam.waist_position[0]
        ends = [max(away + side * reach, 0.0) for side in (-1.0, 1.0)]
        places = np.array([*ends, min(max(waist, ends[0]), ends[1])])
        narrow, wide = (float(pick(profile.widths(places)[0])) for pick in (np.min, np.max))
        spread, radius = angle * max(beam.waist_diameter[0], geometry.POINT) / wide, radius * (1.0 + slope)
        most = 4.0 / math.pi * max(profile.strengths.values(), default=0.0) / math.cos(slope) ** 2
        share = -math.expm1(-((2.0 * radius / narrow) ** 2))
        there = most / narrow**2 if ends[0] >= waist else math.inf
        return there, (2.0 * radius / spread) ** 2, most * share / spread**2, 2.0 * radius

    @cached_property
    def near(self) -> tuple[FLOAT, FLOAT]:
        """Boxes that hold all of where light starts, as few as tell how far it is: middles and half edges. [m]."""
        if self.parts:
            return _of_parts(self.parts, self.wide)[1]
        if self.spots is None:
            return np.array([self.apex]), np.array([self.moves]) + self._blur
        middle, half = boxes_of(self.spots)[1]
        return middle, half + self.wide

    @cached_property
    def _blur(self) -> float:
        """How far from its axis light starts. [m]."""
        beam = isinstance(self.profile, BeamProfile) and not self.sharp
        return self.profile.tail(self.offset, self.factor) if beam else self.wide  # type: ignore[union-attr]

    @cached_property
    def starts(self) -> tuple[FLOAT, FLOAT]:
        """Boxes in which all light starts: middles and half edges, of shape (starts, 3). [m]."""
        if self.parts:
            return _of_parts(self.parts, self.wide)[0]
        if self.spots is None:
            middle, half = _parts(np.array(self.apex), np.array(self.moves), _MOVED)
            return middle, half + self._blur
        middle, half = boxes_of(self.spots)[0]
        return middle, half + self.wide

    @cached_property
    def in_order(self) -> tuple[FLOAT, FLOAT]:
        """The same boxes in an order in which those that follow one another are near to one another."""
        middle, half = self.starts
        low, high = middle.min(axis=0), middle.max(axis=0)
        cell = ((middle - low) / np.maximum(high - low, 1e-9) * 7.999).astype(np.intp)
        order = np.argsort(_SPREAD.take(cell) @ (1, 2, 4), kind="stable")
        return middle[order], half[order]

    def starts_past(self, walls: Walls) -> tuple[FLOAT, FLOAT]:
        """Return the same boxes, without what lies behind walls for a head. [m]."""
        if not len(walls):
            return self.starts
        if self.home is None or self.cut_plane() is not None:
            return self.in_order
        return walls.confined(self.home, *self.in_order)

    @property
    def aimed(self) -> bool:
        """Whether it is a beam in certain directions, so that some places are in it and others are not."""
        return self.spots is None and isinstance(self.profile, BeamProfile)

    @property
    def beside(self) -> float:
        """By how much the straight way along a ray of it can be longer than its axis, see `BeamProfile`. [m]."""
        return self.profile.beside_axis if self.aimed and isinstance(self.profile, BeamProfile) else 0.0

    @property
    def straight_from(self) -> tuple[Vector, Vector] | None:
        """The `origin` of what flat mirrors make of it."""
        if not self.aimed or self.bend != "flat":
            return self.origin
        x, y, z = (one + self.beside for one in self.moves)
        return self.apex, (x, y, z)

    @property
    def home(self) -> FLOAT | None:
        """The side of walls on which all light starts: that of its apex; None where spots may be on both."""
        return None if self.spots is not None or self.parts else np.array(self.apex)

    def still(self, point: FLOAT) -> list[Source]:
        """Return it at single places from which a point [m] of shape (3,) can get much light for certain."""
        apex, moves = np.array(self.apex), np.array(self.moves)
        x, y, z = np.clip(point, apex - moves, apex + moves).tolist()
        return [replace(self, apex=at, moves=(0.0, 0.0, 0.0)) for at in (self.apex, (x, y, z))]

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
        """Whether light has one path to each point; else the end of it is not known, see `beam_from_here_on`."""
        return self.spots is None and self.bend == "flat"

    def cut_plane(self) -> tuple[Vector, Vector] | None:
        """Return the mirror behind which screens do not count, None without one."""
        return self.plane if self.way == "mirror" and self.start > 0.0 else self.seen_in

    def path_to(self, point: Vector) -> float:
        """Return the length of the way from the last optic, or from the lit spot, to a point. [m]."""
        here = np.array([point])
        start, size = self.starts if self.parts else (np.array([self.apex]), np.array([self.moves]))
        away = float(np.sqrt(np.square(np.maximum(np.abs(here - start) - size, 0.0)).sum(axis=1).min()))
        if self.spots is not None:
            away = float(self.spots.away(*here.T)[0])
        return max(away + self.offset, CLOSEST if self.way == "scatter" else geometry.NEAREST)


@lru_cache(maxsize=4096)  # one spot sends light against many limits
def boxes_of(spots: Spots) -> tuple[tuple[FLOAT, FLOAT], tuple[FLOAT, FLOAT]]:
    """Return boxes that hold all places of a spot, and one box round them: middles and half edges. [m]."""
    corners, (bottom, top) = spots.corners, spots.heights
    low, high = (np.array([*pick(corners, axis=0), z]) for pick, z in ((np.min, bottom), (np.max, top)))
    middle, half = _parts((low + high) / 2.0, (high - low) / 2.0, _LIT)
    half = half + spots.slack
    reached = spots.away(*middle.T) <= np.sqrt(np.square(half).sum(axis=1)) + 1e-6
    middle, half = middle[reached], half[reached]
    hull = hulls(middle, half, np.zeros(1, dtype=np.intp))
    return (middle, half), (hull[0], hull[1])


@lru_cache(maxsize=512)  # one face scatters against many limits
def _of_parts(parts: tuple[tuple[float, ...], ...], wide: float) -> tuple[tuple[FLOAT, FLOAT], tuple[FLOAT, FLOAT]]:
    """Return boxes, and the same with those that touch with a whole side as one: middles and half edges. [m]."""
    boxes = np.array(parts)
    middle, half = boxes[:, :3], boxes[:, 3:] + wide
    low, high = np.round(middle - half, 9), np.round(middle + half, 9)
    for axis in (0, 1, 2, 0, 1):
        others = [other for other in range(3) if other != axis]
        keys = [*low[:, others].T, *high[:, others].T]
        order = np.lexsort([low[:, axis], *keys])
        low, high = low[order], high[order]
        same = (low[1:, others] == low[:-1, others]).all(axis=1) & (high[1:, others] == high[:-1, others]).all(axis=1)
        first = np.append(True, ~(same & (low[1:, axis] == high[:-1, axis])))
        ends = high[np.append(first[1:], True), axis]
        low, high = low[first], high[first]
        high[:, axis] = ends
    return (middle, half), ((low + high) / 2.0, (high - low) / 2.0 + 1e-9)


def _parts(middle: FLOAT, half: FLOAT, most: int) -> tuple[FLOAT, FLOAT]:
    """Return a box in up to so many parts along each edge: middles and half edges, of shape (parts, 3). [m]."""
    counts = [most if edge > 0.0 else 1 for edge in half]
    steps = [(2.0 * np.arange(n) + 1.0) / n - 1.0 for n in counts]
    grid = np.stack([axis.ravel() for axis in np.meshgrid(*steps, indexing="ij")], axis=1)
    return middle + grid * half, np.broadcast_to(half / np.array(counts), grid.shape).copy()


def beside_axes(angles: FLOAT, v: FLOAT, wide: FLOAT, aside: FLOAT) -> FLOAT:
    """Return how far from the axes of sets of directions it is at least anywhere in boxes [m] [1]_.

    A set that is convex, a direction or a cone, lies behind the plane through its place that is nearest to the middle
    of a box, across the way from there: no place of the box is nearer than it reaches against that way. Beside other
    sets the box counts as the ball round it.

    Parameters
    ----------
    angles : numpy.ndarray, shape (n, 5)
        As `angles_of` gives them. [rad]
    v, wide : numpy.ndarray, shape (n, 3)
        Middles and half edges of the boxes, from where the directions start. [m]
    aside : numpy.ndarray, shape (n,)
        How far the middles are from the lines along the nearest directions. [m]

    Returns
    -------
    numpy.ndarray, shape (n,)
        0 where an axis may pass the box.

    References
    ----------
    .. [1] docs/method.md, section 16.
    """
    found = aside - np.sqrt(np.einsum("ij,ij->i", wide, wide))
    convex = (angles[:, 1] == 0.0) & (angles[:, 2] == angles[:, 3]) & (angles[:, 4] <= math.pi / 2.0)
    at = (convex & wide.any(axis=1)).nonzero()[0]
    if at.size:
        way = nearest(angles[at], v[at])
        off = v[at] - np.maximum(np.einsum("ij,ij->i", way, v[at]), 0.0)[:, None] * way
        away = np.sqrt(np.einsum("ij,ij->i", off, off))
        found[at] = np.maximum(
            found[at], away - np.einsum("ij,ij->i", np.abs(off), wide[at]) / np.maximum(away, 1e-300)
        )
    return np.asarray(np.maximum(found, 0.0))


def squared_gaps(middle: FLOAT, half: FLOAT, start: FLOAT, size: FLOAT) -> FLOAT:
    """Return squares of how far boxes are from others, of shape (boxes, others), which are (boxes, 3, others). [m2]."""
    between = np.abs(middle[:, :, None] - start)
    between -= half[:, :, None]
    between -= size
    np.maximum(between, 0.0, out=between)
    between *= between
    return np.asarray(between[:, 0] + between[:, 1] + between[:, 2])  # by hand: sums over three are slow


def pairs_of(count: INDEX, begin: INDEX) -> tuple[INDEX, INDEX]:
    """Return so many numbers for each row that follow one another from where they begin: the row, and the number."""
    row = np.repeat(np.arange(len(count)), count)
    return row, np.arange(len(row)) + np.repeat(begin - (np.cumsum(count) - count), count)


def total(group: INDEX, each: FLOAT, rest: FLOAT | None = None) -> FLOAT:
    """Return the sum over groups of the highest of each, for arrays of shape (boxes, n); NaN counts as infinite.

    What is known of the others of each group may be given, of shape (boxes, groups).
    """
    found, count = np.zeros(len(group)), int(group.max(initial=-1)) + 1 if rest is None else rest.shape[1]
    for number in range(count):
        highest = (each if count == 1 else np.where(group == number, each, 0.0)).max(axis=1, initial=0.0)
        found = found + (highest if rest is None else np.maximum(highest, rest[:, number]))
    return np.where(np.isnan(found), np.inf, found)


def hulls(middle: FLOAT, half: FLOAT, begin: INDEX) -> FLOAT:
    """Return boxes round boxes from each beginning to the next: middles and half edges, of shape (2, hulls, 3). [m]."""
    if not begin.size:
        return np.zeros((2, 0, 3))
    low = np.minimum.reduceat(middle - half, begin, axis=0)
    high = np.maximum.reduceat(middle + half, begin, axis=0)
    return np.stack([low + high, high - low]) / 2.0


class Starts:
    """Boxes in which lights start, several for each.

    Parameters
    ----------
    boxes : sequence of (numpy.ndarray, numpy.ndarray)
        Of each light the middles and half edges, of shape (starts, 3). [m]
    """

    def __init__(self, boxes: Sequence[tuple[FLOAT, FLOAT]]) -> None:
        self.boxes = list(boxes)
        self.count = np.array([len(middle) for middle, _ in boxes], dtype=np.intp)

    @cached_property
    def _padded(self) -> tuple[INDEX, INDEX, list[tuple[FLOAT, FLOAT]]]:
        """Class of each light, its number in it, and of each class the boxes in which its lights start."""
        kind = np.searchsorted(_CLASSES, self.count)
        place, tables = np.zeros(len(self.boxes), dtype=np.intp), []
        for one in range(len(_CLASSES)):
            own = (kind == one).nonzero()[0]
            place[own] = np.arange(len(own))
            most = int(self.count[own].max(initial=1))
            middle, half = np.full((len(own), 3, most), _AWAY), np.zeros((len(own), 3, most))
            for row, number in enumerate(own.tolist()):
                count = self.count[number]
                middle[row, :, :count], half[row, :, :count] = (one.T for one in self.boxes[number])
            tables.append((middle, half))
        return kind, place, tables

    @cached_property
    def clusters(self) -> Starts:
        """Boxes round several that follow one another."""
        middle, half, begin = self.every
        counts = -(-self.count // CLUSTER)
        ends = np.cumsum(counts)
        of, slot = pairs_of(counts, np.zeros_like(counts))
        parts = (np.split(one, ends[:-1]) for one in hulls(middle, half, begin[of] + slot * CLUSTER))
        return Starts(list(zip(*parts, strict=True)))

    @cached_property
    def every(self) -> tuple[FLOAT, FLOAT, INDEX]:
        """Middles and half edges of all boxes in a row [m], and where those of each light begin."""
        none = np.zeros((0, 3))
        middle, half = (np.concatenate([none, *(one[part] for one in self.boxes)]) for part in (0, 1))
        return middle, half, np.cumsum(self.count) - self.count

    @cached_property
    def hull(self) -> tuple[FLOAT, FLOAT]:
        """A box round all boxes in which each light starts, of shape (lights, 3); 0 where there is none. [m]."""
        middle, half, begin = self.every
        some, ends = (self.count > 0).nonzero()[0], np.zeros((2, len(self.boxes), 3))
        ends[:, some] = hulls(middle, half, begin[some])
        return ends[0], ends[1]

    def pairs(self, light: INDEX, clusters: tuple[INDEX, INDEX]) -> tuple[INDEX, INDEX]:
        """Return the boxes in some clusters of the light of each row: the row, and which of all boxes."""
        of, cluster = clusters
        first = cluster * CLUSTER
        row, at = pairs_of(np.minimum(self.count[light[of]] - first, CLUSTER), self.every[2][light[of]] + first)
        return of[row], at

    def each(self, light: INDEX) -> Iterator[tuple[INDEX, FLOAT, FLOAT]]:
        """Give some of the rows with the boxes in which their lights start, of shape (rows or 1, 3, starts)."""
        kind, place, tables = self._padded
        own = kind[light]
        for one, (middle, half) in enumerate(tables):
            rows = (own == one).nonzero()[0]
            if not rows.size:
                continue
            at = place[light[rows]]
            alike = [(rows, at)]
            if middle.shape[2] > _CLASSES[1] and len(rows) > _ALIKE * len(middle):
                alike = [(rows[at == number], np.array([number])) for number in sorted(set(at.tolist()))]
            for some, which in alike:
                step = max(_CELLS // middle[0].size, 1)
                for first in range(0, len(some), step):
                    part = which if len(which) == 1 else which[first : first + step]
                    yield some[first : first + step], middle.take(part, 0), half.take(part, 0)

    def nearest(self, light: INDEX, middle: FLOAT, half: FLOAT) -> tuple[FLOAT, INDEX]:
        """Return how far boxes are from where a light starts [m], of shape (rows,), and which of `every` is nearest."""
        gap, place = np.zeros(len(light)), self.every[2][light]
        for rows, start, size in self.each(light):
            between = squared_gaps(middle[rows], half[rows], start, size)
            best = between.argmin(axis=1)
            gap[rows] = np.sqrt(between[np.arange(len(rows)), best])
            place[rows] += best
        return gap, place
