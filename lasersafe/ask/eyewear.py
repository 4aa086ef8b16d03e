"""The answer to a question for eyewear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from lasersafe.ask.beams import BeamQuestion, needed_number, optional_number, require_positive
from lasersafe.errors import InputError
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.eyewear_need import eyewear_need
from lasersafe.hazard.setting_search import worst_setting
from lasersafe.hazard.settings import SettingSpace
from lasersafe.optics.propagation import to_1_over_e
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import as_json
from lasersafe.wording import caution_line, load_wording


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
    lam = needed_number(question.wavelength, "m", "wavelength")
    diameter = needed_number(question.beam_diameter, "m", "beam diameter")
    require_positive(diameter, "beam diameter", question.beam_diameter)
    d63 = float(to_1_over_e(diameter, question.criterion, question.profile))
    space = question.space()
    duration = optional_number(question.duration, "s", "duration")
    if duration is None:
        duration, _ = exposure_duration(lam, "direct")
    sets = question.rule_sets()
    need = eyewear_need(
        wavelength=lam,
        space=space,
        worst=worst_setting(space, sets, "eye", lam, duration),
        rule_sets=sets,
        duration=duration,
        beam_diameters=(d63, d63),
        profile=question.profile,
        marking=question.wearing or "",
    )
    densities = ("optical_density", "optical_density_skin", "optical_density_exact")
    answer = {
        "wavelength_m": lam,
        "beam_diameter_63_m": d63,
        "duration_s": duration,
        "rule_sets": list(sets),
        **as_json(need, (*densities, "scales", "marking", "decides", "reliable", "no_reliance", "notes")),
        "steps": as_json(need.steps, ("symbol", "formula", "numbers", "value", "unit", "source", "seen")),
        "caution": caution_line(),
    }
    if need.verdict is not None:
        answer["wearing"] = as_json(need.verdict, ("text", "enough", "verdict", "reasons", "ends"))
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
