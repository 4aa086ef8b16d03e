"""The first pages: the decision block and one chart with its distances per set-up."""

from __future__ import annotations

from dataclasses import replace

from lasersafe.drawing.primitives import BLACK, WHITE, Area, Lines, box, edge, grey
from lasersafe.results import Assessment, Criterion, SetupResult
from lasersafe.sheet.chart import exposure_chart
from lasersafe.sheet.flow import BODY, MILLIMETRE, Flow, Part, Row, bold, note
from lasersafe.sheet.references import References
from lasersafe.sheet.text import Style, tidy, unit_text, width_of, wrap
from lasersafe.sheet.values import aperture, distance, duration, headline, in_unit
from lasersafe.wording import Wording

_TITLE = Style(17, True)
_LABEL = Style(9.5, True, ink=grey(0.25))
_CAPTION = Style(8.5, ink=grey(0.15))
_REASON = Style(9, after=1.0)
_INSIDE = 10.0
_SIZES = (17.0, 16.0, 15.0, 14.0, 13.0, 12.0, 11.0)  # all can be read from a metre


def named(wording: Wording, group: str, key: str) -> str:
    """Return the wording of a short word, or the word itself when the wording has none."""
    return wording.texts.get(f"{group}.{key}", key)


def decision(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print the title, the block that is read aloud, its reasons and the people in charge.

    The largest type is taken with which all of it fits on one page, or the block alone when there are many reasons.
    """
    sizes = [size for size in _SIZES if _fits(flow, assessment, wording, size)]
    _decision(flow, assessment, wording, sizes[0] if sizes else _SIZES[-1])


def _fits(flow: Flow, assessment: Assessment, wording: Wording, size: float) -> bool:
    trial = Flow(*flow.geometry)
    _decision(trial, assessment, wording, size)
    return len(trial.pages) == 1


def _decision(flow: Flow, assessment: Assessment, wording: Wording, size: float) -> None:
    flow.paragraph(assessment.title, _TITLE)
    where = " · ".join(part for part in (assessment.place, assessment.dates) if part.strip())
    flow.paragraph(where, Style(10.5, after=2))
    flow.heading(wording.text("decision.heading"), 0, keep=150.0)
    _block(flow, assessment, wording, size)
    flow.space(6.0)
    flow.paragraph(wording.caution_short, Style(9, True, after=4))
    if assessment.decision.reasons:
        flow.paragraph(wording.text("decision.reasons"), _LABEL)
        flow.items([tidy(reason) for reason in assessment.decision.reasons], _REASON)
    _in_charge(flow, assessment, wording)


def _block(flow: Flow, assessment: Assessment, wording: Wording, size: float) -> None:
    """Print the framed block, its verdict black on white when passed, white on black when not; as text if too long."""
    found, text = assessment.decision, wording.text
    style, number = Style(size, True), Style(size * 2, True)
    inner = flow.width - 2 * _INSIDE
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
            caption = text("decision.headline", tissue=named(wording, "tissue", found.headline_tissue))
        own = Style(size + 3, True, BLACK if found.passed else WHITE) if key == "verdict" else style
        indent = width_of(big, number) + 14.0 if big else 0.0
        lines = [(line, own) for line in wrap(tidy(said), own, inner - indent)]
        high = max(len(lines) * own.leading, size * 2.3 if big else 0.0)
        below = [(line, _CAPTION) for line in wrap(caption, _CAPTION, inner)]
        whole = _LABEL.leading + high + len(below) * _CAPTION.leading + 12.0
        rows.append((text(f"decision.{key}"), big, tidy(said), caption, (lines, indent, high, below, whole)))
    total = sum(laid[-1] for *_, laid in rows)
    if total > flow.room:
        for label, big, said, caption, _ in rows:
            for line, kind in (
                (label, _LABEL),
                (big, Style(26, True)),
                (caption, _CAPTION),
                (said, Style(13, True, after=6)),
            ):
                flow.paragraph(line, kind)
        return
    top = y = flow.reserve(total)
    left, right = flow.left, flow.left + flow.width
    for number_of, (label, big, _, _, (lines, indent, high, below, whole)) in enumerate(rows):
        dark = not number_of and not found.passed
        if dark:
            flow.marks.append(Area((box((left, y - whole, right, y)),)))
        name = replace(_LABEL, ink=grey(0.85)) if dark else _LABEL
        inside = flow.stack([(line, name) for line in wrap(label, name, inner)], left + _INSIDE, y - 5.0)
        flow.marks.append(number.words(left + _INSIDE, inside - size * 1.75, big))
        flow.stack(lines, left + _INSIDE + indent, inside)
        flow.stack(below, left + _INSIDE, inside - high)
        y -= whole
        flow.marks.append(Lines((((left, y), (right, y)),), BLACK, 0.8))
    flow.marks.extend(edge((left, y, right, top), 2.4))


def in_charge(assessment: Assessment, wording: Wording) -> dict[str, str]:
    """Return the people in charge by the name of their role as it is printed."""
    names = {role.casefold(): name for role, name in wording.roles.items()}
    return {
        names.get(role.replace("_", " ").casefold(), role.replace("_", " ")): name
        for role, name in assessment.people.items()
    }


def _in_charge(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    text = wording.text
    people = "\n".join(f"{role}: {name}" for role, name in in_charge(assessment, wording).items() if name)
    rows = [(text("decision.people_in_charge"), people)]
    sets = ", ".join(assessment.rule_sets)
    rule_sets = text("decision.all_rule_sets", rule_set=assessment.rule_set, rule_sets=sets)
    rows += [(text("decision.rule_sets"), rule_sets), (text("decision.full_fingerprint"), assessment.fingerprint)]
    flow.space(6.0)
    flow.table((), (1, 4), [Row((bold(name), Part(value))) for name, value in rows if value])


def setups(flow: Flow, assessment: Assessment, wording: Wording, references: References) -> None:
    """Print one chart and one table of distances per set-up."""
    if not assessment.setups:
        return
    flow.heading(wording.text("setup.heading"), 0, keep=330.0)
    for result in assessment.setups:
        chart = exposure_chart(result.chart, flow.width / MILLIMETRE, wording)
        state = wording.text("setup.fitted" if result.fitted else "setup.not_fitted")
        flow.heading(f"{result.laser}: {result.setup} ({state})", 1, keep=chart.height * MILLIMETRE + 45.0)
        flow.paragraph(wording.text("setup.beam", beam=unit_text(result.beam)) if result.beam else "", BODY)
        flow.paragraph(wording.text("setup.setting", setting=unit_text(result.setting)) if result.setting else "", BODY)
        if result.chart.title and result.chart.title != result.setup:
            flow.paragraph(result.chart.title, Style(8.5, True, after=3))
        flow.figure(chart)
        flow.space(4.0)
        _zones(flow, result, wording, references, assessment.units == "metric and feet")


def _zones(flow: Flow, result: SetupResult, wording: Wording, references: References, with_feet: bool) -> None:
    text = wording.text
    rows = []
    for zone in result.zones:
        origin = zone.origin
        reach = text("setup.from_origin", distance=distance(zone.distance, with_feet), origin=origin)
        focus = "" if zone.distance_from_focus is None else distance(zone.distance_from_focus, with_feet)
        sets = "\n".join(f"{name}: {distance(value)}" for name, value in zone.by_rule_set.items())
        rows.append(
            Row(
                (
                    [bold(named(wording, "way", zone.way)), Part(named(wording, "tissue", zone.tissue))],
                    bold(reach),
                    Part(focus or "–"),
                    Part(f"{limit_text(zone.criterion, wording)}; {references.limit(zone.criterion)}"),
                    Part(sets),
                ),
                [note(zone.note)] if zone.note else (),
            )
        )
    keys = ("way", "distance", "focus", "limit", "by_rule_set")
    flow.table([text(f"setup.{key}") for key in keys], (15, 20, 11, 34, 20), rows, 2.0)


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
