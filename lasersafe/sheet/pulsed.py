"""Settings and pulse rules side by side, the class on the label, and the ultraviolet doses of a day."""

from __future__ import annotations

from lasersafe.results import Assessment, SettingReport
from lasersafe.sheet.flow import BODY, NOTE, SMALL_BOLD, TINY, TINY_BOLD, Flow, Part, Row, bold, faint, strong, tiny
from lasersafe.sheet.front import named
from lasersafe.sheet.text import tidy, unit_text
from lasersafe.sheet.values import aperture, duration, in_unit, number, ratio
from lasersafe.wording import Wording

_SHADE = 0.93


def pulsed(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what there is of settings, class checks and ultraviolet days."""
    text = wording.text
    if not (assessment.settings or assessment.class_checks or assessment.ultraviolet):
        return
    flow.heading(text("pulsed.heading"), 0, keep=90.0)
    if assessment.settings:
        flow.paragraph(text("pulsed.intro"), NOTE)
    for report in assessment.settings:
        _report(flow, report, wording)
    if assessment.class_checks:
        flow.heading(text("pulsed.class_heading"), 1, keep=60.0)
        flow.paragraph(text("pulsed.class_intro"), NOTE)
        for check in assessment.class_checks:
            style = SMALL_BOLD if check.label_is_lower else BODY
            flow.paragraph(tidy(f"{check.laser}, {check.setup}: {check.sentence}"), style)
    if assessment.ultraviolet:
        _days(flow, assessment, wording)


def _report(flow: Flow, report: SettingReport, wording: Wording) -> None:
    text = wording.text
    tissue = named(wording, "tissue", report.tissue)
    title = text("pulsed.report", laser=report.laser, tissue=tissue, duration=duration(report.duration))
    flow.heading(title, 1, keep=90.0)
    flow.paragraph(unit_text(text("pulsed.setting", setting=report.setting)), BODY)
    flow.paragraph(unit_text(tidy(report.sentence)), BODY)
    if report.others:
        flow.paragraph(unit_text(text("pulsed.others", settings="; ".join(report.others))), NOTE)
    if report.effects:
        rows = [
            Row(
                (
                    strong(effect.knob),
                    tiny(unit_text(effect.now)),
                    tiny(unit_text(effect.then)),
                    strong(text("pulsed.times", ratio=number(effect.ratio, 3, "up"))),
                    faint(unit_text(effect.worst_then)),
                )
            )
            for effect in report.effects
        ]
        keys = ("knob", "now", "then", "ratio", "worst_then")
        flow.table([text(f"pulsed.{key}") for key in keys], (16, 16, 18, 16, 40), rows, 1.2)
        flow.space(3.0)
    rows = []
    for line in report.rules:
        kind = TINY_BOLD if line.decides else TINY
        mark = f" ({text('pulsed.decides')})" if line.decides else ""
        rows.append(
            Row(
                (
                    [Part(f"{line.rule}{mark}", kind), faint(line.rule_set)],
                    Part(line.hazard, kind),
                    Part(in_unit(line.limit, line.unit, 4, "down"), kind),
                    Part(aperture(line.limiting_aperture), kind),
                    Part(number(line.share, 3, "up"), kind),
                    [faint(line.note), faint(f"{line.source}; {named(wording, 'seen', line.seen)}")],
                ),
                shade=_SHADE if line.decides else None,
            )
        )
    columns = ("rule", "hazard", "limit", "aperture", "share", "note")
    flow.table([text(f"pulsed.{key}") for key in columns], (18, 15, 16, 9, 11, 40), rows, 1.2)
    flow.space(4.0)


def _days(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    text = wording.text
    flow.heading(text("pulsed.day_heading"), 1, keep=80.0)
    rows = []
    for day in assessment.ultraviolet:
        sets = "\n".join(f"{name}: {ratio(value)}" for name, value in day.ratio_by_rule_set.items())
        result = text("pulsed.day_below" if day.below else "pulsed.day_above")
        rows.append(
            Row(
                (
                    [bold(day.person), tiny(f"{named(wording, 'tissue', day.tissue)}, {day.band}")],
                    [bold(ratio(day.ratio)), faint(sets)],
                    Part(result, TINY if day.below else TINY_BOLD),
                    tiny(unit_text("\n".join(day.visits))),
                )
            )
        )
    keys = ("day_person", "day_ratio", "day_result", "day_visits")
    flow.table([text(f"pulsed.{key}") for key in keys], (22, 18, 10, 50), rows, 1.5)
    flow.paragraph(text("pulsed.day_rule", rule=assessment.ultraviolet[0].rule), NOTE)
