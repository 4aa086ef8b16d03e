"""What a batch takes over from an older result, and what it says about files that it cannot read."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path

import pytest

from lasersafe.batch.record import FIELDS, digest_of, from_json, part_of, sealed
from lasersafe.quantity import for_spreadsheet, from_spreadsheet
from lasersafe.signing.container import register_answer
from tests.behaviour.command import run
from tests.behaviour.test_batch import unfinished

HEADING = "name,class,wavelength [nm],power [W],beam diameter [mm],divergence [mrad],criterion,person distance [m]"
ROWS = ("One,4,532,2,3,2,1/e2,1", "Two,4,1064,2,3,2,1/e2,1")


def inventory(path: Path, *rows: str) -> Path:
    path.write_text("\n".join((HEADING, *rows)) + "\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("suffix", [".csv", ".jsonl"])
def test_a_row_that_was_edited_in_the_result_is_worked_out_anew_and_said(tmp_path: Path, suffix: str) -> None:
    source, out = inventory(tmp_path / "in.csv", *ROWS), tmp_path / f"out{suffix}"
    assert run("batch", source, "-o", out).code == 0
    whole = out.read_bytes()
    no, yes = (b",no,", b",yes,") if suffix == ".csv" else (b'"passed": false', b'"passed": true')
    assert whole.count(no) >= 2
    end = whole.rindex(b"local law")
    for changed in (whole.replace(no, yes, 1), whole[:end] + b"l0cal law" + whole[end + 9 :], whole[:-2] + b"\n"):
        out.write_bytes(changed)
        answer = run("batch", source, "-o", out, "--json")
        data = answer.data
        assert (data["worked_out"], data["taken_over"]) == (1, 1)
        assert (
            "note: 1 row of the result that is there does not fit the digest: changed since, and worked out anew"
            in answer.err
        )
        assert data["remarks"] == [line.removeprefix("note: ") for line in answer.err.splitlines()]
        assert out.read_bytes() == whole


def test_a_bit_that_flips_in_the_part_file_is_found(tmp_path: Path) -> None:
    source, out = inventory(tmp_path / "in.csv", *ROWS), tmp_path / "out.jsonl"
    assert run("batch", source, "-o", out).code == 0
    whole = out.read_bytes()
    out.unlink()
    for bit in (1, 4):
        unfinished(out, whole.decode().splitlines())
        part = part_of(out).read_bytes()
        place = part.index(b'"distance_m": ') + 15
        part_of(out).write_bytes(part[:place] + bytes([part[place] ^ bit]) + part[place + 1 :])
        assert run("batch", source, "-o", out, "--json").data["worked_out"] == 1
        assert out.read_bytes() == whole
        out.unlink()


def test_results_of_an_inventory_of_the_same_name_are_not_replaced_unasked(tmp_path: Path) -> None:
    for name in ("hall", "yard"):
        (tmp_path / name).mkdir()
    one = inventory(tmp_path / "hall/list.csv", *ROWS)
    two = inventory(tmp_path / "yard/list.csv", *(f"Other {row}" for row in ROWS))
    out = tmp_path / "results.csv"
    assert run("batch", one, "-o", out).code == 0
    whole = out.read_bytes()
    answer = run("batch", two, "-o", out)
    assert (answer.code, out.read_bytes()) == (2, whole)
    assert "results of another 'list.csv': most of its cases are not in this one" in answer.err
    assert run("batch", inventory(one, *ROWS, "Third,4,532,2,3,2,1/e2,1"), "-o", out).code == 0


def test_results_of_another_inventory_are_not_replaced_unasked(tmp_path: Path) -> None:
    one, two = inventory(tmp_path / "a.csv", *ROWS), inventory(tmp_path / "b.csv", "Bad,4,53,2,3,2,1/e2,1")
    out = tmp_path / "results-of-a.csv"
    assert run("batch", one, "-o", out).code == 0
    whole = out.read_bytes()
    answer = run("batch", two, "-o", out)
    assert answer.code == 2
    assert "holds results of 'a.csv', not of 'b.csv'; choose another name, or say --replace" in answer.err
    assert out.read_bytes() == whole
    assert not part_of(out).exists() or not part_of(out).read_bytes()
    part_of(out).write_text("my notes\n", encoding="utf-8")
    for more in ([], ["--replace"]):
        assert "is no unfinished result" in run("batch", one, "-o", out, *more).err
    assert part_of(out).read_text(encoding="utf-8") == "my notes\n"
    part_of(out).unlink()
    assert run("batch", two, "-o", out, "--replace").code == 2  # the row is refused, and that is the result now
    assert out.read_bytes() != whole


def test_case_files_that_were_worked_up_are_kept(tmp_path: Path) -> None:
    source, folder = inventory(tmp_path / "in.csv", *ROWS), tmp_path / "cases"
    words = ["batch", source, "-o", tmp_path / "out.csv", "--cases", folder]
    assert run(*words).code == 0
    first, second = sorted(folder.iterdir())
    first.write_bytes(first.read_bytes() + b"# looked at\n")
    inventory(source, *(row.replace(",2,3", ",3,3") for row in ROWS))
    before, old = first.read_bytes(), second.read_bytes()
    for more in ([], ["--replace"]):
        answer = run(*words, *more)
        assert answer.code == 0
        assert f"are kept as they are: {first.name}" in answer.err
        assert first.read_bytes() == before
        assert second.read_bytes() != old  # nobody touched it: it follows its row


def test_what_cannot_be_read_in_a_folder_is_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run("batch", inventory(tmp_path / "in.csv", *ROWS), "--cases", tmp_path / "cases").code == 0
    folder, scandir = tmp_path / "cases", os.scandir
    first, second = sorted(folder.iterdir())
    first.rename(folder / "A.TOML")
    (folder / "closed").mkdir()
    (folder / "link").symlink_to(tmp_path, target_is_directory=True)
    (folder / "gone.toml").symlink_to(folder / "nowhere")
    second.rename(os.fsdecode(os.fsencode(folder) + b"/\xff.toml"))

    def guarded(path: object) -> object:
        if str(path).endswith("closed"):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)  # type: ignore[call-overload]

    monkeypatch.setattr(os, "scandir", guarded)
    out = tmp_path / "out.csv"
    answer = run("batch", folder, "-o", out)
    assert answer.code == 2
    with out.open(encoding="utf-8", newline="") as file:
        found = {row["case"]: (row["status"], row["reason"]) for row in csv.DictReader(file)}
    assert found == {
        "A.TOML": ("assessed", ""),
        "closed": ("refused", "this folder cannot be read: Permission denied"),
        "gone.toml": ("refused", found["gone.toml"][1]),
        "link": ("refused", "this is a link to a folder, which is not followed; name the folder"),
        "\\xff.toml": ("refused", "the name of the file is not UTF-8; give it another name"),
    }
    assert "there is no such file" in found["gone.toml"][1]
    rows = register_answer(folder, True, None)[0]["sheets"]
    assert [(row["file"], row["state"]) for row in rows] == [("closed", "unreadable"), ("link", "unreadable")]


def test_a_name_that_is_not_utf_8_is_refused_in_form(tmp_path: Path) -> None:
    source = inventory(tmp_path / "in.csv", *ROWS)
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xfe.csv"))
    answer = run("batch", source, "-o", odd)
    assert (answer.code, answer.err.count("\n")) == (2, 1)
    assert "\\xfe.csv': the name is not UTF-8" in answer.err
    source.rename(odd)
    answer = run("batch", odd)
    assert (answer.code, answer.err.count("\n")) == (2, 1)
    assert "\\xfe.csv: the name of the file is not UTF-8" in answer.err


def test_a_part_of_a_text_cannot_become_a_formula_whatever_separates_cells(tmp_path: Path) -> None:
    name = 'x,=1+1;@a,-b,"=2'
    source = tmp_path / "in.csv"
    cell = '"' + name.replace('"', '""') + '"'
    source.write_text(f"{HEADING}\n{ROWS[0].replace('One', cell)}\n", encoding="utf-8")
    for more in ([], ["--decimal-comma"]):
        out = tmp_path / "out.csv"
        assert run("batch", source, "-o", out, *more).code == 0
        for separator in ",;\t":
            text = out.read_text(encoding="utf-8-sig").splitlines()[1]
            for part in text.split(separator):  # as a program that takes another separator reads it
                assert part.lstrip('"')[:1] not in ("=", "@", "+"), part
    for text in (name, "=1", "'=1", "x,'=1", "a, -5", "-", "''=", '","=', "it's, 'so'", "\t=", "a\n=b"):
        assert from_spreadsheet(for_spreadsheet(text)) == text
    case = tmp_path / "case.toml"
    from lasersafe.ask.cases import template_text

    lines = template_text("visible-diode").decode().splitlines()
    lines[next(n for n, line in enumerate(lines) if line.startswith("title = "))] = 'title = "x,=1+1"'
    case.write_text("\n".join(lines), encoding="utf-8")
    table = tmp_path / "t.csv"
    assert run("sweep", case, "--vary", "laser.power=1mW..2mW:2", "-o", table).code == 0
    assert "# x,'=1+1: " in table.read_text(encoding="utf-8")


def test_the_digest_of_a_row_is_that_of_the_row_read_again(tmp_path: Path) -> None:
    source, out = inventory(tmp_path / "in.csv", *ROWS, "'=1,4,532,2,3,2,1/e2,1"), tmp_path / "out.jsonl"
    assert run("batch", source, "-o", out).code == 0
    for line in out.read_text(encoding="utf-8").splitlines():
        record = from_json(line)
        assert record is not None
        for comma in (False, True):
            again = {one.key: one.value(one.cell(record[one.key], comma), comma) for one in FIELDS}
            assert again is not None
            assert digest_of(again) == record["digest"]
        for field in FIELDS:
            if field.key not in ("digest", "caution"):
                other = (
                    7 if field.kind in ("number", "whole") else not record[field.key] if field.kind == "yes" else "x"
                )
                assert sealed(record | {field.key: other})["digest"] != record["digest"]
    assert json.loads(out.read_text(encoding="utf-8").splitlines()[2])["case"] == "'=1"
