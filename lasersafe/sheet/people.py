"""The tables that are signed: people, barriers, controls in place and what is missing, each line once."""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.drawing.values import duration, place, ratio, tidy
from lasersafe.records.barriers import BarrierLoad
from lasersafe.records.fields import badness
from lasersafe.results import Control, EyewearNeed, Scenario, unanswered
from lasersafe.sheet.flow import ITEM, NOTE, Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.front import by_barrier, load_cells, scatter_only, way_of
from lasersafe.sheet.references import joined
from lasersafe.sheet.tables import way_and_mode
from lasersafe.sheet.text import Style
from lasersafe.wording import CONTROL_KINDS, WAYS

AREA = (
    "name", "boundary", "interlock", "enable_switch", "emission_indicator", "emergency_stops", "watch_keeper",
    "stop_words", "briefing", "access_list", "alignment_slot", "fire_watch", "contact", "eye_clinic",
)  # fmt: skip
_RATIO = Style(8.5, bold=True)


def people(sheet: Sheet) -> None:
    """Print one row for each person: the worst way, what keeps it below, what to wear, for how long."""
    mine = sheet.assessment.counted
    sheet.begin("people.heading", keep=110.0, intro="people.intro", style=NOTE)
    persons = {one.person: one.role for one in sheet.assessment.scenarios}
    rows = [_person(name, role, [one for one in mine if one.person == name], sheet) for name, role in persons.items()]
    if rows:
        columns = {"person": 18, "worst": 24, "ratio": 10, "below": 24, "wear": 24}
        sheet.listing("people", columns, rows, 1.5)
    else:
        sheet.paragraph(sheet.text("scenarios.none"))


def _person(name: str, role: str, own: Sequence[Scenario], sheet: Sheet) -> Row:
    text = sheet.text
    who = bold(name), faint(sheet.named("role", role))
    needs = [need for need in sheet.assessment.eyewear if need.person == name]
    if not own:
        return row(who, tiny(text("people.nothing")), (), (), _wear(needs, sheet))
    open_ones = unanswered(own)
    worst = open_ones[0] if open_ones else max(own, key=lambda one: badness(one.ratio))
    at = text("people.at", distance=place(worst.distance, sheet.feet), duration=duration(worst.duration))
    laser = sheet.say(worst.laser)
    light = tiny(way_and_mode(worst, sheet)), faint(f"{laser}; {at}"), faint(sheet.references.by_key(worst.key))
    state = text("scenarios.below" if worst.below else "scenarios.above")
    keeps = [tiny(tidy(one)) for one in dict.fromkeys(s.answer for s in own if s.answer)]
    if open_ones:
        keeps.insert(0, strong(text("people.open", count=len(open_ones))))
    elif not keeps:
        keeps.append(tiny(text("people.distance")))
    times = Part(ratio(worst.ratio), _RATIO), faint(state)
    return row(who, light, times, keeps, _wear(needs, sheet), bar=bool(open_ones))


def _wear(needs: Sequence[EyewearNeed], sheet: Sheet) -> list[Part]:
    """Return what a person has to wear against each laser, and what to think of the pair that is worn."""
    text, found = sheet.text, []
    for need in needs:
        laser = "" if len({one.laser for one in needs}) < 2 else f"{need.laser}: "
        found.append(strong(laser + (need.marking if need.reliable else text("people.no_reliance"))))
        if need.verdict is not None:
            key = "people.worn_enough" if need.verdict.enough else "people.worn_not"
            found.append(faint(text(key, marking=need.verdict.text, verdict=need.verdict.verdict)))
    return found or [tiny(text("people.no_wear"))]


def barriers(sheet: Sheet) -> None:
    """Print one row for each barrier: the most that it must hold, its rating, and what it does not stop."""
    loads = by_barrier(sheet.assessment.decision.loads)
    sheet.begin("barriers.heading", keep=80.0)
    rows = [_barrier(name, own, sheet) for name, own in loads.items()]
    if rows:
        sheet.listing("barriers", {"barrier": 20, "needed": 16, "for": 17, "rating": 19, "not_held": 28}, rows, 1.5)
    else:
        sheet.paragraph(sheet.text("barriers.none"))


