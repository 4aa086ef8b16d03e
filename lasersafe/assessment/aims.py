"""Where a laser stands and points, and what its beam can meet: surfaces and targets with their places."""

from __future__ import annotations

import itertools
import math
from collections.abc import Container, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.context import FAR_INFRARED, Context
from lasersafe.hazard.distances import FARTHEST, farthest_crossing
from lasersafe.optics.beam import BeamGeometry
from lasersafe.optics.reflection import (
    STATED,
    TAKEN_AS_FLAT,
    reflect_shape,
    reflect_within,
    started_at,
    with_real_focus,
)
from lasersafe.scene import beams
from lasersafe.scene.mirrors import Mirror, from_spots, hung
from lasersafe.scene.sources import Source, Spots
from lasersafe.scene.walls import Walls
from lasersafe.wording import Message, key_of, word

if TYPE_CHECKING:
    from lasersafe.models import Aim, Scene, Setup, Surface, Target
    from lasersafe.models.scene import ScenePlace

ROUND_UP = 1.001
UNSTEADY, NOT_EXACT = 0.5, 0.1  # of the distance of what has no place, by hand and else; common practice, no source
_TRIED = 33
_NEAR_ENOUGH, _MOST_PARTS = 0.25, 8  # m, and at most: how finely the slack of what has no place is looked at
_STEEPEST = math.radians(80.0)
_CELL, _MOST_CELLS = 0.04, 8  # of the distance, rad; and at most so many parts in which what is between is bounded
_STEEPEST_TILT = math.radians(87.0)
_HAIR = 1e-12  # relative
UNLISTED = "an object that is not on the list"
NOT_LISTED = "not listed"  # as a shape: nobody fires at it, so that it counts as flat
HAND_MARGIN = math.radians(10.0)  # common practice, no source
HAND_MOVES = 0.5  # m, on every side; common practice, no source


@dataclass(frozen=True)
class Lit:
    """A surface that the beam can meet: where, how it returns light, and whether the place is known."""

    name: str
    position: beams.Vector
    normal: beams.Vector | None
    width: float
    reflectance: float
    mirror: bool
    shape: str
    placed: bool
    radius: float | None = None  # of curvature, None when not stated
    axes: str | None = None  # "sphere" or "cylinder", None when not stated
    along: float | None = None  # without a place: how far from the last optic along the aim
    target: bool = False  # it is fired at, so that the beam meets it whatever the aim says
    off: float = 0.0  # how far its normal can be off, to any side [rad]
    both: bool = False  # light may fall on either side of it

    @property
    def bends(self) -> tuple[str, ...]:
        """What its curvature may be besides flat; what has a stated shape is nothing else."""
        if self.shape == "unknown":
            return ("convex", "concave")
        return (self.shape,) if self.shape in ("convex", "concave") else ()

    @property
    def plane(self) -> tuple[beams.Vector, beams.Vector] | None:
        """Its middle and normal, None where the way it faces is not known."""
        return None if self.normal is None or self.off or self.both else (self.position, self.normal)

    @property
    def as_mirror(self) -> Mirror:
        """It as a part of the scene that reflects."""
        gathers = self.mirror and self.shape in ("concave", "unknown")
        return Mirror(
            self.name, self.position, self.normal, self.width, self.reflectance, self.curved_by, self.off, gathers,
        )  # fmt: skip

    @property
    def curved_by(self) -> float:
        """Radius of the ball of which it is a cap, above 0 convex, below 0 hollow; 0 where that is not known. [m]."""
        if self.radius is None or self.axes == "cylinder" or self.shape not in ("convex", "concave"):
            return 0.0
        return self.radius if self.shape == "convex" else -self.radius

    @property
    def bulge(self) -> float:
        """Sine of the angle between the normals of its middle and of its rim, were it convex; 1 when not known."""
        return min(self.width / 2.0 / self.curved_by, 1.0) if self.curved_by > 0.0 else 1.0

    def facing(self, place: beams.FLOAT, around: beams.FLOAT) -> Lit:
        """Return it with its normal on the side on which light falls that starts in a box: its middle, its half edges.

        Where that may be either side it is not known of what curves, and what is flat is lit on both: over the rim of a
        cap that bulges towards it light falls on the front as well.
        """
        if self.normal is None:
            return self
        ahead = float((place - self.position) @ np.array(self.normal))
        loose = float(around @ np.abs(self.normal)) + math.dist(place, self.position) * math.sin(self.off)
        if ahead >= loose:
            return self
        if self.shape == "convex" and self.radius is not None:
            steep = math.asin(min(self.width / 2.0 / self.radius, 1.0))
            loose += self.width / 2.0 + math.tan(steep) * math.dist(place, self.position)
        x, y, z = self.normal
        if -ahead > loose:
            return replace(self, normal=(-x, -y, -z))
        return replace(self, normal=None) if self.bends else replace(self, both=True)

    @property
    def may_be_flat(self) -> bool:
        """Whether it has to be taken as flat, alone or besides its curvatures."""
        return self.shape not in ("convex", "concave")


