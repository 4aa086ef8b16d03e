"""The lists behind the tables: controls, other hazards, cautions, differences, inputs, notes."""

from __future__ import annotations

from lasersafe.errors import ReferenceDataError
from lasersafe.results import Assessment
from lasersafe.sheet.flow import BODY, NOTE, Flow, Part, Row, bold, note
from lasersafe.sheet.front import named
from lasersafe.sheet.references import References, joined
from lasersafe.sheet.text import Style, tidy, unit_text, wrap
from lasersafe.sheet.values import number
from lasersafe.wording import CONTROL_KINDS, WAYS, HazardText, Wording

_ITEM = Style(9, after=2)
_TITLE = Style(9, True)


def controls(flow: Flow, wording: Wording, references: References) -> None:
    """Print the controls in the order substitute, technical, organisational, personal."""
    text = wording.text
    flow.heading(text("controls.heading"), 0)
    others = sorted({control.kind for control in references.controls} - set(CONTROL_KINDS))
    for kind in (*CONTROL_KINDS, *others):
        flow.heading(named(wording, "controls", kind), 2, keep=30.0, outline=False)
        chosen = [control for control in references.controls if control.kind == kind]
        if not chosen:
            flow.paragraph(text("controls.none_of_kind"), NOTE, 24.0)
        for control in chosen:
            ways = control.answers if set(control.answers) != set(WAYS) else ()
            answers = joined(references.by_key(named(wording, "way", way)) for way in ways)
            tail = f" ({text('controls.answers', answers=answers)})" if answers else ""
            if control.persons:
                persons = text("inplace.persons", persons=", ".join(control.persons))
                tail += f" ({persons})"
            said = text("controls.in_place", text=control.text) if control.in_place else control.text
            flow.paragraph(said + tail, _ITEM, 28.0, references.control(control.text))


def other_hazards(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the hazards that do not come from the beam, each with its source."""
    text = wording.text
    flow.heading(text("hazards.heading"), 0)
    if not assessment.other_hazards:
        flow.paragraph(text("hazards.none"), BODY)
        return
    rows = []
    for key in assessment.other_hazards:
        hazard = _hazard(wording, key)
        source = text("hazards.source", source=hazard.source, mark=named(wording, "seen", hazard.seen))
        rows.append(Row((Part(hazard.title, _TITLE), [Part(hazard.text, Style(8.5)), note(source)])))
    flow.table((), (1, 3.6), rows)


def _hazard(wording: Wording, key: str) -> HazardText:
    try:
        return wording.other_hazard(key)
    except ReferenceDataError as error:
        message = f"{error}; the assessment asks for this hazard"
        raise ReferenceDataError(message) from None


def cautions(flow: Flow, wording: Wording) -> None:
    """Print the cautions and the deference to law and to the laser safety officer."""
    flow.heading(wording.text("cautions.heading"), 0)
    flow.paragraph(wording.caution_short, Style(9, True, after=4))
    for caution in wording.cautions:
        lines = wrap(caution.text, _ITEM, flow.width)
        flow.need(_TITLE.leading + min(len(lines), 6) * _ITEM.leading)
        flow.paragraph(caution.title, _TITLE)
        flow.paragraph(caution.text, _ITEM)


def differences(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print where the rule sets differ, or nothing."""
    if not assessment.differences:
        return
    text = wording.text
    flow.heading(text("differences.heading"), 0)
    flow.paragraph(text("differences.intro"), BODY)
    names = list(dict.fromkeys(name for difference in assessment.differences for name in difference.values))
    rows = []
    for difference in assessment.differences:
        unit = "" if difference.unit == "1" else f"\u00a0{unit_text(difference.unit)}"
        values = [
            [Part(number(difference.values[name], 4) + unit if name in difference.values else "–")] for name in names
        ]
        rows.append(Row((Part(difference.what), *values, bold(difference.decided_by))))
    header = [text("differences.what"), *names, text("differences.decided")]
    flow.table(header, (34, *[40 / max(len(names), 1)] * len(names), 26), rows)


def inputs(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print each input as typed, and what it became."""
    text = wording.text
    flow.heading(text("inputs.heading"), 0)
    if not assessment.inputs:
        flow.paragraph(text("sheet.none"), BODY)
        return
    rows = [
        Row(
            (
                note("" if line.line is None else str(line.line)),
                Part(line.field),
                bold(line.typed),
                Part(tidy(unit_text(line.used))),
            )
        )
        for line in assessment.inputs
    ]
    flow.table([text(f"inputs.{key}") for key in ("line", "field", "typed", "used")], (6, 32, 36, 26), rows, 1.5)


def notes(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the notes of the assessment."""
    flow.heading(wording.text("notes.heading"), 0, keep=30.0)
    flow.items(assessment.notes)
    if not assessment.notes:
        flow.paragraph(wording.text("notes.none"), BODY)
