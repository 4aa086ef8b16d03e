"""Case -> Assessment: a pure function; every number carries its steps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.controls import control_findings, controls_of, with_controls
from lasersafe.assessment.decision import conditions, decision_of, differences_of
from lasersafe.assessment.fingerprint import fingerprint
from lasersafe.assessment.glowing import extended_results, extended_scenarios, rule_sentences
from lasersafe.assessment.lines import module_results, sum_results
from lasersafe.assessment.protection import answered, barrier_results, eyewear_of, protecting_barriers, stops
from lasersafe.assessment.pulsed import class_checks, setting_reports, ultraviolet_days, with_days
from lasersafe.assessment.record import record_of
from lasersafe.assessment.scans import scan_results
from lasersafe.assessment.scenarios import scenarios_of
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.together import ALL_LASERS, barriers_together, sums_of
from lasersafe.assessment.ways import BASE_WAY
from lasersafe.limits import rule_sets
from lasersafe.models import read_case, typed_inputs
from lasersafe.results import Assessment, BarrierResult, EyewearNeed, Scenario
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case, Person
    from lasersafe.results_scene import MatrixCell
    from lasersafe.wording import Wording

__all__ = ["assess", "assess_file"]


def assess(case: Case, language: str | None = None) -> Assessment:
    """Return the assessment of a case.

    Parameters
    ----------
    case : Case
        A case that was read and checked.
    language : str, optional
        Language of the wording; without it, that of the case.

    Returns
    -------
    Assessment
        Everything that a sheet prints.

    Raises
    ------
    CalcError
        If the case lies outside what the documents cover.
    """
    wording = load_wording(language or case.language)
    typed = case
    if case.scene is not None:
        from lasersafe.assessment import scene as scene_part

        case = scene_part.placed_case(case)
    sets = (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
    found = contexts(case, sets)
    setups = [setup_result(context) for context in found]
    scenarios: list[Scenario] = []
    eyewear: list[EyewearNeed] = []
    persons = {person.name: person for person in case.person}
    cells: list[MatrixCell] = []
    stage = None if case.scene is None else scene_part.Stage(case, case.scene, found, setups)
    barriers = barriers_together(found, [one for context in found for one in barrier_results(context)])
    for context in found:
        if stage is None:
            own = scenarios_of(context)
        else:
            own, more = scene_part.placed_scenarios(stage, context) if stage.poses(context, "running") else ([], [])
            cells += more
            rest = scene_part.split_case(case, context, stage)
            own += scenarios_of(rest) if rest is not None else []
        own += extended_scenarios(context)
        own_barriers = [b for b in barriers if (b.laser, b.setup) == (context.laser.name, context.setup.name)]
        own_eyewear = eyewear_of(context, own) if context.setup.fitted else []
        scenarios += [
            replace(s, answer=_answer(context, s, persons[s.person], own_barriers, own_eyewear, wording))
            if not s.below and not s.struck_out
            else s
            for s in own
        ]
        eyewear += own_eyewear
    scenarios += sums_of(case, found, scenarios)
    words = conditions(case, found, scenarios, eyewear)
    controls = controls_of(case, wording, words, scenarios)
    scenarios = with_controls(scenarios, controls)
    fitted = {(s.laser, s.setup) for s in setups if s.fitted} | {(ALL_LASERS, "")}
    scenarios.sort(key=lambda s: (bool(s.struck_out), (s.laser, s.setup) not in fitted, -s.ratio))
    scenarios = [replace(s, key=f"S{number}") for number, s in enumerate(scenarios, 1)]
    by_barrier = {s.key for s in scenarios if any(_stops(case, s, b, persons[s.person]) for b in barriers)}
    parts = [s for s in scenarios if s.laser != ALL_LASERS]  # a sum is answered through its parts
    findings = control_findings(parts, controls, fitted, by_barrier)
    record = record_of(case, found, scenarios, eyewear, barriers, words, findings)
    decision, draft = decision_of(case, found, setups, scenarios, eyewear, barriers, record, wording)
    people = {
        "assessor": case.in_charge.assessor,
        "laser_safety_officer": case.in_charge.laser_safety_officer,
        "operator": case.in_charge.operator,
        "venue": case.in_charge.venue,
    }
    scene = None
    if stage is not None:
        scene = scene_part.scene_result(stage, scenarios, cells, wording)
        decision = scene_part.scene_decision(decision, scene, wording)
    days = ultraviolet_days(found, scenarios)
    material, gas = case.other_hazards.work_material, case.other_hazards.process_gas
    keys = [h.key for h in wording.other_hazards_for(words, material, gas)]
    return Assessment(
        title=case.title,
        place=case.place,
        dates=case.dates,
        people=people,
        rule_set=case.rule_set,
        rule_sets=sets,
        decision=with_days(decision, days, wording.say),
        setups=tuple(setups),
        scenarios=tuple(scenarios),
        eyewear=tuple(eyewear),
        barriers=tuple(barriers),
        controls=controls,
        other_hazards=tuple(dict.fromkeys([*keys, *case.other_hazards.keys])),
        differences=differences_of(setups),
        inputs=typed_inputs(typed),
        notes=(case.notes,) if case.notes else (),
        fingerprint=fingerprint(typed, wording.language),
        version=lasersafe.__version__,
        language=wording.language,
        units=case.units,
        record=record,
        draft_reasons=draft,
        settings=setting_reports(found),
        class_checks=class_checks(found),
        ultraviolet=days,
        scans=tuple(scan for context in found for scan in scan_results(context)),
        sums=tuple(one for context in found if context.setup.fitted for one in sum_results(context)),
        modules=tuple(one for context in found if context.setup.fitted for one in module_results(context)),
        extended=tuple(one for context in found for one in extended_results(context)),
        rules=rule_sentences(setups),
        scene=scene,
    )


def _stops(case: Case, scenario: Scenario, result: BarrierResult, person: Person) -> bool:
    """Return whether a barrier answers a scenario.

    Where person and barrier have places, geometry has decided, and the barrier is in the exposure already. A barrier
    without a place answers for the persons that it protects from all sides, not in service, when it may be open.
    """
    protecting = protecting_barriers(case, person)
    if scenario.placed:
        placed = case.scene is not None and any(b.name == result.barrier for b in case.scene.barrier)
        if placed or result.barrier not in protecting or "service" in scenario.mode.split(", "):
            return False
    return stops(replace(scenario, way=BASE_WAY.get(scenario.way, scenario.way)), result, person, protecting)


def _answer(
    context: Context,
    scenario: Scenario,
    person: Person,
    barriers: list[BarrierResult],
    eyewear: list[EyewearNeed],
    wording: Wording,
) -> str:
    """Return what answers a scenario; a barrier with a place is in the exposure already."""
    own = [b for b in barriers if _stops(context.case, scenario, b, person)]
    plain = replace(scenario, way=BASE_WAY.get(scenario.way, scenario.way))
    return answered(context, plain, person, own, eyewear, wording)


def assess_file(path: Path) -> Assessment:
    """Return the assessment of a case file.

    Raises
    ------
    CaseError
        If the file has faults; all are listed.
    """
    return assess(read_case(path))
