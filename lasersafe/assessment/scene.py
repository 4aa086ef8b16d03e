"""The scene of a case, worked out: what an assessment adds when people, surfaces and barriers have places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment import scene_marks as marks
from lasersafe.assessment import scene_rules, scene_zones
from lasersafe.assessment.context import TISSUES
from lasersafe.assessment.decision import not_shaded
from lasersafe.assessment.price import prices
from lasersafe.assessment.scene_barriers import barrier_line
from lasersafe.assessment.scene_findings import faults_not_drawn, findings_of, rule_findings
from lasersafe.assessment.scene_hits import person_places
from lasersafe.assessment.stage import Stage
from lasersafe.models.scene import STATURES
from lasersafe.records import ExtendedResult, badness, over
from lasersafe.records import scene as records
from lasersafe.scene.areas import hazard_map
from lasersafe.scene.bound import Question, bounds

_EYES = "standing adult", "child"  # whose heights the exposure map shows
_MAP_CELLS = 60  # of the exposure map in the sheet, along its longer side

if TYPE_CHECKING:
    from lasersafe.assessment.protection import CaseResults
    from lasersafe.scene.beams import FLOAT
    from lasersafe.wording import Wording


def scene_result(
    worked: CaseResults, wording: Wording, beyond: float, extended: Sequence[ExtendedResult] = ()
) -> tuple[records.SceneResult, tuple[float, tuple[tuple[str, float], ...]]]:
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
    extended : sequence of ExtendedResult, optional
        How far extended sources reach.
    """
    stages = tuple(one.stage for one in worked.each if one.stage is not None)
    stage = stages[0]
    plan = marks.plan_of(stage)
    facing = 0.0 if plan.stage_arrow is None else plan.stage_arrow
    in_full = stage.wanted == "all"
    near = scene_rules.near_of(stages, facing, beyond) if stage.wanted == "short" else None
    if near is None:
        beams = scene_zones.beams_to_targets(stages)
        hot = [(at, one, at.walls(context, "direct")) for at, context, _, _, one in beams if one]
        scene_zones.lit_past([*scene_zones.zone_lights(stages), *hot])  # all at once
    zones, behind = scene_zones.zones_over(stages, near), scene_zones.beyond_targets(stages)
    missed = over(
        behind, lambda one: one[0],
        lambda top, group: replace(top, polygons=scene_zones.union_of([one.polygons for one in group])[0]),
    )  # fmt: skip
    matrix = tuple(sorted(worked.cells, key=lambda c: (bool(c.struck_out), -badness(c.ratio))))
    barriers = over(stages, lambda one: [barrier_line(one, entry) for entry in one.scene.barrier])
    persons = tuple(marks.person_marks(stage))
    every = [scenario for one in worked.each for scenario in one.scenarios]
    facts = scene_rules.facts_of(stages, zones, matrix, barriers, every)
    rules = scene_rules.rules_of(stage, facts, any(not one.distance <= 0.0 for one in extended))
    lines = tuple(scene_rules.spectator_lines(stage, zones, facing))
    together = {tissue: scene_zones.together_lights(stages, tissue) for tissue in TISSUES}
    findings = [*findings_of(stages, missed, barriers, together, wording), *rule_findings(rules, wording)]
    grid = None
    if in_full:
        x0, y0, x1, y1 = plan.extent  # the map of the sheet is coarse, and exact where persons are
        step = max(x1 - x0, y1 - y0) / _MAP_CELLS
        x, y = np.arange(x0 + step / 2.0, x1, step), np.arange(y0 + step / 2.0, y1, step)
        grid = replace(scene_map(stages, x, y), persons=map_places(stages, persons))
        costs = prices(stage, worked.scenarios, wording.text)
        findings += [records.SceneFinding("price", text, subject=who) for who, text in costs]
    findings += [*faults_not_drawn(scene_rules.faults_beyond(stages, lines), wording), *not_shaded(extended, wording)]
    scene = records.SceneResult(
        plan=plan, aims=over(stages, marks.aims_of), beyond=missed, barriers=barriers, persons=persons,
        zones=(*zones, *over(behind, lambda one: one[1], scene_zones.joined_zone)) if near is None else (),
        cameras=marks.camera_marks(stage), targets=over(stages, marks.target_marks),
        surfaces=tuple(marks.surface_marks(stage)), lines=scene_rules.stricter_lines(stage, lines, facts),
        elevations=over(stages, lambda stage: marks.elevations(stage, persons), _section) if in_full else (),
        matrix=matrix, findings=tuple(findings), rules=rules, camera_lines=over(stages, marks.camera_lines), map=grid,
    )  # fmt: skip
    return scene, scene_zones.lit_reach(stages)


def _section(farthest: records.Elevation, group: Sequence[records.Elevation]) -> records.Elevation:
    names = {item.name for item in farthest.items if item.holds}
    held = {name for name in names if all(i.holds is not False for one in group for i in one.items if i.name == name)}
    items = tuple(replace(item, holds=False) if item.name in names - held else item for item in farthest.items)
    ends = farthest.ends_at if all(one.ends_at == farthest.ends_at for one in group) else ""
    light = farthest.light if len(group) == 1 else marks.joined_zones(zone for one in group for zone in one.light)
    return replace(farthest, items=items, ends_at=ends, light=light)


def map_places(stages: tuple[Stage, ...], persons: tuple[records.PersonMark, ...]) -> tuple[records.MapPlace, ...]:
    """Return the highest ratio of the map over all of the place of each person, and over the height of the eyes."""
    places = person_places(stages[0], "eye")
    asked = [Question(groups, places) for _, groups in scene_zones.together_lights(stages, "eye")] if persons else []
    if not asked:
        return ()
    ratio = np.max([one.upper for one in bounds(asked)], axis=0)
    return tuple(records.MapPlace(mark.name, mark.position, float(r)) for mark, r in zip(persons, ratio, strict=True))


def scene_map(stages: Sequence[Stage], x: FLOAT, y: FLOAT) -> records.HazardMap:
    """Return the map of a scene on a grid of the floor [m], at the eyes of people, at the worst of all corners."""
    heights = [(name, STATURES[name]) for name in _EYES]
    return hazard_map([groups for _, groups in scene_zones.together_lights(stages, "eye")], x, y, heights)
