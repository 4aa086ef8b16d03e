"""The section along the aim of one laser: heights and distances at the same scale."""

from __future__ import annotations

import math

from lasersafe.drawing import symbols
from lasersafe.drawing.groups import grouped, limits_line, state_of
from lasersafe.drawing.labels import Board, Label
from lasersafe.drawing.page import Entry, Paper, foot_lines, frame_marks, lay_out, scale_bar
from lasersafe.drawing.primitives import BLACK, WHITE, Area, Drawing, Lines, Mark, Pair, Rect, Run, arrow, closed
from lasersafe.drawing.shapes import along, clip_run, crossings, inside
from lasersafe.drawing.style import (
    AIM_DASHES,
    LOOKS,
    SHADOW,
    filled,
    metres,
    metres_and_feet,
    quantity_text,
    strokes,
    swatch,
    time_text,
    tone,
)
from lasersafe.drawing.view import View, fit
from lasersafe.results_scene import Elevation, ElevationItem, SceneResult, ZoneShape
from lasersafe.wording import Wording

_SAME_DRAWING = 2.0
_ROOM_ABOVE = 0.25
_LABEL_ROOM = 20.0  # [mm] above and below what is drawn, for the names
_BAR_ROOM = 10.0  # [mm] below what is drawn, for the scale bar
_LEAST = 0.05  # [m]
_ABOVE = 1.0  # [m] of a wall above everything else: the rest of it may lie outside the frame
_BEHIND = 3.0  # [m] behind the optic that is always drawn


def elevation_pages(scene: SceneResult, paper: Paper, title: str, wording: Wording) -> list[Drawing]:
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
    return [_Section(scene, one, paper, title, wording).drawing() for one in scene.elevations]


