"""Ways for light beyond the first mirror: further mirrors of any number, and what scatters where a beam ends."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.lit import ROUND_UP, UNLISTED, Lit, curved_sources
from lasersafe.assessment.panes import panes_of
from lasersafe.scene.bound import Light, most_light
from lasersafe.scene.directions import EVERYWHERE
from lasersafe.scene.mirrors import (
    Mirror,
    facing_anywhere,
    image_of_spots,
    level_mirror,
    lit_patch,
    reachable,
    reflected,
)
from lasersafe.scene.profile import LEAST, BeamProfile, ScatterProfile, farthest_of
from lasersafe.scene.sources import Source
from lasersafe.scene.spots import Spots
from lasersafe.scene.walls import Walls

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.pose import Pose
    from lasersafe.models import Scene

FLOAT = NDArray[np.float64]
FOLLOWED = 0.01  # of the limit: a beam that gives no more anywhere on a mirror is not followed over it
MOST_WAYS = 60  # over further mirrors; what would be more counts as if every mirror could send it anywhere
MATT = 0.8  # reflectance of what ends a beam where none is stated, as of matt white paint; common practice, no source
_PATCHES, _FINEST = 24, 0.1  # parts of a wall or floor that are told apart, and how small they get [m]


@dataclass(frozen=True)
class Member:
    """Something that can send a beam on: a surface with a place, a pane, a level mirror at a height."""

    name: str
    mirror: Mirror | None
    share: float
    item: Lit | None = None
    height: float = 0.0


def members_of(scene: Scene, items: Iterable[Lit]) -> list[Member]:
    """Return everything in a scene that can be a further mirror."""
    found = [Member(one.name, one.as_mirror, one.reflectance, one) for one in items if one.mirror and one.placed]
    found += [
        Member(pane.mirror.name, pane.mirror, pane.mirror.reflectance)
        for pane in panes_of(scene) if pane.mirror.reflectance > 0.0
    ]  # fmt: skip
    return found + level_members(scene)


def level_members(scene: Scene) -> list[Member]:
    """Return wet or shining ground, and a shining ceiling."""
    found = []
    if scene.outdoor is not None and scene.outdoor.wet:
        found.append(Member("wet ground", None, 1.0))
    for name, part in (("ground", scene.ground), ("ceiling", scene.ceiling)):
        if part is not None and part.finish != "matt":
            share = 1.0 if part.reflectance is None or part.finish == "unknown" else float(part.reflectance)
            found.append(Member(name, None, share, height=float(getattr(part, "height", 0.0))))
    return found


def further_mirrors(
    context: Context, pose: Pose, first: Sequence[Source], members: Sequence[Member], walls: Walls
) -> list[Source]:
    """Return the light that goes on over further mirrors, until it is too weak to matter anywhere.

    Parameters
    ----------
    context : Context
        Laser and set-up.
    pose : Pose
        Where the laser stands and points.
    first : sequence of Source
        What the first mirrors make of the beam.
    members : sequence of Member
        Whatever can be a further mirror.
    walls : Walls
        What stands between.
    """
    found: list[Source] = []
    lost: dict[tuple[str, int], Source] = {}
    front = [source for source in first if source.surface != UNLISTED]  # nobody knows whether it is there at all
    while front and members:
        after: list[Source] = []
        for source in front:
            for member in members:
                if member.name == source.surface or not _reached(source, member, walls):
                    continue
                for new in _sent_on(context, pose, source, member):
                    named = replace(new, note=f"{source.surface}, {member.name}", surface=member.name)
                    if named.aimed or named.bend != "flat":
                        found.append(named)
                        after.append(named)
                        continue
                    key = member.name, id(named.profile)
                    known = lost.get(key)
                    if known is None:
                        lost[key] = named
                        after.append(named)
                    elif named.through is None and known.through is None:
                        nearer, more = min(known.offset, named.offset), max(known.factor, named.factor)
                        lost[key] = replace(known, offset=nearer, factor=more, reach=max(known.reach, named.reach))
                    else:
                        found.append(named)
        front = after
        if len(found) + len(lost) > MOST_WAYS:
            found += [_anywhere(after, member) for member in members if after and member.mirror is not None]
            break
    return [*found, *lost.values()]


def _reached(source: Source, member: Member, walls: Walls) -> bool:
    """Return whether a mirror gets any light that matters."""
    if member.mirror is None:
        return abs(source.apex[2] - member.height) > 1e-9
    mirror = member.mirror
    if source.aimed and not reachable(source, mirror):
        return False
    half = np.full(3, mirror.width / 2.0)
    if mirror.normal is not None:
        half = half * np.sqrt(np.maximum(1.0 - np.square(mirror.normal), 0.0))
    gain = source.profile.gain(mirror.width) if mirror.gathers and isinstance(source.profile, BeamProfile) else 1.0
    there = most_light([[(source, walls)]], np.array([mirror.position]), half[None, :])
    return bool(there.max() * gain > FOLLOWED)


def _sent_on(context: Context, pose: Pose, source: Source, member: Member) -> list[Source]:
    """Return what a further mirror makes of light."""
    assert isinstance(source.profile, BeamProfile)
    reach = farthest_of(source.profile.criteria, source.profile.beam, source.factor * member.share) * ROUND_UP
    if member.mirror is None:
        return [level_mirror(source, member.height, member.share, member.name)]
    mirror, item, found = member.mirror, member.item, []
    if source.aimed:
        middle, radius = lit_patch(source, mirror)
        spots = Spots(middle, EVERYWHERE, radius, True, None if mirror.radius else mirror.normal)
    else:
        spots = Spots(mirror.position, EVERYWHERE, mirror.width / 2.0, True, mirror.normal)
    if item is not None and item.bends:
        bent = curved_sources(context, pose, item, spots, source.profile, source)
        found += [replace(one, factor=one.factor * source.factor) for one in bent]
    if item is None or item.may_be_flat:
        if mirror.normal is None:
            found.append(facing_anywhere(source, mirror, spots, reach))
        else:
            found.append((reflected if source.aimed else image_of_spots)(source, mirror, reach))
    return found


def _anywhere(front: Sequence[Source], member: Member) -> Source:
    """Return all that is left of many ways as if a mirror sent it anywhere, by the shortest and strongest of them."""
    assert member.mirror is not None
    mirror = replace(member.mirror, normal=None)
    spots = Spots(mirror.position, EVERYWHERE, mirror.width / 2.0, True)
    each = [facing_anywhere(source, mirror, spots, source.reach) for source in front]
    nearest, most = min(one.offset for one in each), max(one.factor for one in each)
    return replace(each[0], offset=nearest, factor=most, surface=member.name, note="further mirrors")


# --- what scatters where a beam ends --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Face:
    """A flat part of a scene on which a beam can end: a corner, its two edges, and the side that is lit."""

    name: str
    corner: FLOAT
    edges: FLOAT  # shape (2, 3) [m]
    normal: FLOAT
    reflectance: float


def faces_of(scene: Scene, reach: float) -> list[Face]:
    """Return barriers, walls, floor and ceiling, each with both sides that can be lit."""
    found = []
    for entry in scene.barrier:
        share = MATT if entry.reflectance is None else float(entry.reflectance)
        bottom, top = float(entry.bottom), float(entry.top)
        for a, b in zip(entry.line.pairs, entry.line.pairs[1:], strict=False):
            length = math.dist(a, b)
            if not length > 0.0 or entry.kind == "terrain":
                continue
            edges = np.array([[b[0] - a[0], b[1] - a[1], 0.0], [0.0, 0.0, top - bottom]])
            normal = np.array([a[1] - b[1], b[0] - a[0], 0.0]) / length
            found += [Face(entry.name, np.array([*a, bottom]), edges, side * normal, share) for side in (1.0, -1.0)]
    spots = [a.position.pair for a in scene.aim] + [p.position.pair for p in scene.person if p.position is not None]
    spots += [pair for p in scene.person if p.area is not None for pair in p.area.pairs]
    low, high = np.min(spots, axis=0) - reach, np.max(spots, axis=0) + reach
    edges = np.array([[high[0] - low[0], 0.0, 0.0], [0.0, high[1] - low[1], 0.0]])
    for name, part, up in (("ground", scene.ground, 1.0), ("ceiling", scene.ceiling, -1.0)):
        if name == "ground" or part is not None:
            share = MATT if part is None or part.reflectance is None else float(part.reflectance)
            level = float(getattr(part, "height", 0.0))
            found.append(Face(name, np.array([*low, level]), edges, np.array([0.0, 0.0, up]), share))
    return found


def ends_of(lights: Sequence[Light], faces: Sequence[Face], profile: ScatterProfile) -> Iterator[Source]:
    """Give the scatter of every face on which beams can end, from all places that they can light [1]_.

    Parameters
    ----------
    lights : sequence of (Source, Walls)
        The beams with the walls that hold against them.
    faces : sequence of Face
        What can be lit, each side by itself.
    profile : ScatterProfile
        A lit spot of reflectance 1 against its limits.

    References
    ----------
    .. [1] Own: the boxes of a face that `scene.bound` does not prove dark.
    """
    corner, edges = np.array([f.corner for f in faces]), np.array([f.edges for f in faces])
    normal = np.array([f.normal for f in faces])
    from_side = [np.sum((_comes_from(source) - corner) * normal, axis=1) > 1e-9 for source, _ in lights]
    low, high, owner = np.zeros((len(faces), 2)), np.ones((len(faces), 2)), np.arange(len(faces))
    for _ in range(12):
        middle = corner[owner] + np.einsum("ij,ijk->ik", (low + high) / 2.0, edges[owner])
        middle += normal[owner] * 1e-6  # before the face, which does not shade itself
        half = np.einsum("ij,ijk->ik", (high - low) / 2.0, np.abs(edges[owner]))
        lit = np.zeros(len(owner), dtype=bool)
        for light, side in zip(lights, from_side, strict=True):
            asked = np.flatnonzero(side[owner] & ~lit)
            if asked.size:
                lit[asked] = most_light([[light]], middle[asked], half[asked])[0] > LEAST
        low, high, owner = low[lit], high[lit], owner[lit]
        size = (high - low) * np.sqrt(np.square(edges[owner]).sum(axis=2))
        many = np.bincount(owner, minlength=len(faces)) > _PATCHES
        cut = (size > _FINEST) & (size > 0.6 * size.max(axis=1, keepdims=True, initial=0.0)) & ~many[owner][:, None]
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
    for number in np.unique(owner):
        face, own = faces[number], owner == number
        strongest = max(source.factor for (source, _), side in zip(lights, from_side, strict=True) if side[number])
        x, y, z = middle[own][0].tolist()
        nx, ny, nz = face.normal.tolist()
        yield Source(
            "scatter", (x, y, z), EVERYWHERE, profile, 0.0, factor=strongest * face.reflectance,
            plane=((x, y, z), (nx, ny, nz)), surface=face.name,
            parts=tuple((*m, *h) for m, h in zip(middle[own].tolist(), half[own].tolist(), strict=True)),
        )  # fmt: skip


def _comes_from(source: Source) -> FLOAT:
    """Return the place from which light comes to what it ends on. [m]."""
    if source.plane is None or source.spots is not None or abs(source.plane[1][2]) > 0.999:
        return np.array(source.apex)
    return np.array(source.plane[0])
