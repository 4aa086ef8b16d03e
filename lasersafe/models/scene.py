"""Where everything stands: the table ``[scene]``. All of it is optional; a case without it has distances only."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Flag, Line, Peek, Text
from lasersafe.models.messages import Finding, doubles
from lasersafe.models.places import AreaOnPlan, OnPlan, Path, PathOnPlan, Spot
from lasersafe.models.site import PULSE_RATING, RATED_TIME, RATING, RATIO, material_findings
from lasersafe.models.values import Knob, Measured, SIValue, Turnable

POINT = OnPlan("m", "-100 km", "100 km", "2.5 m")
PATH = PathOnPlan("m", "-100 km", "100 km", "2.5 m")
AREA = AreaOnPlan("m", "-100 km", "100 km", "2.5 m")
HEIGHT = Measured("m", "-100 m", "10 km", "1.2 m")
LENGTH = Measured("m", "1 mm", "100 km", "0.5 m")
ALONG = Measured("m", "0 m", "100 km", "1 m")
BEARING = Measured("rad", "-360 deg", "360 deg", "90 deg")
BEARINGS = Turnable("rad", "-360 deg", "720 deg", "90 deg")
ELEVATION = Measured("rad", "-90 deg", "90 deg", "-20 deg")
ELEVATIONS = Turnable("rad", "-90 deg", "90 deg", "-20 deg")
MARGIN = Measured("rad", "0 deg", "90 deg", "5 deg")
DENSITY = Measured("1", "0", "20", "6")
F_NUMBER = Measured("1", "0.3", "1000", "4")

Mode = Literal["running", "alignment", "service", "fault"]
Shape = Literal["flat", "convex", "concave", "unknown"]
FLOOR = SIValue(0.0, "0 m", "m")
HIGH = SIValue(100.0, "100 m", "m")
_BEARING = "clockwise from the y axis of the plan"


class Aim(CaseModel):
    """Where a laser stands and where it can point: ``[[scene.aim]]``."""

    how_to_get: ClassVar[dict[str, str]] = {
        "position": "where the last optic is on the floor plan, as ['2.5 m', '4 m']",
        "height": "of the last optic above the floor, as '1.1 m'",
    }

    laser: Line = Field(description="Name of the laser.")
    setup: Line | None = Field(default=None, description="Name of the set-up. Left out: every one of this laser.")
    mode: Mode | None = Field(
        default=None,
        description="'running', 'alignment', 'service' or 'fault'. Left out: the first three; in a fault the head then "
        "points anywhere.",
    )
    position: Annotated[Spot, POINT] = Field(description="Place of the last optic on the floor plan.")
    height: Annotated[SIValue, HEIGHT] = Field(description="Height of the last optic above the floor, as '1.1 m'.")
    bearing: Annotated[SIValue | None, BEARING] = Field(
        default=None, description=f"Direction of the aim, {_BEARING}, as '90 deg'. This or towards is needed."
    )
    elevation: Annotated[SIValue | None, ELEVATION] = Field(
        default=None, description="Angle of the aim above the horizontal, as '-20 deg'; left out with bearing: 0."
    )
    towards: Annotated[Spot | None, POINT] = Field(
        default=None, description="Point that the laser aims at, instead of bearing and elevation."
    )
    towards_height: Annotated[SIValue | None, HEIGHT] = Field(
        default=None, description="Height of that point; left out: the height of the last optic."
    )
    bearing_range: Annotated[Knob | None, BEARINGS] = Field(
        default=None,
        description=f"First and last bearing that the head can reach, clockwise, as ['45 deg', '135 deg'], {_BEARING}; "
        "['0 deg', '360 deg'] is all round. Left out: the bearing of the aim only.",
    )
    elevation_range: Annotated[Knob | None, ELEVATIONS] = Field(
        default=None, description="Lowest and highest elevation, as ['-60 deg', '10 deg']. Left out: that of the aim."
    )
    margin: Annotated[SIValue | None, MARGIN] = Field(
        default=None,
        description="Margin on every side for an unsteady hand or a loose mount, as '10 deg'. Left out: 10 deg for a "
        "hand-held laser (common practice, no source), none for others.",
    )

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for one way to say where it points."""
        found: list[Finding] = []
        given = [name for name in ("bearing", "towards", "bearing_range") if name in peek.data]
        if not given:
            found.append((("bearing",), "missing; write bearing, as '90 deg', or towards, as ['4 m', '2 m']"))
        if "towards" in peek.data and "bearing" in peek.data:
            found.append((("towards",), "the aim is given twice, by bearing and by towards; leave one out"))
        if "towards" in peek.data and "elevation" in peek.data:
            found.append((("elevation",), "the aim is given twice, by elevation and by towards; leave one out"))
        turn = peek.value("bearing_range")
        if turn is not None and not float(turn.high) - float(turn.low) <= 6.283185307179587 + 1e-9:
            found.append((("bearing_range",), "more than a full turn; ['0 deg', '360 deg'] is all round"))
        return found


