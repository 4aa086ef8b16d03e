"""The lists behind the tables, and what is filled in on the day: controls, area, readings, cautions, inputs."""

from __future__ import annotations

from lasersafe.errors import ReferenceDataError
from lasersafe.results import Expected
from lasersafe.sheet.flow import ITEM, NOTE, Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.references import joined
from lasersafe.sheet.text import Style, tidy, unit_text, wrap
from lasersafe.sheet.values import number, place, quantity
from lasersafe.wording import CONTROL_KINDS, WAYS

AREA = (
    "name", "boundary", "interlock", "enable_switch", "emission_indicator", "emergency_stops", "watch_keeper",
    "stop_words", "briefing", "access_list", "alignment_slot", "fire_watch", "contact", "eye_clinic",
)  # fmt: skip
_TITLE = Style(9, True)


def controls(sheet: Sheet) -> None:
    """Print the controls in the order substitute, technical, organisational, personal, then what they leave open."""
    text, references = sheet.text, sheet.references
    sheet.begin("controls.heading")
    others = sorted({control.kind for control in references.controls} - set(CONTROL_KINDS))
    for kind in (*CONTROL_KINDS, *others):
        sheet.heading(sheet.named("controls", kind), 2, keep=30.0, outline=False)
        chosen = [control for control in references.controls if control.kind == kind]
        if not chosen:
            sheet.paragraph(text("controls.none_of_kind"), NOTE, 24.0)
        for control in chosen:
            said = text("controls.in_place", text=control.text) if control.in_place else control.text
            ways = control.answers if set(control.answers) != set(WAYS) else ()
            answers = joined(references.by_key(sheet.named("way", way)) for way in ways)
            said += f" ({text('controls.answers', answers=answers)})" if answers else ""
            persons = text("inplace.persons", persons=", ".join(control.persons)) if control.persons else ""
            said += f" ({persons})" if persons else ""
            sheet.paragraph(said, ITEM, 28.0, references.control(control.text))
    if sheet.assessment.scenarios:
        _control_findings(sheet)


def _control_findings(sheet: Sheet) -> None:
    """Print which scenarios above the limit no substitute or technical control in place answers."""
    sheet.begin("inplace.findings", 1, keep=40.0)
    findings = sheet.assessment.record.findings
    sheet.paragraph(sheet.text("inplace.findings_intro" if findings else "inplace.no_findings"))
    sheet.items(
        [
            sheet.text(
                "inplace.finding_alone" if finding.eyewear_alone else "inplace.finding",
                scenario=sheet.references.by_key(finding.scenario),
                person=finding.person,
                way=sheet.named("way", finding.way),
                tissue=sheet.named("tissue", finding.tissue),
                laser=finding.laser,
            )
            for finding in findings
        ]
    )


def area(sheet: Sheet) -> None:
    """Print the laser controlled area; what is not stated is a line to fill in."""
    text, stated = sheet.text, sheet.assessment.record.area
    sheet.begin("area.heading", keep=150.0, intro="area.intro")
    rows = [row(bold(text(f"area.{key}")), Part(stated.get(key, "") or text("area.blank"))) for key in AREA]
    sheet.table((), (1, 3.2), rows, 4.0)


def other_hazards(sheet: Sheet) -> None:
    """Print the hazards that do not come from the beam, each with its source."""
    sheet.begin("hazards.heading")
    rows = []
    for key in sheet.assessment.other_hazards:
        try:
            hazard = sheet.wording.other_hazard(key)
        except ReferenceDataError as error:
            message = f"{error}; the assessment asks for this hazard"
            raise ReferenceDataError(message) from None
        source = sheet.text("hazards.source", source=hazard.source, mark=sheet.named("seen", hazard.seen))
        rows.append(row(Part(hazard.title, _TITLE), (Part(hazard.text, Style(8.5)), note(source))))
    if rows:
        sheet.table((), (1, 3.6), rows)
    else:
        sheet.paragraph(sheet.text("hazards.none"))


