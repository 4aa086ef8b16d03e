"""Barriers and windows of a scene: peaks by place, ratings, where they may stand, heights, gaps, the findings."""

from __future__ import annotations

import io
import json
import math
import re
from functools import lru_cache

import numpy as np
import pytest
from pypdf import PdfReader

from lasersafe.ask.cases import template_text
from lasersafe.ask.printed import assessment_text
from lasersafe.assessment import assess
from lasersafe.assessment.scene_barriers import barrier_line
from lasersafe.assessment.scene_zones import zones_over
from lasersafe.assessment.stages import stages_of
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.records import as_json, over
from lasersafe.sheet import render_sheet
from tests.behaviour.test_scene import HEAD, SCENE, template
from tests.crosscheck import scene_description as described
from tests.crosscheck.scene_description import Laser

WINDOW = """
[[scene.barrier.opening]]
name = "filter"
kind = "window"
start = "19 m"
end = "21 m"
bottom = "0.5 m"
top = "2 m"
"""


def case(rating="1 kW/cm2", top="3 m", aim="", more="", line=None, opening="", old="", new=""):
    scene = SCENE.format(top=top, aim=aim)
    if line:
        scene = scene.replace('[["-20 m", "-3 m"], ["20 m", "-3 m"]]', line)
    head, tail = scene.split("[[scene.person]]")
    text = HEAD.format(rating=rating) + head + opening + "[[scene.person]]" + tail + more
    assert not old or old in text
    return parse_case(text.replace(old, new) if old else text)


def barriers_of(found):
    """Return what falls on the barriers of a case; nothing else of its scene is worked out."""
    return over(stages_of(found), lambda one: [barrier_line(one, entry) for entry in one.scene.barrier])


@lru_cache
def booth(**changes):
    return barriers_of(case(**changes))[0]


def short(**changes):
    return assess(case(**changes), wanted="short")


def zones(**changes):
    return zones_over(stages_of(case(**changes)))


def ways(barrier):
    return {way.way: way for way in barrier.ways if way.fitted}


def test_the_peak_at_the_nearest_place_is_that_of_the_beam_there():
    found = ways(booth(old='behind_distance = "3 m"\n'))  # what stands behind the target scatters as well
    width = 8.5e-3 / 0.4 * (3.0 - 0.4)  # behind the focus of a lens of 400 mm
    assert found["direct"].irradiance == pytest.approx(4.0 * 1500.0 / (math.pi * width**2), rel=1e-3)
    assert found["direct"].aimed == pytest.approx(found["direct"].irradiance, rel=1e-3)
    assert found["direct"].place == pytest.approx((0.0, -3.0, 1.2), abs=0.05)
    assert found["direct"].away == pytest.approx(3.0, abs=1e-3)
    assert found["scatter"].irradiance == pytest.approx(1500.0 / (math.pi * 2.6**2), rel=1e-9)  # spot at 0.4 m
    assert all(way.holds and way.asked for way in found.values())


def test_as_aimed_is_never_above_the_nearest_place_and_zero_behind_the_head():
    behind = ways(booth(old='bearing = "180 deg"', new='bearing = "0 deg"'))
    assert behind["direct"].aimed == 0.0
    assert behind["direct"].aimed_place is None
    assert behind["direct"].irradiance == pytest.approx(ways(booth())["direct"].irradiance, rel=1e-3)
    for name in ("demo", "handheld-welder"):
        for barrier in template(name).scene.barriers:
            assert all(way.aimed <= way.irradiance for way in barrier.ways if way.aimed is not None)


