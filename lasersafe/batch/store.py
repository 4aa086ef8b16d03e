"""The results that are there already: of a finished file, and of a run that was stopped.

While a batch runs, each row that is done is added to ``<result>.part`` as one line. A line counts when it is whole, so
that a program that is killed at any moment loses at most the rows that were being worked out. The result itself is
written at the end, whole, in the order of the input; then the part file is removed.
"""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

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
from lasersafe.typed import shown

Parse = Callable[[str], Record | None]
KINDS = (".csv", ".jsonl")


def part_of(path: Path) -> Path:
    """Return the name of the file that holds the rows done so far."""
    return path.with_name(f"{path.name}.part")


class Store:
    """Rows by the fingerprint of their input; they stay on the disk, so that any number of them fits.

    Parameters
    ----------
    outputs : list of Path
        The result files, ``.csv`` or ``.jsonl``; none: nothing is kept.
    journal : BinaryIO
        Where rows that are done now are added; open for reading and appending.
    source : str
        Name of what the rows come from.
    afresh : bool
        Count nothing of what is there.

    Attributes
    ----------
    changed : int
        Rows that do not fit their digest: somebody changed them, and they do not count.

    Raises
    ------
    OutputError
        If a file is there that is no result of a batch, or one of another source.
    """

    def __init__(self, outputs: list[Path], journal: BinaryIO, source: str, afresh: bool = False) -> None:
        self.source = source
        self.changed = 0
        self._where: dict[bytes, tuple[int, int]] = {}
        self._open: list[tuple[BinaryIO, Parse]] = []
        self._journal = journal
        if afresh:
            journal.truncate(0)
        else:
            for path in outputs:
                if path.exists():
                    self._take(path)
            journal.truncate(self._whole(journal))
        self._add(journal, _parse_json, part_of(outputs[0]) if outputs else Path())

    def __enter__(self) -> Self:
        """Return the store."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Close the files."""
        for file, _ in self._open:
            file.close()

    def __contains__(self, key: bytes) -> bool:
        """Return whether a row is there."""
        return key in self._where

    def __getitem__(self, key: bytes) -> Record:
        """Return a row."""
        number, offset = self._where[key]
        file, parse = self._open[number]
        file.seek(offset)
        record = parse(file.readline().decode())
        assert record is not None
        return record

    def add(self, keys: list[bytes], records: list[Record]) -> None:
        """Add rows that are done: a kill after this returns does not lose them."""
        offset = self._journal.seek(0, os.SEEK_END)
        content = b""
        for key, record in zip(keys, records, strict=True):
            self._where[key] = (len(self._open) - 1, offset + len(content))
            whole = sealed(record | {"input_fingerprint": key.hex(), "source": self.source})
            content += to_json(whole).encode() + b"\n"
        self._journal.write(content)
        self._journal.flush()

    def _take(self, path: Path) -> None:
        """Count the rows of a finished result."""
        file = path.open("rb")
        if path.suffix.lower() == ".jsonl":
            if file.read(1) and not any(from_json(_text(line)) for _, line in _lines(file)):
                file.close()
                raise _strange(path)
            self._add(file, _parse_json, path)
            return
        head = _text(file.readline()).removeprefix("\ufeff").rstrip("\r\n")
        for decimal_comma in (False, True):
            if head == csv_line(heading_cells(), decimal_comma).rstrip("\n"):
                self._add(file, _csv_parser(decimal_comma), path)
                return
        file.close()
        raise _strange(path)

    def _add(self, file: BinaryIO, parse: Parse, path: Path) -> None:
        self._open.append((file, parse))
        for offset, line in _lines(file):
            if offset == 0 and path.suffix.lower() == ".csv":
                continue  # the heading
            record = parse(_text(line)) if line.endswith(b"\n") else None
            key = _key(record)
            if record is None or key is None or digest_of(record) != record["digest"]:
                self.changed += 1
            elif record["source"] != self.source:
                message = (
                    f"{path} holds results of {shown(record['source'])}, not of {shown(self.source)}; choose another "
                    "name, or say --replace"
                )
                self.__exit__(None, None, None)
                raise OutputError(message)
            else:
                self._where[key] = (len(self._open) - 1, offset)

    @staticmethod
    def _whole(file: BinaryIO) -> int:
        """Return where the last whole line ends."""
        end = 0
        for offset, line in _lines(file):
            if line.endswith(b"\n"):
                end = offset + len(line)
        return end


def _lines(file: BinaryIO) -> Iterator[tuple[int, bytes]]:
    offset = file.seek(0)
    for line in file:
        yield offset, line
        offset += len(line)


def _text(line: bytes) -> str:
    return line.decode("utf-8", errors="replace")


def _parse_json(text: str) -> Record | None:
    return from_json(text)


def _csv_parser(decimal_comma: bool) -> Parse:
    def parse(text: str) -> Record | None:
        cells = next(csv.reader([text], delimiter=";" if decimal_comma else ","), [])
        return from_cells(cells, decimal_comma)

    return parse


def _key(record: Record | None) -> bytes | None:
    text = None if record is None else record["input_fingerprint"]
    if not isinstance(text, str) or len(text) != 64:
        return None
    try:
        return bytes.fromhex(text)
    except ValueError:
        return None


def _strange(path: Path) -> OutputError:
    return OutputError(
        f"{path} is there already and is no result of this version of 'lasersafe batch'; choose another name, or say "
        "--replace"
    )


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
