"""Where everything stands: the table ``[scene]``. All of it is optional; a case without it has distances only."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, Text, doubles
from lasersafe.models.measured import AreaOnPlan, Measured, OnPlan, Turnable
from lasersafe.models.scene_barriers import FLOOR, HEIGHT, SceneBarrier
from lasersafe.models.site import RATING, RATIO, material_findings
from lasersafe.models.values import Knob, Path, SIValue, Spot

POINT = OnPlan("m", "-100 km", "100 km", "2.5 m")
AREA = AreaOnPlan("m", "-100 km", "100 km", "2.5 m")
LENGTH = Measured("m", "1 mm", "100 km", "0.5 m")
BEARING = Measured("rad", "-360 deg", "360 deg", "90 deg")
BEARINGS = Turnable("rad", "-360 deg", "720 deg", "90 deg")
ELEVATION = Measured("rad", "-90 deg", "90 deg", "-20 deg")
ELEVATIONS = Turnable("rad", "-90 deg", "90 deg", "-20 deg")
MARGIN = Measured("rad", "0 deg", "90 deg", "5 deg")
F_NUMBER = Measured("1", "0.3", "1000", "4")

Mode = Literal["running", "alignment", "service", "fault"]
Shape = Literal["flat", "convex", "concave", "unknown"]
_BEARING = "clockwise from the y axis of the plan"


class Aim(CaseModel):
    """Where a laser stands and where it can point: ``[[scene.aim]]``.

    Attributes
    ----------
    laser
        Name of the laser.
    setup
        Name of the set-up. Left out: every one of this laser.
    mode
        'running', 'alignment', 'service' or 'fault'. Left out: the first three; in a fault the head then points
        anywhere.
    position
        Place of the last optic on the floor plan.
    height
        Height of the last optic above the floor, as '1.1 m'.
    bearing
        Direction of the aim, clockwise from the y axis of the plan, as '90 deg'. This or towards is needed.
    elevation
        Angle of the aim above the horizontal, as '-20 deg'; left out with bearing: 0.
    towards
        Point that the laser aims at, instead of bearing and elevation.
    towards_height
        Height of that point; left out: the height of the last optic.
    bearing_range
        First and last bearing that the head can reach, clockwise, as ['45 deg', '135 deg'], clockwise from the y
        axis of the plan; ['0 deg', '360 deg'] is all round. Left out: the bearing of the aim only.
    elevation_range
        Lowest and highest elevation, as ['-60 deg', '10 deg']. Left out: that of the aim.
    margin
        Margin on every side for an unsteady hand or a loose mount, as '10 deg'. Left out: 10 deg for a hand-held
        laser (common practice, no source), none for others.
    """

    how_to_get: ClassVar[dict[str, str]] = {
        "position": "where the last optic is on the floor plan, as ['2.5 m', '4 m']",
        "height": "of the last optic above the floor, as '1.1 m'",
    }

    laser: Line
    setup: Line | None = None
    mode: Mode | None = None
    position: Annotated[Spot, POINT]
    height: Annotated[SIValue, HEIGHT]
    bearing: Annotated[SIValue | None, BEARING] = None
    elevation: Annotated[SIValue | None, ELEVATION] = None
    towards: Annotated[Spot | None, POINT] = None
    towards_height: Annotated[SIValue | None, HEIGHT] = None
    bearing_range: Annotated[Knob | None, BEARINGS] = None
    elevation_range: Annotated[Knob | None, ELEVATIONS] = None
    margin: Annotated[SIValue | None, MARGIN] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for one way to say where it points."""
        if not any(name in peek for name in ("bearing", "towards", "bearing_range")):
            yield "bearing", "missing; write bearing, as '90 deg', or towards, as ['4 m', '2 m']"
        if "towards" in peek and "bearing" in peek:
            yield "towards", "the aim is given twice, by bearing and by towards; leave one out"
        if "towards" in peek and "elevation" in peek:
            yield "elevation", "the aim is given twice, by elevation and by towards; leave one out"
        turn = peek.value("bearing_range")
        if turn is not None and not float(turn.high) - float(turn.low) <= 6.283185307179587 + 1e-9:
            yield "bearing_range", "more than a full turn; ['0 deg', '360 deg'] is all round"


