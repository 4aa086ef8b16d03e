"""Drawings that are files of their own: the plan or the elevation of a case, and a beam from the side."""

from __future__ import annotations

import dataclasses
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from lasersafe.assessment import assess
from lasersafe.assessment.scene import map_places, scene_map
from lasersafe.assessment.scene_barriers import barrier_maps
from lasersafe.assessment.stages import stages_of
from lasersafe.drawing.maps import barrier_page, map_page
from lasersafe.drawing.page import Paper
from lasersafe.drawing.plan import plan_page, room_of, way_pages
from lasersafe.drawing.primitives import Drawing, to_png, to_svg
from lasersafe.drawing.room import elevation_pages
from lasersafe.drawing.text import decimals
from lasersafe.errors import InputError, refuse
from lasersafe.files import Output, mark_of, refuse_to_lose, suffix_of, write_outputs
from lasersafe.models import Case, read_case
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.ask import PlanQuestion
    from lasersafe.results import Assessment

PAPERS = {  # [mm]
    "A4": (210.0, 297.0), "A3": (297.0, 420.0), "A2": (420.0, 594.0), "A1": (594.0, 841.0), "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}  # fmt: skip
_MARGIN = 10.0
_CELLS = 110  # of the exposure map, along its longer side


def drawings_of(
    assessment: Assessment, paper: str, *, elevation: bool = False, case: Case | None = None
) -> list[Drawing]:
    """Return the plan, a page for each way of the light, and the exposure map; or the elevations.

    Parameters
    ----------
    assessment : Assessment
        A case that has a scene.
    paper : str
        A name of `PAPERS`; it is turned so that the drawing is largest.
    elevation : bool
        Whether the elevations are asked for.
    case : Case, optional
        What was assessed, where the exposure map is to be a fine one of the part of the floor that the plan shows.

    Raises
    ------
    InputError
        If the case has no scene.
    """
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
        if case is not None:
            step, stages = max(x1 - x0, y1 - y0) / _CELLS, stages_of(case)
            found = scene_map(stages, np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
            found = dataclasses.replace(found, persons=map_places(stages, scene.persons))
            scene = dataclasses.replace(scene, map=found)
        chart = map_page(scene, sheet, assessment.title, wording)
        pages = [plan_page(assessment, sheet, wording), *way_pages(assessment, sheet, wording)]
        return [*pages, chart] if chart else pages


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
    output, elevation, barriers = question.output, question.elevation, question.barriers
    suffix = suffix_of(output, "output", ".svg", ".png", ".pdf")
    case = read_case(path)
    size, wording = question.paper or case.paper, load_wording(case.language)
    if size not in PAPERS:
        refuse(f"paper = '{size[:40]}': allowed are {', '.join(PAPERS)}")
    if case.scene is None:
        refuse(wording.text("plan.no_scene"))
    if elevation and barriers:
        refuse("--elevation and --barriers draw different pages; write one of the two, and run again for the other")
    kind = "barriers" if barriers else "elevation" if elevation else "plan"
    marks = (mark_of(f"{kind} {number}", path, case.title) for number in count(1))
    refuse_to_lose(output, mark_of(f"{kind} 1", path, case.title), replace=replace)  # before there is work
    assessment = assess(case, wanted="all" if elevation else "drawn")
    if barriers:
        drawings = barrier_drawings(case, assessment, size)
    else:
        drawings = drawings_of(assessment, size, elevation=elevation, case=case)
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
    wording, scene = load_wording(case.language), assessment.scene
    if scene is None or not scene.barriers:
        raise InputError(wording.text("plan.no_barrier"))
    short, long = PAPERS[paper]
    lines = {line.name: line for line in scene.barriers}
    sheet = Paper(paper, long, short, _MARGIN)
    maps = barrier_maps(stages_of(case))
    with decimals(wording):
        return [barrier_page(one, lines[one.name], sheet, assessment.title, wording) for one in maps]


def picture(drawing: Drawing, suffix: str) -> bytes:
    """Return a drawing as the content of an .svg or .png file."""
    return to_svg(drawing).encode() if suffix == ".svg" else to_png(drawing)
