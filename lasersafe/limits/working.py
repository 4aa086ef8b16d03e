"""One limit worked out line by line for the sheet."""

from __future__ import annotations

import math

import numpy as np

from lasersafe.errors import refuse
from lasersafe.limits.exposure import (
    ExposureLimit,
    angle_max,
    cone_angle,
    exposure_limit,
    hazard_limits,
    source_factor,
    time_t2,
)
from lasersafe.limits.grid import Piece
from lasersafe.limits.records import EDGE, RuleSet, Source
from lasersafe.limits.tables import load_rule_set
from lasersafe.records.light import Step
from lasersafe.wording.message import Message, joined, word


def _digits(value: float) -> str:
    return f"{value:.6g}"


def _with_time(formula: str, time: float) -> str:
    return formula.split(" = ")[1].replace("t^", f"x {_digits(time)}^")


def _step(symbol: str, meaning: str, formula: str, numbers: str, value: float, unit: str, source: Source) -> Step:
    return Step(symbol, meaning, formula, numbers, value, unit, str(source), source.seen)


def _factor_steps(rules: RuleSet, piece: Piece, lam: float, time: float, alpha: float) -> list[Step]:
    steps = []
    for row in piece.factors:
        name = row.formula.split(" = ")[0]
        value = float(row.at(lam * 1e9))
        unit = "s" if name == "T_1" else "1"
        formula = row.formula.replace("lambda", "lambda/nm") if row.slope else row.formula
        numbers = row.formula.split(" = ")[1].replace("lambda", _digits(lam * 1e9)) if row.slope else _digits(value)
        steps.append(_step(name, word(rules.factors[name].meaning), formula, numbers, value, unit, row.source))
    if "C_E" in piece.row.factors:
        steps += _source_steps(rules, time, alpha)
    if piece.row.power_T_2:
        steps.append(_t2_step(rules, alpha))
    return steps


def _source_steps(rules: RuleSet, time: float, alpha: float) -> list[Step]:
    low = rules.time_factors["alpha_min"].rows[0]
    high = rules.time_factors["alpha_max"].row(time)
    alpha_max = float(angle_max(rules.name, time)) * 1e3
    mrad, value = alpha * 1e3, float(source_factor(rules.name, time, alpha))
    formula: str
    if mrad <= low.constant * (1 + EDGE):
        formula, numbers = Message("limit.small_source"), "1"
    elif mrad <= alpha_max * (1 + EDGE):
        formula, numbers = "C_E = alpha/alpha_min", f"{_digits(mrad)}/{_digits(low.constant)}"
    else:
        formula = Message("limit.whole_source")
        numbers = f"{_digits(mrad)}^2/({_digits(low.constant)} x {_digits(alpha_max)})"
    return [
        _time_step(rules, "alpha_min", time, low.constant * 1e-3),
        _time_step(rules, "alpha_max", time, alpha_max * 1e-3),
        _step("C_E", Message("limit.extended"), formula, numbers, value, "1", high.source),
    ]


def _time_step(rules: RuleSet, name: str, time: float, value: float) -> Step:
    factor = rules.time_factors[name]
    row = factor.row(time)
    meaning, numbers = word(factor.meaning), _with_time(row.formula, time)
    return _step(name, meaning, f"{row.formula} mrad", numbers, value, "rad", row.source)


def _t2_step(rules: RuleSet, alpha: float) -> Step:
    factor = rules.angle_factors["T_2"]
    row = factor.row(alpha * 1e3)
    numbers = row.formula.split(" = ")[1].replace("alpha", _digits(alpha * 1e3))
    value = float(time_t2(rules.name, alpha))
    return _step("T_2", word(factor.meaning), row.formula, numbers, value, "s", row.source)


