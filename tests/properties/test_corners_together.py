"""Corners of a case share the work of each laser, and what lasers add up to covers every corner."""

from __future__ import annotations

import shapely

from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.scene_matrix import placed_case
from lasersafe.assessment.scene_zones import together_lights, zones_over
from lasersafe.assessment.stages import stages_at, stages_of
from lasersafe.models import parse_case
from lasersafe.scene.areas import area_of

CASE = """
title = "Two lasers, optics of the second unknown"
person = [{ name = "Guests", role = "spectator", distance = "3 m" }]

[[laser]]
name = "Marker"
wavelength = "1064 nm"
[laser.emission]
kind = "continuous"
power = "2 W"
[[laser.setup]]
name = "Free beam"
kind = "collimated"
beam_diameter = "3 mm"
criterion = "1/e"
divergence = "20 mrad"

[[laser]]
name = "Welder"
like = "hand-held welder"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "1 W"

[scene]
outline = [["0 m", "0 m"], ["9 m", "0 m"], ["9 m", "6 m"], ["0 m", "6 m"]]

[[scene.aim]]
laser = "Marker"
position = ["1 m", "3 m"]
height = "1.2 m"
bearing = "90 deg"

[[scene.aim]]
laser = "Welder"
position = ["1 m", "2 m"]
height = "1.2 m"
bearing = "90 deg"

[[scene.person]]
name = "Guests"
position = ["4 m", "3 m"]
"""


def test_a_laser_that_is_the_same_at_all_corners_is_worked_out_once():
    stages = stages_of(parse_case(CASE))
    markers = [next(one for one in stage.contexts if one.laser.name == "Marker") for stage in stages]
    welders = [next(one for one in stage.contexts if one.laser.name == "Welder") for stage in stages]
    assert len(stages) > 1
    assert all(one is markers[0] for one in markers)
    assert len({one.corner for one in welders}) == len(stages)
    sources = [stage.sources(one, "direct", "eye") for stage, one in zip(stages, markers, strict=True)]
    assert all(one is sources[0] for one in sources)  # kept for all corners, not made anew at each


def test_zones_of_several_corners_cover_those_of_each_alone():
    case = parse_case(CASE)
    stages = stages_of(case)[:2]
    (groups,) = (groups for _, groups in together_lights(stages, "eye"))
    each = [next(groups for _, groups in together_lights((one,), "eye")) for one in stages]
    assert len(groups) == 2  # one for each laser, with its light at all corners
    assert len(groups[0]) == len(each[0][0])
    assert len(groups[1]) == sum(len(one[1]) for one in each)
    whole = shapely.union_all([area_of(zone.polygons) for zone in zones_over(stages)])
    parts = [zones_over(stages_at([placed_case(one)])) for one in corners_of(case).cases[:2]]
    alone = shapely.union_all([area_of(zone.polygons) for part in parts for zone in part])
    assert whole.buffer(1e-6).covers(alone)
    assert whole.area <= alone.area * (1.0 + 1e-6)


def test_modes_that_point_alike_have_the_same_light_but_not_where_mirrors_can_be_knocked():
    (stage, *_) = stages_of(parse_case(CASE))
    marker = stage.contexts[0]
    for way in ("direct", "mirror", "scatter"):
        running = stage.sources(marker, way, "eye", "running")
        assert stage.sources(marker, way, "eye", "alignment") is running
        assert stage.sources(marker, way, "eye", "fault") is not running
