"""What once was read from the corner that reaches farthest alone, and not from every corner of the tolerances."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from lasersafe.assessment import assess
from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.decision import reached
from lasersafe.assessment.scene_zones import joined_zone
from lasersafe.hazard.other_rules import CLASS_ORDER
from lasersafe.models import parse_case
from lasersafe.records import highest, over, worst
from lasersafe.records.scene import BarrierLine, BarrierWay
from tests.behaviour import test_scene, test_sources
from tests.behaviour.sample_scene import disc, zone
from tests.case_head import HEAD
from tests.regression.test_verdicts import laser, person

CAMERA = """
[[scene.camera]]
name = "Hall camera"
position = ["2 m", "3 m"]
height = "1.5 m"
focal_length = "85 mm"
f_number = 4
"""


def with_corners(text: str, wanted="all"):
    """Return the assessment of a case, and of each of its corners by itself, as far as it is wanted."""
    case = parse_case(text)
    corners = corners_of(case).cases
    assert len(corners) > 1
    return assess(case, wanted=wanted), [assess(corner, wanted=wanted) for corner in corners]


def two_lasers(wavelength: str, other: str, **more: str) -> str:
    return HEAD + laser("A", wavelength, **more) + laser("B", other, **more) + person("Visitor", "8 m", "spectator")


@pytest.mark.parametrize("other", ["1550 nm", "1100 nm"])
def test_lasers_that_add_up_at_one_corner_reach_together_as_far_as_there(other):
    found, each = with_corners(two_lasers("1395 nm +- 10 nm", other), "short")
    assert len({one.decision.headline_distance for one in each}) > 1
    alone = max(s.zone("direct", tissue).distance for one in each for s in one.setups for tissue in ("eye", "skin"))
    assert found.decision.headline_distance > alone
    assert all(found.decision.headline_distance >= one.decision.headline_distance for one in each)


def test_chart_and_steps_of_a_set_up_are_those_of_the_corner_where_its_own_beam_reaches_farthest():
    found, each = with_corners(two_lasers("1195 nm +- 10 nm", "1800 nm +- 10 nm"))
    for number, mine in enumerate(found.setups):
        own = [one.setups[number] for one in each]
        farthest = max(own, key=lambda s: max(s.zone("direct", tissue).distance for tissue in ("eye", "skin")))
        assert (mine.chart, mine.steps) == (farthest.chart, farthest.steps)


def test_every_band_between_two_ends_counts_where_fractions_add():
    found, _ = with_corners(two_lasers("305 nm +- 105 nm", "350 nm"))  # 200 to 410 nm
    inside = assess(parse_case(two_lasers("350 nm", "350 nm")))
    rows = [
        next(s.ratio for s in one.scenarios if s.way == "together" and s.tissue == "eye") for one in (found, inside)
    ]
    assert rows[0] >= rows[1] > 0.0


@pytest.mark.parametrize("wavelength", ["400 nm +- 2 nm", "315 nm +- 3 nm"])
def test_ultraviolet_doses_of_a_day_are_the_worst_of_every_corner(wavelength):
    visits = '\n[[person.visits]]\nway = "direct"\ntime = "100 s"\n'
    text = HEAD + laser(wavelength=wavelength, power="20 mW") + person("Maker", "1 m", "operator", visits)
    found, each = with_corners(text)
    days = {(day.tissue, day.band): day for day in found.ultraviolet}
    by_hand: dict[tuple[str, str], float] = {}
    for day in (day for one in each for day in one.ultraviolet):
        key = (day.tissue, day.band)
        by_hand[key] = max(by_hand.get(key, 0.0), day.ratio)
    assert {key: day.ratio for key, day in days.items()} == by_hand
    assert by_hand
    assert all(day.below is (day.ratio <= 1.0) for day in days.values())
    assert all(max(day.ratio_by_rule_set.values()) == day.ratio for day in days.values())
    above = [day for day in found.ultraviolet if not day.below]
    assert sum("ultraviolet doses" in reason for reason in found.decision.reasons) == len(above) > 0
    assert not found.decision.passed


RICH = test_sources.text_of(
    scan=test_sources.SCAN + test_sources.CUT_OFF, end=test_sources.ARRAY,
    line=test_sources.PUMP + '[laser.module]\ncolumns = 2\ncolumn_pitch = "4 mm"\n',
)  # fmt: skip


@pytest.mark.parametrize(
    "wavelength", ["700 nm +- 5 nm", pytest.param("1400 nm +- 5 nm", marks=pytest.mark.soak), "451 nm +- 2 nm"]
)
def test_scans_sums_modules_sources_and_classes_show_the_worst_of_every_corner(wavelength):
    text = RICH.replace('"532 nm"', f'"{wavelength}"').replace('"4"', '"3R"')
    found, each = with_corners(text)

    def worst(name, **numbers):
        rows = [{tuple(getattr(r, k) for k in KEYS[name]): r for r in getattr(one, name)} for one in (found, *each)]
        assert rows[0]
        assert set(rows[0]) == {key for one in rows[1:] for key in one}
        for key, row in rows[0].items():
            for field, value in numbers.items():
                assert value(row) == max(value(one[key]) for one in rows[1:] if key in one), (name, key, field)

    worst("scans", running=lambda r: r.running, stopped=lambda r: r.stopped, reaction=lambda r: r.reaction,
          place=lambda r: r.places[0].ratio)  # fmt: skip
    worst("sums", distance=lambda r: r.distance)
    worst("modules", joined=lambda r: r.joined)
    worst("extended", distance=lambda r: r.distance, ratio=lambda r: r.worst_ratio)
    worst("class_checks", computed=lambda r: CLASS_ORDER.index(r.computed), lower=lambda r: r.label_is_lower)
    words = set().union(*(one.record.conditions for one in each))
    assert set(found.record.conditions) == words
    worst("scenarios", ratio=lambda r: r.ratio, sets=lambda r: max(r.ratio_by_rule_set.values()))


KEYS = {
    "scans": ("laser", "setup", "tissue"),
    "sums": ("laser", "way", "tissue"),
    "modules": ("laser", "person"),
    "extended": ("source", "tissue"),
    "class_checks": ("laser", "setup"),
    "scenarios": ("laser", "setup", "person", "way", "tissue", "modes"),
}


def test_the_setting_that_is_reported_is_the_worst_of_every_corner():
    pulses = 'kind = "pulse train"\npulse_duration = "10 ns"\nrepetition_rate = ["1 kHz", "50 kHz"]\nmean_power = "1 W"'
    text = HEAD + laser(wavelength="{}", emission=pulses) + person("Maker", "8 m", "operator")
    for nm in ("1400 nm +- 5 nm", "1050 nm +- 5 nm"):
        found, each = with_corners(text.replace("{}", nm))
        for row in found.settings:
            deciding = next(rule for rule in row.rules if rule.decides)
            strictest = min(
                rule.limit for one in each for other in one.settings if other.tissue == row.tissue
                for rule in other.rules if rule.decides and rule.rule == deciding.rule and rule.unit == deciding.unit
            )  # fmt: skip
            assert deciding.limit == strictest


@pytest.mark.parametrize(("wavelength", "visible"), [("700 nm +- 5 nm", None), ("690 nm +- 5 nm", True)])
def test_rules_and_cameras_of_a_scene_look_at_every_corner(wavelength, visible):
    text = test_scene.HEAD.format(rating="1 W/cm2").replace(
        "[in_charge]", 'spectator_rules = ["arizona"]\n[in_charge]', 1
    )
    text = re.sub(r'wavelength = ".*?"', f'wavelength = "{wavelength}"', text, count=1)
    text += test_scene.SCENE.format(top="3 m", aim="") + CAMERA
    found, each = with_corners(text, "drawn")
    by_hand = [{line.way: line for line in one.scene.camera_lines} for one in each]
    for line in found.scene.camera_lines:
        same = [one[line.way] for one in by_hand if line.way in one]
        assert line.exposure == max(one.exposure for one in same)
    rules = {rule.rule: rule.outcome for rule in found.scene.rules}
    alone = [{rule.rule: rule.outcome for rule in one.scene.rules} for one in each]
    for name, outcome in rules.items():
        outcomes = {one[name] for one in alone}
        assert outcome in outcomes if visible else outcome == "cannot be judged from this case" or len(outcomes) == 1
    if visible is None:
        assert {"visible", "invisible"} <= set(found.record.conditions)
        assert rules != alone[0]
    aims = {(aim.setup, aim.mode): aim.reach for aim in found.scene.aims}
    for one in each:
        assert all(aims[aim.setup, aim.mode] >= aim.reach for aim in one.scene.aims)


def test_a_reading_stands_against_its_own_wavelength_and_the_most_of_everything_else():
    lens = """
