"""Scanned beams, wavelengths that add, modules, extended sources, and which rule decided."""

from __future__ import annotations

from lasersafe.quantity import format_quantity
from lasersafe.results import Assessment
from lasersafe.sheet.flow import BODY, NOTE, Flow, Part, Row, bold, faint, note, strong, tiny
from lasersafe.sheet.text import tidy
from lasersafe.sheet.values import distance, duration, place, ratio
from lasersafe.wording import Wording


def sources(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what concerns scanners, several wavelengths or beams, and extended sources, then which rule decided."""
    if assessment.scans:
        _scans(flow, assessment, wording)
    if assessment.sums or assessment.modules:
        _sums(flow, assessment, wording)
    if assessment.extended:
        _extended(flow, assessment, wording)
    if assessment.rules:
        flow.heading(wording.text("sources.rules"), 0, keep=40.0)
        for sentence in assessment.rules:
            flow.paragraph(tidy(sentence), NOTE, 12.0, "•")


def _scans(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    text = wording.text
    flow.heading(text("sources.scans"), 0, keep=110.0)
    flow.paragraph(text("sources.scans_intro"), BODY)
    rows = []
    for found in assessment.scans:
        reaction = text("sources.no_cut_off")
        if found.reaction is not None and found.reaction_time is not None:
            reaction = text(
                "sources.reaction", distance=distance(found.reaction), duration=duration(found.reaction_time)
            )
        below = [faint(tidy(found.credit))]
        below += [
            faint(
                text("sources.scan_place", distance=place(p.distance), ratio=ratio(p.ratio), sentence=tidy(p.sentence))
            )
            for p in found.places
        ]
        rows.append(
            Row(
                (
                    [strong(found.laser), faint(found.setup)],
                    tiny(found.tissue),
                    tiny(found.pattern),
                    strong(distance(found.running)),
                    strong(distance(found.stopped)),
                    tiny(reaction),
                ),
                below,
            )
        )
    keys = ("laser", "tissue", "pattern", "running", "stopped", "cut_off")
    flow.table([text(f"sources.{key}") for key in keys], (24, 7, 26, 14, 14, 15), rows, 1.5)


def _sums(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    flow.heading(wording.text("sources.sums"), 0, keep=60.0)
    flow.paragraph(wording.text("sources.sums_intro"), BODY)
    for found in assessment.sums:
        reach = distance(found.distance)
        line = wording.text(
            "sources.sum",
            laser=found.laser,
            setup=found.setup,
            sentence=tidy(found.sentence),
            distance=reach,
            rule_set=found.rule_set,
            duration=duration(found.duration),
        )
        flow.paragraph(line, NOTE, 12.0, "•")
    for module in assessment.modules:
        flow.paragraph(f"{module.laser}, {module.setup}: {tidy(module.sentence)}.", NOTE, 12.0, "•")


def _extended(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    text = wording.text
    flow.heading(text("sources.extended"), 0, keep=110.0)
    flow.paragraph(text("sources.extended_intro"), BODY)
    rows = []
    for found in assessment.extended:
        below = [faint(tidy(found.sentence))]
        if found.radiance_limit is not None:
            shown = "–" if found.radiance is None else _radiance(found.radiance, "up")
            line = text(
                "sources.radiance",
                radiance=shown,
                limit=_radiance(found.radiance_limit, "down"),
                source=found.radiance_source,
            )
            below.append(faint(line))
        rows.append(
            Row(
                (
                    [bold(found.source), note(found.laser)],
                    Part(found.tissue),
                    bold(distance(found.distance)),
                    Part(place(found.worst_distance)),
                    Part(ratio(found.worst_ratio)),
                    note(f"{found.rule_set}, {found.hazard}, {duration(found.duration)}"),
                ),
                below,
            )
        )
    keys = ("source", "tissue", "reach", "worst_view", "worst_ratio", "limit")
    flow.table([text(f"sources.{key}") for key in keys], (24, 8, 15, 15, 13, 25), rows, 1.5)


def _radiance(value: float, rounding: str) -> str:
    number = format_quantity(value, "W/m2", 3, "up" if rounding == "up" else "down")
    return f"{number} sr⁻¹"