def _limit_steps(
    rules: RuleSet, limit: ExposureLimit, piece: Piece, lam: float, time: float, alpha: float
) -> list[Step]:
    steps = _factor_steps(rules, piece, lam, time, alpha)
    row = piece.row
    values = {step.symbol: step.value for step in steps}
    parts = [f"{row.constant:g}"] + ([f"{_digits(time)}^{row.power:g}"] if row.power else [])
    parts += [_digits(values[name]) for name in row.factors]
    parts += [f"{_digits(values['T_2'])}^{row.power_T_2:g}"] if row.power_T_2 else []
    dose, irradiance = float(limit.radiant_exposure), float(limit.irradiance)
    value, unit = (dose, "J/m2") if row.quantity == "H" else (irradiance, "W/m2")
    numbers = " x ".join(parts)
    meaning = Message("limit.of_hazard", hazard=word(limit.name))
    steps.append(_step(row.quantity, meaning, row.formula, numbers, value, unit, row.source))
    if row.quantity == "H":
        numbers = f"{_digits(dose)}/{_digits(time)}"
        steps.append(Step("E", Message("limit.as_irradiance"), "E = H/t", numbers, irradiance, "W/m2", "definition"))
    else:
        numbers = f"{_digits(irradiance)} x {_digits(time)}"
        steps.append(Step("H", Message("limit.as_exposure"), "H = E t", numbers, dose, "J/m2", "definition"))
    hole, width = piece.aperture, float(limit.limiting_aperture)
    formula = hole.formula.replace("aperture", "D_a") + " mm"
    numbers = _with_time(hole.formula, time)
    steps.append(_step("D_a", Message("limit.aperture"), formula, numbers, width, "m", hole.source))
    if piece.cone:
        steps.append(_time_step(rules, "gamma", time, float(cone_angle(rules.name, time))))
    return steps


def explain(
    rule_set: str,
    tissue: str,
    wavelength: float,
    duration: float,
    source_angle: float = 1.5e-3,
    *,
    exposed_area: float | None = None,
) -> tuple[Step, ...]:
    """Return how the limit at one point comes about, line by line.

    Parameters
    ----------
    rule_set : str
        One of `rule_sets`.
    tissue : str
        "eye" or "skin".
    wavelength : float
        Vacuum wavelength, 180e-9 to 1e-3. [m]
    duration : float
        Exposure duration, or that of a single pulse, 1e-13 to 3e4. [s]
    source_angle : float, optional
        Angle that the source subtends at the eye, 0 to pi. [rad]
    exposed_area : float, optional
        Area of skin that is exposed. [m2]

    Returns
    -------
    tuple of lasersafe.results.Step
        For each hazard its factors, its limit as radiant exposure and as irradiance, and its limiting aperture; last
        the strictest limit.

    Raises
    ------
    InputError
        If the rule set or the tissue is not known, or an input is not a single value.
    OutOfRangeError
        If any input is not finite or lies outside what the edition covers.

    Examples
    --------
    >>> step = explain("ICNIRP-2013", "eye", 1064e-9, 10e-9)[-1]
    >>> print(step.symbol, step.value, step.unit, "-", step.meaning)
    H 0.02 J/m2 - lowest limit: retina thermal
    """
    given = [wavelength, duration, source_angle] + ([] if exposed_area is None else [exposed_area])
    if any(np.ndim(value) for value in given):
        refuse("explain takes one point; call it once for each point of an array")
    lam, time, alpha, rules = float(wavelength), float(duration), float(source_angle), load_rule_set(rule_set)
    limits = hazard_limits(rule_set, tissue, lam, time, alpha, exposed_area=exposed_area)
    steps: list[Step] = []
    for limit in limits:
        piece = limit.grid.pieces[int(limit.piece)]
        if piece is None or math.isinf(float(limit.radiant_exposure)):
            continue
        plain = limit
        if limit.area_row is not None and int(limit.area_row) >= 0:
            plain = next(h for h in hazard_limits(rule_set, tissue, lam, time, alpha) if h.name == limit.name)
        steps += _limit_steps(rules, plain, piece, lam, time, alpha)
        if plain is not limit:
            numbers, value = Message("limit.area", area=f"{exposed_area:g} m2"), float(limit.irradiance)
            meaning, formula = Message("limit.large_area"), Message("limit.by_area")
            steps.append(Step("E", meaning, formula, numbers, value, "W/m2", str(limit.source), str(limit.seen)))
    final = exposure_limit(rule_set, tissue, lam, time, alpha, exposed_area=exposed_area)
    parts = (
        Message("limit.part", hazard=word(limit.name), value=_digits(float(limit.radiant_exposure))) for limit in limits
    )
    formula, least = Message("limit.least_formula"), Message("limit.least", parts=joined(parts, ", "))
    meaning, value = Message("limit.lowest", hazard=word(str(final.hazard))), float(final.radiant_exposure)
    steps.append(Step("H", meaning, formula, least, value, "J/m2", str(final.source), str(final.seen)))
    return tuple(steps)
