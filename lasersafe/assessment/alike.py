"""What stands for the same thing in the lists of several corners of the tolerances."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import TypeVar

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
