"""What a batch finds beside its result, and a distance without bound in what it says."""

from __future__ import annotations

import json
from pathlib import Path

from lasersafe.batch.record import part_of
from lasersafe.batch.run import Summary
from tests.behaviour.command import run
from tests.behaviour.test_batch import GOOD, HEADING, unfinished, write


def test_a_spoilt_database_of_an_unfinished_run_is_refused_in_one_line(tmp_path: Path) -> None:
    source, out = write(tmp_path / "in.csv", HEADING, GOOD), tmp_path / "out.csv"
    unfinished(out, ["{}"])
    whole = part_of(out).read_bytes()
    part_of(out).write_bytes(whole[:100] + bytes(255 - byte for byte in whole[100:]))  # the head is still that of ours
    answer = run("batch", source, "-o", out)
    assert (answer.code, answer.err.count("\n")) == (2, 1)
    assert f"{part_of(out)} cannot be used: " in answer.err
    assert not out.exists()


def test_somebody_elses_database_of_that_name_is_kept(tmp_path: Path) -> None:
    source, out = write(tmp_path / "in.csv", HEADING, GOOD), tmp_path / "out.csv"
    unfinished(out, [])
    other = bytearray(part_of(out).read_bytes())
    other[68:72] = bytes(4)  # SQLite, 1.3.15: the number of the program that it belongs to
    part_of(out).write_bytes(other)
    assert "is no unfinished result" in run("batch", source, "-o", out).err
    assert part_of(out).read_bytes() == bytes(other)


def test_a_farthest_distance_without_bound_can_be_written_as_json() -> None:
    summary = Summary([], [])
    summary.count({"case": "x", "line": 2, "status": "assessed", "passed": False, "distance_m": "no bound"})
    assert json.loads(json.dumps(summary.plain(), allow_nan=False))["farthest"]["distance_m"] == "no bound"
