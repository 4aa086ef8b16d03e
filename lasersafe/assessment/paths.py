"""The ways of light over mirrors, and every pane of glass that acts as one: chains of any order."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.aims import UNLISTED, Lit, Pose, curved_sources, reaching
from lasersafe.assessment.context import Context
from lasersafe.assessment.loads import places_on, window_screen
from lasersafe.models import Scene, ScenePerson
from lasersafe.models.scene import SceneBarrier, SceneOpening
from lasersafe.scene import mirrors
from lasersafe.scene.beams import EVERYWHERE, FLOAT, BeamProfile, Vector
from lasersafe.scene.bound import Question, bounds
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.sources import Source, Spots
from lasersafe.scene.walls import Screen, Walls
from lasersafe.wording import Message, joined

FLAGS = NDArray[np.bool_]
FOLLOWED = 0.01  # of the limit: a beam that gives no more anywhere on a mirror is not followed over it
MOST_WAYS = 60  # over further mirrors; what would be more counts as if every mirror could send it anywhere
STOOD_ON = "what people stand on"
ROUND = 20.0  # m round all places at least, and twice as far as scatter exceeds a limit, floors are looked at
_HAIR = 1e-9  # m
_IN_PLANE = 1e-3  # m: what is lit of a level mirror itself has no image in it
_SPARE = 1.002  # the length of a way beside the axis of a wide beam is known to about as much
_OFF = 1e-6  # m: a light starts so far before the glass that sends it on


@dataclass(frozen=True)
class Member:
    """Something that can send a beam on: a surface with a place, a pane, a level mirror at a height."""

    name: str
    mirror: mirrors.Mirror | None
    share: float
    item: Lit | None = None
    height: float = 0.0
    pane: Pane | None = None


def members_of(scene: Scene, items: Iterable[Lit]) -> list[Member]:
    """Return everything in a scene that can be a further mirror."""
    found = [Member(one.name, one.as_mirror, one.reflectance, one) for one in items if one.mirror and one.placed]
    found += [
        Member(pane.mirror.name, pane.mirror, pane.mirror.reflectance, pane=pane)
        for pane in panes_of(scene) if pane.mirror.reflectance > 0.0
    ]  # fmt: skip
    found += [Member(top.name, top, top.reflectance) for top in wet_tops(scene)]
    return found + level_members(scene)


def stood_on(scene: Scene) -> list[float]:
    """Return the heights of what people stand on and nobody drew, but for the ground [m]."""
    tops = [(float(drawn.height), shapely.Polygon(drawn.outline.pairs)) for drawn in scene.floor]
    feet = ((float(one.floor), shapely.box(*shapely.MultiPoint(corners_of(one)).bounds)) for one in scene.person)
    found = {high for high, place in feet if not any(top == high and drawn.covers(place) for top, drawn in tops)}
    return sorted(found - {0.0})


def corners_of(one: ScenePerson) -> tuple[tuple[float, float], ...]:
    """Return the corners of where a person can be on the floor plan, of a point itself. [m]."""
    if one.area is not None:
        return one.area.pairs
    assert one.position is not None
    return (one.position.pair,)


def wet_tops(scene: Scene) -> list[mirrors.Mirror]:
    """Return what is drawn on wet ground, and what people stand on besides, on which puddles stand as well.

    Each is a disc round all of it, of what nobody drew round what lies within 20 m of all lasers and people. The ground
    itself has no end.
    """
    if scene.outdoor is None or not scene.outdoor.wet:
        return []
    tops = [(drawn.name, float(drawn.height), drawn.outline.pairs, 0.0) for drawn in scene.floor]
    every = (*(one.position.pair for one in scene.aim), *(at for one in scene.person for at in corners_of(one)))
    tops += [(STOOD_ON, high, every, ROUND) for high in stood_on(scene)]
    found = []
    for name, top, corners, around in tops:
        low, high = np.min(corners, axis=0) - around, np.max(corners, axis=0) + around
        if top != 0.0:
            x, y = ((low + high) / 2.0).tolist()
            found.append(mirrors.Mirror(name, (x, y, top), (0.0, 0.0, 1.0), math.dist(low, high), 1.0))
    return found


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


def over_level_mirrors(scene: Scene, lit: Sequence[Source]) -> list[Source]:
    """Return the images of lit spots in level mirrors, in one and in two of them one after the other."""
    found: list[Source] = []
    members, front = level_members(scene), list(lit)
    for _ in range(2):
        front = [
            mirrors.level_image(one, level.height, level.share, level.name)
            for one in front for level in members
            if (one.seen_in is None or one.seen_in[0][2] != level.height)
            and np.abs(one.starts[0][:, 2] - level.height).max() > _IN_PLANE
        ]  # fmt: skip
        found += front
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
        What stands between, as it holds against the laser itself and against what mirrors send on.
    """
    found: list[Source] = []
    lost: dict[Source, Source] = {}  # by where the light comes from
    front = [source for source in first if source.surface != UNLISTED]  # nobody knows whether it is there at all
    most = max((source.factor for source in front), default=0.0) * _SPARE**3  # no further mirror adds power
    while front and members:
        after: list[Source] = []
        if len(found) + len(lost) > MOST_WAYS:
            if not any(_pairs(front, [member], walls) for member in members):
                break
            few = _alike(front)
            last = reaching([  # as if every mirror sent it anywhere
                one for member in members if member.mirror is not None
                for source, anyhow in _anyhow(few, member)
                for one in _sent_on(context, pose, source, anyhow, walls)
            ])  # fmt: skip
            found += [
                replace(new, note=joined((source.surface, member.name), ", "))
                for source in [*front, *last] for member in members
                if member.mirror is None and not _left(source, member)
                for new, _ in _sent_on(context, pose, source, member, walls)
            ]  # fmt: skip
            found += [replace(one, unbounded=one.bend != "flat") for one in last]  # nothing is followed beyond these
            break
        pairs = _pairs(front, members, walls)
        made = [
            (joined((source.surface, member.name), ", "), member.name, one)
            for source, member in (pairs if len(pairs) <= MOST_WAYS else _few_pairs(pairs))
            for one in _sent_on(context, pose, source, member, walls)
        ]
        for (note, name, _), new in zip(made, reaching([one for *_, one in made]), strict=True):
            named = replace(new, note=note, surface=name, factor=min(new.factor, most))
            if named.aimed or named.bend != "flat":
                found.append(named)
                after.append(named)
                continue
            key = replace(named, offset=0.0, factor=1.0, reach=0.0, origin=None, note="")
            known = lost.get(key, named)
            lost[key] = replace(
                known, offset=min(known.offset, named.offset), factor=max(known.factor, named.factor),
                reach=max(known.reach, named.reach), origin=_origin_of([known, named]),
            )  # fmt: skip
            if known is named or lost[key] != known:  # what is nearer or stronger is followed anew
                after = [*(one for one in after if one is not known), lost[key]]
        front = after
    return [*found, *lost.values()]