@pytest.mark.parametrize("seed", range(4))
def test_as_aimed_against_beams_traced_one_by_one(seed):
    """Peaks of 4000 aims of the envelope, each where its axis meets the barrier, against the search."""
    draw = np.random.default_rng(seed)
    height, tilt = draw.uniform(0.5, 1.6), draw.uniform(-12.0, 0.0)
    slope = draw.uniform(-1.0, 1.0)
    line = f'[["-6 m", "{-3 + 6 * slope * 0.3:.3f} m"], ["6 m", "{-3 - 6 * slope * 0.3:.3f} m"]]'
    aim = f'bearing_range = ["165 deg", "200 deg"]\nelevation_range = ["{tilt - 10:.3f} deg", "{tilt + 4:.3f} deg"]'
    made = booth(line=line, aim=aim, top="2 m", old='height = "1.2 m"', new=f'height = "{height:.3f} m"')
    way = ways(made)["direct"]
    a, b = (np.array(point) for point in made.line)
    bearing = np.radians(draw.uniform(165.0, 200.0, 4000))
    elevation = np.radians(draw.uniform(tilt - 10.0, tilt + 4.0, 4000))
    out = np.stack([np.sin(bearing), np.cos(bearing), np.tan(elevation)], axis=1)
    e = b - a
    cross = out[:, 0] * e[1] - out[:, 1] * e[0]
    far = (a[0] * e[1] - a[1] * e[0]) / cross
    z = height + far * out[:, 2]
    hit = (far > 0) & (z >= 0.0) & (z <= 2.0)
    path = far[hit] / np.cos(elevation[hit])
    width = 8.5e-3 / 0.4 * np.abs(path - 0.4)
    peaks = 4.0 * 1500.0 / (math.pi * width**2)
    assert hit.any()
    assert peaks.max() <= way.aimed * (1 + 1e-9)
    assert way.aimed <= 1.02 * peaks.max()
    assert way.irradiance >= way.aimed


def test_a_barrier_may_stand_where_its_rating_is_just_kept():
    (stand,) = ways(booth(rating="40 W/cm2"))["direct"].stands
    assert stand.measured_from == "last optic"
    for factor, holds in ((1.001, True), (0.999, False)):
        line = f'[["-20 m", "{-stand.distance * factor:.6f} m"], ["20 m", "{-stand.distance * factor:.6f} m"]]'
        (again,) = (found := ways(booth(rating="40 W/cm2", line=line))["direct"]).stands
        assert found.holds is holds
        assert again.distance == pytest.approx(stand.distance)


def test_a_barrier_that_does_not_hold_at_its_nearest_place_is_named_and_refuses():
    found = assess(case(rating="1 W/cm2"))
    (words,) = [f for f in found.scene.findings if f.refuses and "direct" in f.text]
    assert re.search(
        r"'Booth' does not hold against direct beam of Welder, .*, at its worst place, 3.00 m away", words.text
    )
    assert words.text in found.decision.reasons
    assert all(z.clipped_by == () for z in found.scene.zones if z.kind == "eye direct")
    only = short(rating="1 W/cm2", old="observed = true", new='observed = true\nmust_stop = ["scatter"]')
    assert not [f for f in only.scene.findings if f.refuses]
    assert any("does not end the light of Welder" in f.text for f in only.scene.findings)
    assert not [f for f in short().scene.findings if f.kind == "barrier"]


def test_a_rated_barrier_that_fails_refuses_what_would_pass():
    text = template_text("nanosecond-marker").decode()
    weak = text.replace('rating = "1 kW/cm2"', 'rating = "1 W/cm2"', 1)
    assert weak != text
    assert template("nanosecond-marker").decision.passed
    assert not assess(parse_case(weak), wanted="short").decision.passed


def test_a_barrier_nearer_in_the_scene_than_stated_counts_as_nearer():
    far = short(old='distance = "2.5 m"\nrating', new='distance = "30 m"\nrating')
    assert {b.distance for b in far.barriers} == {3.0}


def test_a_screen_class_counts_inside_the_scope_of_its_standard_only():
    marked = 'observed = true\nen12254_class = "1070 D AB5"'
    strong = booth(old="observed = true", new=marked)
    assert not ways(strong)["direct"].holds
    assert "a guard to IEC 60825-4 is needed" in ways(strong)["direct"].verdict
    assert any("a guard to IEC 60825-4" in note for note in strong.notes)
    text = HEAD.format(rating="1 kW/cm2").replace("1.5 kW", "90 W").replace("observed = true", marked)
    (weak,) = barriers_of(parse_case(text + SCENE.format(top="3 m", aim="")))
    assert ways(weak)["direct"].holds
    assert any("no reliable table" in note for note in weak.notes)


