"""What holds for every limit: monotonic, finite, arrays like single values, refused outside the tables, explained."""

from __future__ import annotations

import math
import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.errors import InputError, OutOfRangeError
from lasersafe.limits import (
    angle_max,
    cone_angle,
    correction_factor,
    count_pulses,
    explain,
    exposure_limit,
    hazard_limits,
    pulse_train_limit,
    rule_sets,
    time_t2,
)
from tests.few import few

RULE_SETS = st.sampled_from(rule_sets())
TISSUES = st.sampled_from(["eye", "skin"])
WAVELENGTHS = st.one_of(st.floats(180e-9, 1500e-9), st.floats(math.log(180e-9), math.log(1e-3)).map(math.exp))
DURATIONS = st.floats(math.log(1e-13), math.log(3e4)).map(math.exp).map(lambda t: min(max(t, 1e-13), 3e4))
ANGLES = st.one_of(st.just(1.5e-3), st.floats(0, math.pi), st.floats(0, 0.2))

# Joins at which the print steps down (dose) or up (irradiance) by at most this factor.
JOIN = 1.071


def steps_of_the_print(rule_set, hazard, wavelength, first, second):
    """Return by how much the print may raise the irradiance between two durations beyond the joins of 7 %.

    ICNIRP steps at 1e-11 s: by 2, times C_A from 700 nm, and by 20 from 1050 nm, where the stricter of two
    recollections is used.
    """
    if (
        rule_set != "ICNIRP-2013"
        or hazard != "retina thermal"
        or not first <= 1e-11 * (1 + 1e-12) <= second * (1 + 1e-11)
    ):
        return 1.0
    if wavelength >= 1050e-9 * (1 - 1e-12):
        return 20.0
    return 2.0 * (float(correction_factor(rule_set, "C_A", wavelength)) if wavelength > 700e-9 else 1.0)


def ceiling_of_the_directive(rule_set, hazard, wavelength, second, angle):
    """Return whether the print drops to 1000 W/m2 because the second duration has reached T_2."""
    extended = angle > 1.5e-3 and second >= float(time_t2(rule_set, angle)) * (1 - 1e-12)
    return rule_set == "EU-2006/25/EC" and hazard == "retina thermal" and wavelength >= 699.9e-9 and extended


@few(400)
@given(RULE_SETS, TISSUES, WAVELENGTHS, DURATIONS, DURATIONS, ANGLES)
def test_longer_exposures_never_lower_a_dose_nor_raise_an_irradiance(rule_set, tissue, wavelength, one, other, angle):
    first, second = sorted((one, other))
    before = {h.name: h for h in hazard_limits(rule_set, tissue, wavelength, first, angle)}
    after = {h.name: h for h in hazard_limits(rule_set, tissue, wavelength, second, angle)}
    for name in before.keys() & after.keys():
        old, new = before[name], after[name]
        assert float(new.irradiance) <= float(old.irradiance) * JOIN * steps_of_the_print(
            rule_set, name, wavelength, first, second
        )
        if not ceiling_of_the_directive(rule_set, name, wavelength, second, angle):
            assert float(new.radiant_exposure) >= float(old.radiant_exposure) / JOIN


def test_the_directive_drops_to_1000_w_per_m2_at_t2_and_not_before():
    angle = 100e-3
    end = float(time_t2("EU-2006/25/EC", angle))
    before = exposure_limit("EU-2006/25/EC", "eye", 1064e-9, end * (1 - 1e-9), angle)
    assert float(before.irradiance) == pytest.approx(90 * (100 / 1.5) * end**-0.25, rel=1e-8)
    for duration in (end, end * (1 + 1e-9), 3e4):
        assert float(exposure_limit("EU-2006/25/EC", "eye", 1064e-9, duration, angle).irradiance) == 1000.0
    assert float(exposure_limit("ICNIRP-2013", "eye", 1064e-9, 3e4, angle).irradiance) > 1000.0
    visible = exposure_limit("EU-2006/25/EC", "eye", 650e-9, 3e4, 1.0)
    assert float(visible.irradiance) == pytest.approx(18 * 1000**2 / 150 * 100**-0.25, rel=1e-12)


