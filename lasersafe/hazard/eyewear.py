"""What eyewear has to carry in front of one beam, and at the worst of several places, settings and wavelengths."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from lasersafe.hazard import marking as marks
from lasersafe.hazard.distances import worst_place
from lasersafe.hazard.exposure import Emission, Floats, Received, criteria, pulse_pattern, pulse_train, single_pulse
from lasersafe.hazard.eyewear_scale import NumberAsked, beam_factor, numbers_asked, worst_rates
from lasersafe.hazard.scatter import most_hazardous_distance
from lasersafe.hazard.settings import SettingSpace, stated
from lasersafe.optics.beam import BeamGeometry, diameters, mean_exposure
from lasersafe.records import Criterion, EyewearNeed, MarkingVerdict, ScaleNeed, Step, badness, worst
from lasersafe.wording import Message

_LETTER_EDGES = (1e-9, 1e-6, 0.25)
Need = TypeVar("Need", NumberAsked, ScaleNeed)


def corner_emissions(space: SettingSpace, worst: Emission, wavelength: float) -> list[Emission]:
    """Return the settings at which a scale number can be highest: ends, letter edges, merging rates.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    worst : Emission
        The worst setting for the eye, always among the answer.
    wavelength : float
        Wavelength. [m]

    Returns
    -------
    list of Emission
        At least ``worst``.
    """
    if worst.pulses:  # all of them as one pulse, and below all of each burst: the strict side for a filter
        total, shortest = sum(p[2] for p in worst.pulses), min(p[1] for p in worst.pulses)
        return [worst, pulse_pattern(((0.0, shortest, total),), worst.period, worst.pedestal)]
    if worst.burst:
        number = math.prod(count for count, _ in worst.burst)
        energy, rate = worst.pulse_energy * number, worst.repetition_rate / number
        return [worst, pulse_train(energy, worst.pulse_duration, rate, worst.pedestal)]
    if space.modes:
        return list(dict.fromkeys(e for mode in space.modes for e in corner_emissions(mode, worst, wavelength)))
    if space.kind == "continuous":
        return [worst]
    found = [worst]
    if space.repetition_rate is None:  # one pulse
        return found + [single_pulse(stated(space.pulse_energy)[1], t) for t in _lengths(*stated(space.pulse_duration))]
    slow, fast = space.repetition_rate
    kink = fast
    if space.power is not None and space.pulse_energy is not None:
        kink = min(max(space.power[1] / space.pulse_energy[1], slow), fast)
    rates = {*worst_rates(wavelength, slow, kink), *worst_rates(wavelength, kink, fast), slow, kink, fast}
    ends = {share / edge for share in space.duty or () for edge in _LETTER_EDGES}
    rates |= {rate for rate in ends if slow < rate < fast}
    for rate in sorted(rates):
        energy, (low, high) = float(space.energy_at(rate)), space.pulse_duration or np.array(space.duty or ()) / rate
        found += [pulse_train(energy, t, rate, space.pedestal) for t in _lengths(low, high) if t * rate <= 1.0]
    return found


def _lengths(low: float, high: float) -> list[float]:
    """Return the pulse lengths of a range at which a letter begins, both ends among them. [s]."""
    return sorted({low, high, *(edge for edge in _LETTER_EDGES if low < edge < high)})


def highest(needs: Iterable[Need]) -> tuple[Need, ...]:
    """Return the highest scale number of each mode letter, of equal ones that of the highest density.

    Parameters
    ----------
    needs : iterable of NumberAsked or ScaleNeed
        Of any settings and places.
    """
    by_letter: dict[str, Need] = {}
    for need in needs:
        known = by_letter.setdefault(need.mode, need)
        rank, most = ((_number(one), one.density_value) for one in (need, known))
        if most[0] < math.inf and rank > most:
            by_letter[need.mode] = need
    return tuple(by_letter.values())


def _brightest(
    over: Sequence[tuple[float, float, float]], wavelength: float, narrower: float
) -> list[tuple[float, float, float]]:
    """Return those that can ask for the highest scale numbers: these rise with irradiance, or it times a factor."""
    waves, widths = round(wavelength * 1e9, 6), [[max(d / narrower, _SMALLEST) for d in both] for _, *both in over]
    dense = np.array([share / (dx * dy) for (share, *_), (dx, dy) in zip(over, widths, strict=True)])
    raised = dense * [beam_factor(waves, max(both)) for both in widths]
    less = np.logical_and.reduce([one < one.max(initial=0.0) * (1.0 - _SURE) for one in (dense, raised)])
    return [one for one, out in zip(over, less.tolist(), strict=True) if not out]


@dataclass(frozen=True)
class Filtered:
    """Light of one wavelength that eyewear has to stop.

    Parameters
    ----------
    wavelength : float
        Wavelength. [m]
    space : SettingSpace
        The allowed settings.
    emissions : tuple of Emission
        The worst of them for the eye, that for a wide beam first.
    rule_sets : tuple of str
        Rule sets to work out; the highest density decides.
    duration : float
        Exposure duration. [s]
    profile : str
        ``gaussian`` or ``top-hat``.
    """

    wavelength: float
    space: SettingSpace
    emissions: tuple[Emission, ...]
    rule_sets: tuple[str, ...]
    duration: float
    profile: str = "gaussian"

    def density(self, emission: Emission, dx: float, dy: float, tissue: str = "eye") -> tuple[float, float, Criterion]:
        """Return the highest optical density of one setting, the exposure [W/m2 or J/m2], and the comparison.

        The 1/e diameters of the beam are those at the eye [m], the density is not rounded.
        """
        found = []
        for rule_set in self.rule_sets:
            for criterion in criteria(Received(rule_set, tissue, emission, self.wavelength, self.duration)):
                exposure = float(mean_exposure(criterion.amount, dx, dy, criterion.limiting_aperture, self.profile))
                found.append((float(marks.optical_density(exposure, criterion.limit)), exposure, criterion))
        return max(found, key=lambda one: badness(one[0]))


def verdict_on(marking: str, need: EyewearNeed, rate: float | None) -> MarkingVerdict:
    """Return the verdict on a marking: one that cannot be read is no protection; with no reliance none is enough.

    Parameters
    ----------
    marking : str
        As printed.
    need : EyewearNeed
        What is asked for.
    rate : float or None
        Pulses per second, the fewest. [Hz]
    """
    try:
        verdict = marks.Asked(need.wavelength, need.scales, need.optical_density_exact).judge(marking, rate)
    except marks.MarkingError as error:
        return MarkingVerdict(marking, False, marks.NO_PROTECTION, (error.reason,))
    if need.reliable:
        return verdict
    word = marks.NOT_ENOUGH if verdict.enough else verdict.verdict
    return replace(verdict, enough=False, verdict=word, reasons=(*verdict.reasons, need.no_reliance))


def slowest_rate(space: SettingSpace, worst: Emission) -> float | None:
    """Return the fewest pulses per second that the settings allow; None where pulses do not repeat.

    Parameters
    ----------
    space : SettingSpace
        The allowed settings.
    worst : Emission
        The worst of them.

    Returns
    -------
    float or None
        Repetition rate. [Hz]
    """
    if worst.kind != "pulse train":
        return None
    stated = [one.repetition_rate[0] for one in space.rows if one.repetition_rate is not None]
    return min(stated, default=worst.repetition_rate) or None


_SMALLEST = 1e-6  # m: a focus seen as a point still has a finite spot
_SURE = 1e-9  # of the highest: what is less for certain
WIDEST = 15e-3  # m: from here on the factor of EN 207 no longer rises
_ANY = 1070.0  # nm: the factor is the same at every wavelength that has one


def widths_beyond(beam: BeamGeometry, distance: float) -> list[tuple[float | None, float, float]]:
    """Return the places at or beyond a distance where a beam can be the worst, with its 1/e diameters there.

    Where it is narrowest; and of an oblong beam where its density times the factor of EN 207 is highest, which follows
    the longer axis: while that alone widens, the product rises up to 15 mm.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        From the last optic. [m]
    """

    def widths(place: ArrayLike) -> tuple[Floats, Floats]:
        dx, dy = diameters(beam, place)
        return np.maximum(dx, _SMALLEST), np.maximum(dy, _SMALLEST)

    def density(place: Floats) -> Floats:
        dx, dy = widths(place)
        return np.array([beam_factor(_ANY, one) for one in np.maximum(dx, dy).tolist()]) / (dx * dy)

    places = worst_place(beam, distance)
    if not beam.circular:
        waist, angle, at = (np.array(pair) for pair in (beam.waist_diameter, beam.divergence, beam.waist_position))
        power = 2.0 if beam.propagation == "hyperbolic" else 1.0
        away = np.maximum(WIDEST**power - waist**power, 0.0) ** (1.0 / power) / angle  # an axis is 15 mm: a peak
        nearest = max(distance, _SMALLEST)
        far = 2.0 * max(nearest, *beam.waist_position, float((at + away).min()))
        ends = np.concatenate([at - away, at + away])
        place, most = most_hazardous_distance(density, nearest, far, also=ends)
        places = (*places, place) if most > density(np.array(places)).max() * (1.0 + 1e-9) else places
    return [(place, float(dx), float(dy)) for place in places for dx, dy in [widths(place)]]


def raised_by(wider: float) -> float:
    """Return how many times density times the factor of EN 207 can rise where one axis alone is wider [1]_.

    Parameters
    ----------
    wider : float
        How many times as wide, at least 1. [1]

    Returns
    -------
    float
        The density falls with the axis, the factor rises with a power of it up to 15 mm. [1]

    References
    ----------
    .. [1] DGUV203-042, factor of the beam diameter.
    """
    most = min(wider, WIDEST / 1e-3)
    return beam_factor(_ANY, WIDEST) / beam_factor(_ANY, WIDEST / most) / most


def hardest_need(
    light: Filtered, places: Iterable[tuple[float | None, float, float]], least_density: float = -math.inf,
    shared_by: int = 1, narrower: float = 1.0, over: Iterable[tuple[float, float, float]] = (),
) -> EyewearNeed:  # fmt: skip
    """Return what the places in a beam ask for together, the highest density of several settings counted.

    Parameters
    ----------
    light : Filtered
        What has to be stopped.
    places : iterable of tuple
        Distance from the last optic, where there is one, and the 1/e diameters of the beam there. [m]
    least_density : float
        Density that other ways for light ask for, as scatter or an optical aid; the larger one counts. [1]
    shared_by : int
        Wavelengths whose fractions add on the same tissue: each is asked for its part of the limit.
    narrower : float
        How many times narrower an instrument makes the beam that meets the eyewear; the density that it asks for is
        that of another way. [1]
    over : iterable of tuple
        Beams over mirrors, and scatter: the share of the power [1] and the 1/e diameters there [m]. Scale numbers hold
        for them as well; the density that they ask for is that of another way.

    Returns
    -------
    EyewearNeed
        With steps and notes; whose it is stays open.
    """
    (worst, *others), wavelength, every = light.emissions, light.wavelength, list(places)
    settings = dict.fromkeys(corner_emissions(light.space, worst, wavelength))

    def withstand(share: float, dx: float, dy: float) -> tuple[NumberAsked, ...]:
        widths = max(dx / narrower, _SMALLEST), max(dy / narrower, _SMALLEST)
        return highest(n for one in settings for n in numbers_asked(one.scaled(share), wavelength, widths))

    each = [withstand(1.0, dx, dy) for _, dx, dy in every]
    beams = [light.density(worst, dx, dy) for _, dx, dy in every]
    ranks = [
        (max(map(_number, a)), badness(b[0]), max(n.density_value for n in a)) for a, b in zip(each, beams, strict=True)
    ]
    hardest = max(range(len(every)), key=ranks.__getitem__)
    direct, (beam_density, exposure, criterion) = highest(chain(*each)), max(beams, key=lambda one: badness(one[0]))
    every_one = highest(chain(direct, *(withstand(*one) for one in _brightest(list(over), wavelength, narrower))))
    scales = tuple(one.told() for one in every_one)
    least = max([least_density, *(light.density(one, dx, dy)[0] for one in others for _, dx, dy in every)])
    density = max(beam_density, least) + math.log10(shared_by)
    beam_density += math.log10(shared_by)
    skin = max((light.density(one, dx, dy, "skin")[0] for one in light.emissions for _, dx, dy in every), key=badness)
    most = light.space.highest_mean_power
    mean_power = None if worst.kind == "single pulse" else worst.power if most is None else most
    asked = marks.Asked(wavelength, scales, density)
    reliance = asked.no_reliance(mean_power)
    numbers = Message(
        "need.lines" if shared_by > 1 else "need.one_line", count=shared_by, value=f"{beam_density:.4f}",
        amounts=f"{exposure:.5g} / {criterion.limit:.5g} {criterion.limit_unit}",
    )  # fmt: skip
    if density > beam_density:
        numbers = Message("need.other_way", numbers=numbers, density=f"{density:.4f}")
    more = () if every_one == direct else (Message("need.beyond_direct"),)
    up, source = float(marks.round_up_density(density)), f"{criterion.rule_set}: {criterion.source}"
    told = Message("need.density"), Message("need.density_formula"), numbers
    step = Step("OD", *told, up, "1", source, criterion.seen)
    return EyewearNeed(
        laser="", setup="", person="", wavelength=wavelength, distance=every[hardest][0], tissue="eye",
        optical_density=up, optical_density_exact=density, optical_density_skin=float(marks.round_up_density(skin)),
        scales=scales, decides=asked.decides(), notes=(*more, *asked.notes()), marking=asked.marking(),
        reliable=not reliance, no_reliance=reliance,
        steps=(step, *(step for need in scales for step in need.steps)),
    )  # fmt: skip


def covering(group: Sequence[EyewearNeed]) -> EyewearNeed:
    """Return the hardest need of a group, asking for every wavelength, letter and density of the others as well.

    Parameters
    ----------
    group : sequence of EyewearNeed
        At least one.
    """
    ranks = []
    for one in group:
        word = "" if one.verdict is None or one.verdict.enough else one.verdict.verdict
        failed, dense = {"": 0, marks.SCATTER_ONLY: 1}.get(word, 2), badness(one.optical_density)
        ranks.append((failed, not one.reliable, max([*map(_number, one.scales), dense]), dense))
    hardest = worst([group[ranks.index(max(ranks))], *group])
    waves = sorted({wave for one in group for wave in one.wavelengths or (one.wavelength,)})
    scales = highest(scale for one in group for scale in one.scales)
    density = hardest.optical_density_exact
    asked, decides, verdict = hardest.marking, hardest.decides, hardest.verdict
    if math.isfinite(density) and any(_asked_for(one) != _asked_for(group[0]) for one in group):
        all_of_it = marks.Asked((waves[0], waves[-1]) if waves[0] < waves[-1] else waves[0], scales, density)
        asked, decides = all_of_it.marking(), all_of_it.decides()
        least = min((one.verdict.number for one in group if one.verdict is not None), default=0)  # of all letters
        verdict = verdict and replace(verdict, reasons=_reasons((hardest, *group)), number=least)
    unreliable = [one.no_reliance for one in group if not one.reliable]
    notes: dict[str, str] = {}
    for note in (note for one in (hardest, *group) for note in one.notes):  # once, not again at each wavelength
        modes = note.values["modes"] if isinstance(note, Message) and note.key == "need.weak" else note
        notes.setdefault(modes, note)
    return replace(
        hardest, scales=scales, marking=asked, decides=decides, verdict=verdict,
        wavelengths=tuple(waves) if len(waves) > 1 else (),
        no_reliance=hardest.no_reliance or (unreliable[0] if unreliable else ""), notes=tuple(notes.values()),
    )  # fmt: skip


def _reasons(group: Sequence[EyewearNeed]) -> tuple[str, ...]:
    """Return what the verdicts of a group say of what is worn, of each mode letter that which asks most."""
    found: dict[str, tuple[float, str]] = {}
    for need in group:
        number = marks.density_number(need.optical_density_exact) if math.isfinite(need.optical_density_exact) else 0
        asks = {one.mode: max(_number(one), number) for one in need.scales}
        for reason in need.verdict.reasons if need.verdict else ():
            values = reason.values if isinstance(reason, Message) else {}
            letter = str(values.get("marked", values.get("mode", "")))[:1]
            key, rank = letter or reason, asks.get(letter, 0.0)
            if key not in found or rank > found[key][0]:
                found[key] = rank, reason
    return tuple(reason for _, reason in found.values())


def _asked_for(need: EyewearNeed) -> tuple[Any, ...]:
    numbers = [(one.mode, one.scale_number) for one in need.scales]
    return need.wavelengths, need.wavelength, need.optical_density_exact, numbers


def _number(scale: NumberAsked | ScaleNeed) -> float:
    return math.inf if scale.scale_number is None else float(scale.scale_number)
