"""Numbers of a case file: what a field takes, tolerances, settings that can be turned, and points."""

from __future__ import annotations

import itertools
import operator
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal, get_args

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from lasersafe.errors import QuantityError, refuse
from lasersafe.quantity import Allowed, Quantity, covered, parse_quantity, refused, shown
from lasersafe.wording import Message, joined, word

ToleranceKind = Literal["bound", "standard uncertainty"]


@dataclass(frozen=True)
class Tolerance:
    """How far a value may be off.

    Parameters
    ----------
    low, high : float
        A bound: lowest and highest value; a standard uncertainty: the value less and plus it. In the SI unit of the
        value.
    kind : str
        ``bound`` or ``standard uncertainty``.
    """

    low: float
    high: float
    kind: ToleranceKind


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

    __slots__ = ("tolerance", "typed", "unit")
    typed: str
    unit: str
    tolerance: Tolerance | None

    def __new__(cls, value: float, typed: str, unit: str, tolerance: Tolerance | None = None) -> SIValue:
        """Keep the number and, beside it, text, unit and tolerance."""
        number = super().__new__(cls, value)
        for name, kept in (("typed", typed), ("unit", unit), ("tolerance", tolerance)):
            object.__setattr__(number, name, kept)
        return number

    def ends(self, name: str) -> tuple[float, float]:
        """Return the lowest and highest value that counts for the field of a name, in its unit.

        A bound is itself; how far a standard uncertainty counts is known in `lasersafe.quantity`.
        """
        value, off = float(self), self.tolerance
        if off is None:
            return value, value
        return (off.low, off.high) if off.kind == "bound" else covered(name, value, off.low, off.high)

    def __setattr__(self, name: str, value: object) -> None:
        """Refuse: a value of a case does not change."""
        raise AttributeError(name)

    def __reduce__(self) -> tuple[type[SIValue], tuple[float, str, str, Tolerance | None]]:
        """Let copy and pickle make it again."""
        return SIValue, (float(self), self.typed, self.unit, self.tolerance)

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the value in words."""
        return word(self)


class _Said:
    """Numbers that belong together."""

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return all in words, each as *word* says it."""
        raise NotImplementedError

    @property
    def typed(self) -> str:
        """The text as typed."""
        return str(self.words(lambda one: one.typed))


class _Two(_Said):
    """Two numbers that belong together."""

    @property
    def parts(self) -> tuple[tuple[str, SIValue], ...]:
        """Name and number of both."""
        return tuple(vars(self).items())

    @property
    def pair(self) -> tuple[float, float]:
        """Both numbers, in SI units."""
        (_, first), (_, second) = self.parts
        return float(first), float(second)


@dataclass(frozen=True)
class Knob(_Two):
    """A setting: fixed (both ends equal) or a range that the user can turn."""

    low: SIValue
    high: SIValue

    span = _Two.pair

    @property
    def turnable(self) -> bool:
        """Whether it is a range."""
        return self.low != self.high

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the setting or its range in words."""
        return Message("input.range", low=word(self.low), high=word(self.high)) if self.turnable else word(self.low)


@dataclass(frozen=True)
class Axes(_Two):
    """A width on the axes x and y; of a circular beam both are equal."""

    x: SIValue
    y: SIValue

    @property
    def circular(self) -> bool:
        """Whether both axes are alike; two that were typed each with a tolerance can be off each by itself."""
        return self.x == self.y and (self.x is self.y or self.x.tolerance is self.y.tolerance)

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the width, or both, in words."""
        x, y = word(self.x), word(self.y)
        return x if x == y else f"{x} x {y}"


@dataclass(frozen=True)
class Spot(_Two):
    """A point on the floor plan."""

    x: SIValue
    y: SIValue

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the point in words."""
        return f"({word(self.x)}, {word(self.y)})"


@dataclass(frozen=True)
class Path(_Said):
    """Corners on the floor plan, in order."""

    spots: tuple[Spot, ...]

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        """All corners. [m]."""
        return tuple(spot.pair for spot in self.spots)

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the corners in words."""
        return " ".join(spot.words(word) for spot in self.spots)


Value = SIValue | Knob | Axes | Spot | Path


KINDS = get_args(ToleranceKind)
KEYS = ("value", "tolerance", "lowest", "highest", "kind")
LONGEST = 160

_SIGN = re.compile(r"\+\s*/\s*-|\+\s*-|±")
_BARE = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_ENDING = re.compile(r"\s*[^\W\d_][^\d]*2?$|\s*%$")
_KIND = re.compile(r"\s+(bound|standard uncertainty)$")


def _with_forms(key: str, **values: object) -> str:
    return joined((Message(f"typed.{key}", **values), Message("typed.forms")))


