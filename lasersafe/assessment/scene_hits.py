"""The worst exposure of one person from one set of sources: exact at the places that the person can take."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.calculation import limit_steps
from lasersafe.assessment.context import Context
from lasersafe.assessment.lines import every_context
from lasersafe.assessment.portions import lessened, portion_step, portions
from lasersafe.assessment.seen_places import seen_points, standing_places
from lasersafe.hazard.aided import Aid
from lasersafe.hazard.combine import group_of
from lasersafe.hazard.emission import source_caps
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.optics.extended import limited_angle
from lasersafe.optics.reflection import scatter_exposure, source_angles
from lasersafe.records.fields import badness
from lasersafe.results import Criterion
from lasersafe.scene.directions import Vector
from lasersafe.scene.profile import BeamProfile
from lasersafe.scene.screens import Piece
from lasersafe.scene.sources import Source

if TYPE_CHECKING:
    from lasersafe.models import ScenePerson


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


def worst_hit(
    context: Context,
    person: ScenePerson,
    sources: tuple[tuple[Source, tuple[Piece, ...]], ...],
    tissue: str,
    duration: float,
    *,
    beyond: float = 0.0,
    with_aid: Aid | None = None,
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

    Returns
    -------
    Hit or None
        None when the ratio is 0 everywhere.
    """
    best: dict[bool, tuple[float, Source, Vector]] = {}  # of beams, and of scatter: an instrument gains otherwise
    places = standing_places(person, tuple(source for source, _ in sources))
    for source, pieces in sources:
        seen, kind = source, with_aid is not None and isinstance(source.profile, BeamProfile)
        if with_aid is not None and isinstance(source.profile, BeamProfile):
            wide = tuple(aided(context, c, with_aid) for c in source.profile.criteria)
            seen = replace(source, profile=BeamProfile(source.profile.beam, wide + source.profile.criteria))
        x, y, z = seen_points(person, places, source, tissue, pieces)
        if not x.size:
            continue
        ratio = seen.ratio(x, y, z, bound=True)
        if beyond > 0.0:
            ratio = np.where(source.from_apex(x, y, z) > beyond, ratio, 0.0)
        index = int(np.argmax(ratio))
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
    x, y, z = (np.array([value]) for value in point)
    by_rule_set: dict[str, float] = {}
    fractions: dict[tuple[str, str], float] = {}
    best: tuple[float, float, Criterion, float] | None = None
    if isinstance(source.profile, BeamProfile):
        beam, criteria_of = source.profile.beam, source.profile.criteria
        alike: dict[tuple[float, float], float] = {}  # amount and aperture -> ratio times limit

        def there(look: Criterion) -> float:
            key = (look.amount, look.limiting_aperture)
            if key not in alike:
                alike[key] = float(replace(source, profile=BeamProfile(beam, (look,))).ratio(x, y, z)[0]) * look.limit
            return alike[key] / look.limit

        pairs = [(there(c), c, ALPHA_MIN) for c in criteria_of]
        if with_aid is not None:
            pairs += [(there(aided(context, c, with_aid)), c, ALPHA_MIN) for c in criteria_of]
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
    ratio, exposure, criterion, angle = best
    away = source.path_to(point)
    return Hit(ratio, exposure, criterion, by_rule_set, point, away, source.surface, where, angle, fractions)


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
