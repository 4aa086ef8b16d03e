"""The worst of several records of the same thing: which two are the same, which is worse, what is taken by itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Any, TypeVar

from lasersafe.fields import badness
from lasersafe.hazard.class_check import CLASS_ORDER
from lasersafe.hazard.eyewear import marking_to_ask
from lasersafe.hazard.marking import SCATTER_ONLY
from lasersafe.results import (
    BarrierResult,
    ClassCheck,
    Expected,
    ExtendedResult,
    EyewearNeed,
    ModuleResult,
    ScaleNeed,
    ScanPlace,
    ScanResult,
    Scenario,
    SetupResult,
    SumResult,
    UltravioletDay,
    Zone,
)
from lasersafe.results_advice import CameraLine
from lasersafe.results_barriers import BarrierLine, BarrierWay, Opening, StandingPlace, ViewWindow
from lasersafe.results_scene import AimEnvelope, MatrixCell, TargetMark

C = TypeVar("C")
T = TypeVar("T")


@dataclass(frozen=True)
class Rank:
    """How records of one kind stand to each other.

    Parameters
    ----------
    same : tuple of str
        Fields in which two records that stand for the same thing agree.
    worse : callable
        Takes a record, returns what is larger for a worse one.
    highest : tuple of str
        Fields of which the highest value of all counts, of a mapping that of each name; None is no value.
    every : tuple of str
        Fields that hold only where they hold in all.
    parts : tuple of str
        Fields with records, of which the worst of each kind is taken.
    also : callable, optional
        Takes the worst and all; returns what else has to be in it.
    """

    same: tuple[str, ...]
    worse: Callable[[Any], Any]
    highest: tuple[str, ...] = ()
    every: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    also: Callable[[Any, Sequence[Any]], Any] | None = None


def direct_reach_of(setup: SetupResult) -> float:
    """Return how far the direct beam of a set-up reaches, for any tissue [m]."""
    return max(badness(zone.distance) for zone in setup.zones if zone.way == "direct")


def covering(group: Sequence[EyewearNeed]) -> EyewearNeed:
    """Return the hardest need of a group, asking for every wavelength, letter and density of the others as well."""
    hardest = max(group, key=_hard)
    waves = sorted({wave for one in group for wave in one.wavelengths or (one.wavelength,)})
    scales: dict[str, ScaleNeed] = {}
    for scale in (scale for one in group for scale in one.scales):
        scales[scale.mode] = max(scales.get(scale.mode, scale), scale, key=_number)
    density = max((one.optical_density_exact for one in group), key=badness)
    asked = hardest.marking
    if math.isfinite(density) and any(_asked_for(one) != _asked_for(group[0]) for one in group):
        asked = marking_to_ask((waves[0], waves[-1]) if waves[0] < waves[-1] else waves[0], [*scales.values()], density)
    unreliable = [one for one in group if not one.reliable]
    return replace(
        hardest,
        scales=tuple(scales.values()),
        optical_density=max((one.optical_density for one in group), key=badness),
        optical_density_exact=density,
        optical_density_skin=max((one.optical_density_skin for one in group), key=badness),
        marking=asked,
        wavelengths=tuple(waves) if len(waves) > 1 else (),
        reliable=not unreliable,
        no_reliance=hardest.no_reliance or (unreliable[0].no_reliance if unreliable else ""),
        notes=tuple(dict.fromkeys(note for one in (hardest, *group) for note in one.notes)),
    )


def _asked_for(need: EyewearNeed) -> tuple[Any, ...]:
    numbers = [(one.mode, one.scale_number) for one in need.scales]
    return need.wavelengths, need.wavelength, need.optical_density_exact, numbers


def _number(scale: ScaleNeed) -> float:
    return math.inf if scale.scale_number is None else float(scale.scale_number)


def _hard(need: EyewearNeed) -> tuple[int, bool, float, float]:
    numbers = [_number(one) for one in need.scales]
    failed = 0 if need.verdict is None or need.verdict.enough else 1 if need.verdict.verdict == SCATTER_ONLY else 2
    return failed, not need.reliable, max([*numbers, badness(need.optical_density)]), badness(need.optical_density)


def _brightest(worst: ExtendedResult, group: Sequence[ExtendedResult]) -> ExtendedResult:
    seen = [one for one in group if one.radiance is not None and one.radiance_limit is not None]
    top = max(seen, key=lambda one: badness((one.radiance or 0.0) / (one.radiance_limit or 1.0)), default=worst)
    names = ("radiance", "radiance_limit", "radiance_source")
    return replace(worst, **{name: getattr(top, name) for name in names})


def _aimed(worst: BarrierWay, group: Sequence[BarrierWay]) -> BarrierWay:
    top = max(group, key=lambda way: -1.0 if way.aimed is None else badness(way.aimed))
    farthest = highest({place.measured_from: place.distance for place in way.stands} for way in group)
    stands = tuple(StandingPlace(far, place) for place, far in farthest.items())
    return replace(worst, aimed=top.aimed, aimed_place=top.aimed_place, stands=stands)


def _tallest(line: BarrierLine, group: Sequence[BarrierLine]) -> BarrierLine:
    top = max(group, key=lambda one: -math.inf if one.needed_height is None else badness(one.needed_height))
    notes = tuple(dict.fromkeys(note for one in group for note in one.notes))
    return replace(line, needed_height=top.needed_height, needed_for=top.needed_for, notes=notes)


RANKS: dict[type, Rank] = {
    Zone: Rank(("way", "tissue"), lambda one: badness(one.distance), highest=("by_rule_set",)),
    SetupResult: Rank(("laser", "setup"), direct_reach_of, parts=("zones",)),
    Scenario: Rank(
        ("laser", "setup", "person", "way", "tissue", "mode"),
        lambda s: (not s.struck_out, not s.below and not s.answer, not s.below, badness(s.ratio)),
        highest=("ratio_by_rule_set",),
    ),
    EyewearNeed: Rank(("laser", "setup", "person"), _hard, also=lambda _, group: covering(group)),
    BarrierResult: Rank(
        ("barrier", "laser", "setup", "way"),
        lambda one: (not one.holds, badness(one.irradiance)),
        highest=("irradiance", "pulse"),
    ),
    BarrierWay: Rank(
        ("way", "laser", "setup"),
        lambda one: (not one.holds, badness(one.irradiance)),
        highest=("irradiance", "pulse"),
        also=_aimed,
    ),
    ViewWindow: Rank((), lambda one: (not one.holds, badness(one.needed_density))),
    Opening: Rank((), lambda one: one.open),
    BarrierLine: Rank(
        (),
        lambda _: 0,
        highest=("nearest_allowed", "reach_over"),
        parts=("ways", "faults", "windows", "openings"),
        also=_tallest,
    ),
    MatrixCell: Rank(
        ("person", "mode", "way", "laser", "setup", "tissue"), lambda one: (not one.below, badness(one.ratio))
    ),
    SumResult: Rank(("laser", "setup", "way", "tissue"), lambda one: badness(one.distance)),
    ModuleResult: Rank(("laser", "setup", "person"), lambda one: (badness(one.joined), badness(one.offset))),
    ScanPlace: Rank((), lambda one: badness(one.ratio)),
    ScanResult: Rank(
        ("laser", "setup", "tissue"),
        lambda one: (one.reaction is None, badness(one.reaction or 0.0)),  # that of the credit
        highest=("duration", "running", "stopped", "running_by_rule_set"),
        parts=("places",),
    ),
    ExtendedResult: Rank(
        ("source", "laser", "tissue"),
        lambda one: badness(one.worst_ratio),
        highest=("distance", "by_rule_set"),
        also=_brightest,
    ),
    ClassCheck: Rank(("laser", "setup"), lambda one: (one.label_is_lower, CLASS_ORDER.index(one.computed))),
    UltravioletDay: Rank(
        ("person", "tissue", "band"), lambda one: (not one.below, badness(one.ratio)), highest=("ratio_by_rule_set",)
    ),
    Expected: Rank(("laser", "setup", "what", "where", "way", "unit"), lambda one: badness(one.value)),
    AimEnvelope: Rank(("laser", "setup", "mode"), lambda one: badness(one.reach)),
    TargetMark: Rank(("name", "laser"), lambda _: 0, every=("rated_stop",)),
    CameraLine: Rank(  # no threshold for the wavelength is worse than a share below 1, and better than one above
        ("camera", "laser", "setup", "way"),
        lambda one: (badness(1.0 if one.ratio is None else one.ratio), badness(one.exposure)),
    ),
}


def alike(lists: Iterable[Iterable[T]], rank: Rank | None = None) -> list[list[T]]:
    """Return the records of several lists in groups that stand for the same thing: the first such, the second."""
    groups: dict[tuple[Any, ...], list[T]] = {}
    for records in lists:
        seen: dict[tuple[Any, ...], int] = {}
        for one in records:
            key = tuple(getattr(one, name) for name in (rank or RANKS[type(one)]).same)
            seen[key] = seen.get(key, 0) + 1
            groups.setdefault((key, seen[key]), []).append(one)
    return list(groups.values())


def highest(each: Iterable[Mapping[str, float]]) -> dict[str, float]:
    """Return the highest value of each name; what is not a number counts as the highest."""
    found: dict[str, float] = {}
    for one in each:
        for name, value in one.items():
            found[name] = max(found.get(name, value), value, key=badness)
    return found


def worst(group: Sequence[T], rank: Rank | None = None) -> T:
    """Return the worst of records that stand for the same thing, with what counts by itself of all of them."""
    rule = RANKS[type(group[0])] if rank is None else rank
    found: Any = max(group, key=rule.worse)
    changed: dict[str, Any] = {name: all(getattr(one, name) for one in group) for name in rule.every}
    for name in rule.parts:
        changed[name] = over(group, attrgetter(name))
    for name in rule.highest:
        values = [value for one in group if (value := getattr(one, name)) is not None]
        if values:
            changed[name] = highest(values) if isinstance(values[0], Mapping) else max(values, key=badness)
    found = replace(found, **changed) if changed else found
    made: T = found if rule.also is None else rule.also(found, group)
    return made


def over(corners: Sequence[C], each: Callable[[C], Iterable[T]], rank: Rank | None = None) -> tuple[T, ...]:
    """Return the records of every corner of the tolerances, of each thing the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its records.
    rank : Rank, optional
        Of these records, where it does not stand in `RANKS`.
    """
    lists = [tuple(each(corner)) for corner in corners]
    return lists[0] if len(lists) == 1 else tuple(worst(group, rank) for group in alike(lists, rank))
