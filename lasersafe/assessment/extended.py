"""Extended sources of a case, and one sentence on which rule decided each result."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context, Scatterer, aid_of
from lasersafe.assessment.scenarios import distance_from, person_duration
from lasersafe.hazard.emission import Received
from lasersafe.hazard.exposure import criteria
from lasersafe.hazard.scatter import (
    SourceFinding,
    extended_distance,
    mean_radiance,
    most_hazardous_distance,
    radiance_limit,
    source_findings,
    source_ratio,
)
from lasersafe.optics.sources import ExtendedSource
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import badness
from lasersafe.results import Criterion, ExtendedResult, Scenario, Step
from lasersafe.wording.message import Message, word

if TYPE_CHECKING:
    from lasersafe.models import Extended, Person

FLOAT = NDArray[np.float64]
_SOURCE = "docs/method.md, Extended sources"
_TOUCHING = 1e-3  # m: from here on skin and cornea are searched; nobody looks from nearer than the nearest view


def source_of(extended: Extended) -> ExtendedSource:
    """Return an extended source of a case in SI units."""
    divergence = (0.0, 0.0) if extended.divergence is None else extended.divergence.pair
    pitch = (0.0, 0.0) if extended.pitch is None else extended.pitch.pair
    even = None if extended.peak_over_mean is None else float(extended.peak_over_mean)
    return ExtendedSource(
        extended.size.pair, extended.spread, divergence, (extended.columns, extended.rows), pitch, extended.shares,
        even, float(extended.transmittance),
    )  # fmt: skip


def _fed_by(context: Context) -> list[Extended]:
    return [e for e in context.case.extended if e.laser == context.laser.name] if context.setup.fitted else []


def extended_results(found: Sequence[Context]) -> list[ExtendedResult]:
    """Return how far each extended source that a laser feeds exceeds a limit, and where it is worst to look at."""
    results = []
    for context, extended in ((own, one) for own in found for one in _fed_by(own)):
        source, nearest = source_of(extended), float(extended.nearest)
        duration, _ = context.duration("scatter")
        for tissue in ("eye", "skin"):
            emissions = context.emissions(tissue, duration)
            start = nearest if all(c.retinal for c in _compared(context, tissue, duration)) else _TOUCHING
            reaches: dict[str, float] = {}
            worst: dict[str, tuple[float, float]] = {}
            for rule_set in context.rule_sets:
                ratio = _ratio(context, rule_set, tissue, duration, source)
                reaches[rule_set] = extended_distance(ratio, start)
                worst[rule_set] = most_hazardous_distance(ratio, nearest)
            decided = max(worst, key=lambda name: badness(worst[name][1]))
            place, highest = worst[decided]
            top = _top(context, decided, tissue, duration, source, place)
            result = ExtendedResult(
                extended.name, context.laser.name, tissue, decided, top.hazard, top.rule, duration,
                max(reaches.values()), place, highest, top.angle, top.part, top.share, by_rule_set=reaches,
            )  # fmt: skip
            result = replace(result, sentence=_sentence(result, top, nearest))
            if tissue == "eye" and 400e-9 <= context.wavelength <= 600e-9 and duration >= 10.0:
                level, where, _ = min(radiance_limit(name, context.wavelength, duration) for name in context.rule_sets)
                bright = mean_radiance(source, max(one.power for one in emissions))
                result = replace(
                    result, radiance=bright if np.isfinite(bright) else None, radiance_limit=level,
                    radiance_source=where,
                )  # fmt: skip
            results.append(result)
    return results


def _ratio(
    context: Context, rule_set: str, tissue: str, duration: float, source: ExtendedSource
) -> Callable[[FLOAT], FLOAT]:
    """Return the function from distances to the highest ratio of any setting."""
    every = [
        source_ratio(Received(rule_set, tissue, one, context.wavelength, duration), source)
        for one in context.emissions(tissue, duration)
    ]
    return lambda distance: np.max([ratio(distance) for ratio in every], axis=0)


def _top(
    context: Context, rule_set: str, tissue: str, duration: float, source: ExtendedSource, place: float
) -> SourceFinding:
    return max(
        (
            source_findings(Received(rule_set, tissue, one, context.wavelength, duration), source, place)[0]
            for one in context.emissions(tissue, duration)
        ),
        key=lambda found: badness(found.ratio),
    )


def _gain(context: Context, person: Person, tissue: str, duration: float) -> float:
    """Return the largest collecting gain into any of the limiting apertures, 1 for the bare eye."""
    if not person.aided or tissue != "eye":
        return 1.0
    every = _compared(context, tissue, duration)
    return max(1.0, *(aid_of(person).gain(context.wavelength, c.limiting_aperture) for c in every))


def _compared(context: Context, tissue: str, duration: float) -> list[Criterion]:
    """Return the comparisons of a point source under every rule set."""
    return [c for light in context.received(tissue, duration) for c in criteria(light)]


def _sentence(result: ExtendedResult, top: SourceFinding, nearest: float) -> str:
    where = Message(
        "extended.nearest" if result.worst_distance <= nearest * 1.001 else "extended.farther",
        tissue=word(result.tissue), place=format_quantity(result.worst_distance, "m", 3),
    )  # fmt: skip
    return Message(
        f"extended.{result.tissue}", where=where, part=top.part, angle=format_quantity(result.angle, "rad", 3, "down"),
        rule=word(top.rule), set=result.rule_set, hazard=word(top.hazard),
    )  # fmt: skip


def extended_scenarios(context: Context) -> list[Scenario]:
    """Return a scenario for each person who can look at an extended source, eye and skin."""
    found = []
    for extended in _fed_by(context):
        for person in context.persons:
            for tissue in ("eye", "skin"):
                duration, reason = context.not_shorter_than_a_pulse(
                    *person_duration(person, context.wavelength, "scatter", tissue, context.laser.name)
                )
                found.append(_scenario(context, extended, person, tissue, duration, reason))
    return found


def _scenario(
    context: Context, extended: Extended, person: Person, tissue: str, duration: float, reason: str
) -> Scenario:
    source = source_of(extended)
    work = None if context.setup.work_distance is None else float(context.setup.work_distance)
    retinal = all(c.retinal for c in _compared(context, tissue, duration))
    near, _ = distance_from(person, Scatterer(1.0, 0.0, extended.name, work, True), retinal)
    tops = {}
    for rule_set in context.rule_sets:
        ratio = _ratio(context, rule_set, tissue, duration, source)
        place, _ = most_hazardous_distance(ratio, near, max(1e4, 10.0 * near), 60)
        tops[rule_set] = _top(context, rule_set, tissue, duration, source, place)
    gain = _gain(context, person, tissue, duration)
    ratios = {name: top.ratio * gain for name, top in tops.items()}
    decided = max(ratios, key=lambda name: badness(ratios[name]))
    top, worst = tops[decided], ratios[decided]
    exposure = worst * top.limit
    criterion = Criterion(
        decided, tissue, top.hazard, top.rule, 0.0, "W" if top.unit == "W/m2" else "J", top.limit, top.unit,
        top.aperture, duration, top.source,
    )  # fmt: skip
    away = format_quantity(top.distance, "m", 3)
    words = Message("extended.seen", name=extended.name, part=top.part, distance=away)
    step = Step(
        "α", Message("extended.meaning"), Message("extended.formula"),
        Message("extended.numbers", seen=words, ratio=f"{worst:.5g}"), top.angle, "rad", _SOURCE, "own",
    )  # fmt: skip
    return Scenario(
        key="", laser=context.laser.name, setup=context.setup.name, person=person.name, role=person.role,
        way="scatter", tissue=tissue, distance=near, duration=duration, duration_reason=reason, exposure=exposure,
        exposure_unit=top.unit, limit=top.limit, ratio=worst, below=bool(worst <= 1.0), criterion=criterion,
        ratio_by_rule_set=ratios, surface=words, steps=(step,), mode="extended source",
    )  # fmt: skip
