"""Person by person: what reaches them on each way, against the limit; from an extended source and a module as well."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np

from lasersafe.assessment import calculation
from lasersafe.assessment.context import GLOWING, NO_AID, TISSUES, Context, Scatterer, aid_of, duration_of_all, lines_of
from lasersafe.assessment.scans import with_scan
from lasersafe.hazard import scatter
from lasersafe.hazard.combine import Line, Sum, exposure_duration, groups, sums_at
from lasersafe.hazard.distances import exposure_at, worst_place
from lasersafe.hazard.exposure import Floats
from lasersafe.hazard.instruments import UNDESCRIBED, Aid
from lasersafe.models import Extended, Person
from lasersafe.optics.reflection import LitSpot, source_angles
from lasersafe.optics.viewing import ExtendedSource, side_by_side
from lasersafe.quantity import format_quantity
from lasersafe.records import Criterion, ExtendedResult, LineShare, ModuleResult, Step, badness, highest
from lasersafe.results import GUESTS, Scenario
from lasersafe.wording import Message, joined, word

_VIEWS = 400  # between which an extended source is bounded
_TOUCHING = 1e-3  # m: from here on skin and cornea are searched; nobody looks from nearer than the nearest view


def scenario_of(
    context: Context, person: Person, time: tuple[float, str], criterion: Criterion, **found: Any
) -> Scenario:
    """Return a scenario of a person and a laser with its exposure duration and reason, and what was found."""
    return Scenario(
        key="", laser=context.laser.name, setup=context.setup.name, person=person.name, role=person.role,
        duration=time[0], duration_reason=time[1], exposure_unit=criterion.limit_unit, limit=criterion.limit,
        criterion=criterion, **found,
    )  # fmt: skip


def person_duration(own: Context, person: Person, way: str, tissue: str) -> tuple[float, str]:
    """Return the exposure duration of a person to one wavelength of a laser on one way [s] and the reason.

    Visits of the day count for ultraviolet. Turning away is counted on for the bare eye of a briefed person who takes
    part, and for nothing else.
    """
    visits = [v for v in person.visits if v.way == way and v.laser in (None, own.laser.name)]
    if visits and own.wavelength < 400e-9:
        total = min(sum(float(v.time) for v in visits), 30_000.0)
        return total, Message("time.visits", count=len(visits))
    if person.time is not None:
        return float(person.time), Message("time.stated", reason=person.time_reason)
    takes_part = person.briefed and person.role not in GUESTS
    turns_away = takes_part and not person.deliberate_viewing and tissue == "eye" and not person.eyewear
    duration, reason = exposure_duration(own.wavelength, way, turns_away=turns_away)
    if person.deliberate_viewing and duration < 100.0:
        return 100.0, Message("time.deliberate")
    return duration, reason


def person_time(lines: Iterable[Context], person: Person, way: str, tissue: str) -> tuple[float, str]:
    """Return the longest exposure of a person to some wavelengths of a laser, at least a pulse, [s] and the reason."""
    every = (own.not_shorter_than_a_pulse(*person_duration(own, person, way, tissue)) for own in lines)
    return max(every, key=lambda time: time[0])


def bare_first(person: Person) -> tuple[Person, ...]:
    """Return a person as if without eyewear, then with it: who is below without it is no worse off for wearing it.

    Nobody is taken to turn away behind a filter, so that the longer time counts where the eyewear has to hold.
    """
    wears = person.briefed and person.eyewear
    return (person.model_copy(update={"eyewear": ""}), person) if wears else (person,)


def struck_out(context: Context, person: Person, way: str, mode: str = "") -> str:
    """Return why the case leaves a way to a person out, blank where it does not; a mode is known in a scene only."""
    if way == "aided viewing" and not person.aided:
        return Message(NO_AID)
    ways = (way, "direct") if way in ("missing the target", "through the target") else (way,)
    if "direct" in ways and not person.in_beam_possible:
        return Message("struck.solid")
    for entry in context.case.strike_out:
        if (
            entry.way in (*ways, "every way")
            and entry.mode in (None, mode)
            and entry.person == person.name
            and entry.laser in (None, context.laser.name)
            and entry.setup in (None, context.setup.name)
        ):
            return str(entry.reason)
    return ""


def distance_from(person: Person, scatterer: Scatterer, retinal: bool = True) -> tuple[float, str]:
    """Return how near a person comes to what scatters [m], and how that is known.

    Nobody looks from nearer than 0.1 m, nor is taken to be nearer without a statement; skin and cornea are as near as
    is stated.
    """
    if scatterer.at_work and person.distance_from_work is not None:
        apart = abs(scatterer.off)
        found = max(float(person.distance_from_work) - apart, _TOUCHING)
        off = format_quantity(apart, "m", 3, "up")
        words = Message("place.less", off=off) if apart > 0.0 else Message("place.stated")
        if not retinal:
            return found, words
    elif scatterer.farthest is not None:
        found = max(float(person.distance) - scatterer.farthest, 0.0)
        words = Message("place.lower_bound")
    else:
        found, words = 0.0, Message("place.unknown")
    if found < scatter.CLOSEST_VIEW:
        return scatter.CLOSEST_VIEW, joined([words, Message("place.nearest")])
    return found, words


@dataclass(frozen=True)
class Look:
    """Light on one way as a person sees it: in a beam, or, by its number, from one of the things that scatter."""

    person: Person
    factor: float = 1.0  # reflectance of a mirror on the way
    surface: str = ""
    number: int | None = None
    through: Aid | None = None  # scatter only; in a beam the instrument counts where it sees more
    axes: tuple[float, float] = (0.0, 0.0)  # angles of the source [rad]; of one that earns no credit for its size 0

    def distance(self, own: Context, criterion: Criterion) -> tuple[float, str]:
        """Return how far away a person is from the last optic, or from what scatters [m], and how that is known."""
        if self.number is None:
            return float(self.person.distance), ""
        return distance_from(self.person, own.scatterers[self.number], criterion.retinal)

    def seen(self, own: Context, criterion: Criterion) -> tuple[float, Callable[[], calculation.Working]]:
        """Return the exposure that a comparison sees, and how it comes about.

        In a beam it is the highest at or beyond the person; of scatter never more than all of it through the aperture.
        """
        (away, known), hole = self.distance(own, criterion), criterion.limiting_aperture
        at, amount = (own.wavelength, hole), criterion.amount
        if self.number is None:
            looks: list[tuple[Criterion, float, tuple[float, float, str] | None]] = [(criterion, 1.0, None)]
            if self.person.aided:
                used = aid_of(self.person)
                wide, gain = float(used.collects(hole)), used.gain(*at)
                looks.append((replace(criterion, limiting_aperture=wide), gain, (wide, gain, used.words(*at))))
            places = worst_place(own.beam, away, tuple(one.limiting_aperture for one, _, _ in looks))
            every = [
                (exposure_at(own.beam, place, one, self.factor) * gain, place, seen)
                for place in places
                for one, gain, seen in (looks if criterion.tissue == "eye" else looks[:1])
            ]
            exposure, place, seen = max(every, key=lambda one: badness(one[0]))
            return exposure, partial(calculation.beam_working, criterion, own.beam, place, self.factor, seen)
        one, aid = own.scatterers[self.number], self.through
        spot = LitSpot(one.reflectance, one.view_angle, own.case.settings.scatter_model)
        gain = 1.0 if aid is None else aid.gain(*at)
        collected = None if aid is None else (gain, aid.words(*at))
        how = partial(calculation.scatter_working, criterion, away, known, spot, collected)
        return gain * min(float(spot.exposure(amount, away)), amount * one.reflectance / (math.pi / 4.0 * hole**2)), how


def looks_of(context: Context, person: Person, way: str, tissue: str, factor: float, surface: str = "") -> list[Look]:
    """Return everything that sends light to a person on one way; *factor* is the share that goes on."""
    if way != "scatter":
        return [Look(person, factor, surface)]
    found, aid = [], aid_of(person) if person.aided and tissue == "eye" else None
    for number, one in enumerate(context.scatterers):
        bare = Look(person, factor, one.words, number, aid)
        if tissue != "eye" or aid is UNDESCRIBED:  # no credit for what it magnifies
            found.append(bare)
            continue
        spot = context.narrowest_spot(*(() if one.distance is None else (one.distance,))) if one.at_work else 0.0
        first, second = map(float, source_angles(spot, spot, distance_from(person, one)[0], one.view_angle))
        found.append(replace(bare, through=None, axes=(first, second)))
        if aid is not None:
            first, second = (min(float(angle) * aid.magnification, math.pi) for angle in (first, second))
            found.append(replace(bare, axes=(first, second)))
    return found


def _worst_sum(
    found: Mapping[str, Context], looks: list[Look], tissue: str, duration: float
) -> tuple[Sum, Look, dict[str, float], dict[tuple[str, str], float]]:
    """Return the highest sum of some wavelengths, what sends its light, and the highest by rule set, and by group."""
    lines = lines_of(found, tissue, duration)

    def exposure(look: Look, line: Line, criterion: Criterion) -> float:
        return look.seen(found[line.name], criterion)[0]

    every = [
        (one, look)
        for name in next(iter(found.values())).rule_sets
        for look in looks
        for one in sums_at(name, tissue, lines, duration, partial(exposure, look), look.axes)
    ]
    by_group = highest({(one.rule_set, one.group): one.total} for one, _ in every)
    by_set = highest({one.rule_set: one.total} for one, _ in every)
    return *max(every, key=lambda one: badness(one[0].total)), by_set, by_group


def scenarios_of(context: Context, placed: Collection[str] = ()) -> Iterator[Scenario]:
    """Yield the scenarios of one laser with one set-up, without controls and answers, but of persons with a place.

    Of a set-up that is not fitted today only the worse tissue of each person and way is kept. In the beam of a fault
    there is one for each tissue, straight or over a mirror.
    """
    for person in (one for one in context.persons if one.name not in placed):
        again = partial(_scenario, context)
        if context.fault:
            struck = struck_out(context, person, context.fault)
            for tissue in TISSUES:
                each = (again(person, way, tissue) for way in context.ways_of_fault)
                top = max(each, key=lambda s: badness(s.ratio))
                yield replace(top, way=context.fault, struck_out=struck)
            continue
        own = [s for way in context.ways for tissue in TISSUES for s in with_scan(context, person, way, tissue, again)]
        if not context.setup.fitted:
            own = [max((s for s in own if s.way == way), key=lambda s: badness(s.ratio)) for way in context.ways]
        yield from own


def _scenario(context: Context, person: Person, way: str, tissue: str) -> Scenario:
    lasting = {person_time([context], one, way, tissue): one for one in bare_first(person)}
    found = [_lasting(context, one, way, tissue, time) for time, one in lasting.items()]
    return next((scenario for scenario in found if scenario.below), found[-1])


def _lasting(context: Context, person: Person, way: str, tissue: str, time: tuple[float, str]) -> Scenario:
    """Return the scenario of a duration and its reason; the sum of all wavelengths counts where it is higher."""
    factor, words = context.share(way)
    looks = looks_of(context, person, way, tissue, factor, words)
    lines = {"": context}
    best, look, ratios, fractions = _worst_sum(lines, looks, tissue, time[0])
    added, shares = list[Step](), tuple[LineShare, ...]()
    if context.laser.line:
        every = context.every
        longest = person_time(every.values(), person, way, tissue)
        brightest = max((own.share(way) for own in every.values()), key=lambda one: one[0])
        looks = [replace(one, factor=brightest[0]) for one in looks]
        total, there, more, fractions = _worst_sum(every, looks, tissue, longest[0])
        ratios = highest([ratios, more])
        if not total.total <= best.total:
            lines, best, look, time, (factor, words) = every, total, there, longest, brightest
            added, shares = [calculation.sum_step(total)], calculation.shares_of(total)
    share, criterion, steps = best.shares[0], best.shares[0].criterion, list[Step]()
    distance = look.distance(lines[share.line], criterion)[0]
    if context.setup.fitted:
        steps += [calculation.amount_step(share.light.emission, criterion, factor, words)] if factor != 1.0 else []
        steps += calculation.exposure_steps(criterion, share.exposure, look.seen(lines[share.line], criterion)[1]())
    steps += added
    return scenario_of(
        context, person, time, calculation.with_limit_steps(share), way=way, tissue=tissue, distance=distance,
        exposure=share.exposure, ratio=best.total, shares=shares, surface=look.surface, steps=tuple(steps),
        below=bool(share.exposure <= share.criterion.limit and best.total <= 1.0), ratio_by_rule_set=ratios,
        struck_out=struck_out(context, person, way), fractions=fractions,
    )  # fmt: skip


def source_of(extended: Extended) -> ExtendedSource:
    """Return an extended source of a case in SI units."""
    divergence = (0.0, 0.0) if extended.divergence is None else extended.divergence.pair
    pitch = (0.0, 0.0) if extended.pitch is None else extended.pitch.pair
    even = None if extended.peak_over_mean is None else float(extended.peak_over_mean)
    return ExtendedSource(
        extended.size.pair, extended.spread, divergence, (extended.columns, extended.rows), pitch, extended.shares,
        even, float(extended.transmittance),
    )  # fmt: skip


def fed_by(context: Context) -> list[Extended]:
    """Return the extended sources that a laser feeds with the set-up that is fitted."""
    return [e for e in context.case.extended if e.laser == context.laser.name] if context.setup.fitted else []


@dataclass(frozen=True)
class _Glow:
    """What people get of an extended source for a duration [s]: all wavelengths that feed it, the tissue, its size."""

    lines: Collection[Context]
    tissue: str
    duration: float
    source: ExtendedSource

    def ratio(self, name: str) -> Callable[[Floats], Floats]:
        """Return the function from distances to the highest sum of wavelengths of one group, each at its worst."""
        every = []
        for own in self.lines:
            lights = own.received(self.tissue, self.duration, (name,))
            settings = [scatter.Viewed(light, self.source).ratio for light in lights]
            every.append((groups(self.tissue, own.wavelength), settings))
        together = frozenset().union(*(shared for shared, _ in every))

        def ratio(distance: Floats) -> Floats:
            each = [(shared, np.max([one(distance) for one in settings], axis=0)) for shared, settings in every]
            sums = [np.sum([one for shared, one in each if group in shared], axis=0) for group in together]
            return np.asarray(np.max(sums, axis=0))

        return ratio

    def steps(self, name: str) -> Floats:
        """Return just beyond which distances the ratio can jump up. [m]."""
        lights = (light for own in self.lines for light in own.received(self.tissue, self.duration, (name,)))
        return scatter.step_distances(self.source, lights)

    def falling(self, name: str, nearest: float) -> Callable[[Floats], Floats]:
        """Return a bound of the ratio from distances on, none nearer than *nearest* [m], which never rises [1]_.

        References
        ----------
        .. [1] Own: exposure never rises with distance, an angle never falls faster than 1/r, and between two of their
           steps no limit falls faster than two angles do; far beyond, where every part is a point, the ratio falls.
        """
        ratio, steps = self.ratio(name), self.steps(name)
        far = max(10.0 * nearest, float(steps.max()))
        places = np.unique(np.clip(np.append(np.geomspace(nearest, far, _VIEWS), steps), nearest, far))
        values = ratio(places)
        between = np.maximum(values[:-1], values[1:]) * (places[1:] / places[:-1]) ** 2
        bound = np.maximum.accumulate(np.append(between, values[-1])[::-1])[::-1]

        def beyond(distance: Floats) -> Floats:
            at = np.clip(np.searchsorted(places, distance, side="right") - 1, 0, places.size - 1)
            return np.where(distance < far, bound[at], ratio(np.maximum(distance, far)))

        return beyond

    def worst_views(
        self, near: float, farthest: float = 1e4, points: int = 120
    ) -> tuple[str, dict[str, scatter.SourceFinding]]:
        """Return the rule set that decides, and what each finds at its worst distance, *near* [m] or beyond.

        Of several wavelengths that which gives most is told, with the ratio of all that add.
        """
        tops = {}
        for name in next(iter(self.lines)).rule_sets:
            place, most = scatter.most_hazardous_distance(self.ratio(name), near, farthest, points, self.steps(name))
            lights = (light for own in self.lines for light in own.received(self.tissue, self.duration, (name,)))
            every = (scatter.Viewed(light, self.source).findings(place)[0] for light in lights)
            tops[name] = max(every, key=lambda one: badness(one.ratio))
            if len(self.lines) > 1:
                tops[name] = replace(tops[name], ratio=max(tops[name].ratio, most, key=badness))
        return max(tops, key=lambda name: badness(tops[name].ratio)), tops


def _nearest_view(context: Context, extended: Extended, tissue: str, duration: float) -> float:
    """Return how near anybody is to an extended source [m]: skin and cornea touch it, nobody looks from so near."""
    lines = context.every.values()
    looks = all(c.retinal for own in lines for c in own.compared(tissue, duration))
    return float(extended.nearest) if looks else _TOUCHING


def glow_ratios(context: Context, tissue: str) -> Iterator[dict[tuple[str, str], Callable[[Floats], Floats]]]:
    """Yield, for each extended source that a laser feeds, bounds of exposure over limit by rule set and group.

    They take distances from the source [m], as `lasersafe.assessment.distances.group_ratios` does.
    """
    duration, _ = duration_of_all(context.every, "scatter")
    for one in fed_by(context):
        glow = _Glow(context.every.values(), tissue, duration, source_of(one))
        near = _nearest_view(context, one, tissue, duration)
        each = {name: glow.falling(name, near) for name in context.rule_sets}
        yield {(name, group): beyond for name, beyond in each.items() for group in context.groups(tissue)}


def extended_results(found: Sequence[Context]) -> Iterator[ExtendedResult]:
    """Yield how far each extended source that a laser feeds exceeds a limit, and where it is worst to look at."""
    every = ((own, one, tissue) for own in found for one in fed_by(own) for tissue in TISSUES)
    for context, extended, tissue in every:
        nearest, lines = float(extended.nearest), context.every.values()
        duration, _ = duration_of_all(context.every, "scatter")
        glow = _Glow(lines, tissue, duration, source_of(extended))
        start = _nearest_view(context, extended, tissue, duration)
        reaches = {n: scatter.extended_distance(glow.ratio(n), glow.steps(n), start) for n in context.rule_sets}
        decided, tops = glow.worst_views(nearest)
        top = tops[decided]
        where = Message(
            "extended.nearest" if top.distance <= nearest * 1.001 else "extended.farther",
            tissue=word(tissue), place=format_quantity(top.distance, "m", 3),
        )  # fmt: skip
        sentence = Message(
            f"extended.{tissue}", where=where, part=top.part, angle=format_quantity(top.angle, "rad", 3, "down"),
            rule=word(top.rule), set=decided, hazard=word(top.hazard),
        )  # fmt: skip
        result = ExtendedResult(
            extended.name, context.laser.name, tissue, decided, top.hazard, top.rule, duration, max(reaches.values()),
            top.distance, top.ratio, top.angle, top.part, top.share, by_rule_set=reaches, sentence=sentence,
        )  # fmt: skip
        if tissue == "eye" and 400e-9 <= context.wavelength <= 600e-9 and duration >= 10.0:
            own = context.wavelength, duration
            level, printed, _ = min(scatter.radiance_limit(name, *own) for name in context.rule_sets)
            bright = glow.source.mean_radiance(max(one.power for one in context.emissions(tissue, duration)))
            known = bright if np.isfinite(bright) else None
            result = replace(result, radiance=known, radiance_limit=level, radiance_source=printed)
        yield result


def extended_scenarios(context: Context, to_work: Mapping[tuple[str, str], float]) -> Iterator[Scenario]:
    """Yield a scenario for each person who can look at an extended source, eye and skin.

    The source is at the work. Who has a place in a scene is no farther from it than that, by person and tissue [m].
    """
    work = None if context.setup.work_distance is None else float(context.setup.work_distance)
    for extended, person, tissue in product(fed_by(context), context.persons, TISSUES):
        lines = context.every.values()
        time = person_time(lines, person, "scatter", tissue)
        compared = [(own.wavelength, c) for own in lines for c in own.compared(tissue, time[0])]
        looked_at = Scatterer(1.0, 0.0, extended.name, work, True)
        retinal = all(c.retinal for _, c in compared)
        near, _ = distance_from(person, looked_at, retinal)
        placed = max(to_work.get((person.name, tissue), math.inf), scatter.CLOSEST_VIEW if retinal else _TOUCHING)
        near = min(near, placed)
        glow = _Glow(lines, tissue, time[0], source_of(extended))
        decided, tops = glow.worst_views(near, max(1e4, 10.0 * near), 60)
        gain = 1.0
        if person.aided and tissue == "eye":
            gain = max(gain, *(aid_of(person).gain(light, c.limiting_aperture) for light, c in compared))
        ratios = {name: one.ratio * gain for name, one in tops.items()}
        top, worst = tops[decided], ratios[decided]
        criterion = Criterion(
            decided, tissue, top.hazard, top.rule, 0.0, "W" if top.unit == "W/m2" else "J", top.limit, top.unit,
            top.aperture, time[0], top.source,
        )  # fmt: skip
        where = format_quantity(top.distance, "m", 3)
        words = Message("extended.seen", name=extended.name, part=top.part, distance=where)
        numbers = Message("extended.numbers", seen=words, ratio=f"{worst:.5g}")
        meaning = Message("extended.meaning"), Message("extended.formula")
        step = Step("α", *meaning, numbers, top.angle, "rad", "docs/method.md, Extended sources", "own")
        yield scenario_of(
            context, person, time, criterion, way="scatter", tissue=tissue, distance=near, exposure=worst * top.limit,
            ratio=worst, below=bool(worst <= 1.0), ratio_by_rule_set=ratios, surface=words, steps=(step,),
            modes=(GLOWING,),
        )  # fmt: skip


def module_results(found: Sequence[Context]) -> Iterator[ModuleResult]:
    """Yield how the beams of each fitted module meet the pupil of each person; the bound of one point source decides.

    Of several corners of the tolerances that with the largest share of the power in the pupil is the worst.
    """
    for context, person in ((own, person) for own in found if own.setup.fitted for person in own.persons):
        module, distance = context.laser.module, float(person.distance)
        if module is None:
            continue
        pitch = module.column_pitch, module.row_pitch or module.column_pitch
        columns, rows = module.columns, module.rows
        seen = side_by_side(context.beam, (columns, rows), (float(pitch[0]), float(pitch[1])), distance)
        sentence = Message(
            "sum.module", count=columns * rows, angle=format_quantity(seen.separation, "rad", 3), person=person.name,
            sources=word(seen.sources), share=f"{seen.joined:.3g}", other=f"{seen.offset:.3g}",
        )  # fmt: skip
        yield ModuleResult(
            context.laser.name, context.setup.name, person.name, distance, seen.separation, seen.sources, seen.joined,
            seen.offset, sentence,
        )  # fmt: skip
