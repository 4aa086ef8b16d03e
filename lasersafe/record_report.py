"""What the commands print of the record of the day: controls, acceptance test, data for a notice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lasersafe.report_uncertainty import finite
from lasersafe.results import Assessment, Expected, LaserFacts, StarterValue, StrikeOuts
from lasersafe.wording import load_wording


def unit_key(name: str, unit: str) -> str:
    """Return a key of JSON with its unit, as ``limit_W_per_m2``."""
    return f"{name}_{unit.replace('/', '_per_')}"


def record_json(a: Assessment) -> dict[str, Any]:
    """Return controls, findings, acceptance test and area as plain data."""
    return {
        "controls": [
            {
                "kind": c.kind,
                "key": c.key,
                "text": c.text,
                "in_place": c.in_place,
                "answers": list(c.answers),
                "persons": list(c.persons),
                "laser": c.laser or None,
            }
            for c in a.controls
        ],
        "control_findings": [
            {
                "laser": f.laser,
                "setup": f.setup,
                "person": f.person,
                "way": f.way,
                "tissue": f.tissue,
                "eyewear_alone": f.eyewear_alone,
            }
            for f in a.record.findings
        ],
        "acceptance": [_expected(row) for row in a.record.expected],
        "area": a.record.area,
        "draft_reasons": list(a.draft_reasons),
        "starter_values": [starter_json(one) for one in a.record.starter_values],
    }


def barriers_json(a: Assessment) -> list[dict[str, Any]]:
    """Return what falls on each barrier by its distance as plain data."""
    return [
        {
            "barrier": b.barrier,
            "laser": b.laser,
            "setup": b.setup,
            "way": b.way,
            "distance_m": b.distance,
            "irradiance_W_per_m2": finite(b.irradiance),
            "rating_W_per_m2": b.rating,
            "rated_time_s": b.rated_time,
            "pulse_J_per_m2": None if b.pulse is None else finite(b.pulse),
            "pulse_rating_J_per_m2": b.pulse_rating,
            "fitted": b.fitted,
            "asked": b.asked,
            "holds": b.holds,
            "verdict": b.verdict,
            "notes": list(b.notes),
        }
        for b in a.barriers
    ]


def strike_outs_json(struck: StrikeOuts) -> dict[str, Any]:
    """Return what is struck out as plain data: the counts, and the worst of it."""
    worst = struck.worst
    return {
        "count": struck.count,
        "ways": struck.ways,
        "not_assessed": [{"person": person, "laser": laser} for person, laser in struck.not_assessed],
        "worst": None
        if worst is None
        else {
            "person": worst.person,
            "laser": worst.laser,
            "setup": worst.setup,
            "way": worst.way,
            "mode": worst.mode,
            "tissue": worst.tissue,
            "ratio": finite(worst.ratio),
            "reason": worst.struck_out,
        },
    }


def starter_json(one: StarterValue) -> dict[str, Any]:
    """Return a value of a starter case as plain data."""
    return {"kind": one.kind, "name": one.name, "starter": one.starter, "field": one.field, "line": one.line}


def starter_line(one: StarterValue) -> str:
    """Return a value of a starter case as a line of ``check``."""
    line = "" if one.line is None else f"line {one.line}: "
    return (
        f"  remark: {line}{one.field}, '{one.name}': as in the starter case '{one.starter}'; nobody can sign before "
        "what holds here is written instead"
    )


def _expected(row: Expected) -> dict[str, Any]:
    got = row.reading
    return {
        "key": row.key,
        "laser": row.laser,
        "setup": row.setup,
        "what": row.what,
        "where": row.where,
        "way": row.way,
        "distance_m": row.distance,
        unit_key("expected", row.unit): row.value,
        unit_key("doubtful_below", row.unit): row.low,
        "reading": None
        if got is None
        else {
            "typed": got.typed,
            unit_key("upper", got.unit): got.upper,
            "uncertainty": got.uncertainty,
            "above": got.above,
            "doubtful": got.low,
            "instrument": got.instrument,
        },
    }


def notice_of(path: Path) -> tuple[list[str], dict[str, Any]]:
    """Return the data for a notice to an authority, as lines and as JSON."""
    from lasersafe.assessment import assess_file
    from lasersafe.sheet.pages import notice_lines

    assessment = assess_file(path)
    wording = load_wording(assessment.language)
    data = {
        "permission": "none is claimed or implied",
        "title": assessment.title,
        "place": assessment.place,
        "dates": assessment.dates,
        "running_times": assessment.record.area["running_times"] or None,
        "beam_directions": assessment.record.area["beam_directions"] or None,
        "contact": assessment.record.area["contact"] or None,
        "people": assessment.people,
        "rule_set": assessment.rule_set,
        "fingerprint": assessment.fingerprint,
        "lasers": [_laser_facts(facts, assessment) for facts in assessment.record.lasers],
        "caution": wording.caution_short,
    }
    return [*notice_lines(assessment, wording), "", wording.caution_short], data


def _laser_facts(facts: LaserFacts, assessment: Assessment) -> dict[str, Any]:
    def span(value: tuple[float, float] | None) -> list[float] | None:
        return None if value is None else list(value)

    def light(one: LaserFacts) -> dict[str, Any]:
        need = one.eyewear
        return {
            "name": one.name,
            "wavelength_m": one.wavelength,
            "seen": list(one.seen),
            "emission": one.kind,
            "power_W": span(one.power),
            "pulse_energy_J": span(one.pulse_energy),
            "pulse_duration_s": span(one.pulse_duration),
            "repetition_rate_Hz": span(one.repetition_rate),
            "eyewear": need and (need.marking if need.reliable else need.no_reliance),
            "optical_density": need and need.optical_density,
        }

    zones = {s.setup: s.zones for s in assessment.setups if s.laser == facts.name}
    return {
        **light(facts),
        "class": facts.class_label,
        "serial": facts.serial,
        "further_wavelengths": [light(line) for line in facts.lines],
        "beams": [
            {
                "setup": beam.setup,
                "fitted": beam.fitted,
                "kind": beam.kind,
                "waist_diameter_m": list(beam.waist_diameter),
                "waist_position_m": list(beam.waist_position),
                "divergence_rad": list(beam.divergence),
                "criterion": "1/e, full angle",
                "distances": [
                    {"way": z.way, "tissue": z.tissue, "distance_m": z.distance, "from": z.origin}
                    for z in zones[beam.setup]
                ],
            }
            for beam in facts.beams
        ],
    }
