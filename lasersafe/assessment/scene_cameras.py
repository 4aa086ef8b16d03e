"""What cameras of a scene may receive: advice, never a verdict, since no limit exists for sensors."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lasersafe.assessment.lines import every_context
from lasersafe.hazard import cameras
from lasersafe.results_advice import CameraLine
from lasersafe.scene.profile import BeamProfile

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import Camera

CLOSEST = 0.1  # m, as for people


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
    camera = cameras.Camera(
        entry.name,
        float(entry.focal_length),
        float(entry.f_number),
        float(entry.filter_transmission),
        0.0 if entry.pixel is None else float(entry.pixel),
    )
    emission = context.emission("eye", context.duration("scatter")[0])
    pulsed = emission.kind != "continuous"
    amount = (
        max(emission.pulse_energy, context.space.highest_pulse_energy)
        if pulsed
        else context.space.highest_mean_power or 0.0
    )
    pulse = emission.pulse_duration if pulsed else None
    rate = emission.repetition_rate or None if pulsed else None
    place = (*entry.position.pair, float(entry.height))
    rows: list[tuple[str, str, float, cameras.CameraAdvice]] = []
    for pose in stage.poses(main, "running"):
        away = max(math.dist(place, pose.apex), CLOSEST)
        lam, beam = context.wavelength, context.beam
        direct = cameras.beam_in_camera(camera, amount, lam, beam, away, pulse_duration=pulse, repetition_rate=rate)
        rows.append(("direct", "", away, direct))
        for item in stage.lit(context, pose):
            spots = stage.spots(context, pose, item)
            near = float(spots.away(*(np.asarray(value, dtype=float) for value in place)))
            near = max(near, CLOSEST)
            spot = cameras.scatter_in_camera(
                camera, amount, lam, near, reflectance=item.reflectance, model=stage.case.settings.scatter_model,
                spot_diameter=context.spot if not item.placed else 0.0, pulse_duration=pulse, repetition_rate=rate,
            )  # fmt: skip
            rows.append(("scatter", item.name, near, spot))
    for source in stage.sources(main, "mirror", "eye"):
        if isinstance(source.profile, BeamProfile):
            path = max(source.path_to(place), CLOSEST)
            seen = cameras.beam_in_camera(
                camera, amount * source.factor, context.wavelength, source.profile.beam, path, way="mirror",
                pulse_duration=pulse, repetition_rate=rate,
            )  # fmt: skip
            rows.append(("mirror", source.surface, path, seen))
    worst: dict[str, tuple[str, str, float, cameras.CameraAdvice]] = {}
    for row in rows:
        if row[0] not in worst or not row[3].exposure <= worst[row[0]][3].exposure:
            worst[row[0]] = row
    return [
        CameraLine(
            entry.name, main.laser.name, main.setup.name, way, surface, away, advice.exposure, advice.unit,
            advice.spot_diameter, advice.resolved, None if advice.threshold is None else advice.threshold.value,
            "" if advice.threshold is None else advice.threshold.source, advice.ratio, advice.words, advice.advice,
        )
        for way, surface, away, advice in worst.values()
    ]  # fmt: skip
