"""How far light exceeds the limits of a rule set for an eye behind an instrument (ENOHD), beside `hazard.zones`."""

from __future__ import annotations

import numpy as np

from lasersafe.hazard.aided import Aid, aided_distance, aided_scatter_distance
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria
from lasersafe.hazard.zones import Reach, _limits_of_angle
from lasersafe.optics.geometry import BeamGeometry


def aided_reach(
    rule_set: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    duration: float,
    aid: Aid,
    reflectance: float = 1.0,
) -> Reach:
    """Return how far a beam, or its flat mirror image, exceeds the limit of an eye with an instrument [1]_.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    emission : Emission
        The setting.
    beam : BeamGeometry
        The beam; behind a curved mirror the one that it sends on. [1]
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    aid : Aid
        The instrument.
    reflectance : float
        1 for the direct beam, the mirror's for a reflection. [1]

    Returns
    -------
    Reach
        Distance from the last optic, never below that of the bare eye.

    Raises
    ------
    OutOfRangeError
        If the rule set has no limit there, or a number cannot be used.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory.
    """
    gain = aid.gain(wavelength)
    reaches = [
        Reach(aided_distance(c.amount, c.limit, c.limiting_aperture, beam, aid.objective, gain), c)
        for c in criteria(rule_set, "eye", emission.scaled(reflectance), wavelength, duration, ALPHA_MIN)
    ]
    return max(reaches, key=lambda reach: reach.distance)


def aided_scatter_reach(
    rule_set: str,
    emission: Emission,
    wavelength: float,
    duration: float,
    aid: Aid,
    *,
    reflectance: float = 1.0,
    view_angle: float = 0.0,
    model: str = "lambert",
    spot_diameter: float = 0.0,
) -> Reach:
    """Return how far scatter exceeds the limit of an eye with an instrument; the magnified spot counts [1]_ [2]_.

    Parameters
    ----------
    rule_set : str
        Name of the rule set.
    emission : Emission
        The setting.
    wavelength : float
        Wavelength. [m]
    duration : float
        Exposure duration. [s]
    aid : Aid
        The instrument; one without credit for its glass earns none for its magnification.
    reflectance : float
        Diffuse reflectance of the surface; 1 is the bound. [1]
    view_angle : float
        Angle from the normal of the surface. [rad]
    model : str
        ``lambert`` or ``hemisphere``.
    spot_diameter : float
        1/e diameter of the lit spot; 0 gives no credit for an extended source. [m]

    Returns
    -------
    Reach
        Distance from the surface, with the comparison of a point source that reaches farthest.

    Raises
    ------
    OutOfRangeError
        If the rule set has no limit there, or a number cannot be used.

    References
    ----------
    .. [1] ANSI-Z136-1, appendix B, from memory.
    .. [2] ICNIRP2013, angular subtense: the magnified source counts.
    """
    gain = aid.gain(wavelength)
    spot = (spot_diameter, spot_diameter) if aid.glass else (0.0, 0.0)
    compared = criteria(rule_set, "eye", emission, wavelength, duration, ALPHA_MIN)
    deciding = max(compared, key=lambda c: c.amount / c.limit)
    distances = [
        aided_scatter_distance(deciding.amount, reflectance, view_angle, model, spot, function, gain, aid.magnification)
        for function in _limits_of_angle(rule_set, "eye", emission, wavelength, duration, None).functions()
    ]
    return Reach(float(np.max(distances)), deciding)