class Target(CaseModel):
    """An object that may be put in front of the beam: ``[[scene.target]]``. What is not listed is not fired at.

    Attributes
    ----------
    name
        Name of the object.
    laser
        Name of the laser that may fire at it. Left out: every one.
    material
        What it is made of.
    finish
        'mirror', 'matt' or 'unknown'; unknown is treated as a mirror.
    shape
        'flat', 'convex', 'concave' or 'unknown'; unknown counts as flat and as the worst curvature.
    radius
        Radius of curvature of a convex or concave object, as '50 mm'.
    reflectance
        Share of the power that comes back. Left out: 1.
    reflectance_source
        Where the reflectance was taken from; printed beside it.
    material_key
        Material of the data files, as 'copper'; written instead of reflectance.
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
    stop
        Name of the barrier of this case that stops the beam behind the target. It must hold against the direct beam
        at its distance; otherwise the zone goes on.
    """

    name: Line
    laser: Line | None = None
    material: Line
    finish: Literal["mirror", "matt", "unknown"] = "unknown"
    shape: Shape = "unknown"
    radius: Annotated[SIValue | None, LENGTH] = None
    reflectance: Annotated[SIValue, RATIO] = SIValue(1.0, "1", "1")
    reflectance_source: Line = ""
    material_key: Line | None = None
    position: Annotated[Spot | None, POINT] = None
    height: Annotated[SIValue | None, HEIGHT] = None
    cut_through: Flag = True
    behind: Line = ""
    behind_distance: Annotated[SIValue | None, LENGTH] = None
    stop: Line | None = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse an unknown material, and a material beside a typed reflectance."""
        yield from material_findings(peek)


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
        Bearing of its normal, clockwise from the y axis of the plan. Left out: not known, so that it can reflect
        anywhere.
    tilt
        Elevation of its normal; 90 deg faces upwards.
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
    normal: Annotated[SIValue | None, BEARING] = None
    tilt: Annotated[SIValue, ELEVATION] = SIValue(0.0, "0 deg", "rad")
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


class ScenePerson(CaseModel):
    """Where a person of the case is: ``[[scene.person]]``.

    Attributes
    ----------
    name
        Name of a [[person]] of this case.
    position
        Place on the plan.
    area
        Area that the person may move in, by its corners; instead of position.
    stature
        Whose eyes: 'anybody' (from 1.0 m, a child or somebody who bends, to 1.8 m), 'standing adult' (1.6 m),
        'seated' (1.2 m) or 'child' (1.0 m); common practice, no source.
    eye_height
        Height of the eyes above the place where the person stands, instead of stature.
    floor
        Height of the place where the person stands, as '3 m' on a balcony.
    """

    name: Line
    position: Annotated[Spot | None, POINT] = None
    area: Annotated[Path | None, AREA] = None
    stature: Literal["anybody", "standing adult", "seated", "child"] = "anybody"
    eye_height: Annotated[SIValue | None, HEIGHT] = None
    floor: Annotated[SIValue, HEIGHT] = FLOOR

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for a place."""
        if ("position" in peek) == ("area" in peek):
            yield "position", "write position, as ['4 m', '2 m'], or area with its corners, one of them"


class Camera(CaseModel):
    """A camera: ``[[scene.camera]]``. There is no limit for sensors; what is said of them is advice.

    Attributes
    ----------
    name
        Name of the camera.
    position
        Place on the plan.
    height
        Height of its lens above the floor.
    bearing
        Where it looks, clockwise from the y axis of the plan.
    elevation
        Where it looks, above the horizontal.
    focal_length
        Of its lens, as '85 mm'.
    f_number
        Smallest f-number used, as 2.8.
    filter_transmission
        Of a filter in front, at the wavelength of the laser.
    pixel
        Width of a pixel, as '4 um'.
    exposure_time
        Longest exposure of one frame, as '20 ms'.
    setup_note
        Remark on masks and filters.
    """

    name: Line
    position: Annotated[Spot, POINT]
    height: Annotated[SIValue, HEIGHT]
    bearing: Annotated[SIValue | None, BEARING] = None
    elevation: Annotated[SIValue, ELEVATION] = SIValue(0.0, "0 deg", "rad")
    focal_length: Annotated[SIValue | None, LENGTH] = None
    f_number: Annotated[SIValue | None, F_NUMBER] = None
    filter_transmission: Annotated[SIValue, RATIO] = SIValue(1.0, "1", "1")
    pixel: Annotated[SIValue | None, Measured("m", "100 nm", "1 mm", "4 um")] = None
    exposure_time: Annotated[SIValue | None, Measured("s", "1 us", "30000 s", "20 ms")] = None
    setup_note: Line = ""


