"""The values of a case: SI floats that remember how they were typed, alone, in pairs and as places on the plan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

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

    def __setattr__(self, name: str, value: object) -> None:
        """Refuse: a value of a case does not change."""
        raise AttributeError(name)

    def __reduce__(self) -> tuple[type[SIValue], tuple[float, str, str, Tolerance | None]]:
        """Let copy and pickle make it again."""
        return SIValue, (float(self), self.typed, self.unit, self.tolerance)

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the value in words."""
        return word(self)


class _Two:
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

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return both in words, each as *word* says it."""
        raise NotImplementedError

    @property
    def typed(self) -> str:
        """The text as typed."""
        return self.words(lambda one: one.typed)


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
        return f"{word(self.low)} to {word(self.high)}" if self.turnable else word(self.low)


@dataclass(frozen=True)
class Axes(_Two):
    """A width on the axes x and y; of a circular beam both are equal."""

    x: SIValue
    y: SIValue

    @property
    def circular(self) -> bool:
        """Whether both axes are alike."""
        return self.x == self.y

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
class Path:
    """Corners on the floor plan, in order."""

    spots: tuple[Spot, ...]

    @property
    def pairs(self) -> tuple[tuple[float, float], ...]:
        """All corners. [m]."""
        return tuple(spot.pair for spot in self.spots)

    def words(self, word: Callable[[SIValue], str]) -> str:
        """Return the corners in words."""
        return " ".join(spot.words(word) for spot in self.spots)

    @property
    def typed(self) -> str:
        """The text as typed."""
        return self.words(lambda one: one.typed)


Value = SIValue | Knob | Axes | Spot | Path
