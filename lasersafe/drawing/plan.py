"""The plan of a scene, its overview when a zone is much larger than the room, and the key to both."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import combinations

from lasersafe.drawing import symbols
from lasersafe.drawing.groups import beyond_entry, entry, grouped, limits_line
from lasersafe.drawing.layers import Layers
from lasersafe.drawing.line_marks import spectator_lines
from lasersafe.drawing.page import (
    Entry,
    Paper,
    direction_arrows,
    foot_lines,
    frame_marks,
    key_pages,
    lay_out,
    scale_bar,
)
from lasersafe.drawing.primitives import BLACK, Area, Drawing, Lines, Mark, Pair, Rect, box, closed
from lasersafe.drawing.shapes import overlap
from lasersafe.drawing.style import AIM_DASHES, AIM_INK, SHADOW
from lasersafe.drawing.view import View, extent_of, fit, grown, longer
from lasersafe.results_scene import Polygon, SceneResult
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
    plan = scene.plan
    things: list[Sequence[float]] = [*plan.outline, *[aim.position for aim in scene.aims]]
    things += [p for item in plan.items for p in item.outline]
    things += [p for barrier in scene.barriers for p in barrier.line]
    things += _middles(scene)
    things += [person.position for person in scene.persons if person.placed]
    things += [p for person in scene.persons if person.placed for p in person.area]
    room = extent_of(things) or plan.extent
    everything = all_of(scene)
    if longer(everything) <= max(_SAME_PLAN * longer(room), min(_LEAST, longer(everything))):
        return grown(everything, _EDGE, _TINY)
    return grown(room, 2 * _EDGE, min(_LEAST, longer(everything)))


def all_of(scene: SceneResult) -> Rect:
    """Return the part of the floor that holds every zone, line and thing."""
    places: list[Sequence[float]] = [aim.position for aim in scene.aims]
    places += [*scene.plan.outline, *[person.position for person in scene.persons]]
    places += [p for barrier in scene.barriers for p in barrier.line]
    places += _middles(scene)
    places += [p for item in scene.plan.items for p in item.outline]
    groups, beyond = grouped(scene)
    places += _corners(part for group in groups for zone in group.zones for part in zone.polygons)
    places += _corners(part for _, one in beyond for part in one.polygons)
    places += [p for line in scene.lines if line.distance > 0.0 for p in line.line]
    return extent_of(places) or scene.plan.extent


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


def _middles(scene: SceneResult) -> list[Sequence[float]]:
    found: list[Sequence[float]] = [surface.position for surface in scene.surfaces]
    found += [target.position for target in scene.targets]
    return found + [camera.position for camera in scene.cameras]


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
    plan, rest, lost = _page(scene, paper, "plan", title, room, wording, details)
    pages = [plan]
    for own, extent in details:
        others = [(names, part) for names, part in details if names is not own]
        page, more, lost_too = _page(scene, paper, "detail", title, extent, wording, others)
        pages.append(page)
        rest = rest or more
        lost += [text for text in lost_too if text not in lost]
    if longer(everything) > 1.3 * longer(room):
        overview, more, lost_too = _page(scene, paper, "overview", title, grown(everything, _EDGE, _TINY), wording)
        pages.append(overview)
        rest = rest or more
        lost += [text for text in lost_too if text not in lost]
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
    details: Sequence[tuple[frozenset[str], Rect]] = (),
) -> tuple[Drawing, list[Entry], list[str]]:
    groups, beyond = grouped(scene)
    zones = [entry(group, wording) for group in groups] + [beyond_entry(tag, one, wording) for tag, one in beyond]
    controls = [f.text[:1].upper() + f.text[1:] for f in scene.findings if f.kind == "set-up"][:2]
    foot = foot_lines(paper, wording, controls)
    name = wording.text(f"plan.{kind}", title=title)
    sparse = kind == "overview"
    trial = Layers(scene, fit(extent, (0.0, 0.0, paper.width, paper.height)), wording, sparse=sparse)
    trial.shadows()
    _things(trial, kind)
    spectator_lines(trial)
    used = trial.used
    layout = lay_out(paper, kind, name, zones, _signs(used, wording), foot)
    if layout.left_over:
        foot = [(wording.text("plan.elsewhere"), True), (limits_line(groups, wording), False), *foot]
        layout = lay_out(paper, kind, name, zones, _signs(used, wording), foot)
    view = fit(extent, layout.drawing.frame)
    layers = Layers(scene, view, wording, sparse=sparse)
    bar, rect = scale_bar(view)
    arrows, rects = direction_arrows(view.frame, _directions(scene, wording))
    layers.board.boxes += [rect, *rects]
    layers.skipped = frozenset(tag for names, _ in details for tag in names)
    layers.details = [(*view.point(part[:2]), *view.point(part[2:])) for _, part in details]
    layers.shadows()
    layers.zones(groups, beyond)
    layers.far_things = kind == "plan"
    _things(layers, kind)
    spectator_lines(layers)
    if kind == "plan":
        layers.detail_frames()
    lost = layers.write()
    drawing = layout.drawing
    setups = dict.fromkeys((z.first.laser, z.first.setup) for z in groups)
    drawn = "; ".join(wording.text("plan.drawn", laser=laser, setup=setup) for laser, setup in setups)
    heads = (wording.text("plan.scale", scale=view.scale, paper=paper.name), wording.text("plan.shown", setups=drawn))
    layout.scale_lines(heads, paper.margin)
    drawing.marks.extend([*layers.marks, *bar, *arrows, *frame_marks(view.frame)])
    done = Drawing(kind, drawing.title, paper.width, paper.height, view.frame, view.scale, drawing.marks)
    return done, layout.left_over, lost


def _things(layers: Layers, kind: str) -> None:
    layers.floor(names=kind != "overview")
    layers.aims()
    layers.barriers(names=kind != "overview")
    if kind != "overview":
        layers.marks_of_things()


def _directions(scene: SceneResult, wording: Wording) -> list[tuple[str, float]]:
    found = [("north", scene.plan.north), ("stage", scene.plan.stage_arrow)]
    return [(wording.text(f"plan.{name}"), bearing) for name, bearing in found if bearing is not None]


def _signs(used: set[str], wording: Wording) -> list[Entry]:
    order = ("laser", "aim", "person", "target", "camera", "mirror", "scatter", "holds", "today", "fails", "plain",
             "shadow", "door", "window", "gap", "line", "item")  # fmt: skip

    def sample(key: str, rect: Rect) -> list[Mark]:
        x0, y0, x1, y1 = rect
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        left, right = (x0, middle[1]), (x1, middle[1])
        trace = ((x0 + 1.0, middle[1]), (x1 - 1.0, middle[1]))
        drawn: dict[str, list[Mark]] = {
            "laser": symbols.laser((middle[0] + 2.5, middle[1]), math.pi / 2),
            "aim": [Lines(((left, right),), AIM_INK, 0.3, AIM_DASHES)],
            "person": symbols.person(middle),
            "target": symbols.target(middle, False),
            "camera": symbols.camera((middle[0] - 1.0, middle[1]), math.pi / 2),
            "mirror": symbols.surface(middle, trace, True),
            "scatter": symbols.surface(middle, trace, False),
            "shadow": [Area((box(rect),), SHADOW), Lines((closed(box(rect)),), BLACK, 0.1)],
            "line": [Lines(((left, right),), BLACK, 0.9, (4.0, 1.0))],
            "item": [Lines((closed(box(rect)),), "#555555", 0.3, (3.0, 0.8))],
        }
        if key in ("holds", "today", "fails", "plain"):
            return symbols.barrier((left, right), key)
        if key in ("door", "window", "gap"):
            start, end = (x0 + 3.0, middle[1] - 0.5), (x1 - 3.0, middle[1] - 0.5)
            around = [] if key == "door" else symbols.barrier((left, right), "holds")
            return [*around, *symbols.opening(start, end, key, True)]
        return drawn[key]

    def entry_of(key: str) -> Entry:
        return Entry(lambda rect: sample(key, rect), wording.text(f"plan.legend_{key}"))

    return [entry_of(key) for key in order if key in used]


__all__ = ["Paper", "View", "all_of", "plan_pages", "room_of"]
