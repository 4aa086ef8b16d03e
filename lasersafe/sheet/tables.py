"""The tables of scenarios, eyewear and barriers."""

from __future__ import annotations

import math
from itertools import groupby

from lasersafe.results import Assessment, BarrierResult, EyewearNeed, Scenario
from lasersafe.sheet.flow import BODY, NOTE, TINY, TINY_BOLD, Flow, Part, Row, bold, faint, note, strong, tiny
from lasersafe.sheet.front import named
from lasersafe.sheet.references import Footnotes, References, joined
from lasersafe.sheet.text import Style, tidy
from lasersafe.sheet.values import duration, in_unit, number, place, ratio, wavelength
from lasersafe.wording import Wording

_STRONG = Style(9, True)
_RATIO = Style(7.5, True, spacing=1.12)
_SHADE = 0.94


class _Notes:
    """Reasons and controls that many scenarios share, printed once below the table."""

    def __init__(self) -> None:
        self.reasons = Footnotes("t")
        self.controls = Footnotes("k")


def scenarios(flow: Flow, assessment: Assessment, wording: Wording, references: References) -> None:
    """Print one row per scenario: fitted set-ups, then the others, then what is left out; each by its ratio."""
    text = wording.text
    flow.heading(text("scenarios.heading"), 0, keep=110.0)
    if not assessment.scenarios:
        flow.paragraph(text("scenarios.none"), BODY)
        return
    flow.paragraph(text("scenarios.intro"), NOTE)
    fitted = {(setup.laser, setup.setup) for setup in assessment.setups if setup.fitted}

    def group(scenario: Scenario) -> str:
        if scenario.struck_out:
            return "left_out"
        return "fitted" if (scenario.laser, scenario.setup) in fitted else "not_fitted"

    order = ("fitted", "not_fitted", "left_out")
    ordered = sorted(assessment.scenarios, key=lambda scenario: order.index(group(scenario)))  # keeps the order inside
    feet = assessment.units == "metric and feet"
    notes = _Notes()
    rows = []
    for name, members in groupby(ordered, group):
        rows.append(Row((), strong(text(f"scenarios.{name}")), _SHADE, keep=30.0))
        rows += [_scenario(scenario, wording, references, notes, feet) for scenario in members]
    keys = ("number", "ratio", "result", "person", "way", "laser", "distance", "duration", "exposure", "limit")
    shares = (6.2, 10, 10, 21.5, 22, 20, 9.5, 9.5, 13, 12.5)
    flow.table([text(f"scenarios.{key}") for key in keys], shares, rows, 1.5)
    flow.footnotes({text("scenarios.reason", reason=reason): label for reason, label in notes.reasons.texts.items()})
    flow.footnotes({text("scenarios.controls", controls=line): label for line, label in notes.controls.texts.items()})


def _scenario(found: Scenario, wording: Wording, references: References, notes: _Notes, feet: bool) -> Row:
    text = wording.text
    result = [Part(text("scenarios.below" if found.below else "scenarios.above"), TINY if found.below else TINY_BOLD)]
    if found.controls:
        result.append(faint(notes.controls.mark(_controls(found, wording, references))))
    time = duration(found.duration)
    if found.duration_reason:
        time = f"{time} {notes.reasons.mark(found.duration_reason)}"
    way = f"{named(wording, 'way', found.way)}, {named(wording, 'tissue', found.tissue)}"
    modes = found.mode.split(", ")
    if "running" not in modes:
        way = text("sources.mode", mode=", ".join(map(wording.say, modes)), way=way)
    below = []
    if found.struck_out:
        below.append(faint(text("scenarios.struck_out", reason=found.struck_out)))
    if found.answer:
        below.append(strong(text("scenarios.answer", answer=found.answer)))
    limit = f"{in_unit(found.limit, found.exposure_unit, 3, 'down')} {references.limit(found.criterion)}"
    return Row(
        (
            tiny(references.scenario(found)),
            Part(ratio(found.ratio), _RATIO),
            result,
            [strong(found.person), faint(named(wording, "role", found.role))],
            [tiny(way), faint(text("scenarios.surface", surface=found.surface) if found.surface else "")],
            [tiny(found.laser), faint(found.setup)],
            tiny(place(found.distance, feet)),
            tiny(time),
            tiny(in_unit(found.exposure, found.exposure_unit, 3, "up")),
            tiny(limit),
        ),
        below,
        bar=not found.below and not found.answer and not found.struck_out,
    )


