"""The columns of an inventory, how a heading names one of them, and from a row to the case that a file would give."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import tomli_w

from lasersafe.data import load_toml, templates_path
from lasersafe.errors import QuantityError
from lasersafe.quantity import parse_quantity, plain_unit, possible_thousand, shown

if TYPE_CHECKING:
    from lasersafe.errors import Fault

NOT_STATED = "not stated"
REVIEW_BY = "2000-01-01"  # in the past: a sheet that is made from a row is due for review at once
_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_BARE = re.compile(_NUMBER)
_SPREAD = re.compile(
    rf"({_NUMBER})(\s*(?:\+\s*/\s*-|\+\s*-|±)\s*)({_NUMBER})(\s*%)?(\s+(?:bound|standard uncertainty))?"
)
_SIGN = re.compile(r"\s*(?:\+\s*/\s*-|\+\s*-|±)")
_DECIMAL_COMMA = re.compile(r"(?<![0-9.,])([0-9]+),([0-9]+)(?![0-9.,])")
_BETWEEN = {"range": re.compile(r"\s+to\s+"), "axes": re.compile(r"\s+x\s+")}
_YES, _NO = ("yes", "true", "ja"), ("no", "false", "nein")
_PULSED = ("pulse energy", "pulse duration", "repetition rate")


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
    only: str = ""  # the optics that it belongs to
    also: Sequence[str] = ()  # what people call it elsewhere

    @property
    def heading(self) -> str:
        """The heading as the template writes it."""
        return f"{self.name} [{self.usual}]" if self.usual else self.name


COLUMNS: tuple[Column, ...] = tuple(
    Column(**row) for row in load_toml(templates_path("inventory", "columns.toml"))["column"]
)
_KNOWN = {name: column for column in COLUMNS for name in (column.name, *column.also)}
_BY_NAME = {column.name: column for column in COLUMNS}
_PLACES = {
    **{column.goes_to.replace("setup.", "laser.setup."): column.name for column in COLUMNS if column.goes_to},
    "laser.emission.power": "power",
    "laser.emission.mean_power": "power",
    "title": "name",
}
_HEADING = re.compile(r"^(?P<name>.*?)\s*(?:\[(?P<square>[^\[\]]*)\]|\((?P<round>[^()]*)\))?$", re.DOTALL)


@dataclass(frozen=True)
class Heading:
    """A heading of the file: the column that it names, and the unit for cells that have none of their own."""

    text: str
    column: Column
    unit: str  # "" where the heading names none


@dataclass(frozen=True)
class Reading:
    """How the rows of an inventory are to be read.

    Parameters
    ----------
    headings : dict of str to Heading
        Column -> its heading in the file.
    decimal_comma_likely : bool
        Take ``1,5`` for 1.5, and refuse ``1.500`` and ``1,500``, which such programs write for 1500.
    """

    headings: dict[str, Heading]
    decimal_comma_likely: bool


def column_of(text: str) -> Heading | str | None:
    """Return what a heading names; why it cannot be used, or is nearly one of ours; None when it is none of ours."""
    found = _HEADING.match(text := text.strip())
    assert found is not None
    name = " ".join(found["name"].replace("_", " ").casefold().split())
    unit = (found["square"] or found["round"] or "").strip()
    column = _KNOWN.get(name)
    if column is None:
        near = difflib.get_close_matches(name, _KNOWN, n=1, cutoff=0.8)
        return (
            f"heading {shown(text)}: did you mean '{_KNOWN[near[0]].heading}'? Correct the heading, or "
            "name a column that is not meant for the calculation quite differently"
            if near
            else None
        )
    if not column.unit or unit in ("", "1", "-"):  # where there is no unit, the brackets hold a remark
        return Heading(text, column, "")
    try:
        parse_quantity(f"1 {unit}", column.unit, "heading")
    except QuantityError as error:
        why = str(error).partition("': ")[2] or error
        return f"heading {shown(text)}: {why}"
    return Heading(text, column, plain_unit(unit))


@dataclass(frozen=True)
class BadCell:
    """Why a row is not assessed: the heading, what was typed, and what is wrong and to be done."""

    field: str
    typed: str
    message: str

    def __str__(self) -> str:
        typed = f" = {shown(self.typed)}" if self.typed else ""
        return f"{self.field}{typed}: {self.message}"


def case_data(cells: Mapping[str, str], reading: Reading) -> tuple[dict[str, Any], list[BadCell]]:
    """Return the case of a row as nested dictionaries, and what is wrong with its cells before they are read.

    Parameters
    ----------
    cells : mapping
        Column -> text; empty cells are left out.
    reading : Reading
        How they are to be read.
    """
    value: dict[str, Any] = {}
    faults: list[BadCell] = []

    def bad(name: str, message: str) -> None:
        heading = reading.headings[name].text if name in reading.headings else name
        faults.append(BadCell(heading, cells.get(name, ""), message))

    for name, text in cells.items():
        entries, fault = [text], ""
        if _BY_NAME[name].unit:
            entries, fault = _entries(text, reading.headings[name], reading.decimal_comma_likely)
        if fault:
            bad(name, fault)
        value[name] = entries if len(entries) > 1 else entries[0]
    tables: dict[str, dict[str, Any]] = {
        "laser": {},
        "setup": {"name": "as listed", "kind": ""},
        "person": {"name": "Operator", "role": "operator"},
    }
    for name, entry in value.items():
        table, _, field = _BY_NAME[name].goes_to.rpartition(".")
        if table in tables:
            tables[table][field] = entry
    tables["setup"]["kind"] = _kind(value, bad)
    laser, persons = tables["laser"], [tables["person"]]
    if "handheld" in value:
        word = value["handheld"].casefold()
        laser["handheld"] = word in _YES
        if word not in _YES + _NO:
            bad("handheld", "write yes or no")
    if "spectator distance" in value:
        persons.append({"name": "Spectators", "role": "spectator", "distance": value["spectator distance"]})
    case: dict[str, Any] = {"title": value.get("name", NOT_STATED), "place": value.get("place", NOT_STATED)}
    case |= {"dates": NOT_STATED, "review_by": REVIEW_BY}
    if "rule set" in value:
        case["rule_set"] = value["rule set"]
    case["in_charge"] = dict.fromkeys(("assessor", "laser_safety_officer", "operator", "venue"), NOT_STATED)
    laser |= {"emission": _emission(value, bad), "setup": [tables["setup"]]}
    return {**case, "laser": [laser], "person": persons}, faults


def _entries(text: str, heading: Heading, decimal_comma_likely: bool) -> tuple[list[str], str]:
    """Return the values of a cell, each with its unit, and why the cell is refused, "" where it is not."""
    fault, shape = "", heading.column.shape
    if decimal_comma_likely:
        if found := possible_thousand(text):
            plain, point = re.sub("[.,]", "", found), found.replace(",", ".")
            fault = f"in a file of this kind '{found}' can mean {plain} or {point}; write '{plain}' or '{point}0'"
        text = _DECIMAL_COMMA.sub(r"\1.\2", text)
    parts = _BETWEEN[shape].split(text) if shape in _BETWEEN else [text]
    return [_with_unit(part, heading.unit) for part in parts], fault


def cell_fault(text: str, heading: Heading, decimal_comma_likely: bool) -> str:
    """Return why a cell is no number with a unit that its column takes, "" where it is one."""
    if not heading.column.unit:
        return ""
    entries, fault = _entries(text, heading, decimal_comma_likely)
    try:
        for entry in entries:
            parse_quantity(_SIGN.split(entry)[0], heading.column.unit, "cell")
    except QuantityError as error:
        return fault or str(error).partition("': ")[2]
    return fault


def _with_unit(text: str, unit: str) -> str:
    """Return an entry with the unit of the heading, where it has none of its own."""
    if not unit:
        return text
    if _BARE.fullmatch(text):
        return f"{text} {unit}"
    spread = _SPREAD.fullmatch(text)
    if spread is None:
        return text
    middle, sign, width, share, kind = spread.groups()
    return f"{middle} {unit}{sign}{width}{share or f' {unit}'}{kind or ''}"


def _kind(value: dict[str, Any], bad: Any) -> str:
    """Return the kind of the optics; a cell that belongs to another kind is refused, never passed over."""
    kind = str(value.get("optics", "collimated")).casefold()
    known = ("collimated", "lens", "fibre multimode", "fibre single mode")
    if kind not in known:
        bad("optics", f"write one of: {', '.join(known)}")
        return kind
    for name in value:
        own = _BY_NAME[name].only
        if own and own != kind:
            said = "optics is empty, which means collimated" if "optics" not in value else f"optics says {kind}"
            bad(name, f"belongs to optics = {own}, but {said}; correct optics, or empty this cell")
    return kind


def _emission(value: dict[str, Any], bad: Any) -> dict[str, Any]:
    given = {name.replace(" ", "_"): value[name] for name in _PULSED if name in value}
    kind, power = ("pulse train", "mean_power") if "repetition rate" in value else ("single pulse", "")
    if not given:
        kind, power = "continuous", "power"
    if not given and "power" not in value:
        bad("power", "missing; fill power, or for pulses pulse energy and pulse duration")
    if given and "pulse duration" not in value:
        bad("pulse duration", "missing; a pulsed laser needs it, since the limits depend on it")
    if "power" in value and power:
        given[power] = value["power"]
    elif "power" in value:
        what = "without a repetition rate this is one single pulse, which has no power"
        bad("power", f"{what}; fill repetition rate, or empty this cell")
    return {"kind": kind, **given}


def bad_cells(
    faults: list[Fault], cells: Mapping[str, str], reading: Reading, known: list[BadCell]
) -> Iterator[BadCell]:
    """Yield the faults of a case in the words of the row that it came from; what is known already is left out."""
    seen = {one.field for one in known}
    for fault in faults:
        place = re.sub(r"\[\d+\]", "", fault.field)
        name = "spectator distance" if fault.field == "person[2].distance" else _PLACES.get(place, "")
        field = reading.headings[name].text if name in reading.headings else name or fault.field
        if field in seen or (place == "laser.emission" and known):
            continue
        # without the value that it begins with; the cell is shown as typed before it
        message = re.sub(r"^(?:[a-z_]+ = )?'(?:[^']{0,40})(?:\.\.\.)?': ", "", fault.message)
        yield BadCell(field, cells.get(name, ""), message)


def case_text(data: Mapping[str, Any]) -> str:
    """Return the case file of a row."""
    head = "# Made by 'lasersafe batch' from one row of an inventory; review the whole before a sheet is signed.\n"
    return head + tomli_w.dumps(data)
