"""`lasersafe new`: starters in which nothing is invented that protects, and a case from a few answers."""

from __future__ import annotations

import io
import re
import sys
import tomllib
from pathlib import Path

import pytest
from pypdf import PdfReader

from lasersafe.ask.cases import _Asking, starters
from lasersafe.assessment import assess
from lasersafe.assessment.corners import MOST_CORNERS, corners_of
from lasersafe.errors import CaseError, InputError
from lasersafe.models import parse_case, read_case
from lasersafe.models.kinds import laser_kinds
from lasersafe.sheet import render_sheet
from lasersafe.wording import load_wording
from tests.behaviour.command import Answer, run
from tests.behaviour.signing_help import sign
from tests.project import ROOT

SHOW = ("--laser", "hand-held welder", "--laser", "blue diode", "--crew", "6", "--guests", "40", "--yes")
SMALL = sorted(set(starters()) - {"demo"})


def answering(*answers: str, case: Path, more: tuple[str, ...] = ()) -> Answer:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", io.StringIO("".join(f"{one}\n" for one in answers)))
        return run("new", case, *more)


@pytest.mark.parametrize("name", SMALL)
def test_a_starter_holds_nothing_that_protects_and_marks_its_figures(name: str, tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    assert run("new", case, "--from", name).code == 0
    text = case.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    assert set(data) == {"laser"}
    assert all(f"# [[{kind}]]" in text for kind in ("person", "barrier", "surface", "reading", "strike_out", "control"))
    with pytest.raises(CaseError, match=r"person: missing; write at least one table \[\[person\]\]"):
        parse_case(text)
    own = parse_case(text + '[[person]]\nrole = "spectator"\ndistance = "8 m"\n')
    found = assess(own)
    assert {one.field.partition("]")[2] for one in found.record.starter_values} >= {".wavelength"}
    assert len(found.record.starter_values) == text.count("# replace me:") == 2
    assert found.record.draft_reasons[0].startswith("Still to be replaced, so that nobody can sign: figures marked")
    done = parse_case(re.sub("# replace me", "#", text) + '[[person]]\nrole = "spectator"\ndistance = "8 m"\n')
    assert assess(done, wanted="drawn").record.starter_values == ()


def test_the_sentence_of_a_producer_becomes_a_case_of_12_lines_with_an_answer_of_25(tmp_path: Path) -> None:
    """We fire a hand-held welder and a strong blue diode, crew of six, forty guests."""
    case = tmp_path / "show.toml"
    assert run("new", case, *SHOW).code == 0
    lines = case.read_text(encoding="utf-8").splitlines()
    assert len(lines) <= 12
    assert [one.name for one in read_case(case).person] == ["crew of 6", "40 guests"]
    assert sum("# replace me" in line for line in lines) == 6
    checked = run("check", case)
    assert (checked.code, checked.out.count("marked 'replace me'")) == (0, 6)
    answer = run("assess", case)
    assert answer.code == 1
    assert len(answer.out.splitlines()) <= 25
    assert "still of a starter case: 'person[1]'" in answer.out
    assert "ABOVE: crew of 6" in " ".join(answer.out.split())
    assert answer.out in (ROOT / "README.md").read_text(encoding="utf-8")
    found = assess(read_case(case))
    page = " ".join(PdfReader(io.BytesIO(render_sheet(found))).pages[0].extract_text().split())
    assert "figures marked 'replace me', person[1], person[2], laser[1].wavelength" in page


def test_a_figure_that_is_still_marked_refuses_a_signature(tmp_path: Path) -> None:
    case = tmp_path / "dim.toml"
    run("new", case, "--laser", "blue diode", "--crew", "1 at 1 m", "--guests", "2 at 8 m", "--yes")
    text = case.read_text(encoding="utf-8").replace('"5 W"', '"0.1 uW"')
    case.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="the sheet stays a draft whoever signs: Still to be replaced"):
        sign(case, "Ines Falkenrath", "laser_safety_officer")