@contextmanager
def _quoting(text: object, field: str) -> Iterator[None]:
    """Put what was typed in front of a refusal."""
    try:
        yield
    except QuantityError as error:
        (why,) = error.args
        if isinstance(why, Message) and why.key == "typed.refused":
            name, said = why.values["field"], why.values["told"]
            part = name if isinstance(name, Message) else name.removeprefix(f"{field}, ")
            why = said if name == field else Message("typed.refused", field=part, told=said)
        raise refused(field, text, why) from None


def _exactly(what: Callable[[Decimal, Decimal], Decimal], first: float, second: float) -> float:
    """Return a sum or product of what was typed, as one would type it: 3 less 15 % is 2.55, to the last digit."""
    return float(what(Decimal(repr(first)), Decimal(repr(second))))


SHORTEST = 1e-9  # m; squares of shorter lengths vanish beside those of others
MOST_POINTS = 200
Worst = Literal["low", "high", "ends", "range", "inside", "none"]


@dataclass(frozen=True)
class Measured(Allowed):
    """How the text of a field becomes a number: the mark inside ``Annotated``.

    Parameters
    ----------
    worst : {"low", "high", "ends", "range", "inside", "none"}
        Which end of a tolerance is the worse one; ``ends``: either, both are tried; ``range``: any value between, as of
        a setting that can be turned; ``inside``: all of it is bounded in the scene; ``none``: no tolerance is taken.
    """

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
        if isinstance(text, Mapping) or (isinstance(text, str) and _SIGN.search(text)):
            if self.worst == "none":
                raise refused(field, text, Message("typed.no_tolerance"))
            return self._from_text(text, field) if isinstance(text, str) else self._from_table(text, field)
        quantity = self.quantity(text, field)
        return SIValue(quantity.value, quantity.typed, self.unit)

    def _from_text(self, text: str, field: str) -> SIValue:
        """Return a value with a tolerance from a text, as ``6 mm +- 0.5 mm``."""
        typed = text.strip()
        if len(typed) > LONGEST:
            raise refused(field, typed, _with_forms("long", most=LONGEST))
        parts = _SIGN.split(typed)
        if len(parts) != 2:
            raise refused(field, typed, _with_forms("one_tolerance"))
        first, width = parts
        named = _KIND.search(width)
        kind: ToleranceKind = "bound" if named is None or named[1] == "bound" else "standard uncertainty"
        width = width[: named.start()] if named else width
        ending = _ENDING.search(width)
        if ending and _BARE.fullmatch(first.strip()) and ending.group().strip() != "%":  # 6 +- 0.5 mm
            first = f"{first.strip()} {ending.group().strip()}"
        with _quoting(typed, field):
            value = self.quantity(first, field)
            return self._around(value, self._width(width, value, field), typed, kind, field)

    def _from_table(self, table: Mapping[object, object], field: str) -> SIValue:
        """Return a value with a tolerance from a table of the case file."""
        for key in table:
            if key not in KEYS:
                raise refused(field, table, Message("typed.no_key", key=shown(key), known=", ".join(KEYS)))
        stated = table.get("kind", "bound")
        if stated not in KINDS:
            name = f"{field}.kind"
            raise refused(name, stated, Message("typed.kinds"))
        kind: ToleranceKind = "bound" if stated == "bound" else "standard uncertainty"
        ends = [key for key in ("lowest", "highest") if key in table]
        if len(ends) == 1 or ("tolerance" in table) == bool(ends) or ("tolerance" in table and "value" not in table):
            raise refused(field, table, _with_forms("either_ends"))
        value, low, high = (
            self.quantity(table[key], f"{field}.{key}") if key in table else None
            for key in ("value", "lowest", "highest")
        )
        if low is None or high is None:
            assert value is not None
            given = table["tolerance"]
            text = shown(given) if self.unit == "1" and isinstance(given, (int, float)) else given
            width = self._width(text, value, field)
            typed = f"{value.typed} +- {str(text).strip()}" + ("" if kind == "bound" else f" {kind}")
            with _quoting(table, field):
                return self._around(value, width, typed, kind, field)
        middle = value.value if value else (low.value + high.value) / 2.0
        if not low.value <= middle <= high.value:
            between = Message("typed.rising_value", value=shown(value.typed)) if value else ""
            words = {"low": shown(low.typed), "between": between, "high": shown(high.typed)}
            raise refused(field, table, Message("typed.rising", **words))
        typed = (f"{value.typed}, " if value else "") + f"from {low.typed} to {high.typed}"
        typed += "" if kind == "bound" else f" ({kind})"
        with _quoting(table, field):
            return self._counted(middle, typed, Tolerance(low.value, high.value, kind), field)

    def _width(self, text: object, value: Quantity, field: str) -> float:
        """Return a tolerance in the unit of the value, which may be stated as a share of it."""
        name, bare = f"{field}, tolerance", text.strip() if isinstance(text, str) else text
        share = isinstance(bare, str) and bare.endswith("%")
        if share and self.unit == "1":
            raise refused(name, bare, Message("typed.share"))
        width = parse_quantity(bare, "1" if share else self.unit, name).value
        width = _exactly(operator.mul, width, abs(value.value)) if share else width
        if not width >= 0.0:
            raise refused(name, bare, Message("typed.both_sides"))
        return width

    def _around(self, value: Quantity, width: float, typed: str, kind: ToleranceKind, field: str) -> SIValue:
        low, high = _exactly(operator.sub, value.value, width), _exactly(operator.add, value.value, width)
        for end, key in ((low, "lowest"), (high, "highest")):
            self.inside(self._end(end), Message(f"typed.{key}_of", value=shown(value.typed)))
        return self._counted(value.value, typed, Tolerance(low, high, kind), field)

    def _counted(self, value: float, typed: str, off: Tolerance, field: str) -> SIValue:
        """Return a value; refused where a standard uncertainty counts to what the field does not take."""
        for end in covered(field, value, off.low, off.high) if off.kind != "bound" else ():
            reached = self._end(end)
            if why := self.outside(reached):
                raise QuantityError(Message("typed.no_worst_case", reached=reached.typed, why=why))
        return SIValue(value, typed, self.unit, off)

    def _end(self, value: float) -> Quantity:
        return Quantity(value, f"{value:.6g}" + ("" if self.unit == "1" else f" {self.unit}"), self.unit)

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
            return Message("typed.shortest")
        low, high = self.bounds
        above = low < quantity.value if self.above_low else low <= quantity.value
        if above and (quantity.value < high if self.below_high else quantity.value <= high):
            return ""
        start = Message(f"typed.{'above' if self.above_low else 'from'}", low=self.low)
        end = Message(f"typed.{'below' if self.below_high else 'most'}", high=self.high)
        return joined(filter(None, (Message("typed.must_be", start=start, end=end), word(self.why))))

    def read(self, text: object, field: str) -> Any:
        """Return what the model holds: here one number."""
        return self.number(text, field)

    def pair(self, text: object, field: str, wanted: str) -> tuple[SIValue, SIValue]:
        """Return a number twice, or both numbers of a list of two or of what was read before."""
        if isinstance(text, _Two):
            text = [one for _, one in text.parts]
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


