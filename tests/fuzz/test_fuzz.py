"""Any file is assessed or refused in good form: the kept corpus and some new files here, many more in the soak."""

from __future__ import annotations

import os
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lasersafe.errors import Fault
from lasersafe.models import parse_case
from tests.behaviour.command import run as command
from tests.few import few
from tests.fuzz import long_run
from tests.fuzz.cases import CaseMaker
from tests.fuzz.corpus import kept_files, smallest
from tests.fuzz.mutate import mutated
from tests.fuzz.oracle import judge
from tests.fuzz.refusals import line_problems, problems_of
from tests.fuzz.toml_text import to_toml
from tests.soak_record import keep_counts

PLAIN = next(path for path in kept_files() if path.stem.startswith("assessed")).read_text(encoding="utf-8")


@pytest.mark.parametrize("path", kept_files(), ids=lambda path: path.stem)
def test_a_kept_file_is_answered_or_refused_in_good_form(path: Path) -> None:
    outcome = judge(path)
    assert outcome.problems == ()
    assert outcome.kind in ("assessed", "refused")


SEEDS = st.integers(0, 2**32 - 1)  # a case has thousands of choices, which hypothesis need not know one by one


@few(50)
@given(SEEDS, st.sampled_from([0.02, 0.1, 0.4]))
def test_a_made_case_is_refused_in_good_form(tmp_path_factory, seed, wild) -> None:
    path = tmp_path_factory.getbasetemp() / "made.toml"
    made = CaseMaker(Random(seed), wild, optional=0.1).case()
    made["person"] = []  # so that it is refused, which is quick
    path.write_bytes(to_toml(made).encode("utf-8", "surrogatepass"))
    outcome = judge(path)
    assert (outcome.kind, outcome.problems) == ("refused", ())


@few(50)
@given(SEEDS)
def test_a_damaged_file_is_refused_in_good_form(tmp_path_factory, seed) -> None:
    path = tmp_path_factory.getbasetemp() / "damaged.toml"
    path.write_bytes(mutated(PLAIN, Random(seed), [PLAIN]) + b"\n[strange]\n")
    outcome = judge(path)
    assert (outcome.kind, outcome.problems) == ("refused", ())


def test_the_commands_do_what_is_judged_here(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    for raw in (b"title = 5\n", b"title = \n", mutated(PLAIN, Random(1), [PLAIN])):
        path.write_bytes(raw)
        outcome, check, assess = judge(path), command("check", path), command("assess", path, "--json")
        assert (check.code, assess.code) == ((2, 2) if outcome.kind.startswith("refused") else (0, 0))


# --- the judge itself can find fault ----------------------------------------------------------------------------------


DATA = {"title": "Night", "laser": [{"power": "5 GW", "handheld": True}], "keys": ["fire", "ice"]}


@pytest.mark.parametrize(
    ("field", "message", "problem"),
    [
        ("laser[1].power", "'5 GW': must be at most 1 MW", None),
        ("laser[1].power", "must be at most 1 MW", "value '5 GW' is not named"),
        ("laser[1].power", "'5 GW' is too much", "does not say what to do"),
        ("laser[1].power", "'5 GW': write\nless", "not one printable line"),
        ("laser[1].handheld", "true: write true or false, without quotes", None),
        ("laser[1].handheld", "write it in words, as in 'yes'", "value 'True' is not named"),
        ("laser[1].name", "missing; write name: Name of the laser.", None),
        ("laser[1].name", "'x': write a name", "absent, but not said"),
        ("title", "hier steht nichts; Text schreiben", None),
        ("laser[1].power", "'5 GW': zu groß; Zahl und Einheit prüfen", None),
        ("laser[1].power", "'5 GW': zu groß", "does not say what to do"),
        ("keys", "'ice' is not a key; known here: 'fire'", None),
        ("keys", "write the list", "value \"['fire', 'ice']\" is not named"),
        ("laser 1", "'5 GW': must be at most 1 MW", "a field that cannot be looked up"),
    ],
)
def test_a_refusal_is_held_against_the_file(field: str, message: str, problem: str | None) -> None:
    found = problems_of(Fault(3, field, message), DATA)
    assert [one[: len(problem or "")] for one in found] == ([] if problem is None else [problem])


def test_a_line_of_endless_length_is_noticed() -> None:
    assert line_problems("write " + "x" * 2000) == ["2006 characters: write " + "x" * 74]


def test_a_traceback_and_an_endless_calculation_are_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "case.toml"
    path.write_text(PLAIN, encoding="utf-8")
    case = parse_case(PLAIN)
    monkeypatch.setattr("tests.fuzz.oracle.read_case", lambda path: 1 / 0)
    outcome = judge(path)
    assert (outcome.kind, outcome.place) == ("broken", "ZeroDivisionError in test_fuzz.py:<lambda>")

    def endless(case: object) -> None:
        while True:
            pass

    monkeypatch.setattr("tests.fuzz.oracle.read_case", lambda path: case)
    monkeypatch.setattr("tests.fuzz.oracle.assess", endless)
    outcome = judge(path, give_up=0.05)
    assert (outcome.kind, outcome.place) == ("broken", "endless")


def test_a_file_is_cut_down_to_what_matters() -> None:
    raw = b"[a]\nx = 1\n[b]\ny = 2\nz = 3\n[c]\nw = 4\n"
    assert smallest(raw, lambda part: b"z" in part) == b"z = 3\n"


def test_the_counts_of_a_run_add_up_and_are_kept_beside_those_of_the_suite(tmp_path: Path) -> None:
    tally = long_run.Tally()
    path = tmp_path / "case.toml"
    for raw in (b"x", b"title = 3"):
        path.write_bytes(raw)
        tally.add("damaged", judge(path))
    counts = tally.counts()
    assert (counts["files"], counts["refused"], counts["files_against_a_rule"]) == (2, 2, 0)
    record = tmp_path / "soak.json"
    keep_counts(record, None, {"passed": 3})
    keep_counts(record, "fuzz", counts)
    keep_counts(record, None, {"passed": 4})
    assert '"passed": 4' in record.read_text(encoding="utf-8")
    assert '"files": 2' in record.read_text(encoding="utf-8")


@pytest.mark.soak
def test_many_files(request: pytest.FixtureRequest) -> None:
    tally = long_run.run(int(os.environ.get("LASERSAFE_FUZZ_FILES", str(long_run.FILES))), Random().getrandbits(32))
    target = request.config.getoption("soak_record", default=None)
    if target:
        keep_counts(Path(target), "fuzz", tally.counts())
    assert tally.broken_rules == []


def test_a_file_of_too_many_tables_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(PLAIN + "[[person]]\n" * 60_000, encoding="utf-8")
    outcome = judge(path)
    assert (outcome.kind, outcome.problems) == ("refused", ())
    assert outcome.place.startswith("file: ")
