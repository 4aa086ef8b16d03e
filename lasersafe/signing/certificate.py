"""Signatures with a certificate: a real PDF signature (PAdES baseline B-B), made and checked with pyHanko.

pyHanko is the optional extra ``sign``; nothing of it is imported before it is needed.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Sequence
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError
from lasersafe.files import locked, read_limited, write_file
from lasersafe.frozen import dataclass
from lasersafe.signing.about import About, read_about
from lasersafe.signing.compare import plain
from lasersafe.signing.container import LARGEST_SHEET, SheetFile, open_sheet, parse_sheet
from lasersafe.signing.record import ROLES
from lasersafe.signing.state import spoken

LARGEST_CERTIFICATE = 1_000_000
LARGEST_APPENDED = 4_000_000
_FIELD = "lasersafe_"
_MISSING = "certificates need the optional part of lasersafe; install it with: pip install 'lasersafe[sign]'"


@dataclass(frozen=True)
class CertificateSignature:
    """One certificate signature; ``problem`` is empty when it is intact and trusted."""

    role: str
    signer: str
    when: str  # as the signer claims
    problem: str

    @property
    def label(self) -> str:
        """Who signed, in one line."""
        return f"{plain(self.signer)} as {spoken(self.role)}, {self.when}"


def available() -> bool:
    """Return whether the optional extra is installed."""
    import importlib.util

    return importlib.util.find_spec("pyhanko") is not None


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
        message = f"role = '{plain(role)}': roles are: {', '.join(ROLES)}"
        raise InputError(message)
    signer = _load(certificate, password)
    with locked(path):
        sheet = open_sheet(path)
        about = read_about(sheet)
        _refuse(path, sheet, about, role)
        content = _signed(sheet, about, signer, role)
        if not parse_sheet(content).appended:
            message = f"{path}: the signature could not be appended"
            raise InputError(message)
        write_file(path, content)
    owner = signer.signing_cert
    return CertificateSignature(role, _name(owner), _moment(datetime.now(UTC)), "")


def need_extra() -> None:
    """Refuse in one line when the optional extra is missing."""
    if not available():
        raise InputError(_MISSING)


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
        message = f"{path}: cannot be opened as PKCS#12: the password is wrong or the file is damaged"
        raise InputError(message)
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


def _refuse(path: Path, sheet: SheetFile, about: About, role: str) -> None:
    from lasersafe.signing.verify import verify

    if about.state == "draft" or not about.passed:
        message = f"{path}: this sheet says DRAFT; record the sign-offs, or print it for signature, and sign that sheet"
        raise InputError(message)
    if role not in about.sign_here:
        message = f"{path}: this sheet has no box for the {spoken(role)}"
        raise InputError(message)
    report = verify(path)
    wrong = [one for one in report.findings if one.kind not in ("not signed", "signature")]
    if wrong:
        message = f"{path}: not signed, because of this: {wrong[0].kind}: {plain(wrong[0].message, 300)}"
        raise InputError(message)
    for one in report.signatures:
        if one.role == role:
            message = f"{path}: {one.label} is on this sheet already"
            raise InputError(message)
    if sheet.appended and not report.signatures:
        message = f"{path}: something was appended that is no signature; print the sheet anew"
        raise InputError(message)


def _signed(sheet: SheetFile, about: About, signer: Any, role: str) -> bytes:
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers
    from pyhanko.stamp import TextStampStyle

    writer = IncrementalPdfFileWriter(BytesIO(sheet.base + sheet.appended))
    first = not sheet.appended
    for each in [*about.required_roles, role] if first else [role]:
        page, box = about.sign_here[each]
        name = _FIELD + each
        if not any(found == name for found, *_ in fields.enumerate_sig_fields(writer)):
            fields.append_signature_field(writer, fields.SigFieldSpec(name, on_page=page, box=box))
    meta = signers.PdfSignatureMetadata(
        field_name=_FIELD + role,
        md_algorithm="sha256",
        subfilter=fields.SigSeedSubFilter.PADES,
        reason=f"{spoken(role)}: lasersafe sheet {about.fingerprint[:12]}",
    )
    name = _name(signer.signing_cert)
    if not name.isascii():  # the typeface of the stamp has no other letters
        name = "(name: see the signature itself)"
    style = TextStampStyle(
        border_width=1,
        stamp_text=f"Signed with a certificate\n{name[:60].replace('%', '%%')}\n%(ts)s",
        timestamp_format="%Y-%m-%d %H:%M %Z",
    )
    output = BytesIO()
    signers.PdfSigner(meta, signer, stamp_style=style).sign_pdf(writer, output=output)
    content = output.getvalue()
    if len(content) > LARGEST_SHEET:
        message = "the signed sheet would be larger than any sheet may be"
        raise InputError(message)
    return content


def check_signatures(sheet: SheetFile, trust: Sequence[Path]) -> tuple[list[CertificateSignature], str]:
    """Return the certificate signatures of a sheet, and what is wrong with what was appended, or ``""``.

    Parameters
    ----------
    sheet : SheetFile
        The sheet. Untrusted.
    trust : sequence of pathlib.Path
        Files (PEM or DER) with the certificates that are trusted.

    Raises
    ------
    InputError
        If a trust file cannot be read.
    """
    if not available():
        return [], f"there is a certificate signature, which cannot be checked here: {_MISSING}"
    roots = _roots(trust)
    if len(sheet.appended) > LARGEST_APPENDED:
        return [], "far more was appended than a signature needs; it was not read"
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    logging.getLogger("pyhanko_certvalidator").setLevel(logging.CRITICAL)
    try:
        return _check(sheet, roots, bool(trust))
    except Exception:  # the bytes are untrusted, and what the parsers raise is not documented
        return [], "what was appended after printing is damaged: no signature in it can be checked"


def _roots(trust: Sequence[Path]) -> list[Any]:
    from pyhanko.keys import load_certs_from_pemder_data

    roots: list[Any] = []
    for path in trust:
        content = read_limited(path, LARGEST_CERTIFICATE, "trust file")
        try:
            found = list(load_certs_from_pemder_data(content))
            for one in found:
                _ = one.subject.human_friendly
        except Exception:  # as above
            found = []
        if not found:
            message = f"{path}: there is no certificate in it; a trust file holds certificates as PEM or DER"
            raise InputError(message)
        roots += found
    return roots


def _check(sheet: SheetFile, roots: list[Any], trusting: bool) -> tuple[list[CertificateSignature], str]:
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.diff_analysis import DEFAULT_DIFF_POLICY, ModificationLevel, SuspiciousModification

    reader = PdfFileReader(BytesIO(sheet.base + sheet.appended), strict=True)
    embedded = list(reader.embedded_regular_signatures)
    if not embedded or len(reader.embedded_signatures) != len(embedded):
        return [], "something was appended after printing, and it is no signature"
    problem = ""
    if reader.xrefs.total_revisions != len(embedded) + 1:
        problem = "something besides signatures was appended after printing"
    compared = DEFAULT_DIFF_POLICY.review_file(reader, 0)
    if isinstance(compared, SuspiciousModification) or compared.modification_level > ModificationLevel.FORM_FILLING:
        problem = "what was appended after printing changes the sheet itself"
    end = len(sheet.base) + len(sheet.appended)
    found = [_one(one, roots, trusting, sheet) for one in embedded]
    if not any(one.byte_range[2] + one.byte_range[3] == end for one in embedded):
        problem = problem or "something follows the last signature"
    return found, problem


def _one(embedded: Any, roots: list[Any], trusting: bool, sheet: SheetFile) -> CertificateSignature:
    role = str(embedded.field_name).removeprefix(_FIELD)
    owner = embedded.signer_cert
    claimed = embedded.self_reported_timestamp
    when = _moment(claimed) if claimed is not None else "at no stated time"
    problem = _problem(embedded, roots, trusting)
    if role not in ROLES:
        problem = problem or "it is not in a box of this sheet"
    if not _written_plainly(embedded, sheet):
        problem = "the signature is damaged"
    return CertificateSignature(plain(role), _name(owner), when, problem)


def _problem(embedded: Any, roots: list[Any], trusting: bool) -> str:
    """Return what is wrong with a signature, in plain words, or an empty text."""
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko.sign.validation.settings import KeyUsageConstraints
    from pyhanko_certvalidator import ValidationContext

    context = ValidationContext(trust_roots=roots, allow_fetching=False)
    usage = KeyUsageConstraints(key_usage={"non_repudiation", "digital_signature"})
    status = validate_pdf_signature(embedded, context, key_usage_settings=usage)
    if not status.intact or not status.valid:
        return "broken: the sheet was changed after it was signed, or the signature is damaged"
    if (
        not status.docmdp_ok
        or status.coverage is None
        or status.coverage.name not in ("ENTIRE_FILE", "ENTIRE_REVISION")
    ):
        return "broken: it does not cover the whole sheet"
    if not _nothing_unsigned(embedded, status):
        return "the signature is damaged, or holds more than this program puts into one"
    if status.trusted and status.bottom_line:
        return ""
    if not trusting:
        return "intact, but not trusted: name the certificates that you trust with --trust"
    trouble = getattr(status.trust_problem_indic, "name", "") or "no path to a trusted certificate"
    dates = embedded.signer_cert["tbs_certificate"]["validity"]
    if dates["not_after"].native < datetime.now(UTC):
        return (
            f"intact, but the certificate ended on {dates['not_after'].native:%Y-%m-%d}, and no time stamp proves more"
        )
    return f"intact, but not trusted: {trouble.replace('_', ' ').lower()}"


def _written_plainly(embedded: Any, sheet: SheetFile) -> bool:
    """Return whether the signature stands in the file in one way of writing, filled up with zeros and nothing else.

    The place of the signature is the only part of the file that the signature does not cover.
    """
    first, start, second, _ = (int(number) for number in embedded.byte_range)
    hole = (sheet.base + sheet.appended)[first + start : second]
    if not re.fullmatch(rb"<(?:[0-9A-F]+|[0-9a-f]+)>", hole):
        return False
    body = bytes.fromhex(hole[1:-1].decode())
    return not body[_length(body) :].strip(b"\0") and body.startswith(bytes(embedded.pkcs7_content).rstrip(b"\0"))


def _nothing_unsigned(embedded: Any, status: Any) -> bool:
    """Return whether what a signature does not cover of itself (RFC 5652, 5.1 and 5.3) can only be read in one way.

    One digest algorithm, that of the signer; no attributes beside the signed ones; no certificate that the path to a
    trusted one does not need; the algorithm of the signature without parameters that nobody reads.
    """
    data, signer = embedded.signed_data, embedded.signer_info
    used = {one.sha256 for one in status.validation_path} if status.validation_path is not None else None
    needed = used is None or all(
        one.chosen.sha256 in used | {embedded.signer_cert.sha256} for one in data["certificates"]
    )
    digests = [one.dump() for one in data["digest_algorithms"]]
    algorithm = signer["signature_algorithm"]
    plain_parameters = algorithm["algorithm"].native == "rsassa_pss" or algorithm["parameters"].native is None
    kind = {"rsa": ("rsassa_pkcs1v15", "rsassa_pss", "sha256_rsa"), "ec": ("sha256_ecdsa",)}
    fitting = algorithm["algorithm"].native in kind.get(embedded.signer_cert.public_key.algorithm, ())
    return bool(
        needed
        and fitting
        and plain_parameters
        and digests == [signer["digest_algorithm"].dump()]
        and signer["digest_algorithm"]["parameters"].native is None
        and not len(signer["unsigned_attrs"])
        and not len(data["crls"])
        and data["version"].native == "v1"
        and signer["version"].native == "v1"
        and signer["sid"].chosen["serial_number"].native == embedded.signer_cert.serial_number
        and signer["sid"].chosen["issuer"].dump() == embedded.signer_cert.issuer.dump()
        and data["encap_content_info"]["content"].native is None
    )


def _length(body: bytes) -> int:
    """Return the length of a signature with its envelope (RFC 5652, 3), 0 when the lengths do not fit each other.

    That is a sequence of the object identifier, which takes 11 bytes, and of the signed data in a tag of its own.
    """
    outer, head = _element(body)
    tag, tag_head = _element(body[head + 11 :])
    data, _ = _element(body[head + 11 + tag_head :])
    return outer if outer == head + 11 + tag and tag == tag_head + data else 0


def _element(body: bytes) -> tuple[int, int]:
    """Return the length of the DER element that bytes begin with, and that of its head."""
    if len(body) < 2 or body[1] < 0x80:
        return 0, 0
    head = 2 + (body[1] & 0x7F)
    return head + int.from_bytes(body[2:head], "big"), head


def _name(certificate: Any) -> str:
    native = certificate.subject.native
    name = native.get("common_name") or certificate.subject.human_friendly
    return plain(str(name), 100)


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
