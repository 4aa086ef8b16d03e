"""Signatures with a certificate: a real PDF signature (PAdES baseline B-B), made with pyHanko.

pyHanko is the optional extra ``sign``; nothing of it is imported before it is needed.
"""

from __future__ import annotations

import logging
import os
import sys
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any, cast

from lasersafe.errors import refuse
from lasersafe.files import locked, read_limited, write_file
from lasersafe.signing.appended import FIELD, STAMP, reason, stamp_name
from lasersafe.signing.certificate_check import (
    LARGEST_CERTIFICATE,
    CertificateSignature,
    holder,
    key_of,
    moment,
    need_extra,
)
from lasersafe.signing.container import LARGEST_SHEET, About, SheetFile, open_sheet, parse_sheet, read_about
from lasersafe.signing.record import ROLES, known_role
from lasersafe.signing.state import doubled, may_sign, plain, spoken
from lasersafe.signing.verify import verify

PASSWORD = "LASERSAFE_CERTIFICATE_PASSWORD"  # the name of the variable
_LONGEST_PASSWORD = 1024


def certificate_answer(
    certificate: Path, sheet: Path, role: str, password_fd: int | None
) -> tuple[dict[str, Any], list[str]]:
    """Sign a sheet with a certificate; return JSON and lines.

    Raises
    ------
    InputError
        If the sheet or the certificate cannot be used, or the extra is missing.
    """
    need_extra()
    signed = sign_with_certificate(sheet, certificate, _password(password_fd), known_role(role))
    data = {"sheet": str(sheet), "role": signed.role, "signer": signed.signer, "at": signed.when}
    check = f"check it with: lasersafe verify {sheet} --trust CERTIFICATES.pem"
    return data, [f"{sheet}: signed by {signed.label}", check]


def _password(descriptor: int | None) -> bytes | None:
    """Return the password of a certificate; it is never an option, and never in a message."""
    if descriptor is not None:
        try:
            with os.fdopen(descriptor, "rb", closefd=False) as file:
                return file.read(_LONGEST_PASSWORD).rstrip(b"\r\n") or None
        except OSError as error:
            refuse(f"password-fd = {descriptor}: cannot be read: {error.strerror or error}")
    if PASSWORD in os.environ:
        return os.environ[PASSWORD].encode() or None
    if not sys.stdin.isatty():
        refuse(f"there is nobody to ask for the password: set {PASSWORD}, or use --password-fd")
    import getpass

    return getpass.getpass("Password of the certificate (not shown): ").encode() or None


def sign_with_certificate(path: Path, certificate: Path, password: bytes | None, role: str) -> CertificateSignature:
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
    need_extra()
    if role not in ROLES:
        refuse(f"role = '{plain(role)}': roles are: {', '.join(ROLES)}")
    signer = _load(certificate, password)
    with locked(path):
        sheet = open_sheet(path)
        about = read_about(sheet)
        _refuse(path, about, role, signer.signing_cert)
        content = _signed(sheet, about, signer, role)
        if not parse_sheet(content).appended:
            refuse(f"{path}: the signature could not be appended")
        write_file(path, content)
    return CertificateSignature(role, holder(signer.signing_cert), moment(datetime.now(UTC)), "")


def _load(path: Path, password: bytes | None) -> Any:
    """Return what signs, with those certificates of the file only that lead upwards from its own."""
    from pyhanko.sign import signers
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    read_limited(path, LARGEST_CERTIFICATE, "certificate file (PKCS#12)")
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


def _refuse(path: Path, about: About, role: str, certificate: Any) -> None:
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
        if one.key == key_of(certificate) and two_people:
            refuse(f"{path}: this key has signed as {spoken(one.role)} already; the case wants two people")
    name, named = holder(certificate), plain(getattr(report.case.in_charge, role))
    if not may_sign(report.case, report.signed, role, name):
        refuse(
            f"{path}: the certificate is that of {name}; the case names {named} as {spoken(role)}, and nobody "
            "else signs as that, unless the record says why (--for-them)"
        )
    if two_people and (twice := doubled([*report.people, (role, name)])):
        refuse(f"{path}: {twice[0]}")


def _signed(sheet: SheetFile, about: About, signer: Any, role: str) -> bytes:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers
    from pyhanko.stamp import TextStampStyle

    writer = IncrementalPdfFileWriter(BytesIO(sheet.base + sheet.appended))
    there = {found for found, *_ in fields.enumerate_sig_fields(writer)}
    for each in dict.fromkeys([role] if sheet.appended else [*about.required_roles, role]):
        if FIELD + each not in there:
            page, box = about.sign_here[each]
            fields.append_signature_field(writer, fields.SigFieldSpec(FIELD + each, on_page=page, box=box))
    meta = signers.PdfSignatureMetadata(
        field_name=FIELD + role,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        reason=reason(about, role),
    )
    name = stamp_name(holder(signer.signing_cert)).replace("%", "%%")
    style = TextStampStyle(border_width=1, stamp_text=f"{STAMP}\n{name}\n%(ts)s", timestamp_format="%Y-%m-%d %H:%M %Z")
    output = BytesIO()
    signers.PdfSigner(meta, signer, stamp_style=style).sign_pdf(writer, output=output)
    content = output.getvalue()
    if len(content) > LARGEST_SHEET:
        refuse("the signed sheet would be larger than any sheet may be")
    return content
