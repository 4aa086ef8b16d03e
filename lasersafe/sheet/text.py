"""Text that is broken into lines: plain text, and formulas with raised and lowered parts.

All text is drawn literally; there is no markup, so nothing that a user types can act as markup.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from functools import lru_cache

from lasersafe.sheet.fonts import BOLD, REGULAR, faces


@dataclass(frozen=True)
class Style:
    """How a paragraph looks. Sizes in points, ``ink`` from 0 (black) to 1 (white)."""

    size: float = 8.5
    bold: bool = False
    ink: float = 0.0
    spacing: float = 1.25  # line distance in units of the size
    after: float = 0.0

    @property
    def font(self) -> str:
        """Name of the typeface."""
        return BOLD if self.bold else REGULAR

    @property
    def leading(self) -> float:
        """Distance of two base lines in points."""
        return self.size * self.spacing


@dataclass(frozen=True)
class Fragment:
    """A piece of one line: offset from the left edge, text, size and rise above the base line, in points."""

    x: float
    text: str
    size: float
    rise: float = 0.0


Line = tuple[Fragment, ...]
Run = tuple[str, int]  # text, and level: 0 on the line, 1 raised, -1 lowered

_BREAK_AFTER = frozenset("/-_.,;:=+·×)&?@\\")
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_SMALL = 0.72
_RISE = {1: 0.36, -1: -0.16}
_LINE_ENDS = re.compile("\r\n|[\n\r\v\f\u0085\u2028\u2029]")


@lru_cache(maxsize=4096)
def _word_width(text: str, font: str) -> float:
    return faces()[font].width(text, 1.0)


def width_of(text: str, style: Style) -> float:
    """Return the width of one line of text in points."""
    words = text.split(" ")
    gaps = (len(words) - 1) * _word_width(" ", style.font)
    return style.size * (gaps + sum([_word_width(word, style.font) for word in words]))


@lru_cache(maxsize=2048)
def wrap(text: str, style: Style, width: float) -> tuple[Line, ...]:
    """Break a text into lines that are not wider than ``width``; a word that is too long is broken too.

    Parameters
    ----------
    text : str
        Plain text; line ends in it are kept.
    style : Style
        Type.
    width : float
        Room for a line. [point]

    Returns
    -------
    tuple of Line
        Empty for an empty text.
    """
    lines: list[Line] = []
    for part in _LINE_ENDS.split(unicodedata.normalize("NFC", text).replace("\t", " ")):
        lines.extend((Fragment(0.0, _plain_spaces(line), style.size),) for line in _break(part, style, width))
    return tuple(lines)


def _break(text: str, style: Style, width: float) -> list[str]:
    font, room = style.font, width / style.size
    space = _word_width(" ", font)
    lines: list[str] = []
    line, used = "", 0.0
    for word in text.split(" "):
        if not word:
            continue
        wide = _word_width(word, font)
        if line and used + space + wide <= room:
            line, used = f"{line} {word}", used + space + wide
            continue
        if line:
            lines.append(line)
        while wide > room:
            cut = _cut(word, font, room)
            lines.append(word[:cut])
            word = word[cut:]
            wide = _word_width(word, font)
        line, used = word, wide
    if line:
        lines.append(line)
    return lines


def _cut(word: str, font: str, room: float) -> int:
    """Return how many characters of a long word go on one line, at least one; best after a no-break space or a sign."""
    widths = faces()[font].widths
    used, last, sign = 0.0, 0, 0
    for index, character in enumerate(word):
        used += widths[character]
        if used > room:
            break
        last = index + 1
        if character in _BREAK_AFTER:
            sign = last
    gap = word.rfind("\u00a0", 0, last) + 1
    if gap:
        return gap
    if sign >= last / 2 > 0:
        return sign
    while last > 1 and unicodedata.combining(word[last]):
        last -= 1
    return max(last, 1)


_GREEK = {
    "alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "Delta": "Δ", "eta": "η", "theta": "θ", "lambda": "λ",
    "mu": "µ", "nu": "ν", "pi": "π", "rho": "ρ", "sigma": "σ", "tau": "τ", "phi": "φ", "Phi": "Φ", "psi": "ψ",
    "omega": "ω", "Omega": "Ω",
}  # fmt: skip
_WORDS = re.compile(r"(?<![A-Za-z])(" + "|".join(_GREEK) + r")(?![A-Za-z])")
_POWER_OF_TEN = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)[eE]([+-]?\d+)(?![\w.])")
_SQUARE_UNIT = re.compile(r"(?<![A-Za-z])([cmkn]?m)([23])(?![\w.])")
_COMPUTED = re.compile(r"(?<![\w.])(\d(?:\.\d+)?)e([+-]\d\d)(?![\w.]\d)")
_PER_AREA = re.compile(r"/([cm]?)m2(?!\w)")
_MICRO = re.compile(r"(?<![A-Za-z])u(m|s|J|W|rad|g)(?![A-Za-z])")
_LEVEL = re.compile(r"(?<=[\w)\]])[_^](?:[({]|[+-]?[A-Za-z0-9α-ωΑ-Ω]+(?:[.,]\d+)?)")


def formula_text(text: str) -> str:
    """Return a formula with signs instead of names: ``sqrt(4*Phi/pi)`` becomes ``√(4·Φ/π)``."""
    text = _WORDS.sub(lambda match: _GREEK[match[1]], text)
    text = text.replace("**", "^").replace(" * ", " · ").replace("*", "·").replace("sqrt(", "√(")
    text = text.replace("<=", "≤").replace(">=", "≥").replace(" - ", " − ")
    text = _POWER_OF_TEN.sub(lambda match: f"{match[1]}\u00a0×\u00a010^{int(match[2])}", text)
    return unit_text(text)


def tidy(text: str) -> str:
    """Return a sentence with ``/m2``, ``/cm2`` and ``6.4e+06`` as they are printed; nothing else is touched."""
    return _COMPUTED.sub(_power_of_ten, _PER_AREA.sub(r"/\1m²", text))


def _power_of_ten(match: re.Match[str]) -> str:
    return f"{match[1]}\u00a0×\u00a010{str(int(match[2])).translate(RAISED)}"


def unit_text(text: str) -> str:
    """Return a unit as it is printed: ``W/m2`` becomes ``W/m²`` and ``um`` becomes ``µm``."""
    return _SQUARE_UNIT.sub(lambda match: match[1] + ("²" if match[2] == "2" else "³"), _MICRO.sub(r"µ\1", text))


def formula_runs(text: str) -> list[Run]:
    """Split a formula into runs on, above and below the line; ``_`` lowers and ``^`` raises what follows.

    Brackets around what follows are left out, since its place shows where it ends.
    """
    text = formula_text(text)
    runs: list[Run] = []
    place = 0
    for match in _LEVEL.finditer(text):
        if match.start() < place:
            continue
        end = match.end()
        content = text[match.start() + 1 : end]
        if content in "({":
            end = _closing(text, end - 1)
            content = text[match.start() + 2 : end - 1]
        if match.start() > place:
            runs.append((text[place : match.start()], 0))
        runs.append((content.replace("-", "−"), 1 if text[match.start()] == "^" else -1))
        place = end
    if text[place:]:
        runs.append((text[place:], 0))
    return runs


def _closing(text: str, start: int) -> int:
    """Return the place behind the bracket that closes the one at ``start``, or the end of the text."""
    depth = 0
    for index in range(start, len(text)):
        depth += (text[index] in "({") - (text[index] in ")}")
        if not depth:
            return index + 1
    return len(text) + 1


@lru_cache(maxsize=2048)
def wrap_formula(text: str, style: Style, width: float) -> tuple[Line, ...]:
    """Break a formula into lines that are not wider than ``width``.

    Parameters
    ----------
    text : str
        A formula as the calculations write it, see `formula_runs`.
    style : Style
        Type.
    width : float
        Room for a line. [point]

    Returns
    -------
    tuple of Line
        Lines of fragments; raised and lowered parts are fragments of their own.
    """
    if "_" not in text and "^" not in text and "**" not in text and not _POWER_OF_TEN.search(text):
        return wrap(formula_text(text), style, width)
    lines: list[Line] = []
    line: list[Fragment] = []
    used = 0.0
    gap = _word_width(" ", style.font) * style.size
    for word in _words(formula_runs(unicodedata.normalize("NFC", text))):
        pieces = [(part, style.size * _SMALL if level else style.size, level) for part, level in word]
        wide = sum(_word_width(part, style.font) * size for part, size, _ in pieces)
        if line and used + gap + wide > width:
            lines.append(tuple(line))
            line, used = [], 0.0
        elif line:
            used += gap
            line[-1] = replace(line[-1], text=line[-1].text + " ")
        for piece, size, level in pieces:
            part, rise = piece, _RISE.get(level, 0.0) * style.size
            while used + _word_width(part, style.font) * size > width:
                if line:
                    lines.append(tuple(line))
                    line, used = [], 0.0
                    continue
                cut = _cut(part, style.font, width / size)
                lines.append((Fragment(0.0, _plain_spaces(part[:cut]), size, rise),))
                part = part[cut:]
            _append(line, Fragment(used, _plain_spaces(part), size, rise))
            used += _word_width(part, style.font) * size
    if line:
        lines.append(tuple(line))
    return tuple(lines)


def _plain_spaces(text: str) -> str:
    return text.replace("\u00a0", " ")


def _append(line: list[Fragment], fragment: Fragment) -> None:
    if line and not fragment.rise and not line[-1].rise:
        line[-1] = replace(line[-1], text=line[-1].text + fragment.text)
    else:
        line.append(fragment)


def _words(runs: list[Run]) -> list[list[Run]]:
    """Split runs at spaces into words, each a list of runs."""
    words: list[list[Run]] = [[]]
    for text, level in runs:
        parts = text.split(" ") if not level else [text]
        for number, part in enumerate(parts):
            if number:
                words.append([])
            if part:
                words[-1].append((part, level))
    return [word for word in words if word]
