"""Plans and elevations in the PDF, as a part of the sheet or pages of their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import lasersafe
from lasersafe.drawing import symbols
from lasersafe.drawing.elevation import elevation_pages
from lasersafe.drawing.exposure_map import map_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_page, way_pages
from lasersafe.drawing.primitives import Drawing
from lasersafe.sheet.flow import MILLIMETRE, Page, Placed, Sheet
from lasersafe.sheet.fonts import refuse_unprintable
from lasersafe.sheet.paint import Facts, paint
from lasersafe.wording import Wording

_ELEVATION = 118.0  # height of an elevation in the sheet [mm]
_MAP = 150.0
_WAY, _GAP = 95.0, 4.0  # height of a drawing of one way, and what lies between two of them
_TALL_MAP, _LEAST_MAP = 220.0, 125.0


def warning(sheet: Sheet, side: float) -> float:
    """Draw the warning sign for laser light at the upper right; return how far down it reaches.

    Parameters
    ----------
    sheet : Sheet
        Where.
    side : float
        Of the triangle. [mm]
    """
    high = side * 0.87
    drawing = Drawing("sign", "", side, high, (0.0, 0.0, side, high), 0, symbols.hazard((0.0, 0.0), side))
    foot = sheet.y - high * MILLIMETRE
    sheet.marks.append(Placed(sheet.left + sheet.width - side * MILLIMETRE, foot, drawing))
    return foot


def plan(sheet: Sheet) -> None:
    """Print the plan of a case that has a scene."""
    if sheet.assessment.scene is not None:
        sheet.new_page()
        sheet.begin("plan.heading")
        paper = Paper(sheet.paper, sheet.width / MILLIMETRE, (sheet.room - 2.0) / MILLIMETRE)
        sheet.figure(plan_page(sheet.assessment, paper, sheet.wording))
        sheet.new_page()


def annex(sheet: Sheet) -> None:
    """Print what else is drawn of a scene: each way of the light, elevations, and the exposure map."""
    found, wording, title = sheet.assessment.scene, sheet.wording, sheet.assessment.title
    if found is None:
        return
    wide = sheet.width / MILLIMETRE
    half = Paper(sheet.paper, (wide - _GAP) / 2, _WAY)
    sheet.begin("plan.annex_heading", keep=_WAY * MILLIMETRE)
    ways = way_pages(sheet.assessment, half, wording)
    for pair in zip(ways[::2], [*ways[1::2], *[None] * (len(ways) % 2)], strict=True):
        sheet.figure(*filter(None, pair), gap=_GAP)
        sheet.space(6.0)
    x0, y0, x1, y1 = found.plan.extent
    drawings = elevation_pages(found, Paper(sheet.paper, wide, _ELEVATION), title, wording)
    for drawing in drawings:
        sheet.figure(drawing)
        sheet.space(6.0)
    high, room = _MAP if x1 - x0 >= y1 - y0 else _TALL_MAP, sheet.room / MILLIMETRE - 1.0
    chart = map_page(found, Paper(sheet.paper, wide, room if _LEAST_MAP <= room < high else high), title, wording)
    if chart:
        sheet.figure(chart)
        sheet.space(6.0)


def drawings_pdf(drawings: Sequence[Drawing], named: Mapping[str, object], subject: str, wording: Wording) -> bytes:
    """Return drawings of one size as the bytes of a PDF file, one on each page.

    Parameters
    ----------
    drawings : sequence of Drawing
        At least one, all of the same size.
    named : mapping of str to object
        What holds the texts that a user wrote, by the name for it in a message.
    subject : str
        What they show.
    wording : Wording
        Texts.

    Raises
    ------
    OutputError
        If a text holds a character that cannot be printed.
    """
    for name, texts in named.items():
        refuse_unprintable(texts, name)
    program = wording.text("sheet.program", version=lasersafe.__version__)
    facts = Facts(drawings[0].title, program, subject, program, wording.language)
    size = (drawings[0].width * MILLIMETRE, drawings[0].height * MILLIMETRE)
    return paint([Page([Placed(0.0, 0.0, drawing)]) for drawing in drawings], [], size, None, facts)
