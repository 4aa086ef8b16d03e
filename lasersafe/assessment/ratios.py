"""Zones and exposures of many cases by way: beam, mirror, optical aid and scatter, with all wavelengths of a laser."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial, reduce

import numpy as np

from lasersafe.assessment.context import Context, aid_of
from lasersafe.assessment.lines import line_contexts
from lasersafe.assessment.problem import CAPS, Problem
from lasersafe.errors import InputError, OutOfRangeError
from lasersafe.hazard.combine import Member, group_of, summed_farthest
from lasersafe.hazard.distances import FARTHEST, Places, farthest, highest_ratio
from lasersafe.hazard.emission import Emission, Floats, Received
from lasersafe.hazard.exposure import Comparison
from lasersafe.hazard.instruments import Aid, through
from lasersafe.hazard.scatter import LimitOfAngles, LitSpot, scatter_farthest, scatter_ratios, spot_limits, step_places
from lasersafe.optics.beam import to_1_over_e

_CLOSE = 1e-6  # m
_SAME = 1.0 + 1e-10
_PULSES = ("pulse_duration", "repetition_rate", "duty")


def members_of(own: Problem) -> list[Problem]:
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
        found.append(Problem(context, values, beams, own.boost if line.power is None else None))
    return found


def _longest(members: list[Problem], way: str) -> Floats:
    return reduce(np.maximum, (one.duration(way) for one in members))


def _grouped(members: list[Problem], rule_set: str, tissue: str, duration: Floats) -> dict[str, list[Member]]:
    """Return the comparisons of all wavelengths by the group in which they add."""
    groups: dict[str, dict[int, list[Comparison]]] = {}
    for number, one in enumerate(members):
        ends = {float(one.wavelength.min()), float(one.wavelength.max())}
        for compared in one.compared(rule_set, tissue, duration):
            names = {group_of(tissue, compared.hazard, end) for end in ends}
            if len(names) > 1:
                message = "wavelength: a range across 315 nm cannot be varied for a laser of several wavelengths"
                raise InputError(message)
            groups.setdefault(names.pop(), {}).setdefault(number, []).append(compared)
    return {
        name: [Member(compared, members[number].beams) for number, compared in own.items()]
        for name, own in groups.items()
    }


def instruments_of(context: Context) -> list[Aid]:
    """Return the instruments with which somebody may look into the beam of a laser."""
    mine = (person for person in context.case.person if person.laser in (None, context.laser.name))
    return sorted({aid_of(person) for person in mine if person.aided}, key=lambda one: (one.name, one.objective))


def _through(compared: list[Comparison], own: Problem) -> list[Comparison]:
    """Return what is compared by the bare eye and behind every instrument of the case."""
    instruments = instruments_of(own.context)
    if not instruments:
        message = f"way = aided: nobody in the case uses an optical aid in the beam of {own.context.laser.name}"
        raise InputError(message)
    behind = (through(compared, instrument, own.wavelength) for instrument in instruments)
    return [*compared, *(one for seen in behind for one in seen)]


def _in_beam(
    own: Problem, way: str, tissue: str, rule_set: str, grouped: bool
) -> tuple[list[Comparison], dict[str, list[Member]], Floats, Floats]:
    """Return what the main wavelength is compared with and all of them by group, and the reflectance for each."""
    members, base = members_of(own), "direct" if way == "aided" else way
    factor = reduce(np.maximum, (one.reflectance(base) for one in members))
    alone = own.compared(rule_set, tissue, own.duration(base))
    groups: dict[str, list[Member]] = {}
    for one in members if grouped or len(members) > 1 else ():
        for name, (found,) in _grouped([one], rule_set, tissue, _longest(members, base)).items():
            compared = _through(found.compared, one) if way == "aided" else found.compared
            groups.setdefault(name, []).append(Member(compared, one.beams))
    return _through(alone, own) if way == "aided" else alone, groups, own.reflectance(base), factor


def beam_distance(own: Problem, way: str, tissue: str, rule_sets: tuple[str, ...], size: int) -> Floats:
    """Return the reach of the beam, of its mirror image, or behind an optical aid, the farthest of rule sets. [m]."""
    every = [_in_beam(own, way, tissue, name, False) for name in rule_sets]
    sums = (summed_farthest(group, factor, size) for _, groups, _, factor in every for group in groups.values())
    alone = [one for compared, *_ in every for one in compared]
    return reduce(np.maximum, sums, np.asarray(farthest(alone, own.beams, every[0][2])))


def beam_ratio(own: Problem, way: str, tissue: str, rule_set: str, distance: Floats, group: str = "") -> Floats:
    """Return exposure over limit at or beyond a distance [m] in the beam, under one rule set, all wavelengths added.

    With the name of a group of `hazard.combine` it is the sum of that group alone.
    """
    alone, groups, reflectance, factor = _in_beam(own, way, tissue, rule_set, bool(group))
    sums = {
        name: reduce(np.add, (highest_ratio(one.compared, one.beams, distance, factor) for one in members))
        for name, members in groups.items()
        if group in ("", name)
    }
    if group:
        return sums.get(group, np.zeros_like(distance))
    return reduce(np.maximum, sums.values(), highest_ratio(alone, own.beams, distance, reflectance))


def _limits(
    own: Problem, rule_set: str, tissue: str, duration: Floats, group: str = ""
) -> tuple[Floats, LimitOfAngles]:
    """Return what is emitted, and the function from angles to its lowest limit, of all hazards or of one group."""
    shortest = float(own.wavelength.min())  # `_grouped` has refused a range with two groups

    def part(hazard: str) -> float:
        return float(not group or group_of(tissue, hazard, shortest) == group)

    if not own.by_setting:
        return own.light.amount, spot_limits(Received(rule_set, tissue, own.light, own.wavelength, duration), part)
    every = [
        (one.amount, spot_limits(Received(rule_set, tissue, one, own.wavelength, duration), part))
        for one in own.settings(tissue, duration)
    ]

    def lowest(first: Floats, second: Floats, at: Places) -> Floats:
        return reduce(np.minimum, (limit(first, second, at) / amount for amount, limit in every))

    return np.asarray(own.factor), lowest


def _scatter(own: Problem, tissue: str, rule_set: str, size: int) -> Floats:
    """Return how far from the lit surface one wavelength exceeds its limit [m]."""
    duration = own.duration("scatter")
    amount, limits = _limits(own, rule_set, tissue, duration)
    spot = _seen(own, tissue, own.reflectance("scatter"))
    alike = spot.view_angle.ndim == 0 and (own.by_setting or _one_limit(own.light, own.wavelength, duration))
    return scatter_farthest(amount, limits, spot, (size,), alike)


def _seen(own: Problem, tissue: str, part: Floats) -> LitSpot:
    """Return what scatters a part of the light, with its size where that earns credit."""
    view, size = own.value("view_angle", own.context.scatter_surface[1]), own.spot if tissue == "eye" else 0.0
    return LitSpot(part, view, own.context.case.settings.scatter_model, size)


def _scattered(
    own: Problem, tissue: str, rule_set: str, distance: Floats, size: int, duration: Floats, part: Floats, group: str
) -> Floats:
    """Return exposure over limit at a distance from the lit surface [m], of one group of hazards or of all for ""."""
    amount, limits = _limits(own, rule_set, tissue, duration, group)
    return scatter_ratios(amount, limits, distance, _seen(own, tissue, part), (size,))


def _one_limit(light: Emission, *others: Floats) -> bool:
    """Return whether the limit is the same for every case."""
    pulses = (light.pulse_duration, light.repetition_rate, *((light.pulse_energy,) if light.pedestal else ()))
    return all(np.ndim(values) == 0 for values in (*pulses, *others))


def _scatter_sums(own: Problem, tissue: str, rule_set: str, size: int) -> dict[str, Callable[[Floats], Floats]]:
    """Return for each group the sum of the fractions of all wavelengths by the distance from the lit surface [m]."""
    members = members_of(own)
    duration = _longest(members, "scatter")
    part = reduce(np.maximum, (one.reflectance("scatter") for one in members))

    def total(name: str, place: Floats) -> Floats:
        every = (_scattered(one, tissue, rule_set, place, size, duration, part, name) for one in members)
        return reduce(np.add, every)

    return {name: partial(total, name) for name in _grouped(members, rule_set, tissue, duration)}


def scatter_distance_of(own: Problem, tissue: str, rule_set: str, size: int) -> Floats:
    """Return the reach of scatter from the lit surface under one rule set. [m]."""
    alone = _scatter(own, tissue, rule_set, size)
    if not own.context.laser.line:
        return alone
    beyond = step_places(own.spot) if tissue == "eye" and own.spot.any() else []
    steps = [np.broadcast_to(one, (size,)) for one in beyond]
    found = alone
    for total in _scatter_sums(own, tissue, rule_set, size).values():
        found = np.maximum(found, _last_scatter(total, steps, size))
    return found


def _last_scatter(total: Callable[[Floats], Floats], steps: list[Floats], size: int) -> Floats:
    """Return where a sum of scattered fractions is above 1 for the last time, 1e-10 of it beyond at most [m]."""
    if not steps:  # of a point: falls with the square
        return np.sqrt(total(np.ones(size)))
    beyond = [(one, total(one)) for one in steps]  # nearer than a step the sum can be less than just beyond it

    def ratio(place: Floats) -> Floats:
        return reduce(np.maximum, (np.where(place < one, there, 0.0) for one, there in beyond), total(place))

    near, far = np.full(size, _CLOSE), np.full(size, 1.0)
    any_over = ratio(near) > 1.0
    while (over := ratio(far) > 1.0).any():
        near, far = np.where(over, far, near), np.where(over, 16.0 * far, far)
        if far.max() > FARTHEST:
            message = f"distance: the sum of the wavelengths is above its limit {FARTHEST:g} m from the surface"
            raise OutOfRangeError(message)
    while (far > near * _SAME).any():
        middle = np.sqrt(near * far)
        over = ratio(middle) > 1.0
        near, far = np.where(over, middle, near), np.where(over, far, middle)
    return np.where(any_over, far, 0.0)


def scatter_ratio_of(own: Problem, tissue: str, rule_set: str, distance: Floats, size: int, group: str = "") -> Floats:
    """Return exposure over limit at a distance from the lit surface [m] under one rule set, of all groups or of one."""
    sums = _scatter_sums(own, tissue, rule_set, size) if group or own.context.laser.line else {}
    if group:
        return sums[group](distance) if group in sums else np.zeros(size)
    duration, part = own.duration("scatter"), own.reflectance("scatter")
    alone = _scattered(own, tissue, rule_set, distance, size, duration, part, "")
    return reduce(np.maximum, (total(distance) for total in sums.values()), alone)
