"""Lines that could be changed and nothing failed, or frozen answers alone: each test fails when its line is changed."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.calculation import limit_steps
from lasersafe.assessment.decision import metres
from lasersafe.assessment.paths import level_members
from lasersafe.hazard.combine import Visit, day_doses, exposure_duration
from lasersafe.hazard.distances import beam_reach, farthest
from lasersafe.hazard.exposure import Comparison, Emission, Received, criteria
from lasersafe.limits import pulse_train_limit, rule_sets
from lasersafe.limits.exposure import correction_factor
from lasersafe.models import parse_case
from lasersafe.optics.beam import collimated, diameters, fibre_multimode, mean_exposure
from tests.behaviour.test_scene import HEAD, SCENE
from tests.behaviour.test_strike_outs import PLAIN, strike
from tests.crosscheck.scene_description import Laser, Person, Scene, case_text


def test_it_makes_no_difference_how_an_ultraviolet_day_is_cut_into_visits():
    # 1000 W/m2 for 8 s at 350 nm: 8000 J/m2 against 5600 * 8^0.25 = 9418 J/m2, the limit of all 8 s together.
    once, twice = (
        day_doses("ICNIRP-2013", "eye", [Visit(350e-9, 1.0, 8.0 / n, "visit")] * n, lambda visit, criterion: 1000.0)
        for n in (1, 2)
    )
    assert once[0].ratio == pytest.approx(8000.0 / (5600.0 * 8.0**0.25), rel=1e-12)
    assert twice[0].ratio == pytest.approx(once[0].ratio, rel=1e-12)
    assert twice[0].criterion.duration == 8.0


def test_a_visit_on_the_edge_of_two_bands_counts_in_both():
    # 20 J/m2 at 300 nm and 4000 J/m2 at 315 nm, against 30 J/m2 and 10^4 J/m2: 1.07 together, 0.67 and 0.4 alone.
    day = [Visit(300e-9, 1.0, 10.0, "visit"), Visit(315e-9, 1.0, 10.0, "visit"), Visit(400e-9, 1.0, 10.0, "visit")]
    seen = {300e-9: 2.0, 315e-9: 400.0, 400e-9: 400.0}
    found = day_doses("ICNIRP-2013", "skin", day, lambda visit, criterion: seen[visit.wavelength])
    assert [one.band for one in found] == ["180-315 nm", "315-400 nm"]
    assert found[0].ratio == pytest.approx(20.0 / 30.0 + 0.4, rel=1e-9)
    assert found[1].ratio == pytest.approx(0.8, rel=1e-9)  # without 300 nm


def test_a_numerical_aperture_at_one_over_e_squared_is_wider_than_at_one_over_e_by_the_root_of_two():
    # exp(-2 r^2 / w^2) is 1/e at r = w / sqrt(2): 2 * 0.2 rad full angle at 1/e2 is 0.2828 rad at 1/e.
    assert float(diameters(fibre_multimode(0.2, "1/e2"), 1.0)[0]) == pytest.approx(0.4 / math.sqrt(2.0), rel=1e-6)
    assert float(diameters(fibre_multimode(0.2, "1/e"), 1.0)[0]) == pytest.approx(0.4, rel=1e-6)


def test_a_beam_off_a_mirror_reaches_as_far_as_a_beam_of_what_the_mirror_sends_on():
    # A quarter of the power is a quarter of the irradiance, so far away half the reach.
    beam = collimated(1e-3, 5e-3, "1/e", "gaussian")
    whole, part = (Comparison("", "", "", np.asarray(w), np.asarray(10.0), np.asarray(1e-3)) for w in (100.0, 25.0))
    for reach in (lambda one, factor: beam_reach(one, beam, factor), lambda one, factor: farthest([one], beam, factor)):
        assert float(reach(whole, 0.25)) == pytest.approx(float(reach(part, 1.0)), rel=1e-12)
        assert float(reach(whole, 0.25)) == pytest.approx(float(reach(whole, 1.0)) / 2.0, rel=1e-2)


@pytest.mark.parametrize("rule_set", rule_sets())
def test_a_factor_on_the_edge_of_two_rows_is_the_lower_one(rule_set: str):
    # C_A at 1050 nm: 10^(0.002 * 350) = 5.012 below, 5 above. C_C at 1200 nm: 10^(0.018 * 50) = 7.943 below, 8 above.
    assert float(correction_factor(rule_set, "C_A", 1050e-9)) == 5.0
    assert float(correction_factor(rule_set, "C_C", 1200e-9)) == pytest.approx(10.0**0.9, rel=1e-12)


def test_a_pedestal_counts_for_the_whole_time_in_which_pulses_count_as_one():
    # 1064 nm, 100 ns at 1 kHz for 0.25 s: 250^-0.25 * 0.05 J/m2 for all that comes in 50 us, and a pedestal that brings
    # 10 000 pulses a second brings half a pulse in that time. The mean, 90 * 0.25^0.75 J/m2 over 2750 pulses, is laxer.
    found = pulse_train_limit("EU-2006/25/EC", "eye", 1064e-9, 100e-9, 1e3, 0.25, pedestal=1e4)
    assert float(found.per_pulse) == pytest.approx(0.05 * 250.0**-0.25 / 1.5, rel=1e-9)
    assert float(found.per_pulse) < 90.0 * 0.25**0.75 / 2750.0


def test_a_screen_of_a_scene_that_holds_each_laser_alone_does_not_hold_both():
    # 3 m before a lens of 400 mm, 8.5 mm wide: 8.5 * 2.6 / 0.4 = 55.25 mm, and 4 * 1.5 kW / (pi * 55.25^2 mm2) = 62.6
    # W/cm2: within 100 W/cm2, twice that is not. Scatter, 71 W/m2 of each, stays within it.
    alone = HEAD.format(rating="100 W/cm2") + SCENE.format(top="3 m", aim="")
    both = alone
    for start, end in (("[[laser]]", "[[person]]"), ("[[scene.aim]]", "[[scene.target]]")):
        second = alone[alone.index(start) : alone.index(end)].replace('"Welder"', '"Cleaner"')
        both = both.replace(end, second + end)
    found = {}
    for text in (alone, both):
        scene = assess(parse_case(text), wanted="drawn").scene
        assert scene is not None
        found[text] = {(one.laser, one.way): one.holds for one in scene.barriers[0].ways}
    ways = ("direct", "mirror", "scatter")
    assert found[alone] == {("Welder", way): True for way in ways}
    assert found[both] == {(name, way): way == "scatter" for name in ("Welder", "Cleaner") for way in ways}


def test_several_limits_of_a_round_beam_reach_as_far_as_the_one_that_reaches_farthest():
    beam = collimated(1e-3, 5e-3, "1/e", "gaussian")
    strict, lax = (Comparison("", "", "", np.asarray(1.0), np.asarray(x), np.asarray(1e-3)) for x in (10.0, 1000.0))
    assert float(farthest([lax, strict], beam)) == float(farthest([strict], beam)) > float(farthest([lax], beam))


def test_an_aperture_as_wide_as_the_beam_at_one_over_e_takes_all_but_one_over_e():
    mean = float(mean_exposure(1.0, 7e-3, 7e-3, 7e-3))
    assert mean == pytest.approx((1.0 - math.exp(-1.0)) / (math.pi / 4.0 * 7e-3**2), rel=1e-9)


def test_the_headline_is_rounded_up():
    assert (metres(10.02, False), metres(2.001, False)) == ("10.1 m", "2.01 m")


def test_a_lit_spot_is_looked_at_for_100_s():
    assert exposure_duration(532e-9, "scatter")[0] == 100.0


def test_eyewear_is_worn_for_10_s_however_short_the_time_in_the_beam_is():
    # 1 W at 8 m: 8 mm and 40 mm make 40.8 mm, 765 W/m2, of which a pupil of 7 mm gets 754 W/m2 in the mean. 532 nm for
    # 10 s: 18 * 10^-0.25 = 10.1 W/m2, density log10(74.5) = 1.88, so 1.9; for 0.25 s 25.5 W/m2 and 1.5.
    text = PLAIN.replace('"1070 nm"', '"532 nm"').replace('"500 W"', '"1 W"')
    found = assess(parse_case(text + 'time = "0.25 s"\ntime_reason = "walks past quickly"\n'))
    direct = next(one for one in found.scenarios if (one.way, one.tissue) == ("direct", "eye"))
    assert direct.ratio == pytest.approx(754.0 / 25.5, rel=0.02)
    assert [need.optical_density for need in found.eyewear] == [1.9]


def test_a_way_struck_out_for_one_person_is_there_for_another():
    guest = '[[person]]\nname = "Guest"\nrole = "spectator"\ndistance = "8 m"\n'
    found = assess(parse_case(PLAIN + guest + strike("direct", "a closed tube keeps the light in")))
    struck = {(one.person, one.way) for one in found.scenarios if one.struck_out}
    assert struck == {("Row", "direct")}
    assert {one.person for one in found.scenarios if one.way == "direct"} == {"Row", "Guest"}


def test_wet_ground_is_a_mirror_that_sends_all_on():
    text = HEAD.format(rating="1 kW/cm2") + SCENE.format(top="3 m", aim="")
    for wet, found in (("false", []), ("true", [("wet ground", 1.0)])):
        scene = parse_case(f'{text}[scene.outdoor]\nbehind = "sky"\nwet = {wet}\n').scene
        assert scene is not None
        assert [(one.name, one.share) for one in level_members(scene)] == found


FAR_INFRARED = """title = "A cutter beside a bracket"
[[laser]]
name = "Cutter"
wavelength = "10.6 um"
[laser.emission]
kind = "continuous"
power = "150 W"
[[laser.setup]]
name = "lens"
kind = "lens"
fitted = true
beam_diameter = "9 mm"
criterion = "1/e2"
focal_length = "63.5 mm"
work_distance = "63.5 mm"
[[person]]
name = "Guest"
role = "spectator"
distance = "6 m"
[[surface]]
name = "bracket"
material = "aluminium"
finish = "unknown"
distance = "300 mm"
[scene]
[[scene.aim]]
laser = "Cutter"
position = ["0 m", "0 m"]
height = "1 m"
bearing = "0 deg"
elevation = "-90 deg"
[[scene.surface]]
name = "bracket"
[[scene.person]]
name = "Guest"
position = ["0 m", "-6 m"]
"""


def test_the_distance_of_the_first_page_is_that_of_the_skin_where_a_curved_mirror_carries_light_farther_for_it():
    """10.6 um, 100 W/m2 for a large area of skin, 995 W/m2 for the eye: page 1 said 1.74 km (eye), not 5.48 km."""
    found = assess(parse_case(FAR_INFRARED))
    assert found.scene is not None
    reach = {
        kind: max(z.distance for z in found.scene.zones if z.kind == kind) for kind in ("eye mirror", "skin mirror")
    }
    assert reach["skin mirror"] > 3.0 * reach["eye mirror"]
    assert found.decision.headline_distance is not None
    assert found.decision.headline_distance >= reach["skin mirror"]
    assert found.decision.aided_distance >= reach["skin mirror"]
    assert found.decision.headline_tissue == "skin"


USUAL = 'name = "{}"\nkind = "collimated"\nbeam_diameter = "{}"\ndivergence = "{}"\ncriterion = "1/e"\n'


def by_a_lens(setups: list[str], away: float) -> str:
    """Return a case of 1 W by a lens with other set-ups, and somebody so far in front of it [m]."""
    text = case_text(Scene((Laser(1.0, 10e-3, 1e-3, (0.0, 0.0, 1.6), 0.0),), (Person("Row", ((0.0, away),)),)))
    lens = 'name = "lens"\nkind = "lens"\nfitted = true\nbeam_diameter = "10 mm"\nfocal_length = "150 mm"\n'
    more = "".join(f"[[laser.setup]]\n{setup}" for setup in setups)
    head, tail = text.split("[[laser.setup]]\n")
    return f'{head}[[laser.setup]]\n{lens}criterion = "1/e"\n{more}{tail[tail.index("[[person]]") :]}'


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize(("wide", "least"), [("10 mm", 10e-3), ("2 mm", 2e-3)])
def test_a_lost_lens_leaves_no_wider_a_beam_than_any_collimated_set_up(order, wide, least):
    """Of two collimated set-ups the first of the file counted: 0.1 times the limit, and 169 times by the other.

    Then that which spreads least, also where the other is narrower, as next to the head.
    """
    setups = [USUAL.format("wide", wide, "50 mrad"), USUAL.format("narrow", "10 mm", "0.5 mrad")]
    cells = assess(parse_case(by_a_lens([setups[number] for number in order], 10.0))).scene.matrix
    found = max(c.ratio for c in cells if c.mode == "running" and c.way == "optic lost")
    width = math.hypot(least, 0.5e-3 * 10.0)
    assert found == pytest.approx((1.0 - math.exp(-((7e-3 / width) ** 2))) / 3.848e-5 / 50.0, rel=0.02)


@pytest.mark.parametrize("placed", [True, False])
def test_a_lost_lens_may_leave_the_profile_of_any_collimated_set_up(placed: bool) -> None:
    # Only that which spreads least counted: even and 10 mm wide, of which 7 mm see 49 %, 255 times the limit. The other
    # is a Gaussian of 2 mm and 100 mm away hypot(2 mm, 50 mrad * 100 mm) = 5.39 mm wide, of which they see 82 %.
    even = USUAL.format("even", "10 mm", "0.5 mrad") + 'profile = "top-hat"\n'
    text = by_a_lens([USUAL.format("narrow", "2 mm", "50 mrad"), even], 0.1)
    found = assess(parse_case(text if placed else text[: text.index("[scene]")]))
    rows = [s for s in found.scenarios if (s.way, s.tissue) == ("optic lost", "eye")]
    seen = -math.expm1(-((7e-3 / math.hypot(2e-3, 5e-3)) ** 2)) / 3.848e-5 / 50.0
    assert max(s.ratio for s in rows) == pytest.approx(seen, rel=2e-3)


def test_a_pulse_of_more_than_ten_seconds_counts_over_its_first_ten_seconds_too():
    # ICNIRP 2013, skin, 1070 nm: 1.1e4 C_A t^0.25 J/m2 up to 10 s, 2000 C_A W/m2 from there on, C_A = 5, so that the
    # part up to 10 s decides: 97805 J/m2 in 10 s are 98294 J/m2 in 10.05 s, where the later row allows 100500 J/m2
    light = Received(
        "ICNIRP-2013", "skin", Emission("single pulse", pulse_energy=1.0, pulse_duration=10.05), 1070e-9, 10.05
    )
    least = min(criteria(light), key=lambda one: one.limit)
    assert least.limit == pytest.approx(1.1e4 * 5.0 * 10.0**0.25 * 10.05 / 10.0, rel=1e-12)
    last = limit_steps(least, light)[-1]
    assert (last.value, last.numbers) == (least.limit, "97805 J/m2 · 10.05 s / 10 s")
