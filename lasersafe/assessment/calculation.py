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


def amount_step(emission: Emission, criterion: Criterion, factor: float, factor_words: str) -> Step:
    """Return the step that names the power or energy that is compared."""
    if criterion.amount_unit == "W":
        symbol, meaning = "Φ", "power that reaches the place"
        base = emission.power
    else:
        symbol, meaning = "Q", "energy per pulse that reaches the place"
        base = emission.pulse_energy
    text = f"{format_quantity(base, criterion.amount_unit, 5)}"
    if factor != 1.0:
        text += f" · {number(factor)} ({factor_words})"
    return Step(
        symbol,
        meaning,
        f"{symbol}₀ · ρ" if factor != 1.0 else f"{symbol}₀",
        text,
        base * factor,
        criterion.amount_unit,
        "inputs as typed",
        "own",
    )


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
    symbol = "Φ" if criterion.amount_unit == "W" else "Q"
    quantity = "E" if criterion.amount_unit == "W" else "H"
    area = math.pi * criterion.limiting_aperture**2 / 4.0
    part = criterion.limit * area / criterion.amount
    aperture_mm = number(criterion.limiting_aperture * 1e3)
    steps = [
        Step(
            "A",
            "area of the limiting aperture",
            "π D_a² / 4",
            f"π · ({aperture_mm} mm)² / 4",
            area,
            "m2",
            criterion.source,
            criterion.seen,
        )
    ]
    if part >= 1.0:
        steps.append(
            Step(
                "r",
                "distance",
                f"{quantity}_limit · A ≥ {symbol}: never exceeded",
                f"{number(criterion.limit)} · {number(area)} / {number(criterion.amount)} = {number(part)}",
                0.0,
                "m",
                APERTURE_SOURCE,
                "own",
            )
        )
        return tuple(steps)
    if beam.circular:
        if beam.profile == "gaussian":
            diameter = criterion.limiting_aperture / math.sqrt(-math.log1p(-part))
            formula = f"d_L = D_a / √(−ln(1 − {quantity}_limit · A / {symbol}))"
            numbers = f"{aperture_mm} mm / √(−ln(1 − {number(part)}))"
        else:
            diameter = criterion.limiting_aperture / math.sqrt(part)
            formula = f"d_L = √(4 {symbol} / (π {quantity}_limit))"
            numbers = f"√(4 · {number(criterion.amount)} / (π · {number(criterion.limit)}))"
        steps.append(
            Step(
                "d_L",
                "beam diameter (1/e) at which the limit is met",
                formula,
                numbers,
                diameter,
                "m",
                APERTURE_SOURCE,
                "own",
            )
        )
        waist, phi, place = beam.waist_diameter[0], beam.divergence[0], beam.waist_position[0]
        if beam.propagation == "hyperbolic":
            formula = "r = z₀ + √(d_L² − d₀²) / φ"
            numbers = f"{number(place)} m + √({number(diameter)}² − {number(waist)}²) m / {number(phi)} rad"
        else:
            formula = "r = z₀ + (d_L − d₀) / φ"
            numbers = f"{number(place)} m + ({number(diameter)} − {number(waist)}) m / {number(phi)} rad"
        steps.append(
            Step("r", "farthest distance from the last optic", formula, numbers, distance, "m", PROPAGATION_SOURCE)
        )
    else:
        dx, dy = diameters(beam, distance)
        steps.append(
            Step(
                "r",
                "farthest distance from the last optic (two axes: searched and bisected)",
                f"mean over D_a of the beam d_x(r) × d_y(r) = {quantity}_limit",
                f"d_x = {number(float(dx))} m, d_y = {number(float(dy))} m there",
                distance,
                "m",
                APERTURE_SOURCE,
                "own",
            )
        )
    return tuple(steps)


