"""How near people may stand on each side: straight lines that leave every zone behind them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lasersafe.results_scene import SpectatorLine, ZoneShape

_STEP = 0.1  # m
SIDES = (("front", math.pi), ("right", math.pi / 2.0), ("back", 0.0), ("left", -math.pi / 2.0))


def spectator_lines(
    zones: Sequence[ZoneShape],
    stage_bearing: float,
    origin: tuple[float, float, float],
    extent: tuple[float, float, float, float],
) -> tuple[SpectatorLine, ...]:
    """Return the nearest allowed line on each side.

    Parameters
    ----------
    zones : sequence of ZoneShape
        All zones that people have to stay out of.
    stage_bearing : float
        Direction from the audience to the stage; the front is the other way. [rad]
    origin : tuple of float
        What the distance is measured from, the last optic. [m]
    extent : tuple of float
        The plan, for the length of the lines. [m]

    Returns
    -------
    tuple of SpectatorLine
        Front, right, back and left; a line stands at least at the last optic.
    """
    found = []
    half = max(extent[2] - extent[0], extent[3] - extent[1]) / 2.0
    for side, turn in SIDES:
        bearing = (stage_bearing + turn) % (2.0 * math.pi)
        out = np.array([math.sin(bearing), math.cos(bearing)])
        best, limiting = 0.0, None
        for zone in zones:
            corners = [np.array(part.outline) for part in zone.polygons]
            if not corners:
                continue
            reach = max(float(((c - np.array(origin[:2])) @ out).max()) for c in corners)
            if reach > best:
                best, limiting = reach, zone
        distance = round(math.ceil(best / _STEP - 1e-9) * _STEP, 6)
        foot = np.array(origin[:2]) + out * distance
        along = np.array([out[1], -out[0]]) * half
        words = "nothing: no zone reaches this side"
        if limiting is not None:
            where = f" by way of {limiting.surface}" if limiting.surface else ""
            words = f"{limiting.kind} zone of {limiting.laser}, {limiting.setup}{where}; {limiting.limited_by}"
        found.append(
            SpectatorLine(
                side=side,
                line=((float(foot[0] - along[0]), float(foot[1] - along[1])),
                      (float(foot[0] + along[0]), float(foot[1] + along[1]))),
                distance=distance,
                distance_from="last optic",
                limited_by=words,
                bearing=bearing,
                laser="" if limiting is None else limiting.laser,
                setup="" if limiting is None else limiting.setup,
                blocked_by=() if limiting is None else limiting.clipped_by,
            )
        )  # fmt: skip
    return tuple(found)
