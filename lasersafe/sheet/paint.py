"""From laid-out pages to the bytes of a PDF file, and which characters can be printed.

reportlab keeps the document, the fonts and the outline. The content of a page is written here as PDF operators
(ISO 32000-1, annex A), which takes a fifth of the time that a call for each piece of text would take.
"""

from __future__ import annotations

import math
import unicodedata
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from itertools import groupby

from reportlab.pdfbase import pdfdoc, pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from lasersafe.drawing.primitives import Lines, Run, Words
from lasersafe.drawing.text import NAMES, widths
from lasersafe.errors import OutputError
from lasersafe.sheet.flow import MILLIMETRE, Entry, Mark, Page, Placed

_SPACES = {"\n", "\r", "\t", "\v", "\f", "\u0085", "\u2028", "\u2029", "\u00a0", "\u2007", "\u202f"}
_LONGEST_QUOTE = 60


@lru_cache(maxsize=1)
def printable() -> frozenset[str]:
    """Return the characters that both typefaces have, and the white space that becomes a space or a new line."""
    shared = widths(False).keys() & widths(True).keys()
    return frozenset(each for each in shared if unicodedata.category(each)[0] != "C") | _SPACES


def refuse_unprintable(record: object, name: str = "") -> None:
    """Refuse a record that holds a character which cannot be printed.

    Raises
    ------
    OutputError
        Naming the first such field, the character, its code point and the text.
    """
    for place, text in _texts(record, name):
        if found := next((each for each in unicodedata.normalize("NFC", text) if each not in printable()), ""):
            raise OutputError(_refusal(place.lstrip("."), text, found))


def _texts(value: object, place: str) -> Iterator[tuple[str, str]]:
    """Yield where each text of a record stands, and the text."""
    if isinstance(value, str):
        yield place, value
    elif hasattr(value, "__dataclass_fields__"):
        for name, entry in vars(value).items():
            yield from _texts(entry, f"{place}.{name}")
    elif isinstance(value, Mapping):
        for key, entry in value.items():
            yield f"{place} (a key)", str(key)
            yield from _texts(entry, f"{place}[{key}]")
    elif isinstance(value, tuple | list):
        for number, entry in enumerate(value, 1):
            yield from _texts(entry, f"{place}[{number}]")


@contextmanager
def naming(records: Mapping[str, object]) -> Iterator[None]:
    """Where a character cannot be printed, name the field of some records that has it; each is given by its name."""
    try:
        yield
    except OutputError:
        for name, record in records.items():
            refuse_unprintable(record, name)
        raise


def _refusal(place: str, text: str, character: str) -> str:
    code = f"U+{ord(character):04X}"
    shown = character if character.isprintable() else "without a shape"
    name = unicodedata.name(character, "no name")
    quoted = text if len(text) <= _LONGEST_QUOTE else text[:_LONGEST_QUOTE] + "..."
    safe = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in quoted)
    return (
        f"{place}: the character {shown} ({code}, {name}) cannot be printed; the text is '{safe}'; "
        "the sheet prints Latin, Greek and Cyrillic letters and common signs: write it with those"
    )


@dataclass(frozen=True)
class Facts:
    """What the file says about itself."""

    title: str
    author: str
    subject: str
    creator: str
    language: str


@dataclass(frozen=True)
class Attachment:
    """A file that the document carries: its size, and its content as it is packed."""

    size: int
    packed: bytes


def attachment(content: bytes) -> Attachment:
    """Return a file as a document carries it."""
    return Attachment(len(content), zlib.compress(content, 9))


@dataclass(frozen=True)
class _Content:
    """What ``Canvas.drawText`` takes: anything that has operators to give."""

    code: str

    def getCode(self) -> str:  # noqa: N802 (the name that reportlab asks for)
        return self.code


class _Encoder:
    """Text to the operators that show it, in the subsets of the embedded fonts."""

    def __init__(self, canvas: Canvas) -> None:
        self._document = canvas._doc
        self._fonts: tuple[dict[str, str], dict[str, str]] = {}, {}  # character -> inner name of its font
        self._codes: tuple[dict[int, str], dict[int, str]] = {}, {}  # and what stands for it there

    def shown(self, text: str, bold: bool) -> list[tuple[str, str]]:
        """Return pairs of the inner font name and the string in brackets."""
        fonts, codes = self._fonts[bold], self._codes[bold]
        used = dict.fromkeys(text)  # in their order, so that equal input gives equal bytes
        for character in used:
            if character not in fonts:
                if character not in printable():
                    raise OutputError(_refusal("page", text, character))
                font = pdfmetrics.getFont(NAMES[bold])
                ((subset, code),) = font.splitString(character, self._document)
                fonts[character] = font.getSubsetInternalName(subset, self._document)
                plain = chr(code[0]) if 32 <= code[0] < 127 else f"\\{code[0]:03o}"
                codes[ord(character)] = f"\\{plain}" if plain in "()\\" else plain
        if len({fonts[character] for character in used}) == 1:
            return [(fonts[text[0]], f"({text.translate(codes)})")]
        runs = groupby(text, fonts.__getitem__)
        return [(name, f"({''.join(run).translate(codes)})") for name, run in runs]


