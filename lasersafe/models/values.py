"""The values of a case: SI floats that remember how they were typed, and the marks that read them from text."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from pydantic_core import core_schema

from lasersafe.errors import QuantityError
from lasersafe.frozen import dataclass
from lasersafe.models.tolerance import Tolerance, has_tolerance, read_tolerance
from lasersafe.quantity import Kind, Quantity, parse_quantity
from lasersafe.typed import shown

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler


SHORTEST = 1e-9  # m; squares of shorter lengths vanish beside those of others
Worst = Literal["low", "high", "ends", "range", "none"]


class SIValue(float):
    """A float in SI units with the text that it came from.

    Parameters
    ----------
    value : float
        In ``unit``.
    typed : str
        The text as typed.
    unit : str
        SI unit; ``"1"`` for a ratio.
    tolerance : Tolerance, optional
        How far the value may be off.
    """

    __slots__ = ("_tolerance", "_typed", "_unit")
    _typed: str
    _unit: str
    _tolerance: Tolerance | None

    def __new__(cls, value: float, typed: str, unit: str, tolerance: Tolerance | None = None) -> SIValue:
        """Keep the number and, beside it, text, unit and tolerance."""
        number = super().__new__(cls, value)
        number._typed = typed
        number._unit = unit
        number._tolerance = tolerance
        return number

    def __getnewargs__(self) -> tuple[float, str, str, Tolerance | None]:  # type: ignore[override]
        """Let copy and pickle make it again."""
        return float(self), self._typed, self._unit, self._tolerance

    @property
    def typed(self) -> str:
        """The text as typed."""
        return self._typed

    @property
    def unit(self) -> str:
        """The SI unit."""
        return self._unit

    @property
    def tolerance(self) -> Tolerance | None:
        """How far the value may be off; None when nothing is said."""
        return self._tolerance


@dataclass(frozen=True)
class Knob:
    """A setting: fixed (both ends equal) or a range that the user can turn."""

    low: SIValue
    high: SIValue

    @property
    def turnable(self) -> bool:
        """Whether it is a range."""
        return self.low != self.high

    @property
    def span(self) -> tuple[float, float]:
        """Both ends, in SI units."""
        return float(self.low), float(self.high)

    @property
    def typed(self) -> str:
        """The text as typed."""
        return f"{self.low.typed} to {self.high.typed}" if self.turnable else self.low.typed


@dataclass(frozen=True)
class Axes:
    """A width on the axes x and y; of a circular beam both are equal."""

    x: SIValue
    y: SIValue

    @property
    def circular(self) -> bool:
        """Whether both axes are alike."""
        return self.x == self.y

    @property
    def pair(self) -> tuple[float, float]:
        """Both axes, in SI units."""
        return float(self.x), float(self.y)

    @property
    def typed(self) -> str:
        """The text as typed."""
        return self.x.typed if self.x.typed == self.y.typed else f"{self.x.typed} x {self.y.typed}"


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
    kind : {"continuous power", "divergence", "power density"}, optional
        Asks back about slips of milli and mega.
    example : str
        For the message and the schema.
    above_low, below_high : bool
        Whether the bound itself is refused.
    worst : {"low", "high", "ends", "range", "none"}
        Which end of a tolerance is the worse one; ``ends``: either, both are tried; ``range``: any value between, as of
        a setting that can be turned; ``none``: no tolerance is taken.
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
            self._inside(Quantity(float(text), text.typed, text.unit), field)
            return text
        if has_tolerance(text):
            if self.worst == "none":
                message = f"{field} = {shown(text)}: no tolerance is taken here; write one value, the cautious one"
                raise QuantityError(message)
            value, typed, tolerance = read_tolerance(text, self.unit, field, self.kind, self._inside)
            return SIValue(value, typed, self.unit, tolerance)
        if self.unit == "1" and isinstance(text, (int, float)) and not isinstance(text, bool):
            text = shown(text)
        quantity = parse_quantity(text, self.unit, field, self.kind)
        self._inside(quantity, field)
        return SIValue(quantity.value, quantity.typed, self.unit)

    def _inside(self, quantity: Quantity, field: str) -> None:
        if self.unit == "m" and 0.0 < abs(quantity.value) < SHORTEST:
            message = f"{field} = {shown(quantity.typed)}: shorter than 1 nm, but not 0; write 0 m where that is meant"
            raise QuantityError(message)
        low, high = _bound(self.low, self.unit), _bound(self.high, self.unit)
        at_low, at_high = quantity.value == low, quantity.value == high
        inside = low <= quantity.value <= high and not (at_low and self.above_low) and not (at_high and self.below_high)
        if inside:
            return
        start = f"above {self.low} and" if self.above_low else f"{self.low} or more, and"
        end = f"below {self.high}" if self.below_high else f"at most {self.high}"
        reason = f"; {self.why}" if self.why else ""
        message = f"{field} = {shown(quantity.typed)}: must be {start} {end}{reason}"
        raise QuantityError(message)

    def read(self, text: object, field: str) -> Any:
        """Return what the model holds: here one number."""
        return self.number(text, field)

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
        if self.shape == "point":
            return {**_two(one), "x-shape": self.shape}
        if self.shape in ("path", "area"):
            return {"type": "array", "items": _two(one), "minItems": 2, "x-shape": self.shape}
        return one if self.shape == "number" else {"anyOf": [one, _two(one)], "x-shape": self.shape}


@lru_cache(maxsize=256)
def _bound(text: str, unit: str) -> float:
    return parse_quantity(text, unit, "bound").value


def _two(one: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": one, "minItems": 2, "maxItems": 2}


class Turnable(Measured):
    """A setting, or a range ``["10 ns", "200 ns"]`` where the user can turn a knob."""

    shape = "range"

    def read(self, text: object, field: str) -> Knob:
        """Return both ends; they are equal when one value was typed."""
        if isinstance(text, Knob):
            text = [text.low, text.high]
        if not isinstance(text, (list, tuple)):
            value = self.number(text, field)
            return Knob(value, value)
        if len(text) != 2:
            message = f"{field} = {shown(text)}: a range has two ends, as in ['10 ns', '200 ns']"
            raise QuantityError(message)
        low, high = (self.number(end, field) for end in text)
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
        if not isinstance(text, (list, tuple)):
            value = self.number(text, field)
            return Axes(value, value)
        if len(text) != 2:
            message = f"{field} = {shown(text)}: an elliptical beam has two axes, as in ['3 mm', '5 mm']"
            raise QuantityError(message)
        return Axes(self.number(text[0], field), self.number(text[1], field))
