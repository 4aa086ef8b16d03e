"""Person by person: what reaches them on each way, against the limit, and what answers it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from lasersafe.assessment.alike import highest
from lasersafe.assessment.calculation import (
    Working,
    amount_step,
    beam_working,
    exposure_steps,
    limit_steps,
    scatter_working,
)
from lasersafe.assessment.context import Context, Scatterer, aid_of
from lasersafe.assessment.lines import scenario_with_lines
from lasersafe.assessment.scans import scenarios_with_scan
from lasersafe.assessment.setups import CLOSEST_TO_SPOT, TISSUES
from lasersafe.hazard.aided import UNDESCRIBED, Aid, aided_exposure
from lasersafe.hazard.combine import group_of
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, criteria, source_caps
from lasersafe.hazard.zones import exposure_at, worst_place
from lasersafe.optics.extended import limited_angle
from lasersafe.optics.geometry import diameters
from lasersafe.optics.reflection import scatter_exposure, source_angles
from lasersafe.optics.viewing import magnified_angle
from lasersafe.results import Criterion, Scenario, Step
from lasersafe.worst import badness

if TYPE_CHECKING:
    from lasersafe.models import Person

WAYS = ("direct", "mirror", "scatter")
_POINT = (0.0, 0.0)  # angles of a source that earns no credit for its size [rad]


@dataclass(frozen=True)
class Finding:
    """The comparison that decides one scenario under one rule set."""

    ratio: float
    exposure: float
    criterion: Criterion
    working: Working
    angle: float  # angular subtense of the source [rad]
    distance: float  # [m] from the last optic, or from what scatters
    surface: str


def person_duration(
    person: Person, wavelength: float, way: str, tissue: str = "eye", laser: str = ""
) -> tuple[float, str]:
    """Return the exposure duration of a person on one way [s] and the reason.

    Visits of the day count for ultraviolet. Turning away is counted on for the bare eye of a briefed person who takes
    part, and for nothing else.
    """
    visits = [v for v in person.visits if v.way == way and v.laser in (None, laser)] if wavelength < 400e-9 else []
    if visits:
        total = min(sum(float(v.time) for v in visits), 30_000.0)
        return total, f"ultraviolet: {len(visits)} visits of the day on this way together"
    if person.time is not None:
        return float(person.time), f"stated in the case: {person.time_reason}"
    turns_away = (
        person.briefed
        and not person.deliberate_viewing
        and tissue == "eye"
        and not person.eyewear
        and person.role not in ("spectator", "passer-by")
    )
    duration, reason = exposure_duration(wavelength, way, turns_away=turns_away)
    if person.deliberate_viewing and duration < 100.0:
        return 100.0, "deliberate viewing (TROS-2, 4.1)"
    return duration, reason


def bare_first(person: Person) -> tuple[Person, ...]:
    """Return a person as if without eyewear, then with it: who is below without it is no worse off for wearing it.

    Nobody is taken to turn away behind a filter, so that the longer time counts where the eyewear has to hold.
    """
    wears = person.briefed and person.eyewear
    return (person.model_copy(update={"eyewear": ""}), person) if wears else (person,)


def distance_from(person: Person, scatterer: Scatterer, retinal: bool = True) -> tuple[float, str]:
    """Return how near a person comes to what scatters [m], and how that is known.

    Nobody looks from nearer than 0.1 m, nor is taken to be nearer without a statement; skin and cornea are as near as
    is stated.
    """
    if scatterer.at_work and person.distance_from_work is not None:
        found, words = float(person.distance_from_work), "as stated"
        if not retinal:
            return found, words
    elif scatterer.distance is not None:
        found = max(float(person.distance) - scatterer.distance, 0.0)
        words = "lower bound: nearest distance from the optic less that of the surface"
    else:
        found, words = 0.0, "unknown, so as near as possible"
    if found < CLOSEST_TO_SPOT:
        return CLOSEST_TO_SPOT, f"{words}; 0.1 m is taken as the nearest viewing distance"
    return found, words


def scattered(person: Person, scatterer: Scatterer, criterion: Criterion, model: str) -> float:
    """Return what a comparison sees of the scatter where a person comes nearest; never more than all through D_a."""
    distance, _ = distance_from(person, scatterer, criterion.retinal)
    amount, part = criterion.amount, scatterer.reflectance
    there = float(scatter_exposure(amount, part, distance, scatterer.view_angle, model))
    return min(there, amount * part / (math.pi / 4.0 * criterion.limiting_aperture**2))


def beam_exposure(context: Context, person: Person, criterion: Criterion, factor: float) -> tuple[float, float, bool]:
    """Return the highest exposure at or beyond the person's distance, the place [m], and whether an aid was used."""
    best, hole = (-math.inf, float(person.distance), False), criterion.limiting_aperture
    holes = (hole, float(aid_of(person).collects(hole))) if person.aided else (hole,)
    for place in worst_place(context.beam, float(person.distance), holes):
        exposure, aided = exposure_at(context.beam, place, criterion, factor), False
        if person.aided and criterion.tissue == "eye":
            through_aid = _aided(context, person, place, criterion, factor)
            if not through_aid <= exposure:
                exposure, aided = through_aid, True
        if not exposure <= best[0]:
            best = (exposure, place, aided)
    return best


