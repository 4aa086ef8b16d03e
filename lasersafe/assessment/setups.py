"""The results of one set-up: zones, chart, steps."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import TypeVar

import numpy as np

from lasersafe.assessment.beams import beam_steps, beam_words
from lasersafe.assessment.calculation import amount_step, distance_steps, limit_steps, scatter_steps
from lasersafe.assessment.context import Context, aid_of, setting_words
from lasersafe.assessment.lines import every_context, zone_with_lines
from lasersafe.assessment.variation import zone_distances
from lasersafe.hazard.aided_reach import aided_reach
from lasersafe.hazard.zones import Reach, direct_reach, scatter_reach, zone
from lasersafe.optics.aperture import mean_exposure
from lasersafe.optics.checks import unique
from lasersafe.optics.propagation import diameters
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.results import ChartData, ChartMark, Curve, LimitLine, SetupResult, Step, Zone

TISSUES = ("eye", "skin")
CLOSEST_TO_SPOT = 0.1  # m; common practice, no source: nobody looks at a spot from nearer
_POINTS = 61
T = TypeVar("T")


def _duration_step(duration: float, reason: str) -> Step:
    return Step(
        "t", "exposure duration", "by wavelength and way", reason, duration, "s", "design rule, docs/method.md", "read"
    )


def _farthest(every: Iterable[tuple[T, dict[str, Reach]]]) -> tuple[T, dict[str, Reach]]:
    """Return, of several settings, the one that decides, and the farthest reach under each rule set of any of them."""
    best: dict[str, tuple[Reach, T]] = {}
    for setting, reaches in every:
        for name, reach in reaches.items():
            if name not in best or reach.distance > best[name][0].distance:
                best[name] = reach, setting
    decided = max(best, key=lambda name: best[name][0].distance)
    return best[decided][1], {name: reach for name, (reach, _) in best.items()}


def _direct_zone(context: Context, way: str, tissue: str) -> Zone:
    duration, reason = context.duration(way)
    factor, words = (1.0, "") if way == "direct" else context.mirror_reflectance
    by_setting = [
        (emission, {
            name: direct_reach(name, tissue, emission, context.beam, context.wavelength, duration, factor)
            for name in context.rule_sets
        })
        for emission in context.emissions(tissue, duration)
    ]  # fmt: skip
    emission, reaches = _farthest(by_setting)
    note = "" if way == "direct" else f"along the folded path, by way of a flat mirror; {words}"
    found = zone(way, tissue, reaches, "last optic", context.focus, note)
    steps = (
        _duration_step(duration, reason),
        amount_step(emission, found.criterion, factor, words),
        *distance_steps(found.criterion, context.beam, found.distance),
    )
    limit = limit_steps(found.criterion, emission, context.wavelength, duration)
    return replace(found, criterion=replace(found.criterion, steps=limit), steps=steps)


def _aided_zone(context: Context) -> Zone | None:
    """Return the zone of the direct beam for people with optical aids, the extended NOHD, where the case has any."""
    instruments = {aid_of(p) for p in context.case.person if p.aided and p.laser in (None, context.laser.name)}
    if not instruments:
        return None
    lines = list(every_context(context).values())
    duration, reason = max((c.duration("direct") for c in lines), key=lambda pair: pair[0])
    every = [
        ((own, emission), {
            name: aided_reach(name, emission, own.beam, own.wavelength, duration, instrument)
            for name in context.rule_sets
        })
        for instrument in sorted(instruments, key=lambda one: (one.name, one.objective))
        for own in lines
        for emission in own.emissions("eye", duration)
    ]  # fmt: skip
    (own, emission), reaches = _farthest(every)
    aperture = max(reaches.values(), key=lambda r: r.distance).criterion.limiting_aperture
    words = ", ".join(sorted(one.words(context.wavelength, aperture) for one in instruments))
    if len(lines) > 1:
        words += f"; the fractions of {len(lines)} wavelengths add"
        reaches = {
            name: Reach(float(zone_distances(context, "aided", "eye", {}, (name,))), reach.criterion)
            for name, reach in reaches.items()
        }
    found = zone("aided", "eye", reaches, "last optic", context.focus, f"through {words}")
    limit = limit_steps(found.criterion, emission, own.wavelength, duration)
    steps = (
        _duration_step(duration, reason),
        amount_step(emission, found.criterion, 1.0, ""),
        Step(
            "r", "farthest distance from the last optic, with an optical aid", "collected power / A(D_a) = limit",
            f"{words}; searched from the limit outwards", found.distance, "m", "ANSI-Z136-1, appendix B", "memory",
        ),
    )  # fmt: skip
    return replace(found, criterion=replace(found.criterion, steps=limit), steps=steps)


def _scatter_zone(context: Context, tissue: str) -> Zone:
    duration, reason = context.duration("scatter")
    reflectance, angle, name = context.scatter_surface
    model = context.case.settings.scatter_model
    emission, reaches = _farthest(
        (one, {
            rule_set: scatter_reach(
                rule_set, tissue, one, context.wavelength, duration, reflectance=reflectance, view_angle=angle,
                model=model, spot_diameter=context.spot,
            )
            for rule_set in context.rule_sets
        })
        for one in context.emissions(tissue, duration)
    )  # fmt: skip
    found = zone("scatter", tissue, reaches, "surface", None, f"scattered by: {name}; {model} model")
    steps = (
        _duration_step(duration, reason),
        amount_step(emission, found.criterion, 1.0, ""),
        *scatter_steps(
            found.criterion, reflectance, angle, model, context.spot if tissue == "eye" else 0.0, found.distance
        ),
    )
    seen = max(reaches.values(), key=lambda reach: reach.distance).angle
    limit = limit_steps(found.criterion, emission, context.wavelength, duration, seen)
    return replace(found, criterion=replace(found.criterion, steps=limit), steps=steps)


def _chart(context: Context, zones: tuple[Zone, ...]) -> ChartData:
    direct_eye = next(z for z in zones if z.way == "direct" and z.tissue == "eye")
    scatter_eye = next(z for z in zones if z.way == "scatter" and z.tissue == "eye")
    duration, _ = context.duration("direct")
    emission = context.emission("eye", duration)
    pulsed = emission.kind != "continuous"
    unit = "J/m2" if pulsed else "W/m2"
    amount = emission.pulse_energy if pulsed else emission.power
    marks = [
        ChartMark(p.name, "person", float(p.distance))
        for p in context.case.person
        if p.laser in (None, context.laser.name)
    ] + [
        ChartMark(b.name, "barrier", float(b.distance))
        for b in context.case.barrier
        if b.laser in (None, context.laser.name)
    ]
    far = max([z.distance for z in zones] + [m.distance for m in marks] + [1.0]) * 1.6
    near = min([0.1] + [m.distance / 2.0 for m in marks if m.distance > 0.0])
    place = np.geomspace(near, far, _POINTS)
    if context.focus is not None:
        place = unique(np.concatenate([place, context.focus * np.array([0.9, 0.97, 1.0, 1.03, 1.1])]))
    dx, dy = diameters(context.beam, place)
    direct = mean_exposure(amount, dx, dy, direct_eye.criterion.limiting_aperture, context.beam.profile)
    reflectance, angle, _ = context.scatter_surface
    spread = scatter_exposure(amount, reflectance, place, angle, context.case.settings.scatter_model)
    aperture = f"{direct_eye.criterion.limiting_aperture * 1e3:.3g} mm"
    curves = (
        Curve(f"beam, mean over {aperture}", "", tuple(map(float, place)), tuple(map(float, direct))),
        Curve("scatter, distance from the surface", "", tuple(map(float, place)), tuple(map(float, spread))),
    )
    lines = []
    for name, found in (
        ("eye", direct_eye),
        ("skin", next(z for z in zones if z.way == "direct" and z.tissue == "skin")),
    ):
        criterion = found.criterion
        if criterion.limit_unit == unit:
            lines.append(
                LimitLine(
                    f"{name} limit, {criterion.rule_set}, {criterion.duration:g} s, {criterion.rule}", criterion.limit
                )
            )
    known = bool(lines) and math.isclose(scatter_eye.criterion.limit, lines[0].value, rel_tol=0.02)
    if scatter_eye.criterion.limit_unit == unit and not known:
        criterion = scatter_eye.criterion
        lines.append(LimitLine(f"eye limit for scatter, {criterion.duration:g} s, {criterion.rule}", criterion.limit))
    return ChartData(
        f"{context.laser.name}: {context.setup.name}",
        unit,
        "radiant exposure per pulse" if pulsed else "irradiance",
        curves,
        tuple(lines),
        tuple(marks),
    )


def setup_result(context: Context) -> SetupResult:
    """Return zones, chart and steps of one set-up."""
    zones = tuple(
        zone_with_lines(
            context, _scatter_zone(context, tissue) if way == "scatter" else _direct_zone(context, way, tissue)
        )
        for way in ("direct", "mirror", "scatter")
        for tissue in TISSUES
    )
    aided = _aided_zone(context)
    zones = zones if aided is None else (*zones, aided)
    duration, _ = context.duration("direct")
    setting = ""
    if context.space.adjustable:
        eye = setting_words(context.emission("eye", duration))
        skin = setting_words(context.emission("skin", duration))
        setting = f"worst for the eye: {eye}" + ("" if eye == skin else f"; for the skin: {skin}")
    return SetupResult(
        context.laser.name,
        context.setup.name,
        context.setup.fitted,
        beam_words(context.setup, context.beam),
        setting,
        zones,
        _chart(context, zones),
        beam_steps(context.setup, context.beam),
    )
