"""Where on the floor light exceeds a limit: areas of what is not proven below, and the exposure map over squares."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.optics.beam import unique
from lasersafe.records.scene import HazardMap, Polygon
from lasersafe.scene.beams import FLOAT, BeamProfile, Box
from lasersafe.scene.bound import Asked, Places, Question, bounds
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.sources import Source, pairs_of, total
from lasersafe.wording import Message

FLAGS = NDArray[np.bool_]
INDEX = NDArray[np.intp]
PAD = 0.01  # m, outwards on every side
_STEP = math.radians(2.0)
_HAIR = 1e-5  # m: seams between two shadows are narrower
_FAR = 1e9  # m
_NEAR = 0.05  # m: nearer to the optic than this a small disc stands for the beam
_SAME = 1e-6  # m: corners so near to one another are one
_UPRIGHT = math.radians(89.99)
_GRID = 400
_SEGMENTS = 32  # of a quarter of a round corner
_ROUND = math.cos(math.pi / (4 * _SEGMENTS))
_SQUARES = 16  # along the longer side of an area, before they are cut
_FINEST = 250  # of the longer side of the plan
_FARTHER = 40.0  # of how far a square lies off the plan
_NOTHING = 0.005  # of the limit: what gives less, all groups together, is not bounded again
_LAYER = 0.5  # m: heights that are bounded at once
_CORNERS = np.array([(0.0, 0.0), (-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)])
_QUARTERS = _CORNERS[1:] / 2.0
_STEEP = math.radians(75.0)  # what points more steeply is outlined all round
SLACK = 0.1  # m, above and below a height of the eyes
NEGLIGIBLE = 1e-6
LOOSE = 1.25  # times what the weakest of five places in a square gets: its cells are not told apart below that
_MOST = 64  # boxes of one cell
_FIRST = 64  # cells along an edge of the first squares
_TOGETHER = 400_000  # squares times lights that are looked at together


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


def _bearings(box: Box, slope: FLOAT, steep: bool) -> FLOAT:
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


def outline(source: Source, band: tuple[float, float], near: float = _NEAR) -> shapely.Geometry:
    """Return an area on the floor outside of which a source exceeds the limit at no height of a band, without walls.

    Parameters
    ----------
    source : Source
        The source; its ``reach`` limits the area.
    band : tuple of float
        Lowest and highest place that a person can hold an eye or skin to. [m]
    near : float
        How near to the source rays begin to be told apart. [m]

    Returns
    -------
    shapely.Geometry
        A polygon, several, or an empty one.
    """
    if not source.reach - source.offset > 0.0:
        return shapely.Polygon()
    if not source.aimed or source.bend != "flat":
        return _in_front(_padded(_round_starts(source, band)), source, band)
    if any(source.moves):
        higher = (band[0] - source.moves[2], band[1] + source.moves[2])
        still = outline(replace(source, moves=(0.0, 0.0, 0.0), plane=None), higher, near)
        return _in_front(_buffered(still, math.hypot(*source.moves[:2]) / _ROUND), source, band)
    box = source.directions.box()
    low, high = box.elevation  # what points steeply up or down apart, where bearings say little
    cuts = [low, *(cut for cut in (-_STEEP, _STEEP) if low < cut < high), high]
    boxes = [Box(box.bearing, box.half_bearing, ends) for ends in itertools.pairwise(cuts)]
    parts = [_part(source, part, band, near) for part in boxes]
    return _in_front(_padded(shapely.union_all(parts)), source, band)


def _round_starts(source: Source, band: tuple[float, float]) -> shapely.Geometry:
    """Return what lies within the reach of any place where light starts, at some height of a band."""
    start, size = source.starts
    gap = np.maximum(np.maximum(start[:, 2] - size[:, 2] - band[1], band[0] - start[:, 2] - size[:, 2]), 0.0)
    reach = source.reach - source.offset
    near = gap < reach
    wide = np.sqrt(np.maximum(reach * reach - gap[near] ** 2, 0.0)) / _ROUND
    ends = np.concatenate([(start - size)[near, :2] - _HAIR, (start + size)[near, :2] + _HAIR], axis=1)
    rows = {
        tuple(row): wide for wide, row in sorted(zip(wide.tolist(), ends.tolist(), strict=True))
    }  # the widest of each
    boxes, wide = shapely.box(*np.array(list(rows)).reshape(-1, 4).T), np.array(list(rows.values()))
    alike = [(shapely.union_all(boxes[wide == one]), one) for one in unique(wide)]  # few corners to round
    return shapely.union_all([_buffered(area, one, quad_segs=_SEGMENTS) for area, one in alike])


def lit_areas(
    wanted: Sequence[tuple[Sequence[Sequence[Light]], shapely.Geometry]],
    band: tuple[float, float],
    plan: tuple[float, float, float, float],
    near: shapely.Geometry | None = None,
) -> list[shapely.Geometry]:
    """Return the parts of areas on the floor that are not proven below the limit at every height of a band [1]_.

    Squares are proven below as a whole, or cut into four; where no point that is tried is below they are not cut.

    Parameters
    ----------
    wanted : sequence of tuple
        Groups of light as `lasersafe.scene.bound.Question` takes them, and an area outside of which nothing is above,
        as the union of outlines.
    band : tuple of float
        Heights that count. [m]
    plan : tuple of float
        What is drawn: x low, y low, x high, y high; farther away the squares are larger. [m]
    near : shapely.Geometry, optional
        Where it is asked for; what is farther than three of the smallest squares from it may be left out. [m]

    References
    ----------
    .. [1] docs/method.md, section 16.
    """
    frees = np.array([free for _, free in wanted], dtype=object)
    shapely.prepare(frees)
    none = Places(np.zeros((1, 3)), np.zeros((1, 3)))
    asked = Asked([Question(groups, none) for groups, _ in wanted])
    now, sizes, owner = _first_squares(frees)
    smallest = finest(plan)
    known = np.where(asked.group[owner] >= 0, np.inf, 0.0)
    lit: list[tuple[FLOAT, FLOAT, NDArray[np.intp]]] = []
    cut = np.zeros(len(now), dtype=bool)
    rounds = np.full(len(wanted), 0 if near is None else 2)
    while len(now):
        rounds[owner] += 1
        half = sizes / 2.0
        squares = shapely.box(*(now - half[:, None]).T, *(now + half[:, None]).T)
        kept = np.arange(len(now)) if near is None else np.flatnonzero(shapely.intersects(near, squares))
        kept = kept[shapely.intersects(frees[owner[kept]], squares[kept])]
        kept_above, known = _above(asked, owner[kept], now[kept], half[kept], band, known[kept])
        kept, known = kept[kept_above], known[kept_above]
        now, half, owner, cut = now[kept], half[kept], owner[kept], cut[kept]
        off = np.maximum(np.maximum(np.array(plan[:2]) - now, now - np.array(plan[2:])), 0.0).max(axis=1) - half
        wide, below = 2.0 * half > np.maximum(smallest, off / _FARTHER), np.zeros((len(now), 5), dtype=bool)
        cut &= wide
        open_ = np.flatnonzero(wide & ~cut)
        for tried in (slice(1), slice(1, 5)):  # what no point that is tried shows to be below is not cut
            some = _CORNERS[tried]
            points = (now[open_, None] + half[open_, None, None] * some).reshape(-1, 2)
            many = np.repeat(open_, len(some))
            places = np.column_stack([owner[many], np.round(points / _SAME)])  # squares share corners
            _, one, of = np.unique(places, axis=0, return_index=True, return_inverse=True)
            above = _above(asked, owner[many[one]], points[one], np.zeros(len(one)), band, known[many[one]])[0][of]
            below[open_, tried] = ~above.reshape(-1, len(some))
            cut[open_] = below[open_].any(axis=1)
            open_ = open_[~cut[open_]]
        lit.append((now[~cut], half[~cut], owner[~cut]))
        now, owner = (now[cut][:, None, :] + half[cut, None, None] * _QUARTERS).reshape(-1, 2), owner[cut].repeat(4)
        sizes, known = half[cut].repeat(4), known[cut].repeat(4, axis=0)
        cut = (below[cut, :1] | below[cut, 1:]).ravel()  # a corner of theirs is known to be below
    found = []
    for number, free in enumerate(frees):
        parts = [(m[o == number], h[o == number]) for m, h, o in lit]
        boxes = [_rows(m, float(h[0])) for m, h in parts if len(m)]
        area = shapely.union_all(np.concatenate(boxes)) if boxes else shapely.Polygon()
        if rounds[number] > 1:  # no slits and no islands next to one another
            area = _buffered(_buffered(area, smallest, join_style="mitre"), -smallest, join_style="mitre")
        found.append(shapely.intersection(free, area))
    return found


def finest(plan: tuple[float, float, float, float]) -> float:
    """Return the edge of the smallest squares of `lit_areas` on a plan [m]."""
    return max(plan[2] - plan[0], plan[3] - plan[1]) / _FINEST


def box_of(source: Source) -> shapely.Geometry:
    """Return a box on the floor that holds the `outline` of a source."""
    start, size = source.near
    out = 1.02 * (source.reach - source.offset) + 0.2
    out = max(out, 0.0) if out < _FAR else _FAR
    low, high = (start - size)[:, :2].min(axis=0) - out, (start + size)[:, :2].max(axis=0) + out
    return shapely.box(*low, *high)


def _first_squares(areas: NDArray[np.object_]) -> tuple[FLOAT, FLOAT, NDArray[np.intp]]:
    """Return squares that hold all of each area: middles, sizes [m], and to which area each belongs."""
    found = [(np.zeros((0, 2)), np.zeros(0), np.zeros(0, dtype=np.intp))]
    for number, area in enumerate(areas):
        if area.is_empty:
            continue
        low_x, low_y, high_x, high_y = area.bounds
        size = max(high_x - low_x, high_y - low_y) / _SQUARES
        across, up = (math.ceil((high - low) / size) for low, high in ((low_x, high_x), (low_y, high_y)))
        x, y = np.meshgrid(low_x + size * (np.arange(across) + 0.5), low_y + size * (np.arange(up) + 0.5))
        found.append((np.column_stack([x.ravel(), y.ravel()]), np.full(x.size, size), np.full(x.size, number)))
    now, sizes, owner = (np.concatenate(part) for part in zip(*found, strict=True))
    return now, sizes, owner


def _rows(middle: FLOAT, half: float) -> NDArray[np.object_]:
    """Return squares of shape (n, 2) of one grid, those next to one another along x as one box."""
    if len(middle) == 0:
        return np.empty(0, dtype=object)
    row, column = np.rint((middle - middle[0])[:, ::-1] / (2.0 * half)).T
    order = np.lexsort((column, row))
    apart = (np.diff(row[order]) != 0.0) | (np.diff(column[order]) != 1.0)
    first, last = middle[order][np.append(True, apart)], middle[order][np.append(apart, True)]
    return np.asarray(shapely.box(*(first - half).T, *(last + half).T))


def _above(
    asked: Asked, owner: NDArray[np.intp], middle: FLOAT, half: FLOAT, band: tuple[float, float], known: FLOAT
) -> tuple[FLAGS, FLOAT]:
    """Return which squares of shape (n, 2) are at some height of a band [m] not proven below, and by which light.

    Layers of the band are as high as the square is wide. What is *known* of each light, of shape (n, lights), is not
    asked again where it is next to nothing.
    """
    group, high = asked.group[owner], band[1] - band[0]
    groups = np.maximum(group.max(axis=1, initial=0) + 1, 1)
    found, most, alone = np.zeros(len(middle), dtype=bool), np.zeros_like(known), (group >= 0).sum(axis=1) == 1
    wanted = (known > (_NOTHING / groups)[:, None]) & (group >= 0)
    height = asked.table.column["apex"][asked.light[owner, 0], 2] if known.shape[1] else np.zeros(len(owner))
    layers = np.ceil(high / np.maximum(2.0 * half, _LAYER) - _HAIR).clip(1).astype(np.intp)
    rise = high / layers / 2.0
    at, number = pairs_of(layers, np.zeros_like(layers))
    level = band[0] + (2.0 * number + 1.0) * rise[at]
    first = np.abs(level - np.clip(height, *band)[at]) <= rise[at]
    # of one light first where most is to be expected; of several all heights, to know which gives next to nothing
    for some in (first | ~alone[at], ~first & alone[at]):
        row, z = at[some & ~found[at]], level[some & ~found[at]]
        if not row.size:
            continue
        places, edges = np.column_stack([middle[row], z]), np.column_stack([half[row], half[row], rise[row]])
        each = np.where(wanted[row], asked.each(owner[row], places, edges, wanted[row], enough=1.0), known[row])
        above = total(asked.group[owner[row]], each) > 1.0
        found[row[above]] = True
        np.maximum.at(most, row, each)
    return found, np.where(alone[:, None], known, most)


def _padded(area: shapely.Geometry) -> shapely.Geometry:
    return _buffered(_buffered(area, -_HAIR, join_style="mitre"), PAD + _HAIR, join_style="mitre")


def _buffered(area: shapely.Geometry, by: float, **shape: Any) -> shapely.Geometry:
    """Return an area widened on every side; edges that are parallel are no warning."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return area.buffer(by, **shape)


