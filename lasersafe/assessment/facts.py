"""What a sheet carries for the day: area, facts of the lasers, acceptance test, findings on controls."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.acceptance import expected_of, judged
from lasersafe.assessment.context import kinds_of_light
from lasersafe.assessment.lines import line_contexts
from lasersafe.hazard.eyewear import corner_emissions, covering
from lasersafe.models import starter_values
from lasersafe.records.barriers import BarrierLine
from lasersafe.records.day import Assumption
from lasersafe.results import (
    BarrierResult,
    BeamFacts,
    ControlFinding,
    Expected,
    EyewearNeed,
    LaserFacts,
    Record,
    Scenario,
    StarterValue,
)

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Case, Laser
    from lasersafe.wording import Wording


Span = tuple[float, float]
_MOST = 3  # values of a starter case named of each kind on the first page; `check` names all


def area_of_case(case: Case) -> dict[str, str]:
    """Return the fields of ``[area]`` as typed, empty where nothing is stated."""
    found = {}
    for name in type(case.area).model_fields:
        value = getattr(case.area, name)
        found[name] = ", ".join(value) if isinstance(value, tuple) else str(value)
    return found


def laser_facts(
    corners: Sequence[Sequence[Context]], typed: Case, eyewear: list[EyewearNeed]
) -> tuple[LaserFacts, ...]:
    """Return each laser of the case with the beams of its set-ups; its wavelengths are those of the case as typed.

    Ranges of the emission are those of all corners of the tolerances; the beams are those of the leading one.
    """
    lasers = {laser.name: laser for laser in typed.laser}
    facts: dict[str, LaserFacts] = {}
    for same in zip(*corners, strict=True):
        context = same[0]
        laser, beam = context.laser, context.beam
        known = facts.get(laser.name)
        own = BeamFacts(
            context.setup.name,
            context.setup.fitted,
            context.setup.kind,
            beam.profile,
            beam.waist_diameter,
            beam.waist_position,
            beam.divergence,
        )
        worn, *others = _by_line(eyewear, laser)
        found = _light(same, laser.name, float(lasers[laser.name].wavelength), worn)
        lines = zip(*(line_contexts(one).values() for one in same), strict=True)
        facts[laser.name] = replace(
            found,
            beams=(*(known.beams if known else ()), own),
            lines=tuple(
                _light(of_line, line.name, float(line.wavelength), own_worn)
                for line, of_line, own_worn in zip(lasers[laser.name].line, lines, others, strict=True)
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
    power, energy, duration, rate = map(_hull, zip(*map(_spans, same), strict=True))
    return LaserFacts(
        name, laser.class_label, laser.serial, wavelength, laser.handheld, space.kind, power, energy, duration, rate,
        (), seen, worn,
    )  # fmt: skip


def _spans(context: Context) -> tuple[Span | None, Span | None, Span | None, Span | None]:
    """Return the ranges of mean power, pulse energy, pulse duration and repetition rate that a laser can show."""
    space = context.space
    if space.kind in ("continuous", "single pulse", "pulse train"):
        highest = space.highest_mean_power
        if highest is not None and (space.pedestal or space.burst_pulses):
            low = highest if space.power is None else space.power[0] + space.pedestal
            return (low, highest), space.pulse_energy, space.pulse_duration, space.repetition_rate
        return space.power, space.pulse_energy, space.pulse_duration, space.repetition_rate
    worst = context.emission("eye", context.duration("direct")[0])
    every = corner_emissions(space, worst, context.wavelength)
    pulses = [(energy, duration) for e in every for _, duration, energy in e.pulses]
    energies = [e.pulse_energy for e in every] + [energy for energy, _ in pulses]
    durations = [e.pulse_duration for e in every] + [duration for _, duration in pulses]
    rates = [e.repetition_rate for e in every]
    return _span([e.power for e in every]), _span(energies), _span(durations), _span(rates)


def _hull(spans: tuple[Span | None, ...]) -> Span | None:
    known = [span for span in spans if span is not None]
    return (min(low for low, _ in known), max(high for _, high in known)) if known else None


def _span(values: list[float]) -> Span | None:
    known = [value for value in values if value > 0.0]
    return (min(known), max(known)) if known else None


def record_of(
    typed: Case,
    case: Case,
    corners: Sequence[Sequence[Context]],
    scenarios: list[Scenario],
    eyewear: list[EyewearNeed],
    barriers: list[BarrierResult],
    words: set[str],
    findings: tuple[ControlFinding, ...],
    assumptions: tuple[Assumption, ...],
    lines: Sequence[BarrierLine],
) -> Record:
    """Return the record of a case.

    Parameters
    ----------
    typed, case : Case
        As typed, and at the leading corner of its tolerances.
    corners : sequence of sequence of Context
        The set-ups at every corner.
    scenarios, eyewear, barriers : list
        The worst of all corners.
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
    rows: tuple[Expected, ...] = judged(case, expected_of(corners, scenarios, eyewear, barriers, lines))
    return Record(
        conditions=tuple(sorted(words)),
        area=area_of_case(case),
        lasers=laser_facts(corners, typed, eyewear),
        expected=rows,
        findings=findings,
        review_by=case.review_by.isoformat() if case.review_by else "",
        starter_values=starter_values(typed),
        assumptions=assumptions,
        unstated=typed.unstated,
    )


def starter_sentence(found: Sequence[StarterValue], wording: Wording) -> tuple[str, ...]:
    """Return why nobody can sign a case with values of a starter case, nothing where there are none."""
    parts = []
    for kind in dict.fromkeys(one.kind for one in found):
        names = list(dict.fromkeys(one.name for one in found if one.kind == kind))
        more = len(names) - _MOST
        listed = ", ".join(f"'{name}'" for name in names[:_MOST])
        listed = wording.text("starter.more", names=listed, count=more) if more > 0 else listed
        parts.append(wording.text(f"starter.{kind}", names=listed))
    starters = ", ".join(dict.fromkeys(one.starter for one in found if one.starter))
    key = "starter.sentence" if starters else "starter.marked"
    return (wording.text(key, starters=starters, what="; ".join(parts)),) if parts else ()
