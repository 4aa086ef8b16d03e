"""Case -> Assessment: a pure function; every number carries its steps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.decision import conditions, controls_of, decision_of, differences_of
from lasersafe.assessment.fingerprint import fingerprint
from lasersafe.assessment.protection import answered, barrier_results, eyewear_of
from lasersafe.assessment.scenarios import scenarios_of
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.ways import BASE_WAY
from lasersafe.limits import rule_sets
from lasersafe.models import read_case, typed_inputs
from lasersafe.results import Assessment, BarrierResult, EyewearNeed, Scenario
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case, Person
    from lasersafe.results_scene import MatrixCell

__all__ = ["assess", "assess_file"]


def assess(case: Case, language: str = "en") -> Assessment:
    """Return the assessment of a case.

    Parameters
    ----------
    case : Case
        A case that was read and checked.
    language : str
        Language of the wording.

    Returns
    -------
    Assessment
        Everything that a sheet prints.

    Raises
    ------
    CalcError
        If the case lies outside what the documents cover.
    """
    wording = load_wording(language)
    typed = case
    if case.scene is not None:
        from lasersafe.assessment import scene as scene_part

        case = scene_part.placed_case(case)
    sets = (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
    found = contexts(case, sets)
    setups = [setup_result(context) for context in found]
    scenarios: list[Scenario] = []
    barriers: list[BarrierResult] = []
    eyewear: list[EyewearNeed] = []
    persons = {person.name: person for person in case.person}
    cells: list[MatrixCell] = []
    stage = None if case.scene is None else scene_part.Stage(case, case.scene, found, setups)
    for context in found:
        if stage is None:
            own = scenarios_of(context)
        else:
            own, more = scene_part.placed_scenarios(stage, context) if stage.poses(context, "running") else ([], [])
            cells += more
            rest = scene_part.split_case(case, context, stage)
            own += scenarios_of(rest) if rest is not None else []
        own_barriers = barrier_results(context)
        own_eyewear = eyewear_of(context, own) if context.setup.fitted else []
        scenarios += [
            replace(s, answer=_answer(context, s, persons[s.person], own_barriers, own_eyewear))
            if not s.below and not s.struck_out
            else s
            for s in own
        ]
        barriers += own_barriers
        eyewear += own_eyewear
    words = conditions(case, found, scenarios, eyewear)
    controls = controls_of(case, wording, words, scenarios)
    scenarios = [
        replace(s, controls=tuple(c.text for c in controls if BASE_WAY.get(s.way, s.way) in c.answers))
        if not s.below
        else s
        for s in scenarios
    ]
    fitted = {(s.laser, s.setup) for s in setups if s.fitted}
    scenarios.sort(key=lambda s: (bool(s.struck_out), (s.laser, s.setup) not in fitted, -s.ratio))
    scenarios = [replace(s, key=f"S{number}") for number, s in enumerate(scenarios, 1)]
    people = {
        "assessor": case.in_charge.assessor,
        "laser_safety_officer": case.in_charge.laser_safety_officer,
        "operator": case.in_charge.operator,
        "venue": case.in_charge.venue,
    }
    keys = [h.key for h in wording.other_hazards_for(words)]
    scene = None if stage is None else scene_part.scene_result(stage, scenarios, cells, setups)
    decision = decision_of(case, setups, scenarios, eyewear, barriers)
    if scene is not None:
        decision = scene_part.scene_decision(decision, scene)
    return Assessment(
        title=case.title,
        place=case.place,
        dates=case.dates,
        people=people,
        rule_set=case.rule_set,
        rule_sets=sets,
        decision=decision,
        setups=tuple(setups),
        scenarios=tuple(scenarios),
        eyewear=tuple(eyewear),
        barriers=tuple(barriers),
        controls=controls,
        other_hazards=tuple(dict.fromkeys([*keys, *case.other_hazards.keys])),
        differences=differences_of(setups),
        inputs=typed_inputs(typed),
        notes=(case.notes,) if case.notes else (),
        fingerprint=fingerprint(typed, wording.digest),
        version=lasersafe.__version__,
        scene=scene,
    )


def _answer(
    context: Context, scenario: Scenario, person: Person, barriers: list[BarrierResult], eyewear: list[EyewearNeed]
) -> str:
    """Return what answers a scenario; with a place the barriers are in the exposure already."""
    if not scenario.mode:
        return answered(context, scenario, person, barriers, eyewear)
    plain = replace(scenario, way=BASE_WAY[scenario.way])
    return answered(context, plain, person, [], eyewear)


def assess_file(path: Path) -> Assessment:
    """Return the assessment of a case file.

    Raises
    ------
    CaseError
        If the file has faults; all are listed.
    """
    return assess(read_case(path))
