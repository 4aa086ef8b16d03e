"""One corner of a case worked out, and several put together: of every result the worst is kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.broken import FAULTS, broken_context
from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.corners import covering_each
from lasersafe.assessment.extended import extended_scenarios
from lasersafe.assessment.protection import answered, eyewear_of, let_through, stopped_by
from lasersafe.assessment.scenarios import scenarios_of
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.together import sums_of
from lasersafe.records.fields import rank, told, worst, worst_of_each
from lasersafe.results import BarrierResult, EyewearNeed, Scenario, SetupResult

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import Case, Person
    from lasersafe.records.scene import MatrixCell
    from lasersafe.wording import Wording


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
    def each(self) -> tuple[CaseResults, ...]:
        """Every corner as it is."""
        return self.corners or (self,)


def worked_out(case: Case, sets: tuple[str, ...], wording: Wording) -> CaseResults:
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
    return CaseResults(case, found, setups, scenarios, eyewear, barriers, stage, cells)


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
            needs = covering_each([needs, more])
    return needs


def _answered(worked: CaseResults, eyewear: list[EyewearNeed], wording: Wording) -> CaseResults:
    """Return a corner with what answers its scenarios, and what is left of several lasers together."""
    persons = {person.name: person for person in worked.case.person}
    scenarios = [
        s if s.below or s.struck_out
        else replace(s, answer=answered(worked.case, s, persons[s.person], worked.barriers, eyewear, wording))
        for s in worked.scenarios
    ]  # fmt: skip
    left = [_left_of(worked, s, persons[s.person], eyewear) for s in scenarios if not s.struck_out]
    return replace(worked, scenarios=scenarios + sums_of(worked.case, worked.found, [s for s in left if s is not None]))


def _left_of(worked: CaseResults, scenario: Scenario, person: Person, eyewear: list[EyewearNeed]) -> Scenario | None:
    """Return a scenario with what its answer leaves of it, None where a barrier stops all."""
    if not scenario.answer:
        return scenario
    if any(stopped_by(worked.case, scenario, b, person) for b in worked.barriers):
        return None
    left = let_through(worked.case, worked.found, scenario, eyewear)
    by_set = dict.fromkeys(scenario.ratio_by_rule_set, left)
    return replace(scenario, ratio=left, ratio_by_rule_set=by_set, fractions={})


def worst_of(corners: Sequence[CaseResults], wording: Wording) -> CaseResults:
    """Return the corner whose direct beam reaches farthest, with the worst of every result of all corners.

    A pair of eyewear answers at every corner what it answers at all of them.

    Parameters
    ----------
    corners : sequence of CaseResults
        At least one, all of the same case.
    wording : Wording
        Language of the answers.
    """
    eyewear = covering_each(one.eyewear for one in corners)
    answered = sorted((_answered(one, eyewear, wording) for one in corners), key=rank, reverse=True)
    return answered[0] if len(answered) == 1 else replace(worst(answered), eyewear=eyewear, corners=tuple(answered))
