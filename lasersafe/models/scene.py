"""Where everything stands: room, beams, people, barriers with openings, surfaces, targets, cameras."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, Text, doubles, needs, wrong
from lasersafe.models.site import PULSE_RATING, RATED_TIME, RATING, RATIO, Thing
from lasersafe.models.values import AreaOnPlan, Knob, Measured, OnPlan, Path, PathOnPlan, SIValue, Spot, Turnable
from lasersafe.quantity import shown

STATURES = {"standing adult": 1.6, "seated": 1.2, "child": 1.0, "anybody": 1.6}  # m; common practice, no source
ANYBODY = (1.0, 1.8)  # m
SLACK = 0.1  # m, above and below a stated height of the eyes
AREA = AreaOnPlan("m", "-100 km", "100 km", "2.5 m")
HEIGHT = Measured("m", "-100 m", "10 km", "1.2 m")
ALONG = Measured("m", "0 m", "100 km", "1 m")
Finish = Literal["matt", "mirror", "unknown"]
FLOOR = SIValue(0.0, "0 m", "m")
HIGH = SIValue(100.0, "100 m", "m")
POINT = OnPlan("m", "-100 km", "100 km", "2.5 m")
LENGTH = Measured("m", "1 mm", "100 km", "0.5 m")
BEARING = Measured("rad", "-360 deg", "360 deg", "90 deg")
ELEVATION = Measured("rad", "-90 deg", "90 deg", "-20 deg")
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
        What stands behind it, as 'wooden door'; under the name of a [[scene.barrier]] only that one counts.
    behind_distance
        From the target to what stands behind it, as '3 m': so far on the beam that misses or cuts through lights it
        along every direction of the aim, and it scatters.
    behind_reflectance
        Share of the light that it scatters. Left out: 0.8, as of matt white paint.
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
    normal: Annotated[SIValue | None, Measured("rad", "-360 deg", "720 deg", "30 deg +- 5 deg", worst="inside")] = None
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
            yield wrong("height", "misfit.no_height")
        for field in ("height", "normal"):
            if not placed and (value := peek.value(field)) is not None:
                yield wrong(field, "misfit.no_position", given=value.typed)
        for field in ("normal", "tilt"):
            value = peek.value(field)
            if value is None:
                continue
            if _off(field, value) > MOST_OFF:
                yield wrong(field, "misfit.any_way", given=value.typed)
            elif field == "tilt" and not -MOST_OFF <= value <= MOST_OFF:
                yield wrong(field, "misfit.tilt", given=value.typed)

    @property
    def normal_tolerance(self) -> float:
        """How far its normal can be off to any side; 0 where it is not known at all. [rad]."""
        return 0.0 if self.normal is None else _off("normal", self.normal) + _off("tilt", self.tilt)


def _off(field: str, value: SIValue) -> float:
    """Return how far a value can be off to either side, in its unit."""
    low, high = value.ends(field)
    return max(high - float(value), float(value) - low)


class Upright(CaseModel):
    """What has edges and may have a rating."""

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse an upper edge below the lower one, and a rating without a time."""
        low, high = (peek.value(edge) if edge in peek.model.model_fields else None for edge in ("bottom", "top"))
        if low is not None and high is not None and not low < high:
            if "top" in peek:
                yield wrong("top", "misfit.low_top", top=high.typed, bottom=low.typed)
            else:
                yield wrong("bottom", "misfit.high_bottom", bottom=low.typed, top=high.typed)
        yield from needs(peek, "rating", "rated_time", "misfit.no_rated_time")


