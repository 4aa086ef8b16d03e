"""Eyewear of a case, and which scenarios barriers and eyewear answer."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.context import BASE_WAY, Context
from lasersafe.assessment.lines import alone_of, every_context, one_verdict, sharing
from lasersafe.assessment.scenarios import person_duration, scenarios_of
from lasersafe.hazard.eyewear import asked_of, corner_emissions, hardest_need, widths_beyond
from lasersafe.hazard.marking import (
    NOT_ENOUGH,
    SCATTER_ONLY,
    MarkingError,
    density_number,
    judge,
    parse_marking,
    round_up_density,
)
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import badness
from lasersafe.results import BarrierResult, EyewearNeed, Scenario
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.models import Case, Person
    from lasersafe.wording import Wording

SCATTER_ALONE = "need.scatter_alone"
GLOWING = "extended source"


def lighting(person: Person, found: Sequence[Context]) -> list[Context]:
    """Return one fitted set-up of each laser that concerns a person: what they let through a filter adds."""
    fitted = [one for one in found if one.setup.fitted and person.setup in (None, one.setup.name)]
    return list({one.laser.name: one for one in fitted if person.laser in (None, one.laser.name)}.values())


def eyewear_of(
    context: Context, every: Sequence[Context], scenarios: list[Scenario], wording: Wording
) -> list[EyewearNeed]:
    """Return what eyewear each person would need against a direct or mirrored hit with the fitted set-up.

    The verdict on a pair that is worn holds for every scenario of its wearer: it is enough, enough against scatter
    only, or answers none of them. Each laser that concerns the wearer gets its part of the limit.
    """
    found = []
    alone: dict[str, list[Scenario]] = {}
    if context.laser.line:
        alone = {name: scenarios_of(alone_of(one)) for name, one in every_context(context).items()}
    own = [s for s in scenarios if s.setup == context.setup.name and s.laser == context.laser.name]
    for person in context.case.person:
        exposed = _mine(own, person)
        if not exposed or (not person.eyewear and all(s.below for s in exposed)):
            continue
        glowing = [s for s in exposed if s.mode == GLOWING]
        by_line = {name: _mine(alone.get(name, exposed), person) + glowing for name in every_context(context)}
        nearer = _nearer(exposed, by_line) if alone else 1.0
        needs = [
            _need(one, person, by_line[name], nearer, sharing(lighting(person, every), one))
            for name, one in every_context(context).items()
        ]
        shared_by = len(lighting(person, every))
        found += _with_scatter(context, person, exposed, one_verdict(needs), shared_by, wording)
    return found


def _highest(scenarios: list[Scenario]) -> float:
    return max((s.ratio for s in scenarios if math.isfinite(s.ratio) and s.ratio > 0.0), default=1.0)


def _nearer(exposed: list[Scenario], by_line: dict[str, list[Scenario]]) -> float:
    """Return how much more comes from the places of a scene than each wavelength alone was worked out for, from 1."""
    placed = [s for s in exposed if s.placed]
    return max(1.0, _highest(placed) / max(map(_highest, by_line.values()))) if placed else 1.0


def _with_scatter(
    context: Context,
    person: Person,
    exposed: list[Scenario],
    needs: list[EyewearNeed],
    shared_by: int,
    wording: Wording,
) -> list[EyewearNeed]:
    """Return the needs with a verdict that holds against the scatter of every wavelength as well."""
    scatter = [s for s in exposed if person.eyewear and BASE_WAY[s.way] == "scatter" and s.mode != GLOWING]
    held = [all(_enough_for_scatter(c, s, person, shared_by) for c in every_context(context).values()) for s in scatter]
    short = [s for s, holds in zip(scatter, held, strict=True) if not (s.below or holds)]
    found = []
    for need in needs:
        verdict = need.verdict
        if verdict is not None and verdict.enough and short:
            ratio = format_quantity(max((s.ratio for s in short), key=badness), "1", 3, "up")
            reason = wording.text("say.not_against_scatter", ratio=ratio)
            verdict = replace(verdict, enough=False, verdict=NOT_ENOUGH, reasons=(reason, *verdict.reasons))
        elif verdict is not None and not verdict.enough and held and all(held):
            verdict = replace(verdict, verdict=SCATTER_ONLY)
        found.append(replace(need, verdict=verdict))
    return found


def _mine(scenarios: list[Scenario], person: Person) -> list[Scenario]:
    return [s for s in scenarios if s.person == person.name and s.tissue == "eye" and not s.struck_out]


def _need(context: Context, person: Person, exposed: list[Scenario], nearer: float, shared_by: int) -> EyewearNeed:
    duration, _ = person_duration(person, context.wavelength, "mirror", "eye", context.laser.name)
    duration = context.not_shorter_than_a_pulse(max(duration, 10.0), "")[0]  # nobody turns away behind a filter
    least = math.log10(_highest(exposed) * nearer)
    best = need_at(context, float(person.distance), duration, person.eyewear, least, shared_by, person.name)
    scatter = [s for s in exposed if s.way == "scatter" and s.mode == "running" and s.ratio > 1.0]
    notes = best.notes
    if scatter:
        worst = max(scatter, key=lambda s: s.ratio)
        density = round_up_density(math.log10(worst.ratio)) if math.isfinite(worst.ratio) else math.inf
        notes = (
            Message(SCATTER_ALONE, distance=format_quantity(worst.distance, "m", 3, "down"), density=density),
            *notes,
        )
    return replace(best, notes=notes)


def need_at(
    context: Context,
    distance: float,
    duration: float,
    marking: str,
    least_density: float,
    shared_by: int = 1,
    person: str = "",
) -> EyewearNeed:
    """Return what eyewear has to carry in the beam at a distance or beyond it, the hardest place.

    Parameters
    ----------
    context : Context
        One wavelength of one laser with one set-up.
    distance : float
        From the last optic. [m]
    duration : float
        Exposure duration. [s]
    marking : str
        Marking of the eyewear that is worn, "" for none.
    least_density : float
        Density that other ways for light ask for. [1]
    shared_by : int
        Wavelengths whose fractions add.
    person : str
        Who wears it, for the answer.
    """
    return hardest_need(
        widths_beyond(context.beam, distance), context.emissions("eye", duration),
        wavelength=context.wavelength, space=context.space,
        rule_sets=context.rule_sets, duration=duration, profile=context.beam.profile, marking=marking,
        laser=context.laser.name, setup=context.setup.name, person=person, least_density=least_density,
        shared_by=shared_by,
    )  # fmt: skip


def stopped_by(case: Case, scenario: Scenario, result: BarrierResult, person: Person) -> bool:
    """Return whether a barrier that holds answers a scenario; nobody who can come nearer stands behind it.

    Where person and barrier have places, geometry has decided, and the barrier is in the exposure already. A barrier
    without a place answers for the persons that it protects from all sides, not in service, when it may be open.
    """
    way = BASE_WAY.get(scenario.way, scenario.way)
    protects = any(b.name == result.barrier and person.name in b.protects for b in case.barrier)
    if scenario.placed:
        placed = case.scene is not None and any(b.name == result.barrier for b in case.scene.barrier)
        if placed or not protects or "service" in scenario.mode.split(", "):
            return False
    same = (result.laser, result.setup, result.way) == (scenario.laser, scenario.setup, way)
    behind = result.distance < float(person.distance)
    return same and result.asked and result.holds and behind and (way == "direct" or protects)


def let_through(case: Case, found: Sequence[Context], scenario: Scenario, eyewear: list[EyewearNeed]) -> float:
    """Return the highest part of a limit that eyewear which answers a scenario lets through.

    LBn lets through at most 10^-n, and a pair that is enough has at least the numbers that are asked for.
    """
    (person,) = (one for one in case.person if one.name == scenario.person)
    own = [n for n in eyewear if (n.person, n.laser, n.setup) == (scenario.person, scenario.laser, scenario.setup)]
    numbers = [density_number(math.log10(scenario.ratio * len(lighting(person, found))))]
    if all(n.verdict is not None and n.verdict.enough for n in own):
        numbers = [max(density_number(n.optical_density_exact), *(s.scale_number or 0 for s in n.scales)) for n in own]
    return scenario.ratio * 10.0 ** -min(numbers)


def answered(
    case: Case,
    scenario: Scenario,
    person: Person,
    barriers: Sequence[BarrierResult],
    eyewear: list[EyewearNeed],
    wording: Wording,
) -> str:
    """Return what keeps the person below the limit although the scenario alone exceeds it, or "".

    A barrier answers the direct beam of everybody behind it; reflected and scattered light comes from all sides, so
    there it answers only for the persons that the case names as protected by it. No barrier answers an extended source.
    Eyewear answers what its verdict says, at every corner of the tolerances, and nothing without an end.
    """
    glowing = scenario.mode == GLOWING  # neither barrier nor filter was worked out for its light alone
    stopping = (b for b in barriers if not glowing and stopped_by(case, scenario, b, person))
    if (first := next(stopping, None)) is not None:
        return wording.text("say.barrier_holds", barrier=first.barrier)
    verdicts = [
        need.verdict
        for need in eyewear
        if (need.person, need.laser, need.setup) == (person.name, scenario.laser, scenario.setup)
    ]
    if scenario.tissue != "eye" or not verdicts or not math.isfinite(scenario.ratio):
        return ""
    scatter = BASE_WAY.get(scenario.way) == "scatter" and not glowing
    if not all(v is not None and (v.enough or (scatter and v.verdict == SCATTER_ONLY)) for v in verdicts):
        return ""
    return wording.text("say.eyewear_scatter" if scatter else "say.eyewear_enough", marking=person.eyewear)


def _enough_for_scatter(context: Context, scenario: Scenario, person: Person, shared_by: int) -> bool:
    """Return True when the marking covers density and damage class for the scatter at every allowed setting."""
    if not (math.isfinite(scenario.ratio) and scenario.ratio > 0.0):
        return False
    worst = context.emission("eye", scenario.duration)
    emissions = corner_emissions(context.space, worst, context.wavelength)
    wide = 2.0 * scenario.distance  # the scatter fills more than the filter: a beam as wide as the distance allows
    area = math.pi * wide**2 / 4.0
    density = math.log10(scenario.ratio * shared_by)
    for emission in dict.fromkeys(emissions):
        share = scenario.exposure / scenario.criterion.amount * area  # what falls on that width
        needs = asked_of(emission.scaled(share), context.wavelength, wide)
        rate = (emission.repetition_rate or None) if emission.kind == "pulse train" else None
        try:
            if not judge(person.eyewear, context.wavelength, needs, density, rate).enough:
                return False
        except MarkingError:
            return False
    return True


def unreadable_markings(case: Case) -> Iterator[tuple[int, Person, Message]]:
    """Yield each person, with the place in the case from 0, whose eyewear cannot be read, and why."""
    for i, person in enumerate(case.person):
        try:
            if person.eyewear:
                parse_marking(person.eyewear)
        except MarkingError as error:
            yield i, person, error.reason
