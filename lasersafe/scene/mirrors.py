"""What a mirror makes of the light of a source, and which part of it the light can fall on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.scene import beams as geometry
from lasersafe.scene.beams import FLOAT, BeamProfile, Cone, ScatterProfile, Vector, mirrored, turned_over
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.sources import Source, Spots, hulls
from lasersafe.scene.walls import Walls
from lasersafe.wording import Message

_FINER = 6  # how often the grid is laid anew over what was found
_ACROSS = {2: 17, 3: 9}  # places of the grid along each of its directions
_GATES = 8  # of a lit part of a mirror along each edge: boxes from which walls are looked at
_HAIR = 1e-9  # m
_HUNG, _ALONG = 5e-3, 0.999  # m, cosine: a surface so little behind a wall, and so much along it, hangs on it
_HAIR_BEFORE = 2e-6  # m
_TILES = 33  # of a flat mirror along each of its directions
_SHARE = 0.01  # of the limit: light on a mirror that matters where that of others is added
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


def _gain(source: Source, profile: BeamProfile, mirror: Mirror) -> float:
    """Return of how many times less than the limit light on a mirror may matter behind it: of several lasers it adds.

    Behind a mirror that bends no beam that spreads, no place gets more than the most that falls on the mirror; one that
    is hollow, or that stands before a focus, can send all that falls on it through one aperture.
    """
    ahead = max(profile.beam.waist_position) + profile.loose - source.offset
    narrows = ahead > math.dist(mirror.position, source.apex) - mirror.width / 2.0 - math.hypot(*source.moves)
    return (profile.gain(mirror.width) if mirror.gathers or narrows else 1.0) / _SHARE


def reachable(source: Source, mirror: Mirror) -> bool:
    """Return whether the beam of a source, with its spread, can fall on a mirror; below a limit it is nothing."""
    if not isinstance(source.profile, BeamProfile):
        return False
    gain, around = _gain(source, source.profile, mirror), mirror.width / 2.0 + math.hypot(*source.moves)
    return bool(_can_be_lit(source, source.profile, np.array([mirror.position]), np.array([around]), gain)[0])


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
    turn = np.eye(3) - 2.0 * np.outer(normal, normal)
    moves = np.abs(turn) @ np.array(source.moves) + shift
    aims, back = source.aims or (source.directions, geometry.STRAIGHT)
    rows = [(float(x), float(y), float(z)) for x, y, z in np.array(back) @ turn]
    sent = replace(
        source, way="mirror", apex=image, reach=reach, start=max(abs(side), 1e-6),
        moves=(float(moves[0]), float(moves[1]), float(moves[2])), bulge=math.sin(min(2.0 * mirror.off, math.pi / 2.0)),
        factor=source.factor * mirror.reflectance, plane=(mirror.position, normal), surface=mirror.name,
        through=(mirror.position, mirror.width / 2.0, (0.0, 0.0, 0.0) if mirror.off else normal),
        aims=(geometry.widened(aims, 2.0 * mirror.off), (rows[0], rows[1], rows[2])),
    )  # fmt: skip
    # the axis of a wide beam can pass beside a mirror that its edge meets
    reach_of = mirror.width / 2.0 + loose + sent.tails[1]
    half = math.asin(reach_of / (away - loose)) if away - loose > reach_of else math.pi / 2.0
    aimed = source.directions.cone()
    if aimed.half_angle + 2.0 * mirror.off < half:
        return replace(sent, directions=Cone(geometry.turned(aimed.axis, normal), aimed.half_angle + 2.0 * mirror.off))
    return replace(sent, directions=Cone((offset[0] / away, offset[1] / away, offset[2] / away), half))


def on_both_sides(source: Source, mirror: Mirror) -> list[Source]:
    """Return a source, and one on the other side of a mirror where its light may start on both, as with a moving head.

    The other holds all places of the first one.
    """
    normal = np.array(mirror.normal)
    side = float((np.array(source.apex) - mirror.position) @ normal)
    wide = float(hull_of(source)[1] @ np.abs(normal))
    if abs(side) >= (min(wide, source.spot + source.slack) if source.spots is not None else wide):
        return [source]
    shift = side + math.copysign(_HAIR_BEFORE, side)
    x, y, z = (np.array(source.apex) - shift * normal).tolist()
    if source.spots is not None:
        return [source, replace(source, apex=(x, y, z), spot=source.spot + abs(shift), plane=None)]
    i, j, k = (np.array(source.moves) + abs(shift) * np.abs(normal)).tolist()
    return [source, replace(source, apex=(x, y, z), moves=(i, j, k), whole=False)]


def image_of_spots(source: Source, mirror: Mirror, reach: float) -> Source:
    """Return what a flat mirror with a known normal makes of light from lit spots: their image, seen through it."""
    assert mirror.normal is not None
    side = sum((a - m) * n for a, m, n in zip(source.apex, mirror.position, mirror.normal, strict=True))
    x, y, z = mirror.normal
    normal = mirror.normal if side >= 0.0 else (-x, -y, -z)
    return replace(
        source, way="mirror", apex=mirrored(source.apex, mirror.position, normal), directions=geometry.EVERYWHERE,
        patch=True, spot=max(source.spot + source.slack, 1e-6), slack=0.0, reach=reach, start=max(abs(side), 1e-6),
        factor=source.factor * mirror.reflectance, plane=(mirror.position, normal), surface=mirror.name,
        through=(mirror.position, mirror.width / 2.0, normal),
    )  # fmt: skip


def level_mirror(source: Source, height: float, share: float, name: str) -> Source:
    """Return the image of a source in a level mirror without an end, at a height [m]."""
    x, y, z = source.apex
    seen: dict[str, Any] = {}  # the disc through which it has come, and the way back, turned over as well
    if source.through is not None:
        (a, b, c), radius, (i, j, k) = source.through
        seen["through"] = (a, b, 2.0 * height - c), radius, (i, j, -k)
    if source.aims is not None:
        aims, rows = source.aims
        seen["aims"] = aims, tuple((i, j, -k) for i, j, k in rows)
    up = 1.0 if z >= height else -1.0
    return replace(
        source, way="mirror", apex=(x, y, 2.0 * height - z), directions=turned_over(source.directions),
        plane=((x, y, height), (0.0, 0.0, up)), surface=name, start=max(abs(z - height), 1e-6),
        factor=source.factor * share, **seen,
    )  # fmt: skip


def level_image(source: Source, height: float, share: float, name: str) -> Source:
    """Return the image of a lit spot in a level mirror without an end, at a height [m]: a lit spot as well."""

    def over(place: Vector) -> Vector:
        return place[0], place[1], 2.0 * height - place[2]

    plane = source.plane and (over(source.plane[0]), (*source.plane[1][:2], -source.plane[1][2]))
    parts = tuple((x, y, 2.0 * height - z, *half) for x, y, z, *half in source.parts)
    return replace(
        source, apex=over(source.apex), directions=turned_over(source.directions), plane=plane, parts=parts,
        factor=source.factor * share, surface=name, origin=source.origin and (over(source.origin[0]), source.origin[1]),
        seen_in=((0.0, 0.0, height), (0.0, 0.0, 1.0 if source.apex[2] >= height else -1.0)),
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
        origin=source.straight_from, bends=source.bends, widest=source.widest,
    )  # fmt: skip


def from_spots(way: str, spots: Spots, profile: BeamProfile | ScatterProfile, reach: float, **more: Any) -> Source:
    """Return the light that leaves every place of a lit spot; `Source` says what else can be stated."""
    return Source(
        way, spots.apex, spots.directions, profile, reach, spot=spots.distance, patch=spots.solid, slack=spots.slack,
        **more,
    )  # fmt: skip


def lit_patch(source: Source, mirror: Mirror, walls: Walls | None = None) -> tuple[Vector, float] | None:
    """Return middle and radius of a part of a surface that holds all that the beam of a source can fall on.

    It is found from places on a grid, each of which stands for all that is nearer to it than to the others, and again
    on a finer grid over what was found.

    Parameters
    ----------
    source : Source
        The laser.
    mirror : Mirror
        The surface.
    walls : Walls, optional
        What stands between them.

    Returns
    -------
    tuple of (tuple of float, float), or None
        Middle and radius; those of the whole surface where nothing less is found, None where walls keep it dark. [m]
    """
    middle, radius = mirror.position, mirror.width / 2.0
    if not isinstance(source.profile, BeamProfile) or not radius > 0.0:
        return middle, radius
    grid, gap = _grid(mirror.normal)
    loose = math.hypot(*source.moves)
    gain = _gain(source, source.profile, mirror)
    table = Lights([(source, walls)]) if walls else None
    flat, wide = np.zeros(3), radius  # middle and radius of what is left of the disc behind a cap
    for _ in range(_FINER):
        beside = flat + wide * grid
        rise, steep = _cap(mirror, beside, wide * gap)
        places = np.array(mirror.position) + beside + rise
        near = np.hypot(wide * gap, steep)
        kept = _can_be_lit(source, source.profile, places, near + loose, gain)
        if not kept.any():
            break
        if table is not None and table.sure[0]:
            at = np.flatnonzero(kept)
            boxes = np.repeat(near[at, None], 3, axis=1)
            kept[at] = ~table.hidden(np.zeros(len(at), dtype=np.intp), places[at], boxes)
            if not kept.any():
                return None
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


def lit_tiles(source: Source, mirror: Mirror, walls: Walls) -> tuple[FLOAT, FLOAT]:
    """Return boxes that hold all of a flat surface that the beam of a source can fall on past walls.

    Parameters
    ----------
    source : Source
        The laser.
    mirror : Mirror
        The surface, its normal exact.
    walls : Walls
        What stands between them.

    Returns
    -------
    tuple of numpy.ndarray, each of shape (boxes, 3)
        Middles and half edges; none where all of it is dark. [m]
    """
    grid, gap = _grid(mirror.normal, _TILES)
    radius = mirror.width / 2.0
    places = np.array(mirror.position) + radius * grid
    edges = radius * gap * np.sqrt(np.maximum(1.0 - np.square(np.array(mirror.normal)), 0.0)) + 1e-9
    lit = _can_be_lit(source, source.as_beam, places, np.array(radius * gap), _gain(source, source.as_beam, mirror))
    places = places[lit]
    half = np.tile(edges, (len(places), 1))
    table = Lights([(source, walls)])
    if table.sure[0]:
        seen = ~table.hidden(np.zeros(len(places), dtype=np.intp), places, half)
        places, half = places[seen], half[seen]
    return places, half


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
    axial = geometry.axial(source.directions, dx, dy, dz)
    aside = np.sqrt(np.maximum(dx * dx + dy * dy + dz * dz - axial * axial, 0.0))
    path = np.maximum(axial[None, :] + gap * np.array([[-1.0], [0.0], [1.0]]), geometry.NEAREST) + source.offset
    return np.asarray((axial > -gap) & (aside <= profile.spread(path, gain).max(axis=0) + gap))


def _grid(normal: Vector | None, across: int = 0) -> tuple[FLOAT, float]:
    """Return places of a disc or a ball of radius 1, of shape (places, 3), and how far none of it is from the next."""
    count = 3 if normal is None else 2
    steps = np.linspace(-1.0, 1.0, across or _ACROSS[count])
    gap = float(steps[1] - steps[0]) / 2.0 * math.sqrt(count)
    places = np.stack([axis.ravel() for axis in np.meshgrid(*[steps] * count)], axis=1)
    places = places[np.square(places).sum(axis=1) <= (1.0 + gap) ** 2]
    if normal is None:
        return places, gap
    along = np.cross(normal, (0.0, 0.0, 1.0) if abs(normal[2]) < 0.9 else (1.0, 0.0, 0.0))
    along /= np.linalg.norm(along)
    return places @ np.stack([along, np.cross(normal, along)]), gap


def hung(place: Vector, mirror: Mirror, walls: Walls) -> Mirror:
    """Return a surface that hangs on a wall, or is glass in it, with all of it a hair before as seen from a place."""
    if not len(walls) or mirror.normal is None:
        return mirror
    deep = 2.0 * _HAIR_BEFORE  # a cap that bulges stands before the wall with its rim
    if mirror.radius > 0.0:
        deep += mirror.radius - math.sqrt(max(mirror.radius**2 - (mirror.width / 2.0) ** 2, 0.0))
    middle, apex = (np.array(one)[:2] @ walls.normal.T for one in (mirror.position, place))
    base, begin = walls.base
    side = np.where(apex < base, -1.0, 1.0)
    off, along = (middle - base) * side, walls.normal @ np.array(mirror.normal)[:2]
    span = np.array(mirror.position)[:2] @ walls.way.T - begin
    before = (np.abs(along) > _ALONG) & (span >= 0.0) & (span <= walls.length)
    at = np.flatnonzero(before & (off < deep - _HAIR_BEFORE) & (off > -_HUNG))
    if not at.size:
        return mirror
    first = at[off[at].argmin()]  # of several walls that before which it has to be moved farthest
    dx, dy = (walls.normal[first] * side[first] * (deep - off[first])).tolist()
    x, y, z = mirror.position
    return replace(mirror, position=(x + dx, y + dy, z))


def past_walls(source: Source, mirror: Mirror, reach: float, walls: Walls) -> list[Source]:
    """Return what a flat mirror with a known normal makes of a beam, from what walls do not keep dark of it."""
    before = hung(source.apex, mirror, walls)
    part = lit_patch(source, before, walls)
    if part is None:
        return []
    sides = on_both_sides(source, mirror) if before is mirror else [source]
    mirror = replace(before, position=part[0], width=2.0 * part[1])
    sent = [reflected(one, mirror, reach) for one in sides]
    if not len(walls) or mirror.off or not part[1] > 0.0:
        return sent
    middle, half = lit_tiles(source, mirror, walls)
    if not len(middle):
        return []
    start, size = (np.repeat(one, len(middle), axis=0) for one in source.near)
    whole = source.whole and bool(walls.clear(start, size, middle, half).all())
    middle, half = before_walls([(source, walls)], middle, half)
    # few boxes, each round those that are next to one another
    plan = np.delete(middle, np.argmax(np.abs(mirror.normal)), axis=1)  # type: ignore[arg-type]
    cell = np.floor((plan - plan.min(axis=0)) / np.maximum(np.ptp(plan, axis=0), _HAIR) * (_GATES - 1e-6))
    _, group = np.unique(cell, axis=0, return_inverse=True)
    order = np.argsort(group.ravel(), kind="stable")
    begin = np.flatnonzero(np.diff(group.ravel()[order], prepend=-1))
    middle, half = hulls(middle[order], half[order], begin)
    gates = np.concatenate([middle, half, _lit_side(source, walls, middle, half)], axis=1)
    return [replace(one, gates=tuple(map(tuple, gates.tolist())), whole=whole and one.whole) for one in sent]


def _lit_side(source: Source, walls: Walls, middle: FLOAT, half: FLOAT) -> FLOAT:
    """Return for boxes that a wall crosses a place on the lit side of it, where what lies behind gets no light. [m].

    NaN for all other boxes.
    """
    found = np.full(middle.shape, np.nan)
    level = middle[:, :2] @ walls.normal.T - walls.base[0]
    crossed = np.abs(level) < half[:, :2] @ np.abs(walls.normal.T) - _HAIR
    at = np.flatnonzero(crossed.sum(axis=1) == 1)
    wall = crossed[at].argmax(axis=1)
    normal, base = walls.normal[wall], walls.base[0][wall]
    towards = np.sign(normal @ starts_around(source)[0][:2] - base)[:, None] * np.sign(normal) * half[at, :2]
    near, far = (np.column_stack([middle[at, :2] + side * towards, middle[at, 2]]) for side in (1.0, -1.0))
    start, size = (np.repeat(one, at.size, axis=0) for one in source.near)
    shut = walls.stop(middle[at], half[at], start, size, home=far)
    found[at[shut]] = near[shut]
    return found


def hull_of(source: Source) -> tuple[FLOAT, FLOAT]:
    """Return middle and half edges of a box that holds all places where light of a source starts. [m]."""
    middle, half = hulls(*source.near, np.zeros(1, dtype=np.intp))[:, 0]
    return middle, half


def starts_around(source: Source) -> tuple[FLOAT, FLOAT]:
    """Return middle and half edges of a box from which light comes to what it ends on. [m]."""
    if source.plane is None or source.spots is not None or abs(source.plane[1][2]) > 0.999:
        return hull_of(source)
    middle, normal = (np.array(one) for one in source.plane)
    radius = source.through[1] if source.through is not None else 0.0
    return middle, radius * np.sqrt(np.maximum(1.0 - np.square(normal), 0.0))


def before_walls(lights: Sequence[Light], middle: FLOAT, half: FLOAT) -> tuple[FLOAT, FLOAT]:
    """Return lit boxes of a floor without what lies in the shadow of a wall that crosses them. [m]."""
    walls, table = lights[0][1], Lights(lights)
    for n, base in zip(walls.normal, walls.base[0], strict=True):
        level, off = middle[:, :2] @ n - base, half[:, :2] @ np.abs(n)
        some = np.flatnonzero(np.abs(level) < off)
        sides = {bool(starts_around(source)[0][:2] @ n > base) for source, _ in lights}
        if not some.size or len(sides) > 1:
            continue
        towards = 1.0 if sides.pop() else -1.0
        far = _cut(middle[some], half[some], -towards * n, -towards * base)
        every = np.repeat(np.arange(len(lights)), some.size)
        dark = table.hidden(every, *(np.tile(one, (len(lights), 1)) for one in far))
        cut = some[np.asarray(dark.reshape(len(lights), -1).all(axis=0))]
        middle[cut], half[cut] = _cut(middle[cut], half[cut], towards * n, towards * base)
    return middle, half


def _cut(middle: FLOAT, half: FLOAT, n: FLOAT, base: float) -> tuple[FLOAT, FLOAT]:
    """Return the smallest boxes round what of boxes lies where n . x is at least so much. [m]."""
    low, high = middle - half, middle + half
    for axis in (0, 1):
        other = np.maximum(n[1 - axis] * low[:, 1 - axis], n[1 - axis] * high[:, 1 - axis])
        if abs(n[axis]) > 1e-9:
            edge = (base - other) / n[axis]
            if n[axis] > 0.0:
                low[:, axis] = np.clip(edge, low[:, axis], high[:, axis])
            else:
                high[:, axis] = np.clip(edge, low[:, axis], high[:, axis])
    return (low + high) / 2.0, (high - low) / 2.0
