"""The worst of the corners of the tolerances, and eyewear that covers all of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from lasersafe.hazard.eyewear import marking_to_ask
from lasersafe.hazard.marking import SCATTER_ONLY
from lasersafe.records.fields import badness, worst, worst_of_each
from lasersafe.results import EyewearNeed, ScaleNeed

C = TypeVar("C")
T = TypeVar("T")


def covering(group: Sequence[EyewearNeed]) -> EyewearNeed:
    """Return the hardest need of a group, asking for every wavelength, letter and density of the others as well."""
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
    return replace(
        hardest,
        scales=tuple(scales.values()),
        marking=asked,
        wavelengths=tuple(waves) if len(waves) > 1 else (),
        no_reliance=hardest.no_reliance or (unreliable[0] if unreliable else ""),
        notes=tuple(dict.fromkeys(note for one in (hardest, *group) for note in one.notes)),
    )


def covered(lists: Iterable[Iterable[EyewearNeed]]) -> list[EyewearNeed]:
    """Return, for each laser, set-up, person and line, one need that covers those of all lists."""
    return list(worst_of_each(lists, lambda _, group: covering(group)))


def _asked_for(need: EyewearNeed) -> tuple[Any, ...]:
    numbers = [(one.mode, one.scale_number) for one in need.scales]
    return need.wavelengths, need.wavelength, need.optical_density_exact, numbers


def _number(scale: ScaleNeed) -> float:
    return math.inf if scale.scale_number is None else float(scale.scale_number)


def _hard(need: EyewearNeed) -> tuple[int, bool, float, float]:
    numbers = [_number(one) for one in need.scales]
    failed = 0 if need.verdict is None or need.verdict.enough else 1 if need.verdict.verdict == SCATTER_ONLY else 2
    return failed, not need.reliable, max([*numbers, badness(need.optical_density)]), badness(need.optical_density)


def over(
    corners: Sequence[C], each: Callable[[C], Iterable[T]], also: Callable[[T, Sequence[T]], T] | None = None
) -> tuple[T, ...]:
    """Return the records of every corner of the tolerances, of each thing the worst; of one corner as they are.

    Parameters
    ----------
    corners : sequence
        At least one.
    each : callable
        Takes a corner and returns its records.
    also : callable, optional
        As `lasersafe.records.fields.worst` takes it.
    """
    return worst_of_each(map(each, corners), also)
