"""The sheet as a file: sealed with a checksum over every byte, and taken apart again within fixed bounds.

The file is untrusted. It has to be, byte for byte, what this program wrote; after its end only what a PDF signature
appends may follow. A file that another program has saved anew is refused, since nothing could be said about it.
"""

from __future__ import annotations

import hashlib
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from lasersafe.errors import InputError
from lasersafe.files import read_limited

LARGEST_SHEET = 64_000_000
LARGEST_ATTACHMENT = 64_000_000  # after inflating
LARGEST_OBJECTS = 50_000
_SEAL = re.compile(rb"\n%lasersafe sheet 1 sha256=([0-9a-f]{64})\nstartxref\n([1-9][0-9]{0,9})\n%%EOF\n")
_END = re.compile(rb"startxref\n([1-9][0-9]{0,9})\n%%EOF\n\Z")
_ROWS = re.compile(rb"0000000000 65535 f \n(?:\d{10} 00000 n \n)*")  # of the table of the objects
_STREAM = re.compile(rb">>\r?\nstream\n")
_LENGTH = re.compile(rb"/Length (\d{1,9})\b")
_NAMED = re.compile(rb"\(([a-z.-]{1,40})\) (\d{1,6}) 0 R")


class SheetError(InputError):
    """A file that is no intact sheet of this program; ``kind`` is ``damaged`` or ``foreign``."""

    def __init__(self, message: str, kind: str = "damaged") -> None:
        super().__init__(message)
        self.kind = kind


def seal(content: bytes) -> bytes:
    """Return a PDF file with a checksum over all that stands before its last three lines.

    Raises
    ------
    ValueError
        If it does not end as reportlab ends a file.
    """
    end = content.rfind(b"startxref\n")
    if end < 0 or not _END.match(content[end:]):
        message = "not the end of a PDF file of reportlab"
        raise ValueError(message)
    digest = hashlib.sha256(content[:end]).hexdigest()
    return content[:end] + f"%lasersafe sheet 1 sha256={digest}\n".encode() + content[end:]


@dataclass(frozen=True)
class SheetFile:
    """A sheet whose checksum is right. ``base`` is what the program wrote, ``appended`` what came after."""

    base: bytes
    appended: bytes
    offsets: tuple[int, ...] = field(repr=False)  # of the objects, by number - 1
    table: int = 0  # where the table of the objects starts

    def attachment(self, name: str, largest: int = LARGEST_ATTACHMENT) -> bytes:
        """Return an attachment.

        Raises
        ------
        SheetError
            If it is not there, larger than ``largest``, or damaged.
        """
        found = self._attached().get(name)
        if found is None:
            message = f"the attachment {name} is missing"
            raise SheetError(message)
        reference = re.search(rb"/EF <<\s*/F (\d{1,6}) 0 R", self._object(found))
        if reference is None:
            message = f"the attachment {name} has no content"
            raise SheetError(message)
        return _inflated(self._object(int(reference[1])), name, largest)

    def _attached(self) -> dict[str, int]:
        root = re.search(rb"/Root (\d{1,6}) 0 R", self.base[self.table :])
        names = re.search(rb"/Names (\d{1,6}) 0 R", self._object(int(root[1]))) if root else None
        if names is None:
            message = "there are no attachments"
            raise SheetError(message)
        listed = self._object(int(names[1]))
        return {match[1].decode(): int(match[2]) for match in _NAMED.finditer(listed)}

    def _object(self, number: int) -> bytes:
        if not 1 <= number <= len(self.offsets):
            message = "it points at a part that is not there"
            raise SheetError(message)
        start = self.offsets[number - 1]
        end = self.offsets[number] if number < len(self.offsets) else self.table
        return self.base[start:end]

    def parts(self) -> Iterator[bytes]:
        """Yield each part, streams inflated, so that two files can be compared whatever packed them."""
        yield self.base[: self.offsets[0]]
        budget = 4 * LARGEST_ATTACHMENT
        for number in range(1, len(self.offsets) + 1):
            raw = self._object(number)
            match = _STREAM.search(raw)
            length = _LENGTH.search(raw[: match.start()]) if match else None
            if match is None or length is None or b"/FlateDecode" not in raw[: match.start()]:
                yield raw
                continue
            content = _inflated(raw, "of the page", min(LARGEST_ATTACHMENT, budget))
            budget -= len(content)
            head = raw[: length.start()] + raw[length.end() : match.end()]
            yield b"".join((head, content, raw[match.end() + int(length[1]) :]))
        start = self.base.find(b"trailer", self.table)
        yield re.sub(rb"<[0-9a-f]{32}>", b"", _SEAL.sub(b"", self.base[start:]))


