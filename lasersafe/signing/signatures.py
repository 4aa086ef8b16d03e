"""Certificate signatures checked: what was appended to a sheet, and each signature, for all that pyHanko lets pass.

Whoever holds one trusted certificate may append what he likes and sign that. So each revision is compared with what
this program appends: the form fields in the places to sign that the sheet names, a stamp with name and time, a
signature. Anything else that a reader of PDF files could show, run or take for the sheet is named.
"""

from __future__ import annotations

import hashlib
import logging
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from itertools import chain, pairwise
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from lasersafe.errors import refuse
from lasersafe.files import read_limited
from lasersafe.models import Case
from lasersafe.signing.record import CLOCKS, ROLES, Entry, may_sign, plain, spoken

if TYPE_CHECKING:
    from lasersafe.signing.container import About, SheetFile

FIELD = "lasersafe_"
STAMP = "Signed with a certificate"
NOT_ASCII = "(name: see the signature itself)"  # the typeface of the stamp has no other letters
_REVISION = re.compile(
    rb"xref\n0 1\n0000000000 65535 f \n((?:\d+ \d+\n(?:\d{10} 00000 n \n)+)+)"
    rb"trailer\n<<\n((?:/ID \[ <[0-9a-f]*> <[0-9a-f]*> \]\n|/(?:Info|Root) \d+ 0 R\n|/(?:Size|Prev) \d+\n){5})>>\n"
    rb"startxref\n(\d+)\n%%EOF\n"
)
_TRAILER = re.compile(rb"/(?:Info|Root|Size|Prev) \d+(?: 0 R)?\n")
_ROOTS = re.compile(rb"/(?:Info|Root) \d+ 0 R\n")
_STAMPED = re.compile(rb"\(((?:[^()\\]|\\[0-7]{3}|\\[()\\])*)\) Tj")
_SIGNATURE = {"/Contents", "/ByteRange", "/Type", "/Filter", "/SubFilter", "/M", "/Reason"}
_OPERATORS = frozenset("q Q cm /Tx BMC EMC BT ET /F1 Tf TL Td T* w re S".split())
_XMP = re.compile(
    rb'<\?xpacket begin="[^"]*" id="[^"]*"\?>\s*<x:xmpmeta xmlns:x="adobe:ns:meta/" x:xmptk="pyHanko [\d.]+">\s*'
    rb'<rdf:RDF xmlns:rdf="[^"]*">\s*<rdf:Description(?: xmlns:\w+="[^"]*"| xmp:ModifyDate="[^"]*"| '
    rb'pdf:Producer="[^"]*"| rdf:about="")*/>\s*</rdf:RDF>\s*</x:xmpmeta>\s*<\?xpacket end="\w"\?>\s*'
)

_CHANGES = "what was appended changes the sheet itself"
_BESIDES = "something besides signatures was appended after printing"
_NO_STAMP = "a place to sign shows something that is no stamp"
_MORE = "what was appended holds more than its table names"
_DOES_MORE = "a place to sign was appended that does more than hold a signature"
_END = "what was appended after printing does not end as signing ends it"
_FACTS = "what was appended gives the sheet another title or other facts"
_SAYS = "a signature says of itself what signing does not write"


class AppendedError(ValueError):
    """Something was appended that signing does not append."""


def _need(right: bool, otherwise: str) -> None:
    """Refuse what signing does not append."""
    if not right:
        raise AppendedError(otherwise)


def stamp_name(name: str) -> str:
    """Return the name of a holder as it is printed on the stamp."""
    return name[:60] if name.isascii() else NOT_ASCII


def reason(about: About, role: str) -> str:
    """Return what a signature says it was given for."""
    return f"{spoken(role)}: lasersafe sheet {about.fingerprint[:12]}"


