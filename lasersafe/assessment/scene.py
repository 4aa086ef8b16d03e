"""The scene of a case, worked out: what an assessment adds when people, surfaces and barriers have places."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from lasersafe.assessment.aims import far_scatter
from lasersafe.assessment.context import TISSUES, duration_of_all, every_context
from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.decision import metres
from lasersafe.assessment.price import prices
from lasersafe.assessment.scene_barriers import barrier_lines, shading_lights
from lasersafe.assessment.scene_findings import findings_of, rule_findings
from lasersafe.assessment.scene_hits import person_places, taken
from lasersafe.assessment.scene_marks import (
    aims_of,
    camera_lines,
    camera_marks,
    person_marks,
    plan_of,
    surface_marks,
    target_marks,
)
from lasersafe.assessment.scene_matrix import placed_case
from lasersafe.assessment.scene_rules import facts_of, rules_of, spectator_lines, stricter_lines
from lasersafe.assessment.scene_zones import (
    SUMS,
    beams_to_targets,
    beyond_targets,
    joined_zone,
    lasers_that_add,
    lit_past,
    together_lights,
    union_of,
    zone_lights,
    zones_over,
)
from lasersafe.assessment.section import elevations, joined_zones
from lasersafe.assessment.stage import Stage
from lasersafe.assessment.stages import stages_at
from lasersafe.errors import refuse
from lasersafe.hazard.distances import FARTHEST, farthest_crossing
from lasersafe.quantity import grouped
from lasersafe.records.fields import badness, over
from lasersafe.records.scene import (
    BeyondTarget,
    Elevation,
    HazardMap,
    MapPlace,
    PersonMark,
    SceneFinding,
    SceneResult,
    StruckOut,
    ZoneShape,
)
from lasersafe.results import Decision
from lasersafe.scene.areas import area_of, polygons
from lasersafe.scene.bound import Question, bounds
from lasersafe.scene.hazard_map import EYES, hazard_map
from lasersafe.scene.profile import NEAREST, ScatterProfile

_MIRRORS = ("eye mirror", "skin mirror")  # zones of lines that count with those of mirrors
_FARTHER = 1.01  # times the distance of the decision block: what a flat mirror rounds up is below
_NEXT = 0.3  # m
_MAP_CELLS = 60  # of the exposure map in the sheet, along its longer side

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lasersafe.assessment.protection import CaseResults
    from lasersafe.models import Case
    from lasersafe.wording import Wording


def scene_result(worked: CaseResults, wording: Wording, *, in_full: bool = True) -> SceneResult:
    """Return the record of a scene, coordinates and numbers only.

    Parameters
    ----------
    worked : CaseResults
        The case with the matrix in any order, its scenarios with their controls, and each corner of its tolerances with
        the scene as sources and screens.
    wording : Wording
        Language of the findings.
    in_full : bool
        Whether to work out what only the pages print: the exposure map, elevations, what assumptions cost.
    """
    stages = tuple(one.stage for one in worked.each if one.stage is not None)
    stage = stages[0]
    hot = [
        (where, one, where.walls(context, "direct")) for where, context, _, _, one in beams_to_targets(stages) if one
    ]
    lit_past([*zone_lights(stages), *hot, *shading_lights(stages)])  # all at once
    zones, behind = zones_over(stages), beyond_targets(stages)
    beyond = over(behind, lambda one: one[0], _beyond)
    controls = {(s.person, s.way, s.laser, s.setup): s.controls for s in worked.scenarios if s.controls}
    matrix = tuple(
        replace(c, controls=() if c.below else controls.get((c.person, c.way, c.laser, c.setup), ()))
        for c in sorted(worked.cells, key=lambda c: (bool(c.struck_out), -badness(c.ratio)))
    )
    plan = plan_of(stage)
    barriers = barrier_lines(stages)
    persons = person_marks(stage, matrix, _places(stage))
    facing = 0.0 if plan.stage_arrow is None else plan.stage_arrow
    lines = tuple(
        line
        for context in stage.fitted
        for pose in stage.poses(context, "running")[:1]
        for line in spectator_lines(
            _zones_of(zones, context.laser.name),
            facing, pose.apex, plan.extent, (context.laser.name, context.setup.name),
        )
    )  # fmt: skip
    every = [scenario for one in worked.each for scenario in one.scenarios]
    facts = facts_of(stages, zones, matrix, barriers, every)
    rules = rules_of(stage, facts)
    lines = stricter_lines(stage, lines, facts)
    grid, costs = None, list[SceneFinding]()
    if in_full:
        x0, y0, x1, y1 = plan.extent  # the map of the sheet is coarse, and exact where persons are
        step = max(x1 - x0, y1 - y0) / _MAP_CELLS
        x, y = np.arange(x0 + step / 2.0, x1, step), np.arange(y0 + step / 2.0, y1, step)
        grid = replace(scene_map(stages, x, y), persons=map_places(stages, persons))
        costs = [
            SceneFinding("price", text, subject=who) for who, text in prices(stage, worked.scenarios, wording.text)
        ]
    return SceneResult(
        plan=plan,
        aims=over(stages, aims_of),
        zones=(*zones, *over(behind, lambda one: one[1], joined_zone)),
        beyond=beyond,
        barriers=barriers,
        persons=persons,
        cameras=camera_marks(stage),
        targets=over(stages, target_marks),
        surfaces=surface_marks(stage),
        lines=lines,
        elevations=over(stages, lambda stage: elevations(stage, persons), _section) if in_full else (),
        matrix=matrix,
        findings=(*findings_of(stages, zones, beyond, barriers, wording), *rule_findings(rules, wording), *costs),
        struck_out=tuple(
            StruckOut(c.person, c.mode, c.way, c.struck_out, c.laser, c.setup) for c in matrix if c.struck_out
        ),
        notes=(stage.scene.note,) if stage.scene.note else (),
        rules=rules,
        camera_lines=over(stages, camera_lines),
        map=grid,
    )


def _beyond(farthest: BeyondTarget, group: Sequence[BeyondTarget]) -> BeyondTarget:
    return replace(farthest, polygons=union_of([one.polygons for one in group])[0])


def _section(farthest: Elevation, group: Sequence[Elevation]) -> Elevation:
    names = {item.name for item in farthest.items if item.holds}
    held = {name for name in names if all(i.holds is not False for one in group for i in one.items if i.name == name)}
    items = tuple(replace(item, holds=False) if item.name in names - held else item for item in farthest.items)
    ends = farthest.ends_at if all(one.ends_at == farthest.ends_at for one in group) else ""
    light = farthest.light if len(group) == 1 else joined_zones(zone for one in group for zone in one.light)
    return replace(farthest, items=items, ends_at=ends, light=light)


def _zones_of(zones: Sequence[ZoneShape], laser: str) -> list[ZoneShape]:
    """Return the zones whose line is measured from a laser: its own, and of sums what is not another's."""
    fitted = [zone for zone in zones if zone.fitted]
    own = [zone for zone in fitted if zone.laser == laser]
    near, away = (
        shapely.union_all([area_of(z.polygons) for z in some]).buffer(_NEXT)
        for some in (own, [z for z in fitted if z.laser != laser and z.kind not in SUMS])
    )
    others = shapely.difference(away, near)
    for zone in fitted:
        if zone.kind in SUMS:
            own.append(replace(zone, polygons=polygons(shapely.difference(area_of(zone.polygons), others))))
    return own


