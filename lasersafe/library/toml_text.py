"""Nested dictionaries as the text of a case file, so that a case made in memory can be printed, signed and checked."""

from __future__ import annotations

import json
import numbers
import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from lasersafe.errors import InputError
from lasersafe.library.given import shown_quantity, to_si
from lasersafe.quantity import parse_quantity
from lasersafe.typed import shown

_UNITS = ("m", "s", "W", "J", "rad", "Hz", "1", "m2", "W/m2", "J/m2")
_BARE = re.compile(r"[A-Za-z0-9_-]+\Z")
_DEEPEST = 12


def as_typed(value: Any, field: str = "case", depth: int = 0) -> Any:
    """Return nested data with each pint quantity as the text that a case file would have.

    Parameters
    ----------
    value : Any
        Dictionaries, lists, text, numbers, days, pint quantities, values of another case.
    field : str
        Where it stands, for the message.
    depth : int
        How deep it is nested.

    Returns
    -------
    Any
        Plain data, as ``tomllib`` gives it.

    Raises
    ------
    InputError
        If something in it has no place in a case file.
    """
    if depth > _DEEPEST:
        message = f"{field[:60]}: nested too deeply; this is no case"
        raise InputError(message)
    if isinstance(value, Mapping):
        return {str(key): as_typed(one, _joined(field, str(key)), depth + 1) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_typed(one, f"{field}[{number}]", depth + 1) for number, one in enumerate(value, 1)]
    if hasattr(value, "magnitude") and hasattr(value, "to"):
        return _quantity(value, field, depth)
    if isinstance(getattr(value, "typed", None), str):
        return value.typed
    if isinstance(value, (str, bool, int, date)):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real):
        return float(value)
    if hasattr(value, "tolist"):
        return as_typed(value.tolist(), field, depth + 1)
    message = f"{field} = {shown(value)}: this has no place in a case; write text, a number or a quantity"
    raise InputError(message)


def _joined(field: str, key: str) -> str:
    return key if field == "case" else f"{field}.{key}"


def _quantity(value: Any, field: str, depth: int) -> Any:
    for unit in _UNITS:
        try:
            number = to_si(value, unit, field)
        except InputError as error:
            if "no plain number" in str(error) or "masked" in str(error) or "offset" in str(error):
                raise
            continue
        if number.ndim:
            return [as_typed(one, field, depth + 1) for one in value]
        return _as_written(value, float(number), unit, field)
    message = (
        f"{field} = {shown_quantity(value)}: no field of a case has this dimension; 'lasersafe units' lists the units"
    )
    raise InputError(message)


def _as_written(value: Any, number: float, unit: str, field: str) -> str:
    """Return a quantity in its own unit where that is one of ours, else in SI."""
    for text in (f"{value.magnitude:.12g} {value.units:~P}".strip(), f"{value.magnitude:.12g} {value.units:P}"):
        try:
            if parse_quantity(text, unit, field).value == number:
                return text
        except InputError:
            continue
    return repr(number) if unit == "1" else f"{number!r} {unit}"


def toml_text(data: Mapping[str, Any]) -> str:
    """Return plain data as TOML: single values first, then tables, then arrays of tables.

    Parameters
    ----------
    data : mapping
        From `as_typed`.

    Returns
    -------
    str
        Text that ``tomllib`` reads as the same data.

    Raises
    ------
    InputError
        If a value is NaN or infinite.
    """
    return "\n".join(_table(data, "")) + "\n"


def _table(data: Mapping[str, Any], path: str) -> list[str]:
    lines, below = [], []
    for key, value in data.items():
        name = _key(key)
        here = f"{path}.{name}" if path else name
        if isinstance(value, Mapping):
            below += ["", f"[{here}]", *_table(value, here)]
        elif isinstance(value, list) and value and all(isinstance(one, Mapping) for one in value):
            for one in value:
                below += ["", f"[[{here}]]", *_table(one, here)]
        else:
            lines.append(f"{name} = {_value(value, here)}")
    return lines + below


def _value(value: Any, field: str) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_value(one, field) for one in value) + "]"
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(key)} = {_value(one, field)}" for key, one in value.items()) + "}"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, float) and value - value != 0.0:
        message = f"{field} = {value!r}: write a finite number"
        raise InputError(message)
    return value.isoformat() if isinstance(value, date) else repr(value)


def _key(key: str) -> str:
    return key if _BARE.match(key) else json.dumps(key, ensure_ascii=False)
