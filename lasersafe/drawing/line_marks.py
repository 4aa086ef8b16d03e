"""The nearest allowed lines for spectators on a drawing, with their distances."""

from __future__ import annotations

import math
from itertools import pairwise

from lasersafe.drawing import symbols
from lasersafe.drawing.groups import outermost
from lasersafe.drawing.labels import Label
from lasersafe.drawing.layers import AIM_MARK, APART, Layers, length_of
from lasersafe.drawing.primitives import BLACK, Lines, Run, arrow
from lasersafe.drawing.shapes import along, clip_run, edge_point
from lasersafe.drawing.style import metres_and_feet
from lasersafe.results_scene import SpectatorLine

_SHORT = 40.0  # [mm]
_SEEN = 4.0  # [mm]


def spectator_lines(layers: Layers) -> None:
    """Draw the nearest allowed lines; of one outside the frame of the plan an arrow says where it is.

    Parameters
    ----------
    layers : Layers
        What the lines are added to.
    """
    for line in outermost(layers.scene.lines):
        runs = clip_run(_long_enough(layers, line), layers.frame)
        if not runs or length_of(runs) < _SEEN:
            _far_line(layers, line)
            continue
        layers.used.add("line")
        layers.marks.append(Lines(tuple(runs), BLACK, 0.9, (6.0, 1.5)))
        for run in runs:
            layers.board.lines += list(pairwise(run))
        places = [p for run in runs for p in along(run, 7)]
        middle = places[len(places) // 2]
        places.sort(key=lambda p: math.dist(p, middle))
        layers.urgent.append(Label(_text(layers, line), tuple(places), True))


def _text(layers: Layers, line: SpectatorLine) -> str:
    key = "plan.line" if line.line_kind in ("", "exposure limit") else "plan.line_rule"
    pack, joint, rule = line.line_kind.rpartition(": ")
    rule = layers.say(pack) + joint + layers.say(rule)
    text = layers.text(key, side=layers.say(line.side), rule=rule, distance=metres_and_feet(line.distance))
    if len({one.laser for one in layers.scene.lines}) > 1:
        text = layers.text("plan.line_from", text=text, laser=line.laser)
    return text


def _long_enough(layers: Layers, line: SpectatorLine) -> Run:
    """Return a line on paper, made longer where it is too short to be seen but well away from its laser."""
    (ax, ay), (bx, by) = layers.view.run(line.line)
    if math.hypot(bx - ax, by - ay) >= _SHORT or not line.distance * 1000.0 / layers.view.scale >= AIM_MARK:
        return (ax, ay), (bx, by)
    half = (math.cos(line.bearing) * _SHORT / 2, -math.sin(line.bearing) * _SHORT / 2)
    x, y = (ax + bx) / 2, (ay + by) / 2
    return (x - half[0], y - half[1]), (x + half[0], y + half[1])


def _far_line(layers: Layers, line: SpectatorLine) -> None:
    """Say with an arrow at the edge of the plan how far away a line is that lies outside."""
    place = ((line.line[0][0] + line.line[-1][0]) / 2, (line.line[0][1] + line.line[-1][1]) / 2)
    if not layers.far_things or layers.view.holds(place):
        return
    way = symbols.bearing_vector(line.bearing)
    foot = (place[0] - line.distance * way[0], place[1] - line.distance * way[1])
    x0, y0, x1, y1 = layers.frame
    start = layers.view.point(foot) if layers.view.holds(foot, 8.0) else ((x0 + x1) / 2, (y0 + y1) / 2)
    tips = [
        edge_point((start[0] + aside * way[1], start[1] - aside * way[0]), way, layers.frame)
        for aside in (0.0, APART, -APART, 2 * APART, -2 * APART)
    ]
    free = [tip for tip in tips if all(math.dist(tip, other) > APART for other in layers.tips)]
    tip = (free or tips)[0]
    layers.tips.append(tip)
    tail = (tip[0] - 8.0 * way[0], tip[1] - 8.0 * way[1])
    layers.marks += arrow(tail, tip, BLACK, 0.9, 3.0)
    layers.urgent.append(Label(layers.text("plan.line_outside", text=_text(layers, line)), (tail,), True))
