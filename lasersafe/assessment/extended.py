"""Extended sources of a case and beams side by side of a module: how they meet the eye."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import TISSUES, Context, Scatterer, aid_of
from lasersafe.assessment.scenarios import distance_from, person_time, scenario_of
from lasersafe.hazard.emission import Received
from lasersafe.hazard.scatter import (
    SourceFinding,
    extended_distance,
    mean_radiance,
    most_hazardous_distance,
    radiance_limit,
    source_findings,
    source_ratio,
)
from lasersafe.optics.sources import ExtendedSource, side_by_side
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import badness
from lasersafe.results import Criterion, ExtendedResult, ModuleResult, Scenario, Step
from lasersafe.wording.message import Message, word

if TYPE_CHECKING:
    from lasersafe.models import Extended, Person

FLOAT = NDArray[np.float64]
GLOWING = "extended source"  # mode of its scenarios
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


def _ratio(
    context: Context, rule_set: str, tissue: str, duration: float, source: ExtendedSource
) -> Callable[[FLOAT], FLOAT]:
    """Return the function from distances to the highest ratio of any setting."""
    every = [
        source_ratio(Received(rule_set, tissue, one, context.wavelength, duration), source)
        for one in context.emissions(tissue, duration)
    ]
    return lambda distance: np.max([ratio(distance) for ratio in every], axis=0)


def _worst(
    context: Context, tissue: str, duration: float, source: ExtendedSource, near: float, *search: Any
) -> tuple[str, dict[str, SourceFinding]]:
    """Return the rule set that decides, and what each finds at its worst distance, *near* [m] or beyond."""
    tops = {}
    for name in context.rule_sets:
        place, _ = most_hazardous_distance(_ratio(context, name, tissue, duration, source), near, *search)
        every = (
            source_findings(Received(name, tissue, one, context.wavelength, duration), source, place)[0]
            for one in context.emissions(tissue, duration)
        )
        tops[name] = max(every, key=lambda found: badness(found.ratio))
    return max(tops, key=lambda name: badness(tops[name].ratio)), tops


def extended_results(found: Sequence[Context]) -> list[ExtendedResult]:
    """Return how far each extended source that a laser feeds exceeds a limit, and where it is worst to look at."""
    results = []
    every = ((own, one, tissue) for own in found for one in _fed_by(own) for tissue in TISSUES)
    for context, extended, tissue in every:
        source, nearest = source_of(extended), float(extended.nearest)
        duration, _ = context.duration("scatter")
        start = nearest if all(c.retinal for c in context.compared(tissue, duration)) else _TOUCHING
        reaches = {
            name: extended_distance(_ratio(context, name, tissue, duration, source), start)
            for name in context.rule_sets
        }
        decided, tops = _worst(context, tissue, duration, source, nearest)
        top = tops[decided]
        where = Message(
            "extended.nearest" if top.distance <= nearest * 1.001 else "extended.farther",
            tissue=word(tissue), place=format_quantity(top.distance, "m", 3),
        )  # fmt: skip
        sentence = Message(
            f"extended.{tissue}", where=where, part=top.part, angle=format_quantity(top.angle, "rad", 3, "down"),
            rule=word(top.rule), set=decided, hazard=word(top.hazard),
        )  # fmt: skip
        result = ExtendedResult(
            extended.name, context.laser.name, tissue, decided, top.hazard, top.rule, duration, max(reaches.values()),
            top.distance, top.ratio, top.angle, top.part, top.share, by_rule_set=reaches, sentence=sentence,
        )  # fmt: skip
        if tissue == "eye" and 400e-9 <= context.wavelength <= 600e-9 and duration >= 10.0:
            level, printed, _ = min(radiance_limit(name, context.wavelength, duration) for name in context.rule_sets)
            bright = mean_radiance(source, max(one.power for one in context.emissions(tissue, duration)))
            known = bright if np.isfinite(bright) else None
            result = replace(result, radiance=known, radiance_limit=level, radiance_source=printed)
        results.append(result)
    return results


def extended_scenarios(context: Context) -> list[Scenario]:
    """Return a scenario for each person who can look at an extended source, eye and skin."""
    every = product(_fed_by(context), context.persons, TISSUES)
    return [_scenario(context, extended, person, tissue) for extended, person, tissue in every]


def _scenario(context: Context, extended: Extended, person: Person, tissue: str) -> Scenario:
    time = person_time([context], person, "scatter", tissue)
    compared = list(context.compared(tissue, time[0]))
    work = None if context.setup.work_distance is None else float(context.setup.work_distance)
    looked_at = Scatterer(1.0, 0.0, extended.name, work, True)
    near, _ = distance_from(person, looked_at, all(c.retinal for c in compared))
    decided, tops = _worst(context, tissue, time[0], source_of(extended), near, max(1e4, 10.0 * near), 60)
    gain = 1.0
    if person.aided and tissue == "eye":
        instrument = aid_of(person)
        gain = max(1.0, *(instrument.gain(context.wavelength, c.limiting_aperture) for c in compared))
    ratios = {name: top.ratio * gain for name, top in tops.items()}
    top, worst = tops[decided], ratios[decided]
    criterion = Criterion(
        decided, tissue, top.hazard, top.rule, 0.0, "W" if top.unit == "W/m2" else "J", top.limit, top.unit,
        top.aperture, time[0], top.source,
    )  # fmt: skip
    words = Message("extended.seen", name=extended.name, part=top.part, distance=format_quantity(top.distance, "m", 3))
    step = Step(
        "α", Message("extended.meaning"), Message("extended.formula"),
        Message("extended.numbers", seen=words, ratio=f"{worst:.5g}"), top.angle, "rad", _SOURCE, "own",
    )  # fmt: skip
    return scenario_of(
        context, person, time, criterion, way="scatter", tissue=tissue, distance=near, exposure=worst * top.limit,
        ratio=worst, below=bool(worst <= 1.0), ratio_by_rule_set=ratios, surface=words, steps=(step,), modes=(GLOWING,),
    )  # fmt: skip


def module_results(found: Sequence[Context]) -> list[ModuleResult]:
    """Return how the beams of each fitted module meet the pupil of each person; the bound of one point source decides.

    Of several corners of the tolerances that with the largest share of the power in the pupil is the worst.
    """
    every = ((own, person) for own in found if own.setup.fitted for person in own.persons)
    results = []
    for context, person in every:
        module = context.laser.module
        if module is None:
            continue
        count = (module.columns, module.rows)
        column = float(module.column_pitch)
        pitch = (column, column if module.row_pitch is None else float(module.row_pitch))
        distance = float(person.distance)
        seen = side_by_side(context.beam, count, pitch, distance)
        angle = format_quantity(seen.separation, "rad", 3)
        sentence = Message(
            "sum.module", count=count[0] * count[1], angle=angle, person=person.name, sources=word(seen.sources),
            share=f"{seen.joined:.3g}", other=f"{seen.offset:.3g}",
        )  # fmt: skip
        results.append(
            ModuleResult(
                context.laser.name, context.setup.name, person.name, distance, seen.separation, seen.sources,
                seen.joined, seen.offset, sentence,
            )
        )  # fmt: skip
    return results
