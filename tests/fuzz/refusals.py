"""The form of a refusal: it names the field, the value as typed, what is allowed and what to do.

A fault of a case file is held against the file. Where the field is in the file, its value must be quoted, as typed and
shortened to 40 characters; a list or a table is too long for that and may be named by its kind or an entry. Where the
field is absent, the message says so. Every message tells in one of the phrases of ``_WHAT_TO_DO`` what is allowed or
what to write.
"""

from __future__ import annotations

import datetime
import re
from typing import Any

from lasersafe.errors import Fault

WHOLE_FILE = ("file", "TOML", "case")
LONGEST = 1200
_PART = re.compile(r"\.?([A-Za-z0-9_-]{1,40}|'[^\n]*?'(?=[.\[]|$))|\[(\d+)\]")
_UNWANTED = re.compile(  # the fault is that the key is there at all, whatever its value
    r"\b(?:leave (?:it|one|this one|the one .*|one of the two) out|leave out the one|both are given|"
    r"both power and share|mark one|given twice|as well|weglassen)\b|"
    r"auch \[scene\] schreiben"
)
_ABSENT = re.compile(
    r"\bmissing\b|\bfehlt\b|nichts angegeben|none is given|is not written|no set-up is marked|one of them"
)
_NOTHING = re.compile(r"nothing is written|hier steht nichts")
_DO = (
    "write|give|check|correct|choose|leave|make|name|type|add|mark|take|use|save|say|keep|read|look|draw|put|"
    "shorten|split|remove|did you mean|known here:|must be|must stand|as in '|as '|at most|at least|lists them|"
    "work it out|start from|'lasersafe \\w+'"
)
_WHAT_TO_DO = re.compile(
    rf"(?:^|[;:,.?(] ?|\b(?:or|and|then) )(?:{_DO})|known here:|must be|at most|as in ['\\[]|"
    r"\b(?:schreiben|(?:an)?geben|ergänzen|setzen|verteilen|tippen|(?:weg|aus)lassen|prüfen|nehmen|wählen|"
    r"hier steht eine|muss (?:mindestens|größer)|höchstens|gemeint\?|hier bekannt:)|wie in ['\[]",
    re.IGNORECASE,
)


def line_problems(line: str) -> list[str]:
    """Return what is wrong with the form of one error line."""
    found = []
    if not line.isprintable():
        found.append(f"not one printable line: {ascii(line)[:120]}")
    if len(line) > LONGEST:
        found.append(f"{len(line)} characters: {line[:80]}")
    if not _WHAT_TO_DO.search(line):
        found.append(f"does not say what to do: {line[:160]}")
    return found


def problems_of(fault: Fault, data: Any) -> list[str]:
    """Return what is wrong with the form of one fault.

    Parameters
    ----------
    fault : Fault
        As listed by ``lasersafe check``.
    data : dict or None
        What the file says; None when it is no TOML.
    """
    found = line_problems(str(fault))
    if fault.field in WHOLE_FILE or data is None:
        if fault.field not in WHOLE_FILE and fault.field == "":
            found.append(f"names no field: {fault.message[:120]}")
        return found
    keys = keys_of(fault.field)
    if keys is None:
        return [*found, f"a field that cannot be looked up: {fault.field[:80]}"]
    there, value, reached = look_up(data, keys)
    if fault.line is None and data:
        found.append(f"no line: {str(fault)[:120]}")
    if not there:
        if not (_ABSENT.search(fault.message) or reached == 0):
            found.append(f"absent, but not said: {str(fault)[:160]}")
    elif not _quoted(value, keys[-1], fault.message):
        found.append(f"value {str(value)[:40]!r} is not named: {str(fault)[:200]}")
    return found


def keys_of(field: str) -> list[str | int] | None:
    """Return the parts of a path like ``laser[1].setup[2].divergence``, counted from 0; None if it is none."""
    keys: list[str | int] = []
    at = 0
    while at < len(field):
        part = _PART.match(field, at)
        if part is None:
            return None
        keys.append(int(part[2]) - 1 if part[2] else part[1])
        at = part.end()
    return keys or None


def look_up(data: Any, keys: list[str | int]) -> tuple[bool, Any, int]:
    """Return (whether it is there, the value, how many keys were found) of a path."""
    for depth, key in enumerate(keys):
        if isinstance(data, dict) and key in data:
            data = data[key]
        elif isinstance(data, list) and isinstance(key, int) and 0 <= key < len(data):
            data = data[key]
        elif isinstance(data, dict) and isinstance(key, str) and key.startswith("'"):
            return True, None, depth  # a key that had to be shortened
        else:
            return False, None, depth
    return True, data, len(keys)


def _quoted(value: Any, key: str | int, message: str) -> bool:
    """Return whether a message names a value, or refuses its key."""
    if value is None or "is not a key of this table" in message or "ist kein Schlüssel dieser Tabelle" in message:
        return True
    if _ABSENT.search(message) or _UNWANTED.search(message):
        return True  # a part of it is missing, which cannot be quoted
    if isinstance(value, bool):
        return ("true" if value else "false") in message
    if isinstance(value, (int, float)):
        return repr(value)[:40] in message or "a very long integer" in message
    if isinstance(value, (datetime.date, datetime.time)):
        return value.isoformat()[:10] in message
    if isinstance(value, str):
        short = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in value.strip()[:40]).strip()
        bare = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in value[:40])
        parts = [part for part in re.findall(r"'([^']+)'", message) if part.strip() and part in value]
        return bool(parts) or short in message or bare in message or _NOTHING.search(message) is not None
    if isinstance(value, list):
        kinds = "a list" in message or re.search(r"\b\d+ (?:points|are given|characters)", message) is not None
        return kinds or not value or "at most" in message or any(_quoted(one, key, message) for one in value)
    if isinstance(value, dict):
        return True
    return False
