"""Places on the floor plan: points and paths, each coordinate a length with its unit."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

from lasersafe.errors import QuantityError
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
        from shapely import Polygon

        path = super().read(text, field)
        outline = Polygon(path.pairs)
        if not outline.is_valid or not outline.area > 0.0:
            message = (
                f"{field}: the outline crosses itself or encloses nothing; write its corners in order round the edge"
            )
            raise QuantityError(message)
        return path
