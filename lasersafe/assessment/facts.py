"""What a sheet carries for the day: area, facts of the lasers, acceptance test, and what the case leaves open."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from lasersafe.assessment.barriers import falls_on, load_of
from lasersafe.assessment.context import FAULTS, GLOWING, MORE_WAYS, WAYS, Context, kinds_of_light
from lasersafe.assessment.setups import NO_CHANGES, beam_ways, reach_together
from lasersafe.errors import CaseError, Fault
from lasersafe.hazard.eyewear import corner_emissions, covering
from lasersafe.hazard.marking import round_up_density
from lasersafe.hazard.scatter import CLOSEST_VIEW
from lasersafe.models import Case, starter_values
from lasersafe.models.laser import DIAMETER, DIVERGENCE, FOCAL_LENGTH
from lasersafe.optics.beam import diameters, fraction_through, peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.quantity import shown
from lasersafe.records import EyewearNeed, badness, grouped, over
from lasersafe.results import Assumption, BeamFacts, ControlFinding, Expected, LaserFacts, ReadingResult, Record
from lasersafe.wording import Message, Wording, joined, word

if TYPE_CHECKING:
    from lasersafe.assessment.protection import CaseResults
    from lasersafe.hazard.exposure import Emission
    from lasersafe.records.scene import BarrierLine
    from lasersafe.results import Scenario

Span = tuple[float, float]
MATT = 0.3  # reflectance of a matt surface that an answer names as an example; common practice, no source
MOST = 3  # named on the first page and in the short answer; of a starter case `check` names all
_MARKS = {"divergence": DIVERGENCE, "beam_diameter": DIAMETER, "focal_length": FOCAL_LENGTH, "setup": FOCAL_LENGTH}
APERTURE = 7e-3  # m; the detector looks through the aperture that the eye limits are averaged over
LOW_SHARE = 0.5  # own rule: below half of what was computed, the meter may have missed the beam


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
    corners, lasers = [one.found for one in worked.each], []
    for stated in typed.laser:  # its wavelengths are those of the case as typed, its beams those of the leading corner
        mine = [same for same in zip(*corners, strict=True) if same[0].laser.name == stated.name]
        beams = (
            BeamFacts(one.setup.name, one.setup.fitted, one.setup.kind, one.beam.profile, one.beam.waist_diameter,
                      one.beam.waist_position, one.beam.divergence)
            for one, *_ in mine
        )  # fmt: skip
        waves = [(stated.name, float(stated.wavelength)), *((one.name, float(one.wavelength)) for one in stated.line)]
        worn = [need for need in worked.eyewear if need.laser == stated.name]  # of one person in the order of the waves
        each = zip(waves, zip(*(one.every.values() for one in mine[0]), strict=True), strict=True)
        main, *further = (_light(own, *wave, worn[number :: len(waves)]) for number, (wave, own) in enumerate(each))
        lasers.append(replace(main, beams=tuple(beams), lines=tuple(further)))
    area = {name: getattr(worked.case.area, name) for name in type(worked.case.area).model_fields}
    kinds: dict[Hashable, list[Sequence[Context]]] = {}
    for found in corners:
        light = [(c.wavelength, *(float(line.wavelength) for line in c.laser.line), c.space) for c in found]
        kinds.setdefault(tuple(light), []).append(found)

    def rows(found: Sequence[Context]) -> list[Expected]:
        return [row for context in found if context.setup.fitted for row in _rows(context, worked, lines)]

    # a reading stands against the most that its own light can show, so of several corners the highest value counts; of
    # several wavelengths or pulse patterns, which have limits of their own, the lowest of these
    groups = grouped([over(same, rows) for same in kinds.values()])
    lowest = (min(group, key=lambda row: -badness(-row.value)) for group in groups)
    expected = tuple(replace(row, key=f"A{number}") for number, row in enumerate(lowest, 1))
    return Record(
        conditions=tuple(sorted(words)),
        area={name: ", ".join(value) if isinstance(value, tuple) else str(value) for name, value in area.items()},
        lasers=tuple(lasers),
        expected=judged(worked.case, expected),
        findings=findings,
        review_by=worked.case.review_by.isoformat() if worked.case.review_by else "",
        starter_values=starter_values(typed),
        assumptions=assumptions,
        unstated=typed.unstated,
    )


# --- lasers ---------------------------------------------------------------------------------------------------------


def _light(same: Sequence[Context], name: str, wavelength: float, worn: list[EyewearNeed]) -> LaserFacts:
    """Return the facts of one wavelength, the same at every corner, and what eyewear covers everybody."""
    laser, kinds = same[0].laser, kinds_of_light(same)
    known = ([span for span in spans if span is not None] for spans in zip(*map(_spans, same), strict=True))
    power, energy, duration, rate = (
        (min(low for low, _ in some), max(high for _, high in some)) if some else None for some in known
    )
    return LaserFacts(
        name, laser.class_label, laser.serial, wavelength, laser.handheld, same[0].space.kind, power, energy, duration,
        rate, (), tuple(one for one in ("visible", "invisible") if one in kinds), covering(worn) if worn else None,
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


def assumptions_of(case: Case, corners: Sequence[Sequence[Context]], far: float, near: float) -> tuple[Assumption, ...]:
    """Return everything that a case leaves to the strictest assumption, with what costs most first.

    Parameters
    ----------
    case : Case
        As typed.
    corners : sequence of sequence of Context
        The set-ups at every corner of what is not known.
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
            changes = NO_CHANGES if lens else {laser: {key: usual}}
            known, _ = reach_together(kept, beam_ways(case), changes=changes)
        found.append(Assumption(key, laser, one.value, one.usual, far, known))
    if not case.surface and not case.settings.surfaces_complete:
        matt = {laser.name: {"reflectance": MATT} for laser in case.laser}
        known, _ = reach_together(corners[:1], ("scatter",), changes=matt)
        found.append(Assumption("surface", "", "1", f"{MATT:.0%}", near, known))
    if not case.barrier:
        found.append(Assumption("barrier", "", "", "", far, near))
    if not any(person.eyewear for person in case.person):
        found.append(Assumption("eyewear", "", "", "", None, None))
    return tuple(sorted(found, key=lambda one: one.gain, reverse=True))


