"""Certificate signatures checked: with pyHanko, and for everything that pyHanko would let pass."""

from __future__ import annotations

import hashlib
import logging
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from lasersafe.errors import InputError, refuse
from lasersafe.files import read_limited
from lasersafe.signing.appended import FIELD, AppendedError, stamp_name, stamps
from lasersafe.signing.container import SheetFile
from lasersafe.signing.record import CLOCKS, ROLES
from lasersafe.signing.state import may_sign, plain, spoken

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.signing.container import About
    from lasersafe.signing.record import Entry

LARGEST_CERTIFICATE = 1_000_000
MISSING = "certificates need the optional part of lasersafe; install it with: pip install 'lasersafe[sign]'"
LARGEST_APPENDED = 4_000_000
_ZONES = timedelta(hours=15)  # a stamp shows the time of the place where it was signed


@dataclass(frozen=True)
class CertificateSignature:
    """One certificate signature; ``problem`` is empty when it is intact and trusted."""

    role: str
    signer: str
    when: str  # as the signer claims
    problem: str
    intact: bool = True  # nothing is wrong with it but that nobody has said whether it is trusted
    key: str = ""  # SHA-256 of the public key

    @property
    def label(self) -> str:
        """Who signed, in one line."""
        return f"{plain(self.signer)} as {spoken(self.role)}, {self.when}"


def available() -> bool:
    """Return whether the optional extra is installed."""
    import importlib.util

    return importlib.util.find_spec("pyhanko") is not None


def need_extra() -> None:
    """Refuse in one line when the optional extra is missing."""
    if not available():
        raise InputError(MISSING)


def holder(certificate: Any) -> str:
    """Return whose certificate it is."""
    native = certificate.subject.native
    name = native.get("common_name") or certificate.subject.human_friendly
    return plain(str(name), 100)


