"""The generated pages: up to date, and made of what the program and the tests really say."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.project import ROOT
from tools.cases_page import cases_page
from tools.commands_page import command_names, commands_page, help_text
from tools.make_docs import difference
from tools.validation_page import read_rows, validation_page

CHECKS = """
import pytest
from tests.published.printed import WrongPrintError, printed, worked, wrong_in_print

@pytest.mark.published("OSHA-OTM", "Table 1", note="limit of 1993 put in")
@pytest.mark.parametrize("value", [pytest.param(6.3601, id="A-1"), pytest.param(6.3581, id="A-2")])
def test_agrees(value):
    assert value == printed("6.36")

@pytest.mark.xfail(strict=True, raises=WrongPrintError, reason="SUSPECT: a | slip on page 3")
@pytest.mark.published("TROS-2", "page 3")
def test_slip():
    wrong_in_print(3120.0, "3.15e3", expected="3120")

@pytest.mark.published("TROS-2", "page 4")
def test_with_a_tolerance(published_row):
    published_row("0.5", 0.56, note="read off a chart")
    assert 0.56 == pytest.approx(0.5, rel=0.2)

def test_of_something_else():
    assert 1.0 == printed("1")
"""


def recorded(folder: Path, code: str, exit_code: int = 0) -> Path:
    """Run test code in a process of its own, with the recorder; return the record."""
    (folder / "test_code.py").write_text(code, encoding="utf-8")
    (folder / "pytest.ini").write_text("[pytest]\nmarkers =\n  published\n", encoding="utf-8")
    record = folder / "record.json"
    command = [sys.executable, "-m", "pytest", "-q", "-p", "tests.published.record", "-p", "no:cacheprovider"]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command += ["--published-record", str(record), "test_code.py"]
    result = subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)
    assert result.returncode == exit_code, result.stdout + result.stderr
    return record


def test_commands_page_is_up_to_date() -> None:
    assert difference("commands.md", commands_page()) == []


def test_cases_page_is_up_to_date() -> None:
    assert difference("cases.md", cases_page()) == []


def test_every_command_is_on_its_page() -> None:
    names = command_names()
    assert {"assess", "check", "demo", "eyewear", "limit", "new", "reach", "sheet", "units"} <= set(names)
    page = commands_page()
    for name in names:
        assert f"## lasersafe {name}\n" in page
        for line in help_text(name).splitlines():
            assert line in page


def test_the_short_help_of_each_command_fits_its_line() -> None:
    assert [line for line in help_text().splitlines() if line.endswith("...")][1:] == []


def test_what_the_published_checks_compare_gets_into_the_table(tmp_path: Path) -> None:
    rows = read_rows(recorded(tmp_path, CHECKS))
    assert [(row["case"], row["printed"], row["ours"], row["agrees"], row["outcome"]) for row in rows] == [
        ("A-1", "6.36", 6.3601, True, "passed"),
        ("A-2", "6.36", 6.3581, True, "passed"),
        ("", "3.15e3", 3120.0, False, "xfailed"),
        ("", "0.5", 0.56, False, "passed"),
    ]
    page = validation_page(rows)
    assert "4 numbers typed from 2 documents: agrees 2, differs 1, wrong in print 1." in page
    assert "| agrees: A-1 | Table 1 | 6.36 | 6.3601 | +0.0016 % | agrees; limit of 1993 put in |" in page
    assert "| slip | page 3 | 3.15e3 | 3120.0 | -0.95 % | wrong in print; SUSPECT: a \\| slip on page 3 |" in page
    assert "| with a tolerance | page 4 | 0.5 | 0.5600 | +12 % | differs; read off a chart |" in page
    assert page.index("## OSHA-OTM") < page.index("A-2") < page.index("## TROS-2")
    with pytest.raises(SystemExit, match=r"no entry in shared/references\.bib"):
        validation_page([row | {"source": "a paper"} for row in rows])


def test_a_failed_check_makes_no_page(tmp_path: Path) -> None:
    record = recorded(tmp_path, CHECKS.replace("6.3581", "6.3541"), exit_code=1)
    assert {row["outcome"] for row in json.loads(record.read_text(encoding="utf-8"))} == {"passed", "failed", "xfailed"}
    with pytest.raises(SystemExit, match=r"these tests failed: test_code.py::test_agrees"):
        read_rows(record)


def test_a_marker_without_a_place_is_refused(tmp_path: Path) -> None:
    record = recorded(
        tmp_path, CHECKS.replace('("TROS-2", "page 4")', '("TROS-2")'), exit_code=pytest.ExitCode.USAGE_ERROR
    )
    assert json.loads(record.read_text(encoding="utf-8")) == []
