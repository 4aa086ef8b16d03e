"""What a batch is made from: folders of cases, inventories as CSV or workbooks, and from a row to its case."""

from __future__ import annotations

import codecs
import csv
import difflib
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

import tomli_w

from lasersafe.assessment import data_digest
from lasersafe.data import load_toml, templates_path
from lasersafe.errors import CaseError, Fault, InputError, QuantityError, refuse
from lasersafe.files import files_in, read_limited
from lasersafe.models import read_case_text
from lasersafe.quantity import parse_quantity, plain_unit, possible_thousand, shown

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
_IN_WORDS = {  # what is needed, though a case has it as optional text
    "name": "what this laser, or its row, is called", "class": "the class on the label of the maker, as 4",
}  # fmt: skip
_OPTICS = ("collimated", "lens", "fibre multimode", "fibre single mode")
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

    def entries(self, text: str, decimal_comma_likely: bool) -> tuple[list[str], str]:
        """Return the values of a cell, each with its unit, and why the cell is refused, "" where it is not."""
        fault, shape = "", self.column.shape
        if decimal_comma_likely:
            if found := possible_thousand(text):
                plain, point = re.sub("[.,]", "", found), found.replace(",", ".")
                fault = f"in a file of this kind '{found}' can mean {plain} or {point}; write '{plain}' or '{point}0'"
            text = _DECIMAL_COMMA.sub(r"\1.\2", text)
        parts = _BETWEEN[shape].split(text) if shape in _BETWEEN else [text]
        return [_with_unit(part, self.unit) for part in parts], fault

    def fault(self, text: str, decimal_comma_likely: bool) -> str:
        """Return why a cell is no number with a unit that its column takes, "" where it is one."""
        if not self.column.unit:
            return ""
        entries, fault = self.entries(text, decimal_comma_likely)
        try:
            for entry in entries:
                parse_quantity(_SIGN.split(entry)[0], self.column.unit, "cell")
        except QuantityError as error:
            return fault or str(error).partition("': ")[2]
        return fault


BadCell = tuple[str, str]  # the heading; and why a row is not assessed: what was typed, what is wrong and to be done


def _bad(heading: str, typed: str, message: str) -> BadCell:
    return heading, f"{heading}{f' = {shown(typed)}' if typed else ''}: {message}"


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

    def faults(self, faults: Iterable[Fault], cells: Mapping[str, str], known: list[BadCell]) -> Iterator[BadCell]:
        """Yield the faults of a case in the words of the row that it came from; what is known already is left out."""
        seen = {heading for heading, _ in known}
        for fault in faults:
            place = re.sub(r"\[\d+\]", "", fault.field)
            name = "spectator distance" if fault.field == "person[2].distance" else _PLACES.get(place, "")
            field = self.headings[name].text if name in self.headings else name or fault.field
            if field in seen or (place == "laser.emission" and known):
                continue
            # without the value that it begins with; the cell is shown as typed before it
            message = re.sub(r"^(?:[a-z_]+ = )?'(?:[^']{0,40})(?:\.\.\.)?': ", "", fault.message)
            yield _bad(field, cells.get(name, ""), message)


