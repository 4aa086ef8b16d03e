"""Person by person: what reaches them on each way, against the limit, and what answers it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from lasersafe.assessment.calculation import Working, amount_step, beam_working, exposure_steps, scatter_working
from lasersafe.assessment.context import Context, Scatterer, aid_of
from lasersafe.assessment.lines import every_context, lines_of, shares_of, sum_step, with_limit_steps
from lasersafe.assessment.scans import scenarios_with_scan
from lasersafe.assessment.setups import CLOSEST_TO_SPOT, TISSUES
from lasersafe.hazard.combine import Line, Sum, exposure_duration, sums_at
from lasersafe.hazard.distances import exposure_at, worst_place
from lasersafe.hazard.instruments import UNDESCRIBED, Aid
from lasersafe.optics.beam import diameters, mean_exposure
from lasersafe.optics.reflection import scatter_exposure, source_angles
from lasersafe.optics.viewing import magnified_angle
from lasersafe.records.fields import badness
from lasersafe.results import Criterion, Scenario, Step
from lasersafe.wording.message import Message, joined

if TYPE_CHECKING:
    from lasersafe.models import Person

_POINT = (0.0, 0.0)  # angles of a source that earns no credit for its size [rad]


@dataclass(frozen=True)
class Look:
    """Light on one way as a person sees it: angles of its source [rad], exposure, and how that comes about."""

    axes: tuple[float, float]
    exposure: Callable[[Context, Criterion], float]
    working: Callable[[Context, Criterion], Working]
    distance: Callable[[Criterion], float]  # [m] from the last optic, or from what scatters
    surface: str

    def of_line(self, found: Mapping[str, Context], line: Line, criterion: Criterion) -> float:
        """Return the exposure that a comparison of one wavelength sees."""
        return self.exposure(found[line.name], criterion)


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
        return total, Message("time.visits", count=len(visits))
    if person.time is not None:
        return float(person.time), Message("time.stated", reason=person.time_reason)
    turns_away = (
        person.briefed
        and not person.deliberate_viewing
        and tissue == "eye"
        and not person.eyewear
        and person.role not in ("spectator", "passer-by")
    )
    duration, reason = exposure_duration(wavelength, way, turns_away=turns_away)
    if person.deliberate_viewing and duration < 100.0:
        return 100.0, Message("time.deliberate")
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
        found, words = float(person.distance_from_work), Message("place.stated")
        if not retinal:
            return found, words
    elif scatterer.distance is not None:
        found = max(float(person.distance) - scatterer.distance, 0.0)
        words = Message("place.lower_bound")
    else:
        found, words = 0.0, Message("place.unknown")
    if found < CLOSEST_TO_SPOT:
        return CLOSEST_TO_SPOT, joined([words, Message("place.nearest")])
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
    return gain * float(mean_exposure(criterion.amount * factor, dx, dy, collected, context.beam.profile))


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


def _looks(context: Context, person: Person, way: str, tissue: str, factor: float, surface: str) -> list[Look]:
    """Return everything that sends light to a person on one way; *factor* is the share that goes on."""
    if way != "scatter":
        return [
            Look(
                _POINT,
                lambda own, c: beam_exposure(own, person, c, factor)[0],
                partial(_beam_working, person, factor),
                lambda _: float(person.distance),
                surface,
            )
        ]
    return [
        Look(
            axes,
            partial(_from_spot, person, number, seen),
            partial(_spot_working, person, number, seen),
            partial(_nearest, person, one),
            one.words,
        )
        for number, one in enumerate(context.scatterers)
        for seen, axes in looks_at(context, person, tissue, one)
    ]


def _nearest(person: Person, scatterer: Scatterer, criterion: Criterion) -> float:
    return distance_from(person, scatterer, criterion.retinal)[0]


def _from_spot(person: Person, number: int, seen: Aid | None, own: Context, criterion: Criterion) -> float:
    gain = 1.0 if seen is None else seen.gain(own.wavelength, criterion.limiting_aperture)
    return gain * scattered(person, own.scatterers[number], criterion, own.case.settings.scatter_model)


def _spot_working(person: Person, number: int, seen: Aid | None, own: Context, criterion: Criterion) -> Working:
    one, model = own.scatterers[number], own.case.settings.scatter_model
    distance, words = distance_from(person, one, criterion.retinal)
    at = own.wavelength, criterion.limiting_aperture
    collected = None if seen is None else (seen.gain(*at), seen.words(*at))
    return scatter_working(criterion, distance, words, one.reflectance, one.view_angle, model, collected)


def _beam_working(person: Person, factor: float, own: Context, criterion: Criterion) -> Working:
    _, place, aided = beam_exposure(own, person, criterion, factor)
    words = aid_of(person).words(own.wavelength, criterion.limiting_aperture) if aided else ""
    return beam_working(criterion, own.beam, place, factor, words)


def _seen(found: Mapping[str, Context], looks: Iterable[Look], tissue: str, duration: float) -> list[tuple[Sum, Look]]:
    """Return the sums of some wavelengths of a laser under every rule set, each with what sends the light."""
    lines, context = lines_of(found, tissue, duration), next(iter(found.values()))
    return [
        (one, look)
        for name in context.rule_sets
        for look in looks
        for one in sums_at(name, tissue, lines, duration, partial(look.of_line, found), look.axes)
    ]


def _highest(every: Iterable[tuple[Sum, Look]]) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Return the highest sum under each rule set, and in each of its groups."""
    by_set: dict[str, float] = {}
    by_group: dict[tuple[str, str], float] = {}
    for one, _ in every:
        key = one.rule_set, one.group
        by_set[one.rule_set] = max(by_set.get(one.rule_set, 0.0), one.total, key=badness)
        by_group[key] = max(by_group.get(key, 0.0), one.total, key=badness)
    return by_set, by_group


