"""From laid-out pages to the bytes of a PDF file.

reportlab keeps the document, the fonts and the outline. The content of a page is written here as PDF operators
(ISO 32000-1, annex A), which takes a fifth of the time that a call for each piece of text would take.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from io import BytesIO
from itertools import groupby

from reportlab.pdfbase import pdfdoc, pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from lasersafe.sheet.flow import Box, Entry, Mark, Page, Path, Text, Vector
from lasersafe.sheet.fonts import BOLD, REGULAR, faces


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
        self._codes: dict[str, dict[str, tuple[int, str]]] = {REGULAR: {}, BOLD: {}}
        self._names: dict[tuple[str, int], str] = {}
        self._shown: dict[tuple[str, str], list[tuple[str, str]]] = {}

    def shown(self, text: str, font: str) -> list[tuple[str, str]]:
        """Return pairs of the inner font name and the string in brackets."""
        found = self._shown.get((text, font))
        if found is None:
            found = self._shown[text, font] = self._encode(text, font)
        return found

    def _encode(self, text: str, font: str) -> list[tuple[str, str]]:
        codes = self._codes[font]
        if not codes.keys() >= set(text):
            for character in [each for each in dict.fromkeys(text) if each not in codes]:
                ((subset, code),) = pdfmetrics.getFont(font).splitString(character, self._document)
                codes[character] = (subset, _escaped(code[0]))
        subsets = {codes[character][0] for character in text}
        if len(subsets) == 1:
            (subset,) = subsets
            return [(self._name(font, subset), f"({''.join([codes[character][1] for character in text])})")]
        runs = [(subset, "".join(codes[c][1] for c in run)) for subset, run in groupby(text, lambda c: codes[c][0])]
        return [(self._name(font, subset), f"({run})") for subset, run in runs]

    def _name(self, font: str, subset: int) -> str:
        name = self._names.get((font, subset))
        if name is None:
            name = self._names[font, subset] = pdfmetrics.getFont(font).getSubsetInternalName(subset, self._document)
        return name


def _escaped(code: int) -> str:
    if 32 <= code < 127:
        character = chr(code)
        return "\\" + character if character in "()\\" else character
    return f"\\{code:03o}"


def paint(
    pages: list[Page],
    entries: list[Entry],
    size: tuple[float, float],
    draft: Text | None,
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
    draft : Text or None
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
    faces()
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=size, pageCompression=1, invariant=1, lang=facts.language, initialFontName=REGULAR)
    canvas.setTitle(facts.title)
    canvas.setAuthor(facts.author)
    canvas.setSubject(facts.subject)
    canvas.setCreator(facts.creator)
    canvas.setProducer(facts.creator)
    encoder = _Encoder(canvas)
    under = _operators([draft] if draft else [], encoder)
    waiting = iter(entries)
    entry = next(waiting, None)
    count = 0
    for number, page in enumerate(pages):
        while entry is not None and entry.page == number:
            count += 1
            canvas.bookmarkHorizontal(f"entry{count}", 0, entry.top + 4.0)
            canvas.addOutlineEntry(entry.title, f"entry{count}", entry.level, closed=entry.level > 0)
            entry = next(waiting, None)
        canvas.drawText(_Content("\n".join(under + _operators(page.marks, encoder))))
        canvas.showPage()
        done = canvas._doc.Pages.pages[-1]
        # binary, smaller and quicker to write; without the switch useA85, which all threads share
        done.Contents = pdfdoc.PDFStream(content=done.stream, filters=[pdfdoc.PDFZCompress])
    canvas.showOutline()
    if attachments:
        _attach(canvas, attachments)
    canvas.save()
    return buffer.getvalue()


def _operators(marks: list[Mark], encoder: _Encoder) -> list[str]:
    """Return the operators that draw the marks in their order."""
    code: list[str] = []
    text = False
    state: tuple[str, float, float] | None = None
    for mark in marks:
        if isinstance(mark, Text):
            if not text:
                code.append("BT")
                text, state = True, None
            origin = f"{_matrix(mark)} Tm "
            for name, shown in encoder.shown(mark.text, mark.font):
                if state != (name, mark.size, mark.ink):
                    state = (name, mark.size, mark.ink)
                    code.append(f"{name} {mark.size:.5g} Tf {mark.ink:.3g} g")
                code.append(f"{origin}{shown} Tj")
                origin = ""
            continue
        if text:
            code.append("ET")
            text = False
        if isinstance(mark, Vector):
            code.append(f"q 1 0 0 1 {mark.x:.2f} {mark.y:.2f} cm\n{mark.code}\nQ")
            continue
        code.append(_box(mark) if isinstance(mark, Box) else _path(mark))
    if text:
        code.append("ET")
    return code


def _matrix(mark: Text) -> str:
    if not mark.turn:
        return f"1 0 0 1 {mark.x:.2f} {mark.y:.2f}"
    cosine, sine = math.cos(math.radians(mark.turn)), math.sin(math.radians(mark.turn))
    return f"{cosine:.5f} {sine:.5f} {-sine:.5f} {cosine:.5f} {mark.x:.2f} {mark.y:.2f}"


def _box(box: Box) -> str:
    code = f"{box.x:.2f} {box.y:.2f} {box.width:.2f} {box.height:.2f} re"
    if box.fill is None:
        return f"{_pen(box.ink or 0.0, box.thick)} {code} S"
    if box.ink is None:
        return f"{box.fill:.3g} g {code} f"
    return f"{_pen(box.ink, box.thick)} {box.fill:.3g} g {code} B"


def _path(path: Path) -> str:
    (x, y), *rest = path.points
    code = f"{x:.2f} {y:.2f} m " + " ".join([f"{x:.2f} {y:.2f} l" for x, y in rest])
    if path.fill is not None:
        return f"{path.fill:.3g} g {code} f"
    return f"{_pen(path.ink, path.thick, path.dashes)} {code} S"


def _pen(ink: float, thick: float, dashes: tuple[float, ...] = ()) -> str:
    return f"{ink:.3g} G {thick:.3g} w [{' '.join(f'{dash:.3g}' for dash in dashes)}] 0 d"


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
