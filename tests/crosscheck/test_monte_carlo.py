"""Monte Carlo against scipy's distributions and against linear propagation, where that is exact."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from lasersafe.errors import InputError
from lasersafe.hazard.tolerances import Uncertain, draw, monte_carlo, order_ranks

NORMAL = "standard uncertainty"


@pytest.mark.parametrize("draws", [1000, 1001, 20_000, 1_000_000, 10_000_000])
def test_ranks_are_those_of_the_binomial(draws: int) -> None:
    first, last = order_ranks(draws)
    below = stats.binom(draws, 0.95)
    assert below.cdf(first - 1) <= 0.025 < below.cdf(first)
    assert below.cdf(last - 2) < 0.975 <= below.cdf(last - 1)


@pytest.mark.parametrize("seed", range(5))
def test_a_sum_of_normal_inputs_is_the_linear_propagation(seed: int) -> None:
    inputs = [Uncertain("power", 10.0, 9.5, 10.5, NORMAL), Uncertain("duration", 20.0, 18.8, 21.2, NORMAL)]
    found = monte_carlo(lambda c: 2.0 * c["power"] + c["duration"], inputs, draws=200_000, seed=seed)
    exact = stats.norm(40.0, math.hypot(1.0, 1.2)).ppf(0.95)
    assert exact - 2 * found.error <= found.upper <= exact + 4 * found.error
    assert 0.0 < found.error < 0.02


@pytest.mark.parametrize("seed", range(5))
def test_one_input_gives_its_own_quantile(seed: int) -> None:
    flat = monte_carlo(lambda c: c["power"], [Uncertain("power", 2.0, 1.0, 3.0)], draws=100_000, seed=seed)
    assert flat.upper == pytest.approx(2.9, abs=0.006)
    cut = Uncertain("reflectance", 0.9, 0.7, 1.0, NORMAL)
    found = monte_carlo(lambda c: c["reflectance"], [cut], draws=100_000, seed=seed)
    below, above = stats.norm(0.9, 0.2), stats.norm(0.9, 0.1)  # half of the draws on each side, cut at 0 and 1
    inside = (below.cdf(0.9) - below.cdf(0.0)) + (above.cdf(1.0) - above.cdf(0.9))
    quantile = above.ppf(above.cdf(1.0) - 0.05 * inside)
    assert found.upper == pytest.approx(quantile, abs=0.002)
    assert found.upper >= quantile


def test_normal_draws_are_normal_in_the_middle_and_in_the_tails() -> None:
    one = Uncertain("power", 100.0, 99.0, 101.0, NORMAL)
    found = draw(np.random.Generator(np.random.PCG64(11)), one, 2_000_001) - 100.0  # odd: half of 64 bits is left
    for moment, exact, error in ((1, 0.0, 1.0), (2, 1.0, math.sqrt(2.0)), (3, 0.0, math.sqrt(15.0)), (4, 3.0, 96**0.5)):
        assert (found**moment).mean() == pytest.approx(exact, abs=4.0 * error / math.sqrt(found.size))
    for part in (1e-5, 1e-4, 1.0 / 4096, 0.5 / 4096, 0.05, 0.5):  # 1/4096: the outermost cell, which has no end
        for share in (found < stats.norm.ppf(part), found > stats.norm.isf(part)):
            assert stats.binom(found.size, part).ppf(1e-6) <= share.sum() <= stats.binom(found.size, part).isf(1e-6)
    assert 4.7 < np.abs(found).max() < 6.4  # of two million, the largest; of 32 bits, what can be
    assert abs(np.corrcoef(found[:-1], found[1:])[0, 1]) < 4.0 / math.sqrt(found.size)


@pytest.mark.parametrize("draws", [1000, 40_000, 70_001])
@pytest.mark.parametrize("order", ["drawn", "rising", "every other", "equal", "endless"])
def test_the_statistics_are_those_of_all_draws_in_order(draws: int, order: str) -> None:
    values = np.random.default_rng(3).standard_exponential(draws)
    if order == "rising":
        values.sort()
    elif order == "every other":  # nothing of every second and fourth says what the others are
        values[::2] += 100.0
        values[::4] += 100.0
    elif order == "equal":
        values = np.floor(values)
    elif order == "endless":
        values[values > 0.5] = math.inf
    taken = iter(np.split(values, range(1 << 17, draws, 1 << 17)))
    one = Uncertain("power", 1.0, 0.9, 1.1, "bound")
    with np.errstate(invalid="ignore"):
        found = monte_carlo(lambda _: next(taken), [one], draws=draws)
    first, last = order_ranks(draws)
    high, low = np.sort(values)[[last - 1, first - 1]].tolist()
    assert found.upper == high
    assert found.error == (0.0 if high == low else (high - low) / 2.0)


def test_the_conservative_statistic_is_rarely_too_low() -> None:
    exact = stats.norm(1.0, 0.1).ppf(0.95)
    one = [Uncertain("power", 1.0, 0.9, 1.1, NORMAL)]
    low = sum(monte_carlo(lambda c: c["power"], one, draws=2000, seed=seed).upper < exact for seed in range(400))
    assert low <= stats.binom(400, 0.025).ppf(0.9999)


def test_equal_seeds_give_equal_answers_and_blocks_do_not_show() -> None:
    one = [Uncertain("power", 1.0, 0.9, 1.1, NORMAL)]
    first, again = (monte_carlo(lambda c: c["power"], one, draws=300_000, seed=3) for _ in range(2))
    assert first == again
    assert first != monte_carlo(lambda c: c["power"], one, draws=300_000, seed=4)


def test_zero_spread_and_infinite_values() -> None:
    fixed = monte_carlo(lambda c: c["power"] * 0.0, [Uncertain("power", 1.0, 1.0, 1.0)], draws=1000)
    assert fixed == (0.0, 0.0)
    far = monte_carlo(lambda c: np.full_like(c["power"], math.inf), [Uncertain("power", 1.0, 0.5, 2.0)], draws=1000)
    assert (far.upper, far.error) == (math.inf, 0.0)
    with pytest.raises(InputError, match="not a number"):
        monte_carlo(lambda c: c["power"] * math.nan, [Uncertain("power", 1.0, 0.5, 2.0)], draws=1000)


def test_draws_that_cannot_be_are_drawn_again() -> None:
    both = [Uncertain("a", 1.0, 0.5, 2.0), Uncertain("b", 1.0, 0.5, 2.0)]
    found = monte_carlo(lambda c: c["a"], both, draws=20_000, possible=lambda c: c["a"] < c["b"])
    assert found.upper < 1.72  # of the smaller of two: 2 - 1.5 * sqrt(0.05) = 1.665
    with pytest.raises(InputError, match="hardly any draw"):
        monte_carlo(lambda c: c["a"], both, draws=1000, possible=lambda c: c["a"] > 9.0)