class _Section:
    def __init__(self, scene: SceneResult, one: Elevation, paper: Paper, title: str, wording: Wording) -> None:
        self.scene = scene
        self.one = one
        self.paper = paper
        self.wording = wording
        self.text = wording.text
        self.title = wording.text("plan.elevation", laser=one.laser, title=title)
        own = [z for z in scene.zones if (z.laser, z.setup) == (one.laser, one.setup)]
        self.zones: dict[str, ZoneShape] = {z.kind: z for z in reversed(own)}
        shown = {zone.kind for zone in one.light}
        groups = [g for g in grouped(scene)[0] if (g.first.laser, g.first.setup) == (one.laser, one.setup)]
        self.groups = [group for group in groups if group.first.kind in shown]
        self.tags = {group.first.kind: group.tag for group in groups}
        self.marks: list[Mark] = []
        self.labels: list[Label] = []
        self.edge: dict[bool, list[float]] = {True: [], False: []}

    def drawing(self) -> Drawing:
        """Return the page."""
        one = self.one
        entries = self._entries()
        extra = [self.text("plan.ends_at", name=one.ends_at)] if one.ends_at else []
        foot = foot_lines(self.paper, self.wording, [*extra, self.text("plan.elevation_mirrors")])
        zones = max(1, len(one.light))
        layout = lay_out(self.paper, "elevation", self.title, entries[:zones], entries[zones:], foot)
        if layout.left_over:  # a low page: samples with names, and the limits in one line
            short = [
                Entry(entry.sample, self._short(zone.kind)) for entry, zone in zip(entries, one.light, strict=False)
            ]
            foot = [(limits_line(self.groups, self.wording), False), *foot]
            layout = lay_out(self.paper, "elevation", self.title, (), [*short, *entries[zones:]], foot)
        extent = self._extent()
        x0, y0, x1, y1 = layout.drawing.frame
        trial = fit(extent, (x0, y0 + _BAR_ROOM, x1, y1))
        high = min(y1 - y0, (extent[3] - extent[1]) * 1000.0 / trial.scale + 2 * _LABEL_ROOM)
        middle = (trial.middle[0], trial.middle[1] - _BAR_ROOM * trial.scale / 2000.0)
        view = View((x0, y1 - high, x1, y1), middle, trial.scale)
        self.view, self.board = view, Board(view.frame)
        half = (x1 - x0) * view.scale / 2000.0
        self.left, self.right = view.middle[0] - half, view.middle[0] + half
        bar, rect = scale_bar(view)
        self.board.boxes.append(rect)
        self._shadows()
        self._light()
        self._ground()
        for item in one.items:
            self._item(item)
        self._laser()
        for label in self.labels:
            self.board.put(label)
        heads = (
            self.text("plan.scale", scale=view.scale, paper=self.paper.name),
            self.text("plan.shown", setups=self.text("plan.drawn", laser=one.laser, setup=one.setup)),
        )
        layout.scale_lines(heads, self.paper.margin)
        marks = layout.drawing.marks
        marks.extend([*self.marks, *self.board.under, *self.board.marks, *bar, *frame_marks(view.frame)])
        return Drawing("elevation", layout.drawing.title, self.paper.width, self.paper.height, view.frame, view.scale,
                       marks)  # fmt: skip

    def _extent(self) -> Rect:
        one = self.one
        places = [0.0, *[item.along for item in one.items]]
        high = max(places)
        low = max(min(places), -max(0.5 * high, _BEHIND))
        wide = max(high - low, _LEAST)
        if one.reach <= _SAME_DRAWING * wide or len(places) == 1:
            high = max(high, min(one.reach, 1e7))
        wide = max(high - low, _LEAST)
        shown = [item for item in one.items if low <= item.along <= high]
        walls = [item for item in shown if item.kind in ("barrier", "wall", "terrain") and not item.holds]
        heights = [one.origin[2], *[i.top for i in shown if i not in walls], *[i.bottom for i in shown]]
        heights += [item.eye for item in shown if item.eye is not None]
        heights += [min(item.top, max(heights) + _ABOVE) for item in walls]
        heights += [h for a, h in one.ground if low - wide <= a <= high + wide]
        bottom, top = min(heights), max(heights)
        tall = max(top - bottom, 0.05 * wide)
        return low - 0.1 * wide, bottom - 0.1 * tall, high + 0.1 * wide, top + _ROOM_ABOVE * tall

    def _light(self) -> None:
        one, frame = self.one, self.view.frame
        shown = {zone.kind: self.view.rings(zone.polygons) for zone in one.light}
        for kind, rings in shown.items():
            self.marks += filled(rings, frame, LOOKS[kind])
        axis = self.view.run(one.axis)
        self.marks += strokes([axis], frame, WHITE, 0.9) + strokes([axis], frame, BLACK, 0.35, AIM_DASHES)
        self._name_beam(shown.get("eye direct", []), axis)
        for zone in one.light:
            if zone.kind != "eye direct":
                runs = [run for ring in shown[zone.kind] for run in clip_run(closed(ring), frame)]
                places = tuple(p for run in runs for p in along(run, 9))
                if places:
                    self.labels.append(Label(self._tagged(zone.kind, zone.distance), places, True))

    def _tag(self, kind: str) -> str:
        """Return the letter that a zone has on the plan."""
        return self.tags.get(kind, "")

    def _short(self, kind: str) -> str:
        return f"{self._tag(kind)} {self.text(f'plan.short_{kind}')}".lstrip()

    def _tagged(self, kind: str, distance: float, key: str = "plan.tag") -> str:
        kinds = self.text(f"plan.short_{kind}")
        return self.text(key, tag=self._tag(kind), kind=kinds, distance=metres_and_feet(distance)).lstrip()

    def _name_beam(self, rings: list[Run], axis: Run) -> None:
        """Say how far the direct beam reaches, and where it goes on."""
        one, frame = self.one, self.view.frame
        start = self.view.point((0.0, one.origin[2]))
        runs = clip_run(axis, frame)
        end = runs[-1][-1] if runs else start
        on_axis = [(start[0] + (end[0] - start[0]) * s, start[1] + (end[1] - start[1]) * s) for s in (0.5, 0.3, 0.8)]
        out = self._leaves(rings, frame)
        words = self._tagged("eye direct", one.reach)
        if one.ends_at:
            words += self.text("plan.but", name=one.ends_at)
            self.labels.insert(0, Label(words, tuple(on_axis), True))
        elif out is not None:
            tail = (out[0] - 12.0 * out[2], out[1])
            self.marks += arrow(tail, (out[0], out[1]), BLACK, 0.6, 3.0)
            self.labels.append(Label(self._tagged("eye direct", one.reach, "plan.goes_on"), (tail,), True))
        elif self.view.holds(one.axis[-1]) and one.axis[-1][1] >= 0.0 < one.reach:
            self.marks += symbols.dimension(start, end)
            self.labels.append(Label(words, tuple(on_axis), True))
        elif one.reach > 0.0:
            self.labels.append(Label(words, tuple(on_axis), True))

    @staticmethod
    def _leaves(rings: list[Run], frame: Rect) -> tuple[float, float, float] | None:
        """Return where light leaves the frame to the right or left, half its height there, and to which side."""
        for x, sign in ((frame[2], 1.0), (frame[0], -1.0)):
            inner = x - 0.5 * sign
            cuts = sorted(p[1] for ring in rings for p in crossings(ring, inner) if frame[1] <= p[1] <= frame[3])
            tops = [y for y in (frame[1], frame[3]) if inside((inner, y), rings)]
            if len(cuts) + len(tops) >= 2:
                heights = [*cuts, *tops]
                return x, (min(heights) + max(heights)) / 2.0, sign
        return None

    def _shadows(self) -> None:
        """Paint what barriers that hold keep dark, seen from the last optic."""
        source = self.view.point((0.0, self.one.origin[2]))
        for item in self.one.items:
            if item.kind not in ("barrier", "wall") or not item.holds or item.along <= 0.0:
                continue
            low, high = self.view.point((item.along, item.bottom)), self.view.point((item.along, item.top))
            far = 4.0 * (self.view.frame[2] - self.view.frame[0]) / max(low[0] - source[0], 1e-6)

            def behind(place: Pair, far: float = far) -> Pair:
                return source[0] + (place[0] - source[0]) * far, source[1] + (place[1] - source[1]) * far

            self.marks += tone([(low, high, behind(high), behind(low))], self.view.frame, SHADOW)

    def _ground(self) -> None:
        self.under_ground = len(self.marks)
        ground = self.one.ground
        if ground:  # the floor goes on to both edges
            ground = (
                (min(self.left, ground[0][0]), ground[0][1]),
                *ground,
                (max(self.right, ground[-1][0]), ground[-1][1]),
            )
        runs = clip_run(self.view.run(ground), self.view.frame)
        for run in runs:
            self.marks.append(Lines((run,), BLACK, 0.6))
            below = ((run[-1][0], self.view.frame[1]), (run[0][0], self.view.frame[1]))
            self.marks.insert(self.under_ground, Area(((*run, *below),), WHITE))
            count = max(2, int(math.dist(run[0], run[-1]) / 3.0))
            ticks = tuple((p, (p[0] - 1.4, p[1] - 1.4)) for p in along(run, count) if p[1] - 1.4 > self.view.frame[1])
            self.marks.append(Lines(ticks, BLACK, 0.2))

    def _laser(self) -> None:
        one = self.one
        place = self.view.point((0.0, one.origin[2]))
        ahead = one.axis[-1] if len(one.axis) > 1 else (1.0, one.origin[2])
        bearing = math.atan2(ahead[0], ahead[1] - one.origin[2])
        self.marks += symbols.laser(place, bearing)
        way = symbols.bearing_vector(bearing)
        middle = (place[0] - 2.6 * way[0], place[1] - 2.6 * way[1])
        self.board.block(middle, 2.6)
        height = quantity_text(one.origin[2], "m", "nearest")
        label = self.text("plan.laser", name=one.laser, height=height)
        self.labels.append(Label(label, (middle,), True, clear=2.6))

    def _item(self, item: ElevationItem) -> None:
        low, high = self.view.point((item.along, item.bottom)), self.view.point((item.along, item.top))
        if not self.view.holds((item.along, item.bottom)) and not self.view.holds((item.along, item.top)):
            self._outside(item)
            return
        middle: Pair = (low[0], (low[1] + high[1]) / 2)
        names = self.text("plan.work") if item.kind == "target" and item.name == "work" else item.name
        clear = 1.0
        if item.kind == "person":
            eye = self.view.point((item.along, item.top if item.eye is None else item.eye))
            self.marks += [Lines(((low, eye),), BLACK, 0.5), *symbols.person(eye)]
            if item.eye is not None:
                names += self.text("plan.eyes", height=quantity_text(item.eye, "m", "nearest"))
            middle, clear = eye, 1.6
            self.board.block(eye, 1.6)
        elif item.kind in ("barrier", "wall"):
            state, against = self._state(item)
            self.marks += symbols.barrier((low, high), state)
            names = self.text(f"plan.{state}", name=item.name, against=self.wording.say(against))
        elif item.kind == "target":
            self.marks += [Lines(((low, high),), BLACK, 0.8), *symbols.target(middle, False)]
            clear = 2.0
            self.board.block(middle, 2.0)
        elif item.kind == "camera":
            self.marks += [Lines(((low, high),), BLACK, 0.3), *symbols.camera(high, None)]
            middle, clear = high, 1.6
            self.board.block(high, 1.6)
        else:
            ring = ((low[0] - 3, low[1]), (low[0] + 3, low[1]), (high[0] + 3, high[1]), (high[0] - 3, high[1]))
            self.marks += [Area((ring,), "#cccccc"), Lines((closed(ring),), BLACK, 0.3)]
        names += self._where(item)
        if abs(item.aside) > 0.05 * max(1.0, abs(item.along)):
            names += self.text("plan.aside", distance=metres(abs(item.aside), "down"))
        upright = item.kind in ("barrier", "wall") and low != high
        places = [middle, high, *along((low, high), 3)] if upright else [middle]
        x0, y0, x1, y1 = self.view.frame
        shown = tuple(p for p in places if x0 <= p[0] <= x1 and y0 <= p[1] <= y1)
        if item.named:
            self.labels.append(Label(names, shown or (middle,), clear=clear, bold=item.holds is False))
        self.board.lines.append((low, high))

    def _state(self, item: ElevationItem) -> tuple[str, str]:
        for barrier in self.scene.barriers:
            if barrier.name == item.name:
                state, against = state_of(self.scene, barrier)
                return ("this", "") if item.holds and state in ("today", "part", "fails") else (state, against)
        return {True: "holds", False: "fails", None: "plain"}[item.holds], self.text("plan.direct")

    def _where(self, item: ElevationItem) -> str:
        if item.along > 1e-9:
            return f", {metres(item.along, 'down')}"
        return self.text("plan.behind", distance=metres(-item.along, "down")) if item.along < -1e-9 else ""

    def _outside(self, item: ElevationItem) -> None:
        """Say with an arrow at the edge where something stands that lies outside the frame."""
        x0, y0, x1, y1 = self.view.frame
        height = self.view.point((0.0, item.top if item.eye is None else item.eye))[1]
        y = min(max(height, y0 + 4.0), y1 - 4.0)
        while any(abs(y - other) < 4.0 for other in self.edge[item.along < 0.0]) and y > y0 + 8.0:
            y -= 4.5
        self.edge[item.along < 0.0].append(y)
        tip, tail = ((x0, y), (x0 + 7.0, y)) if item.along < 0.0 else ((x1, y), (x1 - 7.0, y))
        self.marks += arrow(tail, tip, BLACK, 0.3, 2.0)
        self.labels.append(Label(item.name + self._where(item), (tail,)))

    def _zone_entry(self, kind: str, distance: float) -> Entry:
        one, zone = self.one, self.zones.get(kind)
        limit = "" if zone is None or zone.limit is None else quantity_text(zone.limit, zone.limit_unit, "down")
        time = ""
        if zone is not None and zone.duration is not None:
            time = self.text("plan.time", duration=time_text(zone.duration))
        words = self.text(
            "plan.ignition_text" if kind == "ignition" else "plan.zone",
            distance=metres_and_feet(distance),
            origin=self.wording.say("last optic" if zone is None else zone.measured_from),
            limit=(limit or self.text("plan.eye_limit")) + time,
        )
        head = self.text(
            "plan.zone_head",
            tag=self._tag(kind),
            kind=self.text(f"plan.{kind}"),
            laser=one.laser,
            setup=one.setup,
            state=self.text("plan.fitted"),
        )
        return Entry(lambda rect: swatch(rect, LOOKS[kind]), head.lstrip(), words)

    def _entries(self) -> list[Entry]:
        one = self.one
        found = [self._zone_entry(zone.kind, zone.distance) for zone in one.light]
        found = found or [self._zone_entry("eye direct", one.reach)]
        kinds = {item.kind for item in one.items}

        def middle(rect: Rect) -> Pair:
            return (rect[0] + rect[2]) / 2, (rect[1] + rect[3]) / 2

        def across(rect: Rect) -> tuple[Pair, Pair]:
            return (rect[0], middle(rect)[1]), (rect[2], middle(rect)[1])

        found.append(
            Entry(lambda rect: [Lines((across(rect),), BLACK, 0.35, AIM_DASHES)], self.text("plan.legend_axis"))
        )
        if "person" in kinds:
            found.append(Entry(lambda rect: symbols.person(middle(rect)), self.text("plan.legend_eyes")))
        states = {self._state(item)[0] for item in one.items if item.kind in ("barrier", "wall")}
        for state in ("holds", "this", "part", "today", "fails", "plain"):
            if state in states:
                found.append(
                    Entry(lambda rect, s=state: symbols.barrier(across(rect), s), self.text(f"plan.legend_{state}"))  # type: ignore[misc]
                )
        return found
