"""Work beside: the same result with one process or two, no process left behind, errors as if there were none."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from lasersafe import beside
from lasersafe.reference import templates_path
from tests.project import ROOT

TRIALS = """
import json, os, signal
from pathlib import Path
from lasersafe import beside
from lasersafe.files import locked

def outcome(work):
    try:
        return work()
    except Exception as error:
        return f"{type(error).__name__}: {error}"

def nobody_left():
    try:
        return os.waitpid(-1, os.WNOHANG) == ()
    except ChildProcessError:
        return True

def fails():
    raise ValueError("asked for")

def dies():
    if os.getpid() != first:
        os.kill(os.getpid(), signal.SIGKILL)
    return "here"

def half():
    return "x" * 1_000_000

first = os.getpid()
found = {"before": beside.both(os.getpid, os.getpid) == (first, first)}
with beside.allowed():
    found["possible"] = beside._possible()
    here, there = beside.both(os.getpid, os.getpid)
    found["two processes"] = here == first != there
    inner = beside.both(os.getpid, lambda: beside.both(os.getpid, os.getpid))[1]
    found["one more at most"] = inner[0] == inner[1] != first
    found["much"] = beside.both(half, half) == (half(), half())
    found["an error beside"] = outcome(lambda: beside.both(os.getpid, fails))
    found["an error here"] = outcome(lambda: beside.both(fails, half))
    found["killed"] = beside.both(os.getpid, dies) == (first, "here")
    found["not to be sent"] = beside.both(os.getpid, lambda: (lambda: 7))[1]()
    with beside.begun(half):
        pass  # nobody asks for the answer
    found["nobody left"] = nobody_left()
with beside.allowed(), locked(Path(os.environ["FILE"])):
    found["locked"] = beside.both(os.getpid, os.getpid) == (first, first)
found["after"] = beside.both(os.getpid, os.getpid) == (first, first)
print(json.dumps(found))
"""


def script(text: str, *arguments: str, file: Path | None = None) -> str:
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1", "FILE": str(file)}
    done = subprocess.run(
        [sys.executable, "-c", text, *arguments], cwd=ROOT, capture_output=True, text=True, check=True, env=environment
    )
    assert done.stderr == ""
    return done.stdout


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    answers: dict[str, Any] = json.loads(script(TRIALS, file=tmp_path_factory.mktemp("locked") / "file"))
    if not answers["possible"]:
        pytest.skip("no second process on this machine")
    return answers


def test_nothing_is_forked_before_a_command_allows_it(found: dict[str, Any]) -> None:
    assert found["before"]
    assert found["after"]


def test_nothing_is_forked_while_a_file_is_locked(found: dict[str, Any]) -> None:
    assert found["locked"]  # or a process that is killed would leave its lock to the other one for a while


def test_both_are_worked_out_in_two_processes(found: dict[str, Any]) -> None:
    assert found["two processes"]
    assert found["much"]
    assert found["one more at most"]


def test_an_error_is_raised_as_without_a_second_process(found: dict[str, Any]) -> None:
    assert found["an error beside"] == found["an error here"] == "ValueError: asked for"


def test_what_cannot_be_sent_or_was_ended_is_worked_out_here(found: dict[str, Any]) -> None:
    assert found["killed"]
    assert found["not to be sent"] == 7


def test_no_process_is_left(found: dict[str, Any]) -> None:
    assert found["nobody left"]


def test_a_process_with_threads_does_not_fork(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "listdir", lambda path: ["1", "2"])
    here = os.getpid()
    with beside.allowed():
        assert beside.both(os.getpid, os.getpid) == (here, here)


def test_a_sheet_has_the_same_bytes_with_one_process_and_with_two() -> None:
    text = """
import contextlib, hashlib, sys
from pathlib import Path
from lasersafe import beside
from lasersafe.models import parse_case
from lasersafe.signing.making import make_sheet
from lasersafe.signing.record import read_record

case = Path(sys.argv[1])
text = case.read_text(encoding="utf-8")
for allowed in (contextlib.nullcontext(), beside.allowed()):
    with allowed:
        made = make_sheet(text, parse_case(text), read_record(case.with_name("no record")))
        print(hashlib.sha256(made.content).hexdigest())
        possible = beside._possible()
print(possible)
"""
    one, two, possible = script(text, str(templates_path("cases", "visible-diode.toml"))).split()
    if possible == "False":
        pytest.skip("no second process on this machine")
    assert one == two
