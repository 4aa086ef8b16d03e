"""The skin limit of a large area: from exactly 10 s on, and the same in every answer that rests on it."""

from __future__ import annotations

import math

import numpy as np
import pytest

import lasersafe
from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import zone_distances
from lasersafe.hazard.exposure import continuous, trains_at
from lasersafe.hazard.eyewear import Filtered
from lasersafe.hazard.settings import SettingSpace
from lasersafe.limits import exposure_limit, pulse_list_limit, pulse_train_limit, rule_sets
from lasersafe.limits.patterns import regular_trains
from lasersafe.models import parse_case
from tests.behaviour.command import run
from tests.case_head import HEAD

LARGE = 100.0  # W/m2, ICNIRP-2013, skin, 1400 nm and more, 10 s and more, 0.1 m2 and more
WAIST, ANGLE = 10e-3 / math.sqrt(2.0), 3e-3 / math.sqrt(2.0)  # 1/e of 10 mm and 3 mrad at 1/e2
AREA = math.pi / 4.0 * 3.5e-3**2
BEAM = ("--wavelength", "10.6 um", "--beam-diameter", "10 mm", "--criterion", "1/e2", "--power", "100 W")
CASE = (
    HEAD
    + """\
[[laser]]
name = "L"
class_label = "4"
wavelength = "10.6 um"
[laser.emission]
kind = "continuous"
power = "100 W"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "10 mm"
divergence = "3 mrad"
criterion = "1/e2"
[[person]]
name = "P"
role = "crew"
distance = "2 m"
distance_from_work = "2 m"
"""
)


def reach(limit: float, power: float = 100.0) -> float:
    """Return where the mean of a Gaussian over 3.5 mm is the limit."""
    wide = 3.5e-3 / math.sqrt(-math.log1p(-limit * AREA / power))
    return math.sqrt(wide**2 - WAIST**2) / ANGLE


def test_the_skin_limit_of_a_large_area_holds_at_exactly_ten_seconds():
    # 100 W/m2 * 9.621 mm2 / 100 W = 9.62e-6 passes at 3.5 mm / sqrt(9.62e-6) = 1128 mm: sqrt(1128^2 - 7^2) / 2.121 mrad
    by_hand = reach(LARGE)
    assert by_hand == pytest.approx(531.9, abs=0.05)
    case = parse_case(CASE)
    assessment = assess(case)
    (setup,) = assessment.setups
    zones = {zone.way: zone for zone in setup.zones if zone.tissue == "skin"}
    assert zones["direct"].criterion.duration == 10.0
    assert zones["direct"].distance == pytest.approx(by_hand, rel=1e-9)
    assert zones["scatter"].distance == pytest.approx(math.sqrt(100.0 / math.pi / LARGE), rel=1e-9)
    # the shortest time that was right before, and just below 10 s: 560 * 10^0.25 = 995.8 W/m2
    beam = lasersafe.collimated_beam("10 mm", "3 mrad", "1/e2")
    found = lasersafe.direct_distance(beam, "10.6 um", [9.99, 10.0, 10.01], power="100 W", tissue="skin")
    short = reach(5600.0 * 9.99**0.25 / 9.99)
    assert np.asarray(found.distance) == pytest.approx([short, by_hand, by_hand], rel=1e-9)
    varied = zone_distances(contexts(case, rule_sets())[0], "direct", "skin", {"power": [50.0, 100.0]})
    assert varied == pytest.approx([reach(LARGE, 50.0), by_hand], rel=1e-9)


