"""The editable texts: what is asked of the files, and that the sheet uses all of them."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from lasersafe import wording as module
from lasersafe.assessment import assess
from lasersafe.data import load_toml, templates_path
from lasersafe.errors import InputError, ReferenceDataError
from lasersafe.models import parse_case
from lasersafe.records.scene import BarrierLoad
from lasersafe.results import (
    Assessment,
    ControlFinding,
    Expected,
    ReadingResult,
    RoleSigned,
    SignOff,
    StarterValue,
    StrikeOuts,
)
from lasersafe.sheet import render_sheet
from lasersafe.sheet.tables import AREA
from lasersafe.wording import CONDITIONS, CONTROL_KINDS, WAYS, Message, Wording, load_wording
from tests.behaviour.sample_assessment import assessment
from tests.behaviour.test_pulsed_cases import with_visits


@pytest.fixture
def edited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Hand out a copy of the wording that a test may spoil."""
    folder = tmp_path / "wording" / "en"
    shutil.copytree(templates_path("wording", "en"), folder)
    monkeypatch.setattr(module, "templates_path", lambda *parts: tmp_path.joinpath(*parts))
    load_wording.cache_clear()
    load_toml.cache_clear()
    yield folder
    load_wording.cache_clear()
    load_toml.cache_clear()


def change(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    load_toml.cache_clear()
    load_wording.cache_clear()


def test_controls_follow_the_order_of_the_trade_and_the_conditions() -> None:
    found = load_wording().controls_for({"handheld", "eyewear"})
    kinds = [entry.kind for entry in found]
    assert kinds == sorted(kinds, key=CONTROL_KINDS.index)
    keys = {entry.key for entry in found}
    assert {"enclose", "contact release", "check eyewear"} <= keys
    assert "under the helmet" not in keys, "it asks for 'process' as well"
    assert len(load_wording().controls_for(CONDITIONS)) == len(load_wording().controls)


def test_each_kind_has_a_control_that_always_holds_but_the_last() -> None:
    always = {entry.kind for entry in load_wording().controls_for(())}
    assert always == {"substitute", "technical", "organisational"}


def test_each_way_is_answered_in_each_kind() -> None:
    for kind in CONTROL_KINDS:
        answered = {way for entry in load_wording().controls if entry.kind == kind for way in entry.answers}
        assert answered == set(WAYS)


def test_each_condition_is_used() -> None:
    texts = load_wording()
    used = {word for entry in (*texts.controls, *texts.other_hazards) for word in entry.when}
    assert used == CONDITIONS


def test_unknown_condition_is_refused() -> None:
    with pytest.raises(InputError, match="condition 'hand-held' is not known to the wording; known: always"):
        load_wording().controls_for({"hand-held"})


@pytest.mark.parametrize("language", ["xx", "../en", "", "EN", "en/..", "en\n"])
def test_unknown_language_is_refused(language: str) -> None:
    with pytest.raises(InputError, match="there is no wording for it; there is: de, en"):
        load_wording(language)


def test_unknown_keys_are_refused() -> None:
    texts = load_wording()
    with pytest.raises(ReferenceDataError, match=r"controls.toml: key 'no such' is missing"):
        texts.control("no such")
    with pytest.raises(ReferenceDataError, match=r"other_hazards.toml: key 'no such' is missing"):
        texts.other_hazard("no such")
    with pytest.raises(ReferenceDataError, match=r"sheet.toml: key 'no.such' is missing"):
        texts.text("no.such")
    with pytest.raises(ReferenceDataError, match=r"key 'sheet.page': cannot fill in 'pages'; places: page"):
        texts.text("sheet.page", page=1)


def test_the_sheet_names_a_hazard_without_a_text() -> None:
    bad = replace(assessment(), other_hazards=("falling cats",))
    with pytest.raises(ReferenceDataError, match="'falling cats' is missing"):
        render_sheet(bad)


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        ("controls.toml", 'key = "enclose"', 'key = "beam stop"', "key 'beam stop' occurs twice"),
        ("controls.toml", 'key = "enclose"', 'name = "enclose"', "technical 1: key 'key' is missing"),
        ("controls.toml", 'when = ["lens"]', 'when = ["lense"]', "when 'lense' is not known; known: always"),
        ("controls.toml", 'answers = ["direct"]', "answers = []", "answers must be a list of words"),
        ("controls.toml", "[[personal]]", "[[persnal]]", "key 'persnal' is not known"),
        ("controls.toml", '"lower power"', '""', "key 'key' must be a text that is not empty"),
        ("other_hazards.toml", 'seen = "read"', 'seen = "guessed"', "seen 'guessed' is not known; known: read, part"),
        ("other_hazards.toml", "[[hazard]]", "[[hazards]]", "key 'hazards' is not known"),
        ("cautions.toml", "short = ", "brief = ", "key 'short' is missing"),
        ("sign_off.toml", "declares = ", "declare = ", "role 1: key 'declares' is missing"),
        ("sheet.toml", 'kind = "Laser', 'kind = 3 # "Laser', "key 'sheet.kind' must be a text that is not empty"),
        ("sheet.toml", "page {page} of", "page {page of", "write a brace twice to print it"),
        ("controls.toml", "alone = false", 'alone = "no"', "alone must be true or false"),
        ("other_hazards.toml", 'gas = ["oxygen"', 'gas = [5, "oxygen"', "gas must be a list of words"),
        ("day.toml", 'key = "entry"', 'key = "words"', "key 'words' occurs twice"),
        ("day.toml", "[[review]]", "[[revue]]", "key 'revue' is not known"),
        ("record.toml", 'heading = "Door sign"', "heading = 1", "key 'sign.heading' must be a text that is not empty"),
        ("sheet.toml", "[draft]", "[draft", "data file sheet.toml is damaged"),
    ],
)
def test_a_spoilt_file_is_refused(edited: Path, file: str, old: str, new: str, message: str) -> None:
    change(edited / file, old, new)
    with pytest.raises(ReferenceDataError) as error:
        load_wording()
    assert message in str(error.value)
    assert file in str(error.value)


