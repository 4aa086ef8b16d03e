"""How far many beams exceed the limits at once, and which limit decides each: what ``zones`` says of one, on arrays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lasersafe.hazard.comparisons import Light, comparisons
from lasersafe.hazard.distances import direct_distance_arrays, scatter_distance
from lasersafe.hazard.two_axes import farthest_of_two_axes
from lasersafe.hazard.variation import Beams
from lasersafe.optics.checks import FloatArray, positive, within


@dataclass(frozen=True)
class ReachArrays:
    """The farthest distances, and which comparison decided each.

    Attributes
    ----------
    distance : numpy.ndarray, shape (...)
        0 where no place exceeds a limit. [m]
    limit : numpy.ndarray, shape (...)
        The limit that decided. [W/m2 or J/m2]
    limiting_aperture : numpy.ndarray, shape (...)
        Its limiting aperture. [m]
    decided : numpy.ndarray of int, shape (...)
        Index into ``labels``.
    labels : tuple of (rule set, hazard, rule)
        What the indices mean.
    by_rule_set : dict of str to numpy.ndarray, shape (...)
        The distance under each rule set alone. [m]
    """

    distance: FloatArray
    limit: FloatArray
    limiting_aperture: FloatArray
    decided: NDArray[np.intp]
    labels: tuple[tuple[str, str, str], ...]
    by_rule_set: dict[str, FloatArray]


def _farthest(
    rule_sets: tuple[str, ...],
    tissue: str,
    light: Light,
    wavelength: ArrayLike,
    duration: ArrayLike,
    shape: tuple[int, ...],
    distance_of: Callable[[FloatArray, FloatArray], FloatArray],
) -> ReachArrays:
    """Return the farthest of all comparisons; ``distance_of`` takes limits and limiting apertures."""
    labels: list[tuple[str, str, str]] = []
    best, limit, aperture = np.full(shape, -1.0), np.full(shape, np.nan), np.full(shape, np.nan)
    decided = np.zeros(shape, dtype=np.intp)
    by_rule_set: dict[str, FloatArray] = {}
    known: dict[tuple[float, float], FloatArray] = {}  # rule sets often agree: the same limit is worked out once
    for rule_set in rule_sets:
        own: FloatArray | None = None
        for one in comparisons(rule_set, tissue, light, wavelength, duration):
            applies = np.isfinite(one.limit)
            key = (float(one.limit), float(one.aperture)) if one.limit.ndim == one.aperture.ndim == 0 else None
            found = None if key is None else known.get(key)
            if found is None:
                away = distance_of(np.where(applies, one.limit, 1.0), one.aperture)
                found = np.broadcast_to(away if applies.all() else np.where(applies, away, -1.0), shape)
            if key is not None:
                known[key] = found
            own = found if own is None else np.maximum(own, found)
            farther = found > best
            if farther.any():
                np.copyto(best, found, where=farther)
                np.copyto(limit, one.limit, where=farther)
                np.copyto(aperture, one.aperture, where=farther)
                np.copyto(decided, len(labels), where=farther)
            labels.append((rule_set, one.hazard, one.rule))
        assert own is not None
        by_rule_set[rule_set] = own
    return ReachArrays(best, limit, aperture, decided, tuple(labels), by_rule_set)


def _shape(light: Light, *others: ArrayLike) -> tuple[int, ...]:
    own = (light.amount, light.pulse_duration, light.repetition_rate)
    return np.broadcast_shapes(*(np.shape(one) for one in (*own, *others)))


def direct_reach_arrays(
    rule_sets: tuple[str, ...],
    tissue: str,
    light: Light,
    wavelength: ArrayLike,
    duration: ArrayLike,
    beams: Beams,
    reflectance: ArrayLike = 1.0,
) -> ReachArrays:
    """Return how far beams, or their reflection by a flat mirror, exceed the limits [1]_.

    Parameters
    ----------
    rule_sets : tuple of str
        Names of the rule sets; the farthest distance decides.
    tissue : str
        ``eye`` or ``skin``.
    light : Light
        What is emitted.
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]
    duration : array_like, shape (...)
        Exposure duration. [s]
    beams : Beams
        The beams.
    reflectance : array_like, shape (...)
        1 for the direct beam, that of the mirror for a reflection. [1]

    Returns
    -------
    ReachArrays
        Distances along the path from the last optic.

    Raises
    ------
    InputError
        If a word is not known.
    OutOfRangeError
        If a number cannot be used, or lies outside what an edition covers.

    References
    ----------
    .. [1] OSHA-OTM, range equation; ISO11146-1 for the hyperbolic beam.
    """
    amount = positive("amount", light.amount, "W or J") * within("reflectance", reflectance, "", 0.0, 1.0)
    axes = (beams.waist_diameter, beams.divergence, beams.waist_position)
    shape = _shape(light, wavelength, duration, *(one for pair in axes for one in pair), reflectance)

    def distance_of(limit: FloatArray, aperture: FloatArray) -> FloatArray:
        if not beams.circular:
            return farthest_of_two_axes(amount, limit, aperture, *axes, beams.profile, beams.propagation)
        (waist, _), (angle, _), (position, _) = axes
        return direct_distance_arrays(
            amount, limit, aperture, waist, angle, position, profile=beams.profile, propagation=beams.propagation
        )

    return _farthest(rule_sets, tissue, light, wavelength, duration, shape, distance_of)


def scatter_reach_arrays(
    rule_sets: tuple[str, ...],
    tissue: str,
    light: Light,
    wavelength: ArrayLike,
    duration: ArrayLike,
    *,
    reflectance: ArrayLike = 1.0,
    view_angle: ArrayLike = 0.0,
    model: str = "lambert",
) -> ReachArrays:
    """Return how far from lit surfaces their scatter exceeds the limits, as that of a point source [1]_.

    Parameters
    ----------
    rule_sets : tuple of str
        Names of the rule sets; the farthest distance decides.
    tissue : str
        ``eye`` or ``skin``.
    light : Light
        What is emitted.
    wavelength : array_like, shape (...)
        Vacuum wavelength. [m]
    duration : array_like, shape (...)
        Exposure duration. [s]
    reflectance : array_like, shape (...)
        Part scattered; 1 is the bound. [1]
    view_angle : array_like, shape (...)
        Angle from the normal of the surface. [rad]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    ReachArrays
        Distances from the lit surface.

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used, or lies outside what an edition covers.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula.
    """
    shape = _shape(light, wavelength, duration, reflectance, view_angle)

    def distance_of(limit: FloatArray, aperture: FloatArray) -> FloatArray:
        del aperture
        return scatter_distance(light.amount, limit, reflectance, view_angle, model)

    return _farthest(rule_sets, tissue, light, wavelength, duration, shape, distance_of)
