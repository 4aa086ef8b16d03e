"""The worst exposure of one person from one set of sources: exact at the places that the person can take."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.calculation import limit_steps
from lasersafe.assessment.context import Context
from lasersafe.assessment.known import Known
from lasersafe.assessment.lines import every_context
from lasersafe.assessment.portions import lessened, portion_step, portions
from lasersafe.assessment.scene_marks import eyes_of
from lasersafe.assessment.seen_places import over_edges, past_edges
from lasersafe.fields import badness
from lasersafe.hazard.aided import Aid
from lasersafe.hazard.combine import group_of
from lasersafe.hazard.emission import source_caps
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.optics.extended import limited_angle
from lasersafe.optics.reflection import scatter_exposure, source_angles
from lasersafe.results import Criterion
from lasersafe.scene.directions import Vector
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source
from lasersafe.scene.spots import Spots

if TYPE_CHECKING:
    from lasersafe.models import ScenePerson

FLOAT = NDArray[np.float64]
_EDGE_PLACES = 97  # along the edge of an area
_LEVELS = 5  # heights tried from the lowest to the highest point of eyes or skin


@dataclass(frozen=True)
class Hit:
    """The worst exposure found, with the comparison that decides it."""

    ratio: float
    exposure: float
    criterion: Criterion
    by_rule_set: dict[str, float]
    point: Vector
    distance: float
    surface: str
    where: str
    angle: float = ALPHA_MIN  # angular subtense of the source [rad]
    fractions: dict[tuple[str, str], float] = field(default_factory=dict)  # as in `results.Scenario`


def aided(context: Context, criterion: Criterion, instrument: Aid) -> Criterion:
    """Return a comparison as seen through an instrument: over the aperture as imaged, the limit less by the gain."""
    hole, gain = criterion.limiting_aperture, _gain(context, criterion, instrument)
    return replace(criterion, limiting_aperture=float(instrument.collects(hole)), limit=criterion.limit / gain)


def _gain(context: Context, criterion: Criterion, instrument: Aid) -> float:
    hole = criterion.limiting_aperture
    return max(1e-12, *(instrument.gain(c.wavelength, hole) for c in every_context(context).values()))


def with_limit_steps(context: Context, criterion: Criterion, duration: float, angle: float) -> Criterion:
    """Return a comparison with the steps of its limit, of the wavelength and setting that it belongs to."""
    lines, tissue = list(every_context(context).values()), criterion.tissue
    ways = [portions(lines, tissue, duration, spread) for spread in (True, False)]
    for own, portion in (pair for parts in ways for pair in zip(lines, parts, strict=True)):
        for emission in own.emissions(tissue, duration):
            for whole in criteria(criterion.rule_set, tissue, emission, own.wavelength, duration, angle):
                if lessened(whole, own.wavelength, portion) == criterion:
                    steps = limit_steps(whole, emission, own.wavelength, duration, angle)
                    last = (portion_step(whole, criterion.limit),) if portion else ()
                    return replace(criterion, steps=(*steps, *last))
    return criterion


def standing_places(person: ScenePerson, sources: tuple[Source, ...]) -> FLOAT:
    """Return places on the floor where a person can be worst off, of shape (places, 2)."""
    if person.position is not None:
        return np.array([person.position.pair])
    assert person.area is not None
    corners = person.area.pairs
    found = {*corners, *_inside(corners)}
    for source in sources:
        box = source.directions.box()
        found.update(_facing(corners, source.apex[:2], box.bearing, box.half_bearing))
        if source.spots is not None:
            found.update(_nearest(corners, source.spots))
        if _tilted(source):
            found.update(_around(corners))
    return np.array(sorted(found), dtype=np.float64)


def _tilted(source: Source) -> bool:
    """Return whether light falls with the cosine from a known normal, so that the nearest place need not be the worst.

    Over an area it is the highest somewhere on the edge: from any place inside, a way to more light leads outwards.
    """
    return source.way == "scatter" and source.plane is not None


@lru_cache(maxsize=256)
def _around(corners: tuple[Spot, ...]) -> tuple[Spot, ...]:
    """Return places along the edge of an area."""
    edge = _area(corners).exterior
    along = shapely.line_interpolate_point(edge, np.linspace(0.0, 1.0, _EDGE_PLACES), normalized=True)
    return tuple((x, y) for x, y in shapely.get_coordinates(along).tolist())


Spot = tuple[float, float]


@lru_cache(maxsize=256)
def _area(corners: tuple[Spot, ...]) -> shapely.Polygon:
    return shapely.Polygon(corners)


@lru_cache(maxsize=256)
def _inside(corners: tuple[Spot, ...]) -> tuple[Spot, ...]:
    """Return places of a grid inside an area."""
    area = _area(corners)
    low_x, low_y, high_x, high_y = area.bounds
    grid_x, grid_y = np.meshgrid(np.linspace(low_x, high_x, 8)[1:-1], np.linspace(low_y, high_y, 8)[1:-1])
    inside = shapely.contains_xy(area, grid_x.ravel(), grid_y.ravel())
    return tuple(zip(grid_x.ravel()[inside].tolist(), grid_y.ravel()[inside].tolist(), strict=True))


@lru_cache(maxsize=2048)
def _facing(corners: tuple[Spot, ...], apex: Spot, bearing: float, half: float) -> tuple[Spot, ...]:
    """Return the place of an area that is nearest to a source, and where the ends and the middle of its aim cross."""
    area = _area(corners)
    low_x, low_y, high_x, high_y = area.bounds
    start = shapely.Point(apex)
    nearest = shapely.get_coordinates(shapely.shortest_line(start, area))[-1].tolist()
    far = math.hypot(high_x - low_x, high_y - low_y) + float(shapely.distance(start, area)) + 1.0
    ends = [
        (apex[0] + far * math.sin(b), apex[1] + far * math.cos(b)) for b in (bearing - half, bearing, bearing + half)
    ]
    crossed = shapely.intersection(shapely.linestrings([[apex, end] for end in ends]), area)
    return tuple((x, y) for x, y in [nearest, *shapely.get_coordinates(crossed).tolist()])


@lru_cache(maxsize=256)
def _nearest(corners: tuple[Spot, ...], spots: Spots) -> tuple[Spot, ...]:
    """Return the places of an area that are nearest to the places of a lit spot."""
    area = _area(corners)
    lit = shapely.points(spots.samples()[:, :2])
    ends = [shapely.shortest_line(lit, area), shapely.shortest_line(spots.plan, area)]
    return tuple((x, y) for one in ends for x, y in shapely.get_coordinates(one).reshape(-1, 2, 2)[:, 1].tolist())


def _heights(person: ScenePerson, tissue: str) -> tuple[float, float]:
    """Return the lowest and highest place of eyes or skin above the floor plan [m]."""
    floor = float(person.floor)
    if tissue == "eye":
        low, high = eyes_of(person.stature, None if person.eye_height is None else float(person.eye_height))
        return low + floor, high + floor
    return floor, 1.9 + floor


def seen_points(
    person: ScenePerson, source: Source, tissue: str, pieces: tuple[Piece, ...]
) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return more points of eyes or skin, none of them hidden: just past an edge of a screen, or through an opening."""
    low, high = _heights(person, tissue)
    if person.area is None:
        points = over_edges(source.apex, standing_places(person, ()), low, high, pieces)
    else:
        places = np.array(past_edges(person.area.pairs, source.apex[:2], pieces))
        upright = over_edges(source.apex, places, low, high, pieces)
        both = zip(body_points(person, places, source, tissue), upright, strict=True)
        x, y, z = (np.concatenate(pair) for pair in both)
        points = x, y, z
    if not points[0].size:
        return points
    free = ~source.hidden(*points, pieces)
    return points[0][free], points[1][free], points[2][free]