def _stamps(sheet: SheetFile, about: About, reader: Any) -> dict[str, tuple[str, datetime]]:
    """Return role -> name and time as stamped, when all that was appended is what signing appends.

    Raises
    ------
    AppendedError
        If there is anything else; the message says what.
    """
    content, place, own = sheet.base + sheet.appended, len(sheet.base), len(sheet.offsets)
    previous, size, revisions = sheet.table, own + 1, list[set[int]]()  # between and around them is not one byte
    while place < len(content):
        match = _REVISION.search(content, place)
        if match is None or int(match[3]) != match.start():
            raise AppendedError(_END)
        numbers = _numbers(content, place, match)
        size = max(size, max(numbers) + 1)
        right = {*_ROOTS.findall(sheet.base[sheet.table :]), b"/Prev %d\n" % previous, b"/Size %d\n" % size}
        told = _TRAILER.findall(match[2])
        _need(len(told) == len(right) and set(told) == right, _END)
        revisions.append(numbers)
        previous, place = match.start(), match.end()
    _need(len(revisions) <= len(about.sign_here), "more was appended than there are places to sign")
    _need(reader.xrefs.total_revisions == len(revisions) + 1, _BESIDES)
    printed = _Revision(reader.get_historical_resolver(0), about, own)
    found: dict[str, tuple[str, datetime]] = {}
    for count, changed in enumerate(revisions, 1):
        found = _Revision(reader.get_historical_resolver(count), about, own).check(printed, changed)
        _need(len(found) == count, _BESIDES)
    return found


def _numbers(content: bytes, start: int, match: re.Match[bytes]) -> set[int]:
    rows: list[tuple[int, int]] = []  # offset and number
    for first, count, listed in re.findall(rb"(\d+) (\d+)\n((?:\d{10} 00000 n \n)+)", match[1]):
        offsets = [int(row[:10]) for row in listed.splitlines()]
        _need(len(offsets) == int(count), _MORE)
        rows += [(offset, number) for number, offset in enumerate(offsets, int(first))]
    rows.sort()
    numbers = {number for _, number in rows}
    _need(rows[0][0] == start and len(numbers) == len(rows) and 0 not in numbers, _MORE)
    for (offset, number), (end, _) in pairwise([*rows, (match.start(), 0)]):
        part = content[offset:end]
        head = part.partition(b"stream\n")[0]
        one = len(re.findall(rb"\d+\s+\d+\s+obj\b", part)) == part.count(b"endobj") == 1
        plain = not any(each in head for each in b"%#\r\0\f\t")  # no remark, no other way to write a name or a line
        _need(one and plain and part.startswith(b"%d 0 obj\n" % number) and part.endswith(b"\nendobj\n"), _MORE)
    return numbers


