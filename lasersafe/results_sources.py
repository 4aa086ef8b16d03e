"""Results on settings, pulses, scans, sums of wavelengths, modules and extended sources."""

from __future__ import annotations

from dataclasses import dataclass, field

from lasersafe.results_step import Step


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
