"""Barriers and view windows in space: what falls where, how near a rated barrier may stand, what passes over it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.hazard.barriers import TOLERANCE, BarrierVerdict, barrier_distance, judge_barrier
from lasersafe.hazard.distances import scatter_distance
from lasersafe.optics.checks import FloatArray, finite, floats, positive, within
from lasersafe.optics.geometry import BeamGeometry, diameters
from lasersafe.optics.reflection import scatter_exposure

Point = tuple[float, float, float]


@dataclass(frozen=True)
class WindowVerdict:
    """Whether a view window holds: its optical density, what is needed, and the verdict on its damage."""

    holds: bool
    needed_density: float
    optical_density: float | None
    damage: BarrierVerdict
    words: str


def judge_window(
    exposure: float,
    limit: float,
    optical_density: float | None,
    irradiance: float,
    *,
    rating: float | None,
    rated_time: float | None = None,
    required_time: float | None = None,
) -> WindowVerdict:
    """Judge a view window: it holds only when both its density and its resistance are enough [1]_.

    Parameters
    ----------
    exposure : float
        Exposure that would meet the eye without the window. [W/m2 or J/m2]
    limit : float
        Exposure limit of the eye. [W/m2 or J/m2]
    optical_density : float or None
        Density at this wavelength as its maker states it; None when not stated. [1]
    irradiance : float
        Peak irradiance on the window. [W/m2]
    rating : float or None
        Power density that the window withstands; None when not stated. [W/m2]
    rated_time : float, optional
        Time for which the rating is stated. [s]
    required_time : float, optional
        Time until the beam is surely off. [s]

    Returns
    -------
    WindowVerdict
        The verdict; False when anything is unknown.

    Raises
    ------
    OutOfRangeError
        If the exposure is negative or the limit not positive, or one is not finite.

    References
    ----------
    .. [1] IEC60825-4: a window is part of the guard and has to last as long.

    Examples
    --------
    >>> judge_window(5e5, 50.0, 6.0, 4e4, rating=None).words
    'does not hold: density 6 is enough (4 needed), but it is not rated, so nothing is known about what it withstands'
    """
    level = float(within("exposure", exposure, "W/m2 or J/m2", 0.0, math.inf))
    most = float(positive("limit", limit, "W/m2 or J/m2"))
    needed = max(0.0, math.ceil(round(10.0 * math.log10(level / most), 9)) / 10.0) if level > 0.0 else 0.0
    damage = judge_barrier(irradiance, rating=rating, rated_time=rated_time, required_time=required_time)
    known = optical_density is not None and math.isfinite(optical_density)
    dense = known and optical_density is not None and level * 10.0**-optical_density <= most
    holds = bool(dense and damage.holds)
    if not known:
        words = f"does not hold: its optical density is not stated, {needed:g} is needed"
    elif not dense:
        words = f"does not hold: density {optical_density:g}, {needed:g} is needed"
    elif not damage.holds:
        reason = damage.verdict.removeprefix("does not hold: ")
        words = f"does not hold: density {optical_density:g} is enough ({needed:g} needed), but {reason}"
    else:
        words = f"holds: density {optical_density:g} ({needed:g} needed); {damage.verdict.removeprefix('holds: ')}"
    return WindowVerdict(holds, needed, optical_density, damage, words)


def plane_points(corner: Point, along: Point, upwards: Point, columns: int, rows: int) -> tuple[FloatArray, FloatArray]:
    """Return places on a barrier, from one corner along two of its edges, and its normal [1]_.

    Parameters
    ----------
    corner, along, upwards : tuple of float, (x, y, z)
        A corner, and the two edges that leave it. [m]
    columns, rows : int
        Places along each edge, the corners included.

    Returns
    -------
    tuple of numpy.ndarray, shapes (rows, columns, 3) and (3,)
        Places [m], and the normal of length 1. [m]

    Raises
    ------
    OutOfRangeError
        If the edges do not span a plane, or there are fewer than 2 places along an edge.

    References
    ----------
    .. [1] Elementary: a plane in space.
    """
    edge, height = finite("along", along, "m"), finite("upwards", upwards, "m")
    normal = np.cross(edge, height)
    size = float(np.linalg.norm(normal))
    if columns < 2 or rows < 2 or not size > 0.0:
        message = "barrier: its two edges must span a plane, with 2 or more places along each; correct them"
        raise OutOfRangeError(message)
    u = np.linspace(0.0, 1.0, columns)[np.newaxis, :, np.newaxis]
    v = np.linspace(0.0, 1.0, rows)[:, np.newaxis, np.newaxis]
    return finite("corner", corner, "m") + u * edge + v * height, normal / size


def _frame(aim: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the axes of a beam: x level, y up and across, z along it."""
    way = finite("aim", aim, "")
    length = float(np.linalg.norm(way))
    positive("length of aim", length, "")
    way = way / length
    level = np.cross(way, [0.0, 0.0, 1.0])
    if float(np.linalg.norm(level)) < 1e-9:  # straight up or down: x stays x
        level = np.array([1.0, 0.0, 0.0])
    level = level / np.linalg.norm(level)
    return level, np.cross(level, way), way


