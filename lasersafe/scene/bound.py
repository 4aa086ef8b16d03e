"""How much light there can be anywhere in a box: proven by branch and bound, never by samples.

A box counts as dark or below only where a bound over all of it says so: nearest distance, smallest angle off any
direction that aim, margin and scan field allow, the narrowest beam, and a shadow only where every ray of the widened
beam is stopped. What a box does not prove, its halves may.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.scene.beams import FLOAT, LEAST
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.sources import squared_gaps, total
from lasersafe.scene.walls import Walls

FLAGS = NDArray[np.bool_]
INDEX = NDArray[np.intp]
STEP = 0.01  # m: no box is made smaller; a hand is not steadier, and a beam that matters is rarely narrower
MOST_BOXES = 2000  # of one receiver; common practice, no source
_NEAR, _ROUGH = 1.02, 1.25  # times the highest that was found: so near a bound is good enough, and below half the limit
_NOTHING = 1e-3  # of what was found: a light that gives less of a sum is not bounded again
_ROUND = 1e-9  # m: rounding of the ends of a line
_UPWARDS = 0.3  # of a height what counts when a box is halved: shadows and outlines ask for small boxes on the plan
_FEWER = 0.7  # of the lights that are looked at: where no more are left, the others are left out
_MOST_CELLS = 2_000_000  # receivers times lights that are looked at together
_SHOWN = 4  # of them, those with the highest bounds, in which single points are looked at
_TRIED = 64  # boxes of a receiver that are looked at together, those with the highest bounds first

BELOW, ABOVE, NOT_PROVEN = 0, 1, 2


@dataclass(frozen=True)
class Places:
    """Boxes in space in which receivers can be, one row each.

    Parameters
    ----------
    low, high : numpy.ndarray, shape (n, 3)
        Lowest and highest corner; equal ones are a point. [m]
    outlines : sequence of shapely.Geometry, numpy.ndarray of shape (2, 2), or None, optional
        What each fills on the plan, where that is not the whole box; an array holds both ends of a straight line. [m]
    beyond : float
        Only what is farther than this from where the light starts counts. [m]
    """

    low: FLOAT
    high: FLOAT
    outlines: Sequence[shapely.Geometry | FLOAT | None] = ()
    beyond: float = 0.0

    def some(self, rows: INDEX) -> Places:
        """Return some of the boxes."""
        return Places(self.low[rows], self.high[rows], [self.outlines[row] for row in rows.tolist()], self.beyond)


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
        Which light gives most there, counted over all groups, or could where no point was found lit; -1 where none
        gives more than `LEAST` of the limit.
    boxes : numpy.ndarray of int
        How many boxes were looked at.
    box : numpy.ndarray, shape (n, 2, 3)
        Middle and half edges of the box whose bound is the highest. [m]
    strongest : numpy.ndarray of int
        Which light has the highest bound in that box.
    alone : numpy.ndarray
        What the light that gives most at the point gives there, whatever stands between. [1]
    """

    upper: FLOAT
    found: FLOAT
    place: FLOAT
    outcome: NDArray[np.intp]
    light: NDArray[np.intp]
    boxes: NDArray[np.intp]
    box: FLOAT
    strongest: NDArray[np.intp]
    alone: FLOAT

    def but_for(self, rows: INDEX, other: Bounds) -> Bounds:
        """Return the same with others in some rows."""
        every = [one.copy() for one in vars(self).values()]
        for mine, new in zip(every, vars(other).values(), strict=True):
            mine[rows] = new
        return Bounds(*every)


@dataclass
class _Open:
    """Boxes that are still looked at."""

    middle: FLOAT
    half: FLOAT
    owner: INDEX
    upper: FLOAT
    each: FLOAT  # what is proven of each light that is looked at, of shape (boxes, lights)
    rest: FLOAT  # and of the others of each group, of shape (boxes, groups)
    box: FLOAT  # middle and half edges of the box for which that was proven, of shape (boxes, 2, 3)
    lit: INDEX  # which light gave most in it

    def taken(self, at: INDEX | FLAGS | slice) -> _Open:
        return _Open(*(one[at] for one in vars(self).values()))

    def joined(self, other: _Open) -> _Open:
        return _Open(*(np.concatenate(pair) for pair in zip(vars(self).values(), vars(other).values(), strict=True)))


