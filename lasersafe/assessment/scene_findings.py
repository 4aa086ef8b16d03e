"""What a scene shows that somebody has to know, in the language of the wording."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from lasersafe.assessment.barrier_heights import ARM, REACH
from lasersafe.assessment.context import wave_span
from lasersafe.assessment.lit import curved_sources, unlisted
from lasersafe.fields import badness
from lasersafe.hazard.distances import attenuated_distance
from lasersafe.hazard.interference import interference
from lasersafe.optics.atmosphere import kruse_attenuation
from lasersafe.quantity import format_quantity
from lasersafe.results_barriers import BarrierLine
from lasersafe.results_scene import SceneFinding

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.assessment.stage import Stage
    from lasersafe.results_advice import SpectatorRule
    from lasersafe.results_scene import BeyondTarget, ZoneShape
    from lasersafe.wording import Wording

KRUSE_COVERS = (400e-9, 2.5e-6)  # m; elsewhere no loss in the air is counted
_KINDS = {"door": "scene.door", "window": "scene.window", "gap": "scene.gap"}


def findings_of(
    stages: tuple[Stage, ...],
    zones: tuple[ZoneShape, ...],
    beyond: tuple[BeyondTarget, ...],
    barriers: tuple[BarrierLine, ...],
    wording: Wording,
) -> tuple[SceneFinding, ...]:
    """Return the findings of a scene, those on the target list first.

    Parameters
    ----------
    stages : tuple of Stage
        The scene at every corner of the tolerances.
    zones, beyond, barriers : tuple
        The worst of all corners.
    wording : Wording
        Language of the findings.
    """
    text, stage = wording.text, stages[0]
    found: list[SceneFinding] = []
    for laser in {c.laser.name: c for c in stage.contexts}.values():
        name = laser.laser.name
        if not stage.poses(laser, "running"):
            found.append(SceneFinding("aim", text("scene.not_placed", laser=name), subject=name))
        targets = [t.name for t in stage.scene.target if t.laser in (None, name)]
        words = (
            text("scene.target_list", laser=name, targets=", ".join(targets))
            if targets
            else text("scene.no_target_list", laser=name)
        )
        found.append(SceneFinding("target list", words, refuses=not targets, subject=name))
    for one in beyond:
        found += _behind(one, wording)
    found += _set_ups(stage, zones, wording)
    for barrier in barriers:
        found += _of_barrier(stage, barrier, wording)
    found += _reached_over(barriers, wording)
    curved = [s.name for s in stage.scene.surface if s.shape in ("convex", "concave")]
    if curved:
        found.append(SceneFinding("mirror", text("scene.curved", surfaces=", ".join(curved))))
    found += _hollow(stages, wording)
    found += _outdoors(stages, wording)
    return tuple(found)


def _hollow(stages: Sequence[Stage], wording: Wording) -> list[SceneFinding]:
    """Name the mirrors whose shape is not stated, and how far a hollow object that is not listed sends the beam."""
    unknown: list[str] = []
    nowhere: list[str] = []
    farthest = 0.0
    for stage, context in ((one, context) for one in stages for context in one.contexts):
        for pose in stage.poses(context, "running") if context.setup.fitted else ():
            for item in stage.lit(context, pose):
                if item.mirror and item.shape == "unknown":
                    unknown.append(item.name)
                if item.mirror and item.bends and not item.placed and not item.along:
                    nowhere.append(f"{context.laser.name}, {context.setup.name}")
            if not stage.case.settings.surfaces_complete:
                profile = stage.beam_profile(context, "eye", context.duration("mirror")[0])
                work = stage.work_distance(context)
                hollow = unlisted(pose, work, "unknown")
                bent = curved_sources(context, pose, hollow, stage.spots(context, pose, hollow), profile)
                farthest = max([farthest, *(source.reach for source in bent)])
    found = []
    if nowhere:
        names = ", ".join(dict.fromkeys(nowhere))
        found.append(SceneFinding("mirror", wording.text("scene.no_work_distance", setups=names), refuses=True))
    if unknown:
        names = ", ".join(wording.say(name) for name in dict.fromkeys(unknown))
        found.append(SceneFinding("mirror", wording.text("scene.unknown_shape", surfaces=names)))
    if farthest > 0.0:
        away = format_quantity(farthest, "m", 2, "up")
        found.append(SceneFinding("mirror", wording.text("scene.hollow_unlisted", distance=away)))
    return found


def rule_findings(rules: tuple[SpectatorRule, ...], wording: Wording) -> tuple[SceneFinding, ...]:
    """Return a finding for each rule that is not met, which refuses the verdict, or that cannot be judged."""
    keys = {"not met": "scene.rule_not_met", "cannot be judged from this case": "scene.rule_not_judged"}
    return tuple(
        SceneFinding(
            "spectator",
            wording.text(
                keys[rule.outcome],
                pack=wording.say(rule.pack_name),
                rule=wording.say(rule.rule),
                words=wording.say(rule.words),
            ),
            refuses=rule.outcome == "not met",
            subject=rule.rule,
        )
        for rule in rules
        if rule.outcome in keys
    )


def _of_barrier(stage: Stage, barrier: BarrierLine, wording: Wording) -> list[SceneFinding]:
    text, name = wording.text, barrier.name
    found = []
    # relied on: rated, or named as what protects somebody or ends a beam; what is merely there refuses nothing
    relied = barrier.rated or any(b.name == name and b.protects for b in stage.case.barrier)
    relied = relied or any(t.stop == name for t in stage.scene.target)
    failing = [w for w in barrier.ways if w.fitted and not w.holds and barrier.kind == "barrier"]
    for way in failing:
        key = "scene.barrier_fails" if way.asked else "scene.barrier_no_end"
        words = text(
            key,
            barrier=name,
            way=text(f"way.{way.way}"),
            laser=way.laser,
            setup=way.setup,
            away="–" if way.away is None else format_quantity(way.away, "m", 3, "down"),
            verdict=wording.say(way.verdict).removeprefix(text("barriers.fails")).lstrip(" :"),
        )
        if way.asked or way.way == "direct":
            found.append(SceneFinding("barrier", words, refuses=way.asked and relied, subject=name))
    judged = {window.name for window in barrier.windows}
    for gap in barrier.openings:
        if gap.open:
            words = text("scene.light_passes", barrier=name, kind=text(_KINDS[gap.kind]), name=gap.name)
            clear = gap.kind == "window" and gap.name not in judged
            found.append(SceneFinding("failing window" if clear else "gap", words, subject=name))
    asked = {(way.way, way.laser, way.setup) for way in barrier.ways if way.asked}
    for window in barrier.windows:
        if window.fitted:
            words = text(
                "scene.view_window", name=window.name, barrier=name, way=text(f"way.{window.way}"),
                laser=window.laser, words=wording.say(window.words),
            )  # fmt: skip
            refuses = not window.holds and relied and (window.way, window.laser, window.setup) in asked
            found.append(SceneFinding("window" if window.holds else "failing window", words, refuses, name))
    if barrier.kind == "barrier" and barrier.needed_height is not None and not barrier.top >= barrier.needed_height:
        words = text(
            "scene.too_low", barrier=name, top=f"{barrier.top:g} m", person=barrier.needed_for,
            needed=_up(barrier.needed_height),
        )  # fmt: skip
        found.append(SceneFinding("barrier", words, subject=name))
    return found


def _reached_over(barriers: tuple[BarrierLine, ...], wording: Wording) -> list[SceneFinding]:
    low = [b for b in barriers if b.reach_over and b.kind != "terrain"]
    names = ", ".join(f"'{b.name}' ({b.top:g} m)" for b in low)
    words = wording.text("scene.reach_over", barriers=names, away=f"{ARM:g} m", usual=f"{REACH:g} m")
    return [SceneFinding("barrier", words, subject=low[0].name)] if low else []


def _behind(one: BeyondTarget, wording: Wording) -> list[SceneFinding]:
    text = wording.text
    found = []
    if not one.ends_at:
        far = format_quantity(one.distance, "m", 3, "up")
        words = text("scene.no_stop", target=one.target, laser=one.laser, distance=far)
        found.append(SceneFinding("beyond target", words, subject=one.target))
    if one.backing_irradiance is not None and one.ignition_threshold is not None:
        words = text(
            "scene.below_threshold" if one.can_ignite is False else "scene.can_ignite",
            what=one.behind or text("scene.what_stands_behind"),
            distance=format_quantity(one.backing_distance or 0.0, "m", 3, "down"),
            target=one.target,
            laser=one.laser,
            falls=format_quantity(one.backing_irradiance / 1e4, "W/cm2", 3, "up"),
            threshold=format_quantity(one.ignition_threshold / 1e4, "W/cm2", 3, "down"),
            source=wording.say(one.ignition_source),
        )
        found.append(SceneFinding("ignition", words, subject=one.target))
    elif not one.behind:
        found.append(SceneFinding("ignition", text("scene.behind_unknown", target=one.target), subject=one.target))
    return found


def _set_ups(stage: Stage, zones: tuple[ZoneShape, ...], wording: Wording) -> list[SceneFinding]:
    found = []
    for zone in zones:
        if zone.kind == "eye direct" and zone.worst and not zone.fitted:
            control = stage.scene.right_setup_control or wording.text("scene.no_setup_control")
            words = wording.text("scene.right_setup", laser=zone.laser, setup=zone.setup, control=control)
            found.append(SceneFinding("set-up", words, subject=zone.laser))
    return list(dict.fromkeys(found))


def _outdoors(stages: tuple[Stage, ...], wording: Wording) -> list[SceneFinding]:
    outdoor = stages[0].scene.outdoor
    if outdoor is None:
        return []
    found = []
    if outdoor.behind in ("sky", "unknown"):
        key = "scene.sky_behind" if outdoor.behind == "sky" else "scene.unknown_behind"
        found.append(SceneFinding("outdoors", wording.text(key)))
    if outdoor.wet:
        found.append(SceneFinding("outdoors", wording.text("scene.wet_ground")))
    for number, context in enumerate(stages[0].contexts):
        if not context.setup.fitted:
            continue
        pairs = [(stage, stage.contexts[number]) for stage in stages]
        above = [[s.directions.box().elevation[1] for s in stage.sources(c, "direct", "eye")] for stage, c in pairs]
        for same in zip(*above, strict=True):
            high = max(same, key=badness)
            if not high <= 0.0:
                name = context.laser.name
                words = wording.text("scene.above_horizon", laser=name, angle=f"{math.degrees(high):.1f} deg")
                found.append(SceneFinding("outdoors", words, subject=name))
        found += in_open_air(pairs, wording)
    found.append(SceneFinding("outdoors", wording.text("scene.weather")))
    return list(dict.fromkeys(found))


def in_open_air(pairs: Sequence[tuple[Stage, Context]], wording: Wording) -> list[SceneFinding]:
    """Return how far the beam reaches with loss in the air, and how far it disturbs sight, for one laser outdoors.

    Parameters
    ----------
    pairs : sequence of (Stage, Context)
        The laser at every corner of the tolerances; the farthest reach counts.
    wording : Wording
        Language of the findings.
    """
    found, name = [], pairs[0][1].laser.name
    outdoor = pairs[0][0].scene.outdoor
    low, high = KRUSE_COVERS
    visibility = None if outdoor is None else outdoor.visibility
    if visibility is not None and all(low <= context.wavelength <= high for _, context in pairs):
        reaches = []
        for stage, context in pairs:
            criterion = stage.result(context).zone("direct", "eye").criterion
            amount, limit, aperture = criterion.amount, criterion.limit, criterion.limiting_aperture
            loss = kruse_attenuation(float(visibility), context.wavelength)
            reaches.append((attenuated_distance(amount, limit, aperture, context.beam, loss), criterion))
        both, criterion = max(reaches, key=lambda pair: badness(pair[0][1]))
        words = wording.text(
            "scene.attenuated",
            laser=name,
            without=_up(max((one[0] for one, _ in reaches), key=badness)),
            attenuated=_up(both[1]),
            visibility=visibility.typed,
            tissue=wording.text(f"tissue.{criterion.tissue}"),
            rule_set=criterion.rule_set,
            duration=f"{criterion.duration:g} s",
        )
        found.append(SceneFinding("outdoors", words, subject=name))
    keep: dict[float, float] = {}
    dim, bright = wave_span(context for _, context in pairs)
    brightest = min(max(555e-9, dim), bright)  # m; nearest to where the eye sees best
    for stage, context in pairs:
        power = context.emission("eye", context.duration("direct")[0]).power
        distance = stage.result(context).zone("direct", "eye").distance
        for one in interference(power, brightest, context.beam, distance) if power > 0.0 else ():
            keep[one.level] = max(keep.get(one.level, one.to_keep), one.to_keep, key=badness)
    for level, reach in keep.items():
        shown = f"{level * 100.0:g} uW/cm2"  # as the levels are printed
        words = wording.text("scene.interference", laser=name, reach=_up(reach), level=shown)
        found.append(SceneFinding("outdoors", words, subject=name))
    lit = any(dim <= 700e-9 and c.emission("eye", c.duration("direct")[0]).power > 0.0 for _, c in pairs)
    if found and lit:
        found.append(SceneFinding("outdoors", wording.text("scene.authority"), subject=name))
    return found


def _up(distance: float) -> str:
    return format_quantity(distance, "m", 3, "up")
