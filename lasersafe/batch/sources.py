"""What a batch is made from: folders of cases, inventories as CSV, and workbooks."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from lasersafe.assessment.fingerprint import data_digest
from lasersafe.batch.inventory import Heading, case_data, case_text, cell_fault, column_of, missing_columns
from lasersafe.errors import CaseError, InputError, refuse
from lasersafe.files import files_in, in_utf8
from lasersafe.typed import shown

MOST_BYTES = 200_000_000  # of what is in the workbook, unpacked
MOST_COLUMNS = 500
NOT_WORKED_OUT = "its formula has no result; open the workbook, let it be worked out, and save it"


def sheet_of(path: Path) -> tuple[list[list[str] | str], tuple[str, ...]]:
    """Return the lines of the first sheet, and remarks; a text in place of cells says why a line cannot be read.

    Parameters
    ----------
    path : Path
        The workbook. Untrusted.

    Returns
    -------
    list
        The cells of each line as text: numbers with a decimal point.
    tuple of str
        Remarks: other sheets, which are not read.

    Raises
    ------
    InputError
        If it cannot be read, or the reader is not installed.
    """
    try:
        from openpyxl import load_workbook
    except ImportError:
        refuse(
            f"{path}: workbooks are read by openpyxl; install it with: pip install 'lasersafe[xlsx]', or save as CSV"
        )
    if not path.is_file():
        refuse(f"{path}: there is no such file")
    try:
        with zipfile.ZipFile(path) as packed:
            if sum(one.file_size for one in packed.infolist()) > MOST_BYTES:
                refuse(f"{path}: more than {MOST_BYTES // 10**6} MB in it; save the sheet as CSV")
        values, formulas = (load_workbook(path, read_only=True, data_only=own) for own in (True, False))
        first, *others = values.worksheets
        rows = zip(
            first.iter_rows(max_col=MOST_COLUMNS), formulas.worksheets[0].iter_rows(max_col=MOST_COLUMNS), strict=True
        )
        lines = [_line(cells, typed) for cells, typed in rows]
    except InputError:
        raise
    except Exception as error:  # whatever the reader raises on a file that is damaged
        refuse(
            f"{path}: this is no workbook that can be read ({type(error).__name__}); save the sheet again, or as CSV"
        )
    names = ", ".join(shown(sheet.title) for sheet in others)
    return lines, (f"only the first sheet, {shown(first.title)}, is read; not: {names}",) if others else ()


def _line(cells: tuple[Any, ...], typed: tuple[Any, ...]) -> list[str] | str:
    for cell, formula in zip(cells, typed, strict=True):
        if cell.value is None and formula.value is not None:
            return f"cell {formula.coordinate}: {NOT_WORKED_OUT}"
    return [_text(cell) for cell in cells]


def _text(cell: Any) -> str:
    """Return a cell as text; a number as it is, of a share in percent with its sign."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        if "%" in str(cell.number_format):
            return f"{value * 100.0:.12g} %"
        text = f"{value:.15g}"
        return f"{text}0" if len(text.partition(".")[2]) == 3 else text  # 1.1250, which nobody takes for a thousand
    return str(value)


SEPARATORS = ";\t,"
_PIECE = 1 << 20
_HEAD_LINES = 60  # the heading stands within the first lines
LONGEST_CELL = 4000
_TRIED = 50  # rows: a column of which none can be read in them is wrong as a whole


@dataclass(frozen=True)
class Item:
    """One case to be assessed: a row of an inventory, or the text of a case file."""

    key: bytes  # SHA-256 of everything that the result depends on, as typed
    name: str
    line: int | None = None
    row: Row | None = None
    text: str = ""
    faults: tuple[str, ...] = ()  # why there is nothing to assess


@dataclass(frozen=True)
class Reading:
    """How the rows of an inventory are to be read."""

    headings: dict[str, Heading]
    decimal_comma_likely: bool


