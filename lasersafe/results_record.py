"""What a sheet carries for the day and who signs it: controls, readings, facts, signatures."""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.results_step import EyewearNeed


@dataclass(frozen=True)
class ControlFinding:
    """A scenario above the limit that no substitute and no technical control in place answers."""

    scenario: str  # key
    laser: str
    setup: str
    person: str
    way: str
    tissue: str
    eyewear_alone: bool  # personal equipment is all that answers it


@dataclass(frozen=True)
class ReadingResult:
    """One reading, judged with the uncertainty of its instrument."""

    typed: str
    value: float
    unit: str
    uncertainty: float  # k = 2, as a share
    upper: float  # value and uncertainty
    expected: float
    above: bool  # not upper <= expected
    low: bool  # far below: the meter may have missed the beam
    instrument: str
    note: str = ""
    line: int | None = None


@dataclass(frozen=True)
class Expected:
    """What an instrument has to show at most at one place, for the acceptance test."""

    key: str
    laser: str
    setup: str
    what: str  # power | pulse energy | irradiance | behind eyewear
    where: str
    way: str
    distance: float  # [m] from the last optic; for scatter, from the surface
    value: float
    low: float  # below it the reading is doubtful
    unit: str
    numbers: str
    reading: ReadingResult | None = None


@dataclass(frozen=True)
class BeamFacts:
    """The beam of one set-up, as a notice or a card gives it."""

    setup: str
    fitted: bool
    kind: str
    profile: str
    waist_diameter: tuple[float, float]  # [m] at 1/e
    waist_position: tuple[float, float]  # [m] from the last optic
    divergence: tuple[float, float]  # [rad] full angle at 1/e


@dataclass(frozen=True)
class LaserFacts:
    """One laser as a casualty card, a door sign or a notice gives it; ranges are (low, high) in SI units."""

    name: str
    class_label: str
    serial: str
    wavelength: float
    handheld: bool
    kind: str  # continuous | single pulse | pulse train
    power: tuple[float, float] | None
    pulse_energy: tuple[float, float] | None
    pulse_duration: tuple[float, float] | None
    repetition_rate: tuple[float, float] | None
    beams: tuple[BeamFacts, ...]
    seen: tuple[str, ...]  # visible | invisible; both where the tolerance of the wavelength goes over an end
    eyewear: EyewearNeed | None = None  # what covers everybody, None where nobody needs any
    lines: tuple[LaserFacts, ...] = ()  # further wavelengths, each without beams of its own


@dataclass(frozen=True)
class StarterValue:
    """A record of the case that still says what one of a starter case says."""

    kind: str  # person | eyewear | barrier | reading | strike_out
    name: str  # of the person or barrier that it is about
    starter: str  # name of the starter case
    field: str  # as person[1]
    line: int | None = None


@dataclass(frozen=True)
class Record:
    """What a sheet carries for the day: area, acceptance test, findings, pages to hand out."""

    conditions: tuple[str, ...] = ()  # words of the wording that hold
    area: dict[str, str] = field(default_factory=dict)  # field of [area] -> as typed, "" when not stated
    lasers: tuple[LaserFacts, ...] = ()
    expected: tuple[Expected, ...] = ()
    findings: tuple[ControlFinding, ...] = ()
    review_by: str = ""
    starter_values: tuple[StarterValue, ...] = ()

    @property
    def to_be_read(self) -> tuple[Expected, ...]:
        """What has to be read: not the pulse energy where the mean power is read at the same place, unless it was."""
        powers = {(row.laser, row.setup, row.where, row.way) for row in self.expected if row.what == "power"}
        return tuple(
            row
            for row in self.expected
            if row.what != "pulse energy"
            or row.reading is not None
            or (row.laser, row.setup, row.where, row.way) not in powers
        )


@dataclass(frozen=True)
class RoleSigned:
    """One sign-off, as the record beside the case holds it."""

    role: str  # assessor | laser_safety_officer | operator | venue
    name: str
    at: str  # moment in UTC, as 2026-11-14T16:05:00Z
    conditions: str = ""
    expires: str = ""  # day, as 2027-03-01, or ""


@dataclass(frozen=True)
class SignOff:
    """What the sheet says about its signatures; nothing in it comes from a clock."""

    state: str = "draft"  # draft | signed | printed for signature
    required: tuple[str, ...] = ("assessor", "laser_safety_officer", "operator", "venue")
    signed: tuple[RoleSigned, ...] = ()  # for the inputs of this sheet
    missing: tuple[str, ...] = ()  # required roles that have not signed
    reasons: tuple[str, ...] = ()  # why it is a draft
    changed: tuple[str, ...] = ()  # what changed since the last sign-off of other inputs
    review_by: str = ""
