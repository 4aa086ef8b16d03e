"""The decision block of a case, and the conditions of the wording that hold in it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from lasersafe.assessment.barriers import barrier_loads, passing
from lasersafe.assessment.context import FAR_INFRARED, FARTHER, kinds_of_light
from lasersafe.assessment.facts import MOST, gain_of
from lasersafe.assessment.protection import SCATTER_ALONE, CaseResults, unreadable_markings
from lasersafe.assessment.scenarios import extended_results
from lasersafe.assessment.setups import ALL_LASERS, beam_ways, reach_together
from lasersafe.hazard.marking import kilowatt_class
from lasersafe.models import Case
from lasersafe.quantity import feet, format_quantity, shown, times
from lasersafe.records import ExtendedResult, EyewearNeed, Step, UltravioletDay, Zone, badness, highest, over
from lasersafe.records.scene import SceneFinding, SceneResult
from lasersafe.results import GUESTS, Assumption, ControlFinding, Decision, LaserFacts, Record, Scenario, SetupResult
from lasersafe.wording import Message, Wording, joined, word

IN_BEAM = ("eye direct", "skin direct", "eye together", "skin together")  # zones of lines that count in the headline
_MIRRORS = ("eye mirror", "skin mirror")  # count as well; of those that reach farther, curved ones, `bent` speaks
_MOST_PAIRS = 3  # of a person and a laser that are named
_MOST_TIMES = 3  # of persons, typed, that are named
_MOST_KEYS = 8  # of readings that are named one by one


def conditions(worked: CaseResults) -> set[str]:
    """Return the condition words of the wording files that hold in a case, at any corner of its tolerances."""
    case, other, every = worked.case, worked.case.other_hazards, [one for own in worked.each for one in own.found]
    lights = [
        light for same in zip(*(own.found for own in worked.each), strict=True)
        for light in zip(*(one.every.values() for one in same), strict=True)
    ]  # fmt: skip
    lines = [one for same in lights for one in same]
    works = any(one.setup.work_distance is not None for one in every)
    holds = {
        "spectators": any(person.role in GUESTS for person in case.person),
        "lens": any(one.setup.kind == "lens" for one in every),
        "fibre": any(one.laser.fibre or one.setup.kind.startswith("fibre") for one in every),
        "far infrared": any(one.wavelength >= FAR_INFRARED for one in lines),
        "pulsed": any(one.space.kind != "continuous" for one in lines),
        "handheld": any(one.laser.handheld for one in every),
        "kilowatt": any(kilowatt_class(one.power or 0.0) for one in every),
        "process": works or other.work_material if other.process is None else other.process,
        "eyewear": worked.eyewear,
        "barrier": case.barrier,
    }
    return {name for name, found in holds.items() if found}.union(*map(kinds_of_light, lights))


def metres(distance: float, with_feet: bool = True) -> str:
    """Return a distance for the decision block, rounded up, with feet where the case asks."""
    if not math.isfinite(distance):
        return "∞ m"
    tail = f" ({format_quantity(feet(distance), 'ft', 3, 'up')})" if with_feet else ""
    return format_quantity(distance, "m", 3, "up") + tail


def extended_of(worked: CaseResults) -> tuple[ExtendedResult, ...]:
    """Return how far each extended source exceeds a limit, at the worst corner of the tolerances."""
    return over([one.found for one in worked.each], extended_results)


def not_shaded(extended: Sequence[ExtendedResult], wording: Wording) -> Iterator[SceneFinding]:
    """Name the extended sources that exceed a limit, and how far: no barrier counts there, nor does any drawing."""
    farthest: dict[tuple[str, str], float] = {}
    for one in extended:
        key = one.source, one.laser
        farthest[key] = max(farthest.get(key, 0.0), one.distance, key=badness)
    for (source, laser), reach in farthest.items():
        if not reach <= 0.0:
            words = {"source": source, "laser": laser, "distance": format_quantity(reach, "m", 3, "up")}
            told = wording.text("left_out.glows", **words)
            yield SceneFinding("extended", wording.text("scene.glows", **words), subject=source, left_out=told)


@dataclass(frozen=True)
class Reached:
    """How far the fitted lasers reach on some ways: the farthest zone with its set-up, and all together [m]."""

    zone: Zone
    setup: SetupResult
    distance: float
    parts: tuple[tuple[str, float], ...] = ()  # of all together: the lasers, with what they light, and each alone [m]

    @property
    def steps(self) -> tuple[Step, ...]:
        """The line from which the distance follows; far from every focus a fraction falls with the square of it."""
        if not math.isfinite(self.distance):
            return ()
        apart = self.parts or ((self.setup.laser, self.zone.distance),)
        names = joined([Message("step.of_laser", laser=name, distance=f"{far:.6g} m") for name, far in apart])
        sums = f"√({' + '.join(f'{far:.6g}²' for _, far in apart)})" if len(apart) > 1 else f"{apart[0][1]:.6g} m"
        numbers = Message("step.put_together", numbers=sums, lasers=names)
        meaning = Message("step.all_reach", way=word(self.zone.way), tissue=word(self.zone.tissue))
        formula = Message("step.together") if len(apart) > 1 else "r"
        return (Step("r", meaning, formula, numbers, self.distance, "m", Message("source.together"), "own"),)


def reached(worked: CaseResults, extended: Sequence[ExtendedResult] = ()) -> tuple[Reached, Reached, Reached]:
    """Return how far what is fitted reaches along its beams, by scatter, and in beams seen through instruments.

    Of each the farthest zone, its set-up, and how far all reach together where they add, by scatter with *extended*,
    the extended sources.
    """
    ways, found = beam_ways(worked.case), dict[tuple[str, ...], Reached]()
    aided = ("direct", "aided") if any(person.aided for person in worked.case.person) else ways
    for some in dict.fromkeys((ways, ("scatter",), aided)):
        pairs = [(zone, setup) for setup in worked.fitted for zone in setup.zones if zone.way in some]
        zone, farthest = max(pairs, key=lambda pair: badness(pair[0].distance))
        stage = next((one.stage for one in worked.each), None)
        key = "reach together", some, zone.distance
        known = {} if stage is None else stage.answers
        if key not in known:
            known[key] = reach_together([one.found for one in worked.each], some, zone.distance)
        together, tissue = known[key]
        found[some] = Reached(zone, farthest, zone.distance)
        if together > zone.distance:
            pairs = [pair for pair in pairs if pair[0].tissue == tissue]
            glowing = [{one.laser: one.distance} for one in extended if "scatter" in some and one.tissue == tissue]
            parts = highest([*({setup.laser: own.distance} for own, setup in pairs), *glowing])
            zone, farthest = max(pairs, key=lambda pair: badness(pair[0].distance))
            found[some] = Reached(zone, farthest, together, tuple(parts.items()))
    return found[ways], found["scatter",], found[aided]


def farthest_line(reach: float, far: float) -> Iterator[Step]:
    """Yield the step that says so where the farthest line of the plan lies farther out than beams reach. [m]."""
    if reach < far < math.inf:
        words = Message("step.farthest_line"), Message("step.line_formula"), f"max({reach:.6g}, {far:.6g})"
        yield Step("r", *words, far, "m", Message("source.lines"), "own")


def way_of(scenario: Scenario, wording: Wording) -> str:
    """Return the way of a scenario in words, with the mode where it is not running."""
    way, modes = wording.text(f"way.{scenario.way}"), scenario.modes
    return way if "running" in modes else f"{way} ({', '.join(map(wording.say, modes))})"


class Sentences:
    """The sentences of the decision block, in the language of the wording, and the block of them."""

    def __init__(self, case: Case, wording: Wording) -> None:
        self.case = case
        self.wording = wording
        self.text = wording.text

    def metres(self, distance: float) -> str:
        """Return a distance, with feet where the case asks."""
        return metres(distance, self.case.units == "metric and feet")

    def count(self, key: str, count: int) -> str:
        """Return how many there are of something."""
        return self.text(f"say.{key}_one" if count == 1 else f"say.{key}_many", count=count)

    def first(self, found: list[str], most: int, key: str) -> list[str]:
        """Return the first few of some sentences, and how many more there are."""
        more = len(found) - most
        return [*found[:most], self.text(key, count=more)] if more > 0 else found

    def wear(
        self, eyewear: list[EyewearNeed], lasers: Sequence[LaserFacts], scenarios: list[Scenario]
    ) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Yield what to wear, laser by laser: what covers everybody of the case who needs any."""
        for laser in lasers:
            needs = [n for n in eyewear if n.laser == laser.name]
            covers = [one.eyewear for one in (laser, *laser.lines) if one.eyewear is not None]
            bad = next((one for one in covers if not one.reliable), None)
            if bad is not None:
                scatter = [n for need in needs for n in need.notes if isinstance(n, Message) and n.key == SCATTER_ALONE]
                hardest = max(scatter, key=lambda note: badness(note.values["density"]), default="")
                yield laser.name, tuple(self.wording.say(one) for one in (bad.no_reliance, hardest) if one)
            elif covers:
                marking = self.text("say.and").join(dict.fromkeys(n.marking for n in covers))
                yield laser.name, (self.text("say.wear", marking=marking),)
        for s in scenarios:
            if s.laser != ALL_LASERS or s.tissue != "eye" or s.below:
                continue
            # eyewear lets through its part of the limit of each laser; those that ask for none may leave a sum above 1
            mine = {n.laser for n in eyewear if n.person == s.person}
            parts = [o for o in scenarios if (o.person, o.tissue) == (s.person, "eye") and o is not s]
            worst = {o.laser: o.ratio for o in sorted(parts, key=lambda o: badness(o.ratio)) if not o.struck_out}
            bare = [ratio for laser_name, ratio in worst.items() if laser_name not in mine]
            if not sum(bare) <= len(bare) / len(worst):
                yield "", (self.text("say.wear_together", person=s.person),)

    def readings(self, record: Record) -> tuple[list[str], list[str]]:
        """Return one reason for each reading above what was expected; then the doubtful ones, and which are missing."""
        found: dict[str, list[str]] = {"say.reading_above": [], "say.reading_low": []}
        for row in record.expected:
            if row.reading is not None and (row.reading.above or row.reading.low):
                key = "say.reading_above" if row.reading.above else "say.reading_low"
                found[key].append(self.text(
                    key, key=row.key, what=self.text(f"acceptance.{row.what}"), where=row.where,
                    way=self.text(f"way.{row.way}"), upper=format_quantity(row.reading.upper, row.unit, 3, "up"),
                    expected=format_quantity(row.value, row.unit, 3, "down"),
                    low=format_quantity(row.low, row.unit, 2, "down"),
                ))  # fmt: skip
        above, low = found.values()
        known, asked = self.first(low, 3, "say.more_low"), record.to_be_read
        missing = [row.key for row in asked if row.reading is None]
        if missing:
            more = f", +{len(missing) - _MOST_KEYS}" if len(missing) > _MOST_KEYS else ""
            keys = ", ".join(missing[:_MOST_KEYS]) + more
            known = [*known, self.text("say.readings_missing", count=len(missing), all=len(asked), keys=keys)]
        return above, known

    def starters(self, record: Record) -> list[str]:
        """Return why nobody can sign a case with values of a starter case, nothing where there are none."""
        parts, found = [], record.starter_values
        for kind in dict.fromkeys(one.kind for one in found):
            names = [f"'{name}'" for name in dict.fromkeys(one.name for one in found if one.kind == kind)]
            listed, more = ", ".join(names[:MOST]), len(names) - MOST
            listed = self.text("starter.more", names=listed, count=more) if more > 0 else listed
            parts.append(self.text(f"starter.{kind}", names=listed))
        starters = ", ".join(dict.fromkeys(one.starter for one in found if one.starter))
        key = "starter.sentence" if starters else "starter.marked"
        return [self.text(key, starters=starters, what="; ".join(parts))] if parts else []

    def assumed(self, one: Assumption, headline: float) -> str:
        """Return what is assumed of a laser, and what stating it could bring where that is known."""
        value = one.value
        if one.what in ("setup", "focal_length"):
            value = self.text("assumed.usual_lenses", lenses=value)
        said = self.text("assumed.value", what=self.wording.input_name(one.what), laser=one.laser, value=value)
        gain = gain_of(one, headline, self.wording, self.metres)
        if gain is None:
            return said
        return self.text("assumed.with_gain" if one.usual else "assumed.with_gain_plain", said=said, **gain)

    def findings(self, findings: list[ControlFinding]) -> list[str]:
        """Return the reasons that lie in the controls; the worst few, and how many more there are."""
        found = [
            self.text(
                "say.eyewear_alone" if one.eyewear_alone else "say.uncontrolled", person=one.person, laser=one.laser,
                way=self.text(f"way.{one.way}"), tissue=self.text(f"tissue.{one.tissue}"),
            ) for one in findings
        ]  # fmt: skip
        return self.first(found, 3, "say.more_findings")

    def other_setups(
        self, setups: Sequence[SetupResult], fitted: list[SetupResult], ways: tuple[str, ...]
    ) -> list[str]:
        """Return of which lasers a set-up that is not fitted reaches farther."""

        def reach(setup: SetupResult) -> float:
            return max((zone.distance for zone in setup.zones if zone.way in ways), key=badness)

        found = []
        for own in fitted:
            others = [s for s in setups if s.laser == own.laser and not s.fitted]
            worse = max(others, key=lambda s: badness(reach(s)), default=None)
            if worse is not None and not reach(worse) <= reach(own):
                names = {"laser": own.laser, "setup": own.setup, "other": worse.setup}
                found.append(self.text("say.other_setup", reach=self.metres(reach(worse)), **names))
        return found

    def stated(self) -> list[str]:
        """Return what the case states instead of the strict choice: times of its own, a complete list of surfaces."""
        timed = [
            self.text("say.typed_time", person=one.name, time=one.time.typed, reason=one.time_reason)
            for one in self.case.person if one.time is not None
        ]  # fmt: skip
        found = self.first(timed, _MOST_TIMES, "say.more_times")
        return [*found, self.text("say.surfaces_complete")] if self.case.settings.surfaces_complete else found

    def above(self, key: str, scenario: Scenario) -> str:
        """Return what is above the limit, by how much and where."""
        laser = self.wording.say(ALL_LASERS) if scenario.laser == ALL_LASERS else scenario.laser
        return self.text(
            key, person=scenario.person, way=way_of(scenario, self.wording),
            tissue=self.text(f"tissue.{scenario.tissue}"), ratio=times(scenario.ratio),
            laser=", ".join(filter(None, (laser, scenario.setup))), reason=self.wording.say(scenario.struck_out),
        )  # fmt: skip

    def decided(
        self, worked: CaseResults, scene: SceneResult | None, record: Record, reach: tuple[Reached, ...]
    ) -> tuple[Decision, tuple[str, ...]]:
        """Return the block that a producer reads aloud, and why the sheet cannot stop being a draft.

        Parameters
        ----------
        worked : CaseResults
            The worst of all corners of the tolerances, with the controls of the scenarios.
        scene : SceneResult or None
            What is placed, where there is a scene.
        record : Record
            With findings on controls and readings.
        reach : tuple of Reached
            How far the fitted lasers reach along their beams, by scatter, and in a beam seen through an instrument.
        """
        case, text, ways, fitted = self.case, self.text, beam_ways(self.case), worked.fitted
        beam, near, placed = reach[0], reach[1].distance, () if scene is None else scene.barriers
        mirrors = [] if scene is None else [z.distance for z in scene.zones if z.kind in _MIRRORS]
        counted = IN_BEAM + _MIRRORS if all(one <= FARTHER * beam.distance for one in mirrors) else IN_BEAM
        lines = [line.distance for line in (() if scene is None else scene.lines) if line.zone in counted]
        far = max((beam.distance, *lines), key=badness)
        steps = *(step for one in reach for step in one.steps), *farthest_line(beam.distance, far)
        names = {(s.laser, s.setup) for s in fitted} | {(ALL_LASERS, "")}
        mine = [s for s in worked.scenarios if (s.laser, s.setup) in names]
        open_ones = [s for s in mine if not s.below and not s.answer and not s.struck_out]
        uncovered = [s for s in fitted if not any((o.laser, o.setup) == (s.laser, s.setup) for o in mine)]
        uncontrolled = [f for f in record.findings if f.scenario not in {s.key for s in open_ones}]
        measured, unread = self.readings(record)
        struck = worked.left_out(mine)
        out = [self.count("struck_out", struck.count)] if struck.count else []
        out += [] if struck.worst is None else [self.above("say.struck_worst", struck.worst)]
        above = [self.above("say.above", s) for s in sorted(open_ones, key=lambda s: -badness(s.ratio))[:4]]
        known = self.other_setups(worked.setups, fitted, ways)
        left_out = [text("say.uncovered", laser=s.laser, setup=s.setup) for s in uncovered]
        unreadable = [
            text("say.eyewear_unread", person=one.name, marking=shown(one.eyewear), reason=self.wording.say(why))
            for _, one, why in unreadable_markings(case)
        ]
        starters, stated = self.starters(record), self.stated()
        fields = ", ".join(self.wording.texts.get(f"unstated.{name}", name) for name in case.unstated)
        unstated = [text("unstated.sentence", fields=fields)] if fields else []  # nobody can sign it then
        assumed = self.first([self.assumed(one, far) for one in record.assumptions if one.laser], MOST, "assumed.more")
        assumed = [text("assumed.sentence", what="; ".join(assumed))] if assumed else []
        first = [*measured, *starters, *above[:1], *unreadable, *assumed, *left_out, *unread, *out, *stated, *unstated]
        counts = {"open": len(open_ones), "uncontrolled": len(uncontrolled), "measured": len(measured)}
        points = tuple(self.count(key, count) for key, count in counts.items() if count)  # what keeps it from running
        loads = barrier_loads(worked.barriers, placed, case.adds_lasers)
        worn = tuple(self.wear(worked.eyewear, record.lasers, mine))
        said = [": ".join(filter(None, (laser, "; ".join(wear)))) for laser, wear in worn]
        stops, lasers = {one.barrier for one in loads if one.asked}, [beam.setup.laser, *(s.laser for s in fitted)]
        named = any(b.asked for b in worked.barriers) or any(way.asked for line in placed for way in line.ways)
        limit = beam.zone.criterion
        people = text(
            "say.people", direct=self.metres(far), scatter=self.metres(near),
            aid=text("say.aided_eye" if "aided" in ways else "say.naked_eye"),
            together=text("say.all_together") if len(fitted) > 1 and case.adds_lasers else "",
            tissue=text(f"tissue.{limit.tissue}"), rule_set=limit.rule_set, duration=f"{limit.duration:g} s",
        )  # fmt: skip
        decision = Decision(
            wear=". ".join(said) + "." if said else text("say.no_eyewear"),
            barrier="" if named else text("say.no_barrier", laser=text("say.and").join(dict.fromkeys(lasers))),
            barrier_remarks=passing(stops, placed, self.wording) if stops else (),
            people=f"{people} {text('assumed.people')}" if assumed else people,
            verdict=text("say.not_as_planned", what="; ".join(points)) if points else text("say.no_verdict"),
            passed=not open_ones and not record.findings and not measured and not uncovered and bool(mine),
            reasons=tuple(dict.fromkeys([*first, *above[1:], *self.findings(uncontrolled), *known])),
            headline_distance=far, scatter_distance=near, aided_distance=max(far, reach[2].distance, key=badness),
            headline_tissue=beam.zone.tissue, steps=tuple(dict.fromkeys(steps)),
            aided=tuple(p.name for p in case.person if p.aided and p.role not in GUESTS), points=points, worn=worn,
            loads=loads, causes=(*left_out, *unstated), grounds=(*assumed, *stated, *unreadable, *known),
            strike_outs=struck, answered=any(s.answer and not s.below and not s.struck_out for s in mine),
        )  # fmt: skip
        if decision.passed:  # it fails closed
            decision = replace(decision, verdict=text(f"say.passed_{decision.passing}"))
        return self.with_scene(decision, scene), (*measured, *starters, *unstated)

    def with_scene(self, decision: Decision, scene: SceneResult | None) -> Decision:
        """Return the decision with what the scene adds: refusals, and the lines that people stand behind."""
        if scene is None:
            return decision
        refusals = [f.text for f in scene.findings if f.refuses]
        panes = [f.text for f in scene.findings if f.kind == "failing window" and not f.refuses]
        kinds = ("one at a time", "no fibre", "target list", "ignition", "beyond target", "spectator")
        others = [f.text for f in scene.findings if not f.refuses and f.kind in kinds]
        verdict, passed = decision.verdict, decision.passed
        if refusals and passed:
            verdict, passed = self.text("say.not_as_planned", what=refusals[0]), False
        by_laser: dict[str, list[str]] = {}
        for line in scene.lines:
            if line.distance > 0.0:
                side = f"{self.text(f'side.{line.side}')} {self.metres(line.distance)}"
                by_laser.setdefault(line.laser, []).append(side)
        sides = "; ".join(f"{laser}: {', '.join(found)}" for laser, found in by_laser.items())
        people, headline, tissue = decision.people, decision.headline_distance, decision.headline_tissue
        mirrors = [z for z in scene.zones if z.kind in _MIRRORS]
        if any(not z.distance <= FARTHER * headline for z in mirrors):
            bent = max(mirrors, key=lambda zone: badness(zone.distance))
            lines = (line.distance for line in scene.lines if line.zone in _MIRRORS)
            headline, tissue = max((bent.distance, *lines), key=badness), bent.kind.partition(" ")[0]
            decision = replace(decision, steps=(*decision.steps, *farthest_line(bent.distance, headline)))
            words = {"surface": self.wording.say(bent.surface), "laser": bent.laser, "reach": self.metres(headline)}
            people = f"{people} {self.text('say.bent', **words)}"
        people = f"{people} {self.text('say.lines', sides=sides)}" if sides else people
        people = f"{people} {self.text('scene.left_out', what=scene.left_out)}" if scene.left_out else people
        return replace(
            decision, verdict=verdict, passed=passed, people=people, headline_distance=headline, headline_tissue=tissue,
            aided_distance=max(decision.aided_distance, headline, key=badness),
            reasons=(*refusals, *panes, *decision.reasons, *others), causes=(*refusals, *panes, *decision.causes),
            grounds=(*decision.grounds, *others),
        )  # fmt: skip

    def with_days(self, decision: Decision, days: Sequence[UltravioletDay]) -> Decision:
        """Return the decision, refused when the ultraviolet doses of a day add up to more than the limit."""
        above = [
            self.wording.say(Message(
                "dose.above", person=day.person, tissue=word(day.tissue), band=day.band, ratio=times(day.ratio)
            )) for day in days if not day.below
        ]  # fmt: skip
        if not above:
            return decision
        verdict = self.wording.say(Message("dose.refused")) if decision.passed else decision.verdict
        reasons, causes = (*above, *decision.reasons), (*above, *decision.causes)
        return replace(decision, passed=False, verdict=verdict, reasons=reasons, causes=causes)

    def naming_strike_outs(self, decision: Decision) -> Decision:
        """Return the decision with a verdict that names what is left out: how many ways, the worst ratio, and whose."""
        text, struck, worst, words = self.text, decision.strike_outs, decision.strike_outs.worst, list[str]()
        if struck.count and worst is None:
            words.append(text("say.struck_nothing", count=struck.count))
        elif struck.count and worst is not None:
            key = "say.struck_one" if struck.ways == 1 else "say.struck_many"
            whose = {"person": worst.person, "way": way_of(worst, self.wording), "laser": self.wording.say(worst.laser)}
            words.append(text(key, count=struck.ways, ratio=times(worst.ratio), **whose))
        if struck.not_assessed:
            pairs = [text("say.person_for_laser", person=p, laser=laser) for p, laser in struck.not_assessed]
            more = [f"+{len(pairs) - _MOST_PAIRS}"] if len(pairs) > _MOST_PAIRS else []
            words.append(text("say.not_assessed", pairs=", ".join([*pairs[:_MOST_PAIRS], *more])))
        if not words:
            return decision
        verdict = text(f"say.passed_{decision.passing}") if decision.passed else decision.verdict
        return replace(decision, verdict="; ".join([verdict, *words]), points=(*decision.points, *words))
