"""Lit spots that a turning head takes along: the nearest one, what hides all of them, their outline on the floor.

The spots lie on a part of a sphere round the last optic, or on a patch of a surface. A place counts as hidden only
where one wall, up to three that join, or a closed row of walls stands between it and every spot. All other conditions
are half-spaces, so that the corners of a body round the spots answer for all spots inside.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.scene.directions import Directions, Vector
from lasersafe.scene.screens import Piece, Ring, rings_of

FLOAT = NDArray[np.float64]
Spot = tuple[float, float]
Plane = tuple[float, float, float]  # on the plan: a x + b y >= c
_STEP = math.radians(10.0)
_JOINED = 3  # walls in a row that hide together
_SHARES = (0.85, 0.7, 0.55, 0.4, 0.25, 0.1)  # of the walls at the ends of a row
_SEGMENTS = 32  # of a quarter of a round corner
_FEW = 4096  # points that are looked at in one pass
_ROUND = 1.0 / math.cos(math.pi / (4 * _SEGMENTS))


@dataclass(frozen=True)
class Edge:
    """A wall of a row: its line, beyond which no spot is, and the heights that its edges hide by distance beyond it.

    Hidden is what lies beyond the line where no way to it goes over or under the wall.
    """

    plane: Plane
    bottom: float
    top: float
    falls: float  # by how much per metre the lowest hidden height rises
    rises: float

    def on_floor(self, band: tuple[float, float]) -> tuple[Plane, ...]:
        """Return the half-planes in which all heights of a band are hidden."""
        return (
            self.plane,
            *self._from(self.rises, band[1] - self.top),
            *self._from(-self.falls, self.bottom - band[0]),
        )

    def _from(self, slope: float, least: float) -> tuple[Plane, ...]:
        """Return where slope times the distance beyond the line is at least a value."""
        a, b, c = self.plane
        if abs(slope) < 1e-12:
            return () if least <= 0.0 else ((-a, -b, 1e9), (a, b, 1e9))
        where = c + least / slope
        return ((a, b, where),) if slope > 0.0 else ((-a, -b, -where),)


@dataclass(frozen=True)
class Wall:
    """One solid piece, or several that join: the part of the plan that no spot sees."""

    edges: tuple[Edge, ...]
    sides: tuple[Plane, ...]


@dataclass(frozen=True, eq=False)
class _Conditions:
    """The half-spaces of all walls, each once, and which of them each wall asks for."""

    edges: FLOAT  # of shape (7, edges, 1): plane, bottom, top, falls, rises
    sides: FLOAT  # of shape (3, sides, 1)
    asked: NDArray[np.intp]  # of shape (walls, most that one asks for), the last one again where it asks for fewer

    def hide(self, x: FLOAT, y: FLOAT, z: FLOAT) -> NDArray[np.bool_]:
        """Return which points of shape (points,) at least one wall hides."""
        a, b, c, bottom, top, falls, rises = self.edges
        beyond = a * x + b * y - c
        behind = (beyond >= 0.0) & (z >= bottom + falls * beyond) & (z <= top + rises * beyond)
        a, b, c = self.sides
        met = np.concatenate([behind, a * x + b * y >= c])
        hidden = met[self.asked[:, 0]]
        for one in self.asked.T[1:]:
            hidden &= met[one]
        return np.asarray(hidden.any(axis=0))


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
        beside = np.maximum(far - self.directions.axial(dx, dy, dz), 0.0)
        return np.asarray(np.sqrt((far - self.distance) ** 2 + 2.0 * self.distance * beside))

    @cached_property
    def heights(self) -> tuple[float, float]:
        """The lowest and the highest spot. [m]."""
        if self.normal is not None:
            rise = self.distance * math.sqrt(max(1.0 - self.normal[2] ** 2, 0.0))
            return self.apex[2] - rise, self.apex[2] + rise
        low, high = (self.apex[2] + self.distance * math.sin(e) for e in self.directions.box().elevation)
        return low, high

    @cached_property
    def plan(self) -> shapely.Geometry:
        """The spots on the plan, rounded outwards."""
        if self.normal is not None:
            return shapely.MultiPoint(self._disc(self.normal)).convex_hull
        box = self.directions.box()
        cosines = [math.cos(e) for e in box.elevation]
        longest = 1.0 if box.elevation[0] < 0.0 < box.elevation[1] else max(cosines)
        half = min(box.half_bearing, math.pi)
        turns = np.linspace(box.bearing - half, box.bearing + half, max(1, math.ceil(2.0 * half / _STEP)) + 1)
        step = float(turns[1] - turns[0]) / 2.0
        middles = (turns[:-1] + turns[1:]) / 2.0
        outer, inner = self.distance * longest, self.distance * max(min(cosines), 0.0)
        if half >= math.pi:
            return shapely.Polygon(self._ring(middles, outer / math.cos(step)))
        bend = np.concatenate([turns[:1], middles, turns[-1:]])
        wide = np.concatenate([[outer], np.full(middles.size, outer / math.cos(step)), [outer]])
        rings = [self._ring(bend, wide), self._ring(turns[::-1], inner)]
        edge = np.concatenate([*rings, rings[0][:1]])
        inside = shapely.Polygon(edge)
        return shapely.union(shapely.make_valid(inside), shapely.LineString(edge))

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

    def samples(self) -> FLOAT:
        """Return some of the spots, of shape (spots, 3), as starts of a search. [m]."""
        box = self.directions.box()
        half = min(box.half_bearing, math.pi)
        bearings = box.bearing + np.linspace(-half, half, 9)
        b, e = (a.ravel() for a in np.meshgrid(bearings, np.linspace(*box.elevation, 3)))
        flat = self.distance * np.cos(e)
        x, y = self.apex[0] + flat * np.sin(b), self.apex[1] + flat * np.cos(b)
        return np.stack([x, y, self.apex[2] + self.distance * np.sin(e)], axis=1)

    def hidden(self, x: FLOAT, y: FLOAT, z: FLOAT, pieces: tuple[Piece, ...]) -> NDArray[np.bool_]:
        """Return which points no spot sees, for what stands between; fewer rather than more."""
        shape = np.broadcast_shapes(np.shape(x), np.shape(y), np.shape(z))
        rows, rings = _conditions(self, pieces), self._rings(pieces)
        found = np.zeros(math.prod(shape), dtype=bool)
        x, y, z = (np.broadcast_to(one, shape).ravel() for one in (x, y, z))
        for start in range(0, x.size if rows is not None else 0, _FEW):
            part = slice(start, start + _FEW)
            found[part] = rows.hide(x[part], y[part], z[part])  # type: ignore[union-attr]
        for ring in rings:
            found |= ring.hides(x, y, z)
        return found.reshape(shape)

    def _rings(self, pieces: tuple[Piece, ...]) -> list[Ring]:
        """Return the closed rows of walls that stand round all spots."""
        return [ring for ring in rings_of(pieces) if ring.closed_in(self.corners, self.heights)]

    def outline(self, reach: float, band: tuple[float, float], pieces: tuple[Piece, ...]) -> shapely.Geometry:
        """Return the area on the floor within a reach [m] of any spot at some height of a band [m]."""
        low, high = self.heights
        gap = max(low - band[1], band[0] - high, 0.0)
        if not reach > gap:
            return shapely.Polygon()
        wide = math.sqrt(reach * reach - gap * gap) * _ROUND
        area = self.plan.buffer(wide, quad_segs=_SEGMENTS)
        shadows = [_shadow(wall, area.bounds, band) for wall in _walls(self, pieces)]
        shadows = [one for one in shadows if one is not None]
        for ring in self._rings(pieces):
            if ring.bottom <= band[0] and band[1] <= ring.top:
                area = shapely.intersection(area, ring.area)
        return shapely.difference(area, shapely.union_all(shadows)) if shadows else area


@lru_cache(maxsize=256)
def _walls(spots: Spots, pieces: tuple[Piece, ...]) -> tuple[Wall, ...]:
    found: list[Wall] = []
    solid = list(pieces)
    for chain, line in _chains(solid):
        joined = [_others(solid, chain, line[0]), _others(solid, chain, line[-1])]
        found += _hiding(spots, chain, np.array(line), joined)
    return tuple(found)


@lru_cache(maxsize=256)
def _conditions(spots: Spots, pieces: tuple[Piece, ...]) -> _Conditions | None:
    walls = _walls(spots, pieces)
    if not walls:
        return None
    edges = list(dict.fromkeys(edge for wall in walls for edge in wall.edges))
    sides = list(dict.fromkeys(side for wall in walls for side in wall.sides))
    both: list[Edge | Plane] = [*edges, *sides]
    place: dict[object, int] = {one: index for index, one in enumerate(both)}
    asked = [[place[one] for one in (*wall.edges, *wall.sides)] for wall in walls]
    most = max(len(one) for one in asked)
    return _Conditions(
        np.array([(*e.plane, e.bottom, e.top, e.falls, e.rises) for e in edges]).T[:, :, np.newaxis],
        np.array(sides).reshape(-1, 3).T[:, :, np.newaxis],
        np.array([[*one, *[one[-1]] * (most - len(one))] for one in asked]),
    )


def _edge(spots: Spots, piece: Piece, plane: Plane) -> Edge:
    a, b, c = plane
    away = c - spots.corners @ np.array([a, b])
    low, high = spots.heights
    far, near = float(away.max()), max(float(away.min()), 1e-9)
    falls = max((piece.bottom - low) / far, (piece.bottom - low) / near)
    rises = min((piece.top - high) / far, (piece.top - high) / near)
    return Edge(plane, piece.bottom, piece.top, falls, rises)


def _same(a: Spot, b: Spot) -> bool:
    return math.dist(a, b) <= 1e-9


def _others(pieces: list[Piece], chain: list[Piece], end: Spot) -> list[Spot]:
    """Return the far ends of the pieces that join a row of pieces at one of its ends."""
    rest = [p for p in pieces if p not in chain]
    return [p.end for p in rest if _same(p.start, end)] + [p.start for p in rest if _same(p.end, end)]


def _chains(pieces: list[Piece]) -> Iterator[tuple[list[Piece], list[Spot]]]:
    """Give each piece, and each row of pieces that join end to end, with its corners."""

    def grow(used: list[int], line: list[Spot]) -> Iterator[tuple[list[int], list[Spot]]]:
        if len(used) == 1 or used[0] < used[-1]:
            yield used, line
        if len(used) < _JOINED:
            for index, piece in enumerate(pieces):
                for start, end in ((piece.start, piece.end), (piece.end, piece.start)):
                    if index not in used and _same(line[-1], start):
                        yield from grow([*used, index], [*line, end])

    for first, piece in enumerate(pieces):
        ways = itertools.chain(
            grow([first], [piece.start, piece.end]),
            (one for one in grow([first], [piece.end, piece.start]) if len(one[0]) > 1),
        )
        for used, line in ways:
            yield [pieces[i] for i in used], line


def _cross(a: FLOAT, b: FLOAT) -> FLOAT:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _hiding(spots: Spots, chain: list[Piece], line: FLOAT, joined: list[list[Spot]]) -> Iterator[Wall]:
    """Give what a row of walls hides from all spots; nothing when they stand on both sides of one of them.

    Seen from every spot the corners of the row have to follow one another in one sense and within half a turn. Hidden
    is what lies beyond the lines of all walls, and at both ends of the row either within the outermost way past the end
    or on the spots' side of a wall that joins there: then the way of the light cannot get round that end.
    """
    corners = spots.corners
    seen = line[None, :, :] - corners[:, None, :]
    turns = _cross(seen[:, :-1], seen[:, 1:])
    if (turns < 0.0).all():
        line, seen, turns, joined = line[::-1], seen[:, ::-1], -turns[:, ::-1], joined[::-1]
        chain = chain[::-1]
    if not (turns > 1e-12).all():
        return
    if not _within_half_turn(line, corners):  # part of a wall is a wall too
        shorter = (_shortened(line, share) for share in _SHARES if len(line) > 2)
        line = next((one for one in shorter if _within_half_turn(one, corners)), line[:0])
        if not len(line):
            return
        seen, joined = line[None, :, :] - corners[:, None, :], [[], []]
    lines = [_left(line[i + 1], line[i] - line[i + 1]) for i in range(len(line) - 1)]
    edges = tuple(_edge(spots, piece, plane) for piece, plane in zip(chain, lines, strict=True))
    back, first, last = line[0] - line[1], seen[:, 0], seen[:, -1]
    widest = first[int(np.argmax(np.arctan2(_cross(back, first), first @ back)))]
    back = line[-2] - line[-1]
    narrowest = last[int(np.argmin(np.arctan2(_cross(back, last), last @ back)))]
    ends = (
        [_left(line[0], widest), *_sides(line[0], line[1], joined[0], corners)],
        [_left(line[-1], -narrowest), *_sides(line[-1], line[-2], joined[1], corners)],
    )
    for pair in itertools.product(*ends):
        yield Wall(edges, pair)


def _within_half_turn(line: FLOAT, corners: FLOAT) -> bool:
    return bool((_cross(line[0] - corners, line[-1] - corners) > 1e-12).all())


def _shortened(line: FLOAT, share: float) -> FLOAT:
    """Return a row of walls with only a part of its first and of its last wall."""
    found = line.copy()
    found[0] = line[1] + share * (line[0] - line[1])
    found[-1] = line[-2] + share * (line[-1] - line[-2])
    return found


def _sides(end: FLOAT, inner: FLOAT, joined: list[Spot], corners: FLOAT) -> Iterator[Plane]:
    """Give the spots' side of each wall that joins at an end, where the row and all spots lie on one side of it."""
    for other in joined:
        way = np.array(other) - end
        sides = _cross(way, np.concatenate([corners, inner[None, :]]) - end)
        if (sides > 1e-12).all():
            yield _left(end, way)
        elif (sides < -1e-12).all():
            yield _left(end, -way)


