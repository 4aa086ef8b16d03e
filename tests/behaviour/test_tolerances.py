"""A case with tolerances is assessed at the worst corner of all of them."""

import itertools
import math
import re

import pytest

from lasersafe.ask.cases import template_text
from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.corners import MOST_CORNERS, corners_of
from lasersafe.assessment.distances import variable_inputs
from lasersafe.assessment.scene_zones import zones_over
from lasersafe.assessment.stages import stages_of
from lasersafe.assessment.uncertainty import stated_tolerances
from lasersafe.errors import CaseError, InputError
from lasersafe.models import parse_case

SMALL = """
title = "Bench in the college yard"
place = "Brackenmoor College of Engineering"
dates = "13 November 2027"
review_by = 2027-12-01

[in_charge]
assessor = "R. Quillfeather"
laser_safety_officer = "T. Ambersley"
operator = "M. Okonjo-Lind"
venue = "P. Vasterholm"

[[laser]]
name = "Bench laser"
wavelength = "1070 nm"
class_label = "4"

[laser.emission]
kind = "continuous"
power = "1.5 kW"

[[laser.setup]]
name = "Lens"
fitted = true
kind = "lens"
beam_diameter = "8.5 mm"
criterion = "1/e2"
focal_length = "400 mm"
work_distance = "0.4 m"

[[laser.setup]]
name = "Free beam"
kind = "collimated"
beam_diameter = "6 mm"
divergence = "1 mrad"
criterion = "1/e2"

[[person]]
name = "Operator"
role = "operator"
distance = "0.5 m"

[[person]]
name = "Visitors"
role = "spectator"
distance = "20 m"

[[barrier]]
name = "Screen"
distance = "3 m"
rating = "120 W/cm2"
rated_time = "100 s"
"""


def text_of(*changes):
    text = SMALL
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def assessed(*changes):
    return assess(parse_case(text_of(*changes)))


POWER = 'power = "1.5 kW"'
DIAMETER = 'beam_diameter = "8.5 mm"'
FOCAL = 'focal_length = "400 mm"'
WAVELENGTH = 'wavelength = "1070 nm"'
EMISSION = 'kind = "continuous"\npower = "1.5 kW"'


def distances(assessment):
    return {(s.laser, s.setup, z.way, z.tissue): z.distance for s in assessment.setups for z in s.zones}


def test_the_corner_is_as_bad_as_every_corner_typed_by_hand():
    bounds = {
        POWER: ("1425 W", "1575 W"), DIAMETER: ("8.0 mm", "9.0 mm"), FOCAL: ("392 mm", "408 mm"),
        WAVELENGTH: ("1060 nm", "1080 nm"),
    }  # fmt: skip
    table = [(k, f'{k.split(" = ")[0]} = {{ lowest = "{a}", highest = "{b}" }}') for k, (a, b) in bounds.items()]
    worst = assessed(*table)
    corners = [
        assessed(*[(k, f'{k.split(" = ")[0]} = "{v}"') for k, v in zip(bounds, values, strict=True)])
        for values in itertools.product(*bounds.values())
    ]
    for key, distance in distances(worst).items():
        by_hand = max(distances(one)[key] for one in corners)
        assert distance == pytest.approx(by_hand, rel=1e-9), key
    assert worst.decision.headline_distance == pytest.approx(max(c.decision.headline_distance for c in corners))

    def ratios(one):
        found = {}
        for s in one.scenarios:
            key = (s.person, s.laser, s.setup, s.way, s.tissue, s.struck_out != "")
            found[key] = max(found.get(key, 0.0), s.ratio)
        return found

    mine = ratios(worst)
    for one in corners:
        for key, ratio in ratios(one).items():
            assert mine[key] >= ratio * (1.0 - 1e-9), key
    densities = max(n.optical_density_exact for c in corners for n in c.eyewear)
    assert max(n.optical_density_exact for n in worst.eyewear) == pytest.approx(densities, rel=1e-9)


def test_without_tolerances_nothing_changes_and_one_corner_is_worked_out():
    case = parse_case(text_of())
    corners = corners_of(case)
    assert corners.cases == (case,)
    assert corners.inputs == ()


