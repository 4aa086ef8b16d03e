"""The limits at one point, as typed on the command line."""

from __future__ import annotations

from typing import Any

import numpy as np

from lasersafe.ask.beams import needed_number, optional_number
from lasersafe.errors import InputError
from lasersafe.hazard.lasting import body_area
from lasersafe.limits import exposure_limit, pulse_train_limit, rule_sets
from lasersafe.quantity import format_quantity
from lasersafe.wording import caution_line

TISSUES = ("eye", "skin")


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
    typed = optional_number(exposed_area, "m2", "exposed area")
    area = body_area("skin", lam) if typed is None else typed  # as reach, zones and eyewear take it
    if (pulse is None) != (rate is None):
        message = "pulse duration and repetition rate go together; for one single pulse give its length as the duration"
        raise InputError(message)
    answer: dict[str, Any] = {
        "rule_set": rule_set,
        "wavelength_m": lam,
        "duration_s": time,
        "source_angle_rad": angle,
    }
    train = None if pulse is None or rate is None else (pulse, rate)
    if train is not None:
        answer |= {"pulse_duration_s": pulse, "repetition_rate_Hz": rate}
    found = {
        name: {tissue: _limit(name, tissue, lam, time, angle, train, area) for tissue in TISSUES}
        for name in (rule_set, *(other for other in rule_sets() if other != rule_set))
    }
    return {**answer, **found.pop(rule_set), "other_rule_sets": found, "caution": caution_line()}


def _limit(
    rule_set: str,
    tissue: str,
    lam: float,
    time: float,
    angle: float,
    train: tuple[float, float] | None,
    area: float | None,
) -> dict[str, Any]:
    found = exposure_limit(rule_set, tissue, lam, time, angle, exposed_area=area)
    block: dict[str, Any] = {
        "radiant_exposure_J_per_m2": float(found.radiant_exposure),
        "irradiance_W_per_m2": float(found.irradiance),
        "limiting_aperture_mm": _millimetres(found.limiting_aperture),
        "hazard": str(found.hazard),
        "source": str(found.source),
    }
    if not np.isnan(found.acceptance_angle):
        block["acceptance_angle_mrad"] = float(found.acceptance_angle) * 1e3
    if train is None:
        return block
    pulses = pulse_train_limit(rule_set, tissue, lam, *train, time, angle, exposed_area=area)
    return {
        **block,
        "per_pulse_J_per_m2": float(pulses.per_pulse),
        "deciding_rule": str(pulses.deciding_rule),
        "per_pulse_limiting_aperture_mm": _millimetres(pulses.limiting_aperture),
        "rules": [
            {
                "rule": str(row.rule),
                "hazard": str(row.hazard),
                "per_pulse_J_per_m2": float(row.per_pulse),
                "limiting_aperture_mm": _millimetres(row.limiting_aperture),
                "source": str(row.source),
            }
            for row in pulses.rows
            if np.isfinite(row.per_pulse)
        ],
    }


def _millimetres(metres: Any) -> float:
    return round(float(metres) * 1e3, 9)


def limit_text(data: dict[str, Any]) -> str:
    """Return the limits as a person reads them, rounded down."""
    lines = [
        f"{data['rule_set']}, {format_quantity(data['wavelength_m'], 'm', 4)}, "
        f"{format_quantity(data['duration_s'], 's', 4)}, "
        f"source angle {format_quantity(data['source_angle_rad'], 'rad', 4)}"
    ]
    for tissue in TISSUES:
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
        for tissue in TISSUES:
            if other[tissue][key] < 0.99 * data[tissue][key]:
                value = format_quantity(other[tissue][key], "J/m2" if key.startswith("per") else "W/m2", 4, "down")
                lines.append(f"note: {name} is stricter for the {tissue}: {value}; the stricter result decides")
    lines.append(data["caution"])
    return "\n".join(lines)
