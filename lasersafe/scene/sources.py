"""Where light comes from: a laser, its image in a mirror, a mirror that faces anywhere, a lit spot."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene.directions import Box, Cone, Directions, Vector, mirrored, turned
from lasersafe.scene.profile import CLOSEST, NEAREST, BeamProfile, ScatterProfile
from lasersafe.scene.screens import Piece, blocked
from lasersafe.scene.spots import Spots

FLOAT = NDArray[np.float64]
_FINER = 6  # how often the grid is laid anew over what was found
_ACROSS = {2: 17, 3: 9}  # places of the grid along each of its directions
_WORTH = 0.9  # a part that is hardly smaller is not looked at again


@dataclass(frozen=True)
class Source:
    """One way for light to leave one place.

    Parameters
    ----------
    way : str
        ``direct``, ``mirror`` or ``scatter``: what barriers are judged for.
    apex : tuple of float
        Where the straight ways start: the last optic, its image, a mirror, a lit spot. [m]
    directions : Box or Cone
        Where it can go, margins included.
    profile : BeamProfile or ScatterProfile
        How many times the limit, by distance.
    reach : float
        Farthest distance along the path at which the limit is exceeded, rounded up. [m]
    offset : float
        Path from the last optic to the apex; 0 for the laser and for its image. [m]
    factor : float
        Reflectance on the way. [1]
    plane : tuple, optional
        A point of the mirror, or of the lit surface, and its normal: light is only in front of it.
    surface : str
        Name of the mirror or lit surface.
    start : float
        Distance from the apex from which the light is there. [m]
    spot : float
        For scatter and mirrors in front of a head that can turn: the apex is the last optic, and the lit spot is so far
        from it in any of the directions; for a patch the radius of it; 0 when the apex is the lit spot. [m]
    patch : bool
        Whether the lit spot is anywhere on a patch round the apex.
    bend : str
        Of a mirror, ``flat``, ``convex``, ``concave`` or, where any of them may be, ``unknown``.
    """

    way: str
    apex: Vector
    directions: Directions
    profile: BeamProfile | ScatterProfile
    reach: float
    offset: float = 0.0
    factor: float = 1.0
    plane: tuple[Vector, Vector] | None = None
    surface: str = ""
    start: float = 0.0
    note: str = ""
    spot: float = 0.0
    patch: bool = False
    bend: str = "flat"

    def ratio(
        self,
        x: FLOAT,
        y: FLOAT,
        z: FLOAT,
        pieces: tuple[Piece, ...] = (),
        *,
        fast: bool = False,
        bound: bool = False,
    ) -> FLOAT:
        """Return exposure over limit at points.

        Parameters
        ----------
        x, y, z : numpy.ndarray, shape (...)
            The points. [m]
        pieces : tuple of Piece
            Solid parts of the screens that hold against this way.
        fast : bool
            Read the ratio from a table instead of working each point out.
        bound : bool
            For an oblong beam, take a bound that costs less.

        Returns
        -------
        numpy.ndarray, shape (...)
            0 where no light comes. [1]
        """
        if isinstance(self.profile, ScatterProfile):
            found = self._scattered(self.profile, x, y, z, fast)
        else:
            path, aside, lit = self.along(x, y, z)
            if not self.one_path:
                found = self.factor * self.profile.from_here_on(path, fast=fast)
            elif fast:
                found = self.factor * self.profile.beside_fast(path, aside)
            else:
                found = self.factor * self.profile.beside(path, aside, bound=bound)
            found = np.where(lit, found, 0.0)
        if pieces:
            found = np.where(self.hidden(x, y, z, pieces), 0.0, found)
        return np.asarray(found)

    @cached_property
    def spots(self) -> Spots | None:
        """Every place of a lit spot that turns with the head or lies on a patch; None for all else."""
        if not self.spot > 0.0:
            return None
        flat = self.plane[1] if self.patch and self.plane is not None else None
        return Spots(self.apex, self.directions, self.spot, self.patch, flat)

    @property
    def one_path(self) -> bool:
        """Whether light has one path to each point; else the end of it is not known, see `BeamProfile.from_here_on`."""
        return self.spots is None and self.bend == "flat"

    def hidden(self, x: FLOAT, y: FLOAT, z: FLOAT, pieces: tuple[Piece, ...]) -> NDArray[np.bool_]:
        """Return which points [m] of shape (...) screens hide from all of the light."""
        if self.spots is not None:
            return self.spots.hidden(x, y, z, pieces)
        return blocked(self.apex, x, y, z, pieces, self.cut_plane())

    def away(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        """Return how far points of shape (...) are from the apex, or from the nearest place of the lit spot. [m]."""
        return self.from_apex(x, y, z) if self.spots is None else self.spots.away(x, y, z)

    def from_apex(self, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
        """Return how far points of shape (...) are from the apex. [m]."""
        dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
        return np.asarray(np.sqrt(dx * dx + dy * dy + dz * dz))

    def along(self, x: FLOAT, y: FLOAT, z: FLOAT) -> tuple[FLOAT, FLOAT, NDArray[np.bool_]]:
        """Return path from the last optic to points, how far beside the beam they lie [m], and where light is."""
        if self.spots is not None:
            axial = self.spots.away(x, y, z)
            aside, lit = np.zeros_like(axial), np.ones(axial.shape, dtype=bool)
        else:
            dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
            axial = self.directions.axial(dx, dy, dz)
            aside = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - axial * axial, 0.0))
            lit = axial > 0.0
        if self.plane is not None:
            lit &= self._in_front(self.plane, x, y, z)
        return axial + self.offset, aside, np.asarray(lit)

    def _in_front(self, plane: tuple[Vector, Vector], x: FLOAT, y: FLOAT, z: FLOAT) -> NDArray[np.bool_]:
        on, n = plane
        return np.asarray((x - on[0]) * n[0] + (y - on[1]) * n[1] + (z - on[2]) * n[2] >= 0.0)

    def _scattered(self, profile: ScatterProfile, x: FLOAT, y: FLOAT, z: FLOAT, fast: bool) -> FLOAT:
        away = np.maximum(self.away(x, y, z), CLOSEST)
        found = profile.fast(away) if fast else profile.ratio(away)
        found = found * self.factor
        if self.plane is not None:
            n = self.plane[1]
            dx, dy, dz = x - self.apex[0], y - self.apex[1], z - self.apex[2]
            cosine = np.clip((dx * n[0] + dy * n[1] + dz * n[2]) / away, 0.0, 1.0)
            found = found * (cosine if profile.lambert else 1.0) * (2.0 / (1.0 + cosine) if profile.wide else 1.0)
            found = np.where(self._in_front(self.plane, x, y, z), found, 0.0)
        return found

    def cut_plane(self) -> tuple[Vector, Vector] | None:
        """Return the mirror behind which screens do not count, None without one."""
        return self.plane if self.way == "mirror" and self.start > 0.0 else None

    def path_to(self, point: Vector) -> float:
        """Return the length of the way from the last optic, or from the lit spot, to a point. [m]."""
        if self.spots is not None:
            x, y, z = (np.array([value]) for value in point)
            away = float(self.away(x, y, z)[0])
        else:
            away = math.dist(self.apex, point)
        return away + (0.0 if self.way == "scatter" else self.offset)


@dataclass(frozen=True)
class Mirror:
    """A surface that can reflect: its middle, its normal when known, its largest extent. [m]."""

    name: str
    position: Vector
    normal: Vector | None
    width: float
    reflectance: float
    gathers: bool = False  # it may be hollow, so that light below the limit on it can be above it in its focus


def reachable(source: Source, mirror: Mirror) -> bool:
    """Return whether the beam of a source, with its spread, can fall on a mirror; below a limit it is nothing."""
    if not isinstance(source.profile, BeamProfile):
        return False
    dx, dy, dz = (np.array([m - a]) for m, a in zip(mirror.position, source.apex, strict=True))
    axial = source.directions.axial(dx, dy, dz)
    away = math.dist(mirror.position, source.apex)
    aside = math.sqrt(max(away**2 - float(axial[0]) ** 2, 0.0))
    if axial[0] <= -mirror.width / 2.0:
        return False
    gain = source.profile.gain(mirror.width) if mirror.gathers else 1.0
    spread = float(source.profile.spread(np.maximum(axial + source.offset, 1e-3), gain)[0])
    return aside <= mirror.width / 2.0 + spread


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
    half = math.asin(min(1.0, mirror.width / 2.0 / away)) if away > mirror.width / 2.0 else math.pi / 2.0
    through = Cone((offset[0] / away, offset[1] / away, offset[2] / away), half)
    aimed = source.directions.cone() if isinstance(source.directions, Box) else source.directions
    directions = through
    if aimed.half_angle < half:
        directions = Cone(turned(aimed.axis, normal), aimed.half_angle)
    return replace(
        source, way="mirror", apex=image, directions=directions, reach=reach, start=max(abs(side), 1e-6),
        factor=source.factor * mirror.reflectance, plane=(mirror.position, normal), surface=mirror.name,
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
    nearest = max(math.dist(spots.apex, source.apex) - spots.distance, 0.0) if spots.solid else spots.distance
    return from_spots(
        "mirror", spots, source.profile, reach, offset=source.offset + nearest,
        factor=source.factor * mirror.reflectance, surface=mirror.name,
        note="the way it faces is not known, so it can reflect anywhere",
    )  # fmt: skip


def from_spots(way: str, spots: Spots, profile: BeamProfile | ScatterProfile, reach: float, **more: Any) -> Source:
    """Return the light that leaves every place of a lit spot; `Source` says what else can be stated."""
    return Source(way, spots.apex, spots.directions, profile, reach, spot=spots.distance, patch=spots.solid, **more)


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
