"""Barriers and eyewear of a case, and which scenarios they answer."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.context import Context
from lasersafe.assessment.lines import every_context, line_contexts, one_verdict, sharing
from lasersafe.assessment.scenarios import distance_from_work, person_duration
from lasersafe.assessment.setups import CLOSEST_TO_SPOT
from lasersafe.hazard.barriers import guard_time, judge_barrier
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.eyewear import round_up_density
from lasersafe.hazard.eyewear_need import eyewear_need
from lasersafe.hazard.zones import worst_place
from lasersafe.optics.aperture import peak_exposure
from lasersafe.optics.propagation import diameters
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.quantity import format_quantity
from lasersafe.results import BarrierResult, EyewearNeed, Scenario, Step

if TYPE_CHECKING:
    from lasersafe.models import Barrier, Person


def _mean_power(context: Context) -> float | None:
    """Return the highest mean power that the settings allow, None for a single pulse. [W]."""
    space = context.space
    if space.power is not None:
        return space.power[1]
    if space.pulse_energy is not None and space.repetition_rate is not None:
        return space.pulse_energy[1] * space.repetition_rate[1]
    return None


def _barrier_irradiance(context: Context, barrier: Barrier, way: str, power: float) -> tuple[float, Step]:
    if way == "scatter":
        work = 0.0 if context.setup.work_distance is None else float(context.setup.work_distance)
        distance = max(abs(float(barrier.distance) - work), CLOSEST_TO_SPOT)
        reflectance, angle, name = context.scatter_surface
        model = context.case.settings.scatter_model
        value = float(scatter_exposure(power, reflectance, distance, angle, model))
        return value, Step(
            "E",
            "irradiance on the barrier",
            f"{model} scatter",
            f"{power:.5g} W · {reflectance:g} ({name}) at {distance:.5g} m",
            value,
            "W/m2",
            "Lambert's law",
            "own",
        )
    factor = 1.0 if way == "direct" else context.mirror_reflectance[0]
    best, place = -math.inf, float(barrier.distance)
    for z in worst_place(context.beam, float(barrier.distance)):
        dx, dy = diameters(context.beam, z)
        peak = float(peak_exposure(power * factor, dx, dy)) if min(float(dx), float(dy)) > 0.0 else math.inf
        if not peak <= best:
            best, place = peak, z
    dx, dy = diameters(context.beam, place)
    numbers = f"4 · {power * factor:.5g} W / (π · {float(dx):.5g} m · {float(dy):.5g} m) at {place:.5g} m"
    return best, Step(
        "E",
        "peak irradiance on the barrier",
        "4 Φ ρ / (π d_x d_y)",
        numbers,
        best,
        "W/m2",
        "ISO 11146-1 propagation; peak of the profile",
        "own",
    )


def barrier_results(context: Context) -> list[BarrierResult]:
    """Return what falls on each barrier on each way that it has to stop, with a verdict."""
    found = []
    power = _mean_power(context)
    for barrier in context.case.barrier:
        if barrier.laser not in (None, context.laser.name):
            continue
        for way in barrier.must_stop:
            needed = guard_time("T3" if barrier.observed else "T1")
            emission = context.emission("eye", exposure_duration(context.wavelength, way)[0])
            pulsed = emission.kind != "continuous"
            if power is None:
                irradiance, step = (
                    math.inf,
                    Step(
                        "E",
                        "irradiance on the barrier",
                        "a single pulse has no mean power",
                        "not rated for pulses",
                        math.inf,
                        "W/m2",
                        "own rule",
                        "own",
                    ),
                )
            else:
                irradiance, step = _barrier_irradiance(context, barrier, way, power)
                for line in line_contexts(context).values():
                    more = _mean_power(line)
                    irradiance += math.inf if more is None else _barrier_irradiance(line, barrier, way, more)[0]
            verdict = judge_barrier(
                irradiance,
                rating=None if barrier.rating is None else float(barrier.rating),
                rated_time=None if barrier.rated_time is None else float(barrier.rated_time),
                required_time=needed,
                mean_power=power,
                pulse_energy=emission.pulse_energy if pulsed else None,
                repetition_rate=emission.repetition_rate or None,
                en12254_class=barrier.en12254_class or None,
                observed=barrier.observed,
            )
            found.append(
                BarrierResult(
                    barrier.name,
                    context.laser.name,
                    context.setup.name,
                    way,
                    float(barrier.distance),
                    irradiance,
                    None if barrier.rating is None else float(barrier.rating),
                    None if barrier.rated_time is None else float(barrier.rated_time),
                    verdict.holds,
                    verdict.verdict,
                    verdict.notes,
                    (step, *verdict.steps),
                )
            )
    return found


def eyewear_of(context: Context, scenarios: list[Scenario]) -> list[EyewearNeed]:
    """Return what eyewear each person would need against a direct or mirrored hit with the fitted set-up."""
    found = []
    for person in context.case.person:
        exposed = [
            s
            for s in scenarios
            if s.person == person.name and s.tissue == "eye" and s.setup == context.setup.name
            and s.laser == context.laser.name and not s.struck_out
        ]  # fmt: skip
        if not exposed or (not person.eyewear and all(s.below for s in exposed)):
            continue
        needs = [_need(one, person, exposed, sharing(context, one)) for one in every_context(context).values()]
        found += one_verdict(needs)
    return found


def _need(context: Context, person: Person, exposed: list[Scenario], shared_by: int = 1) -> EyewearNeed:
    duration, _ = person_duration(person, context.wavelength, "mirror")
    duration = max(duration, 10.0)  # eyewear is not chosen for a person who turns away
    best: EyewearNeed | None = None
    for place in worst_place(context.beam, float(person.distance)):
        dx, dy = (float(d) for d in diameters(context.beam, place))
        floor = 1e-6  # m: a focus seen as a point still has a finite spot
        need = eyewear_need(
            wavelength=context.wavelength,
            space=context.space,
            worst=context.emission("eye", duration),
            rule_sets=context.rule_sets,
            duration=duration,
            beam_diameters=(max(dx, floor), max(dy, floor)),
            profile=context.beam.profile,
            marking=person.eyewear,
            laser=context.laser.name,
            setup=context.setup.name,
            person=person.name,
            distance=place,
            shared_by=shared_by,
        )
        if best is None or _harder(need, best):
            best = need
    assert best is not None
    scatter = [s for s in exposed if s.way == "scatter" and s.ratio > 1.0]
    notes = best.notes
    if scatter:
        worst = max(s.ratio for s in scatter)
        where, _ = distance_from_work(context, person)
        density = round_up_density(math.log10(worst)) if math.isfinite(worst) else math.inf
        notes = (
            f"against scatter alone, at {format_quantity(where, 'm', 3, 'down')} from the lit surface: "
            f"optical density {density:.1f}",
            *notes,
        )
    return replace(best, notes=notes)


def _harder(need: EyewearNeed, other: EyewearNeed) -> bool:
    def rank(n: EyewearNeed) -> tuple[float, float]:
        numbers = [math.inf if s.scale_number is None else float(s.scale_number) for s in n.scales]
        return max(numbers), n.optical_density_exact

    return rank(need) > rank(other)


def answered(
    context: Context, scenario: Scenario, person: Person, barriers: list[BarrierResult], eyewear: list[EyewearNeed]
) -> str:
    """Return what keeps the person below the limit although the scenario alone exceeds it, or ""."""
    glowing = scenario.mode == "extended source"  # neither barrier nor filter was worked out for its light alone
    for result in barriers if not glowing else ():
        nearer = result.distance < float(person.distance)
        same = result.laser == scenario.laser and result.setup == scenario.setup and result.way == scenario.way
        if same and nearer and result.holds:
            return f"barrier '{result.barrier}' holds"
    if scenario.tissue == "eye":
        for need in eyewear:
            if (
                need.person == person.name
                and need.laser == scenario.laser
                and need.setup == scenario.setup
                and need.verdict is not None
            ):
                if need.verdict.enough and need.reliable:
                    return f"eyewear '{need.verdict.text}' as marked"
                if (
                    scenario.way == "scatter"
                    and not glowing
                    and all(_enough_for_scatter(one, scenario, person) for one in every_context(context).values())
                ):
                    return f"eyewear '{need.verdict.text}' as marked, against scatter only"
    return ""


def _enough_for_scatter(context: Context, scenario: Scenario, person: Person) -> bool:
    """Return True when the marking covers density and damage class for the scatter that reaches the person."""
    from lasersafe.hazard.eyewear_scale import scale_numbers
    from lasersafe.hazard.marking import judge

    if not math.isfinite(scenario.ratio):
        return False
    emission = context.emission("eye", scenario.duration)
    distance, _ = distance_from_work(context, person)
    reflectance, angle, _ = context.scatter_surface
    wide = 2.0 * distance  # the scatter fills more than the filter: take a beam as wide as the distance allows
    model = context.case.settings.scatter_model
    share = float(scatter_exposure(1.0, reflectance, distance, angle, model)) * math.pi * wide**2 / 4.0
    if emission.kind == "continuous":
        needs = scale_numbers(context.wavelength, beam_diameter_63=wide, power=emission.power * share)
    else:
        needs = scale_numbers(
            context.wavelength,
            beam_diameter_63=wide,
            pulse_energy=emission.pulse_energy * share,
            pulse_duration=emission.pulse_duration,
            repetition_rate=emission.repetition_rate or None,
        )
    density = math.log10(scenario.ratio) if scenario.ratio > 0 else 0.0
    rate = emission.repetition_rate if emission.kind == "pulse train" else None
    return judge(person.eyewear, context.wavelength, needs, density, rate).enough