@few(400)
@given(RULE_SETS, TISSUES, WAVELENGTHS, DURATIONS, ANGLES, ANGLES)
def test_a_larger_source_never_lowers_a_limit(rule_set, tissue, wavelength, duration, one, other):
    small, large = sorted((one, other))
    low, high = (exposure_limit(rule_set, tissue, wavelength, duration, angle) for angle in (small, large))
    assert float(low.radiant_exposure) <= float(high.radiant_exposure) * (1 + 1e-12)


@few(25)
@given(
    RULE_SETS,
    TISSUES,
    st.lists(WAVELENGTHS, min_size=1, max_size=4),
    st.lists(DURATIONS, min_size=1, max_size=4),
    ANGLES,
)
def test_arrays_give_what_single_values_give(rule_set, tissue, wavelengths, durations, angle):
    lam, time = np.array(wavelengths)[:, None], np.array(durations)
    got = exposure_limit(rule_set, tissue, lam, time, angle)
    assert got.radiant_exposure.shape == (len(wavelengths), len(durations))
    for i, a in enumerate(wavelengths):
        for j, b in enumerate(durations):
            one = exposure_limit(rule_set, tissue, a, b, angle)
            assert one.radiant_exposure.shape == ()
            for name in ("radiant_exposure", "irradiance", "limiting_aperture", "hazard", "source", "seen"):
                assert getattr(got, name)[i, j] == getattr(one, name)[()]
            assert math.isfinite(float(one.radiant_exposure))
            assert 0 < float(one.irradiance) < math.inf
            assert 9e-4 < float(one.limiting_aperture) <= 11e-3


def test_long_arrays_give_what_short_ones_give():
    generator = np.random.default_rng(5)
    count = 70001  # more than one block
    lam = np.where(generator.random(count) < 0.2, 1400e-9, generator.uniform(180e-9, 3000e-9, count))
    time = np.where(generator.random(count) < 0.2, 10.0, 10 ** generator.uniform(-13, 4.4, count))
    angle = generator.uniform(0, 0.2, count)
    for rule_set in rule_sets():
        long = exposure_limit(rule_set, "eye", lam, time, angle)
        for start in range(0, count, 9973):
            part = slice(start, start + 300)  # short enough for the other look-up
            short = exposure_limit(rule_set, "eye", lam[part], time[part], angle[part])
            np.testing.assert_array_equal(short.radiant_exposure, long.radiant_exposure[part])
            np.testing.assert_array_equal(short.irradiance, long.irradiance[part])
            np.testing.assert_array_equal(short.limiting_aperture, long.limiting_aperture[part])
            np.testing.assert_array_equal(short.hazard, long.hazard[part])
            np.testing.assert_array_equal(short.acceptance_angle, long.acceptance_angle[part])


@given(RULE_SETS, TISSUES, st.lists(WAVELENGTHS, min_size=1, max_size=5), DURATIONS, ANGLES)
def test_each_hazard_of_one_point_is_that_of_an_array(rule_set, tissue, wavelengths, duration, angle):
    together = hazard_limits(rule_set, tissue, np.array(wavelengths), duration, angle)
    for i, wavelength in enumerate(wavelengths):
        alone = hazard_limits(rule_set, tissue, wavelength, duration, angle)
        assert [h.name for h in alone] == [h.name for h in together if math.isfinite(h.irradiance[i])]
        for one in alone:
            same = next(h for h in together if h.name == one.name)
            for name in ("radiant_exposure", "irradiance", "limiting_aperture", "source", "seen"):
                assert getattr(one, name)[()] == getattr(same, name)[i]


def test_nothing_in_gives_nothing_out():
    assert hazard_limits("ICNIRP-2013", "eye", np.empty((0, 3)), 1.0) == ()
    empty = exposure_limit("ICNIRP-2013", "eye", np.empty((0, 3)), 1.0)
    assert empty.irradiance.shape == (0, 3)
    assert empty.hazard.shape == (0, 3)