def column_of(text: str) -> Heading | str | None:
    """Return what a heading names; why it cannot be used, or is nearly one of ours; None when it is none of ours."""
    found = _HEADING.match(text := text.strip())
    assert found is not None
    name = " ".join(found["name"].replace("_", " ").casefold().split())
    unit = (found["square"] or found["round"] or "").strip()
    column = _KNOWN.get(name)
    if column is None:
        near = difflib.get_close_matches(name, _KNOWN, n=1, cutoff=0.8)
        what = "Correct the heading, or name a column that is not meant for the calculation quite differently"
        return f"heading {shown(text)}: did you mean '{_KNOWN[near[0]].heading}'? {what}" if near else None
    if not column.unit or unit in ("", "1", "-"):  # where there is no unit, the brackets hold a remark
        return Heading(text, column, "")
    try:
        parse_quantity(f"1 {unit}", column.unit, "heading")
    except QuantityError as error:
        why = str(error).partition("': ")[2] or error
        return f"heading {shown(text)}: {why}"
    return Heading(text, column, plain_unit(unit))


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
        faults.append(_bad(heading, cells.get(name, ""), message))

    for name, text in cells.items():
        entries, fault = [text], ""
        if _BY_NAME[name].unit:
            entries, fault = reading.headings[name].entries(text, reading.decimal_comma_likely)
        if fault:
            bad(name, fault)
        value[name] = entries if len(entries) > 1 else entries[0]
    laser, setup = dict[str, Any](), {"name": "as listed", "kind": ""}
    persons: list[dict[str, Any]] = [{"name": "Operator", "role": "operator"}]
    tables: dict[str, dict[str, Any]] = {"laser": laser, "setup": setup, "person": persons[0]}
    for name, entry in value.items():
        table, _, field = _BY_NAME[name].goes_to.rpartition(".")
        if table in tables:
            tables[table][field] = entry
    for name, what in _IN_WORDS.items():
        if name not in value:
            bad(name, f"missing; write {what}")
    kind = setup["kind"] = str(value.get("optics", "collimated")).casefold()
    if kind not in _OPTICS:
        bad("optics", f"write one of: {', '.join(_OPTICS)}")
    for name in value:  # a cell that belongs to other optics is refused, never passed over
        if kind in _OPTICS and (own := _BY_NAME[name].only) not in ("", kind):
            said = "optics is empty, which means collimated" if "optics" not in value else f"optics says {kind}"
            bad(name, f"belongs to optics = {own}, but {said}; correct optics, or empty this cell")
    if "handheld" in value:
        word = value["handheld"].casefold()
        laser["handheld"] = word in _YES
        if word not in _YES + _NO:
            bad("handheld", "write yes or no")
    if "spectator distance" in value:
        persons.append({"name": "Spectators", "role": "spectator", "distance": value["spectator distance"]})
    given = {name.replace(" ", "_"): value[name] for name in _PULSED if name in value}
    emits, power = ("pulse train", "mean_power") if "repetition rate" in value else ("single pulse", "")
    if not given:
        emits, power = "continuous", "power"
        if "power" not in value:
            bad("power", "missing; fill power, or for pulses pulse energy and pulse duration")
    elif "pulse duration" not in value:
        bad("pulse duration", "missing; a pulsed laser needs it, since the limits depend on it")
    if "power" in value and power:
        given[power] = value["power"]
    elif "power" in value:
        what = "without a repetition rate this is one single pulse, which has no power"
        bad("power", f"{what}; fill repetition rate, or empty this cell")
    laser |= {"emission": {"kind": emits, **given}, "setup": [setup]}
    return {
        "title": value.get("name", ""),
        "place": value.get("place", NOT_STATED),
        "dates": NOT_STATED,
        "review_by": REVIEW_BY,
        **({"rule_set": value["rule set"]} if "rule set" in value else {}),
        "in_charge": dict.fromkeys(("assessor", "laser_safety_officer", "operator", "venue"), NOT_STATED),
        "laser": [laser],
        "person": persons,
    }, faults


def _with_unit(text: str, unit: str) -> str:
    """Return an entry with the unit of the heading, where it has none of its own."""
    if unit and _BARE.fullmatch(text):
        return f"{text} {unit}"
    if not unit or (spread := _SPREAD.fullmatch(text)) is None:
        return text
    middle, sign, width, share, kind = spread.groups()
    return f"{middle} {unit}{sign}{width}{share or f' {unit}'}{kind or ''}"


def case_text(data: Mapping[str, Any]) -> str:
    """Return the case file of a row."""
    head = "# Made by 'lasersafe batch' from one row of an inventory; review the whole before a sheet is signed.\n"
    return head + tomli_w.dumps(data)


