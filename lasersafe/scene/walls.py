"""What upright walls with openings stop for sure: every straight way from one box in space to another.

A wall counts only where all ways from anywhere in the one box to anywhere in the other cross its solid part. Walls that
join at an edge are one: a way that passes the edge on the one side crosses the one wall, else the other.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
INDEX = NDArray[np.intp]
_TOUCH, _HAIR = 1e-9, 1e-6  # m
_SUNK = 0.05  # m: a wall that stands on the floor has nothing below it
_ROUNDS = 8  # walls in a row on each side of one
_CELLS = 60_000  # pairs of boxes and walls at a time: what a processor keeps at hand


@dataclass(frozen=True)
class Gap:
    """An opening: from and to along the line, bottom and top. [m]."""

    start: float
    end: float
    bottom: float
    top: float


@dataclass(frozen=True)
class Piece:
    """One upright straight part of a screen, as far as it is solid between two heights."""

    start: tuple[float, float]
    end: tuple[float, float]
    bottom: float
    top: float


@dataclass(frozen=True)
class Screen:
    """A barrier or wall.

    Parameters
    ----------
    name : str
        Its name.
    line : tuple of points
        Corners on the plan. [m]
    bottom, top : float
        Lower and upper edge. [m]
    gaps : tuple of Gap
        What is open.
    """

    name: str
    line: tuple[tuple[float, float], ...]
    bottom: float
    top: float
    gaps: tuple[Gap, ...] = ()

    def pieces(self) -> tuple[Piece, ...]:
        """Return its solid rectangles; round an opening there is one below and one above it."""
        found: list[Piece] = []
        passed = 0.0
        for first, second in zip(self.line, self.line[1:], strict=False):
            length = math.dist(first, second)
            cuts = {0.0, length}
            for gap in self.gaps:
                cuts |= {min(max(end - passed, 0.0), length) for end in (gap.start, gap.end)}
            marks = sorted(cuts)
            for low, high in itertools.pairwise(marks):
                if high - low <= _TOUCH:
                    continue
                middle = passed + (low + high) / 2.0
                ends = [
                    (first[0] + (second[0] - first[0]) * t / length, first[1] + (second[1] - first[1]) * t / length)
                    for t in (low, high)
                ]
                solid = [(self.bottom, self.top)]
                for gap in (one for one in self.gaps if one.start < middle < one.end):
                    left = (part for a, b in solid for part in ((a, min(b, gap.bottom)), (max(a, gap.top), b)))
                    solid = [(bottom, top) for bottom, top in left if top - bottom > _TOUCH]
                found += [Piece(ends[0], ends[1], bottom, top) for bottom, top in solid]
            passed += length
        return tuple(found)


@dataclass(frozen=True)
class Crossing:
    """Which walls stand between pairs of boxes, of shape (pairs, walls), and where the ways cross each of those."""

    apart: FLAGS  # the boxes lie on both sides of its plane
    same: FLAGS  # both lie on one side of it
    left: FLAGS  # the first lies to the left of it
    pair: INDEX  # which pair of boxes each of the following is about, of shape (crossings,)
    wall: INDEX  # and which wall, which lies between the two
    low: FLOAT  # along the wall [m]
    high: FLOAT
    bottom: FLOAT  # [m]
    top: FLOAT


class Walls:
    """The solid parts of upright screens.

    Parameters
    ----------
    screens : iterable of Screen
        Barriers and walls with what is open in them.
    """

    def __init__(self, screens: Iterable[Screen] = ()) -> None:
        self.screens = tuple(screens)
        rows, gaps = [], []
        for screen in self.screens:
            passed = 0.0
            for a, b in zip(screen.line, screen.line[1:], strict=False):
                length = float(np.hypot(b[0] - a[0], b[1] - a[1]))
                if length > _TOUCH and screen.top > screen.bottom:
                    bottom = screen.bottom - _SUNK if abs(screen.bottom) <= _TOUCH else screen.bottom
                    rows.append((*a, *b, bottom, screen.top, length))
                    gaps.append([(g.start - passed, g.end - passed, g.bottom, g.top) for g in screen.gaps])
                passed += length
        self._fill(rows, gaps)

    def _fill(self, rows: Sequence[tuple[float, ...]], gaps: Sequence[Sequence[tuple[float, ...]]]) -> None:
        table = np.array(rows, dtype=np.float64).reshape(-1, 7)
        self.start, self.end = table[:, :2], table[:, 2:4]
        self.bottom, self.top, self.length = table[:, 4], table[:, 5], table[:, 6]
        self.way = (self.end - self.start) / self.length[:, None]
        self.normal = np.stack([-self.way[:, 1], self.way[:, 0]], axis=1)
        most = max((len(one) for one in gaps), default=0)
        shut = (np.inf, -np.inf, np.inf, -np.inf)
        filled = [[*one, *[shut] * (most - len(one))] for one in gaps]
        self.gaps = np.array(filled, dtype=np.float64).reshape(len(rows), most, 4)
        self.parts: tuple[tuple[Walls, INDEX], ...] = ((self, np.arange(len(rows))),)

    @staticmethod
    def joined(several: Sequence[Walls]) -> Walls:
        """Return one that holds several, of which `stop` and `clear` take the one that they are told."""
        known: dict[tuple[object, ...], int] = {}
        numbers = []
        for one in several:
            ends = np.column_stack([one.start, one.end, one.bottom, one.top, one.length])
            gaps = [[tuple(gap) for gap in gaps if gap[0] < gap[1]] for gaps in one.gaps.tolist()]
            keys = [(tuple(row), tuple(holes)) for row, holes in zip(ends.tolist(), gaps, strict=True)]
            numbers.append(np.array([known.setdefault(key, len(known)) for key in keys], dtype=np.intp))
        found = Walls()
        found._fill([key[0] for key in known], [key[1] for key in known])  # type: ignore[misc]
        found.parts = tuple(zip(several, numbers, strict=True))
        return found

    @cached_property
    def _held(self) -> FLAGS:
        """Which of the walls each of several has, of shape (several, walls)."""
        found = np.zeros((len(self.parts), len(self)), dtype=bool)
        for row, (_, numbers) in enumerate(self.parts):
            found[row, numbers] = True
        return found

    def __len__(self) -> int:
        """Return the number of flat walls."""
        return len(self.length)

    def __eq__(self, other: object) -> bool:
        """Walls of the same screens are the same."""
        return isinstance(other, Walls) and self.screens == other.screens

    def __hash__(self) -> int:
        """Return a number for the screens."""
        return hash(self.screens)

    @cached_property
    def _joints(self) -> NDArray[np.intp]:
        """Every pair of ends that join: wall and end (0 start, 1 end), and the other wall with its end."""
        ends = np.concatenate([self.start, self.end])
        count = len(self)
        near = np.hypot(*(ends[:, None] - ends[None, :]).transpose(2, 0, 1)) <= _TOUCH
        one, other = np.nonzero(near)
        one, other = (side[one % count != other % count] for side in (one, other))
        return np.stack([one % count, one // count, other % count, other // count], axis=1)

    @cached_property
    def base(self) -> FLOAT:
        """How far the start of each wall lies along its normal and along itself, of shape (2, walls). [m]."""
        return np.stack([np.sum(self.start * self.normal, axis=1), np.sum(self.start * self.way, axis=1)])

    @cached_property
    def _across(self) -> tuple[FLOAT, FLOAT, FLOAT]:
        """Normals and their amounts, of shape (2, walls), and the amounts of the ways along walls, (walls, 2)."""
        normal = np.ascontiguousarray(self.normal.T)
        return normal, np.abs(normal), np.abs(self.way)

    def _crossings(
        self,
        a: FLOAT,
        a_half: FLOAT,
        b: FLOAT,
        b_half: FLOAT,
        which: INDEX | None = None,
        blur: FLOAT | None = None,
        home: FLOAT | None = None,
        face: FLOAT | None = None,
    ) -> Crossing:
        """Return where all ways from boxes round *a* to boxes round *b* cross the walls [m], shapes (pairs, 3)."""
        plane, (nx, ny), (sx, sy), size = self.base[0], *self._across
        aside, aside_off = a[:, :1] * nx + a[:, 1:2] * ny - plane, a_half[:, :1] * sx + a_half[:, 1:2] * sy
        ahead = a_half[:, :1] * size[:, 0] + a_half[:, 1:2] * size[:, 1]  # how far the first boxes reach along a wall
        if face is not None and face[:, :2].any():
            upright = face[:, :2].any(axis=1)
            n, long = face[upright, :2], np.hypot(*a_half[upright, :2].T)[:, None]
            aside_off[upright] = long * np.abs(n[:, :1] * ny - n[:, 1:] * nx)
            ahead[upright] = long * np.abs(n @ self.normal.T)
        other, other_off = b[:, :1] * nx + b[:, 1:2] * ny - plane, b_half[:, :1] * sx + b_half[:, 1:2] * sy
        seen_from, held = aside, None
        if home is not None:
            known = np.isfinite(home[:, :1])
            if known.any():
                seen = home[:, :1] * nx + home[:, 1:2] * ny - plane
                seen_from, held = np.where(known, seen, aside), np.abs(seen) > _TOUCH
        left = seen_from > 0.0
        near, far = np.where(left, aside, -aside), np.where(left, -other, other)
        apart = far >= other_off - _TOUCH
        behind = (near >= aside_off - _TOUCH) & (near > _TOUCH)
        apart &= behind if held is None else np.where(known, held, behind)
        same = (near > aside_off) & (far < -other_off)
        if which is not None:
            apart &= self._held[which]
        at = apart.ravel().nonzero()[0]
        pair, wall = at // len(self), at % len(self)
        near, far, aside_off, other_off, ahead = (one.take(at) for one in (near, far, aside_off, other_off, ahead))
        close, off = np.maximum(near - aside_off, 0.0), np.maximum(far - other_off, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            first = close / (close + far + other_off)
            last = np.where(near + aside_off > 0.0, (near + aside_off) / (near + aside_off + off), first)
        way, size, origin = self.way.take(wall, 0).T, size.take(wall, 0).T, self.base[1].take(wall)
        a, a_half, b, b_half = (one.take(pair, 0).T for one in (a, a_half, b, b_half))
        blurred = 0.0 if blur is None else blur.take(pair)

        def span(p: FLOAT, p_off: FLOAT, q: FLOAT, q_off: FLOAT) -> tuple[FLOAT, FLOAT]:
            low, high = p - p_off, p + p_off
            down, up = q - q_off - low, q + q_off - high
            return (
                np.minimum(low + first * down, low + last * down), np.maximum(high + first * up, high + last * up),
            )  # fmt: skip

        start, end = (x * way[0] + y * way[1] - origin for x, y, _ in (a, b))
        low, high = span(start, ahead, end, b_half[0] * size[0] + b_half[1] * size[1] + blurred)
        bottom, top = span(a[2], a_half[2], b[2], b_half[2] + blurred)
        return Crossing(apart, same, left, pair, wall, low, high, bottom, top)

    @cached_property
    def _rings(self) -> tuple[tuple[shapely.Polygon, NDArray[np.intp], float, float, bool], ...]:
        """Every closed row of walls: area, walls, heights that all of them fill, whether it is what bounds it."""
        if len(self) < 3:
            return ()
        lines = shapely.linestrings(np.stack([self.start, self.end], axis=1))
        found = []
        for part in shapely.get_parts(shapely.polygonize(lines)):
            area = shapely.Polygon(part.exterior)
            used = shapely.covers(area.exterior, lines).nonzero()[0]
            if area.is_valid and used.size:
                square = bool(area.equals(shapely.box(*area.bounds)))
                found.append((area, used, float(self.bottom[used].max()), float(self.top[used].min()), square))
        return tuple(found)

    def confined(self, home: FLOAT, middle: FLOAT, half: FLOAT) -> tuple[FLOAT, FLOAT]:
        """Return boxes without what lies behind walls for something that cannot get through them [m].

        Parameters
        ----------
        home : numpy.ndarray, shape (3,)
            Where it is for certain.
        middle, half : numpy.ndarray, shape (boxes, 3)
            Boxes that it can be in, of which those that are left come back.
        """
        low, high = middle - half, middle + half
        bottom, top = np.minimum(low.min(axis=0), home), np.maximum(high.max(axis=0), home)
        for area, _, lowest, highest, square in self._rings:
            if not (lowest <= bottom[2] and top[2] <= highest and shapely.contains_xy(area, *home[:2])):
                continue
            inside = np.column_stack(
                [np.maximum(low[:, :2], area.bounds[:2]), np.minimum(high[:, :2], area.bounds[2:])]
            )
            if not square:
                inside = shapely.bounds(shapely.intersection(area, shapely.box(*low[:, :2].T, *high[:, :2].T)))
            low[:, :2], high[:, :2] = inside[:, :2], inside[:, 2:]
            left = (low <= high).all(axis=1)  # False for NaN
            low, high = low[left], high[left]
        corners = np.array([(x, y) for x in (bottom[0], top[0]) for y in (bottom[1], top[1])])
        along = (corners[:, None] - self.start) * self.way
        near = (along.sum(axis=2).min(axis=0) >= 0.0) & (along.sum(axis=2).max(axis=0) <= self.length)
        near &= (self.bottom <= bottom[2]) & (top[2] <= self.top) & ~np.isfinite(self.gaps).any(axis=(1, 2))
        for wall in near.nonzero()[0]:
            n = self.normal[wall]
            side = float((home[:2] - self.start[wall]) @ n)
            n = n if side > 0.0 else -n
            least = float(self.start[wall] @ n)  # n . x has to be above it
            for axis in (0, 1):
                other = np.maximum(n[1 - axis] * low[:, 1 - axis], n[1 - axis] * high[:, 1 - axis])
                if abs(n[axis]) > _TOUCH:
                    edge = (least - other) / n[axis]
                    pick, side_of = (np.maximum, low) if n[axis] > 0.0 else (np.minimum, high)
                    side_of[:, axis] = pick(side_of[:, axis], edge)
        left = (high >= low).all(axis=1)
        return (low[left] + high[left]) / 2.0, (high[left] - low[left]) / 2.0

    def stop(
        self,
        a: FLOAT,
        a_half: FLOAT,
        b: FLOAT,
        b_half: FLOAT,
        *,
        which: INDEX | None = None,
        blur: FLOAT | None = None,
        on: FLOAT | None = None,
        normal: FLOAT | None = None,
        home: FLOAT | None = None,
        face: FLOAT | None = None,
    ) -> FLAGS:
        """Return between which boxes no straight way is free.

        Parameters
        ----------
        a, a_half, b, b_half : numpy.ndarray, shape (pairs, 3)
            Middles and half edges of the boxes. [m]
        which : numpy.ndarray of int, shape (pairs,), optional
            Of several that are joined, the one that counts.
        blur : numpy.ndarray, shape (pairs,), optional
            By how much ways can end outside the second boxes, along a wall but not through it. [m]
        on, normal : numpy.ndarray, shape (pairs, 3), optional
            A point of a mirror and its normal, of which only what stands in front counts; 0 where there is none. [m]
        home : numpy.ndarray, shape (pairs, 3), optional
            A place in the first boxes from which what they stand for cannot get through a wall, NaN for none. [m]
        face : numpy.ndarray, shape (pairs, 3), optional
            Where the first boxes are parts of lit faces, the normals of these, else 0: no more of a box lies on an
            upright face than along it, and what lies on a closed row of walls is inside or outside of it.

        Returns
        -------
        numpy.ndarray of bool, shape (pairs,)
            True only where every way from anywhere in the first to anywhere in the second meets a solid part.
        """
        found = np.zeros(len(a), dtype=bool)
        chunk = max(_CELLS // max(len(self), 1), 1)
        for start in range(0, len(a) if len(self) else 0, chunk):
            part = slice(start, start + chunk)
            boxes = a[part], a_half[part], b[part], b_half[part]
            of = None if which is None else which[part]
            given = (None if one is None else one[part] for one in (blur, home, on, normal, face))
            blurs, homes, ons, normals, faces = given
            c = self._crossings(*boxes, of, blurs, homes, faces)
            found[part] = self._stopped(c, ons, normals)
            whole = ~found[part] if normals is None or not normals.any() else ~found[part] & ~normals.any(axis=1)
            at = whole.nonzero()[0]
            if at.size and self._rings_of_parts:
                before = boxes[0] if faces is None else boxes[0] + _HAIR * faces
                part_of = np.zeros(at.size, dtype=np.intp) if of is None else of[at]
                for used, closed in self._around(part_of, *(one[at] for one in (*boxes, before))):
                    found[start + self._ringed(c, used, at[closed])] = True
        return found

    @cached_property
    def _rings_of_parts(self) -> list[tuple[shapely.Polygon, tuple[int, ...], float, float, bool, FLAGS]]:
        """The closed rows of walls of all that are joined, each once, and which of these have it."""
        found: dict[tuple[int, ...], tuple[shapely.Polygon, tuple[int, ...], float, float, bool, FLAGS]] = {}
        for number, (walls, own) in enumerate(self.parts):
            for area, used, bottom, top, square in walls._rings:
                key = tuple(own[used].tolist())
                found.setdefault(key, (area, key, bottom, top, square, np.zeros(len(self.parts), dtype=bool)))
                found[key][-1][number] = True
        return list(found.values())

    @cached_property
    def _ends_of_rings(self) -> tuple[FLOAT, FLAGS]:
        """Ends on the plan and heights of each closed row, of shape (6, rows) [m], and who has it, (parts, rows)."""
        rings = self._rings_of_parts
        ends = np.array([[*area.bounds, bottom, top] for area, _, bottom, top, _, _ in rings]).reshape(-1, 6)
        return ends.T, np.array([held for *_, held in rings], dtype=bool).T

    def _around(
        self, part: INDEX, a: FLOAT, a_half: FLOAT, b: FLOAT, b_half: FLOAT, inner: FLOAT
    ) -> list[tuple[tuple[int, ...], FLAGS]]:
        """Return for each closed row of walls where the first boxes are inside and the second outside."""
        a_low, a_high, b_low, b_high = a - a_half, a + a_half, b - b_half, b + b_half
        low, high = np.minimum(a_low[:, 2:], b_low[:, 2:]), np.maximum(a_high[:, 2:], b_high[:, 2:])
        ends, held = self._ends_of_rings
        inside: FLAGS = held[part] & (low >= ends[4]) & (high <= ends[5])
        away = np.zeros_like(inside)
        for axis in (0, 1):
            least, most = ends[axis], ends[axis + 2]
            place, start, end = (one[:, axis, None] for one in (inner, a_low, a_high))
            inside &= (place > least) & (place < most) & (start >= least - _TOUCH) & (end <= most + _TOUCH)
            away |= (b_high[:, axis, None] < least + _TOUCH) | (b_low[:, axis, None] > most - _TOUCH)
        found = []
        for number in np.flatnonzero(inside.any(axis=0)).tolist():
            area, used, _, _, square, _ = self._rings_of_parts[number]
            closed: FLAGS = inside[:, number]
            if square:
                closed &= away[:, number]
            else:
                closed &= shapely.contains_xy(area, inner[:, 0], inner[:, 1])
                at = closed.nonzero()[0]
                (first, of_first), (second, of_second) = (
                    _distinct(a[at], a_half[at], (inner - a)[at]), _distinct(b[at], b_half[at], np.zeros((len(at), 3))),
                )  # fmt: skip
                closed[at] = shapely.covers(area.buffer(_TOUCH), first)[of_first]
                closed[at] &= away[at, number] | ~shapely.intersects(area.buffer(-_TOUCH), second)[of_second]
            if closed.any():
                found.append((used, closed))
        return found

    def _ringed(self, c: Crossing, used: tuple[int, ...], pairs: INDEX) -> INDEX:
        """Return the pairs for which a closed row of walls has no gap on any way."""
        closed = np.zeros(len(c.apart), dtype=bool)
        closed[pairs] = True
        for wall in used:
            for start, end, lowest, highest in self.gaps[wall]:
                if start < end:
                    at = c.wall == wall
                    misses = (c.high[at] <= start) | (c.low[at] >= end)
                    misses |= (c.top[at] <= lowest) | (c.bottom[at] >= highest)
                    past = c.same[:, wall].copy()
                    past[c.pair[at][misses]] = True
                    closed &= past
        return closed.nonzero()[0]

    def _stopped(self, c: Crossing, on: FLOAT | None, normal: FLOAT | None) -> FLAGS:
        pair, wall = c.pair, c.wall
        solid = (c.bottom >= self.bottom.take(wall)) & (c.top <= self.top.take(wall))
        for gaps in self.gaps.transpose(1, 0, 2):
            start, end, bottom, top = gaps[wall].T
            solid &= (c.high <= start) | (c.low >= end) | (c.top <= bottom) | (c.bottom >= top)
        if on is not None and normal is not None and normal.any():
            at, n = on[pair], normal[pair]
            base = ((self.start[wall] - at[:, :2]) * n[:, :2]).sum(axis=1)
            slope = (self.way[wall] * n[:, :2]).sum(axis=1)
            level = np.minimum((c.bottom - at[:, 2]) * n[:, 2], (c.top - at[:, 2]) * n[:, 2])
            before = base + np.minimum(c.low * slope, c.high * slope) + level > 0.0
            solid &= before | ~n.any(axis=1)
        starts = np.asarray(solid & (c.low >= -_TOUCH))
        ends = np.asarray(solid & (c.high <= self.length.take(wall) + _TOUCH))
        found = np.zeros(len(c.apart), dtype=bool)
        found[pair[starts & ends]] = True
        count = len(self)
        # a row of walls is closed only where several of them are, each at one end at least
        rows = ((np.bincount(pair[starts | ends], minlength=len(found)) > 1) & ~found).nonzero()[0]
        if rows.size and len(self._joints):
            closed, held = np.zeros((len(found), 2 * count), dtype=bool), np.zeros_like(c.apart)
            closed[pair[starts], wall[starts]] = True
            closed[pair[ends], count + wall[ends]] = True
            held[pair[solid], wall[solid]] = True
            closed = closed[rows]
            self._join(held[rows], c.left[rows], closed)
            found[rows] = (closed[:, :count] & closed[:, count:]).any(axis=1)
        return found

    def _join(self, solid: FLAGS, left: FLAGS, closed: FLAGS) -> None:
        """Close the ends of walls at which others go on: the first box has to be on one side of the row.

        Both ends of all walls are in one array, of shape (pairs, 2 walls): first all starts, then all ends.
        """
        wall, end, other, at = self._joints.T
        count = len(self)
        held = solid[:, wall] & ((left[:, wall] ^ left[:, other]) == (end == at))
        for _ in range(_ROUNDS):
            onwards = held & closed[:, (1 - at) * count + other] & ~closed[:, end * count + wall]
            if not onwards.any():
                return
            for joint in onwards.any(axis=0).nonzero()[0]:
                closed[:, end[joint] * count + wall[joint]] |= onwards[:, joint]

    def clear(self, a: FLOAT, a_half: FLOAT, b: FLOAT, b_half: FLOAT, *, which: INDEX | None = None) -> FLAGS:
        """Return between which boxes every straight way is free; shapes as of `stop`."""
        found = np.ones(len(a), dtype=bool)
        chunk = max(_CELLS // max(len(self), 1), 1)
        for first in range(0, len(a) if len(self) else 0, chunk):
            part = slice(first, first + chunk)
            of = None if which is None else which[part]
            c = self._crossings(a[part], a_half[part], b[part], b_half[part], of)
            pair, wall = c.pair, c.wall
            past = (c.high < 0.0) | (c.low > self.length[wall])
            past |= (c.top < self.bottom[wall]) | (c.bottom > self.top[wall])
            for gaps in self.gaps.transpose(1, 0, 2):
                start, end, bottom, top = gaps[wall].T
                past |= (c.low > start) & (c.high < end) & (c.bottom > bottom) & (c.top < top)
            free = c.same if of is None else c.same | ~self._held[of]
            free[pair[past], wall[past]] = True
            found[part] = free.all(axis=1)
        return found


def _distinct(middle: FLOAT, half: FLOAT, towards: FLOAT) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """Return the outlines of boxes on the plan, each once, and which of them each box has; of upright faces a line.

    These face a way that is not 0 on the plan.
    """
    lean = -np.sign(towards[:, 0] * towards[:, 1])  # of a line: 1 from the lower to the upper corner, else -1
    rows = np.column_stack([(middle - half)[:, :2], (middle + half)[:, :2], towards[:, :2].any(axis=1), lean])
    key = rows @ np.array([1.0, math.sqrt(2.0), math.pi, math.e, math.sqrt(3.0), math.sqrt(5.0)])
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    if not np.array_equal(rows[first][which], rows):
        first, which = np.arange(len(rows)), np.arange(len(rows))
    found = shapely.box(*rows[first, :4].T)
    lines = rows[first, 4].nonzero()[0]
    x0, y0, x1, y1, _, lean = rows[first][lines].T
    low, high = np.where(lean < 0.0, y1, y0), np.where(lean < 0.0, y0, y1)
    ends = np.stack([np.column_stack([x0, low]), np.column_stack([x1, high])], axis=1)
    found[lines] = shapely.linestrings(ends)
    return found, which
