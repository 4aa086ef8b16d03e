"""The printed sheet as a reader meets it: text of the pages, footer, outline, paper, refusals."""

from __future__ import annotations

import io
import math
import os
import subprocess
import sys
import unicodedata
from collections import Counter
from dataclasses import replace
from functools import cache

import pytest
from pypdf import PdfReader

from lasersafe.assessment.decision import metres
from lasersafe.drawing.primitives import Area, Lines, Words
from lasersafe.drawing.text import distance, ratio, width_of
from lasersafe.errors import InputError, OutputError
from lasersafe.quantity import times
from lasersafe.results import Assessment, ChartData, Decision, SignOff
from lasersafe.sheet import PAPERS, lay_out, lay_out_annex, render_sheet
from lasersafe.sheet.flow import MILLIMETRE, Placed, Sheet
from lasersafe.sheet.paint import refuse_unprintable
from lasersafe.wording import load_wording
from tests.behaviour.sample_assessment import FINGERPRINT, HOSTILE, LONG_WORD, PEOPLE, assessment
from tests.drawing_faults import faults
from tests.project import ROOT

SECTIONS = (
    "Decision",
    "Sign-off",
    "People",
    "Barriers",
    "Controls in place",
    "Acceptance test: measured against computed",
    "Other hazards",
    "Cautions, and who decides",
    "Review triggers and expiry",
)
ANNEX = (
    "Inputs as typed",
    "Set-ups: exposure over distance",
    "Scanned beams: running and stopped",
    "Wavelengths and beams that add",
    "Extended sources",
    "Scenarios, highest ratio first",
    "Eyewear",
    "Barriers",
    "Settings, pulse rules and class",
    "Calculation, step by step",
    "Controls to be considered",
    "Sources of the other hazards",
    "Data for a notice to an authority",
    "Pre-use check and stop criteria",
    "Casualty card",
    "Door sign",
)


@cache
def reader(paper: str = "A4", kind: str = "sheet") -> PdfReader:
    return PdfReader(io.BytesIO(render_sheet(assessment(), paper=paper, kind=kind)))


@cache
def page_texts(paper: str = "A4", kind: str = "sheet") -> tuple[str, ...]:
    return tuple(page.extract_text() for page in reader(paper, kind).pages)


def annex_text() -> str:
    return squeezed("".join(page_texts(kind="annex")))


def laid_out(paper: str = "A4", foot: float = 40.0, kind: str = "sheet") -> Sheet:
    """Return the pages without what stands at the head and foot of each."""
    sheet = Sheet(PAPERS[paper], (42.0, 48.0, 42.0, foot + 12.0), assessment(), load_wording(), paper)
    if kind == "sheet":
        lay_out(sheet, SignOff())
    else:
        lay_out_annex(sheet)
    return sheet


def squeezed(text: str) -> str:
    """Return a text without white space, since a line may break anywhere."""
    return "".join(unicodedata.normalize("NFC", text).split())


def printed(found: Assessment, kind: str = "annex") -> str:
    pages = PdfReader(io.BytesIO(render_sheet(found, kind=kind))).pages
    return squeezed("".join(page.extract_text() for page in pages))


def titles(entries: list[object], level: int = 0) -> list[tuple[int, str]]:
    found: list[tuple[int, str]] = []
    for entry in entries:
        if isinstance(entry, list):
            found += titles(entry, level + 1)
        else:
            found.append((level, str(entry["/Title"])))  # type: ignore[index]
    return found


def test_sections_come_in_order_and_the_decision_is_on_the_first_page() -> None:
    first = squeezed(page_texts()[0])
    for part in ("Do not switch on as planned", "Everyone inside", "109 m", "What the barriers must hold"):
        assert squeezed(part) in first
    for kind, sections in (("sheet", SECTIONS), ("annex", ANNEX)):
        made = reader(kind=kind)
        assert tuple(title for level, title in titles(made.outline) if level == 0) == sections
        pages = [made.get_destination_page_number(entry) for entry in made.outline if not isinstance(entry, list)]
        assert pages == sorted(pages)


