"""The parts of a sheet that are filled in on the day: area, findings on controls, acceptance test, review triggers."""

from __future__ import annotations

from lasersafe.results import Assessment, ControlFinding, Expected
from lasersafe.sheet.flow import BODY, Flow, Part, Row, bold, faint, strong, tiny
from lasersafe.sheet.front import named
from lasersafe.sheet.references import References
from lasersafe.sheet.text import Style, tidy, unit_text
from lasersafe.sheet.values import place, quantity
from lasersafe.wording import Wording

AREA = (
    "name",
    "boundary",
    "interlock",
    "enable_switch",
    "emission_indicator",
    "emergency_stops",
    "watch_keeper",
    "stop_words",
    "briefing",
    "access_list",
    "alignment_slot",
    "fire_watch",
    "contact",
    "eye_clinic",
)
_ITEM = Style(9, after=2)


def control_findings(flow: Flow, assessment: Assessment, wording: Wording, references: References) -> None:
    """Print which scenarios above the limit no substitute or technical control in place answers."""
    text = wording.text
    if not assessment.scenarios:
        return
    flow.heading(text("inplace.findings"), 1, keep=40.0)
    if not assessment.record.findings:
        flow.paragraph(text("inplace.no_findings"), BODY)
        return
    flow.paragraph(text("inplace.findings_intro"), BODY)
    for finding in assessment.record.findings:
        flow.paragraph(_finding(finding, wording, references), _ITEM, 12.0, "•")


def _finding(finding: ControlFinding, wording: Wording, references: References) -> str:
    return wording.text(
        "inplace.finding_alone" if finding.eyewear_alone else "inplace.finding",
        scenario=references.by_key(finding.scenario),
        person=finding.person,
        way=named(wording, "way", finding.way),
        tissue=named(wording, "tissue", finding.tissue),
        laser=finding.laser,
    )


def area(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the laser controlled area; what is not stated is a line to fill in."""
    text = wording.text
    flow.heading(text("area.heading"), 0, keep=150.0)
    flow.paragraph(text("area.intro"), BODY)
    blank = text("area.blank")
    rows = [Row((bold(text(f"area.{key}")), Part(assessment.record.area.get(key, "") or blank))) for key in AREA]
    flow.table((), (1, 3.2), rows, 4.0)


def acceptance(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the expected readings with room for what was read, or with the readings of the case."""
    text = wording.text
    flow.heading(text("acceptance.heading"), 0, keep=110.0)
    if not assessment.record.expected:
        flow.paragraph(text("acceptance.none"), BODY)
        return
    flow.paragraph(text("acceptance.intro"), BODY)
    keys = ("key", "effect", "way", "place", "expected", "range", "reading", "instrument")
    rows = [_expected(row, wording, assessment) for row in assessment.record.to_be_read]
    flow.table([text(f"acceptance.{key}") for key in keys], (6, 26, 24, 10, 14, 14, 19, 22), rows, 3.0)


def _expected(row: Expected, wording: Wording, assessment: Assessment) -> Row:
    text = wording.text
    reading = [Part(" ", Style(9))]
    instrument = [Part(" ", Style(9))]
    if row.reading is not None:
        got = row.reading
        state = "above" if got.above else "low" if got.low else "within"
        value = text(
            "acceptance.value",
            typed=got.typed,
            uncertainty=f"{got.uncertainty * 100.0:.3g}",
            upper=quantity(got.upper, row.unit, 3, "up"),
        )
        reading = [bold(text(f"acceptance.{state}")), tiny(tidy(value))]
        instrument = [tiny(got.instrument), faint(got.note)]
    return Row(
        (
            tiny(row.key),
            [tiny(text(f"acceptance.{row.what}")), strong(row.where)],
            [tiny(named(wording, "way", row.way)), faint(f"{row.laser}: {row.setup}")],
            tiny(place(row.distance, assessment.units == "metric and feet")),
            bold(quantity(row.value, row.unit, 3, "down")),
            faint(quantity(row.low, row.unit, 2, "down")),
            reading,
            instrument,
        ),
        [faint(unit_text(row.numbers))] if row.numbers else (),
        bar=row.reading is not None and row.reading.above,
    )


def review(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print until when the sheet holds, and what ends it earlier."""
    text = wording.text
    flow.heading(text("review.heading"), 0, keep=60.0)
    flow.paragraph(text("review.expires", day=assessment.record.review_by or text("facts.not_stated")), BODY)
    for line in wording.day_lines("review", assessment.record.conditions):
        flow.paragraph(line.text, _ITEM, 12.0, "•")
