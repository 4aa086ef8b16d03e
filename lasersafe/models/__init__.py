"""The case file as frozen models: read with every fault at its line, which ``tomllib`` does not tell; what a case says.

Every field is described. Numbers are :class:`SIValue`: floats in SI units that keep the text as typed.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections import Counter
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path as FilePath
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from lasersafe.data import load_toml, templates_path
from lasersafe.errors import CaseError, Fault, InputError
from lasersafe.files import read_limited
from lasersafe.models.base import CaseModel, Place, path_text
from lasersafe.models.case import Case
from lasersafe.models.emission import EMISSION_KINDS, Emission, Mode, PulseTrainEmission
from lasersafe.models.kinds import laser_kinds, with_assumptions
from lasersafe.models.laser import SETUP_KINDS, Extended, ExtraLine, Laser, Module, Setup
from lasersafe.models.scene import Aim, Camera, Scene, SceneBarrier, SceneOpening, ScenePerson, Target
from lasersafe.models.site import Area, Barrier, Control, MeasuredReading, Person, Settings, Surface
from lasersafe.models.values import Axes, Knob, Measured, Path, SIValue, Spot, Tolerance, Worst
from lasersafe.quantity import shown
from lasersafe.results import InputLine, StarterValue
from lasersafe.wording import Message, joined, language_here, languages, word

__all__ = [
    "KINDS", "REPLACE", "Aim", "Area", "Axes", "Barrier", "Camera", "Case", "Control", "Emission", "Extended",
    "ExtraLine", "Knob", "Laser", "MeasuredReading", "Mode", "Module", "Path", "Person", "PulseTrainEmission",
    "SIValue", "Scene", "SceneBarrier", "SceneOpening", "ScenePerson", "Settings", "Setup", "Spot", "Surface", "Target",
    "Toleranced", "canonical", "case_from", "json_schema", "laser_kinds", "parse_case", "read_case", "read_case_text",
    "replaced", "starter_values", "tolerances_of", "typed_inputs",
]  # fmt: skip

_TOKEN = re.compile(
    r'"{3}(?:\\.|[^\\])*?"{3,5}'  # up to two quotes may stand before the closing three
    r"|'{3}.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*|\n|[\[\]{},=.]"
    r"""|[^\s\[\]{},=."'#]+""",
    re.DOTALL,
)


def lines_of(text: str) -> dict[Place, int]:
    r"""Return the line, counted from 1, of each table, key and array element of a TOML text.

    Parameters
    ----------
    text : str
        Valid TOML.

    Returns
    -------
    dict
        Path of keys and indices, as ``("laser", 0, "wavelength")``, to line. A table has the line of its heading, or of
        the first key that makes it.

    Examples
    --------
    >>> lines_of('title = "x"\n[[laser]]\nrange = [1,\n 2]')[("laser", 0, "range", 1)]
    4
    """
    return _Walk(text).run()


def tokens_of(text: str) -> Iterator[tuple[str, int]]:
    """Yield the tokens of a TOML text with their lines, without comments, and an empty one at the end."""
    line = 1
    for match in _TOKEN.finditer(text):
        if not match[0].startswith("#"):
            yield match[0], line
        line += match[0].count("\n")
    yield "", line


class _Walk:
    def __init__(self, text: str) -> None:
        self.tokens = list(tokens_of(text))
        self.at = 0
        self.found: dict[Place, int] = {}
        self.arrays: dict[Place, int] = {}  # array of tables -> index of its last table

    def run(self) -> dict[Place, int]:
        table: Place = ()
        while self._after("\n"):
            if self._next() == "[":
                table = self._heading()
            else:
                self._pair(table)
        return self.found

    def _next(self) -> str:
        return self.tokens[self.at][0]

    def _after(self, *passed: str) -> str:
        """Pass some tokens; return the next one."""
        while self._next() in passed:
            self.at += 1
        return self._next()

    def _see(self, place: Place) -> None:
        self.found.setdefault(place, self.tokens[self.at][1])

    def _keys(self) -> list[str]:
        """Return a dotted key, and stand behind it."""
        keys = []
        while True:
            key = self._next()
            keys.append(str(tomllib.loads(f"x = {key}")["x"]) if key[0] in "\"'" else key)
            self.at += 1
            if self._next() != ".":
                return keys
            self.at += 1

    def _heading(self) -> Place:
        double = self.tokens[self.at + 1][0] == "["
        self.at += 2 if double else 1
        keys = self._keys()
        place: Place = ()
        for number, key in enumerate(keys, 1):
            place += (key,)
            self._see(place)
            if double and number == len(keys):
                self.arrays[place] = self.arrays.get(place, -1) + 1
            place += (self.arrays[place],) if place in self.arrays else ()  # of an array the last table is meant
        self._see(place)
        self.at += 2 if double else 1
        return place

    def _pair(self, place: Place) -> None:
        for key in self._keys():
            place += (key,)
            self._see(place)
        self.at += 1  # the equals sign
        self._value(place)

    def _value(self, place: Place) -> None:
        first = self._next()
        if first not in ("[", "{"):
            while self._next() not in (",", "]", "}", "\n", ""):
                self.at += 1
            return
        self.at += 1
        index = 0
        while self._after(",", "\n") not in ("]", "}"):
            if first == "{":
                self._pair(place)
                continue
            self._see((*place, index))
            self._value((*place, index))
            index += 1
        self.at += 1


