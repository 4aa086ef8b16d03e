"""Limits for trains of equal pulses: single pulse, mean over every window, and the train factor."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import InputError
from lasersafe.limits.evaluate import log_t2
from lasersafe.limits.exposure import check_area, check_points, solve
from lasersafe.limits.grid import EDGE, Floats, Grid, grid_of, hazards_of
from lasersafe.limits.pulse_results import Columns, Objects, PulseTrainLimit, TrainRow, Trains
from lasersafe.limits.tables import load_rule_set
from lasersafe.limits.train_rule import COUNT_SLACK, count_pulses, train_factor, train_sides, undivided
from lasersafe.limits.windows import deciding, growing_times

_CHUNK = 4096

_Limits = tuple[Floats, Floats, NDArray[np.int16]]  # dose, limiting aperture, piece


def _limit(grid: Grid, train: Trains, time: Floats) -> _Limits:
    """Return dose, aperture and piece for times of shape (points,) or (points, windows)."""
    columns = (train.wavelength, train.angle) if train.area is None else (train.wavelength, train.angle, train.area)
    if train.wavelength.size == 1:
        spread = list(columns)
    else:
        spread = [np.broadcast_to(a.reshape(-1, *(1,) * (time.ndim - 1)), time.shape) for a in columns]
    points, _ = solve(grid, spread[0], time, spread[1], spread[2] if train.area is not None else None, time.shape)
    return points.radiant_exposure, points.aperture, points.piece


def _texts(grid: Grid, piece: NDArray[np.int16]) -> tuple[Objects, Objects]:
    return grid.texts["source"][piece], grid.texts["seen"][piece]


def _single(grid: Grid, train: Trains, of_pulse: _Limits) -> dict[str, Columns]:
    dose, aperture, piece = of_pulse
    one = np.ones_like(dose)
    return {"": Columns(dose, aperture, one, one, one * np.nan, one, train.pulse, dose, *_texts(grid, piece))}


def _windows(grid: Grid, train: Trains, total: Floats) -> tuple[Floats, Floats]:
    """Return the numbers of pulses whose window can set the mean limit, and the lengths of those windows.

    Inside one row ``limit(window of n) / n`` first rises and then falls with n, or does only one of the two, so its
    least value lies at the smallest or largest n of the row. T_2, and the time at which alpha_max passes the source
    angle, end a row like a printed edge.
    """
    moved = [np.exp(log_t2(grid, train.angle * 1e3))]
    for part in grid.rule_set.time_factors["alpha_max"].rows:
        if part.power:
            moved.append(np.clip((train.angle * 1e3 / part.value) ** (1.0 / part.power), *part.duration))
    printed = grid.duration_edges
    ends = np.empty((train.pulse.size, printed.size + len(moved)))
    ends[:, : printed.size] = printed
    for number, edge in enumerate(moved):
        ends[:, printed.size + number] = edge
    rate, pulse = train.rate[:, None], train.pulse[:, None]
    gaps = (ends - pulse) * rate
    last = np.floor(gaps) + 1.0  # one more on either side, since a window that ends on an edge may round across it
    whole = total[:, None]
    low, high = float(train.wavelength.min()) * 1e9, float(train.wavelength.max()) * 1e9
    between = np.floor((growing_times(grid, low, high) - pulse) * rate) + 1.0
    near = np.concatenate([last - 1.0, last, last + 1.0, between, whole], axis=1)
    number = np.clip(near, np.minimum(2.0, whole), whole)
    window = np.where(
        whole > 1.0, np.minimum((number - 1.0) / rate + pulse, train.duration[:, None]), train.duration[:, None]
    )
    return np.concatenate([number, whole], axis=1), np.concatenate([window, train.duration[:, None]], axis=1)


def _mean(grid: Grid, train: Trains) -> dict[str, Columns]:
    """Return the mean rule, one entry for each range of time that has its own limiting aperture."""
    number, window = _windows(grid, train, count_pulses(train.duration, train.rate))
    dose, aperture, piece = _limit(grid, train, window)
    share = dose / number
    kinds, range_of = grid.aperture_ranges
    of_piece = range_of[piece]
    met = set(of_piece.ravel().tolist())
    found = {}
    rows = np.arange(train.pulse.size)
    chosen = (
        (f"{kind} {count}", *pick)
        for number_of_kind, kind in enumerate(kinds)
        if number_of_kind in met
        for count, pick in enumerate(deciding(np.where(of_piece == number_of_kind, share, np.inf), aperture))
    )
    for kind, at, here in chosen:
        least = np.where(here, share[rows, at], np.inf)
        one = np.ones_like(least)
        source, seen = _texts(grid, np.where(here, piece[rows, at], 0).astype(np.int16))
        found[kind] = Columns(
            least,
            np.where(here, aperture[rows, at], np.nan),
            number[rows, at],
            one,
            one * np.nan,
            one,
            window[rows, at],
            np.where(here, dose[rows, at], np.inf),
            source,
            seen,
        )
    return found


@lru_cache(maxsize=8)
def _locators(rule_set: str) -> Objects:
    """Return where each row of C_P and each row of T_i stands; to be read only."""
    rules = load_rule_set(rule_set)
    return np.array(
        [f"; {row.source}; {part.source}" for part in rules.train_factors for row in rules.train_times], dtype=object
    )


def _trains(grid: Grid, train: Trains, of_pulse: _Limits) -> dict[str, Columns]:
    rules = grid.rule_set
    found: dict[str, Columns] = {}
    for side, chosen in enumerate(train_sides(rules, train.wavelength * 1e9)):
        times = np.array([row.joined_within for row in rules.train_times])[chosen]
        counted = np.array([np.nan if row.counted_over is None else row.counted_over for row in rules.train_times])[
            chosen
        ]
        counted = np.where(np.isnan(counted), np.exp(log_t2(grid, train.angle * 1e3)), counted)
        applies = (chosen >= 0) & (train.pulse <= rules.longest_pulse * (1 + EDGE))
        applies &= ~undivided(train.pulse, 1.0 / train.rate)
        within = train.pulse <= times * (1 + EDGE)
        group_time = np.where(within, np.minimum(times, train.duration), train.pulse)
        joined = np.where(within, count_pulses(group_time, train.rate), 1.0)
        count = np.ceil(count_pulses(np.minimum(train.duration, counted), train.rate) / joined)
        factor, row_of = train_factor(rules, train.angle, train.duration, train.pulse, within, count)
        locators = _locators(rules.name)[row_of * len(rules.train_times) + chosen]
        for name, time, share in (("pulse", train.pulse, np.ones_like(joined)), ("group", group_time, joined)):
            use = applies & (row_of >= 0)
            if name == "group":
                use &= joined > 1.0
            if not use.any():
                continue
            dose, aperture, piece = of_pulse if name == "pulse" else _limit(grid, train, time)
            use &= np.isfinite(dose)
            if not use.any():
                continue
            source, seen = _texts(grid, np.where(use, piece, 0).astype(np.int16))
            found[f"{name}{side}"] = Columns(
                np.where(use, dose / share * factor, np.inf),
                np.where(use, aperture, np.nan),
                count,
                factor,
                times,
                joined,
                time,
                np.where(use, dose, np.inf),
                np.where(use, source + locators, ""),
                seen,
            )
    return found


def _chunk(rule_set: str, tissue: str, train: Trains) -> dict[tuple[str, str, str], Columns]:
    rules = load_rule_set(rule_set)
    lowest, highest = float(train.wavelength.min()) * 1e9, float(train.wavelength.max()) * 1e9
    found: dict[tuple[str, str, str], Columns] = {}
    for hazard in hazards_of(rule_set, tissue):
        grid = grid_of(rule_set, tissue, hazard)
        if not grid.covers(lowest, highest):
            continue
        of_pulse = _limit(grid, train, train.pulse)
        rows = [("single pulse", _single(grid, train, of_pulse)), ("mean", _mean(grid, train))]
        if hazard in rules.train_hazards:
            rows.append(("train", _trains(grid, train, of_pulse)))
        for rule, parts in rows:
            for kind, columns in parts.items():
                if np.isfinite(columns.per_pulse).any():
                    found[rule, hazard, kind] = columns
    return found


def _empty(size: int) -> Columns:
    nan, text = np.full(size, np.nan), np.full(size, "", dtype=object)
    return Columns(np.full(size, np.inf), nan, nan, nan, nan, nan, nan, np.full(size, np.inf), text, text)


def _check_train(train: Trains) -> None:
    for name, values in (
        ("repetition rate", train.rate),
        ("pulse duration", train.pulse),
        ("duration", train.duration),
    ):
        bad = ~((values > 0.0) & np.isfinite(values))
        if bad.any():
            message = f"{name} = {values[bad].flat[0]:g}: needs a finite number above 0"
            raise InputError(message)
    bad = ~(train.pulse * train.rate <= 1.0 + COUNT_SLACK)
    if bad.any():
        pulse, rate = train.pulse[bad].flat[0], train.rate[bad].flat[0]
        message = (
            f"pulse duration = {pulse:g} s is longer than the period {1.0 / rate:g} s of {rate:g} Hz; "
            "give a shorter pulse or a lower rate, or treat the emission as continuous"
        )
        raise InputError(message)
    bad = ~(train.pulse <= train.duration * (1 + EDGE))
    if bad.any():
        time, pulse = train.duration[bad].flat[0], train.pulse[bad].flat[0]
        message = (
            f"duration = {time:g} s is shorter than the pulse duration {pulse:g} s; "
            "give the time over which the pulses are received"
        )
        raise InputError(message)


def pulse_train_limit(
    rule_set: str,
    tissue: str,
    wavelength: ArrayLike,
    pulse_duration: ArrayLike,
    repetition_rate: ArrayLike,
    duration: ArrayLike,
    source_angle: ArrayLike = 1.5e-3,
    *,
    exposed_area: ArrayLike | None = None,
) -> PulseTrainLimit:
    """Return the limit for each pulse of a regular train of equal pulses [1]_ [2]_.

    Three rules are worked out for each hazard and the lowest limit decides: no pulse above the limit of a single pulse;
    the mean over no window up to the exposure above the limit of that window; and, for thermal hazards, no pulse above
    C_P times the limit of a single pulse, where pulses inside T_i count as one. The number of pulses in a time is the
    largest that can start in it, rounded up (`count_pulses`).

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
        Pulses in a second. [Hz]
    duration : array_like, shape (...)
        Exposure duration, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed. [m2]

    Returns
    -------
    PulseTrainLimit
        Arrays that have the broadcast shape of the inputs.

    Raises
    ------
    InputError
        If the rule set or tissue is not known, a pulse is longer than its period, or the exposure is shorter than a
        pulse.
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
    """
    given = (wavelength, pulse_duration, repetition_rate, duration, source_angle)
    if all(isinstance(value, float) for value in (*given, 0.0 if exposed_area is None else exposed_area)):
        return _of_one_train(rule_set, tissue, given, exposed_area)  # type: ignore[arg-type]
    return _of_trains(rule_set, tissue, given, exposed_area)


@lru_cache(maxsize=1024)
def _of_one_train(rule_set: str, tissue: str, values: tuple[float, ...], exposed_area: float | None) -> PulseTrainLimit:
    """Return the limit of one train; one assessment asks for the same train many times. The arrays cannot be set."""
    limit = _of_trains(rule_set, tissue, values, exposed_area)
    for record in (limit, *limit.rows):
        for value in vars(record).values():
            if isinstance(value, np.ndarray):
                value.setflags(write=False)
    return limit


def _of_trains(
    rule_set: str, tissue: str, values: Sequence[ArrayLike], exposed_area: ArrayLike | None
) -> PulseTrainLimit:
    area = None if exposed_area is None else check_area(rule_set, exposed_area)
    given = [np.asarray(value, dtype=np.float64) for value in values]
    shape = np.broadcast_shapes(*(a.shape for a in given), () if area is None else area.shape)
    lam, pulse, rate, time, angle = (np.broadcast_to(a, shape).reshape(-1) for a in given)
    train = Trains(lam, pulse, rate, time, angle, None if area is None else np.broadcast_to(area, shape).reshape(-1))
    hazards_of(rule_set, tissue)
    check_points(rule_set, train.wavelength, train.pulse, train.angle, "pulse duration")
    check_points(rule_set, train.wavelength, train.duration, train.angle)
    _check_train(train)
    size = train.wavelength.size
    parts = [
        (stop - start, _chunk(rule_set, tissue, train.part(slice(start, stop))))
        for start in range(0, size, _CHUNK)
        for stop in (min(start + _CHUNK, size),)
    ]
    order = {"single pulse": 0, "mean": 1, "train": 2}
    keys = sorted({key: None for _, part in parts for key in part}, key=lambda key: order[key[0]])
    rows = []
    for key in keys:
        pieces = [part.get(key, _empty(length)) for length, part in parts]
        columns = [np.concatenate(column).reshape(shape) for column in zip(*pieces, strict=True)]
        rows.append(TrainRow(key[0], key[1], *columns))
    return _strictest(rule_set, tissue, rows, shape)


def _strictest(rule_set: str, tissue: str, rows: list[TrainRow], shape: tuple[int, ...]) -> PulseTrainLimit:
    least, aperture = np.full(shape, np.inf), np.full(shape, np.nan)
    names = [np.full(shape, "", dtype=object) for _ in range(3)]
    for row in rows:
        better = (row.per_pulse < least) | ((row.per_pulse == least) & (row.limiting_aperture < aperture))
        least, aperture = np.where(better, row.per_pulse, least), np.where(better, row.limiting_aperture, aperture)
        for kept, new in zip(names, (row.rule, row.hazard, row.source), strict=True):
            np.copyto(kept, np.asarray(new, dtype=object), where=better)
    return PulseTrainLimit(rule_set, tissue, least, names[0], names[1], aperture, names[2], tuple(rows))
