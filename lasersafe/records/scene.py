"""What a scene with its barriers is made of once it is worked out: floats and tuples of coordinates, lengths in metres.

Nothing here computes. The floor plan has x to the right and y up; z is the height above the floor. A bearing is
clockwise from the y axis of the plan, an elevation upwards from the horizontal. Closed rings repeat no corner.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from operator import not_
from typing import TYPE_CHECKING, Any

from lasersafe.records import HIDDEN, SAME, OfSetup, Step, badness, highest, told, worst_of_each

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Point = tuple[float, float]
Point3 = tuple[float, float, float]
Ring = tuple[Point, ...]

SCENE_UNITS = {"length": "m", "angle": "rad", "irradiance": "W/m2"}


@dataclass(frozen=True)
class Opening:
    """A gap in a barrier or wall: a door, a window, a slit."""

    name: str
    kind: str  # door | window | gap
    start: Point
    end: Point
    bottom: float
    top: float
    open: bool = field(metadata=told(rank=1))  # light passes: an open door, a window that does not hold, a gap


@dataclass(frozen=True)
class StandingPlace:
    """How near a barrier with its rating may stand, on one way."""

    distance: float = field(metadata=told(rank=1, worse=badness))  # [m]
    # "last optic" | "last optic, along the folded path" | "lit surface" | name of a curved mirror
    measured_from: str = field(metadata=SAME)
    steps: tuple[Step, ...] = field(default=(), compare=False, metadata=HIDDEN)


@dataclass(frozen=True)
class BarrierWay:
    """Whether a barrier holds against one way for light."""

    way: str = field(metadata=SAME)  # direct | mirror | scatter | fibre broken | optic lost
    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)
    # [W/m2] the highest peak anywhere on it, wherever the head may point; this is judged
    irradiance: float = field(metadata=told(rank=2, worse=badness, each=highest))
    holds: bool = field(metadata=told(rank=1, worse=not_))
    verdict: str
    place: Point3 | None = None  # where that is
    aimed: float | None = None  # [W/m2] the highest peak with the head as aimed while running; None when not worked out
    aimed_place: Point3 | None = None
    aimed_steps: tuple[Step, ...] = field(default=(), compare=False, metadata=HIDDEN)
    away: float | None = None  # [m] from where the light starts to that place
    rating: float | None = None  # [W/m2] that counts for this laser
    rated_time: float | None = None
    asked: bool = False  # whether the case says that it has to stop this laser on this way
    fitted: bool = True
    # [J/m2] the highest peak of one pulse there; None for continuous light
    pulse: float | None = field(default=None, metadata=told(each=highest))
    pulse_rating: float | None = None  # [J/m2]
    # how near it may stand; () without a rating
    stands: tuple[StandingPlace, ...] = field(default=(), metadata=told(each=worst_of_each))
    notes: tuple[str, ...] = ()
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)  # of the irradiance

    def among(self, group: Sequence[BarrierWay]) -> BarrierWay:
        """Return this worst one of several with the highest load as aimed."""
        top = max(group, key=lambda way: -1.0 if way.aimed is None else badness(way.aimed))
        return replace(self, aimed=top.aimed, aimed_place=top.aimed_place, aimed_steps=top.aimed_steps)


@dataclass(frozen=True)
class BarrierLoad:
    """What falls on one barrier on one way of one fitted laser, alone and with all others."""

    barrier: str
    way: str
    laser: str
    setup: str
    asked: bool
    holds: bool
    verdict: str  # on its light alone
    rating: float | None
    rated_time: float | None
    load: float  # [W/m2] of all fitted lasers together
    together: bool  # whether another laser is in the load
    pulse: float | None = None  # [J/m2] of one pulse of each of them
    pulse_rating: float | None = None
    parts: tuple[tuple[str, float], ...] = ()  # of all together: the lasers, and what each brings [W/m2]

    @property
    def stands(self) -> bool:
        """Whether the barrier holds one way of the light, all fitted lasers together."""
        return self.holds and self.factor <= 1.0

    @property
    def factor(self) -> float:
        """Load as a multiple of the rating, the mean or that of one pulse; 0 where there is none."""
        pairs = ((self.load, self.rating), (self.pulse, self.pulse_rating))
        return max(
            (badness(load / rating) for load, rating in pairs if load is not None and rating is not None), default=0.0
        )


@dataclass(frozen=True)
class ViewWindow(OfSetup):
    """A view window in a barrier against one way: it holds only with enough density and enough resistance."""

    name: str
    way: str
    holds: bool = field(metadata=told(rank=1, worse=not_))
    needed_density: float = field(metadata=told(rank=2, worse=badness))
    density: float | None
    irradiance: float  # [W/m2] the highest peak anywhere on it
    words: str
    fitted: bool = True


@dataclass(frozen=True, eq=False)
class BarrierMap:
    """The irradiance on a barrier, place by place."""

    name: str
    along: tuple[float, ...]  # [m] edges of the columns, from the first corner
    heights: tuple[float, ...]  # [m] edges of the rows, above the floor
    ways: dict[str, NDArray[np.float64]]  # way -> [W/m2] of shape (rows, columns)
    rating: float | None  # [W/m2] the lowest for a fitted laser; None when it has none


@dataclass(frozen=True)
class BarrierLine:
    """A barrier or wall on the plan."""

    name: str
    kind: str  # barrier | wall | terrain
    line: tuple[Point, ...]
    bottom: float
    top: float
    rated: bool
    ways: tuple[BarrierWay, ...] = field(default=(), metadata=told(each=worst_of_each))
    openings: tuple[Opening, ...] = field(default=(), metadata=told(each=worst_of_each))
    # whether somebody who stands before it could reach over it
    reach_over: bool = field(default=False, metadata=told(each=any))
    windows: tuple[ViewWindow, ...] = field(default=(), metadata=told(each=worst_of_each))
    needed_height: float | None = None  # [m] of its upper edge above the floor, so that it shades everybody behind it
    needed_for: str = ""  # the person that asks for this height
    notes: tuple[str, ...] = ()
    # by a broken fibre or a lost lens of a fitted set-up; their way names which
    faults: tuple[BarrierWay, ...] = field(default=(), metadata=told(each=worst_of_each))

    def among(self, group: Sequence[BarrierLine]) -> BarrierLine:
        """Return this one of several with the height that shades everybody behind it, and every note."""
        top = max(group, key=lambda one: -math.inf if one.needed_height is None else badness(one.needed_height))
        notes = tuple(dict.fromkeys(note for one in group for note in one.notes))
        return replace(self, needed_height=top.needed_height, needed_for=top.needed_for, notes=notes)


@dataclass(frozen=True)
class Polygon:
    """One part of an area: its outline and the holes in it."""

    outline: Ring
    holes: tuple[Ring, ...] = ()


@dataclass(frozen=True)
class FloorItem:
    """Something that is drawn on the floor: a table, the edge of a stage, a riser."""

    name: str
    outline: Ring


@dataclass(frozen=True)
class ScenePlan:
    """The sheet of paper that the scene is drawn on."""

    extent: tuple[float, float, float, float]  # x low, y low, x high, y high: all that is worth drawing
    north: float | None  # [rad] bearing of north, None when not stated
    stage_arrow: float | None  # [rad] bearing from the audience to the stage, None when not stated
    items: tuple[FloorItem, ...] = ()
    outline: Ring = ()  # the room or the ground, () when not stated


@dataclass(frozen=True)
class AimEnvelope(OfSetup):
    """The directions in which one laser can point in one mode."""

    mode: str = field(metadata=SAME)  # running | alignment | service | fault
    position: Point3
    bearing: float  # [rad] of the aim as stated
    elevation: float  # [rad]
    bearing_range: tuple[float, float]  # [rad] first to last, clockwise, without the margin; may pass 2 pi
    elevation_range: tuple[float, float]  # [rad] without the margin
    margin: float  # [rad] for an unsteady hand, on every side
    reach: float = field(metadata=told(rank=1, worse=badness))  # [m] of the direct eye zone
    fitted: bool = True


@dataclass(frozen=True)
class ZoneShape(OfSetup):
    """One zone on the floor; outside it the computed exposure is below the limit at every height considered."""

    # eye direct | skin direct | eye mirror | skin mirror | scatter eye | scatter skin | ... | ignition
    kind: str = field(metadata=SAME)
    polygons: tuple[Polygon, ...]
    distance: float = field(metadata=told(rank=1, worse=badness))  # [m] rounded up, before barriers cut it
    measured_from: str  # "last optic", "lit surface", "last optic, along the folded path"
    limited_by: str  # "exposure limit ..." or the names of barriers, in words
    origin: Point3  # what the distance is measured from
    area: float = 0.0  # [m2]
    surface: str = field(default="", metadata=SAME)  # the mirror or the lit surface
    limit: float | None = None
    limit_unit: str = ""
    duration: float | None = None
    clipped_by: tuple[str, ...] = ()  # barriers that hold and cut it
    heights: tuple[float, float] = (0.0, 2.0)  # [m] the band of heights that the outline is made for
    # whether light above that band goes on beyond the outline
    overhead: bool = field(default=False, metadata=told(each=any))
    note: str = ""
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)  # where no set-up has the distance with its steps


@dataclass(frozen=True)
class BeyondTarget(OfSetup):
    """Where the beam goes once it misses the target or has cut through it."""

    target: str
    polygons: tuple[Polygon, ...]
    # name of the rated stop, or "" when it goes on to the full distance
    ends_at: str = field(metadata=told(rank=1, worse=not_))
    # [m] from the last optic to the stop, or the full distance
    distance: float = field(metadata=told(rank=2, worse=badness))
    behind: str  # what stands behind the target, as typed; "" when not stated
    backing_distance: float | None  # [m] from the target to what stands behind
    backing_irradiance: float | None = field(metadata=told(each=highest))  # [W/m2] peak
    ignition_threshold: float | None  # [W/m2]
    ignition_source: str = ""
    # None when it cannot be judged
    can_ignite: bool | None = field(
        default=None, metadata=told(each=lambda each: True if True in each else None if None in each else False)
    )


@dataclass(frozen=True)
class PersonMark:
    """A person or group on the plan."""

    name: str
    position: Point  # of an area the place nearest to a laser
    eye_height: float
    floor: float  # [m] height of the floor that the person stands on
    area: Ring = ()  # where the person may move


@dataclass(frozen=True)
class CameraMark:
    """A camera on the plan."""

    name: str
    position: Point3
    bearing: float | None = None


@dataclass(frozen=True)
class TargetMark:
    """An object that may be put in front of the beam."""

    name: str = field(metadata=SAME)
    laser: str = field(metadata=SAME)
    position: Point3
    material: str
    finish: str
    shape: str  # flat | convex | concave | unknown
    behind: str
    rated_stop: bool = field(metadata=told(each=all))
    reflectance: float = 1.0
    reflectance_source: str = ""
    behind_distance: float | None = None  # m
    stop: str = ""


@dataclass(frozen=True)
class SurfaceMark:
    """A surface that returns light."""

    name: str
    position: Point3
    mirror: bool
    shape: str
    line: tuple[Point, ...] = ()  # its trace on the floor, () when the way it faces is unknown


@dataclass(frozen=True)
class SpectatorLine:
    """The nearest allowed line on one side of the stage."""

    side: str  # front | back | left | right
    line: tuple[Point, ...]  # as coordinates, two ends
    distance: float  # [m] from the last optic, rounded up
    distance_from: str
    limited_by: str  # which zone, or "nothing"
    bearing: float  # [rad] outward direction of this side
    line_kind: str = "exposure limit"  # or the name of the rule that is stricter
    note: str = ""
    laser: str = ""
    setup: str = ""
    zone: str = field(default="", metadata=HIDDEN)  # kind of the zone that limits it; "" for nothing, or another rule


@dataclass(frozen=True)
class ElevationItem:
    """One upright thing on the elevation: position along the aim, bottom and top."""

    name: str
    kind: str  # person | barrier | wall | balcony | target | camera
    along: float  # [m] from the last optic, along the floor trace of the aim
    aside: float  # [m] to the right of the trace
    bottom: float
    top: float
    eye: float | None = None
    holds: bool | None = None
    named: bool = True  # False for a further part of something that is named already


@dataclass(frozen=True)
class SectionZone:
    """What one kind of zone takes up in an elevation, cut by the barriers that hold; its points are (along, height)."""

    kind: str  # as of a ZoneShape
    distance: float  # [m] before barriers cut it
    polygons: tuple[Polygon, ...]


@dataclass(frozen=True)
class Elevation(OfSetup):
    """The section along the aim of one laser."""

    bearing: float
    origin: Point3
    along: tuple[float, float]  # first and last place drawn [m]
    ground: tuple[Point, ...]  # (along, height) of the floor
    axis: tuple[Point, ...]  # (along, height) of the aim
    light: tuple[SectionZone, ...] = ()
    items: tuple[ElevationItem, ...] = ()
    reach: float = field(default=0.0, metadata=told(rank=1, worse=badness))  # [m] of the direct eye zone along the aim
    ends_at: str = ""  # the barrier that ends all of the beam in the section; "" when some of it goes on


@dataclass(frozen=True)
class MapPlace:
    """One person on the exposure map: exposure over limit of the eyes exactly there."""

    name: str
    position: Point
    ratio: float


@dataclass(frozen=True, eq=False)
class HazardMap:
    """Highest exposure over limit on a grid of the floor."""

    x: NDArray[np.float64]  # shape (columns,)
    y: NDArray[np.float64]  # shape (rows,)
    heights: tuple[tuple[str, float], ...]  # name and eye height above the floor
    ratio: NDArray[np.float64]  # shape (heights, rows, columns)
    tissue: str = "eye"
    note: str = ""
    persons: tuple[MapPlace, ...] = ()  # exact at the places of persons, for the height of their own eyes


@dataclass(frozen=True)
class SpectatorRule:
    """One row of a pack of regional rules for spectators, judged on this plan."""

    pack: str
    pack_name: str
    rule: str
    text: str
    outcome: str  # met | not met | cannot be judged from this case | does not apply
    words: str  # what is asked, and what was found
    source: str
    seen: str


@dataclass(frozen=True, kw_only=True)
class CameraLine:
    """What one camera may receive on one way: advice, never a verdict."""

    camera: str = field(metadata=SAME)
    laser: str = field(default="", metadata=SAME)
    setup: str = field(default="", metadata=SAME)
    way: str = field(metadata=SAME)  # direct | mirror | scatter
    surface: str = ""
    distance: float  # [m] along the beam, or from the lit surface
    exposure: float = field(metadata=told(rank=2, worse=badness))  # in the image
    unit: str  # W/m2 | J/m2, of one pulse
    spot: float  # [m] diameter of the image
    resolved: bool
    threshold: float | None  # the lowest published one for this wavelength and mode
    threshold_source: str
    # no threshold for the wavelength is worse than a share below 1, and better than one above
    ratio: float | None = field(metadata=told(rank=1, worse=lambda share: 1.0 if share is None else badness(share)))
    words: str
    advice: tuple[str, ...] = ()
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)


def _summary(found: HazardMap | None) -> dict[str, Any] | None:
    """Return what JSON prints of a map: not the arrays."""
    return None if found is None else {
        "heights_m": dict(found.heights),
        "rows": int(found.ratio.shape[1]),
        "columns": int(found.ratio.shape[2]),
        "highest_ratio": float(found.ratio.max()) if found.ratio.size else 0.0,
        "persons": {one.name: one.ratio for one in found.persons},
    }  # fmt: skip


@dataclass(frozen=True)
class SceneFinding:
    """Something that the scene shows and that a person has to know."""

    kind: str  # target list | beyond target | ignition | barrier | mirror | outdoors | spectator | set-up | gap |
    # window | failing window | price
    text: str
    refuses: bool = False  # whether the verdict is refused because of it
    subject: str = ""
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)  # of its number, where it has one to recompute
    left_out: str = field(default="", metadata=HIDDEN)  # the light that zones, lines and map do not hold, in few words


@dataclass(frozen=True)
class MatrixCell(OfSetup):
    """One person, one mode, one way: the highest hazard ratio over lasers, set-ups, surfaces and tissues."""

    person: str = field(metadata=SAME)
    mode: str = field(metadata=SAME)
    way: str = field(metadata=SAME)
    tissue: str = field(metadata=SAME)
    surface: str
    distance: float  # [m] path from the last optic, or from the lit surface for scatter
    ratio: float = field(metadata=told(rank=2, worse=badness))
    below: bool = field(metadata=told(rank=1, worse=not_))  # False when NaN
    struck_out: str = ""
    note: str = ""


@dataclass(frozen=True)
class SceneResult:
    """Everything that the plan, the elevation and the scene pages of the sheet show."""

    plan: ScenePlan
    aims: tuple[AimEnvelope, ...]
    zones: tuple[ZoneShape, ...]
    beyond: tuple[BeyondTarget, ...]
    barriers: tuple[BarrierLine, ...]
    persons: tuple[PersonMark, ...]
    cameras: tuple[CameraMark, ...]
    targets: tuple[TargetMark, ...]
    surfaces: tuple[SurfaceMark, ...]
    lines: tuple[SpectatorLine, ...]
    elevations: tuple[Elevation, ...]
    matrix: tuple[MatrixCell, ...] = ()  # highest ratio first, struck out last
    findings: tuple[SceneFinding, ...] = ()
    rules: tuple[SpectatorRule, ...] = ()  # of the packs that the case chose
    camera_lines: tuple[CameraLine, ...] = ()
    unit: Mapping[str, str] = field(default_factory=lambda: SCENE_UNITS, init=False, compare=False)
    map: HazardMap | None = field(default=None, compare=False, metadata=told(shown=_summary))

    @property
    def left_out(self) -> str:
        """What refuses the verdict and is in no zone, line or map, in few words; "" for nothing."""
        return "; ".join(dict.fromkeys(one.left_out for one in self.findings if one.left_out))
