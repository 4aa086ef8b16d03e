"""Barriers and walls with height and openings, and what they hide from one place."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
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
