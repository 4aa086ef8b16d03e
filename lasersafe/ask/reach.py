"""How far a beam that is typed on the command line exceeds the limits, as data, as text and as a drawing."""

from __future__ import annotations

import math
import textwrap
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from lasersafe.ask.beams import TISSUES, beam_of, in_language, number, optional_number, sets_of, space_of, spot_of
from lasersafe.errors import refuse
from lasersafe.files import Output, mark_of, suffix_of, write_outputs
from lasersafe.hazard.combine import exposure_duration
from lasersafe.hazard.distances import Reach, direct_distance, direct_reach, scatter_distance
from lasersafe.hazard.exposure import Emission, Received, criteria
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.hazard.settings import worst_settings
from lasersafe.optics.beam import BeamGeometry, diameters
from lasersafe.quantity import format_quantity
from lasersafe.records import badness
from lasersafe.wording import Message, Wording, caution_line, load_wording, word

if TYPE_CHECKING:
    from lasersafe.ask import ReachQuestion
    from lasersafe.drawing.primitives import Mark, Run
    from lasersafe.optics.reflection import LitSpot

TYPED = "typed by the user"
_WAYS = tuple((way, tissue) for way in ("direct", "scatter") for tissue in TISSUES)


def _reaches(
    question: ReachQuestion, way: str, tissue: str, beam: BeamGeometry, lam: float, duration: float, spot: LitSpot
) -> dict[str, Reach]:
    """Return how far one way reaches by each rule set, or by the limit that the user typed."""
    sets = sets_of(question)
    space = space_of(question)
    settings = worst_settings(space, sets, tissue, lam, duration)
    emission = settings[0]
    pulsed = emission.kind != "continuous"
    typed, unit = getattr(question, f"limit_{tissue}"), "J/m2" if pulsed else "W/m2"
    own = optional_number(typed, unit, f"limit for the {tissue}", positive=True)
    if own is None:

        def reach(name: str, one: Emission) -> Reach:
            received = Received(name, tissue, one, lam, duration)
            return direct_reach(received, beam) if way == "direct" else scatter_reach(received, spot)

        return {
            name: max((reach(name, one) for one in settings), key=lambda found: badness(found.distance))
            for name in sets
        }
    amount = space.highest_pulse_energy if pulsed else emission.power
    hole = optional_number(question.limit_aperture, "m", "limit aperture", positive=True)
    rows = (row for name in sets for one in settings for row in criteria(Received(name, tissue, one, lam, duration)))
    strictest = min(rows, key=lambda one: one.limiting_aperture)
    aperture = strictest.limiting_aperture if hole is None else hole
    own_row = replace(
        strictest, rule_set=TYPED, hazard=Message("reached.typed"), amount=amount,
        rule=Message("reached.averaged", aperture=f"{aperture * 1e3:.4g} mm"),
        limit=own, limiting_aperture=aperture, source=TYPED, seen="own",
    )  # fmt: skip
    if way == "direct":
        return {TYPED: Reach(float(direct_distance(amount, own, aperture, beam)), own_row)}
    return {TYPED: Reach(float(scatter_distance(amount, own, spot.reflectance, 0.0, spot.model)), own_row)}


