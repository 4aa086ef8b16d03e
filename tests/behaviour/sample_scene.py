"""Hand-made scenes for the drawings: a room with everything in it, a bench and a field."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np

from lasersafe.records.scene import (
    AimEnvelope,
    BarrierLine,
    BarrierWay,
    BeyondTarget,
    CameraMark,
    Elevation,
    ElevationItem,
    FloorItem,
    HazardMap,
    MapPlace,
    Opening,
    PersonMark,
    Polygon,
    Ring,
    SceneFinding,
    ScenePlan,
    SceneResult,
    SectionZone,
    SpectatorLine,
    SurfaceMark,
    TargetMark,
    ZoneShape,
)

LASER = "Hand-held welder"


def sector(x: float, y: float, low: float, high: float, reach: float, steps: int = 40) -> Ring:
    turn = [low + (high - low) * k / steps for k in range(steps + 1)]
    return ((x, y), *[(x + reach * math.sin(a), y + reach * math.cos(a)) for a in turn])


def disc(x: float, y: float, radius: float, steps: int = 60) -> Ring:
    return tuple(
        (x + radius * math.cos(2 * math.pi * k / steps), y + radius * math.sin(2 * math.pi * k / steps))
        for k in range(steps)
    )


def box(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _way(holds: bool, irradiance: float = 4e5) -> BarrierWay:
    return BarrierWay("direct", LASER, "long-focus lens", irradiance, holds, "holds" if holds else "does not hold")


def zone(kind: str, ring: Ring, distance: float, origin: tuple[float, float, float], **more: object) -> ZoneShape:
    found: dict[str, object] = {
        "kind": kind,
        "laser": LASER,
        "setup": "long-focus lens",
        "polygons": (Polygon(ring),),
        "distance": distance,
        "measured_from": "lit surface" if kind.startswith("scatter") else "last optic",
        "limited_by": "exposure limit",
        "origin": origin,
        "limit": 50.6,
        "limit_unit": "W/m2",
        "duration": 10.0,
        **more,
    }
    return ZoneShape(**found)  # type: ignore[arg-type]


def room(reach: float = 311.0) -> SceneResult:
    """A workshop of 12 m by 8 m with one laser, two set-ups, a stage and people; the direct zone goes far beyond."""
    x, y, z = 2.0, 4.0, 1.1
    low, high = math.radians(60), math.radians(120)
    east = math.radians(90)
    held = zone("skin direct", sector(x, y, low, high, 7.0), 45.0, (x, y, z), clipped_by=("Steel screen",))
    zones = (
        zone("eye direct", sector(x, y, low, high, reach), reach, (x, y, z), overhead=True),
        held,
        zone("eye mirror", sector(4.0, 4.2, math.radians(250), math.radians(310), 3.0), 5.1, (4.0, 4.2, 1.0)),
        zone("scatter eye", disc(4.0, 4.0, 1.9), 1.92, (4.0, 4.0, 1.0), surface="Sheet metal"),
        zone("scatter skin", disc(4.0, 4.0, 0.6), 0.61, (4.0, 4.0, 1.0), surface="Sheet metal"),
        zone(
            "ignition", sector(x, y, low, high, 5.2), 5.17, (x, y, z), limit=5000.0, duration=None,
        ),
    )  # fmt: skip
    ratio = np.full((2, 40, 60), 1e-3)
    for k in range(60):
        ratio[:, max(0, 20 - k // 2) : 20 + k // 2, k] = 3000.0 / (1 + k) ** 1.5
    return SceneResult(
        plan=ScenePlan(
            extent=(0.0, 0.0, 12.0, 8.0),
            north=math.radians(20),
            stage_arrow=math.radians(270),
            items=(FloorItem("Stage", box(0.5, 1.5, 5.5, 6.5)),),
            outline=box(0.0, 0.0, 12.0, 8.0),
        ),
        aims=(
            AimEnvelope(LASER, "long-focus lens", "running", (x, y, z), east, -0.1, (low, high), (-0.3, 0.1),
                        math.radians(10), reach),
        ),
        zones=zones,
        beyond=(
            BeyondTarget(LASER, "long-focus lens", "Mild steel plate",
                         (Polygon(sector(4.0, 4.0, math.radians(80), math.radians(100), reach - 2)),), "", reach,
                         "wooden door", 3.0, 2.1e4, 5000.0, "screening value", True),
        ),
        barriers=(
            BarrierLine("Steel screen", "barrier", ((8.0, 1.0), (9.0, 5.6)), 0.0, 2.2, True, (_way(True),)),
            BarrierLine("Curtain", "barrier", ((6.0, 6.4), (7.0, 7.6)), 0.0, 2.0, True, (_way(False),)),
            BarrierLine("East wall", "wall", ((12.0, 0.0), (12.0, 8.0)), 0.0, 3.0, False, (_way(False),), (
                Opening("Hall door", "door", (12.0, 3.2), (12.0, 4.2), 0.0, 2.1, True),
                Opening("Window", "window", (12.0, 5.5), (12.0, 7.0), 1.0, 2.2, True),)),
            BarrierLine("North wall", "wall", ((0.0, 8.0), (12.0, 8.0)), 0.0, 3.0, False),
        ),
        persons=(
            PersonMark("Operator", (1.6, 3.7), 1.6, 0.0),
            PersonMark("Stage crew", (3.0, 6.0), 1.7, 0.6, box(2.2, 5.4, 3.9, 6.3)),
            PersonMark("Visitors <& guests>", (10.5, 1.2), 1.0, 0.0, box(9.3, 0.4, 11.8, 2.4)),
            PersonMark("Passer-by in the lane", (140.0, 5.0), 1.6, 0.0),
        ),
        cameras=(CameraMark("Camera 1", (7.0, 2.0, 1.5), math.radians(310)),),
        targets=(TargetMark("Mild steel plate", LASER, (4.0, 4.0, 1.0), "steel", "matt", "flat", "door", False),),
        surfaces=(
            SurfaceMark("Chrome rail", (4.6, 2.6, 1.0), True, "convex"),
            SurfaceMark("Sheet metal", (4.0, 4.0, 1.0), False, "flat", ((4.0, 3.7), (4.0, 4.3))),
        ),
        lines=(
            SpectatorLine("left", ((0.0, 7.2), (9.0, 7.2)), 3.2, "last optic", "scatter eye", 0.0),
            SpectatorLine("right", ((1.0, 0.8), (7.5, 0.8)), 3.15, "last optic", "scatter eye", math.pi),
        ),
        elevations=(
            Elevation(
                LASER, "long-focus lens", east, (x, y, z), (-1.0, reach),
                ((-2.0, 0.0), (reach, 0.0)), ((0.0, 1.1), (reach, 1.1 - 0.1 * reach)),
                (
                    SectionZone("eye direct", reach, (Polygon(((0.0, 1.1), (4.0, 0.0), (reach, 1.1 + 0.1 * reach))),)),
                    SectionZone("ignition", 3.0, (Polygon(((0.0, 1.1), (3.0, 0.3), (3.0, 1.3))),)),
                    SectionZone("scatter eye", 2.6, (Polygon(disc(2.0, 1.0, 2.6)),)),
                ),
                (
                    ElevationItem("Operator", "person", -0.4, 0.3, 0.0, 1.75, 1.6),
                    ElevationItem("Mild steel plate", "target", 2.0, 0.0, 0.9, 1.1),
                    ElevationItem("Steel screen", "barrier", 6.5, 0.0, 0.0, 2.2, None, True),
                    ElevationItem("Visitors", "person", 8.5, 2.8, 0.0, 1.2, 1.0),
                    ElevationItem("East wall", "wall", 10.0, 0.0, 0.0, 3.0, None, False),
                    ElevationItem("Balcony", "balcony", 9.0, 1.0, 2.4, 2.7),
                    ElevationItem("Camera 1", "camera", 5.0, 2.0, 1.4, 1.6),
                ),
                reach,
            ),
        ),
        findings=(SceneFinding("set-up", "the key for the collimated lens stays with the safety officer"),),
        map=HazardMap(np.linspace(0, 12, 60), np.linspace(0, 8, 40), (("child", 1.0), ("standing adult", 1.7)), ratio,
                      persons=(MapPlace("Operator", (1.6, 3.7), 2430.0),)),
    )  # fmt: skip


def scaled(scene: SceneResult, factor: float) -> SceneResult:
    """The same room, smaller or larger in all directions."""

    def ring(points: tuple[tuple[float, ...], ...]) -> tuple[tuple[float, ...], ...]:
        return tuple(tuple(c * factor for c in p) for p in points)

    def parts(polygons: tuple[Polygon, ...]) -> tuple[Polygon, ...]:
        return tuple(Polygon(ring(p.outline)) for p in polygons)  # type: ignore[arg-type]

    def at(record: object) -> object:
        return replace(record, position=ring((record.position,))[0])  # type: ignore[attr-defined,type-var]

    return replace(
        scene,
        plan=replace(
            scene.plan,
            extent=tuple(c * factor for c in scene.plan.extent),
            outline=ring(scene.plan.outline),
            items=tuple(replace(i, outline=ring(i.outline)) for i in scene.plan.items),
        ),
        aims=tuple(replace(at(a), reach=a.reach * factor) for a in scene.aims),
        zones=tuple(
            replace(z, polygons=parts(z.polygons), distance=z.distance * factor, origin=ring((z.origin,))[0])
            for z in scene.zones
        ),
        beyond=tuple(replace(b, polygons=parts(b.polygons), distance=b.distance * factor) for b in scene.beyond),
        barriers=tuple(
            replace(
                b,
                line=ring(b.line),
                openings=tuple(replace(o, start=ring((o.start,))[0], end=ring((o.end,))[0]) for o in b.openings),
            )
            for b in scene.barriers
        ),
        persons=tuple(replace(at(p), area=ring(p.area)) for p in scene.persons),
        cameras=tuple(at(c) for c in scene.cameras),
        targets=tuple(at(t) for t in scene.targets),
        surfaces=tuple(replace(at(s), line=ring(s.line)) for s in scene.surfaces),
        lines=tuple(replace(s, line=ring(s.line), distance=s.distance * factor) for s in scene.lines),
        map=None,
    )  # type: ignore[arg-type]


def scattered(seed: int) -> SceneResult:
    """A random crowd of people, barriers and zones."""
    draw = random.Random(seed)
    size = 10.0 ** draw.uniform(-1.0, 3.0)

    def place() -> tuple[float, float]:
        return draw.uniform(0, size), draw.uniform(0, size)

    def name(word: str, number: int) -> str:
        return f"{word} {number} " + "long name " * draw.randint(0, 4)

    base = room(size * 10.0 ** draw.uniform(-0.5, 2.0))
    kinds = ("eye direct", "skin direct", "eye mirror", "skin mirror", "scatter eye", "scatter skin", "ignition")
    zones = []
    for number in range(draw.randint(0, 9)):
        x, y = place()
        reach = size * 10.0 ** draw.uniform(-2.0, 1.5)
        low = draw.uniform(0, 6)
        zones.append(
            zone(
                draw.choice(kinds), sector(x, y, low, low + draw.uniform(0.01, 6.2), reach), reach, (x, y, 1.0),
                setup=f"set-up {number % 3}",
            )
        )  # fmt: skip
    return replace(
        base,
        plan=ScenePlan((0, 0, size, size), draw.uniform(0, 6), None, outline=box(0, 0, size, size)),
        aims=tuple(
            replace(base.aims[0], laser=name("Laser", n), position=(*place(), 1.0), bearing=draw.uniform(0, 6))
            for n in range(draw.randint(1, 4))
        ),
        zones=tuple(zones),
        beyond=(),
        barriers=tuple(
            BarrierLine(name("Screen", n), "barrier", (place(), place()), 0, 2, True, (_way(draw.random() < 0.5),))
            for n in range(draw.randint(0, 8))
        ),
        persons=tuple(PersonMark(name("Person", n), place(), 1.6, 0.0) for n in range(draw.randint(0, 14))),
        cameras=tuple(CameraMark(name("Camera", n), (*place(), 1.0), 1.0) for n in range(draw.randint(0, 4))),
        targets=(),
        surfaces=(),
        lines=tuple(
            SpectatorLine(side, (place(), place()), size * draw.uniform(0, 2), "last optic", "eye direct", 0.0)
            for side in ("front", "left")
        ),
        elevations=(),
        map=None,
    )
