"""From a file to a case, with every fault at its line."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lasersafe.errors import CaseError, Fault
from lasersafe.models.case import Case
from lasersafe.models.locate import lines_of, tokens_of
from lasersafe.models.messages import Place, path_text
from lasersafe.models.setup import SETUP_KINDS
from lasersafe.typed import shown

LARGEST_FILE = 1_000_000
MOST_TABLES = 5_000
MOST_PARTS = 16  # of a key with dots; a case needs four
# pydantic adds them to a place
_TAGS = frozenset({"continuous", "single pulse", "pulse train", "pulse list", "mode table", *SETUP_KINDS})


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
    """Return the text of a case file, which need not be a correct case.

    Raises
    ------
    CaseError
        If it cannot be read as text.
    """

    def refused(line: int | None, message: str) -> CaseError:
        return CaseError(str(path), [Fault(line, "file", message)])

    try:
        kind = Path(path).stat().st_mode
        if stat.S_ISDIR(kind):
            raise refused(None, "this is a directory; name the case file in it")
        if not stat.S_ISREG(kind):
            raise refused(None, "this is not a plain file; name a case file")
        with Path(path).open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise refused(None, "there is no such file; 'lasersafe new' makes one from a starter case") from None
    except CaseError:
        raise
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "the name cannot be used"
        raise refused(None, f"cannot be read: {reason}; check its name and who may read it") from None
    if len(raw) > LARGEST_FILE:
        raise refused(None, "larger than 1 MB, which is the most for a case file; name a case file")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise refused(line, "not UTF-8 text; save the file as UTF-8 in your editor") from None


def check_case(path: str | os.PathLike[str]) -> list[Fault]:
    """Return all faults of a case file, in the order of their lines; none when it can be assessed."""
    try:
        read_case(path)
    except CaseError as error:
        return error.faults
    return []


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
    text = text.replace("\r\n", "\n")
    fault = _too_deep(text)
    try:
        data = tomllib.loads(text) if fault is None else {}
        tables = _tables_in(data)
        if tables > MOST_TABLES:
            message = f"{tables} tables; at most {MOST_TABLES} are read: make several cases of it"
            fault = Fault(None, "file", message)
    except tomllib.TOMLDecodeError as error:
        fault = _syntax(str(error), text)
    except RecursionError:
        fault = Fault(None, "file", "brackets are nested too deeply for a case file; name a case file")
    except ValueError:  # an integer of more digits than Python reads
        fault = Fault(None, "file", "a number with thousands of digits cannot be read; shorten it")
    if fault is not None:
        raise CaseError(name, [fault])
    lines = lines_of(text)
    case = case_from(data, name, lines)
    case._lines.update(lines)
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
    try:
        return Case.model_validate(data)
    except ValidationError as error:
        places = [(_untagged(one["loc"]), one["msg"]) for one in error.errors(include_url=False, include_input=False)]
    faults = [Fault(_line(place, lines or {}), path_text(place), message) for place, message in dict.fromkeys(places)]
    raise CaseError(name, sorted(faults, key=lambda fault: (fault.line is None, fault.line or 0)))


def _too_deep(text: str) -> Fault | None:
    """Return the fault of a key of so many parts that to read it would take the time and memory of their square."""
    if not any(line.count(".") >= MOST_PARTS for line in text.split("\n")):
        return None
    chain: list[str] = []
    for token, line in tokens_of(text):
        if token == "." or chain[-1:] == ["."]:
            chain.append(token)
            continue
        parts = (len(chain) + 1) // 2
        if parts > MOST_PARTS:
            message = (
                f"{shown(''.join(chain))}: a key of {parts} parts; at most {MOST_PARTS} are read: name a case file"
            )
            return Fault(line, "TOML", message)
        chain = [token]
    return None


def _tables_in(data: Any) -> int:
    """Return how many tables there are, at any depth."""
    count, left = 0, [data]
    while left:
        one = left.pop()
        count += isinstance(one, dict)
        left += one.values() if isinstance(one, dict) else one if isinstance(one, list) else ()
    return count


def _syntax(message: str, text: str) -> Fault:
    where = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    plain = message[: where.start()] if where else message
    line = int(where.group(1)) if where and where.group(1) else text.count("\n") + 1
    column = f" in column {where.group(2)}" if where and where.group(2) else " at the end of the file"
    there = text.split("\n")[line - 1].strip()
    quoted = f"{shown(there)}: " if there else ""
    plain = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in plain)
    shortened = plain if len(plain) <= 200 else plain[:200] + "..."
    return Fault(line, "TOML", f"{quoted}{shortened}{column if where else ''}; {_advice(plain)}")


def _advice(message: str) -> str:
    """Return what to do about a line that is no TOML."""
    if message.startswith("Cannot overwrite"):
        return "a key may stand once in a table: leave one out, or check the headings above it"
    if message.startswith(("Cannot declare", "Cannot mutate")):
        return (
            "this heading, or what it belongs to, stands twice: write [[...]] where several are meant, or leave one out"
        )
    return 'check this line: text and numbers with units stand in quotes, as in power = "1.5 kW"'


def _untagged(place: Place) -> Place:
    """Return a place without the kinds that pydantic puts into it; the last part is always a key."""
    return tuple(part for part in place[:-1] if part not in _TAGS) + place[-1:]


def _line(place: Place, lines: Mapping[Place, int]) -> int | None:
    """Return the line of a place, or of the table that it is missing from; the top of the file is line 1."""
    while place:
        if place in lines:
            return lines[place]
        place = place[:-1]
    return 1 if lines else None
