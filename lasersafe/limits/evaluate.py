"""Evaluate a grid on arrays: look the pieces up, work them out, keep the strictest.

Works through the points in blocks that stay in the processor's cache, in buffers that are allocated once. A point
within a relative 1e-12 of an edge counts as on it, and there the rows of both sides are worked out.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lasersafe.limits.grid import (
    BY_SIZE,
    EDGE,
    HAS_GROWING_APERTURE,
    HAS_MORE,
    HAS_SOURCE,
    HAS_SPECTRAL,
    HAS_T2,
    IS_IRRADIANCE,
    Floats,
    Grid,
    Ints,
)

_BLOCK = 65536
_FEW = 512  # up to this many points one binary search is faster than a pass for each edge
_BUFFERS = 48

Check = Callable[[Floats, Floats, Floats], None]


@dataclass(frozen=True)
class Points:
    """The strictest limit at each point."""

    radiant_exposure: Floats  # [J/m2]
    irradiance: Floats  # [W/m2]
    aperture: Floats  # [m]
    piece: NDArray[np.int16]  # number in Grid.pieces

    def part(self, where: slice) -> Points:
        """Return a view of some points."""
        return Points(self.radiant_exposure[where], self.irradiance[where], self.aperture[where], self.piece[where])


class _Buffers:
    """Hands out arrays from one piece of memory; `release` gives back all that were taken after `mark`."""

    def __init__(self, size: int) -> None:
        self.room = np.empty(size * 8 * _BUFFERS, dtype=np.uint8)
        self.mark = 0

    def _take(self, size: int, width: int) -> NDArray[np.uint8]:
        start = self.mark
        self.mark = start + (size * width + 63) // 64 * 64
        return self.room[start : start + size * width]

    def floats(self, size: int) -> Floats:
        return self._take(size, 8).view(np.float64)

    def indices(self, size: int) -> Ints:
        return self._take(size, 8).view(np.intp)

    def bytes(self, size: int) -> NDArray[np.uint8]:
        return self._take(size, 1)

    def bools(self, size: int) -> NDArray[np.bool_]:
        return self._take(size, 1).view(np.bool_)

    def picked(self, values: Floats, at: Ints) -> Floats:
        """Return ``values[at]``."""
        return values.take(at, out=self.floats(at.size), mode="clip")


class _Few(_Buffers):
    """The same for a few points, where new arrays are quicker."""

    def __init__(self) -> None:
        self.mark = 0

    def floats(self, size: int) -> Floats:
        return np.empty(size)

    def indices(self, size: int) -> Ints:
        return np.empty(size, dtype=np.intp)

    def bytes(self, size: int) -> NDArray[np.uint8]:
        return np.empty(size, dtype=np.uint8)

    def bools(self, size: int) -> NDArray[np.bool_]:
        return np.empty(size, dtype=np.bool_)

    def picked(self, values: Floats, at: Ints) -> Floats:
        return values.take(at)


@dataclass(frozen=True)
class _Inputs:
    wavelength: Floats  # [nm]
    duration: Floats  # [s]
    log_duration: Floats
    source: Floats  # [mrad]

    def picked(self, at: Ints, buffers: _Buffers) -> _Inputs:
        """Return some points."""
        return _Inputs(
            *(buffers.picked(a, at) for a in (self.wavelength, self.duration, self.log_duration, self.source))
        )


def evaluate(grid: Grid, wavelength: Floats, duration: Floats, source_angle: Floats, size: int, check: Check) -> Points:
    """Return the strictest limit at each of *size* points.

    The arrays are flat, in SI units, of that length or of length 1; *check* refuses points outside the tables.
    """
    points = Points(np.empty(size), np.empty(size), np.empty(size), np.empty(size, dtype=np.int16))
    if not size:
        return points
    if size <= _FEW:
        check(wavelength, duration, source_angle)
        _block(grid, _Few(), wavelength, duration, source_angle, points)
        return points
    buffers = _Buffers(min(size, _BLOCK) + 64)
    for start in range(0, size, _BLOCK):
        part = slice(start, min(start + _BLOCK, size))
        lam, time, angle = (a if a.size == 1 else a[part] for a in (wavelength, duration, source_angle))
        check(lam, time, angle)
        buffers.mark = 0
        _block(grid, buffers, lam, time, angle, points.part(part))
    return points


def _cell(lowered: Floats, values: Floats, buffers: _Buffers) -> NDArray[np.uint8] | Ints:
    if values.size <= _FEW:
        return lowered.searchsorted(values, side="right")
    count, above = buffers.bytes(values.size), buffers.bools(values.size)
    count[...] = 0
    for edge in lowered:
        np.greater_equal(values, edge, out=above)
        np.add(count, above.view(np.uint8), out=count)
    return count


def _block(
    grid: Grid, buffers: _Buffers, wavelength: Floats, duration: Floats, source_angle: Floats, out: Points
) -> None:
    size = out.piece.size
    inputs = _Inputs(*(buffers.floats(size) for _ in range(4)))
    np.multiply(wavelength, 1e9, out=inputs.wavelength)
    np.copyto(inputs.duration, duration)
    np.log(inputs.duration, out=inputs.log_duration)
    np.multiply(source_angle, 1e3, out=inputs.source)
    times = 2 * grid.duration_edges.size + 1
    cell, time = buffers.indices(size), buffers.indices(size)
    np.copyto(cell, _cell(grid.wavelength_lowered, inputs.wavelength, buffers))
    np.copyto(time, _cell(grid.duration_lowered, inputs.duration, buffers))
    cell *= times
    cell += time
    cell *= 2
    for top, values, back in (
        (grid.wavelength_top, inputs.wavelength, times),
        (grid.duration_top, inputs.duration, 1),
    ):
        on_edge = _on_edge(top, values, cell, buffers)
        if on_edge.any():
            cell[on_edge] -= back
    _strictest(grid, buffers, cell, inputs, out)


def _on_edge(top: Floats, values: Floats, cell: Ints, buffers: _Buffers) -> NDArray[np.bool_]:
    start = buffers.mark
    highest = top.take(cell, out=buffers.floats(cell.size), mode="clip")
    buffers.mark = start
    return np.less_equal(values, highest, out=buffers.bools(cell.size))


def _put(out: Points, at: Ints, other: Points, where: NDArray[np.bool_]) -> None:
    chosen = np.flatnonzero(where)
    at = at.take(chosen)
    out.radiant_exposure[at] = other.radiant_exposure.take(chosen)
    out.irradiance[at] = other.irradiance.take(chosen)
    out.aperture[at] = other.aperture.take(chosen)
    out.piece[at] = other.piece.take(chosen)


def _flagged(flags: NDArray[np.uint8], bit: int, buffers: _Buffers) -> Ints:
    if flags.size <= _FEW:
        return (flags & bit).nonzero()[0]
    start = buffers.mark
    picked = np.bitwise_and(flags, bit, out=buffers.bytes(flags.size))
    mask = np.not_equal(picked, 0, out=buffers.bools(flags.size))
    buffers.mark = start
    return np.flatnonzero(mask)


def _strictest(grid: Grid, buffers: _Buffers, cell: Ints, inputs: _Inputs, out: Points) -> None:
    """Write the strictest limit of the pieces that share a cell."""
    size = cell.size
    cell = np.multiply(cell, 3, out=buffers.indices(size))
    first = grid.slots[0].take(cell, out=buffers.indices(size), mode="clip")
    flags = grid.flags.take(first, out=buffers.bytes(size), mode="clip")
    at = _flagged(flags, BY_SIZE, buffers)
    if at.size:
        cell[at] += _source_size(grid, inputs.source[at], inputs.log_duration[at])
        first[at] = grid.slots[0].take(cell[at])
        flags[at] = grid.flags.take(first[at])
    start = buffers.mark
    _pieces(grid, buffers, first, flags, inputs, out)
    buffers.mark = start
    if len(grid.slots) == 1:
        return
    at = _flagged(flags, HAS_MORE, buffers)
    for slot in grid.slots[1:]:
        second = slot.take(cell[at])
        if slot is not grid.slots[1]:
            at, second = at[second != 0], second[second != 0]
        if not at.size:
            return
        start = buffers.mark
        dose, irradiance, aperture = (buffers.floats(at.size) for _ in range(3))
        other = Points(dose, irradiance, aperture, np.empty(at.size, dtype=np.int16))
        _pieces(grid, buffers, second, grid.flags.take(second), inputs.picked(at, buffers), other)
        have = out.radiant_exposure.take(at)
        narrower = (dose == have) & (aperture < out.aperture.take(at))
        _put(out, at, other, (dose < have) | narrower)
        buffers.mark = start


def _source_size(grid: Grid, source: Floats, log_duration: Floats) -> Ints:
    """Return 0 for a small source, 1 for an extended one before T_2, 2 from T_2 on."""
    extended = source > grid.source_min * (1.0 + EDGE)
    beyond = extended & (log_duration >= log_t2(grid, source) - EDGE)
    return extended.astype(np.intp) + beyond


def log_t2(grid: Grid, source_mrad: Floats) -> Floats:
    """Return the natural logarithm of T_2 / s."""
    first, rise, low, high = grid.t2
    value: Floats = np.clip(first + rise * source_mrad, low, high)
    return value


def _pieces(grid: Grid, buffers: _Buffers, piece: Ints, flags: NDArray[np.uint8], inputs: _Inputs, out: Points) -> None:
    """Work one piece out at each point."""
    size = piece.size
    table = buffers.floats(size)
    value = grid.power.take(piece, out=out.radiant_exposure, mode="clip")
    value *= inputs.log_duration
    np.exp(value, out=value)
    value *= grid.coefficient.take(piece, out=table, mode="clip")
    start = buffers.mark
    present = int(np.bitwise_or.reduce(flags))
    for bit, factor in ((HAS_SPECTRAL, _spectral), (HAS_SOURCE, _source_factor), (HAS_T2, _t2_factor)):
        if present & bit:
            at = _flagged(flags, bit, buffers)
            part = buffers.picked(value, at)
            part *= factor(grid, buffers, piece.take(at, out=buffers.indices(at.size), mode="clip"), at, inputs)
            value[at] = part
            buffers.mark = start
    np.divide(value, inputs.duration, out=out.irradiance)
    if present & IS_IRRADIANCE:
        at = _flagged(flags, IS_IRRADIANCE, buffers)
        part = buffers.picked(value, at)
        out.irradiance[at] = part
        part *= buffers.picked(inputs.duration, at)
        value[at] = part
        buffers.mark = start
    grid.aperture.take(piece, out=out.aperture, mode="clip")
    if present & HAS_GROWING_APERTURE:
        at = _flagged(flags, HAS_GROWING_APERTURE, buffers)
        out.aperture[at] *= np.exp(grid.aperture_power.take(piece[at]) * inputs.log_duration[at])
    out.piece[...] = piece


def _spectral(grid: Grid, buffers: _Buffers, piece: Ints, at: Ints, inputs: _Inputs) -> Floats:
    value = buffers.picked(inputs.wavelength, at)
    value -= buffers.picked(grid.origin, piece)
    value *= buffers.picked(grid.slope, piece)
    np.exp(value, out=value)
    value += buffers.picked(grid.extra, piece)
    return value


def _source_factor(grid: Grid, buffers: _Buffers, piece: Ints, at: Ints, inputs: _Inputs) -> Floats:
    """Return C_E: alpha/alpha_min, above alpha_max alpha**2/(alpha_min alpha_max); it goes with the whole source."""
    highest = buffers.picked(grid.source_power, piece)
    if highest.any():
        highest *= buffers.picked(inputs.log_duration, at)
        np.exp(highest, out=highest)
        highest *= buffers.picked(grid.source_max, piece)
    else:
        highest = buffers.picked(grid.source_max, piece)
    source = buffers.picked(inputs.source, at)
    above = np.divide(source, highest, out=highest)
    np.maximum(above, 1.0, out=above)
    np.maximum(source, grid.source_min, out=source)
    source /= grid.source_min
    source *= above
    return source


def _t2_factor(grid: Grid, buffers: _Buffers, piece: Ints, at: Ints, inputs: _Inputs) -> Floats:
    value: Floats = np.exp(grid.power_T_2.take(piece) * log_t2(grid, inputs.source[at]))
    return value
