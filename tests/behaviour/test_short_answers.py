"""The short answer of `assess`: 25 lines of 80 columns that say what the whole answer says, and its exit codes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lasersafe.ask.cases import template_names, template_text
from lasersafe.ask.printed import LABEL, assessment_text, brief
from lasersafe.assessment import assess
from lasersafe.assessment.decision import metres
from lasersafe.batch.record import record_of
from lasersafe.models import parse_case, read_case
from lasersafe.quantity import format_quantity
from lasersafe.wording import load_wording
from tests.behaviour.command import run
from tests.project import ROOT

CASES = ROOT / "tests" / "golden" / "cases"
GROUPS = {"guests": "Spectators, first row", "crew": "Welder at the bench", "cameras": "Camera crew"}


def printed(lines: list[tuple[str, str]]) -> list[str]:
    return [f"{label:<{LABEL}}{line}" if line else label for label, line in lines]


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("name", template_names())
def test_every_starter_is_answered_in_25_lines_of_80_columns(name: str, language: str) -> None:
    found = assess(parse_case(template_text(name).decode()), language)
    lines = brief(found)
    text = printed(lines)
    assert len(text) <= 25
    assert max(map(len, text)) <= 80
    labels = [label for label, line in lines if label and line]
    keys = ("verdict", "wear", "guests", "crew", "cameras", "barriers", "worst", "change", "unsigned")
    keys = tuple(key for key in keys if key != "worst" or found.counted)  # where all is struck out, nothing is worst
    assert labels == [load_wording(language).text(f"brief.{key}") for key in keys]
    assert text[0] == found.title
    assert load_wording(language).caution_short in " ".join(text)


def test_the_short_answer_says_the_numbers_of_the_whole_answer() -> None:
    found = assess(parse_case(template_text("handheld-welder").decode()))
    text = " ".join(" ".join(printed(brief(found))).split())
    far = found.decision.headline_distance
    assert far is not None
    near = max(z.distance for s in found.setups if s.fitted for z in s.zones if z.way == "scatter")
    assert text.count(f"from {metres(far, False)} in beam and mirrors, {metres(near, False)} from the lit spot") == 3
    for name in GROUPS.values():
        assert re.search(f"ABOVE: [^;]*{name}", text)
    fitted = {(s.laser, s.setup) for s in found.setups if s.fitted}
    counted = [s for s in found.scenarios if (s.laser, s.setup) in fitted and not s.struck_out and not s.below]
    unanswered = [s for s in counted if not s.answer]
    assert f"{len(unanswered)} scenarios above the limit without an answer" in text
    assert f"{format_quantity(max(s.ratio for s in unanswered), '1', 3, 'up')} x limit: Welder at the bench" in text
    assert "no eyewear can be relied on" in text
    assert "not enough as worn: Welder at the bench" in text


def test_long_names_cost_no_line() -> None:
    """Names may have 200 letters: they are shortened, no subject is."""
    text = template_text("handheld-welder").decode()
    for name in (*GROUPS.values(), "Assistant at the stop button", "Steel booth, back wall", "Long-focus lens, 400 mm"):
        text = text.replace(f'"{name}"', f'"{(name + " ").ljust(200, "w")}"')
    lines = brief(assess(parse_case(text), wanted="short"))
    assert len(lines) <= 25
    assert max(map(len, printed(lines))) <= 80
    assert [label for label, line in lines if label and line][:4] == ["verdict", "wear", "guests", "crew"]
    assert any("Welder at" in line and "..." in line for _, line in lines)


def test_do_not_run_as_planned_has_exit_code_1_and_a_refusal_2(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_bytes(template_text("handheld-welder"))
    for more in ((), ("--all",), ("--json",)):
        assert run("assess", case, *more).code == 1
    assert run("assess", case).out.splitlines()[1].startswith("verdict    DO NOT RUN AS PLANNED: ")
    case.write_bytes(template_text("visible-diode"))
    answer = run("assess", case)
    assert answer.code == 0
    assert answer.out.splitlines()[1].startswith("verdict    Below the limit in what is assessed")
    assert len(run("assess", case, "--all").out.splitlines()) > 40
    assert run("assess", tmp_path / "missing.toml").code == 2


def test_what_an_assumption_costs_comes_true_when_the_value_is_typed_in() -> None:
    """Of two lasers the promise is the distance of both, and is what the case with the lens typed in prints."""
    people = '[[person]]\nrole = "crew"\ndistance = "1 m"\n'
    welder = '[[laser]]\nlike = "hand-held welder"\nwavelength = "1070 nm"\n'
    welder += 'emission = { kind = "continuous", power = "1.5 kW" }\n'
    diode = '[[laser]]\nlike = "blue diode"\nwavelength = "450 nm"\nemission = { kind = "continuous", power = "5 W" }\n'
    found = assess(parse_case(people + welder + diode), wanted="drawn")
    promised = {(one.what, one.laser): one for one in found.record.assumptions}
    lens = promised["setup", "hand-held welder"]
    assert lens.now == found.decision.headline_distance
    typed = welder + f'setup = [{{ kind = "lens", focal_length = "{lens.usual}" }}]\n'
    assert assess(parse_case(people + typed + diode), wanted="drawn").decision.headline_distance == pytest.approx(
        lens.known, rel=1e-9
    )
    beam = promised["divergence", "hand-held welder"]
    typed = welder + f'setup = [{{ divergence = "{beam.usual}" }}]\n'
    stated = assess(parse_case(people + typed + diode), wanted="drawn").decision.headline_distance
    assert stated is not None
    assert beam.known is not None
    assert stated <= beam.known * (1 + 1e-9)


def test_advice_is_printed_whole_and_a_camera_of_the_plan_is_named() -> None:
    found = assess(read_case(CASES / "scene-window-camera.toml"), wanted="short")
    lines = brief(found)
    text = " ".join(" ".join(printed(lines)).split())
    assert len(lines) <= 25
    assert found.scene is not None
    assert found.scene.cameras
    assert f"nobody named at {found.scene.cameras[0].name}" in text
    assert all(
        not line.endswith("...") for label, line in lines[lines.index(next(x for x in lines if x[0] == "to change")) :]
    )


def test_no_line_of_the_plan_lies_beyond_the_distance_of_the_decision() -> None:
    """Two lasers 2.5 m apart: the lines are measured from one of them, 1142.7 m; the answer said 1129 m."""
    found = assess(read_case(CASES / "scene-two-lasers-outdoor.toml"), wanted="drawn")
    assert found.scene is not None
    assert found.decision.headline_distance is not None
    assert max(line.distance for line in found.scene.lines) <= found.decision.headline_distance


def test_eyewear_that_cannot_be_read_is_no_protection_and_is_said(tmp_path: Path) -> None:
    """Such a case was refused; now the pair answers nothing, and `check`, the reasons and the verdict on it say so."""
    case = tmp_path / "case.toml"
    case.write_text(
        '[[person]]\nrole = "operator"\nname = "Ada"\ndistance = "1 m"\neyewear = "blue glasses from the shop"\n'
        '[[laser]]\nlike = "blue diode"\nwavelength = "450 nm"\nemission = { kind = "continuous", power = "5 W" }\n',
        encoding="utf-8",
    )
    checked = run("check", case)
    assert checked.code == 0
    assert "remark: line 5: person[1].eyewear: 'blue glasses from the shop' counts as no protection: " in checked.out
    found = assess(read_case(case))
    assert any(
        one.startswith("Eyewear of Ada, 'blue glasses from the shop', counts as no") for one in found.decision.reasons
    )
    assert {need.verdict.verdict for need in found.eyewear if need.verdict} == {"no protection"}
    bare = assess(parse_case(re.sub("eyewear = .*\n", "", case.read_text(encoding="utf-8"))))
    assert [s.answer for s in found.scenarios] == [s.answer for s in bare.scenarios]
    assert [s.ratio for s in found.scenarios] == [s.ratio for s in bare.scenarios]


def test_a_distance_is_never_rounded_down_and_what_is_no_number_has_no_end() -> None:
    far = (10.0, 10.0000000005, 2.0000000001)
    assert [metres(one, with_feet=False) for one in far] == ["10.0 m", "10.1 m", "2.01 m"]
    assert [metres(far, with_feet=True) for far in (float("nan"), float("inf"))] == ["∞ m", "∞ m"]


def test_a_scene_names_the_way_of_its_distance_and_the_whole_answer_cuts_no_word_short() -> None:
    """The row had no way where a line of the scene decides; 'fault, scan failur', 'barrier:' with nothing behind."""
    found = assess(read_case(CASES / "scene-scanned-train.toml"))
    text = assessment_text(found)
    assert re.search(r"^barrier: *$", text, re.MULTILINE) is None
    modes = {", ".join(one.modes) for one in found.scenarios if "running" not in one.modes}
    assert modes
    assert [one for one in modes if one not in text] == []
    assert record_of(found)["distance_way"] == "mirror"
