"""What a sheet carries for the day and who signs it: controls, readings, facts, signatures."""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.records.fields import HIDDEN, SAME, badness, or_none, told
from lasersafe.records.step import EyewearNeed


@dataclass(frozen=True)
class ControlFinding:
    """A scenario above the limit that no substitute and no technical control in place answers."""

    scenario: str = field(metadata=HIDDEN)  # key
    laser: str
    setup: str
    person: str
    way: str
    tissue: str
    eyewear_alone: bool  # personal equipment is all that answers it


@dataclass(frozen=True, kw_only=True)
class ReadingResult:
    """One reading, judged with the uncertainty of its instrument."""

    typed: str
    value: float = field(metadata=HIDDEN)
    unit: str = field(metadata=HIDDEN)
    upper: float = field(metadata=told(unit="unit"))  # value and uncertainty
    uncertainty: float  # k = 2, as a share
    expected: float = field(metadata=HIDDEN)
    above: bool  # not upper <= expected
    low: bool = field(metadata=told("doubtful"))  # far below: the meter may have missed the beam
    instrument: str
    note: str = field(default="", metadata=HIDDEN)
    line: int | None = field(default=None, metadata=HIDDEN)


@dataclass(frozen=True)
class Expected:
    """What an instrument has to show at most at one place, for the acceptance test."""

    key: str
    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)
    what: str = field(metadata=SAME)  # power | pulse energy | irradiance | behind eyewear
    where: str = field(metadata=SAME)
    way: str = field(metadata=SAME)
    distance: float = field(metadata=told("distance_m"))  # [m] from the last optic; for scatter, from the surface
    value: float = field(metadata=told("expected", unit="unit", rank=1, worse=badness))
    low: float = field(metadata=told("doubtful_below", unit="unit"))  # below it the reading is doubtful
    unit: str = field(metadata=told(hidden=True, same=True))
    numbers: str = field(metadata=told(hidden=True, spoken=True))
    place: tuple[float, float, float] | None = None  # [m] on a barrier of the scene, as aimed
    reading: ReadingResult | None = None


@dataclass(frozen=True)
class BeamFacts:
    """The beam of one set-up, as a notice or a card gives it."""

    setup: str
    fitted: bool
    kind: str
    profile: str = field(metadata=HIDDEN)
    waist_diameter: tuple[float, float] = field(metadata=told("waist_diameter_m"))  # [m] at 1/e
    waist_position: tuple[float, float] = field(metadata=told("waist_position_m"))  # [m] from the last optic
    divergence: tuple[float, float] = field(metadata=told("divergence_rad"))  # [rad] full angle at 1/e


@dataclass(frozen=True)
class LaserFacts:
    """One laser as a casualty card, a door sign or a notice gives it; ranges are (low, high) in SI units."""

    name: str
    class_label: str = field(metadata=told("class"))
    serial: str
    wavelength: float = field(metadata=told("wavelength_m"))
    handheld: bool = field(metadata=HIDDEN)
    kind: str = field(metadata=told("emission"))  # continuous | single pulse | pulse train
    power: tuple[float, float] | None = field(metadata=told("power_W"))
    pulse_energy: tuple[float, float] | None = field(metadata=told("pulse_energy_J"))
    pulse_duration: tuple[float, float] | None = field(metadata=told("pulse_duration_s"))
    repetition_rate: tuple[float, float] | None = field(metadata=told("repetition_rate_Hz"))
    beams: tuple[BeamFacts, ...] = field(metadata=HIDDEN)
    seen: tuple[str, ...]  # visible | invisible; both where the tolerance of the wavelength goes over an end
    # what covers everybody, None where nobody needs any
    eyewear: EyewearNeed | None = field(default=None, metadata=HIDDEN)
    # further wavelengths, each without beams of its own
    lines: tuple[LaserFacts, ...] = field(default=(), metadata=HIDDEN)


@dataclass(frozen=True)
class StarterValue:
    """A record of the case that still says what one of a starter case says, or a figure that is marked so."""

    kind: str  # person | eyewear | barrier | reading | strike_out | figure
    name: str  # of the person or barrier that it is about; of a figure, its field
    starter: str  # name of the starter case, "" for a figure that is marked
    field: str  # as person[1]
    line: int | None = None


@dataclass(frozen=True)
class Assumption:
    """Something that the case does not state: what stands for it, and what stating it could bring."""

    what: str  # divergence | beam_diameter | criterion | focal_length | setup | ... | surface | barrier | eyewear
    laser: str = field(metadata=told(shown=or_none))  # "" where it is about all
    value: str = field(metadata=told("assumed", shown=or_none))  # as it would be typed
    usual: str = field(metadata=told(shown=or_none))  # what it usually is
    # [m] how far the direct beam reaches, for a surface the scattered light: as assumed, and with what is usual
    now: float | None = field(metadata=told("distance_m"))
    known: float | None = field(metadata=told("distance_if_usual_m"))

    @property
    def gain(self) -> float:
        """How much shorter the distance could become. [m]."""
        return 0.0 if self.now is None or self.known is None else max(self.now - self.known, 0.0)


@dataclass(frozen=True)
class Record:
    """What a sheet carries for the day: area, acceptance test, findings, pages to hand out."""

    conditions: tuple[str, ...] = ()  # words of the wording that hold
    area: dict[str, str] = field(default_factory=dict)  # field of [area] -> as typed, "" when not stated
    lasers: tuple[LaserFacts, ...] = ()
    expected: tuple[Expected, ...] = field(default=(), metadata=told("acceptance"))
    findings: tuple[ControlFinding, ...] = field(default=(), metadata=told("control_findings"))
    review_by: str = ""
    starter_values: tuple[StarterValue, ...] = ()
    assumptions: tuple[Assumption, ...] = ()  # what costs most first
    unstated: tuple[str, ...] = ()  # fields of the case that have to be stated before anybody signs
    draft_reasons: tuple[str, ...] = ()  # why the sheet cannot stop being a draft, whoever signs

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
    for_them: str = ""  # why somebody else signs than the case names for the role


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
