"""Scenes worked out by hand in which light starts, or is met, where it is least expected: on the other side."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely

from lasersafe.assessment import assess
from lasersafe.assessment.context import Wanted
from lasersafe.models import parse_case
from lasersafe.records.scene import SceneResult
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, Surface, case_text

GROUND = "[scene.ground]\nreflectance = 0.05\n"
LIMIT = 50.0  # W/m2: 1070 nm, 10 s or more
BEAM = Laser(50.0, 5e-3, 1e-3, (0.0, 0.0, 1.6), 0.0)


def found(scene: Scene, *changes: tuple[str, str], wanted: Wanted = "short") -> SceneResult:
    """Assess a scene, with some changes of the text of its case file; zones only where they are wanted."""
    text = case_text(scene)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    result = assess(parse_case(text), wanted=wanted).scene
    assert result is not None
    return result


def highest(result: SceneResult, way: str, person: str = "P") -> float:
    """Return the highest ratio of somebody's eyes on one way while running."""
    own = [c for c in result.matrix if (c.person, c.mode, c.way, c.tissue) == (person, "running", way, "eye")]
    return max((c.ratio for c in own), default=0.0)


def scattered(power: float, share: float, off: tuple[float, float, float], normal: int) -> float:
    """Return what a matt spot sends so far [m] along its normal and beside it, over the limit."""
    square = sum(one * one for one in off)
    return share * power * abs(off[normal]) / math.sqrt(square) / (math.pi * square) / LIMIT


def test_a_head_that_moves_meets_both_sides_of_a_mirror() -> None:
    # the mirror faces along x, and its plane passes 0.05 m beside the head, which moves by 0.5 m: from (-0.3, 0) a ray
    # of bearing 5.7 degrees meets it at (0, 3) from behind and comes to (-0.3, 6): 50 W of 0.9, 6.02 m from the head
    head = replace(BEAM, place=(0.05, 0.0, 1.6), bearing=4.0, bearing_half=3.0, moves=0.5)
    mirror = Surface("plate", (0.0, 3.0, 1.6), 90.0)
    seen = found(Scene((head,), (Person("P", ((-0.3, 6.0),)),), (mirror,)))
    wide = math.hypot(5e-3, 1e-3 * 2.0 * math.hypot(0.3, 3.0))
    through = 1.0 - math.exp(-((7e-3 / wide) ** 2))
    assert highest(seen, "mirror") >= 0.9 * 50.0 * through / (math.pi * 3.5e-3**2) / LIMIT
    # matt, 3 kW: eyes 0.5 m before the side from which it is lit then get 0.9 * 3 kW / (pi 0.25 m2) = 3438 W/m2
    plate = replace(mirror, mirror=False)
    seen = found(Scene((replace(head, power=3000.0),), (Person("P", ((-0.5, 3.0),)),), (plate,)))
    assert highest(seen, "scatter") >= scattered(3000.0, 0.9, (0.5, 0.0, 0.0), 0)


def test_a_mirror_that_is_off_can_be_met_from_behind() -> None:
    # 0.2 m beside its plane and 3 m away the beam comes at 3.8 degrees to the mirror; turned by 5 degrees this is met
    # from the other side, and sends the beam 2 * 5 - 3.8 degrees behind its plane as stated
    aim = math.atan(0.2 / 3.0)
    place = (-3.0 * math.tan(math.radians(10.0) - aim), 6.0)
    head = replace(BEAM, place=(0.2, 0.0, 1.6), bearing=-math.degrees(aim))
    mirror = Surface("plate", (0.0, 3.0, 1.6), 90.0, width=0.1)
    scene = Scene((head,), (Person("P", (place,)),), (mirror,))
    assert highest(found(scene), "mirror") <= 1.0
    assert highest(found(scene, ('normal = "90 deg"', 'normal = "90 deg +- 5 deg"')), "mirror") > 1e4


