"""Facts that a scene gives to the rules for spectators, and their words in other languages."""

from __future__ import annotations

import math
import re

import pytest

from lasersafe.assessment import assess
from lasersafe.hazard.other_rules import Facts, judge, packs
from lasersafe.models import parse_case
from lasersafe.wording import languages, load_wording
from tests.behaviour.test_scene import HEAD, SCENE, template
from tests.crosscheck.scene_description import Barrier, Laser, Person, Scene, case_text

ENGLISH = re.compile(r"\b(the|of|at|is|not|with|where|people|beams?|stated|light|here)\b")


def outcomes(packs="germany_shows", rating="1 kW/cm2", top="3 m", aim="", more="", area=""):
    text = HEAD.format(rating=rating).replace("[in_charge]", f'spectator_rules = ["{packs}"]\n[in_charge]', 1)
    found = assess(parse_case(text + SCENE.format(top=top, aim=aim) + more + area), wanted="drawn")
    return {rule.rule: rule for rule in found.scene.rules}


def test_a_beam_that_is_moved_over_spectators_is_scanning():
    still = outcomes("portland", rating="1 W/cm2")
    assert still["no audience scanning"].outcome == "met"  # it rests on them: the other row says so
    assert still["scatter only"].outcome == "not met"
    moved = outcomes("portland", rating="1 W/cm2", aim='bearing_range = ["170 deg", "190 deg"]')
    assert moved["no audience scanning"].outcome == "not met"
    shut = outcomes("portland", aim='bearing_range = ["170 deg", "190 deg"]')
    assert shut["no audience scanning"].outcome == "met"


def test_who_watches_decides_which_row_applies():
    watched = outcomes("massachusetts", area='[area]\nwatch_keeper = "Juno Abendroth"\n')
    assert watched["above, unattended"].outcome == "does not apply"
    assert watched["beside, attended"].outcome == "met"
    nobody = outcomes("massachusetts", rating="1 W/cm2")
    assert nobody["beside, attended"].outcome == "cannot be judged from this case"
    assert "watch_keeper" in nobody["beside, attended"].words


@pytest.mark.parametrize(("top", "outcome"), [("3 m", "met"), ("2.4 m", "not met"), ("1.6 m", "not met")])
def test_the_way_below_an_edge_that_can_be_reached_over(top, outcome):
    rows = outcomes(top=top)  # an unlisted mirror sends light anywhere
    assert rows["gap below reach-over points"].outcome == outcome
    if top == "3 m":
        assert "no such place" in rows["gap below reach-over points"].words


STAGE = """
[[scene.floor]]
name = "stage"
kind = "stage"
outline = [["-5 m", "-5 m"], ["5 m", "-5 m"], ["5 m", "5 m"], ["-5 m", "5 m"]]
height = "{height}"
"""


@pytest.mark.parametrize(("height", "outcome"), [("0.9 m", "met"), ("0.7 m", "not met"), ("0 m", "cannot be judged")])
def test_the_stage_under_the_laser_counts_where_no_barrier_stands(height, outcome):
    text = HEAD.format(rating="1 kW/cm2").replace("[in_charge]", 'spectator_rules = ["germany_shows"]\n[in_charge]', 1)
    scene = SCENE.format(top="3 m", aim="").replace('kind = "barrier"', 'kind = "wall"')
    scene = scene.replace('name = "Booth"\nline', 'name = "Booth"\nkind = "wall"\nline')
    assert 'kind = "wall"' in scene
    found = assess(parse_case(text + scene + STAGE.format(height=height)), wanted="drawn")
    row = next(r for r in found.scene.rules if r.rule == "stage or barrier height")
    assert row.outcome.startswith(outcome)
    assert ("[[scene.floor]]" in row.words) == (outcome == "cannot be judged")


def test_what_cannot_be_judged_names_what_is_missing():
    row = outcomes()["object temperature"]
    assert "not stated: the highest temperature of an object that a beam can reach" in row.words
    assert "measured there by IEC 60825-1" in outcomes("arizona")["invisible radiation"].words


@pytest.mark.parametrize(("transmittance", "judged"), [(1.0, False), (1e-9, True)])
def test_no_zone_holds_the_light_of_an_extended_source_so_that_a_gap_is_not_judged_beside_one(transmittance, judged):
    # both gaps were "met" up to the glowing disc; of 4 kW a billionth is 4 uW, below every limit
    glow = f'\n[[extended]]\nname = "Opal"\nlaser = "Welder"\nsize = "10 mm"\ntransmittance = {transmittance}\n'
    for rule in ("gap beside spectators", "gap below reach-over points"):
        row = outcomes(more=glow)[rule]
        assert row.outcome == ("met" if judged else "cannot be judged from this case")
        assert ("without the light of extended sources" in row.words) is not judged
    assert outcomes("portland", rating="1 W/cm2", more=glow)["scatter only"].outcome == "not met"


@pytest.mark.parametrize("language", [one for one in languages() if one != "en"])
def test_rules_and_cameras_are_said_in_every_language(language):
    say = load_wording(language).say
    facts = (Facts(), Facts(3.0, 0.5, math.inf, 1.0, 300.0, 10.0, True, False, "4", "1", "2", "3R", True, False))
    for pack in packs().values():
        for told in facts:
            for verdict in judge(pack, told):
                for text in (verdict.rule, verdict.text, verdict.words, verdict.outcome, pack.name):
                    assert not ENGLISH.search(re.sub(r"\([^)]*\)", "", say(text))), say(text)
    for name in ("demo", "co2-cutter"):
        for line in template(name).scene.camera_lines:
            for text in (line.words, *line.advice):
                assert not ENGLISH.search(re.sub(r"\([^)]*\)", "", say(text))), say(text)


def test_the_short_answer_judges_how_high_light_is_over_spectators_where_no_gap_is_asked_for():
    # a level beam over a seated spectator, who is in its zone: 0 m over him, not 3 m; the wall behind cuts it
    head, wall = Laser(0.05, 4e-3, 1e-3, (0.0, 0.0, 1.97), 0.0), Barrier("W", ((-3.0, 9.0), (3.0, 9.0)))
    text = case_text(Scene((head,), (Person("Anna", ((0.0, 3.0),), "seated"),), barriers=(wall,)))
    for wanted in ("drawn", "short"):
        scene = assess(parse_case(f'spectator_rules = ["sweden"]\n{text}'), wanted=wanted).scene
        assert [rule.outcome for rule in scene.rules] == ["not met"]
        assert any(one.refuses and one.kind == "spectator" for one in scene.findings)
