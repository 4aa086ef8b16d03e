"""Compare a computed number with a number as printed."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

_listeners: list[Callable[[str, Any, bool], None]] = []


def on_compare(listener: Callable[[str, Any, bool], None]) -> None:
    """Call *listener* with the printed text, our number and whether they agree, at each comparison."""
    _listeners[:] = [listener]


class Printed:
    """A number as printed; equal to what rounds to it."""

    __hash__ = None  # type: ignore[assignment]
    __array_ufunc__ = None  # so that an array on the left asks this class
    __array_priority__ = 100

    def __init__(self, text: str) -> None:
        number = Decimal(text)
        exponent = number.as_tuple().exponent
        if not isinstance(exponent, int):
            raise ValueError(text)
        self.text = text
        self.approx = pytest.approx(float(number), rel=0, abs=0.5 * 10.0**exponent * (1 + 1e-9))

    def __eq__(self, other: object) -> bool:
        values = np.ravel(np.asarray(other))
        agree = [bool(value == self.approx) for value in values]
        for value, one in zip(values, agree, strict=True):
            for listener in _listeners:
                listener(self.text, value, one)
        return bool(agree) and all(agree)

    def __repr__(self) -> str:
        return f"printed({self.text!r}), {self.approx}"


def printed(text: str) -> Any:
    """Match *text*, a number as printed, within half a unit of its last digit."""
    return Printed(text)