def gain_of(
    one: Assumption, headline: float, wording: Wording, metres: Callable[[float], str]
) -> dict[str, str] | None:
    """Return what a distance is and what it could become when an assumption is stated; None where nothing is won.

    Where the headline lies farther out, because of the place, the distance is called that along the beam.
    """
    if one.known is None or one.now is None or not 0.0 < one.gain < math.inf:
        return None
    now, known = metres(one.now), metres(one.known)
    if now == known:
        return None
    beam = one.what != "surface" and now != metres(badness(headline))
    said = wording.text("assumed.along_the_beam", distance=now) if beam else now
    return {"laser": one.laser, "now": said, "known": known, "usual": one.usual}


def _row(
    context: Context, seen: tuple[str, str, str], length: float, shown: tuple[float, str], numbers: str,
    place: tuple[float, float, float] | None = None,
) -> Expected:  # fmt: skip
    """Return an expected reading: what is seen where on which way, how far off [m], what is shown and its unit."""
    value, unit = shown
    return Expected(
        "", context.laser.name, context.setup.name, *seen, length, value, LOW_SHARE * value, unit, numbers, place
    )


def patterns_of(context: Context) -> Sequence[Emission]:
    """Return the settings of a list of pulses or a table of modes; of what is stated by ranges none."""
    if context.space.kind in ("continuous", "single pulse", "pulse train"):
        return ()
    return corner_emissions(context.space, context.emission("eye", context.duration("direct")[0]), context.wavelength)


