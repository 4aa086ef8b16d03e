"""What lies on the plan, layer by layer: zones below, things above, and the labels that are placed last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from lasersafe.drawing import symbols
from lasersafe.drawing.groups import Group, outermost, state_of
from lasersafe.drawing.labels import Label
from lasersafe.drawing.primitives import BLACK, Lines, Mark, Pair, Rect, Run, arrow, box, closed
from lasersafe.drawing.shapes import along, clip_line, clip_run, edge_point, inside, toward, within
from lasersafe.drawing.sketch import Sketch
from lasersafe.drawing.style import (
    AIM_DASHES,
    AIM_INK,
    ITEM_INK,
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
from lasersafe.records.scene import AimEnvelope, BeyondTarget, SceneResult, SpectatorLine
from lasersafe.wording import Wording

_PLACES = 9
_APART = 7.0
_AIM_MARK = 9.0
_SPECK = 12.0
_FARTHEST = 1e7  # [m]
_STEEP = math.radians(85.0)
_SHORT = 40.0  # [mm] so long is a spectator line at least
_SEEN = 4.0  # [mm]


class Layers(Sketch):
    """The plan of a scene.

    Parameters
    ----------
    scene, view, wording
        As for `Sketch`.
    sparse : bool
        Whether small areas and things go without a name, as in an overview.
    """

    def __init__(self, scene: SceneResult, view: View, wording: Wording, *, sparse: bool = False) -> None:
        super().__init__(scene, view, wording)
        self.sparse = sparse
        self.skipped: frozenset[str] = frozenset()  # letters that a detail page names
        self.far_things = True  # whether an arrow says where those outside the frame are
        self.details: list[Rect] = []  # parts that have a detail page, on paper
        self.tips: list[Pair] = []
        self._bearings: list[float] = []

    # --- zones ----------------------------------------------------------------------------------------------------

    def shadows(self) -> None:
        """Draw what barriers keep dark."""
        marks = [m for one in self.scene.barriers for m in tone(self.view.rings(one.shadows), self.frame, SHADOW)]
        self.used |= {"shadow"} if marks else set()
        self.marks += marks

    def zones(self, groups: Sequence[Group], beyond: Sequence[tuple[str, BeyondTarget]]) -> None:
        """Draw the zones, farthest first, with their names and distances."""
        for tag, one in beyond:
            rings = self.view.rings(one.polygons)
            self._fill(filled(rings, self.frame, LOOKS["beyond"]))
            words = {"tag": tag, "kind": self.text("plan.short_beyond"), "distance": metres_and_feet(one.distance)}
            leaves = tag in self.skipped or self._name_area(words, rings, one.target_position)
            if not leaves and not self._too_small(rings):
                self.urgent.append(Label(self.text("plan.tag", **words), tuple(self._edge(rings)), True))
        for group in groups:
            for zone in group.zones:
                rings = self.view.rings(zone.polygons)
                self._fill(filled(rings, self.frame, LOOKS[zone.kind], plain=group.plain))
        for group in groups:
            zone = group.first
            rings, kind = self.view.rings(zone.polygons), self.text(f"plan.short_{zone.kind}")
            words = {"tag": group.tag, "kind": kind, "distance": metres_and_feet(zone.distance)}
            if group.tag not in self.skipped and not self._name_area(words, rings, zone.origin):
                self._dimension(group, words, rings)

    def _fill(self, marks: list[Mark]) -> None:
        self.marks += marks
        for mark in marks[-1:]:  # the edge comes last
            for run in mark.runs if isinstance(mark, Lines) else ():
                self.board.cover(run)

    def _name_area(self, words: dict[str, str], rings: list[Run], origin: Sequence[float]) -> bool:
        """Say where an area leaves the frame, or is all around it; return whether it does."""
        x0, y0, x1, y1 = self.frame
        far = [p for ring in rings for p in ring if not (x0 - 1 <= p[0] <= x1 + 1 and y0 - 1 <= p[1] <= y1 + 1)]
        if not far:
            return not rings
        if all(inside(corner, rings) for corner in box((x0 + 1, y0 + 1, x1 - 1, y1 - 1))):
            places = ((x0 + 8, y1 - 4), (x1 - 8, y0 + 8), (x0 + 8, y0 + 20), ((x0 + x1) / 2, y1 - 4))
            self.urgent.append(Label(self.text("plan.every_side", **words), places, True))
            return True
        start = self.view.point(origin) if self.view.holds(origin) else ((x0 + x1) / 2, (y0 + y1) / 2)
        far.sort(key=lambda p: (-round(math.dist(p, start), 3), p))
        tips = [
            edge_point(start, (p[0] - start[0], p[1] - start[1]), self.frame) for p in far[:: max(1, len(far) // 40)]
        ]
        tip = next((at for at in tips if self._free(at) and inside(toward(at, start, 0.03), rings)), tips[0])
        self.tips.append(tip)
        tail = toward(tip, start, min(1.0, 11.0 / (math.dist(start, tip) or 1.0)))
        self.arrow_to(tip, tail, self.text("plan.goes_on", **words), 0.6, 3.0)
        return True

    def _free(self, at: Pair) -> bool:
        """Return whether an arrow to the edge keeps clear of boxes and other arrows."""
        boxed = any(within((*at, *at), (b[0] - 3, b[1] - 3, b[2] + 3, b[3] + 3)) for b in self.board.boxes)
        return not boxed and all(math.dist(at, other) > _APART for other in self.tips)

    def _too_small(self, rings: list[Run]) -> bool:
        """Return whether an area is a speck that an overview does not name."""
        xs, ys = [p[0] for ring in rings for p in ring], [p[1] for ring in rings for p in ring]
        return self.sparse and max(max(xs) - min(xs), max(ys) - min(ys)) < _SPECK

    def _edge(self, rings: list[Run]) -> list[Pair]:
        runs = [run for ring in rings for run in clip_run(closed(ring), self.frame)]
        runs.sort(key=lambda run: -length_of([run]))
        return [p for run in runs[:2] for p in along(run, _PLACES)]

    def _dimension(self, group: Group, words: dict[str, str], rings: list[Run]) -> None:
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
        text = self.text("plan.tag", **words)
        folded = zone.kind.endswith("mirror")
        if floor < 0.97 * zone.distance and not folded:
            far = metres_and_feet(floor)
            if zone.clipped_by:
                text = self.text("plan.cut_short", **{**words, "distance": far})
            else:
                text += self.text("plan.on_floor", distance=far)
        on_line = [end]
        if not folded and self.view.holds(zone.origin) and reach > 3.0:
            self.marks += symbols.dimension(start, end)
            self.board.lines.append((start, end))
            on_line = [toward(start, end, share) for share in (0.8, 0.6, 1)]
        self.urgent.append(Label(text, (*on_line, *self._edge(rings)), True))

    def _free_angle(self, start: Pair, end: Pair) -> float:
        own = math.atan2(end[1] - start[1], end[0] - start[0])
        gaps = [abs((own - other + math.pi) % (2 * math.pi) - math.pi) for other in self._bearings]
        return min(gaps, default=math.pi)

    # --- things ---------------------------------------------------------------------------------------------------

    def things(self) -> None:
        """Draw the room, lasers, barriers, all that stands there but in an overview, and the lines for spectators."""
        self.floor(names=not self.sparse)
        self.aims()
        self.barriers(names=not self.sparse)
        if not self.sparse:
            self.marks_of_things()
        for line in outermost(self.scene.lines):
            self._spectators(line)

    def floor(self, *, names: bool) -> None:
        """Draw the room and what is only drawn."""
        if len(self.scene.plan.outline) > 2:
            self.marks += strokes([closed(self.view.run(self.scene.plan.outline))], self.frame, BLACK, 0.35)
        for item in self.scene.plan.items:
            run = self.view.run(item.outline)
            marks = strokes([closed(run)], self.frame, ITEM_INK, 0.3, (3.0, 0.8))
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
            marks = self._rays(aim, place) if rays else []
            self.used |= {"aim"} if marks else set()
            self.marks += marks
            if abs(aim.elevation) < _STEEP:
                way = symbols.bearing_vector(aim.bearing)
                self.marks += arrow(
                    place, (place[0] + _AIM_MARK * way[0], place[1] + _AIM_MARK * way[1]), BLACK, 0.4, 2.4
                )
            self.laser(aim.laser, place, aim.bearing, aim.position[2])

    def _rays(self, aim: AimEnvelope, place: Pair) -> list[Mark]:
        """Return the edges of where a laser can point, a ring where it can point all around."""
        low, high = aim.bearing_range
        span = high - low if high >= low else high - low + 2 * math.pi
        low_e, high_e = aim.elevation_range
        steep = max(abs(low_e - aim.margin), abs(high_e + aim.margin)) >= _STEEP  # bearings say nothing there
        if steep or span >= 2 * math.pi - 1e-6:
            ring = closed(symbols.circle(place, _AIM_MARK, 48))
            return strokes([ring], self.frame, AIM_INK, 0.3, AIM_DASHES)
        if not (span > 1e-6 or aim.margin > 1e-6):
            return []
        reach = aim.reach if aim.reach < _FARTHEST else _FARTHEST  # not a number counts as without end
        long = max(reach * 1000.0 / self.view.scale, 2 * _AIM_MARK)
        marks: list[Mark] = []
        for bearing, dashes in (
            (low, AIM_DASHES),
            (low + span, AIM_DASHES),
            (low - aim.margin, (1.0, 1.2)),
            (low + span + aim.margin, (1.0, 1.2)),
        ):
            way = symbols.bearing_vector(bearing)
            end = (place[0] + long * way[0], place[1] + long * way[1])
            marks += strokes([(place, end)], self.frame, AIM_INK, 0.3, dashes)
        return marks

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
                    middle = toward(*cut, 0.5)
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
            if self.view.holds(surface.position, 0.5):
                cut = clip_run(self.view.run(surface.line), self.frame) if len(surface.line) > 1 else []
                marks = symbols.surface(self.view.point(surface.position), cut[0] if cut else (), surface.mirror)
                self._thing(surface.name, surface.position, 1.8, "mirror" if surface.mirror else "scatter", marks)
        for target in self.scene.targets:
            if self.view.holds(target.position, 0.5):
                marks = symbols.target(self.view.point(target.position), target.rated_stop)
                self._thing(target.name, target.position, 2.0, "target", marks)
        for person in self.scene.persons:
            if len(person.area) > 2:
                self.marks += strokes([closed(self.view.run(person.area))], self.frame, BLACK, 0.45, (0.45, 1.3))
            if not self.view.holds(person.position, 0.5):
                self._far_thing(person.name, person.position)
                continue
            eyes = self.text("plan.eyes", height=quantity_text(person.eye_height + person.floor, "m", "nearest"))
            ratio = self._ratio(person.ratio, person.ratio_way)
            name = self.text("plan.person", name=person.name, eyes=eyes, ratio=ratio)
            self._thing(name, person.position, 1.6, "person", symbols.person(self.view.point(person.position)))
        for camera in self.scene.cameras:
            if self.view.holds(camera.position, 0.5):
                marks = symbols.camera(self.view.point(camera.position), camera.bearing)
                self._thing(camera.name, camera.position, 1.6, "camera", marks)

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

    def _thing(self, name: str, position: Sequence[float], half: float, key: str, marks: list[Mark]) -> None:
        self.marks += marks
        self.used.add(key)
        place = self.view.point(position)
        self.board.block(place, half)
        if key == "person" or not self._in_detail(place):
            self.labels.append(Label(name, (place,), clear=half))

    def _far_thing(self, name: str, position: Sequence[float]) -> None:
        """Say with an arrow at the edge where something stands that lies outside the frame."""
        others = [aim for aim in self.scene.aims if aim.laser != name]
        near = min(others, key=lambda aim: math.dist(aim.position[:2], position[:2]), default=None)
        if not self.far_things or near is None:
            return
        x0, y0, x1, y1 = self.frame
        middle, place = ((x0 + x1) / 2, (y0 + y1) / 2), self.view.point(position)
        tip = edge_point(middle, (place[0] - middle[0], place[1] - middle[1]), self.frame)
        away = metres(math.dist(near.position[:2], position[:2]), "down")
        text = self.text("plan.place_off", name=name, distance=away, laser=near.laser)
        self.arrow_to(tip, toward(tip, middle, 6.0 / (math.dist(middle, tip) or 1.0)), text)

    # --- nearest allowed lines for spectators ---------------------------------------------------------------------

    def _spectators(self, line: SpectatorLine) -> None:
        """Draw a nearest allowed line; of one outside the frame of the plan an arrow says where it is."""
        runs = clip_run(self._long_enough(line), self.frame)
        if not runs or length_of(runs) < _SEEN:
            self._far_line(line)
            return
        self.used.add("line")
        self.marks.append(Lines(tuple(runs), BLACK, 0.9, (6.0, 1.5)))
        for run in runs:
            self.board.lines += list(pairwise(run))
        places = [p for run in runs for p in along(run, 7)]
        middle = places[len(places) // 2]
        places.sort(key=lambda p: math.dist(p, middle))
        self.urgent.append(Label(self._line_text(line), tuple(places), True))

    def _line_text(self, line: SpectatorLine) -> str:
        key = "plan.line" if line.line_kind in ("", "exposure limit") else "plan.line_rule"
        pack, joint, rule = line.line_kind.rpartition(": ")
        rule = self.say(pack) + joint + self.say(rule)
        text = self.text(key, side=self.say(line.side), rule=rule, distance=metres_and_feet(line.distance))
        if len({one.laser for one in self.scene.lines}) > 1:
            text = self.text("plan.line_from", text=text, laser=line.laser)
        return text

    def _long_enough(self, line: SpectatorLine) -> Run:
        """Return a line on paper, made longer where it is too short to be seen but well away from its laser."""
        (ax, ay), (bx, by) = self.view.run(line.line)
        if math.hypot(bx - ax, by - ay) >= _SHORT or not line.distance * 1000.0 / self.view.scale >= _AIM_MARK:
            return (ax, ay), (bx, by)
        half = (math.cos(line.bearing) * _SHORT / 2, -math.sin(line.bearing) * _SHORT / 2)
        x, y = (ax + bx) / 2, (ay + by) / 2
        return (x - half[0], y - half[1]), (x + half[0], y + half[1])

    def _far_line(self, line: SpectatorLine) -> None:
        """Say with an arrow at the edge of the plan how far away a line is that lies outside."""
        place = toward(line.line[0], line.line[-1], 0.5)
        if not self.far_things or self.view.holds(place):
            return
        way = symbols.bearing_vector(line.bearing)
        foot = (place[0] - line.distance * way[0], place[1] - line.distance * way[1])
        x0, y0, x1, y1 = self.frame
        start = self.view.point(foot) if self.view.holds(foot, 8.0) else ((x0 + x1) / 2, (y0 + y1) / 2)
        tips = [
            edge_point((start[0] + aside * way[1], start[1] - aside * way[0]), way, self.frame)
            for aside in (0.0, _APART, -_APART, 2 * _APART, -2 * _APART)
        ]
        tip = next((tip for tip in tips if all(math.dist(tip, other) > _APART for other in self.tips)), tips[0])
        self.tips.append(tip)
        text = self.text("plan.line_outside", text=self._line_text(line))
        self.arrow_to(tip, (tip[0] - 8.0 * way[0], tip[1] - 8.0 * way[1]), text, 0.9, 3.0)


def length_of(runs: Sequence[Run]) -> float:
    """Return how long lines are together. [mm]."""
    return sum(math.dist(a, b) for run in runs for a, b in pairwise(run))