def test_a_million_limits_need_less_than_a_gigabyte():
    generator = np.random.default_rng(6)
    lam, time = generator.uniform(180e-9, 1e-3, 10**6), 10 ** generator.uniform(-13, 4.4, 10**6)
    tracemalloc.start()
    result = exposure_limit("EU-2006/25/EC", "eye", lam, time, generator.uniform(0, 0.2, 10**6))
    assert result.hazard.shape == (10**6,)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 400e6


OUTSIDE = st.one_of(
    st.just(math.nan), st.just(math.inf), st.just(-math.inf), st.floats(max_value=-1e-30), st.just(0.0), st.just(-0.0)
)


@few(100)
@given(RULE_SETS, TISSUES, st.one_of(OUTSIDE, st.floats(0, 179.9e-9), st.floats(1.0001e-3, 1e6)), st.integers(0, 700))
def test_wavelengths_outside_the_tables_are_refused(rule_set, tissue, bad, place):
    for wavelength in (bad, np.insert(np.full(700, 532e-9), place, bad)):
        with pytest.raises(OutOfRangeError, match=r"wavelength = .* nm is outside .* which covers 180 nm to 1e6 nm"):
            exposure_limit(rule_set, tissue, wavelength, 1.0)
        with pytest.raises(OutOfRangeError):
            hazard_limits(rule_set, tissue, wavelength, 1.0)
        with pytest.raises(OutOfRangeError):
            pulse_train_limit(rule_set, tissue, wavelength, 1e-9, 10.0, 1.0)


@few(100)
@given(RULE_SETS, TISSUES, st.one_of(OUTSIDE, st.floats(0, 0.999e-13), st.floats(3.0001e4, 1e9)))
def test_durations_outside_the_tables_are_refused(rule_set, tissue, bad):
    with pytest.raises(OutOfRangeError, match=r"duration = .* s is outside .* which covers 1e-13 s to 3e4 s"):
        exposure_limit(rule_set, tissue, 532e-9, bad)
    with pytest.raises(OutOfRangeError, match="duration"):  # also where nothing is left to be worked out
        exposure_limit(rule_set, tissue, np.array([]), bad)
    with pytest.raises(OutOfRangeError, match="pulse duration"):
        pulse_train_limit(rule_set, tissue, 532e-9, bad, 1e-3, 1.0)
    with pytest.raises(OutOfRangeError):
        explain(rule_set, tissue, 532e-9, bad)


@few(50)
@given(
    RULE_SETS,
    TISSUES,
    st.one_of(st.sampled_from([math.nan, math.inf]), st.floats(max_value=-1e-30), st.floats(3.15, 1e9)),
)
def test_source_angles_outside_the_tables_are_refused(rule_set, tissue, bad):
    with pytest.raises(OutOfRangeError, match="source angle"):
        exposure_limit(rule_set, tissue, 532e-9, 1.0, bad)


def test_the_ends_of_the_tables_are_inside():
    for rule_set in rule_sets():
        for lam in (180e-9, 180 * 1e-9, 1e-3, 1e6 * 1e-9):
            for time in (1e-13, 3e4):
                for angle in (0.0, math.pi):
                    assert float(exposure_limit(rule_set, "eye", lam, time, angle).irradiance) > 0


def test_unknown_names_are_refused_with_the_nearest():
    with pytest.raises(InputError, match=r"did you mean 'ICNIRP-2013'\?"):
        exposure_limit("ICNIRP2013", "eye", 532e-9, 1.0)
    with pytest.raises(InputError, match=r"tissue = 'eyes' is not known here; .* did you mean 'eye'\?"):
        hazard_limits("ICNIRP-2013", "eyes", 532e-9, 1.0)
    with pytest.raises(InputError, match="rule set"):
        pulse_train_limit("", "eye", 532e-9, 1e-9, 1.0, 1.0)


