"""A case worked out at every corner, and what protects people: eyewear, barriers, controls, and what each answers."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING, Any, TypeAlias

from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.context import BASE_WAY, FAULTS, GLOWING, NO_AID, WAYS, aid_of, contexts_of_each, portions
from lasersafe.assessment.scenarios import extended_scenarios, person_duration, scenarios_of
from lasersafe.assessment.setups import ALL_LASERS, results_of_each, sums_of
from lasersafe.hazard import eyewear as filters
from lasersafe.hazard import marking as marks
from lasersafe.hazard.combine import groups
from lasersafe.hazard.eyewear_scale import NumberAsked, numbers_asked
from lasersafe.models import Case, Person, SIValue
from lasersafe.quantity import format_quantity, times
from lasersafe.records import EyewearNeed, badness, rank, told, worst, worst_of_each
from lasersafe.results import BarrierResult, Control, ControlFinding, NotAssessed, Scenario, SetupResult, StrikeOuts
from lasersafe.wording import CONTROL_KINDS, Message, Wording, key_of, word

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context, Wanted
    from lasersafe.assessment.stage import Stage
    from lasersafe.hazard.instruments import Aid
    from lasersafe.optics.beam import BeamGeometry
    from lasersafe.records.scene import MatrixCell

Over: TypeAlias = "tuple[BeamGeometry, float, float]"  # of a curved mirror: share of the power [1] and path [m]
SCATTER_ALONE = "need.scatter_alone"
FIRST_KINDS = CONTROL_KINDS[:2]  # substitute and technical: what does not hang on a person's behaviour


def lighting(person: Person, found: Sequence[Context]) -> list[Context]:
    """Return one fitted set-up of each laser that concerns a person: what they let through a filter adds."""
    fitted = [one for one in found if one.setup.fitted and person.setup in (None, one.setup.name)]
    return list({one.laser.name: one for one in fitted if person.laser in (None, one.laser.name)}.values())


def sharing(lit: Sequence[Context], own: Context) -> int:
    """Return how many wavelengths of the lasers that light somebody share one tissue and mechanism with one of them."""
    mine = groups("eye", own.wavelength)
    return sum(bool(mine & groups("eye", other.wavelength)) for one in lit for other in one.every.values())


def eyewear_of(
    context: Context, every: Sequence[Context], scenarios: list[Scenario], near: Mapping[str, float],
    over: Mapping[str, Sequence[Over]], wording: Wording,
) -> Iterator[EyewearNeed]:  # fmt: skip
    """Yield what eyewear each person would need against a direct or mirrored hit with the fitted set-up.

    The verdict on a pair that is worn holds for every scenario of its wearer: it is enough, enough against scatter
    only, or answers none of them. Each laser that concerns the wearer gets its part of the limit. In a scene
    ``near`` is how near the last optic can come to each person [m], ``over`` what curved mirrors send there.
    """
    alone: dict[str, list[Scenario]] = {}
    lines, usual = context.every, next(one for one in every if one.named[:2] == context.named[:2])
    beams = (usual, context) if context.fault else (usual,)
    if context.laser.line:
        alone = {name: [row for beam in beams for row in scenarios_of(beam.every[name].alone)] for name in lines}
    own = [s for s in scenarios if s.setup == context.setup.name and s.laser == context.laser.name]
    for person in context.case.person:
        exposed = _mine(own, person)
        if not exposed or (not person.eyewear and all(s.below for s in exposed)):
            continue
        lasers = lighting(person, every)
        glowing = [s for s in exposed if GLOWING in s.modes]
        by_line = {name: _mine(alone.get(name, exposed), person) + glowing for name in lines}
        away = min(float(person.distance), near.get(person.name, math.inf))
        rows = [s for s in exposed if s.placed]
        for name, part in _parts_of_rows(usual, every, rows) if alone else ():
            by_line[name].append(part)
        scattered, meets = _scattered(exposed), over.get(person.name, ())
        there = context.returned_apart * _lit(rows)  # a row of a scene is that of one wavelength
        lit = {name: max(_lit(mine), there) for name, mine in by_line.items()}
        needs = one_verdict([
            _need(one, person, Beams(away, meets, lit[name], bool(rows)), by_line[name], sharing(lasers, one))
            for name, one in lines.items()
        ])  # fmt: skip
        # the verdict holds against the scatter of every wavelength as well: the most of each time decides
        scatter, held = [s for s in scattered if person.eyewear], dict[float, bool]()
        for time, most in {s.duration: s for s in sorted(scatter, key=lambda s: badness(s.ratio))}.items():
            held[time] = all(_enough_for_scatter(o, most, lit[n], person, len(lasers)) for n, o in lines.items())
        short = [s.ratio for s in scatter if not (s.below or held[s.duration])]
        for need in needs:
            verdict = need.verdict
            if verdict is not None and verdict.enough and short:
                reason = wording.text("say.not_against_scatter", ratio=times(max(short, key=badness)))
                verdict = replace(verdict, enough=False, verdict=marks.NOT_ENOUGH, reasons=(reason, *verdict.reasons))
            elif verdict is not None and not verdict.enough and held and all(held.values()):
                verdict = replace(verdict, verdict=marks.SCATTER_ONLY)
            yield replace(need, verdict=verdict)


def one_verdict(needs: list[EyewearNeed]) -> Iterator[EyewearNeed]:
    """Yield the needs of one person with one verdict on the eyewear over all wavelengths."""
    verdicts = [n.verdict for n in needs if n.verdict is not None]
    if len(needs) < 2 or len(verdicts) < len(needs):
        yield from needs
        return
    enough = all(v.enough for v in verdicts) and all(n.reliable for n in needs)
    failing = [f"{n.wavelength * 1e9:.6g} nm" for n in needs if n.verdict is not None and not n.verdict.enough]
    for need, own in zip(needs, verdicts, strict=True):
        more = (Message("sum.every_line", waves=", ".join(failing)),) if failing else ()
        said = own.verdict if enough or not own.enough else marks.NOT_ENOUGH
        yield replace(need, verdict=replace(own, enough=enough, verdict=said, reasons=(*own.reasons, *more)))


def _parts_of_rows(
    context: Context, every: Sequence[Context], rows: Iterable[Scenario]
) -> Iterator[tuple[str, Scenario]]:
    """Give rows of a scene with the most that each wavelength can bring of their ratio.

    That is the part of its limit that it may use, and no more than all of it through the limiting aperture.
    """
    lit: dict[str, list[list[Context]]] = {}
    for one in (context, *context.broken(every)):
        lit.setdefault(one.fault, []).append(list(one.every.values()))
    known: dict[tuple[float, bool, str], list[tuple[float, float]]] = {}
    for row in rows:
        fault = row.way if row.way in FAULTS else ""
        lines, key = lit[fault], (row.duration, BASE_WAY[row.way] != "scatter", fault)
        if key not in known:
            beams = [[max(p.values(), default=1.0) for p in portions(own, "eye", *key[:2])] for own in lines]
            parts = map(max, zip(*beams, strict=True))
            compared = (own.compared("eye", row.duration) for own in lines[0])
            all_of_it = (
                max(c.amount / (math.pi / 4.0 * c.limiting_aperture**2 * c.limit) for c in own) for own in compared
            )
            known[key] = list(zip(parts, all_of_it, strict=True))
        for name, (part, most) in zip(context.every, known[key], strict=True):
            yield name, replace(row, ratio=min(row.ratio * part, most))


def _scattered(scenarios: Iterable[Scenario]) -> list[Scenario]:
    return [s for s in scenarios if BASE_WAY[s.way] == "scatter" and GLOWING not in s.modes]


def _lit(scenarios: Iterable[Scenario]) -> float:
    """Return the most that scatter brings of one watt on each area [1/m2]; surfaces return wavelengths differently."""
    return max((s.of_one for s in _scattered(scenarios) if math.isfinite(s.exposure)), default=0.0)


def _mine(scenarios: list[Scenario], person: Person) -> list[Scenario]:
    return [s for s in scenarios if s.person == person.name and s.tissue == "eye" and not s.struck_out]


def _need(context: Context, person: Person, beams: Beams, exposed: list[Scenario], shared_by: int) -> EyewearNeed:
    duration, _ = person_duration(context, person, "mirror", "eye")
    duration = context.not_shorter_than_a_pulse(max(duration, 10.0), "")[0]  # nobody turns away behind a filter
    least = math.log10(max((s.ratio for s in exposed if math.isfinite(s.ratio) and s.ratio > 0.0), default=1.0))
    aid = aid_of(person) if person.aided else None
    best = replace(need_at(context, beams, duration, person.eyewear, least, shared_by, aid), person=person.name)
    scatter = [s for s in exposed if s.way == "scatter" and s.modes == ("running",) and s.ratio > 1.0]
    if not scatter:
        return best
    worst = max(scatter, key=lambda s: badness(s.ratio))
    density = float(marks.round_up_density(math.log10(worst.ratio))) if math.isfinite(worst.ratio) else math.inf
    note = Message(SCATTER_ALONE, distance=format_quantity(worst.distance, "m", 3, "down"), density=density)
    return replace(best, notes=(note, *best.notes))


@dataclass(frozen=True)
class Beams:
    """What meets eyewear: the beam from a distance of the last optic on [m], curved mirrors' beams, scattered light."""

    distance: float
    over: Sequence[Over] = ()
    lit: float = 0.0  # of the whole power, on each area [1/m2]
    rows: bool = False  # whether what they ask for as density is that of scenarios


