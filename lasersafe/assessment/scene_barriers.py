"""What the plan shows of barriers, walls and view windows: peaks, ratings, nearest places, heights, gaps."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import shapely

from lasersafe.assessment.aims import bent_beams, lit_places
from lasersafe.assessment.barriers import beam_numbers
from lasersafe.assessment.context import WAYS, Context
from lasersafe.assessment.loads import asked, barrier_for, part_of_line, sources_on, steps_of
from lasersafe.assessment.scene_hits import taken
from lasersafe.assessment.scene_zones import FROM
from lasersafe.assessment.stage import REACH_UP, Stage
from lasersafe.hazard.barriers import barrier_distance
from lasersafe.records import Step, over, worst
from lasersafe.records.scene import BarrierLine, BarrierMap, BarrierWay, Opening, StandingPlace
from lasersafe.scene.bound import most_light
from lasersafe.scene.walls import Screen, Walls
from lasersafe.wording import Message, word

if TYPE_CHECKING:
    from lasersafe.models import SceneBarrier
    from lasersafe.optics.beam import BeamGeometry
    from lasersafe.scene.beams import FLOAT, Vector

_NOTHING = 1e-9
COLUMNS, ROWS = 120, 36  # of a map
ARM = 1.0  # m: so far a person reaches over an edge (German rules for shows, trade facts)
REACH = 2.7  # m: nobody reaches over an edge that is so high above where people stand (DGUV203-036, 12.1)
HIGHEST = 4.0  # m: above it nobody looks at a barrier; a higher one is shown up to here


def barrier_line(stage: Stage, entry: SceneBarrier) -> BarrierLine:
    """Return a barrier or wall with what falls on it on each way, and what follows from that.

    What it gets as the heads are aimed, and how near it may stand, is for the pages and for readings.
    """
    own, screen = stage.placed, stage.screens[entry.name]
    ways = [_way(stage, context, entry, stage.held(context, way)[entry.name]) for context in own for way in WAYS]
    faults = [
        _fault(stage, broken, entry)
        for context in own if context.setup.fitted for broken in context.broken(stage.contexts)
    ]  # fmt: skip
    fitted = [w for w in ways if w.fitted]
    needed, whom = height_needed(stage, entry)
    ratings = [entry.rating, *(b.rating for b in stage.case.barrier if b.name == entry.name)]
    line, people = shapely.LineString(screen.line), stage.scene.person
    near = [float(p.floor) for p in people if float(shapely.distance(line, taken(p))) <= 2.0 * ARM]
    panes = [
        (number, pane, context.setup.fitted) for context, way in product(own, WAYS)
        for (name, number), pane in stage.windows(context, way).items() if name == entry.name
    ]  # fmt: skip
    openings = []
    for number, o in enumerate(entry.opening):
        part = part_of_line(entry.line.pairs, float(o.start), float(o.end))
        judged = [pane.holds for n, pane, is_fitted in panes if n == number and is_fitted]
        passes = not all(judged) if judged else o.open or o.kind == "window"
        top = min(float(o.top), float(entry.top))
        openings.append(Opening(o.name, o.kind, part[0], part[-1], float(o.bottom), top, passes))
    return BarrierLine(
        name=entry.name, kind=entry.kind, line=screen.line, bottom=screen.bottom, top=screen.top,
        rated=any(rating is not None for rating in ratings), ways=tuple(ways), faults=tuple(faults),
        openings=tuple(openings), windows=tuple(pane for _, pane, _ in panes),
        reach_over=not REACH <= screen.top - max([0.0, *near]) < math.inf,  # True also for what is no number
        needed_height=needed, needed_for=whom,
        notes=tuple(dict.fromkeys(note for w in fitted if w.asked for note in w.notes)),
    )  # fmt: skip


def _way(stage: Stage, context: Context, entry: SceneBarrier, one: BarrierWay) -> BarrierWay:
    peak, place, steps = None, None, tuple[Step, ...]()
    as_aimed = context.setup.fitted and (stage.wanted != "short" or bool(stage.case.reading))
    if as_aimed and not context.fault:
        power = context.power
        highest = stage.peaks(context, one.way, ("running",))[entry.name, None]
        peak, place = math.inf if power is None else min(highest.irradiance * power, one.irradiance), highest.place
        if power is None or not peak > _NOTHING * one.irradiance:
            peak, place = (peak if power is None else 0.0), None
        elif peak < one.irradiance:
            steps = steps_of(stage, context, highest, "barrier.peak_as_aimed")
    stands, stops = _stands(stage, context, one) if as_aimed else (), asked(stage, context, one.way, entry)
    return replace(one, aimed=peak, aimed_place=place, aimed_steps=steps, asked=stops, stands=stands)


def _fault(stage: Stage, broken: Context, entry: SceneBarrier) -> BarrierWay:
    """Return what the beam of a fault brings, straight or over mirrors."""
    both = [_way(stage, broken, entry, stage.held(broken, one)[entry.name]) for one in broken.ways_of_fault]
    one, alike = worst(both), [place.distance for place in both[-1].stands if place.measured_from == FROM["mirror"]]
    told = [p for p in one.stands if p.measured_from != FROM["direct"] or p.distance > max(alike, default=-1.0)]
    return replace(one, way=broken.fault, asked=any(one.asked for one in both), stands=tuple(told))


# --- how near it may stand ------------------------------------------------------------------------------------------


def _stands(stage: Stage, context: Context, one: BarrierWay) -> tuple[StandingPlace, ...]:
    """Return how near the barrier may stand with its rating; all wavelengths are taken with the power of all."""
    power = context.power
    if one.rating is None or power is None or not power > 0.0:
        return ()
    poses, rating = stage.poses(context, "running"), one.rating
    items = [i for pose in poses for i in stage.lit(context, pose)]
    flat = [max((i.reflectance for i in items if i.mirror and i.may_be_flat), default=1.0)]
    flat += [pane.mirror.reflectance for pose in poses for pane in stage.panes(context, pose, "service")]
    flat += [1.0] if stage.scene.outdoor is not None and stage.scene.outdoor.wet else []
    scatter = max([i.reflectance for i in items] + [context.brightest.reflectance])
    found, start = list[StandingPlace](), FROM[one.way]

    def add(start: str, far: float, formula: str, numbers: str) -> None:
        meaning, source = Message("barrier.stands", start=word(start)), Message("source.peak")
        step = Step("r", meaning, formula, numbers, far, "m", source, "own")
        found.append(StandingPlace(far, start, (step,) if far > 0.0 else ()))

    def add_beam(start: str, sent: float, beam: BeamGeometry) -> None:
        far = barrier_distance(sent, rating, beam)
        add(start, far, f"4 Φ ρ / (π d_x d_y) = {rating:.5g} W/m2", beam_numbers(beam, far, sent))

    if one.way == "scatter":
        spot = replace(context.lit_spot, reflectance=scatter, view_angle=0.0)
        near, wide = barrier_distance(power, rating, spot), 1 if spot.model == "lambert" else 2
        put_in = f"√({scatter:.5g} · {power:.5g} / ({wide} · π · {rating:.5g}))"
        add(start, near, f"√(ρ Φ / ({wide} π E_R))", put_in)
    for own in context.every.values() if one.way != "scatter" else ():
        add_beam(start, power * (max(flat) if one.way == "mirror" else 1.0), own.beam)
        for pose, item in ((there, item) for there in poses for item in stage.lit(context, there)):
            for bend in item.bends if one.way == "mirror" and item.mirror else ():
                for bent in bent_beams(own, pose, item, stage.spots(own, pose, item), bend):
                    add_beam(item.name, power * item.reflectance, bent.beam)
    return over(found, lambda one: [one])


# --- place by place -------------------------------------------------------------------------------------------------


def barrier_maps(stages: Sequence[Stage]) -> Iterator[BarrierMap]:
    """Yield the map of each barrier with all fitted set-ups as aimed while running, of several corners the highest.

    What stands between is not counted. Nowhere in a cell the peak is higher than its value.

    Parameters
    ----------
    stages : sequence of Stage
        A scene at each corner of its tolerances.
    """
    for screen in (stages[0].screens[entry.name] for entry in stages[0].scene.barrier):
        edges, low, high = _along(screen)
        heights = np.linspace(screen.bottom, min(screen.top, screen.bottom + HIGHEST), ROWS + 1)
        ways = {way: np.max([_on(one, screen, way, low, high, heights) for one in stages], axis=0) for way in WAYS}
        rated = (barrier_for(stage, context, screen.name) for stage in stages for context in stage.fitted)
        lowest = min((float(one.rating) for one in rated if one is not None and one.rating is not None), default=None)
        yield BarrierMap(screen.name, tuple(edges.tolist()), tuple(heights.tolist()), ways, lowest)


def _along(screen: Screen) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return the edges of the columns along the line [m], and on the plan the corners of each, (columns, 2)."""
    pieces = list(itertools.pairwise(screen.line))
    step = sum(math.dist(*ends) for ends in pieces) / COLUMNS
    cut = [np.linspace(*ends, max(1, math.ceil(math.dist(*ends) / step - 1e-9)) + 1)[1:] for ends in pieces]
    places = np.concatenate([np.array(screen.line[:1]), *cut])
    edges = np.append(0.0, np.cumsum(np.sqrt(np.square(np.diff(places, axis=0)).sum(axis=1))))
    return edges, np.minimum(places[:-1], places[1:]), np.maximum(places[:-1], places[1:])