def _rows(context: Context, worked: CaseResults, lines: Sequence[BarrierLine]) -> Iterator[Expected]:
    """Return what a meter has to show at persons, behind their eyewear, and on barriers."""
    name = context.laser.name, context.setup.name
    at_rest: dict[tuple[str, str], Scenario] = {}  # of the eye, the worst of each person and way
    for s in worked.scenarios:
        mine = (s.laser, s.setup, s.tissue) == (*name, "eye") and not s.struck_out and GLOWING not in s.modes
        if mine and s.way not in FAULTS and (not s.placed or (s.way in WAYS and "running" in s.modes)):
            at_rest.setdefault((s.person, s.way), s)
    own = list(at_rest.values())
    yield from (row for s in own for row in _at_person(context, s))
    wearers = {n.person for n in worked.eyewear if n.verdict is not None and (n.laser, n.setup) == name}
    for s in own:
        if s.person in wearers and not s.below and math.isfinite(s.ratio):
            lasers, least = worked.sharing_limit(context, s)
            density = float(round_up_density(math.log10(s.ratio * lasers)))
            away, exposure, numbers = _where_read(context, s)
            through, part = exposure * 10.0**-density, f"{least:.5g} {s.exposure_unit} / {lasers}"
            numbers = f"{numbers} · 10^(-{density:g})" if through <= least / lasers else part
            value = min(through, least / lasers)
            yield _row(context, ("behind eyewear", s.person, s.way), away, (value, s.exposure_unit), numbers)
    stated = {barrier.name: float(barrier.distance) for barrier in context.case.barrier}
    for one in worked.barriers:  # where they are stated to be, or as aimed in the scene where that is less
        if (one.laser, one.setup) != name or one.way in FAULTS or not (one.asked and math.isfinite(one.irradiance)):
            continue
        sent = [(factor, far, name) for factor, far, _, name in _from(context, one.way, stated[one.barrier])]
        load, each = load_of(context, one.way, partial(falls_on, one.way, sent))
        if not each:
            continue
        numbers = joined([words for _, (_, words) in each], " + ")
        value, (length, _), place = load.irradiance, each[0][1], None
        drawn = (way for line in lines if line.name == one.barrier for way in line.ways)
        ways = [way for way in drawn if (way.laser, way.setup, way.way) == (*name, one.way)]
        aimed = [(way.aimed, way.aimed_place) for way in ways if way.aimed and way.aimed_place is not None]
        if ways and not aimed:
            continue  # no light comes there as aimed
        if aimed and aimed[0][0] < value:
            value, place = aimed[0]
            numbers = Message("reading.aimed", irradiance=f"{value:.5g} W/m2")
        yield _row(context, ("irradiance", one.barrier, one.way), length, (value, "W/m2"), numbers, place)


def _where_read(context: Context, scenario: Scenario) -> tuple[float, float, str]:
    """Return where the exposure of a scenario can be read [m], the exposure there [W/m2 or J/m2], and its numbers.

    A head that is held in the hand can come nearer than anybody holds a meter.
    """
    own, (person,) = scenario.criterion, (p for p in context.case.person if p.name == scenario.person)
    here, sent = (scenario.distance, scenario.exposure), f"{own.amount:.5g} {own.amount_unit}"
    away, from_work = (
        float(person.distance),
        None if person.distance_from_work is None else float(person.distance_from_work),
    )
    found: list[tuple[float, float, str]] = []
    if scenario.placed and scenario.way == "scatter":
        for factor, length, angle, _ in _from(context, scenario.way, away, from_work):
            lit = float(scatter_exposure(own.amount, factor, length, angle, context.case.settings.scatter_model))
            found.append((lit, length, f"{sent} · {factor:g} ({context.case.settings.scatter_model})"))
    elif scenario.placed:
        wide, factor = own.limiting_aperture, context.share(scenario.way)[0]
        share = factor * float(fraction_through(*diameters(context.beam, away), wide, context.beam.profile))
        area = math.pi * wide**2 / 4.0
        found.append((share * own.amount / area, away, f"{sent} · {share:.4g} / {area * 1e6:.4g} mm2"))
    exposure, length, numbers = max(found, default=(math.inf, 0.0, ""))
    if here[0] < length and exposure < here[1]:
        return length, exposure, f"{numbers} ({length:.5g} m)"
    return *here, f"{here[1]:.5g} {scenario.exposure_unit}"


