"""The scene of a case as sources and screens: where each laser stands, what it can hit, which barriers hold."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial, reduce, wraps
from itertools import product
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar, cast

import numpy as np
import shapely

from lasersafe.assessment import loads, paths
from lasersafe.assessment.aims import ROUND_UP, Lit, Pose, curved_sources, far_scatter, lit_surfaces, pose_of, reaching
from lasersafe.assessment.context import BASE_WAY, WAYS, Context, Portion, Wanted, lessened, part_of, portions
from lasersafe.assessment.faces import LitFace, faces_of, lit_behind_targets, lit_faces, people_of, spot_on
from lasersafe.hazard.scatter import CLOSEST_VIEW, scatter_ratio
from lasersafe.optics.reflection import LitSpot, scatter_exposure
from lasersafe.scene.areas import outline
from lasersafe.scene.beams import EVERYWHERE, FLOAT, LEAST, BeamProfile, Box, ScatterProfile, Vector, farthest_of
from lasersafe.scene.bound import STEP, most_light
from lasersafe.scene.mirrors import facing_anywhere, from_spots, level_mirror, lit_patch, past_walls, reachable
from lasersafe.scene.sources import Source, Spots
from lasersafe.scene.walls import Screen, Walls

if TYPE_CHECKING:
    from lasersafe.models import Case, Scene, SceneBarrier
    from lasersafe.records.scene import BarrierWay, ViewWindow
    from lasersafe.results import SetupResult
    from lasersafe.scene.lights import Light

P = ParamSpec("P")
T = TypeVar("T")
_WITH_AID = math.sqrt(51.0)  # times as far scatter reaches with the strongest instrument (docs/method.md, section 13)
REACH_UP = 2.0  # m above the floor: the band of heights that a person fills; common practice, no source


# of each kind of answer: with what else it changes than its own laser, whether it does where people stand elsewhere,
# and whether it does where a case states anything else but barriers
_NAMED = "same walls", "same source", "lit past", "together", "reach together"  # not answers of one function
_NONE: Any = object()
RESTS: dict[str, tuple[str, bool, bool]] = dict.fromkeys(_NAMED, ("", False, True))


def kept(
    by: str = "", *, people: bool = False, stated: bool = True
) -> Callable[[Callable[Concatenate[Stage, P], T]], Callable[Concatenate[Stage, P], T]]:
    """Let what is asked of a stage be answered once, for all stages in which a laser is the same.

    The same argument by place and by name would be two answers: a switch that may be left out is given by name only.

    Parameters
    ----------
    by : str
        ``walls`` where what holds can change it on every way but the direct one, ``people`` where it can on any way and
        in the beam of a fault, ``all`` where other lasers can.
    people : bool
        Whether it rests on where people are.
    stated : bool
        Whether it rests on anything that `lasersafe.assessment.price` states otherwise.
    """

    def keep(work: Callable[Concatenate[Stage, P], T]) -> Callable[Concatenate[Stage, P], T]:
        assert work.__name__ not in RESTS, "answers are told apart by this name"
        RESTS[work.__name__] = by, people, stated

        @wraps(work)
        def known(stage: Stage, *given: P.args, **named: P.kwargs) -> T:
            key = stage.key(work.__name__, *given, *named.items())
            found: T = stage.answers.get(key, _NONE)
            if found is _NONE:
                found = stage.answers[key] = work(stage, *given, **named)
            return found

        return cast("Callable[Concatenate[Stage, P], T]", known)

    return keep


def known_by(given: object) -> object:
    """Return what tells something from others in a key."""
    if isinstance(given, Context):
        return given.known_as
    return tuple(given.items()) if isinstance(given, dict) else given


@dataclass
class Stage:
    """Everything that the scene of a case is worked out from.

    What it is worked out *without* are strict assumptions that `lasersafe.assessment.price` names, to say what they
    cost; what is judged is without none.
    """

    case: Case
    scene: Scene
    contexts: list[Context]
    setups: list[SetupResult]
    # known for all stages in which a laser is the same, and what was asked of persons and not answered yet
    answers: dict[tuple[object, ...], Any] = field(default_factory=dict)
    open: dict[tuple[object, ...], Any] = field(default_factory=dict)

    others: list[Stage] = field(default_factory=list)  # that share the answers, itself included
    without: frozenset[str] = frozenset()
    wanted: Wanted = "all"
    burnt: frozenset[loads.Burnt] = frozenset()

    def key(self, name: str, *given: object) -> tuple[object, ...]:
        """Return under what an answer is known."""
        key, by = (name, *map(known_by, given)), RESTS[name][0]
        if by == "all":
            return *key, self.corners, self.burnt
        if by == "walls" and not ("direct" in given or "transmitted" in given):
            after = any(one in given for one in ("scatter", "mirror then scatter", ("mirrored", True)))
            return *key, self.standing(cast("Context", given[0]), WAYS[: 1 + after]), self.burnt
        return (*key, self.for_people(cast("Context", given[0]))) if by == "people" else key

    @cached_property
    def corners(self) -> tuple[tuple[int, int], ...]:
        """Which of its corners each laser is at."""
        return tuple(dict.fromkeys(one.corner for one in self.contexts))

    @cached_property
    def extent(self) -> tuple[float, float, float, float]:
        """What the paper shows: everything that has a place, with a margin; x low, y low, x high, y high. [m]."""
        scene = self.scene
        spots = [
            *(a.position for a in scene.aim), *(p.position for p in scene.person), *(c.position for c in scene.camera),
            *(s.position for s in scene.surface), *(t.position for t in scene.target),
        ]  # fmt: skip
        lines = [*(b.line for b in scene.barrier), *(p.area for p in scene.person), *(f.outline for f in scene.floor)]
        points = [spot.pair for spot in spots if spot is not None]
        points += [pair for line in (*lines, scene.outline) if line is not None for pair in line.pairs]
        low, high = np.min(points, axis=0), np.max(points, axis=0)
        margin = max(1.0, 0.08 * float((high - low).max()))
        (x0, y0), (x1, y1) = (low - margin).tolist(), (high + margin).tolist()
        return x0, y0, x1, y1

    @cached_property
    def screens(self) -> dict[str, Screen]:
        """All barriers and walls with a place, their windows open."""
        return {entry.name: loads.screen_of(entry, set()) for entry in self.scene.barrier}

    @cached_property
    def wall_lines(self) -> list[shapely.LineString]:
        """Where barriers and walls stand on the plan."""
        return [shapely.LineString(screen.line) for screen in self.screens.values()]

    @cached_property
    def near_walls(self) -> shapely.Geometry:
        """What is so near to a barrier or wall on the plan that a smallest box could reach through it."""
        return shapely.union_all(shapely.buffer(self.wall_lines, 1.5 * STEP, cap_style="flat", join_style="mitre"))

    @cached_property
    def band(self) -> tuple[float, float]:
        """The heights that people fill, from the lowest floor to above the highest."""
        floors = [0.0, *(float(p.floor) for p in self.scene.person)]
        return min(floors), max([max(floors) + REACH_UP, *(p.floor + p.eyes[1] for p in self.scene.person)])

    @property
    def fitted(self) -> list[Context]:
        """The set-ups that are fitted today."""
        return [one for one in self.contexts if one.setup.fitted]

    @property
    def placed(self) -> list[Context]:
        """The set-ups that are worked out, as far as the scene has a place for them."""
        return [one for one in (self.fitted if self.wanted == "short" else self.contexts) if self.poses(one, "running")]

    def result(self, context: Context) -> SetupResult:
        """Return zones and chart of a set-up."""
        return next(s for s in self.setups if s.laser == context.laser.name and s.setup == context.setup.name)

    @kept()
    def poses(self, context: Context, mode: str) -> tuple[Pose, ...]:
        """Return where a laser stands and points in a mode; none when the scene does not place it."""
        own = [a for a in self.scene.aim if a.laser == context.laser.name]
        own = [a for a in own if a.setup in (None, context.setup.name)]
        exact = [a for a in own if a.mode == mode]
        aims = exact or [a for a in own if a.mode in (None, "running")]
        found = tuple(pose_of(a, context, mode, self.without) for a in aims)
        if context.fault != "fibre broken" and (mode != "fault" or exact):
            return found
        anywhere = Box(0.0, math.pi, (-math.pi / 2.0, math.pi / 2.0))
        return tuple(replace(p, nominal=anywhere, directions=anywhere) for p in found)

    @kept()
    def lit(self, context: Context, pose: Pose) -> tuple[Lit, ...]:
        """Return what the beam of a laser can meet, each with its place."""
        return lit_surfaces(self.scene, context, pose, self.work_distance(context), Walls(self.screens.values()))

    @kept("walls")
    def lit_part(self, context: Context, pose: Pose, item: Lit, mode: str) -> tuple[Vector, float] | None:
        """Return middle and radius of what a beam lights of a surface with a place, None in the dark. [m].

        What a laser is aimed at is lit in any case.
        """
        walls = self.walls(context, "direct", mode) if not item.target else Walls()
        return lit_patch(self._seen_by_eyes(context, pose), item.as_mirror, walls)

    @kept("walls")
    def spots(self, context: Context, pose: Pose, item: Lit) -> Spots:
        """Return where on a surface the beam of a laser can fall, with all places that the head can point to."""
        if item.placed:
            middle, radius = self.lit_part(context, pose, item, pose.mode) or (item.position, item.width / 2.0)
            return Spots(middle, EVERYWHERE, radius, True, None if item.curved_by else item.normal)
        if pose.turns and item.along:
            return pose.spots(item.along)
        return Spots(item.position, EVERYWHERE, pose.loose, True)

    def _meets(self, context: Context, pose: Pose, item: Lit, laser: Source) -> bool:
        """Return whether the beam of a laser can fall on a surface, past walls that hold; on the aim it always does."""
        lit = not item.placed or self.lit_part(context, pose, item, pose.mode) is not None
        return lit and (not item.placed or item.target or reachable(laser, item.as_mirror))

    def work_distance(self, context: Context) -> float:
        """Return how far the work is from the last optic, 0 when not stated. [m]."""
        return float(context.setup.work_distance or 0.0)

    # --- profiles --------------------------------------------------------------------------------------------------

    @kept(stated=False)
    def portions(self, context: Context, tissue: str, duration: float, *, spread: bool = True) -> list[Portion]:
        """Return what part of its limits each wavelength of a laser may use; nothing for a laser of one."""
        return portions(list(context.every.values()), tissue, duration, spread)

    @kept(stated=False)
    def beam_profile(
        self, context: Context, tissue: str, duration: float, portion: Portion | None = None
    ) -> BeamProfile:
        """Return the beam of one wavelength against its limits, or the part of them that it may use."""
        compared = (lessened(c, context.wavelength, portion or {}) for c in context.compared(tissue, duration))
        return BeamProfile(context.beam, tuple(dict.fromkeys(compared)), *context.may_differ)

    @kept(stated=False)
    def scatter_profile(
        self, context: Context, tissue: str, duration: float, portion: Portion | None = None, *, size: float = 0.0
    ) -> ScatterProfile:
        """Return a lit spot of reflectance 1 against the limits of one wavelength, or the part that it may use.

        A spot of a known size [m] earns credit for it.
        """
        size = size if tissue == "eye" else 0.0
        spot = LitSpot(model=self.case.settings.scatter_model, diameter=size)
        lights = list(context.received(tissue, duration))
        parts = [partial(part_of, portion or {}, one.rule_set, tissue, context.wavelength) for one in lights]
        each = [scatter_ratio(one, spot, part) for one, part in zip(lights, parts, strict=True)]

        def ratio(distance: FLOAT) -> FLOAT:
            return np.asarray(reduce(np.maximum, (one(distance) for one in each)))

        return ScatterProfile(ratio, spot.model == "lambert", size)

    @kept()
    def in_irradiance(
        self, profile: BeamProfile | ScatterProfile, power: float, aperture: float = 1e-9
    ) -> BeamProfile | ScatterProfile:
        """Return a profile whose ratio is an irradiance [W/m2]: over an aperture [m], or the peak, for a beam."""
        model = self.case.settings.scatter_model
        if isinstance(profile, BeamProfile):
            return profile.in_irradiance(power, aperture)
        return replace(
            profile, ratio=lambda r: np.asarray(scatter_exposure(power, 1.0, r, 0.0, model)),
            lambert=model == "lambert", size=0.0, nearest=CLOSEST_VIEW,
        )  # fmt: skip

    @kept()
    def scatter_reach(self, profile: ScatterProfile, factor: float) -> float:
        """Return how far a lit spot of a reflectance exceeds the limit, rounded up [m]."""
        return far_scatter(profile, factor) * ROUND_UP

    # --- sources ---------------------------------------------------------------------------------------------------

    def sources(
        self, context: Context, way: str, tissue: str, mode: str = "running", duration: float | None = None
    ) -> tuple[Source, ...]:
        """Return the sources of one set-up on one way.

        Parameters
        ----------
        context : Context
            Laser and set-up.
        way : str
            ``direct``, ``mirror`` or ``scatter``.
        tissue : str
            ``eye`` or ``skin``.
        mode : str
            One of `MODES`.
        duration : float, optional
            Exposure duration; left out, the one that zones are made for. [s]

        Returns
        -------
        tuple of Source
            One for each place of the laser, mirror or lit spot.
        """
        time = max(c.duration(way)[0] for c in context.every.values()) if duration is None else duration
        return self._made(context, way, tissue, self._first_like(context, way, mode), time)

    @kept("walls")
    def _first_like(self, context: Context, way: str, mode: str) -> str:
        """Return the first mode in which a laser is placed and points alike, and the same walls hold on its way.

        In a fault mirrors can be knocked as well, so that it is like no other.
        """

        def known(mode: str) -> object:
            poses = [replace(pose, mode="") for pose in self.poses(context, mode)]
            ways = () if way in ("direct", "transmitted") else ("direct",) if way == "mirror" else ("direct", "mirror")
            walls = [self.walls(context, one, mode) for one in ways]
            return mode == "fault", poses, walls

        return next(one for one in (*loads.MODES, mode) if known(one) == known(mode))

    @kept("walls")
    def _made(self, context: Context, way: str, tissue: str, mode: str, duration: float) -> tuple[Source, ...]:
        make = {
            "direct": self._direct, "mirror": self._mirrors, "scatter": self._spots, "mirror then scatter": self._after,
            "transmitted": self._transmitted,
        }[way]  # fmt: skip
        # a fault gives all wavelengths one beam
        parts = self.portions(context, tissue, duration, spread=BASE_WAY[way] != "scatter" and not context.fault)
        found = tuple(
            source
            for pose in self.poses(context, mode)
            for own, portion in zip(context.every.values(), parts, strict=True)
            for source in make(own, pose, tissue, duration, portion)
        )
        found = (*found, *paths.over_level_mirrors(self.scene, found)) if BASE_WAY[way] == "scatter" else found
        return tuple(self.answers.setdefault(("same source", one), one) for one in found)  # as of walls

    def _direct(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        profile = self.beam_profile(context, tissue, duration, portion)
        reach = farthest_of(profile.criteria, context.beam) * ROUND_UP
        sharp = "edge" in self.without
        return [Source("direct", pose.apex, pose.directions, profile, reach, moves=pose.moves, sharp=sharp)]

    def _transmitted(
        self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion
    ) -> list[Source]:
        """Return the beam behind a flat target that lets a stated share of it through."""
        beam, share = self._direct(context, pose, tissue, duration, portion)[0], context.share("transmitted")[0]
        reach = farthest_of(beam.as_beam.criteria, context.beam, share) * ROUND_UP
        return [replace(beam, factor=share, reach=reach)]

    @kept("walls")
    def _mirrors(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        laser = self._direct(context, pose, tissue, duration, portion)[0]
        made: list[tuple[Source, float | None]] = []
        walls = self.walls(context, "direct", pose.mode)
        for item in self.lit(context, pose):
            if not item.mirror or not self._meets(context, pose, item, laser):
                continue
            spots = self.spots(context, pose, item)
            made += curved_sources(context, pose, item, spots, laser.as_beam)
            if item.may_be_flat and item.normal is None:
                made.append((facing_anywhere(laser, item.as_mirror, spots, math.inf), item.reflectance))
            elif item.may_be_flat:
                made += [(one, item.reflectance) for one in past_walls(laser, item.as_mirror, math.inf, walls)]
        flat = [pane.mirror for pane in self.panes(context, pose, pose.mode)]
        for mirror in [*flat, *(top for top in paths.wet_tops(self.scene) if reachable(laser, top))]:
            made += [(one, mirror.reflectance) for one in past_walls(laser, mirror, math.inf, walls)]
        found = reaching(made)
        found += [level_mirror(laser, one.height, one.share, one.name) for one in paths.level_members(self.scene)]
        members = paths.members_of(self.scene, self.lit(context, pose))
        passed = {part for laser, part, _ in self.burnt if laser == context.named}
        shut = {where for where, one in self.windows(context, "direct").items() if one.holds and where not in passed}
        names = {one.name for one in walls.screens if (one.name, None) not in passed}
        left = Walls(loads.screen_of(one, shut) for one in self.scene.barrier if one.name in names) if passed else walls
        every = paths.in_parts(found + paths.further_mirrors(context, pose, found, members, left))
        if context.fault != "fibre broken":
            return every
        return [one for one in every if one.bend == "convex" or not (one.bends or one.bend == "concave")]

    @kept("walls")
    def panes(self, context: Context, pose: Pose, mode: str) -> tuple[paths.Pane, ...]:
        """Return the windows that act as mirrors for a laser in a mode."""
        laser, walls = self._seen_by_eyes(context, pose), self.walls(context, "direct", mode)
        panes = [one for one in paths.panes_of(self.scene) if one.mirror.reflectance > 0.0]
        lit = paths.lit_panes([(laser, walls)] * len(panes), panes, paths.FOLLOWED)
        return tuple(one for one, gets in zip(panes, lit, strict=True) if gets)

    @kept()
    def _seen_by_eyes(self, context: Context, pose: Pose) -> Source:
        """Return the direct beam against the limits of the eye: what it lights where nothing else is asked."""
        return self._direct(context, pose, "eye", context.duration("direct")[0], {})[0]

    def _spots(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        laser = self._direct(context, pose, tissue, duration, portion)[0]
        shining = {one.name for one in self.case.surface if one.finish == "mirror" and "shines" in self.without}
        items = [one for one in self.lit(context, pose) if one.name not in shining]
        items = [one for one in items if self._meets(context, pose, one, laser)]
        sizes = [spot_on(context, pose, item) for item in items]
        profiles = [self.scatter_profile(context, tissue, duration, portion, size=size) for size in sizes]
        return [
            from_spots(
                "scatter", self.spots(context, pose, item), profile, self.scatter_reach(profile, item.reflectance),
                factor=item.reflectance, plane=item.plane if item.shape in ("flat", "unknown") else None,
                surface=item.name,
            )
            for item, profile in zip(items, profiles, strict=True)
        ] + self._ends(context, pose, tissue, duration, portion, mirrored=False)  # fmt: skip

    def _after(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        """Return what scatters light that has come over mirrors: surfaces with a place, and whatever ends the beam."""
        profile = self.scatter_profile(context, tissue, duration, portion)
        beams, walls = self._beams_of_eyes(context, pose), self.walls(context, "mirror", pose.mode)
        found, items = [], [item for item in self.lit(context, pose) if item.placed]
        other = [beam.surface != item.name for beam in beams for item in items]
        asked = np.array(other, dtype=bool).reshape(len(beams), len(items))
        places = np.array([item.position for item in items]).reshape(-1, 3)
        half = np.array([[item.width / 2.0] * 3 for item in items]).reshape(-1, 3)
        lit = most_light([[(beam, walls)] for beam in beams], places, half, asked) > LEAST
        for item, meets in zip(items, lit.T, strict=True):
            share = max((beam.factor for beam, one in zip(beams, meets.tolist(), strict=True) if one), default=0.0)
            if share > 0.0:
                ball = Spots(item.position, EVERYWHERE, item.width / 2.0, True)
                share = min(share * item.reflectance, 1.0)
                reach = self.scatter_reach(profile, share)
                found.append(from_spots("scatter", ball, profile, reach, factor=share, surface=item.name))
        return found + self._ends(context, pose, tissue, duration, portion, mirrored=True)

    @kept("walls")
    def _beams_of_eyes(self, context: Context, pose: Pose) -> list[Source]:
        """Return what mirrors make of the beam, against the limits of the eye, where no more is asked."""
        return self._mirrors(context, pose, "eye", context.duration("direct")[0], {})

    @kept("walls", people=True)
    def lit_faces(self, context: Context, pose: Pose, *, mirrored: bool) -> list[LitFace]:
        """Return what ends a beam of a laser, or what mirrors make of it; all lasers and modes are asked at once."""
        way, given = "mirror then scatter" if mirrored else "scatter", ("mirrored", mirrored)
        key = self.key("lit_faces", context, pose, given)
        asked = {key: (self, context, pose)}
        for stage, mode in product(self.others, loads.MODES):
            for one in stage.placed:
                for other in stage.poses(one, stage._first_like(one, way, mode)):
                    asked.setdefault(stage.key("lit_faces", one, other, given), (stage, one, other))
        asked = {key: one for key, one in asked.items() if key not in self.answers}
        reach = max(
            stage.scatter_reach(stage.scatter_profile(own, "eye", own.duration("scatter")[0]), 1.0)
            for stage, one, _ in asked.values() for own in one.every.values()
        )  # fmt: skip
        reach *= _WITH_AID if any(person.aided for person in self.case.person) else 1.0
        faces = faces_of(self.scene, reach, aslant=self.case.settings.scatter_model == "lambert")
        upright, level = ([face for face in faces if face.level == one] for one in (False, True))
        wanted = []
        for stage, one, other in asked.values():
            beams = stage._beams_of_eyes(one, other) if mirrored else [stage._seen_by_eyes(one, other)]
            lights = [(beam, stage.walls(one, "mirror" if mirrored else "direct", other.mode)) for beam in beams]
            # what may send a beam anywhere lights the floor next to people whom it can hit as well
            known = [beam.aimed and not beam.directions.box().everywhere for beam in beams]
            sure = [light for light, one_way in zip(lights, known, strict=True) if one_way or not mirrored]
            wanted += [(lights, upright), (sure, level)]
        lit = lit_faces(wanted, people_of(self.scene))
        self.answers |= zip(asked, map(operator.add, lit[::2], lit[1::2]), strict=True)
        for own, (stage, one, other) in asked.items():
            self.answers[own] += [] if mirrored else stage._behind(one, other)
        found: list[LitFace] = self.answers[key]
        return found

    @kept("walls")
    def _behind(self, context: Context, pose: Pose) -> list[LitFace]:
        """Return what is said to stand behind targets; a head that a fault turns anywhere hits it where it is aimed."""
        aimed = [pose]
        if pose.nominal.everywhere:
            aim = pose.apex, pose.bearing, pose.elevation
            aimed = [one for one in self.poses(context, "running") if (one.apex, one.bearing, one.elevation) == aim]
        found = []
        for one in aimed if not context.fault else ():
            light = self._seen_by_eyes(context, one), self.walls(context, "direct", pose.mode)
            work = self.work_distance(context)
            found += lit_behind_targets(self.scene, context.targets, one, work, light)
        return found

    def _ends(
        self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion, *, mirrored: bool
    ) -> list[Source]:
        """Return the scatter of what ends a beam; its lit spot earns no credit for its size."""
        found = self.lit_faces(context, pose, mirrored=mirrored)
        profile = self.scatter_profile(context, tissue, duration, portion)
        return [one.source(profile, self.scatter_reach(profile, one.share)) for one in found]

    @kept()
    def outline(self, source: Source) -> shapely.Geometry:
        """Return an area on the floor outside of which a source exceeds no limit, without walls."""
        return outline(source, self.band)

    # --- barriers --------------------------------------------------------------------------------------------------

    @kept("walls", stated=False)
    def peaks(self, context: Context, way: str, modes: tuple[str, ...]) -> dict[loads.Part, loads.Peak]:
        """Return the most that a laser can bring to each barrier and view window in some modes.

        What will be asked of other lasers, of the beams of their faults and on other ways is bounded with it.
        """
        key = self.key("peaks", context, way, modes)
        wanted = {key: (self, context, way, modes)}
        running = modes == ("running",)
        ways = WAYS if running else (way,)  # what holds against one is asked before the next
        for stage, own in product(self.others, ways):
            faults = (one for laser in stage.placed for one in laser.broken(stage.contexts))
            broken = [one for one in faults if own in one.ways_of_fault]
            for one in stage.placed if running else [*stage.placed, *broken]:
                if one.setup.fitted or not running:
                    wanted.setdefault(stage.key("peaks", one, own, modes), (stage, one, own, modes))
        asked = {key: one for key, one in wanted.items() if key not in self.answers}
        self.answers |= zip(asked, loads.peaks_on(list(asked.values())), strict=True)
        found: dict[loads.Part, loads.Peak] = self.answers[key]
        return found

    @kept("all", stated=False)
    def held(self, context: Context, way: str) -> dict[str, BarrierWay]:
        """Return for each screen what falls on it on one way, and whether it holds, with all fitted lasers together."""
        own = self._alone(context, way)
        if not context.setup.fitted or not self.case.adds_lasers:
            return own
        others = [self._alone(c, way) for c in self.contexts if c.setup.fitted and c.laser.name != context.laser.name]
        found = {name: loads.together(one, [other[name] for other in others]) for name, one in own.items()}
        return {name: loads.unless_fallen(self, one, (name, None)) for name, one in found.items()}

    @kept("all", stated=False)
    def _alone(self, context: Context, way: str) -> dict[str, BarrierWay]:
        return {entry.name: loads.judge_screen(self, context, way, entry) for entry in self.scene.barrier}

    @kept("all", stated=False)
    def windows(self, context: Context, way: str) -> dict[tuple[str, int], ViewWindow]:
        """Return every view window whose density is stated, by barrier and number, and whether it holds on one way."""
        found = loads.judge_windows(self, context, way)
        return {part: loads.unless_fallen(self, one, part) for part, one in found.items()}

    def solid(self, context: Context, way: str, entry: SceneBarrier) -> Screen:
        """Return a barrier with the windows that hold on a way shut."""
        return loads.screen_of(entry, {where for where, one in self.windows(context, way).items() if one.holds})

    @kept("all", stated=False)
    def walls(self, context: Context, way: str, mode: str = "running") -> Walls:
        """Return the screens that hold; in service barriers are open, walls and terrain are not."""
        held, open_ = self.held(context, way), {"barrier"} if mode == "service" else set()
        found = [
            self.solid(context, way, entry)
            for entry in self.scene.barrier
            if (held[entry.name].holds or "weak" in self.without) and entry.kind not in open_
        ]
        walls = Walls([*found, *(loads.plates_of(self.scene) if "stops" in self.without else ())])
        same: Walls = self.answers.setdefault(("same walls", walls.screens), walls)  # one object for all equal ones
        return same

    def opened(self, walls: Walls) -> Walls:
        """Return walls with every view window open, as for what its density lets through."""
        names = {one.name for one in walls.screens}
        return Walls(loads.screen_of(one, set()) for one in self.scene.barrier if one.name in names)

    @kept("all", people=True)
    def for_people(self, context: Context) -> tuple[tuple[int, ...], ...]:
        """Return what tells the walls that hold against a laser, and against the beam of a fault, from others."""
        more = [(one, loads.scatters(self, context, one.fault)) for one in context.broken(self.contexts)]
        faults = (self.standing(one, WAYS if scatters else one.ways_of_fault) for one, scatters in more)
        return self.standing(context, WAYS), *faults

    @kept("all")
    def standing(self, context: Context, ways: tuple[str, ...]) -> tuple[int, ...]:
        """Return what tells the walls that hold against a laser from those of other stages, in all modes."""
        return tuple(id(self.walls(context, way, mode)) for way in ways for mode in ("running", "service"))

    def lights(
        self, context: Context, ways: Sequence[str], tissue: str, mode: str = "running", duration: float | None = None
    ) -> list[Light]:
        """Return the sources of some ways with the walls that hold against each; see `sources`."""
        held = {way: self.walls(context, BASE_WAY[way], mode) for way in ways}
        return [(source, held[way]) for way in ways for source in self.sources(context, way, tissue, mode, duration)]