class Inventory:
    """The rows of a CSV file.

    Raises
    ------
    InputError
        If the file cannot be used as an inventory.
    """

    at_once = 50  # rows in a chunk of work
    few = 40  # so many are done before further processes have started

    def __init__(self, path: Path) -> None:
        self.table = Table(path)
        self.reading = Reading(self.table.by_column, self.table.decimal_comma_likely)
        units = sorted((name, heading.unit) for name, heading in self.table.by_column.items())
        self._salt = json.dumps([data_digest(), units, self.reading.decimal_comma_likely, "decimal commas"]).encode()
        self.remarks: list[str] = []
        if self.table.guessed:
            self.remarks.append(f"{path} is not UTF-8; read as Windows-1252, check names that have accents")
        self._refuse_wrong_columns()
        self.remarks += self.table.remarks
        if self.table.not_read:
            self.remarks.append(f"columns that are not read: {', '.join(map(shown, self.table.not_read))}")

    def __iter__(self) -> Iterator[Item]:
        """Yield the rows in their order."""
        for row in self.table.rows():
            content = json.dumps([row.cells, row.faults], sort_keys=True).encode()
            key = hashlib.sha256(self._salt + content).digest()
            yield Item(key, row.cells.get("name", ""), row.line, row, faults=row.faults)

    def _refuse_wrong_columns(self) -> None:
        """Refuse the file where no cell of a column can be read: one answer, and not the same for each row."""
        first = list(islice(self.table.rows(), _TRIED))
        faults = []
        for name, heading in self.table.by_column.items():
            cells = [(row.line, row.cells[name]) for row in first if heading.column.unit and name in row.cells]
            why = [cell_fault(text, heading, self.table.decimal_comma_likely) for _, text in cells]
            if len(cells) > 1 and all(why):
                (line, text), *_ = cells
                faults.append(f"column {shown(heading.text)}, as in line {line}: {shown(text)}: {why[0]}")
        if faults:
            refuse("\n  ".join([f"{self.table.path}: no cell can be read in", *faults]))

    def count(self) -> int:
        """Return how many there are."""
        return sum(1 for _ in self.table.rows())

    def cases(self) -> set[str]:
        """Return what they are called."""
        return {row.cells.get("name", "") for row in self.table.rows()}

    def case_file(self, item: Item) -> tuple[str, str]:
        """Return name and text of the case file of a row."""
        assert item.row is not None
        assert item.line is not None
        data, _ = case_data(item.row.cells, self.reading.headings, self.reading.decimal_comma_likely)
        plain = re.sub(r"[^A-Za-z0-9]+", "-", item.name).strip("-")[:40]
        return f"line-{item.line:06d}{'-' if plain else ''}{plain}.toml", case_text(data)


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
        self.path = path
        self.names = dict(files_in(path, ".toml", below=True))
        self.remarks: list[str] = []
        if not self.names:
            refuse(f"{path}: there is no case file (*.toml) in it; 'lasersafe new' makes one from a starter case")
        self._salt = json.dumps([data_digest(), "file"]).encode()

    def __iter__(self) -> Iterator[Item]:
        """Yield the files in the order of their names."""
        from lasersafe.models import read_case_text

        for name, problem in self.names.items():
            text = ""
            faults: tuple[str, ...] = (problem,) if problem else ()
            try:
                text = text if problem else read_case_text(self.path / name)
            except CaseError as error:
                faults = tuple(str(fault) for fault in error.faults)
            key = hashlib.sha256(self._salt + json.dumps([text, faults]).encode()).digest()
            yield Item(key, name, text=text, faults=faults)

    def count(self) -> int:
        """Return how many there are."""
        return len(self.names)

    def cases(self) -> set[str]:
        """Return what they are called."""
        return set(self.names)


Source = Inventory | CaseFolder


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
    if path.suffix.lower() in (".toml", ".xls", ".ods"):
        advice = (
            "'lasersafe assess' takes one case" if path.suffix.lower() == ".toml" else "save the sheet as .xlsx or CSV"
        )
        refuse(f"{path}: a folder with case files, or an inventory as CSV or .xlsx, is needed here; {advice}")
    return Inventory(path)


@dataclass(frozen=True)
class Row:
    """One row of an inventory: the number of its first line, and the cells of our columns that are not empty."""

    line: int
    cells: dict[str, str]
    faults: tuple[str, ...] = ()  # why it cannot be read as a row


