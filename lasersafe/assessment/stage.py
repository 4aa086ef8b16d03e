"""The scene of a case as sources and screens: where each laser stands, what it can hit, which barriers hold."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment import loads
from lasersafe.assessment.context import Context
from lasersafe.assessment.known import Known
from lasersafe.assessment.lines import every_context
from lasersafe.assessment.lit import ROUND_UP, Lit, curved_sources, lit_surfaces
from lasersafe.assessment.loads import Held, HeldWindow
from lasersafe.assessment.panes import Pane, lit_panes
from lasersafe.assessment.portions import Portion, lessened, part_of, portions
from lasersafe.assessment.pose import Pose, far_scatter, pose_of, wet_ground
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.scatter import scatter_ratio
from lasersafe.results import Criterion, SetupResult
from lasersafe.scene.areas import outline
from lasersafe.scene.directions import EVERYWHERE, Box
from lasersafe.scene.patches import lit_patch
from lasersafe.scene.profile import BeamProfile, ScatterProfile, farthest_of
from lasersafe.scene.screens import Gap, Piece, Screen
from lasersafe.scene.sources import Source, facing_anywhere, reflected
from lasersafe.scene.spots import Spots

if TYPE_CHECKING:
    from lasersafe.models import Case, Scene, SceneBarrier

FLOAT = NDArray[np.float64]
REACH_UP = 2.0  # m above the floor: the band of heights that a person fills; common practice, no source


def screen_of(entry: SceneBarrier, shut: set[tuple[str, int]]) -> Screen:
    """Return a barrier or wall with what is open in it; windows are, but for those named by barrier and number."""
    gaps = tuple(
        Gap(float(o.start), float(o.end), float(o.bottom), float(o.top))
        for number, o in enumerate(entry.opening)
        if (o.open or o.kind == "window") and (entry.name, number) not in shut
    )
    return Screen(entry.name, entry.line.pairs, float(entry.bottom), float(entry.top), gaps)


@dataclass
class Stage:
    """Everything that the scene of a case is worked out from."""

    case: Case
    scene: Scene
    contexts: list[Context]
    setups: list[SetupResult]
    _profiles: dict[tuple[object, ...], BeamProfile | ScatterProfile] = field(default_factory=dict)
    _portions: dict[tuple[object, ...], list[Portion]] = field(default_factory=dict)
    _held: dict[tuple[object, ...], tuple[Held, ...]] = field(default_factory=dict)
    _single: dict[tuple[object, ...], tuple[Held, ...]] = field(default_factory=dict)
    _windows: dict[tuple[object, ...], tuple[HeldWindow, ...]] = field(default_factory=dict)
    _pieces: dict[tuple[object, ...], tuple[Piece, ...]] = field(default_factory=dict)
    known: Known = field(default_factory=Known)  # what scene_matrix has worked out
    _outlines: dict[tuple[object, ...], tuple[Source, shapely.Geometry]] = field(default_factory=dict)
    _poses: dict[tuple[str, str, str], tuple[Pose, ...]] = field(default_factory=dict)
    _sources: dict[tuple[object, ...], tuple[Source, ...]] = field(default_factory=dict)
    _spots_of: dict[tuple[object, ...], Spots] = field(default_factory=dict)
    _panes: dict[tuple[object, ...], tuple[Pane, ...]] = field(default_factory=dict)

    @cached_property
    def screens(self) -> dict[str, Screen]:
        """All barriers and walls with a place, their windows open."""
        return {entry.name: screen_of(entry, set()) for entry in self.scene.barrier}

    @cached_property
    def band(self) -> tuple[float, float]:
        """The heights that people fill, from the lowest floor to above the highest."""
        floors = [0.0, *(float(p.floor) for p in self.scene.person)]
        return min(floors), max(floors) + REACH_UP

    def result(self, context: Context) -> SetupResult:
        """Return zones and chart of a set-up."""
        return next(s for s in self.setups if s.laser == context.laser.name and s.setup == context.setup.name)

    def poses(self, context: Context, mode: str) -> tuple[Pose, ...]:
        """Return where a laser stands and points in a mode; none when the scene does not place it."""
        key = (context.laser.name, context.setup.name, mode)
        if key not in self._poses:
            self._poses[key] = self._placed(context, mode)
        return self._poses[key]

    def _placed(self, context: Context, mode: str) -> tuple[Pose, ...]:
        own = [a for a in self.scene.aim if a.laser == context.laser.name]
        own = [a for a in own if a.setup in (None, context.setup.name)]
        exact = [a for a in own if a.mode == mode]
        if exact:
            return tuple(pose_of(a, context, mode) for a in exact)
        usual = [a for a in own if a.mode is None or a.mode == "running"]
        found = tuple(pose_of(a, context, mode) for a in usual)
        if mode != "fault":
            return found
        anywhere = Box(0.0, math.pi, (-math.pi / 2.0, math.pi / 2.0))
        return tuple(replace(p, nominal=anywhere, directions=anywhere) for p in found)

    def lit(self, context: Context, pose: Pose) -> tuple[Lit, ...]:
        """Return what the beam of a laser can meet, each with its place."""
        return lit_surfaces(self.scene, context, pose, self.work_distance(context))

    def spots(self, context: Context, pose: Pose, item: Lit) -> Spots:
        """Return where on a surface the beam of a laser can fall, with all places that the head can point to."""
        key = (context.laser.name, context.setup.name, context.wavelength, context.beam, pose, item)
        if key not in self._spots_of:
            if not item.placed:
                turning = pose.turns and bool(item.along)
                found = pose.spots(item.along or 0.0) if turning else Spots(item.position, EVERYWHERE, 0.0, True)
            else:
                middle, radius = lit_patch(self._seen_by_eyes(context, pose), item.as_mirror)
                found = Spots(middle, EVERYWHERE, radius, True, item.normal)
            self._spots_of[key] = found
        return self._spots_of[key]

    def work_distance(self, context: Context) -> float:
        """Return how far the work is from the last optic, 0 when not stated. [m]."""
        work = context.setup.work_distance
        return 0.0 if work is None else float(work)

    # --- profiles --------------------------------------------------------------------------------------------------

    def portions(self, context: Context, tissue: str, duration: float, spread: bool = True) -> list[Portion]:
        """Return what part of its limits each wavelength of a laser may use; nothing for a laser of one."""
        key = (context.laser.name, context.setup.name, tissue, duration, spread)
        if key not in self._portions:
            self._portions[key] = portions(list(every_context(context).values()), tissue, duration, spread)
        return self._portions[key]

    def comparisons(
        self, context: Context, tissue: str, duration: float, portion: Portion | None = None
    ) -> tuple[Criterion, ...]:
        """Return every comparison of every setting and rule set for one tissue and duration."""
        return tuple(dict.fromkeys(
            lessened(c, context.wavelength, portion or {})
            for emission in context.emissions(tissue, duration)
            for rule_set in context.rule_sets
            for c in criteria(rule_set, tissue, emission, context.wavelength, duration, ALPHA_MIN)
        ))  # fmt: skip

    def beam_profile(
        self, context: Context, tissue: str, duration: float, portion: Portion | None = None
    ) -> BeamProfile:
        """Return the beam of one wavelength against its limits, or the part of them that it may use."""
        shared = tuple((portion or {}).items())
        key = ("beam", context.laser.name, context.wavelength, context.beam, tissue, duration, context.space, shared)
        if key not in self._profiles:
            self._profiles[key] = BeamProfile(context.beam, self.comparisons(context, tissue, duration, portion))
        found = self._profiles[key]
        assert isinstance(found, BeamProfile)
        return found

    def scatter_profile(
        self, context: Context, tissue: str, duration: float, portion: Portion | None = None
    ) -> ScatterProfile:
        """Return a lit spot of reflectance 1 against the limits of one wavelength, or the part that it may use."""
        spot = context.spot if tissue == "eye" else 0.0
        shared = tuple((portion or {}).items())
        key = ("scatter", context.laser.name, context.wavelength, spot, tissue, duration, context.space, shared)
        if key not in self._profiles:
            emissions = context.emissions(tissue, duration)
            model = self.case.settings.scatter_model

            def ratio(distance: FLOAT) -> FLOAT:
                rows = [
                    scatter_ratio(
                        rule_set,
                        tissue,
                        emission,
                        context.wavelength,
                        duration,
                        distance,
                        model=model,
                        spot_diameter=spot,
                        part=partial(part_of, portion or {}, rule_set, tissue, context.wavelength),
                    )
                    for emission in emissions
                    for rule_set in context.rule_sets
                ]
                return np.asarray(np.max(rows, axis=0))

            self._profiles[key] = ScatterProfile(ratio, model == "lambert", spot > 0.0)
        found = self._profiles[key]
        assert isinstance(found, ScatterProfile)
        return found

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
        time = max(c.duration(way)[0] for c in every_context(context).values()) if duration is None else duration
        key = (context.laser.name, context.setup.name, way, tissue, mode, time)
        if key not in self._sources:
            make = {"direct": self._direct, "mirror": self._mirrors, "scatter": self._spots}[way]
            parts = self.portions(context, tissue, time, spread=way != "scatter")
            self._sources[key] = tuple(
                s for pose in self.poses(context, mode)
                for own, portion in zip(every_context(context).values(), parts, strict=True)
                for s in make(own, pose, tissue, time, portion)
            )  # fmt: skip
        return self._sources[key]

    def _direct(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        profile = self.beam_profile(context, tissue, duration, portion)
        reach = farthest_of(profile.criteria, context.beam) * ROUND_UP
        return [Source("direct", pose.apex, pose.directions, profile, reach)]

    def _mirrors(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        laser = self._direct(context, pose, tissue, duration, portion)[0]
        found: list[Source] = []
        assert isinstance(laser.profile, BeamProfile)
        for item in self.lit(context, pose):
            mirror = item.as_mirror
            if not item.mirror or not item.met_by(laser):
                continue
            spots = self.spots(context, pose, item)
            found += curved_sources(context, pose, item, spots, laser.profile)
            if not item.may_be_flat:
                continue
            reach = farthest_of(laser.profile.criteria, context.beam, item.reflectance) * ROUND_UP
            if item.normal is not None:
                found.append(reflected(laser, mirror, reach))
                continue
            found.append(facing_anywhere(laser, mirror, spots, reach))
        for pane in self.panes(context, pose, pose.mode):
            reach = farthest_of(laser.profile.criteria, context.beam, pane.mirror.reflectance) * ROUND_UP
            found.append(reflected(laser, pane.mirror, reach))
        if self.scene.outdoor is not None and self.scene.outdoor.wet:
            found.append(wet_ground(laser))
        return found

    def panes(self, context: Context, pose: Pose, mode: str) -> tuple[Pane, ...]:
        """Return the windows that act as mirrors for a laser in a mode."""
        if not any(opening.kind == "window" for entry in self.scene.barrier for opening in entry.opening):
            return ()
        key = (context.laser.name, context.setup.name, context.wavelength, context.beam, pose, mode == "service")
        if key not in self._panes:
            pieces = self.pieces(context, "direct", mode)
            self._panes[key] = lit_panes(self.scene, self._seen_by_eyes(context, pose), pieces)
        return self._panes[key]

    def _seen_by_eyes(self, context: Context, pose: Pose) -> Source:
        """Return the direct beam against the limits of the eye: what it lights where nothing else is asked."""
        return self._direct(context, pose, "eye", context.duration("direct")[0], {})[0]

    def _spots(self, context: Context, pose: Pose, tissue: str, duration: float, portion: Portion) -> list[Source]:
        profile = self.scatter_profile(context, tissue, duration, portion)
        laser = self._direct(context, pose, tissue, duration, portion)[0]
        zone = self.result(context).zone("scatter", tissue)
        same = context.duration("scatter")[0] == duration and not portion
        reach = zone.distance if same and not zone.criterion.duration > duration else far_scatter(profile)
        worst = context.scatter_surface[0]
        if reach > 0.0 and same:
            reach /= math.sqrt(max(worst * math.cos(context.scatter_surface[1]), 1e-12))
        found = []
        for item in self.lit(context, pose):
            if not item.met_by(laser):
                continue
            spots = self.spots(context, pose, item)
            found.append(
                Source(
                    "scatter",
                    spots.apex,
                    spots.directions,
                    profile,
                    max(reach * math.sqrt(item.reflectance) * ROUND_UP, 0.0),
                    factor=item.reflectance,
                    plane=None if item.normal is None else (item.position, item.normal),
                    surface=item.name,
                    spot=spots.distance,
                    patch=spots.solid,
                )
            )
        return found

    def outline(self, source: Source, pieces: tuple[Piece, ...] = ()) -> shapely.Geometry:
        """Return the outline of a source on the floor, clipped by pieces of screens; made once for equal sources."""
        key = (source.way == "mirror", *source.shape(), pieces)
        if key not in self._outlines:
            self._outlines[key] = (source, outline(source, self.band, pieces))
        return self._outlines[key][1]

    # --- barriers --------------------------------------------------------------------------------------------------

    def held(self, context: Context, way: str) -> tuple[Held, ...]:
        """Return for each screen what falls on it on one way, and whether it holds, with all fitted lasers together."""
        key = (context.laser.name, context.setup.name, way, context.beam)
        if key not in self._held:
            others = [
                self._alone(c, way) for c in self.contexts if c.setup.fitted and c.laser.name != context.laser.name
            ]
            own = self._alone(context, way)
            if context.setup.fitted:
                own = tuple(loads.together(one, [other[i] for other in others]) for i, one in enumerate(own))
            self._held[key] = own
        return self._held[key]

    def _alone(self, context: Context, way: str) -> tuple[Held, ...]:
        key = (context.laser.name, context.setup.name, way, context.beam)
        if key not in self._single:
            self._single[key] = tuple(loads.judge_screen(self, context, way, entry) for entry in self.scene.barrier)
        return self._single[key]

    def windows(self, context: Context, way: str) -> tuple[HeldWindow, ...]:
        """Return every view window whose density is stated, and whether it holds on one way."""
        key = (context.laser.name, context.setup.name, way, context.beam)
        if key not in self._windows:
            self._windows[key] = loads.judge_windows(self, context, way)
        return self._windows[key]

    def pieces(self, context: Context, way: str, mode: str = "running") -> tuple[Piece, ...]:
        """Return the solid parts of the screens that hold; in service barriers are open, walls and terrain are not."""
        key = (context.laser.name, context.setup.name, way, context.beam, mode == "service")
        if key not in self._pieces:
            self._pieces[key] = self._standing(context, way, mode)
        return self._pieces[key]

    def _standing(self, context: Context, way: str, mode: str) -> tuple[Piece, ...]:
        entries = {entry.name: entry for entry in self.scene.barrier}
        shut = {(w.screen, w.opening) for w in self.windows(context, way) if w.verdict.holds}
        return tuple(
            piece
            for one in self.held(context, way)
            if one.verdict.holds and not (mode == "service" and entries[one.screen].kind == "barrier")
            for piece in screen_of(entries[one.screen], shut).pieces()
        )
