"""The lists behind the tables, and what is filled in on the day: controls, area, readings, cautions, inputs."""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.drawing.values import in_unit, number, place, quantity, spoken, tidy, unit_text
from lasersafe.errors import ReferenceDataError, refuse
from lasersafe.results import Expected
from lasersafe.sheet.flow import ITEM, NOTE, SMALL, TINY, Cell, Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.shown import at_place
from lasersafe.sheet.tables import against
from lasersafe.sheet.text import Style, joined
from lasersafe.wording import CONTROL_KINDS, CautionText, HazardText

_MOST_ROWS = 12  # readings, from which on the lesser ones of a place stand in the annex
_IN_ANNEX = ("from memory", "review")  # cautions on marks of sources, and what the review triggers say already


def proposals(sheet: Sheet) -> None:
    """Print the controls that nobody chose, in the order substitute, technical, organisational, personal."""
    references = sheet.references
    sheet.begin("proposals.heading", intro="proposals.intro")
    for kind in CONTROL_KINDS:
        rest = [control for control in references.controls if control.kind == kind and not control.in_place]
        if rest:
            sheet.heading(sheet.named("controls", kind), 2, keep=30.0, outline=False)
        for control in rest:
            why = against(control, sheet)
            said = f"{control.text} ({why})" if why else control.text
            sheet.paragraph(said, ITEM, 28.0, references.control(control.text))


def other_hazards(sheet: Sheet) -> None:
    """Print the hazards that do not come from the beam."""
    sheet.begin("hazards.heading", keep=75.0)
    rows = [row(strong(hazard.title), tiny(hazard.text)) for hazard in _hazards(sheet)]
    if rows:
        sheet.table((), (1, 4.6), rows, 0.6)
    else:
        sheet.paragraph(sheet.text("hazards.none"))


def hazard_sources(sheet: Sheet) -> None:
    """Print where what is said of each other hazard comes from."""
    found = _hazards(sheet)
    if found:
        sheet.begin("hazards.sources", keep=40.0)
        rows = []
        for hazard in found:
            source = sheet.text("hazards.source", source=hazard.source, mark=sheet.named("seen", hazard.seen))
            rows.append(row(bold(hazard.title), note(source)))
        sheet.table((), (1, 3.6), rows, 1.2)


def _hazards(sheet: Sheet) -> list[HazardText]:
    found = []
    for key in sheet.assessment.other_hazards:
        try:
            found.append(sheet.wording.other_hazard(key))
        except ReferenceDataError as error:
            refuse(f"{error}; the assessment asks for this hazard", ReferenceDataError)
    return found


def acceptance(sheet: Sheet) -> None:
    """Print the expected readings with room for what was read, or with the readings of the case.

    Where they are many, only the highest of each place stands here, of scatter and of all else, and what was read.
    """
    here, others = _readings(sheet)
    sheet.begin("acceptance.heading", keep=110.0, intro="acceptance.intro" if here else "acceptance.none")
    if others:
        sheet.paragraph(sheet.text("acceptance.others", keys=joined([one.key for own in others for one in own])))
    _listed(here, sheet)


def _readings(sheet: Sheet) -> tuple[list[list[Expected]], list[list[Expected]]]:
    """Return the readings of the sheet, and those of the annex; what is expected alike at one place is a row."""
    alike: dict[object, list[Expected]] = {}
    for one in sheet.assessment.record.to_be_read:
        there = (one.what, one.where, one.laser, one.place, one.distance, one.value, one.low)
        alike.setdefault(one.key if one.reading else there, []).append(one)
    rows, highest = list(alike.values()), dict[object, float]()
    if len(rows) <= _MOST_ROWS:
        return rows, []

    def kind(one: Expected) -> object:
        return one.what, one.where, one.laser, one.way == "scatter" and one.what in ("power", "pulse energy")

    for one, *_ in rows:
        highest[kind(one)] = max(highest.get(kind(one), 0.0), one.value)
    first = [own[0].reading is not None or own[0].value >= highest[kind(own[0])] for own in rows]
    here, others = ([own for own, top in zip(rows, first, strict=True) if top is wanted] for wanted in (True, False))
    return here, others


def _listed(rows: Sequence[Sequence[Expected]], sheet: Sheet) -> None:
    if rows:
        columns = {"key": 6, "effect": 37, "way": 25, "place": 10, "expected": 14, "range": 13}
        columns |= {"reading": 18, "instrument": 18}
        sheet.listing("acceptance", columns, [_expected(own, sheet) for own in rows], 1.2)


