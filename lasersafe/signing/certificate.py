"""Signatures with a certificate: a real PDF signature (PAdES baseline B-B), made with pyHanko.

pyHanko is the optional extra ``sign``; nothing of it is imported before it is needed.
"""

from __future__ import annotations

import logging
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError, refuse
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
from lasersafe.signing.record import ROLES
from lasersafe.signing.state import doubled, may_sign, plain, spoken
from lasersafe.signing.verify import verify


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
    owner = signer.signing_cert
    return CertificateSignature(role, holder(owner), moment(datetime.now(UTC)), "")


def _load(path: Path, password: bytes | None) -> Any:
    from pyhanko.sign import signers

    read_limited(path, LARGEST_CERTIFICATE, "certificate file (PKCS#12)")
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)  # it would print a traceback
    try:
        load: Any = signers.SimpleSigner.load_pkcs12  # without types there
        signer = load(str(path), passphrase=password)
    except Exception:  # the file is untrusted, and what its parser raises is not documented
        signer = None
    if signer is None:
        refuse(f"{path}: cannot be opened as PKCS#12: the password is wrong or the file is damaged")
    dates = signer.signing_cert["tbs_certificate"]["validity"]
    now = datetime.now(UTC)
    if not dates["not_before"].native <= now <= dates["not_after"].native:
        message = f"{path}: the certificate holds from {dates['not_before'].native:%Y-%m-%d} to "
        message += f"{dates['not_after'].native:%Y-%m-%d}, not today"
        raise InputError(message)
    return _with_its_chain(signer)


def _with_its_chain(signer: Any) -> Any:
    """Return the signer with those certificates of the file only that lead upwards from its own."""
    from pyhanko.sign import signers
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    store: Any = SimpleCertificateStore  # without types there
    chain = store()
    others = list(signer.cert_registry)
    last = signer.signing_cert
    for _ in range(len(others)):
        above = next((one for one in others if one.subject == last.issuer and one.sha256 != last.sha256), None)
        if above is None:
            break
        chain.register(above)
        others.remove(above)
        last = above
    return signers.SimpleSigner(signer.signing_cert, signer.signing_key, chain)


def _refuse(path: Path, about: About, role: str, certificate: Any) -> None:
    if about.state == "draft" or not about.passed:
        refuse(f"{path}: this sheet says DRAFT; record the sign-offs, or print it for signature, and sign that sheet")
    if role not in about.sign_here:
        refuse(f"{path}: this sheet has no box for the {spoken(role)}")
    report = verify(path)
    wrong = [one.message for one in report.findings if one.kind not in ("not signed", "signature")]
    wrong += [report.appended] if report.appended else []
    wrong += [f"certificate signature of {one.label}: {one.problem}" for one in report.signatures if not one.intact]
    if wrong or report.case is None:
        kinds = [one.kind for one in report.findings if one.kind not in ("not signed", "signature")] or ["signature"]
        refuse(f"{path}: not signed, because of this: {kinds[0]}: {plain(wrong[0], 300)}")
    for one in report.signatures:
        if one.role == role:
            refuse(f"{path}: {one.label} is on this sheet already")
        if one.key == key_of(certificate) and not report.case.sign_off.one_person_two_roles:
            refuse(f"{path}: this key has signed as {spoken(one.role)} already; the case wants two people")
    name, named = holder(certificate), getattr(report.case.in_charge, role)
    if not may_sign(report.case, report.signed, role, name):
        refuse(
            f"{path}: the certificate is that of {name}; the case names {plain(named)} as {spoken(role)}, and nobody "
            "else signs as that, unless the record says why (--for-them)"
        )
    twice = [] if report.case.sign_off.one_person_two_roles else doubled([*report.people, (role, name)])
    if twice:
        refuse(f"{path}: {twice[0]}")


def _signed(sheet: SheetFile, about: About, signer: Any, role: str) -> bytes:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers
    from pyhanko.stamp import TextStampStyle

    writer = IncrementalPdfFileWriter(BytesIO(sheet.base + sheet.appended))
    first = not sheet.appended
    for each in [*about.required_roles, role] if first else [role]:
        page, box = about.sign_here[each]
        name = FIELD + each
        if not any(found == name for found, *_ in fields.enumerate_sig_fields(writer)):
            fields.append_signature_field(writer, fields.SigFieldSpec(name, on_page=page, box=box))
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
