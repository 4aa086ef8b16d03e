"""The scene of a case, worked out: what an assessment adds when people, surfaces and barriers have places."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.context import Context
from lasersafe.assessment.scene_hits import standing_places
from lasersafe.assessment.scene_marks import (
    aims_of,
    barrier_lines,
    camera_marks,
    elevations,
    person_marks,
    plan_of,
    surface_marks,
    target_marks,
)
from lasersafe.assessment.scene_matrix import placed_scenarios
from lasersafe.assessment.scene_zones import beyond_targets, zone_shapes
from lasersafe.assessment.stage import Stage
from lasersafe.models import SIValue
from lasersafe.quantity import format_quantity
from lasersafe.results import Decision, Scenario, SetupResult
from lasersafe.results_scene import (
    BarrierLine,
    BeyondTarget,
    HazardMap,
    MatrixCell,
    SceneFinding,
    SceneResult,
    StruckOut,
    ZoneShape,
)
from lasersafe.scene.hazard_map import EYES, hazard_map
from lasersafe.scene.lines import spectator_lines
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lasersafe.models import Case, Person


def placed_case(case: Case) -> Case:
    """Return the case with the distance of each person no longer than the scene has it.

    Parameters
    ----------
    case : Case
        The case; without a scene it comes back as it is.

    Returns
    -------
    Case
        For calculation; what was typed is still in the case given.
    """
    if case.scene is None:
        return case
    places = {p.name: p for p in case.scene.person}
    return case.model_copy(update={"person": tuple(_nearer(case, p, places) for p in case.person)})


def _nearer(case: Case, person: Person, places: dict) -> Person:  # type: ignore[type-arg]
    assert case.scene is not None
    place = places.get(person.name)
    aims = [a for a in case.scene.aim if person.laser in (None, a.laser)]
    if place is None or not aims:
        return person
    nearest = math.inf
    for aim in aims:
        spot = np.array(aim.position.pair)
        if place.position is not None:
            away = float(np.hypot(*(np.array(place.position.pair) - spot)))
        else:
            import shapely  # type: ignore[import-untyped]

            away = float(shapely.distance(shapely.Polygon(place.area.pairs), shapely.Point(spot)))
        nearest = min(nearest, away)
    nearest = max(nearest, 1e-3)
    if nearest >= float(person.distance):
        return person
    return person.model_copy(update={"distance": SIValue(nearest, f"{nearest:.4g} m", "m")})


def split_case(case: Case, context: Context, stage: Stage) -> Context | None:
    """Return the context with only those people who have no place in the scene; None when all have one."""
    if not stage.poses(context, "running"):
        return context
    placed = {p.name for p in stage.scene.person}
    left = tuple(p for p in case.person if p.name not in placed)
    return replace(context, case=case.model_copy(update={"person": left})) if left else None


def scene_result(
    stage: Stage, scenarios: list[Scenario], cells: list[MatrixCell], setups: list[SetupResult]
) -> SceneResult:
    """Return the record of a scene.

    Parameters
    ----------
    stage : Stage
        The scene as sources and screens.
    scenarios : list of Scenario
        All scenarios of the case, with their controls.
    cells : list of MatrixCell
        The matrix, in any order.
    setups : list of SetupResult
        The set-ups of the case.

    Returns
    -------
    SceneResult
        Coordinates and numbers only.
    """
    zones = zone_shapes(stage)
    beyond, ignition = beyond_targets(stage)
    controls = {(s.person, s.way, s.laser, s.setup): s.controls for s in scenarios if s.controls}
    matrix = tuple(
        replace(c, controls=() if c.below else controls.get((c.person, c.way, c.laser, c.setup), ()))
        for c in sorted(cells, key=lambda c: (bool(c.struck_out), -_rank(c.ratio)))
    )
    plan = plan_of(stage)
    barriers = barrier_lines(stage)
    persons = person_marks(stage, matrix, _places(stage))
    facing = 0.0 if plan.stage_arrow is None else plan.stage_arrow
    lines = tuple(
        line
        for context in stage.contexts
        if context.setup.fitted
        for pose in stage.poses(context, "running")[:1]
        for line in spectator_lines(
            [z for z in zones if z.laser == context.laser.name and z.fitted and z.kind != "ignition"],
            facing, pose.apex, plan.extent,
        )
    )  # fmt: skip
    return SceneResult(
        plan=plan,
        aims=aims_of(stage),
        zones=(*zones, *ignition),
        beyond=beyond,
        barriers=barriers,
        persons=persons,
        cameras=camera_marks(stage),
        targets=target_marks(stage),
        surfaces=surface_marks(stage),
        lines=lines,
        elevations=elevations(stage, zones, persons),
        matrix=matrix,
        findings=_findings(stage, zones, beyond, barriers),
        struck_out=tuple(
            StruckOut(c.person, c.mode, c.way, c.struck_out, c.laser, c.setup) for c in matrix if c.struck_out
        ),
        notes=(stage.scene.note,) if stage.scene.note else (),
    )


def scene_decision(decision: Decision, scene: SceneResult) -> Decision:
    """Return the decision with what the scene adds: refusals, and the lines that people stand behind."""
    refusals = [f.text for f in scene.findings if f.refuses]
    others = [
        f.text for f in scene.findings if not f.refuses and f.kind in ("target list", "ignition", "beyond target")
    ]
    verdict, passed = decision.verdict, decision.passed
    if refusals and passed:
        verdict, passed = f"Do not run as planned: {refusals[0]}", False
    sides = [f"{line.side} {line.distance:,.1f} m" for line in scene.lines if line.distance > 0.0]
    people = decision.people
    if sides:
        people += f" Lines behind which every zone of the plan ends, from the last optic: {', '.join(sides)}."
    return replace(
        decision, verdict=verdict, passed=passed, people=people, reasons=(*decision.reasons, *refusals, *others)
    )


def _rank(ratio: float) -> float:
    return math.inf if math.isnan(ratio) else ratio


def _places(stage: Stage) -> dict[str, tuple[float, float]]:
    """Return for each person with an area the place nearest to a laser."""
    found: dict[str, tuple[float, float]] = {}
    for place in stage.scene.person:
        if place.position is not None:
            continue
        best = math.inf
        for context in stage.contexts:
            for source in stage.sources(context, "direct", "eye"):
                spots = standing_places(place, (source,))
                away = np.hypot(spots[:, 0] - source.apex[0], spots[:, 1] - source.apex[1])
                if float(away.min()) < best:
                    best = float(away.min())
                    x, y = spots[int(np.argmin(away))].tolist()
                    found[place.name] = (x, y)
    return found


def _findings(
    stage: Stage, zones: tuple[ZoneShape, ...], beyond: tuple[BeyondTarget, ...], barriers: tuple[BarrierLine, ...]
) -> tuple[SceneFinding, ...]:
    found: list[SceneFinding] = []
    for laser in {c.laser.name: c for c in stage.contexts}.values():
        name = laser.laser.name
        if not stage.poses(laser, "running"):
            text = f"{name} has no place in the scene ([[scene.aim]]): its distances count in every direction"
            found.append(SceneFinding("aim", text, subject=name))
        targets = [t.name for t in stage.scene.target if t.laser in (None, name)]
        text = (
            f"{name} is fired at nothing but: {', '.join(targets)}. An object that is not on the list is not fired at."
            if targets
            else f"{name} has no target list: nothing may be put in front of the beam until it is listed "
            "([[scene.target]])"
        )
        found.append(SceneFinding("target list", text, refuses=not targets, subject=name))
    for one in beyond:
        found += _behind(one)
    found += _set_ups(stage, zones)
    for barrier in barriers:
        failing = [w for w in barrier.ways if not w.holds and w.way == "direct"]
        if barrier.kind == "barrier" and failing:
            text = f"'{barrier.name}' does not end the direct beam of {failing[0].laser}, {failing[0].setup}: "
            found.append(SceneFinding("barrier", text + failing[0].verdict, subject=barrier.name))
        for gap in barrier.openings:
            if gap.open:
                text = f"light passes '{barrier.name}' through {gap.kind} '{gap.name}'"
                found.append(SceneFinding("gap", text, subject=barrier.name))
        found += [SceneFinding("barrier", f"'{barrier.name}': {note}", subject=barrier.name) for note in barrier.notes]
    curved = [s.name for s in stage.scene.surface if s.shape in ("convex", "concave")]
    if curved:
        text = f"curved, so that the light goes anywhere in front of it: {', '.join(curved)}"
        found.append(SceneFinding("mirror", text))
    found += _outdoors(stage)
    return tuple(found)


def _behind(one: BeyondTarget) -> list[SceneFinding]:
    found = []
    if not one.ends_at:
        text = (
            f"behind '{one.target}' no stop holds, so that the beam of {one.laser} goes on to "
            f"{format_quantity(one.distance, 'm', 3, 'up')}"
        )
        found.append(SceneFinding("beyond target", text + (f"; {one.note}" if one.note else ""), subject=one.target))
    if one.backing_irradiance is not None and one.ignition_threshold is not None:
        falls = format_quantity(one.backing_irradiance / 1e4, "W/cm2", 3, "up")
        level = format_quantity(one.ignition_threshold / 1e4, "W/cm2", 3, "down")
        verb = "can set it on fire" if one.can_ignite else "is below the threshold"
        text = (
            f"{one.behind or 'what stands behind'} {format_quantity(one.backing_distance or 0.0, 'm', 3, 'down')} "
            f"behind '{one.target}' receives {falls} when the beam of {one.laser} misses or cuts through: {verb} "
            f"({level}; {one.ignition_source})"
        )
        found.append(SceneFinding("ignition", text, subject=one.target))
    elif not one.behind:
        text = f"what stands behind '{one.target}' is not stated, so that it cannot be judged whether it can burn"
        found.append(SceneFinding("ignition", text, subject=one.target))
    return found


def _set_ups(stage: Stage, zones: tuple[ZoneShape, ...]) -> list[SceneFinding]:
    found = []
    for zone in zones:
        if zone.kind == "eye direct" and zone.worst and not zone.fitted:
            control = stage.scene.right_setup_control or "no control is named that makes sure of it"
            text = f"the right set-up of {zone.laser} has to be fitted, not '{zone.setup}': {control}"
            found.append(SceneFinding("set-up", text, subject=zone.laser))
    return list(dict.fromkeys(found))


def _outdoors(stage: Stage) -> list[SceneFinding]:
    outdoor = stage.scene.outdoor
    if outdoor is None:
        return []
    found = []
    if outdoor.behind in ("sky", "unknown"):
        words = "sky" if outdoor.behind == "sky" else "not stated what"
        text = f"outdoors, and {words} is behind the scene: ask the aviation authority before a beam can leave the site"
        found.append(SceneFinding("outdoors", text))
    if outdoor.wet:
        found.append(SceneFinding("outdoors", "wet ground counts as a mirror; stop when it rains"))
    for context in stage.contexts:
        for source in stage.sources(context, "direct", "eye") if context.setup.fitted else ():
            high = source.directions.box().elevation[1]
            if high > 0.0:
                text = f"{context.laser.name} can point up to {math.degrees(high):.1f} deg above the horizon"
                found.append(SceneFinding("outdoors", text, subject=context.laser.name))
    return found


def map_sources(stage: Stage, *, fitted_only: bool = True) -> tuple[tuple[Source, tuple[Piece, ...]], ...]:
    """Return every source of the eye with the screens that hold against it, for the hazard map."""
    return tuple(
        (source, stage.pieces(context, way))
        for context in stage.contexts
        if context.setup.fitted or not fitted_only
        for way in ("direct", "mirror", "scatter")
        for source in stage.sources(context, way, "eye")
    )


def scene_map(
    stage: Stage,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    heights: tuple[tuple[str, float], ...] = EYES,
    *,
    fitted_only: bool = True,
) -> HazardMap:
    """Return the hazard map of a scene on a grid of the floor [m], at heights of the eyes [m]."""
    return hazard_map(map_sources(stage, fitted_only=fitted_only), x, y, heights)


def stage_of(case: Case) -> Stage:
    """Return the scene of a case as sources and screens.

    Raises
    ------
    InputError
        If the case has no scene.
    """
    from lasersafe.assessment.context import contexts
    from lasersafe.assessment.setups import setup_result
    from lasersafe.errors import InputError
    from lasersafe.limits import rule_sets

    if case.scene is None:
        message = "the case has no [scene], so that nothing has a place; write where lasers, people and barriers stand"
        raise InputError(message)
    placed = placed_case(case)
    found = contexts(placed, (case.rule_set, *(name for name in rule_sets() if name != case.rule_set)))
    assert placed.scene is not None
    return Stage(placed, placed.scene, found, [setup_result(c) for c in found])


__all__ = [
    "Stage",
    "placed_case",
    "placed_scenarios",
    "scene_decision",
    "scene_map",
    "scene_result",
    "split_case",
    "stage_of",
]
