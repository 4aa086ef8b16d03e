"""Is a sheet still what was signed, and still what this version computes? Nothing that is printed is believed.

The case is taken out of the file and worked out again; the attachments, the record, the pages and the signatures are
compared with that. The exit codes of ``lasersafe verify`` are those of `CODES`; ``docs/signing.md`` explains them.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import lasersafe
from lasersafe.assessment import assess
from lasersafe.assessment.fingerprint import case_digest, combined, ingredients
from lasersafe.errors import CalcError, CaseError, InputError
from lasersafe.models import canonical, parse_case, read_case_text
from lasersafe.models.reading import LARGEST_FILE
from lasersafe.signing import making
from lasersafe.signing.about import About, read_about
from lasersafe.signing.compare import NOTHING, Change, changes, plain
from lasersafe.signing.container import SheetError, SheetFile, open_sheet, parse_sheet
from lasersafe.signing.record import CLOCKS, LARGEST_RECORD, Record, parse_record
from lasersafe.signing.state import changed_inputs, doubled, results_digest, sign_off_of, spoken
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.results import Assessment, Decision
    from lasersafe.signing.certificate import CertificateSignature

CODES = {  # the gravest first: it is the exit code
    "damaged": 15,
    "signature": 14,
    "changed": 13,
    "not checked": 16,
    "other results": 12,
    "overdue": 11,
    "not signed": 10,
}


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong with a sheet."""

    kind: str  # a key of CODES
    message: str


@dataclasses.dataclass
class Report:
    """What `verify` found. A sheet is good when there is no finding."""

    sheet: str
    findings: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    changed_fields: list[str] = field(default_factory=list)
    changed_results: list[Change] = field(default_factory=list)
    about: About | None = None
    decision: Decision | None = None  # as this version works it out from the embedded case
    signatures: list[CertificateSignature] = field(default_factory=list)
    appended: str = ""  # what is wrong with what stands after the printed sheet
    case: Case | None = None  # the embedded one
    people: list[tuple[str, str]] = field(default_factory=list)  # role and name, on record or by certificate

    def add(self, kind: str, message: str) -> None:
        """Note a finding."""
        self.findings.append(Finding(kind, message))

    @property
    def code(self) -> int:
        """Exit code: of the gravest finding, 0 without any."""
        kinds = {finding.kind for finding in self.findings}
        return next((code for kind, code in CODES.items() if kind in kinds), 0)


def verify(path: Path, on: date | None = None, trust: Sequence[Path] = (), case: Path | None = None) -> Report:
    """Return what is to be said of a sheet.

    Parameters
    ----------
    path : pathlib.Path
        The sheet. Untrusted.
    on : datetime.date, optional
        Day for which the dates are judged; today when left out.
    trust : sequence of pathlib.Path
        Files with the certificates that are trusted.
    case : pathlib.Path, optional
        A case file to compare the sheet with, as it is now.

    Raises
    ------
    InputError
        If the sheet, the trust files or the case file cannot be read at all.
    """
    report = Report(str(path))
    try:
        sheet = open_sheet(path)
        report.about = read_about(sheet)
        _check(sheet, report.about, report, on or date.today(), trust, case)
    except SheetError as error:
        report.add("damaged", str(error))
    except (RecursionError, MemoryError):
        report.add("damaged", "it is built so that it cannot be worked through")
    return report


def _check(sheet: SheetFile, about: About, report: Report, day: date, trust: Sequence[Path], now: Path | None) -> None:
    files = _attachments(sheet, about, report)
    if combined(about.ingredients) != about.fingerprint:
        report.add("changed", "the fingerprint is not that of the parts that the sheet names")
    try:
        text = files[making.CASE_TEXT].decode()
        case = parse_case(text, making.CASE_TEXT)
    except UnicodeDecodeError:
        report.add("changed", "the embedded case is no text")
        return
    except CaseError as error:
        report.add("not checked", f"this version cannot read the embedded case: {error.faults[0]}")
        return
    _check_case(case, about, files, report)
    if now is not None:
        _check_against(now, case, report)
    try:
        record = parse_record(files[making.RECORD], making.RECORD)
    except InputError as error:
        report.add("changed", str(error))
        record = Record()
    _check_results(text, case, about, record, files, sheet, report)
    report.case = case
    _check_certificates(sheet, about, case, record, report, trust)
    _check_signed(case, about, record, report, bool(trust))
    _check_dates(case, about, record, report, day)