def in_parts(sources: Sequence[Source]) -> list[Source]:
    """Return each light over a mirror of stated radius part by part of what that can make of it, and all other."""
    parts = [
        replace(one, profile=replace(one.as_beam, beam=beam), ends=ends, finer=())
        for one in sources for beam, ends in one.finer
    ]  # fmt: skip
    return [*(one for one in sources if not one.finer), *reaching([(one, one.factor) for one in parts])]


def _pairs(front: Sequence[Source], members: Sequence[Member], walls: Walls) -> list[tuple[Source, Member]]:
    """Return each source with each mirror that gets any light of it that matters."""
    return [
        (source, member)
        for source, meets in zip(front, _reached(front, members, walls).tolist(), strict=True)
        for member, met in zip(members, meets, strict=True)
        if met and not _left(source, member)
    ]


def _left(source: Source, member: Member) -> bool:
    """Return whether light comes from a mirror itself; a surface may be named like a floor or ceiling."""
    upright = source.plane is not None and abs(source.plane[1][2]) == 1.0
    level = upright and source.surface in ("wet ground", "ground", "ceiling")
    return member.name == source.surface and (member.mirror is None) == level


def _reached(sources: Sequence[Source], members: Sequence[Member], walls: Walls) -> FLAGS:
    """Return which mirrors get any light that matters from each source, of shape (sources, members)."""
    found = np.zeros((len(sources), len(members)), dtype=bool)
    gain = np.ones(found.shape)
    places, halves = np.zeros((len(members), 3)), np.zeros((len(members), 3))
    for column, member in enumerate(members):
        mirror = member.mirror
        if mirror is None:
            found[:, column] = [abs(source.apex[2] - member.height) > 1e-9 for source in sources]
            continue
        places[column], halves[column] = mirror.position, mirror.width / 2.0
        if mirror.normal is not None:
            halves[column] *= np.sqrt(np.maximum(1.0 - np.square(mirror.normal), 0.0))
        if mirror.gathers:
            gain[:, column] = [
                s.profile.gain(mirror.width) if isinstance(s.profile, BeamProfile) else 1.0 for s in sources
            ]
    asked = np.array([member.mirror is not None and member.pane is None for member in members])
    of, on = np.nonzero(np.broadcast_to(asked, found.shape))
    lights = [(source, walls) for source in sources]
    glass = [(column, member.pane) for column, member in enumerate(members) if member.pane is not None]
    behind = lit_panes(lights * len(glass), [pane for _, pane in glass for _ in lights], FOLLOWED)
    found[:, [column for column, _ in glass]] = np.array(behind, dtype=bool).reshape(len(glass), len(lights)).T
    table = Lights(lights)
    one = np.ones((len(of), 1), dtype=bool)
    at = places[on]
    for row, (number, column) in enumerate(zip(of.tolist(), on.tolist(), strict=True)):
        mirror = members[column].mirror
        assert mirror is not None
        before = mirrors.hung(sources[number].apex, mirror, walls)
        if before is not mirror:
            at[row] = before.position
    there = table.most(of[:, None], at, halves[on], np.zeros(len(of)), one, np.zeros((len(of), 1), dtype=np.intp))
    lit = there[:, 0] * gain[of, on] > FOLLOWED
    for row, column in zip(of[lit].tolist(), on[lit].tolist(), strict=True):
        mirror = members[column].mirror
        assert mirror is not None
        found[row, column] = not sources[row].aimed or mirrors.reachable(sources[row], mirror)
    return found


