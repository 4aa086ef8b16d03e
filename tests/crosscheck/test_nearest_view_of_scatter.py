"""How near scatter is taken to be: 0.1 m is the nearest view of the retina and of nothing else."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from tests.case_head import HEAD

CASE = (
    HEAD
    + """\
[[laser]]
name = "L"
class_label = "4"
wavelength = "{wavelength}"
[laser.emission]
kind = "continuous"
power = "{power}"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "5 mm"
divergence = "2 mrad"
criterion = "1/e"
work_distance = "1 m"
[[surface]]
name = "Board"
distance = "1 m"
material = "board"
finish = "matt"
reflectance = 1.0
[[person]]
name = "P"
role = "crew"
distance = "1 m"
distance_from_work = "{near}"
time = "10 s"
time_reason = "for the test"
"""
)


def of_scatter(wavelength: str, power: str, near: str, tissue: str, extra: str = ""):
    case = parse_case(CASE.format(wavelength=wavelength, power=power, near=near) + extra)
    return next(s for s in assess(case).scenarios if (s.way, s.tissue) == ("scatter", tissue))


def test_the_nearest_view_belongs_to_the_retina_alone():
    # 1 W from a matt board at 20 mm: 1 W / (pi (20 mm)^2) = 795.8 W/m2. Skin of a large area for 10 s: 100 W/m2, or
    # 1000 W/m2 where the area does not count; cornea 1000 W/m2 from 1400 nm on.
    there = 1.0 / (math.pi * 0.02**2)
    assert there == pytest.approx(795.8, abs=0.05)
    for tissue in ("eye", "skin"):
        found = of_scatter("10.6 um", "1 W", "20 mm", tissue)
        assert found.exposure == pytest.approx(there, rel=1e-9)
    # The retina is exposed at 0.1 m: 1 W / (pi (0.1 m)^2) = 31.83 W/m2.
    assert of_scatter("532 nm", "1 W", "20 mm", "eye").exposure == pytest.approx(31.83, abs=0.005)
    assert of_scatter("532 nm", "1 W", "20 mm", "skin").exposure == pytest.approx(there, rel=1e-9)
    # Ultraviolet of 355 nm does not come to the retina.
    assert of_scatter("355 nm", "1 mW", "20 mm", "eye").exposure == pytest.approx(there / 1000.0, rel=1e-9)


def test_no_more_than_all_of_the_scatter_comes_through_an_aperture():
    # At 1 mm the law of the square gives 318 kW/m2; 1 W over the 9.621 mm2 of 3.5 mm is 103.9 kW/m2.
    found = of_scatter("10.6 um", "1 W", "1 mm", "skin")
    assert found.exposure == pytest.approx(4.0 / (math.pi * 3.5e-3**2), rel=1e-9)


def test_the_nearest_view_is_for_the_retina_in_a_sum_of_wavelengths():
    line = '[[laser.line]]\nname = "red"\nwavelength = "10.6 um"\npower = "1 W"\n'
    text = CASE.format(wavelength="1550 nm", power="1 W", near="20 mm")
    case = parse_case(text.replace("[[laser.setup]]", line + "[[laser.setup]]"))
    found = next(s for s in assess(case).scenarios if (s.way, s.tissue) == ("scatter", "eye"))
    # Both on the cornea: 795.8 / 1000 + 795.8 / 995.8 (the stricter row at 10 s) = 1.595
    there = 1.0 / (math.pi * 0.02**2)
    assert found.ratio == pytest.approx(there / 1000.0 + there / (560.0 * 10.0**0.25), rel=1e-9)


def test_scatter_on_a_barrier_nearer_than_the_nearest_view_is_taken_as_near_as_it_is():
    barrier = '[[barrier]]\nname = "Curtain"\ndistance = "1.05 m"\nrating = "1 W/cm2"\nrated_time = "10 s"\n'
    case = parse_case(CASE.format(wavelength="10.6 um", power="1 W", near="20 mm") + barrier)
    row = next(one for one in assess(case).barriers if one.way == "scatter")
    # 50 mm behind the board: 1 W / (pi (50 mm)^2) = 127.3 W/m2
    assert row.irradiance == pytest.approx(1.0 / (math.pi * 0.05**2), rel=1e-9)


def test_the_skin_reach_of_an_extended_source_is_searched_nearer_than_the_nearest_view():
    source = '[[extended]]\nname = "Panel"\nlaser = "L"\nsize = "2 mm"\n'
    case = parse_case(CASE.format(wavelength="532 nm", power="20 W", near="20 mm") + source)
    found = {one.tissue: one for one in assess(case).extended}
    # skin at 532 nm for 100 s: 1.1e4 * 10^0.25 / 10 = 1956 W/m2 of the first 10 s; 20 W / (pi r^2) is that at 57.0 mm
    limit = 1.1e3 * 10.0**0.25
    assert found["skin"].distance == pytest.approx(math.sqrt(20.0 / (math.pi * limit)), rel=1e-6)


def board_near_work(board: str) -> str:
    """Return a case with work at 10 m, a board that is called at it, somebody from 11 m on and a curtain at 12 m."""
    text = CASE.format(wavelength="532 nm", power="1 W", near="2 m")
    text = text.replace('work_distance = "1 m"', 'work_distance = "10 m"')
    text = text.replace('name = "Board"\ndistance = "1 m"', f'name = "Board"\ndistance = "{board}"')
    text = text.replace('role = "crew"\ndistance = "1 m"', 'role = "crew"\ndistance = "11 m"')
    return text + '[[barrier]]\nname = "Curtain"\ndistance = "12 m"\nrating = "1 W/cm2"\nrated_time = "10 s"\n'


def test_what_stands_near_the_work_scatters_from_where_it_stands():
    # A board at 11.9 m is called at the work of 10 m. Somebody from 11 m on, or 2 m from the work, may be right at it:
    # 0.1 m for the eye, 1 W / (pi (0.1 m)^2) = 31.83 W/m2. It counted as at 10 m, 1 m and 2 m away: 0.32 and 0.08 W/m2.
    text = board_near_work("11.9 m")
    for one in (text, text.replace('distance_from_work = "2 m"\n', "")):
        found = assess(parse_case(one))
        row = next(s for s in found.scenarios if (s.way, s.tissue) == ("scatter", "eye"))
        assert row.exposure == pytest.approx(1.0 / (math.pi * 0.1**2), rel=1e-9)
        # the curtain 0.1 m behind the board, not 2 m behind the work
        lit = next(one for one in found.barriers if one.way == "scatter")
        assert lit.irradiance == pytest.approx(1.0 / (math.pi * 0.1**2), rel=1e-9)


def test_what_is_called_at_the_work_scatters_from_the_work_where_that_is_farther():
    # A board at 8.1 m stands for the work of 10 m, which then has no row of its own: 1 m from who is 11 m off,
    # 1 W / (pi (1 m)^2), and 2 m from the curtain. It was not counted there at all: 2.9 m and 3.9 m.
    text = board_near_work("8.1 m")
    text = text.replace('distance_from_work = "2 m"\n', "")
    found = assess(parse_case(text))
    row = next(s for s in found.scenarios if (s.way, s.tissue) == ("scatter", "eye"))
    assert row.exposure == pytest.approx(1.0 / math.pi, rel=1e-9)
    lit = next(one for one in found.barriers if one.way == "scatter")
    assert lit.irradiance == pytest.approx(1.0 / (math.pi * 2.0**2), rel=1e-9)
