"""What lies on a floor plan: areas in three tones, the room, lasers, barriers, people, lines; and who gets a name."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from lasersafe.drawing import primitives
from lasersafe.drawing.page import outermost, state_of
from lasersafe.drawing.primitives import (
    BLACK,
    Area,
    Lines,
    Mark,
    Pair,
    Rect,
    Run,
    along,
    arrow,
    clip_line,
    clip_run,
    closed,
    toward,
)
from lasersafe.drawing.sketch import AIM_DASHES, AIM_INK, ITEM_INK, SIZE, Label, Sketch, strokes
from lasersafe.drawing.values import distance, quantity
from lasersafe.records.scene import AimEnvelope, Polygon, SpectatorLine

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry as Geometry

NAMED, NAME_SIZE = 12, 2.9  # so many names on a drawing at most, and how high they are [mm]
THINGS = (0, 6, 7)  # ranks of the names of lasers, targets and surfaces
_AIM_MARK = 9.0
_FARTHEST = 1e7  # [m]
_STEEP = math.radians(85.0)
_SEEN = 4.0  # [mm]


@dataclass(frozen=True)
class Name:
    """What a thing is called on the drawing, and what the list beside it says."""

    rank: int  # the lower, the sooner it is named on the drawing
    text: str
    places: Sequence[Pair]
    said: str = ""  # in the list; "" for the name alone
    clear: float = 0.0
    bold: bool = False


def joined(polygons: Iterable[Polygon]) -> Geometry:
    """Return parts of the floor [m] as one area; what has no number is everywhere."""
    import shapely

    parts = []
    for polygon in polygons:
        rings = [ring for ring in (polygon.outline, *polygon.holes) if len(ring) > 2]
        if not all([math.isfinite(x) and math.isfinite(y) for ring in rings for x, y in ring]):
            return shapely.box(-_FARTHEST, -_FARTHEST, _FARTHEST, _FARTHEST)
        if rings and len(polygon.outline) > 2:
            part = shapely.Polygon(rings[0], rings[1:])
            parts.append(part if part.is_valid else part.buffer(0.0))
    return shapely.union_all(parts)


def rings_in(area: Geometry, extent: Rect) -> list[Run]:
    """Return the outlines and holes of an area, cut to an extent. [m]."""
    import shapely

    found: list[Run] = []
    for part in shapely.get_parts(shapely.intersection(area, shapely.box(*extent))):
        if part.geom_type == "Polygon" and not part.is_empty:
            found += [tuple(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
    return found


class Floor(Sketch):
    """The floor plan of a scene; names are collected, and written when all is drawn."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.names = list[Name]()

    def tone(self, rings: Sequence[Run], fill: str, thick: float, dashes: tuple[float, ...] = ()) -> None:
        """Draw an area in one tone, with its edge."""
        outlines = tuple(self.view.run(ring) for ring in rings)
        if outlines:
            self.marks += [Area(outlines, fill), *strokes(map(closed, outlines), self.frame, BLACK, thick, dashes)]
            for outline in outlines:
                self.board.cover(closed(outline))

    def everything(self, *, sparse: bool = False) -> None:
        """Draw the room, lasers, barriers, and unless ``sparse`` the people, the things and the spectator lines."""
        self.room()
        self.aims()
        self.barriers()
        if not sparse:
            self.things()
            for line in outermost(self.scene.lines):
                self._line(line)

    def room(self) -> None:
        """Draw the room and what is only drawn."""
        if len(self.scene.plan.outline) > 2:
            self.marks += strokes([closed(self.view.run(self.scene.plan.outline))], self.frame, BLACK, 0.35)
        for item in self.scene.plan.items:
            run = closed(self.view.run(item.outline))
            marks = strokes([run], self.frame, ITEM_INK, 0.3, (3.0, 0.8))
            if marks:
                self.used.add("item")
                self.marks += marks
                places = [p for part in clip_run(run, self.frame) for p in along(part, 9)]
                self.names.append(Name(9, item.name, places))

    def aims(self, *, rays: bool = True) -> None:
        """Draw each laser that is fitted, with the directions that it can reach."""
        done: set[tuple[str, Pair]] = set()
        for aim in sorted(self.scene.aims, key=lambda aim: (aim.mode != "running", not aim.fitted)):
            place = self.view.point(aim.position)
            if (aim.laser, place) in done or not self.view.holds(aim.position, 0.5):
                continue
            done.add((aim.laser, place))
            marks = self._rays(aim, place) if rays else []
            self.used |= {"aim", "laser"} if marks else {"laser"}
            self.marks += marks
            way = primitives.bearing_vector(aim.bearing)
            if abs(aim.elevation) < _STEEP:
                tip = (place[0] + _AIM_MARK * way[0], place[1] + _AIM_MARK * way[1])
                self.marks += arrow(place, tip, BLACK, 0.4, 2.4)
            self.marks += primitives.laser(place, aim.bearing)
            middle = (place[0] - 2.6 * way[0], place[1] - 2.6 * way[1])
            self.board.block(middle, 2.6)
            high = self.text("plan.high", name=aim.laser, height=quantity(aim.position[2], "m"))
            self.names.append(Name(0, aim.laser, [middle], high, 2.6, bold=True))

    def _rays(self, aim: AimEnvelope, place: Pair) -> list[Mark]:
        """Return the edges of where a laser can point, a ring where it can point all around."""
        low, high = aim.bearing_range
        span = high - low if high >= low else high - low + 2 * math.pi
        low_e, high_e = aim.elevation_range
        steep = max(abs(low_e - aim.margin), abs(high_e + aim.margin)) >= _STEEP  # bearings say nothing there
        if steep or span >= 2 * math.pi - 1e-6:
            ring = closed(primitives.circle(place, _AIM_MARK, 48))
            return strokes([ring], self.frame, AIM_INK, 0.3, AIM_DASHES)
        if not (span > 1e-6 or aim.margin > 1e-6):
            return []
        reach = aim.reach if aim.reach < _FARTHEST else _FARTHEST  # not a number counts as without end
        long = max(reach * 1000.0 / self.view.scale, 2 * _AIM_MARK)
        runs = []
        for bearing in (low - aim.margin, low + span + aim.margin):
            way = primitives.bearing_vector(bearing)
            runs.append((place, (place[0] + long * way[0], place[1] + long * way[1])))
        return strokes(runs, self.frame, AIM_INK, 0.3, AIM_DASHES)

    def barriers(self) -> None:
        """Draw barriers and walls with their openings."""
        for barrier in self.scene.barriers:
            kind, against = state_of(self.scene, barrier)
            runs = clip_run(self.view.run(barrier.line), self.frame)
            if not runs:
                continue
            self.used.add("today" if kind == "part" else kind)
            for run in runs:
                self.marks += primitives.barrier(run, kind)
                self.board.lines += list(pairwise(run))
            for opening in barrier.openings:
                cut = clip_line(self.view.point(opening.start), self.view.point(opening.end), self.frame)
                if cut and math.dist(*cut) > 1.0:
                    self.marks += primitives.opening(*cut, opening.kind, opening.open)
                    self.used.add(opening.kind)
                    said = self.text("plan.door_open", name=opening.name) if opening.open else ""
                    self.names.append(Name(8, opening.name, [toward(*cut, 0.5)], said, 0.8))
            places = [p for run in runs for p in along(run, 5)]
            said = self.text(f"plan.{kind}", name=barrier.name, against=self.say(against))
            fails = kind == "fails"
            self.names.append(Name(3 if fails else 4, barrier.name, places, said, bold=fails))

    def things(self) -> None:
        """Draw surfaces, targets, persons and cameras."""
        at = self.view.point
        for surface in self.scene.surfaces:
            place, kind = at(surface.position), "mirror" if surface.mirror else "scatter"
            cut = clip_run(self.view.run(surface.line), self.frame) if len(surface.line) > 1 else []
            marks = primitives.surface(place, cut[0] if cut else (), surface.mirror)
            self._thing(Name(7, surface.name, [place], clear=1.8), kind, marks)
        for target in self.scene.targets:
            place = at(target.position)
            self._thing(Name(6, target.name, [place], clear=2.0), "target", primitives.target(place, target.rated_stop))
        for camera in self.scene.cameras:
            place = at(camera.position)
            self._thing(Name(5, camera.name, [place], clear=1.6), "camera", primitives.camera(place, camera.bearing))
        for person in self.scene.persons:
            if len(person.area) > 2:
                self.marks += strokes([closed(self.view.run(person.area))], self.frame, BLACK, 0.45, (0.45, 1.3))
            place, eyes = at(person.position), quantity(person.eye_height + person.floor, "m")
            said = self.text("plan.person", name=person.name, eyes=self.text("plan.eyes", height=eyes))
            self._thing(Name(1, person.name, [place], said, 1.6), "person", primitives.person(place))

    def _thing(self, name: Name, key: str, marks: list[Mark]) -> None:
        """Draw a thing and note its name, where its place is on the paper."""
        (x, y), (x0, y0, x1, y1) = name.places[0], self.frame
        if x0 + 0.5 <= x <= x1 - 0.5 and y0 + 0.5 <= y <= y1 - 0.5:
            self.marks += marks
            self.used.add(key)
            self.board.block((x, y), name.clear)
            self.names.append(name)

    def _line(self, line: SpectatorLine) -> None:
        """Draw a nearest allowed line of spectators."""
        runs = clip_run(self.view.run(line.line), self.frame)
        if sum(math.dist(a, b) for run in runs for a, b in pairwise(run)) < _SEEN:
            return
        self.used.add("line")
        self.marks.append(Lines(tuple(runs), BLACK, 0.9, (6.0, 1.5)))
        for run in runs:
            self.board.lines += list(pairwise(run))
        places = [p for run in runs for p in along(run, 7)]
        middle = places[len(places) // 2]
        places.sort(key=lambda p: math.dist(p, middle))
        short = self.text("plan.line_short", side=self.say(line.side), distance=distance(line.distance))
        self.names.append(Name(2, short, places, self.line_text(line), bold=True))

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
        left = {name.text for name in self.names} & set(skipped)
        waiting = sorted((n for n in self.names if n.places and n.text not in left), key=lambda name: name.rank)
        rest: list[Name] = []
        for name in waiting:
            label = Label(name.text, name.places, name.bold, clear=name.clear, size=NAME_SIZE)
            if most <= 0 or not self.board.put(label):
                rest.append(name)
            else:
                most -= 1
        found = []
        for number, name in enumerate(rest, first):
            placed = self.board.put(Label(str(number), name.places, True, clear=name.clear, size=SIZE))
            found.append((str(number) if placed else "–", name.said or name.text))
        self.marks += [*self.board.under, *self.board.marks]
        return found
