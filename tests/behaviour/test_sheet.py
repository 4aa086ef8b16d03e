"""The printed sheet as a reader meets it: text of the pages, footer, outline, paper, refusals."""

from __future__ import annotations

import io
import math
import os
import subprocess
import sys
import unicodedata
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader

from lasersafe.drawing.primitives import Area, Lines, Words
from lasersafe.drawing.typeface import width_of
from lasersafe.errors import InputError, OutputError
from lasersafe.results import Assessment, ChartData, Decision
from lasersafe.sheet import render_sheet, write_sheet
from lasersafe.sheet.document import PAPERS, lay_out
from lasersafe.sheet.flow import MILLIMETRE, Placed
from lasersafe.wording import load_wording
from tests.behaviour.sample_assessment import FINGERPRINT, HOSTILE, LONG_WORD, PEOPLE, assessment
from tests.drawing_faults import faults
from tests.project import ROOT

SECTIONS = (
    "Decision",
    "Set-ups: exposure over distance",
    "Scanned beams: running and stopped",
    "Wavelengths and beams that add",
    "Extended sources",
    "Which rule decided",
    "Scenarios, highest ratio first",
    "Eyewear",
    "Barriers",
    "Settings, pulse rules and class",
    "Controls, in the order in which they are tried",
    "Laser controlled area",
    "Other hazards",
    "Acceptance test: measured against computed",
    "Cautions, and who decides",
    "Review triggers and expiry",
    "Data for a notice to an authority",
    "Where the rule sets differ",
    "Inputs as typed",
    "Calculation, step by step",
    "Notes",
    "Pre-use check and stop criteria",
    "Casualty card",
    "Door sign",
    "Sign-off",
)


@cache
def reader(paper: str = "A4") -> PdfReader:
    return PdfReader(io.BytesIO(render_sheet(assessment(), paper=paper)))


@cache
def page_texts(paper: str = "A4") -> tuple[str, ...]:
    return tuple(page.extract_text() for page in reader(paper).pages)


def squeezed(text: str) -> str:
    """Return a text without white space, since a line may break anywhere."""
    return "".join(unicodedata.normalize("NFC", text).split())


def printed(found: Assessment) -> str:
    return squeezed("".join(page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(found))).pages))


def titles(entries: list[object], level: int = 0) -> list[tuple[int, str]]:
    found: list[tuple[int, str]] = []
    for entry in entries:
        if isinstance(entry, list):
            found += titles(entry, level + 1)
        else:
            found.append((level, str(entry["/Title"])))  # type: ignore[index]
    return found


def test_sections_come_in_order_and_the_decision_is_on_the_first_page() -> None:
    outline = [title for level, title in titles(reader().outline) if level == 0]
    assert tuple(outline) == SECTIONS
    first = squeezed(page_texts()[0])
    for part in ("Do not switch on as planned", "Everyone inside", "109 m", "What the barrier must hold"):
        assert squeezed(part) in first
    pages = [reader().get_destination_page_number(entry) for entry in reader().outline if not isinstance(entry, list)]
    assert pages == sorted(pages)


def test_outline_leads_to_each_setup() -> None:
    nested = [title for level, title in titles(reader().outline) if level == 1]
    assert (
        sum("long-focus lens" in title for title in nested) == 3
    )  # chart, steps of the set-up, steps of its scenarios


def test_decision_can_be_read_from_a_metre() -> None:
    flow, _ = lay_out(assessment(), load_wording(), PAPERS["A4"], 40.0)
    texts = [mark for mark in flow.pages[0].marks if isinstance(mark, Words)]
    wear = next(mark for mark in texts if mark.text.startswith("Everyone inside"))
    headline = next(mark for mark in texts if mark.text == "109 m")
    assert wear.size >= 13.0
    assert headline.size >= 26.0


