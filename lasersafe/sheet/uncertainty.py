"""How sure the distances are: inputs with their tolerances, distances with their spread, and what changes them most."""

from __future__ import annotations

from lasersafe.results import Assessment
from lasersafe.results_uncertainty import DistanceSpread, Influence, InputTolerance
from lasersafe.sheet.flow import (
    BODY,
    NOTE,
    SMALL_BOLD,
    TINY,
    TINY_BOLD,
    TINY_NOTE,
    Box,
    Flow,
    Mark,
    Part,
    Path,
    Row,
    Text,
)
from lasersafe.sheet.front import named
from lasersafe.sheet.text import Style, unit_text, width_of
from lasersafe.sheet.values import distance, quantity, wavelength
from lasersafe.wording import Wording

_LABEL = Style(7, spacing=1.2)
_BAR = 8.0
_STEP = 13.0
_MOST_BARS = 8
_FILL = 0.55


def uncertainty(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print how sure the distances of the fitted set-ups are."""
    text = wording.text
    sure = assessment.uncertainty
    if not sure.spreads:
        return
    flow.heading(text("sure.heading"), 0, keep=90.0)
    if not sure.inputs:
        flow.paragraph(text("sure.inputs_none"), BODY)
    else:
        flow.heading(text("sure.inputs"), 1, keep=60.0)
        note = text("sure.as_typed_note", reason=sure.as_typed) if sure.as_typed else text("sure.inputs_note")
        flow.paragraph(note, NOTE)
        rows = [_input(one, wording, bool(sure.as_typed)) for one in sure.inputs]
        keys = ("input", "typed", "range", "used", "kind", "found")
        flow.table([text(f"sure.{key}") for key in keys], (24, 20, 18, 16, 11, 11), rows, 1.2)
        flow.space(3.0)
    if sure.measure:
        flow.heading(text("sure.measure_heading"), 1, keep=40.0)
        flow.paragraph(unit_text(sure.measure), BODY)
    if sure.inputs:
        flow.heading(text("sure.distances"), 1, keep=60.0)
        drawn = next((one for one in sure.spreads if one.draws), sure.spreads[0])
        flow.paragraph(
            text("sure.distances_note", draws=f"{drawn.draws:,}".replace(",", "\u00a0"), seed=drawn.seed), NOTE
        )
        rows = [_spread(one, wording) for one in sure.spreads]
        columns = ("distance", "nominal", "upper", "worst")
        flow.table([text(f"sure.{key}") for key in columns], (40, 18, 24, 18), rows, 1.2)
        flow.space(3.0)
    shown = [one for one in sure.spreads if one.influences and one.way == "direct" and one.tissue == "eye"]
    for spread in shown:
        bars = _Bars(spread, flow.width, wording)
        flow.heading(text("sure.bars", where=_where(spread, wording)), 2, keep=bars.height + 20.0)
        flow.figure(bars.height, bars.draw)
    if shown:
        flow.paragraph(text("sure.bars_note"), NOTE)


def _where(spread: DistanceSpread, wording: Wording) -> str:
    way, tissue = named(wording, "way", spread.way), named(wording, "tissue", spread.tissue)
    return f"{spread.laser}, {spread.setup}: {way}, {tissue}"


def _input(one: InputTolerance, wording: Wording, as_typed: bool) -> Row:
    def value(number: float) -> str:
        return wavelength(number) if one.field.endswith("wavelength") else quantity(number, one.unit, 4)

    ends = wording.text("sure.ends", low=value(one.low), high=value(one.high))
    used = value(one.nominal) if as_typed else ", ".join(value(number) for number in one.used)
    return Row((
        [Part(one.field, TINY_BOLD)],
        [Part(unit_text(one.typed), TINY)],
        [Part(ends, TINY)],
        [Part(used, TINY_BOLD)],
        [Part(named(wording, "kind", one.kind), TINY)],
        [Part(wording.text(f"sure.{one.found}"), TINY)],
    ))  # fmt: skip


def _spread(one: DistanceSpread, wording: Wording) -> Row:
    name = [Part(_where(one, wording), SMALL_BOLD)]
    if one.note:
        why = wording.text("sure.no_spread", why=one.note)
        return Row((name, [Part(why, TINY_NOTE)], [Part("–", TINY)], [Part(distance(one.worst), SMALL_BOLD)]))
    upper = [Part("–", TINY)]
    if one.upper is not None and one.upper_error is not None:
        error = wording.text("sure.error", error=quantity(one.upper_error, "m", 2, "up"))
        upper = [Part(distance(one.upper), TINY), Part(error, TINY_NOTE)]
    return Row((name, [Part(distance(one.nominal), TINY)], upper, [Part(distance(one.worst), SMALL_BOLD)]))


class _Bars:
    """Bars to both sides of a line: what one per cent of each input does to a distance."""

    def __init__(self, spread: DistanceSpread, width: float, wording: Wording) -> None:
        self.rows = spread.influences[:_MOST_BARS]
        self.wording = wording
        self.width = width
        self.names = [wording.input_name(one.name) for one in self.rows]
        self.left = max(width_of(name, _LABEL) for name in self.names) + 8.0
        self.right = 150.0
        self.height = _STEP * len(self.rows) + 18.0

    def draw(self, marks: list[Mark], left: float, top: float) -> None:
        """Add the bars to a page, their upper left corner at ``left`` and ``top``."""
        room = self.width - self.left - self.right
        most = max([1.0, *(abs(one.exponent) for one in self.rows if abs(one.exponent) < 1e6)])
        half = room / 2.0 - 42.0
        zero = left + self.left + room / 2.0
        bottom = top - _STEP * len(self.rows)
        for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
            x = zero + share * half
            marks.append(Path(((x, top), (x, bottom)), ink=0.0 if share == 0.0 else 0.75, thick=0.5))
            label = f"{share * most:+.2g} %".replace("+0 %", "0 %")
            marks.append(Text(x - width_of(label, _LABEL) / 2.0, bottom - 9.0, label, _LABEL.size, _LABEL.font))
        for row, (one, name) in enumerate(zip(self.rows, self.names, strict=True)):
            y = top - _STEP * row - _STEP / 2.0
            marks.append(Text(left, y - 2.5, name, _LABEL.size, _LABEL.font))
            length = max(-1.0, min(1.0, one.exponent / most)) * half
            x = min(zero, zero + length)
            marks.append(Box(x, y - _BAR / 2.0, abs(length), _BAR, fill=_FILL, ink=0.0))
            label = f"{one.exponent:+.2f} %" if abs(one.exponent) < 1e6 else "±∞"
            beside = x - width_of(label, _LABEL) - 3.0 if length < 0.0 else zero + length + 3.0
            marks.append(Text(beside, y - 2.5, label, _LABEL.size, _LABEL.font))
            marks.append(Text(left + self.width - self.right + 6.0, y - 2.5, self._ends(one), _LABEL.size, _LABEL.font))

    def _ends(self, one: Influence) -> str:
        if one.low is None or one.high is None:
            return ""
        low, high = sorted((one.low, one.high))
        return self.wording.text("sure.ends", low=distance(low), high=distance(high))
