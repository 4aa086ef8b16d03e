"""The sheet as a file: sealed with a checksum over every byte, taken apart within fixed bounds, listed by the folder.

The file is untrusted. It has to be, byte for byte, what this program wrote; after its end only what a PDF signature
appends may follow. A file that another program has saved anew is refused, since nothing could be said about it. The
list of a folder is what each sheet says about itself; only ``verify`` checks that.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
import signal
import threading
import zlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field, fields
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from lasersafe.errors import InputError, refuse
from lasersafe.files import csv_text, files_in, read_limited, written_as
from lasersafe.quantity import for_spreadsheet
from lasersafe.signing.record import day_of, plain

MEMORY = 2_000_000_000  # bytes that the check of a sheet may take


class TookTooLongError(BaseException):
    """The time is over; no ``except Exception`` on the way may keep it."""


@contextlib.contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Stop the block after a time, and let it take at most `MEMORY` more, where the system can do that."""
    if not hasattr(signal, "setitimer") or threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number: int, frame: object) -> None:
        raise TookTooLongError

    with contextlib.ExitStack() as after:
        after.callback(signal.signal, signal.SIGALRM, signal.signal(signal.SIGALRM, stop))
        after.callback(signal.setitimer, signal.ITIMER_REAL, 0.0)
        signal.setitimer(signal.ITIMER_REAL, seconds)
        with contextlib.suppress(ImportError, OSError, ValueError, IndexError):  # Linux alone says what a program takes
            import resource

            pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
            soft, hard = resource.getrlimit(resource.RLIMIT_AS)
            wanted = pages * resource.getpagesize() + MEMORY
            allowed = wanted if soft == resource.RLIM_INFINITY else min(wanted, soft)
            resource.setrlimit(resource.RLIMIT_AS, (allowed, hard))
            after.callback(resource.setrlimit, resource.RLIMIT_AS, (soft, hard))
        yield


FORMAT = "lasersafe sheet 1"
CASE_TEXT, CASE, RESULTS, RECORD, ABOUT = "case.toml", "case.json", "results.json", "signoff.json", "sheet.json"
LARGEST = 1_000_000
Text = Annotated[str, Field(max_length=10_000)]
Number = Annotated[int, Field(ge=0, lt=100_000)]


class SignPlace(NamedTuple):
    """Where a role signs: the page from 0, and the box on it. [pt]."""

    page: Number
    box: tuple[Number, Number, Number, Number]


class SignedLine(BaseModel):
    """Who signed on record, as the sheet prints it."""

    role: Text
    name: Text
    at: Text


class About(BaseModel):
    """The attachment ``sheet.json``: every field has the type that it should have, nothing more is certain."""

    model_config = ConfigDict(strict=True, frozen=True)

    format: Literal["lasersafe sheet 1"]
    version: Text
    language: Text
    paper: Text
    drawn_with: Text
    fingerprint: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    ingredients: dict[Text, Text]
    results: Text
    attachments: dict[Text, Text]
    annex: Text = ""  # SHA-256 of the file beside the sheet
    case_file: Text = ""  # name without folder; empty where the case came from elsewhere
    title: Text
    place: Text
    dates: Text
    lasers: tuple[Text, ...]
    verdict: Text
    passed: bool
    state: Literal["draft", "signed", "printed for signature"]
    required_roles: tuple[Text, ...]
    signed: tuple[SignedLine, ...]
    review_by: Literal[""] | date
    expires: Literal[""] | date
    sign_here: dict[Annotated[str, Field(pattern=r"^[a-z_]{1,40}$")], SignPlace]


def read_about(sheet: SheetFile) -> About:
    """Return what a sheet says about itself.

    Raises
    ------
    SheetError
        If the attachment is missing, damaged or of another form.
    """
    content = sheet.attachment(ABOUT, LARGEST)
    try:
        return About.model_validate_json(content)
    except ValidationError as error:
        message = f"the attachment {ABOUT} is not what lasersafe writes"
        if any(one["loc"] == ("format",) and one["type"] == "literal_error" for one in error.errors()):
            message = "its format is not known to this version of lasersafe"
        raise SheetError(message) from None


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
    """A file that is no intact sheet of this program."""

    kind = "damaged"


class ForeignError(SheetError):
    """A file that another program has written."""

    kind = "foreign"


