"""The short answer of `assess`: 25 lines of 80 columns that say what the whole answer says, and its exit codes."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lasersafe.ask.brief import LABEL, brief
from lasersafe.ask.new import template_names, template_text
from lasersafe.assessment import assess
from lasersafe.assessment.decision import metres
from lasersafe.models import parse_case
from lasersafe.quantity import format_quantity
from lasersafe.wording import load_wording
from tests.behaviour.command import run

pytestmark = pytest.mark.usefixtures("assessed_once")
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
    assert f"{len(unanswered)} x above the limit without an answer" in text
    assert f"{format_quantity(max(s.ratio for s in unanswered), '1', 3, 'up')} x limit: Welder at the bench" in text
    assert "no eyewear can be relied on" in text
    assert "not enough as worn: Welder at the bench" in text


def test_long_names_cost_no_line() -> None:
    """Names may have 200 letters: they are shortened, no subject is."""
    text = template_text("handheld-welder").decode()
    for name in (*GROUPS.values(), "Assistant at the stop button", "Steel booth, back wall", "Long-focus lens, 400 mm"):
        text = text.replace(f'"{name}"', f'"{(name + " ").ljust(200, "w")}"')
    lines = brief(assess(parse_case(text)))
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
    assert answer.out.splitlines()[1].startswith(
        "verdict    Below the limit, or behind what holds, in what is assessed"
    )
    assert len(run("assess", case, "--all").out.splitlines()) > 40
    assert run("assess", tmp_path / "missing.toml").code == 2
