"""The plan against the rules for spectators of a region, row by row; rules and exposure limits both hold."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely
from shapely import affinity

from lasersafe.assessment.context import FARTHER, SCATTERED, TISSUES, WAYS, Context, kinds_of_light
from lasersafe.assessment.scenarios import struck_out
from lasersafe.assessment.scene_hits import taken
from lasersafe.assessment.scene_zones import SUMS, stated
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard.other_rules import MET, NOT_JUDGED, Facts, asked_for, class_rank, judge, packs
from lasersafe.models import ScenePerson
from lasersafe.optics.beam import unique
from lasersafe.quantity import raised
from lasersafe.records.scene import BarrierLine, MatrixCell, Point, SpectatorLine, SpectatorRule, ZoneShape
from lasersafe.results import GUESTS, Scenario
from lasersafe.scene.areas import PAD, area_of, finest, polygons
from lasersafe.scene.bound import Places, Question, bounds
from lasersafe.scene.walls import Walls
from lasersafe.wording import Message, joined, word

SIDES = (("front", math.pi), ("right", math.pi / 2.0), ("back", 0.0), ("left", -math.pi / 2.0))
_OF_ZONES = "lateral_gap", "height_above_standing"  # facts that rest on zones near spectators
_NEXT = 0.3  # m
_ARM_STEP, _ARM_STEPS, _ALONG = 0.125, 12, 0.25  # m: beside and above an edge, how many of them, and along it
_MOST = 64  # boxes of each of these


def facts_of(
    stages: tuple[Stage, ...],
    zones: tuple[ZoneShape, ...],
    cells: tuple[MatrixCell, ...],
    barriers: tuple[BarrierLine, ...],
    scenarios: list[Scenario],
) -> Facts:
    """Return what the scene says about spectators; None for what it does not say.

    Parameters
    ----------
    stages : tuple of Stage
        The scene at every corner of the tolerances.
    zones, cells, barriers : tuple
        The worst of all corners.
    scenarios : list of Scenario
        Those of every corner.
    """
    stage = stages[0]
    people, fitted = _spectators(stage), stage.fitted
    waves: dict[str, list[Context]] = {}
    for context in (c for s in stages for c in s.fitted):
        waves.setdefault(context.laser.name, []).append(context)
    seen = set[str]().union(*map(kinds_of_light, waves.values())) - {"ultraviolet"}
    visible = "visible" in seen if len(seen) == 1 else None
    labels = [c.laser.class_label.strip() for c in fitted]
    ranked = [label for label in labels if class_rank(label) is not None]
    highest = max(ranked, key=lambda label: class_rank(label) or 0) if ranked and ranked == labels else None
    attended = True if stage.case.area.watch_keeper else None
    if not stage.case.spectator_rules or not people:
        return Facts(visible=visible, laser_class=highest, attended=attended)
    today = [z for z in zones if z.kind != "ignition"]
    area = shapely.union_all([area_of(z.polygons) for z in today])
    gap = min(float(shapely.distance(area, taken(p))) for p in people) if today else math.inf
    high = 0.0 if gap <= 0.0 else None if any(z.overhead for z in today) else math.inf
    names, lasers = {p.name for p in people}, {(c.laser.name, c.setup.name) for c in fitted}
    mine = [c for c in cells if c.person in names and c.mode == "running" and (c.laser, c.setup) in lasers]
    beams = [c for c in mine if c.way not in SCATTERED and not c.ratio <= 0.0]
    moved = {  # by a scanner, by hand, or by a head that turns
        (c.laser.name, c.setup.name) for c in fitted
        if c.setup.scan is not None or c.laser.handheld or not all(p.fixed for p in stage.poses(c, "running"))
    }  # fmt: skip
    scanned = [c for c in beams if c.way == "direct" and (c.laser, c.setup) in moved]
    times = [s.duration for s in scenarios if s.person in names and (s.laser, s.setup) in lasers]
    over = [b for b in barriers if b.reach_over and b.kind != "terrain"]
    edges = tuple((a, b, one.top) for one in over for a, b in itertools.pairwise(one.line))
    over_gap = min(_reach_over_gap(s, edges, (*(s.standing(c, WAYS) for c in s.fitted),)) for s in stages)
    screens = [b.top for b in barriers if b.kind == "barrier"] or _stage_heights(stage, fitted)
    return Facts(
        height_above_standing=high, lateral_gap=gap, reach_over_gap=over_gap,
        attended=attended, audience_scanning=bool(scanned), barrier_height=min(screens, default=None),
        shortest_exposure_time=min(times, default=None), visible=visible, laser_class=highest,
        only_scatter_reaches_people=not beams,
    )  # fmt: skip


def _spectators(stage: Stage) -> list[ScenePerson]:
    roles = {p.name: p.role for p in stage.case.person}
    return [p for p in stage.scene.person if roles[p.name] in GUESTS]


def _stage_heights(stage: Stage, fitted: list[Context]) -> list[float]:
    """Return how high the stages are that the fitted lasers stand on; nothing when one stands on none of a height."""
    stages = [(shapely.Polygon(f.outline.pairs), float(f.height)) for f in stage.scene.floor if f.kind == "stage"]
    found = []
    for pose in (pose for context in fitted for pose in stage.poses(context, "running")):
        under = [high for area, high in stages if high > 0.0 and area.covers(shapely.Point(pose.apex[:2]))]
        if not under:
            return []
        found.append(min(under))
    return found


@kept("all")
def _reach_over_gap(stage: Stage, reached: tuple[tuple[Point, Point, float], ...], standing: object) -> float:
    """Return the shortest way from an edge that can be reached over to what is not proven below a limit.

    What is ``standing`` tells answers apart. Infinite beyond 1.5 m. What lies round an edge is bounded in boxes, 0.125
    m beside and above it and 0.25 m along it, the nearest first, without the shade of any barrier.
    """
    every = itertools.product(stage.fitted, WAYS, TISSUES)
    lights = [(source, Walls()) for context, way, tissue in every for source in stage.sources(context, way, tissue)]
    edges = [(np.array(a), np.array(b), top) for a, b, top in reached]
    steps = (np.arange(-_ARM_STEPS, _ARM_STEPS) + 0.5) * _ARM_STEP
    beside, upright = (part.ravel() for part in np.meshgrid(steps, steps))
    away = np.hypot(np.abs(beside) - _ARM_STEP / 2.0, np.abs(upright) - _ARM_STEP / 2.0)
    near = _ARM_STEP * _ARM_STEPS
    low = [[*(np.minimum(a, b) - near), top - near] for a, b, top in edges]
    high = [[*(np.maximum(a, b) + near), top + near] for a, b, top in edges]
    if not edges:
        return math.inf
    lit = bounds([Question([lights], Places(np.array(low), np.array(high)))], to_limit=True)[0].upper > 1.0
    edges = [edge for edge, some in zip(edges, lit, strict=True) if some]
    for distance in unique(away[away < near]) if edges else ():
        at, asked = np.flatnonzero(away == distance), list[Question]()
        for a, b, top in edges:
            length = math.dist(a, b)
            way, count = (b - a) / length, max(1, math.ceil(length / _ALONG))
            out = np.array([way[1], -way[0]])
            along = (np.arange(count) + 0.5) * length / count
            on_plan = a + along[:, None] * way + beside[at, None, None] * out
            middle = np.column_stack([on_plan.reshape(-1, 2), np.repeat(top + upright[at], count)])
            half = np.array([*(np.abs(way) * length / count + np.abs(out) * _ARM_STEP), _ARM_STEP]) / 2.0
            asked.append(Question([lights], Places(middle - half, middle + half)))
        if any((one.upper > 1.0).any() for one in bounds(asked, to_limit=True, most=_MOST)):
            return float(distance)
    return math.inf


def near_of(stages: tuple[Stage, ...], facing: float, beyond: float) -> shapely.Geometry | None:
    """Return where rules and distances can depend on zones; None for anywhere, as with curved mirrors that focus.

    Rules ask how high light is over spectators, which is nothing in a zone, and for a gap between zones and them; the
    lines round a laser count where they are farther than its beam reaches on every side of the audience, which looks
    the other way than *facing*.
    """
    stage, plan = stages[0], stages[0].extent
    for one, tissue in itertools.product(stages, TISSUES):
        for context in one.fitted:
            mirrors, zone = one.sources(context, "mirror", tissue), one.result(context).zone("mirror", tissue)
            if not all(stated(mirror.reach, zone.distance) <= FARTHER * beyond for mirror in mirrors):
                return None
    around, found = 3.0 * finest(plan) + PAD, list[shapely.Geometry]()
    asked = [rule for key in stage.case.spectator_rules for rule in packs()[key].rules if rule.fact in _OF_ZONES]
    gaps = [float(rule.value) if rule.fact == "lateral_gap" else 0.0 for rule in asked]
    if gaps:
        found += [taken(one).buffer(max(gaps) + around) for one in _spectators(stage)]
    size = 10.0 * beyond + math.dist(plan[:2], plan[2:])
    for context in stage.fitted if math.isfinite(beyond) else ():
        for x, y, _ in (pose.apex for pose in stage.poses(context, "running")[:1]):
            half = shapely.box(x - size, y + beyond - 2.0 * _NEXT - around, x + size, y + size)
            found += [affinity.rotate(half, -(facing + turn), (x, y), use_radians=True) for _, turn in SIDES]
    near = shapely.union_all(found)
    shapely.prepare(near)
    return near


def rules_of(stage: Stage, facts: Facts, glows: bool) -> tuple[SpectatorRule, ...]:
    """Return every row of the chosen packs with its outcome.

    Where an extended source *glows* above a limit no row is met that rests on zones: none holds its light.
    """
    chosen, found = [packs()[key] for key in stage.case.spectator_rules], list[SpectatorRule]()
    for rule, row in ((rule, row) for pack in chosen for rule, row in zip(pack.rules, judge(pack, facts), strict=True)):
        doubtful = glows and row.outcome == MET and rule.fact in (*_OF_ZONES, "reach_over_gap")
        words = Message("rule.glows", words=row.words)
        found.append(replace(row, outcome=NOT_JUDGED, words=words) if doubtful else row)
    return tuple(found)


def zones_of(zones: Sequence[ZoneShape], laser: str) -> list[ZoneShape]:
    """Return the zones whose line is measured from a laser: its own, and of sums what is not another's."""
    own = [zone for zone in zones if zone.laser == laser]
    near, away = (
        shapely.union_all([area_of(z.polygons) for z in some]).buffer(_NEXT)
        for some in (own, [z for z in zones if z.laser != laser and z.kind not in SUMS])
    )
    others = shapely.difference(away, near)
    sums = [zone for zone in zones if zone.kind in SUMS]
    cut = ((zone, polygons(shapely.difference(area_of(zone.polygons), others))) for zone in sums)
    return [*own, *(replace(zone, polygons=parts) for zone, parts in cut)]