LARGEST_FILE = 1_000_000
REPLACE = "# replace me"  # remark behind a figure of a starter case that nobody has looked at
MOST_TABLES = 5_000
MOST_PARTS = 16  # of a key with dots; a case needs four
# pydantic adds them to a place
_TAGS = frozenset({*EMISSION_KINDS, *SETUP_KINDS})


def read_case(path: str | os.PathLike[str]) -> Case:
    """Return the case that a TOML file describes.

    Parameters
    ----------
    path : path
        The case file.

    Raises
    ------
    CaseError
        If there are faults; all of them, with their lines.
    """
    return parse_case(read_case_text(path), str(path))


def read_case_text(path: str | os.PathLike[str]) -> str:
    """Return the text of a case file, which need not be a correct case; of ``-``, the standard input.

    Raises
    ------
    CaseError
        If it cannot be read as text; in the language of the environment, since a case states its own.
    """
    try:
        raw = read_limited(FilePath(path), LARGEST_FILE, "case file", advice=Message("file.advice"), dash=True)
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        fault = Fault(error.object.count(b"\n", 0, error.start) + 1, "file", Message("file.encoding"))
    except InputError as error:
        fault = Fault(None, "file", error.args[0].values["why"])
    raise _refusal(str(path), [fault], language_here())


def parse_case(text: str, name: str = "case") -> Case:
    """Return the case that a TOML text describes.

    Parameters
    ----------
    text : str
        TOML. Untrusted.
    name : str
        What the text is called in the message.

    Raises
    ------
    CaseError
        If there are faults; all of them, with their lines.
    """
    text, fault, chain = text.replace("\r\n", "\n"), None, list[str]()
    deep = any(line.count(".") >= MOST_PARTS for line in text.split("\n"))
    for token, line in tokens_of(text) if deep else ():  # to read them takes the time and memory of their square
        if token == "." or chain[-1:] == ["."]:
            chain.append(token)
            continue
        parts, key = (len(chain) + 1) // 2, shown("".join(chain))
        if parts > MOST_PARTS:
            fault = Fault(line, "TOML", Message("misread.long_key", key=key, count=parts, most=MOST_PARTS))
            break
        chain = [token]
    try:
        data = tomllib.loads(text) if fault is None else {}
        tables, left = 0, list[Any]([data])
        while left:
            one = left.pop()
            tables += isinstance(one, dict)
            left += one.values() if isinstance(one, dict) else one if isinstance(one, list) else ()
        if tables > MOST_TABLES:
            fault = Fault(None, "file", Message("misread.tables", count=tables, most=MOST_TABLES))
    except tomllib.TOMLDecodeError as error:
        fault = _syntax(str(error), text)
    except RecursionError:
        fault = Fault(None, "file", Message("misread.nested"))
    except ValueError:  # an integer of more digits than Python reads
        fault = Fault(None, "file", Message("misread.digits"))
    if fault is not None:
        stated = re.search(r'^language[ \t]*=[ \t]*"([^"]*)"', text, re.MULTILINE)
        raise _refusal(name, [fault], stated[1] if stated else None)
    lines = lines_of(text)
    case = case_from(data, name, lines)
    case._lines.update(lines)
    marked = {number for number, line in enumerate(text.split("\n"), 1) if REPLACE in line}
    first = {line: place for place, line in sorted(lines.items(), key=lambda one: -len(one[0])) if line in marked}
    case._marked = tuple(first[line] for line in sorted(first))
    return case