def test_a_concave_mirror_may_make_more_than_the_straight_beam():
    """A mirror that focuses on the barrier: the straight way is no bound there."""
    surface = '[[surface]]\nname = "dish"\nmaterial = "steel"\nfinish = "mirror"\ndistance = "2 m"\n'
    place = (
        '[[scene.surface]]\nname = "dish"\nposition = ["0 m", "-2 m"]\nheight = "1.2 m"\nshape = "{}"\nradius = "1 m"\n'
    )
    flat = ways(booth(more=surface + place.format("flat").replace('radius = "1 m"\n', "")))["mirror"]
    dish = ways(booth(more=surface + place.format("concave")))["mirror"]
    assert dish.irradiance > 3.0 * flat.irradiance
    assert {s.measured_from for s in dish.stands} == {"last optic, along the folded path", "dish"}


def test_height_and_reach():
    high = booth(old='position = ["0 m", "-8 m"]', new='position = ["0 m", "-8 m"]\nfloor = "3 m"')
    # from the last optic, 1.2 m high, to 5 m above the floor at 8 m: 3 / 8 of the way
    assert high.needed_height == pytest.approx(1.2 + 3.8 * 3.0 / 8.0)
    assert high.needed_for == "Row"
    low = short(top="2.2 m", old='position = ["0 m", "-8 m"]', new='position = ["0 m", "-8 m"]\nfloor = "3 m"')
    assert any("'Booth' is too low" in f.text and "2.63 m are needed" in f.text for f in low.scene.findings)
    assert not booth().reach_over
    assert booth(top="2.69 m").reach_over
    assert booth(old='position = ["0 m", "-8 m"]', new='position = ["0 m", "-3.5 m"]\nfloor = "0.5 m"').reach_over
    assert any("can be reached over" in f.text for f in short(top="2.2 m").scene.findings)


def test_a_view_window_needs_density_and_resistance():
    plain = short(opening=WINDOW)
    assert any("light passes 'Booth' through the window 'filter'" in f.text for f in plain.scene.findings)
    good = 'optical_density = 7\nrating = "1 kW/cm2"\nrated_time = "100 s"\n'
    held = short(opening=WINDOW + good).scene
    assert held.barriers[0].windows
    assert all(w.holds for w in held.barriers[0].windows)
    assert not held.barriers[0].openings[0].open
    cells = {(c.mode, c.way): c.ratio for c in held.matrix}
    assert cells["running", "direct"] == 0.0
    ratio = next(c.ratio for c in plain.scene.matrix if (c.mode, c.way) == ("running", "direct"))
    assert ratio > 1000.0
    for weak in (good.replace("= 7", "= 3"), "optical_density = 7\n", good.replace("1 kW/cm2", "1 W/cm2")):
        scene = short(opening=WINDOW + weak).scene
        assert not any(w.holds for w in scene.barriers[0].windows if w.way == "direct")
        assert next(c.ratio for c in scene.matrix if (c.mode, c.way) == ("running", "direct")) == pytest.approx(ratio)
        assert any("view window 'filter' in 'Booth'" in f.text and "does not hold" in f.text for f in scene.findings)


# Within 1 mm of the line of the wall somebody would count on both sides of it, and so nearer than the window.
def test_needed_density_of_a_window_is_that_of_the_ratio_at_it():
    held = booth(opening=WINDOW + "optical_density = 7\n").windows
    direct = next(w for w in held if w.way == "direct")
    near = short(old='["0 m", "-8 m"]', new='["0 m", "-2.99 m"]').scene
    ratio = next(c.ratio for c in near.matrix if (c.mode, c.way) == ("running", "direct"))
    assert direct.needed_density == pytest.approx(math.ceil(10.0 * math.log10(ratio)) / 10.0)


@pytest.mark.parametrize(
    ("opening", "message"),
    [
        (WINDOW.replace('"window"', '"door"') + "optical_density = 5\n", "only a window has it"),
        (WINDOW + 'rating = "1 W/cm2"\n', "a rating holds for a time only"),
        (WINDOW + "optical_density = 50\n", "optical_density"),
        (WINDOW.replace('"window"', '"gap"') + "reflectance = 0.1\n", "only a window has it"),
    ],
)
def test_bad_windows_are_named(opening, message):
    with pytest.raises(CaseError, match=message):
        case(opening=opening)


