"""What was worked out for the places of a person already: the same points, lights and screens come again and again."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")


class Known:
    """Answers that are kept, each under a key; made for one scene and dropped with it."""

    def __init__(self) -> None:
        self._numbers: dict[object, int] = {}
        self._answers: dict[tuple[object, ...], tuple[object, Any]] = {}

    def number(self, key: object) -> int:
        """Return one number for all keys that are equal; it is quicker to look up than they are."""
        return self._numbers.setdefault(key, len(self._numbers))

    def once(self, key: tuple[object, ...], held: object, work: Callable[..., T], *given: Any) -> T:
        """Return what a function gives, worked out at the first call with a key.

        Parameters
        ----------
        key : tuple
            All that the answer depends on; an object may stand in it by its ``id`` when it is *held*.
        held : object
            What has to live as long as the answer.
        work : callable
            Makes the answer.
        *given
            Its arguments.
        """
        if key not in self._answers:
            self._answers[key] = (held, work(*given))
        found: T = self._answers[key][1]
        return found
