"""Sentences as a key with values, and what is said of them in one language."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import is_dataclass, replace
from functools import lru_cache, reduce
from typing import TYPE_CHECKING, Any

from lasersafe.data import load_toml, templates_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.records.fields import told_of

if TYPE_CHECKING:
    from lasersafe.results import Assessment
    from lasersafe.wording import Wording


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
        found = super().__new__(cls, _template(language, key).format_map(values))
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


def _template(language: str, key: str) -> str:
    group, _, name = key.partition(".")
    try:
        return _texts(language)[group][name]
    except KeyError:
        refuse(f"wording '{language}', messages.toml: key '{key}' is missing", ReferenceDataError)


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