class Turnable(Measured):
    """A setting, or a range ``["10 ns", "200 ns"]`` where the user can turn a knob."""

    shape = "range"

    def read(self, text: object, field: str) -> Knob:
        """Return both ends; they are equal when one value was typed."""
        low, high = self.pair(text, field, "a range has two ends, as in ['10 ns', '200 ns']")
        if low > high:
            ends = Message("typed.ends", low=shown(low.typed), high=shown(high.typed))
            refuse(Message("typed.refused", field=field, told=ends), QuantityError)
        return Knob(low, high)


class TwoAxes(Measured):
    """One width, or two for an elliptical beam: ``["3 mm", "5 mm"]``."""

    shape = "axes"

    def read(self, text: object, field: str) -> Axes:
        """Return both axes; they are equal when one value was typed."""
        return Axes(*self.pair(text, field, "an elliptical beam has two axes, as in ['3 mm', '5 mm']"))


class OnPlan(Measured):
    """A point ``["2.5 m", "4 m"]``: x to the right, y upwards on the plan."""

    shape = "point"

    def read(self, text: object, field: str) -> Any:
        """Return the point."""
        wanted = Message("typed.point")
        if not isinstance(text, (list, tuple, Spot)):
            raise refused(field, text, wanted)
        return Spot(*self.pair(text, field, wanted))


class PathOnPlan(OnPlan):
    """A line of points ``[["0 m", "3 m"], ["4 m", "3 m"]]``; different neighbours."""

    shape = "path"
    least = 2

    def read(self, text: object, field: str) -> Path:
        """Return the points."""
        if isinstance(text, Path):
            return text
        if not isinstance(text, (list, tuple)) or len(text) < self.least:
            raise refused(field, text, Message("typed.points", least=self.least))
        if len(text) > MOST_POINTS:
            refuse(Message("misfit.many_points", field=field, count=len(text), most=MOST_POINTS), QuantityError)
        spots = tuple(OnPlan.read(self, one, field) for one in text)
        for first, second in itertools.pairwise(spots):
            if first.pair == second.pair:
                refuse(Message("misfit.same_point", field=field, point=second.typed), QuantityError)
        return Path(spots)


class AreaOnPlan(PathOnPlan):
    """The outline of an area: at least three points, not crossing itself."""

    shape = "area"
    least = 3

    def read(self, text: object, field: str) -> Path:
        """Return the outline."""
        import shapely

        path = super().read(text, field)
        shape = shapely.Polygon(path.pairs)
        if not (shape.is_valid and shape.area > 1e-9) or path.pairs[0] == path.pairs[-1]:
            ends = range(3, len(path.pairs) + 1)  # where the first edge begins that meets another one
            bad = next((n - 2 for n in ends if not shapely.LineString(path.pairs[:n]).is_simple), -1)
            refuse(Message("misfit.crossed", field=field, point=path.spots[bad].typed), QuantityError)
        return path
