"""The decision block, the controls and the other hazards of a case."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lasersafe.assessment.context import FAR_INFRARED, Context
from lasersafe.assessment.ways import BASE_WAY
from lasersafe.quantity import feet, format_quantity
from lasersafe.results import (
    BarrierResult,
    Control,
    Decision,
    EyewearNeed,
    RuleSetDifference,
    Scenario,
    SetupResult,
    Zone,
)

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.wording import Wording


def conditions(case: Case, found: list[Context], scenarios: list[Scenario], eyewear: list[EyewearNeed]) -> set[str]:
    """Return the condition words of the wording files that hold in this case."""
    words = {"spectators"} if any(p.role in ("spectator", "passer-by") for p in case.person) else set()
    for context in found:
        lam = context.wavelength
        kinds = {context.setup.kind}
        words |= {"lens"} if "lens" in kinds else set()
        words |= {"fibre"} if context.setup.kind.startswith("fibre") else set()
        words |= {"ultraviolet"} if lam < 400e-9 else set()
        words |= {"visible"} if 400e-9 <= lam <= 700e-9 else {"invisible"}
        words |= {"far infrared"} if lam >= FAR_INFRARED else set()
        words |= {"pulsed"} if context.space.kind != "continuous" else set()
        power = 0.0 if context.space.power is None else context.space.power[1]
        words |= {"kilowatt"} if power >= 1000.0 else set()
        words |= {"process"} if context.setup.work_distance is not None or case.other_hazards.work_material else set()
        words |= {"handheld"} if context.laser.handheld else set()
    words |= {"eyewear"} if eyewear else set()
    words |= {"barrier"} if case.barrier else set()
    return words


def controls_of(case: Case, wording: Wording, words: set[str], scenarios: list[Scenario]) -> tuple[Control, ...]:
    """Return the controls in the order substitute - technical - organisational - personal."""
    ways = {BASE_WAY.get(s.way, s.way) for s in scenarios if not s.below and not s.struck_out}
    found = [Control(c.kind, f"In place: {c.text}") for c in case.control]
    for entry in wording.controls_for(words):
        answers = tuple(way for way in entry.answers if way in ways)
        if answers:
            found.append(Control(entry.kind, entry.text, answers))
    order = ("substitute", "technical", "organisational", "personal")
    return tuple(sorted(found, key=lambda c: order.index(c.kind)))


def differences_of(setups: list[SetupResult]) -> tuple[RuleSetDifference, ...]:
    """Return the distances that differ by more than 1 % between the rule sets."""
    found = []
    for setup in setups:
        for zone in setup.zones:
            values = zone.by_rule_set
            if len(values) > 1 and max(values.values()) > 1.01 * min(values.values()):
                found.append(
                    RuleSetDifference(
                        f"{setup.laser}, {setup.setup}: {zone.way}, {zone.tissue}",
                        dict(values),
                        "m",
                        zone.criterion.rule_set,
                    )
                )
    return tuple(found)


def metres(distance: float) -> str:
    """Return a distance for the decision block, rounded up, with feet."""
    step = 1.0 if distance > 10.0 else 0.1
    rounded = math.ceil(distance / step - 1e-9) * step
    digits = 0 if step == 1.0 else 1
    return f"{rounded:,.{digits}f} m ({math.ceil(feet(rounded)):,} ft)".replace(",", " ")


def _zone(setups: list[SetupResult], way: str) -> tuple[Zone, SetupResult]:
    pairs = [(setup.zone(way, tissue), setup) for setup in setups for tissue in ("eye", "skin")]
    return max(pairs, key=lambda pair: pair[0].distance)


def decision_of(
    case: Case,
    setups: list[SetupResult],
    scenarios: list[Scenario],
    eyewear: list[EyewearNeed],
    barriers: list[BarrierResult],
) -> Decision:
    """Return the block that a producer reads aloud."""
    fitted = [s for s in setups if s.fitted]
    direct, direct_setup = _zone(fitted, "direct")
    scatter, _ = _zone(fitted, "scatter")
    open_ones = [s for s in scenarios if _is_fitted(s, fitted) and not s.below and not s.answer and not s.struck_out]
    reasons = _reasons(case, setups, fitted, open_ones)
    passed = not open_ones and bool(scenarios)
    limit = direct.criterion
    people = (
        f"People who are not involved stand {metres(direct.distance)} or more from the last optic along the beam and "
        f"its mirror reflections, or behind a barrier that holds. With beam and reflections stopped, they stand "
        f"{metres(scatter.distance)} or more from the lit spot. Beyond these distances the computed exposure is below "
        f"the {limit.tissue} limit of {limit.rule_set} for {limit.duration:g} s."
    )
    verdict = (
        "Every person is below the limit, or behind a barrier or eyewear that holds, in every scenario assessed"
        if passed
        else f"Do not run as planned: {_plural(len(open_ones), 'scenario')} above the limit without an answer"
        if scenarios
        else "No verdict: the case names no person"
    )
    return Decision(
        wear=_wear(eyewear, fitted),
        people=people,
        barrier=_barrier(barriers, fitted, direct_setup),
        verdict=verdict,
        passed=passed,
        reasons=tuple(reasons),
        headline_distance=direct.distance,
        headline_tissue=direct.tissue,
    )


def _plural(count: int, noun: str) -> str:
    return f"{count} {noun}" + ("" if count == 1 else "s")


def _is_fitted(scenario: Scenario, fitted: list[SetupResult]) -> bool:
    return any(scenario.laser == s.laser and scenario.setup == s.setup for s in fitted)


def _wear(eyewear: list[EyewearNeed], fitted: list[SetupResult]) -> str:
    lines = []
    for setup in fitted:
        needs = [n for n in eyewear if n.laser == setup.laser and n.setup == setup.setup]
        if not needs:
            continue
        worst = max(needs, key=lambda n: (not n.reliable, n.optical_density))
        if worst.reliable:
            lines.append(f"{setup.laser}: {worst.marking} for anyone as near as {worst.person}")
        else:
            against = next((n.notes[0] for n in needs if n.notes and n.notes[0].startswith("against scatter")), "")
            tail = f"; {against}" if against else ""
            lines.append(f"{setup.laser}: {worst.no_reliance}{tail}")
    return ". ".join(lines) + "." if lines else "No eyewear is asked for by these scenarios."


def _density(irradiance: float) -> str:
    if not math.isfinite(irradiance):
        return "a single pulse, for which it has no rating"
    if irradiance < 1000.0:
        return format_quantity(irradiance, "W/m2", 3, "up")
    return format_quantity(irradiance / 1e4, "W/cm2", 3, "up")


def _barrier(barriers: list[BarrierResult], fitted: list[SetupResult], direct_setup: SetupResult) -> str:
    own = [b for b in barriers if any(b.laser == s.laser and b.setup == s.setup for s in fitted)]
    if not own:
        return (
            f"No barrier is named. What stands behind the target must stop the beam of {direct_setup.laser} "
            "for as long as it can be on."
        )
    worst = max(own, key=lambda b: (not b.holds, b.irradiance))
    text = f"'{worst.barrier}' must hold {_density(worst.irradiance)} ({worst.way})"
    failing = [b.barrier for b in own if not b.holds]
    if failing:
        return f"{text}. It does not hold: {', '.join(dict.fromkeys(failing))}."
    return f"{text}. Every barrier named holds as rated."


def _reasons(case: Case, setups: list[SetupResult], fitted: list[SetupResult], open_ones: list[Scenario]) -> list[str]:
    found = []
    for scenario in sorted(open_ones, key=lambda s: -s.ratio)[:4]:
        found.append(
            f"{scenario.person}: {scenario.way}, {scenario.tissue}, {format_quantity(scenario.ratio, '1', 3, 'up')} "
            f"times the limit ({scenario.laser}, {scenario.setup})"
        )
    for setup in fitted:
        reach = setup.zone("direct", "eye").distance
        others = [s for s in setups if s.laser == setup.laser and not s.fitted]
        worse = max(others, key=lambda s: s.zone("direct", "eye").distance, default=None)
        if worse is not None and worse.zone("direct", "eye").distance > reach:
            found.append(
                f"{setup.laser} is assessed with '{setup.setup}' fitted; with '{worse.setup}' the direct beam reaches "
                f"{metres(worse.zone('direct', 'eye').distance)}: check what is fitted before every start"
            )
    if case.strike_out:
        found.append(f"{_plural(len(case.strike_out), 'scenario group')} struck out; the reasons are in the table")
    return found
