"""How sure each distance is whose inputs carry tolerances, and which of them is worth measuring."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.assessment.context import Context, contexts
from lasersafe.assessment.distances import checked_changes, variable_inputs, zone_distances
from lasersafe.assessment.problem import Problem
from lasersafe.data import load
from lasersafe.errors import CalcError
from lasersafe.hazard.instruments import Viewing
from lasersafe.hazard.tolerances import Evaluate, Uncertain, limits_of, monte_carlo, slope, worst_corner
from lasersafe.limits.exposure import duration_edges, wavelength_edges
from lasersafe.models import Case, Toleranced, tolerances_of
from lasersafe.quantity import format_quantity
from lasersafe.records import DistanceSpread, Influence, Uncertainty, Zone, badness

if TYPE_CHECKING:
    from lasersafe.assessment.corners import Corners
    from lasersafe.assessment.protection import CaseResults
    from lasersafe.wording import Wording

DRAWS = 20_000
SEED = 20_250_101  # any fixed number: equal cases give equal sheets
ZONES = (("direct", "eye"), ("direct", "skin"), ("scatter", "eye"), ("scatter", "skin"))
_NOT_MEASURED = ("duration", "view_angle")  # chosen by rule, on the strict side
_NO_INFLUENCE = 1e-6
_FEW_PULSES = 24


def uncertainty_of(
    case: Case, corners: Corners, worked: CaseResults, wording: Wording, *, with_spreads: bool
) -> Uncertainty:
    """Return what the sheet says on how sure its distances are.

    Parameters
    ----------
    case : Case
        As typed, before its values were moved to a corner.
    corners : Corners
        The corners that were worked out.
    worked : CaseResults
        The worst of all corners; of a case without tolerances, as typed.
    wording : Wording
        Language of the sentence.
    with_spreads : bool
        False where nobody prints them: the inputs and corners alone are returned.
    """
    as_typed = case.settings.decide_by_reason if corners.inputs and case.settings.decide_by == "as typed" else ""
    spreads: list[DistanceSpread] = []
    if with_spreads:
        nominal = contexts(case, worked.found[0].rule_sets) if corners.inputs and not as_typed else worked.found
        used = {one.field: one.used for one in corners.inputs}
        for context, setup in zip(nominal, worked.setups, strict=True):
            if setup.fitted:
                spreads += [_spread(context, setup.zone(way, tissue), used) for way, tissue in ZONES]
    return Uncertainty(
        decided_by="as typed" if as_typed else "worst corner", as_typed=as_typed, corners=len(corners.cases),
        measure=_sentence(spreads, wording), inputs=corners.inputs, spreads=tuple(spreads),
    )  # fmt: skip


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
        return worst_corner(evaluate, some, directions, critical_values(context), possible)

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
        return DistanceSpread(*name, math.nan, zone.distance, None, None, 0, SEED, (), note=error.args[0])
    upper, spread, draws = (None, None, 0) if drawn is None else (*drawn, DRAWS)
    return DistanceSpread(*name, nominal, max(worst, zone.distance), upper, spread, draws, SEED, influences)


def _influences(evaluate: Evaluate, inputs: list[Uncertain], known: Mapping[str, float]) -> tuple[Influence, ...]:
    """Return what each input does to a distance: first those with a tolerance, by gain, then the others, by slope.

    *known* is the worst distance with one of the tolerances left out [m].
    """
    values = {one.name: one.nominal for one in inputs}
    here = float(evaluate({name: np.asarray(value) for name, value in values.items()}))
    found = []
    for one in inputs:
        if one.name in known or one.name not in _NOT_MEASURED:
            low, high = evaluate({one.name: np.array(limits_of(one))}).tolist() if one.name in known else (None, None)
            found.append(Influence(one.name, slope(evaluate, values, one.name, here), low, high, known.get(one.name)))
    found.sort(key=lambda one: (one.known is None, one.known or 0.0, -abs(one.exponent), one.name))
    return tuple(one for one in found if one.known is not None or abs(one.exponent) > _NO_INFLUENCE)


def _sentence(spreads: list[DistanceSpread], wording: Wording) -> str:
    """Return what to measure to gain most, for the distance that reaches farthest."""
    known = [one for one in spreads if one.influences and one.way == "direct"]
    if not known:
        return ""
    first = max(known, key=lambda one: badness(one.worst))
    best, text = first.influences[0], wording.text
    what = wording.input_name(best.name)
    where = ", ".join((first.laser, first.setup, text(f"way.{first.way}"), text(f"tissue.{first.tissue}")))
    if best.known is None and math.isinf(best.exponent):
        return text("sure.jumps", what=what, where=where)
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
    bands = [edge for band in load(Viewing).band for edge in band.wavelength]
    light = [*wavelength_edges(context.rule_sets), 400e-9, 700e-9, *context.reflectance_edges, *bands]
    times = duration_edges(context.rule_sets)
    found = {"wavelength": light, "duration": times, "pulse_duration": times}
    if "repetition_rate" in names:
        found["repetition_rate"] = [k / t for t in (*times, names["duration"]) for k in range(1, _FEW_PULSES)]
    return {name: sorted(set(values)) for name, values in found.items() if name in names}


def possible_cases(context: Context, changes: Mapping[str, ArrayLike]) -> NDArray[np.bool_]:
    """Return which of some cases are possible; *changes* as for `assessment.distances.zone_distances`."""
    return Problem(context, checked_changes(context, "direct", "eye", changes)).possible
