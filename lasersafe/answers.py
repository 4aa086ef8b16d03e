"""Answers to a question typed on the command line: a limit, a reach, a choice of eyewear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lasersafe.errors import InputError
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.exposure import Emission
from lasersafe.hazard.lasting import body_area
from lasersafe.hazard.setting_search import worst_setting
from lasersafe.hazard.settings import SettingSpace
from lasersafe.limits import exposure_limit, pulse_train_limit, rule_sets
from lasersafe.quantity import format_quantity, parse_quantity
from lasersafe.wording import caution_line, load_wording


def optional_number(text: str | None, unit: str, field: str) -> float | None:
    """Return the number of an option in SI, None when it was not typed."""
    return None if text is None else parse_quantity(text, unit, field).value


def needed_number(text: str, unit: str, field: str) -> float:
    """Return the number of an option in SI."""
    return parse_quantity(text, unit, field).value


def require_positive(value: float | None, field: str, typed: str | None) -> None:
    """Refuse a number that was typed and is not above zero.

    Raises
    ------
    InputError
        With the field and the text as typed.
    """
    if value is not None and not value > 0.0:
        message = f"{field} = '{typed}': must be above zero"
        raise InputError(message)


def limit_answer(
    wavelength: str,
    duration: str,
    source_angle: str,
    rule_set: str,
    pulse_duration: str | None,
    repetition_rate: str | None,
    exposed_area: str | None,
) -> dict[str, Any]:
    """Return the limits of eye and skin at one point, ready for JSON."""
    lam = needed_number(wavelength, "m", "wavelength")
    time = needed_number(duration, "s", "duration")
    angle = needed_number(source_angle, "rad", "source angle")
    pulse = optional_number(pulse_duration, "s", "pulse duration")
    rate = optional_number(repetition_rate, "Hz", "repetition rate")
    area = optional_number(exposed_area, "m2", "exposed area")
    if area is None:  # as reach, zones and eyewear take it
        area = body_area("skin", lam)
    if (pulse is None) != (rate is None):
        message = "pulse duration and repetition rate go together; for one single pulse give its length as the duration"
        raise InputError(message)
    answer: dict[str, Any] = {
        "rule_set": rule_set,
        "wavelength_m": lam,
        "duration_s": time,
        "source_angle_rad": angle,
    }
    if pulse is not None:
        answer |= {"pulse_duration_s": pulse, "repetition_rate_Hz": rate}
    for tissue in ("eye", "skin"):
        answer[tissue] = _tissue(rule_set, tissue, lam, time, angle, pulse, rate, area)
    others = {}
    for other in rule_sets():
        if other != rule_set:
            others[other] = {
                tissue: _tissue(other, tissue, lam, time, angle, pulse, rate, area) for tissue in ("eye", "skin")
            }
    answer["other_rule_sets"] = others
    answer["caution"] = caution_line()
    return answer


def _tissue(
    rule_set: str,
    tissue: str,
    lam: float,
    time: float,
    angle: float,
    pulse: float | None,
    rate: float | None,
    area: float | None,
) -> dict[str, Any]:
    found = exposure_limit(rule_set, tissue, lam, time, angle, exposed_area=area)
    block: dict[str, Any] = {
        "radiant_exposure_J_per_m2": float(found.radiant_exposure),
        "irradiance_W_per_m2": float(found.irradiance),
        "limiting_aperture_mm": round(float(found.limiting_aperture) * 1e3, 9),
        "hazard": str(found.hazard),
        "source": str(found.source),
    }
    if not np.isnan(found.acceptance_angle):
        block["acceptance_angle_mrad"] = float(found.acceptance_angle) * 1e3
    if pulse is not None and rate is not None:
        train = pulse_train_limit(rule_set, tissue, lam, pulse, rate, time, angle, exposed_area=area)
        block["per_pulse_J_per_m2"] = float(train.per_pulse)
        block["deciding_rule"] = str(train.deciding_rule)
        block["per_pulse_limiting_aperture_mm"] = round(float(train.limiting_aperture) * 1e3, 9)
        block["rules"] = [
            {
                "rule": str(row.rule),
                "hazard": str(row.hazard),
                "per_pulse_J_per_m2": float(row.per_pulse),
                "limiting_aperture_mm": round(float(row.limiting_aperture) * 1e3, 9),
                "source": str(row.source),
            }
            for row in train.rows
            if np.isfinite(row.per_pulse)
        ]
    return block


def limit_text(data: dict[str, Any]) -> str:
    """Return the limits as a person reads them, rounded down."""
    lines = [
        f"{data['rule_set']}, {format_quantity(data['wavelength_m'], 'm', 4)}, "
        f"{format_quantity(data['duration_s'], 's', 4)}, "
        f"source angle {format_quantity(data['source_angle_rad'], 'rad', 4)}"
    ]
    for tissue in ("eye", "skin"):
        block = data[tissue]
        dose = format_quantity(block["radiant_exposure_J_per_m2"], "J/m2", 4, "down")
        mean = format_quantity(block["irradiance_W_per_m2"], "W/m2", 4, "down")
        lines.append(
            f"{tissue}: {dose} = {mean}, averaged over {block['limiting_aperture_mm']:.3g} mm "
            f"({block['hazard']}; {block['source']})"
        )
        if "per_pulse_J_per_m2" in block:
            pulse = format_quantity(block["per_pulse_J_per_m2"], "J/m2", 4, "down")
            lines.append(f"  per pulse: {pulse}; rule that decides: {block['deciding_rule']}")
            lines += [
                f"    {row['rule']}, {row['hazard']}: {format_quantity(row['per_pulse_J_per_m2'], 'J/m2', 4, 'down')}"
                f" over {row['limiting_aperture_mm']:.3g} mm ({row['source']})"
                for row in block["rules"]
            ]
    key = "per_pulse_J_per_m2" if "per_pulse_J_per_m2" in data["eye"] else "irradiance_W_per_m2"
    for name, other in data["other_rule_sets"].items():
        for tissue in ("eye", "skin"):
            if other[tissue][key] < 0.99 * data[tissue][key]:
                value = format_quantity(other[tissue][key], "J/m2" if key.startswith("per") else "W/m2", 4, "down")
                lines.append(f"note: {name} is stricter for the {tissue}: {value}; the stricter result decides")
    lines.append(data["caution"])
    return "\n".join(lines)


@dataclass(frozen=True)
class BeamQuestion:
    """The beam as typed; every field is text."""

    wavelength: str
    beam_diameter: str
    criterion: str
    power: str | None
    pulse_energy: str | None
    pulse_duration: str | None
    repetition_rate: str | None
    profile: str
    rule_set: str | None

    def space(self) -> SettingSpace:
        """Return the emission that was typed.

        Raises
        ------
        InputError
            If the emission is incomplete or impossible.
        """
        energy = optional_number(self.pulse_energy, "J", "pulse energy")
        pulse = optional_number(self.pulse_duration, "s", "pulse duration")
        rate = optional_number(self.repetition_rate, "Hz", "repetition rate")
        power = None
        if self.power is not None:
            power = parse_quantity(self.power, "W", "power", "continuous power").value
        for value, field, typed in (
            (power, "power", self.power),
            (energy, "pulse energy", self.pulse_energy),
            (pulse, "pulse duration", self.pulse_duration),
            (rate, "repetition rate", self.repetition_rate),
        ):
            require_positive(value, field, typed)
        if pulse is None:
            if energy is not None or rate is not None:
                message = "pulse duration is missing: give --pulse-duration with --pulse-energy or --repetition-rate"
                raise InputError(message)
            if power is None:
                message = "emission is missing: give --power, or --pulse-energy with --pulse-duration"
                raise InputError(message)
            return SettingSpace("continuous", power=(power, power))
        if rate is None:
            if energy is None or power is not None:
                message = (
                    "one single pulse needs --pulse-energy and --pulse-duration; a train needs --repetition-rate too"
                )
                raise InputError(message)
            return SettingSpace("single pulse", pulse_energy=(energy, energy), pulse_duration=(pulse, pulse))
        if pulse * rate > 1.0:
            message = (
                f"pulse duration = '{self.pulse_duration}' is longer than the period of "
                f"repetition rate = '{self.repetition_rate}'; give a shorter pulse or a lower rate"
            )
            raise InputError(message)
        if energy is None and power is None:
            message = "a pulse train needs --pulse-energy or --power (the mean power)"
            raise InputError(message)
        if energy is not None and power is not None and abs(energy * rate - power) > 0.01 * power:
            message = (
                f"power = '{self.power}' and pulse energy = '{self.pulse_energy}' at '{self.repetition_rate}' "
                "disagree; give one of them"
            )
            raise InputError(message)
        if energy is None:
            assert power is not None
            energy = power / rate
        return SettingSpace(
            "pulse train", pulse_energy=(energy, energy), pulse_duration=(pulse, pulse), repetition_rate=(rate, rate)
        )

    def rule_sets(self) -> tuple[str, ...]:
        """Return the rule sets to work out: the one that was named, or all."""
        return rule_sets() if self.rule_set is None else (self.rule_set,)


@dataclass(frozen=True)
class EyewearQuestion(BeamQuestion):
    """A question for eyewear."""

    duration: str | None
    wearing: str | None
    continuous: bool = False

    def space(self) -> SettingSpace:
        """Return the emission that was typed; that it is continuous has to be said.

        Raises
        ------
        InputError
            If the emission is incomplete or impossible, or nothing says whether it is pulsed.
        """
        space = super().space()
        if space.kind == "continuous" and not self.continuous:
            message = (
                "pulse data are missing, and eyewear for pulses needs more than for a continuous beam: give "
                "--pulse-duration and --repetition-rate, or --continuous for a laser that cannot pulse"
            )
            raise InputError(message)
        if space.kind != "continuous" and self.continuous:
            message = "--continuous and pulse data contradict each other; give one of them"
            raise InputError(message)
        return space


def eyewear_answer(question: EyewearQuestion) -> dict[str, Any]:
    """Return what eyewear has to carry, ready for JSON."""
    from lasersafe.hazard.eyewear_need import eyewear_need
    from lasersafe.optics.propagation import to_1_over_e

    lam = needed_number(question.wavelength, "m", "wavelength")
    diameter = needed_number(question.beam_diameter, "m", "beam diameter")
    require_positive(diameter, "beam diameter", question.beam_diameter)
    d63 = float(to_1_over_e(diameter, question.criterion, question.profile))
    space = question.space()
    duration = optional_number(question.duration, "s", "duration")
    if duration is None:
        duration, _ = exposure_duration(lam, "direct")
    sets = question.rule_sets()
    worst: Emission = worst_setting(space, sets, "eye", lam, duration)
    need = eyewear_need(
        wavelength=lam,
        space=space,
        worst=worst,
        rule_sets=sets,
        duration=duration,
        beam_diameters=(d63, d63),
        profile=question.profile,
        marking=question.wearing or "",
    )
    answer: dict[str, Any] = {
        "wavelength_m": lam,
        "beam_diameter_63_m": d63,
        "duration_s": duration,
        "rule_sets": list(sets),
        "optical_density": need.optical_density,
        "optical_density_skin": need.optical_density_skin,
        "optical_density_exact": need.optical_density_exact,
        "scale_numbers": {scale.mode: scale.scale_number for scale in need.scales},
        "marking": need.marking,
        "decides": need.decides,
        "reliable": need.reliable,
        "no_reliance": need.no_reliance,
        "notes": list(need.notes),
        "steps": [
            {"symbol": s.symbol, "formula": s.formula, "numbers": s.numbers, "value": s.value, "unit": s.unit,
             "source": s.source, "seen": s.seen}
            for s in need.steps
        ],
        "caution": caution_line(),
    }  # fmt: skip
    if need.verdict is not None:
        answer["wearing"] = {
            "typed": need.verdict.text,
            "enough": need.verdict.enough,
            "verdict": need.verdict.verdict,
            "reasons": list(need.verdict.reasons),
            "bands_that_end_here_nm": list(need.verdict.ends),
        }
    return answer


def eyewear_text(data: dict[str, Any]) -> str:
    """Return one line for the maker, then the reasons."""
    scales = ", ".join(
        f"{mode} LB{number}" if number is not None else f"{mode} beyond LB10"
        for mode, number in data["scale_numbers"].items()
    )
    head = data["no_reliance"] or f"ask for: {data['marking']}"
    lines = [
        f"{head} (density {data['optical_density']:.1f}, damage class {scales})",
        f"- {data['decides']}",
        f"- exposure of {format_quantity(data['duration_s'], 's')} taken, "
        f"beam {format_quantity(data['beam_diameter_63_m'], 'm', 4)} (1/e) at the eyewear, "
        f"limits of {' and '.join(data['rule_sets'])}",
    ]
    if "wearing" in data:
        worn = data["wearing"]
        lines.append(f"worn '{worn['typed']}': {worn['verdict']}" + ("" if worn["enough"] else " - do not rely on it"))
        lines += [f"- {reason}" for reason in worn["reasons"]]
        ends = load_wording().text
        lines += [f"- {ends('eyewear.ends', band=band)}" for band in worn["bands_that_end_here_nm"]]
    lines += [f"- {note}" for note in data["notes"]]
    lines.append(data["caution"])
    return "\n".join(lines)
