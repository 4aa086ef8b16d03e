"""What upright walls with openings stop for sure: every straight way from one box in space to another.

A wall counts only where all ways from anywhere in the one box to anywhere in the other cross its solid part. Walls that
join at an edge are one: a way that passes the edge on the one side crosses the one wall, else the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.scene.screens import Screen

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
Plane = tuple[tuple[float, float, float], tuple[float, float, float]]
_TOUCH = 1e-9  # m
_SUNK = 0.05  # m: a wall that stands on the floor has nothing below it
_ROUNDS = 8  # walls in a row on each side of one
_CELLS = 400_000  # pairs of boxes and walls at a time


@dataclass(frozen=True)
class Crossing:
    """Where the ways between pairs of boxes cross each wall, arrays of shape (pairs, walls)."""

    apart: FLAGS  # the boxes lie on both sides of its plane
    same: FLAGS  # both lie on one side of it
    left: FLAGS  # the first lies to the left of it
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
        table = np.array(rows, dtype=np.float64).reshape(-1, 7)
        self.start, self.end = table[:, :2], table[:, 2:4]
        self.bottom, self.top, self.length = table[:, 4], table[:, 5], table[:, 6]
        self.way = (self.end - self.start) / self.length[:, None]
        self.normal = np.stack([-self.way[:, 1], self.way[:, 0]], axis=1)
        most = max((len(one) for one in gaps), default=0)
        shut = (np.inf, -np.inf, np.inf, -np.inf)
        self.gaps = np.array([one + [shut] * (most - len(one)) for one in gaps]).reshape(len(rows), most, 4)

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

    def _crossings(
        self, a: FLOAT, a_half: FLOAT, b: FLOAT, b_half: FLOAT, blur: float = 0.0, home: FLOAT | None = None
    ) -> Crossing:
        """Return where all ways from boxes round *a* to boxes round *b* cross the walls [m], shapes (pairs, 3)."""
        # the two boxes as seen along the normal of each wall, along the wall itself, and upwards
        normal, way = self.normal.T, self.way.T
        aside, aside_off = a[:, :2] @ normal, a_half[:, :2] @ np.abs(normal)
        other, other_off = b[:, :2] @ normal, b_half[:, :2] @ np.abs(normal)
        plane = np.sum(self.start * self.normal, axis=1)
        aside, other = aside - plane, other - plane
        seen_from = aside if home is None else self.normal @ home[:2] - plane
        left = np.broadcast_to(seen_from > 0.0, aside.shape)
        near, far = np.where(left, aside, -aside), np.where(left, -other, other)
        held = (near >= aside_off - _TOUCH) & (near > _TOUCH) if home is None else np.abs(seen_from) > _TOUCH
        apart = held & (far >= other_off - _TOUCH)
        same = (near > aside_off) & (far < -other_off)
        close, off = np.maximum(near - aside_off, 0.0), np.maximum(far - other_off, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            first = np.where(apart, close / (close + far + other_off), 0.0)
            last = np.where(apart, (near + aside_off) / (near + aside_off + off), 1.0)
            last = np.where(near + aside_off > 0.0, last, first)
        origin = np.sum(self.start * self.way, axis=1)
        u_a, u_off_a = a[:, :2] @ way - origin, a_half[:, :2] @ np.abs(way)
        u_b, u_off_b = b[:, :2] @ way - origin, b_half[:, :2] @ np.abs(way) + blur

        def span(p: FLOAT, p_off: FLOAT, q: FLOAT, q_off: FLOAT) -> tuple[FLOAT, FLOAT]:
            low, high, to_low, to_high = p - p_off, p + p_off, q - q_off, q + q_off
            return (
                np.minimum(low + first * (to_low - low), low + last * (to_low - low)),
                np.maximum(high + first * (to_high - high), high + last * (to_high - high)),
            )

        low, high = span(u_a, u_off_a, u_b, u_off_b)
        bottom, top = span(a[:, 2:], a_half[:, 2:], b[:, 2:], b_half[:, 2:] + blur)
        return Crossing(apart, same, left, low, high, bottom, top)

    @cached_property
    def _rings(self) -> tuple[tuple[shapely.Polygon, NDArray[np.intp], float, float, bool], ...]:
        """Every closed row of walls: area, walls, heights that all of them fill, whether it is what bounds it."""
        if len(self) < 3:
            return ()
        lines = shapely.linestrings(np.stack([self.start, self.end], axis=1))
        found = []
        for part in shapely.get_parts(shapely.polygonize(lines)):
            area = shapely.Polygon(part.exterior)
            used = np.flatnonzero(shapely.covers(area.exterior, lines))
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
        for area, _, lowest, highest, _ in self._rings:
            if lowest <= bottom[2] and top[2] <= highest and shapely.contains_xy(area, *home[:2]):
                inside = shapely.bounds(shapely.intersection(area, shapely.box(*low[:, :2].T, *high[:, :2].T)))
                low[:, :2], high[:, :2] = inside[:, :2], inside[:, 2:]
        low, high = (one[np.isfinite(low).all(axis=1)] for one in (low, high))
        corners = np.array([(x, y) for x in (bottom[0], top[0]) for y in (bottom[1], top[1])])
        along = (corners[:, None] - self.start) * self.way
        near = (along.sum(axis=2).min(axis=0) >= 0.0) & (along.sum(axis=2).max(axis=0) <= self.length)
        near &= (self.bottom <= bottom[2]) & (top[2] <= self.top) & ~np.isfinite(self.gaps).any(axis=(1, 2))
        for wall in np.flatnonzero(near):
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
        blur: float = 0.0,
        plane: Plane | None = None,
        home: FLOAT | None = None,
    ) -> FLAGS:
        """Return between which boxes no straight way is free.

        Parameters
        ----------
        a, a_half, b, b_half : numpy.ndarray, shape (pairs, 3)
            Middles and half edges of the boxes. [m]
        blur : float
            By how much ways can end outside the second boxes, along a wall but not through it. [m]
        plane : tuple, optional
            A point of a mirror and its normal: only what stands in front of it counts.
        home : numpy.ndarray, shape (3,), optional
            A place in the first boxes from which what they stand for cannot get through a wall. [m]

        Returns
        -------
        numpy.ndarray of bool, shape (pairs,)
            True only where every way from anywhere in the first to anywhere in the second meets a solid part.
        """
        found = np.zeros(len(a), dtype=bool)
        rings = self._around(a, a_half, b, b_half) if plane is None and len(self) and len(a) else []
        chunk = max(_CELLS // max(len(self), 1), 1)
        for start in range(0, len(a) if len(self) else 0, chunk):
            part = slice(start, start + chunk)
            c = self._crossings(a[part], a_half[part], b[part], b_half[part], blur, home)
            found[part] = self._stopped(c, plane)
            for used, closed in rings:
                found[part] |= self._ringed(c, used, closed[part])
        return found

    def _around(self, a: FLOAT, a_half: FLOAT, b: FLOAT, b_half: FLOAT) -> list[tuple[tuple[int, ...], FLAGS]]:
        """Return for each closed row of walls where the first boxes are inside and the second outside."""
        if not self._rings:
            return []
        a_low, a_high, b_low, b_high = a - a_half, a + a_half, b - b_half, b + b_half
        low, high = np.minimum(a_low[:, 2], b_low[:, 2]), np.maximum(a_high[:, 2], b_high[:, 2])
        found = []
        for area, used, bottom, top, square in self._rings:
            x0, y0, x1, y1 = area.bounds
            closed = (low >= bottom) & (high <= top)
            closed &= (a_low[:, 0] >= x0 - _TOUCH) & (a_low[:, 1] >= y0 - _TOUCH)
            closed &= (a_high[:, 0] <= x1 + _TOUCH) & (a_high[:, 1] <= y1 + _TOUCH)
            away = (b_high[:, 0] < x0 + _TOUCH) | (b_low[:, 0] > x1 - _TOUCH)
            away |= (b_high[:, 1] < y0 + _TOUCH) | (b_low[:, 1] > y1 - _TOUCH)
            if square:
                closed &= away
            elif closed.any():
                at = np.flatnonzero(closed)
                (first, of_first), (second, of_second) = _distinct(a[at], a_half[at]), _distinct(b[at], b_half[at])
                closed[at] = shapely.covers(area.buffer(_TOUCH), first)[of_first]
                closed[at] &= away[at] | ~shapely.intersects(area.buffer(-_TOUCH), second)[of_second]
            if closed.any():
                found.append((tuple(used), closed))
        return found

    def _ringed(self, c: Crossing, used: tuple[int, ...], closed: FLAGS) -> FLAGS:
        """Return where a closed row of walls has no gap on any way."""
        for wall in used:
            for start, end, lowest, highest in self.gaps[wall]:
                if start < end:
                    misses = (c.high[:, wall] <= start) | (c.low[:, wall] >= end)
                    misses |= (c.top[:, wall] <= lowest) | (c.bottom[:, wall] >= highest)
                    closed = closed & (c.same[:, wall] | (c.apart[:, wall] & misses))
        return closed

    def _stopped(self, c: Crossing, plane: Plane | None) -> FLAGS:
        solid = c.apart & (c.bottom >= self.bottom) & (c.top <= self.top)
        for start, end, bottom, top in self.gaps.transpose(1, 2, 0):
            solid &= (c.high <= start) | (c.low >= end) | (c.top <= bottom) | (c.bottom >= top)
        if plane is not None:
            on, n = plane
            base = (self.start - np.array(on[:2])) @ np.array(n[:2])
            slope = self.way @ np.array(n[:2])
            level = np.minimum((c.bottom - on[2]) * n[2], (c.top - on[2]) * n[2])
            solid &= base + np.minimum(c.low * slope, c.high * slope) + level > 0.0
        if not solid.any():
            return np.zeros(len(solid), dtype=bool)
        closed = np.concatenate([solid & (c.low >= -_TOUCH), solid & (c.high <= self.length + _TOUCH)], axis=1)
        count = len(self)
        found = np.asarray((closed[:, :count] & closed[:, count:]).any(axis=1))
        at = np.flatnonzero(~found & solid.any(axis=1)) if len(self._joints) else np.arange(0)
        if at.size:
            ends = closed[at]
            self._join(solid[at], c.left[at], ends)
            found[at] = (ends[:, :count] & ends[:, count:]).any(axis=1)
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
            for joint in np.flatnonzero(onwards.any(axis=0)):
                closed[:, end[joint] * count + wall[joint]] |= onwards[:, joint]

    def clear(self, a: FLOAT, a_half: FLOAT, b: FLOAT, b_half: FLOAT) -> FLAGS:
        """Return between which boxes every straight way is free; shapes as of `stop`."""
        if not len(self):
            return np.ones(len(a), dtype=bool)
        c = self._crossings(a, a_half, b, b_half)
        past = (c.high < 0.0) | (c.low > self.length) | (c.top < self.bottom) | (c.bottom > self.top)
        for start, end, bottom, top in self.gaps.transpose(1, 2, 0):
            past |= (c.low > start) & (c.high < end) & (c.bottom > bottom) & (c.top < top)
        return np.asarray((c.same | (c.apart & past)).all(axis=1))


def _distinct(middle: FLOAT, half: FLOAT) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """Return the outlines of boxes on the plan, each once, and which of them each box has."""
    rows = np.column_stack([(middle - half)[:, :2], (middle + half)[:, :2]])
    key = rows @ np.array([1.0, math.sqrt(2.0), math.pi, math.e])
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    if not np.array_equal(rows[first][which], rows):
        first, which = np.arange(len(rows)), np.arange(len(rows))
    return shapely.box(*rows[first].T), which