def test_every_page_is_a_draft_and_carries_the_footer() -> None:
    count = len(page_texts())
    for number, text in enumerate(page_texts(), 1):
        assert text.count("DRAFT") == 2, "the word across the page, and the one in the header"
        assert f"page {number} of {count}" in text
        assert f"fingerprint {FINGERPRINT[:12]}" in text
        assert "lasersafe 0.1.0" in text
        assert "Welding on stage: open evening of the engineering college" in text


def test_draft_lies_under_the_text() -> None:
    for page in reader().pages:
        content = page.get_contents().get_data().decode("latin-1")
        assert content.index("0.929 g") < content.index("(Laser hazard")


def test_page_count_stays_what_it_is() -> None:
    assert 15 <= len(page_texts()) <= 20
    assert len(page_texts("Letter")) in (len(page_texts()), len(page_texts()) + 1)


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.2756, 841.8898)), ("Letter", (612, 792))])
def test_paper(paper: str, size: tuple[float, float]) -> None:
    for page in reader(paper).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, rel=0, abs=0.01)


def test_unknown_paper_and_language_are_refused() -> None:
    with pytest.raises(InputError, match="paper = 'A5': allowed are A4, Letter"):
        render_sheet(assessment(), paper="A5")
    with pytest.raises(InputError, match=r"language = 'xx': there is no wording for it; there is: de, en"):
        render_sheet(assessment(), language="xx")


def test_equal_input_gives_equal_bytes_in_any_process() -> None:
    here = render_sheet(assessment())
    assert render_sheet(assessment()) == here
    code = (
        "import sys; from tests.behaviour.sample_assessment import assessment; from lasersafe import sheet; "
        "sys.stdout.buffer.write(sheet.render_sheet(assessment()))"
    )
    other = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": "7"},
        capture_output=True,
        check=True,
    )
    assert other.stdout == here
    assert render_sheet(assessment("Another title")) != here


def test_metadata_names_the_case_and_no_moment() -> None:
    facts = reader().metadata
    assert facts is not None
    assert facts.title == assessment().title
    assert "Małgorzata Öztürk-Þórsdóttir" in str(facts.author)
    assert FINGERPRINT in str(facts.subject)
    assert facts.creation_date is not None
    assert facts.creation_date.year == 2000
    assert reader().trailer["/Root"]["/Lang"] == "en"


def test_what_a_user_types_is_printed_as_typed() -> None:
    text = squeezed("".join(page_texts()))
    assert text.count(squeezed(HOSTILE)) >= 3
    assert squeezed(LONG_WORD) in text
    for name, *_ in PEOPLE:
        assert squeezed(name) in text


def test_nothing_is_drawn_from_elsewhere() -> None:
    for page in reader().pages:
        assert "/XObject" not in page["/Resources"]
        assert "/Annots" not in page
    assert b"/JavaScript" not in render_sheet(assessment())


def test_all_fonts_are_embedded() -> None:
    fonts = {str(font) for page in reader().pages for font in page["/Resources"]["/Font"]}
    assert len(fonts) >= 2
    for page in reader().pages:
        for font in page["/Resources"]["/Font"].values():
            assert "/FontFile2" in font.get_object()["/FontDescriptor"]


def test_each_step_has_formula_numbers_result_and_source() -> None:
    text = squeezed("".join(page_texts()))
    for step in assessment().setups[0].zones[0].criterion.steps:
        assert squeezed(step.source) in text
        assert squeezed(step.meaning) in text
    assert squeezed("90 · CA · CC · t0.75") in text
    assert squeezed("√(4 · Φ / (π · Elimit))") in text
    assert squeezed("2530 J/m²") in text
    assert "frommemory" in text


def test_controls_come_in_the_order_of_the_trade() -> None:
    text = squeezed("".join(page_texts()))
    places = [text.index(squeezed(load_wording().text(f"controls.{kind}"))) for kind in ("substitute", "technical")]
    places += [text.index(squeezed(load_wording().text(f"controls.{kind}"))) for kind in ("organisational", "personal")]
    assert places == sorted(places)


