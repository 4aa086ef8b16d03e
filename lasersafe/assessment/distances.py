"""Zones and exposures of one set-up with some of its inputs replaced by arrays: one case or a million.

Keys are the field names of the case file, values are in SI units and, of a width or angle, on the criterion of the
set-up. With nothing changed the distances are those of `assessment.setups.setup_result`. Wavelengths of a laser add.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial, reduce
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.assessment.context import MORE_WAYS, TISSUES, WAYS, Context, aid_of
from lasersafe.assessment.problem import CAPS, Problem, emission_inputs
from lasersafe.errors import OutOfRangeError, refuse
from lasersafe.hazard import distances, scatter
from lasersafe.hazard.combine import Member, group_of, summed_farthest
from lasersafe.hazard.distances import FARTHEST, Places, farthest, highest_ratio, last_fall
from lasersafe.hazard.exposure import Comparison, Floats, Received
from lasersafe.hazard.instruments import Aid, through
from lasersafe.hazard.scatter import scatter_farthest, scatter_ratios, spot_limits, step_places, turning_places
from lasersafe.limits.exposure import alike
from lasersafe.optics.reflection import LitSpot
from lasersafe.optics.viewing import transmitted
from lasersafe.quantity import physical_range
from lasersafe.records import Zone
from lasersafe.wording import Message, joined

_TWO_AXES = ("beam_diameter", "divergence", "focus_diameter", "waist_at", "spot_diameter")
_ONE_AXIS = ("measured_at", "focal_length", "numerical_aperture", "core_diameter", "mode_field_diameter")
_PLACE = "distance"  # beside the keys of the case file
_BLOCK = 1 << 17
_CAP_NODES = 25
_FEW_CAPS = 64
_SEARCHES = 2000  # worst settings that are searched in one call, some milliseconds each
_CLOSE = 1e-6  # m
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
    found = {"wavelength": context.wavelength, **emission_inputs(context)}
    for name in _TWO_AXES:
        axes = getattr(context.setup, name, None)
        if axes is not None:
            both = {f"{name}.x": float(axes.x), f"{name}.y": float(axes.y)}
            found |= {name: float(axes.x)} if axes.circular else both
    stated = ((name, getattr(context.setup, name, None)) for name in _ONE_AXIS)
    found |= {name: float(value) for name, value in stated if value is not None}
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
        refuse(f"zone = {way}, {tissue}: write direct, mirror or scatter with eye or skin, or aided with eye")
    allowed = variable_inputs(context) if changes else {}
    values = {}
    for name, given in changes.items():
        if name not in allowed:
            refuse(f"{name!r} cannot be varied for this laser and set-up; write one of: {', '.join(sorted(allowed))}")
        value = np.asarray(given, dtype=np.float64)
        low, high, open_low = physical_range(name)
        least, most = (value.min(), value.max()) if value.size else (high, low)
        above = least > low if open_low or low == -math.inf else least >= low
        if not (above and most <= high and most < math.inf):
            inside = ((value > low) if open_low else (value >= low)) & (value <= high) & np.isfinite(value)
            bad = float(np.atleast_1d(value)[~np.atleast_1d(inside)][0])
            allowed_words = f"{'above' if open_low else 'from'} {low:.6g} to {high:.6g}, and finite"
            refuse(f"{name} = {bad:.6g}: must be {allowed_words} (SI unit)")
        values[name] = value
    return values


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
        names = joined([Message(f"varied.{name}") for name in turns])
        refuse(Message("varied.too_many", names=names, count=starts.size + 1, most=_SEARCHES))
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

    for at in sorted(set(place.tolist())):
        where = np.flatnonzero(place == at)
        raised = energy[where] * np.maximum(ratio[where] / nodes[at], 1.0)
        found[where] = np.minimum(below(nodes[at + 1], where, energy[where]), below(nodes[at], where, raised))
    return found


def _worst(
    context: Context, values: Mapping[str, Floats], way: str, tissue: str, rule_sets: tuple[str, ...] | None = None
) -> Floats:
    """Return the worst ratio at the distances among the values, or, without any, the farthest distance."""
    for name in rule_sets or ():
        if name not in context.rule_sets:
            refuse(f"rule set = {name!r} is not worked out in this case; write one of: {', '.join(context.rule_sets)}")

    def one_block(own: Problem, size: int) -> Floats:
        every, place = _compared(own, way, tissue, rule_sets or context.rule_sets), own.values.get(_PLACE)
        return reduce(np.maximum, (one.reach(size) if place is None else one.ratio(place, size) for one in every))

    shape = np.broadcast_shapes(*(value.shape for value in values.values()))
    if not shape:
        return np.asarray(np.broadcast_to(one_block(Problem(context, values), 1), (1,))[0])
    size = math.prod(shape)
    flat = {
        name: value.reshape(()) if value.size == 1 else np.broadcast_to(value, shape).reshape(-1)
        for name, value in values.items()
    }
    found = np.empty(size)
    for start in range(0, size, _BLOCK):  # that stay in the processor's cache
        part = slice(start, min(start + _BLOCK, size))
        found[part] = _searched(Problem(context, _taken(flat, part)), found[part].size, one_block)
    return found.reshape(shape)


def zone_distances(
    context: Context, way: str, tissue: str, changes: Mapping[str, ArrayLike], rule_sets: tuple[str, ...] | None = None
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
    return _worst(context, checked_changes(context, way, tissue, changes), way, tissue, rule_sets)


def exposure_ratios(
    context: Context, way: str, tissue: str, distance: ArrayLike, changes: Mapping[str, ArrayLike]
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
    place = np.asarray(distance, dtype=np.float64)
    return _worst(context, {_PLACE: place, **checked_changes(context, way, tissue, changes)}, way, tissue)


def with_loss(context: Context, zone: Zone, loss: float) -> float:
    """Return how far a beam exceeds its limit with at least a loss [1/m] in the air; of several wavelengths their sum.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    zone : Zone
        How far the direct beam exceeds it without loss.
    loss : float
        The least attenuation coefficient of its wavelengths. [m-1]
    """
    c, far = zone.criterion, zone.distance
    if not far > _CLOSE:
        return far
    if not context.laser.line:
        return distances.attenuated_distance(c.amount, c.limit, c.limiting_aperture, context.beam, loss)[1]

    def ratio(place: Floats) -> Floats:
        return np.asarray(exposure_ratios(context, "direct", "eye", place, {}) * transmitted(loss, place))

    return min(distances.farthest_crossing(ratio, _CLOSE, far * (1.0 + 1e-9)), far)


def group_ratios(
    context: Context, way: str, tissue: str, changes: Mapping[str, float]
) -> dict[tuple[str, str], Callable[[Floats], Floats]]:
    """Return the sums of one case by rule set and group of `hazard.combine`.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str
        ``direct``, ``mirror``, ``scatter`` or ``aided``.
    tissue : str
        ``eye`` or ``skin``.
    changes : mapping of str to float
        What is replaced, see `variable_inputs`. [SI units]

    Returns
    -------
    dict
        Functions that take distances of shape (n,) [m] and return the highest sum of exposure over limit there or
        beyond.
    """
    own = Problem(context, checked_changes(context, way, tissue, changes))

    def beyond(one: _Compared, place: Floats) -> Floats:
        # nearer than a step of the limit the scatter of a spot can be less than beyond
        steps = one.steps if way == "scatter" and own.spot.any() else []
        places = np.stack([place, *(np.maximum(place, step) for step in steps)])
        return np.asarray(one.ratio(places.reshape(-1), places.size).reshape(places.shape).max(axis=0))

    every = _compared(own, way, tissue, context.rule_sets, grouped=True)
    return {(one.rule_sets[0], one.group): partial(beyond, one) for one in every}


def members_of(own: Problem) -> list[Problem]:
    """Return all wavelengths of a laser, the main one first; its beam and its values hold for the others too."""
    found = [own]
    for line, context in zip(own.context.laser.line, own.context.further.values(), strict=True):
        values = {name: value for name, value in own.values.items() if name not in ("wavelength", *CAPS)}
        if line.power is not None:
            values = {name: value for name, value in values.items() if name not in _PULSES}
        else:
            share = float(line.share or 1.0)
            values |= {name: np.asarray(own.values[name] * share) for name in CAPS if name in own.values}
        beams = own.beams
        if line.divergence is not None and line.divergence_criterion is not None:
            first, second = map(np.asarray, context.beam.divergence)
            beams = replace(beams, divergence=(first, first if first == second else second))
        elif own.context.setup.kind == "fibre single mode":
            angle = beams.divergence[0] * np.minimum(1.0, context.wavelength / own.wavelength)
            beams = replace(beams, divergence=(angle, angle))
        found.append(Problem(context, values, beams, own.boost if line.power is None else None))
    return found


def instruments_of(context: Context) -> list[Aid]:
    """Return the instruments with which somebody may look into the beam of a laser."""
    mine = (person for person in context.case.person if person.laser in (None, context.laser.name))
    return sorted({aid_of(person) for person in mine if person.aided}, key=lambda one: (one.name, one.objective))


def _through(compared: list[Comparison], own: Problem) -> list[Comparison]:
    """Return what is compared by the bare eye and behind every instrument of the case."""
    instruments = instruments_of(own.context)
    if not instruments:
        refuse(f"way = aided: nobody in the case uses an optical aid in the beam of {own.context.laser.name}")
    behind = (through(compared, instrument, own.wavelength) for instrument in instruments)
    return [*compared, *(one for seen in behind for one in seen)]


@dataclass(frozen=True)
class _Compared:
    """What counts together on one way: the main wavelength alone, or all wavelengths that add in one group."""

    group: str  # of `hazard.combine`; "" for all hazards of the main wavelength
    way: str
    tissue: str
    rule_sets: tuple[str, ...]
    duration: Floats
    share: Floats  # of the light that goes on: reflectance of a mirror or of what scatters
    members: list[tuple[Problem, list[Comparison]]]  # each wavelength; what it is compared with in a beam

    def ratio(self, place: Floats, size: int) -> Floats:
        """Return exposure over limit at distances, in a beam at or beyond them [m]; of several wavelengths the sum."""
        if self.way != "scatter":
            every = (highest_ratio(compared, own.beams, place, self.share) for own, compared in self.members)
        else:
            every = (scatter_ratios(*self.limits(own), place, self.spot(own), (size,)) for own, _ in self.members)
        return reduce(np.add, every)

    def reach(self, size: int) -> Floats:
        """Return the last distance at which the ratio is above 1 [m]."""
        own, compared = self.members[0]
        if self.way != "scatter" and not self.group:
            return farthest(compared, own.beams, self.share)
        if self.way != "scatter":
            return summed_farthest([Member(seen, one.beams) for one, seen in self.members], self.share, size)
        if not self.group:
            return scatter_farthest(*self.limits(own), self.spot(own), (size,), self.alike, self.turns(own))
        if self.tissue != "eye" or not own.spot.any():  # of a point: falls with the square
            return np.sqrt(self.ratio(np.ones(size), size))
        steps = [np.broadcast_to(one, (size,)) for one in self.steps]
        beyond = [(one, self.ratio(one, size)) for one in steps]  # nearer the sum can be less than just beyond a step

        def ratio(some: Floats, at: Places | slice = slice(None)) -> Floats:
            place = np.ones(size)
            place[at] = some
            there = (np.where(place < one, highest, 0.0) for one, highest in beyond)
            return reduce(np.maximum, there, self.ratio(place, size))[at]

        near, far = np.full(size, _CLOSE), np.full(size, 1.0)
        any_over = ratio(near) > 1.0
        while (over := ratio(far) > 1.0).any():
            near, far = np.where(over, far, near), np.where(over, 16.0 * far, far)
            if far.max() > FARTHEST:
                refuse(
                    f"distance: the sum of the wavelengths is above its limit {FARTHEST:g} m from the surface",
                    OutOfRangeError,
                )
        found, last = np.zeros(size), np.flatnonzero(any_over)
        found[last] = last_fall(ratio, near[last], far[last], found[last], last)
        return found

    @property
    def alike(self) -> bool:
        """Whether the limit at an angle is the same for every case."""
        own = self.members[0][0]
        varied = [own.value("view_angle", 0.0)]
        if not own.by_setting:
            light = own.light
            varied += map(np.asarray, (light.pulse_duration, light.repetition_rate, self.duration))
            varied += [alike(name, self.tissue, own.wavelength)[0] for name in self.rule_sets]
            varied += [np.asarray(light.pulse_energy)] if light.pedestal else []
        return not any(values.size > 1 for values in varied)

    def spot(self, own: Problem) -> LitSpot:
        """Return what scatters, with its size where that earns credit."""
        view, size = own.value("view_angle", own.context.aslant), own.spot if self.tissue == "eye" else 0.0
        return LitSpot(self.share, view, own.context.case.settings.scatter_model, size)

    def lights(self, own: Problem) -> list[Received]:
        """Return what is received of one wavelength, at every setting that can be the worst, for each rule set."""
        settings = own.settings(self.tissue, self.duration) if own.by_setting else (own.light,)
        return [
            Received(name, self.tissue, one, own.wavelength, self.duration)
            for one, name in product(settings, self.rule_sets)
        ]

    def turns(self, own: Problem) -> list[Floats]:
        """Return where the limits of one wavelength can fall because the angle of the spot does."""
        spot = self.spot(own)
        return [place for light in self.lights(own) for place in turning_places(light, spot.angles, spot.diameter)]

    @property
    def steps(self) -> list[Floats]:
        """Return just beyond which distances the scatter of a spot can be more than before them."""
        return [*step_places(self.members[0][0].spot), *(one for own, _ in self.members for one in self.turns(own))]

    def limits(self, own: Problem) -> tuple[Floats, scatter.LimitOfAngles]:
        """Return what one wavelength emits, and the function from angles to its lowest limit in the group."""
        shortest = float(own.wavelength.min())  # `_compared` has refused a range with two groups

        def part(hazard: str) -> float:
            return float(not self.group or group_of(self.tissue, hazard, shortest) == self.group)

        every = [
            (light.emission.amount if own.by_setting else 1.0, spot_limits(light, part)) for light in self.lights(own)
        ]

        def lowest(first: Floats, second: Floats, at: Places) -> Floats:
            return reduce(np.minimum, (limit(first, second, at) / amount for amount, limit in every))

        return own.factor if own.by_setting else own.light.amount, lowest


def _compared(
    own: Problem, way: str, tissue: str, rule_sets: tuple[str, ...], grouped: bool = False
) -> Iterator[_Compared]:
    """Yield what counts on a way: the main wavelength alone and, of several, the sum of each group; or only these."""
    base, members = "direct" if way == "aided" else way, members_of(own)

    def seen(one: Problem, compared: list[Comparison]) -> tuple[Problem, list[Comparison]]:
        return one, _through(compared, one) if way == "aided" else compared

    if not grouped:
        duration, share = own.duration(base), own.reflectance(base)
        for sets in [(name,) for name in rule_sets] if way == "scatter" else [rule_sets]:
            alone = [c for name in sets if way != "scatter" for c in own.compared(name, tissue, duration)]
            yield _Compared("", way, tissue, sets, duration, share, [seen(own, alone)])
    duration = reduce(np.maximum, (one.duration(base) for one in members))
    share = reduce(np.maximum, (one.reflectance(base) for one in members))
    for name in rule_sets if grouped or len(members) > 1 else ():
        groups: dict[str, dict[int, list[Comparison]]] = {}
        for number, one in enumerate(members):
            ends = {float(one.wavelength.min()), float(one.wavelength.max())}
            for compared in one.compared(name, tissue, duration):
                names = {group_of(tissue, compared.hazard, end) for end in ends}
                if len(names) > 1:
                    refuse("wavelength: a range across 315 nm cannot be varied for a laser of several wavelengths")
                groups.setdefault(names.pop(), {}).setdefault(number, []).append(compared)
        for group, found in groups.items():
            every = [seen(members[number], compared) for number, compared in found.items()]
            yield _Compared(group, way, tissue, (name,), duration, share, every)
