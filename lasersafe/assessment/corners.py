"""The corners of the tolerances of a case, each worked out, and of every result the worst.

Eyewear covers all corners.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import TYPE_CHECKING, Any, TypeVar

from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.extended import extended_scenarios
from lasersafe.assessment.lines import FAULTS, broken_context
from lasersafe.assessment.protection import answered, eyewear_of, let_through, stopped_by
from lasersafe.assessment.scenarios import scenarios_of
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.together import sums_of
from lasersafe.errors import InputError
from lasersafe.hazard.combine import between_marks, marking_edges, worst_wavelengths
from lasersafe.hazard.eyewear import covering
from lasersafe.hazard.materials import material_reflectance, materials
from lasersafe.models import Case, Knob, SIValue, Surface, Target, Toleranced, replaced, tolerances_of
from lasersafe.models.base import Place
from lasersafe.physical import covered
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import rank, told, worst, worst_of_each
from lasersafe.records.uncertainty import InputTolerance
from lasersafe.results import BarrierResult, EyewearNeed, Scenario, SetupResult

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.records.scene import MatrixCell
    from lasersafe.wording import Wording

C = TypeVar("C")
T = TypeVar("T")
MOST_CORNERS = 24
_DIGITS = 4


@dataclass(frozen=True)
class Corners:
    """The cases to be worked out, and what they took.

    Parameters
    ----------
    cases : tuple of Case
        At least one; without tolerances the case itself.
    inputs : tuple of InputTolerance
        One for each tolerance, in the order of the case.
    """

    cases: tuple[Case, ...]
    inputs: tuple[InputTolerance, ...]


def ends_of(one: Toleranced) -> tuple[float, float]:
    """Return the lowest and highest value that a corner takes, in the SI unit of the input.

    A bound is itself; how far a standard uncertainty counts is known in `lasersafe.physical`. A case in which it
    reaches what the field does not take has been refused when it was read.
    """
    off = one.tolerance
    return (off.low, off.high) if off.kind == "bound" else covered(one.name, float(one.value), off.low, off.high)


def corners_of(case: Case) -> Corners:
    """Return the worst corner of a case: exact where an input acts one way, by search where it does not [1]_.

    Parameters
    ----------
    case : Case
        As typed.

    Returns
    -------
    Corners
        Several cases where an input, as the wavelength, may be worse at either end.

    Raises
    ------
    InputError
        If more corners would have to be worked out than `MOST_CORNERS`.

    References
    ----------
    .. [1] Own: docs/method.md, section 26.
    """
    found = tolerances_of(case)
    fixed: dict[Place, SIValue | Knob] = {}
    choices: list[tuple[Toleranced, tuple[float, float], tuple[float, ...]]] = []
    inputs: list[InputTolerance] = []
    marked = marking_edges(person.eyewear for person in case.person) if found else ()
    together = len(case.laser) > 1 or any(laser.line for laser in case.laser)
    for one in found:
        low, high = ends_of(one)
        used: tuple[float, ...] = (low, high)
        end, tried = one.worst, "search"
        if "divergence" in one.place and one.place[0] == "laser" and one.place[2] == "setup":
            setup = case.laser[int(one.place[1])].setup[int(one.place[3])]
            if setup.kind == "collimated" and setup.waist_at is not None:
                end = "ends"  # read away from the waist it widens the beam beyond that place and narrows the waist
        if end in ("low", "high"):
            used, tried = (low if end == "low" else high,), "monotone"
            fixed[one.place] = _value(one, used[0], (low, high))
        elif end == "range":
            fixed[one.place] = Knob(*(_value(one, value, used) for value in used))
        else:
            if one.place[-1] == "wavelength":
                waves = (*worst_wavelengths(low, high, together), *between_marks(low, high, marked))
                used = tuple(sorted({*waves, *_brightest(case, low, high)}))
            used = tuple(dict.fromkeys(used))
            choices.append((one, (low, high), used))
        typed, nominal = one.value.typed, float(one.value)
        inputs.append(
            InputTolerance(one.field, typed, one.value.unit, nominal, low, high, one.tolerance.kind, used, tried)
        )
    fitted = case.with_each_optics()
    if case.settings.decide_by == "as typed":
        choices, fixed = [], {}
    if len(fitted) * math.prod(len(used) for _, _, used in choices) > MOST_CORNERS:
        unknown = ["optics that are not stated"] if len(fitted) > 1 else []
        names = ", ".join([*unknown, *(one.field for one, _, _ in choices)])
        message = (
            f"{names}: each carries a tolerance whose worse end is not known beforehand, and together they have more "
            f"than {MOST_CORNERS} corners; give the cautious value of some of them without a tolerance"
            + ("; and state the optics of a laser" if unknown else "")
        )
        raise InputError(message)
    cases = []
    for values in product(*(used for _, _, used in choices)):
        own = {one.place: _value(one, value, ends) for (one, ends, _), value in zip(choices, values, strict=True)}
        for optics in fitted:
            corner = replaced(optics, {**fixed, **own}) if fixed or own else optics
            corner._at_corner = bool(fixed or own) or optics._at_corner
            cases.append(corner)
    return Corners(tuple(cases), tuple(inputs))


def _value(one: Toleranced, value: float, ends: tuple[float, ...]) -> SIValue:
    """Return a value of the corner; its text says where it comes from."""
    end = "lowest" if value == ends[0] else "highest" if value == ends[1] else "worst"
    shown = format_quantity(value, one.value.unit, _DIGITS)
    return SIValue(value, f"{shown} ({end} of {one.value.typed})", one.value.unit)


def _brightest(case: Case, low: float, high: float) -> tuple[float, ...]:
    """Return the wavelengths inside a range at which a material of the case reflects more than at both ends."""
    found = set()
    described: list[Surface | Target] = [*case.surface, *(() if case.scene is None else case.scene.target)]
    for surface in described:
        if surface.material_key is None:
            continue
        rows = [row.wavelength for row in materials()[surface.material_key].rows if low < row.wavelength < high]
        tried = [low, high, *rows]
        values = [material_reflectance(surface.material_key, surface.finish, at).value for at in tried]
        found.add(tried[values.index(max(values))])
    return tuple(found)


def covering_each(lists: Iterable[Iterable[EyewearNeed]]) -> list[EyewearNeed]:
    """Return, for each laser, set-up, person and line, one need that covers those of all lists."""
    return list(worst_of_each(lists, lambda _, group: covering(group)))


def over(
    corners: Sequence[C], each: Callable[[C], Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None
) -> tuple[T, ...]:
    """Return the records of every corner of the tolerances, of each thing the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its records.
    also : callable, optional
        As `lasersafe.records.fields.worst` takes it.
    """
    return worst_of_each(map(each, corners), also)


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


def worked_out(case: Case, wording: Wording) -> CaseResults:
    """Return zones, scenarios, eyewear and barriers of a corner; what answers the scenarios follows in `worst_of`."""
    stage = None
    if case.scene is not None:
        from lasersafe.assessment import scene as scene_part

        case = scene_part.placed_case(case)
    found = contexts(case)
    setups = [setup_result(context) for context in found]
    if case.scene is not None:
        stage = scene_part.Stage(case, case.scene, found, setups)
    scenarios: list[Scenario] = []
    eyewear: list[EyewearNeed] = []
    cells: list[MatrixCell] = []
    for context in found:
        own: list[Scenario] = []
        rest: Context | None = context
        if stage is not None:
            rest = scene_part.split_case(case, context, stage)
            if stage.poses(context, "running"):
                own, more = scene_part.placed_scenarios(stage, context)
                cells += more
        own += [*(scenarios_of(rest) if rest is not None else ()), *extended_scenarios(context)]
        scenarios += own
        if not context.setup.fitted:
            continue
        needs = eyewear_of(context, found, own, wording)
        for way in FAULTS if stage is not None else ():  # in the beam of a lost lens or a broken fibre as well
            hit = {s.person for s in own if s.way == way and s.tissue == "eye" and not (s.below or s.struck_out)}
            broken = broken_context(stage, context, way)[0] if stage is not None and hit else None
            if broken is not None:
                also = [need for need in eyewear_of(broken, found, own, wording) if need.person in hit]
                needs = covering_each([needs, also])
        eyewear += needs
    return CaseResults(case, found, setups, scenarios, eyewear, barrier_results(found), stage, cells)


def _answered(worked: CaseResults, eyewear: list[EyewearNeed], wording: Wording) -> CaseResults:
    """Return a corner with what answers its scenarios, and what is left of several lasers together."""
    case, barriers = worked.case, worked.barriers
    persons = {person.name: person for person in case.person}
    scenarios, left = [], []
    for bare in worked.scenarios:
        person, one = persons[bare.person], bare
        if not (bare.below or bare.struck_out):
            one = replace(bare, answer=answered(case, bare, person, barriers, eyewear, wording))
        scenarios.append(one)
        if one.struck_out or (one.answer and any(stopped_by(case, one, b, person) for b in barriers)):
            continue
        if one.answer:
            ratio = let_through(case, worked.found, one, eyewear)
            by_set = dict.fromkeys(one.ratio_by_rule_set, ratio)
            one = replace(one, ratio=ratio, ratio_by_rule_set=by_set, fractions={})
        left.append(one)
    return replace(worked, scenarios=scenarios + sums_of(case, worked.found, left))


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
