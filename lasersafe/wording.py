"""The texts of the sheet and of the other outputs, from the editable files of ``templates/wording/``.

Bottom layer: no calculation, no drawing. The texts are plain text; whoever prints them escapes them.
A file with a missing, an unknown or a repeated key is refused, so that an edited text cannot vanish unnoticed; a key
that is missing in ``sheet.toml`` is refused by name when the sheet asks for it.
"""

from __future__ import annotations

import hashlib
import json
import re
import string
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from lasersafe.errors import InputError, ReferenceDataError
from lasersafe.reference import load_toml, templates_path

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
_LANGUAGE = re.compile(r"[a-z]{2}(-[A-Z]{2})?\Z")


@dataclass(frozen=True)
class ControlText:
    """One control that a case can call for; ``when`` holds conditions that must all be met."""

    key: str
    kind: str
    text: str
    answers: tuple[str, ...]
    when: tuple[str, ...]


@dataclass(frozen=True)
class HazardText:
    """One hazard other than the beam, with the source of what is said."""

    key: str
    title: str
    text: str
    source: str
    seen: str
    when: tuple[str, ...]


@dataclass(frozen=True)
class CautionText:
    """One caution of the sheet."""

    key: str
    title: str
    text: str


@dataclass(frozen=True)
class Wording:
    """All texts of one language.

    ``caution_short`` is the one sentence that every output carries. ``digest`` is the SHA-256 of all the texts, as the
    fingerprint of a sheet needs it.
    """

    language: str
    controls: tuple[ControlText, ...]
    other_hazards: tuple[HazardText, ...]
    caution_short: str
    cautions: tuple[CautionText, ...]
    declarations: dict[str, str]  # sign-off role -> what that person declares
    roles: dict[str, str]  # sign-off role -> name of the role as printed
    texts: dict[str, str]
    digest: str

    def control(self, key: str) -> ControlText:
        """Return the control of that key.

        Raises
        ------
        ReferenceDataError
            If the wording has no such control.
        """
        for entry in self.controls:
            if entry.key == key:
                return entry
        raise _missing(self.language, "controls.toml", key)

    def controls_for(self, conditions: Collection[str]) -> tuple[ControlText, ...]:
        """Return the controls whose conditions are all met, in the order of `CONTROL_KINDS`.

        Parameters
        ----------
        conditions : collection of str
            Words of `CONDITIONS` that hold in the case; ``always`` holds without being named.

        Raises
        ------
        InputError
            If a word is not known.
        """
        met = _checked_conditions(conditions)
        return tuple(
            entry
            for kind in CONTROL_KINDS
            for entry in self.controls
            if entry.kind == kind and met.issuperset(entry.when)
        )

    def other_hazard(self, key: str) -> HazardText:
        """Return the hazard of that key.

        Raises
        ------
        ReferenceDataError
            If the wording has no such hazard.
        """
        for entry in self.other_hazards:
            if entry.key == key:
                return entry
        raise _missing(self.language, "other_hazards.toml", key)

    def other_hazards_for(self, conditions: Collection[str]) -> tuple[HazardText, ...]:
        """Return the hazards whose conditions are all met, in the order of the file.

        Raises
        ------
        InputError
            If a word is not known.
        """
        met = _checked_conditions(conditions)
        return tuple(entry for entry in self.other_hazards if met.issuperset(entry.when))

    def text(self, key: str, /, **values: object) -> str:
        """Return a text of ``sheet.toml`` with ``{name}`` places filled in.

        Raises
        ------
        ReferenceDataError
            If the wording has no such text, or the text names a place that is not filled.
        """
        try:
            template = self.texts[key]
        except KeyError:
            raise _missing(self.language, "sheet.toml", key) from None
        if not values and "{" not in template:
            return template
        try:
            return template.format_map(values)
        except (KeyError, IndexError, ValueError) as error:
            places = ", ".join(values) or "none"
            message = f"wording '{self.language}', sheet.toml, key '{key}': cannot fill in {error}; places: {places}"
            raise ReferenceDataError(message) from None


