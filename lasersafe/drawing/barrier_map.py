"""The irradiance on a barrier, drawn to scale as seen from in front: one strip for each way, a tone for each decade."""

from __future__ import annotations

import math
from dataclasses import replace

from lasersafe.drawing.chart import round_steps
from lasersafe.drawing.exposure_map import class_marks, decade, legend_entry, sample_of
from lasersafe.drawing.page import Entry, Paper, foot_lines, lay_out
from lasersafe.drawing.primitives import BLACK, Drawing, Lines, Mark, Words, edge
from lasersafe.drawing.style import DECADES
from lasersafe.drawing.values import quantity, spoken
from lasersafe.records.barriers import BarrierLine, BarrierMap
from lasersafe.wording import Wording

_TYPE = 2.6
_HEAD = 8.0  # mm above each strip, for its name
_FEET = 9.0  # mm below, for the metres
_SIDE = 12.0  # mm at the left, for the heights
_DECADES = 3  # below the highest, that an unrated barrier shows


def barrier_page(found: BarrierMap, line: BarrierLine, paper: Paper, title: str, wording: Wording) -> Drawing:
    """Return one page with the strips of a barrier.

    Parameters
    ----------
    found : BarrierMap
        Irradiance by way.
    line : BarrierLine
        The barrier, with its searched peaks.
    paper : Paper
        Size of the page.
    title : str
        Title of the case.
    wording : Wording
        Texts.
    """
    rating = found.rating
    base = _base(found) if rating is None else rating
    rank = decade if rating is None else share_of_rating
    classes = {
        way: [[rank(value / base) for value in row] for row in values.tolist()] for way, values in found.ways.items()
    }
    used = sorted({value for rows in classes.values() for row in rows for value in row})
    words = quantity(base, "W/m2", 3, "down")
    meant = "plan.barrier_unrated" if rating is None else "plan.barrier_rated"
    below = wording.text("plan.barrier_below", value=words)
    if rating is None:
        entries = [legend_entry(value, below, words, wording) for value in used]
    else:
        entries = [Entry(sample_of(value), wording.text(f"plan.barrier_share_{value}", value=words)) for value in used]
    foot = foot_lines(paper, wording, [wording.text(meant, value=words)], "plan.barrier_meaning")
    layout = lay_out(
        paper, "barrier", wording.text("plan.barrier_map", name=found.name, title=title), (), entries, foot
    )
    x0, y0, x1, y1 = layout.drawing.frame
    length, high = found.along[-1] - found.along[0], found.heights[-1] - found.heights[0]
    room = ((x1 - x0 - _SIDE - 4.0) / length, ((y1 - y0) / len(classes) - _HEAD - _FEET) / high)
    mm = min(room)
    marks: list[Mark] = []
    top = y1
    for way, rows in classes.items():
        low = top - _HEAD - high * mm
        peaks = [one.aimed for one in line.ways if one.way == way and one.fitted and one.aimed is not None]
        peak = quantity(max(peaks), "W/m2", 3, "up") if peaks else wording.text("plan.barrier_no_peak")
        head = wording.text("plan.barrier_way", way=wording.text(f"way.{way}"), peak=peak)
        marks.append(Words(x0 + _SIDE, top - _HEAD + 2.0, head, _TYPE, True))
        marks += _strip(found, rows, (x0 + _SIDE, low), mm)
        top = low - _FEET
    layout.scale_lines((wording.text("plan.barrier_axes"),), paper.margin)
    layout.drawing.marks.extend(marks)
    return replace(layout.drawing, scale=math.ceil(1000.0 / mm))


def share_of_rating(ratio: float) -> int:
    """Return the class of a share of the rating: 0 to 1 %, 1 to 10 %, 2 to the rating, 4 above it and for NaN."""
    return next((value for value, most in ((0, 0.01), (1, 0.1), (2, 1.0)) if ratio <= most), len(DECADES))


def _base(found: BarrierMap) -> float:
    """Return a round irradiance [W/m2] some decades below the highest on the barrier."""
    most = max((float(values.max()) for values in found.ways.values()), default=0.0)
    return 10.0 ** (math.floor(math.log10(most)) - _DECADES) if 0.0 < most < math.inf else 1.0


def _strip(found: BarrierMap, rows: list[list[int]], corner: tuple[float, float], mm: float) -> list[Mark]:
    """Return the cells of one way, with metres along the barrier and heights."""
    left, low = corner
    across = [left + (at - found.along[0]) * mm for at in found.along]
    up = [low + (at - found.heights[0]) * mm for at in found.heights]
    frame = (left, low, across[-1], up[-1])
    marks = [*class_marks(rows, across, up, frame), *edge(frame, 0.35)]
    for at in round_steps(0.0, found.along[-1] - found.along[0], 8.0 / mm):
        x = left + at * mm
        marks.append(Lines((((x, low), (x, low - 1.2)),), BLACK, 0.25))
        marks.append(Words(x - 1.2, low - 4.2, spoken(f"{at:g} m" if at == 0.0 else f"{at:g}"), _TYPE))
    for at in round_steps(found.heights[0], found.heights[-1], 5.0 / mm):
        y = low + (at - found.heights[0]) * mm
        marks.append(Lines((((left - 1.2, y), (left, y)),), BLACK, 0.25))
        marks.append(Words(left - 10.0, y - 0.9, spoken(f"{at:g} m"), _TYPE))
    return marks
