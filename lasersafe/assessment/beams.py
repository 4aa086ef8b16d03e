"""From the models of a case to beams and setting spaces in SI units."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.emission import pulse_pattern
from lasersafe.hazard.settings import SettingSpace
from lasersafe.optics.propagation import (
    BeamGeometry,
    check_diffraction,
    collimated,
    diameters,
    fibre_multimode,
    fibre_single_mode,
    through_lens,
    to_1_over_e,
)
from lasersafe.quantity import format_quantity
from lasersafe.results import Step

if TYPE_CHECKING:
    from lasersafe.models import Case, Knob, Laser, Setup

ISO_11146 = "ISO 11146-1, hyperbolic propagation of the diameter"


def beam_of(case: Case, laser: Laser, setup: Setup) -> BeamGeometry:
    """Return the beam that a set-up gives, diameters and divergence at 1/e, checked against diffraction.

    Raises
    ------
    OutOfRangeError
        If the divergence is smaller than diffraction allows for that waist.
    """
    propagation = case.settings.propagation
    if setup.kind == "collimated":
        at = float(setup.measured_at)
        waist = at if setup.waist_at is None else setup.waist_at.pair
        width, angle = setup.beam_diameter.pair, setup.divergence.pair
        try:
            beam = collimated(
                width, angle, setup.criterion, setup.profile, waist_position=waist, at=at, propagation=propagation
            )
        except OutOfRangeError as error:
            if not case._at_corner:
                raise
            message = f"{laser.name}, {setup.name}: at the worst corner of the tolerances, {error}"
            raise OutOfRangeError(message) from None
        if not case._at_corner:  # a corner may combine what no beam has, to the strict side
            check_diffraction(beam, float(laser.wavelength))
        return beam
    if setup.kind == "lens":
        focus = None if setup.focus_diameter is None else setup.focus_diameter.pair
        width, length = setup.beam_diameter.pair, float(setup.focal_length)
        beam = through_lens(
            width, length, setup.criterion, setup.profile, focus_diameter=focus, propagation=propagation
        )
        if focus is not None and not case._at_corner:
            check_diffraction(beam, float(laser.wavelength))
        return beam
    if setup.kind == "fibre multimode":
        aperture, core = float(setup.numerical_aperture), float(setup.core_diameter)
        criterion = setup.numerical_aperture_criterion
        return fibre_multimode(aperture, criterion, core_diameter=core, propagation=propagation)
    return fibre_single_mode(float(setup.mode_field_diameter), float(laser.wavelength), propagation=propagation)


def focus_of(setup: Setup) -> float | None:
    """Return the distance of the focus from the last optic, or None when there is no lens. [m]."""
    return float(setup.focal_length) if setup.kind == "lens" else None


def spot_of(setup: Setup, beam: BeamGeometry) -> float:
    """Return the 1/e diameter of the lit spot that earns credit as an extended source, or 0. [m].

    A spot under a lens can be moved into focus, so it earns credit only when its diameter is stated.
    """
    if setup.spot_diameter is not None:
        if setup.kind in ("collimated", "lens"):
            return float(min(to_1_over_e(list(setup.spot_diameter.pair), setup.criterion, setup.profile)))
        return float(min(setup.spot_diameter.pair))
    if setup.kind != "lens" and setup.work_distance is not None:
        dx, dy = diameters(beam, float(setup.work_distance))
        return float(min(dx, dy))
    return 0.0


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
        found = replace(
            found,
            burst_pulses=None if burst is None else _range(burst.pulses),
            burst_spacing=None if burst is None else _range(burst.spacing),
            pedestal=float(emission.pedestal_power or 0.0),
        )
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


def _angle(value: float) -> str:
    return format_quantity(value, "rad", 4)


def beam_words(setup: Setup, beam: BeamGeometry) -> str:
    """Return one line on how the beam was described and what it became."""
    waist = " x ".join(dict.fromkeys(_length(v) if v > 0 else "a point" for v in beam.waist_diameter))
    angle = " x ".join(dict.fromkeys(_angle(v) for v in beam.divergence))
    place = " / ".join(dict.fromkeys(_length(v) if v else "0 m" for v in beam.waist_position))
    return (
        f"{setup.kind}, {beam.profile}: waist {waist} (1/e) at {place} from the last optic, "
        f"full angle {angle} (1/e), {beam.propagation} propagation"
    )


def beam_steps(setup: Setup, beam: BeamGeometry) -> tuple[Step, ...]:
    """Return the steps from the set-up as typed to the beam at 1/e."""
    seen, waist = "read", ""
    if setup.kind == "collimated":
        meaning, source = "full-angle divergence at 1/e", "definition of d63; DGUV and IEC practice"
        formula = {"1/e2": "φ = φ(1/e²) / √2", "FWHM": "φ = φ(FWHM) / √(ln 2)"}.get(setup.criterion, "φ as given")
        if beam.profile != "gaussian":
            formula = "φ as given (an even disc has one edge)"
        numbers, waist = (
            f"{typed} at {setup.criterion}" for typed in (setup.divergence.typed, setup.beam_diameter.typed)
        )
    elif setup.kind == "lens":
        meaning, formula, seen = "full angle after the focus at 1/e", "φ = d63 / f", "memory"
        numbers = f"{setup.beam_diameter.typed} ({setup.criterion}) / {setup.focal_length.typed}"
        source = "ANSI Z136.1 lens-on-laser form, as in the OSHA Technical Manual III-6"
    else:
        meaning, source = "full angle from the fibre end at 1/e", "IEC 60825-2 form as used in Kolesar 2000 (S3)"
        if setup.kind == "fibre multimode":
            divisor = {"5 %": "1.7", "1/e2": "√2", "1/e": "1"}[setup.numerical_aperture_criterion]
            formula, numbers = f"φ = 2 NA / {divisor}", f"2 · {setup.numerical_aperture.typed} / {divisor}"
        else:
            formula, numbers = "φ = 2 √2 λ / (π w_MFD)", f"mode field {setup.mode_field_diameter.typed}"
    steps = []
    for i, axis in enumerate([""] if beam.circular else ["_x", "_y"]):
        steps.append(Step(f"φ{axis}", meaning, formula, numbers, beam.divergence[i], "rad", source, seen))
        if waist:
            way = "same factor; back from the place of measurement to the waist"
            diameter = beam.waist_diameter[i]
            steps.append(Step(f"d₀{axis}", "waist diameter at 1/e", way, waist, diameter, "m", ISO_11146))
    return tuple(steps)