def _barrier(name: str, own: Sequence[BarrierLoad], sheet: Sheet) -> Row:
    text = sheet.text
    asked = [one for one in own if one.asked]
    first = next(iter(asked or own))
    needed, rated = load_cells(first, sheet)
    beaten = {way_of(one, sheet): one for one in reversed(own) if not one.stands}
    fails = [one for one in asked if not one.stands]
    result = [strong(text("barriers.fails" if fails else "barriers.holds"))]
    if scatter_only(name, sheet):
        result.append(strong(text("barriers.scatter_only")))
    for way, one in beaten.items():
        key = "say.times_its_rating" if one.factor > 1.0 else "say.not_held"
        result.append(tiny(text(key, way=way, factor=ratio(one.factor))))
    unasked = [sheet.named("way", way) for way in WAYS if way not in {one.way for one in asked}]
    if unasked and asked:
        result.append(faint(text("barriers.unasked", ways=", ".join(unasked))))
    return row(bold(name), needed, tiny(way_of(first, sheet)), rated, result, bar=bool(fails))


def controls(sheet: Sheet) -> None:
    """Print the controls in place, in their order, then what is missing: first what would change the verdict."""
    text, references = sheet.text, sheet.references
    sheet.begin("controls.heading", keep=70.0)
    chosen = [one for kind in CONTROL_KINDS for one in references.controls if one.in_place and one.kind == kind]
    rows = []
    for one in chosen:
        said = Part(one.text), faint(against(one, sheet))
        rows.append(row(tiny(references.control(one.text)), said, faint(text(f"controls.short_{one.kind}"))))
    if rows:
        sheet.listing("controls", {"number": 5, "text": 75, "kind": 20}, rows, 1.5)
    else:
        sheet.paragraph(text("controls.none"))
    _missing(sheet)
    _area(sheet)


def against(control: Control, sheet: Sheet) -> str:
    """Return what a control answers: its laser, ways of the light, persons."""
    ways = control.answers if set(control.answers) != set(WAYS) else ()
    parts = [sheet.text("controls.answers", answers=", ".join(sheet.named("way", way) for way in ways))] if ways else []
    parts += [sheet.text("inplace.persons", persons=", ".join(control.persons))] if control.persons else []
    return "; ".join([control.laser, *parts] if control.laser else parts)


def _missing(sheet: Sheet) -> None:
    """Print what is missing: controls without which the verdict is refused, answers, readings, lines not filled in."""
    text, references, record = sheet.text, sheet.references, sheet.assessment.record
    sheet.begin("missing.heading", 1, keep=30.0)
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in record.findings:
        key = "missing.alone" if one.eyewear_alone else "missing.control"
        groups.setdefault((key, one.person, one.laser), []).append(references.by_key(one.scenario))
    controlled = {one.scenario for one in record.findings}
    for left in unanswered(sheet.assessment.counted):
        if left.key not in controlled:
            group = ("missing.answer", left.person, sheet.say(left.laser))
            groups.setdefault(group, []).append(references.by_key(left.key))
    said = [
        text(key, person=person, laser=laser, numbers=joined(dict.fromkeys(numbers)))
        for (key, person, laser), numbers in groups.items()
    ]
    unread = [one.key for one in record.to_be_read if one.reading is None]
    said += [text("missing.readings", numbers=joined(unread))] if unread else []
    blank = [text(f"area.{key}") for key in AREA if not record.area.get(key)]
    said += [text("missing.area", fields=", ".join(blank))] if blank else []
    sheet.items(said or [text("missing.nothing")], ITEM)


def _area(sheet: Sheet) -> None:
    """Print what is stated of the laser controlled area, in two columns."""
    text, stated = sheet.text, sheet.assessment.record.area
    cells = [(bold(text(f"area.{key}")), Part(stated[key])) for key in AREA if stated.get(key)]
    if cells:
        sheet.begin("area.heading", 1, keep=40.0)
        half = (len(cells) + 1) // 2
        right = [*cells[half:], *[(note(""), note(""))] * (len(cells) % 2)]
        rows = [row(*one, *other) for one, other in zip(cells[:half], right, strict=True)]
        sheet.table((), (1, 2.2, 1, 2.2), rows, 1.2)
