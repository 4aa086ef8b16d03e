"""The sheets of a folder as a list: read quickly from what each says about itself, checked only by ``verify``."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from lasersafe.errors import refuse
from lasersafe.files import files_in, read_limited
from lasersafe.outputs import written_as
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
from lasersafe.signing.state import plain
from lasersafe.typed import for_spreadsheet

_COLUMNS = ("file", "place", "dates", "lasers", "state", "review_by", "overdue", "problem")
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


def register_json(rows: Sequence[Row]) -> dict[str, Any]:
    """Return the rows for scripts."""
    return {"sheets": [asdict(row) for row in rows], **_counts(rows)}


def _counts(rows: Sequence[Row]) -> dict[str, int]:
    return {
        "count": len(rows),
        "overdue": sum(row.overdue for row in rows),
        "not_readable": sum(row.state in _NOT_READABLE for row in rows),
        "changed_after_printing": sum(row.state == _CHANGED for row in rows),
        "handouts": sum(bool(row.handout) for row in rows),
    }


def register_csv(rows: Sequence[Row]) -> str:
    """Return the rows as CSV; a text that a spreadsheet would take for a formula gets an apostrophe in front."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    names = list(asdict(Row("")))
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(value) for value in asdict(row).values()])
    return text.getvalue()


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return for_spreadsheet(plain(str(value), 1000))


def register_lines(rows: Sequence[Row], width: int = 140) -> list[str]:
    """Return the rows as a table for the terminal."""
    if not rows:
        return ["no PDF file here"]
    cells = [[name.replace("_", " ") for name in _COLUMNS]] + [
        [
            plain(row.file, 60), plain(row.place, 60), plain(row.dates, 60), plain(row.lasers, 60),
            row.state + (" + certificate" if row.certificates else "") + (f": {row.handout}" if row.handout else ""),
            row.review_by,
            "OVERDUE" if row.overdue else "", plain(row.problem, 100),
        ]
        for row in rows
    ]  # fmt: skip
    limits = [30, 30, 24, 24, 36, 10, 8, 100]
    widths = [min(limit, max(len(line[n]) for line in cells)) for n, limit in enumerate(limits)]
    lines = []
    for line in cells:
        fitted = (
            cell if len(cell) <= wide else cell[: wide - 1] + "…" for cell, wide in zip(line, widths, strict=True)
        )
        lines.append("  ".join(cell.ljust(wide) for cell, wide in zip(fitted, widths, strict=True)).rstrip())
    counts = _counts(rows)
    foot = [f"{counts['count']} files", f"{counts['overdue']} overdue", f"{counts['not_readable']} not readable"]
    more = {"changed_after_printing": f"{counts['changed_after_printing']} {_CHANGED}",
            "handouts": f"{counts['handouts']} handed out as pages, no sheets"}  # fmt: skip
    return [*lines, ", ".join(foot + [text for name, text in more.items() if counts[name]])]
