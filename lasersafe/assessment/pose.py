"""Where a laser stands and points, and small geometry round it."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.context import Context
from lasersafe.scene.directions import Box, Directions, Vector, about, angles, unit
from lasersafe.scene.profile import ScatterProfile
from lasersafe.scene.screens import Screen
from lasersafe.scene.spots import Spots

if TYPE_CHECKING:
    from lasersafe.models import Aim, Setup

HAND_MARGIN = math.radians(10.0)  # common practice, no source
HAND_MOVES = 0.5  # m, on every side; common practice, no source
_STEEPEST = math.radians(80.0)


@dataclass(frozen=True)
class Pose:
    """One laser in one place with the directions it can take in one mode."""

    mode: str
    apex: Vector
    bearing: float
    elevation: float
    nominal: Box
    directions: Directions  # margin and scan field in it
    margin: float
    margin_source: str
    moves: Vector = (0.0, 0.0, 0.0)  # how far the last optic can be from where it is stated, on every side

    def on_aim(self, distance: float) -> Vector:
        """Return the point of the aim at a distance from the last optic."""
        x, y, z = unit(self.bearing, self.elevation)
        return self.apex[0] + x * distance, self.apex[1] + y * distance, self.apex[2] + z * distance

    @property
    def fixed(self) -> bool:
        """Whether it points in one direction only, within its margin."""
        low, high = self.nominal.elevation
        return self.nominal.half_bearing == 0.0 and low == high

    @property
    def turns(self) -> bool:
        """Whether it can point anywhere but straight along its aim, the margin counted."""
        box = self.directions.box()
        return box.half_bearing > 0.0 or box.elevation[0] != box.elevation[1]

    @property
    def loose(self) -> float:
        """How far the last optic can be from where it is stated. [m]."""
        return math.hypot(*self.moves)

    def spots(self, distance: float) -> Spots:
        """Return every place of a spot so far from the last optic."""
        return Spots(self.apex, self.directions, distance, slack=self.loose)


def far_scatter(profile: ScatterProfile, factor: float = 1.0) -> float:
    """Return a distance beyond which a lit spot of a reflectance is below the limit [m]."""
    grid = np.geomspace(0.01, 1e5, 2000)
    hot = np.flatnonzero(factor * profile.ratio(grid) > 1.0)
    return float(grid[min(hot[-1] + 1, grid.size - 1)]) if hot.size else 0.0


def nearest_on(screen: Screen, start: Vector) -> Vector:
    """Return the place of a screen that is nearest to a point on the plan, as near to its height as the screen goes."""
    best: tuple[float, Vector] | None = None
    height = min(max(start[2], screen.bottom), screen.top)
    for a, b in itertools.pairwise(screen.line):
        ex, ey = b[0] - a[0], b[1] - a[1]
        t = ((start[0] - a[0]) * ex + (start[1] - a[1]) * ey) / (ex * ex + ey * ey)
        t = min(max(t, 0.0), 1.0)
        point = (a[0] + t * ex, a[1] + t * ey, height)
        away = math.dist(point, start)
        if best is None or away < best[0]:
            best = (away, point)
    assert best is not None
    return best[1]


def pose_of(aim: Aim, context: Context, mode: str) -> Pose:
    """Return an aim as typed in SI units, with its margin."""
    apex = (*aim.position.pair, float(aim.height))
    if aim.towards is not None:
        end = (*aim.towards.pair, apex[2] if aim.towards_height is None else float(aim.towards_height))
        offset = (end[0] - apex[0], end[1] - apex[1], end[2] - apex[2])
        bearing, elevation = angles(offset) if any(offset) else (0.0, 0.0)
    else:
        turn = aim.bearing_range
        middle = 0.0 if turn is None else (float(turn.low) + float(turn.high)) / 2.0
        bearing = middle if aim.bearing is None else float(aim.bearing)
        tilt = aim.elevation_range
        level = 0.0 if tilt is None else (float(tilt.low) + float(tilt.high)) / 2.0
        elevation = level if aim.elevation is None else float(aim.elevation)
    low_b, high_b = (bearing, bearing) if aim.bearing_range is None else aim.bearing_range.span
    low_e, high_e = (elevation, elevation) if aim.elevation_range is None else aim.elevation_range.span
    nominal = Box(
        (low_b + high_b) / 2.0, min((high_b - low_b) / 2.0, math.pi), (min(low_e, elevation), max(high_e, elevation))
    )
    if aim.margin is not None:
        margin, source = float(aim.margin), "typed"
    elif context.laser.handheld:
        margin, source = HAND_MARGIN, "common practice, no source"
    else:
        margin, source = 0.0, "none"
    field, aside = scan_field(context.setup)
    away = (HAND_MOVES if context.laser.handheld else 0.0) if aim.moves is None else float(aim.moves)
    moves = (away + aside,) * 3
    return Pose(mode, apex, bearing, elevation, nominal, about(nominal, margin + field), margin, source, moves)


def scan_field(setup: Setup) -> tuple[float, float]:
    """Return how far off its middle a scan sends the beam, [rad], and how far beside it light can start [m].

    Which way the pattern lies is not stated, so that it counts on every side; behind a lens the beam of an angle leaves
    at that angle, or parallel and beside the axis.
    """
    scan = setup.scan
    if scan is None:
        return 0.0, 0.0
    fills = scan.pattern not in ("line", "circle")

    def half(pair: tuple[float, float]) -> float:
        return (math.hypot(*pair) if fills else max(pair)) / 2.0

    if scan.full_width is not None and scan.width_at is not None:
        wide = half(scan.full_width.pair)
        angle, aside = math.atan2(wide, float(scan.width_at)), 0.0 if scan.fans_out else wide
    else:
        angle = 0.0 if scan.full_angle is None else half(scan.full_angle.pair)
        aside = float(setup.focal_length) * math.tan(min(angle, _STEEPEST)) if setup.kind == "lens" else 0.0
    if scan.largest_angle is not None:
        angle = max(angle, half(scan.largest_angle.pair))
    return angle, aside
