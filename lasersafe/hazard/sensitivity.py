"""What each input of a number is worth: percent for percent, and what it would bring to know it exactly."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from lasersafe.hazard.corner import Evaluate, Possible, Uncertain, worst_corner
from lasersafe.physical import physical_range

_STEP = 1e-4  # relative, of the slope


class Sensitivity(NamedTuple):
    """What one input is worth.

    Parameters
    ----------
    name : str
        The input.
    percent : float
        Percent by which the value changes for one percent of the input, at nominal; infinite where the value jumps
        there, NaN where it or the input is 0.
    known : float
        The worst value if this input were known to be nominal, the others at their worst.
    gain : float
        By how much that is below the worst corner; never negative.
    """

    name: str
    percent: float
    known: float
    gain: float


def sensitivity(
    evaluate: Evaluate,
    inputs: Sequence[Uncertain],
    directions: Mapping[str, int],
    critical: Mapping[str, Sequence[float]] | None = None,
    possible: Possible | None = None,
) -> list[Sensitivity]:
    """Return what each input is worth, the one whose exact value would gain most first.

    Parameters
    ----------
    evaluate : callable
        As for `worst_corner`.
    inputs : sequence of Uncertain
        The inputs; one without tolerance has equal ends.
    directions : mapping of str to int
        As for `worst_corner`.
    critical : mapping of str to sequence of float, optional
        As for `worst_corner`. [any]
    possible : callable, optional
        As for `worst_corner`.

    Returns
    -------
    list of Sensitivity
        By gain, then by the size of ``percent``, then by name.

    Raises
    ------
    InputError
        If an input cannot be used.
    """
    nominal = {one.name: one.nominal for one in inputs}
    worst = worst_corner(evaluate, inputs, directions, critical, possible).value
    found = []
    for one in inputs:
        exact = [one._replace(low=one.nominal, high=one.nominal) if other is one else other for other in inputs]
        known = worst if one.low == one.high else worst_corner(evaluate, exact, directions, critical, possible).value
        gain = 0.0 if known == worst else max(0.0, worst - known)
        found.append(Sensitivity(one.name, slope(evaluate, nominal, one.name), known, gain))
    return sorted(found, key=lambda s: (-s.gain, -_size(s.percent), s.name))


def _size(percent: float) -> float:
    return -1.0 if math.isnan(percent) else abs(percent)


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


def most_to_gain(found: Sequence[Sensitivity]) -> Sensitivity | None:
    """Return the input whose exact value would shorten the worst case most.

    Parameters
    ----------
    found : sequence of Sensitivity
        From `sensitivity`.

    Returns
    -------
    Sensitivity or None
        None where no exact value would bring anything.
    """
    return next((one for one in found if one.gain > 0.0), None)
