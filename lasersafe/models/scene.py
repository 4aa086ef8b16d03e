"""Where everything stands: the table ``[scene]``. All of it is optional; a case without it has distances only."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek, Text, doubles
from lasersafe.models.measured import Measured, Turnable
from lasersafe.models.scene_barriers import AREA, FLOOR, HEIGHT, Ceiling, FloorPart, Ground, Outdoor, SceneBarrier
from lasersafe.models.scene_surfaces import BEARING, ELEVATION, LENGTH, POINT, ScenePlace, Target
from lasersafe.models.site import RATING, RATIO
from lasersafe.models.values import Knob, Path, SIValue, Spot

BEARINGS = Turnable("rad", "-360 deg", "720 deg", "90 deg")
ELEVATIONS = Turnable("rad", "-90 deg", "90 deg", "-20 deg")
MARGIN = Measured("rad", "0 deg", "90 deg", "5 deg")
MOVES = Measured("m", "0 m", "10 m", "0.3 m", "who walks about with it is an aim for each place")
F_NUMBER = Measured("1", "0.3", "1000", "4")

Mode = Literal["running", "alignment", "service", "fault"]
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
    bearing_range: Annotated[Knob | None, BEARINGS] = None
    elevation_range: Annotated[Knob | None, ELEVATIONS] = None
    margin: Annotated[SIValue | None, MARGIN] = None
    moves: Annotated[SIValue | None, MOVES] = None

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
        """Refuse double names."""
        for field in ("target", "surface", "barrier", "person", "camera", "floor"):
            yield from doubles(field, peek.tables(field))
        yield from _below_ceiling(peek)
        yield from _on_the_floor(peek)
        alone, reason = peek.data.get("one_at_a_time") is True, "one_at_a_time_reason"
        if alone and peek.text(reason) is None:
            yield reason, "missing; say what makes sure that never more than one laser is on, it is printed"
        elif reason in peek and not alone:
            yield "one_at_a_time", "missing; a reason is given: write one_at_a_time = true as well, or leave both out"


def _below_ceiling(peek: Peek) -> Findings:
    """Refuse a ceiling that is not above every last optic and every place to stand."""
    table = peek.data.get("ceiling")
    height = Peek(Ceiling, table).value("height") if isinstance(table, Mapping) else None
    if height is None:
        return
    for field, model, key in (("aim", Aim, "height"), ("person", ScenePerson, "floor"), ("floor", FloorPart, "height")):
        for i, one in peek.tables(field):
            level = Peek(model, one).value(key)
            if level is not None and not level < height:
                text = f"{height.typed} is not above {field}[{i + 1}].{key}, {level.typed}; write a higher one, or none"
                yield ("ceiling", "height"), text
                return


def _on_the_floor(peek: Peek) -> Findings:
    """Refuse a head that moves out of the room or below the floor."""
    corners = peek.value("outline")
    for i, table in peek.tables("aim"):
        aim = Peek(Aim, table)
        moves, height, place = (aim.value(field) for field in ("moves", "height", "position"))
        if moves is None or height is None or place is None or not moves > 0.0:
            continue
        if height >= 0.0 and not moves <= height:
            text = f"{moves.typed} below the last optic, {height.typed} high, is below the floor; write at most that"
            yield ("aim", i, "moves"), text
        elif corners is not None and not _inside(corners.pairs, place.pair, float(moves)):
            text = f"{moves.typed} round {place.typed} is not inside the outline of the scene; write less"
            yield ("aim", i, "moves"), text


def _inside(corners: tuple[tuple[float, float], ...], place: tuple[float, float], moves: float) -> bool:
    """Return whether a square round a place lies inside an outline."""
    x, y = place
    edges = [((ax - x, ay - y), (bx - x, by - y)) for (ax, ay), (bx, by) in pairwise((*corners, corners[0]))]
    crossed = sum((ay > 0.0) != (by > 0.0) and ax - ay / (by - ay) * (bx - ax) > 0.0 for (ax, ay), (bx, by) in edges)
    return crossed % 2 == 1 and all(_half_square(a, b) >= moves * (1.0 - 1e-9) for a, b in edges)


def _half_square(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Return half the edge of the largest square round the origin that a line does not enter."""
    (x, y), (ux, uy) = a, (b[0] - a[0], b[1] - a[1])
    turns = ((-x, ux), (-y, uy), (x - y, uy - ux), (-x - y, ux + uy))  # where the larger of |x| and |y| can turn
    parts = [0.0, 1.0, *(min(max(top / below, 0.0), 1.0) for top, below in turns if below)]
    return min(max(abs(x + part * ux), abs(y + part * uy)) for part in parts)