def reach_answer(question: ReachQuestion, replace: bool = False) -> tuple[dict[str, Any], list[str]]:
    """Return the distances, ready for JSON and as a person reads them, rounded up; write the drawing if asked.

    Raises
    ------
    InputError
        If the beam is incomplete or impossible, or the name of the drawing has another ending.
    OutputError
        If the drawing may not be written.
    """
    lam = number(question.wavelength, "m", "wavelength")
    duration = optional_number(question.duration, "s", "duration")
    spot = spot_of(question)
    if question.limit_aperture is not None and question.limit_eye is None and question.limit_skin is None:
        refuse(f"limit aperture = '{question.limit_aperture}': it belongs to --limit-eye or --limit-skin; give one")
    longest = space_of(question).longest_pulse
    beam, focus = beam_of(question, lam, question.propagation)
    answer: dict[str, Any] = {"wavelength_m": lam, "duration_s": duration, "scatter_model": spot.model}
    details, lines = dict[str, Any](), list[str]()
    for way, tissue in _WAYS:
        usual, reason = exposure_duration(lam, way)
        if usual < longest:
            usual, reason = longest, Message("time.one_pulse", reason=reason)
        time, why = (usual, reason) if duration is None else (duration, Message("reached.typed"))
        found = _reaches(question, way, tissue, beam, lam, time, spot)
        decided = max(found, key=lambda name: badness(found[name].distance))
        far, criterion = found[decided].distance, found[decided].criterion
        answer[f"{way}_{tissue}_m"], near = far, ""
        if way == "direct" and focus is not None:
            answer[f"direct_{tissue}_from_focus_m"] = behind = far - focus if far > 0.0 else 0.0
            near = Message("reached.from_focus", distance=_up(behind))
        by_rule_set = {name: one.distance for name, one in found.items()}
        details[f"{way}_{tissue}"] = detail = {
            "decided_by": decided,
            "hazard": criterion.hazard,
            "rule": criterion.rule,
            "limit_" + criterion.limit_unit.replace("/", "_per_"): criterion.limit,
            "limiting_aperture_mm": round(criterion.limiting_aperture * 1e3, 9),
            "source": criterion.source,
            "duration_s": time,
            "duration_reason": why,
            "by_rule_set_m": by_rule_set,
        }
        limit = format_quantity(criterion.limit, criterion.limit_unit, 4, "down")
        words = {"limit": limit, "time": format_quantity(time, "s"), "reason": why, "rule_set": _set_of(decided)}
        words |= {"hazard": word(criterion.hazard), "rule": word(criterion.rule)}
        lines.append(Message(f"reached.{way}", tissue=word(tissue), distance=_up(far), focus=near))
        lines.append(Message("reached.beyond", **words))
        if usual > time and decided != TYPED:
            longer = _reaches(question, way, tissue, beam, lam, usual, spot)
            farthest = max(one.distance for one in longer.values())
            detail |= {"usual_duration_s": usual, "usual_reason": reason, "usual_m": farthest}
            more = {"time": format_quantity(usual, "s"), "reason": reason}
            lines.append(Message("reached.usual", distance=_up(farthest), **more))
        others = {name: other for name, other in by_rule_set.items() if other < 0.99 * far}
        lines += [Message("reached.alone", rule_set=name, distance=_up(other)) for name, other in others.items()]
    answer |= {"details": details, "caution": caution_line()}
    if question.drawing is not None:
        suffix_of(question.drawing, "drawing", ".svg")
        from lasersafe.drawing.text import decimals

        wording = load_wording(question.language)
        with decimals(wording):
            drawn = reach_svg(answer, beam, wording)
        write_outputs([Output(question.drawing, drawn, mark_of("reach", "", ""))], replace=replace)
    return answer, in_language([*lines, Message("reached.model", model=word(spot.model))], question.language)


def _set_of(decided: str) -> str:
    return Message("reached.by_user") if decided == TYPED else decided


def _up(distance: float) -> str:
    return format_quantity(distance, "m", 3, "up")


_WIDE, _LEFT, _RIGHT = 190.0, 12.0, 182.0  # [mm]
_BEAM_AT, _BEAM_HALF = 98.0, 11.0  # height of its axis, and half of its width where it is widest
_AXIS_AT, _ROW, _HIGH = 34.0, 12.0, 132.0
_BEAM, _BAR, _FINE = "#8f1d4f", "#1d4e9e", "#b5b5b5"
_LETTER = 1.55  # [mm] at most, of the text on average
_SHORTEST, _STEPS = 0.1, 60  # [m] of the scale; points of the beam
_BODY: tuple[Run, ...] = (  # of somebody who stands, in millimetres from the feet; drawn for this program
    ((0.0, 0.0), (1.2, 5.0), (2.4, 0.0)), ((1.2, 5.0), (1.2, 9.0)), ((-0.4, 6.4), (1.2, 8.4), (2.8, 6.4)),
)  # fmt: skip


