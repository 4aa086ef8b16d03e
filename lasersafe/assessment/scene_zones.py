"""The zones of a scene on the floor, clipped by the barriers that hold."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, product
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from lasersafe.assessment.aims import ROUND_UP, Pose, far_scatter, place_of, reaching
from lasersafe.assessment.barriers import beam_numbers, plain
from lasersafe.assessment.context import ON_THE_FLOOR, SCATTERED, TISSUES, Context, duration_of_all
from lasersafe.assessment.setups import adding
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard.barriers import barrier_distance, screening_thresholds
from lasersafe.hazard.distances import FARTHEST, farthest_crossing
from lasersafe.records import Criterion, Step, badness, highest, over
from lasersafe.records.scene import BeyondTarget, Polygon, ZoneShape
from lasersafe.scene.areas import area_of, box_of, lit_areas, polygons
from lasersafe.scene.beams import FLOAT, LEAST, NEAREST, BeamProfile, ScatterProfile, beam_over
from lasersafe.scene.bound import known_as, most_light, told_apart
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.walls import Walls
from lasersafe.wording import Message, word

if TYPE_CHECKING:
    from lasersafe.models import Target
    from lasersafe.scene.sources import Source

KINDS = (
    ("eye direct", "direct", "eye"),
    ("skin direct", "direct", "skin"),
    ("eye mirror", "mirror", "eye"),
    ("skin mirror", "mirror", "skin"),
    ("scatter eye", "scatter", "eye"),
    ("scatter skin", "scatter", "skin"),
)
_CELL, _CELLS = math.radians(1.0), 90  # of the directions of a head, where a stop is looked at; at most so many
SUMS = ("eye together", "skin together")
FROM = {"direct": "last optic", "mirror": "last optic, along the folded path", "scatter": "lit surface"}


@dataclass(frozen=True)
class Cut:
    """An area with the names of the screens that shape it."""

    area: shapely.Geometry
    clipped_by: tuple[str, ...] = ()


def cut(stage: Stage, context: Context, source: Source, near: shapely.Geometry | None = None) -> Cut:
    """Return where a source is not proven below the limit, past the screens that hold; see `lit_past`."""
    return _cut(stage, context, source, stage.walls(context, source.way), near)


@kept()
def _cut(stage: Stage, context: Context, source: Source, walls: Walls, near: shapely.Geometry | None) -> Cut:
    area, free = lit_past([(stage, source, walls)], near)[0], stage.outline(source)
    if not 0.0 < area.area < free.area * (1.0 - 1e-6):
        return Cut(area)
    lines = zip(stage.screens, stage.wall_lines, strict=True)
    held = stage.held(context, source.way)
    return Cut(area, tuple(name for name, line in lines if held[name].holds and shapely.intersects(free, line)))


def lit_past(
    wanted: Sequence[tuple[Stage, Source, Walls]], near: shapely.Geometry | None = None
) -> list[shapely.Geometry]:
    """Return where each source is not proven below the limit past walls, which are among those that a stage knows.

    Where it is asked for only *near* something, what is elsewhere is left out.
    """
    asked, nowhere = {}, shapely.Polygon()
    for stage, source, walls in wanted:
        key = ("lit past", source, id(walls), near)
        if key not in stage.answers:
            far = near is not None and not near.intersects(box_of(source))
            free = stage.answers[key] = nowhere if far else stage.outline(source)
            if any(shapely.intersects(free, shapely.LineString(one.line)) for one in walls.screens):
                asked[id(stage.answers), key] = stage, [[(source, walls)]], free
    if asked:
        first = wanted[0][0]
        areas = lit_areas([(groups, free) for _, groups, free in asked.values()], first.band, first.extent, near)
        for (_, key), (stage, _, _), area in zip(asked, asked.values(), areas, strict=True):
            stage.answers[key] = area
    return [stage.answers["lit past", source, id(walls), near] for stage, source, walls in wanted]


def zones_over(stages: Sequence[Stage], near: shapely.Geometry | None = None) -> tuple[ZoneShape, ...]:
    """Return the zones of every fitted set-up.

    Of several corners of the tolerances each zone is the union of theirs. What is not near where it is asked for may be
    left out.
    """
    lit_past(zone_lights(stages), near)
    alone = over(stages, lambda one: [*_zones_of(one, near)], joined_zone)
    return (*alone, *_together(stages, alone, near))


def zone_lights(stages: Sequence[Stage]) -> list[tuple[Stage, Source, Walls]]:
    """Return what zones are made of, each light with the walls that hold against it."""
    return [
        (stage, source, stage.walls(context, source.way))
        for stage in stages for context, (_, way, tissue) in product(stage.fitted, KINDS)
        for source in _of_way(stage, context, way, tissue)
    ]  # fmt: skip


def union_of(parts: Sequence[tuple[Polygon, ...]]) -> tuple[tuple[Polygon, ...], float]:
    """Return the union of areas as polygons, and its area. [m2]."""
    area = shapely.union_all([area_of(one) for one in dict.fromkeys(parts)])
    return polygons(area), float(area.area)


def joined_zone(farthest: ZoneShape, group: Sequence[ZoneShape]) -> ZoneShape:
    """Return a zone with what several of a kind cover, of one laser at corners of the tolerances or of one surface."""
    if all(one.polygons == farthest.polygons for one in group):
        return farthest
    parts, area = union_of([one.polygons for one in group])
    clipping = set.intersection(*(set(one.clipped_by) for one in group))
    clipped_by = tuple(name for name in farthest.clipped_by if name in clipping)
    return replace(farthest, polygons=parts, area=area, clipped_by=clipped_by)


def lasers_that_add(stages: Sequence[Stage], tissue: str) -> list[list[list[tuple[Stage, Context]]]]:
    """Return each set of lasers that adds for a tissue: what each laser is at each corner of the tolerances."""
    sets: dict[tuple[tuple[str, str], ...], list[list[tuple[Stage, Context]]]] = {}
    for stage in stages:
        for lasers in adding(stage.case, stage.contexts, tissue):
            names = tuple((one.laser.name, one.setup.name) for one in lasers)
            for one, known in zip(lasers, sets.setdefault(names, [[] for _ in lasers]), strict=True):
                known.append((stage, one))
    return list(sets.values())


def together_lights(stages: Sequence[Stage], tissue: str) -> list[tuple[list[Context], list[list[Light]]]]:
    """Return all light for a tissue of each set of lasers that adds: for each laser one group.

    A group holds the light at all corners of the tolerances. Its highest counts, so that no corner has a larger sum.
    """
    found = []
    for lasers in lasers_that_add(stages, tissue):
        groups = []
        for corners in lasers:
            lights = (x for stage, one in corners for x in stage.lights(one, ON_THE_FLOOR, tissue))
            groups.append(list(told_apart(lights).values()))
        found.append(([corners[0][1] for corners in lasers], groups))
    return found


def _together(
    stages: Sequence[Stage], alone: Sequence[ZoneShape], near: shapely.Geometry | None
) -> Iterator[ZoneShape]:
    """Give what the zones of lasers that can be on at once leave out: there the sum is not proven below the limits."""
    wanted, named, stage = [], [], stages[0]
    for tissue in ("eye", "skin"):
        own = shapely.union_all([area_of(z.polygons) for z in alone if tissue in z.kind])
        for placed, groups in together_lights(stages, tissue):
            if len(groups) > 1:
                every = _counted((source for group in groups for source, _ in group), len(groups))
                free = _outlines(stage, every, near)
                wanted.append((groups, free if near is not None else shapely.difference(free, own)))
                named.append((tissue, placed))
    keys = [("together", near, known_as(chain.from_iterable(groups))) for groups, _ in wanted]
    asked = {key: one for key, one in zip(keys, wanted, strict=True) if key not in stage.answers}
    if asked:
        stage.answers |= zip(asked, lit_areas(list(asked.values()), stage.band, stage.extent, near), strict=True)
    for (tissue, placed), (groups, _), key in zip(named, wanted, keys, strict=True):
        area = stage.answers[key]
        if polygons(area):
            shapes, starts = polygons(area), [pose.apex for one in placed for pose in stage.poses(one, "running")]
            corners = np.array([corner for part in shapes for corner in part.outline])
            away = np.min([np.hypot(*(corners - np.array(start[:2])).T) for start in starts], axis=0)
            lasers, setups = zip(*((one.laser.name, one.setup.name) for one in placed), strict=True)
            yield ZoneShape(
                ", ".join(lasers), ", ".join(setups), f"{tissue} together", polygons=shapes, distance=float(away.max()),
                measured_from="last optic", limited_by=Message("zone.sum"), origin=starts[0], area=float(area.area),
                heights=stage.band, overhead=any(_overhead(stage, source) for group in groups for source, _ in group),
            )  # fmt: skip


def _outlines(stage: Stage, sources: Sequence[Source], near: shapely.Geometry | None) -> shapely.Geometry:
    """Return the union of outlines; not all of those that are far from where it is asked for, but as wide as it is."""
    found = [shapely.Polygon()]
    for source in sorted(sources, key=lambda one: -badness(one.reach)):
        box = box_of(source)
        wide = near is not None and shapely.covers(shapely.box(*shapely.total_bounds(found)), box)
        if not wide or shapely.intersects(near, box):
            found.append(stage.outline(source))
    return shapely.union_all(found)


def lit_reach(stages: Sequence[Stage]) -> tuple[float, tuple[tuple[Message, float], ...]]:
    """Return how far from whatever ends a beam, or what mirrors make of it, its scatter exceeds a limit [m].

    With it, what each laser lights most brightly, and how far that reaches alone [m]. Of lasers that can be on at once
    each is as near as the others, with the brightest of what it lights.
    """
    best: tuple[float, tuple[tuple[Message, float], ...]] = (0.0, ())
    for tissue in TISSUES:
        for lasers in lasers_that_add(stages, tissue):
            bright: list[dict[ScatterProfile, float]] = []  # of each laser at all corners
            lit: dict[tuple[str, ScatterProfile, float], Source] = {}
            for corners in lasers:
                factors: dict[ScatterProfile, float] = {}
                bright.append(factors)
                for stage, context in corners:
                    time = duration_of_all(context.every, "scatter")[0]
                    for way in SCATTERED:
                        for source in stage.sources(context, way, tissue, duration=time):
                            assert isinstance(source.profile, ScatterProfile)
                            factors[source.profile] = max(factors.get(source.profile, 0.0), source.factor, key=badness)
                            lit.setdefault((context.laser.name, source.profile, source.factor), source)

            def total(place: FLOAT, bright: Any = bright) -> FLOAT:
                every = [own for own in bright if own]
                each = ([f * one.before(place) for one, f in own.items()] for own in every)
                return sum((np.max(own, axis=0) for own in each), np.zeros(place.shape))

            reach = farthest_crossing(total, NEAREST, FARTHEST)
            if badness(reach) > badness(best[0]):
                parts = []
                for corners, own in zip(lasers, bright, strict=True):
                    each = ((far_scatter(one, share), one, share) for one, share in own.items())
                    for far, one, share in sorted(each, key=lambda found: badness(found[0]))[-1:]:
                        laser = corners[0][1].laser.name
                        surface = word(lit[laser, one, share].surface)
                        words = {"laser": laser, "surface": surface, "share": f"{share:.4g}"}
                        words["area"] = "π r²" if one.lambert else "2 π r²"
                        parts.append((Message("step.lit_by", **words), far))
                best = reach, tuple(parts)
    return best


def _counted(sources: Iterable[Source], times: int) -> list[Source]:
    """Return sources so many times as bright: where one is below the limit, so many alike are together."""
    brighter = [replace(one, factor=one.factor * times) for one in sources]
    return reaching([
        (one, one.factor) if isinstance(one.profile, BeamProfile)
        else (replace(one, reach=far_scatter(one.profile, one.factor) * ROUND_UP), None)
        for one in brighter
    ])  # fmt: skip


def _shape(
    stage: Stage, context: Context, source: Source, near: shapely.Geometry | None = None, **more: Any
) -> ZoneShape | None:
    """Return the zone of a source past the screens that hold, None where nothing of it is left."""
    shape = cut(stage, context, source, near)
    parts = polygons(shape.area)
    if not parts:
        return None
    return ZoneShape(
        laser=context.laser.name, setup=context.setup.name, polygons=parts, origin=source.apex,
        area=float(shape.area.area), clipped_by=shape.clipped_by, heights=stage.band, **more,
    )  # fmt: skip


def _of_way(stage: Stage, context: Context, way: str, tissue: str) -> tuple[Source, ...]:
    """Return the light on a way; scatter with that of light that mirrors have sent on."""
    ways = SCATTERED if way == "scatter" else (way,)
    return tuple(source for one in ways for source in stage.sources(context, one, tissue))


def _zones_of(stage: Stage, near: shapely.Geometry | None) -> Iterator[ZoneShape]:
    for context, (kind, way, tissue) in product(stage.fitted, KINDS):
        zone, found = stage.result(context).zone(way, tissue), []
        limit = zone.criterion
        words = Message("limited.by", tissue=word(tissue), set=limit.rule_set, time=f"{limit.duration:g} s")
        for source in _of_way(stage, context, way, tissue):
            turned = source.spot if way == "scatter" and not source.patch else 0.0  # counted from the last optic
            one = _shape(
                stage, context, source, near, kind=kind, distance=stated(source.reach, zone.distance) + turned,
                measured_from="last optic" if turned > 0.0 else FROM[way], limited_by=words, surface=source.surface,
                limit=limit.limit, limit_unit=limit.limit_unit, duration=context.duration(way)[0],
                overhead=_overhead(stage, source), note=source.note,
            )  # fmt: skip
            if one is not None and one.clipped_by:
                one = replace(one, limited_by=Message("limited.and_by", limit=words, names=", ".join(one.clipped_by)))
            found += [] if one is None else [one]
        # all faces of a barrier, lit directly or over mirrors, are one
        yield from over(found, lambda one: [one], joined_zone) if way == "scatter" and found else found


def stated(reach: float, distance: float) -> float:
    """Return the distance of a set-up [m] where the reach of an outline is that with a little to spare."""
    return distance if distance <= reach <= distance * ROUND_UP * (1.0 + 1e-9) else reach


def _overhead(stage: Stage, source: Source) -> bool:
    if source.way == "scatter" or source.spots is not None:
        highest = source.apex[2] if source.spots is None else source.spots.heights[1]
        return highest + source.reach - source.offset > stage.band[1]
    high = source.directions.box().elevation[1]
    return high > 0.0 and source.apex[2] + source.reach * math.sin(high) > stage.band[1]


# --- beyond the target ----------------------------------------------------------------------------------------------


def threshold_of(stage: Stage) -> tuple[float, str]:
    """Return the irradiance from which something may catch fire [W/m2], and its source."""
    typed = stage.scene.ignition_threshold
    if typed is None:
        lowest = min(screening_thresholds(), key=lambda one: one.irradiance)
        seen = word("from memory") if lowest.seen == "memory" else lowest.seen
        name = word(lowest.name)
        return lowest.irradiance, Message("ignition.source", name=name, source=lowest.source, seen=seen)
    return float(typed), stage.scene.ignition_source or Message("ignition.typed")


@kept()
def ignition_source(stage: Stage, context: Context, source: Source) -> Source | None:
    """Return the beam against the ignition threshold; None for a single pulse, which has no mean power."""
    threshold = threshold_of(stage)[0]
    amount = context.power  # each wavelength with the power of all: the narrowest beam reaches farthest
    if amount is None:
        return None
    found = []
    for own in context.every.values():
        criterion = Criterion("", "", "ignition", "continuous", amount, "W", threshold, "W/m2", 1e-9, math.inf, "")
        reach = barrier_distance(amount, threshold, own.beam) * ROUND_UP
        found.append(replace(source, profile=BeamProfile(own.beam, (criterion,), *own.may_differ), reach=reach))
    return max(found, key=lambda one: badness(one.reach))


def beams_to_targets(stages: Sequence[Stage]) -> list[tuple[Stage, Context, Pose, Source, Source | None]]:
    """Return the beam of each fitted set-up, of the wavelength that reaches farthest, and as it sets fire."""
    return [
        (stage, context, pose, beam, ignition_source(stage, context, beam))
        for stage in stages for context in stage.fitted
        for lines, sources in [(len(context.every), stage.sources(context, "direct", "eye"))]
        for number, pose in enumerate(stage.poses(context, "running"))
        for beam in [max(sources[number * lines : (number + 1) * lines], key=lambda one: badness(one.reach))]
    ]  # fmt: skip


def beyond_targets(stages: Sequence[Stage]) -> list[tuple[list[BeyondTarget], list[ZoneShape]]]:
    """Return for each stage where the beam of each fitted set-up goes behind each target, and where it can set fire."""
    each = beams_to_targets(stages)
    hot_ones = [one for one in each if stages[0].wanted != "short" and one[-1] is not None and one[-1].reach > 0.0]
    lit_past([(stage, hot, stage.walls(context, hot.way)) for stage, context, _, _, hot in hot_ones if hot])  # at once
    found = []
    for stage in stages:
        own = [(context, pose, beam) for where, context, pose, beam, _ in each if where is stage]
        beyond = _lit_together(stage, [_beyond(stage, *one, target) for one in own for target in one[0].targets])
        zones = [_ignition(stage, context, hot) for where, context, _, _, hot in hot_ones if where is stage and hot]
        found.append((beyond, [one for one in zones if one is not None]))
    return found


def _ignition(stage: Stage, context: Context, hot: Source) -> ZoneShape | None:
    threshold, words = threshold_of(stage)
    reach = hot.reach / ROUND_UP  # there the peak falls to the threshold
    numbers = beam_numbers(hot.as_beam.beam, reach, hot.as_beam.criteria[0].amount)
    formula, peak = f"4 Φ ρ / (π d_x d_y) = {threshold:.5g} W/m2", Message("ignition.peak")
    limit = Message("limited.ignition", threshold=f"{threshold:.6g} W/m2", source=words)
    return _shape(
        stage, context, hot, kind="ignition", distance=reach, measured_from="last optic", limited_by=limit,
        limit=threshold, limit_unit="W/m2", note=peak,
        steps=(Step("r", peak, formula, numbers, reach, "m", words, "own"),),
    )  # fmt: skip


def _beyond(stage: Stage, context: Context, pose: Pose, source: Source, target: Target) -> BeyondTarget:
    place, area = place_of(target, pose, stage.work_distance(context)), shapely.Polygon()
    area = cut(stage, context, source).area if stage.wanted != "short" else area
    away, flat = math.dist(place, pose.apex), math.dist(place[:2], pose.apex[:2])
    if flat > 0.5 * away:
        area = shapely.difference(area, shapely.Point(pose.apex[:2]).buffer(away * 0.999, quad_segs=64))
    name, stop = target.stop or "", stage.held(context, "direct").get(target.stop or "")
    distance = stated(source.reach, stage.result(context).zone("direct", "eye").distance)
    stopped = False
    if stop is not None and stop.holds:
        screen = stage.screens[name]
        corners = [(*xy, z) for xy in screen.line for z in (screen.bottom, screen.top)]
        behind = max(math.dist(corner, pose.apex) for corner in corners)
        stopped = _stopped(stage, context, pose, behind)
        distance = min(distance, math.dist(stop.place, source.apex)) if stopped and stop.place else distance
    (threshold, words), backing, irradiance = threshold_of(stage), plain(target.behind_distance), None
    if backing is not None and context.power is not None:  # from where the head comes nearest, but before the target
        near, far = (np.array([max(away + side * pose.loose, 0.0) + backing]) for side in (-1.0, 1.0))
        irradiance, one = 0.0, np.zeros(1)
        for own in context.every.values():
            power, profile = own.space.highest_mean_power or 0.0, BeamProfile(own.beam, (), *own.may_differ)
            peak = Lights([(replace(source, profile=profile.in_irradiance()), Walls())]).column
            irradiance += power * float(beam_over(peak, one.astype(np.intp), near, far, one)[0])
    return BeyondTarget(
        laser=context.laser.name, setup=context.setup.name, target=target.name, polygons=polygons(area),
        ends_at=name if stopped else "", distance=distance,
        behind=target.behind, backing_distance=backing, backing_irradiance=irradiance, ignition_threshold=threshold,
        ignition_source=words, can_ignite=None if irradiance is None else not irradiance < threshold,
    )  # fmt: skip


def _stopped(stage: Stage, context: Context, pose: Pose, away: float) -> bool:
    """Return whether walls that hold are proven to stop all of the beam on the way to places so far away [m].

    Of what comes as low as the lowest floor nothing goes on.
    """
    walls, low = stage.walls(context, "direct"), stage.band[0]
    lights = [(beam, walls) for beam in stage.sources(context, "direct", "eye") if beam.apex == pose.apex]
    wide = max(beam.profile.tail(2.0 * away, 1.0) for beam, _ in lights if isinstance(beam.profile, BeamProfile))
    far = (away + pose.loose + wide) * 1.05  # on a sphere round the head no cell reaches back to where the walls end
    box = pose.directions.box().widened(math.asin((pose.loose + wide) / far))
    bearing, turn = _cells(box.bearing - box.half_bearing, box.bearing + box.half_bearing)
    elevation, tilt = _cells(*box.elevation)
    b, e = (one.ravel() for one in np.meshgrid(bearing, elevation))
    half = far * (turn + tilt)
    middle = pose.apex + far * np.stack([np.sin(b) * np.cos(e), np.cos(b) * np.cos(e), np.sin(e)], axis=1)
    bottom, top = np.maximum(middle[:, 2] - half, low), middle[:, 2] + half
    over, halves = top > low, np.full(middle.shape, half)
    middle[:, 2], halves[:, 2] = (bottom + top) / 2.0, (top - bottom) / 2.0
    return not (most_light([lights], middle[over], halves[over]) > LEAST).any()


def _cells(low: float, high: float) -> tuple[FLOAT, float]:
    """Return the middles of cells between two angles and half their width [rad]."""
    edges = np.linspace(low, high, min(max(math.ceil((high - low) / _CELL), 1), _CELLS) + 1)
    return (edges[:-1] + edges[1:]) / 2.0, (high - low) / (len(edges) - 1) / 2.0


def _lit_together(stage: Stage, found: list[BeyondTarget]) -> list[BeyondTarget]:
    """Return what stands behind targets with the light of all lasers that are fired at the same one."""
    if not stage.case.adds_lasers:
        return found
    together = []
    for one in found:
        others = [o for o in found if o.target == one.target and o.laser != one.laser]
        most = highest({o.laser: o.backing_irradiance} for o in others if o.backing_irradiance is not None) or {}
        total = None if one.backing_irradiance is None else sum(most.values(), one.backing_irradiance)
        ignites = None if total is None or one.ignition_threshold is None else not total < one.ignition_threshold
        together.append(replace(one, backing_irradiance=total, can_ignite=ignites))
    return together