def _highest(pool: _Open, most: int) -> FLAGS:
    """Return which boxes have the highest bounds of each receiver."""
    if np.bincount(pool.owner).max() <= most:
        return np.ones(len(pool.owner), dtype=bool)
    order = np.lexsort((-pool.upper, pool.owner))
    rank = np.arange(len(order)) - np.searchsorted(pool.owner[order], pool.owner[order])
    chosen = np.zeros(len(order), dtype=bool)
    chosen[order[rank < most]] = True
    return chosen


def most_light(groups: Sequence[Sequence[Light]], middle: FLOAT, half: FLOAT, asked: FLAGS | None = None) -> FLOAT:
    """Return at least the exposure over limit anywhere in boxes, of each light, of shape (lights, boxes).

    Parameters
    ----------
    groups : sequence of sequence of (Source, Walls)
        Ways for light, each with the walls that hold against it.
    middle, half : numpy.ndarray, shape (boxes, 3)
        Middles and half edges. [m]
    asked : numpy.ndarray of bool, shape (lights, boxes), optional
        Which light is asked for in which box; the others are 0.

    Returns
    -------
    numpy.ndarray, shape (lights, boxes)
        0 where all of a light is stopped; as without walls where another of the same group gives more. [1]
    """
    of = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    table = Lights([light for group in groups for light in group])
    every = np.broadcast_to(np.arange(len(table)), (len(middle), len(table)))
    which = np.ones(every.shape, dtype=bool) if asked is None else asked.T
    return table.most(every, middle, half, np.zeros(len(middle)), which, np.broadcast_to(of, every.shape)).T


@dataclass(frozen=True)
class Question:
    """Where receivers are, and all light that can come there.

    Parameters
    ----------
    groups : sequence of sequence of (Source, Walls)
        Of a group the highest counts, as of the ways of one laser; groups are added, as of lasers that run together.
    places : Places
        Where receivers can be.
    """

    groups: Sequence[Sequence[Light]]
    places: Places


def known_as(lights: Iterable[Light]) -> tuple[tuple[int, int], ...]:
    """Return what tells lights from others as long as they are kept: of equal sources, and walls, there is one."""
    return tuple((id(source), id(walls)) for source, walls in lights)


def told_apart(lights: Iterable[Light]) -> dict[tuple[int, int], Light]:
    """Return each light once, in order, by what `known_as` says of it."""
    every = list(lights)
    return dict(zip(known_as(every), every, strict=True))