def _aided(context: Context, person: Person, place: float, criterion: Criterion, factor: float) -> float:
    instrument = aid_of(person)
    dx, dy = diameters(context.beam, place)
    hole = criterion.limiting_aperture
    collected, gain = float(instrument.collects(hole)), instrument.gain(context.wavelength, hole)
    return float(aided_exposure(criterion.amount * factor, dx, dy, collected, gain, context.beam.profile))


def looks_at(
    context: Context, person: Person, tissue: str, scatterer: Scatterer
) -> list[tuple[Aid | None, tuple[float, float]]]:
    """Return each instrument, None for the bare eye, with the angles [rad] of both axes that are seen through it."""
    if tissue != "eye":
        return [(None, _POINT)]
    distance, _ = distance_from(person, scatterer)
    spot = context.spot if scatterer.at_work else 0.0
    first, second = map(float, source_angles(spot, spot, distance, scatterer.view_angle))
    bare = (None, (first, second))
    if not person.aided:
        return [bare]
    instrument = aid_of(person)
    if instrument is UNDESCRIBED:  # no credit for what it magnifies
        return [(instrument, _POINT)]
    power = instrument.magnification
    return [bare, (instrument, (float(magnified_angle(first, power)), float(magnified_angle(second, power))))]


def _findings(
    context: Context,
    person: Person,
    way: str,
    tissue: str,
    emission: Emission,
    duration: float,
    fractions: dict[tuple[str, str], float],
) -> dict[str, Finding]:
    """Return the worst comparison under each rule set; the highest fraction of each group goes into *fractions*."""
    found: dict[str, Finding] = {}
    for rule_set in context.rule_sets:
        every: list[Finding] = []
        if way == "scatter":
            caps = source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
            for scatterer in context.scatterers:
                for instrument, axes in looks_at(context, person, tissue, scatterer):
                    for angle in dict.fromkeys(float(limited_angle(*axes, ALPHA_MIN, cap)) for cap in caps):
                        for c in criteria(rule_set, tissue, emission, context.wavelength, duration, angle):
                            every.append(_scatter_finding(context, person, c, scatterer, instrument, angle))
        else:
            for c in criteria(rule_set, tissue, emission, context.wavelength, duration, ALPHA_MIN):
                every.append(_beam_finding(context, person, way, c))
        found[rule_set] = max(every, key=lambda finding: badness(finding.ratio))
        for one in every:
            key = (rule_set, group_of(tissue, one.criterion.hazard, context.wavelength))
            fractions[key] = max(fractions.get(key, 0.0), one.ratio, key=badness)
    return found


