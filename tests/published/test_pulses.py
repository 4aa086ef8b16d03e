"""Pulses and pulse trains, typed from published examples (sections 2 and 12.2 of the project's list of checks)."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.limits import count_pulses, exposure_limit, pulse_train_limit
from tests.published.printed import printed, worked

ICNIRP, EU = "ICNIRP-2013", "EU-2006/25/EC"


def dose(rule_set, nm, duration):
    return float(exposure_limit(rule_set, "eye", nm * 1e-9, duration).radiant_exposure)


def train(rule_set, nm, pulse, rate, duration, **more):
    return pulse_train_limit(rule_set, "eye", nm * 1e-9, pulse, rate, duration, **more)


def rows(limit, rule):
    return [row for row in limit.rows if row.rule == rule]


@pytest.mark.published("OSHA-OTM", "PUL-01")
def test_q_switched_neodymium_mean_irradiance():
    assert float(train(EU, 1064, 12e-9, 11.0, 10.0).per_pulse) * 11 * 1e-4 == printed("17e-6")  # W/cm2
    assert float(train(ICNIRP, 1064, 12e-9, 11.0, 10.0).per_pulse) * 11 * 1e-4 == worked("22e-6")


@pytest.mark.published("IEC60825-1-1993", "PUL-03, PUL-04")
@pytest.mark.parametrize("rule_set", [ICNIRP, EU])
def test_single_pulses_of_1993(rule_set):
    assert dose(rule_set, 325, 0.1) == printed("3.15e3")
    assert dose(rule_set, 694, 1e-3) == printed("0.1")


@pytest.mark.published("AESTHETIC-LASERS", "PUL-08")
def test_one_nanosecond():
    assert dose(EU, 1064, 1e-9) * 1e-4 == printed("5e-6")  # J/cm2
    assert dose(ICNIRP, 1064, 1e-9) * 1e-4 == worked("2e-6")


@pytest.mark.published("SGF-FORUM", "PUL-09, PUL-10, PUL-11")
def test_chart_readings():
    for rule_set in (ICNIRP, EU):
        assert dose(rule_set, 532, 1.0) * 1e-4 == printed("2e-3")
        assert dose(rule_set, 1064, 1.0) * 1e-4 == printed("1e-2")
    assert dose(ICNIRP, 1064, 3e-9) * 1e-4 == printed("2e-6")


@pytest.mark.published("IEC60825-1-2014", "TR-1")
def test_tr_1_counts_three_pulses_where_the_print_has_two_and_a_half():
    directive, icnirp = train(EU, 532, 10e-9, 10.0, 0.25), train(ICNIRP, 532, 10e-9, 10.0, 0.25)
    (row,) = rows(directive, "train")
    assert float(row.pulses) == 3.0
    assert float(row.limit) * 2.5**-0.25 == worked("0.003976")  # the print, with its N of 2.5
    assert float(directive.per_pulse) == pytest.approx(0.005 * 3**-0.25, rel=1e-12)
    assert float(directive.per_pulse) < 0.003976  # rounding N up is the careful side
    assert float(icnirp.per_pulse) == worked("0.002")
    full = dose(EU, 532, 0.25)
    assert full / 2.5 == worked("2.546")
    for limit in (directive, icnirp):
        (mean,) = rows(limit, "mean")
        assert float(mean.per_pulse) == pytest.approx(18 * (0.1 + 10e-9) ** 0.75 / 2, rel=1e-12)  # two pulses in 0.1 s
        assert float(mean.per_pulse) < full / 3  # a window inside the exposure is stricter than the whole of it


@pytest.mark.published("IEC60825-1-2014", "TR-2, TR-4, TR-6")
@pytest.mark.parametrize(
    ("nm", "pulse", "rate", "duration", "single", "mean", "old_train", "old", "new"),
    [
        (1064, 10e-9, 20.0, 10.0, ("0.05", "0.02"), "2.5", "0.0133", "0.0133", "0.02"),
        (1064, 100e-9, 2e4, 10.0, ("0.05", "0.02"), "0.0025", "0.002364", "0.002364", "0.0025"),
        (1550, 5e-9, 1e5, 10.0, ("1.000e4", "1.000e4"), "0.0100", "0.0100", "0.0100", "0.0100"),
    ],
    ids=["TR-2", "TR-4", "TR-6"],
)
def test_trains(nm, pulse, rate, duration, single, mean, old_train, old, new):
    directive, icnirp = train(EU, nm, pulse, rate, duration), train(ICNIRP, nm, pulse, rate, duration)
    for limit, text in ((directive, single[0]), (icnirp, single[1])):
        assert float(rows(limit, "single pulse")[0].per_pulse) == worked(text)
        shares = [float(row.per_pulse) for row in rows(limit, "mean")]
        assert min(shares) == worked(mean)
    assert min(float(row.per_pulse) for row in rows(directive, "train")) == worked(old_train)
    assert float(directive.per_pulse) == worked(old)
    assert float(icnirp.per_pulse) == worked(new)


@pytest.mark.published("IEC60825-1-2014", "TR-2, TR-4: numbers of pulses")
@pytest.mark.parametrize(("rate", "duration", "count"), [(20.0, 10.0, 200), (2e4, 10.0, 200000), (11.0, 10.0, 110)])
def test_numbers_of_pulses(rate, duration, count):
    assert float(count_pulses(np.array(duration), np.array(rate))) == count


@pytest.mark.published("IEC60825-1-2014", "TR-5 (directive): five pulses in 50 us")
def test_five_pulses_in_one_group():
    limit = train(EU, 1064, 100e-9, 1e5, 10.0)
    group = min(rows(limit, "train"), key=lambda row: float(row.per_pulse))
    assert float(group.pulses_joined) == 5.0
    assert float(group.joined_within) == 50e-6
    assert float(group.limit) == worked("0.050")
    assert float(group.pulses) == 200000.0
    assert float(group.per_pulse) == pytest.approx(0.05 / 5 * 200000**-0.25, rel=1e-12)


@pytest.mark.published("EU2006-25", "T_min, read")
@pytest.mark.parametrize(
    ("nm", "expected"),
    [
        (350, 1e-9),
        (532, 18e-6),
        (1049, 18e-6),
        (1064, 50e-6),
        (1450, 1e-3),
        (1550, 10.0),
        (2000, 1e-3),
        (10600, 1e-7),
    ],
)
def test_t_min(nm, expected):
    assert float(rows(train(EU, nm, 1e-10, 10.0, 100.0), "train")[0].joined_within) == expected


@pytest.mark.published("IEC60825-1-2014", "C_P; limits_sources 2.5")
@pytest.mark.parametrize(
    ("pulse", "rate", "duration", "mrad", "expected"),
    [
        (10e-9, 1e3, 0.25, 1.5, "1"),  # up to 0.25 s
        (10e-9, 60.0, 10.0, 1.5, "1"),  # 600 pulses
        (10e-9, 61.0, 10.0, 1.5, "1"),  # 610 pulses: 5 N^-0.25 is above 1
        (10e-9, 100.0, 10.0, 1.5, "0.889"),  # 1000 pulses
        (10e-9, 2500.0, 10.0, 1.5, "0.400"),  # 25000 pulses: below 24414 the factor is above 0.4
        (1e-3, 10.0, 10.0, 5.0, "1"),  # longer than T_i, alpha up to 5 mrad
        (0.04, 4.0, 8.0, 20.0, "0.420"),  # alpha_max(0.04 s) = 40 mrad, N = 32
        (0.04, 4.0, 10.0, 20.0, "0.4"),  # N = 40 in 10 s, more in T_2
        (1e-3, 10.0, 10.0, 20.0, "0.3162"),  # above alpha_max = 6.3 mrad, N = 100
        (1e-3, 100.0, 100.0, 20.0, "0.2"),  # N > 625
        (1e-3, 100.0, 100.0, 101.0, "1"),  # alpha above 100 mrad
    ],
)
def test_c_p_of_2014(pulse, rate, duration, mrad, expected):
    (row,) = rows(train(ICNIRP, 532, pulse, rate, duration, source_angle=mrad * 1e-3), "train")
    assert float(row.pulse_factor) == worked(expected)
