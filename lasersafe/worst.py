"""Ranking that fails closed: what is not a number counts as the worst."""

from __future__ import annotations

import math


def badness(value: float) -> float:
    """Return a number to rank by: itself, or infinity when it is not a number.

    Examples
    --------
    >>> max([1.0, float("nan"), 3.0], key=badness)
    nan
    """
    return math.inf if math.isnan(value) else value