class Asked:
    """Several questions in one: all lights in a table, and for each receiver which of them can come to it."""

    def __init__(self, questions: Sequence[Question]) -> None:
        lights = [list(itertools.chain.from_iterable(one.groups)) for one in questions]
        every = told_apart(itertools.chain.from_iterable(lights))
        place = {key: number for number, key in enumerate(every)}
        most = max(map(len, lights), default=0)
        numbers = np.zeros((len(questions), most), dtype=np.intp)
        of = np.full((len(questions), most), -1)
        for row, (one, own) in enumerate(zip(questions, lights, strict=True)):
            numbers[row, : len(own)] = [place[key] for key in known_as(own)]
            of[row, : len(own)] = np.repeat(np.arange(len(one.groups)), [len(group) for group in one.groups])
        self.table = Lights(list(every.values()))
        counts = [len(one.places.low) for one in questions]
        owner = np.repeat(np.arange(len(questions)), counts)
        self.light, self.group = numbers[owner], of[owner]
        self.slot = np.broadcast_to(np.arange(most), self.light.shape)
        self.single = np.array([len(one.groups) < 2 for one in questions], dtype=bool)[owner]
        self.beyond = np.array([one.places.beyond for one in questions])[owner]
        self.low, self.high = (
            np.concatenate([np.zeros((0, 3)), *(getattr(one.places, end) for one in questions)])
            for end in ("low", "high")
        )
        ends = np.cumsum([0, *counts])
        self.rows = [slice(*pair) for pair in itertools.pairwise(ends.tolist())]
        self.outlines, self.line = dict[int, shapely.Geometry](), np.full((len(owner), 2, 2), np.nan)
        self.outline = np.zeros(len(owner), dtype=np.intp)  # of each receiver, many of which have the same: its id
        for start, one in zip(ends.tolist(), questions, strict=False):
            for row, outline in enumerate(one.places.outlines):
                if isinstance(outline, np.ndarray):
                    self.line[start + row] = outline
                elif outline is not None:
                    self.outline[start + row], self.outlines[id(outline)] = id(outline), outline
        shapely.prepare(list(self.outlines.values()))

    def each(self, owner: INDEX, middle: FLOAT, half: FLOAT, asked: FLAGS, enough: float = 0.0) -> FLOAT:
        """Return at least what each light of a receiver gives anywhere in boxes, of shape (boxes, lights)."""
        group = self.group[owner]
        return self.table.most(self.light[owner], middle, half, self.beyond[owner], asked & (group >= 0), group, enough)

    def total(self, owner: INDEX, each: FLOAT, rest: FLOAT) -> FLOAT:
        """Return the sum over groups of the highest of each; NaN, which nothing bounds, is infinite."""
        return total(self.group[owner], each, rest)

    def fewer(self, least: FLOAT, *boxes: _Open) -> None:
        """Look no more at lights that in no box of a receiver give more than the least of it, of shape (receivers,)."""
        if self.group.shape[1] < 2:
            return
        some = np.zeros(self.group.shape, dtype=bool)
        for one in boxes:
            row, column = np.nonzero(~(one.each <= least[one.owner, None]))
            some[one.owner[row], column] = True
        some &= self.group >= 0
        wide = int(some.sum(axis=1).max(initial=0))
        if not wide < _FEWER * self.group.shape[1]:
            return
        order = np.argsort(~some, axis=1, kind="stable")[:, :wide]
        for one in boxes:
            for number in range(one.rest.shape[1] if one.rest.shape[1] > 1 else 0):  # of a single group found is more
                out = (self.group[one.owner] == number) & ~some[one.owner]
                one.rest[:, number] = np.maximum(
                    one.rest[:, number], np.where(out, one.each, 0.0).max(axis=1, initial=0.0)
                )
            one.each = np.take_along_axis(one.each, order[one.owner], axis=1)
        self.group = np.where(
            np.take_along_axis(some, order, axis=1), np.take_along_axis(self.group, order, axis=1), -1
        )
        self.light, self.slot = (np.take_along_axis(one, order, axis=1) for one in (self.light, self.slot))
        for one in boxes:
            one.each = np.where(self.group[one.owner] >= 0, one.each, 0.0)

    def inside(self, now: _Open) -> _Open:
        """Return the boxes of which any part is in their places, no wider than that part."""
        kept = np.ones(len(now.owner), dtype=bool)
        for number, outline in self.outlines.items():
            mine = (self.outline[now.owner] == number).nonzero()[0]
            if not mine.size:
                continue
            middle, half = now.middle[mine, :2], now.half[mine, :2]
            part, of = np.unique(np.column_stack([middle - half, middle + half]), axis=0, return_inverse=True)
            boxes = shapely.box(*part.T)
            cut = (~(shapely.contains_properly(outline, boxes) & (shapely.area(boxes) > 0.0))).nonzero()[0]
            part[cut] = shapely.bounds(shapely.intersection(outline, boxes[cut]))
            part = part[of.reshape(-1)]
            left = np.isfinite(part).all(axis=1)
            kept[mine[~left]] = False
            mine, part = mine[left], part[left]
            now.middle[mine, :2] = (part[:, :2] + part[:, 2:]) / 2.0
            now.half[mine, :2] = (part[:, 2:] - part[:, :2]) / 2.0
        mine = np.isfinite(self.line[now.owner, 0, 0]).nonzero()[0]
        if mine.size:
            start, way = self.line[now.owner[mine], 0], np.diff(self.line[now.owner[mine]], axis=1)[:, 0]
            middle, half = now.middle[mine, :2], now.half[mine, :2]
            first, last = (middle - half * np.sign(way) - start) / way, (middle + half * np.sign(way) - start) / way
            first, last = np.maximum(first.max(axis=1), 0.0), np.minimum(last.min(axis=1), 1.0)
            kept[mine] = first < last
            now.middle[mine, :2] = start + way * ((first + last) / 2.0)[:, None]
            now.half[mine, :2] = np.abs(way) * ((last - first) / 2.0)[:, None] + _ROUND
        return now if kept.all() else now.taken(kept)

    def onto(self, owner: INDEX, points: FLOAT) -> FLOAT:
        """Return points with those of places that are lines moved onto their line, along the plan."""
        mine = np.isfinite(self.line[owner, 0, 0]).nonzero()[0]
        start, way = self.line[owner[mine], 0], np.diff(self.line[owner[mine]], axis=1)[:, 0]
        along = ((points[mine, :2] - start) * way).sum(axis=1) / np.square(way).sum(axis=1)
        points[mine, :2] = start + way * np.clip(along, 0.0, 1.0)[:, None]
        return points

    def holds(self, owner: INDEX, points: FLOAT) -> FLAGS:
        """Return which points are in their places."""
        found = np.ones(len(owner), dtype=bool)
        for number, outline in self.outlines.items():
            mine = self.outline[owner] == number
            if mine.any():
                found[mine] = shapely.intersects_xy(outline, points[mine, 0], points[mine, 1])
        return found