def test_outline_leads_to_each_setup() -> None:
    nested = [title for level, title in titles(reader(kind="annex").outline) if level == 1]
    assert (
        sum("long-focus lens" in title for title in nested) == 3
    )  # chart, steps of the set-up, steps of its scenarios


def test_distances_of_the_decision_are_printed_large() -> None:
    texts = [mark for mark in laid_out().pages[0].marks if isinstance(mark, Words)]
    far = [mark for mark in texts if mark.text == "109 m"]
    assert len(far) == 3, "guests, crew and cameras have a line each"
    assert all(mark.size >= 12.0 and mark.bold for mark in far)


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


def test_the_annex_is_no_draft_and_says_where_it_belongs() -> None:
    pages = page_texts(kind="annex")
    assert FINGERPRINT in squeezed(pages[0])
    for text in pages:
        assert "DRAFT" not in text
        assert squeezed("prints its checksum") in squeezed(text)


def test_the_sheet_prints_the_checksum_of_the_annex() -> None:
    pages = PdfReader(io.BytesIO(render_sheet(assessment(), annex="ab12" * 16))).pages
    assert "ab12" * 16 in squeezed("".join(page.extract_text() for page in pages[:3]))


@pytest.mark.parametrize(("paper", "size"), [("A4", (595.2756, 841.8898)), ("Letter", (612, 792))])
def test_paper(paper: str, size: tuple[float, float]) -> None:
    for page in reader(paper).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, rel=0, abs=0.01)


def test_unknown_paper_and_language_are_refused() -> None:
    with pytest.raises(InputError, match="paper = 'A5' is not known here; write one of: A4, Letter"):
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


@pytest.mark.parametrize("kind", ["sheet", "annex"])
def test_headings_text_and_drawings_are_tagged(kind: str) -> None:
    """A reader that speaks finds each heading of the outline as a heading, and a name for each drawing."""
    read = reader(kind=kind)
    root = read.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    whole = root["/StructTreeRoot"]["/K"]
    assert whole["/S"] == "/Document"
    found = [one.get_object() for one in whole["/K"]]
    drawings = [one["/Alt"] for one in found if one["/S"] == "/Figure"]
    assert drawings
    assert all(drawings)
    sheet = laid_out(kind=kind)
    levels = Counter(entry.level + 1 for entry in sheet.entries)
    assert Counter(int(one["/S"][2:]) for one in found if one["/S"].startswith("/H")) == levels
    parents = root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    for number, page in enumerate(read.pages):
        tagged = page.get_contents().get_data().count(b"<</MCID ")
        assert page["/StructParents"] == parents[2 * number] == number
        assert tagged == sum(one["/Pg"] == page for one in found) > 0


def test_what_a_user_types_is_printed_as_typed() -> None:
    text = squeezed("".join(page_texts())) + annex_text()
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
    text = annex_text()
    for step in assessment().setups[0].zones[0].criterion.steps:
        assert squeezed(step.source) in text
        assert squeezed(step.meaning) in text
    assert squeezed("90 · CA · CC · t0.75") in text
    assert squeezed("√(4 · Φ / (π · Elimit))") in text
    assert squeezed("2530 J/m²") in text
    assert "frommemory" in text


def test_controls_come_in_the_order_of_the_trade() -> None:
    text = annex_text()
    places = [text.index(squeezed(load_wording().text(f"controls.{kind}"))) for kind in ("substitute", "technical")]
    places += [text.index(squeezed(load_wording().text(f"controls.{kind}"))) for kind in ("organisational", "personal")]
    assert places == sorted(places)


def test_scenarios_are_printed_highest_ratio_first_within_their_group() -> None:
    found = assessment()
    text = annex_text()
    groups = [squeezed(load_wording().text(f"scenarios.{key}")) for key in ("fitted", "not_fitted", "left_out")]
    assert text.index(groups[0]) < text.index(groups[1]) < text.index(groups[2])
    assert [s.ratio for s in found.scenarios] == sorted((s.ratio for s in found.scenarios), reverse=True)


