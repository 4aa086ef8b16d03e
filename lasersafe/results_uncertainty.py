"""How sure a result is: inputs with their tolerances, distances with their spread, and what changes them most.

Nothing here computes. No number here is a probability of injury.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class InputTolerance:
    """One input that carries a tolerance, and the value that the sheet calculates with."""

    field: str  # as laser[1].setup[2].divergence
    typed: str
    unit: str
    nominal: float
    low: float  # what the corner may take at least and at most
    high: float
    kind: str  # bound | standard uncertainty
    used: tuple[float, ...]  # values of the worst corner; of a setting that is searched, both ends of its range
    found: str  # monotone | search


@dataclass(frozen=True)
class Influence:
    """How much one input changes a distance."""

    name: str
    exponent: float  # per cent of distance per per cent of input, at the nominal values
    low: float | None  # [m] distance at both ends of its tolerance, all else nominal; None without a tolerance
    high: float | None
    known: float | None  # [m] the worst distance if this input were known exactly; None without a tolerance


@dataclass(frozen=True)
class DistanceSpread:
    """One distance with its spread."""

    laser: str
    setup: str
    way: str
    tissue: str
    nominal: float  # [m]
    worst: float  # [m] the worst corner of all bounds
    upper: float | None  # [m] 95 % one-sided value by Monte Carlo; None where no input carries a tolerance
    upper_error: float | None  # [m] Monte Carlo error of it: half of the 95 % interval that holds the true value
    draws: int
    seed: int
    influences: tuple[Influence, ...]  # strongest first
    note: str = ""


@dataclass(frozen=True)
class Uncertainty:
    """What the sheet says on how sure its distances are."""

    inputs: tuple[InputTolerance, ...] = ()
    spreads: tuple[DistanceSpread, ...] = ()
    measure: str = ""  # one sentence: what to measure to gain most
    corners: int = 1  # corners that were worked out for the sheet
    as_typed: str = ""  # why the sheet calculates with the values as typed instead, as the case says