def test_a_head_that_moves_round_the_end_of_a_wall_lights_its_other_face() -> None:
    # from (0.45, 0) a ray of bearing -4 degrees meets the right face of a wall at x = 0.3 m, 2.145 m along
    head = replace(BEAM, power=3000.0, bearing=-4.0, bearing_half=2.0, moves=0.5)
    wall = Barrier("wall", ((0.3, 0.3), (0.3, 5.0)))
    seen = found(Scene((head,), (Person("P", ((1.2, 2.3),)),), (), (wall,)))
    assert highest(seen, "scatter") >= scattered(3000.0, 0.8, (0.9, 0.155, 0.0), 0)


def test_the_beams_of_a_module_leave_side_by_side() -> None:
    # four beams 0.3 m apart: the outer ones leave 0.45 m beside the middle, and all of the power counts in one of them
    scene = Scene((BEAM,), (Person("P", ((0.45, 5.0),)),))
    assert highest(found(scene), "direct") <= 1.0
    module = '[laser.module]\ncolumns = 4\ncolumn_pitch = "300 mm"\n[[laser.setup]]'
    assert highest(found(scene, ("[[laser.setup]]", module)), "direct") > 1e4


@pytest.mark.parametrize("bearing", [0.0, 360.0])
def test_where_a_laser_is_said_to_point_counts_outside_its_range_too(bearing: float) -> None:
    scene = Scene((BEAM,), (Person("P", ((0.0, 5.0),)),))
    turned = f'bearing = "{bearing:g} deg"\nbearing_range = ["45 deg", "135 deg"]'
    assert highest(found(scene, ('bearing = "0 deg"', turned)), "direct") > 1e4


def test_a_spot_nearer_than_the_work_earns_the_credit_of_its_own_size() -> None:
    # 4 kW, 5 mm and 50 mrad: at 0.1 m the spot is 7.1 mm, at the work, 5 m, 250 mm; from 0.97 m it is seen under 7.3
    # mrad at most, so that C_E is at most 4.9 and not 67: 0.9 * 4 kW * 0.36 / (pi 0.94 m2) = 440 W/m2 over 245 W/m2
    scene = Scene(
        (replace(BEAM, power=4000.0, divergence=50e-3),), (Person("P", ((0.9, -0.25),)),),
        (Surface("plate", (0.0, 0.1, 1.6), 180.0, width=0.01, mirror=False),),
    )  # fmt: skip
    seen = found(scene, ('kind = "collimated"\n', 'kind = "collimated"\nwork_distance = "5 m"\n'))
    assert 440.0 / 245.0 <= highest(seen, "scatter") <= 3.0


def test_what_people_stand_on_scatters_though_nobody_drew_it() -> None:
    # 5 kW from 5 m height meets a balcony, 3 m high, at (0, 5); eyes are 1.6 m above it and 1 m beside
    head = replace(BEAM, power=5000.0, place=(0.0, 0.0, 5.0), elevation=-math.degrees(math.atan2(2.0, 5.0)))
    scene = Scene((head,), (Person("P", ((1.0, 5.0),)),))
    seen = found(scene, ('stature = "standing adult"', 'stature = "standing adult"\nfloor = "3 m"'))
    assert highest(seen, "scatter") >= scattered(5000.0, 0.8, (1.0, 0.0, 1.6), 2)


def test_a_ceiling_far_away_scatters_as_far_as_that_exceeds_a_limit() -> None:
    # a pulse of 200 J, 532 nm, 10 ns (limit 2 mJ/m2) meets the ceiling, 8 m high, 6.4 m / tan 12 degrees = 30.1 m away;
    # eyes 33.1 m from there along the floor and 6.4 m lower get 0.8 * 200 J * 0.19 / (pi 1137 m2) = 8.5 mJ/m2
    head = replace(BEAM, elevation=12.0)
    scene = Scene((head,), (Person("P", ((0.0, -3.0),)),), more='[scene.ceiling]\nheight = "8 m"\n')
    pulse = 'kind = "single pulse"\npulse_energy = "200 J"\npulse_duration = "10 ns"'
    seen = found(scene, ('kind = "continuous"\npower = "50 W"', pulse), ("1070 nm", "532 nm"))
    assert highest(seen, "scatter") >= scattered(200.0, 0.8, (0.0, 33.1, 6.4), 2) * LIMIT / 2e-3


