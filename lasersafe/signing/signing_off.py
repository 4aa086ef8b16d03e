"""One person signs one case: checked, recorded, once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from lasersafe.assessment import assess, ingredients
from lasersafe.errors import refuse
from lasersafe.files import locked, write_file
from lasersafe.models import canonical, parse_case, read_case_text
from lasersafe.quantity import shown
from lasersafe.results import SignOff
from lasersafe.signing.making import results_of
from lasersafe.signing.record import Entry, Inputs, known_role, read_record, record_path
from lasersafe.signing.state import day_of, doubled, named_in, results_digest, sign_off_of, spoken
from lasersafe.wording import load_wording

LONGEST_CONDITIONS = 2000


@dataclass(frozen=True)
class Signed:
    """A signature that was recorded."""

    path: Path
    verdict: str
    entry: Entry
    sign_off: SignOff

    @property
    def fingerprint(self) -> str:
        """What was signed."""
        return self.entry.fingerprint

    def plain(self) -> dict[str, Any]:
        """Return what was recorded, for scripts."""
        return {
            "record": str(self.path),
            **{key: getattr(self.entry, key) for key in ("name", "role", "at", "conditions")},
            **{key: getattr(self.entry, key) or None for key in ("expires", "for_them")},
            "fingerprint": self.fingerprint,
            "verdict": self.verdict,
            "state": self.sign_off.state,
            "missing_roles": list(self.sign_off.missing),
            "caution": load_wording().caution_short,
        }

    def lines(self) -> list[str]:
        """Return what a person reads after signing."""
        missing = ", ".join(map(spoken, self.sign_off.missing))
        return [
            f"{self.entry.name} has signed as {spoken(self.entry.role)}: fingerprint {self.fingerprint[:12]}",
            f"verdict signed: {self.verdict}",
            f"still to sign: {missing}; the sheet is a draft until then"
            if missing
            else "every required role has signed",
            f"record: {self.path}; print the sheet anew to show it",
            load_wording().caution_short,
        ]


def sign_answer(
    case: Path | None, certificate: Path | None, sheet: Path | None, password_fd: int | None, **options: Any
) -> tuple[dict[str, Any], list[str]]:
    """Sign a case on record, or a sheet with a certificate; return JSON and lines.

    Parameters
    ----------
    case : pathlib.Path or None
        The case file.
    certificate, sheet : pathlib.Path or None
        What signs instead, and what.
    password_fd : int or None
        Where the password of the certificate is read from.
    **options
        As `sign` takes them.

    Raises
    ------
    InputError
        If options are missing or do not go together.
    """
    if certificate is None and sheet is None:
        if case is None or not options["role"] or not options["name"]:
            refuse("say what to sign, and who signs: lasersafe signoff CASE.toml --name 'NAME' --role ROLE")
        signed = sign(case, **options)
        return signed.plain(), signed.lines()
    role = options.pop("role")
    if certificate is None or sheet is None or not role:
        refuse("a certificate needs all three: --certificate FILE.p12, --sheet SHEET.pdf and --role ROLE")
    if case is not None or any(options.values()):
        refuse("with --certificate only --sheet, --role and --password-fd are used: the rest stands in the sheet")
    from lasersafe.signing.certificate import certificate_answer

    return certificate_answer(certificate, sheet, role, password_fd)


def sign(
    case_path: Path,
    name: str,
    role: str,
    conditions: str = "",
    expires: str = "",
    read: str = "",
    again: bool = False,
    for_them: str = "",
) -> Signed:
    """Record one signature beside a case. The moment comes from the clock.

    Parameters
    ----------
    case_path : pathlib.Path
        The case file.
    name, role : str
        Who signs, and as what.
    conditions : str
        Under which conditions.
    expires : str
        Last day on which the signature holds, as ``2027-03-01``.
    read : str
        Beginning of the fingerprint on the sheet that was read; refused when the case gives another.
    again : bool
        Whether a signature of the same role for the same inputs may be replaced.
    for_them : str
        Why somebody else signs than the case names for the role; it is printed.

    Raises
    ------
    InputError
        If something is missing or contradicts the case or the record.
    OutputError
        If another program signs at this moment, or the record cannot be written.
    """
    now = datetime.now(UTC)
    person, role = _line(name, "name", 200), known_role(role)
    terms = _line(conditions, "conditions", LONGEST_CONDITIONS) if conditions else ""
    instead = _line(for_them, "for-them", LONGEST_CONDITIONS) if for_them else ""
    last = day_of(expires or None, "expires")
    if last is not None and last < now.date():
        refuse(f"expires = {shown(expires)}: this day has passed; name one that is still to come")
    if str(case_path) == "-":
        refuse("case = '-': what is signed is a file, and its record stands beside it; name the case file")
    path = record_path(case_path)
    with locked(path):
        case = parse_case(read_case_text(case_path), str(case_path))
        assessment = assess(case)
        verdict, reasons, today = assessment.decision.verdict, assessment.decision.reasons, now.date()
        if not assessment.decision.passed:
            first = f" (first cause: {reasons[0]})" if reasons else ""
            refuse(f"the verdict is '{verdict}'{first}: there is nothing to sign; change the case until it passes")
        if assessment.record.draft_reasons:
            refuse(f"the sheet stays a draft whoever signs: {assessment.record.draft_reasons[0]}")
        if case.review_by is None or case.review_by < today:
            day = case.review_by or ""
            refuse(f"review_by = '{day}': this day has passed; look at the case again and set a new day")
        if read and not (len(read) >= 8 and assessment.fingerprint.startswith(read.lower())):
            refuse(
                f"fingerprint = {shown(read)}: the case now gives {assessment.fingerprint[:12]}; print it again, "
                "read it, and give at least 8 characters of the fingerprint at its foot"
            )
        record = read_record(path)
        if record.entries and now < record.entries[-1].moment:
            old = record.entries[-1]
            refuse(
                f"{path}: {old.name} signed at {old.at}, which is later than the clock of this machine "
                "says; set the clock, or move the record away and sign anew"
            )
        before = record.signed(assessment.fingerprint)
        if role in before and not again:
            old, what = before[role], f"as {spoken(role)} for these inputs"
            refuse(f"{old.name} has signed {what} at {old.at}; say --again to sign anew")
        named = getattr(case.in_charge, role)
        if named_in(named, person):
            instead = ""
        elif not instead:
            refuse(
                f"name = {shown(person)}: the case names {shown(named)} as {spoken(role)}, and nobody else signs as "
                "that; write the name under [in_charge] as it is signed, an office or a title after a comma, or say "
                "--for-them and why somebody else signs, which is printed"
            )
        people = [(one, entry.name) for one, entry in before.items() if one != role] + [(role, person)]
        if not case.sign_off.one_person_two_roles and (twice := doubled(people)):
            refuse(f"name = {shown(person)}: {twice[0]}")
        digest = results_digest(results_of(assessment))
        entry = Entry(
            role=role,
            name=person,
            at=now.strftime("%Y-%m-%dT%H:%M:%SZ"),
            conditions=terms,
            expires=last.isoformat() if last else "",
            fingerprint=assessment.fingerprint,
            results=digest,
            version=assessment.version,
            for_them=instead,
        )
        record = record.with_entry(entry, Inputs(ingredients(case, assessment.language), canonical(case)))
        signed = sign_off_of(case, assessment, record, digest)
        from lasersafe.sheet.paint import refuse_unprintable  # only here: it loads what prints

        refuse_unprintable(signed, "sign-off")
        write_file(path, record.text())
    return Signed(path, verdict, entry, signed)


def _line(text: str, field: str, longest: int) -> str:
    plain = " ".join(text.split())
    if not plain or len(plain) > longest or not plain.isprintable():
        refuse(f"{field} = {shown(text)}: write one line of text that prints, of at most {longest} characters")
    return plain
