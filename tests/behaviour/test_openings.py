"""Light through openings finds people in an area, however narrow the opening is."""

from __future__ import annotations

import math

import pytest

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from tests.behaviour.test_scene import HEAD
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, case_text

SCENE = """
[scene]
stage_bearing = "0 deg"
[[scene.aim]]
laser = "Welder"
position = ["0 m", "0 m"]
height = "1.2 m"
bearing = "180 deg"
bearing_range = ["120 deg", "240 deg"]
{elevation}
[[scene.target]]
name = "plate"
material = "steel"
finish = "matt"
shape = "flat"
[[scene.barrier]]
name = "Booth"
line = [["-20 m", "-3 m"], ["20 m", "-3 m"]]
top = "3 m"
[[scene.barrier.opening]]
name = "slit"
start = "{start} m"
end = "{end} m"
bottom = "{bottom} m"
top = "{top} m"
[[scene.person]]
name = "Row"
area = [["-8 m", "-12 m"], ["8 m", "-12 m"], ["8 m", "-8 m"], ["-8 m", "-8 m"]]
"""


def direct_of(start, end, bottom=0.0, top=3.0, elevation=""):
    scene = SCENE.format(start=start, end=end, bottom=bottom, top=top, elevation=elevation)
    found = assess(parse_case(HEAD.format(rating="1 kW/cm2") + scene), wanted="short").scene
    return next(c.ratio for c in found.matrix if (c.way, c.mode) == ("direct", "running") and not c.struck_out)


@pytest.mark.parametrize(("start", "end"), [(20.6, 20.602), (20.6, 20.65), (22.0, 22.2), (17.0, 17.3)])
def test_a_beam_through_a_slit_counts_at_the_nearest_place_behind_it(start, end):
    edge = min(abs(start - 20.0), abs(end - 20.0))  # from straight ahead, where the wall is 3 m away
    away = math.hypot(8.0, 8.0 * edge / 3.0)
    wide = (away - 0.4) * 8.5e-3 / 0.4
    there = 4.0 * 1500.0 / (math.pi * wide**2) / 50.0
    assert there * 0.998 <= direct_of(start, end) <= 1.15 * there  # the rim of a beam that is no point widens the slit


def test_a_slot_between_the_heights_that_are_tried_counts():
    tilts = 'elevation_range = ["-10 deg", "10 deg"]'
    assert direct_of(15.0, 25.0, bottom=1.22, top=1.225, elevation=tilts) > 100.0
    assert direct_of(15.0, 25.0, bottom=2.9, top=2.95, elevation=tilts) == 0.0  # above everybody


def test_no_opening_no_light():
    assert direct_of(39.0, 39.5) == 0.0  # open, but far beside the aim


def test_somebody_on_the_line_of_a_wall_counts_on_both_sides_of_it():
    # Typed on the very line at 3 m the eyes were dark, however near the beam: which side is open. At 3 m the axis has
    # 4 x 1500 W / (pi (2.6 m x 8.5 / 400)^2) / 50 W/m2 = 12 500 times the limit.
    area = '[["-8 m", "-12 m"], ["8 m", "-12 m"], ["8 m", "-8 m"], ["-8 m", "-8 m"]]'
    scene = SCENE.format(start=1.0, end=1.01, bottom=2.0, top=2.01, elevation="").replace(
        f"area = {area}", 'position = ["0 m", "-3 m"]'
    )
    found = assess(parse_case(HEAD.format(rating="1 kW/cm2") + scene), wanted="short").scene
    there = 4.0 * 1500.0 / (math.pi * (2.6 * 8.5 / 400.0) ** 2) / 50.0
    ratios = [c.ratio for c in found.matrix if (c.way, c.mode) == ("direct", "running")]
    assert there * 0.98 <= max(ratios) <= 1.1 * there


PANE = (
    'opening = [{ name = "pane", kind = "window", start = "4 m", end = "6 m", bottom = "1 m", top = "2 m", '
    'optical_density = %s, rating = "1000 MW/m2", rated_time = "30000 s" }]\n'
)
DOOR = 'opening = [{ name = "door", kind = "door", start = "4 m", end = "6 m", open = %s }]\n'


@pytest.mark.parametrize(
    ("opening", "answers"),
    [
        ("", True),
        (PANE % 3, False),
        (PANE % 6, True),
        (DOOR % "true", False),
        (DOOR % "false", True),
        (PANE.replace("optical_density = %s, ", ""), False),
    ],
    ids=["wall", "pane too weak", "pane", "door open", "door shut", "plain glass"],
)
def test_a_drawn_barrier_that_lets_light_through_answers_for_nobody_by_its_distance(opening, answers):
    # somebody without a place, 6 m away; the wall stands 3 m away and holds, what is open in it was left aside
    lamp = Laser(5.0, 5e-3, 2e-3, (0.0, 0.0, 1.5), 0.0)
    text = case_text(Scene((lamp,), (Person("P", ((0.0, 6.0),)),), (), (Barrier("wall", ((-5.0, 3.0), (5.0, 3.0))),)))
    text = text[: text.index("[[scene.person]]")].replace('distance = "100 mm"\nrating', 'distance = "3 m"\nrating')
    text = (
        text.replace('"spectator"\ndistance = "100 mm"', '"spectator"\ndistance = "6 m"').rstrip("\n") + "\n" + opening
    )
    (row,) = (s for s in assess(parse_case(text)).scenarios if (s.way, s.tissue) == ("direct", "eye"))
    assert row.ratio > 1.0
    assert bool(row.answer) is answers
