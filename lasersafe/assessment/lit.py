"""What the beam of a laser can meet: surfaces and targets with their places."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.context import FAR_INFRARED, Context
from lasersafe.assessment.pose import Pose
from lasersafe.frozen import dataclass
from lasersafe.optics.curved import TAKEN_AS_FLAT, reflect_shape
from lasersafe.optics.propagation import BeamGeometry
from lasersafe.scene.directions import Vector, unit
from lasersafe.scene.profile import NEAREST, BeamProfile, farthest_of
from lasersafe.scene.sources import Source
from lasersafe.scene.spots import Spots

if TYPE_CHECKING:
    from lasersafe.models import Scene

ROUND_UP = 1.001
UNSTEADY, NOT_EXACT = 0.5, 0.1  # of the distance of what has no place, by hand and else; common practice, no source
_TRIED = 33
UNLISTED = "an object that is not on the list"
NOT_LISTED = "not listed"  # as a shape: nobody fires at it, so that it counts as flat


@dataclass(frozen=True)
class Lit:
    """A surface that the beam can meet: where, how it returns light, and whether the place is known."""

    name: str
    position: Vector
    normal: Vector | None
    width: float
    reflectance: float
    mirror: bool
    shape: str
    placed: bool
    radius: float | None = None  # of curvature, None when not stated
    axes: str | None = None  # "sphere" or "cylinder", None when not stated
    along: float | None = None  # without a place: how far from the last optic along the aim

    @property
    def bends(self) -> tuple[str, ...]:
        """What its curvature may be besides flat; what has a stated shape is nothing else."""
        if self.shape == "unknown":
            return ("convex", "concave")
        return (self.shape,) if self.shape in ("convex", "concave") else ()

    @property
    def may_be_flat(self) -> bool:
        """Whether it has to be taken as flat, alone or besides its curvatures."""
        return self.shape not in ("convex", "concave")


def lit_surfaces(scene: Scene, context: Context, pose: Pose, work: float) -> tuple[Lit, ...]:
    """Return what the beam of a laser can meet, each with its place."""
    found: list[Lit] = []
    places = {p.name: p for p in scene.surface}
    targets = {t.name: t for t in scene.target if t.laser in (None, context.laser.name)}
    far = context.wavelength >= FAR_INFRARED
    for surface in context.surfaces:
        value = context.reflectance_of(surface)
        mirror = far or surface.finish != "matt" or value.mirror
        reflectance = 1.0 if mirror and far else value.value
        place = places.get(surface.name)
        shaped = place or targets.get(surface.name)
        shape = "unknown" if shaped is None else shaped.shape
        radius = None if shaped is None or shaped.radius is None else float(shaped.radius)
        axes = None if place is None else place.axes
        if place is None or place.position is None or place.height is None:
            along = float(surface.distance)
            found.append(
                Lit(surface.name, pose.on_aim(along), None, 0.0, reflectance, mirror, shape, False, radius, axes, along)
            )
            continue
        normal = None if place.normal is None else unit(float(place.normal), float(place.tilt))
        spot = (*place.position.pair, float(place.height))
        width = float(place.width)
        found.append(Lit(surface.name, spot, normal, width, reflectance, mirror, shape, True, radius, axes))
    for target in targets.values():
        if any(item.name == target.name for item in found):
            continue
        value = context.reflectance_of(target)
        mirror = far or target.finish != "matt" or value.mirror
        radius = None if target.radius is None else float(target.radius)
        returned = 1.0 if mirror and far else value.value
        if target.position is None:
            place_on_aim = pose.on_aim(work)
            found.append(
                Lit(target.name, place_on_aim, None, 0.0, returned, mirror, target.shape, False, radius, along=work)
            )
            continue
        spot = (*target.position.pair, float(target.height) if target.height is not None else pose.apex[2])
        found.append(Lit(target.name, spot, None, 0.1, returned, mirror, target.shape, True, radius))
    listed = context.case.settings.surfaces_complete and bool(found)
    if listed and not any(item.mirror for item in found):  # something always shines: what returns most, as if it did
        brightest = max(found, key=lambda item: item.reflectance)
        found = [replace(item, mirror=True) if item is brightest else item for item in found]
    if not listed and not any(i.mirror and i.may_be_flat and not i.placed and i.reflectance == 1.0 for i in found):
        where = pose.on_aim(work)
        found.append(Lit(UNLISTED, where, None, 0.0, 1.0, True, NOT_LISTED, False, along=work))
    return tuple(found)


@dataclass(frozen=True)
class Bent:
    """What a curved mirror makes of the beam: its distances start at the mirror, so far from the last optic. [m]."""

    beam: BeamGeometry
    words: str
    away: float


def bent_beams(context: Context, pose: Pose, item: Lit, spots: Spots, bend: str) -> tuple[Bent, ...]:
    """Return what a curved mirror makes of the beam at its distance, and at the worst one that it may have, and why.

    A little nearer or farther changes much next to a focus, so that the distance of what has no place is not taken at
    its word. Nothing is returned where a curvature of unknown radius only spreads the beam: flat stands for it.
    """
    if item.placed:
        middle, around = math.dist(spots.apex, pose.apex), spots.distance
    else:
        middle = item.along or 0.0
        around = middle * (UNSTEADY if context.laser.handheld else NOT_EXACT)
    near, far = max(middle - around, NEAREST), max(middle + around, NEAREST)
    places = np.linspace(near, far, _TRIED if far > near else 1).tolist()
    places += [waist for waist in context.beam.waist_position if near < waist < far]
    stated = item.shape == bend
    axes = (item.axes,) if stated and item.axes else ("sphere", "cylinder") if stated else ("sphere",)
    radius = item.radius if stated else None

    def farthest(distances: list[float]) -> Bent:
        found = (
            Bent(*reflect_shape(context.beam, away, f"{bend} {form}", context.wavelength, radius), away)
            for away in distances
            for form in axes
        )
        return min(found, key=lambda one: one.beam.divergence[0] * one.beam.divergence[1])

    found = dict.fromkeys([farthest([max(middle, NEAREST)]), farthest(places)])
    return tuple(one for one in found if stated or not one.words.endswith(TAKEN_AS_FLAT))


def curved_sources(context: Context, pose: Pose, item: Lit, spots: Spots, profile: BeamProfile) -> tuple[Source, ...]:
    """Return what a curved surface makes of the beam: anywhere in front of it, as far as its curvature lets it go."""
    found = []
    for bend in item.bends:
        for bent in bent_beams(context, pose, item, spots, bend):
            x, y = bent.beam.waist_position
            beam = replace(bent.beam, waist_position=(x + bent.away, y + bent.away))  # counted from the last optic
            found.append(
                Source(
                    "mirror",
                    spots.apex,
                    spots.directions,
                    BeamProfile(beam, profile.criteria),
                    farthest_of(profile.criteria, beam, item.reflectance) * ROUND_UP,
                    offset=bent.away,
                    factor=item.reflectance,
                    plane=None if item.normal is None else (item.position, item.normal),
                    surface=item.name,
                    note=bent.words,
                    spot=spots.distance,
                    patch=spots.solid,
                    bend=bend,
                )
            )
    return tuple(found)