class SceneOpening(Upright):
    """A gap in a barrier or wall: ``[[scene.barrier.opening]]``.

    Attributes
    ----------
    name
        Name, as 'hall door'.
    kind
        'door', 'window' or 'gap'.
    start
        Where it begins, along the line from its first corner.
    end
        Where it ends, along the line from its first corner.
    bottom
        Lower edge above the floor.
    top
        Upper edge above the floor.
    open
        false only when it is shut while the laser is on, as by a door switch, and as strong as the rest; a window
        counts as open unless its density and its rating hold.
    optical_density
        Of a view window: its lowest optical density at the wavelengths of the lasers that can reach it. Left out:
        plain glass, light passes.
    rating
        Of a view window: power density that it withstands. Left out: it does not hold.
    rated_time
        Of a view window: for how long it withstands the rating.
    pulse_rating
        Of a view window: radiant exposure of one pulse that it withstands. Left out: it does not hold against
        pulses.
    reflectance
        Of a window: share of the light that its glass throws back at the angle of the beam. Left out: 1, as of
        coated glass or at a glancing angle.
    """

    name: Line = "gap"
    kind: Literal["door", "window", "gap"] = "gap"
    start: Annotated[SIValue, ALONG]
    end: Annotated[SIValue, ALONG]
    bottom: Annotated[SIValue, HEIGHT] = FLOOR
    top: Annotated[SIValue, HEIGHT] = HIGH
    open: Flag = True
    optical_density: Annotated[SIValue | None, Measured("1", "0", "20", "6")] = None
    rating: Annotated[SIValue | None, RATING] = None
    rated_time: Annotated[SIValue | None, RATED_TIME] = None
    pulse_rating: Annotated[SIValue | None, PULSE_RATING] = None

    reflectance: Annotated[SIValue | None, RATIO] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse an opening that ends before it begins, and what only a window has."""
        start, end = peek.value("start"), peek.value("end")
        if start is not None and end is not None and not start < end:
            yield wrong("end", "misfit.short_opening", end=end.typed, start=start.typed)
        yield from super().findings(peek)
        for field in ("optical_density", "rating", "rated_time", "pulse_rating", "reflectance"):
            if field in peek and peek.data.get("kind", "gap") != "window":
                yield wrong(field, "misfit.only_window")


class SceneBarrier(Upright):
    """Where a barrier or wall stands: ``[[scene.barrier]]``.

    Attributes
    ----------
    name
        Name of a [[barrier]] of this case, or of a wall; a wall holds only with a rating of its own.
    kind
        'barrier', 'wall' or 'terrain'; terrain is solid ground: it stops every beam and needs no rating.
    line
        Its corners on the plan, at least two.
    bottom
        Lower edge above the floor.
    top
        Upper edge above the floor, as '2.2 m'.
    rating
        For a wall: power density that it withstands. Left out: not rated.
    rated_time
        For a wall: for how long it withstands the rating.
    reflectance
        Share of the light that it throws back. Left out: 0.8, as of matt white paint (common practice, no source).
    finish
        'matt', 'mirror' or 'unknown'; unknown is treated as a mirror.
    opening
        Its doors, windows and gaps, one [[scene.barrier.opening]] each.
    """

    name: Line
    kind: Literal["barrier", "wall", "terrain"] = "barrier"
    line: Annotated[Path, PathOnPlan("m", "-100 km", "100 km", "2.5 m")]
    bottom: Annotated[SIValue, HEIGHT] = FLOOR
    top: Annotated[SIValue, HEIGHT]
    rating: Annotated[SIValue | None, RATING] = None
    rated_time: Annotated[SIValue | None, RATED_TIME] = None
    reflectance: Annotated[SIValue | None, RATIO] = None
    finish: Finish = "matt"
    opening: Annotated[tuple[SceneOpening, ...], Field(max_length=20)] = ()


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
    reflectance
        Share of the light that its top throws back. Left out: 0.8, as of matt white paint.
    """

    name: Line
    kind: Literal["stage", "riser", "balcony", "furniture"]
    outline: Annotated[Path, AREA]
    height: Annotated[SIValue, HEIGHT] = FLOOR
    reflectance: Annotated[SIValue | None, RATIO] = None


class Ground(CaseModel):
    """The floor itself: ``[scene.ground]``. Whatever ends a beam scatters it.

    Attributes
    ----------
    reflectance
        Share of the light that it throws back. Left out: 0.8, as of matt white paint (common practice, no source).
    finish
        'matt', 'mirror' or 'unknown'; unknown is treated as a mirror.
    """

    reflectance: Annotated[SIValue | None, RATIO] = None
    finish: Finish = "matt"


class Ceiling(Upright):
    """What is overhead: ``[scene.ceiling]``. Left out: light goes on upwards.

    Attributes
    ----------
    height
        Its height above the floor, as '4 m'; higher than every last optic and everything that people stand on.
    reflectance
        Share of the light that it throws back. Left out: 0.8, as of matt white paint (common practice, no source).
    finish
        'matt', 'mirror' or 'unknown'; unknown is treated as a mirror.
    rating
        Power density that it withstands. Left out: not rated, so that a beam may burn through it.
    rated_time
        For how long it withstands the rating.
    """

    height: Annotated[SIValue, HEIGHT]
    reflectance: Annotated[SIValue | None, RATIO] = None
    finish: Finish = "matt"
    rating: Annotated[SIValue | None, RATING] = None
    rated_time: Annotated[SIValue | None, RATED_TIME] = None


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


MOVES = Measured("m", "0 m", "10 m", "0.3 m", "who walks about with it is an aim for each place")

