"""How sure a result is: inputs with their tolerances, distances with their spread, and what changes them most.

Nothing here computes. No number here is a probability of injury.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

from lasersafe.records.fields import or_none, told


@dataclass(frozen=True)
class InputTolerance:
    """One input that carries a tolerance, and the value that the sheet calculates with."""

    field: str  # as laser[1].setup[2].divergence
    typed: str
    unit: str
    nominal: float
    low: float = dataclasses.field(metadata=told("lowest"))  # what the corner may take at least and at most
    high: float = dataclasses.field(metadata=told("highest"))
    kind: str  # bound | standard uncertainty
    used: tuple[float, ...]  # values of the worst corner; of a setting that is searched, both ends of its range
    found: str = dataclasses.field(metadata=told("worse_end"))  # monotone | search


@dataclass(frozen=True)
class Influence:
    """How much one input changes a distance."""

    name: str = field(metadata=told("input"))
    # per cent of distance per per cent of input, at the nominal values
    exponent: float = field(metadata=told("percent_per_percent"))
    # [m] distance at both ends of its tolerance, all else nominal; None without a tolerance
    low: float | None = field(metadata=told("at_lowest_m"))
    high: float | None = field(metadata=told("at_highest_m"))
    # [m] the worst distance if this input were known exactly; None without a tolerance
    known: float | None = field(metadata=told("worst_if_known_m"))


@dataclass(frozen=True)
class DistanceSpread:
    """One distance with its spread."""

    laser: str
    setup: str
    way: str
    tissue: str
    nominal: float = field(metadata=told("nominal_m"))  # [m]
    worst: float = field(metadata=told("worst_corner_m"))  # [m] the worst corner of all bounds
    # [m] 95 % one-sided value by Monte Carlo; None where no input carries a tolerance
    upper: float | None = field(metadata=told("one_sided_95_percent_m"))
    # [m] Monte Carlo error of it: half of the 95 % interval that holds the true value
    upper_error: float | None = field(metadata=told("monte_carlo_error_m"))
    draws: int
    seed: int
    note: str = field(default="", kw_only=True)
    influences: tuple[Influence, ...]  # strongest first


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """What the sheet says on how sure its distances are."""

    decided_by: str = "worst corner"  # | as typed
    # why the sheet calculates with the values as typed instead, as the case says
    as_typed: str = field(default="", metadata=told("as_typed_reason", shown=or_none))
    corners: int = field(default=1, metadata=told("corners_worked_out"))  # corners that were worked out for the sheet
    measure: str = ""  # one sentence: what to measure to gain most
    inputs: tuple[InputTolerance, ...] = ()
    spreads: tuple[DistanceSpread, ...] = field(default=(), metadata=told("distances"))