@pytest.mark.parametrize(
    ("pulse", "rate", "duration", "message"),
    [
        (0.2, 10.0, 1.0, "longer than the period 0.1 s of 10 Hz"),
        (0.2, 1.0, 0.1, "shorter than the pulse duration 0.2 s"),
        (1e-3, 0.0, 1.0, "repetition rate = 0"),
        (1e-3, -5.0, 1.0, "repetition rate = -5"),
        (1e-3, math.nan, 1.0, "repetition rate = nan"),
        (1e-3, math.inf, 1.0, "repetition rate = inf"),
    ],
)
def test_impossible_trains_are_refused(pulse, rate, duration, message):
    with pytest.raises(InputError, match=message):
        pulse_train_limit("ICNIRP-2013", "eye", 532e-9, pulse, rate, duration)


def test_a_pulse_as_long_as_its_period_is_a_train():
    assert float(pulse_train_limit("ICNIRP-2013", "eye", 532e-9, 0.1, 10.0, 1.0).per_pulse) > 0


def test_skin_of_a_large_area_has_a_lower_limit_in_icnirp_only():
    area = np.array([0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 20.0])
    got = exposure_limit("ICNIRP-2013", "skin", 10.6e-6, 100.0, exposed_area=area)
    np.testing.assert_allclose(got.irradiance, [1000, 1000, 1000, 500, 200, 100, 100, 100], rtol=1e-12)
    np.testing.assert_allclose(got.radiant_exposure, got.irradiance * 100, rtol=1e-12)
    assert "large exposed area" in str(got.source[4])
    assert "large exposed area" not in str(got.source[0])
    assert exposure_limit("ICNIRP-2013", "skin", [1399e-9, 1400e-9], 100.0, exposed_area=1.0).irradiance.tolist() == [
        10000.0, 100.0,
    ]  # fmt: skip
    assert exposure_limit("ICNIRP-2013", "skin", 10.6e-6, [9.0, 10.0], exposed_area=1.0).irradiance[1] == 100.0
    assert float(exposure_limit("ICNIRP-2013", "skin", 10.6e-6, 9.0, exposed_area=1.0).irradiance) > 1000.0
    for rule_set, tissue in (("EU-2006/25/EC", "skin"), ("ICNIRP-2013", "eye")):
        assert float(exposure_limit(rule_set, tissue, 10.6e-6, 100.0, exposed_area=1.0).irradiance) == 1000.0
    for bad in (-1.0, math.nan, math.inf):
        with pytest.raises(OutOfRangeError, match="exposed area"):
            exposure_limit("ICNIRP-2013", "skin", 10.6e-6, 100.0, exposed_area=bad)
    train = pulse_train_limit("ICNIRP-2013", "skin", 10.6e-6, 1e-3, 100.0, 100.0, exposed_area=1.0)
    assert float(train.per_pulse) == pytest.approx(1.0, rel=1e-3)
    assert str(train.deciding_rule) == "mean"


def test_cone_and_alpha_max():
    np.testing.assert_allclose(
        cone_angle("ICNIRP-2013", [10, 100, 400, 1e4, 3e4]), [11e-3, 11e-3, 22e-3, 110e-3, 110e-3]
    )
    np.testing.assert_allclose(angle_max("ICNIRP-2013", [1e-9, 625e-6, 0.01, 0.25, 10]), [5e-3, 5e-3, 20e-3, 0.1, 0.1])
    np.testing.assert_allclose(angle_max("EU-2006/25/EC", [1e-9, 0.01, 10]), [0.1, 0.1, 0.1])
    blue = exposure_limit("ICNIRP-2013", "eye", 430e-9, [1.0, 400.0])
    assert math.isnan(blue.acceptance_angle[0])
    assert blue.acceptance_angle[1] == pytest.approx(22e-3)


