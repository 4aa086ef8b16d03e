"""From the models of a case to beams and setting spaces in SI units, of one case or of many as arrays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.hazard.exposure import Floats, pulse_pattern
from lasersafe.hazard.settings import SettingSpace
from lasersafe.optics.beam import (
    BeamGeometry,
    check_diffraction,
    collimated,
    diameters,
    fibre_multimode,
    fibre_single_mode,
    to_1_over_e,
    waist_before,
)
from lasersafe.quantity import format_quantity
from lasersafe.results import Step
from lasersafe.wording.message import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.models import Case, Knob, Laser, Setup


Value = Callable[[str, float], Floats]  # the numbers of an input: its name, and the number as typed


def as_typed(_: str, nominal: float) -> Floats:
    """Return the number of an input as it was typed."""
    return np.asarray(nominal)


def _axes(setup: Setup, name: str, value: Value, profile: str = "gaussian") -> tuple[Floats, Floats]:
    """Return both axes of a width of a set-up, at 1/e where the set-up states a criterion."""
    axes, criterion = getattr(setup, name), "" if name == "waist_at" else getattr(setup, "criterion", "")

    def one(key: str, nominal: float) -> Floats:
        found = value(key, nominal)
        return to_1_over_e(found, criterion, profile) if criterion else found

    if axes.circular:
        both = one(name, float(axes.x))
        return both, both
    return one(f"{name}.x", float(axes.x)), one(f"{name}.y", float(axes.y))


def beams_of(setup: Setup, propagation: str, wavelength: Floats, value: Value) -> BeamGeometry:
    """Return the beams that a set-up gives, at 1/e.

    A waist is NaN where the angle alone makes the beam wider than it was read. Diffraction is not judged: below its
    limit the distance only comes out longer.
    """
    zero = np.asarray(0.0)
    if setup.kind == "collimated":
        width, angle = (_axes(setup, name, value, setup.profile) for name in ("beam_diameter", "divergence"))
        at = value("measured_at", float(setup.measured_at))
        position = (at, at) if setup.waist_at is None else _axes(setup, "waist_at", value)
        first = waist_before(width[0], angle[0], np.asarray(at - position[0]), propagation)
        round_beam = all(x is y for x, y in (width, angle, position))
        second = first if round_beam else waist_before(width[1], angle[1], np.asarray(at - position[1]), propagation)
        return BeamGeometry((first, second), angle, position, setup.profile, propagation)
    if setup.kind == "lens":
        lens = _axes(setup, "beam_diameter", value, setup.profile)
        length = value("focal_length", float(setup.focal_length))
        waist = (zero, zero)
        if setup.focus_diameter is not None:
            waist = _axes(setup, "focus_diameter", value, setup.profile)
        first = np.asarray(lens[0] / np.abs(length))
        second = first if lens[1] is lens[0] else np.asarray(lens[1] / np.abs(length))
        return BeamGeometry(waist, (first, second), (length, length), setup.profile, propagation)
    if setup.kind == "fibre multimode":
        aperture = value("numerical_aperture", float(setup.numerical_aperture))
        core = value("core_diameter", float(setup.core_diameter))
        read_at = setup.numerical_aperture_criterion
        return fibre_multimode(aperture, read_at, core_diameter=core, propagation=propagation)
    field = value("mode_field_diameter", float(setup.mode_field_diameter))
    return fibre_single_mode(field, wavelength, propagation=propagation)


def beam_of(case: Case, laser: Laser, setup: Setup) -> BeamGeometry:
    """Return the beam that a set-up gives as typed, checked against diffraction.

    Raises
    ------
    OutOfRangeError
        If the divergence is smaller than diffraction allows for that waist, or makes the beam wider than it was read.
    """
    found = beams_of(setup, case.settings.propagation, np.asarray(float(laser.wavelength)), as_typed)
    if setup.kind == "collimated" and np.isnan(found.waist_diameter).any():
        at = float(setup.measured_at)
        place = at if setup.waist_at is None else setup.waist_at.pair
        try:  # this refuses it, with the numbers
            collimated(
                setup.beam_diameter.pair, setup.divergence.pair, setup.criterion, setup.profile, waist_position=place,
                at=at, propagation=case.settings.propagation,
            )  # fmt: skip
        except OutOfRangeError as error:
            if not case._at_corner:
                raise
            refuse(f"{laser.name}, {setup.name}: at the worst corner of the tolerances, {error}", OutOfRangeError)
    waist, angle, position = (
        (float(x), float(y)) for x, y in (found.waist_diameter, found.divergence, found.waist_position)
    )
    beam = BeamGeometry(waist, angle, position, found.profile, found.propagation)
    stated = setup.kind == "collimated" or (setup.kind == "lens" and setup.focus_diameter is not None)
    if stated and not case._at_corner:  # a corner may combine what no beam has, to the strict side
        check_diffraction(beam, float(laser.wavelength))
    return beam


def spot_of(setup: Setup, beam: BeamGeometry, value: Value = as_typed) -> Floats:
    """Return the 1/e diameter of the lit spot that earns credit as an extended source, or 0. [m].

    A spot under a lens can be moved into focus, so it earns credit only when its diameter is stated.
    """
    if setup.spot_diameter is not None:
        return np.minimum(*_axes(setup, "spot_diameter", value, getattr(setup, "profile", "gaussian")))
    if setup.kind != "lens" and setup.work_distance is not None:
        return np.minimum(*diameters(beam, np.asarray(float(setup.work_distance))))
    return np.asarray(0.0)


def _range(knob: Knob | None) -> tuple[float, float] | None:
    return None if knob is None else (float(knob.low), float(knob.high))


def space_of(laser: Laser) -> SettingSpace:
    """Return the settings that the emission of a laser allows."""
    emission = laser.emission
    if emission.kind == "pulse list":
        pulses = tuple((float(p.start), float(p.duration), float(p.energy)) for p in emission.pulses)
        period = None if emission.repeat_every is None else float(emission.repeat_every)
        return SettingSpace("pulse list", pattern=pulse_pattern(pulses, period, float(emission.pedestal_power or 0.0)))
    if emission.kind == "mode table":
        modes = tuple(replace(_space("pulse train", mode), name=mode.name) for mode in emission.modes)
        return SettingSpace("mode table", modes=modes)
    found = _space(emission.kind, emission)
    if emission.kind == "pulse train":
        burst = emission.burst
        count, spacing = (None, None) if burst is None else (_range(burst.pulses), _range(burst.spacing))
        pedestal = float(emission.pedestal_power or 0.0)
        return replace(found, burst_pulses=count, burst_spacing=spacing, pedestal=pedestal)
    return found


def _space(kind: str, stated: object) -> SettingSpace:
    """Return the settings with the ranges that a table states."""
    energy, pulse, rate, duty = (
        _range(getattr(stated, name, None)) for name in ("pulse_energy", "pulse_duration", "repetition_rate", "duty")
    )
    power = _range(getattr(stated, "power" if kind == "continuous" else "mean_power", None))
    return SettingSpace(kind, power, energy, pulse, rate, duty)


def _length(value: float) -> str:
    return format_quantity(value, "m", 4)


def beam_words(setup: Setup, beam: BeamGeometry) -> str:
    """Return one line on how the beam was described and what it became."""
    angles = (format_quantity(v, "rad", 4) for v in beam.divergence)
    waists = (_length(v) if v > 0 else word("a point") for v in beam.waist_diameter)
    return Message(
        "beam.described", kind=word(setup.kind), profile=word(beam.profile), propagation=word(beam.propagation),
        waist=joined(dict.fromkeys(waists), " x "), angle=" x ".join(dict.fromkeys(angles)),
        place=" / ".join(dict.fromkeys(_length(v) if v else "0 m" for v in beam.waist_position)),
    )  # fmt: skip


def beam_steps(setup: Setup, beam: BeamGeometry) -> tuple[Step, ...]:
    """Return the steps from the set-up as typed to the beam at 1/e."""
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
    steps = []
    for i, axis in enumerate([""] if beam.circular else ["_x", "_y"]):
        steps.append(Step(f"φ{axis}", meaning, formula, numbers, beam.divergence[i], "rad", source, seen))
        if waist:
            diameter = beam.waist_diameter[i]
            meant = Message("beam.waist"), Message("beam.back_to_waist")
            steps.append(Step(f"d₀{axis}", *meant, waist, diameter, "m", Message("source.hyperbolic")))
    return tuple(steps)
