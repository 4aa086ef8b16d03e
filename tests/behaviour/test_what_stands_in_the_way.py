"""Every command that writes a file, before everything that may already be in its place."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.behaviour.command import run, run_encoded
from tests.project import ROOT

PROGRAM = [sys.executable, "-m", "lasersafe.cli"]
SHORT = """person = [{ role = "crew", distance = "1 m" }, { role = "spectator", distance = "3 m" }]
[[laser]]
like = "blue diode"
wavelength = "450 nm"
emission = { kind = "continuous", power = "1 mW" }
setup = [{ beam_diameter = "3 mm", divergence = "2 mrad", criterion = "1/e" }]
"""
SCENE = """[scene]
outline = [["-4 m", "-4 m"], ["4 m", "-4 m"], ["4 m", "4 m"], ["-4 m", "4 m"]]
[[scene.aim]]
laser = "blue diode"
position = ["0 m", "0 m"]
height = "1 m"
bearing = "0 deg"
elevation = "-90 deg"
"""
COMMANDS = {
    "sheet": ["sheet", "CASE", "-o", "OUT.pdf"],
    "prestart": ["prestart", "CASE", "-o", "OUT.pdf"],
    "card": ["card", "CASE", "-o", "OUT.pdf"],
    "door-sign": ["door-sign", "CASE", "-o", "OUT.pdf"],
    "plan": ["plan", "CASE", "-o", "OUT.svg"],
    "sweep": ["sweep", "CASE", "--vary", "laser.power=1mW..2mW:2", "-o", "OUT.csv"],
    "sweep drawing": ["sweep", "CASE", "--vary", "laser.power=1mW..2mW:2", "--drawing", "OUT.svg"],
    "new": ["new", "OUT.toml", "--laser", "blue diode", "--crew", "2", "--guests", "9", "--yes"],
    "new from": ["new", "OUT.toml", "--from", "co2-cutter"],
    "batch template": ["batch", "--template", "OUT.csv"],
}


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("case") / "case.toml"
    path.write_text(SHORT + SCENE, encoding="utf-8")
    return path


def words(name: str, case: Path, out: Path) -> tuple[list[str], Path]:
    target = next(word for word in COMMANDS[name] if word.startswith("OUT"))
    path = out.with_suffix(target.removeprefix("OUT"))
    return [str(case) if word == "CASE" else str(path) if word == target else word for word in COMMANDS[name]], path


def program(*args: object, **more: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([*PROGRAM, *map(str, args)], cwd=ROOT, capture_output=True, check=False, **more)  # type: ignore[call-overload, no-any-return]


def refused(name: str, command: list[str], out: Path, why: str) -> None:
    answer = run(*command)
    assert answer.code == 2, (name, answer.out, answer.err)
    assert why in answer.err, (name, answer.err)
    assert str(out) in answer.err


@pytest.mark.parametrize("name", COMMANDS)
def test_no_command_writes_into_anything_but_a_file_or_a_free_name(name: str, case: Path, tmp_path: Path) -> None:
    """A device node, a pipe without a reader, a link, a link to nothing, a folder, and what somebody else wrote."""
    mine = tmp_path / "mine"
    mine.write_bytes(b"mine")
    command, out = words(name, case, tmp_path / "out")
    made = {
        "it is no plain file": lambda: os.mkfifo(out),
        "it is a link": lambda: out.symlink_to(mine),
        "it is a link, and links": lambda: out.symlink_to(tmp_path / "nowhere"),
        "it is a folder": out.mkdir,
    }
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        made["it is no plain file, and"] = lambda: os.mknod(out, stat.S_IFCHR | 0o600, os.makedev(1, 3))
    for why, make in made.items():
        make()
        for more in ([], ["--replace"]):
            refused(name, [*command, *more], out, f"cannot be written: {why}")
        out.rmdir() if out.is_dir() and not out.is_symlink() else out.unlink()
    assert mine.read_bytes() == b"mine"
    out.write_bytes(b"written by somebody else\n")
    refused(name, command, out, "is there already")
    assert out.read_bytes() == b"written by somebody else\n"
    assert sorted(one.name for one in tmp_path.iterdir()) == ["mine", out.name]


@pytest.mark.parametrize("name", ["card", "sweep", "new"])
def test_a_full_disk_and_a_folder_that_may_not_be_written_leave_nothing(name: str, case: Path, tmp_path: Path) -> None:
    """No file may grow beyond 100 bytes (RLIMIT_FSIZE); then a folder that takes no new name."""
    import resource

    command, out = words(name, case, tmp_path / "out")

    def small() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))

    whole = os.environ | {"PYTHONDONTWRITEBYTECODE": "1"}  # or what is compiled is cut as well, and kept
    done = program(*command, preexec_fn=small, env=whole)
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr == f"error: {out} cannot be written: File too large\n".encode()
    assert list(tmp_path.iterdir()) == []
    folder = Path("/proc/self") if os.geteuid() == 0 else tmp_path
    folder.chmod(0o555) if folder == tmp_path else None
    command, out = words(name, case, folder / "out")
    done = program(*command)
    assert (done.returncode, done.stdout) == (2, b"")
    assert f"error: {out} cannot be written: ".encode() in done.stderr
    assert done.stderr.count(b"\n") == 1


def test_a_closed_pipe_ends_the_program_without_a_trace(case: Path) -> None:
    """Who reads only a part of the answer, as `head -1` does, closes the pipe."""
    for more in (["assess", case, "--all"], ["schema"]):
        read, write = os.pipe()
        os.close(read)
        done = subprocess.run([*PROGRAM, *map(str, more)], cwd=ROOT, stdout=write, stderr=subprocess.PIPE, check=False)
        os.close(write)
        assert (done.returncode, done.stderr) == (1, b"")


def test_a_dash_is_the_standard_input_and_the_standard_output(case: Path) -> None:
    text = case.read_bytes()

    def answer(*given: object, typed: bytes = text) -> tuple[int, bytes, bytes]:
        return run_encoded("utf-8", *given, typed=typed)

    assert program("check", "-", input=text).stdout == b"-: no faults\n"
    piped = json.loads(answer("assess", "-", "--json")[1])
    assert piped["fingerprint"] == run("assess", case, "--json").data["fingerprint"]
    code, out, _ = answer("check", "-", typed=b"[[laser]\n")
    assert (code, b"line 1: TOML" in out) == (2, True)
    code, page, err = answer("card", "-", "-o", "-")
    assert code == 0
    assert page.startswith(b"%PDF-")
    assert err.startswith(b"page: -\n")
    drawing = answer("plan", case, "-o", "-")[1]
    assert drawing.startswith(b"<svg") or drawing.startswith(b"<?xml")
    table = answer("sweep", case, "--vary", "laser.power=1mW..2mW:2", "-o", "-")[1].decode()
    assert sum(line.startswith("0.001,") or line.startswith("0.002,") for line in table.splitlines()) == 2
    new = answer("new", "-", "--laser", "blue diode", "--crew", "2", "--guests", "9", "--yes")[1]
    assert new.startswith(b"person = [")
    assert json.loads(answer("assess", "-", "--json", typed=new)[1])["title"] == "blue diode"
    for command, why in (
        (["sheet", case, "-o", "-"], b"a sheet and its annex are two files"),
        (["signoff", "-", "--name", "A B", "--role", "assessor"], b"what is signed is a file"),
    ):
        code, out, err = answer(*command)
        assert (code, out, why in err) == (2, b"", True)
    assert not (ROOT / "-").exists()


def test_a_plan_writes_no_neighbours_unasked(case: Path, tmp_path: Path) -> None:
    out = tmp_path / "p.svg"
    answer = run("plan", case, "-o", out)
    assert answer.code == 0
    assert [one.name for one in tmp_path.iterdir()] == ["p.svg"]
    assert "further pages, written by --all or as a .pdf: " in answer.out
    assert run("plan", case, "-o", out, "--all").code == 0
    assert {"p.svg", "p-2.svg"} <= {one.name for one in tmp_path.iterdir()}


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "cp850", "cp932", "ascii"])
def test_every_encoding_takes_every_answer(encoding: str, tmp_path: Path) -> None:
    """German texts, names in other letters, JSON: a letter without a place is spelled out, and JSON escapes it."""
    case = tmp_path / "fall.toml"
    case.write_text('language = "de"\ntitle = "Übung µm² 中"\n' + SHORT, encoding="utf-8")
    for words in (["assess", case], ["assess", case, "--all"], ["check", case], ["notice", case], ["--help"]):
        code, out, err = run_encoded(encoding, *words)
        assert code in (0, 1)
        assert err == b""
        assert out.decode(encoding)
    _, out, _ = run_encoded(encoding, "assess", case, "--json")
    assert json.loads(out.decode(encoding))["title"] == "Übung µm² 中"
    code, _, err = run_encoded(encoding, "new", tmp_path / "neu.toml", "--language", "de", typed=b"\n")
    assert code == 2
    assert b"Strahl" in err


def test_a_wavelength_without_a_unit_is_answered_with_nm(tmp_path: Path) -> None:
    answer = run("limit", "--wavelength", "450", "--duration", "10 s")
    assert answer.err == "error: wavelength = '450': a number without a unit; add the unit, as in '450 nm'\n"
    case = tmp_path / "case.toml"
    case.write_text(SHORT.replace('"450 nm"', '"450"'), encoding="utf-8")
    assert "laser[1].wavelength: '450': a number without a unit; add the unit, as in '450 nm'" in run("check", case).out
