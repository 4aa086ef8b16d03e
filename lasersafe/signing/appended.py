"""What stands after the end of a printed sheet: fields, stamps and signatures as signing writes them, nothing else.

Whoever holds one trusted certificate may append what he likes and sign that. So each revision is compared with what
this program appends: the form fields in the places to sign that the sheet names, a stamp with name and time, a
signature. Anything else that a reader of PDF files could show, run or take for the sheet is named.
"""

from __future__ import annotations

import re
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from lasersafe.signing.container import SheetFile
from lasersafe.signing.state import spoken

if TYPE_CHECKING:
    from lasersafe.signing.container import About

FIELD = "lasersafe_"
STAMP = "Signed with a certificate"
NOT_ASCII = "(name: see the signature itself)"  # the typeface of the stamp has no other letters
_REVISION = re.compile(
    rb"xref\n0 1\n0000000000 65535 f \n((?:\d+ \d+\n(?:\d{10} 00000 n \n)+)+)"
    rb"trailer\n<<\n((?:/ID \[ <[0-9a-f]*> <[0-9a-f]*> \]\n|/(?:Info|Root) \d+ 0 R\n|/(?:Size|Prev) \d+\n){5})>>\n"
    rb"startxref\n(\d+)\n%%EOF\n"
)
_VERSIONS = (None, "/1.7", "/2.0")
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
_MANY = "more was appended than there are places to sign"
_END = "what was appended after printing does not end as signing ends it"
_FACTS = "what was appended gives the sheet another title or other facts"
_TWICE = "a place to sign was appended twice"
_UPON = "something was put upon a page besides the places to sign"
_NO_PLACE = "a form field was appended that is no place to sign"
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


def stamps(sheet: SheetFile, about: About) -> dict[str, tuple[str, datetime]]:
    """Return role -> name and time as stamped, when all that was appended is what signing appends.

    Raises
    ------
    AppendedError
        If there is anything else; the message says what.
    """
    from io import BytesIO

    from pyhanko.pdf_utils.reader import PdfFileReader

    numbers = _revisions(sheet)
    _need(len(numbers) <= len(about.sign_here), _MANY)
    reader = PdfFileReader(BytesIO(sheet.base + sheet.appended), strict=True)
    _need(reader.xrefs.total_revisions == len(numbers) + 1, _BESIDES)
    own = len(sheet.offsets)
    printed = _Revision(reader.get_historical_resolver(0), about, own)
    found: dict[str, tuple[str, datetime]] = {}
    for count, changed in enumerate(numbers, 1):
        found = _Revision(reader.get_historical_resolver(count), about, own).check(printed, changed)
        _need(len(found) == count, _BESIDES)
    return found


def _revisions(sheet: SheetFile) -> list[set[int]]:
    """Return the numbers of the objects of each revision; between and around them there is not one byte."""
    content, place = sheet.base + sheet.appended, len(sheet.base)
    previous, found, size = sheet.table, [], len(sheet.offsets) + 1
    while place < len(content):
        match = _REVISION.search(content, place)
        if match is None or int(match[3]) != match.start():
            raise AppendedError(_END)
        numbers = _numbers(content, place, match)
        size = max(size, *(number + 1 for number in numbers))
        right = {*_ROOTS.findall(sheet.base[sheet.table :]), b"/Prev %d\n" % previous, b"/Size %d\n" % size}
        told = _TRAILER.findall(match[2])
        _need(len(told) == len(right) and set(told) == right, _END)
        found.append(numbers)
        previous, place = match.start(), match.end()
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
        self.pages = self._pages(self.number(self.catalog.get("/Pages")), 0)

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

    def _pages(self, number: int, depth: int) -> list[int]:
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
        _need(self.catalog.get("/Version") in _VERSIONS, _CHANGES)
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
        _need(len(names) == len(self.form["/Fields"]), _TWICE)
        _need(self.pages == printed.pages, _CHANGES)
        for page, fields in on_page.items():
            allowed.add(page)
            _same(printed.plain(page), self.plain(page), {"/Annots"})
            _need(self.plain(page).get("/Annots") == fields, _UPON)
        _need(all(map(self._left_empty, changed - allowed)), _CHANGES)
        return found

    def _left_empty(self, number: int) -> bool:
        """Return whether an object is the empty look that a place had before it was signed; nothing refers to it."""
        stream = self.raw(number)
        return number > self.printed_objects and bool(_plain(stream).get("/Subtype") == "/Form" and not stream.data)

    def _field(self, number: int) -> tuple[str, int, set[int], tuple[str, datetime] | None]:
        """Return role, page, the objects that make up a field, and what is stamped when it is signed."""
        field = self.plain(number)
        role = str(field.get("/T", "")).removeprefix(FIELD)
        place = self.about.sign_here.get(role)
        if place is None or field["/T"] != FIELD + role:
            raise AppendedError(_NO_PLACE)
        page, box = self.pages[place[0]], [float(each) for each in place[1]]
        right = field.get("/P") == ("R", page) and field.get("/Rect") == box
        _need(right, f"the signature of {spoken(role)} is not in its place to sign")
        look = field.get("/AP")
        wanted = {"/FT": "/Sig", "/Type": "/Annot", "/Subtype": "/Widget", "/F": 132.0}
        _need(_holds(field, wanted) and set(field) <= {*wanted, "/T", "/P", "/Rect", "/AP", "/V"}, _DOES_MORE)
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
        _need(set(signature) == _SIGNATURE, _SAYS)
        _need(_holds(signature, {"/Reason": reason(self.about, role), "/SubFilter": "/ETSI.CAdES.detached"}), _SAYS)
        parts |= {self._typeface(resources), self.number(field["/V"])}
        return role, page, parts, _stamped(stream.data)

    def _typeface(self, resources: dict[str, Any]) -> int:
        """Return the object that describes the typeface of a stamp, which is the plain Courier of every reader."""
        font = resources.get("/Font", {}).get("/F1", {})
        plain = {"/Type": "/Font", "/BaseFont": "/Courier", "/Subtype": "/Type1", "/Encoding": "/WinAnsiEncoding"}
        described = self.number(font.get("/FontDescriptor"))
        _need(set(resources) == {"/Font"} and set(resources["/Font"]) == {"/F1"} and _holds(font, plain), _NO_STAMP)
        _need(set(font) <= {*plain, "/FirstChar", "/LastChar", "/Widths", "/FontDescriptor"}, _NO_STAMP)
        _need(not _references([{**font, "/FontDescriptor": None}, self.plain(described)]), _NO_STAMP)
        return described


def _stamped(content: bytes) -> tuple[str, datetime]:
    """Return name and time of a stamp, which draws three texts and a frame."""
    shown = [_text(each) for each in _STAMPED.findall(content)]
    rest = _STAMPED.sub(b" ", content).replace(b"Tj", b" ").decode("ascii", "replace").split()
    others = {each for each in rest if not re.fullmatch(r"-?\d+(\.\d+)?", each)}
    _need(len(shown) == 3 and shown[0] == STAMP and others <= _OPERATORS, _NO_STAMP)
    try:
        return shown[1], datetime.strptime(shown[2][:16], "%Y-%m-%d %H:%M")
    except ValueError:
        raise AppendedError(_NO_STAMP) from None


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


def _holds(table: dict[str, Any], wanted: dict[str, Any]) -> bool:
    return all(table.get(key) == value for key, value in wanted.items())


def _same(old: dict[str, Any], new: dict[str, Any], but: set[str]) -> None:
    _need(all(old.get(key) == new.get(key) for key in (old.keys() | new.keys()) - but), _CHANGES)
