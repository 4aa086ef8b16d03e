"""Judge a barrier against what falls on it, and find how near to the laser a rated barrier may stand.

A rating is the threshold that its maker states: a power density for a time. An EN 12254 class is only looked at
inside the scope of that standard, and no table of its numbers exists here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from lasersafe.errors import InputError
from lasersafe.hazard.distances import direct_distance
from lasersafe.hazard.eyewear_tables import en12254, iec60825_4
from lasersafe.optics.propagation import BeamGeometry
from lasersafe.records.step import Step
from lasersafe.wording.message import Message, joined

TOLERANCE = 1e-9
_PEAK_APERTURE = 1e-9  # [m] so small that the average over it is the peak


@dataclass(frozen=True)
class BarrierVerdict:
    """Whether a barrier holds, in one sentence, with notes and steps; ``holds`` is False when anything is unknown."""

    holds: bool
    verdict: Message
    notes: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()


def judge_barrier(
    irradiance: float,
    *,
    rating: float | None,
    rated_time: float | None = None,
    required_time: float | None = None,
    mean_power: float | None = None,
    pulse_energy: float | None = None,
    repetition_rate: float | None = None,
    en12254_class: str | None = None,
    observed: bool = False,
    pulse_exposure: float | None = None,
    pulse_rating: float | None = None,
) -> BarrierVerdict:
    """Judge a barrier: it holds only when irradiance and time are both within what its maker states [1]_ [2]_.

    A number that is missing, not finite or not positive never lets a barrier hold.

    Parameters
    ----------
    irradiance : float
        Peak irradiance on the barrier, not averaged over an aperture. [W/m2]
    rating : float or None
        Power density that the barrier withstands; None when unrated. [W/m2]
    rated_time : float, optional
        Time for which the rating is stated; with an EN 12254 class in its scope the test time of that standard
        stands in. [s]
    required_time : float, optional
        Time until the beam is surely off; see `guard_time`. [s]
    mean_power : float, optional
        Mean power of the beam, for the scope of EN 12254. [W]
    pulse_energy : float, optional
        Energy of one pulse. [J]
    repetition_rate : float, optional
        Pulses per second; None for a single pulse or continuous emission. [Hz]
    en12254_class : str, optional
        The class as marked, as "AB5"; None when the barrier has none.
    observed : bool
        Whether somebody watches the barrier while the laser is on.
    pulse_exposure : float, optional
        Peak radiant exposure of one pulse on the barrier; needed with pulses. [J/m2]
    pulse_rating : float, optional
        Radiant exposure of one pulse that the barrier withstands; None when not rated for pulses. [J/m2]

    Returns
    -------
    BarrierVerdict
        The verdict with its notes and steps.

    References
    ----------
    .. [1] EN12254, scope (``shared/eyewear/en12254.toml``).
    .. [2] IEC60825-4 (``shared/eyewear/iec60825_4.toml``).

    Examples
    --------
    >>> judge_barrier(4.8e4, rating=1e5, rated_time=60.0, required_time=10.0).verdict
    'holds: 4.8e+04 W/m2 is within the rated 1e+05 W/m2 for 60 s, and 10 s are needed'
    """
    notes: list[str] = []
    marked = en12254_class.strip() if en12254_class is not None else ""
    if mean_power is None and pulse_energy is not None and repetition_rate is not None:
        mean_power = pulse_energy * repetition_rate
    outside = en12254_outside(mean_power, pulse_energy, observed)
    if marked:
        if outside:
            notes.append(Message("barrier.no_evidence", name=marked, why=joined(outside)))
        else:
            notes.append(Message("barrier.no_table", name=marked))
            rated_time = _standard_time(rated_time, pulse_energy, repetition_rate)
    elif outside:
        notes.append(Message("barrier.outside", why=joined(outside)))
    if pulse_energy is not None:
        notes.append(Message("barrier.density_only"))
    holds, why = _compare(irradiance, rating, rated_time, required_time)
    if marked and outside and holds:
        holds, why = False, Message("barrier.out_of_scope")
    if pulse_energy is not None and holds:
        holds, why = _compare_pulse(pulse_exposure, pulse_rating, why)
    steps = _steps(irradiance, rating)
    if pulse_exposure is not None and pulse_rating is not None and pulse_rating > 0.0:
        numbers = f"{pulse_exposure:.4g} J/m2 / {pulse_rating:.4g} J/m2"
        text, formula = Message("barrier.pulse_load"), Message("barrier.pulse_formula")
        ratio = pulse_exposure / pulse_rating
        steps += (Step("H/H_rated", text, formula, numbers, ratio, "1", Message("source.maker"), "own"),)
    return BarrierVerdict(holds, Message("barrier.holds" if holds else "barrier.fails", why=why), tuple(notes), steps)


def en12254_outside(mean_power: float | None, pulse_energy: float | None, observed: bool) -> tuple[str, ...]:
    """Return why a beam lies outside the scope of EN 12254; an empty tuple when it lies inside [1]_.

    Parameters
    ----------
    mean_power : float or None
        Mean power; None for a single pulse. [W]
    pulse_energy : float or None
        Energy of one pulse; None for continuous emission. [J]
    observed : bool
        Whether somebody watches the screen.

    Returns
    -------
    tuple of str
        The reasons.

    References
    ----------
    .. [1] EN12254, scope (``shared/eyewear/en12254.toml``).
    """
    scope = en12254().scope
    reasons = []
    if mean_power is None and pulse_energy is None:
        reasons.append(Message("barrier.scope_unknown"))
    if mean_power is not None and not 0 <= mean_power <= scope.mean_power * (1 + TOLERANCE):
        limit, value = f"{scope.mean_power:g} W", f"{mean_power:.4g} W"
        reasons.append(Message("barrier.scope_power", limit=limit, value=value))
    if pulse_energy is not None and not 0 <= pulse_energy <= scope.pulse_energy * (1 + TOLERANCE):
        limit, value = f"{scope.pulse_energy:g} J", f"{pulse_energy:.4g} J"
        reasons.append(Message("barrier.scope_energy", limit=limit, value=value))
    if scope.observed and not observed:
        reasons.append(Message("barrier.scope_watch"))
    return tuple(reasons)


def guard_time(guard_class: str) -> float:
    """Return the time that a guard of an IEC 60825-4 test class has to withstand the exposure [1]_.

    Parameters
    ----------
    guard_class : str
        "T1", automatic; "T2", inspected between short cycles; "T3", watched all the time.

    Returns
    -------
    float
        The time. [s]

    Raises
    ------
    InputError
        If the class is not one of these.

    References
    ----------
    .. [1] IEC60825-4, from memory (``shared/eyewear/iec60825_4.toml``).
    """
    classes = {entry.name: entry.time for entry in iec60825_4().classes}
    if guard_class not in classes:
        message = f"guard class = '{guard_class}': must be one of {', '.join(classes)}"
        raise InputError(message)
    return classes[guard_class]


def barrier_distance(power: float, rating: float, beam: BeamGeometry) -> float:
    """Return how far from the last optic a barrier has to stand so that its rating is kept.

    The farthest place where the peak irradiance is above the rating; the peak, since a barrier is pierced at its
    hottest point.

    Parameters
    ----------
    power : float
        Power that reaches the barrier. [W]
    rating : float
        Power density that the barrier withstands. [W/m2]
    beam : BeamGeometry
        The beam. [1]

    Returns
    -------
    float
        Distance from the last optic; 0.0 where the rating is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.
    """
    return float(direct_distance(power, rating, _PEAK_APERTURE, beam)) * (1 + TOLERANCE)


def _standard_time(rated_time: float | None, pulse_energy: float | None, repetition_rate: float | None) -> float | None:
    if rated_time is not None:
        return rated_time
    test = en12254().test
    if pulse_energy is None:
        return test.duration
    if repetition_rate is None or not repetition_rate > 0:
        return None
    return min(test.duration, test.pulses / repetition_rate)


def _compare(
    irradiance: float, rating: float | None, rated_time: float | None, required_time: float | None
) -> tuple[bool, Message]:
    if rating is None:
        return False, Message("barrier.unrated")
    if rated_time is None:
        return False, Message("barrier.no_time")
    if required_time is None:
        return False, Message("barrier.no_need")
    known = all(math.isfinite(number) for number in (irradiance, rating, rated_time, required_time))
    if not (known and irradiance >= 0 and rating > 0 and rated_time > 0 and required_time > 0):
        return False, Message("barrier.unusable")
    facts = {"load": f"{irradiance:.4g} W/m2", "rating": f"{rating:.4g} W/m2"}
    facts |= {"time": f"{rated_time:g} s", "needed": f"{required_time:g} s"}
    if not irradiance <= rating:
        ratio = irradiance / rating
        return False, Message("barrier.times" if ratio >= 1.05 else "barrier.above", ratio=f"{ratio:.3g}", **facts)
    lasts = rated_time >= required_time
    return lasts, Message("barrier.within" if lasts else "barrier.too_short", **facts)


def _compare_pulse(exposure: float | None, rating: float | None, why: Message) -> tuple[bool, Message]:
    """Return the verdict on one pulse, for a barrier that holds the mean power."""
    if rating is None:
        return False, Message("barrier.no_pulses")
    if exposure is None:
        return False, Message("barrier.pulse_unknown", rating=f"{rating:.4g} J/m2")
    if not math.isfinite(exposure) or not exposure <= rating:
        return False, Message("barrier.pulse", load=f"{exposure:.4g} J/m2", rating=f"{rating:.4g} J/m2")
    return True, why


def _steps(irradiance: float, rating: float | None) -> tuple[Step, ...]:
    if rating is None or not (math.isfinite(irradiance) and math.isfinite(rating) and rating > 0):
        return ()
    ratio = irradiance / rating
    return (
        Step("E_b", Message("barrier.peak"), "E_b", "", irradiance, "W/m2", "propagation", "own"),
        Step("E_b / rating", Message("barrier.part_used"), Message("barrier.part_formula"),
             f"{irradiance:.5g} W/m2 / {rating:.5g} W/m2", ratio, "1", Message("source.maker"), "own"),
    )  # fmt: skip