def _on(stage: Stage, screen: Screen, way: str, low: FLOAT, high: FLOAT, heights: FLOAT) -> FLOAT:
    """Return the irradiance [W/m2] on cells of shape (rows, columns), the fitted set-ups together."""
    rows, columns = heights.size - 1, len(low)
    ends = (low, heights[:-1]), (high, heights[1:])
    least, most = (np.column_stack([np.tile(at, (rows, 1)), np.repeat(level, columns)]) for at, level in ends)
    sums = []
    for lasers in [stage.fitted] if stage.case.adds_lasers else [[one] for one in stage.fitted]:
        total = np.zeros((rows, columns))
        for context in lasers:
            power = context.power
            if power is None:
                return np.full(total.shape, math.inf)
            sources = sources_on(stage, context, way, ("running",))
            others = [one for one in sources if not one.parts or one.surface != screen.name]
            lights = [(replace(one, profile=stage.in_irradiance(one.profile, power)), Walls()) for one in others]
            if lights:
                found = most_light([lights], (least + most) / 2.0, (most - least) / 2.0).max(axis=0)
                highest = stage.peaks(context, way, ("running",))[screen.name, None].irradiance * power
                total += np.minimum(found, highest).reshape(total.shape)
        sums.append(total)
    return np.max(sums, axis=0) if sums else np.zeros((rows, columns))


