"""How far a beam that is typed on the command line exceeds the limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from lasersafe.ask.beams import TISSUES, beam_of, number, optional_number, sets_of, space_of
from lasersafe.ask.questions import ReachQuestion
from lasersafe.errors import refuse
from lasersafe.hazard.combine import exposure_duration
from lasersafe.hazard.distances import Reach, direct_distance, direct_reach, scatter_distance
from lasersafe.hazard.exposure import Emission, Received, criteria
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.hazard.settings import worst_settings
from lasersafe.optics.beam import BeamGeometry
from lasersafe.optics.reflection import LitSpot
from lasersafe.quantity import format_quantity
from lasersafe.records.fields import badness
from lasersafe.wording import Message, caution_line

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
