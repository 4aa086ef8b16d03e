"""Places that a person can take, and those that light reaches past edges and through openings besides."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.scene_marks import eyes_of
from lasersafe.scene.directions import Directions, Vector
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source
from lasersafe.scene.spots import Spots

if TYPE_CHECKING:
    from lasersafe.models import ScenePerson

FLOAT = NDArray[np.float64]
Spot = tuple[float, float]
_PAST = 1e-6  # rad, or part of a height: just past an edge
_EDGE_PLACES = 97  # along the edge of an area
_LEVELS = 5  # heights tried from the lowest to the highest point of eyes or skin


def taken(person: ScenePerson) -> shapely.Geometry:
    """Return what a person takes up on the floor plan."""
    if person.area is not None:
        return shapely.Polygon(person.area.pairs)
    assert person.position is not None
    return shapely.Point(person.position.pair)


def standing_places(person: ScenePerson, sources: tuple[Source, ...]) -> FLOAT:
    """Return places on the floor where a person can be worst off, of shape (places, 2)."""
    if person.position is not None:
        return np.array([person.position.pair])
    assert person.area is not None
    area = shapely.Polygon(person.area.pairs)
    low_x, low_y, high_x, high_y = area.bounds
    x, y = np.meshgrid(np.linspace(low_x, high_x, 8)[1:-1], np.linspace(low_y, high_y, 8)[1:-1])
    grid = np.column_stack([x.ravel(), y.ravel()])
    found = [np.array(person.area.pairs), grid[shapely.contains_xy(area, grid)]]
    found += [_facing(person.area.pairs, source.apex[:2], source.directions, source.spots) for source in sources]
    # Light that falls with the cosine from a known normal need not be strongest at the nearest place. Over an area it
    # is the highest somewhere on the edge: from any place inside, a way to more light leads outwards.
    if any(source.way == "scatter" and source.plane is not None for source in sources):
        share = np.linspace(0.0, 1.0, _EDGE_PLACES)
        along = shapely.line_interpolate_point(area.exterior, share, normalized=True)
        found.append(shapely.get_coordinates(along))
    return np.array(sorted({(x, y) for x, y in np.concatenate(found).tolist()}))


@lru_cache(maxsize=2048)  # these two save a tenth of an assessment of the demo
def _facing(corners: tuple[Spot, ...], apex: Spot, directions: Directions, spots: Spots | None) -> FLOAT:
    """Return the places of an area nearest to a source, and where the ends and the middle of its aim cross it."""
    area, start, box = shapely.Polygon(corners), shapely.Point(apex), directions.box()
    low_x, low_y, high_x, high_y = area.bounds
    lit = () if spots is None else (*shapely.points(spots.samples()[:, :2]), spots.plan)
    starts = [start, *lit]
    nearest = shapely.get_coordinates(shapely.shortest_line(starts, area)).reshape(-1, 2, 2)[:, 1]
    far = math.hypot(high_x - low_x, high_y - low_y) + float(shapely.distance(start, area)) + 1.0
    turns = [box.bearing + side * box.half_bearing for side in (-1.0, 0.0, 1.0)]
    ends = [(apex[0] + far * math.sin(turn), apex[1] + far * math.cos(turn)) for turn in turns]
    crossed = shapely.intersection(shapely.linestrings([[apex, end] for end in ends]), area)
    return np.concatenate([nearest, shapely.get_coordinates(crossed)])


def _heights(person: ScenePerson, tissue: str) -> tuple[float, float]:
    """Return the lowest and highest place of eyes or skin above the floor plan [m]."""
    floor = float(person.floor)
    if tissue == "eye":
        low, high = eyes_of(person.stature, None if person.eye_height is None else float(person.eye_height))
        return low + floor, high + floor
    return floor, 1.9 + floor


def seen_points(
    person: ScenePerson, places: FLOAT, source: Source, tissue: str, pieces: tuple[Piece, ...]
) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return the points of eyes or skin that are tried and not hidden, each of shape (points,).

    Besides an even choice they lie just past an edge of a screen, or behind an opening.
    """
    low, high = _heights(person, tissue)
    found = [body_points(person, places, source, tissue)]
    if not pieces:
        return found[0]
    if person.area is not None:
        places = np.array(past_edges(person.area.pairs, source.apex[:2], pieces))
        found.append(body_points(person, places, source, tissue))
    found.append(over_edges(source.apex, places, low, high, pieces))
    x, y, z = (np.concatenate(parts) for parts in zip(*found, strict=True))
    free = ~source.hidden(x, y, z, pieces)
    return x[free], y[free], z[free]