# --- how high it has to be --------------------------------------------------------------------------------------------


def height_needed(stage: Stage, entry: SceneBarrier) -> tuple[float | None, str]:
    """Return how high the upper edge has to be to shade everybody who stands behind it, and who asks for it [1]_.

    References
    ----------
    .. [1] Elementary: straight lines past an edge; the floor hides what is below it.
    """
    starts, found = np.array(sorted(_starts(stage))).reshape(-1, 3), list[tuple[float, str]]()
    for person in stage.scene.person:
        outline = taken(person)  # where somebody can stand: of an area corners and edge
        if person.position is None:
            outline = shapely.segmentize(outline, outline.length / 64.0)
        places = np.asarray(shapely.get_coordinates(outline))
        # part of the way to a place at which the barrier is met; farther off, a line to a lower place comes in higher
        share, start = _crossings(starts[:, :2], places, np.array(entry.line.pairs)), starts[:, 2:]
        level = np.maximum(start + (float(person.floor) + REACH_UP - start) * share, start)
        highest = float(np.max(level, initial=-math.inf, where=~np.isnan(share)))
        found += [(max(highest, 0.0), person.name)] if math.isfinite(highest) else []
    return max(found, key=lambda one: one[0], default=(None, ""))


def _starts(stage: Stage) -> set[Vector]:
    """Return every place from which light of a fitted laser starts: last optics, mirrors, lit spots."""
    found: set[Vector] = set()
    for context in stage.fitted:
        for pose in stage.poses(context, "running"):
            found |= _round(pose.apex, pose.moves)
            for item in stage.lit(context, pose):
                for spots in lit_places(context, pose, item, stage.spots(context, pose, item)):
                    # the way to the edge is the steepest from a corner of what holds all spots, at the highest of them
                    for x, y in spots.corners.tolist():
                        found |= _round((x, y, spots.heights[1]), (spots.slack,) * 3)
            for pane in stage.panes(context, pose, "service"):
                found.update(pane.upper_corners)
    return found


def _round(place: Vector, moves: Vector) -> set[Vector]:
    """Return the upper corners of a box round a place."""
    (x, y, z), (wide, deep, high) = place, moves
    return {(x + a * wide, y + b * deep, z + high) for a in (-1.0, 1.0) for b in (-1.0, 1.0)}


def _crossings(starts: FLOAT, places: FLOAT, line: FLOAT) -> FLOAT:
    """Return where ways cross a polyline, as part of the way, of shape (pieces, starts, places); NaN where not."""
    dx, dy = np.moveaxis(places - starts[:, None], 2, 0)
    ax, ay = np.moveaxis(line[:-1, None] - starts, 2, 0)[..., None]
    ex, ey = (line[1:] - line[:-1]).T[..., None, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = dx * ey - dy * ex
        t, u = (ax * ey - ay * ex) / cross, (ax * dy - ay * dx) / cross
        return np.where((t > 0.0) & (t <= 1.0) & (u >= 0.0) & (u <= 1.0), t, np.nan)
