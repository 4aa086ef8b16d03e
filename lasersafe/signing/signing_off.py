"""One person signs: a case on record, or a printed sheet with a certificate (PAdES baseline B-B, made with pyHanko).

pyHanko is the optional extra ``sign``; nothing of it is imported before it is needed.
"""

from __future__ import annotations

import logging
import os
import sys
from datetime import UTC, datetime
from getpass import getpass
from io import BytesIO
from pathlib import Path
from typing import Any, cast

from lasersafe.ask import SignQuestion
from lasersafe.assessment import assess, ingredients
from lasersafe.errors import refuse
from lasersafe.files import locked, read_limited, write_file
from lasersafe.models import canonical, parse_case, read_case_text
from lasersafe.quantity import choice, shown
from lasersafe.signing import record, signatures
from lasersafe.signing.container import LARGEST_SHEET, About, open_sheet, parse_sheet, read_about
from lasersafe.signing.making import results_of
from lasersafe.signing.record import ROLES, Entry, Inputs, doubled, known_role, may_sign, plain, sign_off_of, spoken
from lasersafe.signing.verify import verify
from lasersafe.wording import load_wording

LONGEST_CONDITIONS = 2000


def sign_answer(case: Path | None, question: SignQuestion) -> tuple[dict[str, Any], list[str]]:
    """Sign a case on record, or a sheet with a certificate; return JSON and lines.

    Raises
    ------
    InputError
        If options are missing or do not go together.
    """
    certificate, sheet, role, name = question.certificate, question.sheet, question.role, question.name
    if certificate is None and sheet is None:
        if case is None or not role or not name:
            refuse("say what to sign, and who signs: lasersafe signoff CASE.toml --name 'NAME' --role ROLE")
        data = sign(case, question)
        missing = ", ".join(map(spoken, data["missing_roles"]))
        return data, [
            f"{data['name']} has signed as {spoken(data['role'])}: fingerprint {data['fingerprint'][:12]}",
            f"verdict signed: {data['verdict']}",
            f"still to sign: {missing}; the sheet is a draft until then"
            if missing
            else "every required role has signed",
            f"record: {data['record']}; print the sheet anew to show it",
            data["caution"],
        ]
    if certificate is None or sheet is None or not role:
        refuse("a certificate needs all three: --certificate FILE.p12, --sheet SHEET.pdf and --role ROLE")
    alone = SignQuestion(role=role, certificate=certificate, sheet=sheet, password_fd=question.password_fd)
    if case is not None or question != alone:
        refuse("with --certificate only --sheet, --role and --password-fd are used: the rest stands in the sheet")
    signatures.need_extra()
    descriptor, known = question.password_fd, known_role(role)  # the password is never an option, and in no message
    if descriptor is not None:
        try:
            with os.fdopen(descriptor, "rb", closefd=False) as file:
                password = file.read(_LONGEST_PASSWORD).rstrip(b"\r\n")
        except OSError as error:
            refuse(f"password-fd = {descriptor}: cannot be read: {error.strerror or error}")
    elif PASSWORD in os.environ:
        password = os.environ[PASSWORD].encode()
    elif not sys.stdin.isatty():
        refuse(f"there is nobody to ask for the password: set {PASSWORD}, or use --password-fd")
    else:
        password = getpass("Password of the certificate (not shown): ").encode()
    given = sign_with_certificate(sheet, certificate, password or None, known)
    data = {"sheet": str(sheet), "role": given.role, "signer": given.signer, "at": given.when}
    check = f"check it with: lasersafe verify {sheet} --trust CERTIFICATES.pem"
    return data, [f"{sheet}: signed by {given.label}", check]


