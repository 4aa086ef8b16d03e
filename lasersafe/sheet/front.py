"""The first pages: the decision block and one chart with its distances per set-up."""

from __future__ import annotations

from collections.abc import Sequence

from lasersafe.results import Assessment, Criterion, SetupResult
from lasersafe.sheet.chart import Chart
from lasersafe.sheet.flow import BODY, NOTE, SMALL_BOLD, Box, Flow, Mark, Part, Path, Row, Text
from lasersafe.sheet.references import References
from lasersafe.sheet.text import Line, Style, tidy, unit_text, width_of, wrap
from lasersafe.sheet.values import aperture, distance, duration, headline, in_unit
from lasersafe.wording import Wording

_TITLE = Style(17, True)
_LABEL = Style(9.5, True, ink=0.25)
_CAPTION = Style(8.5, ink=0.15)
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
    block = _Block(assessment, wording, flow.width, size)
    if block.height <= flow.room:
        flow.figure(block.height, block.draw)
    else:
        _decision_as_text(flow, assessment, wording)
    flow.space(6.0)
    flow.paragraph(wording.caution_short, Style(9, True, after=4))
    if assessment.decision.reasons:
        flow.paragraph(wording.text("decision.reasons"), _LABEL)
        for reason in assessment.decision.reasons:
            flow.paragraph(tidy(reason), _REASON, 12.0, "•")
    _in_charge(flow, assessment, wording)


class _Block:
    """The framed decision block at one type size; black on white when passed, white on black when not."""

    def __init__(self, assessment: Assessment, wording: Wording, width: float, size: float) -> None:
        found = assessment.decision
        self.passed = found.passed
        self.width = width
        inner = width - 2 * _INSIDE
        self.verdict_style = Style(size + 3, True, 0.0 if found.passed else 1.0)
        self.verdict = wrap(tidy(found.verdict), self.verdict_style, inner)
        self.verdict_label = wording.text("decision.verdict")
        self.band = len(self.verdict) * self.verdict_style.leading + _LABEL.leading + 12.0
        style = Style(size, True)
        self.rows: list[tuple[str, tuple[Line, ...], Style, str, tuple[Line, ...]]] = []
        for key, text in (("wear", found.wear), ("people", found.people), ("barrier", found.barrier)):
            big, room = "", inner
            caption: tuple[Line, ...] = ()
            if key == "people" and found.headline_distance is not None:
                big = headline(found.headline_distance).replace("\u00a0", " ")
                tissue = named(wording, "tissue", found.headline_tissue)
                caption = wrap(wording.text("decision.headline", tissue=tissue), _CAPTION, inner)
                room = inner - width_of(big, Style(size * 2, True)) - 14.0
            self.rows.append((wording.text(f"decision.{key}"), wrap(tidy(text), style, room), style, big, caption))
        self.height = self.band + sum(map(self._row_height, self.rows))

    @staticmethod
    def _row_height(row: tuple[str, tuple[Line, ...], Style, str, tuple[Line, ...]]) -> float:
        _, lines, style, big, caption = row
        text = max(len(lines) * style.leading, style.size * 2.3 if big else 0.0)
        return _LABEL.leading + text + len(caption) * _CAPTION.leading + 12.0

    def draw(self, marks: list[Mark], left: float, top: float) -> None:
        """Draw the block."""
        ink = 0.0 if self.passed else 1.0
        marks.append(Box(left, top - self.band, self.width, self.band, fill=None if self.passed else 0.0, ink=0.0))
        x, y = left + _INSIDE, top - 5.0
        label_style = Style(9.5, True, ink=0.25 if self.passed else 0.85)
        y = _put(marks, x, y, wrap(self.verdict_label, _LABEL, self.width), label_style)
        _put(marks, x, y, self.verdict, Style(self.verdict_style.size, True, ink))
        y = top - self.band
        for row in self.rows:
            label, lines, style, big, caption = row
            high = self._row_height(row)
            inside = _put(marks, x, y - 5.0, wrap(label, _LABEL, self.width), _LABEL)
            start = x
            text_high = max(len(lines) * style.leading, style.size * 2.3 if big else 0.0)
            if big:
                number = Style(style.size * 2, True)
                marks.append(Text(x, inside - style.size * 1.75, big, number.size, number.font))
                start = x + width_of(big, number) + 14.0
            _put(marks, start, inside, lines, style)
            _put(marks, x, inside - text_high, caption, _CAPTION)
            y -= high
            marks.append(Path(((left, y), (left + self.width, y)), 0.0, 0.8))
        marks.append(Box(left, y, self.width, top - y, ink=0.0, thick=2.4))


def _put(marks: list[Mark], x: float, y: float, lines: Sequence[Line], style: Style) -> float:
    for line in lines:
        y -= style.leading
        marks.extend(
            Text(x + piece.x, y + 0.24 * style.size, piece.text, piece.size, style.font, style.ink) for piece in line
        )
    return y


def _decision_as_text(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print a decision that is too long for the block."""
    found = assessment.decision
    style = Style(13, True, after=6)
    texts = (("verdict", found.verdict), ("wear", found.wear), ("people", found.people), ("barrier", found.barrier))
    for key, text in texts:
        flow.paragraph(wording.text(f"decision.{key}"), _LABEL)
        if key == "people" and found.headline_distance is not None:
            flow.paragraph(headline(found.headline_distance), Style(26, True))
            tissue = named(wording, "tissue", found.headline_tissue)
            flow.paragraph(wording.text("decision.headline", tissue=tissue), _CAPTION)
        flow.paragraph(tidy(text), style)


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
    flow.table((), (1, 4), [Row(([Part(name, SMALL_BOLD)], [Part(value)])) for name, value in rows if value])


def setups(flow: Flow, assessment: Assessment, wording: Wording, references: References) -> None:
    """Print one chart and one table of distances per set-up."""
    if not assessment.setups:
        return
    flow.heading(wording.text("setup.heading"), 0, keep=330.0)
    for result in assessment.setups:
        chart = Chart(result.chart, flow.width, wording)
        state = wording.text("setup.fitted" if result.fitted else "setup.not_fitted")
        flow.heading(f"{result.laser}: {result.setup} ({state})", 1, keep=chart.height + 45.0)
        flow.paragraph(wording.text("setup.beam", beam=unit_text(result.beam)) if result.beam else "", BODY)
        flow.paragraph(wording.text("setup.setting", setting=unit_text(result.setting)) if result.setting else "", BODY)
        if result.chart.title and result.chart.title != result.setup:
            flow.paragraph(result.chart.title, Style(8.5, True, after=3))
        flow.figure(chart.height, chart.draw)
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
                    [Part(named(wording, "way", zone.way), SMALL_BOLD), Part(named(wording, "tissue", zone.tissue))],
                    [Part(reach, SMALL_BOLD)],
                    [Part(focus or "–")],
                    [Part(f"{limit_text(zone.criterion, wording)}; {references.limit(zone.criterion)}")],
                    [Part(sets)],
                ),
                [Part(zone.note, NOTE)] if zone.note else (),
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