MOST_BYTES, MOST_COLUMNS = 200_000_000, 500  # of a table; of a workbook what is in it, unpacked
NOT_WORKED_OUT = "its formula has no result; open the workbook, let it be worked out, and save it"
SEPARATORS = ";\t,"
HELP = "'lasersafe batch --template FILE.csv'"
_HEAD_LINES = 60  # the heading stands within the first lines
LONGEST_CELL = 4000
_TRIED = 50  # rows: a column of which none can be read in them is wrong as a whole
Line = list[str] | str  # cells, or why it cannot be read


@dataclass(frozen=True)
class Item:
    """One case to be assessed: the cells of our columns in a row that are not empty, or the text of a case file."""

    key: bytes  # SHA-256 of everything that the result depends on, as typed
    name: str
    line: int | None = None
    cells: dict[str, str] | None = None
    text: str = ""
    faults: tuple[str, ...] = ()  # why there is nothing to assess


class Inventory:
    """The rows of a CSV file or of the first sheet of a workbook, with the heading understood.

    Raises
    ------
    InputError
        If it cannot be read, has no heading that is understood, lacks a column that is needed, or no cell of a column
        can be read.
    """

    at_once = 50  # rows in a chunk of work
    few = 40  # so many are done before further processes have started

    def __init__(self, path: Path) -> None:
        self.path, self.remarks = path, list[str]()
        self._sheet: list[Line] | None = None
        if path.suffix.lower() == ".xlsx":
            self._sheet, others = _sheet_of(path)
            if others:
                self.remarks.append(f"only the first sheet, {others[0]}, is read; not: {', '.join(others[1:])}")
        else:
            self._text, encoding = _text_of(path)
            if encoding == "cp1252":
                self.remarks.append(f"{path} is not UTF-8; read as Windows-1252, check names that have accents")
        tried = [(separator, *self._first_row(separator)) for separator in (";" if self._sheet else SEPARATORS)]
        self._separator, self._heading_line, cells = max(tried, key=lambda one: sum(map(bool, map(column_of, one[2]))))
        if not any(cell.strip() for cell in cells):
            refuse(f"{path}: there is no heading; {HELP} shows one")
        found = [column_of(cell) for cell in cells]
        if not any(found):
            first = shown(cells[0].strip())
            refuse(f"{path}, line {self._heading_line}: {first} ... is no heading that is understood; {HELP} shows one")
        faults = [one for one in found if isinstance(one, str)]
        self._headings = [None if isinstance(one, str) else one for one in found]
        known = [one for one in self._headings if one is not None]
        names = [one.column.name for one in known]
        for name in sorted({name for name in names if names.count(name) > 1}):
            both = ", ".join(shown(one.text) for one in known if one.column.name == name)
            faults.append(f"headings {both}: both mean '{name}'; remove or rename one of them")
        if not faults:
            missing = [column.heading for column in COLUMNS if column.required and column.name not in names]
            missing += [] if {"power", "pulse energy"} & {*names} else ["power [W] or pulse energy [mJ]"]
            faults = [f"column '{heading}' is missing; add it to the heading" for heading in missing]
        if faults:
            refuse("\n  ".join([f"{path}, line {self._heading_line}: {faults[0]}", *faults[1:],
                                f"{HELP} writes a file with every column"]))  # fmt: skip
        # another separator than the comma: the file comes from a program that may write 1500 as 1.500
        self.reading = Reading(dict(zip(names, known, strict=True)), self._separator != ",")
        begin = list(islice(self._rows(), _TRIED))
        for name, heading in self.reading.headings.items():  # one answer, and not the same for each row
            own = [(item.line, item.cells[name]) for item in begin if item.cells and name in item.cells]
            why = [heading.fault(text, self.reading.decimal_comma_likely) for _, text in own]
            if len(own) > 1 and all(why):
                faults.append(f"column {shown(heading.text)}, as in line {own[0][0]}: {shown(own[0][1])}: {why[0]}")
        if faults:
            refuse("\n  ".join([f"{path}: no cell can be read in", *faults]))
        if left := [cell.strip() for cell, one in zip(cells, found, strict=True) if one is None and cell.strip()]:
            self.remarks.append(f"columns that are not read: {', '.join(map(shown, left))}")

    def __iter__(self) -> Iterator[Item]:
        """Yield the rows in their order."""
        units = sorted((name, heading.unit) for name, heading in self.reading.headings.items())
        salt = json.dumps([data_digest(), units, self.reading.decimal_comma_likely, "decimal commas"]).encode()
        for item in self._rows():
            yield replace(item, key=_key(salt, [item.cells, item.faults]))

    def names(self) -> Iterator[str]:
        """Yield what the cases are called."""
        return (item.name for item in self._rows())

    def case_file(self, item: Item) -> tuple[str, str]:
        """Return name and text of the case file of a row."""
        data, _ = case_data(item.cells or {}, self.reading)
        plain = re.sub(r"[^A-Za-z0-9]+", "-", item.name).strip("-")[:40]
        return f"line-{item.line:06d}{'-' if plain else ''}{plain}.toml", case_text(data)

    def _lines(self, separator: str) -> Iterator[tuple[int, Line]]:
        """Yield each line with its number."""
        if self._sheet is not None:
            yield from enumerate(self._sheet, 1)
            return
        reader, line = csv.reader(io.StringIO(self._text, newline=""), delimiter=separator, strict=True), 1
        while True:
            try:
                cells: Line = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                cells = f"this line cannot be read: {error}; save the file as CSV again"
            yield line, cells
            line = reader.line_num + 1

    def _first_row(self, separator: str) -> tuple[int, list[str]]:
        """Return the first line that holds cells, with its number."""
        line = 1
        for line, cells in islice(self._lines(separator), _HEAD_LINES):
            if not isinstance(cells, str) and _holds_data(cells) and not cells[0].casefold().startswith("sep="):
                return line, cells  # sep=: how a spreadsheet program notes the separator
        return line, [""]

    def _rows(self) -> Iterator[Item]:
        """Yield the rows below the heading without their keys; empty lines and lines that begin with # are left out."""
        for line, cells in self._lines(self._separator):
            if isinstance(cells, str):
                yield Item(b"", "", line, {}, faults=(cells,))
            elif line > self._heading_line and _holds_data(cells):
                found, faults = self._row(cells)
                yield Item(b"", found.get("name", ""), line, found, faults=tuple(faults))

    def _row(self, cells: list[str]) -> tuple[dict[str, str], list[str]]:
        """Return the cells of a row by column, and why it cannot be read as a row."""
        found: dict[str, str] = {}
        faults = [
            f"{len(cells)} cells, but the heading has {len(self._headings)}: {shown(cell.strip())} has no "
            "heading; put quotes around a cell that holds the separator"
            for cell in cells[len(self._headings) :] if cell.strip()
        ][:1]  # fmt: skip
        for number, (heading, cell) in enumerate(zip(self._headings, map(str.strip, cells), strict=False), 1):
            broken = "\r" in cell or "\n" in cell
            if broken and (heading is not None or self._separator in cell):  # a remark of two lines is none of ours
                where = heading.text if heading is not None else f"column {number}"
                what = "runs over several lines; a quotation mark may have lost its partner"
                faults.append(f"{where} = {shown(cell)}: {what}")
            elif heading is not None and len(cell) > LONGEST_CELL:
                faults.append(f"{heading.text} = {shown(cell)}: longer than {LONGEST_CELL} characters")
            elif heading is not None and cell:
                found[heading.column.name] = cell
        return found, faults