def need_at(
    context: Context, beams: Beams, duration: float, marking: str, least_density: float, shared_by: int = 1,
    aid: Aid | None = None,
) -> EyewearNeed:  # fmt: skip
    """Return what eyewear has to carry in the beam at a distance or beyond it, the hardest place.

    Parameters
    ----------
    context : Context
        One wavelength of one laser with one set-up.
    beams : Beams
        What meets it.
    duration : float
        Exposure duration. [s]
    marking : str
        Marking of the eyewear that is worn, "" for none.
    least_density : float
        Density that other ways for light ask for. [1]
    shared_by : int
        Wavelengths whose fractions add.
    aid : Aid, optional
        Instrument in front of the eyewear, which makes the beam as much narrower as it magnifies.
    """
    emissions = context.emissions("eye", duration)
    at, profile = (context.wavelength, context.space, emissions, context.rule_sets, duration), context.beam.profile
    light = filters.Filtered(*at, profile)
    narrower = 1.0 if aid is None or not aid.passes(context.wavelength) > 0.0 else aid.magnification
    places = filters.widths_beyond(context.beam, beams.distance)
    bent = dict[tuple[float, float, float], None]()
    for beam, share, path in beams.over:
        for _, dx, dy in filters.widths_beyond(beam, path):
            bent[share, dx, dy] = None
            if 0.0 in beam.waist_diameter:  # of any curvature: an axis can be wider, by which the factor rises
                bent[share, min(dx, dy), max(dx, dy, filters.WIDEST * narrower)] = None
    alone = product(emissions, () if beams.rows else bent)
    densities = (light.density(one.scaled(share), dx / narrower, dy / narrower)[0] for one, (share, dx, dy) in alone)
    least_density = max([least_density, *densities], key=badness)
    if beams.lit > 0.0:  # it is wider than the factor of EN 207 rises, behind an instrument too
        wide = filters.WIDEST * narrower
        bent[beams.lit * math.pi / 4.0 * wide**2, wide, wide] = None
    rise = filters.raised_by(context.may_differ[0])  # of an oblong beam that a tolerance makes the more so
    wider = [(share * rise, dx, dy) for share, dx, dy in bent] if rise > 1.0 else []
    if rise > 1.0 and context.oblong:
        wider += [(rise, dx, dy) for _, dx, dy in places]
    need = filters.hardest_need(light, places, least_density, shared_by, narrower, [*bent, *wider])
    need = replace(need, laser=context.laser.name, setup=context.setup.name)
    if aid is not None and narrower > 1.0:
        words = Message("need.through_aid", aid=word(aid.name), times=f"{narrower:g}")
        need = replace(need, notes=(words, *need.notes))
    rate = filters.slowest_rate(context.space, emissions[0])
    return replace(need, verdict=filters.verdict_on(marking, need, rate)) if marking else need


