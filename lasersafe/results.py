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

from lasersafe.records.barriers import BarrierLoad
from lasersafe.records.day import BeamFacts as BeamFacts
from lasersafe.records.day import ControlFinding as ControlFinding
from lasersafe.records.day import Expected as Expected
from lasersafe.records.day import LaserFacts as LaserFacts
from lasersafe.records.day import ReadingResult as ReadingResult
from lasersafe.records.day import Record as Record
from lasersafe.records.day import RoleSigned as RoleSigned
from lasersafe.records.day import SignOff as SignOff
from lasersafe.records.day import StarterValue as StarterValue
from lasersafe.records.fields import HIDDEN, SAME, SPOKEN, badness, highest, or_none, told, worst_of_each
from lasersafe.records.scene import SceneResult
from lasersafe.records.sources import ClassCheck as ClassCheck
from lasersafe.records.sources import ExtendedResult as ExtendedResult
from lasersafe.records.sources import KnobEffect as KnobEffect
from lasersafe.records.sources import LineShare as LineShare
from lasersafe.records.sources import ModuleResult as ModuleResult
from lasersafe.records.sources import RuleLine as RuleLine
from lasersafe.records.sources import ScanPlace as ScanPlace
from lasersafe.records.sources import ScanResult as ScanResult
from lasersafe.records.sources import SettingReport as SettingReport
from lasersafe.records.sources import SumResult as SumResult
from lasersafe.records.sources import UltravioletDay as UltravioletDay
from lasersafe.records.sources import Uncertainty as Uncertainty
from lasersafe.records.step import Criterion as Criterion
from lasersafe.records.step import EyewearNeed as EyewearNeed
from lasersafe.records.step import MarkingVerdict as MarkingVerdict
from lasersafe.records.step import ScaleNeed as ScaleNeed
from lasersafe.records.step import Step as Step
from lasersafe.records.step import Zone as Zone
from lasersafe.wording import caution_line

GUESTS = ("spectator", "passer-by")  # roles of people who are not involved


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


def _direct_reach(zones: Sequence[Zone]) -> float:
    return max(badness(zone.distance) for zone in zones if zone.way == "direct")


@dataclass(frozen=True)
class SetupResult:
    """One laser with one set of optics."""

    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)
    fitted: bool
    beam: str = field(metadata=SPOKEN)  # one line: how the beam was described
    # the worst point of the allowed settings, in words; "" when nothing can be turned
    setting: str = field(metadata=told("worst_setting", spoken=True))
    zones: tuple[Zone, ...] = field(metadata=told(rank=1, worse=_direct_reach, each=worst_of_each))
    chart: ChartData = field(metadata=HIDDEN)
    steps: tuple[Step, ...] = field(metadata=HIDDEN)  # from the text as typed to the beam in SI

    def zone(self, way: str, tissue: str) -> Zone:
        """Return the zone of one way and tissue."""
        return next(z for z in self.zones if z.way == way and z.tissue == tissue)


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One person, one way for light to reach that person, one tissue."""

    key: str = field(metadata=HIDDEN)
    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)
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
    # the printed reason, when the case removes this scenario
    struck_out: str = field(default="", metadata=told(spoken=True, rank=1, worse=not_))
    criterion: Criterion = field(metadata=told(inside=("rule_set", "hazard", "rule")))
    controls: tuple[str, ...] = ()
    shares: tuple[LineShare, ...] = ()  # of a laser with several wavelengths: what each adds to the ratio
    steps: tuple[Step, ...] = ()
    surface: str = field(default="", metadata=told(hidden=True, spoken=True))
    in_place: tuple[str, ...] = field(default=(), metadata=HIDDEN)  # texts of the controls in place that answer it
    # rule set, group in which it adds -> ratio
    fractions: dict[tuple[str, str], float] = field(default_factory=dict, metadata=HIDDEN)
    # worked out from places of a scene
    placed: bool = field(default=False, metadata=HIDDEN)


def unanswered(scenarios: Iterable[Scenario]) -> list[Scenario]:
    """Return those above the limit that nothing answers, the worst first."""
    return sorted((one for one in scenarios if not one.below and not one.answer), key=lambda one: -badness(one.ratio))


@dataclass(frozen=True, kw_only=True)
class BarrierResult:
    """What falls on a barrier, against what it is rated for."""

    barrier: str = field(metadata=SAME)
    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)
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
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)


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
    barrier: str
    verdict: str
    passed: bool
    reasons: tuple[str, ...] = ()
    # [m] how far uninvolved people stand
    headline_distance: float | None = field(default=None, metadata=told("distance_m"))
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
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)  # of the distances


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
    eyewear: tuple[EyewearNeed, ...]
    barriers: tuple[BarrierResult, ...]
    controls: tuple[Control, ...]
    record: Record = field(
        default_factory=Record,
        metadata=told(inside=("findings", "expected", "area", "draft_reasons", "starter_values", "assumptions")),
    )
    differences: tuple[RuleSetDifference, ...]
    settings: tuple[SettingReport, ...] = ()
    class_checks: tuple[ClassCheck, ...] = ()
    ultraviolet: tuple[UltravioletDay, ...] = field(default=(), metadata=told("ultraviolet_days"))
    inputs: tuple[InputLine, ...]
    notes: tuple[str, ...]
    # where people, surfaces and barriers have places
    scene: SceneResult | None = field(default=None, metadata=told(endless=True))
    scans: tuple[ScanResult, ...] = field(default=(), metadata=told("scanned_beams"))
    sums: tuple[SumResult, ...] = ()
    modules: tuple[ModuleResult, ...] = ()
    extended: tuple[ExtendedResult, ...] = field(default=(), metadata=told("extended_sources"))
    # which rule decided, one sentence each
    rules: tuple[str, ...] = field(default=(), metadata=told("which_rule_decided", spoken=True))
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    language: str = field(default="en", metadata=told("caution", shown=caution_line))
    units: str = field(default="metric", metadata=HIDDEN)  # metric | metric and feet
    other_hazards: tuple[str, ...] = field(metadata=HIDDEN)  # keys of the wording file other_hazards.toml

    @property
    def counted(self) -> list[Scenario]:
        """The scenarios that the verdict counts: of what is fitted, and not struck out."""
        other = {(setup.laser, setup.setup) for setup in self.setups if not setup.fitted}
        return [one for one in self.scenarios if not one.struck_out and (one.laser, one.setup) not in other]

    def group_of(self, scenario: Scenario) -> str:
        """Return on which line of the answer a person counts: guests, cameras or crew."""
        if scenario.role in GUESTS:
            return "guests"
        return "cameras" if scenario.person in self.decision.aided else "crew"

    def __repr__(self) -> str:
        """Say what decides; all of it would fill the screen."""
        caution = caution_line(self.language)
        return f"Assessment of {self.title!r}\n{self.decision.verdict}\npeople: {self.decision.people}\n{caution}"
