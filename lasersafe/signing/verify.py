"""Is a sheet still what was signed, and still what this version computes? Nothing that is printed is believed.

The case is taken out of the file and worked out again; the attachments, the record, the pages and the signatures are
compared with that. The exit codes of ``lasersafe verify`` are those of `CODES`; ``docs/signing.md`` explains them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import lasersafe
from lasersafe.assessment import assess, case_digest, combined, ingredients
from lasersafe.errors import CalcError, CaseError, InputError, refuse
from lasersafe.files import mark_of, marked, read_limited, written_as
from lasersafe.models import LARGEST_FILE, Case, canonical, parse_case, read_case_text
from lasersafe.records import as_json
from lasersafe.results import Assessment, Decision
from lasersafe.signing import container, making, record
from lasersafe.signing.container import About, SheetError, SheetFile, open_sheet, parse_sheet, read_about
from lasersafe.signing.record import Change, Entry, Record, changed_inputs, doubled, plain, sign_off_of, spoken
from lasersafe.signing.signatures import CertificateSignature, check_signatures
from lasersafe.wording import load_wording

_MOST = 20  # changes that are printed
CODES = {  # the gravest first: it is the exit code
    "damaged": 15,
    "no sheet": 15,
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


@dataclass
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

    def lines(self) -> list[str]:
        """Return what a person reads."""
        about, lines = self.about, list[str]()
        if not self.findings:
            lines.append(f"{self.sheet}: unchanged, signed, in date, and still what this version computes")
        lines += [f"{self.sheet}: {one.kind}: {plain(one.message, 400)}" for one in self.findings]
        for label, changes in (("changed", self.changed_fields), ("result", self.changed_results)):
            lines += [f"  {label}: {plain(str(line), 300)}" for line in changes[:_MOST]]
            lines += [f"  and {len(changes) - _MOST} more; --json lists them"] if len(changes) > _MOST else []
        lines += [f"  note: {plain(note, 600)}" for note in self.notes]
        lines += [f"  verdict: {plain(self.decision.verdict, 1000)}"] if self.decision else []
        if about is not None:
            where = f"{plain(about.place)}, {plain(about.dates)}"
            lines.append(f"  {where}; fingerprint {about.fingerprint[:12]}, {about.state}")
            lines += [
                f"  signed: {plain(one.name)}, {plain(spoken(one.role))}, {plain(one.at)}" for one in about.signed
            ]
        for one in self.signed.values():
            lines += [f"  condition of {plain(one.name)}: {plain(one.conditions, 400)}"] if one.conditions else []
            lines += [f"  {plain(one.name)} signs for another: {plain(one.for_them, 400)}"] if one.for_them else []
        return lines

    def plain(self) -> dict[str, Any]:
        """Return the same for scripts."""
        about, decision = self.about, self.decision
        changed = as_json(self.changed_results, ("field", "old:was", "new:is", "relative:relative_change"))
        return {
            "sheet": self.sheet,
            "exit_code": self.code,
            "unchanged": not self.findings,
            "findings": as_json(self.findings),
            "changed_fields": self.changed_fields,
            "changed_results": changed,
            "certificate_signatures": [
                as_json(one, ("role", "signer", "when:claimed_time")) | {"problem": one.problem or None}
                for one in self.signatures
            ],
            "notes": self.notes,
            "verdict": decision and decision.verdict,
            "strike_outs": decision and as_json(decision.strike_outs),
            "fingerprint": about and about.fingerprint,
            "version": about and about.version,
            "state": about and about.state,
            "review_by": about.review_by.isoformat() if about and about.review_by else None,
            "signed": as_json(list(self.signed.values()), ("role", "name", "at", "conditions", "expires", "for_them")),
        }


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
    report = _Check(str(path))
    try:
        report.run(open_sheet(path), on or date.today(), trust, case)
    except SheetError as error:
        report.add("no sheet" if isinstance(error, container.ForeignError) else "damaged", str(error))
    except (RecursionError, MemoryError):
        report.add("damaged", "it is built so that it cannot be worked through")
    return report


def verify_answer(
    sheet: Path, trust: Sequence[Path], case: Path | None, on: str | None, time_limit: float
) -> tuple[dict[str, Any], list[str], int]:
    """Check a sheet; return JSON, lines and exit code.

    Raises
    ------
    InputError
        If a file or an option cannot be used.
    """
    if not 0.0 < time_limit <= 86400.0:
        refuse(f"time-limit = {time_limit}: seconds, above zero and at most a day")
    try:
        with container.at_most(time_limit):
            report = verify(sheet, record.day_of(on, "on"), trust, case)
    except container.TookTooLongError:
        report = Report(str(sheet))
        report.add("not checked", f"it takes longer than {time_limit:g} s to work out; give more with --time-limit")
    return report.plain(), report.lines(), report.code


class _Check(Report):
    """A sheet that is being checked: what is in it, and the report on it."""

    about: About
    case: Case

    def run(self, sheet: SheetFile, day: date, trust: Sequence[Path], now: Path | None) -> None:
        """Compare all that is in the sheet with what its case gives."""
        self.file, self.record, about = sheet, Record(), read_about(sheet)
        self.about = about
        own = {container.CASE_TEXT: LARGEST_FILE, container.RECORD: record.LARGEST_RECORD}
        names = (container.CASE_TEXT, container.CASE, container.RESULTS, container.RECORD)
        self.files = {name: sheet.attachment(name, own.get(name, container.LARGEST_ATTACHMENT)) for name in names}
        for name, content in self.files.items():
            if hashlib.sha256(content).hexdigest() != about.attachments.get(name):
                self.add("changed", f"the attachment {name} is not the one that the sheet was made with")
        if combined(about.ingredients) != about.fingerprint:
            self.add("changed", "the fingerprint is not that of the parts that the sheet names")
        try:
            self.text = self.files[container.CASE_TEXT].decode()
            self.case = parse_case(self.text, container.CASE_TEXT)
        except UnicodeDecodeError:
            self.add("changed", "the embedded case is no text")
            return
        except CaseError as error:
            self.add("not checked", f"this version cannot read the embedded case: {error.faults[0]}")
            return
        self._check_case()
        self.annex = self._intact_annex()
        if now is not None:
            current = parse_case(read_case_text(now), str(now))
            if fields := [str(change) for change in record.changes(canonical(self.case), canonical(current))]:
                self.add("changed", f"{now} has changed since this sheet was printed")
                self.changed_fields += fields
        try:
            self.record = record.parse_record(self.files[container.RECORD], container.RECORD)
        except InputError as error:
            self.add("changed", str(error))
        self.signed = self.record.signed(about.fingerprint)
        self._check_results()
        self._check_certificates(trust)
        self._check_signed(bool(trust))
        self._check_dates(day)

    def _tree(self, name: str) -> dict[str, Any]:
        try:
            data: dict[str, Any] = record.read_json(self.files[name])
            if isinstance(data, dict) and case_digest(data):
                return data
        except (ValueError, TypeError):
            pass
        refuse(f"the attachment {name} is not what lasersafe writes", SheetError)

    def _check_case(self) -> None:
        about = self.about
        old = self._tree(container.CASE)
        if case_digest(old) != about.ingredients.get("case"):
            self.add("changed", "the embedded inputs are not those of the fingerprint")
        fields = [str(change) for change in record.changes(old, canonical(self.case))]
        if fields and about.version == lasersafe.__version__:
            self.add("changed", "the embedded case file does not say what the embedded inputs say")
        elif fields:
            self.add("not checked", f"version {about.version} read the case differently from {lasersafe.__version__}")
        self.changed_fields += fields
        try:
            load_wording(about.language)
        except CalcError:
            return
        others = changed_inputs({}, {}, about.ingredients, ingredients(self.case, about.language))
        if others:
            self.notes.append("made with other parts than this version has: " + "; ".join(map(plain, others[:8])))

    def _check_results(self) -> None:
        about, embedded = self.about, self.files[container.RESULTS]
        old = self._tree(container.RESULTS)
        said = embedded, record.results_digest(old), old.get("fingerprint")
        if said != (making.packed(old), about.results, about.fingerprint):
            self.add("changed", "the embedded results are not those of the sheet")
        try:
            assessment = assess(self.case, about.language)
        except CalcError as error:
            self.add("not checked", f"this version cannot work out the embedded case: {str(error).splitlines()[0]}")
            return
        self.decision = assessment.decision
        # As the sheet names itself: what this version would call it is no result.
        named = replace(assessment, fingerprint=about.fingerprint, version=about.version)
        self.changed_results += record.changes(old, making.results_of(named), record.NOTHING)
        if count := len(self.changed_results):
            self.add("other results", f"this version ({lasersafe.__version__}) computes {count} results differently")
        if about.version == assessment.version and about.fingerprint != assessment.fingerprint:
            if not self.changed_fields and not self.notes:
                self.add("changed", "the fingerprint is not that of the embedded case")
        if not any(finding.kind == "changed" for finding in self.findings):
            self._check_pages(named)

    def _check_pages(self, assessment: Assessment) -> None:
        """Print the sheet again and compare: a number that was changed on a page is found here."""
        about, sheet = self.about, self.file
        signed = sign_off_of(self.case, assessment, self.record, about.results)
        if signed.state != about.state:
            self.add("changed", f"it says '{about.state}', but its record gives '{signed.state}'")
            return
        if self.changed_results:
            self.notes.append("the pages were not compared: with other results they differ")
            return
        try:
            like = about, self.files[container.RESULTS]
            again = making.make_sheet(self.text, self.case, self.record, about.paper, assessment, like).content
        except CalcError as error:  # a paper or a language that nothing was ever printed on or in
            self.add("changed", f"it cannot have been printed as it says: {str(error).splitlines()[0]}")
            return
        library, packer = making.drawn_with()
        theirs = about.drawn_with.partition(", ")
        if again == sheet.base or (theirs[2] != packer and list(parse_sheet(again).parts()) == list(sheet.parts())):
            if self.annex is not None and theirs == (library, ", ", packer):
                if self.annex != marked(making.annex_of(assessment, about.paper, about.case_file)):
                    self.add("changed", "its annex is not what this version prints from its case")
        elif about.ingredients != ingredients(self.case, about.language) or theirs[0] != library:
            what = "the printed pages differ, and another version or library made them: compare by eye"
            self.add("not checked", what)
        else:
            what = "the pages or what the file says about itself are not what this version prints from its case"
            self.add("changed", what)

    def _intact_annex(self) -> bytes | None:
        """Return the annex beside the sheet when it has the checksum that the sheet prints."""
        about, beside = self.about, making.annex_path(Path(self.sheet))
        if not about.annex:
            return None
        if not beside.exists():
            self.add("not checked", f"its annex, {beside.name}, is not beside it; its checksum is {about.annex[:12]}")
            return None
        try:
            content = read_limited(beside, container.LARGEST_SHEET, "annex")
        except InputError as error:
            self.add("not checked", str(error))
            return None
        found = hashlib.sha256(content).hexdigest()
        if found == about.annex:
            return content
        if written_as(content) == mark_of("annex", about.case_file, about.title):
            sums = f"its checksum is {found[:12]}, not {about.annex[:12]}"
            self.add("changed", f"{beside.name} is another annex of this case: {sums}")
        else:
            self.add("changed", f"{beside.name} beside it was edited, or is no annex of this case")
        return None

    def _check_certificates(self, trust: Sequence[Path]) -> None:
        if self.file.appended:
            self.signatures, self.appended = check_signatures(self.file, self.about, trust, self.case, self.signed)
        elif trust:
            self.add("signature", "there is no certificate signature on it, though --trust asks for one")
        if self.appended:
            self.add("signature", self.appended)
        for signature in self.signatures:
            said = f"certificate signature of {signature.label}: {signature.problem or 'intact and trusted'}"
            if signature.problem:
                self.add("signature", said)
            else:
                self.notes.append(said)

    def _check_signed(self, trusting: bool) -> None:
        about, rule, entries = self.about, self.case.sign_off, self.signed
        by_certificate = {one.role for one in self.signatures if not one.problem}
        uncertified = [role for role in rule.required_roles if role not in by_certificate]
        without = [role for role in uncertified if role in entries]
        missing = [role for role in uncertified if role not in entries]
        if trusting and self.signatures and without:
            roles = ", ".join(map(spoken, without))
            self.add("signature", f"no signature with a trusted certificate, though --trust asks for one: {roles}")
        self.people = [(role, entry.name) for role, entry in entries.items()]
        self.people += [(one.role, one.signer) for one in self.signatures if one.intact]
        doubles = [] if rule.one_person_two_roles else doubled(self.people)
        if about.state == "draft" or missing or doubles:
            reason = f" (missing: {', '.join(map(spoken, missing))})" if missing else ""
            if about.state == "printed for signature":
                reason += "; it was printed for signature in ink, which no program can check"
            self.add("not signed", f"not signed{reason}")
            self.notes += doubles
        others = [entry for entry in self.record.entries if entry.fingerprint != about.fingerprint]
        if others and not entries:
            old, now = self.record.inputs[others[-1].fingerprint], canonical(self.case)
            self.add("changed", f"changed since {others[-1].name} signed it at {others[-1].at}")
            self.changed_fields += changed_inputs(old.case, now, old.ingredients, about.ingredients)

    def _check_dates(self, day: date) -> None:
        if self.case.review_by is not None and self.case.review_by < day:
            self.add("overdue", f"past its review date, {self.case.review_by.isoformat()}")
        for entry in self.signed.values():
            who = f"{entry.name} ({spoken(entry.role)})"
            if entry.moment > datetime.now(UTC) + record.CLOCKS:
                self.add("changed", f"the sign-off of {who} is dated {entry.at}, in the future")
            if entry.expires and date.fromisoformat(entry.expires) < day:
                self.add("overdue", f"the sign-off of {who} ended on {entry.expires}")
