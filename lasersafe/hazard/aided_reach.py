"""How far light exceeds the limits of a rule set for an eye behind an instrument (ENOHD), beside `hazard.zones`."""

from __future__ import annotations

import numpy as np

from lasersafe.hazard.aided import Aid, aided_distance, aided_scatter_distance
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria, source_caps
from lasersafe.hazard.zones import Reach, _limits_of_angle
from lasersafe.optics.geometry import BeamGeometry
from lasersafe.results_step import Criterion


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

    def reach(c: Criterion) -> Reach:
        hole = c.limiting_aperture
        collected, gain = float(aid.collects(hole)), aid.gain(wavelength, hole)
        return Reach(aided_distance(c.amount, c.limit, hole, beam, collected, gain), c)

    compared = criteria(rule_set, "eye", emission.scaled(reflectance), wavelength, duration, ALPHA_MIN)
    return max((reach(c) for c in compared), key=lambda reach: reach.distance)


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
    spot = (spot_diameter, spot_diameter) if aid.glass else (0.0, 0.0)
    compared = criteria(rule_set, "eye", emission, wavelength, duration, ALPHA_MIN)
    deciding = max(compared, key=lambda c: c.amount / c.limit)
    functions = _limits_of_angle(rule_set, "eye", emission, wavelength, duration).functions()
    gains = [aid.gain(wavelength, c.limiting_aperture) for c in compared]
    if len(gains) != len(functions):  # one limit for a pattern of pulses, or a row without a limit
        gains = [max(gains)] * len(functions)
    distances = [
        aided_scatter_distance(
            deciding.amount, reflectance, view_angle, model, spot, function, gain, aid.magnification, float(cap)
        )
        for function, gain in zip(functions, gains, strict=True)
        for cap in source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
    ]
    return Reach(float(np.max(distances)), deciding)
