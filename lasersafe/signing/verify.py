"""Is a sheet still what was signed, and still what this version computes? Nothing that is printed is believed.

The case is taken out of the file and worked out again; the attachments, the record, the pages and the signatures are
compared with that. The exit codes of ``lasersafe verify`` are those of `CODES`; ``docs/signing.md`` explains them.
"""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import lasersafe
from lasersafe.assessment import assess
from lasersafe.assessment.fingerprint import case_digest, combined, ingredients
from lasersafe.errors import CalcError, CaseError, InputError, refuse
from lasersafe.files import read_limited
from lasersafe.models import canonical, parse_case, read_case_text
from lasersafe.models.reading import LARGEST_FILE
from lasersafe.outputs import mark_of, marked, written_as
from lasersafe.records.fields import as_json
from lasersafe.signing import container, making, state
from lasersafe.signing.certificate_check import CertificateSignature, check_signatures
from lasersafe.signing.container import About, SheetError, SheetFile, open_sheet, parse_sheet, read_about
from lasersafe.signing.record import CLOCKS, LARGEST_RECORD, Entry, Record, parse_record, read_json
from lasersafe.signing.state import Change, changed_inputs, doubled, plain, results_digest, sign_off_of, spoken
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.results import Assessment, Decision

_MOST = 20  # changes that are printed
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
    signed: dict[str, Entry] = field(default_factory=dict)  # role -> what is on record for these inputs

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
        _Check(open_sheet(path), report).run(on or date.today(), trust, case)
    except SheetError as error:
        report.add("damaged", str(error))
    except (RecursionError, MemoryError):
        report.add("damaged", "it is built so that it cannot be worked through")
    return report