def _expected(own: Sequence[Expected], sheet: Sheet) -> Row:
    text, one = sheet.text, own[0]
    reading: Cell = Part(" ", Style(8.5))
    instrument: Cell = ()
    if one.reading is not None:
        got = one.reading
        state = "above" if got.above else "low" if got.low else "within"
        share, upper = spoken(f"{got.uncertainty * 100.0:.3g}"), quantity(got.upper, one.unit, 3, "up")
        value = text("acceptance.value", typed=spoken(unit_text(got.typed)), uncertainty=share, upper=upper)
        reading = bold(text(f"acceptance.{state}")), tiny(tidy(value))
        instrument = tiny(got.instrument), faint(got.note)
    shown = in_unit if one.unit == "W/m2" else quantity  # as the limits and the loads of barriers
    aimed = () if one.place is None else (faint(at_place(one.place, sheet)),)
    lasers = {laser.name for laser in sheet.assessment.record.lasers}
    way = "; ".join(dict.fromkeys(sheet.named("way", each.way) for each in own))
    return row(
        tiny(joined([each.key for each in own])),
        (tiny(text("acceptance.what_where", what=text(f"acceptance.short_{one.what}"), where=one.where)), *aimed),
        tiny(way if len(lasers) < 2 else f"{one.laser}: {way}"),
        tiny("" if aimed else place(one.distance, sheet.feet)),
        strong(shown(one.value, one.unit, 3, "down")),
        faint(shown(one.low, one.unit, 2, "down")),
        reading,
        instrument,
        bar=one.reading is not None and one.reading.above,
    )


def expected(sheet: Sheet) -> None:
    """Print how the expected readings were worked out."""
    found, (_, others) = [one for one in sheet.assessment.record.expected if one.numbers], _readings(sheet)
    if others:
        sheet.begin("acceptance.others_heading", keep=80.0)
        _listed(others, sheet)
    if found:
        sheet.begin("acceptance.worked_out")
        sheet.table(
            (), (1, 12), [row(bold(one.key), Part(spoken(unit_text(one.numbers)), formula=True)) for one in found], 1.2
        )


def cautions(sheet: Sheet) -> None:
    """Print the cautions; the short one, which defers to law and to the laser safety officer, stands on page 1."""
    sheet.begin("cautions.heading", keep=75.0)
    sheet.table((), (1, 4.6), [row(strong(one.title), tiny(one.text)) for one in _cautions(sheet, False)], 0.6)


def marks(sheet: Sheet) -> None:
    """Print the cautions on what stands in the annex alone."""
    for one in _cautions(sheet, True):
        sheet.paragraph(f"{one.title}: {one.text}", NOTE)


def _cautions(sheet: Sheet, annex: bool) -> list[CautionText]:
    return [one for one in sheet.wording.cautions if (one.key in _IN_ANNEX) == annex]


def review(sheet: Sheet) -> None:
    """Print until when the sheet holds, and what ends it earlier."""
    text, record = sheet.text, sheet.assessment.record
    sheet.begin("review.heading", keep=30.0)
    sheet.paragraph(text("review.expires", day=record.review_by or text("facts.not_stated")), SMALL)
    lines = [line.text for line in sheet.wording.day_lines("review", record.conditions)]
    sheet.paragraph("  •  ".join(["", *lines]).strip(), TINY)


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
    """Print each input as typed, and what it became; where the scene has something nearer than typed, that too."""
    found, lines = sheet.assessment, sheet.assessment.inputs
    typed = {one.field: one.typed for one in lines}
    nearer = {("barrier", one.barrier): one.distance for one in found.barriers}
    nearer |= {("person", one.person): one.distance for one in found.eyewear if one.distance is not None}
    sheet.begin("inputs.heading", intro="" if lines else "sheet.none")
    rows = []
    for one in lines:
        where = note("" if one.line is None else str(one.line))
        used = spoken(tidy(unit_text(one.used)))
        there = nearer.get((one.field.partition("[")[0], typed.get(one.field.replace(".distance", ".name"), "")))
        if found.scene is not None and one.field.endswith("].distance") and there and place(there) != used:
            used = sheet.text("inputs.in_scene", used=used, distance=place(there))
        rows.append(row(where, Part(one.field), bold(one.typed), Part(used)))
    if rows:
        sheet.listing("inputs", {"line": 6, "field": 32, "typed": 36, "used": 26}, rows, 1.5)


def notes(sheet: Sheet) -> None:
    """Print the notes of the assessment."""
    found = sheet.assessment.notes
    sheet.begin("notes.heading", keep=30.0, intro="" if found else "notes.none")
    sheet.items(found)
