"""A sheet with everything inside that is needed to check it: the case, the results, the record, and what they are."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lasersafe.assessment import assess
from lasersafe.assessment.fingerprint import ingredients
from lasersafe.errors import OutputError
from lasersafe.files import keep_dated_copy, locked, write_file
from lasersafe.frozen import dataclass
from lasersafe.models import canonical
from lasersafe.results import Assessment, SignOff
from lasersafe.signing.container import SheetError, open_sheet, seal
from lasersafe.signing.record import Record
from lasersafe.signing.state import results_digest, sign_off_of

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.sheet.signatures import SignPlace
    from lasersafe.signing.about import About

FORMAT = "lasersafe sheet 1"
CASE_TEXT, CASE, RESULTS, RECORD, ABOUT = "case.toml", "case.json", "results.json", "signoff.json", "sheet.json"


@dataclass(frozen=True)
class Made:
    """A sheet and what is printed on it."""

    content: bytes
    assessment: Assessment
    sign_off: SignOff


def packed(data: Any) -> bytes:
    """Return plain data as JSON, the same bytes each time."""
    return json.dumps(data, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def results_of(assessment: Assessment) -> dict[str, Any]:
    """Return the results as they are embedded and compared."""
    return _results(assessment)[1]


def _results(assessment: Assessment) -> tuple[bytes, dict[str, Any]]:
    """Return the results as they are embedded, and as they are read again from there."""
    from lasersafe.report import assessment_json

    text = packed(assessment_json(assessment))
    return text, json.loads(text)


def make_sheet(
    text: str,
    case: Case,
    record: Record,
    paper: str | None = None,
    language: str | None = None,
    assessed: Assessment | None = None,
    like: About | None = None,
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
    language : str, optional
        Folder of the wording; that of the assessment when left out.
    assessed : Assessment, optional
        The assessment, when it was made already.
    like : About, optional
        What a sheet says about itself that is printed again; its makers are taken over.

    Returns
    -------
    Made
        The bytes of the PDF file, and what it says.
    """
    from lasersafe.sheet import render_sheet

    assessment = assessed or (assess(case) if language is None else assess(case, language))
    tongue = assessment.language
    results_text, results = _results(assessment)
    digest = results_digest(results)
    signed = sign_off_of(case, assessment, record, digest)
    size = paper or case.paper
    files = {
        CASE_TEXT: text.encode(),
        CASE: packed(canonical(case)),
        RESULTS: results_text,
        RECORD: record.text(),
    }
    about = {
        "format": FORMAT,
        "version": assessment.version,
        "language": tongue,
        "paper": size,
        "drawn_with": like.drawn_with if like else ", ".join(drawn_with()),
        "fingerprint": assessment.fingerprint,
        "ingredients": like.ingredients if like else ingredients(case, tongue),
        "results": digest,
        "attachments": {name: hashlib.sha256(content).hexdigest() for name, content in files.items()},
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

    def embed(places: Mapping[str, SignPlace]) -> Mapping[str, bytes]:
        boxes = {role: {"page": place.page, "box": list(place.box)} for role, place in places.items()}
        return {**files, ABOUT: packed({**about, "sign_here": boxes})}

    content = render_sheet(assessment, paper=size, language=tongue, sign_off=signed, embed=embed)
    return Made(seal(content), assessment, signed)


def drawn_with() -> tuple[str, str]:
    """Return what lays the pages out besides this program, and what packs them."""
    import importlib.metadata
    import zlib

    return f"reportlab {importlib.metadata.version('reportlab')}", f"zlib {zlib.ZLIB_RUNTIME_VERSION}"


def save_sheet(path: Path, content: bytes, replace: bool) -> Path | None:
    """Write a sheet; one that is no draft any more is only replaced on demand, and kept under a dated name.

    Returns
    -------
    pathlib.Path or None
        The dated copy of what was replaced.

    Raises
    ------
    OutputError
        If the old file may not be replaced, or the new one cannot be written.
    """
    copy = None
    with locked(path):
        kept = worth_keeping(path) if path.is_file() else ""
        if kept and not replace:
            message = (
                f"{path} is there already and is {kept}; choose another name, or say --replace to keep a dated copy"
            )
            raise OutputError(message)
        if kept:
            copy = keep_dated_copy(path)
        write_file(path, content)
    return copy


def worth_keeping(path: Path) -> str:
    """Return what an existing file is when it must not be lost, or an empty text for an intact draft of ours."""
    from lasersafe.signing.about import read_about

    try:
        sheet = open_sheet(path)
        state = read_about(sheet).state
    except SheetError as error:
        return "damaged" if error.kind == "damaged" else "no sheet of lasersafe"
    except ValueError:
        return "a file that cannot be read"
    if sheet.appended:
        return "signed with a certificate"
    return "" if state == "draft" else state
