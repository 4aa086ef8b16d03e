"""A beam that is typed on the command line: what is said of it, limits at one point, and how far it exceeds them."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np

from lasersafe.ask.questions import BeamQuestion, LimitQuestion, ReachQuestion
from lasersafe.errors import InputError, refuse
from lasersafe.hazard.combine import exposure_duration
from lasersafe.hazard.distances import Reach, direct_distance, direct_reach, scatter_distance
from lasersafe.hazard.exposure import Emission, Received, body_area, criteria
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.hazard.settings import Range, SettingSpace, worst_settings
from lasersafe.limits import exposure_limit, pulse_train_limit, rule_sets
from lasersafe.optics.beam import BeamGeometry, check_diffraction, collimated, through_lens
from lasersafe.optics.reflection import LitSpot
from lasersafe.quantity import Kind, format_quantity, parse_quantity
from lasersafe.records.fields import badness
from lasersafe.wording import caution_line
from lasersafe.wording.message import Message

SINGLE = "single"  # in place of a repetition rate
_SIGN = re.compile(r"\+\s*/?\s*-|±")
_UNIT = re.compile(r"[^\W\d_].*|%")


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
        check_diffraction(beam, wavelength)
        return beam, None
    assert question.lens_focal_length is not None
    focal = number(question.lens_focal_length, "m", "lens focal length", positive=True)
    return through_lens(diameter, focal, question.criterion, question.profile, propagation=propagation), focal


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


def limit_answer(question: LimitQuestion) -> dict[str, Any]:
    """Return the limits of eye and skin at one point, ready for JSON."""
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
    return {
        "rule_set": rule_set,
        "wavelength_m": lam,
        "duration_s": time,
        "source_angle_rad": angle,
        **dict(zip(("pulse_duration_s", "repetition_rate_Hz"), train, strict=False)),
        **found.pop(rule_set),
        "other_rule_sets": found,
        "caution": caution_line(),
    }


def _millimetres(metres: Any) -> float:
    return round(float(metres) * 1e3, 9)


def limit_text(data: dict[str, Any]) -> str:
    """Return the limits as a person reads them, rounded down."""

    def down(value: float, unit: str) -> str:
        return format_quantity(value, unit, 4, "down")

    about = (format_quantity(data[f"{key}_{unit}"], unit, 4) for key, unit in (("wavelength", "m"), ("duration", "s")))
    angle = format_quantity(data["source_angle_rad"], "rad", 4)
    lines = [f"{data['rule_set']}, {', '.join(about)}, source angle {angle}"]
    for tissue in TISSUES:
        block = data[tissue]
        dose, mean = down(block["radiant_exposure_J_per_m2"], "J/m2"), down(block["irradiance_W_per_m2"], "W/m2")
        lines.append(
            f"{tissue}: {dose} = {mean}, averaged over {block['limiting_aperture_mm']:.3g} mm "
            f"({block['hazard']}; {block['source']})"
        )
        if "per_pulse_J_per_m2" in block:
            pulse = down(block["per_pulse_J_per_m2"], "J/m2")
            lines.append(f"  per pulse: {pulse}; rule that decides: {block['deciding_rule']}")
            lines += [
                f"    {row['rule']}, {row['hazard']}: {down(row['per_pulse_J_per_m2'], 'J/m2')}"
                f" over {row['limiting_aperture_mm']:.3g} mm ({row['source']})"
                for row in block["rules"]
            ]
    train = "per_pulse_J_per_m2" in data["eye"]
    key, unit = ("per_pulse_J_per_m2", "J/m2") if train else ("irradiance_W_per_m2", "W/m2")
    lines += [
        f"note: {name} is stricter for the {tissue}: {down(other[tissue][key], unit)}; the stricter result decides"
        for name, other in data["other_rule_sets"].items()
        for tissue in TISSUES
        if other[tissue][key] < 0.99 * data[tissue][key]
    ]
    return "\n".join([*lines, data["caution"]])


TYPED = "typed by the user"
_WORDS = {  # way -> what it is called, and from where its distance is measured
    "direct": ("direct beam or full mirror", "from the last optic"),
    "scatter": ("scatter", "from the lit surface"),
}


def _reaches(
    question: ReachQuestion, way: str, tissue: str, beam: BeamGeometry, lam: float, duration: float, reflectance: float
) -> dict[str, Reach]:
    """Return how far one way reaches by each rule set, or by the limit that the user typed."""
    sets = sets_of(question)
    settings = worst_settings(space_of(question), sets, tissue, lam, duration)
    emission = settings[0]
    pulsed = emission.kind != "continuous"
    typed, unit = getattr(question, f"limit_{tissue}"), "J/m2" if pulsed else "W/m2"
    own = optional_number(typed, unit, f"limit for the {tissue}", positive=True)
    if own is None:
        spot = LitSpot(reflectance, model=question.scatter)

        def reach(name: str, one: Emission) -> Reach:
            received = Received(name, tissue, one, lam, duration)
            return direct_reach(received, beam) if way == "direct" else scatter_reach(received, spot)

        return {
            name: max((reach(name, one) for one in settings), key=lambda found: badness(found.distance))
            for name in sets
        }
    amount = emission.pulse_energy if pulsed else emission.power
    hole = optional_number(question.limit_aperture, "m", "limit aperture", positive=True)
    rows = (one for name in sets for one in criteria(Received(name, tissue, emission, lam, duration)))
    strictest = min(rows, key=lambda one: one.limiting_aperture)
    aperture = strictest.limiting_aperture if hole is None else hole
    own_row = replace(
        strictest, rule_set=TYPED, hazard="as typed", rule=f"averaged over {aperture * 1e3:.4g} mm", amount=amount,
        limit=own, limiting_aperture=aperture, source=TYPED, seen="own",
    )  # fmt: skip
    if way == "direct":
        return {TYPED: Reach(float(direct_distance(amount, own, aperture, beam)), own_row)}
    return {TYPED: Reach(float(scatter_distance(amount, own, reflectance, 0.0, question.scatter)), own_row)}


def reach_answer(question: ReachQuestion) -> dict[str, Any]:
    """Return the distances, ready for JSON.

    Raises
    ------
    InputError
        If the beam is incomplete or impossible.
    """
    lam = number(question.wavelength, "m", "wavelength")
    duration = optional_number(question.duration, "s", "duration")
    reflectance = number(question.reflectance, "1", "reflectance")
    if not 0.0 < reflectance <= 1.0:
        refuse(f"reflectance = '{question.reflectance}': must be above 0 and at most 1")
    if question.scatter not in ("lambert", "hemisphere"):
        refuse(f"scatter = '{question.scatter}': allowed are lambert and hemisphere")
    if question.limit_aperture is not None and question.limit_eye is None and question.limit_skin is None:
        refuse(f"limit aperture = '{question.limit_aperture}': it belongs to --limit-eye or --limit-skin; give one")
    longest = space_of(question).longest_pulse
    beam, focus = beam_of(question, lam, question.propagation)
    answer: dict[str, Any] = {"wavelength_m": lam, "duration_s": duration, "scatter_model": question.scatter}
    details: dict[str, Any] = {}
    for way in ("direct", "scatter"):
        usual, reason = exposure_duration(lam, way)
        if usual < longest:
            usual, reason = longest, Message("time.one_pulse", reason=reason)
        time = usual if duration is None else duration
        for tissue in TISSUES:
            found = _reaches(question, way, tissue, beam, lam, time, reflectance)
            decided = max(found, key=lambda name: badness(found[name].distance))
            reach = found[decided]
            answer[f"{way}_{tissue}_m"] = reach.distance
            if way == "direct" and focus is not None:
                answer[f"direct_{tissue}_from_focus_m"] = reach.distance - focus if reach.distance > 0.0 else 0.0
            criterion = reach.criterion
            detail = {
                "decided_by": decided,
                "hazard": criterion.hazard,
                "rule": criterion.rule,
                "limit_" + criterion.limit_unit.replace("/", "_per_"): criterion.limit,
                "limiting_aperture_mm": round(criterion.limiting_aperture * 1e3, 9),
                "source": criterion.source,
                "duration_s": time,
                "duration_reason": reason if duration is None else "as typed",
                "by_rule_set_m": {name: r.distance for name, r in found.items()},
            }
            if usual > time and decided != TYPED:
                longer = _reaches(question, way, tissue, beam, lam, usual, reflectance)
                farthest = max(one.distance for one in longer.values())
                detail |= {"usual_duration_s": usual, "usual_reason": reason, "usual_m": farthest}
            details[f"{way}_{tissue}"] = detail
    answer["details"] = details
    answer["caution"] = caution_line()
    return answer


def reach_text(data: dict[str, Any]) -> str:
    """Return the distances as a person reads them, rounded up."""

    def up(distance: float) -> str:
        return format_quantity(distance, "m", 3, "up")

    lines = []
    for key, detail in data["details"].items():
        way, tissue = key.split("_")
        distance, unit = data[f"{key}_m"], next(name for name in detail if name.startswith("limit_"))
        limit = format_quantity(detail[unit], unit.removeprefix("limit_").replace("_per_", "/"), 4, "down")
        words, origin = _WORDS[way]
        focus = data.get(f"{key}_from_focus_m")
        near = "" if focus is None else f" ({up(focus)} from the focus)"
        lines += [
            f"{words}, {tissue}: {up(distance)} {origin}{near}",
            f"  beyond it the computed exposure is below {limit} ({detail['decided_by']}, {detail['hazard']}, "
            f"{detail['rule']}) for {format_quantity(detail['duration_s'], 's')}, {detail['duration_reason']}",
        ]
        if "usual_m" in detail:
            time = format_quantity(detail["usual_duration_s"], "s")
            lines.append(
                f"  the usual time here is longer: {up(detail['usual_m'])} for {time}, {detail['usual_reason']}"
            )
        for name, other in detail["by_rule_set_m"].items():
            if other < 0.99 * distance:
                lines.append(f"  {name} alone: {up(other)}; the stricter decides")
    return "\n".join([*lines, f"scatter model: {data['scatter_model']}", data["caution"]])
