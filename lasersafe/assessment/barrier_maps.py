"""The irradiance on each barrier of a scene, place by place: direct beam, mirror and scatter."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.lines import power_of_all
from lasersafe.assessment.loads import barrier_for, load_on
from lasersafe.assessment.scenarios import WAYS
from lasersafe.assessment.scene_barriers import in_irradiance
from lasersafe.assessment.stage import Stage
from lasersafe.results_barriers import BarrierMap
from lasersafe.scene.screens import Screen

FLOAT = NDArray[np.float64]
COLUMNS, ROWS = 120, 36
HIGHEST = 4.0  # m: above it nobody looks at a barrier; a higher one is shown up to here


def barrier_maps(stages: Sequence[Stage]) -> tuple[BarrierMap, ...]:
    """Return the map of each barrier with all fitted set-ups as aimed while running, of several corners the highest.

    What stands between is not counted. Values are peaks at the middle of each cell, so that a beam narrower than a cell
    can pass between; the highest peak of the assessment, which is searched, stands beside the map.

    Parameters
    ----------
    stages : sequence of Stage
        A scene at each corner of its tolerances.
    """
    first = stages[0]
    return tuple(_map(stages, first.screens[entry.name]) for entry in first.scene.barrier)


def _map(stages: Sequence[Stage], screen: Screen) -> BarrierMap:
    top = min(screen.top, screen.bottom + HIGHEST)
    edges, x, y = _along(screen)
    heights = np.linspace(screen.bottom, top, ROWS + 1)
    z = (heights[:-1] + heights[1:]) / 2.0
    found = {way: np.max([_on(stage, screen, way, x, y, z) for stage in stages], axis=0) for way in WAYS}
    ratings = [
        float(barrier.rating)
        for stage in stages
        for context in stage.contexts
        if context.setup.fitted
        for barrier in (barrier_for(stage, context, screen.name),)
        if barrier is not None and barrier.rating is not None
    ]
    return BarrierMap(
        screen.name, tuple(edges.tolist()), tuple(heights.tolist()), found, min(ratings) if ratings else None
    )


def _along(screen: Screen) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return the edges of the columns along the line [m], and x and y of their middles."""
    pieces = list(itertools.pairwise(screen.line))
    lengths = [math.dist(a, b) for a, b in pieces]
    step = sum(lengths) / COLUMNS
    edges, x, y, start = [np.zeros(1)], [], [], 0.0
    for (a, b), length in zip(pieces, lengths, strict=True):
        share = np.linspace(0.0, 1.0, max(1, math.ceil(length / step - 1e-9)) + 1)
        middle = (share[:-1] + share[1:]) / 2.0
        edges.append(start + share[1:] * length)
        x.append(a[0] + middle * (b[0] - a[0]))
        y.append(a[1] + middle * (b[1] - a[1]))
        start += length
    return np.concatenate(edges), np.concatenate(x), np.concatenate(y)


def _on(stage: Stage, screen: Screen, way: str, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
    """Return the irradiance [W/m2] on a grid of shape (rows, columns), the fitted set-ups together."""
    total = np.zeros((z.size, x.size))
    xs, ys, zs = np.broadcast_arrays(x[None, :], y[None, :], z[:, None])
    for context in stage.contexts:
        if not context.setup.fitted or not stage.poses(context, "running"):
            continue
        power = power_of_all(context)
        if power is None:
            return np.full(total.shape, math.inf)
        best = np.zeros(total.shape)
        for source in stage.sources(context, way, "eye"):
            best = np.maximum(best, in_irradiance(stage, source, power).ratio(xs, ys, zs))
        total += np.minimum(best, load_on(stage, context, way, screen).irradiance)  # no path is shorter than that
    return total


__all__ = ["barrier_maps"]
