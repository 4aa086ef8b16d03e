"""Further wavelengths of a laser: their fractions of the limit add to those of the main beam."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.calculation import limit_steps
from lasersafe.assessment.context import Context
from lasersafe.hazard.combine import ADDITION_SOURCE, Line, Share, Sum, groups
from lasersafe.hazard.marking import NOT_ENOUGH
from lasersafe.optics.beam import to_1_over_e
from lasersafe.optics.sources import side_by_side
from lasersafe.quantity import format_quantity
from lasersafe.results import Criterion, EyewearNeed, LineShare, ModuleResult, Step
from lasersafe.wording.message import Message, joined, word

if TYPE_CHECKING:
    from lasersafe.models import ExtraLine


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
    if len(needs) < 2 or any(n.verdict is None for n in needs):
        return needs
    verdicts = [n.verdict for n in needs if n.verdict is not None]
    enough = all(v.enough for v in verdicts) and all(n.reliable for n in needs)
    failing = [f"{n.wavelength * 1e9:.6g} nm" for n in needs if n.verdict is not None and not n.verdict.enough]
    result = []
    for need, own in zip(needs, verdicts, strict=True):
        reasons = own.reasons
        if failing:
            reasons = (*reasons, Message("sum.every_line", waves=", ".join(failing)))
        word = own.verdict if enough or not own.enough else NOT_ENOUGH
        result.append(replace(need, verdict=replace(own, enough=enough, verdict=word, reasons=reasons)))
    return result


def module_results(found: Sequence[Context]) -> list[ModuleResult]:
    """Return how the beams of each fitted module meet the pupil of each person; the bound of one point source decides.

    Of several corners of the tolerances that with the largest share of the power in the pupil is the worst.
    """
    every = ((own, own.laser.module, person) for own in found if own.setup.fitted for person in own.persons)
    results = []
    for context, module, person in every:
        if module is None:
            continue
        count = (module.columns, module.rows)
        column = float(module.column_pitch)
        pitch = (column, column if module.row_pitch is None else float(module.row_pitch))
        distance = float(person.distance)
        seen = side_by_side(context.beam, count, pitch, distance)
        angle = format_quantity(seen.separation, "rad", 3)
        sentence = Message(
            "sum.module", count=count[0] * count[1], angle=angle, person=person.name, sources=word(seen.sources),
            share=f"{seen.joined:.3g}", other=f"{seen.offset:.3g}",
        )  # fmt: skip
        results.append(
            ModuleResult(
                context.laser.name, context.setup.name, person.name, distance, seen.separation, seen.sources,
                seen.joined, seen.offset, sentence,
            )
        )  # fmt: skip
    return results
