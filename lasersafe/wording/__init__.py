"""The texts of all outputs, from the editable files of ``templates/wording/``, and sentences as a key with values.

Bottom layer: no calculation, no drawing. The texts are plain text; whoever prints them escapes them.
A file with a missing, an unknown or a repeated key is refused, so that an edited text cannot vanish unnoticed; a key
that is missing in ``sheet.toml`` is refused by name when the sheet asks for it.
"""

from __future__ import annotations

import os
import re
import string
from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, is_dataclass, replace
from functools import lru_cache, reduce
from typing import TYPE_CHECKING, Any, Literal, TypeVar, get_args

from lasersafe.data import fail, load_toml, record, templates_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.records import told_of

if TYPE_CHECKING:
    from lasersafe.results import Assessment


class Message(str):
    """A sentence of ``messages.toml`` with the values of its places; as a text it is the English one.

    Parameters
    ----------
    key : str
        Group and name, as ``time.one_pulse``.
    **values : any
        What stands in the places; a sentence in a place is said in the language of the whole.

    Raises
    ------
    ReferenceDataError
        If there is no such sentence.
    """

    __slots__ = ("key", "language", "values")
    key: str
    language: str
    values: dict[str, Any]

    def __new__(cls, key: str, /, **values: Any) -> Message:  # noqa: D102
        return cls._in("en", key, values)

    @classmethod
    def _in(cls, language: str, key: str, values: dict[str, Any]) -> Message:
        group, _, name = key.partition(".")
        try:
            template = _texts(language)[group][name]
        except KeyError:
            refuse(f"wording '{language}', messages.toml: key '{key}' is missing", ReferenceDataError)
        found = super().__new__(cls, template.format_map(values))
        found.key, found.language, found.values = key, language, values
        return found

    @property
    def group(self) -> str:
        """The group of the key."""
        return self.key.partition(".")[0]

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how a copy is made."""
        return Message._in, (self.language, self.key, self.values)

    def said(self, language: str) -> Message:
        """Return the sentence in a language, with its key and with what stands in its places."""
        values = {name: one.said(language) if isinstance(one, Message) else one for name, one in self.values.items()}
        return Message._in(language, self.key, values)


def word(text: str) -> str:
    """Return a word of the program, as the name of a rule or a tissue; what is none of its words is what users type."""
    return Message(f"word.{text}") if text in _texts("en")["word"] else text


def said_word(text: str, language: str) -> str:
    """Return a word of the program in a language; any other text as it is."""
    return str(_texts(language)["word"].get(text, text))


def key_of(text: str) -> str:
    """Return the key of a sentence, or "" for what is none."""
    return text.key if isinstance(text, Message) else ""


def inner(text: str, place: str) -> str:
    """Return what stands in a place of a sentence; of a text that is none, all of it."""
    found: str = text.values[place] if isinstance(text, Message) else text
    return found


def listed(parts: Iterable[str]) -> str:
    """Return one or more texts with an and between them."""
    return reduce(lambda first, second: Message("join.and", first=first, second=second), parts)


def joined(parts: Iterable[str], by: str = "; ") -> str:
    """Return texts in one, parted by semicolons or something else that is the same in every language."""

    def both(first: str, second: str) -> str:
        return Message("join.two", first=first, by=by, second=second) if first else second

    return reduce(both, parts, "")


@lru_cache(maxsize=8)
def _texts(language: str) -> dict[str, dict[str, str]]:
    return load_toml(templates_path("wording", language, "messages.toml"))


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
            old = {name: (getattr(value, name), told.spoken) for name, told in told_of(value.__class__)}
            changed = {name: new for name, field in old.items() if (new := said(*field)) is not field[0]}
            done[id(value)] = replace(value, **changed) if changed else value
        return done[id(value)]

    found: Assessment = assessment if wording.language == "en" else said(assessment)
    return found


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
_TEXTS = ("sheet", "record", "uncertainty", "messages")  # files of groups of texts
_LANGUAGE = re.compile(r"[a-z]{2}(-[A-Z]{2})?\Z")


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


@dataclass(frozen=True)
class Wording:
    """All texts of one language; ``caution_short`` is the one sentence that every output carries."""

    language: str
    controls: tuple[ControlText, ...]
    other_hazards: tuple[HazardText, ...]
    caution_short: str
    cautions: tuple[CautionText, ...]
    declarations: dict[str, str]  # sign-off role -> what that person declares
    roles: dict[str, str]  # sign-off role -> name of the role as printed
    texts: dict[str, str]
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
        day=_lists(DayText, language, files, "day", *DAY_LISTS),
    )


def languages() -> list[str]:
    """Return the languages that have a wording."""
    root = templates_path("wording")
    return sorted(folder.name for folder in root.iterdir() if folder.is_dir()) if root.is_dir() else []


def language_here() -> str:
    """Return the language of the environment, for what is said before a case could say its own."""
    stated = (os.environ.get(name, "") for name in ("LC_ALL", "LC_MESSAGES", "LANG"))
    language = next(filter(None, stated), "")[:2].lower()
    return language if language in languages() else "en"


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


# --- how files are read: every key is checked, so that an edit cannot vanish -----------------------------------------

Entry = TypeVar("Entry", ControlText, HazardText, DayText, RoleText)


def where_in(language: str, file: str) -> str:
    """Return a file of a wording in words."""
    return f"wording '{language}', {file}"


def _lists(
    kind: type[Entry], language: str, files: dict[str, Any], file: str, *names: str
) -> dict[str, tuple[Entry, ...]]:
    """Return the lists that a file has to have, each of records with keys of their own."""
    where = where_in(language, f"{file}.toml")
    data: dict[str, Any] = files[file]
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
