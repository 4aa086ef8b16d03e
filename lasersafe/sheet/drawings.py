"""Plans and elevations in the PDF: their lines as PDF operators (ISO 32000-1, annex A), their texts as text."""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.drawing.elevation import elevation_pages
from lasersafe.drawing.exposure_map import map_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_pages
from lasersafe.drawing.primitives import Area, Drawing, Lines, Run
from lasersafe.drawing.primitives import Mark as Shape
from lasersafe.results import Assessment
from lasersafe.sheet.flow import Flow, Mark, Page, Text, Vector
from lasersafe.sheet.fonts import BOLD, REGULAR
from lasersafe.sheet.paint import Facts, paint
from lasersafe.wording import Wording

MILLIMETRE = 72.0 / 25.4  # [point]
_ELEVATION = 160.0  # height of an elevation in the sheet [mm]
_MAP = 150.0
_TALL_MAP = 220.0


def scene(flow: Flow, assessment: Assessment, wording: Wording, paper: str) -> None:
    """Print the plan, the elevations and the exposure map of a case that has a scene."""
    found = assessment.scene
    if found is None:
        return
    flow.new_page()
    flow.heading(wording.text("plan.heading"), 0)
    wide = flow.width / MILLIMETRE
    full = Paper(paper, wide, (flow.room - 2.0) / MILLIMETRE)
    title = assessment.title
    drawings = plan_pages(found, full, title, wording)
    low = min(_ELEVATION, full.height)
    drawings += elevation_pages(found, Paper(paper, wide, low), title, wording)
    x0, y0, x1, y1 = found.plan.extent
    tall = _MAP if x1 - x0 >= y1 - y0 else _TALL_MAP
    chart = map_page(found, Paper(paper, wide, min(tall, full.height)), title, wording)
    for drawing in [*drawings, *([chart] if chart else [])]:
        flow.figure(drawing.height * MILLIMETRE, _Placed(drawing).draw)
        flow.space(6.0)
    flow.new_page()


class _Placed:
    """A drawing that can be put on a page, its upper left corner at a place."""

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing

    def draw(self, marks: list[Mark], left: float, top: float) -> None:
        """Add the drawing to a page."""
        marks.extend(page_marks(self.drawing, left, top - self.drawing.height * MILLIMETRE))


def page_marks(drawing: Drawing, left: float, bottom: float) -> list[Mark]:
    """Return the marks of a drawing whose lower left corner lies at ``left`` and ``bottom``, in points."""
    marks: list[Mark] = []
    code: list[str] = []
    for mark in drawing.marks:
        if not isinstance(mark, Lines | Area):
            if code:
                marks.append(Vector(left, bottom, "\n".join(code)))
                code = []
            x, y = left + mark.x * MILLIMETRE, bottom + mark.y * MILLIMETRE
            marks.append(Text(x, y, mark.text, mark.size * MILLIMETRE, BOLD if mark.bold else REGULAR))
        else:
            code.append(_operators(mark))
    if code:
        marks.append(Vector(left, bottom, "\n".join(code)))
    return marks


def _operators(mark: Shape) -> str:
    if isinstance(mark, Lines):
        dashes = " ".join([f"{dash * MILLIMETRE:.2f}" for dash in mark.dashes])
        pen = f"{_colour(mark.ink)} RG {mark.thick * MILLIMETRE:.2f} w [{dashes}] 0 d "
        return pen + " ".join(map(_run, mark.runs)) + " S"
    if isinstance(mark, Area):
        return f"{_colour(mark.fill)} rg " + " ".join([_run(ring) + " h" for ring in mark.rings]) + " f*"
    return ""


def _run(run: Run) -> str:
    (x, y), *rest = run
    start = f"{x * MILLIMETRE:.2f} {y * MILLIMETRE:.2f} m"
    return start + "".join([f" {x * MILLIMETRE:.2f} {y * MILLIMETRE:.2f} l" for x, y in rest])


def _colour(ink: str) -> str:
    return " ".join([f"{int(ink[k : k + 2], 16) / 255:.3g}" for k in (1, 3, 5)])


def drawings_pdf(drawings: Sequence[Drawing], assessment: Assessment, wording: Wording) -> bytes:
    """Return drawings of one size as the bytes of a PDF file, one on each page.

    Parameters
    ----------
    drawings : sequence of Drawing
        At least one, all of the same size.
    assessment : Assessment
        What they belong to.
    wording : Wording
        Texts.

    Raises
    ------
    OutputError
        If a text holds a character that cannot be printed.
    """
    from lasersafe.sheet.fonts import refuse_unprintable

    refuse_unprintable(assessment.scene, "scene")
    refuse_unprintable(assessment.title, "title")
    subject = f"{wording.text('plan.heading')}, {assessment.fingerprint}"
    return _pages_pdf(drawings, subject, assessment.version, wording)


def study_pdf(drawings: Sequence[Drawing], title: str, subject: str, wording: Wording) -> bytes:
    """Return drawings of a what-if question as the bytes of a PDF file, one on each page.

    Parameters
    ----------
    drawings : sequence of Drawing
        At least one, all of the same size.
    title : str
        Title of the case.
    subject : str
        What was asked about.
    wording : Wording
        Texts.

    Raises
    ------
    OutputError
        If a text holds a character that cannot be printed.
    """
    import lasersafe
    from lasersafe.sheet.fonts import refuse_unprintable

    refuse_unprintable(title, "title")
    refuse_unprintable(subject, "name")
    return _pages_pdf(drawings, subject, lasersafe.__version__, wording)


def _pages_pdf(drawings: Sequence[Drawing], subject: str, version: str, wording: Wording) -> bytes:
    size = (drawings[0].width * MILLIMETRE, drawings[0].height * MILLIMETRE)
    program = wording.text("sheet.program", version=version)
    facts = Facts(
        title=drawings[0].title,
        author=program,
        subject=subject,
        creator=program,
        language=wording.language,
    )
    pages = [Page(page_marks(drawing, 0.0, 0.0)) for drawing in drawings]
    return paint(pages, [], size, Text(0.0, 0.0, "", 1.0, REGULAR), facts)
