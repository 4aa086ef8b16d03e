"""Killed at any moment: the old file or the new one is there, whole; never half of one."""

from __future__ import annotations

import json
import os
import random
import subprocess
import time
from pathlib import Path
from typing import Any

import pytest

from lasersafe.batch.record import part_of
from lasersafe.signing.container import open_sheet
from lasersafe.signing.making import annex_path
from lasersafe.signing.record import read_record, record_path
from tests.behaviour.signing_help import PEOPLE, command, print_sheet, sign_all, write_case
from tests.project import ROOT

LONGEST = 1.6  # s; a run takes about a second


def killed(arguments: list[str], delay: float) -> bool:
    """Start a program and kill it after a time; return whether it was still running."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(
        arguments, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL
    )
    try:
        process.wait(delay)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return True
    return False


@pytest.mark.parametrize("count", [4, pytest.param(100, marks=pytest.mark.soak)])
def test_killing_sheet_leaves_the_old_file_or_the_new_one(tmp_path: Path, count: int) -> None:
    dice = random.Random(count)
    case, sheet = write_case(tmp_path), tmp_path / "sheet.pdf"
    sign_all(case)
    print_sheet(case, sheet)
    whole, annex = sheet.read_bytes(), annex_path(sheet).read_bytes()
    stopped = 0
    for number in range(count):
        if number % 3 == 0:
            sheet.unlink(missing_ok=True)
        arguments = command("sheet", case, "-o", sheet, *(["--replace"] if number % 2 else []))
        stopped += killed(arguments, dice.uniform(0.3, LONGEST))
        assert not sheet.exists() or sheet.read_bytes() == whole
        for kept in tmp_path.glob("sheet.*.pdf"):
            assert kept.read_bytes() == (annex if kept.stem.endswith("-annex") else whole)
            kept.unlink()
    assert stopped


@pytest.mark.parametrize("count", [4, pytest.param(100, marks=pytest.mark.soak)])
def test_killing_signoff_leaves_the_old_record_or_the_new_one(tmp_path: Path, count: int) -> None:
    dice = random.Random(count)
    case = write_case(tmp_path)
    stopped = 0
    signed = 0
    for number in range(count):
        role, name = list(PEOPLE.items())[number % 4]
        before = len(read_record(record_path(case)).entries)
        arguments = command("signoff", case, "--role", role, "--name", name, "--again")
        stopped += killed(arguments, dice.uniform(0.3, LONGEST))
        after = len(read_record(record_path(case)).entries)  # refuses a record that is not whole
        assert after in (before, before + 1)
        signed += after - before
    assert stopped
    time.sleep(0.01)
    sign_all_that_are_missing(case)
    print_sheet(case, tmp_path / "sheet.pdf")
    assert open_sheet(tmp_path / "sheet.pdf").appended == b""


@pytest.mark.parametrize("count", [1, pytest.param(60, marks=pytest.mark.soak)])
def test_killing_batch_leaves_whole_rows_and_the_next_run_goes_on(tmp_path: Path, count: int) -> None:
    dice = random.Random(count)
    inventory, out = tmp_path / "in.csv", tmp_path / "out.csv"
    heading = "name,class,wavelength [nm],power [W],beam diameter [mm],divergence [mrad],criterion,person distance [m]"
    lines = [f"L{number},4,{1030 + number % 7},{1 + number},3,2,1/e2,1" for number in range(60 if count > 1 else 20)]
    inventory.write_text("\n".join([heading, *lines]))
    arguments = command("batch", inventory, "-o", out, "--processes", "1", "--json")

    def finished() -> dict[str, Any]:
        return dict(json.loads(subprocess.run(arguments, capture_output=True, text=True, check=True).stdout))

    assert finished()["worked_out"] == len(lines)
    whole = out.read_bytes()
    taken_over = 0
    for _ in range(count):
        out.unlink()
        killed(arguments, dice.uniform(0.8, 2.0))
        assert not out.exists() or out.read_bytes() == whole
        taken_over += finished()["taken_over"]
        assert out.read_bytes() == whole
        assert not part_of(out).exists()
    assert taken_over or count < 10


def sign_all_that_are_missing(case: Path) -> None:
    """Sign in every role; a lock that a killed program left behind is no hindrance."""
    from tests.behaviour.signing_help import sign

    for role, name in PEOPLE.items():
        assert sign(case, name, role, again=True)["role"] == role


def test_a_write_that_fails_half_way_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from lasersafe import files
    from lasersafe.errors import OutputError

    path = tmp_path / "s.pdf"
    path.write_bytes(b"old")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        files.write_file(path, b"new")
    assert [(one.name, one.read_bytes()) for one in tmp_path.iterdir()] == [("s.pdf", b"old")]
