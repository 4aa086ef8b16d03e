"""Distances and ratios of the eye over changed inputs by arrays, and for single numbers as the assessment has them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context
from lasersafe.assessment.lines import every_context
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.variation import exposure_ratios, variable_inputs, zone_distances
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.scatter import scatter_ratio
from lasersafe.hazard.zones import exposure_at, worst_place
from lasersafe.records.fields import badness
from lasersafe.results import Zone

Floats = NDArray[np.float64]
WAYS = ("direct", "mirror", "scatter")
TISSUES = ("eye", "skin")
ZONES = tuple((way, tissue) for way in WAYS for tissue in TISSUES)


def takes_arrays(contexts: Sequence[Context], name: str) -> bool:
    """Return whether an input can be replaced by an array, at every corner of the tolerances."""
    return all(name in variable_inputs(context) for context in contexts)


def reach_by_rule_set(
    contexts: Sequence[Context], zone: tuple[str, str], changes: Mapping[str, Floats]
) -> dict[str, Floats]:
    """Return how far one zone reaches under each rule set, the farthest of all corners.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    zone : tuple of str
        Way and tissue.
    changes : mapping of str to numpy.ndarray
        What is changed. [SI]

    Returns
    -------
    dict of str to numpy.ndarray, shape (...)
        [m]
    """
    return {
        name: reduce(np.maximum, (zone_distances(one, *zone, changes, (name,)) for one in contexts))
        for name in contexts[0].rule_sets
    }


def assessed_zones(contexts: Sequence[Context]) -> dict[tuple[str, str], Zone]:
    """Return the zones as the assessment has them, of each the farthest of all corners."""
    zones: dict[tuple[str, str], Zone] = {}
    for zone in (zone for context in contexts for zone in setup_result(context).zones):
        known = zones.setdefault((zone.way, zone.tissue), zone)
        if badness(zone.distance) > badness(known.distance):
            zones[zone.way, zone.tissue] = zone
    return zones


def eye_ratio(contexts: Sequence[Context], place: float, changes: Mapping[str, Floats]) -> Floats:
    """Return exposure over limit of the eye at or beyond a place, the worst of all ways.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    place : float
        From the last optic, for scatter from the lit surface. [m]
    changes : mapping of str to numpy.ndarray
        What is changed. [SI]

    Returns
    -------
    numpy.ndarray, shape (...)
        [1]
    """
    every = (exposure_ratios(one, way, "eye", place, changes) for one in contexts for way in WAYS)
    return np.asarray(reduce(np.maximum, every))


def assessed_eye_ratio(contexts: Sequence[Context], place: float) -> float:
    """Return the same for single numbers, by the functions of the assessment.

    The ratios of several wavelengths are added whatever they act on, which is never too little.

    Parameters
    ----------
    contexts : sequence of Context
        One laser with one set-up, at each corner of its tolerances.
    place : float
        From the last optic, for scatter from the lit surface. [m]

    Returns
    -------
    float
        [1]
    """
    return max(
        math.fsum(_ratio(own, way, place) for own in every_context(context).values())
        for context in contexts
        for way in WAYS
    )


def _ratio(context: Context, way: str, place: float) -> float:
    duration = context.duration(way)[0]
    light = context.wavelength
    if way == "scatter":
        reflectance, angle, _ = context.scatter_surface
        emission, at = context.emission("eye", duration), np.asarray(max(place, 1e-3))
        model, spot = context.case.settings.scatter_model, context.spot
        return max(
            float(
                scatter_ratio(
                    name, "eye", emission, light, duration, at,
                    reflectance=reflectance, view_angle=angle, model=model, spot_diameter=spot,
                )
            )
            for name in context.rule_sets
        )  # fmt: skip
    factor = 1.0 if way == "direct" else context.mirror_reflectance[0]
    return max(
        exposure_at(context.beam, z, criterion, factor) / criterion.limit
        for name in context.rule_sets
        for emission in context.emissions("eye", duration)
        for criterion in criteria(name, "eye", emission, light, duration, ALPHA_MIN)
        for z in worst_place(context.beam, place, (criterion.limiting_aperture,))
    )
