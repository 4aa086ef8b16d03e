"""The plan of a scene: who may stand where, in three tones; and for the annex one drawing for each way of the light."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING

from lasersafe.drawing import page
from lasersafe.drawing.primitives import BLACK, WHITE, Area, Drawing, Lines, Mark, Pair, Rect, Words, box, closed, edge
from lasersafe.drawing.room import NAME_SIZE, NAMED, THINGS, Floor, joined, rings_in
from lasersafe.drawing.sketch import DARK, LIGHT, Label, View, extent_of, fit, grown, longer, strokes
from lasersafe.drawing.text import distance, place
from lasersafe.records import badness
from lasersafe.records.scene import Polygon, SceneResult, ZoneShape
from lasersafe.results import Assessment
from lasersafe.wording import Wording

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

Layer = tuple[Sequence[Polygon], str, str]  # where light falls, its tone and what is said of it
TONES = {"nobody": DARK, "eyewear": LIGHT, "free": WHITE}
_EDGES: dict[str, tuple[float, tuple[float, ...]]] = {"nobody": (0.5, ()), "eyewear": (0.35, (2.5, 1.0))}
_WIDER = 2.0  # zones, and persons, so many times farther out than the things do not set the scale
_ROOM = 10.0  # [m] but where zones go on, all would be of one tone: a room, and people, of this size are shown then
_EDGE, _LEAST = 0.07, 0.05
_NEAR = 5.0  # [mm] two things nearer to each other get a detail
_DETAILS, _DETAIL_HIGH, _ATTEMPTS = 2, 39.0, 6
_WAYS = {"direct": ("eye direct", "skin direct"), "mirror": ("eye mirror", "skin mirror"),
         "scatter": ("scatter eye", "scatter skin"), "together": ("eye together", "skin together"),
         "ignition": ("", "ignition")}  # fmt: skip


def stands(found: Assessment) -> dict[str, list[Polygon]]:
    """Return where nobody stands while a laser can fire, and where only with the eyewear that the sheet names.

    Eyewear is named where it can be relied on against every wavelength of a laser. Skin is never answered by it.
    """
    scene = found.scene
    named = set()
    for laser in found.record.lasers:
        needs = [one.eyewear for one in (laser, *laser.lines) if one.eyewear is not None]
        if laser.eyewear is not None and all(need.reliable for need in needs):
            named.add(laser.name)
    answered = {one.laser for one in found.scenarios if one.answer and one.tissue == "eye" and not one.struck_out}
    scattered = named | (answered & {need.laser for need in found.eyewear})
    areas: dict[str, list[Polygon]] = {"eyewear": [], "nobody": []}
    if scene is None:
        return areas
    for zone in scene.zones:
        if zone.kind != "ignition":
            worn = scattered if zone.kind == "scatter eye" else named if zone.kind.startswith("eye") else ()
            areas["eyewear" if zone.laser in worn else "nobody"] += zone.polygons
    for one in scene.beyond:
        areas["eyewear" if one.laser in named else "nobody"] += one.polygons
    return areas


def _corners(parts: Iterable[Polygon]) -> list[Pair]:
    return [point for part in parts for point in part.outline]


def room_of(scene: SceneResult) -> Rect:
    """Return the part of the floor that the plan shows: the things, zones and persons that are not far from them."""
    placed = ([aim for aim in scene.aims if aim.fitted], scene.surfaces, scene.targets, scene.cameras)
    things: list[Sequence[float]] = [one.position for group in placed for one in group]
    things += [p for barrier in scene.barriers if barrier.kind == "barrier" for p in barrier.line]
    core = extent_of(things) or extent_of(scene.plan.outline) or scene.plan.extent
    size = max(longer(core), _LEAST)
    zones = _corners(p for zone in scene.zones for p in zone.polygons)
    most = 0.0 if longer(extent_of([*_rim(core), *zones]) or core) <= _WIDER * size else _ROOM
    shown = core
    for more, least in ((scene.plan.outline, most), (zones, 0.0)):
        wider = extent_of([*_rim(shown), *more]) or core
        shown = wider if longer(wider) <= max(_WIDER * size, least) else shown
    size = max(longer(shown), _LEAST)
    middle = ((core[0] + core[2]) / 2, (core[1] + core[3]) / 2)
    for person in sorted(scene.persons, key=lambda one: math.dist(one.position, middle)):
        wider = extent_of([*_rim(shown), person.position, *person.area]) or shown
        shown = wider if longer(wider) <= max(_WIDER * size, most) else shown
    return grown(shown, _EDGE, _LEAST)


def _rim(rect: Rect) -> list[Pair]:
    return [(rect[0], rect[1]), (rect[2], rect[3])]


def _crowded(scene: SceneResult, view: View) -> list[Rect]:
    """Return the parts of the floor where two things lie too near to each other on paper. [m]."""
    placed = [aim.position for aim in scene.aims if aim.fitted]
    placed += [one.position for group in (scene.cameras, scene.targets, scene.surfaces) for one in group]
    things = {(at[0], at[1]) for at in [*placed, *(one.position for one in scene.persons)] if view.holds(at, 0.5)}
    groups: list[set[Pair]] = []
    for one, other in combinations(sorted(things), 2):
        if math.dist(one, other) * 1000.0 / view.scale < _NEAR:
            mine = [group for group in groups if one in group or other in group]
            groups = [group for group in groups if group not in mine] + [{one, other}.union(*mine)]
    largest = sorted(groups, key=lambda group: (-len(group), sorted(group)))[:_DETAILS]
    least = 2.2 * _NEAR * view.scale / 1000.0
    return [grown(extent, 0.3, least) for group in largest if (extent := extent_of(group)) is not None]


def plan_page(found: Assessment, paper: page.Paper, wording: Wording) -> Drawing:
    """Return the plan: one drawing with three tones, with details of what stands close together.

    Parameters
    ----------
    found : Assessment
        A case that has a scene.
    paper : Paper
        Size of the page.
    wording : Wording
        Texts.
    """
    scene, text = found.scene, wording.text
    assert scene is not None
    extent = room_of(scene)
    areas = {key: joined(parts) for key, parts in stands(found).items()}
    tones = [
        page.Entry(partial(_sample, key), text(f"plan.tone_{key}"), text(f"plan.tone_{key}_text")) for key in TONES
    ]
    title = text("plan.plan", title=found.title) if paper.margin else ""
    foot = page.foot_lines(paper, wording, [page.limits_line(scene.zones, wording)])
    rough = fit(extent, (0.0, 0.0, paper.width, paper.height * 0.55))
    details = _crowded(scene, rough)
    lines = page.outermost(scene.lines)
    ways = {"north": scene.plan.north, "stage": scene.plan.stage_arrow}
    bearings = [(text(f"plan.{key}"), way) for key, way in ways.items() if way is not None]
    notes, numbers = _margin(found, extent, wording), list[tuple[str, str]]()
    floor, used, assumed = Floor(scene, rough, wording), set[str](), _assumed(found, wording)
    for attempt in range(_ATTEMPTS):  # the list takes room from the drawing, and the drawing decides what is listed
        listed = numbers
        entries = [page.Entry(partial(_number, number), said) for number, said in listed]
        extra = [text("plan.lines", lines="; ".join(map(floor.line_text, lines)))] if lines else []
        extra += [text("plan.margin", notes="; ".join(notes))] if notes else []
        extra += [text("plan.assumed", what="; ".join(assumed.values()))] if assumed else []
        extra += filter(None, [page.left_out_line(scene, wording)])
        signs = page.sign_entries(used, wording)
        layout = page.lay_out(
            paper, "plan", title, [*tones, *entries], signs, [*[(one, False) for one in extra], *foot]
        )
        x0, y0, x1, y1 = layout.drawing.frame
        low = y0 + (_DETAIL_HIGH + 1.5 if details else 0.0)
        view = fit(extent, (x0, low, x1, y1))
        floor = _floor(scene, areas, view, wording, assumed)
        parts, rects = page.direction_arrows(view.frame, bearings)
        floor.board.boxes += rects
        wide = (x1 - x0 - 3.0 * (len(details) - 1)) / max(len(details), 1)
        hidden: list[str] = []
        numbers = []
        for count, part in enumerate(details):
            left = x0 + count * (wide + 3.0)
            own = fit(part, (left, y0, left + wide, y0 + _DETAIL_HIGH))
            letter = "abc"[count]
            inset = _floor(scene, areas, own, wording, assumed)
            inset.labels = [one for one in inset.labels if one.rank not in (2, 3, 4, 8, 9)]
            used |= inset.used
            hidden += [one.text for one in inset.labels if one.rank > 4]
            x, y = own.frame[0] + 1.2, own.frame[3] - 4.2
            tag = x - 0.6, y - 0.8, x + 3.0, y + 3.2
            inset.board.boxes.append(tag)
            numbers += inset.write_names(len(numbers) + 1)
            parts += [*inset.marks, *inset.bar, *edge(own.frame, 0.35), Area((box(tag),), WHITE)]
            parts.append(Words(x, y, letter, NAME_SIZE, True, framed=True))
            corners = [view.point(part[:2]), view.point(part[2:])]
            rect = (*corners[0], *corners[1])
            floor.marks += strokes([closed(box(rect))], view.frame, BLACK, 0.3, (1.5, 1.0))
            floor.board.put(Label(letter, ((rect[2], rect[3]), (rect[0], rect[1])), True, size=NAME_SIZE))
        most = NAMED if attempt < _ATTEMPTS - 2 else 0  # where it does not settle, all are listed
        numbers += floor.write_names(len(numbers) + 1, most, hidden)
        if attempt and numbers == listed and floor.used <= used:
            break
        used |= floor.used
    return layout.filled(paper, floor, "", *parts)


def _seen(view: View) -> Rect:
    """Return the part of the floor that a view shows. [m]."""
    (x, y), factor = view.middle, view.scale / 2000.0
    wide, high = (view.frame[2] - view.frame[0]) * factor, (view.frame[3] - view.frame[1]) * factor
    return x - wide, y - high, x + wide, y + high


def _assumed(found: Assessment, wording: Wording) -> dict[str, str]:
    """Return what of each laser, surface and target is drawn as assumed, by its name."""
    said: dict[str, list[str]] = {}
    for one in found.record.assumptions:
        if one.laser:
            words = wording.text("assumed.value", what=wording.input_name(one.what), laser=one.laser, value=one.value)
            said.setdefault(one.laser, []).append(words)
    surfaces, targets = (found.scene.surfaces, found.scene.targets) if found.scene is not None else ((), ())
    bent = [one.name for one in surfaces if one.mirror and one.shape == "unknown"]
    bent += [one.name for one in targets if one.finish != "matt" and one.shape == "unknown"]
    for name in bent:
        said.setdefault(name, []).append(wording.text("plan.assumed_shape", name=name))
    for surface in surfaces:
        if not surface.line:
            said.setdefault(surface.name, []).append(wording.text("plan.assumed_faces", name=surface.name))
    return {name: "; ".join(own) for name, own in said.items()}


def _floor(
    scene: SceneResult, areas: Mapping[str, Geometry], view: View, wording: Wording, assumed: Container[str]
) -> Floor:
    """Return the floor with its tones; what is assumed of a laser, a surface or a target has a mark at its name."""
    floor = Floor(scene, view, wording)
    floor.marks.append(Area((box(view.frame),), WHITE))
    for key, (thick, dashes) in reversed(_EDGES.items()):
        floor.tone(rings_in(areas[key], _seen(view)), TONES[key], thick, dashes)
    floor.everything()
    for number, one in enumerate(floor.labels):
        if one.rank in THINGS and one.text in assumed:
            floor.labels[number] = replace(one, text=wording.text("plan.assumed_name", name=one.text))
    return floor


def _sample(key: str, rect: Rect) -> list[Mark]:
    thick, dashes = _EDGES.get(key, (0.2, ()))
    return [Area((box(rect),), TONES[key]), Lines((closed(box(rect)),), BLACK, thick, dashes)]


def _number(number: str, rect: Rect) -> list[Mark]:
    return [Words(rect[0] + 3.5, rect[1] + 1.2, number, 2.5, True)]


def _margin(found: Assessment, extent: Rect, wording: Wording) -> list[str]:
    """Return what lies outside the drawing: persons, and of each laser the zone that goes on farthest."""
    scene, text = found.scene, wording.text
    if scene is None:
        return []

    def outside(at: Sequence[float]) -> bool:
        return not (extent[0] <= at[0] <= extent[2] and extent[1] <= at[1] <= extent[3])

    aims = [aim for aim in scene.aims if aim.fitted] or scene.aims
    notes = []
    for person in scene.persons:
        if outside(person.position) and aims:
            aim = min(aims, key=lambda one: math.dist(one.position[:2], person.position))
            off = place(math.dist(aim.position[:2], person.position))
            notes.append(text("plan.place_off", name=person.name, distance=off, laser=aim.laser))
    farthest: dict[str, ZoneShape] = {}
    for zone in scene.zones:
        if any(outside(point) for point in _corners(zone.polygons)):
            farthest[zone.laser] = max(farthest.get(zone.laser, zone), zone, key=lambda one: badness(one.distance))
    for laser, zone in farthest.items():
        said, far, kind = "plan.goes_on", zone.distance, zone.kind
        if kind == "eye together":  # that of page 1: of a sum only
            said, far = "plan.goes_on_sum", found.decision.headline_distance  # squares of the floor are proven
        words = {"distance": distance(far), "origin": wording.say(zone.measured_from)}
        notes.append(text(said, laser=laser, kind=text(f"plan.short_{kind}"), **words))
    return notes


def way_pages(found: Assessment, paper: page.Paper, wording: Wording) -> list[Drawing]:
    """Return one drawing for each way of the light of each fitted set-up; one that lights nothing is left out.

    Parameters
    ----------
    found : Assessment
        A case that has a scene.
    paper : Paper
        Size of a drawing.
    wording : Wording
        Texts.
    """
    scene = found.scene
    if scene is None:
        return []
    pages = []
    for laser, setup in dict.fromkeys((zone.laser, zone.setup) for zone in scene.zones):
        own = [zone for zone in scene.zones if (zone.laser, zone.setup) == (laser, setup)]
        for way, kinds in _WAYS.items():
            zones = [zone for kind in kinds for zone in own if zone.kind == kind]
            layers = []
            for kind, tone in zip(kinds, ("eyewear", "nobody"), strict=True):
                if group := [zone for zone in zones if zone.kind == kind]:
                    far = max(group, key=lambda zone: badness(zone.distance))
                    words = page.tag(kind, far.distance, far.measured_from, wording)
                    layers.append(([p for one in group for p in one.polygons], tone, words))
            if any(_corners(parts) for parts, *_ in layers):
                title = wording.text("plan.way", laser=laser, way=wording.text(f"plan.way_{way}"))
                pages.append(_light(scene, title, layers, zones, paper, wording))
    for one in scene.beyond:
        if _corners(one.polygons):
            title = wording.text("plan.way", laser=one.laser, way=wording.text("plan.way_beyond", target=one.target))
            beam = [zone for zone in scene.zones if zone.kind == "eye direct" and zone.laser == one.laser]
            layer = (one.polygons, "eyewear", page.tag("eye direct", one.distance, "last optic", wording))
            pages.append(_light(scene, title, [layer], beam, paper, wording))
    return pages


def _light(
    scene: SceneResult, title: str, layers: Sequence[Layer], zones: Sequence[ZoneShape], paper: page.Paper,
    wording: Wording,
) -> Drawing:  # fmt: skip
    """Return a drawing of one way: light tone for the eye, dark for the skin or fire, each with its distance."""
    lasers = {zone.laser for zone in zones}
    aims = [aim.position for aim in scene.aims if aim.fitted and aim.laser in lasers]
    extent = extent_of([*_corners(p for parts, _, _ in layers for p in parts), *aims]) or scene.plan.extent
    entries = [page.Entry(partial(_sample, tone), words) for _, tone, words in layers]
    foot = page.foot_lines(paper, wording, [page.limits_line(zones, wording)]) if paper.margin else []
    layout = page.lay_out(paper, "way", title, entries, (), foot or [(page.limits_line(zones, wording), False)])
    view = fit(grown(extent, _EDGE, _LEAST), layout.drawing.frame)
    floor = Floor(scene, view, wording)
    floor.marks.append(Area((box(view.frame),), WHITE))
    for parts, tone, _ in layers:
        floor.tone(rings_in(joined(parts), _seen(view)), TONES[tone], *_EDGES[tone])
    floor.everything(sparse=True)
    floor.labels = [one for one in floor.labels if one.rank == 0]
    floor.write_names()
    return layout.filled(paper, floor, None)