def test_zones_reach_up_to_the_highest_eyes() -> None:
    head = replace(BEAM, place=(0.0, 0.0, 2.6))
    eyes = ('stature = "standing adult"', 'eye_height = "2.6 m"')
    seen = found(Scene((head,), (Person("P", ((0.0, 5.0),)),)), eyes, wanted="drawn")
    areas = [shapely.Polygon(p.outline, p.holes) for z in seen.zones if z.kind == "eye direct" for p in z.polygons]
    assert any(shapely.contains_xy(area, 0.0, 5.0) for area in areas)


def test_zones_are_made_for_the_longest_time_that_is_stated_for_anybody() -> None:
    # 450 nm: 100 J/m2 for the retina, so that 1 W of 1 mrad is at the limit where it is 1.13 m wide for 100 s, 1128 m
    # away, and for the usual 10 s 357 m away
    scene = Scene((replace(BEAM, power=1.0),), (Person("P", ((5.0, 5.0),)), Person("Q", ((0.0, 1000.0),))))
    at_p = 'name = "P"\nrole = "spectator"\n'
    for time, above in (("5 s", False), ("100 s", True)):
        watched = (at_p, f'{at_p}time = "{time}"\ntime_reason = "they watch"\n')
        seen = found(scene, ("1070 nm", "450 nm"), watched, wanted="drawn")
        areas = [shapely.Polygon(p.outline, p.holes) for z in seen.zones if z.kind == "eye direct" for p in z.polygons]
        assert any(shapely.contains_xy(area, 0.0, 1000.0) for area in areas) == above
        assert highest(seen, "direct", "Q") < 1.0


def test_the_outside_of_a_closed_booth_scatters_to_those_who_are_outside() -> None:
    # 3 kW meet the outer face of a closed row of walls at (0, -1); eyes are 0.8 m before it and 0.8 m beside
    ends = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0))
    head = replace(BEAM, power=3000.0, place=(0.0, -3.0, 1.6))
    seen = found(Scene((head,), (Person("P", ((0.8, -1.8),)),), (), (Barrier("booth", ends),)))
    assert highest(seen, "scatter") >= scattered(3000.0, 0.8, (0.8, 0.8, 0.0), 1)
    inside = replace(head, place=(0.0, 0.0, 1.6))
    seen = found(Scene((inside,), (Person("P", ((0.8, -1.8),)),), (), (Barrier("booth", ends),)))
    assert highest(seen, "scatter") == 0.0


def test_a_closed_booth_that_stands_aslant_is_shut() -> None:
    # 3 kW that can turn in a square booth, 20 degrees askew: nothing of what its walls scatter comes out
    turns = [math.radians(20.0 + 90.0 * k) for k in (0, 1, 2, 3, 0)]
    booth = Barrier("booth", tuple((1.4 * math.cos(turn), 1.4 * math.sin(turn)) for turn in turns))
    head = replace(BEAM, power=3000.0, bearing_half=180.0)
    assert highest(found(Scene((head,), (Person("P", ((3.0, 0.0),)),), (), (booth,))), "scatter") == 0.0


