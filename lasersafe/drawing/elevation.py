"""The section along the aim of one laser: heights and distances at the same scale."""

from __future__ import annotations

import math
from functools import partial

from lasersafe.drawing import primitives
from lasersafe.drawing.page import Entry, Paper, foot_lines, lay_out, limits_line, scale_bar, sign_entries, state_of
from lasersafe.drawing.primitives import BLACK, WHITE, Area, Drawing, Lines, Pair, Rect, along, clip_run, closed, edge
from lasersafe.drawing.sketch import AIM_DASHES, DARK, LIGHT, Label, Sketch, View, fit, strokes, tone
from lasersafe.drawing.values import distance, place, quantity
from lasersafe.records.scene import Elevation, ElevationItem, SceneResult
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
    return [_page(scene, one, paper, title, wording) for one in scene.elevations]


def _page(scene: SceneResult, one: Elevation, paper: Paper, title: str, wording: Wording) -> Drawing:
    text = wording.text
    own = [zone for zone in scene.zones if (zone.laser, zone.setup) == (one.laser, one.setup)]
    tones = {"skin" in light.kind or light.kind == "ignition" for light in one.light} or {False}
    names = {False: "plan.light_eye", True: "plan.light_skin"}
    entries = [
        Entry(partial(edge, thick=0.2, fill=DARK if dark else LIGHT), text(names[dark])) for dark in sorted(tones)
    ]
    states = {_state(scene, item, wording)[0] for item in one.items if item.kind in ("barrier", "wall")}
    eyes = {"eyes"} if any(item.kind == "person" for item in one.items) else set()
    signs = sign_entries({"axis"} | eyes | states, wording)
    ends = [text("plan.ends_at", name=one.ends_at)] if one.ends_at else []
    extent = _extent(one)
    reach = {zone.kind: max(o.distance for o in own if o.kind == zone.kind) for zone in own}  # as on the plan
    tags = [
        text("plan.tag", kind=text(f"plan.short_{zone.kind}"), distance=distance(reach.get(zone.kind, zone.distance)))
        + (text("plan.but", name=one.ends_at) if zone.kind == "eye direct" and one.ends_at else "")
        for zone in one.light
    ]
    ends += [text("plan.reaches", zones="; ".join(tags))] if tags else []
    ends += [text("plan.elevation_mirrors"), limits_line(own, wording)]
    name = text("plan.elevation", laser=one.laser, title=title)
    away = beyond = [item for item in one.items if not extent[0] <= item.along <= extent[2]]
    for _ in range(3):  # what is said to lie outside takes lines, and the frame is what they leave
        notes = dict.fromkeys(item.name + _where(item, wording) for item in away)
        outside = [text("plan.margin", notes="; ".join(notes))] if notes else []
        layout = lay_out(paper, "elevation", name, entries, signs, foot_lines(paper, wording, [*outside, *ends]))
        x0, y0, x1, y1 = layout.drawing.frame
        trial = fit(extent, (x0, y0 + _BAR_ROOM, x1, y1))
        high = min(y1 - y0, (extent[3] - extent[1]) * 1000.0 / trial.scale + 2 * _LABEL_ROOM)
        middle = (trial.middle[0], trial.middle[1] - _BAR_ROOM * trial.scale / 2000.0)
        view = View((x0, y1 - high, x1, y1), middle, trial.scale)
        gone = [item for item in beyond if not _drawn(view, item)]
        if gone == away:
            break
        away = gone if away is beyond else beyond
    section = _Section(scene, view, wording)
    section.one = one
    bar, rect = scale_bar(view)
    section.board.boxes.append(rect)
    section.draw()
    drawn = text("plan.shown", setups=text("plan.drawn", laser=one.laser, setup=one.setup))
    return layout.filled(paper, view, wording, drawn, [*section.marks, *bar])


def _drawn(view: View, item: ElevationItem) -> bool:
    return view.holds((item.along, item.bottom)) or view.holds((item.along, item.top))


def _extent(one: Elevation) -> Rect:
    """Return the lengths and heights that are drawn. [m]."""
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


def _state(scene: SceneResult, item: ElevationItem, wording: Wording) -> tuple[str, str]:
    for barrier in scene.barriers:
        if barrier.name == item.name:
            state, against = state_of(scene, barrier)
            return ("this", "") if item.holds and state in ("today", "part", "fails") else (state, against)
    return {True: "holds", False: "fails", None: "plain"}[item.holds], wording.text("plan.direct")


def _where(item: ElevationItem, wording: Wording) -> str:
    if item.along > 1e-9:
        return f", {place(item.along)}"
    return wording.text("plan.behind", distance=place(-item.along)) if item.along < -1e-9 else ""