def test_the_steps_say_which_end_of_the_tolerance_was_taken():
    assessment = assessed((DIAMETER, 'beam_diameter = "8.5 mm +- 0.5 mm"'))
    steps = " ".join(step.numbers for setup in assessment.setups for step in setup.steps)
    assert "8.000 mm (lowest of 8.5 mm +- 0.5 mm)" in steps


def test_the_beam_of_a_lost_lens_can_be_worked_out_from_its_steps():
    free = SMALL[SMALL.index('[[laser.setup]]\nname = "Free') : SMALL.index("[[person]]")]
    focal = 'focal_length = "400 mm"', 'focal_length = "400 mm +- 3 %"'
    found = assessed((free, ""), (DIAMETER, 'beam_diameter = "8.5 mm +- 0.5 mm"'), focal)
    fibre, width, angle = found.setups[0].steps[-3:]
    assert (fibre.numbers, fibre.value) == ("2 · 0.2 / 1.7", pytest.approx(0.4 / 1.7))
    # by hand: 8.0 mm / sqrt(2), at most 9.0 / 8.0 * 1.03 / 0.97 times that, 2 * 1070 nm / (pi * k * 5.65685 mm)
    least = 2.0 * 1070e-9 / (math.pi * 1.1945876 * 8.0e-3 / math.sqrt(2.0))
    assert width.value == pytest.approx(8.0e-3 / math.sqrt(2.0), rel=1e-6)
    assert angle.value == pytest.approx(least, rel=1e-6)
    assert angle.numbers == "2 · 1.0700 um / (π · 1.1946 · 5.6569 mm)"
    far = f"{math.hypot(width.value, angle.value * 20.0) * 1e3:.4f} mm"
    lost = [one for one in found.scenarios if one.person == "Visitors" and one.way == "optic lost"]
    assert lost
    assert all(far in str(one.steps[0].numbers) for one in lost)
    assert not any("lens lost" in str(step.meaning) for one in assessed().setups for step in one.steps)


def test_a_standard_uncertainty_counts_twice_to_the_worse_side():
    twice = assessed((POWER, 'power = "1.5 kW +- 5 % standard uncertainty"'))
    bound = assessed((POWER, 'power = "1.5 kW +- 10 %"'))
    assert distances(twice) == pytest.approx(distances(bound), rel=1e-12)


def test_a_standard_uncertainty_that_reaches_zero_is_refused_in_one_line():
    text = text_of((POWER, 'power = "1.5 kW +- 60 % standard uncertainty"'))
    with pytest.raises(CaseError, match=r"twice the standard uncertainty reaches 0 W.*must be above 0 W") as error:
        parse_case(text)
    assert [fault.field for fault in error.value.faults] == ["laser[1].emission.power"]


def test_a_wavelength_over_an_edge_of_the_tables_takes_the_stricter_side():
    over = assessed((WAVELENGTH, 'wavelength = "1395 nm +- 10 nm"'))
    for nm in ("1385 nm", "1395 nm", "1399.999 nm", "1400 nm", "1400.001 nm", "1405 nm"):
        one = assessed((WAVELENGTH, f'wavelength = "{nm}"'))
        for key, distance in distances(one).items():
            assert distances(over)[key] >= distance * (1.0 - 1e-9), (nm, key)


def test_a_pulse_duration_with_a_tolerance_is_searched_like_a_knob():
    train = 'kind = "pulse train"\npulse_duration = {}\nrepetition_rate = "20 kHz"\npulse_energy = "1 mJ"'
    old = 'kind = "continuous"\npower = "1.5 kW"'
    fixed = assessed((old, train.format('"100 ns +- 20 %"')))
    knob = assessed((old, train.format('["80 ns", "120 ns"]')))
    assert distances(fixed) == pytest.approx(distances(knob), rel=1e-12)