class _Revision:
    """The sheet as it was after one signature."""

    def __init__(self, resolver: Any, about: About, printed_objects: int) -> None:
        self.resolver, self.about, self.printed_objects = resolver, about, printed_objects
        trailer = resolver.reader.trailer
        self.root, self.info = (trailer.raw_get(name).idnum for name in ("/Root", "/Info"))
        self.catalog, self.facts = self.plain(self.root), self.plain(self.info)
        self.form_number = self.number(self.catalog.get("/AcroForm"))
        self.form = self.plain(self.form_number)
        self.pages = self._pages(self.number(self.catalog.get("/Pages")))

    def raw(self, number: int) -> Any:
        from pyhanko.pdf_utils.generic import Reference

        return self.resolver.get_object(Reference(number, 0, self.resolver))

    def plain(self, number: int) -> Any:
        """Return an object as plain Python, references as ``("R", number)``."""
        return _plain(self.raw(number))

    @staticmethod
    def number(value: Any) -> int:
        _need(isinstance(value, tuple) and value[0] == "R", _CHANGES)
        return int(value[1])

    def _pages(self, number: int, depth: int = 0) -> list[int]:
        node = self.plain(number)
        if node.get("/Type") == "/Page":
            return [number]
        _need(depth <= 20, _CHANGES)
        return [page for kid in node["/Kids"] for page in self._pages(self.number(kid), depth + 1)]

    def check(self, printed: _Revision, changed: set[int]) -> dict[str, tuple[str, datetime]]:
        """Return role -> stamped name and time; ``changed`` are the objects that this revision brings."""
        _same(printed.catalog, self.catalog, {"/Version", "/Extensions", "/Metadata"})
        _same(printed.facts, self.facts, {"/ModDate", "/Producer", "/Trapped"})
        _same(printed.form, self.form, {"/Fields"})
        made = re.fullmatch(r"(.*); pyHanko [\d.]+", str(self.facts.get("/Producer")), re.DOTALL)
        _need(made is not None and made[1] == printed.facts.get("/Producer"), _FACTS)
        allowed = {self.root, self.info, self.form_number}
        _need(not _references(self.catalog.get("/Extensions")), _CHANGES)
        _need(self.catalog.get("/Version") in (None, "/1.7", "/2.0"), _CHANGES)
        if "/Metadata" in self.catalog:
            allowed.add(self.number(self.catalog["/Metadata"]))
            stream = self.raw(self.number(self.catalog["/Metadata"]))
            _need(set(stream) <= {"/Type", "/Subtype", "/Length"} and bool(_XMP.fullmatch(stream.data)), _FACTS)
        found: dict[str, tuple[str, datetime]] = {}
        on_page: dict[int, list[Any]] = {}
        names = set()
        for reference in self.form["/Fields"]:
            role, page, parts, stamped = self._field(self.number(reference))
            names.add(role)
            on_page.setdefault(page, []).append(reference)
            allowed |= parts
            if stamped:
                found[role] = stamped
        _need(len(names) == len(self.form["/Fields"]), "a place to sign was appended twice")
        _need(self.pages == printed.pages, _CHANGES)
        for page, fields in on_page.items():
            allowed.add(page)
            _same(printed.plain(page), self.plain(page), {"/Annots"})
            _need(self.plain(page).get("/Annots") == fields, "something was put upon a page besides the places to sign")
        for number in changed - allowed:  # the empty look that a place had before it was signed; nothing refers to it
            stream = self.raw(number)
            empty = _plain(stream).get("/Subtype") == "/Form" and not stream.data
            _need(number > self.printed_objects and empty, _CHANGES)
        return found

    def _field(self, number: int) -> tuple[str, int, set[int], tuple[str, datetime] | None]:
        """Return role, page, the objects that make up a field, and what is stamped when it is signed."""
        field = self.plain(number)
        role = str(field.get("/T", "")).removeprefix(FIELD)
        place = self.about.sign_here.get(role)
        if place is None or field["/T"] != FIELD + role:
            refuse("a form field was appended that is no place to sign", AppendedError)
        page, box = self.pages[place[0]], [float(each) for each in place[1]]
        right = field.get("/P") == ("R", page) and field.get("/Rect") == box
        _need(right, f"the signature of {spoken(role)} is not in its place to sign")
        look = field.get("/AP")
        wanted = {"/FT": "/Sig", "/Type": "/Annot", "/Subtype": "/Widget", "/F": 132.0}
        _need(wanted.items() <= field.items() and set(field) <= {*wanted, "/T", "/P", "/Rect", "/AP", "/V"}, _DOES_MORE)
        _need(isinstance(look, dict) and set(look) == {"/N"}, _DOES_MORE)
        parts = {number, self.number(look["/N"])}
        stream = self.raw(self.number(look["/N"]))
        drawn = _plain(stream)
        resources = drawn.pop("/Resources", {})
        size = [0.0, box[3] - box[1], box[2] - box[0], 0.0]
        usual = {"/BBox": size, "/Type": "/XObject", "/Subtype": "/Form"}
        _need({key: drawn[key] for key in set(drawn) - {"/Length"}} == usual, _NO_STAMP)
        if "/V" not in field:
            _need(not stream.data.strip() and not resources, _NO_STAMP)
            return role, page, parts, None
        signature = self.plain(self.number(field["/V"]))
        says = {"/Reason": reason(self.about, role), "/SubFilter": "/ETSI.CAdES.detached"}
        _need(set(signature) == _SIGNATURE and says.items() <= signature.items(), _SAYS)
        parts |= {self._typeface(resources), self.number(field["/V"])}
        # a stamp draws three texts, of which two are name and time, and a frame
        shown = [_text(each) for each in _STAMPED.findall(stream.data)]
        rest = _STAMPED.sub(b" ", stream.data).replace(b"Tj", b" ").decode("ascii", "replace").split()
        others = {each for each in rest if not re.fullmatch(r"-?\d+(\.\d+)?", each)}
        _need(len(shown) == 3 and shown[0] == STAMP and others <= _OPERATORS, _NO_STAMP)
        try:
            return role, page, parts, (shown[1], datetime.strptime(shown[2][:16], "%Y-%m-%d %H:%M"))
        except ValueError:
            raise AppendedError(_NO_STAMP) from None

    def _typeface(self, resources: dict[str, Any]) -> int:
        """Return the object that describes the typeface of a stamp, which is the plain Courier of every reader."""
        font = resources.get("/Font", {}).get("/F1", {})
        plain = {"/Type": "/Font", "/BaseFont": "/Courier", "/Subtype": "/Type1", "/Encoding": "/WinAnsiEncoding"}
        described = self.number(font.get("/FontDescriptor"))
        _need(set(resources) == {"/Font"} and set(resources["/Font"]) == {"/F1"}, _NO_STAMP)
        more = {"/FirstChar", "/LastChar", "/Widths", "/FontDescriptor"}
        _need(plain.items() <= font.items() and set(font) <= {*plain, *more}, _NO_STAMP)
        _need(not _references([{**font, "/FontDescriptor": None}, self.plain(described)]), _NO_STAMP)
        return described


