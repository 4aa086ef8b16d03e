"""Drawings that are files of their own: the plan or the elevation of a case, and a beam from the side."""

from __future__ import annotations

import dataclasses
import math
import textwrap
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lasersafe.ask.beams import beam_of
from lasersafe.ask.questions import PlanQuestion, ReachQuestion
from lasersafe.drawing.chart import Axis, round_ends, tick_text
from lasersafe.drawing.maps import map_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_page, room_of, way_pages
from lasersafe.drawing.primitives import BLACK, WHITE, Area, Drawing, Lines, Mark, Run, Words, box, to_svg
from lasersafe.drawing.room import elevation_pages
from lasersafe.drawing.text import decimals
from lasersafe.errors import InputError, refuse
from lasersafe.files import DASH, Output, mark_of, write_outputs
from lasersafe.optics.beam import BeamGeometry, diameters
from lasersafe.quantity import format_quantity
from lasersafe.results import Assessment
from lasersafe.wording import Message, load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case

PAPERS = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "A1": (594.0, 841.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
_MARGIN = 10.0
_CELLS = 110  # of the exposure map, along its longer side
_SUFFIXES = (".svg", ".png", ".pdf")


def drawings_of(assessment: Assessment, paper: str, *, elevation: bool = False) -> list[Drawing]:
    """Return the plan, a page for each way of the light, and the exposure map; or the elevations.

    Parameters
    ----------
    assessment : Assessment
        A case that has a scene.
    paper : str
        A name of `PAPERS`; it is turned so that the drawing is largest.
    elevation : bool
        Whether the elevations are asked for.

    Raises
    ------
    InputError
        If the paper is not known, or the case has no scene.
    """
    _check_paper(paper)
    wording = load_wording(assessment.language)
    scene = assessment.scene
    if scene is None:
        raise InputError(wording.text("plan.no_scene"))
    short, long = PAPERS[paper]
    x0, y0, x1, y1 = room_of(scene)
    if elevation or x1 - x0 > 1.6 * (y1 - y0):
        short, long = long, short
    sheet = Paper(paper, short, long, _MARGIN)
    with decimals(wording):
        if elevation:
            pages = elevation_pages(scene, sheet, assessment.title, wording)
            if not pages:
                raise InputError(wording.text("plan.no_elevation"))
            return pages
        chart = map_page(scene, sheet, assessment.title, wording)
        pages = [plan_page(assessment, sheet, wording), *way_pages(assessment, sheet, wording)]
        return [*pages, chart] if chart else pages


def _check_paper(paper: str) -> None:
    if paper not in PAPERS:
        refuse(f"paper = '{paper[:40]}': allowed are {', '.join(PAPERS)}")


def write_plan(path: Path, question: PlanQuestion, replace: bool = False) -> tuple[dict[str, Any], list[str]]:
    """Assess a case, write its plan or elevation, and return what to print as JSON and as lines.

    A PDF holds all pages. SVG and PNG hold one, the first: of further pages only how many there are is said, unless
    they are asked for; then they go to files with ``-2``, ``-3`` before the suffix.

    Parameters
    ----------
    path : pathlib.Path
        The case file.
    question : PlanQuestion
        What is drawn, on what paper, and the file to write, whose suffix says the format.
    replace : bool
        Whether files may be replaced that this command did not write for this case.

    Raises
    ------
    InputError
        If the suffix or the paper is not known, or the case has no scene.
    OutputError
        If a text holds a character that cannot be drawn, or the file cannot be written.
    """
    from lasersafe.assessment import assess
    from lasersafe.files import DASH, Output, mark_of, refuse_to_lose, write_outputs
    from lasersafe.models import read_case

    output, elevation, barriers = question.output, question.elevation, question.barriers
    suffix = ".svg" if output == DASH else output.suffix.lower()
    if suffix not in _SUFFIXES:
        refuse(f"output = '{output.name[-40:]}': the name must end in .svg, .png or .pdf")
    case = read_case(path)
    size, wording = question.paper or case.paper, load_wording(case.language)
    _check_paper(size)
    if case.scene is None:
        refuse(wording.text("plan.no_scene"))
    if elevation and barriers:
        refuse("--elevation and --barriers draw different pages; write one of the two, and run again for the other")
    kind = "barriers" if barriers else "elevation" if elevation else "plan"
    marks = (mark_of(f"{kind} {number}", path, case.title) for number in count(1))
    refuse_to_lose(output, mark_of(f"{kind} 1", path, case.title), replace=replace)  # before there is work
    assessment = assess(case, in_full=elevation)
    if barriers:
        drawings = barrier_drawings(case, assessment, size)
    else:
        assessment = assessment if elevation else _with_map(case, assessment)
        drawings = drawings_of(assessment, size, elevation=elevation)
    left = 0 if question.every or suffix == ".pdf" else len(drawings) - 1
    drawings = drawings[: len(drawings) - left]
    files = [output, *(output.with_name(f"{output.stem}-{n}{output.suffix}") for n in range(2, len(drawings) + 1))]
    contents = [picture(drawing, suffix) for drawing in drawings] if suffix != ".pdf" else []
    if suffix == ".pdf":
        from lasersafe.sheet.drawings import drawings_pdf

        named = {"scene": assessment.scene, "title": assessment.title}
        subject = f"{wording.text('plan.heading')}, {assessment.fingerprint}"
        files, contents = [output] * len(drawings), [drawings_pdf(drawings, named, subject, wording)]
    write_outputs([Output(*each) for each in zip(files, contents, marks, strict=False)], replace=replace)
    pages = [
        {"file": str(file), "kind": drawing.kind, "scale": drawing.scale, "paper": size}
        for file, drawing in zip(files, drawings, strict=True)
    ]
    lines = [
        wording.text(
            "terminal.drawn_to_scale" if page["scale"] else "terminal.drawn",
            **page | {"kind": wording.text(f"terminal.kind_{page['kind']}")},
        )
        for page in pages
    ]
    lines += [wording.text("terminal.left_out", count=left)] if left else []
    about = {"fingerprint": assessment.fingerprint, "caution": wording.caution_short}
    return {"pages": pages, "left_out": left, **about}, [*lines, wording.caution_short]


def barrier_drawings(case: Case, assessment: Assessment, paper: str) -> list[Drawing]:
    """Return a page for each barrier of the scene with the irradiance on it.

    Raises
    ------
    InputError
        If the scene has no barrier.
    """
    from lasersafe.assessment.scene_barriers import barrier_maps
    from lasersafe.assessment.stages import stages_of
    from lasersafe.drawing.maps import barrier_page

    wording, scene = load_wording(case.language), assessment.scene
    if scene is None or not scene.barriers:
        raise InputError(wording.text("plan.no_barrier"))
    short, long = PAPERS[paper]
    lines = {line.name: line for line in scene.barriers}
    sheet = Paper(paper, long, short, _MARGIN)
    maps = barrier_maps(stages_of(case))
    with decimals(wording):
        return [barrier_page(one, lines[one.name], sheet, assessment.title, wording) for one in maps]


def _with_map(case: Case, assessment: Assessment) -> Assessment:
    """Return the assessment with a fine exposure map, of the part of the floor that the plan shows."""
    import numpy as np

    from lasersafe.assessment.scene import map_places, scene_map
    from lasersafe.assessment.stages import stages_of

    scene = assessment.scene
    if scene is None:
        return assessment
    x0, y0, x1, y1 = room_of(scene)
    step = max(x1 - x0, y1 - y0) / _CELLS
    x, y = np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)
    stages = stages_of(case)
    found = dataclasses.replace(scene_map(stages, x, y), persons=map_places(stages, scene.persons))
    return dataclasses.replace(assessment, scene=dataclasses.replace(scene, map=found))


