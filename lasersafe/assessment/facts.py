"""What a sheet carries for the day: area, facts of the lasers, acceptance test, and what the case leaves open."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.acceptance import expected_of, judged, patterns_of
from lasersafe.assessment.context import kinds_of_light
from lasersafe.assessment.lines import line_contexts
from lasersafe.assessment.together import NO_CHANGES, reach_of
from lasersafe.hazard.eyewear import covering
from lasersafe.models import starter_values
from lasersafe.models.laser import DIAMETER, DIVERGENCE, FOCAL_LENGTH
from lasersafe.records.day import Assumption
from lasersafe.records.fields import badness
from lasersafe.results import (
    BeamFacts,
    ControlFinding,
    EyewearNeed,
    LaserFacts,
    Record,
    StarterValue,
)

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.corners import CaseResults
    from lasersafe.models import Case, Laser
    from lasersafe.records.barriers import BarrierLine
    from lasersafe.wording import Wording

Span = tuple[float, float]
MATT = 0.3  # reflectance of a matt surface that an answer names as an example; common practice, no source
MOST = 3  # named on the first page and in the short answer; of a starter case `check` names all
APERTURE = 7e-3  # m; the detector looks through the aperture that the eye limits are averaged over
LOW_SHARE = 0.5  # own rule: below half of what was computed, the meter may have missed the beam
_MARKS = {"divergence": DIVERGENCE, "beam_diameter": DIAMETER, "focal_length": FOCAL_LENGTH, "setup": FOCAL_LENGTH}


def record_of(
    typed: Case, worked: CaseResults, words: set[str], findings: tuple[ControlFinding, ...],
    assumptions: tuple[Assumption, ...], lines: Sequence[BarrierLine],
) -> Record:  # fmt: skip
    """Return the record of a case.

    Parameters
    ----------
    typed : Case
        As typed.
    worked : CaseResults
        The worst of all corners of the tolerances.
    words : set of str
        Conditions that hold.
    findings : tuple of ControlFinding
        On the controls.
    assumptions : tuple of Assumption
        On what the case does not state.
    lines : sequence of BarrierLine
        The barriers of a scene.

    Raises
    ------
    CaseError
        If a reading of the case fits nothing that is expected.
    """
    corners = [one.found for one in worked.each]
    area = {name: getattr(worked.case.area, name) for name in type(worked.case.area).model_fields}
    return Record(
        conditions=tuple(sorted(words)),
        area={name: ", ".join(value) if isinstance(value, tuple) else str(value) for name, value in area.items()},
        lasers=_laser_facts(corners, typed, worked.eyewear),
        expected=judged(worked.case, expected_of(worked, lines)),
        findings=findings,
        review_by=worked.case.review_by.isoformat() if worked.case.review_by else "",
        starter_values=starter_values(typed),
        assumptions=assumptions,
        unstated=typed.unstated,
    )


# --- lasers ---------------------------------------------------------------------------------------------------------


def _laser_facts(
    corners: Sequence[Sequence[Context]], typed: Case, eyewear: list[EyewearNeed]
) -> tuple[LaserFacts, ...]:
    """Return each laser of the case with the beams of its set-ups; its wavelengths are those of the case as typed.

    Ranges of the emission are those of all corners of the tolerances; the beams are those of the leading one.
    """
    lasers = {laser.name: laser for laser in typed.laser}
    facts: dict[str, LaserFacts] = {}
    for same in zip(*corners, strict=True):
        laser, setup, beam, stated = same[0].laser, same[0].setup, same[0].beam, lasers[same[0].laser.name]
        known = facts.get(laser.name)
        own = BeamFacts(
            setup.name, setup.fitted, setup.kind, beam.profile, beam.waist_diameter, beam.waist_position,
            beam.divergence,
        )  # fmt: skip
        worn, *others = _by_line(eyewear, laser)
        lines = zip(*(line_contexts(one).values() for one in same), strict=True)
        facts[laser.name] = replace(
            _light(same, laser.name, float(stated.wavelength), worn),
            beams=(*(known.beams if known else ()), own),
            lines=tuple(
                _light(of_line, line.name, float(line.wavelength), own_worn)
                for line, of_line, own_worn in zip(stated.line, lines, others, strict=True)
            ),
        )
    return tuple(facts.values())


def _by_line(eyewear: list[EyewearNeed], laser: Laser) -> list[EyewearNeed | None]:
    """Return what covers everybody at each wavelength of a laser, the main one first."""
    groups: list[list[EyewearNeed]] = [[] for _ in (laser, *laser.line)]
    place: Counter[tuple[str, str]] = Counter()
    for need in eyewear:
        if need.laser == laser.name:  # of one person they follow each other in the order of the case
            groups[place[need.setup, need.person]].append(need)
            place[need.setup, need.person] += 1
    return [covering(group) if group else None for group in groups]


def _light(same: Sequence[Context], name: str, wavelength: float, worn: EyewearNeed | None) -> LaserFacts:
    """Return the facts of one wavelength, the same at every corner."""
    laser, space = same[0].laser, same[0].space
    seen = tuple(word for word in ("visible", "invisible") if word in kinds_of_light(same))
    hulls: list[Span | None] = []
    for spans in zip(*map(_spans, same), strict=True):
        known = [span for span in spans if span is not None]
        hulls.append((min(low for low, _ in known), max(high for _, high in known)) if known else None)
    power, energy, duration, rate = hulls
    return LaserFacts(
        name, laser.class_label, laser.serial, wavelength, laser.handheld, space.kind, power, energy, duration, rate,
        (), seen, worn,
    )  # fmt: skip


def _spans(context: Context) -> tuple[Span | None, ...]:
    """Return the ranges of mean power, pulse energy, pulse duration and repetition rate that a laser can show."""
    space, every = context.space, patterns_of(context)
    if every:
        pulses = [(energy, duration) for e in every for _, duration, energy in e.pulses]
        energies = [e.pulse_energy for e in every] + [energy for energy, _ in pulses]
        durations = [e.pulse_duration for e in every] + [duration for _, duration in pulses]
        values = ([e.power for e in every], energies, durations, [e.repetition_rate for e in every])
        above = [[value for value in some if value > 0.0] for some in values]
        return tuple((min(some), max(some)) if some else None for some in above)
    power, highest = space.power, space.highest_mean_power
    if highest is not None and (space.pedestal or space.burst_pulses):
        power = (highest if power is None else power[0] + space.pedestal, highest)
    return power, space.pulse_energy, space.pulse_duration, space.repetition_rate


# --- what is not stated --------------------------------------------------------------------------------------------


def assumptions_of(
    case: Case, corners: Sequence[Sequence[Context]], ways: Sequence[str], far: float, near: float
) -> tuple[Assumption, ...]:
    """Return everything that a case leaves to the strictest assumption, with what costs most first.

    Parameters
    ----------
    case : Case
        As typed.
    corners : sequence of sequence of Context
        The set-ups at every corner of what is not known.
    ways : sequence of str
        Ways in a beam that count for people, as `lasersafe.assessment.together.beam_ways` gives them.
    far, near : float
        How far all fitted lasers reach along their beams, and by scatter. [m]
    """
    found = []
    for one in case.assumed:
        laser, key = case.laser[int(one.place[1])].name, str(one.place[-1])
        known = None
        if one.usual and key in _MARKS:
            usual = float(_MARKS[key].number(one.usual, key))
            lens = key in ("setup", "focal_length")
            kept = [
                [
                    c for c in same if not lens or c.laser.name != laser
                    or (c.setup.kind == "lens" and float(c.setup.focal_length) == usual)
                ]
                for same in corners
            ]  # fmt: skip
            known = reach_of(case, kept, ways, NO_CHANGES if lens else {laser: {key: usual}})
        found.append(Assumption(key, laser, one.value, one.usual, far, known))
    if not case.surface and not case.settings.surfaces_complete:
        matt = {laser.name: {"reflectance": MATT} for laser in case.laser}
        known = reach_of(case, corners[:1], ("scatter",), matt)
        found.append(Assumption("surface", "", "1", f"{MATT:.0%}", near, known))
    if not case.barrier:
        found.append(Assumption("barrier", "", "", "", far, near))
    if not any(person.eyewear for person in case.person):
        found.append(Assumption("eyewear", "", "", "", None, None))
    return tuple(sorted(found, key=lambda one: one.gain, reverse=True))


def gain_of(
    one: Assumption, headline: float | None, wording: Wording, metres: Callable[[float], str]
) -> dict[str, str] | None:
    """Return what a distance is and what it could become when an assumption is stated; None where nothing is won.

    Where the headline lies farther out, because of the place, the distance is called that along the beam.
    """
    if one.known is None or one.now is None or not 0.0 < one.gain < math.inf:
        return None
    now, known = metres(one.now), metres(one.known)
    if now == known:
        return None
    beam = one.what != "surface" and now != metres(badness(headline if headline is not None else math.nan))
    said = wording.text("assumed.along_the_beam", distance=now) if beam else now
    return {"laser": one.laser, "now": said, "known": known, "usual": one.usual}


def assumption_sentence(one: Assumption, headline: float, wording: Wording, metres: Callable[[float], str]) -> str:
    """Return what is assumed, and what stating it could bring where that is known."""
    text = wording.text
    value = text("assumed.usual_lenses", lenses=one.value) if one.what in ("setup", "focal_length") else one.value
    words = {"what": wording.input_name(one.what), "laser": one.laser, "value": value}
    said = text(f"assumed.{one.what}" if not one.laser else "assumed.value", **words)
    gain = gain_of(one, headline, wording, metres)
    if gain is None:
        return said
    return text("assumed.with_gain" if one.usual else "assumed.with_gain_plain", said=said, **gain)


def unstated_sentence(case: Case, wording: Wording) -> tuple[str, ...]:
    """Return why nobody can sign a case that does not say who, where and when; nothing where it does."""
    fields = [wording.texts.get(f"unstated.{name}", name) for name in case.unstated]
    return (wording.text("unstated.sentence", fields=", ".join(fields)),) if fields else ()


def starter_sentence(found: Sequence[StarterValue], wording: Wording) -> tuple[str, ...]:
    """Return why nobody can sign a case with values of a starter case, nothing where there are none."""
    parts = []
    for kind in dict.fromkeys(one.kind for one in found):
        names = list(dict.fromkeys(one.name for one in found if one.kind == kind))
        more = len(names) - MOST
        listed = ", ".join(f"'{name}'" for name in names[:MOST])
        listed = wording.text("starter.more", names=listed, count=more) if more > 0 else listed
        parts.append(wording.text(f"starter.{kind}", names=listed))
    starters = ", ".join(dict.fromkeys(one.starter for one in found if one.starter))
    key = "starter.sentence" if starters else "starter.marked"
    return (wording.text(key, starters=starters, what="; ".join(parts)),) if parts else ()
