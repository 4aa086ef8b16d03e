"""The marks that make numbers, ranges, widths and places of the text of a field."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from pydantic_core import core_schema

from lasersafe.errors import QuantityError
from lasersafe.models.values import Axes, Knob, Path, SIValue, Spot, has_tolerance, read_tolerance
from lasersafe.quantity import Kind, Quantity, parse_quantity, refused
from lasersafe.typed import shown

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler

SHORTEST = 1e-9  # m; squares of shorter lengths vanish beside those of others
MOST_POINTS = 200
Worst = Literal["low", "high", "ends", "range", "inside", "none"]


@dataclass(frozen=True)
class Measured:
    """How the text of a field becomes a number: the mark inside ``Annotated``.

    Parameters
    ----------
    unit : str
        SI unit, ``"1"`` for a ratio.
    low, high : str
        Smallest and largest entry that is taken, as a user would write them.
    why : str
        Why there is such a bound, and what to do; closes the message.
    kind : {"continuous power", "divergence"}, optional
        Asks back about slips of milli and mega.
    example : str
        For the message and the schema.
    above_low, below_high : bool
        Whether the bound itself is refused.
    worst : {"low", "high", "ends", "range", "inside", "none"}
        Which end of a tolerance is the worse one; ``ends``: either, both are tried; ``range``: any value between, as of
        a setting that can be turned; ``inside``: all of it is bounded in the scene; ``none``: no tolerance is taken.
    """

    unit: str
    low: str
    high: str
    example: str
    why: str = ""
    kind: Kind | None = None
    above_low: bool = False
    below_high: bool = False
    worst: Worst = "none"

    shape = "number"

    def number(self, text: object, field: str) -> SIValue:
        """Return the entry as a number inside the bounds.

        Parameters
        ----------
        text : object
            What was typed.
        field : str
            Name of the field, for the message.

        Raises
        ------
        QuantityError
            If it is not one number with one unit inside the bounds.
        """
        if isinstance(text, SIValue) and text.unit == self.unit:
            self.inside(Quantity(float(text), text.typed, text.unit), field)
            return text
        if has_tolerance(text):
            if self.worst == "none":
                raise refused(field, text, "no tolerance is taken here; write one value, the cautious one")
            return read_tolerance(text, self, field)
        quantity = self.quantity(text, field)
        return SIValue(quantity.value, quantity.typed, self.unit)

    def quantity(self, text: object, field: str) -> Quantity:
        """Return an entry without a tolerance, inside the bounds."""
        if self.unit == "1" and isinstance(text, (int, float)) and not isinstance(text, bool):
            text = shown(text)
        quantity = parse_quantity(text, self.unit, field, self.kind)
        self.inside(quantity, field)
        return quantity

    def inside(self, quantity: Quantity, field: str) -> None:
        """Refuse what is outside the bounds."""
        if why := self.outside(quantity):
            raise refused(field, quantity.typed, why)

    def outside(self, quantity: Quantity) -> str:
        """Return why a quantity is outside the bounds; empty when it is inside."""
        if self.unit == "m" and 0.0 < abs(quantity.value) < SHORTEST:
            return "shorter than 1 nm, but not 0; write 0 m where that is meant"
        low, high = _bound(self.low, self.unit), _bound(self.high, self.unit)
        above = low < quantity.value if self.above_low else low <= quantity.value
        if above and (quantity.value < high if self.below_high else quantity.value <= high):
            return ""
        start = f"above {self.low} and" if self.above_low else f"{self.low} or more, and"
        end = f"below {self.high}" if self.below_high else f"at most {self.high}"
        return f"must be {start} {end}" + (f"; {self.why}" if self.why else "")

    def read(self, text: object, field: str) -> Any:
        """Return what the model holds: here one number."""
        return self.number(text, field)

    def pair(self, text: object, field: str, wanted: str) -> tuple[SIValue, SIValue]:
        """Return a number twice, or both numbers of a list of two."""
        if not isinstance(text, (list, tuple)):
            value = self.number(text, field)
            return value, value
        if len(text) != 2:
            raise refused(field, text, wanted)
        return self.number(text[0], field), self.number(text[1], field)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Hand the text to ``read``; keep the number in output."""

        def validate(text: Any, info: core_schema.ValidationInfo) -> Any:
            return self.read(text, info.field_name or "value")

        return core_schema.with_info_plain_validator_function(validate)

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Describe the text that is typed."""
        one: dict[str, Any] = {"type": "string", "examples": [self.example], "x-unit": self.unit}
        if self.unit == "1":
            one["type"] = ["string", "number"]
        if self.worst != "none":
            one["x-tolerance"] = self.worst
        two = {"type": "array", "items": one, "minItems": 2, "maxItems": 2}
        if self.shape == "number":
            return one
        if self.shape == "point":
            return {**two, "x-shape": self.shape}
        if self.shape in ("path", "area"):
            return {"type": "array", "items": two, "minItems": 2, "x-shape": self.shape}
        return {"anyOf": [one, two], "x-shape": self.shape}


@lru_cache(maxsize=256)
def _bound(text: str, unit: str) -> float:
    return parse_quantity(text, unit, "bound").value


class Turnable(Measured):
    """A setting, or a range ``["10 ns", "200 ns"]`` where the user can turn a knob."""

    shape = "range"

    def read(self, text: object, field: str) -> Knob:
        """Return both ends; they are equal when one value was typed."""
        if isinstance(text, Knob):
            text = [text.low, text.high]
        low, high = self.pair(text, field, "a range has two ends, as in ['10 ns', '200 ns']")
        if low > high:
            message = f"{field} = {shown(low.typed)} to {shown(high.typed)}: write the smaller end first"
            raise QuantityError(message)
        return Knob(low, high)


class TwoAxes(Measured):
    """One width, or two for an elliptical beam: ``["3 mm", "5 mm"]``."""

    shape = "axes"

    def read(self, text: object, field: str) -> Axes:
        """Return both axes; they are equal when one value was typed."""
        if isinstance(text, Axes):
            text = [text.x, text.y]
        return Axes(*self.pair(text, field, "an elliptical beam has two axes, as in ['3 mm', '5 mm']"))


class OnPlan(Measured):
    """A point ``["2.5 m", "4 m"]``: x to the right, y upwards on the plan."""

    shape = "point"

    def spot(self, text: object, field: str) -> Spot:
        """Return one point."""
        if isinstance(text, Spot):
            return text
        wanted = "a point has x and y, as in ['2.5 m', '4 m']"
        if not isinstance(text, (list, tuple)):
            raise refused(field, text, wanted)
        return Spot(*self.pair(text, field, wanted))

    def read(self, text: object, field: str) -> Any:
        """Return the point."""
        return self.spot(text, field)


class PathOnPlan(OnPlan):
    """A line of points ``[["0 m", "3 m"], ["4 m", "3 m"]]``; different neighbours."""

    shape = "path"
    least = 2

    def read(self, text: object, field: str) -> Path:
        """Return the points."""
        if isinstance(text, Path):
            return text
        if not isinstance(text, (list, tuple)) or len(text) < self.least:
            wanted = f"at least {self.least} points are needed, as in [['0 m', '3 m'], ['4 m', '3 m']]"
            raise refused(field, text, wanted)
        if len(text) > MOST_POINTS:
            message = f"{field}: {len(text)} points; at most {MOST_POINTS} are taken"
            raise QuantityError(message)
        spots = tuple(self.spot(one, field) for one in text)
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


Corner = tuple[float, float]


def _crossing(corners: Sequence[Corner]) -> int | None:
    """Return the corner at which an outline goes wrong; None when it encloses an area and no two edges meet.

    Neighbours meet in their corner.
    """
    edges = list(zip(corners, (*corners[1:], corners[0]), strict=True))
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in edges)
    if not abs(area) > 1e-9 or len(set(corners)) != len(corners):
        return 0
    for (i, (a, b)), (j, (c, d)) in itertools.combinations(enumerate(edges), 2):
        neighbours = j == i + 1 or (i == 0 and j == len(edges) - 1)
        if not neighbours and _side(a, b, c) * _side(a, b, d) <= 0.0 and _side(c, d, a) * _side(c, d, b) <= 0.0:
            return j
    return None


def _side(a: Corner, b: Corner, c: Corner) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
