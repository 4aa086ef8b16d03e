"""What an input of a number is worth, percent for percent."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from lasersafe.hazard.corner import Evaluate
from lasersafe.physical import physical_range

_STEP = 1e-4  # relative, of the slope


def slope(evaluate: Evaluate, nominal: Mapping[str, float], name: str, here: float | None = None) -> float:
    """Return by how many percent a value changes for one percent of an input, d ln(value) / d ln(input).

    Parameters
    ----------
    evaluate : callable
        As for `worst_corner`.
    nominal : mapping of str to float
        All inputs. [any]
    name : str
        The input that is changed.
    here : float, optional
        The value at the nominal inputs, where it is known already. [any]

    Returns
    -------
    float
        Where both sides differ, the steeper one; infinite at a jump; NaN where value or input is 0. [1]
    """
    x = nominal[name]
    if x == 0.0:
        return math.nan
    low, high, above = physical_range(name)
    places, steps = [], np.array([_STEP, _STEP / 16.0])
    for sign in (1.0, -1.0):
        side = x * (1.0 + sign * steps)
        if ((side > low) | ((side == low) & (not above))).all() and (side <= high).all():
            places.append(side)
    values = {other: np.asarray(value) for other, value in nominal.items()}
    here = float(evaluate(values)) if here is None else here
    if here == 0.0 or not math.isfinite(here):
        return math.nan
    steepest = 0.0
    tried = np.broadcast_to(evaluate({**values, name: np.concatenate(places)}), (2 * len(places),)) if places else ()
    for number, side in enumerate(places):
        there = np.asarray(tried[2 * number : 2 * number + 2])
        wide, narrow = (float(part) for part in there / here - 1.0)
        if abs(narrow) > 1e-7 and abs(narrow) > 0.5 * abs(wide):  # does not shrink with the step
            return math.inf
        if not there[0] > 0.0:
            return math.inf
        found = float(np.log1p(wide) / np.log(side[0] / x))
        steepest = found if abs(found) > abs(steepest) else steepest
    return steepest
