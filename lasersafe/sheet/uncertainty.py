"""How sure the distances are: inputs with their tolerances, distances with their spread, and what changes them most."""

from __future__ import annotations

from lasersafe.drawing.primitives import Lines, edge, grey
from lasersafe.drawing.values import distance, quantity, unit_text, wavelength
from lasersafe.records.uncertainty import DistanceSpread, InputTolerance
from lasersafe.sheet.flow import NOTE, Row, Sheet, bold, faint, row, strong, tiny
from lasersafe.sheet.text import Style, width_of

_LABEL = Style(7, spacing=1.2)
_BAR = 8.0
_STEP = 13.0
_MOST_BARS = 8
_FILL = 0.55


def uncertainty(sheet: Sheet) -> None:
    """Print how sure the distances of the fitted set-ups are."""
    text, sure = sheet.text, sheet.assessment.uncertainty
    if not sure.spreads:
        return
    sheet.begin("sure.heading", keep=90.0, intro="" if sure.inputs else "sure.inputs_none")
    if sure.inputs:
        sheet.begin("sure.inputs", 1, keep=60.0)
        sheet.paragraph(
            text("sure.as_typed_note", reason=sure.as_typed) if sure.as_typed else text("sure.inputs_note"), NOTE
        )
        columns = {"input": 24, "typed": 20, "range": 18, "used": 16, "kind": 11, "found": 11}
        sheet.listing("sure", columns, [_input(one, sheet, bool(sure.as_typed)) for one in sure.inputs], 1.2)
        sheet.space(3.0)
    if sure.measure:
        sheet.begin("sure.measure_heading", 1, keep=40.0)
        sheet.paragraph(unit_text(sure.measure))
    if sure.inputs:
        sheet.begin("sure.distances", 1, keep=60.0)
        drawn = next((one for one in sure.spreads if one.draws), sure.spreads[0])
        sheet.paragraph(text("sure.distances_note", draws=drawn.draws, seed=drawn.seed), NOTE)
        columns = {"distance": 40, "nominal": 18, "upper": 24, "worst": 18}
        sheet.listing("sure", columns, [_spread(one, sheet) for one in sure.spreads], 1.2)
        sheet.space(3.0)
    shown = [one for one in sure.spreads if one.influences and one.way == "direct" and one.tissue == "eye"]
    for spread in shown:
        _bars(sheet, spread)
    if shown:
        sheet.paragraph(text("sure.bars_note"), NOTE)


def _where(spread: DistanceSpread, sheet: Sheet) -> str:
    way, tissue = sheet.named("way", spread.way), sheet.named("tissue", spread.tissue)
    return f"{spread.laser}, {spread.setup}: {way}, {tissue}"


def _input(one: InputTolerance, sheet: Sheet, as_typed: bool) -> Row:
    def value(number: float) -> str:
        return wavelength(number) if one.field.endswith("wavelength") else quantity(number, one.unit, 4)

    ends = sheet.text("sure.ends", low=value(one.low), high=value(one.high))
    used = value(one.nominal) if as_typed else ", ".join(value(number) for number in one.used)
    kind, found = tiny(sheet.named("kind", one.kind)), tiny(sheet.text(f"sure.{one.found}"))
    return row(strong(one.field), tiny(unit_text(one.typed)), tiny(ends), strong(used), kind, found)


def _spread(one: DistanceSpread, sheet: Sheet) -> Row:
    name, worst = bold(_where(one, sheet)), bold(distance(one.worst))
    if one.note:
        return row(name, faint(sheet.text("sure.no_spread", why=one.note)), tiny("–"), worst)
    upper = [tiny("–")]
    if one.upper is not None and one.upper_error is not None:
        error = sheet.text("sure.error", error=quantity(one.upper_error, "m", 2, "up"))
        upper = [tiny(distance(one.upper)), faint(error)]
    return row(name, tiny(distance(one.nominal)), upper, worst)


def _bars(sheet: Sheet, spread: DistanceSpread) -> None:
    """Print bars to both sides of a line: what one per cent of each input does to a distance."""
    rows = spread.influences[:_MOST_BARS]
    names = [sheet.wording.input_name(one.name) for one in rows]
    start = sheet.left + max(width_of(name, _LABEL) for name in names) + 8.0
    end = sheet.left + sheet.width - 150.0
    zero, half = (start + end) / 2.0, (end - start) / 2.0 - 42.0
    most = max([1.0, *(abs(one.exponent) for one in rows if abs(one.exponent) < 1e6)])
    high = _STEP * len(rows) + 18.0
    sheet.heading(sheet.text("sure.bars", where=_where(spread, sheet)), 2, keep=high + 20.0)
    top = sheet.reserve(high)
    bottom = sheet.y + 18.0
    for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
        x = zero + share * half
        sheet.marks.append(Lines((((x, top), (x, bottom)),), grey(0.75 if share else 0.0), 0.5))
        label = f"{share * most:+.2g} %".replace("+0 %", "0 %")
        sheet.marks.append(_LABEL.words(x - width_of(label, _LABEL) / 2.0, bottom - 9.0, label))
    for number, (one, name) in enumerate(zip(rows, names, strict=True)):
        y = top - _STEP * number - _STEP / 2.0
        tip = zero + max(-1.0, min(1.0, one.exponent / most)) * half
        bar = (min(zero, tip), y - _BAR / 2.0, max(zero, tip), y + _BAR / 2.0)
        sheet.marks.extend(edge(bar, 0.5, fill=grey(_FILL)))
        label = f"{one.exponent:+.2f} %" if abs(one.exponent) < 1e6 else "±∞"
        beside = bar[0] - width_of(label, _LABEL) - 3.0 if tip < zero else tip + 3.0
        ends = sorted((one.low, one.high)) if one.low is not None and one.high is not None else ()
        reach = sheet.text("sure.ends", low=distance(ends[0]), high=distance(ends[1])) if ends else ""
        for x, words in ((sheet.left, name), (beside, label), (end + 6.0, reach)):
            sheet.marks.append(_LABEL.words(x, y - 2.5, words))
