"""The first pages: the decision block and one chart with its distances per set-up."""

from __future__ import annotations

from dataclasses import replace

from lasersafe.drawing.primitives import BLACK, WHITE, Area, Lines, box, edge, grey
from lasersafe.results import Assessment, Criterion, SetupResult
from lasersafe.sheet.chart import exposure_chart
from lasersafe.sheet.flow import MILLIMETRE, Part, Sheet, bold, note, row
from lasersafe.sheet.text import Style, tidy, unit_text, width_of, wrap
from lasersafe.sheet.values import aperture, distance, duration, headline, in_unit
from lasersafe.wording import Wording

_TITLE = Style(17, True)
_LABEL = Style(9.5, True, ink=grey(0.25))
_CAPTION = Style(8.5, ink=grey(0.15))
_REASON = Style(9, after=1.0)
_INSIDE = 10.0
_SIZES = (17.0, 16.0, 15.0, 14.0, 13.0, 12.0, 11.0)  # all can be read from a metre


def decision(sheet: Sheet) -> None:
    """Print the title, the block that is read aloud, its reasons and the people in charge.

    The largest type is taken with which all of it fits on one page, or the block alone when there are many reasons.
    """
    sheet.fitted(_decision, _SIZES)


def _decision(sheet: Sheet, size: float) -> None:
    assessment = sheet.assessment
    sheet.paragraph(assessment.title, _TITLE)
    where = " · ".join(part for part in (assessment.place, assessment.dates) if part.strip())
    sheet.paragraph(where, Style(10.5, after=2))
    sheet.heading(sheet.text("decision.heading"), 0, keep=150.0)
    _block(sheet, size)
    sheet.space(6.0)
    sheet.paragraph(sheet.wording.caution_short, Style(9, True, after=4))
    if assessment.decision.reasons:
        sheet.paragraph(sheet.text("decision.reasons"), _LABEL)
        sheet.items([tidy(reason) for reason in assessment.decision.reasons], _REASON)
    _in_charge(sheet)


def _block(sheet: Sheet, size: float) -> None:
    """Print the framed block, its verdict black on white when passed, white on black when not; as text if too long."""
    found, text = sheet.assessment.decision, sheet.text
    style, number = Style(size, True), Style(size * 2, True)
    inner = sheet.width - 2 * _INSIDE
    rows = []
    for key, said in (
        ("verdict", found.verdict),
        ("wear", found.wear),
        ("people", found.people),
        ("barrier", found.barrier),
    ):
        big = caption = ""
        if key == "people" and found.headline_distance is not None:
            big = headline(found.headline_distance).replace("\u00a0", " ")
            caption = text("decision.headline", tissue=sheet.named("tissue", found.headline_tissue))
        own = Style(size + 3, True, BLACK if found.passed else WHITE) if key == "verdict" else style
        indent = width_of(big, number) + 14.0 if big else 0.0
        lines = [(line, own) for line in wrap(tidy(said), own, inner - indent)]
        high = max(len(lines) * own.leading, size * 2.3 if big else 0.0)
        below = [(line, _CAPTION) for line in wrap(caption, _CAPTION, inner)]
        whole = _LABEL.leading + high + len(below) * _CAPTION.leading + 12.0
        rows.append((text(f"decision.{key}"), big, tidy(said), caption, (lines, indent, high, below, whole)))
    total = sum(laid[-1] for *_, laid in rows)
    if total > sheet.room:
        for label, big, said, caption, _ in rows:
            for line, kind in (
                (label, _LABEL),
                (big, Style(26, True)),
                (caption, _CAPTION),
                (said, Style(13, True, after=6)),
            ):
                sheet.paragraph(line, kind)
        return
    top = y = sheet.reserve(total)
    left, right = sheet.left, sheet.left + sheet.width
    for number_of, (label, big, _, _, (lines, indent, high, below, whole)) in enumerate(rows):
        dark = not number_of and not found.passed
        if dark:
            sheet.marks.append(Area((box((left, y - whole, right, y)),)))
        name = replace(_LABEL, ink=grey(0.85)) if dark else _LABEL
        inside = sheet.stack([(line, name) for line in wrap(label, name, inner)], left + _INSIDE, y - 5.0)
        sheet.marks.append(number.words(left + _INSIDE, inside - size * 1.75, big))
        sheet.stack(lines, left + _INSIDE + indent, inside)
        sheet.stack(below, left + _INSIDE, inside - high)
        y -= whole
        sheet.marks.append(Lines((((left, y), (right, y)),), BLACK, 0.8))
    sheet.marks.extend(edge((left, y, right, top), 2.4))


