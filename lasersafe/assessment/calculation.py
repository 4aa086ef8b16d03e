"""The printed steps of a beam, a zone, a scenario or a sum: symbol, formula, numbers put in, result, source."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextvars import ContextVar
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from lasersafe.assessment.context import FIBRE_APERTURE, Context
from lasersafe.hazard.combine import ADDITION_SOURCE, Share, Sum
from lasersafe.hazard.exposure import ALPHA_MIN, Emission, Received, body_area, train_limit
from lasersafe.hazard.instruments import Aid
from lasersafe.limits import explain
from lasersafe.models import Setup
from lasersafe.optics.beam import BeamGeometry, diameters, fraction_through
from lasersafe.optics.reflection import LitSpot, with_real_focus
from lasersafe.quantity import format_quantity
from lasersafe.records import Criterion, LineShare, Step
from lasersafe.scene.beams import FLOAT, farthest_of
from lasersafe.scene.sources import Source
from lasersafe.wording import Message, joined, word


def number(value: float) -> str:
    """Return a number for a formula line, five significant digits."""
    return f"{value:.5g}"


def _symbols(criterion: Criterion) -> tuple[str, str]:
    """Return the symbols of what is compared and of what it becomes on a surface."""
    return ("Φ", "E") if criterion.amount_unit == "W" else ("Q", "H")


def amount_step(emission: Emission, criterion: Criterion, factor: float, factor_words: str) -> Step:
    """Return the step that names the power or energy that is compared."""
    symbol, unit = _symbols(criterion)[0], criterion.amount_unit
    base = emission.pulse_energy if unit == "J" else emission.power
    meaning = Message("step.energy_there" if unit == "J" else "step.power_there")
    formula, numbers = f"{symbol}₀", format_quantity(base, unit, 5)
    if factor != 1.0:
        formula = f"{formula} · ρ"
        numbers = Message("step.times_factor", numbers=numbers, factor=number(factor), why=factor_words)
    return Step(symbol, meaning, formula, numbers, base * factor, unit, Message("source.typed"), "own")


def beam_steps(setup: Setup, beam: BeamGeometry) -> Iterator[Step]:
    """Yield the steps from the set-up as typed to the beam at 1/e."""
    seen, waist, numbers = "read", "", ""
    if setup.kind == "collimated":
        meaning: str = Message("beam.divergence")
        source: str = Message("source.d63")
        formula = {"1/e2": "φ = φ(1/e²) / √2", "FWHM": "φ = φ(FWHM) / √(ln 2)"}.get(
            setup.criterion, Message("beam.as_given")
        )
        if beam.profile != "gaussian":
            formula = Message("beam.even_disc")
        numbers, waist = (
            Message("beam.at_criterion", typed=typed, criterion=setup.criterion)
            for typed in (setup.divergence.typed, setup.beam_diameter.typed)
        )
    elif setup.kind == "lens":
        meaning, formula, seen = Message("beam.after_focus"), "φ = d63 / f", "memory"
        numbers = f"{setup.beam_diameter.typed} ({setup.criterion}) / {setup.focal_length.typed}"
        source = "ANSI Z136.1 lens-on-laser form, as in the OSHA Technical Manual III-6"
    else:
        meaning, source = Message("beam.from_fibre"), "IEC 60825-2 form as used in Kolesar 2000 (S3)"
        if setup.kind == "fibre multimode":
            divisor = {"5 %": "1.7", "1/e2": "√2", "1/e": "1"}[setup.numerical_aperture_criterion]
            formula, numbers = f"φ = 2 NA / {divisor}", f"2 · {setup.numerical_aperture.typed} / {divisor}"
        else:
            formula = "φ = 2 √2 λ / (π w_MFD)"
            numbers = Message("beam.mode_field", typed=setup.mode_field_diameter.typed)
    for i, axis in enumerate([""] if beam.circular else ["_x", "_y"]):
        yield Step(f"φ{axis}", meaning, formula, numbers, beam.divergence[i], "rad", source, seen)
        if waist:
            diameter = beam.waist_diameter[i]
            meant = Message("beam.waist"), Message("beam.back_to_waist")
            yield Step(f"d₀{axis}", *meant, waist, diameter, "m", Message("source.hyperbolic"))


def fault_steps(context: Context) -> Iterator[Step]:
    """Yield the steps to the beams of a broken fibre and without the lens, where no set-up states how they spread."""
    faults = context.faults([])
    for one in () if context.setup.kind.startswith("fibre") else faults["fibre broken"][0]:
        words, source = Message("beam.broken_fibre"), "IEC 60825-2 form as used in Kolesar 2000 (S3)"
        numbers = f"2 · {FIBRE_APERTURE:g} / 1.7"
        yield Step("φ", words, "φ = 2 NA / 1.7", numbers, one.beam.divergence[0], "rad", source, "read")
    if context.setup.kind != "lens" or any(one.kind == "collimated" for one in context.laser.setup):
        return
    (lost,), _ = faults["optic lost"]
    light, wider = format_quantity(context.wavelength, "m", 5), lost.differs[0]
    for i, axis in enumerate([""] if lost.beam.circular else ["_x", "_y"]):
        width, angle, back = lost.beam.waist_diameter[i], context.beam.divergence[i], context.beam.waist_position[i]
        numbers = f"{number(angle)} rad · {format_quantity(abs(back), 'm', 5)}"
        yield Step(f"d₀{axis}", Message("beam.lost_width"), "d₀ = φ z₀", numbers, width, "m", word("geometry"), "own")
        numbers, source = f"2 · {light} / (π · {number(wider)} · {format_quantity(width, 'm', 5)})", "ISO 11146-1"
        formula, least = "φ = 2 λ / (π k d₀)", lost.beam.divergence[i]
        yield Step(f"φ{axis}", Message("beam.lost_angle"), formula, numbers, least, "rad", source, "read")


# whether nobody prints the steps of limits and of persons with a place
WITHOUT_STEPS: ContextVar[bool] = ContextVar("without_steps", default=False)


def limit_steps(criterion: Criterion, light: Received, source_angle: float = ALPHA_MIN) -> tuple[Step, ...]:
    """Return the steps of the limit that decides for some light: the row as printed, factors, pulse rule."""
    return () if WITHOUT_STEPS.get() else _limit_steps(criterion, light, source_angle)


@lru_cache(maxsize=512)
def _limit_steps(criterion: Criterion, light: Received, source_angle: float) -> tuple[Step, ...]:
    wavelength, about = light.wavelength, (criterion.rule_set, criterion.tissue)
    area = body_area(criterion.tissue, wavelength)
    if light.emission.kind != "pulse train":
        time = criterion.duration  # what lasts can be limited by its first part
        steps, pulse = explain(*about, wavelength, time, source_angle, exposed_area=area), light.emission.pulse_duration
        if light.emission.kind == "single pulse" and time < pulse:
            first, meaning = criterion.limit * time / pulse, Message("step.pulse_limit", rule=word("single pulse"))
            numbers = f"{number(first)} J/m2 · {number(pulse)} s / {number(time)} s"
            why = criterion.source, criterion.seen
            steps += (Step("H_p", meaning, "H_limit(t) · t_p / t", numbers, criterion.limit, "J/m2", *why),)
        return steps
    train = train_limit(light, source_angle)
    own = [r for r in train.rows if (r.rule, r.hazard) == (criterion.rule, criterion.hazard)]
    hole = criterion.limiting_aperture
    row = min(own, key=lambda r: (abs(float(r.per_pulse) - criterion.limit), float(r.limiting_aperture) != hole))
    window = float(row.averaging_time)
    steps = explain(*about, wavelength, window, source_angle, exposed_area=area)
    key, formula = {
        "single pulse": ("step.limit_at", "H_limit(t_p)"), "mean": ("step.limit_mean", "H_limit(T) / n"),
        "train": ("step.limit_train", Message("step.train_formula")),
    }[row.rule]  # fmt: skip
    limit, joined_up = f"{number(float(row.limit))} J/m2", number(float(row.pulses_joined))
    numbers = Message(
        key, limit=limit, time=f"{number(window)} s", factor=number(float(row.pulse_factor)),
        count=number(float(row.pulses)), joined=joined_up,
    )  # fmt: skip
    others = tuple(
        Step(
            "H_p", Message("step.comparison", rule=word(r.rule), hazard=word(r.hazard)),
            Message("step.over_aperture", aperture=f"{number(float(r.limiting_aperture) * 1e3)} mm"),
            Message("step.window", time=f"{number(float(r.averaging_time))} s"), float(r.per_pulse), "J/m2",
            str(r.source), str(r.seen),
        )
        for r in train.rows
        if r is not row and np.isfinite(r.per_pulse)
        and r.per_pulse == min(o.per_pulse for o in train.rows if (o.rule, o.hazard) == (r.rule, r.hazard))
    )  # fmt: skip
    meaning, where = Message("step.pulse_limit", rule=word(row.rule)), (criterion.source, criterion.seen)
    return (*steps, *others, Step("H_p", meaning, formula, numbers, criterion.limit, "J/m2", *where))


def distance_steps(
    criterion: Criterion, beam: BeamGeometry, distance: float, aid: Aid | None = None, wavelength: float = 0.0
) -> tuple[Step, ...]:
    """Return the steps from the limit to the farthest distance of a beam, also over that at an objective."""
    symbol, quantity = _symbols(criterion)
    limit, amount, hole = criterion.limit, criterion.amount, criterion.limiting_aperture
    if aid is not None and (gain := aid.gain(wavelength, hole)) > 1.0:
        lens, passed = float(aid.collects(hole)), number(float(aid.passes(wavelength)))
        first = Step(
            f"{quantity}_D", Message("step.limit_at_objective", aid=aid.words(wavelength, hole)),
            f"{quantity}_limit / (τ (D / D_a)²)",
            f"{number(limit)} / ({passed} · ({number(lens * 1e3)} mm / {number(hole * 1e3)} mm)²)",
            limit / gain, criterion.limit_unit, "ANSI-Z136-1, appendix B", "memory",
        )  # fmt: skip
        return first, *distance_steps(replace(criterion, limit=limit / gain, limiting_aperture=lens), beam, distance)
    area, hole_mm = math.pi * hole**2 / 4.0, f"{number(hole * 1e3)} mm"
    part, own = limit * area / amount if amount else math.inf, ("m", Message("source.aperture"), "own")
    worked = "π D_a² / 4", f"π · ({hole_mm})² / 4", area, "m2"
    first = Step("A", Message("step.aperture_area"), *worked, criterion.source, criterion.seen)
    formula: str
    if part >= 1.0:
        formula = Message("step.never", bound=f"{quantity}_limit · A ≥ {symbol}")
        numbers = f"{number(limit)} · {number(area)} / {number(amount)} = {number(part)}" if amount else f"{symbol} = 0"
        return first, Step("r", Message("step.distance"), formula, numbers, 0.0, *own)
    if not beam.circular:
        numbers = f"{number(limit)} · {number(area)} / {number(amount)}"
        needed = Message("step.part_needed"), f"F = {quantity}_limit · A / {symbol}", numbers, part, "1"
        d = diameters(beam, distance)
        off = [distance - place for place in beam.waist_position]
        axis = max((0, 1), key=lambda n: beam.divergence[n] * abs(off[n]) / float(d[n]))  # that spreads more there
        sign = "+" if off[axis] >= 0.0 else "−"
        waist, phi, place = (number(pair[axis]) for pair in (beam.waist_diameter, beam.divergence, beam.waist_position))
        wide = f"√({number(float(d[axis]))}² − {waist}²)" if beam.propagation == "hyperbolic" else (
            f"({number(float(d[axis]))} − {waist})"
        )  # fmt: skip
        there = Message(
            f"step.part_{beam.profile.replace('-', '_')}_there", numbers=f"{place} m {sign} {wide} m / {phi} rad",
            hole=number(hole * 1e3), x=number(float(d[0]) * 1e3), y=number(float(d[1]) * 1e3),
        )  # fmt: skip
        reached = Message("step.two_axes"), Message("step.two_axes_formula"), there, distance
        return first, Step("F", *needed, *own[1:]), Step("r", *reached, *own)
    diameter, formula = hole / math.sqrt(part), f"d_L = √(4 {symbol} / (π {quantity}_limit))"
    numbers = f"√(4 · {number(amount)} / (π · {number(limit)}))"
    if beam.profile == "gaussian":
        diameter, numbers = hole / math.sqrt(-math.log1p(-part)), f"{hole_mm} / √(−ln(1 − {number(part)}))"
        formula = f"d_L = D_a / √(−ln(1 − {quantity}_limit · A / {symbol}))"
    second = Step("d_L", Message("step.beam_at_limit"), formula, numbers, diameter, *own)
    waist, phi, place = (number(pair[0]) for pair in (beam.waist_diameter, beam.divergence, beam.waist_position))
    formula, numbers = "r = z₀ + (d_L − d₀) / φ", f"{place} m + ({number(diameter)} − {waist}) m / {phi} rad"
    if beam.propagation == "hyperbolic":
        formula = "r = z₀ + √(d_L² − d₀²) / φ"
        numbers = f"{place} m + √({number(diameter)}² − {waist}²) m / {phi} rad"
    last = Step("r", Message("step.farthest"), formula, numbers, distance, "m", Message("source.propagation"))
    return first, second, last


def hollow_steps(context: Context, source: Source) -> Iterator[Step]:
    """Yield the steps from the beam on a hollow object of any radius to how far it can send it on."""
    beam, real = source.as_beam.beam, with_real_focus(context.beam, context.wavelength)
    place = f"{source.offset:.5g} m ({context.laser.name}, {context.setup.name})"
    for i, axis in enumerate([""] if beam.circular else ["_x", "_y"]):
        waist, angle, wide = real.waist_diameter[i], real.divergence[i], float(diameters(real, source.offset)[i])
        spreads = beam.divergence[i] < angle  # in front of a focus a flat one sends it on as it came
        formula, numbers = f"φ'{axis} = φ{axis}", f"{angle:.5g} rad"
        if spreads:
            formula, numbers = f"φ'{axis} = d₀ φ / d_z", f"{waist:.5g} m · {angle:.5g} rad / {wide:.5g} m"
        words = Message("step.hollow_numbers", numbers=numbers, place=place)
        meant = Message("step.hollow_angle"), formula, words, beam.divergence[i], "rad"
        yield Step(f"φ'{axis}", *meant, Message("source.curvature"), "own")
    worst = max(source.as_beam.criteria, key=lambda one: farthest_of((one,), beam, source.factor))
    worst = replace(worst, amount=worst.amount * source.factor)
    limit, amount = ("E_limit", "Φ") if worst.amount_unit == "W" else ("H_limit", "Q")
    meaning = joined((worst.rule_set, word(worst.hazard), word(worst.rule)), ", ")
    stated = f"{amount} = {worst.amount:.5g} {worst.amount_unit}", f"t = {worst.duration:.5g} s"
    yield Step(limit, meaning, *stated, worst.limit, worst.limit_unit, worst.source, worst.seen)
    yield from distance_steps(worst, beam, farthest_of((worst,), beam))


def scatter_steps(criterion: Criterion, spot: LitSpot, distance: float) -> tuple[Step, ...]:
    """Return the steps from the limit to the scatter distance."""
    symbol, quantity = _symbols(criterion)
    rho, amount, limit = number(spot.reflectance), number(criterion.amount), number(criterion.limit)
    formula, numbers = f"r = √(ρ {symbol} / (2 π {quantity}_limit))", f"√({rho} · {amount} / (2 π · {limit}))"
    source = Message("source.hemisphere"), "read"
    if spot.model == "lambert":
        formula = f"r = √(ρ {symbol} cos θ / (π {quantity}_limit))"
        numbers, source = f"√({rho} · {amount} · 1 / (π · {limit}))", (Message("source.scatter"), "memory")
    if spot.diameter > 0.0 and distance > 0.0 and spot.diameter / distance > ALPHA_MIN:
        numbers = joined([numbers, Message("step.extended_there", angle=number(spot.diameter / distance * 1e3))])
    return (
        Step("r", Message("step.scatter_distance", model=word(spot.model)), formula, numbers, distance, "m", *source),
    )


@dataclass(frozen=True)
class Working:
    """How one exposure came about, for the steps."""

    formula: str
    numbers: str
    source: str


def with_waist(numbers: str, beam: BeamGeometry) -> Message:
    """Return the numbers put in with the waist of a beam that is not the one whose steps stand with its set-up."""
    put_in = {
        name: " × ".join(dict.fromkeys(format_quantity(one, unit, 5) if one else f"0 {unit}" for one in pair))
        for name, pair, unit in (
            ("waist", beam.waist_diameter, "m"), ("place", beam.waist_position, "m"), ("angle", beam.divergence, "rad"),
        )
    }  # fmt: skip
    return Message("step.waist", numbers=numbers, **put_in)


def legs_of(source: Source, distance: float, where: Message) -> Message:
    """Return the way of light with what its length is made of: where it starts, and the lengths before and after."""
    lengths = {"wide": source.spot, "first": source.offset, "rest": distance - source.offset}
    facts = {"where": where, "start": corner_text(np.array(source.apex))}
    facts |= {name: format_quantity(length, "m", 4) for name, length in lengths.items()}
    kind = "point" if source.spots is None else "patch" if source.patch else "turned"
    if source.way == "scatter" or not source.offset > 0.0:
        return where if source.parts else Message(f"hit.{'from' if kind == 'point' else 'spot'}_{kind}", **facts)
    return Message(f"hit.from_{kind}", **facts)


def corner_text(place: FLOAT) -> str:
    """Return a place of shape (3,) [m] in words."""
    return ", ".join(f"{value:z.3f}" for value in place)


def beam_working(
    criterion: Criterion, beam: BeamGeometry, place: float, factor: float, seen: tuple[float, float, str] | None = None
) -> Working:
    """Return the working of an exposure in the beam at a place.

    *seen* is how wide an instrument collects it [m], its gain, and the instrument in words.
    """
    symbol, quantity = _symbols(criterion)
    d = diameters(beam, place)
    dx, dy = (number(float(one) * 1e3) for one in d)
    amount, hole = number(criterion.amount * factor), number(criterion.limiting_aperture * 1e3)
    at = format_quantity(place, "m", 5)
    source: str = Message("source.aperture")
    wide, gain, aid = (criterion.limiting_aperture, 1.0, "") if seen is None else seen
    aperture, head = ("D_a", f"{quantity} = {symbol}") if seen is None else ("D", f"{quantity} = τ {symbol}")
    if beam.circular and beam.profile == "gaussian":
        part = "1" if dx == "0" else f"(1 − exp(−({number(wide * 1e3)} mm / {dx} mm)²))"
        formula = f"{head} (1 − exp(−({aperture}/d)²)) / (π D_a² / 4)"
    else:
        part = number(float(fraction_through(*d, wide, beam.profile)))
        formula = Message(f"step.part_{beam.profile.replace('-', '_')}", head=f"{head} F / (π D_a² / 4)", hole=aperture)
    numbers = f"{amount} · {part} / (π · ({hole} mm)² / 4)"
    if seen is not None:
        source = Message("source.aided")
        numbers = f"{number(gain * (criterion.limiting_aperture / wide) ** 2)} · {numbers}"
    if beam.circular and beam.profile == "gaussian":
        numbers = Message("step.size_at", numbers=numbers, place=at)
    else:
        hole = number(wide * 1e3)
        numbers = Message("step.part_numbers", numbers=numbers, hole=hole, x=dx, y=dy, place=at)
    return Working(formula, Message("step.with_aid", numbers=numbers, aid=aid) if aid else numbers, source)


def beside_working(
    criterion: Criterion, beam: BeamGeometry, place: float, factor: float, beside: tuple[float, float, float]
) -> Working:
    """Return the working of an exposure beside a beam: from its axis, from there to the aperture, and the width [m]."""
    symbol, quantity = _symbols(criterion)
    dx, dy = (number(float(d) * 1e3) for d in diameters(beam, place))
    off, edge, wide = (number(value * 1e3) for value in beside)
    put_in = f"4 · {number(criterion.amount * factor)} / (π · {dx} mm · {dy} mm) · exp(−(2 · {edge} mm / {wide} mm)²)"
    return Working(
        f"{quantity} = 4 {symbol} / (π d_x d_y) · exp(−(2 (x − a) / d_w)²)",
        Message("step.beside", numbers=put_in, place=format_quantity(place, "m", 5), off=off),
        Message("source.aperture"),
    )


def scatter_working(
    criterion: Criterion, distance: float, words: str, spot: LitSpot, collected: tuple[float, str] | None
) -> Working:
    """Return the working of an exposure to scatter; *collected* is gain and description of an instrument."""
    symbol, quantity = _symbols(criterion)
    amount, place = f"{number(spot.reflectance)} · {number(criterion.amount)}", format_quantity(distance, "m", 5)
    formula, put_in = f"{quantity} = ρ {symbol} / (2 π r²)", f"{amount} / (2 π · ({place})²)"
    source: str = "uniform hemisphere, DGUV203-093, 4.3"
    if spot.model == "lambert":
        formula, source = f"{quantity} = ρ {symbol} cos θ / (π r²)", Message("source.lambert")
        put_in = f"{amount} · {number(math.cos(spot.view_angle))} / (π · ({place})²)"
    if collected is None:
        return Working(formula, Message("step.r", numbers=put_in, how=words), source)
    numbers = Message("step.r", numbers=f"{put_in} · {number(collected[0])}", how=words)
    return Working(f"{formula} · τ (D / D_a)²", Message("step.with_aid", numbers=numbers, aid=collected[1]), source)


def exposure_steps(criterion: Criterion, exposure: float, working: Working) -> tuple[Step, ...]:
    """Return the two lines of a scenario: exposure at the place, and its ratio to the limit."""
    (_, quantity), unit = _symbols(criterion), criterion.limit_unit
    ratio = exposure / criterion.limit if np.isfinite(exposure) else math.inf
    how = working.formula, working.numbers, exposure, unit, working.source
    meaning = Message("step.ratio", tissue=word(criterion.tissue), rule=word(criterion.rule))
    put_in, source = f"{number(exposure)} / {number(criterion.limit)}", f"{criterion.rule_set}: {criterion.source}"
    symbol, formula = f"{quantity}/{quantity}_limit", f"{quantity} / {quantity}_limit"
    return (
        Step(quantity, Message("step.exposure"), *how, "own"),
        Step(symbol, meaning, formula, put_in, ratio, "1", source, criterion.seen),
    )


def shares_of(found: Sum) -> tuple[LineShare, ...]:
    """Return what each wavelength adds to a sum, as it is printed."""
    return tuple(
        LineShare(s.line, s.light.wavelength, s.fraction, s.criterion.rule, s.criterion.hazard) for s in found.shares
    )


def with_limit_steps(share: Share) -> Criterion:
    """Return the comparison of a share with the working of its limit."""
    return replace(share.criterion, steps=limit_steps(share.criterion, share.light, share.angle))


def sum_step(found: Sum) -> Step:
    """Return the step that adds the fractions of a sum."""
    parts = [
        Message("sum.of_line", fraction=f"{s.fraction:.5g}", wavelength=f"{s.light.wavelength * 1e9:.6g}",
                rule=word(s.criterion.rule))
        for s in found.shares
    ]  # fmt: skip
    return Step(
        "Σ", Message("sum.fractions", group=word(found.group)), Message("sum.formula"), joined(parts, " + "),
        found.total, "1", f"{found.rule_set}; {ADDITION_SOURCE}",
    )  # fmt: skip


def portion_step(whole: Criterion, limit: float) -> Step:
    """Return the step from a limit to the part of it that one of several wavelengths may use."""
    symbol = "E" if whole.limit_unit == "W/m2" else "H"
    numbers = f"{number(whole.limit)} · {number(limit / whole.limit)}"
    return Step(
        f"{symbol}_part", Message("sum.portion"), f"{symbol}_limit · F / Σ F", numbers, limit,
        whole.limit_unit, ADDITION_SOURCE, "own",
    )  # fmt: skip
