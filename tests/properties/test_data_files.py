"""Each data file outside the limits is a record: no key too many, none too few, in any of its tables."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lasersafe.data import load, shared_path
from lasersafe.errors import ReferenceDataError
from lasersafe.hazard import barriers, instruments, other_rules
from lasersafe.optics import viewing

RECORDS: dict[str, type] = {
    "atmosphere/kruse.toml": viewing.Kruse,
    "cameras/thresholds.toml": instruments._Thresholds,
    "ignition/screening.toml": barriers._Screening,
    "limits_emission/iec60825_1_2014.toml": other_rules._Emission,
    "photopic/cie1924_v.toml": other_rules._Photopic,
    "reflectance/metals.toml": barriers._Materials,
    "reflectance/non_metals.toml": barriers._Materials,
    "spectator_rules/germany_shows.toml": other_rules.Pack,
    "viewing/aids.toml": instruments.Viewing,
}
# What a table may leave out, by what the records say of it.
OPTIONAL = {"power", "factors", "power_w", "visible", "attended", "above_class"}


def refused(kind: type, lines: list[str], path: Path) -> bool:
    path.write_text("\n".join(lines), encoding="utf-8")
    try:
        load(kind, path)
    except ReferenceDataError as error:
        return str(error).startswith(f"data file {path.name}")
    return False


@pytest.mark.parametrize("name", RECORDS)
def test_a_key_too_many_is_refused_in_every_table(name: str, tmp_path: Path) -> None:
    lines = shared_path(name).read_text(encoding="utf-8").splitlines()
    assert not refused(RECORDS[name], lines, tmp_path / "whole.toml")
    tables = [i for i, line in enumerate(lines) if line.startswith("[") or re.match(r"\s+\{ ", line)]
    assert len(tables) > 2
    for i in tables:
        inline = lines[i].replace("{ ", "{ spare = 1, ", 1)
        more = [inline] if inline != lines[i] else [lines[i], "spare = 1"]
        assert refused(RECORDS[name], [*lines[:i], *more, *lines[i + 1 :]], tmp_path / f"{i}.toml"), lines[i]


@pytest.mark.parametrize("name", RECORDS)
def test_a_key_too_few_is_refused(name: str, tmp_path: Path) -> None:
    lines = shared_path(name).read_text(encoding="utf-8").splitlines()
    keys = [i for i, line in enumerate(lines) if re.match(r"\w+ = [^\[]", line) and line.split()[0] not in OPTIONAL]
    assert len(keys) > 3
    for i in keys:
        assert refused(RECORDS[name], lines[:i] + lines[i + 1 :], tmp_path / f"{i}.toml"), lines[i]
