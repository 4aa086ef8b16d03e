"""Lists of pulses: what is counted in leaps and sorted at once equals what is counted step by step."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from lasersafe.limits.exposure import COUNT_SLACK
from lasersafe.limits.patterns import Line, _fewest, groups_of


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


def line_of(gaps: list[float], period: float | None) -> Line:
    start = np.concatenate([[0.0], np.cumsum(gaps)[:-1]])
    ones = np.ones(start.size)
    return Line(start, 1e-12 * ones, ones, None if period is None else float(sum(gaps)) * period)


def by_steps(short: Line, long: Line, window: float, counted: float) -> float:
    """Count one group after the other, pulse by pulse."""
    limit, most = counted * (1.0 - COUNT_SLACK), 0.0
    for begin in [*short.start, *long.start]:
        alone = groups = 0.0
        if long.start.size:
            alone = float(long.before(begin + limit)[0] - long.before(begin)[0])
        if short.start.size:
            at, end = (int(short.before(np.asarray(begin + t))[0]) for t in (0.0, limit))
            while at < end:
                phase = at % short.start.size
                after = short.before(np.asarray(short.start[phase] + window * (1.0 - COUNT_SLACK)))[0] - phase
                at, groups = at + max(int(after), 1), groups + 1
        most = max(most, groups + alone)
    return most


GAPS = st.lists(number(1e-7, 1e-2), min_size=1, max_size=9)


@settings(max_examples=150)
@given(
    GAPS, GAPS, st.sampled_from([None, 1.0, 1.7, 30.0]), number(1e-8, 1e-2),
    st.lists(number(1e-7, 0.3), min_size=1, max_size=4), st.booleans(), st.booleans(),
)  # fmt: skip
def test_groups_are_counted_in_leaps_as_one_by_one(gaps, others, period, window, counted, with_short, with_long):
    both = line_of(gaps + others, period)
    if both.period is not None:
        counted = [min(time, 300.0 * both.period) for time in counted]
    inside = np.arange(both.start.size) % 2 == 0
    short = both.some(inside if with_short else np.zeros_like(inside))
    long = both.some(~inside if with_long or not with_short else np.zeros_like(inside))
    if not short.start.size + long.start.size:
        return
    times = np.array(counted)
    found = groups_of(short, long, window, times)
    assert found.tolist() == [by_steps(short, long, window, time) for time in counted]


@given(
    st.lists(st.tuples(number(1e-9, 10.0), st.integers(1, 6)), min_size=1, max_size=40),
    st.lists(number(1e-9, 10.0), min_size=1, max_size=5), st.booleans(),
)  # fmt: skip
def test_only_windows_that_a_shorter_one_in_their_row_exceeds_are_left_out(windows, edges, on_edge):
    edges = np.unique(edges)
    time = np.array([one for one, _ in windows] + ([float(edges[-1])] if on_edge else []))
    energy = np.array([float(one) for _, one in windows] + ([0.5] if on_edge else []))
    counts = np.arange(time.size, dtype=float)
    kept = {int(one) for one in _fewest(time, energy, counts, edges)[2]}
    cell = np.searchsorted(edges, time)
    for k in range(time.size):
        beaten = [
            j for j in range(time.size)
            if j != k and cell[j] == cell[k] and time[j] <= time[k] and energy[j] >= energy[k]
        ]  # fmt: skip
        near = bool((np.abs(time[k] / edges - 1.0) < 1e-11).any())
        if near or not beaten:
            assert k in kept
        elif all(energy[j] > energy[k] or time[j] < time[k] for j in beaten):
            assert k not in kept