def _from(
    context: Context, way: str, away: float, from_work: float | None = None
) -> list[tuple[float, float, float, str]]:
    """Return what sends light on a way: reflectance, shortest length [m] to a place, view angle [rad], name.

    The length of a beam is that along the folded path, of scatter that from the lit surface. What is listed stands
    where it was typed; where nothing is listed, or not where, a place is as far as the case says, or as near as counts.
    """
    if way == "direct" or way in MORE_WAYS:
        return [(context.share(way)[0], away, 0.0, "")]
    found = []
    stated = [one for one in context.scatterers if one.distance is not None]
    dull = context.case.settings.surfaces_complete and all(one.mirrored is None for one in stated)  # one is a mirror
    for one in stated or context.scatterers:
        apart = None if one.farthest is None else abs(away - one.farthest)
        if one.at_work and from_work is not None:
            apart = from_work
        if way == "scatter":
            length = CLOSEST_VIEW if apart is None else max(apart, 0.0 if apart == from_work else CLOSEST_VIEW)
            found.append((one.reflectance, length, one.view_angle, one.words))
            continue
        mirrored = one.reflectance if dull else one.mirrored
        if mirrored is not None and one.distance is not None and apart is not None:
            found.append((mirrored, max(one.distance + apart, away), 0.0, one.words))
    return found or [(context.share("mirror")[0], away, 0.0, "")]


def _at_person(context: Context, scenario: Scenario) -> Iterator[Expected]:
    (person,) = (one for one in context.case.person if one.name == scenario.person)
    area, model, away = math.pi * APERTURE**2 / 4.0, context.case.settings.scatter_model, float(person.distance)
    from_work = None if person.distance_from_work is None else float(person.distance_from_work)
    ways = _from(context, scenario.way, away, from_work)
    found: list[tuple[float, float, str, dict[str, str]]] = []  # share through the aperture, length [m], and in words
    here = {"share": f"{scenario.of_one:.4g}", "scenario": scenario.key}
    if scenario.way != "scatter":
        if scenario.placed:
            ways = [(context.share(scenario.way)[0], max(scenario.distance, away), 0.0, "")]
        for factor, length, _, _ in ways:
            share = float(fraction_through(*diameters(context.beam, length), APERTURE, context.beam.profile))
            most = _over_reading(context, factor, length, scenario.of_one, scenario.criterion.limiting_aperture)
            if scenario.placed and most * area < factor * share:  # beside the axis, or over a mirror that returns less
                found.append((most * area, length, "reading.placed", here | {"share": f"{most:.4g}"}))
                continue
            found.append((factor * share, length, "", {"how": f"{factor:g} · {share:.4g} (7 mm, {length:.5g} m)"}))
    elif scenario.placed and not scenario.distance < min(length for _, length, _, _ in ways):
        found.append((min(scenario.of_one * area, 1.0), scenario.distance, "reading.placed", here))
    else:
        for factor, length, angle, name in ways:
            there = min(float(scatter_exposure(1.0, factor, length, angle, model)) * area, 1.0)
            words = {"reflectance": f"{factor:g}", "surface": name, "model": word(model)}
            found.append((there, length, "reading.scatter", words))
    share, length, key, words = max(found, key=lambda one: badness(one[0]))
    space, every = context.space, patterns_of(context)
    power, energy = space.highest_mean_power or 0.0, 0.0
    if every:
        power, energy = max(e.power for e in every), max(e.pulse_energy for e in every)
    elif space.kind != "continuous":
        energy = space.caps[0] if space.repetition_rate is None else float(space.energy_at(space.repetition_rate[0]))

    def part(own: Context) -> float:
        """Return what a meter gets of a further wavelength, which may widen otherwise than the main beam. [1]."""
        inside = [fraction_through(*diameters(one.beam, length), APERTURE, one.beam.profile) for one in (own, context)]
        more = 1.0 if scenario.way == "scatter" else float(inside[0] / inside[1])
        return min(more, 1.0) if scenario.placed else more  # beside the axis a narrower one brings no more

    lines = [(own.space, part(own)) for own in context.every.values() if own is not context]
    powers = [power, *((own.highest_mean_power or 0.0) * seen for own, seen in lines)]
    energies = [energy, *(own.highest_pulse_energy * seen if energy > 0.0 else 0.0 for own, seen in lines)]
    for what, amounts, unit in (
        ("power", powers, "W"),
        ("pulse energy", energies, "J"),
    ):  # the most that a meter can show
        if not 0.0 < (amount := sum(amounts)) < math.inf:
            continue
        emitted, how = " + ".join(f"{one:.5g} {unit}" for one in amounts if one > 0.0), words.get("how")
        emitted = f"({emitted})" if " + " in emitted else emitted
        numbers = f"{emitted} · {how}" if how else Message(key, amount=emitted, distance=f"{length:.5g} m", **words)
        yield _row(context, (what, person.name, scenario.way), length, (amount * share, unit), numbers)


