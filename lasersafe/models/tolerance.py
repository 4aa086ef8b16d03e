"""A tolerance behind a value: ``6 mm +- 0.5 mm``, ``3 mrad +- 15 %``, or a table with lowest and highest."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Literal

from lasersafe.errors import QuantityError
from lasersafe.frozen import dataclass
from lasersafe.physical import covered
from lasersafe.quantity import Kind, Quantity, parse_quantity
from lasersafe.typed import shown

ToleranceKind = Literal["bound", "standard uncertainty"]
KINDS: tuple[ToleranceKind, ...] = ("bound", "standard uncertainty")
KEYS = ("value", "tolerance", "lowest", "highest", "kind")
LONGEST = 160

_SIGN = re.compile(r"\+\s*/\s*-|\+\s*-|±")
_BARE = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_ENDING = re.compile(r"\s*[^\W\d_][^\d]*2?$|\s*%$")
_KIND = re.compile(r"\s+(bound|standard uncertainty)$")
_FORMS = "write '6 mm +- 0.5 mm', '3 mrad +- 15 %' or { lowest = '2.5 mrad', highest = '3.5 mrad' }"


@dataclass(frozen=True)
class Tolerance:
    """How far a value may be off.

    Parameters
    ----------
    low, high : float
        A bound: lowest and highest value; a standard uncertainty: the value less and plus it. In the SI unit of the
        value.
    kind : str
        ``bound`` or ``standard uncertainty``.
    """

    low: float
    high: float
    kind: ToleranceKind


def has_tolerance(text: object) -> bool:
    """Return whether an entry has the form of a value with a tolerance."""
    return isinstance(text, Mapping) or (isinstance(text, str) and _SIGN.search(text) is not None)


def read_tolerance(
    text: object, unit: str, field: str, kind: Kind | None, inside: Callable[[Quantity, str], None]
) -> tuple[float, str, Tolerance]:
    """Return value, text and tolerance of an entry.

    Parameters
    ----------
    text : str or mapping
        As typed. Untrusted.
    unit : str
        SI unit of the field.
    field : str
        Name of the field, for the message.
    kind : {"continuous power", "divergence"}, optional
        Asks back about slips of milli and mega.
    inside : callable
        Refuses a quantity outside the bounds of the field.

    Raises
    ------
    QuantityError
        If it is not a value with a tolerance inside the bounds.
    """
    if isinstance(text, Mapping):
        return _from_table(text, unit, field, kind, inside)
    typed = str(text).strip()
    if len(typed) > LONGEST:
        message = f"{field} = {shown(typed)}: longer than {LONGEST} characters; {_FORMS}"
        raise QuantityError(message)
    parts = _SIGN.split(typed)
    if len(parts) != 2:
        message = f"{field} = {shown(typed)}: one value and one tolerance; {_FORMS}"
        raise QuantityError(message)
    width, how = parts[1], "bound"
    found = _KIND.search(width)
    if found:
        width, how = width[: found.start()], found.group(1)
    ending = _ENDING.search(width)
    if ending and _BARE.fullmatch(parts[0].strip()) and ending.group().strip() != "%":  # 6 +- 0.5 mm
        parts[0] = f"{parts[0].strip()} {ending.group().strip()}"
    try:
        value = parse_quantity(parts[0], unit, field, kind)
        inside(value, field)
        spread = _width(width, value, unit, field)
        found_tolerance = _tolerance(value, spread, spread, how, unit, field, inside)
    except QuantityError as error:
        said = str(error).removeprefix(f"{field} = ").removeprefix(f"{field}, ")
        message = f"{field} = {shown(typed)}: {said}"
        raise QuantityError(message) from None
    return value.value, typed, found_tolerance


def _width(text: object, value: Quantity, unit: str, field: str) -> float:
    """Return a tolerance in the unit of the value."""
    name = f"{field}, tolerance"
    bare = text.strip() if isinstance(text, str) else text
    if isinstance(bare, str) and bare.endswith("%"):
        if unit == "1":
            message = (
                f"{name} = {shown(bare)}: of a share it can mean two things; write the tolerance without %, as "
                "'0.6 +- 0.05', or lowest and highest"
            )
            raise QuantityError(message)
        spread = parse_quantity(bare, "1", name).value * abs(value.value)
    else:
        spread = parse_quantity(bare, unit, name).value
    if not spread >= 0.0:
        message = f"{name} = {shown(bare)}: it counts to both sides; write it without a minus sign"
        raise QuantityError(message)
    return spread


def _tolerance(
    value: Quantity, below: float, above: float, kind: str, unit: str, field: str,
    inside: Callable[[Quantity, str], None],
) -> Tolerance:  # fmt: skip
    low, high = value.value - below, value.value + above
    typed = shown(value.typed)
    for end, word in ((low, f"the lowest value of {typed}"), (high, f"the highest value of {typed}")):
        inside(_end(end, unit), f"{field}, {word}")
    return _counted(value.value, Tolerance(low, high, KINDS[KINDS.index(kind)]), unit, field, inside)


def _end(value: float, unit: str) -> Quantity:
    return Quantity(value, f"{value:.6g}" + ("" if unit == "1" else f" {unit}"), unit)


def _counted(
    value: float, found: Tolerance, unit: str, field: str, inside: Callable[[Quantity, str], None]
) -> Tolerance:
    """Return a tolerance as it is; refused where a standard uncertainty counts to what the field does not take."""
    if found.kind == "bound":
        return found
    for end in covered(field, value, found.low, found.high):
        reached = _end(end, unit)
        try:
            inside(reached, field)
        except QuantityError as error:
            why = str(error).partition(": ")[2]
            message = (
                f"{field}, twice the standard uncertainty reaches {reached.typed}, and there is no worst case: {why}; "
                "measure it better, or give lowest and highest as bounds"
            )
            raise QuantityError(message) from None
    return found


@contextmanager
def _quoting(table: Mapping[object, object], field: str) -> Iterator[None]:
    """Put what was typed in front of a refusal."""
    try:
        yield
    except QuantityError as error:
        message = f"{field} = {shown(table)}: {str(error).removeprefix(f'{field}, ')}"
        raise QuantityError(message) from None


def _from_table(
    table: Mapping[object, object], unit: str, field: str, kind: Kind | None, inside: Callable[[Quantity, str], None]
) -> tuple[float, str, Tolerance]:
    for key in table:
        if key not in KEYS:
            message = f"{field} = {shown(table)}: {shown(key)} is not a key of it; known here: {', '.join(KEYS)}"
            raise QuantityError(message)
    how = table.get("kind", "bound")
    if how not in KINDS:
        message = f"{field}.kind = {shown(how)}: write 'bound' or 'standard uncertainty'"
        raise QuantityError(message)
    ends = [key for key in ("lowest", "highest") if key in table]
    if len(ends) == 1 or ("tolerance" in table) == bool(ends) or ("tolerance" in table and "value" not in table):
        message = f"{field} = {shown(table)}: give value and tolerance, or lowest and highest; {_FORMS}"
        raise QuantityError(message)

    def number(key: str) -> Quantity:
        given = table[key]
        text = shown(given) if unit == "1" and isinstance(given, (int, float)) and given is not True else given
        found = parse_quantity(text, unit, f"{field}.{key}", kind)
        inside(found, f"{field}.{key}")
        return found

    if "tolerance" in table:
        value = number("value")
        given = table["tolerance"]
        text = shown(given) if unit == "1" and isinstance(given, (int, float)) else given
        spread = _width(text, value, unit, field)
        typed = f"{value.typed} +- {str(text).strip()}" + ("" if how == "bound" else f" {how}")
        with _quoting(table, field):
            return value.value, typed, _tolerance(value, spread, spread, str(how), unit, field, inside)
    low, high = number("lowest"), number("highest")
    middle = (low.value + high.value) / 2.0
    value = number("value") if "value" in table else Quantity(middle, f"{middle:.6g}", unit)
    if not low.value <= value.value <= high.value:
        between = f", value {shown(value.typed)}" if "value" in table else ""
        message = (
            f"{field} = {shown(table)}: lowest {shown(low.typed)}{between} and highest {shown(high.typed)} "
            "must rise in this order"
        )
        raise QuantityError(message)
    start = f"{value.typed}, " if "value" in table else ""
    typed = f"{start}from {low.typed} to {high.typed}" + ("" if how == "bound" else f" ({how})")
    found = Tolerance(low.value, high.value, KINDS[KINDS.index(how)])
    with _quoting(table, field):
        return value.value, typed, _counted(value.value, found, unit, field, inside)
