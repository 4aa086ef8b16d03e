"""Steps of who has a place can be recomputed by hand: exposure on the axis, what of it counts, ratio."""

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from tests.crosscheck.scene_description import Laser, Person, Scene, case_text

# 1 W, 1070 nm, 3 mm and 0.5 mrad (1/e), level, person at 10 m: d = sqrt(3^2 + 5^2) mm = 5.831 mm, and over 7 mm
# E0 = 1 W (1 - exp(-(7 / 5.831)^2)) / 38.48 mm2 = 19 840 W/m2.
AHEAD = Scene((Laser(1.0, 3e-3, 0.5e-3, (0.0, 0.0, 1.6), 0.0),), (Person("Row", ((0.0, 10.0),)),))


def test_the_exposure_at_a_place_is_that_on_the_axis_times_what_is_printed():
    found = assess(parse_case(case_text(AHEAD)))
    (one,) = (s for s in found.scenarios if (s.person, s.way, s.tissue) == ("Row", "direct", "eye"))
    axis, there, ratio = one.steps
    width = math.hypot(3e-3, 0.5e-3 * 10.0)
    by_hand = (1.0 - math.exp(-((7e-3 / width) ** 2))) / (math.pi * 7e-3**2 / 4.0)
    assert axis.value == pytest.approx(by_hand, rel=1e-3)
    assert axis.numbers.startswith("1 · (1 − exp(−(7 mm / 5.831 mm)²)) / (π · (7 mm)² / 4)")
    assert there.formula == "E = E₀ · k"
    assert f"k = {there.value / axis.value:.5g}" in there.numbers
    assert 1.0 - 1e-9 <= there.value / axis.value < 1.02  # a bound is at most 2 per cent above what is found
    assert ratio.value == pytest.approx(there.value / one.limit)
