"""Pulses that stand on continuous light: eyewear, class check and acceptance readings count both."""

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from tests.case_head import HEAD

CASE = (
    HEAD
    + """[[laser]]
name = "Marker"
class_label = "{label}"
serial = "BMC-M-0107"
wavelength = "1064 nm"

[laser.emission]
{emission}

[[laser.setup]]
name = "Bare head"
kind = "collimated"
fitted = true
beam_diameter = "8 mm"
divergence = "5 mrad"
criterion = "1/e"
work_distance = "5 m"

[[person]]
name = "Operator"
role = "operator"
distance = "2 m"
eyewear = "{eyewear}"
"""
)
PULSES = 'kind = "pulse train"\npulse_duration = "100 ns"\nrepetition_rate = "1 kHz"\npulse_energy = "1 uJ"\n'
PEDESTAL = 'pedestal_power = "100 W"\n'
CONTINUOUS = 'kind = "continuous"\npower = "100 W"\n'
ONE = '[[laser.emission.pulses]]\nstart = "0 s"\nduration = "100 ns"\nenergy = "1 uJ"\n'
ONCE = 'kind = "pulse list"\n'


def assessed(emission, eyewear="1064 D LB5 + IR LB5", label="4"):
    return assess(parse_case(CASE.format(emission=emission, eyewear=eyewear, label=label)))


def numbers(assessment):
    return {scale.mode: scale.scale_number for scale in assessment.eyewear[0].scales}


@pytest.mark.parametrize("emission", [PULSES + PEDESTAL, ONCE + PEDESTAL + ONE])
def test_eyewear_counts_the_pedestal_as_continuous_light_of_the_same_power(emission):
    # 8 mm and 5 mrad at 2 m: d = sqrt(8^2 + 10^2) mm = 12.806 mm, area 1.288e-4 m2, E = 100 W / area = 7.76e5 W/m2;
    # F = 12.806^1.7 = 76.3, E' = 5.9e7 W/m2, and mode D at 1064 nm holds 10^(n + 1) W/m2: n = 6.77, so 7.
    assert math.isclose(12.806**1.7 * 100.0 / (math.pi / 4 * 12.806e-3**2), 5.9e7, rel_tol=0.01)
    continuous, pulsed = assessed(CONTINUOUS), assessed(emission)
    assert numbers(continuous)["D"] == numbers(pulsed)["D"] == 7
    assert not pulsed.eyewear[0].verdict.enough
    assert pulsed.eyewear[0].marking == "1064 D LB7 + R LB5"
    assert assessed(emission, "1064 D LB7 + IR LB5").eyewear[0].verdict.enough


def test_eyewear_counts_the_pedestal_inside_each_pulse():
    # Within 100 ns 100 W are 10 uJ, so 11 uJ fall on 1.288e-4 m2 in a pulse: H = 0.0854 J/m2; 1 kHz for 5 s are 5000
    # pulses, 5000^0.25 = 8.41, H' = 0.718 J/m2. Mode R holds 5 x 10^(n - 3) J/m2: n = 2.16, so 3; without: 1.11, so 2.
    assert numbers(assessed(PULSES + PEDESTAL))["R"] == 3
    assert numbers(assessed(PULSES))["R"] == 2


def test_class_check_counts_the_pedestal_of_a_list_that_comes_once():
    # 100 W for 100 s are 10 kJ, far above 0.5 W of class 3B, whatever the one pulse of 1 uJ is.
    assert [check.computed for check in assessed(ONCE + PEDESTAL + ONE, label="1M").class_checks] == ["4"]
    assert all(check.label_is_lower for check in assessed(ONCE + PEDESTAL + ONE, label="1M").class_checks)


def test_acceptance_reading_of_power_counts_the_pedestal():
    # The meter sees both: 1 uJ x 1 kHz + 100 W = 100.001 W; a 7 mm aperture takes 1 - exp(-(7/12.806)^2) = 0.2583.
    rows = [row for row in assessed(PULSES + PEDESTAL).record.expected if (row.what, row.way) == ("power", "direct")]
    assert [row.value for row in rows] == pytest.approx([100.001 * -math.expm1(-((7 / 12.806) ** 2))], rel=1e-4)