def beam_map(
    power: float, beam: BeamGeometry, start: Point, aim: Point, points: ArrayLike, normal: ArrayLike | None = None
) -> FloatArray:
    """Return the irradiance of a beam at places in space: the direct beam, or one that a mirror sends on [1]_.

    The x axis of the beam is level. For a mirror, *start* is the place on it and *beam* the one behind it.

    Parameters
    ----------
    power : float
        Power, or energy of a pulse. [W or J]
    beam : BeamGeometry
        The beam; its distances start at *start*. [1]
    start : tuple of float, (x, y, z)
        Last optic, or mirror. [m]
    aim : tuple of float, (x, y, z)
        Direction, of any length. [m]
    points : array_like, shape (..., 3)
        Places. [m]
    normal : array_like, shape (3,), optional
        Normal of the surface that is lit; left out, every place faces the beam. [m]

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance, not averaged; 0 behind the start. [W/m2 or J/m2]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a place lies in a point focus.

    References
    ----------
    .. [1] SIEGMAN1986, Gaussian beam: its profile is exp(-(2 r / d63)^2).
    """
    whole = float(within("power", power, "W or J", 0.0, math.inf))
    level, across, way = _frame(aim)
    apart = finite("points", points, "m") - finite("start", start, "m")
    z = apart @ way
    ahead = z >= 0.0
    dx, dy = diameters(beam, np.where(ahead, z, 0.0))
    if not ((dx > 0.0) & (dy > 0.0) | ~ahead).all():
        message = "irradiance: a place lies in a point focus, where it has no bound; give the focus its diameter"
        raise OutOfRangeError(message)
    dx, dy = np.where(ahead, dx, 1.0), np.where(ahead, dy, 1.0)
    radius2 = np.square(2.0 * (apart @ level) / dx) + np.square(2.0 * (apart @ across) / dy)
    with np.errstate(under="ignore"):
        shape = np.exp(-radius2) if beam.profile == "gaussian" else (radius2 <= 1.0).astype(np.float64)
        found = whole * shape / (math.pi / 4.0 * dx * dy)
    if normal is not None:
        found = found * abs(float(way @ _unit(normal)))
    return np.asarray(np.where(ahead, found, 0.0))


def _unit(normal: ArrayLike) -> FloatArray:
    vector = finite("normal", normal, "")
    return np.asarray(vector / float(positive("length of normal", np.linalg.norm(vector), "")))


def scatter_map(
    power: float,
    reflectance: float,
    spot: Point,
    surface_normal: ArrayLike | None,
    points: ArrayLike,
    normal: ArrayLike | None = None,
    model: str = "lambert",
) -> FloatArray:
    """Return the irradiance of scatter at places in space [1]_ [2]_.

    Parameters
    ----------
    power : float
        Power, or energy of a pulse, on the scattering surface. [W or J]
    reflectance : float
        Part scattered, 0 to 1. [1]
    spot : tuple of float, (x, y, z)
        The lit spot, taken as small. [m]
    surface_normal : array_like, shape (3,), or None
        Normal of the scattering surface; None for one that may be turned any way, seen along its normal. [m]
    points : array_like, shape (..., 3)
        Places. [m]
    normal : array_like, shape (3,), optional
        Normal of the surface that is lit; left out, every place faces the spot. [m]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    numpy.ndarray, shape (...)
        Irradiance; 0 behind the scattering surface. [W/m2 or J/m2]

    Raises
    ------
    InputError
        If the model is not known.
    OutOfRangeError
        If a number cannot be used, or a place is the spot itself.

    References
    ----------
    .. [1] OSHA-OTM, diffuse reflection formula.
    .. [2] DGUV203-093, section 4.3, whose figures for isotropic scatter follow ``"hemisphere"``.
    """
    apart = finite("points", points, "m") - finite("spot", spot, "m")
    distance = positive("distance from the spot", np.linalg.norm(apart, axis=-1), "m")
    if surface_normal is None:
        cosine = np.ones_like(distance)
    else:
        cosine = np.clip(apart @ _unit(surface_normal) / distance, -1.0, 1.0)
    view = np.arccos(np.maximum(cosine, 0.0))
    found = np.where(cosine > 0.0, scatter_exposure(power, reflectance, distance, view, model), 0.0)
    if normal is not None:
        found = found * np.abs(apart @ _unit(normal)) / distance
    return np.asarray(found)