def place_of(target: Target, pose: Pose, work: float) -> beams.Vector:
    """Return where a target is: its height, when not stated, is that of the aim at its distance."""
    if target.position is None:
        return pose.on_aim(work)
    x, y = target.position.pair
    if target.height is not None:
        return x, y, float(target.height)
    rise = math.tan(min(max(pose.elevation, -_STEEPEST), _STEEPEST)) * math.dist((x, y), pose.apex[:2])
    return x, y, max(pose.apex[2] + rise, 0.0)


def lit_surfaces(scene: Scene, context: Context, pose: Pose, work: float, walls: Walls) -> tuple[Lit, ...]:
    """Return what the beam of a laser can meet, each with its place, before the wall on which it hangs."""
    found: list[Lit] = []
    places = {p.name: p for p in scene.surface}
    targets = {t.name: t for t in scene.target if t.laser in (None, context.laser.name)}
    for surface in context.surfaces:
        place, twin = places.get(surface.name), targets.get(surface.name)
        shaped = place or twin  # the same object described twice: the worse of both counts
        mirror, reflectance = _returned(context, surface, *((twin,) if twin is not None else ()))
        shape, radius = ("unknown", None) if shaped is None else (shaped.shape, _radius(shaped))
        axes, along = None if place is None else place.axes, float(surface.distance)
        if place is None or place.position is None or place.height is None:
            aim = pose.on_aim(along)
            found.append(Lit(surface.name, aim, None, 0.0, reflectance, mirror, shape, False, radius, axes, along))
            continue
        knocked = pose.mode == "fault" and not place.fixed
        normal = None if place.normal is None or knocked else beams.unit(float(place.normal), float(place.tilt))
        off = 0.0 if normal is None else place.normal_tolerance
        spot, width = (*place.position.pair, float(place.height)), float(place.width)
        lit = Lit(surface.name, spot, normal, width, reflectance, mirror, shape, True, radius, axes, off=off)
        lit = replace(lit, position=hung(pose.apex, lit.as_mirror, walls).position)
        found.append(lit.facing(np.array(pose.apex), np.array(pose.moves)))  # where light falls it comes back
    listed_already = {item.name for item in found}
    for target in targets.values():
        fixed = target.position is not None
        if not fixed and target.name in listed_already:
            continue
        mirror, reflectance = _returned(context, target)
        found.append(
            Lit(
                target.name, place_of(target, pose, work), None, 0.1 if fixed else 0.0, reflectance, mirror,
                target.shape, fixed, _radius(target), along=None if fixed else work, target=fixed,
            )
        )  # fmt: skip
    listed = context.case.settings.surfaces_complete and bool(found)
    if listed and not any(item.mirror for item in found):  # something always shines: all, as if they did
        found = [replace(item, mirror=True) for item in found]
    full = (i for i in found if i.mirror and i.may_be_flat and not i.placed and i.reflectance == 1.0)
    if not listed and not any((item.along or 0.0) <= work for item in full):
        found.append(unlisted(pose, work, NOT_LISTED))
    return tuple(replace(item, mirror=item.mirror and item.reflectance > 0.0) for item in found)


