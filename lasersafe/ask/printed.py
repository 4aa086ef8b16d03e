"""What the commands print of an assessment: the whole of it, the spectator lines, the data for a notice."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lasersafe.errors import InputError
from lasersafe.quantity import feet, format_quantity, grouped
from lasersafe.records.fields import as_json
from lasersafe.records.scene import SceneResult
from lasersafe.records.uncertainty import Uncertainty
from lasersafe.results import Assessment, LaserFacts, Scenario
from lasersafe.wording import load_wording

LINES_HOLD = (
    "The lines hold for the set-up that is fitted, while it runs as described and every barrier stands; beyond them "
    "the computed exposure is below the limits for the times that the sheet names."
)
_COLUMNS = {
    "laser": 24, "set-up": 20, "person": 24, "way": 19, "mode": 15, "": 5, "distance": 10, "exposure": 12, "limit": 12,
    "ratio": 10, "answer": 34,
}  # fmt: skip


def _up(value: float, unit: str = "m", digits: int = 3) -> str:
    """Return a number rounded up, or that there is no bound."""
    return format_quantity(value, unit, digits, "up") if math.isfinite(value) else "no bound"


# ---------------------------------------------------------------------------------------------------------------------
# The whole assessment


def assessment_text(a: Assessment) -> str:
    """Return the decision block and the scenario table as text."""
    d = a.decision
    lines = [
        a.title,
        ", ".join(filter(None, (a.place, a.dates))),
        "",
        d.verdict,
        f"wear: {d.wear}",
        f"people: {d.people}",
    ]
    lines += [f"barrier: {d.barrier}", *(f"- {reason}" for reason in d.reasons), "", *_setups(a)]
    barriers = [] if a.scene is None else [*_barriers(a.scene)]
    lines += ["barriers by their place", *barriers] if barriers else []
    lines += [*_sources(a), *_uncertainty(a.uncertainty), "", _row([*_COLUMNS]), *map(_scenario, a.scenarios)]
    return "\n".join([*lines, "", load_wording(a.language).caution_short])


def _setups(a: Assessment) -> Iterator[str]:
    for setup in a.setups:
        yield f"{setup.laser}, {setup.setup} ({'fitted' if setup.fitted else 'not fitted'})"
        if setup.setting:
            yield f"  {setup.setting}"
        for zone in setup.zones:
            focus = zone.distance_from_focus
            note = "" if focus is None else f" ({_up(focus)} from the focus)"
            rule = ", ".join((zone.criterion.rule_set, zone.criterion.hazard, zone.criterion.rule))
            yield f"  {zone.way}, {zone.tissue}: {_up(zone.distance)} from the {zone.origin}{note}; {rule}"


def _barriers(scene: SceneResult) -> Iterator[str]:
    """Yield what falls on each barrier by its place."""
    for barrier in scene.barriers:
        for way in (*barrier.ways, *barrier.faults):
            if way.fitted and (way.rating is not None or way.asked):
                away = "" if way.away is None else f" {format_quantity(way.away, 'm', 3, 'down')} away"
                stands = "".join(f"; may stand from {_up(s.distance)} ({s.measured_from})" for s in way.stands)
                yield (
                    f"  {barrier.name}, {way.laser}, {way.way}: {_up(way.irradiance, 'W/m2')} at its nearest place"
                    f"{away}; {way.verdict}{stands}"
                )


def _sources(a: Assessment) -> Iterator[str]:
    """Yield what is said of scanned beams, sums, modules and extended sources."""
    for s in a.scans:
        yield (
            f"{s.laser}, {s.setup}, scan, {s.tissue}: running {_up(s.running)}, stopped {_up(s.stopped)} from the last "
            f"optic; {s.credit}"
        )
    yield from (f"{s.laser}, {s.setup}: {s.sentence}" for s in a.sums)
    yield from (f"{m.laser}, {m.setup}: {m.sentence}" for m in a.modules)
    yield from (f"{e.source}: above the limit up to {_up(e.distance)} from it; {e.sentence}" for e in a.extended)


def _uncertainty(found: Uncertainty) -> Iterator[str]:
    """Yield how sure the distances are; nothing where no input carries a tolerance."""
    if not found.inputs:
        return
    yield from ("", "how sure the distances are (nominal; 95 % of the draws up to; worst corner):")
    for s in found.spreads:
        name = f"  {s.laser}, {s.setup}, {s.way}, {s.tissue}:"
        if s.upper is None or s.upper_error is None:
            yield f"{name} worst corner {_up(s.worst)}" + (f" ({s.note})" if s.note else "")
        else:
            error = f"{_up(s.upper_error, digits=2)} ({s.draws} draws, seed {s.seed})"
            yield f"{name} {_up(s.nominal)}; {_up(s.upper)} +- {error}; {_up(s.worst)}"
    if found.measure:
        yield found.measure


def _scenario(s: Scenario) -> str:
    answer = "below the limit" if s.below else s.answer or "ABOVE THE LIMIT, no answer"
    mode = "running" if "running" in s.modes else ", ".join(s.modes)
    distance, limit = format_quantity(s.distance, "m", 3, "down"), format_quantity(s.limit, s.exposure_unit, 3, "down")
    numbers = [distance, _up(s.exposure, s.exposure_unit), limit, _up(s.ratio, "1")]
    return _row([s.laser, s.setup, s.person, s.way, mode, s.tissue, *numbers]) + (
        f"struck out: {s.struck_out}" if s.struck_out else answer
    )


def _row(cells: list[str]) -> str:
    """Return cells in their columns; the last column takes what is put behind."""
    widths = [*_COLUMNS.values()][: len(cells)]
    row = "  ".join(cell[:width].ljust(width) for cell, width in zip(cells, widths, strict=True))
    return row.rstrip() if len(cells) == len(_COLUMNS) else row + "  "


# ---------------------------------------------------------------------------------------------------------------------
# The lines for spectators


def spectators_json(path: Path) -> dict[str, Any]:
    """Return the spectator lines of a case file, ready for JSON.

    Raises
    ------
    CalcError
        If the case has faults, or no scene.
    """
    from lasersafe.assessment import assess
    from lasersafe.models import read_case

    case = read_case(path)
    if case.scene is None:
        message = (
            f"{path}: the case has no [scene], so that no side is known; 'lasersafe assess' prints its distances, and "
            "a starter case shows how a scene is written"
        )
        raise InputError(message)
    assessment = assess(case)
    assert assessment.scene is not None
    scene = assessment.scene
    return {
        "title": assessment.title,
        "lines": [
            {
                **as_json(line, ("side", "laser", "setup", "distance:distance_m")),
                "distance_ft": math.ceil(feet(line.distance)),
                "from": line.distance_from,
                "limited_by": line.limited_by + (f"; {line.note} ({line.line_kind})" if line.note else ""),
                "line_m": as_json(line.line),
            }
            for line in scene.lines
        ],
        "lasers": {
            aim.laser: as_json(aim, ("position:position_m", "setup"))
            for aim in scene.aims
            if aim.mode == "running" and aim.fitted
        },
        "not_placed": [one.subject for one in scene.findings if one.kind == "aim"],
        "holds_for": LINES_HOLD,
        "verdict": assessment.decision.verdict,
        "passed": assessment.decision.passed,
        "caution": load_wording().caution_short,
    }


def spectators_text(data: dict[str, Any]) -> str:
    """Return the spectator lines as a producer reads them."""
    lines = [data["title"], ""]
    several = len(data["lasers"]) > 1
    for row in data["lines"]:
        if row["distance_m"] <= 0.0:
            lines.append(f"{row['side']}: no zone reaches this side")
            continue
        origin = f"{row['from']} of {row['laser']}" if several else row["from"]
        lines.append(
            f"{row['side']}: stand {grouped(row['distance_m'], 1)} m ({grouped(row['distance_ft'])} ft) or more from "
            f"the {origin}, behind a straight line across this side; limited by: {row['limited_by']}"
        )
    if not data["lines"]:
        lines.append("No laser has a place in the scene.")
    lines += [f"{name} has no place in the scene: no line takes it into account" for name in data["not_placed"]]
    return "\n".join([*lines, "", LINES_HOLD, data["verdict"], data["caution"]])


# ---------------------------------------------------------------------------------------------------------------------
# The data for a notice


def notice_of(path: Path) -> tuple[list[str], dict[str, Any]]:
    """Return the data for a notice to an authority, as lines and as JSON."""
    from lasersafe.assessment import assess_file
    from lasersafe.sheet.pages import notice_lines

    assessment = assess_file(path)
    wording, area = load_wording(assessment.language), assessment.record.area
    data = {
        "permission": "none is claimed or implied",
        **as_json(assessment, ("title", "place", "dates")),
        **{key: area[key] or None for key in ("running_times", "beam_directions", "coordinates", "contact")},
        **as_json(assessment, ("people", "rule_set", "fingerprint")),
        "lasers": [_laser(facts, assessment) for facts in assessment.record.lasers],
        "caution": wording.caution_short,
    }
    return [*notice_lines(assessment, wording), "", wording.caution_short], data


def _laser(facts: LaserFacts, assessment: Assessment) -> dict[str, Any]:
    zones = {s.setup: s.zones for s in assessment.setups if s.laser == facts.name}
    beam_keys = ("setup", "fitted", "kind", "waist_diameter", "waist_position", "divergence")
    return {
        **_light(facts),
        **as_json(facts, ("class_label", "serial")),
        "further_wavelengths": [_light(line) for line in facts.lines],
        "beams": [
            {
                **as_json(beam, beam_keys),
                "criterion": "1/e, full angle",
                "distances": [as_json(zone, ("way", "tissue", "distance", "origin")) for zone in zones[beam.setup]],
            }
            for beam in facts.beams
        ],
    }


def _light(one: LaserFacts) -> dict[str, Any]:
    """Return what one wavelength is, and the eyewear that covers everybody."""
    ranges = ("power", "pulse_energy", "pulse_duration", "repetition_rate")
    need = one.eyewear
    return {
        **as_json(one, ("name", "wavelength", "seen", "kind", *ranges)),
        "eyewear": need and (need.marking if need.reliable else need.no_reliance),
        "optical_density": need and need.optical_density,
    }
