"""The results of one set-up, and of several lasers at once, whose fractions of the limit add for the same tissue."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from lasersafe import results
from lasersafe.assessment import calculation
from lasersafe.assessment.context import TISSUES, Context, duration_of_all, lines_of, setting_words
from lasersafe.assessment.distances import group_ratios, instruments_of, variable_inputs, zone_distances
from lasersafe.assessment.scenarios import glow_ratios
from lasersafe.hazard.combine import Line, Sum, sums_at, sums_beyond
from lasersafe.hazard.distances import Reach, direct_reach, exposure_at, farthest_crossing, zone
from lasersafe.hazard.exposure import Floats, Received
from lasersafe.hazard.instruments import Aid
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.optics.beam import diameters, mean_exposure, unique
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.quantity import format_quantity
from lasersafe.records import Criterion, Step, SumResult, Zone, badness, highest
from lasersafe.results import GUESTS, Scenario, SetupResult
from lasersafe.wording import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.models import Case

_NEAREST = 1e-3  # m; where the fractions of a sum that reaches nowhere are given
_POINTS = 61
ALL_LASERS = "all lasers together"
_SOURCE = "addition of wavelengths, BGI 832, p. 23, as in shared limits (limits.md, both rule sets)"
_CLOSEST = 1e-6  # m
_FARTHEST = 1e12  # m
_PLACES = 64
Changes = Mapping[str, Mapping[str, float]]  # laser -> input -> value in SI units


def _zone(context: Context, way: str, tissue: str) -> Zone:
    """Return the zone of one way and tissue with its steps: of the main wavelength, through an instrument of all."""
    aided, scatter = way == "aided", way == "scatter"
    instruments: Sequence[Aid | None] = instruments_of(context) if aided else [None]
    lines = context.every if aided else {"": context}
    duration, reason = duration_of_all(lines, "direct" if aided else way)
    best: dict[str, tuple[Reach, Received, Aid | None]] = {}
    for instrument, own in product(instruments, lines.values()):
        for light in own.received(tissue, duration):
            in_beam = own.beam, own.share(way)[0], instrument
            reach = scatter_reach(light, own.lit_spot) if scatter else direct_reach(light, *in_beam)
            known = best.get(light.rule_set)
            if known is None or badness(reach.distance) > badness(known[0].distance):
                best[light.rule_set] = reach, light, instrument
    reaches = {name: reach for name, (reach, *_) in best.items()}
    if len(lines) > 1:
        for name, reach in reaches.items():
            reaches[name] = replace(reach, distance=float(zone_distances(context, way, tissue, {}, (name,))))
    found = zone(way, tissue, reaches, *(("surface", None) if scatter else ("last optic", context.focus)))
    top, light, glass = best[found.criterion.rule_set]  # what decided, of equals the first
    factor, words = context.share(way)
    if scatter:
        spot = context.lit_spot if tissue == "eye" else replace(context.lit_spot, diameter=0.0)
        note: str = Message("zone.scattered", surface=context.brightest.words, model=word(spot.model))
        steps = calculation.scatter_steps(found.criterion, spot, found.distance)
    elif aided:
        at = context.wavelength, found.criterion.limiting_aperture
        seen = joined(sorted(one.words(*at) for one in instruments if one is not None), ", ")
        seen = Message("zone.lines_add", aid=seen, count=len(lines)) if len(lines) > 1 else seen
        note, meaning = Message("zone.through", aid=seen), Message("step.aided_distance")
        searched = Message("step.collected"), Message("step.searched", aid=seen), found.distance
        steps = (Step("r", meaning, *searched, "m", "ANSI-Z136-1, appendix B", "memory"),)
        if len(lines) > 1 and found.distance > 0.0:
            steps += (calculation.sum_step(_sum_behind(instruments, lines, found, duration)),)
        if glass is not None and len(lines) == 1:
            steps = calculation.distance_steps(found.criterion, context.beam, found.distance, glass, context.wavelength)
    else:
        note = Message("zone.folded", why=words) if way == "mirror" else words
        steps = calculation.distance_steps(found.criterion, context.beam, found.distance)
    first = Step(
        "t", Message("step.duration"), Message("step.by_wavelength"), reason, duration, "s",
        Message("source.design_rule"), "read",
    )  # fmt: skip
    limit = calculation.limit_steps(found.criterion, light, top.angle)
    steps = first, calculation.amount_step(light.emission, found.criterion, factor, words), *steps
    return replace(found, note=note, criterion=replace(found.criterion, steps=limit), steps=steps)


def _sum_behind(instruments: Iterable[Aid | None], lines: Mapping[str, Context], found: Zone, duration: float) -> Sum:
    """Return the highest sum of all wavelengths behind one of some instruments, at the end of a zone."""

    def at_the_end(aid: Aid | None) -> Sum:
        def exposure(line: Line, c: Criterion) -> float:
            gain = 1.0 if aid is None else aid.gain(line.wavelength, c.limiting_aperture)
            if aid is not None and gain > 1.0:
                c = replace(c, limiting_aperture=float(aid.collects(c.limiting_aperture)))
            return max(gain, 1.0) * exposure_at(line.beam, found.distance, c)

        return sums_at(found.criterion.rule_set, "eye", lines_of(lines, "eye", duration), duration, exposure)[0]

    return max(map(at_the_end, instruments), key=lambda one: badness(one.total))


def _sum_result(context: Context, way: str, tissue: str) -> tuple[SumResult, dict[str, float], Sum]:
    """Return how far the sum of all wavelengths reaches, by rule set too [m], and the sum there."""
    found = context.every
    duration, scatter = duration_of_all(found, way)[0], way == "scatter"
    lines = lines_of(found, tissue, duration)

    def alone(own: Context) -> Iterator[float]:
        for light in own.received(tissue, duration):
            if light.rule_set == decided:
                in_beam = own.beam, own.share(way)[0]
                yield (scatter_reach(light, own.lit_spot) if scatter else direct_reach(light, *in_beam)).distance

    reaches = {name: float(zone_distances(context, way, tissue, {}, (name,))) for name in context.rule_sets}
    decided, distance = max(reaches.items(), key=lambda one: badness(one[1]))
    farthest = max((far for own in found.values() for far in alone(own)), key=badness)
    if scatter:
        most = max(c.brightest.reflectance for c in found.values())
        spot = replace(context.lit_spot, reflectance=most, diameter=context.narrowest_spot(*context.lit_places))
        top, *_ = sums_beyond(decided, tissue, lines, duration, max(distance, _NEAREST), spot)
    else:
        top, *_ = sums_beyond(decided, tissue, lines, duration, distance, max(c.share(way)[0] for c in found.values()))
    shares = calculation.shares_of(top)
    listed = ", ".join(f"{s.wavelength * 1e9:.6g} nm {format_quantity(s.fraction, '1', 3)}" for s in shares)
    sentence = Message(
        "sum.add" if len(shares) > 1 else "sum.alone", way=word(way), tissue=word(tissue), count=len(shares),
        group=word(top.group), listed=listed, alone=format_quantity(farthest, "m", 3, "up"),
    )  # fmt: skip
    name = context.laser.name, context.setup.name, way, tissue, top.group, decided
    return SumResult(*name, distance, farthest, duration, shares, sentence), reaches, top


def sum_results(found: Sequence[Context]) -> list[SumResult]:
    """Return the sums of fitted lasers with further wavelengths, for the sheet."""
    adding = (context for context in found if context.setup.fitted and context.laser.line)
    return [_sum_result(*one)[0] for one in product(adding, ("direct", "scatter"), TISSUES)]


def _chart(context: Context, zones: Mapping[tuple[str, str], Zone]) -> results.ChartData:
    emission = context.emission("eye", context.duration("direct")[0])
    quantity, unit, amount = "irradiance", "W/m2", emission.power
    if emission.kind != "continuous":
        quantity, unit, amount = "radiant exposure per pulse", "J/m2", emission.pulse_energy
    marks = tuple(
        results.ChartMark(one.name, kind, float(one.distance))
        for kind, every in (("person", context.case.person), ("barrier", context.case.barrier))
        for one in every
        if one.laser in (None, context.laser.name)
    )
    far = max([z.distance for z in zones.values()] + [m.distance for m in marks] + [1.0]) * 1.6
    near = min([0.1] + [m.distance / 2.0 for m in marks if m.distance > 0.0])
    place = np.geomspace(near, far, _POINTS)
    if context.focus is not None:
        place = unique(np.concatenate([place, context.focus * np.array([0.9, 0.97, 1.0, 1.03, 1.1])]))
    eye, skin, scatter = (zones[key].criterion for key in (("direct", "eye"), ("direct", "skin"), ("scatter", "eye")))
    direct = mean_exposure(amount, *diameters(context.beam, place), eye.limiting_aperture, context.beam.profile)
    spread = scatter_exposure(amount, context.brightest.reflectance, place, 0.0, context.case.settings.scatter_model)
    beam = Message("chart.beam", aperture=f"{eye.limiting_aperture * 1e3:.3g} mm")
    curves = tuple(
        results.Curve(label, "", tuple(map(float, place)), tuple(map(float, values)))
        for label, values in ((beam, direct), (Message("chart.scatter"), spread))
    )
    lines: list[results.LimitLine] = []
    for c, key in ((eye, "chart.limit"), (skin, "chart.limit"), (scatter, "chart.scatter_limit")):
        drawn = bool(lines) and c is scatter and math.isclose(c.limit, lines[0].value, rel_tol=0.02)
        if c.limit_unit == unit and not drawn:
            facts = {"time": f"{c.duration:g} s", "rule": word(c.rule)}
            facts |= {} if c is scatter else {"tissue": word(c.tissue), "set": c.rule_set}
            lines.append(results.LimitLine(Message(key, **facts), c.limit))
    return results.ChartData(f"{context.laser.name}: {context.setup.name}", unit, quantity, curves, tuple(lines), marks)


def results_of_each(corners: Sequence[Sequence[Context]]) -> list[list[SetupResult]]:
    """Return the zones and the chart of every set-up of several corners, of one that is in several of them once."""
    every = {id(one): one for found in corners for one in found}
    known = {key: setup_result(one) for key, one in every.items()}
    return [[known[id(one)] for one in found] for found in corners]


def setup_result(context: Context) -> SetupResult:
    """Return zones, chart and steps of one set-up; behind optical aids, the extended NOHD, where the case has any."""
    zones = {(way, tissue): _zone(context, way, tissue) for way in context.ways for tissue in TISSUES}
    for key, one in zones.items() if context.laser.line else ():
        added, reaches, top = _sum_result(context, *key)
        zones[key] = replace(one, by_rule_set=highest([one.by_rule_set, reaches]))
        if badness(added.distance) > badness(one.distance):
            note = Message("zone.with_lines", count=len(context.laser.line), sum=added.sentence)
            focus = None if one.way == "scatter" else context.focus
            zones[key] = replace(
                zones[key], distance=added.distance, criterion=calculation.with_limit_steps(top.shares[0]),
                distance_from_focus=None if focus is None else added.distance - focus,
                note=joined(filter(None, (one.note, note))), steps=(*one.steps, calculation.sum_step(top)),
            )  # fmt: skip
    if instruments_of(context):
        zones["aided", "eye"] = _zone(context, "aided", "eye")
    setting, fitted, chart = "", context.setup.fitted, _chart(context, zones)
    if context.space.adjustable:
        duration, _ = context.duration("direct")
        eye, skin = (setting_words(context.emission(tissue, duration)) for tissue in TISSUES)
        setting = Message("setting.worst_eye" if eye == skin else "setting.worst_both", eye=eye, skin=skin)
    beam = context.beam
    steps = (*calculation.beam_steps(context.setup, beam), *calculation.fault_steps(context))
    angles = (format_quantity(v, "rad", 4) for v in beam.divergence)
    waists = (format_quantity(v, "m", 4) if v > 0 else word("a point") for v in beam.waist_diameter)
    words: str = Message(
        "beam.described", kind=word(context.setup.kind), profile=word(beam.profile), propagation=word(beam.propagation),
        waist=joined(dict.fromkeys(waists), " x "), angle=" x ".join(dict.fromkeys(angles)),
        place=" / ".join(dict.fromkeys(format_quantity(v, "m", 4) if v else "0 m" for v in beam.waist_position)),
    )  # fmt: skip
    place = ("laser", [one.name for one in context.case.laser].index(context.laser.name))
    if any(one.place[:2] == place and one.place[2] == "setup" for one in context.case.assumed):
        words = joined([words, word("assumed")])
    return SetupResult(
        context.laser.name, context.setup.name, fitted, words, setting, tuple(zones.values()), chart, steps
    )


def compared_rules(setups: Sequence[SetupResult]) -> tuple[list[results.RuleSetDifference], list[str]]:
    """Return the distances that differ by more than 1 % between the rule sets, and which rules decided.

    There is one sentence for each way and tissue of the fitted set-ups.
    """
    differences, sentences = list[results.RuleSetDifference](), list[str]()
    for setup, one in ((own, one) for own in setups for one in own.zones):
        c, values, names = one.criterion, one.by_rule_set, {"laser": setup.laser, "setup": setup.setup}
        words = {"way": word(one.way), "tissue": word(one.tissue)}
        if len(values) > 1 and not max(values.values(), key=badness) <= 1.01 * min(values.values(), key=badness):
            named = Message("zone.named", **names, **words)
            differences.append(results.RuleSetDifference(named, dict(values), "m", c.rule_set))
        why = Message(f"decided.{c.rule.replace(' ', '_')}")
        why = Message("decided.noted", why=why, note=c.note) if c.note else why
        others = [(name, format_quantity(far, "m", 3, "up")) for name, far in values.items() if name != c.rule_set]
        words |= {"rule": word(c.rule), "hazard": word(c.hazard), "set": c.rule_set}
        words["why"] = joined([why, *(Message("decided.versus", set=name, distance=far) for name, far in others)])
        sentences += [Message("decided.sentence", **names, **words)] if setup.fitted else []
    return differences, sentences


NO_CHANGES: Changes = {}


def reach_together(
    corners: Sequence[Sequence[Context]], ways: Sequence[str], alone: float | None = None, changes: Changes = NO_CHANGES
) -> tuple[float, str]:
    """Return how far all fitted lasers reach together on some ways [m], and the tissue that reaches farthest.

    Every laser is at least as far away as that distance, and each counts with its highest fraction from there on and
    over all corners: so the sum only falls, and beyond the place where it is 1 no sum is above 1. Without a scene the
    extended sources that it feeds count with the scatter of each.

    Parameters
    ----------
    corners : sequence of sequence of Context
        The set-ups at every corner of the tolerances.
    ways : sequence of str
        ``direct``, ``aided`` or ``scatter``; the worst of them counts for each laser that has it.
    alone : float, optional
        How far each of them reaches alone at most, worked out where it is not known: nothing nearer is looked for, and
        nothing at all where they take turns. [m]
    changes : mapping, optional
        Inputs that are replaced, by the laser, as `lasersafe.assessment.distances.variable_inputs` names them.
    """
    lasers: dict[tuple[str, str], list[Context]] = {}
    for context in (one for found in corners for one in found if one.setup.fitted):
        same = lasers.setdefault((context.laser.name, context.setup.name), [])
        if not any(
            one.laser == context.laser and one.case.surface == context.case.surface
            and one.case.extended == context.case.extended for one in same
        ):  # fmt: skip
            same.append(context)  # the corners of another laser do not change this one

    def changed(context: Context, way: str) -> dict[str, float]:
        own = changes.get(context.laser.name, {})
        allowed = variable_inputs(context, way) if own else {}
        return {name: value for name, value in own.items() if name in allowed}

    asked = [
        (tissue, laser, (one, way, tissue, changed(one, way)))
        for tissue, (laser, same), way in product(TISSUES, lasers.items(), ways) for one in same
        if way != "aided" or (tissue == "eye" and instruments_of(one))
    ]  # fmt: skip
    if alone is None:
        alone = max((float(zone_distances(*one)) for _, _, one in asked), default=0.0, key=badness)
    glows = "scatter" in ways and not any(one.case.scene for found in corners for one in found)
    best = (alone, "eye")
    if math.isnan(alone) or len({laser for laser, _ in lasers}) < 2 or not corners[0][0].case.adds_lasers:
        return best
    for tissue in TISSUES:
        ratios = [
            [group_ratios(*own) for at, of, own in asked if (at, of) == (tissue, laser)]
            + [one for context in same if glows for one in glow_ratios(context, tissue)]
            for laser, same in lasers.items()
        ]  # fmt: skip
        for key in sorted({key for same in ratios for one in same for key in one}):
            adding = [found for same in ratios if (found := [one[key] for one in same if key in one])]

            def total(place: Floats, lasers: list[list[Callable[[Floats], Floats]]] = adding) -> Floats:
                """Return the sum over lasers of the highest fraction at or beyond distances, over ways and corners."""
                return reduce(np.add, (reduce(np.maximum, (ratio(place) for ratio in same)) for same in lasers))

            if best[0] > 0.0 and (total(np.array([best[0]])) <= 1.0).all():
                continue  # the sum only falls
            reach = farthest_crossing(total, _CLOSEST, _FARTHEST, points=_PLACES)
            best = max(best, (reach, tissue), key=lambda one: one[0])
    return best


def beam_ways(case: Case) -> tuple[str, ...]:
    """Return the ways in a beam that count for people who are not involved."""
    return ("direct", "aided") if any(p.aided and p.role in GUESTS for p in case.person) else ("direct",)


def adding(case: Case, contexts: Iterable[Context], tissue: str) -> list[list[Context]]:
    """Return the largest sets of fitted set-ups whose light adds in a tissue; each alone where they take turns."""
    fitted = [one for one in contexts if one.setup.fitted]
    if not case.adds_lasers:
        return [[one] for one in fitted]
    harmed = [one.groups(tissue) for one in fitted]
    named = frozenset[str]().union(*harmed)
    sets = {frozenset(i for i, groups in enumerate(harmed) if group in groups) for group in named}
    sets |= {frozenset([i]) for i in range(len(fitted))}
    largest = [one for one in sets if not any(one < other for other in sets)]
    return [[fitted[i] for i in sorted(one)] for one in sorted(largest, key=sorted)]


def sums_of(case: Case, contexts: list[Context], scenarios: list[Scenario]) -> Iterator[Scenario]:
    """Yield one scenario for each person and tissue that several fitted lasers can reach at once.

    *scenarios* are those that are neither struck out nor stopped by a barrier, with what eyewear lets through; of each
    laser the worst way counts.
    """
    fitted = {(c.laser.name, c.setup.name): c for c in contexts if c.setup.fitted}
    if len(fitted) < 2 or not case.adds_lasers:
        return
    for person, tissue in product(case.person, TISSUES):
        adding = {name: context.groups(tissue) for name, context in fitted.items()}
        mine = [s for s in scenarios if (s.person, s.tissue) == (person.name, tissue) and (s.laser, s.setup) in fitted]
        sets = dict.fromkeys(name for s in mine for name in s.ratio_by_rule_set)
        named = sorted(frozenset().union(*adding.values()))
        sums: dict[tuple[str, str], list[tuple[float, Scenario]]] = {}
        for name, group in product(sets, named):
            worst: dict[str, tuple[float, Scenario]] = {}  # of each laser that has light in the group
            for s in mine:
                whole = s.ratio_by_rule_set.get(name, s.ratio)
                fraction = s.fractions.get((name, group), 0.0) if s.fractions else whole
                if group in adding[s.laser, s.setup] and badness(fraction) > badness(worst.get(s.laser, (0.0, s))[0]):
                    worst[s.laser] = fraction, s
            sums[name, group] = list(worst.values())
        totals = {key: sum(fraction for fraction, _ in parts) for key, parts in sums.items()}
        several = [key for key, parts in sums.items() if len(parts) > 1]
        if not several:
            continue
        decided = max(several, key=lambda key: badness(totals[key]))
        parts, total = sums[decided], totals[decided]
        _, lead = max(parts, key=lambda part: badness(part[0]))
        said = ({"fraction": f"{part:.5g}", "laser": s.laser, "way": word(s.way)} for part, s in parts)
        numbers = joined((Message("sum.of_laser", **one) for one in said), " + ")
        meaning, source = Message("sum.fractions", group=word(decided[1])), f"{decided[0]}; {_SOURCE}"
        step = Step("Σ", meaning, Message("sum.formula"), numbers, total, "1", source, "read")
        yield Scenario(
            key="", laser=ALL_LASERS, setup="", person=lead.person, role=lead.role, way="together", tissue=lead.tissue,
            distance=lead.distance, duration=max(s.duration for _, s in parts), exposure=total, exposure_unit="1",
            duration_reason=joined(dict.fromkeys(s.duration_reason for _, s in parts)), ratio=total,
            limit=1.0, below=bool(total <= 1.0), criterion=lead.criterion,
            ratio_by_rule_set={
                name: max((totals[key] for key in several if key[0] == name), key=badness, default=0.0) for name in sets
            },
            surface=", ".join(s.laser for _, s in parts), steps=(step,), placed=all(s.placed for _, s in parts),
        )  # fmt: skip
