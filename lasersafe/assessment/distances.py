"""Zones and exposures of one set-up with some of its inputs replaced by arrays: one case or a million.

Keys are the field names of the case file, values are in SI units and, of a width or angle, on the criterion of the
set-up. With nothing changed the distances are those of `assessment.setups.setup_result`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.assessment.context import MORE_WAYS, WAYS, Context
from lasersafe.assessment.problem import Problem, emission_inputs, setup_inputs
from lasersafe.assessment.ratios import beam_distance, beam_ratio, scatter_distance_of, scatter_ratio_of
from lasersafe.errors import InputError
from lasersafe.hazard.emission import Floats
from lasersafe.physical import physical_range

__all__ = ["exposure_ratios", "variable_inputs", "zone_distances"]

_PLACE = "distance"  # beside the keys of the case file
_BLOCK = 65536
_CAP_NODES = 25
_FEW_CAPS = 64
_SEARCHES = 2000  # worst settings that are searched in one call, some milliseconds each


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
        found["view_angle"] = 0.0
    return found


def checked_changes(context: Context, way: str, tissue: str, changes: Mapping[str, ArrayLike]) -> dict[str, Floats]:
    """Return the values of some inputs as arrays, each inside what is possible for it [SI units]."""
    if way not in (*WAYS, *MORE_WAYS, "aided") or tissue not in ("eye", "skin") or (way, tissue) == ("aided", "skin"):
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
        inside = ((value > low) if open_low else (value >= low)) & (value <= high) & np.isfinite(value)
        if not inside.all():
            bad = float(np.atleast_1d(value)[~np.atleast_1d(inside)][0])
            allowed_words = f"{'above' if open_low else 'from'} {low:.6g} to {high:.6g}, and finite"
            message = f"{name} = {bad:.6g}: must be {allowed_words} (SI unit)"
            raise InputError(message)
        values[name] = value
    return values


def _in_blocks(context: Context, changes: Mapping[str, Floats], one_block: Callable[[Problem, int], Floats]) -> Floats:
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
        values = {name: value if value.ndim == 0 else value[part] for name, value in flat.items()}
        found[part] = _searched(Problem(context, values), found[part].shape, one_block)
    return found.reshape(shape)


def _searched(own: Problem, shape: tuple[int, ...], one_block: Callable[[Problem, int], Floats]) -> Floats:
    """Return what a function finds, case by case in those values on which the worst setting depends."""
    turns = [name for name in ("wavelength", "duration") if own.by_setting and np.ndim(own.values.get(name, 0.0))]
    if turns:
        return _by_turns(own, turns, shape, one_block)
    caps = [name for name in ("mean_power", "pulse_energy") if own.two_caps and np.ndim(own.values.get(name, 0.0))]
    return _by_caps(own, caps, shape, one_block) if caps else one_block(own, shape[0])


def _taken(own: Problem, where: NDArray[np.intp]) -> dict[str, Floats]:
    return {name: value if value.ndim == 0 else value[where] for name, value in own.values.items()}


def _groups_of(columns: list[Floats], most: int, what: str) -> list[tuple[tuple[float, ...], NDArray[np.intp]]]:
    """Return the different rows of some columns of one length, each with the places where it stands."""
    table = np.stack(columns, axis=1)
    order = np.lexsort(table.T)
    ordered = table[order]
    starts = 1 + np.flatnonzero((ordered[1:] != ordered[:-1]).any(axis=1))
    if starts.size >= most:
        message = (
            f"{what}: {starts.size + 1} different values; the worst of the settings that can be turned is searched "
            f"anew for each of them, so at most {most} are taken"
        )
        raise InputError(message)
    parts = np.split(order, starts)
    return [(tuple(map(float, table[part[0]])), part) for part in parts]


def _by_turns(
    own: Problem, turns: list[str], shape: tuple[int, ...], one_block: Callable[[Problem, int], Floats]
) -> Floats:
    found = np.empty(shape)
    for row, where in _groups_of([own.values[name] for name in turns], _SEARCHES, " and ".join(turns)):
        held = {name: np.asarray(number) for name, number in zip(turns, row, strict=True)}
        part = Problem(own.context, _taken(own, where) | held)
        found[where] = _searched(part, (where.size,), one_block)
    return found


def _by_caps(
    own: Problem, caps: list[str], shape: tuple[int, ...], one_block: Callable[[Problem, int], Floats]
) -> Floats:
    """Return what a function finds for two caps that vary apart: exactly for a few values, else an upper bound.

    More energy is never less harmful. So of many values each lies below its ratio of caps rounded up to a node, and
    below the node under it with all energies raised in proportion; the lower of the two counts.
    """
    if len(set(zip(*(own.values[name].tolist() for name in caps), strict=True))) <= _FEW_CAPS:
        return _by_turns(own, caps, shape, one_block)
    nominal = emission_inputs(own.context)
    power, energy = (
        np.broadcast_to(own.value(name, nominal[name]) / nominal[name], shape)
        for name in ("mean_power", "pulse_energy")
    )
    ratio = power / energy
    nodes = np.geomspace(ratio.min(), ratio.max(), _CAP_NODES)
    nodes[0], nodes[-1] = ratio.min(), ratio.max()
    place = np.clip(np.searchsorted(nodes, ratio, side="right") - 1, 0, _CAP_NODES - 2)
    found = np.empty(shape)
    for at in range(_CAP_NODES - 1):
        where = np.flatnonzero(place == at)
        if not where.size:
            continue
        bounds = []
        for node, boost in (
            (nodes[at + 1], energy[where]),
            (nodes[at], energy[where] * np.maximum(ratio[where] / nodes[at], 1.0)),
        ):
            held = {
                "mean_power": np.asarray(nominal["mean_power"] * node),
                "pulse_energy": np.asarray(nominal["pulse_energy"]),
            }
            bounds.append(one_block(Problem(own.context, _taken(own, where) | held, boost=boost), where.size))
        found[where] = np.minimum(*bounds)
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
            return reduce(np.maximum, (scatter_distance_of(own, tissue, name, size) for name in names))
        return beam_distance(own, way, tissue, names, size)

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
            scatter_ratio_of(own, tissue, name, at, size, group) if way == "scatter"
            else beam_ratio(own, way, tissue, name, at, group)
            for name in names
        ))  # fmt: skip

    values = {_PLACE: place, **checked_changes(context, way, tissue, changes)}
    return _in_blocks(context, values, one_block)
