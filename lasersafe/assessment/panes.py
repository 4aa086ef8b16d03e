"""Windows as mirrors: every pane of glass that the beam of a laser can meet."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.loads import places_on, window_screen
from lasersafe.scene.bound import bound
from lasersafe.scene.mirrors import Mirror
from lasersafe.scene.screens import Screen
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.models import Scene
    from lasersafe.scene.directions import Vector
    from lasersafe.scene.sources import Source
    from lasersafe.scene.walls import Walls

_HAIR = 1e-6  # m


@dataclass(frozen=True)
class Pane:
    """A flat piece of a window as a mirror, with its length and height. [m]."""

    mirror: Mirror
    length: float
    height: float

    @property
    def upper_corners(self) -> tuple[Vector, Vector]:
        """Both ends of its upper edge. [m]."""
        (x, y, z), normal = self.mirror.position, self.mirror.normal
        assert normal is not None
        ends = [(x + side * normal[1], y - side * normal[0]) for side in (-self.length / 2.0, self.length / 2.0)]
        top = z + self.height / 2.0
        return (*ends[0], top), (*ends[1], top)

    def gets(self, source: Source, walls: Walls, least: float) -> bool:
        """Return whether anywhere on it light of a source can give more than so much of a limit, past walls.

        It is bounded as a place a hair before either side of the wall in which it is: a window that holds is no shade
        for itself.
        """
        (x0, y0, top), (x1, y1, _) = self.upper_corners
        glass, off = Screen("", ((x0, y0), (x1, y1)), top - self.height, top), np.array(self.mirror.normal) * _HAIR
        bright = [[(replace(source, factor=source.factor / least), walls)]]
        return any(bound(bright, places_on(glass, top, side), to_limit=True).upper[0] > 1.0 for side in (off, -off))


def panes_of(scene: Scene) -> tuple[Pane, ...]:
    """Return every flat piece of every window.

    Without a stated reflectance it is a full mirror: coated glass, and any at a glancing angle, comes near to that.
    """
    found = []
    for entry in scene.barrier:
        for opening in entry.opening:
            if opening.kind != "window":
                continue
            glass = window_screen(entry, opening)
            height = glass.top - glass.bottom
            share = 1.0 if opening.reflectance is None else float(opening.reflectance)
            for a, b in itertools.pairwise(glass.line):
                length = math.dist(a, b)
                if not length > 0.0 or not height > 0.0:
                    continue
                middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, (glass.bottom + glass.top) / 2.0)
                normal = ((a[1] - b[1]) / length, (b[0] - a[0]) / length, 0.0)
                name = Message("pane.name", name=opening.name)
                mirror = Mirror(name, middle, normal, math.hypot(length, height), share)
                found.append(Pane(mirror, length, height))
    return tuple(found)