def seal(content: bytes) -> bytes:
    """Return a PDF file with a checksum over all that stands before its last three lines.

    Raises
    ------
    ValueError
        If it does not end as reportlab ends a file.
    """
    end = content.rfind(b"startxref\n")
    if end < 0 or not _END.match(content[end:]):
        refuse("not the end of a PDF file of reportlab", ValueError)
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
        root = re.search(rb"/Root (\d{1,6}) 0 R", self.base[self.table :])
        names = re.search(rb"/Names (\d{1,6}) 0 R", self._object(int(root[1]))) if root else None
        if names is None:
            refuse("there are no attachments", SheetError)
        listed = {match[1].decode(): int(match[2]) for match in _NAMED.finditer(self._object(int(names[1])))}
        if name not in listed:
            refuse(f"the attachment {name} is missing", SheetError)
        reference = re.search(rb"/EF <<\s*/F (\d{1,6}) 0 R", self._object(listed[name]))
        if reference is None:
            refuse(f"the attachment {name} has no content", SheetError)
        raw = self._object(int(reference[1]))
        packed = _packed(raw)
        if packed is None:
            refuse(f"the attachment {name} cannot be read", SheetError)
        return _inflated(raw[packed], name, largest)

    def _object(self, number: int) -> bytes:
        if not 1 <= number <= len(self.offsets):
            refuse("it points at a part that is not there", SheetError)
        end = self.offsets[number] if number < len(self.offsets) else self.table
        return self.base[self.offsets[number - 1] : end]

    def parts(self) -> Iterator[bytes]:
        """Yield each part, streams inflated, so that two files can be compared whatever packed them."""
        yield self.base[: self.offsets[0]]
        budget = 4 * LARGEST_ATTACHMENT
        for number in range(1, len(self.offsets) + 1):
            raw = self._object(number)
            packed = _packed(raw)
            if packed is None:
                yield raw
                continue
            content = _inflated(raw[packed], "of the page", min(LARGEST_ATTACHMENT, budget))
            budget -= len(content)
            yield b"".join((_LENGTH.sub(b"", raw[: packed.start], 1), content, raw[packed.stop :]))
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
        refuse("the file is empty", SheetError)
    match = _SEAL.search(content)
    if match is None:
        if b"%lasersafe sheet" in content or (b"lasersafe" in content[-4096:] and not _END.search(content)):
            refuse("the file is cut off or its end is damaged", SheetError)
        if not content.startswith(b"%PDF-"):
            refuse("this is no PDF file, or its beginning is damaged", ForeignError)
        if what := _HANDOUTS.get(written_as(content).partition(",")[0]):
            where = ", which its annex is compared with" if what == "annex" else ""
            refuse(
                f"this is no sheet but a page that goes with one: {what}; check the sheet itself{where}", ForeignError
            )
        refuse("this PDF is no sheet of lasersafe, or another program has saved it anew", ForeignError)
    end = match.start() + 1
    if hashlib.sha256(content[:end]).hexdigest().encode() != match[1]:
        refuse("the content does not match its checksum: the file is damaged or was changed", SheetError)
    table, base = int(match[2]), content[: match.end()]
    # where the objects start: by a table in which there is nothing that another reader could take otherwise
    head = re.compile(rb"xref\n0 ([1-9]\d{0,5})\n").match(base, table) if table < end else None
    if head is not None and int(head[1]) <= LARGEST_OBJECTS:
        foot = head.end() + 20 * int(head[1])
        rows = _ROWS.fullmatch(base, head.end(), foot)
        offsets = [int(line[:10]) for line in rows[0].splitlines()[1:]] if rows else []
        named = (base.startswith(b"%d 0 obj" % number, start) for number, start in enumerate(offsets, 1))
        if offsets and offsets == sorted({*offsets}) and offsets[-1] < table:
            if base.startswith(b"trailer\n", foot) and all(named):
                return SheetFile(base, content[match.end() :], tuple(offsets), table)
    refuse("its table of contents is damaged", SheetError)


def _packed(raw: bytes) -> slice | None:
    """Return where the packed stream of an object stands, None where there is none."""
    match = _STREAM.search(raw)
    head = raw[: match.start()] if match else b""
    length = _LENGTH.search(head)
    if match is None or length is None or b"/FlateDecode" not in head:
        return None
    return slice(match.end(), match.end() + int(length[1]))


def _inflated(packed: bytes, name: str, largest: int) -> bytes:
    unpack = zlib.decompressobj()
    try:
        content = unpack.decompress(packed, largest + 1)
    except zlib.error:
        refuse(f"the attachment {name} cannot be unpacked", SheetError)
    if len(content) > largest:
        refuse(f"the attachment {name} unpacks to more than {largest // 1_000_000} MB; it is not unpacked", SheetError)
    if not unpack.eof or unpack.unused_data:
        refuse(f"the attachment {name} is cut off, or something follows it", SheetError)
    return content


_WIDTHS = {  # column of the terminal -> its most letters
    "file": 30, "place": 30, "dates": 24, "lasers": 24, "state": 36, "review_by": 10, "overdue": 8, "problem": 100,
}  # fmt: skip
_HANDOUTS = {"card": "card", "prestart": "pre-use check", "sign": "door sign", "annex": "annex"}  # printed -> called
_NOT_READABLE = ("damaged", "foreign", "unreadable")
_CHANGED = "changed after printing"
_SECONDS = 20.0  # that the check of what was appended to one sheet may take


