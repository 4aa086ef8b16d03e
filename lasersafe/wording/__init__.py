"""The texts of the sheet and of the other outputs, from the editable files of ``templates/wording/``.

Bottom layer: no calculation, no drawing. The texts are plain text; whoever prints them escapes them.
A file with a missing, an unknown or a repeated key is refused, so that an edited text cannot vanish unnoticed; a key
that is missing in ``sheet.toml`` is refused by name when the sheet asks for it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from lasersafe.data import load_toml, record, templates_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.wording.files import (
    CONDITIONS,
    CONTROL_KINDS,
    DAY_LISTS,
    WAYS,
    Cautions,
    CautionText,
    ControlText,
    DayText,
    Entry,
    HazardText,
    RoleText,
    read_lists,
    read_texts,
    unique,
    where_in,
)
from lasersafe.wording.message import Message, said_word

__all__ = [
    "CONDITIONS",
    "CONTROL_KINDS",
    "DAY_LISTS",
    "WAYS",
    "CautionText",
    "ControlText",
    "DayText",
    "HazardText",
    "Wording",
    "languages",
    "load_wording",
]

_TEXTS = ("sheet", "record", "uncertainty", "messages")  # files of groups of texts
_LANGUAGE = re.compile(r"[a-z]{2}(-[A-Z]{2})?\Z")


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
    day: dict[str, tuple[DayText, ...]]  # list of `DAY_LISTS` -> its lines

    def day_lines(self, name: str, conditions: Collection[str]) -> tuple[DayText, ...]:
        """Return the lines of one list of ``day.toml`` whose conditions are all met, in the order of the file.

        Raises
        ------
        InputError
            If a condition is not known.
        """
        met = _checked_conditions(conditions)
        return tuple(entry for entry in self.day[name] if met.issuperset(entry.when))

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

    def other_hazards_for(
        self, conditions: Collection[str], material: str = "", gas: str = ""
    ) -> tuple[HazardText, ...]:
        """Return the hazards whose conditions are all met, in the order of the file.

        Parameters
        ----------
        conditions : collection of str
            Words of `CONDITIONS` that hold in the case.
        material, gas : str
            Work material and process gas as typed; a hazard may be tied to words in them.

        Raises
        ------
        InputError
            If a word is not known.
        """
        met = _checked_conditions(conditions)
        return tuple(entry for entry in self.other_hazards if met.issuperset(entry.when) and entry.meets(material, gas))

    def say(self, text: str) -> str:
        """Return a sentence or a word of the program in this language; what users type stays as it is."""
        return text.said(self.language) if isinstance(text, Message) else said_word(text, self.language)

    def input_name(self, name: str) -> str:
        """Return a field of the case file in words, of an oblong width with its axis, as ``beam_diameter.x``."""
        field, _, axis = name.partition(".")
        return self.texts.get(f"input.{field}", field.replace("_", " ")) + (f" {axis}" if axis else "")

    def text(self, key: str, /, **values: object) -> str:
        """Return a text of ``sheet.toml`` with ``{name}`` places filled in; a way without one is called by its word.

        Raises
        ------
        ReferenceDataError
            If the wording has no such text, or the text names a place that is not filled.
        """
        group, _, name = key.partition(".")
        template = self.texts.get(key) or (said_word(name, self.language) if group == "way" else "")
        if not template or (key not in self.texts and template == name):
            raise _missing(self.language, "sheet.toml", key)
        if not values and "{" not in template:
            return template
        try:
            return template.format_map(values)
        except (KeyError, IndexError, ValueError) as error:
            places = ", ".join(values) or "none"
            refuse(
                f"wording '{self.language}', sheet.toml, key '{key}': cannot fill in {error}; places: {places}",
                ReferenceDataError,
            )


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
        refuse(f"language = '{language}': there is no wording for it; there is: {', '.join(languages()) or 'none'}")
    folder = templates_path("wording", language)
    files = {
        name: load_toml(folder / f"{name}.toml")
        for name in ("controls", "other_hazards", "cautions", "sign_off", "day", *_TEXTS)
    }
    digest = hashlib.sha256(json.dumps(files, sort_keys=True, ensure_ascii=True).encode()).hexdigest()
    cautions = record(Cautions, files["cautions"], where_in(language, "cautions.toml"))
    unique(cautions.caution, where_in(language, "cautions.toml"))
    roles = _lists(RoleText, language, files, "sign_off", "role")["role"]
    controls = [
        entry for kind in _lists(ControlText, language, files, "controls", *CONTROL_KINDS).values() for entry in kind
    ]
    unique(controls, where_in(language, "controls.toml"))
    return Wording(
        language=language,
        controls=tuple(controls),
        other_hazards=_lists(HazardText, language, files, "other_hazards", "hazard")["hazard"],
        caution_short=cautions.short,
        cautions=cautions.caution,
        declarations={entry.key: entry.declares for entry in roles},
        roles={entry.key: entry.name for entry in roles},
        texts={key: text for name in _TEXTS for key, text in read_texts(language, f"{name}.toml", files[name]).items()},
        digest=digest,
        day=_lists(DayText, language, files, "day", *DAY_LISTS),
    )


def _lists(
    kind: type[Entry], language: str, files: dict[str, Any], file: str, *names: str
) -> dict[str, tuple[Entry, ...]]:
    return read_lists(kind, files[file], where_in(language, f"{file}.toml"), names)


def languages() -> list[str]:
    """Return the languages that have a wording."""
    root = templates_path("wording")
    return sorted(folder.name for folder in root.iterdir() if folder.is_dir()) if root.is_dir() else []


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
        refuse(f"condition '{unknown[0]}' is not known to the wording; known: {', '.join(sorted(CONDITIONS))}")
    return {"always", *conditions}