def test_sheet_json_and_text_say_it():
    found = assess(case(rating="1 W/cm2", top="2.2 m"))
    data = json.loads(json.dumps(as_json(found.scene)))["barriers"][0]
    assert data["ways"][0]["irradiance"] > 1e4
    assert data["ways"][0]["stands"][0]["measured_from"] == "last optic"
    assert data["reach_over"] is True
    row = r"^direct beam, Welder, .* 626000 W/m², 3\.00 m away .* does not hold"
    assert re.search(row, assessment_text(found), re.MULTILINE)
    pages = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(found, kind="annex"))).pages)
    for words in (
        "Barriers and windows by their place",
        "Its upper edge at 2.20 m can be reached over.",
        "from the last optic",
    ):
        assert words in re.sub(r"\s+", " ", pages)
    german = " ".join(
        p.extract_text() for p in PdfReader(io.BytesIO(render_sheet(found, language="de", kind="annex"))).pages
    )
    assert "Abschirmungen und Fenster nach ihrem Ort" in german


def test_the_map_is_in_the_sheet_and_exact_where_persons_are():
    found = assess(case(rating="1 W/cm2"))
    assert found.scene.map.persons[0].name == "Row"
    cells = {(c.mode, c.way): c.ratio for c in found.scene.matrix}
    ways_of = ("direct", "mirror", "scatter")
    # the matrix has a bound over all heights of the eyes, the map single points
    assert found.scene.map.persons[0].ratio == pytest.approx(max(cells["running", way] for way in ways_of), rel=0.025)
    assert found.scene.map.ratio.max() > 1.0
    assert as_json(found.scene)["map"]["persons"] == {"Row": found.scene.map.persons[0].ratio}
    pages = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(found, kind="annex"))).pages)
    assert "Exposure map" in pages
    behind = assess(case(rating="1 kW/cm2")).scene.map
    assert behind.persons[0].ratio < 1.0


def test_a_barrier_is_judged_at_the_worst_corner_of_the_tolerances():
    loose = booth(old='power = "1.5 kW"', new='power = "1.5 kW +- 0.5 kW"')
    strong = booth(old='power = "1.5 kW"', new='power = "2 kW"')
    assert ways(loose)["direct"].irradiance == pytest.approx(ways(strong)["direct"].irradiance)
    assert ways(loose)["direct"].stands == ways(strong)["direct"].stands


def test_the_glass_of_a_window_is_a_mirror_where_the_beam_gets_to_it():
    """A beam at a window: it comes back from the glass to somebody who stands beside the laser."""
    beside = dict(old='position = ["0 m", "-8 m"]', new='position = ["0.1 m", "1 m"]')
    panes = [z for z in zones(opening=WINDOW, **beside) if z.surface == "glass of filter"]
    assert {z.kind for z in panes} == {"eye mirror", "skin mirror"}
    assert not [z for z in zones(**beside) if z.surface.startswith("glass")]
    clear = WINDOW + "reflectance = 0.1\n"
    whole, tenth = (
        max(z.distance for z in zones(opening=o, **beside) if z.surface == "glass of filter") for o in (WINDOW, clear)
    )
    # 1.5 kW, or a tenth, against 50 W/m2, spread by 21 mrad from a focus 0.4 m away
    far = math.sqrt(4 * 1500.0 / (math.pi * 50.0)) / (8.5e-3 / 0.4)
    assert whole == pytest.approx(far + 0.4, rel=2e-3)
    assert tenth == pytest.approx(far * math.sqrt(0.1) + 0.4, rel=2e-3)
    away = WINDOW.replace("19 m", "1 m").replace("21 m", "2 m")

    def straight(found):
        return [z for z in found if z.surface.startswith("glass") and not z.note]  # not by way of the plate

    assert not straight(zones(opening=away, **beside))
    line = 'line = [["-1 m", "-2.9 m"], ["1 m", "-2.9 m"]]\n'
    screen = '[[scene.barrier]]\nname = "Screen"\nkind = "wall"\n' + line + '{}top = "3 m"\n'
    for rating, comes in (('rating = "1 MW/cm2"\nrated_time = "30000 s"\n', False), ("", True)):
        found = zones(opening=WINDOW, more=screen.format(rating), **beside)
        assert bool(straight(found)) is comes


