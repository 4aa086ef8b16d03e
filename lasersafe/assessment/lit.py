"""What the beam of a laser can meet: surfaces and targets with their places."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lasersafe.assessment.context import FAR_INFRARED, Context
from lasersafe.assessment.pose import Pose
from lasersafe.frozen import dataclass
from lasersafe.optics.curved import reflect_shape
from lasersafe.scene.directions import EVERYWHERE, Vector, unit
from lasersafe.scene.profile import BeamProfile, farthest_of
from lasersafe.scene.sources import Source

if TYPE_CHECKING:
    from lasersafe.models import Scene

ROUND_UP = 1.001
UNLISTED = "an object that is not on the list"


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
    offset_known: bool  # False: the head moves, so the way to it is not known
    radius: float | None = None  # of curvature, None when not stated
    axes: str = "cylinder"
    along: float | None = None  # without a place: how far from the last optic along the aim


def lit_surfaces(scene: Scene, context: Context, pose: Pose, work: float) -> tuple[Lit, ...]:
    """Return what the beam of a laser can meet, each with its place."""
    found: list[Lit] = []
    places = {p.name: p for p in scene.surface}
    far = context.wavelength >= FAR_INFRARED
    known = pose.fixed
    for surface in context.surfaces:
        value = context.reflectance_of(surface)
        mirror = far or surface.finish != "matt" or value.mirror
        reflectance = 1.0 if mirror and far else value.value
        place = places.get(surface.name)
        if place is None:
            where = pose.on_aim(float(surface.distance))
            found.append(
                Lit(surface.name, where, None, 0.0, reflectance, mirror, "unknown", False, known,
                    along=float(surface.distance))
            )  # fmt: skip
            continue
        normal = None if place.normal is None else unit(float(place.normal), float(place.tilt))
        spot = (*place.position.pair, float(place.height))
        width = float(place.width)
        found.append(
            Lit(
                surface.name,
                spot,
                normal,
                width,
                reflectance,
                mirror,
                place.shape,
                True,
                True,
                None if place.radius is None else float(place.radius),
                place.axes,
            )
        )
    for target in scene.target:
        if target.laser not in (None, context.laser.name) or any(item.name == target.name for item in found):
            continue
        mirror = far or target.finish != "matt"
        if target.position is None:
            found.append(
                Lit(target.name, pose.on_aim(work), None, 0.0, float(target.reflectance), mirror, target.shape,
                    False, known, None if target.radius is None else float(target.radius), along=work)
            )  # fmt: skip
            continue
        spot = (*target.position.pair, float(target.height) if target.height is not None else pose.apex[2])
        found.append(Lit(target.name, spot, None, 0.1, float(target.reflectance), mirror, target.shape, True, True))
    listed = context.case.settings.surfaces_complete and any(item.mirror for item in found)
    if not listed and not any(i.mirror and not i.placed and i.reflectance == 1.0 for i in found):
        where = pose.on_aim(work)
        found.append(Lit(UNLISTED, where, None, 0.0, 1.0, True, "unknown", False, known, along=work))
    return tuple(found)


def curved_source(context: Context, pose: Pose, item: Lit, profile: BeamProfile) -> Source:
    """Return what a curved surface makes of the beam: anywhere in front of it, as far as its curvature lets it go."""
    away = max(math.dist(item.position, pose.apex), 1e-3)
    shape = f"{item.shape} {item.axes}"
    beam, words = reflect_shape(context.beam, away, shape, context.wavelength, item.radius)
    bent = BeamProfile(beam, profile.criteria)
    reach = farthest_of(bent.criteria, beam, item.reflectance) * ROUND_UP
    return Source(
        "mirror",
        item.position,
        EVERYWHERE,
        bent,
        reach,
        factor=item.reflectance,
        plane=None if item.normal is None else (item.position, item.normal),
        surface=item.name,
        note=f"{words}; distances from this surface",
    )