def _attachments(sheet: SheetFile, about: About, report: Report) -> dict[str, bytes]:
    limits = {making.CASE_TEXT: LARGEST_FILE, making.RECORD: LARGEST_RECORD}
    names = (making.CASE_TEXT, making.CASE, making.RESULTS, making.RECORD)
    files = {}
    for name in names:
        files[name] = sheet.attachment(name, limits[name]) if name in limits else sheet.attachment(name)
        if hashlib.sha256(files[name]).hexdigest() != about.attachments.get(name):
            report.add("changed", f"the attachment {name} is not the one that the sheet was made with")
    return files


def _check_case(case: Case, about: About, files: dict[str, bytes], report: Report) -> None:
    old = _tree(files[making.CASE], making.CASE)
    if case_digest(old) != about.ingredients.get("case"):
        report.add("changed", "the embedded inputs are not those of the fingerprint")
    fields = [str(change) for change in changes(old, canonical(case))]
    if fields and about.version == lasersafe.__version__:
        report.add("changed", "the embedded case file does not say what the embedded inputs say")
        report.changed_fields += fields
    elif fields:
        report.add("not checked", f"version {about.version} read the case differently from {lasersafe.__version__}")
        report.changed_fields += fields
    try:
        load_wording(about.language)
    except CalcError:
        return
    others = changed_inputs({}, {}, about.ingredients, ingredients(case, about.language))
    if others:
        report.notes.append("made with other parts than this version has: " + "; ".join(map(plain, others[:8])))


def _check_against(path: Path, case: Case, report: Report) -> None:
    current = parse_case(read_case_text(path), str(path))
    fields = [str(change) for change in changes(canonical(case), canonical(current))]
    if fields:
        report.add("changed", f"{path} has changed since this sheet was printed")
        report.changed_fields += fields


def _tree(content: bytes, name: str) -> dict[str, Any]:
    try:
        data = json.loads(content, parse_constant=_no_constant)
        if not isinstance(data, dict):
            raise TypeError
        case_digest(data)
    except (ValueError, TypeError):
        message = f"the attachment {name} is not what lasersafe writes"
        raise SheetError(message) from None
    return data


def _no_constant(text: str) -> Any:
    raise ValueError(text)


def _check_results(
    text: str, case: Case, about: About, record: Record, files: dict[str, bytes], sheet: SheetFile, report: Report
) -> None:
    old = _tree(files[making.RESULTS], making.RESULTS)
    if (
        files[making.RESULTS] != making.packed(old)
        or results_digest(old) != about.results
        or old.get("fingerprint") != about.fingerprint
    ):
        report.add("changed", "the embedded results are not those of the sheet")
    try:
        assessment = assess(case, about.language)
    except CalcError as error:
        report.add("not checked", f"this version cannot work out the embedded case: {str(error).splitlines()[0]}")
        return
    report.decision = assessment.decision
    # As the sheet names itself: what this version would call it is no result.
    named = replace(assessment, fingerprint=about.fingerprint, version=about.version)
    new = making.results_of(named)
    found = changes(old, new, NOTHING)
    if found:
        report.add("other results", f"this version ({lasersafe.__version__}) computes {len(found)} results differently")
        report.changed_results += found
    if about.version == assessment.version and about.fingerprint != assessment.fingerprint:
        if not report.changed_fields and not report.notes:
            report.add("changed", "the fingerprint is not that of the embedded case")
    _check_pages(text, case, about, record, named, sheet, report, files[making.RESULTS] if not found else None)


