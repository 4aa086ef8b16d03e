"""The two embedded typefaces, their widths, and the refusal of what they cannot print."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import lru_cache

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont

from lasersafe.errors import OutputError, ReferenceDataError
from lasersafe.reference import shared_path

REGULAR = "SheetSans"
BOLD = "SheetSansBold"
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
_SPACES = {"\n", "\r", "\t", "\v", "\f", "\u0085", "\u2028", "\u2029", "\u00a0", "\u2007", "\u202f"}
_LONGEST_QUOTE = 60


@dataclass(frozen=True)
class Face:
    """Advance widths of one typeface, per character, in units of the type size."""

    name: str
    widths: Mapping[str, float]
    characters: frozenset[str]

    def width(self, text: str, size: float) -> float:
        """Return the width of a text without line breaks, in points."""
        widths = self.widths
        return size * sum([widths[character] for character in text])


@lru_cache(maxsize=1)
def faces() -> dict[str, Face]:
    """Load the typefaces once and return their widths.

    Raises
    ------
    ReferenceDataError
        If a font file is missing or damaged.
    """
    found = {}
    for name, file in _FILES.items():
        path = shared_path("fonts", file)
        try:
            font = TTFont(name, str(path))
        except (TTFError, OSError) as error:
            message = f"font file {file} cannot be used: {error}; install lasersafe again"
            raise ReferenceDataError(message) from None
        pdfmetrics.registerFont(font)
        widths = {chr(code): font.face.charWidths[code] / 1000 for code in font.face.charToGlyph}
        printable = frozenset(
            character for character in widths if unicodedata.category(character)[0] != "C" and character not in _SPACES
        )
        found[name] = Face(name, widths, printable)
    return found


@lru_cache(maxsize=1)
def printable() -> frozenset[str]:
    """Return the characters that both typefaces have, and the white space that becomes a space or a new line."""
    regular, bold = faces()[REGULAR], faces()[BOLD]
    return (regular.characters & bold.characters) | _SPACES


def refuse_unprintable(record: object, name: str = "") -> None:
    """Refuse a record that holds a character which cannot be printed.

    Raises
    ------
    OutputError
        Naming the field, the character, its code point and the text.
    """
    found: set[str] = set()
    _collect(record, found, set())
    allowed = printable()
    if allowed.issuperset(unicodedata.normalize("NFC", "".join(found))):
        return
    for path, text in _texts(record, name):
        for character in unicodedata.normalize("NFC", text):
            if character not in allowed:
                raise OutputError(_refusal(path, text, character))


def _collect(value: object, found: set[str], seen: set[int]) -> None:
    """Gather all texts without their places, each record once: nearly always nothing is wrong."""
    if isinstance(value, str):
        found.add(value)
    elif isinstance(value, Mapping):
        found.update(map(str, value))
        for entry in value.values():
            _collect(entry, found, seen)
    elif isinstance(value, tuple | list):
        if value and not isinstance(value[0], float) and id(value) not in seen:
            seen.add(id(value))
            for entry in value:
                if isinstance(entry, str):
                    found.add(entry)
                elif not (isinstance(entry, tuple) and entry and isinstance(entry[0], float)):  # mostly coordinates
                    _collect(entry, found, seen)
    elif is_dataclass(value) and id(value) not in seen:
        seen.add(id(value))
        for entry in vars(value).values():
            if isinstance(entry, str):
                found.add(entry)
            elif entry is not None and entry.__class__ is not float:
                _collect(entry, found, seen)


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


def _texts(value: object, path: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, Mapping):
        for key, entry in value.items():
            yield f"{path} (a key)", str(key)
            yield from _texts(entry, f"{path}[{key}]")
    elif isinstance(value, tuple | list):
        if value and isinstance(value[0], float):
            return
        for number, entry in enumerate(value, 1):
            yield from _texts(entry, f"{path}[{number}]")
    elif is_dataclass(value):
        for field in fields(value):
            entry = getattr(value, field.name)
            if entry.__class__ is not float:
                yield from _texts(entry, f"{path}.{field.name}" if path else field.name)