def paint(
    pages: list[Page],
    entries: list[Entry],
    size: tuple[float, float],
    draft: Words | None,
    facts: Facts,
    attachments: Mapping[str, Attachment] | None = None,
) -> bytes:
    """Return the bytes of the file.

    Parameters
    ----------
    pages : list of Page
        Pages with all their marks.
    entries : list of Entry
        The outline, in the order of the pages.
    size : tuple of float
        Width and height of a page. [point]
    draft : Words or None
        The word that lies under the marks of each page, around its middle.
    facts : Facts
        Title, author and so on.
    attachments : mapping of str to Attachment, optional
        The files that the file carries, by name.

    Returns
    -------
    bytes
        A PDF file.
    """
    widths(False), widths(True)  # makes both typefaces known
    buffer = BytesIO()
    canvas = Canvas(
        buffer, pagesize=size, pageCompression=1, invariant=1, lang=facts.language, initialFontName=NAMES[False]
    )
    canvas.setTitle(facts.title)
    canvas.setAuthor(facts.author)
    canvas.setSubject(facts.subject)
    canvas.setCreator(facts.creator)
    canvas.setProducer(facts.creator)
    canvas.setViewerPreference("DisplayDocTitle", "true")
    encoder, tree = _Encoder(canvas), _Tree(canvas)
    under = _operators([draft] if draft else [], encoder)
    for number, page in enumerate(pages):
        here = [entry for entry in entries if entry.page == number]
        for count, entry in enumerate(entries, 1):
            if entry.page == number:
                canvas.bookmarkHorizontal(f"entry{count}", 0, entry.top + 4.0)
                canvas.addOutlineEntry(entry.title, f"entry{count}", entry.level, closed=entry.level > 0)
        parts = _tagged(page.marks, here, facts.title)
        code = ["/Artifact BMC", *under, *_operators(page.around, encoder), "EMC"]
        for count, (tag, _, marks) in enumerate(parts):
            code += [f"/{tag} <</MCID {count}>> BDC" if tag else "/Artifact BMC", *_operators(marks, encoder), "EMC"]
        canvas.drawText(_Content("\n".join(code)))
        canvas.showPage()
        done = canvas._doc.Pages.pages[-1]
        # binary, smaller and quicker to write; without the switch useA85, which all threads share
        done.Contents = pdfdoc.PDFStream(content=done.stream, filters=[pdfdoc.PDFZCompress])
        tree.add(done, parts)
    tree.close()
    canvas.showOutline()
    if attachments:
        _attach(canvas, attachments)
    canvas.save()
    return buffer.getvalue()


_Part = tuple[str, str, list[Mark]]  # tag ("" for what only decorates), what is said of a drawing, and the marks


def _tagged(marks: Iterable[Mark], headings: Sequence[Entry], title: str) -> list[_Part]:
    """Return the marks of a page in tagged parts: headings, drawings, text, and the lines and areas behind it."""
    parts: list[_Part] = []
    behind, text, said = list[Mark](), list[Mark](), title

    def close() -> None:
        parts.extend((tag, "", [*group]) for tag, group in (("", behind), ("P", text)) if group)
        behind.clear()
        text.clear()

    for mark in marks:
        if isinstance(mark, Placed):
            close()
            parts.append(("Figure", mark.drawing.title or said, [mark]))
        elif isinstance(mark, Words):
            fits = (one for one in headings if mark.bold and mark.size == one.size)
            found = next((one for one in fits if 0.0 < one.top - mark.y < 4.0 * one.size), None)
            if found is None:
                text.append(mark)
                continue
            close()
            tag, said = f"H{found.level + 1}", found.title
            if parts and parts[-1][0] == tag:
                parts[-1][2].append(mark)  # another line of it
            else:
                parts.append((tag, "", [mark]))
        else:
            behind.append(mark)
    close()
    return parts


class _Tree:
    """The structure of a tagged document (ISO 32000-1, 14.7 and 14.8); what only decorates is no part of it."""

    def __init__(self, canvas: Canvas) -> None:
        self.document, self.root = canvas._doc, pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("StructTreeRoot")})
        whole = {"S": pdfdoc.PDFName("Document"), "P": self.document.Reference(self.root)}
        self.whole = pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("StructElem"), **whole})
        self.every: list[object] = []
        self.pages: list[object] = []

    def add(self, page: pdfdoc.PDFPage, parts: Sequence[_Part]) -> None:
        """Add the tagged parts of a page."""
        number, own = len(self.pages) // 2, list[object]()
        page.__Defaults__ = {**page.__Defaults__, "StructParents": number, "Tabs": pdfdoc.PDFName("S")}
        for count, (tag, said, _) in enumerate(parts):
            entry = {"Type": pdfdoc.PDFName("StructElem"), "S": pdfdoc.PDFName(tag or "P"), "K": count}
            entry |= {"P": self.document.Reference(self.whole), "Pg": self.document.Reference(page)}
            entry |= {"Alt": pdfdoc.PDFString(said)} if said else {}
            own.append(self.document.Reference(pdfdoc.PDFDictionary(entry)) if tag else b"null")
        self.every += [one for one in own if one != b"null"]
        self.pages += [number, pdfdoc.PDFArray(own)]

    def close(self) -> None:
        """Put the structure into the document."""
        self.whole["K"], self.root["K"] = pdfdoc.PDFArray(self.every), self.document.Reference(self.whole)
        self.root["ParentTree"] = self.document.Reference(pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(self.pages)}))
        self.document.Catalog.StructTreeRoot = self.root
        self.document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": b"true"})


