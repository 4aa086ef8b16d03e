"""What the plan and the elevation show besides the zones: aims, barriers, people, cameras, targets, surfaces."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from lasersafe.assessment.aims import Pose, place_of
from lasersafe.assessment.context import ON_THE_FLOOR, Context
from lasersafe.assessment.scene_zones import ignition_source
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard import instruments
from lasersafe.optics.beam import diameters, fraction_through
from lasersafe.optics.reflection import LitSpot
from lasersafe.records.fields import badness
from lasersafe.records.scene import (
    AimEnvelope,
    CameraLine,
    CameraMark,
    Elevation,
    ElevationItem,
    FloorItem,
    MatrixCell,
    PersonMark,
    Point,
    ScenePlan,
    SectionZone,
    SurfaceMark,
    TargetMark,
)
from lasersafe.scene.areas import area_of, polygons
from lasersafe.scene.beams import BeamProfile
from lasersafe.scene.bound import most_light, span
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Piece
from lasersafe.wording import Message, joined

if TYPE_CHECKING:
    from lasersafe.models import Camera, Surface, Target

_MANY = 1e6  # W: with so many what is next to nothing for people is still counted
CLOSEST = 0.1  # m: no camera is nearer to a lens or a lit spot
FLOAT = NDArray[np.float64]
_BEYOND = 40.0  # times what is drawn, that light is followed
_TURN = math.radians(3.0)  # between two corners of an arc
_TOP = 20.0  # m: of an item that is higher, as far as it is drawn
_TOUCH = 0.01  # m
_MOST = 1e7  # m


def plan_of(stage: Stage) -> ScenePlan:
    """Return the paper with what lies on the floor."""
    scene = stage.scene
    return ScenePlan(
        extent=stage.extent,
        north=None if scene.north is None else float(scene.north),
        stage_arrow=None if scene.stage_bearing is None else float(scene.stage_bearing),
        outdoors=scene.outdoor is not None,
        items=tuple(FloorItem(f.name, f.kind, f.outline.pairs, float(f.height)) for f in scene.floor),
        outline=() if scene.outline is None else scene.outline.pairs,
    )


def aims_of(stage: Stage) -> tuple[AimEnvelope, ...]:
    """Return the aim envelope of every set-up in every mode that has directions of its own."""
    found = []
    for context in stage.contexts:
        name, setup = context.laser.name, context.setup.name
        own = {a.mode for a in stage.scene.aim if a.laser == name and a.setup in (None, setup)}
        for mode in ["running", *(m for m in ("alignment", "service", "fault") if m in own)]:
            sources = stage.sources(context, "direct", "eye", mode)
            count = max(1, len(sources) // max(1, len(stage.poses(context, mode))))  # one source a wavelength
            for pose, source in zip(stage.poses(context, mode), sources[::count], strict=True):
                box, half = pose.nominal, pose.nominal.half_bearing
                found.append(
                    AimEnvelope(
                        name, setup, pose.mode, pose.apex, pose.bearing % (2.0 * math.pi), pose.elevation,
                        bearing_range=(box.bearing - half, box.bearing + half), elevation_range=box.elevation,
                        margin=pose.margin, margin_source=pose.margin_source, hand_held=context.laser.handheld,
                        reach=source.reach, fitted=context.setup.fitted,
                        polygons=polygons(stage.outline(source)) if context.setup.fitted else (),
                    )
                )  # fmt: skip
    return tuple(found)


def person_marks(stage: Stage, cells: tuple[MatrixCell, ...], worst_place: dict[str, tuple[float, float]]) -> tuple[
    PersonMark, ...
]:  # fmt: skip
    """Return every person with a place."""
    found = []
    roles = {p.name: p.role for p in stage.case.person}
    for entry in stage.scene.person:
        own = [c for c in cells if c.person == entry.name and not c.struck_out]
        worst = max(own, key=lambda c: badness(c.ratio), default=None)
        area = () if entry.area is None else entry.area.pairs
        start = entry.position.pair if entry.position is not None else tuple(np.mean(area, axis=0).tolist())
        place = worst_place.get(entry.name, (start[0], start[1]))
        found.append(
            PersonMark(
                entry.name, roles[entry.name], place, entry.eye, float(entry.floor), True, area,
                None if worst is None else worst.ratio, "" if worst is None else worst.way,
                "" if worst is None else worst.mode,
            )
        )  # fmt: skip
    return tuple(found)


def camera_marks(stage: Stage) -> tuple[CameraMark, ...]:
    """Return the cameras."""
    return tuple(
        CameraMark(
            c.name, (*c.position.pair, float(c.height)), None if c.bearing is None else float(c.bearing),
            float(c.elevation),
        )
        for c in stage.scene.camera
    )  # fmt: skip


def camera_lines(stage: Stage) -> tuple[CameraLine, ...]:
    """Return what each camera receives from every fitted set-up, directly, by a mirror and by scatter.

    A camera whose lens is not described is left out. Where it looks is not counted: that can change.
    """
    found = []
    for entry in stage.scene.camera:
        if entry.focal_length is None or entry.f_number is None:
            continue
        for main in stage.contexts:
            if main.setup.fitted and stage.poses(main, "running"):
                for context in main.every.values():
                    found += _of_camera(stage, main, context, entry)
    return tuple(found)


@kept("people")
def _of_camera(stage: Stage, main: Context, context: Context, entry: Camera) -> list[CameraLine]:
    assert entry.focal_length is not None
    assert entry.f_number is not None
    camera = instruments.Camera(
        entry.name, float(entry.focal_length), float(entry.f_number), float(entry.filter_transmission),
        0.0 if entry.pixel is None else float(entry.pixel),
    )  # fmt: skip
    emission = context.emission("eye", context.duration("scatter")[0])
    light = replace(emission, power=context.space.highest_mean_power or 0.0)
    if emission.kind != "continuous":
        light = replace(emission, pulse_energy=max(emission.pulse_energy, context.space.highest_pulse_energy))
    place = (*entry.position.pair, float(entry.height))
    lam, point = context.wavelength, np.array([place])
    rows: list[CameraLine] = []
    lights = [one for way in ON_THE_FLOOR for one in stage.lights(main, (way,), "eye")]
    seen = [
        [(replace(one, profile=stage.in_irradiance(one.profile, _MANY, camera.pupil)), walls)] for one, walls in lights
    ]
    each = most_light(seen, point, np.zeros((1, 3)))[:, 0]
    for (source, walls), there in zip(lights, each, strict=True):
        if not there > 0.0:
            continue
        away = max(source.path_to(place), CLOSEST)
        if isinstance(source.profile, BeamProfile):
            through = there / _MANY * math.pi * camera.pupil**2 / 4.0
            beam, at = source.profile.beam, span((source, walls), point[0], np.zeros(3))
            away = max(at.near, CLOSEST)
            plain = source.factor * float(fraction_through(*diameters(beam, away), camera.pupil, beam.profile))
            sent = instruments.Sent(source.way, source.factor, through / max(plain, 1e-300), at.aside)
            row = camera.lit_by_beam(light, lam, beam, away, sent)
        else:
            lit = LitSpot(source.factor, model=stage.case.settings.scatter_model, diameter=source.profile.size)
            row = camera.lit_by_spot(light, lam, away, lit)
        rows.append(replace(row, surface=source.surface))
    worst: dict[str, CameraLine] = {}
    for row in rows:
        if row.way not in worst or not row.exposure <= worst[row.way].exposure:
            worst[row.way] = row
    unit, away = ("W/m2" if emission.kind == "continuous" else "J/m2"), math.dist(place, lights[0][0].apex)
    for way in ("direct", "mirror", "scatter"):
        if way not in worst:
            worst[way] = CameraLine(
                camera=entry.name, way=way, distance=away, exposure=0.0, unit=unit, spot=0.0, resolved=False,
                threshold=None, threshold_source="", ratio=0.0, words=Message("camera.dark"),
            )  # fmt: skip
    return [replace(row, laser=main.laser.name, setup=main.setup.name) for row in worst.values()]


def target_marks(stage: Stage) -> tuple[TargetMark, ...]:
    """Return the target list with places, for the fitted set-up of each laser."""
    found = []
    for context in stage.contexts:
        for pose in stage.poses(context, "running")[:1] if context.setup.fitted else ():
            for t in stage.scene.target:
                if t.laser not in (None, context.laser.name):
                    continue
                place = place_of(t, pose, stage.work_distance(context))
                screens = stage.held(context, "direct")
                held = t.stop is not None and t.stop in screens and screens[t.stop].holds
                found.append(
                    TargetMark(
                        t.name, context.laser.name, place, t.position is not None, t.material, t.finish, t.shape,
                        t.behind, held, *_returned(stage, context, t.name),
                        None if t.behind_distance is None else float(t.behind_distance), t.stop or "",
                    )
                )  # fmt: skip
    return tuple(found)


def _returned(stage: Stage, context: Context, name: str) -> tuple[float, str]:
    """Return the reflectance of a target that counts, and where it comes from."""
    described: list[Surface | Target] = [*context.surfaces, *stage.scene.target]
    value = context.reflectance_of(next(one for one in described if one.name == name))
    used = next(i.reflectance for p in stage.poses(context, "running") for i in stage.lit(context, p) if i.name == name)
    if used > value.value:
        return used, Message("mirror.far_infrared")
    return used, joined(filter(None, (value.words, value.source)))


def surface_marks(stage: Stage) -> tuple[SurfaceMark, ...]:
    """Return the surfaces with a place."""
    finishes = {s.name: s.finish for s in stage.case.surface}
    found = []
    for s in stage.scene.surface:
        line: tuple[tuple[float, float], ...] = ()
        if s.position is None or s.height is None:
            continue
        x, y = s.position.pair
        if s.normal is not None:
            half = float(s.width) / 2.0
            dx, dy = math.cos(float(s.normal)) * half, -math.sin(float(s.normal)) * half
            line = ((x - dx, y - dy), (x + dx, y + dy))
        found.append(
            SurfaceMark(
                s.name, (x, y, float(s.height)), True, finishes[s.name] != "matt", s.shape,
                None if s.normal is None else float(s.normal), float(s.tilt) if s.normal is not None else None,
                float(s.width), line,
            )
        )  # fmt: skip
    return tuple(found)


def elevations(stage: Stage, persons: tuple[PersonMark, ...]) -> tuple[Elevation, ...]:
    """Return the section along the aim of each fitted set-up."""
    found = []
    for context in stage.fitted:
        for pose in stage.poses(context, "running")[:1]:
            found.append(_Section(stage, context, pose).elevation(persons))
    return tuple(found)


class _Section:
    def __init__(self, stage: Stage, context: Context, pose: Pose) -> None:
        self.stage, self.context, self.pose = stage, context, pose
        self.way = (math.sin(pose.bearing), math.cos(pose.bearing))

    def elevation(self, persons: tuple[PersonMark, ...]) -> Elevation:
        """Return the section."""
        stage, context, pose = self.stage, self.context, self.pose
        items = [
            ElevationItem(p.name, "person", *self._at(p.position), p.floor, p.floor + p.eye_height + 0.12,
                          p.floor + p.eye_height)
            for p in persons
        ]  # fmt: skip
        far = max([abs(i.along) for i in items] + [2.0]) * 1.2
        upright = self._upright()
        far = max([far, *(1.1 * item.along for item in upright)])
        items += upright
        for part in stage.scene.floor:
            if part.kind == "balcony":
                nearest = min(self._at(p)[0] for p in part.outline.pairs)
                items.append(ElevationItem(part.name, "balcony", nearest, 0.0, 0.0, float(part.height)))
        work = stage.work_distance(context)
        if work > 0.0:
            x, y, z = pose.on_aim(work)
            items.append(ElevationItem("work", "target", self._at((x, y))[0], 0.0, z - 0.02, z + 0.02))
        for camera in stage.scene.camera:
            items.append(
                ElevationItem(camera.name, "camera", *self._at(camera.position.pair), 0.0, float(camera.height))
            )
        back = min([i.along for i in items] + [-1.0]) * 1.1
        eye = _farthest(stage.sources(context, "direct", "eye"))
        tip = pose.on_aim(_bounded(eye.reach, _BEYOND * far))
        return Elevation(
            laser=context.laser.name,
            setup=context.setup.name,
            bearing=pose.bearing,
            origin=pose.apex,
            along=(back, far),
            ground=((back, 0.0), (far, 0.0)),
            axis=((0.0, pose.apex[2]), (self._at(tip[:2])[0], tip[2])),
            light=self._light(far),
            items=tuple(items),
            reach=eye.reach,
            ends_at=self._ends_at(eye, far, upright),
        )

    def _at(self, point: tuple[float, float]) -> Point:
        """Return how far along the trace of the aim a place lies, and how far to its right."""
        dx, dy = point[0] - self.pose.apex[0], point[1] - self.pose.apex[1]
        return dx * self.way[0] + dy * self.way[1], dx * self.way[1] - dy * self.way[0]

    def _upright(self) -> list[ElevationItem]:
        """Return barriers and walls where the section crosses them, the solid parts between their openings."""
        stage = self.stage
        held = {name: one.holds for name, one in stage.held(self.context, "direct").items()}
        items: list[ElevationItem] = []
        for entry in stage.scene.barrier:
            named = False
            crossed = self._crossed(stage.solid(self.context, "direct", entry).pieces())
            for along, bottom, top in sorted(crossed, key=lambda one: (one[0] < 0.0, abs(one[0]), one[1])):
                named, part = True, (along, 0.0, bottom, min(top, bottom + _TOP), None, held[entry.name], not named)
                items.append(ElevationItem(entry.name, entry.kind, *part))
        return items

    def _crossed(self, pieces: Iterable[Piece]) -> list[tuple[float, float, float]]:
        """Return where the plane of the section meets upright parts: place along, bottom and top."""
        found = []
        for piece in pieces:
            (a, left), (b, right) = self._at(piece.start), self._at(piece.end)
            if left == right or min(left, right) > 0.0 or max(left, right) < 0.0:
                continue
            found.append((a + (b - a) * left / (left - right), piece.bottom, piece.top))
        return found

    # --- light -----------------------------------------------------------------------------------------------------

    def _light(self, far: float) -> tuple[SectionZone, ...]:
        """Return the zones of the direct beam and of scatter, cut by the barriers that hold."""
        stage, context = self.stage, self.context
        direct = {t: _farthest(stage.sources(context, "direct", t)) for t in ("eye", "skin")}
        beams = [("eye direct", direct["eye"]), ("skin direct", direct["skin"])]
        hot = ignition_source(stage, context, direct["eye"])
        if hot is not None:
            beams.append(("ignition", hot))
        found = []
        for kind, source in beams:
            area = self._dark(self._fan(source, far), source, "direct")
            found.append(_zone(kind, source.reach, area))
        for tissue in ("eye", "skin"):
            for source in stage.sources(context, "scatter", tissue):
                found.append(_zone(f"scatter {tissue}", source.reach + source.spot, self._disc(source)))
        return joined_zones(found)

    def _fan(self, source: Source, far: float) -> shapely.Geometry:
        """Return what a beam that points anywhere in its envelope reaches ahead, and behind where it can turn."""
        box = source.directions.box()
        assert isinstance(source.profile, BeamProfile)
        low, high = box.elevation
        end = _bounded(source.reach, _BEYOND * far)
        if end <= 0.0:
            return shapely.Polygon()
        places = np.linspace(0.0, min(end, far), 60)
        places = np.concatenate([places, np.geomspace(far, end, 40)[1:]]) if end > far else places
        wide = np.pad(source.profile.spread(places), 1, "edge")
        beside = np.maximum(np.maximum(wide[:-2], wide[1:-1]), wide[2:])  # no less than anywhere up to the next place
        parts = [self._side(1.0, places, beside, low, high)]
        opposite = (self.pose.bearing + math.pi - box.bearing + math.pi) % (2.0 * math.pi) - math.pi
        if abs(opposite) <= box.half_bearing + 1e-9:
            parts.append(self._side(-1.0, places, beside, low, high))
        return shapely.buffer(shapely.union_all(parts), math.sqrt(2.0) * max(source.moves))

    def _side(self, sign: float, places: FLOAT, beside: FLOAT, low: float, high: float) -> shapely.Geometry:
        z = self.pose.apex[2]

        def edge(angle: float, turn: float) -> list[Point]:
            along = sign * (places * math.cos(angle) - turn * beside * math.sin(angle))
            height = z + places * math.sin(angle) + turn * beside * math.cos(angle)
            return list(zip(along.tolist(), height.tolist(), strict=True))

        count = max(1, math.ceil((high - low) / _TURN))
        out = float(places[-1]) / math.cos((high - low) / count / 2.0)
        arc = [low + (high - low) * n / count for n in range(count + 1)]
        rim = [(sign * out * math.cos(angle), z + out * math.sin(angle)) for angle in arc]
        ring = [*edge(low, -1.0), *rim, *reversed(edge(high, 1.0))]
        return shapely.make_valid(shapely.Polygon(ring))

    def _disc(self, source: Source) -> shapely.Geometry:
        """Return the disc that holds what a lit spot, wherever it may lie, reaches in the section."""
        if source.parts:  # the discs round all that is lit
            middle, half = source.near
            radii = _bounded(source.reach, _MOST) + np.sqrt(np.square(half).sum(axis=1))
            places = [(*self._at(tuple(one[:2])), one[2]) for one in middle.tolist()] if not source.reach <= 0.0 else []
            return shapely.union_all([
                shapely.Point(along, up).buffer(math.sqrt(radius * radius - aside * aside), quad_segs=16)
                for (along, aside, up), radius in zip(places, (radii / math.cos(math.pi / 64.0)).tolist(), strict=False)
                if radius > abs(aside)
            ])  # fmt: skip
        along, aside = self._at(source.apex[:2])
        radius = _bounded(source.reach + source.spot + source.slack + source.wide, _MOST)
        if radius <= abs(aside):
            return shapely.Polygon()
        middle = shapely.Point(along, source.apex[2])
        disc = middle.buffer(math.sqrt(radius * radius - aside * aside) / math.cos(math.pi / 128.0), quad_segs=32)
        fixed = source.spot + source.slack + source.wide == 0.0 and abs(aside) < _TOUCH
        return self._dark(disc, source, "scatter") if fixed else disc

    def _dark(self, area: shapely.Geometry, source: Source, way: str) -> shapely.Geometry:
        """Take away what barriers that hold on this way hide from every place of a source in the section."""
        if area.is_empty:
            return area
        x0, y0, x1, y1 = area.bounds
        far = 4.0 * (x1 - x0 + y1 - y0)
        middle, start, moved = self._at(source.apex[:2])[0], source.apex[2], math.sqrt(2.0) * max(source.moves)
        off = (-moved, moved) if moved > 0.0 else (0.0,)
        places = [(middle + a, start + b) for a in off for b in off]
        shades = []
        held = self.stage.walls(self.context, way).screens
        for along, bottom, top in self._crossed(piece for screen in held for piece in screen.pieces()):
            if abs(along - middle) > moved + 1e-9:
                each = []
                for x, z in places:
                    ways = [(along - x, end - z) for end in (bottom, top)]
                    out = [(x + dx * far / math.hypot(dx, dz), z + dz * far / math.hypot(dx, dz)) for dx, dz in ways]
                    each.append(shapely.convex_hull(shapely.MultiPoint([(along, bottom), (along, top), *out])))
                shades.append(shapely.intersection_all(each))
        return shapely.difference(area, shapely.union_all(shades)) if shades else area

    def _ends_at(self, eye: Source, far: float, upright: list[ElevationItem]) -> str:
        """Return the barrier that ends all of the beam in the section above the floor; empty when some goes on."""
        whole = self._fan(eye, far)
        left = self._dark(whole, eye, "direct")
        if whole.is_empty or whole.bounds[0] < -_TOUCH * (1.0 + whole.bounds[2]):
            return ""
        for item in sorted((i for i in upright if i.holds and i.along > 0.0), key=lambda i: i.along):
            beyond = shapely.box(item.along + _TOUCH, 0.0, 2.0 * whole.bounds[2] + 1.0, abs(whole.bounds[3]) + 1.0)
            if shapely.intersects(whole, beyond) and not shapely.intersects(left, beyond):
                return item.name
        return ""


def _zone(kind: str, reach: float, area: shapely.Geometry) -> SectionZone:
    return SectionZone(kind, reach, polygons(shapely.intersection(area, shapely.box(-_MOST, 0.0, _MOST, _MOST))))


def _farthest(sources: tuple[Source, ...]) -> Source:
    return max(sources, key=lambda source: badness(source.reach))


def _bounded(reach: float, most: float) -> float:
    """Return a reach, or the most when it is longer or not a number."""
    return reach if reach < most else most


def joined_zones(zones: Iterable[SectionZone]) -> tuple[SectionZone, ...]:
    """Return the zones of several sections of one aim as one: of each kind the union, with the farthest reach."""
    found: dict[str, list[SectionZone]] = {}
    for zone in zones:
        if zone.polygons:
            found.setdefault(zone.kind, []).append(zone)
    joined = []
    for kind, own in found.items():
        reach = max((zone.distance for zone in own), key=badness)
        joined.append(_zone(kind, reach, area_of([part for zone in own for part in zone.polygons])))
    return tuple(joined)