def needs_alone(context: Context, distance: float, marking: str, least_density: float) -> Iterator[EyewearNeed]:
    """Return what eyewear has to carry for each wavelength of a laser that is on alone, with one verdict on a marking.

    What a lost lens or a broken fibre sends above the limit comes after that, with a verdict of its own. Somebody at
    that distance of the last optic [m] is nearer than that to no curved mirror of a scene.
    """
    duration, over, stage = context.duration("mirror")[0], list[Over](), None
    if context.case.scene is not None:
        from lasersafe.assessment.scene_matrix import bent_beams_at
        from lasersafe.assessment.stages import stage_alone

        away, stage = SIValue(distance, "", "m"), stage_alone(context)
        somebody = Person.model_construct(name="", role="crew", distance=away, eyewear=marking)
    for beam in (context, *context.broken(contexts_of_each([context.case])[0])):
        over = over if stage is None else bent_beams_at(stage, beam, [somebody])[somebody.name]
        at, least = Beams(distance, over), -math.inf if beam.fault else least_density
        needs = [need_at(one, at, duration, marking, least, sharing([beam], one)) for one in beam.every.values()]
        if not beam.fault or any(need.optical_density_exact > 0.0 for need in needs):
            yield from one_verdict(needs)


def _enough_for_scatter(context: Context, scenario: Scenario, lit: float, person: Person, shared_by: int) -> bool:
    """Return True when the marking covers density and damage class for the scatter at every allowed setting."""
    if not (math.isfinite(scenario.ratio) and scenario.ratio > 0.0):
        return False
    worst = context.emission("eye", scenario.duration)
    emissions = filters.corner_emissions(context.space, worst, context.wavelength)
    wide = filters.WIDEST  # it is wider, but the factor of EN 207 no longer rises
    part, density = lit * math.pi * wide**2 / 4.0, math.log10(scenario.ratio * shared_by)  # what falls on that width
    by_rate: dict[float | None, list[NumberAsked]] = {}
    for emission in dict.fromkeys(emissions):
        rate = (emission.repetition_rate or None) if emission.kind == "pulse train" else None
        by_rate.setdefault(rate, []).extend(numbers_asked(emission.scaled(part), context.wavelength, wide))
    own, worn = context.wavelength, person.eyewear
    each = ((rate, [one.told() for one in filters.highest(asked)]) for rate, asked in by_rate.items())
    try:
        return all(marks.Asked(own, needs, density).judge(worn, rate).enough for rate, needs in each)
    except marks.MarkingError:
        return False


