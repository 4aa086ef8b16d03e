"""``lasersafe register``: a folder as a list; what is damaged is one line."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import time
from pathlib import Path

import pytest

from lasersafe.signing.container import register_answer
from tests.behaviour.signing_help import case_text, print_sheet, run, signed_sheet, write_case


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a signed sheet, an overdue draft, and files that are no sheets."""
    sheets = tmp_path / "sheets"
    (sheets / "below").mkdir(parents=True)
    (sheets / "a signed.pdf").write_bytes(signed_sheet())
    (sheets / "b broken.pdf").write_bytes(signed_sheet()[:-5])
    (sheets / "c foreign.pdf").write_bytes(b"%PDF-1.7\nhello\n%%EOF\n")
    (sheets / "notes.txt").write_text("no sheet")
    (sheets / "below" / "e.PDF").write_bytes(signed_sheet())
    case = write_case(tmp_path)
    text = re.sub(r"review_by = \S+", "review_by = 2020-01-31", case_text())
    case.write_text(re.sub(r'place = "[^"]*"', 'place = "=1+1"', text), encoding="utf-8")
    print_sheet(case, sheets / "d draft.pdf")
    (sheets / "d draft-annex.pdf").rename(tmp_path / "annex.pdf")
    return sheets


def test_an_annex_is_told_from_a_sheet(folder: Path) -> None:
    (folder.parent / "annex.pdf").rename(folder / "d draft-annex.pdf")
    data = json.loads(run("register", folder, "--json").stdout)
    (row,) = [one for one in data["sheets"] if one["file"] == "d draft-annex.pdf"]
    assert (row["state"], row["handout"], row["problem"]) == ("handout", "annex", "")
    answer = run("verify", folder / "d draft-annex.pdf")  # it was called damaged, or saved anew by another program
    assert answer.returncode == 15
    assert (
        "annex.pdf: no sheet: this is no sheet but a page that goes with one: annex; check the sheet" in answer.stdout
    )
    assert "damaged" not in answer.stdout


def test_the_table_has_one_line_for_each_file(folder: Path) -> None:
    result = run("register", folder)
    assert (result.returncode, result.stderr) == (0, "")
    head, *lines, foot = result.stdout.splitlines()
    assert head.split()[:2] == ["file", "place"]
    assert [line.split(".pdf")[0] for line in lines] == ["a signed", "b broken", "c foreign", "d draft"]
    assert "signed" in lines[0]
    assert "OVERDUE" not in lines[0]
    assert "the file is cut off" in lines[1]
    assert "no sheet of lasersafe" in lines[2]
    assert "OVERDUE" in lines[3]
    assert foot == "4 files, 1 overdue, 2 not readable"


def test_json_and_csv_say_the_same(folder: Path) -> None:
    data = json.loads(run("register", folder, "--json", "--recursive").stdout)
    assert (data["count"], data["overdue"], data["not_readable"]) == (5, 1, 2)
    rows = list(csv.DictReader(io.StringIO(run("register", folder, "--csv", "--recursive").stdout)))
    assert [row["file"] for row in rows] == [one["file"] for one in data["sheets"]]
    draft = next(row for row in rows if row["file"] == "d draft.pdf")
    assert (draft["state"], draft["review_by"], draft["overdue"]) == ("draft", "2020-01-31", "yes")
    assert draft["place"] == "'=1+1", "no formula for a spreadsheet"


def test_the_day_decides_what_is_overdue(folder: Path) -> None:
    assert register_answer(folder, False, "2020-01-31")[0]["overdue"] == 0
    assert register_answer(folder, False, "2020-02-01")[0]["overdue"] == 1
    assert register_answer(folder, False, "2091-01-01")[0]["overdue"] == 2


def test_what_is_no_plain_file_does_not_stop_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.pdf")
    (tmp_path / "folder.pdf").mkdir()
    (tmp_path / "nowhere.pdf").symlink_to(tmp_path / "missing")
    rows = register_answer(tmp_path, False, None)[0]["sheets"]
    assert [(row["file"], row["state"]) for row in rows] == [
        ("folder.pdf", "unreadable"), ("nowhere.pdf", "unreadable"), ("pipe.pdf", "unreadable"),
    ]  # fmt: skip


def test_names_that_would_move_the_cursor_are_spelled_out(tmp_path: Path) -> None:
    (tmp_path / "a\x1b[31m\n.pdf").write_bytes(b"junk")
    text = register_answer(tmp_path, False, None)[1]
    assert "\x1b" not in text
    assert len(text.splitlines()) == 3


def test_an_empty_folder_and_a_missing_one(tmp_path: Path) -> None:
    assert run("register", tmp_path).stdout == "no PDF file here\n"
    result = run("register", tmp_path / "none")
    assert (result.returncode, result.stderr.count("\n")) == (2, 1)


@pytest.mark.soak
def test_ten_thousand_sheets_take_less_than_a_minute(tmp_path: Path) -> None:
    for number in range(10_000):
        content = signed_sheet() if number % 100 else signed_sheet()[:-1]
        (tmp_path / f"{number:05d}.pdf").write_bytes(content)
    start = time.perf_counter()
    result = run("register", tmp_path)
    assert time.perf_counter() - start < 60.0
    assert result.stdout.splitlines()[-1] == "10000 files, 0 overdue, 100 not readable"