def scatter_steps(
    criterion: Criterion, reflectance: float, view_angle: float, model: str, spot: float, distance: float
) -> tuple[Step, ...]:
    """Return the steps from the limit to the scatter distance."""
    symbol = "Φ" if criterion.amount_unit == "W" else "Q"
    quantity = "E" if criterion.amount_unit == "W" else "H"
    cosine = math.cos(view_angle)
    if model == "lambert":
        formula = f"r = √(ρ {symbol} cos θ / (π {quantity}_limit))"
        numbers = (
            f"√({number(reflectance)} · {number(criterion.amount)} · {number(cosine)} / "
            f"(π · {number(criterion.limit)}))"
        )
        source = "Lambert's law; OSHA Technical Manual III-6 uses the same form"
    else:
        formula = f"r = √(ρ {symbol} / (2 π {quantity}_limit))"
        numbers = f"√({number(reflectance)} · {number(criterion.amount)} / (2 π · {number(criterion.limit)}))"
        source = "uniform hemisphere; reproduces DGUV Information 203-093, 4.3"
    if spot > 0.0 and distance > 0.0 and spot / distance > ALPHA_MIN:
        numbers += f"; extended source, α = {number(spot / distance * 1e3)} mrad at r, limit taken there"
    return (
        Step(
            "r",
            f"distance from the lit surface ({model} scatter)",
            formula,
            numbers,
            distance,
            "m",
            source,
            "memory" if model == "lambert" else "read",
        ),
    )


@dataclass(frozen=True)
class Working:
    """How one exposure came about, for the steps."""

    formula: str
    numbers: str
    source: str


def beam_working(criterion: Criterion, beam: BeamGeometry, place: float, factor: float, aid: str) -> Working:
    """Return the working of an exposure in the beam at a place; *aid* describes the instrument, blank for none."""
    symbol = "Φ" if criterion.amount_unit == "W" else "Q"
    quantity = "E" if criterion.amount_unit == "W" else "H"
    dx, dy = (float(d) for d in diameters(beam, place))
    amount = number(criterion.amount * factor)
    aperture = number(criterion.limiting_aperture * 1e3)
    at = f"at z = {format_quantity(place, 'm', 5)}"
    if aid:
        return Working(
            f"{quantity} = τ {symbol}(M D_a, at most the objective) / A(D_a)",
            f"{amount} {criterion.amount_unit}, d_x = {number(dx * 1e3)} mm, d_y = {number(dy * 1e3)} mm {at}; {aid}",
            "ANSI-Z136-1, appendix B, from memory; docs/method.md",
        )
    if beam.circular and beam.profile == "gaussian":
        return Working(
            f"{quantity} = {symbol} (1 − exp(−(D_a/d)²)) / (π D_a² / 4)",
            f"{amount} · (1 − exp(−({aperture} mm / {number(dx * 1e3)} mm)²)) / (π · ({aperture} mm)² / 4), d {at}",
            APERTURE_SOURCE,
        )
    return Working(
        f"{quantity} = {symbol} · (part through D_a) / (π D_a² / 4)",
        f"{amount}, D_a = {aperture} mm, d_x = {number(dx * 1e3)} mm, d_y = {number(dy * 1e3)} mm {at}, {beam.profile}",
        APERTURE_SOURCE,
    )


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
    symbol = "Φ" if criterion.amount_unit == "W" else "Q"
    quantity = "E" if criterion.amount_unit == "W" else "H"
    lambert = model == "lambert"
    formula = f"{quantity} = ρ {symbol} cos θ / (π r²)" if lambert else f"{quantity} = ρ {symbol} / (2 π r²)"
    cosine = f" · {number(math.cos(view_angle))}" if lambert else ""
    numbers = (
        f"{number(reflectance)} · {number(criterion.amount)}{cosine} / ({'π' if lambert else '2 π'} · "
        f"({format_quantity(distance, 'm', 5)})²), r {words}"
    )
    if collected is not None:
        formula += " · τ (D / D_a)²"
        numbers += f"; times {number(collected[0])}: {collected[1]}"
    return Working(formula, numbers, "Lambert's law" if lambert else "uniform hemisphere, DGUV203-093, 4.3")


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
