"""Adjustable settings, class on the label, ultraviolet doses over a day, and all that only the pages print."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product
from typing import Any, NamedTuple, cast

from lasersafe import records
from lasersafe.assessment.context import BASE_WAY, FAULTS, GLOWING, TISSUES, Context, aid_of, setting_words
from lasersafe.assessment.protection import CaseResults
from lasersafe.assessment.scans import scan_results
from lasersafe.assessment.scenarios import Look, fed_by, looks_of, module_results, source_of
from lasersafe.assessment.setups import sum_results
from lasersafe.hazard.combine import BANDS, Visit, day_doses, is_ultraviolet
from lasersafe.hazard.exposure import criteria
from lasersafe.hazard.other_rules import class_check
from lasersafe.hazard.settings import KnobChange, emission_ratio, extreme_settings, knob_changes
from lasersafe.models import Person
from lasersafe.quantity import format_quantity
from lasersafe.records import CLASS_ORDER, Criterion, Step, UltravioletDay, badness
from lasersafe.results import Scenario
from lasersafe.wording import Message, word

_UNITS = {"power": "W", "pulse_energy": "J", "pulse_duration": "s", "repetition_rate": "Hz", "burst_spacing": "s"}
_NAMES = {"power": "mean power", "burst_pulses": "pulses in a burst", "burst_spacing": "spacing in the burst"}


def _effect(change: KnobChange) -> records.KnobEffect:
    knob, words = change.knob, setting_words(change.emission)
    if knob == "mode":
        return records.KnobEffect("mode", change.name, "without this mode", change.ratio, words)

    def shown(value: float) -> str:
        if knob in _UNITS:
            return format_quantity(value, _UNITS[knob], 4)
        return f"{value * 100.0:.4g} %" if knob == "duty" else f"{value:.6g}"

    then = Message("knob.half", value=shown(change.then)) if change.halved else shown(change.then)
    name = "power" if change.emission.kind == "continuous" else _NAMES.get(knob, knob.replace("_", " "))
    return records.KnobEffect(name, shown(change.now), then, change.ratio, words)


def setting_reports(found: Sequence[Context]) -> Iterator[records.SettingReport]:
    """Yield the worst setting of each pulsed or adjustable laser, every rule, and what each knob brings."""
    for context, tissue in product(found, TISSUES):
        if not context.setup.fitted or (context.space.kind == "continuous" and not context.space.adjustable):
            continue
        duration, _ = context.duration("direct")
        emission, *others = context.emissions(tissue, duration)
        ratio, deciding = emission_ratio(context.rule_sets, tissue, emission, context.wavelength, duration)
        changes: tuple[KnobChange, ...] = ()
        if context.space.adjustable:
            changes = knob_changes(context.space, context.rule_sets, tissue, context.wavelength, duration)
        window = deciding.note.values["time"] if isinstance(deciding.note, Message) else f"{duration:g} s"
        sentence = Message(
            "because.sentence", set=deciding.rule_set, rule=word(deciding.rule), hazard=word(deciding.hazard),
            why=Message(f"because.{deciding.rule.replace(' ', '_')}", window=window),
        )  # fmt: skip
        strictest: dict[tuple[str, ...], Criterion] = {}  # of the windows of one rule, over several apertures
        for c in (c for one in context.received(tissue, duration) if one.emission == emission for c in criteria(one)):
            key = (c.rule_set, c.rule, c.hazard, "" if c.rule == "mean" else c.note)
            strictest[key] = min(strictest.get(key, c), c, key=lambda c: (c.limit, c != deciding))
        highest = deciding.amount / deciding.limit
        rules = (
            records.RuleLine(
                c.rule_set, c.rule, c.hazard, c.limit, c.limit_unit, c.limiting_aperture, c.amount / c.limit / highest,
                c == deciding, c.note, c.source, c.seen,
            )
            for c in strictest.values()
        )  # fmt: skip
        yield records.SettingReport(
            laser=context.laser.name, tissue=tissue, ratio=ratio, duration=duration, setting=setting_words(emission),
            sentence=sentence, rules=tuple(rules), effects=tuple(map(_effect, changes)),
            others=tuple(map(setting_words, others)),
        )  # fmt: skip


def class_checks(found: Sequence[Context]) -> Iterator[records.ClassCheck]:
    """Yield, for each fitted set-up, the class that the computed emission would fall into, next to the label.

    Of several wavelengths, each alone, and corners of the tolerances the highest class counts, and above all one that
    the label is lower than; a corner without figures leaves the label unchecked.
    """
    for context in (one for one in found if one.setup.fitted):
        label = context.laser.class_label
        every = []
        for own in context.every.values():
            extremes = [*own.emissions("eye", own.duration("direct")[0])]  # in which a class can be highest
            extremes += extreme_settings(own.space) if own.space.adjustable else []
            several = tuple(dict.fromkeys(extremes))
            every.append(class_check(several, own.beam, own.wavelength, label, bool(context.laser.line)))
        check = max(every, key=lambda one: (one.label_is_lower, one.computed == "4", CLASS_ORDER.index(one.computed)))
        yield replace(check, laser=context.laser.name, setup=context.setup.name)


# the fields of an assessment that no verdict depends on, and what yields them
PRINTED: dict[str, Callable[[Sequence[Context]], Iterable[Any]]] = {
    "class_checks": class_checks, "scans": scan_results, "sums": sum_results, "modules": module_results,
    "settings": setting_reports,
}  # fmt: skip


def _visits(worked: CaseResults, name: str, tissue: str) -> tuple[list[Visit], list[Message]]:
    """Return the ultraviolet exposures of a person, with what eyewear lets through, and words on what is stopped."""
    visits: list[Visit] = []
    stopped: list[Message] = []
    every = (one for own in worked.found if own.setup.fitted for one in own.every.values())
    ultraviolet = [one for one in every if is_ultraviolet(one.wavelength)]
    for context, person in ((one, who) for one in ultraviolet for who in one.persons if who.name == name):
        laser = context.laser.name
        for visit in (one for one in person.visits if one.laser in (None, laser)):
            facts = {"laser": laser, "way": word(visit.way), "time": visit.time.typed, "note": visit.note}
            words = Message("dose.visit_note" if visit.note else "dose.visit", **facts)
            there = (name, laser, context.setup.name, visit.way)
            here = [
                s for s in worked.scenarios
                if GLOWING not in s.modes and s.way not in FAULTS and not (s.placed and "running" not in s.modes)
                and (s.person, s.laser, s.setup, BASE_WAY.get(s.way)) == there
            ]  # fmt: skip
            own = [(worked.passes(s), s) for s in here if (s.way, s.tissue) == (visit.way, tissue)]
            share, row = max(own, key=lambda one: one[0], default=(1.0, None))
            sent, least = str(visit.way), 1.0
            others = [s for s in here if s.way != visit.way and worked.passes(s) > 0.0] if not share > 0.0 else []
            for other in sorted(others, key=lambda one: badness(one.ratio)):  # which counts as its row says
                share, row = worked.passes(other) if other.tissue == tissue else 1.0, other
                sent, least = other.way, 0.0 if other.placed else 1.0
            # neither a strike-out nor a barrier nor eyewear answers an extended source
            glowing = [s for s in worked.scenarios if GLOWING in s.modes and s.way == visit.way and s.tissue == tissue]
            glowing = [s for s in glowing if (s.person, s.laser, s.setup) == there[:3]]
            if row is not None and share < 1.0 and not glowing:
                kind, answer = "let_through" if share > 0.0 else "not_counted", row.answer or row.struck_out
                number = round(-math.log10(share)) if share > 0.0 else 0
                words = Message(f"dose.{kind}", visit=words, answer=answer, number=number)
            if not share > 0.0 and not glowing:
                stopped.append(words)
                continue
            time = float(visit.time)
            looks = looks_of(context, person, visit.way, tissue, context.share(sent)[0])
            bare = [replace(one, through=None) for one in looks]  # as the rows of scatter in a scene are
            glow = _SourcesSeen(context, person, tissue, min((s.distance for s in glowing), default=math.inf))
            key = (context, looks, share * _nearer(context, bare, here, least) if share > 0.0 else 0.0, glow)
            visits.append(Visit(context.wavelength, context.space.energy_in(time) / time, time, words, key))
    return visits, stopped


class _SourcesSeen(NamedTuple):
    """The extended sources of a laser, as a person sees them from a distance [m], infinite where none is seen."""

    context: Context
    person: Person
    tissue: str
    distance: float

    def exposure(self, criterion: Criterion) -> float:
        """Return what comes of the brightest of them, through an instrument where one is used."""
        if not self.distance < math.inf:
            return 0.0
        hole, gain = criterion.limiting_aperture, 1.0
        if self.person.aided and self.tissue == "eye":
            gain = max(gain, aid_of(self.person).gain(self.context.wavelength, hole))
        each = (source_of(one).exposure_per_amount(self.distance, hole) for one in fed_by(self.context))
        return gain * criterion.amount * max(map(float, each))


def _nearer(context: Context, looks: Sequence[Look], here: Iterable[Scenario], least: float) -> float:
    """Return how many times as much the places of a scene give on a way as its distances do, so much at least.

    Of both tissues: that which is less at risk has no row of its own.
    """
    found = [least]
    for one in here:
        if one.placed and not one.struck_out:
            by_distance = max(look.seen(context, one.criterion)[0] for look in looks)
            found.append(one.exposure / by_distance if by_distance > 0.0 else math.inf)
    return max(found, key=badness)


def ultraviolet_days(worked: CaseResults) -> Iterator[UltravioletDay]:
    """Yield the doses of the day of every person with visits, for eye and skin, summed over all ways and lasers."""
    found = worked.found

    def exposure(visit: Visit, criterion: Criterion) -> float:
        context, looks, nearer, glow = cast("tuple[Context, list[Look], float, _SourcesSeen]", visit.key)
        return max(nearer * max(look.seen(context, criterion)[0] for look in looks), glow.exposure(criterion))

    for person, tissue in product((one for one in found[0].case.person if one.visits), TISSUES):
        visits, stopped = _visits(worked, person.name, tissue)
        by_set = {name: day_doses(name, tissue, visits, exposure) for name in found[0].rule_sets}
        for _, _, band in BANDS:
            own = {name: day for name, doses in by_set.items() for day in doses if day.band == band}
            if not own:
                continue
            worst = max(own.values(), key=lambda day: badness(day.ratio))
            c = worst.criterion
            doses = ((words, format_quantity(dose, "J/m2", 3, "up")) for words, dose, *_ in worst.doses)
            seen = (Message("dose.of_visit", visit=words, dose=dose) for words, dose in doses)
            steps = [
                Step(
                    "H_i/H_limit", Message("dose.step", visit=words), "E · t / H_limit",
                    f"{dose:.5g} / {limit:.5g} J/m2", ratio, "1", f"{c.rule_set}: {c.source}", c.seen,
                )
                for words, dose, limit, ratio in worst.doses
            ]  # fmt: skip
            meaning = Message("dose.sum", band=band, hazard=word(c.hazard), time=f"{c.duration:g} s")
            numbers, rule = " + ".join(f"{ratio:.4g}" for *_, ratio in worst.doses), Message("dose.rule")
            total = Step("Σ", meaning, "Σ H_i / H_limit <= 1", numbers, worst.ratio, "1", rule, "read")
            yield UltravioletDay(
                person=person.name, tissue=tissue, band=band, ratio=worst.ratio, below=bool(worst.ratio <= 1.0),
                rule=rule, rule_set=c.rule_set, visits=(*seen, *stopped), steps=(*steps, total),
                ratio_by_rule_set={name: day.ratio for name, day in own.items()},
            )  # fmt: skip
