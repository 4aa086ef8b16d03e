"""Second method for trains, bursts and lists: every pulse is put on the time axis and every window is summed.

Nothing of the closed forms is used. Limits of a single duration come from `hazard_limits` (checked elsewhere against a
second keying); T_i, C_P and the counting time are written out here once more, from the wording of the documents.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from lasersafe.limits import hazard_limits, pulse_list_limit, pulse_train_limit

SLACK = 1e-9  # a window that is a whole number of periods is one, whatever the last bit says
LIMIT = 1e-9
ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"
T_I = {
    ICNIRP: [(400, 1050, 5e-6, None), (1050, 1400, 13e-6, None)],
    EU: [
        (180, 315, 0.0, math.inf), (315, 400, 1e-9, math.inf), (400, 1050, 18e-6, math.inf),
        (1050, 1400, 50e-6, math.inf), (1400, 1500, 1e-3, math.inf), (1500, 1800, 10.0, math.inf),
        (1800, 2600, 1e-3, math.inf), (2600, 1e6, 1e-7, math.inf),
    ],
}  # fmt: skip
THERMAL = {
    ICNIRP: {"retina thermal"},
    EU: {"ultraviolet peak", "ultraviolet thermal", "retina thermal", "cornea thermal", "skin thermal"},
}


def pulse_factor(rule_set, within, exposure, alpha, pulse, number):
    """C_P as printed; alpha in mrad."""
    if rule_set == EU:
        return number**-0.25
    if within:
        return 1.0 if exposure <= 0.25 or number <= 600 else min(1.0, max(0.4, 5 * number**-0.25))
    alpha_max = 5.0 if pulse < 625e-6 else min(200 * pulse**0.5, 100.0)
    if alpha <= 5 or alpha > 100:
        return 1.0
    if alpha <= alpha_max:
        return number**-0.25 if number <= 40 else 0.4
    return number**-0.25 if number <= 625 else 0.2


def t_2(alpha):
    """T_2 as printed; alpha in mrad."""
    return min(max(10 * 10 ** ((alpha - 1.5) / 98.5), 10.0), 100.0)


def windows(starts, pulse, energy, exposure):
    """Lengths and energies of every window of two pulses or more, and of the whole exposure wherever it begins."""
    total = np.concatenate([[0.0], np.cumsum(energy)])
    first, last = np.triu_indices(starts.size, 1)
    gap = starts[last] - starts[first]
    inside = gap < exposure * (1 - SLACK)
    first, last, gap = first[inside], last[inside], gap[inside]
    lengths = [np.minimum(gap + pulse[last], exposure)]
    sums = [total[last + 1] - total[first]]
    for i, start in enumerate(starts):
        end = int(np.searchsorted(starts, start + exposure * (1 - SLACK)))
        lengths.append([exposure])
        sums.append([total[end] - total[i]])
    return np.concatenate(lengths), np.concatenate(sums)


def greedy(starts, window):
    """How many groups of pulses that start within a time of each other, taken from the first on."""
    groups, end = 0, -math.inf
    for start in starts:
        if start >= end:
            groups, end = groups + 1, start + window * (1 - SLACK)
    return groups


def groups_in_bursts(starts, burst, within, counted):
    """The most groups over all places of the counting time; touched bursts count whole."""
    bursts = starts.reshape(-1, burst)
    length = bursts[0, -1] - bursts[0, 0]
    most = 0
    for begin in bursts[0]:
        touched = bursts[(bursts[:, 0] < begin + counted * (1 - SLACK))]
        if length < within * (1 - SLACK):
            groups, end = 0, -math.inf
            for one in touched:
                if one[-1] >= end:
                    groups, end = groups + 1, one[0] + within * (1 - SLACK)
        else:
            groups = greedy(touched[0], within) * len(touched)
        each = int((starts[starts >= starts[0]] < starts[0] + counted * (1 - SLACK)).sum())
        most = max(most, min(groups, each))
    return most


def one_by_one(rule_set, tissue, case, number_of, dark=True):
    """Return rule -> limit for the largest pulse; `number_of` counts groups. Without dark time there is no train."""
    lam, starts, pulse, energy, exposure, alpha = case
    jobs = [("single pulse", pulse, energy, 1.0)]
    jobs.append(("mean", *windows(starts, pulse, energy, exposure), 1.0))
    for low, high, within, over in T_I[rule_set]:
        if not (low <= lam * 1e9 <= high and dark):
            continue
        counted = min(exposure, t_2(alpha * 1e3) if over is None else over)
        number = number_of(starts, pulse, within, counted)
        short = pulse <= within
        for t, q, inside in zip(pulse, energy, short, strict=True):
            if rule_set == EU or t <= 0.25:
                jobs.append(("train", [t], [q], pulse_factor(rule_set, inside, exposure, alpha * 1e3, t, number)))
        own, time = starts[short], min(within, exposure)
        for i, start in enumerate(own):
            together = int(np.searchsorted(own, start + time * (1 - SLACK))) - i
            if together > 1:
                factor = pulse_factor(rule_set, True, exposure, alpha * 1e3, time, number)
                jobs.append(("train", [time], [energy[short][i : i + together].sum()], factor))
    found = dict.fromkeys(("single pulse", "mean", "train"), math.inf)
    lengths = np.concatenate([np.atleast_1d(t) for _, t, _, _ in jobs])
    sums = np.concatenate([np.atleast_1d(q) for _, _, q, _ in jobs])
    factors = np.concatenate([np.full(np.size(t), c) for _, t, _, c in jobs])
    rules = np.concatenate([np.full(np.size(t), r) for r, t, _, _ in jobs])
    for limit in hazard_limits(rule_set, tissue, lam, lengths, alpha):
        share = limit.radiant_exposure * factors / sums
        for rule in found:
            if rule != "train" or limit.name in THERMAL[rule_set]:
                found[rule] = min([found[rule], *share[rules == rule]])
    return found


def by_rule(limit):
    """Rule -> lowest limit of a result."""
    found = dict.fromkeys(("single pulse", "mean", "train"), math.inf)
    for row in limit.rows:
        found[row.rule] = min(found[row.rule], float(row.per_pulse))
    return found


def agree(found, expected):
    """Whether each rule has the same limit."""
    return all(found[rule] == expected[rule] or abs(found[rule] / expected[rule] - 1) <= LIMIT for rule in expected)


def edge_or_random(draw, low, high, edges):
    """A value spread over decades, now and then one close to an edge of the tables."""
    if draw.random() < 0.2:
        return float(np.clip(draw.choice(edges) * (1 + draw.choice([-1e-6, 1e-6, 0.01])), low, high))
    return float(10 ** draw.uniform(math.log10(low), math.log10(high)))


@cache
def trains(count, seed):
    """Random trains of few enough pulses to be summed one by one."""
    draw = np.random.default_rng(seed)
    found = []
    while len(found) < count:
        lam = edge_or_random(
            draw, 181e-9, 50e-6, [400e-9, 700e-9, 1050e-9, 1150e-9, 1200e-9, 1400e-9, 1500e-9, 1800e-9]
        )
        pulse = edge_or_random(draw, 1.1e-13, 1.0, [1e-11, 1e-9, 1e-7, 5e-6, 13e-6, 18e-6, 50e-6, 625e-6, 0.25])
        burst = int(draw.choice([1, 1, 2, 3, 5, 8]))
        spacing = pulse * 10 ** draw.uniform(0, 5)
        period = burst * spacing * (1.0 if burst == 1 else 10 ** draw.uniform(0, 4))
        exposure = edge_or_random(draw, 1e-12, 3e4, [1e-9, 1e-7, 13e-6, 0.25, 0.35, 10.0, 100.0])
        if draw.random() < 0.3:
            exposure = period * int(draw.integers(1, 12))
        if not pulse <= exposure <= 3e4 or exposure / period * burst > 80:
            continue
        rule_set, tissue = draw.choice([ICNIRP, EU]), draw.choice(["eye", "skin"])
        found.append((str(rule_set), str(tissue), lam, pulse, burst, spacing, period, exposure,
                      edge_or_random(draw, 5e-4, 0.3, [1.5e-3, 5e-3, 0.1])))  # fmt: skip
    return found


def check_train(one):
    rule_set, tissue, lam, pulse, burst, spacing, period, exposure, alpha = one
    count = math.ceil(exposure / period) + 2
    starts = (np.arange(count)[:, None] * period + np.arange(burst) * spacing).reshape(-1)
    case = (lam, starts, np.full(starts.size, pulse), np.ones(starts.size), exposure, alpha)

    def number(starts, pulses, within, counted):
        each = int((starts < counted * (1 - SLACK)).sum())
        return each if pulses[0] > within else groups_in_bursts(starts, burst, min(within, exposure), counted)

    dark = pulse < spacing * (1 - SLACK) or burst * spacing < period * (1 - SLACK)
    expected = one_by_one(rule_set, tissue, case, number, dark)
    bursts = [] if burst == 1 else [(burst, spacing)]
    found = by_rule(pulse_train_limit(rule_set, tissue, lam, pulse, 1 / period, exposure, alpha, bursts=bursts))
    assert agree(found, expected), (one, found, expected)
    if burst == 1:
        plain = by_rule(pulse_train_limit(rule_set, tissue, lam, pulse, 1 / period, exposure, alpha))
        if plain["mean"] > plain["single pulse"] and expected["mean"] >= expected["single pulse"]:
            plain["mean"] = expected["mean"]  # two pulses in a window can only decide where one pulse does already
        assert agree(plain, expected), (one, plain, expected)


def check_list(draw):
    size = int(draw.integers(1, 13))
    rule_set, tissue = str(draw.choice([ICNIRP, EU])), str(draw.choice(["eye", "skin"]))
    lam = edge_or_random(draw, 181e-9, 50e-6, [400e-9, 1050e-9, 1400e-9])
    scale = 10 ** draw.uniform(-9, 0)
    pulse = np.clip(scale * 10 ** draw.uniform(-3, 0, size), 1e-13, 1.0)
    gap = pulse * 10 ** draw.uniform(0, 4, size)
    starts = np.concatenate([[0.0], np.cumsum(gap)[:-1]])
    energy = 10 ** draw.uniform(-2, 0, size)
    exposure = float(min(max(pulse.max(), gap.sum() * 10 ** draw.uniform(-2, 1)), 3e4))
    alpha = edge_or_random(draw, 5e-4, 0.3, [1.5e-3, 5e-3, 0.1])

    def number(starts, pulses, within, counted):
        most = 0
        for begin in starts:
            here = (starts >= begin) & (starts < begin + counted * (1 - SLACK))
            short = pulses <= within
            most = max(most, greedy(starts[here & short], min(within, exposure)) + int((here & ~short).sum()))
        return most

    expected = one_by_one(rule_set, tissue, (lam, starts, pulse, energy / energy.max(), exposure, alpha), number)
    found = by_rule(pulse_list_limit(rule_set, tissue, lam, starts, pulse, energy, exposure, alpha))
    assert agree(found, expected), (rule_set, tissue, lam, starts, pulse, energy, exposure, alpha, found, expected)


def test_trains_and_bursts_equal_the_sum_over_every_pulse():
    for one in trains(1200, 4):
        check_train(one)


def test_lists_equal_the_sum_over_every_pulse():
    draw = np.random.default_rng(44)
    for _ in range(500):
        check_list(draw)


@pytest.mark.soak
def test_ten_thousand_trains_equal_the_sum_over_every_pulse():
    for one in trains(10_000, 5):
        check_train(one)


@pytest.mark.soak
def test_ten_thousand_lists_equal_the_sum_over_every_pulse():
    draw = np.random.default_rng(55)
    for _ in range(10_000):
        check_list(draw)