def _scatter_finding(
    context: Context, person: Person, criterion: Criterion, scatterer: Scatterer, seen: Aid | None, angle: float
) -> Finding:
    distance, words = distance_from(person, scatterer, criterion.retinal)
    model = context.case.settings.scatter_model
    exposure = scattered(person, scatterer, criterion, model)
    collected = None
    if seen is not None:
        gain = seen.gain(context.wavelength, criterion.limiting_aperture)
        exposure *= gain
        collected = (gain, seen.words(context.wavelength, criterion.limiting_aperture))
    working = scatter_working(criterion, distance, words, scatterer.reflectance, scatterer.view_angle, model, collected)
    return Finding(exposure / criterion.limit, exposure, criterion, working, angle, distance, scatterer.words)


def _beam_finding(context: Context, person: Person, way: str, criterion: Criterion) -> Finding:
    factor, surface = (1.0, "") if way == "direct" else context.mirror_reflectance
    exposure, place, aided = beam_exposure(context, person, criterion, factor)
    words = aid_of(person).words(context.wavelength, criterion.limiting_aperture) if aided else ""
    working = beam_working(criterion, context.beam, place, factor, words)
    ratio = exposure / criterion.limit
    return Finding(ratio, exposure, criterion, working, ALPHA_MIN, float(person.distance), surface)


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

    Of a set-up that is not fitted today only the worse tissue of each person and way is kept.
    """
    found: list[Scenario] = []
    for person in context.case.person:
        if person.laser not in (None, context.laser.name) or person.setup not in (None, context.setup.name):
            continue
        again = partial(_scenario, context)
        own = [again(person, way, tissue) for way in WAYS for tissue in TISSUES]
        own = scenarios_with_scan(context, person, own, again)
        if not context.setup.fitted:
            own = [max((s for s in own if s.way == way), key=lambda s: badness(s.ratio)) for way in WAYS]
        found += own
    return found


def _scenario(context: Context, person: Person, way: str, tissue: str) -> Scenario:
    lasting = dict.fromkeys(
        context.not_shorter_than_a_pulse(*person_duration(one, context.wavelength, way, tissue, context.laser.name))
        for one in bare_first(person)
    )
    every = zip(lasting, bare_first(person)[-len(lasting) :], strict=True)
    found = [_lasting(context, one, way, tissue, *time) for time, one in every]
    return next((scenario for scenario in found if scenario.below), found[-1])


def _lasting(context: Context, person: Person, way: str, tissue: str, duration: float, reason: str) -> Scenario:
    fractions: dict[tuple[str, str], float] = {}
    by_setting = [
        (one, _findings(context, person, way, tissue, one, duration, fractions))
        for one in context.emissions(tissue, duration)
    ]
    emission, findings = max(by_setting, key=lambda one: max(badness(f.ratio) for f in one[1].values()))
    decided = max(findings, key=lambda name: badness(findings[name].ratio))
    finding = findings[decided]
    factor, words = context.mirror_reflectance if way == "mirror" else (1.0, "")
    steps: tuple[Step, ...] = ()
    if context.setup.fitted:
        if factor != 1.0:
            steps += (amount_step(emission, finding.criterion, factor, words),)
        steps += exposure_steps(finding.criterion, finding.exposure, finding.working)
    limit = limit_steps(finding.criterion, emission, context.wavelength, duration, finding.angle)
    found = Scenario(
        key="",
        laser=context.laser.name,
        setup=context.setup.name,
        person=person.name,
        role=person.role,
        way=way,
        tissue=tissue,
        distance=finding.distance,
        duration=duration,
        duration_reason=reason,
        exposure=finding.exposure,
        exposure_unit=finding.criterion.limit_unit,
        limit=finding.criterion.limit,
        ratio=finding.ratio,
        below=bool(finding.exposure <= finding.criterion.limit),
        criterion=replace(finding.criterion, steps=limit),
        ratio_by_rule_set=highest({name: f.ratio for name, f in one.items()} for _, one in by_setting),
        surface=finding.surface,
        struck_out=_struck_out(context, person, way),
        steps=steps,
        fractions=fractions,
    )
    return scenario_with_lines(context, person, found)