[[laser]]
name = "W"
class_label = "4"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "500 W"
[[laser.setup]]
name = "lens"
kind = "lens"
beam_diameter = "8 mm"
criterion = "1/e"
focal_length = "200 mm +- 100 mm"
"""
    text = HEAD + lens + person("Maker", "0.25 m", "operator")
    found, each = with_corners(text)
    for row in found.record.expected:
        same = [
            r for one in each for r in one.record.expected if (r.what, r.where, r.way) == (row.what, row.where, row.way)
        ]
        assert row.value == max(r.value for r in same)
    fibre = lens.replace('"1070 nm"', '"1070 nm +- 40 nm"').replace(
        'kind = "lens"\nbeam_diameter = "8 mm"\ncriterion = "1/e"\nfocal_length = "200 mm +- 100 mm"',
        'kind = "fibre single mode"\nmode_field_diameter = "6 um"',
    )
    found, each = with_corners(HEAD + fibre + person("Maker", "0.25 m", "operator"))
    for row in found.record.expected:
        same = [
            r for one in each for r in one.record.expected if (r.what, r.where, r.way) == (row.what, row.where, row.way)
        ]
        assert row.value == min(r.value for r in same)
        assert min(r.value for r in same) < max(r.value for r in same) or row.way == "scatter"


# --- not a number is the worst --------------------------------------------------------------------------------------


def test_not_a_number_is_the_worst_of_several_corners():
    assert math.isnan(highest([{"a": 1.0}, {"a": math.nan}, {"a": 3.0}])["a"])
    ring = disc(0.0, 0.0, 1.0)
    zones = [zone("eye direct", ring, distance, (0.0, 0.0, 1.0)) for distance in (2.0, math.nan, 3.0)]
    assert math.isnan(worst(zones, joined_zone).distance)
    ways = [BarrierWay("direct", "L", "S", load, True, "holds", aimed=load) for load in (2.0, math.nan, 3.0)]
    lines = tuple(
        BarrierLine(
            "Wall", "barrier", ((0.0, 0.0), (1.0, 0.0)), 0.0, 2.0, True, (way,), (), (), needed_height=way.aimed
        )
        for way in ways
    )
    found = worst(lines)
    assert math.isnan(found.ways[0].irradiance)
    assert math.isnan(found.ways[0].aimed)
    assert math.isnan(found.needed_height)


def test_the_headline_is_not_a_number_when_a_zone_is_not():
    setups = [
        SimpleNamespace(
            fitted=True,
            zones=[SimpleNamespace(way=way, tissue="eye", distance=distance) for way in ("direct", "scatter")],
        )
        for distance in (5.0, math.nan, 7.0)
    ]
    worked = SimpleNamespace(fitted=setups, case=SimpleNamespace(adds_lasers=True, person=()), each=())
    assert all(math.isnan(one.distance) for one in reached(worked))


def test_one_corner_is_left_as_it_is():
    rows = [replace(zone("eye direct", disc(0.0, 0.0, 1.0), 2.0, (0.0, 0.0, 1.0)))]
    also = lambda found, group: pytest.fail("nothing to compare")  # noqa: E731
    assert over([rows], lambda corner: corner, also) == (rows[0],)
