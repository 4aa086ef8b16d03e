"""The first pages: verdict, eyewear, how far people stand, barriers, what it rests on; and the sign-off block."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lasersafe.drawing.page import left_out_line
from lasersafe.drawing.primitives import BLACK, WHITE, Lines, edge, grey
from lasersafe.drawing.text import aperture, distance, duration, in_unit, irradiance, quantity, ratio, tidy, unit_text
from lasersafe.records import Criterion, badness
from lasersafe.records.scene import BarrierLoad, BarrierWay
from lasersafe.results import Assessment, BarrierResult, Scenario, SignOff, unanswered
from lasersafe.sheet.drawings import warning
from lasersafe.sheet.flow import Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.text import SMALL, Line, Style, joined, wrap
from lasersafe.wording import Wording, key_of

_LABEL, _SMALL = Style(7.5, ink=grey(0.25)), Style(7.5)
_NAME, _STATE = Style(9.5, True), Style(9, True, after=2)
_GAP, _INSIDE, _ROOM = 6.0, 6.0, 27.0  # between two boxes; at their edges; below the text, for date and signature
_DATE = 78.0


@dataclass(frozen=True)
class SignPlace:
    """Where a signature goes: page counted from 0, and the rectangle in points from the lower left corner."""

    page: int
    box: tuple[int, int, int, int]


def sign_off(sheet: Sheet, size: float, signed: SignOff, annex: str) -> dict[str, SignPlace]:
    """Print the state, what is signed, and one box per role, two beside each other; return role -> place to sign."""
    text, assessment = sheet.text, sheet.assessment
    wide = (sheet.width - _GAP) / 2
    roles = list(sheet.wording.roles)
    boxes = [(role.replace(" ", "_"), _said(role, sheet, signed, wide - 2 * _INSIDE)) for role in roles]
    pairs = [boxes[n : n + 2] for n in range(0, len(boxes), 2)]
    high = [max(sum(style.leading for _, style in lines) for _, lines in pair) + _ROOM + 10.0 for pair in pairs]
    sheet.heading(text("sign_off.heading"), 0, keep=min(sum(high) + 90.0, sheet.full * 0.9))
    _state(sheet, signed, size)
    sets = text("decision.all_rule_sets", rule_set=assessment.rule_set, rule_sets=", ".join(assessment.rule_sets))
    facts = {"rule_sets": sets, "full_fingerprint": assessment.fingerprint, "annex": annex}
    rows = [row(strong(text(f"decision.{key}")), tiny(value)) for key, value in facts.items() if value]
    sheet.table((), (1.2, 4.4), rows, 0.5)
    places = {}
    for pair, tall in zip(pairs, high, strict=True):
        top = sheet.reserve(tall)
        for number, (key, lines) in enumerate(pair):
            left = sheet.left + number * (wide + _GAP)
            sheet.marks.extend(edge((left, sheet.y, left + wide, top), 0.8))
            sheet.stack(lines, left + _INSIDE, top - 3.0)
            foot, start, right = sheet.y + 6.0, left + _INSIDE, left + wide - _INSIDE
            for label, begin, end in (("date", start, start + _DATE - 6.0), ("signature", start + _DATE, right)):
                sheet.marks.append(_LABEL.words(begin, foot + 2.0, text(f"sign_off.{label}")))
                sheet.marks.append(Lines((((begin, foot), (end, foot)),), BLACK, 0.6))
            area = round(start + _DATE + 42.0), round(foot + 1.0), round(right), round(foot + 27.0)
            places[key] = SignPlace(len(sheet.pages) - 1, area)
        sheet.space(_GAP)
    return places


def _state(sheet: Sheet, signed: SignOff, size: float) -> None:
    text = sheet.text
    if signed.state == "draft":
        if signed.reasons:
            sheet.paragraph(text("sign_off.state_draft"), _STATE)
        known = set(sheet.assessment.record.draft_reasons)
        said = [unit_text(tidy(reason)) for reason in signed.reasons if reason not in known]
        said += [text("sign_off.rests")] if known & {*signed.reasons} else []
        sheet.items(said, Style(size))
    else:
        sheet.paragraph(text("sign_off.state_" + ("signed" if signed.state == "signed" else "for_signature")), _STATE)
    if signed.changed:
        sheet.paragraph(text("sign_off.changed"), _STATE)
        sheet.items(signed.changed, Style(size))
    sheet.paragraph(text("sign_off.intro"), Style(size, after=3))


def _said(role: str, sheet: Sheet, signed: SignOff, room: float) -> list[tuple[Line, Style]]:
    """Return the lines of one box: name, role, what is declared, and what is on record."""
    text = sheet.text
    key = role.replace(" ", "_")
    entry = next((one for one in reversed(signed.signed) if one.role == key), None)
    title = sheet.wording.roles[role]
    person = entry.name if entry else in_charge(sheet.assessment, sheet.wording).get(title, "")
    if key not in signed.required:
        title = f"{title} ({text('sign_off.not_required')})"
    said = [(f"{title}: {person}" if person else title, _NAME), (sheet.wording.declarations[role], _SMALL)]
    if entry:
        said.append((text("sign_off.recorded", moment=entry.at), _SMALL))
        said += [(text("sign_off.expires", day=entry.expires), _SMALL)] if entry.expires else []
        said += [(text("sign_off.conditions", conditions=entry.conditions), _SMALL)] if entry.conditions else []
        said += [(text("sign_off.for_them", reason=entry.for_them), _SMALL)] if entry.for_them else []
    return [(line, style) for words, style in said for line in wrap(words, style, room)]


_TITLE = Style(17, True)
_WHERE = Style(10.5, after=2)
_VERDICT, _POINT = (15.0, True), (9.5, True)
_SAID, _FAR, _NOTE = Style(9.5), Style(12.5, True), Style(8, ink=grey(0.2))
_ITEM = Style(7.6)
_WORST = 4  # scenarios without an answer that are named


def decision(sheet: Sheet, signed: SignOff) -> None:
    """Print what is decided and what the decision rests on."""
    assessment, text = sheet.assessment, sheet.text
    warning(sheet, 13.0)
    sheet.lines(wrap(assessment.title, _TITLE, sheet.width - 45.0), _TITLE)
    where = " · ".join(part for part in (assessment.place, assessment.dates) if part.strip())
    sheet.lines(wrap(where, _WHERE, sheet.width - 45.0), _WHERE)
    sheet.heading(text("decision.heading"), 0, keep=150.0)
    _verdict(sheet)
    _wear(sheet)
    _people(sheet)
    _loads(sheet)
    sheet.paragraph(sheet.wording.caution_short, Style(9, True, after=2))
    _rests(sheet, signed)


def _verdict(sheet: Sheet) -> None:
    """Print the verdict, white on black when it does not pass, and what it counts."""
    found, text = sheet.assessment.decision, sheet.text
    head = found.verdict
    if found.points:
        head = text(f"say.passed_{found.passing}" if found.passed else "decision.stop")
    ink = grey(0.0) if found.passed else WHITE
    lines = [Part(tidy(head), Style(*_VERDICT, ink))]
    lines += [Part(f"•  {tidy(point)}", Style(*_POINT, ink)) for point in found.points]
    sheet.table((), (1,), [Row((lines,), shade=None if found.passed else 0.0, bar=found.passed)], 6.0)


def _part(sheet: Sheet, key: str) -> None:
    sheet.heading(sheet.text(f"decision.{key}"), 2, keep=40.0, outline=False)


def _wear(sheet: Sheet) -> None:
    _part(sheet, "wear")
    found = sheet.assessment.decision
    if not found.worn:
        sheet.paragraph(tidy(found.wear), _SAID)
        return
    every = sheet.named("way", "together")
    rows = [row(bold(name or every), [Part(tidy(one), _SAID) for one in said]) for name, said in found.worn]
    weak = dict.fromkeys(n.person for n in sheet.assessment.eyewear if n.verdict and not n.verdict.enough)
    if weak:
        said = sheet.text("decision.worn_weak", persons=", ".join(weak))
        rows.append(row(bold(sheet.text("decision.worn")), [Part(said, Style(9, True))], bar=True))
    sheet.table((), (1, 4.6), rows, 2.0)


def _people(sheet: Sheet) -> None:
    """Print how far guests, crew and cameras stand, each on a line of its own."""
    _part(sheet, "people")
    assessment, text, found = sheet.assessment, sheet.text, sheet.assessment.decision
    reach = {"guests": found.headline_distance, "crew": found.headline_distance, "cameras": found.aided_distance}
    mine = assessment.counted
    near = found.scatter_distance
    rows = []
    for key, far in reach.items():
        group = [one for one in mine if assessment.group_of(one) == key]
        worst = next(iter(unanswered(group)), None)
        state = Part(text("decision.none_above"), SMALL)
        if not group:  # those whose scenarios are all struck out are in the case
            there = any(assessment.group_of(one) == key for one in assessment.scenarios)
            state = faint(text("people.nothing" if there else "decision.nobody"))
        if worst is not None:
            state = bold(text("decision.worst_above", person=worst.person, ratio=ratio(worst.ratio)))
        about = "bare" if key == "cameras" and not assessment.with_optics else f"{key}_note"
        name = Part(text(f"decision.{key}"), Style(9.5, True)), faint(text(f"decision.{about}"))
        stand = (Part(distance(one, sheet.feet), _FAR) for one in (far, near))
        rows.append(row(name, *stand, state, bar=worst is not None))
    sheet.listing("decision", {"who": 30, "reached": 24, "scatter_only": 20, "there": 26}, rows, 2.0)
    limit = text("decision.limit", tissue=sheet.named("tissue", found.headline_tissue), rule_set=assessment.rule_set)
    faults = text("decision.faults") if assessment.scene is None else left_out_line(assessment.scene, sheet.wording)
    sheet.paragraph(f"{limit} {faults}".strip(), _NOTE)
    sure = assessment.uncertainty
    if sure.inputs:
        said = text("sure.typed_only", reason=sure.as_typed) if sure.as_typed else text("sure.corner")
        sheet.paragraph(said, _NOTE)


def by_barrier(loads: Sequence[BarrierLoad]) -> dict[str, list[BarrierLoad]]:
    """Return the loads of each barrier, the one that asks most first."""
    found: dict[str, list[BarrierLoad]] = {}
    for load in loads:
        found.setdefault(load.barrier, []).append(load)
    return {name: sorted(own, key=lambda one: -badness(one.load)) for name, own in found.items()}


def barrier_row(name: str, own: Sequence[BarrierLoad], sheet: Sheet, more: Sequence[Part] = ()) -> Row:
    """Return the row of a barrier: the most that it must hold, on which way, its rating, whether it holds, and more."""
    text, per_cm2 = sheet.text, sheet.per_cm2(name)
    asked = [one for one in own if one.asked]
    load = next(iter(asked or own))
    needed = [bold(irradiance(load.load, per_cm2, "up"))]
    rated = [Part(rating_of(load, sheet, per_cm2), SMALL)]
    if load.pulse is not None and load.pulse_rating is not None:
        needed.append(note(text("say.one_pulse", load=in_unit(load.pulse, "J/m2", 3, "up"))))
        rated.append(note(text("say.one_pulse", load=in_unit(load.pulse_rating, "J/m2", 3, "down"))))
    fails = any(not one.stands for one in asked)
    result = [Part(text("barriers.fails" if fails else "barriers.holds"), Style(8.5, bold=True))]
    every = [one for one in sheet.assessment.decision.loads if one.barrier == name]
    standing = {one.way for one in every} - {one.way for one in every if not one.stands}
    only = not fails and {one.way for one in every if one.asked} == {"scatter"}
    if only or standing == {"scatter"}:
        result.append(strong(text("barriers.scatter_only")))  # all that it stops, or is there for
    light = Part(way_of(load, sheet), SMALL), faint(f"{load.laser}, {load.setup}")
    return row(bold(name), needed, light, rated, [*result, *more], bar=fails)


def rating_of(one: BarrierLoad | BarrierResult | BarrierWay, sheet: Sheet, per_cm2: bool = False) -> str:
    """Return what a barrier is rated for, and for how long."""
    if one.rating is None:
        return sheet.text("barriers.unrated")
    rating = irradiance(one.rating, per_cm2, "down")
    if one.rated_time is None:
        return rating
    return sheet.text("barriers.rated", rating=rating, time=duration(one.rated_time))


def way_of(load: BarrierLoad, sheet: Sheet) -> str:
    """Return one way of the light to a barrier in words."""
    way = sheet.named("way", load.way)
    return way + sheet.text("say.all_together") if load.together else way


def _loads(sheet: Sheet) -> None:
    """Print the most that each barrier must hold, of all that the verdict counts."""
    _part(sheet, "barrier")
    loads = by_barrier([one for one in sheet.assessment.decision.loads if one.asked])
    rows = [barrier_row(name, own, sheet) for name, own in loads.items()]
    if not rows:
        sheet.paragraph(tidy(sheet.assessment.decision.barrier), _SAID)  # nothing where what is named gets no light
        return
    sheet.listing("decision", {"stands": 23, "must_hold": 18, "light": 26, "rated_for": 18, "result": 15}, rows, 2.0)
    if sheet.assessment.decision.passed and any(row.bar for row in rows):
        sheet.paragraph(sheet.text("barriers.not_counted"), _NOTE)
    for remark in sheet.assessment.decision.barrier_remarks:
        sheet.paragraph(tidy(remark), Style(8.5, bold=True))


def _rests(sheet: Sheet, signed: SignOff) -> None:
    """Print what the verdict rests on: each line a subject, and what is known of it."""
    sheet.heading(sheet.text("rests.heading"), 1, keep=60.0)
    found, findings = unanswered(sheet.assessment.counted), sheet.assessment.record.findings
    against = [*map(tidy, sheet.assessment.decision.causes), *(scenario_text(one, sheet) for one in found[:_WORST])]
    against += [sheet.text("rests.more", count=len(found) - _WORST)] if len(found) > _WORST else []
    persons = ", ".join(dict.fromkeys(one.person for one in findings))
    numbers = joined(dict.fromkeys(sheet.references.by_key(one.scenario) for one in findings))
    stated = {"conditions": [(one.name, one.conditions) for one in signed.signed]}
    stated["for_them"] = [(one.name, one.for_them) for one in signed.signed]
    subjects = {
        "starters": _starters(sheet),
        "open": against,
        "controls": [sheet.text("rests.uncontrolled", numbers=numbers, persons=persons)] if findings else [],
        "strike_outs": _struck_out(sheet),
        "answers": _answers(sheet),
        "assumptions": [tidy(one) for one in sheet.assessment.decision.grounds],
        **{
            key: [sheet.text("rests.condition", name=name, conditions=said) for name, said in own if said]
            for key, own in stated.items()
        },
        "readings": _readings(sheet),
        "expiry": _expiry(sheet, signed),
    }
    rows = [
        row(bold(sheet.text(f"rests.{key}")), [Part(one, _ITEM) for one in said], loose=True)
        for key, said in subjects.items()
        if said
    ]
    sheet.table((), (1.15, 6.15), rows, 1.5)


def scenario_text(found: Scenario, sheet: Sheet) -> str:
    """Return a scenario in words: who, which way, how many times the limit, which laser, and its number."""
    laser = "; ".join(filter(None, (sheet.say(found.laser), sheet.references.by_key(found.key))))
    words = {"person": found.person, "ratio": ratio(found.ratio), "laser": laser}
    return sheet.text("rests.scenario", **words, **sheet.words_of(found))


def _struck_out(sheet: Sheet) -> list[str]:
    struck = sheet.assessment.decision.strike_outs
    if not struck.count:
        return []
    said = [sheet.text("rests.struck", count=struck.count, ways=struck.ways)]
    if any(key_of(one.struck_out) == "struck.solid" for one in sheet.assessment.scenarios):
        said.append(sheet.text("rests.struck_solid"))
    if struck.worst is not None:
        said.append(sheet.text("rests.struck_worst", scenario=scenario_text(struck.worst, sheet)))
        said.append(sheet.text("rests.reason", reason=sheet.say(struck.worst.struck_out)))
    return said


def _answers(sheet: Sheet) -> list[str]:
    """Return which barriers and which eyewear answer scenarios above the limit, and how many each."""
    counts = answers_of((one for one in sheet.assessment.counted if not one.below), sheet)
    return [sheet.text("rests.answers_for", answer=tidy(answer), count=count) for answer, count in counts.items()]


def answers_of(scenarios: Iterable[Scenario], sheet: Sheet) -> dict[str, int]:
    """Return what answers some scenarios, and how many; a barrier once, with all ways on which it holds."""
    found: dict[tuple[str, str], list[str]] = {}  # by the barrier that holds on some ways, or by the whole answer
    for barrier, way, answer in ((*one.held, one.answer) for one in scenarios if one.answer):
        found.setdefault((barrier, "" if barrier else answer), []).append(way and sheet.text(f"way.{way}"))
    counts = {}
    for (barrier, answer), ways in found.items():
        words = {"barrier": barrier, "way": ", ".join(dict.fromkeys(ways))}
        counts[answer or sheet.text("say.barrier_holds_against", **words)] = len(ways)
    return counts


def _readings(sheet: Sheet) -> list[str]:
    record, text = sheet.assessment.record, sheet.text
    asked = record.to_be_read
    said = []
    for one in record.expected:
        got = one.reading
        if got is not None and (got.above or got.low):
            words = {"key": one.key, "what": text(f"acceptance.{one.what}"), "where": one.where}
            upper, most = quantity(got.upper, one.unit, 3, "up"), quantity(one.value, one.unit, 3, "down")
            key = "rests.reading_above" if got.above else "rests.reading_low"
            said.append(text(key, **words, upper=upper, most=most))
    missing = [one.key for one in asked if one.reading is None]
    if missing:
        said.append(text("rests.readings_missing", count=len(missing), all=len(asked), keys=joined(missing)))
    return said


def _starters(sheet: Sheet) -> list[str]:
    found = sheet.assessment.record.starter_values
    if not found:
        return []
    starters = ", ".join(dict.fromkeys(one.starter for one in found if one.starter))
    names: dict[str, dict[str, None]] = {}
    for one in found:
        names.setdefault(one.kind, {})[one.name] = None
    kinds = [sheet.text(f"starter.{kind}", names=", ".join(own)) for kind, own in names.items()]
    return [sheet.text("rests.starter", starters=starters), *kinds] if starters else kinds


def _expiry(sheet: Sheet, signed: SignOff) -> list[str]:
    text, record = sheet.text, sheet.assessment.record
    said = [text("rests.review", day=record.review_by)] if record.review_by else []
    said += [text("rests.ends", name=one.name, day=one.expires) for one in signed.signed if one.expires]
    worn = [(need.person, band) for need in sheet.assessment.eyewear if need.verdict for band in need.verdict.ends]
    bands = {band: ", ".join(dict.fromkeys(person for person, own in worn if own == band)) for _, band in worn}
    return said + [text("rests.band", persons=persons, band=band) for band, persons in bands.items()]


def in_charge(assessment: Assessment, wording: Wording) -> dict[str, str]:
    """Return the people in charge by the name of their role as it is printed."""
    names = {role.casefold(): name for role, name in wording.roles.items()}
    return {
        names.get(role.replace("_", " ").casefold(), role.replace("_", " ")): name
        for role, name in assessment.people.items()
    }


def limit_text(criterion: Criterion, wording: Wording) -> str:
    """Return one limit in words."""
    words = {"hazard": criterion.hazard, "rule": criterion.rule, "rule_set": criterion.rule_set}
    words |= {"duration": duration(criterion.duration), "aperture": aperture(criterion.limiting_aperture)}
    return wording.text("setup.limit_text", limit=in_unit(criterion.limit, criterion.limit_unit, 3, "down"), **words)
