"""What a strict assumption costs: the same bound again, with something stated that the case leaves open."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from lasersafe.assessment.context import BASE_WAY, Context
from lasersafe.assessment.facts import MATT
from lasersafe.assessment.scene_hits import Hit
from lasersafe.assessment.scene_matrix import hit_of
from lasersafe.assessment.stage import RESTS, Stage
from lasersafe.models import Aim, Case
from lasersafe.models.base import CaseModel
from lasersafe.models.scene import Ground, ScenePlace
from lasersafe.models.values import SIValue
from lasersafe.quantity import times
from lasersafe.records import badness
from lasersafe.results import Scenario
from lasersafe.scene.beams import angles
from lasersafe.scene.sources import Source

Model = TypeVar("Model", bound=CaseModel)
MOST = 24  # rows that are looked at: while running, the worst of each person, laser and way
WORTH = 5.0  # times as much: what costs less is not named, unless it decides
NO_CASE = 2.0  # the same of what no case can state, all of it together
LEAST = 1e-3  # of the limit: less is printed as this
_NONE, _MATT = SIValue(0.0, "0 m", "m"), SIValue(MATT, f"{MATT:g}", "1")


def prices(stage: Stage, scenarios: Sequence[Scenario], say: Callable[..., str]) -> Iterator[tuple[str, str]]:
    """Give for the worst rows above the limit whom each concerns, and what something that is not stated costs.

    Parameters
    ----------
    stage : Stage
        The scene.
    scenarios : sequence of Scenario
        All of the case, with their keys.
    say : callable
        Takes the key of a text and its values, and returns it in words.
    """
    fitted = {(c.laser.name, c.setup.name): c for c in stage.contexts if c.setup.fitted}
    rows: dict[tuple[str, str, str], Scenario] = {}
    for one in sorted(scenarios, key=lambda one: -badness(one.ratio)):
        counts = one.placed and not one.below and not one.struck_out and "running" in one.modes
        if counts and (one.laser, one.setup) in fitted:
            rows.setdefault((one.person, one.laser, one.way), one)
    some = list(rows.values())[:MOST]
    names, made = {row.person for row in some}, dict[tuple[object, ...], Stage]()

    def other(context: Context, key: Sequence[str], **fields: Any) -> Stage:
        """Return the same scene otherwise for all rows of a laser: it is worked out once."""
        known = context.laser.name, *key
        if known not in made:
            made[known] = _other(stage, names, **fields)
        return made[known]

    for row in some:
        context = fitted[row.laser, row.setup]
        hit = hit_of(stage, context, row.person, row.way, row.tissue, row.duration)
        one_place = _ratio(replace(stage, without=frozenset(["place"])), context, row)  # asks nothing new
        # what changes nothing of the light at that place can cost little
        by = hit.source if hit is not None and not (one_place * NO_CASE <= row.ratio or one_place <= 1.0) else None
        found: dict[tuple[str, ...], float] = {
            (key,): _ratio(other(context, (key,), **fields), context, row)
            for key, fields in _stated(stage, context, row, by)
        }
        if one_place * WORTH <= row.ratio:
            found["place",] = one_place
        strict = _strict(stage, context, row, hit, by)
        lenient, together = other(context, strict, without=strict) if strict else stage, (*strict, "place")
        alone = _ratio(lenient, context, row) if strict else row.ratio
        whole = _ratio(replace(lenient, without=frozenset(together)), context, row) if strict else row.ratio
        if whole * NO_CASE <= row.ratio or whole <= 1.0:
            singles = strict if len(strict) > 1 and _worth_saying(alone, row) else ()  # one costs no more than all
            each: dict[tuple[str, ...], float] = {
                (key,): _ratio(other(context, (key,), without=(key,)), context, row) for key in singles
            }
            found |= each
            if _worth_saying(alone, row) and not any(_worth_saying(one, row) for one in each.values()):
                found[strict] = alone
            elif not any(_worth_saying(one, row) for one in found.values()):
                found[together] = whole
        facts = {"row": row.key, "person": row.person, "laser": row.laser, "way": say(f"way.{row.way}")}
        facts["now"] = times(row.ratio)
        costs = {keys: ratio for keys, ratio in found.items() if _worth_saying(ratio, row) or keys == together}
        for keys, ratio in costs.items():
            words = "; ".join(say(f"price.{key}") for key in keys)
            then = times(max(ratio, LEAST))
            yield row.person, say("price.row", **facts, stated=words, then=then)
        if not costs and "edge" in strict:
            yield row.person, say("price.in_part", **facts)


def _worth_saying(ratio: float, row: Scenario) -> bool:
    """Return whether a row without an assumption is so much lower, or below the limit."""
    return ratio * WORTH <= row.ratio or ratio <= 1.0


def _ratio(other: Stage, context: Context, row: Scenario) -> float:
    """Return exposure over limit of a row as a scene has it."""
    own = next(c for c in other.contexts if c.laser is context.laser and c.setup is context.setup)
    hit = hit_of(other, own, row.person, row.way, row.tissue, row.duration)
    return 0.0 if hit is None else hit.ratio


def _stated(stage: Stage, context: Context, row: Scenario, by: Source | None) -> Iterator[tuple[str, dict[str, Any]]]:
    """Give what `_other` takes to state one thing that matters on the way of a row, for the light that is there."""
    case, scene, base = stage.case, stage.scene, BASE_WAY[row.way]
    here = [one for one in scene.aim if one.laser == context.laser.name]
    if context.laser.handheld and any(one.moves is None for one in here):
        aims = tuple(_with(one, moves=_NONE) if one in here and one.moves is None else one for one in scene.aim)
        yield "moves", {"aim": aims}
    if base == "mirror" or row.way == "mirror then scatter":
        if not case.settings.surfaces_complete and case.surface:
            yield "listed", {"case": _with(case, settings=_with(case.settings, surfaces_complete=True))}
        placed = [one for one in scene.surface if one.position is not None]
        if any(one.normal is None or one.normal_tolerance for one in placed):
            facing = tuple(_facing(one, here[0]) if one in placed else one for one in scene.surface)
            yield "normal", {"surface": facing}
        if any(s.shape == "unknown" for s in scene.surface) or any(t.shape == "unknown" for t in scene.target):
            places = tuple(_with(one, shape="flat") if one.shape == "unknown" else one for one in scene.surface)
            targets = tuple(_with(one, shape="flat") if one.shape == "unknown" else one for one in scene.target)
            yield "shape", {"surface": places, "target": targets}
    if base == "scatter" and (by is None or row.way != "scatter" or by.parts or by.seen_in):
        walls = tuple(_with(one, reflectance=_MATT) if one.reflectance is None else one for one in scene.barrier)
        ground, every = _with(scene.ground or Ground.model_construct(), reflectance=_MATT), scene.target
        behind = tuple(_with(one, behind_reflectance=_MATT) if one.behind_reflectance is None else one for one in every)
        yield "reflectance", {"barrier": walls, "ground": ground, "target": behind}


def _strict(stage: Stage, context: Context, row: Scenario, hit: Hit | None, by: Source | None) -> tuple[str, ...]:
    """Return what no case can state, and yet may make the bound of a row strict, for the light that is there."""
    scan, base = context.setup.scan, BASE_WAY[row.way]
    mirrored = base == "mirror" or row.way == "mirror then scatter"
    shining = {one.name for one in stage.case.surface if one.finish == "mirror"}
    shown = hit is not None and hit.shown
    moves = mirrored or all(one.moves is not None for one in stage.scene.aim if one.laser == context.laser.name)
    moves &= base != "scatter" and any(any(pose.moves) for pose in stage.poses(context, "running"))
    acting = {
        "scan": scan is not None and scan.pattern == "line",
        "field": scan is not None and mirrored,
        "stays": moves and not shown,
        "weak": mirrored and not shown and any(not one.holds for one in stage.held(context, base).values()),
        "stops": base == "direct" and hit is not None and _in_the_way(stage, hit),
        "edge": base != "scatter" and not shown and (mirrored or bool(stage.scene.barrier)),
        "shines": base == "scatter" and bool(shining) and (by is None or by.surface in shining or bool(by.parts)),
    }
    return tuple(key for key, acts in acting.items() if acts)


def _in_the_way(stage: Stage, hit: Hit) -> bool:
    """Return whether a surface with a place stands between where a beam starts and the place that gets most of it."""
    start, end = np.array(hit.source.apex), np.array(hit.point)
    for one in stage.scene.surface:
        if one.position is not None and one.height is not None:
            middle = np.array([*one.position.pair, float(one.height)])
            part = float((middle - start) @ (end - start)) / max(float((end - start) @ (end - start)), 1e-12)
            if 0.0 < part < 1.0 and math.dist(start + part * (end - start), middle) < float(one.width) / 2.0:
                return True
    return False


def _with(model: Model, **fields: object) -> Model:
    return model.model_copy(update=fields)


def _facing(surface: ScenePlace, aim: Aim) -> ScenePlace:
    """Return a surface that faces just as stated, or back to a laser where nothing is stated."""
    if surface.normal is not None:
        normal, tilt = (SIValue(float(one), one.typed, "rad") for one in (surface.normal, surface.tilt))
    else:
        assert surface.position is not None
        assert surface.height is not None
        (x, y), (to_x, to_y) = surface.position.pair, aim.position.pair
        away = angles((to_x - x, to_y - y, float(aim.height) - float(surface.height)))
        normal, tilt = (SIValue(one, f"{one:g} rad", "rad") for one in away)
    return _with(surface, normal=normal, tilt=tilt)


def _other(
    stage: Stage, names: Collection[str], *, case: Case | None = None, without: Sequence[str] = (), **fields: object
) -> Stage:
    """Return the scene with other fields or without strict assumptions, for some people; walls hold what they held."""
    case, person = case or stage.case, tuple(one for one in stage.scene.person if one.name in names)
    scene = _with(stage.scene, person=person, **fields)
    same = {name for name, (_, _, stated) in RESTS.items() if not stated} - (
        {"walls"} if {"weak", "stops"} & {*without} else set()
    )
    kept = {key: value for key, value in stage.answers.items() if key[0] in same}
    case = _with(case, scene=scene)
    contexts = [replace(one, case=case) for one in stage.contexts]
    burnt = frozenset(one for one in stage.burnt if one[1][1] is not None or "weak" not in without)
    return Stage(case, scene, contexts, stage.setups, kept, without=frozenset(without), burnt=burnt)
