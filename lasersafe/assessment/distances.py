"""Zones and exposures of one set-up with some of its inputs replaced by arrays: one case or a million.

Keys are the field names of the case file, values are in SI units and, of a width or angle, on the criterion of the
set-up. With nothing changed the distances are those of `assessment.setups.setup_result`. Wavelengths of a laser add.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial, reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.assessment.context import MORE_WAYS, TISSUES, WAYS, Context, aid_of, line_contexts
from lasersafe.assessment.problem import CAPS, Problem, emission_inputs, setup_inputs
from lasersafe.errors import InputError, OutOfRangeError
from lasersafe.hazard.combine import Member, group_of, summed_farthest
from lasersafe.hazard.distances import FARTHEST, Places, farthest, highest_ratio
from lasersafe.hazard.emission import Floats, Received
from lasersafe.hazard.exposure import Comparison
from lasersafe.hazard.instruments import Aid, through
from lasersafe.hazard.scatter import LimitOfAngles, scatter_farthest, scatter_ratios, spot_limits, step_places
from lasersafe.optics.beam import to_1_over_e
from lasersafe.optics.reflection import LitSpot
from lasersafe.physical import physical_range

_PLACE = "distance"  # beside the keys of the case file
_BLOCK = 65536
_CAP_NODES = 25
_FEW_CAPS = 64
_SEARCHES = 2000  # worst settings that are searched in one call, some milliseconds each
_CLOSE = 1e-6  # m
_SAME = 1.0 + 1e-10
_PULSES = ("pulse_duration", "repetition_rate", "duty")
Block = Callable[[Problem, int], Floats]  # what it finds for so many cases


def variable_inputs(context: Context, way: str | None = None) -> dict[str, float]:
    """Return the inputs that can be varied and their nominal values in SI units.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str, optional
        Only what acts on this way. Without it all are listed; the exposure duration is then that of the direct beam and
        the reflectance that of the mirror.

    Returns
    -------
    dict of str to float
        Of a range that can be turned, the highest power or energy; its other settings are always the worst allowed.
    """
    found = {"wavelength": context.wavelength, **emission_inputs(context), **setup_inputs(context.setup)}
    own = Problem(context, {})
    found["duration"] = float(own.duration(way or "direct"))
    if way in (None, "mirror", "scatter"):
        found["reflectance"] = float(own.reflectance(way or "mirror"))
    if way in (None, "scatter"):
        found["view_angle"] = context.aslant
    return found


def checked_changes(context: Context, way: str, tissue: str, changes: Mapping[str, ArrayLike]) -> dict[str, Floats]:
    """Return the values of some inputs as arrays, each inside what is possible for it [SI units]."""
    if way not in (*WAYS, *MORE_WAYS, "aided") or tissue not in TISSUES or (way, tissue) == ("aided", "skin"):
        message = f"zone = {way}, {tissue}: write direct, mirror or scatter with eye or skin, or aided with eye"
        raise InputError(message)
    allowed = variable_inputs(context) if changes else {}
    values = {}
    for name, given in changes.items():
        if name not in allowed:
            message = f"{name!r} cannot be varied for this laser and set-up; write one of: {', '.join(sorted(allowed))}"
            raise InputError(message)
        value = np.asarray(given, dtype=np.float64)
        low, high, open_low = physical_range(name)
        least, most = (value.min(), value.max()) if value.size else (high, low)
        above = least > low if open_low or low == -math.inf else least >= low
        if not (above and most <= high and most < math.inf):
            inside = ((value > low) if open_low else (value >= low)) & (value <= high) & np.isfinite(value)
            bad = float(np.atleast_1d(value)[~np.atleast_1d(inside)][0])
            allowed_words = f"{'above' if open_low else 'from'} {low:.6g} to {high:.6g}, and finite"
            message = f"{name} = {bad:.6g}: must be {allowed_words} (SI unit)"
            raise InputError(message)
        values[name] = value
    return values


def _in_blocks(context: Context, changes: Mapping[str, Floats], one_block: Block) -> Floats:
    """Return what a function finds, worked out in blocks that stay in the processor's cache."""
    shape = np.broadcast_shapes(*(value.shape for value in changes.values()))
    if not shape:
        return np.asarray(np.broadcast_to(one_block(Problem(context, changes), 1), (1,))[0])
    size = math.prod(shape)
    flat = {
        name: value.reshape(()) if value.size == 1 else np.broadcast_to(value, shape).reshape(-1)
        for name, value in changes.items()
    }
    found = np.empty(size)
    for start in range(0, size, _BLOCK):
        part = slice(start, min(start + _BLOCK, size))
        found[part] = _searched(Problem(context, _taken(flat, part)), found[part].size, one_block)
    return found.reshape(shape)


def _searched(own: Problem, size: int, one_block: Block) -> Floats:
    """Return what a function finds, case by case in those values on which the worst setting depends."""
    turns = [name for name in ("wavelength", "duration") if own.by_setting and np.ndim(own.values.get(name, 0.0))]
    if turns:
        return _by_turns(own, turns, size, one_block)
    caps = [name for name in ("mean_power", "pulse_energy") if own.two_caps and np.ndim(own.values.get(name, 0.0))]
    return _by_caps(own, caps, size, one_block) if caps else one_block(own, size)


