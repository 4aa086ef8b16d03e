"""Places on the floor plan: points and paths, each coordinate a length with its unit."""

from __future__ import annotations

import itertools
from typing import Any

from lasersafe.errors import QuantityError
from lasersafe.frozen import dataclass
from lasersafe.models.values import Measured, SIValue
from lasersafe.typed import shown


@dataclass(frozen=True)
class Spot:
    """A point on the floor plan."""

    x: SIValue
    y: SIValue

    @property
    def pair(self) -> tuple[float, float]:
        """Both coordinates. [m]."""
        return float(self.x), float(self.y)

    @property
    def typed(self) -> str:
        """The text as typed."""
        return f"({self.x.typed}, {self.y.typed})"


@dataclass(frozen=True)
class Path:
    """Corners on the floor plan, in order."""

    spots: tuple[Spot, ...]

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        """All corners. [m]."""
        return tuple(spot.pair for spot in self.spots)

    @property
    def typed(self) -> str:
        """The text as typed."""
        return " ".join(spot.typed for spot in self.spots)


class OnPlan(Measured):
    """A point ``["2.5 m", "4 m"]``: x to the right, y upwards on the plan."""

    shape = "point"

    def read(self, text: object, field: str) -> Any:
        """Return the point."""
        if isinstance(text, Spot):
            return text
        if not isinstance(text, (list, tuple)) or len(text) != 2:
            message = f"{field} = {shown(text)}: a point has x and y, as in ['2.5 m', '4 m']"
            raise QuantityError(message)
        return Spot(self.number(text[0], field), self.number(text[1], field))


class PathOnPlan(OnPlan):
    """A line of points ``[["0 m", "3 m"], ["4 m", "3 m"]]``; different neighbours."""

    shape = "path"
    least = 2

    def read(self, text: object, field: str) -> Path:
        """Return the points."""
        if isinstance(text, Path):
            return text
        example = "[['0 m', '3 m'], ['4 m', '3 m']]"
        if not isinstance(text, (list, tuple)) or len(text) < self.least:
            message = f"{field} = {shown(text)}: at least {self.least} points are needed, as in {example}"
            raise QuantityError(message)
        if len(text) > 200:
            message = f"{field}: {len(text)} points; at most 200 are taken"
            raise QuantityError(message)
        spots = tuple(super(PathOnPlan, self).read(one, field) for one in text)
        for first, second in itertools.pairwise(spots):
            if first.pair == second.pair:
                message = f"{field}: the point {second.typed} stands twice in a row; leave one out"
                raise QuantityError(message)
        return Path(spots)


class AreaOnPlan(PathOnPlan):
    """The outline of an area: at least three points, not crossing itself."""

    shape = "area"
    least = 3

    def read(self, text: object, field: str) -> Path:
        """Return the outline."""
        path = super().read(text, field)
        bad = _crossing(path.pairs)
        if bad is not None:
            message = (
                f"{field}: the outline crosses itself or encloses nothing near {path.spots[bad].typed}; write its "
                "corners in order round the edge"
            )
            raise QuantityError(message)
        return path


def _crossing(corners: tuple[tuple[float, float], ...]) -> int | None:
    """Return the corner at which an outline goes wrong; None when it encloses an area and no two edges meet.

    Neighbours meet in their corner.
    """
    edges = list(zip(corners, (*corners[1:], corners[0]), strict=True))
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in edges)
    if not abs(area) > 1e-9 or len(set(corners)) != len(corners):
        return 0
    for i, first in enumerate(edges):
        for j in range(i + 1, len(edges)):
            neighbours = j == i + 1 or (i == 0 and j == len(edges) - 1)
            if not neighbours and _meet(*first, *edges[j]):
                return j
    return None


def _side(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def _meet(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], d: tuple[float, float]) -> bool:
    return _side(a, b, c) * _side(a, b, d) <= 0.0 and _side(c, d, a) * _side(c, d, b) <= 0.0