def sign(case_path: Path, question: SignQuestion) -> dict[str, Any]:
    """Record one signature beside a case, and return it for scripts. The moment comes from the clock.

    Raises
    ------
    InputError
        If something is missing or contradicts the case or the record.
    OutputError
        If another program signs at this moment, or the record cannot be written.
    """
    now = datetime.now(UTC)
    person, role, read = _line(question.name, "name", 200), known_role(question.role), question.fingerprint
    terms = _line(question.conditions, "conditions") if question.conditions else ""
    instead = _line(question.for_them, "for-them") if question.for_them else ""
    last = record.day_of(question.expires or None, "expires")
    if last is not None and last < now.date():
        refuse(f"expires = {shown(question.expires)}: this day has passed; name one that is still to come")
    if str(case_path) == "-":
        refuse("case = '-': what is signed is a file, and its record stands beside it; name the case file")
    path = record.record_path(case_path)
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
        known = record.read_record(path)
        if known.entries and now < known.entries[-1].moment:
            old = known.entries[-1]
            refuse(
                f"{path}: {old.name} signed at {old.at}, which is later than the clock of this machine "
                "says; set the clock, or move the record away and sign anew"
            )
        before = known.signed(assessment.fingerprint)
        if role in before and not question.again:
            old, what = before[role], f"as {spoken(role)} for these inputs"
            refuse(f"{old.name} has signed {what} at {old.at}; say --again to sign anew")
        named = getattr(case.in_charge, role)
        if record.named_in(named, person):
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
        digest = record.results_digest(results_of(assessment))
        entry = Entry(
            role=role, name=person, at=now.strftime("%Y-%m-%dT%H:%M:%SZ"), conditions=terms,
            expires=last.isoformat() if last else "", fingerprint=assessment.fingerprint, results=digest,
            version=assessment.version, for_them=instead,
        )  # fmt: skip
        known = known.with_entry(entry, Inputs(ingredients(case, assessment.language), canonical(case)))
        signed = sign_off_of(case, assessment, known, digest)
        from lasersafe.sheet.paint import refuse_unprintable  # only here: it loads what prints

        refuse_unprintable(signed, "sign-off")
        write_file(path, known.text())
    return {
        "record": str(path),
        **{key: getattr(entry, key) for key in ("name", "role", "at", "conditions")},
        **{key: getattr(entry, key) or None for key in ("expires", "for_them")},
        "fingerprint": entry.fingerprint,
        "verdict": verdict,
        "state": signed.state,
        "missing_roles": list(signed.missing),
        "caution": load_wording().caution_short,
    }


def _line(text: str, field: str, longest: int = LONGEST_CONDITIONS) -> str:
    plain = " ".join(text.split())
    if not plain or len(plain) > longest or not plain.isprintable():
        refuse(f"{field} = {shown(text)}: write one line of text that prints, of at most {longest} characters")
    return plain


PASSWORD = "LASERSAFE_CERTIFICATE_PASSWORD"  # the name of the variable
_LONGEST_PASSWORD = 1024


def sign_with_certificate(
    path: Path, certificate: Path, password: bytes | None, role: str
) -> signatures.CertificateSignature:
    """Put a PDF signature on a sheet, in the box of the role; the file is replaced as a whole.

    Parameters
    ----------
    path : pathlib.Path
        The sheet; it must be signed on record or printed for signature, not a draft.
    certificate : pathlib.Path
        PKCS#12 file with key and certificate.
    password : bytes or None
        Its password.
    role : str
        Role in which the owner signs.

    Raises
    ------
    InputError
        If the sheet or the certificate cannot be used, or the extra is missing.
    """
    signatures.need_extra()
    choice("role", role, ROLES)
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers
    from pyhanko.stamp import TextStampStyle

    signer = _load(certificate, password)
    name = signatures.holder(signer.signing_cert)
    with locked(path):
        sheet = open_sheet(path)
        about = read_about(sheet)
        _refuse(path, about, role, signer.signing_cert, name)
        writer = IncrementalPdfFileWriter(BytesIO(sheet.base + sheet.appended))
        there = {found for found, *_ in fields.enumerate_sig_fields(writer)}
        for each in dict.fromkeys([role] if sheet.appended else [*about.required_roles, role]):
            if (box := signatures.FIELD + each) not in there:
                page, place = about.sign_here[each]
                fields.append_signature_field(writer, fields.SigFieldSpec(box, on_page=page, box=place))
        meta = signers.PdfSignatureMetadata(
            field_name=signatures.FIELD + role, md_algorithm="sha256", subfilter=fields.SigSeedSubFilter.PADES,
            reason=signatures.reason(about, role),
        )  # fmt: skip
        stamp = f"{signatures.STAMP}\n{signatures.stamp_name(name).replace('%', '%%')}\n%(ts)s"
        style = TextStampStyle(border_width=1, stamp_text=stamp, timestamp_format="%Y-%m-%d %H:%M %Z")
        output = BytesIO()
        signers.PdfSigner(meta, signer, stamp_style=style).sign_pdf(writer, output=output)
        content = output.getvalue()
        if len(content) > LARGEST_SHEET:
            refuse("the signed sheet would be larger than any sheet may be")
        if not parse_sheet(content).appended:
            refuse(f"{path}: the signature could not be appended")
        write_file(path, content)
    return signatures.CertificateSignature(role, name, signatures.moment(datetime.now(UTC)), "")