def _left(on: FLOAT, way: FLOAT) -> Plane:
    """Return the half-plane to the left of a way through a point, less a hair."""
    size = math.hypot(way[0], way[1])
    a, b = -float(way[1]) / size, float(way[0]) / size
    return a, b, a * float(on[0]) + b * float(on[1]) + 1e-9


def _shadow(wall: Wall, bounds: tuple[float, float, float, float], band: tuple[float, float]) -> shapely.Polygon | None:
    """Return the part of a rectangle that a wall hides at all heights of a band."""
    low_x, low_y, high_x, high_y = bounds
    ring = [(low_x - 1, low_y - 1), (high_x + 1, low_y - 1), (high_x + 1, high_y + 1), (low_x - 1, high_y + 1)]
    for a, b, c in (*wall.sides, *(plane for edge in wall.edges for plane in edge.on_floor(band))):
        kept = []
        for (px, py), (qx, qy) in zip(ring, [*ring[1:], *ring[:1]], strict=True):
            p, q = a * px + b * py - c, a * qx + b * qy - c
            if p >= 0.0:
                kept.append((px, py))
            if p * q < 0.0:
                kept.append((px + (qx - px) * p / (p - q), py + (qy - py) * p / (p - q)))
        if len(kept) < 3:
            return None
        ring = kept
    return shapely.Polygon(ring)
