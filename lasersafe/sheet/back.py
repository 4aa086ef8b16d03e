"""The lists behind the tables: controls, other hazards, cautions, differences, inputs, notes, sign-off."""

from __future__ import annotations

from lasersafe.errors import ReferenceDataError
from lasersafe.results import Assessment
from lasersafe.sheet.flow import BODY, NOTE, SMALL_BOLD, Box, Flow, Mark, Part, Path, Row, Text
from lasersafe.sheet.front import in_charge, named
from lasersafe.sheet.references import References, joined
from lasersafe.sheet.text import Style, tidy, unit_text, wrap
from lasersafe.sheet.values import number
from lasersafe.wording import CONTROL_KINDS, WAYS, HazardText, Wording

_ITEM = Style(9, after=2)
_TITLE = Style(9, True)
_SIGN_LABEL = Style(8, ink=0.2)


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
            flow.paragraph(control.text + tail, _ITEM, 28.0, references.control(control.text))


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
        rows.append(Row(([Part(hazard.title, _TITLE)], [Part(hazard.text, Style(8.5)), Part(source, NOTE)])))
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
        rows.append(Row(([Part(difference.what)], *values, [Part(difference.decided_by, SMALL_BOLD)])))
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
                [Part("" if line.line is None else str(line.line), NOTE)],
                [Part(line.field)],
                [Part(line.typed, SMALL_BOLD)],
                [Part(tidy(unit_text(line.used)))],
            )
        )
        for line in assessment.inputs
    ]
    flow.table([text(f"inputs.{key}") for key in ("line", "field", "typed", "used")], (6, 32, 36, 26), rows, 1.5)


def notes(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the notes of the assessment."""
    flow.heading(wording.text("notes.heading"), 0, keep=30.0)
    for note in assessment.notes:
        flow.paragraph(note, _ITEM, 12.0, "•")
    if not assessment.notes:
        flow.paragraph(wording.text("notes.none"), BODY)


def sign_off(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print one box per role with name, role, date and signature."""
    text = wording.text
    intro = wrap(text("sign_off.intro"), BODY, flow.width)
    boxes = [_SignBox(role, assessment, wording, flow.width) for role in wording.roles]
    tall = sum(box.height + 6.0 for box in boxes) + len(intro) * BODY.leading + 6.0
    flow.heading(text("sign_off.heading"), 0, keep=min(tall, flow.full * 0.8))
    flow.paragraph(text("sign_off.intro"), BODY)
    for box in boxes:
        flow.figure(box.height, box.draw)
        flow.space(6.0)


class _SignBox:
    """Room for one signature."""

    def __init__(self, role: str, assessment: Assessment, wording: Wording, width: float) -> None:
        self.wording = wording
        self.width = width
        self.role = wording.roles[role]
        self.person = in_charge(assessment, wording).get(self.role, "")
        self.declares = wrap(wording.declarations[role], Style(8.5), width - 16.0)
        self.name = wrap(self.person, Style(10, True), width * 0.5 - 24.0)
        self.title = wrap(self.role, Style(10, True), width * 0.5 - 24.0)
        self.upper = max(len(self.name), len(self.title), 1) * 12.5
        self.height = len(self.declares) * Style(8.5).leading + self.upper + 68.0

    def draw(self, marks: list[Mark], left: float, top: float) -> None:
        """Draw the box."""
        text = self.wording.text
        marks.append(Box(left, top - self.height, self.width, self.height, ink=0.0, thick=0.8))
        x, half = left + 8.0, left + self.width * 0.5 + 8.0
        y = top - 4.0
        for line in self.declares:
            y -= Style(8.5).leading
            marks.extend(Text(x + piece.x, y + 2.0, piece.text, piece.size, Style(8.5).font) for piece in line)
        y -= 14.0
        for start, label, lines in ((x, "name", self.name), (half, "role", self.title)):
            marks.append(Text(start, y, text(f"sign_off.{label}"), 8, _SIGN_LABEL.font, 0.25))
            base = y
            for line in lines:
                base -= 12.5
                marks.extend(Text(start + piece.x, base, piece.text, 10, Style(10, True).font) for piece in line)
            foot = y - self.upper - 3.5
            marks.append(Path(((start, foot), (start + self.width * 0.5 - 24.0, foot)), 0.0, 0.6))
        y -= self.upper + 14.0
        foot = top - self.height + 7.0
        for start, label in ((x, "date"), (half, "signature")):
            marks.append(Text(start, y, text(f"sign_off.{label}"), 8, _SIGN_LABEL.font, 0.25))
            marks.append(Path(((start, foot), (start + self.width * 0.5 - 24.0, foot)), 0.0, 0.6))
