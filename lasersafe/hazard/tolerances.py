"""Inputs that are not known exactly: the worst corner, what each is worth, random draws, and solving backwards."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.errors import refuse
from lasersafe.hazard.distances import last_kept
from lasersafe.limits.grid import WAVELENGTHS
from lasersafe.limits.tables import Floats
from lasersafe.optics.beam import unique
from lasersafe.quantity import covered, physical_range

Evaluate = Callable[[dict[str, Floats]], Floats]
Possible = Callable[[dict[str, Floats]], NDArray[np.bool_]]

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

    References
    ----------
    .. [1] JCGM100, 6.2 and 6.3, coverage factor 2 for about 95 % (from memory).

    Examples
    --------
    >>> limits_of(Uncertain("divergence", 3e-3, 2.5e-3, 3.5e-3, "standard uncertainty"))
    (0.002, 0.004)
    """
    name, nominal, low, high, kind = uncertain
    return (low, high) if kind == "bound" else covered(name, nominal, low, high)


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
) -> float:
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
    float
        With nothing to vary, the nominal value. [any]

    Raises
    ------
    InputError
        If an input cannot be used.
    """
    ends, known = {one.name: limits_of(one) for one in inputs}, {name: way for name, way in directions.items() if way}
    fixed = {
        name: high if known.get(name, 0) > 0 else low
        for name, (low, high) in ends.items() if name in known or low == high
    }  # fmt: skip
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
        return _some(values(held, 1))
    grid = max(3, min(_GRID, int(_MOST ** (1.0 / len(searched)))))
    edges = {one.name: list((critical or {}).get(one.name, ())) for one in searched}
    lists = {one.name: _places(*ends[one.name], one.nominal, edges[one.name], grid) for one in searched}
    best, place = _best_of(values, held, lists, {one.name: one.nominal for one in searched})
    spans = {}
    for name, tried in lists.items():
        at = int(np.searchsorted(tried, place[name]))
        spans[name] = float(tried[max(at - 1, 0)]), float(tried[min(at + 1, tried.size - 1)])
    for _ in range(_ZOOMS):
        for name, (low, high) in spans.items():
            line = {other: np.array([value]) for other, value in place.items()}
            line[name] = np.clip(np.concatenate([np.linspace(low, high, _GRID), [place[name]]]), *ends[name])
            found, where = _best_of(values, held, line, place)
            if found > best:
                best, place = found, where
            step = (high - low) / (_GRID - 1) * 4.0
            spans[name] = (max(place[name] - step, ends[name][0]), min(place[name] + step, ends[name][1]))
    return _some(np.array([best]))


def _some(found: Floats) -> float:
    if not found[0] > -math.inf:
        refuse("no combination of these inputs within their limits is possible; correct their values or limits")
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
        refuse("the value is not a number somewhere inside the limits of the inputs; correct the inputs")
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
    if name == "wavelength":  # beyond the tables there is no distance
        low, high = (end * 1e-9 for end in WAVELENGTHS)
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


GRID = 1025
_PARTS = 64


class Solution(NamedTuple):
    """How far an input may go.

    Parameters
    ----------
    value : float or None
        The last value up to which, from its end of the range, every value that was tried keeps the target; None where
        already that end does not.
    every : bool
        Whether the whole range keeps it; ``value`` is then the other end.
    """

    value: float | None
    every: bool


def solved_input(
    evaluate: Callable[[Floats], Floats],
    low: float,
    high: float,
    target: float,
    critical: Sequence[float] = (),
    *,
    largest: bool,
    points: int = GRID,
    sections: int = _PARTS,
    close: float = 0.0,
) -> Solution:
    """Return how far an input may go so that it keeps a target, as does every value on the cautious side of it.

    The function may go up and down: the range is scanned on a grid and at the critical places, and the first step above
    the target is narrowed down to neighbouring numbers, of which the one that keeps the target is returned.

    Parameters
    ----------
    evaluate : callable
        Takes an array of values of the input, from the cautious end on, returns an array.
    low, high : float
        The range that is allowed. [any]
    target : float
        What must not be exceeded. [any]
    critical : sequence of float
        Places where the function may jump or turn; both their sides are tried. [any]
    largest : bool
        Whether the largest value is asked for, such that it and every smaller one keep the target; else the smallest,
        such that it and every larger one do.
    points, sections : int
        Values that are tried over the range, and parts into which each step towards the crossing divides what is left:
        fewer for a function that takes long.
    close : float
        How near to the crossing is near enough, as a part of the value. [1]

    Returns
    -------
    Solution
        On the cautious side of the crossing.

    Raises
    ------
    InputError
        If the function is not a number somewhere.
    """

    def above(places: Floats) -> NDArray[np.bool_]:
        found = np.broadcast_to(np.asarray(evaluate(places[::-1]), dtype=np.float64), places.shape)[::-1]
        if np.isnan(found).any():
            refuse("the function is not a number somewhere in the range; give a narrower range")
        return np.asarray(found > target)

    grid = _places(low, high, low, critical, points)
    grid = grid[::-1] if largest else grid  # towards the end from which on the target is kept
    over = above(grid)
    if over[-1]:
        return Solution(None, False)
    found = last_kept(above, grid, over, sections, close) if over.any() else float(grid[0])
    return Solution(found, not over.any())


PART = 0.95
CONFIDENCE = 0.95  # that the part lies inside the interval of its order statistics
_BLOCK = 1 << 17
_AGAIN = 100
_CELLS = 4096  # of equal probability
_SOME = 16384  # of the draws, which say about where a rank lies


class MonteCarlo(NamedTuple):
    """The value that 95 % of the draws do not exceed.

    Parameters
    ----------
    upper : float
        95 % of all possible draws lie at or below it, with a confidence of at least 97.5 %: an order statistic above
        the one at 95 %, so more draws bring it down.
    error : float
        Half the width of the interval that holds the true 95 % value with a confidence of 95 %.
    """

    upper: float
    error: float


def order_ranks(draws: int, part: float = PART, confidence: float = CONFIDENCE) -> tuple[int, int]:
    """Return the ranks of the two order statistics that enclose a quantile [1]_.

    Parameters
    ----------
    draws : int
        Number of draws.
    part : float
        The quantile. [1]
    confidence : float
        Least probability that the two enclose it; half of the rest is allowed on each side. [1]

    Returns
    -------
    tuple of int
        Ranks, counted from 1.

    References
    ----------
    .. [1] Elementary: the number of draws below a quantile is binomial, whatever is drawn.

    Examples
    --------
    >>> order_ranks(1000)
    (936, 964)
    """
    spread = math.sqrt(draws * part * (1.0 - part))
    low = max(0, math.floor(draws * part - 12.0 * spread - 40.0))
    high = min(draws, math.ceil(draws * part + 12.0 * spread + 40.0))
    count = np.arange(low, high + 1, dtype=np.float64)
    steps = np.log((draws - count[:-1]) / (count[:-1] + 1.0) * (part / (1.0 - part)))
    weight = np.concatenate([[0.0], np.cumsum(steps)])
    mass = np.exp(weight - weight.max())
    below = np.cumsum(mass) / mass.sum()  # P(count <= k)
    tail = (1.0 - confidence) / 2.0
    first = low + int(np.searchsorted(below, tail, side="right"))  # P(count < first) <= tail
    last = low + int(np.searchsorted(below, 1.0 - tail, side="left")) + 1  # P(count < last) >= 1 - tail
    return first, last


@lru_cache(maxsize=1)
def _quantiles() -> tuple[Floats, Floats]:
    """Return the standard normal value at the start of each cell of equal probability, and by how much it rises in it.

    NaN in the first and the last cell, which have no end.
    """
    from statistics import NormalDist

    inner = [NormalDist().inv_cdf(number / _CELLS) for number in range(1, _CELLS)]
    edges = np.array([math.nan, *inner, math.nan])
    return edges[:-1], np.diff(edges)


def draw(generator: np.random.Generator, one: Uncertain, size: int) -> Floats:
    """Return draws of an input: uniform between bounds; normal, cut off where it is not physical [1]_.

    Parameters
    ----------
    generator : numpy.random.Generator
        Where the draws come from.
    one : Uncertain
        The input.
    size : int
        How many.

    Returns
    -------
    numpy.ndarray, shape (size,)
        Values of the input. [any]

    Raises
    ------
    InputError
        If the input cannot be used.

    References
    ----------
    .. [1] JCGM101, 6.4: a rectangular distribution for bounds, a Gaussian for a standard uncertainty (from memory).

    Notes
    -----
    A normal draw is the quantile of a random 32-bit number, in each of 4096 cells on a straight line: exact at the ends
    of the cells and in the two outermost; between them the probability below a value is off by less than 2e-7 up to the
    quantile of 95 %, by 3e-5 at most. Three times as fast as `numpy.random.Generator`, and the same on every machine.
    """
    if one.low == one.high:
        return np.full(size, one.nominal)
    if one.kind == "bound":
        return generator.uniform(one.low, one.high, size)
    from statistics import NormalDist

    inverse = NormalDist().inv_cdf
    lowest, highest, above = physical_range(one.name)
    start, rise = _quantiles()
    side = np.where(np.arange(_CELLS) < _CELLS // 2, one.nominal - one.low, one.high - one.nominal)
    start, rise = start * side + one.nominal, rise * side * (_CELLS / 2.0**32)

    def some(number: int) -> Floats:
        bits = generator.bit_generator.random_raw((number + 1) // 2).view(np.uint32)[:number]
        cell = np.empty(number, dtype=np.intp)
        np.right_shift(bits, 32 - _CELLS.bit_length() + 1, out=cell)
        values: Floats = rise.take(cell)
        values *= bits & (2**32 // _CELLS - 1)
        values += start.take(cell)
        tails = np.flatnonzero(np.isnan(values))
        quantiles = [inverse((one_of + 0.5) / 2.0**32) for one_of in bits[tails].tolist()]
        values[tails] = side[cell[tails]] * quantiles + one.nominal
        return values

    found = some(size)
    while found.max() > highest or found.min() < lowest or (above and found.min() == lowest):  # at most one in twenty
        outside = ((found <= lowest) if above else (found < lowest)) | (found > highest)
        found[outside] = some(int(outside.sum()))
    return found


def _of_rank(values: Floats, rank: int, some: Floats) -> float:
    """Return the value of a rank, counted from 0: some of the values, sorted, say about where it lies."""
    share = rank / values.size
    about, aside = share * some.size, 6.0 * math.sqrt(share * (1.0 - share) * some.size)
    low, high = some[max(int(about - aside), 0)], some[min(int(about + aside) + 1, some.size - 1)]
    near, below = values[np.flatnonzero((values >= low) & (values <= high))], int(np.count_nonzero(values < low))
    if not below <= rank < below + near.size:
        near, below = values, 0
    return float(np.partition(near, rank - below)[rank - below])


def monte_carlo(
    evaluate: Evaluate,
    inputs: Sequence[Uncertain],
    draws: int = 100_000,
    seed: int = 1,
    possible: Possible | None = None,
) -> MonteCarlo:
    """Return what random inputs make of a value: the one-sided 95 % value [1]_.

    Parameters
    ----------
    evaluate : callable
        Takes a dictionary of arrays of one length, returns an array of it.
    inputs : sequence of Uncertain
        The inputs, drawn independently.
    draws : int
        How many.
    seed : int
        Equal seeds give equal draws.
    possible : callable, optional
        Takes the same dictionary, returns where the inputs can be together; the others are drawn again.

    Returns
    -------
    MonteCarlo
        The same for equal arguments.

    Raises
    ------
    InputError
        If an input or the number of draws cannot be used, or hardly any draw is possible.

    References
    ----------
    .. [1] JCGM101, propagation of distributions (from memory); the order statistic is exact for any distribution.
    """
    generator = np.random.Generator(np.random.PCG64(seed))
    found = np.empty(draws)
    for start in range(0, draws, _BLOCK):
        size = min(_BLOCK, draws - start)
        block = {one.name: draw(generator, one, size) for one in inputs}
        if possible is not None:
            for _ in range(_AGAIN):
                wrong = np.flatnonzero(~np.broadcast_to(possible(block), (size,)))
                if not wrong.size:
                    break
                for one in inputs:
                    block[one.name][wrong] = draw(generator, one, wrong.size)
            else:
                refuse("hardly any draw of these inputs is possible together; correct their values or limits")
        found[start : start + size] = evaluate(block)
    if np.isnan(found).any():
        refuse("the value is not a number for some draws; correct the inputs")
    first, last = order_ranks(draws)
    some = np.sort(found[:: max(draws // _SOME, 1)])
    high, low = (_of_rank(found, rank, some) for rank in (last - 1, first - 1))
    return MonteCarlo(high, 0.0 if high == low else (high - low) / 2.0)