def moment(when: datetime) -> str:
    """Return a moment as it is printed."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def key_of(certificate: Any) -> str:
    """Return the SHA-256 of the public key of a certificate."""
    return hashlib.sha256(certificate.public_key.dump()).hexdigest()


def check_signatures(
    sheet: SheetFile,
    about: About,
    trust: Sequence[Path] = (),
    case: Case | None = None,
    signed: Mapping[str, Entry] = MappingProxyType({}),
) -> tuple[list[CertificateSignature], str]:
    """Return the certificate signatures of a sheet, and what is wrong with what was appended, or ``""``.

    Parameters
    ----------
    sheet : SheetFile
        The sheet. Untrusted.
    about : About
        What the sheet says about itself.
    trust : sequence of pathlib.Path
        Files (PEM or DER) with the certificates that are trusted.
    case : Case, optional
        The case of the sheet, which names who signs in which role; not looked at when left out.
    signed : mapping of str to Entry
        The sign-offs that are printed on the sheet, by role.

    Raises
    ------
    InputError
        If a trust file cannot be read.
    """
    if not available():
        return [], f"there is a certificate signature, which cannot be checked here: {MISSING}"
    roots = _roots(trust)
    if len(sheet.appended) > LARGEST_APPENDED:
        return [], "far more was appended than a signature needs; it was not read"
    logging.getLogger("pyhanko").setLevel(logging.CRITICAL)
    logging.getLogger("pyhanko_certvalidator").setLevel(logging.CRITICAL)
    try:
        return _check(sheet, about, roots, case, signed)
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
            refuse(f"{path}: there is no certificate in it; a trust file holds certificates as PEM or DER")
        roots += found
    return roots


def _check(
    sheet: SheetFile, about: About, roots: list[Any], case: Case | None, signed: Mapping[str, Entry]
) -> tuple[list[CertificateSignature], str]:
    from pyhanko.pdf_utils.reader import PdfFileReader

    reader = PdfFileReader(BytesIO(sheet.base + sheet.appended), strict=True)
    embedded = list(reader.embedded_regular_signatures)
    if not embedded or len(reader.embedded_signatures) != len(embedded):
        return [], "something was appended after printing, and it is no signature"
    problem, stamped = "", dict[str, tuple[str, datetime]]()
    try:
        stamped = stamps(sheet, about)
    except AppendedError as error:
        problem = str(error)
    found: list[CertificateSignature] = []
    moments = [entry.moment for entry in signed.values()]
    for one in (_Signature(each, sheet, roots) for each in embedded):
        broken = next(one.faults(stamped.get(one.role), moments), "")
        if case is not None:
            broken = broken or next(one.not_named(case, signed, found), "")
        distrust = "" if broken else one.distrust(bool(roots))
        when = moment(one.claimed) if one.claimed is not None else "at no stated time"
        found.append(CertificateSignature(plain(one.role), one.name, when, broken or distrust, not broken, one.key))
        moments += [one.claimed] if one.claimed is not None else []
    return found, problem


class _Signature:
    """One embedded signature, as pyHanko reads it."""

    def __init__(self, embedded: Any, sheet: SheetFile, roots: list[Any]) -> None:
        from pyhanko.sign.validation import validate_pdf_signature
        from pyhanko.sign.validation.settings import KeyUsageConstraints
        from pyhanko_certvalidator import ValidationContext

        context = ValidationContext(trust_roots=roots, allow_fetching=False)
        usage = KeyUsageConstraints(key_usage={"non_repudiation", "digital_signature"})
        self.status: Any = validate_pdf_signature(embedded, context, key_usage_settings=usage)
        self.embedded, self.sheet = embedded, sheet
        self.role = str(embedded.field_name).removeprefix(FIELD)
        self.claimed: datetime | None = embedded.self_reported_timestamp
        self.name, self.key = holder(embedded.signer_cert), key_of(embedded.signer_cert)
        dates = embedded.signer_cert["tbs_certificate"]["validity"]
        self.first, self.last = dates["not_before"].native, dates["not_after"].native

    def faults(self, stamped: tuple[str, datetime] | None, before: list[datetime]) -> Iterator[str]:
        """Yield what is wrong, whoever is trusted: with it, where it stands, what its stamp says, when it was given."""
        status, claimed = self.status, self.claimed
        if not _written_plainly(self.embedded, self.sheet):
            yield "the signature is damaged"
        if not status.intact or not status.valid:
            yield "broken: the sheet was changed after it was signed, or the signature is damaged"
        if not status.docmdp_ok or getattr(status.coverage, "name", "") not in ("ENTIRE_FILE", "ENTIRE_REVISION"):
            yield "broken: it does not cover the whole sheet"
        if not _nothing_unsigned(self.embedded, status):
            yield "the signature is damaged, or holds more than this program puts into one"
        if self.role not in ROLES:
            yield "it is not in a box of this sheet"
        if claimed is None:
            yield "it does not say when it was given"
            return
        if claimed > datetime.now(UTC) + CLOCKS:
            yield "it is dated in the future"
        if not self.first - CLOCKS <= claimed <= self.last + CLOCKS:
            yield "it is dated outside the days for which its certificate holds"
        if before and claimed < max(before) - CLOCKS:
            yield "it is dated before a signature that it follows"
        if stamped is not None and stamped[0] != stamp_name(self.name):
            yield "its stamp shows another name than its certificate"
        if stamped is not None and abs(stamped[1].replace(tzinfo=UTC) - claimed) > _ZONES:
            yield "its stamp shows another day than the signature"

    def not_named(self, case: Case, signed: Mapping[str, Entry], others: list[CertificateSignature]) -> Iterator[str]:
        """Yield what speaks against this holder in this role."""
        if not may_sign(case, signed, self.role, self.name):
            named = plain(getattr(case.in_charge, self.role))
            yield f"its holder is not {named}, whom the case names as {spoken(self.role)}"
        same = [one.role for one in others if one.key == self.key]
        if same and not case.sign_off.one_person_two_roles:
            yield f"its key has signed as {spoken(same[0])} too; the case wants two people"

    def distrust(self, trusting: bool) -> str:
        """Return why nobody who is trusted stands behind it, an empty text where somebody does."""
        if self.status.trusted and self.status.bottom_line:
            return ""
        if not trusting:
            return "intact, but not trusted: name the certificates that you trust with --trust"
        if self.last < datetime.now(UTC):
            return f"intact, but the certificate ended on {self.last:%Y-%m-%d}, and no time stamp proves more"
        trouble = getattr(self.status.trust_problem_indic, "name", "") or "no path to a trusted certificate"
        return f"intact, but not trusted: {trouble.replace('_', ' ').lower()}"


def _written_plainly(embedded: Any, sheet: SheetFile) -> bool:
    """Return whether the signature stands in the file as pyHanko writes it, filled up with zeros and nothing else.

    The place of the signature is the only part of the file that the signature does not cover.
    """
    first, start, second, _ = (int(number) for number in embedded.byte_range)
    hole = (sheet.base + sheet.appended)[first + start : second]
    if not re.fullmatch(rb"<[0-9A-F]+>", hole):
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
        and signer["digest_algorithm"]["algorithm"].native == "sha256"
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
