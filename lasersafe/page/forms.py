"""What the page says, and what is typed into its forms: one number with a unit each, or a fault in its words.

The texts are those of ``page.toml`` of one language, without those of the sheet.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from urllib.parse import parse_qsl

from lasersafe.data import load_toml, templates_path
from lasersafe.errors import QuantityError, ReferenceDataError, refuse
from lasersafe.quantity import parse_quantity, possible_thousand
from lasersafe.wording.files import read_texts

MOST_FIELDS = 600
LONGEST = 4000  # characters of one field; a case file that is sent again is longer and has no limit of its own
_COMMA = re.compile(r"(?<=[0-9]),(?=[0-9])")
_UNIT_NAMES = {"1": "ratio", "m": "length", "W": "power", "J": "energy", "s": "time", "Hz": "rate", "rad": "angle"}


_DECIMAL = re.compile(r"(?<![\d.])(\d+)\.(\d+)(?![\d.]*\d)")  # no date, no version
LANGUAGES = ("en", "de")  # the languages that have a page.toml


@lru_cache(maxsize=4)
def _texts(language: str) -> dict[str, str]:
    return read_texts(language, "page.toml", load_toml(templates_path("wording", language, "page.toml")))


class Texts:
    """The texts of one language; calling it fills the places of one.

    Parameters
    ----------
    language : str
        One of `LANGUAGES`.
    """

    def __init__(self, language: str) -> None:
        self.language = language

    def __call__(self, key: str, /, **values: object) -> str:
        """Return a text with its places filled.

        Raises
        ------
        ReferenceDataError
            If the wording has no such text.
        """
        try:
            return _texts(self.language)[key].format_map(values)
        except KeyError as error:
            refuse(f"wording '{self.language}', page.toml: key '{key}': {error} is missing", ReferenceDataError)

    def number(self, text: str) -> str:
        """Return a text with its numbers as this language writes them: with a comma, where that is the decimal mark."""
        return _DECIMAL.sub(rf"\1{_texts(self.language)['page.decimal_mark']}\2", text)

    def options(self, group: str) -> dict[str, str]:
        """Return all texts of one group by their names, in the order of the file."""
        return {
            key.partition(".")[2]: text for key, text in _texts(self.language).items() if key.startswith(f"{group}.")
        }

    def hints(self) -> dict[str, str]:
        """Return all hints on fields, by the key of the label of the field."""
        every = _texts(self.language).items()
        return {key.removesuffix("_hint"): text for key, text in every if key.endswith("_hint")}


def preferred(accepted: str) -> str:
    """Return the language to begin with.

    Parameters
    ----------
    accepted : str
        The header Accept-Language of a browser; untrusted.
    """
    for part in accepted[:200].split(","):
        name = part.strip()[:2].lower()
        if name in LANGUAGES:
            return name
    return LANGUAGES[0]


class FormError(Exception):
    """A form with faults: name of the field -> what is wrong with it."""

    def __init__(self, faults: dict[str, str]) -> None:
        super().__init__(faults)
        self.faults = faults


def read_form(body: bytes) -> dict[str, str]:
    """Return the fields of a form that was sent without a file; of a name that comes twice, the last counts.

    Raises
    ------
    ValueError
        If there are more fields than any form of ours has.
    """
    pairs = parse_qsl(body.decode("utf-8", "replace"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
    return {name[:60]: value.replace("\r\n", "\n") for name, value in pairs}


@dataclass
class Fields:
    """The fields of one form with the faults that were found in them.

    Parameters
    ----------
    form : mapping
        Names and texts as typed.
    say : Texts
        Texts of the page.
    """

    form: Mapping[str, str]
    say: Texts
    faults: dict[str, str] = field(default_factory=dict)  # name of the field -> what is wrong with it

    def typed(self, name: str) -> str:
        """Return what was typed into a field, "" when nothing was."""
        return str(self.form.get(name, "")).strip()[:LONGEST]

    def fault(self, name: str, key: str, **values: object) -> None:
        """Put down what is wrong with a field, the first fault only."""
        self.faults.setdefault(name, self.say(key, **values))

    def choice(self, name: str, allowed: tuple[str, ...]) -> str:
        """Return one of the answers that a field offers, "" when none of them was given."""
        typed = self.typed(name)
        if typed in allowed:
            return typed
        if typed:
            self.fault(name, "fault.choice")
        return ""

    def quantity(self, name: str, unit: str, low: float, high: float, *, needed: bool = True) -> str:
        """Return a number with its unit as the program reads it, "" where there is none or a fault.

        A decimal comma is taken as one, and the text that is returned has a point; what could be a thousand is a fault.

        Parameters
        ----------
        name : str
            The field.
        unit : str
            SI unit that it is measured in.
        low, high : float
            What is allowed, in that unit; ``low`` itself is not where it is zero.
        needed : bool
            Whether it may be left empty.
        """
        typed = self.typed(name)
        named = "wavelength" if name.endswith("wavelength") else _UNIT_NAMES.get(unit, "irradiance")
        example = self.say(f"example.{named}")
        if not typed:
            if needed:
                self.fault(name, "fault.missing", example=example)
            return ""
        text = _COMMA.sub(".", typed) if len(_COMMA.findall(typed)) == 1 and "." not in typed else typed
        values = {"typed": typed[:40], "example": example}
        if possible_thousand(typed, "," if self.say("page.decimal_mark") == "." else ".,"):
            self.fault(name, "fault.thousand", **values)
            return ""
        try:
            value = parse_quantity(text, unit, name).value
        except QuantityError:
            bare = re.fullmatch(r"[+-]?[0-9.,]+", text.replace(" ", ""))
            self.fault(name, "fault.no_unit" if bare and unit != "1" else "fault.number", **values)
            return ""
        if value < low or value > high or (value == low == 0.0):
            self.fault(name, "fault.low" if value <= low else "fault.high", **values)
            return ""
        return text