@dataclass(frozen=True)
class Row:
    """One file of the folder; of what is no intact sheet only ``file``, ``state``, ``problem``, ``handout`` count."""

    file: str
    place: str = ""
    dates: str = ""
    lasers: str = ""
    state: str = ""
    review_by: str = ""
    overdue: bool = False
    problem: str = ""
    verdict: str = ""
    certificates: bool = False  # intact certificate signatures; whose they are and whether to trust them, verify says
    expires: str = ""
    handout: str = ""  # card | pre-use check | door sign: no sheet, but printed by this program


def register(folder: Path, on: date | None = None, recursive: bool = False) -> Iterator[Row]:
    """Yield a row for each PDF file of a folder, in the order of the names.

    Raises
    ------
    InputError
        If the folder cannot be read.
    """
    if not folder.is_dir():
        refuse(f"{folder}: this is no folder; name the folder that holds the sheets")
    day = on or date.today()
    for name, problem in files_in(folder, ".pdf", below=recursive, dotted=True):
        yield Row(name, state="unreadable", problem=problem) if problem else _row(folder / name, name, day)


def _row(path: Path, name: str, day: date) -> Row:
    content = b""
    try:
        content = read_limited(path, LARGEST_SHEET, "sheet")
        sheet = parse_sheet(content)
        about = read_about(sheet)
        problem = ""
        if sheet.appended:
            from lasersafe.signing.signatures import check_signatures

            with at_most(_SECONDS):
                found, problem = check_signatures(sheet, about)
            wrong = [f"certificate signature of {one.label}: {one.problem}" for one in found if not one.intact]
            problem = problem or "; ".join(wrong)
    except TookTooLongError:
        problem = "what was appended after printing takes too long to check"
    except SheetError as error:
        what = _HANDOUTS.get(written_as(content).partition(",")[0], "")
        return Row(name, state="handout", handout=what) if what else Row(name, state=error.kind, problem=str(error))
    except (ValueError, RecursionError, MemoryError) as error:
        return Row(name, state="unreadable", problem=str(error).removeprefix(f"{path}: ") or "cannot be read")
    days = {key: one.isoformat() if (one := getattr(about, key)) else "" for key in ("review_by", "expires")}
    last = min((one for one in (about.review_by, about.expires) if one), default=date.min)
    return Row(
        name, about.place, about.dates, ", ".join(about.lasers), _CHANGED if problem else about.state,
        overdue=last < day, problem=problem, verdict=about.verdict,
        certificates=bool(sheet.appended) and not problem, **days,
    )  # fmt: skip


def register_answer(folder: Path, recursive: bool, on: str | None, as_csv: bool = False) -> tuple[dict[str, Any], str]:
    """Return the sheets of a folder as JSON, and as text: a table for the terminal, or CSV.

    Raises
    ------
    InputError
        If the folder or the day cannot be used.
    """
    rows = list(register(folder, day_of(on, "on"), recursive))
    counts = {
        "count": len(rows),
        "overdue": sum(row.overdue for row in rows),
        "not_readable": sum(row.state in _NOT_READABLE for row in rows),
        "changed_after_printing": sum(row.state == _CHANGED for row in rows),
        "handouts": sum(bool(row.handout) for row in rows),
    }
    data = {"sheets": [asdict(row) for row in rows], **counts}
    if as_csv:  # a text that a spreadsheet would take for a formula gets an apostrophe in front
        values = ([{True: "yes", False: "no"}.get(one, one) for one in asdict(row).values()] for row in rows)
        cells = ([for_spreadsheet(plain(one, 1000)) for one in row] for row in values)
        return data, csv_text([[one.name for one in fields(Row)], *cells])
    said = ("files", "overdue", "not readable", _CHANGED, "pages to hand out or annexes")
    shown = [[name.replace("_", " ") for name in _WIDTHS]] + [
        [
            *(plain(text, 60) for text in (row.file, row.place, row.dates, row.lasers)),
            row.state + (" + certificate" if row.certificates else "") + (f": {row.handout}" if row.handout else ""),
            row.review_by,
            "OVERDUE" if row.overdue else "",
            plain(row.problem, 100),
        ]
        for row in rows
    ]
    columns = zip(*shown, strict=True)
    widths = [min(limit, max(map(len, column))) for limit, column in zip(_WIDTHS.values(), columns, strict=True)]
    fitted = ([c if len(c) <= w else c[: w - 1] + "…" for c, w in zip(line, widths, strict=True)] for line in shown)
    table = ["  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() for line in fitted]
    kept = (f"{n} {words}" for at, (n, words) in enumerate(zip(counts.values(), said, strict=True)) if at < 3 or n)
    return data, "\n".join([*table, ", ".join(kept)]) if rows else "no PDF file here"