def _check_pages(
    text: str,
    case: Case,
    about: About,
    record: Record,
    assessment: Assessment,
    sheet: SheetFile,
    report: Report,
    results: bytes | None,
) -> None:
    """Print the sheet again and compare: a number that was changed on a page is found here.

    ``results`` are the embedded ones, which count as those of this version; None when they do not.
    """
    if any(finding.kind == "changed" for finding in report.findings):
        return
    signed = sign_off_of(case, assessment, record, about.results)
    if signed.state != about.state:
        report.add("changed", f"it says '{about.state}', but its record gives '{signed.state}'")
        return
    if results is None:
        report.notes.append("the pages were not compared: with other results they differ")
        return
    try:
        again = making.make_sheet(text, case, record, about.paper, about.language, assessment, about, results).content
    except CalcError as error:  # a paper or a language that nothing was ever printed on or in
        report.add("changed", f"it cannot have been printed as it says: {str(error).splitlines()[0]}")
        return
    library, packer = making.drawn_with()
    theirs = about.drawn_with.partition(", ")
    if again == sheet.base:
        return
    if theirs[2] != packer and list(parse_sheet(again).parts()) == list(sheet.parts()):
        return
    if about.ingredients != ingredients(case, about.language) or theirs[0] != library:
        report.add("not checked", "the printed pages differ, and another version or library made them: compare by eye")
        return
    report.add("changed", "the pages or what the file says about itself are not what this version prints from its case")


def _check_certificates(
    sheet: SheetFile, about: About, case: Case, record: Record, report: Report, trust: Sequence[Path]
) -> None:
    if not sheet.appended:
        if trust:
            report.add("signature", "there is no certificate signature on it, though --trust asks for one")
        return
    from lasersafe.signing.certificate_check import check_signatures

    since = max((entry.moment for entry in record.signed(about.fingerprint).values()), default=None)
    report.signatures, report.appended = check_signatures(sheet, about, trust, case, since)
    if report.appended:
        report.add("signature", report.appended)
    for signature in report.signatures:
        if signature.problem:
            report.add("signature", f"certificate signature of {signature.label}: {signature.problem}")
        else:
            report.notes.append(f"certificate signature of {signature.label}: intact and trusted")


def _check_signed(case: Case, about: About, record: Record, report: Report, trusting: bool) -> None:
    by_certificate = {one.role: one.signer for one in report.signatures if not one.problem}
    entries = record.signed(about.fingerprint)
    without = [role for role in case.sign_off.required_roles if role in entries and role not in by_certificate]
    missing = [role for role in case.sign_off.required_roles if role not in entries and role not in by_certificate]
    if trusting and report.signatures and without:
        roles = ", ".join(map(spoken, without))
        report.add("signature", f"no signature with a trusted certificate, though --trust asks for one: {roles}")
    report.people = [(role, entry.name) for role, entry in entries.items()]
    report.people += [(one.role, one.signer) for one in report.signatures if one.intact]
    doubles = [] if case.sign_off.one_person_two_roles else doubled(report.people)
    if about.state == "draft" or missing or doubles:
        reason = f" (missing: {', '.join(map(spoken, missing))})" if missing else ""
        ink = "; it was printed for signature in ink, which no program can check" if _ink(about) else ""
        report.add("not signed", f"not signed{reason}{ink}")
        report.notes += doubles
    others = [entry for entry in record.entries if entry.fingerprint != about.fingerprint]
    if others and not entries:
        before = record.inputs[others[-1].fingerprint]
        report.add("changed", f"changed since {others[-1].name} signed it at {others[-1].at}")
        report.changed_fields += changed_inputs(before.case, canonical(case), before.ingredients, about.ingredients)


def _ink(about: About) -> bool:
    return about.state == "printed for signature"


def _check_dates(case: Case, about: About, record: Record, report: Report, day: date) -> None:
    if case.review_by < day:
        report.add("overdue", f"past its review date, {case.review_by.isoformat()}")
    for entry in record.signed(about.fingerprint).values():
        if entry.moment > datetime.now(UTC) + CLOCKS:
            who = f"{entry.name} ({spoken(entry.role)})"
            report.add("changed", f"the sign-off of {who} is dated {entry.at}, in the future")
        if entry.expires and date.fromisoformat(entry.expires) < day:
            report.add("overdue", f"the sign-off of {entry.name} ({spoken(entry.role)}) ended on {entry.expires}")
