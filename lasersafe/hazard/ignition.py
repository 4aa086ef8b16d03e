"""How far a beam can set something alight, by screening values or by a threshold of the user.

The peak irradiance counts, since a fire starts at the hottest point. A screening value is no test of a material: below
it nothing is promised for dust, vapour, oxygen or long exposure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Literal

from lasersafe.data import As, Source, check, load
from lasersafe.hazard.distances import direct_distance
from lasersafe.optics.aperture import peak_exposure
from lasersafe.optics.checks import positive, within
from lasersafe.optics.geometry import BeamGeometry, diameters
from lasersafe.reference import shared_path

_PEAK_APERTURE = 1e-9  # m; so small that the average over it is the peak


@dataclass(frozen=True)
class IgnitionThreshold:
    """Irradiance [W/m2], and power [W] where there is one, above which something may burn; source and mark."""

    name: str
    irradiance: Annotated[float, As("irradiance_w_cm2", 1e4, printed=True)]
    source: str
    seen: Literal["read", "part", "memory", "own"]
    note: str
    power: Annotated[float, As("power_w", printed=True)] | None = None

    def __post_init__(self) -> None:
        """Refuse a threshold of nothing."""
        check(self.irradiance > 0.0, "the irradiance must be above 0")


@dataclass(frozen=True)
class _Screening:
    source: Source
    threshold: tuple[IgnitionThreshold, ...]


@dataclass(frozen=True)
class IgnitionVerdict:
    """One threshold at one place: peak irradiance there [W/m2], whether it may burn, how far that reaches [m].

    ``distance`` is infinite where the power alone is above the threshold.
    """

    threshold: IgnitionThreshold
    irradiance: float
    may_ignite: bool
    distance: float
    words: str


@lru_cache(maxsize=1)
def screening_thresholds() -> tuple[IgnitionThreshold, ...]:
    """Return the screening values of ``shared/ignition/screening.toml``.

    Raises
    ------
    ReferenceDataError
        If the file is damaged.
    """
    return load(_Screening, shared_path("ignition", "screening.toml")).threshold


def user_threshold(irradiance: float, words: str) -> IgnitionThreshold:
    """Return a threshold that the user states, with where it comes from.

    Parameters
    ----------
    irradiance : float
        Irradiance above which the material may burn. [W/m2]
    words : str
        Where it comes from; printed.

    Returns
    -------
    IgnitionThreshold
        The threshold.

    Raises
    ------
    OutOfRangeError
        If the irradiance is not positive and finite.
    """
    most = float(positive("ignition threshold", irradiance, "W/m2"))
    return IgnitionThreshold("stated in the case", most, words, "own", "")


def ignition_distance(mean_power: float, threshold: IgnitionThreshold, beam: BeamGeometry) -> float:
    """Return how far from the last optic the peak irradiance of a beam is above a threshold [1]_.

    Parameters
    ----------
    mean_power : float
        Power that goes on, of pulses their mean; all of it where the target may be cut through or missed. [W]
    threshold : IgnitionThreshold
        The threshold; its power figure is not used here.
    beam : BeamGeometry
        The beam, which goes on behind the target. [1]

    Returns
    -------
    float
        Distance from the last optic; 0.0 where the threshold is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.

    References
    ----------
    .. [1] Own: the range equation with the threshold in place of a limit.
    """
    return direct_distance(mean_power, threshold.irradiance, _PEAK_APERTURE, beam) * (1.0 + 1e-9)


def judge_ignition(
    mean_power: float,
    beam: BeamGeometry,
    place: float,
    thresholds: tuple[IgnitionThreshold, ...] | None = None,
) -> tuple[IgnitionVerdict, ...]:
    """Judge whether what stands at a place may be set alight [1]_.

    Parameters
    ----------
    mean_power : float
        Power that arrives, of pulses their mean. [W]
    beam : BeamGeometry
        The beam. [1]
    place : float
        From the last optic to the wall, door or object. [m]
    thresholds : tuple of IgnitionThreshold, optional
        What to compare with; left out, the screening values.

    Returns
    -------
    tuple of IgnitionVerdict
        One for each threshold. Nothing is called unlikely to burn unless the irradiance is at most the threshold.

    Raises
    ------
    OutOfRangeError
        If a number cannot be used.

    References
    ----------
    .. [1] TRADE-FIRE, screening values from memory (``shared/ignition/screening.toml``).
    """
    power = float(within("mean_power", mean_power, "W", 0.0, math.inf))
    dx, dy = (float(d) for d in diameters(beam, within("place", place, "m", 0.0, math.inf)))
    irradiance = float(peak_exposure(power, dx, dy)) if dx > 0.0 and dy > 0.0 else math.inf
    found = []
    for threshold in screening_thresholds() if thresholds is None else thresholds:
        strong = threshold.power is not None and not power <= threshold.power
        below = irradiance <= threshold.irradiance and not strong
        reach = math.inf if strong else ignition_distance(power, threshold, beam) if power > 0.0 else 0.0
        words = (
            f"peak {irradiance / 1e4:.3g} W/cm2 against {threshold.irradiance / 1e4:.3g} W/cm2 ({threshold.name}, "
            f"{threshold.source}, {threshold.seen})"
        )
        if strong:
            words += f"; the power is above {threshold.power:g} W"
        found.append(IgnitionVerdict(threshold, irradiance, not below, reach, words))
    return tuple(found)
