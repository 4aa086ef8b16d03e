"""Compare windows of a pulse pattern with the limits: what bursts, lists and pedestals have in common.

A window is a stretch of time with the energy that falls into it, counted in *reference pulses*. Its limit divided by
that energy is the limit for the reference pulse when everything else in the pattern keeps its proportion to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.limits.evaluate import log_t2
from lasersafe.limits.exposure import HazardLimit, hazard_limits
from lasersafe.limits.grid import EDGE, Floats, Grid, grid_of
from lasersafe.limits.pulse_results import PulseTrainLimit, TrainRow
from lasersafe.limits.tables import load_rule_set

Objects = NDArray[np.object_]
LONGEST = 3e4  # [s] the tables end here
_TRIED = 24  # times tried where an aperture grows
_FEW_POINTS = 4
_FRONT = 6  # windows of a point that are all kept
_SOME_WIDTHS, _NEARLY = 16, 1e-3
_WIDTHS = 64  # widths of beams for which the worst windows are kept
SHORTEST = 1e-13  # [s]


class Points(NamedTuple):
    """Flat arrays of one length: where the limits are taken."""

    rule_set: str
    tissue: str
    wavelength: Floats
    angle: Floats
    area: Floats | None


class Windows(NamedTuple):
    """The windows of one rule; every array has the shape (points, windows)."""

    rule: str  # single pulse | mean | train
    energy: Floats  # reference pulses
    time: Floats  # [s]
    pulses: Floats  # in the window, or N of the train factor
    factor: Floats | None = None
    joined_within: Floats | None = None  # [s]
    joined: Floats | None = None
    use: NDArray[np.bool_] | None = None
    locators: Objects | None = None


def growing_times(grid: Grid, lowest: float, highest: float) -> Floats:
    """Return times at which windows are tried where an aperture grows with time, at some wavelengths [nm]; in s.

    A window over a smaller aperture can be the worse one for a narrow beam, though others have more energy.
    """
    low, high = lowest * (1 - 2 * EDGE), highest * (1 + 2 * EDGE)
    ends = {
        piece.aperture.duration
        for piece in grid.pieces
        if piece is not None and piece.aperture.power
        and max(piece.row.wavelength[0], piece.aperture.wavelength[0]) <= high
        and min(piece.row.wavelength[1], piece.aperture.wavelength[1]) >= low
    }  # fmt: skip
    return np.concatenate([np.geomspace(*end, _TRIED + 2)[1:-1] for end in sorted(ends)]) if ends else np.array([])


def deciding(share: Floats, aperture: Floats) -> list[tuple[NDArray[np.intp], NDArray[np.bool_]]]:
    """Return the windows that can be the worst for a beam of some width: limit per pulse and aperture of each.

    Parameters
    ----------
    share, aperture : numpy.ndarray, shape (points, windows)
        Limit per pulse, ``inf`` where a window is no candidate [J/m2], and limiting aperture [m].

    Returns
    -------
    list of tuple of numpy.ndarray, each of shape (points,)
        Number of a window, and whether there is one.
    """
    here = np.isfinite(share)
    columns = np.flatnonzero(here.any(axis=0))
    if not columns.size:
        return []
    share, wide = share[:, columns], np.where(here, aperture, 1.0)[:, columns]
    if (wide == wide[:, :1]).all():
        picked = [share.argmin(axis=1)]
    elif share.shape[0] <= _FEW_POINTS:
        kept = [_worst_for_some_beam(limits, holes) for limits, holes in zip(share, wide, strict=True)]
        most = max(len(one) for one in kept)
        picked = list(np.stack([np.pad(one, (0, most - len(one)), "edge") for one in kept], axis=1))
    else:
        picked = [share.argmin(axis=1)]
        picked += [(share / _passing(wide, d)).argmin(axis=1) for d in _beams(wide, _SOME_WIDTHS)]
    each = np.sort(np.stack(picked, axis=1), axis=1)
    new = np.concatenate([np.ones((each.shape[0], 1), dtype=bool), each[:, 1:] != each[:, :-1]], axis=1)
    place = np.cumsum(new, axis=1) - 1
    rows = np.arange(each.shape[0])
    found = []
    for number in range(int(place.max()) + 1):
        at = each[rows, (place == number).argmax(axis=1)]
        there = (place == number).any(axis=1) & np.isfinite(share[rows, at])
        if there.any():
            found.append((columns[at], there))
    return found


def _beams(aperture: Floats, number: int) -> Floats:
    """Return diameters of beams beside those of apertures. [m]."""
    return np.geomspace(aperture.min() / 4.0, 4.0 * aperture.max(), number)


def _passing(aperture: Floats, diameter: float) -> Floats:
    """Return the mean of a round Gaussian beam over apertures, up to a factor."""
    return np.asarray(-np.expm1(-((aperture / diameter) ** 2)) / aperture**2)


def _worst_for_some_beam(share: Floats, aperture: Floats) -> list[int]:
    """Return the windows of a point that matter: all that no other beats in limit and aperture, when these are few.

    Of many, as from a fast train, those that for round Gaussian beams and even discs of any width give the worst ratio,
    within a part in a thousand.
    """
    order = np.lexsort((share, aperture))
    least = np.minimum.accumulate(share[order])
    front = order[np.concatenate([[True], least[1:] < least[:-1]])]
    if front.size <= _FRONT:
        return front.tolist()  # type: ignore[no-any-return]
    hole, limit = aperture[front], share[front]
    beams = _beams(hole, _WIDTHS)
    ratios = np.array([_passing(hole, d) / limit for d in beams] + [np.maximum(hole, d) ** -2 / limit for d in beams])
    near = ratios >= ratios.max(axis=1, keepdims=True) * (1.0 - _NEARLY)
    kept: list[int] = [int(np.argmin(limit))]
    left = ~near[:, kept[0]]
    while left.any():
        kept.append(int(near[left].sum(axis=0).argmax()))
        left &= ~near[:, kept[-1]]
    return [int(front[one]) for one in kept]


def time_edges(points: Points, shortest: float, longest: float) -> Floats:
    """Return the times between two others at which a row of any hazard ends, shape (points, edges) [s].

    T_2, and the time at which alpha_max passes the source angle, end a row like a printed edge.
    """
    grid: Grid = grid_of(points.rule_set, points.tissue)
    size = points.angle.size
    low, high = points.wavelength.min() * 1e9 * (1 - 2 * EDGE), points.wavelength.max() * 1e9 * (1 + 2 * EDGE)
    ends: set[float] = set()
    for piece in grid.pieces:
        if piece is not None and piece.row.wavelength[0] <= high and piece.row.wavelength[1] >= low:
            ends |= {*piece.row.duration, *piece.aperture.duration}
    alpha_max = grid.rule_set.time_factors["alpha_max"].rows
    extended = bool((points.angle * 1e3 > grid.source_min).any())
    if extended:
        ends |= {end for part in alpha_max for end in part.duration}
    ends |= set(
        growing_times(grid, float(points.wavelength.min()) * 1e9, float(points.wavelength.max()) * 1e9).tolist()
    )
    edges = [np.full(size, edge) for edge in sorted(ends) if shortest <= edge <= longest]
    if extended:
        edges.append(np.exp(log_t2(grid, points.angle * 1e3)))
        for part in alpha_max:
            if part.power:
                edges.append(np.clip((points.angle * 1e3 / part.value) ** (1.0 / part.power), *part.duration))
    if not edges:
        edges.append(np.full(size, longest))
    return np.stack(edges, axis=1)


def rows_of(points: Points, windows: Sequence[Windows]) -> list[TrainRow]:
    """Return the lowest limit of each rule, hazard and limiting aperture over all windows, each of shape (points,)."""
    found: list[TrainRow] = []
    rules = load_rule_set(points.rule_set)
    for one in windows:
        area = None if points.area is None else points.area[:, None]
        time = np.clip(one.time, SHORTEST, LONGEST)
        limits = hazard_limits(
            points.rule_set, points.tissue, points.wavelength[:, None], time, points.angle[:, None], exposed_area=area
        )
        for limit in limits:
            if one.rule != "train" or limit.name in rules.train_hazards:
                found += _lowest(limit, one)
    order = {"single pulse": 0, "mean": 1, "train": 2}
    return sorted(found, key=lambda row: order[row.rule])


def _lowest(limit: HazardLimit, one: Windows) -> list[TrainRow]:
    share = limit.radiant_exposure / one.energy
    if one.factor is not None:
        share = share * one.factor
    if one.use is not None:
        share = np.where(one.use, share, np.inf)
    share = np.where(np.isnan(share), np.inf, share)
    ranges = ["" if piece is None else f"{piece.aperture.duration}" for piece in limit.grid.pieces]
    kinds = sorted(set(ranges) - {""})
    of_piece = np.array([kinds.index(text) if text else -1 for text in ranges])[limit.piece]
    rows = np.arange(share.shape[0])
    source, seen = limit.source, limit.seen
    found = []
    chosen = (
        pick
        for number in range(len(kinds))
        for pick in deciding(np.where(of_piece == number, share, np.inf), limit.limiting_aperture)
    )
    for at, here in chosen:
        least = np.where(here, share[rows, at], np.inf)

        def pick(
            values: Floats | None, other: float, here: NDArray[np.bool_] = here, at: NDArray[np.intp] = at
        ) -> Floats:
            if values is None:
                return np.full(rows.size, other)
            return np.where(here, np.broadcast_to(values, share.shape)[rows, at], np.nan)

        text = source[rows, at].astype(object)
        if one.locators is not None:
            text = text + np.broadcast_to(one.locators, share.shape)[rows, at]
        found.append(TrainRow(
            rule=one.rule,
            hazard=limit.name,
            per_pulse=least,
            limiting_aperture=pick(limit.limiting_aperture, np.nan),
            pulses=pick(one.pulses, 1.0),
            pulse_factor=pick(one.factor, 1.0),
            joined_within=pick(one.joined_within, np.nan),
            pulses_joined=pick(one.joined, 1.0),
            averaging_time=pick(one.time, np.nan),
            limit=np.where(here, limit.radiant_exposure[rows, at], np.inf),
            source=np.where(here, text, ""),
            seen=np.where(here, seen[rows, at].astype(object), ""),
        ))  # fmt: skip
    return found


def strictest(points: Points, rows: Sequence[TrainRow], shape: tuple[int, ...]) -> PulseTrainLimit:
    """Return rows of shape (points,) as a limit of *shape*, with the row that decides at each point."""
    size = points.angle.size
    least, aperture = np.full(size, np.inf), np.full(size, np.nan)
    names = [np.full(size, "", dtype=object) for _ in range(3)]
    for row in rows:
        better = (row.per_pulse < least) | ((row.per_pulse == least) & (row.limiting_aperture < aperture))
        least, aperture = np.where(better, row.per_pulse, least), np.where(better, row.limiting_aperture, aperture)
        for kept, new in zip(names, (row.rule, row.hazard, row.source), strict=True):
            np.copyto(kept, np.asarray(new, dtype=object), where=better)
    shaped = tuple(
        TrainRow(row.rule, row.hazard, *(
            getattr(row, name).reshape(shape) for name in (
                "per_pulse", "limiting_aperture", "pulses", "pulse_factor", "joined_within", "pulses_joined",
                "averaging_time", "limit", "source", "seen",
            )
        )) for row in rows
    )  # fmt: skip
    one, two, three = (kept.reshape(shape) for kept in names)
    return PulseTrainLimit(
        points.rule_set, points.tissue, least.reshape(shape), one, two, aperture.reshape(shape), three, shaped
    )