def _over_reading(context: Context, factor: float, length: float, there: float, aperture: float) -> float:
    """Return at most the mean of one watt over the detector [1/m2] where that over a limiting aperture [m] is known.

    The bound over a narrower aperture is that of its inner edge; the detector reaches nearer to the axis of a Gaussian
    beam, of which a share goes on and the path has a length [m]. Of an even one that bound is as if it lay all inside.
    """
    if aperture >= APERTURE:
        return there
    widths, profile = diameters(context.beam, length), context.beam.profile
    if profile != "gaussian":  # as even over the detector as it is there
        seen, known = (float(fraction_through(*widths, hole, profile)) / hole**2 for hole in (APERTURE, aperture))
        return there * seen / known
    peak, wide = float(peak_exposure(factor, *widths)), float(max(widths))
    if not 0.0 < there < peak:
        return math.inf
    aside = wide / 2.0 * math.sqrt(math.log(peak / there)) - (APERTURE - aperture) / 2.0
    return peak * math.exp(-((2.0 * max(aside, 0.0) / wide) ** 2))


def judged(case: Case, rows: tuple[Expected, ...]) -> tuple[Expected, ...]:
    """Return the expected readings with those of the case beside them.

    Raises
    ------
    CaseError
        If a reading fits nothing that is expected; all such readings, with their lines.
    """
    found = {row.key: row for row in rows}
    faults = []
    for i, reading in enumerate(case.reading):
        place, line, typed = f"reading[{i + 1}]", case._lines.get(("reading", i)), reading.value.typed
        asked, where = (reading.what, reading.where, reading.way), shown(reading.where)
        fits = [r for r in rows if (r.what, r.where, r.way) == asked and reading.laser in (None, r.laser)]
        if len(fits) > 1:
            message = f"{where}: several lasers can light this place; say with laser = which one was on"
            faults.append(Fault(line, place, message))
        elif not fits:
            there = dict.fromkeys(f"{row.what}, {row.way}" for row in rows if row.where == reading.where)
            message = (
                f"no reading of {reading.what}, {reading.way}, is expected at {where} (struck out, below the limit, or "
                f"without a computed figure); expected there: {'; '.join(there) or 'nothing'}"
            )
            faults.append(Fault(line, place, message))
        elif fits[0].unit != reading.value.unit:
            message = f"{shown(typed)}: here the expected reading is in {fits[0].unit}; write it in that unit"
            faults.append(Fault(case._lines.get(("reading", i, "value"), line), f"{place}.value", message))
        else:
            (row,), value, uncertainty = fits, float(reading.value), float(reading.uncertainty)
            upper = float(f"{value * (1.0 + uncertainty):.12g}")  # the last bits of a product are no reading
            found[row.key] = replace(row, reading=ReadingResult(
                typed=typed, value=value, unit=row.unit, uncertainty=uncertainty, upper=upper, expected=row.value,
                above=not upper <= row.value, low=bool(upper < row.low), instrument=reading.instrument,
                note=reading.note, line=line,
            ))  # fmt: skip
    if faults:
        name = "case"
        raise CaseError(name, faults)
    return tuple(found.values())
