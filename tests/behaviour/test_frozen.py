"""Records behave as the frozen dataclasses of the standard library do."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from collections.abc import Callable
from typing import Any

import pytest

from lasersafe import frozen


class _Plain:
    """Members of every kind."""

    first: float
    second: str = "two"
    third: list[int] = dataclasses.field(default_factory=list)
    fourth: object = dataclasses.field(default=None, compare=False, repr=False)

    @property
    def twice(self) -> float:
        return 2 * self.first


class _Checked:
    """A record that checks itself and says what it is in its own way."""

    value: float

    def __post_init__(self) -> None:
        if not self.value > 0:
            raise ValueError("value")

    def __repr__(self) -> str:
        return "checked"


def both(members: type) -> list[Any]:
    copies = [type(members.__name__, (), dict(members.__dict__)) for _ in range(2)]
    for one in copies:
        one.__annotations__ = dict(members.__annotations__)
    make: list[Callable[[type], type]] = [dataclasses.dataclass(frozen=True), frozen.dataclass(frozen=True)]
    return [maker(one) for maker, one in zip(make, copies, strict=True)]


def outcome(job: Callable[[], object]) -> object:
    try:
        return job()
    except (TypeError, ValueError, AttributeError) as error:
        return type(error), str(error)


@frozen.dataclass(frozen=True)
class Kept:
    """A record that can be pickled."""

    value: float
    names: tuple[str, ...] = ()


@pytest.mark.parametrize(
    "job",
    [
        lambda cls: repr(cls(1.0, third=[3])),
        lambda cls: cls(1.0) == cls(1.0, "two", [], "ignored"),
        lambda cls: cls(1.0) == cls(2.0),
        lambda cls: cls(1.0) == (1.0, "two", [], None),
        lambda cls: hash(cls(1.0, third=())),
        lambda cls: hash(cls(1.0)),
        lambda cls: cls(1.0).third is cls(1.0).third,
        lambda cls: cls(),
        lambda cls: cls(1.0, fifth=1),
        lambda cls: cls(1.0, "a", [], None, 5),
        lambda cls: setattr(cls(1.0), "first", 2.0),
        lambda cls: setattr(cls(1.0), "new", 2.0),
        lambda cls: delattr(cls(1.0), "first"),
        lambda cls: repr(dataclasses.replace(cls(1.0), second="other")),
        lambda cls: dataclasses.replace(cls(1.0), fifth="other"),
        lambda cls: dataclasses.asdict(cls(1.0, third=[3])),
        lambda cls: [one.name for one in dataclasses.fields(cls)],
        lambda cls: cls.__match_args__,
        lambda cls: repr(copy.copy(cls(1.0))),
        lambda cls: cls(1.5).twice,
        lambda cls: list(inspect.signature(cls).parameters),
        lambda cls: cls.__init__.__qualname__,
        lambda cls: [(one.name, one.type) for one in dataclasses.fields(cls)],
        lambda cls: cls.__annotations__,
    ],
)
def test_a_record_is_a_frozen_dataclass(job: Callable[[Any], object]) -> None:
    theirs, ours = both(_Plain)
    assert outcome(lambda: job(ours)) == outcome(lambda: job(theirs))


def test_own_methods_stay_and_checks_run() -> None:
    for cls in both(_Checked):
        assert repr(cls(1.0)) == "checked"
        with pytest.raises(ValueError, match="value"):
            cls(float("nan"))


def test_a_record_of_a_record_has_the_members_of_both() -> None:
    for first, make in zip(
        both(_Plain), (dataclasses.dataclass(frozen=True), frozen.dataclass(frozen=True)), strict=True
    ):
        more = make(type("More", (first,), {"__annotations__": {"fifth": "int"}, "fifth": 5}))
        assert [(one.name, one.type) for one in dataclasses.fields(more)][3:] == [
            ("fourth", "object"),
            ("fifth", "int"),
        ]
        assert (more(1.0).fifth, more(1.0, fifth=6).fifth, first(1.0).second) == (5, 6, "two")


def test_a_record_can_be_pickled() -> None:
    kept = Kept(1.0, ("a",))
    assert pickle.loads(pickle.dumps(kept)) == kept


def test_identity_without_equality() -> None:
    cls = frozen.dataclass(frozen=True, eq=False, repr=False)(type("One", (), {"__annotations__": {"value": "float"}}))
    assert cls(1.0) != cls(1.0)
    assert repr(cls(1.0)).startswith("<")


def test_every_frozen_record_is_made_the_quick_way() -> None:
    from tests.behaviour.test_gate import ROOT, SOURCES

    slow = [
        str(path)
        for path in SOURCES
        if "@dataclass(frozen=True" in (text := (ROOT / path).read_text(encoding="utf-8"))
        and "from lasersafe.frozen import" not in text
    ]
    assert slow == []
