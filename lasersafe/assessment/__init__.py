"""Case -> Assessment: a pure function; every number carries its steps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.assessment.assumed import assumptions_of
from lasersafe.assessment.calculation import without_limit_steps
from lasersafe.assessment.case_results import worked_out, worst_of
from lasersafe.assessment.controls import control_findings, controls_of, with_controls
from lasersafe.assessment.corners import corners_of, over
from lasersafe.assessment.decision import conditions, decision_of, naming_strike_outs, reached
from lasersafe.assessment.extended import extended_results
from lasersafe.assessment.facts import record_of
from lasersafe.assessment.fingerprint import fingerprint
from lasersafe.assessment.lines import module_results
from lasersafe.assessment.protection import stopped_by
from lasersafe.assessment.pulsed import class_checks, setting_reports, ultraviolet_days, with_days
from lasersafe.assessment.scans import scan_results
from lasersafe.assessment.setups import differences_of, rule_sentences, sum_results
from lasersafe.assessment.spreads import sure_decision, uncertainty_of
from lasersafe.assessment.together import ALL_LASERS, beam_ways
from lasersafe.limits import rule_sets
from lasersafe.models import read_case, typed_inputs
from lasersafe.results import Assessment
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case

__all__ = ["assess", "assess_file"]


def assess(case: Case, language: str | None = None, *, in_full: bool = True) -> Assessment:
    """Return the assessment of a case.

    Parameters
    ----------
    case : Case
        A case that was read and checked.
    language : str, optional
        Language of the wording; without it, that of the case.
    in_full : bool
        Whether to work out what only the pages print: how sure each distance is, the steps of the limits, the class
        check. No verdict, distance or eyewear depends on it.

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
    sets = (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))
    corners = corners_of(case)
    placed = [one if one.scene is None else scene_part.placed_case(one) for one in corners.cases]
    with without_limit_steps(not in_full):
        worked = worst_of([worked_out(one, sets, wording) for one in placed], wording)
    case, found, setups = worked.case, worked.found, list(worked.setups)
    scenarios, eyewear, barriers = list(worked.scenarios), worked.eyewear, list(worked.barriers)
    persons = {person.name: person for person in case.person}
    every = [one.found for one in worked.each]
    words = conditions(case, every, eyewear)
    controls = controls_of(case, wording, words, scenarios)
    scenarios = with_controls(scenarios, controls)
    fitted = {(s.laser, s.setup) for s in setups if s.fitted} | {(ALL_LASERS, "")}
    scenarios.sort(key=lambda s: (bool(s.struck_out), (s.laser, s.setup) not in fitted, -s.ratio))
    scenarios = [replace(s, key=f"S{number}") for number, s in enumerate(scenarios, 1)]
    by_barrier = {s.key for s in scenarios if any(stopped_by(case, s, b, persons[s.person]) for b in barriers)}
    parts = [s for s in scenarios if s.laser != ALL_LASERS]  # a sum is answered through its parts
    findings = control_findings(parts, controls, fitted, by_barrier)
    scene = None if worked.stage is None else scene_part.scene_result(worked, scenarios, wording)
    ways = beam_ways(case)
    reach = reached(case, every, setups, ways), reached(case, every, setups, ("scatter",))
    assumed = assumptions_of(typed, every, ways, *(one.distance for one in reach))
    lines = () if scene is None else scene.barriers
    record = record_of(typed, case, every, scenarios, eyewear, barriers, words, findings, assumed, lines)
    people = {
        "assessor": case.in_charge.assessor,
        "laser_safety_officer": case.in_charge.laser_safety_officer,
        "operator": case.in_charge.operator,
        "venue": case.in_charge.venue,
    }
    uncertainty = uncertainty_of(typed, corners, found, setups, wording, with_spreads=in_full)
    decision, draft = decision_of(case, every, setups, scenarios, eyewear, barriers, scene, record, reach, wording)
    if scene is not None:
        decision = scene_part.scene_decision(decision, scene, wording, with_feet=case.units == "metric and feet")
    decision = sure_decision(decision, uncertainty, wording)
    days = over(worked.each, lambda one: ultraviolet_days(one.found, one.scenarios))
    material, gas = case.other_hazards.work_material, case.other_hazards.process_gas
    keys = [h.key for h in wording.other_hazards_for(words, material, gas)]
    return Assessment(
        title=case.title,
        place=case.place,
        dates=case.dates,
        people=people,
        rule_set=case.rule_set,
        rule_sets=sets,
        decision=naming_strike_outs(with_days(decision, days, wording.language), wording),
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
        record=replace(record, draft_reasons=draft),
        settings=setting_reports(every),
        class_checks=over(every, class_checks) if in_full else (),
        ultraviolet=days,
        scans=over(every, scan_results),
        sums=over(every, sum_results),
        modules=over(every, module_results),
        extended=over(every, extended_results),
        rules=rule_sentences(setups),
        uncertainty=uncertainty,
        scene=scene,
    )


def assess_file(path: Path) -> Assessment:
    """Return the assessment of a case file.

    Raises
    ------
    CaseError
        If the file has faults; all are listed.
    """
    return assess(read_case(path))
