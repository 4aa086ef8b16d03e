"""View windows, how near a rated barrier may stand, and what passes over or under it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lasersafe.hazard.barriers import TOLERANCE, BarrierVerdict, barrier_distance, judge_barrier
from lasersafe.hazard.distances import scatter_distance
from lasersafe.optics.checks import finite, floats, positive, within
from lasersafe.optics.geometry import BeamGeometry
from lasersafe.wording.message import Message


@dataclass(frozen=True)
class WindowVerdict:
    """Whether a view window holds: its optical density, what is needed, and the verdict on its damage."""

    holds: bool
    needed_density: float
    optical_density: float | None
    damage: BarrierVerdict
    words: str


def judge_window(
    exposure: float,
    limit: float,
    optical_density: float | None,
    irradiance: float,
    *,
    rating: float | None,
    rated_time: float | None = None,
    required_time: float | None = None,
    mean_power: float | None = None,
    pulse_energy: float | None = None,
    pulse_exposure: float | None = None,
    pulse_rating: float | None = None,
) -> WindowVerdict:
    """Judge a view window: it holds only when both its density and its resistance are enough [1]_.

    Parameters
    ----------
    exposure : float
        Exposure that would meet the eye without the window. [W/m2 or J/m2]
    limit : float
        Exposure limit of the eye. [W/m2 or J/m2]
    optical_density : float or None
        Density at this wavelength as its maker states it; None when not stated. [1]
    irradiance : float
        Peak irradiance on the window. [W/m2]
    rating : float or None
        Power density that the window withstands; None when not stated. [W/m2]
    rated_time : float, optional
        Time for which the rating is stated. [s]
    required_time : float, optional
        Time until the beam is surely off. [s]
    mean_power : float, optional
        Mean power of the beam. [W]
    pulse_energy : float, optional
        Energy of one pulse; None for continuous emission. [J]
    pulse_exposure : float, optional
        Peak radiant exposure of one pulse on the window; needed with pulses. [J/m2]
    pulse_rating : float, optional
        Radiant exposure of one pulse that the window withstands; None when not rated for pulses. [J/m2]

    Returns
    -------
    WindowVerdict
        The verdict; False when anything is unknown.

    Raises
    ------
    OutOfRangeError
        If the exposure is negative or the limit not positive, or one is not finite.

    References
    ----------
    .. [1] IEC60825-4, a window is part of the guard and has to last as long.

    Examples
    --------
    >>> judge_window(5e5, 50.0, 6.0, 4e4, rating=None).words
    'does not hold: density 6 is enough (4 needed), but it is not rated, so nothing is known about what it withstands'
    """
    level = float(within("exposure", exposure, "W/m2 or J/m2", 0.0, math.inf))
    most = float(positive("limit", limit, "W/m2 or J/m2"))
    needed = max(0.0, math.ceil(round(10.0 * math.log10(level / most), 9)) / 10.0) if level > 0.0 else 0.0
    damage = judge_barrier(
        irradiance, rating=rating, rated_time=rated_time, required_time=required_time, mean_power=mean_power,
        pulse_energy=pulse_energy, pulse_exposure=pulse_exposure, pulse_rating=pulse_rating,
    )  # fmt: skip
    known = optical_density is not None and math.isfinite(optical_density)
    dense = known and optical_density is not None and level * 10.0**-optical_density <= most
    holds = bool(dense and damage.holds)
    if not known:
        key = "window.no_density"
    elif not dense:
        key = "window.too_low"
    else:
        key = "window.holds" if damage.holds else "window.damaged"
    density = "" if optical_density is None else f"{optical_density:g}"
    why = Message(key, density=density, needed=f"{needed:g}", why=damage.verdict.values["why"])
    words = Message("barrier.holds" if holds else "barrier.fails", why=why)
    return WindowVerdict(holds, needed, optical_density, damage, words)


def rated_distances(
    power: float,
    rating: float,
    beam: BeamGeometry,
    *,
    mirror_reflectance: float = 1.0,
    mirror_beam: BeamGeometry | None = None,
    scatter_reflectance: float = 1.0,
    model: str = "lambert",
) -> dict[str, float]:
    """Return how near a barrier of a rating may stand, for each way that light takes [1]_.

    Parameters
    ----------
    power : float
        Power of the beam. [W]
    rating : float
        Power density that the barrier withstands. [W/m2]
    beam : BeamGeometry
        The beam. [1]
    mirror_reflectance : float
        Of the worst mirror. [1]
    mirror_beam : BeamGeometry, optional
        The beam behind a curved mirror, its distances from there; left out, a flat mirror, along the folded path. [1]
    scatter_reflectance : float
        Of the worst scatterer. [1]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    dict of str to float
        ``direct`` from the last optic; ``mirror`` from the last optic along the folded path, or from a curved mirror;
        ``scatter`` from the lit spot. 0 where the rating is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] Own: the range equation with the rating in place of a limit.
    """
    part = float(within("mirror_reflectance", mirror_reflectance, "", 0.0, 1.0))
    scatter = float(scatter_distance(power, rating, scatter_reflectance, 0.0, model)) * (1.0 + TOLERANCE)
    return {
        "direct": barrier_distance(power, rating, beam),
        "mirror": barrier_distance(power * part, rating, mirror_beam or beam) if part > 0.0 else 0.0,
        "scatter": scatter,
    }


def needed_height(
    source_heights: tuple[float, float], to_barrier: float, to_person: float, highest_place: float
) -> float:
    """Return how high a barrier must reach so that no straight line meets a place behind it [1]_.

    Parameters
    ----------
    source_heights : tuple of float, (lowest, highest)
        Where the light can start. [m]
    to_barrier : float
        From the source to the barrier. [m]
    to_person : float
        From the source to the nearest person behind it. [m]
    highest_place : float
        Highest place that has to be in the shade, as the eye of a tall person or a raised hand. [m]

    Returns
    -------
    float
        Height of the upper edge that serves persons there and farther away. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the person stands before the barrier.

    References
    ----------
    .. [1] Elementary: straight lines past an edge.
    """
    near = float(positive("to_barrier", to_barrier, "m"))
    far = float(within("to_person", to_person, "m", near, math.inf))
    place = float(finite("highest_place", highest_place, "m"))
    ends = [float(finite("source_heights", h, "m")) for h in floats("source_heights", source_heights)]
    # past a person farther away, the line to a lower place rises towards the height of the source
    return max(max(h, h + (place - h) * near / far) for h in ends)


def can_be_reached_over(top: float, reach_height: float = 2.70) -> bool:
    """Return whether somebody can reach over a barrier; True unless it is surely higher than the reach [1]_.

    Parameters
    ----------
    top : float
        Height of the upper edge above the place where people stand. [m]
    reach_height : float
        Height that people are taken to reach. [m]

    Returns
    -------
    bool
        True also when a number is not finite.

    References
    ----------
    .. [1] DGUV203-036, 12.1: 2.70 m above any place where people stand.
    """
    return not (math.isfinite(top) and top >= reach_height)
