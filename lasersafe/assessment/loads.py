"""What falls on the barriers of a scene and on their view windows, and whether they hold."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import shapely
from shapely.ops import substring

from lasersafe.assessment.barriers import beam_numbers, judged, load_of, plain, scatter_numbers, strongest
from lasersafe.assessment.barriers import together as together
from lasersafe.assessment.calculation import corner_text, legs_of, with_waist
from lasersafe.assessment.context import SCATTERED, Context, aid_of
from lasersafe.hazard.barriers import Load, Rating, judge_window, needed_time
from lasersafe.hazard.instruments import Aid
from lasersafe.hazard.scatter import CLOSEST_VIEW
from lasersafe.optics.beam import diameters, peak_exposure
from lasersafe.optics.reflection import scatter_exposure
from lasersafe.records import Criterion, Step
from lasersafe.records.scene import BarrierWay, ViewWindow
from lasersafe.scene.beams import AFAR, FLOAT, LEAST, BeamProfile, ScatterProfile, Vector, farthest_of
from lasersafe.scene.bound import Places, Question, Span, bounds, span
from lasersafe.scene.sources import Source
from lasersafe.scene.walls import Gap, Screen, Walls
from lasersafe.wording import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import Barrier, Scene, SceneBarrier, SceneOpening
    from lasersafe.scene.lights import Light

MODES = ("running", "alignment", "service", "fault")
_ASKEW = 1e-3  # m: less askew on the plan, the box around a wall stands for it
_NEAR_ENOUGH = 1.0005  # times what a single point of a barrier gets
Part = tuple[str, int | None]  # a barrier, or the number of an opening in it
# what falls only by more than the direct beam: by which laser, see `Context.named`, and a verdict where it is by all
Burnt = tuple[tuple[str, str, str], Part, str]
ALL = "", "", ""
Held = TypeVar("Held", BarrierWay, ViewWindow)
_CLEARLY_LIT = 0.3 / LEAST  # times less than the limit: what has that counts as lit, for scatter
_NO_WALLS = Walls()


@dataclass(frozen=True)
class Peak:
    """The most that a laser can bring to a barrier or view window on one way.

    Attributes
    ----------
    irradiance : float
        The highest peak of one watt. [1/m2]
    place : tuple of float, or None
        Where it is; None where no light comes. [m]
    seen : float
        Highest exposure over limit of an eye at a view window. [1]
    """

    irradiance: float
    place: Vector | None
    seen: float = 0.0
    source: Source | None = None  # what brings it
    span: Span | None = None  # the lengths with which that counts there


def barrier_for(stage: Stage, context: Context, name: str) -> Barrier | None:
    """Return the table [[barrier]] of a screen, None when there is none or it is about another laser."""
    found = next((b for b in stage.case.barrier if b.name == name), None)
    return None if found is None or found.laser not in (None, context.laser.name) else found


def peaks_on(wanted: Sequence[tuple[Stage, Context, str, tuple[str, ...]]]) -> list[dict[Part, Peak]]:
    """Return the highest peak irradiance of one watt in some modes [1/m2] on each barrier and view window, and where.

    Nothing that stands between is counted. All wavelengths count as if they had the beam of any of them. Of each laser
    on a way there is one answer. In all modes it says what an eye gets at a window as well.
    """
    asked, named = [], list[tuple[int, Part, list[Source] | None]]()
    for number, (stage, context, way, modes) in enumerate(wanted):
        lights = {
            one: replace(one, profile=stage.in_irradiance(one.profile, 1.0))
            for one in sources_on(stage, context, way, modes)
        }
        spots = {one.profile for one in lights if isinstance(one.profile, ScatterProfile)}
        # lit spots as an eye right at a window sees them
        near: dict[object, ScatterProfile] = {one: replace(one, nearest=CLOSEST_VIEW) for one in spots}
        for part, screen in parts_of(stage.scene).items():
            own = [one for one in lights if not one.parts or one.surface != part[0]]
            if modes == MODES or part[1] is None:
                bright = [lights[one] for one in own]
                asked.append(Question([[(one, _NO_WALLS) for one in bright]], places_on(screen)))
                named.append((number, part, bright))
            if modes == MODES and part[1] is not None:
                seen = [(replace(one, profile=near.get(one.profile, one.profile)), _NO_WALLS) for one in own]
                for aid in {aid_of(person) for person in context.persons if person.aided}:
                    seen += behind(context, [(as_point(context, one, aid), _NO_WALLS) for one in own], aid)
                asked.append(Question([seen], places_on(screen)))
                named.append((number, part, None))
    found: list[dict[Part, Peak]] = [{} for _ in wanted]
    for (number, part, sources), one in zip(named, bounds(asked, near=_NEAR_ENOUGH), strict=True):
        worst = int(np.argmax(one.upper))
        if sources is None:
            found[number][part] = replace(found[number][part], seen=float(one.upper[worst]))
            continue
        light, (x, y, z) = int(one.light[worst]), one.place[worst].tolist()
        source = None if light < 0 else sources[light]
        seen_at = None if source is None else span((source, _NO_WALLS), one.place[worst], np.zeros(3))
        place = None if source is None else (x, y, z)
        found[number][part] = Peak(float(one.upper[worst]), place, source=source, span=seen_at)
    return found


def scatters(stage: Stage, context: Context, fault: str) -> bool:
    """Return whether the beam of a fault can light what no other row has: it counts there with the scatter of all.

    The fitted beam lights all that a lost lens' beam does where it is not too wide and no wider spot is stated, and a
    head that a fault turns all that a broken fibre does where the case does not say that it stays.
    """
    if fault == "optic lost":
        lost = [context] if context.fault else context.faults(stage.contexts)[fault][0]
        if any(one.lights_less for one in lost):
            return True
        x0, y0, x1, y1 = stage.extent
        profiles = (stage.beam_profile(one, "eye", one.duration("direct")[0]) for one in context.every.values())
        known = min(farthest_of(one.criteria, one.beam, _CLEARLY_LIT) for one in profiles)
        return not known >= math.hypot(x1 - x0, y1 - y0)
    name = context.laser.name
    stays = [one.mode for one in stage.scene.aim if one.laser == name]
    return "fault" in [*stays, *(one.mode for one in stage.case.strike_out if one.laser in (None, name))]


def as_point(context: Context, source: Source, aid: Aid) -> Source:
    """Return a lit spot as it is seen right at a window through an instrument, without credit; a beam as it is."""
    if not isinstance(source.profile, ScatterProfile):
        return source
    gain = max(aid.gain(one.wavelength) for one in context.every.values())
    return replace(source, profile=_from_afar(source.profile), factor=source.factor * max(gain, 1.0))


@lru_cache(maxsize=256)  # one profile for all spots that share theirs: the table of lights asks it once
def _from_afar(profile: ScatterProfile) -> ScatterProfile:
    far = float(profile.ratio(np.array([AFAR]))[0]) * AFAR**2
    return replace(profile, ratio=lambda r: np.asarray(far / np.square(r)), size=0.0, nearest=CLOSEST_VIEW)


def aided(context: Context, criterion: Criterion, instrument: Aid) -> Criterion:
    """Return a comparison as seen through an instrument: over the aperture as imaged, the limit less by the gain."""
    hole, gain = criterion.limiting_aperture, gain_of(context, criterion, instrument)
    return replace(criterion, limiting_aperture=float(instrument.collects(hole)), limit=criterion.limit / gain)


def gain_of(context: Context, criterion: Criterion, instrument: Aid) -> float:
    """Return how many times as much light an instrument brings to an eye, of any wavelength."""
    hole = criterion.limiting_aperture
    return max(1e-12, *(_gain(instrument, c.wavelength, hole) for c in context.every.values()))


_gain = lru_cache(maxsize=256)(Aid.gain)


def behind(context: Context, lights: Sequence[Light], instrument: Aid) -> list[Light]:
    """Return beams against their limits for the bare eye and behind an instrument; scatter as it is."""
    known: dict[int, tuple[Criterion, ...]] = {}
    found = []
    for source, walls in lights:
        if isinstance(source.profile, BeamProfile):
            criteria = source.profile.criteria  # many beams have the same ones
            if id(criteria) not in known:
                known[id(criteria)] = (*(aided(context, c, instrument) for c in criteria), *criteria)
            source = replace(source, profile=replace(source.profile, criteria=known[id(criteria)]))
        found.append((source, walls))
    return found


def sources_on(stage: Stage, context: Context, way: str, modes: tuple[str, ...]) -> list[Source]:
    """Return all light of a way in some modes that can fall on barriers; none gets what it scatters itself.

    A head that in a fault points at a wall or floor next to a barrier can point at the barrier as well: that is more.
    """
    return list(dict.fromkeys(
        source for mode in modes for part in (SCATTERED if way == "scatter" else (way,))
        for source in stage.sources(context, part, "eye", mode) if not (source.parts and mode == "fault")
    ))  # fmt: skip


def places_on(screen: Screen, beside: FLOAT | None = None) -> Places:
    """Return each straight part of a screen as a place, or a place so far beside it [m]."""
    low, high, outlines = [], [], []
    off = np.zeros(3) if beside is None else beside
    for a, b in itertools.pairwise(screen.line):
        low.append(np.array([*np.minimum(a, b), screen.bottom]) + off)
        high.append(np.array([*np.maximum(a, b), screen.top]) + off)
        oblique = min(abs(b[0] - a[0]), abs(b[1] - a[1])) > _ASKEW
        outlines.append(np.array([a, b]) + off[:2] if oblique else None)
    return Places(np.array(low), np.array(high), outlines)


def asked(stage: Stage, context: Context, way: str, entry: SceneBarrier) -> bool:
    """Return whether a case says that a barrier has to stop a laser on a way."""
    barrier = barrier_for(stage, context, entry.name)
    named = any(b.name == entry.name for b in stage.case.barrier)
    stops = way in barrier.must_stop if barrier is not None else not named and entry.rating is not None
    return stops and entry.kind != "terrain"


def unless_fallen(stage: Stage, one: Held, part: Part) -> Held:
    """Return a verdict as it is, or that by which a barrier or view window falls to several lasers on several ways."""
    why = next((why for laser, fallen, why in stage.burnt if (laser, fallen) == (ALL, part)), "")
    falls: dict[str, Any] = {"holds": False, "words" if isinstance(one, ViewWindow) else "verdict": why}
    return replace(one, **falls) if one.holds and why else one


def load_on(stage: Stage, context: Context, way: str, part: Part) -> Load:
    """Return the highest load that can fall on a barrier or window on one way, in any mode; a single pulse nowhere."""
    peak = stage.peaks(context, way, MODES)[part]
    return load_of(context, way, lambda _, amount: (peak.irradiance * amount, None))[0]


def steps_of(stage: Stage, context: Context, peak: Peak, meaning: str) -> tuple[Step, ...]:
    """Return the line from which a peak follows, by the key of its meaning.

    There, k is what tolerances and the last boxes of the search add.
    """
    power, source, seen = context.power, peak.source, peak.span
    if power is None or source is None or seen is None or not peak.irradiance > 0.0:
        return ()
    sent, value = power * source.factor, peak.irradiance * power
    if isinstance(source.profile, BeamProfile):
        beam, formula, words = source.profile.beam, "k · 4 Φ ρ / (π d_x d_y)", Message("source.peak")
        width, more = diameters(beam, seen.near), ""
        numbers = beam_numbers(beam, seen.near, sent)
        if not min(map(float, width)) > 0.0:  # in a focus that is described as a point
            return ()
        plain_one, wide = float(peak_exposure(sent, *width)), float(max(width))
        aside = seen.aside if beam.profile == "gaussian" else 0.0
        if (beside := math.exp(-((2.0 * aside / wide) ** 2))) < 1.0 - 1e-6:
            formula, plain_one = f"{formula} · exp(-(2 s / d)^2)", plain_one * beside
            more = f"exp(-(2 · {aside:.5g} m / {wide:.5g} m)^2)"
    else:
        model, away, more = stage.case.settings.scatter_model, max(seen.near, source.profile.spread), ""
        formula = "k · ρ Φ cos θ / (π r²)" if model == "lambert" else "k · ρ Φ / (2 π r²)"
        words = Message("barrier.scatter_source", model=word(model))
        plain_one = float(scatter_exposure(power, source.factor, away, 0.0, model))
        numbers = scatter_numbers(source.surface, power, source.factor, away)
        if model == "lambert":
            plain_one, more = plain_one * seen.cosine, f"{seen.cosine:.5g}"
    if not 0.0 < plain_one < math.inf:
        return ()
    put_in = joined([one for one in (f"{value / plain_one:.5g}", numbers, more) if one], " · ")
    if isinstance(source.profile, BeamProfile):
        put_in = put_in if source.profile.beam == context.beam else with_waist(put_in, source.profile.beam)
        if source.offset > 0.0:
            there = Message(
                "hit.where", distance=f"{seen.near:.5g} m", origin=word("from the last optic along the path")
            )
            over = Message("barrier.over", surface=word(source.surface), legs=legs_of(source, seen.near, there))
            put_in = Message("hit.put_in", numbers=put_in, where=over)
    if any(source.moves) and not source.parts:
        start, size = seen.start
        put_in = Message("hit.starts", where=put_in, low=corner_text(start - size), high=corner_text(start + size))
    return (Step("E", Message(meaning), formula, put_in, value, "W/m2", words, "own"),)


def plates_of(scene: Scene) -> list[Screen]:
    """Return for surfaces that face some way an upright part of each: the square in its disc."""
    found = []
    for one in scene.surface:
        if one.position is not None and one.height is not None and one.normal is not None:
            (x, y), half = one.position.pair, float(one.width) / math.sqrt(8.0)
            dx, dy, up = half * math.cos(one.normal), half * math.sin(one.normal), half * abs(math.cos(one.tilt))
            bottom, top = float(one.height) - up, float(one.height) + up
            found.append(Screen(one.name, ((x - dx, y + dy), (x + dx, y - dy)), bottom, top))
    return found


def judge_screen(stage: Stage, context: Context, way: str, entry: SceneBarrier) -> BarrierWay:
    """Return what one laser alone does to a screen, wherever its head points."""
    if entry.kind == "terrain":
        names, holds = (way, context.laser.name, context.setup.name), Message("barrier.terrain")
        return BarrierWay(*names, 0.0, True, Message("barrier.holds", why=holds), fitted=context.setup.fitted)
    barrier = barrier_for(stage, context, entry.name)
    load, peak = load_on(stage, context, way, (entry.name, None)), stage.peaks(context, way, MODES)[entry.name, None]
    found, _ = judged(context, stage.contexts, way, load, entry if barrier is None else barrier, barrier)
    if peak.span is not None and context.power is not None:  # of a single pulse there is no mean anywhere
        found |= {"place": peak.place, "away": peak.span.near}
    return BarrierWay(steps=steps_of(stage, context, peak, "barrier.peak_of_place"), **found)


# --- view windows ---------------------------------------------------------------------------------------------------


def part_of_line(line: tuple[tuple[float, float], ...], start: float, end: float) -> tuple[tuple[float, float], ...]:
    """Return the part of a polyline between two distances along it [m]."""
    (x, y), *further = shapely.get_coordinates(substring(shapely.LineString(line), start, end)).tolist()
    return ((x, y), *(tuple(spot) for spot in further or [line[-1]]))


def parts_of(scene: Scene) -> dict[Part, Screen]:
    """Return every barrier and wall, and with the number of its opening every view window whose density is stated."""
    found: dict[Part, Screen] = {}
    for entry in scene.barrier:
        found[entry.name, None] = Screen(entry.name, entry.line.pairs, float(entry.bottom), float(entry.top))
        for number, opening in enumerate(entry.opening):
            if opening.optical_density is not None:
                found[entry.name, number] = window_screen(entry, opening)
    return found


def screen_of(entry: SceneBarrier, shut: set[tuple[str, int]]) -> Screen:
    """Return a barrier or wall with what is open in it; windows are, but for those named by barrier and number."""
    gaps = tuple(
        Gap(float(o.start), float(o.end), float(o.bottom), float(o.top))
        for number, o in enumerate(entry.opening)
        if (o.open or o.kind == "window") and (entry.name, number) not in shut
    )
    return Screen(entry.name, entry.line.pairs, float(entry.bottom), float(entry.top), gaps)


def window_screen(entry: SceneBarrier, opening: SceneOpening) -> Screen:
    """Return a view window as a screen of its own."""
    line = part_of_line(entry.line.pairs, float(opening.start), float(opening.end))
    bottom, top = max(float(opening.bottom), float(entry.bottom)), min(float(opening.top), float(entry.top))
    return Screen(opening.name, line, bottom, max(top, bottom))


def judge_windows(
    stage: Stage, context: Context, way: str, others_by: Sequence[str] = ()
) -> dict[tuple[str, int], ViewWindow]:
    """Return every view window whose density is stated against one way, with all other fitted lasers on it.

    The others light it on the same way, or on the strongest of those that are named.
    """
    found = {}
    others = [c for c in stage.contexts if c.setup.fitted and c.laser.name != context.laser.name]
    others = others if stage.case.adds_lasers else []
    for entry in stage.scene.barrier:
        barrier = next((b for b in stage.case.barrier if b.name == entry.name), None)
        required = needed_time(barrier is not None and barrier.observed)
        for number, opening in enumerate(entry.opening):
            if opening.optical_density is None:
                continue
            part, density = (entry.name, number), float(opening.optical_density)
            ways = [(context, (way,)), *((one, others_by or (way,)) for one in others)]
            loads = [strongest([load_on(stage, one, own, part) for own in by]) for one, by in ways]
            ratio = sum(max(stage.peaks(one, own, MODES)[part].seen for own in by) for one, by in ways)
            pulses = [one.pulse for one in loads if one.pulse is not None]
            powers = [one.mean_power for one in loads]
            load = Load(
                sum(one.irradiance for one in loads),
                None if None in powers else sum(p for p in powers if p is not None),
                sum(one.pulse_energy or 0.0 for one in loads) if pulses else None,
                pulse=sum(pulses) if pulses else None,
            )
            rating = Rating(plain(opening.rating), plain(opening.rated_time), plain(opening.pulse_rating))
            verdict = judge_window(ratio, density, load, rating, required)
            words = Message("window.together", words=verdict.verdict) if others else verdict.verdict
            found[entry.name, number] = ViewWindow(
                context.laser.name, context.setup.name, opening.name, way, verdict.holds, verdict.needed_density,
                density, load.irradiance, words, context.setup.fitted,
            )  # fmt: skip
    return found
