"""The answer to a question for eyewear: what it has to carry, and what each pair is worth."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from lasersafe.ask import EyewearQuestion
from lasersafe.ask.beams import beam_of, in_language, number, optional_number, sets_of, space_of, span
from lasersafe.data import load, load_toml, shared_path
from lasersafe.drawing.text import decimals, density, spoken
from lasersafe.errors import CalcError, InputError, refuse
from lasersafe.hazard.combine import between_marks, exposure_duration, marking_edges, worst_wavelengths
from lasersafe.hazard.eyewear import Filtered, covering, hardest_need, slowest_rate, verdict_on, widths_beyond
from lasersafe.hazard.eyewear_scale import En207
from lasersafe.hazard.marking import MarkingError, nanometre_text, parse_marking
from lasersafe.hazard.settings import Range, worst_settings
from lasersafe.optics.beam import to_1_over_e
from lasersafe.quantity import format_quantity, shown
from lasersafe.records import EyewearNeed, MarkingVerdict, as_json
from lasersafe.wording import Message, caution_line, joined, listed, load_wording, word

UNKNOWN = "unknown"
STRICTEST_CRITERION = "1/e2"  # of one diameter, it stands for the narrowest beam
Widths = Sequence[tuple[float | None, float, float]]
LETTERS = ("D", "I", "R", "M", "LB", "OD", "RB")
T = TypeVar("T")


def _widths(question: EyewearQuestion, wavelength: float) -> tuple[Widths, list[Message]]:
    """Return how wide the beam is where a face can be, by place, and what was assumed for it."""
    diameter, criterion = question.beam_diameter, question.criterion
    assumed = []
    if diameter == UNKNOWN:
        kinds = load_toml(shared_path("laser_kinds", "usual.toml"))["kind"]
        # the narrowest that lasers usually have
        diameter = str(next(one["beam_diameter"]["least"] for one in kinds if one["key"] == "any laser"))
        criterion = STRICTEST_CRITERION
        assumed = [Message("asks.assumed_width", width=diameter)]
    elif criterion in ("", UNKNOWN):
        criterion = STRICTEST_CRITERION
        assumed = [Message("asks.assumed_criterion")]
    if question.at is None or question.beam_diameter == UNKNOWN:
        if question.at is None and (question.divergence is not None or question.lens_focal_length is not None):
            raise InputError(Message("asks.at"))
        width = number(diameter, "m", "beam diameter", positive=True)
        d63 = float(to_1_over_e(width, criterion, question.profile))
        return [(None, d63, d63)], assumed
    beam, _ = beam_of(replace(question, criterion=criterion), wavelength)
    if question.at == UNKNOWN:
        return widths_beyond(beam, 0.0), [*assumed, Message("asks.assumed_place")]
    place = number(question.at, "m", "at")
    if not place >= 0.0:
        refuse(f"at = '{question.at}': must not be below zero")
    return widths_beyond(beam, place), assumed


def _missing(question: EyewearQuestion) -> list[Message]:
    """Return what nothing can be worked out without and was not typed, and where to find it."""
    pulsed = any((question.pulse_duration, question.repetition_rate, question.pulse_energy))
    asked = {
        "wavelength": not question.wavelength,
        "emission": not (pulsed or question.continuous),
        "both": pulsed and question.continuous,
        "pulse_duration": pulsed and not question.continuous and not question.pulse_duration,
        "repetition_rate": pulsed and not question.continuous and not question.repetition_rate,
        "power": not (question.power or question.pulse_energy),
        "beam_diameter": not question.beam_diameter,
    }
    return [Message(f"asks.{key}") for key, holds in asked.items() if holds]


def _verdict(marking: str, needs: Sequence[EyewearNeed], rate: float | None) -> MarkingVerdict:
    """Return the verdict that holds at every wavelength."""
    found = [verdict_on(marking, need, rate) for need in needs]
    ends = tuple(dict.fromkeys(band for one in found for band in one.ends))
    return replace(min(found, key=lambda one: one.enough), ends=ends)


Worked = tuple[Range, Widths, list[Message], EyewearNeed, float, list[MarkingVerdict]]


def work_out(question: EyewearQuestion) -> Worked:
    """Return wavelengths and widths that are taken, what is assumed, need and exposure, and the verdict on each pair.

    Raises
    ------
    InputError
        If anything is missing or cannot be used: all of it in one.
    """
    faults: list[str] = [*_missing(question)]

    def tried(read: Callable[[], T], unless: str = "") -> T | None:
        try:
            return None if unless and any(one.key in unless.split() for one in _missing(question)) else read()
        except CalcError as error:
            faults.append(str(error))
            return None

    waves = tried(lambda: span(question.wavelength, "m", "wavelength"), "asks.wavelength")
    emission = "asks.emission asks.both asks.pulse_duration asks.repetition_rate asks.power"
    space = tried(lambda: space_of(question), emission)
    width = tried(lambda: _widths(question, waves[1] if waves else 1e-6), "asks.beam_diameter")
    duration = tried(lambda: optional_number(question.duration, "s", "duration"))
    if faults or not (waves and space and width):
        raise InputError(faults[0] if len(faults) == 1 else Message("asks.all", faults="\n- ".join(["", *faults])))
    widths, (low, high), markings = width[0], waves, question.wearing or ()
    tolerated: Iterable[float] = (low,)
    if high > low:
        tolerated = sorted({*worst_wavelengths(low, high), *between_marks(low, high, marking_edges(markings))})
    needs: list[EyewearNeed] = []
    times, rate, sets = [], None, sets_of(question)
    for wave in tolerated:
        time = max(exposure_duration(wave, "direct")[0], space.longest_pulse) if duration is None else duration
        settings = worst_settings(space, sets, "eye", wave, time)
        rate = slowest_rate(space, settings[0])
        needs.append(hardest_need(Filtered(wave, space, settings, sets, time, question.profile), widths))
        times.append(time)
    need = covering(needs) if len(needs) > 1 else needs[0]
    return waves, *width, need, max(times), [_verdict(marking, needs, rate) for marking in markings]


def eyewear_answer(question: EyewearQuestion) -> dict[str, Any]:
    """Return what eyewear has to carry, and the verdict on each pair, ready for JSON.

    Raises
    ------
    InputError
        If anything is missing or cannot be used: all of it in one.
    """
    waves, widths, assumed, need, time, worn = work_out(question)
    occurring = {"LB", "OD", *(scale.mode for scale in need.scales)}  # letters of the standards
    for marking in question.wearing or ():
        with contextlib.suppress(MarkingError):
            for one in parse_marking(marking).statements:
                occurring |= {letter for mark in one.scales for letter in mark.modes}
                occurring |= {"RB"} if one.alignment else set()
    densities = ("optical_density", "optical_density_skin", "optical_density_exact")
    return {
        "wavelength_m": need.wavelength,
        "wavelengths_m": list(waves),
        "beam_diameter_63_m": min(min(dx, dy) for _, dx, dy in widths),
        "duration_s": time,
        "rule_sets": list(sets_of(question)),
        "assumed": assumed,
        **as_json(need, (*densities, "scales", "marking", "decides", "reliable", "no_reliance", "notes")),
        "steps": as_json(need.steps, ("symbol", "formula", "numbers", "value", "unit", "source", "seen")),
        "wearing": as_json(worn, ("text", "enough", "verdict", "reasons", "ends")),
        "letters": {name: Message(f"letters.{name}") for name in LETTERS if name in occurring},
        "caution": caution_line(),
    }


def eyewear_text(data: dict[str, Any], language: str) -> list[str]:
    """Return the verdict on each pair, then what to ask for, then the reasons."""
    say = load_wording(language).text
    lines = []
    for worn in data["wearing"]:
        bands = [say("eyewear.ends", band=band) for band in worn["bands_that_end_here_nm"]]
        reasons = joined([*worn["reasons"], *bands], " ")
        key = "wearing.enough" if worn["enough"] else "wearing.not_enough"
        lines.append(Message(key, typed=shown(worn["typed"], 100), verdict=word(worn["verdict"]), reasons=reasons))
    scales = ", ".join(
        f"{mode} LB{number}" if number is not None else Message("wearing.beyond", mode=mode, number=load(En207).highest)
        for mode, number in data["scale_numbers"].items()
    )
    asked = data["no_reliance"] or Message("wearing.ask_for", marking=data["marking"])
    low, high = map(nanometre_text, data["wavelengths_m"])
    with decimals(load_wording(language)):
        dense, decides = density(data["optical_density"]), spoken(in_language([data["decides"]], language)[0])
    details = [
        decides,
        Message(
            "wearing.taken", time=format_quantity(data["duration_s"], "s"), rule_sets=listed(data["rule_sets"]),
            width=format_quantity(data["beam_diameter_63_m"], "m", 4),
            wavelength=low if low == high else f"{low}-{high}",
        ),
        *(Message("wearing.assumed", what=one) for one in data["assumed"]),
        joined((Message("wearing.letter", letter=name, meaning=means) for name, means in data["letters"].items())),
        *data["notes"],
    ]  # fmt: skip
    lines.append(Message("wearing.need", asked=asked, density=dense, scales=scales))
    return in_language([*lines, *(Message("wearing.item", what=one) for one in details)], language)
