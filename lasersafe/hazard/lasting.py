"""The limits of one pulse or of light that lasts, which counts over every shorter time as well; edges of the tables."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.hazard.emission import Received
from lasersafe.limits import HazardLimit, hazard_limits, rule_sets
from lasersafe.limits.grid import grid_of
from lasersafe.limits.tables import load_rule_set
from lasersafe.optics.checks import FloatArray, unique

WHOLE_BODY = 0.2  # m2: more than the largest area class of the skin rule, 0.1 m2
_SHORTEST = 1e-3  # s; light that lasts is not looked at in shorter parts
_ANGLES = (1.5e-3, 20e-3)  # rad
_TIMES = 9


class PlainLimit(NamedTuple):
    """One comparison without pulse rules: its row, limit [W/m2, or J/m2 of a pulse] and time [s] as arrays."""

    row: HazardLimit
    limit: FloatArray
    time: FloatArray


class _Step(NamedTuple):
    """A time [s] after which some limit is higher, until when, and between which wavelengths [m]."""

    time: float
    until: float
    shortest: float
    longest: float


def body_area(tissue: str, wavelength: ArrayLike) -> float | None:
    """Return the exposed skin area to assume, or None where no limit depends on it at any duration.

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    wavelength : array_like, shape (...)
        Wavelength. [m]

    Returns
    -------
    float or None
        A large area; from which time on it counts is said by the tables. [m2]

    References
    ----------
    .. [1] ICNIRP2013, limits for the skin, large exposed area.
    """
    rules = [rule for name in rule_sets() if (rule := load_rule_set(name).area) is not None]
    first = min((rule.wavelength[0] * 1e-9 for rule in rules), default=np.inf)
    far = np.size(wavelength) > 0 and np.max(wavelength) >= first * (1.0 - 1e-9)
    return WHOLE_BODY if tissue == "skin" and far else None


def plain_limits(light: Received, source_angle: ArrayLike) -> list[PlainLimit]:
    """Return the limit of every hazard for one pulse, or for light that lasts; of the skin for a large area.

    Behind an edge of the tables the limit of light that lasts can be higher than before it, or holds over a wider
    aperture: the first part of the exposure then has a comparison of its own, so that longer is never better.

    Parameters
    ----------
    light : Received
        One pulse, or continuous light.
    source_angle : array_like, shape (...)
        Angular subtense of the source. [rad]

    Returns
    -------
    list of PlainLimit
        Limits are infinite where the comparison does not apply; how many there are does not depend on the angle.
    """
    rule_set, tissue, wavelength, pulsed = (
        light.rule_set, light.tissue, light.wavelength, light.emission.kind == "single pulse"
    )  # fmt: skip
    time = light.emission.pulse_duration if pulsed else light.duration
    area = body_area(tissue, wavelength)
    rows = hazard_limits(rule_set, tissue, wavelength, time, source_angle, exposed_area=area)
    lasts = np.asarray(time, dtype=np.float64)
    found = [PlainLimit(row, row.radiant_exposure if pulsed else row.irradiance, lasts) for row in rows]
    for step in () if pulsed else _steps(rule_set, tissue):
        colour = np.asarray(wavelength, dtype=np.float64)
        inside = (colour >= step.shortest) & (colour <= step.longest)
        here = (lasts > step.time * (1.0 + 1e-9)) & (lasts <= step.until) & inside
        if not here.any():
            continue
        first = step.time if lasts.ndim == 0 else np.minimum(lasts, step.time)
        now = {row.name: row for row in rows}
        for row in hazard_limits(rule_set, tissue, wavelength, first, source_angle, exposed_area=area):
            lower = here & (row.name not in now or _allowed(row) < _allowed(now[row.name]) * (1.0 - 1e-12))
            found.append(PlainLimit(row, np.where(lower, row.irradiance, np.inf), np.asarray(first)))
    return found


def _allowed(row: HazardLimit) -> FloatArray:
    """Return what a beam narrower than every aperture may have; a wider aperture never takes in less."""
    there = np.isfinite(row.irradiance)
    return np.asarray(np.where(there, row.irradiance * np.square(row.limiting_aperture), np.inf))


@lru_cache(maxsize=16)
def _steps(rule_set: str, tissue: str) -> tuple[_Step, ...]:
    """Return the edges of the tables in time behind which some limit is higher than on them."""
    grid = grid_of(rule_set, tissue)
    edges = np.array([edge for edge in grid.durations.inner if edge >= _SHORTEST])
    ends = unique(np.concatenate([[180.0], grid.wavelengths.inner, [1e6]])) * 1e-9
    light = np.sort(np.concatenate([ends, np.sqrt(ends[:-1] * ends[1:])]))
    times = np.column_stack([edges, np.geomspace(edges * (1.0 + 1e-6), 2.9e4, _TIMES, axis=1)])
    higher = np.zeros((light.size, *times.shape), dtype=np.bool_)
    for angle in _ANGLES:
        area = body_area(tissue, light)
        for row in hazard_limits(rule_set, tissue, light[:, None], times.reshape(1, -1), angle, exposed_area=area):
            allowed = _allowed(row).reshape(higher.shape)
            ended = np.isinf(allowed) & np.isfinite(allowed[:, :, 1:2])  # behind a later edge, which says so itself
            higher |= (allowed > allowed[:, :, :1] * (1.0 + 1e-9)) & ~ended
    found = []
    for number in np.flatnonzero(higher.any(axis=(0, 2))).tolist():
        last = int(np.flatnonzero(higher[:, number].any(axis=0))[-1])
        lit = np.flatnonzero(higher[:, number].any(axis=1))
        until = float(times[number, last + 1]) if last < _TIMES else np.inf
        shortest, longest = light[max(lit[0] - 1, 0)], light[min(lit[-1] + 1, light.size - 1)]
        shortest, longest = float(shortest) * (1.0 - 1e-9), float(longest) * (1.0 + 1e-9)
        found.append(_Step(float(edges[number]), until, shortest, longest))
    return tuple(found)


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
