"""Paragraphs broken into lines, formulas with raised and lowered parts, and the numbers by which parts are named.

All text is drawn literally; there is no markup, so nothing that a user types can act as markup.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from lasersafe.drawing.primitives import BLACK, Words, grey
from lasersafe.drawing.text import cut_of, unit_text
from lasersafe.drawing.text import width_of as measured
from lasersafe.drawing.text import wrap as broken
from lasersafe.records import Criterion
from lasersafe.results import Assessment, Control, Scenario

_NUMBERED = re.compile(r"(\D*)(\d+)\Z")


class Footnotes:
    """Texts that are printed once and pointed at by number."""

    def __init__(self, prefix: str = "") -> None:
        self.prefix = prefix
        self.texts: dict[str, str] = {}

    def mark(self, text: str) -> str:
        """Return the number of a text, a new one when it was not met before."""
        return self.texts.setdefault(text, f"{self.prefix}{len(self.texts) + 1}")


class References:
    """Numbers ``L1`` ... of limits, ``S1`` ... of scenarios, ``C1`` ... of controls and ``Q1`` ... of sources."""

    def __init__(self, assessment: Assessment, kinds: tuple[str, ...]) -> None:
        self.sources = Footnotes("Q")
        self.limits: dict[Criterion, str] = {}
        self._by_identity: dict[int, str] = {}
        self._alike: dict[Criterion, str] = {}
        for setup in assessment.setups:
            for zone in setup.zones:
                self.limit(zone.criterion)
        for scenario in assessment.scenarios:
            self.limit(scenario.criterion)
        self._scenarios = {id(scenario): f"S{number}" for number, scenario in enumerate(assessment.scenarios, 1)}
        self._keys = {scenario.key: self.scenario(scenario) for scenario in assessment.scenarios}
        order = {kind: place for place, kind in enumerate(kinds)}
        self.controls: tuple[Control, ...] = tuple(
            sorted(assessment.controls, key=lambda control: order.get(control.kind, len(order)))
        )
        self._control_numbers = {control.text: f"C{number}" for number, control in enumerate(self.controls, 1)}

    def limit(self, criterion: Criterion) -> str:
        """Return the number of a limit, a new one when it was not met before."""
        found = self._by_identity.get(id(criterion))
        if found is None:
            alike = replace(criterion, steps=(), amount=0.0)  # its steps stand with the first that has them
            if alike not in self._alike:
                self._alike[alike] = self.limits[criterion] = f"L{len(self.limits) + 1}"
            found = self._by_identity[id(criterion)] = self._alike[alike]
        return found

    def scenario(self, scenario: Scenario) -> str:
        """Return the number of a scenario of this assessment."""
        return self._scenarios[id(scenario)]

    def by_key(self, key: str) -> str:
        """Return the number of the scenario of that key, or the key itself when there is none."""
        return self._keys.get(key, key)

    def control(self, text: str) -> str:
        """Return the number of a control, or the text itself when it is not in the list."""
        return self._control_numbers.get(text, text)


def joined(labels: Iterable[str]) -> str:
    """Return labels in one line, neighbours drawn together: ``C2, C4–C6``.

    Examples
    --------
    >>> joined(["C2", "C4", "C5", "C6", "see the plan"])
    'C2, C4–C6, see the plan'
    """
    runs: list[list[str]] = []
    last: tuple[str, int] | None = None
    for label in labels:
        match = _NUMBERED.match(label)
        here = (match[1], int(match[2])) if match else None
        if here and last and here == (last[0], last[1] + 1):
            runs[-1].append(label)
        else:
            runs.append([label])
        last = here
    return ", ".join(
        f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs
    )  # two neighbours gain nothing


@dataclass(frozen=True)
class Style:
    """How a paragraph looks. Sizes in points."""

    size: float = 8.5
    bold: bool = False
    ink: str = BLACK
    spacing: float = 1.25  # line distance in units of the size
    after: float = 0.0

    @property
    def leading(self) -> float:
        """Distance of two base lines in points."""
        return self.size * self.spacing

    def words(self, x: float, y: float, text: str) -> Words:
        """Return one line of text that starts at a place."""
        return Words(x, y, text, self.size, self.bold, self.ink)


BODY = Style(8.5, after=2)
ITEM = Style(8.2, after=1)
SMALL = Style(7.5)
TINY = Style(7, spacing=1.2)
TINY_BOLD = Style(7, True, spacing=1.2)
TINY_NOTE = Style(7, ink=grey(0.25), spacing=1.2)
SMALL_BOLD = Style(7.5, True)
NOTE = Style(7.5, ink=grey(0.25))
SHADE = 0.95  # of a row that heads others


Line = tuple[Words, ...]  # placed from the start of the base line
Run = tuple[str, int]  # text, and level: 0 on the line, 1 raised, -1 lowered
_SMALL = 0.72
_RISE = {0: 0.0, 1: 0.36, -1: -0.16}


def width_of(text: str, style: Style) -> float:
    """Return the width of one line of text in points."""
    return measured(text, style.size, style.bold)


def wrap(text: str, style: Style, width: float) -> tuple[Line, ...]:
    """Break a text into lines that are not wider than ``width`` [point]; line ends in it are kept."""
    return tuple([(style.words(0.0, 0.0, line),) for line in broken(text, style.size, width, style.bold)])


_GREEK = {
    "alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "Delta": "Δ", "eta": "η", "theta": "θ", "lambda": "λ",
    "mu": "µ", "nu": "ν", "pi": "π", "rho": "ρ", "sigma": "σ", "tau": "τ", "phi": "φ", "Phi": "Φ", "psi": "ψ",
    "omega": "ω", "Omega": "Ω",
}  # fmt: skip
_WORDS = re.compile(r"(?<![A-Za-z])(" + "|".join(_GREEK) + r")(?![A-Za-z])")
_POWER_OF_TEN = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?)[eE]([+-]?\d+)(?![\w.])")
_LEVEL = re.compile(r"(?<=[\w)\]])[_^](?:[({]|[+-]?[A-Za-z0-9α-ωΑ-Ω]+(?:[.,]\d+)?)")


def formula_text(text: str) -> str:
    """Return a formula with signs instead of names: ``sqrt(4*Phi/pi)`` becomes ``√(4·Φ/π)``."""
    text = _WORDS.sub(lambda match: _GREEK[match[1]], text)
    text = text.replace("**", "^").replace(" * ", " · ").replace("*", "·").replace(" x ", " · ").replace("sqrt(", "√(")
    text = text.replace("<=", "≤").replace(">=", "≥").replace(" - ", " − ")
    text = _POWER_OF_TEN.sub(lambda match: f"{match[1]}\u00a0×\u00a010^{int(match[2])}", text)
    return unit_text(text)


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
        Raised and lowered parts are words of their own.
    """
    if "_" not in text and "^" not in text and "**" not in text and not _POWER_OF_TEN.search(text):
        return wrap(formula_text(text), style, width)
    lines: list[list[Words]] = [[]]
    used, gap = 0.0, width_of(" ", style)
    for word in _words(formula_runs(unicodedata.normalize("NFC", text))):
        pieces = [(part, replace(style, size=style.size * (_SMALL if level else 1.0)), level) for part, level in word]
        if lines[-1] and used + gap + sum(width_of(part, own) for part, own, _ in pieces) > width:
            lines.append([])
            used = 0.0
        elif lines[-1]:
            used += gap
            lines[-1][-1] = replace(lines[-1][-1], text=lines[-1][-1].text + " ")
        for piece, own, level in pieces:
            part, rise = piece, _RISE[level] * style.size
            while used + width_of(part, own) > width:
                if not lines[-1]:
                    cut = cut_of(part, width / own.size, own.bold)
                    lines[-1].append(own.words(0.0, rise, part[:cut].replace("\u00a0", " ")))
                    part = part[cut:]
                lines.append([])
                used = 0.0
            words = own.words(used, rise, part.replace("\u00a0", " "))
            if lines[-1] and not rise and not lines[-1][-1].y:
                lines[-1][-1] = replace(lines[-1][-1], text=lines[-1][-1].text + words.text)
            else:
                lines[-1].append(words)
            used += width_of(part, own)
    return tuple([tuple(line) for line in lines if line])


def _words(runs: list[Run]) -> list[list[Run]]:
    """Split runs at spaces into words, each a list of runs."""
    words: list[list[Run]] = [[]]
    for text, level in runs:
        for number, part in enumerate([text] if level else text.split(" ")):
            if number:
                words.append([])
            if part:
                words[-1].append((part, level))
    return [word for word in words if word]