def test_what_only_a_mirror_burns_through_lets_its_light_light_what_stands_behind() -> None:
    # a lens of 10 m focuses 9 kW, 30 mm wide, by way of a mirror 6 m away on a screen 4 m from that, which holds the
    # wider beam wherever the head may point; the light then meets a wall, 2 m on, 2.5 m aside of and 1 m before eyes
    mirror = Surface("plate", (0.0, 6.0, 1.6), 135.0, width=0.5)
    # with a second mirror in its place, turned by 45 degrees, it comes to (6, 9), 15 m along and half as wide
    walls = (Barrier("screen", ((4.0, 5.0), (4.0, 7.0))), Barrier("wall", ((6.0, 3.0), (6.0, 9.0))))
    scene = Scene((replace(BEAM, power=9000.0, diameter=30e-3),), (Person("P", ((5.0, 8.5),)),), (mirror,), walls)
    lens = ('kind = "collimated"', 'kind = "lens"\nfocal_length = "10 m"'), ('divergence = "1 mrad"\n', "")
    rated = 'name = "screen"\ndistance = "100 mm"\nrating = "{} MW/m2"'
    seen = found(scene, *lens, (rated.format("1e4"), rated.format("600")))
    assert highest(seen, "mirror then scatter") >= scattered(0.9 * 9000.0, 0.8, (1.0, 2.5, 0.0), 0)
    mirrors = mirror, Surface("second", (6.0, 6.0, 1.6), -45.0, width=0.5)
    scene = replace(scene, persons=(Person("P", ((6.0, 9.0),)),), surfaces=mirrors, barriers=walls[:1])
    through = 1.0 - math.exp(-((7.0 / 15.0) ** 2))
    seen = found(scene, *lens, (rated.format("1e4"), rated.format("600")))
    assert highest(seen, "mirror") >= 0.81 * 9000.0 * through / (math.pi * 3.5e-3**2) / LIMIT
    assert highest(found(scene), "mirror") <= 1.0


def test_a_window_that_holds_against_the_beam_alone_lets_mirrors_light_go_on_over_a_second_mirror() -> None:
    # 90 W as above, 0.9 of it with its focus, 1 mm wide, at a window: 81 W over 7 mm, 10^4.62 times the limit. The beam
    # itself is wider there, at most 8 m along and 6.1 mm wide: 90 W (1 - exp(-(7 / 6.1)^2)) are 10^4.54. The window of
    # 4.6 holds against it alone, and behind it a second mirror sends the light to (6, 9), 15 m along and 15 mm wide
    mirrors = Surface("plate", (0.0, 6.0, 1.6), 135.0, width=0.5), Surface("second", (6.0, 6.0, 1.6), -45.0, width=0.5)
    head, person = replace(BEAM, power=90.0, diameter=30e-3), Person("P", ((6.0, 9.0),))
    scene = Scene((head,), (person,), mirrors, (Barrier("screen", ((4.0, 5.0), (4.0, 7.0))),))
    pane = (
        '[[scene.barrier.opening]]\nname = "pane"\nkind = "window"\nstart = "0.1 m"\nend = "1.9 m"\nbottom = "0.5 m"\n'
    )
    pane += 'top = "2.5 m"\noptical_density = {}\nrating = "1e4 MW/m2"\nrated_time = "30000 s"\n[[scene.person]]'
    lens = ('kind = "collimated"', 'kind = "lens"\nfocal_length = "10 m"\nfocus_diameter = "1 mm"')
    given = (lens, ('divergence = "1 mrad"\n', ""))
    seen = found(scene, *given, ("[[scene.person]]", pane.format("4.6")))
    assert {one.way: one.holds for one in seen.barriers[0].windows if one.way != "scatter"} == {
        "direct": True, "mirror": False,
    }  # fmt: skip
    through = 1.0 - math.exp(-((7.0 / 15.1) ** 2))
    assert highest(seen, "mirror") >= 0.81 * 90.0 * through / (math.pi * 3.5e-3**2) / LIMIT
    assert highest(found(scene, *given, ("[[scene.person]]", pane.format(8))), "mirror") <= 1.0


