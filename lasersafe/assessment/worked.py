"""One corner of a case worked out, and several put together: of every result the worst is kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from lasersafe.assessment.alike import alike, highest
from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.broken import FAULTS, broken_context
from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.glowing import extended_scenarios
from lasersafe.assessment.protection import (
    answered,
    eyewear_of,
    let_through,
    protecting_barriers,
    stops,
)
from lasersafe.assessment.scenarios import scenarios_of
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.together import sums_of
from lasersafe.assessment.ways import BASE_WAY
from lasersafe.hazard.eyewear import marking_to_ask
from lasersafe.hazard.marking import SCATTER_ONLY
from lasersafe.results import BarrierResult, EyewearNeed, ScaleNeed, Scenario, SetupResult, Zone
from lasersafe.worst import badness

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import Case, Person
    from lasersafe.results_scene import MatrixCell
    from lasersafe.wording import Wording


@dataclass(frozen=True)
class Worked:
    """What follows from a case before anything is decided."""

    case: Case
    found: list[Context]
    setups: list[SetupResult]
    scenarios: list[Scenario]
    eyewear: list[EyewearNeed]
    barriers: list[BarrierResult]
    stage: Stage | None
    cells: list[MatrixCell]
    corners: tuple[Worked, ...] = ()  # of several: each as it is, the leading one first

    @property
    def each(self) -> tuple[Worked, ...]:
        """Every corner as it is."""
        return self.corners or (self,)


def worked_out(case: Case, sets: tuple[str, ...], wording: Wording) -> Worked:
    """Return zones, scenarios, eyewear and barriers of a case; what answers the scenarios follows in `worst_of`.

    Parameters
    ----------
    case : Case
        With a scene, as `assessment.scene.placed_case` gives it.
    sets : tuple of str
        Rule sets to be worked out, that of the case first.
    wording : Wording
        Language of the answers.
    """
    found = contexts(case, sets)
    setups = [setup_result(context) for context in found]
    stage = None
    if case.scene is not None:
        from lasersafe.assessment import scene as scene_part

        stage = scene_part.Stage(case, case.scene, found, setups)
    scenarios: list[Scenario] = []
    eyewear: list[EyewearNeed] = []
    cells: list[MatrixCell] = []
    barriers = barrier_results(found)
    for context in found:
        if stage is None:
            own = scenarios_of(context)
        else:
            own, more = scene_part.placed_scenarios(stage, context) if stage.poses(context, "running") else ([], [])
            cells += more
            rest = scene_part.split_case(case, context, stage)
            own += scenarios_of(rest) if rest is not None else []
        own += extended_scenarios(context)
        scenarios += own
        eyewear += _needs(stage, context, found, own, wording) if context.setup.fitted else []
    return Worked(case, found, setups, scenarios, eyewear, barriers, stage, cells)


def _needs(
    stage: Stage | None, context: Context, found: list[Context], own: list[Scenario], wording: Wording
) -> list[EyewearNeed]:
    """Return what eyewear has to carry, in the beam of a lost lens or a broken fibre as well where that can hit."""
    needs = eyewear_of(context, found, own, wording)
    for way in FAULTS if stage is not None else ():
        hit = {s.person for s in own if s.way == way and s.tissue == "eye" and not (s.below or s.struck_out)}
        broken = broken_context(stage, context, way)[0] if stage is not None and hit else None
        if broken is not None:
            more = [need for need in eyewear_of(broken, found, own, wording) if need.person in hit]
            needs = _eyewear([needs, more])
    return needs


def _answered(worked: Worked, eyewear: list[EyewearNeed], wording: Wording) -> Worked:
    """Return a corner with what answers its scenarios, and what is left of several lasers together."""
    persons = {person.name: person for person in worked.case.person}
    scenarios = [
        s if s.below or s.struck_out
        else replace(s, answer=_answer(worked, s, persons[s.person], eyewear, wording))
        for s in worked.scenarios
    ]  # fmt: skip
    left = [_left_of(worked, s, persons[s.person], eyewear) for s in scenarios if not s.struck_out]
    return replace(worked, scenarios=scenarios + sums_of(worked.case, worked.found, [s for s in left if s is not None]))


def _left_of(worked: Worked, scenario: Scenario, person: Person, eyewear: list[EyewearNeed]) -> Scenario | None:
    """Return a scenario with what its answer leaves of it, None where a barrier stops all."""
    if not scenario.answer:
        return scenario
    if any(stopped_by(worked.case, scenario, b, person) for b in worked.barriers):
        return None
    left = let_through(worked.case, worked.found, scenario, eyewear)
    by_set = dict.fromkeys(scenario.ratio_by_rule_set, left)
    return replace(scenario, ratio=left, ratio_by_rule_set=by_set, fractions={})


def stopped_by(case: Case, scenario: Scenario, result: BarrierResult, person: Person) -> bool:
    """Return whether a barrier answers a scenario.

    Where person and barrier have places, geometry has decided, and the barrier is in the exposure already. A barrier
    without a place answers for the persons that it protects from all sides, not in service, when it may be open.
    """
    protecting = protecting_barriers(case, person)
    if scenario.placed:
        placed = case.scene is not None and any(b.name == result.barrier for b in case.scene.barrier)
        if placed or result.barrier not in protecting or "service" in scenario.mode.split(", "):
            return False
    return stops(replace(scenario, way=BASE_WAY.get(scenario.way, scenario.way)), result, person, protecting)


def _answer(worked: Worked, scenario: Scenario, person: Person, eyewear: list[EyewearNeed], wording: Wording) -> str:
    """Return what answers a scenario; a barrier with a place is in the exposure already."""
    own = [b for b in worked.barriers if stopped_by(worked.case, scenario, b, person)]
    plain = replace(scenario, way=BASE_WAY.get(scenario.way, scenario.way))
    return answered(worked.case, plain, person, own, eyewear, wording)


def worst_of(corners: Sequence[Worked], wording: Wording) -> Worked:
    """Return the corner whose direct beam reaches farthest, with the worst of every result of all corners.

    A pair of eyewear answers at every corner what it answers at all of them.

    Parameters
    ----------
    corners : sequence of Worked
        At least one, all of the same case.
    wording : Wording
        Language of the answers.
    """
    eyewear = corners[0].eyewear if len(corners) == 1 else _eyewear([one.eyewear for one in corners])
    corners = [_answered(one, eyewear, wording) for one in corners]
    if len(corners) == 1:
        return corners[0]
    lead = max(corners, key=_farthest)
    others = [lead, *(one for one in corners if one is not lead)]
    return replace(
        lead,
        setups=[_setup(group) for group in zip(*(one.setups for one in others), strict=True)],
        scenarios=[_scenario(group) for group in alike((one.scenarios for one in others), _scenario_key)],
        eyewear=eyewear,
        barriers=[_barrier(group) for group in alike((one.barriers for one in others), _barrier_key)],
        cells=[max(group, key=_cell_rank) for group in alike((one.cells for one in others), _cell_key)],
        corners=tuple(others),
    )


def _farthest(one: Worked) -> float:
    return max((_reach(setup) for setup in one.setups if setup.fitted), default=0.0)


def _reach(setup: SetupResult) -> float:
    return max(badness(zone.distance) for zone in setup.zones if zone.way == "direct")


def _setup(group: tuple[SetupResult, ...]) -> SetupResult:
    """Return the set-up of the corner where its own beam reaches farthest, with the farthest zone of each kind."""
    lead = max(group, key=_reach)
    zones: list[Zone] = []
    for zone in lead.zones:
        same = [z for setup in group for z in setup.zones if (z.way, z.tissue) == (zone.way, zone.tissue)]
        farthest = max(same, key=lambda z: badness(z.distance))
        zones.append(replace(farthest, by_rule_set=highest(z.by_rule_set for z in same)))
    return replace(lead, zones=tuple(zones))


def _scenario(group: list[Scenario]) -> Scenario:
    """Return the worst scenario of a group, under each rule set with the highest ratio."""
    worst = max(group, key=_scenario_rank)
    return replace(worst, ratio_by_rule_set=highest(s.ratio_by_rule_set for s in group))


def _barrier(group: list[BarrierResult]) -> BarrierResult:
    """Return the worst result of a group, with the highest load."""
    worst = max(group, key=_barrier_rank)
    pulse = max((b.pulse for b in group if b.pulse is not None), key=badness, default=None)
    return replace(worst, irradiance=max((b.irradiance for b in group), key=badness), pulse=pulse)


def _eyewear(lists: list[list[EyewearNeed]]) -> list[EyewearNeed]:
    """Return, for each laser, set-up, person and line, one need that covers those of all corners."""
    return [covering(group) for group in alike(lists, lambda need: (need.laser, need.setup, need.person))]


def covering(group: list[EyewearNeed]) -> EyewearNeed:
    """Return the hardest need of a group, asking for every wavelength, letter and density of the others as well."""
    hardest = max(group, key=_eyewear_rank)
    waves = sorted({wave for one in group for wave in one.wavelengths or (one.wavelength,)})
    scales: dict[str, ScaleNeed] = {}
    for one in group:
        for scale in one.scales:
            if scale.mode not in scales or _number(scale) > _number(scales[scale.mode]):
                scales[scale.mode] = scale
    density = max((one.optical_density_exact for one in group), key=badness)
    asked = hardest.marking
    if math.isfinite(density) and any(_asked_for(one) != _asked_for(group[0]) for one in group):
        asked = marking_to_ask((waves[0], waves[-1]) if waves[0] < waves[-1] else waves[0], [*scales.values()], density)
    unreliable = [one for one in group if not one.reliable]
    return replace(
        hardest,
        scales=tuple(scales.values()),
        optical_density=max((one.optical_density for one in group), key=badness),
        optical_density_exact=density,
        optical_density_skin=max((one.optical_density_skin for one in group), key=badness),
        marking=asked,
        wavelengths=tuple(waves) if len(waves) > 1 else (),
        reliable=not unreliable,
        no_reliance=hardest.no_reliance or (unreliable[0].no_reliance if unreliable else ""),
        notes=tuple(dict.fromkeys(note for one in (hardest, *group) for note in one.notes)),
    )


def _asked_for(need: EyewearNeed) -> tuple[Any, ...]:
    return (
        need.wavelengths,
        need.wavelength,
        need.optical_density_exact,
        [(one.mode, one.scale_number) for one in need.scales],
    )


def _number(scale: ScaleNeed) -> float:
    return math.inf if scale.scale_number is None else float(scale.scale_number)


def _scenario_key(s: Scenario) -> tuple[str, ...]:
    return s.laser, s.setup, s.person, s.way, s.tissue, s.mode


def _scenario_rank(s: Scenario) -> tuple[bool, bool, bool, float]:
    return not s.struck_out, not s.below and not s.answer, not s.below, badness(s.ratio)


def _eyewear_rank(need: EyewearNeed) -> tuple[int, bool, float, float]:
    numbers = [_number(one) for one in need.scales]
    failed = 0 if need.verdict is None or need.verdict.enough else 1 if need.verdict.verdict == SCATTER_ONLY else 2
    return failed, not need.reliable, max([*numbers, badness(need.optical_density)]), badness(need.optical_density)


def _barrier_key(result: BarrierResult) -> tuple[str, ...]:
    return result.barrier, result.laser, result.setup, result.way


def _barrier_rank(result: BarrierResult) -> tuple[bool, float]:
    return not result.holds, badness(result.irradiance)


def _cell_key(cell: MatrixCell) -> tuple[str, ...]:
    return cell.person, cell.mode, cell.way, cell.laser, cell.setup, cell.tissue


def _cell_rank(cell: MatrixCell) -> tuple[bool, float]:
    return not cell.below, badness(cell.ratio)
