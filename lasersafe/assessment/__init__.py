"""Case -> Assessment: a pure function; every number carries its steps.

The fingerprint is one SHA-256 over everything that a result depends on, also by part, so that a change can be named.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextvars import copy_context
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.assessment.calculation import WITHOUT_STEPS
from lasersafe.assessment.corners import corners_of
from lasersafe.assessment.decision import Sentences, conditions, extended_of, not_shaded, reached
from lasersafe.assessment.facts import assumptions_of, record_of
from lasersafe.assessment.protection import controlled, worked_out
from lasersafe.assessment.pulsed import PRINTED, ultraviolet_days
from lasersafe.assessment.setups import compared_rules
from lasersafe.assessment.uncertainty import uncertainty_of
from lasersafe.data import shared_path, templates_path
from lasersafe.models import Case, canonical, read_case, typed_inputs
from lasersafe.records import badness, over
from lasersafe.results import Assessment
from lasersafe.wording import Message, languages, load_wording

if TYPE_CHECKING:
    from lasersafe.assessment.context import Wanted

__all__ = ["assess", "assess_file", "case_digest", "combined", "data_digest", "fingerprint", "ingredients"]
_DATA = (".toml", ".json", ".txt")
_NOT_IN_RESULTS = ("fonts",)


def assess(case: Case, language: str | None = None, wanted: Wanted = "all") -> Assessment:
    """Return the assessment of a case.

    Parameters
    ----------
    case : Case
        A case that was read and checked.
    language : str, optional
        Language of the wording; without it, that of the case.
    wanted : str
        How much is worked out, as `lasersafe.assessment.context.Wanted` says it; without it all.

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
    leaving = copy_context()
    leaving.run(WITHOUT_STEPS.set, wanted != "all")
    worked = leaving.run(worked_out, corners.cases, wording, wanted)
    case, every, words = worked.case, [one.found for one in worked.each], conditions(worked)
    worked, controls, findings = controlled(worked, wording, words)
    extended, say = extended_of(worked), Sentences(case, wording)
    scene, (beam, scatter, aided) = None, reached(worked, () if case.scene else extended)
    assumed = assumptions_of(typed, every, beam.distance, scatter.distance)
    glow, bright = "", list[tuple[float, tuple[tuple[str, float], ...]]]()
    if worked.stage is None:
        named = ((Message("step.of_source", source=one.source), one.distance) for one in extended)
        bright += [(distance, ((words, distance),)) for words, distance in named]
        glow = "; ".join(one.left_out for one in not_shaded(extended, wording))
    else:
        from lasersafe.assessment.scene import scene_result

        scene, reach = scene_result(worked, wording, beam.distance, extended)
        bright.append(reach)  # a plan names extended sources with all that no drawing holds
    for distance, parts in bright:
        if badness(distance) > badness(scatter.distance):
            scatter = replace(scatter, distance=distance, parts=parts)
    record = record_of(typed, worked, words, findings, assumed, () if scene is None else scene.barriers)
    uncertainty = uncertainty_of(typed, corners, worked, wording, with_spreads=wanted == "all")
    decision, draft = say.decided(worked, scene, record, (beam, scatter, aided))
    if glow:
        decision = replace(decision, people=f"{decision.people} {wording.text('say.not_shaded', what=glow)}")
    if uncertainty.inputs:  # which values the distances hold for
        as_typed = uncertainty.as_typed
        words_on = wording.text("sure.typed_only", reason=as_typed) if as_typed else wording.text("sure.corner")
        decision = replace(decision, people=f"{decision.people} {words_on}")
    days, (differences, rules) = over(worked.each, ultraviolet_days), compared_rules(worked.setups)
    material, gas = case.other_hazards.work_material, case.other_hazards.process_gas
    keys = [h.key for h in wording.other_hazards_for(words, material, gas)]
    people = {name: getattr(case.in_charge, name) for name in ("assessor", "laser_safety_officer", "operator", "venue")}
    return Assessment(
        title=case.title, place=case.place, dates=case.dates, people=people, rule_set=case.rule_set,
        rule_sets=worked.found[0].rule_sets, decision=say.naming_strike_outs(say.with_days(decision, days)),
        setups=tuple(worked.setups), scenarios=tuple(worked.scenarios), eyewear=tuple(worked.eyewear),
        barriers=tuple(worked.barriers), controls=controls,
        other_hazards=tuple(dict.fromkeys([*keys, *case.other_hazards.keys])), differences=tuple(differences),
        inputs=typed_inputs(typed), notes=tuple(filter(None, (case.notes, case.scene.note if case.scene else ""))),
        fingerprint=fingerprint(typed, wording.language), version=lasersafe.__version__, language=wording.language,
        units=case.units, record=replace(record, draft_reasons=draft), ultraviolet=days, rules=tuple(rules),
        uncertainty=uncertainty, scene=scene, extended=extended,
        **({name: over(every, each) for name, each in PRINTED.items()} if wanted == "all" else {}),
    )  # fmt: skip


def assess_file(path: Path, wanted: Wanted = "all") -> Assessment:
    """Return the assessment of a case file; see `assess`.

    Raises
    ------
    CaseError
        If the file has faults; all are listed.
    """
    return assess(read_case(path), wanted=wanted)


def ingredients(case: Case, language: str = "en") -> dict[str, str]:
    """Return what a result depends on, part by part.

    Parameters
    ----------
    case : Case
        The case; its units are resolved, so that ``1.5 kW`` and ``1500 W`` are the same.
    language : str
        Folder of the wording.

    Returns
    -------
    dict
        ``case`` and each data and wording file with the SHA-256 of its content (line ends do not count), and
        ``version``, the version of the program.
    """
    return {"version": lasersafe.__version__, "case": case_digest(canonical(case)), **_files(language)}


def case_digest(data: Mapping[str, object]) -> str:
    """Return the SHA-256 of a resolved case."""
    return _digest(data, allow_nan=False)


def combined(parts: Mapping[str, str]) -> str:
    """Return the fingerprint of the parts that `ingredients` gives."""
    return _digest(dict(parts))


def fingerprint(case: Case, language: str = "en") -> str:
    """Return the SHA-256 of the resolved case, the reference data, the wording and the program version."""
    return combined(ingredients(case, language))


@lru_cache(maxsize=1)
def data_digest() -> str:
    """Return the SHA-256 of all that any result depends on besides its case: data, every wording, version."""
    return _digest([lasersafe.__version__, {name: _files(name) for name in languages()}])


@lru_cache(maxsize=8)
def _files(language: str) -> dict[str, str]:
    found = {}
    for kind, folder in (("shared", shared_path()), ("wording", templates_path("wording", language))):
        for path in sorted(folder.rglob("*")):
            parts = path.relative_to(folder).parts
            if path.suffix in _DATA and parts[0] not in _NOT_IN_RESULTS and path.is_file():
                content = path.read_bytes().replace(b"\r\n", b"\n")
                found["/".join((kind, *parts))] = hashlib.sha256(content).hexdigest()
    return found


def _digest(value: object, *, allow_nan: bool = True) -> str:
    text = json.dumps(value, sort_keys=True, ensure_ascii=True, allow_nan=allow_nan)
    return hashlib.sha256(text.encode()).hexdigest()
