"""The effective trains of pulses that stand for a scanned beam that passes over an aperture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.emission import Emission
from lasersafe.limits import count_pulses, pulse_train_limit, rule_sets
from lasersafe.limits.factors import COUNT_SLACK
from lasersafe.limits.records import EDGE
from lasersafe.limits.tables import load_rule_set
from lasersafe.optics.scanning import ScanPattern

FLOAT = NDArray[np.float64]
WITHIN = "pulses within one pass"
_COLUMNS = ("energy", "pulse_duration", "rate", "duration")


@dataclass(frozen=True)
class Passes:
    """What crosses the aperture, as trains of equal pulses; arrays over the distance."""

    what: str  # which train this is, in words
    energy: FLOAT  # per pulse of the train, before the aperture [J]
    pulse_duration: FLOAT  # [s]
    rate: FLOAT  # [Hz]
    duration: FLOAT  # exposure [s]


def sweep_aperture(tissue: str, wavelength: float) -> float:
    """Return the aperture that a sweep is timed over: the largest that any rule set sets [m].

    Parameters
    ----------
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    float
        Diameter. [m]
    """
    nm = wavelength * 1e9
    return max(
        1e-3 * float(row.at(time))
        for name in rule_sets()
        for row in load_rule_set(name).apertures[tissue]
        if row.wavelength[0] * (1 - EDGE) <= nm <= row.wavelength[1] * (1 + EDGE)
        for time in row.duration
    )


@lru_cache(maxsize=64)
def joined_within(rule_set: str, tissue: str, wavelength: float) -> float:
    """Return T_i, the time within which pulses are joined; 0 where there is none.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    tissue : str
        ``eye`` or ``skin``.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    float
        The longest that holds at the wavelength. [s]
    """
    train = pulse_train_limit(rule_set, tissue, wavelength, 1e-9, 1.0, 10.0)
    return max((float(r.joined_within) for r in train.rows if np.isfinite(r.joined_within)), default=0.0)


def pulsed_trains(
    pulse: FLOAT, rate: FLOAT, stay: FLOAT, passes: FLOAT, period: float, duration: float, joined_within: ArrayLike
) -> list[tuple[str, FLOAT, FLOAT, FLOAT, FLOAT]]:
    """Return the trains that stand for the pulses of a laser that is scanned, as arrays that broadcast together [1]_.

    At a place where the spot turns it stays once in each period, elsewhere it passes several times for a part of that
    stay. Every pass counts whole, with one pulse more than fits, and so does every period that begins.

    Parameters
    ----------
    pulse, rate : numpy.ndarray, shape (...)
        Pulse duration [s] and repetition rate [Hz] of the laser.
    stay : numpy.ndarray, shape (...)
        Time within each period that the spot stays. [s]
    passes : numpy.ndarray, shape (...)
        Separate passes in each period. [1]
    period : float
        Of the pattern. [s]
    duration : float
        Exposure duration. [s]
    joined_within : array_like
        T_i of the rule set, 0 for none. [s]

    Returns
    -------
    list of tuple
        What the train is, laser pulses in each of its pulses [1], pulse duration [s], rate [Hz] and exposure [s].

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """
    time = np.minimum(stay, min(duration, period))
    whole, one = np.full_like(time, duration), np.ones_like(time)
    longest = np.minimum(np.maximum(time, pulse), duration)
    short = np.minimum(pulse, whole)

    def count(window: FLOAT) -> FLOAT:
        return np.asarray(count_pulses(np.maximum(window, 1e-13), rate))

    def often(times: FLOAT | float, number: FLOAT, length: FLOAT) -> FLOAT:  # no more pulses than the laser emits
        return np.asarray(np.minimum(np.minimum(times, rate / number), 1.0 / length))

    at_turn = count(longest)
    part = np.minimum(np.maximum(time / passes, pulse), duration)
    each = count(part)
    most = np.maximum(np.minimum(passes * each, count(np.full_like(time, period))), at_turn)
    periods = (np.floor(duration / period * (1.0 + COUNT_SLACK)) + 1.0) / duration  # begun in a second
    together = np.maximum(longest, np.minimum((most - 1.0) / rate, min(period, duration)))
    found = [
        ("each pass as one pulse", at_turn, longest, often(1.0 / period, at_turn, longest), whole),
        ("passes of a period as one pulse", most, together, often(1.0 / period, most, together), whole),
        ("each of the separate passes as one pulse", each, part, often(passes * periods, each, part), whole),
        (WITHIN, one, short, rate + 0.0 * time, longest),
        ("all pulses of the exposure", one, short, often(most * periods, one, short), whole),
    ]
    span = np.maximum(np.minimum(longest, joined_within), pulse)
    for number, times in ((most, 1.0), (each, passes)):
        group = np.minimum(count(np.maximum(joined_within, pulse)), number)
        groups = times * np.ceil(number / group) * periods
        found.append(("pulses in groups within T_i", group, span, often(groups, group, span), whole))
    return found


def effective_trains(
    emission: Emission,
    pattern: ScanPattern,
    stay: ArrayLike,
    passes: ArrayLike,
    duration: float,
    joined_within: float = 0.0,
) -> Iterator[Passes]:
    """Yield the trains that stand for a scanned beam, all of which have to be below their limits [1]_.

    Passes of one period that reach the aperture are counted as one longer pulse, and as separate ones. Pulses of the
    laser are counted one by one within a pass, one by one over the exposure, in groups within T_i, and as one pulse for
    each pass.

    Parameters
    ----------
    emission : Emission
        The setting of the laser; continuous or a pulse train.
    pattern : ScanPattern
        The pattern.
    stay : array_like, shape (...)
        Time within each period that the spot stays. [s]
    passes : array_like, shape (...)
        Separate passes in each period. [1]
    duration : float
        Exposure duration. [s]
    joined_within : float
        T_i of the rule set, 0 for none. [s]

    Yields
    ------
    Passes
        Arrays of shape (...).

    References
    ----------
    .. [1] Own: docs/method.md, "Scanned beams".
    """
    given = np.asarray(stay, dtype=np.float64)
    if emission.kind == "continuous":
        time = np.minimum(given, min(duration, pattern.period))
        rate, whole = np.full_like(time, 1.0 / pattern.period), np.full_like(time, duration)
        yield Passes("each pass as one pulse", emission.power * time, time, rate, whole)
        return
    pulse, rate = (np.full_like(given, v) for v in (emission.pulse_duration, emission.repetition_rate))
    separate = np.asarray(passes, dtype=np.float64)
    for what, number, length, often, time in pulsed_trains(
        pulse, rate, given, separate, pattern.period, duration, joined_within
    ):
        if joined_within > emission.pulse_duration or "T_i" not in what:
            yield Passes(what, number * emission.pulse_energy, length, often, time)


def trains_of(
    emissions: tuple[Emission, ...], pattern: ScanPattern, stay: FLOAT, passes: FLOAT, duration: float, joined: float
) -> list[Passes]:
    """Return the trains of one emission at all places, or of as many emissions as there are places, each at its own.

    Parameters
    ----------
    emissions : tuple of Emission
        One, or as many as there are places.
    pattern : ScanPattern
        The pattern.
    stay : numpy.ndarray, shape (n,)
        Time within each period that the spot stays. [s]
    passes : numpy.ndarray, shape (n,)
        Separate passes in each period. [1]
    duration : float
        Exposure duration. [s]
    joined : float
        T_i of the rule set, 0 for none. [s]

    Returns
    -------
    list of Passes
        Arrays of shape (n,).
    """
    if len(emissions) == 1:
        one = 0.0 if emissions[0].kind == "continuous" else joined
        return list(effective_trains(emissions[0], pattern, stay, passes, duration, one))
    each = [
        trains_of((e,), pattern, stay[n : n + 1], passes[n : n + 1], duration, joined) for n, e in enumerate(emissions)
    ]
    longest = max(each, key=len)
    each = [[*own, *own[:1] * (len(longest) - len(own))] for own in each]
    return [
        Passes(longest[n].what, *(np.concatenate([getattr(own[n], name) for own in each]) for name in _COLUMNS))
        for n in range(len(longest))
    ]
