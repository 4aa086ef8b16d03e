"""Eight scenes whose answer is known by hand, by the brute-force tracer, and asked of the program.

Everywhere 1070 nm, continuous, 10 s: eye 10 W/m2 * C_A = 50 W/m2 over 7 mm (C_A = 5), skin over 3.5 mm
11 kJ/m2 * 5 * 10^0.25 / 10 s = 9781 W/m2. Beams are Gaussian with 1/e widths d^2 = d0^2 + (phi z)^2; on the axis
E = Phi (1 - exp(-(7 mm / d)^2)) / (38.48 mm2).
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely

from lasersafe.assessment import assess
from lasersafe.models import parse_case
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, Surface, case_text
from tests.crosscheck.tracer import EYE, SKIN, Tracer

OTHER_WAYS = ("fibre broken", "optic lost", "aided viewing")  # what the tracer does not follow
AUDIENCE_AHEAD = 'stage_bearing = "180 deg"'
later = pytest.mark.xfail(strict=True, reason="scenes are sampled yet, not bounded")


def on_axis(power: float, width: float, aperture: float = 7e-3) -> float:
    return power * (1.0 - math.exp(-((aperture / width) ** 2))) / (math.pi * aperture**2 / 4.0)


def program(scene: Scene, wanted="short"):
    return assess(parse_case(case_text(scene)), wanted=wanted).scene


def running(found, person: str = "Row") -> float:
    """Highest ratio of a person while running, over the ways that the tracer follows."""
    return max(c.ratio for c in found.matrix if c.person == person and c.mode == "running" and c.way not in OTHER_WAYS)


def traced(scene: Scene, seed: int = 1) -> float:
    tracer = Tracer(scene, seed)
    found = [one.ratio for laser in scene.lasers for p in scene.persons for one in tracer.highest(laser, p)]
    return max(found, default=0.0)


def aside(distance: float, degrees: float) -> tuple[float, float]:
    return distance * math.sin(math.radians(degrees)), distance * math.cos(math.radians(degrees))


# 1. 5 W, 5 mm, 2 mrad, a line of 40 degrees that can stop anywhere; at 10 m d = 20.6 mm, E = 14 170 W/m2, 283 times.
#    The beam reaches d = sqrt(4 * 5 W / (pi * 50 W/m2)) = 356.8 mm / 2 mrad = 178 m; at 20 degrees that is 61.0 m to
#    the side.
SCAN = Scene(
    (Laser(5.0, 5e-3, 2e-3, (0.0, 0.0, 1.6), 0.0, scan=40.0),),
    (Person("Row", (aside(10.0, 8.0),)),),
    more=AUDIENCE_AHEAD,
)


def test_beside_the_axis_of_a_scan_by_hand():
    assert on_axis(5.0, math.hypot(5e-3, 20e-3)) / EYE[0] == pytest.approx(283.0, abs=1.0)
    assert traced(SCAN) == pytest.approx(283.0, rel=0.05)


def test_beside_the_axis_of_a_scan():
    found = program(SCAN, "drawn")
    assert 283.0 * 0.999 <= running(found) <= 2.0 * 283.0
    assert all(61.0 <= line.distance <= 80.0 for line in found.lines if line.side in ("left", "right"))


# 2. The beam comes down over heads: eyes of a standing adult are at most at 1.7 m, (5 m - 1.7 m) / sin 20 = 9.65 m
#    along the beam, d = 5.68 mm, E = 20 290 W/m2, 406 times. Seated: highest 1.3 m, 7.89 m, d = 16.6 mm, 2125 W/m2,
#    42.5 times; at 1.2 m, the middle of the band, 40.0 as the issue has it.
CROSSED = Scene(
    (Laser(1.0, 3e-3, 0.5e-3, (0.0, 0.0, 5.0), 17.3, -20.0),),
    (Person("Row", ((-20.0, 0.0), (20.0, 0.0), (20.0, 35.0), (-20.0, 35.0))),),
)
SEATED = Scene(
    (Laser(0.5, 5e-3, 2e-3, (0.0, 0.0, 4.0), 17.3, -20.0),),
    (Person("Row", ((0.2, 4.0), (4.6, 4.0), (4.6, 11.0), (0.2, 11.0)), "seated"),),
)


def test_areas_crossed_by_a_beam_by_hand():
    along = 3.3 / math.sin(math.radians(20.0))
    assert on_axis(1.0, math.hypot(3e-3, 0.5e-3 * along)) / EYE[0] == pytest.approx(406.0, abs=1.0)
    for height, ratio in ((1.2, 40.0), (1.3, 42.5)):
        along = (4.0 - height) / math.sin(math.radians(20.0))
        assert on_axis(0.5, math.hypot(5e-3, 2e-3 * along)) / EYE[0] == pytest.approx(ratio, abs=0.1)
    assert traced(CROSSED) == pytest.approx(406.0, rel=0.05)
    assert traced(SEATED) == pytest.approx(42.5, rel=0.05)


@pytest.mark.parametrize(("scene", "ratio"), [(CROSSED, 405.8), (SEATED, 42.4)], ids=["hall", "seated"])
def test_areas_crossed_by_a_beam(scene, ratio):
    assert ratio * 0.999 <= running(program(scene)) <= 2.0 * ratio


# 3. One laser: 356.8 mm / 20 mrad = 17.8 m. Both along one axis: sqrt(2) times as far, 25.2 m. 0.1 m apart, half way
#    between them, exp(-(2 * 50 mm / d)^2) = 0.96 of it: 24.7 m. The issue says about 26 m; what we find is 24.7 m to
#    25.3 m.
PAIR = Scene(
    (
        Laser(5.0, 5e-3, 20e-3, (-0.05, 0.0, 1.6), 0.0, name="Left"),
        Laser(5.0, 5e-3, 20e-3, (0.05, 0.0, 1.6), 0.0, name="Right"),
    ),
    (Person("Row", ((0.0, 24.5),)),),
    more=AUDIENCE_AHEAD,
)


def sum_between(z: float) -> float:
    width = math.hypot(5e-3, 20e-3 * z)
    return 2.0 * on_axis(5.0, width) * math.exp(-((0.1 / width) ** 2)) / EYE[0]


def test_two_lasers_side_by_side_by_hand():
    assert sum_between(24.6) > 1.0 > sum_between(24.8)
    tracer, place = Tracer(PAIR, 1), np.array([[0.0, 24.5, 1.6]])
    aim = np.array([[0.0, 1.0, 0.0]])
    both = sum(float(tracer.arriving(laser, (), aim, place, EYE[1], 8)[0]) for laser in PAIR.lasers) / EYE[0]
    assert both == pytest.approx(sum_between(24.5), rel=0.01)


def test_the_line_of_two_lasers_is_where_their_sum_ends():
    lines = [line for line in program(PAIR, "drawn").lines if line.side == "front"]
    assert 24.6 <= max(line.distance for line in lines) <= 27.0


# 4. 3 m + 3 m + 9 m: d = 31.05 mm, E = 50 W * 0.9^2 * 0.0496 / 38.48 mm2 = 52 150 W/m2, 1043 times.
TWO_MIRRORS = Scene(
    (Laser(50.0, 8e-3, 2e-3, (0.0, 0.0, 1.6), 0.0),),
    (Person("Row", ((3.0, 12.0),)),),
    (Surface("first", (0.0, 3.0, 1.6), 135.0), Surface("second", (3.0, 3.0, 1.6), 315.0)),
)


def test_two_mirrors_by_hand():
    assert 0.81 * on_axis(50.0, math.hypot(8e-3, 30e-3)) / EYE[0] == pytest.approx(1043.0, abs=1.0)
    assert traced(TWO_MIRRORS) == pytest.approx(1043.0, rel=0.05)


def test_two_mirrors():
    assert 1043.0 * 0.999 <= running(program(TWO_MIRRORS)) <= 2.0 * 1043.0


# 5. A wall ends 20 mm beyond the axis; with 1 mrad the beam is 63.2 mm wide at 20 m, and 50 mm aside there is 50 W /
#    (pi (31.6 mm)^2) exp(-2.5) = 1306 W/m2, 26.1 times, averaged over the pupil 26.4. The rays that meet there passed
#    the wall at 45.5 mm +- 6 mm: none of them is stopped.
WIDE = Scene(
    (Laser(50.0, 60e-3, 1e-3, (0.0, 0.0, 1.6), 0.0),),
    (Person("Row", ((0.05, 20.0),)),),
    barriers=(Barrier("screen", ((-3.0, 2.0), (0.02, 2.0))),),
)
#    The turning head: a straight line from 35 mm inside the shadow at 20 m past the edge at 2 m leaves the last optic
#    3.9 mm beside its middle, where an 8 mm beam is. No power is named; with 50 W the peak at 20 m is 2744 times the
#    limit (2604 over a pupil).
#    (a) Places and directions independent, as the tracer has it: of the rays that arrive, 1 / 13 to 1 / 7 pass the
#        edge, 235 times.
#    (b) Each ray keeps its place in the profile, d(2 m) / d(20 m) = 0.383: the last that passes arrives 12.4 mm beside
#        the axis, exp(-(2 * 12.4 / 21.5)^2) = 0.267: 733 times at one point, 947 at the inner edge of a pupil; averaged
#        over the pupil 298 times.
#    The 700 to 1000 of the issue is (b) without averaging; what must not be called below is (a) and (b) averaged.
PAST_EDGE = Scene(
    (Laser(50.0, 8e-3, 1e-3, (0.0, 0.0, 1.6), 0.0, bearing_half=30.0),),
    (Person("Row", ((0.035, 20.0),)),),
    barriers=(Barrier("screen", ((0.0, 2.0), (3.0, 2.0))),),
)


def past_edge_in_order() -> float:
    """Way (b), averaged over the pupil, for the best of many aims."""
    far, near = math.hypot(8.0, 20.0), math.hypot(8.0, 2.0)  # [mm]
    grid = np.linspace(-3.5, 3.5, 141)
    x, y = (v.ravel() for v in np.meshgrid(grid, grid))
    pupil = x**2 + y**2 <= 3.5**2
    best = 0.0
    for axis in np.linspace(20.0, 70.0, 201):  # where the axis is at 20 m
        off = 35.0 + x[pupil] - axis
        passes = axis / 10.0 + off * near / far < 0.0
        best = max(best, float((np.exp(-4.0 * (off**2 + y[pupil] ** 2) / far**2) * passes).mean()))
    return best * 50.0 / (math.pi * (far * 1e-3) ** 2 / 4.0) / EYE[0]


def test_past_an_edge_by_hand():
    assert 50.0 / (math.pi * 0.001) * math.exp(-2.5) / EYE[0] == pytest.approx(26.1, abs=0.1)
    assert traced(WIDE) == pytest.approx(26.4, rel=0.05)
    assert past_edge_in_order() == pytest.approx(298.0, rel=0.02)
    assert traced(PAST_EDGE) == pytest.approx(235.0, rel=0.15)


def test_the_tail_of_a_wide_beam_past_a_wall():
    assert 26.1 <= running(program(WIDE)) <= 2.0 * 26.4


def test_a_turning_head_past_an_edge():
    assert past_edge_in_order() <= running(program(PAST_EDGE)) <= 2700.0


# 6. The ball is met where its own normal is 61 degrees from the line to the head, and sends the beam 122 degrees round,
#    behind its rim. At 3 m a beam of 5 mm is 2 * 3 m / (0.1 m cos 61) + 1 = 124.8 times as wide in the plane, and 2 * 3
#    m * cos 61 / 0.1 m + 1 = 30.1 times across: 0.9 * 4 * 50 W / (pi 25 mm2 * 3756) = 610 W/m2, 12.2 times.
HIT = 0.1 * math.sin(math.radians(61.0)), 2.1 - 0.1 * math.cos(math.radians(61.0))
BALL = Scene(
    (Laser(50.0, 5e-3, 0.15e-3, (HIT[0], 0.0, 1.6), 0.0),),
    (Person("Row", (tuple(a + b for a, b in zip(HIT, aside(3.0, 58.0), strict=True)),)),),  # type: ignore[arg-type]
    (Surface("ball", (0.0, 2.0, 1.6), 180.0, width=0.2, radius=0.1),),
)


def test_behind_the_rim_of_a_ball_by_hand():
    cosine = math.cos(math.radians(61.0))
    spread = (1.0 + 60.0 / cosine) * (1.0 + 60.0 * cosine)
    assert 0.9 * 50.0 / (math.pi * 6.25e-6 * spread) / EYE[0] == pytest.approx(12.2, abs=0.05)
    assert traced(BALL) == pytest.approx(12.2, rel=0.05)


def test_behind_the_rim_of_a_ball():
    assert 12.0 <= running(program(BALL)) <= 60.0  # its lit place and its turn are not followed ray by ray


# 7. 0.8 * 2 kW / pi / (0.7 m)^2 = 1039 W/m2 along the normal, 1015 W/m2 at 12.4 degrees (150 mm aside): 20.3 times the
#    limit of a point. The spot is 16.3 mm wide, from 0.7 m 23.0 mrad as the mean of its two axes; C_E = 23.0 / 1.5 =
#    15.3, in 10 s 18 * 5 * 15.3 * 10^-0.25 = 776 W/m2: 1.3 times. (The issue names no spot; without one, 20 is right.)
LIT = Scene(
    (Laser(2000.0, 16e-3, 1e-3, (0.0, 0.0, 1.6), 0.0),),
    (Person("Row", ((0.15, 3.0 - math.sqrt(0.49 - 0.0225)),)),),
    barriers=(Barrier("screen", ((-2.0, 3.0), (2.0, 3.0))),),
)


def test_beside_a_lit_wall_by_hand():
    cosine = math.sqrt(0.49 - 0.0225) / 0.7
    irradiance = 0.8 * 2000.0 * cosine / (math.pi * 0.49)
    assert irradiance == pytest.approx(1015.0, abs=1.0)
    angle = math.hypot(16e-3, 3e-3) / 0.7 * (1.0 + cosine) / 2.0
    assert irradiance / (18.0 * 5.0 * angle / 1.5e-3 * 10.0**-0.25) == pytest.approx(1.3, abs=0.02)
    assert traced(LIT) == pytest.approx(20.3, rel=0.03)


def test_beside_a_lit_wall():
    assert 1.29 <= running(program(LIT)) <= 21.5  # of a point, at the nearest place that its tail lights


# 8. A deep hollow mirror (R = 0.3 m, 0.5 m wide) is met at its side, straight along its own normal there, and sends the
#    beam back on itself. With 0.3137 W all of the light in 3.5 mm would be 3 times the limit of skin. 0.2635 m from
#    where it is met (focus at 0.15 m), 1 - L / f = -0.757, slopes count 2.088 m * -0.757 + 0.2635 m = -1.317 m:
#    d = 4.01 mm, share 0.534, 1.6 times. Today the zone starts at the flat disc behind the bowl and ends short of it.
TURNED = math.radians(45.0)
BOWL = Scene(
    (Laser(0.3137, 5e-3, 1e-3, (0.3 * math.sin(TURNED), 0.0, 1.2), 0.0),),
    (Person("Row", ((0.0, -5.0),)),),
    (Surface("dish", (0.0, 2.0, 1.2), 135.0, width=0.5, radius=-0.3),),
)
BEHIND_FOCUS = (0.3 * math.sin(TURNED), 2.0 - 0.3 * math.cos(TURNED) + 0.3 - 0.2635, 1.2)


def test_next_to_the_focus_of_a_bowl_by_hand():
    z, left = 2.3 - 0.3 * math.cos(TURNED), 0.2635
    width = math.hypot(5e-3 * (1.0 - left / 0.15), 1e-3 * (z * (1.0 - left / 0.15) + left))
    assert on_axis(0.9 * 0.3137, width, 3.5e-3) / SKIN[0] == pytest.approx(1.6, abs=0.01)
    tracer = Tracer(BOWL, 1)
    place, aim = np.array(BEHIND_FOCUS), np.array([0.0, 1.0, 0.0])
    chain = (tracer.discs[0],)
    found = tracer.arriving(BOWL.lasers[0], chain, aim[None], place[None], SKIN[1], 8)[0] / SKIN[0]
    assert found == pytest.approx(1.6, rel=0.02)
    assert tracer.counted(BOWL.lasers[0], chain, aim, place, SKIN[1]) / SKIN[0] == pytest.approx(1.6, rel=0.03)


def test_next_to_the_focus_of_a_bowl():
    zones = [z for z in program(BOWL, "drawn").zones if z.kind == "skin mirror"]
    parts = [shapely.Polygon(p.outline, p.holes) for z in zones for p in z.polygons]
    assert shapely.contains_xy(shapely.union_all(parts), *BEHIND_FOCUS[:2])


def test_a_scene_that_is_dark_stays_dark():
    """With 1 W, a wall scatters 0.8 / pi / 2 = 0.13 W/m2 to 1 m from the spot, and nothing else."""
    scene = dataclasses.replace(
        WIDE,
        lasers=(dataclasses.replace(WIDE.lasers[0], power=1.0),),
        persons=(Person("Row", ((1.0, 1.0),)),),
        barriers=(Barrier("screen", ((-3.0, 2.0), (3.0, 2.0))),),
    )  # fmt: skip
    assert traced(scene) < 0.1
    assert running(program(scene)) <= 0.5


def test_scatter_that_reaches_somebody_over_a_mirror_refuses_the_verdict():
    """From the spot to the sheet they are 2.42 m, on to the eyes 1.50 m: 0.72 * 5 kW * 0.95 / (pi 3.92^2) = 71 W/m2."""
    scene = Scene(
        (Laser(5000.0, 5e-3, 1e-3, (0.0, 0.0, 1.2), 0.0),),
        (Person("Row", ((1.5, 0.0),), "seated"),),
        (Surface("sheet", (0.75, -1.3, 1.2), 5.96, 0.0, 0.5, 0.9),),
        (Barrier("wall", ((-0.5, 1.0), (0.5, 1.0))), Barrier("screen", ((0.75, -1.0), (0.75, 0.9)))),
    )  # fmt: skip
    assert traced(scene) == pytest.approx(71.0 / 50.0, rel=0.05)
    (words,) = [one for one in program(scene).findings if "over sheet" in one.text]
    assert words.refuses
    assert words.subject == "Row"
    assert "up to 1.9 times" in words.text
    covered = dataclasses.replace(scene, surfaces=(dataclasses.replace(scene.surfaces[0], mirror=False),))
    assert not [one for one in program(covered).findings if "over sheet" in one.text]


def lens_lost(setups: str, line: str = "", away: float = 30.0, beside: float = 0.0) -> float:
    """Highest ratio of an eye behind a lens that is lost, 1 W of 1064 nm, so far beside the axis, by the program."""
    scene = Scene((Laser(1.0, 5e-3, 5e-3, (0.0, 0.0, 1.6), 0.0),), (Person("Row", ((beside, away),)),))
    head, tail = case_text(scene).replace("1070 nm", "1064 nm").split("[[laser.setup]]\n")
    lens = 'name = "lens"\nkind = "lens"\nfitted = true\nfocal_length = "100 mm"\ncriterion = "1/e"\n'
    text = f"{head}[[laser.setup]]\n{lens}{setups}{line}{tail[tail.index('[[person]]') :]}"
    cells = assess(parse_case(text), wanted="short").scene.matrix
    return max(c.ratio for c in cells if c.mode == "running" and c.way == "optic lost")


@pytest.mark.parametrize("away", [1.0, 30.0, 3000.0])
@pytest.mark.parametrize("widths", [(3e-3, 10e-3), (10e-3, 3e-3)])
def test_a_lens_lost_from_an_oblong_beam_leaves_both_of_its_widths(away, widths):
    # each axis spreads by diffraction: phi = 2 * 1064 nm / (pi d). The first axis stood for both: 3 mm instead of
    # 3 x 10 mm gave a third at 3 km, 10 mm instead of 10 x 3 mm half at 1 m.
    x, y = (math.hypot(d, 2.0 * 1064e-9 / (math.pi * d) * away) for d in widths)
    edge = np.linspace(-3.5e-3, 3.5e-3, 701)
    side, up = np.meshgrid(edge, edge)
    spread = 4.0 / (math.pi * x * y) * np.exp(-((2.0 * side / x) ** 2) - (2.0 * up / y) ** 2)
    there = float(spread[np.hypot(side, up) <= 3.5e-3].mean()) / 50.0
    typed = ", ".join(f'"{d * 1e3:g} mm"' for d in widths)
    assert 0.999 * there <= lens_lost(f"beam_diameter = [{typed}]\n", away=away) <= 1.2 * there


def test_a_lens_lost_leaves_each_wavelength_the_least_that_it_can_spread_by():
    # 0.5 W of 532 nm spread half as much as 1064 nm out of 5 mm: 2 * 532 nm / (pi 5 mm) = 67.7 urad, 67.9 mm at 1 km,
    # 1064 nm 135.6 mm. The limit of 532 nm is 10 W/m2: 15.1 times. With the angle of 1064 nm it was 4.84 times.
    line = '[[laser.line]]\nname = "green"\nwavelength = "532 nm"\npower = "0.5 W"\n'
    wide = [math.hypot(5e-3, 2.0 * wave / (math.pi * 5e-3) * 1000.0) for wave in (1064e-9, 532e-9)]
    both = on_axis(1.0, wide[0]) / 50.0 + on_axis(0.5, wide[1]) / 10.0
    assert both == pytest.approx(15.1, abs=0.1)
    assert both <= lens_lost('beam_diameter = "5 mm"\n', line, 1000.0) <= 2.0 * both


def test_a_lens_lost_leaves_a_further_wavelength_the_angle_that_it_has_without_a_lens():
    # With the set-up without a lens 0.5 W of 532 nm leave 5 mm wide with 0.5 mrad: at 100 m 50.2 mm, 25.0 times the
    # limit. They counted with the 5 mrad of the main beam: 0.36 times, below the limit.
    free = '[[laser.setup]]\nname = "free"\nkind = "collimated"\nbeam_diameter = "5 mm"\ndivergence = "5 mrad"\n'
    line = '[[laser.line]]\nname = "green"\nwavelength = "532 nm"\npower = "0.5 W"\n'
    line += 'divergence = "0.5 mrad"\ndivergence_criterion = "1/e"\n'
    there = on_axis(0.5, math.hypot(5e-3, 0.05)) / 10.0
    found = lens_lost(f'beam_diameter = "5 mm"\n{free}criterion = "1/e"\n', line, 100.0)
    assert 25.0 == pytest.approx(there, abs=0.3)
    assert there <= found <= 2.0 * there


def test_a_lens_lost_far_away_counts_the_widest_beam_that_a_tolerance_allows():
    # 5 mm +- 2 mm: at 3 km 7 mm spread least, 2 * 1064 nm / (pi 7 mm) = 96.8 urad; 3 mm, the worst near by, counted
    wide = math.hypot(7e-3, 2.0 * 1064e-9 / (math.pi * 7e-3) * 3000.0)
    there = on_axis(1.0, wide) / 50.0
    assert there == pytest.approx(0.302, abs=0.001)
    assert there <= lens_lost('beam_diameter = "5 mm +- 2 mm"\n', away=3000.0) <= 1.1 * there


@pytest.mark.parametrize("more", ['divergence = "4.5 mrad +- 1.5 mrad"\n', 'divergence = "3 mrad"\n'])
def test_beside_the_axis_a_lens_lost_counts_every_beam_that_may_be_left(more):
    """At 10 m and 50 mm beside the axis 6 mrad give more than 3 mrad, be they a tolerance or a second set-up.

    By hand d = hypot(5, 60) = 60.2 mm: 4 W / (pi d^2) * exp(-(2 * 50 / 60.2)^2) = 22.3 W/m2, 0.45 times; 3 mrad,
    0.028 times at the inner edge of a pupil, stood for all.
    """
    free = '[[laser.setup]]\nname = "{name}"\nkind = "collimated"\nbeam_diameter = "5 mm"\ncriterion = "1/e"\n'
    other = free.format(name="other") + 'divergence = "6 mrad"\n' if "+-" not in more else ""
    there = 4.0 / (math.pi * 0.0602**2) * math.exp(-((0.1 / 0.0602) ** 2)) / 50.0
    assert there == pytest.approx(0.445, abs=0.003)
    setups = f'beam_diameter = "5 mm"\n{free.format(name="free")}{more}{other}'
    assert there <= lens_lost(setups, away=10.0, beside=0.05) <= 10.0 * there


@pytest.mark.parametrize(
    "size", [*(f'full_width = "10 mm"\nwidth_at = "{place} mm"' for place in (50, 160)), 'full_angle = "2 deg"']
)
def test_beams_of_the_largest_field_may_leave_side_by_side(size):
    """A telecentric lens of 160 mm sends the beams of a field of 40 degrees side by side, up to 58 mm off the axis.

    Level and 50 mm up, 1.25 m above the floor, one passes over a wall of 1.22 m and meets eyes at 1.25 m, 8 m away. No
    beam from within 5 mm of the axis comes so low there: over the edge 1 m away it is at (1.22 - 1.205) * 8 + 1.205 =
    1.325 m, beams on the eyes at up to 1.30 m were called none.
    """
    scene = Scene(
        (Laser(1.0, 2e-3, 1e-3, (0.0, 0.0, 1.2), 0.0),), (Person("Row", ((0.0, 8.0),)),),
        barriers=(Barrier("wall", ((-3.0, 1.0), (3.0, 1.0)), top=1.22),),
    )  # fmt: skip
    head, tail = case_text(scene).split("[[laser.setup]]\n")
    lens = (
        'kind = "lens"\nfocal_length = "160 mm"\nfocus_diameter = "2 mm"\nbeam_diameter = "2 mm"\ncriterion = "1/e"\n'
    )
    scan = f'[laser.setup.scan]\npattern = "circle"\nfrequency = "50 Hz"\n{size}\nlargest_angle = "40 deg"\n'
    text = f'{head}[[laser.setup]]\nname = "lens"\n{lens}{scan}{tail[tail.index("[[person]]") :]}'
    found = assess(
        parse_case(text.replace('stature = "standing adult"', 'eye_height = "1.15 m"')), wanted="short"
    ).scene
    width = math.hypot(2e-3, 2e-3 / 0.16 * (8.0 - 0.16))
    direct = max(c.ratio for c in found.matrix if (c.mode, c.way) == ("running", "direct"))
    assert direct >= on_axis(1.0, width) / 50.0 > 0.0