class _Section(Sketch):
    one: Elevation

    def draw(self) -> None:
        """Draw all, and place the labels."""
        self._light()
        self._ground()
        for item in self.one.items:
            self._item(item)
        ahead = self.one.axis[-1] if len(self.one.axis) > 1 else (1.0, self.one.origin[2])
        bearing = math.atan2(ahead[0], ahead[1] - self.one.origin[2])
        start, way = self.view.point((0.0, self.one.origin[2])), primitives.bearing_vector(bearing)
        self.marks += primitives.laser(start, bearing)
        middle = (start[0] - 2.6 * way[0], start[1] - 2.6 * way[1])
        self.board.block(middle, 2.6)
        high = self.text("plan.high", name=self.one.laser, height=quantity(self.one.origin[2], "m"))
        self.labels.append(Label(high, (middle,), True, clear=2.6))
        self.write()

    def _light(self) -> None:
        one, frame = self.one, self.frame
        shown = {zone.kind: self.view.rings(zone.polygons) for zone in one.light}
        order = sorted(shown, key=lambda kind: ("skin" in kind or kind == "ignition", kind))
        for kind in order:
            self.marks += tone(shown[kind], frame, DARK if "skin" in kind or kind == "ignition" else LIGHT)
        for kind in order:
            self.marks += strokes([closed(ring) for ring in shown[kind]], frame, BLACK, 0.3)
        axis = self.view.run(one.axis)
        self.marks += strokes([axis], frame, WHITE, 0.9) + strokes([axis], frame, BLACK, 0.35, AIM_DASHES)

    def _ground(self) -> None:
        first = len(self.marks)
        x0, low, x1, _ = self.frame
        ground = self.view.run(self.one.ground)
        if ground:  # the floor goes on to both edges
            ground = ((min(x0, ground[0][0]), ground[0][1]), *ground, (max(x1, ground[-1][0]), ground[-1][1]))
        for run in clip_run(ground, self.frame):
            self.marks.append(Lines((run,), BLACK, 0.6))
            self.marks.insert(first, Area(((*run, (run[-1][0], low), (run[0][0], low)),), WHITE))
            count = max(2, int(math.dist(run[0], run[-1]) / 3.0))
            ticks = tuple((p, (p[0] - 1.4, p[1] - 1.4)) for p in along(run, count) if p[1] - 1.4 > low)
            self.marks.append(Lines(ticks, BLACK, 0.2))

    def _item(self, item: ElevationItem) -> None:
        low, high = self.view.point((item.along, item.bottom)), self.view.point((item.along, item.top))
        if not _drawn(self.view, item):
            return
        middle: Pair = (low[0], (low[1] + high[1]) / 2)
        names = self.text("plan.work") if item.kind == "target" and item.name == "work" else item.name
        clear = 1.0
        if item.kind == "person":
            eye = self.view.point((item.along, item.top if item.eye is None else item.eye))
            self.marks += [Lines(((low, eye),), BLACK, 0.5), *primitives.person(eye)]
            if item.eye is not None:
                names += self.text("plan.eyes", height=quantity(item.eye, "m"))
            middle, clear = eye, 1.6
            self.board.block(eye, 1.6)
        elif item.kind in ("barrier", "wall"):
            state, against = _state(self.scene, item, self.wording)
            self.marks += primitives.barrier((low, high), state)
            names = self.text(f"plan.{state}", name=item.name, against=self.say(against))
        elif item.kind == "target":
            self.marks += [Lines(((low, high),), BLACK, 0.8), *primitives.target(middle, False)]
            clear = 2.0
            self.board.block(middle, 2.0)
        elif item.kind == "camera":
            self.marks += [Lines(((low, high),), BLACK, 0.3), *primitives.camera(high, None)]
            middle, clear = high, 1.6
            self.board.block(high, 1.6)
        else:
            ring = ((low[0] - 3, low[1]), (low[0] + 3, low[1]), (high[0] + 3, high[1]), (high[0] - 3, high[1]))
            self.marks += [Area((ring,), "#cccccc"), Lines((closed(ring),), BLACK, 0.3)]
        names += _where(item, self.wording)
        if abs(item.aside) > 0.05 * max(1.0, abs(item.along)):
            names += self.text("plan.aside", distance=place(abs(item.aside)))
        upright = item.kind in ("barrier", "wall") and low != high
        places = [middle, high, *along((low, high), 3)] if upright else [middle]
        x0, y0, x1, y1 = self.frame
        shown = tuple(p for p in places if x0 <= p[0] <= x1 and y0 <= p[1] <= y1)
        if item.named:
            self.labels.append(Label(names, shown or (middle,), clear=clear, bold=item.holds is False))
        self.board.lines.append((low, high))
