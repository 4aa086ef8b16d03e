"""What stands for the same thing in the lists of several corners of the tolerances, and the worst of it."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from typing import TypeVar

from lasersafe.worst import badness

C = TypeVar("C")
T = TypeVar("T")


def alike(lists: Iterable[Iterable[T]], key: Callable[[T], Hashable]) -> list[list[T]]:
    """Return the entries of several lists in groups: of one key, and of the same count of that key in their list."""
    groups: dict[Hashable, list[T]] = {}
    for entries in lists:
        seen: dict[Hashable, int] = {}
        for entry in entries:
            name = key(entry)
            seen[name] = seen.get(name, 0) + 1
            groups.setdefault((name, seen[name]), []).append(entry)
    return list(groups.values())


def highest(each: Iterable[Mapping[str, float]]) -> dict[str, float]:
    """Return the highest value of each name; what is not a number counts as the highest."""
    found: dict[str, float] = {}
    for one in each:
        for name, value in one.items():
            found[name] = max(found.get(name, value), value, key=badness)
    return found


def over(
    corners: Sequence[C], each: Callable[[C], Iterable[T]], key: Callable[[T], Hashable], worst: Callable[[list[T]], T]
) -> tuple[T, ...]:
    """Return the results of every corner in groups of one key, and of each group the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its results.
    key : callable
        What two results have to share to stand for the same thing.
    worst : callable
        Takes a group of results and returns one.
    """
    lists = [tuple(each(corner)) for corner in corners]
    return lists[0] if len(lists) == 1 else tuple(worst(group) for group in alike(lists, key))