def spectator_lines(stage: Stage, zones: Sequence[ZoneShape], facing: float) -> Iterator[SpectatorLine]:
    """Give the nearest allowed line on each side of each fitted set-up: front, right, back and left.

    Parameters
    ----------
    stage : Stage
        The scene.
    zones : sequence of ZoneShape
        All zones that people have to stay out of.
    facing : float
        Direction from the audience to the stage; the front is the other way. [rad]

    Yields
    ------
    SpectatorLine
        How far from the last optic it stands, at least at it; as long as the plan is wide.
    """
    x0, y0, x1, y1 = stage.extent
    half = max(x1 - x0, y1 - y0) / 2.0
    for context, pose in ((one, pose) for one in stage.fitted for pose in stage.poses(one, "running")[:1]):
        own, origin = zones_of(zones, context.laser.name), np.array(pose.apex[:2])
        for side, turn in SIDES:
            bearing = (facing + turn) % (2.0 * math.pi)
            out = np.array([math.sin(bearing), math.cos(bearing)])
            reached = [
                (max(float(((np.array(part.outline) - origin) @ out).max()) for part in zone.polygons), zone)
                for zone in own if zone.polygons
            ]  # fmt: skip
            best, limiting = max([(0.0, None), *reached], key=lambda one: one[0])
            distance, words, of = raised(best), Message("zone.nothing"), ("", "", "")
            if limiting is not None:
                of = context.laser.name, context.setup.name, limiting.kind
                where = Message("zone.by_way", surface=word(limiting.surface)) if limiting.surface else ""
                facts = {"kind": joined(map(word, limiting.kind.split()), " "), "laser": word(limiting.laser)}
                words = Message("zone.limits", setup=limiting.setup, limit=limiting.limited_by, where=where, **facts)
            foot, along = origin + out * distance, np.array([out[1], -out[0]]) * half
            first, second = ((float(x), float(y)) for x, y in (foot - along, foot + along))
            yield SpectatorLine(
                side=side, line=(first, second), distance=distance, distance_from="last optic", limited_by=words,
                bearing=bearing, laser=of[0], setup=of[1], zone=of[2],
            )  # fmt: skip