def _radius(shaped: ScenePlace | Target) -> float | None:
    return None if shaped.radius is None else float(shaped.radius)


def unlisted(pose: Pose, work: float, shape: str) -> Lit:
    """Return the full mirror at the work that stands for what is not listed."""
    return Lit(UNLISTED, pose.on_aim(work), None, 0.0, 1.0, True, shape, False, along=work)


def _returned(context: Context, *described: Surface | Target) -> tuple[bool, float]:
    """Return whether an object acts as a mirror, and its reflectance, by the worst of its descriptions."""
    values = [context.reflectance_of(one) for one in described]
    far = context.wavelength >= FAR_INFRARED
    mirror = far or any(o.finish != "matt" or v.mirror for o, v in zip(described, values, strict=True))
    return mirror, max(context.mirrored(one) for one in described)


@dataclass(frozen=True)
class Bent:
    """What a curved mirror makes of the beam: its distances start at the mirror, so far from the last optic. [m]."""

    beam: BeamGeometry
    words: str
    away: float
    place: float  # along the aim: middle of the part of its distances for which this is the worst [m]
    spots: Spots | None = None  # where it can be lit there
    finer: beams.Parts = ()  # of a stated radius: it bounds all of these, of which each bounds a part
    widest: BeamGeometry | None = None  # of a stated radius: no beam that it stands for is wider