def _load(path: Path, password: bytes | None) -> Any:
    """Return what signs, with those certificates of the file only that lead upwards from its own."""
    from pyhanko.sign import signers
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    read_limited(path, signatures.LARGEST_CERTIFICATE, "certificate file (PKCS#12)")
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)  # it would print a traceback
    load, store = cast(Any, signers.SimpleSigner.load_pkcs12), cast(Any, SimpleCertificateStore)  # without types there
    try:
        signer = load(str(path), passphrase=password)
    except Exception:  # the file is untrusted, and what its parser raises is not documented
        signer = None
    if signer is None:
        refuse(f"{path}: cannot be opened as PKCS#12: the password is wrong or the file is damaged")
    first, last = (
        signer.signing_cert["tbs_certificate"]["validity"][end].native for end in ("not_before", "not_after")
    )
    if not first <= datetime.now(UTC) <= last:
        refuse(f"{path}: the certificate holds from {first:%Y-%m-%d} to {last:%Y-%m-%d}, not today")
    chain, others = store(), list(signer.cert_registry)
    above = signer.signing_cert
    while above := next((one for one in others if one.subject == above.issuer and one.sha256 != above.sha256), None):
        chain.register(above)
        others.remove(above)
    return signers.SimpleSigner(signer.signing_cert, signer.signing_key, chain)


def _refuse(path: Path, about: About, role: str, certificate: Any, name: str) -> None:
    if about.state == "draft" or not about.passed:
        refuse(f"{path}: this sheet says DRAFT; record the sign-offs, or print it for signature, and sign that sheet")
    if role not in about.sign_here:
        refuse(f"{path}: this sheet has no box for the {spoken(role)}")
    report = verify(path)
    wrong = [(one.kind, one.message) for one in report.findings if one.kind not in ("not signed", "signature")]
    wrong += [("signature", report.appended)] if report.appended else []
    wrong += [("signature", f"certificate signature of {one.label}: {one.problem}")
              for one in report.signatures if not one.intact]  # fmt: skip
    if wrong or report.case is None:
        refuse(f"{path}: not signed, because of this: {wrong[0][0]}: {plain(wrong[0][1], 300)}")
    two_people = not report.case.sign_off.one_person_two_roles
    for one in report.signatures:
        if one.role == role:
            refuse(f"{path}: {one.label} is on this sheet already")
        if one.key == signatures.key_of(certificate) and two_people:
            refuse(f"{path}: this key has signed as {spoken(one.role)} already; the case wants two people")
    if not may_sign(report.case, report.signed, role, name):
        named = plain(getattr(report.case.in_charge, role))
        refuse(
            f"{path}: the certificate is that of {name}; the case names {named} as {spoken(role)}, and nobody "
            "else signs as that, unless the record says why (--for-them)"
        )
    if two_people and (twice := doubled([*report.people, (role, name)])):
        refuse(f"{path}: {twice[0]}")
