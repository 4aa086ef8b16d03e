"""Persons x modes x ways: every way for light to reach a person whose place is known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
import shapely

from lasersafe.assessment import scene_hits
from lasersafe.assessment.aims import place_of
from lasersafe.assessment.calculation import WITHOUT_STEPS, Working, corner_text, exposure_steps, legs_of
from lasersafe.assessment.context import (
    BASE_WAY,
    FAULTS,
    MORE_WAYS,
    SCATTERED,
    TISSUES,
    WAYS,
    Context,
    aid_of,
)
from lasersafe.assessment.loads import MODES, scatters
from lasersafe.assessment.scenarios import bare_first, person_time, scenario_of, struck_out
from lasersafe.assessment.scene_hits import Asked, Hit, ask, taken, worst_hit
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard.exposure import ALPHA_MIN
from lasersafe.models import Barrier, Case, Person, Scene, ScenePerson, SIValue
from lasersafe.quantity import format_quantity
from lasersafe.records import Step, badness
from lasersafe.records.scene import MatrixCell
from lasersafe.results import Scenario
from lasersafe.scene.beams import ScatterProfile
from lasersafe.wording import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.assessment.protection import Over
    from lasersafe.hazard.instruments import Aid

# what is asked for the row of somebody with an instrument: beams, and what scatters, each for its own time
_AIDED = {"aided viewing": WAYS[:2], "aided scatter": SCATTERED}
_WAYS_NOT_FITTED = ("direct", *MORE_WAYS, "mirror", "convex mirror", "concave mirror", "scatter")
_SMALLEST = 1e-3  # ratio below which a way is left to the matrix
_EXACT = 1e-4  # of an exposure: what is recomputed from the five digits that are printed agrees as well
_ALIKE = 0.99  # of the ratio of the worst mode: so near that a row of its own says nothing


Entry = TypeVar("Entry", Person, Barrier)


def placed_case(case: Case) -> Case:
    """Return the case with the distance of each person and each barrier no longer than the scene has it.

    Parameters
    ----------
    case : Case
        The case; without a scene it comes back as it is.

    Returns
    -------
    Case
        For calculation; what was typed is still in the case given.
    """
    if case.scene is None:
        return case
    people = {p.name: taken(p) for p in case.scene.person}
    lines = {b.name: shapely.LineString(b.line.pairs) for b in case.scene.barrier}
    return case.model_copy(
        update={
            "person": tuple(_no_farther(case.scene, p, people.get(p.name)) for p in case.person),
            "barrier": tuple(_no_farther(case.scene, b, lines.get(b.name)) for b in case.barrier),
        }
    )


def _no_farther(scene: Scene, entry: Entry, shape: shapely.Geometry | None) -> Entry:
    aims = [shapely.Point(a.position.pair) for a in scene.aim if entry.laser in (None, a.laser)]
    if shape is None or not aims:
        return entry
    nearest = max(float(shapely.distance(shape, aims).min()), 1e-3)
    if nearest >= float(entry.distance):
        return entry
    return entry.model_copy(update={"distance": SIValue(nearest, f"{nearest:.4g} m", "m")})


def nearest_of(stage: Stage, context: Context) -> dict[str, float]:
    """Return how near the last optic can come to each person with a place, on the plan [m], 1 mm at least."""
    heads = []
    for pose in (pose for mode in MODES for pose in stage.poses(context, mode)):
        (x, y, _), (wide, deep, _) = pose.apex, pose.moves
        heads.append(shapely.box(x - wide, y - deep, x + wide, y + deep))
    return {p.name: max(float(shapely.distance(taken(p), heads).min()), 1e-3) for p in stage.scene.person if heads}


def nearest_to_work(stage: Stage, context: Context) -> dict[tuple[str, str], float]:
    """Return how near eyes and skin of each person with a place come to the work, by person and tissue [m].

    The head points as it should; nothing is known of a laser whose work distance is not stated.
    """
    work = stage.work_distance(context)
    poses = dict.fromkeys(pose for mode in MODES[:3] for pose in stage.poses(context, mode) if work > 0.0)
    every, found = [pose.spots(work) for pose in poses], dict[tuple[str, str], float]()
    for tissue in TISSUES if every else ():
        places = scene_hits.person_places(stage, tissue)
        middle, half = (places.low + places.high) / 2.0, (places.high - places.low) / 2.0
        around = np.sqrt(np.square(half).sum(axis=1))
        bounds = []
        for spots in every:  # round all of the spots, and round all of the place
            (bottom, top), corners = spots.heights, spots.corners
            low, high = (*corners.min(axis=0), bottom), (*corners.max(axis=0), top)
            gaps = np.maximum(np.maximum(places.low - high, low - places.high) - spots.slack, 0.0)
            bounds.append(np.maximum(np.sqrt(np.square(gaps).sum(axis=1)), spots.away(*middle.T) - around))
        near = np.min(bounds, axis=0).tolist()
        found |= {(one.name, tissue): away for one, away in zip(stage.scene.person, near, strict=True)}
    return found


def bent_beams_at(stage: Stage, context: Context, people: Sequence[Person]) -> dict[str, list[Over]]:
    """Return the beams of curved mirrors that reach each of some people, with the share of the power [1] and the path.

    Where no bound is known the beam is a point there. Paths are in m.
    """
    flat, lines = [own.beam for own in context.every.values()], context.every.values()
    # a hollow mirror gathers little of a fibre's light
    modes = {"": MODES, "optic lost": MODES[:3]}.get(context.fault, ())
    asked, bent = [], {bend: f"{bend} mirror" for bend in ("convex", "concave")}
    for person in people:
        time = max(person_time(lines, one, "mirror", "eye")[0] for one in bare_first(person))
        lights = [
            light for mode in modes for light in stage.lights(context, ("mirror",), "eye", mode, time)
            if light[0].as_beam.beam not in flat
            and not struck_out(context, person, context.fault or bent.get(light[0].bend, "mirror"), mode)
        ]  # fmt: skip
        asked.append((person, lights))
    found = {}
    for person, reached in zip(people, scene_hits.reaching(stage, asked), strict=True):
        beams: dict[Over, None] = {}
        for source, near in reached:
            beam = source.as_beam.beam
            if source.unbounded or source.bends > 1 or (source.bends and 0.0 not in beam.waist_diameter):
                beam = replace(beam, waist_diameter=(0.0, 0.0), waist_position=(near, near))
            beams[beam, source.factor, near] = None
        found[person.name] = list(beams)
    return found


@dataclass(frozen=True)
class Found:
    """One cell of the matrix before it is written down."""

    way: str
    mode: str
    tissue: str
    time: tuple[float, str]  # [s] of the exposure, and why
    hit: Hit | None
    struck_out: str
    note: str = ""

    @property
    def ratio(self) -> float:
        """Exposure over limit, 0 when no light comes."""
        return 0.0 if self.hit is None else self.hit.ratio


def placed_scenarios(stage: Stage, context: Context) -> tuple[list[Scenario], list[MatrixCell]]:
    """Return the scenarios of one set-up for every person with a place, and the cells of the matrix."""
    adding = context.setup.fitted and sum(one.setup.fitted for one in stage.contexts) > 1
    names = {person.name for person in context.persons}
    places = [one for one in stage.scene.person if one.name in names]
    each = [_of_person(stage, context, one, adding, WITHOUT_STEPS.get()) for one in places]
    return [row for own, _ in each for row in own], [cell for _, cells in each for cell in cells]


@kept("people")
def _of_person(
    stage: Stage, context: Context, place: ScenePerson, adding: bool, _: bool
) -> tuple[list[Scenario], list[MatrixCell]]:
    """Return them of one person, with steps or without.

    Modes with the same result, within 1 %, are joined and the worst of them stands for all. What no light reaches is
    left to the matrix, and so is a way that gives no more than the plain one that it is answered like, and the tissue
    that is less at risk where both are below the limit, if nothing of another laser can add to it.
    """
    alike: dict[tuple[str, str, str], list[list[Found]]] = {}
    cells: dict[tuple[str, str], list[Found]] = {}
    (person,) = (one for one in context.persons if one.name == place.name)
    found = list(_cells(stage, context, person, place))
    for one in found:
        cells.setdefault((one.mode, one.way), []).append(one)
    for one in sorted(found, key=lambda cell: -badness(cell.ratio)):
        if one.hit is None or (one.ratio < _SMALLEST and one.way not in ("direct", "mirror", "scatter")):
            continue
        groups_so_far = alike.setdefault((one.way, one.tissue, one.struck_out), [])
        same = [g for g in groups_so_far if g[0].ratio == one.ratio or one.ratio >= _ALIKE * g[0].ratio]
        if same:
            same[-1].append(one)
        else:
            groups_so_far.append([one])
    groups = [group for groups in alike.values() for group in groups]
    plain = {(g[0].way, g[0].tissue, g[0].ratio, bool(g[0].struck_out)): {one.mode for one in g} for g in groups}
    own = []
    for group in groups:
        one, base = group[0], BASE_WAY[group[0].way]
        as_plain = plain.get((base, one.tissue, one.ratio, bool(one.struck_out)), set())
        repeats = one.way != base and {g.mode for g in group} <= as_plain
        other = any(h[0].way == one.way and h[0].mode == one.mode and h[0].ratio > one.ratio for h in groups)
        if not repeats and (one.ratio > 1.0 or adding or not other):
            own.append(_scenario(context, person, group))
    if not context.setup.fitted:
        own = sorted(own, key=lambda s: (bool(s.struck_out), -badness(s.ratio)))[:1]
    return own, [
        MatrixCell(
            person=place.name, mode=mode, way=way, laser=context.laser.name, setup=context.setup.name,
            tissue=one.tissue, surface="" if one.hit is None else one.hit.surface, ratio=one.ratio,
            below=bool(one.ratio <= 1.0), distance=math.nan if one.hit is None else one.hit.distance,
            struck_out=one.struck_out, note=one.note or (Message("hit.nothing") if one.hit is None else ""),
        )
        for (mode, way), some in cells.items() for one in [max(some, key=lambda one: badness(one.ratio))]
    ]  # fmt: skip


@dataclass(frozen=True)
class _Way:
    """One way for light to reach a person in a mode: what is asked, for the times of bare and of protected people."""

    way: str
    mode: str
    tissue: str
    asked: tuple[tuple[str, tuple[tuple[float, str], ...]], ...]
    alike: tuple[object, ...]  # what tells it from others that give the same


def ask_all(stage: Stage) -> None:
    """Note everything that the matrix will ask of persons, so that all of it is bounded at once."""
    for context in stage.placed:
        asked = {
            (kind, one.tissue, one.mode, duration, _aid(person, one.way, one.tissue)): None
            for person in context.persons for one in _ways(stage, context, person)
            for kind, lasting in one.asked for duration, _ in lasting
        }  # fmt: skip
        for one in asked:
            asked_of(stage, context, *one)


def _aid(person: Person, way: str, tissue: str) -> Aid | None:
    """Return the instrument through which somebody is asked on a way: after a fault as well, where one is used."""
    used = way == "aided viewing" or (way in FAULTS and tissue == "eye" and person.aided)
    return aid_of(person) if used else None


def _ways(stage: Stage, context: Context, person: Person) -> Iterator[_Way]:
    modes = MODES if context.setup.fitted else ("running",)
    lines = tuple(context.every.values())
    cut_through = not context.targets or any(target.cut_through for target in context.targets)
    as_aimed = ["running" if mode == "fault" else mode for mode in modes]
    same = [[_same_as(stage, context, *one) for one in zip(bases, modes, strict=True)] for bases in (modes, as_aimed)]
    for way in BASE_WAY if context.setup.fitted else _WAYS_NOT_FITTED:
        if way in MORE_WAYS and way not in context.ways:
            continue
        alike = "missing the target" if way == "through the target" and cut_through else way
        faulty = way in FAULTS  # one fault at a time: the head points as it should
        for tissue in TISSUES:
            if way == "aided viewing" and tissue == "skin":
                continue
            kinds = {kind: some[0] for kind, some in _AIDED.items()} if way in _AIDED else {way: BASE_WAY[way]}
            lasting = (
                tuple(dict.fromkeys(person_time(lines, one, base, tissue) for one in bare_first(person)))
                for base in kinds.values()
            )
            asked = tuple(zip(kinds, lasting, strict=True))
            for mode, as_another in zip(modes, same[faulty], strict=True):
                yield _Way(way, mode, tissue, asked, (alike, tissue, as_another))


def _cells(stage: Stage, context: Context, person: Person, place: ScenePerson) -> Iterator[Found]:
    earlier: dict[object, tuple[Hit | None, str]] = {}
    for one in _ways(stage, context, person):
        each = list[Found]()
        for kind, lasting in one.asked:
            for time in lasting:
                key = (len(each), one.alike, time[0])
                if key not in earlier:
                    aid = _aid(person, one.way, one.tissue)
                    asked = asked_of(stage, context, kind, one.tissue, one.mode, time[0], aid)
                    earlier[key] = _hit(stage, context, place, asked)
                hit, note = earlier[key]
                if hit is None or hit.ratio <= 1.0:
                    break
            impossible = note if isinstance(note, Message) and note.group == "cannot" else ""
            struck = struck_out(context, person, one.way, one.mode) or impossible
            each.append(Found(one.way, one.mode, one.tissue, time, hit, struck, note))
        yield max(each, key=lambda found: badness(found.ratio))


@kept("all", people=True)
def _same_as(stage: Stage, context: Context, base: str, mode: str) -> int:
    """Return a number that modes share that give the same: their poses and the screens that count."""
    where = tuple((replace(p, mode=""), stage.lit(context, p)) for p in stage.poses(context, base))
    walls = tuple(stage.walls(context, way, mode) for way in WAYS)
    number: int = stage.answers.setdefault(("alike", where, walls), len(stage.answers))
    return number


@kept("people", people=True)
def asked_of(
    stage: Stage, context: Context, way: str, tissue: str, mode: str, duration: float, aid: Aid | None
) -> Asked:
    """Return what is asked of persons on one way in a mode, noted for `settle`."""
    kind = "direct" if way in ("missing the target", "through the target") else way
    asked = Asked((), tissue, duration, aid)
    if way in FAULTS:
        beams, note = context.faults(stage.contexts)[way]
        if not beams:
            return replace(asked, note=note)
        usual = "running" if mode == "fault" else mode
        ways = (*context.ways_of_fault, *(SCATTERED if scatters(stage, context, way) else ()))
        lights = [x for one in beams for x in stage.lights(one, ways, tissue, usual, duration)]
        note = note if aid is None else joined([note, word(aid.name)])
        return replace(asked, note=note, keys=ask(stage, context, lights, asked))
    if way == "through the target" and context.targets and not any(t.cut_through for t in context.targets):
        return replace(asked, note=Message("cannot.be_cut"))
    if way in ("mirror", "convex mirror", "concave mirror"):
        shape = way.removesuffix("mirror").strip() or "flat"
        lights = [one for one in stage.lights(context, ("mirror",), tissue, mode, duration) if one[0].bend == shape]
        if not lights and shape != "flat":
            return replace(asked, note=Message(f"cannot.{shape}"))
        notes = dict.fromkeys(source.note for source, _ in lights if source.note and shape != "flat")
        asked = replace(asked, note=joined(notes))
    elif way in _AIDED:
        assert aid is not None
        lights, asked = stage.lights(context, _AIDED[way], tissue, mode, duration), replace(asked, note=aid.name)
    else:
        lights = stage.lights(context, (kind,), tissue, mode, duration)
        asked = replace(asked, note=Message("hit.bound") if way == "mirror then scatter" else "")
    asked = replace(asked, keys=ask(stage, context, lights, asked))
    if way not in ("missing the target", "through the target", "transmitted"):
        return asked
    work, poses = stage.work_distance(context), stage.poses(context, mode)
    placed = [t for t in context.targets if t.position is not None]
    near = [math.dist(place_of(t, pose, 0.0), pose.apex) for pose in poses for t in placed]
    beyond = max(min([*near, work]) if work > 0.0 else min(near, default=0.0), 1e-3)
    return replace(asked, beyond=beyond, farther=ask(stage, context, lights, asked, beyond))


def _hit(stage: Stage, context: Context, place: ScenePerson, asked: Asked) -> tuple[Hit | None, str]:
    """Return the bound of a person for what is asked, None where no light comes, and the note."""
    hit = worst_hit(stage, context, place, asked)
    if hit is not None and hit.distance <= asked.beyond:
        hit = worst_hit(stage, context, place, asked, farther=True)
    return hit, asked.note


def hit_of(stage: Stage, context: Context, name: str, way: str, tissue: str, duration: float) -> Hit | None:
    """Return the bound of a person, by name, on one way while running; None where no light comes."""
    place = next(one for one in stage.scene.person if one.name == name)
    aid = _aid(next(one for one in stage.case.person if one.name == name), way, tissue)
    kinds = _AIDED if way in _AIDED else (way,)
    every = [asked_of(stage, context, kind, tissue, "running", duration, aid) for kind in kinds]
    hits = [hit for one in every if (hit := _hit(stage, context, place, one)[0]) is not None]
    return max(hits, key=lambda hit: badness(hit.ratio), default=None)


def _scenario(context: Context, person: Person, group: list[Found]) -> Scenario:
    one, hit = group[0], group[0].hit
    assert hit is not None
    where = Message("hit.where", distance=format_quantity(hit.distance, "m", 4), origin=word(hit.where))
    if one.way != "mirror then scatter":
        x, y, z = (f"{value:z.2f}" for value in hit.point)
        where = Message("hit.at_place", where=legs_of(hit.source, hit.distance, where), x=x, y=y, z=z)
    if hit.angle > ALPHA_MIN:
        assert isinstance(hit.source.profile, ScatterProfile)
        spot, angle = format_quantity(hit.source.profile.size, "m", 4), format_quantity(hit.angle, "rad", 4)
        where = Message("hit.seen_under", where=where, spot=spot, angle=angle)
    where, criterion = Message("hit.row", where=where), hit.criterion
    printed = context.setup.fitted and not WITHOUT_STEPS.get()
    if printed:
        criterion = scene_hits.with_limit_steps(context, criterion, one.time[0], hit.angle)
    modes = sorted((g.mode for g in group), key=MODES.index)
    if context.setup.scan is not None and BASE_WAY[one.way] != "scatter":
        modes.append("scan failure")  # where places count, the movement of a scan earns nothing
    return scenario_of(
        context, person, one.time, criterion, way=one.way, tissue=one.tissue, distance=hit.distance,
        exposure=hit.exposure, ratio=hit.ratio, below=bool(hit.exposure <= criterion.limit),
        ratio_by_rule_set=hit.by_rule_set, fractions=hit.fractions, surface=word(hit.surface), placed=True,
        struck_out=one.struck_out, steps=_steps(context, one, hit, where) if printed else (), modes=tuple(modes),
    )  # fmt: skip


def _steps(context: Context, one: Found, hit: Hit, where: Message) -> tuple[Step, ...]:
    """Return the exposure with the lengths with which the box counts that has the highest bound, and the ratio.

    Where the one place gets as much, it is that of the place; where neither explains it, what the bound adds is named.
    """
    there, bound = replace(hit, counted=None, light=None), Message("source.bound")
    symbol = "E" if hit.criterion.limit_unit == "W/m2" else "H"
    for counted in (hit, there):
        working, value = scene_hits.counted_exposure(context, counted)
        if abs(hit.exposure - value) <= _EXACT * value:
            words = joined(filter(None, (_in_box(counted, where), word(one.note), hit.proven)))
            numbers = Message("hit.put_in", numbers=working.numbers, where=words)
            source = joined([working.source, bound])
            return exposure_steps(hit.criterion, hit.exposure, Working(working.formula, numbers, source))
    words = joined(filter(None, (where, word(one.note), hit.proven)))
    if not 0.0 < value < math.inf or not hit.exposure < math.inf:
        return exposure_steps(hit.criterion, hit.exposure, Working(f"{symbol}(r)", words, bound))
    times = hit.exposure / value
    first = Step(
        f"{symbol}₀", Message("step.exposure"), working.formula, working.numbers, value, hit.criterion.limit_unit,
        working.source, "own",
    )  # fmt: skip
    why = Message("hit.raised" if times > 1.0 else "hit.share", factor=f"{times:.5g}", where=words)
    return first, *exposure_steps(hit.criterion, hit.exposure, Working(f"{symbol} = {symbol}₀ · k", why, bound))


def _in_box(hit: Hit, where: Message) -> Message:
    """Return where the place is, by which way most is allowed for, and for which box with which shortest path."""
    span, source = hit.span, hit.counted
    if span is None or source is None or hit.box is None:
        return where
    near, same = format_quantity(span.near, "m", 5), abs(span.near - hit.distance) <= _EXACT * hit.distance
    if source is not hit.source:
        legs = legs_of(source, span.near, Message("hit.where", distance=near, origin=word(hit.where)))
        where = Message("hit.by_other", where=where, surface=word(source.surface), legs=legs)
    nearer = span.near > hit.distance and not same
    if source.parts or any(source.moves) or nearer:  # of several the nearest that lights
        start, size = span.start
        where = Message("hit.starts", where=where, low=corner_text(start - size), high=corner_text(start + size))
    middle, half = hit.box
    if same and not half.max() > 0.0:
        return where
    key = "hit.in_box_scatter" if isinstance(source.profile, ScatterProfile) else "hit.in_box"
    return Message(key, where=where, low=corner_text(middle - half), high=corner_text(middle + half), near=near)
