"""The worst exposure of one person from one set of sources: exact at the places that the person can take."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from lasersafe.assessment import calculation
from lasersafe.assessment.calculation import Working, beam_working, beside_working, limit_steps, scatter_working
from lasersafe.assessment.context import Context, lessened, portions
from lasersafe.assessment.loads import aided, behind, gain_of
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard.distances import exposure_at, worst_place
from lasersafe.hazard.exposure import ALPHA_MIN, credited_angles, criteria
from lasersafe.optics.beam import BeamGeometry, diameters
from lasersafe.optics.reflection import LitSpot, scatter_exposure, source_angles
from lasersafe.quantity import format_quantity
from lasersafe.records import Criterion, badness
from lasersafe.scene import bound
from lasersafe.scene.beams import (
    CLOSEST,
    FLOAT,
    NEAREST,
    POINT,
    BeamProfile,
    ScatterProfile,
    Vector,
    widths_within,
)
from lasersafe.scene.bound import ABOVE, BELOW, NOT_PROVEN, STEP, Places, Question, Span, bounds, known_as, span
from lasersafe.scene.lights import Light, Lights
from lasersafe.scene.walls import Walls
from lasersafe.wording import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.hazard.instruments import Aid
    from lasersafe.models import Person, ScenePerson
    from lasersafe.scene.sources import Source

_SAME = 1.0 + 1e-9
_OUTCOMES = {BELOW: "hit.proven_below", ABOVE: "hit.shown_above", NOT_PROVEN: "hit.not_proven"}


@dataclass(frozen=True)
class Hit:
    """The worst exposure found, with the comparison that decides it."""

    ratio: float
    criterion: Criterion
    by_rule_set: dict[str, float]
    point: Vector
    distance: float
    surface: str
    where: str
    source: Source
    angle: float = ALPHA_MIN  # angular subtense of the source [rad]
    fractions: dict[tuple[str, str], float] = field(default_factory=dict)  # as in `results.Scenario`
    shown: bool = False  # all of a light comes to one place, and is above the limit there
    proven: Message | None = None  # whether it is proven below, or shown above, or neither
    aid: Aid | None = None
    counted: Source | None = None  # whose bound is the highest
    light: Light | None = None  # the same, as it was bounded
    box: tuple[FLOAT, FLOAT] | None = None  # middle and half edges of where it counts [m]

    @property
    def exposure(self) -> float:
        """What the comparison sees. [W/m2 or J/m2]."""
        return self.ratio * self.criterion.limit

    @cached_property
    def span(self) -> Span | None:
        """The lengths with which the light counts in the box; None where no box is known."""
        found = None if self.light is None or self.box is None else span(self.light, *self.box)
        return found if found is not None and math.isfinite(found.near) else None


@dataclass(frozen=True)
class Asked:
    """What is asked of persons on one way in a mode, under the keys of `ask`, and a note; no key where nothing can be.

    The exposure lasts ``duration`` [s], for the eye through the ``aid``, if any. Where the light is nearer than
    ``beyond`` [m] to where it starts, the ``farther`` keys count.
    """

    keys: Sequence[tuple[object, ...]]
    tissue: str
    duration: float
    aid: Aid | None = None
    note: str = ""
    beyond: float = 0.0
    farther: Sequence[tuple[object, ...]] = ()


def with_limit_steps(context: Context, criterion: Criterion, duration: float, angle: float) -> Criterion:
    """Return a comparison with the steps of its limit, of the wavelength and setting that it belongs to."""
    lines, tissue = list(context.every.values()), criterion.tissue
    ways = [portions(lines, tissue, duration, spread) for spread in (True, False)]
    for own, portion in (pair for parts in ways for pair in zip(lines, parts, strict=True)):
        for light in own.received(tissue, duration, (criterion.rule_set,)):
            for whole in criteria(light, angle):
                if lessened(whole, own.wavelength, portion) == criterion:
                    steps = limit_steps(whole, light, angle)
                    last = (calculation.portion_step(whole, criterion.limit),) if portion else ()
                    return replace(criterion, steps=(*steps, *last))
    return criterion


def person_places(stage: Stage, tissue: str) -> Places:
    """Return where eyes or skin of every person of a scene can be, in the order of the scene.

    Nobody is looked at nearer than 15 mm to a wall, where a smallest box would reach through it; who is placed on the
    very line of one, to less than 1 mm, can be on either side of it.
    """
    low, high, outlines = [], [], []
    for person in stage.scene.person:
        levels = [float(person.floor) + height for height in (person.eyes if tissue == "eye" else (0.0, 1.9))]
        outline = taken(person)
        if person.area is None and shapely.intersects(outline.buffer(1e-3), stage.wall_lines).any():
            outline = outline.buffer(2.0 * STEP, cap_style="square")
        x0, y0, x1, y1 = outline.bounds
        low.append((x0, y0, levels[0]))
        high.append((x1, y1, levels[1]))
        free = outline.difference(stage.near_walls) if outline.intersects(stage.near_walls) else outline
        whole = outline.area == 0.0 or free.equals(shapely.box(x0, y0, x1, y1))
        outlines.append(None if whole else outline if free.is_empty else free)
    return Places(np.array(low).reshape(-1, 3), np.array(high).reshape(-1, 3), outlines)


def taken(person: ScenePerson) -> shapely.Geometry:
    """Return what a person takes up on the floor plan."""
    if person.area is not None:
        return shapely.Polygon(person.area.pairs)
    assert person.position is not None
    return shapely.Point(person.position.pair)


def worst_hit(
    stage: Stage, context: Context, person: ScenePerson, asked: Asked, *, farther: bool = False
) -> Hit | None:
    """Return a bound of the exposure of a person, or None when it is proven that no light comes.

    Parameters
    ----------
    stage : Stage
        The scene; what is asked for one person is worked out for all of them at once.
    context : Context
        Laser and set-up.
    person : ScenePerson
        The person with a place.
    asked : Asked
        What is asked, with the keys that `ask` has noted it under.
    farther : bool, optional
        Whether the keys of what is beyond a place count.

    Returns
    -------
    Hit or None
        Where the highest was found, with numbers raised to what is proven for all of the place.
    """
    row = [one.name for one in stage.scene.person].index(person.name)  # a table is compared field by field
    hits = []
    for key in asked.farther if farther else asked.keys:
        if key not in stage.answers:
            settle(stage)
        own, seen, found = stage.answers[key]
        if found.light[row] < 0:
            continue
        light, place = int(found.light[row]), found.place[row]
        x, y, z = place.tolist()
        hit = exact_hit(stage, context, own[light][0], (x, y, z), asked)
        there, outcome = float(found.alone[row]), int(found.outcome[row])
        hit = replace(
            hit, proven=Message(_OUTCOMES[outcome]), shown=outcome == ABOVE, counted=own[found.strongest[row]][0],
            light=seen[found.strongest[row]], box=(found.box[row, 0], found.box[row, 1]), aid=asked.aid,
        )  # fmt: skip
        if "place" in stage.without:
            hits.append(_at(hit, float(found.found[row])))
            continue
        upper = float(found.upper[row])
        hit = _raised(hit, upper / there) if there > 0.0 else _at(hit, upper)
        hits.append(hit if hit.ratio > 1.0 or found.outcome[row] == BELOW else _at(hit, upper))
    return max(hits, key=lambda hit: badness(hit.ratio), default=None)


def reaching(stage: Stage, asked: Sequence[tuple[Person, Sequence[Light]]]) -> list[list[tuple[Source, float]]]:
    """Return for people which lights are not below the limit of their eyes, and the shortest path of each to them [m].

    A person without a place may be at the last mirror, but no path is shorter than the distance from the last optic.
    """
    rows, places = {one.name: row for row, one in enumerate(stage.scene.person)}, person_places(stage, "eye")
    asked = [(one, list(bound.told_apart(own).values())) for one, own in asked]
    every = bound.told_apart(itertools.chain.from_iterable(own for _, own in asked))
    table, numbers = Lights(list(every.values())), {key: number for number, key in enumerate(every)}
    placed = [(rows[one.name], own) for one, own in asked if one.name in rows]
    at, wide = [row for row, _ in placed], max((len(own) for _, own in placed), default=0)
    light, there = np.zeros((len(placed), wide), dtype=np.intp), np.zeros((len(placed), wide), dtype=bool)
    for number, (_, own) in enumerate(placed):
        light[number, : len(own)] = [numbers[key] for key in known_as(own)]
        there[number, : len(own)] = True
    middle, half = (places.low + places.high)[at] / 2.0, (places.high - places.low)[at] / 2.0
    each = np.broadcast_to(np.arange(wide), light.shape)
    there &= ~(table.most(light, middle, half, np.zeros(len(placed)), there, each) <= 1.0)
    person, column = there.nonzero()
    near = np.full(light.shape, np.inf)
    near[person, column] = table.shortest(light[person, column], middle[person], half[person])
    lengths = iter(zip(there.tolist(), np.maximum(near, 0.0).tolist(), strict=True))
    found: list[list[tuple[Source, float]]] = []
    for one, own in asked:
        if one.name not in rows:
            found.append([(source, max(source.offset, float(one.distance))) for source, _ in own])
            continue
        found.append([
            (source, length if math.isfinite(length) else source.offset)
            for (source, _), reached, length in zip(own, *next(lengths), strict=False) if reached
        ])  # fmt: skip
    return found


def not_below(
    stage: Stage, places: Places, asked: Sequence[tuple[list[int], Sequence[Light]]]
) -> list[dict[int, tuple[float, str]]]:
    """Return for sets of rows and lights which rows are not proven below: how much comes at most, by which surface."""
    known = [known_of(stage, "not below", [own]) for _, own in asked]
    left = [[row for row in rows if row not in one] for (rows, _), one in zip(asked, known, strict=True)]
    found = bounds([
        Question([own], places.some(np.array(rows, dtype=np.intp))) for rows, (_, own) in zip(left, asked, strict=True)
    ])  # fmt: skip
    for rows, one, answer in zip(left, known, found, strict=True):
        one.update(zip(rows, zip(answer.upper.tolist(), answer.light.tolist(), strict=True), strict=True))
    return [
        {row: (one[row][0], own[one[row][1]][0].surface) for row in rows if not one[row][0] <= 1.0}
        for (rows, own), one in zip(asked, known, strict=True)
    ]


def shown_above(stage: Stage, tissue: str, lights: Sequence[Sequence[Light]], aid: Aid | None) -> set[int]:
    """Return which people, by number, are known to be above the limit by some of the lights, bare or with an aid."""
    some, kinds = {*known_as(itertools.chain.from_iterable(lights))}, (("hit", tissue, None), ("hit", tissue, aid))
    known = [one for key, one in stage.answers.items() if key[:3] in kinds]
    every = [found for own, _, found in known if some.issuperset(known_as(own))]
    return {row for one in every for row in np.flatnonzero(one.found > 1.0).tolist()}


def known_of(stage: Stage, name: str, lights: Sequence[Sequence[Light]]) -> dict[int, Any]:
    """Return what is known of people, by number, where some lights can come, to be filled in.

    With it comes what the last case knew of who stands where they did, see `lasersafe.assessment.stages`.
    """
    key = name, tuple(map(known_as, lights))
    if key not in stage.answers:
        stage.answers[key] = lights, dict(stage.answers.get(("was", *key), (lights, {}))[1])
    found: dict[int, Any] = stage.answers[key][1]
    return found


def ask(
    stage: Stage, context: Context, lights: Sequence[Light], asked: Asked, beyond: float = 0.0
) -> list[tuple[object, ...]]:
    """Note what `worst_hit` will ask, so that `settle` bounds all of it at once; return under which keys it is kept."""
    kinds, tissue, aid = [list(lights)], asked.tissue, asked.aid
    if aid is not None:  # an instrument gains otherwise from beams than from scatter
        beams = [isinstance(source.profile, BeamProfile) for source, _ in lights]
        kinds = [[light for light, beam in zip(lights, beams, strict=True) if beam is kind] for kind in (True, False)]
    keys: list[tuple[object, ...]] = []
    for number, own in enumerate(kinds):
        key: tuple[object, ...] = ("hit", tissue, aid, context.corner if aid else None, beyond, number, known_as(own))
        keys.append(key)
        if key not in stage.answers and key not in stage.open:
            seen = own if aid is None else behind(context, own, aid)
            places = ("places", tissue)
            if places not in stage.answers:
                stage.answers[places] = person_places(stage, tissue)
            stage.open[key] = own, seen, replace(stage.answers[places], beyond=beyond)
    return keys


def settle(stage: Stage) -> None:
    """Bound everything that was asked and is not answered yet, in all stages that share their answers.

    Who stands where they did in the last case, see `lasersafe.assessment.stages`, gets what they got there.
    """
    known, rows = [stage.answers.get(("was", *asked)) for asked in stage.open], []
    for (_, tissue, *_), known_before in zip(stage.open, known, strict=True):
        now = was = stage.answers["places", tissue]
        here = np.zeros(len(now.low), dtype=bool)  # who stands where they did
        if known_before is not None:
            was = stage.answers["was", "places", tissue]
            here = (now.low == was.low).all(axis=1) & (now.high == was.high).all(axis=1)
            here &= [one == other for one, other in zip(now.outlines, was.outlines, strict=True)]
        rows.append(np.flatnonzero(~here))
    found = bounds([
        Question([seen], places.some(own)) for (_, seen, places), own in zip(stage.open.values(), rows, strict=True)
    ])  # fmt: skip
    for (asked, (own, seen, _)), was, at, answer in zip(stage.open.items(), known, rows, found, strict=True):
        stage.answers[asked] = own, seen, answer if was is None else was[2].but_for(at, answer)
    stage.open.clear()


def _raised(hit: Hit, times: float) -> Hit:
    """Return a hit with all its ratios as many times as high, as a bound over a whole place is above one point."""
    if not times > _SAME:
        return hit
    return replace(
        hit, ratio=hit.ratio * times, by_rule_set={name: ratio * times for name, ratio in hit.by_rule_set.items()},
        fractions={group: ratio * times for group, ratio in hit.fractions.items()},
    )  # fmt: skip


def _at(hit: Hit, ratio: float) -> Hit:
    """Return a hit with all its ratios as high as a bound: no single point is known that gets as much."""
    return replace(
        hit, ratio=ratio, by_rule_set=dict.fromkeys(hit.by_rule_set, ratio),
        fractions=dict.fromkeys(hit.fractions, ratio),
    )  # fmt: skip


@kept()
def _looks(
    stage: Stage, context: Context, source: Source, aid: Aid | None
) -> tuple[list[Criterion], list[float], list[int], list[float], Lights]:
    """Return the comparisons of a beam, bare and behind an instrument, with their limits.

    With them which row each has of a table of beams that differ by more than their limit, and the limits of those.
    """
    profile, every = source.as_beam, source.as_beam.criteria
    looks = [*every, *([] if aid is None else [aided(context, c, aid) for c in every])]
    alike = {(c.amount, c.limiting_aperture): c for c in looks}  # what differs by its limit only
    table = Lights([(replace(source, profile=replace(profile, criteria=(c,))), Walls()) for c in alike.values()])
    rows = [list(alike).index((c.amount, c.limiting_aperture)) for c in looks]
    named = [c for c, _ in zip(itertools.cycle(every), looks, strict=False)]
    return named, [c.limit for c in looks], rows, [c.limit for c in alike.values()], table


def exact_hit(stage: Stage, context: Context, source: Source, point: Vector, asked: Asked) -> Hit:
    """Return the exposure at one point, comparison by comparison."""
    by_rule_set: dict[str, float] = {}
    fractions: dict[tuple[str, str], float] = {}
    if isinstance(source.profile, BeamProfile):
        looks, limits, rows, own, table = _looks(stage, context, source, asked.aid)
        many = np.broadcast_to(np.array([point]), (len(table), 3))
        there = (table.over(np.arange(len(table)), many, np.zeros_like(many)) * own).tolist()
        pairs = [(there[row] / limit, c, ALPHA_MIN) for row, limit, c in zip(rows, limits, looks, strict=True)]
    else:
        pairs = _scatter_pairs(context, source, point, asked)
    for ratio, c, _ in pairs:
        by_rule_set[c.rule_set] = max(by_rule_set.get(c.rule_set, 0.0), ratio, key=badness)
        if not context.laser.line:
            group = c.rule_set, context.group(asked.tissue, c.hazard)
            fractions[group] = max(fractions.get(group, 0.0), ratio, key=badness)
    ratio, criterion, angle = max(pairs, key=lambda pair: badness(pair[0]))
    where = "from the lit surface" if source.way == "scatter" else "from the last optic along the path"
    return Hit(
        ratio, criterion, by_rule_set, point, source.path_to(point), source.surface, where,
        source, angle, fractions,
    )  # fmt: skip


def counted_exposure(context: Context, hit: Hit) -> tuple[Working, float]:
    """Return how the exposure comes about at the lengths with which a box, or the one place, counts, and what it is."""
    source, criterion, aid = hit.counted or hit.source, hit.criterion, hit.aid
    words = "" if aid is None else aid.words(context.wavelength, criterion.limiting_aperture)
    profile, at = source.profile, hit.span
    if not isinstance(profile, BeamProfile):
        away = max(hit.distance, CLOSEST)
        view = _view(source, hit.point, away)
        if at is not None:
            away, view = at.near, math.acos(at.cosine)
        level = source.plane is not None and abs(source.plane[1][2]) > 0.5  # no image in it
        key = "hit.from_floor" if level and source.surface in ("ground", "ceiling") else "hit.from_surface"
        how: str = Message(key, surface=word(source.surface))
        if away < profile.spread * math.sqrt(max(math.cos(view), 0.0)):  # no more than straight before all of the spot
            away, view = profile.spread, 0.0
            how = joined([how, Message("hit.spread", nearest=format_quantity(away, "m", 5))])
        gain = 1.0 if aid is None else max(gain_of(context, criterion, aid), 1.0)
        lit, passed = LitSpot(source.factor, view, context.case.settings.scatter_model), (gain, words) if aid else None
        return scatter_working(criterion, away, how, lit, passed), float(lit.exposure(criterion.amount, away)) * gain
    beam, place = profile.beam, max(hit.distance, NEAREST)
    aside, wide = 0.0, POINT
    if at is not None:
        place = max(at.near - profile.loose, NEAREST)
        places = np.array([place, max(min(at.far + profile.loose, 1e9), NEAREST), place])
        places[2] = min(max(place, *beam.waist_position), places[1])
        if source.one_path:  # the narrowest beam of all that can be there
            place = float(places[profile.widths(places)[0].argmin()])
        else:
            tried = [(place, beam), (place, _narrowest(source, place, at.far))]
            if at.near < profile.last_waist:  # no more than in a focus
                best = worst_place(beam, NEAREST, profile.apertures)
                tried[0] = max([place, *best], key=lambda z: float(profile.on_axis(np.array(z)))), beam
            place, beam = min(tried, key=lambda one: float(replace(profile, beam=one[1]).on_axis(np.array(one[0]))))
        aside, wide = at.aside, profile.wider * float(np.max(profile.widths(places[:2])))
    value, off = exposure_at(beam, place, criterion, source.factor), aside - profile.aperture_radius
    working = beam_working(criterion, beam, place, source.factor)
    if aid is not None:
        wider, gain = aided(context, criterion, aid), gain_of(context, criterion, aid)
        seen = exposure_at(beam, place, wider, source.factor) * gain
        if seen > value:
            through = wider.limiting_aperture, gain, words
            value, working = seen, beam_working(criterion, beam, place, source.factor, through)
    elif off > 0.0 and beam.profile == "gaussian":
        spot = math.prod(max(float(one), POINT) for one in diameters(beam, place))
        peak = source.factor * criterion.amount * 4.0 / (math.pi * spot)
        beside = peak * math.exp(-((2.0 * off / wide) ** 2))
        if beside < value:
            value, working = beside, beside_working(criterion, beam, place, source.factor, (aside, off, wide))
    if beam != context.beam:
        working = replace(working, numbers=calculation.with_waist(working.numbers, beam))
    return working, value


def _narrowest(source: Source, near: float, far: float) -> BeamGeometry:
    """Return the beam of a source; where its `ends` are known, at a path [m] the least widths up to another."""
    profile = source.as_beam
    if source.ends is None:
        return profile.beam
    low, high = (np.array([max(path - source.offset, 0.0)]) for path in (near, far + profile.aperture_radius))
    x, y = np.maximum(widths_within(np.array([source.ends]), low, high)[0], POINT).tolist()
    return replace(profile.beam, waist_diameter=(x, y), waist_position=(near, near))


def _view(source: Source, point: Vector, away: float) -> float:
    """Return the angle from the normal of a lit surface under which a point sees it, 0 where none is known. [rad]."""
    if source.plane is None:
        return 0.0
    cosine = sum((p - a) * k for p, a, k in zip(point, source.apex, source.plane[1], strict=True)) / away
    return math.acos(min(1.0, max(0.0, cosine)))


def _scatter_pairs(
    context: Context, source: Source, point: Vector, asked: Asked
) -> list[tuple[float, Criterion, float]]:
    """Return the ratio of every comparison and the source angle of its limit; behind an instrument a point is seen."""
    away = max(source.path_to(point), CLOSEST)
    view = _view(source, point, away)
    model = context.case.settings.scatter_model
    assert isinstance(source.profile, ScatterProfile)
    away = max(away, source.profile.spread * math.sqrt(max(math.cos(view), 0.0)))  # no more than straight before it
    tissue, seen = asked.tissue, None if asked.tissue == "skin" else asked.aid
    spot = source.profile.size if tissue == "eye" and asked.aid is None else 0.0
    axes = source_angles(spot, spot, away, view) if spot else None
    of_one = float(scatter_exposure(1.0, source.factor, away, min(view, math.pi / 2), model))
    lines = list(context.every.values())
    parts = portions(lines, tissue, asked.duration, spread=False)
    pairs = []
    for own, portion in zip(lines, parts, strict=True):
        for light in own.received(tissue, asked.duration):
            for angle in dict.fromkeys([ALPHA_MIN] if axes is None else credited_angles(light, *axes).tolist()):
                for whole in criteria(light, angle):
                    c = lessened(whole, own.wavelength, portion)
                    gain = 1.0 if seen is None else max(gain_of(context, c, seen), 1.0)
                    pairs.append((of_one * c.amount * gain / c.limit, c, angle))
    return pairs