def test_a_head_that_moves_is_no_nearer_aside_than_it_moves_aside() -> None:
    # straight down from anywhere within 0.3 m on every side: a child 0.6 m aside is 0.3 m from the axis, in the ball
    # round that box it would be 0.08 m; 500 W behind a lens of 50 mm are 0.1 m wide 1 m below it
    head = replace(BEAM, power=500.0, place=(0.0, 0.0, 0.95), elevation=-90.0, moves=0.3)
    lens = ('kind = "collimated"', 'kind = "lens"\nfocal_length = "50 mm"'), ('divergence = "1 mrad"\n', "")
    assert highest(found(Scene((head,), (Person("P", ((0.0, -0.6),), "child"),)), *lens), "direct") < 1.0
    assert highest(found(Scene((head,), (Person("P", ((0.0, -0.3),), "child"),)), *lens), "direct") > 1e4


def test_floor_past_a_screen_that_a_mirror_may_light_refuses_the_verdict() -> None:
    # a mirror 2.5 m high may send 3 kW under a screen 2 m away that ends 0.6 m above the floor, on the floor up to 0.63
    # m behind it: from 0.6 m there eyes 1 m high and 0.3 m farther get 0.9 * 0.8 * 3 kW * 0.92 / (pi 1.09 m2), 12 times
    mirror = Surface("plate", (0.0, 4.0, 2.5), 180.0, width=0.1)
    screen = Barrier("screen", ((-10.0, 6.0), (10.0, 6.0)), 5.0, 0.6)
    head = replace(BEAM, power=3000.0, place=(0.0, 0.0, 2.5))
    scene = Scene((head,), (Person("P", ((0.0, 6.9),), "child"),), (mirror,), (screen,))
    refused = [
        [one.subject for one in found(scene, *changes).findings if one.refuses and one.kind == "mirror"]
        for changes in ((), (('normal = "180 deg"\ntilt = "0 deg"\n', ""),))
    ]
    assert refused == [[], ["P"]]


@pytest.mark.parametrize("divergence", [0.1, 0.01])
def test_ways_of_one_wide_beam_that_meet_are_added(divergence: float) -> None:
    # mirrors 1.25 m to both sides of a beam that is 6.8 m wide where it meets eyes: straight 0.83 times the limit and
    # over each mirror 0.9 exp(-(2 * 2.5 / 6.8)^2) as much again; a narrow beam meets one at a time
    far, power = 68.0, 1500.0 * (divergence / 0.1) ** 2
    head = replace(BEAM, power=power, divergence=divergence, place=(0.0, 0.0, 2.5), elevation=-0.76)
    mirrors = tuple(Surface(f"{x}", (x, far / 2.0, 2.5), 90.0, width=30.0) for x in (-1.25, 1.25))
    seen = found(Scene((head,), (Person("P", ((0.0, far),)),), mirrors, more=GROUND))
    wide = math.hypot(5e-3, divergence * far)
    straight = power / (math.pi * wide**2 / 4.0) / LIMIT
    assert max(highest(seen, way) for way in ("direct", "mirror", "scatter")) < 1.0
    told = [one.text for one in seen.findings if one.refuses and one.kind == "mirror"]
    assert (straight * (1.0 + 1.8 * math.exp(-((5.0 / wide) ** 2))) > 1.0) == bool(told)
    # an instrument of 50 mm takes in (50 / 7)^2 = 51 times as much of each: who looks through one is asked with it
    weak = Scene((replace(head, power=power / 52.0),), (Person("P", ((0.0, far),)),), mirrors, more=GROUND)
    seen = found(weak, ('role = "spectator"', 'role = "spectator"\naided = true'))
    assert highest(seen, "aided viewing") < 1.0
    told = [one.text for one in seen.findings if one.refuses and one.subject == "P"]
    assert bool(told) == (divergence == 0.1)


def test_every_image_in_two_mirrors_that_face_each_other_is_a_way_of_its_own() -> None:
    # 0.3 m apart, 0.9, and a beam 2 m wide half way between: straight 0.3 times the limit, over one of them 0.9 times
    # exp(-0.3^2) of that, over two 0.81 exp(-0.6^2), over three 0.729 exp(-0.9^2): 4.4 times as much in all, 1.3
    head = replace(BEAM, power=0.3 * LIMIT * math.pi, divergence=0.1)
    mirrors = tuple(Surface(f"{x}", (x, 10.0, 1.6), 90.0, width=14.0) for x in (-0.15, 0.15))
    seen = found(Scene((head,), (Person("P", ((0.0, 20.0),)),), mirrors))
    assert max(highest(seen, way) for way in ("direct", "mirror", "scatter")) < 0.5
    assert [one.subject for one in seen.findings if one.refuses and "(eye) may get light on several" in one.text] == [
        "P"
    ]


