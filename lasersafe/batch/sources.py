"""What a batch is made from: folders of cases, inventories as CSV, and workbooks."""

from __future__ import annotations

import codecs
import csv
import hashlib
import json
import re
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

from lasersafe.assessment import data_digest
from lasersafe.batch.inventory import COLUMNS, Reading, case_data, case_text, cell_fault, column_of
from lasersafe.errors import CaseError, InputError, refuse
from lasersafe.files import files_in, in_utf8
from lasersafe.quantity import shown

MOST_BYTES = 200_000_000  # of what is in the workbook, unpacked
MOST_COLUMNS = 500
NOT_WORKED_OUT = "its formula has no result; open the workbook, let it be worked out, and save it"
SEPARATORS = ";\t,"
HELP = "'lasersafe batch --template FILE.csv'"
_PIECE = 1 << 20
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
            self._encoding = _encoding(path)
            if self._encoding == "cp1252":
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
        self._refuse_wrong_columns()
        left = [cell.strip() for cell, one in zip(cells, self._headings, strict=True) if one is None and cell.strip()]
        if left:
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

    def _refuse_wrong_columns(self) -> None:
        """Refuse the file where no cell of a column can be read: one answer, and not the same for each row."""
        first, faults = list(islice(self._rows(), _TRIED)), []
        for name, heading in self.reading.headings.items():
            cells = [(item.line, item.cells[name]) for item in first if item.cells and name in item.cells]
            why = [cell_fault(text, heading, self.reading.decimal_comma_likely) for _, text in cells]
            if len(cells) > 1 and all(why):
                faults.append(f"column {shown(heading.text)}, as in line {cells[0][0]}: {shown(cells[0][1])}: {why[0]}")
        if faults:
            refuse("\n  ".join([f"{self.path}: no cell can be read in", *faults]))

    def _lines(self, separator: str) -> Iterator[tuple[int, Line]]:
        """Yield each line with its number."""
        if self._sheet is not None:
            yield from enumerate(self._sheet, 1)
            return
        with self.path.open("r", encoding=self._encoding, newline="") as file:
            reader, line = csv.reader(file, delimiter=separator, strict=True), 1
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
        from lasersafe.models import read_case_text

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


def open_source(path: Path) -> Source:
    """Return what is to be assessed: the rows of a file, or the case files of a folder.

    Raises
    ------
    InputError
        If there is nothing to assess.
    """
    if in_utf8(str(path)) != str(path):
        refuse(f"{in_utf8(str(path))}: the name of the file is not UTF-8; give it another name")
    if path.is_dir():
        return CaseFolder(path)
    advice = {".toml": "'lasersafe assess' takes one case"} | dict.fromkeys(
        (".xls", ".ods"), "save the sheet as .xlsx or CSV"
    )
    if path.suffix.lower() in advice:
        needed = "a folder with case files, or an inventory as CSV or .xlsx, is needed here"
        refuse(f"{path}: {needed}; {advice[path.suffix.lower()]}")
    return Inventory(path)


def _holds_data(cells: list[str]) -> bool:
    return any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#")


def _encoding(path: Path) -> str:
    """Return the first encoding in which a whole text file can be read; Windows-1252 is a guess.

    Raises
    ------
    InputError
        If it cannot be read, or is no text.
    """
    try:
        if not path.is_file():
            refuse(f"{path}: {'this is not a plain file' if path.exists() else 'there is no such file'}")
        with path.open("rb") as file:
            wide = file.read(2) in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
            file.seek(0)
            if not wide and any(b"\0" in piece for piece in iter(lambda: file.read(_PIECE), b"")):
                refuse(f"{path}: this is no text; save the sheet as CSV")
        for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
            with suppress(UnicodeDecodeError), path.open(encoding=encoding, newline="") as text:
                while text.read(_PIECE):
                    pass
                return encoding
    except OSError as error:
        refuse(f"{path}: cannot be read: {error.strerror or error}")
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
    try:
        with zipfile.ZipFile(path) as packed:
            if sum(one.file_size for one in packed.infolist()) > MOST_BYTES:
                refuse(f"{path}: more than {MOST_BYTES // 10**6} MB in it; save the sheet as CSV")
        values, formulas = (load_workbook(path, read_only=True, data_only=own).worksheets for own in (True, False))
        both = (sheets[0].iter_rows(max_col=MOST_COLUMNS) for sheets in (values, formulas))
        lines = [_line(cells, typed) for cells, typed in zip(*both, strict=True)]
    except InputError:
        raise
    except Exception as error:  # whatever the reader raises on a file that is damaged
        kind = type(error).__name__
        refuse(f"{path}: this is no workbook that can be read ({kind}); save the sheet again, or as CSV")
    return lines, [shown(sheet.title) for sheet in values] if len(values) > 1 else []


def _line(cells: tuple[Any, ...], typed: tuple[Any, ...]) -> Line:
    for cell, formula in zip(cells, typed, strict=True):
        if cell.value is None and formula.value is not None:
            return f"cell {formula.coordinate}: {NOT_WORKED_OUT}"
    return [_text(cell) for cell in cells]


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
