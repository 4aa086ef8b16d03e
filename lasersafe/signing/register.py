"""The sheets of a folder as a list: read quickly from what each says about itself, checked only by ``verify``."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date
from pathlib import Path
from typing import Any

from lasersafe.errors import refuse
from lasersafe.files import files_in, read_limited, written_as
from lasersafe.quantity import for_spreadsheet
from lasersafe.signing.container import (
    LARGEST_SHEET,
    About,
    SheetError,
    SheetFile,
    TookTooLongError,
    at_most,
    parse_sheet,
    read_about,
)
from lasersafe.signing.state import day_of, plain

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
        problem = _appended(sheet, about) if sheet.appended else ""
    except SheetError as error:
        what = _HANDOUTS.get(written_as(content).partition(",")[0], "")
        return Row(name, state="handout", handout=what) if what else Row(name, state=error.kind, problem=str(error))
    except (ValueError, RecursionError, MemoryError) as error:
        return Row(name, state="unreadable", problem=str(error).removeprefix(f"{path}: ") or "cannot be read")
    return Row(
        file=name,
        place=about.place,
        dates=about.dates,
        lasers=", ".join(about.lasers),
        state=_CHANGED if problem else about.state,
        review_by=about.review_by.isoformat() if about.review_by else "",
        overdue=about.last_day < day,
        problem=problem,
        verdict=about.verdict,
        certificates=bool(sheet.appended) and not problem,
        expires=about.expires.isoformat() if about.expires else "",
    )


def _appended(sheet: SheetFile, about: About) -> str:
    """Return what is wrong with what stands after the end of a sheet; intact signatures are nothing wrong."""
    from lasersafe.signing.certificate_check import check_signatures

    try:
        with at_most(_SECONDS):
            found, problem = check_signatures(sheet, about)
    except TookTooLongError:
        return "what was appended after printing takes too long to check"
    wrong = [f"certificate signature of {one.label}: {one.problem}" for one in found if not one.intact]
    return problem or "; ".join(wrong)


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
    if not rows and not as_csv:
        return data, "no PDF file here"
    return data, _csv(rows) if as_csv else "\n".join([*_table(rows), _foot(counts)])


def _csv(rows: Sequence[Row]) -> str:
    """Return the rows as CSV; a text that a spreadsheet would take for a formula gets an apostrophe in front."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(field.name for field in fields(Row))
    for row in rows:
        cells = ({True: "yes", False: "no"}.get(value, value) for value in asdict(row).values())
        writer.writerow(for_spreadsheet(plain(cell, 1000)) for cell in cells)
    return text.getvalue()


def _table(rows: Sequence[Row]) -> list[str]:
    cells = [[name.replace("_", " ") for name in _WIDTHS]] + [
        [
            *(plain(text, 60) for text in (row.file, row.place, row.dates, row.lasers)),
            row.state + (" + certificate" if row.certificates else "") + (f": {row.handout}" if row.handout else ""),
            row.review_by,
            "OVERDUE" if row.overdue else "",
            plain(row.problem, 100),
        ]
        for row in rows
    ]
    columns = zip(*cells, strict=True)
    widths = [min(limit, max(map(len, column))) for limit, column in zip(_WIDTHS.values(), columns, strict=True)]
    fitted = ([c if len(c) <= w else c[: w - 1] + "…" for c, w in zip(line, widths, strict=True)] for line in cells)
    return ["  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() for line in fitted]


def _foot(counts: dict[str, int]) -> str:
    said = {"count": "files", "overdue": "overdue", "not_readable": "not readable"}
    more = {"changed_after_printing": _CHANGED, "handouts": "handed out as pages, no sheets"}
    kept = said | {name: words for name, words in more.items() if counts[name]}
    return ", ".join(f"{counts[name]} {words}" for name, words in kept.items())