def unreadable_markings(case: Case) -> Iterator[tuple[int, Person, Message]]:
    """Yield each person, with the place in the case from 0, whose eyewear cannot be read, and why."""
    for i, person in enumerate(case.person):
        try:
            if person.eyewear:
                marks.parse_marking(person.eyewear)
        except marks.MarkingError as error:
            yield i, person, error.reason


def covering_each(lists: Iterable[Iterable[EyewearNeed]]) -> list[EyewearNeed]:
    """Return, for each laser, set-up, person and line, one need that covers those of all lists."""
    return list(worst_of_each(lists, lambda _, group: filters.covering(group)))


def _farthest(setups: Sequence[SetupResult]) -> tuple[Any, ...]:
    return max((rank(setup) for setup in setups if setup.fitted), default=())


@dataclass(frozen=True)
class CaseResults:
    """What follows from a case before anything is decided; of several corners the farthest beam leads."""

    case: Case
    found: list[Context]
    setups: Sequence[SetupResult] = field(metadata=told(rank=1, worse=_farthest, each=worst_of_each))
    scenarios: Sequence[Scenario] = field(metadata=told(each=worst_of_each))
    eyewear: list[EyewearNeed]
    barriers: Sequence[BarrierResult] = field(metadata=told(each=worst_of_each))
    stage: Stage | None
    cells: Sequence[MatrixCell] = field(metadata=told(each=worst_of_each))
    corners: tuple[CaseResults, ...] = ()  # of several: each as it is, the leading one first

    @property
    def fitted(self) -> list[SetupResult]:
        """The set-ups that are fitted today."""
        return [one for one in self.setups if one.fitted]

    @property
    def each(self) -> tuple[CaseResults, ...]:
        """Every corner as it is."""
        return self.corners or (self,)

    def stopping(self, scenario: Scenario) -> Iterator[BarrierResult]:
        """Yield the barriers that hold and answer a scenario; nobody who can come nearer stands behind one.

        One answers the direct beam of everybody behind it; reflected and scattered light comes from all sides, so there
        it answers only for the persons that the case names as protected by it. Where person and barrier have places,
        geometry has decided, and the barrier is in the exposure already. A barrier without a place answers for the
        persons that it protects from all sides, not in service, when it may be open. One that is drawn and lets light
        through answers for nobody. The beam of a fault comes from all sides, so that one has to stop both the direct
        beam and mirrored light.
        """
        case, way = self.case, scenario.way if scenario.way in FAULTS else BASE_WAY.get(scenario.way, scenario.way)
        (away,) = (float(one.distance) for one in case.person if one.name == scenario.person)
        placed = set[str]() if case.scene is None else {barrier.name for barrier in case.scene.barrier}
        for one in self.barriers:
            stops = next(b for b in case.barrier if b.name == one.barrier)
            protects, asked = scenario.person in stops.protects, one.asked
            if way in FAULTS:  # its row is the worse of straight and over mirrors
                asked = set(WAYS[:2]) <= set(stops.must_stop)
            if scenario.placed and (one.barrier in placed or not protects or "service" in scenario.modes):
                continue
            same = (one.laser, one.setup, one.way) == (scenario.laser, scenario.setup, way)
            holds = asked and one.holds and one.distance < away and (way == "direct" or protects)
            if same and holds and not self._leaks(one):
                yield one

    def _leaks(self, one: BarrierResult) -> bool:
        """Return whether a barrier that is drawn has something open in it, or a window that is not known to hold."""
        drawn = () if self.case.scene is None else self.case.scene.barrier
        openings = [own for barrier in drawn if barrier.name == one.barrier for own in barrier.opening]
        panes = {number for number, own in enumerate(openings) if own.kind == "window"}
        if any(own.open and own.kind != "window" for own in openings):
            return True
        if not panes or self.stage is None:
            return bool(panes)
        context = next(own for own in self.found if own.named == (one.laser, one.setup, ""))
        beams = [own for own in context.broken(self.found) if own.fault == one.way]
        lights = [(own, way) for own in beams for way in own.ways_of_fault] or [(context, BASE_WAY[one.way])]
        judged = (self.stage.windows(own, way).items() for own, way in lights)
        held = ({number for (name, number), pane in each if name == one.barrier and pane.holds} for each in judged)
        return not self.stage.poses(context, "running") or not all(panes <= those for those in held)

    def answer(self, scenario: Scenario, needs: Sequence[EyewearNeed], wording: Wording) -> Scenario:
        """Return a scenario above the limit with what keeps its person below all the same, if anything does.

        No barrier answers an extended source. Eyewear, by what its wearer needs against the same beam, answers what its
        verdict says, at every corner of the tolerances, and nothing without an end.
        """
        glowing = GLOWING in scenario.modes  # neither barrier nor filter was worked out for its light alone
        for one in () if glowing else self.stopping(scenario):
            same = (b for b in self.barriers if (b.barrier, b.laser, b.setup) == (one.barrier, one.laser, one.setup))
            weak = any(b.asked and not b.holds for b in same)
            key = "say.barrier_holds_against" if weak else "say.barrier_holds"
            answer = wording.text(key, barrier=one.barrier, way=wording.text(f"way.{one.way}"))
            return replace(scenario, answer=answer, held=(one.barrier, one.way) if weak else ("", ""))
        verdicts = [need.verdict for need in needs]
        if scenario.tissue != "eye" or not verdicts or not math.isfinite(scenario.ratio):
            return scenario
        scatter = BASE_WAY.get(scenario.way) == "scatter" and not glowing
        if not all(v is not None and (v.enough or (scatter and v.verdict == marks.SCATTER_ONLY)) for v in verdicts):
            return scenario
        (marking,) = (person.eyewear for person in self.case.person if person.name == scenario.person)
        key = "say.eyewear_scatter" if scatter else "say.eyewear_enough"
        return replace(scenario, answer=wording.text(key, marking=marking))

    def sharing_limit(self, context: Context, one: Scenario) -> tuple[int, float]:
        """Return how many lasers that can be on at once share the limit of a scenario of the eye, and that limit.

        No meter tells the wavelengths of a laser apart, so that the lowest limit of any counts. [W/m2, of pulses J/m2].
        """
        (person,) = (who for who in self.case.person if who.name == one.person)
        mine, lit = context.groups("eye"), lighting(person, self.found)
        lasers = sum(bool(mine & other.groups("eye")) for other in lit) if self.case.adds_lasers else 1
        lines = context.every.values() if context.laser.line else ()
        each = (c for own in lines for c in own.compared("eye", one.duration) if c.limit_unit == one.exposure_unit)
        return max(lasers, 1), min(one.limit, *(c.limit for c in each), math.inf)

    def passes(self, one: Scenario) -> float:
        """Return which share of the light of a scenario comes to its person at most: none past what stops it.

        Eyewear that answers it lets through at most 10^-n with the lowest LBn that is marked for its letters.
        """
        if one.struck_out or (one.answer and any(self.stopping(one))):
            return 0.0
        if not one.answer:
            return 1.0
        beam = one.person, one.laser, one.setup
        worn = (need.verdict for need in self.eyewear if (need.person, need.laser, need.setup) == beam)
        return 10.0 ** -min(0 if verdict is None else verdict.number for verdict in worn)

    def answered(self, eyewear: list[EyewearNeed], wording: Wording) -> CaseResults:
        """Return the same with what answers its scenarios, and what is left of several lasers together."""
        scenarios, left = [], []
        for bare in self.scenarios:
            beam = bare.person, bare.laser, bare.setup
            own = [need for need in eyewear if (need.person, need.laser, need.setup) == beam]
            one = bare if bare.below or bare.struck_out else self.answer(bare, own, wording)
            scenarios.append(one)
            share = self.passes(one)
            if 0.0 < share < 1.0:
                by_set = dict.fromkeys(one.ratio_by_rule_set, one.ratio * share)
                one = replace(one, ratio=one.ratio * share, ratio_by_rule_set=by_set, fractions={})
            left += [one] if share > 0.0 else []
        return replace(self, scenarios=[*scenarios, *sums_of(self.case, self.found, left)])

    def left_out(self, mine: Sequence[Scenario]) -> StrikeOuts:
        """Return what the case leaves out of the verdict, of the scenarios of what is fitted.

        That nobody uses binoculars is said with the distances. What several lasers would add up to counts where nothing
        but the strike-outs keeps it out of the verdict.
        """
        apart = tuple(
            NotAssessed(person.name, setup.laser)
            for person, setup in product(self.case.person, self.fitted)
            if (person.laser not in (None, setup.laser) or person.setup not in (None, setup.setup))
        )
        out = [s for s in mine if s.struck_out and key_of(s.struck_out) != NO_AID]
        ways = {(s.person, s.laser, s.setup, s.way) for s in out}
        reasons = {(s.person, s.tissue): s.struck_out for s in sorted(out, key=lambda s: badness(s.ratio))}
        in_question = {(s.person, s.tissue) for s in mine if not s.below and not s.answer and not s.struck_out}
        parts = [s for s in mine if s.laser != ALL_LASERS and not s.answer and key_of(s.struck_out) != NO_AID]
        out += [
            replace(s, struck_out=reasons[s.person, s.tissue])
            for s in sums_of(self.case, self.each[0].found, parts)
            if (s.person, s.tissue) in reasons.keys() - in_question
        ]
        count = len(self.case.strike_out) + sum(not person.in_beam_possible for person in self.case.person)
        return StrikeOuts(count, len(ways), max(out, key=lambda s: badness(s.ratio), default=None), not_assessed=apart)


