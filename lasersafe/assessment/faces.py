"""What ends a beam and scatters it: barriers, walls, floors, ceilings, backstops; and where that scatter goes on."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.aims import Lit, Pose, place_of
from lasersafe.assessment.context import Context, aid_of
from lasersafe.assessment.loads import as_point, behind
from lasersafe.assessment.paths import ROUND, STOOD_ON, corners_of, members_of, over_level_mirrors, stood_on
from lasersafe.hazard.instruments import Aid
from lasersafe.models import Case, Scene, Target
from lasersafe.models.scene import Ceiling, Ground
from lasersafe.scene import beams as geometry
from lasersafe.scene.beams import CLOSEST, EVERYWHERE, FLOAT, LEAST, NEAREST, BeamProfile, ScatterProfile
from lasersafe.scene.bound import Places, Question, bounds, known_as, most_light
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.mirrors import Mirror, before_walls, from_spots, starts_around
from lasersafe.scene.sources import Source, Spots, boxes_of
from lasersafe.scene.walls import Screen, Walls

FLAGS = NDArray[np.bool_]
MATT = 0.8  # reflectance of what ends a beam where none is stated, as of matt white paint; common practice, no source
_BEFORE = 1e-6  # m
_TURNED_OVER = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, -1.0)  # of what a level mirror sends on
_SHARE = 0.01  # of the limit: less is none where ways are added
_ABOUT = 1.1  # times what one place of a face gets: so well its brightest part is known
_TALL = 2.0  # m
_PATCHES, _FINEST = 24, 0.02  # parts of a lit wall or floor that are told apart, and how small they get [m]
BEHIND = "what stands behind a target"
_MOST_PATCHES, _FINE, _NEAR = 200, 0.4, 0.35  # near people more of them, down to a size [m] and a share of the distance


@dataclass(frozen=True)
class Face:
    """A flat part of a scene on which a beam can end: a corner, its two edges, and the side that is lit."""

    name: str
    corner: FLOAT
    edges: FLOAT  # shape (2, 3) [m]
    normal: FLOAT  # 0 where the way it faces is not known
    reflectance: float

    @property
    def level(self) -> bool:
        """Whether it is a floor or a ceiling."""
        return bool(abs(self.normal[2]) > 0.5)

    @property
    def places(self) -> Places:
        """All of it as a place, a hair before it: a wall does not shade its own face."""
        ends = self.corner + self.normal * _BEFORE + np.array([np.zeros(3), self.edges.sum(axis=0)])
        line = None if self.level or np.isclose(ends[0, :2], ends[1, :2]).any() else ends[:, :2]
        return Places(ends.min(axis=0)[None], ends.max(axis=0)[None], [line])


def faces_of(scene: Scene, reach: float, *, aslant: bool) -> list[Face]:
    """Return barriers and walls, each with both sides, what is drawn on the floor, floor and ceiling.

    What people stand on is a floor, drawn or not. Scatter exceeds a limit so far [m] from what is lit at most: less far
    aslant where it goes by the cosine, h / r, so that r^3 is h times the square of that.
    """
    found = []
    for entry in scene.barrier:
        share = MATT if entry.reflectance is None else float(entry.reflectance)
        low, high = float(entry.bottom), float(entry.top)
        found += _upright(entry.name, entry.line.pairs, low, high, share, (1.0, -1.0))
    base = MATT if scene.ground is None or scene.ground.reflectance is None else float(scene.ground.reflectance)
    for drawn in scene.floor:
        share, top = MATT if drawn.reflectance is None else float(drawn.reflectance), float(drawn.height)
        if top == 0.0 and share <= base:
            continue  # the floor itself stands for it
        (x0, y0), (x1, y1) = np.min(drawn.outline.pairs, axis=0), np.max(drawn.outline.pairs, axis=0)
        edges = np.array([[x1 - x0, 0.0, 0.0], [0.0, y1 - y0, 0.0]])
        for up, own in ((1.0, share), (-1.0, max(share, MATT))):  # what is below a balcony is not stated
            found.append(Face(drawn.name, np.array([x0, y0, top]), edges, np.array([0.0, 0.0, up]), own))
        if drawn.kind != "balcony" and top > 0.0:
            line = (*drawn.outline.pairs, drawn.outline.pairs[0])
            turn = sum(a[0] * b[1] - a[1] * b[0] for a, b in itertools.pairwise(line))
            found += _upright(drawn.name, line, 0.0, top, max(share, MATT), (-math.copysign(1.0, turn),))
    spots = np.array([a.position.pair for a in scene.aim])
    people = people_of(scene)
    levels: list[tuple[str, Ground | Ceiling | None, float, float]] = [("ground", scene.ground, 0.0, 1.0)]
    if scene.ceiling is not None:
        levels.append(("ceiling", scene.ceiling, float(scene.ceiling.height), -1.0))
    levels += [(STOOD_ON, None, level, 1.0) for level in stood_on(scene)]
    ends = np.vstack([spots, people.low[:, :2], people.high[:, :2]])
    for name, part, level, up in levels:
        share = MATT if part is None or part.reflectance is None else float(part.reflectance)
        deep = float(np.abs(np.concatenate([people.low, people.high])[:, 2] - level).max(initial=0.0))
        around = max(ROUND, 2.0 * (min(reach, (reach * reach * deep) ** (1.0 / 3.0)) if aslant else reach))
        low, high = ends.min(axis=0) - around, ends.max(axis=0) + around
        edges = np.array([[high[0] - low[0], 0.0, 0.0], [0.0, high[1] - low[1], 0.0]])
        found.append(Face(name, np.array([*low, level]), edges, np.array([0.0, 0.0, up]), share))
    return found


def _upright(
    name: str, line: Sequence[tuple[float, float]], bottom: float, top: float, share: float, sides: Sequence[float]
) -> list[Face]:
    """Return the faces of what stands on a line, on its left (1) and its right (-1)."""
    found = []
    for a, b in itertools.pairwise(line):
        length = math.dist(a, b)
        if not length > 0.0:
            continue
        edges = np.array([[b[0] - a[0], b[1] - a[1], 0.0], [0.0, 0.0, top - bottom]])
        normal = np.array([a[1] - b[1], b[0] - a[0], 0.0]) / length
        found += [Face(name, np.array([*a, bottom]), edges, side * normal, share) for side in sides]
    return found


def people_of(scene: Scene) -> Places:
    """Return where people can be at all, from their feet to over their heads."""
    plans = [np.array(corners_of(one)) for one in scene.person]
    floors = [float(p.floor) for p in scene.person]
    low = [(*plan.min(axis=0), floor) for plan, floor in zip(plans, floors, strict=True)]
    high = [(*plan.max(axis=0), floor + _TALL) for plan, floor in zip(plans, floors, strict=True)]
    return Places(np.array(low).reshape(-1, 3), np.array(high).reshape(-1, 3))


@dataclass(frozen=True)
class LitFace:
    """A side of a face with all places that beams can light, as boxes, and what share of a beam it sends back.

    A matt face is as bright as it is lit, and no place gets more from it than its brightest part sends out: so much of
    all of the beam comes straight from a certain distance.
    """

    face: Face
    parts: tuple[tuple[float, ...], ...]
    share: float
    spread: float  # that distance [m]
    spots: Spots | None = None  # that hold all of them

    def source(self, profile: ScatterProfile, reach: float) -> Source:
        """Return its scatter, which reaches so far [m] from each place that is lit."""
        x, y, z = self.parts[0][:3]
        nx, ny, nz = self.face.normal.tolist()
        if profile.lambert and self.spread > CLOSEST:
            profile, reach = replace(profile, spread=self.spread), reach if self.spread <= reach else 0.0
        if self.spots is not None:
            return from_spots(
                "scatter", self.spots, profile, reach, factor=self.share, surface=self.face.name, parts=self.parts
            )
        return Source(
            "scatter", (x, y, z), EVERYWHERE, profile, reach, factor=self.share,
            plane=((x, y, z), (nx, ny, nz)), surface=self.face.name, parts=self.parts,
        )  # fmt: skip


@dataclass(frozen=True)
class _Known:
    """What was found lit, and on what that rests besides the beams and walls."""

    wanted: Sequence[tuple[Sequence[Light], Sequence[Face]]]  # told apart by which they are, so that they stay
    names: list[str]
    faces: FLOAT
    looked: list[tuple[FLOAT, FLOAT, FLOAT, FLAGS]]  # boxes, their sizes, and which of them are cut for who is near
    found: list[list[LitFace]]

    def holds(self, names: list[str], faces: FLOAT, people: Places) -> bool:
        """Return whether it holds for other faces and people."""
        same = self.names == names and np.array_equal(self.faces, faces)
        return same and all((_fine(people, *boxes) == cut).all() for *boxes, cut in self.looked)


_KNOWN: dict[tuple[object, ...], _Known] = {}  # of the last questions of this process
_MOST_KNOWN = 16


def _fine(people: Places, middle: FLOAT, half: FLOAT, size: FLOAT) -> FLAGS:
    """Return which edges of boxes are long for how near people can be, of shape (boxes, 2)."""
    gap = np.maximum(middle[:, None] - half[:, None] - people.high, people.low - middle[:, None] - half[:, None])
    away = np.sqrt(np.square(np.maximum(gap, 0.0)).sum(axis=2)).min(axis=1, initial=np.inf)
    return np.asarray(size > np.maximum(_FINE, _NEAR * away)[:, None])


def lit_faces(wanted: Sequence[tuple[Sequence[Light], Sequence[Face]]], people: Places) -> list[list[LitFace]]:
    """Return for each set of beams every face on which they can end, with all places that they can light [1]_.

    Parameters
    ----------
    wanted : sequence of tuple
        Beams with the walls that hold against them, and what they can light, each side by itself.
    people : Places
        For whom it matters where exactly.

    References
    ----------
    .. [1] Own: the boxes of a face that `scene.bound` does not prove dark.
    """
    faces = [face for _, own in wanted for face in own]
    every = [light for lights, _ in wanted for light in lights]
    if not every or not faces:
        return [[] for _ in wanted]
    of = np.repeat(np.arange(len(wanted)), [len(own) for _, own in wanted])  # of each face the beams that light it
    counts = np.array([len(lights) for lights, _ in wanted])
    slots = np.arange(counts.max())
    beams = np.minimum((np.cumsum(counts) - counts)[:, None] + slots, len(every) - 1)[of]
    corner, edges, normal = (np.array([getattr(f, name) for f in faces]) for name in ("corner", "edges", "normal"))
    names, key = [f.name for f in faces], tuple(known_as(lights) for lights, _ in wanted)
    given = np.column_stack([of, corner, edges.reshape(-1, 6), normal, [f.reflectance for f in faces]])
    known = _KNOWN.pop(key, None)
    if known is not None and known.holds(names, given, people):
        _KNOWN[key] = known
        return known.found
    looked, starts = list[tuple[FLOAT, FLOAT, FLOAT, FLAGS]](), np.array([starts_around(one) for one, _ in every])
    before = np.einsum("ijk,ik->ij", starts[beams, 0] - corner[:, None], normal)
    from_side = before + np.einsum("ijk,ik->ij", starts[beams, 1], np.abs(normal)) > 1e-9  # it may start on both sides
    from_side &= slots < counts[of][:, None]
    table = Lights(every)
    low, high, owner = np.zeros((len(faces), 2)), np.ones((len(faces), 2)), np.arange(len(faces))
    cut = np.ones((len(faces), 2), dtype=bool)
    for _ in range(12):
        middle = corner[owner] + np.einsum("ij,ijk->ik", (low + high) / 2.0, edges[owner])
        middle += normal[owner] * _BEFORE  # before the face, which does not shade itself
        half = np.einsum("ij,ijk->ik", (high - low) / 2.0, np.abs(edges[owner]))
        lit, first = np.logical_not(cut.any(axis=1)), 0  # what is as large as before is lit, as it was
        while first < len(slots) and not lit.all():  # what some of them light need not be asked of the others
            some, dark = slots[first : max(2 * first, 1)], np.flatnonzero(~lit)
            first += len(some)
            light, asked = (one[owner[dark]][:, some] for one in (beams, from_side))
            now = table.most(light, middle[dark], half[dark], np.zeros(len(dark)), asked, np.zeros_like(light))
            lit[dark] = now.max(axis=1) > LEAST
        low, high, owner, middle, half = low[lit], high[lit], owner[lit], middle[lit], half[lit]
        size = (high - low) * np.sqrt(np.square(edges[owner]).sum(axis=2))
        count = np.bincount(owner, minlength=len(faces))[owner]
        cut = (size > _FINEST) & (size > 0.6 * size.max(axis=1, keepdims=True, initial=0.0))
        coarse = (count > _PATCHES).nonzero()[0]
        boxes = middle[coarse], half[coarse], size[coarse]
        looked.append((*boxes, _fine(people, *boxes)))
        cut[coarse] &= looked[-1][-1] & (count[coarse] < _MOST_PATCHES)[:, None]
        if not cut.any():
            break
        for axis in (0, 1):
            at = np.flatnonzero(cut[:, axis])
            split = (low[at, axis] + high[at, axis]) / 2.0
            more = low[at].copy()
            more[:, axis] = split
            low, upper = np.concatenate([low, more]), high[at].copy()
            high[at, axis] = split
            high = np.concatenate([high, upper])
            owner, cut = np.concatenate([owner, owner[at]]), np.concatenate([cut, cut[at]])
    middle = corner[owner] + np.einsum("ij,ijk->ik", (low + high) / 2.0, edges[owner])
    half = np.einsum("ij,ijk->ik", (high - low) / 2.0, np.abs(edges[owner]))
    level = np.abs(normal[owner, 2]) > 0.5
    for number, (lights, _) in enumerate(wanted):
        some = level & (of[owner] == number)
        if some.any():
            middle[some], half[some] = before_walls(lights, middle[some], half[some])
    bright = np.full(len(faces), np.inf)  # of one watt; several ways over mirrors can fall on one place [1/m2]
    peaks = {
        number: (replace(lights[0][0], profile=lights[0][0].profile.in_irradiance()), lights[0][1])
        for number, (lights, _) in enumerate(wanted)
        if len(lights) == 1 and isinstance(lights[0][0].profile, BeamProfile)
    }
    numbers = sorted(set(owner.tolist()))
    alone = [number for number in numbers if of[number] in peaks]
    questions = [Question([[peaks[of[number]]]], faces[number].places) for number in alone]
    bright[alone] = [float(one.upper[0]) for one in bounds(questions, near=_ABOUT)]
    found: list[list[LitFace]] = [[] for _ in wanted]
    for number in numbers:
        face, own = faces[number], owner == number
        strongest = min(max(every[beam][0].factor for beam in beams[number][from_side[number]].tolist()), 1.0)
        parts = tuple((*m, *h) for m, h in zip(middle[own].tolist(), half[own].tolist(), strict=True))
        spread = math.sqrt(strongest / (math.pi * max(float(bright[number]), 1e-12)))
        found[of[number]].append(LitFace(face, parts, strongest * face.reflectance, spread))
    _KNOWN[key] = _Known(wanted, names, given, looked, found)
    if len(_KNOWN) > _MOST_KNOWN:
        del _KNOWN[next(iter(_KNOWN))]
    return found


def backing_name(target: Target) -> str:
    """Return what stands behind a target, in its own words where there are any."""
    return target.behind or BEHIND


def spot_on(context: Context, pose: Pose, item: Lit) -> float:
    """Return the diameter for which a lit spot on a surface earns credit, as small as it can be there. [m]."""
    away = math.dist(pose.apex, item.position) if item.placed else item.along or 0.0
    around = item.width / 2.0 + pose.loose if item.placed else 0.0
    near, far = max(away - around, 0.0), away + around
    if near == float(context.setup.work_distance or 0.0) == far:
        return context.narrowest_spot()
    waists = (one for own in context.every.values() for one in own.beam.waist_position)
    return context.narrowest_spot(near, far, *(min(max(one, near), far) for one in waists))


def lit_behind_targets(scene: Scene, targets: Sequence[Target], pose: Pose, work: float, light: Light) -> list[LitFace]:
    """Return what is said to stand behind targets, lit where a beam lands that misses one or cuts through it [1]_.

    It is so far behind the target along every direction in which the head is aimed; which way it faces is not known.

    Parameters
    ----------
    scene : Scene
        What is drawn in it counts as drawn.
    targets : sequence of Target
        Those of the laser.
    pose : Pose
        Where the head stands and points, aimed at them.
    work : float
        How far the work is from the last optic. [m]
    light : tuple of Source and Walls
        The direct beam, and what stops it.

    References
    ----------
    .. [1] Own: docs/method.md, section 16.
    """
    found, (laser, walls) = [], light
    drawn, slant = {one.name for one in scene.barrier}, max(laser.as_beam.beam.divergence)
    peak = replace(laser, profile=laser.as_beam.in_irradiance()), walls
    for target in targets:
        if target.behind_distance is None or target.behind in drawn:
            continue
        away = math.dist(place_of(target, pose, work), pose.apex) + float(target.behind_distance)
        wide = max(laser.as_beam.tail(max(away + side * pose.loose, 0.0), 1.0) for side in (-1.0, 1.0))
        spots = replace(pose.spots(away), slack=pose.loose + wide)
        middle, half = boxes_of(spots)[0]
        lit = most_light([[light]], middle, half)[0] > LEAST
        middle, half = before_walls([light], middle[lit], half[lit])
        if not len(middle):
            continue
        # no place is brighter than the axis of the narrowest beam from the nearest to the farthest; even beams aslant
        near, far = (np.array([max(away + side * spots.slack, 0.0)]) for side in (-1.0, 1.0))
        bright = geometry.beam_over(Lights([peak]).column, np.zeros(1, dtype=np.intp), near, far, np.zeros(1))
        share = MATT if target.behind_reflectance is None else float(target.behind_reflectance)
        face = Face(backing_name(target), middle[0], np.zeros((2, 3)), np.zeros(3), share)
        parts = tuple((*m, *h) for m, h in zip(middle.tolist(), half.tolist(), strict=True))
        spread = math.sqrt(1.0 / (math.pi * max(float(bright[0]) * (1.0 + (slant / 2.0) ** 2), 1e-12)))
        found.append(LitFace(face, parts, share, spread, spots))
    return found


def scatter_over_mirrors(
    lit: Sequence[Source],
    scene: Scene,
    items: Iterable[Lit],
    walls: Walls,
    profiles: Sequence[ScatterProfile],
    reach_of: Callable[[ScatterProfile, float], float],
) -> list[Source]:
    """Return scatter that goes on over one mirror, as over a flat one that faces anywhere on a side, the shortest way.

    What it gives goes on over level ones as well. Unfolded it comes straight from what is lit: no way over the mirror
    is shorter than the straight one.
    """
    mirrors = [(one.mirror, one.share) for one in members_of(scene, items) if one.mirror is not None]
    if not lit or not mirrors:
        return []
    places = np.array([mirror.position for mirror, _ in mirrors])
    half = np.array([[mirror.width / 2.0] * 3 for mirror, _ in mirrors])
    asked = np.array([[one.surface != mirror.name for mirror, _ in mirrors] for one in lit], dtype=bool)
    meets = most_light([[(one, walls)] for one in lit], places, half, asked) > LEAST
    found = []
    for (mirror, share), some in zip(mirrors, meets.T, strict=True):
        own = [one for one, met in zip(lit, some.tolist(), strict=True) if met]
        counts = [len(one.starts[0]) for one in own]
        start, size = (np.concatenate([np.zeros((0, 3)), *(one.starts[part] for one in own)]) for part in (0, 1))
        shares, before = (np.repeat(one, counts) for one in ([share * o.factor for o in own], [o.offset for o in own]))
        ends = [
            one.starts if one.origin is None else tuple(np.tile(part, (count, 1)) for part in one.origin)
            for one, count in zip(own, counts, strict=True)
        ]  # fmt: skip
        root, around = (np.concatenate([np.zeros((0, 3)), *(one[part] for one in ends)]) for part in (0, 1))
        flat = mirror.normal is not None and not mirror.off
        for sign in (1.0, -1.0) if flat else (0.0,):
            x, y, z = (sign * one for one in mirror.normal or (0.0, 0.0, 0.0))
            at = (start - mirror.position) @ (x, y, z) + size @ np.abs((x, y, z)) >= 0.0
            if not at.any():
                continue
            gaps = np.maximum(np.abs(start[at] - mirror.position) - size[at], 0.0)
            away = max(float((np.sqrt(np.square(gaps).sum(axis=1)) + before[at]).min()) - mirror.width / 2.0, 0.0)
            low, high = (root - around)[at].min(axis=0), (root + around)[at].max(axis=0)
            (ax, ay, az), (bx, by, bz) = ((low + high) / 2.0).tolist(), ((high - low) / 2.0).tolist()
            plane, origin = (mirror.position, (x, y, z)) if flat else None, ((ax, ay, az), (bx, by, bz))
            # what stands for many ways is rounded up
            found.append((mirror, min(float(shares[at].max()), 1.0), away, plane, origin))
    sent = [
        from_spots(
            "scatter", Spots(mirror.position, EVERYWHERE, mirror.width / 2.0, True), replace(profile, lambert=False),
            reach, factor=factor, offset=away, surface=mirror.name, plane=plane, origin=origin,
        )
        for profile in profiles for mirror, factor, away, plane, origin in found
        if away < (reach := reach_of(profile, factor))
    ]  # fmt: skip
    return [*sent, *over_level_mirrors(scene, sent)]


def at_once(
    case: Case,
    groups: Sequence[tuple[Sequence[Context], Sequence[Sequence[Light]]]],
    places: Places,
    asked: Sequence[int],
    tissue: str,
    above: Callable[[Sequence[Sequence[Light]], Aid | None], Container[int]],
) -> dict[int, tuple[float, bool]]:
    """Return for those below the limit on each way, by number, the sum of ways that can be at once, if above [1]_.

    With it comes whether it takes several ways of one laser: the strongest of each laser together are below the limit.
    The eyes of whoever uses an instrument are asked with it as well. Of lasers that add come their
    set-ups, and the light of each. Who is known to be above by some of it has a row of it, and is not asked.

    References
    ----------
    .. [1] Own: a wide beam can meet somebody and a mirror beside at the same time (docs/method.md, section 16).
    """
    assert case.scene is not None
    aids = {one.name: aid_of(one) for one in case.person if one.aided and tissue == "eye"}
    found = dict[int, tuple[float, bool]]()
    every: list[tuple[dict[tuple[int, object], list[Light]], NDArray[np.intp]]] = []
    for (placed, lasers), aid in itertools.product(groups, {None, *aids.values()}):
        known = above(lasers, aid)
        rows = [row for row in asked if aid in (None, aids.get(case.scene.person[row].name)) and row not in known]
        seen = lasers if aid is None else [
            behind(context, [(as_point(context, source, aid), walls) for source, walls in own], aid)
            for context, own in zip(placed, lasers, strict=True)
        ]  # fmt: skip
        ways: dict[tuple[int, object], list[Light]] = {}
        for number, (source, walls) in ((number, light) for number, own in enumerate(seen) for light in own):
            # all scatter together is no more than the brightest of all of a beam
            image = source.surface, source.apex if source.spots is None else None
            one_way = source.way == "direct" or isinstance(source.profile, ScatterProfile)
            way = isinstance(source.profile, ScatterProfile) if one_way else image
            ways.setdefault((number, way), []).append((source, walls))
        if rows and len(ways) > 1:
            every.append((ways, np.array(rows)))
    sums = bounds([Question(list(ways.values()), places.some(rows)) for ways, rows in every], to_limit=True)
    for (ways, people), all_ways in zip(every, sums, strict=True):
        lights = list(ways.values())
        for row in people[all_ways.upper > 1.0].tolist():
            one = places.some(np.array([row]))
            if bounds([Question([list(itertools.chain(*lights))], one)], to_limit=True)[0].found[0] > 1.0:
                continue
            alone = [float(b.upper[0]) for b in bounds([Question([own], one) for own in lights])]
            if max(alone) <= 1.0 < math.fsum(alone):  # else rows of one way say it, or there is nothing to say
                lit = {way: share for way, share in zip(ways, alone, strict=True) if share > 0.0}
                ends = {way: _ends(ways[way], one) for way in lit}
                most = math.fsum(lit.values())
                if all(ends.values()):
                    some = ([lit[b] for b in lit if a[0] != b[0] or a == b or _meet(ends[a], ends[b])] for a in lit)
                    most = max(map(math.fsum, some))
                each = [max(alone[k] for k, b in enumerate(ways) if b[0] == number) for number in {a[0] for a in ways}]
                top, of_one = found.get(row, (0.0, False))
                found |= {row: (max(top, most), of_one or math.fsum(each) <= 1.0)} if most > 1.0 else {}
    return found


_Ends = list[tuple[FLOAT, float]]


def _ends(lights: Sequence[Light], place: Places) -> _Ends:
    """Return where the head points when each light comes to a place, and how far off it can be [rad], if known."""
    middle, half, found = (place.low + place.high)[0] / 2.0, (place.high - place.low)[0] / 2.0, _Ends()
    for one, _ in lights:
        if not isinstance(one.profile, BeamProfile) or one.spots is not None:
            return []  # from all of what is lit
        rows = one.aims[1] if one.aims is not None else geometry.STRAIGHT if one.way == "direct" else _TURNED_OVER
        way = np.array(rows) @ (middle - one.apex)
        away = max(float(np.linalg.norm(way)), NEAREST)
        loose = math.hypot(*half) + math.hypot(*one.moves) + one.profile.tail(away + one.offset, one.factor, _SHARE)
        found.append((way / away, loose / away))
    return found


def _meet(first: _Ends, second: _Ends) -> bool:
    """Return whether the beam can bring light on two ways to a place, by one aim."""
    return any(
        math.acos(min(max(float(u @ v), -1.0), 1.0)) <= near + far
        for (u, near), (v, far) in itertools.product(first, second)
    )


def gathers_behind(hollow: Mirror, share: float, light: Light, screens: Mapping[str, Screen]) -> bool:
    """Return whether a surface can gather such a share of a beam, as windows of screens let through, above a limit."""
    beam, walls = light
    left = hollow.reflectance * share
    whole = left * max(4.0 * most / math.pi / wide**2 for wide, most in beam.as_beam.strengths.items())
    bright = replace(beam, factor=left * beam.as_beam.gain(hollow.width))
    asked = [[(bright, Walls(screens[one.name] for one in walls.screens))], [(bright, walls)]]
    lit, past = most_light(asked, np.array([hollow.position]), np.full((1, 3), hollow.width / 2.0))[:, 0].tolist()
    return not min(lit, whole) <= 1.0 and past == 0.0  # no aperture gets more than all of it
