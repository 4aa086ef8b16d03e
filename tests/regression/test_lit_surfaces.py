"""Faults that an independent reading of the surfaces of a scene found; each made a hazard look smaller than it is."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import settings

from lasersafe.assessment import assess
from lasersafe.assessment.aims import _as_any, far_scatter
from lasersafe.assessment.context import contexts
from lasersafe.assessment.decision import metres
from lasersafe.assessment.loads import part_of_line
from lasersafe.assessment.paths import lit_panes, panes_of
from lasersafe.assessment.scene_hits import person_places
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.stages import stages_of
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.models import parse_case
from lasersafe.optics.beam import BeamGeometry, diameters
from lasersafe.optics.reflection import LitSpot, reflect_shape
from lasersafe.scene.beams import BeamProfile, ScatterProfile
from lasersafe.scene.bound import Places
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Gap, Screen, Walls
from tests import case_head
from tests.behaviour.test_scene import HEAD
from tests.curved_mirror import reflect
from tests.one_light import bound, from_here_on
from tests.properties.test_scene_zones import criterion, random_laser

LIGHT = 1070e-9
COLLIMATED = 'kind = "collimated"\nbeam_diameter = "5 mm"\ncriterion = "1/e"\ndivergence = "1 mrad"\n'
LENS = 'kind = "lens"\nbeam_diameter = "8.5 mm"\ncriterion = "1/e"\nfocal_length = "400 mm"\n'


BOWL = '---[[scene.target]]\nname = "bowl"\nmaterial = "steel"\nshape = "concave"\n'


def scene(more="", setup=LENS + 'work_distance = "400 mm"\n', power="100 W", person=(0.3, 0.4), aim="", area=()):
    head = HEAD.format(rating="1 kW/cm2").partition("[[barrier]]")[0]
    start = head.index('kind = "lens"')
    where = f'position = ["{person[0]} m", "{person[1]} m"]'
    if area:
        where = "area = [" + ", ".join(f'["{x} m", "{y} m"]' for x, y in area) + "]"
    head = head[:start] + setup + head[head.index("[[person]]") :]
    return parse_case(
        head.replace("1.5 kW", power) + more.partition("---")[0]
        + "[scene]\n" + case_head.aim("Welder", more=aim)
        + f'\n[[scene.person]]\nname = "Row"\n{where}\n'
        + more.partition("---")[2]
    )  # fmt: skip


def ratios(case):
    cells = assess(case, wanted="short").scene.matrix
    return {c.way: c.ratio for c in cells if (c.mode, c.tissue) == ("running", "eye")}


def surface(name="sheet", distance="400 mm", **more):
    lines = [f'{key} = "{value}"' for key, value in more.items()]
    return f'[[surface]]\nname = "{name}"\nmaterial = "steel"\ndistance = "{distance}"\n' + "\n".join(lines) + "\n"


def place(name="sheet", x=0.0, y=5.0, **more):
    lines = [f'{key} = "{value}"' for key, value in more.items()]
    head = f'[[scene.surface]]\nname = "{name}"\nposition = ["{x} m", "{y} m"]\nheight = "1.2 m"\n'
    return head + "\n".join(lines) + "\n"


def test_two_discs_in_one_place_are_worked_out_each():
    wall = (
        '[[scene.barrier]]\nname = "wall"\nkind = "wall"\nline = [["-0.1 m", "3 m"], ["0.2 m", "3 m"]]\ntop = "3 m"\n'
    )
    wall += 'rating = "9 MW/cm2"\nrated_time = "30000 s"\n'
    found = {}
    for names in ("B", "AB", "BA"):
        surfaces = "".join(surface(n, "5 m") for n in names)
        faces = {"A": "90 deg", "B": "180 deg"}
        places = "".join(place(n, shape="concave", normal=faces[n], width="1 m") for n in names)
        aim = 'bearing_range = ["-60 deg", "60 deg"]\nelevation_range = ["-30 deg", "30 deg"]'
        found[names] = ratios(scene(f"{surfaces}---{places}{wall}", person=(0.1, 1.0), aim=aim))
    assert found["B"]["scatter"] > 0.0
    for names in ("AB", "BA"):
        for way in ("scatter", "concave mirror"):
            assert found[names][way] >= found["B"][way] * (1.0 - 1e-9)


def test_a_full_mirror_far_away_says_nothing_about_the_work():
    flat = '---[[scene.surface]]\nname = "sheet"\nshape = "flat"\n'
    near, far = (ratios(scene(surface(distance=d) + flat)) for d in ("400 mm", "50 m"))
    assert far["mirror"] == pytest.approx(near["mirror"], rel=1e-6)
    assert far["scatter"] >= near["scatter"] * (1.0 - 1e-6)


def test_a_hollow_surface_in_front_of_a_focus_can_make_one_of_its_own():
    beam = BeamGeometry((5e-3, 5e-3), (1e-3, 1e-3), (50.0, 50.0))
    bound, _ = reflect_shape(beam, 5.0, "concave sphere", LIGHT)
    profile = BeamProfile(bound, (criterion(1.0, 1.0, 7e-3),))
    for radius in np.geomspace(0.5, 500.0, 60):
        stated = BeamProfile(reflect(beam, 5.0, -radius), profile.criteria)
        for z in (0.5, 2.0, 10.0, 44.0, 60.0, 300.0):
            mine = float(from_here_on(profile, np.array([z]))[0])
            assert float(stated.on_axis(np.array([z]))[0]) <= mine * (1.0 + 1e-9)
    assert diameters(bound, 145.0)[0] == pytest.approx(100.0 * 1e-3, rel=1e-6)  # beyond it, as behind a flat one


def test_a_dish_in_the_edge_of_a_wide_beam_gathers_it():
    wide = 'kind = "collimated"\nbeam_diameter = "200 mm"\ncriterion = "1/e"\ndivergence = "0.1 mrad"\n'
    complete = "[settings]\nsurfaces_complete = true\n"
    for aside, least in ((0.0, 500.0), (0.06, 120.0)):
        dish = (
            surface("dish", "5 m", finish="mirror")
            + complete
            + "---"
            + place("dish", aside, shape="concave", width="0.1 m")
        )
        assert ratios(scene(dish, wide, "1.5 W", (1.0, 2.0)))["concave mirror"] > least


def test_without_a_work_distance_a_curved_target_cannot_be_judged():
    assessed = assess(scene(BOWL, COLLIMATED, "5 W", (5.0, 30.0)))
    assert any("write work_distance (Welder, long focus)" in reason for reason in assessed.decision.reasons)
    assert not any(
        "work_distance" in r for r in assess(scene(BOWL, COLLIMATED + 'work_distance = "20 m"\n')).decision.reasons
    )


def test_a_target_is_met_whatever_the_aim_says():
    target = (
        '---[[scene.target]]\nname = "bowl"\nmaterial = "steel"\nshape = "concave"\nposition = ["0 m", "5.175 m"]\n'
    )
    aim = 'elevation = "-12 deg"'
    low, unsaid = (ratios(scene(target + more, aim=aim)) for more in ('height = "0.1 m"\n', ""))
    assert unsaid["concave mirror"] == pytest.approx(low["concave mirror"], rel=0.05)
    high = ratios(scene(target + 'height = "3 m"\n', aim=aim))
    assert high["concave mirror"] > 0.0


def test_a_target_named_like_a_surface_keeps_its_place_and_the_worse_values():
    plate = surface("plate", finish="matt").replace('finish = "matt"', 'finish = "matt"\nreflectance = 0.3')
    target = '---[[scene.target]]\nname = "plate"\nmaterial = "steel"\nshape = "concave"\n{}'
    away = ratios(scene(plate + target.format('position = ["0 m", "5 m"]\n')))
    assert away["concave mirror"] > 1e3
    here = ratios(scene(plate + target.format("") + '[[scene.surface]]\nname = "plate"\nshape = "flat"\n'))
    assert here["mirror"] > 1e3  # what is fired at may be a mirror, whatever the surface says


@pytest.mark.parametrize("radius", ["605 mm", "300 mm", "2 m"])
def test_a_stated_hollow_radius_counts_only_where_its_tilt_is_known(radius):
    bowl = '---[[scene.target]]\nname = "bowl"\nmaterial = "steel"\nfinish = "mirror"\nshape = "concave"\n{}'
    setup = LENS + 'work_distance = "700 mm"\n'
    far = [
        max(z.distance for z in assess(scene(bowl.format(more), setup)).scene.zones if z.surface == "bowl")
        for more in (f'radius = "{radius}"\n', "")
    ]
    assert far[0] >= far[1] * (1.0 - 1e-9)


def test_a_dish_that_faces_the_beam_is_worked_out_as_stated():
    dish = (
        surface("dish", "5 m", finish="mirror") + "---" + place("dish", shape="concave", normal="180 deg", radius="4 m")
    )
    (stage,) = stages_of(scene(dish, COLLIMATED + 'work_distance = "5 m"\n'))
    bent = [s for s in stage.sources(stage.contexts[0], "mirror", "eye") if s.surface == "dish"]
    width = math.hypot(5e-3, 5e-3)
    spread = math.hypot(5e-6 / width, 5e-6 / width - width / 2.0)  # what is left of its own, and f = 2 m
    assert max(max(s.profile.beam.divergence) for s in bent) == pytest.approx(spread, rel=0.01)


def test_an_oblong_beam_meets_a_cylinder_either_way():
    oblong = COLLIMATED.replace('"5 mm"', '["10 mm", "2 mm"]').replace('"1 mrad"', '["0.1 mrad", "20 mrad"]')
    rod = surface("rod", "5 m", finish="mirror") + "---" + place("rod", shape="convex", radius="0.5 m", axes="cylinder")
    far = max(z.distance for z in assess(scene(rod, oblong)).scene.zones if z.surface == "rod")
    assert far > 150.0


@pytest.mark.parametrize("place", [1.2, 1.6, 2.0])
def test_what_any_hollow_cylinder_makes_of_an_oblong_beam_is_as_tight_and_as_near_as_any_place_allows(place):
    # bent on x alone it is no narrower there than w phi s / a, with a largest at 2 m; y is narrowest for 1.2 m
    beam = BeamGeometry((1e-2, 1e-2), (1e-4, 1e-2), (0.0, 0.0))
    found = _as_any(beam, 1e-6, (1.2, 1.6, 2.0), "concave cylinder", in_parts=False)
    for s in (0.1, 0.5, 0.9):
        x = 1e-2 * 1e-4 * s / math.hypot(1e-2, 1e-4 * place)
        y = math.hypot(1e-2, 1e-2 * (place + s))
        assert min(math.prod(map(float, diameters(one.beam, s))) for one in found) <= x * y * (1.0 + 1e-9)


def test_a_window_that_holds_is_a_mirror_for_every_wall_however_it_stands():
    rng = np.random.default_rng(11)
    laser, _ = random_laser(rng)
    straight = Source("direct", (0.0, 0.0, 1.2), type(laser.directions)(0.0, 3.2, (-0.5, 0.5)), laser.profile, 1e3)
    for _ in range(settings().max_examples):
        turn = rng.uniform(0.0, 6.28)
        a, b = ((3 * math.cos(turn + s), 3 * math.sin(turn + s)) for s in (-0.4, 0.4))
        case = scene(
            '---[[scene.barrier]]\nname = "wall"\nkind = "wall"\ntop = "3 m"\n'
            f'line = [["{a[0]} m", "{a[1]} m"], ["{b[0]} m", "{b[1]} m"]]\n'
            '[[scene.barrier.opening]]\nname = "pane"\nkind = "window"\nstart = "0.5 m"\nend = "1.5 m"\n'
        )
        (pane,) = panes_of(case.scene)
        assert lit_panes([(straight, Walls([Screen("wall", (a, b), 0.0, 3.0)]))], [pane], 0.01) == [True]


@pytest.mark.parametrize(("start", "end"), [(20.0, 21.0), (20.26, 20.74), (20.501, 20.503)])
def test_a_long_window_is_found_through_a_narrow_gap(start, end):
    laser, _ = random_laser(np.random.default_rng(5))
    straight = Source("direct", (0.0, 0.0, 1.2), type(laser.directions)(0.0, 1.0, (-0.2, 0.2)), laser.profile, 1e3)
    case = scene(
        '---[[scene.barrier]]\nname = "far"\nkind = "wall"\ntop = "3 m"\nline = [["-20 m", "10 m"], ["20 m", "10 m"]]\n'
        '[[scene.barrier.opening]]\nname = "pane"\nkind = "window"\nstart = "5 m"\nend = "35 m"\n'
    )
    near = Screen("near", ((-20.0, 4.0), (20.0, 4.0)), 0.0, 50.0, (Gap(start, end, 0.0, 50.0),))
    (pane,) = panes_of(case.scene)
    assert lit_panes([(straight, Walls([near]))], [pane], 0.01) == [True]
    assert lit_panes([(straight, Walls([Screen("shut", near.line, 0.0, 50.0)]))], [pane], 0.01) == [False]


def test_a_normal_is_turned_to_the_side_of_the_laser():
    sheets = (surface("sheet", "5 m") + "---" + place(shape="concave", normal=n) for n in ("180 deg", "0 deg"))
    one, other = (ratios(scene(sheet, person=(0.3, 1.0))) for sheet in sheets)
    for way in ("concave mirror", "scatter"):
        assert one[way] == pytest.approx(other[way], rel=1e-9)
        assert one[way] > 0.0


def test_an_area_gets_no_less_than_a_place_inside_it():
    sheet = surface("sheet", "5 m", finish="matt") + "---" + place(shape="flat", normal="180 deg", width="0.2 m")
    case = scene(sheet, person=(1.0, 4.0))
    wide = scene(sheet, person=(1.0, 4.0), area=((1, -1), (7, -1), (7, 5), (1, 5)))
    (stage,), (area,) = stages_of(case), stages_of(wide)
    lights = [(s, Walls()) for s in stage.sources(stage.contexts[0], "scatter", "eye") if s.surface == "sheet"]
    there, anywhere = (bound([lights], person_places(one, "eye")).upper[0] for one in (stage, area))
    assert there > 0.0
    assert anywhere >= 0.99 * there


def test_a_window_past_the_closing_corner_keeps_all_its_pieces():
    ring = ((-2.0, -2.0), (2.0, -2.0), (2.0, 2.0), (-2.0, 2.0), (-2.0, -2.0))
    assert part_of_line(ring, 0.0, 16.0) == ring


def test_the_zone_of_a_bright_target_counts_the_size_of_its_spot_at_its_own_brightness():
    # 30 kW on a spot of 20 mm: between the angles of a small and of the largest source the limit goes with 1 / r, so
    # that the zone of a target three times as bright reaches 3 times as far there, not sqrt(3) times (read: 7.3 m)
    beam = COLLIMATED.replace("5 mm", "20 mm") + 'work_distance = "1 m"\nspot_diameter = "20 mm"\n'
    complete = "[settings]\nsurfaces_complete = true\n"
    dull = surface("sheet", "1 m", finish="matt", reflectance="0.3")
    plate = '[[scene.target]]\nname = "plate"\nmaterial = "steel"\nfinish = "matt"\nshape = "flat"\n'
    plate += 'reflectance = "0.9"\n'
    (stage,) = stages_of(scene(complete + dull + "---" + plate, setup=beam, power="30 kW"))
    (context,) = stage.contexts
    found = {one.surface: one for one in stage.sources(context, "scatter", "eye")}
    true = {
        name: max(
            scatter_reach(light, LitSpot(share, diameter=20e-3)).distance
            for light in context.received("eye", context.duration("scatter")[0])
        )
        for name, share in (("sheet", 0.3), ("plate", 0.9))
    }
    assert true["plate"] > 2.8 * true["sheet"]
    for name, far in true.items():
        assert far <= found[name].reach <= 1.01 * far
    decision = assess(stage.case, wanted="drawn").decision  # page 1 said how far the dull sheet alone is dangerous
    assert decision.scatter_distance >= true["plate"] * (1.0 - 1e-12)  # two orders of the same products
    assert metres(decision.scatter_distance, with_feet=False) in decision.people


def test_an_even_spot_that_looks_smaller_from_the_side_reaches_farther_there():
    # its limit goes with the mean of both angles, from the side (1 + cos 90 deg) / 2 = 1/2 of that straight before it
    even = ScatterProfile(lambda r: 3.0 / r, lambert=False, size=1.0)
    assert far_scatter(even, 1.0) == pytest.approx(6.0)
    assert far_scatter(replace(even, lambert=True), 1.0) == pytest.approx(3.0)
    # as far as a point exceeds the limit, unless it is none there
    assert far_scatter(ScatterProfile(lambda r: 4.0 / np.square(r), size=1.0), 1.0) == pytest.approx(2.0, rel=1e-11)
    larger = ScatterProfile(lambda r: np.where(r < 3.0, 1.5, 4.0 / np.square(r)), size=1.0)
    assert far_scatter(larger, 1.0) == pytest.approx(3.0)


@pytest.mark.parametrize(("setup", "typed", "values", "place"), [
    pytest.param(LENS, "400 mm", (360, 400, 440), (0.0, 0.4, 1.2), id="focus between the ends"),
    pytest.param(COLLIMATED, "1 mrad", (0.7, 1.0, 1.3), (0.03, 20.0, 1.2), id="beside the beam"),
    pytest.param(LENS, "8.5 mm", (6.5, 8.5, 10.5), (0.2, 10.0, 1.2), id="beside the beam of a lens"),
])  # fmt: skip
def test_the_corners_of_a_scene_bound_a_place_for_every_value_between_them(setup, typed, values, place):
    def upper(text):
        found = []
        for stage in stages_of(scene(setup=setup.replace(typed, text), power="1 kW")):
            light = stage.sources(stage.contexts[0], "direct", "eye")[0], Walls()
            found.append(float(bound([[light]], Places(np.array([place]), np.array([place]))).upper[0]))
        return max(found)

    unit = typed.partition(" ")[2]
    each = [upper(f"{value} {unit}") for value in values]
    half = f"{(values[-1] - values[0]) / 2:g} {unit}"
    assert upper(f"{typed} +- {half}") >= max(each) > 0.0


def test_the_zone_of_an_even_spot_is_that_from_the_side():
    # 30 kW evenly over a half space, spot of 20 mm: it is as bright from the side, but its limit goes with the mean of
    # its two angles, of which one vanishes there: half of the limit straight before it, twice as far
    case = scene("---", setup=COLLIMATED.replace("5 mm", "20 mm") + 'spot_diameter = "20 mm"\n', power="30 kW")
    case = case.model_copy(update={"settings": case.settings.model_copy(update={"scatter_model": "hemisphere"})})
    (context,) = contexts(case)
    straight, aside = (
        max(
            scatter_reach(light, LitSpot(1.0, view, "hemisphere", 20e-3)).distance
            for light in context.received("eye", context.duration("scatter")[0])
        )
        for view in (0.0, math.pi / 2.0)
    )
    assert setup_result(context).zone("scatter", "eye").distance == pytest.approx(aside)
    assert aside > 1.2 * straight


@pytest.mark.parametrize(("facing", "named"), [({}, "second"), ({"normal": "180 deg"}, "")])
def test_a_curved_mirror_after_more_ways_than_are_followed_refuses_the_verdict(facing, named):
    # to and fro between two panels that face anywhere there are more than 60 ways; of what is left the shortest stands
    # for all, which bounds no longer one behind a convex mirror. Side by side the panels send each other no light
    listed = '[[surface]]\nname = "{}"\nmaterial = "steel"\nfinish = "mirror"\nreflectance = 0.9\n'
    listed += 'reflectance_source = "typed"\ndistance = "2 m"\n'
    panels = [place("first", 0.0, 2.0, width="0.2 m", shape="flat", **facing)]
    panels.append(place("second", 1.5, 2.0, width="0.2 m", shape="convex", radius="1 m", axes="sphere", **facing))
    result = assess(scene("".join(map(listed.format, ("first", "second"))) + "---" + "".join(panels), COLLIMATED))
    found = [(one.refuses, one.text.partition("cover these: ")[2]) for one in result.scene.findings]
    assert [one for one in found if one[1]] == ([(True, named)] if named else [])
    assert any("more ways lead" in reason for reason in result.decision.reasons) is bool(named)


@pytest.mark.parametrize(
    ("shapes", "named"), [(("", ""), "second, first"), (("flat", ""), "second"), (("flat", "flat"), "")]
)
def test_mirrors_of_unknown_shape_met_twice_refuse_the_verdict_until_their_shape_is_stated(shapes, named):
    # a first mirror that spreads the beam over all of the second, and a second that gathers it again, can put all of
    # the power anywhere in sight of the second: nothing bounds it but the power itself; so can one that is met twice
    listed = '[[surface]]\nname = "{}"\nmaterial = "steel"\nfinish = "mirror"\nreflectance = 0.9\n'
    listed += 'reflectance_source = "typed"\ndistance = "2 m"\n'
    panel = '[[scene.surface]]\nname = "{}"\nposition = ["{} m", "2 m"]\nheight = "1.2 m"\nwidth = "0.2 m"\n'
    both = tuple(zip(("first", "second"), (0.0, 1.5), shapes, strict=True))
    panels = [panel.format(name, x) + (f'shape = "{shape}"\n' if shape else "") for name, x, shape in both]
    surfaces = "".join(listed.format(name) for name, _, _ in both)
    result = assess(scene(surfaces + "---" + "".join(panels), COLLIMATED))
    found = [one for one in result.scene.findings if "mirrors of unknown shape" in one.text]
    assert [(one.refuses, one.text.partition("shape: ")[2]) for one in found] == ([(True, named)] if named else [])
    assert any("mirrors of unknown shape" in reason for reason in result.decision.reasons) is bool(named)