def map_places(stages: tuple[Stage, ...], persons: tuple[PersonMark, ...]) -> tuple[MapPlace, ...]:
    """Return the highest ratio of the map over all of the place of each person, and over the height of the eyes."""
    places = person_places(stages[0], "eye")
    asked = [Question(groups, places) for _, groups in together_lights(stages, "eye")] if persons else []
    if not asked:
        return ()
    ratio = np.max([one.upper for one in bounds(asked)], axis=0)
    return tuple(MapPlace(mark.name, mark.position, float(r)) for mark, r in zip(persons, ratio, strict=True))


def scene_decision(decision: Decision, scene: SceneResult, wording: Wording, *, with_feet: bool = False) -> Decision:
    """Return the decision with what the scene adds: refusals, and the lines that people stand behind."""
    refusals = [f.text for f in scene.findings if f.refuses]
    panes = [f.text for f in scene.findings if f.kind == "failing window" and not f.refuses]
    kinds = ("one at a time", "target list", "ignition", "beyond target", "spectator")
    others = [f.text for f in scene.findings if not f.refuses and f.kind in kinds]
    verdict, passed = decision.verdict, decision.passed
    if refusals and passed:
        verdict, passed = wording.text("say.not_as_planned", what=refusals[0]), False
    by_laser: dict[str, list[str]] = {}
    for line in scene.lines:
        if line.distance > 0.0:
            side = f"{wording.text(f'side.{line.side}')} {grouped(line.distance, 1)} m"
            by_laser.setdefault(line.laser, []).append(side)
    sides = "; ".join(f"{laser}: {', '.join(found)}" for laser, found in by_laser.items())
    people, headline, tissue = decision.people, decision.headline_distance, decision.headline_tissue
    mirrors = [z for z in scene.zones if z.fitted and z.kind == "eye mirror"]
    if headline is not None and any(not z.distance <= _FARTHER * headline for z in mirrors):
        bent = max(mirrors, key=lambda zone: badness(zone.distance))
        headline = max((bent.distance, *(line.distance for line in scene.lines if line.zone in _MIRRORS)), key=badness)
        words = {"surface": wording.say(bent.surface), "laser": bent.laser, "reach": metres(headline, with_feet)}
        people, tissue = " ".join((people, wording.text("say.bent", **words))), "eye"
    people = f"{people} {wording.text('say.lines', sides=sides)}" if sides else people
    return replace(
        decision, verdict=verdict, passed=passed, people=people, headline_distance=headline, headline_tissue=tissue,
        aided_distance=max(decision.aided_distance, math.inf if headline is None else headline, key=badness),
        reasons=(*refusals, *panes, *decision.reasons, *others), causes=(*refusals, *panes, *decision.causes),
        grounds=(*decision.grounds, *others),
    )  # fmt: skip