def _sent_on(
    context: Context, pose: Pose, source: Source, member: Member, walls: Walls
) -> list[tuple[Source, float | None]]:
    """Return what a further mirror makes of light, with what `reaching` asks for."""
    if member.mirror is None:
        return [
            (replace(mirrors.level_mirror(source, member.height, member.share, member.name), unbounded=False), None)
        ]
    mirror, item, found = member.mirror, member.item, list[tuple[Source, float | None]]()
    if item is not None and item.bends:  # another side of it may be lit than by the laser
        item = item.facing(*mirrors.hull_of(source))
    facing = mirror if item is None or item is member.item else item.as_mirror
    if source.aimed:
        middle, radius = mirrors.lit_patch(source, facing) or (mirror.position, mirror.width / 2.0)
        spots = Spots(middle, EVERYWHERE, radius, True, None if mirror.radius else facing.normal)
    else:
        spots = Spots(mirror.position, EVERYWHERE, mirror.width / 2.0, True, facing.normal)
    if item is not None and item.bends:
        bent = curved_sources(context, pose, item, spots, source.as_beam, source)
        found += [(replace(one, factor=one.factor * source.factor), share) for one, share in bent]
    if item is None or item.may_be_flat:
        if mirror.normal is None or (mirror.off and not source.aimed):
            flat = [mirrors.facing_anywhere(source, mirror, spots, math.inf)]
        elif source.aimed:
            flat = mirrors.past_walls(source, mirror, math.inf, walls)
        else:
            flat = [mirrors.image_of_spots(one, mirror, math.inf) for one in mirrors.on_both_sides(source, mirror)]
        found += [(one, source.factor * member.share) for one in flat]
    many = source.bend == "unknown" and item is not None and item.shape == "convex"
    return [(replace(one, bends=max(one.bends, source.bends), unbounded=many), share) for one, share in found]


