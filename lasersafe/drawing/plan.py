"""The plan of a scene, its overview when a zone is much larger than the room, and the key to both."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

from lasersafe.drawing.groups import beyond_entry, entry, grouped, limits_line, sign_entries
from lasersafe.drawing.layers import Layers
from lasersafe.drawing.page import Entry, Paper, direction_arrows, foot_lines, key_pages, lay_out, scale_bar
from lasersafe.drawing.primitives import Drawing, Pair, Rect
from lasersafe.drawing.shapes import overlap
from lasersafe.drawing.view import View, extent_of, fit, grown, longer
from lasersafe.records.scene import Polygon, SceneResult
from lasersafe.wording import Wording

_SAME_PLAN = 2.0  # zones up to so many times the room are drawn on the plan of the room
_EDGE = 0.07
_LEAST = 4.0  # [m]
_TINY = 0.05
_CROWDED, _FEW = 32.0, 2  # zones below so many millimetres, and more than so many of them, get a detail page
_MOST_DETAILS = 3
_AROUND, _FINER = 0.2, 2.0


def room_of(scene: SceneResult) -> Rect:
    """Return the part of the floor that the plan shows: what stands there, and the zones unless they are far larger."""
    things = _things(scene)
    things += [person.position for person in scene.persons if person.placed]
    things += [p for person in scene.persons if person.placed for p in person.area]
    room = extent_of(things) or scene.plan.extent
    everything = all_of(scene)
    if longer(everything) <= max(_SAME_PLAN * longer(room), min(_LEAST, longer(everything))):
        return grown(everything, _EDGE, _TINY)
    return grown(room, 2 * _EDGE, min(_LEAST, longer(everything)))


def all_of(scene: SceneResult) -> Rect:
    """Return the part of the floor that holds every zone, line and thing."""
    places = [*_things(scene), *[person.position for person in scene.persons]]
    groups, beyond = grouped(scene)
    places += _corners(part for group in groups for zone in group.zones for part in zone.polygons)
    places += _corners(part for _, one in beyond for part in one.polygons)
    places += [p for line in scene.lines if line.distance > 0.0 for p in line.line]
    return extent_of(places) or scene.plan.extent


def _things(scene: SceneResult) -> list[Sequence[float]]:
    """Return where all stands that is neither a person nor a zone."""
    things: list[Sequence[float]] = [*scene.plan.outline]
    for placed in (scene.aims, scene.surfaces, scene.targets, scene.cameras):
        things += [one.position for one in placed]
    things += [p for item in scene.plan.items for p in item.outline]
    return things + [p for barrier in scene.barriers for p in barrier.line]


def _details(scene: SceneResult, paper: Paper, room: Rect) -> list[tuple[frozenset[str], Rect]]:
    """Return the parts of the plan that are too crowded for it: the letters named there, and the extent [m]."""
    rough = fit(room, (0.0, 0.0, paper.width * 0.95, paper.height * 0.5)).scale
    groups, beyond = grouped(scene)
    areas = [(g.tag, z.laser, [p for zone in g.zones for p in zone.polygons]) for g in groups for z in (g.first,)]
    areas += [(tag, one.laser, list(one.polygons)) for tag, one in beyond]
    small: dict[str, list[tuple[str, Rect]]] = {}
    for tag, laser, parts in areas:
        extent = extent_of(_corners(parts))
        if extent is not None and longer(extent) * 1000.0 / rough < _CROWDED:
            small.setdefault(laser, []).append((tag, extent))
    crowded = [found for found in small.values() if len(found) > _FEW]
    together = [[one for found in crowded for one in found]]
    for sets in (crowded if len(crowded) <= _MOST_DETAILS else together, together):
        details: list[tuple[frozenset[str], Rect]] = []
        bare: list[Rect] = []
        for found in filter(None, sets):
            extent = extent_of([corner for _, (x0, y0, x1, y1) in found for corner in ((x0, y0), (x1, y1))])
            if extent is not None:
                bare.append(extent)
                details.append((frozenset(tag for tag, _ in found), grown(extent, _AROUND, _TINY)))
        fine = [fit(part, (0.0, 0.0, paper.width * 0.95, paper.height * 0.5)).scale for _, part in details]
        apart = not any(overlap(one, other) for one, other in combinations(bare, 2))
        if details and apart and all(scale * _FINER <= rough for scale in fine):
            return details
    return []


def _corners(parts: Iterable[Polygon]) -> list[Pair]:
    return [point for part in parts for point in part.outline]


def plan_pages(scene: SceneResult, paper: Paper, title: str, wording: Wording) -> list[Drawing]:
    """Return the plan, an overview when zones go far beyond it, and a key when the legend is long.

    Parameters
    ----------
    scene : SceneResult
        What is drawn.
    paper : Paper
        Size of the pages.
    title : str
        Title of the case.
    wording : Wording
        Texts.

    Returns
    -------
    list of Drawing
        The plan first.
    """
    room, everything = room_of(scene), all_of(scene)
    details = _details(scene, paper, room)
    views = [("plan", room, details)]
    views += [("detail", extent, [one for one in details if one[0] is not own]) for own, extent in details]
    if longer(everything) > 1.3 * longer(room):
        views.append(("overview", grown(everything, _EDGE, _TINY), []))
    pages: list[Drawing] = []
    rest: list[Entry] = []
    lost: dict[str, None] = {}
    for kind, extent, others in views:
        page, more, left_out = _page(scene, paper, kind, title, extent, wording, others)
        pages.append(page)
        rest = rest or more
        lost |= dict.fromkeys(left_out)
    notes = [wording.text("plan.not_labelled", text=text) for text in lost]
    if rest or notes:
        foot = foot_lines(paper, wording)
        pages += key_pages(paper, wording.text("plan.key", title=title), rest, notes, foot)
    return pages


def _page(
    scene: SceneResult,
    paper: Paper,
    kind: str,
    title: str,
    extent: Rect,
    wording: Wording,
    details: Sequence[tuple[frozenset[str], Rect]],
) -> tuple[Drawing, list[Entry], list[str]]:
    groups, beyond = grouped(scene)
    zones = [entry(group, wording) for group in groups] + [beyond_entry(tag, one, wording) for tag, one in beyond]
    controls = [f.text[:1].upper() + f.text[1:] for f in scene.findings if f.kind == "set-up"][:2]
    foot = foot_lines(paper, wording, controls)
    name = wording.text(f"plan.{kind}", title=title)
    sparse = kind == "overview"
    trial = Layers(scene, fit(extent, (0.0, 0.0, paper.width, paper.height)), wording, sparse=sparse)
    trial.shadows()
    trial.things()
    signs = sign_entries(trial.used, wording)
    layout = lay_out(paper, kind, name, zones, signs, foot)
    if layout.left_over:
        foot = [(wording.text("plan.elsewhere"), True), (limits_line(groups, wording), False), *foot]
        layout = lay_out(paper, kind, name, zones, signs, foot)
    view = fit(extent, layout.drawing.frame)
    layers = Layers(scene, view, wording, sparse=sparse)
    bar, rect = scale_bar(view)
    bearings = {"north": scene.plan.north, "stage": scene.plan.stage_arrow}
    directions = [(wording.text(f"plan.{key}"), way) for key, way in bearings.items() if way is not None]
    arrows, rects = direction_arrows(view.frame, directions)
    layers.board.boxes += [rect, *rects]
    layers.skipped = frozenset(tag for names, _ in details for tag in names)
    layers.details = [(*view.point(part[:2]), *view.point(part[2:])) for _, part in details]
    layers.shadows()
    layers.zones(groups, beyond)
    layers.far_things = kind == "plan"
    layers.things()
    if kind == "plan":
        layers.detail_frames()
    lost = layers.write()
    setups = dict.fromkeys((z.first.laser, z.first.setup) for z in groups)
    drawn = "; ".join(wording.text("plan.drawn", laser=laser, setup=setup) for laser, setup in setups)
    shown, marks = wording.text("plan.shown", setups=drawn), [*layers.marks, *bar, *arrows]
    return layout.filled(paper, view, wording, shown, marks), layout.left_over, lost


__all__ = ["Paper", "View", "all_of", "plan_pages", "room_of"]
