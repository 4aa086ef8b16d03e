"""What a plan shows of lasers, targets and cameras over several corners of the tolerances: the worst of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from lasersafe.assessment.alike import over
from lasersafe.assessment.scene_cameras import camera_lines
from lasersafe.assessment.scene_marks import aims_of, target_marks
from lasersafe.assessment.section import elevations, lit_in
from lasersafe.assessment.stage import Stage
from lasersafe.results_advice import CameraLine
from lasersafe.results_scene import AimEnvelope, Elevation, PersonMark, TargetMark
from lasersafe.worst import badness


def aims_over(stages: Sequence[Stage]) -> tuple[AimEnvelope, ...]:
    """Return the aim envelopes, each of the corner at which its beam reaches farthest."""
    return over(
        stages, aims_of, lambda aim: (aim.laser, aim.setup, aim.mode),
        lambda group: max(group, key=lambda aim: badness(aim.reach)),
    )  # fmt: skip


def targets_over(stages: Sequence[Stage]) -> tuple[TargetMark, ...]:
    """Return the targets; what stands behind one holds only when it holds at every corner."""
    return over(
        stages, target_marks, lambda mark: (mark.name, mark.laser),
        lambda group: replace(group[0], rated_stop=all(mark.rated_stop for mark in group)),
    )  # fmt: skip


def elevations_over(stages: Sequence[Stage], persons: tuple[PersonMark, ...]) -> tuple[Elevation, ...]:
    """Return the sections, each of the corner at which its beam reaches farthest."""
    return over(stages, lambda stage: elevations(stage, persons), lambda one: (one.laser, one.setup), _farthest_section)


def _farthest_section(group: list[Elevation]) -> Elevation:
    farthest = max(group, key=lambda one: badness(one.reach))
    names = {item.name for item in farthest.items if item.holds}
    held = {name for name in names if all(i.holds is not False for one in group for i in one.items if i.name == name)}
    items = tuple(replace(item, holds=False) if item.name in names - held else item for item in farthest.items)
    ends = farthest.ends_at if all(one.ends_at == farthest.ends_at for one in group) else ""
    light = farthest.light if len(group) == 1 else lit_in(group)
    return replace(farthest, items=items, ends_at=ends, light=light)


def cameras_over(stages: Sequence[Stage]) -> tuple[CameraLine, ...]:
    """Return what each camera may receive at the corner with the highest share of its threshold.

    No threshold for the wavelength is worse than a share below 1, and better than one above.
    """
    return over(
        stages, camera_lines, lambda line: (line.camera, line.laser, line.setup, line.way),
        lambda group: max(group, key=_exposed),
    )  # fmt: skip


def _exposed(line: CameraLine) -> tuple[float, float]:
    return badness(1.0 if line.ratio is None else line.ratio), badness(line.exposure)
