"""What is struck out of a case is named wherever its verdict stands, and never counts as below the limit."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from lasersafe.assessment import assess
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.results import Assessment
from lasersafe.sheet import render_sheet
from tests.behaviour import signing_help
from tests.behaviour.command import run
from tests.project import ROOT

PLAIN = """title = "Beam tube"
place = "Brackenmoor College of Engineering"
dates = "13 November 2027"
review_by = 2090-12-01
[in_charge]
assessor = "a"
laser_safety_officer = "b"
operator = "c"
venue = "d"
[[laser]]
name = "Welder"
class_label = "4"
serial = "none"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "500 W"
[[laser.setup]]
name = "bare"
kind = "collimated"
beam_diameter = "8 mm"
divergence = "5 mrad"
criterion = "1/e"
[[person]]
name = "Row"
role = "spectator"
distance = "8 m"
"""


def strike(way: str, reason: str, person: str = "Row") -> str:
    return f'[[strike_out]]\nway = "{way}"\nperson = "{person}"\nreason = "{reason}"\n'


_KEPT = ("direct", "mirror", "scatter", "fibre broken")
EVERY_WAY = "".join(strike(way, f"a closed tube keeps the {way} light in") for way in _KEPT)


def starter(name: str, more: str = "") -> str:
    return (ROOT / "templates" / "cases" / f"{name}.toml").read_text(encoding="utf-8") + more


def assessed(text: str, language: str | None = None) -> Assessment:
    return assess(parse_case(text), language)


def first_page(found: Assessment) -> str:
    page = PdfReader(io.BytesIO(render_sheet(found))).pages[0].extract_text()
    return " ".join(page.split())


def test_a_verdict_with_every_way_struck_out_does_not_say_that_every_person_is_below() -> None:
    # By hand: at 8 m the beam is sqrt(8^2 + 40^2) = 40.79 mm wide; through 7 mm come 500 W (1 - exp(-(7/40.79)^2)) =
    # 14.51 W, over 38.48 mm2 that is 3.77e5 W/m2. The lower limit for 10 s, of EU-2006/25/EC, is 50 W/m2: 7540 times.
    width = math.hypot(8.0, 5.0 * 8.0)
    exposure = 500.0 * -math.expm1(-((7.0 / width) ** 2)) / (math.pi * 3.5e-3**2)
    ratio = exposure / 50.0
    assert ratio == pytest.approx(7540.0, rel=1e-3)
    found = assessed(PLAIN + EVERY_WAY).decision
    assert found.passed
    assert found.strike_outs.count == 4
    assert found.strike_outs.ways == 4
    assert found.strike_outs.worst is not None
    assert found.strike_outs.worst.ratio >= ratio * (1 - 1e-9)  # scatter from 0.1 m away may be worse still
    assert "Every person" not in found.verdict
    assert "in what is assessed; 4 ways struck out, the worst at " in found.verdict
    assert "(Row: " in found.verdict
    german = assessed(PLAIN + EVERY_WAY, "de").decision.verdict
    assert "jede Person" not in german
    assert "4 Wege herausgenommen" in german


def test_one_way_struck_out_is_named_with_its_ratio_and_person_on_every_road(tmp_path: Path) -> None:
    text = PLAIN + strike("direct", "a steel tube closes the beam in")
    found = assessed(text)
    worst = found.decision.strike_outs.worst
    assert worst is not None
    assert worst.ratio == pytest.approx(7540.0, rel=1e-3)
    words = "1 way struck out, at 7550 times the limit without eyewear (Row: direct beam, Welder)"
    assert words in found.decision.verdict
    page = first_page(found)
    assert words in page
    assert "a steel tube closes the beam in" in page
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    assert words in run("assess", path, "--all").out
    data = run("assess", path, "--json").data["decision"]
    assert data["strike_outs"]["count"] == data["strike_outs"]["ways"] == 1
    assert data["strike_outs"]["worst"]["person"] == "Row"
    assert data["strike_outs"]["worst"]["ratio"] == pytest.approx(worst.ratio)
    run("sheet", path, "-o", tmp_path / "sheet.pdf")
    assert words in run("verify", tmp_path / "sheet.pdf").out
    assert run("verify", tmp_path / "sheet.pdf", "--json").data["strike_outs"]["ways"] == 1


def test_a_signed_starter_names_what_is_struck_out_when_it_is_verified(tmp_path: Path) -> None:
    case = signing_help.write_case(tmp_path, template="co2-cutter")
    signing_help.sign_all(case)
    signing_help.print_sheet(case, tmp_path / "sheet.pdf")
    answer = run("verify", tmp_path / "sheet.pdf")
    assert answer.code == 0
    verdict = assessed(signing_help.case_text("co2-cutter")).decision.verdict
    words = r"; \d+ ways struck out, the worst at [0-9.]+ times the limit without eyewear \(Operator at the stop button"
    assert re.search(words, verdict)
    assert f"verdict: {verdict}\n" in answer.out


def test_a_person_said_to_be_out_of_the_beam_counts_as_struck_out() -> None:
    found = assessed(PLAIN.replace('distance = "8 m"', 'distance = "8 m"\nin_beam_possible = false')).decision
    assert found.strike_outs.count == 1
    assert "1 way struck out, at 7550 times the limit without eyewear (Row: direct beam, Welder)" in found.verdict


def test_a_refusal_by_the_scene_names_what_is_struck_out_as_well() -> None:
    text = starter("co2-cutter").replace("\nreview_by", '\nspectator_rules = ["germany_shows"]\nreview_by', 1)
    found = assessed(text).decision
    assert not found.passed
    assert "Germany: shows" in found.verdict
    assert f"; {found.strike_outs.ways} ways struck out, the worst at " in found.verdict


def test_without_strike_outs_every_person_is_below() -> None:
    text = PLAIN.replace('"500 W"', '"0.5 mW"')
    found = assessed(text).decision
    assert found.passed
    assert found.verdict.startswith("Every person is below the limit")
    named = assessed(text + strike("direct", "a steel tube closes the beam in")).decision.verdict
    assert named.startswith("Below the limit in what is assessed; 1 way")


def test_looking_without_an_instrument_is_no_strike_out() -> None:
    text = starter("visible-diode")
    start, end = text.index("[[strike_out]]"), text.index("[other_hazards]")
    found = assessed(text[:start] + text[end:])
    assert any(s.struck_out for s in found.scenarios)  # nobody uses binoculars
    assert found.decision.strike_outs.count == 0
    assert "struck out" not in found.decision.verdict


def faults(text: str) -> list[str]:
    with pytest.raises(CaseError) as caught:
        parse_case(text)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("reason", ["x", "not today", "no   way   ", "eleven char", "- - - - - - - - -"])
def test_a_reason_that_says_nothing_is_refused(reason: str) -> None:
    text = PLAIN + strike("direct", reason)
    (fault,) = faults(text)
    line = len(text.splitlines())
    assert fault.startswith(f"line {line}: strike_out[1].reason: '{reason.strip()}': at least 12 characters; say what ")


def test_twelve_characters_are_a_reason() -> None:
    parse_case(PLAIN + strike("direct", "a brick wall"))


def test_one_text_for_more_than_five_strike_outs_is_refused() -> None:
    persons = [f"Row {number}" for number in range(6)]
    text = PLAIN + "".join(f'[[person]]\nname = "{one}"\nrole = "crew"\ndistance = "9 m"\n' for one in persons)
    five = text + "".join(strike("direct", "The hall is locked.", one) for one in persons[:5])
    parse_case(five)
    (fault,) = faults(five + strike("mirror", "the hall  is locked.", persons[5]))
    assert ": strike_out[6].reason: the same text as strike_out[1], strike_out[2]" in fault
    assert "at most 5 strike-outs: say for each what keeps the light away" in fault


def test_json_of_a_case_without_strike_outs_says_so(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(PLAIN, encoding="utf-8")
    data: dict[str, Any] = run("assess", path, "--json").data["decision"]["strike_outs"]
    assert data == {"count": 0, "ways": 0, "not_assessed": [], "worst": None}


def test_a_person_who_is_tied_to_one_laser_is_named_as_not_assessed_for_the_other() -> None:
    laser = PLAIN[PLAIN.index("[[laser]]") : PLAIN.index("[[person]]")]
    tied = '[[person]]\nname = "Guest"\nrole = "crew"\ndistance = "9 m"\nlaser = "Welder"\n'
    dim = PLAIN.replace('"500 W"', '"0.1 mW"')
    text = dim + laser.replace('"Welder"', '"Cleaner"') + tied
    found = assessed(text.replace('"500 W"', '"0.1 mW"')).decision
    assert found.passed
    assert found.strike_outs.not_assessed == (("Guest", "Cleaner"),)
    assert found.verdict.endswith("in what is assessed; not assessed: Guest for Cleaner")
    german = assessed(text.replace('"500 W"', '"0.1 mW"'), "de").decision.verdict
    assert german.endswith("; nicht beurteilt: Guest für Cleaner")
