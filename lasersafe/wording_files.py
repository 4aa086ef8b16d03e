"""What the files of a wording hold, and how they are read: every key is checked, so that an edit cannot vanish."""

from __future__ import annotations

import re
import string
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from lasersafe.errors import ReferenceDataError
from lasersafe.phrases import PLACE

CONTROL_KINDS = ("substitute", "technical", "organisational", "personal")
WAYS = ("direct", "mirror", "scatter")
SEEN = ("read", "part", "memory", "common practice", "own")
CONDITIONS = frozenset(
    {
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
    }
)
DAY_LISTS = ("check", "stop", "after", "casualty", "review")


@dataclass(frozen=True)
class ControlText:
    """One control that a case can call for; ``when`` holds conditions that must all be met."""

    key: str
    kind: str
    text: str
    answers: tuple[str, ...]
    when: tuple[str, ...]
    alone: bool = True  # False: it helps, but does not keep light from a person by itself


@dataclass(frozen=True)
class HazardText:
    """One hazard other than the beam, with the source of what is said."""

    key: str
    title: str
    text: str
    source: str
    seen: str
    when: tuple[str, ...]
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
class DayText:
    """One line of the pages for the day: a check, a stop criterion, a step of first aid, a review trigger."""

    key: str
    text: str
    when: tuple[str, ...]


def _has_word(text: str, word: str) -> bool:
    """Return whether a word stands in a text at the start of a word: ``steel`` in ``steels``, not in ``asteel``."""
    return re.search(rf"(?<!\w){re.escape(word.casefold())}", text.casefold()) is not None


class Table:
    """One file with its allowed top-level keys."""

    def __init__(self, file: str, language: str, data: dict[str, Any], keys: set[str]) -> None:
        self.where = f"wording '{language}', {file}"
        self.data = data
        self._exactly(self.where, data, keys)

    @staticmethod
    def _exactly(where: str, data: dict[str, Any], keys: set[str]) -> None:
        for key in sorted(keys - data.keys()):
            message = f"{where}: key '{key}' is missing"
            raise ReferenceDataError(message)
        for key in sorted(data.keys() - keys):
            message = f"{where}: key '{key}' is not known; known: {', '.join(sorted(keys))}"
            raise ReferenceDataError(message)

    def string(self, data: dict[str, Any], key: str) -> str:
        """Return a text that is not empty."""
        value = data[key]
        if not isinstance(value, str) or not value.strip():
            message = f"{self.where}: key '{key}' must be a text that is not empty"
            raise ReferenceDataError(message)
        return value

    def words(self, data: dict[str, Any], key: str, allowed: Collection[str]) -> tuple[str, ...]:
        """Return a list of allowed words."""
        value = data[key]
        if not isinstance(value, list) or not value:
            message = f"{self.where}: '{data['key']}': {key} must be a list of words"
            raise ReferenceDataError(message)
        for word in value:
            if word not in allowed:
                message = (
                    f"{self.where}: '{data['key']}': {key} '{word}' is not known; known: {', '.join(sorted(allowed))}"
                )
                raise ReferenceDataError(message)
        return tuple(value)

    def free_words(self, row: dict[str, Any], key: str) -> tuple[str, ...]:
        """Return a list of any words, empty when the key is left out."""
        value = row.get(key, [])
        if not isinstance(value, list) or not all(isinstance(word, str) and word.strip() for word in value):
            message = f"{self.where}: '{row['key']}': {key} must be a list of words"
            raise ReferenceDataError(message)
        return tuple(value)

    def entries(self, name: str, keys: set[str], optional: frozenset[str] = frozenset()) -> list[dict[str, Any]]:
        """Return the tables of one list, each with exactly its keys, none twice."""
        rows = self.data[name]
        if not isinstance(rows, list) or not rows:
            message = f"{self.where}: '{name}' must be a list of tables, [[{name}]]"
            raise ReferenceDataError(message)
        found: set[str] = set()
        for number, row in enumerate(rows, 1):
            where = f"{self.where}, {name} {number}"
            self._exactly(where, row, keys | (optional & row.keys()))
            for key in keys - {"when", "answers"}:
                self.string(row, key)
            if row["key"] in found:
                message = f"{where}: key '{row['key']}' occurs twice"
                raise ReferenceDataError(message)
            found.add(row["key"])
        return rows