def faults_beyond(stages: Sequence[Stage], lines: Sequence[SpectatorLine]) -> dict[tuple[str, str, str], float]:
    """Return how far straight the beam of each fault exceeds a limit where that is beyond zones and lines [m].

    That of a lost lens goes the way of the beam, that of a broken fibre to any side; they go by laser, set-up and
    fault. What is struck out for everybody is left out.
    """
    found: dict[tuple[str, str, str], float] = {}
    for stage, own in ((one, own) for one in stages for own in one.fitted):
        beside = [line.distance for line in lines if line.laser == own.laser.name]
        for broken in own.broken(stage.contexts):
            if own.persons and all(struck_out(own, one, broken.fault, "running") for one in own.persons):
                continue
            straight, usual = (
                max((one.reach for tissue in TISSUES for one in stage.sources(each, "direct", tissue)), default=0.0)
                for each in (broken, own)
            )
            known = usual if broken.fault == "optic lost" else min(beside) if len(beside) == len(SIDES) else 0.0
            if not straight <= known:
                found[broken.named] = max(found.get(broken.named, 0.0), straight)
    return found


def stricter_lines(stage: Stage, lines: tuple[SpectatorLine, ...], facts: Facts) -> tuple[SpectatorLine, ...]:
    """Return the lines, moved out by the gap that a chosen pack asks for between the zone and people."""
    asked = [
        (found[0], Message("rule.of_pack", pack=word(packs()[key].name), rule=word(found[1].key)))
        for key in stage.case.spectator_rules
        if (found := asked_for(packs()[key], "lateral_gap", facts)) is not None
    ]
    if not asked:
        return lines
    gap, name = max(asked)
    moved = []
    for line in lines:
        if not line.distance > 0.0:
            moved.append(line)
            continue
        out = (math.sin(line.bearing), math.cos(line.bearing))
        distance = raised(line.distance, gap)
        shift = distance - line.distance
        ends = tuple((x + out[0] * shift, y + out[1] * shift) for x, y in line.line)
        note = Message("zone.gap", gap=f"{gap:g}")
        moved.append(replace(line, line=ends, distance=distance, line_kind=name, note=note, zone=""))
    return tuple(moved)