def body_points(person: ScenePerson, places: FLOAT, source: Source, tissue: str) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return the points of eyes or skin that are tried, each of shape (places * heights,)."""
    low, high = _heights(person, tissue)
    away = np.hypot(places[:, 0] - source.apex[0], places[:, 1] - source.apex[1])
    limit = math.radians(89.9)
    bottom, top = (min(max(e, -limit), limit) for e in source.directions.box().elevation)
    aimed = [
        np.minimum(np.maximum(source.apex[2] + away * math.tan(elevation), low), high)
        for elevation in {bottom, top, min(max(0.0, bottom), top)}
    ]
    if source.spots is not None:
        level = source.spots.levels(places[:, 0], places[:, 1])
        aimed += [np.minimum(np.maximum(one, low), high) for one in level]
    z = np.empty((_LEVELS + len(aimed), away.size))
    z[:_LEVELS] = np.linspace(low, high, _LEVELS)[:, np.newaxis]
    z[_LEVELS:] = aimed
    return np.tile(places[:, 0], len(z)), np.tile(places[:, 1], len(z)), z.ravel()


@lru_cache(maxsize=512)
def past_edges(corners: tuple[Spot, ...], apex: Spot, pieces: tuple[Piece, ...]) -> tuple[Spot, ...]:
    """Return places of an area on straight ways just past the upright edges of screens, and between them.

    Between two neighbouring edges the nearest place is on one of these ways, or where the area comes nearest of all,
    or at the foot of one of its sides.

    Parameters
    ----------
    corners : tuple of points
        The area. [m]
    apex : tuple of float
        Where light starts, on the floor plan. [m]
    pieces : tuple of Piece
        Solid parts of the screens that hold.

    Returns
    -------
    tuple of points
        The places, on the edge of the area. [m]
    """
    area = shapely.Polygon(corners)
    start = np.array(apex)
    away = np.array(corners) - start
    middle = np.array(area.representative_point().coords[0]) - start
    ahead = math.atan2(middle[0], middle[1])

    def turned(points: FLOAT) -> FLOAT:
        return (np.arctan2(points[:, 0], points[:, 1]) - ahead + math.pi) % (2.0 * math.pi) - math.pi

    around = shapely.contains_xy(area, *apex)
    seen = turned(away)
    low, high = (-math.pi, math.pi) if around else (float(seen.min()), float(seen.max()))
    edges = turned(np.array([end for piece in pieces for end in (piece.start, piece.end)]) - start)
    edges = edges[(edges > low) & (edges < high)]
    turns = np.sort(np.concatenate([edges, [low, high]]))
    ways = np.concatenate([edges - _PAST, edges + _PAST, (turns[:-1] + turns[1:]) / 2.0]) + ahead
    far = 2.0 * float(np.hypot(away[:, 0], away[:, 1]).max()) + 1.0
    ends = start + far * np.column_stack([np.sin(ways), np.cos(ways)])
    lines = shapely.linestrings(np.stack([np.broadcast_to(start, ends.shape), ends], axis=1))
    found = shapely.get_coordinates(shapely.intersection(lines, area)).tolist()
    sides = shapely.linestrings(np.stack([np.array(corners), np.roll(np.array(corners), -1, axis=0)], axis=1))
    feet = shapely.get_coordinates(shapely.shortest_line(sides, shapely.Point(apex)))[::2].tolist()
    return tuple((x, y) for x, y in [*found, *feet])


def over_edges(
    apex: Vector, places: FLOAT, low: float, high: float, pieces: tuple[Piece, ...]
) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return points at places, at the heights between two at which light just passes a lower or upper edge.

    Parameters
    ----------
    apex : tuple of float
        Where light starts. [m]
    places : numpy.ndarray, shape (places, 2)
        Places on the floor plan. [m]
    low, high : float
        The heights that count. [m]
    pieces : tuple of Piece
        Solid parts of the screens that hold.

    Returns
    -------
    tuple of numpy.ndarray, each of shape (points,)
        x, y and z. [m]
    """
    rows = np.array([(*piece.start, *piece.end, piece.bottom, piece.top) for piece in pieces]).T[:, :, None]
    start_x, start_y, end_x, end_y, bottom, top = rows
    dx, dy = places[:, 0] - apex[0], places[:, 1] - apex[1]
    ax, ay, ex, ey = start_x - apex[0], start_y - apex[1], end_x - start_x, end_y - start_y
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = dx * ey - dy * ex
        part = (ax * ey - ay * ex) / cross
        along = (ax * dy - ay * dx) / cross
        met = (part > 0.0) & (part < 1.0) & (along >= -_PAST) & (along <= 1.0 + _PAST)
        levels = [apex[2] + (edge - apex[2]) / part + side * _PAST for edge, side in ((bottom, -1.0), (top, 1.0))]
    x, y, z = [], [], []
    for level in levels:
        rows_of, columns = np.nonzero(met & (level > low) & (level < high))
        x.append(places[columns, 0])
        y.append(places[columns, 1])
        z.append(level[rows_of, columns])
    return np.concatenate(x), np.concatenate(y), np.concatenate(z)


__all__ = ["over_edges", "past_edges", "seen_points", "standing_places", "taken"]
