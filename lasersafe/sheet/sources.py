"""Scanned beams, wavelengths that add, modules, extended sources, and which rule decided."""

from __future__ import annotations

from lasersafe.quantity import format_quantity
from lasersafe.results import Assessment
from lasersafe.sheet.flow import BODY, NOTE, SMALL_BOLD, TINY, TINY_BOLD, TINY_NOTE, Flow, Part, Row
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
        below = [Part(tidy(found.credit), TINY_NOTE)]
        below += [
            Part(
                text("sources.scan_place", distance=place(p.distance), ratio=ratio(p.ratio), sentence=tidy(p.sentence)),
                TINY_NOTE,
            )
            for p in found.places
        ]
        rows.append(
            Row(
                (
                    [Part(found.laser, TINY_BOLD), Part(found.setup, TINY_NOTE)],
                    [Part(found.tissue, TINY)],
                    [Part(found.pattern, TINY)],
                    [Part(distance(found.running), TINY_BOLD)],
                    [Part(distance(found.stopped), TINY_BOLD)],
                    [Part(reaction, TINY)],
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
            "sources.sum", laser=found.laser, setup=found.setup, sentence=tidy(found.sentence), distance=reach,
            rule_set=found.rule_set, duration=duration(found.duration),
        )  # fmt: skip
        flow.paragraph(line, NOTE, 12.0, "•")
    for module in assessment.modules:
        flow.paragraph(f"{module.laser}, {module.setup}: {tidy(module.sentence)}.", NOTE, 12.0, "•")


def _extended(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    text = wording.text
    flow.heading(text("sources.extended"), 0, keep=110.0)
    flow.paragraph(text("sources.extended_intro"), BODY)
    rows = []
    for found in assessment.extended:
        below = [Part(tidy(found.sentence), TINY_NOTE)]
        if found.radiance_limit is not None:
            shown = "–" if found.radiance is None else _radiance(found.radiance, "up")
            line = text(
                "sources.radiance", radiance=shown, limit=_radiance(found.radiance_limit, "down"),
                source=found.radiance_source,
            )  # fmt: skip
            below.append(Part(line, TINY_NOTE))
        rows.append(
            Row(
                (
                    [Part(found.source, SMALL_BOLD), Part(found.laser, NOTE)],
                    [Part(found.tissue)],
                    [Part(distance(found.distance), SMALL_BOLD)],
                    [Part(place(found.worst_distance))],
                    [Part(ratio(found.worst_ratio))],
                    [Part(f"{found.rule_set}, {found.hazard}, {duration(found.duration)}", NOTE)],
                ),
                below,
            )
        )
    keys = ("source", "tissue", "reach", "worst_view", "worst_ratio", "limit")
    flow.table([text(f"sources.{key}") for key in keys], (24, 8, 15, 15, 13, 25), rows, 1.5)


def _radiance(value: float, rounding: str) -> str:
    number = format_quantity(value, "W/m2", 3, "up" if rounding == "up" else "down")
    return f"{number} sr⁻¹"
