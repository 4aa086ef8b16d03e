"""The scene of a case, worked out: what an assessment adds when people, surfaces and barriers have places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from lasersafe.assessment.context import TISSUES
from lasersafe.assessment.price import prices
from lasersafe.assessment.scene_barriers import barrier_line, shading
from lasersafe.assessment.scene_findings import findings_of, rule_findings
from lasersafe.assessment.scene_hits import person_places, taken
from lasersafe.assessment.scene_marks import (
    aims_of,
    camera_lines,
    camera_marks,
    elevations,
    joined_zones,
    person_marks,
    plan_of,
    surface_marks,
    target_marks,
)
from lasersafe.assessment.scene_rules import facts_of, near_of, rules_of, spectator_lines, stricter_lines, zones_of
from lasersafe.assessment.scene_zones import (
    beams_to_targets,
    beyond_targets,
    joined_zone,
    lit_past,
    lit_reach,
    together_lights,
    union_of,
    zone_lights,
    zones_over,
)
from lasersafe.assessment.stage import Stage
from lasersafe.models.scene import STATURES
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
)
from lasersafe.scene.areas import hazard_map
from lasersafe.scene.bound import Question, bounds

_EYES = "standing adult", "child"  # whose heights the exposure map shows
_MAP_CELLS = 60  # of the exposure map in the sheet, along its longer side

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lasersafe.assessment.protection import CaseResults
    from lasersafe.wording import Wording


def scene_result(
    worked: CaseResults, wording: Wording, beyond: float
) -> tuple[SceneResult, tuple[float, tuple[tuple[str, float], ...]]]:
    """Return the record of a scene, coordinates and numbers only, and how far what is lit scatters, see `lit_reach`.

    Parameters
    ----------
    worked : CaseResults
        The case with the matrix in any order, its scenarios with their controls, and each corner of its tolerances with
        the scene as sources and screens.
    wording : Wording
        Language of the findings.
    beyond : float
        For the short answer zones are looked at only where verdict and distances can depend on them: near spectators,
        whom rules keep a gap from them, and farther than this from the lasers, where a beam would reach farther than is
        said. [m]
    """
    stages = tuple(one.stage for one in worked.each if one.stage is not None)
    stage = stages[0]
    plan = plan_of(stage)
    facing = 0.0 if plan.stage_arrow is None else plan.stage_arrow
    in_full = stage.wanted == "all"
    near = near_of(stages, facing, beyond) if stage.wanted == "short" else None
    if near is None:
        hot = [(at, one, at.walls(context, "direct")) for at, context, _, _, one in beams_to_targets(stages) if one]
        shadows = ((one, entry) for one in stages for entry in one.scene.barrier if in_full)
        dark = [(one, *light) for one, entry in shadows for light in shading(one, entry)]
        lit_past([*zone_lights(stages), *hot, *dark])  # all at once
    zones, behind = zones_over(stages, near), beyond_targets(stages)
    missed = over(behind, lambda one: one[0], _beyond)
    controls = {(s.person, s.way, s.laser, s.setup): s.controls for s in worked.scenarios if s.controls}
    matrix = tuple(
        replace(c, controls=() if c.below else controls.get((c.person, c.way, c.laser, c.setup), ()))
        for c in sorted(worked.cells, key=lambda c: (bool(c.struck_out), -badness(c.ratio)))
    )
    barriers = over(stages, lambda one: [barrier_line(one, entry) for entry in one.scene.barrier])
    persons = person_marks(stage, matrix, _places(stage))
    lines = tuple(
        line
        for context in stage.fitted
        for pose in stage.poses(context, "running")[:1]
        for line in spectator_lines(
            zones_of(zones, context.laser.name),
            facing, pose.apex, plan.extent, (context.laser.name, context.setup.name),
        )
    )  # fmt: skip
    every = [scenario for one in worked.each for scenario in one.scenarios]
    facts = facts_of(stages, zones, matrix, barriers, every)
    rules = rules_of(stage, facts)
    lines = stricter_lines(stage, lines, facts)
    together = {tissue: together_lights(stages, tissue) for tissue in TISSUES}
    grid, costs = None, list[SceneFinding]()
    if in_full:
        x0, y0, x1, y1 = plan.extent  # the map of the sheet is coarse, and exact where persons are
        step = max(x1 - x0, y1 - y0) / _MAP_CELLS
        x, y = np.arange(x0 + step / 2.0, x1, step), np.arange(y0 + step / 2.0, y1, step)
        grid = replace(scene_map(stages, x, y), persons=map_places(stages, persons))
        costs = [
            SceneFinding("price", text, subject=who) for who, text in prices(stage, worked.scenarios, wording.text)
        ]
    scene = SceneResult(
        plan=plan,
        aims=over(stages, aims_of),
        zones=(*zones, *over(behind, lambda one: one[1], joined_zone)) if near is None else (),
        beyond=missed,
        barriers=barriers,
        persons=persons,
        cameras=camera_marks(stage),
        targets=over(stages, target_marks),
        surfaces=surface_marks(stage),
        lines=lines,
        elevations=over(stages, lambda stage: elevations(stage, persons), _section) if in_full else (),
        matrix=matrix,
        findings=(
            *findings_of(stages, zones, missed, barriers, together, wording),
            *rule_findings(rules, wording),
            *costs,
        ),
        struck_out=tuple(
            StruckOut(c.person, c.mode, c.way, c.struck_out, c.laser, c.setup) for c in matrix if c.struck_out
        ),
        notes=(stage.scene.note,) if stage.scene.note else (),
        rules=rules,
        camera_lines=over(stages, camera_lines),
        map=grid,
    )
    return scene, lit_reach(stages)


def _beyond(farthest: BeyondTarget, group: Sequence[BeyondTarget]) -> BeyondTarget:
    return replace(farthest, polygons=union_of([one.polygons for one in group])[0])


def _section(farthest: Elevation, group: Sequence[Elevation]) -> Elevation:
    names = {item.name for item in farthest.items if item.holds}
    held = {name for name in names if all(i.holds is not False for one in group for i in one.items if i.name == name)}
    items = tuple(replace(item, holds=False) if item.name in names - held else item for item in farthest.items)
    ends = farthest.ends_at if all(one.ends_at == farthest.ends_at for one in group) else ""
    light = farthest.light if len(group) == 1 else joined_zones(zone for one in group for zone in one.light)
    return replace(farthest, items=items, ends_at=ends, light=light)


def map_places(stages: tuple[Stage, ...], persons: tuple[PersonMark, ...]) -> tuple[MapPlace, ...]:
    """Return the highest ratio of the map over all of the place of each person, and over the height of the eyes."""
    places = person_places(stages[0], "eye")
    asked = [Question(groups, places) for _, groups in together_lights(stages, "eye")] if persons else []
    if not asked:
        return ()
    ratio = np.max([one.upper for one in bounds(asked)], axis=0)
    return tuple(MapPlace(mark.name, mark.position, float(r)) for mark, r in zip(persons, ratio, strict=True))


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


def scene_map(stages: Sequence[Stage], x: NDArray[np.float64], y: NDArray[np.float64]) -> HazardMap:
    """Return the map of a scene on a grid of the floor [m], at the eyes of people, at the worst of all corners."""
    heights = [(name, STATURES[name]) for name in _EYES]
    return hazard_map([groups for _, groups in together_lights(stages, "eye")], x, y, heights)
