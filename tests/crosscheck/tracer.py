"""Brute-force tracer of a scene, which shares no line with the package: rays, images and counting, nothing bounded.

A beam is a bundle of rays from the last optic: where a ray starts and which way it goes are independent Gaussians of
two axes, whose widths at z add up to d^2 + phi^2 z^2. A ray follows any chain of mirrors (flat, or the cap of a ball
with its real shape) and ends at walls. What reaches a place is found hot spots first: the head is aimed straight at the
place by way of the chain, as far as it can turn, and a little beside; there the bundle is taken to first order around
the likeliest ray that arrives, averaged over the aperture, and the share of its rays that get past rims and edges is
counted. A matt surface, a wall (0.8) and the floor (0.8) that are lit scatter by Lambert, straight on or by way of flat
mirrors.

Only the walls stop light: a plate may be moved or burnt through, so that it shades nothing. Plates return light from
both sides, curved mirrors from their front alone. Left out: light scattered twice, scatter by way of curved mirrors,
diffraction.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np

from tests.crosscheck.scene_description import Laser, Person, Scene, Surface

# 1070 nm, 10 s: eye 10 W/m2 * C_A = 5, over 7 mm; skin 11 kJ/m2 * C_A * t^0.25 / t = 9781 W/m2, over 3.5 mm
EYE = (50.0, 7e-3)
SKIN = (11e3 * 5.0 * 10.0**0.25 / 10.0, 3.5e-3)
MATT = 0.8
BODY = (0.0, 1.9)  # where skin is, above the floor
NEAREST = 0.1  # [m] from a lit place, for eyes
LEAST = 1e-3  # share of the power below which no mirror is followed farther
DIM = 0.05  # of a limit: scatter that cannot be more is not looked for
RINGS = [(math.sqrt((k + 0.5) / 4.0), 4 + 4 * k) for k in range(4)]  # of an aperture, of equal areas: radius, points
DISC = np.array(
    [(r * math.cos(6.2832 * k / n + r), r * math.sin(6.2832 * k / n + r)) for r, n in RINGS for k in range(n)]
)
WEIGHT = np.array([0.25 / n for _, n in RINGS for _ in range(n)])


def unit(bearing, elevation):
    """Directions of shape (..., 3) from angles in radians."""
    flat = np.cos(elevation)
    return np.stack(np.broadcast_arrays(flat * np.sin(bearing), flat * np.cos(bearing), np.sin(elevation)), axis=-1)


def normed(v):
    return v / np.linalg.norm(v, axis=-1, keepdims=True)


def dot(a, b):
    return (a * b).sum(axis=-1)


def cross(a, b):
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    u, v, w = b[..., 0], b[..., 1], b[..., 2]
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=-1)


def across(axis):
    """Two directions at right angles to others: the first one level."""
    up = np.where(np.abs(axis[..., 2:]) < 0.999, [0.0, 0.0, 1.0], [0.0, 1.0, 0.0])
    first = normed(cross(axis, up))
    return first, cross(first, axis)


class Disc:
    """A surface as the tracer meets it."""

    def __init__(self, one: Surface) -> None:
        self.name = one.name
        self.mirror = one.mirror
        self.share = one.reflectance
        self.place = np.array(one.place, dtype=float)
        self.normal = unit(math.radians(one.bearing), math.radians(one.tilt))
        self.half = one.width / 2.0
        self.radius = one.radius
        self.first, self.second = across(self.normal)

    def meet(self, start, way):
        """Where rays meet it, the normal there, whether within the rim, whether on it at all if it went on."""
        if not self.radius:
            slope = way @ self.normal
            slope = np.where(np.abs(slope) < 1e-12, 1e-12, slope)
            along = (self.place - start) @ self.normal / slope
            normal = np.where(slope[..., None] > 0.0, -self.normal, self.normal)
        else:
            middle = self.place - self.radius * self.normal
            away = start - middle
            half, rest = dot(away, way), dot(away, away) - self.radius**2
            root = half**2 - rest
            inside = np.sqrt(np.maximum(root, 0.0))
            along = -half - inside if self.radius > 0 else -half + inside
            along = np.where(root > 0.0, along, -1.0)
            normal = (start + along[..., None] * way - middle) / self.radius
        at = start + along[..., None] * way
        beside = at - self.place
        beside = beside - (beside @ self.normal)[..., None] * self.normal
        met = (along > 1e-9) & (dot(normal, way) < 0.0)
        if self.radius:
            met &= normal @ self.normal > 0.0
        return at, normal, met & (dot(beside, beside) <= self.half**2), met

    def points(self, count, rng):
        """Random points of the disc, its middle first."""
        r, turn = self.half * np.sqrt(rng.random(count)), rng.random(count) * 2 * math.pi
        r[0] = 0.0
        at = (r * np.cos(turn))[:, None] * self.first + (r * np.sin(turn))[:, None] * self.second
        if self.radius:
            drop = np.sqrt(np.maximum(self.radius**2 - r**2, 0.0)) - abs(self.radius)
            at = at + (math.copysign(1.0, self.radius) * drop)[:, None] * self.normal
        return self.place + at


@dataclass(frozen=True)
class Found:
    """The highest that was found: exposure over limit, where, how."""

    ratio: float
    place: tuple[float, float, float]
    way: str
    tissue: str = "eye"
    laser: str = ""
    aim: tuple[float, float, float] = (0.0, 0.0, 0.0)
    head: tuple[float, float, float] = (0.0, 0.0, 0.0)


class Tracer:
    """One scene, and random numbers of its own."""

    def __init__(self, scene: Scene, seed: int = 0, candidates: int = 48, order: int = 3, floor: bool = True) -> None:
        self.scene = scene
        self.rng = np.random.default_rng(seed)
        self.candidates = candidates
        self.discs = [Disc(s) for s in scene.surfaces]
        self.mirrors = [d for d in self.discs if d.mirror and d.share > LEAST]
        self.matt = [d for d in self.discs if not d.mirror and d.share > LEAST]
        self.pieces = [
            (np.array(a), np.array(b), wall.bottom, wall.top)
            for wall in scene.barriers
            for a, b in itertools.pairwise(wall.line)
        ]
        self.chains: list[tuple[Disc, ...]] = [()]
        for length in range(1, order + 1):
            for chain in itertools.product(self.mirrors, repeat=length):
                if all(self.faces(a, b) for a, b in itertools.pairwise(chain)):
                    self.chains.append(chain)
        self.floor = floor

    @staticmethod
    def faces(a: Disc, b: Disc) -> bool:
        """Whether light can go from one mirror to another."""
        return a.radius < 0.0 if a is b else True

    def reaches(self, laser: Laser, chain) -> bool:
        """Whether the beam comes near the first mirror of a chain at all."""
        if not chain:
            return True
        to = chain[0].points(60, self.rng) - np.array(laser.place)
        far = np.linalg.norm(to, axis=1)
        wish = to / far[:, None]
        off = np.arccos(np.clip(dot(self.nearest_aim(laser, wish), wish), -1.0, 1.0))
        wide = 2.5 * (laser.divergence + laser.diameter / far) + 0.3 * chain[0].half / far
        return bool((off < wide).any())

    # --- rays -----------------------------------------------------------------------------------------------------

    def open(self, start, end):
        """Whether no wall stands between places of shape (..., 3)."""
        free = np.ones(np.broadcast_shapes(start.shape, end.shape)[:-1], dtype=bool)
        step = end - start
        for a, b, bottom, top in self.pieces:
            edge = b - a
            normal = np.array([edge[1], -edge[0]])
            slope = step[..., :2] @ normal
            share = (a - start[..., :2]) @ normal / np.where(np.abs(slope) < 1e-15, 1e-15, slope)
            at = start + share[..., None] * step
            along = (at[..., :2] - a) @ edge / (edge @ edge)
            hit = (share > 1e-7) & (share < 1 - 1e-7) & (along >= 0) & (along <= 1)
            free &= ~(hit & (at[..., 2] >= bottom) & (at[..., 2] <= top))
        return free

    def follow(self, chain, start, way, strict=True):
        """Rays behind a chain of mirrors: last place, direction, whether they got there (rims and walls if strict).

        A ray leaves a hollow mirror through its rim, to the front; else it meets the same mirror again.
        """
        good = np.ones(way.shape[:-1], dtype=bool)
        for disc, after in itertools.zip_longest(chain, chain[1:]):
            at, normal, inside, met = disc.meet(start, way)
            good &= inside if strict else met
            if strict and self.pieces:
                good &= self.open(start, at)
            start, way = at, way - 2.0 * dot(way, normal)[..., None] * normal
            if strict and disc.radius < 0.0 and after is not disc:
                good &= way @ disc.normal > 0.0
        return start, way, good

    @staticmethod
    def rays(laser: Laser, aim, draw):
        """Rays of a bundle from standard normal numbers of shape (..., 4): start across, slope across."""
        first, second = across(aim)
        side, slope = laser.diameter / math.sqrt(8.0), laser.divergence / math.sqrt(8.0)
        start = np.array(laser.place) + side * (draw[..., :1] * first + draw[..., 1:2] * second)
        return start, normed(aim + slope * (draw[..., 2:3] * first + draw[..., 3:] * second))

    # --- aims -----------------------------------------------------------------------------------------------------

    @staticmethod
    def nearest_aim(laser: Laser, wish):
        """The directions that the beam can have nearest to wished ones: envelope, then scan (level), then margin."""
        rad = math.radians
        scan = np.linspace(-0.5, 0.5, 41 if laser.scan else 1) * rad(laser.scan) if laser.scan else np.zeros(1)
        wish = wish[..., None, :]
        sine = np.clip(wish[..., 2] / np.cos(scan), -1.0, 1.0)
        up = np.clip(
            np.arcsin(sine), rad(laser.elevation - laser.elevation_half), rad(laser.elevation + laser.elevation_half)
        )
        turn = np.arctan2(wish[..., 0], wish[..., 1]) - np.arctan2(np.sin(scan), np.cos(scan) * np.cos(up))
        turn = (turn - rad(laser.bearing) + math.pi) % (2 * math.pi) - math.pi
        turn = rad(laser.bearing) + np.clip(turn, -rad(laser.bearing_half), rad(laser.bearing_half))
        level = np.stack([np.cos(turn), -np.sin(turn), np.zeros_like(turn)], axis=-1)
        aims = np.cos(scan)[:, None] * unit(turn, up) + np.sin(scan)[:, None] * level
        best = np.argmax(dot(aims, wish), axis=-1)
        aims = np.take_along_axis(aims, best[..., None, None], axis=-2)[..., 0, :]
        wish = wish[..., 0, :]
        angle = np.arccos(np.clip(dot(aims, wish), -1.0, 1.0))
        part = np.where(angle > 1e-12, np.minimum(1.0, rad(laser.margin) / np.maximum(angle, 1e-12)), 0.0)
        return (
            normed(aims + (np.sin(part * angle) / np.maximum(np.sin((1 - part) * angle), 1e-9))[..., None] * wish)
            if ((part > 0).any() and laser.margin)
            else aims
        )

    def wishes(self, laser: Laser, chain, targets):
        """Directions from the head that lead to targets of shape (n, 3) over a chain; NaN where none was found."""
        here = np.array(laser.place)
        if all(not d.radius for d in chain):
            image = targets
            for disc in reversed(chain):
                image = image - 2.0 * ((image - disc.place) @ disc.normal)[..., None] * disc.normal
            return normed(image - here)
        # over curved mirrors: from random points of the first disc, the ray that passes nearest, then Newton
        tries = normed(chain[0].points(60, self.rng) - here)
        start, way, good = self.follow(chain, np.broadcast_to(here, tries.shape), tries, strict=False)
        to = targets[:, None, :] - start
        miss = np.linalg.norm(to - dot(to, way)[..., None] * way, axis=-1) + np.where(dot(to, way) > 0, 0.0, 1e9)
        wish = tries[np.argmin(np.where(good & np.isfinite(miss), miss, 1e12), axis=1)]
        for _ in range(8):
            first, second = across(wish)
            three = normed(np.stack([wish, wish + 1e-6 * first, wish + 1e-6 * second], axis=-2))
            start, way, good = self.follow(chain, np.broadcast_to(here, three.shape), three, strict=False)
            p, q = across(way[:, 0])
            to = targets - start[:, 0]
            along = dot(targets[:, None] - start, way[:, :1]) / dot(way, way[:, :1])
            miss = start + along[..., None] * way - targets[:, None]
            flat = np.stack([dot(miss, p[:, None]), dot(miss, q[:, None])], axis=-1)  # (n, 3, 2)
            matrix = np.stack([flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]], axis=-1) / 1e-6
            scale = np.abs(np.linalg.det(matrix))
            fine = good.all(axis=1) & (scale > 1e-12) & (dot(to, way[:, 0]) > 0)
            matrix[~fine] = np.eye(2)
            move = -np.linalg.solve(matrix, flat[:, 0, :, None])[..., 0]
            move = np.where(fine[:, None], np.clip(move, -0.03, 0.03), 0.0)
            wish = normed(wish + move[:, :1] * first + move[:, 1:] * second)
        return wish

    # --- what arrives ---------------------------------------------------------------------------------------------

    def arriving(self, laser: Laser, chain, aims, places, aperture: float, count: int):
        """Irradiance over an aperture at places (n, 3), with aims (n, 3): first order around the likeliest ray."""
        n = len(places)
        likeliest = np.zeros((n, 4))
        steps = np.vstack([np.zeros(4), 1e-4 * np.eye(4)])
        ok = np.ones(n, dtype=bool)
        matrix = np.zeros((n, 2, 4))
        for _ in range(8 if any(d.radius for d in chain) else 3):
            start, way = self.rays(laser, aims[:, None, :], likeliest[:, None, :] + steps)
            start, way, good = self.follow(chain, start, way, strict=False)
            p, q = across(way[:, 0])
            ahead = dot(places[:, None] - start, way[:, :1])
            ok &= good.all(axis=1) & (ahead[:, 0] > 1e-3) & np.isfinite(ahead).all(axis=1)
            miss = start + (ahead / dot(way, way[:, :1]))[..., None] * way - places[:, None]
            flat = np.stack([dot(miss, p[:, None]), dot(miss, q[:, None])], axis=-2)  # (n, 2, 5)
            flat[~ok] = 1.0
            matrix = (flat[..., 1:] - flat[..., :1]) / 1e-4
            square = matrix @ matrix.swapaxes(1, 2) + 1e-16 * np.eye(2)
            right = (matrix @ likeliest[..., None])[..., 0] - flat[..., 0]
            likeliest = (matrix.swapaxes(1, 2) @ np.linalg.solve(square, right[..., None]))[..., 0]
            ok &= dot(likeliest, likeliest) < 80.0
            likeliest[~ok] = 0.0
        square = matrix @ matrix.swapaxes(1, 2) + 1e-16 * np.eye(2)
        centre = -(matrix @ likeliest[..., None])[..., 0]  # of the bundle, seen from the place
        # averaged over the aperture: at points of the disc where the bundle is wide, else counted
        radius = aperture / 2.0
        points = radius * DISC
        off = points - centre[:, None]
        inverse = np.linalg.inv(square)
        density = np.exp(-0.5 * dot(off @ inverse, off))
        density /= 2.0 * math.pi * np.sqrt(np.linalg.det(square))[:, None]
        mean = density @ WEIGHT
        small = np.sqrt(np.linalg.eigvalsh(square)[:, 0]) < 0.7 * radius
        for k in np.flatnonzero(small & ok):
            root = np.linalg.cholesky(square[k])
            cloud = centre[k] + self.rng.standard_normal((4000, 2)) @ root.T
            mean[k] = (dot(cloud, cloud) <= radius**2).mean() / (math.pi * radius**2)
        # the share of rays that arrive within the aperture and get past rims and walls
        target = off[:, self.rng.integers(0, len(DISC), count)]  # (n, count, 2), what the matrix makes of a draw
        back = inverse @ matrix  # (n, 2, 4)
        fixed = target @ back
        free = self.rng.standard_normal((n, count, 4))
        free = free - (free @ matrix.swapaxes(1, 2)) @ back
        draw = np.where(small[:, None, None], likeliest[:, None] + free, fixed + free)
        start, way, good = self.follow(chain, *self.rays(laser, aims[:, None, :], draw))
        good &= self.open(start, np.broadcast_to(places[:, None], start.shape))
        share = math.prod(d.share for d in chain)
        return np.where(ok, laser.power * share * mean * good.mean(axis=1), 0.0)

    def counted(self, laser: Laser, chain, aim, place, aperture: float, count: int = 40_000) -> float:
        """The same with nothing but counted rays, for a check of what decides."""
        start, way = self.rays(laser, np.asarray(aim), self.rng.standard_normal((count, 4)))
        start, way, good = self.follow(chain, start, way)
        middle = normed(way[good].mean(axis=0)) if good.any() else np.asarray(aim)
        ahead = dot(place - start, middle) / dot(way, middle)
        at = start + ahead[:, None] * way
        good &= (ahead > 0) & (np.linalg.norm(at - place, axis=1) <= aperture / 2.0)
        good[good] = self.open(start[good], at[good])
        share = math.prod(d.share for d in chain)
        return float(laser.power * share * good.mean() / (math.pi * aperture**2 / 4.0))

    # --- places ---------------------------------------------------------------------------------------------------

    def places(self, person: Person, heights, count: int):
        """Random places of a person; corners and both heights among them."""
        ring = np.array(person.places)
        if len(ring) == 1:
            xy = np.repeat(ring, count, axis=0)
        else:
            xy = ring.min(axis=0) + self.rng.random((count * 3, 2)) * np.ptp(ring, axis=0)
            xy = np.concatenate([ring, xy[within(xy, ring)][:count]])
        z = self.rng.uniform(*heights, len(xy))
        z[: len(z) // 3] = self.rng.choice(heights, len(z) // 3)
        ends = [np.column_stack([ring, np.full(len(ring), one)]) for one in heights]
        return np.concatenate([np.column_stack([xy, z]), *ends])

    def on_the_way(self, person: Person, heights, start, way):
        """Places on rays, or above or below them: a few along the part of each over the area, or where it passes."""
        ring = np.array(person.places)
        if len(ring) == 1:
            flat = way[:, :2]
            along = dot(ring - start[:, :2], flat) / np.maximum(dot(flat, flat), 1e-12)
            z = np.clip(start[:, 2] + along * way[:, 2], *heights)
            return np.column_stack([np.repeat(ring, len(z), axis=0), z]), np.arange(len(z))
        low, high = np.array([*ring.min(axis=0), heights[0]]), np.array([*ring.max(axis=0), heights[1]])
        safe = np.where(np.abs(way) < 1e-12, 1e-12, way)
        levels = [(one - start[:, 2]) / safe[:, 2] for one in heights]
        a, b = ((one - start)[:, :2] / safe[:, :2] for one in (low, high))
        enter, leave = np.maximum(np.minimum(a, b).max(axis=1), 1e-3), np.maximum(a, b).min(axis=1)
        at = [enter + 1e-6, leave - 1e-6, *(enter + part * (leave - enter) for part in self.rng.random(5))]
        at += [*levels, (levels[0] + levels[1]) / 2.0]
        at += [enter + part for part in 10.0 ** self.rng.uniform(-2.0, 0.5, 4)]  # where a mirror may focus
        edges = [(p, q, 1e-5) for p, q in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
        for p, q, past in edges + [(p, q, 1e-3) for p, q, _, _ in self.pieces]:  # just inside, just before a wall
            normal = np.array([q[1] - p[1], p[0] - q[0]])
            slope = way[:, :2] @ normal
            along = (p - start[:, :2]) @ normal / np.where(np.abs(slope) < 1e-12, 1e-12, slope)
            at += [along - past, along + past]
        along = np.stack(at)
        inside = (along >= enter) & (along <= leave)
        there = start + np.where(inside, along, 0.0)[..., None] * way
        there[..., 2] = np.clip(there[..., 2], *heights)
        keep = inside.ravel() & within(there.reshape(-1, 3)[:, :2], ring)
        return there.reshape(-1, 3)[keep], np.flatnonzero(keep) % len(start)

    def past_edges(self, count: int):
        """Places a little past the edges of walls, of shape (count, 3): above, below and beside."""
        found = []
        for k in self.rng.integers(0, len(self.pieces), count):
            a, b, bottom, top = self.pieces[k]
            beyond = 10.0 ** self.rng.uniform(-3.0, -1.0)
            along, side = self.rng.random(), beyond / np.linalg.norm(b - a)
            share, height = [
                (along, top + beyond), (along, bottom - beyond),
                (-side, bottom + along * (top - bottom)), (1.0 + side, bottom + along * (top - bottom)),
            ][self.rng.integers(4)]  # fmt: skip
            found.append([*(a + share * (b - a)), height])
        return np.array(found)

    def any_aims(self, laser: Laser, count: int):
        """Random directions that the beam can have, the corners of the envelope among them."""
        spread = math.radians(max(laser.bearing_half + laser.scan / 2, laser.elevation_half) + laser.margin) + 1e-9
        middle = unit(math.radians(laser.bearing), math.radians(laser.elevation))
        first, second = across(middle)
        turn = self.rng.uniform(-1.2, 1.2, (2, count)) * min(spread, 2.0)
        way = np.cos(turn[1])[:, None] * (np.cos(turn[0])[:, None] * middle + np.sin(turn[0])[:, None] * first)
        return self.nearest_aim(laser, normed(way + np.sin(turn[1])[:, None] * second))

    def beams(self, laser: Laser, person: Person) -> list[Found]:
        """Highest from the beam by way of each chain."""
        found = []
        fixed = not (laser.bearing_half or laser.elevation_half or laser.margin or laser.scan)
        for chain in self.chains:
            if math.prod(d.share for d in chain) < LEAST or not self.reaches(laser, chain):
                continue
            best = None
            for tissue, (limit, aperture), heights in (("eye", EYE, person.heights), ("skin", SKIN, BODY)):
                if tissue == "skin" and person.eyes:
                    continue
                places = self.places(person, heights, self.candidates)
                aims = self.nearest_aim(laser, self.wishes(laser, chain, places))
                if fixed:
                    aims = np.repeat(aims[:1], len(places), axis=0)
                # where the beams of these aims, and of any, pass the person
                more = aims
                if not fixed:
                    more = np.concatenate([more, self.any_aims(laser, self.candidates)])
                    if self.pieces:
                        past = self.past_edges(self.candidates)
                        past = self.nearest_aim(laser, self.wishes(laser, chain, past))
                        more = np.concatenate([more, past[np.isfinite(past).all(axis=1)]])
                    if chain:
                        points = chain[0].points(self.candidates, self.rng) - np.array(laser.place)
                        more = np.concatenate([more, self.nearest_aim(laser, normed(points))])
                start, way, good = self.follow(
                    chain, np.broadcast_to(np.array(laser.place), more.shape), more, strict=False
                )
                there, which = self.on_the_way(person, heights, start[good], way[good])
                aims, places = np.concatenate([aims, more[good][which]]), np.concatenate([places, there])
                if not fixed:  # beside the place, past an edge
                    step = self.rng.choice([0.3, 1.0], (len(aims), 1)) * self.rng.normal(size=aims.shape)
                    aims = np.concatenate([aims, self.nearest_aim(laser, normed(aims + step * spread(laser, places)))])
                    places = np.concatenate([places, places])
                value = self.arriving(laser, chain, aims, places, aperture, 8)
                if value.max(initial=0.0) <= 0.0:
                    continue
                top = np.argsort(value)[-4:]
                aims, places = aims[top], places[top]
                for part in () if fixed else (0.5, 0.2):  # climb from the best: other aims at the same places
                    step = part * self.rng.normal(size=(12, 3)) * spread(laser, places)[:, None]
                    step[:, 0] = 0.0
                    more = self.nearest_aim(laser, normed(aims[:, None] + step).reshape(-1, 3))
                    value = self.arriving(laser, chain, more, np.repeat(places, 12, axis=0), aperture, 40)
                    best_of = value.reshape(-1, 12).argmax(axis=1)
                    aims = more.reshape(-1, 12, 3)[np.arange(len(aims)), best_of]
                value = self.arriving(laser, chain, aims, places, aperture, 400)
                k = int(np.argmax(value))
                value = self.arriving(laser, chain, aims[k : k + 1], places[k : k + 1], aperture, 2000)
                one = Found(
                    float(value[0]) / limit,
                    tuple(places[k].tolist()),
                    " then ".join(d.name for d in chain) or "direct",
                    tissue,
                    laser.name,
                    tuple(aims[k].tolist()),
                    laser.place,
                )
                best = one if best is None or one.ratio > best.ratio else best
            if best is not None:
                found.append(best)
        return found

    # --- scatter --------------------------------------------------------------------------------------------------

    def lit(self, places):
        """Surfaces that can scatter, each with points to aim at near each of the places (n, 3): (n, 16, 3)."""
        count = 16
        for disc in self.matt:
            yield disc.name, disc, np.broadcast_to(disc.points(count, self.rng), (len(places), count, 3))
        for number, (a, b, bottom, top) in enumerate(self.pieces):
            edge = b - a
            foot = np.clip((places[:, :2] - a) @ edge / (edge @ edge), 0.0, 1.0)[:, None]
            part = np.concatenate(
                [foot + self.rng.normal(0, 0.1, 8) * (np.arange(8) > 0), foot * 0 + self.rng.random(8)], 1
            )
            z = places[:, 2:] + self.rng.normal(0, 0.3, count) * (np.arange(count) > 0)
            flat = a + np.clip(part, 0.0, 1.0)[..., None] * edge
            yield f"wall {number}", None, np.concatenate([flat, np.clip(z, bottom, top)[..., None]], axis=-1)
        if self.floor:
            flat = places[:, None, :2] + self.rng.normal(0, 1, (count, 2)) * np.linspace(0.0, 3.0, count)[:, None]
            yield "floor", None, np.concatenate([flat, np.zeros_like(flat[..., :1])], axis=-1)

    def ends(self, name: str, disc, start, way):
        """Where rays end on a surface, on a wall or on the floor, with the normal on the side that is lit."""
        if disc is not None:
            return disc.meet(start, way)[:3]
        if name == "floor":
            down = way[..., 2] < -1e-9
            along = np.where(down, start[..., 2] / np.where(down, -way[..., 2], 1.0), 1.0)
            return start + along[..., None] * way, np.broadcast_to([0.0, 0.0, 1.0], way.shape), down
        a, b, bottom, top = self.pieces[int(name.split()[1])]
        edge = b - a
        normal = np.array([edge[1], -edge[0], 0.0]) / np.linalg.norm(edge)
        slope = way @ normal
        normal = np.where(slope[..., None] > 0, -normal, normal)
        away = np.array([*a, 0.0]) - start
        along = dot(away, normal) / np.where(np.abs(slope) < 1e-12, 1e12, -np.abs(slope))
        at = start + along[..., None] * way
        part = (at[..., :2] - a) @ edge / (edge @ edge)
        good = (along > 0) & (part >= 0) & (part <= 1) & (at[..., 2] >= bottom) & (at[..., 2] <= top)
        return at, normal, good

    def scattered(self, laser: Laser, chain, name, disc, aims, places, back, count: int):
        """Irradiance at places (n, 3) of what is lit with aims (n, 3), seen straight or over flat mirrors ``back``."""
        draw = self.rng.standard_normal((len(aims), count, 4))
        start, way, good = self.follow(chain, *self.rays(laser, aims[:, None, :], draw))
        at, normal, there = self.ends(name, disc, start, way)
        good &= there & self.open(start, at)
        at = at + 1e-6 * normal
        image = places[:, None]
        for mirror in reversed(back):
            image = image - 2.0 * ((image - mirror.place) @ mirror.normal)[..., None] * mirror.normal
        to = image - at
        away = np.linalg.norm(to, axis=-1)
        cosine = dot(to, normal) / away
        last, _, passed = self.follow(back, at, to / away[..., None])
        good &= (cosine > 0) & passed & self.open(last, np.broadcast_to(places[:, None], last.shape))
        share = math.prod(d.share for d in (*chain, *back)) * (disc.share if disc is not None else MATT)
        each = np.where(good, share * laser.power * cosine / (math.pi * np.maximum(away, NEAREST) ** 2), 0.0)
        return each.mean(axis=1)

    def scatter(self, laser: Laser, person: Person) -> list[Found]:
        """Highest from lit surfaces, walls and the floor, the light having come over a chain of at most two mirrors."""
        found = []
        backs = [(), *((m,) for m in self.mirrors if not m.radius)]
        limit = EYE[0]
        places = self.places(person, person.heights, 6 if len(person.places) == 1 else 12)
        for name, disc, points in list(self.lit(places)):
            away = max(NEAREST, float(np.linalg.norm(points - places[:, None], axis=-1).min()))
            if laser.power / (math.pi * away**2) < DIM * limit:
                continue
            for chain in self.chains:
                if len(chain) > 2 or not self.reaches(laser, chain):
                    continue
                aims = self.nearest_aim(laser, self.wishes(laser, chain, points.reshape(-1, 3)))
                there = np.repeat(places, points.shape[1], axis=0)
                for back in backs:
                    value = self.scattered(laser, chain, name, disc, aims, there, back, 4)
                    k = int(np.argmax(value))
                    if value[k] <= 0.0:
                        continue
                    again = self.scattered(laser, chain, name, disc, aims[k : k + 1], there[k : k + 1], back, 400)
                    words = [*(d.name for d in chain), f"scatter of {name}", *(m.name for m in back)]
                    place, aim = tuple(there[k].tolist()), tuple(aims[k].tolist())
                    found.append(
                        Found(float(again[0]) / limit, place, " then ".join(words), "eye", laser.name, aim, laser.place)
                    )
        return found

    def highest(self, laser: Laser, person: Person) -> list[Found]:
        """All that was found for one laser and person, the highest first.

        A head that moves is tried at random places and where its beam comes nearest to places of the person.
        """
        heads, here = [laser], np.array(laser.place)
        if laser.moves:
            to = self.rng.permutation(self.places(person, person.heights, 6))[:3] - here
            aim = self.nearest_aim(laser, normed(to))
            beside = to - dot(to, aim)[:, None] * aim
            moved = np.concatenate([beside, laser.moves * self.rng.uniform(-1, 1, (2, 3))])
            heads += [
                replace(laser, place=tuple(p)) for p in (here + np.clip(moved, -laser.moves, laser.moves)).tolist()
            ]
        found = [one for head in heads for one in self.beams(head, person) + self.scatter(head, person)]
        return sorted(found, key=lambda one: -one.ratio)

    def together(self, person: Person) -> tuple[float, tuple[float, float, float]]:
        """The highest sum that was found of all lasers at one place of eyes, and that place.

        It is looked for where one of the lasers gives most, and half way between two such places.
        """
        tops = [found[0].place for laser in self.scene.lasers if (found := self._eyes(laser, person))]
        tops += [tuple(np.mean(pair, axis=0).tolist()) for pair in itertools.combinations(tops, 2)]
        sums = []
        for place in tops:
            here = replace(person, places=(place[:2],), eyes=(place[2], place[2]))
            each = [found[0].ratio for laser in self.scene.lasers if (found := self._eyes(laser, here))]
            sums.append((sum(each), place))
        return max(sums, default=(0.0, (0.0, 0.0, 0.0)))

    def passed(self, heights: tuple[float, float], count: int):
        """Places (n, 3) that rays of any laser pass between two heights, and some beside what they light."""
        found = [np.zeros((0, 3))]
        faces = [(d.name, d) for d in self.matt] + [(f"wall {k}", None) for k in range(len(self.pieces))]
        for laser, chain in itertools.product(self.scene.lasers, self.chains):
            aims = self.any_aims(laser, count)
            if chain:
                points = chain[0].points(count, self.rng) - np.array(laser.place)
                aims = np.concatenate([aims, self.nearest_aim(laser, normed(points))])
            start, way, good = self.follow(chain, *self.rays(laser, aims, self.rng.standard_normal((len(aims), 4))))
            start, way = start[good], way[good]
            slope = np.where(np.abs(way[:, 2]) < 1e-9, 1e-9, way[:, 2])
            enter, leave = np.sort([(height - start[:, 2]) / slope for height in heights], axis=0)
            far = np.minimum(np.exp(self.rng.uniform(-2.0, 3.0, len(way))), leave)
            far = np.maximum(far, enter)
            found.append((start + far[:, None] * way)[far > 0.0])
            for name, disc in (*faces, ("floor", None)):
                at, normal, lit = self.ends(name, disc, start, way)
                lit &= self.open(start, at)
                near = np.exp(self.rng.uniform(-3.0, 0.0, (len(way), 1)))
                found.append((at + near * (normal + self.rng.normal(0.0, 0.5, at.shape)))[lit])
        return np.concatenate(found)

    def _eyes(self, laser: Laser, person: Person) -> list[Found]:
        return self.highest(laser, person if person.eyes else replace(person, eyes=person.heights))


def spread(laser: Laser, places):
    """Half the width of the beam at places (n, 3), as the angle that it takes up from the head; (n, 1) [rad]."""
    return 0.5 * (laser.divergence + laser.diameter / np.linalg.norm(places - laser.place, axis=1)[:, None])


def within(points, ring):
    """Whether points (n, 2) lie in a polygon, by crossings."""
    inside = np.zeros(len(points), dtype=bool)
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        crosses = (a[1] > points[:, 1]) != (b[1] > points[:, 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            x = a[0] + (points[:, 1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        inside ^= crosses & (points[:, 0] < x)
    return inside