def read_controls(language: str, data: dict[str, Any]) -> tuple[ControlText, ...]:
    """Return the controls of a file."""
    table = Table("controls.toml", language, data, set(CONTROL_KINDS))
    found: list[ControlText] = []
    for kind in CONTROL_KINDS:
        for row in table.entries(kind, {"key", "text", "answers", "when"}, frozenset({"alone"})):
            if any(entry.key == row["key"] for entry in found):
                message = f"{table.where}, {kind}: key '{row['key']}' occurs twice"
                raise ReferenceDataError(message)
            answers = table.words(row, "answers", WAYS)
            alone = row.get("alone", True)
            if not isinstance(alone, bool):
                message = f"{table.where}: '{row['key']}': alone must be true or false"
                raise ReferenceDataError(message)
            when = table.words(row, "when", CONDITIONS)
            found.append(ControlText(row["key"], kind, row["text"], answers, when, alone))
    return tuple(found)


def read_hazards(language: str, data: dict[str, Any]) -> tuple[HazardText, ...]:
    """Return the other hazards of a file."""
    table = Table("other_hazards.toml", language, data, {"hazard"})
    found = []
    optional = frozenset({"material", "gas"})
    for row in table.entries("hazard", {"key", "title", "text", "source", "seen", "when"}, optional):
        if row["seen"] not in SEEN:
            message = f"{table.where}: '{row['key']}': seen '{row['seen']}' is not known; known: {', '.join(SEEN)}"
            raise ReferenceDataError(message)
        when = table.words(row, "when", CONDITIONS)
        material, gas = (table.free_words(row, name) for name in ("material", "gas"))
        found.append(HazardText(row["key"], row["title"], row["text"], row["source"], row["seen"], when, material, gas))
    return tuple(found)


def read_day(language: str, data: dict[str, Any]) -> dict[str, tuple[DayText, ...]]:
    """Return the lists of the pages for the day."""
    table = Table("day.toml", language, data, set(DAY_LISTS))
    return {
        name: tuple(
            DayText(row["key"], row["text"], table.words(row, "when", CONDITIONS))
            for row in table.entries(name, {"key", "text", "when"})
        )
        for name in DAY_LISTS
    }


def read_phrases(language: str, data: dict[str, Any]) -> tuple[tuple[str, str], ...]:
    """Return pairs of an English phrase and its translation; both name the same ``{places}``."""
    if not data:
        return ()
    where = f"wording '{language}', phrases.toml"
    found: list[tuple[str, str]] = []
    for group, entries in data.items():
        if not isinstance(entries, dict):
            message = f"{where}: '{group}' must be a table, [{group}]"
            raise ReferenceDataError(message)
        for english, here in entries.items():
            if not isinstance(here, str) or not here.strip():
                message = f"{where}: '{english}' must be a text that is not empty"
                raise ReferenceDataError(message)
            if sorted(PLACE.findall(english)) != sorted(PLACE.findall(here)):
                message = f"{where}: '{english}' and its translation do not name the same places in braces"
                raise ReferenceDataError(message)
            found.append((english, here))
    return tuple(found)


def read_texts(language: str, file: str, data: dict[str, Any]) -> dict[str, str]:
    """Return the texts of a file as ``group.key``."""
    where = f"wording '{language}', {file}"
    texts: dict[str, str] = {}
    for group, entries in data.items():
        if not isinstance(entries, dict):
            message = f"{where}: '{group}' must be a table, [{group}]"
            raise ReferenceDataError(message)
        for key, value in entries.items():
            name = f"{group}.{key}"
            if not isinstance(value, str) or not value.strip():
                message = f"{where}: key '{name}' must be a text that is not empty"
                raise ReferenceDataError(message)
            try:
                list(string.Formatter().parse(value))
            except ValueError as error:
                message = f"{where}: key '{name}': {error}; write a brace twice to print it"
                raise ReferenceDataError(message) from None
            texts[name] = value
    return texts
