"""All languages of the wording say the same, and say all of it."""

from __future__ import annotations

import io
import json
import re
import string
from dataclasses import is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from lasersafe.assessment import assess
from lasersafe.data import load_toml, templates_path
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.records import as_json, told_of
from lasersafe.results import Assessment
from lasersafe.sheet import _MARGIN, PAPERS, render_sheet
from lasersafe.sheet.text import Style, width_of
from lasersafe.wording import DAY_LISTS, Message, languages, load_wording, localise
from tests.project import ROOT

OTHERS = [language for language in languages() if language != "en"]
FILES = ("controls", "other_hazards", "cautions", "sign_off", "sheet", "record", "messages", "day")
TEMPLATES = sorted(path.stem for path in templates_path("cases").glob("*.toml"))
TRANSLATED = {"text", "title", "source", "name", "declares", "short"}


@cache
def assessed(template: str, language: str) -> Assessment:
    text = templates_path("cases", f"{template}.toml").read_text(encoding="utf-8")
    return assess(parse_case(text), language)


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def leaves(table: Any, path: str = "") -> dict[str, Any]:
    """Return each value of a file by its place; entries of a list go by their key."""
    found: dict[str, Any] = {}
    if isinstance(table, dict):
        for key, value in table.items():
            found |= leaves(value, f"{path}/{key}")
    elif isinstance(table, list) and table and isinstance(table[0], dict):
        for entry in table:
            found |= leaves(entry, f"{path}/[{entry['key']}]")
    else:
        found[path] = table
    return found


def test_german_is_there() -> None:
    assert "de" in OTHERS


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("file", FILES)
def test_both_languages_have_the_same_keys_and_places(language: str, file: str) -> None:
    english = leaves(load_toml(templates_path("wording", "en", f"{file}.toml")))
    other = leaves(load_toml(templates_path("wording", language, f"{file}.toml")))
    assert list(other) == list(english), "the same keys in the same order"
    for path, value in english.items():
        spoken = file in ("sheet", "record", "uncertainty", "messages") or path.rpartition("/")[2] in TRANSLATED
        if not spoken:
            assert other[path] == value, path
        elif file in ("sheet", "record", "uncertainty", "messages"):
            assert places(other[path]) == places(value), path


@pytest.mark.parametrize("language", OTHERS)
def test_texts_are_translated(language: str) -> None:
    english, other = load_wording("en"), load_wording(language)
    alone = {key: re.sub(r"\{\w+\}", "", text) for key, text in english.texts.items()}
    same = {
        key for key, text in english.texts.items() if other.texts[key] == text and re.search("[a-z]{3}", alone[key])
    }
    assert same <= {
        "sheet.program", "setup.from_origin", "eyewear.mode", "steps.setup", "area.blank", "sign_off.name",
        "chart.person", "scenarios.person", "steps.symbol", "inplace.finding", "steps.limits", "plan.tag",
        "plan.person", "plan.plain", "sure.upper", "sure.error", "need.one_line", "word.linear", "people.person",
        "limit.least",
    }  # fmt: skip
    for name in DAY_LISTS:
        pairs = zip(english.day[name], other.day[name], strict=True)
        assert all(one.text != two.text for one, two in pairs)


@pytest.mark.parametrize("language", OTHERS)
def test_trade_terms_of_the_german_guides(language: str) -> None:
    if language != "de":
        pytest.skip("terms of the German guides")
    files = templates_path("wording", "de").glob("*.toml")
    text = " ".join(path.read_text(encoding="utf-8") for path in files)
    for term in ("Laserschutzbeauftragter", "Expositionsgrenzwert", "Schutzstufe", "Laserbereich", "Bestrahlungsstärke",
                 "Streustrahlung", "Laserschutzbrille", "Betriebsart", "STOP-Prinzip", "Unterweisung"):  # fmt: skip
        assert term in text


def test_each_text_of_the_record_is_used() -> None:
    sources = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "lasersafe").rglob("*.py")))
    sources = sources.replace("'", '"')  # a key inside a text put together has single ones
    built = {"role", "area", "side", "kind"}  # keys that are put together from a field of the case
    for key in leaves(load_toml(templates_path("wording", "en", "record.toml"))):
        _, group, name = key.split("/")
        stem = re.sub(r"_(one|many)$", "", name)
        together = f'f"{group}.{{' in sources or f'listing("{group}", ' in sources  # keys of a table's columns
        found = f'"{group}.{name}"' in sources or (together and f'"{stem}"' in sources)
        found = found or f'f"{group}.{name.partition("_")[0]}_{{' in sources  # as scene.finish_ with the finish
        assert found or group in built or f'"say.{stem}' in sources, key
    fields_of_area = {"blank", "heading"} | set(assessed("demo", "en").record.area)
    assert set(load_toml(templates_path("wording", "en", "record.toml"))["area"]) == fields_of_area


HEADLINES = {"hazard", "rule", "origin", "quantity", "verdict", "reasons", "no_reliance", "decides"}
PROSE = {"meaning", "note", "notes", "duration_reason", "label", "beam", "setting"}


