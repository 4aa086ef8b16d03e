"""What the plan and the elevation show besides the zones: aims, barriers, people, cameras, targets, surfaces."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import shapely

from lasersafe.assessment.aims import Pose, place_of
from lasersafe.assessment.barriers import plain
from lasersafe.assessment.context import ON_THE_FLOOR, TISSUES, WAYS, Context
from lasersafe.assessment.scene_hits import taken
from lasersafe.assessment.scene_zones import ignition_source
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard import instruments
from lasersafe.optics.beam import diameters, fraction_through
from lasersafe.optics.reflection import LitSpot
from lasersafe.records import badness
from lasersafe.records import scene as records
from lasersafe.scene.areas import area_of, polygons
from lasersafe.scene.beams import FLOAT, BeamProfile
from lasersafe.scene.bound import most_light, span
from lasersafe.wording import Message, joined

if TYPE_CHECKING:
    from lasersafe.models import Surface, Target
    from lasersafe.scene.sources import Source
    from lasersafe.scene.walls import Piece

_MANY = 1e6  # W: with so many what is next to nothing for people is still counted
CLOSEST = 0.1  # m: no camera is nearer to a lens or a lit spot
_BEYOND = 40.0  # times what is drawn, that light is followed
_TURN = math.radians(3.0)  # between two corners of an arc
_TOP = 20.0  # m: of an item that is higher, as far as it is drawn
_TOUCH = 0.01  # m
_MOST = 1e7  # m


def plan_of(stage: Stage) -> records.ScenePlan:
    """Return the paper with what lies on the floor."""
    scene = stage.scene
    return records.ScenePlan(
        extent=stage.extent, north=plain(scene.north), stage_arrow=plain(scene.stage_bearing),
        items=tuple(records.FloorItem(f.name, f.outline.pairs) for f in scene.floor),
        outline=() if scene.outline is None else scene.outline.pairs,
    )  # fmt: skip


def aims_of(stage: Stage) -> Iterator[records.AimEnvelope]:
    """Yield the aim envelope of every set-up in every mode that has directions of its own."""
    for context in stage.contexts:
        name, setup = context.laser.name, context.setup.name
        own = {a.mode for a in stage.scene.aim if a.laser == name and a.setup in (None, setup)}
        for mode in ["running", *(m for m in ("alignment", "service", "fault") if m in own)]:
            sources = stage.sources(context, "direct", "eye", mode)[:: len(context.every)]  # one source a wavelength
            for pose, source in zip(stage.poses(context, mode), sources, strict=True):
                box, half = pose.nominal, pose.nominal.half_bearing
                yield records.AimEnvelope(
                    name, setup, pose.mode, pose.apex, pose.bearing % (2.0 * math.pi), pose.elevation,
                    (box.bearing - half, box.bearing + half), box.elevation, pose.margin, source.reach,
                    fitted=context.setup.fitted,
                )  # fmt: skip


def person_marks(stage: Stage) -> Iterator[records.PersonMark]:
    """Yield every person with a place; of an area that nearest to a laser."""
    apexes = [pose.apex[:2] for c in stage.contexts for pose in stage.poses(c, "running")]
    for one in stage.scene.person:
        area = () if one.area is None else one.area.pairs
        x, y = np.mean(area, axis=0).tolist() if one.position is None else one.position.pair
        if one.position is None:
            (x, y), _ = min(
                shapely.shortest_line(taken(one), shapely.points(apexes)), key=lambda way: way.length
            ).coords
        yield records.PersonMark(one.name, (x, y), one.eye, float(one.floor), area)


def camera_marks(stage: Stage) -> tuple[records.CameraMark, ...]:
    """Return the cameras."""
    every = stage.scene.camera
    return tuple(records.CameraMark(c.name, (*c.position.pair, float(c.height)), plain(c.bearing)) for c in every)


def camera_lines(stage: Stage) -> Iterator[records.CameraLine]:
    """Yield what each camera receives from every fitted set-up, directly, by a mirror and by scatter.

    A camera whose lens is not described is left out. Where it looks is not counted: that can change.
    """
    for one, main in product(stage.scene.camera, stage.fitted):
        if one.focal_length is not None and one.f_number is not None:
            lens = float(one.focal_length), float(one.f_number), float(one.filter_transmission), plain(one.pixel) or 0.0
            camera, place = instruments.Camera(one.name, *lens), (*one.position.pair, float(one.height))
            for context in main.every.values():
                yield from _of_camera(stage, main, context, camera, place)


@kept("people")
def _of_camera(
    stage: Stage, main: Context, context: Context, camera: instruments.Camera, place: records.Point3
) -> list[records.CameraLine]:
    emission = context.emission("eye", context.duration("scatter")[0])
    light = replace(emission, power=context.space.highest_mean_power or 0.0)
    if emission.kind != "continuous":
        light = replace(emission, pulse_energy=max(emission.pulse_energy, context.space.highest_pulse_energy))
    lam, point = context.wavelength, np.array([place])
    rows: list[records.CameraLine] = []
    lights = [(*one, 1.0) for way in ON_THE_FLOOR for one in stage.lights(main, (way,), "eye")]
    panes = [float(o.optical_density) for b in stage.scene.barrier for o in b.opening if o.optical_density]
    if panes:  # a lens gathers what is below a limit for people
        lights += [(source, stage.opened(walls), 10.0 ** -min(panes)) for source, walls, _ in lights]
    seen = [
        [(replace(one, profile=stage.in_irradiance(one.profile, _MANY, camera.pupil)), walls)]
        for one, walls, _ in lights
    ]
    each = most_light(seen, point, np.zeros((1, 3)))[:, 0]
    full = light
    for (source, walls, part), there in zip(lights, each, strict=True):
        if not there > 0.0:
            continue
        light = full.scaled(part)
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
        if part < 1.0:
            row = replace(row, words=joined([row.words, Message("camera.through_pane", density=f"{min(panes):g}")]))
        rows.append(replace(row, surface=source.surface))
    unit, away = ("W/m2" if emission.kind == "continuous" else "J/m2"), math.dist(place, lights[0][0].apex)
    dark = [
        records.CameraLine(
            camera=camera.name, way=way, distance=away, exposure=0.0, unit=unit, spot=0.0, resolved=False,
            threshold=None, threshold_source="", ratio=0.0, words=Message("camera.dark"),
        ) for way in WAYS
    ]  # fmt: skip
    rows += dark
    ways = dict.fromkeys(row.way for row in rows)
    tops = (max((row for row in rows if row.way == way), key=lambda row: badness(row.exposure)) for way in ways)
    return [replace(row, laser=main.laser.name, setup=main.setup.name) for row in tops]


def target_marks(stage: Stage) -> Iterator[records.TargetMark]:
    """Yield the target list with places, for the fitted set-up of each laser."""
    for context in stage.fitted:
        for pose, t in product(stage.poses(context, "running")[:1], context.targets):
            place, stop = place_of(t, pose, stage.work_distance(context)), t.stop or ""
            held = stop in stage.screens and stage.held(context, "direct")[stop].holds
            yield records.TargetMark(
                t.name, context.laser.name, place, t.material, t.finish, t.shape, t.behind, held,
                *_returned(stage, context, t.name), plain(t.behind_distance), stop,
            )  # fmt: skip


def _returned(stage: Stage, context: Context, name: str) -> tuple[float, str]:
    """Return the reflectance of a target that counts, and where it comes from."""
    described: list[Surface | Target] = [*context.surfaces, *stage.scene.target]
    value = context.reflectance_of(next(one for one in described if one.name == name))
    used = next(i.reflectance for p in stage.poses(context, "running") for i in stage.lit(context, p) if i.name == name)
    if used > value.value:
        return used, Message("mirror.far_infrared")
    return used, joined(filter(None, (value.words, value.source)))


def surface_marks(stage: Stage) -> Iterator[records.SurfaceMark]:
    """Yield the surfaces with a place."""
    finishes = {s.name: s.finish for s in stage.case.surface}
    for s in stage.scene.surface:
        if s.position is None or s.height is None:
            continue
        (x, y), half = s.position.pair, float(s.width) / 2.0
        dx, dy = (0.0, 0.0) if s.normal is None else (math.cos(s.normal) * half, -math.sin(s.normal) * half)
        line = () if s.normal is None else ((x - dx, y - dy), (x + dx, y + dy))
        yield records.SurfaceMark(s.name, (x, y, float(s.height)), finishes[s.name] != "matt", s.shape, line)


def elevations(stage: Stage, persons: tuple[records.PersonMark, ...]) -> Iterator[records.Elevation]:
    """Yield the section along the aim of each fitted set-up."""
    for context in stage.fitted:
        for pose in stage.poses(context, "running")[:1]:
            yield _Section(stage, context, pose).elevation(persons)


@dataclass
class _Section:
    stage: Stage
    context: Context
    pose: Pose

    def elevation(self, persons: tuple[records.PersonMark, ...]) -> records.Elevation:
        """Return the section."""
        stage, context, pose = self.stage, self.context, self.pose
        items = [
            records.ElevationItem(p.name, "person", *self._at(p.position), p.floor, p.floor + p.eye_height + 0.12,
                          p.floor + p.eye_height)
            for p in persons
        ]  # fmt: skip
        upright = self._upright()
        far = max([2.4, *(1.2 * abs(item.along) for item in items), *(1.1 * item.along for item in upright)])
        items += upright + [
            records.ElevationItem(
                part.name, "balcony", min(self._at(p)[0] for p in part.outline.pairs), 0.0, 0.0, float(part.height),
            ) for part in stage.scene.floor if part.kind == "balcony"
        ]  # fmt: skip
        work = stage.work_distance(context)
        if work > 0.0:
            x, y, z = pose.on_aim(work)
            items.append(records.ElevationItem("work", "target", self._at((x, y))[0], 0.0, z - 0.02, z + 0.02))
        items += [
            records.ElevationItem(camera.name, "camera", *self._at(camera.position.pair), 0.0, float(camera.height))
            for camera in stage.scene.camera
        ]
        back = min([i.along for i in items] + [-1.0]) * 1.1
        eye = _farthest(stage.sources(context, "direct", "eye"))
        tip = pose.on_aim(_bounded(eye.reach, _BEYOND * far))
        return records.Elevation(
            context.laser.name, context.setup.name, pose.bearing, pose.apex, (back, far), ((back, 0.0), (far, 0.0)),
            ((0.0, pose.apex[2]), (self._at(tip[:2])[0], tip[2])), self._light(far), tuple(items), eye.reach,
            self._ends_at(eye, far, upright),
        )  # fmt: skip

    def _at(self, point: tuple[float, float]) -> records.Point:
        """Return how far along the trace of the aim a place lies, and how far to its right."""
        x, y = math.sin(self.pose.bearing), math.cos(self.pose.bearing)
        dx, dy = point[0] - self.pose.apex[0], point[1] - self.pose.apex[1]
        return dx * x + dy * y, dx * y - dy * x

    def _upright(self) -> list[records.ElevationItem]:
        """Return barriers and walls where the section crosses them, the solid parts between their openings."""
        stage = self.stage
        held = {name: one.holds for name, one in stage.held(self.context, "direct").items()}
        items: list[records.ElevationItem] = []
        for entry in stage.scene.barrier:
            named = False
            crossed = self._crossed(stage.solid(self.context, "direct", entry).pieces())
            for along, bottom, top in sorted(crossed, key=lambda one: (one[0] < 0.0, abs(one[0]), one[1])):
                named, part = True, (along, 0.0, bottom, min(top, bottom + _TOP), None, held[entry.name], not named)
                items.append(records.ElevationItem(entry.name, entry.kind, *part))
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

    def _light(self, far: float) -> tuple[records.SectionZone, ...]:
        """Return the zones of the direct beam and of scatter, cut by the barriers that hold."""
        stage, context = self.stage, self.context
        beams = [(f"{tissue} direct", _farthest(stage.sources(context, "direct", tissue))) for tissue in TISSUES]
        hot = ignition_source(stage, context, beams[0][1])
        beams += [] if hot is None else [("ignition", hot)]
        return joined_zones([
            *(_zone(kind, one.reach, self._dark(self._fan(one, far), one, "direct")) for kind, one in beams),
            *(_zone(f"scatter {tissue}", one.reach + one.spot, self._disc(one))
              for tissue in TISSUES for one in stage.sources(context, "scatter", tissue)),
        ])  # fmt: skip

    def _fan(self, source: Source, far: float) -> shapely.Geometry:
        """Return what a beam that points anywhere in its envelope reaches ahead, and behind where it can turn."""
        box = source.directions.box()
        low, high = box.elevation
        end = _bounded(source.reach, _BEYOND * far)
        if end <= 0.0:
            return shapely.Polygon()
        places = np.linspace(0.0, min(end, far), 60)
        places = np.concatenate([places, np.geomspace(far, end, 40)[1:]]) if end > far else places
        wide = np.pad(source.as_beam.spread(places), 1, "edge")
        beside = np.maximum(np.maximum(wide[:-2], wide[1:-1]), wide[2:])  # no less than anywhere up to the next place
        parts = [self._side(1.0, places, beside, low, high)]
        opposite = (self.pose.bearing + math.pi - box.bearing + math.pi) % (2.0 * math.pi) - math.pi
        if abs(opposite) <= box.half_bearing + 1e-9:
            parts.append(self._side(-1.0, places, beside, low, high))
        return shapely.buffer(shapely.union_all(parts), math.sqrt(2.0) * max(source.moves))

    def _side(self, sign: float, places: FLOAT, beside: FLOAT, low: float, high: float) -> shapely.Geometry:
        z = self.pose.apex[2]

        def edge(angle: float, turn: float) -> list[records.Point]:
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

    def _ends_at(self, eye: Source, far: float, upright: list[records.ElevationItem]) -> str:
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


def _zone(kind: str, reach: float, area: shapely.Geometry) -> records.SectionZone:
    return records.SectionZone(
        kind, reach, polygons(shapely.intersection(area, shapely.box(-_MOST, 0.0, _MOST, _MOST)))
    )


def _farthest(sources: tuple[Source, ...]) -> Source:
    return max(sources, key=lambda source: badness(source.reach))


def _bounded(reach: float, most: float) -> float:
    """Return a reach, or the most when it is longer or not a number."""
    return reach if reach < most else most


def joined_zones(zones: Iterable[records.SectionZone]) -> tuple[records.SectionZone, ...]:
    """Return the zones of several sections of one aim as one: of each kind the union, with the farthest reach."""
    found: dict[str, list[records.SectionZone]] = {}
    for zone in zones:
        if zone.polygons:
            found.setdefault(zone.kind, []).append(zone)
    return tuple(
        _zone(kind, max((one.distance for one in own), key=badness), area_of([p for one in own for p in one.polygons]))
        for kind, own in found.items()
    )
