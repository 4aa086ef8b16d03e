"""What a question typed on the command line says of a beam, and the limits at one point."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import numpy as np

from lasersafe.ask import BeamQuestion, LimitQuestion, ReachQuestion
from lasersafe.errors import InputError, refuse
from lasersafe.hazard.exposure import body_area
from lasersafe.hazard.settings import Range, SettingSpace
from lasersafe.limits import exposure_limit, pulse_train_limit, rule_sets
from lasersafe.optics.beam import BeamGeometry, check_diffraction, collimated, through_lens
from lasersafe.optics.reflection import SCATTER_MODELS, LitSpot
from lasersafe.quantity import Kind, choice, format_quantity, parse_quantity
from lasersafe.wording import Message, caution_line, load_wording, word

SINGLE = "single"  # in place of a repetition rate
_SIGN = re.compile(r"\+\s*/?\s*-|±")
_UNIT = re.compile(r"(?![eE][+-]?[0-9])[^\W\d_].*|%")  # an exponent is none


def number(text: str, unit: str, field: str, kind: Kind | None = None, *, positive: bool = False) -> float:
    """Return the number of an option in SI.

    Raises
    ------
    InputError
        If it is none, or not above zero where it has to be: with the field and the text as typed.
    """
    value = parse_quantity(text, unit, field, kind).value
    if positive and not value > 0.0:
        refuse(f"{field} = '{text}': must be above zero")
    return value


def optional_number(text: str | None, unit: str, field: str, *, positive: bool = False) -> float | None:
    """Return the number of an option in SI, None when it was not typed."""
    return None if text is None else number(text, unit, field, positive=positive)


def span(text: str, unit: str, field: str, kind: Kind | None = None) -> Range:
    """Return the ends of what was typed: one value, a range, or a value with its tolerance.

    Parameters
    ----------
    text : str
        As ``1064 nm``, ``2..350 ns``, ``1064 nm +- 5 nm`` or ``5 W +- 10 %``.
    unit : str
        SI unit.
    field : str
        Name for the message.
    kind : str, optional
        As for `parse_quantity`.

    Returns
    -------
    tuple of float
        Lowest and highest value, both above zero.

    Raises
    ------
    InputError
        If it is none of these, runs backwards, or is not above zero.
    """
    middle, *width = _SIGN.split(text)
    first, *last = middle.split("..") if not width else [middle]
    if len(width) + len(last) > 1:
        refuse(f"{field} = '{text}': write one value, or a range as '2..350 ns', or a tolerance as '1064 nm +- 5 nm'")
    other = (width or last or [""])[0]
    ending = _UNIT.search(other.strip())
    if ending and ending[0] != "%" and not _UNIT.search(first):  # 2..350 ns, 1064 +- 5 nm
        first = f"{first.strip()} {ending[0]}"
    low = high = number(first.strip(), unit, field, kind)
    if width:
        part = number(other.strip(), "1" if "%" in other else unit, field)
        part = abs(part * low if "%" in other else part)
        low, high = low - part, high + part
    elif last:
        high = number(other.strip(), unit, field, kind)
    if not low > 0.0:
        refuse(f"{field} = '{text}': must be above zero")
    if high < low:
        refuse(f"{field} = '{text}': the range runs backwards; write the smaller end first")
    return low, high


def beam_of(
    question: BeamQuestion, wavelength: float, propagation: str = "hyperbolic"
) -> tuple[BeamGeometry, float | None]:
    """Return the beam and the distance of its focus from the lens [m]."""
    diameter = number(question.beam_diameter, "m", "beam diameter", positive=True)
    if (question.divergence is None) == (question.lens_focal_length is None):
        refuse(
            "give either --divergence or --lens-focal-length: the data sheet of the laser names the divergence; "
            "behind a lens it follows from the beam diameter at the lens and the focal length"
        )
    if question.divergence is not None:
        angle = number(question.divergence, "rad", "divergence", "divergence", positive=True)
        beam = collimated(diameter, angle, question.criterion, question.profile, propagation=propagation)
        check_diffraction(beam, wavelength, question.criterion)
        return beam, None
    assert question.lens_focal_length is not None
    focal = number(question.lens_focal_length, "m", "lens focal length", positive=True)
    return through_lens(diameter, focal, question.criterion, question.profile, propagation=propagation), focal


def spot_of(question: ReachQuestion) -> LitSpot:
    """Return what was typed of a surface that scatters.

    Raises
    ------
    InputError
        If the reflectance is none, or the model is not known.
    """
    reflectance = number(question.reflectance, "1", "reflectance")
    if not 0.0 < reflectance <= 1.0:
        refuse(f"reflectance = '{question.reflectance}': must be above 0 and at most 1")
    return LitSpot(reflectance, model=choice("scatter", question.scatter, SCATTER_MODELS))


def space_of(question: BeamQuestion) -> SettingSpace:
    """Return the emission that was typed; of ranges every point is allowed, and the worst counts.

    Raises
    ------
    InputError
        If the emission is incomplete or impossible.
    """

    def read(typed: str | None, unit: str, field: str, kind: Kind | None = None) -> Range | None:
        return None if typed is None else span(typed, unit, field, kind)

    power = read(question.power, "W", "power", "continuous power")
    energy = read(question.pulse_energy, "J", "pulse energy")
    pulse = read(question.pulse_duration, "s", "pulse duration")
    single = question.repetition_rate == SINGLE
    rate = None if single else read(question.repetition_rate, "Hz", "repetition rate")
    if pulse is None:
        if energy or rate or single:
            raise InputError(Message("asks.no_length"))
        if power is None:
            raise InputError(Message("asks.no_emission"))
        return SettingSpace("continuous", power=power)
    if rate is None:
        if energy is None or power is not None:
            raise InputError(Message("asks.single"))
        return SettingSpace("single pulse", pulse_energy=energy, pulse_duration=pulse)
    if pulse[0] * rate[0] > 1.0:
        refuse(
            f"pulse duration = '{question.pulse_duration}' is longer than the period of "
            f"repetition rate = '{question.repetition_rate}'; give a shorter pulse or a lower rate"
        )
    if energy is None and power is None:
        raise InputError(Message("asks.train"))
    if energy and power and not (energy[0] * rate[0] <= 1.01 * power[1] and 0.99 * power[0] <= energy[1] * rate[1]):
        refuse(
            f"power = '{question.power}' and pulse energy = '{question.pulse_energy}' at '{question.repetition_rate}' "
            "disagree; give one of them"
        )
    if energy and power and all(low == high for low, high in (energy, power, rate)):
        power = None
    return SettingSpace("pulse train", power=power, pulse_energy=energy, pulse_duration=pulse, repetition_rate=rate)


def sets_of(question: BeamQuestion) -> tuple[str, ...]:
    """Return the rule sets to work out: the one that was named, or all."""
    return rule_sets() if question.rule_set is None else (question.rule_set,)


TISSUES = ("eye", "skin")


def limit_answer(question: LimitQuestion) -> tuple[dict[str, Any], list[str]]:
    """Return the limits of eye and skin at one point, ready for JSON and as a person reads them."""
    lam, time = number(question.wavelength, "m", "wavelength"), number(question.duration, "s", "duration")
    angle, rule_set = number(question.source_angle, "rad", "source angle"), question.rule_set
    pulse = optional_number(question.pulse_duration, "s", "pulse duration")
    rate = optional_number(question.repetition_rate, "Hz", "repetition rate")
    area = optional_number(question.exposed_area, "m2", "exposed area")
    area = body_area("skin", lam) if area is None else area  # as reach, zones and eyewear take it
    train = () if pulse is None or rate is None else (pulse, rate)
    if (pulse is None) != (rate is None):
        refuse("pulse duration and repetition rate go together; for one single pulse give its length as the duration")

    def block(name: str, tissue: str) -> dict[str, Any]:
        found = exposure_limit(name, tissue, lam, time, angle, exposed_area=area)
        data: dict[str, Any] = {
            "radiant_exposure_J_per_m2": float(found.radiant_exposure),
            "irradiance_W_per_m2": float(found.irradiance),
            "limiting_aperture_mm": _millimetres(found.limiting_aperture),
            "hazard": str(found.hazard),
            "source": str(found.source),
        }
        if not np.isnan(found.acceptance_angle):
            data["acceptance_angle_mrad"] = float(found.acceptance_angle) * 1e3
        if not train:
            return data
        pulses = pulse_train_limit(name, tissue, lam, *train, time, angle, exposed_area=area)
        return {
            **data,
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

    names = (rule_set, *(other for other in rule_sets() if other != rule_set))
    found = {name: {tissue: block(name, tissue) for tissue in TISSUES} for name in names}
    data = {
        "rule_set": rule_set,
        "wavelength_m": lam,
        "duration_s": time,
        "source_angle_rad": angle,
        **dict(zip(("pulse_duration_s", "repetition_rate_Hz"), train, strict=False)),
        **found.pop(rule_set),
        "other_rule_sets": found,
        "caution": caution_line(),
    }
    return data, limit_text(data, question.language)


def _millimetres(metres: Any) -> float:
    return round(float(metres) * 1e3, 9)


def in_language(lines: Iterable[str], language: str) -> list[str]:
    """Return the lines of an answer and the caution in a language, with its decimal mark."""
    from lasersafe.drawing.text import decimals, measured

    wording = load_wording(language)
    with decimals(wording):
        return [*(measured(wording.say(line)) for line in lines), wording.caution_short]


def limit_text(data: dict[str, Any], language: str) -> list[str]:
    """Return the limits as a person reads them, rounded down."""

    def down(value: float, unit: str) -> str:
        return format_quantity(value, unit, 4, "down")

    wave, time, angle = (
        format_quantity(data[f"{key}_{unit}"], unit, 4)
        for key, unit in (("wavelength", "m"), ("duration", "s"), ("source_angle", "rad"))
    )
    lines = [Message("limits.head", rule_set=data["rule_set"], wavelength=wave, time=time, angle=angle)]
    for tissue in TISSUES:
        block = data[tissue]
        dose, mean = down(block["radiant_exposure_J_per_m2"], "J/m2"), down(block["irradiance_W_per_m2"], "W/m2")
        hole, hazard = f"{block['limiting_aperture_mm']:.3g} mm", word(block["hazard"])
        words = {"tissue": word(tissue), "dose": dose, "mean": mean, "aperture": hole, "hazard": hazard}
        lines.append(Message("limits.mean", source=block["source"], **words))
        if "per_pulse_J_per_m2" in block:
            pulse = down(block["per_pulse_J_per_m2"], "J/m2")
            lines.append(Message("limits.pulse", pulse=pulse, rule=word(block["deciding_rule"])))
            lines += [
                Message(
                    "limits.row", rule=word(row["rule"]), hazard=word(row["hazard"]), source=row["source"],
                    pulse=down(row["per_pulse_J_per_m2"], "J/m2"), aperture=f"{row['limiting_aperture_mm']:.3g} mm",
                )
                for row in block["rules"]
            ]  # fmt: skip
    train = "per_pulse_J_per_m2" in data["eye"]
    key, unit = ("per_pulse_J_per_m2", "J/m2") if train else ("irradiance_W_per_m2", "W/m2")
    lines += [
        Message("limits.stricter", rule_set=name, tissue=word(tissue), limit=down(other[tissue][key], unit))
        for name, other in data["other_rule_sets"].items()
        for tissue in TISSUES
        if other[tissue][key] < 0.99 * data[tissue][key]
    ]
    return in_language(lines, language)
