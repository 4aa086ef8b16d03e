"""One line of a calculation: the lowest of the result records."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Step:
    """One line of a calculation: symbol, formula, numbers put in, result, source."""

    symbol: str
    meaning: str
    formula: str
    numbers: str
    value: float
    unit: str
    source: str
    seen: str = "read"  # read | part | memory | common practice | own
