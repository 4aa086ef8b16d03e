"""One light and its shadows at single points, without boxes: what the bounds of a scene are compared with."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene import beams as geometry
from lasersafe.scene.beams import CLOSEST, NEAREST, BeamProfile, ScatterProfile, Vector
from lasersafe.scene.bound import Bounds, Places, Question, bounds
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Piece, Walls

FLOAT = NDArray[np.float64]
FLAGS = NDArray[np.bool_]
_TOUCH = 1e-9  # of the way: a screen on which light starts does not hide it


def bound(groups: Sequence[Sequence[Light]], places: Places, **named: Any) -> Bounds:
    """Return how much light there can be at most anywhere in each of the places."""
    return bounds([Question(groups, places)], **named)[0]


def over(source: Source, middle: FLOAT, half: FLOAT) -> FLOAT:
    """Return at least the exposure over limit of one light anywhere in boxes."""
    return Lights([(source, Walls())]).over(np.zeros(len(middle), dtype=np.intp), middle, half)


def ratio(source: Source, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
    """Return exposure over limit at points [m], whatever stands between; 0 where no light comes."""
    if isinstance(source.profile, ScatterProfile):
        return _scattered(source, source.profile, x, y, z)
    path, aside, lit = along(source, x, y, z)
    shape = beside(source.profile, path, aside) if source.one_path else from_here_on(source.profile, path)
    return np.where(lit, source.factor * shape, 0.0)


def away(source: Source, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
    """Return how far points are from the apex, or from the nearest place of the lit spot. [m]."""
    if source.spots is not None:
        return source.spots.away(x, y, z)
    dx, dy, dz = x - source.apex[0], y - source.apex[1], z - source.apex[2]
    return np.asarray(np.sqrt(dx * dx + dy * dy + dz * dz))


def along(source: Source, x: FLOAT, y: FLOAT, z: FLOAT) -> tuple[FLOAT, FLOAT, FLAGS]:
    """Return path from the last optic to points, how far beside the beam they lie [m], and where light is."""
    if source.spots is not None:
        axial = source.spots.away(x, y, z)
        aside, lit = np.zeros_like(axial), np.ones(axial.shape, dtype=bool)
    else:
        dx, dy, dz = x - source.apex[0], y - source.apex[1], z - source.apex[2]
        axial = geometry.axial(source.directions, dx, dy, dz)
        aside = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - axial * axial, 0.0))
        lit = axial > 0.0
    if source.plane is not None:
        lit &= _in_front(source.plane, x, y, z)
    path = axial + source.offset
    if source.origin is not None:  # over flat mirrors no path is shorter than the straight one
        gaps = [
            np.maximum(np.abs(one - middle) - half, 0.0)
            for one, middle, half in zip((x, y, z), *source.origin, strict=True)
        ]
        path = np.maximum(path, np.sqrt(sum(np.square(gap) for gap in gaps)))
    return path, aside, np.asarray(lit)


def beside(profile: BeamProfile, distance: FLOAT, aside: FLOAT) -> FLOAT:
    """Return the ratio at a distance along a beam and a distance from its axis [m], rounded upwards beside it."""
    axis, (dx, dy) = profile.on_axis(distance), profile.widths(np.maximum(distance, NEAREST))
    peak, widest = max(profile.strengths.values()) * 4.0 / (math.pi * dx * dy), np.maximum(dx, dy)
    outside = np.maximum(aside - profile.aperture_radius, 0.0)
    if profile.beam.profile == "gaussian":
        with np.errstate(under="ignore"):
            return np.minimum(axis, peak * np.exp(-np.square(2.0 * outside / widest)))
    return np.where(outside <= widest / 2.0, axis, 0.0)


def from_here_on(profile: BeamProfile, distance: FLOAT) -> FLOAT:
    """Return the highest ratio at a path or a longer one, for paths [m] of which no end is known."""
    found = profile.on_axis(distance)
    dx, dy = profile.widths(np.maximum(distance, NEAREST))
    if profile.beam.profile == "gaussian" and not profile.beam.circular:  # at most what the square round it takes
        erf = np.vectorize(math.erf, otypes=[np.float64])
        square = [strength * erf(hole / dx) * erf(hole / dy) / (math.pi / 4.0 * hole**2)
                  for hole, strength in profile.strengths.items()]  # fmt: skip
        peak = max(profile.strengths.values()) * 4.0 / (math.pi * dx * dy)
        found = np.minimum(np.max(square, axis=0), peak)
    return np.asarray(np.where(distance < profile.last_waist, np.maximum(found, profile.crest), found))


def blocked(
    apex: Vector, x: FLOAT, y: FLOAT, z: FLOAT, pieces: Iterable[Piece], plane: tuple[Vector, Vector] | None = None
) -> FLAGS:
    """Return which points solid parts of screens hide from a point source; of a mirror, only what stands before it."""
    dx, dy, dz = x - apex[0], y - apex[1], z - apex[2]
    hidden = np.zeros(np.broadcast_shapes(dx.shape, dy.shape, np.shape(dz)), dtype=bool)
    for piece in pieces:
        hidden |= _hit(apex, dx, dy, dz, piece, plane)
    return hidden


def _scattered(source: Source, profile: ScatterProfile, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
    far = np.maximum(away(source, x, y, z), CLOSEST)
    found = profile.ratio(far) * source.factor
    if source.plane is not None:
        n = source.plane[1]
        dx, dy, dz = x - source.apex[0], y - source.apex[1], z - source.apex[2]
        cosine = np.clip((dx * n[0] + dy * n[1] + dz * n[2]) / far, 0.0, 1.0)
        found = found * (cosine if profile.lambert else 1.0) * (2.0 / (1.0 + cosine) if profile.size else 1.0)
        found = np.where(_in_front(source.plane, x, y, z), found, 0.0)
    return np.asarray(found)


def _in_front(plane: tuple[Vector, Vector], x: FLOAT, y: FLOAT, z: FLOAT) -> FLAGS:
    on, n = plane
    return np.asarray((x - on[0]) * n[0] + (y - on[1]) * n[1] + (z - on[2]) * n[2] >= 0.0)


def _hit(
    apex: Vector,
    dx: FLOAT,
    dy: FLOAT,
    dz: FLOAT,
    piece: Piece,
    plane: tuple[Vector, Vector] | None,
) -> FLAGS:
    """Return which ways meet a piece."""
    ax, ay = piece.start[0] - apex[0], piece.start[1] - apex[1]
    ex, ey = piece.end[0] - piece.start[0], piece.end[1] - piece.start[1]
    # apex + t d = start + u e
    cross = dx * ey - dy * ex
    numerator = ax * ey - ay * ex
    with np.errstate(divide="ignore", invalid="ignore"):
        t = numerator / cross
        u = (ax * dy - ay * dx) / cross
        height = apex[2] + t * dz
        hit = (t > _TOUCH) & (t < 1.0) & (u >= 0.0) & (u <= 1.0)
        hit &= (height >= piece.bottom) & (height <= piece.top)
        if plane is not None:
            on, normal = plane
            front = (apex[0] + t * dx - on[0]) * normal[0] + (apex[1] + t * dy - on[1]) * normal[1]
            hit &= front + (height - on[2]) * normal[2] > 0.0
    return np.asarray(hit)
