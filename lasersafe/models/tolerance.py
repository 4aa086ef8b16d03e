"""A tolerance behind a value: ``6 mm +- 0.5 mm``, ``3 mrad +- 15 %``, or a table with lowest and highest."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from lasersafe.errors import QuantityError
from lasersafe.models.values import SIValue, Tolerance, ToleranceKind
from lasersafe.physical import covered
from lasersafe.quantity import Quantity, parse_quantity, refused
from lasersafe.typed import shown

if TYPE_CHECKING:
    from lasersafe.models.measured import Measured

KINDS: tuple[ToleranceKind, ...] = ("bound", "standard uncertainty")
KEYS = ("value", "tolerance", "lowest", "highest", "kind")
LONGEST = 160

_SIGN = re.compile(r"\+\s*/\s*-|\+\s*-|±")
_BARE = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_ENDING = re.compile(r"\s*[^\W\d_][^\d]*2?$|\s*%$")
_KIND = re.compile(r"\s+(bound|standard uncertainty)$")
_FORMS = "write '6 mm +- 0.5 mm', '3 mrad +- 15 %' or { lowest = '2.5 mrad', highest = '3.5 mrad' }"


def has_tolerance(text: object) -> bool:
    """Return whether an entry has the form of a value with a tolerance."""
    return isinstance(text, Mapping) or (isinstance(text, str) and _SIGN.search(text) is not None)


def read_tolerance(text: object, mark: Measured, field: str) -> SIValue:
    """Return an entry that has a tolerance.

    Parameters
    ----------
    text : str or mapping
        As typed. Untrusted.
    mark : Measured
        What the field takes.
    field : str
        Name of the field, for the message.

    Raises
    ------
    QuantityError
        If it is not a value with a tolerance inside the bounds.
    """
    if isinstance(text, Mapping):
        return _from_table(text, mark, field)
    typed = str(text).strip()
    if len(typed) > LONGEST:
        raise refused(field, typed, f"longer than {LONGEST} characters; {_FORMS}")
    parts = _SIGN.split(typed)
    if len(parts) != 2:
        raise refused(field, typed, f"one value and one tolerance; {_FORMS}")
    first, width = parts
    named = _KIND.search(width)
    width, kind = (width[: named.start()], named.group(1)) if named else (width, "bound")
    ending = _ENDING.search(width)
    if ending and _BARE.fullmatch(first.strip()) and ending.group().strip() != "%":  # 6 +- 0.5 mm
        first = f"{first.strip()} {ending.group().strip()}"
    with _quoting(typed, field):
        value = mark.quantity(first, field)
        tolerance = _around(value, _width(width, value, mark, field), kind, mark, field)
    return SIValue(value.value, typed, mark.unit, tolerance)


def _from_table(table: Mapping[object, object], mark: Measured, field: str) -> SIValue:
    for key in table:
        if key not in KEYS:
            raise refused(field, table, f"{shown(key)} is not a key of it; known here: {', '.join(KEYS)}")
    kind = table.get("kind", "bound")
    if kind not in KINDS:
        name = f"{field}.kind"
        raise refused(name, kind, "write 'bound' or 'standard uncertainty'")
    ends = [key for key in ("lowest", "highest") if key in table]
    if len(ends) == 1 or ("tolerance" in table) == bool(ends) or ("tolerance" in table and "value" not in table):
        raise refused(field, table, f"give value and tolerance, or lowest and highest; {_FORMS}")
    value, low, high = (
        mark.quantity(table[key], f"{field}.{key}") if key in table else None for key in ("value", "lowest", "highest")
    )
    if low is None or high is None:
        assert value is not None
        given = table["tolerance"]
        text = shown(given) if mark.unit == "1" and isinstance(given, (int, float)) else given
        width = _width(text, value, mark, field)
        typed = f"{value.typed} +- {str(text).strip()}" + ("" if kind == "bound" else f" {kind}")
        with _quoting(table, field):
            return SIValue(value.value, typed, mark.unit, _around(value, width, str(kind), mark, field))
    middle = value.value if value else (low.value + high.value) / 2.0
    if not low.value <= middle <= high.value:
        between = f", value {shown(value.typed)}" if value else ""
        rising = f"lowest {shown(low.typed)}{between} and highest {shown(high.typed)} must rise in this order"
        raise refused(field, table, rising)
    typed = (f"{value.typed}, " if value else "") + f"from {low.typed} to {high.typed}"
    typed += "" if kind == "bound" else f" ({kind})"
    with _quoting(table, field):
        return SIValue(middle, typed, mark.unit, _counted(middle, low.value, high.value, str(kind), mark, field))


@contextmanager
def _quoting(text: object, field: str) -> Iterator[None]:
    """Put what was typed in front of a refusal."""
    try:
        yield
    except QuantityError as error:
        raise refused(field, text, str(error).removeprefix(f"{field} = ").removeprefix(f"{field}, ")) from None


def _width(text: object, value: Quantity, mark: Measured, field: str) -> float:
    """Return a tolerance in the unit of the value."""
    name = f"{field}, tolerance"
    bare = text.strip() if isinstance(text, str) else text
    share = isinstance(bare, str) and bare.endswith("%")
    if share and mark.unit == "1":
        raise refused(
            name,
            bare,
            "of a share it can mean two things; write the tolerance without %, as '0.6 +- 0.05', or lowest and highest",
        )
    width = parse_quantity(bare, "1" if share else mark.unit, name).value * (abs(value.value) if share else 1.0)
    if not width >= 0.0:
        raise refused(name, bare, "it counts to both sides; write it without a minus sign")
    return width


def _around(value: Quantity, width: float, kind: str, mark: Measured, field: str) -> Tolerance:
    low, high = value.value - width, value.value + width
    for end, word in ((low, "lowest"), (high, "highest")):
        mark.inside(_end(end, mark.unit), f"{field}, the {word} value of {shown(value.typed)}")
    return _counted(value.value, low, high, kind, mark, field)


def _counted(value: float, low: float, high: float, kind: str, mark: Measured, field: str) -> Tolerance:
    """Return a tolerance; refused where a standard uncertainty counts to what the field does not take."""
    for end in covered(field, value, low, high) if kind != "bound" else ():
        reached = _end(end, mark.unit)
        if why := mark.outside(reached):
            message = (
                f"{field}, twice the standard uncertainty reaches {reached.typed}, and there is no worst case: {why}; "
                "measure it better, or give lowest and highest as bounds"
            )
            raise QuantityError(message)
    return Tolerance(low, high, KINDS[[*map(str, KINDS)].index(kind)])


def _end(value: float, unit: str) -> Quantity:
    return Quantity(value, f"{value:.6g}" + ("" if unit == "1" else f" {unit}"), unit)
