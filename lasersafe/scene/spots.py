"""Lit spots that a turning head takes along, on a part of a sphere round the last optic, or on a patch of a surface."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene.directions import Directions, Vector

FLOAT = NDArray[np.float64]
_STEP = math.radians(10.0)


@dataclass(frozen=True)
class Spots:
    """All places of a lit spot.

    Parameters
    ----------
    apex : tuple of float
        The last optic. [m]
    directions : Box or Cone
        Where the head can point, margins included.
    distance : float
        From the last optic to the spot. [m]
    solid : bool
        Whether the spot can be anywhere within that distance of the apex too: a patch of a surface that stands still.
    normal : tuple of float, optional
        Of a solid patch that is flat, a disc round the apex.
    slack : float
        How far each spot can be from there besides, with a head that moves. [m]
    """

    apex: Vector
    directions: Directions
    distance: float
    solid: bool = False
    normal: Vector | None = None
    slack: float = 0.0

    def away(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        """Return how far points are from the nearest spot; of shape (...). [m]."""
        found = self._away(x, y, z)
        return np.maximum(found - self.slack, 0.0) if self.slack else found

    def _away(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
        square = dx * dx + dy * dy + dz * dz
        if self.normal is not None:
            above = dx * self.normal[0] + dy * self.normal[1] + dz * self.normal[2]
            aside = np.sqrt(np.maximum(square - above * above, 0.0))
            return np.asarray(np.hypot(above, np.maximum(aside - self.distance, 0.0)))
        far = np.sqrt(square)
        if self.solid:
            return np.asarray(np.maximum(far - self.distance, 0.0))
        beside = np.maximum(far - self.directions.axial(dx, dy, dz), 0.0)
        return np.asarray(np.sqrt((far - self.distance) ** 2 + 2.0 * self.distance * beside))

    @cached_property
    def heights(self) -> tuple[float, float]:
        """The lowest and the highest spot. [m]."""
        if self.normal is not None:
            rise = self.distance * math.sqrt(max(1.0 - self.normal[2] ** 2, 0.0))
            return self.apex[2] - rise, self.apex[2] + rise
        low, high = (self.apex[2] + self.distance * math.sin(e) for e in self.directions.box().elevation)
        return low, high

    def _ring(self, turns: FLOAT, away: FLOAT | float) -> FLOAT:
        return np.stack([self.apex[0] + away * np.sin(turns), self.apex[1] + away * np.cos(turns)], axis=1)

    @cached_property
    def corners(self) -> FLOAT:
        """Corners of a convex polygon that holds all spots on the plan, of shape (corners, 2). [m]."""
        if self.normal is not None:
            return self._disc(self.normal)
        box = self.directions.box()
        half = min(box.half_bearing, math.pi)
        longest = max(math.cos(min(max(0.0, box.elevation[0]), box.elevation[1])), 0.0)
        shortest = max(min(math.cos(e) for e in box.elevation), 0.0)
        turns = np.linspace(box.bearing - half, box.bearing + half, max(1, math.ceil(half / _STEP)) + 1)
        middles = (turns[:-1] + turns[1:]) / 2.0
        wide = self.distance * longest / math.cos(float(turns[1] - turns[0]) / 2.0)
        ends = turns[[0, -1]]
        near = self.distance * (shortest if half <= math.pi / 2.0 else 0.0)
        rings = [self._ring(middles, wide), self._ring(ends, self.distance * longest), self._ring(ends, near)]
        return np.concatenate(rings)

    def _disc(self, normal: Vector) -> FLOAT:
        """Return the corners of a polygon round a disc on the plan, of shape (corners, 2). [m]."""
        flat = math.hypot(normal[0], normal[1])
        along = np.array([-normal[1], normal[0]]) / flat if flat > 1e-9 else np.array([1.0, 0.0])
        across = np.array([along[1], -along[0]]) * abs(normal[2])
        turns = np.linspace(-math.pi, math.pi, 33)[:-1]
        wide = self.distance / math.cos(math.pi / 32.0)
        ring = np.cos(turns)[:, None] * along + np.sin(turns)[:, None] * across
        return np.asarray(np.array(self.apex[:2]) + wide * ring)