Mode = Literal["running", "alignment", "service", "fault"]


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
        Direction of the aim, clockwise from the y axis of the plan, as '90 deg'. Left out, and towards and
        bearing_range too: any, so that it can point anywhere that elevation and elevation_range leave open.
    elevation
        Angle of the aim above the horizontal, as '-20 deg'; left out with bearing: 0, without a direction: any.
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
    moves
        How far the last optic can be from its place, along the plan and up and down, as '0.3 m'. Left out: 0.5 m for a
        hand-held laser (common practice, no source), not at all for others.
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
    bearing_range: Annotated[Knob | None, Turnable("rad", "-360 deg", "720 deg", "90 deg")] = None
    elevation_range: Annotated[Knob | None, Turnable("rad", "-90 deg", "90 deg", "-20 deg")] = None
    margin: Annotated[SIValue | None, Measured("rad", "0 deg", "90 deg", "5 deg")] = None
    moves: Annotated[SIValue | None, MOVES] = None

    @property
    def any_way(self) -> bool:
        """Whether it can point to any side, as no bearing is stated."""
        return self.bearing is None and self.towards is None and self.bearing_range is None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse two ways to say where it points."""
        if "towards" in peek and "bearing" in peek:
            yield wrong("towards", "misfit.aim_twice")
        if "towards" in peek and "elevation" in peek:
            yield wrong("elevation", "misfit.elevation_twice")
        turn = peek.value("bearing_range")
        if turn is not None and not float(turn.high) - float(turn.low) <= 6.283185307179587 + 1e-9:
            yield wrong("bearing_range", "misfit.full_turn", given=shown(peek.data["bearing_range"]))


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
            yield wrong("position", "misfit.one_place")

    @property
    def eye(self) -> float:
        """Height of the eyes above where the person stands, as drawn. [m]."""
        return STATURES[self.stature] if self.eye_height is None else float(self.eye_height)

    @property
    def eyes(self) -> tuple[float, float]:
        """Lowest and highest place of the eyes above where the person stands. [m]."""
        free = self.eye_height is None and self.stature == "anybody"
        return ANYBODY if free else (self.eye - SLACK, self.eye + SLACK)


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
    f_number: Annotated[SIValue | None, Measured("1", "0.3", "1000", "4")] = None
    filter_transmission: Annotated[SIValue, RATIO] = SIValue(1.0, "1", "1")
    pixel: Annotated[SIValue | None, Measured("m", "100 nm", "1 mm", "4 um")] = None
    exposure_time: Annotated[SIValue | None, Measured("s", "1 us", "30000 s", "20 ms")] = None
    setup_note: Line = ""


# what a ceiling has to be above, wherever it moves: sums of heights
_BELOW_CEILING: tuple[tuple[str, type[CaseModel], tuple[str, ...]], ...] = (
    ("aim", Aim, ("height", "moves")),
    ("person", ScenePerson, ("floor", "eye_height")),
    ("floor", FloorPart, ("height",)),
)


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
    ground
        What the floor throws back: [scene.ground].
    ceiling
        What is overhead: [scene.ceiling].
    outdoor
        Only outdoors: [scene.outdoor].
    one_at_a_time
        true when never more than one laser is on at once; otherwise lines, zones, the map and persons take the sum of
        all fitted lasers.
    one_at_a_time_reason
        What makes sure of it, as 'one key switch for both lasers'; printed on the sheet.
    note
        Remark on the scene, printed with that of the case.
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
    surface: Annotated[tuple[ScenePlace, ...], Field(max_length=200)] = ()
    barrier: Annotated[tuple[SceneBarrier, ...], Field(max_length=100)] = ()
    person: Annotated[tuple[ScenePerson, ...], Field(max_length=200)] = ()
    camera: Annotated[tuple[Camera, ...], Field(max_length=20)] = ()
    floor: Annotated[tuple[FloorPart, ...], Field(max_length=40)] = ()
    ground: Ground | None = None
    ceiling: Ceiling | None = None
    outdoor: Outdoor | None = None
    one_at_a_time: Flag = False
    one_at_a_time_reason: Text = ""
    note: Text = ""

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse double names, what is too high for the ceiling, and a head that moves out of the room."""
        for field in ("target", "surface", "barrier", "person", "camera", "floor"):
            yield from doubles(field, peek.tables(field))
        ceiling = peek.data.get("ceiling")
        height = Peek(Ceiling, ceiling).value("height") if isinstance(ceiling, Mapping) else None
        places = [
            (field, i, {key: level for key in keys if (level := Peek(model, one).value(key)) is not None})
            for field, model, keys in _BELOW_CEILING
            for i, one in peek.tables(field)
        ]
        for field, i, levels in places:
            if height is not None and levels and not sum(map(float, levels.values())) < height:
                words = " + ".join(f"{key}, {level.typed}" for key, level in levels.items())
                said = {"height": height.typed, "field": field, "count": i + 1, "levels": words}
                yield wrong(("ceiling", "height"), "misfit.low_ceiling", **said)
                break
        corners = peek.value("outline")
        for i, table in peek.tables("aim"):
            moves, level, spot = map(Peek(Aim, table).value, ("moves", "height", "position"))
            if moves is None or level is None or spot is None or not moves > 0.0:
                continue
            if level >= 0.0 and not moves <= level:
                yield wrong(("aim", i, "moves"), "misfit.under_floor", moves=moves.typed, height=level.typed)
            elif corners is not None:
                import shapely

                (x, y), side = spot.pair, moves * (1.0 - 1e-9)
                if not shapely.Polygon(corners.pairs).covers(shapely.box(x - side, y - side, x + side, y + side)):
                    yield wrong(("aim", i, "moves"), "misfit.out_of_room", moves=moves.typed, place=spot.typed)
        alone, reason = peek.data.get("one_at_a_time") is True, "one_at_a_time_reason"
        if alone and peek.text(reason) is None:
            yield wrong(reason, "misfit.no_alone_reason")
        elif reason in peek and not alone:
            yield wrong("one_at_a_time", "misfit.not_alone")