def test_a_window_that_holds_leaves_no_light_strip_in_the_shadow():
    good = 'optical_density = 7\nrating = "1 kW/cm2"\nrated_time = "100 s"\n'
    areas = [
        sum(zone.area for zone in zones(opening=opening) if zone.kind == "eye direct")
        for opening in ("", WINDOW + good, WINDOW)
    ]
    assert areas[0] == pytest.approx(areas[1])
    assert areas[2] > 1.1 * areas[1]


def test_terrain_keeps_its_name_in_the_table_by_place():
    hill = '[[scene.barrier]]\nname = "Hill"\nkind = "terrain"\ntop = "3 m"\nline = [["0 m", "9 m"], ["9 m", "9 m"]]'
    found = assess(case(more=hill))
    assert found.scene.barriers[1].needed_height is None  # no note stands below it
    pages = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(found, kind="annex"))).pages)
    assert re.search(r"Hill\s+terrain", pages)


# A, 1 kW at 0.3 rad, lights a plate 0.1 m before the screen: 0.9 * 1 kW / (pi 0.01 m2) = 28.65 kW/m2, and where it
# misses the plate 4 * 1 kW / (pi (0.48 m)2) = 5.53 kW/m2. B, 5 W, 10 mm and 5 mrad, falls on it 2 m away, 14.1 mm wide:
# 31.83 kW/m2. On the same way at most 37.4 kW/m2 come together, at the same time 60.5 kW/m2.
WIDE = Laser(1000.0, 5e-3, 0.3, (1.9, 0.4, 1.5), 0.0, name="A")
NARROW = Laser(5.0, 10e-3, 5e-3, (0.0, 0.0, 1.5), 0.0, name="B")
SCREEN = described.Barrier("screen", ((-3.0, 2.0), (3.0, 2.0)))
PLATE = '[[scene.target]]\nname = "plate"\nmaterial = "paint"\nfinish = "matt"\nreflectance = 0.9\nshape = "flat"\n'
PLATE += 'position = ["1.9 m", "1.9 m"]\nheight = "1.5 m"\n'
BOTH = 0.9 * 1000.0 / (math.pi * 0.01) + 4.0 * 5.0 / (math.pi * 2e-4)


def room(*lasers, barrier=SCREEN, floor="", more="", person=((0.0, 5.0),), rating="40 kW/m2", opening=""):
    """Return what is assessed of lasers before a barrier of a rating; their heads are not turned by a fault."""
    scene = described.Scene(lasers, (described.Person("Row", person),), barriers=(barrier,))
    text = described.case_text(scene).replace("1e4 MW/m2", rating)
    text = text.replace("[[scene.person]]\n", f"{opening}[[scene.person]]\n{floor}")
    faults = "".join(described._aim(one) + 'mode = "fault"\n' for one in lasers)
    return assess(parse_case(f"{text}{faults}{more}"), wanted="drawn")


@pytest.mark.parametrize(("rating", "holds"), [("40 kW/m2", False), ("62 kW/m2", True)])
def test_a_barrier_has_to_hold_the_beam_of_one_laser_and_the_scatter_of_another_at_once(rating, holds):
    found = room(WIDE, NARROW, more=PLATE, rating=rating)
    (screen,) = found.scene.barriers
    assert all(way.holds is holds for way in screen.ways if way.way != "mirror")
    told = [one for one in found.scene.findings if "from all lasers together exceed" in one.text]
    assert bool(told) is any(one.refuses for one in told) is not holds
    assert max(one.load for one in found.decision.loads if one.way == "scatter") == pytest.approx(BOTH, rel=0.01)
    behind = [one for one in found.scene.zones if one.kind == "eye direct" and one.laser == "B"]
    assert (max(y for one in behind for part in one.polygons for _, y in part.outline) > 50.0) is not holds
    row = [c.ratio for c in found.scene.matrix if (c.laser, c.way, c.mode) == ("B", "direct", "running")]
    assert (max(row) > 1.0) is not holds


