"""What the fields of a record say of themselves: keys of JSON, the worst of several, no number."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from operator import not_

from lasersafe.records import as_json, badness, highest, told, worst, worst_of_each


@dataclass(frozen=True)
class Inner:
    rule: str
    limit: float = field(metadata=told(unit="unit"))
    unit: str = field(default="W/m2", metadata=told(hidden=True))


@dataclass(frozen=True, kw_only=True)
class Row:
    name: str = field(metadata=told(same=True))
    reach: float = field(metadata=told("reach_m", rank=2, worse=badness))
    below: bool = field(default=True, metadata=told(rank=1, worse=not_))
    by_set: dict[str, float] = field(default_factory=dict, metadata=told(each=highest))
    inner: Inner = field(default=Inner("mean", 2.0), metadata=told(inside=("rule", "limit")))
    load: float = field(default=0.0, metadata=told(endless=True))
    own: str = field(default="", metadata=told(hidden=True))


def test_keys_come_from_the_fields_in_their_order_with_the_unit_in_them() -> None:
    data = as_json(Row(name="A", reach=3.0, own="not shown"))
    assert list(data.items()) == [
        ("name", "A"), ("reach_m", 3.0), ("below", True), ("by_set", {}), ("rule", "mean"), ("limit_W_per_m2", 2.0),
        ("load", 0.0),
    ]  # fmt: skip
    assert as_json(Row(name="A", reach=3.0), ("reach:far", "own")) == {"far": 3.0, "own": ""}


def test_what_is_no_number_is_null_and_no_end_is_said_only_where_it_is_told() -> None:
    data = as_json(Row(name="A", reach=math.inf, load=math.inf, by_set={"x": math.nan}))
    assert (data["reach_m"], data["load"], data["by_set"]) == (None, "inf", {"x": None})
    assert as_json(Row(name="A", reach=1.0, load=math.nan))["load"] is None


def test_the_first_rank_at_which_records_differ_says_which_is_worse_and_some_values_count_of_all() -> None:
    far, above = Row(name="A", reach=9.0, by_set={"x": 1.0, "y": 5.0}), Row(name="A", reach=2.0, below=False)
    assert worst([far, above]) == replace(above, by_set={"x": 1.0, "y": 5.0})
    unknown = Row(name="A", reach=math.nan)
    assert math.isnan(worst([far, unknown]).reach)
    assert math.isnan(highest([1.0, math.nan, None]))
    assert highest([None, None]) is None


def test_records_of_several_lists_are_the_same_thing_by_name_and_by_their_count_of_it() -> None:
    first = [Row(name="A", reach=1.0), Row(name="A", reach=7.0), Row(name="B", reach=2.0)]
    second = [Row(name="B", reach=3.0), Row(name="A", reach=4.0), Row(name="A", reach=5.0)]
    found = worst_of_each([first, second])
    assert [(row.name, row.reach) for row in found] == [("A", 4.0), ("A", 7.0), ("B", 3.0)]
    assert worst_of_each([first]) == tuple(first)
