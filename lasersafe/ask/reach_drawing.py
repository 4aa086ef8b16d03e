"""A beam from the side, with how far it exceeds the limits on a scale of equal ratios, and people."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import Any

from lasersafe.ask.reach import ReachQuestion
from lasersafe.drawing.chart import Axis, round_ends, tick_text
from lasersafe.drawing.pictures import to_svg
from lasersafe.drawing.primitives import BLACK, WHITE, Area, Drawing, Lines, Mark, Run, Words, box
from lasersafe.errors import refuse
from lasersafe.files import DASH, Output, mark_of, write_outputs
from lasersafe.optics.beam import BeamGeometry, diameters
from lasersafe.quantity import format_quantity
from lasersafe.wording.message import Message

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
    beam, _ = question.beam(data["wavelength_m"], question.propagation)
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
