"""What falls on a barrier, of one laser and of all together, and whether it holds: with places or without."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Generic, TypeVar

from lasersafe.assessment.context import BASE_WAY
from lasersafe.assessment.lines import every_context, power_of_all
from lasersafe.assessment.scenarios import CLOSEST_TO_SPOT
from lasersafe.hazard.barriers import BarrierVerdict, guard_time, judge_barrier
from lasersafe.hazard.distances import worst_place
from lasersafe.hazard.eyewear import corner_emissions
from lasersafe.optics.beam import BeamGeometry, diameters, peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.records.fields import badness
from lasersafe.results import BarrierResult, Step
from lasersafe.wording.message import Message, word

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Barrier

Where = TypeVar("Where")


@dataclass(frozen=True)
class Load(Generic[Where]):
    """What falls on a barrier: mean irradiance [W/m2], one pulse [J/m2], None for continuous light, and where."""

    irradiance: float
    pulse: float | None
    where: Where | None
    facts: dict[str, float | None]  # mean_power, pulse_energy, repetition_rate of all wavelengths together


def per_pulse(irradiance: float, energy: float, power: float | None) -> float:
    """Return the peak radiant exposure of the worst pulse on a barrier. [J/m2]."""
    if not energy > 0.0:
        return 0.0
    return irradiance * energy / power if power is not None and power > 0.0 else math.inf


def load_of(context: Context, way: str, falls: Callable[[Context, float], tuple[float, Where]]) -> Load[Where]:
    """Return the load of all wavelengths of a laser on one way.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    falls : callable
        Takes a wavelength and its power or energy [W or J]; returns its peak there [W/m2 or J/m2], and where that is.
    """
    lines = list(every_context(context).values())
    worst = context.emission("eye", context.duration(way)[0])
    settings = corner_emissions(context.space, worst, context.wavelength)
    largest = max(settings, key=lambda one: one.pulse_energy)
    energies = [own.space.highest_pulse_energy for own in lines]
    energies[0] = max(energies[0], largest.pulse_energy)
    power = power_of_all(context)
    if power is None:  # a single pulse has no mean power
        irradiance, where = math.inf, None
        pulse = sum(falls(own, energy)[0] for own, energy in zip(lines, energies, strict=True))
    else:
        powers = [own.space.highest_mean_power or 0.0 for own in lines]
        every = [falls(own, part) for own, part in zip(lines, powers, strict=True)]
        irradiance, where = sum(peak for peak, _ in every), every[0][1]
        pulse = sum(per_pulse(peak, *of) for (peak, _), *of in zip(every, energies, powers, strict=True))
    pulsed = largest.kind != "continuous"
    facts = {
        "mean_power": power,
        "pulse_energy": sum(energies) if pulsed else None,
        "repetition_rate": max(one.repetition_rate for one in settings) or None,
    }
    return Load(irradiance, pulse if pulsed else None, where, facts)


def verdict_on(
    load: Load[Where], barrier: Barrier | None, rating: float | None, rated_time: float | None
) -> BarrierVerdict:
    """Return whether a barrier with a rating [W/m2] for a time [s] holds a load; its table says the rest."""
    observed = barrier is not None and barrier.observed
    return judge_barrier(
        load.irradiance,
        rating=rating,
        rated_time=rated_time,
        required_time=guard_time("T3" if observed else "T1"),
        **load.facts,
        pulse_exposure=load.pulse,
        pulse_rating=None if barrier is None else plain(barrier.pulse_rating),
        en12254_class=None if barrier is None else barrier.en12254_class or None,
        observed=observed,
    )


def plain(value: float | None) -> float | None:
    """Return a value of the case as a plain number."""
    return None if value is None else float(value)


def broken_by_all(rating: float | None, pulse_rating: float | None, irradiance: float, pulse: float) -> Message | None:
    """Return why a barrier that holds each laser does not hold all at once [W/m2, J/m2], None where it does."""
    if rating is not None and not irradiance <= rating:
        facts = {"load": f"{irradiance:.4g} W/m2", "rating": f"{rating:.4g} W/m2"}
        return Message("barrier.fails", why=Message("barrier.all_lasers", **facts))
    if pulse_rating is not None and not pulse <= pulse_rating:
        facts = {"load": f"{pulse:.4g} J/m2", "rating": f"{pulse_rating:.4g} J/m2"}
        return Message("barrier.fails", why=Message("barrier.pulse", **facts))
    return None


def highest_peak(beam: BeamGeometry, away: float, power: float) -> tuple[float, float]:
    """Return the highest peak of a beam at a distance or beyond it, and its place [m]."""
    every = []
    for z in worst_place(beam, away, ()):
        dx, dy = (float(d) for d in diameters(beam, z))
        every.append((float(peak_exposure(power, dx, dy)) if min(dx, dy) > 0.0 else math.inf, z))
    return max(every, key=lambda one: badness(one[0]))


def beam_numbers(beam: BeamGeometry, place: float, power: float) -> Message:
    """Return what a peak is worked out from."""
    x, y = (f"{float(d):.5g} m" for d in diameters(beam, place))
    return Message("barrier.beam_numbers", power=f"{power:.5g} W", x=x, y=y, place=f"{place:.5g} m")


def _falls(barrier: Barrier, way: str, context: Context, power: float) -> tuple[float, Step]:
    """Return what comes to a barrier that is so far away as the case says, and how that came about."""
    far = float(barrier.distance)
    if way == "scatter":
        model = context.case.settings.scatter_model
        found = []
        for one in context.scatterers:
            behind = one.distance is not None and far > one.distance
            distance = far - (one.distance or 0.0) if behind else CLOSEST_TO_SPOT
            value = float(scatter_exposure(power, one.reflectance, distance, 0.0, model))
            facts = {"power": f"{power:.5g} W", "reflectance": f"{one.reflectance:g}", "place": f"{distance:.5g} m"}
            found.append((value, Message("barrier.scatter_numbers", surface=one.words, **facts)))
        value, scattered = max(found)
        formula = "ρ Φ / (π r²)" if model == "lambert" else "ρ Φ / (2 π r²)"
        origin = Message("barrier.scatter_source", model=word(model))
        return value, Step("E", Message("barrier.mean"), formula, scattered, value, "W/m2", origin, "own")
    power *= context.share(way)[0]
    value, place = highest_peak(context.beam, far, power)
    put_in = beam_numbers(context.beam, place, power)
    formula, source = "4 Φ ρ / (π d_x d_y)", Message("source.peak")
    return value, Step("E", Message("barrier.peak"), formula, put_in, value, "W/m2", source, "own")


def _no_mean() -> Step:
    return Step(
        "E", Message("barrier.mean"), Message("barrier.no_mean"), Message("barrier.not_for_pulses"), math.inf, "W/m2",
        "own rule", "own",
    )  # fmt: skip


def barrier_results(contexts: list[Context]) -> list[BarrierResult]:
    """Return what falls on each barrier on each way, with a verdict on each laser and on all fitted ones together.

    What a barrier need not stop is marked.
    """
    results = [
        _result(context, barrier, way)
        for context in contexts
        for barrier in context.case.barrier
        if barrier.laser in (None, context.laser.name)
        for way in context.ways
    ]
    found = []
    for one in results:
        same = [r for r in results if r.fitted and (r.barrier, r.way) == (one.barrier, one.way)]
        total, pulses = sum(r.irradiance for r in same), sum(r.pulse or 0.0 for r in same)
        broken = broken_by_all(one.rating, one.pulse_rating, total, pulses) if one.fitted and one.holds else None
        found.append(replace(one, holds=False, verdict=broken) if broken else one)
    return found


def _result(context: Context, barrier: Barrier, way: str) -> BarrierResult:
    load = load_of(context, way, lambda own, amount: _falls(barrier, way, own, amount))
    rating, rated_time = plain(barrier.rating), plain(barrier.rated_time)
    verdict = verdict_on(load, barrier, rating, rated_time)
    return BarrierResult(
        barrier=barrier.name,
        laser=context.laser.name,
        setup=context.setup.name,
        way=way,
        distance=float(barrier.distance),
        irradiance=load.irradiance,
        rating=rating,
        rated_time=rated_time,
        holds=verdict.holds,
        verdict=verdict.verdict,
        notes=verdict.notes,
        steps=(load.where or _no_mean(), *verdict.steps),
        fitted=context.setup.fitted,
        asked=BASE_WAY[way] in barrier.must_stop,
        pulse=load.pulse,
        pulse_rating=plain(barrier.pulse_rating),
    )
