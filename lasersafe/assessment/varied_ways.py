"""Zones and exposures of many cases by way: beam, mirror, optical aid and scatter, with all wavelengths of a laser."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce

import numpy as np

from lasersafe.assessment.context import aid_of
from lasersafe.assessment.lines import line_contexts
from lasersafe.assessment.varied import CAPS, Varied, stepwise
from lasersafe.errors import InputError
from lasersafe.hazard.aided import Aid, transmission, viewing_data
from lasersafe.hazard.combine import group_of
from lasersafe.hazard.comparisons import Comparison, Floats, Light, comparisons, exposed_area
from lasersafe.hazard.scatter_arrays import LimitOfAngle, Places, scatter_farthest, scatter_ratios
from lasersafe.hazard.summed_arrays import Member, summed_farthest
from lasersafe.hazard.variation import Beams, farthest, highest_ratio
from lasersafe.hazard.zones import _limits_of_angle
from lasersafe.optics.propagation import to_1_over_e
from lasersafe.optics.reflection import scatter_intensity
from lasersafe.optics.viewing import collecting_gain

_PULSES = ("pulse_duration", "repetition_rate", "duty")


def members_of(own: Varied) -> list[Varied]:
    """Return all wavelengths of a laser, the main one first; its beam and its values hold for the others too."""
    found = [own]
    for line, context in zip(own.context.laser.line, line_contexts(own.context).values(), strict=True):
        values = {name: value for name, value in own.values.items() if name not in ("wavelength", *CAPS)}
        if line.power is not None:
            values = {name: value for name, value in values.items() if name not in _PULSES}
        else:
            share = float(line.share or 1.0)
            values |= {name: np.asarray(own.values[name] * share) for name in CAPS if name in own.values}
        beams = own.beams
        if line.divergence is not None and line.divergence_criterion is not None:
            x, y = to_1_over_e(list(line.divergence.pair), line.divergence_criterion, beams.profile)
            first = np.asarray(x)
            beams = replace(beams, divergence=(first, first if x == y else np.asarray(y)))
        found.append(Varied(context, values, beams, own.boost if line.power is None else None))
    return found


def _longest(members: list[Varied], way: str) -> Floats:
    return reduce(np.maximum, (one.duration(way) for one in members))


def _grouped(members: list[Varied], rule_set: str, tissue: str, duration: Floats) -> dict[str, list[Member]]:
    """Return the comparisons of all wavelengths by the group in which they add."""
    groups: dict[str, list[Member]] = {}
    for one in members:
        by_group: dict[str, list[Comparison]] = {}
        ends = {float(one.wavelength.min()), float(one.wavelength.max())}
        for compared in one.compared(rule_set, tissue, duration):
            names = {group_of(tissue, compared.hazard, end) for end in ends}
            if len(names) > 1:
                message = "wavelength: a range across 315 nm cannot be varied for a laser of several wavelengths"
                raise InputError(message)
            by_group.setdefault(names.pop(), []).append(compared)
        for name, part in by_group.items():
            groups.setdefault(name, []).append(Member(part, one.beams))
    return groups


def _instruments(own: Varied) -> list[Aid]:
    case, name = own.context.case, own.context.laser.name
    found = {aid_of(person) for person in case.person if person.aided and person.laser in (None, name)}
    if not found:
        message = f"way = aided: nobody in the case uses an optical aid in the beam of {name}"
        raise InputError(message)
    return sorted(found, key=lambda one: (one.name, one.objective))


def _passed(instrument: Aid, wavelength: Floats) -> Floats:
    edges = [edge for band in viewing_data()[0] for edge in band.wavelength]
    return stepwise(wavelength, edges, transmission) if instrument.glass else np.asarray(1.0)


def _through(compared: list[Comparison], own: Varied) -> list[Comparison]:
    """Return comparisons with the bare eye and behind each instrument."""
    found = list(compared)
    for instrument in _instruments(own):
        passed = _passed(instrument, own.wavelength)
        for one in compared:
            collected = instrument.collects(one.aperture)
            with np.errstate(divide="ignore"):
                limit = np.asarray(one.limit / collecting_gain(collected, one.aperture, passed))
            found.append(replace(one, limit=limit, aperture=collected))
    return found


def beam_distance(own: Varied, way: str, tissue: str, rule_set: str, size: int) -> Floats:
    """Return the reach of the beam, of its mirror image, or behind an optical aid, under one rule set. [m]."""
    members = members_of(own)
    if way == "aided":
        duration = _longest(members, "direct")
        return reduce(np.maximum, (
            farthest(_through(one.compared(rule_set, tissue, duration), one), one.beams, float(len(members)))
            for one in members
        ))  # fmt: skip
    alone = farthest(own.compared(rule_set, tissue, own.duration(way)), own.beams, own.reflectance(way))
    if len(members) == 1:
        return alone
    duration = _longest(members, way)
    factor = reduce(np.maximum, (one.reflectance(way) for one in members))
    sums = (summed_farthest(group, factor, size) for group in _grouped(members, rule_set, tissue, duration).values())
    return reduce(np.maximum, sums, np.asarray(alone))


def beam_ratio(own: Varied, way: str, tissue: str, rule_set: str, distance: Floats) -> Floats:
    """Return exposure over limit at or beyond a distance [m] in the beam, under one rule set, all wavelengths added."""
    members = members_of(own)
    base = "direct" if way == "aided" else way

    def seen(compared: list[Comparison], one: Varied) -> list[Comparison]:
        return _through(compared, one) if way == "aided" else compared

    alone = highest_ratio(seen(own.compared(rule_set, tissue, own.duration(base)), own), own.beams, distance,
                          own.reflectance(base))  # fmt: skip
    if len(members) == 1:
        return alone
    factor = reduce(np.maximum, (one.reflectance(base) for one in members))
    groups: dict[str, Floats] = {}
    for one in members:
        for name, group in _grouped([one], rule_set, tissue, _longest(members, base)).items():
            ratio = highest_ratio(seen(group[0].compared, one), one.beams, distance, factor)
            groups[name] = np.asarray(groups[name] + ratio) if name in groups else ratio
    return reduce(np.maximum, groups.values(), alone)


def _limits(own: Varied, rule_set: str, tissue: str, duration: Floats) -> tuple[Floats, LimitOfAngle]:
    """Return what is scattered, and the lowest limit by the angle of the source."""
    if own.by_setting:
        (emission,) = own.settings(tissue, duration, several=False)
        wavelength, time = float(own.wavelength), float(duration)
        area = exposed_area(tissue, wavelength, time)
        limits = _limits_of_angle(rule_set, tissue, emission, wavelength, time, None if area is None else float(area))
        amount = emission.power if emission.kind == "continuous" else emission.pulse_energy
        return np.asarray(amount * own.factor), lambda angle, _: reduce(np.minimum, limits.at(angle))
    light, wavelength_of = own.light, own.wavelength

    def limit(angle: Floats, at: Places) -> Floats:
        def some(values: Floats) -> Floats:
            return values if values.ndim == 0 else values[at]

        part = Light(
            light.kind, some(light.power), some(light.pulse_energy), some(light.pulse_duration),
            some(light.repetition_rate), light.burst, light.pedestal,
        )  # fmt: skip
        found = comparisons(rule_set, tissue, part, some(wavelength_of), some(duration), angle)
        return np.broadcast_to(reduce(np.minimum, (one.limit for one in found)), angle.shape)

    return light.amount, limit


def _scatter(own: Varied, tissue: str, rule_set: str, size: int, distance: Floats | None = None) -> Floats:
    duration = own.duration("scatter")
    amount, limits = _limits(own, rule_set, tissue, duration)
    spot = own.spot if tissue == "eye" else np.asarray(0.0)
    view = own.value("view_angle", own.context.scatter_surface[1])
    model, part = own.context.case.settings.scatter_model, own.reflectance("scatter")
    if distance is not None:
        return scatter_ratios(amount, limits, distance, part, view, model, spot, (size,))
    alike = view.ndim == 0 and (own.by_setting or _one_limit(own.light, own.wavelength, duration))
    return scatter_farthest(amount, limits, part, view, model, spot, (size,), alike)


def _one_limit(light: Light, *others: Floats) -> bool:
    """Return whether the limit is the same for every case."""
    pulses = (light.pulse_duration, light.repetition_rate, *((light.pulse_energy,) if light.pedestal else ()))
    return all(values.ndim == 0 for values in (*pulses, *others))


def _scatter_sums(own: Varied, tissue: str, rule_set: str) -> Floats:
    """Return the highest sum of fractions at 1 m from the surface; no credit for the size of the spot."""
    members = members_of(own)
    duration = _longest(members, "scatter")
    part = reduce(np.maximum, (one.reflectance("scatter") for one in members))
    view, model = own.value("view_angle", own.context.scatter_surface[1]), own.context.case.settings.scatter_model
    totals = []
    for group in _grouped(members, rule_set, tissue, duration).values():
        fractions = [
            reduce(np.maximum, (scatter_intensity(c.amount, part, view, model) / c.limit for c in member.compared))
            for member in group
        ]
        totals.append(sum(fractions[1:], fractions[0]))
    return reduce(np.maximum, totals)


def scatter_distance_of(own: Varied, tissue: str, rule_set: str, size: int) -> Floats:
    """Return the reach of scatter from the lit surface under one rule set. [m]."""
    alone = _scatter(own, tissue, rule_set, size)
    if not own.context.laser.line:
        return alone
    return np.maximum(alone, np.sqrt(_scatter_sums(own, tissue, rule_set)))


def scatter_ratio_of(own: Varied, tissue: str, rule_set: str, distance: Floats, size: int) -> Floats:
    """Return exposure over limit at a distance from the lit surface [m] under one rule set."""
    alone = _scatter(own, tissue, rule_set, size, distance)
    if not own.context.laser.line:
        return alone
    return np.maximum(alone, _scatter_sums(own, tissue, rule_set) / np.square(distance))


__all__ = ["Beams", "beam_distance", "beam_ratio", "members_of", "scatter_distance_of", "scatter_ratio_of"]