class CaseFolder:
    """The case files of a folder and of all folders below it, by name; what begins with a dot is passed over.

    Raises
    ------
    InputError
        If there is none.
    """

    at_once = 4
    few = 3
    reading = Reading({}, False)

    def __init__(self, path: Path) -> None:
        self.path, self.remarks = path, list[str]()
        self._files = dict(files_in(path, ".toml", below=True))
        if not self._files:
            refuse(f"{path}: there is no case file (*.toml) in it; 'lasersafe new' makes one from a starter case")

    def __iter__(self) -> Iterator[Item]:
        """Yield the files in the order of their names."""
        salt = json.dumps([data_digest(), "file"]).encode()
        for name, problem in self._files.items():
            text, faults = "", tuple(filter(None, [problem]))
            try:
                text = "" if problem else read_case_text(self.path / name)
            except CaseError as error:
                faults = tuple(map(str, error.faults))
            yield Item(_key(salt, [text, faults]), name, text=text, faults=faults)

    def names(self) -> Iterator[str]:
        """Yield what the cases are called."""
        return iter(self._files)


Source = Inventory | CaseFolder


def _key(salt: bytes, content: Any) -> bytes:
    return hashlib.sha256(salt + json.dumps(content, sort_keys=True).encode()).digest()


def _holds_data(cells: list[str]) -> bool:
    return any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#")


