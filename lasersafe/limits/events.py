"""Light as events in time against the limits: every pulse, every window of the mean, and the train factor.

An emission gives its pulses, the windows in which its energy can be the most for its length, and how many of its pulses
lie in a time; the limits are worked out here, for all kinds of emission alike. Energies are in units of the largest
pulse.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.limits.exposure import hazard_limits
from lasersafe.limits.factors import train_factor, train_sides
from lasersafe.limits.grid import DURATIONS, grid_of, hazards_of
from lasersafe.limits.patterns import Line, Pattern, Points
from lasersafe.limits.records import EDGE, Floats, Objects, PulseTrainLimit, TrainRow
from lasersafe.limits.tables import load_rule_set

Key = tuple[int, int, int, int]  # kind of window, hazard, range of time of the aperture, number among these
_RULES = ("single pulse", "mean", "train")
_TRIED = 24  # times tried where an aperture grows
_CHUNK = 4096  # points
_FEW_POINTS = 4
_FRONT = 6  # windows of a point that are all kept
_SOME_WIDTHS, _NEARLY = 16, 1e-3
_WIDTHS = 64  # widths of beams for which the worst windows are kept
# Of a row: limit per pulse, aperture, pulses, C_P, T_i, pulses joined, time, limit; piece, row of area, place of C_P
_ABSENT = np.array([np.inf, *[np.nan] * 6, np.inf, 0.0, -1.0, -1.0])[:, None]


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
    rows = np.arange(share.shape[0])
    share, wide = share[:, columns], np.where(here, aperture, 1.0)[:, columns]
    if (wide == wide[:, :1]).all():
        least = share.argmin(axis=1)
        return [(columns[least], np.isfinite(share[rows, least]))]
    if share.shape[0] <= _FEW_POINTS:
        kept = [_worst_for_some_beam(limits, holes) for limits, holes in zip(share, wide, strict=True)]
        most = max(len(one) for one in kept)
        picked = list(np.stack([np.pad(one, (0, most - len(one)), "edge") for one in kept], axis=1))
    else:
        picked = [share.argmin(axis=1)]
        picked += [(share / _passing(wide, d)).argmin(axis=1) for d in _beams(wide, _SOME_WIDTHS)]
    each = np.sort(np.stack(picked, axis=1), axis=1)
    new = np.concatenate([np.ones((each.shape[0], 1), dtype=bool), each[:, 1:] != each[:, :-1]], axis=1)
    place = np.cumsum(new, axis=1) - 1
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


def _edges(points: Points, shortest: float) -> Floats:
    """Return the times from one other on at which a row of any hazard ends, shape (points, edges) [s].

    T_2, and the time at which alpha_max passes the source angle, end a row like a printed edge. Where an aperture grows
    with time some more are tried: a window over a smaller aperture can be the worse one for a narrow beam, though
    others have more energy.
    """
    grid, longest = grid_of(points.rule_set, points.tissue), float(points.duration.max())
    low, high = points.wavelength.min() * 1e9 * (1 - 2 * EDGE), points.wavelength.max() * 1e9 * (1 + 2 * EDGE)
    ends: set[float] = set()
    for piece in grid.pieces:
        if piece is not None and piece.row.wavelength[0] <= high and piece.row.wavelength[1] >= low:
            ends |= {*piece.row.duration, *piece.aperture.duration}
            met = piece.aperture.wavelength[0] <= high and piece.aperture.wavelength[1] >= low
            if piece.aperture.power and met:
                ends |= set(np.geomspace(*piece.aperture.duration, _TRIED + 2)[1:-1].tolist())
    moved = []
    if (points.angle * 1e3 > grid.source_min).any():
        moved.append(np.exp2(grid.log_t2(points.angle * 1e3)))
        for part in grid.rule_set.time_factors["alpha_max"].rows:
            ends |= set(part.duration)
            if part.power:
                moved.append(np.clip((points.angle * 1e3 / part.constant) ** (1.0 / part.power), *part.duration))
    kept = [np.full(points.angle.size, edge) for edge in sorted(ends) if shortest <= edge <= longest]
    return np.stack([*kept, *moved] or [points.duration], axis=1)


def _windows(points: Points, emission: Pattern | Line) -> tuple[NDArray[np.intp], Floats]:
    """Return which kind each window is, and seven columns of each, shape (columns, points, windows).

    These are energy, time, pulses (or N), C_P (infinite: of no use), T_i, pulses joined, and the place of C_P and T_i.
    Kind 0 is a single pulse, 1 the mean; then pulses and groups against the train factor, by either row of T_i.
    """
    size, ones = points.angle.size, np.ones((1, 1))
    pulse, energy = (np.broadcast_to(a, (size, a.shape[1])) for a in emission.pulses)
    energy = energy + points.pedestal[:, None] * pulse
    time, filled, number = emission.windows(points, _edges(points, float(pulse.min())))
    plain = (ones, np.nan * ones, ones, -ones)
    found: list[tuple[Floats, tuple[NDArray[Any], ...]]] = [
        (np.zeros(pulse.shape[1]), (energy, pulse, ones, *plain)),
        (np.ones(time.shape[1]), (filled, time, number, *plain)),
    ]
    rules = load_rule_set(points.rule_set)
    t2 = np.exp2(grid_of(points.rule_set, points.tissue).log_t2(points.angle * 1e3))
    times = np.array([row.joined_within for row in rules.train_times])
    over = np.array([np.nan if row.counted_over is None else row.counted_over for row in rules.train_times])
    for side, chosen in enumerate(train_sides(rules, points.wavelength * 1e9)):
        applies = (chosen >= 0) & ~emission.gapless
        if not applies.any():
            continue
        t_i = times[chosen]
        counted = np.minimum(points.duration, np.where(np.isnan(over[chosen]), t2, over[chosen]))
        group_time = np.minimum(t_i, points.duration)
        within = pulse <= t_i[:, None] * (1 + EDGE)
        joined, together = emission.joined(within, group_time, points.pedestal)
        groups = emission.groups(within, group_time, counted)
        short = applies[:, None] & (pulse <= rules.longest_pulse * (1 + EDGE))
        several = (short & within).any(axis=1) & ((joined > 1.0) | (points.pedestal > 0.0))
        lasting = np.column_stack([pulse, group_time])
        factor, row = train_factor(
            rules,
            points.angle[:, None],
            points.duration[:, None],
            lasting,
            np.column_stack([within, several]),
            np.broadcast_to(groups[:, None], lasting.shape),
        )
        use = np.column_stack([short, several]) & (row >= 0)
        together = np.broadcast_to(together, size)
        amount = np.column_stack([energy, together])
        place = row * times.size + chosen[:, None]
        count = np.ones(lasting.shape)
        count[:, -1] = joined  # a window of one pulse joins no other
        columns = (groups[:, None], np.where(use, factor, np.inf), t_i[:, None], count, place)
        kind = np.full(lasting.shape[1], 2.0 * side + 2.0)
        kind[-1] += 1.0
        found.append((kind, (amount, lasting, *columns)))
    stacked = [np.stack([np.broadcast_to(a, (size, kind.size)) for a in columns]) for kind, columns in found]
    return np.concatenate([kind for kind, _ in found]).astype(np.intp), np.concatenate(stacked, axis=2)


def _rows(points: Points, emission: Pattern | Line) -> dict[Key, Floats]:
    """Return the lowest limit of each kind of window, hazard and limiting aperture, as in `_ABSENT`, by point."""
    kinds, columns = _windows(points, emission)
    energy, time, _, factor, _, _, place = columns
    rules, rows = load_rule_set(points.rule_set), np.arange(points.angle.size)
    limits = hazard_limits(
        points.rule_set,
        points.tissue,
        points.wavelength[:, None],
        np.clip(time, *DURATIONS),
        points.angle[:, None],
        exposed_area=None if points.area is None else points.area[:, None],
    )
    found: dict[Key, Floats] = {}
    hazards = hazards_of(points.rule_set, points.tissue)
    for limit in limits:
        share = limit.radiant_exposure / energy * factor
        share[np.isnan(share) | ((kinds > 1) & (limit.name not in rules.train_hazards))] = np.inf
        ranges = limit.grid.aperture_ranges[limit.piece]
        group = kinds * (ranges.max() + 1) + ranges
        area_row = np.full(share.shape, -1) if limit.area_row is None else limit.area_row
        told = (
            share,
            limit.limiting_aperture,
            *columns[2:6],
            time,
            limit.radiant_exposure,
            limit.piece,
            area_row,
            place,
        )
        for one in sorted(set(group[np.isfinite(share)].tolist())):
            kind, aperture = divmod(one, int(ranges.max()) + 1)
            chosen = deciding(np.where(group == one, share, np.inf), limit.limiting_aperture)
            for number, (at, here) in enumerate(chosen):
                column = np.array([values[rows, at] for values in told])
                found[kind, hazards.index(limit.name), aperture, number] = np.where(here, column, _ABSENT)
    return found


def limit_of(points: Points, emission: Pattern | Line, shape: tuple[int, ...]) -> PulseTrainLimit:
    """Return the limit per pulse in *shape*, and every rule that was worked out."""
    size = points.angle.size
    parts = [slice(start, min(start + _CHUNK, size)) for start in range(0, size, _CHUNK)]
    found = [(part, _rows(points.part(part), emission.part(part))) for part in parts]
    least, aperture, decided = np.full(size, np.inf), np.full(size, np.nan), np.full(size, -1)
    hazards, rows = hazards_of(points.rule_set, points.tissue), []
    for number, key in enumerate(sorted({key for _, some in found for key in some})):
        told = np.concatenate(
            [some.get(key, np.broadcast_to(_ABSENT, (_ABSENT.size, part.stop - part.start))) for part, some in found],
            axis=1,
        )
        share, wide = told[:2]
        better = (share < least) | ((share == least) & (wide < aperture))
        least, aperture = np.where(better, share, least), np.where(better, wide, aperture)
        decided[better] = number
        told, hazard = told.reshape(-1, *shape), hazards[key[1]]
        words = partial(_words, points.rule_set, points.tissue, hazard, told)
        rows.append(TrainRow(_RULES[min(key[0], 2)], hazard, words, *told[:8]))
    lowest, hole, which = (values.reshape(shape) for values in (least, aperture, decided))
    return PulseTrainLimit(points.rule_set, points.tissue, lowest, hole, which, tuple(rows))


def _words(rule_set: str, tissue: str, hazard: str, told: Floats, kind: str) -> Objects:
    """Return the sources of a row, or how they were obtained."""
    piece, area_row, place = told[8:].astype(np.intp)
    found, rules = grid_of(rule_set, tissue, hazard).words(kind, piece, area_row), load_rule_set(rule_set)
    if kind == "source":
        every = [f"; {row.source}; {part.source}" for part in rules.train_factors for row in rules.train_times]
        found = found + np.array([*every, ""], dtype=object)[place]
    return np.where(np.isfinite(told[0]), found, "")
