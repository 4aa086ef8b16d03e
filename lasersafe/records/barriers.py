"""What a scene finds out about its barriers, walls and view windows. Nothing here computes; lengths in metres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from operator import not_
from typing import TYPE_CHECKING

from lasersafe.records.fields import HIDDEN, SAME, badness, highest, told, worst_of_each
from lasersafe.records.light import Step

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from lasersafe.records.scene import Point, Point3, Polygon


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

    distance: float  # [m]
    measured_from: str  # "last optic" | "last optic, along the folded path" | "lit surface" | name of a curved mirror
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
    away: float | None = None  # [m] from where the light starts to that place
    rating: float | None = None  # [W/m2] that counts for this laser
    rated_time: float | None = None
    asked: bool = False  # whether the case says that it has to stop this laser on this way
    fitted: bool = True
    # [J/m2] the highest peak of one pulse there; None for continuous light
    pulse: float | None = field(default=None, metadata=told(each=highest))
    pulse_rating: float | None = None  # [J/m2]
    stands: tuple[StandingPlace, ...] = ()  # how near it may stand; () without a rating
    notes: tuple[str, ...] = ()
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)  # of the irradiance

    def among(self, group: Sequence[BarrierWay]) -> BarrierWay:
        """Return this worst one of several with the highest load as aimed, and how near it may stand for all."""
        top = max(group, key=lambda way: -1.0 if way.aimed is None else badness(way.aimed))
        every = sorted((place for way in group for place in way.stands), key=lambda place: badness(place.distance))
        names = dict.fromkeys(place.measured_from for way in group for place in way.stands)
        farthest = {place.measured_from: place for place in every}
        stands = tuple(farthest[name] for name in names)
        return replace(self, aimed=top.aimed, aimed_place=top.aimed_place, stands=stands)


@dataclass(frozen=True)
class BarrierLoad:
    """What falls on one barrier on one way of one set-up, alone and with all other fitted lasers."""

    barrier: str
    way: str
    laser: str
    setup: str
    fitted: bool
    asked: bool
    holds: bool
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
class ViewWindow:
    """A view window in a barrier against one way: it holds only with enough density and enough resistance."""

    name: str
    way: str
    laser: str
    setup: str
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
    shadows: tuple[Polygon, ...] = ()  # floor that it keeps dark for the set-ups fitted today
    # [m] nearest place for its rating in the direct beam, from the last optic
    nearest_allowed: float | None = field(default=None, metadata=told(each=highest))
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
