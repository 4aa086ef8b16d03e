"""The worst corner of inputs that are not known exactly, and what an input is worth, percent for percent.

Works on any function that takes arrays of inputs by name and returns an array. No result is a probability of injury.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import InputError
from lasersafe.optics.checks import unique
from lasersafe.physical import covered, physical_range

Floats = NDArray[np.float64]
Evaluate = Callable[[dict[str, Floats]], Floats]
Possible = Callable[[dict[str, Floats]], NDArray[np.bool_]]

KINDS = ("bound", "standard uncertainty")
_MOST = 60_000  # places of the search
_GRID = 33
_ZOOMS = 12
_STEP = 1e-4  # relative, of the slope
_BESIDE = 4e-9  # relative: both sides of an edge of a table are tried, beyond the slack of a pulse count


class Uncertain(NamedTuple):
    """An input that is not known exactly.

    Parameters
    ----------
    name : str
        Field of the case file, as in `assessment.distances.variable_inputs`.
    nominal : float
        Value as typed, in SI units.
    low, high : float
        The bounds, or nominal minus and plus one standard uncertainty.
    kind : str
        ``bound`` or ``standard uncertainty``.
    """

    name: str
    nominal: float
    low: float
    high: float
    kind: str = "bound"


@dataclass(frozen=True)
class Corner:
    """The worst value inside all limits, and where it is.

    Parameters
    ----------
    value : float
        The highest value that was found.
    inputs : dict of str to float
        Each input there.
    by_monotonicity : tuple of str
        Inputs whose worse end is known.
    by_search : tuple of str
        Inputs whose whole range was searched.
    """

    value: float
    inputs: dict[str, float]
    by_monotonicity: tuple[str, ...]
    by_search: tuple[str, ...]


def _checked(uncertain: Uncertain) -> None:
    name, nominal, low, high, kind = uncertain
    lowest, highest, above = physical_range(name)
    inside = (low > lowest or (low == lowest and not above)) and low <= nominal <= high <= highest
    if kind not in KINDS or not inside or not all(map(math.isfinite, (nominal, low, high))):
        start = f"above {lowest:g}" if above else f"{lowest:g} or more" if math.isfinite(lowest) else "finite"
        message = (
            f"{name} = {nominal:.6g}, from {low:.6g} to {high:.6g}, {kind}: the lower end must be {start}, the nominal "
            f"value between both ends, the kind one of {', '.join(KINDS)} (SI units)"
        )
        raise InputError(message)


def limits_of(uncertain: Uncertain) -> tuple[float, float]:
    """Return the lowest and highest value that the worst corner has to cover [1]_.

    Parameters
    ----------
    uncertain : Uncertain
        An input.

    Returns
    -------
    tuple of float
        The bounds themselves; of a standard uncertainty, nominal minus and plus twice of it, inside what is
        physically possible. [any]

    Raises
    ------
    InputError
        If the numbers contradict each other, or twice the standard uncertainty leaves nothing above zero.

    References
    ----------
    .. [1] JCGM100, 6.2 and 6.3, coverage factor 2 for about 95 % (from memory).

    Examples
    --------
    >>> limits_of(Uncertain("divergence", 3e-3, 2.5e-3, 3.5e-3, "standard uncertainty"))
    (0.002, 0.004)
    """
    _checked(uncertain)
    name, nominal, low, high, kind = uncertain
    if kind == "bound":
        return low, high
    least, most = covered(name, nominal, low, high)
    lowest, _, above = physical_range(name)
    if above and not least > lowest:
        message = (
            f"{name} = {nominal:.6g} with a standard uncertainty of {nominal - low:.6g} (SI units): twice of it "
            f"reaches {lowest:g}, where there is no worst case; measure it better, or state the lowest and highest "
            "value as bounds"
        )
        raise InputError(message)
    return least, most


def _places(low: float, high: float, nominal: float, critical: Sequence[float], grid: int) -> Floats:
    """Return where a range is searched: both ends, nominal, edges inside with their neighbours, and a grid."""
    inside = [c * f for c in critical if low < c < high for f in (1.0 - _BESIDE, 1.0, 1.0 + _BESIDE)]
    steps = np.geomspace(low, high, grid) if low > 0.0 else np.linspace(low, high, grid)
    steps[0], steps[-1] = low, high
    found = np.concatenate([steps, [nominal], [c for c in inside if low <= c <= high]])
    return unique(found)


def worst_corner(
    evaluate: Evaluate,
    inputs: Sequence[Uncertain],
    directions: Mapping[str, int],
    critical: Mapping[str, Sequence[float]] | None = None,
    possible: Possible | None = None,
) -> Corner:
    """Return the highest value inside all limits.

    An input with a known direction is put to its worse end, which is exact. All others are searched together: ends,
    nominal, the edges of tables inside with both neighbours, and a grid; then narrower and narrower around the best.

    Parameters
    ----------
    evaluate : callable
        Takes a dictionary of arrays that broadcast together, returns an array.
    inputs : sequence of Uncertain
        The inputs; what is not among them stays as it is.
    directions : mapping of str to int
        1: the value never falls with the input; -1: it never rises; 0 or missing: not known.
    critical : mapping of str to sequence of float, optional
        Places inside the range of an input where the value may jump or turn. [any]
    possible : callable, optional
        Takes the same dictionary as *evaluate*, returns where the inputs can be together; the others do not count.

    Returns
    -------
    Corner
        With nothing to vary, the nominal value.

    Raises
    ------
    InputError
        If an input cannot be used.
    """
    ends = {one.name: limits_of(one) for one in inputs}
    fixed = {
        name: high if directions.get(name, 0) > 0 else low
        for name, (low, high) in ends.items()
        if directions.get(name, 0) or low == high
    }
    known = tuple(name for name in fixed if directions.get(name, 0))
    searched = [one for one in inputs if one.name not in fixed]
    held = {name: np.asarray(value) for name, value in fixed.items()}

    def values(case: dict[str, Floats], size: int) -> Floats:
        """Return the values of cases, minus infinity where the inputs cannot be together."""
        if possible is None:
            return np.broadcast_to(evaluate(case), (size,))
        can = np.broadcast_to(possible(case), (size,))
        if not can.any():
            return np.full(size, -math.inf)
        found = np.full(size, -math.inf)
        found[can] = evaluate({name: part[can] if part.ndim else part for name, part in case.items()})
        return found

    if not searched:
        return Corner(_some(values(held, 1)), fixed, known, ())
    grid = max(3, min(_GRID, int(_MOST ** (1.0 / len(searched)))))
    edges = {one.name: list((critical or {}).get(one.name, ())) for one in searched}
    lists = {one.name: _places(*ends[one.name], one.nominal, edges[one.name], grid) for one in searched}
    best, place = _best_of(values, held, lists, {one.name: one.nominal for one in searched})
    width = {name: (values, int(np.searchsorted(values, place[name]))) for name, values in lists.items()}
    spans = {
        name: (float(values[max(at - 1, 0)]), float(values[min(at + 1, values.size - 1)]))
        for name, (values, at) in width.items()
    }
    for _ in range(_ZOOMS):
        for name, (low, high) in spans.items():
            line = {other: np.array([value]) for other, value in place.items()}
            line[name] = np.clip(np.concatenate([np.linspace(low, high, _GRID), [place[name]]]), *ends[name])
            found, where = _best_of(values, held, line, place)
            if found > best:
                best, place = found, where
            step = (high - low) / (_GRID - 1) * 4.0
            spans[name] = (max(place[name] - step, ends[name][0]), min(place[name] + step, ends[name][1]))
    return Corner(_some(np.array([best])), {**fixed, **place}, known, tuple(lists))


def _some(found: Floats) -> float:
    if not found[0] > -math.inf:
        message = "no combination of these inputs within their limits is possible; correct their values or limits"
        raise InputError(message)
    return float(found[0])


def _best_of(
    values_at: Callable[[dict[str, Floats], int], Floats],
    held: dict[str, Floats],
    lists: dict[str, Floats],
    start: dict[str, float],
) -> tuple[float, dict[str, float]]:
    """Return the highest value over all combinations of the lists, and where; coordinate by coordinate if too many."""
    size = math.prod(values.size for values in lists.values())
    if size > 8 * _MOST:
        place = dict(start)
        best = -math.inf
        for _ in range(3):
            for name, values in lists.items():
                line = {other: np.array([value]) for other, value in place.items()} | {name: values}
                best, place = _best_of(values_at, held, line, place)
        return best, place
    mesh = np.meshgrid(*lists.values(), indexing="ij")
    flat = {name: part.reshape(-1) for name, part in zip(lists, mesh, strict=True)}
    found = values_at({**held, **flat}, size)
    if np.isnan(found).any():
        message = "the value is not a number somewhere inside the limits of the inputs; correct the inputs"
        raise InputError(message)
    at = int(np.argmax(found))
    return float(found[at]), {name: float(values[at]) for name, values in flat.items()}


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
