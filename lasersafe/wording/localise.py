"""An assessment in another language: what the program says in it goes through the phrases of the wording.

Names, notes and reasons that a user typed are left alone; so are symbols, formulas, numbers and units.
"""

from __future__ import annotations

from dataclasses import is_dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

from lasersafe.records.fields import told_of

if TYPE_CHECKING:
    from lasersafe.results import Assessment
    from lasersafe.wording import Wording

Record = TypeVar("Record")


def localise(assessment: Assessment, wording: Wording) -> Assessment:
    """Return the assessment with the words of the program in the language of the wording.

    Parameters
    ----------
    assessment : Assessment
        As assessed.
    wording : Wording
        Its phrases are used; a wording without any leaves the assessment as it is.
    """
    if not wording.phrases:
        return assessment
    return _Localiser(wording).record(assessment)


class _Localiser:
    """Walks through records; the same record stays the same, since the sheet tells limits apart by identity."""

    def __init__(self, wording: Wording) -> None:
        self.wording = wording
        self.done: dict[int, Any] = {}

    def record(self, value: Record) -> Record:
        if id(value) not in self.done:
            changed: dict[str, Any] = {}
            for name, told in told_of(value):
                old = getattr(value, name)
                if told.whole:
                    new = self.wording.said(old)
                else:
                    new = self._spoken(old) if told.spoken else self._inside(old)
                if new is not old:
                    changed[name] = new
            self.done[id(value)] = replace(value, **changed) if changed else value  # type: ignore[type-var]
        found: Record = self.done[id(value)]
        return found

    def _spoken(self, value: Any) -> Any:
        if isinstance(value, str):
            said = self.wording.say(value)
            return value if said == value else said
        return tuple(map(self.wording.say, value))

    def _inside(self, value: Any) -> Any:
        if is_dataclass(value) and not isinstance(value, type):
            return self.record(value)
        if isinstance(value, tuple) and value and is_dataclass(value[0]):
            return tuple(self.record(one) for one in value)
        return value