def _part(source: Source, box: Box, band: tuple[float, float], near: float) -> shapely.Geometry:
    reach = source.reach - source.offset
    steepest = max(abs(box.elevation[0]), abs(box.elevation[1]))
    near = max(min(near, reach / 2.0), source.start * math.cos(min(steepest, _UPRIGHT)) * 0.5)
    if near >= reach:
        return shapely.Polygon()
    distance, slope = _spread_slopes(source, box, near)
    steep = box.all_round or steepest > _STEEP + 1e-9 or box.half_bearing + math.atan(float(slope[0])) >= math.pi
    rays = _bearings(box, slope, steep)
    if rays.size < 2:
        return shapely.Polygon()
    far = _farthest(source, box, rays, distance, slope, steep)
    down, up = (min(max(end, -_UPRIGHT), _UPRIGHT) for end in box.elevation)
    lowest = source.apex[2] + distance * (math.tan(down) - slope / math.cos(down))
    highest = source.apex[2] + distance * (math.tan(up) + slope / math.cos(up))
    lit = (lowest <= band[1]) & (highest >= band[0])
    if not lit.any():
        return shapely.Polygon()
    first, last = int(np.argmax(lit)), _GRID - 1 - int(np.argmax(lit[::-1]))
    inner = 0.0 if first == 0 else float(distance[first - 1])
    outer = float(distance[last + 1]) if last + 1 < _GRID else math.inf
    gap = max(source.apex[2] - band[1], band[0] - source.apex[2], 0.0)
    far = np.minimum(np.sqrt(np.maximum(far * far - gap * gap, 0.0)), outer)
    area = _wedges(source, box, rays, inner, far)
    if source.start <= 0.0 and inner == 0.0 and gap <= PAD:
        wide = float(slope[0]) * near
        area = shapely.union(area, shapely.Point(source.apex[:2]).buffer(math.hypot(near, min(wide, near)) * 1.01))
    return area


