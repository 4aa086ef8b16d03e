"""One person signs one case: checked, recorded, once."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from lasersafe.assessment import assess
from lasersafe.assessment.fingerprint import ingredients
from lasersafe.errors import refuse
from lasersafe.files import locked, write_file
from lasersafe.models import canonical, parse_case, read_case_text
from lasersafe.results import Assessment, SignOff
from lasersafe.signing.making import results_of
from lasersafe.signing.record import ROLES, Entry, Inputs, read_record, record_path
from lasersafe.signing.state import doubled, named_in, results_digest, sign_off_of, spoken
from lasersafe.typed import shown
from lasersafe.wording import load_wording

LONGEST_CONDITIONS = 2000


@dataclass(frozen=True)
class Signed:
    """A signature that was recorded."""

    path: Path
    fingerprint: str
    verdict: str
    entry: Entry
    sign_off: SignOff


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
    person = _line(name, "name", 200)
    known = known_role(role)
    terms = _line(conditions, "conditions", LONGEST_CONDITIONS) if conditions else ""
    instead = _line(for_them, "for-them", LONGEST_CONDITIONS) if for_them else ""
    last = _day(expires, now.date()) if expires else ""
    if str(case_path) == "-":
        refuse("case = '-': what is signed is a file, and its record stands beside it; name the case file")
    path = record_path(case_path)
    with locked(path):
        case = parse_case(read_case_text(case_path), str(case_path))
        assessment = assess(case)
        _refuse_what_cannot_be_signed(case.review_by, assessment, now.date())
        if read and not (len(read) >= 8 and assessment.fingerprint.startswith(read.lower())):
            refuse(
                f"fingerprint = {shown(read)}: the case now gives {assessment.fingerprint[:12]}; print it again, "
                "read it, and give at least 8 characters of the fingerprint at its foot"
            )
        record = read_record(path)
        last_entry = record.entries[-1] if record.entries else None
        if last_entry and now < last_entry.moment:
            refuse(
                f"{path}: {last_entry.name} signed at {last_entry.at}, which is later than the clock of this machine "
                "says; set the clock, or move the record away and sign anew"
            )
        before = record.signed(assessment.fingerprint)
        if known in before and not again:
            old = before[known]
            refuse(f"{old.name} has signed as {spoken(known)} for these inputs at {old.at}; say --again to sign anew")
        named = getattr(case.in_charge, known)
        if named_in(named, person):
            instead = ""
        elif not instead:
            refuse(
                f"name = {shown(person)}: the case names {shown(named)} as {spoken(known)}, and nobody else signs as "
                "that; write the name under [in_charge] as it is signed, an office or a title after a comma, or say "
                "--for-them and why somebody else signs, which is printed"
            )
        people = [(one, entry.name) for one, entry in before.items() if one != known] + [(known, person)]
        if not case.sign_off.one_person_two_roles and (twice := doubled(people)):
            refuse(f"name = {shown(person)}: {twice[0]}")
        digest = results_digest(results_of(assessment))
        entry = Entry(
            role=known,
            name=person,
            at=now.strftime("%Y-%m-%dT%H:%M:%SZ"),
            conditions=terms,
            expires=last,
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
    return Signed(path, assessment.fingerprint, assessment.decision.verdict, entry, signed)


def _refuse_what_cannot_be_signed(review_by: date | None, assessment: Assessment, today: date) -> None:
    if not assessment.decision.passed:
        causes = assessment.decision.reasons
        first = f" (first cause: {causes[0]})" if causes else ""
        refuse(
            f"the verdict is '{assessment.decision.verdict}'{first}: there is nothing to sign; change the case until "
            "it passes"
        )
    if assessment.record.draft_reasons:
        refuse(f"the sheet stays a draft whoever signs: {assessment.record.draft_reasons[0]}")
    if review_by is None or review_by < today:
        refuse(f"review_by = '{review_by or ''}': this day has passed; look at the case again and set a new day")


def known_role(role: str) -> str:
    """Return a role as the case names it.

    Raises
    ------
    InputError
        If there is no such role.
    """
    plain = role.strip().lower().replace(" ", "_").replace("-", "_")
    if plain not in ROLES:
        near = difflib.get_close_matches(plain[:60], ROLES, 1, 0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        refuse(f"role = {shown(role)}: {hint}roles are: {', '.join(ROLES)}")
    return plain


def _line(text: str, field: str, longest: int) -> str:
    plain = " ".join(text.split())
    if not plain or len(plain) > longest or not plain.isprintable():
        refuse(f"{field} = {shown(text)}: write one line of text that prints, of at most {longest} characters")
    return plain


def _day(text: str, today: date) -> str:
    try:
        day = date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        day = None
    if day is None:
        refuse(f"expires = {shown(text)}: write a day as 2027-03-01 (year-month-day)")
    if day < today:
        refuse(f"expires = {shown(text)}: this day has passed; name one that is still to come")
    return day.isoformat()


def signed_json(signed: Signed) -> dict[str, Any]:
    """Return what was recorded."""
    return {
        "record": str(signed.path),
        "name": signed.entry.name,
        "role": signed.entry.role,
        "at": signed.entry.at,
        "conditions": signed.entry.conditions,
        "expires": signed.entry.expires or None,
        "for_them": signed.entry.for_them or None,
        "fingerprint": signed.fingerprint,
        "verdict": signed.verdict,
        "state": signed.sign_off.state,
        "missing_roles": list(signed.sign_off.missing),
        "caution": load_wording().caution_short,
    }


def signed_lines(data: dict[str, Any]) -> list[str]:
    """Return what a person reads after signing."""
    missing = ", ".join(spoken(role) for role in data["missing_roles"])
    return [
        f"{data['name']} has signed as {spoken(data['role'])}: fingerprint {data['fingerprint'][:12]}",
        f"verdict signed: {data['verdict']}",
        f"still to sign: {missing}; the sheet is a draft until then" if missing else "every required role has signed",
        f"record: {data['record']}; print the sheet anew to show it",
        data["caution"],
    ]