class Target(CaseModel):
    """An object that may be put in front of the beam: ``[[scene.target]]``. What is not listed is not fired at."""

    name: Line = Field(description="Name of the object.")
    laser: Line | None = Field(default=None, description="Name of the laser that may fire at it. Left out: every one.")
    material: Line = Field(description="What it is made of.")
    finish: Literal["mirror", "matt", "unknown"] = Field(
        default="unknown", description="'mirror', 'matt' or 'unknown'; unknown is treated as a mirror."
    )
    shape: Shape = Field(
        default="unknown",
        description="'flat', 'convex', 'concave' or 'unknown'; unknown counts as flat and as the worst curvature.",
    )
    radius: Annotated[SIValue | None, LENGTH] = Field(
        default=None, description="Radius of curvature of a convex or concave object, as '50 mm'."
    )
    reflectance: Annotated[SIValue, RATIO] = Field(
        default=SIValue(1.0, "1", "1"), description="Share of the power that comes back. Left out: 1."
    )
    reflectance_source: Line = Field(default="", description="Where the reflectance was taken from; printed beside it.")
    material_key: Line | None = Field(
        default=None, description="Material of the data files, as 'copper'; written instead of reflectance."
    )
    position: Annotated[Spot | None, POINT] = Field(
        default=None, description="Place on the plan. Left out: on the aim, at the work distance."
    )
    height: Annotated[SIValue | None, HEIGHT] = Field(default=None, description="Height above the floor.")
    cut_through: Flag = Field(default=True, description="false only when the beam cannot cut or burn through it.")
    behind: Line = Field(default="", description="What stands behind it, as 'wooden door'.")
    behind_distance: Annotated[SIValue | None, LENGTH] = Field(
        default=None, description="From the target to what stands behind it, as '3 m'."
    )
    stop: Line | None = Field(
        default=None,
        description="Name of the barrier of this case that stops the beam behind the target. It must hold against the "
        "direct beam at its distance; otherwise the zone goes on.",
    )

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse an unknown material, and a material beside a typed reflectance."""
        return material_findings(peek)


class ScenePlace(CaseModel):
    """Where a surface of the case stands: ``[[scene.surface]]``."""

    name: Line = Field(description="Name of a [[surface]] of this case.")
    position: Annotated[Spot | None, POINT] = Field(
        default=None, description="Its middle on the plan. Left out: on the aim, at the distance of the surface."
    )
    height: Annotated[SIValue | None, HEIGHT] = Field(
        default=None, description="Height of its middle above the floor; needed with a position."
    )
    normal: Annotated[SIValue | None, BEARING] = Field(
        default=None,
        description=f"Bearing of its normal, {_BEARING}. Left out: not known, so that it can reflect anywhere.",
    )
    tilt: Annotated[SIValue, ELEVATION] = Field(
        default=SIValue(0.0, "0 deg", "rad"), description="Elevation of its normal; 90 deg faces upwards."
    )
    width: Annotated[SIValue, LENGTH] = Field(
        default=SIValue(1.0, "1 m", "m"), description="Its largest extent, as '0.5 m'; a disc of this diameter counts."
    )
    shape: Shape = Field(
        default="unknown",
        description="'flat', 'convex', 'concave' or 'unknown'; unknown counts as flat and as the worst curvature.",
    )
    radius: Annotated[SIValue | None, LENGTH] = Field(default=None, description="Radius of curvature, as '50 mm'.")
    axes: Literal["sphere", "cylinder"] | None = Field(
        default=None,
        description="Curved in both directions, 'sphere', or in one, 'cylinder'; left out: what sends light farther.",
    )

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse half a place, and a side to face without one."""
        found: list[Finding] = []
        placed = peek.value("position") is not None
        if placed and peek.value("height") is None:
            found.append((("height",), "missing: write the height of its middle, as '1.2 m', beside the position"))
        for field in ("height", "normal"):
            if not placed and (value := peek.value(field)) is not None:
                found.append(((field,), f"{value.typed} stands without a position; write one, or leave this out"))
        return found


