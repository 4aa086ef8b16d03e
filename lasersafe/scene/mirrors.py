"""What a mirror makes of the light of a source, and which part of it the light can fall on."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene.directions import EVERYWHERE, Cone, Vector, mirrored, turned, turned_over
from lasersafe.scene.profile import NEAREST, BeamProfile, ScatterProfile
from lasersafe.scene.sources import Source
from lasersafe.scene.spots import Spots
from lasersafe.wording.message import Message

FLOAT = NDArray[np.float64]
_FINER = 6  # how often the grid is laid anew over what was found
_ACROSS = {2: 17, 3: 9}  # places of the grid along each of its directions
_WORTH = 0.9  # a part that is hardly smaller is not looked at again


@dataclass(frozen=True)
class Mirror:
    """A surface that can reflect: its middle, its normal when known, its largest extent. [m]."""

    name: str
    position: Vector
    normal: Vector | None
    width: float
    reflectance: float
    radius: float = 0.0  # of a ball of which it is a cap: above 0 convex, below 0 hollow, 0 flat or not known [m]
    off: float = 0.0  # by how much its normal can be off [rad]
    gathers: bool = False  # it may be hollow, so that light below the limit on it can be above it in its focus


def reachable(source: Source, mirror: Mirror) -> bool:
    """Return whether the beam of a source, with its spread, can fall on a mirror; below a limit it is nothing."""
    if not isinstance(source.profile, BeamProfile):
        return False
    dx, dy, dz = (np.array([m - a]) for m, a in zip(mirror.position, source.apex, strict=True))
    axial = source.directions.axial(dx, dy, dz)
    away = math.dist(mirror.position, source.apex)
    aside = math.sqrt(max(away**2 - float(axial[0]) ** 2, 0.0))
    loose = math.hypot(*source.moves)
    if axial[0] <= -mirror.width / 2.0 - loose:
        return False
    gain = source.profile.gain(mirror.width) if mirror.gathers else 1.0
    ends = np.maximum(np.array([-1.0, 0.0, 1.0]) * (loose + mirror.width / 2.0) + axial[0] + source.offset, NEAREST)
    return aside <= mirror.width / 2.0 + loose + float(source.profile.spread(ends, gain).max())


def reflected(source: Source, mirror: Mirror, reach: float) -> Source:
    """Return what a mirror makes of the light of a source.

    A flat mirror with a known normal gives the mirrored image of the source, and of its directions those that pass
    through the disc of the mirror.

    Parameters
    ----------
    source : Source
        The laser.
    mirror : Mirror
        The flat mirror, its normal known.
    reach : float
        Farthest path along which the reflected light exceeds the limit. [m]

    Returns
    -------
    Source
        With way ``mirror``.
    """
    away = math.dist(mirror.position, source.apex)
    assert mirror.normal is not None
    normal = mirror.normal
    side = sum((a - m) * n for a, m, n in zip(source.apex, mirror.position, normal, strict=True))
    if side < 0.0:
        normal = (-normal[0], -normal[1], -normal[2])
    image = mirrored(source.apex, mirror.position, normal)
    offset = [m - i for m, i in zip(mirror.position, image, strict=True)]
    # a normal that is off moves the image, and turns the beam by twice as much
    shift = 2.0 * (away + math.hypot(*source.moves)) * math.sin(min(mirror.off, math.pi / 2.0))
    loose = math.hypot(*source.moves) + math.sqrt(3.0) * shift
    reach_of = mirror.width / 2.0 + loose
    half = math.asin(reach_of / (away - loose)) if away - loose > reach_of else math.pi / 2.0
    moves = np.abs(np.eye(3) - 2.0 * np.outer(normal, normal)) @ np.array(source.moves) + shift
    through = Cone((offset[0] / away, offset[1] / away, offset[2] / away), half)
    aimed = source.directions.cone()
    directions, own = through, aimed.half_angle + 2.0 * mirror.off
    if own < half:
        directions = Cone(turned(aimed.axis, normal), own)
    return replace(
        source, way="mirror", apex=image, directions=directions, reach=reach, start=max(abs(side), 1e-6),
        moves=(float(moves[0]), float(moves[1]), float(moves[2])), bulge=math.sin(min(mirror.off, math.pi / 2.0)),
        factor=source.factor * mirror.reflectance, plane=(mirror.position, normal), surface=mirror.name,
    )  # fmt: skip


def image_of_spots(source: Source, mirror: Mirror, reach: float) -> Source:
    """Return what a flat mirror with a known normal makes of light from lit spots: their image, seen through it."""
    assert mirror.normal is not None
    side = sum((a - m) * n for a, m, n in zip(source.apex, mirror.position, mirror.normal, strict=True))
    x, y, z = mirror.normal
    normal = mirror.normal if side >= 0.0 else (-x, -y, -z)
    return replace(
        source, way="mirror", apex=mirrored(source.apex, mirror.position, normal), directions=EVERYWHERE, patch=True,
        spot=max(source.spot + source.slack, 1e-6), slack=0.0, reach=reach, start=max(abs(side), 1e-6),
        factor=source.factor * mirror.reflectance, plane=(mirror.position, normal), surface=mirror.name,
        through=(mirror.position, mirror.width / 2.0),
    )  # fmt: skip


def level_mirror(source: Source, height: float, share: float, name: str) -> Source:
    """Return the image of a source in a level mirror without an end, at a height [m]."""
    x, y, z = source.apex
    up = 1.0 if z >= height else -1.0
    return replace(
        source, way="mirror", apex=(x, y, 2.0 * height - z), directions=turned_over(source.directions),
        plane=((x, y, height), (0.0, 0.0, up)), surface=name, start=max(abs(z - height), 1e-6),
        factor=source.factor * share, through=None,
    )  # fmt: skip


def facing_anywhere(source: Source, mirror: Mirror, spots: Spots, reach: float) -> Source:
    """Return what a flat mirror makes of the light of a source when the way it faces is not known.

    Parameters
    ----------
    source : Source
        The laser.
    mirror : Mirror
        The flat mirror.
    spots : Spots
        Where the beam can meet it.
    reach : float
        Farthest path along which the reflected light exceeds the limit. [m]

    Returns
    -------
    Source
        With way ``mirror``, from every place to anywhere.
    """
    loose = math.hypot(*source.moves)
    loose += source.spot + source.slack
    nearest = math.dist(spots.apex, source.apex) - spots.distance - loose if spots.solid else spots.distance
    if isinstance(source.profile, BeamProfile) and source.profile.beam.profile != "gaussian":
        nearest -= source.beside  # an even beam is as strong beside its axis, on a longer ray
    nearest = max(nearest, 0.0)
    return from_spots(
        "mirror", spots, source.profile, reach, offset=source.offset + nearest,
        factor=source.factor * mirror.reflectance, surface=mirror.name,
        note=Message("hit.faces_anywhere"),
        origin=source.straight_from,
    )  # fmt: skip


def from_spots(way: str, spots: Spots, profile: BeamProfile | ScatterProfile, reach: float, **more: Any) -> Source:
    """Return the light that leaves every place of a lit spot; `Source` says what else can be stated."""
    return Source(
        way, spots.apex, spots.directions, profile, reach, spot=spots.distance, patch=spots.solid, slack=spots.slack,
        **more,
    )  # fmt: skip


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
    loose = math.hypot(*source.moves)
    gain = source.profile.gain(mirror.width) if mirror.gathers else 1.0
    flat, wide = np.zeros(3), radius  # middle and radius of what is left of the disc behind a cap
    for _ in range(_FINER):
        beside = flat + wide * grid
        rise, steep = _cap(mirror, beside, wide * gap)
        places = np.array(mirror.position) + beside + rise
        near = np.hypot(wide * gap, steep)
        kept = _can_be_lit(source, source.profile, places, near + loose, gain)
        if not kept.any():
            break
        centre = beside[kept].mean(axis=0)
        size = float(np.sqrt(np.square(beside[kept] - centre).sum(axis=1).max())) + wide * gap
        own = places[kept].mean(axis=0)
        x, y, z = own.tolist()
        around = float((np.sqrt(np.square(places[kept] - own).sum(axis=1)) + near[kept]).max())
        if mirror.radius or around <= radius:
            middle, radius = (x, y, z), around
        if size > _WORTH * wide:
            break
        flat, wide = centre, size
    return middle, radius


def _cap(mirror: Mirror, beside: FLOAT, gap: float) -> tuple[FLOAT, FLOAT]:
    """Return how far a cap lies before or behind its disc at places of it, and by how much that changes near them. [m].

    Of shape (places, 3) and (places,).
    """
    if not mirror.radius or mirror.normal is None:
        return np.zeros_like(beside), np.zeros(len(beside))
    size = abs(mirror.radius)
    away = np.sqrt(np.square(beside).sum(axis=1))
    here, inner, outer = (
        size - np.sqrt(np.maximum(size * size - np.square(np.clip(r, 0.0, size)), 0.0))
        for r in (away, away - gap, away + gap)
    )
    towards = -1.0 if mirror.radius > 0.0 else 1.0
    return towards * here[:, None] * np.array(mirror.normal), np.asarray(np.maximum(outer - here, here - inner))


def _can_be_lit(source: Source, profile: BeamProfile, places: FLOAT, gap: FLOAT, gain: float) -> NDArray[np.bool_]:
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
