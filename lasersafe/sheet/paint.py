"""From laid-out pages to the bytes of a PDF file.

reportlab keeps the document, the fonts and the outline. The content of a page is written here as PDF operators
(ISO 32000-1, annex A), which takes a fifth of the time that a call for each piece of text would take.
"""

from __future__ import annotations

from dataclasses import dataclass
from io import BytesIO

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from lasersafe.sheet.flow import Box, Entry, Mark, Page, Path, Text
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
        self._shown: dict[tuple[str, str], list[tuple[str, str]]] = {}

    def shown(self, text: str, font: str) -> list[tuple[str, str]]:
        """Return pairs of the inner font name and the string in brackets."""
        found = self._shown.get((text, font))
        if found is None:
            found = self._shown[text, font] = self._encode(text, font)
        return found

    def _encode(self, text: str, font: str) -> list[tuple[str, str]]:
        codes = self._codes[font]
        for character in set(text).difference(codes):
            ((subset, code),) = pdfmetrics.getFont(font).splitString(character, self._document)
            codes[character] = (subset, _escaped(code[0]))
        parts: list[tuple[int, list[str]]] = []
        for character in text:
            subset, code = codes[character]
            if not parts or parts[-1][0] != subset:
                parts.append((subset, []))
            parts[-1][1].append(code)
        name = pdfmetrics.getFont(font).getSubsetInternalName
        return [(name(subset, self._document), f"({''.join(code)})") for subset, code in parts]


def _escaped(code: int) -> str:
    if 32 <= code < 127:
        character = chr(code)
        return "\\" + character if character in "()\\" else character
    return f"\\{code:03o}"


def paint(pages: list[Page], entries: list[Entry], size: tuple[float, float], draft: Text, facts: Facts) -> bytes:
    """Return the bytes of the file.

    Parameters
    ----------
    pages : list of Page
        Pages with all their marks.
    entries : list of Entry
        The outline, in the order of the pages.
    size : tuple of float
        Width and height of a page. [point]
    draft : Text
        The word that lies under the marks of each page, around its middle.
    facts : Facts
        Title, author and so on.

    Returns
    -------
    bytes
        A PDF file.
    """
    faces()
    rl_config.useA85 = 0  # binary streams: smaller, and quicker to write
    buffer = BytesIO()
    canvas = Canvas(
        buffer, pagesize=size, pageCompression=1, invariant=1, lang=facts.language, initialFontName=REGULAR
    )
    canvas.setTitle(facts.title)
    canvas.setAuthor(facts.author)
    canvas.setSubject(facts.subject)
    canvas.setCreator(facts.creator)
    canvas.setProducer(facts.creator)
    encoder = _Encoder(canvas)
    under = _operators([draft], encoder)
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
    canvas.showOutline()
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
            for name, shown in encoder.shown(mark.text, mark.font):
                if state != (name, mark.size, mark.ink):
                    state = (name, mark.size, mark.ink)
                    code.append(f"{name} {mark.size:.5g} Tf {mark.ink:.3g} g")
                if shown is not None:
                    code.append(f"{_place(mark)} Tm {shown} Tj")
            continue
        if text:
            code.append("ET")
            text = False
        code.append(_box(mark) if isinstance(mark, Box) else _path(mark))
    if text:
        code.append("ET")
    return code
