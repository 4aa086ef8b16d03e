"""Zones and sections of a scene over several corners of the tolerances: the union of zones, the farthest beam."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely

from lasersafe.assessment.corners import over
from lasersafe.assessment.scene_zones import area_of, beyond_targets, zone_shapes
from lasersafe.assessment.section import elevations, lit_in
from lasersafe.assessment.stage import Stage
from lasersafe.records.scene import BeyondTarget, Elevation, PersonMark, Polygon, ZoneShape
from lasersafe.scene.areas import polygons


def zones_over(stages: Sequence[Stage]) -> tuple[ZoneShape, ...]:
    """Return the zones on the floor; of several corners each zone is the union of theirs."""
    return over(stages, zone_shapes, _zone)


def beyond_over(stages: Sequence[Stage]) -> tuple[tuple[BeyondTarget, ...], tuple[ZoneShape, ...]]:
    """Return what lies behind the targets and where fire can start, of several corners the worst of each."""
    each = [beyond_targets(stage) for stage in stages]
    return over(each, lambda one: one[0], _beyond), over(each, lambda one: one[1], _zone)


def _union(parts: Sequence[tuple[Polygon, ...]]) -> tuple[tuple[Polygon, ...], float]:
    area = shapely.union_all([area_of(one) for one in parts])
    return polygons(area), float(area.area)


def _zone(farthest: ZoneShape, group: Sequence[ZoneShape]) -> ZoneShape:
    if all(one.polygons == farthest.polygons for one in group):
        return farthest
    parts, area = _union([one.polygons for one in group])
    clipping = set.intersection(*(set(one.clipped_by) for one in group))
    passing = {name: None for one in group for name in one.not_clipped_by}
    return replace(
        farthest,
        polygons=parts,
        area=area,
        clipped_by=tuple(name for name in farthest.clipped_by if name in clipping),
        not_clipped_by=tuple(passing),
    )


def _beyond(farthest: BeyondTarget, group: Sequence[BeyondTarget]) -> BeyondTarget:
    return replace(farthest, polygons=_union([one.polygons for one in group])[0])


def elevations_over(stages: Sequence[Stage], persons: tuple[PersonMark, ...]) -> tuple[Elevation, ...]:
    """Return the sections, each of the corner at which its beam reaches farthest."""
    return over(stages, lambda stage: elevations(stage, persons), _section)


def _section(farthest: Elevation, group: Sequence[Elevation]) -> Elevation:
    names = {item.name for item in farthest.items if item.holds}
    held = {name for name in names if all(i.holds is not False for one in group for i in one.items if i.name == name)}
    items = tuple(replace(item, holds=False) if item.name in names - held else item for item in farthest.items)
    ends = farthest.ends_at if all(one.ends_at == farthest.ends_at for one in group) else ""
    light = farthest.light if len(group) == 1 else lit_in(list(group))
    return replace(farthest, items=items, ends_at=ends, light=light)