def test_a_missing_file_is_refused(edited: Path) -> None:
    (edited / "cautions.toml").unlink()
    with pytest.raises(ReferenceDataError, match=r"data file cautions.toml is missing"):
        load_wording()


def test_an_edit_changes_the_sheet(edited: Path) -> None:
    change(edited / "cautions.toml", "local law comes first", "local law <b>comes</b> first & last")
    assert "<b>comes</b> first & last" in load_wording().caution_short


def busy() -> Assessment:
    """Return an assessment in which something stands against the verdict in each way that the first page knows."""
    full = assessment()
    worst, second = full.scenarios[0], full.scenarios[1]
    load = BarrierLoad(
        "booth",
        "direct",
        worst.laser,
        worst.setup,
        True,
        False,
        "weak",
        1e4,
        100.0,
        2e4,
        True,
        3.0,
        2.0,
        (("A", 2e4),),
    )
    light = replace(load, barrier="curtain", way="scatter", holds=True, load=10.0)
    beaten = replace(light, way="direct", asked=False, holds=False)
    decision = replace(
        full.decision,
        points=("one", "two"),
        worn=((worst.laser, ("1070 D LB8",)), ("", ("none",))),
        loads=(load, light, beaten, replace(load, barrier="pane", rating=None)),
        barrier_remarks=("Too low.",),
        causes=("cause",),
        grounds=("ground",),
        scatter_distance=3.0,
        strike_outs=StrikeOuts(2, 3, worst=worst),
    )
    row = Expected("A1", worst.laser, worst.setup, "power", "front row", "direct", 2.0, 1.0, 0.5, "W", "1 W")
    got = ReadingResult(
        typed="2 W",
        value=2.0,
        unit="W",
        upper=2.1,
        uncertainty=0.05,
        expected=1.0,
        above=True,
        low=False,
        instrument="t",
    )
    finding = ControlFinding(worst.key, worst.laser, worst.setup, worst.person, worst.way, worst.tissue, True)
    record = replace(
        full.record,
        expected=(
            replace(row, reading=got),
            replace(row, key="A2", reading=replace(got, above=False, low=True)),
            replace(row, key="A3"),
        ),
        findings=(finding, replace(finding, scenario=second.key, eyewear_alone=False)),
        starter_values=(StarterValue("person", "front row", "demo", "person[1]"),),
        review_by="2027-11-13",
        area={"name": "booth"},
    )
    above = [replace(one, below=False, answer="", struck_out="") for one in full.scenarios]
    absent = replace(worst, person="somebody else", struck_out=Message("struck.solid"))
    dark = replace(worst, exposure=1e-20, ratio=1e-20, below=True)
    return replace(full, decision=decision, record=record, scenarios=(*above, absent, dark))


