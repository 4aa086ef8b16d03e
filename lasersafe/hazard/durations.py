"""Exposure durations by wavelength, way and person (design.md, item 10), and the ultraviolet doses of a day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.limits import hazard_limits
from lasersafe.records.fields import badness
from lasersafe.records.step import Criterion
from lasersafe.wording.message import Message

WORKING_DAY = 30_000.0
DELIBERATE = 100.0
ACCIDENTAL = 10.0
TURN_AWAY = 0.25
EDGE = 1e-9  # a wavelength this near to an edge counts as on it, where the stricter time holds
LONGEST_DAY = 3e4  # [s]
ULTRAVIOLET = 400e-9  # [m]
BANDS = ((180e-9, 315e-9, "180-315 nm"), (315e-9, 400e-9, "315-400 nm"))


def exposure_duration(wavelength: float, way: str, *, turns_away: bool = False) -> tuple[float, Message]:
    """Return the exposure duration to assume [1]_ [2]_, and the reason in words.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    turns_away : bool
        True only for a briefed person who is expected to turn away from visible light.

    Returns
    -------
    float
        Exposure duration. [s]
    Message
        The reason, for the sheet.

    References
    ----------
    .. [1] TROS-2, section 4.1 (time bases) and 5.1 (infrared).
    .. [2] DGUV203-036, annex 4 (the blink reflex is not to be relied on).
    """
    if wavelength <= 400e-9 * (1.0 + EDGE):
        return WORKING_DAY, Message("time.ultraviolet")
    if way == "scatter":
        return DELIBERATE, Message("time.lit_spot")
    if wavelength < 700e-9 * (1.0 - EDGE):
        if turns_away:
            return TURN_AWAY, Message("time.turns_away")
        return ACCIDENTAL, Message("time.no_blink")
    return ACCIDENTAL, Message("time.unintended")


def exposure_durations(wavelength: ArrayLike, way: str) -> NDArray[np.float64]:
    """Return the exposure durations of many wavelengths, for people who do not turn away.

    Parameters
    ----------
    wavelength : array_like, shape (...)
        Wavelength. [m]
    way : str
        ``direct``, ``mirror`` or ``scatter``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure duration. [s]
    """
    ultraviolet = np.asarray(wavelength) <= 400e-9 * (1.0 + EDGE)
    return np.where(ultraviolet, WORKING_DAY, DELIBERATE if way == "scatter" else ACCIDENTAL)


@dataclass(frozen=True)
class Visit:
    """One exposure of the day: wavelength [m], mean power that reaches the place [W], time [s], and a name."""

    wavelength: float
    power: float
    time: float
    name: str
    key: object = None


@dataclass(frozen=True)
class DayDose:
    """The doses of one band on one tissue under one rule set."""

    rule_set: str
    tissue: str
    band: str
    ratio: float
    below: bool
    doses: tuple[tuple[str, float, float, float], ...]  # visit, dose and limit [J/m2], ratio
    hazard: str
    source: str
    seen: str
    time: float


def day_doses(
    rule_set: str, tissue: str, visits: Sequence[Visit], exposure: Callable[[Visit, Criterion], float]
) -> tuple[DayDose, ...]:
    """Return the summed doses of a day for each band in which there is a visit [1]_.

    The limit of every visit is taken for the time of all visits of its band together, so that it makes no difference
    how the day is cut into visits.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    visits : sequence of Visit
        All exposures of the day; those that are not ultraviolet are left out.
    exposure : callable
        Irradiance that a visit and a comparison see, over the limiting aperture of the comparison.

    Returns
    -------
    tuple of DayDose
        The hazard that decides, for each band.

    References
    ----------
    .. [1] ICNIRP2013 (``shared/limits/icnirp2013_ultraviolet_photochemical.toml``).
    """
    found = []
    for low, high, band in BANDS:
        own = [v for v in visits if low <= v.wavelength < high]
        if not own:
            continue
        time = min(sum(v.time for v in own), LONGEST_DAY)
        by_hazard: dict[str, list[tuple[str, float, float, float]]] = {}
        sources: dict[str, tuple[str, str]] = {}
        for visit in own:
            for limit in hazard_limits(rule_set, tissue, visit.wavelength, time):
                if limit.name == "ultraviolet peak":
                    continue
                dose_limit = float(limit.radiant_exposure)
                criterion = Criterion(
                    rule_set, tissue, limit.name, "dose of the day", visit.power, "W", dose_limit / time, "W/m2",
                    float(limit.limiting_aperture), time, str(limit.source), str(limit.seen),
                )  # fmt: skip
                dose = exposure(visit, criterion) * visit.time
                by_hazard.setdefault(limit.name, []).append((visit.name, dose, dose_limit, dose / dose_limit))
                sources[limit.name] = (criterion.source, criterion.seen)
        sums = {name: sum(one[3] for one in doses) for name, doses in by_hazard.items()}
        name = max(sums, key=lambda key: badness(sums[key]))
        found.append(DayDose(
            rule_set, tissue, band, sums[name], bool(sums[name] <= 1.0), tuple(by_hazard[name]), name,
            *sources[name], time,
        ))  # fmt: skip
    return tuple(found)