def test_limit_reach_and_eyewear_agree_on_a_large_area_of_skin():
    assert run("limit", "--wavelength", "10.6 um", "--duration", "10 s", "--json").data["skin"][
        "irradiance_W_per_m2"
    ] == pytest.approx(LARGE)
    small = run("limit", "--wavelength", "10.6 um", "--duration", "10 s", "--exposed-area", "0.01 m2", "--json")
    assert small.data["skin"]["irradiance_W_per_m2"] == pytest.approx(560.0 * 10.0**0.25)  # 10 / 0.01 = 1000 is laxer
    half = run("limit", "--wavelength", "10.6 um", "--duration", "10 s", "--exposed-area", "0.05 m2", "--json")
    assert half.data["skin"]["irradiance_W_per_m2"] == pytest.approx(10.0 / 0.05)
    assert float(lasersafe.exposure_limit("ICNIRP-2013", "skin", "10.6 um", "10 s").irradiance) == pytest.approx(LARGE)
    told = run("reach", *BEAM, "--divergence", "3 mrad", "--duration", "10 s", "--json").data
    assert told["direct_skin_m"] == pytest.approx(reach(LARGE), rel=1e-9)
    # 100 W through 3.5 mm of a beam of 7.071 mm: 2.258 MW/m2, over 100 W/m2 a density of 4.354
    exposure = 100.0 * (1.0 - math.exp(-((3.5e-3 / WAIST) ** 2))) / AREA
    light = Filtered(10.6e-6, SettingSpace("continuous"), (), rule_sets(), 10.0)
    density = light.density(continuous(100.0), WAIST, WAIST, "skin")[0]
    assert density == pytest.approx(math.log10(exposure / LARGE), rel=1e-9)
    told = run("eyewear", *BEAM, "--continuous", "--json").data
    assert told["optical_density_skin"] == 4.4


def test_the_search_of_settings_counts_the_large_area_too():
    # 10 Hz for 10 s: 100 pulses share 100 W/m2 * 10 s, so 10 J/m2 each; without the area nearly 100 J/m2.
    skin = trains_at("ICNIRP-2013", "skin", 10.6e-6, 10.0)
    assert float(skin.per_pulse(1e-3, 10.0)) == pytest.approx(10.0, rel=1e-9)
    for duration in (9.0, 10.0, 100.0):
        own = trains_at("ICNIRP-2013", "skin", 10.6e-6, duration).per_pulse([1e-3, 1e-6], [10.0, 0.3])
        train = pulse_train_limit("ICNIRP-2013", "skin", 10.6e-6, [1e-3, 1e-6], [10.0, 0.3], duration, exposed_area=0.2)
        assert own == pytest.approx(train.per_pulse, rel=1e-9)


@pytest.mark.parametrize("duration", [9.999, 10.0, 3e4])
@pytest.mark.parametrize("area", [0.0, 0.00999, 0.01, 0.1, 0.2])
def test_the_stricter_row_holds_at_the_edges_of_the_area(duration, area):
    below = 5600.0 * duration**0.25 / duration if duration <= 10.0 else 1000.0
    lowered = min(below, {0.01: 1000.0, 0.1: LARGE, 0.2: LARGE}.get(area, below)) if duration >= 10.0 else below
    found = exposure_limit("ICNIRP-2013", "skin", 10.6e-6, duration, exposed_area=area)
    assert float(found.irradiance) == pytest.approx(lowered, rel=1e-12)


def test_a_train_may_have_no_more_in_ten_seconds_than_the_large_area_allows_in_exactly_ten():
    # two pulses start within 10 s, 9.99 s apart: 100 W/m2 * 10 s / 2 = 500 J/m2; of three in 19.98 s each may have 666
    few = pulse_train_limit("ICNIRP-2013", "skin", 10.6e-6, 1e-3, 0.1001, 100.0, exposed_area=0.1)
    listed = pulse_list_limit(
        "ICNIRP-2013", "skin", 10.6e-6, [0.0, 9.99, 19.98], [1e-3] * 3, [1.0] * 3, 100.0, exposed_area=0.1
    )
    fast = regular_trains("ICNIRP-2013", "skin", 10.6e-6, 100.0, 0.1).per_pulse(1e-3, 0.1001)
    assert [float(one) for one in (few.per_pulse, listed.per_pulse, fast)] == pytest.approx([500.0] * 3, rel=1e-12)
