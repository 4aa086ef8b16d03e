"""How high the upper edge of a barrier has to be, and from where people can reach over it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.lit import lit_places
from lasersafe.assessment.scene_hits import taken
from lasersafe.assessment.stage import REACH_UP
from lasersafe.hazard.barriers import needed_height

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import SceneBarrier, ScenePerson
    from lasersafe.scene.directions import Vector
    from lasersafe.scene.screens import Screen

ARM = 1.0  # m: so far a person reaches over an edge (German rules for shows, trade facts)
REACH = 2.7  # m: nobody reaches over an edge that is so high above where people stand (DGUV203-036, 12.1)
FLOAT = NDArray[np.float64]


def floor_at(stage: Stage, screen: Screen) -> float:
    """Return the highest place within an arm's reach of the screen on which somebody stands."""
    line = shapely.LineString(screen.line)
    floors = [0.0]
    for person in stage.scene.person:
        if float(shapely.distance(line, taken(person))) <= 2.0 * ARM:
            floors.append(float(person.floor))
    return max(floors)


def height_needed(stage: Stage, entry: SceneBarrier) -> tuple[float | None, str]:
    """Return how high the upper edge has to be to shade everybody who stands behind it, and who asks for it."""
    starts = np.array(sorted(_starts(stage)))
    line = np.array(entry.line.pairs)
    if not starts.size:
        return None, ""
    best: tuple[float, str] | None = None
    for person in stage.scene.person:
        places = _standing(person)
        highest = float(person.floor) + REACH_UP
        share = _crossings(starts[:, :2], places, line)  # part of the way to the place at which the barrier is met
        rise = starts[:, None, None, 2] + (highest - starts[:, None, None, 2]) * share
        level = np.where(np.isnan(share), -math.inf, np.maximum(rise, starts[:, None, None, 2]))
        start, place, part = np.unravel_index(int(np.argmax(level)), level.shape)
        if not math.isfinite(float(level[start, place, part])):
            continue
        x, y, z = starts[start].tolist()
        far = max(math.dist((x, y), places[place].tolist()), 1e-3)
        near = max(far * float(share[start, place, part]), 1e-6)
        height = max(needed_height((z, z), near, max(far, near), highest), 0.0)  # the floor hides what is below it
        if best is None or height > best[0]:
            best = height, person.name
    return best if best is not None else (None, "")


def _starts(stage: Stage) -> set[Vector]:
    """Return every place from which light of a fitted laser starts: last optics, mirrors, lit spots."""
    found: set[Vector] = set()
    for context in stage.contexts:
        for pose in stage.poses(context, "running") if context.setup.fitted else ():
            found |= _round(pose.apex, pose.moves)
            for item in stage.lit(context, pose):
                for spots in lit_places(context, pose, item, stage.spots(context, pose, item)):
                    # the way to the edge is the steepest from a corner of what holds all spots, at the highest of them
                    for x, y in spots.corners.tolist():
                        found |= _round((x, y, spots.heights[1]), (spots.slack,) * 3)
            for pane in stage.panes(context, pose, "service"):
                found.update(pane.upper_corners)
    return found


def _round(place: Vector, moves: Vector) -> set[Vector]:
    """Return the upper corners of a box round a place."""
    (x, y, z), (wide, deep, high) = place, moves
    return {(x + a * wide, y + b * deep, z + high) for a in (-1.0, 1.0) for b in (-1.0, 1.0)}


def _standing(person: ScenePerson) -> FLOAT:
    """Return places on the floor where somebody can stand, of shape (places, 2): of an area corners and edge."""
    outline = taken(person)
    if person.position is not None:
        return np.asarray(shapely.get_coordinates(outline))
    return np.asarray(shapely.get_coordinates(shapely.segmentize(outline, outline.length / 64.0)))


def _crossings(starts: FLOAT, places: FLOAT, line: FLOAT) -> FLOAT:
    """Return where ways cross a polyline, as part of the way, of shape (starts, places, pieces); NaN where not."""
    d = places[None, :, None, :] - starts[:, None, None, :]
    a, e = line[None, None, :-1, :] - starts[:, None, None, :], (line[1:] - line[:-1])[None, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0]
        t = (a[..., 0] * e[..., 1] - a[..., 1] * e[..., 0]) / cross
        u = (a[..., 0] * d[..., 1] - a[..., 1] * d[..., 0]) / cross
        return np.where((t > 0.0) & (t <= 1.0) & (u >= 0.0) & (u <= 1.0), t, np.nan)
