"""What is still that of a starter case is named, line by line and on page 1, and nobody can sign it."""

from __future__ import annotations

import io
import json
import tomllib
import unicodedata
from pathlib import Path

import pytest
from pypdf import PdfReader

from lasersafe import models
from lasersafe.ask.cases import template_names, write_demo
from lasersafe.assessment import assess
from lasersafe.data import templates_path
from lasersafe.errors import InputError, OutputError
from lasersafe.models import parse_case, starter_values
from lasersafe.sheet import render_sheet
from lasersafe.signing.record import record_path
from tests.behaviour.command import run
from tests.behaviour.signing_help import case_text, own_values, sign, sign_all, write_case


def starter(name: str = "co2-cutter") -> str:
    return (templates_path("cases") / f"{name}.toml").read_text(encoding="utf-8")


def own_title(name: str = "co2-cutter") -> str:
    """Return a starter case in which nothing is written anew but title, place and the day of the next look."""
    text = starter(name).replace("review_by = 2027-11-13", "review_by = 2090-06-30")
    lines = [f'{key} = "My own"' if line.startswith(f"{key} = ") else line
             for line in text.splitlines() for key in ["title" if line.startswith("title") else "place"]]  # fmt: skip
    return "\n".join(lines) + "\n"


def fields(text: str) -> set[str]:
    return {one.field for one in starter_values(parse_case(text))}


def squeezed(text: str) -> str:
    return "".join(unicodedata.normalize("NFC", text).split())


@pytest.mark.parametrize("name", template_names())
def test_a_starter_case_under_another_title_is_still_one_in_every_record(name: str) -> None:
    data = tomllib.loads(starter(name))
    every = {f"{kind}[{n}]" for kind in ("person", "barrier", "reading", "strike_out")
             for n, _ in enumerate(data.get(kind, []), 1)}  # fmt: skip
    every |= {f"person[{n}].eyewear" for n, person in enumerate(data["person"], 1) if person.get("eyewear")}
    assert fields(own_title(name)) == every


def test_starter_values_are_named_by_check_assess_and_page_1_and_refuse_a_signature(tmp_path: Path) -> None:
    # The starter of the cutter passes and has three persons, two of them with eyewear, two barriers and five
    # strike-outs: 3 + 2 + 2 + 8 = 15 records that somebody has to look at before anybody signs.
    case = tmp_path / "case.toml"
    case.write_text(own_title(), encoding="utf-8")
    checked = run("check", case)
    assert checked.code == 0
    assert checked.out.splitlines()[0].endswith("no faults")
    remarks = [line for line in checked.out.splitlines() if "remark: line" in line]
    assert len(remarks) == 15
    lines = own_title().splitlines()
    eyewear = next(n for n, line in enumerate(lines, 1) if line.startswith("eyewear"))
    assert any(f"line {eyewear}: person[1].eyewear, 'Operator at the stop button'" in line for line in remarks)
    assert len(run("check", case, "--json").data["starter_values"]) == 15
    sentence = next(
        line for line in run("assess", case, "--all").out.splitlines() if "starter case (co2-cutter)" in line
    )
    for word in ("persons", "eyewear", "barriers", "strike-outs", "'Camera crew'", "'Walls of the cutter'"):
        assert word in sentence
    data = json.loads(run("assess", case, "--json").out)
    assert len(data["starter_values"]) == 15
    assert sentence.removeprefix("- ") in data["draft_reasons"]
    found = assess(parse_case(own_title()))
    assert found.decision.passed
    page = PdfReader(io.BytesIO(render_sheet(found))).pages[0].extract_text()
    assert squeezed("Still as in a starter case (co2-cutter), so that nobody can sign") in squeezed(page)
    with pytest.raises(InputError, match=r"the sheet stays a draft whoever signs: Still as in a starter case"):
        sign(case, "Ines Falkenrath", "assessor")
    assert not record_path(case).exists()


