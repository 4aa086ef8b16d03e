"""Verdicts and advice that a tolerance once made laxer than a value inside it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from lasersafe.assessment import assess
from lasersafe.hazard.eyewear import covering, verdict_on
from lasersafe.hazard.marking import parse_marking
from lasersafe.models import parse_case
from lasersafe.records import ScaleNeed, worst
from lasersafe.records.scene import BeyondTarget
from lasersafe.wording import load_wording
from tests.case_head import HEAD
from tests.regression.test_verdicts import laser, person

GAP = "1050-1065 D LB9; 1075-1090 D LB9"
WEAK = "1050-1090 D LB9; 1068-1072 D LB1"
WHOLE = "1050-1070 D LB9; >1070-1090 D LB9"


def worn(wavelength: str, eyewear: str):
    extra = "briefed = true" + (f'\neyewear = "{eyewear}"' if eyewear else "")
    text = HEAD + laser(wavelength=wavelength) + person("Operator", "8 m", "operator", extra)
    return assess(parse_case(text))


@pytest.mark.parametrize("eyewear", [GAP, WEAK])
def test_eyewear_with_a_gap_inside_the_tolerance_of_the_wavelength_answers_nothing(eyewear):
    for wavelength in ("1070 nm", "1070 nm +- 10 nm"):
        found = worn(wavelength, eyewear)
        assert not any(need.verdict.enough for need in found.eyewear)
        assert not any(scenario.answer for scenario in found.scenarios)


def test_eyewear_whose_statements_meet_inside_the_tolerance_is_enough():
    assert all(need.verdict.enough for need in worn("1070 nm +- 10 nm", WHOLE).eyewear)


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_marking_to_ask_for_covers_every_wavelength_of_a_tolerance(language):
    found = worn("1070.0004 nm +- 10 nm", "")
    (need,) = found.eyewear
    statement = parse_marking(need.marking).statements[0]
    assert statement.covers(1060.0004)
    assert statement.covers(1080.0004)
    assert need.marking in found.decision.wear
    case = parse_case(HEAD + laser(wavelength="1070 nm +- 10 nm") + person("Operator", "8 m", "operator"))
    assert "1060-1080 D LB" in assess(case, language).decision.wear


def test_needs_of_several_corners_are_put_together_letter_by_letter():
    (need,) = worn("1070 nm", "").eyewear
    some, more = (
        tuple(ScaleNeed(mode, number, 1.0, "W/m2") for mode, number in numbers)
        for numbers in ((("D", 6), ("R", 3)), (("D", 4), ("R", 5)))
    )
    one = replace(need, scales=some, optical_density_exact=2.0)
    other = replace(need, scales=more, optical_density_exact=2.5, reliable=False, no_reliance="a reason")
    for group in ([one, other], [other, one]):
        found = covering(group)
        assert found.marking == "1070 D LB6 + R LB5"
        assert not found.reliable
        assert found.no_reliance == "a reason"
        assert found.optical_density_exact == 2.5
    assert math.isinf(covering([one, replace(one, optical_density_exact=math.inf)]).optical_density_exact)


def test_what_decides_and_what_is_worn_is_said_of_all_that_a_pair_has_to_stop():
    """Of the demo: "R LB6 is enough: R LB5 is needed" stood beside R LB6, which a lost lens asks for."""
    (need,) = worn("1064 nm", "").eyewear
    straight, lost = (tuple(ScaleNeed(*one, 1.0, "W/m2") for one in (("R", n), ("D", 7))) for n in (5, 6))
    group = [
        replace(need, wavelength=1064e-9, scales=scales, optical_density_exact=4.29) for scales in (straight, lost)
    ]
    for typed, enough, said in (
        ("1064 D LB7 + IR LB6", True, "R LB6 is enough: R LB6 is needed."),
        ("1064 D LB7 + IR LB5", False, "R LB5 is too low: R LB6 is needed."),
    ):
        judged = [replace(one, verdict=verdict_on(typed, one, 40e3)) for one in group]
        for pair in (judged, judged[::-1]):
            found = covering(pair)
            assert "R: the damage class decides, LB6" in load_wording().say(found.decides)
            assert found.verdict.enough == enough
            reasons = [load_wording().say(reason) for reason in found.verdict.reasons]
            assert [reason for reason in reasons if reason.startswith("R ")] == [said]
    typed, mean = "1064 D LB7 + IR LB6", replace(group[0], scales=straight[1:])
    pair = [replace(one, verdict=verdict_on(typed, one, 40e3)) for one in (mean, group[1])]
    assert [one.verdict.number for one in pair] == [7, 6]
    assert [covering(found).verdict.number for found in (pair, pair[::-1])] == [6, 6], "a dose gets what R lets through"


@pytest.mark.parametrize(("burns", "together"), [
    ((False, None), None), ((None, True), True), ((False, False), False), ((False, True), True),
])  # fmt: skip
def test_what_cannot_be_judged_at_one_corner_is_not_below_the_ignition_threshold(burns, together):
    base = BeyondTarget("W", "bare", "T", (), "", 1.0, "", None, None, None)
    assert worst(tuple(replace(base, can_ignite=one) for one in burns)).can_ignite is together


def test_eyewear_that_fails_at_one_corner_does_not_hide_that_none_can_be_relied_on_at_another():
    (failing,) = worn("1070 nm", GAP).eyewear
    assert failing.reliable
    assert not failing.verdict.enough
    passing = replace(
        failing, verdict=replace(failing.verdict, enough=True), reliable=False, no_reliance="none can be relied on"
    )
    for group in ([failing, passing], [passing, failing]):
        found = covering(group)
        assert not found.verdict.enough
        assert not found.reliable
        assert found.no_reliance == "none can be relied on"


BEAM = """\
[settings]
surfaces_complete = true
scatter_model = "{model}"
[[laser]]
name = "L"
class_label = "4"
wavelength = "640 nm"
[laser.emission]
{emission}
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = {width}
divergence = ["3 mrad", "3 mrad"]
criterion = "1/e"
work_distance = "1 m"
{spot}
[[surface]]
name = "Board"
material = "board"
finish = "matt"
reflectance = 1.0
distance = "1 m"
view_angle = "{view}"
[[person]]
name = "P"
role = "crew"
distance = "10 mm"
distance_from_work = "2 m"
time = "10 s"
time_reason = "for the test"
eyewear = "640 D LB9"
"""
STEADY = 'kind = "continuous"\npower = "400 W"'


def beam(width='"6 mm"', emission=STEADY, spot="", view="0 deg", model="lambert"):
    text = HEAD + BEAM.format(width=width, emission=emission, spot=spot, view=view, model=model)
    return assess(parse_case(text), wanted="short")


def test_a_longer_axis_that_may_be_wider_asks_for_the_higher_scale_number():
    # EN 207: E F = 4 * 400 W / (pi dx dy) * (dy/mm)^1.7: 2 x 7 mm 9.9e8 W/m2, LB8; 2 x 10 mm 1.28e9 and 2 x 13 mm
    # 1.53e9, LB9. With 10 mm +- 3 mm the narrowest, 7 mm, stood for all.
    each = [4.0 * 400.0 / (math.pi * 2e-3 * wide * 1e-3) * wide**1.7 for wide in (7.0, 10.0, 13.0)]
    assert [one <= 1e9 for one in each] == [True, False, False]
    for width, number in (("7 mm", 8), ("10 mm", 9), ("13 mm", 9), ("10 mm +- 3 mm", 9)):
        (need,) = beam(f'["2 mm", "{width}"]').eyewear
        assert [one.scale_number for one in need.scales] == [number], width


def test_a_lost_lens_of_two_crossed_oblong_beams_asks_for_the_scale_number_of_either():
    # 2 m from the last optic 2 x 13 mm are 2.09 x 13.01 mm: E F = 4 * 400 W / (pi dx dy) * (13.01)^1.7 = 1.47e9 W/m2,
    # LB9. The narrowest of both axes, 2.09 x 2.09 mm, asks for 4.1e8 W/m2 and LB8, and stood for both.
    narrow, long = (math.hypot(d, 0.3 * 2.0) for d in (2.0, 13.0))
    crossed, round_one = (4.0 * 400.0 / (math.pi * narrow * d * 1e-6) * d**1.7 for d in (long, narrow))
    assert crossed > 1e9 > round_one > 1e8
    free = 'divergence = ["0.3 mrad", "0.3 mrad"]\ncriterion = "1/e"\nwork_distance = "1 m"\n[[laser.setup]]\n'
    free = "".join(f'name = "{key}"\nkind = "collimated"\nbeam_diameter = {{{key}}}\n{free}' for key in "AB")
    own = 'name = "S"\nkind = "lens"\nfitted = true\nfocal_length = "100 mm"\nwork_distance = "100 mm"\n'
    own += 'beam_diameter = "2 mm"\ncriterion = "1/e"\n'
    head, tail = (HEAD + BEAM).split('name = "S"\n')
    text = head + free + own + tail[tail.index("{spot}") :].replace('"10 mm"', '"2 m"')
    said = {"emission": STEADY, "spot": "", "view": "0 deg", "model": "lambert"}
    for wide, number in (("13 mm", 9), ("2 mm", 8)):
        crossed = {"A": f'["2 mm", "{wide}"]', "B": f'["{wide}", "2 mm"]'}
        (need,) = assess(parse_case(text.format(**said, **crossed)), wanted="short").eyewear
        assert [one.scale_number for one in need.scales] == [number], wide


def test_scatter_alike_to_all_sides_counts_from_the_side_where_its_spot_looks_small():
    of = {
        view: next(s for s in beam(spot='spot_diameter = "60 mm"', view=view, model="hemisphere").scenarios
                   if (s.way, s.tissue) == ("scatter", "eye")).ratio
        for view in ("5 deg", "85 deg", "45 deg +- 40 deg")
    }  # fmt: skip
    assert of["85 deg"] > 1.5 * of["5 deg"]
    assert of["45 deg +- 40 deg"] == pytest.approx(of["85 deg"], rel=1e-9)


def test_a_spot_that_may_be_wider_is_judged_as_wider_too():
    # Pulses of 6 us, 5 per second for 10 s, 2 m from the spot: up to 5 mrad C_P is 1, beyond it 0.4 of ICNIRP-2013, so
    # that 10.01 mm (just beyond 5 mrad) are worse than 9 mm and 11 mm by themselves, 0.28 and 0.48, which said so.
    train = 'kind = "pulse train"\npulse_duration = "6 us"\nrepetition_rate = "5 Hz"\npulse_energy = "20 mJ"'
    of = {
        spot: next(s for s in beam(emission=train, spot=f'spot_diameter = "{spot}"').scenarios
                   if (s.way, s.tissue) == ("scatter", "eye")).ratio
        for spot in ("10.01 mm", "11 mm", "10 mm +- 1 mm")
    }  # fmt: skip
    assert of["10.01 mm"] > 1.2 * of["11 mm"]
    assert of["10.01 mm"] <= of["10 mm +- 1 mm"] <= 1.002 * of["10.01 mm"]