def _struck_out(context: Context, person: Person, way: str) -> str:
    if way == "direct" and not person.in_beam_possible:
        return Message("struck.solid")
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
    for person in context.persons:
        again = partial(_scenario, context)
        own = [again(person, way, tissue) for way in context.ways for tissue in TISSUES]
        own = scenarios_with_scan(context, person, own, again)
        if not context.setup.fitted:
            own = [max((s for s in own if s.way == way), key=lambda s: badness(s.ratio)) for way in context.ways]
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
    """Return the scenario of a stated duration [s] with all wavelengths of the laser; the main one stands for them."""
    alone = {"": context}
    factor, words = context.share(way)
    every = _seen(alone, _looks(context, person, way, tissue, factor, words), tissue, duration)
    best, look = max(every, key=lambda one: badness(one[0].total))
    share, ratios = best.shares[0], _highest(every)
    criterion = share.criterion
    steps: tuple[Step, ...] = ()
    if context.setup.fitted:
        if factor != 1.0:
            steps += (amount_step(share.emission, criterion, factor, words),)
        steps += exposure_steps(criterion, share.exposure, look.working(context, criterion))
    found = Scenario(
        key="",
        laser=context.laser.name,
        setup=context.setup.name,
        person=person.name,
        role=person.role,
        way=way,
        tissue=tissue,
        distance=look.distance(criterion),
        duration=duration,
        duration_reason=reason,
        exposure=share.exposure,
        exposure_unit=criterion.limit_unit,
        limit=criterion.limit,
        ratio=share.fraction,
        below=bool(share.exposure <= criterion.limit),
        criterion=with_limit_steps(alone, share, duration),
        ratio_by_rule_set=ratios[0],
        surface=look.surface,
        struck_out=_struck_out(context, person, way),
        steps=steps,
        fractions=ratios[1],
    )
    return _with_lines(context, person, found) if context.laser.line else found


def _with_lines(context: Context, person: Person, scenario: Scenario) -> Scenario:
    """Return a scenario with the fractions of all wavelengths added, for the longest exposure of any of them."""
    found, way, tissue = every_context(context), scenario.way, scenario.tissue
    durations = (
        own.not_shorter_than_a_pulse(*person_duration(person, own.wavelength, way, tissue, context.laser.name))
        for own in found.values()
    )
    duration, reason = max(durations, key=lambda pair: pair[0])
    factor = max(own.share(way)[0] for own in found.values())
    every = _seen(found, _looks(context, person, way, tissue, factor, ""), tissue, duration)
    ratios, fractions = _highest(every)
    ratios = {name: max(own, ratios[name], key=badness) for name, own in scenario.ratio_by_rule_set.items()}
    best, _ = max(every, key=lambda one: badness(one[0].total))
    if best.total <= scenario.ratio:
        return replace(scenario, ratio_by_rule_set=ratios, fractions=fractions)
    first = best.shares[0]
    return replace(
        scenario,
        duration=duration,
        duration_reason=reason,
        exposure=first.exposure,
        exposure_unit=first.criterion.limit_unit,
        limit=first.criterion.limit,
        ratio=best.total,
        below=bool(best.total <= 1.0),
        criterion=with_limit_steps(found, first, duration),
        ratio_by_rule_set=ratios,
        fractions=fractions,
        shares=shares_of(best),
        steps=(*scenario.steps, sum_step(best)),
    )
