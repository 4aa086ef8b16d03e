"""Barriers and walls with height and openings, and what they keep dark.

Walls that close round everything that is lit make a ring: no straight way leads out between their edges.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
Corner = tuple[float, float]
Vector = tuple[float, float, float]
_TOUCH = 1e-9


@dataclass(frozen=True)
class Gap:
    """An opening: from and to along the line, bottom and top. [m]."""

    start: float
    end: float
    bottom: float
    top: float


@dataclass(frozen=True)
class Piece:
    """One upright straight part of a screen, as far as it is solid between two heights."""

    start: tuple[float, float]
    end: tuple[float, float]
    bottom: float
    top: float


@dataclass(frozen=True)
class Screen:
    """A barrier or wall.

    Parameters
    ----------
    name : str
        Its name.
    line : tuple of points
        Corners on the plan. [m]
    bottom, top : float
        Lower and upper edge. [m]
    gaps : tuple of Gap
        What is open.
    """

    name: str
    line: tuple[tuple[float, float], ...]
    bottom: float
    top: float
    gaps: tuple[Gap, ...] = ()

    def pieces(self) -> tuple[Piece, ...]:
        """Return its solid rectangles; round an opening there is one below and one above it."""
        found: list[Piece] = []
        passed = 0.0
        for first, second in zip(self.line, self.line[1:], strict=False):
            length = math.dist(first, second)
            cuts = {0.0, length}
            for gap in self.gaps:
                cuts |= {min(max(end - passed, 0.0), length) for end in (gap.start, gap.end)}
            marks = sorted(cuts)
            for low, high in itertools.pairwise(marks):
                if high - low <= _TOUCH:
                    continue
                middle = passed + (low + high) / 2.0
                ends = [
                    (first[0] + (second[0] - first[0]) * t / length, first[1] + (second[1] - first[1]) * t / length)
                    for t in (low, high)
                ]
                open_here = [(g.bottom, g.top) for g in self.gaps if g.start < middle < g.end]
                for bottom, top in _solid(self.bottom, self.top, open_here):
                    found.append(Piece(ends[0], ends[1], bottom, top))
            passed += length
        return tuple(found)


def _solid(bottom: float, top: float, gaps: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return what is left of an interval of heights after the gaps are taken out."""
    left = [(bottom, top)]
    for low, high in gaps:
        left = [part for a, b in left for part in ((a, min(b, low)), (max(a, high), b)) if part[1] - part[0] > _TOUCH]
    return left


def blocked(
    apex: Vector, x: FLOAT, y: FLOAT, z: FLOAT, pieces: Iterable[Piece], plane: tuple[Vector, Vector] | None = None
) -> FLAGS:
    """Return which points a screen hides from a point source.

    Parameters
    ----------
    apex : tuple of float
        The source, or its image in a mirror. [m]
    x, y, z : numpy.ndarray, shape (...)
        The points. [m]
    pieces : iterable of Piece
        Solid parts of the screens.
    plane : tuple, optional
        A point of the mirror and its normal: only what stands in front of it counts.

    Returns
    -------
    numpy.ndarray of bool, shape (...)
        True where the straight way from the source meets a solid part.
    """
    dx, dy, dz = x - apex[0], y - apex[1], z - apex[2]
    shape = np.broadcast_shapes(dx.shape, dy.shape, np.shape(dz))
    hidden = np.zeros(shape, dtype=bool)
    for piece in pieces:
        hidden |= _hit(apex, dx, dy, dz, piece, plane)
    return hidden


def _hit(
    apex: Vector,
    dx: FLOAT,
    dy: FLOAT,
    dz: FLOAT,
    piece: Piece,
    plane: tuple[Vector, Vector] | None,
) -> FLAGS:
    """Return which ways meet a piece."""
    ax, ay = piece.start[0] - apex[0], piece.start[1] - apex[1]
    ex, ey = piece.end[0] - piece.start[0], piece.end[1] - piece.start[1]
    # apex + t d = start + u e
    cross = dx * ey - dy * ex
    numerator = ax * ey - ay * ex
    with np.errstate(divide="ignore", invalid="ignore"):
        t = numerator / cross
        u = (ax * dy - ay * dx) / cross
        height = apex[2] + t * dz
        hit = (t > _TOUCH) & (t < 1.0) & (u >= 0.0) & (u <= 1.0)
        hit &= (height >= piece.bottom) & (height <= piece.top)
        if plane is not None:
            on, normal = plane
            front = (apex[0] + t * dx - on[0]) * normal[0] + (apex[1] + t * dy - on[1]) * normal[1]
            hit &= front + (height - on[2]) * normal[2] > 0.0
    return np.asarray(hit)