def picture(drawing: Drawing, suffix: str) -> bytes:
    """Return a drawing as the content of an .svg or .png file."""
    from lasersafe.drawing.primitives import to_png, to_svg

    return to_svg(drawing).encode() if suffix == ".svg" else to_png(drawing)


_WIDE, _LEFT, _RIGHT = 190.0, 12.0, 182.0  # [mm]
_BEAM_AT, _BEAM_HALF = 98.0, 11.0  # height of its axis, and half of its width where it is widest
_AXIS_AT, _ROW, _HIGH = 34.0, 12.0, 132.0
_BEAM, _BAR, _FINE = "#8f1d4f", "#1d4e9e", "#b5b5b5"
_LETTER = 1.55  # [mm] at most, of the text on average
_SHORTEST, _STEPS = 0.1, 60  # [m] of the scale; points of the beam
_BODY: tuple[Run, ...] = (  # of somebody who stands, in millimetres from the feet; drawn for this program
    ((0.0, 0.0), (1.2, 5.0), (2.4, 0.0)), ((1.2, 5.0), (1.2, 9.0)), ((-0.4, 6.4), (1.2, 8.4), (2.8, 6.4)),
)  # fmt: skip


def write_drawing(path: Path, question: ReachQuestion, data: dict[str, Any], *, replace: bool) -> None:
    """Write the drawing of an answer.

    Parameters
    ----------
    path : Path
        Its name, ending in .svg, or ``-``.
    question : ReachQuestion
        What was asked.
    data : dict
        The answer.
    replace : bool
        Whether a file may be lost that is no such drawing.

    Raises
    ------
    InputError
        If the name has another ending.
    OutputError
        If the file may not be written.
    """
    if path != DASH and path.suffix.lower() != ".svg":
        refuse(f"drawing = '{path.name[-40:]}': the name must end in .svg")
    beam, _ = beam_of(question, data["wavelength_m"], question.propagation)
    write_outputs([Output(path, reach_svg(data, beam), mark_of("reach", "", ""))], replace=replace)


