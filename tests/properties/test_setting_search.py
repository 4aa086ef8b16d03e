"""No allowed setting is worse than the one that the search returns; the quick limit is the train limit."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.hazard.exposure import Received, body_area, compare_source, pulse_train, trains_at
from lasersafe.hazard.settings import SettingSpace, knob_changes, worst_ratio, worst_settings
from lasersafe.limits import pulse_train_limit

SETS = ("ICNIRP-2013", "EU-2006/25/EC")
TOLERANCE = 1e-8  # the search steps 4e-9 past a jump of a pulse count


def log_uniform(draw, low, high, size=None):
    return 10 ** draw.uniform(np.log10(low), np.log10(high), size)


def some_range(draw, low, high):
    ends = np.sort(log_uniform(draw, low, high, 2))
    return (float(ends[0]), float(ends[0])) if draw.random() < 0.2 else (float(ends[0]), float(ends[1]))


def random_space(draw):
    pulse = some_range(draw, 1e-13, 1e-3)
    rate = some_range(draw, 1.0, min(1e8, 0.5 / pulse[0]))
    energy = some_range(draw, 1e-7, 1e-2) if draw.random() < 0.7 else None
    power = some_range(draw, 1e-2, 1e2) if energy is None or draw.random() < 0.6 else None
    return SettingSpace("pulse train", power, energy, pulse, rate)


def random_settings(draw, space, size):
    pulse = log_uniform(draw, *space.pulse_duration, size)
    rate = log_uniform(draw, *space.repetition_rate, size)
    pulse[: size // 8], rate[size // 8 : size // 4] = space.pulse_duration[0], space.repetition_rate[0]
    rate[size // 4 : size // 3] = space.repetition_rate[1]
    energy = np.full(size, np.inf)
    if space.pulse_energy:
        energy = np.minimum(energy, space.pulse_energy[1])
    if space.power:
        energy = np.minimum(energy, space.power[1] / rate)
    fits = pulse * rate <= 1.0
    return energy[fits], pulse[fits], rate[fits]


WAVELENGTHS = [266e-9, 310e-9, 355e-9, 450e-9, 532e-9, 1050e-9, 1064e-9, 1319e-9, 1450e-9, 1550e-9, 2010e-9, 10.6e-6]


def test_no_random_setting_is_worse_than_the_worst_that_was_found():
    draw = np.random.default_rng(8)
    compared = 0
    for number in range(60):
        space, lam = random_space(draw), float(draw.choice(WAVELENGTHS))
        tissue, duration = ("eye", "skin")[number % 2], float(draw.choice([0.25, 10.0, 100.0, 3e4]))
        highest, emission = worst_ratio(space, SETS, tissue, lam, duration)
        energy, pulse, rate = random_settings(draw, space, 20_000)
        for name in SETS:
            found = energy / trains_at(name, tissue, lam, duration).per_pulse(pulse, rate)
            at = int(found.argmax())
            assert found[at] <= highest * (1 + TOLERANCE), (space, lam, tissue, duration, name, emission)
            compared += found.size
    assert compared > 1_000_000


@pytest.mark.parametrize("most", [4, pytest.param(8, marks=pytest.mark.soak)])
def test_no_random_burst_is_worse_than_the_worst_that_was_found(most):
    draw = np.random.default_rng(9)
    for tissue in ("eye", "skin"):
        space = SettingSpace(
            "pulse train", (1.0, 20.0), (1e-6, 4e-5), (3e-13, 1e-11), (1e5, 2e6), burst_pulses=(1.0, float(most)),
            burst_spacing=(2e-8, 5e-8),
        )  # fmt: skip
        highest, _ = worst_ratio(space, SETS, tissue, 1030e-9, 10.0)
        pulse, rate = log_uniform(draw, 3e-13, 1e-11, 3000), log_uniform(draw, 1e5, 2e6, 3000)
        number, spacing = draw.integers(1, most + 1, 3000).astype(float), draw.uniform(2e-8, 5e-8, 3000)
        energy = np.minimum(4e-5, 20.0 / (rate * number))
        for name in SETS:
            limit = pulse_train_limit(name, tissue, 1030e-9, pulse, rate, 10.0, bursts=[(number, spacing)])
            assert (energy / limit.per_pulse).max() <= highest * (1 + 1e-5)  # the grid of a burst is coarse


def space_of_long_pulses(draw):
    """Return settings with pulses up to some 100 ms, or two modes of such."""

    def one(name=""):
        low = float(log_uniform(draw, 1e-8, 1e-2))
        pulse = (low, low * float(log_uniform(draw, 1.0, 50.0)))
        slow = float(log_uniform(draw, 1.0, 1e4))
        rate = tuple(sorted((slow, min(slow * float(log_uniform(draw, 1.0, 100.0)), 0.5 / pulse[1]))))
        energy, power = (float(log_uniform(draw, 1e-4, 1.0)),) * 2, (float(log_uniform(draw, 0.1, 100.0)),) * 2
        both = draw.integers(3)
        return SettingSpace(
            "pulse train", power if both else None, energy if both != 1 else None, pulse, rate, name=name
        )

    alone = draw.random() < 0.6
    return one() if alone else SettingSpace("pulse train", modes=(one("a"), one("b")))


def test_no_random_setting_is_worse_before_a_large_source_than_the_worst_that_were_found():
    """Of 0.6 ms to 1.8 ms, before 40 mrad, 0.7 ms brings 2.1 times what the worst settings of a small source do."""
    draw = np.random.default_rng(14)
    for angle in (5.2e-3, 9e-3, 27e-3, 80e-3, 0.3) * 2:
        space, lam = space_of_long_pulses(draw), float(draw.choice([450e-9, 532e-9, 800e-9, 1064e-9, 1310e-9]))
        highest = 0.0
        for emission in worst_settings(space, SETS, "eye", lam, 100.0):
            lights = [Received(name, "eye", emission, lam, 100.0) for name in SETS]
            found = [c.amount / c.limit for light in lights for c in compare_source(light, angle, angle)]
            highest = max(highest, *map(float, found))
        for mode in space.rows:
            energy, pulse, rate = random_settings(draw, mode, 400)
            lights = [Received(name, "eye", pulse_train(energy, pulse, rate), lam, 100.0) for name in SETS]
            found = [c.amount / c.limit for light in lights for c in compare_source(light, angle, angle)]
            assert max(float(np.max(one)) for one in found) <= highest * 1.001, (space, lam, angle)


def test_the_limit_of_many_settings_is_the_limit_of_a_train():
    draw = np.random.default_rng(3)
    for number in range(120):
        lam, duration = float(log_uniform(draw, 180e-9, 5e-5)), float(draw.choice([1e-4, 0.25, 10.0, 100.0, 3e4]))
        pulse = float(log_uniform(draw, 3e-13, 1e-2)) * log_uniform(draw, 1.0, 1e3, 200)
        pulse = np.minimum(pulse, duration)
        rate = np.minimum(log_uniform(draw, 0.1, 1e9, 200), draw.uniform(1e-4, 1, 200) / pulse)
        name, tissue = SETS[number % 2], ("eye", "skin")[number // 2 % 2]
        angle = (1.5e-3, 5e-3, 17e-3, 0.1, 0.4)[number // 4 % 5] if tissue == "eye" else 1.5e-3
        if number % 3 == 0:
            lam = float(draw.uniform(400e-9, 1400e-9))
            pulse[:20] = draw.choice([5e-6, 13e-6, 18e-6, 50e-6], 20)  # T_i has two sides
            rate[:20] = np.minimum(rate[:20], 1.0 / pulse[:20])
        given = name, tissue, lam, pulse, rate, duration, angle
        expected = 1.0 / pulse_train_limit(*given, exposed_area=body_area(tissue, lam)).per_pulse
        found = 1.0 / trains_at(name, tissue, lam, duration, angle).per_pulse(pulse, rate)
        assert found == pytest.approx(expected, rel=1e-9, abs=0)


def test_what_a_knob_brings_is_the_search_with_that_knob_held():
    space = SettingSpace("pulse train", (30.0, 30.0), (1.5e-3, 1.5e-3), (1e-8, 2e-7), (2e4, 5e5))
    highest, emission = worst_ratio(space, SETS, "eye", 1064e-9, 10.0)
    changes = {one.knob: one for one in knob_changes(space, SETS, "eye", 1064e-9, 10.0)}
    assert set(changes) == {"power", "pulse_energy", "pulse_duration", "repetition_rate"}
    assert changes["power"].halved
    assert not changes["repetition_rate"].halved
    assert changes["repetition_rate"].then == 5e5
    fast = SettingSpace("pulse train", (30.0, 30.0), (1.5e-3, 1.5e-3), (1e-8, 2e-7), (5e5, 5e5))
    assert changes["repetition_rate"].ratio == worst_ratio(fast, SETS, "eye", 1064e-9, 10.0)[0] / highest
    assert all(one.ratio <= 1.0 for one in changes.values())
    assert emission.repetition_rate == pytest.approx(2e4, rel=1e-8)


def test_worst_setting_of_each_aperture_and_rule_starts_with_that_of_a_wide_beam():
    space = SettingSpace("pulse train", (3.0, 3.0), (1e-4, 1e-4), (1e-9, 2e-7), (1e3, 1e5))
    found = worst_settings(space, SETS, "eye", 1550e-9, 100.0)
    assert found[0] == worst_ratio(space, SETS, "eye", 1550e-9, 100.0)[1]
    assert len(found) == len(set(found)) > 1


def test_a_mode_is_named_and_its_rows_are_searched_to_their_ends():
    modes = tuple(
        SettingSpace("pulse train", (30.0, 30.0), (q, q), (t, t), (low, high), name=name)
        for name, t, low, high, q in [("W1", 2e-7, 25e3, 2e5, 1.25e-3), ("W2", 4e-9, 5e5, 1e6, 6e-5)]
    )
    ratio, emission = worst_ratio(SettingSpace("mode table", modes=modes), SETS, "eye", 1064e-9, 10.0)
    alone = [worst_ratio(mode, SETS, "eye", 1064e-9, 10.0)[0] for mode in modes]
    assert ratio == max(alone)
    assert emission.name == ("W1", "W2")[alone.index(max(alone))]
