"""The scenes of all corners of one case, with what they share, and what the last case of a process hands on to them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import Any

from lasersafe.assessment.barriers import at_the_same_time, together
from lasersafe.assessment.context import WAYS, Context, Wanted, contexts_of_each
from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.loads import ALL, MODES, Burnt, Part, asked, judge_windows
from lasersafe.assessment.scene_matrix import placed_case
from lasersafe.assessment.setups import results_of_each
from lasersafe.assessment.stage import RESTS, Stage
from lasersafe.errors import refuse
from lasersafe.models import Case, SceneBarrier
from lasersafe.scene.beams import ScatterProfile


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


def stages_at(cases: Sequence[Case], wanted: Wanted = "all") -> list[Stage]:
    """Return the scenes of several corners of one case as sources and screens, with all that they share."""
    every = contexts_of_each(cases)
    shared: dict[int, tuple[dict[tuple[object, ...], Any], dict[tuple[object, ...], Any], list[Stage]]] = {}
    found = []
    for case, own, setups in zip(cases, every, results_of_each(every), strict=True):
        assert case.scene is not None
        common = shared.setdefault(own[0].corner[0], ({}, {}, []))
        found.append(Stage(case, case.scene, own, setups, *common, wanted=wanted))
        found[-1].others.append(found[-1])
    _take_over([one for last in _EARLIER for one in last], found)
    for stage in found:
        _burn(stage)
    _EARLIER[:] = [found]  # not before: a job that is broken off must not leave what is half taken over
    return found


def stage_alone(context: Context) -> Stage:
    """Return the scene of a case with one laser and one set-up in it, for what its curved mirrors send anywhere.

    Where nothing with a place is curved barriers are left out: what flat mirrors send on is no more than what they get.
    """
    case = placed_case(context.case)
    assert case.scene is not None
    for scene in (case.scene.model_copy(update={"barrier": ()}), case.scene):
        stage = Stage(case, scene, [context], [])
        stage.others.append(stage)
        poses = dict.fromkeys(pose for mode in MODES for pose in stage.poses(context, mode))
        if not any(item.placed and item.bends for pose in poses for item in stage.lit(context, pose)):
            break
    _burn(stage)
    return stage


def _burn(stage: Stage) -> None:
    """Find the barriers and windows that light over mirrors passes, also what reaches a mirror through one of them.

    With them come those that fall to several lasers on several ways.
    """
    found = set[Burnt]()
    fitted = [own for own in stage.placed if own.setup.fitted]
    faults = [one for own in fitted for one in own.broken(stage.contexts)]
    for one in [*stage.placed, *faults]:
        held: list[dict[Part, bool]] = [
            {(name, None): way.holds for name, way in stage.held(one, base).items()}
            | {pane: way.holds for pane, way in stage.windows(one, base).items()}
            for base in ("direct", "mirror")
        ]  # fmt: skip
        found |= {(one.named, part, "") for part in held[0] if held[0][part] and not held[1][part]}
    if stage.case.adds_lasers and len({one.laser.name for one in fitted}) > 1:
        for entry in stage.scene.barrier:
            found |= set(_fallen(stage, fitted, faults, entry))
    if not found <= stage.burnt:
        stage.burnt |= found
        _burn(stage)


def _fallen(stage: Stage, fitted: Sequence[Context], faults: Sequence[Context], entry: SceneBarrier) -> Iterator[Burnt]:
    """Give what of a barrier holds each way of all lasers, but not one way of one with another of another."""
    kinds = [*((one, WAYS) for one in fitted), *((one, one.ways_of_fault) for one in faults)]
    ways = [
        replace(stage.held(one, way)[entry.name], asked=asked(stage, one, way, entry))
        for one, own in kinds for way in own
    ]  # fmt: skip
    stopped, same = [way for way in ways if way.asked and way.holds], ways[: len(WAYS) * len(fitted)]
    for judged in (together(way, at_the_same_time(way, same)) for way in stopped):
        if not judged.holds:
            yield ALL, (entry.name, None), judged.verdict
            return
    bases = list(dict.fromkeys(way.way for way in stopped))
    for one, way in product(fitted, bases):
        every = judge_windows(stage, one, way, bases)
        for part, alone in stage.windows(one, way).items():
            if part[0] == entry.name and alone.holds and not every[part].holds:
                yield ALL, part, every[part].words


_EARLIER: list[list[Stage]] = []  # those of the last case of this process
_WORDS = ("title", "place", "dates", "review_by", "notes", "in_charge", "sign_off", "paper", "language", "units")


def _take_over(earlier: list[Stage], stages: list[Stage]) -> None:
    """Let stages keep what those of the last case knew, where people stand elsewhere and nothing else differs.

    Besides what is asked for people themselves their places matter for the size of the plan, and for what of floors and
    walls is lit, which is worked out anew: where either is not as it was, nothing that rests on it is kept.
    """
    if [_but_for_places(one) for one in earlier] != [_but_for_places(one) for one in stages]:
        return
    lasting = {name for name, (_, people, _) in RESTS.items() if not people}
    for old, new in zip(earlier, stages, strict=True):
        new.burnt = old.burnt
        if not new.answers:
            new.answers |= {key: found for key, found in old.answers.items() if key[0] in lasting}
            elsewhere = [key for key in new.answers if key[0] == "_of_person" and key[2] not in new.scene.person]
            for key in elsewhere:
                del new.answers[key]
            new.answers |= {("was", *key): found for key, found in old.answers.items() if key[0] in ("hit", "places")}
            still = [was == now for was, now in zip(old.scene.person, new.scene.person, strict=True)]
            for key in [key for key in old.answers if key[0] in ("not below", "at once")]:
                lights, rows = old.answers[key]
                new.answers["was", *key] = lights, {row: found for row, found in rows.items() if still[row]}
            for context, mirrored in product(new.placed[:1], (False, True)):
                for pose in new.poses(context, "running"):
                    new.lit_faces(context, pose, mirrored=mirrored)
    lit = all(_lit_known(old) == _lit_known(new) for old, new in zip(earlier, stages, strict=True))
    plan = earlier[0].extent == stages[0].extent
    gone = set[object]() if plan else {"lit past", "_cut", "together"}
    scattered = {"together", "standing", "scatter", "mirror then scatter", "_of_person", "_reach_over_gap"}
    gone |= set() if lit else {*scattered, "_of_camera"}

    def rests(one: object) -> bool:
        spot = isinstance(one, ScatterProfile) or isinstance(getattr(one, "profile", None), ScatterProfile)
        return (isinstance(one, str) and one in gone) or (spot and not lit)

    for new in stages if gone else ():
        for key in [key for key in new.answers if any(map(rests, key))]:
            del new.answers[key]


def _but_for_places(stage: Stage) -> tuple[object, ...]:
    """Return all that answers rest on, but for where people are; whose case it is and how it is printed is no part."""
    person = tuple(one.model_copy(update={"position": None, "area": None}) for one in stage.scene.person)
    case = stage.case.model_copy(update=dict.fromkeys(_WORDS) | {
        "person": tuple(one.model_copy(update={"distance": None}) for one in stage.case.person),
        "scene": stage.scene.model_copy(update={"person": person}),
    })  # fmt: skip
    loose = [one.normal_tolerance for one in stage.scene.surface]  # two numbers are equal whatever their tolerances
    return case, loose, [(one.corner, one.rule_sets, one.time) for one in stage.contexts]


def _lit_known(stage: Stage) -> dict[tuple[object, ...], Any]:
    """Return what is known of lit faces."""
    lit = {key: found for key, found in stage.answers.items() if key[0] == "lit_faces"}
    return {key: [(one.face.name, one.parts, one.share, one.spread) for one in lit[key]] for key in lit}