def body_points(person: ScenePerson, places: FLOAT, source: Source, tissue: str) -> tuple[FLOAT, FLOAT, FLOAT]:
    """Return the points of eyes or skin that are tried, each of shape (places * heights,)."""
    low, high = _heights(person, tissue)
    away = np.hypot(places[:, 0] - source.apex[0], places[:, 1] - source.apex[1])
    limit = math.radians(89.9)
    bottom, top = (min(max(e, -limit), limit) for e in source.directions.box().elevation)
    aimed = [
        np.minimum(np.maximum(source.apex[2] + away * math.tan(elevation), low), high)
        for elevation in {bottom, top, min(max(0.0, bottom), top)}
    ]
    if source.spots is not None:
        level = source.spots.levels(places[:, 0], places[:, 1])
        aimed += [np.minimum(np.maximum(one, low), high) for one in level]
    z = np.empty((_LEVELS + len(aimed), away.size))
    z[:_LEVELS] = np.linspace(low, high, _LEVELS)[:, np.newaxis]
    z[_LEVELS:] = aimed
    return np.tile(places[:, 0], len(z)), np.tile(places[:, 1], len(z)), z.ravel()


def _open_ratio(source: Source, x: FLOAT, y: FLOAT, z: FLOAT) -> FLOAT:
    return source.ratio(x, y, z, bound=True)


