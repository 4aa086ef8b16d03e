"""What the decision says of barriers: the highest load that any of them has to hold, and which hold what."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from lasersafe.quantity import format_quantity
from lasersafe.records.barriers import BarrierLine, BarrierLoad, BarrierWay
from lasersafe.records.fields import badness
from lasersafe.results import BarrierResult
from lasersafe.wording import WAYS

if TYPE_CHECKING:
    from lasersafe.wording import Wording

_MOST = 3  # barriers of which it is said what they do not hold


def barrier_loads(results: Sequence[BarrierResult], lines: Sequence[BarrierLine]) -> tuple[BarrierLoad, ...]:
    """Return what falls on each barrier, by its distance and, where there is a scene, by its place."""
    return tuple(_by_distance(results) + _by_place(lines))


def barrier_words(
    falls: Sequence[BarrierLoad], lines: Sequence[BarrierLine], lasers: Sequence[str], wording: Wording
) -> tuple[str, tuple[str, ...]]:
    """Return what barriers have to hold, and whether they do.

    Parameters
    ----------
    falls : sequence of BarrierLoad
        As `barrier_loads` gives them.
    lines : sequence of BarrierLine
        By their place, where there is a scene.
    lasers : sequence of str
        All that are fitted; their beams are named when there is no barrier.
    wording : Wording
        Language of the sentences.

    Returns
    -------
    str, tuple of str
        Some sentences; and the last of them, on what passes above a barrier or through it.
    """
    asked = [fall for fall in falls if fall.asked]
    if not asked:
        return wording.text("say.no_barrier", laser=wording.text("say.and").join(dict.fromkeys(lasers))), ()
    hardest = max(asked, key=lambda fall: badness(fall.load))
    pulsed = [fall for fall in asked if fall.pulse is not None]
    sharpest = max(pulsed, key=lambda fall: badness(fall.pulse or 0.0), default=None)
    loads = [(hardest, _density(hardest.load, wording))]
    if sharpest is not None and (math.isfinite(hardest.load) or hardest.pulse_rating is not None):
        energy = format_quantity((sharpest.pulse or 0.0) / 1e4, "J/cm2", 3, "up")
        loads = [*loads[: math.isfinite(hardest.load)], (sharpest, wording.text("say.one_pulse", load=energy))]
    first = [
        wording.text("say.must_hold", barrier=fall.barrier, load=load, way=_way(fall, wording)) for fall, load in loads
    ]
    names = list(dict.fromkeys(fall.barrier for fall in asked))
    remarks = _passing(names, lines, wording)
    return " ".join([*first, *_verdicts(names, falls, lines, lasers, wording), *remarks]), remarks


def _by_distance(results: Sequence[BarrierResult]) -> list[BarrierLoad]:
    return [_fall(one.barrier, one, [o for o in results if o.barrier == one.barrier], one.way) for one in results]


def _by_place(lines: Iterable[BarrierLine]) -> list[BarrierLoad]:
    found = []
    for line in lines:
        if line.kind != "terrain":
            found += [_fall(line.name, one, line.ways, one.way) for one in line.ways]
            found += [_fall(line.name, one, line.ways, "direct") for one in line.faults]
    return [fall for fall in found if not fall.load <= 0.0]


def _fall(
    name: str, one: BarrierResult | BarrierWay, same: Sequence[BarrierResult | BarrierWay], way: str
) -> BarrierLoad:
    """Return what falls with the other fitted lasers, which light the barrier at the same time and on the same way."""
    load, pulse = one.irradiance, one.pulse
    others = [other for other in same if other.fitted and other.way == way and other.laser != one.laser]
    for laser in dict.fromkeys(other.laser for other in others):
        own = [other for other in others if other.laser == laser]
        load += max((other.irradiance for other in own), key=badness)
        more = max((other.pulse for other in own if other.pulse is not None), key=badness, default=None)
        pulse = more if pulse is None else pulse + (more or 0.0)
    return BarrierLoad(
        name, one.way, one.laser, one.setup, one.fitted, one.asked, one.holds, one.rating, one.rated_time, load,
        not load <= one.irradiance, pulse, one.pulse_rating,
    )  # fmt: skip


def _panes(lines: Sequence[BarrierLine]) -> dict[str, None]:
    return dict.fromkeys(
        f"{pane.name} ({line.name})" for line in lines for pane in line.windows if pane.fitted and not pane.holds
    )


def _low(lines: Sequence[BarrierLine]) -> list[BarrierLine]:
    return [
        line for line in lines
        if line.kind == "barrier" and (high := line.needed_height) is not None and not line.top >= high
    ]  # fmt: skip


def _failing(names: Iterable[str], falls: Sequence[BarrierLoad]) -> list[str]:
    mine = [f for f in falls if f.asked and f.fitted and f.way in WAYS and not f.holds]
    return [name for name in names if any(f.barrier == name for f in mine)]


def _verdicts(
    names: list[str],
    falls: Sequence[BarrierLoad],
    lines: Sequence[BarrierLine],
    lasers: Sequence[str],
    wording: Wording,
) -> list[str]:
    """Return which barriers hold: all, or what each of the others does not hold."""
    falls = [fall for fall in falls if fall.barrier in names]
    own = [fall for fall in falls if fall.rating is not None or fall.asked]  # of the others' light it is not there for
    failing = _failing(names, own)
    panes = _panes(lines)
    bad = {name: [f for f in own if f.barrier == name and not f.holds] for name in names if name not in failing}
    partly = sorted((group for group in bad.values() if group), key=lambda group: -_worst(group).factor)
    found = [wording.text("say.fails", barriers=", ".join([*failing, *panes]))] if failing or panes else []
    found += [_partly(group, own, wording) for group in partly[:_MOST]]
    if len(partly) > _MOST:
        found.append(wording.text("say.more_partly", count=len(partly) - _MOST))
    if not found:
        apart = any(set(lasers) - {fall.laser for fall in own if fall.barrier == name} for name in names)
        found = [wording.text("say.all_hold_own" if apart else "say.all_hold")]
    return found


def _passing(names: list[str], lines: Sequence[BarrierLine], wording: Wording) -> tuple[str, ...]:
    """Return which barriers are too low for those behind them, and through what light passes."""
    judged = {pane.name for line in lines for pane in line.windows}
    gaps = [f"{gap.name} ({line.name})" for line in lines if line.name in names
            for gap in line.openings if gap.open and gap.name not in judged]  # fmt: skip
    low = [
        wording.text(
            "say.low_barrier", barrier=line.name, top=f"{line.top:g} m",
            needed=format_quantity(line.needed_height or 0.0, "m", 3, "up"),
        )
        for line in _low(lines)
    ]  # fmt: skip
    found = [wording.text("say.too_low", barriers=", ".join(low))] if low else []
    return (*found, wording.text("say.with_gaps", gaps=", ".join(dict.fromkeys(gaps)))) if gaps else tuple(found)


def _partly(bad: list[BarrierLoad], every: list[BarrierLoad], wording: Wording) -> str:
    """Return what a barrier holds, and what is too much for it: of the lasers as fitted, and the most of all."""
    worst = _worst(bad)
    today = [fall for fall in bad if fall.fitted and fall.way in WAYS]
    much = "; ".join(_too_much(fall, wording) for fall in dict.fromkeys([_worst(today or bad), worst]))
    if not today:
        return wording.text("say.holds_as_fitted", barrier=worst.barrier, much=much)
    mine = [fall for fall in every if fall.barrier == worst.barrier and fall.fitted]
    held = [way for way in WAYS if (own := [f for f in mine if f.way == way]) and all(f.holds for f in own)]
    if not held:
        return wording.text("say.holds_nothing", barrier=worst.barrier, much=much)
    listed = wording.text("say.and").join(wording.text(f"way.{way}") for way in held)
    return wording.text("say.holds_only", barrier=worst.barrier, held=listed, much=much)


def _too_much(fall: BarrierLoad, wording: Wording) -> str:
    way = _way(fall, wording)
    if not 1.0 < fall.factor < math.inf:
        return wording.text("say.not_held", way=way)
    factor = format_quantity(fall.factor, "1", 2, "up")
    return wording.text("say.times_its_rating", way=way, factor=factor)


def _worst(falls: list[BarrierLoad]) -> BarrierLoad:
    return max(falls, key=lambda fall: (fall.factor, badness(fall.load)))


def _way(fall: BarrierLoad, wording: Wording) -> str:
    way = wording.text(f"way.{fall.way}")
    way = way if fall.fitted else wording.text("say.way_not_fitted", way=way, setup=fall.setup)
    return way + wording.text("say.all_together") if fall.together else way


def _density(irradiance: float, wording: Wording) -> str:
    if not math.isfinite(irradiance):
        return wording.text("say.single_pulse")
    if irradiance < 1000.0:
        return format_quantity(irradiance, "W/m2", 3, "up")
    return format_quantity(irradiance / 1e4, "W/cm2", 3, "up")
