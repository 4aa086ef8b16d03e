"""Barriers and walls with height and openings, and what they hide from one place."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
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
