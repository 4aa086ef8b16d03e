"""Cases that say little: what is assumed is called so wherever its result is shown, and nobody can sign them."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from pypdf import PdfReader

from lasersafe.ask.printed import brief
from lasersafe.assessment import assess
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_page
from lasersafe.drawing.primitives import Words
from lasersafe.errors import CaseError, InputError
from lasersafe.models import parse_case
from lasersafe.sheet import render_sheet
from lasersafe.wording import load_wording
from tests.behaviour.command import run
from tests.behaviour.signing_help import sign

SHORT = """person = [
  { role = "crew", distance = "2 m" },
  { role = "crew", distance = "3 m" },
  { role = "spectator", distance = "8 m" },
]
[[laser]]
like = "blue diode"
wavelength = "450 nm"
emission = { kind = "continuous", power = "5 W" }
"""
DIM = SHORT.replace('"5 W"', '"0.1 uW"')


def test_names_are_given_where_none_is_stated() -> None:
    case = parse_case(SHORT)
    assert [person.name for person in case.person] == ["crew", "crew 2", "spectator"]
    assert (case.title, case.laser[0].name, case.laser[0].class_label) == ("blue diode", "blue diode", "4")
    assert case.unstated == ("place", "dates", "review_by", "assessor", "laser_safety_officer", "operator", "venue")
    assert (
        parse_case('title = "Evening"\n' + SHORT.replace('{ role = "spectator"', '{ name = "Row", role = "spectator"'))
        .person[2]
        .name
        == "Row"
    )


def test_a_given_name_takes_no_name_that_was_typed_and_hides_none_that_was_typed_twice() -> None:
    typed = SHORT.replace('{ role = "spectator"', '{ name = "Crew", role = "spectator"')
    assert [person.name for person in parse_case(typed).person] == ["crew 2", "crew 3", "Crew"]
    with pytest.raises(CaseError) as refusal:  # was renamed to 'crew 2', and what named it meant the first alone
        parse_case(SHORT.replace('role = "crew"', 'name = "crew", role = "crew"'))
    assert [fault.message for fault in refusal.value.faults] == [
        "'crew' is also the name of person[1]; give each its own name"
    ]
    with pytest.raises(CaseError) as refusal:
        parse_case(SHORT.replace('like = "blue diode"', 'like = " "'))
    assert [fault.field for fault in refusal.value.faults if "name" in fault.field] == []


def test_what_is_assumed_is_called_so_in_every_output(tmp_path: Path) -> None:
    found = assess(parse_case(SHORT))
    setup = found.setups[0]
    assert setup.beam.endswith("; assumed")
    assert any("0.3 mrad (assumed)" in step.numbers for step in setup.steps)
    assert found.decision.people.endswith("These distances rest on what is assumed of the beam.")
    sentence = next(reason for reason in found.decision.reasons if reason.startswith("Assumed, since"))
    assert "divergence of blue diode: 0.3 mrad; stated, 3.77 km could become 565 m (with 2 mrad)" in sentence
    page = " ".join(PdfReader(io.BytesIO(render_sheet(found))).pages[0].extract_text().split())
    assert "Assumed, since the case does not state it: optics of blue diode" in page
    assert "Not stated, so that nobody can sign: place, dates, day of review, assessor" in page
    case = tmp_path / "case.toml"
    case.write_text(SHORT, encoding="utf-8")
    answer = run("assess", case)
    assert answer.code == 1
    lines = answer.out.splitlines()
    assert len(lines) <= 25
    named = [line[11:] for line in lines[next(n for n, line in enumerate(lines) if line.startswith("assumed")) :][:3]]
    # 5 W through 7 mm at 10 s and 450 nm: 10 W/m2; the three that cost most, the barrier first
    assert named[0].startswith("with a barrier in the beam that holds: 3.77 km could become 1.")
    assert [line.split(":")[0] for line in named[1:]] == [
        "state optics of blue diode",
        "state divergence of blue diode",
    ]
    data = run("assess", case, "--json").data
    assert {one["what"] for one in data["assumptions"]} == {
        "setup", "beam_diameter", "divergence", "surface", "barrier", "eyewear",
    }  # fmt: skip
    assert load_wording("de").say(setup.beam).endswith("; angenommen")


def test_a_stated_value_is_assumed_no_more() -> None:
    text = SHORT + 'setup = [{ beam_diameter = "4 mm", divergence = "2 mrad", criterion = "1/e2" }]\n'
    found = assess(parse_case(text))
    assert {one.what for one in found.record.assumptions} == {"surface", "barrier", "eyewear"}
    assert "assumed" not in found.setups[0].beam
    assert not any(reason.startswith("Assumed") for reason in found.decision.reasons)


def test_a_case_that_passes_without_names_is_refused_by_signoff(tmp_path: Path) -> None:
    found = assess(parse_case(DIM))
    assert found.decision.passed
    assert found.record.draft_reasons[-1].startswith("Not stated, so that nobody can sign: place, ")
    case = tmp_path / "case.toml"
    case.write_text(DIM, encoding="utf-8")
    with pytest.raises(InputError, match=r"the sheet stays a draft whoever signs: Not stated, so that nobody can sign"):
        sign(case, "Ines Falkenrath", "laser_safety_officer")
    sheet = tmp_path / "sheet.pdf"
    answer = run("sheet", case, "-o", sheet)
    assert (answer.code, "draft" in answer.out) == (0, True)
    assert "DRAFT" in PdfReader(sheet).pages[0].extract_text()
    assert run("verify", sheet).code not in (2, 3)


def test_what_if_asks_for_the_optics_and_takes_an_assumed_beam(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text(SHORT, encoding="utf-8")
    words = ("--vary", "setup.divergence=1mrad..2mrad:2")
    assert "the optics of 'blue diode' are not stated" in run("sweep", case, *words).err
    case.write_text(SHORT + 'setup = [{ kind = "collimated" }]\n', encoding="utf-8")
    answer = run("sweep", case, *words, "--json")
    assert answer.code == 0
    # 1 mm and 5 W at 10 W/m2 through 7 mm, all at 1/e2: the far distance halves with the angle
    far, near = (point["direct_eye_m"] for point in answer.data["rows"])
    assert far == pytest.approx(2 * near, rel=1e-3)


SCENE = """[scene]
outline = [["0 m", "0 m"], ["6 m", "0 m"], ["6 m", "5 m"], ["0 m", "5 m"]]
[[scene.aim]]
laser = "blue diode"
position = ["3 m", "2 m"]
height = "1 m"
bearing = "90 deg"
"""


def test_the_short_answer_is_the_same_without_what_only_the_pages_print() -> None:
    whole, quick = (assess(parse_case(SHORT + SCENE), wanted=wanted) for wanted in ("all", "drawn"))
    assert brief(whole) == brief(quick)
    assert (whole.decision, whole.scene.zones, whole.scene.lines) == (
        quick.decision,
        quick.scene.zones,
        quick.scene.lines,
    )
    assert (whole.scene.map is None, quick.scene.map) == (False, None)


def test_the_reach_on_a_side_counts_where_no_zone_is_drawn() -> None:
    drawn, short = (assess(parse_case(SHORT + SCENE), wanted=wanted) for wanted in ("drawn", "short"))
    assert (brief(drawn), short.scene.zones) == (brief(short), ())
    farthest = max(line.distance for line in drawn.scene.lines)  # of the zone, which is padded and rounded up
    assert drawn.decision.headline_distance == short.decision.headline_distance == farthest


def test_the_plan_says_what_of_the_beams_is_assumed() -> None:
    found = assess(parse_case(SHORT + SCENE), wanted="drawn")
    page = plan_page(found, Paper("A4", 297.0, 210.0, 10.0), load_wording("en"))
    words = " ".join(str(mark.text) for mark in page.marks if isinstance(mark, Words))
    assert "Drawn at its strictest, since it is assumed and not stated: " in words
    assert "divergence of blue diode: 0.3 mrad" in words
