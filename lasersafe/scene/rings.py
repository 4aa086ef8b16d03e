"""Walls that close round everything that is lit: no straight way leads out between their edges."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.scene.screens import Piece

FLOAT = NDArray[np.float64]
Corner = tuple[float, float]


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