def test_scenarios_are_printed_highest_ratio_first_within_their_group() -> None:
    found = assessment()
    text = squeezed("".join(page_texts()))
    groups = [squeezed(load_wording().text(f"scenarios.{key}")) for key in ("fitted", "not_fitted", "left_out")]
    assert text.index(groups[0]) < text.index(groups[1]) < text.index(groups[2])
    assert [s.ratio for s in found.scenarios] == sorted((s.ratio for s in found.scenarios), reverse=True)


def test_signature_lines_for_all_four() -> None:
    last = squeezed("".join(page_texts()[-2:]))
    for role in load_wording().roles.values():
        assert squeezed(role) in last
    assert last.count("Signature") >= 4
    assert last.count("Date") >= 4
    assert squeezed("Dr Никола Ђорђевић") in last


def test_cautions_and_deference_are_printed() -> None:
    flow, _ = lay_out(assessment(), load_wording(), PAPERS["A4"], 40.0)  # without what stands between two pages
    text = squeezed("".join(mark.text for page in flow.pages for mark in page.marks if isinstance(mark, Words)))
    assert squeezed(load_wording().caution_short) in squeezed(page_texts()[0])
    for caution in load_wording().cautions:
        assert squeezed(caution.text) in text
    for key in assessment().other_hazards:
        assert squeezed(load_wording().other_hazard(key).source) in text


def test_no_promise_of_safety() -> None:
    text = "".join(page_texts()).casefold()
    for word in ("safe distance", "eye-safe", "eyesafe", "laser safe ", "laser-safe"):
        assert word not in text


def test_rule_set_differences_only_when_there_are_any() -> None:
    heading = squeezed(load_wording().text("differences.heading"))
    assert heading in squeezed("".join(page_texts()))
    assert heading not in printed(replace(assessment(), differences=()))


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_lies_outside_the_page(paper: str) -> None:
    width, height = PAPERS[paper]
    flow, _ = lay_out(assessment(), load_wording(), PAPERS[paper], 60.0)
    for page in flow.pages:
        for mark in page.marks:
            if isinstance(mark, Words):
                corners = [(mark.x, mark.y), (mark.x + width_of(mark.text, mark.size, mark.bold), mark.y)]
            elif isinstance(mark, Placed):
                wide, high = mark.drawing.width * MILLIMETRE, mark.drawing.height * MILLIMETRE
                corners = [(mark.x, mark.y), (mark.x + wide - 0.01, mark.y + high)]
                assert faults(mark.drawing) == []
            else:
                assert isinstance(mark, Area | Lines)
                corners = [p for run in (mark.rings if isinstance(mark, Area) else mark.runs) for p in run]
            for x, y in corners:
                assert 30.0 <= x <= width - 41.9
                assert 60.0 <= y <= height - 40.0


@pytest.mark.parametrize(
    ("character", "code"),
    [
        ("中", "U+4E2D"),
        ("\N{GRINNING FACE}", "U+1F600"),
        ("\N{HEBREW LETTER ALEF}", "U+05D0"),
        ("\x07", "U+0007"),
        ("\u202e", "U+202E"),
        ("\ufeff", "U+FEFF"),
        ("\ud800", "U+D800"),
    ],
)
def test_a_character_that_cannot_be_printed_is_named(character: str, code: str) -> None:
    found = assessment()
    bad = replace(found, scenarios=(*found.scenarios[:2], replace(found.scenarios[2], person=f"Ann {character} Lee")))
    with pytest.raises(OutputError) as error:
        render_sheet(bad)
    message = str(error.value)
    assert message.startswith("scenarios[3].person: the character ")
    assert code in message
    assert "Ann " in message
    assert "\n" not in message
    assert message.isprintable()


def test_a_key_that_cannot_be_printed_is_named() -> None:
    bad = replace(assessment(), people={"operatör 中": "Ann"})
    with pytest.raises(OutputError, match=r"people \(a key\): the character 中"):
        render_sheet(bad)


