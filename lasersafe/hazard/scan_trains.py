"""The effective trains of pulses that stand for a scanned beam that passes over an aperture."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.frozen import dataclass
from lasersafe.hazard.exposure import Emission
from lasersafe.limits import count_pulses, pulse_train_limit
from lasersafe.optics.scanning import ScanPattern

FLOAT = NDArray[np.float64]
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
    if wavelength >= 1e-4:
        return 11e-3
    return 7e-3 if tissue == "eye" and 400e-9 <= wavelength <= 1400e-9 else 3.5e-3


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


def effective_trains(
    emission: Emission, pattern: ScanPattern, stay: ArrayLike, duration: float, joined_within: float = 0.0
) -> Iterator[Passes]:
    """Yield the trains that stand for a scanned beam, all of which have to be below their limits [1]_.

    Passes of one period that reach the aperture are counted as one longer pulse. Pulses of the laser are counted one by
    one within a pass, one by one over the exposure, in groups within T_i, and as one pulse for each pass.

    Parameters
    ----------
    emission : Emission
        The setting of the laser; continuous or a pulse train.
    pattern : ScanPattern
        The pattern.
    stay : array_like, shape (...)
        Time within each period that the spot stays. [s]
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
    time = np.minimum(np.asarray(stay, dtype=np.float64), min(duration, pattern.period))
    period_rate = np.full_like(time, 1.0 / pattern.period)
    whole = np.full_like(time, duration)
    if emission.kind == "continuous":
        yield Passes("each pass as one pulse", emission.power * time, time, period_rate, whole)
        return
    pulse, rate = emission.pulse_duration, emission.repetition_rate
    longest = np.clip(time, min(pulse, duration), duration)
    count = np.asarray(count_pulses(np.maximum(longest, 1e-13), np.full_like(time, rate)))
    energy = np.full_like(time, emission.pulse_energy)
    short = np.full_like(time, min(pulse, duration))
    yield Passes("each pass as one pulse", count * energy, longest, np.minimum(period_rate, 1.0 / longest), whole)
    yield Passes("pulses within one pass", energy, short, np.full_like(time, rate), longest)
    yield Passes("all pulses of the exposure", energy, short, np.minimum(count * period_rate, rate), whole)
    if joined_within > pulse:
        span = np.minimum(longest, joined_within)
        group = np.minimum(np.asarray(count_pulses(span, np.full_like(time, rate))), count)
        groups = np.ceil(count / group)
        yield Passes(
            "pulses in groups within T_i", group * energy, span, np.minimum(groups * period_rate, 1.0 / span), whole
        )


def trains_of(
    emissions: tuple[Emission, ...], pattern: ScanPattern, stay: FLOAT, duration: float, joined: float
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
        return list(effective_trains(emissions[0], pattern, stay, duration, one))
    each = [trains_of((e,), pattern, stay[n : n + 1], duration, joined) for n, e in enumerate(emissions)]
    longest = max(each, key=len)
    each = [[*own, *own[:1] * (len(longest) - len(own))] for own in each]
    return [
        Passes(longest[n].what, *(np.concatenate([getattr(own[n], name) for own in each]) for name in _COLUMNS))
        for n in range(len(longest))
    ]
