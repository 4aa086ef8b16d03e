"""The tables of scenarios, eyewear and barriers."""

from __future__ import annotations

import math
from itertools import groupby

from lasersafe.results import Assessment, BarrierResult, EyewearNeed, Scenario
from lasersafe.sheet.flow import BODY, NOTE, SMALL_BOLD, TINY, TINY_BOLD, TINY_NOTE, Flow, Part, Row
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
        rows.append(Row((), [Part(text(f"scenarios.{name}"), TINY_BOLD)], _SHADE, keep=30.0))
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
        result.append(Part(notes.controls.mark(_controls(found, wording, references)), TINY_NOTE))
    time = duration(found.duration)
    if found.duration_reason:
        time = f"{time} {notes.reasons.mark(found.duration_reason)}"
    way = f"{named(wording, 'way', found.way)}, {named(wording, 'tissue', found.tissue)}"
    modes = found.mode.split(", ")
    if "running" not in modes:
        way = text("sources.mode", mode=", ".join(map(wording.say, modes)), way=way)
    below = []
    if found.struck_out:
        below.append(Part(text("scenarios.struck_out", reason=found.struck_out), TINY_NOTE))
    if found.answer:
        below.append(Part(text("scenarios.answer", answer=found.answer), TINY_BOLD))
    limit = f"{in_unit(found.limit, found.exposure_unit, 3, 'down')} {references.limit(found.criterion)}"
    return Row(
        (
            [Part(references.scenario(found), TINY)],
            [Part(ratio(found.ratio), _RATIO)],
            result,
            [Part(found.person, TINY_BOLD), Part(named(wording, "role", found.role), TINY_NOTE)],
            [
                Part(way, TINY),
                Part(text("scenarios.surface", surface=found.surface) if found.surface else "", TINY_NOTE),
            ],
            [Part(found.laser, TINY), Part(found.setup, TINY_NOTE)],
            [Part(place(found.distance, feet), TINY)],
            [Part(time, TINY)],
            [Part(in_unit(found.exposure, found.exposure_unit, 3, "up"), TINY)],
            [Part(limit, TINY)],
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
        scales.append(Part(text(key, mode=scale.mode, number=scale.scale_number), SMALL_BOLD))
        load = in_unit(scale.density_value, scale.density_unit, 3, "up")
        scales.append(Part(text("eyewear.mode_load", load=load), NOTE))
    worn = [Part(text("eyewear.not_worn"), NOTE)]
    if need.verdict is not None:
        worn = [Part(need.verdict.text), Part(need.verdict.verdict, SMALL_BOLD)]
        worn += [Part(reason, NOTE) for reason in need.verdict.reasons if reason != need.no_reliance]
        worn += [Part(text("eyewear.ends", band=band), NOTE) for band in need.verdict.ends]
    below = [Part(tidy(need.no_reliance), SMALL_BOLD)] if need.no_reliance else []
    below += [Part(tidy(need.decides), NOTE)] if need.decides else []
    if need.notes:
        marks = joined([notes.mark(tidy(note)) for note in need.notes if note])
        below.append(Part(text("eyewear.notes", notes=marks), NOTE))
    where = text("eyewear.no_distance") if need.distance is None else place(need.distance, feet)
    bad = not need.reliable or (need.verdict is not None and not need.verdict.enough)
    density = f"{need.optical_density:.1f}" if math.isfinite(need.optical_density) else number(need.optical_density)
    return Row(
        (
            [Part(need.person, SMALL_BOLD), Part(need.laser), Part(need.setup, NOTE)],
            [Part(wavelength(need.wavelength), SMALL_BOLD), Part(where)],
            [
                Part(density, _STRONG),
                Part(text("eyewear.exact", density=exact, tissue=named(wording, "tissue", need.tissue)), NOTE),
            ],
            scales,
            [Part(need.marking, _STRONG)],
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
            [Part(result.barrier, SMALL_BOLD)],
            [
                Part(named(wording, "way", result.way)),
                Part(f"{result.laser}: {result.setup}", NOTE),
                Part("" if result.asked else text("by_place.not_asked"), NOTE),
            ],
            [Part(place(result.distance, feet))],
            [Part(in_unit(result.irradiance, "W/m2", 3, "up"), SMALL_BOLD)],
            [Part(rating)],
            [
                Part(word, Style(8.5, True)),
                Part(reason),
                Part(text("eyewear.notes", notes=marks) if marks else "", NOTE),
            ],
        ),
        bar=result.asked and not result.holds,
    )
