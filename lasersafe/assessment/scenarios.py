"""Person by person: what reaches them on each way, against the limit, and what answers it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lasersafe.assessment.calculation import (
    Working,
    amount_step,
    beam_working,
    exposure_steps,
    limit_steps,
    scatter_working,
)
from lasersafe.assessment.context import Context
from lasersafe.assessment.setups import CLOSEST_TO_SPOT, TISSUES, area_of
from lasersafe.hazard.aided import UNDESCRIBED, Aid, aid, aided_exposure
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria
from lasersafe.hazard.zones import exposure_at, worst_place
from lasersafe.optics.geometry import diameters
from lasersafe.optics.reflection import scatter_exposure, source_angle
from lasersafe.optics.viewing import magnified_angle
from lasersafe.results import Criterion, Scenario, Step

if TYPE_CHECKING:
    from lasersafe.models import Person

WAYS = ("direct", "mirror", "scatter")


@dataclass(frozen=True)
class Finding:
    """The comparison that decides one scenario under one rule set."""

    ratio: float
    exposure: float
    criterion: Criterion
    working: Working
    angle: float  # angular subtense of the source [rad]


def person_duration(person: Person, wavelength: float, way: str) -> tuple[float, str]:
    """Return the exposure duration of a person on one way [s] and the reason."""
    if person.time is not None:
        return float(person.time), f"stated in the case: {person.time_reason}"
    turns_away = person.briefed and not person.deliberate_viewing
    duration, reason = exposure_duration(wavelength, way, turns_away=turns_away)
    if person.deliberate_viewing and duration < 100.0:
        return 100.0, "deliberate viewing (TROS-2, 4.1)"
    return duration, reason


def distance_from_work(context: Context, person: Person) -> tuple[float, str]:
    """Return how near a person comes to the lit surface [m], and how that is known."""
    if person.distance_from_work is not None:
        found, words = float(person.distance_from_work), "as stated"
    elif context.setup.work_distance is not None:
        found = abs(float(person.distance) - float(context.setup.work_distance))
        words = "lower bound: distance from the optic less the work distance"
    else:
        found, words = 0.0, "unknown, so as near as possible"
    if found < CLOSEST_TO_SPOT:
        return CLOSEST_TO_SPOT, f"{words}; 0.1 m is taken as the nearest viewing distance"
    return found, words


def _beam_exposure(context: Context, person: Person, criterion: Criterion, factor: float) -> tuple[float, float, bool]:
    """Return the highest exposure at or beyond the person's distance, the place [m], and whether an aid was used."""
    best = (-math.inf, float(person.distance), False)
    for place in worst_place(context.beam, float(person.distance)):
        exposure, aided = exposure_at(context.beam, place, criterion, factor), False
        if person.aided and criterion.tissue == "eye":
            through_aid = _aided(context, person, place, criterion, factor)
            if not through_aid <= exposure:
                exposure, aided = through_aid, True
        if not exposure <= best[0]:
            best = (exposure, place, aided)
    return best


def aid_of(person: Person) -> Aid:
    """Return the instrument of a person; one that is not described loses no light."""
    return UNDESCRIBED if person.viewing_aid is None else aid(person.viewing_aid)


def _aided(context: Context, person: Person, place: float, criterion: Criterion, factor: float) -> float:
    instrument = aid_of(person)
    dx, dy = diameters(context.beam, place)
    gain = instrument.gain(context.wavelength)
    return float(aided_exposure(criterion.amount * factor, dx, dy, instrument.objective, gain, context.beam.profile))


def _looks(context: Context, person: Person, way: str, tissue: str) -> list[tuple[float | None, float]]:
    """Return each collecting gain, None for the bare eye, with the source angle that goes with it."""
    if way != "scatter" or tissue != "eye":
        return [(None, ALPHA_MIN)]
    distance, _ = distance_from_work(context, person)
    angle = float(source_angle(context.spot, context.spot, distance, context.scatter_surface[1]))
    bare = (None, max(ALPHA_MIN, angle))
    if not person.aided:
        return [bare]
    instrument = aid_of(person)
    gain = instrument.gain(context.wavelength)
    if instrument is UNDESCRIBED:  # no credit for what it magnifies
        return [(gain, ALPHA_MIN)]
    magnified = max(ALPHA_MIN, float(magnified_angle(angle, instrument.magnification)))
    return [bare, (gain, magnified)]


