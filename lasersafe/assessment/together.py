"""Several lasers at once: their fractions of the limit add for the same tissue, their power adds on a barrier."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.results import BarrierResult, Scenario, Step
from lasersafe.worst import badness

if TYPE_CHECKING:
    from lasersafe.assessment.context import Context
    from lasersafe.models import Case

ALL_LASERS = "all lasers together"
Waves = tuple[float, ...]
_SOURCE = "addition of wavelengths, BGI 832, p. 23, as in shared limits (limits.md, both rule sets)"
_EDGES = (180e-9, 315e-9, 400e-9, 1400e-9, 1e-3)
_ADD = {  # bands 0 UV-B/C, 1 UV-A, 2 visible and IR-A, 3 IR-B/C: which add to which
    "eye": {0: {0}, 1: {1, 3}, 2: {2}, 3: {1, 3}},
    "skin": {0: {0}, 1: {1, 2, 3}, 2: {1, 2, 3}, 3: {1, 2, 3}},
}


def bands(wavelength: float) -> set[int]:
    """Return the bands of a wavelength [m]; one on an edge is in both."""
    slack = 1e-9
    return {i for i in range(4) if _EDGES[i] * (1 - slack) <= wavelength <= _EDGES[i + 1] * (1 + slack)}


def adds(tissue: str, one: float, other: float) -> bool:
    """Return True where the fractions of two wavelengths [m] add for a tissue."""
    return any(b in _ADD[tissue][a] for a in bands(one) for b in bands(other))


def wavelengths_of(contexts: Iterable[Context]) -> dict[tuple[str, str], Waves]:
    """Return all wavelengths [m] of each laser with each set-up."""
    return {
        (c.laser.name, c.setup.name): (c.wavelength, *(float(line.wavelength) for line in c.laser.line))
        for c in contexts
    }


def wavelengths_over(corners: Iterable[Iterable[Context]]) -> dict[tuple[str, str], Waves]:
    """Return the wavelengths [m] of each laser with each set-up at all corners, and the edges of bands between them."""
    found: dict[tuple[str, str], list[set[float]]] = {}
    for contexts in corners:
        for name, waves in wavelengths_of(contexts).items():
            for own, wave in zip(found.setdefault(name, [set() for _ in waves]), waves, strict=True):
                own.add(wave)
    return {
        name: tuple(wave for own in lines for wave in (*sorted(own), *(e for e in _EDGES if min(own) < e < max(own))))
        for name, lines in found.items()
    }


def any_adds(tissue: str, some: Waves, others: Waves) -> bool:
    """Return True where a fraction of one laser can add to one of another."""
    return any(adds(tissue, one, other) for one in some for other in others)


def barriers_together(contexts: list[Context], results: list[BarrierResult]) -> list[BarrierResult]:
    """Return the results of the barriers, failing those whose rating the fitted lasers exceed together."""
    fitted = {(c.laser.name, c.setup.name) for c in contexts if c.setup.fitted}
    total: dict[tuple[str, str], float] = {}
    for r in results:
        if (r.laser, r.setup) in fitted:
            total[r.barrier, r.way] = total.get((r.barrier, r.way), 0.0) + r.irradiance
    found = []
    for r in results:
        both = total.get((r.barrier, r.way), 0.0)
        if (r.laser, r.setup) in fitted and r.holds and r.rating is not None and not both <= r.rating:
            verdict = f"does not hold: {both:.4g} W/m2 from all lasers together exceed the rated {r.rating:.4g} W/m2"
            r = replace(r, holds=False, verdict=verdict)
        found.append(r)
    return found


def sums_of(case: Case, contexts: list[Context], scenarios: list[Scenario]) -> list[Scenario]:
    """Return one scenario for each person and tissue that several fitted lasers can reach at once.

    Of each laser the worst way counts that is neither struck out nor answered by a barrier or eyewear.
    """
    fitted = wavelengths_of(c for c in contexts if c.setup.fitted)
    if len(fitted) < 2:
        return []
    found = []
    for person in case.person:
        for tissue in ("eye", "skin"):
            worst: dict[str, Scenario] = {}
            for s in scenarios:
                mine = s.person == person.name and s.tissue == tissue and (s.laser, s.setup) in fitted
                if mine and not s.struck_out and not s.answer:
                    known = worst.get(s.laser)
                    if known is None or badness(s.ratio) > badness(known.ratio):
                        worst[s.laser] = s
            found += _sums(person.name, tissue, list(worst.values()), fitted)
    return found


def _sums(person: str, tissue: str, worst: list[Scenario], fitted: dict[tuple[str, str], Waves]) -> list[Scenario]:
    """Return the largest sum over lasers whose fractions add, when it says more than its largest part."""
    best: list[Scenario] = []
    for first in worst:
        own = fitted[first.laser, first.setup]
        group = [s for s in worst if any_adds(tissue, own, fitted[s.laser, s.setup])]
        if len(group) > 1 and badness(sum(s.ratio for s in group)) > sum(s.ratio for s in best):
            best = group
    total = sum(s.ratio for s in best)
    largest = max((s.ratio for s in best), key=badness, default=0.0)
    if len(best) < 2 or total <= largest * 1.01:
        return []
    lead = max(best, key=lambda s: badness(s.ratio))
    numbers = " + ".join(f"{s.ratio:.5g} ({s.laser}, {s.way})" for s in best)
    step = Step("Σ", "sum of the fractions of the limit", "Σ exposure / limit", numbers, total, "1", _SOURCE, "read")
    sets = {name: sum(s.ratio_by_rule_set.get(name, s.ratio) for s in best) for name in lead.ratio_by_rule_set}
    return [
        Scenario(
            key="",
            laser=ALL_LASERS,
            setup="",
            person=person,
            role=lead.role,
            way="together",
            tissue=tissue,
            distance=lead.distance,
            duration=max(s.duration for s in best),
            duration_reason="; ".join(dict.fromkeys(s.duration_reason for s in best)),
            exposure=total,
            exposure_unit="1",
            limit=1.0,
            ratio=total,
            below=bool(total <= 1.0),
            criterion=lead.criterion,
            ratio_by_rule_set=sets,
            surface=", ".join(s.laser for s in best),
            steps=(step,),
        )
    ]