def test_the_sheet_uses_every_text(monkeypatch: pytest.MonkeyPatch) -> None:
    used: set[str] = set()
    plain = Wording.text

    def recorded(self: Wording, key: str, /, **values: object) -> str:
        used.add(key)
        return plain(self, key, **values)

    monkeypatch.setattr(Wording, "text", recorded)
    full = assessment()
    bare = replace(full, setups=(), scenarios=(), eyewear=(), barriers=(), controls=(), other_hazards=(), inputs=())
    chart = replace(full.setups[0].chart, curves=())
    dark = replace(
        full.setups[0].chart,
        curves=(*full.setups[0].chart.curves, replace(full.setups[0].chart.curves[0], distance=(), exposure=())),
    )
    steps = (replace(full.setups[0].steps[0], source="", symbol="E_D"),)
    odd = replace(full.setups[0], chart=chart, steps=steps, zones=(replace(full.setups[0].zones[0], steps=steps),))
    rule = replace(full.scenarios[0].criterion, steps=())
    loose = replace(full, scenarios=(replace(full.scenarios[0], criterion=rule),))
    placed = replace(full, controls=(replace(full.controls[0], in_place=True), *full.controls[1:]))
    marker = templates_path("cases", "nanosecond-marker.toml").read_text(encoding="utf-8")  # it has a scene
    pulsed = [assess(parse_case(text)) for text in (marker, with_visits("900 s"))]
    loads = tuple(replace(one, holds=one.way == "scatter", load=0.0, pulse=None) for one in busy().decision.loads)
    above = tuple(replace(day, below=False) for day in pulsed[1].ultraviolet)
    pulsed.append(replace(pulsed[1], ultraviolet=above))
    for found in (
        full,
        *pulsed,
        busy(),
        replace(busy(), decision=replace(busy().decision, passed=True)),
        replace(busy(), decision=replace(busy().decision, loads=loads)),
        replace(bare, record=replace(full.record, area=dict.fromkeys(AREA, "stated"))),
        placed,
        loose,
        replace(bare, notes=()),
        replace(full, setups=(odd, replace(full.setups[1], chart=dark))),
    ):
        for kind in ("sheet", "annex"):
            render_sheet(found, kind=kind, annex="ab" * 32)
    one = RoleSigned("assessor", "Ada", "2026-11-14T16:05:00Z", "with care", "2027-03-01", "Bea is ill today")
    for signed in (
        SignOff(
            "draft", ("assessor",), (one,), ("venue",), ("not signed yet: venue",), ("place: was 'a'",), "2027-01-01"
        ),
        SignOff("signed", signed=(one,)),
        SignOff("printed for signature"),
    ):
        render_sheet(full, sign_off=signed)
    doubtful = replace(full, record=replace(full.record, draft_reasons=("a reading is above",)))
    render_sheet(doubtful, sign_off=SignOff(reasons=("a reading is above",)))
    sheet = load_toml(templates_path("wording", "en", "sheet.toml"))  # record.toml: tests/behaviour/test_languages.py
    groups = set(sheet) - {"way", "tissue", "seen", "plan"}
    asked = {f"{group}.{key}" for group in groups for key in sheet[group]}
    asked -= {
        f"sign_off.{key}" for key in ("not_named", "not_passed", "other_results", "not_yet")
    }  # reasons of a record
    asked -= {"inputs.in_scene", "annex.too_far", "annex.map_alike", "steps.elsewhere"}  # tests/behaviour/test_pages.py
    asked -= {
        "decision.headline",
        "decision.reasons",
        "decision.verdict",
    }  # of a notebook: tests/behaviour/test_library.py
    assert asked - used - {f"controls.{kind}" for kind in CONTROL_KINDS} == set()


@pytest.mark.parametrize(("language", "word"), [("en", "extraction"), ("de", "absaugung")])
def test_the_lists_of_the_day_speak_of_extraction_only_where_something_is_worked(language: str, word: str) -> None:
    wording = load_wording(language)
    for name in ("check", "stop", "after"):
        said = [line.text.lower() for line in wording.day_lines(name, CONDITIONS)]
        assert any(word in line for line in said)
        plain = wording.day_lines(name, [one for one in CONDITIONS if one != "process"])
        assert not any(word in line.text.lower() for line in plain)