def bounds(
    questions: Sequence[Question], *, to_limit: bool = False, most: int = MOST_BOXES, near: float = _NEAR
) -> list[Bounds]:
    """Return how much light there can be at most anywhere in each of the places of many questions at once [1]_.

    Parameters
    ----------
    questions : sequence of Question
        Places, and the light that can come there.
    to_limit : bool
        Settle only whether a place is proven below the limit, and look for no witness.
    most : int
        Boxes of one receiver; what is open after them counts with its bound.
    near : float
        How many times the highest that was found a bound may be. [1]

    Returns
    -------
    list of Bounds
        For each question proven upper bounds, where the highest was found, and what kind of answer it is.

    References
    ----------
    .. [1] docs/method.md, section 16: branch and bound.
    """
    sizes = [len(one.places.low) * sum(map(len, one.groups)) for one in questions]
    if len(questions) > 1 and sum(sizes) > _MOST_CELLS:
        parts = (np.cumsum(sizes) // _MOST_CELLS).tolist()
        same = [
            [one for one, part in zip(questions, parts, strict=True) if part == number] for number in sorted(set(parts))
        ]
        return [found for part in same for found in _bounds(part, to_limit=to_limit, most=most, near=near)]
    return _bounds(questions, to_limit=to_limit, most=most, near=near)


def _bounds(questions: Sequence[Question], *, to_limit: bool, most: int, near: float) -> list[Bounds]:
    asked = Asked(questions)
    lights, count = (asked.light, asked.group), len(asked.low)
    upper, found, place = np.zeros(count), np.full(count, -1.0), (asked.low + asked.high) / 2.0
    light, boxes, box = np.full(count, -1), np.zeros(count, dtype=np.intp), np.zeros((count, 2, 3))
    strongest = np.full(count, -1)

    def left(some: _Open, done: FLAGS) -> _Open:
        """Return boxes without those that are done, which are counted in."""
        if not done.any():
            return some
        owner, most = some.owner[done], some.upper[done]
        np.maximum.at(upper, owner, most)
        top = most >= upper[owner]
        box[owner[top]], strongest[owner[top]] = some.box[done][top], some.lit[done][top]
        return some.taken(~done)

    pool = asked.inside(_Open(
        place.copy(), (asked.high - asked.low) / 2.0, np.arange(count), np.full(count, np.inf),
        np.where(asked.group >= 0, np.inf, 0.0), np.zeros((count, int(asked.group.max(initial=-1)) + 1)),
        np.zeros((count, 2, 3)), np.full(count, -1),
    ))  # fmt: skip
    while len(pool.owner):
        now, best = pool, _highest(pool, _TRIED)
        if not best.all():
            now, pool = pool.taken(best), pool.taken(~best)
        else:
            pool = pool.taken(slice(0))
        # what nowhere in a box gives more than was found, or next to nothing of a sum, is not bounded again
        wanted = now.each > np.where(asked.single, found, found * _NOTHING)[now.owner, None]
        each = np.where(wanted, asked.each(now.owner, now.middle, now.half, wanted), now.each)
        proven = asked.total(now.owner, each, now.rest)
        less = proven <= now.upper
        now.box[less] = np.stack([now.middle[less], now.half[less]], axis=1)
        now.lit[less] = asked.slot[now.owner[less], each[less].argmax(axis=1)] if each.shape[1] else -1
        now.upper, now.each = np.minimum(proven, now.upper), each
        boxes += np.bincount(now.owner, minlength=count)
        _points(asked, now, (found, place, light), 1.0 if to_limit else LEAST)
        now = left(now, (now.half.max(axis=1) * 2.0 <= STEP) | (boxes[now.owner] >= most))
        enough = np.maximum(found * near, np.minimum(found * _ROUGH, 0.5))
        enough = np.maximum(np.maximum(enough, LEAST), upper)  # another box has no less already
        if to_limit:
            enough = np.where(found > 1.0, np.inf, np.maximum(enough, 1.0))
        enough = np.where(boxes >= most, np.inf, enough)
        pool, now = left(pool, pool.upper <= enough[pool.owner]), left(now, now.upper <= enough[now.owner])
        asked.fewer(np.where(asked.single, found, found * _NOTHING), pool, now)
        now = asked.inside(halved(now))
        pool = pool.joined(now) if len(pool.owner) else now
    higher = found >= upper  # no box that is left has more than that point
    box[higher], strongest[higher] = np.stack([place, np.zeros_like(place)], axis=1)[higher], light[higher]
    upper, found = np.maximum(upper, found), np.maximum(found, 0.0)
    asked.light, asked.group = lights
    unseen = ((light < 0) & (upper > LEAST)).nonzero()[0]  # no single point was lit, and yet it is not proven dark
    if unseen.size and asked.group.shape[1]:
        middle, half = (asked.low + asked.high)[unseen] / 2.0, (asked.high - asked.low)[unseen] / 2.0
        each = asked.each(unseen, middle, half, np.ones((len(unseen), asked.group.shape[1]), dtype=bool))
        light[unseen] = each.argmax(axis=1)
    outcome = np.where(upper <= 1.0, BELOW, NOT_PROVEN)
    shown = ((found > 1.0) & (light >= 0)).nonzero()[0] if not to_limit else np.zeros(0, dtype=np.intp)
    shown = shown[asked.table.witnessed(asked.light[shown, light[shown]], place[shown])]
    outcome[shown] = ABOVE
    lit, alone = (light >= 0).nonzero()[0], np.zeros(count)
    alone[lit] = asked.table.over(asked.light[lit, light[lit]], place[lit], np.zeros((len(lit), 3)))
    return [
        Bounds(
            upper[rows], found[rows], place[rows], outcome[rows], light[rows], boxes[rows], box[rows], strongest[rows],
            alone[rows],
        )
        for rows in asked.rows
    ]  # fmt: skip


def _points(asked: Asked, now: _Open, best: tuple[FLOAT, FLOAT, INDEX], least: float) -> None:
    """Look at single points of the boxes, and raise what was found of a place, where, and of which light.

    Of each box that may have more than the *least* they are its middle and where its strongest light is to be expected.
    """
    found, place, light = best
    hope = (_highest(now, _SHOWN) & (now.upper > np.maximum(found[now.owner], least))).nonzero()[0]
    if not hope.size or not now.each.shape[1]:
        return
    strongest = asked.light[now.owner[hope], now.each[hope].argmax(axis=1)]
    likely = asked.onto(now.owner[hope], asked.table.likely(strongest, now.middle[hope], now.half[hope]))
    points, boxes = np.concatenate([now.middle[hope], likely]), np.concatenate([hope, hope])
    inside = asked.holds(now.owner[boxes], points)
    points, boxes = points[inside], boxes[inside]
    owner = now.owner[boxes]
    wanted = now.each[boxes] > np.where(asked.single, found, 0.0)[owner, None]
    each = asked.each(owner, points, np.zeros_like(points), wanted)
    sums = asked.total(owner, each, np.zeros((len(owner), now.rest.shape[1])))
    order = np.lexsort((sums, owner))
    last = order[np.append(np.diff(owner[order]) > 0, True)] if len(order) else order
    better = last[sums[last] > found[owner[last]]]
    found[owner[better]], place[owner[better]] = sums[better], points[better]
    strongest = asked.slot[owner[better], each[better].argmax(axis=1)]
    light[owner[better]] = np.where(sums[better] > 0.0, strongest, -1)


def halved(now: _Open) -> _Open:
    """Return the halves of boxes, along each edge that is not much shorter than the longest."""
    cut = now.half * np.array([1.0, 1.0, _UPWARDS])
    cut = cut > cut.max(axis=1, keepdims=True, initial=0.0) * 0.55
    at, middle, half = np.arange(len(cut)), now.middle, now.half.copy()
    for axis in range(3):
        some = cut[at, axis].nonzero()[0]
        half[some, axis] /= 2.0
        more, middle = middle[some].copy(), middle.copy()
        middle[some, axis] -= half[some, axis]
        more[:, axis] += half[some, axis]
        middle, half = np.concatenate([middle, more]), np.concatenate([half, half[some]])
        at = np.concatenate([at, at[some]])
    found = now.taken(at)
    found.middle, found.half = middle, half
    return found


@dataclass(frozen=True)
class Span:
    """With which lengths a light counts in a box.

    Attributes
    ----------
    near, far : float
        From the shortest to the longest path of a beam from its last optic, or the shortest way from a lit spot. [m]
    aside : float
        From the axis of a beam, at least. [m]
    cosine : float
        Of the smallest angle under which a lit spot is seen, from its normal. [1]
    start : numpy.ndarray, shape (2, 3)
        Middle and half edges of the nearest box in which it starts. [m]
    """

    near: float
    far: float
    aside: float
    cosine: float
    start: FLOAT


def span(light: Light, middle: FLOAT, half: FLOAT) -> Span:
    """Return the lengths with which `Lights.most` counts a light in one box [m], of shape (3,)."""
    source, number, middle, half = light[0], np.zeros(1, dtype=np.intp), middle[None, :], half[None, :]
    table = Lights([(source, Walls())] if source.aimed else [light])
    if source.aimed:
        near, far, aside = (float(one[0]) for one in table._along(number, middle, half))
        return Span(near, far, aside, 1.0, np.array([source.apex, source.moves]))
    start, size = source.near
    if table.sure[0]:
        start, size = table._starts.boxes[0]
        rows = np.zeros(len(start), dtype=np.intp)
        seen = ~table._stop(rows, start, size, middle[rows], half[rows])
        start, size = start[seen], size[seen]
    gaps = squared_gaps(middle, half, start.T[None], size.T[None])[0]
    near, column = float(table.shortest(number, middle, half)[0]), table.column
    first = gaps.argmin() if gaps.size else 0
    begin = np.array([start[first], size[first]]) if gaps.size else np.zeros((2, 3))
    if table.beam[0]:
        longest = table._longest(number, middle, np.sqrt(np.square(half).sum(axis=1)))
        return Span(near, float(longest[0]), 0.0, 1.0, begin)
    level = np.abs(half * column["normal"]).sum() + ((middle - column["on"]) * column["normal"]).sum()
    aslant = column["plane"][0] > 0.0 and column["lambert"][0] > 0.0
    return Span(near, math.inf, 0.0, min(max(float(level) / near, 0.0), 1.0) if aslant else 1.0, begin)