def rated_distances(
    power: float,
    rating: float,
    beam: BeamGeometry,
    *,
    mirror_reflectance: float = 1.0,
    mirror_beam: BeamGeometry | None = None,
    scatter_reflectance: float = 1.0,
    model: str = "lambert",
) -> dict[str, float]:
    """Return how near a barrier of a rating may stand, for each way that light takes [1]_.

    Parameters
    ----------
    power : float
        Power of the beam. [W]
    rating : float
        Power density that the barrier withstands. [W/m2]
    beam : BeamGeometry
        The beam. [1]
    mirror_reflectance : float
        Of the worst mirror. [1]
    mirror_beam : BeamGeometry, optional
        The beam behind a curved mirror, its distances from there; left out, a flat mirror, along the folded path. [1]
    scatter_reflectance : float
        Of the worst scatterer. [1]
    model : str
        ``"lambert"`` or ``"hemisphere"``.

    Returns
    -------
    dict of str to float
        ``direct`` from the last optic; ``mirror`` from the last optic along the folded path, or from a curved mirror;
        ``scatter`` from the lit spot. 0 where the rating is nowhere exceeded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or a distance is too large to compute.

    References
    ----------
    .. [1] Own: the range equation with the rating in place of a limit.
    """
    part = float(within("mirror_reflectance", mirror_reflectance, "", 0.0, 1.0))
    scatter = float(scatter_distance(power, rating, scatter_reflectance, 0.0, model)) * (1.0 + TOLERANCE)
    return {
        "direct": barrier_distance(power, rating, beam),
        "mirror": barrier_distance(power * part, rating, mirror_beam or beam) if part > 0.0 else 0.0,
        "scatter": scatter,
    }


def shadow(
    source_heights: tuple[float, float], to_barrier: float, bottom: float, top: float, to_person: float
) -> tuple[float, float]:
    """Return the heights that a barrier shades at a person's place, for every height of the source [1]_.

    Used on a plan it gives the width behind a barrier that leaves gaps beside it.

    Parameters
    ----------
    source_heights : tuple of float, (lowest, highest)
        Where the light can start. [m]
    to_barrier : float
        From the source to the barrier. [m]
    bottom, top : float
        Lower and upper edge of the barrier. [m]
    to_person : float
        From the source to the person, beyond the barrier. [m]

    Returns
    -------
    tuple of float
        Lowest and highest shaded height; the same twice, at the barrier, where nothing is shaded. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the person stands before the barrier.

    References
    ----------
    .. [1] Elementary: straight lines past an edge.

    Examples
    --------
    >>> shadow((1.0, 1.5), 2.0, 0.0, 2.0, 4.0)
    (-1.0, 2.5)
    """
    heights = floats("source_heights", source_heights)
    low, high = (float(finite("source_heights", h, "m")) for h in heights)
    near = float(positive("to_barrier", to_barrier, "m"))
    far = float(within("to_person", to_person, "m", near, math.inf))
    edge_low, edge_high = float(finite("bottom", bottom, "m")), float(finite("top", top, "m"))
    if not (low <= high and edge_low < edge_high):
        message = "barrier: the lower edge must lie below the upper, and the lowest source not above the highest"
        raise OutOfRangeError(message)
    grow = far / near
    bottoms = [h + (edge_low - h) * grow for h in (low, high)]
    tops = [h + (edge_high - h) * grow for h in (low, high)]
    return (max(bottoms), min(tops)) if max(bottoms) < min(tops) else (edge_low, edge_low)


def needed_height(
    source_heights: tuple[float, float], to_barrier: float, to_person: float, highest_place: float
) -> float:
    """Return how high a barrier must reach so that no straight line meets a place behind it [1]_.

    Parameters
    ----------
    source_heights : tuple of float, (lowest, highest)
        Where the light can start. [m]
    to_barrier : float
        From the source to the barrier. [m]
    to_person : float
        From the source to the nearest person behind it. [m]
    highest_place : float
        Highest place that has to be in the shade, as the eye of a tall person or a raised hand. [m]

    Returns
    -------
    float
        Height of the upper edge that serves persons there and farther away. [m]

    Raises
    ------
    OutOfRangeError
        If a number cannot be used, or the person stands before the barrier.

    References
    ----------
    .. [1] Elementary: straight lines past an edge.
    """
    near = float(positive("to_barrier", to_barrier, "m"))
    far = float(within("to_person", to_person, "m", near, math.inf))
    place = float(finite("highest_place", highest_place, "m"))
    ends = [float(finite("source_heights", h, "m")) for h in floats("source_heights", source_heights)]
    # past a person farther away, the line to a lower place rises towards the height of the source
    return max(max(h, h + (place - h) * near / far) for h in ends)


def can_be_reached_over(top: float, reach_height: float = 2.70) -> bool:
    """Return whether somebody can reach over a barrier; True unless it is surely higher than the reach [1]_.

    Parameters
    ----------
    top : float
        Height of the upper edge above the place where people stand. [m]
    reach_height : float
        Height that people are taken to reach. [m]

    Returns
    -------
    bool
        True also when a number is not finite.

    References
    ----------
    .. [1] DGUV203-036, 12.1: 2.70 m above any place where people stand.
    """
    return not (math.isfinite(top) and top >= reach_height)
