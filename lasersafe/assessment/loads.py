"""What falls on the barriers of a scene and on their view windows, at the nearest place, and whether they hold."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.aims import Pose, bent_beams, nearest_on
from lasersafe.assessment.barriers import broken_by_all, highest_peak, load_of, needed_time, plain, verdict_on
from lasersafe.hazard.barriers import Load, Rating, judge_window
from lasersafe.hazard.distances import worst_place
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.records.barriers import BarrierWay, ViewWindow
from lasersafe.records.fields import badness
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.screens import Screen
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.assessment.aims import Lit
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import Barrier, SceneBarrier, SceneOpening
    from lasersafe.scene.directions import Vector
    from lasersafe.scene.spots import Spots

MODES = ("running", "alignment", "service", "fault")
_NEAREST = 1e-3  # m
_NEAREST_SPOT = 0.1  # m
Spot = tuple["Vector | None", float | None]  # place, and how far it is from where the light starts [m]


def barrier_for(stage: Stage, context: Context, name: str) -> Barrier | None:
    """Return the table [[barrier]] of a screen, None when there is none or it is about another laser."""
    found = next((b for b in stage.case.barrier if b.name == name), None)
    return None if found is None or found.laser not in (None, context.laser.name) else found


def every_pose(stage: Stage, context: Context) -> tuple[Pose, ...]:
    """Return each place and aim of a laser once, whatever the mode."""
    found = {(p.apex, p.bearing, p.elevation): p for mode in MODES for p in stage.poses(context, mode)}
    return tuple(found.values())


def load_on(stage: Stage, context: Context, way: str, screen: Screen) -> tuple[Load, Spot | None]:
    """Return the highest load that can fall on a screen on one way, at its nearest place, wherever the head points.

    A way over a flat mirror is never shorter than the straight one, so that the straight one is the bound for it; a
    curved mirror has its own beam, which may be narrower.
    """
    return load_of(context, way, lambda own, amount: _irradiance(stage, own, way, screen, amount))


def _irradiance(stage: Stage, context: Context, way: str, screen: Screen, power: float) -> tuple[float, Spot]:
    """Return the highest peak irradiance of one wavelength, its place, and how far that is."""
    best: tuple[float, Spot] = (0.0, (None, None))
    for pose in every_pose(stage, context):
        near = nearest_on(screen, pose.apex)
        straight = _gap(screen, np.array(pose.apex), np.array(pose.moves))
        items = stage.lit(context, pose) if way != "direct" else ()
        found: list[tuple[float, Spot]] = []
        if way == "scatter":
            found = [_spot(stage, context, pose, screen, item, power) for item in items]
        else:
            flat = [item.reflectance for item in items if item.mirror and item.may_be_flat]
            if way == "mirror":  # in service the fewest screens stand before a window
                flat += [pane.mirror.reflectance for pane in stage.panes(context, pose, "service")]
            wet = stage.scene.outdoor is not None and stage.scene.outdoor.wet
            factor = 1.0 if way == "direct" or wet or not items else max(flat, default=0.0)
            if factor > 0.0:
                peak, _ = highest_peak(context.beam, max(straight, _NEAREST), power * factor)
                found = [(peak, (near, straight))]
            for item in items if way == "mirror" else ():
                found += _bent(stage, context, pose, screen, item, power)
        best = max([best, *found], key=lambda one: badness(one[0]))
    return best


def _spot(stage: Stage, context: Context, pose: Pose, screen: Screen, item: Lit, power: float) -> tuple[float, Spot]:
    near, away = _from(stage.spots(context, pose, item), screen)
    away = max(away, _NEAREST_SPOT)
    model = stage.case.settings.scatter_model
    reflectance = max(item.reflectance, context.scatter_surface[0])
    return float(scatter_exposure(power, reflectance, away, 0.0, model)), (near, away)


def _bent(
    stage: Stage, context: Context, pose: Pose, screen: Screen, item: Lit, power: float
) -> list[tuple[float, Spot]]:
    """Return the highest peak on a screen from each curvature that a mirror may have."""
    found: list[tuple[float, Spot]] = []
    for bend in item.bends if item.mirror else ():
        spots = stage.spots(context, pose, item)
        for bent in bent_beams(context, pose, item, spots, bend):
            near, away = _from(bent.spots or spots, screen)
            away = max(away, _NEAREST_SPOT)
            found.append((highest_peak(bent.beam, away, power * item.reflectance)[0], (near, away)))
    return found


def _from(spots: Spots, screen: Screen) -> tuple[Vector, float]:
    """Return the place of a screen that is nearest to where a surface can be lit, and how far it is at least."""
    near = nearest_on(screen, spots.apex)
    return near, math.dist(near, spots.apex) - spots.distance - spots.slack


def _gap(screen: Screen, middle: NDArray[np.float64], half: NDArray[np.float64]) -> float:
    """Return how far a screen is at least from anywhere in a box round a place. [m]."""
    (x, y, z), (wide, deep, high) = middle.tolist(), half.tolist()
    on_plan = shapely.box(x - wide, y - deep, x + wide, y + deep)
    rise = max(screen.bottom - z - high, z - high - screen.top, 0.0)
    return math.hypot(float(shapely.distance(shapely.LineString(screen.line), on_plan)), rise)


def judge_screen(stage: Stage, context: Context, way: str, entry: SceneBarrier) -> BarrierWay:
    """Return what one laser alone does to a screen, wherever its head points."""
    laser, setup, fitted = context.laser.name, context.setup.name, context.setup.fitted
    if entry.kind == "terrain":
        terrain = Message("barrier.holds", why=Message("barrier.terrain"))
        return BarrierWay(way, laser, setup, 0.0, True, terrain, fitted=fitted)
    barrier = barrier_for(stage, context, entry.name)
    rated = entry if barrier is None else barrier
    rating, rated_time = plain(rated.rating), plain(rated.rated_time)
    load, where = load_on(stage, context, way, stage.screens[entry.name])
    verdict = verdict_on(load, barrier, rating, rated_time)
    place, away = where or (None, None)
    return BarrierWay(
        way, laser, setup, load.irradiance, verdict.holds, verdict.verdict, place, away=away, rating=rating,
        rated_time=rated_time, fitted=fitted, pulse=load.pulse,
        pulse_rating=None if barrier is None else plain(barrier.pulse_rating), notes=verdict.notes,
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


def judge_windows(stage: Stage, context: Context, way: str) -> dict[tuple[str, int], ViewWindow]:
    """Return every view window whose density is stated against one way, with all other fitted lasers on it."""
    found = {}
    others = [c for c in stage.contexts if c.setup.fitted and c.laser.name != context.laser.name]
    others = others if stage.case.adds_lasers else []
    for entry in stage.scene.barrier:
        barrier = next((b for b in stage.case.barrier if b.name == entry.name), None)
        required = needed_time(barrier is not None and barrier.observed)
        for number, opening in enumerate(entry.opening):
            if opening.optical_density is None:
                continue
            screen, density = window_screen(entry, opening), float(opening.optical_density)
            loads = [load_on(stage, one, way, screen)[0] for one in (context, *others)]
            ratio = sum(ratio_at(stage, one, way, screen) for one in (context, *others))
            pulses = [one.pulse for one in loads if one.pulse is not None]
            powers = [one.mean_power for one in loads]
            load = Load(
                sum(one.irradiance for one in loads),
                None if None in powers else sum(p for p in powers if p is not None),
                sum(one.pulse_energy or 0.0 for one in loads) if pulses else None,
                pulse=sum(pulses) if pulses else None,
            )
            rating = Rating(plain(opening.rating), plain(opening.rated_time), plain(opening.pulse_rating))
            verdict = judge_window(ratio, 1.0, density, load, rating, required)
            found[entry.name, number] = ViewWindow(
                opening.name, way, context.laser.name, context.setup.name, verdict.holds, verdict.needed_density,
                density, load.irradiance, verdict.words, context.setup.fitted,
            )  # fmt: skip
    return found


def ratio_at(stage: Stage, context: Context, way: str, screen: Screen) -> float:
    """Return the highest exposure over limit of an eye at a window, wherever the head points; NaN fails closed."""
    highest = 0.0
    for mode in MODES:
        for source in stage.sources(context, way, "eye", mode):
            if source.parts:
                continue
            boxes = [(np.array(source.apex), np.array(source.moves))]
            if source.spots is not None:
                boxes = list(zip(*source.starts, strict=True))
            away = max(min(_gap(screen, *box) for box in boxes), _NEAREST)
            if isinstance(source.profile, BeamProfile):
                places = np.array(worst_place(source.profile.beam, away + source.offset, source.profile.apertures))
                ratio = float(np.max(source.profile.on_axis(places))) * source.factor
            else:
                ratio = float(np.max(source.profile.ratio(np.array([max(away, _NEAREST_SPOT)])))) * source.factor
            if not ratio <= highest:
                highest = ratio
    return highest


def together(one: BarrierWay, others: list[BarrierWay]) -> BarrierWay:
    """Return a verdict with what other fitted lasers bring to the same screen, in the mean and in one pulse of each."""
    total, pulses = (sum(part) for part in zip(*((h.irradiance, h.pulse or 0.0) for h in (one, *others)), strict=True))
    words = broken_by_all(one.rating, one.pulse_rating, total, pulses) if one.holds else None
    return replace(one, holds=False, verdict=words) if words else one
