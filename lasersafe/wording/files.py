"""What the files of a wording hold, and how they are read: every key is checked, so that an edit cannot vanish."""

from __future__ import annotations

import re
import string
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, TypeVar, get_args

from lasersafe.data import fail, record

CONTROL_KINDS = ("substitute", "technical", "organisational", "personal")
Way = Literal["direct", "mirror", "scatter"]
WAYS: tuple[Way, ...] = get_args(Way)
Seen = Literal["read", "part", "memory", "common practice", "own"]
Condition = Literal[
    "always",
    "lens",  # a set-up focuses the beam
    "fibre",  # the light comes through a fibre
    "handheld",  # somebody holds the head
    "ultraviolet",  # below 400 nm
    "visible",  # 400 nm to 700 nm
    "invisible",  # anything else
    "far infrared",  # beyond 2.5 um: surfaces turn into mirrors
    "pulsed",
    "kilowatt",  # a kilowatt or more, mean
    "process",  # the beam heats, cuts, welds, marks or cleans something
    "eyewear",  # somebody has to wear eyewear
    "spectators",  # people who are not involved are present
    "barrier",  # a barrier is part of the case
]
CONDITIONS = frozenset[str](get_args(Condition))
DAY_LISTS = ("check", "stop", "after", "casualty", "review")


@dataclass(frozen=True)
class ControlText:
    """One control that a case can call for; ``when`` holds conditions that must all be met."""

    key: str
    kind: str
    text: str
    answers: tuple[Way, ...]
    when: tuple[Condition, ...]
    alone: bool = True  # False: it helps, but does not keep light from a person by itself


@dataclass(frozen=True)
class HazardText:
    """One hazard other than the beam, with the source of what is said."""

    key: str
    title: str
    text: str
    source: str
    seen: Seen
    when: tuple[Condition, ...]
    material: tuple[str, ...] = ()  # words of a work material, one of which must be named in the case
    gas: tuple[str, ...] = ()  # words of a gas; a case that names no gas meets them all

    def meets(self, material: str, gas: str) -> bool:
        """Return whether the hazard belongs to this material and this gas."""
        fits_material = not self.material or any(_has_word(material, word) for word in self.material)
        return fits_material and (not self.gas or not gas.strip() or any(_has_word(gas, word) for word in self.gas))


@dataclass(frozen=True)
class CautionText:
    """One caution of the sheet."""

    key: str
    title: str
    text: str


@dataclass(frozen=True)
class Cautions:
    """The one sentence that every output carries, and the cautions of the sheet."""

    short: str
    caution: tuple[CautionText, ...]


@dataclass(frozen=True)
class RoleText:
    """One role of the sign-off: its name as printed, and what that person declares."""

    key: str
    name: str
    declares: str


@dataclass(frozen=True)
class DayText:
    """One line of the pages for the day: a check, a stop criterion, a step of first aid, a review trigger."""

    key: str
    text: str
    when: tuple[Condition, ...]


def _has_word(text: str, word: str) -> bool:
    """Return whether a word stands in a text at the start of a word: ``steel`` in ``steels``, not in ``asteel``."""
    return re.search(rf"(?<!\w){re.escape(word.casefold())}", text.casefold()) is not None


Entry = TypeVar("Entry", ControlText, HazardText, DayText, RoleText)


def where_in(language: str, file: str) -> str:
    """Return a file of a wording in words."""
    return f"wording '{language}', {file}"


def read_lists(
    kind: type[Entry], data: dict[str, Any], where: str, names: tuple[str, ...]
) -> dict[str, tuple[Entry, ...]]:
    """Return the lists of a file, each of records with keys of their own.

    Parameters
    ----------
    kind : type
        What the records are.
    data : dict
        The file.
    where : str
        The file, for the message.
    names : tuple of str
        The lists that it has to have.
    """
    for name in [*names, *data]:
        if name not in data:
            fail(where, f"key '{name}' is missing")
        if name not in names:
            fail(where, f"key '{name}' is not known; known: {', '.join(names)}")
    found: dict[str, tuple[Entry, ...]] = {}
    for name in names:
        rows = data[name]
        if not isinstance(rows, list) or not rows:
            fail(where, f"'{name}' must be a list of tables, [[{name}]]")
        given = {"kind": name} if kind is ControlText else {}
        found[name] = tuple(record(kind, row, f"{where}, {name} {i}", **given) for i, row in enumerate(rows, 1))
        unique(found[name], f"{where}, {name}")
    return found


def unique(entries: Iterable[Any], where: str) -> None:
    """Refuse two entries with one key."""
    for key, count in Counter(entry.key for entry in entries).items():
        if count > 1:
            fail(where, f"key '{key}' occurs twice")


def read_texts(language: str, file: str, data: dict[str, Any]) -> dict[str, str]:
    """Return the texts of a file as ``group.key``."""
    where = where_in(language, file)
    texts: dict[str, str] = {}
    for group, entries in data.items():
        if not isinstance(entries, dict):
            fail(where, f"'{group}' must be a table, [{group}]")
        for key, value in entries.items():
            name = f"{group}.{key}"
            if not isinstance(value, str) or not value.strip():
                fail(where, f"key '{name}' must be a text that is not empty")
            try:
                list(string.Formatter().parse(value))
            except ValueError as error:
                fail(where, f"key '{name}': {error}; write a brace twice to print it")
            texts[name] = value
    return texts