class SceneOpening(CaseModel):
    """A gap in a barrier or wall: ``[[scene.barrier.opening]]``."""

    name: Line = Field(default="gap", description="Name, as 'hall door'.")
    kind: Literal["door", "window", "gap"] = Field(default="gap", description="'door', 'window' or 'gap'.")
    start: Annotated[SIValue, ALONG] = Field(description="Where it begins, along the line from its first corner.")
    end: Annotated[SIValue, ALONG] = Field(description="Where it ends, along the line from its first corner.")
    bottom: Annotated[SIValue, HEIGHT] = Field(default=FLOOR, description="Lower edge above the floor.")
    top: Annotated[SIValue, HEIGHT] = Field(default=HIGH, description="Upper edge above the floor.")
    open: Flag = Field(
        default=True,
        description="false only when it is shut while the laser is on, as by a door switch, and as strong as the rest; "
        "a window counts as open unless its density and its rating hold.",
    )
    optical_density: Annotated[SIValue | None, DENSITY] = Field(
        default=None,
        description="Of a view window: its lowest optical density at the wavelengths of the lasers that can reach it. "
        "Left out: plain glass, light passes.",
    )
    rating: Annotated[SIValue | None, RATING] = Field(
        default=None, description="Of a view window: power density that it withstands. Left out: it does not hold."
    )
    rated_time: Annotated[SIValue | None, RATED_TIME] = Field(
        default=None, description="Of a view window: for how long it withstands the rating."
    )
    pulse_rating: Annotated[SIValue | None, PULSE_RATING] = Field(
        default=None,
        description="Of a view window: radiant exposure of one pulse that it withstands. Left out: it does not hold "
        "against pulses.",
    )

    reflectance: Annotated[SIValue | None, RATIO] = Field(
        default=None,
        description="Of a window: share of the light that its glass throws back at the angle of the beam. Left out: 1, "
        "as of coated glass or at a glancing angle.",
    )

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse an opening that ends before it begins."""
        start, end = peek.value("start"), peek.value("end")
        found: list[Finding] = []
        if start is not None and end is not None and not start < end:
            found.append((("end",), f"{end.typed} is not beyond the start at {start.typed}; write a larger one"))
        if "rating" in peek.data and "rated_time" not in peek.data:
            found.append((("rated_time",), "missing; a rating holds for a time only, write it as '60 s'"))
        for field in ("optical_density", "rating", "rated_time", "pulse_rating", "reflectance"):
            if field in peek.data and peek.data.get("kind", "gap") != "window":
                found.append(((field,), "only a window has it; write kind = 'window', or leave it out"))
        return found + _upright(peek)


def _upright(peek: Peek) -> list[Finding]:
    low, high = peek.value("bottom"), peek.value("top")
    if low is not None and high is not None and not low < high:
        if "top" not in peek.data:
            return [(("bottom",), f"{low.typed} is not below {high.typed}, the upper edge left out; write a lower one")]
        return [(("top",), f"{high.typed} is not above the lower edge at {low.typed}; write a higher one")]
    return []


class SceneBarrier(CaseModel):
    """Where a barrier or wall stands: ``[[scene.barrier]]``."""

    name: Line = Field(
        description="Name of a [[barrier]] of this case, or of a wall; a wall holds only with a rating of its own."
    )
    kind: Literal["barrier", "wall", "terrain"] = Field(
        default="barrier", description="'barrier', 'wall' or 'terrain'."
    )
    line: Annotated[Path, PATH] = Field(description="Its corners on the plan, at least two.")
    bottom: Annotated[SIValue, HEIGHT] = Field(default=FLOOR, description="Lower edge above the floor.")
    top: Annotated[SIValue, HEIGHT] = Field(description="Upper edge above the floor, as '2.2 m'.")
    rating: Annotated[SIValue | None, RATING] = Field(
        default=None, description="For a wall: power density that it withstands. Left out: not rated."
    )
    rated_time: Annotated[SIValue | None, RATED_TIME] = Field(
        default=None, description="For a wall: for how long it withstands the rating."
    )
    opening: Annotated[tuple[SceneOpening, ...], Field(max_length=20)] = Field(
        default=(), description="Its doors, windows and gaps, one [[scene.barrier.opening]] each."
    )

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse an upper edge below the lower one, and a rating without a time."""
        found = _upright(peek)
        if "rating" in peek.data and "rated_time" not in peek.data:
            found.append((("rated_time",), "missing; a rating holds for a time only, write it as '60 s'"))
        return found