class Table:
    """An inventory file with its heading understood.

    Raises
    ------
    InputError
        If it is no text, has no heading that is understood, or a column that is needed is missing.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.workbook = path.suffix.lower() == ".xlsx"
        self.remarks: tuple[str, ...] = ()
        self.encoding, self.guessed = ("", False) if self.workbook else _encoding(path)
        if self.workbook:
            self._sheet, self.remarks = sheet_of(path)
        self.separator, self.heading_line, cells = self._head()
        self.headings: list[Heading | None] = []
        faults = []
        for cell in cells:
            try:
                self.headings.append(column_of(cell))
            except InputError as error:
                faults.append(str(error))
                self.headings.append(None)
        known = [heading for heading in self.headings if heading is not None]
        names = [heading.column.name for heading in known]
        for name in sorted({name for name in names if names.count(name) > 1}):
            both = ", ".join(shown(heading.text) for heading in known if heading.column.name == name)
            faults.append(f"headings {both}: both mean '{name}'; remove or rename one of them")
        if not faults:
            faults = [f"column '{heading}' is missing; add it to the heading" for heading in missing_columns(known)]
        if faults:
            refuse(
                f"{path}, line {self.heading_line}: "
                + "\n  ".join([*faults, "'lasersafe batch --template FILE.csv' writes a file with every column"])
            )
        self.by_column = {heading.column.name: heading for heading in known}
        self.not_read = tuple(
            cell.strip() for cell, heading in zip(cells, self.headings, strict=True) if heading is None and cell.strip()
        )

    @property
    def decimal_comma_likely(self) -> bool:
        """Whether the file comes from a program that may write 1500 as 1.500."""
        return self.separator != ","

    def _lines(self, separator: str) -> Iterator[tuple[int, list[str] | str]]:
        """Yield the cells of each line with its number; a text says why a line cannot be read."""
        if self.workbook:
            yield from enumerate(self._sheet, 1)
            return
        with self.path.open("r", encoding=self.encoding, newline="") as file:
            reader = csv.reader(file, delimiter=separator, strict=True)
            before = 0
            while True:
                line = before + 1
                try:
                    cells: list[str] | str | None = next(reader, None)
                except csv.Error as error:
                    cells = f"this line cannot be read: {error}; save the file as CSV again"
                if cells is None:
                    return
                before = reader.line_num
                yield line, cells

    def _head(self) -> tuple[str, int, list[str]]:
        """Return separator, line and cells of the heading: the first line that holds cells."""
        best: tuple[int, str, int, list[str]] | None = None
        for separator in SEPARATORS if not self.workbook else ";":
            line, cells = _first_row(self._lines(separator))
            score = sum(_is_ours(cell) for cell in cells)
            if best is None or score > best[0]:
                best = (score, separator, line, cells)
        assert best is not None
        score, separator, line, cells = best
        if not any(cell.strip() for cell in cells):
            refuse(f"{self.path}: there is no heading; 'lasersafe batch --template FILE.csv' shows one")
        if not score:
            refuse(
                f"{self.path}, line {line}: {shown(cells[0].strip())} ... is no heading that is understood; "
                "'lasersafe batch --template FILE.csv' shows one"
            )
        return separator, line, cells

    def rows(self) -> Iterator[Row]:
        """Yield the rows below the heading; empty lines and lines that begin with # are passed over."""
        for line, cells in self._lines(self.separator):
            if isinstance(cells, str):
                yield Row(line, {}, (cells,))
            elif line > self.heading_line and any(cell.strip() for cell in cells) and not _is_remark(cells):
                yield self._row(line, cells)

    def _row(self, line: int, cells: list[str]) -> Row:
        extra = [cell for cell in cells[len(self.headings) :] if cell.strip()]
        faults: list[str] = []
        if extra:
            faults.append(
                f"{len(cells)} cells, but the heading has {len(self.headings)}: {shown(extra[0].strip())} has no "
                "heading; put quotes around a cell that holds the separator"
            )
        found = {}
        for number, (heading, cell) in enumerate(zip(self.headings, cells, strict=False), 1):
            broken = any(mark in cell.strip() for mark in "\r\n")
            if broken and (heading is not None or self.separator in cell):  # a remark of two lines is none of ours
                where = heading.text if heading is not None else f"column {number}"
                what = "runs over several lines; a quotation mark may have lost its partner"
                faults.append(f"{where} = {shown(cell.strip())}: {what}")
            elif heading is not None and len(cell) > LONGEST_CELL:
                faults.append(f"{heading.text} = {shown(cell.strip())}: longer than {LONGEST_CELL} characters")
            elif heading is not None and cell.strip():
                found[heading.column.name] = cell.strip()
        return Row(line, found, tuple(faults))


def _is_remark(cells: list[str]) -> bool:
    return cells[0].lstrip().startswith("#")


def _is_ours(cell: str) -> bool:
    try:
        return column_of(cell) is not None
    except InputError:
        return True  # nearly: the message names it


def _first_row(lines: Iterator[tuple[int, list[str] | str]]) -> tuple[int, list[str]]:
    line = 1
    for line, cells in islice(lines, _HEAD_LINES):
        if isinstance(cells, str) or not any(cell.strip() for cell in cells) or _is_remark(cells):
            continue
        if not cells[0].casefold().startswith("sep="):  # how a spreadsheet program notes the separator
            return line, cells
    return line, [""]


def _encoding(path: Path) -> tuple[str, bool]:
    """Return the encoding of a text file, and whether it was guessed.

    Raises
    ------
    InputError
        If it cannot be read, or is no text.
    """
    try:
        if not path.is_file():
            what = "there is no such file" if not path.exists() else "this is not a plain file"
            refuse(f"{path}: {what}")
        with path.open("rb") as file:
            start = file.read(4)
            file.seek(0)
            if start[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
                return _decodes(file, "utf-16", path), False
            decoder = codecs.getincrementaldecoder("utf-8")()
            guessed = False
            while piece := file.read(_PIECE):
                if b"\0" in piece:
                    refuse(f"{path}: this is no text; save the sheet as CSV")
                if not guessed:
                    try:
                        decoder.decode(piece)
                    except UnicodeDecodeError:
                        guessed = True
            if not guessed:
                try:
                    decoder.decode(b"", final=True)
                except UnicodeDecodeError:
                    guessed = True
            return ("utf-8-sig", False) if not guessed else (_decodes(file, "cp1252", path), True)
    except OSError as error:
        refuse(f"{path}: cannot be read: {error.strerror or error}")


def _decodes(file: io.BufferedReader, encoding: str, path: Path) -> str:
    file.seek(0)
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        while piece := file.read(_PIECE):
            decoder.decode(piece)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        refuse(f"{path}: the letters cannot be read; save the sheet as CSV in UTF-8")
    return encoding