def _controls(found: Scenario, wording: Wording, references: References) -> str:
    """Return the numbers of the controls against a scenario, those in place first."""
    in_place = [references.control(control) for control in found.controls if control in found.in_place]
    others = [references.control(control) for control in found.controls if control not in found.in_place]
    parts = [(wording.text("inplace.mark"), in_place), (wording.text("inplace.proposed"), others)]
    return "; ".join(f"{word}: {joined(labels)}" for word, labels in parts if labels)


def eyewear(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what eyewear has to carry, and what to think of the eyewear that is worn."""
    text = wording.text
    flow.heading(text("eyewear.heading"), 0, keep=110.0)
    if not assessment.eyewear:
        flow.paragraph(text("eyewear.none"), BODY)
        return
    notes = Footnotes("n")
    keys = ("who", "wavelength", "density", "scale", "ask_for", "worn")
    feet = assessment.units == "metric and feet"
    rows = [_need(need, wording, notes, feet) for need in assessment.eyewear]
    flow.table([text(f"eyewear.{key}") for key in keys], (22, 15, 14, 19, 16, 26), rows)
    flow.footnotes(notes.texts)


def _need(need: EyewearNeed, wording: Wording, notes: Footnotes, feet: bool) -> Row:
    text = wording.text
    exact = number(need.optical_density_exact, 4, "up")
    scales = []
    for scale in need.scales:
        key = "eyewear.mode_beyond" if scale.scale_number is None else "eyewear.mode"
        scales.append(bold(text(key, mode=scale.mode, number=scale.scale_number)))
        load = in_unit(scale.density_value, scale.density_unit, 3, "up")
        scales.append(note(text("eyewear.mode_load", load=load)))
    worn = [note(text("eyewear.not_worn"))]
    if need.verdict is not None:
        worn = [Part(need.verdict.text), bold(need.verdict.verdict)]
        worn += [note(reason) for reason in need.verdict.reasons if reason != need.no_reliance]
        worn += [note(text("eyewear.ends", band=band)) for band in need.verdict.ends]
    below = [bold(tidy(need.no_reliance))] if need.no_reliance else []
    below += [note(tidy(need.decides))] if need.decides else []
    if need.notes:
        marks = joined([notes.mark(tidy(note)) for note in need.notes if note])
        below.append(note(text("eyewear.notes", notes=marks)))
    where = text("eyewear.no_distance") if need.distance is None else place(need.distance, feet)
    bad = not need.reliable or (need.verdict is not None and not need.verdict.enough)
    density = f"{need.optical_density:.1f}" if math.isfinite(need.optical_density) else number(need.optical_density)
    return Row(
        (
            [bold(need.person), Part(need.laser), note(need.setup)],
            [bold(wavelength(need.wavelength)), Part(where)],
            [
                Part(density, _STRONG),
                note(text("eyewear.exact", density=exact, tissue=named(wording, "tissue", need.tissue))),
            ],
            scales,
            Part(need.marking, _STRONG),
            worn,
        ),
        below,
        bar=bad,
    )


def barriers(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what falls on each barrier against what it is rated for."""
    text = wording.text
    flow.heading(text("barriers.heading"), 0, keep=90.0)
    if not assessment.barriers:
        flow.paragraph(text("barriers.none"), BODY)
        return
    notes = Footnotes("n")
    keys = ("barrier", "way", "distance", "irradiance", "rating", "verdict")
    feet = assessment.units == "metric and feet"
    rows = [_barrier(result, wording, notes, feet) for result in assessment.barriers]
    flow.table([text(f"barriers.{key}") for key in keys], (20, 25.5, 10.5, 15, 15.5, 26), rows, 2.0)
    flow.footnotes(notes.texts)


def _barrier(result: BarrierResult, wording: Wording, notes: Footnotes, feet: bool) -> Row:
    text = wording.text
    rating = text("barriers.unrated")
    if result.rating is not None:
        rating = in_unit(result.rating, "W/m2", 3, "down")
        if result.rated_time is not None:
            rating = text("barriers.rated", rating=rating, time=duration(result.rated_time))
    word = text("barriers.holds" if result.holds else "barriers.fails")
    reason = tidy(result.verdict).removeprefix(word).lstrip(" :")
    marks = joined([notes.mark(tidy(note)) for note in result.notes if note])
    return Row(
        (
            bold(result.barrier),
            [
                Part(named(wording, "way", result.way)),
                note(f"{result.laser}: {result.setup}"),
                note("" if result.asked else text("by_place.not_asked")),
            ],
            Part(place(result.distance, feet)),
            bold(in_unit(result.irradiance, "W/m2", 3, "up")),
            Part(rating),
            [Part(word, Style(8.5, True)), Part(reason), note(text("eyewear.notes", notes=marks) if marks else "")],
        ),
        bar=result.asked and not result.holds,
    )
