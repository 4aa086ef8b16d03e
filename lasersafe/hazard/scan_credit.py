"""What a monitored scan-fail cut-off earns: credit only where the stopped beam passes its reaction time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.zones import exposure_at, worst_place
from lasersafe.optics.propagation import BeamGeometry
from lasersafe.wording.message import Message


@dataclass(frozen=True)
class ScanCredit:
    """Whether the movement of a scan may be counted at a place, and why."""

    given: bool
    reason: str
    ratio: float  # of the stopped beam, for the reaction time when there is one, else for the exposure


def scan_credit(
    rule_sets: tuple[str, ...],
    tissue: str,
    emission: Emission,
    beam: BeamGeometry,
    wavelength: float,
    distance: float,
    *,
    monitored: bool,
    reaction_time: float | None,
    factor: float = 1.0,
) -> ScanCredit:
    """Return whether a cut-off earns credit: the stopped beam for its reaction time has to be below the limit.

    Parameters
    ----------
    rule_sets : tuple of str
        Rule sets to work out; every one has to agree.
    tissue : str
        ``eye`` or ``skin``.
    emission : Emission
        The setting.
    beam : BeamGeometry
        The beam that is scanned.
    wavelength : float
        Wavelength. [m]
    distance : float
        Closest distance; places beyond it count as well. [m]
    monitored : bool
        Whether the movement is monitored and stops the laser.
    reaction_time : float or None
        From the failure to the last light. [s]
    factor : float
        Reflectance on the way. [1]

    Returns
    -------
    ScanCredit
        With the ratio of that further exposure.
    """
    if not monitored or reaction_time is None:
        return ScanCredit(False, Message("scan.no_cut_off"), math.inf)
    lit = emission.scaled(factor)
    time = reaction_time if emission.kind == "continuous" else max(reaction_time, emission.pulse_duration)
    worst = 0.0
    for rule_set in rule_sets:
        for c in criteria(rule_set, tissue, lit, wavelength, time, ALPHA_MIN):
            for place in worst_place(beam, distance, (c.limiting_aperture,)):
                value = exposure_at(beam, place, c) / c.limit
                worst = value if not value <= worst else worst
    below = bool(worst <= 1.0)
    reason = Message("scan.below" if below else "scan.above", time=f"{reaction_time:g} s")
    return ScanCredit(below, reason, worst)
