"""A sheet with everything inside that is needed to check it: the case, the results, the record, and what they are."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lasersafe.assessment import assess
from lasersafe.assessment.fingerprint import ingredients
from lasersafe.errors import OutputError, refuse
from lasersafe.files import existing, keep_dated_copy, locked, write_file
from lasersafe.models import canonical
from lasersafe.outputs import Output, case_mark, mark_of, marked, precious, refuse_to_lose
from lasersafe.records.fields import as_json
from lasersafe.results import Assessment, SignOff
from lasersafe.signing.container import (
    ABOUT,
    CASE,
    CASE_TEXT,
    FORMAT,
    RECORD,
    RESULTS,
    About,
    SheetError,
    open_sheet,
    read_about,
    seal,
)
from lasersafe.signing.record import Record
from lasersafe.signing.state import results_digest, sign_off_of

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.sheet.front import SignPlace
    from lasersafe.sheet.paint import Attachment


@dataclass(frozen=True)
class Made:
    """A sheet and what is printed on it."""

    content: bytes
    assessment: Assessment
    sign_off: SignOff
    mark: str  # of the case, by which an older sheet of it is known
    annex: Output | None = None  # to be written beside the sheet; its name is set then


def packed(data: Any) -> bytes:
    """Return plain data as JSON, the same bytes each time."""
    return json.dumps(data, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def results_of(assessment: Assessment) -> dict[str, Any]:
    """Return the results as they are read again from where they are embedded, and compared."""
    found: dict[str, Any] = json.loads(packed(as_json(assessment)))
    return found


def make_sheet(
    text: str,
    case: Case,
    record: Record,
    paper: str | None = None,
    assessed: Assessment | None = None,
    like: About | None = None,
    results: bytes | None = None,
    file: str = "",
) -> Made:
    """Return the sheet of a case; equal input gives equal bytes.

    Parameters
    ----------
    text : str
        The case file.
    case : Case
        What is in it.
    record : Record
        The sign-offs so far.
    paper : str, optional
        ``A4`` or ``Letter``; what the case says when left out.
    assessed : Assessment, optional
        The assessment, when it was made already.
    like : About, optional
        What a sheet says about itself that is printed again; its makers and the name of its case file are taken over.
    results : bytes, optional
        The results that it carries, which have been found to be those of the assessment but for the last digits.
    file : str
        Name of the case file, without folder.

    Returns
    -------
    Made
        The bytes of the PDF file, and what it says.
    """
    from lasersafe.sheet import render_sheet

    assessment = assessed or assess(case)
    found = as_json(assessment) if results is None or like is None else {}
    carried = packed(found) if results is None else results
    digest = like.results if results is not None and like is not None else results_digest(found)
    signed = sign_off_of(case, assessment, record, digest)
    about = _about(case, assessment, signed, paper or case.paper, like)
    name = like.case_file if like else file.encode("utf-8", "replace").decode()
    if name:
        about["case_file"] = name
    annex = annex_of(assessment, paper or case.paper, name) if like is None else None
    digest_of_annex = like.annex if like else hashlib.sha256(marked(annex)).hexdigest() if annex else ""
    files = {CASE_TEXT: text.encode(), CASE: packed(canonical(case)), RECORD: record.text()}
    content = render_sheet(
        assessment,
        paper=paper or case.paper,
        language=assessment.language,
        sign_off=signed,
        annex=digest_of_annex,
        embed=partial(_files, files, carried, about | {"results": digest, "annex": digest_of_annex}),
    )
    return Made(seal(content), assessment, signed, case_mark(name, case.title), annex)


def annex_of(assessment: Assessment, paper: str, file: str) -> Output:
    """Return the annex of the sheet of a case whose file has a name; its own name is set when it is written."""
    from lasersafe.sheet import render_sheet

    pages = render_sheet(assessment, paper=paper, language=assessment.language, kind="annex")
    return Output(Path("annex.pdf"), pages, mark_of("annex", file, assessment.title))


def annex_path(path: Path) -> Path:
    """Return the name of the annex of a sheet: ``stage-annex.pdf`` for ``stage.pdf``."""
    return path.with_name(f"{path.stem}-annex.pdf")


def _about(case: Case, assessment: Assessment, signed: SignOff, paper: str, like: About | None) -> dict[str, Any]:
    """Return what the sheet says about itself, but for its files and the places to sign."""
    tongue = assessment.language
    return {
        "format": FORMAT,
        "version": assessment.version,
        "language": tongue,
        "paper": paper,
        "drawn_with": like.drawn_with if like else ", ".join(drawn_with()),
        "fingerprint": assessment.fingerprint,
        "ingredients": like.ingredients if like else ingredients(case, tongue),
        "title": case.title,
        "place": case.place,
        "dates": case.dates,
        "lasers": [laser.name for laser in case.laser],
        "verdict": assessment.decision.verdict,
        "passed": assessment.decision.passed,
        "state": signed.state,
        "required_roles": list(signed.required),
        "signed": [{"role": one.role, "name": one.name, "at": one.at} for one in signed.signed],
        "review_by": signed.review_by,
        "expires": min((one.expires for one in signed.signed if one.expires), default=""),
    }


def _files(
    files: Mapping[str, bytes], results: bytes, about: Mapping[str, Any], places: Mapping[str, SignPlace]
) -> dict[str, Attachment]:
    from lasersafe.sheet.paint import attachment

    full = {
        **about,
        "attachments": {
            name: hashlib.sha256(content).hexdigest() for name, content in {**files, RESULTS: results}.items()
        },
        "sign_here": {role: {"page": place.page, "box": list(place.box)} for role, place in places.items()},
    }
    return {name: attachment(one) for name, one in {**files, ABOUT: packed(full), RESULTS: results}.items()}


def drawn_with() -> tuple[str, str]:
    """Return what lays the pages out besides this program, and what packs them."""
    import importlib.metadata
    import zlib

    laid, joined = (importlib.metadata.version(name) for name in ("reportlab", "shapely"))
    return f"reportlab {laid} and shapely {joined}", f"zlib {zlib.ZLIB_RUNTIME_VERSION}"


def save_sheet(path: Path, made: Made, replace: bool) -> Path | None:
    """Write a sheet; only a draft of the same case is replaced unasked, and what else is there is kept under a date.

    A signed sheet of another case, a record, a case file or a key is never replaced.

    Returns
    -------
    pathlib.Path or None
        The dated copy of what was replaced.

    Raises
    ------
    OutputError
        If the old file may not be replaced, or the new one cannot be written.
    """
    copy, beside = None, annex_path(path)
    with locked(path):
        keep = refuse_to_lose_sheet(path, made.mark, replace)
        if made.annex is not None:
            before = refuse_to_lose(beside, made.annex.mark, replace=replace)
            if keep and before is not None:
                keep_dated_copy(beside)
            write_file(beside, marked(made.annex), replace=before is not None)
        if keep:
            copy = keep_dated_copy(path)
        write_file(path, made.content)
    return copy


def refuse_to_lose_sheet(path: Path, mark: str, replace: bool) -> bool:
    """Refuse to replace what must not be lost; return whether a dated copy of what is there has to be kept.

    Parameters
    ----------
    path : pathlib.Path
        The sheet to be written.
    mark : str
        Its case, as ``outputs.case_mark`` gives it.
    replace : bool
        Whether the user asks for it.

    Raises
    ------
    OutputError
        If the old file may not be replaced.
    """
    kept, never = _worth_keeping(path, mark)
    if never:
        refuse(f"{path} is {kept}, which no command replaces; choose another name, or move it away", OutputError)
    if kept and not replace:
        refuse(
            f"{path} is there already and is {kept}; choose another name, or say --replace to keep a dated copy",
            OutputError,
        )
    return bool(kept)


def _worth_keeping(path: Path, mark: str) -> tuple[str, bool]:
    """Return what an existing file is when it must not be lost, and whether it is never replaced, not even on demand.

    The text is empty for an intact draft of the same case, and where there is no file.
    """
    old = existing(path)
    if old is None:
        return "", False
    try:
        sheet = open_sheet(path)
        about = read_about(sheet)
    except SheetError as error:
        words = precious(path, old)
        if words and words != "an assessment sheet":
            return words, True
        return "damaged" if error.kind == "damaged" else "no sheet of lasersafe", False
    except ValueError:
        return "a file that cannot be read", False
    state = "signed with a certificate" if sheet.appended else "" if about.state == "draft" else about.state
    if case_mark(about.case_file, about.title) != mark:
        return f"{'a draft' if not state else state} and belongs to another case", bool(state)
    return state, False
