"""What is said of a pair of eyewear and what it answers are the same statement."""

import math
from pathlib import Path

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from lasersafe.wording import load_wording, localise

MARKER = Path("templates/cases/nanosecond-marker.toml").read_text(encoding="utf-8")
CASE = """
title = "Eyewear"
place = "Workshop hall 2, Brackenmoor College of Engineering"
dates = "13 November 2027"
review_by = 2027-11-13

[in_charge]
assessor = "Ines Falkenrath"
laser_safety_officer = "Tobias Quendel"
operator = "Mara Lindqvist-Oyelaran"
venue = "Facilities office"

[[laser]]
name = "Head"
class_label = "4"
serial = "BMC-W-0042"
wavelength = "{wavelength}"

[laser.emission]
kind = "continuous"
power = "{power}"

[[laser.setup]]
name = "Bare head"
kind = "collimated"
fitted = true
beam_diameter = "8 mm"
divergence = "1 mrad"
criterion = "1/e"
work_distance = "1 m"

[[person]]
name = "Operator"
role = "operator"
distance = "1 m"
distance_from_work = "0.5 m"
eyewear = "{eyewear}"
"""


def assessed(wavelength, power, eyewear):
    return assess(parse_case(CASE.format(wavelength=wavelength, power=power, eyewear=eyewear)))


def of_the_eye(assessment, *ways):
    return [s for s in assessment.scenarios if s.tissue == "eye" and s.way in ways]


def test_a_pair_that_is_not_enough_answers_no_scenario_but_says_where_it_is_enough():
    # 2 kW: no eyewear can be relied on in the beam; the scatter of 2 kW at 0.5 m is 2000/(pi 0.25) = 2546 W/m2, 51
    # times 50 W/m2 (1070 nm, 10 s): density 1.8, which D LB8 holds.
    found = assessed("1070 nm", "2 kW", "1030-1090 D LB8")
    (need,) = found.eyewear
    assert (need.verdict.enough, need.verdict.verdict) == (False, "enough against scatter only")
    assert [bool(s.answer) for s in of_the_eye(found, "direct", "mirror")] == [False, False]
    (scatter,) = of_the_eye(found, "scatter")
    assert not scatter.below
    assert "scatter only" in scatter.answer
    german = localise(found, load_wording("de")).eyewear[0].verdict
    assert german is not None
    assert german.verdict == "ausreichend nur gegen Streustrahlung"


@pytest.mark.parametrize(
    ("eyewear", "verdict"), [("1030-1090 D LB1", "not enough"), ("500-540 D LB8", "wrong wavelength")]
)
def test_a_pair_that_is_short_of_the_scatter_or_of_another_wavelength_answers_nothing(eyewear, verdict):
    # As above: density 1.8 asks for LB2 against scatter, so LB1 is enough for nothing.
    found = assessed("1070 nm", "2 kW", eyewear)
    assert [need.verdict.verdict for need in found.eyewear] == [verdict]
    assert not any(s.answer for s in found.scenarios)


def test_a_pair_of_the_wrong_wavelength_inside_the_tolerance_answers_at_no_corner():
    # The limit of 10 s at 1125 nm is 50 W/m2 (C_C = 1), at 1215 nm 10^(0.018 x 65) = 14.8 times that; 10 mW over 7 mm
    # of an 8 mm beam is about 139 W/m2: above it at 1125 nm, where the pair is enough, below it at 1215 nm, where it
    # counts as none. The worst scenario and the worst verdict stand beside each other on the sheet.
    found = assessed("1170 nm +- 45 nm", "10 mW", "1100-1190 D LB6")
    assert [need.verdict.verdict for need in found.eyewear] == ["wrong wavelength"]
    open_ones = [s for s in found.scenarios if not s.below]
    assert open_ones
    assert not any(s.answer for s in open_ones)
    assert not found.decision.passed
    answers = [s.answer for s in assessed("1170 nm +- 45 nm", "10 mW", "1100-1290 D LB6").scenarios if not s.below]
    assert answers
    assert all(answers)


def test_eyewear_against_several_wavelengths_counts_what_the_places_of_a_scene_give():
    # A hollow mirror sends the beam nearer to its focus than a direct hit at the person's place: what is asked of the
    # pair is never less than the logarithm of the worst ratio of that person.
    case = MARKER.replace(
        'finish = "unknown"               # bright metal under the colour: counts as a mirror', 'finish = "mirror"'
    ).replace('must_stop = ["mirror", "scatter"]\n', 'must_stop = ["scatter"]\n')
    case = case.replace('elevation = "-90 deg"            # straight down', 'elevation = "-80 deg"')
    case += '\n[[scene.surface]]\nname = "Name plate"\nshape = "concave"\nradius = "2 m"\n'
    found = assess(parse_case(case))
    main = [need for need in found.eyewear if need.wavelength == 1064e-9]
    assert len(main) == 3
    for need in main:
        ratios = [
            s.ratio for s in found.scenarios
            if (s.person, s.setup, s.tissue) == (need.person, need.setup, "eye") and not s.struck_out
        ]  # fmt: skip
        assert need.optical_density_exact >= math.log10(max(ratios))
