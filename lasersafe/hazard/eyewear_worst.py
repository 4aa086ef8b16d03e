"""What eyewear has to carry at the worst of several places, settings and wavelengths."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from lasersafe.hazard.emission import Emission
from lasersafe.hazard.eyewear import marking_to_ask
from lasersafe.hazard.eyewear_need import eyewear_need, worst_density
from lasersafe.hazard.marking import SCATTER_ONLY
from lasersafe.hazard.zones import worst_place
from lasersafe.optics.propagation import BeamGeometry, diameters
from lasersafe.records.fields import badness, worst
from lasersafe.records.step import EyewearNeed, ScaleNeed
from lasersafe.wording.message import Message

_SMALLEST = 1e-6  # m: a focus seen as a point still has a finite spot


def widths_beyond(beam: BeamGeometry, distance: float) -> list[tuple[float | None, float, float]]:
    """Return the places at or beyond a distance where a beam can be the worst, with its 1/e diameters there.

    Parameters
    ----------
    beam : BeamGeometry
        The beam.
    distance : float
        From the last optic. [m]
    """
    return [
        (place, max(float(dx), _SMALLEST), max(float(dy), _SMALLEST))
        for place in worst_place(beam, distance)
        for dx, dy in [diameters(beam, place)]
    ]


def hardest_need(
    places: Iterable[tuple[float | None, float, float]],
    emissions: Sequence[Emission],
    *,
    wavelength: float,
    rule_sets: tuple[str, ...],
    duration: float,
    profile: str,
    least_density: float = -math.inf,
    **more: Any,
) -> EyewearNeed:
    """Return the hardest need of several places in a beam, the highest density of several settings counted.

    Parameters
    ----------
    places : iterable of tuple
        Distance, where there is one, and the 1/e diameters of the beam there. [m]
    emissions : sequence of Emission
        The worst settings, that for a wide beam first.
    wavelength : float
        Wavelength. [m]
    rule_sets : tuple of str
        Rule sets to work out.
    duration : float
        Exposure duration. [s]
    profile : str
        ``gaussian`` or ``top-hat``.
    least_density : float
        Density that other ways for light ask for. [1]
    **more
        As for `eyewear_need`.
    """
    worst, *others = emissions
    needs = []
    for place, dx, dy in places:
        densities = (worst_density(rule_sets, one, wavelength, duration, dx, dy, profile)[0] for one in others)
        needs.append(
            eyewear_need(
                wavelength=wavelength, worst=worst, rule_sets=rule_sets, duration=duration, beam_diameters=(dx, dy),
                profile=profile, distance=place, least_density=max(least_density, *densities, -math.inf), **more,
            )
        )  # fmt: skip
    return max(needs, key=lambda need: (max(map(_number, need.scales)), badness(need.optical_density_exact)))


def covering(group: Sequence[EyewearNeed]) -> EyewearNeed:
    """Return the hardest need of a group, asking for every wavelength, letter and density of the others as well.

    Parameters
    ----------
    group : sequence of EyewearNeed
        At least one.
    """
    hardest = worst([max(group, key=_hard), *group])
    waves = sorted({wave for one in group for wave in one.wavelengths or (one.wavelength,)})
    scales: dict[str, ScaleNeed] = {}
    for scale in (scale for one in group for scale in one.scales):
        scales[scale.mode] = max(scales.get(scale.mode, scale), scale, key=_number)
    density = hardest.optical_density_exact
    asked = hardest.marking
    if math.isfinite(density) and any(_asked_for(one) != _asked_for(group[0]) for one in group):
        asked = marking_to_ask((waves[0], waves[-1]) if waves[0] < waves[-1] else waves[0], [*scales.values()], density)
    unreliable = [one.no_reliance for one in group if not one.reliable]
    notes: dict[str, str] = {}
    for note in (note for one in (hardest, *group) for note in one.notes):  # once, not again at each wavelength
        modes = note.values["modes"] if isinstance(note, Message) and note.key == "need.weak" else note
        notes.setdefault(modes, note)
    return replace(
        hardest,
        scales=tuple(scales.values()),
        marking=asked,
        wavelengths=tuple(waves) if len(waves) > 1 else (),
        no_reliance=hardest.no_reliance or (unreliable[0] if unreliable else ""),
        notes=tuple(notes.values()),
    )


def _asked_for(need: EyewearNeed) -> tuple[Any, ...]:
    numbers = [(one.mode, one.scale_number) for one in need.scales]
    return need.wavelengths, need.wavelength, need.optical_density_exact, numbers


def _hard(need: EyewearNeed) -> tuple[int, bool, float, float]:
    numbers = [_number(one) for one in need.scales]
    failed = 0 if need.verdict is None or need.verdict.enough else 1 if need.verdict.verdict == SCATTER_ONLY else 2
    return failed, not need.reliable, max([*numbers, badness(need.optical_density)]), badness(need.optical_density)


def _number(scale: ScaleNeed) -> float:
    return math.inf if scale.scale_number is None else float(scale.scale_number)
