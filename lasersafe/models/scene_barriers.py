"""What stands round a scene: barriers and walls with their doors, windows and gaps, the floor, and what is outdoors."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from lasersafe.models.base import CaseModel, Findings, Flag, Line, Peek
from lasersafe.models.measured import AreaOnPlan, Measured, PathOnPlan
from lasersafe.models.site import PULSE_RATING, RATED_TIME, RATING, RATIO
from lasersafe.models.values import Path, SIValue

AREA = AreaOnPlan("m", "-100 km", "100 km", "2.5 m")
PATH = PathOnPlan("m", "-100 km", "100 km", "2.5 m")
HEIGHT = Measured("m", "-100 m", "10 km", "1.2 m")
ALONG = Measured("m", "0 m", "100 km", "1 m")
DENSITY = Measured("1", "0", "20", "6")
Finish = Literal["matt", "mirror", "unknown"]
FLOOR = SIValue(0.0, "0 m", "m")
HIGH = SIValue(100.0, "100 m", "m")


class SceneOpening(CaseModel):
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
    optical_density: Annotated[SIValue | None, DENSITY] = None
    rating: Annotated[SIValue | None, RATING] = None
    rated_time: Annotated[SIValue | None, RATED_TIME] = None
    pulse_rating: Annotated[SIValue | None, PULSE_RATING] = None

    reflectance: Annotated[SIValue | None, RATIO] = None

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse an opening that ends before it begins, and what only a window has."""
        start, end = peek.value("start"), peek.value("end")
        if start is not None and end is not None and not start < end:
            yield "end", f"{end.typed} is not beyond the start at {start.typed}; write a larger one"
        yield from _upright_and_timed(peek)
        for field in ("optical_density", "rating", "rated_time", "pulse_rating", "reflectance"):
            if field in peek and peek.data.get("kind", "gap") != "window":
                yield field, "only a window has it; write kind = 'window', or leave it out"


def _upright_and_timed(peek: Peek) -> Findings:
    low, high = (peek.value(edge) if edge in peek.model.model_fields else None for edge in ("bottom", "top"))
    if low is not None and high is not None and not low < high:
        if "top" in peek:
            yield "top", f"{high.typed} is not above the lower edge at {low.typed}; write a higher one"
        else:
            yield "bottom", f"{low.typed} is not below {high.typed}, the upper edge left out; write a lower one"
    if "rating" in peek and "rated_time" not in peek:
        yield "rated_time", "missing; a rating holds for a time only, write it as '60 s'"


class SceneBarrier(CaseModel):
    """Where a barrier or wall stands: ``[[scene.barrier]]``.

    Attributes
    ----------
    name
        Name of a [[barrier]] of this case, or of a wall; a wall holds only with a rating of its own.
    kind
        'barrier', 'wall' or 'terrain'.
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
    line: Annotated[Path, PATH]
    bottom: Annotated[SIValue, HEIGHT] = FLOOR
    top: Annotated[SIValue, HEIGHT]
    rating: Annotated[SIValue | None, RATING] = None
    rated_time: Annotated[SIValue | None, RATED_TIME] = None
    reflectance: Annotated[SIValue | None, RATIO] = None
    finish: Finish = "matt"
    opening: Annotated[tuple[SceneOpening, ...], Field(max_length=20)] = ()

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Refuse an upper edge below the lower one, and a rating without a time."""
        yield from _upright_and_timed(peek)


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


class Ceiling(CaseModel):
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

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Ask for the time of a rating."""
        yield from _upright_and_timed(peek)


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
