"""How sure the distances of the fitted set-ups are: nominal, worst corner, Monte Carlo, and what changes them most."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.corners import Corners
from lasersafe.assessment.directions import critical_values, possible_cases
from lasersafe.assessment.distances import variable_inputs, zone_distances
from lasersafe.errors import CalcError
from lasersafe.hazard.tolerances import Evaluate, Possible, Uncertain, limits_of, monte_carlo, slope, worst_corner
from lasersafe.models import Case, Toleranced, tolerances_of
from lasersafe.quantity import format_quantity
from lasersafe.records.uncertainty import DistanceSpread, Influence, Uncertainty
from lasersafe.results import Decision, SetupResult, Zone

if TYPE_CHECKING:
    from lasersafe.wording import Wording

DRAWS = 20_000
SEED = 20_250_101  # any fixed number: equal cases give equal sheets
ZONES = (("direct", "eye"), ("direct", "skin"), ("scatter", "eye"), ("scatter", "skin"))
Tried = tuple[float, ...] | None
_NOT_MEASURED = ("duration", "view_angle")  # chosen by rule, on the strict side
_NO_INFLUENCE = 1e-6


def uncertainty_of(
    case: Case,
    corners: Corners,
    found: list[Context],
    setups: list[SetupResult],
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
    setups : list of SetupResult
        Their zones, the worst of all corners.
    wording : Wording
        Language of the sentence.
    with_spreads : bool
        False where nobody prints them: the inputs and corners alone are returned.
    """
    as_typed = case.settings.decide_by_reason if corners.inputs and case.settings.decide_by == "as typed" else ""
    spreads: list[DistanceSpread] = []
    if with_spreads:
        moved = corners.inputs and not as_typed
        nominal = contexts(case, found[0].rule_sets) if moved else found
        used = {one.field: one.used for one in corners.inputs}
        for context, setup in zip(nominal, setups, strict=True):
            if setup.fitted:
                spreads += [_spread(context, setup.zone(way, tissue), used) for way, tissue in ZONES]
    return Uncertainty(
        decided_by="as typed" if as_typed else "worst corner",
        as_typed=as_typed,
        corners=len(corners.cases),
        measure=_sentence(spreads, wording),
        inputs=corners.inputs,
        spreads=tuple(spreads),
    )


def sure_decision(decision: Decision, found: Uncertainty, wording: Wording) -> Decision:
    """Return the decision with a sentence on which values its distances hold for, where inputs carry tolerances."""
    if not found.inputs:
        return decision
    words = wording.text("sure.typed_only", reason=found.as_typed) if found.as_typed else wording.text("sure.corner")
    return replace(decision, people=f"{decision.people} {words}")


def inputs_of(
    context: Context, way: str, used: Mapping[str, tuple[float, ...]]
) -> tuple[list[Uncertain], dict[str, Tried]]:
    """Return the inputs of a set-up that act on a way with their tolerances, and where the worst of each can be.

    Parameters
    ----------
    context : Context
        One laser with one set-up, as typed.
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    used : mapping of str to tuple of float
        What the corners took for each field. [SI units]

    Returns
    -------
    list of Uncertain, dict of str to tuple of float or None
        None: anywhere between both ends, as of a setting that can be turned.
    """
    stated = stated_tolerances(context)
    inputs: list[Uncertain] = []
    tried: dict[str, Tried] = {}
    for name, value in variable_inputs(context, way).items():
        one = stated.get(name)
        if one is None:
            inputs.append(Uncertain(name, value, value, value, "bound"))
            continue
        inputs.append(Uncertain(name, value, one.tolerance.low, one.tolerance.high, one.tolerance.kind))
        tried[name] = None if one.worst == "range" else used[one.field]
    return inputs, tried


def stated_tolerances(context: Context) -> dict[str, Toleranced]:
    """Return the tolerances of laser and set-up by the name of the field; of a range, that of its highest power."""
    case = context.case
    laser = next(i for i, one in enumerate(case.laser) if one.name == context.laser.name)
    setup = next(i for i, one in enumerate(context.laser.setup) if one.name == context.setup.name)
    found = {}
    for one in tolerances_of(case):
        place = one.place
        if place[:2] != ("laser", laser):
            continue
        rest = place[2:]
        if rest[:2] == ("setup", setup):
            rest = rest[2:]
        elif rest[0] == "emission":
            rest = rest[1:]
        if len(rest) == 2 and rest[1] == "high" and one.worst == "high":
            rest = rest[:1]
        if all(isinstance(part, str) for part in rest):
            found[".".join(str(part) for part in rest)] = one
    return found


