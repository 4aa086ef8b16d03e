"""Windows as mirrors: every pane of glass that the beam of a laser can meet."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.loads import part_of_line
from lasersafe.scene.screens import blocked
from lasersafe.scene.sources import Mirror, Source, reachable

if TYPE_CHECKING:
    from lasersafe.models import Scene
    from lasersafe.scene.screens import Piece

_LOOKED_AT = 21  # places across a pane and up it where the beam is looked for


def panes_of(scene: Scene) -> tuple[tuple[Mirror, float, float], ...]:
    """Return every flat piece of every window as a mirror, with its length and height [m].

    Without a stated reflectance it is a full mirror: coated glass, and any at a glancing angle, comes near to that.
    """
    found = []
    for entry in scene.barrier:
        for opening in entry.opening:
            if opening.kind != "window":
                continue
            line = part_of_line(entry.line.pairs, float(opening.start), float(opening.end))
            low = max(float(opening.bottom), float(entry.bottom))
            high = min(float(opening.top), float(entry.top))
            share = 1.0 if opening.reflectance is None else float(opening.reflectance)
            for a, b in itertools.pairwise(line):
                length = math.dist(a, b)
                if not length > 0.0 or not high > low:
                    continue
                middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, (low + high) / 2.0)
                normal = ((a[1] - b[1]) / length, (b[0] - a[0]) / length, 0.0)
                mirror = Mirror(f"glass of {opening.name}", middle, normal, math.hypot(length, high - low), share)
                found.append((mirror, length, high - low))
    return tuple(found)


def lit_panes(scene: Scene, laser: Source, pieces: tuple[Piece, ...]) -> tuple[Mirror, ...]:
    """Return the panes that the beam of a laser can meet past the screens that hold against it."""
    steps = np.linspace(-0.5, 0.5, _LOOKED_AT)
    along, up = (part.ravel() for part in np.meshgrid(steps, steps))
    found = []
    for mirror, length, height in panes_of(scene):
        if not mirror.reflectance > 0.0 or not reachable(laser, mirror):
            continue
        assert mirror.normal is not None
        x = mirror.position[0] + along * length * mirror.normal[1]
        y = mirror.position[1] - along * length * mirror.normal[0]
        if not blocked(laser.apex, x, y, mirror.position[2] + up * height, pieces).all():
            found.append(mirror)
    return tuple(found)