def worst_hit(
    context: Context,
    person: ScenePerson,
    sources: tuple[tuple[Source, tuple[Piece, ...]], ...],
    tissue: str,
    duration: float,
    *,
    beyond: float = 0.0,
    with_aid: Aid | None = None,
    known: Known | None = None,
) -> Hit | None:
    """Return the worst exposure of a person, or None when no light can come.

    Parameters
    ----------
    context : Context
        Laser and set-up.
    person : ScenePerson
        The person with a place.
    sources : tuple of (Source, tuple of Piece)
        Each with the screens that hold against it.
    tissue : str
        ``eye`` or ``skin``.
    duration : float
        Exposure duration. [s]
    beyond : float
        Only what is farther from the source than this counts. [m]
    with_aid : Aid, optional
        The instrument that the person looks through.
    known : Known, optional
        What was worked out already in the same scene.

    Returns
    -------
    Hit or None
        None when the ratio is 0 everywhere.
    """
    if not sources:
        return None
    known = known or Known()
    where = [known.number((s.apex, s.directions, s.spot, s.spots, _tilted(s))) for s, _ in sources]
    group = (person.name, known.number(tuple(where)))
    places = known.once(("places", *group), None, standing_places, person, tuple(s for s, _ in sources))
    best: dict[bool, tuple[float, Source, Vector]] = {}  # of beams, and of scatter: an instrument gains otherwise
    for (source, pieces), number in zip(sources, where, strict=True):
        seen = source
        if with_aid is not None and isinstance(source.profile, BeamProfile):
            wide = tuple(aided(context, c, with_aid) for c in source.profile.criteria)
            seen = replace(source, profile=BeamProfile(source.profile.beam, wide + source.profile.criteria))
        key = (*group, tissue, number)
        x, y, z = known.once(("points", *key), None, body_points, person, places, source, tissue)
        light = (id(seen.profile), source.offset, source.factor, source.plane)
        ratio = known.once(("open", *key, *light), seen.profile, _open_ratio, seen, x, y, z)
        if pieces:
            screens = (id(pieces), source.cut_plane())
            ratio = np.where(known.once(("dark", *key, *screens), pieces, source.hidden, x, y, z, pieces), 0.0, ratio)
            more = known.once(("seen", *key, *screens), pieces, seen_points, person, source, tissue, pieces)
            past = ("past", *key, *screens, *light)
            if more[0].size:
                extra = known.once(past, (pieces, seen.profile), _open_ratio, seen, *more)
                x, y, z = (np.concatenate(pair) for pair in zip((x, y, z), more, strict=True))
                ratio = np.concatenate([ratio, extra])
        if beyond > 0.0:
            away = np.sqrt((x - source.apex[0]) ** 2 + (y - source.apex[1]) ** 2 + (z - source.apex[2]) ** 2)
            ratio = np.where(away > beyond, ratio, 0.0)
        index, kind = int(np.argmax(ratio)), with_aid is not None and isinstance(source.profile, BeamProfile)
        if ratio[index] > 0.0 and (kind not in best or not ratio[index] <= best[kind][0]):
            best[kind] = (float(ratio[index]), source, (float(x[index]), float(y[index]), float(z[index])))
    hits = [exact_hit(context, source, point, tissue, duration, with_aid) for _, source, point in best.values()]
    return max(hits, key=lambda hit: badness(hit.ratio), default=None)


