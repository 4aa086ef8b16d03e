"""From an assessment to the bytes of a PDF file."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path as FilePath

from lasersafe.drawing.primitives import Words, grey
from lasersafe.errors import InputError
from lasersafe.outputs import Output, write_outputs
from lasersafe.results import Assessment, SignOff
from lasersafe.sheet import back, drawings, front, shown, signatures, steps, tables, uncertainty
from lasersafe.sheet import pages as handouts
from lasersafe.sheet.flow import Mark, Page, Sheet
from lasersafe.sheet.fonts import refuse_unprintable
from lasersafe.sheet.paint import Attachment, Facts, paint
from lasersafe.sheet.text import Style, width_of, wrap
from lasersafe.wording import Wording, load_wording
from lasersafe.wording.localise import localise

PAPERS = {"A4": (595.2756, 841.8898), "Letter": (612.0, 792.0)}
_MARGIN = 42.0
_HEAD = 48.0
_FOOT = Style(7, ink=grey(0.2))
_PAGE = Style(7, True)
_FOOT_LINES = 4
_DRAFT_SIZE = 150.0
_PALE = grey(0.93)
_WORDS = {"draft": "draft.word", "printed for signature": "draft.for_signature", "signed": ""}
_HEADERS = {
    "draft": "draft.header",
    "printed for signature": "draft.for_signature_header",
    "signed": "draft.signed_header",
}


def write_sheet(assessment: Assessment, path: FilePath, *, paper: str = "A4", language: str | None = None) -> None:
    """Print an assessment as a PDF file.

    A file that is there is not replaced; the file appears whole or not at all.

    Parameters
    ----------
    assessment : Assessment
        What is printed.
    path : pathlib.Path
        Where to; a folder that is missing is made.
    paper : {"A4", "Letter"}
        Size of the pages.
    language : str, optional
        Folder of the wording; without it, the language of the assessment.

    Raises
    ------
    InputError
        If the paper or the language is not known.
    OutputError
        If a text holds a character that cannot be printed, or the file cannot be written.
    ReferenceDataError
        If a font or a wording file is damaged.
    """
    content = render_sheet(assessment, paper=paper, language=language)
    write_outputs([Output(FilePath(path), content)])


Places = Mapping[str, signatures.SignPlace]
_PARTS: tuple[Callable[[Sheet], None], ...] = (
    shown.scene_tables,
    shown.barriers_by_place,
    front.setups,
    shown.sources,
    tables.scenarios,
    tables.eyewear,
    tables.barriers,
    shown.pulsed,
    back.controls,
    back.area,
    back.other_hazards,
    back.acceptance,
    back.cautions,
    back.review,
    handouts.notice_flow,
    back.differences,
    uncertainty.uncertainty,
    back.inputs,
    steps.steps,
    back.notes,
)


def render_sheet(
    assessment: Assessment,
    *,
    paper: str = "A4",
    language: str | None = None,
    kind: str = "sheet",
    sign_off: SignOff | None = None,
    embed: Callable[[Places], Mapping[str, Attachment]] | None = None,
) -> bytes:
    """Return an assessment as the bytes of a PDF file; equal input gives equal bytes.

    Parameters
    ----------
    assessment : Assessment
        What is printed.
    paper : {"A4", "Letter"}
        Size of the pages.
    language : str, optional
        Folder of the wording; without it, the language of the assessment.
    kind : {"sheet", "prestart", "card", "sign"}
        The whole sheet, or one page to hand out.
    sign_off : SignOff, optional
        Who has signed; a draft when left out.
    embed : callable, optional
        Gets role -> place of its box for the signature when the pages are laid out, and returns the files that the
        sheet carries.

    Returns
    -------
    bytes
        A PDF file.

    Raises
    ------
    InputError
        If the paper or the language is not known.
    OutputError
        If a text holds a character that cannot be printed.
    ReferenceDataError
        If a font or a wording file is damaged.
    """
    if paper not in PAPERS:
        message = f"paper = '{paper}': allowed are {', '.join(PAPERS)}"
        raise InputError(message)
    wording = load_wording(language or assessment.language)
    assessment = localise(assessment, wording)
    refuse_unprintable(assessment)
    refuse_unprintable(wording, "wording")
    signed = sign_off or SignOff()
    refuse_unprintable(signed, "sign-off")
    size = PAPERS[paper]
    footer = _Footer(assessment, wording, size)
    places: Places = {}
    if kind == "sheet":
        sheet, places = lay_out(assessment, wording, size, footer.height, signed)
    else:
        sheet = Sheet(size, (_MARGIN, _HEAD, _MARGIN, footer.height + 12.0), assessment, wording)
        handouts.page(sheet, kind)
    header = _header(wording, size, signed.state)
    count = len(sheet.pages)
    pages = [Page([*header, *page.marks, *footer.marks(number, count)]) for number, page in enumerate(sheet.pages, 1)]
    program = wording.text("sheet.program", version=assessment.version)
    facts = Facts(
        title=assessment.title,
        author=", ".join(dict.fromkeys(name for name in assessment.people.values() if name)) or program,
        subject=f"{wording.text('sheet.kind')}, {assessment.rule_set}, {assessment.fingerprint}",
        creator=program,
        language=wording.language,
    )
    word = _WORDS[signed.state]
    under = _draft(wording.text(word), size) if word else None
    return paint(pages, sheet.entries, size, under, facts, embed(places) if embed else None)


def lay_out(
    assessment: Assessment, wording: Wording, size: tuple[float, float], foot: float, signed: SignOff | None = None
) -> tuple[Sheet, Places]:
    """Lay out all pages without header, footer and draft mark; ``foot`` is the height of the footer in points."""
    sheet = Sheet(size, (_MARGIN, _HEAD, _MARGIN, foot + 12.0), assessment, wording)
    front.decision(sheet)
    if len(sheet.pages) == 1:
        sheet.new_page()
    drawings.scene(sheet, next((name for name, known in PAPERS.items() if known == size), ""))
    for part in _PARTS:
        part(sheet)
    for kind in handouts.KINDS:
        handouts.page(sheet, kind)
    return sheet, signatures.sign_off(sheet, signed or SignOff())


class _Footer:
    """Title, fingerprint and version at the foot of each page, with the page number."""

    def __init__(self, assessment: Assessment, wording: Wording, size: tuple[float, float]) -> None:
        self.wording = wording
        self.right = size[0] - _MARGIN
        lines = [line[0].text for line in wrap(assessment.title, _FOOT, size[0] - 2 * _MARGIN)]
        if len(lines) > _FOOT_LINES:
            lines = [*lines[: _FOOT_LINES - 1], lines[_FOOT_LINES - 1][:-1] + "…"]
        text = wording.text
        facts = (
            text("sheet.fingerprint", fingerprint=assessment.fingerprint[:12]),
            text("sheet.program", version=assessment.version),
            text("sheet.rule_set", rule_set=assessment.rule_set),
        )
        room = size[0] - 2 * _MARGIN - 90.0
        self.lines = lines + [line[0].text for line in wrap(" · ".join(facts), _FOOT, room)]
        self.height = 24.0 + len(self.lines) * _FOOT.leading

    def marks(self, number: int, count: int) -> list[Mark]:
        """Return the footer of one page."""
        found: list[Mark] = []
        y = self.height
        for line in self.lines:
            y -= _FOOT.leading
            found.append(_FOOT.words(_MARGIN, y, line))
        page = self.wording.text("sheet.page", page=number, pages=count)
        found.append(_PAGE.words(self.right - width_of(page, _PAGE), y, page))
        return found


def _header(wording: Wording, size: tuple[float, float], state: str) -> list[Words]:
    y = size[1] - 30.0
    draft = Style(8, True)
    word = wording.text(_HEADERS[state])
    right = size[0] - _MARGIN - width_of(word, draft)
    return [Style(8, ink=grey(0.2)).words(_MARGIN, y, wording.text("sheet.kind")), draft.words(right, y, word)]


def _draft(word: str, size: tuple[float, float]) -> Words:
    """Return the pale word that lies across the page, under everything else, so that it hides nothing."""
    turn = math.degrees(math.atan2(size[1], size[0]))
    long = math.hypot(*size) * 0.62
    kind = Style(1.0, True)
    high = min(long / width_of(word, kind), _DRAFT_SIZE)
    wide = width_of(word, Style(high, True))
    cosine, sine = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    back, down = wide / 2, high * 0.36
    x = size[0] / 2 - back * cosine + down * sine
    y = size[1] / 2 - back * sine - down * cosine
    return Words(x, y, word, high, True, _PALE, turn=turn)