class _Check:
    """A sheet that is being checked: what is in it, and the report on it."""

    def __init__(self, sheet: SheetFile, report: Report) -> None:
        self.sheet = sheet
        self.about = report.about = read_about(sheet)
        self.report = report
        most = container.LARGEST_ATTACHMENT
        limits = {
            container.CASE_TEXT: LARGEST_FILE,
            container.CASE: most,
            container.RESULTS: most,
            container.RECORD: LARGEST_RECORD,
        }
        self.files = {name: sheet.attachment(name, limit) for name, limit in limits.items()}
        self.record = Record()

    def changed(self, message: str) -> None:
        """Note that something is not what it was."""
        self.report.add("changed", message)

    def run(self, day: date, trust: Sequence[Path], now: Path | None) -> None:
        """Compare all that is in the sheet with what its case gives."""
        about = self.about
        for name, content in self.files.items():
            if hashlib.sha256(content).hexdigest() != about.attachments.get(name):
                self.changed(f"the attachment {name} is not the one that the sheet was made with")
        if combined(about.ingredients) != about.fingerprint:
            self.changed("the fingerprint is not that of the parts that the sheet names")
        try:
            self.text = self.files[container.CASE_TEXT].decode()
            self.case = parse_case(self.text, container.CASE_TEXT)
        except UnicodeDecodeError:
            self.changed("the embedded case is no text")
            return
        except CaseError as error:
            self.report.add("not checked", f"this version cannot read the embedded case: {error.faults[0]}")
            return
        self._check_case()
        self.annex = self._intact_annex()
        if now is not None:
            current = parse_case(read_case_text(now), str(now))
            if fields := [str(change) for change in state.changes(canonical(self.case), canonical(current))]:
                self.changed(f"{now} has changed since this sheet was printed")
                self.report.changed_fields += fields
        try:
            self.record = parse_record(self.files[container.RECORD], container.RECORD)
        except InputError as error:
            self.changed(str(error))
        self.signed = self.report.signed = self.record.signed(about.fingerprint)
        self._check_results()
        self.report.case = self.case
        self._check_certificates(trust)
        self._check_signed(bool(trust))
        self._check_dates(day)

    def _tree(self, name: str) -> dict[str, Any]:
        try:
            data = read_json(self.files[name])
            if not isinstance(data, dict):
                raise TypeError
            case_digest(data)
        except (ValueError, TypeError):
            refuse(f"the attachment {name} is not what lasersafe writes", SheetError)
        return data

    def _check_case(self) -> None:
        about, report = self.about, self.report
        old = self._tree(container.CASE)
        if case_digest(old) != about.ingredients.get("case"):
            self.changed("the embedded inputs are not those of the fingerprint")
        fields = [str(change) for change in state.changes(old, canonical(self.case))]
        if fields and about.version == lasersafe.__version__:
            self.changed("the embedded case file does not say what the embedded inputs say")
        elif fields:
            report.add("not checked", f"version {about.version} read the case differently from {lasersafe.__version__}")
        report.changed_fields += fields
        try:
            load_wording(about.language)
        except CalcError:
            return
        others = changed_inputs({}, {}, about.ingredients, ingredients(self.case, about.language))
        if others:
            report.notes.append("made with other parts than this version has: " + "; ".join(map(plain, others[:8])))

    def _check_results(self) -> None:
        about, report, embedded = self.about, self.report, self.files[container.RESULTS]
        old = self._tree(container.RESULTS)
        if (
            embedded != making.packed(old)
            or results_digest(old) != about.results
            or old.get("fingerprint") != about.fingerprint
        ):
            self.changed("the embedded results are not those of the sheet")
        try:
            assessment = assess(self.case, about.language)
        except CalcError as error:
            report.add("not checked", f"this version cannot work out the embedded case: {str(error).splitlines()[0]}")
            return
        report.decision = assessment.decision
        # As the sheet names itself: what this version would call it is no result.
        named = replace(assessment, fingerprint=about.fingerprint, version=about.version)
        found = state.changes(old, making.results_of(named), state.NOTHING)
        if found:
            version = lasersafe.__version__
            report.add("other results", f"this version ({version}) computes {len(found)} results differently")
            report.changed_results += found
        if about.version == assessment.version and about.fingerprint != assessment.fingerprint:
            if not report.changed_fields and not report.notes:
                self.changed("the fingerprint is not that of the embedded case")
        if not any(finding.kind == "changed" for finding in report.findings):
            self._check_pages(named, bool(found))

    def _check_pages(self, assessment: Assessment, other_results: bool) -> None:
        """Print the sheet again and compare: a number that was changed on a page is found here."""
        about, sheet = self.about, self.sheet
        signed = sign_off_of(self.case, assessment, self.record, about.results)
        if signed.state != about.state:
            self.changed(f"it says '{about.state}', but its record gives '{signed.state}'")
            return
        if other_results:
            self.report.notes.append("the pages were not compared: with other results they differ")
            return
        try:
            like = about, self.files[container.RESULTS]
            again = making.make_sheet(self.text, self.case, self.record, about.paper, assessment, like).content
        except CalcError as error:  # a paper or a language that nothing was ever printed on or in
            self.changed(f"it cannot have been printed as it says: {str(error).splitlines()[0]}")
            return
        library, packer = making.drawn_with()
        theirs = about.drawn_with.partition(", ")
        if again == sheet.base or (theirs[2] != packer and list(parse_sheet(again).parts()) == list(sheet.parts())):
            if self.annex is not None and theirs == (library, ", ", packer):
                printed = marked(making.annex_of(assessment, about.paper, about.case_file))
                if printed != self.annex:
                    self.changed("its annex is not what this version prints from its case")
            return
        if about.ingredients != ingredients(self.case, about.language) or theirs[0] != library:
            message = "the printed pages differ, and another version or library made them: compare by eye"
            self.report.add("not checked", message)
            return
        self.changed("the pages or what the file says about itself are not what this version prints from its case")

    def _intact_annex(self) -> bytes | None:
        """Return the annex beside the sheet when it has the checksum that the sheet prints."""
        about, beside = self.about, making.annex_path(Path(self.report.sheet))
        if not about.annex:
            return None
        if not beside.exists():
            message = f"its annex, {beside.name}, is not beside it; its checksum is {about.annex[:12]}"
            self.report.add("not checked", message)
            return None
        try:
            content = read_limited(beside, container.LARGEST_SHEET, "annex")
        except InputError as error:
            self.report.add("not checked", str(error))
            return None
        found = hashlib.sha256(content).hexdigest()
        if found == about.annex:
            return content
        if written_as(content) == mark_of("annex", about.case_file, about.title):
            self.changed(
                f"{beside.name} is another annex of this case: its checksum is {found[:12]}, not {about.annex[:12]}"
            )
        else:
            self.changed(f"{beside.name} beside it was edited, or is no annex of this case")
        return None

    def _check_certificates(self, trust: Sequence[Path]) -> None:
        report = self.report
        if not self.sheet.appended:
            if trust:
                report.add("signature", "there is no certificate signature on it, though --trust asks for one")
            return
        report.signatures, report.appended = check_signatures(self.sheet, self.about, trust, self.case, self.signed)
        if report.appended:
            report.add("signature", report.appended)
        for signature in report.signatures:
            if signature.problem:
                report.add("signature", f"certificate signature of {signature.label}: {signature.problem}")
            else:
                report.notes.append(f"certificate signature of {signature.label}: intact and trusted")

    def _check_signed(self, trusting: bool) -> None:
        about, report, rule, entries = self.about, self.report, self.case.sign_off, self.signed
        by_certificate = {one.role for one in report.signatures if not one.problem}
        uncertified = [role for role in rule.required_roles if role not in by_certificate]
        without = [role for role in uncertified if role in entries]
        missing = [role for role in uncertified if role not in entries]
        if trusting and report.signatures and without:
            roles = ", ".join(map(spoken, without))
            report.add("signature", f"no signature with a trusted certificate, though --trust asks for one: {roles}")
        report.people = [(role, entry.name) for role, entry in entries.items()]
        report.people += [(one.role, one.signer) for one in report.signatures if one.intact]
        doubles = [] if rule.one_person_two_roles else doubled(report.people)
        if about.state == "draft" or missing or doubles:
            reason = f" (missing: {', '.join(map(spoken, missing))})" if missing else ""
            if about.state == "printed for signature":
                reason += "; it was printed for signature in ink, which no program can check"
            report.add("not signed", f"not signed{reason}")
            report.notes += doubles
        others = [entry for entry in self.record.entries if entry.fingerprint != about.fingerprint]
        if others and not entries:
            before = self.record.inputs[others[-1].fingerprint]
            self.changed(f"changed since {others[-1].name} signed it at {others[-1].at}")
            report.changed_fields += changed_inputs(
                before.case, canonical(self.case), before.ingredients, about.ingredients
            )

    def _check_dates(self, day: date) -> None:
        if self.case.review_by is not None and self.case.review_by < day:
            self.report.add("overdue", f"past its review date, {self.case.review_by.isoformat()}")
        for entry in self.signed.values():
            who = f"{entry.name} ({spoken(entry.role)})"
            if entry.moment > datetime.now(UTC) + CLOCKS:
                self.changed(f"the sign-off of {who} is dated {entry.at}, in the future")
            if entry.expires and date.fromisoformat(entry.expires) < day:
                self.report.add("overdue", f"the sign-off of {who} ended on {entry.expires}")


