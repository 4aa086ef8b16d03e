"""Records of light, as comparisons, zones, eyewear and scans; and what the fields of any record say of themselves.

The metadata of a field hold its key in JSON, which of two values is the worse, and whether it is spoken: `as_json`
writes any record as plain data, `worst` takes the worst of several; both know nothing of any record. Nothing else here
computes. No number here is a probability of injury.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import cache
from operator import not_
from typing import Any, TypeVar

C = TypeVar("C")
T = TypeVar("T")


@dataclass(frozen=True)
class Told:
    """What one field says of itself."""

    key: str = ""  # in JSON, with the unit; "" is the name of the field
    hidden: bool = False  # not in JSON
    unit: str = ""  # the field that holds the unit, which the key then ends with
    inside: tuple[str, ...] = ()  # fields of the record in this field that stand in its place
    only: tuple[str, ...] = ()  # all that is shown of the record in this field; "name:key" gives another key
    shown: Callable[[Any], Any] | None = None  # what is shown for the value
    endless: bool = False  # a number without end is shown as the text "inf"; otherwise as null
    spoken: bool = False  # holds words of the program, which other languages say in theirs
    same: bool = False  # what two records share that stand for the same thing
    rank: int = 0  # which of two records is the worse: the first rank at which they differ says it
    worse: Callable[[Any], Any] = bool  # higher of the worse value
    each: Callable[[Sequence[Any]], Any] | None = None  # the worst record carries this of the values of all


def told(key: str = "", **more: Any) -> dict[str, Told]:
    """Return the metadata of a field; the names are those of `Told`."""
    return {"told": Told(key, **more)}


HIDDEN, SPOKEN, SAME = told(hidden=True), told(spoken=True), told(same=True)


@dataclass(frozen=True)
class OfSetup:
    """What is found for one set-up of one laser."""

    laser: str = field(metadata=SAME)
    setup: str = field(metadata=SAME)


@cache
def told_of(kind: Any) -> tuple[tuple[str, Told], ...]:
    """Return the fields of a kind of record by name, each with what it says of itself."""
    return tuple((one.name, one.metadata.get("told", Told())) for one in fields(kind))


# ---------------------------------------------------------------------------------------------------------------------
# Plain data


def or_none(value: Any) -> Any:
    """Return None for what is empty; for `Told.shown`."""
    return value or None


def as_json(value: Any, only: Iterable[str] = (), endless: bool = False) -> Any:
    """Return a value as JSON knows it: records by their metadata, SI numbers, null for what is not a number.

    Parameters
    ----------
    value : any
        A record, or what stands in one.
    only : iterable of str
        Fields of the record, all that are not hidden when empty; ``name:key`` gives another key.
    endless : bool
        Whether an infinite number is told from one that is not known.
    """
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value) if endless and not math.isnan(value) else None
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        value = value._asdict()
    if isinstance(value, Mapping):
        return {key: as_json(one, (), endless) for key, one in value.items()}
    if isinstance(value, (tuple, list)):  # mostly coordinates
        return [one if type(one) is float and math.isfinite(one) else as_json(one, only, endless) for one in value]
    return dict(_entries(value, only, endless)) if is_dataclass(value) else value


@cache
def _wanted(kind: Any, only: tuple[str, ...]) -> list[tuple[str, str, Told]]:
    """Return the fields of a kind of record that JSON has, each with its key there, and what it says of itself."""
    every = dict(told_of(kind))
    names = [name.partition(":") for name in only] or [(name, "", "") for name, one in every.items() if not one.hidden]
    return [(name, key or every[name].key or name, every[name]) for name, _, key in names]


def _entries(record: Any, only: Iterable[str], endless: bool) -> Iterable[tuple[str, Any]]:
    kind: Any = type(record)
    for name, key, one in _wanted(kind, tuple(only)):
        value = getattr(record, name)
        if one.inside:
            yield from _entries(value, one.inside, endless)
            continue
        if one.shown is not None:
            value = one.shown(value)
        unit = f"_{getattr(record, one.unit).replace('/', '_per_')}" if one.unit else ""
        yield key + unit, as_json(value, one.only, endless or one.endless)


# ---------------------------------------------------------------------------------------------------------------------
# The worst of several


def badness(value: float) -> float:
    """Return a number to rank by: itself, or infinity when it is not a number.

    Examples
    --------
    >>> max([1.0, float("nan"), 3.0], key=badness)
    nan
    """
    return math.inf if math.isnan(value) else value


def highest(values: Iterable[Any]) -> Any:
    """Return the highest number, of tables the highest of each name; what is not a number counts as the highest.

    None stands for no number, and is the highest where there is no other.
    """
    every = [value for value in values if value is not None]
    if not every:
        return None
    if not isinstance(every[0], Mapping):
        return max(every, key=badness)
    names = dict.fromkeys(name for one in every for name in one)
    return {name: highest(one[name] for one in every if name in one) for name in names}


def rank(record: Any) -> tuple[Any, ...]:
    """Return what a record is ranked by; the worst has the highest."""
    ranked = sorted((one.rank, name, one.worse) for name, one in told_of(record.__class__) if one.rank)
    return tuple(worse(getattr(record, name)) for _, name, worse in ranked)


def worst(records: Sequence[T], also: Callable[[T, Sequence[T]], T] | None = None) -> T:
    """Return the worst of several records of one kind, the first of equals, with what it carries of all.

    Parameters
    ----------
    records : sequence
        At least one.
    also : callable, optional
        Takes the worst and all, returns what that becomes; without it the method ``among`` of the record, if any.
    """
    found: Any = max(records, key=rank)
    carried = {
        name: one.each([getattr(record, name) for record in records])
        for name, one in told_of(found.__class__)
        if one.each is not None
    }
    found = replace(found, **carried) if carried else found
    if also is None:
        also = getattr(type(found), "among", None)
    return found if also is None else also(found, records)


def grouped(lists: Iterable[Iterable[T]]) -> list[list[T]]:
    """Return the records of several lists in groups that stand for the same thing: the first such, the second."""
    groups: dict[Hashable, list[T]] = {}
    for entries in lists:
        seen: dict[Hashable, int] = {}
        for entry in entries:
            kind: Any = type(entry)
            name = tuple(getattr(entry, name) for name, one in told_of(kind) if one.same)
            seen[name] = seen.get(name, 0) + 1
            groups.setdefault((name, seen[name]), []).append(entry)
    return list(groups.values())


def worst_of_each(lists: Iterable[Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None) -> tuple[T, ...]:
    """Return the worst of each group of records that stand for the same thing in several lists; of one list as it is.

    Parameters
    ----------
    lists : iterable of iterables
        At least one.
    also : callable, optional
        As `worst` takes it.
    """
    every = [tuple(one) for one in lists]
    return every[0] if len(every) == 1 else tuple(worst(group, also) for group in grouped(every))


def over(
    corners: Sequence[C], each: Callable[[C], Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None
) -> tuple[T, ...]:
    """Return the records of every corner of the tolerances, of each thing the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its records.
    also : callable, optional
        As `worst` takes it.
    """
    return worst_of_each(map(each, corners), also)


# ---------------------------------------------------------------------------------------------------------------------
# Records


BY_RULE_SET = told("by_rule_set_m", each=highest)
UNKNOWN = "no figures"
CLASS_ORDER = ("1", "1M", "2", "2M", "3R", "3B", "3B or 4", "4", UNKNOWN)  # what is not known counts as the highest


@dataclass(frozen=True)
class LineShare:
    """What one wavelength adds to a sum of fractions of a limit."""

    line: str = field(metadata=SPOKEN)
    wavelength: float = field(metadata=told("wavelength_m"))  # [m]
    fraction: float = field(metadata=told(endless=True))  # exposure over limit [1]
    rule: str
    hazard: str = field(metadata=SPOKEN)


@dataclass(frozen=True)
class ScanPlace:
    """A scanned beam at one distance, at the slowest place of its pattern."""

    distance: float = field(metadata=told("distance_m"))  # [m]
    pass_time: float = field(metadata=told("pass_time_s"))  # longest stay in one period [s]
    pulses: float = field(metadata=told("pulses_per_pass"))  # laser pulses in it, 0 for continuous emission
    passes: float  # in the exposure
    ratio: float = field(metadata=told(endless=True, rank=1, worse=badness))  # exposure over limit while the scan runs
    standing: bool = field(metadata=told("counts_as_standing"))  # True where the pattern is too narrow to earn credit
    sentence: str = field(metadata=SPOKEN)


@dataclass(frozen=True, kw_only=True)
class ScanResult(OfSetup):
    """How far a scanned beam reaches while it moves, when it stops, and in the reaction time of a cut-off."""

    fitted: bool
    tissue: str = field(metadata=told(spoken=True, same=True))
    pattern: str = field(metadata=SPOKEN)  # in words
    duration: float = field(metadata=told("duration_s", each=highest))  # [s]
    running: float = field(metadata=told("running_distance_m", each=highest))  # [m] from the last optic
    running_by_rule_set: dict[str, float] = field(
        default_factory=dict, metadata=told("running_distance_by_rule_set_m", each=highest)
    )
    stopped: float = field(metadata=told("stopped_distance_m", each=highest))  # [m]
    reaction_time: float | None = field(metadata=told("reaction_time_s"))  # [s] of a monitored cut-off
    # [m] of the stopped beam for the reaction time; one that is not known is the worst
    reaction: float | None = field(
        metadata=told("reaction_distance_m", rank=1, worse=lambda far: (far is None, badness(far or 0.0)))
    )
    credit: str = field(default="", metadata=SPOKEN)  # sentence: from where on the movement counts, or why not
    places: tuple[ScanPlace, ...] = field(default=(), metadata=told(each=worst_of_each))


@dataclass(frozen=True)
class SumResult(OfSetup):
    """How far the fractions of several wavelengths add up to more than 1."""

    way: str = field(metadata=SAME)
    tissue: str = field(metadata=SAME)
    group: str = field(metadata=told("adds_in"))  # the tissue and mechanism in which the fractions add
    rule_set: str
    distance: float = field(metadata=told("distance_m", rank=1, worse=badness))  # [m] of the sum
    alone: float = field(metadata=told("distance_of_one_alone_m"))  # [m] the farthest of one wavelength alone
    duration: float = field(metadata=told("duration_s"))  # [s]
    shares: tuple[LineShare, ...]
    sentence: str = field(default="", metadata=told(hidden=True, spoken=True))


@dataclass(frozen=True)
class ModuleResult(OfSetup):
    """The beams of a combined module at one person."""

    person: str = field(metadata=SAME)
    distance: float = field(metadata=told("distance_m"))
    separation: float = field(metadata=told("separation_rad"))  # angle between neighbours [rad]
    sources: str  # one source | several sources
    # share of the power through the aperture, all as one point source: this decides
    joined: float = field(metadata=told("share_as_one_point", rank=1, worse=badness))
    # share when each beam keeps its place; for comparison
    offset: float = field(metadata=told("share_side_by_side", rank=2, worse=badness))
    sentence: str = field(default="", metadata=told(hidden=True, spoken=True))


@dataclass(frozen=True)
class ExtendedResult:
    """An extended source: how far it reaches, and where it is most hazardous to look at."""

    source: str = field(metadata=SAME)
    laser: str = field(metadata=SAME)
    tissue: str = field(metadata=told(spoken=True, same=True))
    rule_set: str
    hazard: str = field(metadata=SPOKEN)
    rule: str = field(metadata=SPOKEN)
    duration: float = field(metadata=told("duration_s"))
    distance: float = field(metadata=told("distance_m", each=highest))  # [m] from the source
    by_rule_set: dict[str, float] = field(default_factory=dict, kw_only=True, metadata=BY_RULE_SET)
    # [m] most hazardous viewing distance
    worst_distance: float = field(metadata=told("most_hazardous_viewing_distance_m"))
    worst_ratio: float = field(metadata=told("ratio_there", endless=True, rank=1, worse=badness))
    angle: float = field(metadata=told("angle_rad"))  # [rad] that is credited there
    part: str = field(metadata=SPOKEN)  # which part of an array decides
    share: float = field(metadata=told("share_of_power"))  # of the power in that part
    radiance: float | None = field(default=None, metadata=told("radiance_W_per_m2_sr"))  # W/(m2 sr)
    radiance_limit: float | None = field(default=None, metadata=told("radiance_limit_W_per_m2_sr"))
    radiance_source: str = field(default="", metadata=told("radiance_limit_source"))
    sentence: str = field(default="", metadata=told(hidden=True, spoken=True))

    def among(self, group: Sequence[ExtendedResult]) -> ExtendedResult:
        """Return this worst one of several with the radiance that comes nearest to its limit."""
        seen = [one for one in group if one.radiance is not None and one.radiance_limit is not None]
        top = max(seen, key=lambda one: badness((one.radiance or 0.0) / (one.radiance_limit or 1.0)), default=self)
        names = ("radiance", "radiance_limit", "radiance_source")
        return replace(self, **{name: getattr(top, name) for name in names})


@dataclass(frozen=True)
class KnobEffect:
    """What it brings to hold one knob at its other end, or at half, while all others stay free."""

    knob: str = field(metadata=SPOKEN)
    now: str = field(metadata=SPOKEN)
    then: str = field(metadata=SPOKEN)
    ratio: float  # worst exposure over limit then, divided by the worst now; 1: brings nothing
    worst_then: str = field(metadata=SPOKEN)  # the worst of the settings that are left, in words


@dataclass(frozen=True)
class RuleLine:
    """One rule at the worst setting: every comparison side by side, the deciding one marked."""

    rule_set: str
    rule: str = field(metadata=SPOKEN)
    hazard: str = field(metadata=SPOKEN)
    limit: float = field(metadata=told(unit="unit"))
    unit: str = field(metadata=HIDDEN)  # J/m2 | W/m2
    limiting_aperture: float = field(metadata=told("limiting_aperture_m"))  # [m]
    # exposure over limit, as a share of the deciding one, for a wide beam
    share: float = field(metadata=told("share_of_deciding"))
    decides: bool
    note: str = field(metadata=SPOKEN)
    source: str
    seen: str = "read"


@dataclass(frozen=True, kw_only=True)
class SettingReport:
    """The worst of the settings that a user may turn, for one tissue, and what each knob is worth."""

    laser: str = field(metadata=SAME)
    tissue: str = field(metadata=SAME)
    ratio: float = field(metadata=told(hidden=True, rank=1, worse=badness))  # of the worst setting in a wide beam
    duration: float = field(metadata=told("duration_s"))
    setting: str = field(metadata=told("worst_setting", spoken=True))
    sentence: str = field(metadata=told("why", spoken=True))  # which rule decided, in one sentence
    # settings that are worst for another aperture or rule
    others: tuple[str, ...] = field(default=(), metadata=told("worst_for_other_rules", spoken=True))
    effects: tuple[KnobEffect, ...] = field(default=(), metadata=told("knobs"))
    rules: tuple[RuleLine, ...]


@dataclass(frozen=True)
class ClassCheck(OfSetup):
    """The class that the computed emission would fall into, next to the label; information, no classification."""

    label: str
    computed: str = field(metadata=told(rank=2, worse=CLASS_ORDER.index))
    label_is_lower: bool = field(metadata=told(rank=1))
    sentence: str = field(metadata=told("text", spoken=True))
    steps: tuple[Step, ...] = ()


@dataclass(frozen=True)
class UltravioletDay:
    """The ultraviolet doses of one person over a day, added up for one tissue and band."""

    person: str = field(metadata=SAME)
    tissue: str = field(metadata=SAME)
    band: str = field(metadata=SAME)
    ratio: float = field(metadata=told(rank=2, worse=badness))
    below: bool = field(metadata=told(rank=1, worse=not_))  # ratio <= 1; False when NaN
    rule: str = field(metadata=SPOKEN)
    rule_set: str
    visits: tuple[str, ...] = field(metadata=SPOKEN)
    ratio_by_rule_set: dict[str, float] = field(default_factory=dict, metadata=told(each=highest))
    steps: tuple[Step, ...] = ()


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
class DistanceSpread(OfSetup):
    """One distance with its spread."""

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


@dataclass(frozen=True)
class Step:
    """One line of a calculation: symbol, formula, numbers put in, result, source."""

    symbol: str
    meaning: str = field(metadata=SPOKEN)
    formula: str = field(metadata=SPOKEN)
    numbers: str = field(metadata=SPOKEN)
    value: float
    unit: str
    source: str = field(metadata=SPOKEN)
    seen: str = "read"  # read | part | memory | common practice | own


@dataclass(frozen=True)
class Criterion:
    """One limit that an emission is compared with, under one rule of one rule set.

    ``amount`` (W or J) spread over the limiting aperture is compared with ``limit`` (W/m2 or J/m2).
    """

    rule_set: str
    tissue: str  # eye | skin
    hazard: str = field(metadata=SPOKEN)  # retina thermal, cornea thermal, ultraviolet photochemical ...
    rule: str = field(metadata=SPOKEN)  # continuous | single pulse | mean | train
    amount: float
    amount_unit: str  # W | J
    limit: float = field(metadata=told(unit="limit_unit"))
    limit_unit: str  # W/m2 | J/m2
    limiting_aperture: float
    duration: float = field(metadata=told("duration_s"))
    source: str
    seen: str = "read"
    note: str = field(default="", metadata=SPOKEN)
    steps: tuple[Step, ...] = ()

    @property
    def retinal(self) -> bool:
        """Whether an image on the retina is judged: nobody focuses on what is nearer than 0.1 m."""
        return self.hazard.startswith("retina")


@dataclass(frozen=True)
class Zone:
    """How far one way for light reaches: the distance beyond which the computed exposure is below the limit."""

    way: str = field(metadata=SAME)  # direct | mirror | scatter
    tissue: str = field(metadata=SAME)  # eye | skin
    # [m] from the last optic; for scatter, from the surface
    distance: float = field(metadata=told("distance_m", rank=1, worse=badness))
    origin: str = field(metadata=told("from", spoken=True))  # "last optic" or "surface"
    distance_from_focus: float | None = field(metadata=told("distance_from_focus_m"))  # [m] after a lens
    # rule set -> distance [m]
    by_rule_set: dict[str, float] = field(default_factory=dict, kw_only=True, metadata=BY_RULE_SET)
    # the one that decides
    criterion: Criterion = field(metadata=told(inside=("rule_set", "hazard", "rule", "duration", "limit")))
    note: str = field(default="", kw_only=True, metadata=SPOKEN)
    steps: tuple[Step, ...] = ()


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

    text: str = field(metadata=told("typed"))  # the marking as typed
    enough: bool
    # enough | enough against scatter only | not enough | wrong wavelength | not marked for this mode
    verdict: str = field(metadata=SPOKEN)
    reasons: tuple[str, ...] = field(default=(), metadata=told(hidden=True, spoken=True))
    # marked bands [nm] that end within 1 % of the wavelength
    ends: tuple[str, ...] = field(default=(), metadata=told("bands_that_end_here_nm"))
    number: int = field(default=0, metadata=HIDDEN)  # the lowest that is marked for any of the letters


def _numbers(scales: tuple[ScaleNeed, ...]) -> dict[str, int | None]:
    return {scale.mode: scale.scale_number for scale in scales}


@dataclass(frozen=True, kw_only=True)
class EyewearNeed(OfSetup):
    """What eyewear has to carry at a stated closest distance."""

    person: str = field(metadata=SAME)
    wavelength: float = field(metadata=told("wavelength_m"))
    distance: float | None = field(metadata=told("distance_m"))
    optical_density: float = field(metadata=told(each=highest))  # rounded up to 0.1
    # what would bring a direct hit below the skin limit, rounded up to 0.1
    optical_density_skin: float = field(default=0.0, metadata=told(each=highest))
    scales: tuple[ScaleNeed, ...] = field(metadata=told("scale_numbers", shown=_numbers))
    marking: str = field(metadata=SPOKEN)  # one line to ask for, as "1070 D LB8"
    decides: str = field(metadata=SPOKEN)  # sentence: which of density and damage class decides
    reliable: bool = field(metadata=told(each=all))
    no_reliance: str = field(metadata=SPOKEN)  # the reason, starting "no eyewear can be relied on here", or ""
    verdict: MarkingVerdict | None = field(default=None, metadata=told("worn"))  # on the eyewear that the person wears
    notes: tuple[str, ...] = field(default=(), metadata=SPOKEN)
    optical_density_exact: float = field(metadata=told(hidden=True, each=highest))
    tissue: str = field(metadata=HIDDEN)
    steps: tuple[Step, ...] = field(default=(), metadata=HIDDEN)
    # [m] all that the marking covers, where a tolerance makes several of one
    wavelengths: tuple[float, ...] = field(default=(), metadata=HIDDEN)
