"""From a file to a case, with every fault at its line, which ``tomllib`` does not tell."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lasersafe.errors import CaseError, Fault, InputError
from lasersafe.files import read_limited
from lasersafe.models.base import Place, path_text
from lasersafe.models.case import Case
from lasersafe.models.emission import EMISSION_KINDS
from lasersafe.models.kinds import with_assumptions
from lasersafe.models.laser import SETUP_KINDS
from lasersafe.quantity import shown
from lasersafe.wording import Message, language_here, languages

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
        raw = read_limited(Path(path), LARGEST_FILE, "case file", advice=Message("file.advice"), dash=True)
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