def bent_beams(
    context: Context, pose: Pose, item: Lit, spots: Spots, bend: str, source: Source | None = None
) -> tuple[Bent, ...]:
    """Return what a curved mirror makes of the beam at its distance, and at the worst one that it may have, and why.

    A little nearer or farther changes much next to a focus, so that the distance of what has no place is not taken at
    its word. A tilt moves the focus of a curved mirror: a stated radius counts where the way it faces is known, or
    where a convex one can only spread the beam; elsewhere any radius does. Nothing is returned where a curvature of
    unknown radius only spreads the beam: flat stands for it. The beam comes straight from the laser, or from a source.
    """
    coming = source or Source(
        "direct", pose.apex, pose.directions, beams.BeamProfile(context.beam, ()), 0.0, moves=pose.moves
    )
    if item.placed:
        loose = math.hypot(*coming.moves) + coming.spot + coming.slack
        middle, around = math.dist(spots.apex, coming.apex) + coming.offset, spots.distance + loose
    else:
        middle = item.along or 0.0
        around = middle * (UNSTEADY if context.laser.handheld else NOT_EXACT)
    near, middle, far = (max(away, beams.NEAREST) for away in (middle - around, middle, middle + around))
    if item.placed or not around:
        return tuple(
            replace(one, spots=spots) for one in _bent(context, coming, item, spots, bend, (near, middle, far))
        )
    # what has no place can be lit wherever it may be: each place on the aim stands for what is halfway to the next
    parts = 2 * min(math.ceil(around / (2.0 * _NEAR_ENOUGH)), _MOST_PARTS // 2)
    halfway = (far - near) / parts / 2.0
    found = _bent(context, coming, item, spots, bend, tuple(np.linspace(near, far, parts + 1).tolist()))
    balls = {one.place: Spots(pose.on_aim(one.place), beams.EVERYWHERE, halfway + pose.loose, True) for one in found}
    return tuple(replace(one, spots=balls[one.place] if spots.solid else pose.spots(one.place)) for one in found)


def lit_places(context: Context, pose: Pose, item: Lit, spots: Spots) -> tuple[Spots, ...]:
    """Return where an object can be lit: as it stands, and wherever a curved one without a place may be."""
    bent = (one for bend in item.bends if item.mirror for one in bent_beams(context, pose, item, spots, bend))
    return tuple(dict.fromkeys([spots, *(one.spots for one in bent if one.spots is not None)]))


def _bent(
    context: Context, source: Source, item: Lit, spots: Spots, bend: str, places: tuple[float, ...]
) -> tuple[Bent, ...]:
    near, beam = places[0], source.as_beam.beam
    radius = item.radius if item.shape == bend else None
    spreads, known = near >= max(beam.waist_position), item.normal is not None and source.aimed
    if radius is not None and not (source.bends or source.widest) and (known or (bend == "convex" and spreads)):
        forms = (item.axes,) if item.axes else ("sphere", "cylinder")
        shapes = tuple(f"{bend} {form}" for form in forms)
        tilts = _tilts(source, item, spots) if known else (0.0, _STEEPEST_TILT)
        return _as_stated(beam, context.wavelength, places, shapes, radius, tilts, in_parts=not item.placed)
    form = item.axes if item.shape == bend and item.axes and radius is None else "sphere"
    if source.widest is not None and not (bend == "convex" and spreads):
        beam, bend, form = source.widest, "concave", "sphere"  # the wider it is there, the tighter it can leave
    found = _as_any(beam, context.wavelength, places, f"{bend} {form}", in_parts=not item.placed)
    return tuple(one for one in found if item.shape == bend or key_of(one.words) != TAKEN_AS_FLAT)


def _tilts(source: Source, item: Lit, spots: Spots) -> tuple[float, float]:
    """Return the least and the largest angle at which a beam can meet a curved surface where it is lit. [rad]."""
    assert item.normal is not None
    normal, at, curved = np.array(item.normal), np.array(spots.apex), item.curved_by
    way, beside = at - np.array(source.apex), math.dist(spots.apex, item.position)
    off = math.asin(min((beside + spots.distance) / item.radius, 1.0)) if item.radius else 0.0
    if curved:  # the normal of a ball points away from its middle, of a bowl towards it
        outwards = at - (np.array(item.position) - curved * normal)
        normal = outwards / max(float(np.sqrt(outwards @ outwards)), beams.NEAREST)
        off = 2.0 * math.asin(min(spots.distance / abs(curved) / 2.0, 1.0))
    away, cone = max(float(np.sqrt(way @ way)), beams.NEAREST), source.directions.cone()
    ends = math.asin(min((spots.distance + math.hypot(*source.moves)) / away, 1.0))
    coming, aside = (way / away, ends) if ends < cone.half_angle else (np.array(cone.axis), cone.half_angle)
    tilt, off = math.acos(min(abs(float(coming @ normal)), 1.0)), off + item.off + aside
    return min(max(tilt - off, 0.0), _STEEPEST_TILT), min(tilt + off, _STEEPEST_TILT)


@lru_cache(maxsize=8192)
def _as_any(
    beam: BeamGeometry, wavelength: float, places: tuple[float, ...], shape: str, *, in_parts: bool
) -> tuple[Bent, ...]:
    """Return what a shape of any radius makes of a beam, at the middle of a range of distances [m] and at the worst.

    In parts it is the worst nearest to each of the places of the range.
    """
    near, middle, far = places[0], places[len(places) // 2], places[-1]
    if beam.circular and not in_parts:  # the wider a round beam meets it, the less it spreads: at one of the ends
        tried = [near, far]
    else:
        tried = np.linspace(near, far, _TRIED if far > near else 1).tolist()
        tried += [z for z in beam.waist_position if near < z < far]
    lying = (0, 1) if shape.endswith("cylinder") else (0,)

    def worst(distances: list[float], place: float) -> list[Bent]:
        found = []
        for axis in lying:
            kinds: dict[object, list[Bent]] = {}  # before and behind a focus it makes something else of the beam
            for z in distances:
                kind = tuple(z >= waist for waist in beam.waist_position)
                bent = Bent(*reflect_shape(beam, z, shape, wavelength, axis), z, place)
                kinds.setdefault(kind, []).append(bent)
            for own in kinds.values():
                if beam.circular and len(lying) == 1:
                    found.append(min(own, key=lambda bent: bent.beam.divergence[0] * bent.beam.divergence[1]))
                    continue
                x, y = (min(bent.beam.divergence[side] for bent in own) for side in (0, 1))
                ends = (pick(own, key=lambda bent: bent.away) for pick in (min, max))  # of an axis that is not bent
                found += dict.fromkeys(replace(end, beam=replace(end.beam, divergence=(x, y))) for end in ends)
        return found

    if not in_parts or not far > near:
        return tuple(dict.fromkeys([*worst([middle], middle), *worst(tried, middle)]))
    halfway = (places[1] - places[0]) / 2.0
    return tuple(
        one for place in places for one in worst([place, *(z for z in tried if abs(z - place) <= halfway)], place)
    )


@lru_cache(maxsize=512)
def _as_stated(
    beam: BeamGeometry, wavelength: float, places: tuple[float, ...], shapes: tuple[str, ...], radius: float,
    tilts: tuple[float, float], *, in_parts: bool,
) -> tuple[Bent, ...]:  # fmt: skip
    """Return bounds of what shapes of a stated radius [m] make of a beam, at any of a range of distances [m] and tilts.

    A cylinder may lie any way, which gives all curvatures between those of both planes of incidence; of a ball the
    plane may be either axis of the beam. In parts it is that of what is nearest to each of the places of the range.

    What spreads a beam that spreads already does so least where it draws least. A convex ball does it to a round beam
    where it is met straight on, in both axes together: the square of each width is a sum of powers of the cosine, which
    on the other axis are their inverses.
    """
    real, edges, found = with_real_focus(beam, wavelength), [(places[0], places[-1])], list[Bent]()
    if in_parts and places[0] < places[-1]:
        halfway = (places[1] - places[0]) / 2.0
        edges = [(max(one - halfway, places[0]), min(one + halfway, places[-1])) for one in places]
    for shape, (near, far) in itertools.product(shapes, edges):
        middle, words, ball = (near + far) / 2.0, Message(STATED, shape=word(shape)), shape.endswith("sphere")
        whole, *cells = _pulls(shape, radius, tilts)
        away = [(near, far)] if in_parts else _cells(near, far, _CELL * middle)
        least = whole
        if shape.startswith("convex") and near >= max(beam.waist_position) and (beam.circular or not ball):
            pull = -2.0 / radius if ball else whole[0][1]
            least = (pull, pull), (pull * ball, pull * ball)
            cells = [least]
        for turn in (1,) if beam.circular else (1, -1):
            bound, widest = (reflect_within(real, (near, far), one[::turn]) for one in (least, whole))
            finer = dict.fromkeys(reflect_within(real, ends, one[::turn])[:2] for ends in away for one in cells)
            found.append(Bent(bound[0], words, middle, middle, finer=tuple(finer), widest=widest[2]))
    return tuple(dict.fromkeys(found))


def _cells(low: float, high: float, step: float) -> list[tuple[float, float]]:
    """Return a range in equal parts of about a step, as few as there may be."""
    count = min(max(math.ceil((high - low) / step), 1), _MOST_CELLS)
    return list(itertools.pairwise(np.linspace(low, high, count + 1).tolist()))


def _pulls(shape: str, radius: float, tilts: tuple[float, float]) -> list[tuple[tuple[float, float], ...]]:
    """Return between which ends a mirror draws a beam together on its axes, 1 / f [1/m]: of all tilts, and in parts."""
    side = (2.0 if shape.startswith("concave") else -2.0) / radius
    least, most = (math.cos(one) for one in reversed(tilts))
    ball = shape.endswith("sphere")
    parts = _cells(*tilts, _CELL) if ball else _cells(math.log(least), -math.log(least), _CELL)
    ends = [(least, most if ball else 1.0 / least)]
    ends += [(math.cos(b), math.cos(a)) if ball else (math.exp(a), math.exp(b)) for a, b in parts]
    both = [((side * a, side * b), (side / b, side / a) if ball else (0.0, 0.0)) for a, b in ends]
    return [tuple((min(one), max(one)) for one in pair) for pair in both]


def reaching(made: Sequence[tuple[Source, float | None]]) -> list[Source]:
    """Return light with how far along its path it exceeds a limit, rounded up, worked out for all of it at once.

    With each comes what share of its beam counts for that, None where it is known.
    """
    far = iter(beams.farthest_of_each([
        (one.profile, share) for one, share in made if share is not None and isinstance(one.profile, beams.BeamProfile)
    ]))  # fmt: skip
    return [one if share is None else replace(one, reach=next(far) * ROUND_UP) for one, share in made]


def curved_sources(
    context: Context, pose: Pose, item: Lit, spots: Spots, profile: beams.BeamProfile, source: Source | None = None
) -> list[tuple[Source, float]]:
    """Return what a curved surface makes of the beam: anywhere in front of it, as far as its curvature lets it go.

    With each comes what `reaching` asks for.
    """
    found = []
    for bend in item.bends:
        bulge = item.bulge if bend == "convex" else 0.0
        for bent in bent_beams(context, pose, item, spots, bend, source):
            beam = started_at(bent.beam, -bent.away)  # from the last optic
            finer = ((started_at(one, -bent.away), ends if context.is_exact else None) for one, ends in bent.finer)
            sent = from_spots(
                "mirror", bent.spots or spots, replace(profile, beam=beam), math.inf, offset=bent.away,
                factor=item.reflectance, plane=None if bulge == 1.0 else item.plane, surface=item.name,
                note=bent.words, bend=bend, bulge=bulge,
                bends=(source.bends if source else 0) + (key_of(bent.words) != STATED), finer=tuple(finer),
                widest=bent.widest and started_at(bent.widest, -bent.away),
            )  # fmt: skip
            found.append((sent, item.reflectance))
    return found


@dataclass(frozen=True)
class Pose:
    """One laser in one place with the directions it can take in one mode."""

    mode: str
    apex: beams.Vector
    bearing: float
    elevation: float
    nominal: beams.Box
    directions: beams.Directions  # margin and scan field in it
    margin: float
    moves: beams.Vector = (0.0, 0.0, 0.0)  # how far the last optic can be from where it is stated, on every side

    def on_aim(self, distance: float) -> beams.Vector:
        """Return the point of the aim at a distance from the last optic."""
        x, y, z = beams.unit(self.bearing, self.elevation)
        return self.apex[0] + x * distance, self.apex[1] + y * distance, self.apex[2] + z * distance

    @property
    def fixed(self) -> bool:
        """Whether it points in one direction only, within its margin."""
        low, high = self.nominal.elevation
        return self.nominal.half_bearing == 0.0 and low == high

    @property
    def turns(self) -> bool:
        """Whether it can point anywhere but straight along its aim, the margin counted."""
        box = self.directions.box()
        return box.half_bearing > 0.0 or box.elevation[0] != box.elevation[1]

    @property
    def loose(self) -> float:
        """How far the last optic can be from where it is stated. [m]."""
        return math.hypot(*self.moves)

    def spots(self, distance: float) -> Spots:
        """Return every place of a spot so far from the last optic."""
        return Spots(self.apex, self.directions, distance, slack=self.loose)


def far_scatter(profile: beams.ScatterProfile, factor: float) -> float:
    """Return the distance beyond which a lit spot of a reflectance is below the limit [m]."""
    if profile.size:  # seen aslant it looks half as large, which only the cosine of Lambert makes up for
        bright = factor if profile.lambert else 2.0 * factor

        def ratio(place: beams.FLOAT) -> beams.FLOAT:
            return np.asarray(bright * profile.ratio(place))

        point = max(beams.AFAR * math.sqrt(float(ratio(np.array([beams.AFAR]))[0])), 2.0 * beams.NEAREST)
        before, behind = ratio(ends := point * np.array([1.0 - _HAIR, 1.0 + _HAIR])).tolist()
        if before > 1.0 >= behind:  # it only falls: it is as far as a point exceeds the limit
            return float(ends[1])
        return farthest_crossing(ratio, beams.NEAREST, FARTHEST)
    return math.sqrt(factor * profile.at_one)


def pose_of(aim: Aim, context: Context, mode: str, without: Container[str] = ()) -> Pose:
    """Return an aim as typed in SI units, with its margin; `Stage` says what it can be without."""
    apex = (*aim.position.pair, float(aim.height))
    if aim.towards is not None:
        end = (*aim.towards.pair, apex[2] if aim.towards_height is None else float(aim.towards_height))
        offset = (end[0] - apex[0], end[1] - apex[1], end[2] - apex[2])
        bearing, elevation = beams.angles(offset) if any(offset) else (0.0, 0.0)
    else:
        turn = aim.bearing_range
        middle = 0.0 if turn is None else (float(turn.low) + float(turn.high)) / 2.0
        bearing = middle if aim.bearing is None else float(aim.bearing)
        tilt = aim.elevation_range
        level = 0.0 if tilt is None else (float(tilt.low) + float(tilt.high)) / 2.0
        elevation = level if aim.elevation is None else float(aim.elevation)
    low_b, high_b = (bearing, bearing) if aim.bearing_range is None else aim.bearing_range.span
    low_e, high_e = (elevation, elevation) if aim.elevation_range is None else aim.elevation_range.span
    if aim.any_way:
        low_b, high_b = -math.pi, math.pi
        tilted = aim.elevation is not None or aim.elevation_range is not None
        low_e, high_e = (low_e, high_e) if tilted else (-math.pi / 2.0, math.pi / 2.0)
    # where it is said to point counts, whatever its ranges say
    stated = (low_b + high_b) / 2.0 + math.remainder(bearing - (low_b + high_b) / 2.0, 2.0 * math.pi)
    low_b, high_b = min(low_b, stated), max(high_b, stated)
    nominal = beams.Box(
        (low_b + high_b) / 2.0, min((high_b - low_b) / 2.0, math.pi), (min(low_e, elevation), max(high_e, elevation))
    )
    margin = (HAND_MARGIN if context.laser.handheld else 0.0) if aim.margin is None else float(aim.margin)
    field, aside = (0.0, 0.0) if "field" in without else scan_field(context.setup)
    away = (HAND_MOVES if context.laser.handheld else 0.0) if aim.moves is None else float(aim.moves)
    if (module := context.laser.module) is not None:  # its beams leave side by side, which way is not stated
        pitch = float(module.column_pitch), float(module.row_pitch or module.column_pitch)
        aside += math.hypot((module.columns - 1) * pitch[0], (module.rows - 1) * pitch[1]) / 2.0
    moves = (0.0 if "stays" in without else away + aside,) * 3
    directions = beams.about(nominal, margin + field)
    if "scan" in without and field:  # its line lies level
        low, high = nominal.elevation
        wide = math.atan2(math.sin(field), math.cos(field) * min(math.cos(low), math.cos(high)))
        ends = [math.asin(math.sin(one) * part) for one in (low, high) for part in (1.0, math.cos(field))]
        line = beams.Box(nominal.bearing, min(nominal.half_bearing + wide, math.pi), (min(ends), max(ends)))
        directions = beams.about(line, margin)
    return Pose(mode, apex, bearing, elevation, nominal, directions, margin, moves)


def scan_field(setup: Setup) -> tuple[float, float]:
    """Return how far off its middle a scan sends the beam, [rad], and how far beside it light can start [m].

    Which way the pattern lies is not stated, so that it counts on every side; behind a lens the beam of an angle leaves
    at that angle, or parallel and beside the axis.
    """
    scan = setup.scan
    if scan is None:
        return 0.0, 0.0
    fills = scan.pattern not in ("line", "circle")

    def half(pair: tuple[float, float]) -> float:
        return (math.hypot(*pair) if fills else max(pair)) / 2.0

    reference = float(setup.focal_length) if setup.kind == "lens" else 0.0
    angles = [half(one.pair) for one in (scan.full_angle, scan.largest_angle) if one is not None]
    aside = [reference * math.tan(min(angle, _STEEPEST)) for angle in angles]
    if scan.full_width is not None and scan.width_at is not None:
        wide, place = half(scan.full_width.pair), float(scan.width_at)
        aside += [wide, *(place * math.tan(min(angle, _STEEPEST)) for angle in angles)]
        angles.append(math.atan2(wide, place))
    apart = not scan.fans_out or scan.full_width is None
    return max(angles), max(aside) if apart else 0.0