def test_too_many_inputs_without_a_known_worse_end_are_refused():
    text = text_of(
        (FOCAL, 'focal_length = "400 mm +- 1 %"'),
        (WAVELENGTH, 'wavelength = "1395 nm +- 10 nm"'),
        ('"3 m"', '"3 m +- 1 %"'),
        ('"0.4 m"', '"0.4 m +- 1 %"'),
        ('"1 mrad"', '"1 mrad +- 5 %"\nmeasured_at = "1 m +- 1 cm"\nwaist_at = "0 m"'),
    )
    with pytest.raises(InputError, match=rf"more than the {MOST_CORNERS} that are worked out"):
        assess(parse_case(text))


def test_a_beam_may_pass_the_diffraction_limit_only_at_a_corner():
    near = ('divergence = "1 mrad"', 'divergence = "0.25 mrad"')
    typed = distances(assessed(near))
    wide = distances(assessed((near[0], 'divergence = "0.25 mrad +- 60 %"')))
    key = ("Bench laser", "Free beam", "direct", "eye")
    assert wide[key] > 2.0 * typed[key]
    with pytest.raises(CaseError, match="diffraction"):
        assessed((near[0], 'divergence = "0.1 mrad"'))


def test_a_scene_takes_the_union_of_the_zones_of_all_corners():
    text = template_text("visible-diode").decode()
    line = re.search(r"(?m)^wavelength = .*$", text).group()
    over, one = (
        zones_over(stages_of(parse_case(text.replace(line, f'wavelength = "{typed}"'))))
        for typed in ("445 nm +- 10 nm", "435 nm")
    )
    assert one
    for small in one:
        large = [z for z in over if (z.kind, z.setup, z.surface) == (small.kind, small.setup, small.surface)]
        assert max(z.area for z in large) >= small.area * (1.0 - 1e-6)
        assert max(z.distance for z in large) >= small.distance * (1.0 - 1e-9)


def test_a_divergence_that_was_read_away_from_the_waist_is_tried_at_both_ends():
    far = 'divergence = {}\nmeasured_at = "4 m"\nwaist_at = "0 m"'
    old, wide = 'divergence = "1 mrad"', ('beam_diameter = "6 mm"', 'beam_diameter = "12 mm"')
    corner = assessed(wide, (old, far.format('"2 mrad +- 20 %"')))
    ends = [assessed(wide, (old, far.format(f'"{value} mrad"'))) for value in (1.6, 2.4)]
    near = [max(s.ratio for s in one.scenarios if s.setup == "Free beam" and s.person == "Operator") for one in ends]
    reach = [distances(one)["Bench laser", "Free beam", "direct", "eye"] for one in ends]
    assert near[1] > near[0]
    assert reach[0] > reach[1]
    mine = max(s.ratio for s in corner.scenarios if s.setup == "Free beam" and s.person == "Operator")
    assert mine == pytest.approx(near[1], rel=1e-9)
    assert distances(corner)["Bench laser", "Free beam", "direct", "eye"] == pytest.approx(reach[0], rel=1e-9)


def test_eyewear_is_asked_for_over_the_whole_tolerance_of_the_wavelength():
    needs = assessed((WAVELENGTH, 'wavelength = "1395 nm +- 10 nm"'), (POWER, 'power = "0.5 W"')).eyewear
    ends = [
        assessed((WAVELENGTH, f'wavelength = "{nm} nm"'), (POWER, 'power = "0.5 W"')).eyewear for nm in (1385, 1405)
    ]
    for need in needs:
        assert "1385" in need.marking
        assert "1405" in need.marking
        own = [one for end in ends for one in end if one.person == need.person]
        assert need.optical_density >= max(one.optical_density for one in own)
        for one in own:
            for scale in one.scales:
                asked = next(s.scale_number for s in need.scales if s.mode == scale.mode)
                assert asked is None or (scale.scale_number is not None and asked >= scale.scale_number)


@pytest.mark.parametrize("second", ["1 mrad +- 20 %", "1 mrad +- 10 %", "1 mrad"])
def test_tolerances_of_two_equal_axes_count_in_how_sure_a_distance_is(second):
    case = parse_case(text_of(('divergence = "1 mrad"', f'divergence = ["1 mrad +- 10 %", "{second}"]')))
    context = contexts(case)[1]
    assert {"divergence.x", "divergence.y"} <= set(variable_inputs(context))
    assert set(stated_tolerances(context)) <= set(variable_inputs(context))
