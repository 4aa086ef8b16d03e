"""The results that are there already: of a finished file, and of a run that was stopped.

While a batch runs, the rows that are done stand in ``<result>.part``, a database of SQLite: a program that is killed at
any moment loses at most the rows that were being worked out. The result itself is written at the end, whole, in the
order of the input; then the database is removed.
"""

from __future__ import annotations

import csv
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, suppress
from pathlib import Path

from lasersafe.batch.record import (
    Record,
    csv_line,
    digest_of,
    from_cells,
    from_json,
    heading_cells,
    sealed,
    to_cells,
    to_json,
)
from lasersafe.errors import OutputError
from lasersafe.files import existing
from lasersafe.typed import shown

KINDS = (".csv", ".jsonl")
OURS = 0x6C626174  # in the head of the database of a batch
TABLE = "CREATE TABLE IF NOT EXISTS row (key BLOB PRIMARY KEY, text TEXT NOT NULL)"


def part_of(path: Path) -> Path:
    """Return the name of the database that holds the rows done so far."""
    return path.with_name(f"{path.name}.part")


class Store(AbstractContextManager["Store"]):
    """Rows by the fingerprint of their input; they stay on the disk, so that any number of them fits.

    Parameters
    ----------
    outputs : list of Path
        The result files, ``.csv`` or ``.jsonl``; the database stands beside the first. None: nothing is kept.
    source : str
        Name of what the rows come from.
    afresh : bool
        Count nothing of what is there.
    cases : iterable of str
        What the cases of the source are called; results in which most are called otherwise are those of another one.

    Attributes
    ----------
    changed : int
        Rows that do not fit their digest: somebody changed them, and they do not count.

    Raises
    ------
    OutputError
        If a file is there that is no result of a batch, or one of another source.
    """

    def __init__(self, outputs: list[Path], source: str, afresh: bool = False, cases: Iterable[str] = ()) -> None:
        self.source, self.cases = source, frozenset(cases)
        self.changed = 0
        part = part_of(outputs[0]) if outputs else Path()
        start = existing(part, 72) if outputs else None
        if start and (start[:16] != b"SQLite format 3\0" or start[68:] != OURS.to_bytes(4, "big")):
            message = f"{part} is there and is no unfinished result of 'lasersafe batch'; move it away"
            raise OutputError(message)
        self._rows = sqlite3.connect(part if outputs else "")
        self._rows.text_factory = lambda content: content.decode("utf-8", "replace")
        try:
            with self._rows:
                self._take_over([] if afresh else outputs, part)
        except BaseException:
            self._rows.close()
            raise

    def _take_over(self, outputs: list[Path], part: Path) -> None:
        """Count the rows of an unfinished run, then those of finished results; none, where no output is named."""
        self._rows.execute("PRAGMA synchronous = OFF")  # a kill loses nothing, and a digest tells what a power cut did
        self._rows.execute("BEGIN")
        self._rows.execute(f"PRAGMA application_id = {OURS}")
        self._rows.execute(TABLE)
        if not outputs:
            self._rows.execute("DELETE FROM row")
        known = self._rows.execute("SELECT key, text FROM row")
        spoilt = [(key,) for key, text in known if self._key(from_json(text), part) != key]
        self._rows.executemany("DELETE FROM row WHERE key = ?", spoilt)
        for path in outputs:
            strangers = count = 0
            for record in _rows_of(path) if path.exists() else ():
                count += 1
                strangers += record is not None and record["case"] not in self.cases
                if (key := self._key(record, path)) and record is not None:
                    self._rows.execute("INSERT OR IGNORE INTO row VALUES (?, ?)", (key, to_json(record)))
            if 2 * strangers > count:
                message = (
                    f"{path} holds results of another {shown(self.source)}: most of its cases are not in this one; "
                    "choose another name, or say --replace"
                )
                raise OutputError(message)

    def __exit__(self, *_: object) -> None:
        """Close the database."""
        self._rows.close()

    def __contains__(self, key: bytes) -> bool:
        """Return whether a row is there."""
        return self._rows.execute("SELECT 1 FROM row WHERE key = ?", (key,)).fetchone() is not None

    def __getitem__(self, key: bytes) -> Record:
        """Return a row."""
        record = from_json(self._rows.execute("SELECT text FROM row WHERE key = ?", (key,)).fetchone()[0])
        assert record is not None
        return record

    def add(self, keys: list[bytes], records: list[Record]) -> None:
        """Add rows that are done: a kill after this returns does not lose them."""
        named = [record | {"input_fingerprint": key.hex(), "source": self.source}
                 for key, record in zip(keys, records, strict=True)]  # fmt: skip
        with self._rows:
            texts = (to_json(sealed(record)) for record in named)
            self._rows.executemany("INSERT OR REPLACE INTO row VALUES (?, ?)", zip(keys, texts, strict=True))

    def _key(self, record: Record | None, path: Path) -> bytes | None:
        """Return by what a row counts; None for one that is not whole or does not fit its digest."""
        key = None
        with suppress(ValueError, TypeError):
            if record is not None and digest_of(record) == record["digest"]:
                key = bytes.fromhex(record["input_fingerprint"])
        if key is None:
            self.changed += 1
        elif record is not None and record["source"] != self.source:
            message = (
                f"{path} holds results of {shown(record['source'])}, not of {shown(self.source)}; choose another "
                "name, or say --replace"
            )
            raise OutputError(message)
        return key


def _rows_of(path: Path) -> Iterator[Record | None]:
    """Yield the rows of a finished result, None for one that is not whole.

    Raises
    ------
    OutputError
        If it is none.
    """
    with path.open(encoding="utf-8-sig", errors="replace", newline="\n") as file:
        if path.suffix.lower() == ".jsonl":
            read = from_json
            ours = not file.read(1) or (file.seek(0) == 0 and any(from_json(line) for line in file))
            file.seek(0)
        else:
            heads = {csv_line(heading_cells(), comma).rstrip(): comma for comma in (False, True)}
            comma = heads.get(file.readline().rstrip("\r\n"))
            ours = comma is not None

            def read(line: str) -> Record | None:
                return from_cells(next(csv.reader([line], delimiter=";" if comma else ","), []), bool(comma))

        if not ours:
            message = (
                f"{path} is there already and is no result of this version of 'lasersafe batch'; choose another name, "
                "or say --replace"
            )
            raise OutputError(message)
        for line in file:
            yield read(line) if line.endswith("\n") else None


def lines_of(records: Iterator[Record], kind: str, decimal_comma: bool) -> Iterator[bytes]:
    """Yield the content of a result file: ``.csv`` with its heading, or ``.jsonl``."""
    if kind == ".jsonl":
        for record in records:
            yield to_json(record).encode() + b"\n"
        return
    mark = "\ufeff" if decimal_comma else ""  # by which a spreadsheet program knows UTF-8
    yield (mark + csv_line(heading_cells(), decimal_comma)).encode()
    for record in records:
        yield csv_line(to_cells(record, decimal_comma), decimal_comma).encode()
