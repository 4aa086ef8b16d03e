"""The room as it is drawn: from above with its walls and names, and from the side as elevations."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from lasersafe.drawing import page, sketch
from lasersafe.drawing import primitives as pen
from lasersafe.drawing.sketch import tone
from lasersafe.drawing.text import distance, place, quantity
from lasersafe.records.scene import AimEnvelope, Elevation, ElevationItem, Polygon, SceneResult, SpectatorLine
from lasersafe.wording import Wording

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

NAMED, NAME_SIZE = 12, 2.9  # so many names on a drawing at most, and how high they are [mm]
THINGS = (0, 6, 7)  # ranks of the names of lasers, targets and surfaces
# of a thing: rank of its name, and what is kept free around its sign [mm]
_RANKS = {"mirror": (7, 1.8), "scatter": (7, 1.8), "target": (6, 2.0), "camera": (5, 1.6), "person": (1, 1.6)}
_AIM_MARK = 9.0
_FARTHEST = 1e7  # [m]
_STEEP = math.radians(85.0)
_SEEN = 4.0  # [mm]
_SEAM = 1e-6  # [m] by which parts of an area overlap, so that no line of no width is left between them


def joined(polygons: Iterable[Polygon]) -> Geometry:
    """Return parts of the floor [m] as one area; what has no number is everywhere."""
    import shapely

    parts = []
    for polygon in polygons:
        rings = [ring for ring in (polygon.outline, *polygon.holes) if len(ring) > 2]
        if not all([math.isfinite(x) and math.isfinite(y) for ring in rings for x, y in ring]):
            return shapely.box(-_FARTHEST, -_FARTHEST, _FARTHEST, _FARTHEST)
        if rings and len(polygon.outline) > 2:
            parts.append(shapely.Polygon(rings[0], rings[1:]))
    return shapely.union_all(shapely.buffer(parts, _SEAM, join_style="mitre"))


def rings_in(area: Geometry, extent: pen.Rect) -> list[pen.Run]:
    """Return the outlines and holes of an area, cut to an extent. [m]."""
    import shapely

    found: list[pen.Run] = []
    for part in shapely.get_parts(shapely.intersection(area, shapely.box(*extent))):
        if part.geom_type == "Polygon" and not part.is_empty:
            found += [tuple(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
    return found


class Floor(sketch.Sketch):
    """The floor plan of a scene; names are collected, and written when all is drawn."""

    def tone(self, rings: Sequence[pen.Run], fill: str, thick: float, dashes: tuple[float, ...] = ()) -> None:
        """Draw an area in one tone, with its edge."""
        outlines = tuple(self.view.run(ring) for ring in rings)
        if outlines:
            self.marks += [
                pen.Area(outlines, fill),
                *sketch.strokes(map(pen.closed, outlines), self.frame, pen.BLACK, thick, dashes),
            ]
            for outline in outlines:
                self.board.cover(pen.closed(outline))

    def everything(self, *, sparse: bool = False) -> None:
        """Draw the room, lasers, barriers, and unless ``sparse`` the people, the things and the spectator lines."""
        self.room()
        self.aims()
        self.barriers()
        if not sparse:
            self.things()
            for line in page.outermost(self.scene.lines):
                self._line(line)

    def room(self) -> None:
        """Draw the room and what is only drawn."""
        if len(self.scene.plan.outline) > 2:
            self.marks += sketch.strokes(
                [pen.closed(self.view.run(self.scene.plan.outline))], self.frame, pen.BLACK, 0.35
            )
        for item in self.scene.plan.items:
            run = pen.closed(self.view.run(item.outline))
            marks = sketch.strokes([run], self.frame, sketch.ITEM_INK, 0.3, (3.0, 0.8))
            if marks:
                self.used.add("item")
                self.marks += marks
                places = [p for part in pen.clip_run(run, self.frame) for p in pen.along(part, 9)]
                self.labels.append(sketch.Label(item.name, places, rank=9))

    def aims(self, *, rays: bool = True) -> None:
        """Draw each laser that is fitted, with the directions that it can reach."""
        done: set[tuple[str, pen.Pair]] = set()
        for aim in sorted(self.scene.aims, key=lambda aim: (aim.mode != "running", not aim.fitted)):
            place = self.view.point(aim.position)
            if (aim.laser, place) in done or not self.view.holds(aim.position, 0.5):
                continue
            done.add((aim.laser, place))
            marks = self._rays(aim, place) if rays else []
            self.used |= {"aim", "laser"} if marks else {"laser"}
            self.marks += marks
            way = pen.bearing_vector(aim.bearing)
            if abs(aim.elevation) < _STEEP:
                tip = (place[0] + _AIM_MARK * way[0], place[1] + _AIM_MARK * way[1])
                self.marks += pen.arrow(place, tip, pen.BLACK, 0.4, 2.4)
            self.laser(place, aim.bearing, aim.laser, aim.position[2])

    def _rays(self, aim: AimEnvelope, place: pen.Pair) -> list[pen.Mark]:
        """Return the edges of where a laser can point, a ring where it can point all around."""
        low, high = aim.bearing_range
        span = high - low if high >= low else high - low + 2 * math.pi
        low_e, high_e = aim.elevation_range
        steep = max(abs(low_e - aim.margin), abs(high_e + aim.margin)) >= _STEEP  # bearings say nothing there
        if steep or span >= 2 * math.pi - 1e-6:
            ring = pen.closed(pen.circle(place, _AIM_MARK, 48))
            return sketch.strokes([ring], self.frame, sketch.AIM_INK, 0.3, sketch.AIM_DASHES)
        if not (span > 1e-6 or aim.margin > 1e-6):
            return []
        reach = aim.reach if aim.reach < _FARTHEST else _FARTHEST  # not a number counts as without end
        long = max(reach * 1000.0 / self.view.scale, 2 * _AIM_MARK)
        runs = []
        for bearing in (low - aim.margin, low + span + aim.margin):
            way = pen.bearing_vector(bearing)
            runs.append((place, (place[0] + long * way[0], place[1] + long * way[1])))
        return sketch.strokes(runs, self.frame, sketch.AIM_INK, 0.3, sketch.AIM_DASHES)

    def barriers(self) -> None:
        """Draw barriers and walls with their openings."""
        for barrier in self.scene.barriers:
            kind, against = page.state_of(barrier)
            runs = pen.clip_run(self.view.run(barrier.line), self.frame)
            if not runs:
                continue
            self.used.add("today" if kind == "part" else kind)
            for run in runs:
                self.marks += pen.barrier(run, kind)
                self.board.lines += list(pairwise(run))
            for opening in barrier.openings:
                cut = pen.clip_line(self.view.point(opening.start), self.view.point(opening.end), self.frame)
                if cut and math.dist(*cut) > 1.0:
                    self.marks += pen.opening(*cut, opening.kind, opening.open)
                    self.used.add(opening.kind)
                    said = self.text("plan.door_open", name=opening.name) if opening.open else ""
                    place = [pen.toward(*cut, 0.5)]
                    self.labels.append(sketch.Label(opening.name, place, clear=0.8, rank=8, said=said))
            places = [p for run in runs for p in pen.along(run, 5)]
            said = self.text(f"plan.{kind}", name=barrier.name, against=self.say(against))
            fails = kind == "fails"
            self.labels.append(sketch.Label(barrier.name, places, fails, rank=3 if fails else 4, said=said))

    def things(self) -> None:
        """Draw surfaces, targets, persons and cameras."""
        at = self.view.point
        for surface in self.scene.surfaces:
            cut = pen.clip_run(self.view.run(surface.line), self.frame) if len(surface.line) > 1 else []
            marks = pen.surface(at(surface.position), cut[0] if cut else (), surface.mirror)
            self._thing(surface, "mirror" if surface.mirror else "scatter", marks)
        for target in self.scene.targets:
            self._thing(target, "target", pen.target(at(target.position), target.rated_stop))
        for camera in self.scene.cameras:
            self._thing(camera, "camera", pen.camera(at(camera.position), camera.bearing))
        for person in self.scene.persons:
            if len(person.area) > 2:
                self.marks += sketch.strokes(
                    [pen.closed(self.view.run(person.area))], self.frame, pen.BLACK, 0.45, (0.45, 1.3)
                )
            eyes = self.text("plan.eyes", height=quantity(person.eye_height + person.floor, "m"))
            said = self.text("plan.person", name=person.name, eyes=eyes)
            self._thing(person, "person", pen.person(at(person.position)), said)

    def _thing(self, one: Any, key: str, marks: list[pen.Mark], said: str = "") -> None:
        """Draw a thing and note its name, where its place is on the paper."""
        if self.view.holds(one.position, 0.5):
            place = self.view.point(one.position)
            self.marks += marks
            self.used.add(key)
            rank, clear = _RANKS[key]
            self.board.block(place, clear)
            self.labels.append(sketch.Label(one.name, [place], clear=clear, rank=rank, said=said))

    def _line(self, line: SpectatorLine) -> None:
        """Draw a nearest allowed line of spectators."""
        runs = pen.clip_run(self.view.run(line.line), self.frame)
        if sum(math.dist(a, b) for run in runs for a, b in pairwise(run)) < _SEEN:
            return
        self.used.add("line")
        self.marks.append(pen.Lines(tuple(runs), pen.BLACK, 0.9, (6.0, 1.5)))
        for run in runs:
            self.board.lines += list(pairwise(run))
        places = [p for run in runs for p in pen.along(run, 7)]
        middle = places[len(places) // 2]
        places.sort(key=lambda p: math.dist(p, middle))
        short = self.text("plan.line_short", side=self.say(line.side), distance=distance(line.distance))
        self.labels.append(sketch.Label(short, places, True, rank=2, said=self.line_text(line)))

    def line_text(self, line: SpectatorLine) -> str:
        """Return a nearest allowed line in words."""
        key = "plan.line" if line.line_kind in ("", "exposure limit") else "plan.line_rule"
        rule = self.say(line.line_kind)
        text = self.text(key, side=self.say(line.side), rule=rule, distance=distance(line.distance))
        if len({one.laser for one in self.scene.lines}) > 1:
            text = self.text("plan.line_from", text=text, laser=line.laser)
        return text

    def write_names(self, first: int = 1, most: int = NAMED, skipped: Iterable[str] = ()) -> list[tuple[str, str]]:
        """Write the names that matter most, and numbers for the rest; return what the numbers stand for.

        Parameters
        ----------
        first : int
            The first number.
        most : int
            How many names at most.
        skipped : iterable of str
            Names that another drawing of the page has.
        """
        self.place_bar()
        waiting = [one for one in self.labels if one.places and one.text not in {*skipped}]
        rest: list[sketch.Label] = []
        for label in sorted(waiting, key=lambda one: one.rank):
            if most <= 0 or not self.board.put(replace(label, size=NAME_SIZE)):
                rest.append(label)
            else:
                most -= 1
        found = []
        for number, label in enumerate(rest, first):
            placed = self.board.put(replace(label, text=str(number), bold=True))
            found.append((str(number) if placed else "–", label.said or label.text))
        self.marks += [*self.board.under, *self.board.marks]
        return found


_SAME_DRAWING = 2.0
_ROOM_ABOVE = 0.25
_LIFT = 0.35  # of the height to spare, how much more of it is above what is drawn, for the names
_STEP = 4.0  # [mm] to both sides of a person, of the floor that is raised there
_LEAST = 0.05  # [m]
_ABOVE = 1.0  # [m] of a wall above everything else: the rest of it may lie outside the frame
_ASIDE = 3.0  # [m] from the section, from which on people and cameras are not in it
_BEHIND = 3.0  # [m] behind the optic that is always drawn


def elevation_pages(scene: SceneResult, paper: page.Paper, title: str, wording: Wording) -> list[pen.Drawing]:
    """Return one elevation for each laser that is fitted.

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
    """
    text, pages = wording.text, list[pen.Drawing]()
    for one in scene.elevations:
        own = [zone for zone in scene.zones if (zone.laser, zone.setup) == (one.laser, one.setup)]
        tones = {_harms_skin(light.kind) for light in one.light} or {False}
        names = {False: "plan.light_eye", True: "plan.light_skin"}
        entries = [
            page.Entry(partial(pen.edge, thick=0.2, fill=sketch.DARK if dark else sketch.LIGHT), text(names[dark]))
            for dark in sorted(tones)
        ]
        states = {_state(scene, item, wording)[0] for item in one.items if item.kind in ("barrier", "wall")}
        eyes = {"eyes"} if any(item.kind == "person" for item in one.items) else set()
        signs = page.sign_entries({"axis"} | eyes | states, wording)
        ends = [text("plan.ends_at", name=one.ends_at)] if one.ends_at else []
        extent = _extent(one)
        far = {zone.kind: (zone.distance, zone.measured_from) for zone in sorted(own, key=lambda zone: zone.distance)}
        tags = [  # as on the plan
            page.tag(zone.kind, *far.get(zone.kind, (zone.distance, "last optic")), wording)
            + (text("plan.but", name=one.ends_at) if zone.kind == "eye direct" and one.ends_at else "")
            for zone in one.light
        ]
        ends += [text("plan.reaches", zones="; ".join(tags))] if tags else []
        ends += [text("plan.elevation_mirrors"), page.limits_line(own, wording)]
        name = text("plan.elevation", laser=one.laser, title=title)
        places = [text("plan.high", name=one.laser, height=quantity(one.origin[2], "m"))]
        places += [_said(scene, item, wording) for item in one.items if item.named]
        said = [text("plan.places", notes="; ".join(dict.fromkeys(places))), *ends]
        layout = page.lay_out(paper, "elevation", name, entries, signs, page.foot_lines(paper, wording, said))
        view = sketch.fit(extent, layout.drawing.frame)
        spare = (view.frame[3] - view.frame[1]) * view.scale / 1000.0 - (extent[3] - extent[1])
        view = replace(view, middle=(view.middle[0], view.middle[1] + _LIFT * spare))
        section = _Section(scene, view, wording)
        section.one = one
        section.draw()
        setups = text("plan.drawn", laser=one.laser, setup=one.setup)
        pages.append(layout.filled(paper, section, text("plan.shown", setups=setups)))
    return pages


def _harms_skin(kind: str) -> bool:
    return "skin" in kind or kind == "ignition"


def _beside(item: ElevationItem) -> bool:
    return item.kind in ("person", "camera") and abs(item.aside) > _ASIDE


def _drawn(view: sketch.View, item: ElevationItem) -> bool:
    return not _beside(item) and (view.holds((item.along, item.bottom)) or view.holds((item.along, item.top)))


def _extent(one: Elevation) -> pen.Rect:
    """Return the lengths and heights that are drawn. [m]."""
    items = [item for item in one.items if not _beside(item)]
    places = [0.0, *[item.along for item in items]]
    high = max(places)
    low = max(min(places), -max(0.5 * high, _BEHIND))
    wide = max(high - low, _LEAST)
    if one.reach <= _SAME_DRAWING * wide or len(places) == 1:
        high = max(high, min(one.reach, 1e7))
    wide = max(high - low, _LEAST)
    shown = [item for item in items if low <= item.along <= high]
    walls = [item for item in shown if item.kind in ("barrier", "wall", "terrain") and not item.holds]
    heights = [one.origin[2], *[i.top for i in shown if i not in walls], *[i.bottom for i in shown]]
    heights += [item.eye for item in shown if item.eye is not None]
    heights += [min(item.top, max(heights) + _ABOVE) for item in walls]
    heights += [h for a, h in one.ground if low - wide <= a <= high + wide]
    bottom, top = min(heights), max(heights)
    tall = max(top - bottom, 0.05 * wide)
    return low - 0.1 * wide, bottom - 0.1 * tall, high + 0.1 * wide, top + _ROOM_ABOVE * tall


def _state(scene: SceneResult, item: ElevationItem, wording: Wording) -> tuple[str, str]:
    for barrier in scene.barriers:
        if barrier.name == item.name:
            state, against = page.state_of(barrier)
            return ("this", "") if item.holds and state in ("today", "part", "fails") else (state, against)
    return {True: "holds", False: "fails", None: "plain"}[item.holds], wording.text("plan.direct")


def _name(item: ElevationItem, wording: Wording) -> str:
    return wording.text("plan.work") if (item.kind, item.name) == ("target", "work") else item.name


def _said(scene: SceneResult, item: ElevationItem, wording: Wording) -> str:
    """Return what a thing is, its height where it counts, whether it holds, and where it stands."""
    said = _name(item, wording)
    if item.eye is not None:
        said += wording.text("plan.eyes", height=quantity(item.eye, "m"))
    if item.kind in ("barrier", "wall"):
        state, against = _state(scene, item, wording)
        said = wording.text(f"plan.{state}", name=said, against=wording.say(against))
    return said + _where(item, wording)


def _where(item: ElevationItem, wording: Wording) -> str:
    along, aside = round(item.along, 6), round(abs(item.aside), 6)  # 0.0999 m was printed for a turned 0.1 m
    said = f", {place(along)}" if along > 0.0 else ""
    said += wording.text("plan.behind", distance=place(-along)) if along < 0.0 else ""
    beside = aside > 0.05 * max(1.0, abs(along))
    return said + (wording.text("plan.aside", distance=place(aside)) if beside else "")


class _Section(sketch.Sketch):
    one: Elevation

    def draw(self) -> None:
        """Draw all, and place the labels."""
        self._light()
        self._ground()
        for item in self.one.items:
            self._item(item)
        ahead = self.one.axis[-1] if len(self.one.axis) > 1 else (1.0, self.one.origin[2])
        bearing = math.atan2(ahead[0], ahead[1] - self.one.origin[2])
        start = self.view.point((0.0, self.one.origin[2]))
        self.laser(start, bearing, self.one.laser, self.one.origin[2])
        self.write()

    def _light(self) -> None:
        one, frame = self.one, self.frame
        shown = {zone.kind: self.view.rings(zone.polygons) for zone in one.light}
        order = sorted(shown, key=lambda kind: (_harms_skin(kind), kind))
        for kind in order:
            self.marks += tone(shown[kind], frame, sketch.DARK if _harms_skin(kind) else sketch.LIGHT)
        for kind in order:
            self.marks += sketch.strokes([pen.closed(ring) for ring in shown[kind]], frame, pen.BLACK, 0.3)
        axis = self.view.run(one.axis)
        self.marks += sketch.strokes([axis], frame, pen.WHITE, 0.9) + sketch.strokes(
            [axis], frame, pen.BLACK, 0.35, sketch.AIM_DASHES
        )

    def _ground(self) -> None:
        first = len(self.marks)
        x0, low, x1, _ = self.frame
        ground = self.view.run(self.one.ground)
        if ground:  # the floor goes on to both edges
            ground = ((min(x0, ground[0][0]), ground[0][1]), *ground, (max(x1, ground[-1][0]), ground[-1][1]))
        for run in pen.clip_run(ground, self.frame):
            self.marks.append(pen.Lines((run,), pen.BLACK, 0.6))
            self.board.boxes.append((run[0][0], low, run[-1][0], max(y for _, y in run)))
            self.marks.insert(first, pen.Area(((*run, (run[-1][0], low), (run[0][0], low)),), pen.WHITE))
            count = max(2, int(math.dist(run[0], run[-1]) / 3.0))
            ticks = tuple((p, (p[0] - 1.4, p[1] - 1.4)) for p in pen.along(run, count) if p[1] - 1.4 > low)
            self.marks.append(pen.Lines(ticks, pen.BLACK, 0.2))

    def _item(self, item: ElevationItem) -> None:
        if not _drawn(self.view, item):
            return
        ends = (self.view.point((item.along, height)) for height in (item.bottom, item.top))
        low, high = ((x, min(max(y, self.frame[1]), self.frame[3])) for x, y in ends)  # a wall may be higher
        middle: pen.Pair = (low[0], (low[1] + high[1]) / 2)
        clear = 1.0
        if item.kind == "person":
            middle, clear = self.view.point((item.along, item.top if item.eye is None else item.eye)), 1.6
            self.marks += [pen.Lines(((low, middle),), pen.BLACK, 0.5), *pen.person(middle)]
            if item.bottom > 0.0:
                step = (low[0] - _STEP, low[1]), (low[0] + _STEP, low[1])
                self.marks += sketch.strokes([step], self.frame, pen.BLACK, 0.6)
        elif item.kind in ("barrier", "wall"):
            self.marks += pen.barrier((low, high), _state(self.scene, item, self.wording)[0])
        elif item.kind == "target":
            clear = 2.0
            self.marks += [pen.Lines(((low, high),), pen.BLACK, 0.8), *pen.target(middle, False)]
        elif item.kind == "camera":
            middle, clear = high, 1.6
            self.marks += [pen.Lines(((low, high),), pen.BLACK, 0.3), *pen.camera(high, None)]
        else:
            ring = ((low[0] - 3, low[1]), (low[0] + 3, low[1]), (high[0] + 3, high[1]), (high[0] - 3, high[1]))
            self.marks += [pen.Area((ring,), "#cccccc"), pen.Lines((pen.closed(ring),), pen.BLACK, 0.3)]
        if clear > 1.0:
            self.board.block(middle, clear)
        upright = item.kind in ("barrier", "wall") and low != high
        places = [middle, high, *pen.along((low, high), 3)] if upright else [middle]
        x0, y0, x1, y1 = self.frame
        shown = tuple(p for p in places if x0 <= p[0] <= x1 and y0 <= p[1] <= y1)
        if item.named:
            self.labels.append(
                sketch.Label(_name(item, self.wording), shown or (middle,), clear=clear, bold=item.holds is False)
            )
        self.board.lines.append((low, high))
