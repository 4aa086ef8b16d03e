"""A sheet with everything inside that is needed to check it: the case, the results, the record, and what they are."""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lasersafe import files
from lasersafe.assessment import assess, ingredients
from lasersafe.errors import OutputError, refuse
from lasersafe.models import Case, canonical
from lasersafe.quantity import choice
from lasersafe.records import as_json
from lasersafe.results import Assessment, SignOff
from lasersafe.signing import container
from lasersafe.signing.container import About, SheetError, open_sheet, read_about, seal
from lasersafe.signing.record import Record, results_digest, sign_off_of

if TYPE_CHECKING:
    from lasersafe.sheet.front import SignPlace
    from lasersafe.sheet.paint import Attachment


@dataclass(frozen=True)
class Made:
    """A sheet and what is printed on it."""

    content: bytes
    assessment: Assessment
    sign_off: SignOff
    mark: str  # of the case, by which an older sheet of it is known
    annex: files.Output | None = None  # to be written beside the sheet; its name is set then

    @property
    def marked_annex(self) -> bytes:
        """The annex as it is written, with the mark of its case; nothing where there is none."""
        return b"" if self.annex is None else files.marked(self.annex)


def packed(data: Any) -> bytes:
    """Return plain data as JSON, the same bytes each time."""
    return json.dumps(data, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def results_of(assessment: Assessment) -> dict[str, Any]:
    """Return the results as they are read again from where they are embedded, and compared."""
    return dict(json.loads(packed(as_json(assessment))))


def make_sheet(
    text: str, case: Case, record: Record | None = None, paper: str | None = None, assessed: Assessment | None = None,
    like: tuple[About, bytes] | None = None, file: str = "",
) -> Made:  # fmt: skip
    """Return the sheet of a case; equal input gives equal bytes.

    Parameters
    ----------
    text : str
        The case file.
    case : Case
        What is in it.
    record : Record, optional
        The sign-offs so far.
    paper : str, optional
        ``A4`` or ``Letter``; what the case says when left out.
    assessed : Assessment, optional
        The assessment, when it was made already.
    like : tuple of About and bytes, optional
        What a sheet that is printed again says about itself, of which its makers, its annex and the name of its case
        file are taken over; and the results that it carries, those of the assessment but for the last digits.
    file : str
        Name of the case file, without folder.

    Returns
    -------
    Made
        The bytes of the PDF file, and what it says.
    """
    from lasersafe.sheet import PAPERS, render_sheet
    from lasersafe.sheet.paint import attachment

    record, size = Record() if record is None else record, choice("paper", paper or case.paper, PAPERS)
    assessment, annex = assessed or assess(case), None
    if like is not None:
        own = like[0].model_dump(include={"drawn_with", "ingredients", "results", "annex", "case_file"})
        results = like[1]
    else:
        found, name = as_json(assessment), file.encode("utf-8", "replace").decode()
        results, annex = packed(found), annex_of(assessment, size, name)
        own = {
            "drawn_with": ", ".join(drawn_with()),
            "ingredients": ingredients(case, assessment.language),
            "results": results_digest(found),
            "annex": hashlib.sha256(files.marked(annex)).hexdigest(),
            "case_file": name,
        }
    signed = sign_off_of(case, assessment, record, own["results"])
    inside = {
        container.CASE_TEXT: text.encode(), container.CASE: packed(canonical(case)), container.RECORD: record.text(),
        container.ABOUT: b"", container.RESULTS: results,
    }  # fmt: skip
    about = {
        "format": container.FORMAT,
        **{key: getattr(assessment, key) for key in ("version", "language", "fingerprint")},
        **{key: getattr(case, key) for key in ("title", "place", "dates")},
        **{key: getattr(assessment.decision, key) for key in ("verdict", "passed")},
        **{key: value for key, value in own.items() if value or key == "annex"},
        "paper": size,
        "lasers": [laser.name for laser in case.laser],
        "state": signed.state,
        "required_roles": list(signed.required),
        "signed": [{"role": one.role, "name": one.name, "at": one.at} for one in signed.signed],
        "review_by": signed.review_by,
        "expires": min((one.expires for one in signed.signed if one.expires), default=""),
        "attachments": {name: hashlib.sha256(content).hexdigest() for name, content in inside.items() if content},
    }

    def embed(places: Mapping[str, SignPlace]) -> dict[str, Attachment]:
        here = {role: {"page": place.page, "box": list(place.box)} for role, place in places.items()}
        every = inside | {container.ABOUT: packed(about | {"sign_here": here})}
        return {name: attachment(content) for name, content in every.items()}

    content = render_sheet(
        assessment, paper=size, language=assessment.language, sign_off=signed, annex=own["annex"], embed=embed
    )
    return Made(seal(content), assessment, signed, files.case_mark(own["case_file"], case.title), annex)


def annex_of(assessment: Assessment, paper: str, file: str) -> files.Output:
    """Return the annex of the sheet of a case whose file has a name; its own name is set when it is written."""
    from lasersafe.sheet import render_sheet

    pages = render_sheet(assessment, paper=paper, language=assessment.language, kind="annex")
    return files.Output(Path("annex.pdf"), pages, files.mark_of("annex", file, assessment.title))


def annex_path(path: Path) -> Path:
    """Return the name of the annex of a sheet: ``stage-annex.pdf`` for ``stage.pdf``."""
    return path.with_name(f"{path.stem}-annex.pdf")


def drawn_with() -> tuple[str, str]:
    """Return what lays the pages out besides this program, and what packs them."""
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
    copy, before, beside = None, None, annex_path(path)
    with files.locked(path):
        keep = refuse_to_lose_sheet(path, made.mark, replace)
        if made.annex is not None:
            before = files.refuse_to_lose(beside, made.annex.mark, replace=replace)
        if keep:
            copy = files.keep_dated_copy(path)
            if before is not None:  # where `verify` looks for the annex of the copy
                files.write_file(annex_path(copy), beside.read_bytes(), replace=False)
        if made.annex is not None:
            files.write_file(beside, made.marked_annex, replace=before is not None)
        files.write_file(path, made.content)
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
    old, kept, never = files.existing(path), "", False
    if old is None:
        return False
    try:
        sheet = open_sheet(path)
        about = read_about(sheet)
        kept = "signed with a certificate" if sheet.appended else "" if about.state == "draft" else about.state
        if files.case_mark(about.case_file, about.title) != mark:
            kept, never = f"{kept or 'a draft'} and belongs to another case", bool(kept)
    except SheetError as error:
        kept, words = "damaged" if error.kind == "damaged" else "no sheet of lasersafe", files.precious(path, old)
        if words and words != "an assessment sheet":
            kept, never = words, True
    except ValueError:
        kept = "a file that cannot be read"
    if never:
        refuse(f"{path} is {kept}, which no command replaces; choose another name, or move it away", OutputError)
    if kept and not replace:
        refuse(
            f"{path} is there already and is {kept}; choose another name, or say --replace to keep a dated copy",
            OutputError,
        )
    return bool(kept)
