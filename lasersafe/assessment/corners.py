"""Tolerances: their corners, each worked out, the worst of every result, and how sure the distances are.

Eyewear covers all corners.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.assessment.barriers import barrier_results
from lasersafe.assessment.context import FAR_INFRARED, FAULTS, Context, broken_context, contexts, contexts_of_each
from lasersafe.assessment.distances import checked_changes, variable_inputs, zone_distances
from lasersafe.assessment.problem import Problem
from lasersafe.assessment.protection import answered, eyewear_of, let_through, stopped_by
from lasersafe.assessment.scenarios import extended_scenarios, scenarios_of
from lasersafe.assessment.setups import results_of_each
from lasersafe.assessment.together import sums_of
from lasersafe.errors import CalcError, refuse
from lasersafe.hazard.barriers import material_reflectance, materials
from lasersafe.hazard.combine import between_marks, marking_edges, worst_wavelengths
from lasersafe.hazard.eyewear import covering
from lasersafe.hazard.instruments import SAME, viewing_data
from lasersafe.hazard.tolerances import Evaluate, Uncertain, limits_of, monte_carlo, slope, worst_corner
from lasersafe.limits.exposure import COUNT_SLACK, duration_edges, wavelength_edges
from lasersafe.models import Case, Knob, SIValue, Surface, Target, Toleranced, replaced, tolerances_of
from lasersafe.models.base import Place
from lasersafe.quantity import Rounding, format_quantity
from lasersafe.records.fields import badness, rank, told, worst, worst_of_each
from lasersafe.records.light import DistanceSpread, Influence, InputTolerance, Uncertainty
from lasersafe.results import BarrierResult, Decision, EyewearNeed, Scenario, SetupResult, Zone

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.records.scene import MatrixCell
    from lasersafe.wording import Wording

C = TypeVar("C")
T = TypeVar("T")
MOST_CORNERS = 24
_DIGITS = 4
DRAWS = 20_000
SEED = 20_250_101  # any fixed number: equal cases give equal sheets
ZONES = (("direct", "eye"), ("direct", "skin"), ("scatter", "eye"), ("scatter", "skin"))
_FOCUS = ("focal_length", "measured_at", "waist_at")  # move it
_WIDTHS = ("beam_diameter", "divergence", "focus_diameter", "focal_length", "core_diameter", "numerical_aperture",
           "mode_field_diameter")  # fmt: skip
_NOT_MEASURED = ("duration", "view_angle")  # chosen by rule, on the strict side
_NO_INFLUENCE = 1e-6
_FEW_PULSES = 24


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
        low, high = one.ends
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
    differing = _differing(case, found) if choices or fixed else {}
    if len(fitted) * math.prod(len(used) for _, _, used in choices) > MOST_CORNERS:
        unknown = ["optics that are not stated"] if len(fitted) > 1 else []
        names = ", ".join([*unknown, *(one.field for one, _, _ in choices)])
        refuse(
            f"{names}: each carries a tolerance whose worse end is not known beforehand, and together they have more "
            f"than {MOST_CORNERS} corners; give the cautious value of some of them without a tolerance"
            + ("; and state the optics of a laser" if unknown else "")
        )
    cases = []
    for values in product(*(used for _, _, used in choices)):
        own = {one.place: _value(one, value, ends) for (one, ends, _), value in zip(choices, values, strict=True)}
        for optics in fitted:
            corner = replaced(optics, {**fixed, **own}) if fixed or own else optics
            corner._at_corner = bool(fixed or own) or optics._at_corner
            corner._may_differ = differing
            cases.append(corner)
    return Corners(tuple(cases), tuple(inputs))


def _differing(case: Case, found: Sequence[Toleranced]) -> dict[tuple[str, str], tuple[float, float]]:
    """Return of each beam how many times as wide as at a corner it may be, and how far off its focus [m]."""
    known: dict[tuple[str, str], tuple[float, float]] = {}
    for one in (one for one in found if one.place[0] == "laser" and one.place[2] in ("setup", "line")):
        laser, (low, high) = case.laser[int(one.place[1])], one.ends
        for number, setup in enumerate(laser.setup):
            if one.place[2] == "setup" and one.place[3] != number:
                continue
            wider, loose = known.get((laser.name, setup.name), (1.0, 0.0))
            wider *= high / low if one.name in _WIDTHS and low > 0.0 else 1.0
            loose += high - low if one.name in _FOCUS else 0.0
            known[laser.name, setup.name] = wider, loose
    return known


def _value(one: Toleranced, value: float, ends: tuple[float, ...]) -> SIValue:
    """Return a value of the corner; its text says where it comes from."""
    end = "lowest" if value == ends[0] else "highest" if value == ends[1] else "worst"
    side: dict[str, Rounding] = {"lowest": "down", "highest": "up"}  # a lowest value is never printed higher
    shown = format_quantity(value, one.value.unit, _DIGITS, side.get(end, "nearest"))
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


def worked_out(cases: Sequence[Case], wording: Wording) -> list[CaseResults]:
    """Return zones, scenarios, eyewear and barriers of corners; what answers the scenarios follows in `worst_of`."""
    if cases[0].scene is None:
        every = contexts_of_each(cases)
        own = zip(cases, every, results_of_each(every), strict=True)
        return [_worked_out(case, found, setups, None, wording) for case, found, setups in own]
    from lasersafe.assessment.scene_matrix import ask_all, placed_case
    from lasersafe.assessment.stages import stages_at

    stages = stages_at(list(map(placed_case, cases)))
    for stage in stages:
        ask_all(stage)
    return [_worked_out(one.case, one.contexts, one.setups, one, wording) for one in stages]


def _worked_out(
    case: Case, found: list[Context], setups: list[SetupResult], stage: Stage | None, wording: Wording
) -> CaseResults:
    if stage is not None:
        from lasersafe.assessment.scene_matrix import placed_scenarios, split_case
    scenarios: list[Scenario] = []
    eyewear: list[EyewearNeed] = []
    cells: list[MatrixCell] = []
    for context in found:
        own: list[Scenario] = []
        rest: Context | None = context
        if stage is not None:
            rest = split_case(case, context, stage)
            if stage.poses(context, "running"):
                own, more = placed_scenarios(stage, context)
                cells += more
        own = [*own, *(scenarios_of(rest) if rest is not None else ()), *extended_scenarios(context)]
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


def uncertainty_of(
    case: Case,
    corners: Corners,
    found: list[Context],
    setups: Sequence[SetupResult],
    wording: Wording,
    *,
    with_spreads: bool = True,
) -> Uncertainty:
    """Return what the sheet says on how sure its distances are.

    Parameters
    ----------
    case : Case
        As typed, before its values were moved to a corner.
    corners : Corners
        The corners that were worked out.
    found : list of Context
        The set-ups at the worst corner; of a case without tolerances, as typed.
    setups : sequence of SetupResult
        Their zones, the worst of all corners.
    wording : Wording
        Language of the sentence.
    with_spreads : bool
        False where nobody prints them: the inputs and corners alone are returned.
    """
    as_typed = case.settings.decide_by_reason if corners.inputs and case.settings.decide_by == "as typed" else ""
    spreads: list[DistanceSpread] = []
    if with_spreads:
        nominal = contexts(case, found[0].rule_sets) if corners.inputs and not as_typed else found
        used = {one.field: one.used for one in corners.inputs}
        for context, setup in zip(nominal, setups, strict=True):
            if setup.fitted:
                spreads += [_spread(context, setup.zone(way, tissue), used) for way, tissue in ZONES]
    return Uncertainty(
        decided_by="as typed" if as_typed else "worst corner", as_typed=as_typed, corners=len(corners.cases),
        measure=_sentence(spreads, wording), inputs=corners.inputs, spreads=tuple(spreads),
    )  # fmt: skip


def sure_decision(decision: Decision, found: Uncertainty, wording: Wording) -> Decision:
    """Return the decision with a sentence on which values its distances hold for, where inputs carry tolerances."""
    if not found.inputs:
        return decision
    words = wording.text("sure.typed_only", reason=found.as_typed) if found.as_typed else wording.text("sure.corner")
    return replace(decision, people=f"{decision.people} {words}")


def stated_tolerances(context: Context) -> dict[str, Toleranced]:
    """Return the tolerances of laser and set-up by the name of the field; of a range, that of its highest power."""
    case = context.case
    laser = next(i for i, one in enumerate(case.laser) if one.name == context.laser.name)
    setup = next(i for i, one in enumerate(context.laser.setup) if one.name == context.setup.name)
    found = {}
    for one in tolerances_of(case):
        if one.place[:2] != ("laser", laser):
            continue
        rest = one.place[2:]
        rest = rest[2:] if rest[:2] == ("setup", setup) else rest[1:] if rest[0] == "emission" else rest
        if len(rest) == 2 and rest[1] == "high" and one.worst == "high":
            rest = rest[:1]
        if all(isinstance(part, str) for part in rest):
            found[".".join(map(str, rest))] = one
    return found


def _spread(context: Context, zone: Zone, used: Mapping[str, tuple[float, ...]]) -> DistanceSpread:
    """Return how sure one distance is; *used* is what the corners took for each field [SI units]."""
    way, tissue, first = zone.way, zone.tissue, (zone.way, zone.tissue) == ZONES[0]
    evaluate, possible = partial(zone_distances, context, way, tissue), partial(possible_cases, context)
    stated = stated_tolerances(context)
    inputs = [
        Uncertain(name, value, value, value, "bound") if (own := stated.get(name)) is None
        else Uncertain(name, value, own.tolerance.low, own.tolerance.high, own.tolerance.kind)
        for name, value in (variable_inputs(context, way) if used or first else {}).items()
    ]  # fmt: skip

    def farthest(some: list[Uncertain]) -> float:
        """Return the farthest distance over all that the corners of a case take."""
        values: dict[str, tuple[float, ...]] = {}
        for one in some:
            if one.low == one.high:
                values[one.name] = (one.nominal,)
            elif stated[one.name].worst != "range":  # else a setting that can be turned, which is searched
                values[one.name] = used[stated[one.name].field]
        if len(values) == len(some):
            grid = np.meshgrid(*(np.array(places) for places in values.values()), indexing="ij")
            cases = {name: part.reshape(-1) for name, part in zip(values, grid, strict=True)}
            return float(np.max(evaluate(cases)))
        directions = {}
        for one in some:
            if len(values.get(one.name, ())) == 1:
                (end,), (low, high) = values[one.name], limits_of(one)
                directions[one.name] = 1 if high - end < end - low else -1
        return worst_corner(evaluate, some, directions, critical_values(context), possible).value

    name = (context.laser.name, context.setup.name, way, tissue)
    try:
        nominal = float(evaluate({})) if used else zone.distance
        uncertain = [one for one in inputs if one.low < one.high]
        worst, drawn = nominal, None
        if uncertain:
            worst, drawn = farthest(uncertain), monte_carlo(evaluate, uncertain, DRAWS, SEED, possible)
        known = {}
        for one in uncertain if first else ():
            exact = [one._replace(low=one.nominal, high=one.nominal) if other is one else other for other in uncertain]
            known[one.name] = min(worst, farthest(exact))
        influences = _influences(evaluate, inputs, known) if first else ()
    except CalcError as error:
        return DistanceSpread(*name, math.nan, zone.distance, None, None, 0, SEED, (), note=str(error))
    far = max(worst, zone.distance)
    if drawn is None:
        return DistanceSpread(*name, nominal, far, None, None, 0, SEED, influences)
    return DistanceSpread(*name, nominal, far, drawn.upper, drawn.error, drawn.draws, drawn.seed, influences)


def _influences(evaluate: Evaluate, inputs: list[Uncertain], known: Mapping[str, float]) -> tuple[Influence, ...]:
    """Return what each input does to a distance: first those with a tolerance, by gain, then the others, by slope.

    *known* is the worst distance with one of the tolerances left out [m].
    """
    values = {one.name: one.nominal for one in inputs}
    here = float(evaluate({name: np.asarray(value) for name, value in values.items()}))
    found, others = [], []
    for one in inputs:
        if one.name in known:
            low, high = evaluate({one.name: np.array(limits_of(one))}).tolist()
            found.append(Influence(one.name, slope(evaluate, values, one.name, here), low, high, known[one.name]))
        elif one.name not in _NOT_MEASURED:
            others.append(Influence(one.name, slope(evaluate, values, one.name, here), None, None, None))
    found.sort(key=lambda one: (one.known, -abs(one.exponent), one.name))
    others.sort(key=lambda one: (-abs(one.exponent), one.name))
    return (*found, *(one for one in others if abs(one.exponent) > _NO_INFLUENCE))


def _sentence(spreads: list[DistanceSpread], wording: Wording) -> str:
    """Return what to measure to gain most, for the distance that reaches farthest."""
    known = [one for one in spreads if one.influences and one.way == "direct"]
    if not known:
        return ""
    first = max(known, key=lambda one: badness(one.worst))
    best, text = first.influences[0], wording.text
    what = wording.input_name(best.name)
    where = ", ".join((first.laser, first.setup, text(f"way.{first.way}"), text(f"tissue.{first.tissue}")))
    if best.known is None:
        return text("sure.state", what=what, percent=f"{abs(best.exponent):.2g}", where=where)
    if not best.known < first.worst:
        return text("sure.nothing", where=where)
    worst, least = (format_quantity(one, "m", 3, "up") for one in (first.worst, best.known))
    return text("sure.measure", what=what, where=where, worst=worst, known=least)


def critical_values(context: Context) -> dict[str, list[float]]:
    """Return where the distance may jump or turn: edges of the tables, and rates at which one pulse more counts.

    Parameters
    ----------
    context : Context
        One laser with one set-up.

    Returns
    -------
    dict of str to list of float
        By input, in SI units.
    """
    names = variable_inputs(context)
    keys = {s.material_key for s in context.surfaces if s.material_key is not None}
    rows = [row.wavelength for key in keys for row in materials()[key].rows]
    bands = [edge for band in viewing_data()[0] for edge in band.wavelength]
    light = [*wavelength_edges(context.rule_sets), 400e-9, 700e-9, FAR_INFRARED, *bands]
    light += [row * f for row in rows for f in (1.0 - SAME, 1.0, 1.0 + SAME)]
    times = duration_edges(context.rule_sets)
    found = {"wavelength": light, "duration": times, "pulse_duration": times}
    if "repetition_rate" in names:
        found["repetition_rate"] = [k / t for t in (*times, names["duration"]) for k in range(1, _FEW_PULSES)]
    return {name: sorted(set(values)) for name, values in found.items() if name in names}


def possible_cases(context: Context, changes: Mapping[str, ArrayLike]) -> NDArray[np.bool_]:
    """Return where inputs can be together: pulses fit into their period, a beam is not wider by its angle alone.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    changes : mapping of str to array_like
        As for `assessment.distances.zone_distances`. [SI units]

    Returns
    -------
    numpy.ndarray of bool, shape (...)
        True where the case is possible.

    Raises
    ------
    InputError
        If a key or value cannot be used.
    """
    values = checked_changes(context, "direct", "eye", changes)
    own = Problem(context, values)
    found = np.ones(np.broadcast_shapes(*(value.shape for value in values.values())), dtype=bool)
    for waist in own.waists if context.setup.kind == "collimated" else ():
        found = found & ~np.isnan(waist)
    space = context.space
    if space.kind == "pulse train" and not own.by_setting:
        light = own.light
        period = 1.0 / light.repetition_rate
        for number, spacing in light.burst:
            found = found & (light.pulse_duration <= spacing * (1.0 + COUNT_SLACK))
            found = found & (number * spacing <= period * (1.0 + COUNT_SLACK))
        found = found & (light.pulse_duration <= period * (1.0 + COUNT_SLACK))
    for angle in own.beams.divergence if context.setup.kind in ("lens", "fibre single mode") else ():
        found = found & (angle <= math.pi)
    return np.asarray(found)