def open_sheet(path: Path) -> SheetFile:
    """Return the sheet in a file.

    Raises
    ------
    InputError
        If the file cannot be read.
    SheetError
        If it is no intact sheet.
    """
    return parse_sheet(read_limited(path, LARGEST_SHEET, "sheet"))


def parse_sheet(content: bytes) -> SheetFile:
    """Return the sheet that the bytes of a file hold.

    Raises
    ------
    SheetError
        If it is no intact sheet.
    """
    if not content:
        message = "the file is empty"
        raise SheetError(message)
    match = _SEAL.search(content)
    if match is None:
        if b"%lasersafe sheet" in content or (b"lasersafe" in content[-4096:] and not _END.search(content)):
            message = "the file is cut off or its end is damaged"
            raise SheetError(message)
        if not content.startswith(b"%PDF-"):
            message = "this is no PDF file, or its beginning is damaged"
            raise SheetError(message, "foreign")
        message = "this PDF is no sheet of lasersafe, or another program has saved it anew"
        raise SheetError(message, "foreign")
    end = match.start() + 1
    if hashlib.sha256(content[:end]).hexdigest().encode() != match[1]:
        message = "the content does not match its checksum: the file is damaged or was changed"
        raise SheetError(message)
    table = int(match[2])
    base = content[: match.end()]
    return SheetFile(base, content[match.end() :], _offsets(base, table, end), table)


def _offsets(base: bytes, table: int, end: int) -> tuple[int, ...]:
    message = "its table of contents is damaged"
    head = re.compile(rb"xref\n0 ([1-9]\d{0,5})\n").match(base, table) if table < end else None
    if head is None or int(head[1]) > LARGEST_OBJECTS:
        raise SheetError(message)
    count = int(head[1])
    foot = head.end() + 20 * count
    rows = _ROWS.fullmatch(base, head.end(), foot)
    if rows is None or not base.startswith(b"trailer\n", foot):  # nothing that another reader could take for a table
        raise SheetError(message)
    offsets = tuple(int(line[:10]) for line in rows[0].splitlines()[1:])
    if not offsets or list(offsets) != sorted(set(offsets)) or offsets[-1] >= table:
        raise SheetError(message)
    for number, start in enumerate(offsets, 1):
        if not base.startswith(b"%d 0 obj" % number, start):
            raise SheetError(message)
    return offsets


def _inflated(raw: bytes, name: str, largest: int) -> bytes:
    match = _STREAM.search(raw)
    length = _LENGTH.search(raw[: match.start()]) if match else None
    if match is None or length is None or b"/FlateDecode" not in raw[: match.start()]:
        message = f"the attachment {name} cannot be read"
        raise SheetError(message)
    packed = raw[match.end() : match.end() + int(length[1])]
    unpack = zlib.decompressobj()
    try:
        content = unpack.decompress(packed, largest + 1)
    except zlib.error:
        message = f"the attachment {name} cannot be unpacked"
        raise SheetError(message) from None
    if len(content) > largest:
        message = f"the attachment {name} unpacks to more than {largest // 1_000_000} MB; it is not unpacked"
        raise SheetError(message)
    if not unpack.eof or unpack.unused_data:
        message = f"the attachment {name} is cut off, or something follows it"
        raise SheetError(message)
    return content
