"""How sure the distances are: inputs with their tolerances, distances with their spread, and what changes them most."""

from __future__ import annotations

from lasersafe.drawing.values import distance, quantity, spoken, unit_text, wavelength
from lasersafe.records.uncertainty import DistanceSpread, InputTolerance
from lasersafe.sheet.flow import NOTE, Row, Sheet, bold, faint, row, strong, tiny

_MOST = 8  # inputs that are named


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
        _influences(sheet, spread)
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


def _influences(sheet: Sheet, spread: DistanceSpread) -> None:
    """Print what one per cent of each input does to a distance."""
    sheet.heading(sheet.text("sure.bars", where=_where(spread, sheet)), 2, keep=50.0)
    rows = []
    for one in spread.influences[:_MOST]:
        share = spoken(f"{one.exponent:+.2f} %") if abs(one.exponent) < 1e6 else "±∞"
        ends = sorted((one.low, one.high)) if one.low is not None and one.high is not None else ()
        reach = sheet.text("sure.ends", low=distance(ends[0]), high=distance(ends[1])) if ends else "–"
        rows.append(row(strong(sheet.wording.input_name(one.name)), tiny(share), tiny(reach)))
    sheet.listing("sure", {"input": 40, "per_cent": 30, "both_ends": 30}, rows, 1.0)
