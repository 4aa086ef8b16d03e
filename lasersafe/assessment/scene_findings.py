"""What a scene shows that somebody has to know, in the language of the wording."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

from lasersafe.assessment import faces
from lasersafe.assessment.aims import curved_sources, reaching, unlisted
from lasersafe.assessment.calculation import hollow_steps
from lasersafe.assessment.context import SCATTERED, Context, wave_span
from lasersafe.assessment.distances import with_loss
from lasersafe.assessment.scene_barriers import ARM, REACH
from lasersafe.assessment.scene_hits import known_of, not_below, person_places, shown_above
from lasersafe.assessment.scene_matrix import hit_of
from lasersafe.assessment.stage import Stage, kept
from lasersafe.hazard.other_rules import VISIBLE, interference, photopic_factor
from lasersafe.optics.viewing import kruse_attenuation
from lasersafe.quantity import format_quantity, times
from lasersafe.records import badness
from lasersafe.records.scene import BarrierLine, BeyondTarget, SceneFinding, SpectatorRule
from lasersafe.wording import Wording, inner

if TYPE_CHECKING:
    from lasersafe.models import Target
    from lasersafe.scene.beams import ScatterProfile
    from lasersafe.scene.lights import Light
    from lasersafe.scene.sources import Source

    Together = Sequence[tuple[list[Context], list[list[Light]]]]

KRUSE_COVERS = (400e-9, 2.5e-6)  # m; elsewhere no loss in the air is counted
_MIRRORS = "mirror", "convex mirror", "concave mirror"
_LEFT_OUT = {  # what is in no zone, line or map; all but faults refuses the verdict
    "no_work_distance", "bent_twice", "many_ways", "scatter_sent_on", "floor_lit_anyhow", "at_once", "gathered",
    "fault",
}  # fmt: skip
_KINDS = {"door": "scene.door", "window": "scene.window", "gap": "scene.gap"}


Finding = Callable[..., SceneFinding]


def _finding(
    wording: Wording, kind: str, key: str, subject: str = "", /, *, refuses: bool = False, **words: object
) -> SceneFinding:
    name = key.removeprefix("scene.")
    left_out = wording.text(f"left_out.{name}", **words) if name in _LEFT_OUT else ""
    return SceneFinding(kind, wording.text(key, **words), refuses, subject, left_out=left_out)


def findings_of(
    stages: tuple[Stage, ...],
    beyond: tuple[BeyondTarget, ...],
    barriers: tuple[BarrierLine, ...],
    together: Mapping[str, Together],
    wording: Wording,
) -> tuple[SceneFinding, ...]:
    """Return the findings of a scene, those on the target list first.

    Parameters
    ----------
    stages : tuple of Stage
        The scene at every corner of the tolerances.
    beyond, barriers : tuple
        The worst of all corners.
    together : mapping
        For eye and skin, of each set of lasers that adds the light of each laser.
    wording : Wording
        Language of the findings.
    """
    say, assumed, scene = partial(_finding, wording), [], stages[0].scene
    targets = {target.name: target for target in scene.target}
    fired = {name: {one.laser for one in beyond if one.target == name} for name in targets}
    lit = {
        face.face.name
        for context in stages[0].fitted for pose in stages[0].poses(context, "running")
        for face in stages[0].lit_faces(context, pose, mirrored=False)
    }  # fmt: skip
    if scene.one_at_a_time and len(stages[0].fitted) > 1:  # what the numbers rest on
        assumed = [say("one at a time", "scene.one_at_a_time", reason=scene.one_at_a_time_reason)]
    if unled := [c.laser.name for c in stages[0].fitted if c.laser.fibre is False]:
        assumed.append(say("no fibre", "scene.no_fibre", lasers=", ".join(unled)))
    low, over_edges = [b for b in barriers if b.reach_over and b.kind != "terrain"], []
    if low:
        edges, away, usual = ", ".join(f"'{b.name}' ({b.top:g} m)" for b in low), f"{ARM:g} m", f"{REACH:g} m"
        over_edges = [say("barrier", "scene.reach_over", low[0].name, barriers=edges, away=away, usual=usual)]
    return (
        *_targets(stages[0], say),
        *itertools.chain.from_iterable(
            _behind(
                one, targets[one.target], lit, len(fired[one.target]) > 1 and stages[0].case.adds_lasers, wording, say
            )
            for one in beyond
        ),
        *dict.fromkeys(_set_ups(stages, wording, say)),
        *itertools.chain.from_iterable(_of_barrier(stages, barrier, wording, say) for barrier in barriers),
        *over_edges,
        *_mirrors(stages, wording, say),
        *_sent_on(stages, wording, say),
        *_at_once(stages, together, wording, say),
        *itertools.chain.from_iterable(_gathered(one, wording, say) for one in stages),
        *_outdoors(stages, wording, say),
        *assumed,
    )


def faults_not_drawn(far: Mapping[tuple[str, str, str], float], wording: Wording) -> Iterator[SceneFinding]:
    """Name the faults whose beam goes on beyond zones and lines, as `faults_beyond` gives them."""
    farthest: dict[str, float] = {}
    for (laser, _, _), reach in far.items():
        farthest[laser] = max(farthest.get(laser, 0.0), reach)
    every = ", ".join(f"{laser} ({format_quantity(reach, 'm', 3, 'up')})" for laser, reach in farthest.items())
    for (laser, setup, fault), reach in far.items():
        yield _finding(
            wording, "fault", "scene.fault", laser, laser=laser, setup=setup, fault=wording.text(f"way.{fault}"),
            distance=format_quantity(reach, "m", 3, "up"), lasers=every,
        )  # fmt: skip


def _targets(stage: Stage, say: Finding) -> Iterator[SceneFinding]:
    for laser in {c.laser.name: c for c in stage.contexts}.values():
        name = laser.laser.name
        if any(one.any_way for one in stage.scene.aim if one.laser == name):
            yield say("aim", "scene.any_way", name, laser=name)
        targets = [target.name for target in laser.targets]
        if targets:
            yield say("target list", "scene.target_list", name, laser=name, targets=", ".join(targets))
        else:
            yield say("target list", "scene.no_target_list", name, refuses=True, laser=name)


def _mirrors(stages: Sequence[Stage], wording: Wording, say: Finding) -> Iterator[SceneFinding]:
    """Name the mirrors whose shape is not stated, and how far a hollow object that is not listed sends the beam."""
    unknown: list[str] = []
    nowhere: list[str] = []
    twice: list[str] = []
    many: list[str] = []
    sent: list[tuple[Context, Source]] = []
    for stage, context in ((one, context) for one in stages for context in one.fitted):
        bent = [one for one in stage.sources(context, "mirror", "eye") if one.bend != "flat"]
        twice += [one.surface for one in bent if one.bends > 1]
        many += [one.surface for one in bent if one.unbounded]
        for pose in stage.poses(context, "running"):
            mirrors = [item for item in stage.lit(context, pose) if item.mirror]
            unknown += [item.name for item in mirrors if item.shape == "unknown"]
            if any(item.bends and not item.placed and not item.along for item in mirrors):
                nowhere.append(f"{context.laser.name}, {context.setup.name}")
            if not stage.case.settings.surfaces_complete:
                profile = stage.beam_profile(context, "eye", context.duration("mirror")[0])
                hollow = unlisted(pose, stage.work_distance(context), "unknown")
                spots = stage.spots(context, pose, hollow)
                made = curved_sources(context, pose, hollow, spots, profile)
                sent += [(context, source) for source in reaching(made)]
    curved = [s.name for s in stages[0].scene.surface if s.shape in ("convex", "concave")]
    if curved:
        yield say("mirror", "scene.curved", surfaces=", ".join(curved))
    if nowhere:
        yield say("mirror", "scene.no_work_distance", refuses=True, setups=", ".join(dict.fromkeys(nowhere)))
    if unknown:
        yield say(
            "mirror", "scene.unknown_shape", surfaces=", ".join(wording.say(name) for name in dict.fromkeys(unknown))
        )
    for key, names in (("scene.bent_twice", twice), ("scene.many_ways", many)):
        if names:
            yield say("mirror", key, refuses=True, surfaces=", ".join(map(wording.say, dict.fromkeys(names))))
    farthest = max(sent, key=lambda one: one[1].reach, default=None)
    if farthest is not None and (reach := farthest[1].reach) > 0.0:
        told = say("mirror", "scene.hollow_unlisted", distance=format_quantity(reach, "m", 2, "up"))
        yield replace(told, steps=tuple(hollow_steps(*farthest)))


def _sent_on(stages: Sequence[Stage], wording: Wording, say: Finding) -> Iterator[SceneFinding]:
    """Name the people whom scatter may reach over a further mirror, or from a floor that one may light anywhere.

    Those whom the light of mirrors, or scatter that is followed, is not proven below for have rows that say more.
    """
    people, places = stages[0].scene.person, person_places(stages[0], "eye")
    asked: list[tuple[list[int], list[Light]]] = []
    noted: list[tuple[int, str, str]] = []
    for stage, (number, context) in ((one, laser) for one in stages for laser in enumerate(one.fitted)):
        time = context.duration("scatter")[0]
        profiles, lights = _over_mirrors(stage, context, time)
        beams = [
            (one, stage.walls(context, "mirror")) for one in stage.sources(context, "mirror", "eye")
            if not one.aimed or one.directions.box().everywhere
        ]  # fmt: skip
        times = dict.fromkeys(SCATTERED, time) | dict.fromkeys(_MIRRORS, context.duration("mirror")[0])
        below = [
            {
                way for way in times
                if (hit := hit_of(stage, context, person.name, way, "eye", times[way])) is None or hit.ratio <= 1.0
            }
            for person in (people if lights or beams else ())
        ]  # fmt: skip
        asked.append(([row for row, ways in enumerate(below) if ways.issuperset(SCATTERED)], lights))
        rows = [row for row, ways in enumerate(below) if beams and len(ways) == len(times)]
        floors = list[faces.LitFace]()
        if rows:
            reach = max(stage.scatter_reach(one, 1.0) for one in profiles)
            low, high = places.low[rows, 2] - reach, places.high[rows, 2] + reach
            levels = faces.faces_of(stage.scene, reach, aslant=stage.case.settings.scatter_model == "lambert")
            near = [one for one in levels if one.level and ((low <= one.corner[2]) & (one.corner[2] <= high)).any()]
            floors = faces.lit_faces([(beams, near)], faces.people_of(stage.scene))[0]
        asked.append((rows, [
            (one.source(profile, stage.scatter_reach(profile, one.share)), stage.walls(context, "scatter"))
            for one in floors for profile in profiles
        ]))  # fmt: skip
        noted += [(number, context.laser.name, words) for words in ("scene.scatter_sent_on", "scene.floor_lit_anyhow")]
    found: dict[tuple[int, int, str, str], tuple[float, str]] = {}
    for (number, laser, words), most in zip(noted, not_below(stages[0], places, asked), strict=True):
        for row, now in most.items():
            key = number, row, laser, words
            found[key] = max(found.get(key, now), now)
    for (_, row, laser, words), (ratio, surface) in sorted(found.items(), key=lambda one: one[0][:2]):
        name, facts = people[row].name, {"laser": laser, "surface": wording.say(surface)}
        facts["ratio"] = format_quantity(ratio, "1", 2, "up")
        yield say("mirror", words, name, refuses=True, person=name, **facts)


@kept("walls")
def _over_mirrors(stage: Stage, context: Context, time: float) -> tuple[list[ScatterProfile], list[Light]]:
    """Return the scatter of each wavelength, and all that goes on over one further mirror and over one more."""
    every: list[Source] = []
    placed = {item.name: item for pose in stage.poses(context, "running") for item in stage.lit(context, pose)}
    parts = zip(context.every.values(), stage.portions(context, "eye", time, spread=False), strict=True)
    profiles = [stage.scatter_profile(own, "eye", time, portion) for own, portion in parts]
    walls = stage.walls(context, "direct")
    sent = [one for way in SCATTERED for one in stage.sources(context, way, "eye")]
    for _ in range(2):
        sent = faces.scatter_over_mirrors(sent, stage.scene, placed.values(), walls, profiles, stage.scatter_reach)
        every += sent
    return profiles, [(one, stage.walls(context, "scatter")) for one in every]


def _at_once(
    stages: Sequence[Stage], together: Mapping[str, Together], wording: Wording, say: Finding
) -> Iterator[SceneFinding]:
    """Name the people who may get light on several ways at once, below the limit on each and above it on all."""
    people = range(len(stages[0].scene.person))
    for tissue, groups in together.items():
        known = known_of(stages[0], "at once", [own for _, lasers in groups for own in lasers])
        left, places = [row for row in people if row not in known], person_places(stages[0], tissue)
        found = faces.at_once(stages[0].case, groups, places, left, tissue, partial(shown_above, stages[0], tissue))
        known |= {row: found.get(row, (0.0, False)) for row in left}
        for row, (ratio, of_one) in ((row, known[row]) for row in people if known[row][0] > 1.0):
            name, most = stages[0].scene.person[row].name, times(ratio)
            facts = {"person": name, "tissue": wording.text(f"tissue.{tissue}")}
            told = say("mirror", "scene.at_once", name, refuses=True, ratio=most, **facts)
            yield told if of_one else replace(told, left_out="")  # zones and map add the strongest way of each laser


def _gathered(stage: Stage, wording: Wording, say: Finding) -> dict[SceneFinding, None]:
    """Name the surfaces that may be hollow and gather what view windows let through above a limit again."""
    found = dict[SceneFinding, None]()
    weakest = min(
        (float(o.optical_density) for b in stage.scene.barrier for o in b.opening if o.optical_density is not None),
        default=math.inf,
    )
    for context in stage.fitted if math.isfinite(weakest) else ():
        walls = stage.walls(context, "direct")
        items = [one for pose in stage.poses(context, "running") for one in stage.lit(context, pose) if one.placed]
        hollow = [one.as_mirror for one in items if one.mirror and one.as_mirror.gathers]
        for one, beam in itertools.product(hollow, stage.sources(context, "direct", "eye")):
            if faces.gathers_behind(one, 10.0**-weakest, (beam, walls), stage.screens):
                facts = {"surface": wording.say(one.name), "laser": context.laser.name}
                found[say("mirror", "scene.gathered", one.name, refuses=True, **facts)] = None
    return found


def rule_findings(rules: tuple[SpectatorRule, ...], wording: Wording) -> tuple[SceneFinding, ...]:
    """Return a finding for each rule that is not met, which refuses the verdict, or that cannot be judged."""
    keys = {"not met": "scene.rule_not_met", "cannot be judged from this case": "scene.rule_not_judged"}
    return tuple(
        _finding(
            wording, "spectator", keys[rule.outcome], rule.rule, refuses=rule.outcome == "not met",
            pack=wording.say(rule.pack_name), rule=wording.say(rule.rule), words=wording.say(rule.words),
        )
        for rule in rules if rule.outcome in keys
    )  # fmt: skip


def _of_barrier(
    stages: Sequence[Stage], barrier: BarrierLine, wording: Wording, say: Finding
) -> Iterator[SceneFinding]:
    text, name, stage = wording.text, barrier.name, stages[0]
    # relied on: rated, or named as what protects somebody or ends a beam; what is merely there refuses nothing
    relied = barrier.rated or any(b.name == name and b.protects for b in stage.case.barrier)
    relied = relied or any(t.stop == name for t in stage.scene.target)
    for way in barrier.ways if barrier.kind == "barrier" else ():
        if way.fitted and not way.holds and (way.asked or way.way == "direct"):
            key = "scene.barrier_fails" if way.asked else "scene.barrier_no_end"
            yield say(
                "barrier", key, name, refuses=way.asked and relied, barrier=name, way=text(f"way.{way.way}"),
                laser=way.laser, setup=way.setup,
                away="–" if way.away is None else format_quantity(way.away, "m", 3, "down"),
                verdict=wording.say(inner(way.verdict, "why")),
            )  # fmt: skip
    judged = {window.name for window in barrier.windows}
    for gap in barrier.openings:
        if gap.open:
            kind = "failing window" if gap.kind == "window" and gap.name not in judged else "gap"
            yield say(kind, "scene.light_passes", name, barrier=name, kind=text(_KINDS[gap.kind]), name=gap.name)
    asked = {(way.way, way.laser, way.setup) for way in barrier.ways if way.asked}
    for window in barrier.windows:
        if window.fitted:
            yield say(
                "window" if window.holds else "failing window", "scene.view_window", name,
                refuses=not window.holds and relied and (window.way, window.laser, window.setup) in asked,
                name=window.name, barrier=name, way=text(f"way.{window.way}"), laser=window.laser,
                words=wording.say(window.words),
            )  # fmt: skip
    if barrier.kind == "barrier" and barrier.needed_height is not None and not barrier.top >= barrier.needed_height:
        needed = _up(barrier.needed_height)
        top, person = f"{barrier.top:g} m", barrier.needed_for
        yield say("barrier", "scene.too_low", name, barrier=name, top=top, person=person, needed=needed)


def _behind(
    one: BeyondTarget, target: Target, lit: Container[str], several: bool, wording: Wording, say: Finding
) -> Iterator[SceneFinding]:
    what = one.behind or wording.text("scene.what_stands_behind")
    if not one.ends_at:
        far = format_quantity(one.distance, "m", 3, "up")
        yield say("beyond target", "scene.no_stop", one.target, target=one.target, laser=one.laser, distance=far)
        if one.behind and one.backing_distance is None:
            yield say("beyond target", "scene.behind_nowhere", one.target, what=what, target=one.target)
    if faces.backing_name(target) in lit and target.behind_reflectance is None:
        words = {"what": what, "target": one.target, "share": f"{faces.MATT:g}"}
        yield say("beyond target", "scene.behind_matt", one.target, **words)
    if one.backing_irradiance is not None and one.ignition_threshold is not None:
        known = math.isfinite(one.backing_irradiance)  # not where a focus may lie on it
        falls = f"{format_quantity(one.backing_irradiance, '1', 3, 'up') if known else '∞'} W/m2"
        falls += wording.text("say.all_together") if several else ""
        yield say(
            "ignition", "scene.below_threshold" if one.can_ignite is False else "scene.can_ignite", one.target,
            what=what, target=one.target, laser=one.laser,
            distance=format_quantity(one.backing_distance or 0.0, "m", 3, "down"),
            falls=falls,
            threshold=f"{format_quantity(one.ignition_threshold, '1', 3, 'down')} W/m2",
            source=wording.say(one.ignition_source),
        )  # fmt: skip
    elif not one.behind:
        yield say("ignition", "scene.behind_unknown", one.target, target=one.target)


def _set_ups(stages: Sequence[Stage], wording: Wording, say: Finding) -> Iterator[SceneFinding]:
    """Name the set-up of each laser that reaches farthest, where that is not the one that is fitted."""
    for stage, context in ((one, own) for one in stages for own in one.placed if not own.setup.fitted):
        same = [setup for setup in stage.setups if setup.laser == context.laser.name]
        top = max(same, key=lambda setup: badness(setup.zone("direct", "eye").distance))
        if top.setup == context.setup.name and not top.zone("direct", "eye").distance <= 0.0:
            control = stage.scene.right_setup_control or wording.text("scene.no_setup_control")
            yield say("set-up", "scene.right_setup", top.laser, laser=top.laser, setup=top.setup, control=control)


def _outdoors(stages: tuple[Stage, ...], wording: Wording, say: Finding) -> dict[SceneFinding, None]:
    outdoor = stages[0].scene.outdoor
    if outdoor is None:
        return {}
    found = []
    if outdoor.behind in ("sky", "unknown"):
        found.append(say("outdoors", "scene.sky_behind" if outdoor.behind == "sky" else "scene.unknown_behind"))
    if outdoor.wet:
        found.append(say("outdoors", "scene.wet_ground"))
    for number, context in enumerate(stages[0].contexts):
        if not context.setup.fitted:
            continue
        pairs, name = [(stage, stage.contexts[number]) for stage in stages], context.laser.name
        above = [[s.directions.box().elevation[1] for s in stage.sources(c, "direct", "eye")] for stage, c in pairs]
        highest = [max(same, key=badness) for same in zip(*above, strict=True)]
        found += [
            say("outdoors", "scene.above_horizon", name, laser=name, angle=f"{math.degrees(high):.1f} deg")
            for high in highest
            if not high <= 0.0
        ]
        found += in_open_air(pairs, wording)
    return dict.fromkeys([*found, say("outdoors", "scene.weather")])


def in_open_air(pairs: Sequence[tuple[Stage, Context]], wording: Wording) -> list[SceneFinding]:
    """Return how far the beam reaches with loss in the air, and how far it disturbs sight, for one laser outdoors.

    Parameters
    ----------
    pairs : sequence of (Stage, Context)
        The laser at every corner of the tolerances; the farthest reach counts.
    wording : Wording
        Language of the findings.
    """
    say, found, name = partial(_finding, wording), [], pairs[0][1].laser.name
    outdoor = pairs[0][0].scene.outdoor
    low, high = KRUSE_COVERS
    visibility = None if outdoor is None else outdoor.visibility
    lines = [list(context.every.values()) for _, context in pairs]
    if visibility is not None and all(low <= own.wavelength <= high for same in lines for own in same):
        reaches = []
        for (stage, context), same in zip(pairs, lines, strict=True):
            zone = stage.result(context).zone("direct", "eye")
            loss = min(kruse_attenuation(float(visibility), own.wavelength) for own in same)
            reaches.append((zone.distance, with_loss(context, zone, loss), zone.criterion))
        _, attenuated, criterion = max(reaches, key=lambda one: badness(one[1]))
        farthest = max((bare for bare, *_ in reaches), key=badness)
        found.append(
            say(
                "outdoors", "scene.attenuated", name, laser=name, without=_up(farthest), attenuated=_up(attenuated),
                visibility=visibility.typed, tissue=wording.text(f"tissue.{criterion.tissue}"),
                rule_set=criterion.rule_set, duration=f"{criterion.duration:g} s",
            )
        )  # fmt: skip
    keep: dict[float, float] = {}
    spans = [wave_span(same) for same in zip(*lines, strict=True)]
    brightest = [min(max(555e-9, dim), bright) for dim, bright in spans]  # m; nearest to where the eye sees best
    for (stage, context), same in zip(pairs, lines, strict=True):
        distance = stage.result(context).zone("direct", "eye").distance
        seen = [
            (light, own, own.emission("eye", own.duration("direct")[0]).power * photopic_factor(light))
            for light, own in zip(brightest, same, strict=True) if VISIBLE[0] <= light <= VISIBLE[1]
        ]  # fmt: skip
        power = math.fsum(one for *_, one in seen)  # of all that is seen, in each of the beams
        for light, own, _ in seen if power > 0.0 else ():
            for one in interference(power / photopic_factor(light), light, own.beam, distance):
                keep[one.level] = max(keep.get(one.level, one.to_keep), one.to_keep, key=badness)
    for level, reach in keep.items():
        shown = f"{level * 100.0:g} uW/cm2"  # as the levels are printed
        found.append(say("outdoors", "scene.interference", name, laser=name, reach=_up(reach), level=shown))
    lit = any(
        dim <= 700e-9 and own.emission("eye", own.duration("direct")[0]).power > 0.0
        for same in lines for (dim, _), own in zip(spans, same, strict=True)
    )  # fmt: skip
    if found and lit:
        found.append(say("outdoors", "scene.authority", name))
    return found


def _up(distance: float) -> str:
    return format_quantity(distance, "m", 3, "up")
