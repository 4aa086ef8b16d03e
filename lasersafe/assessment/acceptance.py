"""The acceptance test: what an instrument has to show at most at each place, and what to think of its reading."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.context import Context
from lasersafe.assessment.corners import over
from lasersafe.assessment.scenarios import WAYS, distance_from
from lasersafe.errors import CaseError, Fault
from lasersafe.hazard.eyewear import corner_emissions
from lasersafe.hazard.marking import round_up_density
from lasersafe.optics.beam import diameters, fraction_through
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.records.fields import badness, grouped
from lasersafe.results import BarrierResult, Expected, EyewearNeed, ReadingResult, Scenario
from lasersafe.typed import shown
from lasersafe.wording.message import Message, word

if TYPE_CHECKING:
    from lasersafe.models import Case, MeasuredReading, Person

APERTURE = 7e-3  # m; the detector looks through the aperture that the eye limits are averaged over
Row = tuple[str, str, str, float, float, str, str]  # what, where, way, distance, value, unit, numbers
LOW_SHARE = 0.5  # own rule: below half of what was computed, the meter may have missed the beam


def expected_of(
    corners: Sequence[Sequence[Context]],
    scenarios: list[Scenario],
    eyewear: list[EyewearNeed],
    barriers: list[BarrierResult],
) -> tuple[Expected, ...]:
    """Return the expected readings of every effect of the fitted set-ups.

    A reading stands against the most that its own light can show, so of several corners of the tolerances the highest
    value counts; of several wavelengths or pulse patterns, which have limits of their own, the lowest of these.

    Parameters
    ----------
    corners : sequence of sequence of Context
        The set-ups at every corner.
    scenarios, eyewear, barriers : list
        The worst of all corners.
    """
    kinds: dict[Hashable, list[Sequence[Context]]] = {}
    for found in corners:
        kinds.setdefault(tuple(_light(context) for context in found), []).append(found)

    rows = [over(same, lambda found: _rows(found, scenarios, eyewear, barriers)) for same in kinds.values()]
    lowest = (min(group, key=lambda row: -badness(-row.value)) for group in grouped(rows))
    return tuple(replace(row, key=f"A{number}") for number, row in enumerate(lowest, 1))


def _light(context: Context) -> Hashable:
    return context.wavelength, tuple(float(line.wavelength) for line in context.laser.line), context.space


def _rows(
    found: Sequence[Context], scenarios: list[Scenario], eyewear: list[EyewearNeed], barriers: list[BarrierResult]
) -> list[Expected]:
    rows: list[Expected] = []
    for context in (one for one in found if one.setup.fitted):
        name = context.laser.name, context.setup.name
        own = list(_one_per_way(s for s in scenarios if (s.laser, s.setup) == name))
        wearers = {n.person for n in eyewear if n.verdict is not None and (n.laser, n.setup) == name}
        every = (
            *_at_persons(context, own),
            *_behind_eyewear(s for s in own if s.person in wearers),
            *_at_barriers(b for b in barriers if (b.laser, b.setup) == name),
        )
        rows += (
            Expected("", *name, what, where, way, distance, value, LOW_SHARE * value, unit, numbers)
            for what, where, way, distance, value, unit, numbers in every
        )
    return rows


def amounts(context: Context) -> list[tuple[str, float, str]]:
    """Return what a meter can show of this laser, at the most that the settings allow: (what, amount, unit)."""
    space, found = context.space, list[tuple[str, float, str]]()
    rate = space.repetition_rate
    if space.kind not in ("continuous", "single pulse", "pulse train"):  # a list of pulses, a table of modes
        worst = context.emission("eye", context.duration("direct")[0])
        every = corner_emissions(space, worst, context.wavelength)
        power, energy = max(e.power for e in every), max(e.pulse_energy for e in every)
        return [(what, amount, unit) for what, amount, unit in
                (("power", power, "W"), ("pulse energy", energy, "J")) if amount > 0.0]  # fmt: skip
    if space.highest_mean_power is not None:
        found.append(("power", space.highest_mean_power, "W"))
    if space.kind != "continuous":
        bounds = [] if space.pulse_energy is None else [space.pulse_energy[1]]
        if space.power is not None and rate is not None:
            bounds.append(space.power[1] / rate[0])
        if bounds:
            found.append(("pulse energy", min(bounds), "J"))
    return found


def _at_persons(context: Context, scenarios: list[Scenario]) -> Iterator[Row]:
    persons = {person.name: person for person in context.case.person}
    area = math.pi * APERTURE**2 / 4.0
    for scenario in scenarios:
        person: Person = persons[scenario.person]
        really = scenario.distance if scenario.placed else 0.0  # along the folded path, where a place is known
        for what, amount, unit in amounts(context):
            if scenario.way == "scatter":
                model = context.case.settings.scatter_model
                found: list[tuple[float, float, str]] = []
                for one in context.scatterers:
                    distance = max(distance_from(person, one, retinal=False)[0], really)
                    there = scatter_exposure(amount, one.reflectance, distance, one.view_angle, model)
                    value = min(float(there) * area, amount)
                    how = Message(
                        "reading.scatter", amount=f"{amount:.5g} {unit}", reflectance=f"{one.reflectance:g}",
                        surface=one.words, model=word(model), distance=f"{distance:.5g} m",
                    )  # fmt: skip
                    found.append((value, distance, how))
                value, distance, numbers = max(found)
            else:
                distance = max(float(person.distance), really)
                factor = 1.0 if scenario.way == "direct" else context.mirror_reflectance[0]
                dx, dy = diameters(context.beam, distance)
                share = float(fraction_through(dx, dy, APERTURE, context.beam.profile))
                value = amount * factor * share
                numbers = f"{amount:.5g} {unit} · {factor:g} · {share:.4g} (7 mm, {distance:.5g} m)"
            yield what, person.name, scenario.way, distance, value, unit, numbers


def _one_per_way(scenarios: Iterable[Scenario]) -> Iterator[Scenario]:
    """Return one scenario, the one of the eye, per person and way that is not struck out and can be read at rest."""
    done = set()
    for s in scenarios:
        key = (s.person, s.way)
        if s.tissue != "eye" or s.struck_out:
            continue
        if s.placed and (s.way not in WAYS or "running" not in s.mode or key in done):
            continue
        done.add(key)
        yield s


def _behind_eyewear(scenarios: Iterable[Scenario]) -> Iterator[Row]:
    for s in scenarios:
        if not s.below and math.isfinite(s.ratio):
            density = float(round_up_density(math.log10(s.ratio)))
            value = min(s.exposure * 10.0**-density, s.limit)
            numbers = f"{s.exposure:.5g} {s.exposure_unit} · 10^(-{density:g})"
            yield "behind eyewear", s.person, s.way, s.distance, value, s.exposure_unit, numbers


def _at_barriers(barriers: Iterable[BarrierResult]) -> Iterator[Row]:
    for one in barriers:
        if one.asked and math.isfinite(one.irradiance):
            numbers = one.steps[0].numbers if one.steps else ""
            yield "irradiance", one.barrier, one.way, one.distance, one.irradiance, "W/m2", numbers


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
        fits = [
            row
            for row in rows
            if (row.what, row.where, row.way) == (reading.what, reading.where, reading.way)
            and reading.laser in (None, row.laser)
        ]
        line = case._lines.get(("reading", i))
        if len(fits) != 1:
            message = _no_match(reading, rows, bool(fits))
            faults.append(Fault(line, f"reading[{i + 1}]", message))
            continue
        row = fits[0]
        if row.unit != reading.value.unit:
            message = f"{shown(reading.value.typed)}: here the expected reading is in {row.unit}; write it in that unit"
            faults.append(Fault(case._lines.get(("reading", i, "value"), line), f"reading[{i + 1}].value", message))
            continue
        found[row.key] = replace(row, reading=_judge(reading, row, line))
    if faults:
        name = "case"
        raise CaseError(name, faults)
    return tuple(found.values())


def _judge(reading: MeasuredReading, row: Expected, line: int | None) -> ReadingResult:
    value, uncertainty = float(reading.value), float(reading.uncertainty)
    upper = float(f"{value * (1.0 + uncertainty):.12g}")  # the last bits of a product are no reading
    return ReadingResult(
        typed=reading.value.typed,
        value=value,
        unit=row.unit,
        uncertainty=uncertainty,
        upper=upper,
        expected=row.value,
        above=not upper <= row.value,
        low=bool(upper < row.low),
        instrument=reading.instrument,
        note=reading.note,
        line=line,
    )


def _no_match(reading: MeasuredReading, rows: tuple[Expected, ...], several: bool) -> str:
    if several:
        return f"{shown(reading.where)}: several lasers can light this place; say with laser = which one was on"
    there = [f"{row.what}, {row.way}" for row in rows if row.where == reading.where]
    known = "; ".join(dict.fromkeys(there)) or "nothing"
    return (
        f"no reading of {reading.what}, {reading.way}, is expected at {shown(reading.where)} (struck out, below the "
        f"limit, or without a computed figure); expected there: {known}"
    )