def _text_of(path: Path) -> tuple[str, str]:
    """Return a text file, and the first encoding in which all of it can be read; Windows-1252 is a guess.

    Raises
    ------
    InputError
        If it cannot be read, or is no text.
    """
    content = read_limited(path, MOST_BYTES, "table as CSV")
    wide = content[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
    if not wide and b"\0" in content:
        refuse(f"{path}: this is no text; save the sheet as CSV")
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        with suppress(UnicodeDecodeError):
            return content.decode(encoding), encoding
    refuse(f"{path}: the letters cannot be read; save the sheet as CSV in UTF-8")


def _sheet_of(path: Path) -> tuple[list[Line], list[str]]:
    """Return the lines of the first sheet of a workbook, numbers with a decimal point.

    Where there are other sheets, which are not read, the names of all come behind.

    Raises
    ------
    InputError
        If it cannot be read, or the reader is not installed.
    """
    try:
        from openpyxl import load_workbook
    except ImportError:
        install = "pip install 'lasersafe[xlsx]'"
        refuse(f"{path}: workbooks are read by openpyxl; install it with: {install}, or save as CSV")
    if not path.is_file():
        refuse(f"{path}: there is no such file")
    lines = list[Line]()
    try:
        with zipfile.ZipFile(path) as packed:
            if sum(one.file_size for one in packed.infolist()) > MOST_BYTES:
                refuse(f"{path}: more than {MOST_BYTES // 10**6} MB in it; save the sheet as CSV")
        values, formulas = (load_workbook(path, read_only=True, data_only=own).worksheets for own in (True, False))
        both = (sheets[0].iter_rows(max_col=MOST_COLUMNS) for sheets in (values, formulas))
        for cells, typed in zip(*both, strict=True):
            pairs = zip(cells, typed, strict=True)
            empty = next((f.coordinate for cell, f in pairs if cell.value is None and f.value is not None), "")
            lines.append(f"cell {empty}: {NOT_WORKED_OUT}" if empty else [_text(cell) for cell in cells])
    except InputError:
        raise
    except Exception as error:  # whatever the reader raises on a file that is damaged
        kind = type(error).__name__
        refuse(f"{path}: this is no workbook that can be read ({kind}); save the sheet again, or as CSV")
    return lines, [shown(sheet.title) for sheet in values] if len(values) > 1 else []


def _text(cell: Any) -> str:
    """Return a cell as text; a number as it is, of a share in percent with its sign."""
    value = cell.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        if "%" in str(cell.number_format):
            return f"{value * 100.0:.12g} %"
        text = f"{value:.15g}"
        return f"{text}0" if len(text.partition(".")[2]) == 3 else text  # 1.1250, which nobody takes for a thousand
    return "" if value is None else str(value)