class ScenePerson(CaseModel):
    """Where a person of the case is: ``[[scene.person]]``."""

    name: Line = Field(description="Name of a [[person]] of this case.")
    position: Annotated[Spot | None, POINT] = Field(default=None, description="Place on the plan.")
    area: Annotated[Path | None, AREA] = Field(
        default=None, description="Area that the person may move in, by its corners; instead of position."
    )
    stature: Literal["anybody", "standing adult", "seated", "child"] = Field(
        default="anybody",
        description="Whose eyes: 'anybody' (from 1.0 m, a child or somebody who bends, to 1.8 m), 'standing adult' "
        "(1.6 m), 'seated' (1.2 m) or 'child' (1.0 m); common practice, no source.",
    )
    eye_height: Annotated[SIValue | None, HEIGHT] = Field(
        default=None, description="Height of the eyes above the place where the person stands, instead of stature."
    )
    floor: Annotated[SIValue, HEIGHT] = Field(
        default=FLOOR, description="Height of the place where the person stands, as '3 m' on a balcony."
    )

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Ask for a place."""
        given = [name for name in ("position", "area") if name in peek.data]
        if len(given) == 1:
            return []
        return [(("position",), "write position, as ['4 m', '2 m'], or area with its corners, one of them")]


class Camera(CaseModel):
    """A camera: ``[[scene.camera]]``. There is no limit for sensors; what is said of them is advice."""

    name: Line = Field(description="Name of the camera.")
    position: Annotated[Spot, POINT] = Field(description="Place on the plan.")
    height: Annotated[SIValue, HEIGHT] = Field(description="Height of its lens above the floor.")
    bearing: Annotated[SIValue | None, BEARING] = Field(default=None, description=f"Where it looks, {_BEARING}.")
    elevation: Annotated[SIValue, ELEVATION] = Field(
        default=SIValue(0.0, "0 deg", "rad"), description="Where it looks, above the horizontal."
    )
    focal_length: Annotated[SIValue | None, LENGTH] = Field(default=None, description="Of its lens, as '85 mm'.")
    f_number: Annotated[SIValue | None, F_NUMBER] = Field(default=None, description="Smallest f-number used, as 2.8.")
    filter_transmission: Annotated[SIValue, RATIO] = Field(
        default=SIValue(1.0, "1", "1"), description="Of a filter in front, at the wavelength of the laser."
    )
    pixel: Annotated[SIValue | None, Measured("m", "100 nm", "1 mm", "4 um")] = Field(
        default=None, description="Width of a pixel, as '4 um'."
    )
    exposure_time: Annotated[SIValue | None, Measured("s", "1 us", "30000 s", "20 ms")] = Field(
        default=None, description="Longest exposure of one frame, as '20 ms'."
    )
    setup_note: Line = Field(default="", description="Remark on masks and filters.")


class FloorPart(CaseModel):
    """Something that is drawn on the floor: ``[[scene.floor]]``."""

    name: Line = Field(description="Name, as 'stage'.")
    kind: Literal["stage", "riser", "balcony", "furniture"] = Field(
        description="'stage', 'riser', 'balcony' or 'furniture'; it stops no light."
    )
    outline: Annotated[Path, AREA] = Field(description="Its corners on the plan.")
    height: Annotated[SIValue, HEIGHT] = Field(default=FLOOR, description="Height of its top above the floor.")


class Outdoor(CaseModel):
    """What is different outdoors: ``[scene.outdoor]``."""

    visibility: Annotated[SIValue | None, Measured("m", "10 m", "1000 km", "10 km")] = Field(
        default=None, description="Meteorological visibility, as '10 km'; left out: no loss in the air is counted."
    )
    behind: Literal["terrain", "sky", "water", "unknown"] = Field(
        default="unknown", description="What stands behind the scene: 'terrain', 'sky', 'water' or 'unknown'."
    )
    wet: Flag = Field(default=True, description="false only when the ground is surely dry: puddles are mirrors.")


class Scene(CaseModel):
    """Where everything stands: ``[scene]``; x to the right and y upwards on the plan, z above the floor."""

    how_to_get: ClassVar[dict[str, str]] = {"aim": "write a table [[scene.aim]] for each laser"}

    north: Annotated[SIValue | None, BEARING] = Field(default=None, description=f"Bearing of north, {_BEARING}.")
    stage_bearing: Annotated[SIValue | None, BEARING] = Field(
        default=None, description=f"Direction from the audience to the stage, {_BEARING}."
    )
    outline: Annotated[Path | None, AREA] = Field(default=None, description="Corners of the room or the ground.")
    ignition_threshold: Annotated[SIValue | None, RATING] = Field(
        default=None,
        description="Irradiance from which what stands behind the target may catch fire, as '0.5 W/cm2'. Left out: the "
        "screening value of 0.5 W/cm2 (NFPA 115, from memory).",
    )
    ignition_source: Line = Field(default="", description="Where that threshold was taken from.")
    right_setup_control: Line = Field(
        default="", description="What makes sure that the right set-up is fitted, in a sentence; printed with the plan."
    )
    aim: Annotated[tuple[Aim, ...], Field(min_length=1, max_length=40)] = Field(
        description="Where each laser stands and points, one [[scene.aim]] each."
    )
    target: Annotated[tuple[Target, ...], Field(max_length=40)] = Field(
        default=(), description="The target list, one [[scene.target]] each."
    )
    surface: Annotated[tuple[ScenePlace, ...], Field(max_length=60)] = Field(
        default=(), description="Where surfaces stand, one [[scene.surface]] each."
    )
    barrier: Annotated[tuple[SceneBarrier, ...], Field(max_length=60)] = Field(
        default=(), description="Where barriers and walls stand, one [[scene.barrier]] each."
    )
    person: Annotated[tuple[ScenePerson, ...], Field(max_length=60)] = Field(
        default=(), description="Where people are, one [[scene.person]] each."
    )
    camera: Annotated[tuple[Camera, ...], Field(max_length=20)] = Field(
        default=(), description="The cameras, one [[scene.camera]] each."
    )
    floor: Annotated[tuple[FloorPart, ...], Field(max_length=40)] = Field(
        default=(), description="What is drawn on the floor, one [[scene.floor]] each."
    )
    outdoor: Outdoor | None = Field(default=None, description="Only outdoors: [scene.outdoor].")
    note: Text = Field(default="", description="Remark on the scene, printed with the plan.")

    @classmethod
    def findings(cls, peek: Peek) -> list[Finding]:
        """Refuse double names."""
        found: list[Finding] = []
        for field in ("target", "surface", "barrier", "person", "camera", "floor"):
            found += doubles(field, peek.tables(field))
        return found
