"""A scanned beam in an assessment: running, stopped, and stopped for the reaction time of a cut-off."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import product

from lasersafe.assessment.calculation import limit_steps
from lasersafe.assessment.context import TISSUES, Context, setting_words
from lasersafe.hazard import scanning
from lasersafe.hazard.distances import direct_reach, highest_ratio, worst_place
from lasersafe.hazard.exposure import Emission, compare
from lasersafe.hazard.settings import SettingSpace
from lasersafe.models import Person, Setup
from lasersafe.optics.viewing import ScanPattern
from lasersafe.quantity import format_quantity
from lasersafe.records import ScanPlace, ScanResult, Step, badness
from lasersafe.results import Scenario
from lasersafe.wording import Message, joined, word

DERIVED = "docs/method.md, Scanned beams"


def pattern_words(setup: Setup) -> str:
    """Return the pattern of a set-up in words."""
    scan = setup.scan
    assert scan is not None
    size = scan.full_angle.typed if scan.full_angle is not None else ""
    if scan.full_width is not None and scan.width_at is not None:
        size = Message("scan.size_at", size=scan.full_width.typed, place=scan.width_at.typed)
    lines = [Message("scan.lines", count=scan.lines)] if scan.lines else []
    wave = [word(scan.waveform)] if scan.pattern in ("line", "raster") else []
    return joined([word(scan.pattern), size, scan.frequency.typed, *lines, *wave], ", ")


def _scan(context: Context, rule_set: str, tissue: str, duration: float) -> scanning.Scan:
    """Return the scanned beam of a set-up with something that moves it, as a rule set judges it."""
    setup, scan = context.setup, context.setup.scan
    assert scan is not None
    reference, fans_out = None, scan.fans_out
    if scan.full_width is not None:
        width, reference = scan.full_width.pair, None if scan.width_at is None else float(scan.width_at)
    else:
        assert scan.full_angle is not None
        width = scan.full_angle.pair
        if setup.kind == "lens":  # the lens turns the angle into a width at its focus
            reference, fans_out = float(setup.focal_length), False
            width = width[0] * reference, width[1] * reference
    lines = scan.lines or 1
    pitch = width[1] / (lines - 1) if lines > 1 else width[1]
    pattern = ScanPattern(scan.pattern, width, float(scan.frequency), scan.waveform, reference, fans_out, lines, pitch)
    return scanning.Scan(rule_set, tissue, context.beam, context.wavelength, duration, pattern, *context.may_differ)


@lru_cache(maxsize=1024)  # the beam and its reflection ask the same
def _highest(
    scan: scanning.Scan, space: SettingSpace, standing: tuple[Emission, ...], distance: float
) -> tuple[scanning.ScanFinding, float, Emission]:
    """Return the highest finding at or beyond a distance, its place and its setting."""
    tried, place = dict[Emission, tuple[float, float, float]](), distance
    while more := [one for one in scanning.worst_running(scan, space, standing, place) if one not in tried]:
        tried |= {one: scanning.highest_onward(scan, one, distance) for one in more}
        emission = max(tried, key=lambda one: badness(tried[one][0]))
        _, place, step = tried[emission]
    return scanning.scan_finding(replace(scan, step=step), emission, place), place, emission


def _finding(
    scan: scanning.Scan, context: Context, distance: float, factor: float = 1.0
) -> tuple[scanning.ScanFinding, float, Emission]:
    """Return the same for a set-up, with the reflectance on the way."""
    standing = context.emissions(scan.tissue, scan.duration)
    found, place, emission = _highest(scan, context.space, standing, distance)
    return replace(found, ratio=found.ratio * factor, exposure=found.exposure * factor), place, emission


def _lasting(context: Context) -> float | None:
    """Return how long the stopped beam lasts until a monitored cut-off ends it, at least one pulse, or None. [s]."""
    scan = context.setup.scan
    if scan is None or not scan.monitored or scan.reaction_time is None:
        return None
    longest = max(one.space.longest_pulse for one in context.every.values())
    return max(float(scan.reaction_time), 1e-9, longest)


def _running(context: Context, person: Person, stopped: Scenario, factor: float, credited: bool) -> Scenario:
    every = {
        name: [
            _finding(_scan(one, name, stopped.tissue, stopped.duration), one, float(person.distance), factor)
            for one in context.every.values()
        ]
        for name in context.rule_sets
    }
    sums = {name: math.fsum(one.ratio for one, _, _ in found) for name, found in every.items()}  # of all wavelengths
    rule_set = max(sums, key=lambda name: badness(sums[name]))
    ratio, (finding, place, setting) = sums[rule_set], every[rule_set][0]
    c, own, unit = finding.criterion, finding.light.emission, finding.criterion.limit_unit
    c = replace(c, steps=limit_steps(c, finding.light))
    counted = Message("scan.counted" if credited else "scan.not_counted")
    pattern = Message("scan.at", pattern=pattern_words(context.setup), place=f"{place:.5g} m")
    passes = Message("scan.passes_numbers", pulses=f"{finding.pulses:.5g}", passes=f"{finding.passes:.5g}")
    compared = Message("scan.ratio_meaning", train=word(c.note), rule=word(c.rule))
    numbers = " + ".join(
        f"{one.exposure:.5g} / {one.criterion.limit:.5g} {one.criterion.limit_unit}" for one, _, _ in every[rule_set]
    )
    steps = [
        Step("t_pass", Message("scan.stay_meaning"), Message("scan.stay_formula"), pattern, finding.pass_time, "s",
             DERIVED, "own"),
        Step("n", Message("scan.passes_meaning"), "1 + t_pass · rate; 1 + t · frequency", passes,
             max(finding.pulses, 1.0), "1", DERIVED, "own"),
        Step("H/H_limit", compared, "H / H_limit", numbers, ratio, "1", f"{rule_set}: {c.source}", "own"),
    ]  # fmt: skip
    if not finding.standing:  # one pulse of the train that stands for the passes
        pulsed = bool(finding.pulses)
        part = own.pulse_energy / setting.pulse_energy if pulsed else own.pulse_duration
        put_in = f"{finding.exposure / part:.5g} {'J/m2' if pulsed else 'W/m2'} · {part:.5g}{'' if pulsed else ' s'}"
        formula = Message("scan.pulses_formula") if pulsed else "E · t_pass"
        steps.insert(2, Step("H", Message("step.exposure"), formula, put_in, finding.exposure, unit, DERIVED, "own"))
    exposure = ratio * c.limit
    return replace(
        stopped, exposure=exposure, exposure_unit=unit, ratio=ratio, below=bool(ratio <= 1.0), criterion=c,
        ratio_by_rule_set=sums, fractions={}, steps=tuple(steps), shares=(),
        surface=joined(filter(None, (stopped.surface, counted))), limit=c.limit,
    )  # fmt: skip


def with_scan(
    context: Context, person: Person, way: str, tissue: str, again: Callable[[Person, str, str], Scenario]
) -> list[Scenario]:
    """Return the scenarios of a person on one way with the scan stopped and running; one where nothing moves the beam.

    Without credit the stopped beam lasts as long as the exposure; with a cut-off that earns credit, its reaction time.
    Scatter from the work is taken from the standing spot.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    person : Person
        Whose scenarios they are.
    way : str
        ``direct``, ``mirror`` or ``scatter``.
    tissue : str
        ``eye`` or ``skin``.
    again : callable
        Takes a person, way and tissue and returns the scenario of the beam that stands still.
    """
    still = again(person, way, tissue)
    if context.setup.scan is None or way == "scatter":
        return [still]

    def stopped(one: Scenario, words: Message) -> Scenario:
        return replace(one, modes=("scan failure",), surface=joined(filter(None, (one.surface, words))))

    if person.aided and tissue == "eye":  # a wide objective holds the spot for longer
        return [stopped(still, Message("scan.aids"))]
    factor, time, failure = context.share(way)[0], _lasting(context), still
    credited, reason = False, Message("scan.no_cut_off")
    if time is not None:  # the stopped beam for the reaction time has to be below the limit
        ratios = [
            max((float(highest_ratio(compare(light), one.beam, float(person.distance), factor))
                 for light in one.received(tissue, time)), key=badness)
            for one in context.every.values()
        ]  # fmt: skip
        credited = bool(math.fsum(ratios) <= 1.0)
        above = "scan.all_above" if len(ratios) > 1 else "scan.above"
        reason = Message("scan.below" if credited else above, time=f"{time:g} s")
    if credited:
        lasting = {"time": time, "time_reason": Message("scan.reaction_time")}
        failure = again(person.model_copy(update=lasting), way, tissue)
    words = Message("scan.stopped", why=reason)
    return [stopped(failure, words), _running(context, person, still, factor, credited)]


def _place(context: Context, rule_set: str, tissue: str, duration: float, distance: float) -> ScanPlace:
    found, _, emission = _finding(_scan(context, rule_set, tissue, duration), context, distance)
    sentence = Message("scan.too_narrow")
    if not found.standing:
        longest = format_quantity(found.pass_time, "s", 3, "up")
        stay = Message("scan.stay_pulses" if found.pulses else "scan.stay", stay=longest, pulses=f"{found.pulses:.4g}")
        sentence = Message(
            "scan.decides", stay=stay, passes=f"{found.passes:.4g}", rule=word(found.criterion.rule), set=rule_set,
            hazard=word(found.criterion.hazard), train=word(found.criterion.note),
        )  # fmt: skip
        if context.space.adjustable:
            sentence = Message("scan.with_setting", sentence=sentence, setting=setting_words(emission))
    return ScanPlace(distance, found.pass_time, found.pulses, found.passes, found.ratio, found.standing, sentence)


def scan_results(found: Sequence[Context]) -> Iterator[ScanResult]:
    """Yield how far each scanned beam reaches while it runs, stopped, and for the reaction time, for eye and skin."""
    for context, tissue in product(found, TISSUES):
        stated = context.setup.scan
        if stated is None:
            continue
        lasts, (duration, _), names = _lasting(context), context.duration("direct"), context.rule_sets
        standing = context.emissions(tissue, duration)
        nearest = {float(p.distance) for p in context.case.person if p.laser in (None, context.laser.name)}
        meeting = tuple(sorted({place for near in nearest for place in worst_place(context.beam, near)}))
        running = {
            name: scanning.scan_reach(_scan(context, name, tissue, duration), context.space, standing, meeting)
            for name in names
        }  # fmt: skip
        places = tuple(
            max((_place(context, name, tissue, duration, far) for name in names), key=lambda one: badness(one.ratio))
            for far in sorted({float(person.distance) for person in context.persons})
        )
        # of the stopped beam, for the exposure and until it is cut off, under any rule set
        stopped, *cut = (
            max(direct_reach(light, context.beam).distance for light in context.received(tissue, time))
            for time in (duration, lasts) if time is not None
        )  # fmt: skip
        time = None if stated.reaction_time is None else float(stated.reaction_time)
        words = Message("scan.no_credit")
        if cut:
            shown = {"distance": format_quantity(cut[0], "m", 3, "up"), "time": format_quantity(time or 0.0, "s", 3)}
            words = Message("scan.counts_beyond", **shown)
        yield ScanResult(
            laser=context.laser.name, setup=context.setup.name, fitted=context.setup.fitted, tissue=tissue,
            pattern=pattern_words(context.setup), duration=duration, running=max(running.values()), stopped=stopped,
            reaction_time=time, reaction=cut[0] if cut else None, running_by_rule_set=running, places=places,
            credit=words,
        )  # fmt: skip
