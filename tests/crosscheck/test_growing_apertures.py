"""Windows of pulses where the limiting aperture grows with time, every one put against a narrow beam by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.hazard.distances import direct_reach
from lasersafe.hazard.exposure import Emission, Received, criteria, pulse_pattern, pulse_train
from lasersafe.limits import hazard_limits, pulse_train_limit
from lasersafe.optics.beam import collimated, mean_exposure

SETS = ("ICNIRP-2013", "EU-2006/25/EC")
PULSE = 1e-8


def hole(rule_set, t):
    """Limiting aperture [m]: 1 mm, 1.5 t^0.375 mm from 0.35 s (directive: 0.3 s) on, 3.5 mm from 10 s on."""
    first = 0.3 if "EU" in rule_set else 0.35
    return 1e-3 * np.where(t >= 10.0, 3.5, np.where(t > first, 1.5 * t**0.375, 1.0))


def limits(nm, t):
    """Radiant exposures [J/m2] for 1e-9 s to 10 s."""
    if nm == 266:
        return [30.0 + 0 * t, 5.6e3 * t**0.25]
    if nm == 350:
        return [5.6e3 * t**0.25]
    return [np.where(t <= 1e-3, 1e3, 5.6e3 * t**0.25) if nm == 1450 else 1e4 + 0 * t]


def worst(rule_set, nm, starts, diameter, energy=1e-3, duration=10.0):
    """Return the highest exposure over limit of any window of pulses, over a beam of a 1/e diameter [m]."""
    first, last = np.triu_indices(starts.size)
    time = starts[last] - starts[first] + PULSE
    number, time = (last - first + 1.0)[time <= duration], time[time <= duration]
    d = hole(rule_set, time)
    exposure = number * energy * -np.expm1(-((d / diameter) ** 2)) / (math.pi * d**2 / 4)
    return max(float((exposure / limit).max()) for limit in limits(nm, time))


def ours(rule_set, nm, emission, diameter):
    """Return the same by the program, without the train factor of the directive."""
    found = criteria(Received(rule_set, "eye", emission, nm * 1e-9, 10.0))
    return max(
        float(mean_exposure(c.amount, diameter, diameter, c.limiting_aperture, "gaussian")) / c.limit
        for c in found
        if c.rule != "train"
    )


def test_a_window_over_a_smaller_aperture_counts_for_a_list_of_pulses():
    # 266 nm, 20 uJ at 0, 0.36 and 9 s. Two pulses in 0.36 s lie in 1.5 x 0.36^0.375 = 1.0226 mm: 40 uJ / 0.8213 mm2 =
    # 48.7 J/m2 > 30; all three in 9 s lie in 3.42 mm and give 6.5. 1 - exp(-x) = 30/48.7 at x = 0.957, which is a beam
    # of 1.0226/sqrt(0.957) = 1.0453 mm, and sqrt(1.0453^2 - 0.3^2)/1 mrad = 1.001 m
    list_of_three = pulse_pattern(tuple((t, PULSE, 20e-6) for t in (0.0, 0.36, 9.0)))
    for rule_set in SETS:
        reach = direct_reach(Received(rule_set, "eye", list_of_three, 266e-9, 10.0), collimated(0.3e-3, 1e-3, "1/e"))
        assert reach.distance == pytest.approx(1.0013, abs=1e-3)


@pytest.mark.parametrize("nm", [266, 350, 1450, 1550])
def test_every_window_of_a_list_counts_for_a_narrow_beam(nm):
    draw = np.random.default_rng(14)
    for size in (3, 5, 12):
        starts = np.sort(np.concatenate([[0.0], 10 ** draw.uniform(-1.5, 1.0, size - 1)]))
        emission = pulse_pattern(tuple((float(t), PULSE, 1e-3) for t in starts))
        for rule_set in SETS:
            for diameter in (1e-4, 5e-4, 1e-3, 1.5e-3, 2.5e-3, 1e-2):
                expected = worst(rule_set, nm, starts, diameter)
                assert ours(rule_set, nm, emission, diameter) == pytest.approx(expected, rel=2e-3), (starts, diameter)


@pytest.mark.parametrize("nm", [266, 350, 1450, 1550])
@pytest.mark.parametrize(
    ("count", "spacing", "period"), [(3, 0.02, 1.3), (2, 0.36, 4.0), (5, 0.1, 2.1), (1, 0.0, 0.07), (1, 0.0, 0.3)]
)
def test_every_window_of_bursts_and_trains_counts_for_a_narrow_beam(nm, count, spacing, period):
    starts = (np.arange(math.ceil(10.0 / period))[:, None] * period + np.arange(count) * spacing).ravel()
    starts = starts[starts < 10.0]
    emission = pulse_train(1e-3, PULSE, 1.0 / period)
    if count > 1:
        emission = Emission(
            "pulse train", 1e-3 * count / period, 1e-3, PULSE, count / period, burst=((float(count), spacing),)
        )
    for rule_set in SETS:
        for diameter in (1e-4, 5e-4, 1e-3, 1.3e-3, 1.7e-3, 2.5e-3, 1e-2):
            expected = worst(rule_set, nm, starts, diameter)
            found = ours(rule_set, nm, emission, diameter)
            assert expected * (1 - 2e-3) <= found <= expected * 1.05, (rule_set, diameter)  # 10 s in 3.5 mm counts too


@pytest.mark.parametrize("rule_set", SETS)
def test_no_train_among_many_may_have_more_than_every_window_of_it_allows(rule_set):
    # Every window by itself: n pulses in (n - 1)/f + t_p, over the aperture of that time, for Gaussian beams of any
    # width and for even discs (exposure min(1, (D/d)^2)/D^2): the narrowest see the smallest aperture alone.
    draw = np.random.default_rng(22)
    size = 60
    nm = np.where(draw.random(size) < 0.5, 10 ** draw.uniform(3.15, 5.0, size), draw.uniform(180.0, 400.0, size))
    rate, duration = 10 ** draw.uniform(-0.3, 1.7, size), 10 ** draw.uniform(-0.4, 1.3, size)
    rate[0], duration[0], nm[0] = 4.222, 10.31, 49_595.8
    pulse = np.minimum(10 ** draw.uniform(-8.0, -1.0, size), np.minimum(0.9 / rate, duration))
    found = pulse_train_limit(rule_set, "eye", nm * 1e-9, pulse, rate, duration)
    beams = np.geomspace(1e-4, 3e-2, 120)

    def worst_of(limits, holes):
        there = np.isfinite(limits)
        hole, limit = holes[there, None], limits[there, None]
        gaussian = -np.expm1(-((hole / beams) ** 2)) / hole**2 / limit
        disc = np.minimum(1.0, (hole / beams) ** 2) / hole**2 / limit
        return np.concatenate([gaussian.max(axis=0), disc.max(axis=0)])

    for one in range(size):
        most = max(math.ceil(duration[one] * rate[one] * (1.0 - 1e-9)), 1)
        number = np.arange(1.0, most + 1.0)
        time = np.append(np.minimum((number - 1.0) / rate[one] + pulse[one], duration[one]), duration[one])
        every = hazard_limits(rule_set, "eye", nm[one] * 1e-9, time)
        limit = np.concatenate([each.radiant_exposure / np.append(number, most) for each in every])
        hole = np.concatenate([each.limiting_aperture for each in every])
        expected = worst_of(limit, hole)
        alone = pulse_train_limit(rule_set, "eye", nm[one] * 1e-9, pulse[one], rate[one], duration[one])
        for train, at in ((found, one), (alone, ())):
            rows = [row for row in train.rows if row.rule != "train" and np.isfinite(row.per_pulse[at])]
            ratio = worst_of(*np.array([(row.per_pulse[at], row.limiting_aperture[at]) for row in rows]).T) / expected
            assert ratio.min() >= 1.0 - 1e-9, (nm[one], pulse[one], rate[one], duration[one])
            assert ratio.max() <= 1.02
