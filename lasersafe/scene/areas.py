"""Outlines of zones on the floor: polygons that hold every place where the limit can be exceeded.

An outline is made ray by ray round the source and rounded outwards: arcs are circumscribed, a screen counts only where
it hides the whole band of heights that light can reach a person through.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.optics.checks import unique
from lasersafe.records.scene import Polygon
from lasersafe.scene.directions import Box
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source

FLOAT = NDArray[np.float64]
PAD = 0.01  # m, outwards on every side
_STEP = math.radians(2.0)
_HAIR = 1e-5  # m: seams between two shadows are narrower
_NEAR = 0.05  # m: nearer to the optic than this a small disc stands for the beam
_UPRIGHT = math.radians(89.99)
_GRID = 400
_STEEP = math.radians(75.0)  # what points more steeply is outlined all round


def _spread_slopes(source: Source, box: Box, near: float) -> tuple[FLOAT, FLOAT]:
    """Return distances on the floor, and by how much of each the light can lie beside its direction, or farther out.

    Light at most w beside a direction lies at most w beside the upright plane through that direction.
    """
    distance = np.geomspace(near, max(source.reach - source.offset, near * 1.01), _GRID)
    if not isinstance(source.profile, BeamProfile):
        return distance, np.zeros(_GRID)
    steepest = min(max(abs(box.elevation[0]), abs(box.elevation[1])), _UPRIGHT)
    wide = source.profile.spread(distance + source.offset, source.factor) * 1.001
    first = np.maximum(np.searchsorted(distance, 0.8 * distance) - 1, 0)
    last = np.minimum(np.searchsorted(distance, 1.2 * distance / math.cos(steepest)) + 1, _GRID - 1)
    ends = np.stack([first, last + 1], axis=1).ravel()
    window = np.maximum.reduceat(np.append(wide, 0.0), ends)[::2]
    slope = window / distance
    return distance, np.maximum.accumulate(slope[::-1])[::-1]


def _heights(source: Source, box: Box, distance: FLOAT, slope: FLOAT) -> tuple[FLOAT, FLOAT]:
    """Return the lowest and highest place that light can be at, by distance on the floor. [m]."""
    low, high = (min(max(e, -_UPRIGHT), _UPRIGHT) for e in box.elevation)
    below = math.tan(low) - slope / math.cos(low)
    above = math.tan(high) + slope / math.cos(high)
    return source.apex[2] + distance * below, source.apex[2] + distance * above


def _bearings(box: Box, slope: FLOAT, steep: bool, pieces: Sequence[Piece], apex: tuple[float, float, float]) -> FLOAT:
    """Return the bearings of the rays, relative to the middle of the box."""
    if steep:
        rays = np.linspace(-math.pi, math.pi, math.ceil(2.0 * math.pi / _STEP) + 1)
        half = math.pi
    else:
        beside = math.atan(float(slope[0]))
        smallest = max(math.atan(float(slope[-1])) / 4.0, beside / 1e4, 1e-7)
        steps = np.concatenate([[0.0], np.geomspace(smallest, beside, 48)]) if beside > 0.0 else np.zeros(1)
        half = min(box.half_bearing + beside, math.pi)
        inside = np.linspace(-box.half_bearing, box.half_bearing, max(3, math.ceil(2 * box.half_bearing / _STEP) + 1))
        rays = np.concatenate([-box.half_bearing - steps[::-1], inside, box.half_bearing + steps])
        rays = rays[np.abs(rays) <= half]
    ends = np.array([p for piece in pieces for p in (piece.start, piece.end)]).reshape(-1, 2)
    if ends.size:
        turn = np.arctan2(ends[:, 0] - apex[0], ends[:, 1] - apex[1]) - box.bearing
        turn = (turn + math.pi) % (2.0 * math.pi) - math.pi
        rays = np.concatenate([rays, turn[np.abs(turn) <= half]])
    rays = unique(rays)
    found: FLOAT = rays[np.concatenate([[True], np.diff(rays) > 1e-8])]
    return found


def _farthest(source: Source, box: Box, rays: FLOAT, distance: FLOAT, slope: FLOAT, steep: bool) -> FLOAT:
    """Return for each pair of neighbouring rays how far from the apex the limit can be exceeded between them. [m]."""
    reach = max(source.reach - source.offset, 0.0)
    if steep or not isinstance(source.profile, BeamProfile):
        return np.full(rays.size - 1, reach)
    beside = np.maximum(np.minimum(np.abs(rays[:-1]), np.abs(rays[1:])) - box.half_bearing, 0.0)
    beside = np.where(rays[:-1] * rays[1:] < 0.0, 0.0, beside)
    turned = np.tan(np.minimum(beside, _UPRIGHT))
    # the slope falls with distance: the last place where it is still at least as large
    index = np.searchsorted(-slope, -turned * (1.0 - 1e-9), side="right")
    far = distance[np.minimum(index, _GRID - 1)] / np.cos(np.minimum(beside, 1.5))
    found: FLOAT = np.where(beside <= 1e-12, reach, np.minimum(far, reach * 1.001))
    return found


def outline(
    source: Source, band: tuple[float, float], pieces: Sequence[Piece] = (), near: float = _NEAR
) -> shapely.Geometry:
    """Return the area on the floor in which a source can exceed the limit at some height of a band.

    Parameters
    ----------
    source : Source
        The source; its ``reach`` limits the area.
    band : tuple of float
        Lowest and highest place that a person can hold an eye or skin to. [m]
    pieces : sequence of Piece
        Solid parts of the screens that hold.
    near : float
        How near to the source rays begin to be told apart. [m]

    Returns
    -------
    shapely.Geometry
        A polygon, several, or an empty one.
    """
    if not source.reach - source.offset > 0.0:
        return shapely.Polygon()
    if source.parts:
        low, high = (np.array(source.parts)[:, :3] + side * np.array(source.parts)[:, 3:] for side in (-1.0, 1.0))
        boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
        return _in_front(shapely.buffer(shapely.union_all(boxes), source.reach), source, band)
    if source.spots is not None:
        area = _padded(source.spots.outline(source.reach - source.offset, band, tuple(pieces)))
        return _in_front(area, source, band)
    box = source.directions.box()
    parts = [_part(source, part, band, pieces, near) for part in _not_steep(box)]
    return _in_front(_padded(shapely.union_all(parts)), source, band)


def _padded(area: shapely.Geometry) -> shapely.Geometry:
    return area.buffer(-_HAIR, join_style="mitre").buffer(PAD + _HAIR, join_style="mitre")


def _not_steep(box: Box) -> list[Box]:
    """Return a box in up to three: what points steeply up or down, where bearings say little, and the rest."""
    low, high = box.elevation
    cuts = [low, *(c for c in (-_STEEP, _STEEP) if low < c < high), high]
    return [Box(box.bearing, box.half_bearing, (a, b)) for a, b in itertools.pairwise(cuts)]


def _part(
    source: Source, box: Box, band: tuple[float, float], pieces: Sequence[Piece], near: float
) -> shapely.Geometry:
    reach = source.reach - source.offset
    steepest = max(abs(box.elevation[0]), abs(box.elevation[1]))
    near = max(min(near, reach / 2.0), source.start * math.cos(min(steepest, _UPRIGHT)) * 0.5)
    if near >= reach:
        return shapely.Polygon()
    distance, slope = _spread_slopes(source, box, near)
    steep = box.all_round or steepest > _STEEP + 1e-9 or box.half_bearing + math.atan(float(slope[0])) >= math.pi
    rays = _bearings(box, slope, steep, pieces, source.apex)
    if rays.size < 2:
        return shapely.Polygon()
    far = _farthest(source, box, rays, distance, slope, steep)
    low, high = _heights(source, box, distance, slope)
    lit = (low <= band[1]) & (high >= band[0])
    if not lit.any():
        return shapely.Polygon()
    first, last = int(np.argmax(lit)), _GRID - 1 - int(np.argmax(lit[::-1]))
    inner = 0.0 if first == 0 else float(distance[first - 1])
    outer = float(distance[last + 1]) if last + 1 < _GRID else math.inf
    gap = max(source.apex[2] - band[1], band[0] - source.apex[2], 0.0)
    far = np.minimum(np.sqrt(np.maximum(far * far - gap * gap, 0.0)), outer)
    area = _wedges(source, box, rays, inner, far, pieces, band, (distance, slope))
    if source.start <= 0.0 and inner == 0.0 and _hits(source, band):
        wide = float(slope[0]) * near
        area = shapely.union(area, shapely.Point(source.apex[:2]).buffer(math.hypot(near, min(wide, near)) * 1.01))
    return area


def _hits(source: Source, band: tuple[float, float]) -> bool:
    return band[0] - PAD <= source.apex[2] <= band[1] + PAD


def _wedges(
    source: Source,
    box: Box,
    rays: FLOAT,
    inner: float,
    far: FLOAT,
    pieces: Sequence[Piece],
    band: tuple[float, float],
    spread: tuple[FLOAT, FLOAT],
) -> shapely.Geometry:
    x0, y0 = source.apex[:2]
    bearing = box.bearing + rays
    half = np.diff(rays) / 2.0
    keep = np.flatnonzero(far > inner)
    if keep.size == 0:
        return shapely.Polygon()
    first, last = int(keep[0]), int(keep[-1]) + 1
    end = np.maximum(far, inner) / np.cos(half)
    start = np.full(far.size, inner) * (np.cos(half) if inner > 0.0 else 1.0)

    def strip(low: int, high: int, near_a: FLOAT, near_b: FLOAT, outer: FLOAT) -> shapely.Geometry:
        """Return the wedges from *low* to *high* as one polygon, between two distances."""
        turns = np.stack([bearing[low:high], bearing[low + 1 : high + 1]], axis=1).ravel()
        beyond = np.repeat(outer[low:high], 2)
        nearer = np.stack([near_a[low:high], near_b[low:high]], axis=1).ravel()
        whole = rays[high] - rays[low] >= 2.0 * math.pi - 1e-9
        if whole and not nearer.any():
            ring = np.stack([x0 + beyond * np.sin(turns), y0 + beyond * np.cos(turns)], axis=1)
            return shapely.Polygon(ring)
        if not nearer.any():
            nearer, back = np.zeros(1), turns[:1]
        else:
            nearer, back = nearer[::-1], turns[::-1]
        x = np.concatenate([x0 + beyond * np.sin(turns), x0 + nearer * np.sin(back)])
        y = np.concatenate([y0 + beyond * np.cos(turns), y0 + nearer * np.cos(back)])
        return shapely.Polygon(np.stack([x, y], axis=1))

    area = strip(first, last, start, start, end)
    shadows = []
    ways = [(np.sin(turn), np.cos(turn)) for turn in ((bearing[:-1] + bearing[1:]) / 2.0, bearing)] if pieces else []
    for piece in pieces:
        hidden = _hidden(source, box, piece, ways, half, band, spread)
        if hidden is None:
            continue
        covered, begin_a, begin_b, stop = hidden
        covered &= (far > inner) & (np.minimum(begin_a, begin_b) < end) & (stop > np.maximum(begin_a, begin_b))
        until = np.minimum(stop, end * 4.0 + 1.0)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], covered.astype(int), [0]])))
        for low, high in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            shadows.append(strip(low, high, begin_a, begin_b, until))
    if shadows:
        area = shapely.difference(area, shapely.union_all(shadows, grid_size=1e-6))
    return area


def _hidden(
    source: Source,
    box: Box,
    piece: Piece,
    ways: Sequence[tuple[FLOAT, FLOAT]],
    half: FLOAT,
    band: tuple[float, float],
    spread: tuple[FLOAT, FLOAT],
) -> tuple[NDArray[np.bool_], FLOAT, FLOAT, FLOAT] | None:
    """Return which wedges a piece covers, where its shadow begins on both rays of each, and where it ends.

    *ways* are sine and cosine of the middle bearing of each wedge, and of the bearings of the rays.
    """
    ax, ay = piece.start[0] - source.apex[0], piece.start[1] - source.apex[1]
    ex, ey = piece.end[0] - piece.start[0], piece.end[1] - piece.start[1]
    (dx, dy), (at_x, at_y) = ways
    numerator = ax * ey - ay * ex
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = dx * ey - dy * ex
        s, u = numerator / cross, (ax * dy - ay * dx) / cross
        at_rays = numerator / (at_x * ey - at_y * ex)
    covered = np.isfinite(s) & (s > 1e-9) & (u >= 0.0) & (u <= 1.0)
    if not covered.any():
        return None
    at_a, at_b = at_rays[:-1], at_rays[1:]
    covered &= np.isfinite(at_a) & np.isfinite(at_b) & (at_a > 0.0) & (at_b > 0.0)
    at_a, at_b = np.where(covered, at_a, 1.0), np.where(covered, at_b, 1.0)
    near, far = np.minimum(at_a, at_b), np.maximum(at_a, at_b)
    z0 = source.apex[2]
    slope = np.interp(near * 0.97, spread[0], spread[1])
    low, high = (min(max(e, -_UPRIGHT), _UPRIGHT) for e in box.elevation)
    below = math.tan(low) - slope / math.cos(low)
    above = math.tan(high) + slope / math.cos(high)
    lowest, highest = z0 + np.minimum(near * below, far * below), z0 + np.maximum(near * above, far * above)
    begin, stop = np.zeros_like(near), np.full_like(near, np.inf)
    for edge, level, reached in (
        (piece.top - z0, band[1] - z0, highest <= piece.top),
        (z0 - piece.bottom, z0 - band[0], lowest >= piece.bottom),
    ):
        # the way to a place at distance s crosses the piece at level * near / s; it has to stay within the edge
        if level > 0.0:
            from_here = far * level / edge if edge > 0.0 else np.full_like(far, np.inf)
            begin = np.where(reached, begin, np.maximum(begin, from_here))
        elif edge < 0.0:
            until = near * level / edge
            stop = np.where(reached, stop, np.minimum(stop, until))
    if source.plane is not None and source.start > 0.0:
        covered &= _in_front_of_mirror(source, piece, (lowest, highest), band)
    at_line = begin <= near
    begin_a = np.where(at_line, at_a, np.maximum(begin / np.cos(half), far))
    begin_b = np.where(at_line, at_b, np.maximum(begin / np.cos(half), far))
    return covered & np.isfinite(begin), begin_a, begin_b, stop


def _in_front_of_mirror(
    source: Source, piece: Piece, heights: tuple[FLOAT, FLOAT], band: tuple[float, float]
) -> NDArray[np.bool_]:
    """Return whether all of a piece that light can cross stands in front of the mirror."""
    assert source.plane is not None
    on, normal = source.plane
    flat = min((p[0] - on[0]) * normal[0] + (p[1] - on[1]) * normal[1] for p in (piece.start, piece.end))
    low = np.maximum(np.minimum(heights[0], band[0]), piece.bottom)
    high = np.minimum(np.maximum(heights[1], band[1]), piece.top)
    level = np.minimum((low - on[2]) * normal[2], (high - on[2]) * normal[2])
    return np.asarray(flat + level > 0.0)


def _in_front(area: shapely.Geometry, source: Source, band: tuple[float, float]) -> shapely.Geometry:
    """Cut away what lies behind the mirror or the lit surface at every height of the band."""
    if source.plane is None or area.is_empty:
        return area
    on, normal = source.plane
    flat = math.hypot(normal[0], normal[1])
    if flat < 1e-6:
        return area
    allowed = max((band[0] - on[2]) * normal[2], (band[1] - on[2]) * normal[2])
    nx, ny = normal[0] / flat, normal[1] / flat
    edge = -allowed / flat - PAD  # (p - on) . n_flat has to be above this
    low_x, low_y, high_x, high_y = area.bounds
    size = 4.0 * (math.hypot(high_x - low_x, high_y - low_y) + math.hypot(low_x - on[0], low_y - on[1]) + abs(edge) + 1)
    base = (on[0] + nx * edge, on[1] + ny * edge)
    side = (-ny * size, nx * size)
    front = shapely.Polygon(
        [
            (base[0] + side[0], base[1] + side[1]),
            (base[0] - side[0], base[1] - side[1]),
            (base[0] - side[0] + nx * size, base[1] - side[1] + ny * size),
            (base[0] + side[0] + nx * size, base[1] + side[1] + ny * size),
        ]
    )
    return shapely.intersection(area, front)


def polygons(area: shapely.Geometry, simplest: float = 0.0) -> tuple[Polygon, ...]:
    """Return an area as coordinates; parts without area are left out."""
    shape = area.simplify(simplest) if simplest > 0.0 else area
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon" or part.area <= 1e-9:
            continue
        holes = tuple(_ring(r) for r in part.interiors if shapely.Polygon(r).area > 1e-4)
        found.append(Polygon(_ring(part.exterior), holes))
    return tuple(found)


def _ring(ring: shapely.LinearRing) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in ring.coords[:-1])


def area_of(parts: Sequence[Polygon]) -> shapely.Geometry:
    """Return coordinates as an area."""
    return shapely.union_all([shapely.Polygon(p.outline, p.holes) for p in parts]) if parts else shapely.Polygon()
