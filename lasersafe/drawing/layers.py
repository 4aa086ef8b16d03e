"""What lies on the plan, layer by layer: zones below, things above, and the labels that are placed last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from lasersafe.drawing import symbols
from lasersafe.drawing.groups import Group, state_of
from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.primitives import BLACK, Lines, Mark, Pair, Rect, Run, arrow, box, closed
from lasersafe.drawing.shapes import along, clip_line, clip_run, edge_point, inside, within
from lasersafe.drawing.style import (
    AIM_DASHES,
    AIM_INK,
    LOOKS,
    SHADOW,
    count_text,
    filled,
    metres,
    metres_and_feet,
    quantity_text,
    strokes,
    tone,
)
from lasersafe.drawing.view import View
from lasersafe.results_scene import BeyondTarget, SceneResult
from lasersafe.wording import Wording

_PLACES = 9
APART = 7.0
AIM_MARK = 9.0
_SPECK = 12.0
_FARTHEST = 1e7  # [m]
STEEP = math.radians(85.0)


class Layers:
    """Draws one view of a scene.

    Parameters
    ----------
    scene : SceneResult
        What is drawn.
    view : View
        Frame and scale.
    wording : Wording
        Texts.
    sparse : bool
        Whether small areas go without a name, as in an overview.
    """

    def __init__(self, scene: SceneResult, view: View, wording: Wording, *, sparse: bool = False) -> None:
        self.scene = scene
        self.view = view
        self.text = wording.text
        self.say = wording.say
        self.frame = view.frame
        self.sparse = sparse
        self.skipped: frozenset[str] = frozenset()  # letters that a detail page names
        self.far_things = True  # whether an arrow says where those outside the frame are
        self.details: list[Rect] = []  # parts that have a detail page, on paper
        self.marks: list[Mark] = []
        self.board = Board(view.frame)
        self.urgent: list[Label] = []
        self.labels: list[Label] = []
        self.used: set[str] = set()  # keys of the legend that are on the drawing
        self.tips: list[Pair] = []
        self._bearings: list[float] = []

    # --- zones ----------------------------------------------------------------------------------------------------

    def shadows(self) -> None:
        """Draw what barriers keep dark."""
        for barrier in self.scene.barriers:
            marks = tone(self.view.rings(barrier.shadows), self.frame, SHADOW)
            if marks:
                self.used.add("shadow")
                self.marks += marks

    def zones(self, groups: Sequence[Group], beyond: Sequence[tuple[str, BeyondTarget]]) -> None:
        """Draw the zones, farthest first, with their names and distances."""
        for tag, one in beyond:
            rings = self.view.rings(one.polygons)
            self._fill(filled(rings, self.frame, LOOKS["beyond"]))
            if tag not in self.skipped:
                self._name_area(tag, self.text("plan.short_beyond"), rings, one.distance, one.target_position)
        for group in groups:
            look = LOOKS[group.first.kind]
            for zone in group.zones:
                self._fill(filled(self.view.rings(zone.polygons), self.frame, look, plain=group.plain))
        for group in groups:
            zone = group.first
            rings = self.view.rings(zone.polygons)
            kind = self.text(f"plan.short_{zone.kind}")
            if group.tag not in self.skipped and not self._name_area(
                group.tag, kind, rings, zone.distance, zone.origin
            ):
                self._dimension(group, kind, rings)

    def _fill(self, marks: list[Mark]) -> None:
        self.marks += marks
        for mark in marks[-1:]:  # the edge comes last
            if isinstance(mark, Lines):
                for run in mark.runs:
                    self.board.cover(run)

    def _name_area(self, tag: str, kind: str, rings: list[Run], distance: float, origin: Sequence[float]) -> bool:
        """Say where an area leaves the frame, or is all around it; return whether it does."""
        if not rings:
            return True
        x0, y0, x1, y1 = self.frame
        far = [p for ring in rings for p in ring if not (x0 - 1 <= p[0] <= x1 + 1 and y0 - 1 <= p[1] <= y1 + 1)]
        if not far:
            if kind == self.text("plan.short_beyond") and not self._too_small(rings):
                text = self.text("plan.tag", tag=tag, kind=kind, distance=metres_and_feet(distance))
                self.urgent.append(Label(text, tuple(self._edge(rings)), True))
            return False
        words = {"tag": tag, "kind": kind, "distance": metres_and_feet(distance)}
        corners = ((x0 + 1, y0 + 1), (x1 - 1, y0 + 1), (x1 - 1, y1 - 1), (x0 + 1, y1 - 1))
        if all(inside(corner, rings) for corner in corners):
            places = ((x0 + 8, y1 - 4), (x1 - 8, y0 + 8), (x0 + 8, y0 + 20), ((x0 + x1) / 2, y1 - 4))
            self.urgent.append(Label(self.text("plan.every_side", **words), places, True))
            return True
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        start = self.view.point(origin) if self.view.holds(origin) else middle
        far.sort(key=lambda p: (-round(math.dist(p, start), 3), p))
        tip = None
        for p in far[:: max(1, len(far) // 40)]:
            at = edge_point(start, (p[0] - start[0], p[1] - start[1]), self.frame)
            shown = inside((at[0] + (start[0] - at[0]) * 0.03, at[1] + (start[1] - at[1]) * 0.03), rings)
            free = not any(within((*at, *at), (b[0] - 3, b[1] - 3, b[2] + 3, b[3] + 3)) for b in self.board.boxes)
            if shown and free and all(math.dist(at, other) > APART for other in self.tips):
                tip = at
                break
        tip = tip or edge_point(start, (far[0][0] - start[0], far[0][1] - start[1]), self.frame)
        self.tips.append(tip)
        long = math.dist(start, tip) or 1.0
        share = min(1.0, 11.0 / long)
        tail = (tip[0] + (start[0] - tip[0]) * share, tip[1] + (start[1] - tip[1]) * share)
        self.marks += arrow(tail, tip, BLACK, 0.6, 3.0)
        self.urgent.append(Label(self.text("plan.goes_on", **words), (tail,), True))
        return True

    def _too_small(self, rings: list[Run]) -> bool:
        """Return whether an area is a speck that an overview does not name."""
        xs, ys = [p[0] for ring in rings for p in ring], [p[1] for ring in rings for p in ring]
        return self.sparse and max(max(xs) - min(xs), max(ys) - min(ys)) < _SPECK

    def _edge(self, rings: list[Run]) -> list[Pair]:
        runs = [run for ring in rings for run in clip_run(closed(ring), self.frame)]
        runs.sort(key=lambda run: -sum(math.dist(a, b) for a, b in pairwise(run)))
        return [p for run in runs[:2] for p in along(run, _PLACES)]

    def _dimension(self, group: Group, kind: str, rings: list[Run]) -> None:
        zone = group.first
        start = self.view.point(zone.origin)
        points = [p for ring in rings for p in ring]
        reach = max(math.dist(start, p) for p in points)
        if self._too_small(rings):
            return
        ends = [p for p in points if math.dist(start, p) >= 0.985 * reach]
        end = max(ends, key=lambda p: (round(self._free_angle(start, p), 2), p))
        self._bearings.append(math.atan2(end[1] - start[1], end[0] - start[0]))
        floor = reach * self.view.scale / 1000.0
        text = self.text("plan.tag", tag=group.tag, kind=kind, distance=metres_and_feet(zone.distance))
        folded = zone.kind.endswith("mirror")
        if floor < 0.97 * zone.distance and not folded:
            far = metres_and_feet(floor)
            if zone.clipped_by:
                text = self.text("plan.cut_short", tag=group.tag, kind=kind, distance=far)
            else:
                text += self.text("plan.on_floor", distance=far)
        if not folded and self.view.holds(zone.origin) and reach > 3.0:
            self.marks += symbols.dimension(start, end)
            self.board.lines.append((start, end))
            on_line = [(start[0] + (end[0] - start[0]) * s, start[1] + (end[1] - start[1]) * s) for s in (0.8, 0.6, 1)]
        else:
            on_line = [end]
        self.urgent.append(Label(text, (*on_line, *self._edge(rings)), True))

    def _free_angle(self, start: Pair, end: Pair) -> float:
        own = math.atan2(end[1] - start[1], end[0] - start[0])
        gaps = [abs((own - other + math.pi) % (2 * math.pi) - math.pi) for other in self._bearings]
        return min(gaps, default=math.pi)

    # --- things ---------------------------------------------------------------------------------------------------

    def floor(self, *, names: bool) -> None:
        """Draw the room and what is only drawn."""
        plan = self.scene.plan
        if len(plan.outline) > 2:
            run = self.view.run(plan.outline)
            self.marks += strokes([closed(run)], self.frame, BLACK, 0.35)
        for item in plan.items:
            run = self.view.run(item.outline)
            marks = strokes([closed(run)], self.frame, "#555555", 0.3, (3.0, 0.8))
            if marks and not (self.sparse and length_of([run]) < 12.0):
                self.used.add("item")
                self.marks += marks
                if names:
                    label = item.name + (f" +{quantity_text(item.height, 'm', 'nearest')}" if item.height else "")
                    self.labels.append(Label(label, tuple(self._edge([run]))))

    def aims(self, *, rays: bool = True) -> None:
        """Draw each laser that is fitted, with the directions that it can reach."""
        done: set[tuple[str, Pair]] = set()
        for aim in sorted(self.scene.aims, key=lambda aim: (aim.mode != "running", not aim.fitted)):
            place = self.view.point(aim.position)
            if (aim.laser, place) in done:
                continue
            done.add((aim.laser, place))
            if not self.view.holds(aim.position, 0.5):
                self._far_thing(aim.laser, aim.position)
                continue
            low, high = aim.bearing_range
            span = high - low if high >= low else high - low + 2 * math.pi
            low_e, high_e = aim.elevation_range
            steep = max(abs(low_e - aim.margin), abs(high_e + aim.margin)) >= STEEP  # bearings say nothing there
            if not rays:
                pass
            elif steep or span >= 2 * math.pi - 1e-6:
                ring = tuple(
                    (
                        place[0] + AIM_MARK * math.cos(k * math.pi / 24),
                        place[1] + AIM_MARK * math.sin(k * math.pi / 24),
                    )
                    for k in range(48)
                )
                self.marks += strokes([closed(ring)], self.frame, AIM_INK, 0.3, AIM_DASHES)
                self.used.add("aim")
            elif span > 1e-6 or aim.margin > 1e-6:
                reach = aim.reach if aim.reach < _FARTHEST else _FARTHEST  # not a number counts as without end
                long = max(reach * 1000.0 / self.view.scale, 2 * AIM_MARK)
                for bearing, dashes in (
                    (low, AIM_DASHES),
                    (low + span, AIM_DASHES),
                    (low - aim.margin, (1.0, 1.2)),
                    (low + span + aim.margin, (1.0, 1.2)),
                ):
                    way = symbols.bearing_vector(bearing)
                    end = (place[0] + long * way[0], place[1] + long * way[1])
                    self.marks += strokes([(place, end)], self.frame, AIM_INK, 0.3, dashes)
                self.used.add("aim")
            way = symbols.bearing_vector(aim.bearing)
            if abs(aim.elevation) < STEEP:
                tip = (place[0] + AIM_MARK * way[0], place[1] + AIM_MARK * way[1])
                self.marks += arrow(place, tip, BLACK, 0.4, 2.4)
            self.marks += symbols.laser(place, aim.bearing)
            self.used.add("laser")
            middle = (place[0] - 2.6 * way[0], place[1] - 2.6 * way[1])
            self.board.block(middle, 2.6)
            height = quantity_text(aim.position[2], "m", "nearest")
            self.labels.append(
                Label(self.text("plan.laser", name=aim.laser, height=height), (middle,), True, clear=2.6)
            )

    def barriers(self, *, names: bool) -> None:
        """Draw barriers and walls with their openings."""
        for barrier in self.scene.barriers:
            kind, against = state_of(self.scene, barrier)
            runs = clip_run(self.view.run(barrier.line), self.frame)
            if not runs or (self.sparse and length_of(runs) < 3.0):
                continue
            self.used.add("today" if kind == "part" else kind)
            for run in runs:
                self.marks += symbols.barrier(run, kind)
                self.board.lines += list(pairwise(run))
            for opening in barrier.openings:
                cut = clip_line(self.view.point(opening.start), self.view.point(opening.end), self.frame)
                if cut and not (self.sparse and math.dist(*cut) < 3.0):
                    self.marks += symbols.opening(*cut, opening.kind, opening.open)
                    self.used.add(opening.kind)
                    middle = ((cut[0][0] + cut[1][0]) / 2, (cut[0][1] + cut[1][1]) / 2)
                    if names and math.dist(*cut) > 2.0 and not self._in_detail(middle):
                        key = "door_open" if opening.open else "plain"
                        self.labels.append(Label(self.text(f"plan.{key}", name=opening.name), (middle,), clear=0.8))
            places = [p for run in runs for p in along(run, 5) if not self._in_detail(p)]
            if names and places:
                text = self.text(f"plan.{kind}", name=barrier.name, against=self.say(against))
                self.labels.append(Label(text, tuple(places), kind == "fails"))

    def marks_of_things(self) -> None:
        """Draw surfaces, targets, persons and cameras."""
        for surface in self.scene.surfaces:
            if not self.view.holds(surface.position, 0.5):
                continue
            place = self.view.point(surface.position)
            cut = clip_run(self.view.run(surface.line), self.frame) if len(surface.line) > 1 else []
            self.marks += symbols.surface(place, cut[0] if cut else (), surface.mirror)
            self._thing(surface.name, place, 1.8, "mirror" if surface.mirror else "scatter")
        for target in self.scene.targets:
            if self.view.holds(target.position, 0.5):
                place = self.view.point(target.position)
                self.marks += symbols.target(place, target.rated_stop)
                self._thing(target.name, place, 2.0, "target")
        for person in self.scene.persons:
            if len(person.area) > 2:
                self.marks += strokes([closed(self.view.run(person.area))], self.frame, BLACK, 0.45, (0.45, 1.3))
            if not self.view.holds(person.position, 0.5):
                self._far_thing(person.name, person.position)
                continue
            place = self.view.point(person.position)
            self.marks += symbols.person(place)
            eyes = self.text("plan.eyes", height=quantity_text(person.eye_height + person.floor, "m", "nearest"))
            self._thing(
                self.text(
                    "plan.person", name=person.name, eyes=eyes, ratio=self._ratio(person.ratio, person.ratio_way)
                ),
                place,
                1.6,
                "person",
            )
        for camera in self.scene.cameras:
            if self.view.holds(camera.position, 0.5):
                place = self.view.point(camera.position)
                self.marks += symbols.camera(place, camera.bearing)
                self._thing(camera.name, place, 1.6, "camera")

    def _ratio(self, ratio: float | None, way: str) -> str:
        if ratio is None:
            return ""
        if ratio <= 1.0:
            return self.text("plan.person_below")
        return self.text("plan.person_ratio", ratio=count_text(ratio), way=self.say(way))

    def _in_detail(self, place: Pair) -> bool:
        return any(within((*place, *place), rect) for rect in self.details)

    def detail_frames(self) -> None:
        """Draw the edges of the parts that have a detail page."""
        for rect in self.details:
            self.marks += strokes([closed(box(rect))], self.frame, BLACK, 0.3, (1.5, 1.0))
            x0, y0, x1, y1 = rect
            places = (((x0 + x1) / 2, y0), (x0, y0), (x1, y0), (x1, y1), (x0, y1))
            self.urgent.append(Label(self.text("plan.see_detail"), places, True))

    def _thing(self, name: str, place: Pair, half: float, key: str) -> None:
        self.used.add(key)
        self.board.block(place, half)
        if key != "person" and self._in_detail(place):
            return
        self.labels.append(Label(name, (place,), clear=half))

    def _far_thing(self, name: str, position: Sequence[float]) -> None:
        """Say with an arrow at the edge where something stands that lies outside the frame."""
        if not self.far_things:
            return
        x0, y0, x1, y1 = self.frame
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        place = self.view.point(position)
        tip = edge_point(middle, (place[0] - middle[0], place[1] - middle[1]), self.frame)
        long = math.dist(middle, tip) or 1.0
        tail = (tip[0] + (middle[0] - tip[0]) * 6 / long, tip[1] + (middle[1] - tip[1]) * 6 / long)
        self.marks += arrow(tail, tip, BLACK, 0.3, 2.0)
        others = [aim for aim in self.scene.aims if aim.laser != name]
        near = min(others, key=lambda aim: math.dist(aim.position[:2], position[:2]), default=None)
        if near is None:
            return
        away = metres(math.dist(near.position[:2], position[:2]), "down")
        text = self.text("plan.place_off", name=name, distance=away, laser=near.laser)
        self.labels.append(Label(text, (tail,)))

    # --- labels ---------------------------------------------------------------------------------------------------

    def write(self) -> list[str]:
        """Place all labels; return the texts for which there is no room."""
        for label in (*self.urgent, *self.labels):
            self.board.put(label)
        self.marks += [*self.board.under, *self.board.marks]
        return [label.text for label in self.board.left_out]


def length_of(runs: Sequence[Run]) -> float:
    """Return how long lines are together. [mm]."""
    return sum(math.dist(a, b) for run in runs for a, b in pairwise(run))