# An eye of 7 mm gets 21.7 % of the 5 W of B, 28.2 kW/m2 or 565 times 50 W/m2, and of the scatter of A 573 times that:
# log10 of both is 3.06, of each way (A straight brings 110 times more) 2.83 and 2.76.
PANE = WINDOW.replace("19 m", "0 m").replace("21 m", "6 m").replace("0.5 m", "0 m").replace("2 m", "3 m")
PANE += 'reflectance = 0\nrating = "1 MW/m2"\nrated_time = "30000 s"\noptical_density = '


@pytest.mark.parametrize(("density", "holds"), [(3.0, False), (3.1, True)])
def test_a_view_window_keeps_back_the_beam_of_one_laser_and_the_scatter_of_another_at_once(density, holds):
    found = room(WIDE, NARROW, more=PLATE, rating="1 MW/m2", opening=f"{PANE}{density}\n")
    (screen,) = found.scene.barriers
    assert {pane.way for pane in screen.windows if pane.needed_density > 2.0} == {"direct", "scatter"}
    assert all(pane.holds is holds for pane in screen.windows if pane.way != "mirror")
    assert any(one.kind == "failing window" and one.refuses for one in found.scene.findings) is not holds
    row = [c.ratio for c in found.scene.matrix if (c.laser, c.way, c.mode) == ("B", "direct", "running")]
    assert (max(row) > 1.0) is not holds


def test_without_places_a_barrier_holds_several_lasers_on_several_ways_at_once():
    # 1 m before the screen A is 0.3 m wide: 4 * 20 W / (pi 0.09 m2) = 283 W/m2 straight, its scatter at 0.1 m
    # 20 W / (pi 0.01 m2) = 637 W/m2; B 4 * 0.1 W / (pi (10 mm)2) = 1273 W/m2: 1556 on one way, 1910 at once.
    one = '[[laser]]\nname = "{}"\nwavelength = "1070 nm"\nemission = {{ kind = "continuous", power = "{}" }}\n'
    one += 'setup = [{{ name = "beam", kind = "collimated", criterion = "1/e", beam_diameter = "10 mm", '
    one += 'divergence = "{}", work_distance = "0.9 m" }}]\n'
    text = one.format("A", "20 W", "0.3 rad") + one.format("B", "0.1 W", "0.2 mrad")
    text += '[[person]]\nname = "P"\nrole = "crew"\ndistance = "3 m"\nin_beam_possible = false\n'
    text += '[[barrier]]\nname = "screen"\ndistance = "1 m"\nrated_time = "30000 s"\nprotects = ["P"]\nrating = '
    for rating, holds in (('"1600 W/m2"\n', False), ('"1920 W/m2"\n', True)):
        found = {(b.laser, b.way): b.holds for b in assess(parse_case(text + rating), wanted="short").barriers}
        assert found["A", "scatter"] is found["B", "direct"] is holds
        assert found["A", "direct"] is found["B", "scatter"] is True


def test_a_high_wall_is_looked_at_to_its_top():
    # 10 W, 5 mm, 1 mrad, 70 degrees up: on a wall 10 m off it comes 29.0 m high after 29.2 m, 29.7 mm wide, with
    # 4 * 10 W / (pi d2) = 14.5 kW/m2, burns through 100 W/m2 and meets eyes on a tower at 34.4 m.
    up = Laser(10.0, 5e-3, 1e-3, (0.0, 0.0, 1.5), 0.0, 70.0)
    wall = described.Barrier("wall", ((-5.0, 10.0), (5.0, 10.0)), 60.0)
    found = room(up, barrier=wall, floor='floor = "32.8 m"\n', rating="100 W/m2", person=((0.0, 12.0),)).scene
    (line,) = found.barriers
    width = math.hypot(5e-3, 1e-3 * 10.0 / math.cos(math.radians(70.0)))
    assert ways(line)["direct"].irradiance == pytest.approx(40.0 / (math.pi * width**2), rel=0.01)
    assert max(c.ratio for c in found.matrix if c.mode == "running" and c.way == "direct") > 150.0


