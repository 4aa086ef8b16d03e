"""What an assessment is made of: frozen records in SI units, read by the sheet, the command line and JSON.

Nothing here computes. Distances are from the last optic of the laser unless a field says otherwise.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from operator import not_
from typing import NamedTuple

from lasersafe import records
from lasersafe.records import HIDDEN, SAME, SPOKEN, OfSetup, badness, highest, or_none, told, worst_of_each
from lasersafe.records.scene import BarrierLine, BarrierLoad, SceneResult
from lasersafe.wording import caution_line

GUESTS = ("spectator", "passer-by")  # roles of people who are not involved


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
    eyewear: records.EyewearNeed | None = field(default=None, metadata=HIDDEN)
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


@dataclass(frozen=True)
class Curve:
    """One line of the irradiance-over-distance chart."""

    label: str = field(metadata=SPOKEN)
    tissue: str  # eye | skin | "" for a beam curve
    distance: tuple[float, ...]  # [m] from the last optic
    exposure: tuple[float, ...]  # W/m2, or J/m2 per pulse, see ChartData.unit


@dataclass(frozen=True)
class LimitLine:
    """A limit drawn across the chart."""

    label: str = field(metadata=SPOKEN)
    value: float


@dataclass(frozen=True)
class ChartMark:
    """A person or barrier marked on the distance axis."""

    label: str
    kind: str  # person | barrier
    distance: float


@dataclass(frozen=True)
class ChartData:
    """Everything that the chart of one set-up draws."""

    title: str
    unit: str  # W/m2 or J/m2
    quantity: str = field(metadata=SPOKEN)  # irradiance | radiant exposure per pulse
    curves: tuple[Curve, ...]
    limits: tuple[LimitLine, ...]
    marks: tuple[ChartMark, ...]


@dataclass(frozen=True)
class SetupResult(OfSetup):
    """One laser with one set of optics."""

    fitted: bool
    beam: str = field(metadata=SPOKEN)  # one line: how the beam was described
    # the worst point of the allowed settings, in words; "" when nothing can be turned
    setting: str = field(metadata=told("worst_setting", spoken=True))
    zones: tuple[records.Zone, ...] = field(
        metadata=told(
            rank=1, worse=lambda zones: max(badness(one.distance) for one in zones if one.way == "direct"),
            each=worst_of_each,
        )
    )  # fmt: skip
    chart: ChartData = field(metadata=HIDDEN)
    steps: tuple[records.Step, ...] = field(metadata=HIDDEN)  # from the text as typed to the beam in SI

    def zone(self, way: str, tissue: str) -> records.Zone:
        """Return the zone of one way and tissue."""
        return next(z for z in self.zones if z.way == way and z.tissue == tissue)


@dataclass(frozen=True, kw_only=True)
class Scenario(OfSetup):
    """One person, one way for light to reach that person, one tissue."""

    key: str = field(metadata=HIDDEN)
    person: str = field(metadata=SAME)
    role: str
    way: str = field(metadata=SAME)
    # running | alignment | service | fault | scan failure | extended source; in a scene all that give the same
    modes: tuple[str, ...] = field(default=("running",), metadata=told("mode", same=True, shown=", ".join))
    tissue: str = field(metadata=SAME)
    distance: float = field(metadata=told("distance_m"))
    duration: float = field(metadata=told("duration_s"))
    duration_reason: str = field(metadata=SPOKEN)
    exposure: float = field(metadata=told(unit="exposure_unit"))
    exposure_unit: str = field(metadata=HIDDEN)  # W/m2 | J/m2
    limit: float = field(metadata=told(unit="exposure_unit"))
    ratio: float = field(metadata=told(rank=4, worse=badness))
    ratio_by_rule_set: dict[str, float] = field(default_factory=dict, metadata=told(each=highest))
    below: bool = field(metadata=told("below_limit", rank=2, worse=not_))  # exposure <= limit; False when either is NaN
    # what keeps the person below the limit all the same (a barrier that holds, eyewear), or ""
    answer: str = field(default="", metadata=told(rank=3, worse=not_))
    held: tuple[str, str] = field(default=("", ""), metadata=HIDDEN)  # barrier and way, of one that fails on another
    # the printed reason, when the case removes this scenario
    struck_out: str = field(default="", metadata=told(spoken=True, rank=1, worse=not_))
    criterion: records.Criterion = field(metadata=told(inside=("rule_set", "hazard", "rule")))
    controls: tuple[str, ...] = ()
    shares: tuple[records.LineShare, ...] = ()  # of a laser with several wavelengths: what each adds to the ratio
    steps: tuple[records.Step, ...] = ()
    surface: str = field(default="", metadata=told(hidden=True, spoken=True))
    in_place: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # texts of the controls in place that answer it
    # rule set, group in which it adds -> ratio
    fractions: dict[tuple[str, str], float] = field(default_factory=dict, metadata=HIDDEN)
    # worked out from places of a scene
    placed: bool = field(default=False, metadata=HIDDEN)

    @property
    def of_one(self) -> float:
        """What one watt or joule that the laser sends brings to each area [1/m2]; NaN of an extended source."""
        return self.exposure / (self.criterion.amount or math.nan)


def unanswered(scenarios: Iterable[Scenario]) -> list[Scenario]:
    """Return those above the limit that nothing answers, the worst first."""
    return sorted((one for one in scenarios if not one.below and not one.answer), key=lambda one: -badness(one.ratio))


@dataclass(frozen=True, kw_only=True)
class BarrierResult(OfSetup):
    """What falls on a barrier, against what it is rated for."""

    barrier: str = field(metadata=SAME)
    way: str = field(metadata=SAME)
    distance: float = field(metadata=told("distance_m"))
    irradiance: float = field(metadata=told("irradiance_W_per_m2", rank=2, worse=badness, each=highest))  # W/m2, peak
    rating: float | None = field(metadata=told("rating_W_per_m2"))
    rated_time: float | None = field(metadata=told("rated_time_s"))
    # J/m2, peak of one pulse; None for continuous light
    pulse: float | None = field(default=None, metadata=told("pulse_J_per_m2", each=highest))
    pulse_rating: float | None = field(default=None, metadata=told("pulse_rating_J_per_m2"))  # J/m2
    fitted: bool = True
    asked: bool = True  # whether the case says that it has to stop this way; if not, it answers for nobody
    holds: bool = field(metadata=told(rank=1, worse=not_))  # False when unrated or NaN
    verdict: str = field(metadata=SPOKEN)
    notes: tuple[str, ...] = field(default=(), metadata=SPOKEN)
    steps: tuple[records.Step, ...] = field(default=(), metadata=HIDDEN)


def by_distance(results: Sequence[BarrierResult], lines: Sequence[BarrierLine]) -> list[BarrierResult]:
    """Return what falls on barriers at their stated distance, but for what is judged by the place of both."""
    drawn = {line.name for line in lines}
    return [one for one in results if not one.fitted or one.barrier not in drawn]


@dataclass(frozen=True)
class Control:
    """One control, in the order substitute - technical - organisational - personal."""

    kind: str  # substitute | technical | organisational | personal
    key: str = field(default="", kw_only=True)  # of the wording
    text: str
    in_place: bool = field(default=False, kw_only=True)  # stated in the case; otherwise proposed by the wording
    answers: tuple[str, ...] = ()  # scenario keys or ways
    persons: tuple[str, ...] = ()  # only these; () is everybody
    laser: str = field(default="", metadata=told(shown=or_none))  # only this one
    # False: it helps, but does not keep light from a person by itself
    alone: bool = field(default=True, metadata=HIDDEN)


class NotAssessed(NamedTuple):
    """A person and a fitted laser, where the person is tied to another one."""

    person: str
    laser: str


@dataclass(frozen=True)
class StrikeOuts:
    """What the case leaves out of the verdict, for the lasers as fitted: the count, and the worst of it."""

    count: int  # tables [[strike_out]], and persons of whom the case says that the direct beam cannot reach them
    ways: int = 0  # of one laser to one person each, as the table of scenarios lists them
    # person and fitted laser, where the person is tied to another one
    not_assessed: tuple[NotAssessed, ...] = field(default=(), kw_only=True)
    worst: Scenario | None = field(
        default=None,
        metadata=told(only=("person", "laser", "setup", "way", "modes", "tissue", "ratio", "struck_out:reason")),
    )  # the struck-out scenario with the highest ratio


@dataclass(frozen=True)
class Decision:
    """The block that a producer reads aloud."""

    wear: str
    people: str
    barrier: str  # what has to be stopped where no barrier is asked for it; "" where `loads` say it
    verdict: str
    passed: bool
    reasons: tuple[str, ...] = ()
    # [m] how far uninvolved people stand
    headline_distance: float = field(default=math.inf, metadata=told("distance_m"))
    headline_tissue: str = field(default="eye", metadata=HIDDEN)
    # [m] from the lit spot, once beam and reflections are stopped
    scatter_distance: float = field(default=math.inf, metadata=HIDDEN)
    # [m] from the last optic for whoever may look through an instrument
    aided_distance: float = field(default=math.inf, metadata=HIDDEN)
    aided: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # persons with an optical aid who are no guests
    points: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # what the verdict lists, one by one
    worn: tuple[tuple[str, tuple[str, ...]], ...] = field(default=(), metadata=HIDDEN)  # laser, and what to wear
    loads: tuple[BarrierLoad, ...] = field(default=(), metadata=HIDDEN)  # what barriers are there for
    barrier_remarks: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # what passes above them or through them
    causes: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # the reasons against it that no other record holds
    grounds: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # what else no other record holds
    strike_outs: StrikeOuts = StrikeOuts(0)
    steps: tuple[records.Step, ...] = field(default=(), metadata=HIDDEN)  # of the distances
    answered: bool = field(default=False, metadata=HIDDEN)  # a barrier or eyewear answers what is above the limit

    @property
    def passing(self) -> str:
        """Name of the sentence with which it passes: all or a part of what is there, with answers or without any."""
        part = self.strike_outs.count or self.strike_outs.not_assessed
        return ("part" if part else "all") + ("_answered" if self.answered else "")


@dataclass(frozen=True)
class InputLine:
    """One input as typed."""

    field: str
    typed: str
    used: str = dataclasses.field(metadata=SPOKEN)  # what it became in SI, "" for plain text
    line: int | None = None


@dataclass(frozen=True)
class RuleSetDifference:
    """A result that differs by more than 1 % between the rule sets."""

    what: str = field(metadata=SPOKEN)
    values: dict[str, float] = field(metadata=told(unit="unit"))
    unit: str = field(metadata=HIDDEN)
    decided_by: str


@dataclass(frozen=True, kw_only=True, repr=False)
class Assessment:
    """Everything that a sheet prints; nothing in it is computed later."""

    title: str
    place: str
    dates: str
    people: dict[str, str]  # role -> name
    rule_set: str
    rule_sets: tuple[str, ...]  # all that were worked out
    fingerprint: str  # SHA-256 of the resolved case, rule sets, wording and version
    version: str
    decision: Decision
    setups: tuple[SetupResult, ...]
    scenarios: tuple[Scenario, ...]  # highest ratio first
    eyewear: tuple[records.EyewearNeed, ...]
    barriers: tuple[BarrierResult, ...]
    controls: tuple[Control, ...]
    record: Record = field(
        default_factory=Record,
        metadata=told(inside=("findings", "expected", "area", "draft_reasons", "starter_values", "assumptions")),
    )
    differences: tuple[RuleSetDifference, ...]
    settings: tuple[records.SettingReport, ...] = ()
    class_checks: tuple[records.ClassCheck, ...] = ()
    ultraviolet: tuple[records.UltravioletDay, ...] = field(default=(), metadata=told("ultraviolet_days"))
    inputs: tuple[InputLine, ...]
    notes: tuple[str, ...]
    # where people, surfaces and barriers have places
    scene: SceneResult | None = field(default=None, metadata=told(endless=True))
    scans: tuple[records.ScanResult, ...] = field(default=(), metadata=told("scanned_beams"))
    sums: tuple[records.SumResult, ...] = ()
    modules: tuple[records.ModuleResult, ...] = ()
    extended: tuple[records.ExtendedResult, ...] = field(default=(), metadata=told("extended_sources"))
    # which rule decided, one sentence each
    rules: tuple[str, ...] = field(default=(), metadata=told("which_rule_decided", spoken=True))
    uncertainty: records.Uncertainty = field(default_factory=records.Uncertainty)
    language: str = field(default="en", metadata=told("caution", shown=caution_line))
    units: str = field(default="metric", metadata=HIDDEN)  # metric | metric and feet
    other_hazards: tuple[str, ...] = field(metadata=HIDDEN)  # keys of the wording file other_hazards.toml

    @property
    def counted(self) -> list[Scenario]:
        """The scenarios that the verdict counts: of what is fitted, and not struck out."""
        other = {(setup.laser, setup.setup) for setup in self.setups if not setup.fitted}
        return [one for one in self.scenarios if not one.struck_out and (one.laser, one.setup) not in other]

    @property
    def with_optics(self) -> bool:
        """Whether anything that is fitted was worked out for who looks through an instrument."""
        return any(zone.way == "aided" for setup in self.setups if setup.fitted for zone in setup.zones)

    @property
    def by_distance(self) -> list[BarrierResult]:
        """What falls on barriers at their stated distance, as far as that counts."""
        return by_distance(self.barriers, () if self.scene is None else self.scene.barriers)

    def group_of(self, scenario: Scenario) -> str:
        """Return on which line of the answer a person counts: guests, cameras or crew."""
        if scenario.role in GUESTS:
            return "guests"
        return "cameras" if scenario.person in self.decision.aided else "crew"

    def __repr__(self) -> str:
        """Say what decides; all of it would fill the screen."""
        caution = caution_line(self.language)
        return f"Assessment of {self.title!r}\n{self.decision.verdict}\npeople: {self.decision.people}\n{caution}"