def verify_lines(report: Report) -> list[str]:
    """Return what a person reads."""
    about = report.about
    lines = []
    if not report.findings:
        lines.append(f"{report.sheet}: unchanged, signed, in date, and still what this version computes")
    for finding in report.findings:
        lines.append(f"{report.sheet}: {finding.kind}: {plain(finding.message, 400)}")
    lines += _listed("changed", [plain(line, 300) for line in report.changed_fields])
    lines += _listed("result", [plain(str(change), 300) for change in report.changed_results])
    lines += [f"  note: {plain(note, 600)}" for note in report.notes]
    if report.decision is not None:
        lines.append(f"  verdict: {plain(report.decision.verdict, 1000)}")
    if about is not None:
        lines.append(
            f"  {plain(about.place)}, {plain(about.dates)}; fingerprint {about.fingerprint[:12]}, {about.state}"
        )
        lines += [f"  signed: {plain(one.name)}, {plain(spoken(one.role))}, {plain(one.at)}" for one in about.signed]
    for entry in report.signed.values():
        lines += [f"  condition of {plain(entry.name)}: {plain(entry.conditions, 400)}"] if entry.conditions else []
        lines += [f"  {plain(entry.name)} signs for another: {plain(entry.for_them, 400)}"] if entry.for_them else []
    return lines


def _listed(label: str, lines: list[str]) -> list[str]:
    shown = [f"  {label}: {line}" for line in lines[:_MOST]]
    return shown if len(lines) <= _MOST else [*shown, f"  and {len(lines) - _MOST} more; --json lists them"]


def verify_json(report: Report) -> dict[str, Any]:
    """Return the same for scripts."""
    about = report.about
    return {
        "sheet": report.sheet,
        "exit_code": report.code,
        "unchanged": not report.findings,
        "findings": as_json(report.findings),
        "changed_fields": report.changed_fields,
        "changed_results": as_json(report.changed_results, ("field", "old:was", "new:is", "relative:relative_change")),
        "certificate_signatures": [
            as_json(one, ("role", "signer", "when:claimed_time")) | {"problem": one.problem or None}
            for one in report.signatures
        ],
        "notes": report.notes,
        "verdict": None if report.decision is None else report.decision.verdict,
        "strike_outs": None if report.decision is None else as_json(report.decision.strike_outs),
        "fingerprint": None if about is None else about.fingerprint,
        "version": None if about is None else about.version,
        "state": None if about is None else about.state,
        "review_by": about.review_by.isoformat() if about and about.review_by else None,
        "signed": as_json(list(report.signed.values()), ("role", "name", "at", "conditions", "expires", "for_them")),
    }
