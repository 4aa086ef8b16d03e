"""German output: no English words but those that a user typed, and commas in numbers."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from lasersafe.ask.drawings import drawings_of
from lasersafe.ask.printed import assessment_text, brief, subjects
from lasersafe.assessment import assess
from lasersafe.assessment.barriers import scatter_numbers
from lasersafe.assessment.calculation import corner_text
from lasersafe.cli import app
from lasersafe.data import load_toml, templates_path
from lasersafe.drawing.primitives import Words
from lasersafe.drawing.room import _where
from lasersafe.drawing.text import decimals
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.records.scene import ElevationItem
from lasersafe.results import Assessment, SignOff
from lasersafe.sheet import PAPERS, lay_out, lay_out_annex
from lasersafe.sheet.flow import Placed, Sheet
from lasersafe.wording import Message, load_wording, localise
from tests.project import ROOT

STARTERS = sorted(path.stem for path in templates_path("cases").glob("*.toml"))
ENGLISH = re.compile(
    r"\b(the|of|and|at|is|not|with|from|for|by|are|this|that|which|where|than|limit|limits|beam|rated|hold|holds|needed|"
    r"skin|eye|mirror|scatter|power|distance|nearest|within|above|below|person|people|wear|worn|must|none|first|last)\b"
)


def text_of(name: str) -> str:
    return templates_path("cases", f"{name}.toml").read_text("utf-8")


@cache
def answered(name: str) -> Assessment:
    return assess(parse_case(text_of(name)), "de")


@cache
def assessed(name: str) -> Assessment:
    return localise(answered(name), load_wording("de"))


@cache
def lines_of(name: str, kind: str) -> list[str]:
    """Return each paragraph of the pages as one line: rows of one left edge that follow each other are joined."""
    wording = load_wording("de")
    sheet = Sheet(PAPERS["A4"], (42.0, 44.0, 42.0, 53.0), assessed(name), wording, "A4")
    with decimals(wording):
        if kind == "sheet":
            lay_out(sheet, SignOff())
        else:
            lay_out_annex(sheet)
    said = []
    for page in sheet.pages:
        for mark in page.marks:
            inner = [mark] if isinstance(mark, Words) else mark.drawing.marks if isinstance(mark, Placed) else []
            said.append(" ".join(words.text.replace("\u00a0", " ") for words in inner if isinstance(words, Words)))
    return said


def typed_words(name: str) -> set[str]:
    """Return the words in the quoted texts of a case file."""
    return set(re.findall(r"[A-Za-z]+", " ".join(re.findall(r'"[^"]*"', text_of(name)))))


@pytest.mark.parametrize("name", STARTERS)
def test_no_english_words_are_left_on_the_german_sheet(name: str) -> None:
    typed = typed_words(name)
    left = [line for line in lines_of(name, "sheet") if set(ENGLISH.findall(line)) - typed]
    assert left == []


def sources(record: Any, seen: set[int]) -> Iterator[str]:
    """Yield where figures come from: titles of tables in English documents stay as they are."""
    if not is_dataclass(record) or id(record) in seen:
        return
    seen.add(id(record))
    for field in fields(record):
        value = getattr(record, field.name)
        if field.name in ("source", "no_reliance") and isinstance(value, str):
            yield value
        for one in value if isinstance(value, tuple) else (value,):
            yield from sources(one, seen)


@pytest.mark.parametrize("name", STARTERS)
def test_few_english_words_are_left_in_the_german_annex(name: str) -> None:
    """Typed texts, names of fields of a case file, formulas, and titles of tables in their documents do not count."""
    known = typed_words(name) | set(re.findall(r"[A-Za-z]+", " ".join(sources(assessed(name), set()))))
    known |= {"limit", "rated", "distance", "power", "person", "where"}  # indices of symbols; names of fields
    left = {word for line in lines_of(name, "annex") for word in ENGLISH.findall(line)} - known
    assert left == set()


@pytest.mark.parametrize("name", STARTERS)
def test_no_english_words_are_left_in_the_german_answer_and_plan(name: str) -> None:
    """The short answer, its subjects, the whole answer, and each page of the plan and of the elevation."""
    found = answered(name)
    said = [text for line in (*brief(found), *subjects(found)) for text in line]
    said += re.sub(r"\w+\[\d+\]\.\S+", "", assessment_text(found)).splitlines()  # without fields of the case
    for elevation in (False, True) if found.scene is not None else ():
        marks = [mark for page in drawings_of(found, "A4", elevation=elevation) for mark in page.marks]
        said += [mark.text for mark in marks if isinstance(mark, Words)]
    assert len(said) > 60
    assert [line for line in said if set(ENGLISH.findall(line)) - typed_words(name)] == []


@pytest.mark.parametrize("name", STARTERS)
def test_fractions_in_the_german_sheet_and_annex_have_commas(name: str) -> None:
    """Sums said "1064 nm 0.999, 976 nm 0.00105", windows "C_P = 0.05233"; a place in a document begins not with 0.

    The titles of rows in English documents, as "alpha_max: 0.25 to 3e4 s", stay.
    """
    known = text_of(name) + " ".join(sources(assessed(name), set()))
    found = re.findall(r"(?<![\w.:/-])0\.\d+", " ".join((*lines_of(name, "sheet"), *lines_of(name, "annex"))))
    assert [number for number in found if number not in known] == []


@pytest.mark.parametrize("name", STARTERS)
def test_numbers_of_the_german_sheet_have_commas(name: str) -> None:
    text = " ".join(lines_of(name, "sheet"))
    assert re.search(r"\d,\d+ m\b", text)
    typed = " ".join(re.findall(r'"[^"]*"', text_of(name)))
    points = {number for number in re.findall(r"\d+\.\d+(?= (?:[kMmµ]?W|m|s|J)\b)", text) if number not in typed}
    assert points == set()


def test_settings_in_the_german_annex_have_commas() -> None:
    """They read "750.0 µJ in 10.00 ns bei 40.00 kHz", and limits of charts "3.5 mm"."""
    text, typed = " ".join(lines_of("nanosecond-marker", "annex")), text_of("nanosecond-marker")
    points = re.findall(r"\d+\.\d+ (?:kHz|µJ|mJ|ns|mm)\b", text)
    assert [one for one in points if one.replace("µ", "u") not in typed] == []
    assert "750,0 µJ in 10,00 ns bei 40,00 kHz" in text


def test_the_whole_answer_of_a_german_case_is_german() -> None:
    """`assess --all` printed 'wear:' and 'ABOVE THE LIMIT' in a case that is written in German."""
    text = (ROOT / "tests" / "golden" / "cases" / "tolerances-continuous.toml").read_text(encoding="utf-8")
    said = assessment_text(assess(parse_case(text), "de"))
    lines = [line for line in said.splitlines() if line.startswith("direkter Strahl, Auge ")]
    assert lines
    assert all(" ab der letzten Optik" in line for line in lines)
    assert re.search(r" \d+,\d+ k?m ", said)
    assert not re.search(r"\d\.\d+(e[+-]|  )", said)  # ratios and 2.49e+06 W/m2 on a barrier
    for word in (
        "wear:",
        "people:",
        "barrier:",
        "the last optic",
        "ABOVE",
        "below",
        "worst corner",
        "fitted",
        "answer",
    ):
        assert word not in said, word


def lines_of_commands(case: Path, folder: Path) -> list[str]:
    """Return every line that the commands on a case print."""
    out = folder / "out"
    commands = (
        ["check", str(case)],
        ["assess", str(case)],
        ["spectators", str(case)],
        ["sheet", str(case), "-o", f"{out}.pdf"],
        ["door-sign", str(case), "-o", f"{out}-sign.pdf"],
        ["plan", str(case), "-o", f"{out}.svg"],
        ["notice", str(case)],
        ["solve", str(case), "--for", "laser.power", "--at", "3 m"],
        ["sweep", str(case), "--vary", "setup.divergence=2mrad..4mrad:2"],
        ["sweep", str(case), "--vary", "setup.divergence=2mrad..4mrad:2", "-o", f"{out}.csv"],
    )
    runner = CliRunner()
    said = []
    for command in commands:
        result = runner.invoke(app, command)
        assert result.exit_code in (0, 1), (command, result.output)
        said += result.stdout.splitlines()
    return said


def test_no_english_words_are_left_in_what_commands_print_on_a_german_case(tmp_path: Path) -> None:
    """`sheet:`, `annex:`, `(draft)`, `no faults`, and the answers of spectators, plan, solve and sweep were English."""
    text = text_of("visible-diode")
    case = tmp_path / "fall.toml"
    case.write_text(re.sub(r"(?m)^title = ", 'language = "de"\\ntitle = ', text, count=1), encoding="utf-8")
    said = lines_of_commands(case, tmp_path)
    typed = typed_words("visible-diode") | {"laser", "setup", "power", "person", "distance"}  # names of fields
    english = re.compile(
        ENGLISH.pattern[:-3] + r"|sheet|annex|draft|faults?|page|plan|points|says|line|remark|at|about)\b"
    )
    left = [line for line in said if set(english.findall(re.sub(r"\S*/\S*|'[^']*'", "", line))) - typed]
    assert left == []
    assert len(said) > 60


def test_the_faults_of_a_german_case_are_german(tmp_path: Path) -> None:
    """`check` said 'is not a kind; did you mean' of any case, and 'write the decimal point as' of quantities."""
    text = re.sub(r"(?m)^title = ", 'language = "de"\ntitle = ', text_of("visible-diode"), count=1)
    for old, new in (
        ('kind = "continuous"', 'kind = "steady"'), ("briefed = true", 'briefed = "ja"'),
        ("review_by = 2", 'review_by = "morgen" # 2'), ("[in_charge]", 'hall = "4"\n\n[in_charge]'),
        ('wavelength = "450 nm"', 'wavelength = "450"'), ('distance = "0.4 m"', 'distance = "0,4 m"'),
        ('"1.2 mrad"', '"1.2 kg"'), ('"0.5 W"', '"7 W"'), ('distance = "1.5 m"', 'distance = "1 m +- 3 m"'),
        ('criterion = "1/e2"', ""), ('mode = "service"', ""),
    ):  # fmt: skip
        text = text.replace(old, new, 1)
    case = tmp_path / "fall.toml"
    case.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(app, ["check", str(case)])
    head, *lines = result.output.splitlines()
    assert head.endswith(f": {len(lines)} Fehler")
    assert len(lines) >= 10
    assert all(line.startswith("  Zeile ") for line in lines)
    english = re.compile(ENGLISH.pattern[:-3] + r"|write|known|mean|line|faults?|missing|text|without|quotes|day)\b")
    said = [re.sub(r"'[^']*'|^  Zeile \d+: [^:]*:", "", line) for line in lines]
    assert [line for line in said if english.search(line)] == []


def test_what_the_models_find_is_a_sentence_that_every_language_has() -> None:
    """Some fifty findings with values, as "is below the diffraction limit", were English in a German case."""
    words = load_toml(templates_path("wording", "de", "messages.toml"))["word"]
    texts = set()
    for path in (ROOT / "lasersafe" / "models").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.returns and ast.unparse(node.returns) == "Findings":
                inner = (getattr(one, "value", "") for part in node.body[1:] for one in ast.walk(part))
                texts |= {text for text in inner if isinstance(text, str) and text.count(" ") > 2}
    assert len(texts) > 5  # names of things alone: what is found has a key
    assert texts - words.keys() == {" of this case"}  # of "a person of this case", which is put together


def test_a_beam_that_diffraction_forbids_is_refused_in_german() -> None:
    """1.2 mrad of 450 nm is allowed, 0.001 mrad is not: 4 / pi of 450 nm over the waist is more."""
    text = re.sub(r"(?m)^title = ", 'language = "de"\ntitle = ', text_of("visible-diode"), count=1)
    with pytest.raises(CaseError, match=r"0\.001 mrad liegt unter der Beugungsgrenze: Strahlung von 450 nm mit einer"):
        parse_case(text.replace('"1.2 mrad"', '"0.001 mrad"', 1))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('power = 5 W\n', "Zeile 2: TOML: 'power = 5 W': kein TOML (nach der Angabe steht noch etwas) in Spalte 11; "),
        ("a = [1,\n", "TOML: kein TOML (ungültiger Wert) am Ende der Datei; "),
        ('title = "a"\ntitle = "b"\n', "ein Schlüssel steht in einer Tabelle nur einmal"),
        ("[a]\n[a]\n", "diese Überschrift, oder wozu sie gehört, steht zweimal"),
        ("a = [[1,\n", " am Ende der Datei; diese Zeile prüfen"),
        ("a = " + "[" * 3000, "Klammern sind für eine Falldatei zu tief geschachtelt"),
    ],
)  # fmt: skip
def test_a_broken_file_is_refused_in_the_language_that_it_states(text: str, said: str) -> None:
    """Only the fields of a case were refused in German; what is no TOML came in English."""
    with pytest.raises(CaseError) as refused:
        parse_case(f'language = "de"\n{text}')
    assert said in str(refused.value)
    assert "1 Fehler" in str(refused.value)
    assert "check this line" not in str(refused.value)
    with pytest.raises(CaseError, match="1 fault"):
        parse_case(text)


def test_the_reason_of_eyewear_has_commas_in_german() -> None:
    """Density 3.61 stood beside 3,7."""
    asked = (
        "--wavelength",
        "1064 nm",
        "--beam-diameter",
        "8 mm",
        "--power",
        "10 W",
        "--continuous",
        "--language",
        "de",
    )
    said = CliRunner().invoke(app, ["eyewear", *asked]).output
    assert "optische Dichte 3,61" in said


def test_places_and_sources_are_printed_without_noise() -> None:
    # a place -1e-17 m was "-0.000", one 0.1 m beside, turned with the aim, 0.0999 m, and the floor was "ground"
    assert corner_text(np.array([-1e-17, -0.5, 1e-9])) == "0.000, -0.500, 0.000"
    beside = ElevationItem("Operator", "person", -0.4, 0.1 - 1e-16, 0.0, 1.6)
    with decimals(wording := load_wording("de")):
        assert _where(beside, wording).endswith("0,1\u00a0m seitlich")
    assert "(Boden)" in scatter_numbers("ground", 3.0, 0.8, 0.1).said("de")
    assert "aus dem Gedächtnis" in Message("source.aided").said("de")
