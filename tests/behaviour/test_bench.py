"""The check against the ratios on record; nothing here is timed."""

from __future__ import annotations

import importlib
import math

import pytest

from bench import __main__ as bench
from bench.measuring import Line, Spent, line, medians
from bench.recorded import read_recorded, regressions, write_recorded


def rows(*ratios: float) -> list[Line]:
    return [Line(f"line {number}", ratio, 12.0, "something") for number, ratio in enumerate(ratios)]


def test_a_line_beyond_one_and_a_half_times_its_record_is_a_regression() -> None:
    on_record = {"line 0": 2.0, "line 1": 2.0, "line 2": 2.0}
    found = regressions(rows(3.0, 3.01, float("nan")), on_record)
    assert [sentence.split(":")[0] for sentence in found] == ["line 1", "line 2"]
    assert "3.01 x is above 1.5 times the record, 3.00 x" in found[0]


def test_a_line_without_a_record_is_reported() -> None:
    assert regressions(rows(1.0), {}) == ["line 0: nothing on record; run: make bench-record"]


def test_a_record_keeps_the_lines_that_were_not_measured(tmp_path) -> None:
    path = tmp_path / "recorded.json"
    assert read_recorded(path) == {}
    write_recorded(rows(1.0, 2.0), path)
    write_recorded(rows(1.5), path)
    assert read_recorded(path) == {"line 0": 1.5, "line 1": 2.0}


@pytest.mark.parametrize(("ratio", "code"), [(2.9, 0), (3.1, 1)])
def test_the_exit_code_of_a_check_follows_the_record(monkeypatch, capsys, ratio, code) -> None:
    monkeypatch.setattr(importlib, "import_module", lambda name: type("M", (), {"lines": lambda _: rows(ratio)}))
    monkeypatch.setattr(bench, "read_recorded", lambda: {"line 0": 2.0})
    assert bench.main(["--only", "commands", "--check"]) == code
    assert ("slower: line 0" in capsys.readouterr().out) == bool(code)


def test_every_group_of_lines_can_be_measured() -> None:
    for name in bench.MODULES:
        assert callable(importlib.import_module(f"bench.{name}").lines)


def test_the_record_of_the_project_holds_ratios() -> None:
    recorded = read_recorded()
    assert len(recorded) > 10
    assert all(0 < ratio < math.inf for ratio in recorded.values())


def test_a_ratio_is_of_processor_time() -> None:
    assert line("a", Spent(4.0, 9.0), Spent(2.0, 3.0), 3.0, "b") == Line("a", 2.0, 3.0, "b", 3.0)
    assert set(medians({"a": lambda: None}, 2)) == {"a"}