def test_a_case_with_values_of_its_own_is_signed_without_a_remark(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    assert run("check", case).out.splitlines() == [f"{case}: no faults"]
    sign_all(case)
    assert record_path(case).exists()


@pytest.mark.parametrize(
    ("old", "new", "left"),
    [
        ('distance = "0.6 m"', 'distance = "0.7 m"', "person[1]"),
        ('eyewear = "10600 D LB4"', 'eyewear = "10600 D LB5"', "person[1].eyewear"),
        ('rating = "30 W/cm2"', 'rating = "31 W/cm2"', "barrier[1]"),
        ("The gantry points down;", "Looked at: the gantry points down;", "strike_out[1]"),
    ],
)
def test_what_is_written_anew_is_no_longer_named_and_the_rest_is(old: str, new: str, left: str) -> None:
    assert old in own_title()
    before, after = fields(own_title()), fields(own_title().replace(old, new, 1))
    assert left in before - after
    assert before - after <= {left, left.removesuffix(".eyewear")}


def test_other_names_and_other_units_do_not_hide_what_was_left_as_it_was() -> None:
    # 0.6 m are 600 mm, and whoever renames the laser, the operator and the wall has not looked at any distance.
    text = own_title().replace('distance = "0.6 m"', 'distance = "600 mm"')
    for name, other in (
        ("Cutter", "My cutter"),
        ("Operator at the stop button", "Ada"),
        ("Walls of the cutter", "Box"),
    ):
        text = text.replace(f'"{name}"', f'"{other}"')
    assert fields(own_title()) - fields(text) == {"person[1].eyewear"}  # the pair of somebody else


def test_another_person_who_is_as_far_away_by_chance_is_not_taken_for_one_of_a_starter_case() -> None:
    text = own_values(own_title()).replace('distance = "6.06 m"', 'distance = "6 m"')
    assert fields(text) == {"person[3]"}
    assert not fields(text.replace("Early spectators at the door", "Class 3b, behind the rope"))


def test_the_starter_cases_themselves_are_read_and_not_a_list_of_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "house.toml").write_text(case_text(), encoding="utf-8")
    monkeypatch.setattr(models, "templates_path", lambda *parts: tmp_path)
    models._starters.cache_clear()
    try:
        found = starter_values(parse_case(case_text()))
        assert not starter_values(parse_case(own_title()))
    finally:
        models._starters.cache_clear()
    assert {one.starter for one in found} == {"house"}
    assert len(found) == 15


def test_the_demo_does_its_job_and_cannot_be_signed_as_if_it_were_real(tmp_path: Path) -> None:
    data, _ = write_demo(tmp_path)
    assert data["state"] == "draft"
    text = PdfReader(data["sheet"]).pages[0].extract_text()
    assert squeezed("Still as in a starter case (demo)") in squeezed(text)
    result = run("signoff", data["case"], "--name", "Ines Falkenrath", "--role", "assessor")
    assert (result.code, result.err.count("\n")) == (2, 1)
    german = assess(parse_case(starter("demo")), "de").record.draft_reasons
    assert any("Noch wie in einer Vorlage (demo)" in reason for reason in german)
    sheet = Path(data["sheet"]).read_bytes()
    again, _ = write_demo(tmp_path)  # the same may be written again, an edited case not
    assert (again, Path(again["sheet"]).read_bytes()) == (data, sheet)
    case = Path(data["case"])
    case.write_bytes(case.read_bytes() + b"# mine\n")
    with pytest.raises(OutputError, match=r"demo.toml is a case file, which no command replaces"):
        write_demo(tmp_path)
    assert (case.read_bytes()[-7:], Path(data["sheet"]).read_bytes()) == (b"# mine\n", sheet)


@pytest.mark.parametrize("name", template_names())
def test_a_starter_case_is_named_alone(name):
    """Two starters share some strike-outs: 'still as in a starter case (nanosecond-marker, demo, co2-cutter)'."""
    assert {one.starter for one in starter_values(parse_case(starter(name)))} == {name}