class FloorPart(CaseModel):
    """Something that is drawn on the floor: ``[[scene.floor]]``.

    Attributes
    ----------
    name
        Name, as 'stage'.
    kind
        'stage', 'riser', 'balcony' or 'furniture'; it stops no light.
    outline
        Its corners on the plan.
    height
        Height of its top above the floor.
    """

    name: Line
    kind: Literal["stage", "riser", "balcony", "furniture"]
    outline: Annotated[Path, AREA]
    height: Annotated[SIValue, HEIGHT] = FLOOR


class Outdoor(CaseModel):
    """What is different outdoors: ``[scene.outdoor]``.

    Attributes
    ----------
    visibility
        Meteorological visibility, as '10 km'; left out: no loss in the air is counted.
    behind
        What stands behind the scene: 'terrain', 'sky', 'water' or 'unknown'.
    wet
        false only when the ground is surely dry: puddles are mirrors.
    """

    visibility: Annotated[SIValue | None, Measured("m", "10 m", "1000 km", "10 km")] = None
    behind: Literal["terrain", "sky", "water", "unknown"] = "unknown"
    wet: Flag = True


class Scene(CaseModel):
    """Where everything stands: ``[scene]``; x to the right and y upwards on the plan, z above the floor.

    Attributes
    ----------
    north
        Bearing of north, clockwise from the y axis of the plan.
    stage_bearing
        Direction from the audience to the stage, clockwise from the y axis of the plan.
    outline
        Corners of the room or the ground.
    ignition_threshold
        Irradiance from which what stands behind the target may catch fire, as '0.5 W/cm2'. Left out: the screening
        value of 0.5 W/cm2 (NFPA 115, from memory).
    ignition_source
        Where that threshold was taken from.
    right_setup_control
        What makes sure that the right set-up is fitted, in a sentence; printed with the plan.
    aim
        Where each laser stands and points, one [[scene.aim]] each.
    target
        The target list, one [[scene.target]] each.
    surface
        Where surfaces stand, one [[scene.surface]] each.
    barrier
        Where barriers and walls stand, one [[scene.barrier]] each.
    person
        Where people are, one [[scene.person]] each.
    camera
        The cameras, one [[scene.camera]] each.
    floor
        What is drawn on the floor, one [[scene.floor]] each.
    outdoor
        Only outdoors: [scene.outdoor].
    note
        Remark on the scene, printed with the plan.
    """

    how_to_get: ClassVar[dict[str, str]] = {"aim": "write a table [[scene.aim]] for each laser"}

    north: Annotated[SIValue | None, BEARING] = None
    stage_bearing: Annotated[SIValue | None, BEARING] = None
    outline: Annotated[Path | None, AREA] = None
    ignition_threshold: Annotated[SIValue | None, RATING] = None
    ignition_source: Line = ""
    right_setup_control: Line = ""
    aim: Annotated[tuple[Aim, ...], Field(min_length=1, max_length=40)]
    target: Annotated[tuple[Target, ...], Field(max_length=40)] = ()
    surface: Annotated[tuple[ScenePlace, ...], Field(max_length=60)] = ()
    barrier: Annotated[tuple[SceneBarrier, ...], Field(max_length=60)] = ()
    person: Annotated[tuple[ScenePerson, ...], Field(max_length=60)] = ()
    camera: Annotated[tuple[Camera, ...], Field(max_length=20)] = ()
    floor: Annotated[tuple[FloorPart, ...], Field(max_length=40)] = ()
    outdoor: Outdoor | None = None
    note: Text = ""

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse double names."""
        for field in ("target", "surface", "barrier", "person", "camera", "floor"):
            yield from doubles(field, peek.tables(field))
