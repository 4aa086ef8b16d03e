"""Distances over changed inputs by arrays and as the assessment has them, and ratios of the eye."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context
from lasersafe.assessment.distances import exposure_ratios, variable_inputs, zone_distances
from lasersafe.assessment.setups import setup_result
from lasersafe.records.fields import worst_of_each
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
    zones = worst_of_each(setup_result(context).zones for context in contexts)
    return {(zone.way, zone.tissue): zone for zone in zones}


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
        Of several wavelengths, the sum of those that act together. [1]
    """
    every = (exposure_ratios(one, way, "eye", place, changes) for one in contexts for way in WAYS)
    return np.asarray(reduce(np.maximum, every))
