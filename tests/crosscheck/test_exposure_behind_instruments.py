"""An exposure behind binoculars, with the limiting aperture put in front of the objective by hand."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import exposure_ratios, zone_distances
from lasersafe.limits import rule_sets
from lasersafe.models import parse_case
from tests.case_head import HEAD

CASE = (
    HEAD
    + """\
[[laser]]
name = "L"
class_label = "4"
wavelength = "{nm} nm"
[laser.emission]
kind = "continuous"
power = "{power}"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "10 mm"
divergence = "1 mrad"
criterion = "1/e"
[[person]]
name = "P"
role = "crew"
distance = "3 m"
distance_from_work = "1 m"
time = "10 s"
time_reason = "for the test"
aided = true
"""
)
SCENE = """
[scene]
[[scene.aim]]
laser = "L"
position = ["0 m", "0 m"]
height = "1.5 m"
bearing = "0 deg"
elevation = "0 deg"
[[scene.person]]
name = "P"
position = ["0 m", "3 m"]
eye_height = "1.5 m"
"""
AREA = math.pi / 4.0 * 3.5e-3**2  # of the limiting aperture of the cornea at 10 s
LIMIT = 1e4 / 10.0  # W/m2 for 10 s from 1500 nm to 1800 nm; both rows that meet at 10 s say so


def through(diameter: float, width: float) -> float:
    """Return the part of a round Gaussian that a centred hole passes."""
    return 1.0 - math.exp(-((diameter / width) ** 2))


def of_person(assessment, way: str, tissue: str = "eye"):
    return next(s for s in assessment.scenarios if (s.way, s.tissue) == (way, tissue))


@pytest.mark.parametrize(("power", "ratio", "zone"), [(20e-3, 2.07, 28.55), (36e-3, 3.73, 42.78)])
def test_exposure_behind_a_telescope_is_averaged_over_the_imaged_aperture(power, ratio, zone):
    # 7x images the 3.5 mm to 24.5 mm in front of the objective of 50 mm. At 3 m the beam is sqrt(10^2 + 3^2) = 10.44 mm
    # wide, 0.9959 of 20 mW pass 24.5 mm: 19.92 mW / 9.621 mm2 = 2070 W/m2, over 1000 that is 2.07.
    by_hand = power * through(24.5e-3, math.hypot(10e-3, 3e-3)) / AREA / LIMIT
    assert by_hand == pytest.approx(ratio, rel=3e-3)
    # The limit is met where 1000 * 9.621 mm2 / 20 mW = 0.4811 passes, so 24.5 mm / sqrt(0.6560) = 30.25 mm wide.
    width = 24.5e-3 / math.sqrt(-math.log1p(-LIMIT * AREA / power))
    reach = math.sqrt(width**2 - 10e-3**2) / 1e-3
    assert reach == pytest.approx(zone, abs=0.05)
    case = parse_case(CASE.format(nm=1550, power=f"{power * 1e3:g} mW"))
    found = assess(case)
    assert of_person(found, "direct").ratio == pytest.approx(by_hand, rel=1e-6)
    fitted = found.setups[0]
    aided = next(z for z in fitted.zones if z.way == "aided")
    assert aided.distance == pytest.approx(reach, rel=1e-6)
    context = contexts(case, rule_sets())[0]
    assert float(zone_distances(context, "aided", "eye", {"power": [power]})[0]) == pytest.approx(reach, rel=1e-6)
    ratios = exposure_ratios(context, "aided", "eye", 3.0, {"power": [power]})
    assert float(ratios[0]) == pytest.approx(by_hand, rel=1e-6)


def test_a_scene_takes_the_imaged_aperture_behind_a_telescope_too():
    found = assess(parse_case(CASE.format(nm=1550, power="20 mW") + SCENE))
    hit = next(s for s in found.scenarios if s.way == "aided viewing" and s.person == "P")
    truth = 20e-3 * through(24.5e-3, math.hypot(10e-3, 3e-3)) / AREA / LIMIT
    assert truth * (1.0 - 1e-9) <= hit.ratio <= truth * 1.02  # a bound over all heights of the eyes


def test_scatter_behind_a_telescope_gains_by_the_square_of_the_magnification():
    # An even field gains (24.5 / 3.5)^2 = 49 where the cornea is averaged over 3.5 mm, (50 / 7)^2 = 51.02 in the pupil.
    for nm, gain in ((1550, 49.0), (1064, (50.0 / 7.0) ** 2)):
        text = CASE.format(nm=nm, power="2 W")
        bare = of_person(assess(parse_case(text.replace("aided = true", ""))), "scatter")
        aided = of_person(assess(parse_case(text)), "scatter")
        assert aided.criterion.limiting_aperture == (3.5e-3 if nm == 1550 else 7e-3)
        assert aided.exposure / bare.exposure == pytest.approx(gain, rel=1e-9)


def test_an_objective_smaller_than_the_image_of_the_aperture_passes_what_it_can():
    # 8x20 finder: 8 * 3.5 mm = 28 mm is cut to the 20 mm of the objective, and the gain of a wide beam to (20 / 3.5)^2.
    from lasersafe.hazard.instruments import Aid

    small = Aid("8x20", 8.0, 20e-3, glass=False)
    assert float(small.collects(3.5e-3)) == 20e-3
    assert small.gain(1550e-9, 3.5e-3) == pytest.approx((20.0 / 3.5) ** 2)
