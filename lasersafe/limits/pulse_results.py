"""What is returned for a train of pulses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lasersafe.limits.grid import Floats

Objects = NDArray[np.object_]


class Trains(NamedTuple):
    """Flat arrays of one length: the trains that are worked out together."""

    wavelength: Floats
    pulse: Floats
    rate: Floats
    duration: Floats
    angle: Floats
    area: Floats | None

    def part(self, where: slice) -> Trains:
        """Return a view of some trains."""
        area = None if self.area is None else self.area[where]
        return Trains(
            self.wavelength[where], self.pulse[where], self.rate[where], self.duration[where], self.angle[where], area
        )


class Columns(NamedTuple):
    """Columns of a `TrainRow` for one chunk."""

    per_pulse: Floats
    aperture: Floats
    pulses: Floats
    factor: Floats
    joined_within: Floats
    joined: Floats
    time: Floats
    limit: Floats
    source: Objects
    seen: Objects


@dataclass(frozen=True)
class TrainRow:
    """The limit per pulse that one rule sets for one hazard over one limiting aperture.

    Attributes
    ----------
    rule : str
        "single pulse", "mean" or "train".
    hazard : str
        Name of the hazard.
    per_pulse : numpy.ndarray, shape (...)
        Limit for each pulse, ``inf`` where the rule does not apply. [J/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Diameter over which a pulse is averaged, by the averaging time of the rule. [m]
    pulses : numpy.ndarray, shape (...)
        Number of pulses in the averaging window, or N of the train factor (pulses inside T_i count once). [1]
    pulse_factor : numpy.ndarray, shape (...)
        C_P; 1 for the other rules. [1]
    joined_within : numpy.ndarray, shape (...)
        T_i; NaN for the other rules. [s]
    pulses_joined : numpy.ndarray, shape (...)
        Number of pulses that count as one because they lie inside T_i. [1]
    averaging_time : numpy.ndarray, shape (...)
        Duration for which the limit was taken. [s]
    limit : numpy.ndarray, shape (...)
        Limit for that duration, before it is shared among the pulses. [J/m2]
    source, seen : numpy.ndarray of str, shape (...)
        Document and row, and how they were obtained.
    """

    rule: str
    hazard: str
    per_pulse: Floats
    limiting_aperture: Floats
    pulses: Floats
    pulse_factor: Floats
    joined_within: Floats
    pulses_joined: Floats
    averaging_time: Floats
    limit: Floats
    source: Objects
    seen: Objects


@dataclass(frozen=True)
class PulseTrainLimit:
    """The limit for each pulse of a train, and every rule that was worked out.

    Attributes
    ----------
    per_pulse : numpy.ndarray, shape (...)
        The lowest limit. [J/m2]
    deciding_rule, hazard, source : numpy.ndarray of str, shape (...)
        The rule and hazard that set it, and where they stand.
    limiting_aperture : numpy.ndarray, shape (...)
        Diameter that goes with the lowest limit; for a narrow beam compare every row with its own. [m]
    rows : tuple of TrainRow
        Every rule, hazard and limiting aperture.
    """

    rule_set: str
    tissue: str
    per_pulse: Floats
    deciding_rule: Objects
    hazard: Objects
    limiting_aperture: Floats
    source: Objects
    rows: tuple[TrainRow, ...]
