"""What a beam of a scene can meet: where surfaces stand and how they face, and what may be fired at."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek
from lasersafe.models.measured import Measured, OnPlan
from lasersafe.models.scene_barriers import HEIGHT
from lasersafe.models.site import RATIO, Thing
from lasersafe.models.values import SIValue, Spot
from lasersafe.physical import covered

POINT = OnPlan("m", "-100 km", "100 km", "2.5 m")
LENGTH = Measured("m", "1 mm", "100 km", "0.5 m")
BEARING = Measured("rad", "-360 deg", "360 deg", "90 deg")
ELEVATION = Measured("rad", "-90 deg", "90 deg", "-20 deg")
FACING = Measured("rad", "-360 deg", "720 deg", "30 deg +- 5 deg", worst="inside")
TILTED = Measured("rad", "-180 deg", "180 deg", "90 deg +- 2 deg", worst="inside")
MOST_OFF = math.radians(90.0)

Shape = Literal["flat", "convex", "concave", "unknown"]


class Target(Thing):
    """An object that may be put in front of the beam: ``[[scene.target]]``. What is not listed is not fired at.

    Attributes
    ----------
    shape
        'flat', 'convex', 'concave' or 'unknown'; unknown counts as flat and as the worst curvature.
    radius
        Radius of curvature of a convex or concave object, as '50 mm'.
    position
        Place on the plan. Left out: on the aim, at the work distance.
    height
        Height above the floor.
    cut_through
        false only when the beam cannot cut or burn through it.
    behind
        What stands behind it, as 'wooden door'.
    behind_distance
        From the target to what stands behind it, as '3 m'.
    behind_reflectance
        Share of the light that it throws back. Left out: 0.8, as of matt white paint (common practice, no source).
    stop
        Name of the barrier of this case that stops the beam behind the target. It must hold against the direct beam
        at its distance; otherwise the zone goes on.
    """

    shape: Shape = "unknown"
    radius: Annotated[SIValue | None, LENGTH] = None
    position: Annotated[Spot | None, POINT] = None
    height: Annotated[SIValue | None, HEIGHT] = None
    cut_through: Flag = True
    behind: Line = ""
    behind_distance: Annotated[SIValue | None, LENGTH] = None
    behind_reflectance: Annotated[SIValue | None, RATIO] = None
    stop: Line | None = None


class ScenePlace(CaseModel):
    """Where a surface of the case stands: ``[[scene.surface]]``.

    Attributes
    ----------
    name
        Name of a [[surface]] of this case.
    position
        Its middle on the plan. Left out: on the aim, at the distance of the surface.
    height
        Height of its middle above the floor; needed with a position.
    normal
        Bearing of its normal, clockwise from the y axis of the plan; of what is set by hand with its tolerance, as '30
        deg +- 5 deg'. Left out: not known, so that it can reflect anywhere.
    tilt
        Elevation of its normal, with its tolerance as well; 90 deg faces upwards.
    fixed
        true when nothing can knock it out of its place or turn it; in a fault everything else faces anywhere.
    width
        Its largest extent, as '0.5 m'; a disc of this diameter counts.
    shape
        'flat', 'convex', 'concave' or 'unknown'; unknown counts as flat and as the worst curvature.
    radius
        Radius of curvature, as '50 mm'.
    axes
        Curved in both directions, 'sphere', or in one, 'cylinder'; left out: what sends light farther.
    """

    name: Line
    position: Annotated[Spot | None, POINT] = None
    height: Annotated[SIValue | None, HEIGHT] = None
    normal: Annotated[SIValue | None, FACING] = None
    tilt: Annotated[SIValue, TILTED] = SIValue(0.0, "0 deg", "rad")
    fixed: Flag = False
    width: Annotated[SIValue, LENGTH] = SIValue(1.0, "1 m", "m")
    shape: Shape = "unknown"
    radius: Annotated[SIValue | None, LENGTH] = None
    axes: Literal["sphere", "cylinder"] | None = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse half a place, and a side to face without one."""
        placed = peek.value("position") is not None
        if placed and peek.value("height") is None:
            yield "height", "missing: write the height of its middle, as '1.2 m', beside the position"
        for field in ("height", "normal"):
            if not placed and (value := peek.value(field)) is not None:
                yield field, f"{value.typed} stands without a position; write one, or leave this out"
        for field in ("normal", "tilt"):
            value = peek.value(field)
            if value is None:
                continue
            if _off(field, value) > MOST_OFF:
                yield field, f"{value.typed}: off by more than 90 deg it faces anywhere; leave normal and tilt out"
            elif field == "tilt" and not -MOST_OFF <= value <= MOST_OFF:
                yield field, f"{value.typed}: must be -90 deg or more, and at most 90 deg"

    @property
    def normal_tolerance(self) -> float:
        """How far its normal can be off to any side; 0 where it is not known at all. [rad]."""
        return 0.0 if self.normal is None else _off("normal", self.normal) + _off("tilt", self.tilt)


def _off(field: str, value: SIValue) -> float:
    """Return how far a value can be off to either side, in its unit."""
    off = value.tolerance
    if off is None:
        return 0.0
    low, high = (off.low, off.high) if off.kind == "bound" else covered(field, float(value), off.low, off.high)
    return max(high - float(value), float(value) - low)