def reach_svg(data: dict[str, Any], beam: BeamGeometry, wording: Wording) -> bytes:
    """Return the drawing of an answer as an SVG file.

    Parameters
    ----------
    data : dict
        The answer, as `reach_answer` gives it.
    beam : BeamGeometry
        The beam.
    wording : Wording
        Of what is written there.
    """
    from lasersafe.drawing.chart import Axis, round_ends, tick_text
    from lasersafe.drawing.primitives import BLACK, WHITE, Area, Drawing, Lines, Words, box, to_svg
    from lasersafe.drawing.text import measured

    title = wording.say(Message("draw.reach"))
    far = {key: data["{}_{}_m".format(*key)] for key in _WAYS}
    usual = [detail["usual_m"] for detail in data["details"].values() if "usual_m" in detail]
    most = max(1e-3, *far.values(), *usual)
    low, high = round_ends(min(_SHORTEST, most / 20.0), 2.0 * most, log=True)
    axis = Axis(wording.say(Message("draw.distance")), low, high, log=True)

    def at(distance: float) -> float:
        return _LEFT + (_RIGHT - _LEFT) * min(max(axis.share(distance), 0.0), 1.0)

    numbered, fine = axis.marks()
    grid = tuple(((at(one), _AXIS_AT), (at(one), _BEAM_AT - _BEAM_HALF)) for one in fine)
    marks: list[Mark] = [
        Lines(grid, _FINE, 0.1),
        Lines((((_LEFT, _AXIS_AT), (_RIGHT, _AXIS_AT)),), BLACK, 0.3),
        *(Words(at(one) - 1.5, _AXIS_AT - 4.5, tick_text(one)) for one in numbered),
        Words(_LEFT, _AXIS_AT - 9.0, axis.title),
        Words(_LEFT, _HIGH - 7.0, title, 4.0, bold=True),
        Area((_beam(beam, low, high, at),), _BEAM),
    ]
    bounds: list[Mark] = []
    labels: list[Mark] = []
    for row, (way, tissue) in enumerate(_WAYS):
        height = _BEAM_AT - _BEAM_HALF - 9.0 - row * _ROW
        end, detail = at(far[way, tissue]), data["details"][f"{way}_{tissue}"]
        time, rule_set = format_quantity(detail["duration_s"], "s"), _set_of(detail["decided_by"])
        words = Message(f"draw.{way}_{tissue}", distance=_up(far[way, tissue]), time=time, rule_set=rule_set)
        if "usual_m" in detail:
            time = format_quantity(detail["usual_duration_s"], "s")
            words = Message("draw.usual", words=words, distance=_up(detail["usual_m"]), time=time)
        said = measured(wording.say(words))
        if far[way, tissue] > 0.0:
            marks += [Area((box((_LEFT, height - 1.2, max(end, _LEFT + 0.5), height + 0.8)),), _BAR)]
            bounds += [Lines((((end, height - 2.0), (end, _BEAM_AT + _BEAM_HALF)),), _BAR, 0.25, (1.2, 0.8))]
        paper = box((_LEFT, height + 1.4, _LEFT + _LETTER * len(said), height + 5.0))
        labels += [Area((paper,), WHITE), Words(_LEFT, height + 2.2, said)]
    marks += [*bounds, *labels]
    feet = _BEAM_AT + _BEAM_HALF + 2.0
    outside = min(at(1.25 * most), _RIGHT - 4.0)
    for place, key in ((0.5 * (_LEFT + at(most)), "draw.inside"), (outside, "draw.outside")):
        if key == "draw.inside" and not any(far.values()):
            continue
        said = wording.say(Message(key))
        long = _LETTER * len(said)
        marks += _person(place, feet, crossed=key == "draw.inside")
        marks += [Words(place - 3.0 - long, feet + (2.0 if key == "draw.inside" else 7.0), said)]
    for line, text in enumerate(textwrap.wrap(f"{wording.say(Message('draw.widths'))} {wording.caution_short}", 118)):
        marks += [Words(_LEFT, 18.0 - line * 4.0, text)]
    return to_svg(Drawing("chart", title, _WIDE, _HIGH, (0, 0, _WIDE, _HIGH), 0, marks)).encode()


def _beam(beam: BeamGeometry, low: float, high: float, at: Any) -> Run:
    """Return the outline of the beam; its width is drawn by equal ratios too, from 1 mm on."""
    places = [low * (high / low) ** (n / _STEPS) for n in range(_STEPS + 1)]
    widths = [max(float(max(diameters(beam, place))), 1e-3) for place in places]
    most = max(math.log(max(widths) / 1e-3), 1e-9)
    half = [max(0.4, _BEAM_HALF * math.log(width / 1e-3) / most) for width in widths]
    upper = [(at(place), _BEAM_AT + one) for place, one in zip(places, half, strict=True)]
    return (*upper, *((x, 2.0 * _BEAM_AT - y) for x, y in reversed(upper)))


def _person(x: float, feet: float, *, crossed: bool) -> list[Mark]:
    from lasersafe.drawing.primitives import BLACK, Area, Lines, circle

    moved = tuple(tuple((x + a, feet + b) for a, b in run) for run in _BODY)
    marks: list[Mark] = [Lines(moved, BLACK, 0.5), Area((circle((x + 1.2, feet + 10.3), 1.3, 12),), BLACK)]
    if crossed:
        marks += [
            Lines((((x - 2.0, feet), (x + 4.4, feet + 11.5)), ((x - 2.0, feet + 11.5), (x + 4.4, feet))), _BEAM, 0.6)
        ]
    return marks