def exact_hit(
    context: Context,
    source: Source,
    point: Vector,
    tissue: str,
    duration: float,
    with_aid: Aid | None,
    nearest_view: float = 0.0,
) -> Hit:
    """Return the exposure at one point, comparison by comparison; the retina at least at the nearest view [m]."""
    one = [np.array([value]) for value in point]
    by_rule_set: dict[str, float] = {}
    fractions: dict[tuple[str, str], float] = {}
    best: tuple[float, float, Criterion, float] | None = None
    if isinstance(source.profile, BeamProfile):
        found = source.profile.criteria
        pairs = []
        alike: dict[tuple[float, float], float] = {}  # amount and aperture -> ratio times limit
        path, aside, lit = source.along(one[0], one[1], one[2])
        for c in found:
            looks = [c] if with_aid is None else [c, aided(context, c, with_aid)]
            for look in looks:
                key = (look.amount, look.limiting_aperture)
                if key not in alike:
                    one_look = BeamProfile(source.profile.beam, (look,))
                    there = one_look.beside(path, aside) if source.one_path else one_look.from_here_on(path)
                    alone = source.factor * there
                    alike[key] = float(np.where(lit, alone, 0.0)[0]) * look.limit
                pairs.append((alike[key] / look.limit, c, ALPHA_MIN))
    else:
        pairs = _scatter_pairs(context, source, point, tissue, duration, with_aid, nearest_view)
    for ratio, c, angle in pairs:
        by_rule_set[c.rule_set] = max(by_rule_set.get(c.rule_set, 0.0), ratio)
        if not context.laser.line:
            group = c.rule_set, group_of(tissue, c.hazard, context.wavelength)
            fractions[group] = max(fractions.get(group, 0.0), ratio, key=badness)
        if best is None or not ratio <= best[0]:
            best = (ratio, ratio * c.limit, c, angle)
    assert best is not None
    where = "from the lit surface" if source.way == "scatter" else "from the last optic along the path"
    return Hit(
        best[0],
        best[1],
        best[2],
        by_rule_set,
        point,
        source.path_to(point),
        source.surface,
        where,
        best[3],
        fractions,
    )


def _scatter_pairs(
    context: Context,
    source: Source,
    point: Vector,
    tissue: str,
    duration: float,
    with_aid: Aid | None,
    view_from: float,
) -> list[tuple[float, Criterion, float]]:
    """Return the ratio of every comparison and the source angle of its limit; behind an instrument a point is seen."""
    away, view = max(source.path_to(point), 0.01), 0.0
    if source.plane is not None:
        n = source.plane[1]
        cosine = sum((p - a) * k for p, a, k in zip(point, source.apex, n, strict=True)) / away
        view = math.acos(min(1.0, max(0.0, cosine)))
    model = context.case.settings.scatter_model
    seen = None if tissue == "skin" else with_aid
    spot = context.spot if source.way == "scatter" and tissue == "eye" and with_aid is None else 0.0
    axes = source_angles(spot, spot, max(away, view_from), view)
    lines = list(every_context(context).values())
    parts = portions(lines, tissue, duration, spread=False)
    pairs = []
    for own, portion in zip(lines, parts, strict=True):
        for emission in own.emissions(tissue, duration):
            for rule_set in context.rule_sets:
                caps = source_caps(rule_set, emission.kind, emission.shortest_pulse, duration)
                for angle in dict.fromkeys(float(limited_angle(*axes, ALPHA_MIN, cap)) for cap in caps):
                    for whole in criteria(rule_set, tissue, emission, own.wavelength, duration, angle):
                        c = lessened(whole, own.wavelength, portion)
                        place = max(away, view_from) if c.retinal else away
                        there = scatter_exposure(c.amount, source.factor, place, min(view, math.pi / 2), model)
                        gain = 1.0 if seen is None else max(_gain(context, c, seen), 1.0)
                        pairs.append((float(there) * gain / c.limit, c, angle))
    return pairs
