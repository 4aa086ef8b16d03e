"""Case -> Assessment: a pure function; every number carries its steps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import lasersafe
from lasersafe.assessment.calculation import without_limit_steps
from lasersafe.assessment.corners import corners_of, over, sure_decision, uncertainty_of, worked_out, worst_of
from lasersafe.assessment.decision import conditions, decision_of, naming_strike_outs, reached_by_each
from lasersafe.assessment.facts import assumptions_of, record_of
from lasersafe.assessment.fingerprint import fingerprint
from lasersafe.assessment.protection import controlled, controls_of
from lasersafe.assessment.pulsed import class_checks, setting_reports, ultraviolet_days, with_days
from lasersafe.assessment.scans import scan_results
from lasersafe.assessment.scenarios import extended_results, module_results
from lasersafe.assessment.setups import differences_of, rule_sentences, sum_results
from lasersafe.models import read_case, typed_inputs
from lasersafe.results import Assessment
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case

__all__ = ["assess", "assess_file"]
_PRINTED: dict[str, Any] = {  # what only the pages print, of each corner
    "class_checks": class_checks, "scans": scan_results, "sums": sum_results, "modules": module_results,
    "extended": extended_results,
}  # fmt: skip


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
        check, how far scans, sums and extended sources reach, the worst settings in words, the exposure map and
        elevations, what assumptions cost. No verdict, distance or eyewear depends on it.

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
    typed, corners = case, corners_of(case)
    with without_limit_steps(not in_full):
        worked = worst_of(worked_out(corners.cases, wording), wording)
    case, every = worked.case, [one.found for one in worked.each]
    words = conditions(case, every, worked.eyewear)
    controls = tuple(controls_of(case, wording, words, worked.scenarios))
    scenarios, findings = controlled(worked, controls)
    worked = replace(worked, scenarios=scenarios)
    scene = None
    if worked.stage is not None:
        from lasersafe.assessment import scene as scene_part

        scene = scene_part.scene_result(worked, wording, in_full=in_full)
    beam, scatter, aided = reached_by_each(worked)
    assumed = assumptions_of(typed, every, beam.distance, scatter.distance)
    if worked.stage is not None:
        scatter = scatter.at_least(*scene_part.lit_reach([one.stage for one in worked.each if one.stage is not None]))
    record = record_of(typed, worked, words, findings, assumed, () if scene is None else scene.barriers)
    uncertainty = uncertainty_of(typed, corners, worked.found, worked.setups, wording, with_spreads=in_full)
    decision, draft = decision_of(worked, scene, record, (beam, scatter, aided), wording)
    if scene is not None:
        decision = scene_part.scene_decision(decision, scene, wording, with_feet=case.units == "metric and feet")
    decision = sure_decision(decision, uncertainty, wording)
    days = over(worked.each, lambda one: ultraviolet_days(one.found, one.scenarios))
    material, gas = case.other_hazards.work_material, case.other_hazards.process_gas
    keys = [h.key for h in wording.other_hazards_for(words, material, gas)]
    people = ("assessor", "laser_safety_officer", "operator", "venue")
    only_printed: dict[str, Any] = {}
    if in_full:
        only_printed = {name: over(every, each) for name, each in _PRINTED.items()}
        only_printed["settings"] = setting_reports(every)
    return Assessment(
        title=case.title,
        place=case.place,
        dates=case.dates,
        people={name: getattr(case.in_charge, name) for name in people},
        rule_set=case.rule_set,
        rule_sets=worked.found[0].rule_sets,
        decision=naming_strike_outs(with_days(decision, days, wording.language), wording),
        setups=tuple(worked.setups),
        scenarios=tuple(scenarios),
        eyewear=tuple(worked.eyewear),
        barriers=tuple(worked.barriers),
        controls=controls,
        other_hazards=tuple(dict.fromkeys([*keys, *case.other_hazards.keys])),
        differences=differences_of(worked.setups),
        inputs=typed_inputs(typed),
        notes=(case.notes,) if case.notes else (),
        fingerprint=fingerprint(typed, wording.language),
        version=lasersafe.__version__,
        language=wording.language,
        units=case.units,
        record=replace(record, draft_reasons=draft),
        ultraviolet=days,
        rules=rule_sentences(worked.setups),
        uncertainty=uncertainty,
        scene=scene,
        **only_printed,
    )


def assess_file(path: Path, *, in_full: bool = True) -> Assessment:
    """Return the assessment of a case file, without what only the pages print where it is not wanted in full.

    Raises
    ------
    CaseError
        If the file has faults; all are listed.
    """
    return assess(read_case(path), in_full=in_full)
