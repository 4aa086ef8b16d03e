"""Trains and the worst of their settings against formulas written out here, at 1064 nm and for small sources."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.data import templates_path
from lasersafe.errors import CaseError
from lasersafe.hazard.exposure import trains_at
from lasersafe.hazard.settings import SettingSpace, worst_ratio
from lasersafe.limits import exposure_limit, pulse_train_limit
from lasersafe.limits.tables import load_rule_set
from lasersafe.models import parse_case

ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"
SLACK = 1e-9
AROUND = np.array([1 - 4e-9, 1.0, 1 + 4e-9])


def eye_limit(rule_set, t):
    """Radiant exposure [J/m2] of the retina at 1064 nm (C_C = 1), for a small source."""
    if rule_set == ICNIRP:
        low = np.where(t <= 1e-11, 1e-3, np.where(t <= 13e-6, 2e-2, 90 * t**0.75))
        return np.where(t > 10, 50 * t, low)  # 10 C_A C_C
    low = np.where(t <= 1e-11, 1.5e-3, np.where(t <= 1e-9, 2.7e5 * t**0.75, np.where(t <= 50e-6, 5e-2, 90 * t**0.75)))
    return np.where(t > 10, 50 * t, low)


def whole(x):
    """Pulses that start in a half-open time."""
    return np.maximum(np.ceil(x * (1 - SLACK)), 1.0)


def eye_ratio(rule_set, energy, pulse, rate, duration):
    """Return energy over limit of one pulse, the highest of single pulse, whole exposure and train."""
    t_i = {ICNIRP: 13e-6, EU: 50e-6}[rule_set]
    joined = np.where(pulse <= t_i, whole(t_i * rate), 1.0)
    total = whole(duration * rate)
    if rule_set == EU:
        factor = np.ceil(total / joined) ** -0.25
    else:  # N is counted over T_2 = 10 s; pulses beyond T_i, and all pulses for 0.25 s or less, have C_P = 1
        number = np.ceil(whole(min(duration, 10.0) * rate) / joined)
        factor = np.where(number > 600, np.clip(5 * number**-0.25, 0.4, 1.0), 1.0)
        factor = np.where((pulse > t_i) | (duration <= 0.25), 1.0, factor)
    gaps = pulse * rate < 1 - SLACK
    rules = [
        energy / eye_limit(rule_set, pulse),
        energy * total / eye_limit(rule_set, duration),
        np.where(gaps, energy / eye_limit(rule_set, pulse) / factor, 0.0),
        np.where(gaps & (joined > 1), energy * joined / eye_limit(rule_set, np.maximum(t_i, pulse)) / factor, 0.0),
    ]
    return np.max(rules, axis=0)


def test_the_corner_where_pulses_touch_is_tried():
    # 1 mJ in 100 us, 1 Hz to 1 MHz: no more than 10 kHz fit, which is 10 W. Skin, 10 s: 1.1e4 x 5 x 10^0.25 J/m2 in
    # 10 s = 9780 W/m2, so 10 / 9780 = 1.0224e-3 m2; beam of 2 mrad: sqrt(4 x 1.0224e-3 / pi) / 2e-3 = 18.04 m at most
    space = SettingSpace("pulse train", None, (1e-3, 1e-3), (1e-4, 1e-4), (1.0, 1e6))
    highest, emission = worst_ratio(space, (ICNIRP, EU), "skin", 1064e-9, 10.0)
    assert highest == pytest.approx(10.0 / (1.1e4 * 5 * 10**0.25 / 10), rel=1e-9)
    assert emission.repetition_rate == pytest.approx(1e4, rel=1e-8)


def test_the_corner_where_bursts_touch_is_tried():
    # three pulses of 1 uJ and 1 ns, 5 ns to 20 ns apart, up to 90 MHz: they fit up to 1/15 ns, a pulse in 5 ns, 200 W.
    # Skin, 0.25 s: 1.1e4 x 5 x 0.25^0.25 = 38 891 J/m2, so 50 J / 38 891 = 1.2856e-3 m2
    space = SettingSpace(
        "pulse train", None, (1e-6, 1e-6), (1e-9, 1e-9), (1e5, 9e7), burst_pulses=(3.0, 3.0), burst_spacing=(5e-9, 2e-8)
    )
    highest, _ = worst_ratio(space, (ICNIRP,), "skin", 1064e-9, 0.25)
    assert highest == pytest.approx(50 / (1.1e4 * 5 * 0.25**0.25), rel=1e-6)


def test_rates_of_exactly_whole_pulses_in_t_i_are_tried():
    # EU, 100 ps: 2.7e5 x (1e-10)^0.75 J/m2. At 40 kHz two pulses lie in 50 us, N = 400 000/2 in 10 s; just above it
    # are three, and N is a third less, up to the end of the range.
    space = SettingSpace("pulse train", None, (1e-6, 1e-6), (1e-10, 1e-10), (25e3, 41e3))
    highest, emission = worst_ratio(space, (ICNIRP, EU), "eye", 1064e-9, 10.0)
    assert highest == pytest.approx(1e-6 / (2.7e5 * 1e-10**0.75) * 2e5**0.25, rel=1e-8)
    assert emission.repetition_rate == pytest.approx(40e3, rel=1e-8)


def spaces():
    """Random settings, a third of them up to where pulses touch."""
    draw = np.random.default_rng(15)
    for number in range(40):
        pulse = float(10 ** draw.uniform(-10, -2))
        rate = np.sort(10 ** draw.uniform(-1, min(8.0, -np.log10(pulse)), 2))
        rate[1] = 3 / pulse if number % 3 == 0 else rate[1]
        power = None if draw.random() < 0.6 else (1e-3, float(10 ** draw.uniform(-1, 2)))
        yield SettingSpace("pulse train", power, (1e-3, 1e-3), (pulse, pulse), (float(rate[0]), float(rate[1])))


def rates_of(space):
    """Rates at and next to every whole number of pulses in T_i and the exposures, and many between."""
    low, high = space.repetition_rate
    high = min(high, 1 / space.pulse_duration[0])
    windows = np.array([13e-6, 50e-6, 0.25, 10.0, 100.0])[:, None]
    near = np.floor(high * windows) + np.array([-2.0, -1.0, 0.0, 1.0])
    counts = np.unique(np.concatenate([np.arange(1.0, 400.0), near.ravel()]))
    found = np.concatenate([(counts / windows)[..., None] * AROUND, np.geomspace(low, high, 2001)[..., None] * AROUND],
                           axis=None)  # fmt: skip
    return found[(found >= low) & (found <= high)]


def test_no_setting_is_worse_than_the_worst_one_by_the_formulas():
    for space in spaces():
        pulse, rates = space.pulse_duration[0], rates_of(space)
        energy = np.minimum(1e-3, (np.inf if space.power is None else space.power[1]) / rates)
        for duration in (0.25, 10.0, 100.0):
            for rule_set in (ICNIRP, EU):
                highest, one = worst_ratio(space, (rule_set,), "eye", 1064e-9, duration)
                lower = eye_ratio(rule_set, energy, pulse, rates, duration)
                assert lower.max() <= highest * (1 + 1e-9), (space, rule_set, duration, rates[lower.argmax()], one)


def test_pulses_of_the_directive_are_counted_over_the_whole_exposure():
    # Table 2.6 has no other time than the exposure: 10 ns at 20 Hz for 30 000 s are 600 000 pulses, 5e-2 x N^-0.25 =
    # 1.7966e-3 J/m2; over T_2 = 10 s it were 200 pulses, and 7.4 times as much
    limit = pulse_train_limit(EU, "eye", 1064e-9, 1e-8, 20.0, 3e4)
    train = [row for row in limit.rows if row.rule == "train"]
    assert [float(row.per_pulse) for row in train] == pytest.approx([5e-2 * 6e5**-0.25], rel=1e-12)
    # 1550 nm: 3000 groups of 10 s, each 1e4 J/m2 shared by its 200 pulses
    limit = pulse_train_limit(EU, "skin", 1550e-9, 1e-8, 20.0, 3e4)
    assert float(limit.per_pulse) == pytest.approx(1e4 / 200 * 3000**-0.25, rel=1e-12)
    assert {row.counted_over for row in load_rule_set(EU).train_times} == {np.inf}


@pytest.mark.parametrize("wavelength", [1064e-9, 1450e-9, 1550e-9, 10.6e-6])
def test_pulses_as_long_as_their_period_are_continuous(wavelength):
    # 1 s at 1 Hz is a beam that is never dark: no train factor, and over 100 s the limit of 100 s
    plain = pulse_train_limit(EU, "eye", wavelength, 1.0, 1.0, 100.0)
    bursts = pulse_train_limit(EU, "eye", wavelength, 1.0, 0.2, 100.0, bursts=[(5, 1.0)])
    steady = float(exposure_limit(EU, "eye", wavelength, 100.0).irradiance)
    for found in (plain, bursts):
        assert "train" not in {row.rule for row in found.rows}
    assert float(plain.per_pulse) == pytest.approx(min(steady, float(plain.per_pulse)))
    assert float(plain.per_pulse) >= 0.93 * steady  # the limits step by up to 7 % where two rows meet
    quick = trains_at(EU, "eye", wavelength, 100.0).per_pulse(1.0, 1.0)
    assert float(quick) == pytest.approx(float(plain.per_pulse))
    dark = pulse_train_limit(EU, "eye", wavelength, 0.999, 1.0, 100.0)
    assert "train" in {row.rule for row in dark.rows}


@pytest.mark.parametrize(
    ("duty", "rate"),
    [
        ('"1.2e-4 +- 0.3e-4"', "1 GHz"),  # 0.9e-4 / 1 GHz = 90 fs
        ('"1.2e-4"', "1 GHz +- 25 %"),  # 1.2e-4 / 1.25 GHz = 96 fs
        ("{ value = 1.2e-4, tolerance = 0.15e-4, kind = 'standard uncertainty' }", "1 GHz"),  # less twice 0.15e-4
    ],
)
def test_a_tolerance_that_makes_pulses_below_100_fs_is_refused(duty, rate):
    text = templates_path("cases", "nanosecond-marker.toml").read_text(encoding="utf-8")
    head, tail = text[: text.index("[laser.emission]")], text[text.index("[[laser.setup]]") :]
    emission = '[laser.emission]\nkind = "pulse train"\nduty = {}\nrepetition_rate = "{}"\nmean_power = "1 W"\n\n'
    parse_case(head + emission.format('"1.2e-4"', "1 GHz") + tail)
    with pytest.raises(CaseError, match="must be 100 fs or more"):
        parse_case(head + emission.format(duty, rate) + tail)


@pytest.mark.parametrize("wavelength", [1450e-9, 1500e-9, 1550e-9, 10.6e-6])
@pytest.mark.parametrize(("pulse", "rate"), [(0.1, 1.0), (0.999, 1.0), (1e-8, 1e3), (1e-8, 1e8)])
def test_no_printed_row_of_a_train_is_undivided(wavelength, pulse, rate):
    # 1550 nm, 0.1 s at 1 Hz, T_i = 10 s: one pulse alone may have 1e4 J/m2, the ten within T_i share 1e4 J/m2
    found = pulse_train_limit(EU, "eye", wavelength, pulse, rate, 10.0)
    for row in found.rows:
        shared = float(row.limit) / float(row.pulses_joined) * float(row.pulse_factor)
        assert row.rule == "mean" or float(row.per_pulse) == pytest.approx(shared, rel=1e-12)
    if (wavelength, pulse) == (1550e-9, 0.1):
        train = {float(row.per_pulse): float(row.pulses_joined) for row in found.rows if row.rule == "train"}
        assert train == {1e4: 1.0, 1e3: 10.0}
