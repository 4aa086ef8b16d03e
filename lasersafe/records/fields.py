"""What the fields of a record say of themselves in their metadata: key in JSON, which value is worse, what is spoken.

`as_json` writes any record as plain data, `worst` takes the worst of several; both know nothing of any record.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cache
from typing import Any, TypeVar

C = TypeVar("C")
T = TypeVar("T")


@dataclass(frozen=True)
class Told:
    """What one field says of itself."""

    key: str = ""  # in JSON, with the unit; "" is the name of the field
    hidden: bool = False  # not in JSON
    unit: str = ""  # the field that holds the unit, which the key then ends with
    inside: tuple[str, ...] = ()  # fields of the record in this field that stand in its place
    only: tuple[str, ...] = ()  # all that is shown of the record in this field; "name:key" gives another key
    shown: Callable[[Any], Any] | None = None  # what is shown for the value
    endless: bool = False  # a number without end is shown as the text "inf"; otherwise as null
    spoken: bool = False  # holds words of the program, which other languages say in theirs
    same: bool = False  # what two records share that stand for the same thing
    rank: int = 0  # which of two records is the worse: the first rank at which they differ says it
    worse: Callable[[Any], Any] = bool  # higher of the worse value
    each: Callable[[Sequence[Any]], Any] | None = None  # the worst record carries this of the values of all


def told(key: str = "", **more: Any) -> dict[str, Told]:
    """Return the metadata of a field; the names are those of `Told`."""
    return {"told": Told(key, **more)}


HIDDEN, SPOKEN, SAME = told(hidden=True), told(spoken=True), told(same=True)


@dataclass(frozen=True)
class OfSetup:
    """What is found for one set-up of one laser."""

    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)


@cache
def told_of(kind: Any) -> tuple[tuple[str, Told], ...]:
    """Return the fields of a kind of record by name, each with what it says of itself."""
    return tuple((one.name, one.metadata.get("told", Told())) for one in fields(kind))


# ---------------------------------------------------------------------------------------------------------------------
# Plain data


def or_none(value: Any) -> Any:
    """Return None for what is empty; for `Told.shown`."""
    return value or None


def as_json(value: Any, only: Iterable[str] = (), endless: bool = False) -> Any:
    """Return a value as JSON knows it: records by their metadata, SI numbers, null for what is not a number.

    Parameters
    ----------
    value : any
        A record, or what stands in one.
    only : iterable of str
        Fields of the record, all that are not hidden when empty; ``name:key`` gives another key.
    endless : bool
        Whether an infinite number is told from one that is not known.
    """
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value) if endless and not math.isnan(value) else None
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        value = value._asdict()
    if isinstance(value, Mapping):
        return {key: as_json(one, (), endless) for key, one in value.items()}
    if isinstance(value, (tuple, list)):  # mostly coordinates
        return [one if type(one) is float and math.isfinite(one) else as_json(one, only, endless) for one in value]
    return dict(_entries(value, only, endless)) if is_dataclass(value) else value


@cache
def _wanted(kind: Any, only: tuple[str, ...]) -> list[tuple[str, str, Told]]:
    """Return the fields of a kind of record that JSON has, each with its key there, and what it says of itself."""
    every = dict(told_of(kind))
    names = [name.partition(":") for name in only] or [(name, "", "") for name, one in every.items() if not one.hidden]
    return [(name, key or every[name].key or name, every[name]) for name, _, key in names]


def _entries(record: Any, only: Iterable[str], endless: bool) -> Iterable[tuple[str, Any]]:
    kind: Any = type(record)
    for name, key, one in _wanted(kind, tuple(only)):
        value = getattr(record, name)
        if one.inside:
            yield from _entries(value, one.inside, endless)
            continue
        if one.shown is not None:
            value = one.shown(value)
        unit = f"_{getattr(record, one.unit).replace('/', '_per_')}" if one.unit else ""
        yield key + unit, as_json(value, one.only, endless or one.endless)


# ---------------------------------------------------------------------------------------------------------------------
# The worst of several


def badness(value: float) -> float:
    """Return a number to rank by: itself, or infinity when it is not a number.

    Examples
    --------
    >>> max([1.0, float("nan"), 3.0], key=badness)
    nan
    """
    return math.inf if math.isnan(value) else value


def highest(values: Iterable[Any]) -> Any:
    """Return the highest number, of tables the highest of each name; what is not a number counts as the highest.

    None stands for no number, and is the highest where there is no other.
    """
    every = [value for value in values if value is not None]
    if not every:
        return None
    if not isinstance(every[0], Mapping):
        return max(every, key=badness)
    names = dict.fromkeys(name for one in every for name in one)
    return {name: highest(one[name] for one in every if name in one) for name in names}


def rank(record: Any) -> tuple[Any, ...]:
    """Return what a record is ranked by; the worst has the highest."""
    ranked = sorted((one.rank, name, one.worse) for name, one in told_of(record.__class__) if one.rank)
    return tuple(worse(getattr(record, name)) for _, name, worse in ranked)


def worst(records: Sequence[T], also: Callable[[T, Sequence[T]], T] | None = None) -> T:
    """Return the worst of several records of one kind, the first of equals, with what it carries of all.

    Parameters
    ----------
    records : sequence
        At least one.
    also : callable, optional
        Takes the worst and all, returns what that becomes; without it the method ``among`` of the record, if any.
    """
    found: Any = max(records, key=rank)
    carried = {
        name: one.each([getattr(record, name) for record in records])
        for name, one in told_of(found.__class__)
        if one.each is not None
    }
    found = replace(found, **carried) if carried else found
    if also is None:
        also = getattr(type(found), "among", None)
    return found if also is None else also(found, records)


def grouped(lists: Iterable[Iterable[T]]) -> list[list[T]]:
    """Return the records of several lists in groups that stand for the same thing: the first such, the second."""
    groups: dict[Hashable, list[T]] = {}
    for entries in lists:
        seen: dict[Hashable, int] = {}
        for entry in entries:
            kind: Any = type(entry)
            name = tuple(getattr(entry, name) for name, one in told_of(kind) if one.same)
            seen[name] = seen.get(name, 0) + 1
            groups.setdefault((name, seen[name]), []).append(entry)
    return list(groups.values())


def worst_of_each(lists: Iterable[Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None) -> tuple[T, ...]:
    """Return the worst of each group of records that stand for the same thing in several lists; of one list as it is.

    Parameters
    ----------
    lists : iterable of iterables
        At least one.
    also : callable, optional
        As `worst` takes it.
    """
    every = [tuple(one) for one in lists]
    return every[0] if len(every) == 1 else tuple(worst(group, also) for group in grouped(every))


def over(
    corners: Sequence[C], each: Callable[[C], Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None
) -> tuple[T, ...]:
    """Return the records of every corner of the tolerances, of each thing the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its records.
    also : callable, optional
        As `worst` takes it.
    """
    return worst_of_each(map(each, corners), also)
