"""What the case commands print and write: faults, tables, JSON, files."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError
from lasersafe.files import write_file
from lasersafe.outputs import Output, case_mark, mark_of, refuse_to_lose, write_outputs
from lasersafe.quantity import format_quantity
from lasersafe.record_report import (
    barriers_json,
    record_json,
    starter_json,
    starter_line,
    strike_outs_json,
    unit_key,
)
from lasersafe.reference import templates_path
from lasersafe.report_scene import barriers_text, scene_json
from lasersafe.report_uncertainty import finite, uncertainty_json, uncertainty_text
from lasersafe.results import Assessment, Scenario, StarterValue, Step
from lasersafe.wording import load_wording


def template_names() -> list[str]:
    """Return the names of the starter cases."""
    return sorted(path.stem for path in templates_path("cases").glob("*.toml"))


def template_text(name: str) -> bytes:
    """Return a starter case.

    Raises
    ------
    InputError
        If there is no starter case of that name.
    """
    import difflib

    names = template_names()
    if name not in names:
        near = difflib.get_close_matches(name, names, 1)
        hint = f"did you mean '{near[0]}'? " if near else ""
        message = f"template = '{name[:60]}': {hint}there are: {', '.join(names)}"
        raise InputError(message)
    return templates_path("cases", f"{name}.toml").read_bytes()


def start_case(path: Path, template: str | None, replace: bool) -> dict[str, Any]:
    """Write a starter case and return what to print; without a template, refuse with the list of names."""
    if template is None:
        message = f"choose a template with --from: {', '.join(template_names())}"
        raise InputError(message)
    _write_starter(path, template, replace)
    return {"case": str(path), "template": template}


def _write_starter(path: Path, template: str, replace: bool, starters_too: bool = False) -> None:
    known = [template_text(name) for name in template_names()] if replace or starters_too else []
    there = refuse_to_lose(path, "", replace=replace, known=known)
    write_file(path, template_text(template), replace=there is not None)


def check_lines(path: Path) -> tuple[list[str], dict[str, Any]]:
    """Return the faults of a case as lines and as JSON; a case without faults is worked out as well.

    What it still says as a starter case does is no fault: each such record is a remark.
    """
    from lasersafe.assessment import assess_file
    from lasersafe.errors import CalcError, CaseError, Fault
    from lasersafe.models import check_case

    faults, remarks = list(check_case(path)), list[StarterValue]()
    if not faults:
        try:
            remarks = list(assess_file(path).record.starter_values)
        except CaseError as error:
            faults = list(error.faults)
        except CalcError as error:
            faults = [Fault(None, "case", str(error))]
    rows = [{"line": fault.line, "field": fault.field, "message": fault.message} for fault in faults]
    data = {"case": str(path), "faults": rows, "starter_values": [starter_json(one) for one in remarks]}
    if not faults:
        return [f"{path}: no faults", *map(starter_line, remarks)], data
    head = f"{path}: {len(faults)} {'fault' if len(faults) == 1 else 'faults'}"
    return [head, *(f"  {fault}" for fault in faults)], data


def write_case_sheet(path: Path, output: Path, paper: str | None, replace: bool = False) -> dict[str, Any]:
    """Assess a case, write its sheet with the signatures on record, and return what to print."""
    from lasersafe.models import parse_case, read_case_text
    from lasersafe.signing.making import make_sheet, refuse_to_lose_sheet, save_sheet
    from lasersafe.signing.record import read_record, record_path

    if paper not in (None, "A4", "Letter"):
        message = f"paper = '{paper[:40]}': allowed are A4 and Letter"
        raise InputError(message)
    text = read_case_text(path)
    case = parse_case(text, str(path))
    refuse_to_lose_sheet(output, case_mark(path.name, case.title), replace)  # before there is work
    made = make_sheet(text, case, read_record(record_path(path)), paper, file=path.name)
    copy = save_sheet(output, made, replace)
    return {
        "sheet": str(output),
        "verdict": made.assessment.decision.verdict,
        "passed": made.assessment.decision.passed,
        "fingerprint": made.assessment.fingerprint,
        "state": made.sign_off.state,
        "missing_roles": list(made.sign_off.missing),
        "changed_since_sign_off": list(made.sign_off.changed),
        "kept": None if copy is None else str(copy),
        "caution": load_wording(made.assessment.language).caution_short,
    }


def write_case_page(path: Path, output: Path, paper: str | None, kind: str, replace: bool = False) -> dict[str, Any]:
    """Assess a case, write one of its pages to hand out, and return what to print."""
    from lasersafe.assessment import assess
    from lasersafe.models import read_case
    from lasersafe.sheet import render_sheet

    case = read_case(path)
    size = paper or case.paper
    if size not in ("A4", "Letter"):
        message = f"paper = '{size[:40]}': allowed are A4 and Letter"
        raise InputError(message)
    mark = mark_of(kind, path, case.title)
    refuse_to_lose(output, mark, replace=replace)  # before there is work
    assessment = assess(case)
    write_outputs([Output(output, render_sheet(assessment, paper=size, kind=kind), mark)], replace=replace)
    return {
        "sheet": str(output),
        "verdict": assessment.decision.verdict,
        "passed": assessment.decision.passed,
        "fingerprint": assessment.fingerprint,
        "caution": load_wording(assessment.language).caution_short,
    }


def write_demo(folder: Path) -> dict[str, Any]:
    """Write the demo case and its sheet and return what to print."""
    case = folder / "demo.toml"
    sheet = folder / "demo.pdf"
    _write_starter(case, "demo", replace=False, starters_too=True)
    data = write_case_sheet(case, sheet, None)
    return {"case": str(case), **data}


def _steps(steps: tuple[Step, ...]) -> list[dict[str, Any]]:
    return [
        {
            "symbol": s.symbol,
            "meaning": s.meaning,
            "formula": s.formula,
            "numbers": s.numbers,
            "value": finite(s.value),
            "unit": s.unit,
            "source": s.source,
            "seen": s.seen,
        }
        for s in steps
    ]


def _scenario(s: Scenario) -> dict[str, Any]:
    from lasersafe.assessment.listing import shares_json

    return {
        "laser": s.laser,
        "setup": s.setup,
        "person": s.person,
        "role": s.role,
        "way": s.way,
        "mode": s.mode,
        "tissue": s.tissue,
        "distance_m": s.distance,
        "duration_s": s.duration,
        "duration_reason": s.duration_reason,
        unit_key("exposure", s.exposure_unit): finite(s.exposure),
        unit_key("limit", s.exposure_unit): s.limit,
        "ratio": finite(s.ratio),
        "ratio_by_rule_set": {name: finite(value) for name, value in s.ratio_by_rule_set.items()},
        "below_limit": s.below,
        "answer": s.answer,
        "struck_out": s.struck_out,
        "rule_set": s.criterion.rule_set,
        "hazard": s.criterion.hazard,
        "rule": s.criterion.rule,
        "controls": list(s.controls),
        "shares": shares_json(s.shares),
        "steps": _steps(s.steps),
    }


def assessment_json(a: Assessment) -> dict[str, Any]:
    """Return an assessment as plain data: SI numbers, the unit in each key."""
    from lasersafe.assessment.listing import sources_json

    return {
        "title": a.title,
        "place": a.place,
        "dates": a.dates,
        "people": a.people,
        "rule_set": a.rule_set,
        "rule_sets": list(a.rule_sets),
        "fingerprint": a.fingerprint,
        "version": a.version,
        "decision": {
            "wear": a.decision.wear,
            "people": a.decision.people,
            "barrier": a.decision.barrier,
            "verdict": a.decision.verdict,
            "passed": a.decision.passed,
            "reasons": list(a.decision.reasons),
            "distance_m": a.decision.headline_distance,
            "strike_outs": strike_outs_json(a.decision.strike_outs),
        },
        "setups": [
            {
                "laser": s.laser,
                "setup": s.setup,
                "fitted": s.fitted,
                "beam": s.beam,
                "worst_setting": s.setting,
                "zones": [
                    {
                        "way": z.way,
                        "tissue": z.tissue,
                        "distance_m": z.distance,
                        "from": z.origin,
                        "distance_from_focus_m": z.distance_from_focus,
                        "by_rule_set_m": z.by_rule_set,
                        "rule_set": z.criterion.rule_set,
                        "hazard": z.criterion.hazard,
                        "rule": z.criterion.rule,
                        "duration_s": z.criterion.duration,
                        unit_key("limit", z.criterion.limit_unit): z.criterion.limit,
                        "note": z.note,
                        "steps": _steps(z.steps),
                    }
                    for z in s.zones
                ],
            }
            for s in a.setups
        ],
        "scenarios": [_scenario(s) for s in a.scenarios],
        "eyewear": [
            {
                "laser": n.laser,
                "setup": n.setup,
                "person": n.person,
                "wavelength_m": n.wavelength,
                "distance_m": n.distance,
                "optical_density": n.optical_density,
                "optical_density_skin": n.optical_density_skin,
                "scale_numbers": {s.mode: s.scale_number for s in n.scales},
                "marking": n.marking,
                "decides": n.decides,
                "reliable": n.reliable,
                "no_reliance": n.no_reliance,
                "worn": None
                if n.verdict is None
                else {
                    "typed": n.verdict.text,
                    "enough": n.verdict.enough,
                    "verdict": n.verdict.verdict,
                    "bands_that_end_here_nm": list(n.verdict.ends),
                },
                "notes": list(n.notes),
            }
            for n in a.eyewear
        ],
        "barriers": barriers_json(a),
        **record_json(a),
        "differences": [
            {"what": d.what, unit_key("values", d.unit): d.values, "decided_by": d.decided_by} for d in a.differences
        ],
        "settings": [
            {
                "laser": r.laser,
                "tissue": r.tissue,
                "duration_s": r.duration,
                "worst_setting": r.setting,
                "why": r.sentence,
                "worst_for_other_rules": list(r.others),
                "knobs": [
                    {
                        "knob": e.knob,
                        "now": e.now,
                        "then": e.then,
                        "ratio": finite(e.ratio),
                        "worst_then": e.worst_then,
                    }
                    for e in r.effects
                ],
                "rules": [
                    {
                        "rule_set": line.rule_set,
                        "rule": line.rule,
                        "hazard": line.hazard,
                        unit_key("limit", line.unit): line.limit,
                        "limiting_aperture_m": line.limiting_aperture,
                        "share_of_deciding": finite(line.share),
                        "decides": line.decides,
                        "note": line.note,
                        "source": line.source,
                        "seen": line.seen,
                    }
                    for line in r.rules
                ],
            }
            for r in a.settings
        ],
        "class_checks": [
            {
                "laser": c.laser,
                "setup": c.setup,
                "label": c.label,
                "computed": c.computed,
                "label_is_lower": c.label_is_lower,
                "text": c.sentence,
                "steps": _steps(c.steps),
            }
            for c in a.class_checks
        ],
        "ultraviolet_days": [
            {
                "person": d.person,
                "tissue": d.tissue,
                "band": d.band,
                "ratio": finite(d.ratio),
                "below": d.below,
                "rule": d.rule,
                "rule_set": d.rule_set,
                "visits": list(d.visits),
                "ratio_by_rule_set": d.ratio_by_rule_set,
                "steps": _steps(d.steps),
            }
            for d in a.ultraviolet
        ],
        "inputs": [{"field": i.field, "typed": i.typed, "used": i.used, "line": i.line} for i in a.inputs],
        "notes": list(a.notes),
        "scene": None if a.scene is None else scene_json(a.scene),
        **sources_json(a),
        "uncertainty": uncertainty_json(a),
        "caution": load_wording(a.language).caution_short,
    }


def _row(cells: list[str], widths: list[int]) -> str:
    return "  ".join(cell[:width].ljust(width) for cell, width in zip(cells, widths, strict=True)).rstrip()


def assessment_text(a: Assessment) -> str:
    """Return the decision block and the scenario table as text."""
    from lasersafe.assessment.listing import sources_text

    d = a.decision
    lines = [a.title, f"{a.place}, {a.dates}", "", d.verdict, f"wear: {d.wear}", f"people: {d.people}",
             f"barrier: {d.barrier}", *(f"- {reason}" for reason in d.reasons), ""]  # fmt: skip
    for setup in a.setups:
        state = "fitted" if setup.fitted else "not fitted"
        lines.append(f"{setup.laser}, {setup.setup} ({state})")
        if setup.setting:
            lines.append(f"  {setup.setting}")
        for zone in setup.zones:
            note = (
                ""
                if zone.distance_from_focus is None
                else (f" ({format_quantity(zone.distance_from_focus, 'm', 3, 'up')} from the focus)")
            )
            lines.append(
                f"  {zone.way}, {zone.tissue}: {format_quantity(zone.distance, 'm', 3, 'up')} from the {zone.origin}"
                f"{note}; {zone.criterion.rule_set}, {zone.criterion.hazard}, {zone.criterion.rule}"
            )
    lines += barriers_text(a.scene) if a.scene is not None else []
    lines += sources_text(a) + uncertainty_text(a)
    widths = [24, 20, 24, 19, 15, 5, 10, 12, 12, 10, 34]
    heads = ["laser", "set-up", "person", "way", "mode", "", "distance", "exposure", "limit", "ratio", "answer"]
    lines += ["", _row(heads, widths)]
    for s in a.scenarios:
        answer = "below the limit" if s.below else s.answer or "ABOVE THE LIMIT, no answer"
        if s.struck_out:
            answer = f"struck out: {s.struck_out}"
        exposure = format_quantity(s.exposure, s.exposure_unit, 3, "up") if math.isfinite(s.exposure) else "no bound"
        ratio = format_quantity(s.ratio, "1", 3, "up") if math.isfinite(s.ratio) else "no bound"
        limit = format_quantity(s.limit, s.exposure_unit, 3, "down")
        mode = "running" if "running" in s.mode.split(", ") else s.mode
        distance = format_quantity(s.distance, "m", 3, "down")
        cells = [s.laser, s.setup, s.person, s.way, mode, s.tissue, distance, exposure, limit, ratio]
        lines.append(_row(cells, widths[:-1]).ljust(sum(widths[:-1]) + 2 * 9) + "  " + answer)
    lines += ["", load_wording(a.language).caution_short]
    return "\n".join(lines)
