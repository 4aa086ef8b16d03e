"""The tables of scenarios, eyewear and barriers."""

from __future__ import annotations

from lasersafe.results import Assessment, BarrierResult, EyewearNeed, Scenario
from lasersafe.sheet.flow import BODY, NOTE, SMALL, SMALL_BOLD, Flow, Part, Row
from lasersafe.sheet.front import named
from lasersafe.sheet.references import References
from lasersafe.sheet.text import Style, tidy
from lasersafe.sheet.values import duration, in_unit, number, place, wavelength
from lasersafe.wording import Wording

_STRONG = Style(9, True)


def scenarios(flow: Flow, assessment: Assessment, wording: Wording, references: References) -> None:
    """Print one row per scenario, in the order in which the assessment hands them over."""
    text = wording.text
    flow.heading(text("scenarios.heading"), 0, keep=110.0)
    if not assessment.scenarios:
        flow.paragraph(text("scenarios.none"), BODY)
        return
    rows = [_scenario(scenario, wording, references) for scenario in assessment.scenarios]
    keys = ("ratio", "result", "person", "way", "laser", "distance", "duration", "exposure", "limit")
    flow.table([text(f"scenarios.{key}") for key in keys], (9, 9.5, 19, 12.5, 16, 10.5, 13, 13, 14), rows)


def _scenario(found: Scenario, wording: Wording, references: References) -> Row:
    text = wording.text
    surface = [Part(text("scenarios.surface", surface=found.surface), NOTE)] if found.surface else []
    tissue = Part(named(wording, "tissue", found.tissue), SMALL_BOLD)
    verdict = text("scenarios.below" if found.below else "scenarios.above")
    below = []
    if found.struck_out:
        below.append(Part(text("scenarios.struck_out", reason=found.struck_out), SMALL_BOLD))
    if found.answer:
        below.append(Part(text("scenarios.answer", answer=found.answer), SMALL_BOLD))
    if found.controls:
        controls = "; ".join(references.control(control) for control in found.controls)
        below.append(Part(text("scenarios.controls", controls=controls), NOTE))
    alarming = not found.below and not found.answer and not found.struck_out
    return Row(
        (
            [Part(number(found.ratio, 3, "up"), _STRONG), Part(found.key, NOTE)],
            [Part(verdict, SMALL if found.below else SMALL_BOLD)],
            [Part(found.person, SMALL_BOLD), Part(found.role, NOTE)],
            [Part(named(wording, "way", found.way)), *surface, tissue],
            [Part(found.laser), Part(found.setup, NOTE)],
            [Part(place(found.distance))],
            [Part(duration(found.duration), SMALL_BOLD), Part(found.duration_reason, NOTE)],
            [Part(in_unit(found.exposure, found.exposure_unit, 3, "up"))],
            [
                Part(in_unit(found.limit, found.exposure_unit, 3, "down")),
                Part(f"{found.criterion.hazard}, {found.criterion.rule}", NOTE),
                Part(references.limit(found.criterion), NOTE),
            ],
        ),
        below,
        bar=alarming,
    )


def eyewear(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what eyewear has to carry, and what to think of the eyewear that is worn."""
    text = wording.text
    flow.heading(text("eyewear.heading"), 0, keep=110.0)
    if not assessment.eyewear:
        flow.paragraph(text("eyewear.none"), BODY)
        return
    keys = ("who", "wavelength", "density", "scale", "ask_for", "worn")
    rows = [_need(need, wording) for need in assessment.eyewear]
    flow.table([text(f"eyewear.{key}") for key in keys], (22, 15, 14, 19, 16, 26), rows)


def _need(need: EyewearNeed, wording: Wording) -> Row:
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
        worn += [Part(reason, NOTE) for reason in need.verdict.reasons]
    below = [Part(tidy(need.no_reliance), SMALL_BOLD)] if need.no_reliance else []
    below += [Part(tidy(note), NOTE) for note in (need.decides, *need.notes) if note]
    where = text("eyewear.no_distance") if need.distance is None else place(need.distance)
    bad = not need.reliable or (need.verdict is not None and not need.verdict.enough)
    return Row(
        (
            [Part(need.person, SMALL_BOLD), Part(need.laser), Part(need.setup, NOTE)],
            [Part(wavelength(need.wavelength), SMALL_BOLD), Part(where)],
            [
                Part(_density(need.optical_density), _STRONG),
                Part(text("eyewear.exact", density=exact, tissue=named(wording, "tissue", need.tissue)), NOTE),
            ],
            scales,
            [Part(need.marking, _STRONG)],
            worn,
        ),
        below,
        bar=bad,
    )


def _density(value: float) -> str:
    return f"{value:.1f}" if value == value and abs(value) != float("inf") else number(value)


def barriers(flow: Flow, assessment: Assessment, wording: Wording) -> None:
    """Print what falls on each barrier against what it is rated for."""
    text = wording.text
    flow.heading(text("barriers.heading"), 0, keep=90.0)
    if not assessment.barriers:
        flow.paragraph(text("barriers.none"), BODY)
        return
    keys = ("barrier", "way", "distance", "irradiance", "rating", "verdict")
    rows = [_barrier(result, wording) for result in assessment.barriers]
    flow.table([text(f"barriers.{key}") for key in keys], (22, 24, 11, 15, 16, 24), rows)


def _barrier(result: BarrierResult, wording: Wording) -> Row:
    text = wording.text
    rating = text("barriers.unrated")
    if result.rating is not None:
        rating = in_unit(result.rating, "W/m2", 3, "down")
        if result.rated_time is not None:
            rating = text("barriers.rated", rating=rating, time=duration(result.rated_time))
    return Row(
        (
            [Part(result.barrier, SMALL_BOLD)],
            [Part(named(wording, "way", result.way)), Part(f"{result.laser}: {result.setup}", NOTE)],
            [Part(place(result.distance))],
            [Part(in_unit(result.irradiance, "W/m2", 3, "up"), SMALL_BOLD)],
            [Part(rating)],
            [Part(text("barriers.holds" if result.holds else "barriers.fails"), _STRONG), Part(tidy(result.verdict))],
        ),
        [Part(tidy(note), NOTE) for note in result.notes],
        bar=not result.holds,
    )
