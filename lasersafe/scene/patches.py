"""The part of a surface that a beam can fall on: a disc where its normal is known, else a ball."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene.directions import Vector
from lasersafe.scene.profile import NEAREST, BeamProfile
from lasersafe.scene.sources import Mirror, Source

FLOAT = NDArray[np.float64]
_FINER = 6  # how often the grid is laid anew over what was found
_ACROSS = {2: 17, 3: 9}  # places of the grid along each of its directions
_WORTH = 0.9  # a part that is hardly smaller is not looked at again


def lit_patch(source: Source, mirror: Mirror) -> tuple[Vector, float]:
    """Return middle and radius of a part of a surface that holds all that the beam of a source can fall on.

    It is found from places on a grid, each of which stands for all that is nearer to it than to the others, and again
    on a finer grid over what was found. What stands between laser and surface is not counted.

    Parameters
    ----------
    source : Source
        The laser.
    mirror : Mirror
        The surface.

    Returns
    -------
    tuple of (tuple of float, float)
        Middle and radius; those of the whole surface where nothing less is found. [m]
    """
    middle, radius = mirror.position, mirror.width / 2.0
    if not isinstance(source.profile, BeamProfile) or not radius > 0.0:
        return middle, radius
    grid, gap = _grid(mirror.normal)
    gain = source.profile.gain(mirror.width) if mirror.gathers else 1.0
    for _ in range(_FINER):
        places = np.array(middle) + radius * grid
        kept = places[_can_be_lit(source, source.profile, places, radius * gap, gain)]
        if not kept.size:
            break
        centre = kept.mean(axis=0)
        size = float(np.sqrt(np.square(kept - centre).sum(axis=1).max())) + radius * gap
        if size > _WORTH * radius:
            break
        x, y, z = centre.tolist()
        middle, radius = (x, y, z), size
    return middle, radius


def _can_be_lit(source: Source, profile: BeamProfile, places: FLOAT, gap: float, gain: float) -> NDArray[np.bool_]:
    """Return which places [m] of shape (places, 3) the beam meets, or meets somewhere within a gap [m] of them."""
    dx, dy, dz = (places - np.array(source.apex)).T
    axial = source.directions.axial(dx, dy, dz)
    aside = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - axial * axial, 0.0))
    path = np.maximum(axial[None, :] + gap * np.array([[-1.0], [0.0], [1.0]]), NEAREST) + source.offset
    return np.asarray((axial > -gap) & (aside <= profile.spread(path, gain).max(axis=0) + gap))


def _grid(normal: Vector | None) -> tuple[FLOAT, float]:
    """Return places of a disc or a ball of radius 1, of shape (places, 3), and how far none of it is from the next."""
    count = 3 if normal is None else 2
    steps = np.linspace(-1.0, 1.0, _ACROSS[count])
    gap = float(steps[1] - steps[0]) / 2.0 * math.sqrt(count)
    places = np.stack([axis.ravel() for axis in np.meshgrid(*[steps] * count)], axis=1)
    places = places[np.square(places).sum(axis=1) <= (1.0 + gap) ** 2]
    if normal is None:
        return places, gap
    along = np.cross(normal, (0.0, 0.0, 1.0) if abs(normal[2]) < 0.9 else (1.0, 0.0, 0.0))
    along /= np.linalg.norm(along)
    return places @ np.stack([along, np.cross(normal, along)]), gap