def acceptance(sheet: Sheet) -> None:
    """Print the expected readings with room for what was read, or with the readings of the case."""
    found = sheet.assessment.record
    intro = "acceptance.intro" if found.expected else "acceptance.none"
    sheet.begin("acceptance.heading", keep=110.0, intro=intro)
    if found.expected:
        columns = {"key": 6, "effect": 26, "way": 24, "place": 10, "expected": 14, "range": 14}
        rows = [_expected(one, sheet) for one in found.to_be_read]
        sheet.listing("acceptance", {**columns, "reading": 19, "instrument": 22}, rows, 3.0)


def _expected(one: Expected, sheet: Sheet) -> Row:
    text = sheet.text
    reading = instrument = [Part(" ", Style(9))]
    if one.reading is not None:
        got = one.reading
        state = "above" if got.above else "low" if got.low else "within"
        share, upper = f"{got.uncertainty * 100.0:.3g}", quantity(got.upper, one.unit, 3, "up")
        value = text("acceptance.value", typed=got.typed, uncertainty=share, upper=upper)
        reading = [bold(text(f"acceptance.{state}")), tiny(tidy(value))]
        instrument = [tiny(got.instrument), faint(got.note)]
    return row(
        tiny(one.key),
        (tiny(text(f"acceptance.{one.what}")), strong(one.where)),
        (tiny(sheet.named("way", one.way)), faint(f"{one.laser}: {one.setup}")),
        tiny(place(one.distance, sheet.feet)),
        bold(quantity(one.value, one.unit, 3, "down")),
        faint(quantity(one.low, one.unit, 2, "down")),
        reading,
        instrument,
        below=faint(unit_text(one.numbers)) if one.numbers else (),
        bar=one.reading is not None and one.reading.above,
    )


def cautions(sheet: Sheet) -> None:
    """Print the cautions and the deference to law and to the laser safety officer."""
    sheet.begin("cautions.heading")
    sheet.paragraph(sheet.wording.caution_short, Style(9, True, after=4))
    for caution in sheet.wording.cautions:
        lines = wrap(caution.text, ITEM, sheet.width)
        sheet.need(_TITLE.leading + min(len(lines), 6) * ITEM.leading)
        sheet.paragraph(caution.title, _TITLE)
        sheet.paragraph(caution.text, ITEM)


def review(sheet: Sheet) -> None:
    """Print until when the sheet holds, and what ends it earlier."""
    text, record = sheet.text, sheet.assessment.record
    sheet.begin("review.heading", keep=60.0)
    sheet.paragraph(text("review.expires", day=record.review_by or text("facts.not_stated")))
    sheet.items([line.text for line in sheet.wording.day_lines("review", record.conditions)])


def differences(sheet: Sheet) -> None:
    """Print where the rule sets differ, or nothing."""
    found = sheet.assessment.differences
    if not found:
        return
    sheet.begin("differences.heading", intro="differences.intro")
    names = list(dict.fromkeys(name for difference in found for name in difference.values))
    rows = []
    for one in found:
        unit = "" if one.unit == "1" else f"\u00a0{unit_text(one.unit)}"
        values = [Part(number(one.values[name], 4) + unit if name in one.values else "–") for name in names]
        rows.append(row(Part(one.what), *values, bold(one.decided_by)))
    header = [sheet.text("differences.what"), *names, sheet.text("differences.decided")]
    sheet.table(header, (34, *[40 / max(len(names), 1)] * len(names), 26), rows)


def inputs(sheet: Sheet) -> None:
    """Print each input as typed, and what it became."""
    lines = sheet.assessment.inputs
    sheet.begin("inputs.heading", intro="" if lines else "sheet.none")
    rows = []
    for one in lines:
        where = note("" if one.line is None else str(one.line))
        rows.append(row(where, Part(one.field), bold(one.typed), Part(tidy(unit_text(one.used)))))
    if rows:
        sheet.listing("inputs", {"line": 6, "field": 32, "typed": 36, "used": 26}, rows, 1.5)


def notes(sheet: Sheet) -> None:
    """Print the notes of the assessment."""
    found = sheet.assessment.notes
    sheet.begin("notes.heading", keep=30.0, intro="" if found else "notes.none")
    sheet.items(found)
