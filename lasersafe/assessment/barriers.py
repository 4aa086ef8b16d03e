"""What falls on a barrier, of one laser and of all together, whether it holds, and what the decision says of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from lasersafe.assessment.context import BASE_WAY, FAULTS, Context
from lasersafe.hazard.barriers import Load, Rating, judge_barrier, load_and_rating, needed_time
from lasersafe.hazard.distances import worst_place
from lasersafe.hazard.eyewear import corner_emissions
from lasersafe.hazard.scatter import CLOSEST_VIEW
from lasersafe.models import Barrier, SceneBarrier
from lasersafe.optics.beam import BeamGeometry, diameters, peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.quantity import format_quantity
from lasersafe.records import Step, badness, worst
from lasersafe.records.scene import BarrierLine, BarrierLoad, BarrierWay
from lasersafe.results import BarrierResult, by_distance
from lasersafe.wording import Message, Wording, word

Where = TypeVar("Where")
AnyLoad = BarrierResult | BarrierWay
Brought = TypeVar("Brought", bound=Load | BarrierResult | BarrierWay)
Judged = TypeVar("Judged", BarrierResult, BarrierWay)


def load_of(
    context: Context, way: str, falls: Callable[[Context, float], tuple[float, Where]]
) -> tuple[Load, list[tuple[float, Where]]]:
    """Return the load of all wavelengths of a laser on one way, and what *falls* gives for the mean power of each.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    falls : callable
        Takes a wavelength and its power or energy [W or J]; returns its peak there [W/m2 or J/m2], and where that is.
    """
    lines = list(context.every.values())
    worst = context.emission("eye", context.duration(way)[0])
    largest = max(corner_emissions(context.space, worst, context.wavelength), key=lambda one: one.pulse_energy)
    energies = [own.space.highest_pulse_energy for own in lines]
    energies[0] = max(energies[0], largest.pulse_energy)
    power, every = context.power, list[tuple[float, Where]]()
    if power is None:  # a single pulse has no mean power
        pulse = sum(falls(own, energy)[0] for own, energy in zip(lines, energies, strict=True))
    else:
        powers = [own.space.highest_mean_power or 0.0 for own in lines]
        every = [falls(own, part) for own, part in zip(lines, powers, strict=True)]
        each = zip(every, energies, powers, strict=True)
        pulse = sum(
            peak * energy / part if part > 0.0 else math.inf for (peak, _), energy, part in each if energy > 0.0
        )
    pulsed, irradiance = largest.kind != "continuous", sum(peak for peak, _ in every) if every else math.inf
    return Load(irradiance, power, sum(energies) if pulsed else None, pulse if pulsed else None), every


def judged(
    context: Context, every: Iterable[Context], way: str, load: Load, rated: Barrier | SceneBarrier,
    table: Barrier | None,
) -> tuple[dict[str, Any], tuple[Step, ...]]:  # fmt: skip
    """Return what every record of a barrier says of the load of one laser on a way, and the steps of the verdict.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    every : iterable of Context
        The set-ups of the case: the scope of EN 12254 asks for the mean power of all that are on at once.
    way : str
        On which it falls.
    load : Load
        As `load_of` gives it.
    rated : Barrier or SceneBarrier
        Whose rating counts.
    table : Barrier or None
        Which says the rest, where there is one.
    """
    more = () if table is None else (plain(table.pulse_rating), table.en12254_class, table.observed)
    stated = Rating(plain(rated.rating), plain(rated.rated_time), *more)
    at_once = stated.en12254_class and context.setup.fitted and context.case.adds_lasers
    if table is not None and load.mean_power is not None and at_once:
        fitted = (one for one in every if one.setup.fitted and table.laser in (None, one.laser.name))
        powers = {one.laser.name: one.power or 0.0 for one in fitted} | {context.laser.name: load.mean_power}
        load = replace(load, mean_power=sum(powers.values()))
    verdict = judge_barrier(load, stated, needed_time(stated.observed))
    return {
        "laser": context.laser.name, "setup": context.setup.name, "way": way, "fitted": context.setup.fitted,
        "irradiance": load.irradiance, "rating": stated.irradiance, "rated_time": stated.time, "pulse": load.pulse,
        "pulse_rating": stated.pulse, "holds": verdict.holds, "verdict": verdict.verdict, "notes": verdict.notes,
    }, verdict.steps  # fmt: skip


def plain(value: float | None) -> float | None:
    """Return a value of the case as a plain number."""
    return None if value is None else float(value)


def together(one: Judged, others: Iterable[AnyLoad]) -> Judged:
    """Return a verdict with what other fitted lasers bring to the same barrier, in the mean and in one pulse of each.

    A barrier that holds each laser need not hold all at once.
    """
    every: list[AnyLoad] = [one, *others]
    total, pulses = sum(r.irradiance for r in every), sum(r.pulse or 0.0 for r in every)
    stated = ("barrier.all_lasers", one.rating, total, "W/m2"), ("barrier.pulse", one.pulse_rating, pulses, "J/m2")
    for key, most, load, unit in stated if one.holds else ():
        if most is not None and not load <= most:
            why = Message(key, **load_and_rating(load, most, unit))
            return replace(one, holds=False, verdict=Message("barrier.fails", why=why))
    return one


def at_the_same_time(one: AnyLoad, same: Iterable[AnyLoad]) -> list[AnyLoad]:
    """Return what each other fitted laser brings at most to the same barrier while one brings its light.

    It is that on the same way, or on another that the barrier has to stop and is no more than its rating alone: the
    beam of one laser meets a screen beside which another lights the work.
    """
    found = dict[str, list[AnyLoad]]()
    for other in same:
        alone = other.asked and (other.rating is None or other.irradiance <= other.rating)
        if other.fitted and other.laser != one.laser and (other.way == one.way or alone):
            found.setdefault(other.laser, []).append(other)
    return [strongest(ways) for ways in found.values()]


def strongest(ways: Sequence[Brought]) -> Brought:
    """Return the first of what a laser brings on several ways, with the most that any of them brings."""
    pulses = [one.pulse for one in ways if one.pulse is not None]
    most = max((one.irradiance for one in ways), key=badness)
    return replace(ways[0], irradiance=most, pulse=max(pulses, default=None))


def beam_numbers(beam: BeamGeometry, place: float, power: float) -> Message:
    """Return what a peak is worked out from."""
    x, y = (f"{float(d):.5g} m" for d in diameters(beam, place))
    return Message("barrier.beam_numbers", power=f"{power:.5g} W", x=x, y=y, place=f"{place:.5g} m")


def scatter_numbers(surface: str, power: float, reflectance: float, away: float) -> Message:
    """Return what the irradiance of scattered light is worked out from."""
    facts = {"power": f"{power:.5g} W", "reflectance": f"{reflectance:g}", "place": f"{away:.5g} m"}
    return Message("barrier.scatter_numbers", surface=word(surface), **facts)


def falls_on(
    way: str, sent: Iterable[tuple[float, float, str]], context: Context, power: float
) -> tuple[float, tuple[float, Message]]:
    """Return the most that falls on a barrier on a way [W/m2 or J/m2], from how far away [m], and the numbers put in.

    Parameters
    ----------
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    sent : iterable of tuple
        What sends light: the part that it sends [1], how far away it is [m], and its name.
    context : Context
        One wavelength of one laser with one set-up.
    power : float
        Power or energy of the beam. [W or J]
    """
    found = []
    for part, far, name in sent:
        if way == "scatter":
            value = float(scatter_exposure(power, part, far, 0.0, context.case.settings.scatter_model))
            numbers = scatter_numbers(name, power, part, far)
        else:
            every = [
                (float(peak_exposure(power * part, *wide)) if min(wide) > 0.0 else math.inf, z)
                for z in worst_place(context.beam, far, ())
                for wide in [tuple(map(float, diameters(context.beam, z)))]
            ]
            value, place = max(every, key=lambda one: badness(one[0]))
            numbers = beam_numbers(context.beam, place, power * part)
        found.append((value, (far, numbers)))
    return max(found, key=lambda one: badness(one[0]))


def barrier_results(contexts: list[Context]) -> list[BarrierResult]:
    """Return what falls on each barrier on each way, with a verdict on each laser and on all fitted ones together.

    What a barrier need not stop is marked. The beam of a fault, straight or over mirrors, is a way of its own, beside
    which the others run as they should.
    """
    usual, faults = list[BarrierResult](), list[BarrierResult]()
    for context in contexts:
        for barrier in (one for one in context.case.barrier if one.laser in (None, context.laser.name)):
            usual += [_result(context, contexts, barrier, way) for way in context.ways]
            for broken in context.broken(contexts) if context.setup.fitted else ():
                both = [_result(broken, contexts, barrier, way) for way in broken.ways_of_fault]
                faults.append(replace(worst(both), way=broken.fault, asked=any(one.asked for one in both)))
    found = []
    for one in (*usual, *faults):
        same = (other for other in usual if other.barrier == one.barrier)
        others = at_the_same_time(replace(one, way=_usual(one.way)), same)
        found.append(together(one, others) if one.fitted else one)
    return found


def _usual(way: str) -> str:
    """Return the way as which the beam of a fault adds to others; any other way is what it is."""
    return BASE_WAY[way] if way in FAULTS else way


def _result(context: Context, every: Sequence[Context], barrier: Barrier, way: str) -> BarrierResult:
    far, model = float(barrier.distance), context.case.settings.scatter_model
    worked = Message("barrier.peak"), "4 Φ ρ / (π d_x d_y)", Message("source.peak")
    if way == "scatter":
        formula = "ρ Φ / (π r²)" if model == "lambert" else "ρ Φ / (2 π r²)"
        worked = Message("barrier.mean"), formula, Message("barrier.scatter_source", model=word(model))

    def falls(own: Context, power: float) -> tuple[float, Step]:
        sent = [(own.share(way)[0], far, "")]
        if way == "scatter":
            apart = ((one, CLOSEST_VIEW if one.farthest is None else far - one.farthest) for one in own.scatterers)
            sent = [(one.reflectance, r if r > 0.0 else CLOSEST_VIEW, one.words) for one, r in apart]
        value, (_, numbers) = falls_on(way, sent, own, power)
        return value, Step("E", *worked[:2], numbers, value, "W/m2", worked[2], "own")

    load, each = load_of(context, way, falls)
    found, steps = judged(context, every, way, load, barrier, barrier)
    first = each[0][1] if each else Step(
        "E", Message("barrier.mean"), Message("barrier.no_mean"), Message("barrier.not_for_pulses"), math.inf, "W/m2",
        "own rule", "own",
    )  # fmt: skip
    if len(each) > 1:
        put_in = " + ".join(f"{peak:.5g}" for peak, _ in each)
        added = "ΣE", Message("barrier.every_wavelength"), "ΣE = E_1 + E_2 + …", put_in, load.irradiance, "W/m2"
        steps = (Step(*added, Message("source.together"), "own"), *steps)
    asked = BASE_WAY[way] in barrier.must_stop
    return BarrierResult(barrier=barrier.name, distance=far, asked=asked, steps=(first, *steps), **found)


# --- what the decision says of barriers -----------------------------------------------------------------------------


def barrier_loads(
    results: Sequence[BarrierResult], lines: Sequence[BarrierLine], adds: bool
) -> tuple[BarrierLoad, ...]:
    """Return what each fitted laser brings to barriers that have to stop it or are rated, alone and with the others.

    The others are those of `at_the_same_time`, where lasers can be on at the same time (*adds*). A barrier that
    is drawn stands where it is drawn, any other at its distance.
    """
    falls: list[tuple[str, AnyLoad, str]] = []
    same: dict[str, list[AnyLoad]] = {}
    for result in by_distance(results, lines):
        falls.append((result.barrier, result, _usual(result.way)))
        same.setdefault(result.barrier, []).extend([result] if result.way not in FAULTS else [])
    for line in (one for one in lines if one.kind != "terrain"):
        falls += [(line.name, one, one.way) for one in line.ways]
        falls += [(line.name, one, "direct") for one in line.faults]
        same.setdefault(line.name, []).extend(line.ways)
    found = []
    for name, one, way in falls:
        others = at_the_same_time(replace(one, way=way), same[name]) if adds else []
        loads = {other.laser: other.irradiance for other in others}
        pulses = {other.laser: other.pulse for other in others if other.pulse is not None}
        load = sum(loads.values(), one.irradiance)
        pulse = sum(pulses.values(), one.pulse or 0.0) if pulses else one.pulse
        lit = isinstance(one, BarrierResult) or not load <= 0.0
        if one.fitted and lit and (one.asked or one.rating is not None):
            found.append(BarrierLoad(
                name, one.way, one.laser, one.setup, one.asked, one.holds, one.verdict, one.rating, one.rated_time,
                load, not load <= one.irradiance, pulse, one.pulse_rating,
                ((one.laser, one.irradiance), *loads.items()),
            ))  # fmt: skip
    return tuple(found)


def passing(names: Collection[str], lines: Sequence[BarrierLine], wording: Wording) -> tuple[str, ...]:
    """Return which barriers are too low for those behind them, and through what of those named light passes."""
    judged = {pane.name for line in lines for pane in line.windows}
    gaps = dict.fromkeys(
        f"{gap.name} ({line.name})" for line in lines if line.name in names
        for gap in line.openings if gap.open and gap.name not in judged
    )  # fmt: skip
    low = []
    for line in lines:
        needed = line.needed_height
        if line.kind == "barrier" and needed is not None and not line.top >= needed:
            words = {"top": f"{line.top:g} m", "needed": format_quantity(needed, "m", 3, "up")}
            low.append(wording.text("say.low_barrier", barrier=line.name, **words))
    found = (wording.text("say.too_low", barriers=", ".join(low)),) if low else ()
    return (*found, wording.text("say.with_gaps", gaps=", ".join(gaps))) if gaps else found
