"""The light of a laser with all its wavelengths: each by itself, how they add, and how they leave it in a fault.

Where sources are looked at one by one, each wavelength may use a portion of the limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.calculation import limit_steps, number
from lasersafe.assessment.context import Context
from lasersafe.hazard.combine import ADDITION_SOURCE, Line, Share, Sum, group_of, groups
from lasersafe.hazard.marking import NOT_ENOUGH
from lasersafe.optics.beam import collimated, fibre_multimode, least_divergence, to_1_over_e
from lasersafe.results import Criterion, EyewearNeed, LineShare, Step
from lasersafe.wording.message import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.assessment.stage import Stage
    from lasersafe.models import ExtraLine

_SMALLEST = 1e-12  # less of a limit is not told from it
_TRACE = 1e-9
Portion = dict[tuple[str, str], float]  # rule set and group -> part of a limit
FAULTS = ("fibre broken", "optic lost")
FIBRE_APERTURE = 0.20  # multimode delivery fibre, 5 % of the peak (published checks, section 14)


def _line_context(context: Context, line: ExtraLine) -> Context:
    space = context.space
    if line.power is not None:
        power = float(line.power)
        space = type(space)("continuous", power=(power, power))
    else:
        space = space.scaled(float(line.share or 1.0))
    beam = context.beam
    if line.divergence is not None and line.divergence_criterion is not None:
        x, y = (float(v) for v in to_1_over_e(list(line.divergence.pair), line.divergence_criterion, beam.profile))
        beam = replace(beam, divergence=(x, y))
    laser = context.laser.model_copy(update={"wavelength": line.wavelength, "line": (), "module": None})
    return replace(context, laser=laser, beam=beam, space=space, _worst={}, _lines={})


def line_contexts(context: Context) -> dict[str, Context]:
    """Return one context for each further wavelength, by its name; none for a laser of one wavelength."""
    if len(context._lines) != len(context.laser.line):
        context._lines.update({line.name: _line_context(context, line) for line in context.laser.line})
    return context._lines


def alone_of(context: Context) -> Context:
    """Return the context of one wavelength without the others."""
    return replace(context, laser=context.laser.model_copy(update={"line": ()}), _lines={})


def every_context(context: Context) -> dict[str, Context]:
    """Return the contexts of all wavelengths, the main one first."""
    main = Message("sum.main_beam", wavelength=f"{context.wavelength * 1e9:.6g}")
    return {main: context, **line_contexts(context)}


def power_of_all(context: Context) -> float | None:
    """Return the highest mean power of all wavelengths together, None where one has none, as a single pulse. [W]."""
    powers = [own.space.highest_mean_power for own in every_context(context).values()]
    return None if None in powers else sum(power for power in powers if power is not None)


def duration_of_all(found: Mapping[str, Context], way: str) -> tuple[float, str]:
    """Return the longest exposure duration of any wavelength on a way [s], and its reason."""
    return max((own.duration(way) for own in found.values()), key=lambda pair: pair[0])


def lines_of(found: Mapping[str, Context], tissue: str, duration: float) -> list[Line]:
    """Return the wavelengths as they add, each with every setting that can be its worst."""
    every = ((name, own, own.emissions(tissue, duration)) for name, own in found.items())
    return [Line(name, own.wavelength, worst[0], own.beam, worst[1:]) for name, own, worst in every]


def shares_of(found: Sum) -> tuple[LineShare, ...]:
    """Return what each wavelength adds to a sum, as it is printed."""
    return tuple(
        LineShare(s.line, s.wavelength, s.fraction, s.criterion.rule, s.criterion.hazard) for s in found.shares
    )


def with_limit_steps(found: Mapping[str, Context], share: Share, duration: float) -> Criterion:
    """Return the comparison of a share with the working of its limit."""
    steps = limit_steps(share.criterion, share.emission, found[share.line].wavelength, duration, share.angle)
    return replace(share.criterion, steps=steps)


def sum_step(found: Sum) -> Step:
    """Return the step that adds the fractions of a sum."""
    parts = [
        Message("sum.of_line", fraction=f"{s.fraction:.5g}", wavelength=f"{s.wavelength * 1e9:.6g}",
                rule=word(s.criterion.rule))
        for s in found.shares
    ]  # fmt: skip
    return Step(
        "Σ", Message("sum.fractions", group=word(found.group)), Message("sum.formula"), joined(parts, " + "),
        found.total, "1", f"{found.rule_set}; {ADDITION_SOURCE}",
    )  # fmt: skip


def sharing(lit: Sequence[Context], own: Context) -> int:
    """Return how many wavelengths of the lasers that light somebody share one tissue and mechanism with one of them."""
    mine = groups("eye", own.wavelength)
    return sum(bool(mine & groups("eye", other.wavelength)) for one in lit for other in every_context(one).values())


def one_verdict(needs: list[EyewearNeed]) -> list[EyewearNeed]:
    """Return the needs of one person with one verdict on the eyewear over all wavelengths."""
    verdicts = [n.verdict for n in needs if n.verdict is not None]
    if len(needs) < 2 or len(verdicts) < len(needs):
        return needs
    enough = all(v.enough for v in verdicts) and all(n.reliable for n in needs)
    failing = [f"{n.wavelength * 1e9:.6g} nm" for n in needs if n.verdict is not None and not n.verdict.enough]
    result = []
    for need, own in zip(needs, verdicts, strict=True):
        more = (Message("sum.every_line", waves=", ".join(failing)),) if failing else ()
        said = own.verdict if enough or not own.enough else NOT_ENOUGH
        result.append(replace(need, verdict=replace(own, enough=enough, verdict=said, reasons=(*own.reasons, *more))))
    return result


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
        for c in own.compared(tissue, duration):
            key = c.rule_set, group_of(tissue, c.hazard, own.wavelength)
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


def broken_context(stage: Stage, context: Context, way: str) -> tuple[Context | None, str]:
    """Return a laser with the beam of a fault, all its wavelengths in it, and a note; None where it cannot happen."""
    setup, beam, note = context.setup, context.beam, ""
    if way == "fibre broken":
        if not 300e-9 <= context.wavelength <= 2.4e-6:
            return None, Message("cannot.fibre")
        if not setup.kind.startswith("fibre"):
            beam = fibre_multimode(FIBRE_APERTURE, "5 %", propagation=context.case.settings.propagation)
            note = Message("fault.aperture", value=f"{FIBRE_APERTURE:g}")
    else:
        if setup.kind != "lens":
            return None, Message("cannot.lens")
        other = next((c for c in stage.contexts if c.laser is context.laser and c.setup.kind == "collimated"), None)
        if other is not None:
            beam, note = other.beam, Message("fault.as_setup", name=other.setup.name)
        else:
            width = context.beam.divergence[0] * abs(context.beam.waist_position[0])
            angle = least_divergence(width, context.wavelength)
            beam = collimated(width, angle, "1/e", context.beam.profile)
            note = Message("fault.least_divergence")
    lines = {name: replace(line, beam=beam) for name, line in line_contexts(context).items()}
    return replace(context, beam=beam, _lines=lines), note
