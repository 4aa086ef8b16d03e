"""The zones of a scene over several corners of the tolerances: their union, and the farthest distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely

from lasersafe.assessment.alike import alike
from lasersafe.assessment.scene_zones import area_of, beyond_targets, zone_shapes
from lasersafe.assessment.stage import Stage
from lasersafe.results_scene import BeyondTarget, Polygon, ZoneShape
from lasersafe.scene.areas import polygons
from lasersafe.worst import badness


def zones_over(stages: Sequence[Stage]) -> tuple[ZoneShape, ...]:
    """Return the zones on the floor; of several corners each zone is the union of theirs."""
    return _together([zone_shapes(stage) for stage in stages])


def beyond_over(stages: Sequence[Stage]) -> tuple[tuple[BeyondTarget, ...], tuple[ZoneShape, ...]]:
    """Return what lies behind the targets and where fire can start, of several corners the worst of each."""
    each = [beyond_targets(stage) for stage in stages]
    beyond = tuple(_beyond(group) for group in zip(*(one[0] for one in each), strict=True))
    return beyond, _together([one[1] for one in each])


def _together(corners: list[tuple[ZoneShape, ...]]) -> tuple[ZoneShape, ...]:
    if len(corners) == 1:
        return corners[0]
    return tuple(_zone(group) for group in alike(corners, lambda one: (one.kind, one.laser, one.setup, one.surface)))


def _union(parts: Sequence[tuple[Polygon, ...]]) -> tuple[tuple[Polygon, ...], float]:
    area = shapely.union_all([area_of(one) for one in parts])
    return polygons(area), float(area.area)


def _zone(group: list[ZoneShape]) -> ZoneShape:
    farthest = max(group, key=lambda one: badness(one.distance))
    if all(one.polygons == farthest.polygons for one in group):
        return farthest
    parts, area = _union([one.polygons for one in group])
    clipping = set.intersection(*(set(one.clipped_by) for one in group))
    passing = {name: None for one in group for name in one.not_clipped_by}
    return replace(
        farthest,
        polygons=parts,
        area=area,
        worst=any(one.worst for one in group),
        overhead=any(one.overhead for one in group),
        clipped_by=tuple(name for name in farthest.clipped_by if name in clipping),
        not_clipped_by=tuple(passing),
    )


def _beyond(group: tuple[BeyondTarget, ...]) -> BeyondTarget:
    farthest = max(group, key=lambda one: (not one.ends_at, badness(one.distance)))
    heat = [one.backing_irradiance for one in group if one.backing_irradiance is not None]
    fire = [one.ignition_distance for one in group if one.ignition_distance is not None]
    burns = [one.can_ignite for one in group]
    return replace(
        farthest,
        polygons=_union([one.polygons for one in group])[0] if len(group) > 1 else farthest.polygons,
        backing_irradiance=max(heat, key=badness) if heat else None,
        ignition_distance=max(fire, key=badness) if fire else None,
        can_ignite=True if True in burns else None if None in burns else False,
    )
