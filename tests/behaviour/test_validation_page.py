"""The validation page: what was printed as it was printed, and what we worked out ourselves counted apart from it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.behaviour.test_docs import recorded
from tests.project import ROOT
from tools.validation_page import mutant_lines, read_rows, validation_page

HEAD = """
import pytest
from tests.published.printed import WrongPrintError, printed, worked, wrong_in_print
"""
TWO_KINDS = (
    HEAD
    + """
@pytest.mark.published("OSHA-OTM", "Table 1")
def test_both(published_row):
    assert 6.3601 == printed("6.36")
    assert 2.0 == worked("2.0")
    published_row("1.6e-3", 5.0e-3, "now 5.0e-3", superseded=True)

@pytest.mark.published("TROS-2", "page 3")
def test_own():
    assert 2598.4 == worked("2598")
"""
)
WRONG = (
    HEAD
    + """
@pytest.mark.published("OSHA-OTM", "Table 1")
@pytest.mark.xfail(strict=True, raises=WrongPrintError, reason="SUSPECT")
def test_slip():
    wrong_in_print({ours}, "309", expected="388.9")
"""
)


def test_numbers_that_we_worked_out_are_counted_and_stand_apart(tmp_path: Path) -> None:
    page = validation_page(read_rows(recorded(tmp_path, TWO_KINDS)))
    assert "2 numbers typed from 1 documents: agrees 1, superseded 1.\n" in page
    assert "Beside them 2 numbers that we worked out ourselves: agrees 2.\n" in page
    printed, _, own = page[page.index("## OSHA-OTM") : page.index("## TROS-2")].partition("Worked out by us:")
    assert "| both | Table 1 | 1.6e-3 | 0.005000 | +2.1e+02 % | superseded; now 5.0e-3 |" in printed
    assert "| check | place | worked out | ours |" in own
    assert "| both | Table 1 | 2.0 | 2.000 | 0 % | agrees |" in own
    assert " 2.0 |" not in printed


@pytest.mark.parametrize(("ours", "exit_code"), [("388.94", 0), ("388.2", 1), ("309.0", 1), ("1 / 0", 1)])
def test_an_expected_failure_fails_where_ours_is_not_what_is_expected(
    ours: str, exit_code: int, tmp_path: Path
) -> None:
    record = recorded(tmp_path, WRONG.replace("{ours}", ours), exit_code)
    if exit_code == 0:
        assert "| slip | Table 1 | 309 | 388.94 | +26 % | wrong in print; SUSPECT |" in validation_page(
            read_rows(record)
        )


def test_an_expected_failure_that_does_not_name_what_it_expects_is_refused(tmp_path: Path) -> None:
    recorded(tmp_path, WRONG.replace(", raises=WrongPrintError", ""), pytest.ExitCode.USAGE_ERROR)


@pytest.mark.parametrize(
    ("check", "printed", "ours"),
    [
        ("MPE-06-ICNIRP-2013", "1.6e-3", "0.005000"),  # the table of 1993, as printed, not what holds today
        ("MPE-08-EU-2006/25/EC", "610e-6", "0.0019055"),
        ("MPE-10-ICNIRP-2013", "293e-6", "0.0010000"),
        ("MPE-12-ICNIRP-2013", "364e-6", "0.0010000"),
        ("MPE-13-ICNIRP-2013", "28.5e-6", "0.0010000"),
        ("MPE-14-ICNIRP-2013", "31e-6", "0.001000"),
        ("MPE-16-ICNIRP-2013", "16.7e-6", "0.0010000"),
        ("MPE-17-ICNIRP-2013", "1.0e-6", "0.001000"),
        ("MPE-20", "5.1e-3", "0.04049"),
        ("NOHD-01", "1410", "1409.47"),  # all digits of the print
        ("NOHD-03", "390", "388.94"),
        ("LENS-05", "33.3", "33.642"),  # 200 mm / 3 mm x sqrt(4 x 5 W / (25 W/m2 x pi)) = 33.64 m, with the row's limit
        ("ten picoseconds in icnirp", "1e-8", "1.000e-07"),  # PUL-12
        ("ten picoseconds in the directive", "1e-8", "1.500e-08"),
    ],
)
def test_the_page_shows_what_was_printed(check: str, printed: str, ours: str) -> None:
    page = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
    (row,) = [line for line in page.splitlines() if check in line and f" | {printed} | " in line]
    assert row.split(" | ")[2:4] == [printed, ours]


def test_no_row_compares_a_number_that_does_not_come_out_of_the_program() -> None:
    page = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")
    assert re.findall(r"FIB-12|ATM-02|limit typed in|hazard levels typed in", page) == []
    checks = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "tests" / "published").glob("test_*.py"))
    # published_row(text, float(text)) or published_row("5", 5.0) cannot fail
    assert re.findall(r"published_row\([^,]+, (?:float\(|[0-9.]+[,)])", checks) == []


def test_a_changed_line_that_no_test_finds_is_counted_and_named(tmp_path: Path) -> None:
    found = {"name": "no pi", "file": "lasersafe/a.py", "found by": "tests/b.py::test_c[1|2]", "tried": ""}
    missed = {"name": "a sum | left out", "file": "lasersafe/a.py", "found by": "", "tried": "the whole suite"}
    record = tmp_path / "mutants.json"
    record.write_text(json.dumps([found, missed]), encoding="utf-8")
    text = mutant_lines(record)
    assert "2 changes of `tests/mutants.toml`, 1 of them found" in text
    assert "| no pi | lasersafe/a.py | b.py::test_c[1\\|2] |" in text
    assert "| a sum \\| left out | lasersafe/a.py | **not found** by the whole suite |" in text
    assert mutant_lines(tmp_path / "none.json") == ""
