"""The highest exposure over limit on a grid of the floor."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from lasersafe.records.scene import HazardMap
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source
from lasersafe.wording.message import Message

FLOAT = NDArray[np.float64]
EYES = (("standing adult", 1.6), ("child", 1.0))  # m; common practice, no source
NEGLIGIBLE = 1e-6
_WIDE = 4.0  # diameters beside the axis: there exp(-64) of the peak is left
_ROWS = 64  # rows of the grid worked out at a time, so that the arrays stay in the cache


def hazard_map(
    sources: Iterable[tuple[Source, tuple[Piece, ...]]],
    x: FLOAT,
    y: FLOAT,
    heights: Sequence[tuple[str, float]] = EYES,
) -> HazardMap:
    """Return the map of a set of sources.

    Parameters
    ----------
    sources : iterable of (Source, tuple of Piece)
        Each source with the solid parts of the screens that hold against it.
    x : numpy.ndarray, shape (columns,)
        Places of the columns. [m]
    y : numpy.ndarray, shape (rows,)
        Places of the rows. [m]
    heights : sequence of (str, float)
        Name and height of the eyes above the floor. [m]

    Returns
    -------
    HazardMap
        ``ratio`` of shape (heights, rows, columns).
    """
    pairs = list(sources)
    ratio = np.zeros((len(heights), y.size, x.size))
    for first in range(0, y.size, _ROWS):
        part = slice(first, first + _ROWS)
        for level, (_, height) in enumerate(heights):
            here = ratio[level, part]
            for source, pieces in pairs:
                _raise(here, source, pieces, x[None, :], y[part, None], height)
    return HazardMap(x, y, tuple(heights), ratio, note=Message("map.negligible", least=f"{NEGLIGIBLE:g}"))


def _raise(here: FLOAT, source: Source, pieces: tuple[Piece, ...], x: FLOAT, y: FLOAT, height: float) -> None:
    """Raise the map where a source gives more than what is there; only such places are looked at closely."""
    dx, dy, dz = x - source.apex[0], y - source.apex[1], np.asarray(height - source.apex[2])
    square = dx * dx + dy * dy + dz * dz
    profile = source.profile if isinstance(source.profile, BeamProfile) and source.one_path else None
    if profile is not None:
        axial = source.directions.axial(dx, dy, dz)
        beside = square - axial * axial
        near = axial * _WIDE * max(profile.beam.divergence) + _widest(profile, source.offset)
        keep = (beside <= near * near) & (axial > 0.0)
    else:
        keep = square <= (2e3 * max(source.reach, 0.1) + source.spot) ** 2
    if source.plane is not None:
        on, n = source.plane
        front = (x - on[0]) * n[0] + (y - on[1]) * n[1]
        keep &= front >= -(height - on[2]) * n[2]
    rows, columns = np.divmod(np.flatnonzero(keep), here.shape[1])
    if rows.size == 0:
        return
    px, py, pz = x[0, columns], y[rows, 0], np.full(rows.shape, height)
    found = source.ratio(px, py, pz, fast=True)
    better = found > np.maximum(here[rows, columns], NEGLIGIBLE)
    if pieces:
        better[better] = ~source.hidden(px[better], py[better], pz[better], pieces)
    here[rows[better], columns[better]] = found[better]


def _widest(profile: BeamProfile, offset: float) -> float:
    """Return how far beside the axis, at the apex, a ratio can still matter; it grows with the slope."""
    beam = profile.beam
    lens = [w + a * abs(z) for w, a, z in zip(beam.waist_diameter, beam.divergence, beam.waist_position, strict=True)]
    return float(_WIDE * (max(lens) + max(beam.divergence) * offset) + profile.aperture_radius)