def test_answers_are_written_without_a_mark_and_defaults_with_one(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    answer = answering("blue diode", "", "steady", "3 W", "", "2 at 1.5 m", "30", case=case)
    assert answer.code == 0
    assert [line for line in answer.err.splitlines() if line.startswith("blue diode: ")] == [
        "blue diode: which wavelength is on its label?",
        "blue diode: steady or pulsed?",
        "blue diode: how much power can leave it at most, on average?",
        "blue diode: by which full angle does the free beam widen, at 1/e2?",
    ]
    assert case.read_text(encoding="utf-8") == (
        'person = [\n  { name = "crew of 2", role = "crew", distance = "1.5 m" },\n'
        '  { name = "30 guests", role = "spectator", distance = "8 m" },  # replace me\n]\n'
        '[[laser]]\nlike = "blue diode"\nwavelength = "450 nm"  # replace me\n'
        'emission = { kind = "continuous", power = "3 W" }\n'
    )


def test_a_known_divergence_and_a_pulsed_laser_in_german(tmp_path: Path) -> None:
    case = tmp_path / "fall.toml"
    more = ("--laser", "laser marker", "--guests", "20 bei 5 m", "--language", "de")
    answer = answering("1064 nm", "gepulst", "20 W", "1 mrad", "1 bei 0.5 m", case=case, more=more)
    assert answer.code == 0
    assert "Beschrifter: welche Wellenlänge steht auf dem Schild?" in answer.err  # it was called laser marker
    found = read_case(case)
    assert found.language == "de"
    assert [person.name for person in found.person] == ["1 vom Personal", "20 Gäste"]
    assert float(found.laser[0].fitted_setup.divergence.x) == 1e-3
    assert "replace me" not in case.read_text(encoding="utf-8")
    assert run("assess", case).out.splitlines()[1].startswith("Urteil     SO NICHT DURCHFÜHREN")


@pytest.mark.parametrize(
    ("typed", "row"),
    [
        ("12 m", 'name = "guests", role = "spectator", distance = "12 m"'),  # was one guest at 2 m
        ("80 people at 9.5 m", 'name = "80 guests", role = "spectator", distance = "9.5 m"'),
        ("1 camera at 3 m", 'name = "1 camera", role = "spectator", distance = "3 m", aided = true'),
    ],
)
def test_how_many_and_how_near_are_read_as_they_are_said(typed: str, row: str, tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    assert run("new", case, "--laser", "green laser", "--crew", "2", "--guests", typed, "--yes").code == 0
    assert row in case.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("answers", "more", "message"),
    [
        ((), (), "no answer to 'What do you fire?"),
        ((), ("--laser", "ray gun"), "laser = 'ray gun': no kind of laser; there are: hand-held welder"),
        (
            (),
            ("--laser", "two lasers"),
            "write 'any laser' for what is none of these\n",
        ),  # meant a CO2 cutter, it asked
        ((), ("--laser", "blue diode, 5 kg"), "laser = '5 kg': no wavelength, power, divergence, pulse length or rate"),
        ((), ("--laser", "blue diode, 5 MW"), "power = '5 MW': did you mean '5 mW'?"),
        ((), ("--laser", "blue diode, 10 km"), "wavelength = '10 km': must be 180 nm or more"),
        (
            (),
            ("--laser", "Strahlenkanone", "--language", "de"),
            "es gibt: Handschweißlaser, Handreinigungslaser, Beschrifter, blaue Diode, CO2-Schneidlaser, grüner Laser",
        ),
        (("450",), ("--laser", "blue diode"), "wavelength = '450'"),
        (("1064 nm", "", "", ""), ("--laser", "blue diode", "--crew", "1", "--guests", "1"), "'blue diode' stands for"),
        (
            ("", "", "", ""),
            ("--laser", "blue diode", "--crew", "some", "--guests", "1"),
            "crew = 'some': write",
        ),
    ],
)
def test_what_cannot_be_used_is_one_refusal_and_nothing_is_written(
    answers: tuple[str, ...], more: tuple[str, ...], message: str, tmp_path: Path
) -> None:
    answer = answering(*answers, case=tmp_path / "case.toml", more=more)
    assert answer.code == 2
    assert message in answer.err
    assert list(tmp_path.iterdir()) == []


def test_what_is_told_with_the_kind_is_not_asked(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    more = ("--laser", "blue diode, 450 nm, 3 W, 2 mrad", "--crew", "1 at 1 m", "--guests", "9 at 5 m")
    assert answering("steady", case=case, more=more).code == 0
    text = case.read_text(encoding="utf-8")
    assert 'power = "3 W"' in text
    assert 'setup = [{ kind = "collimated", divergence = "2 mrad" }]' in text
    assert "replace me" not in text


def test_an_edited_case_is_never_asked_for_anew(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    case.write_text("[[laser]]\n", encoding="utf-8")
    answer = run("new", case, *SHOW, "--replace")
    assert answer.code == 2
    assert case.read_text(encoding="utf-8") == "[[laser]]\n"


def test_unknown_is_an_answer_and_pulses_are_asked_for_where_nothing_is_usual(tmp_path: Path) -> None:
    """The help of the divergence offers 'unknown'; no welder has usual pulses, so that length and rate are needed."""
    case = tmp_path / "case.toml"
    answers = ("hand held welder and a strong blue diode", "", "pulsed", "", "2..4 ms", "20 Hz", "unknown")
    answer = answering(*answers, "", "", "", "?", "6 at 2 m", "40 at 8 m", case=case)
    assert answer.code == 0, answer.err
    first, second = read_case(case).laser
    assert (first.like, second.like) == ("hand-held welder", "blue diode")
    assert float(first.emission.pulse_duration.high) == 4e-3
    assert "setup" not in case.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("said", "like"),
    [("welder", "hand-held welder"), ("Hand-Held Welder", "hand-held welder"), ("UV laser", "ultraviolet laser")],
)
def test_a_kind_is_known_by_its_words(said: str, like: str, tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    assert run("new", case, "--laser", said, "--yes").code == 0
    assert read_case(case).laser[0].like == like


@pytest.mark.parametrize(
    ("said", "lost"),
    [
        ("UV marker", "uv"), ("355 nm laser marker", "355"), ("pulsed green laser", "pulsed"), ("welder 3 kW", "3"),
        ("red laser marker", "red"), ("ultra violet marker", "violet"), ("blue diode, 6 W, 5 W", "6 W"),
        ("any laser, pulsed, steady", "pulsed"), ("green laser, 532 nm, 515 nm", "532 nm"),
    ],
)  # fmt: skip
def test_a_word_that_would_change_the_light_is_not_lost(said: str, lost: str, tmp_path: Path) -> None:
    """A red marker was written down as one of 1064 nm, a diode of '6 W, 5 W' with the 5 W alone."""
    refused = run("new", tmp_path / "case.toml", "--laser", said, "--yes")
    assert (refused.code, f"'{lost}' would be lost on" in refused.err) == (2, True)


def test_three_lasers_without_stated_optics_are_worked_out_and_four_say_which_to_state(tmp_path: Path) -> None:
    said = ("blue diode", "CO₂ cutter", "any laser", "welder")
    lasers = [word for one in said for word in ("--laser", one)]
    three, four = tmp_path / "three.toml", tmp_path / "four.toml"
    assert run("new", three, *lasers[:6], "--yes").code == run("new", four, *lasers, "--yes").code == 0
    assert len(corners_of(read_case(three)).cases) == MOST_CORNERS
    refused = run("assess", four)
    names = "'blue diode', 'CO2 cutter', 'any laser', 'hand-held welder'"
    assert f"256 combinations are more than the 64 that are worked out: the optics of {names}" in refused.err


def test_each_kind_is_known_by_the_name_that_a_german_list_gives_it() -> None:
    asking = _Asking(load_wording("de"), lambda *_: None, False, laser_kinds())
    assert all(asking.kind(asking.name(key)).key == key for key in laser_kinds())
    assert "welder" not in asking.known()["kinds"]


def test_a_kind_that_is_only_like_one_is_asked_back(tmp_path: Path) -> None:
    case = tmp_path / "case.toml"
    refused = run("new", case, "--laser", "weldr", "--yes")
    assert (refused.code, "do you mean 'hand-held welder'?" in refused.err) == (2, True)
    assert answering("yes", *[""] * 4, "1 at 1 m", "1 at 5 m", case=case, more=("--laser", "weldr")).code == 0
    assert read_case(case).laser[0].like == "hand-held welder"


def test_an_answer_that_a_case_refuses_is_asked_for_again_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No answer is lost: what is wrong is said at its question, on a terminal, and the next line answers it again."""
    case = tmp_path / "case.toml"
    monkeypatch.setattr("lasersafe.cli.commands._answers", lambda: True)
    answers = (
        "lazer welder",
        "yes",
        "450 nm",
        "1064 nm",
        "both",
        "steady",
        "1,500 W",
        "1.5 kW",
        "",
        "6 at 0 m",
        "6 at 2",
        "6 at 2 m",
        "",
    )
    answer = answering(*answers, case=case)
    assert answer.code == 0, answer.err
    assert [text in answer.err for text in ("'hand-held welder' stands for", "distance: '0 m'", "with its unit")] == [
        True
    ] * 3
    assert [float(person.distance) for person in read_case(case).person] == [2.0, 8.0]