def test_white_space_and_composed_letters_are_printed() -> None:
    text = printed(replace(assessment(), notes=("first line\r\nsecond\tline\u00a0here", "e\u0301a and x\u0302 too")))
    assert squeezed("first line second line here") in text
    assert squeezed("éa and") in text


def test_numbers_that_are_none_fail_closed() -> None:
    found = assessment()
    odd = replace(found.scenarios[0], ratio=math.nan, exposure=math.nan, below=False, limit=math.inf)
    huge = replace(found.setups[0].zones[0], distance=math.inf, by_rule_set={"ICNIRP-2013": math.nan})
    setup = replace(found.setups[0], zones=(huge,))
    text = printed(replace(found, scenarios=(odd,), setups=(setup,)))
    assert "notanumber" in text
    assert "∞" in text


def test_an_empty_assessment_is_printed() -> None:
    nothing = Assessment(
        title="Nothing yet",
        place="",
        dates="",
        people={},
        rule_set="ICNIRP-2013",
        rule_sets=("ICNIRP-2013",),
        decision=Decision("none", "none", "none", "Within the limits as described", True),
        setups=(),
        scenarios=(),
        eyewear=(),
        barriers=(),
        controls=(),
        other_hazards=(),
        differences=(),
        inputs=(),
        notes=(),
        fingerprint="0" * 64,
        version="0.1.0",
    )
    text = printed(nothing)
    for key in ("scenarios.none", "eyewear.none", "barriers.none", "hazards.none", "notes.none"):
        assert squeezed(load_wording().text(key)) in text


def test_an_empty_chart_says_so() -> None:
    found = assessment()
    blank = ChartData("no data", "W/m2", "irradiance", (), (), found.setups[0].chart.marks)
    text = printed(replace(found, setups=(replace(found.setups[0], chart=blank),)))
    assert squeezed(load_wording().text("chart.empty")) in text


def test_a_decision_too_long_for_the_block_is_still_printed() -> None:
    found = assessment()
    long = " ".join(f"word{number}" for number in range(900))
    text = printed(replace(found, decision=replace(found.decision, wear=long)))
    assert all(f"word{number}" in text for number in range(900))
    assert squeezed(found.decision.verdict) in text


def test_a_note_longer_than_a_page_is_split_in_a_table() -> None:
    found = assessment()
    long = " ".join(f"entry{number}" for number in range(2500))
    line = replace(found.inputs[0], typed=long)
    text = "".join(
        page.extract_text() for page in PdfReader(io.BytesIO(render_sheet(replace(found, inputs=(line,))))).pages
    )
    for number in range(2500):
        assert f"entry{number}" in text


def test_a_very_long_title_keeps_the_footer_small() -> None:
    title = "a title that goes on " * 60
    pages = PdfReader(io.BytesIO(render_sheet(assessment(title)))).pages
    assert squeezed(title) in squeezed(pages[0].extract_text())
    assert all("…" in page.extract_text() for page in pages)


def test_write_sheet_writes_what_render_sheet_gives(tmp_path: Path) -> None:
    target = tmp_path / "a sheet.pdf"
    write_sheet(assessment(), target, paper="Letter")
    assert target.read_bytes() == render_sheet(assessment(), paper="Letter")
    assert list(tmp_path.iterdir()) == [target]


def test_a_failure_leaves_the_older_file_as_it_was(tmp_path: Path) -> None:
    target = tmp_path / "sheet.pdf"
    target.write_bytes(b"older")
    with pytest.raises(OutputError):
        write_sheet(replace(assessment(), title="中"), target)
    assert target.read_bytes() == b"older"
    (tmp_path / "folder.pdf").mkdir()
    with pytest.raises(OutputError, match="cannot be written"):
        write_sheet(assessment(), tmp_path / "folder.pdf")
    with pytest.raises(OutputError, match="cannot be written"):
        write_sheet(assessment(), target / "sheet.pdf")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["folder.pdf", "sheet.pdf"]
