"""Windows as mirrors: every pane of glass that the beam of a laser can meet."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.loads import window_screen
from lasersafe.scene.mirrors import Mirror, reachable
from lasersafe.scene.screens import blocked
from lasersafe.scene.sources import Source
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.models import Scene
    from lasersafe.scene.directions import Vector
    from lasersafe.scene.screens import Piece

_FEWEST, _STEP = 21, 0.1  # places along and up a pane where the beam is looked for, and how far apart at most [m]
_HAIR = 1e-6  # m
FLOAT = NDArray[np.float64]


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


def lit_panes(scene: Scene, laser: Source, pieces: tuple[Piece, ...]) -> tuple[Pane, ...]:
    """Return the panes that the beam of a laser can meet past the screens that hold against it."""
    found = []
    for pane in panes_of(scene):
        if not pane.mirror.reflectance > 0.0 or not reachable(laser, pane.mirror):
            continue
        x, y, z = _places(laser.apex, pane, pieces)
        if not blocked(laser.apex, x, y, z, pieces).all():
            found.append(pane)
    return tuple(found)


def _places(apex: Vector, pane: Pane, pieces: tuple[Piece, ...]) -> FLOAT:
    """Return places of a pane where the beam is looked for, of shape (3, places), a hair before the glass.

    Besides an even grid they lie just past every end of a screen, as the last optic sees it.
    """
    mirror, length, height = pane.mirror, pane.length, pane.height
    assert mirror.normal is not None
    along = np.array([mirror.normal[1], -mirror.normal[0]])
    middle, start = np.array(mirror.position[:2]), np.array(apex[:2])
    ends = np.array([end for piece in pieces for end in (piece.start, piece.end)]).reshape(-1, 2) - start
    across = np.array(mirror.normal[:2])
    with np.errstate(divide="ignore", invalid="ignore"):
        times = float((middle - start) @ across) / (ends @ across)
    past = (start + times[:, None] * ends - middle) @ along
    past = past[np.isfinite(past) & (times > 0.0)]
    past = np.concatenate([past - _HAIR * 10.0, past + _HAIR * 10.0])
    steps = np.linspace(-0.5, 0.5, max(_FEWEST, math.ceil(length / _STEP)))
    beside = np.concatenate([steps * length, past[np.abs(past) <= length / 2.0]])
    up = np.linspace(-0.5, 0.5, max(_FEWEST, math.ceil(height / _STEP))) * height
    aside, rise = (part.ravel() for part in np.meshgrid(beside, up))
    places = np.stack([middle[0] + aside * along[0], middle[1] + aside * along[1], mirror.position[2] + rise])
    way = np.array(apex)[:, None] - places
    return np.asarray(places + way * (_HAIR / np.maximum(np.sqrt(np.square(way).sum(axis=0)), _HAIR)))
