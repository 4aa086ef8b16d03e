"""Accessible emission limits that were printed, and trains of the limit tables given in other forms."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.hazard.other_rules import emission_limit
from lasersafe.limits import correction_factor, pulse_list_limit, pulse_train_limit
from tests.published.printed import printed, worked


@pytest.mark.published(
    "KOLESAR2000", "class 1 limit at 840 nm, 100 s, in mW", note="FIB-01; edition 1.2 of IEC 60825-1"
)
def test_class_1_at_840_nm():
    assert emission_limit("1", 840e-9, 100.0) / 100.0 * 1e3 == printed("0.743")


@pytest.mark.published("IEC60825-2", "hazard level 1 at 850 nm, in mW", note="FIB-13")
def test_class_1_at_850_nm():
    assert emission_limit("1", 850e-9, 100.0) / 100.0 * 1e3 == printed("0.78")


@pytest.mark.published("IEC60825-2", "hazard level 1 at 1310 nm, in mW", note="FIB-14, with the C_7 of its own edition")
def test_class_1_at_1310_nm_with_the_factor_of_the_older_edition():
    now, cap = emission_limit("1", 1310e-9, 100.0) / 100.0, emission_limit("3B", 1310e-9, 100.0) / 100.0
    assert now == cap == 0.5  # C_7 = 259 lets class 1 run into the cap of class 3B
    old = float(correction_factor("EU-2006/25/EC", "C_C", 1310e-9))
    assert emission_limit("1", 1064e-9, 100.0) / 100.0 * old * 1e3 == printed("15.6")


TRAINS = [  # (id, wavelength, pulse, rate, exposure, OLD, NEW); TR-1 OLD uses N = 2.5 where we count 3
    ("TR-1", 532e-9, 1e-8, 10.0, 0.25, None, "0.002"),
    ("TR-2", 1064e-9, 1e-8, 20.0, 10.0, "0.0133", "0.02"),
    ("TR-4", 1064e-9, 1e-7, 20e3, 10.0, "0.002364", "0.0025"),
    ("TR-6", 1550e-9, 5e-9, 100e3, 10.0, "0.01", "0.01"),
]


@pytest.mark.published("IEC60825-1-2014", "published_checks.md 12.2, as a burst of one and as a list")
@pytest.mark.parametrize(("name", "lam", "pulse", "rate", "time", "old", "new"), TRAINS)
def test_trains_in_other_forms(name, lam, pulse, rate, time, old, new):
    for rule_set, expected in (("EU-2006/25/EC", old), ("ICNIRP-2013", new)):
        if expected is not None:
            one = pulse_train_limit(rule_set, "eye", lam, pulse, rate, time, bursts=[(1, pulse)])
            assert float(one.per_pulse) == worked(expected)
            two = pulse_list_limit(rule_set, "eye", lam, 0.0, pulse, 1.0, time, period=1.0 / rate)
            assert float(two.per_pulse) == worked(expected)


@pytest.mark.published("EU2006-25", "published_checks.md 12.2, TR-5 OLD: 5 pulses in 50 us, group limit 5e-2 J/m2")
def test_a_group_of_five_pulses_shares_the_limit_of_the_group():
    found = pulse_list_limit("EU-2006/25/EC", "eye", 1064e-9, np.arange(5) * 1e-5, 1e-7, 1.0, 10.0)
    assert float(found.per_pulse) * 5 == worked("5e-2")


def test_two_pulses_and_a_half_count_as_three():
    found = pulse_train_limit("EU-2006/25/EC", "eye", 532e-9, 1e-8, 10.0, 0.25)
    assert float(found.per_pulse) == pytest.approx(5e-3 * 3**-0.25, rel=1e-12)
