"""What must never shorten a distance or lower a density, over both rule sets and every hazard."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lasersafe.hazard.distances import direct_reach
from lasersafe.hazard.exposure import Received, continuous, pulse_train, single_pulse
from lasersafe.hazard.eyewear import Filtered
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.hazard.settings import SettingSpace, candidates, worst_settings
from lasersafe.limits import pulse_train_limit, rule_sets
from lasersafe.optics.beam import collimated
from lasersafe.optics.reflection import LitSpot

JOIN = 0.93  # the limits step by up to 7 % where two printed rows meet; a distance goes with the square root
WAVELENGTHS = st.floats(math.log10(181e-9), math.log10(9.9e-4)).map(lambda x: 10.0**x)
TIMES = st.floats(-3.0, math.log10(3e4)).map(lambda x: 10.0**x)
POWERS = st.floats(-3.0, 4.0).map(lambda x: 10.0**x)
TISSUES = st.sampled_from(["eye", "skin"])
SETS = st.sampled_from(rule_sets())
BEAM = collimated(3e-3, 5e-3, "1/e", "gaussian")
MORE = st.floats(1.0, 100.0)


def emissions(power: float, kind: str):
    if kind == "continuous":
        return continuous(power)
    if kind == "single pulse":
        return single_pulse(power * 1e-3, 1e-8)
    return pulse_train(power / 1e4, 1e-8, 1e4)


KINDS = st.sampled_from(["continuous", "single pulse", "pulse train"])


@given(SETS, TISSUES, KINDS, WAVELENGTHS, TIMES, POWERS, MORE)
def test_more_power_never_shortens_a_distance(rule_set, tissue, kind, wavelength, time, power, more) -> None:
    less = emissions(power, kind)
    stronger = emissions(power * more, kind)
    assert (
        direct_reach(Received(rule_set, tissue, stronger, wavelength, time), BEAM).distance
        >= direct_reach(Received(rule_set, tissue, less, wavelength, time), BEAM).distance
    )
    assert (
        scatter_reach(Received(rule_set, tissue, stronger, wavelength, time)).distance
        >= scatter_reach(Received(rule_set, tissue, less, wavelength, time)).distance
    )


@given(SETS, TISSUES, KINDS, WAVELENGTHS, TIMES, POWERS, MORE)
def test_longer_time_never_shortens_a_distance(rule_set, tissue, kind, wavelength, time, power, more) -> None:
    longer = time * more
    assume(longer <= 3e4)
    emission = emissions(power, kind)
    short = scatter_reach(Received(rule_set, tissue, emission, wavelength, time)).distance
    long = scatter_reach(Received(rule_set, tissue, emission, wavelength, longer)).distance
    assert long >= short * math.sqrt(JOIN)


@given(SETS, TISSUES, WAVELENGTHS, POWERS, st.floats(0.01, 1.0), st.floats(0.01, 1.0))
def test_more_reflectance_never_shortens_a_distance(rule_set, tissue, wavelength, power, one, other) -> None:
    low, high = sorted([one, other])
    emission = continuous(power)
    assert (
        direct_reach(Received(rule_set, tissue, emission, wavelength, 10.0), BEAM, high).distance
        >= direct_reach(Received(rule_set, tissue, emission, wavelength, 10.0), BEAM, low).distance
    )
    assert (
        scatter_reach(Received(rule_set, tissue, emission, wavelength, 10.0), LitSpot(high)).distance
        >= scatter_reach(Received(rule_set, tissue, emission, wavelength, 10.0), LitSpot(low)).distance
    )


@given(KINDS, WAVELENGTHS, POWERS, MORE, st.floats(1e-4, 0.1))
def test_more_power_never_lowers_a_density(kind, wavelength, power, more, diameter) -> None:
    light = Filtered(wavelength, SettingSpace(kind), (), rule_sets(), 10.0)
    less = light.density(emissions(power, kind), diameter, diameter)[0]
    assert light.density(emissions(power * more, kind), diameter, diameter)[0] >= less


@given(SETS, KINDS, WAVELENGTHS, TIMES, POWERS)
def test_distances_are_finite(rule_set, kind, wavelength, time, power) -> None:
    reach = direct_reach(Received(rule_set, "eye", emissions(power, kind), wavelength, time), BEAM)
    assert math.isfinite(reach.distance)
    assert reach.distance >= 0.0


@given(st.floats(0.5, 8.0), st.floats(0.001, 6.0), st.floats(1e-9, 1e-6), st.integers(0, 10_000))
def test_the_worst_setting_is_worse_than_a_random_one(decades, wide, pulse, seed) -> None:
    import numpy as np

    slow = 10.0**decades
    fast = min(slow * 10.0**wide, 0.9 / pulse)
    assume(fast > slow)
    space = SettingSpace("pulse train", power=(20.0, 20.0), pulse_duration=(pulse, pulse), repetition_rate=(slow, fast))
    random = np.random.default_rng(seed)
    rates = np.exp(random.uniform(np.log(slow), np.log(fast), 200))
    for tissue in ("eye", "skin"):
        worst = worst_settings(space, rule_sets(), tissue, 1064e-9, 10.0)[0]
        best, tried = 0.0, 0.0
        for rule_set in rule_sets():
            limit = pulse_train_limit(rule_set, tissue, 1064e-9, pulse, worst.repetition_rate, 10.0)
            best = max(best, worst.pulse_energy / float(limit.per_pulse))
            limits = pulse_train_limit(rule_set, tissue, 1064e-9, pulse, rates, 10.0).per_pulse
            tried = max(tried, float(np.max(20.0 / rates / limits)))
        assert best >= tried * 0.98


def test_a_fixed_setting_is_the_only_candidate() -> None:
    space = SettingSpace("continuous", power=(5.0, 5.0))
    assert candidates(space) == [continuous(5.0)]
    assert not space.adjustable


def test_the_peak_between_the_ends_is_found() -> None:
    """Just above 1/T_i two pulses join: the worst rate lies inside the range, not at an end."""
    space = SettingSpace("pulse train", power=(20.0, 20.0), pulse_duration=(1e-8, 1e-8), repetition_rate=(1.5e4, 1e5))
    worst = worst_settings(space, ("EU-2006/25/EC",), "eye", 1064e-9, 10.0)[0]
    assert worst.repetition_rate == pytest.approx(2e4, rel=1e-6)
