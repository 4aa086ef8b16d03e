"""Windows as mirrors: every pane of glass that the beam of a laser can meet."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.loads import places_on, window_screen
from lasersafe.scene.bound import Question, bounds
from lasersafe.scene.mirrors import Mirror
from lasersafe.scene.walls import Screen
from lasersafe.wording import Message

if TYPE_CHECKING:
    from lasersafe.models import Scene
    from lasersafe.models.scene import SceneBarrier, SceneOpening
    from lasersafe.scene.directions import Vector
    from lasersafe.scene.lights import Light

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


def lit_panes(lights: Sequence[Light], panes: Sequence[Pane], least: float) -> list[bool]:
    """Return for each light and its pane whether anywhere on it the light can give more than so much of a limit.

    A pane is bounded as a place a hair before either side of the wall in which it is: a window that holds is no shade
    for itself.
    """
    asked = []
    for (source, walls), pane in zip(lights, panes, strict=True):
        (x0, y0, top), (x1, y1, _) = pane.upper_corners
        glass, off = Screen("", ((x0, y0), (x1, y1)), top - pane.height, top), np.array(pane.mirror.normal) * _HAIR
        bright = [[(replace(source, factor=source.factor / least), walls)]]
        asked += [Question(bright, places_on(glass, top, side)) for side in (off, -off)]
    found = [bool(one.upper[0] > 1.0) for one in bounds(asked, to_limit=True)] if asked else []
    return [one or other for one, other in zip(found[::2], found[1::2], strict=True)]


def panes_of(scene: Scene) -> tuple[Pane, ...]:
    """Return every flat piece of every window, and of every barrier or wall that shines.

    Without a stated reflectance it is a full mirror: coated glass, and any at a glancing angle, comes near to that.
    """
    found = []
    for entry in scene.barrier:
        own: list[tuple[str, Screen, SceneBarrier | SceneOpening]] = []
        if entry.finish != "matt":
            whole = Screen(entry.name, entry.line.pairs, float(entry.bottom), float(entry.top))
            own.append((entry.name, whole, entry))
        for opening in entry.opening:
            if opening.kind == "window":
                own.append((Message("pane.name", name=opening.name), window_screen(entry, opening), opening))
        for name, screen, part in own:
            height, known = screen.top - screen.bottom, getattr(part, "finish", "mirror") == "mirror"
            share = float(part.reflectance) if known and part.reflectance is not None else 1.0
            for a, b in itertools.pairwise(screen.line):
                length = math.dist(a, b)
                if not length > 0.0 or not height > 0.0:
                    continue
                middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, (screen.bottom + screen.top) / 2.0)
                normal = ((a[1] - b[1]) / length, (b[0] - a[0]) / length, 0.0)
                found.append(Pane(Mirror(name, middle, normal, math.hypot(length, height), share), length, height))
    return tuple(found)
