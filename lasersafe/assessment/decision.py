"""The decision block, the controls and the other hazards of a case."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lasersafe.assessment.assumed import MOST, assumption_sentence, unstated_sentence
from lasersafe.assessment.barrier_words import barrier_loads, barrier_words
from lasersafe.assessment.context import FAR_INFRARED, Context, kinds_of_light
from lasersafe.assessment.facts import starter_sentence
from lasersafe.assessment.lines import every_context
from lasersafe.assessment.protection import SCATTER_ALONE, unreadable_markings
from lasersafe.assessment.together import ALL_LASERS, beam_ways, reach_together, strike_outs_of
from lasersafe.quantity import feet, format_quantity, grouped
from lasersafe.records.day import Assumption
from lasersafe.records.fields import badness
from lasersafe.results import (
    GUESTS,
    BarrierResult,
    ControlFinding,
    Decision,
    EyewearNeed,
    LaserFacts,
    Record,
    Scenario,
    SetupResult,
    StrikeOuts,
    Zone,
)
from lasersafe.typed import shown
from lasersafe.wording.message import Message

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.records.scene import SceneResult
    from lasersafe.wording import Wording

IN_BEAM = ("eye direct", "skin direct", "eye together", "skin together")  # zones of lines that count in the headline
_MOST_PAIRS = 3  # of a person and a laser that are named
_MOST_TIMES = 3  # of persons, typed, that are named
_MOST_KEYS = 8  # of readings that are named one by one


def conditions(case: Case, corners: Sequence[Sequence[Context]], eyewear: list[EyewearNeed]) -> set[str]:
    """Return the condition words of the wording files that hold in this case, at any corner of its tolerances."""
    words = {"spectators"} if any(p.role in GUESTS for p in case.person) else set()
    waves: dict[tuple[str, int], list[Context]] = {}
    for one in (one for found in corners for one in found):
        for place, line in enumerate(every_context(one).values()):
            waves.setdefault((one.laser.name, place), []).append(line)
    words = words.union(*map(kinds_of_light, waves.values()))
    for context in (one for same in waves.values() for one in same):
        kinds = {context.setup.kind}
        words |= {"lens"} if "lens" in kinds else set()
        words |= {"fibre"} if context.setup.kind.startswith("fibre") else set()
        words |= {"far infrared"} if context.wavelength >= FAR_INFRARED else set()
        words |= {"pulsed"} if context.space.kind != "continuous" else set()
        power = 0.0 if context.space.power is None else context.space.power[1]
        words |= {"kilowatt"} if power >= 1000.0 else set()
        words |= {"handheld"} if context.laser.handheld else set()
    works = any(one.setup.work_distance is not None for found in corners for one in found)
    if works or case.other_hazards.work_material if case.other_hazards.process is None else case.other_hazards.process:
        words.add("process")
    return words | ({"eyewear"} if eyewear else set()) | ({"barrier"} if case.barrier else set())


def metres(distance: float, with_feet: bool = True) -> str:
    """Return a distance for the decision block, rounded up, with feet where the case asks."""
    step = 1.0 if distance > 10.0 else 0.1
    rounded = math.ceil(distance / step - 1e-9) * step
    digits = 0 if step == 1.0 else 1
    tail = f" ({grouped(math.ceil(feet(rounded)))} ft)" if with_feet else ""
    return f"{grouped(rounded, digits)} m{tail}"


@dataclass(frozen=True)
class Reached:
    """How far the fitted lasers reach on some ways: the farthest zone with its set-up, and all together [m]."""

    zone: Zone
    setup: SetupResult
    distance: float


def reached(
    case: Case, corners: Sequence[Sequence[Context]], setups: Sequence[SetupResult], ways: tuple[str, ...]
) -> Reached:
    """Return the farthest zone of what is fitted, its set-up, and how far all reach together where they add."""
    fitted = [s for s in setups if s.fitted]
    pairs = [(zone, setup) for setup in fitted for zone in setup.zones if zone.way in ways]
    zone, farthest = max(pairs, key=lambda pair: badness(pair[0].distance))
    if len(fitted) < 2 or not case.adds_lasers or math.isnan(zone.distance):
        return Reached(zone, farthest, zone.distance)
    together, tissue = reach_together(corners, ways, zone.distance)
    if together <= zone.distance:
        return Reached(zone, farthest, zone.distance)
    zone, farthest = max((p for p in pairs if p[0].tissue == tissue), key=lambda pair: badness(pair[0].distance))
    return Reached(zone, farthest, together)


def decision_of(
    case: Case,
    corners: Sequence[Sequence[Context]],
    setups: list[SetupResult],
    scenarios: list[Scenario],
    eyewear: list[EyewearNeed],
    barriers: list[BarrierResult],
    scene: SceneResult | None,
    record: Record,
    reach: tuple[Reached, Reached],
    wording: Wording,
) -> tuple[Decision, tuple[str, ...]]:
    """Return the block that a producer reads aloud, and why the sheet cannot stop being a draft.

    Parameters
    ----------
    case : Case
        The case, for its persons and units.
    corners : sequence of sequence of Context
        The set-ups at every corner of the tolerances.
    setups, scenarios, eyewear, barriers : list
        The worst of all corners.
    scene : SceneResult or None
        What is placed, where there is a scene.
    record : Record
        With findings on controls and readings.
    reach : tuple of Reached
        How far the fitted lasers reach along their beams, and by scatter.
    wording : Wording
        Language of the sentences.
    """
    fitted = [s for s in setups if s.fitted]
    ways, adding = beam_ways(case), len(fitted) > 1 and case.adds_lasers
    beam, near = reach[0], reach[1].distance
    lines = [line.distance for line in (() if scene is None else scene.lines) if line.zone in IN_BEAM]
    far = max((beam.distance, *lines), key=badness)
    mine = [s for s in scenarios if is_fitted(s, fitted)]
    open_ones = [s for s in mine if not s.below and not s.answer and not s.struck_out]
    uncovered = [s for s in fitted if not any(o.laser == s.laser and o.setup == s.setup for o in mine)]
    words = _Sentences(case, wording)
    measured, unread = words.readings(record)
    uncontrolled = [f for f in record.findings if f.scenario not in {s.key for s in open_ones}]
    struck = strike_outs_of(case, corners[0], fitted, mine)
    unreadable = [
        wording.text("say.eyewear_unread", person=one.name, marking=shown(one.eyewear), reason=wording.say(why))
        for _, one, why in unreadable_markings(case)
    ]
    above, known = words.reasons(setups, fitted, open_ones, ways)
    out = words.struck_out(struck)
    left_out = [wording.text("say.uncovered", laser=s.laser, setup=s.setup) for s in uncovered]
    starters = starter_sentence(record.starter_values, wording)
    unstated = unstated_sentence(case, wording)
    assumed = words.assumed(record.assumptions, far)
    first = [*measured, *starters, *above[:1], *unreadable, *assumed, *left_out, *unread, *out]
    first += [*words.assumptions(), *unstated]
    reasons = [*first, *above[1:], *words.findings(uncontrolled), *known]
    passed = not open_ones and not record.findings and not measured and not uncovered and bool(mine)
    points = words.points(open=len(open_ones), uncontrolled=len(uncontrolled), measured=len(measured))
    placed = () if scene is None else scene.barriers
    loads, worn = barrier_loads(barriers, placed), words.wear(eyewear, record.lasers, mine)
    named = [beam.setup.laser, *(s.laser for s in fitted)]
    barrier, remarks = barrier_words(loads, placed, named, wording)
    decision = Decision(
        wear=words.worn(worn),
        people=words.people(beam.zone, far, near, together=adding, aids="aided" in ways)
        + (" " + wording.text("assumed.people") if assumed else ""),
        barrier=barrier,
        barrier_remarks=remarks,
        verdict=words.verdict(bool(mine) and not uncovered, points),
        passed=passed,
        reasons=tuple(dict.fromkeys(reasons)),
        headline_distance=far,
        scatter_distance=near,
        headline_tissue=beam.zone.tissue,
        aided=tuple(p.name for p in case.person if p.aided and p.role not in GUESTS),
        points=points,
        worn=worn,
        loads=tuple(one for one in loads if one.fitted and (one.asked or one.rating is not None)),
        causes=(*left_out, *unstated),
        grounds=(*assumed, *words.assumptions(), *unreadable, *known),
        strike_outs=struck,
    )
    return decision, (*measured, *starters, *unstated)


def naming_strike_outs(decision: Decision, wording: Wording) -> Decision:
    """Return the decision with a verdict that names what is left out: how many ways, the worst ratio, and whose."""
    struck = decision.strike_outs
    words = [_Sentences.strike_outs(struck, wording)] if struck.count else []
    if struck.not_assessed:
        pairs = [wording.text("say.person_for_laser", person=p, laser=laser) for p, laser in struck.not_assessed]
        more = [f"+{len(pairs) - _MOST_PAIRS}"] if len(pairs) > _MOST_PAIRS else []
        words.append(wording.text("say.not_assessed", pairs=", ".join([*pairs[:_MOST_PAIRS], *more])))
    if not words:
        return decision
    verdict = wording.text("say.passed_in_part") if decision.passed else decision.verdict
    return replace(decision, verdict="; ".join([verdict, *words]), points=(*decision.points, *words))


def is_fitted(scenario: Scenario, fitted: Sequence[SetupResult]) -> bool:
    """Return whether a scenario is one of what is fitted, or of all lasers together."""
    return scenario.laser == ALL_LASERS or any(scenario.laser == s.laser and scenario.setup == s.setup for s in fitted)


def way_of(scenario: Scenario, wording: Wording) -> str:
    """Return the way of a scenario in words, with the mode where it is not running."""
    way, modes = wording.text(f"way.{scenario.way}"), scenario.mode.split(", ")
    return way if "running" in modes else f"{way} ({', '.join(map(wording.say, modes))})"


def times(ratio: float) -> str:
    """Return a ratio for a sentence, rounded up."""
    return format_quantity(ratio, "1", 3, "up") if math.isfinite(ratio) else "∞"


class _Sentences:
    """The sentences of the decision block, in the language of the wording."""

    def __init__(self, case: Case, wording: Wording) -> None:
        self.case = case
        self.wording = wording
        self.text = wording.text
        self.feet = case.units == "metric and feet"

    def _metres(self, distance: float) -> str:
        return metres(distance, self.feet)

    def _count(self, key: str, count: int) -> str:
        return self.text(f"say.{key}_one" if count == 1 else f"say.{key}_many", count=count)

    def points(self, **counts: int) -> tuple[str, ...]:
        """Return what keeps the laser from running, counted."""
        return tuple(self._count(key, count) for key, count in counts.items() if count)

    def verdict(self, any_scenario: bool, points: Sequence[str]) -> str:
        """Return the sentence that decides; it fails closed."""
        if not any_scenario and not points:
            return self.text("say.no_verdict")
        return self.text("say.not_as_planned", what="; ".join(points)) if points else self.text("say.passed")

    @staticmethod
    def strike_outs(struck: StrikeOuts, wording: Wording) -> str:
        """Return how much is struck out, the worst ratio of it, and whose it is."""
        worst = struck.worst
        if worst is None:
            return wording.text("say.struck_nothing", count=struck.count)
        return wording.text(
            "say.struck_one" if struck.ways == 1 else "say.struck_many",
            count=struck.ways,
            ratio=times(worst.ratio),
            person=worst.person,
            way=way_of(worst, wording),
            laser=wording.say(worst.laser),
        )

    def people(self, direct: Zone, far: float, near: float, *, together: bool, aids: bool) -> str:
        """Return how far people stand who are not involved."""
        limit = direct.criterion
        return self.text(
            "say.people",
            direct=self._metres(far),
            scatter=self._metres(near),
            together=self.text("say.all_together") if together else "",
            aid=self.text("say.aided_eye" if aids else "say.naked_eye"),
            tissue=self.text(f"tissue.{limit.tissue}"),
            rule_set=limit.rule_set,
            duration=f"{limit.duration:g} s",
        )

    def worn(self, worn: Sequence[tuple[str, tuple[str, ...]]]) -> str:
        """Return what to wear in one piece."""
        lines = [": ".join(filter(None, (laser, "; ".join(said)))) for laser, said in worn]
        return ". ".join(lines) + "." if lines else self.text("say.no_eyewear")

    def wear(
        self, eyewear: list[EyewearNeed], lasers: Sequence[LaserFacts], scenarios: list[Scenario]
    ) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return what to wear, laser by laser: what covers everybody who is near enough to need any."""
        away = {person.name: float(person.distance) for person in self.case.person}
        lines = list[tuple[str, tuple[str, ...]]]()
        for laser in lasers:
            needs = [n for n in eyewear if n.laser == laser.name]
            covers = [one.eyewear for one in (laser, *laser.lines) if one.eyewear is not None]
            covers.sort(key=lambda one: one.wavelength)
            bad = next((one for one in covers if not one.reliable), None)
            if bad is not None:
                notes = [note for n in needs for note in n.notes if isinstance(note, Message)]
                scatter = [note for note in notes if note.key == SCATTER_ALONE]
                hardest = max(scatter, key=lambda note: badness(note.values["density"]), default="")
                lines.append((laser.name, tuple(self.wording.say(one) for one in (bad.no_reliance, hardest) if one)))
            elif covers:
                marking = self.text("say.and").join(dict.fromkeys(n.marking for n in covers))
                nearest = min((n.person for n in needs), key=lambda name: away[name])
                lines.append((laser.name, (self.text("say.wear", marking=marking, person=nearest),)))
        lines += [
            ("", (self.text("say.wear_together", person=s.person),))
            for s in scenarios
            if s.laser == ALL_LASERS and s.tissue == "eye" and not s.below and self._unworked(s, scenarios, eyewear)
        ]
        return tuple(lines)

    @staticmethod
    def _unworked(together: Scenario, scenarios: list[Scenario], eyewear: list[EyewearNeed]) -> bool:
        """Return whether eyewear for each laser alone leaves a sum above 1, since some ask for none: their light stays.

        What lets through its part of the limit for each of some lasers leaves the others the rest of it.
        """
        mine = {n.laser for n in eyewear if n.person == together.person}
        parts = [s for s in scenarios if (s.person, s.tissue) == (together.person, "eye") and s is not together]
        worst = {s.laser: s.ratio for s in sorted(parts, key=lambda s: badness(s.ratio)) if not s.struck_out}
        bare = [ratio for laser, ratio in worst.items() if laser not in mine]
        return not sum(bare) <= len(bare) / len(worst)

    def readings(self, record: Record) -> tuple[list[str], list[str]]:
        """Return one reason for each reading above what was expected; then the doubtful ones, and which are missing."""
        above: list[str] = []
        low: list[str] = []
        for row in record.expected:
            if row.reading is None or not (row.reading.above or row.reading.low):
                continue
            words = {
                "key": row.key,
                "what": self.text(f"acceptance.{row.what}"),
                "where": row.where,
                "way": self.text(f"way.{row.way}"),
                "upper": format_quantity(row.reading.upper, row.unit, 3, "up"),
                "expected": format_quantity(row.value, row.unit, 3, "down"),
            }
            if row.reading.above:
                above.append(self.text("say.reading_above", **words))
            else:
                low.append(self.text("say.reading_low", low=format_quantity(row.low, row.unit, 2, "down"), **words))
        known = low if len(low) <= 3 else [*low[:3], self.text("say.more_low", count=len(low) - 3)]
        asked = record.to_be_read
        missing = [row.key for row in asked if row.reading is None]
        if missing:
            more = f", +{len(missing) - _MOST_KEYS}" if len(missing) > _MOST_KEYS else ""
            keys = ", ".join(missing[:_MOST_KEYS]) + more
            known.append(self.text("say.readings_missing", count=len(missing), all=len(asked), keys=keys))
        return above, known

    def findings(self, findings: list[ControlFinding]) -> list[str]:
        """Return the reasons that lie in the controls; the worst few, and how many more there are."""
        found = [
            self.text(
                "say.eyewear_alone" if finding.eyewear_alone else "say.uncontrolled",
                person=finding.person,
                way=self.text(f"way.{finding.way}"),
                tissue=self.text(f"tissue.{finding.tissue}"),
                laser=finding.laser,
            )
            for finding in findings
        ]
        more = len(found) - 3
        return [*found[:3], self.text("say.more_findings", count=more)] if more > 0 else found

    def reasons(
        self,
        setups: list[SetupResult],
        fitted: list[SetupResult],
        open_ones: list[Scenario],
        ways: tuple[str, ...],
    ) -> tuple[list[str], list[str]]:
        """Return the worst scenarios without an answer, and what else has to be known."""
        found: list[str] = []
        above: list[str] = []
        for scenario in sorted(open_ones, key=lambda s: -badness(s.ratio))[:4]:
            above.append(self._above("say.above", scenario))

        def reach(setup: SetupResult) -> float:
            return max((zone.distance for zone in setup.zones if zone.way in ways), key=badness)

        for setup in fitted:
            others = [s for s in setups if s.laser == setup.laser and not s.fitted]
            worse = max(others, key=lambda s: badness(reach(s)), default=None)
            if worse is not None and not reach(worse) <= reach(setup):
                reached = self._metres(reach(worse))
                found.append(
                    self.text("say.other_setup", laser=setup.laser, setup=setup.setup, other=worse.setup, reach=reached)
                )
        return above, found

    def assumptions(self) -> list[str]:
        """Return what the case states instead of the strict choice: times of its own, a complete list of surfaces."""
        timed = [
            self.text("say.typed_time", person=one.name, time=one.time.typed, reason=one.time_reason)
            for one in self.case.person
            if one.time is not None
        ]
        more = len(timed) - _MOST_TIMES
        found = [*timed[:_MOST_TIMES], self.text("say.more_times", count=more)] if more > 0 else timed
        return [*found, self.text("say.surfaces_complete")] if self.case.settings.surfaces_complete else found

    def assumed(self, found: Sequence[Assumption], far: float) -> list[str]:
        """Return what of the beams is assumed: what costs most with what stating it could bring."""
        mine = [assumption_sentence(one, far, self.wording, self._metres) for one in found if one.laser]
        more = len(mine) - MOST
        lines = [*mine[:MOST], self.text("assumed.more", count=more)] if more > 0 else mine
        return [self.text("assumed.sentence", what="; ".join(lines))] if lines else []

    def struck_out(self, struck: StrikeOuts) -> list[str]:
        """Return how many strike-outs there are, and the worst of them with its reason."""
        found = [self._count("struck_out", struck.count)] if struck.count else []
        return found if struck.worst is None else [*found, self._above("say.struck_worst", struck.worst)]

    def _above(self, key: str, scenario: Scenario) -> str:
        laser = self.wording.say(ALL_LASERS) if scenario.laser == ALL_LASERS else scenario.laser
        return self.text(
            key,
            person=scenario.person,
            way=way_of(scenario, self.wording),
            tissue=self.text(f"tissue.{scenario.tissue}"),
            ratio=times(scenario.ratio),
            laser=", ".join(filter(None, (laser, scenario.setup))),
            reason=self.wording.say(scenario.struck_out),
        )
