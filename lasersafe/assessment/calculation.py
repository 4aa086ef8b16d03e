"""The printed steps of a zone or a scenario: symbol, formula, numbers put in, result, source."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from lasersafe.hazard.emission import Emission
from lasersafe.hazard.exposure import ALPHA_MIN, train_limit
from lasersafe.hazard.lasting import body_area
from lasersafe.limits import explain
from lasersafe.optics.propagation import BeamGeometry, diameters
from lasersafe.quantity import format_quantity
from lasersafe.results import Criterion, Step

APERTURE_SOURCE = "average over the limiting aperture: Gaussian beam integral, docs/method.md"
PROPAGATION_SOURCE = "ISO 11146-1, propagation of the diameter"


def number(value: float) -> str:
    """Return a number for a formula line, five significant digits."""
    return f"{value:.5g}"


def _symbols(criterion: Criterion) -> tuple[str, str]:
    """Return the symbols of what is compared and of what it becomes on a surface."""
    return ("Φ", "E") if criterion.amount_unit == "W" else ("Q", "H")


def amount_step(emission: Emission, criterion: Criterion, factor: float, factor_words: str) -> Step:
    """Return the step that names the power or energy that is compared."""
    symbol, unit = _symbols(criterion)[0], criterion.amount_unit
    meaning, base = "power that reaches the place", emission.power
    if unit == "J":
        meaning, base = "energy per pulse that reaches the place", emission.pulse_energy
    formula, numbers = f"{symbol}₀", format_quantity(base, unit, 5)
    if factor != 1.0:
        formula, numbers = f"{formula} · ρ", f"{numbers} · {number(factor)} ({factor_words})"
    return Step(symbol, meaning, formula, numbers, base * factor, unit, "inputs as typed", "own")


_WITHOUT_STEPS: ContextVar[bool] = ContextVar("without_steps", default=False)


@contextmanager
def without_limit_steps(left_out: bool) -> Iterator[None]:
    """Leave the steps of the limits out of what is worked out meanwhile: nobody prints them."""
    token = _WITHOUT_STEPS.set(left_out)
    try:
        yield
    finally:
        _WITHOUT_STEPS.reset(token)


def limit_steps(
    criterion: Criterion,
    emission: Emission,
    wavelength: float,
    duration: float,
    source_angle: float = ALPHA_MIN,
) -> tuple[Step, ...]:
    """Return the steps of the limit: the row as printed, factors, pulse rule."""
    if _WITHOUT_STEPS.get():
        return ()
    return _limit_steps(criterion, emission, wavelength, duration, source_angle)


@lru_cache(maxsize=512)
def _limit_steps(
    criterion: Criterion,
    emission: Emission,
    wavelength: float,
    duration: float,
    source_angle: float,
) -> tuple[Step, ...]:
    area = body_area(criterion.tissue, wavelength)
    if emission.kind != "pulse train":
        time = criterion.duration  # what lasts can be limited by its first part
        return explain(criterion.rule_set, criterion.tissue, wavelength, time, source_angle, exposed_area=area)
    train = train_limit(criterion.rule_set, criterion.tissue, emission, wavelength, duration, source_angle)
    row = min(
        (r for r in train.rows if r.rule == criterion.rule and r.hazard == criterion.hazard),
        key=lambda r: (
            abs(float(r.per_pulse) - criterion.limit),
            float(r.limiting_aperture) != criterion.limiting_aperture,
        ),
    )
    window, joined, factor = float(row.averaging_time), float(row.pulses_joined), float(row.pulse_factor)
    steps = explain(criterion.rule_set, criterion.tissue, wavelength, window, source_angle, exposed_area=area)
    count = float(row.pulses)
    if row.rule == "single pulse":
        formula, numbers = "H_limit(t_p)", f"{number(float(row.limit))} J/m2 at {number(window)} s"
    elif row.rule == "mean":
        formula = "H_limit(T) / n"
        numbers = f"{number(float(row.limit))} J/m2 at {number(window)} s / {number(count)} pulses"
    else:
        formula = "H_limit(T_i or t_p) · C_P / (pulses joined)"
        numbers = (
            f"{number(float(row.limit))} J/m2 at {number(window)} s · {number(factor)} (N = {number(count)}) "
            f"/ {number(joined)}"
        )
    last = Step(
        "H_p", f"limit per pulse, {row.rule} rule", formula, numbers, criterion.limit, "J/m2", criterion.source,
        criterion.seen,
    )  # fmt: skip
    others = tuple(
        Step(
            "H_p", f"for comparison: {r.rule} rule, {r.hazard}", f"over {number(float(r.limiting_aperture) * 1e3)} mm",
            f"window {number(float(r.averaging_time))} s", float(r.per_pulse), "J/m2", str(r.source), str(r.seen),
        )
        for r in train.rows
        if r is not row and np.isfinite(r.per_pulse)
        and r.per_pulse == min(s.per_pulse for s in train.rows if (s.rule, s.hazard) == (r.rule, r.hazard))
    )  # fmt: skip
    return (*steps, *others, last)


def distance_steps(criterion: Criterion, beam: BeamGeometry, distance: float) -> tuple[Step, ...]:
    """Return the steps from the limit to the farthest distance of a direct or mirrored beam."""
    symbol, quantity = _symbols(criterion)
    limit, amount, hole = criterion.limit, criterion.amount, criterion.limiting_aperture
    area = math.pi * hole**2 / 4.0
    part, hole_mm = limit * area / amount, f"{number(hole * 1e3)} mm"
    source, seen = criterion.source, criterion.seen
    formula, numbers = "π D_a² / 4", f"π · ({hole_mm})² / 4"
    first = Step("A", "area of the limiting aperture", formula, numbers, area, "m2", source, seen)
    if part >= 1.0:
        formula = f"{quantity}_limit · A ≥ {symbol}: never exceeded"
        numbers = f"{number(limit)} · {number(area)} / {number(amount)} = {number(part)}"
        return first, Step("r", "distance", formula, numbers, 0.0, "m", APERTURE_SOURCE, "own")
    if not beam.circular:
        dx, dy = (number(float(d)) for d in diameters(beam, distance))
        meaning = "farthest distance from the last optic (two axes: searched and bisected)"
        formula, numbers = (
            f"mean over D_a of the beam d_x(r) × d_y(r) = {quantity}_limit",
            f"d_x = {dx} m, d_y = {dy} m",
        )
        return first, Step("r", meaning, formula, f"{numbers} there", distance, "m", APERTURE_SOURCE, "own")
    if beam.profile == "gaussian":
        diameter = hole / math.sqrt(-math.log1p(-part))
        formula = f"d_L = D_a / √(−ln(1 − {quantity}_limit · A / {symbol}))"
        numbers = f"{hole_mm} / √(−ln(1 − {number(part)}))"
    else:
        diameter = hole / math.sqrt(part)
        formula = f"d_L = √(4 {symbol} / (π {quantity}_limit))"
        numbers = f"√(4 · {number(amount)} / (π · {number(limit)}))"
    meaning = "beam diameter (1/e) at which the limit is met"
    second = Step("d_L", meaning, formula, numbers, diameter, "m", APERTURE_SOURCE, "own")
    waist, phi, place = (number(pair[0]) for pair in (beam.waist_diameter, beam.divergence, beam.waist_position))
    if beam.propagation == "hyperbolic":
        formula = "r = z₀ + √(d_L² − d₀²) / φ"
        numbers = f"{place} m + √({number(diameter)}² − {waist}²) m / {phi} rad"
    else:
        formula, numbers = "r = z₀ + (d_L − d₀) / φ", f"{place} m + ({number(diameter)} − {waist}) m / {phi} rad"
    meaning = "farthest distance from the last optic"
    return first, second, Step("r", meaning, formula, numbers, distance, "m", PROPAGATION_SOURCE)


def scatter_steps(
    criterion: Criterion, reflectance: float, view_angle: float, model: str, spot: float, distance: float
) -> tuple[Step, ...]:
    """Return the steps from the limit to the scatter distance."""
    symbol, quantity = _symbols(criterion)
    rho, amount, limit = number(reflectance), number(criterion.amount), number(criterion.limit)
    if model == "lambert":
        formula = f"r = √(ρ {symbol} cos θ / (π {quantity}_limit))"
        numbers = f"√({rho} · {amount} · {number(math.cos(view_angle))} / (π · {limit}))"
        source, seen = "Lambert's law; OSHA Technical Manual III-6 uses the same form", "memory"
    else:
        formula, numbers = f"r = √(ρ {symbol} / (2 π {quantity}_limit))", f"√({rho} · {amount} / (2 π · {limit}))"
        source, seen = "uniform hemisphere; reproduces DGUV Information 203-093, 4.3", "read"
    if spot > 0.0 and distance > 0.0 and spot / distance > ALPHA_MIN:
        numbers += f"; extended source, α = {number(spot / distance * 1e3)} mrad at r, limit taken there"
    meaning = f"distance from the lit surface ({model} scatter)"
    return (Step("r", meaning, formula, numbers, distance, "m", source, seen),)


@dataclass(frozen=True)
class Working:
    """How one exposure came about, for the steps."""

    formula: str
    numbers: str
    source: str


def beam_working(criterion: Criterion, beam: BeamGeometry, place: float, factor: float, aid: str) -> Working:
    """Return the working of an exposure in the beam at a place; *aid* describes the instrument, blank for none."""
    symbol, quantity = _symbols(criterion)
    dx, dy = (number(float(d) * 1e3) for d in diameters(beam, place))
    amount, hole = number(criterion.amount * factor), number(criterion.limiting_aperture * 1e3)
    at = f"at z = {format_quantity(place, 'm', 5)}"
    both = f"d_x = {dx} mm, d_y = {dy} mm {at}"
    if aid:
        formula = f"{quantity} = τ {symbol}(M D_a, at most the objective) / A(D_a)"
        source = "ANSI-Z136-1, appendix B, from memory; docs/method.md"
        return Working(formula, f"{amount} {criterion.amount_unit}, {both}; {aid}", source)
    if beam.circular and beam.profile == "gaussian":
        formula = f"{quantity} = {symbol} (1 − exp(−(D_a/d)²)) / (π D_a² / 4)"
        numbers = f"{amount} · (1 − exp(−({hole} mm / {dx} mm)²)) / (π · ({hole} mm)² / 4), d {at}"
    else:
        formula = f"{quantity} = {symbol} · (part through D_a) / (π D_a² / 4)"
        numbers = f"{amount}, D_a = {hole} mm, {both}, {beam.profile}"
    return Working(formula, numbers, APERTURE_SOURCE)


def scatter_working(
    criterion: Criterion,
    distance: float,
    words: str,
    reflectance: float,
    view_angle: float,
    model: str,
    collected: tuple[float, str] | None,
) -> Working:
    """Return the working of an exposure to scatter; *collected* is gain and description of an instrument."""
    symbol, quantity = _symbols(criterion)
    amount, place = f"{number(reflectance)} · {number(criterion.amount)}", format_quantity(distance, "m", 5)
    if model == "lambert":
        formula, source = f"{quantity} = ρ {symbol} cos θ / (π r²)", "Lambert's law"
        numbers = f"{amount} · {number(math.cos(view_angle))} / (π · ({place})²), r {words}"
    else:
        formula, source = f"{quantity} = ρ {symbol} / (2 π r²)", "uniform hemisphere, DGUV203-093, 4.3"
        numbers = f"{amount} / (2 π · ({place})²), r {words}"
    if collected is not None:
        formula += " · τ (D / D_a)²"
        numbers += f"; times {number(collected[0])}: {collected[1]}"
    return Working(formula, numbers, source)


def exposure_steps(criterion: Criterion, exposure: float, working: Working) -> tuple[Step, ...]:
    """Return the two lines of a scenario: exposure at the place, and its ratio to the limit."""
    quantity = "E" if criterion.limit_unit == "W/m2" else "H"
    ratio = exposure / criterion.limit if np.isfinite(exposure) else math.inf
    return (
        Step(
            quantity, "exposure at the place, averaged over D_a", working.formula, working.numbers, exposure,
            criterion.limit_unit, working.source, "own",
        ),
        Step(
            f"{quantity}/{quantity}_limit", f"ratio to the {criterion.tissue} limit ({criterion.rule})",
            f"{quantity} / {quantity}_limit", f"{number(exposure)} / {number(criterion.limit)}", ratio, "1",
            f"{criterion.rule_set}: {criterion.source}", criterion.seen,
        ),
    )  # fmt: skip