def _few_pairs(pairs: Sequence[tuple[Source, Member]]) -> list[tuple[Source, Member]]:
    """Return for each mirror the few ways that bound all that meet it, and the mirror as if it faced anywhere."""
    found: list[tuple[Source, Member]] = []
    front = {id(source): source for source, _ in pairs}
    number = {one: n for n, one in enumerate(front)}
    meeting: dict[str, tuple[Member, list[int]]] = {}
    for source, member in pairs:
        meeting.setdefault(member.name, (member, []))[1].append(number[id(source)])
    sources = list(front.values())
    ways = _alike(sources)
    for member, of in meeting.values():
        met = np.zeros(len(sources), dtype=bool)
        met[of] = True
        found += [(sources[n], member) for n in of] if member.mirror is None else _anyhow(ways, member, met)
    return found


@dataclass(frozen=True)
class _Ways:
    """Ways of beams that differ in length and reflectance only, or in their spread too, and their numbers."""

    own: list[Source]
    number: NDArray[np.intp]
    apex: FLOAT
    lead: FLOAT  # how much longer each is than the straight way from its apex [m]
    loose: FLOAT  # and by how much that can be off [m]
    most: FLOAT  # share of the power, how far it exceeds a limit [m] and mirrors of unknown curvature of each
    spreads: FLOAT | None  # of each axis, of those from a point; None where all have one beam [rad]


def _alike(sources: Sequence[Source]) -> list[_Ways]:
    """Return ways sorted by their beam.

    What leaves other mirrors as tight as any curvature makes it spreads from a point that lies behind: the least
    spread, from the nearest of them, and the most, since what is wider on a further curved one leaves it the tighter.
    """
    ways: dict[object, list[int]] = {}
    for number, source in enumerate(sources):
        beam = source.as_beam.beam
        tight = not source.aimed and beam.waist_diameter == (0.0, 0.0) and len(set(beam.waist_position)) == 1
        tight &= beam.waist_position[0] <= source.offset
        key = (source.as_beam.criteria, beam.profile, beam.propagation) if tight else source.profile
        ways.setdefault(key, []).append(number)
    found = list[_Ways]()
    for beam_of, numbers in ways.items():
        own = [sources[n] for n in numbers]
        beams = [one.as_beam.beam for one in own]
        tight = not isinstance(beam_of, BeamProfile)
        before = [beam.waist_position[0] if tight else 0.0 for beam in beams]
        found.append(_Ways(
            own, np.array(numbers), np.array([one.apex for one in own]),
            np.array([one.offset for one in own]) - before,
            np.array([math.hypot(*one.moves) + one.beside + one.spot + one.slack for one in own]),
            np.array([(one.factor, one.reach, one.bends) for one in own]),
            np.array([beam.divergence for beam in beams]) if tight else None,
        ))  # fmt: skip
    return found


def _anyhow(ways: Sequence[_Ways], member: Member, met: FLAGS | None = None) -> list[tuple[Source, Member]]:
    """Return what bounds many ways on a mirror, of each beam the shortest way there, and it as if it faced anywhere.

    Only those that meet it are bounded, else all.
    """
    mirror = member.mirror
    assert mirror is not None
    facing = replace(member, mirror=replace(mirror, normal=None))
    found = []
    for one in ways:
        at = np.arange(len(one.own)) if met is None else np.flatnonzero(met[one.number])
        if not at.size:
            continue
        lead, loose, first = one.lead[at], one.loose[at] + mirror.width / 2.0, one.own[at[0]]
        away = np.sqrt(np.square(one.apex[at] - mirror.position).sum(axis=1)) + lead
        near = float(np.maximum(away - loose, lead).min())
        factor, reach, bends = one.most[at].max(axis=0).tolist()
        ends = [first.as_beam]
        if one.spreads is not None:  # from a point by the least and by the most, on each axis
            spreads = one.spreads[at]
            rows = [spreads.min(axis=0).tolist(), spreads.max(axis=0).tolist()]
            even = (spreads[:, 0] == spreads[:, 1]).all()
            each = dict.fromkeys(map(tuple, rows if even else itertools.product(*zip(*rows, strict=True))))
            point = replace(ends[0].beam, waist_position=(0.0, 0.0))
            ends = [replace(ends[0], beam=replace(point, divergence=pair)) for pair in each]
        found += [
            (replace(
                first, apex=mirror.position, directions=EVERYWHERE, profile=profile, offset=near, slack=0.0,
                moves=(0.0, 0.0, 0.0), plane=None, bulge=0.0, through=None, aims=None, bend="unknown", patch=True,
                origin=None, spot=max(float((away + loose).max()) - near, 1e-6), factor=factor * _SPARE, reach=reach,
                bends=int(bends),
            ), facing)
            for profile in ends
        ]  # fmt: skip
    return found