def _wedges(source: Source, box: Box, rays: FLOAT, inner: float, far: FLOAT) -> shapely.Geometry:
    x0, y0 = source.apex[:2]
    bearing = box.bearing + rays
    half = np.diff(rays) / 2.0
    keep = np.flatnonzero(far > inner)
    if keep.size == 0:
        return shapely.Polygon()
    first, last = int(keep[0]), int(keep[-1]) + 1
    end = np.maximum(far, inner) / np.cos(half)
    start = np.full(far.size, inner) * (np.cos(half) if inner > 0.0 else 1.0)

    turns = np.stack([bearing[first:last], bearing[first + 1 : last + 1]], axis=1).ravel()
    beyond, nearer = np.repeat(end[first:last], 2), np.repeat(start[first:last], 2)
    whole = rays[last] - rays[first] >= 2.0 * math.pi - 1e-9
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


def _in_front(area: shapely.Geometry, source: Source, band: tuple[float, float]) -> shapely.Geometry:
    """Cut away what lies behind the mirror or the lit surface at every height of the band."""
    if source.plane is None or source.bulge > 0.0 or area.is_empty:
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


@dataclass
class _Squares:
    """Squares of the grid of one size, and the light that matters in each."""

    cell: INDEX  # which sum, which height, and the lowest row and column, of shape (squares, 4)
    light: INDEX  # that is still looked at, of shape (squares, lights)
    group: INDEX  # to which each belongs, -1 for none
    rest: FLOAT  # what is proven of the others of each group, of shape (squares, groups)

    def taken(self, at: INDEX | slice) -> _Squares:
        return _Squares(*(one[at] for one in vars(self).values()))

    def each(self, table: Lights, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return at least what each light gives anywhere in boxes, one for each square."""
        return table.most(self.light, middle, half, np.zeros(len(middle)), self.group >= 0, self.group)

    def gets(self, table: Lights, middle: FLOAT, half: FLOAT) -> FLOAT:
        """Return at least what there is at five places of squares, of shape (squares, places, groups).

        Of each group only the light is looked at that is the strongest in the middle.
        """
        groups, count, column = np.arange(self.rest.shape[1]), len(_CORNERS), np.array([0.0, 0.0, SLACK])
        known = self.each(table, middle, np.broadcast_to(column, middle.shape))
        best = np.where(self.group[:, :, None] == groups, known[:, :, None], -1.0).argmax(axis=1)
        light, group = (np.take_along_axis(one, best, axis=1).repeat(count, axis=0) for one in (self.light, self.group))
        points = (middle[:, None] + half[:, None] * np.pad(_CORNERS, ((0, 0), (0, 1)))).reshape(-1, 3)
        column, wanted = np.broadcast_to(column, points.shape), group == groups
        found = table.most(light, points, column, np.zeros(len(points)), wanted, np.where(wanted, group, -1))
        return found.reshape(len(middle), count, len(groups))

    def quarters(self, each: FLOAT, least: FLOAT, size: int, rows: int, columns: int) -> _Squares:
        """Return what of their quarters is on the grid, without lights that are no stronger than others everywhere."""
        keep = np.zeros(self.group.shape, dtype=bool)
        for number, floor in enumerate(least.T):
            mine = self.group == number
            some = mine & ~(each < np.maximum(floor, NEGLIGIBLE / 1e3)[:, None])
            left_out = np.where(mine & ~some, each, 0.0).max(axis=1, initial=0.0)
            self.rest[:, number] = np.maximum(self.rest[:, number], left_out)
            keep |= some
        order = np.argsort(~keep, axis=1, kind="stable")[:, : int(keep.sum(axis=1).max(initial=0))]
        group = np.take_along_axis(np.where(keep, self.group, -1), order, axis=1)
        found = _Squares(self.cell, np.take_along_axis(self.light, order, axis=1), group, self.rest)
        found = found.taken(np.arange(len(keep)).repeat(4))
        found.cell[:, 2:] += np.tile([(0, 0), (0, size), (size, 0), (size, size)], (len(keep), 1))
        return found.taken(np.flatnonzero((found.cell[:, 2] < rows) & (found.cell[:, 3] < columns)))


def hazard_map(
    sums: Sequence[Sequence[Sequence[Light]]], x: FLOAT, y: FLOAT, heights: Sequence[tuple[str, float]]
) -> HazardMap:
    """Return the map of a scene: nowhere in a cell there is more than its ratio [1]_.

    Squares of many cells are bounded as a whole, and cut into four where that says too little: where the bound is more
    than `LOOSE` times what the weakest of five places in the square gets, or a power of ten from 1 on lies between. So
    a cell has no more than `LOOSE` times the bound of it alone, but for dark strips that miss corners and middle of a
    square; and whether it is below the limit is answered as if it was asked alone.

    Parameters
    ----------
    sums : sequence of groups
        Each as `lasersafe.scene.bound.Question` takes it; the highest of them counts.
    x : numpy.ndarray, shape (columns,)
        Middles of the columns, evenly spaced. [m]
    y : numpy.ndarray, shape (rows,)
        Middles of the rows, evenly spaced. [m]
    heights : sequence of (str, float)
        Name and height of the eyes above the floor. [m]

    Returns
    -------
    HazardMap
        ``ratio`` of shape (heights, rows, columns).

    References
    ----------
    .. [1] docs/method.md, section 16: the exposure map.
    """
    eyes = np.array([height for _, height in heights])
    half_x, half_y = ((float(one[1] - one[0]) if one.size > 1 else 0.0) / 2.0 for one in (x, y))
    edge = np.array([half_x, half_y, SLACK])
    asked = Asked([Question(groups, Places(np.zeros((1, 3)), np.zeros((1, 3)))) for groups in sums])
    starts = (len(sums), len(heights), -(-y.size // _FIRST), -(-x.size // _FIRST))
    cell = np.stack([one.ravel() for one in np.indices(starts)], axis=1)
    ratio = np.zeros((*starts[:2], starts[2] * _FIRST, starts[3] * _FIRST))
    rest = np.zeros((len(cell), int(asked.group.max(initial=-1)) + 1))
    cell[:, 2:] *= _FIRST
    todo = [(_FIRST, _Squares(cell, asked.light[cell[:, 0]], asked.group[cell[:, 0]], rest))]
    unsure = [np.zeros((0, 4), dtype=np.intp)]
    while todo:
        size, now = todo.pop()
        if now.light.size > _TOGETHER and len(now.cell) > 1:
            todo += [(size, now.taken(slice(first, None, 2))) for first in (0, 1)]
            continue
        _, level, row, column = now.cell.T
        last = np.minimum(row + size, y.size) - 1, np.minimum(column + size, x.size) - 1
        low = np.stack([x[column], y[row], eyes[level]], axis=1) - edge
        high = np.stack([x[last[1]], y[last[0]], eyes[level]], axis=1) + edge
        middle, half = (low + high) / 2.0, (high - low) / 2.0
        each = now.each(asked.table, middle, half)
        upper = total(now.group, each, now.rest)
        done, least = (upper < NEGLIGIBLE) | (size == 1), np.zeros_like(now.rest)
        upper[upper < NEGLIGIBLE] = 0.0
        if size > 2:  # for four cells five places are no help
            at = np.flatnonzero(~done)
            found = now.taken(at).gets(asked.table, middle[at], half[at])
            least[at], lowest = found.min(axis=1), found.sum(axis=2).min(axis=1)
            done[at] = (upper[at] <= LOOSE * lowest) & (_decade(upper[at]) == _decade(lowest))
        elif size == 1:
            some = now.taken(at := np.flatnonzero(upper > 1.0))
            found = some.each(asked.table, middle[at], np.zeros((at.size, 3)))
            unsure.append(some.cell[~(total(some.group, found, np.zeros_like(some.rest)) > 1.0)])
        block, (which, level, row, column) = np.arange(size), now.cell[done].T[:, :, None, None]
        ratio[which, level, row + block[:, None], column + block] = upper[done, None, None]
        at = np.flatnonzero(~done)
        if at.size:
            todo.append((size // 2, now.taken(at).quarters(each[at], least[at], size // 2, y.size, x.size)))
    cells = np.concatenate(unsure)  # not above at their middle: their parts may be below
    parts = [cells[cells[:, 0] == number] for number in range(len(sums))]
    middles = [np.stack([x[part[:, 3]], y[part[:, 2]], eyes[part[:, 1]]], axis=1) for part in parts]
    questions = [Question(groups, Places(at - edge, at + edge)) for groups, at in zip(sums, middles, strict=True)]
    for part, proven in zip(parts, bounds(questions, to_limit=True, most=_MOST), strict=True):
        ratio[tuple(part.T)] = np.minimum(ratio[tuple(part.T)], proven.upper)
    highest = ratio.max(axis=0, initial=0.0)[:, : y.size, : x.size]
    return HazardMap(x, y, tuple(heights), highest, note=Message("map.negligible", least=f"{NEGLIGIBLE:g}"))


def _decade(ratio: FLOAT) -> FLOAT:
    """Return between which powers of ten ratios are, counted from 1."""
    return np.asarray(np.ceil(np.log10(np.maximum(ratio, 1.0))))
