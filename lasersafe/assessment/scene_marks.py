"""What the plan and the elevation show besides the zones: aims, barriers, people, cameras, targets, surfaces.

What a camera may receive is advice, never a verdict, since no limit exists for sensors.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.aims import place_of
from lasersafe.assessment.context import ON_THE_FLOOR, Context, every_context
from lasersafe.assessment.stage import Stage
from lasersafe.hazard import instruments
from lasersafe.optics.beam import diameters, fraction_through
from lasersafe.optics.reflection import LitSpot
from lasersafe.records.fields import badness
from lasersafe.records.scene import (
    AimEnvelope,
    CameraLine,
    CameraMark,
    FloorItem,
    MatrixCell,
    PersonMark,
    ScenePlan,
    SurfaceMark,
    TargetMark,
)
from lasersafe.scene.areas import polygons
from lasersafe.scene.bound import most_light
from lasersafe.scene.profile import BeamProfile
from lasersafe.wording import Message, joined

if TYPE_CHECKING:
    from lasersafe.models import Camera, Surface, Target

STATURES = {"standing adult": 1.6, "seated": 1.2, "child": 1.0, "anybody": 1.6}  # m; common practice, no source
ANYBODY = (1.0, 1.8)
_MANY = 1e6  # W: with so many what is next to nothing for people is still counted
CLOSEST = 0.1  # m: no camera is nearer to a lens or a lit spot
SLACK = 0.1  # m, above and below a stated height of the eyes


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


def eyes_of(stature: str, typed: float | None) -> tuple[float, float]:
    """Return the lowest and highest place of the eyes above where a person stands [m]."""
    if typed is not None:
        return typed - SLACK, typed + SLACK
    if stature == "anybody":
        return ANYBODY
    return STATURES[stature] - SLACK, STATURES[stature] + SLACK


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
        eye = STATURES[entry.stature] if entry.eye_height is None else float(entry.eye_height)
        found.append(
            PersonMark(
                entry.name, roles[entry.name], place, eye, float(entry.floor), True, area,
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
                for context in every_context(main).values():
                    found += _of_camera(stage, main, context, entry)
    return tuple(found)


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
    lam, point, standing = context.wavelength, np.array([place]), {item.name for item in stage.scene.surface}
    rows: list[CameraLine] = []
    lights = [one for way in ON_THE_FLOOR for one in stage.lights(main, (way,), "eye")]
    seen = [
        [(replace(one, profile=stage.in_irradiance(one.profile, _MANY, camera.pupil)), walls)] for one, walls in lights
    ]
    each = most_light(seen, point, np.zeros((1, 3)))[:, 0]
    for (source, _), there in zip(lights, each, strict=True):
        away = max(source.path_to(place), CLOSEST)
        if not there > 0.0:
            continue
        if isinstance(source.profile, BeamProfile):
            through = there / _MANY * math.pi * camera.pupil**2 / 4.0
            beam = source.profile.beam
            whole = through / max(float(fraction_through(*diameters(beam, away), camera.pupil, beam.profile)), 1e-300)
            row = instruments.beam_in_camera(camera, light.scaled(whole), lam, beam, away, source.way)
        else:
            size = context.spot if source.profile.wide and source.surface not in standing else 0.0
            lit = LitSpot(source.factor, model=stage.case.settings.scatter_model, diameter=size)
            row = instruments.scatter_in_camera(camera, light, lam, away, lit)
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
