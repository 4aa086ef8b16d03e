"""What falls to zero width, or lies nowhere near anything else: one answer, and a refusal in form."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.errors import CaseError
from lasersafe.hazard.distances import direct_distance
from lasersafe.models import parse_case
from lasersafe.optics.beam import collimated, fraction_through, thin
from lasersafe.optics.viewing import offset_fraction
from lasersafe.records import as_json

CASE = """title = "Bench"
place = "Laboratory 3"
dates = "June"
review_by = 2090-06-30
[in_charge]
assessor = "Ines Falkenrath"
laser_safety_officer = "Tobias Quendel"
operator = "Callum Rosendahl"
venue = "Rafe Sollberg"
[[laser]]
name = "Module"
class_label = "4"
wavelength = {wavelength}
emission = {{ kind = "continuous", power = "10 W" }}
{module}
[[laser.setup]]
name = "Lens"
kind = "lens"
beam_diameter = "6 mm"
criterion = "1/e2"
focal_length = "400 mm"
[[person]]
name = "Operator"
role = "operator"
distance = "{distance}"
{scene}
"""
MODULE = '[laser.module]\ncolumns = 3\nrows = 2\ncolumn_pitch = "6 mm"\n'
SCENE = """[scene]
[[scene.aim]]
laser = "Module"
position = ["{x}", "0 m"]
height = "{height}"
bearing = "90 deg"
[[scene.person]]
name = "Operator"
position = ["10 m", "0 m"]
[[barrier]]
name = "Screen"
distance = "0.2 m"
[[scene.barrier]]
name = "Screen"
line = [["0.2 m", "-1 m"], ["0.2 m", "1 m"]]
bottom = "-2 m"
top = "2 m"
"""


def case(distance: str = "0.4 m", module: str = "", scene: str = "", wavelength: str = '"1064 nm"') -> str:
    return CASE.format(distance=distance, module=module, scene=scene, wavelength=wavelength)


@pytest.mark.parametrize("distance", ["0.4 m", "400.000000001 mm", "0.39 m"])
def test_a_module_behind_a_lens_with_a_person_in_the_focus_has_an_answer(distance: str) -> None:
    """In the focus every beam is a point: with all six in one place all 10 W enter the 7 mm of the eye.

    As they lie, pitch 6 mm, the pupil on one of them takes that one alone (the next lies 6 mm off, its edge is at
    3.5 mm), and between two neighbours (3 mm off) both: 2 of 6. At 0.39 m a beam is 6 mm / sqrt(2) x 1/40 = 0.11 mm
    wide, which changes nothing. The bound, all through one point, decides: 10 W / 38.48 mm2 = 259.8 kW/m2.
    """
    found = assess(parse_case(case(distance, MODULE)))
    steps = [step for s in found.scenarios if s.way == "direct" and s.tissue == "eye" for step in s.steps]
    assert all(np.isfinite(step.value) for step in steps)
    worst = next(s for s in found.scenarios if s.way == "direct" and s.tissue == "eye")
    assert worst.exposure == pytest.approx(10.0 / (np.pi / 4.0 * 0.007**2), rel=1e-6)
    assert as_json(found)["scenarios"]


def test_a_beam_without_width_has_the_same_fraction_everywhere() -> None:
    """A point passes an aperture when it lies in it: 1 inside, 0 outside."""
    assert offset_fraction(0.0, 7e-3, [0.0, 3.4e-3, 3.6e-3]) == pytest.approx([1.0, 1.0, 0.0], abs=1e-12)
    assert offset_fraction(0.0, 7e-3, 0.0) == pytest.approx(float(fraction_through(0.0, 0.0, 7e-3)))
    assert offset_fraction(1e-9, 7e-3, 3e-3) == pytest.approx(1.0)
    assert float(thin(0.0, 7e-3)) == pytest.approx(7e-12)


@pytest.mark.parametrize("x", ["1e-300 m", "-0.9 nm", "1e-160 mm"])
def test_a_coordinate_that_is_next_to_nothing_is_refused_in_form(x: str) -> None:
    """Its square is 0 in floating point, and a distance that is divided by would be 0 although the points differ."""
    with pytest.raises(CaseError, match=rf"position: '{x}': shorter than 1 nm, but not 0; write 0 m"):
        parse_case(case("1 m", scene=SCENE.format(x=x, height="1.6 m")))
    assert parse_case(case("1 m", scene=SCENE.format(x="1 nm", height="1.6 m")))


def test_light_from_below_the_floor_needs_no_barrier_below_the_floor() -> None:
    """Head at -0.6 m, screen at 0.2 m, somebody at 10 m who reaches 2.3 m: -0.6 + 2.9 x 0.02 = -0.54 m: so 0 m."""
    found = assess(parse_case(case("1 m", scene=SCENE.format(x="0 m", height="-0.6 m"))))
    assert found.scene is not None
    assert [barrier.needed_height for barrier in found.scene.barriers] == [0.0]


def test_a_wavelength_that_is_a_list_is_refused_with_what_was_typed() -> None:
    with pytest.raises(CaseError) as refused:
        parse_case(case(wavelength='["532 nm", "1064 nm"]'))
    assert "laser[1].wavelength: ['532 nm', '1064 nm']: one value is taken here, and this is a list; " in str(
        refused.value
    )


def test_a_distance_of_nothing_is_zero_without_a_sign() -> None:
    """1 nW through 7 mm is 26 uW/m2 at most, far below 50 W/m2: 0 m, and JSON showed -0.0."""
    far = direct_distance([1e-9, 1.0], 50.0, 7e-3, collimated(8e-3, 1e-3, "1/e2", "gaussian"))
    assert far[0] == 0.0
    assert not np.signbit(far).any()
