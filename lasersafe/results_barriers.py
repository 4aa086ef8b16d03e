"""What a scene finds out about its barriers, walls and view windows. Nothing here computes; lengths in metres."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lasersafe.results_scene import Point, Point3, Polygon


@dataclass(frozen=True)
class Opening:
    """A gap in a barrier or wall: a door, a window, a slit."""

    name: str
    kind: str  # door | window | gap
    start: Point
    end: Point
    bottom: float
    top: float
    open: bool  # light passes: an open door, a window that does not hold, a gap


@dataclass(frozen=True)
class StandingPlace:
    """How near a barrier with its rating may stand, on one way."""

    distance: float  # [m]
    measured_from: str  # "last optic" | "last optic, along the folded path" | "lit surface" | name of a curved mirror


@dataclass(frozen=True)
class BarrierWay:
    """Whether a barrier holds against one way for light."""

    way: str  # direct | mirror | scatter | fibre broken | optic lost
    laser: str
    setup: str
    irradiance: float  # [W/m2] the highest peak at its nearest place, wherever the head may point; this is judged
    holds: bool
    verdict: str
    place: Point3 | None = None  # that nearest place
    aimed: float | None = None  # [W/m2] the highest peak with the head as aimed while running; None when not worked out
    aimed_place: Point3 | None = None
    away: float | None = None  # [m] from where the light starts to the nearest place
    rating: float | None = None  # [W/m2] that counts for this laser
    rated_time: float | None = None
    asked: bool = False  # whether the case says that it has to stop this laser on this way
    fitted: bool = True
    pulse: float | None = None  # [J/m2] the highest peak of one pulse there; None for continuous light
    pulse_rating: float | None = None  # [J/m2]
    stands: tuple[StandingPlace, ...] = ()  # how near it may stand; () without a rating
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class ViewWindow:
    """A view window in a barrier against one way: it holds only with enough density and enough resistance."""

    name: str
    way: str
    laser: str
    setup: str
    holds: bool
    needed_density: float
    density: float | None
    irradiance: float  # [W/m2] the highest peak at its nearest place
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
    ways: tuple[BarrierWay, ...] = ()
    openings: tuple[Opening, ...] = ()
    shadows: tuple[Polygon, ...] = ()  # floor that it keeps dark for the set-ups fitted today
    nearest_allowed: float | None = None  # [m] nearest place for its rating in the direct beam, from the last optic
    reach_over: bool = False  # whether somebody who stands before it could reach over it
    windows: tuple[ViewWindow, ...] = ()
    needed_height: float | None = None  # [m] of its upper edge above the floor, so that it shades everybody behind it
    needed_for: str = ""  # the person that asks for this height
    notes: tuple[str, ...] = ()
    faults: tuple[BarrierWay, ...] = ()  # by a broken fibre or a lost lens of a fitted set-up; their way names which

    def holds(self, way: str) -> bool:
        """Return whether it holds against every laser and set-up on one way; False when nothing was worked out."""
        found = [w.holds for w in self.ways if w.way == way]
        return bool(found) and all(found)
