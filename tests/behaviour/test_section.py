"""What the elevation shows: light below a steep aim, over an edge, through an opening, at a barrier that holds."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from lasersafe.assessment import assess
from lasersafe.assessment.scene_marks import elevations, person_marks
from lasersafe.assessment.stages import stages_of
from lasersafe.drawing.page import Paper
from lasersafe.drawing.primitives import Lines, Words
from lasersafe.drawing.room import elevation_pages
from lasersafe.models import parse_case
from lasersafe.scene.areas import area_of
from lasersafe.wording import load_wording
from tests.behaviour.test_scene import case, template
from tests.crosscheck.scene_description import Laser, Person, Scene, case_text
from tests.one_light import blocked
from tests.one_light import ratio as ratio_at

DOWN = 'elevation = "-90 deg"\nmargin = "2 deg"'
OPENING = """
[[scene.barrier]]
name = "Slit wall"
kind = "wall"
line = [["-20 m", "-5 m"], ["20 m", "-5 m"]]
top = "3 m"
[[scene.barrier.opening]]
name = "slit"
kind = "gap"
start = "19 m"
end = "21 m"
bottom = "0.5 m"
top = "1.5 m"
"""
RAISED = """
[[person]]
name = "On the stage"
role = "performer"
distance = "1.5 m"
[[scene.person]]
name = "On the stage"
position = ["0 m", "-1.5 m"]
stature = "standing adult"
floor = "1 m"
"""


def section(of):
    """Return the section of a case, and nothing else of its scene."""
    (stage,) = stages_of(of)
    return next(elevations(stage, tuple(person_marks(stage))))


def section_of(**more):
    return section(case(**more))


def lit(seen, kind="eye direct"):
    return area_of([part for zone in seen.light if zone.kind == kind for part in zone.polygons])


def test_a_head_that_points_down_lights_both_sides_and_ends_at_no_wall():
    down = section_of(aim=DOWN)
    area = lit(down)
    assert area.contains(shapely.Point(0.02, 0.2))
    assert area.contains(shapely.Point(-0.02, 0.2))
    assert area.contains(shapely.Point(0.0, 0.01))
    assert down.ends_at == ""
    assert area.bounds[1] >= 0.0  # the floor


def test_a_barrier_ends_the_beam_only_when_none_goes_over_it():
    level = 'elevation_range = ["-20 deg", "10 deg"]'
    held = section_of(aim=level)
    assert held.ends_at == "Booth"
    assert lit(held).bounds[2] <= 3.0 + 1e-6
    over = section_of(aim=level, top="1.4 m")
    assert over.ends_at == ""
    assert lit(over).contains(shapely.Point(6.0, 2.0))
    assert not lit(over).contains(shapely.Point(6.0, 0.5))
    unrated = section_of(aim=level, rating="1 W/cm2")
    assert unrated.ends_at == ""
    assert lit(unrated).contains(shapely.Point(6.0, 0.5))


def test_an_opening_is_left_open_and_its_wall_named_once():
    parts = [item for item in section_of(more=OPENING).items if item.name == "Slit wall"]
    assert [(round(i.along, 6), i.bottom, i.top) for i in parts] == [(5.0, 0.0, 0.5), (5.0, 1.5, 3.0)]
    assert [item.named for item in parts] == [True, False]


@pytest.mark.parametrize(
    "aim",
    [DOWN, 'elevation = "20 deg"', 'elevation_range = ["-40 deg", "30 deg"]', 'bearing_range = ["0 deg", "360 deg"]'],
)
def test_no_hazard_point_of_the_plane_lies_outside(aim):
    made = case(aim=aim, top="1.5 m")
    seen, stage = section(made), stages_of(made)[0]
    along, height = np.meshgrid(np.linspace(-12.0, 12.0, 97), np.linspace(0.01, 8.0, 41))
    for way, tissue, kind in (
        ("direct", "eye", "eye direct"),
        ("direct", "skin", "skin direct"),
        ("scatter", "eye", "scatter eye"),
    ):
        area, some = lit(seen, kind).buffer(1e-3), False
        for source in stage.sources(stage.contexts[0], way, tissue):
            screens = stage.walls(stage.contexts[0], way).screens
            x, pieces = np.zeros(along.shape), [piece for screen in screens for piece in screen.pieces()]
            hidden = blocked(source.apex, x, -along, height, pieces, source.cut_plane())
            ratio = np.where(hidden, 0.0, ratio_at(source, x, -along, height))
            hot = ~(ratio <= 1.0)
            some |= bool(hot.any())
            assert shapely.contains_xy(area, along[hot], height[hot]).all()
        assert some


def test_the_elevation_names_all_zones():
    scene = template("demo").scene
    for page in elevation_pages(scene, Paper("A4", 297.0, 210.0, 10.0), "t", load_wording()):
        text = " ".join(mark.text for mark in page.marks if isinstance(mark, Words)).replace("\u00a0", " ")
        for words in ("eye, direct", "above the limit of the eye", "above the limit of the skin", "for 10 s"):
            assert words in text
        assert "Mirror reflections are on the plan only" in text
    assert scene.elevations[0].ends_at == "Steel booth, back wall"
    assert scene.elevations[1].ends_at == ""


def test_scatter_is_drawn_round_all_of_the_ground_that_a_tilting_head_can_light():
    """200 W from 1.5 m, 4 to 20 deg down: lit from 4.1 m to 21 m, and 0.8 * 200 W / (pi r^2) is 50 W/m2 at 1.0 m."""
    beam = Laser(200.0, 5e-3, 1e-3, (0.0, 0.0, 1.5), 0.0, elevation=-12.0, elevation_half=8.0)
    area = lit(section(parse_case(case_text(Scene((beam,), (Person("Row", ((3.0, 9.0),)),))))), "scatter eye")
    assert all(area.contains(shapely.Point(along, 0.5)) for along in (5.0, 10.0, 15.0, 20.0))


def test_a_wall_higher_than_the_drawing_ends_at_its_frame():
    """A wall of 8 m that does not hold ran over the title and off the paper."""
    scene = assess(case(rating="1 W/cm2", top="40 m")).scene
    (page,) = elevation_pages(scene, Paper("A4", 297.0, 210.0, 10.0), "t", load_wording())
    above = page.frame[3] + 1e-6
    lines = [point for mark in page.marks if isinstance(mark, Lines) for run in mark.runs for point in run]
    assert lines
    assert max(y for _, y in lines) <= above


def test_a_person_on_a_stage_stands_on_it_and_no_name_lies_on_the_floor():
    """The person hung over the floor, and names were written over its line."""
    scene = assess(case(more=RAISED)).scene
    (page,) = elevation_pages(scene, Paper("A4", 297.0, 210.0, 10.0), "t", load_wording())
    (item,) = [one for one in scene.elevations[0].items if one.name == "On the stage"]
    assert item.bottom == 1.0
    level = [run for mark in page.marks if isinstance(mark, Lines) and mark.thick == 0.6 for run in mark.runs]
    floor, raised = sorted((run for run in level if run[0][1] == run[-1][1]), key=lambda run: run[0][1])
    assert raised[0][1] - floor[0][1] == pytest.approx(1000.0 / page.scale)
    assert raised[-1][0] - raised[0][0] < floor[-1][0] - floor[0][0]
    named = {one.name for one in scene.elevations[0].items}
    high = {mark.text: mark.y for mark in page.marks if isinstance(mark, Words) and mark.text in named}
    assert {"On the stage", "Booth"} <= {*high}
    assert min(high.values()) > floor[0][1]
