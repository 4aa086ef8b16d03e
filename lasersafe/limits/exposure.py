"""Exposure limits at points of wavelength, duration and source angle, factors of an edition, one limit line by line."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.limits.grid import DURATIONS, WAVELENGTHS, Grid, Ints, Piece, grid_of, hazards_of
from lasersafe.limits.tables import EDGE, AreaRule, Floats, Row, RuleSet, Source, inside, load_rule_set
from lasersafe.records import Step
from lasersafe.wording import Message, joined, word

_MANY = 64  # wavelengths from which on equal ones are looked for
COUNT_SLACK = 1e-9  # relative: 20 Hz for 10 s is 200 pulses, whatever the last bit of the product says


def count_pulses(duration: Floats, repetition_rate: Floats) -> Floats:
    """Return the largest number of pulses that can start in a half-open window of a duration.

    A window that is no multiple of the period holds one pulse more when it opens with a pulse: 10 Hz for 0.25 s gives
    3, not 2.5, which is the careful side.

    Parameters
    ----------
    duration : numpy.ndarray, shape (...)
        Length of the window. [s]
    repetition_rate : numpy.ndarray, shape (...)
        Pulses in a second. [Hz]

    Returns
    -------
    numpy.ndarray, shape (...)
        Whole number of pulses, at least 1. [1]

    Examples
    --------
    >>> count_pulses(np.array([0.25, 10.0]), np.array([10.0, 20.0]))
    array([  3., 200.])
    """
    count: Floats = np.maximum(np.ceil(duration * repetition_rate * (1.0 - COUNT_SLACK)), 1.0)
    return count


def train_sides(rules: RuleSet, wavelength_nm: Floats) -> list[NDArray[np.intp]]:
    """Return the row of the T_i table at each wavelength (-1: none), and the row below where an edge is met."""
    upper, lower = (np.full(wavelength_nm.shape, -1, dtype=np.intp) for _ in range(2))
    for number, row in enumerate(rules.train_times):
        here = inside(row.wavelength, wavelength_nm)
        upper[here] = number
        lower[here & (lower < 0)] = number
    return [upper] if np.array_equal(upper, lower) else [upper, lower]


def undivided(pulse: Floats, spacing: Floats) -> NDArray[np.bool_]:
    """Return whether each pulse lasts until the next one: that is continuous emission, which has no train factor."""
    return np.asarray(pulse >= spacing * (1.0 - COUNT_SLACK))


def train_factor(
    rules: RuleSet, source_angle: Floats, duration: Floats, pulse: Floats, within: NDArray[np.bool_], count: Floats
) -> tuple[Floats, NDArray[np.intp]]:
    """Return C_P by the rows of an edition, NaN where none holds. Ranges are "above ... up to and including".

    Parameters
    ----------
    rules : RuleSet
        The edition.
    source_angle, duration, pulse : numpy.ndarray
        Angle of the source [rad], exposure and pulse duration [s]; they broadcast to the shape of *count*.
    within : numpy.ndarray of bool, shape (...)
        Whether the pulse, or group, is not longer than T_i.
    count : numpy.ndarray, shape (...)
        Number of pulses, or groups. [1]

    Returns
    -------
    numpy.ndarray, shape (...)
        C_P. [1]
    numpy.ndarray of int, shape (...)
        Number of the row that gave it, -1 for none.
    """
    alpha = np.asarray(source_angle) * 1e3
    alpha_max: Any = None
    factor, chosen = np.full(count.shape, np.nan), np.full(count.shape, -1, dtype=np.intp)
    sides = (bool(within.any()), not within.all())
    for number, row in enumerate(rules.train_factors):
        if not sides[0 if row.within else 1]:
            continue
        if None in row.source_angle and alpha_max is None:
            alpha_max = np.asarray(angle_max(rules.name, pulse) * 1e3)
        low, high = (alpha_max if end is None else end for end in row.source_angle)
        here = (
            ((duration > row.exposure[0] * (1 + EDGE)) | (row.exposure[0] == 0.0))
            & (duration <= row.exposure[1] * (1 + EDGE))
            & ((alpha > low * (1 + EDGE)) | (np.asarray(low) == 0.0))
            & (alpha <= high * (1 + EDGE))
        )
        if not here.any():
            continue
        at = np.flatnonzero(here & (within == row.within) & (count >= row.pulses[0]) & (count <= row.pulses[1]))
        if at.size:
            value = row.constant * count.take(at) ** row.power if row.power else row.constant
            factor.reshape(-1)[at] = np.minimum(np.maximum(value, row.floor), 1.0)
            chosen.reshape(-1)[at] = number
    return factor, chosen


def cone_angle(rule_set: str, duration: ArrayLike) -> Floats:
    """Return the acceptance angle for the photochemical limit of the retina.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    numpy.ndarray, shape (...)
        Full angle of the cone. [rad]
    """
    return _of_time(rule_set, "gamma", duration)


def _of_time(rule_set: str, name: str, duration: ArrayLike) -> Floats:
    """Return an angle that depends on the duration, at an edge the larger, which is the stricter. [rad]."""
    time = np.asarray(duration, dtype=np.float64)
    return np.asarray(load_rule_set(rule_set).time_factors[name].at(time, np.fmax) * 1e-3)


def correction_factor(rule_set: str, name: str, wavelength: ArrayLike) -> Floats:
    """Return a factor that depends on the wavelength: C_A, C_B, C_C, C_2, or the time T_1.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    name : str
        The symbol as printed, with an underscore.
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        The factor, or T_1 in seconds; the lower value at an edge shared by two rows, NaN where the table has no row.

    Examples
    --------
    >>> correction_factor("ICNIRP-2013", "C_A", [532e-9, 850e-9, 1064e-9]).round(3)
    array([1.   , 1.995, 5.   ])
    """
    return load_rule_set(rule_set).factors[name].at(np.asarray(wavelength, dtype=np.float64) * 1e9, np.fmin)


def time_t2(rule_set: str, source_angle: ArrayLike) -> Floats:
    """Return T_2, the time from which a longer stare heats the retina no further.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    source_angle : array_like, shape (...)
        Angle that the source subtends. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        T_2, 10 to 100. [s]

    Examples
    --------
    >>> float(time_t2("ICNIRP-2013", 50e-3).round(2))
    31.07
    """
    alpha = np.asarray(source_angle, dtype=np.float64) * 1e3
    return load_rule_set(rule_set).angle_factors["T_2"].at(alpha, np.fmin)


def angle_max(rule_set: str, duration: ArrayLike) -> Floats:
    """Return alpha_max, the source angle from which the limit grows with the square of the angle.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]

    Returns
    -------
    numpy.ndarray, shape (...)
        alpha_max. [rad]

    Examples
    --------
    >>> angle_max("ICNIRP-2013", [1e-6, 0.01, 10.0])
    array([0.005, 0.02 , 0.1  ])
    """
    return _of_time(rule_set, "alpha_max", duration)


def source_factor(rule_set: str, duration: ArrayLike, source_angle: ArrayLike) -> Floats:
    """Return C_E, which goes with the power of the whole source.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    duration : array_like, shape (...)
        Exposure duration. [s]
    source_angle : array_like, shape (...)
        Angle that the source subtends. [rad]

    Returns
    -------
    numpy.ndarray, shape (...)
        1 up to alpha_min, alpha/alpha_min up to alpha_max, alpha**2/(alpha_min alpha_max) above. [1]

    Examples
    --------
    >>> source_factor("ICNIRP-2013", 10.0, [1e-3, 15e-3, 0.2]).round(2)
    array([  1.  ,  10.  , 266.67])
    """
    alpha = np.asarray(source_angle, dtype=np.float64)
    least = load_rule_set(rule_set).time_factors["alpha_min"].rows[0].constant * 1e-3
    result: Floats = np.maximum(alpha, least) / least * np.maximum(alpha / angle_max(rule_set, duration), 1.0)
    return result


Texts = NDArray[np.str_]


@dataclass(frozen=True)
class ExposureLimit:
    """The exposure limit at each point, of one hazard or the strictest of all.

    Attributes
    ----------
    rule_set, tissue : str
        What was asked for.
    radiant_exposure : numpy.ndarray, shape (...)
        Limit as a dose over the duration; ``inf`` where the hazard does not apply. [J/m2]
    name : str
        The hazard that was asked for, "" for all.
    grid, piece, area_row
        The tables, and which of their rows decided, for `lasersafe.limits.explain`.
    duration : numpy.ndarray
        As given. [s]
    """

    rule_set: str
    tissue: str
    radiant_exposure: Floats
    name: str
    grid: Grid = field(repr=False)
    piece: Ints = field(repr=False)
    duration: Floats = field(repr=False)
    area_row: NDArray[np.int8] | None = field(repr=False, default=None)

    @cached_property
    def irradiance(self) -> Floats:
        """The same limit divided by the duration [W/m2]; shape (...)."""
        return np.asarray(self.radiant_exposure / self.duration)

    @cached_property
    def limiting_aperture(self) -> Floats:
        """Diameter over which the exposure is averaged [m]; shape (...)."""
        return self.grid.apertures(self.piece, self.duration)

    @property
    def hazard(self) -> Texts:
        """Name of the hazard that decides at each point, "" where none applies; shape (...)."""
        names: Texts = np.asarray(self.grid.texts["hazard"][self.piece])
        return names

    @property
    def source(self) -> NDArray[np.object_]:
        """Document, table and row of the deciding limit at each point, as text; shape (...)."""
        return self.grid.words("source", self.piece, self.area_row)

    @property
    def seen(self) -> NDArray[np.object_]:
        """How the deciding row was obtained: "read", "part", "memory" or "common practice"; shape (...)."""
        return self.grid.words("seen", self.piece, self.area_row)

    @property
    def acceptance_angle(self) -> Floats:
        """Cone [rad] inside which the photochemical exposure counts, NaN where another hazard decides; shape (...)."""
        cone = np.array([piece is not None and piece.cone for piece in self.grid.pieces])[self.piece]
        angle: Floats = np.where(cone, cone_angle(self.rule_set, self.duration), np.nan)
        return angle


def _bad(values: Floats, low: float, high: float) -> float:
    """Return the first value that is not in a range."""
    return float(values[~((values >= low) & (values <= high))].flat[0])


def check_points(
    rule_set: str, wavelength: Floats, duration: Floats, source_angle: Floats, field: str = "duration"
) -> list[tuple[float, float]]:
    """Return the lowest and highest wavelength, duration and source angle; refuse what the edition does not cover.

    Raises
    ------
    OutOfRangeError
        If a wavelength, duration or angle is not finite or lies outside 180 nm to 1 mm, 1e-13 s to 3e4 s, 0 to pi rad.
    """
    ends = []
    for name, values, (low, high), scale, unit, covers in (
        ("wavelength", wavelength, WAVELENGTHS, 1e9, "nm", "180 nm to 1e6 nm"),
        (field, duration, DURATIONS, 1.0, "s", "1e-13 s to 3e4 s"),
        ("source angle", source_angle, (0.0, np.pi), 1.0, "rad", "0 rad to pi rad"),
    ):
        low, high = low / scale * (1 - EDGE), high / scale * (1 + EDGE)
        ends.append((float(values.min()), float(values.max())) if values.size else (low, high))
        if not (ends[-1][0] >= low and ends[-1][1] <= high):  # or NaN
            bad = _bad(values, low, high) * scale
            refuse(f"{name} = {bad:g} {unit} is outside {rule_set}, which covers {covers}", OutOfRangeError)
    return ends


def check_area(rule_set: str, exposed_area: ArrayLike) -> Floats:
    """Return the exposed area [m2] as an array, refused where it is negative or not finite."""
    area = np.asarray(exposed_area, dtype=np.float64)
    if area.size and not (area.min() >= 0.0 and area.max() < np.inf):
        bad = _bad(area, 0.0, float(np.finfo(np.float64).max))
        refuse(f"exposed area = {bad:g} m2 is outside {rule_set}, which covers 0 m2 and more", OutOfRangeError)
    return area


def _limit(
    rule_set: str, tissue: str, hazards: tuple[str | None, ...], points: tuple[ArrayLike, ...], area: ArrayLike | None
) -> list[ExposureLimit]:
    """Return the limits of hazards (None: the strictest of all) that apply to at least one point."""
    lam, time, angle = (np.asarray(values, dtype=np.float64) for values in points)
    extent = None if area is None else check_area(rule_set, area)
    shape = np.broadcast_shapes(lam.shape, time.shape, angle.shape, () if extent is None else extent.shape)
    if not lam.size and None not in hazards:
        return []
    flat = [
        a.reshape(-1)[:1]
        if a.size and a.flat[0] == a.flat[-1] and a.min() == a.max()
        else np.broadcast_to(a, shape).reshape(-1)
        for a in (lam, time, angle)
    ]  # what is the same is one number
    found = []
    if hazards != (None,) or not math.prod(shape):  # what is worked out is checked there
        least, most = check_points(rule_set, lam, time, angle)[0]
    for hazard in hazards:
        grid = grid_of(rule_set, tissue, hazard)
        if hazard and not grid.covers(least * 1e9, most * 1e9):
            continue
        dose, piece = grid.evaluate(flat, math.prod(shape), partial(check_points, rule_set))
        limit = ExposureLimit(rule_set, tissue, dose.reshape(shape), hazard or "", grid, piece.reshape(shape), time)
        rule = grid.rule_set.area
        if extent is not None and rule is not None and rule.hazard in grid.hazards:
            limit = _large_area(rule, limit, lam, extent)
        found.append(limit)
    return found


def _large_area(rule: AreaRule, limit: ExposureLimit, wavelength: Floats, area: Floats) -> ExposureLimit:
    """Return the limit, lowered where the rule says so."""
    reached = wavelength >= rule.wavelength[0] * 1e-9 * (1 - EDGE)
    reached = reached & (limit.duration >= rule.duration[0] * (1 - EDGE))
    lowered, decides = limit.irradiance, np.full(limit.irradiance.shape, -1, dtype=np.int8)
    for number, row in enumerate(rule.rows):
        here = reached & inside(row.area, area)
        value = row.at(np.where(here, area, 1.0))
        here = here & (value < lowered)
        lowered, decides = np.where(here, value, lowered), np.where(here, np.int8(number), decides)
    dose = np.where(decides >= 0, lowered * limit.duration, limit.radiant_exposure)
    return replace(limit, radiant_exposure=dose, area_row=decides)


def exposure_limit(
    rule_set: str, tissue: str, wavelength: ArrayLike, duration: ArrayLike, source_angle: ArrayLike = 1.5e-3, *,
    exposed_area: ArrayLike | None = None,
) -> ExposureLimit:  # fmt: skip
    """Return the exposure limit of an edition, the strictest of all hazards [1]_ [2]_.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    duration : array_like, shape (...)
        Exposure duration, or that of a single pulse, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi; the limit goes with the power of the whole source. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed; from 0.01 m2 ICNIRP-2013 lowers the limit above 1400 nm and 10 s. [m2]

    Returns
    -------
    ExposureLimit
        Arrays that have the broadcast shape of the inputs.

    Raises
    ------
    InputError
        If the rule set or the tissue is not known.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_*.toml``).
    .. [2] EU2006-25, Annex II, Tables 2.2 to 2.6 (``shared/limits/eu200625_*.toml``).

    Examples
    --------
    >>> limit = exposure_limit("ICNIRP-2013", "eye", [532e-9, 1064e-9, 10.6e-6], 0.25)
    >>> limit.radiant_exposure.round(2)
    array([   6.36,   31.82, 3959.8 ])
    >>> limit.hazard
    array(['retina thermal', 'retina thermal', 'cornea thermal'], dtype='<U25')
    """
    return _limit(rule_set, tissue, (None,), (wavelength, duration, source_angle), exposed_area)[0]


def hazard_limits(
    rule_set: str, tissue: str, wavelength: ArrayLike, duration: ArrayLike, source_angle: ArrayLike = 1.5e-3, *,
    exposed_area: ArrayLike | None = None,
) -> tuple[ExposureLimit, ...]:  # fmt: skip
    """Return the exposure limit of each hazard by itself [1]_ [2]_.

    Hazards have different limiting apertures, so an exposure is compared with each of them over its own aperture.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : array_like, shape (...)
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    duration : array_like, shape (...)
        Exposure duration, or that of a single pulse, 1e-13 to 3e4. [s]
    source_angle : array_like, shape (...), optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : array_like, shape (...), optional
        Area of skin that is exposed. [m2]

    Returns
    -------
    tuple of ExposureLimit
        One for each hazard that applies to at least one point; ``inf`` at the points where it does not.

    Raises
    ------
    InputError
        If the rule set or the tissue is not known.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_*.toml``).
    .. [2] EU2006-25, Annex II, Tables 2.2 to 2.6 (``shared/limits/eu200625_*.toml``).

    Examples
    --------
    >>> [(limit.name, float(limit.irradiance)) for limit in hazard_limits("ICNIRP-2013", "eye", 450e-9, 100.0)]
    [('retina thermal', 10.0), ('retina photochemical', 1.0)]
    """
    points = (wavelength, duration, source_angle)
    found = _limit(rule_set, tissue, hazards_of(rule_set, tissue), points, exposed_area)
    return tuple(limit for limit in found if np.isfinite(limit.radiant_exposure).any())


@lru_cache(maxsize=16)
def _sloped(rule_set: str, tissue: str) -> NDArray[np.bool_]:
    """Return in which cells of wavelength a limit of any hazard depends on it, though another may be lower."""
    places = np.array(grid_of(rule_set, tissue).wavelengths.centres) * 1e-9
    found = np.zeros(places.size, dtype=np.bool_)
    for grid in (grid_of(rule_set, tissue, hazard) for hazard in hazards_of(rule_set, tissue)):
        own, stride = grid.parameters[6].take(grid.slots).any(axis=0), grid.wavelengths.stride
        found |= own.reshape(-1, stride).any(axis=1).take(grid.wavelengths.exactly(places) // stride)
    return found


def alike(rule_set: str, tissue: str, wavelength: Floats) -> tuple[Floats, Ints | None]:
    """Return wavelengths that stand for many, and the number of the one that stands for each.

    Parameters
    ----------
    rule_set, tissue : str
        Whose limits.
    wavelength : numpy.ndarray, shape (...)
        Wavelengths. [m]

    Returns
    -------
    numpy.ndarray
        One of each cell of the tables in which no limit depends on the wavelength, and all others [m]; or the given
        ones, where there are few, or many others.
    numpy.ndarray of int, shape (n,), or None
        Which has the same limits as each of the given; None: they are the given ones.
    """
    axis = grid_of(rule_set, tissue).wavelengths
    if wavelength.ndim != 1 or wavelength.size < _MANY:
        return wavelength, None
    if not (wavelength.min() >= WAVELENGTHS[0] * 1e-9 and wavelength.max() <= WAVELENGTHS[1] * 1e-9):  # or NaN
        return wavelength, None
    cell = axis.at(wavelength)
    near = np.flatnonzero(cell < 0)
    cell[near] = axis.exactly(wavelength[near])
    first, last = int(cell.min()), int(cell.max())
    cell -= first
    columns = range(first, last + 1, axis.stride)
    sloped = _sloped(rule_set, tissue)[first // axis.stride :][: len(columns)]
    number = np.repeat(np.where(sloped, -1, np.arange(len(columns))), axis.stride).take(cell)
    own = np.flatnonzero(number < 0)
    if own.size * 8 > wavelength.size:
        return wavelength, None
    number[own] = np.arange(len(columns), len(columns) + own.size)
    middles = np.array([axis.centres[at // axis.stride] for at in columns]) * 1e-9
    return np.concatenate([middles, wavelength[own]]), number


def wavelength_edges(rule_sets: Iterable[str]) -> list[float]:
    """Return the wavelengths at which a limit may jump or turn.

    Parameters
    ----------
    rule_sets : iterable of str
        Names of the rule sets.

    Returns
    -------
    list of float
        Ascending. [m]
    """
    found = {float(e) * 1e-9 for name in rule_sets for tissue in ("eye", "skin")
             for e in grid_of(name, tissue).wavelengths.inner}  # fmt: skip
    found |= {e * 1e-9 for name in rule_sets for row in load_rule_set(name).train_times for e in row.wavelength}
    return sorted(found)


def duration_edges(rule_sets: Iterable[str]) -> list[float]:
    """Return the durations at which a limit may jump or turn: rows of the tables, and the times T_i of the train rules.

    Parameters
    ----------
    rule_sets : iterable of str
        Names of the rule sets.

    Returns
    -------
    list of float
        Ascending. [s]
    """
    found = {float(e) for name in rule_sets for tissue in ("eye", "skin")
             for e in grid_of(name, tissue).durations.inner}  # fmt: skip
    for name in rule_sets:
        rules = load_rule_set(name)
        found |= {row.joined_within for row in rules.train_times}
        found |= {row.counted_over for row in rules.train_times if row.counted_over is not None}
        found |= {rules.longest_pulse, *(end for row in rules.train_factors for end in row.exposure)}
    return sorted(one for one in found if 0.0 < one < float("inf"))


def _digits(value: float) -> str:
    return f"{value:.6g}"


def _put_in(row: Row, symbol: str, value: float) -> str:
    return row.formula.split(" = ")[1].replace(symbol, f"x {_digits(value)}^" if symbol == "t^" else _digits(value))


def _step(symbol: str, meaning: str, formula: str, numbers: str, value: float, unit: str, source: Source) -> Step:
    return Step(symbol, meaning, formula, numbers, value, unit, str(source), source.seen)


def _factor_steps(rules: RuleSet, piece: Piece, lam: float, time: float, alpha: float) -> list[Step]:
    steps = []
    for row in piece.factors:
        name, value = row.formula.split(" = ")[0], float(row.at(lam * 1e9))
        told = row.formula.replace("lambda", "lambda/nm")
        numbers = _put_in(row, "lambda", lam * 1e9) if row.slope else _digits(value)
        meaning, unit = word(rules.factors[name].meaning), "s" if name == "T_1" else "1"
        steps.append(_step(name, meaning, told, numbers, value, unit, row.source))
    if "C_E" in piece.row.factors:
        least, most = (_time_step(rules, name, time) for name in ("alpha_min", "alpha_max"))
        mrad, low, high = alpha * 1e3, least.value * 1e3, most.value * 1e3
        formula: str = Message("limit.whole_source")
        numbers = f"{_digits(mrad)}^2/({_digits(low)} x {_digits(high)})"
        if mrad <= low * (1 + EDGE):
            formula, numbers = Message("limit.small_source"), "1"
        elif mrad <= high * (1 + EDGE):
            formula, numbers = "C_E = alpha/alpha_min", f"{_digits(mrad)}/{_digits(low)}"
        value, source = float(source_factor(rules.name, time, alpha)), rules.time_factors["alpha_max"].row(time).source
        steps += [least, most, _step("C_E", Message("limit.extended"), formula, numbers, value, "1", source)]
    if piece.row.power_T_2:
        factor, t2 = rules.angle_factors["T_2"], float(time_t2(rules.name, alpha))
        row = factor.row(alpha * 1e3)
        numbers = _put_in(row, "alpha", alpha * 1e3)
        steps.append(_step("T_2", word(factor.meaning), row.formula, numbers, t2, "s", row.source))
    return steps


def _time_step(rules: RuleSet, name: str, time: float) -> Step:
    factor = rules.time_factors[name]
    row, value = factor.row(time), float(_of_time(rules.name, name, time))
    return _step(name, word(factor.meaning), f"{row.formula} mrad", _put_in(row, "t^", time), value, "rad", row.source)


def _limit_steps(
    rules: RuleSet, limit: ExposureLimit, piece: Piece, lam: float, time: float, alpha: float
) -> list[Step]:
    steps, row = _factor_steps(rules, piece, lam, time, alpha), piece.row
    values = {step.symbol: step.value for step in steps}
    parts = [f"{row.constant:g}"] + ([f"{_digits(time)}^{row.power:g}"] if row.power else [])
    parts += [_digits(values[name]) for name in row.factors]
    parts += [f"{_digits(values['T_2'])}^{row.power_T_2:g}"] if row.power_T_2 else []
    dose, irradiance = (float(limit.radiant_exposure), "J/m2"), (float(limit.irradiance), "W/m2")
    meaning = Message("limit.of_hazard", hazard=word(limit.name))
    first, then = (dose, irradiance) if row.quantity == "H" else (irradiance, dose)
    steps.append(_step(row.quantity, meaning, row.formula, " x ".join(parts), *first, row.source))
    symbol, key, formula, sign = ("E", "limit.as_irradiance", "E = H/t", "/")
    if row.quantity == "E":
        symbol, key, formula, sign = ("H", "limit.as_exposure", "H = E t", " x ")
    steps.append(Step(symbol, Message(key), formula, f"{_digits(first[0])}{sign}{_digits(time)}", *then, "definition"))
    hole, width = piece.aperture, float(limit.limiting_aperture)
    formula, numbers = hole.formula.replace("aperture", "D_a") + " mm", _put_in(hole, "t^", time)
    steps.append(_step("D_a", Message("limit.aperture"), formula, numbers, width, "m", hole.source))
    return steps + ([_time_step(rules, "gamma", time)] if piece.cone else [])


def explain(
    rule_set: str, tissue: str, wavelength: float, duration: float, source_angle: float = 1.5e-3, *,
    exposed_area: float | None = None,
) -> tuple[Step, ...]:  # fmt: skip
    """Return how the limit at one point comes about, line by line.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : float
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    duration : float
        Exposure duration, or that of a single pulse, 1e-13 to 3e4. [s]
    source_angle : float, optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : float, optional
        Area of skin that is exposed. [m2]

    Returns
    -------
    tuple of lasersafe.results.Step
        For each hazard its factors, its limit as radiant exposure and as irradiance, and its limiting aperture; last
        the strictest limit.

    Raises
    ------
    InputError
        If the rule set or the tissue is not known.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    Examples
    --------
    >>> step = explain("ICNIRP-2013", "eye", 1064e-9, 10e-9)[-1]
    >>> print(step.symbol, step.value, step.unit, "-", step.meaning)
    H 0.02 J/m2 - lowest limit: retina thermal
    """
    lam, time, alpha, rules = float(wavelength), float(duration), float(source_angle), load_rule_set(rule_set)
    limits = hazard_limits(rule_set, tissue, lam, time, alpha, exposed_area=exposed_area)
    steps: list[Step] = []
    for limit in limits:
        piece = limit.grid.pieces[int(limit.piece)]
        if piece is None or math.isinf(float(limit.radiant_exposure)):
            continue
        plain = limit
        if limit.area_row is not None and int(limit.area_row) >= 0:
            plain = next(h for h in hazard_limits(rule_set, tissue, lam, time, alpha) if h.name == limit.name)
        steps += _limit_steps(rules, plain, piece, lam, time, alpha)
        if plain is not limit:
            numbers, value = Message("limit.area", area=f"{exposed_area:g} m2"), float(limit.irradiance)
            meaning, formula = Message("limit.large_area"), Message("limit.by_area")
            steps.append(Step("E", meaning, formula, numbers, value, "W/m2", str(limit.source), str(limit.seen)))
    final = exposure_limit(rule_set, tissue, lam, time, alpha, exposed_area=exposed_area)
    parts = (
        Message("limit.part", hazard=word(limit.name), value=_digits(float(limit.radiant_exposure))) for limit in limits
    )
    formula, least = Message("limit.least_formula"), Message("limit.least", parts=joined(parts, ", "))
    meaning, value = Message("limit.lowest", hazard=word(str(final.hazard))), float(final.radiant_exposure)
    steps.append(Step("H", meaning, formula, least, value, "J/m2", str(final.source), str(final.seen)))
    return tuple(steps)
