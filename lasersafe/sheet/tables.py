"""The tables of people, barriers and controls that are signed; scenarios, eyewear and loads behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from lasersafe.drawing.text import density, duration, in_unit, number, place, ratio, spoken, tidy, wavelength
from lasersafe.records import EyewearNeed, badness
from lasersafe.results import Control, Scenario, unanswered
from lasersafe.sheet.flow import Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.front import answers_of, barrier_row, by_barrier, rating_of, way_of
from lasersafe.sheet.text import ITEM, NOTE, SHADE, Footnotes, Style, joined
from lasersafe.wording import CONTROL_KINDS, WAYS, inner, key_of

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
    columns = {"person": 18, "worst": 21, "ratio": 11, "below": 24, "wear": 26}
    sheet.listing("people", columns, rows, 1.5, "scenarios.none")


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
    keeps = [tiny(tidy(one)) for one in answers_of(own, sheet)]
    if open_ones:
        key = "people.open_one" if len(open_ones) == 1 else "people.open"
        keeps.insert(0, strong(text(key, count=len(open_ones))))
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
    sheet.begin("barriers.heading", keep=60.0)
    rows = []
    for name, own in loads.items():
        not_held, alike = [], dict[tuple[str, str], list[str]]()
        for one in {one.way: one for one in reversed(own) if not one.stands}.values():  # the highest of each way
            above = one.factor > 1.0
            said = ratio(one.factor) if above else verdict_of(one.holds, one.verdict, sheet)[1]
            alike.setdefault(("say.times_its_rating" if above else "say.not_held", said), []).append(way_of(one, sheet))
        for (key, said), ways in alike.items():
            not_held.append(tiny(sheet.text(key, way=", ".join(ways), factor=said)))
            not_held += [] if key == "say.times_its_rating" else [faint(said)]
        asked = {one.way for one in own if one.asked}
        unasked = ", ".join(sheet.named("way", way) for way in WAYS if asked and way not in asked)
        not_held += [faint(sheet.text("barriers.unasked", ways=unasked))] if unasked else []
        rows.append(barrier_row(name, own, sheet, not_held))
    columns = {"barrier": 20, "needed": 16, "for": 17, "rating": 19, "not_held": 28}
    sheet.listing("barriers", columns, rows, 1.5, "barriers.none")


def controls(sheet: Sheet) -> None:
    """Print the controls in place, in their order, then what is missing: first what would change the verdict."""
    text, references = sheet.text, sheet.references
    sheet.begin("controls.heading", keep=70.0)
    chosen = [one for kind in CONTROL_KINDS for one in references.controls if one.in_place and one.kind == kind]
    rows = []
    for one in chosen:
        said = Part(one.text), faint(against(one, sheet))
        rows.append(row(tiny(references.control(one.text)), said, faint(text(f"controls.short_{one.kind}"))))
    sheet.listing("controls", {"number": 5, "text": 75, "kind": 20}, rows, 1.5, "controls.none")
    _missing(sheet)
    stated = sheet.assessment.record.area  # in two columns
    cells = [(strong(text(f"area.{key}")), tiny(stated[key])) for key in AREA if stated.get(key)]
    if cells:
        sheet.begin("area.heading", 1, keep=40.0)
        half = (len(cells) + 1) // 2
        right = [*cells[half:], *[(tiny(""), tiny(""))] * (len(cells) % 2)]
        rows = [row(*one, *other) for one, other in zip(cells[:half], right, strict=True)]
        sheet.table((), (1.45, 1.75, 1.45, 1.75), rows, 1.2)


def against(control: Control, sheet: Sheet) -> str:
    """Return what a control answers: its laser, ways of the light, persons; of one in place every way too."""
    every = set(control.answers) == set(WAYS)
    ways = [] if every else [sheet.named("way", way) for way in control.answers]
    ways += [sheet.text("controls.every_way")] if every and control.in_place else []
    parts = [sheet.text("controls.answers", answers=", ".join(ways))] if ways else []
    parts += [sheet.text("inplace.persons", persons=", ".join(control.persons))] if control.persons else []
    return "; ".join([control.laser, *parts] if control.laser else parts)


def _missing(sheet: Sheet) -> None:
    """Print what is missing: controls without which the verdict is refused, answers, readings, lines not filled in."""
    text, references, record = sheet.text, sheet.references, sheet.assessment.record
    sheet.begin("missing.heading", 1, keep=30.0)
    left = [
        ("alone" if one.eyewear_alone else "control", one.person, one.laser, one.scenario) for one in record.findings
    ]
    controlled = {one.scenario for one in record.findings}
    rest = [one for one in unanswered(sheet.assessment.counted) if one.key not in controlled]
    left += [("answer", one.person, sheet.say(one.laser), one.key) for one in rest]
    groups: dict[str, dict[str, dict[str, list[str]]]] = {}  # by what is missing, person and laser
    for key, person, laser, scenario in left:
        groups.setdefault(key, {}).setdefault(person, {}).setdefault(laser, []).append(references.by_key(scenario))
    said = []
    for key, persons in groups.items():
        who = (
            f"{person} ({'; '.join(f'{laser}: {joined(dict.fromkeys(own))}' for laser, own in lasers.items())})"
            for person, lasers in persons.items()
        )
        said.append(text(f"missing.{key}", who=", ".join(who)))
    unread = [one.key for one in record.to_be_read if one.reading is None]
    said += [text("missing.readings", numbers=joined(unread))] if unread else []
    blank = [text(f"area.{key}") for key in AREA if not record.area.get(key)]
    said += [text("missing.area", fields=", ".join(blank))] if blank else []
    sheet.items(said or [text("missing.nothing")], ITEM)


_STRONG = Style(9, True)
_TIMES = Style(7.5, True, spacing=1.12)
_GROUPS = ("fitted", "not_fitted", "left_out", "no_aid")


def scenarios(sheet: Sheet) -> None:
    """Print one row per scenario: fitted set-ups, then the others, then what is left out; each by its ratio."""
    assessment, text = sheet.assessment, sheet.text
    sheet.begin("scenarios.heading", keep=110.0)
    if not assessment.scenarios:
        sheet.paragraph(text("scenarios.none"))
        return
    sheet.paragraph(text("scenarios.intro"), NOTE)
    fitted = {(setup.laser, setup.setup) for setup in assessment.setups if setup.fitted}

    def group(scenario: Scenario) -> str:
        if scenario.struck_out:
            return "no_aid" if key_of(scenario.struck_out) == "struck.no_aid" else "left_out"
        return "fitted" if scenario.way == "together" or (scenario.laser, scenario.setup) in fitted else "not_fitted"

    reasons, rows = Footnotes("t"), []
    ordered = sorted(
        assessment.scenarios, key=lambda scenario: _GROUPS.index(group(scenario))
    )  # keeps the order inside
    for name, members in groupby(ordered, group):
        rows.append(row(below=strong(text(f"scenarios.{name}")), shade=SHADE, keep=30.0))
        rows += [_scenario(scenario, sheet, reasons) for scenario in members]
    columns = {"number": 6.2, "ratio": 13.4, "result": 10.5, "person": 20.5, "way": 21, "laser": 19.5, "distance": 9.5}
    sheet.listing("scenarios", {**columns, "duration": 9, "exposure": 13, "limit": 12.5}, rows, 1.5)
    sheet.footnotes({text("scenarios.reason", reason=reason): label for reason, label in reasons.texts.items()})


def way_and_mode(found: Scenario, sheet: Sheet) -> str:
    """Return the way and the tissue of a scenario in words, with the mode where it is not running."""
    way = f"{sheet.named('way', found.way)}, {sheet.named('tissue', found.tissue)}"
    if "running" in found.modes:
        return way
    return sheet.text("sources.mode", mode=", ".join(map(sheet.say, found.modes)), way=way)


def _scenario(found: Scenario, sheet: Sheet, reasons: Footnotes) -> Row:
    text, references = sheet.text, sheet.references
    result = tiny(text("scenarios.below")) if found.below else strong(text("scenarios.above"))
    time, unit = duration(found.duration), found.exposure_unit
    if found.duration_reason:
        time = f"{time}\u00a0{reasons.mark(found.duration_reason)}"
    below = [faint(text("scenarios.surface", surface=found.surface))] if found.surface else []
    below += [faint(text("scenarios.struck_out", reason=found.struck_out))] if found.struck_out else []
    below += [strong(text("scenarios.answer", answer=found.answer))] if found.answer else []
    limit, exposure = number(found.limit, 3, "down"), number(found.exposure, 3, "up")
    if unit not in ("", "1"):  # a sum of ratios has none
        limit, exposure = in_unit(found.limit, unit, 3, "down"), in_unit(found.exposure, unit, 3, "up")
    return row(
        tiny(references.scenario(found)),
        Part(ratio(found.ratio), _TIMES),
        result,
        (strong(found.person), faint(sheet.named("role", found.role))),
        tiny(way_and_mode(found, sheet)),
        (tiny(sheet.say(found.laser)), faint(found.setup)),
        tiny(place(found.distance, sheet.feet)),
        tiny(time),
        tiny(text("scenarios.no_light") if found.ratio < 1e-9 else exposure),
        tiny(f"{limit} {references.limit(found.criterion)}"),
        below=below,
        bar=not found.below and not found.answer and not found.struck_out,
    )


def eyewear(sheet: Sheet) -> None:
    """Print what eyewear has to carry, and what to think of the eyewear that is worn."""
    notes = Footnotes("n")
    rows = [_need(need, sheet, notes) for need in sheet.assessment.eyewear]
    columns = {"who": 22, "wavelength": 15, "density": 14, "scale": 19, "ask_for": 16, "worn": 26}
    _noted(sheet, "eyewear", columns, rows, notes)


def barrier_loads(sheet: Sheet) -> None:
    """Print what falls on each barrier against what it is rated for, but for what the table by their place says."""
    notes, scene, found, rows = Footnotes("n"), sheet.assessment.scene, sheet.assessment.by_distance, []
    if scene is not None and scene.barriers and not found:
        return
    for result in found:
        word, reason = verdict_of(result.holds, result.verdict, sheet)
        marks = joined([notes.mark(tidy(one)) for one in result.notes if one])
        below = sheet.text("eyewear.notes", notes=marks) if marks else ""
        not_asked = "" if result.asked else sheet.text("by_place.not_asked")
        way = Part(sheet.named("way", result.way)), note(f"{result.laser}: {result.setup}"), note(not_asked)
        irradiance = bold(in_unit(result.irradiance, "W/m2", 3, "up"))
        distance, rated = Part(place(result.distance, sheet.feet)), Part(rating_of(result, sheet))
        verdict = Part(word, Style(8.5, True)), Part(reason), note(below)
        bar = result.asked and not result.holds
        rows.append(row(bold(result.barrier), way, distance, irradiance, rated, verdict, bar=bar))
    columns = {"barrier": 20, "way": 25.5, "distance": 10.5, "irradiance": 15, "rating": 15.5, "verdict": 26}
    _noted(sheet, "barriers", columns, rows, notes)


def _noted(sheet: Sheet, group: str, columns: Mapping[str, float], rows: Sequence[Row], notes: Footnotes) -> None:
    """Print a table whose notes stand once below it."""
    sheet.begin(f"{group}.heading", keep=110.0)
    sheet.listing(group, columns, rows, none=f"{group}.none")
    sheet.footnotes(notes.texts)


def _need(need: EyewearNeed, sheet: Sheet, notes: Footnotes) -> Row:
    text = sheet.text
    scales = []
    for scale in need.scales:
        key = "eyewear.mode_beyond" if scale.scale_number is None else "eyewear.mode"
        load = in_unit(scale.density_value, scale.density_unit, 3, "up")
        scales.append(bold(text(key, mode=scale.mode, number=scale.scale_number)))
        scales.append(note(text("eyewear.mode_load", load=load)))
    worn = [note(text("eyewear.not_worn"))]
    if need.verdict is not None:
        worn = [Part(need.verdict.text), bold(need.verdict.verdict)]
        worn += [note(reason) for reason in need.verdict.reasons if reason != need.no_reliance]
        worn += [note(text("eyewear.ends", band=band)) for band in need.verdict.ends]
    below = [bold(tidy(need.no_reliance))] if need.no_reliance else []
    below += [note(spoken(tidy(need.decides)))] if need.decides else []
    if need.notes:
        marks = joined([notes.mark(tidy(one)) for one in need.notes if one])
        below.append(note(text("eyewear.notes", notes=marks)))
    where = text("eyewear.no_distance") if need.distance is None else place(need.distance, sheet.feet)
    exact = number(need.optical_density_exact, 4, "up")
    reason = text("eyewear.exact", density=exact, tissue=sheet.named("tissue", need.tissue))
    return row(
        (bold(need.person), Part(need.laser), note(need.setup)),
        (bold(wavelength(need.wavelength)), Part(where)),
        (Part(density(need.optical_density), _STRONG), note(reason)),
        scales,
        Part(need.marking, _STRONG),
        worn,
        below=below,
        bar=not need.reliable or (need.verdict is not None and not need.verdict.enough),
    )


def verdict_of(holds: bool, verdict: str, sheet: Sheet) -> tuple[str, str]:
    """Return the word for whether a barrier holds, and why."""
    word = sheet.text("barriers.holds" if holds else "barriers.fails")
    return word, tidy(inner(verdict, "why"))