def _taken(values: Mapping[str, Floats], where: NDArray[np.intp] | slice) -> dict[str, Floats]:
    return {name: value if value.ndim == 0 else value[where] for name, value in values.items()}


def _by_turns(own: Problem, turns: list[str], size: int, one_block: Block) -> Floats:
    """Return what a function finds for each of the different rows of some columns."""
    table = np.stack([own.values[name] for name in turns], axis=1)
    order = np.lexsort(table.T)
    starts = 1 + np.flatnonzero((table[order][1:] != table[order][:-1]).any(axis=1))
    if starts.size >= _SEARCHES:
        message = (
            f"{' and '.join(turns)}: {starts.size + 1} different values; the worst of the settings that can be turned "
            f"is searched anew for each of them, so at most {_SEARCHES} are taken"
        )
        raise InputError(message)
    found = np.empty(size)
    for where in np.split(order, starts):
        held = {name: np.asarray(float(number)) for name, number in zip(turns, table[where[0]], strict=True)}
        found[where] = _searched(Problem(own.context, _taken(own.values, where) | held), where.size, one_block)
    return found


def _by_caps(own: Problem, caps: list[str], size: int, one_block: Block) -> Floats:
    """Return what a function finds for two caps that vary apart: exactly for a few values, else an upper bound.

    More energy is never less harmful. So of many values each lies below its ratio of caps rounded up to a node, and
    below the node under it with all energies raised in proportion; the lower of the two counts.
    """
    if len(set(zip(*(own.values[name].tolist() for name in caps), strict=True))) <= _FEW_CAPS:
        return _by_turns(own, caps, size, one_block)
    nominal = emission_inputs(own.context)
    power, energy = (
        np.broadcast_to(own.value(name, nominal[name]) / nominal[name], (size,))
        for name in ("mean_power", "pulse_energy")
    )
    ratio = power / energy
    nodes = np.geomspace(ratio.min(), ratio.max(), _CAP_NODES)
    nodes[0], nodes[-1] = ratio.min(), ratio.max()
    place = np.clip(np.searchsorted(nodes, ratio, side="right") - 1, 0, _CAP_NODES - 2)
    found = np.empty(size)

    def below(node: float, where: NDArray[np.intp], boost: Floats) -> Floats:
        held = {"mean_power": nominal["mean_power"] * node, "pulse_energy": nominal["pulse_energy"]}
        values = _taken(own.values, where) | {name: np.asarray(value) for name, value in held.items()}
        return one_block(Problem(own.context, values, boost=boost), where.size)

    for at in np.unique(place).tolist():
        where = np.flatnonzero(place == at)
        raised = energy[where] * np.maximum(ratio[where] / nodes[at], 1.0)
        found[where] = np.minimum(below(nodes[at + 1], where, energy[where]), below(nodes[at], where, raised))
    return found


def _rule_sets(context: Context, rule_sets: tuple[str, ...] | None) -> tuple[str, ...]:
    for name in rule_sets or ():
        if name not in context.rule_sets:
            message = (
                f"rule set = {name!r} is not worked out in this case; write one of: {', '.join(context.rule_sets)}"
            )
            raise InputError(message)
    return rule_sets or context.rule_sets


def zone_distances(
    context: Context,
    way: str,
    tissue: str,
    changes: Mapping[str, ArrayLike],
    rule_sets: tuple[str, ...] | None = None,
) -> Floats:
    """Return the distance of one zone with some inputs replaced by arrays.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str
        ``direct``, ``mirror``, ``scatter`` or ``aided``.
    tissue : str
        ``eye`` or ``skin``.
    changes : mapping of str to array_like
        What is replaced, see `variable_inputs`; the arrays broadcast together. [SI units]
    rule_sets : tuple of str, optional
        Only these; without it all of the case, of which the farthest counts.

    Returns
    -------
    numpy.ndarray, shape (...)
        Distance from the last optic, for scatter from the surface; 0 where no limit is exceeded. [m]

    Raises
    ------
    InputError
        If a key or value cannot be used, with what is allowed.
    OutOfRangeError
        If a case lies outside what the rule sets cover.
    """
    names = _rule_sets(context, rule_sets)

    def one_block(own: Problem, size: int) -> Floats:
        if way == "scatter":
            return reduce(np.maximum, (_scatter_distance(own, tissue, name, size) for name in names))
        every = [_in_beam(own, way, tissue, name, False) for name in names]
        sums = (summed_farthest(group, factor, size) for _, groups, _, factor in every for group in groups.values())
        alone = [one for compared, *_ in every for one in compared]
        return reduce(np.maximum, sums, np.asarray(farthest(alone, own.beams, every[0][2])))

    return _in_blocks(context, checked_changes(context, way, tissue, changes), one_block)


