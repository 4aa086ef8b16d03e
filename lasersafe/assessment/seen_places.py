"""Places of a person that light reaches past edges and through openings, which a grid of places can miss."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.scene.directions import Vector
from lasersafe.scene.screens import Piece

FLOAT = NDArray[np.float64]
Spot = tuple[float, float]
_PAST = 1e-6  # rad, or part of a height: just past an edge


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


__all__ = ["over_edges", "past_edges"]