def case_from(data: Mapping[str, Any], name: str = "case", lines: Mapping[Place, int] | None = None) -> Case:
    """Return the case that nested dictionaries describe, as ``tomllib`` gives them.

    Parameters
    ----------
    data : mapping
        The case.
    name : str
        What the case is called in the message.
    lines : mapping, optional
        Place -> line, for the message.

    Raises
    ------
    CaseError
        If there are faults; all of them.
    """
    filled = with_assumptions(data)
    try:
        case = Case.model_validate(filled.data)
        case._assumed, case._at_corner = filled.assumed, bool(filled.assumed)
        case._others.update(
            (i, tuple(SETUP_KINDS[one["kind"]].model_validate(one) for one in optics))
            for i, optics in filled.others.items()
        )
        return case
    except ValidationError as error:
        every = error.errors(include_url=False, include_input=False)
        found = [(one["loc"], one.get("ctx", {}).get("message", one["msg"])) for one in every]
        # without the kinds that pydantic puts into a place; its last part is always a key
        places = [((*(part for part in at[:-1] if part not in _TAGS), *at[-1:]), message) for at, message in found]
    faults = [Fault(_line(at, lines or {}), path_text(at), message) for at, message in dict.fromkeys(places)]
    faults.sort(key=lambda fault: (fault.line is None, fault.line or 0))
    raise _refusal(name, faults, data.get("language") if isinstance(data, Mapping) else None)


def _refusal(name: str, faults: list[Fault], stated: object) -> CaseError:
    """Return the refusal of a case, in the language that it states."""
    language = stated if isinstance(stated, str) and stated in languages() else "en"
    faults = [replace(one, message=_said(one.message, language)) for one in faults]
    words = [
        Message("misread.line", line=one.line, field=one.field, message=one.message)
        if one.line else f"{one.field}: {one.message}" for one in faults
    ]  # fmt: skip
    head = Message("misread.one" if len(faults) == 1 else "misread.many", name=name, count=len(faults))
    return CaseError(name, faults, "\n  ".join(_said(one, language) for one in (head, *words)))


def _said(text: str, language: str) -> str:
    return text.said(language) if isinstance(text, Message) else text


_REASONS = {  # how the reader's own reasons start, and their keys
    "Expected newline": "after", "Expected '='": "equals", "Invalid value": "value", "Invalid statement": "statement",
    "Unclosed": "unclosed", "Unterminated": "open_text", "Cannot overwrite": "overwrite", "Cannot": "twice",
    "Illegal": "character",
}  # fmt: skip


def _syntax(message: str, text: str) -> Fault:
    where = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    line = int(where.group(1)) if where and where.group(1) else text.count("\n") + 1
    there = text.split("\n")[line - 1].strip()
    column = where.group(2) if where else None
    place = Message("misread.column", column=column) if column else Message("misread.at_end") if where else ""
    twice = "table_twice" if message.startswith(("Cannot declare", "Cannot mutate")) else "check_line"
    advice = Message("misread.key_twice" if message.startswith("Cannot overwrite") else f"misread.{twice}")
    reason = next((key for start, key in _REASONS.items() if message.startswith(start)), "other")
    words = {"quoted": f"{shown(there)}: " if there else "", "where": place, "advice": advice}
    return Fault(line, "TOML", Message("misread.toml", reason=Message(f"misread.{reason}"), **words))


def _line(place: Place, lines: Mapping[Place, int]) -> int | None:
    """Return the line of a place, or of the table that it is missing from; the top of the file is line 1."""
    while place:
        if place in lines:
            return lines[place]
        place = place[:-1]
    return 1 if lines else None


# ---------------------------------------------------------------------------------------------------------------------
# What a case says

_PARTS = ("x", "y", "low", "high")


_Leaf = tuple[Place, FieldInfo, Any, bool]  # a field that is no table, its value, and whether it was written


def _leaves(model: BaseModel, place: Place = ()) -> Iterator[_Leaf]:
    """Yield every field of a model and of the tables below it that is no table, in the order of the models."""
    for name, info in type(model).model_fields.items():
        value, here = getattr(model, name), (*place, name)
        if isinstance(value, BaseModel):
            yield from _leaves(value, here)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for i, one in enumerate(value):
                yield from _leaves(one, (*here, i))
        else:
            yield here, info, value, name in model.model_fields_set


