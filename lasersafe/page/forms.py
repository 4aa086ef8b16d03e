"""What the page says, and what is typed into its forms: numbers, the things of a room, or a fault in its words.

The texts are those of ``page.toml`` of one language, without those of the sheet.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from lasersafe.data import load_toml, shared_path, templates_path
from lasersafe.errors import QuantityError, ReferenceDataError, refuse
from lasersafe.quantity import Rounding, format_quantity, parse_quantity, possible_thousand
from lasersafe.wording import read_texts

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
        self.language, self.every = language, _texts(language)

    def __call__(self, key: str, /, **values: object) -> str:
        """Return a text with its places filled.

        Raises
        ------
        ReferenceDataError
            If the wording has no such text.
        """
        try:
            return self.every[key].format_map(values)
        except KeyError as error:
            refuse(f"wording '{self.language}', page.toml: key '{key}': {error} is missing", ReferenceDataError)

    def number(self, text: str) -> str:
        """Return a text with its numbers as this language writes them: with a comma, where that is the decimal mark."""
        return _DECIMAL.sub(rf"\1{self.every['page.decimal_mark']}\2", text)

    def quantity(self, value: float, unit: str, digits: int = 3, rounding: Rounding = "up") -> str:
        """Return a value with its unit as this language writes it."""
        return self.number(format_quantity(value, unit, digits, rounding))

    def options(self, group: str) -> dict[str, str]:
        """Return all texts of one group by their names, in the order of the file."""
        return {key.partition(".")[2]: text for key, text in self.every.items() if key.startswith(f"{group}.")}

    def hints(self) -> dict[str, str]:
        """Return all hints on fields, by the key of the label of the field."""
        return {key.removesuffix("_hint"): text for key, text in self.every.items() if key.endswith("_hint")}


class FormError(Exception):
    """A form with faults: name of the field -> what is wrong with it."""

    def __init__(self, faults: dict[str, str]) -> None:
        super().__init__(faults)
        self.faults = faults


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
        if typed and typed not in allowed:
            self.fault(name, "fault.choice")
        return typed if typed in allowed else ""

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


_ROOM = load_toml(templates_path("page", "room.toml"))
THINGS: dict[str, tuple[list[str], int]] = {kind: (one["fields"], one["most"]) for kind, one in _ROOM["thing"].items()}
EXAMPLE: dict[str, str] = _ROOM["example"]
QUANTITIES: dict[str, tuple[str, float, float]] = _ROOM["quantity"]  # field of a thing -> unit, and what is allowed
PLACES = {"x", "y", "aim_x", "aim_y", "x1", "y1", "x2", "y2", "wide", "deep"}  # plain numbers of metres
_ACROSS = {"x", "x1", "x2", "aim_x", "wide"}
ROLES = ("spectator", "passer-by", "operator", "assistant", "crew", "performer", "security")
LARGEST_ROOM = 200.0  # [m]
_KEY = re.compile(r"([a-z]+)([1-9][0-9]?)\.([a-z0-9_]+)\Z")


@lru_cache(maxsize=1)
def kinds() -> dict[str, dict[str, Any]]:
    """Return what lasers of each kind usually have, by the name of the kind, as the data file says it."""
    return {one["key"]: one for one in load_toml(shared_path("laser_kinds", "usual.toml"))["kind"]}


def things(form: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    """Yield each thing of a form: its kind and its name there, as ``laser1``, in the order of their numbers."""
    found = {(match[1], int(match[2])) for match in map(_KEY.match, form) if match and match[1] in THINGS}
    for kind in THINGS:
        yield from ((kind, f"{kind}{number}") for one, number in sorted(found) if one == kind)


def changed(form: dict[str, str]) -> dict[str, str]:
    """Return the form with the thing added or taken away that a button asked for."""
    form = dict(form)
    add, remove = form.pop("add", ""), form.pop("remove", "")
    there = [name for _, name in things(form)]
    if remove in there:
        return {key: value for key, value in form.items() if not key.startswith(f"{remove}.")}
    if add not in THINGS:
        return form
    # places that lie on nothing else, as near to the middle of the room as can be [m]
    wide, deep = size_of(form)
    sizes = {"laser": (0.0, 1.0, 0.0), "screen": (1.0, 1.0, 0.0), "person": (1.0, 1.0, 0.5)}
    left, right, up = sizes.get(add, (0.0, 0.0, 0.0))
    taken = []
    for other, name in things(form):
        at = {key: place_of(form, f"{name}.{key}", wide if key in _ACROSS else deep) for key in PLACES}
        ends = {
            "laser": [(at["x"], at["y"]), (at["aim_x"], at["aim_y"])],
            "screen": [(at["x1"], at["y1"]), (at["x2"], at["y2"])],
        }.get(other, [(at["x"] + k * at["wide"] / 2, at["y"] + k * at["deep"] / 2) for k in (-1, 1)])
        taken.append([(min(one), max(one)) for one in zip(*ends, strict=True)])

    def gap(x: float, y: float) -> float:
        own = ((x - left, x + right), (y - up, y + up))
        both = (zip(own, one, strict=True) for one in taken)
        sides = ([max(low - mine[1], mine[0] - high, 0.0) for mine, (low, high) in one] for one in both)
        return min((math.hypot(*one) for one in sides), default=math.inf)

    enough = max(wide, deep) * 0.12  # a symbol and its name
    grid = [(wide * i / 24, deep * k / 18) for i in range(1, 24) for k in range(1, 18)]
    inside = [p for p in grid if left <= p[0] <= wide - right and up <= p[1] <= deep - up] or [(wide / 2, deep / 2)]
    x, y = max(inside, key=lambda p: (min(gap(*p), enough), -math.dist(p, (wide / 2, deep / 2))))
    start, end = max(x - left, 0.0), min(x + right, wide)
    found = {"x": x, "y": y, "aim_x": end, "aim_y": y, "x1": start, "y1": y, "x2": end, "y2": y}
    new = _ROOM["thing"][add]["new"] | {key: f"{at:.2f}" for key, at in found.items() if key in THINGS[add][0]}
    number = next(number for number in range(1, 100) if f"{add}{number}" not in there)
    return form | {f"{add}{number}.{key}": value for key, value in new.items()}


def size_of(form: Mapping[str, str]) -> tuple[float, float]:
    """Return width and depth of a room as typed, or those of the example where they cannot be used. [m]."""
    found = []
    for name in ("width", "depth"):
        value = plain(str(form.get(name, "")))
        found.append(value if value is not None and 0.5 <= value <= LARGEST_ROOM else float(EXAMPLE[name]))
    return found[0], found[1]


def plain(text: str) -> float | None:
    """Return a number of metres, with a point or a comma and with its unit or without, None where it is none."""
    found = re.fullmatch(r"\s*([+-]?[0-9]{1,6}(?:[.,][0-9]{0,9})?)\s*m?\s*", text)
    return None if found is None or possible_thousand(text, ",") else float(found[1].replace(",", "."))


def names_of(form: Mapping[str, str], say: Texts) -> dict[str, str]:
    """Return the name of each thing, as typed or as what it is; no two are the same."""
    found: dict[str, str] = {}
    for kind, name in things(form):
        what = str(form.get(f"{name}.like" if kind == "laser" else f"{name}.role", ""))
        usual = say.options("likes" if kind == "laser" else "role").get(what, "")
        typed = str(form.get(f"{name}.name", "")).strip()[:70] or usual or say(f"room.{kind}_name")
        typed, number = typed[:1].upper() + typed[1:], 1
        while (f"{typed} {number}" if number > 1 else typed) in found.values():
            number += 1
        found[name] = f"{typed} {number}" if number > 1 else typed
    return found


def drawn(form: Mapping[str, str], say: Texts) -> dict[str, Any]:
    """Return what the plan draws of a form, whatever is wrong with it: the size and each thing with its places. [m]."""
    names = names_of(form, say)
    wide, deep = size_of(form)
    found: list[dict[str, Any]] = []
    for kind, name in things(form):
        keys = [key for key in THINGS[kind][0] if key in PLACES]
        places = {key: place_of(form, f"{name}.{key}", wide if key in _ACROSS else deep) for key in keys}
        found.append({"kind": kind, "id": name, "name": names[name], **places})
    return {"wide": wide, "deep": deep, "things": found}


def place_of(form: Mapping[str, str], name: str, most: float) -> float:
    """Return a place as it is drawn: inside the room, whatever was typed. [m]."""
    return min(max(plain(str(form.get(name, ""))) or 0.0, 0.0), most)