def _places(stage: Stage) -> dict[str, tuple[float, float]]:
    """Return for each person with an area the place nearest to a laser."""
    apexes = [pose.apex[:2] for c in stage.contexts for pose in stage.poses(c, "running")]
    found: dict[str, tuple[float, float]] = {}
    for place in stage.scene.person if apexes else ():
        if place.position is None:
            nearest = min(shapely.shortest_line(taken(place), shapely.points(apexes)), key=lambda line: line.length)
            x, y = nearest.coords[0]
            found[place.name] = (x, y)
    return found


def scene_map(
    stages: Sequence[Stage],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    heights: tuple[tuple[str, float], ...] = EYES,
) -> HazardMap:
    """Return the map of a scene on a grid of the floor [m], at heights of the eyes [m], at the worst of all corners."""
    return hazard_map([groups for _, groups in together_lights(stages, "eye")], x, y, heights)


def lit_reach(stages: Sequence[Stage]) -> tuple[float, tuple[tuple[str, float], ...]]:
    """Return how far from whatever ends a beam, or what mirrors make of it, its scatter exceeds a limit [m].

    With it, how far each laser reaches alone [m]. Of lasers that can be on at once each is as near as the others, with
    the brightest of what it lights.
    """
    best: tuple[float, tuple[tuple[str, float], ...]] = (0.0, ())
    for tissue in TISSUES:
        for lasers in lasers_that_add(stages, tissue):
            bright: list[dict[ScatterProfile, float]] = []  # of each laser at all corners
            for corners in lasers:
                factors: dict[ScatterProfile, float] = {}
                bright.append(factors)
                for stage, context in corners:
                    time = duration_of_all(every_context(context), "scatter")[0]
                    for way in ("scatter", "mirror then scatter"):
                        for source in stage.sources(context, way, tissue, duration=time):
                            assert isinstance(source.profile, ScatterProfile)
                            factors[source.profile] = max(factors.get(source.profile, 0.0), source.factor, key=badness)

            def total(place: NDArray[np.float64], bright: Any = bright) -> NDArray[np.float64]:
                every = [own for own in bright if own]
                each = ([f * one.ratio(np.maximum(place, one.spread)) for one, f in own.items()] for own in every)
                return sum((np.max(own, axis=0) for own in each), np.zeros(place.shape))

            reach = farthest_crossing(total, NEAREST, FARTHEST)
            if badness(reach) > badness(best[0]):
                names = [corners[0][1].laser.name for corners in lasers]
                alone = [max((far_scatter(one, f) for one, f in own.items()), default=0.0) for own in bright]
                best = reach, tuple(zip(names, alone, strict=True))
    return best


def stages_of(case: Case) -> tuple[Stage, ...]:
    """Return the scene of a case as sources and screens, at each corner of its tolerances.

    Raises
    ------
    InputError
        If the case has no scene.
    """
    if case.scene is None:
        refuse("the case has no [scene], so that nothing has a place; write where lasers, people and barriers stand")
    return tuple(stages_at(list(map(placed_case, corners_of(case).cases))))
