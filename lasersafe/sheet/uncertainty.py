"""How sure the distances are: inputs with their tolerances, distances with their spread, and what changes them most."""

from __future__ import annotations

from lasersafe.drawing.primitives import Lines, edge, grey
from lasersafe.results import Assessment
from lasersafe.results_uncertainty import DistanceSpread, InputTolerance
from lasersafe.sheet.flow import BODY, NOTE, Flow, Row, bold, faint, strong, tiny
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
        _bars(flow, spread, wording)
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
    return Row(
        (
            strong(one.field),
            tiny(unit_text(one.typed)),
            tiny(ends),
            strong(used),
            tiny(named(wording, "kind", one.kind)),
            tiny(wording.text(f"sure.{one.found}")),
        )
    )


def _spread(one: DistanceSpread, wording: Wording) -> Row:
    name = [bold(_where(one, wording))]
    if one.note:
        why = wording.text("sure.no_spread", why=one.note)
        return Row((name, faint(why), tiny("–"), bold(distance(one.worst))))
    upper = [tiny("–")]
    if one.upper is not None and one.upper_error is not None:
        error = wording.text("sure.error", error=quantity(one.upper_error, "m", 2, "up"))
        upper = [tiny(distance(one.upper)), faint(error)]
    return Row((name, tiny(distance(one.nominal)), upper, bold(distance(one.worst))))


def _bars(flow: Flow, spread: DistanceSpread, wording: Wording) -> None:
    """Print bars to both sides of a line: what one per cent of each input does to a distance."""
    rows = spread.influences[:_MOST_BARS]
    names = [wording.input_name(one.name) for one in rows]
    start = flow.left + max(width_of(name, _LABEL) for name in names) + 8.0
    end = flow.left + flow.width - 150.0
    zero, half = (start + end) / 2.0, (end - start) / 2.0 - 42.0
    most = max([1.0, *(abs(one.exponent) for one in rows if abs(one.exponent) < 1e6)])
    high = _STEP * len(rows) + 18.0
    flow.heading(wording.text("sure.bars", where=_where(spread, wording)), 2, keep=high + 20.0)
    top = flow.reserve(high)
    bottom = flow.y + 18.0
    for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
        x = zero + share * half
        flow.marks.append(Lines((((x, top), (x, bottom)),), grey(0.75 if share else 0.0), 0.5))
        label = f"{share * most:+.2g} %".replace("+0 %", "0 %")
        flow.marks.append(_LABEL.words(x - width_of(label, _LABEL) / 2.0, bottom - 9.0, label))
    for row, (one, name) in enumerate(zip(rows, names, strict=True)):
        y = top - _STEP * row - _STEP / 2.0
        tip = zero + max(-1.0, min(1.0, one.exponent / most)) * half
        bar = (min(zero, tip), y - _BAR / 2.0, max(zero, tip), y + _BAR / 2.0)
        flow.marks.extend(edge(bar, 0.5, fill=grey(_FILL)))
        label = f"{one.exponent:+.2f} %" if abs(one.exponent) < 1e6 else "±∞"
        beside = bar[0] - width_of(label, _LABEL) - 3.0 if tip < zero else tip + 3.0
        ends = sorted((one.low, one.high)) if one.low is not None and one.high is not None else ()
        reach = wording.text("sure.ends", low=distance(ends[0]), high=distance(ends[1])) if ends else ""
        for x, words in ((flow.left, name), (beside, label), (end + 6.0, reach)):
            flow.marks.append(_LABEL.words(x, y - 2.5, words))
