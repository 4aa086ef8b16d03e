"""Distances with loss in air, beside those without."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lasersafe.hazard.distances import direct_distance, farthest_crossing
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.atmosphere import transmitted
from lasersafe.optics.checks import FloatArray, within
from lasersafe.optics.geometry import BeamGeometry, diameters

_POINTS = 4000


@dataclass(frozen=True)
class WithAndWithoutLoss:
    """A distance without and with loss in air [m], and the attenuation coefficient [1/m]; a sheet shows both."""

    without_loss: float
    with_loss: float
    attenuation: float


def attenuated_distance(
    amount: float,
    limit: float,
    aperture: float,
    beam: BeamGeometry,
    attenuation: float,
    path_before: float = 0.0,
) -> WithAndWithoutLoss:
    """Return the farthest distance at which a beam exceeds a limit, with and without loss in air [1]_.

    Parameters
    ----------
    amount : float
        Power or energy of the beam. [W or J]
    limit : float
        Exposure limit. [W/m2 or J/m2]
    aperture : float
        Diameter of the limiting aperture. [m]
    beam : BeamGeometry
        The beam. [1]
    attenuation : float
        Attenuation coefficient. [m-1]
    path_before : float
        Way through air before the last optic, for a reflected beam. [m]

    Returns
    -------
    WithAndWithoutLoss
        Both distances; the one with loss is never the farther one.

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the distance is too large to compute.

    References
    ----------
    .. [1] Elementary: law of Beer and Lambert.
    """
    loss = float(within("attenuation", attenuation, "1/m", 0.0, math.inf))
    before = float(within("path_before", path_before, "m", 0.0, math.inf))
    bare = direct_distance(amount, limit, aperture, beam)
    if bare == 0.0 or loss == 0.0:
        return WithAndWithoutLoss(bare, bare, loss)

    def ratio(distance: FloatArray) -> FloatArray:
        dx, dy = diameters(beam, distance)
        exposure = mean_exposure(amount, dx, dy, aperture, beam.profile)
        return np.asarray(exposure * transmitted(loss, before + distance) / limit)

    far = bare * (1.0 + 1e-9)
    # beyond both waists the ratio only falls, so one bracket is enough; before them it is searched
    waist = max(beam.waist_position)
    near = waist if 0.0 < waist < bare and ratio(np.array([waist]))[0] > 1.0 else bare * 1e-9
    if ratio(np.array([far]))[0] > 1.0:  # the loss on this way is below the rounding of the numbers
        return WithAndWithoutLoss(bare, bare, loss)
    found = float(farthest_crossing(ratio, near, far, points=_POINTS if near < waist else 3))
    return WithAndWithoutLoss(bare, min(found, bare), loss)