def _findings(
    context: Context, person: Person, way: str, tissue: str, emission: Emission, duration: float
) -> dict[str, Finding]:
    area = area_of(context, tissue, duration)
    looks = _looks(context, person, way, tissue)
    found: dict[str, Finding] = {}
    for rule_set in context.rule_sets:
        best: Finding | None = None
        for gain, angle in looks:
            for criterion in criteria(rule_set, tissue, emission, context.wavelength, duration, angle, area):
                one = _finding(context, person, way, criterion, gain, angle)
                if best is None or not one.ratio <= best.ratio:
                    best = one
        assert best is not None
        found[rule_set] = best
    return found


def _finding(
    context: Context, person: Person, way: str, criterion: Criterion, gain: float | None, angle: float
) -> Finding:
    aid_words = aid_of(person).words(context.wavelength)
    if way == "scatter":
        distance, words = distance_from_work(context, person)
        reflectance, view, _ = context.scatter_surface
        model = context.case.settings.scatter_model
        exposure = float(scatter_exposure(criterion.amount, reflectance, distance, view, model))
        collected = None
        if gain is not None:
            exposure *= gain
            collected = (gain, aid_words)
        working = scatter_working(criterion, distance, words, reflectance, view, model, collected)
    else:
        factor = 1.0 if way == "direct" else context.mirror_reflectance[0]
        exposure, place, aided = _beam_exposure(context, person, criterion, factor)
        working = beam_working(criterion, context.beam, place, factor, aid_words if aided else "")
    return Finding(exposure / criterion.limit, exposure, criterion, working, angle)


def _struck_out(context: Context, person: Person, way: str) -> str:
    if way == "direct" and not person.in_beam_possible:
        return "the case states that something solid keeps the direct beam from this person"
    for entry in context.case.strike_out:
        if (
            entry.way == way
            and entry.mode is None  # a mode is known in a scene only
            and entry.person == person.name
            and entry.laser in (None, context.laser.name)
            and entry.setup in (None, context.setup.name)
        ):
            return str(entry.reason)
    return ""


def scenarios_of(context: Context) -> list[Scenario]:
    """Return the scenarios of one laser with one set-up, without controls and answers.

    Of a set-up that is not fitted today only the worst scenario of each person is kept.
    """
    found: list[Scenario] = []
    for person in context.case.person:
        if person.laser not in (None, context.laser.name) or person.setup not in (None, context.setup.name):
            continue
        own = [_scenario(context, person, way, tissue) for way in WAYS for tissue in TISSUES]
        if not context.setup.fitted:
            own = [max(own, key=lambda s: (not s.struck_out, _rank(s.ratio)))]
        found += own
    return found


def _scenario(context: Context, person: Person, way: str, tissue: str) -> Scenario:
    duration, reason = person_duration(person, context.wavelength, way)
    emission = context.emission(tissue, duration)
    findings = _findings(context, person, way, tissue, emission, duration)
    decided = max(findings, key=lambda name: _rank(findings[name].ratio))
    finding = findings[decided]
    if way == "scatter":
        distance, _ = distance_from_work(context, person)
        surface = context.scatter_surface[2]
        factor, words = 1.0, ""
    else:
        distance = float(person.distance)
        factor, words = (1.0, "") if way == "direct" else context.mirror_reflectance
        surface = words
    steps: tuple[Step, ...] = ()
    if context.setup.fitted:
        if factor != 1.0:
            steps += (amount_step(emission, finding.criterion, factor, words),)
        steps += exposure_steps(finding.criterion, finding.exposure, finding.working)
    area = area_of(context, tissue, duration)
    limit = limit_steps(finding.criterion, emission, context.wavelength, duration, finding.angle, area=area)
    return Scenario(
        key="",
        laser=context.laser.name,
        setup=context.setup.name,
        person=person.name,
        role=person.role,
        way=way,
        tissue=tissue,
        distance=distance,
        duration=duration,
        duration_reason=reason,
        exposure=finding.exposure,
        exposure_unit=finding.criterion.limit_unit,
        limit=finding.criterion.limit,
        ratio=finding.ratio,
        below=bool(finding.exposure <= finding.criterion.limit),
        criterion=replace(finding.criterion, steps=limit),
        ratio_by_rule_set={name: f.ratio for name, f in findings.items()},
        surface=surface,
        struck_out=_struck_out(context, person, way),
        steps=steps,
    )


def _rank(ratio: float) -> float:
    return math.inf if math.isnan(ratio) else ratio
