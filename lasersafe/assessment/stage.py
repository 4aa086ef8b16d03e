"""The scene of a case as sources and screens: where each laser stands, what it can hit, which barriers hold."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.context import Context
from lasersafe.assessment.lines import every_context
from lasersafe.assessment.lit import ROUND_UP, Lit, curved_source, lit_surfaces
from lasersafe.assessment.pose import Pose, far_scatter, nearest_on, pose_of, wet_ground
from lasersafe.assessment.protection import _mean_power, _per_pulse
from lasersafe.assessment.setups import area_of
from lasersafe.hazard.barriers import BarrierVerdict, guard_time, judge_barrier
from lasersafe.hazard.exposure import ALPHA_MIN, criteria
from lasersafe.hazard.eyewear_need import corner_emissions
from lasersafe.hazard.zones import scatter_ratio, worst_place
from lasersafe.optics.aperture import peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.results import Criterion, SetupResult
from lasersafe.scene.areas import outline
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
    _single: dict[tuple[object, ...], tuple[tuple[Held, float | None], ...]] = field(default_factory=dict)
    _pieces: dict[tuple[object, ...], tuple[Piece, ...]] = field(default_factory=dict)
    hits: dict[tuple[object, ...], Any] = field(default_factory=dict)  # of scene_matrix, worked out once
    _outlines: dict[tuple[object, ...], tuple[Source, shapely.Geometry]] = field(default_factory=dict)
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

    def comparisons(self, context: Context, tissue: str, duration: float, times: int = 1) -> tuple[Criterion, ...]:
        """Return every comparison of every setting and rule set for one tissue and duration."""
        area = area_of(context, tissue, duration)
        return tuple(dict.fromkeys(
            c
            for emission in context.emissions(tissue, duration)
            for rule_set in context.rule_sets
            for c in criteria(
                rule_set, tissue, emission.scaled(times), context.wavelength, duration, ALPHA_MIN, area
            )
        ))  # fmt: skip

    def beam_profile(self, context: Context, tissue: str, duration: float, times: int = 1) -> BeamProfile:
        """Return the beam of one wavelength against its limits, its power taken so many times."""
        key = ("beam", context.laser.name, context.wavelength, context.beam, tissue, duration, times)
        if key not in self._profiles:
            self._profiles[key] = BeamProfile(context.beam, self.comparisons(context, tissue, duration, times))
        found = self._profiles[key]
        assert isinstance(found, BeamProfile)
        return found

    def scatter_profile(self, context: Context, tissue: str, duration: float, times: int = 1) -> ScatterProfile:
        """Return a lit spot of reflectance 1 against the limits of one wavelength, its power taken so many times."""
        spot = context.spot if tissue == "eye" else 0.0
        key = ("scatter", context.laser.name, context.wavelength, spot, tissue, duration, times)
        if key not in self._profiles:
            emissions = [emission.scaled(times) for emission in context.emissions(tissue, duration)]
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
                    )
                    for emission in emissions
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
        time = max(c.duration(way)[0] for c in every_context(context).values()) if duration is None else duration
        key = (context.laser.name, context.setup.name, way, tissue, mode, time)
        if key not in self._sources:
            make = {"direct": self._direct, "mirror": self._mirrors, "scatter": self._spots}[way]
            lines = every_context(context).values()
            self._sources[key] = tuple(
                s for pose in self.poses(context, mode) for own in lines
                for s in make(own, pose, tissue, time, len(lines))
            )  # fmt: skip
        return self._sources[key]

    def _direct(self, context: Context, pose: Pose, tissue: str, duration: float, times: int) -> list[Source]:
        profile = self.beam_profile(context, tissue, duration, times)
        reach = farthest_of(profile.criteria, context.beam) * ROUND_UP
        return [Source("direct", pose.apex, pose.directions, profile, reach)]

    def _mirrors(self, context: Context, pose: Pose, tissue: str, duration: float, times: int) -> list[Source]:
        laser = self._direct(context, pose, tissue, duration, times)[0]
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

    def _spots(self, context: Context, pose: Pose, tissue: str, duration: float, times: int) -> list[Source]:
        profile = self.scatter_profile(context, tissue, duration, times)
        laser = self._direct(context, pose, tissue, duration, times)[0]
        zone = self.result(context).zone("scatter", tissue)
        same = context.duration("scatter")[0] == duration and times == 1
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
            found = []
            for i, (one, rating) in enumerate(own):
                total = one.irradiance + sum(other[i][0].irradiance for other in others)
                if context.setup.fitted and one.verdict.holds and rating is not None and not total <= rating:
                    words = f"{total:.4g} W/m2 from all lasers together exceed the rated {rating:.4g} W/m2"
                    verdict = replace(one.verdict, holds=False, verdict=f"does not hold: {words}")
                    one = replace(one, verdict=verdict)
                found.append(one)
            self._held[key] = tuple(found)
        return self._held[key]

    def _alone(self, context: Context, way: str) -> tuple[tuple[Held, float | None], ...]:
        key = (context.laser.name, context.setup.name, way, context.beam)
        if key not in self._single:
            self._single[key] = tuple(self._judge(context, way, entry) for entry in self.scene.barrier)
        return self._single[key]

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

    def _judge(self, context: Context, way: str, entry: SceneBarrier) -> tuple[Held, float | None]:
        """Return what one laser alone does to a screen, and the rating of the screen."""
        if entry.kind == "terrain":
            return Held(entry.name, way, 0.0, BarrierVerdict(True, "holds: terrain"), None), None
        barrier: Barrier | None = next((b for b in self.case.barrier if b.name == entry.name), None)
        if barrier is not None and barrier.laser not in (None, context.laser.name):
            barrier = None
        rating = entry.rating if barrier is None else barrier.rating
        rated_time = entry.rated_time if barrier is None else barrier.rated_time
        pulse_rating = None if barrier is None else barrier.pulse_rating
        lines = list(every_context(context).values())
        powers = [_mean_power(own) for own in lines]
        power = None if None in powers else sum(p for p in powers if p is not None)
        irradiance, per_pulse, place = math.inf, math.inf, None
        worst = context.emission("eye", context.duration(way)[0])
        corners = corner_emissions(context.space, worst, context.wavelength)
        emission = max(corners, key=lambda one: one.pulse_energy)
        fastest = max(one.repetition_rate for one in corners)
        pulses = [own.space.highest_pulse_energy for own in lines]
        pulses[0] = max(pulses[0], emission.pulse_energy)
        if power is not None:
            irradiance = per_pulse = 0.0
            for own, part, energy in zip(lines, powers, pulses, strict=True):
                load, place = self._irradiance(own, way, self.screens[entry.name], part or 0.0)
                irradiance += load
                per_pulse += _per_pulse(load, energy, part)
        observed = barrier is not None and barrier.observed
        pulsed = emission.kind != "continuous"
        verdict = judge_barrier(
            irradiance,
            rating=None if rating is None else float(rating),
            rated_time=None if rated_time is None else float(rated_time),
            required_time=guard_time("T3" if observed else "T1"),
            mean_power=power,
            pulse_energy=sum(pulses) if pulsed else None,
            repetition_rate=fastest or None,
            pulse_exposure=per_pulse if pulsed else None,
            pulse_rating=None if pulse_rating is None else float(pulse_rating),
            en12254_class=None if barrier is None else barrier.en12254_class or None,
            observed=observed,
        )
        return Held(entry.name, way, irradiance, verdict, place), None if rating is None else float(rating)

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
                    profile = self.beam_profile(context, "eye", context.duration("direct")[0])
                    found = 0.0
                    for z in worst_place(context.beam, distance):
                        dx, dy = profile.widths(np.asarray(z))
                        found = max(found, float(peak_exposure(power * factor, dx, dy)))
                if not found <= best:
                    best, place = found, near
        return best, place