def reach_svg(data: dict[str, Any], beam: BeamGeometry) -> bytes:
    """Return the drawing of an answer as an SVG file.

    Parameters
    ----------
    data : dict
        The answer, as `reach_answer` gives it.
    beam : BeamGeometry
        The beam.
    """
    ways = [(way, tissue) for way in ("direct", "scatter") for tissue in ("eye", "skin")]
    far = {key: data["{}_{}_m".format(*key)] for key in ways}
    usual = [detail["usual_m"] for detail in data["details"].values() if "usual_m" in detail]
    most = max(1e-3, *far.values(), *usual)
    low, high = round_ends(min(_SHORTEST, most / 20.0), 2.0 * most, log=True)
    axis = Axis(Message("draw.distance"), low, high, log=True)

    def at(distance: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * min(max(axis.share(distance), 0.0), 1.0)

    numbered, fine = axis.marks()
    grid = tuple(((at(one), _AXIS_AT), (at(one), _BEAM_AT - _BEAM_HALF)) for one in fine)
    marks: list[Mark] = [
        Lines(grid, _FINE, 0.1),
        Lines((((_LEFT, _AXIS_AT), (_RIGHT, _AXIS_AT)),), BLACK, 0.3),
        *(Words(at(one) - 1.5, _AXIS_AT - 4.5, tick_text(one)) for one in numbered),
        Words(_LEFT, _AXIS_AT - 9.0, axis.title),
        Words(_LEFT, _HIGH - 7.0, Message("draw.reach"), 4.0, bold=True),
        Area((_beam(beam, low, high, at),), _BEAM),
    ]
    bounds: list[Mark] = []
    labels: list[Mark] = []
    for row, (way, tissue) in enumerate(ways):
        height = _BEAM_AT - _BEAM_HALF - 9.0 - row * _ROW
        end, detail = at(far[way, tissue]), data["details"][f"{way}_{tissue}"]
        distance = format_quantity(far[way, tissue], "m", 3, "up")
        time = format_quantity(detail["duration_s"], "s")
        words = Message(f"draw.{way}_{tissue}", distance=distance, time=time, rule_set=detail["decided_by"])
        if "usual_m" in detail:
            longer = format_quantity(detail["usual_m"], "m", 3, "up")
            time = format_quantity(detail["usual_duration_s"], "s")
            words = Message("draw.usual", words=words, distance=longer, time=time)
        if far[way, tissue] > 0.0:
            marks += [Area((box((_LEFT, height - 1.2, max(end, _LEFT + 0.5), height + 0.8)),), _BAR)]
            bounds += [Lines((((end, height - 2.0), (end, _BEAM_AT + _BEAM_HALF)),), _BAR, 0.25, (1.2, 0.8))]
        paper = box((_LEFT, height + 1.4, _LEFT + _LETTER * len(words), height + 5.0))
        labels += [Area((paper,), WHITE), Words(_LEFT, height + 2.2, words)]
    marks += [*bounds, *labels]
    feet = _BEAM_AT + _BEAM_HALF + 2.0
    outside = min(at(1.25 * most), _RIGHT - 4.0)
    for place, key in ((0.5 * (_LEFT + at(most)), "draw.inside"), (outside, "draw.outside")):
        if key == "draw.inside" and not any(far.values()):
            continue
        long = _LETTER * len(Message(key))
        marks += _person(place, feet, crossed=key == "draw.inside")
        marks += [Words(place - 3.0 - long, feet + (2.0 if key == "draw.inside" else 7.0), Message(key))]
    for line, text in enumerate(textwrap.wrap(f"{Message('draw.widths')} {data['caution']}", 118)):
        marks += [Words(_LEFT, 18.0 - line * 4.0, text)]
    return to_svg(Drawing("chart", Message("draw.reach"), _WIDE, _HIGH, (0, 0, _WIDE, _HIGH), 0, marks)).encode()


def _beam(beam: BeamGeometry, low: float, high: float, at: Any) -> Run:
    """Return the outline of the beam; its width is drawn by equal ratios too, from 1 mm on."""
    places = [low * (high / low) ** (n / _STEPS) for n in range(_STEPS + 1)]
    widths = [max(float(max(diameters(beam, place))), 1e-3) for place in places]
    most = max(math.log(max(widths) / 1e-3), 1e-9)
    half = [max(0.4, _BEAM_HALF * math.log(width / 1e-3) / most) for width in widths]
    upper = [(at(place), _BEAM_AT + one) for place, one in zip(places, half, strict=True)]
    return (*upper, *((x, 2.0 * _BEAM_AT - y) for x, y in reversed(upper)))


def _person(x: float, feet: float, *, crossed: bool) -> list[Mark]:
    moved = tuple(tuple((x + a, feet + b) for a, b in run) for run in _BODY)
    head = tuple(
        (x + 1.2 + 1.3 * math.cos(n * math.pi / 6), feet + 10.3 + 1.3 * math.sin(n * math.pi / 6)) for n in range(12)
    )
    marks: list[Mark] = [Lines(moved, BLACK, 0.5), Area((head,), BLACK)]
    if crossed:
        marks += [
            Lines((((x - 2.0, feet), (x + 4.4, feet + 11.5)), ((x - 2.0, feet + 11.5), (x + 4.4, feet))), _BEAM, 0.6)
        ]
    return marks
