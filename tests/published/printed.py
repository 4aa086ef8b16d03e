"""Compare a computed number with a number as printed."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

_listeners: list[Callable[[str, Any, bool, bool], None]] = []


class WrongPrintError(AssertionError):
    """Our number is the one we expect, and not the one that the document prints."""


def on_compare(listener: Callable[[str, Any, bool, bool], None]) -> None:
    """Call *listener* with the text, our number, whether they agree and whether we worked the text out ourselves."""
    _listeners[:] = [listener]


class Printed:
    """A number as printed; equal to what rounds to it."""

    __hash__ = None  # type: ignore[assignment]
    __array_ufunc__ = None  # so that an array on the left asks this class
    __array_priority__ = 100

    def __init__(self, text: str, own: bool = False) -> None:
        number = Decimal(text)
        exponent = number.as_tuple().exponent
        if not isinstance(exponent, int):
            raise ValueError(text)
        self.text = text
        self.own = own
        self.approx = pytest.approx(float(number), rel=0, abs=0.5 * 10.0**exponent * (1 + 1e-9))

    def __eq__(self, other: object) -> bool:
        values = np.ravel(np.asarray(other))
        agree = [bool(value == self.approx) for value in values]
        for value, one in zip(values, agree, strict=True):
            for listener in _listeners:
                listener(self.text, value, one, self.own)
        return bool(agree) and all(agree)

    def __repr__(self) -> str:
        return f"printed({self.text!r}), {self.approx}"


def printed(text: str) -> Any:
    """Match *text*, a number as printed, within half a unit of its last digit."""
    return Printed(text)


def worked(text: str) -> Any:
    """Match *text* alike; no document prints it: we worked it out from its formula or table."""
    return Printed(text, own=True)


def wrong_in_print(ours: float, text: str, expected: str) -> None:
    """Compare with a print that is wrong, where ours has to be what is *expected*.

    The test is marked ``xfail(strict=True, raises=WrongPrintError, reason=...)``: an error, or a number of ours that is
    not the expected one, fails it.
    """
    assert ours == Printed(expected).approx, f"{ours!r} is not the {expected} that is expected"
    if ours != Printed(text):
        message = f"{ours!r}, expected {expected}; printed {text}"
        raise WrongPrintError(message)