def spoken(record: Any, names: set[str], seen: dict[int, Any]) -> set[str]:
    if not is_dataclass(record) or id(record) in seen:
        return set()
    seen[id(record)] = record
    found: set[str] = set()
    for name, told in told_of(type(record)):
        value = getattr(record, name)
        if told.spoken and name in names:
            found.update((value,) if isinstance(value, str) else value)
        for one in value if isinstance(value, tuple) else (value,):
            found |= spoken(one, names, seen)
    return found


ENGLISH = re.compile(
    r"\b(the|of|and|at|is|not|with|from|limit|beam|rated|over|which|hold|holds|needed|window|rounded|skin|pulses)\b"
)


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("template", TEMPLATES)
def test_the_words_of_the_program_are_translated(template: str, language: str) -> None:
    found = localise(assessed(template, language), load_wording(language))
    typed = {s.name for s in parse_case(templates_path("cases", f"{template}.toml").read_text("utf-8")).surface}

    def left(names: set[str]) -> tuple[set[str], int]:
        texts = {text for text in spoken(found, names, {}) if not text.startswith("im Fall angegeben: ")}
        plain = {text: re.sub("|".join(map(re.escape, typed)), "", text) for text in texts}
        return {text for text in texts if ENGLISH.search(plain[text])}, len(texts)

    assert left(HEADLINES)[0] == set()
    english, count = left(PROSE)
    assert len(english) <= count // 4, "what is new in the program goes into messages.toml"


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("template", TEMPLATES)
def test_numbers_do_not_depend_on_the_language(template: str, language: str) -> None:
    def numbers(found: Assessment) -> list[str]:
        return re.findall(r"-?\d+(?:\.\d+)?(?:e[-+]\d+)?", json.dumps(without_texts(as_json(found))))

    assert numbers(assessed(template, language)) == numbers(assessed(template, "en"))
    assert assessed(template, language).decision.passed == assessed(template, "en").decision.passed


def without_texts(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: without_texts(one) for key, one in value.items() if not isinstance(one, str)}
    if isinstance(value, list):
        return [without_texts(one) for one in value if not isinstance(one, str)]
    return value


def test_what_users_type_is_not_translated() -> None:
    found = assessed("demo", "de")
    here = localise(found, load_wording("de"))
    for before, after in zip(found.scenarios, here.scenarios, strict=True):
        assert (before.person, before.laser, before.setup) == (after.person, after.laser, after.setup)
    assert [line.typed for line in found.inputs] == [line.typed for line in here.inputs]
    assert found.notes == here.notes
    assert localise(found, load_wording("en")) is found
    assert len({id(s.criterion) for s in here.scenarios}) == len({id(s.criterion) for s in found.scenarios})


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("paper", list(PAPERS))
def test_the_two_parts_of_the_header_do_not_touch(language: str, paper: str) -> None:
    text = load_wording(language).text
    for kind, word in (("kind", "header"), ("annex_kind", "annex_header")):
        parts = width_of(text(f"sheet.{kind}"), Style(8)) + width_of(text(f"draft.{word}"), Style(8, True))
        assert parts + 10.0 < PAPERS[paper][0] - 2.0 * _MARGIN


def test_the_case_chooses_the_language(tmp_path: Path) -> None:
    text = templates_path("cases", "handheld-welder.toml").read_text(encoding="utf-8")
    german = text.replace('paper = "A4"', 'language = "de"\npaper = "A4"', 1)
    found = assess(parse_case(german))
    assert found.decision.verdict.startswith("So nicht durchführen")
    pages = PdfReader(io.BytesIO(render_sheet(found)))
    assert "Entscheidung" in pages.pages[0].extract_text()
    assert pages.trailer["/Root"]["/Lang"] == "de"
    assert found.fingerprint != assess(parse_case(text)).fingerprint
    with pytest.raises(CaseError, match="'dd' is not a language with wording; did you mean 'de'"):
        parse_case(text.replace('paper = "A4"', 'language = "dd"\npaper = "A4"', 1))


def test_a_place_that_a_user_filled_is_not_translated() -> None:
    german = load_wording("de")
    assert german.say(Message("time.stated", reason="retina thermal")) == "im Fall angegeben: retina thermal"
    assert german.say("no phrase for this {brace} %s") == "no phrase for this {brace} %s"


@pytest.mark.parametrize(
    ("material", "gas", "wanted", "unwanted"),
    [
        ("stainless steel 1.4301", "argon", {"fume stainless steel", "inert gas"}, {"oxygen", "fume plastic"}),
        ("S235, verzinkt", "Sauerstoff", {"fume zinc", "fume steel", "oxygen"}, {"inert gas"}),
        ("birch plywood", "", {"fume wood", "oxygen", "inert gas"}, {"fume stainless steel"}),
        ("PVC sheet", "air", {"fume plastic"}, {"oxygen", "inert gas", "fume wood"}),
        ("", "", {"fume"}, {"fume steel"}),
    ],
)
def test_other_hazards_follow_material_and_gas(material: str, gas: str, wanted: set[str], unwanted: set[str]) -> None:
    for language in languages():
        found = {entry.key for entry in load_wording(language).other_hazards_for({"process"}, material, gas)}
        assert wanted <= found
        assert not unwanted & found