@lru_cache(maxsize=8)
def load_wording(language: str = "en") -> Wording:
    """Return the texts of one language.

    Parameters
    ----------
    language : str
        Folder below ``templates/wording/``, as ``en``.

    Returns
    -------
    Wording
        All texts, checked.

    Raises
    ------
    InputError
        If there is no wording in that language.
    ReferenceDataError
        If a file is missing, is not TOML, or has a missing, unknown or repeated key.
    """
    if not _LANGUAGE.match(language) or not templates_path("wording", language).is_dir():
        root = templates_path("wording")
        known = sorted(folder.name for folder in root.iterdir() if folder.is_dir()) if root.is_dir() else []
        message = f"language = '{language}': there is no wording for it; there is: {', '.join(known) or 'none'}"
        raise InputError(message)
    folder = templates_path("wording", language)
    files = {
        name: load_toml(folder / f"{name}.toml")
        for name in ("controls", "other_hazards", "cautions", "sign_off", "sheet")
    }
    digest = hashlib.sha256(json.dumps(files, sort_keys=True, ensure_ascii=True).encode()).hexdigest()
    cautions = _Table("cautions.toml", language, files["cautions"], {"short", "caution"})
    roles = _Table("sign_off.toml", language, files["sign_off"], {"role"}).entries("role", {"key", "name", "declares"})
    return Wording(
        language=language,
        controls=_controls(language, files["controls"]),
        other_hazards=_hazards(language, files["other_hazards"]),
        caution_short=cautions.string(cautions.data, "short"),
        cautions=tuple(
            CautionText(**{name: str(entry[name]) for name in ("key", "title", "text")})
            for entry in cautions.entries("caution", {"key", "title", "text"})
        ),
        declarations={entry["key"]: entry["declares"] for entry in roles},
        roles={entry["key"]: entry["name"] for entry in roles},
        texts=_sheet_texts(language, files["sheet"]),
        digest=digest,
    )


def caution_line(language: str = "en") -> str:
    """Return the one sentence that every output carries, without loading the other texts."""
    short = load_toml(templates_path("wording", language, "cautions.toml")).get("short")
    if not isinstance(short, str) or not short.strip():
        raise _missing(language, "cautions.toml", "short")
    return short


def _missing(language: str, file: str, key: str) -> ReferenceDataError:
    return ReferenceDataError(f"wording '{language}', {file}: key '{key}' is missing")


def _checked_conditions(conditions: Collection[str]) -> set[str]:
    unknown = sorted(set(conditions) - CONDITIONS)
    if unknown:
        message = f"condition '{unknown[0]}' is not known to the wording; known: {', '.join(sorted(CONDITIONS))}"
        raise InputError(message)
    return {"always", *conditions}


class _Table:
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
        value = data[key]
        if not isinstance(value, str) or not value.strip():
            message = f"{self.where}: key '{key}' must be a text that is not empty"
            raise ReferenceDataError(message)
        return value

    def words(self, data: dict[str, Any], key: str, allowed: Collection[str]) -> tuple[str, ...]:
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

    def entries(self, name: str, keys: set[str]) -> list[dict[str, Any]]:
        rows = self.data[name]
        if not isinstance(rows, list) or not rows:
            message = f"{self.where}: '{name}' must be a list of tables, [[{name}]]"
            raise ReferenceDataError(message)
        found: set[str] = set()
        for number, row in enumerate(rows, 1):
            where = f"{self.where}, {name} {number}"
            self._exactly(where, row, keys)
            for key in keys - {"when", "answers"}:
                self.string(row, key)
            if row["key"] in found:
                message = f"{where}: key '{row['key']}' occurs twice"
                raise ReferenceDataError(message)
            found.add(row["key"])
        return rows


def _controls(language: str, data: dict[str, Any]) -> tuple[ControlText, ...]:
    table = _Table("controls.toml", language, data, set(CONTROL_KINDS))
    found: list[ControlText] = []
    for kind in CONTROL_KINDS:
        for row in table.entries(kind, {"key", "text", "answers", "when"}):
            if any(entry.key == row["key"] for entry in found):
                message = f"{table.where}, {kind}: key '{row['key']}' occurs twice"
                raise ReferenceDataError(message)
            answers = table.words(row, "answers", WAYS)
            found.append(ControlText(row["key"], kind, row["text"], answers, table.words(row, "when", CONDITIONS)))
    return tuple(found)


def _hazards(language: str, data: dict[str, Any]) -> tuple[HazardText, ...]:
    table = _Table("other_hazards.toml", language, data, {"hazard"})
    found = []
    for row in table.entries("hazard", {"key", "title", "text", "source", "seen", "when"}):
        if row["seen"] not in SEEN:
            message = f"{table.where}: '{row['key']}': seen '{row['seen']}' is not known; known: {', '.join(SEEN)}"
            raise ReferenceDataError(message)
        when = table.words(row, "when", CONDITIONS)
        found.append(HazardText(row["key"], row["title"], row["text"], row["source"], row["seen"], when))
    return tuple(found)


def _sheet_texts(language: str, data: dict[str, Any]) -> dict[str, str]:
    where = f"wording '{language}', sheet.toml"
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
