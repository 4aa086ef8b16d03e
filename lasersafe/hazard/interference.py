"""How far a visible beam can disturb pilots and drivers: visual interference outdoors.

These levels are not exposure limits. A distance here never shortens a hazard distance, and whatever it says, the
aviation authority must be asked before a beam may leave the site.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

import numpy as np

from lasersafe.data import Printed, Seen, Source, check, load
from lasersafe.hazard.distances import direct_distance
from lasersafe.optics.checks import positive, within
from lasersafe.optics.geometry import BeamGeometry
from lasersafe.reference import shared_path

VISIBLE = (400e-9, 700e-9)  # m
_PEAK_APERTURE = 1e-9  # m; so small that the average over it is the peak


# W/m2, effective: flash blindness or after-image, glare, distraction (FAA-AC70-1, from memory)
LEVELS = {"sensitive": 1.0, "critical": 0.05, "laser-free": 0.0005}


@dataclass(frozen=True)
class Interference:
    """One level [W/m2], how far the beam is above it [m], and that or the hazard distance if farther [m]."""

    level: float
    distance: float
    to_keep: float


@dataclass(frozen=True)
class _Factor:
    wavelength: float
    cie: Printed
    ac70: Printed

    def __post_init__(self) -> None:
        check(0.0 < max(self.cie, self.ac70) <= 1.0, "factors must lie above 0 and be at most 1")


@dataclass(frozen=True)
class _Units:
    wavelength: Literal["nm"]
    cie: Literal["1"]
    ac70: Literal["1"]


@dataclass(frozen=True)
class _Factors:
    unit: _Units
    row: tuple[_Factor, ...]

    def __post_init__(self) -> None:
        check(all(one.wavelength < other.wavelength for one, other in pairwise(self.row)), "wavelengths must rise")


@dataclass(frozen=True)
class _Second:
    key: str
    locator: str
    seen: Seen


@dataclass(frozen=True)
class _Photopic:
    source: Source
    second: _Second
    data: _Factors


@lru_cache(maxsize=1)
def _photopic_rows() -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return wavelengths [nm] and the larger of the two factors at each."""
    rows = load(_Photopic, shared_path("photopic", "cie1924_v.toml")).data.row
    return tuple(row.wavelength for row in rows), tuple(max(row.cie, row.ac70) for row in rows)


def photopic_factor(wavelength: float) -> float:
    """Return the visual correction factor, 1 at 555 nm: the larger of two tables, between rows by its logarithm [1]_.

    Parameters
    ----------
    wavelength : float
        Wavelength, 400 nm to 700 nm. [m]

    Returns
    -------
    float
        Factor of the actual irradiance. [1]

    Raises
    ------
    OutOfRangeError
        If the wavelength is outside the table.

    References
    ----------
    .. [1] CIE-V-1924 and FAA-AC70-1, from memory (``shared/photopic/cie1924_v.toml``).

    Examples
    --------
    >>> photopic_factor(555e-9), round(photopic_factor(532e-9), 3)
    (1.0, 0.88)
    """
    light = float(within("wavelength", wavelength, "m", *VISIBLE))
    places, values = _photopic_rows()
    return min(1.0, math.exp(float(np.interp(round(light * 1e9, 6), places, np.log(values)))))


def interference(
    mean_power: float,
    wavelength: float,
    beam: BeamGeometry,
    hazard_distance: float,
) -> tuple[Interference, ...]:
    """Return how far a beam is above each level of visual interference [1]_.

    Parameters
    ----------
    mean_power : float
        Power, of pulses their mean. [W]
    wavelength : float
        Wavelength. [m]
    beam : BeamGeometry
        The beam. [1]
    hazard_distance : float
        Hazard distance of the eye for the same beam, which is kept where it is farther. [m]

    Returns
    -------
    tuple of Interference
        One for each level; empty for invisible light, which disturbs nobody and is as harmful.

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] FAA-AC70-1, zones and levels, from memory.
    """
    light = float(positive("wavelength", wavelength, "m"))
    nohd = float(within("hazard_distance", hazard_distance, "m", 0.0, math.inf))
    if not VISIBLE[0] <= light <= VISIBLE[1]:
        return ()
    found = []
    for level in LEVELS.values():
        distance = float(direct_distance(mean_power * photopic_factor(light), level, _PEAK_APERTURE, beam))
        found.append(Interference(level, distance, max(distance, nohd)))
    return tuple(found)
