"""Numbers and lines of text as sheets and drawings print them: decimal marks, widths of letters, lines that fit.

Rounding is one-sided where a wrong side could mislead.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache

from lasersafe.data import shared_path
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.quantity import Rounding, feet, format_quantity
from lasersafe.records import badness
from lasersafe.wording import Wording

NAMES = {False: "SheetSans", True: "SheetSansBold"}
FILES = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
FAMILY = "DejaVu Sans"
ASCENT, DESCENT = 0.76, 0.24  # of the letters in use, in units of the type size
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_UNKNOWN = 0.7
_GAPS = re.compile("[ \t\r\n\v\f]+")
_HELD = "\u00a0"  # a space at which no line is broken
_BREAK_AFTER = frozenset("/-_.,;:=+·×)&?@\\")
_BEFORE_UNIT = re.compile(r"(?<=[\d⁰¹²³⁴-⁹]) (?=(?:[kMGTmcnpµu]?(?:W|J|m|s|rad|Hz|ft)\b|%|°C))")
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


def held(text: str) -> str:
    """Return a text in which no line ends between a number and its unit."""
    return _BEFORE_UNIT.sub(_HELD, text)


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
    for part in _LINE_ENDS.split(held(unicodedata.normalize("NFC", text).replace("\t", " "))):
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


_POWER = re.compile(r"[eE]([+-]?\d+)")
_COMPUTED = re.compile(r"(?<![\w.])(\d(?:\.\d+)?(?=e[+-])|\d\.\d+)e([+-]?\d{1,2})(?![\w.]\d)")
_SQUARE_UNIT = re.compile(r"(?<![A-Za-z])([cmkn]?m)([23])(?![\w.])")
_PER_AREA = re.compile(r"/([cm]?)m2(?!\w)")
# "um" is a German word as well
_MICRO = re.compile(
    r"((?<=\d)|(?<=\d[ \u00a0])|(?<=\d[a-z]/)|^)u(m|s|J|W|rad|g)(?=$|[^A-Za-z])"
)  # the German word too is "um"
_LEAST = 0.01
_NOTHING = 1e-30  # of any unit that is printed
_GROUPS = re.compile(r"(?<![\d.,])(\d{1,3}(?:[ ,\u00a0]\d{3})+)(?=[ \u00a0](?:m|ft)\b)")
_DECIMAL = re.compile(r"\([A-Z]{3}[^()]*\)|(?<=\d)\.(?=\d)")  # a place in a document keeps its numbers
_MEASURED = re.compile(  # no place in a document begins with 0
    r"[A-Z]{3,}[\w-]*, [1-9]\d*\.\d+(?=[;)])|(?<![\w.:/-])(?:(0)|(\d+))\.(\d+)"
    r"(?(1)(?!\w|\.\d)|(?=[ \u00a0](?:×|%|°|[kMGTmcnpµu]?(?:W|J|m|s|rad|Hz|ft|x)\b)|e[+-]?\d{1,2}\b|-fache|-mal"
    r"|[;)]*$|[;)]+ |  ))"
)
_mark = ContextVar("_mark", default=".")  # between a number and its decimals
_none = ContextVar("_none", default="not a number")


@contextmanager
def decimals(wording: Wording) -> Iterator[None]:
    """Print numbers with the decimal mark of a language, and its word for none, until the end of the block."""
    before = _mark.set(wording.text("sheet.decimal")), _none.set(wording.text("sheet.not_a_number"))
    try:
        yield
    finally:
        _mark.reset(before[0])
        _none.reset(before[1])


def spoken(text: str) -> str:
    """Return what the program made of numbers with the decimal mark of the language."""
    mark = _mark.get()
    return text if mark == "." else _DECIMAL.sub(lambda match: mark if match[0] == "." else match[0], text)


def tidy(text: str) -> str:
    """Return a sentence with ``/m2``, ``/cm2``, ``6.4e+06`` and ``1 255 m`` as the sheet prints them."""
    text = _GROUPS.sub(lambda match: re.sub(r"\D", "", match[1]), text)
    text = _COMPUTED.sub(lambda match: f"{match[1]}{_raised(f'e{match[2]}')}", _PER_AREA.sub(r"/\1m²", text))
    return measured(text)


def measured(text: str) -> str:
    """Return a sentence in which numbers with a unit, and fractions of one, have the decimal mark of the language."""
    mark = _mark.get()
    return (
        text
        if mark == "."
        else _MEASURED.sub(lambda match: f"{match[1] or match[2]}{mark}{match[3]}" if match[3] else match[0], text)
    )


def unit_text(text: str) -> str:
    """Return a unit as it is printed: ``W/m2`` becomes ``W/m²`` and ``um`` becomes ``µm``."""
    return _SQUARE_UNIT.sub(lambda match: match[1] + ("²" if match[2] == "2" else "³"), _MICRO.sub(r"µ\2", text))


def _raised(text: str) -> str:
    """Return a number with its power of ten written out: ``1.5e-3`` becomes ``1.5 × 10⁻³``, held together."""
    return _POWER.sub(lambda match: "\u00a0×\u00a010" + str(int(match[1])).translate(RAISED), text)


def _special(value: float) -> str:
    if math.isnan(value):
        return _none.get()
    return "∞" if value > 0 else "−∞"


def number(value: float, digits: int = 3, rounding: Rounding = "nearest") -> str:
    """Return a bare number with so many digits; small and large ones as a power of ten, as in a sentence."""
    if not math.isfinite(value):
        return _special(value)
    text = format_quantity(value if abs(value) > _NOTHING else 0.0, "1", digits, rounding)
    return spoken(_raised(text).replace("-", "−", 1))


def ratio(value: float) -> str:
    """Return how many times the limit an exposure is, never too few; what is not a number counts as infinite."""
    return spoken(f"< {_LEAST:g}") if 0 <= value < _LEAST else number(badness(value), 3, "up")


def plain(value: float) -> str:
    """Return the result of a step with up to six digits, so that it can be retraced; what is no light at all is 0."""
    if not math.isfinite(value):
        return _special(value)
    value = value if abs(value) > _NOTHING else 0.0
    return spoken(_raised(f"{value:.6g}").replace("-", "−", 1))


def quantity(value: float, unit: str, digits: int = 3, rounding: Rounding = "nearest") -> str:
    """Return a number with its unit, with the prefix that suits."""
    if not math.isfinite(value):
        return f"{_special(value)}\u00a0{unit_text(unit)}"
    text = _raised(format_quantity(value, unit, digits, rounding)).replace("-", "−", 1)
    return spoken(unit_text(text).replace(" ", "\u00a0"))


def in_unit(value: float, unit: str, digits: int = 3, rounding: Rounding = "nearest") -> str:
    """Return a number with just that unit, so that neighbours can be compared."""
    return f"{number(value, digits, rounding)}\u00a0{unit_text(unit)}"


def irradiance(value: float, per_cm2: bool, rounding: Rounding) -> str:
    """Return an irradiance [W/m2] for a square metre, and for a square centimetre where a rating was typed so."""
    text = in_unit(value, "W/m2", 3, rounding)
    return f"{text} ({in_unit(value / 1e4, 'W/cm2', 3, rounding)})" if per_cm2 else text


def distance(value: float, with_feet: bool = False) -> str:
    """Return a distance that must not be printed too short, as for `ratio`, with feet where the case asks."""
    text = quantity(badness(value), "m", 3, "up")
    return f"{text} ({quantity(feet(value), 'ft', 3, 'up')})" if with_feet else text


def place(value: float, with_feet: bool = False) -> str:
    """Return where somebody or something is, in metres; never farther away than it is."""
    if with_feet and math.isfinite(value):
        return f"{place(value)} ({in_unit(feet(value), 'ft', 3, 'down')})"
    if not math.isfinite(value):
        return f"{_special(value)}\u00a0m"
    text = format_quantity(value, "1", 3, "down")
    if "e" in text:
        return in_unit(value, "m", 3, "down")
    return spoken(f"{_short(text)}\u00a0m")


def duration(value: float) -> str:
    """Return a time without needless zeros."""
    if not math.isfinite(value):
        return f"{_special(value)}\u00a0s"
    digits, _, unit = format_quantity(value, "s", 4).partition(" ")
    return spoken(f"{_raised(_short(digits))}\u00a0{unit_text(unit)}")


def aperture(value: float) -> str:
    """Return the diameter of a limiting aperture in millimetres."""
    return spoken(f"{value * 1e3:.4g}\u00a0mm") if math.isfinite(value) else _special(value)


def _short(digits: str) -> str:
    return digits.rstrip("0").rstrip(".") if "." in digits and "e" not in digits else digits


def wavelength(value: float) -> str:
    """Return a wavelength in nanometres, in which the trade speaks."""
    return spoken(f"{value * 1e9:.6g}\u00a0nm") if math.isfinite(value) else _special(value)


def density(value: float) -> str:
    """Return an optical density to ask for; it was rounded up before."""
    return spoken(f"{value:.1f}") if math.isfinite(value) else number(value)
