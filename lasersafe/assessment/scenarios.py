"""Person by person: what reaches them on each way, against the limit, and what answers it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from lasersafe.assessment.calculation import amount_step, exposure_steps, limit_steps
from lasersafe.assessment.context import Context
from lasersafe.assessment.lines import scenario_with_lines
from lasersafe.assessment.scans import scenarios_with_scan
from lasersafe.assessment.setups import CLOSEST_TO_SPOT, TISSUES, area_of
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria
from lasersafe.hazard.zones import exposure_at, worst_place
from lasersafe.optics.reflection import scatter_exposure, source_angle
from lasersafe.quantity import format_quantity
from lasersafe.results import Criterion, Scenario, Step

if TYPE_CHECKING:
    from lasersafe.models import Person

WAYS = ("direct", "mirror", "scatter")
BINOCULAR_OBJECTIVE = 50e-3  # m; 7x50, the usual aid (ANSI Z136.1, from memory), transmission taken as 1
PUPIL = 7e-3


@dataclass(frozen=True)
class Finding:
    """The comparison that decides one scenario under one rule set."""

    ratio: float
    exposure: float
    criterion: Criterion
    where: str


def person_duration(person: Person, wavelength: float, way: str) -> tuple[float, str]:
    """Return the exposure duration of a person on one way [s] and the reason."""
    if person.time is not None:
        return float(person.time), f"stated in the case: {person.time_reason}"
    turns_away = person.briefed and not person.deliberate_viewing
    duration, reason = exposure_duration(wavelength, way, turns_away=turns_away)
    if person.deliberate_viewing and duration < 100.0:
        return 100.0, "deliberate viewing (TROS2, 4.1)"
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


def beam_exposure(context: Context, person: Person, criterion: Criterion, factor: float) -> tuple[float, float]:
    """Return the highest exposure at or beyond the person's distance, and the place. [W/m2 or J/m2, m]."""
    best = (-math.inf, float(person.distance))
    for place in worst_place(context.beam, float(person.distance)):
        exposure = exposure_at(context.beam, place, criterion, factor)
        if person.aided and criterion.tissue == "eye" and 400e-9 <= context.wavelength <= 1400e-9:
            exposure = max(exposure, _aided(context, place, criterion, factor))
        if not exposure <= best[0]:
            best = (exposure, place)
    return best


def _aided(context: Context, place: float, criterion: Criterion, factor: float) -> float:
    objective = replace(criterion, limiting_aperture=BINOCULAR_OBJECTIVE)
    gain = (BINOCULAR_OBJECTIVE / PUPIL) ** 2
    return exposure_at(context.beam, place, objective, factor) * gain


def _findings(
    context: Context, person: Person, way: str, tissue: str, emission: Emission, duration: float
) -> dict[str, Finding]:
    area = area_of(context, tissue, duration)
    found: dict[str, Finding] = {}
    for rule_set in context.rule_sets:
        angle = ALPHA_MIN
        if way == "scatter" and tissue == "eye":
            distance, _ = distance_from_work(context, person)
            if not person.aided:
                view = context.scatter_surface[1]
                angle = max(ALPHA_MIN, float(source_angle(context.spot, context.spot, distance, view)))
        best: Finding | None = None
        for criterion in criteria(rule_set, tissue, emission, context.wavelength, duration, angle, area):
            if way == "scatter":
                distance, words = distance_from_work(context, person)
                reflectance, view, _ = context.scatter_surface
                model = context.case.settings.scatter_model
                exposure = float(scatter_exposure(criterion.amount, reflectance, distance, view, model))
                if person.aided and tissue == "eye":
                    exposure *= (BINOCULAR_OBJECTIVE / PUPIL) ** 2
                where = f"{model} scatter of {reflectance:g} at {format_quantity(distance, 'm', 4)} ({words})"
            else:
                factor = 1.0 if way == "direct" else context.mirror_reflectance[0]
                exposure, place = beam_exposure(context, person, criterion, factor)
                where = f"beam at {format_quantity(place, 'm', 4)} from the last optic"
            ratio = exposure / criterion.limit
            if best is None or not ratio <= best.ratio:
                best = Finding(ratio, exposure, criterion, where)
        assert best is not None
        found[rule_set] = best
    return found


def _struck_out(context: Context, person: Person, way: str) -> str:
    if way == "direct" and not person.in_beam_possible:
        return "the case states that something solid keeps the direct beam from this person"
    for entry in context.case.strike_out:
        if (
            entry.way == way
            and entry.person == person.name
            and entry.laser in (None, context.laser.name)
            and entry.setup in (None, context.setup.name)
        ):
            return str(entry.reason)
    return ""


def scenarios_of(context: Context, limits_shown: frozenset[Criterion]) -> list[Scenario]:
    """Return the scenarios of one laser with one set-up, without controls and answers.

    Of a set-up that is not fitted today only the worst scenario of each person is kept. A limit that the zones have
    worked out already, *limits_shown*, is not worked out again.
    """
    found: list[Scenario] = []
    for person in context.case.person:
        if person.laser not in (None, context.laser.name) or person.setup not in (None, context.setup.name):
            continue
        again = partial(_scenario, context, limits_shown=limits_shown)
        own = [again(person, way, tissue) for way in WAYS for tissue in TISSUES]
        own = scenarios_with_scan(context, person, own, again)
        if not context.setup.fitted:
            own = [max(own, key=lambda s: (not s.struck_out, _rank(s.ratio)))]
        found += own
    return found


def _scenario(context: Context, person: Person, way: str, tissue: str, limits_shown: frozenset[Criterion]) -> Scenario:
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
        if finding.criterion not in limits_shown:
            area = area_of(context, tissue, duration)
            steps += limit_steps(finding.criterion, emission, context.wavelength, duration, area=area)
        steps += exposure_steps(finding.criterion, finding.exposure, finding.where)
    found = Scenario(
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
        criterion=finding.criterion,
        ratio_by_rule_set={name: f.ratio for name, f in findings.items()},
        surface=surface,
        struck_out=_struck_out(context, person, way),
        steps=steps,
    )
    return scenario_with_lines(context, person, found)


def _rank(ratio: float) -> float:
    return math.inf if math.isnan(ratio) else ratio
