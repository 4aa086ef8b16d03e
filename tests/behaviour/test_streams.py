"""What is printed reaches its reader whole, in letters that the stream can hold, or the program does not end well."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lasersafe.cli import options as streams
from lasersafe.cli.options import print_json
from tests.behaviour.command import run_encoded
from tests.behaviour.test_strike_outs import PLAIN
from tests.project import ROOT

TITLE = "Übung ±5 µm, 3 m², ≤ 10⁻⁶ Ω, λ 中"
PROGRAM = [sys.executable, "-m", "lasersafe.cli"]


def lasersafe(*words: object, into: object = subprocess.PIPE, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [*PROGRAM, *map(str, words)], env=os.environ | environment, cwd=ROOT, check=False, stdout=into,  # type: ignore[call-overload]
        stderr=subprocess.PIPE,
    )  # fmt: skip


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("case") / "case.toml"
    text = PLAIN.replace('"500 W"', '"0.1 mW"')  # below every limit
    path.write_text(text.replace('title = "Beam tube"', f'title = "{TITLE}"'), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("encoding", "title"),
    [
        ("cp1252", "Übung ±5 µm, 3 m², <= 10^-6 Ohm, lambda \\u4e2d"),
        ("cp437", "Übung ±5 µm, 3 m², ≤ 10^-6 Ω, lambda \\u4e2d"),
        ("cp850", "Übung ±5 µm, 3 m², <= 10^-6 Ohm, lambda \\u4e2d"),
        ("cp932", "Uebung ±5 um, 3 m2, <= 10^-6 Ω, λ 中"),
        ("ascii", "Uebung +-5 um, 3 m2, <= 10^-6 Ohm, lambda \\u4e2d"),
        ("utf-8", TITLE),
    ],
)
def test_a_stream_that_cannot_hold_a_letter_gets_ascii_forms_and_json_escapes(
    case: Path, encoding: str, title: str
) -> None:
    code, out, err = run_encoded(encoding, "assess", case)
    assert (code, err) == (0, b"")
    assert out.decode(encoding).splitlines()[0] == title
    code, out, err = run_encoded(encoding, "assess", case, "--json")
    assert (code, err) == (0, b"")
    assert json.loads(out.decode(encoding))["title"] == TITLE


def test_a_process_prints_on_streams_of_its_environment(case: Path) -> None:
    done = lasersafe("assess", case, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stdout, done.stderr) == run_encoded("ascii", "assess", case)


def test_a_refusal_is_one_line_in_ascii_too(tmp_path: Path) -> None:
    done = lasersafe("assess", tmp_path / "µm².toml", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"um2.toml: 1 fault" in done.stderr


@pytest.mark.parametrize(
    ("text", "before", "ascii_form"),
    [
        ("²", "m", "2"), ("²", "0", "^2"), ("⁻¹²", "0", "^-12"), ("⁻", "r", "^-"), ("α", "", "alpha"),
        ("Σ", "", "Sigma"), ("é", "", "e"), ("₀", "z", "0"), ("−", "", "-"), ("\udcff", "", "\\udcff"),
        ("文", "", "\\u6587"),
    ],
)  # fmt: skip
def test_letters_in_ascii(text: str, before: str, ascii_form: str) -> None:
    assert streams.in_ascii(text, before) == ascii_form


def test_a_name_that_is_no_text_is_printed_as_json(monkeypatch: pytest.MonkeyPatch) -> None:
    held = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(held, "utf-8"))
    print_json({"case": "\udcff.toml"})
    assert json.loads(held.getvalue()) == {"case": "\udcff.toml"}


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_an_output_that_is_cut_never_ends_with_0(case: Path, tmp_path: Path, unbuffered: str) -> None:
    """A file may grow to 4 blocks of 1024 bytes: of 60 kB of JSON the system takes a part, and then no more."""
    words = ["bash", "-c", 'ulimit -f 4; exec "$@"', "bash", *PROGRAM, "assess", str(case), "--json"]
    with (tmp_path / "cut.json").open("wb") as file:
        done = subprocess.run(
            words, stdout=file, stderr=subprocess.PIPE, cwd=ROOT, check=False,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered, "PYTHONDONTWRITEBYTECODE": "1"},  # else cut too
        )  # fmt: skip
    assert (tmp_path / "cut.json").stat().st_size == 4096
    assert (done.returncode, done.stderr) == (2, b"error: File too large\n")


def test_a_closed_output_never_ends_with_0() -> None:
    for words in (["--version"], ["units"], ["--help"]):
        closed = ["bash", "-c", 'exec "$@" >&-', "bash", *PROGRAM, *words]
        done = subprocess.run(closed, stderr=subprocess.PIPE, cwd=ROOT, check=False)
        assert (done.returncode, done.stderr) == (2, b"error: there is no standard output to print to\n")
    reading, writing = os.pipe()
    os.close(reading)
    assert lasersafe("units", into=writing, PYTHONUNBUFFERED="1").returncode == 1
    os.close(writing)
