"""The columns of an inventory, and how a heading of a spreadsheet names one of them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass

from lasersafe.errors import InputError, QuantityError
from lasersafe.quantity import parse_quantity
from lasersafe.reference import load_toml, templates_path
from lasersafe.typed import plain_unit, shown


@dataclass(frozen=True)
class Column:
    """One column: where it goes in the case, its SI unit ("" for text), and the unit that the template has."""

    name: str
    what: str
    goes_to: str = ""  # path in the case; "" where several columns decide together
    unit: str = ""
    usual: str = ""
    shape: str = "one"  # one | range | axes
    required: bool = False
    also: Sequence[str] = ()  # what people call it elsewhere

    @property
    def heading(self) -> str:
        """The heading as the template writes it."""
        return f"{self.name} [{self.usual}]" if self.usual else self.name


COLUMNS: tuple[Column, ...] = tuple(
    Column(**row) for row in load_toml(templates_path("inventory", "columns.toml"))["column"]
)
_KNOWN = {name: column for column in COLUMNS for name in (column.name, *column.also)}
_HEADING = re.compile(r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\))?$", re.DOTALL)


@dataclass(frozen=True)
class Heading:
    """A heading of the file: the column that it names, and the unit for cells that have none of their own."""

    text: str
    column: Column
    unit: str  # "" where the heading names none


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").casefold().split())


def column_of(text: str) -> Heading | None:
    """Return what a heading names, or None when it is no column of ours.

    Raises
    ------
    InputError
        If its unit cannot be used, or it is nearly one of ours.
    """
    found = _HEADING.match(text.strip())
    assert found is not None
    name, unit = _plain(found["name"]), (found["square"] or found["round"] or "").strip()
    column = _KNOWN.get(name)
    if column is None:
        near = difflib.get_close_matches(name, list(_KNOWN), n=1, cutoff=0.8)
        if near:
            message = (
                f"heading {shown(text.strip())}: did you mean '{_KNOWN[near[0]].heading}'? Correct the heading, or "
                "name a column that is not meant for the calculation quite differently"
            )
            raise InputError(message)
        return None
    if unit and not column.unit:
        return Heading(text.strip(), column, "")  # a remark in brackets
    if unit and unit not in ("1", "-"):
        try:
            parse_quantity(f"1 {unit}", column.unit, "heading")
        except QuantityError as error:
            why = str(error).partition("': ")[2] or str(error)
            message = f"heading {shown(text.strip())}: {why}"
            raise InputError(message) from None
        return Heading(text.strip(), column, plain_unit(unit))
    return Heading(text.strip(), column, "")


def missing_columns(found: list[Heading]) -> list[str]:
    """Return the headings of required columns that are not there."""
    names = {heading.column.name for heading in found}
    missing = [column.heading for column in COLUMNS if column.required and column.name not in names]
    if not names & {"power", "pulse energy"}:
        missing.append("power [W] or pulse energy [mJ]")
    return missing
