"""Several lasers at once: their fractions of the limit add for the same tissue."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.context import NO_AID, TISSUES
from lasersafe.assessment.distances import group_ratios, instruments_of, variable_inputs, zone_distances
from lasersafe.hazard.distances import farthest_crossing
from lasersafe.hazard.exposure import Floats
from lasersafe.records.fields import badness
from lasersafe.results import GUESTS, NotAssessed, Scenario, SetupResult, Step, StrikeOuts
from lasersafe.wording import Message, joined, key_of, word

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Case

ALL_LASERS = "all lasers together"
_SOURCE = "addition of wavelengths, BGI 832, p. 23, as in shared limits (limits.md, both rule sets)"
_NEAREST = 1e-6  # m
_FARTHEST = 1e12  # m
_PLACES = 64
Changes = Mapping[str, Mapping[str, float]]  # laser -> input -> value in SI units
NO_CHANGES: Changes = {}


def reach_together(
    corners: Sequence[Sequence[Context]], ways: Sequence[str], alone: float | None = None, changes: Changes = NO_CHANGES
) -> tuple[float, str]:
    """Return how far all fitted lasers reach together on some ways [m], and the tissue that reaches farthest.

    Every laser is at least as far away as that distance, and each counts with its highest fraction from there on and
    over all corners: so the sum only falls, and beyond the place where it is 1 no sum is above 1.

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
        if not any(one.laser == context.laser and one.case.surface == context.case.surface for one in same):
            same.append(context)  # the corners of another laser do not change this one

    def changed(context: Context, way: str) -> dict[str, float]:
        own = changes.get(context.laser.name, {})
        allowed = variable_inputs(context, way) if own else {}
        return {name: value for name, value in own.items() if name in allowed}

    asked = {
        tissue: [
            [
                (one, way, tissue, changed(one, way)) for one, way in product(same, ways)
                if way != "aided" or (tissue == "eye" and instruments_of(one))
            ]
            for same in lasers.values()
        ]
        for tissue in TISSUES
    }  # fmt: skip
    if alone is None:
        each = (float(zone_distances(*one)) for every in asked.values() for same in every for one in same)
        alone = max(each, default=0.0, key=badness)
    best = (alone, "eye")
    if math.isnan(alone) or len({laser for laser, _ in lasers}) < 2 or not corners[0][0].case.adds_lasers:
        return best
    for tissue, every in asked.items():
        ratios = [[group_ratios(*one) for one in same] for same in every]
        for key in sorted({key for same in ratios for one in same for key in one}):
            adding = [found for same in ratios if (found := [one[key] for one in same if key in one])]

            def total(place: Floats, lasers: list[list[Callable[[Floats], Floats]]] = adding) -> Floats:
                """Return the sum over lasers of the highest fraction at or beyond distances, over ways and corners."""
                return reduce(np.add, (reduce(np.maximum, (ratio(place) for ratio in same)) for same in lasers))

            if best[0] > 0.0 and (total(np.array([best[0]])) <= 1.0).all():
                continue  # the sum only falls
            reach = farthest_crossing(total, _NEAREST, _FARTHEST, points=_PLACES)
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


def sums_of(case: Case, contexts: list[Context], scenarios: list[Scenario]) -> list[Scenario]:
    """Return one scenario for each person and tissue that several fitted lasers can reach at once.

    *scenarios* are those that are neither struck out nor stopped by a barrier, with what eyewear lets through; of each
    laser the worst way counts.
    """
    fitted = {(c.laser.name, c.setup.name): c for c in contexts if c.setup.fitted}
    if len(fitted) < 2 or not case.adds_lasers:
        return []
    found = []
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
        found.append(Scenario(
            key="", laser=ALL_LASERS, setup="", person=lead.person, role=lead.role, way="together", tissue=lead.tissue,
            distance=lead.distance, duration=max(s.duration for _, s in parts), exposure=total, exposure_unit="1",
            duration_reason=joined(dict.fromkeys(s.duration_reason for _, s in parts)), ratio=total,
            limit=1.0, below=bool(total <= 1.0), criterion=lead.criterion,
            ratio_by_rule_set={name: max((totals[name, group] for group in named), key=badness) for name in sets},
            surface=", ".join(s.laser for _, s in parts), steps=(step,), placed=all(s.placed for _, s in parts),
        ))  # fmt: skip
    return found


def strike_outs_of(
    case: Case, found: Sequence[Context], fitted: list[SetupResult], scenarios: list[Scenario]
) -> StrikeOuts:
    """Return what the case leaves out of the verdict; that nobody uses binoculars is said with the distances.

    What several lasers would add up to counts where nothing but the strike-outs keeps it out of the verdict.

    Parameters
    ----------
    case : Case
        The case.
    found : sequence of Context
        Every set-up, as fitted.
    fitted : list of SetupResult
        The set-ups that are fitted.
    scenarios : list of Scenario
        Theirs.
    """
    apart = tuple(
        NotAssessed(person.name, setup.laser)
        for person in case.person
        for setup in fitted
        if person.laser not in (None, setup.laser) or person.setup not in (None, setup.setup)
    )
    out = [s for s in scenarios if s.struck_out and key_of(s.struck_out) != NO_AID]
    ways = {(s.person, s.laser, s.setup, s.way) for s in out}
    reasons = {(s.person, s.tissue): s.struck_out for s in sorted(out, key=lambda s: badness(s.ratio))}
    in_question = {(s.person, s.tissue) for s in scenarios if not s.below and not s.answer and not s.struck_out}
    parts = [s for s in scenarios if s.laser != ALL_LASERS and not s.answer and key_of(s.struck_out) != NO_AID]
    out += [
        replace(s, struck_out=reasons[s.person, s.tissue])
        for s in sums_of(case, list(found), parts)
        if (s.person, s.tissue) in reasons.keys() - in_question
    ]
    count = len(case.strike_out) + sum(not person.in_beam_possible for person in case.person)
    return StrikeOuts(count, len(ways), max(out, key=lambda s: badness(s.ratio), default=None), not_assessed=apart)
