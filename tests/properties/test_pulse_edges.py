"""Trains, bursts and lists at every edge of a table: the stricter side holds on the edge itself."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.limits import pulse_list_limit, pulse_train_limit
from lasersafe.limits.grid import grid_of
from lasersafe.limits.tables import load_rule_set

SETS = ("ICNIRP-2013", "EU-2006/25/EC")
NEAR = 1e-7
WAVELENGTHS = (355e-9, 532e-9, 850e-9, 1064e-9, 1319e-9, 1450e-9, 1550e-9, 2010e-9, 10.6e-6)


def edges(rule_set, tissue):
    times = set(map(float, grid_of(rule_set, tissue).durations.inner))
    times |= {row.joined_within for row in load_rule_set(rule_set).train_times if row.joined_within}
    return np.array(sorted(times))


def three(values):
    return np.stack([values * (1 - NEAR), values, values * (1 + NEAR)])


def at_most_the_stricter_side(below, on, above):
    assert (on <= np.minimum(below, above) * (1 + 100 * NEAR)).all(), np.stack([below, on, above])


@pytest.mark.parametrize("rule_set", SETS)
@pytest.mark.parametrize("tissue", ["eye", "skin"])
@pytest.mark.parametrize("bursts", [(), ((4.0, 3.0),)])
@pytest.mark.parametrize(("angle", "on"), [(1.5e-3, 0.0471828), (20e-3, 1.471828e-5)])
def test_pulse_durations_at_an_edge(rule_set, tissue, bursts, angle, on):
    """Small sources in fast trains; larger ones in slow trains, whose C_P falls with the pulses from T_i on."""
    edge = edges(rule_set, tissue)[edges(rule_set, tissue) < 1.0]
    levels = [(number, spacing * edge) for number, spacing in bursts]
    for lam in WAVELENGTHS:  # the rate is such that no count of pulses jumps in the same place
        train = lam, three(edge), on / edge, 97.3141, angle
        found = pulse_train_limit(rule_set, tissue, *train, bursts=levels)
        at_most_the_stricter_side(*found.per_pulse)


@pytest.mark.parametrize("rule_set", SETS)
@pytest.mark.parametrize("tissue", ["eye", "skin"])
def test_exposures_at_an_edge(rule_set, tissue):
    for lam in WAVELENGTHS:
        for rate in (3.31415927e7, 0.98765432e9):
            # behind whole T_i a group more begins, when the exposure is long enough for a pulse more in the gap
            joined = [r.joined_within for r in load_rule_set(rule_set).train_times
                      if r.joined_within and r.wavelength[0] <= lam * 1e9 <= r.wavelength[1]]  # fmt: skip
            time = [t for t in edges(rule_set, tissue)
                    if t > 1e-7 and not (t * rate * NEAR > 1.0 and any(t % one == 0.0 for one in joined))]  # fmt: skip
            time = three(np.array(time))
            found = pulse_train_limit(rule_set, tissue, lam, 1e-10, rate, time)
            at_most_the_stricter_side(*found.per_pulse)


@pytest.mark.parametrize("rule_set", SETS)
def test_wavelengths_at_an_edge(rule_set):
    lam = np.array([315, 400, 700, 1050, 1150, 1200, 1400, 1500, 1800, 2600]) * 1e-9
    for pulse, rate in ((1e-12, 1e6), (1e-8, 2e4), (1e-4, 100.0)):
        found = pulse_train_limit(rule_set, "eye", three(lam), pulse, rate, 10.0, bursts=[(3, 2 * pulse)])
        below, on, above = found.per_pulse
        if rule_set.startswith("EU"):  # "from 315 nm" is printed there, and the list of single values ends at 314 nm
            assert on[0] == pytest.approx(above[0], rel=1e-5)
            below, on, above = below[1:], on[1:], above[1:]
        at_most_the_stricter_side(below, on, above)


@pytest.mark.parametrize("rule_set", SETS)
def test_two_pulses_at_the_edge_of_t_i(rule_set):
    for row in load_rule_set(rule_set).train_times:
        if not row.joined_within or row.joined_within > 1.0:
            continue
        lam = 1e-9 * (0.5 * (row.wavelength[0] + min(row.wavelength[1], 4e3)))
        pulse = row.joined_within / 100
        gaps = row.joined_within * np.array([0.5, 1 - NEAR, 1 + NEAR, 2.0])
        found = [pulse_list_limit(rule_set, "eye", lam, [0.0, gap], pulse, 1.0, 10.0) for gap in gaps]
        apart = [float(one.per_pulse) for one in found]
        joined = [max((float(r.pulses_joined) for r in one.rows if r.rule == "train"), default=1.0) for one in found]
        assert joined == [2.0, 2.0, 1.0, 1.0]
        assert apart[0] <= apart[1] * (1 + 1e-6)


def test_more_pulses_more_power_or_a_pedestal_never_raise_a_limit():
    draw = np.random.default_rng(12)
    for number in range(80):
        rule_set, tissue = SETS[number % 2], ("eye", "skin")[number // 2 % 2]
        lam, pulse = float(draw.choice(WAVELENGTHS)), float(10 ** draw.uniform(-11, -3))
        spacing = pulse * float(10 ** draw.uniform(0.1, 3))
        count, alpha = int(draw.integers(1, 9)), float(10 ** draw.uniform(-3, -1))
        rate, time = float(10 ** draw.uniform(-3, 0)) / (spacing * (count + 1)), float(10 ** draw.uniform(0, 4))
        args = (rule_set, tissue, lam, pulse)
        one = float(pulse_train_limit(*args, rate, time, alpha, bursts=[(count, spacing)]).per_pulse)
        more = float(pulse_train_limit(*args, rate, time, alpha, bursts=[(count + 1, spacing)]).per_pulse)
        base = float(pulse_train_limit(*args, rate, time, alpha, bursts=[(count, spacing)], pedestal=1.0).per_pulse)
        assert base <= one * (1 + 1e-9)
        # more pulses can bring a burst together inside T_i and lower N: never by more than the printed factor does
        assert more <= one * (1 + 1e-9) * max(1.0, ((count + 1) / count) ** 0.25)


def test_bursts_of_bursts_are_the_list_of_their_pulses():
    starts = (np.arange(3)[:, None] * 2e-5 + np.arange(4) * 1e-6).reshape(-1)
    for rule_set in SETS:
        for tissue in ("eye", "skin"):
            one = pulse_train_limit(rule_set, tissue, 1064e-9, 1e-8, 1e3, 10.0, bursts=[(4, 1e-6), (3, 2e-5)])
            two = pulse_list_limit(rule_set, tissue, 1064e-9, starts, 1e-8, 1.0, 10.0, period=1e-3)
            for rule in ("single pulse", "mean"):
                both = [min(float(r.per_pulse) for r in x.rows if r.rule == rule) for x in (one, two)]
                assert both[0] == pytest.approx(both[1], rel=1e-9)
            assert float(one.per_pulse) <= float(two.per_pulse) * (1 + 1e-9)
