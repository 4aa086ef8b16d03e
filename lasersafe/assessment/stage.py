"""The scene of a case as sources and screens: where each laser stands, what it can hit, which barriers hold."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from lasersafe.assessment.context import Context
from lasersafe.assessment.lit import ROUND_UP, Lit, curved_source, lit_surfaces
from lasersafe.assessment.pose import Pose, far_scatter, nearest_on, pose_of, wet_ground
from lasersafe.assessment.protection import _mean_power
from lasersafe.assessment.setups import area_of
from lasersafe.hazard.barriers import BarrierVerdict, guard_time, judge_barrier
from lasersafe.hazard.durations import exposure_duration
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.zones import scatter_ratio, worst_place
from lasersafe.optics.aperture import peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.results import Criterion, SetupResult
from lasersafe.scene.directions import EVERYWHERE, Box, Vector
from lasersafe.scene.profile import BeamProfile, ScatterProfile, farthest_of
from lasersafe.scene.screens import Gap, Piece, Screen
from lasersafe.scene.sources import Mirror, Source, reachable, reflected

if TYPE_CHECKING:
    from lasersafe.models import Barrier, Case, Scene, SceneBarrier

FLOAT = NDArray[np.float64]
MODES = ("running", "alignment", "service", "fault")
REACH_UP = 2.0  # m above the floor: the band of heights that a person fills; common practice, no source


@dataclass(frozen=True)
class Held:
    """One screen against one way of one set-up."""

    screen: str
    way: str
    irradiance: float
    verdict: BarrierVerdict
    place: Vector | None


@dataclass
class Stage:
    """Everything that the scene of a case is worked out from."""

    case: Case
    scene: Scene
    contexts: list[Context]
    setups: list[SetupResult]
    _profiles: dict[tuple[object, ...], BeamProfile | ScatterProfile] = field(default_factory=dict)
    _held: dict[tuple[object, ...], tuple[Held, ...]] = field(default_factory=dict)
    _pieces: dict[tuple[object, ...], tuple[Piece, ...]] = field(default_factory=dict)
    hits: dict[tuple[object, ...], Any] = field(default_factory=dict)  # of scene_matrix, worked out once
    _areas: dict[tuple[object, ...], Any] = field(default_factory=dict)
    _sources: dict[tuple[object, ...], tuple[Source, ...]] = field(default_factory=dict)

    @cached_property
    def screens(self) -> dict[str, Screen]:
        """All barriers and walls with a place."""
        found = {}
        for entry in self.scene.barrier:
            gaps = tuple(
                Gap(float(o.start), float(o.end), float(o.bottom), float(o.top))
                for o in entry.opening
                if o.open or o.kind == "window"
            )
            line = entry.line.pairs
            found[entry.name] = Screen(entry.name, line, float(entry.bottom), float(entry.top), gaps)
        return found

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

    def work_distance(self, context: Context) -> float:
        """Return how far the work is from the last optic, 0 when not stated. [m]."""
        work = context.setup.work_distance
        return 0.0 if work is None else float(work)

    # --- profiles --------------------------------------------------------------------------------------------------

    def comparisons(self, context: Context, tissue: str, duration: float) -> tuple[Criterion, ...]:
        """Return every comparison of every rule set for one tissue and duration."""
        emission = context.emission(tissue, duration)
        area = area_of(context, tissue, duration)
        return tuple(
            c
            for rule_set in context.rule_sets
            for c in criteria(rule_set, tissue, emission, context.wavelength, duration, ALPHA_MIN, area)
        )

    def beam_profile(self, context: Context, tissue: str, duration: float) -> BeamProfile:
        """Return the beam against its limits."""
        key = ("beam", context.laser.name, context.beam, tissue, duration)
        if key not in self._profiles:
            self._profiles[key] = BeamProfile(context.beam, self.comparisons(context, tissue, duration))
        found = self._profiles[key]
        assert isinstance(found, BeamProfile)
        return found

    def scatter_profile(self, context: Context, tissue: str, duration: float) -> ScatterProfile:
        """Return a lit spot of reflectance 1 against its limits."""
        key = ("scatter", context.laser.name, context.setup.name, tissue, duration)
        if key not in self._profiles:
            emission = context.emission(tissue, duration)
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
                        spot_diameter=context.spot if tissue == "eye" else 0.0,
                    )
                    for rule_set in context.rule_sets
                ]
                return np.asarray(np.max(rows, axis=0))

            self._profiles[key] = ScatterProfile(ratio, model == "lambert")
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
        time = exposure_duration(context.wavelength, way)[0] if duration is None else duration
        key = (context.laser.name, context.setup.name, way, tissue, mode, time)
        if key not in self._sources:
            make = {"direct": self._direct, "mirror": self._mirrors, "scatter": self._spots}[way]
            self._sources[key] = tuple(
                s for pose in self.poses(context, mode) for s in make(context, pose, tissue, time)
            )
        return self._sources[key]

    def _direct(self, context: Context, pose: Pose, tissue: str, duration: float) -> list[Source]:
        profile = self.beam_profile(context, tissue, duration)
        reach = farthest_of(profile.criteria, context.beam) * ROUND_UP
        return [Source("direct", pose.apex, pose.directions, profile, reach)]

    def _mirrors(self, context: Context, pose: Pose, tissue: str, duration: float) -> list[Source]:
        laser = self._direct(context, pose, tissue, duration)[0]
        found = []
        for item in self.lit(context, pose):
            if not item.mirror:
                continue
            mirror = Mirror(
                item.name, item.position, item.normal, item.width, item.reflectance, item.shape in ("flat", "unknown")
            )
            if item.placed and not reachable(laser, mirror):
                continue
            assert isinstance(laser.profile, BeamProfile)
            if item.shape in ("convex", "concave"):
                found.append(curved_source(context, pose, item, laser.profile))
                continue
            reach = farthest_of(laser.profile.criteria, context.beam, item.reflectance) * ROUND_UP
            source = reflected(laser, mirror, reach)
            found.append(source if item.offset_known else replace(source, offset=0.0))
        if self.scene.outdoor is not None and self.scene.outdoor.wet:
            found.append(wet_ground(laser))
        return found

    def _spots(self, context: Context, pose: Pose, tissue: str, duration: float) -> list[Source]:
        profile = self.scatter_profile(context, tissue, duration)
        laser = self._direct(context, pose, tissue, duration)[0]
        zone = self.result(context).zone("scatter", tissue)
        same = exposure_duration(context.wavelength, "scatter")[0] == duration
        reach = zone.distance if same and not zone.criterion.duration > duration else far_scatter(profile)
        worst = context.scatter_surface[0]
        if reach > 0.0 and same:
            reach /= math.sqrt(max(worst * math.cos(context.scatter_surface[1]), 1e-12))
        found = []
        for item in self.lit(context, pose):
            if item.placed and not reachable(laser, Mirror(item.name, item.position, None, item.width, 1.0)):
                continue
            plane = None if item.normal is None else (item.position, item.normal)
            found.append(
                Source(
                    "scatter",
                    item.position,
                    EVERYWHERE,
                    profile,
                    max(reach * math.sqrt(item.reflectance) * ROUND_UP, 0.0),
                    factor=item.reflectance,
                    plane=plane,
                    surface=item.name,
                )
            )
        return found

    def area(self, context: Context, source: Source, mode: str, make: Callable[[], Any]) -> Any:
        """Return the clipped outline of a source, made once."""
        key = (context.laser.name, context.setup.name, id(source), mode)
        if key not in self._areas:
            self._areas[key] = make()
        return self._areas[key]

    # --- barriers --------------------------------------------------------------------------------------------------

    def held(self, context: Context, way: str) -> tuple[Held, ...]:
        """Return for each screen what falls on it on one way, and whether it holds."""
        key = (context.laser.name, context.setup.name, way, context.beam)
        if key not in self._held:
            self._held[key] = tuple(self._judge(context, way, entry) for entry in self.scene.barrier)
        return self._held[key]

    def pieces(self, context: Context, way: str, mode: str = "running") -> tuple[Piece, ...]:
        """Return the solid parts of the screens that hold; in service barriers are open, walls and terrain are not."""
        key = (context.laser.name, context.setup.name, way, context.beam, mode == "service")
        if key not in self._pieces:
            self._pieces[key] = self._standing(context, way, mode)
        return self._pieces[key]

    def _standing(self, context: Context, way: str, mode: str) -> tuple[Piece, ...]:
        kinds = {entry.name: entry.kind for entry in self.scene.barrier}
        return tuple(
            piece
            for one in self.held(context, way)
            if one.verdict.holds and not (mode == "service" and kinds[one.screen] == "barrier")
            for piece in self.screens[one.screen].pieces()
        )

    def _judge(self, context: Context, way: str, entry: SceneBarrier) -> Held:
        if entry.kind == "terrain":
            return Held(entry.name, way, 0.0, BarrierVerdict(True, "holds: terrain"), None)
        barrier: Barrier | None = next((b for b in self.case.barrier if b.name == entry.name), None)
        if barrier is not None and barrier.laser not in (None, context.laser.name):
            barrier = None
        rating = entry.rating if barrier is None else barrier.rating
        rated_time = entry.rated_time if barrier is None else barrier.rated_time
        power = _mean_power(context)
        irradiance, place = math.inf, None
        if power is not None:
            irradiance, place = self._irradiance(context, way, self.screens[entry.name], power)
        observed = barrier is not None and barrier.observed
        emission = context.emission("eye", exposure_duration(context.wavelength, way)[0])
        verdict = judge_barrier(
            irradiance,
            rating=None if rating is None else float(rating),
            rated_time=None if rated_time is None else float(rated_time),
            required_time=guard_time("T3" if observed else "T1"),
            mean_power=power,
            pulse_energy=emission.pulse_energy if emission.kind != "continuous" else None,
            repetition_rate=emission.repetition_rate or None,
            en12254_class=None if barrier is None else barrier.en12254_class or None,
            observed=observed,
        )
        return Held(entry.name, way, irradiance, verdict, place)

    def _irradiance(self, context: Context, way: str, screen: Screen, power: float) -> tuple[float, Vector | None]:
        """Return the highest peak irradiance that can fall on a screen, and where.

        A way over a mirror is never shorter than the straight one, so that the straight one is the bound for it.
        """
        best, place = 0.0, None
        for pose in self.poses(context, "running"):
            starts = [pose.apex]
            if way == "scatter":
                starts = [item.position for item in self.lit(context, pose)]
            for start in starts:
                near = nearest_on(screen, start)
                distance = max(math.dist(near, start), 1e-3)
                if way == "scatter":
                    model = self.case.settings.scatter_model
                    found = float(scatter_exposure(power, context.scatter_surface[0], max(distance, 0.1), 0.0, model))
                else:
                    factor = 1.0 if way == "direct" else max(
                        (item.reflectance for item in self.lit(context, pose) if item.mirror), default=1.0
                    )  # fmt: skip
                    profile = self.beam_profile(context, "eye", exposure_duration(context.wavelength, "direct")[0])
                    found = 0.0
                    for z in worst_place(context.beam, distance):
                        dx, dy = profile.widths(np.asarray(z))
                        found = max(found, float(peak_exposure(power * factor, dx, dy)))
                if not found <= best:
                    best, place = found, near
        return best, place