def worked_out(cases: Sequence[Case], wording: Wording, wanted: Wanted = "all") -> CaseResults:
    """Return what follows from a case at its corners: that of the farthest direct beam, with the worst of each result.

    A pair of eyewear answers at every corner what it answers at all of them. In a scene other set-ups can be left out.
    """
    own: list[tuple[Case, list[Context], list[SetupResult], Stage | None]]
    if cases[0].scene is None:
        every = contexts_of_each(cases)
        own = list(zip(cases, every, results_of_each(every), [None] * len(cases), strict=True))
    else:
        from lasersafe.assessment import scene_matrix
        from lasersafe.assessment.stages import stages_at

        stages = stages_at(list(map(scene_matrix.placed_case, cases)), wanted)
        for stage in stages:
            scene_matrix.ask_all(stage)
        own = [(stage.case, stage.contexts, stage.setups, stage) for stage in stages]

    def over_mirrors(there: Stage | None, context: Context) -> dict[str, list[Over]]:
        return {} if there is None else scene_matrix.bent_beams_at(there, context, context.persons)

    corners, cells = [], list["MatrixCell"]()
    for case, found, setups, there in own:
        scenarios, eyewear, cells = list[Scenario](), list[EyewearNeed](), []
        for context in found:
            mine, placed = list[Scenario](), set[str]()
            if there is not None and there.poses(context, "running"):
                placed = {person.name for person in there.scene.person}
                if context.setup.fitted or wanted != "short":
                    mine, more = scene_matrix.placed_scenarios(there, context)
                    cells += more
            broken = context.broken(found) if context.setup.fitted else []
            each = (row for beam in (context, *broken) for row in scenarios_of(beam, placed))
            to_work = scene_matrix.nearest_to_work(there, context) if there is not None and case.extended else {}
            mine = [*mine, *each, *extended_scenarios(context, to_work)]
            scenarios += mine
            if not context.setup.fitted:
                continue
            near = {} if there is None else scene_matrix.nearest_of(there, context)
            needs = list(eyewear_of(context, found, mine, near, over_mirrors(there, context), wording))
            for fault in broken:  # in their beams as well
                eyes = [s for s in mine if s.way == fault.fault and s.tissue == "eye"]
                if hit := {s.person for s in eyes if not (s.below or s.struck_out)}:
                    also = eyewear_of(fault, found, mine, near, over_mirrors(there, fault), wording)
                    needs = covering_each([needs, [need for need in also if need.person in hit]])
            eyewear += needs
        barriers = barrier_results(found)
        corners.append(CaseResults(case, found, setups, scenarios, eyewear, barriers, there, cells))
    covering = covering_each(one.eyewear for one in corners)
    corners = sorted((one.answered(covering, wording) for one in corners), key=rank, reverse=True)
    return corners[0] if len(corners) == 1 else replace(worst(corners), eyewear=covering, corners=tuple(corners))


