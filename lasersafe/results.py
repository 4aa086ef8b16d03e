"""What an assessment is made of: frozen records in SI units, read by the sheet, the command line and JSON.

Nothing here computes. Distances are from the last optic of the laser unless a field says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.results_record import (
    BeamFacts,
    ControlFinding,
    Expected,
    LaserFacts,
    ReadingResult,
    Record,
    RoleSigned,
    SignOff,
    StarterValue,
)
from lasersafe.results_scene import SceneResult
from lasersafe.results_sources import (
    ClassCheck,
    ExtendedResult,
    KnobEffect,
    LineShare,
    ModuleResult,
    RuleLine,
    ScanPlace,
    ScanResult,
    SettingReport,
    SumResult,
    UltravioletDay,
)
from lasersafe.results_step import Criterion, EyewearNeed, MarkingVerdict, ScaleNeed, Step, Zone
from lasersafe.results_uncertainty import Uncertainty
from lasersafe.wording import caution_line

__all__ = [
    "Assessment",
    "BarrierResult",
    "BeamFacts",
    "ChartData",
    "ChartMark",
    "ClassCheck",
    "Control",
    "ControlFinding",
    "Criterion",
    "Curve",
    "Decision",
    "Expected",
    "ExtendedResult",
    "EyewearNeed",
    "InputLine",
    "KnobEffect",
    "LaserFacts",
    "LimitLine",
    "LineShare",
    "MarkingVerdict",
    "ModuleResult",
    "ReadingResult",
    "Record",
    "RoleSigned",
    "RuleLine",
    "RuleSetDifference",
    "ScaleNeed",
    "ScanPlace",
    "ScanResult",
    "Scenario",
    "SettingReport",
    "SetupResult",
    "SignOff",
    "StarterValue",
    "Step",
    "StrikeOuts",
    "SumResult",
    "UltravioletDay",
    "Uncertainty",
    "Zone",
]


@dataclass(frozen=True)
class Curve:
    """One line of the irradiance-over-distance chart."""

    label: str
    tissue: str  # eye | skin | "" for a beam curve
    distance: tuple[float, ...]  # [m] from the last optic
    exposure: tuple[float, ...]  # W/m2, or J/m2 per pulse, see ChartData.unit


@dataclass(frozen=True)
class LimitLine:
    """A limit drawn across the chart."""

    label: str
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
    quantity: str  # irradiance | radiant exposure per pulse
    curves: tuple[Curve, ...]
    limits: tuple[LimitLine, ...]
    marks: tuple[ChartMark, ...]


@dataclass(frozen=True)
class SetupResult:
    """One laser with one set of optics."""

    laser: str
    setup: str
    fitted: bool
    beam: str  # one line: how the beam was described
    setting: str  # the worst point of the allowed settings, in words; "" when nothing can be turned
    zones: tuple[Zone, ...]
    chart: ChartData
    steps: tuple[Step, ...]  # from the text as typed to the beam in SI

    def zone(self, way: str, tissue: str) -> Zone:
        """Return the zone of one way and tissue."""
        return next(z for z in self.zones if z.way == way and z.tissue == tissue)


@dataclass(frozen=True)
class Scenario:
    """One person, one way for light to reach that person, one tissue."""

    key: str
    laser: str
    setup: str
    person: str
    role: str
    way: str
    tissue: str
    distance: float
    duration: float
    duration_reason: str
    exposure: float
    exposure_unit: str  # W/m2 | J/m2
    limit: float
    ratio: float
    below: bool  # exposure <= limit; False when either is NaN
    criterion: Criterion
    ratio_by_rule_set: dict[str, float] = field(default_factory=dict)
    surface: str = ""
    struck_out: str = ""  # the printed reason, when the case removes this scenario
    answer: str = ""  # what keeps the person below the limit all the same (a barrier that holds, eyewear), or ""
    controls: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    in_place: tuple[str, ...] = ()  # texts of the controls in place that answer it
    mode: str = "running"  # running | alignment | service | fault | scan failure | extended source
    shares: tuple[LineShare, ...] = ()  # of a laser with several wavelengths: what each adds to the ratio
    fractions: dict[tuple[str, str], float] = field(default_factory=dict)  # rule set, group in which it adds -> ratio
    placed: bool = False  # worked out from places of a scene; mode may then be several joined by ", "


@dataclass(frozen=True)
class BarrierResult:
    """What falls on a barrier, against what it is rated for."""

    barrier: str
    laser: str
    setup: str
    way: str
    distance: float
    irradiance: float  # W/m2, peak
    rating: float | None
    rated_time: float | None
    holds: bool  # False when unrated or NaN
    verdict: str
    notes: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    fitted: bool = True
    asked: bool = True  # whether the case says that it has to stop this way; if not, it answers for nobody
    pulse: float | None = None  # J/m2, peak of one pulse; None for continuous light
    pulse_rating: float | None = None  # J/m2


@dataclass(frozen=True)
class Control:
    """One control, in the order substitute - technical - organisational - personal."""

    kind: str  # substitute | technical | organisational | personal
    text: str
    answers: tuple[str, ...] = ()  # scenario keys or ways
    in_place: bool = False  # stated in the case; otherwise proposed by the wording
    persons: tuple[str, ...] = ()  # only these; () is everybody
    laser: str = ""  # only this one
    key: str = ""  # of the wording
    alone: bool = True  # False: it helps, but does not keep light from a person by itself


@dataclass(frozen=True)
class StrikeOuts:
    """What the case leaves out of the verdict, for the lasers as fitted: the count, and the worst of it."""

    count: int  # tables [[strike_out]], and persons of whom the case says that the direct beam cannot reach them
    ways: int = 0  # of one laser to one person each, as the table of scenarios lists them
    worst: Scenario | None = None  # the struck-out scenario with the highest ratio
    not_assessed: tuple[tuple[str, str], ...] = ()  # person and fitted laser, where the person is tied to another one


@dataclass(frozen=True)
class Decision:
    """The block that a producer reads aloud."""

    wear: str
    people: str
    barrier: str
    verdict: str
    passed: bool
    reasons: tuple[str, ...] = ()
    headline_distance: float | None = None  # [m] how far uninvolved people stand
    headline_tissue: str = "eye"
    strike_outs: StrikeOuts = StrikeOuts(0)


@dataclass(frozen=True)
class InputLine:
    """One input as typed."""

    field: str
    typed: str
    used: str  # what it became in SI, "" for plain text
    line: int | None = None


@dataclass(frozen=True)
class RuleSetDifference:
    """A result that differs by more than 1 % between the rule sets."""

    what: str
    values: dict[str, float]
    unit: str
    decided_by: str


@dataclass(frozen=True, repr=False)
class Assessment:
    """Everything that a sheet prints; nothing in it is computed later."""

    title: str
    place: str
    dates: str
    people: dict[str, str]  # role -> name
    rule_set: str
    rule_sets: tuple[str, ...]  # all that were worked out
    decision: Decision
    setups: tuple[SetupResult, ...]
    scenarios: tuple[Scenario, ...]  # highest ratio first
    eyewear: tuple[EyewearNeed, ...]
    barriers: tuple[BarrierResult, ...]
    controls: tuple[Control, ...]
    other_hazards: tuple[str, ...]  # keys of the wording file other_hazards.toml
    differences: tuple[RuleSetDifference, ...]
    inputs: tuple[InputLine, ...]
    notes: tuple[str, ...]
    fingerprint: str  # SHA-256 of the resolved case, rule sets, wording and version
    version: str
    language: str = "en"
    units: str = "metric"  # metric | metric and feet
    record: Record = field(default_factory=Record)
    draft_reasons: tuple[str, ...] = ()  # why the sheet cannot stop being a draft, whoever signs
    settings: tuple[SettingReport, ...] = ()
    class_checks: tuple[ClassCheck, ...] = ()
    ultraviolet: tuple[UltravioletDay, ...] = ()
    scans: tuple[ScanResult, ...] = ()
    sums: tuple[SumResult, ...] = ()
    modules: tuple[ModuleResult, ...] = ()
    extended: tuple[ExtendedResult, ...] = ()
    rules: tuple[str, ...] = ()  # which rule decided, one sentence each
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    scene: SceneResult | None = None  # where people, surfaces and barriers have places

    def __repr__(self) -> str:
        """Say what decides; all of it would fill the screen."""
        caution = caution_line(self.language)
        return f"Assessment of {self.title!r}\n{self.decision.verdict}\npeople: {self.decision.people}\n{caution}"
