"""The refusal of what the typefaces cannot print."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any

from lasersafe.drawing.typeface import widths
from lasersafe.errors import OutputError

_SPACES = {"\n", "\r", "\t", "\v", "\f", "\u0085", "\u2028", "\u2029", "\u00a0", "\u2007", "\u202f"}
_LONGEST_QUOTE = 60


@lru_cache(maxsize=1)
def printable() -> frozenset[str]:
    """Return the characters that both typefaces have, and the white space that becomes a space or a new line."""
    shared = widths(False).keys() & widths(True).keys()
    return frozenset(each for each in shared if unicodedata.category(each)[0] != "C") | _SPACES


def refuse_unprintable(record: object, name: str = "") -> None:
    """Refuse a record that holds a character which cannot be printed.

    Raises
    ------
    OutputError
        Naming the first such field, the character, its code point and the text.
    """
    allowed = printable()
    seen: set[object] = set()  # texts, and the identities of records: most stand in many places
    waiting: list[tuple[Any, tuple[str, ...]]] = [(record, (name,))]
    while waiting:
        value, path = waiting.pop()
        key = value if isinstance(value, str) else id(value)
        if value is None or value.__class__ is float or key in seen:
            continue
        seen.add(key)
        inner: list[tuple[Any, tuple[str, ...]]] = []
        if isinstance(value, str):
            text = unicodedata.normalize("NFC", value)
            if not allowed.issuperset(text):
                character = next(each for each in text if each not in allowed)
                raise OutputError(_refusal("".join(path).lstrip("."), text, character))
        elif isinstance(value, Mapping):
            for each, entry in value.items():
                inner += [(str(each), (*path, " (a key)")), (entry, (*path, f"[{each}]"))]
        elif isinstance(value, tuple | list):
            if value and not isinstance(value[0], float):  # mostly coordinates
                inner = [(entry, (*path, f"[{number}]")) for number, entry in enumerate(value, 1)]
        elif is_dataclass(value):
            inner = [(getattr(value, field.name), (*path, f".{field.name}")) for field in fields(value)]
        waiting += reversed(inner)


def _refusal(path: str, text: str, character: str) -> str:
    code = f"U+{ord(character):04X}"
    shown = character if character.isprintable() else "without a shape"
    name = unicodedata.name(character, "no name")
    quoted = text if len(text) <= _LONGEST_QUOTE else text[:_LONGEST_QUOTE] + "..."
    safe = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in quoted)
    return (
        f"{path}: the character {shown} ({code}, {name}) cannot be printed; the text is '{safe}'; "
        "the sheet prints Latin, Greek and Cyrillic letters and common signs: write it with those"
    )
