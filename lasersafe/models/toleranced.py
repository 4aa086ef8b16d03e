"""Which inputs of a case carry a tolerance, and the case with some of its inputs replaced."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from lasersafe.frozen import dataclass
from lasersafe.models.case import Case
from lasersafe.models.messages import Place
from lasersafe.models.tolerance import Tolerance
from lasersafe.models.values import Axes, Knob, Measured, SIValue, Worst

Value = SIValue | Knob | Axes
_PARTS = ("x", "y", "low", "high")


@dataclass(frozen=True)
class Toleranced:
    """One input that carries a tolerance.

    Parameters
    ----------
    place : tuple
        Keys and indices from the top of the case; of an oblong width or a range the last part names the end:
        ``x``, ``y``, ``low`` or ``high``.
    value : SIValue
        Nominal value, text and tolerance.
    mark : Measured
        What the field takes.
    """

    place: Place
    value: SIValue
    mark: Measured

    @property
    def worst(self) -> Worst:
        """Which end is the worse one, as in :class:`Measured`."""
        return self.mark.worst

    @property
    def name(self) -> str:
        """Name of the field alone, as ``divergence``."""
        return str(self.place[-2] if self.place[-1] in _PARTS else self.place[-1])

    @property
    def tolerance(self) -> Tolerance:
        """The tolerance itself."""
        assert self.value.tolerance is not None
        return self.value.tolerance

    @property
    def field(self) -> str:
        """The place as text, as ``laser[1].setup[2].divergence``."""
        text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in self.place)
        return text.removeprefix(".")


def tolerances_of(case: Case) -> tuple[Toleranced, ...]:
    """Return every input of a case that carries a tolerance, in the order of the models."""
    return tuple(_found(case, ()))


def _found(model: BaseModel, place: Place) -> Iterator[Toleranced]:
    for name, info in type(model).model_fields.items():
        value, here = getattr(model, name), (*place, name)
        if isinstance(value, BaseModel):
            yield from _found(value, here)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for i, one in enumerate(value):
                yield from _found(one, (*here, i))
        elif isinstance(value, (SIValue, Knob, Axes)):
            parts = list(_parts(value))
            if not any(one.tolerance is not None for _, one in parts):
                continue
            mark = next(mark for mark in info.metadata if isinstance(mark, Measured))
            for part, one in parts:
                if one.tolerance is not None:
                    yield Toleranced((*here, part) if part else here, one, mark)


def _parts(value: Value) -> Iterator[tuple[str, SIValue]]:
    if isinstance(value, SIValue):
        yield "", value
    elif isinstance(value, Axes):
        yield from [("", value.x)] if value.x is value.y else [("x", value.x), ("y", value.y)]
    else:
        yield from [("", value.low)] if value.low is value.high else [("low", value.low), ("high", value.high)]


def replaced(case: Case, values: Mapping[Place, SIValue | Knob]) -> Case:
    """Return the case with other values at the places of :class:`Toleranced`; nothing is checked again.

    Parameters
    ----------
    case : Case
        The case.
    values : mapping of place to SIValue or Knob
        A Knob, a range, only where the field is a setting.
    """
    found: Case = _with(case, {place: value for place, value in values.items()})
    return found


def _with(model: Any, values: Mapping[Place, SIValue | Knob]) -> Any:
    below: dict[str | int, dict[Place, SIValue | Knob]] = {}
    for place, value in values.items():
        below.setdefault(place[0], {})[place[1:]] = value
    if isinstance(model, tuple):
        return tuple(_with(one, below[i]) if i in below else one for i, one in enumerate(model))
    update = {}
    for name, inner in below.items():
        old = getattr(model, str(name))
        update[str(name)] = _new(old, inner) if isinstance(old, (SIValue, Knob, Axes)) else _with(old, inner)
    return model.model_copy(update=update)


def _new(old: Value, inner: Mapping[Place, SIValue | Knob]) -> Value:
    whole = inner.get(())
    if isinstance(old, SIValue):
        assert isinstance(whole, SIValue)
        return whole
    if isinstance(old, Axes):
        if isinstance(whole, SIValue):
            return Axes(whole, whole)
        x, y = inner.get(("x",), old.x), inner.get(("y",), old.y)
        assert isinstance(x, SIValue)
        assert isinstance(y, SIValue)
        return Axes(x, y)
    if whole is not None:
        return whole if isinstance(whole, Knob) else Knob(whole, whole)
    low, high = inner.get(("low",), old.low), inner.get(("high",), old.high)
    return Knob(low.low if isinstance(low, Knob) else low, high.high if isinstance(high, Knob) else high)
