"""Beams that leave a module side by side, at an aperture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.optics.aperture import mean_exposure, thin
from lasersafe.optics.checks import FloatArray
from lasersafe.optics.geometry import BeamGeometry, diameters

_SEPARATE = 1.5e-3  # rad; sources nearer to each other than alpha_min are one


@dataclass(frozen=True)
class SideBySide:
    """Beams of a module that leave it next to each other, seen from one place."""

    separation: float  # angle between neighbours as seen from there [rad]
    sources: str  # "one source" or "several sources"
    joined: float  # fraction of the total that enters the aperture if all came through one point [1]
    offset: float  # fraction that enters when every beam keeps its place, at the worst place of the aperture [1]


def side_by_side(
    beam: BeamGeometry, count: tuple[int, int], pitch: tuple[float, float], distance: float, aperture: float = 7e-3
) -> SideBySide:
    """Return how the beams of a combined module meet an aperture [1]_.

    The bound, all beams as one point source, decides; the offset figure shows how far that bound is from the beams as
    they lie. Parallel beams keep one image on the retina however far apart they are, so no extended-source credit is
    given for a module of collimated beams.

    Parameters
    ----------
    beam : BeamGeometry
        One of the beams.
    count : tuple of int, (x, y)
        Beams in each direction.
    pitch : tuple of float, (x, y)
        Distance between the middles of neighbours. [m]
    distance : float
        From the module. [m]
    aperture : float
        Diameter of the limiting aperture. [m]

    Returns
    -------
    SideBySide
        With both fractions.

    References
    ----------
    .. [1] ICNIRP2013, source angle; sources that lie within alpha_min of each other count as one.
    """
    dx, dy = (float(d) for d in diameters(beam, distance))
    joined = float(mean_exposure(1.0, dx, dy, aperture, beam.profile)) * math.pi * aperture**2 / 4.0
    # Places in half pitches: the pupil is tried before each beam and between neighbours, up to the middle by symmetry.
    x, y = (np.arange(1 - n, n, 2) for n in count)
    across, along = (np.abs(one - np.arange(n)[:, np.newaxis]) for one, n in ((x, count[0]), (y, count[1])))
    away = np.hypot(*(np.meshgrid(*(np.arange(2 * n) * p / 2.0 for n, p in zip(count, pitch, strict=True)))))
    fraction = offset_fraction(max(dx, dy), aperture, away)
    offset = max(float(fraction[np.ix_(own_y, own_x)].mean()) for own_x in across for own_y in along)
    steps = [p for n, p in zip(count, pitch, strict=True) if n > 1]
    separation = min(steps) / distance if steps else 0.0
    words = "several sources" if separation > _SEPARATE else "one source"
    return SideBySide(separation, words, joined, min(offset, joined))


def offset_fraction(diameter: float, aperture: float, offset: ArrayLike) -> FloatArray:
    """Return the part of a Gaussian beam that passes an aperture beside its axis.

    Parameters
    ----------
    diameter : float
        Full 1/e diameter, 0 in a point focus. [m]
    aperture : float
        Diameter of the aperture. [m]
    offset : array_like, shape (...)
        From the axis of the beam to the middle of the aperture. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        From 0 to 1, by quadrature over the aperture. [1]
    """
    diameter = float(thin(diameter, aperture))
    away = np.asarray(offset, dtype=np.float64)[..., np.newaxis]
    nodes, weights = np.polynomial.legendre.leggauss(96)
    edge = 0.5 * aperture
    low = np.clip(away - 4.0 * diameter, -edge, edge)
    high = np.clip(away + 4.0 * diameter, -edge, edge)
    u = 0.5 * (high - low) * nodes + 0.5 * (high + low)
    weight = 0.5 * (high - low) * weights
    erf = np.vectorize(math.erf, otypes=[np.float64])
    chord = erf(2.0 * np.sqrt(np.maximum(edge**2 - u**2, 0.0)) / diameter)
    profile = np.exp(-np.square(2.0 * (u - away) / diameter)) * 2.0 / (diameter * math.sqrt(math.pi))
    return np.asarray(np.minimum((profile * chord * weight).sum(axis=-1), 1.0))
