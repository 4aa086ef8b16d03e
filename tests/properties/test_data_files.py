"""Each data file outside the limits is a record: no key too many, none too few, in any of its tables."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import math
import re
from dataclasses import field
from functools import partial
from pathlib import Path
from typing import Any, ClassVar

import pytest

from lasersafe.data import dataclass, load, shared_path
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


class Fields:
    """Something of each kind that a record can have."""

    file: ClassVar = "a file"
    name: str
    size: float = 2.0
    steps: tuple[str, ...] = field(default=(), compare=False, repr=False)
    rest: dict[str, float] = field(default_factory=dict)
    later: str = field(default="later", kw_only=True)
    unit: list[str] = field(default_factory=list, init=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "size", self.size * 1.0)


class One:
    only: float


class Said:
    word: str

    def __eq__(self, other: object) -> bool:
        return True

    def __hash__(self) -> int:
        return 7

    def __repr__(self) -> str:
        return self.word


def twins(kind: type, **named: bool) -> list[Any]:
    """Return the same class, made by the standard library and by the project."""
    own = {name: one for name, one in vars(kind).items() if name not in ("__dict__", "__weakref__")}
    kinds = [type(kind.__name__, kind.__bases__, dict(own)) for _ in range(2)]
    makers: list[Any] = [dataclasses.dataclass, dataclass]
    return [make(frozen=True, **named)(one) for make, one in zip(makers, kinds, strict=True)]


@pytest.mark.parametrize("named", [{}, {"kw_only": True}, {"eq": False}, {"repr": False}], ids=str)
@pytest.mark.parametrize(
    ("kind", "given"),
    [
        (Fields, {"name": "a", "rest": {}}),
        (Fields, {"name": "b", "later": "c"}),
        (One, {"only": 1.0}),
        (Said, {"word": "x"}),
    ],
)
def test_a_frozen_record_is_that_of_the_standard_library(
    kind: type, given: dict[str, Any], named: dict[str, bool]
) -> None:
    answers = []
    for made in twins(kind, **named):
        one = made(**given)
        name = next(iter(given))
        for change in (partial(setattr, one, name, 1), partial(delattr, one, name)):
            with pytest.raises(dataclasses.FrozenInstanceError):
                change()
        with pytest.raises(TypeError, match="unexpected keyword argument 'none'"):
            made(**given, none=1)
        asked = [(name, way.kind, way.annotation) for name, way in inspect.signature(made).parameters.items()]
        shown = repr(one) if named.get("repr", True) or kind is Said else ""
        hashed = made.__hash__ is object.__hash__, made.__match_args__
        same = one == dataclasses.replace(one), one == 3, copy.copy(one) == one
        answers.append((asked, vars(one), shown, hashed, same))
    assert answers[0] == answers[1]


def test_records_that_are_equal_have_one_hash() -> None:
    _, ours = twins(Fields)
    some = [ours(name, size, (name,)) for name in "ab" for size in (1.0, 2.0)]
    for one in some:
        assert [one == dataclasses.replace(other, steps=()) for other in some] == [one is other for other in some]
    theirs, ours = twins(One)
    assert hash(ours(2.0)) == hash(theirs(2.0))
    assert (ours(math.nan) == ours(math.nan)) is (theirs(math.nan) == theirs(math.nan))
    assert len({ours(1.0), ours(1.0), ours(2.0)}) == 2