def _operators(marks: Iterable[Mark], encoder: _Encoder, unit: float = 1.0) -> list[str]:
    """Return the operators that draw the marks in their order; ``unit`` is how many points their measures have."""
    code: list[str] = []
    state: tuple[str, float, str] | None = None
    text = False
    for mark in marks:
        if isinstance(mark, Words):
            if not text:
                code.append("BT")
                text, state = True, None
            cosine, sine = math.cos(math.radians(mark.turn)), math.sin(math.radians(mark.turn))
            turn = f"{cosine:.5f} {sine:.5f} {-sine:.5f} {cosine:.5f}" if mark.turn else "1 0 0 1"
            origin = f"{turn} {mark.x * unit:.2f} {mark.y * unit:.2f} Tm "
            for name, shown in encoder.shown(mark.text, mark.bold):
                if state != (name, mark.size, mark.ink):
                    state = (name, mark.size, mark.ink)
                    code.append(f"{name} {mark.size * unit:.5g} Tf {_colour(mark.ink)}")
                code.append(f"{origin}{shown} Tj")
                origin = ""
            continue
        if text:
            code.append("ET")
            text = False
        if isinstance(mark, Placed):
            code.append(f"q 1 0 0 1 {mark.x:.2f} {mark.y:.2f} cm")
            code += [*_operators(mark.drawing.marks, encoder, MILLIMETRE), "Q"]
        elif isinstance(mark, Lines):
            dashes = " ".join([f"{dash * unit:.2f}" for dash in mark.dashes])
            pen = f"{_colour(mark.ink).upper()} {mark.thick * unit:.2f} w [{dashes}] 0 d "
            code.append(pen + " ".join([_run(run, unit) for run in mark.runs]) + " S")
        else:
            rings = " ".join([_run(ring, unit) + " h" for ring in mark.rings])
            code.append(f"{_colour(mark.fill)} {rings} f*")
    return [*code, "ET"] if text else code


def _run(run: Run, unit: float) -> str:
    (x, y), *rest = run
    return f"{x * unit:.2f} {y * unit:.2f} m" + "".join([f" {x * unit:.2f} {y * unit:.2f} l" for x, y in rest])


@lru_cache(maxsize=64)
def _colour(ink: str) -> str:
    """Return the operator that fills with an ink; in capitals it is the one of a pen."""
    red, green, blue = [f"{int(ink[k : k + 2], 16) / 255:.3g}" for k in (1, 3, 5)]
    return f"{red} g" if red == green == blue else f"{red} {green} {blue} rg"


def _attach(canvas: Canvas, attachments: Mapping[str, Attachment]) -> None:
    """Put files into the document (ISO 32000-1, 7.11.4), in the order of their names, as the name tree asks."""
    document = canvas._doc
    listed: list[object] = []
    for name, carried in sorted(attachments.items()):
        kind = "application#2Fjson" if name.endswith(".json") else "text#2Fplain"
        head = {
            "Type": pdfdoc.PDFName("EmbeddedFile"),
            "Filter": pdfdoc.PDFName("FlateDecode"),
            "Params": pdfdoc.PDFDictionary({"Size": carried.size}),
        }
        stream = pdfdoc.PDFStream(pdfdoc.PDFDictionary(head), carried.packed)
        stream.dictionary["Subtype"] = f"/{kind}".encode()
        file = pdfdoc.PDFDictionary({"F": document.Reference(stream)})
        specification = {
            "Type": pdfdoc.PDFName("Filespec"),
            "F": f"({name})".encode(),
            "UF": f"({name})".encode(),
            "EF": file,
            "AFRelationship": pdfdoc.PDFName("Data"),
        }
        listed += [f"({name})".encode(), document.Reference(pdfdoc.PDFDictionary(specification))]
    files = pdfdoc.PDFDictionary({"Names": pdfdoc.PDFArray(listed)})
    form = {"Fields": pdfdoc.PDFArray([]), "SigFlags": 3}  # there already, so that a signature adds its field only
    document.Catalog.AcroForm = pdfdoc.PDFDictionary(form)
    document.Catalog.Names = pdfdoc.PDFDictionary({"EmbeddedFiles": files})