@pytest.mark.parametrize(
    ("line", "elevation", "ends"),
    [
        (((-3.0, 4.0), (3.0, 4.0)), 0.0, "screen"),
        (((5.0, -5.0), (5.0, -3.0)), 0.0, ""),  # it holds, and stands elsewhere
        (((-0.3, 4.0), (0.3, 4.0)), 0.0, ""),  # the head turns 10 degrees to each side: 0.7 m
        (((-3.0, 4.0), (3.0, 4.0)), 30.0, ""),  # the beam passes over it
    ],
)
def test_a_stop_ends_the_beam_only_where_it_stands_in_all_of_it(line, elevation, ends):
    laser = Laser(10.0, 5e-3, 1e-3, (0.0, 0.0, 1.5), 0.0, elevation, bearing_half=10.0)
    stop = PLATE.replace('"1.9 m", "1.9 m"', '"0 m", "2 m"') + 'stop = "screen"\n'
    found = room(laser, barrier=described.Barrier("screen", line), more=stop, rating="1e4 MW/m2").scene
    (beyond,) = found.beyond
    assert beyond.ends_at == ends
    assert beyond.distance == pytest.approx(4.0 if ends else 504.6, rel=0.01)


def test_what_stands_behind_a_target_can_burn_by_all_lasers_and_from_the_nearest_place_of_a_head():
    # Each of two lasers of 3 W, 30 mm wide: 4 * 3 W / (pi (30 mm)2) = 4244 W/m2, together 8488, from 5000 on.
    behind = PLATE.replace('"1.9 m", "1.9 m"', '"0 m", "1 m"') + 'behind = "curtain"\nbehind_distance = "0.85 m"\n'
    pair = [Laser(3.0, 30e-3, 1e-3, (0.0, 0.0, 1.5), 0.0, name=name) for name in "AB"]
    found = room(*pair, more=behind).scene
    each = 12.0 / (math.pi * (9e-4 + 1.85e-3**2))
    assert [one.backing_irradiance for one in found.beyond] == pytest.approx([2.0 * each] * 2, rel=1e-6)
    assert all(one.can_ignite for one in found.beyond)
    assert sum("all lasers together" in one.text for one in found.findings if one.kind == "ignition") == 2
    # Of 40 mrad, and 0.5 m to every side: no nearer than 1 m - 0.866 m before the target, 0.984 m from the curtain.
    loose = room(Laser(10.0, 5e-3, 40e-3, (0.0, 0.0, 1.5), 0.0, moves=0.5), more=behind).scene.beyond[0]
    near = 1.85 - math.sqrt(0.75)
    assert loose.backing_irradiance == pytest.approx(40.0 / (math.pi * (25e-6 + (40e-3 * near) ** 2)), rel=1e-6)
    assert loose.can_ignite


def test_how_near_a_barrier_may_stand_is_told_apart_by_where_that_is_counted_from() -> None:
    """Two steps under one barrier, of a flat and of a bent mirror, had the same words."""
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="").replace('"flat"', '"unknown"')
    scene = assess(parse_case(text)).scene
    assert scene is not None
    every = [way.stands for line in scene.barriers for way in (*line.ways, *line.faults)]
    told = [[step.meaning for place in own for step in place.steps] for own in every]
    assert max(map(len, told)) > 1
    assert all(len({*own}) == len(own) for own in told)


def test_the_peak_as_aimed_can_be_retraced_from_its_step() -> None:
    """Readings on barriers pointed at the table of barriers, which gave the peak and no line from which it follows."""
    scene = template("demo").scene
    assert scene is not None
    every = [way for line in scene.barriers for way in line.ways if way.aimed_place is not None and way.asked]
    less = [way for way in every if way.aimed is not None and way.aimed < way.irradiance]
    assert less
    for way in less:
        (step,) = way.aimed_steps
        assert step.value == pytest.approx(way.aimed)