def test_ways_that_meet_on_skin_are_added() -> None:
    # at 1550 nm eyes have 1000 W/m2, large areas of skin 100 W/m2: as above, a tenth as wide, so that the floor is dark
    head = replace(BEAM, power=0.3 * 100.0 * math.pi * 0.01, diameter=1e-3, divergence=0.01)
    mirrors = tuple(Surface(f"{x}", (x, 10.0, 1.6), 90.0, width=14.0) for x in (-0.015, 0.015))
    seen = found(Scene((head,), (Person("P", ((0.0, 20.0),)),), mirrors), ('"1070 nm"', '"1550 nm"'))
    usual = ("direct", "mirror", "scatter", "mirror then scatter")
    assert max(c.ratio for c in seen.matrix if c.mode == "running" and c.way in usual) < 0.5
    told = [one.text for one in seen.findings if one.refuses and one.kind == "mirror"]
    assert [tissue for tissue in ("eye", "skin") if any(f"({tissue}) may get" in one for one in told)] == ["skin"]


VIEW_PANE = (
    '[[scene.barrier.opening]]\nname = "pane"\nkind = "window"\nstart = "2.5 m"\nend = "3.5 m"\nbottom = "1 m"\n'
    'top = "2 m"\noptical_density = 2.5\nrating = "1e4 MW/m2"\nrated_time = "30000 s"\n'
)


def test_a_view_window_shuts_for_the_instrument_of_whoever_uses_one() -> None:
    # 5 W, 26 mm wide at 8 m: 187 times the limit of the bare eye, 2540 times behind an objective of 50 mm; a density of
    # 2.5 leaves 0.6 and 8.0
    head, wall = replace(BEAM, power=5.0, diameter=20e-3, divergence=2e-3), Barrier("W", ((-3.0, 5.0), (3.0, 5.0)))
    scene = Scene((head,), (Person("P", ((0.0, 8.0),)),), (), (wall,))
    pane = "[[scene.person]]", f"{VIEW_PANE}[[scene.person]]"
    assert highest(found(scene, pane), "direct") == 0.0
    role = 'role = "spectator"\n'
    power = 5.0 * (1.0 - math.exp(-((50e-3 / math.hypot(20e-3, 16e-3)) ** 2)))
    through = highest(found(scene, pane, (role, f"{role}aided = true\n")), "aided viewing")
    assert through >= power / (math.pi * 3.5e-3**2) / LIMIT


def test_a_bowl_behind_a_view_window_gathers_what_it_lets_through() -> None:
    # of 5 W a density of 2.5 leaves 16 mW, 26 mm wide, 0.6 times the limit; 0.9 of that through 7 mm is 7.4 times
    head, wall = replace(BEAM, power=5.0, diameter=20e-3, divergence=2e-3), Barrier("W", ((-3.0, 5.0), (3.0, 5.0)))
    bowl = Surface("bowl", (0.0, 8.0, 1.6), 190.0, width=0.2, radius=-4.0)
    scene = Scene((head,), (Person("P", ((-0.68, 6.1),)),), (bowl,), (wall,))
    for density, told in (("2.5", ["bowl"]), ("3.5", [])):  # 1.6 mW are less than the limit of 1.92 mW
        pane = "[[scene.person]]", VIEW_PANE.replace("2.5\nrating", f"{density}\nrating") + "[[scene.person]]"
        seen = found(scene, pane)
        assert [one.subject for one in seen.findings if one.refuses and one.kind == "mirror"] == told