def peak_on(
    irradiance: Callable[[FLOAT], FLOAT],
    corner: Vector,
    along: Vector,
    upwards: Vector,
    near: Vector,
    *,
    across: int,
    rounds: int,
) -> tuple[float, FLOAT]:
    """Return the highest irradiance on a flat screen and where it is: a grid alone would miss a narrow beam [1]_.

    A grid over the screen and the place nearest to *near* start a search that closes in on the maximum.

    Parameters
    ----------
    irradiance : callable
        Takes places of shape (..., 3) [m], returns the irradiance there.
    corner, along, upwards : tuple of float, (x, y, z)
        A corner of the screen, and the two edges that leave it. [m]
    near : tuple of float, (x, y, z)
        Where the maximum is to be expected. [m]
    across : int
        Places of the grid along each edge.
    rounds : int
        How often the grid is halved.

    Returns
    -------
    tuple of float and numpy.ndarray, shape (3,)
        Irradiance [W/m2 or J/m2], and its place. [m]

    References
    ----------
    .. [1] Own: search by a shrinking grid.
    """
    origin, edges = np.array(corner), np.array([along, upwards])
    wanted = np.linalg.lstsq(edges.T, np.array(near) - origin, rcond=None)[0]
    steps = np.linspace(-0.5, 0.5, across)
    grid = np.column_stack([part.ravel() for part in np.meshgrid(steps, steps)])
    best, place = -1.0, np.array([0.5, 0.5])
    for start in (np.array([0.5, 0.5]), np.clip(wanted, 0.0, 1.0)):
        middle, size = start, 1.0
        for _ in range(rounds):
            tried = np.clip(np.vstack([middle + size * grid, middle]), 0.0, 1.0)
            found = irradiance(origin + tried @ edges)
            highest = int(np.argmax(found))
            middle, size = tried[highest], size * 0.5
            if float(found[highest]) > best:
                best, place = float(found[highest]), tried[highest]
    return best, np.asarray(origin + place @ edges)


@dataclass(frozen=True)
class Ring:
    """A closed row of walls: its area on the plan, and the heights that all of its walls fill."""

    area: shapely.Polygon
    bottom: float
    top: float

    def closed_in(self, corners: FLOAT, heights: tuple[float, float]) -> bool:
        """Return whether places between two heights [m], on the plan within corners of shape (n, 2), are all inside."""
        if not self.bottom <= heights[0] <= heights[1] <= self.top:
            return False
        return bool(shapely.contains_xy(self.area, corners[:, 0], corners[:, 1]).all())

    def hides(self, x: FLOAT, y: FLOAT, z: FLOAT) -> NDArray[np.bool_]:
        """Return which points [m] of shape (...) are outside and no higher or lower than the walls."""
        level = (z >= self.bottom) & (z <= self.top)
        return np.asarray(level & ~shapely.intersects_xy(self.area, x, y))


@lru_cache(maxsize=256)
def rings_of(pieces: tuple[Piece, ...]) -> tuple[Ring, ...]:
    """Return every ring that pieces make end to end; where pieces stand over one another, the tallest counts."""
    tallest: dict[frozenset[Corner], Piece] = {}
    for piece in pieces:
        line = frozenset((piece.start, piece.end))
        known = tallest.get(line)
        if known is None or piece.top - piece.bottom > known.top - known.bottom:
            tallest[line] = piece
    walls = [piece for line, piece in tallest.items() if len(line) > 1]
    if len(walls) < 3:
        return ()
    lines = shapely.linestrings([[p.start, p.end] for p in walls])
    found: list[Ring] = []
    for part in shapely.get_parts(shapely.polygonize(lines)):
        area = shapely.Polygon(part.exterior)  # a ring inside it is one of its own
        used = [p for p, line in zip(walls, lines, strict=True) if shapely.covers(area.exterior, line)]
        if not area.is_valid:
            continue
        found.append(Ring(area, max(p.bottom for p in used), min(p.top for p in used)))
    return tuple(found)
