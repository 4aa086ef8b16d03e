"""Where the cases of a batch come from: the rows of an inventory, or the case files of a folder."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from lasersafe.assessment.fingerprint import data_digest
from lasersafe.batch.inventory import Heading, case_data, case_text
from lasersafe.batch.table import Row, Table
from lasersafe.errors import CaseError, InputError
from lasersafe.files import files_in, in_utf8
from lasersafe.typed import shown


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
        self._salt = json.dumps([data_digest(), units, self.reading.decimal_comma_likely]).encode()
        self.remarks: list[str] = []
        if self.table.guessed:
            self.remarks.append(f"{path} is not UTF-8; read as Windows-1252, check names that have accents")
        if self.table.not_read:
            self.remarks.append(f"columns that are not read: {', '.join(map(shown, self.table.not_read))}")

    def __iter__(self) -> Iterator[Item]:
        """Yield the rows in their order."""
        for row in self.table.rows():
            content = json.dumps([row.cells, row.faults], sort_keys=True).encode()
            key = hashlib.sha256(self._salt + content).digest()
            yield Item(key, row.cells.get("name", ""), row.line, row, faults=row.faults)

    def count(self) -> int:
        """Return how many there are."""
        return sum(1 for _ in self.table.rows())

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
            message = f"{path}: there is no case file (*.toml) in it; 'lasersafe new' makes one from a starter case"
            raise InputError(message)
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


Source = Inventory | CaseFolder


def open_source(path: Path) -> Source:
    """Return what is to be assessed: the rows of a file, or the case files of a folder.

    Raises
    ------
    InputError
        If there is nothing to assess.
    """
    if in_utf8(str(path)) != str(path):
        message = f"{in_utf8(str(path))}: the name of the file is not UTF-8; give it another name"
        raise InputError(message)
    if path.is_dir():
        return CaseFolder(path)
    if path.suffix.lower() in (".toml", ".xlsx", ".xls", ".ods"):
        advice = "'lasersafe assess' takes one case" if path.suffix.lower() == ".toml" else "save the sheet as CSV"
        message = f"{path}: a folder with case files, or an inventory as CSV, is needed here; {advice}"
        raise InputError(message)
    return Inventory(path)