def _text(literal: bytes) -> str:
    plain = re.sub(rb"\\([0-7]{3}|[()\\])", lambda m: bytes([int(m[1], 8) & 255]) if m[1].isdigit() else m[1], literal)
    return plain.decode("latin-1")


def _plain(value: Any) -> Any:
    from pyhanko.pdf_utils import generic

    if isinstance(value, generic.IndirectObject):
        return ("R", value.idnum)
    if isinstance(value, generic.DictionaryObject):
        return {str(key): _plain(value.raw_get(key)) for key in value}
    if isinstance(value, generic.ArrayObject):
        return [_plain(value.raw_get(index)) for index in range(len(value))]
    if isinstance(value, generic.BooleanObject):
        return bool(value.value)
    if isinstance(value, (generic.NumberObject, generic.FloatObject)):
        return float(value)
    return value if isinstance(value, bytes) else str(value)


def _references(value: Any) -> bool:
    if isinstance(value, (dict, list)):
        return any(map(_references, value.values() if isinstance(value, dict) else value))
    return isinstance(value, tuple)


def _same(old: dict[str, Any], new: dict[str, Any], but: set[str]) -> None:
    _need(all(old.get(key) == new.get(key) for key in (old.keys() | new.keys()) - but), _CHANGES)


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
        refuse(MISSING)


def holder(certificate: Any) -> str:
    """Return whose certificate it is."""
    name = certificate.subject.native.get("common_name") or certificate.subject.human_friendly
    return plain(str(name), 100)