def test_signature_lines_for_all_four_stand_on_the_first_two_pages() -> None:
    last = squeezed("".join(page_texts()[:2]))
    for role in load_wording().roles.values():
        assert squeezed(role) in last
    assert last.count("Signature") >= 4
    assert last.count("Date") >= 4
    assert squeezed("Dr Никола Ђорђевић") in last


def test_cautions_and_deference_are_printed() -> None:
    text = squeezed("".join(mark.text for page in laid_out().pages for mark in page.marks if isinstance(mark, Words)))
    assert squeezed(load_wording().caution_short) in squeezed(page_texts()[0])
    for caution in load_wording().cautions:
        assert squeezed(caution.text) in (annex_text() if caution.key in ("from memory", "review") else text)
    for key in assessment().other_hazards:
        assert squeezed(load_wording().other_hazard(key).text) in text
        assert squeezed(load_wording().other_hazard(key).source) in annex_text()


def test_no_promise_of_safety() -> None:
    text = "".join((*page_texts(), *page_texts(kind="annex"))).casefold()
    for word in ("safe distance", "eye-safe", "eyesafe", "laser safe ", "laser-safe"):
        assert word not in text


@pytest.mark.parametrize("kind", ["sheet", "annex"])
@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_lies_outside_the_page(paper: str, kind: str) -> None:
    width, height = PAPERS[paper]
    for page in laid_out(paper, 60.0, kind).pages:
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
        refuse_unprintable(bad)  # it stands on no page, so that the sheet is printed
    assert render_sheet(bad).startswith(b"%PDF")


def test_white_space_and_composed_letters_are_printed() -> None:
    found = assessment()
    typed = "first line\r\nsecond\tline\u00a0here", "e\u0301a and x\u0302 too"
    text = printed(replace(found, inputs=tuple(replace(found.inputs[0], typed=one) for one in typed)))
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
    assert ratio(math.nan) == times(math.nan) == "∞", "a sentence and a table say the same of one ratio"
    assert distance(math.nan).replace("\u00a0", " ") == metres(math.nan) == "∞ m"


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
    for key in ("scenarios.none", "eyewear.none", "barriers.none"):
        assert squeezed(load_wording().text(key)) in text
    sheet = printed(nothing, "sheet")
    for key in ("scenarios.none", "barriers.none", "hazards.none", "controls.none"):
        assert squeezed(load_wording().text(key)) in sheet


def test_an_empty_chart_says_so() -> None:
    found = assessment()
    blank = ChartData("no data", "W/m2", "irradiance", (), (), found.setups[0].chart.marks)
    text = printed(replace(found, setups=(replace(found.setups[0], chart=blank),)))
    assert squeezed(load_wording().text("chart.empty")) in text


def test_a_decision_too_long_for_the_block_is_still_printed() -> None:
    found = assessment()
    long = " ".join(f"word{number}" for number in range(900))
    text = printed(replace(found, decision=replace(found.decision, wear=long)), "sheet")
    assert all(f"word{number}" in text for number in range(900))
    assert squeezed(found.decision.verdict) in text


def test_a_note_longer_than_a_page_is_split_in_a_table() -> None:
    found = assessment()
    long = " ".join(f"entry{number}" for number in range(2500))
    line = replace(found.inputs[0], typed=long)
    text = "".join(
        page.extract_text()
        for page in PdfReader(io.BytesIO(render_sheet(replace(found, inputs=(line,)), kind="annex"))).pages
    )
    for number in range(2500):
        assert f"entry{number}" in text


def test_a_very_long_title_keeps_the_footer_small() -> None:
    title = "a title that goes on " * 60
    pages = PdfReader(io.BytesIO(render_sheet(assessment(title)))).pages
    assert squeezed(title) in squeezed(pages[0].extract_text())
    assert all("…" in page.extract_text() for page in pages)
