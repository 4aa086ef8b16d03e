"""What an assessment is made of: frozen records in SI units, read by the sheet, the command line and JSON.

Nothing here computes. Distances are from the last optic of the laser unless a field says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.results_scene import SceneResult


@dataclass(frozen=True)
class Step:
    """One line of a calculation: symbol, formula, numbers put in, result, source."""

    symbol: str
    meaning: str
    formula: str
    numbers: str
    value: float
    unit: str
    source: str
    seen: str = "read"  # read | part | memory | common practice | own


@dataclass(frozen=True)
class Criterion:
    """One limit that an emission is compared with, under one rule of one rule set.

    ``amount`` (W or J) spread over the limiting aperture is compared with ``limit`` (W/m2 or J/m2).
    """

    rule_set: str
    tissue: str  # eye | skin
    hazard: str  # retina thermal, cornea thermal, ultraviolet photochemical ...
    rule: str  # continuous | single pulse | mean | train
    amount: float
    amount_unit: str  # W | J
    limit: float
    limit_unit: str  # W/m2 | J/m2
    limiting_aperture: float
    duration: float
    source: str
    seen: str = "read"
    note: str = ""
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class Zone:
    """How far one way for light reaches: the distance beyond which the computed exposure is below the limit."""

    way: str  # direct | mirror | scatter
    tissue: str  # eye | skin
    distance: float  # [m] from the last optic; for scatter, from the surface
    origin: str  # "last optic" or "surface"
    distance_from_focus: float | None  # [m] after a lens
    criterion: Criterion  # the one that decides
    by_rule_set: dict[str, float] = field(default_factory=dict)  # rule set -> distance [m]
    steps: tuple[Step, ...] = ()
    note: str = ""


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
    placed: bool = False  # worked out from places of a scene; mode may then be several joined by ", "


@dataclass(frozen=True)
class LineShare:
    """What one wavelength adds to a sum of fractions of a limit."""

    line: str
    wavelength: float  # [m]
    fraction: float  # exposure over limit [1]
    rule: str
    hazard: str


@dataclass(frozen=True)
class ScanPlace:
    """A scanned beam at one distance, at the slowest place of its pattern."""

    distance: float  # [m]
    pass_time: float  # longest stay in one period [s]
    pulses: float  # laser pulses in it, 0 for continuous emission
    passes: float  # in the exposure
    ratio: float  # exposure over limit while the scan runs
    standing: bool  # True where the pattern is too narrow to earn credit
    sentence: str


@dataclass(frozen=True)
class ScanResult:
    """How far a scanned beam reaches while it moves, when it stops, and in the reaction time of a cut-off."""

    laser: str
    setup: str
    fitted: bool
    tissue: str
    pattern: str  # in words
    duration: float  # [s]
    running: float  # [m] from the last optic
    stopped: float  # [m]
    reaction_time: float | None  # [s] of a monitored cut-off
    reaction: float | None  # [m] of the stopped beam for the reaction time
    running_by_rule_set: dict[str, float] = field(default_factory=dict)
    places: tuple[ScanPlace, ...] = ()
    credit: str = ""  # sentence: from where on the movement counts, or why not


@dataclass(frozen=True)
class SumResult:
    """How far the fractions of several wavelengths add up to more than 1."""

    laser: str
    setup: str
    way: str
    tissue: str
    group: str  # the tissue and mechanism in which the fractions add
    rule_set: str
    distance: float  # [m] of the sum
    alone: float  # [m] the farthest of one wavelength alone
    duration: float  # [s]
    shares: tuple[LineShare, ...]
    sentence: str = ""


@dataclass(frozen=True)
class ModuleResult:
    """The beams of a combined module at one person."""

    laser: str
    setup: str
    person: str
    distance: float
    separation: float  # angle between neighbours [rad]
    sources: str  # one source | several sources
    joined: float  # share of the power through the aperture, all as one point source: this decides
    offset: float  # share when each beam keeps its place; for comparison
    sentence: str = ""


@dataclass(frozen=True)
class ExtendedResult:
    """An extended source: how far it reaches, and where it is most hazardous to look at."""

    source: str
    laser: str
    tissue: str
    rule_set: str
    hazard: str
    rule: str
    duration: float
    distance: float  # [m] from the source
    worst_distance: float  # [m] most hazardous viewing distance
    worst_ratio: float
    angle: float  # [rad] that is credited there
    part: str  # which part of an array decides
    share: float  # of the power in that part
    radiance: float | None = None  # W/(m2 sr)
    radiance_limit: float | None = None
    radiance_source: str = ""
    sentence: str = ""
    by_rule_set: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class ScaleNeed:
    """The EN 207 scale number that one mode letter asks for."""

    mode: str  # D | I | R | M
    scale_number: int | None  # None: beyond what the standard knows
    density_value: float  # what the filter must withstand
    density_unit: str  # W/m2 | J/m2
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class MarkingVerdict:
    """What is to be thought of eyewear as marked."""

    text: str  # the marking as typed
    enough: bool
    verdict: str  # enough | not enough | wrong wavelength | not marked for this mode | cannot be read
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class EyewearNeed:
    """What eyewear has to carry at a stated closest distance."""

    laser: str
    setup: str
    person: str
    wavelength: float
    distance: float | None
    optical_density: float  # rounded up to 0.1
    optical_density_exact: float
    tissue: str
    scales: tuple[ScaleNeed, ...]
    decides: str  # sentence: which of density and damage class decides
    marking: str  # one line to ask for, as "1070 D LB8"
    reliable: bool
    no_reliance: str  # the reason, starting "no eyewear can be relied on here", or ""
    notes: tuple[str, ...] = ()
    verdict: MarkingVerdict | None = None  # on the eyewear that the person wears
    optical_density_skin: float = 0.0  # what would bring a direct hit below the skin limit, rounded up to 0.1
    steps: tuple[Step, ...] = ()


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


@dataclass(frozen=True)
class Record:
    """What a sheet carries for the day: area, acceptance test, findings, pages to hand out."""

    conditions: tuple[str, ...] = ()  # words of the wording that hold
    area: dict[str, str] = field(default_factory=dict)  # field of [area] -> as typed, "" when not stated
    lasers: tuple[LaserFacts, ...] = ()
    expected: tuple[Expected, ...] = ()
    findings: tuple[ControlFinding, ...] = ()
    review_by: str = ""


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


@dataclass(frozen=True)
class KnobEffect:
    """What it brings to hold one knob at its other end, or at half, while all others stay free."""

    knob: str
    now: str
    then: str
    ratio: float  # worst exposure over limit then, divided by the worst now; 1: brings nothing
    worst_then: str  # the worst of the settings that are left, in words


@dataclass(frozen=True)
class RuleLine:
    """One rule at the worst setting: every comparison side by side, the deciding one marked."""

    rule_set: str
    rule: str
    hazard: str
    limit: float
    unit: str  # J/m2 | W/m2
    limiting_aperture: float  # [m]
    share: float  # exposure over limit, as a share of the deciding one, for a wide beam
    decides: bool
    note: str
    source: str
    seen: str = "read"


@dataclass(frozen=True)
class SettingReport:
    """The worst of the settings that a user may turn, for one tissue, and what each knob is worth."""

    laser: str
    tissue: str
    duration: float
    setting: str
    sentence: str  # which rule decided, in one sentence
    rules: tuple[RuleLine, ...]
    effects: tuple[KnobEffect, ...] = ()
    others: tuple[str, ...] = ()  # settings that are worst for another aperture or rule


@dataclass(frozen=True)
class ClassCheck:
    """The class that the computed emission would fall into, next to the label; information, no classification."""

    laser: str
    setup: str
    label: str
    computed: str
    label_is_lower: bool
    sentence: str
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class UltravioletDay:
    """The ultraviolet doses of one person over a day, added up for one tissue and band."""

    person: str
    tissue: str
    band: str
    ratio: float
    below: bool  # ratio <= 1; False when NaN
    rule: str
    rule_set: str
    visits: tuple[str, ...]
    ratio_by_rule_set: dict[str, float] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
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
    scene: SceneResult | None = None  # where people, surfaces and barriers have places