def moment(when: datetime) -> str:
    """Return a moment as it is printed."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def key_of(certificate: Any) -> str:
    """Return the SHA-256 of the public key of a certificate."""
    return hashlib.sha256(certificate.public_key.dump()).hexdigest()


def check_signatures(
    sheet: SheetFile, about: About, trust: Sequence[Path] = (), case: Case | None = None,
    signed: Mapping[str, Entry] = MappingProxyType({}),
) -> tuple[list[CertificateSignature], str]:  # fmt: skip
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
    from pyhanko.keys import load_certs_from_pemder_data
    from pyhanko.pdf_utils.reader import PdfFileReader

    roots: list[Any] = []
    for path in trust:
        content = read_limited(path, LARGEST_CERTIFICATE, "trust file")
        try:
            found = [one for one in load_certs_from_pemder_data(content) if one.subject.human_friendly is not None]
        except Exception:  # whatever its parser raises
            found = []
        if not found:
            refuse(f"{path}: there is no certificate in it; a trust file holds certificates as PEM or DER")
        roots += found
    if len(sheet.appended) > LARGEST_APPENDED:
        return [], "far more was appended than a signature needs; it was not read"
    for name in ("pyhanko", "pyhanko_certvalidator"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    try:
        reader = PdfFileReader(BytesIO(sheet.base + sheet.appended), strict=True)
        embedded = list(reader.embedded_regular_signatures)
        if not embedded or len(reader.embedded_signatures) != len(embedded):
            return [], "something was appended after printing, and it is no signature"
        problem, stamped = "", dict[str, tuple[str, datetime]]()
        try:
            stamped = _stamps(sheet, about, reader)
        except AppendedError as error:
            problem = str(error)
        good: list[CertificateSignature] = []
        moments = [entry.moment for entry in signed.values()]
        for one in (_Signature(each, sheet, roots) for each in embedded):
            every = chain(one.faults(stamped.get(one.role), moments), one.not_named(case, signed, good))
            broken = next(every, "")
            distrust = "" if broken else one.distrust(bool(roots))
            when = moment(one.claimed) if one.claimed is not None else "at no stated time"
            good.append(CertificateSignature(plain(one.role), one.name, when, broken or distrust, not broken, one.key))
            moments += [one.claimed] if one.claimed is not None else []
        return good, problem
    except Exception:  # the bytes are untrusted, and what the parsers raise is not documented
        return [], "what was appended after printing is damaged: no signature in it can be checked"


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
        if not self.written_plainly():
            yield "the signature is damaged"
        if not status.intact or not status.valid:
            yield "broken: the sheet was changed after it was signed, or the signature is damaged"
        if not status.docmdp_ok or getattr(status.coverage, "name", "") not in ("ENTIRE_FILE", "ENTIRE_REVISION"):
            yield "broken: it does not cover the whole sheet"
        if not self.nothing_unsigned():
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

    def written_plainly(self) -> bool:
        """Return whether the signature stands in the file as pyHanko writes it, filled up with zeros and nothing else.

        The place of the signature is the only part of the file that the signature does not cover.
        """
        from asn1crypto import parser  # type: ignore[import-untyped]

        first, start, second, _ = map(int, self.embedded.byte_range)
        hole = (self.sheet.base + self.sheet.appended)[first + start : second]
        if not re.fullmatch(rb"<[0-9A-F]+>", hole):
            return False
        body = bytes.fromhex(hole[1:-1].decode())
        try:  # an envelope (RFC 5652, 3) of the identifier, which takes 11 bytes, and of the data in a tag of its own
            whole = parser.parse(body)
            tagged = parser.parse(whole[4][11:], strict=True)
            data = parser.parse(tagged[4], strict=True)
        except ValueError:
            return False
        after = whole[5] + tagged[5] + data[5] + body[len(whole[3] + whole[4]) :].strip(b"\0")
        return not after and body.startswith(bytes(self.embedded.pkcs7_content).rstrip(b"\0"))

    def nothing_unsigned(self) -> bool:
        """Return whether what a signature does not cover of itself (RFC 5652, 5.1 and 5.3) can only be read in one way.

        One digest algorithm, that of the signer; no attributes beside the signed ones; no certificate that the path to
        a trusted one does not need; the algorithm of the signature without parameters that nobody reads.
        """
        data, signer, own = self.embedded.signed_data, self.embedded.signer_info, self.embedded.signer_cert
        path = self.status.validation_path
        used = None if path is None else {own.sha256, *(one.sha256 for one in path)}
        algorithm, digest, sid = signer["signature_algorithm"], signer["digest_algorithm"], signer["sid"].chosen
        name = algorithm["algorithm"].native
        kind = {"rsa": ("rsassa_pkcs1v15", "rsassa_pss", "sha256_rsa"), "ec": ("sha256_ecdsa",)}
        return bool(
            (used is None or used.issuperset(one.chosen.sha256 for one in data["certificates"]))
            and name in kind.get(own.public_key.algorithm, ())
            and (name == "rsassa_pss" or algorithm["parameters"].native is None)
            and digest["algorithm"].native == "sha256"
            and [one.dump() for one in data["digest_algorithms"]] == [digest.dump()]
            and digest["parameters"].native is None
            and not len(signer["unsigned_attrs"])
            and not len(data["crls"])
            and data["version"].native == signer["version"].native == "v1"
            and sid["serial_number"].native == own.serial_number
            and sid["issuer"].dump() == own.issuer.dump()
            and data["encap_content_info"]["content"].native is None
        )

    def not_named(
        self, case: Case | None, signed: Mapping[str, Entry], others: list[CertificateSignature]
    ) -> Iterator[str]:
        """Yield what speaks against this holder in this role; nothing without a case."""
        if case is None:
            return
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