def typed_inputs(case: Case) -> tuple[InputLine, ...]:
    """Return every input as typed, in the order of the file.

    Parameters
    ----------
    case : Case
        From ``read_case``; a case from ``case_from`` has no lines.

    Returns
    -------
    tuple of InputLine
        ``used`` is the value in SI units, empty for plain text. Fields that were left out are not there.
    """
    lines, inputs = case._lines, []
    for place, _, value, written in _leaves(case):
        if not written or (lines and place not in lines):
            continue
        measured = isinstance(value, (SIValue, Knob, Axes, Spot, Path))
        typed = value.typed if measured else ", ".join(map(str, value)) if isinstance(value, tuple) else str(value)
        typed = typed.lower() if isinstance(value, bool) else typed  # as the file has it
        inputs.append(InputLine(path_text(place), typed, value.words(_plain) if measured else "", lines.get(place)))
    return tuple(sorted(inputs, key=lambda line: line.line or 0))


def _plain(value: SIValue) -> str:
    unit = "" if value.unit == "1" else f" {value.unit}"
    off = value.tolerance
    if off is None:
        return f"{float(value):.6g}{unit}"
    ends = Message("input.range", low=f"{off.low:.6g}", high=f"{off.high:.6g}")
    kinds = [] if off.kind == "bound" else [word(off.kind)]
    return Message("input.within", value=f"{float(value):.6g}", ends=joined([ends, *kinds], ", "), unit=unit)


def canonical(case: Case) -> dict[str, Any]:
    """Return the case as plain data in SI units, with defaults filled in and keys sorted, for a fingerprint.

    Two cases that mean the same (``1.5 kW`` and ``1500 W``) give the same data.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    dict
        Only dictionaries, lists, text, numbers, booleans and None; floats in SI units.
    """
    return {name: _simple(getattr(case, name)) for name in sorted(type(case).model_fields)}


def _simple(value: object) -> Any:
    if isinstance(value, BaseModel):
        return {name: _simple(getattr(value, name)) for name in sorted(type(value).model_fields)}
    if isinstance(value, SIValue):
        number, off = float(value) + 0.0, value.tolerance  # minus zero becomes zero
        if off is None:
            return number
        return {"value": number, "lowest": off.low + 0.0, "highest": off.high + 0.0, "kind": off.kind}
    if isinstance(value, (Knob, Axes, Spot)):
        return [_simple(one) for _, one in value.parts]
    if isinstance(value, (Path, tuple)):
        return [_simple(one) for one in (value.spots if isinstance(value, Path) else value)]
    return value.isoformat() if isinstance(value, date) else value


def json_schema() -> dict[str, Any]:
    """Return the JSON schema of a case file; every number with a unit is a string with ``x-unit``."""
    for info in Case.model_fields.values():
        if isinstance(info.default, CaseModel):
            type(info.default).model_rebuild()  # pydantic below 2.14 wants it built before it is written as a default
    schema = Case.model_json_schema()
    for name, fields in _MAY_BE_ASSUMED.items():
        table = schema["$defs"][name]
        table["required"] = [field for field in table["required"] if field not in fields]
    return schema


_OF_A_BEAM = ("name", "kind", "beam_diameter", "divergence", "criterion", "focal_length")
# table -> fields that a laser of a stated kind may leave out
_MAY_BE_ASSUMED = {"Laser": ("setup",), "CollimatedSetup": _OF_A_BEAM, "LensSetup": _OF_A_BEAM,
                   "PulseTrainEmission": ("repetition_rate",)}  # fmt: skip


@dataclass(frozen=True)
class Toleranced:
    """One input that carries a tolerance.

    Parameters
    ----------
    place : tuple
        Keys and indices from the top of the case; of an oblong width or a range the last part names the end:
        ``x``, ``y``, ``low`` or ``high``.
    value : SIValue
        Nominal value, text and tolerance.
    worst : str
        Which end is the worse one, as in :class:`Measured`.
    """

    place: Place
    value: SIValue
    worst: Worst

    @property
    def name(self) -> str:
        """Name of the field alone, as ``divergence``."""
        return str(self.place[-2] if self.place[-1] in _PARTS else self.place[-1])

    @property
    def tolerance(self) -> Tolerance:
        """The tolerance itself."""
        assert self.value.tolerance is not None
        return self.value.tolerance

    @property
    def ends(self) -> tuple[float, float]:
        """The lowest and highest value that a corner takes; one that the field does not take was refused before."""
        return self.value.ends(self.name)

    @property
    def field(self) -> str:
        """The place as text, as ``laser[1].setup[2].divergence``."""
        return path_text(self.place)


