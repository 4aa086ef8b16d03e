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
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.records import as_json
from lasersafe.sheet import render_sheet
from tests.behaviour.test_scene import HEAD, SCENE, template

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


@lru_cache
def booth(**changes):
    return assess(case(**changes)).scene.barriers[0]


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
    only = assess(case(rating="1 W/cm2", old="observed = true", new='observed = true\nmust_stop = ["scatter"]'))
    assert not [f for f in only.scene.findings if f.refuses]
    assert any("does not end the light of Welder" in f.text for f in only.scene.findings)
    assert not [f for f in assess(case()).scene.findings if f.kind == "barrier"]


def test_a_rated_barrier_that_fails_refuses_what_would_pass():
    text = template_text("nanosecond-marker").decode()
    assert template("nanosecond-marker").decision.passed
    weak = text.replace('rating = "1 kW/cm2"', 'rating = "1 W/cm2"', 1)
    assert weak != text
    assert not assess(parse_case(weak)).decision.passed


def test_a_barrier_nearer_in_the_scene_than_stated_counts_as_nearer():
    far = assess(case(old='distance = "2.5 m"\nrating', new='distance = "30 m"\nrating'))
    assert {b.distance for b in far.barriers} == {3.0}


def test_a_screen_class_counts_inside_the_scope_of_its_standard_only():
    marked = 'observed = true\nen12254_class = "1070 D AB5"'
    strong = booth(old="observed = true", new=marked)
    assert not ways(strong)["direct"].holds
    assert "a guard to IEC 60825-4 is needed" in ways(strong)["direct"].verdict
    assert any("a guard to IEC 60825-4" in note for note in strong.notes)
    text = HEAD.format(rating="1 kW/cm2").replace("1.5 kW", "90 W").replace("observed = true", marked)
    weak = assess(parse_case(text + SCENE.format(top="3 m", aim=""))).scene.barriers[0]
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
    low = assess(case(top="2.2 m", old='position = ["0 m", "-8 m"]', new='position = ["0 m", "-8 m"]\nfloor = "3 m"'))
    assert any("'Booth' is too low" in f.text and "2.63 m are needed" in f.text for f in low.scene.findings)
    assert not booth().reach_over
    assert booth(top="2.69 m").reach_over
    assert booth(old='position = ["0 m", "-8 m"]', new='position = ["0 m", "-3.5 m"]\nfloor = "0.5 m"').reach_over
    assert any("can be reached over" in f.text for f in assess(case(top="2.2 m")).scene.findings)


def test_a_view_window_needs_density_and_resistance():
    plain = assess(case(opening=WINDOW))
    assert any("light passes 'Booth' through the window 'filter'" in f.text for f in plain.scene.findings)
    good = 'optical_density = 7\nrating = "1 kW/cm2"\nrated_time = "100 s"\n'
    held = assess(case(opening=WINDOW + good)).scene
    assert held.barriers[0].windows
    assert all(w.holds for w in held.barriers[0].windows)
    assert not held.barriers[0].openings[0].open
    cells = {(c.mode, c.way): c.ratio for c in held.matrix}
    assert cells["running", "direct"] == 0.0
    ratio = next(c.ratio for c in plain.scene.matrix if (c.mode, c.way) == ("running", "direct"))
    assert ratio > 1000.0
    for weak in (good.replace("= 7", "= 3"), "optical_density = 7\n", good.replace("1 kW/cm2", "1 W/cm2")):
        scene = assess(case(opening=WINDOW + weak)).scene
        assert not any(w.holds for w in scene.barriers[0].windows if w.way == "direct")
        assert next(c.ratio for c in scene.matrix if (c.mode, c.way) == ("running", "direct")) == pytest.approx(ratio)
        assert any("view window 'filter' in 'Booth'" in f.text and "does not hold" in f.text for f in scene.findings)


# Within 1 mm of the line of the wall somebody would count on both sides of it, and so nearer than the window.
def test_needed_density_of_a_window_is_that_of_the_ratio_at_it():
    held = assess(case(opening=WINDOW + "optical_density = 7\n")).scene.barriers[0].windows
    direct = next(w for w in held if w.way == "direct")
    near = assess(case(old='["0 m", "-8 m"]', new='["0 m", "-2.99 m"]')).scene
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
    assert re.search(
        r"Booth, Welder, direct: 626 kW/m2 at its worst place 3.00 m away; does not hold", assessment_text(found)
    )
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
    panes = [z for z in assess(case(opening=WINDOW, **beside)).scene.zones if z.surface == "glass of filter"]
    assert {z.kind for z in panes} == {"eye mirror", "skin mirror"}
    assert not [z for z in assess(case(**beside)).scene.zones if z.surface.startswith("glass")]
    clear = WINDOW + "reflectance = 0.1\n"
    whole, tenth = (
        max(z.distance for z in assess(case(opening=o, **beside)).scene.zones if z.surface == "glass of filter")
        for o in (WINDOW, clear)
    )
    # 1.5 kW, or a tenth, against 50 W/m2, spread by 21 mrad from a focus 0.4 m away
    far = math.sqrt(4 * 1500.0 / (math.pi * 50.0)) / (8.5e-3 / 0.4)
    assert whole == pytest.approx(far + 0.4, rel=2e-3)
    assert tenth == pytest.approx(far * math.sqrt(0.1) + 0.4, rel=2e-3)
    away = WINDOW.replace("19 m", "1 m").replace("21 m", "2 m")

    def straight(zones):
        return [z for z in zones if z.surface.startswith("glass") and not z.note]  # not by way of the plate

    assert not straight(assess(case(opening=away, **beside)).scene.zones)
    line = 'line = [["-1 m", "-2.9 m"], ["1 m", "-2.9 m"]]\n'
    screen = '[[scene.barrier]]\nname = "Screen"\nkind = "wall"\n' + line + '{}top = "3 m"\n'
    for rating, comes in (('rating = "1 MW/cm2"\nrated_time = "30000 s"\n', False), ("", True)):
        zones = assess(case(opening=WINDOW, more=screen.format(rating), **beside)).scene.zones
        assert bool(straight(zones)) is comes


def test_a_window_that_holds_leaves_no_light_strip_in_the_shadow():
    good = 'optical_density = 7\nrating = "1 kW/cm2"\nrated_time = "100 s"\n'
    areas = [
        sum(zone.area for zone in assess(case(opening=opening)).scene.zones if zone.kind == "eye direct")
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
