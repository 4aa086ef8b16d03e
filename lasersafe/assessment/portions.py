"""What part of a limit each wavelength of a laser may use, where sources are looked at one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from lasersafe.assessment.calculation import number
from lasersafe.assessment.context import Context
from lasersafe.hazard.combine import ADDITION_SOURCE, group_of
from lasersafe.hazard.exposure import criteria
from lasersafe.results import Criterion, Step
from lasersafe.wording.message import Message

_SMALLEST = 1e-12  # less of a limit is not told from it
_TRACE = 1e-9
Portion = dict[tuple[str, str], float]  # rule set and group -> part of a limit


def portions(found: Sequence[Context], tissue: str, duration: float, spread: bool) -> list[Portion]:
    """Return for each wavelength what part of its limits it may use, so that where each keeps to it the sum does.

    The parts of a group are 1 together. They go by the fractions in a wide beam, so that for beams alike the sum is
    exact; where the angles differ, by the mean of the parts near and far, so that it is at most twice too high there.

    Parameters
    ----------
    found : sequence of Context
        All wavelengths of a laser.
    tissue : str
        ``eye`` or ``skin``.
    duration : float
        Exposure duration. [s]
    spread : bool
        Whether the angles of the beams count; scattered light has none.

    Returns
    -------
    list of dict
        Rule set and group -> part; empty where there is one wavelength, which may use all. [1]
    """
    if len(found) == 1:
        return [{}]
    near: list[Portion] = []
    for own in found:
        mine: Portion = {}
        for light in own.received(tissue, duration):
            for c in criteria(light):
                key = light.rule_set, group_of(tissue, c.hazard, own.wavelength)
                mine[key] = max(mine.get(key, 0.0), c.amount / c.limit)
        near.append(mine)
    solid = [math.prod(own.beam.divergence) if spread else 1.0 for own in found]
    far = [{key: value / angle for key, value in mine.items()} for mine, angle in zip(near, solid, strict=True)]
    return [{key: _part(near, far, key, own) for key in mine} for own, mine in enumerate(near)]


def _part(near: list[Portion], far: list[Portion], key: tuple[str, str], own: int) -> float:
    """Return the part of one wavelength in a group; the largest gives a trace away, so that of equal ratios it wins."""

    def share(strengths: list[Portion]) -> float:
        total = math.fsum(one.get(key, 0.0) for one in strengths)
        return strengths[own][key] / total if total > 0.0 else 1.0

    part = (share(near) + share(far)) / 2.0
    leads = near[own][key] >= max(one.get(key, 0.0) for one in near)
    return max(_SMALLEST, part * (1.0 - _TRACE if leads and part < 1.0 else 1.0))


def part_of(portion: Portion, rule_set: str, tissue: str, wavelength: float, hazard: str) -> float:
    """Return the part of the limit of a hazard that light of a wavelength [m] may use."""
    return portion.get((rule_set, group_of(tissue, hazard, wavelength)), 1.0)


def lessened(criterion: Criterion, wavelength: float, portion: Portion) -> Criterion:
    """Return a comparison with the part of its limit that a wavelength [m] may use."""
    part = part_of(portion, criterion.rule_set, criterion.tissue, wavelength, criterion.hazard)
    return criterion if part == 1.0 else replace(criterion, limit=criterion.limit * part)


def portion_step(whole: Criterion, limit: float) -> Step:
    """Return the step from a limit to the part of it that one of several wavelengths may use."""
    symbol = "E" if whole.limit_unit == "W/m2" else "H"
    numbers = f"{number(whole.limit)} · {number(limit / whole.limit)}"
    return Step(
        f"{symbol}_part", Message("sum.portion"), f"{symbol}_limit · F / Σ F", numbers, limit,
        whole.limit_unit, ADDITION_SOURCE, "own",
    )  # fmt: skip
