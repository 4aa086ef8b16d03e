"""Evaluate a grid on arrays: look the pieces up, work them out, keep the strictest.

Works through the points in blocks that stay in the processor's cache. A point within a relative 1e-12 of an edge counts as on it, and there the
rows of both sides are worked out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lasersafe.limits.grid import (
    HAS_EXTRA,
    HAS_GROWING_APERTURE,
    HAS_SLOPE,
    HAS_SOURCE,
    HAS_T2,
    IS_IRRADIANCE,
    Floats,
    Grid,
    Ints,
)

EDGE = 1e-12  # relative distance within which a value counts as on an edge
_BLOCK = 16384
_FEW = 512  # up to this many points one binary search is faster than a pass for each edge


@dataclass(frozen=True)
class Points:
    """The strictest limit at each point of a flat array."""

    radiant_exposure: Floats  # [J/m2]
    irradiance: Floats  # [W/m2]
    aperture: Floats  # [m]
    piece: NDArray[np.int16]  # number in Grid.pieces, 0 where no limit applies


def evaluate(grid: Grid, wavelength_nm: Floats, duration: Floats, source_mrad: Floats, size: int) -> Points:
    """Return the strictest limit at each of *size* points; the arrays are flat, of that length or of length 1."""
    points = Points(np.empty(size), np.empty(size), np.empty(size), np.empty(size, dtype=np.int16))
    for start in range(0, size, _BLOCK):
        part = slice(start, min(start + _BLOCK, size))
        _block(
            grid,
            *(np.broadcast_to(a, (part.stop - start,)) if a.size == 1 else a[part] for a in (wavelength_nm, duration, source_mrad)),
            points.radiant_exposure[part], points.irradiance[part], points.aperture[part], points.piece[part],
        )  # fmt: skip
    return points


def _cell(edges: Floats, values: Floats) -> Ints:
    lowered = edges * (1.0 - EDGE)
    if values.size <= _FEW:
        return np.searchsorted(lowered, values, side="right")
    count = np.zeros(values.size, dtype=np.uint8)
    for edge in lowered:
        np.add(count, (values >= edge).view(np.uint8), out=count)
    return count.astype(np.intp)


def _block(
    grid: Grid, wavelength: Floats, duration: Floats, source: Floats,
    dose: Floats, irradiance: Floats, aperture: Floats, piece: NDArray[np.int16],
) -> None:  # fmt: skip
    column = _cell(grid.wavelength_edges, wavelength)
    time = _cell(grid.duration_edges, duration)
    _strictest(grid, column, time, wavelength, duration, source, dose, irradiance, aperture, piece)
    top = np.concatenate(([0.0], grid.wavelength_edges * (1.0 + EDGE) * grid.shared_wavelength[1:]))
    on_column = wavelength <= top.take(column)
    on_time = duration <= np.concatenate(([0.0], grid.duration_edges * (1.0 + EDGE))).take(time)
    if on_column.any():
        _lower_side(grid, on_column, 1, 0, column, time, wavelength, duration, source, dose, irradiance, aperture, piece)
        both = on_column & on_time
        if both.any():
            _lower_side(grid, both, 1, 1, column, time, wavelength, duration, source, dose, irradiance, aperture, piece)
    if on_time.any():
        _lower_side(grid, on_time, 0, 1, column, time, wavelength, duration, source, dose, irradiance, aperture, piece)


def _lower_side(
    grid: Grid, where: NDArray[np.bool_], back: int, earlier: int, column: Ints, time: Ints,
    wavelength: Floats, duration: Floats, source: Floats,
    dose: Floats, irradiance: Floats, aperture: Floats, piece: NDArray[np.int16],
) -> None:  # fmt: skip
    at = np.flatnonzero(where)
    other = (np.empty(at.size), np.empty(at.size), np.empty(at.size), np.empty(at.size, dtype=np.int16))
    _strictest(
        grid, column[at] - back, time[at] - earlier, wavelength[at], duration[at], source[at], *other
    )  # fmt: skip
    have = dose[at]
    better = (other[0] < have) | ((other[0] == have) & (other[2] < aperture[at]))
    at = at[better]
    dose[at], irradiance[at], aperture[at], piece[at] = (values[better] for values in other)


def _strictest(
    grid: Grid, column: Ints, time: Ints, wavelength: Floats, duration: Floats, source: Floats,
    dose: Floats, irradiance: Floats, aperture: Floats, piece: NDArray[np.int16],
) -> None:  # fmt: skip
    """Write the strictest limit of the pieces that share a cell."""
    cell = column * (grid.duration_edges.size + 1)
    cell += time
    split = grid.by_size.take(cell)
    cell *= 3
    at = np.flatnonzero(split)
    if at.size:
        cell[at] += _size(grid, source[at], duration[at])
    log_time = np.log(duration)
    first = grid.slots[0].take(cell)
    _pieces(grid, first, wavelength, duration, log_time, source, dose, irradiance, aperture)
    piece[...] = first
    for slot in grid.slots[1:]:
        second = slot.take(cell)
        at = np.flatnonzero(second != 0)
        if not at.size:
            continue
        second = second[at]
        other = np.empty(at.size), np.empty(at.size), np.empty(at.size)
        _pieces(grid, second, wavelength[at], duration[at], log_time[at], source[at], *other)
        better = other[0] < dose[at]
        at = at[better]
        dose[at], irradiance[at], aperture[at] = (values[better] for values in other)
        piece[at] = second[better]


def _size(grid: Grid, source: Floats, duration: Floats) -> Ints:
    """Return 0 for a small source, 1 for an extended one before T_2, 2 from T_2 on."""
    extended = source > grid.source_min * (1.0 + EDGE)
    beyond = extended & (np.log(duration) >= log_t2(grid, source) - EDGE)
    return extended.astype(np.intp) + beyond


def log_t2(grid: Grid, source_mrad: Floats) -> Floats:
    """Return the natural logarithm of T_2 / s."""
    first, rise, low, high = grid.t2
    value: Floats = np.clip(first + rise * source_mrad, low, high)
    return value


def _pieces(
    grid: Grid, piece: Ints, wavelength: Floats, duration: Floats, log_time: Floats, source: Floats,
    dose: Floats, irradiance: Floats, aperture: Floats,
) -> None:  # fmt: skip
    """Work one piece out at each point and write it as dose, irradiance and aperture."""
    flags = grid.flags.take(piece)
    value = grid.power.take(piece)
    value *= log_time
    np.exp(value, out=value)
    value *= grid.coefficient.take(piece)
    for bit, factor in ((HAS_SLOPE | HAS_EXTRA, _spectral), (HAS_SOURCE, _source_factor), (HAS_T2, _t2_factor)):
        at = np.flatnonzero((flags & bit) != 0)
        if at.size:
            value[at] *= factor(grid, piece[at], wavelength[at], log_time[at], source[at])
    np.divide(value, duration, out=irradiance)
    dose[...] = value
    at = np.flatnonzero((flags & IS_IRRADIANCE) != 0)
    if at.size:
        value = value[at]
        irradiance[at] = value
        dose[at] = value * duration[at]
    aperture[...] = grid.aperture.take(piece)
    at = np.flatnonzero((flags & HAS_GROWING_APERTURE) != 0)
    if at.size:
        aperture[at] *= np.exp(grid.aperture_power.take(piece[at]) * log_time[at])


def _spectral(grid: Grid, piece: Ints, wavelength: Floats, log_time: Floats, source: Floats) -> Floats:
    value: Floats = np.exp(grid.slope.take(piece) * (wavelength - grid.origin.take(piece)))
    return value + grid.extra.take(piece)


def _source_factor(grid: Grid, piece: Ints, wavelength: Floats, log_time: Floats, source: Floats) -> Floats:
    """Return C_E with the power of the whole source: alpha/alpha_min, above alpha_max alpha**2/(alpha_min alpha_max)."""
    highest = grid.source_max.take(piece)
    power = grid.source_power.take(piece)
    if power.any():
        highest = highest * np.exp(power * log_time)
    ratio: Floats = np.maximum(source, grid.source_min)
    ratio = ratio / grid.source_min
    return ratio * np.maximum(source / highest, 1.0)


def _t2_factor(grid: Grid, piece: Ints, wavelength: Floats, log_time: Floats, source: Floats) -> Floats:
    value: Floats = np.exp(grid.power_T_2.take(piece) * log_t2(grid, source))
    return value
