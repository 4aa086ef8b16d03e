"""The printed sheet, from an assessment to the bytes of a PDF file: reads `lasersafe.results`, computes nothing."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import partial

from lasersafe.drawing.primitives import Words, grey
from lasersafe.drawing.text import decimals
from lasersafe.quantity import choice
from lasersafe.results import Assessment, SignOff
from lasersafe.sheet import back, drawings, front, shown, tables
from lasersafe.sheet import pages as handouts
from lasersafe.sheet.flow import Page, Plain, Sheet
from lasersafe.sheet.paint import Attachment, Facts, naming
from lasersafe.sheet.paint import paint as painted
from lasersafe.sheet.text import Style, width_of, wrap
from lasersafe.wording import Wording, load_wording, localise

PAPERS = {"A4": (595.2756, 841.8898), "Letter": (612.0, 792.0)}
_MARGIN = 42.0
_HEAD = 44.0
_FOOT = Style(7, ink=grey(0.2))
_PAGE = Style(7, True)
_FOOT_LINES, _NUMBER = 4, 90.0  # lines of the title; room for the number of the page [point]
_DRAFT_SIZE = 150.0
_PALE = grey(0.93)
_WORDS = {"draft": "draft.word", "printed for signature": "draft.for_signature", "signed": "", "annex": ""}
_HEADERS = {
    "draft": "draft.header",
    "printed for signature": "draft.for_signature_header",
    "signed": "draft.signed_header",
    "annex": "draft.annex_header",
}


Places = Mapping[str, front.SignPlace]
_PARTS: tuple[Callable[[Sheet], None], ...] = (
    tables.people, tables.barriers, tables.controls, back.acceptance, back.other_hazards, back.cautions, back.review,
)  # fmt: skip
_BEFORE_PLAN = _PARTS[:3]
_ANNEX: tuple[Callable[[Sheet], None], ...] = (
    back.inputs, drawings.annex, shown.scene_tables, shown.barriers_by_place, shown.setups, shown.sources,
    tables.scenarios, tables.eyewear, tables.barrier_loads, shown.pulsed, back.uncertainty,
    back.steps, back.expected, back.proposals, back.hazard_sources, handouts.notice_flow,
)  # fmt: skip
_TEXT: tuple[Callable[[Sheet], None], ...] = (
    shown.setups, shown.barriers_by_place, tables.barrier_loads, shown.sources, back.uncertainty, tables.scenarios,
)  # fmt: skip


def render_sheet(
    assessment: Assessment,
    *,
    paper: str = "A4",
    language: str | None = None,
    kind: str = "sheet",
    sign_off: SignOff | None = None,
    annex: str = "",
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
    kind : {"sheet", "annex", "prestart", "card", "sign"}
        The sheet that is signed, the annex with what stands behind it, or one page to hand out.
    sign_off : SignOff, optional
        Who has signed; a draft when left out. The annex is the same whoever has signed.
    annex : str
        SHA-256 of the file with the annex, which the sheet prints; empty where there is none.
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
    wording = load_wording(language or assessment.language)
    assessment = localise(assessment, wording)
    signed = sign_off or SignOff()
    size = PAPERS[choice("paper", paper, PAPERS)]
    foot_height, foot = _footer(assessment, wording, size[0])
    places: Places = {}
    sheet = Sheet(size, (_MARGIN, _HEAD, _MARGIN, foot_height + 9.0), assessment, wording, paper)
    with decimals(wording):
        if kind == "sheet":
            places = lay_out(sheet, signed, annex)
        elif kind == "annex":
            lay_out_annex(sheet)
        else:
            handouts.page(sheet, kind, signed)
    state = "annex" if kind == "annex" else signed.state
    name = wording.text("sheet.annex_kind" if kind == "annex" else "sheet.kind")
    strong, state_words = Style(8, True), wording.text(_HEADERS[state])
    right = size[0] - _MARGIN - width_of(state_words, strong)
    header = [
        Style(8, ink=grey(0.2)).words(_MARGIN, size[1] - 30.0, name),
        strong.words(right, size[1] - 30.0, state_words),
    ]
    count = len(sheet.pages)
    pages = []
    for number, page in enumerate(sheet.pages, 1):
        numbered = wording.text("sheet.page", page=number, pages=count)
        x = size[0] - _MARGIN - width_of(numbered, _PAGE)
        pages.append(Page(page.marks, [*header, *foot, _PAGE.words(x, foot[-1].y, numbered)]))
    program = wording.text("sheet.program", version=assessment.version)
    facts = Facts(
        title=assessment.title,
        author=", ".join(dict.fromkeys(name for name in assessment.people.values() if name)) or program,
        subject=f"{name}, {assessment.rule_set}, {assessment.fingerprint}",
        creator=program,
        language=wording.language,
    )
    word = _WORDS[state]
    under = _draft(wording.text(word), size) if word else None
    with naming({"": assessment, "wording": wording, "sign-off": signed}):
        return painted(pages, sheet.entries, size, under, facts, embed(places) if embed else None)


def lay_out(sheet: Sheet, signed: SignOff, annex: str = "") -> Places:
    """Lay out the pages of the sheet without header, footer and draft mark; return role -> place to sign."""
    front.decision(sheet, signed)
    places = sheet.fitted(partial(front.sign_off, signed=signed, annex=annex), (8.5, 7.0))
    parts = list(_PARTS)
    for part in _BEFORE_PLAN if sheet.assessment.scene is not None else ():  # it takes a page of its own
        if sheet.fits(sheet.y, part):
            part(sheet)
            parts.remove(part)
    drawings.plan(sheet)
    for part in parts:
        part(sheet)
    return places


def lay_out_annex(sheet: Sheet) -> None:
    """Lay out the pages of the annex without header and footer."""
    sheet.paragraph(sheet.assessment.title, Style(15, True, after=2))
    sheet.paragraph(sheet.text("annex.intro", fingerprint=sheet.assessment.fingerprint))
    back.marks(sheet)
    for part in _ANNEX:
        part(sheet)
    for kind in handouts.KINDS:
        handouts.page(sheet, kind)


def tables_as_text(assessment: Assessment, wording: Wording) -> list[str]:
    """Return the tables of the annex on distances, barriers and scenarios, line by line."""
    sheet = Plain(localise(assessment, wording), wording)
    for part in _TEXT:
        part(sheet)
    return sheet.said


def _footer(assessment: Assessment, wording: Wording, width: float) -> tuple[float, list[Words]]:
    """Return the height of the footer, and title, fingerprint and version, which stand at the foot of each page."""
    text, room = wording.text, width - 2 * _MARGIN
    lines = [line[0].text for line in wrap(assessment.title, _FOOT, room)]
    if len(lines) > _FOOT_LINES:
        lines = [*lines[: _FOOT_LINES - 1], lines[_FOOT_LINES - 1][:-1] + "…"]
    facts = (
        text("sheet.fingerprint", fingerprint=assessment.fingerprint[:12]),
        text("sheet.program", version=assessment.version),
        text("sheet.rule_set", rule_set=assessment.rule_set),
    )
    lines += [line[0].text for line in wrap(" · ".join(facts), _FOOT, room - _NUMBER)]
    height = 24.0 + len(lines) * _FOOT.leading
    return height, [_FOOT.words(_MARGIN, height - n * _FOOT.leading, line) for n, line in enumerate(lines, 1)]


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
