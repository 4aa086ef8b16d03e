"""A longer exposure, or less protection, never turns refused into passed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import exposure_ratios
from lasersafe.hazard.exposure import Emission, Received, compare, continuous, criteria
from lasersafe.limits import rule_sets
from lasersafe.models import parse_case
from lasersafe.optics.beam import mean_exposure
from tests.case_head import HEAD, aim

CASE = (
    HEAD
    + """\
[settings]
surfaces_complete = true
[[laser]]
name = "L"
class_label = "3B"
wavelength = "{nm} nm"
[laser.emission]
kind = "continuous"
power = "{power}"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "5 mm"
divergence = "1 mrad"
criterion = "1/e"
[[person]]
name = "P"
role = "operator"
distance = "1 m"
distance_from_work = "1 m"
{more}
"""
)
TIMES = [0.25, 0.3, 0.35, 0.4, 1.0, 5.0, 9.99, 10.0, 10.01, 20.0, 99.9, 100.0, 101.0, 1e3, 1e4, 1.1e4, 3e4]
WAVELENGTHS = [200e-9, 310e-9, 355e-9, 450e-9, 532e-9, 808e-9, 1064e-9, 1250e-9, 1390e-9, 1450e-9, 1550e-9, 2e-6,
               10.6e-6, 200e-6]  # fmt: skip


def worst(case_text: str, way: str, tissue: str):
    return next(s for s in assess(parse_case(case_text)).scenarios if (s.way, s.tissue) == (way, tissue))


@pytest.mark.parametrize("tissue", ["eye", "skin"])
@pytest.mark.parametrize("width", [0.3e-3, 2e-3, 0.2])
def test_a_longer_time_never_turns_refused_into_passed(tissue, width):
    for rule_set, wavelength in itertools.product(rule_sets(), WAVELENGTHS):
        found = []
        for time in TIMES:
            rows = criteria(Received(rule_set, tissue, continuous(1.0), wavelength, time))
            found.append(max(float(mean_exposure(1.0, width, width, c.limiting_aperture)) / c.limit for c in rows))
        assert (np.diff(found) >= -1e-9 * np.array(found[:-1])).all(), (rule_set, wavelength, found)
        many = Emission("continuous", np.asarray(1.0))
        arrays = [
            mean_exposure(1.0, width, width, c.aperture) / c.limit
            for c in compare(Received(rule_set, tissue, many, wavelength, np.array(TIMES)))
        ]
        assert np.max(np.broadcast_arrays(*arrays), axis=0) == pytest.approx(found, rel=1e-9)


def test_the_first_ten_seconds_count_in_a_longer_exposure():
    # Skin, 1064 nm: 1.1e4 C_A t^0.25 J/m2 up to 10 s, with C_A = 5: 97 810 J/m2, 9781 W/m2. From 10 s on 2000 C_A =
    # 10 000 W/m2, 2.2 % more: 1.011 times the limit for 10 s would be 0.989 for 11 s.
    limit = 1.1e4 * 5.0 * 10.0**0.25 / 10.0
    power = 1.011 * limit / float(mean_exposure(1.0, np.hypot(5e-3, 1e-3), np.hypot(5e-3, 1e-3), 3.5e-3))
    for seconds in (10, 11, 100):
        more = f'time = "{seconds} s"\ntime_reason = "for the test"'
        found = worst(CASE.format(nm=1064, power=f"{power:.9g} W", more=more), "direct", "skin")
        assert found.ratio == pytest.approx(1.011, rel=1e-6)
        assert not found.below
        context = contexts(parse_case(CASE.format(nm=1064, power=f"{power:.9g} W", more="")), rule_sets())[0]
        varied = exposure_ratios(context, "direct", "skin", 1.0, {"duration": [float(seconds)]})
        assert float(varied[0]) == pytest.approx(1.011, rel=1e-6)


def test_taking_eyewear_away_never_turns_refused_into_passed():
    # 532 nm, 0.8 mW, 5.1 mm at 1 m: 17.6 W/m2 over 7 mm; the bare eye of a briefed person 25.4 W/m2 for 0.25 s, behind
    # eyewear 10 W/m2 for 10 s and more. The eyewear is for another wavelength and does nothing.
    without = assess(parse_case(CASE.format(nm=532, power="0.8 mW", more="briefed = true")))
    wearing = assess(parse_case(CASE.format(nm=532, power="0.8 mW", more='briefed = true\neyewear = "1064 D LB5"')))
    for way in ("direct", "mirror"):
        bare, worn = (next(s for s in one.scenarios if (s.way, s.tissue) == (way, "eye")) for one in (without, wearing))
        assert worn.below or not bare.below
        assert worn.ratio == pytest.approx(bare.ratio)
    assert wearing.decision.passed or not without.decision.passed
    # What is above for 0.25 s asks for a density that holds for 10 s: 2.2 mW are 48.4 W/m2, log10(48.4 / 10) = 0.69.
    strong = assess(parse_case(CASE.format(nm=532, power="2.2 mW", more='briefed = true\neyewear = "532 D LB1"')))
    (need,) = [one for one in strong.eyewear if one.person == "P"]
    assert need.optical_density_exact == pytest.approx(0.69, abs=0.01)


def test_eyewear_that_does_nothing_costs_nothing_in_a_scene_either():
    scene = (
        "[scene]\n"
        + aim("L", "1.5 m")
        + '[[scene.person]]\nname = "P"\nposition = ["0 m", "3 m"]\neye_height = "1.5 m"\n'
    )
    below, above = {}, {}
    for eyewear in ("", '\neyewear = "1064 D LB5"'):
        for power, found in (("0.8 mW", below), ("2.2 mW", above)):
            case = CASE.format(nm=532, power=power, more="briefed = true" + eyewear)
            found[eyewear] = next(
                s
                for s in assess(parse_case(case + scene)).scenarios
                if s.placed and (s.way, s.tissue) == ("direct", "eye")
            )
    assert [s.below for s in below.values()] == [True, True]
    assert [s.below for s in above.values()] == [False, False]
    assert [s.duration for s in above.values()] == [0.25, 10.0]  # nobody turns away behind a filter that has to hold
