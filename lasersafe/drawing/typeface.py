"""The two typefaces that sheets and drawings are set in: widths of their letters, and lines that fit into a room."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from lasersafe.data import shared_path
from lasersafe.errors import ReferenceDataError, refuse

NAMES = {False: "SheetSans", True: "SheetSansBold"}
FILES = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
FAMILY = "DejaVu Sans"
ASCENT, DESCENT = 0.76, 0.24  # of the letters in use, in units of the type size
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_UNKNOWN = 0.7
_GAPS = re.compile("[ \t\r\n\v\f]+")
_HELD = "\u00a0"  # a space at which no line is broken
_BREAK_AFTER = frozenset("/-_.,;:=+·×)&?@\\")
_LINE_ENDS = re.compile("\r\n|[\n\r\v\f\u0085\u2028\u2029]")


@lru_cache(maxsize=2)
def widths(bold: bool) -> dict[str, float]:
    """Return the advance widths per character, in units of the type size, of a typeface made known to reportlab.

    Raises
    ------
    ReferenceDataError
        If the font file is missing or damaged.
    """
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    try:
        font = TTFont(NAMES[bold], str(shared_path("fonts", FILES[bold])))
    except (TTFError, OSError) as error:
        refuse(f"font file {FILES[bold]} cannot be used: {error}; install lasersafe again", ReferenceDataError)
    pdfmetrics.registerFont(font)
    return {chr(code): font.face.charWidths[code] / 1000 for code in font.face.charToGlyph}


@lru_cache(maxsize=8192)
def _wide(text: str, bold: bool) -> float:
    known = widths(bold)
    return sum([known.get(character, _UNKNOWN) for character in text])


def width_of(text: str, size: float, bold: bool = False) -> float:
    """Return the width of a line of text, in the unit of ``size``."""
    return size * sum([_wide(word, bold) for word in text.split(" ")], text.count(" ") * _wide(" ", bold))


def missing(text: str) -> str:
    """Return the first character that the typeface does not have, or an empty text."""
    return next((character for character in text if character not in widths(False)), "")


def clean(text: str) -> str:
    """Return a text as one line, without control characters."""
    text = unicodedata.normalize("NFC", _GAPS.sub(" ", text)).strip(" ")
    return "".join(c for c in text if unicodedata.category(c)[0] != "C")


@lru_cache(maxsize=4096)
def wrap(text: str, size: float, room: float, bold: bool = False) -> tuple[str, ...]:
    """Break a text into lines that are no wider than ``room``; a word that is too long is broken too.

    Parameters
    ----------
    text : str
        Plain text; line ends in it are kept.
    size, room : float
        Height of the type and room for a line. [any unit of length, both the same]
    bold : bool
        Which typeface.

    Returns
    -------
    tuple of str
        Empty for an empty text.
    """
    lines: list[str] = []
    space = _wide(" ", bold)
    for part in _LINE_ENDS.split(unicodedata.normalize("NFC", text).replace("\t", " ")):
        line, used = "", 0.0
        for word in filter(None, part.split(" ")):
            wide = _wide(word, bold)
            if line and used + space + wide <= room / size:
                line, used = f"{line} {word}", used + space + wide
                continue
            if line:
                lines.append(line)
            while wide > room / size:
                cut = cut_of(word, room / size, bold)
                lines.append(word[:cut])
                word = word[cut:]
                wide = _wide(word, bold)
            line, used = word, wide
        if line:
            lines.append(line)
    return tuple([line.replace(_HELD, " ") for line in lines])


def cut_of(word: str, room: float, bold: bool) -> int:
    """Return how many characters of a long word go on one line, at least one; best after a no-break space or a sign."""
    used, last, sign = 0.0, 0, 0
    for index, character in enumerate(word):
        used += _wide(character, bold)
        if used > room:
            break
        last = index + 1
        if character in _BREAK_AFTER:
            sign = last
    gap = word.rfind(_HELD, 0, last) + 1
    if gap:
        return gap
    if sign >= last / 2 > 0:
        return sign
    while last > 1 and last < len(word) and unicodedata.combining(word[last]):
        last -= 1
    return max(last, 1)
