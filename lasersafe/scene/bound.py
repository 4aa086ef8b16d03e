"""How much light there can be anywhere in a box: proven by branch and bound, never by samples.

A box counts as dark or below only where a bound over all of it says so: nearest distance, smallest angle off any
direction that aim, margin and scan field allow, the narrowest beam, and a shadow only where every ray of the widened
beam is stopped. What a box does not prove, its halves may.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.scene.profile import LEAST, BeamProfile
from lasersafe.scene.sources import Source, squared_gaps
from lasersafe.scene.walls import Walls

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
Light = tuple[Source, Walls]
STEP = 0.01  # m: no box is made smaller; a hand is not steadier, and a beam that matters is rarely narrower
MOST_BOXES = 2000  # of one receiver; common practice, no source
_NEAR, _ROUGH = 1.02, 1.25  # times the highest that was found: so near a bound is good enough, and below half the limit
_PUPIL = 5.5e-3  # m: radius of the widest limiting aperture
_NOTHING = 1e-3  # of what was found: a light that gives less of a sum is not bounded again
_UPWARDS = 0.3  # of a height what counts when a box is halved: shadows and outlines ask for small boxes on the plan
_TRIED = 64  # boxes of a receiver that are looked at together, those with the highest bounds first
_PAIRS = 400  # of boxes and where light starts that are looked at together, the nearest ones first

BELOW, ABOVE, NOT_PROVEN = 0, 1, 2


@dataclass(frozen=True)
class Places:
    """Boxes in space in which receivers can be, one row each.

    Parameters
    ----------
    low, high : numpy.ndarray, shape (n, 3)
        Lowest and highest corner; equal ones are a point. [m]
    outlines : sequence of shapely.Geometry or None, optional
        What each fills on the plan, where that is not the whole box.
    beyond : float
        Only what is farther than this from where the light starts counts. [m]
    """

    low: FLOAT
    high: FLOAT
    outlines: Sequence[shapely.Geometry | None] = ()
    beyond: float = 0.0


@dataclass(frozen=True)
class Bounds:
    """What is proven of each of the places, arrays of shape (n,).

    Attributes
    ----------
    upper : numpy.ndarray
        Nowhere in the place there is more. [1]
    found : numpy.ndarray
        The highest of a single point, by the same bounds. [1]
    place : numpy.ndarray, shape (n, 3)
        That point. [m]
    outcome : numpy.ndarray of int
        `BELOW` (proven), `ABOVE` (all of a beam comes to that point) or `NOT_PROVEN`, which counts as above.
    light : numpy.ndarray of int
        Which light gives most there, counted over all groups; -1 where none does.
    boxes : numpy.ndarray of int
        How many boxes were looked at.
    """

    upper: FLOAT
    found: FLOAT
    place: FLOAT
    outcome: NDArray[np.intp]
    light: NDArray[np.intp]
    boxes: NDArray[np.intp]


@dataclass
class _Open:
    """Boxes that are still looked at."""

    middle: FLOAT
    half: FLOAT
    owner: NDArray[np.intp]
    upper: FLOAT
    each: FLOAT  # what is proven of each light, of shape (boxes, lights)

    def taken(self, at: NDArray[np.intp] | FLAGS) -> _Open:
        return _Open(self.middle[at], self.half[at], self.owner[at], self.upper[at], self.each[at])

    def joined(self, other: _Open) -> _Open:
        return _Open(*(np.concatenate(pair) for pair in zip(vars(self).values(), vars(other).values(), strict=True)))


def _highest(pool: _Open) -> FLAGS:
    """Return which boxes have the highest bounds of each receiver."""
    order = np.lexsort((-pool.upper, pool.owner))
    rank = np.arange(len(order)) - np.searchsorted(pool.owner[order], pool.owner[order])
    chosen = np.zeros(len(order), dtype=bool)
    chosen[order[rank < _TRIED]] = True
    return chosen


def most_light(
    groups: Sequence[Sequence[Light]], middle: FLOAT, half: FLOAT, beyond: float = 0.0, asked: FLAGS | None = None
) -> FLOAT:
    """Return at least the exposure over limit anywhere in boxes, of each light, of shape (lights, boxes).

    Parameters
    ----------
    groups : sequence of sequence of (Source, Walls)
        Ways for light, each with the walls that hold against it.
    middle, half : numpy.ndarray, shape (boxes, 3)
        Middles and half edges. [m]
    beyond : float
        Only what is farther than this from where the light starts counts. [m]
    asked : numpy.ndarray of bool, shape (lights, boxes), optional
        Which light is asked for in which box; the others are 0.

    Returns
    -------
    numpy.ndarray, shape (lights, boxes)
        0 where all of a light is stopped; as without walls where another of the same group gives more. [1]
    """
    rows = np.zeros((sum(len(group) for group in groups), len(middle)))
    number = 0
    for group in groups:
        highest = np.full(len(middle), LEAST)
        for source, walls in group:
            at = np.arange(len(middle)) if asked is None else np.flatnonzero(asked[number])
            m, h = middle[at], half[at]
            free = source.over(m, h) if at.size else np.zeros(0)
            if beyond > 0.0:
                away = np.sqrt(np.square(np.abs(m - np.array(source.apex)) + h).sum(axis=1))
                free = np.where(away > beyond, free, 0.0)
            sure = source.spots is not None or not source.bulge  # where a mirror that is off begins is not known
            if len(walls) and sure:
                wanted = np.flatnonzero(free > highest[at])
                free[free <= LEAST] = 0.0
                if wanted.size:
                    free[wanted] = _past(source, walls, m[wanted], h[wanted], free[wanted])
            rows[number, at] = free
            highest[at] = np.fmax(highest[at], free)
            number += 1
    return rows


def _past(source: Source, walls: Walls, middle: FLOAT, half: FLOAT, free: FLOAT) -> FLOAT:
    """Return what of a light comes past walls."""
    start, size = starts_before(source, walls)
    if not len(start):
        return np.zeros_like(free)
    blur = source.profile.aperture_radius if isinstance(source.profile, BeamProfile) else _PUPIL
    found = free.copy()
    low, high = (start - size).min(axis=0), (start + size).max(axis=0)
    sizes = np.ones((len(middle), 1))
    whole = walls.stop(
        sizes * (low + high) / 2.0, sizes * (high - low) / 2.0, middle, half, blur=blur, plane=source.cut_plane(),
        home=source.home,
    )  # fmt: skip
    found[whole] = 0.0
    count = len(start)
    if count == 1 or whole.all():
        return found
    open_to, (middle, half) = np.flatnonzero(~whole), (middle[~whole], half[~whole])
    found[open_to] = _past_parts(source, walls, (start, size), middle, half, free[~whole], blur)
    return found


def _past_parts(
    source: Source, walls: Walls, starts: tuple[FLOAT, FLOAT], middle: FLOAT, half: FLOAT, free: FLOAT, blur: float
) -> FLOAT:
    """Return what of a light comes past walls, from each of the boxes in which it starts, the nearest first."""
    (start, size), found = starts, np.zeros_like(free)
    gaps = np.sqrt(squared_gaps(middle, half, start, size))
    order, left = np.argsort(gaps, axis=1), np.arange(len(middle))
    first = 0
    while left.size and first < len(start):
        some = order[left, first : first + max(_PAIRS // len(left), 2)]
        first += some.shape[1]
        count = some.shape[1]
        stopped = walls.stop(
            start[some].reshape(-1, 3), size[some].reshape(-1, 3), np.repeat(middle[left], count, axis=0),
            np.repeat(half[left], count, axis=0), blur=blur, plane=source.cut_plane(), home=source.home,
        ).reshape(some.shape)  # fmt: skip
        seen = ~stopped.all(axis=1)
        lit = left[seen]
        if lit.size and source.aimed:
            found[lit] = free[lit]
        elif lit.size:
            nearest = np.where(stopped, np.inf, np.take_along_axis(gaps[left], some, axis=1)).min(axis=1)[seen]
            found[lit] = np.fmin(free[lit], source.over(middle[lit], half[lit], nearest))
        left = left[~seen]
    return found


def starts_before(source: Source, walls: Walls) -> tuple[FLOAT, FLOAT]:
    """Return boxes in which all light of a source starts, without what lies behind walls for a head. [m]."""
    if source.home is None or source.cut_plane() is not None:
        return source.starts
    return walls.confined(source.home, *source.starts)


def summed(groups: Sequence[Sequence[Light]], each: FLOAT) -> FLOAT:
    """Return the sum over groups of the highest of each group; NaN, which nothing bounds, is infinite."""
    total, first = np.zeros(each.shape[1]), 0
    for group in groups:
        if group:
            total = total + each[first : first + len(group)].max(axis=0)
        first += len(group)
    return np.where(np.isnan(total), np.inf, total)


def bound(
    groups: Sequence[Sequence[Light]],
    places: Places,
    *,
    to_limit: bool = False,
    most: int = MOST_BOXES,
    near: float = _NEAR,
) -> Bounds:
    """Return how much light there can be at most anywhere in each of the places [1]_.

    Parameters
    ----------
    groups : sequence of sequence of (Source, Walls)
        Of a group the highest counts, as of the ways of one laser; groups are added, as of lasers that run together.
    places : Places
        Where receivers can be.
    to_limit : bool
        Settle only whether a place is proven below the limit, and look for no witness.
    most : int
        Boxes of one receiver; what is open after them counts with its bound.
    near : float
        How many times the highest that was found a bound may be. [1]

    Returns
    -------
    Bounds
        Proven upper bounds, where the highest was found, and what kind of answer it is.

    References
    ----------
    .. [1] docs/method.md, section 16: branch and bound.
    """
    count = len(places.low)
    upper, found, place = np.zeros(count), np.full(count, -1.0), (places.low + places.high) / 2.0
    light, boxes = np.full(count, -1), np.zeros(count, dtype=np.intp)
    lights = sum(len(group) for group in groups)
    pool = _Open(
        place.copy(), (places.high - places.low) / 2.0, np.arange(count), np.full(count, np.inf),
        np.full((count, lights), np.inf),
    )  # fmt: skip
    pool = _inside(places, pool)
    while len(pool.owner):
        best = _highest(pool)
        now, pool = pool.taken(best), pool.taken(~best)
        # what nowhere in a box gives more than was found, or next to nothing of a sum, is not bounded again
        least = found if len(groups) == 1 else found * _NOTHING
        asked = now.each.T > least[now.owner]
        each = np.where(asked, most_light(groups, now.middle, now.half, places.beyond, asked), now.each.T)
        now.upper, now.each = np.minimum(summed(groups, each), now.upper), each.T
        np.add.at(boxes, now.owner, 1)
        _points(groups, places, now, (found, place, light), 1.0 if to_limit else LEAST)
        settled = (now.half.max(axis=1) * 2.0 <= STEP) | (boxes[now.owner] >= most)
        np.maximum.at(upper, now.owner[settled], now.upper[settled])
        pool = pool.joined(_inside(places, halved(now.taken(~settled))))
        enough = np.maximum(found * near, np.minimum(found * _ROUGH, 0.5))
        enough = np.maximum(np.maximum(enough, LEAST), upper)  # another box has no less already
        if to_limit:
            enough = np.where(found > 1.0, np.inf, np.maximum(enough, 1.0))
        left = pool.upper <= np.where(boxes >= most, np.inf, enough)[pool.owner]
        np.maximum.at(upper, pool.owner[left], pool.upper[left])
        pool = pool.taken(~left)
    upper, found = np.maximum(upper, found), np.maximum(found, 0.0)
    outcome = np.where(upper <= 1.0, BELOW, NOT_PROVEN)
    for row in np.flatnonzero((found > 1.0) & (light >= 0)) if not to_limit else ():
        if _witnessed(groups, int(light[row]), place[row]):
            outcome[row] = ABOVE
    return Bounds(upper, found, place, outcome, light, boxes)


def _points(
    groups: Sequence[Sequence[Light]],
    places: Places,
    now: _Open,
    best: tuple[FLOAT, FLOAT, NDArray[np.intp]],
    least: float,
) -> None:
    """Look at single points of the boxes, and raise what was found of a place, where, and of which light.

    Of each box that may have more than the *least* they are its middle and where its strongest light is to be expected.
    """
    found, place, light = best
    hope = np.flatnonzero(now.upper > np.maximum(found[now.owner], least))
    if not hope.size or not now.each.size:
        return
    strongest = now.each.argmax(axis=1)
    sources = [source for group in groups for source, _ in group]
    tried, of = [now.middle[hope]], [hope]
    for number in sorted(set(strongest[hope].tolist())):
        own = hope[strongest[hope] == number]
        tried.append(sources[number].nearest_light(now.middle[own], now.half[own]))
        of.append(own)
    points, boxes = np.concatenate(tried), np.concatenate(of)
    inside = _within(places, now.owner[boxes], points)
    points, boxes = points[inside], boxes[inside]
    owner = now.owner[boxes]
    asked = now.each[boxes].T > (found if len(groups) == 1 else np.zeros_like(found))[owner]
    each = most_light(groups, points, np.zeros_like(points), places.beyond, asked)
    total = summed(groups, each)
    order = np.lexsort((total, owner))
    last = order[np.append(np.diff(owner[order]) > 0, True)] if len(order) else order
    better = last[total[last] > found[owner[last]]]
    found[owner[better]], place[owner[better]] = total[better], points[better]
    light[owner[better]] = np.where(total[better] > 0.0, each[:, better].argmax(axis=0), -1)


def _within(places: Places, owner: NDArray[np.intp], points: FLOAT) -> FLAGS:
    """Return which points are in their places."""
    found = np.ones(len(owner), dtype=bool)
    for row, outline in enumerate(places.outlines):
        mine = owner == row
        if outline is not None and mine.any():
            found[mine] = shapely.intersects_xy(outline, points[mine, 0], points[mine, 1])
    return found


def _inside(places: Places, now: _Open) -> _Open:
    """Return the boxes of which any part is in their places, no wider than that part."""
    kept = np.ones(len(now.owner), dtype=bool)
    for row, outline in enumerate(places.outlines):
        mine = np.flatnonzero(now.owner == row)
        if outline is None or not mine.size:
            continue
        low, high = now.middle[mine, :2] - now.half[mine, :2], now.middle[mine, :2] + now.half[mine, :2]
        part = shapely.bounds(shapely.intersection(outline, shapely.box(*low.T, *high.T)))
        left = np.isfinite(part).all(axis=1)
        kept[mine[~left]] = False
        mine, part = mine[left], part[left]
        now.middle[mine, :2] = (part[:, :2] + part[:, 2:]) / 2.0
        now.half[mine, :2] = (part[:, 2:] - part[:, :2]) / 2.0
    return now.taken(kept)


def halved(now: _Open) -> _Open:
    """Return the halves of boxes, along each edge that is not much shorter than the longest."""
    half = now.half
    counted = half * np.array([1.0, 1.0, _UPWARDS])
    cut = counted > counted.max(axis=1, keepdims=True, initial=0.0) * 0.55
    middle, half, owner, upper, each = now.middle, half, now.owner, now.upper, now.each
    for axis in range(3):
        at = np.flatnonzero(cut[:, axis])
        half = half.copy()
        half[at, axis] /= 2.0
        more = middle[at].copy()
        middle = middle.copy()
        middle[at, axis] -= half[at, axis]
        more[:, axis] += half[at, axis]
        middle, half = np.concatenate([middle, more]), np.concatenate([half, half[at]])
        owner, upper, each, cut = (np.concatenate([one, one[at]]) for one in (owner, upper, each, cut))
    return _Open(middle, half, owner, upper, each)


def _witnessed(groups: Sequence[Sequence[Light]], number: int, point: FLOAT) -> bool:
    """Return whether all of a light comes to a point from one place where it starts, and is above the limit there."""
    source, walls = [one for group in groups for one in group][number]
    there, none = point[None, :], np.zeros((1, 3))
    if not float(source.still(point).over(there, none)[0]) > 1.0:
        return False
    middle, half = starts_before(source, walls)
    many = np.broadcast_to(there, middle.shape)
    size = np.full(many.shape, source.profile.aperture_radius if isinstance(source.profile, BeamProfile) else _PUPIL)
    return bool(walls.clear(middle, half, many, size).any())