def test_photochemical_retina_is_never_below_ten_seconds_nor_above_600_nm():
    for rule_set in rule_sets():
        names = lambda lam, t: {h.name for h in hazard_limits(rule_set, "eye", lam, t)}  # noqa: B023, E731
        assert names(430e-9, 9.99) == {"retina thermal"}
        assert names(430e-9, 10.0) == {"retina thermal", "retina photochemical"}
        assert names(601e-9, 100.0) == {"retina thermal"}


@few(150)
@given(RULE_SETS, TISSUES, WAVELENGTHS, DURATIONS, ANGLES)
def test_explain_ends_in_the_limit_and_multiplies_up_to_it(rule_set, tissue, wavelength, duration, angle):
    steps = explain(rule_set, tissue, wavelength, duration, angle)
    limit = exposure_limit(rule_set, tissue, wavelength, duration, angle)
    assert steps[-1].value == float(limit.radiant_exposure)
    assert str(limit.hazard) in steps[-1].meaning
    assert steps[-1].source == str(limit.source)
    for step in steps:
        assert step.source
        assert step.seen in {"read", "part", "memory", "common practice"}
        assert math.isfinite(step.value)
        if step.meaning.startswith("limit, "):  # the numbers put in, worked out as text
            product = 1.0
            for part in step.numbers.split(" x "):
                base, _, power = part.partition("^")
                product *= float(base) ** float(power or 1)
            assert product == pytest.approx(step.value, rel=1e-4)


@few(80)
@given(
    RULE_SETS, TISSUES, WAVELENGTHS, st.floats(-13, 0), st.floats(-1, 4), st.floats(-2, 3), ANGLES,
)  # fmt: skip
def test_trains_are_finite_and_no_row_is_above_its_single_pulse(
    rule_set, tissue, lam, log_pulse, log_rate, log_time, angle
):
    rate, duration = 10.0**log_rate, 10.0**log_time
    pulse = max(min(10.0**log_pulse, 1 / rate, duration), 1e-13)
    got = pulse_train_limit(rule_set, tissue, lam, pulse, rate, duration, angle)
    assert 0 < float(got.per_pulse) < math.inf
    singles = {row.hazard: float(row.per_pulse) for row in got.rows if row.rule == "single pulse"}
    for row in got.rows:
        assert float(row.per_pulse) >= float(got.per_pulse)
        assert float(row.per_pulse) * float(row.pulses_joined) <= float(row.limit) * (1 + 1e-9)
        if row.rule == "train" and row.hazard in singles:
            assert float(row.pulse_factor) <= 1.0


def test_trains_of_arrays_give_what_single_trains_give():
    lam = np.array([355e-9, 532e-9, 1050e-9, 1064e-9, 1550e-9, 10.6e-6])[:, None]
    rate = np.array([1.0, 30.0, 1e3, 1e5])
    for rule_set in rule_sets():
        got = pulse_train_limit(rule_set, "eye", lam, 1e-8, rate, 10.0, 3e-3)
        for i, a in enumerate(lam[:, 0]):
            for j, b in enumerate(rate):
                one = pulse_train_limit(rule_set, "eye", a, 1e-8, b, 10.0, 3e-3)
                for name in ("per_pulse", "deciding_rule", "hazard", "limiting_aperture", "source"):
                    assert getattr(got, name)[i, j] == getattr(one, name)[()]


def test_the_stricter_t_i_applies_at_1050_nm():
    # at 70 kHz two pulses lie inside 18 us and four inside 50 us
    args = (1e-8, 7e4, 10.0)
    at = pulse_train_limit("EU-2006/25/EC", "eye", 1050e-9, *args)
    low = pulse_train_limit("EU-2006/25/EC", "eye", 1049.999e-9, *args)
    high = pulse_train_limit("EU-2006/25/EC", "eye", 1050.001e-9, *args)
    assert float(at.per_pulse) <= min(float(low.per_pulse), float(high.per_pulse)) * (1 + 1e-5)  # C_A moves as well


def test_pulses_are_counted_up():
    assert count_pulses(np.array([0.25, 0.3, 1e-6]), np.array([10.0, 10.0, 1.0])).tolist() == [3.0, 3.0, 1.0]
