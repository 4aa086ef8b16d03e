"""Which way each input pushes a zone, where the tables have edges inside its range, and which cases cannot be."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.assessment.context import FAR_INFRARED, Context
from lasersafe.assessment.distances import checked_changes, variable_inputs
from lasersafe.assessment.problem import Problem
from lasersafe.hazard.instruments import viewing_data
from lasersafe.hazard.lasting import duration_edges, wavelength_edges
from lasersafe.hazard.materials import SAME, materials
from lasersafe.limits.exposure import COUNT_SLACK

__all__ = ["REASONS", "critical_values", "directions", "possible_cases"]

REASONS = {
    "power": "the exposure is proportional to it, the limit does not change",
    "mean_power": "the energy of a pulse is proportional to it, the limit per pulse does not change",
    "pulse_energy": "the exposure of a pulse is proportional to it, the limit per pulse does not change",
    "reflectance": "the exposure is proportional to it",
    "beam_diameter": "the beam is wider at every place; behind a lens its angle grows too",
    "focus_diameter": "the beam is wider at every place",
    "core_diameter": "the beam is wider at every place",
    "divergence": "the beam is wider at every place, as its diameter was read at its waist",
    "numerical_aperture": "the beam is wider at every place",
    "focal_length": "beyond both foci the beam is narrower behind the longer lens, and the focus itself moves out",
    "view_angle": "the exposure goes with its cosine",
}
_FEW_PULSES = 24


def directions(context: Context, way: str, tissue: str) -> dict[str, int]:
    """Return which way each input pushes the distance of a zone.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    way : str
        ``direct``, ``mirror``, ``scatter`` or ``aided``.
    tissue : str
        ``eye`` or ``skin``.

    Returns
    -------
    dict of str to int
        1: the distance never falls with the input; -1: it never rises; 0: not known, the range has to be searched. The
        reasons are in `REASONS`.
    """
    point = tissue == "skin" or (context.setup.spot_diameter is None and context.setup.kind == "lens")
    falls = -1 if way != "scatter" or point else 0
    at_waist = getattr(context.setup, "waist_at", None) is None
    signs = dict.fromkeys(("power", "mean_power", "pulse_energy", "reflectance", "focal_length"), 1)
    wider = ("beam_diameter", "focus_diameter", "core_diameter", "numerical_aperture", "view_angle")
    signs |= dict.fromkeys(wider, falls) | {"divergence": falls if at_waist else 0}
    return {name: signs.get(name.split(".")[0], 0) for name in variable_inputs(context)}


def critical_values(context: Context) -> dict[str, list[float]]:
    """Return where the distance may jump or turn: edges of the tables, and rates at which one pulse more counts.

    Parameters
    ----------
    context : Context
        One laser with one set-up.

    Returns
    -------
    dict of str to list of float
        By input, in SI units.
    """
    names = variable_inputs(context)
    keys = {s.material_key for s in context.surfaces if s.material_key is not None}
    rows = [row.wavelength for key in keys for row in materials()[key].rows]
    bands = [edge for band in viewing_data()[0] for edge in band.wavelength]
    light = [*wavelength_edges(context.rule_sets), 400e-9, 700e-9, FAR_INFRARED, *bands]
    light += [row * f for row in rows for f in (1.0 - SAME, 1.0, 1.0 + SAME)]
    times = duration_edges(context.rule_sets)
    found = {"wavelength": light, "duration": times, "pulse_duration": times}
    if "repetition_rate" in names:
        found["repetition_rate"] = [k / t for t in (*times, names["duration"]) for k in range(1, _FEW_PULSES)]
    return {name: sorted(set(values)) for name, values in found.items() if name in names}


def possible_cases(context: Context, changes: Mapping[str, ArrayLike]) -> NDArray[np.bool_]:
    """Return where inputs can be together: pulses fit into their period, a beam is not wider by its angle alone.

    Parameters
    ----------
    context : Context
        One laser with one set-up.
    changes : mapping of str to array_like
        As for `assessment.distances.zone_distances`. [SI units]

    Returns
    -------
    numpy.ndarray of bool, shape (...)
        True where the case is possible.

    Raises
    ------
    InputError
        If a key or value cannot be used.
    """
    values = checked_changes(context, "direct", "eye", changes)
    own = Problem(context, values)
    found = np.ones(np.broadcast_shapes(*(value.shape for value in values.values())), dtype=bool)
    if context.setup.kind == "collimated":
        for waist in own.waists:
            found = found & ~np.isnan(waist)
    space = context.space
    if space.kind == "pulse train" and not own.by_setting:
        light = own.light
        period = 1.0 / light.repetition_rate
        for number, spacing in light.burst:
            found = found & (light.pulse_duration <= spacing * (1.0 + COUNT_SLACK))
            found = found & (number * spacing <= period * (1.0 + COUNT_SLACK))
        found = found & (light.pulse_duration <= period * (1.0 + COUNT_SLACK))
    if context.setup.kind == "lens" or context.setup.kind == "fibre single mode":
        for angle in own.beams.divergence:
            found = found & (angle <= math.pi)
    return np.asarray(found)
