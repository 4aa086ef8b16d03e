"""An assessment in another language: the sentences of the program are said in it by their keys.

Names, notes and reasons that a user typed are left alone; so are symbols, formulas, numbers and units.
"""

from __future__ import annotations

from dataclasses import is_dataclass, replace
from typing import TYPE_CHECKING, Any

from lasersafe.records.fields import told_of
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.results import Assessment
    from lasersafe.wording import Wording


def localise(assessment: Assessment, wording: Wording) -> Assessment:
    """Return the assessment with the words of the program in the language of the wording.

    Parameters
    ----------
    assessment : Assessment
        As assessed.
    wording : Wording
        What is said already in its language leaves the assessment as it is.
    """
    done: dict[int, Any] = {}

    def said(value: Any, spoken: bool = False) -> Any:
        if isinstance(value, str):
            return wording.say(value) if spoken or isinstance(value, Message) else value
        if type(value) is tuple:
            new = tuple(said(one, spoken) for one in value)
            return value if all(one is other for one, other in zip(new, value, strict=True)) else new
        if not is_dataclass(value) or isinstance(value, type):
            return value
        if id(value) not in done:  # the same record stays the same: the sheet tells limits apart by identity
            old = {name: (getattr(value, name), told.spoken) for name, told in told_of(value)}
            changed = {name: new for name, field in old.items() if (new := said(*field)) is not field[0]}
            done[id(value)] = replace(value, **changed) if changed else value
        return done[id(value)]

    found: Assessment = assessment if wording.language == "en" else said(assessment)
    return found
