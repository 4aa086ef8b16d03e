"""What a notebook gives as a case, as the plain data that a case file would have."""

from __future__ import annotations

import math
import numbers
from collections.abc import Mapping
from datetime import date
from typing import Any

from lasersafe.errors import InputError
from lasersafe.library.given import shown_quantity, to_si
from lasersafe.quantity import parse_quantity
from lasersafe.typed import shown

_UNITS = ("m", "s", "W", "J", "rad", "Hz", "1", "m2", "W/m2", "J/m2")
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
        if not math.isfinite(value):
            message = f"{field} = {float(value)!r}: write a finite number"
            raise InputError(message)
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