def _origin_of(sources: Sequence[Source]) -> tuple[Vector, Vector] | None:
    """Return a box from which the straight way is no longer than any path of some lights, None where not known. [m]."""
    boxes = [one.straight_from for one in sources]
    known = [box for box in boxes if box is not None]
    if len(known) < len(boxes):
        return None
    ends = np.array([[np.subtract(*box), np.add(*box)] for box in known])
    low, high = ends[:, 0].min(axis=0), ends[:, 1].max(axis=0)
    if np.abs(ends[0] - (low, high)).max() <= 2.0 * _HAIR:
        return known[0]
    (ax, ay, az), (bx, by, bz) = ((low + high) / 2.0).tolist(), ((high - low) / 2.0 + _HAIR).tolist()
    return (ax, ay, az), (bx, by, bz)


@dataclass(frozen=True)
class Pane:
    """A flat piece of a window as a mirror, with its length and height. [m]."""

    mirror: mirrors.Mirror
    length: float
    height: float

    @property
    def upper_corners(self) -> tuple[Vector, Vector]:
        """Both ends of its upper edge. [m]."""
        (x, y, z), normal = self.mirror.position, self.mirror.normal
        assert normal is not None
        ends = [(x + side * normal[1], y - side * normal[0]) for side in (-self.length / 2.0, self.length / 2.0)]
        top = z + self.height / 2.0
        return (*ends[0], top), (*ends[1], top)


def lit_panes(lights: Sequence[Light], panes: Sequence[Pane], least: float) -> list[bool]:
    """Return for each light and its pane whether anywhere on it the light can give more than so much of a limit.

    A pane is bounded as a place a hair before either side of the wall in which it is: a window that holds is no shade
    for itself.
    """
    asked = []
    for (source, walls), pane in zip(lights, panes, strict=True):
        (x0, y0, top), (x1, y1, _) = pane.upper_corners
        glass, off = Screen("", ((x0, y0), (x1, y1)), top - pane.height, top), np.array(pane.mirror.normal) * _OFF
        bright = [[(replace(source, factor=source.factor / least), walls)]]
        asked += [Question(bright, places_on(glass, side)) for side in (off, -off)]
    found = [bool(one.upper[0] > 1.0) for one in bounds(asked, to_limit=True)] if asked else []
    return [one or other for one, other in zip(found[::2], found[1::2], strict=True)]


def panes_of(scene: Scene) -> tuple[Pane, ...]:
    """Return every flat piece of every window, and of every barrier or wall that shines.

    Without a stated reflectance it is a full mirror: coated glass, and any at a glancing angle, comes near to that.
    """
    found = []
    for entry in scene.barrier:
        own: list[tuple[str, Screen, SceneBarrier | SceneOpening]] = []
        if entry.finish != "matt":
            whole = Screen(entry.name, entry.line.pairs, float(entry.bottom), float(entry.top))
            own.append((entry.name, whole, entry))
        for opening in entry.opening:
            if opening.kind == "window":
                own.append((Message("pane.name", name=opening.name), window_screen(entry, opening), opening))
        for name, screen, part in own:
            height, known = screen.top - screen.bottom, getattr(part, "finish", "mirror") == "mirror"
            share = float(part.reflectance) if known and part.reflectance is not None else 1.0
            for a, b in itertools.pairwise(screen.line):
                length = math.dist(a, b)
                if not length > 0.0 or not height > 0.0:
                    continue
                middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, (screen.bottom + screen.top) / 2.0)
                normal = ((a[1] - b[1]) / length, (b[0] - a[0]) / length, 0.0)
                found.append(
                    Pane(mirrors.Mirror(name, middle, normal, math.hypot(length, height), share), length, height)
                )
    return tuple(found)
