"""What falls on the barriers of a scene and on their view windows, at the nearest place, and whether they hold."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.lines import every_context, power_of_all
from lasersafe.assessment.lit import bent_beams
from lasersafe.assessment.pose import Pose, nearest_on
from lasersafe.assessment.protection import _per_pulse
from lasersafe.hazard.barriers import BarrierVerdict, guard_time, judge_barrier
from lasersafe.hazard.eyewear_need import corner_emissions
from lasersafe.hazard.windows import WindowVerdict, judge_window
from lasersafe.hazard.zones import worst_place
from lasersafe.optics.aperture import peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.screens import Screen

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.lit import Lit
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import Barrier, SceneBarrier, SceneOpening
    from lasersafe.optics.propagation import BeamGeometry
    from lasersafe.scene.directions import Vector
    from lasersafe.scene.spots import Spots

MODES = ("running", "alignment", "service", "fault")
_NEAREST = 1e-3  # m
_NEAREST_SPOT = 0.1  # m


@dataclass(frozen=True)
class Held:
    """One screen against one way of one set-up."""

    screen: str
    way: str
    irradiance: float
    verdict: BarrierVerdict
    place: Vector | None
    away: float | None = None  # from where the light starts, to the place [m]
    rating: float | None = None
    rated_time: float | None = None
    pulse: float | None = None  # highest peak of one pulse [J/m2]
    pulse_rating: float | None = None


@dataclass(frozen=True)
class HeldWindow:
    """One view window against one way of one set-up, with all other fitted lasers."""

    screen: str
    opening: int
    name: str
    way: str
    irradiance: float
    verdict: WindowVerdict


@dataclass(frozen=True)
class Load:
    """What falls on one place: mean irradiance [W/m2], one pulse [J/m2], and where."""

    irradiance: float
    pulse: float
    place: Vector | None
    away: float | None
    facts: dict[str, float | None]  # mean_power, pulse_energy, repetition_rate of all wavelengths together


def barrier_for(stage: Stage, context: Context, name: str) -> Barrier | None:
    """Return the table [[barrier]] of a screen, None when there is none or it is about another laser."""
    found = next((b for b in stage.case.barrier if b.name == name), None)
    return None if found is None or found.laser not in (None, context.laser.name) else found


def every_pose(stage: Stage, context: Context) -> tuple[Pose, ...]:
    """Return each place and aim of a laser once, whatever the mode."""
    found = {(p.apex, p.bearing, p.elevation): p for mode in MODES for p in stage.poses(context, mode)}
    return tuple(found.values())


def load_on(stage: Stage, context: Context, way: str, screen: Screen) -> Load:
    """Return the highest load that can fall on a screen on one way, at its nearest place, wherever the head points.

    A way over a flat mirror is never shorter than the straight one, so that the straight one is the bound for it; a
    curved mirror has its own beam, which may be narrower.
    """
    lines = list(every_context(context).values())
    powers = [own.space.highest_mean_power for own in lines]
    worst = context.emission("eye", context.duration(way)[0])
    corners = corner_emissions(context.space, worst, context.wavelength)
    emission = max(corners, key=lambda one: one.pulse_energy)
    pulses = [own.space.highest_pulse_energy for own in lines]
    pulses[0] = max(pulses[0], emission.pulse_energy)
    power = power_of_all(context)
    facts = {
        "mean_power": power,
        "pulse_energy": sum(pulses) if emission.kind != "continuous" else None,
        "repetition_rate": max(one.repetition_rate for one in corners) or None,
    }
    irradiance, per_pulse, place, away = math.inf, math.inf, None, None
    if power is None:
        per_pulse = sum(
            _irradiance(stage, own, way, screen, energy)[0] for own, energy in zip(lines, pulses, strict=True)
        )
    else:
        irradiance = per_pulse = 0.0
        for own, part, energy in zip(lines, powers, pulses, strict=True):
            load, place, away = _irradiance(stage, own, way, screen, part or 0.0)
            irradiance += load
            per_pulse += _per_pulse(load, energy, part)
    return Load(irradiance, per_pulse, place, away, facts)


def _irradiance(
    stage: Stage, context: Context, way: str, screen: Screen, power: float
) -> tuple[float, Vector | None, float | None]:
    """Return the highest peak irradiance of one wavelength, its place, and how far that is."""
    best: tuple[float, Vector | None, float | None] = (0.0, None, None)
    for pose in every_pose(stage, context):
        near = nearest_on(screen, pose.apex)
        straight = math.dist(near, pose.apex)
        items = stage.lit(context, pose) if way != "direct" else ()
        found: list[tuple[float, Vector, float]] = []
        if way == "scatter":
            found = [_spot(stage, context, pose, screen, item, power) for item in items]
        else:
            flat = [item.reflectance for item in items if item.mirror and item.may_be_flat]
            if way == "mirror":  # in service the fewest screens stand before a window
                flat += [pane.mirror.reflectance for pane in stage.panes(context, pose, "service")]
            wet = stage.scene.outdoor is not None and stage.scene.outdoor.wet
            factor = 1.0 if way == "direct" or wet or not items else max(flat, default=0.0)
            if factor > 0.0:
                found = [(_peak(context.beam, max(straight, _NEAREST), power * factor), near, straight)]
            for item in items if way == "mirror" else ():
                found += _bent(stage, context, pose, screen, item, power)
        for one in found:
            if not one[0] <= best[0]:
                best = one
    return best


def _spot(
    stage: Stage, context: Context, pose: Pose, screen: Screen, item: Lit, power: float
) -> tuple[float, Vector, float]:
    near, away = _from(stage.spots(context, pose, item), screen)
    away = max(away, _NEAREST_SPOT)
    model = stage.case.settings.scatter_model
    reflectance = max(item.reflectance, context.scatter_surface[0])
    return float(scatter_exposure(power, reflectance, away, 0.0, model)), near, away


def _bent(
    stage: Stage, context: Context, pose: Pose, screen: Screen, item: Lit, power: float
) -> list[tuple[float, Vector, float]]:
    """Return the highest peak on a screen from each curvature that a mirror may have."""
    found = []
    for bend in item.bends if item.mirror else ():
        spots = stage.spots(context, pose, item)
        for bent in bent_beams(context, pose, item, spots, bend):
            near, away = _from(bent.spots or spots, screen)
            found.append((_peak(bent.beam, max(away, _NEAREST), power * item.reflectance), near, max(away, _NEAREST)))
    return found


def _from(spots: Spots, screen: Screen) -> tuple[Vector, float]:
    """Return the place of a screen that is nearest to where a surface can be lit, and how far it is at least."""
    near = nearest_on(screen, spots.apex)
    return near, math.dist(near, spots.apex) - spots.distance


def _peak(beam: BeamGeometry, away: float, power: float) -> float:
    """Return the highest peak at a distance or beyond it."""
    found = 0.0
    for z in worst_place(beam, away, ()):
        dx, dy = BeamProfile(beam, ()).widths(np.asarray(z))
        found = max(found, float(peak_exposure(power, dx, dy)))
    return found


def judge_screen(stage: Stage, context: Context, way: str, entry: SceneBarrier) -> Held:
    """Return what one laser alone does to a screen."""
    if entry.kind == "terrain":
        return Held(entry.name, way, 0.0, BarrierVerdict(True, "holds: terrain"), None)
    barrier = barrier_for(stage, context, entry.name)
    rating = entry.rating if barrier is None else barrier.rating
    rated_time = entry.rated_time if barrier is None else barrier.rated_time
    pulse_rating = None if barrier is None else barrier.pulse_rating
    load = load_on(stage, context, way, stage.screens[entry.name])
    observed = barrier is not None and barrier.observed
    pulse = load.pulse if load.facts["pulse_energy"] is not None else None
    pulse_rated = None if pulse_rating is None else float(pulse_rating)
    verdict = judge_barrier(
        load.irradiance,
        rating=None if rating is None else float(rating),
        rated_time=None if rated_time is None else float(rated_time),
        required_time=guard_time("T3" if observed else "T1"),
        **load.facts,
        pulse_exposure=pulse,
        pulse_rating=pulse_rated,
        en12254_class=None if barrier is None else barrier.en12254_class or None,
        observed=observed,
    )
    return Held(
        entry.name, way, load.irradiance, verdict, load.place, load.away,
        None if rating is None else float(rating), None if rated_time is None else float(rated_time),
        pulse, pulse_rated,
    )  # fmt: skip


# --- view windows ---------------------------------------------------------------------------------------------------


def part_of_line(line: tuple[tuple[float, float], ...], start: float, end: float) -> tuple[tuple[float, float], ...]:
    """Return the part of a polyline between two distances along it [m]."""
    found: list[tuple[float, float]] = []
    passed = 0.0
    for a, b in itertools.pairwise(line):
        length = math.dist(a, b)
        low, high = max(start - passed, 0.0), min(end - passed, length)
        if low < high:
            found += [(a[0] + (b[0] - a[0]) * t / length, a[1] + (b[1] - a[1]) * t / length) for t in (low, high)]
        passed += length
    return tuple(spot for spot, _ in itertools.groupby(found)) or (line[-1], line[-1])


def window_screen(entry: SceneBarrier, opening: SceneOpening) -> Screen:
    """Return a view window as a screen of its own."""
    line = part_of_line(entry.line.pairs, float(opening.start), float(opening.end))
    bottom, top = max(float(opening.bottom), float(entry.bottom)), min(float(opening.top), float(entry.top))
    return Screen(opening.name, line, bottom, max(top, bottom))


def judge_windows(stage: Stage, context: Context, way: str) -> tuple[HeldWindow, ...]:
    """Return every view window whose density is stated against one way, with all other fitted lasers on it."""
    found = []
    others = [c for c in stage.contexts if c.setup.fitted and c.laser.name != context.laser.name]
    for entry in stage.scene.barrier:
        barrier = next((b for b in stage.case.barrier if b.name == entry.name), None)
        observed = barrier is not None and barrier.observed
        for number, opening in enumerate(entry.opening):
            if opening.optical_density is None:
                continue
            screen = window_screen(entry, opening)
            loads = [load_on(stage, one, way, screen) for one in (context, *others)]
            ratio = sum(ratio_at(stage, one, way, screen) for one in (context, *others))
            pulsed = [one for one in loads if one.facts["pulse_energy"] is not None]
            powers = [one.facts["mean_power"] for one in loads]
            verdict = judge_window(
                ratio,
                1.0,
                float(opening.optical_density),
                sum(one.irradiance for one in loads),
                rating=None if opening.rating is None else float(opening.rating),
                rated_time=None if opening.rated_time is None else float(opening.rated_time),
                required_time=guard_time("T3" if observed else "T1"),
                mean_power=None if None in powers else sum(p for p in powers if p is not None),
                pulse_energy=sum(one.facts["pulse_energy"] or 0.0 for one in pulsed) if pulsed else None,
                pulse_exposure=sum(one.pulse for one in pulsed) if pulsed else None,
                pulse_rating=None if opening.pulse_rating is None else float(opening.pulse_rating),
            )
            irradiance = sum(one.irradiance for one in loads)
            found.append(HeldWindow(entry.name, number, opening.name, way, irradiance, verdict))
    return tuple(found)


def ratio_at(stage: Stage, context: Context, way: str, screen: Screen) -> float:
    """Return the highest exposure over limit of an eye at a window, wherever the head points; NaN fails closed."""
    highest = 0.0
    for mode in MODES:
        for source in stage.sources(context, way, "eye", mode):
            away = max(math.dist(nearest_on(screen, source.apex), source.apex) - source.spot, _NEAREST)
            if isinstance(source.profile, BeamProfile):
                places = np.array(worst_place(source.profile.beam, away + source.offset, source.profile.apertures))
                ratio = float(np.max(source.profile.on_axis(places))) * source.factor
            else:
                ratio = float(np.max(source.profile.ratio(np.array([max(away, _NEAREST_SPOT)])))) * source.factor
            if not ratio <= highest:
                highest = ratio
    return highest


def together(one: Held, others: list[Held]) -> Held:
    """Return a verdict with what other fitted lasers bring to the same screen, in the mean and in one pulse of each."""
    if not one.verdict.holds:
        return one
    total = one.irradiance + sum(other.irradiance for other in others)
    pulses = sum(each.pulse or 0.0 for each in (one, *others))
    words = ""
    if one.rating is not None and not total <= one.rating:
        words = f"{total:.4g} W/m2 from all lasers together exceed the rated {one.rating:.4g} W/m2"
    elif one.pulse_rating is not None and not pulses <= one.pulse_rating:
        words = f"one pulse gives {pulses:.4g} J/m2, and {one.pulse_rating:.4g} J/m2 are rated"
    return replace(one, verdict=replace(one.verdict, holds=False, verdict=f"does not hold: {words}")) if words else one
