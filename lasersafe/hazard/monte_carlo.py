"""What inputs that are not known exactly make of a number, by drawing them at random; fixed seed, bounded memory."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lasersafe.errors import InputError
from lasersafe.hazard.corner import Evaluate, Floats, Possible, Uncertain, limits_of
from lasersafe.physical import physical_range

PART = 0.95
CONFIDENCE = 0.95  # that the part lies inside the interval of its order statistics
FEWEST = 1000
_BLOCK = 1 << 17
_AGAIN = 100


@dataclass(frozen=True)
class MonteCarlo:
    """The median and the value that 95 % of the draws do not exceed.

    Parameters
    ----------
    median : float
        Half of the draws are above.
    upper : float
        95 % of all possible draws lie at or below it, with a confidence of at least 97.5 %: an order statistic above
        the one at 95 %, so more draws bring it down.
    error : float
        Half the width of the interval that holds the true 95 % value with a confidence of 95 %.
    draws, seed : int
        How many draws, and from which seed.
    refused : int
        Draws that could not be and were drawn again.
    """

    median: float
    upper: float
    error: float
    draws: int
    seed: int
    refused: int = 0


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

    Raises
    ------
    InputError
        If there are too few draws for such a pair.

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
    if first < 1 or last > draws:
        message = f"draws = {draws}: too few to bound the {part:.0%} value; write {FEWEST} or more"
        raise InputError(message)
    return first, last


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
    """
    if one.low == one.high:
        return np.full(size, one.nominal)
    if one.kind == "bound":
        return generator.uniform(one.low, one.high, size)
    lowest, highest, above = physical_range(one.name)

    up, down = one.high - one.nominal, one.nominal - one.low

    def some(number: int) -> Floats:
        standard = generator.standard_normal(number)
        standard *= up if up == down else np.where(standard > 0.0, up, down)
        standard += one.nominal
        return standard

    found = some(size)
    for _ in range(_AGAIN):
        if found.max() <= highest and ((found.min() > lowest) if above else (found.min() >= lowest)):
            return found
        outside = ((found <= lowest) if above else (found < lowest)) | (found > highest)
        found[outside] = some(int(outside.sum()))
    message = f"{one.name} = {one.nominal:.6g}: hardly any draw is physically possible; give a smaller uncertainty"
    raise InputError(message)


def monte_carlo(
    evaluate: Evaluate,
    inputs: Sequence[Uncertain],
    draws: int = 100_000,
    seed: int = 1,
    possible: Possible | None = None,
) -> MonteCarlo:
    """Return what random inputs make of a value: median and one-sided 95 % value [1]_.

    Parameters
    ----------
    evaluate : callable
        Takes a dictionary of arrays of one length, returns an array of it.
    inputs : sequence of Uncertain
        The inputs, drawn independently.
    draws : int
        How many, 1000 or more.
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
    if draws < FEWEST:
        message = f"draws = {draws}: write {FEWEST} or more"
        raise InputError(message)
    for one in inputs:
        limits_of(one)
    generator = np.random.Generator(np.random.PCG64(seed))
    found = np.empty(draws)
    refused = 0
    for start in range(0, draws, _BLOCK):
        size = min(_BLOCK, draws - start)
        block = {one.name: draw(generator, one, size) for one in inputs}
        if possible is not None:
            for _ in range(_AGAIN):
                wrong = np.flatnonzero(~np.broadcast_to(possible(block), (size,)))
                if not wrong.size:
                    break
                refused += wrong.size
                for one in inputs:
                    block[one.name][wrong] = draw(generator, one, wrong.size)
            else:
                message = "hardly any draw of these inputs is possible together; correct their values or limits"
                raise InputError(message)
        found[start : start + size] = evaluate(block)
    if np.isnan(found).any():
        message = "the value is not a number for some draws; correct the inputs"
        raise InputError(message)
    first, last = order_ranks(draws)
    middle = draws // 2
    found.partition([middle, first - 1, last - 1])
    low, high = float(found[first - 1]), float(found[last - 1])
    error = 0.0 if high == low else (high - low) / 2.0
    return MonteCarlo(float(found[middle]), high, error, draws, seed, refused)
