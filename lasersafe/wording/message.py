"""A sentence of the program: a key with values, put into words last, in any language."""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from typing import Any

from lasersafe.errors import ReferenceDataError
from lasersafe.reference import load_toml, templates_path


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

    __slots__ = ("key", "values")
    key: str
    values: dict[str, Any]

    def __new__(cls, key: str, /, **values: Any) -> Message:  # noqa: D102
        found = super().__new__(cls, _template("en", key).format_map(values))
        found.key, found.values = key, values
        return found

    @property
    def group(self) -> str:
        """The group of the key."""
        return self.key.partition(".")[0]

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how a copy is made."""
        return _again, (self.key, self.values)

    def said(self, language: str) -> str:
        """Return the sentence in a language."""
        values = {name: one.said(language) if isinstance(one, Message) else one for name, one in self.values.items()}
        return _template(language, self.key).format_map(values)


def joined(parts: Iterable[str]) -> str:
    """Return sentences in one, each of them once, parted by semicolons."""
    return reduce(lambda first, second: Message("join.semicolon", first=first, second=second), dict.fromkeys(parts))


def _again(key: str, values: dict[str, Any]) -> Message:
    return Message(key, **values)


def _template(language: str, key: str) -> str:
    group, _, name = key.partition(".")
    try:
        return str(load_toml(templates_path("wording", language, "messages.toml"))[group][name])
    except KeyError:
        message = f"wording '{language}', messages.toml: key '{key}' is missing"
        raise ReferenceDataError(message) from None
