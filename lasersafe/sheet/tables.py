"""The tables of scenarios, eyewear and barriers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby

from lasersafe.drawing.values import density, duration, in_unit, number, place, ratio, spoken, tidy, wavelength
from lasersafe.results import BarrierResult, EyewearNeed, Scenario
from lasersafe.sheet.flow import NOTE, Part, Row, Sheet, bold, faint, note, row, strong, tiny
from lasersafe.sheet.references import Footnotes, joined
from lasersafe.sheet.text import Style
from lasersafe.wording.message import inner, key_of

_STRONG = Style(9, True)
_RATIO = Style(7.5, True, spacing=1.12)
_SHADE = 0.94
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
        return "fitted" if (scenario.laser, scenario.setup) in fitted else "not_fitted"

    reasons, controls = Footnotes("t"), Footnotes("k")
    rows = []
    ordered = sorted(
        assessment.scenarios, key=lambda scenario: _GROUPS.index(group(scenario))
    )  # keeps the order inside
    for name, members in groupby(ordered, group):
        rows.append(row(below=strong(text(f"scenarios.{name}")), shade=_SHADE, keep=30.0))
        rows += [_scenario(scenario, sheet, reasons, controls) for scenario in members]
    columns = {"number": 6.2, "ratio": 10, "result": 10, "person": 21.5, "way": 22, "laser": 20, "distance": 9.5}
    sheet.listing("scenarios", {**columns, "duration": 9.5, "exposure": 13, "limit": 12.5}, rows, 1.5)
    sheet.footnotes({text("scenarios.reason", reason=reason): label for reason, label in reasons.texts.items()})
    sheet.footnotes({text("scenarios.controls", controls=line): label for line, label in controls.texts.items()})


def way_and_mode(found: Scenario, sheet: Sheet) -> str:
    """Return the way and the tissue of a scenario in words, with the mode where it is not running."""
    way = f"{sheet.named('way', found.way)}, {sheet.named('tissue', found.tissue)}"
    modes = found.modes
    if "running" in modes:
        return way
    way = sheet.text("sources.mode", mode=", ".join(map(sheet.say, modes)), way=way)
    opened = found.placed and "service" in modes and len(modes) == 1
    return sheet.text("scenarios.in_service", way=way) if opened else way


def _scenario(found: Scenario, sheet: Sheet, reasons: Footnotes, controls: Footnotes) -> Row:
    text, references = sheet.text, sheet.references
    result = [tiny(text("scenarios.below")) if found.below else strong(text("scenarios.above"))]
    if found.controls:  # those in place first
        in_place = [references.control(control) for control in found.controls if control in found.in_place]
        others = [references.control(control) for control in found.controls if control not in found.in_place]
        parts = [(text("inplace.mark"), in_place), (text("inplace.proposed"), others)]
        result.append(
            faint(controls.mark("; ".join(f"{word}: {joined(numbers)}" for word, numbers in parts if numbers)))
        )
    time = duration(found.duration)
    if found.duration_reason:
        time = f"{time} {reasons.mark(found.duration_reason)}"
    below = [faint(text("scenarios.struck_out", reason=found.struck_out))] if found.struck_out else []
    below += [strong(text("scenarios.answer", answer=found.answer))] if found.answer else []
    limit = f"{in_unit(found.limit, found.exposure_unit, 3, 'down')} {references.limit(found.criterion)}"
    return row(
        tiny(references.scenario(found)),
        Part(ratio(found.ratio), _RATIO),
        result,
        (strong(found.person), faint(sheet.named("role", found.role))),
        (
            tiny(way_and_mode(found, sheet)),
            faint(text("scenarios.surface", surface=found.surface) if found.surface else ""),
        ),
        (tiny(found.laser), faint(found.setup)),
        tiny(place(found.distance, sheet.feet)),
        tiny(time),
        tiny(
            in_unit(found.exposure, found.exposure_unit, 3, "up")
            if not found.ratio < 1e-9
            else text("scenarios.no_light")
        ),
        tiny(limit),
        below=below,
        bar=not found.below and not found.answer and not found.struck_out,
    )


def eyewear(sheet: Sheet) -> None:
    """Print what eyewear has to carry, and what to think of the eyewear that is worn."""
    notes = Footnotes("n")
    rows = [_need(need, sheet, notes) for need in sheet.assessment.eyewear]
    columns = {"who": 22, "wavelength": 15, "density": 14, "scale": 19, "ask_for": 16, "worn": 26}
    _noted(sheet, "eyewear", columns, rows, notes)


def barriers(sheet: Sheet) -> None:
    """Print what falls on each barrier against what it is rated for."""
    notes = Footnotes("n")
    rows = [_barrier(result, sheet, notes) for result in sheet.assessment.barriers]
    columns = {"barrier": 20, "way": 25.5, "distance": 10.5, "irradiance": 15, "rating": 15.5, "verdict": 26}
    _noted(sheet, "barriers", columns, rows, notes)


def _noted(sheet: Sheet, group: str, columns: Mapping[str, float], rows: Sequence[Row], notes: Footnotes) -> None:
    """Print a table whose notes stand once below it."""
    sheet.begin(f"{group}.heading", keep=110.0)
    if rows:
        sheet.listing(group, columns, rows)
    else:
        sheet.paragraph(sheet.text(f"{group}.none"))
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


def _barrier(result: BarrierResult, sheet: Sheet, notes: Footnotes) -> Row:
    text = sheet.text
    rating = text("barriers.unrated")
    if result.rating is not None:
        rating = in_unit(result.rating, "W/m2", 3, "down")
        if result.rated_time is not None:
            rating = text("barriers.rated", rating=rating, time=duration(result.rated_time))
    word, reason = verdict_of(result.holds, result.verdict, sheet)
    marks = joined([notes.mark(tidy(one)) for one in result.notes if one])
    light = note(f"{result.laser}: {result.setup}"), note("" if result.asked else text("by_place.not_asked"))
    return row(
        bold(result.barrier),
        (Part(sheet.named("way", result.way)), *light),
        Part(place(result.distance, sheet.feet)),
        bold(in_unit(result.irradiance, "W/m2", 3, "up")),
        Part(rating),
        (Part(word, Style(8.5, True)), Part(reason), note(text("eyewear.notes", notes=marks) if marks else "")),
        bar=result.asked and not result.holds,
    )


def verdict_of(holds: bool, verdict: str, sheet: Sheet) -> tuple[str, str]:
    """Return the word for whether a barrier holds, and why."""
    word = sheet.text("barriers.holds" if holds else "barriers.fails")
    return word, tidy(inner(verdict, "why"))
