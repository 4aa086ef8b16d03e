"""Further wavelengths of a laser: their fractions of the limit add to those of the main beam."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import product
from typing import TYPE_CHECKING

from lasersafe.assessment.alike import over
from lasersafe.assessment.calculation import limit_steps
from lasersafe.assessment.context import Context
from lasersafe.hazard.combine import (
    Line,
    Share,
    Sum,
    SumReach,
    addition_source,
    beam_sums,
    groups,
    scatter_sums,
    summed_distance,
    sums_at,
)
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.marking import NOT_ENOUGH
from lasersafe.optics.propagation import to_1_over_e
from lasersafe.optics.side_by_side import side_by_side
from lasersafe.quantity import format_quantity
from lasersafe.results import Criterion, EyewearNeed, LineShare, ModuleResult, Scenario, Step, SumResult, Zone
from lasersafe.worst import badness

if TYPE_CHECKING:
    from lasersafe.hazard.aided import Aid
    from lasersafe.models import ExtraLine, Person


def _line_context(context: Context, line: ExtraLine) -> Context:
    space = context.space
    if line.power is not None:
        power = float(line.power)
        space = type(space)("continuous", power=(power, power))
    else:
        space = space.scaled(float(line.share or 1.0))
    beam = context.beam
    if line.divergence is not None and line.divergence_criterion is not None:
        x, y = (float(v) for v in to_1_over_e(list(line.divergence.pair), line.divergence_criterion, beam.profile))
        beam = replace(beam, divergence=(x, y))
    laser = context.laser.model_copy(update={"wavelength": line.wavelength, "line": (), "module": None})
    return replace(context, laser=laser, beam=beam, space=space, _worst={}, _worst_by_rule={}, _lines={})


def line_contexts(context: Context) -> dict[str, Context]:
    """Return one context for each further wavelength, by its name; none for a laser of one wavelength."""
    if len(context._lines) != len(context.laser.line):
        context._lines.update({line.name: _line_context(context, line) for line in context.laser.line})
    return context._lines


def alone_of(context: Context) -> Context:
    """Return the context of one wavelength without the others."""
    return replace(context, laser=context.laser.model_copy(update={"line": ()}), _lines={})


def every_context(context: Context) -> dict[str, Context]:
    """Return the contexts of all wavelengths, the main one first."""
    return {f"{context.wavelength * 1e9:.6g} nm, main beam": context, **line_contexts(context)}


def power_of_all(context: Context) -> float | None:
    """Return the highest mean power of all wavelengths together, None where one has none, as a single pulse. [W]."""
    powers = [own.space.highest_mean_power for own in every_context(context).values()]
    return None if None in powers else sum(power for power in powers if power is not None)


def _lines(found: dict[str, Context], tissue: str, duration: float) -> list[Line]:
    result = []
    for name, c in found.items():
        worst, *others = c.emissions(tissue, duration)
        result.append(Line(name, c.wavelength, worst, c.beam, tuple(others)))
    return result


def _shares(found: Sum) -> tuple[LineShare, ...]:
    return tuple(
        LineShare(s.line, s.wavelength, s.fraction, s.criterion.rule, s.criterion.hazard) for s in found.shares
    )


def _sum_step(shares: tuple[LineShare, ...], total: float, rule_set: str, group: str) -> Step:
    numbers = " + ".join(f"{s.fraction:.5g} ({s.wavelength * 1e9:.6g} nm, {s.rule})" for s in shares)
    return Step(
        "Σ", f"sum of the fractions, {group}", "Σ exposure / limit", numbers, total, "1",
        f"{rule_set}; {addition_source()}", "read",
    )  # fmt: skip


def _mirror_factor(found: dict[str, Context]) -> float:
    return max(c.mirror_reflectance[0] for c in found.values())


def _scatter_factor(found: dict[str, Context]) -> tuple[float, float]:
    surfaces = [c.scatter_surface for c in found.values()]
    return max(s[0] for s in surfaces), min(s[1] for s in surfaces)


def _limit_steps(found: dict[str, Context], share: Share, duration: float) -> Criterion:
    """Return the comparison of a share with the working of its limit."""
    own, c = found[share.line], share.criterion
    for emission in own.emissions(c.tissue, duration):
        if c in criteria(c.rule_set, c.tissue, emission, own.wavelength, duration, ALPHA_MIN):
            return replace(c, steps=limit_steps(c, emission, own.wavelength, duration))
    return c


def _reaches(found: dict[str, Context], way: str, tissue: str) -> tuple[dict[str, SumReach], float]:
    from lasersafe.assessment.variation import zone_distances

    context = next(iter(found.values()))
    duration = max(c.duration(way)[0] for c in found.values())
    lines = _lines(found, tissue, duration)
    if way != "scatter":
        factor = 1.0 if way == "direct" else _mirror_factor(found)
        return {name: summed_distance(name, tissue, lines, duration, factor) for name in context.rule_sets}, duration
    reaches = {}
    for name in context.rule_sets:
        distance, *alone = (
            float(zone_distances(c, way, tissue, {}, (name,)))
            for c in (context, alone_of(context), *line_contexts(context).values())
        )
        top = _sums_there(found, way, tissue, name, duration, distance)[0]
        reaches[name] = SumReach(distance, top.group, name, max(alone, key=badness))
    return reaches, duration


def _sums_there(
    found: dict[str, Context], way: str, tissue: str, rule_set: str, duration: float, distance: float
) -> tuple[Sum, ...]:
    context = next(iter(found.values()))
    lines = _lines(found, tissue, duration)
    if way == "scatter":
        reflectance, view = _scatter_factor(found)
        model = context.case.settings.scatter_model
        return scatter_sums(
            rule_set, tissue, lines, duration, reflectance=reflectance, view_angle=view, model=model,
            distance=max(distance, 1e-3), spot_diameter=context.spot,
        )  # fmt: skip
    factor = 1.0 if way == "direct" else _mirror_factor(found)
    return beam_sums(rule_set, tissue, lines, duration, distance, factor)


def sum_result(context: Context, way: str, tissue: str) -> tuple[SumResult, dict[str, float], Criterion]:
    """Return how far the sum of all wavelengths reaches on one way, by rule set, and its largest comparison.

    Parameters
    ----------
    context : Context
        Of a laser with further wavelengths.
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    tissue : str
        ``eye`` or ``skin``.

    Returns
    -------
    tuple of SumResult, dict, Criterion
        The dictionary goes from rule set to distance. [m]
    """
    found = every_context(context)
    reaches, duration = _reaches(found, way, tissue)
    decided = max(reaches, key=lambda name: badness(reaches[name].distance))
    reach = reaches[decided]
    sums = _sums_there(found, way, tissue, decided, duration, reach.distance)
    there = next(s for s in sums if s.group == reach.group)
    shares = _shares(there)
    listed = ", ".join(f"{s.wavelength * 1e9:.6g} nm {format_quantity(s.fraction, '1', 3)}" for s in shares)
    alone = format_quantity(reach.alone, "m", 3, "up")
    sentence = (
        f"{way}, {tissue}: the fractions of {len(shares)} wavelengths add ({reach.group}; at the edge {listed}); "
        f"the farthest alone reaches {alone}"
        if len(shares) > 1
        else f"{way}, {tissue}: one wavelength decides alone ({listed}); the others act on other tissue"
    )
    result = SumResult(
        context.laser.name, context.setup.name, way, tissue, reach.group, decided, reach.distance, reach.alone,
        duration, shares, sentence,
    )  # fmt: skip
    return result, {name: r.distance for name, r in reaches.items()}, _limit_steps(found, there.shares[0], duration)


def zone_with_lines(context: Context, zone: Zone) -> Zone:
    """Return a zone with the further wavelengths counted in; unchanged for a laser of one wavelength."""
    if not context.laser.line:
        return zone
    found, by_rule_set, criterion = sum_result(context, zone.way, zone.tissue)
    merged = {name: max(own, by_rule_set.get(name, 0.0)) for name, own in zone.by_rule_set.items()}
    if found.distance <= zone.distance:
        return replace(zone, by_rule_set=merged)
    note = f"with {len(context.laser.line)} further wavelengths: {found.sentence}"
    focus = None if zone.distance_from_focus is None and context.focus is None else context.focus
    total = math.fsum(s.fraction for s in found.shares)
    return replace(
        zone,
        distance=found.distance,
        distance_from_focus=None if focus is None or zone.way == "scatter" else found.distance - focus,
        criterion=criterion,
        by_rule_set=merged,
        note="; ".join(part for part in (zone.note, note) if part),
        steps=(*zone.steps, _sum_step(found.shares, total, found.rule_set, found.group)),
    )


def scenario_with_lines(context: Context, person: Person, scenario: Scenario) -> Scenario:
    """Return a scenario with the fractions of all wavelengths added; unchanged for a laser of one wavelength."""
    from lasersafe.assessment.scenarios import beam_exposure, looks_at, person_duration, scattered

    if not context.laser.line:
        return scenario
    found = every_context(context)
    durations = [
        c.not_shorter_than_a_pulse(
            *person_duration(person, c.wavelength, scenario.way, scenario.tissue, context.laser.name)
        )
        for c in found.values()
    ]
    duration, reason = max(durations, key=lambda pair: pair[0])
    factor = 1.0 if scenario.way == "direct" else _mirror_factor(found)

    model = context.case.settings.scatter_model

    def in_beam(line: Line, c: Criterion) -> float:
        return beam_exposure(found[line.name], person, c, factor)[0]

    def from_spot(number: int, seen: Aid | None, line: Line, c: Criterion) -> float:
        gain = 1.0 if seen is None else seen.gain(line.wavelength, c.limiting_aperture)
        return gain * scattered(person, found[line.name].scatterers[number], c, model)

    looks: list[tuple[Callable[[Line, Criterion], float], tuple[float, float]]] = [(in_beam, (0.0, 0.0))]
    if scenario.way == "scatter":
        looks = [
            (partial(from_spot, number, seen), axes)
            for number, one in enumerate(context.scatterers)
            for seen, axes in looks_at(context, person, scenario.tissue, one)
        ]
    lines = _lines(found, scenario.tissue, duration)
    ratios = dict(scenario.ratio_by_rule_set)
    best: Sum | None = None
    fractions: dict[tuple[str, str], float] = {}
    for rule_set, (exposure_of, axes) in product(context.rule_sets, looks):
        top, *others = sums_at(rule_set, scenario.tissue, lines, duration, exposure_of, axes)
        for one in (top, *others):
            key = rule_set, one.group
            fractions[key] = max(fractions.get(key, 0.0), one.total, key=badness)
        if not top.total <= ratios.get(rule_set, 0.0):
            ratios[rule_set] = top.total
        if best is None or not top.total <= best.total:
            best = top
    assert best is not None
    if best.total <= scenario.ratio:
        return replace(scenario, ratio_by_rule_set=ratios, fractions=fractions)
    first = best.shares[0]
    shares = _shares(best)
    return replace(
        scenario,
        duration=duration,
        duration_reason=reason,
        exposure=first.exposure,
        exposure_unit=first.criterion.limit_unit,
        limit=first.criterion.limit,
        ratio=best.total,
        below=bool(best.total <= 1.0),
        criterion=_limit_steps(found, first, duration),
        ratio_by_rule_set=ratios,
        fractions=fractions,
        shares=shares,
        steps=(*scenario.steps, _sum_step(shares, best.total, best.rule_set, best.group)),
    )


def sum_results(corners: Sequence[Sequence[Context]]) -> tuple[SumResult, ...]:
    """Return the sums of fitted lasers with further wavelengths, for the sheet; of several corners the farthest."""
    return over(
        corners, lambda found: [one for context in found if context.setup.fitted for one in _sum_results(context)],
        lambda one: (one.laser, one.setup, one.way, one.tissue),
        lambda group: max(group, key=lambda one: badness(one.distance)),
    )  # fmt: skip


def _sum_results(context: Context) -> list[SumResult]:
    if not context.laser.line:
        return []
    return [sum_result(context, way, tissue)[0] for way in ("direct", "scatter") for tissue in ("eye", "skin")]


def sharing(lit: Sequence[Context], own: Context) -> int:
    """Return how many wavelengths of the lasers that light somebody share one tissue and mechanism with one of them."""
    mine = groups("eye", own.wavelength)
    return sum(bool(mine & groups("eye", other.wavelength)) for one in lit for other in every_context(one).values())


def one_verdict(needs: list[EyewearNeed]) -> list[EyewearNeed]:
    """Return the needs of one person with one verdict on the eyewear over all wavelengths."""
    if len(needs) < 2 or any(n.verdict is None for n in needs):
        return needs
    verdicts = [n.verdict for n in needs if n.verdict is not None]
    enough = all(v.enough for v in verdicts) and all(n.reliable for n in needs)
    failing = [f"{n.wavelength * 1e9:.6g} nm" for n in needs if n.verdict is not None and not n.verdict.enough]
    result = []
    for need, own in zip(needs, verdicts, strict=True):
        reasons = own.reasons
        if failing:
            reasons = (*reasons, f"not enough at {', '.join(failing)}: every wavelength in the beam has to be covered")
        word = own.verdict if enough or not own.enough else NOT_ENOUGH
        result.append(replace(need, verdict=replace(own, enough=enough, verdict=word, reasons=reasons)))
    return result


def module_results(corners: Sequence[Sequence[Context]]) -> tuple[ModuleResult, ...]:
    """Return how the beams of each fitted module meet the pupil of each person; the bound of one point source decides.

    Of several corners of the tolerances that with the largest share of the power in the pupil is kept.
    """
    return over(
        corners, lambda found: [one for context in found if context.setup.fitted for one in _module_results(context)],
        lambda one: (one.laser, one.setup, one.person),
        lambda group: max(group, key=lambda one: (badness(one.joined), badness(one.offset))),
    )  # fmt: skip


def _module_results(context: Context) -> list[ModuleResult]:
    module = context.laser.module
    if module is None:
        return []
    count = (module.columns, module.rows)
    column = float(module.column_pitch)
    pitch = (column, column if module.row_pitch is None else float(module.row_pitch))
    found = []
    for person in context.case.person:
        if person.laser not in (None, context.laser.name) or person.setup not in (None, context.setup.name):
            continue
        distance = float(person.distance)
        seen = side_by_side(context.beam, count, pitch, distance)
        angle = format_quantity(seen.separation, "rad", 3)
        sentence = (
            f"{count[0] * count[1]} beams lie {angle} apart seen from {person.name}, {seen.sources}; all of them are "
            f"counted as one point source, which lets {seen.joined:.3g} of the power through a pupil of 7 mm "
            f"({seen.offset:.3g} if each keeps its place)"
        )
        found.append(
            ModuleResult(
                context.laser.name, context.setup.name, person.name, distance, seen.separation, seen.sources,
                seen.joined, seen.offset, sentence,
            )
        )  # fmt: skip
    return found