def in_charge(assessment: Assessment, wording: Wording) -> dict[str, str]:
    """Return the people in charge by the name of their role as it is printed."""
    names = {role.casefold(): name for role, name in wording.roles.items()}
    return {
        names.get(role.replace("_", " ").casefold(), role.replace("_", " ")): name
        for role, name in assessment.people.items()
    }


def _in_charge(sheet: Sheet) -> None:
    text, found = sheet.text, sheet.assessment
    people = "\n".join(f"{role}: {name}" for role, name in in_charge(found, sheet.wording).items() if name)
    sets = text("decision.all_rule_sets", rule_set=found.rule_set, rule_sets=", ".join(found.rule_sets))
    rows = {"people_in_charge": people, "rule_sets": sets, "full_fingerprint": found.fingerprint}
    sheet.space(6.0)
    sheet.table((), (1, 4), [row(bold(text(f"decision.{key}")), Part(value)) for key, value in rows.items() if value])


def setups(sheet: Sheet) -> None:
    """Print one chart and one table of distances per set-up."""
    text = sheet.text
    if not sheet.assessment.setups:
        return
    sheet.begin("setup.heading", keep=330.0)
    for result in sheet.assessment.setups:
        chart = exposure_chart(result.chart, sheet.width / MILLIMETRE, sheet.wording)
        state = text("setup.fitted" if result.fitted else "setup.not_fitted")
        sheet.heading(f"{result.laser}: {result.setup} ({state})", 1, keep=chart.height * MILLIMETRE + 45.0)
        sheet.paragraph(text("setup.beam", beam=unit_text(result.beam)) if result.beam else "")
        sheet.paragraph(text("setup.setting", setting=unit_text(result.setting)) if result.setting else "")
        if result.chart.title and result.chart.title != result.setup:
            sheet.paragraph(result.chart.title, Style(8.5, True, after=3))
        sheet.figure(chart)
        sheet.space(4.0)
        _zones(sheet, result)


def _zones(sheet: Sheet, result: SetupResult) -> None:
    rows = []
    for zone in result.zones:
        reach = sheet.text("setup.from_origin", distance=distance(zone.distance, sheet.feet), origin=zone.origin)
        focus = "–" if zone.distance_from_focus is None else distance(zone.distance_from_focus, sheet.feet)
        sets = "\n".join(f"{name}: {distance(value)}" for name, value in zone.by_rule_set.items())
        limit = f"{limit_text(zone.criterion, sheet.wording)}; {sheet.references.limit(zone.criterion)}"
        way = bold(sheet.named("way", zone.way)), Part(sheet.named("tissue", zone.tissue))
        below = note(zone.note) if zone.note else ()
        rows.append(row(way, bold(reach), Part(focus), Part(limit), Part(sets), below=below))
    sheet.listing("setup", {"way": 15, "distance": 20, "focus": 11, "limit": 34, "by_rule_set": 20}, rows, 2.0)


def limit_text(criterion: Criterion, wording: Wording) -> str:
    """Return one limit in words."""
    return wording.text(
        "setup.limit_text",
        limit=in_unit(criterion.limit, criterion.limit_unit, 3, "down"),
        duration=duration(criterion.duration),
        aperture=aperture(criterion.limiting_aperture),
        hazard=criterion.hazard,
        rule=criterion.rule,
        rule_set=criterion.rule_set,
    )