def _spread(context: Context, zone: Zone, used: Mapping[str, tuple[float, ...]]) -> DistanceSpread:
    way, tissue = zone.way, zone.tissue
    name = (context.laser.name, context.setup.name, way, tissue)

    def evaluate(values: Mapping[str, NDArray[np.float64]]) -> NDArray[np.float64]:
        return zone_distances(context, way, tissue, values)

    def possible(values: Mapping[str, NDArray[np.float64]]) -> NDArray[np.bool_]:
        return possible_cases(context, values)

    try:
        nominal = float(zone_distances(context, way, tissue, {})) if used else zone.distance

        def farthest(some: list[Uncertain]) -> float:
            return _worst(context, evaluate, some, tried, possible)

        first = (way, tissue) == ZONES[0]
        inputs, tried = inputs_of(context, way, used) if used or first else ([], {})
        uncertain = [one for one in inputs if one.low < one.high]
        worst, drawn = nominal, None
        if uncertain:
            worst = farthest(uncertain)
            drawn = monte_carlo(evaluate, uncertain, DRAWS, SEED, possible)
        influences = _influences(evaluate, inputs, uncertain, farthest, worst) if first else ()
    except CalcError as error:
        return DistanceSpread(*name, math.nan, zone.distance, None, None, 0, SEED, (), note=str(error))
    far = max(worst, zone.distance)
    if drawn is None:
        return DistanceSpread(*name, nominal, far, None, None, 0, SEED, influences)
    return DistanceSpread(*name, nominal, far, drawn.upper, drawn.error, drawn.draws, drawn.seed, influences)


def _worst(
    context: Context, evaluate: Evaluate, uncertain: list[Uncertain], tried: Mapping[str, Tried], possible: Possible
) -> float:
    """Return the farthest distance over all that the corners of a case take."""
    values: dict[str, tuple[float, ...]] = {}
    for one in uncertain:
        places = tried[one.name]
        if one.low == one.high:
            values[one.name] = (one.nominal,)
        elif places is not None:
            values[one.name] = places
    if len(values) < len(uncertain):  # settings that are searched
        directions = {
            one.name: _towards(one, values[one.name][0]) for one in uncertain if len(values.get(one.name, ())) == 1
        }
        return worst_corner(evaluate, uncertain, directions, critical_values(context), possible).value
    grid = np.meshgrid(*(np.array(places) for places in values.values()), indexing="ij")
    return float(np.max(evaluate({name: one.reshape(-1) for name, one in zip(values, grid, strict=True)})))


def _towards(one: Uncertain, end: float) -> int:
    """Return 1 where an end is the highest, -1 where it is the lowest."""
    low, high = limits_of(one)
    return 1 if high - end < end - low else -1


def _influences(
    evaluate: Evaluate,
    inputs: list[Uncertain],
    uncertain: list[Uncertain],
    farthest: Callable[[list[Uncertain]], float],
    worst: float,
) -> tuple[Influence, ...]:
    """Return what each input does to a distance: first those with a tolerance, by gain, then the others, by slope."""
    values = {one.name: one.nominal for one in inputs}
    here = float(evaluate({name: np.asarray(value) for name, value in values.items()}))
    found = []
    for one in uncertain:
        low, high = evaluate({one.name: np.array(limits_of(one))}).tolist()
        exact = [one._replace(low=one.nominal, high=one.nominal) if other is one else other for other in uncertain]
        known = min(worst, farthest(exact))
        found.append(Influence(one.name, slope(evaluate, values, one.name, here), low, high, known))
    found.sort(key=lambda one: (one.known, -abs(one.exponent), one.name))
    named = {one.name for one in found}
    others = [
        Influence(one.name, slope(evaluate, values, one.name, here), None, None, None)
        for one in inputs
        if one.name not in named and one.name not in _NOT_MEASURED
    ]
    others = [one for one in others if abs(one.exponent) > _NO_INFLUENCE]
    return tuple(found + sorted(others, key=lambda one: (-abs(one.exponent), one.name)))


def _sentence(spreads: list[DistanceSpread], wording: Wording) -> str:
    """Return what to measure to gain most, for the distance that reaches farthest."""
    known = [one for one in spreads if one.influences and one.way == "direct"]
    if not known:
        return ""
    first = max(known, key=lambda one: one.worst)
    best = first.influences[0]
    what = wording.input_name(best.name)
    where = (
        f"{first.laser}, {first.setup}, "
        + wording.text(f"way.{first.way}")
        + ", "
        + wording.text(f"tissue.{first.tissue}")
    )
    if best.known is None:
        return wording.text("sure.state", what=what, percent=f"{abs(best.exponent):.2g}", where=where)
    if not best.known < first.worst:
        return wording.text("sure.nothing", where=where)
    return wording.text(
        "sure.measure", what=what, where=where, worst=format_quantity(first.worst, "m", 3, "up"),
        known=format_quantity(best.known, "m", 3, "up"),
    )  # fmt: skip
