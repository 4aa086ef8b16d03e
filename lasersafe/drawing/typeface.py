"""Widths of the typeface that all drawings are set in, read from the font files without a library."""

from __future__ import annotations

import re
import struct
import unicodedata
from functools import lru_cache

from lasersafe.errors import ReferenceDataError
from lasersafe.reference import shared_path

FILES = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
FAMILY = "DejaVu Sans"
ASCENT, DESCENT = 0.76, 0.24  # of the letters in use, in units of the type size
_UNKNOWN = 0.7
_GAPS = re.compile("[ \t\r\n\v\f]+")
_HELD = "\u00a0"  # a space at which no line is broken


@lru_cache(maxsize=2)
def widths(bold: bool) -> dict[str, float]:
    """Return the advance widths per character, in units of the type size.

    Raises
    ------
    ReferenceDataError
        If the font file is missing or damaged.
    """
    name = FILES[bold]
    try:
        data = shared_path("fonts", name).read_bytes()
        return _read(data)
    except (OSError, struct.error, KeyError, IndexError, ZeroDivisionError) as error:
        message = f"font file {name} cannot be used: {error}; install lasersafe again"
        raise ReferenceDataError(message) from None


def _read(data: bytes) -> dict[str, float]:
    """Read the tables head, hhea, hmtx and cmap (format 4) of a TrueType file (ISO/IEC 14496-22)."""
    (count,) = struct.unpack_from(">H", data, 4)
    tables = {}
    for number in range(count):
        tag, _, offset, _ = struct.unpack_from(">4sIII", data, 12 + 16 * number)
        tables[tag.decode("latin-1")] = offset
    (unit,) = struct.unpack_from(">H", data, tables["head"] + 18)
    (longs,) = struct.unpack_from(">H", data, tables["hhea"] + 34)
    advances = struct.unpack_from(f">{2 * longs}H", data, tables["hmtx"])[::2]
    cmap = tables["cmap"]
    (count,) = struct.unpack_from(">H", data, cmap + 2)
    for number in range(count):
        _, _, offset = struct.unpack_from(">HHI", data, cmap + 4 + 8 * number)
        (form,) = struct.unpack_from(">H", data, cmap + offset)
        if form == 4:
            glyphs = _segments(data, cmap + offset)
            return {chr(code): advances[min(glyph, longs - 1)] / unit for code, glyph in glyphs.items()}
    raise KeyError("cmap")  # noqa: EM101 (turned into a message above)


def _segments(data: bytes, start: int) -> dict[int, int]:
    (twice,) = struct.unpack_from(">H", data, start + 6)
    many = twice // 2
    ends = struct.unpack_from(f">{many}H", data, start + 14)
    starts = struct.unpack_from(f">{many}H", data, start + 16 + twice)
    deltas = struct.unpack_from(f">{many}H", data, start + 16 + 2 * twice)
    place = start + 16 + 3 * twice
    offsets = struct.unpack_from(f">{many}H", data, place)
    glyphs: dict[int, int] = {}
    for index in range(many):
        for code in range(starts[index], min(ends[index], 0xFFFE) + 1):
            glyph = code
            if offsets[index]:
                at = place + 2 * index + offsets[index] + 2 * (code - starts[index])
                (glyph,) = struct.unpack_from(">H", data, at)
                if not glyph:
                    continue
            glyph = (glyph + deltas[index]) & 0xFFFF
            if glyph:
                glyphs[code] = glyph
    return glyphs


@lru_cache(maxsize=4096)
def width_of(text: str, size: float, bold: bool = False) -> float:
    """Return the width of a line of text, in the unit of ``size``."""
    known = widths(bold)
    return size * sum([known.get(character, _UNKNOWN) for character in text])


def missing(text: str) -> str:
    """Return the first character that the typeface does not have, or an empty text."""
    known = widths(False)
    return next((character for character in text if character not in known), "")


def clean(text: str) -> str:
    """Return a text as one line, without control characters."""
    text = unicodedata.normalize("NFC", _GAPS.sub(" ", text)).strip(" ")
    return "".join(c for c in text if unicodedata.category(c)[0] != "C")


@lru_cache(maxsize=2048)
def wrap(text: str, size: float, room: float, bold: bool = False) -> tuple[str, ...]:
    """Break a text into lines no wider than ``room``; a word that is too long is broken too."""
    lines: list[str] = []
    line = ""
    for word in clean(text).split(" "):
        longer = f"{line} {word}" if line else word
        if width_of(longer, size, bold) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        while len(word) > 1 and width_of(word, size, bold) > room:
            cut = next((n for n in range(len(word) - 1, 0, -1) if width_of(word[:n], size, bold) <= room), 1)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    if line:
        lines.append(line)
    return tuple(line.replace(_HELD, " ") for line in lines)