def exposure_ratios(
    context: Context,
    way: str,
    tissue: str,
    distance: ArrayLike,
    changes: Mapping[str, ArrayLike],
    rule_sets: tuple[str, ...] | None = None,
    group: str = "",
) -> Floats:
    """Return exposure over limit at a distance, the worst comparison; its log10 is the optical density needed.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str
        ``direct``, ``mirror``, ``scatter`` or ``aided``.
    tissue : str
        ``eye`` or ``skin``.
    distance : array_like, shape (...)
        From the last optic, for scatter from the surface. In a beam the worst place at or beyond it counts. [m]
    changes : mapping of str to array_like
        What is replaced, see `variable_inputs`; the arrays broadcast together. [SI units]
    rule_sets : tuple of str, optional
        Only these; without it all of the case, of which the highest counts.
    group : str, optional
        Only what adds in this group of `hazard.combine`.

    Returns
    -------
    numpy.ndarray, shape (...)
        Exposure over limit. [1]

    Raises
    ------
    InputError
        If a key or value cannot be used, with what is allowed.
    OutOfRangeError
        If a case lies outside what the rule sets cover.
    """
    names = _rule_sets(context, rule_sets)
    place = np.asarray(distance, dtype=np.float64)
    inside = (place > 0.0) if way == "scatter" else (place >= 0.0)
    if not (inside & np.isfinite(place)).all():
        message = f"distance: must be {'above 0 m' if way == 'scatter' else '0 m or more'} and finite"
        raise InputError(message)

    def one_block(own: Problem, size: int) -> Floats:
        at = own.values[_PLACE]
        return reduce(np.maximum, (
            _scatter_ratio(own, tissue, name, at, size, group) if way == "scatter"
            else _beam_ratio(own, way, tissue, name, at, group)
            for name in names
        ))  # fmt: skip

    values = {_PLACE: place, **checked_changes(context, way, tissue, changes)}
    return _in_blocks(context, values, one_block)


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


def _beam_ratio(own: Problem, way: str, tissue: str, rule_set: str, distance: Floats, group: str) -> Floats:
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


def _seen(own: Problem, tissue: str, part: Floats) -> LitSpot:
    """Return what scatters a part of the light, with its size where that earns credit."""
    view, size = own.value("view_angle", own.context.aslant), own.spot if tissue == "eye" else 0.0
    return LitSpot(part, view, own.context.case.settings.scatter_model, size)


def _scattered(
    own: Problem, tissue: str, rule_set: str, distance: Floats, size: int, duration: Floats, part: Floats, group: str
) -> Floats:
    """Return exposure over limit at a distance from the lit surface [m], of one group of hazards or of all for ""."""
    amount, limits = _limits(own, rule_set, tissue, duration, group)
    return scatter_ratios(amount, limits, distance, _seen(own, tissue, part), (size,))


def _scatter_sums(own: Problem, tissue: str, rule_set: str, size: int) -> dict[str, Callable[[Floats], Floats]]:
    """Return for each group the sum of the fractions of all wavelengths by the distance from the lit surface [m]."""
    members = members_of(own)
    duration = _longest(members, "scatter")
    part = reduce(np.maximum, (one.reflectance("scatter") for one in members))

    def total(name: str, place: Floats) -> Floats:
        every = (_scattered(one, tissue, rule_set, place, size, duration, part, name) for one in members)
        return reduce(np.add, every)

    return {name: partial(total, name) for name in _grouped(members, rule_set, tissue, duration)}


def _scatter_distance(own: Problem, tissue: str, rule_set: str, size: int) -> Floats:
    """Return the reach of scatter from the lit surface under one rule set. [m]."""
    duration, spot = own.duration("scatter"), _seen(own, tissue, own.reflectance("scatter"))
    alike = spot.view_angle.ndim == 0  # whether the limit is the same for every case
    if alike and not own.by_setting:
        light = own.light
        pulses = (light.pulse_duration, light.repetition_rate, *((light.pulse_energy,) if light.pedestal else ()))
        alike = all(np.ndim(values) == 0 for values in (*pulses, own.wavelength, duration))
    amount, limits = _limits(own, rule_set, tissue, duration)
    found = scatter_farthest(amount, limits, spot, (size,), alike)
    if not own.context.laser.line:
        return found
    beyond = step_places(own.spot) if tissue == "eye" and own.spot.any() else []
    steps = [np.broadcast_to(one, (size,)) for one in beyond]
    sums = (_last_scatter(total, steps, size) for total in _scatter_sums(own, tissue, rule_set, size).values())
    return reduce(np.maximum, sums, found)


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


def _scatter_ratio(own: Problem, tissue: str, rule_set: str, distance: Floats, size: int, group: str) -> Floats:
    """Return exposure over limit at a distance from the lit surface [m] under one rule set, of all groups or of one."""
    sums = _scatter_sums(own, tissue, rule_set, size) if group or own.context.laser.line else {}
    if group:
        return sums[group](distance) if group in sums else np.zeros(size)
    duration, part = own.duration("scatter"), own.reflectance("scatter")
    alone = _scattered(own, tissue, rule_set, distance, size, duration, part, "")
    return reduce(np.maximum, (total(distance) for total in sums.values()), alone)
