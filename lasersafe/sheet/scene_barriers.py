"""Barriers, walls and view windows by their place: what hits them, what they hold, how near they may stand."""

from __future__ import annotations

from lasersafe.quantity import format_quantity
from lasersafe.results import Assessment
from lasersafe.results_barriers import BarrierLine, BarrierWay
from lasersafe.sheet.flow import BODY, Flow, Part, Row, faint, note, strong, tiny
from lasersafe.sheet.text import tidy
from lasersafe.sheet.values import duration, in_unit, quantity
from lasersafe.wording import Wording

_KINDS = {"barrier": "by_place.kind_barrier", "wall": "by_place.kind_wall", "terrain": "by_place.kind_terrain"}


def barriers_by_place(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what falls on each barrier of the scene at its nearest place and as aimed, and what follows."""
    scene = assessment.scene
    if scene is None or not scene.barriers:
        return
    text = wording.text
    flow.heading(text("by_place.heading"), 0, keep=90.0)
    flow.paragraph(text("by_place.intro"), BODY)
    keys = ("barrier", "way", "nearest", "aimed", "stands", "verdict")
    rows = [row for barrier in scene.barriers for row in _rows(barrier, wording)]
    flow.table([text(f"by_place.{key}") for key in keys], (17, 19, 16, 15, 15, 26), rows, 1.5)


def _rows(barrier: BarrierLine, wording: Wording) -> list[Row]:
    text = wording.text
    kind = text(_KINDS[barrier.kind])
    head = [strong(barrier.name), faint(kind)]
    shown = [way for way in (*barrier.ways, *barrier.faults) if way.fitted and (way.rating is not None or way.asked)]
    rest = [way for way in barrier.ways if way.fitted and way not in shown]
    rows: list[Row] = []
    for way in shown:
        rows.append(Row((head if not rows else [], *_cells(way, wording)), bar=way.asked and not way.holds))
    if rest and barrier.kind != "terrain":
        worst = max(rest, key=lambda way: way.irradiance)
        lasers = ", ".join(dict.fromkeys(way.laser for way in rest))
        cells = [faint(text("by_place.not_for", lasers=lasers))]
        rows.append(
            Row((head if not rows else [], cells, *_cells(worst, wording)[1:4], tiny(text("by_place.no_rating"))))
        )
    below = [note(line) for line in _notes(barrier, wording)]
    if rows and below:
        rows[-1] = Row(rows[-1].cells, below, bar=rows[-1].bar)
    return rows


def _cells(way: BarrierWay, wording: Wording) -> list[list[Part]]:
    text = wording.text
    near = [strong(in_unit(way.irradiance, "W/m2", 3, "up"))]
    if way.away is not None:
        near.append(faint(text("by_place.away", away=quantity(way.away, "m", 3, "down"))))
    aimed = [tiny(text("by_place.nothing"))]
    if way.aimed is None:
        aimed = [tiny("–")]
    elif way.aimed_place is not None:
        x, y, z = (f"{value:.2f}" for value in way.aimed_place)
        aimed = [tiny(in_unit(way.aimed, "W/m2", 3, "up")), faint(text("by_place.at", x=x, y=y, z=z))]
    stands = [
        tiny(text("by_place.from", distance=quantity(s.distance, "m", 3, "up"), start=wording.say(s.measured_from)))
        for s in way.stands
    ] or [tiny("–")]
    word = text("barriers.holds" if way.holds else "barriers.fails")
    reason = tidy(wording.say(way.verdict)).removeprefix(word).lstrip(" :")
    verdict = [strong(word), tiny(reason)]
    if way.rating is not None and way.rated_time is not None:
        rated = text("barriers.rated", rating=in_unit(way.rating, "W/m2", 3, "down"), time=duration(way.rated_time))
        verdict.append(faint(text("by_place.rated", rated=rated)))
    light = [tiny(text(f"way.{way.way}")), faint(f"{way.laser}, {way.setup}")]
    if not way.asked:
        light.append(faint(text("by_place.not_asked")))
    return [light, near, aimed, stands, verdict]


def _notes(barrier: BarrierLine, wording: Wording) -> list[str]:
    """Return what else has to be known of a barrier: height, reach-over, gaps, windows, its class."""
    text = wording.text
    top = format_quantity(barrier.top, "m", 3, "down")
    found = []
    if barrier.needed_height is not None:
        needed = format_quantity(barrier.needed_height, "m", 3, "up")
        key = "by_place.high_enough" if barrier.top >= barrier.needed_height else "by_place.too_low"
        found.append(text(key, top=top, needed=needed, person=barrier.needed_for))
    if barrier.kind != "terrain":
        found.append(text("by_place.reached" if barrier.reach_over else "by_place.not_reached", top=top))
    if barrier.bottom > 0.0:
        found.append(text("by_place.below", bottom=format_quantity(barrier.bottom, "m", 3, "up")))
    gaps = [gap for gap in barrier.openings if gap.open]
    if gaps:
        names = ", ".join(f"{text(f'scene.{gap.kind}')} '{gap.name}'" for gap in gaps)
        found.append(text("by_place.gaps", gaps=names))
    for window in barrier.windows:
        if window.fitted:
            found.append(
                text(
                    "by_place.window",
                    name=window.name,
                    laser=window.laser,
                    way=text(f"way.{window.way}"),
                    words=wording.say(window.words),
                )
            )
    return [tidy(line) for line in [*found, *(wording.say(note) for note in barrier.notes)]]