def controlled(
    worked: CaseResults, wording: Wording, words: set[str]
) -> tuple[CaseResults, tuple[Control, ...], tuple[ControlFinding, ...]]:
    """Return a case with its scenarios in order, and what answers those above the limit, controls, what is left open.

    Controls stand in the order substitute - technical - organisational - personal, those in place first. Left open is
    what is above the limit today and nothing of the first two kinds answers; a barrier that holds is a technical
    control, and a sum is answered through its parts.
    """
    ways = {BASE_WAY.get(s.way, s.way) for s in worked.scenarios if not s.below and not s.struck_out}
    controls = []
    for stated in worked.case.control:
        known = wording.control(stated.key) if stated.key else None
        named = tuple(word for word in stated.answers if word not in WAYS)
        answers = tuple(way for way in WAYS if way in stated.answers)
        answers = answers or (known.answers if known else WAYS if named else ())
        text, alone = stated.text or (known.text if known else ""), known.alone if known else True
        key, laser = known.key if known else "", stated.laser or ""
        controls.append(Control(stated.kind, text, answers, named, laser, alone, key=key, in_place=True))
    done = {control.key for control in controls}
    for entry in wording.controls_for(words):
        answers = tuple(way for way in entry.answers if way in ways)
        if answers and entry.key not in done:
            controls.append(Control(entry.kind, entry.text, answers, key=entry.key))
    controls.sort(key=lambda control: CONTROL_KINDS.index(control.kind))
    fitted = {(s.laser, s.setup) for s in worked.fitted}

    def order(one: Scenario) -> tuple[bool, bool, float]:
        return bool(one.struck_out), (one.laser, one.setup) not in fitted | {(ALL_LASERS, "")}, -one.ratio

    scenarios, findings = [], []
    for number, plain in enumerate(sorted(worked.scenarios, key=order), 1):
        own = [
            control for control in controls
            if not plain.below and BASE_WAY.get(plain.way, plain.way) in control.answers
            and (not control.persons or plain.person in control.persons) and control.laser in ("", plain.laser)
        ]  # fmt: skip
        placed = [control for control in own if control.in_place]
        texts, in_place = (tuple(control.text for control in some) for some in (own, placed))
        one = replace(plain, key=f"S{number}", controls=texts, in_place=in_place)
        scenarios.append(one)
        if one.below or one.struck_out or (one.laser, one.setup) not in fitted:
            continue
        if any(control.alone and control.kind in FIRST_KINDS for control in placed) or any(worked.stopping(one)):
            continue
        personal = bool(one.answer) or any(
            control.kind == "personal" and (one.tissue == "eye" or control.key.startswith("cover skin"))
            for control in placed
        )
        findings.append(ControlFinding(one.key, one.laser, one.setup, one.person, one.way, one.tissue, personal))
    return replace(worked, scenarios=scenarios), tuple(controls), tuple(findings)
