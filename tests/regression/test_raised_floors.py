"""A person on a raised floor has eyes and skin that much higher."""

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from tests.crosscheck.scene_description import Laser, Person, Scene, case_text

# 1 W, 1070 nm, 3 mm and 0.5 mrad (1/e), level at 2.6 m, person at 10 m: d = sqrt(3^2 + 5^2) mm = 5.83 mm, and over 7 mm
# E = 1 W (1 - exp(-(7 / 5.83)^2)) / 38.48 mm2 = 19 840 W/m2, 397 times 50 W/m2. Eyes of who stands: 1.5 m to 1.7 m.
OVERHEAD = Scene((Laser(1.0, 3e-3, 0.5e-3, (0.0, 0.0, 2.6), 0.0),), (Person("Row", ((0.0, 10.0),)),))


def direct(floor):
    text = case_text(OVERHEAD).replace("[[scene.person]]\n", f'[[scene.person]]\nfloor = "{floor} m"\n')
    assert f'floor = "{floor} m"' in text
    cells = assess(parse_case(text)).scene.matrix
    return max(c.ratio for c in cells if c.person == "Row" and c.mode == "running" and c.way == "direct")


def test_eyes_of_a_person_on_a_raised_floor_are_in_a_beam_that_passes_over_others():
    width = math.hypot(3e-3, 0.5e-3 * 10.0)
    exposure = (1.0 - math.exp(-((7e-3 / width) ** 2))) / (math.pi * 7e-3**2 / 4.0)
    assert direct(1) == pytest.approx(exposure / 50.0, rel=0.02)
    assert direct(0) < 1e-3


@pytest.mark.parametrize("drawn", [True, False])
@pytest.mark.parametrize("wet", [True, False])
def test_puddles_on_a_stage_are_mirrors_as_those_on_the_ground_are(wet, drawn):
    """1 W, 20 degrees down from 2 m, meets a stage of 0.6 m 3.85 m off and rises to eyes 1 m above it at 6.6 m.

    It is a mirror whether it is drawn or not: who stands at 0.6 m stands on something.
    """
    laser = Laser(1.0, 5e-3, 1e-3, (0.0, 0.0, 2.0), 0.0, -20.0)
    text = case_text(Scene((laser,), (Person("Row", ((0.0, 6.6),)),)))
    text = text.replace('stature = "standing adult"\n', 'eye_height = "1 m"\nfloor = "0.6 m"\n')
    text += f"[scene.outdoor]\nwet = {str(wet).lower()}\n"
    if drawn:
        text += '[[scene.floor]]\nname = "stage"\nkind = "stage"\nheight = "0.6 m"\n'
        text += 'outline = [["-3 m", "2 m"], ["3 m", "2 m"], ["3 m", "8 m"], ["-3 m", "8 m"]]\n'
    cells = assess(parse_case(text)).scene.matrix
    found = max(c.ratio for c in cells if c.mode == "running" and c.way == "mirror")
    path = 6.6 / math.cos(math.radians(20.0))
    width = math.hypot(5e-3, 1e-3 * path)
    exposure = (1.0 - math.exp(-((7e-3 / width) ** 2))) / (math.pi * 7e-3**2 / 4.0)
    assert found == pytest.approx(exposure / 50.0, rel=0.02) if wet else found < 1.0
