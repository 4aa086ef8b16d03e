"""Limits for each pulse of a regular train, of bursts that repeat, and of a list: events in time against the limits."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import refuse
from lasersafe.limits import exposure
from lasersafe.limits.exposure import COUNT_SLACK, check_area, check_points, hazard_limits, time_t2
from lasersafe.limits.grid import DURATIONS, grid_of, hazards_of
from lasersafe.limits.patterns import Bools, Level, Line, Pattern, Points
from lasersafe.limits.tables import EDGE, Floats, Objects, PulseTrainLimit, TrainRow, load_rule_set

Key = tuple[int, int, int, int]  # kind of window, hazard, range of time of the aperture, number among these
_RULES = ("single pulse", "mean", "train")
_TRIED = 24  # times tried where an aperture grows
_CHUNK = 4096  # points
_STEP = 0.01  # relative, of what passes
_UNTRIED = 0.007  # the most that windows tried one after the other differ by, where there are others between
# Of a row: limit per pulse, aperture, pulses, C_P, T_i, pulses joined, time, limit; piece, row of area, place of C_P
_ABSENT = np.array([np.inf, *[np.nan] * 6, np.inf, 0.0, -1.0, -1.0])[:, None]


def deciding(share: Floats, aperture: Floats) -> list[tuple[NDArray[np.intp], Bools, Floats]]:
    """Return windows that together are no milder than all of them, for a beam of any width and shape.

    From the lowest limit on, the next window is the widest over a smaller aperture at whose limit a part in `_STEP`
    less may pass. Through the narrowed aperture of a window at least as little may pass as in those up to the next one,
    and the mean over a smaller aperture is never lower.

    Parameters
    ----------
    share, aperture : numpy.ndarray, shape (points, windows)
        Limit per pulse, ``inf`` where a window is no candidate [J/m2], and limiting aperture [m].

    Returns
    -------
    list of tuple of numpy.ndarray, each of shape (points,)
        Number of a window, whether there is one, and the part of its aperture over which it is taken [1].
    """
    here = np.isfinite(share)
    columns = np.flatnonzero(here.any(axis=0))
    if not columns.size:
        return []
    rows, places = np.arange(share.shape[0]), np.arange(columns.size)
    share, aperture = share[:, columns], np.where(here, aperture, 1.0)[:, columns]
    if (aperture == aperture[:, :1]).all():
        least = share.argmin(axis=1)
        return [(columns[least], np.isfinite(share[rows, least]), np.ones(rows.size))]
    order = np.lexsort((share, aperture))
    lowest = np.minimum.accumulate(np.take_along_axis(share, order, axis=1), axis=1)
    front = lowest < np.insert(lowest[:, :-1], 0, np.inf, axis=1)
    whole = np.where(front, lowest * np.take_along_axis(aperture, order, axis=1) ** 2, np.inf)
    at, found = np.where(front, places, -1).max(axis=1), []
    while (there := at >= 0).any():
        own = np.where(there, whole[rows, at], 1.0)
        after = np.where((whole * (1.0 + _STEP) < own[:, None]) & (places < at[:, None]), places, -1).max(axis=1)
        passes = np.where((places > after[:, None]) & (places <= at[:, None]), whole, np.inf).min(axis=1)
        other = np.where((after >= 0) & (whole[rows, after] > (1.0 - _UNTRIED) * passes), whole[rows, after], passes)
        found.append((columns[order[rows, at]], there, np.sqrt(other / own)))
        at = after
    return found


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
    if (points.angle > grid.source_min).any():
        moved.append(time_t2(points.rule_set, points.angle))
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
    times = np.array([row.joined_within for row in rules.train_times])
    over = np.array([np.nan if row.counted_over is None else row.counted_over for row in rules.train_times])
    for side, chosen in enumerate(exposure.train_sides(rules, points.wavelength * 1e9)):
        applies = (chosen >= 0) & ~emission.gapless
        if not applies.any():
            continue
        t_i, stated = times[chosen], over[chosen]
        counted = np.where(np.isnan(stated), time_t2(points.rule_set, points.angle), stated)
        counted, group_time = np.minimum(counted, points.duration), np.minimum(t_i, points.duration)
        within = pulse <= t_i[:, None] * (1 + EDGE)
        joined, together = emission.joined(within, group_time, points.pedestal)
        groups = emission.groups(within, group_time, counted)
        short = applies[:, None] & (pulse <= rules.longest_pulse * (1 + EDGE))
        several = (short & within).any(axis=1) & ((joined > 1.0) | (points.pedestal > 0.0))
        lasting = np.column_stack([pulse, group_time])
        of = (points.angle[:, None], points.duration[:, None], lasting, np.column_stack([within, several]))
        many = np.broadcast_to(groups[:, None], lasting.shape)
        factor, row = exposure.train_factor(rules, *of, many)
        edge = np.column_stack([within & (pulse >= t_i[:, None] * (1 - EDGE)), np.zeros((size, 1), dtype=bool)])
        if edge.any():  # a pulse of T_i is of both sides
            beyond, other = exposure.train_factor(rules, *of[:-1], ~edge, many)
            lower = edge & (beyond < factor)
            factor, row = np.where(lower, beyond, factor), np.where(lower, other, row)
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
    there = (points.wavelength[:, None], np.clip(time, *DURATIONS), points.angle[:, None])
    area = None if points.area is None else points.area[:, None]
    limits = hazard_limits(points.rule_set, points.tissue, *there, exposed_area=area)
    found: dict[Key, Floats] = {}
    hazards = hazards_of(points.rule_set, points.tissue)
    for limit in limits:
        share = limit.radiant_exposure / energy * factor
        share[np.isnan(share) | ((kinds > 1) & (limit.name not in rules.train_hazards))] = np.inf
        ranges = limit.grid.aperture_ranges[limit.piece]
        area_row = np.full(share.shape, -1) if limit.area_row is None else limit.area_row
        numbers = (share, limit.limiting_aperture, *columns[2:6], time, limit.radiant_exposure)
        told = (*numbers, limit.piece, area_row, place)
        for kind in range(int(kinds.max()) + 1):
            own = np.flatnonzero(kinds == kind)
            shares, holes, spans = share[:, own], limit.limiting_aperture[:, own], ranges[:, own]
            for aperture in np.flatnonzero(np.bincount(spans[np.isfinite(shares)])).tolist():
                chosen = deciding(np.where(spans == aperture, shares, np.inf), holes)
                for number, (at, here, part) in enumerate(chosen):
                    column = np.array([values[rows, own[at]] for values in told])
                    column[1] *= part
                    found[kind, hazards.index(limit.name), aperture, number] = np.where(here, column, _ABSENT)
    return found


def limit_of(points: Points, emission: Pattern | Line, shape: tuple[int, ...]) -> PulseTrainLimit:
    """Return the limit per pulse in *shape*, and every rule that was worked out."""
    size = points.angle.size
    parts = [slice(start, min(start + _CHUNK, size)) for start in range(0, size, _CHUNK)]
    found = [_rows(points.part(part), emission.part(part)) for part in parts]
    least, aperture, decided = np.full(size, np.inf), np.full(size, np.nan), np.full(size, -1)
    hazards, rows = hazards_of(points.rule_set, points.tissue), []
    for number, key in enumerate(sorted({key for one in found for key in one})):
        absent = (np.broadcast_to(_ABSENT, (_ABSENT.size, part.stop - part.start)) for part in parts)
        told = np.concatenate([one.get(key, none) for one, none in zip(found, absent, strict=True)], axis=1)
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


MOST = 500  # pulses in a list


def pulse_train_limit(
    rule_set: str, tissue: str, wavelength: ArrayLike, pulse_duration: ArrayLike, repetition_rate: ArrayLike,
    duration: ArrayLike, source_angle: ArrayLike = 1.5e-3, *, exposed_area: ArrayLike | None = None,
    bursts: Sequence[tuple[ArrayLike, ArrayLike]] = (), pedestal: ArrayLike = 0.0,
) -> PulseTrainLimit:  # fmt: skip
    """Return the limit for each pulse of a train of equal pulses, or of bursts of them that repeat [1]_ [2]_.

    Three rules are worked out for each hazard and the lowest limit decides: no pulse above the limit of a single pulse;
    the mean over no window up to the exposure above the limit of that window; and, for thermal hazards, no pulse above
    C_P times the limit of a single pulse, where pulses inside T_i count as one. The number of pulses in a time is the
    largest that can start in it, rounded up (`count_pulses`). Of bursts the mean is taken over every window from the
    start of a pulse to the end of a pulse, and over the whole exposure; a train factor counts the groups inside T_i,
    afresh in each burst.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    pulse_duration : array_like, shape (...)
        Duration of one pulse, 1e-13 to 3e4. [s]
    repetition_rate : array_like, shape (...)
        Pulses in a second, or bursts (of the outermost kind). [Hz]
    duration : array_like, shape (...)
        Exposure duration, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed. [m2]
    bursts : sequence of (count, spacing)
        Number of pulses in a burst and time between their starts [s]; then bursts in a group of bursts and their
        spacing, and so on. Empty for a plain train. Each number and spacing has the shape (...).
    pedestal : array_like, shape (...), optional
        Power that is there all the time, divided by the energy of one pulse. [1/s]

    Returns
    -------
    PulseTrainLimit
        Arrays that have the broadcast shape of the inputs; ``per_pulse`` is the limit for a pulse without its share of
        the pedestal.

    Raises
    ------
    InputError
        If the rule set or tissue is not known, a pulse is longer than its period, bursts overlap, a number of pulses is
        not whole, or the exposure is shorter than a pulse.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_train_*.toml``).
    .. [2] EU2006-25, Annex II, Table 2.6 (``shared/limits/eu200625_train_*.toml``).

    Examples
    --------
    >>> limit = pulse_train_limit("EU-2006/25/EC", "eye", 1064e-9, 10e-9, 20.0, 10.0)
    >>> round(float(limit.per_pulse), 4), str(limit.deciding_rule)
    (0.0133, 'train')
    >>> limit = pulse_train_limit("ICNIRP-2013", "eye", 1064e-9, 10e-9, 1e3, 10.0, bursts=[(10, 1e-6)])
    >>> round(float(limit.per_pulse), 5), str(limit.deciding_rule)
    (0.001, 'train')
    """
    area = np.asarray(0.0) if exposed_area is None else check_area(rule_set, exposed_area)
    parts = (part for level in bursts for part in level)
    values = (wavelength, pulse_duration, repetition_rate, duration, source_angle, pedestal, area, *parts)
    given = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values))
    lam, pulse, rate, time, angle, base, extent, *flat = (a.reshape(-1) for a in given)
    _above("repetition rate", rate, " Hz")
    levels = [Level(count, spacing, 1.0 / spacing) for count, spacing in zip(flat[::2], flat[1::2], strict=True)]
    levels.append(Level(np.full(rate.shape, np.inf), 1.0 / rate, rate))
    hazards_of(rule_set, tissue)
    check_points(rule_set, lam, pulse, angle, "pulse duration")
    check_points(rule_set, lam, time, angle)
    _check_pattern(pulse, levels, time, base)
    points = Points(rule_set, tissue, lam, angle, None if exposed_area is None else extent, time, base)
    return limit_of(points, Pattern(pulse, levels), given[0].shape)


def pulse_list_limit(
    rule_set: str, tissue: str, wavelength: float, start: ArrayLike, pulse_duration: ArrayLike, energy: ArrayLike,
    duration: float, source_angle: ArrayLike = 1.5e-3, *, exposed_area: float | None = None,
    period: float | None = None, pedestal: float = 0.0,
) -> PulseTrainLimit:  # fmt: skip
    """Return the limit for the largest of a list of pulses, when the others keep their proportion to it [1]_ [2]_.

    The rules are those of `pulse_train_limit`: every pulse with its own duration; every window from the start of a
    pulse to the end of a pulse, and the whole exposure wherever it begins; C_P for every pulse and for the pulses that
    start inside one T_i.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : float
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    start : array_like, shape (n,)
        When each pulse starts, rising. [s]
    pulse_duration : array_like, shape (n,)
        Duration of each pulse. [s]
    energy : array_like, shape (n,)
        Energy of each pulse, on any scale. [J]
    duration : float
        Exposure duration. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye. [rad]
    exposed_area : float, optional
        Area of skin that is exposed. [m2]
    period : float, optional
        Time after which the list begins again, for ever; without it the list comes once. [s]
    pedestal : float, optional
        Power that is there all the time, on the scale of the energies. [W]

    Returns
    -------
    PulseTrainLimit
        Arrays of the shape of *source_angle*.

    Raises
    ------
    InputError
        If pulses overlap, are not in the order of time or longer than the exposure, or there are too many.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_train_*.toml``).
    .. [2] EU2006-25, Annex II, Table 2.6 (``shared/limits/eu200625_train_*.toml``).

    Examples
    --------
    >>> limit = pulse_list_limit("ICNIRP-2013", "eye", 1064e-9, [0, 1e-6], 10e-9, [1, 3], 10.0)
    >>> round(float(limit.per_pulse), 4), str(limit.deciding_rule)
    (0.015, 'train')
    """
    hazards_of(rule_set, tissue)
    angle = np.asarray(source_angle, dtype=np.float64)
    line = _checked((start, pulse_duration, energy), float(duration), period, float(pedestal))
    alpha, one = angle.reshape(-1), np.ones(angle.size)
    lam, time = float(wavelength) * one, float(duration) * one
    check_points(rule_set, lam, line.pulse, alpha, "pulse duration")
    check_points(rule_set, lam, time, alpha)
    area = None if exposed_area is None else check_area(rule_set, exposed_area) * one
    base = float(pedestal) / float(np.max(np.asarray(energy, dtype=np.float64))) * one
    return limit_of(Points(rule_set, tissue, lam, alpha, area, time, base), line, angle.shape)


def _refuse(good: Bools, text: str, *values: Floats) -> None:
    """Refuse the first point that is not good; the text has a place for its value in each array."""
    if not good.all():
        refuse(text.format(*(float(value[~good][0]) for value in values)))


def _above(name: str, values: Floats, unit: str = " s") -> None:
    _refuse((values > 0.0) & np.isfinite(values), name + " = {:g}" + unit + ": needs a finite number above 0", values)


def _check_pattern(pulse: Floats, levels: Sequence[Level], duration: Floats, pedestal: Floats) -> None:
    _above("pulse duration", pulse)
    _above("duration", duration)
    for number, level in enumerate(levels, start=1):
        _above(f"spacing {number} of the pulses", level.spacing)
    good = (pedestal >= 0.0) & np.isfinite(pedestal)
    _refuse(good, "pedestal = {:g}: needs a finite number, 0 or more", pedestal)
    than, more = "{:g} s from one pulse to the next", ""
    if len(levels) == 1:
        than, more = "period {:g} s of {:g} Hz", ", or treat the emission as continuous"
    text = f"pulse duration = {{:g}} s is longer than the {than}; give a shorter pulse or a lower rate{more}"
    _refuse(pulse <= levels[0].spacing * (1.0 + COUNT_SLACK), text, pulse, levels[0].spacing, levels[-1].rate)
    for (count, spacing, _), (_, outer, _) in pairwise(levels):
        good = (count >= 1.0) & (count == np.floor(count)) & np.isfinite(count)
        _refuse(good, "pulses in a burst = {:g}: needs a whole number, 1 or more", count)
        text = (
            "{:g} pulses with {:g} s between their starts do not fit into the {:g} s from one burst to the next; "
            "give fewer pulses, a shorter spacing or a lower rate"
        )
        _refuse(count * spacing <= outer * (1.0 + COUNT_SLACK), text, count, spacing, outer)
    _check_received(pulse, duration)


def _check_received(pulse: Floats, duration: Floats) -> None:
    text = (
        "duration = {:g} s is shorter than the pulse duration {:g} s; give the time over which the pulses are received"
    )
    _refuse(pulse <= duration * (1 + EDGE), text, duration, pulse)


def _checked(columns: Sequence[ArrayLike], duration: float, period: float | None, pedestal: float) -> Line:
    given = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in columns)
    begin, pulse, amount = (np.array(a) for a in np.broadcast_arrays(*given))
    if begin.ndim != 1 or not 1 <= begin.size <= MOST:
        refuse(f"pulses: {begin.size} are given; 1 to {MOST} can be worked out one by one, use bursts for more")
    _refuse(np.isfinite(begin), "start = {:g} s: needs a finite number", begin)
    _above("pulse duration", pulse)
    _above("energy", amount, " J")
    _above("duration", np.array([duration]))
    _above("period", np.array([1.0 if period is None else period]))
    base = np.array([pedestal])
    _refuse((base >= 0.0) & np.isfinite(base), "pedestal = {:g} W: needs a finite number", base)
    ends = begin + pulse
    following = np.append(begin[1:], np.inf if period is None else begin[0] + period)
    text = (
        "pulse {:g} ends at {:g} s, after the start of the next one at {:g} s; give the pulses in the order of time, "
        "without overlap, inside the period"
    )
    _refuse(ends <= following + COUNT_SLACK * np.abs(ends), text, np.arange(1.0, begin.size + 1.0), ends, following)
    _check_received(pulse, np.full(pulse.size, duration))
    return Line(begin - begin[0], pulse, amount / amount.max(), period)