def tolerances_of(case: Case) -> tuple[Toleranced, ...]:
    """Return every input of a case whose tolerance has a worst corner, in the order of the models."""
    return tuple(
        Toleranced((*place, part) if part else place, one, mark.worst)
        for place, info, value, _ in _leaves(case)
        for mark in info.metadata
        if isinstance(mark, Measured) and mark.worst != "inside"
        for part, one in _parts(value)
        if one.tolerance is not None
    )


def _parts(value: Any) -> tuple[tuple[str, SIValue], ...]:
    """Return the numbers of a value with their names, which a single number has not."""
    if isinstance(value, (Knob, Axes)):
        (_, first), (_, second) = value.parts
        return (("", first),) if first is second else value.parts
    return (("", value),) if isinstance(value, SIValue) else ()


def replaced(old: Any, values: Mapping[Place, SIValue | Knob]) -> Any:
    """Return a case, or a part of it, with other values at the places of `Toleranced`; nothing is checked again.

    Parameters
    ----------
    old : Case, model, tuple of models or SIValue
        What is changed.
    values : mapping of Place to SIValue or Knob
        New values, at places as seen from *old*.

    Returns
    -------
    Case, model, tuple of models or SIValue
        A copy.
    """
    if isinstance(old, SIValue):
        return values[()]
    if isinstance(old, (Knob, Axes)):
        first, second = (values.get((), values.get((name,), one)) for name, one in old.parts)
        first = first.low if isinstance(first, Knob) else first
        return type(old)(first, second.high if isinstance(second, Knob) else second)
    below: dict[Any, dict[Place, SIValue | Knob]] = {}
    for place, value in values.items():
        below.setdefault(place[0], {})[place[1:]] = value
    if isinstance(old, tuple):
        return tuple(replaced(one, below[i]) if i in below else one for i, one in enumerate(old))
    return old.model_copy(update={name: replaced(getattr(old, name), inner) for name, inner in below.items()})


KINDS = ("person", "eyewear", "barrier", "reading", "strike_out")
# how things are called, and what refers to it: whoever renames a laser has not looked at who stands where
_NAMES = {
    "person": ("name", "laser", "setup"),
    "barrier": ("name", "laser", "protects"),
    "reading": ("where", "laser", "note"),
    "strike_out": ("person", "laser", "setup"),
}
_FEW = 5  # of fewer values two cases can have the same by chance: there the name counts as well


def starter_values(case: Case) -> tuple[StarterValue, ...]:
    """Return the records of a case that say what one of an example case says, and the figures marked to be replaced.

    A record is the same when all its values are, in SI units and with defaults filled in, whatever it and its laser are
    called; of a record that says little the name has to be the same, too. A person's eyewear is the same when a person
    of that name wears it in a starter case.

    Parameters
    ----------
    case : Case
        The case as typed.

    Returns
    -------
    tuple of StarterValue
        In the order of `KINDS` and of the case.

    Raises
    ------
    CaseError
        If a starter case has faults.
    """
    known = _starters()
    same = [one for one in _contents(canonical(case)) if one[0] in known]
    often = Counter(starter for said, *_ in same for starter in known[said])  # of several, the one that most is from
    found = [
        StarterValue(said[0], name, max(known[said], key=often.__getitem__), path_text(place), case._lines.get(place))
        for said, place, name in same
    ]
    marked = (StarterValue("figure", path_text(at), "", path_text(at), case._lines.get(at)) for at in case._marked)
    return (*sorted(found, key=lambda one: KINDS.index(one.kind)), *marked)


@lru_cache(maxsize=1)
def _starters() -> Mapping[tuple[str, Hashable], list[str]]:
    found: dict[tuple[str, Hashable], list[str]] = {}
    for path in sorted(templates_path("cases").glob("*.toml")):
        for said, *_ in _contents(canonical(case_from(load_toml(path), str(path)))):
            found.setdefault(said, []).append(path.stem)
    return found


def _contents(data: Mapping[str, Any]) -> Iterator[tuple[tuple[str, Hashable], Place, str]]:
    """Yield kind and content of each record, its place, and the name of what it is about."""
    for kind, names in _NAMES.items():
        for place, record in enumerate(data[kind]):
            values = {key: value for key, value in record.items() if key not in names}
            stated = sum(value not in (None, False, "", []) for value in values.values())
            name = str(record[names[0]])
            here: Place = (kind, place)
            yield (kind, repr((values, name if stated < _FEW and kind != "strike_out" else ""))), here, name
            if record.get("eyewear"):
                yield ("eyewear", (name, record["eyewear"])), (*here, "eyewear"), name
