"""Irradiance at places in space, as on a barrier or a floor: of a beam, of its mirror image, of scatter."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.errors import OutOfRangeError
from lasersafe.optics.checks import FloatArray, finite, positive, within
from lasersafe.optics.geometry import BeamGeometry, diameters
from lasersafe.optics.reflection import scatter_exposure

Point = tuple[float, float, float]


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


def peak_on_barrier(
    irradiance: Callable[[FloatArray], FloatArray],
    corner: Point,
    along: Point,
    upwards: Point,
    near: Point,
    *,
    across: int = 41,
    rounds: int = 40,
) -> tuple[float, FloatArray]:
    """Return the highest irradiance on a barrier and where it is: a grid alone would miss a narrow beam [1]_.

    A grid over the barrier and the place nearest to *near* start a search that closes in on the maximum.

    Parameters
    ----------
    irradiance : callable
        Takes places of shape (..., 3) [m], returns the irradiance there: `beam_map` or `scatter_map` without a normal,
        so that no slant of the barrier is credited.
    corner, along, upwards : tuple of float, (x, y, z)
        A corner, and the two edges that leave it. [m]
    near : tuple of float, (x, y, z)
        Where the maximum is to be expected: the place where the axis of the beam meets the plane, see
        `axis_on_plane`, or the scattering spot. [m]
    across : int
        Places of the grid along each edge.
    rounds : int
        How often the grid is halved.

    Returns
    -------
    tuple of float and numpy.ndarray, shape (3,)
        Irradiance [W/m2 or J/m2], and its place. [m]

    Raises
    ------
    OutOfRangeError
        If the edges do not span a plane, or a number cannot be used.

    References
    ----------
    .. [1] Own: search by a shrinking grid.
    """
    plane_points(corner, along, upwards, 2, 2)
    origin, edges = finite("corner", corner, "m"), np.array([along, upwards], dtype=np.float64)
    wanted = np.linalg.lstsq(edges.T, finite("near", near, "m") - origin, rcond=None)[0]
    steps = np.linspace(-0.5, 0.5, across)
    u, v = (part.ravel() for part in np.meshgrid(steps, steps))
    grid = np.column_stack([u, v])
    best, place = -1.0, np.array([0.5, 0.5])
    for start in (np.array([0.5, 0.5]), np.clip(wanted, 0.0, 1.0)):
        middle, size = start, 1.0
        for _ in range(rounds):
            tried = np.clip(np.vstack([middle + size * grid, middle]), 0.0, 1.0)
            found = irradiance(origin + tried @ edges)
            highest = int(np.argmax(found))
            middle, size = tried[highest], size * 0.5
            if float(found[highest]) > best:
                best, place = float(found[highest]), tried[highest]
    return best, np.asarray(origin + place @ edges)


def axis_on_plane(start: Point, aim: Point, corner: Point, along: Point, upwards: Point) -> FloatArray | None:
    """Return where the axis of a beam meets the plane of a barrier, inside its edges or not [1]_.

    Parameters
    ----------
    start, aim : tuple of float, (x, y, z)
        Last optic or mirror, and the direction. [m]
    corner, along, upwards : tuple of float, (x, y, z)
        A corner of the barrier, and the two edges that leave it. [m]

    Returns
    -------
    numpy.ndarray, shape (3,), or None
        The place; None where the beam points away or along the plane. [m]

    Raises
    ------
    OutOfRangeError
        If the edges do not span a plane, or a number cannot be used.

    References
    ----------
    .. [1] Elementary: a line and a plane.
    """
    _, normal = plane_points(corner, along, upwards, 2, 2)
    _, _, way = _frame(aim)
    begin = finite("start", start, "m")
    slope = float(way @ normal)
    apart = float((finite("corner", corner, "m") - begin) @ normal)
    if abs(slope) < 1e-12 or apart / slope < 0.0:
        return None
    return np.asarray(begin + way * (apart / slope))
