"""Controls in place and proposed, which scenarios they answer, and which scenarios they leave open."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lasersafe.assessment.context import BASE_WAY
from lasersafe.results import Control, ControlFinding, Scenario
from lasersafe.wording import CONTROL_KINDS, WAYS

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.wording import Wording

FIRST_KINDS = CONTROL_KINDS[:2]  # substitute and technical: what does not hang on a person's behaviour


def controls_of(case: Case, wording: Wording, words: set[str], scenarios: list[Scenario]) -> tuple[Control, ...]:
    """Return controls in the order substitute - technical - organisational - personal, those in place first."""
    ways = {BASE_WAY.get(s.way, s.way) for s in scenarios if not s.below and not s.struck_out}
    found = []
    for control in case.control:
        known = wording.control(control.key) if control.key else None
        named = tuple(way for way in WAYS if way in control.answers)
        persons = tuple(word for word in control.answers if word not in WAYS)
        answers = named or (known.answers if known else WAYS if persons else ())
        text = control.text or (known.text if known else "")
        found.append(
            Control(
                control.kind,
                text,
                answers,
                persons,
                control.laser or "",
                known.alone if known else True,
                key=known.key if known else "",
                in_place=True,
            )
        )
    done = {control.key for control in found}
    for entry in wording.controls_for(words):
        answers = tuple(way for way in entry.answers if way in ways)
        if answers and entry.key not in done:
            found.append(Control(entry.kind, entry.text, answers, key=entry.key))
    return tuple(sorted(found, key=lambda control: CONTROL_KINDS.index(control.kind)))


def answers_scenario(control: Control, scenario: Scenario) -> bool:
    """Return whether a control answers a scenario: way, person and laser must all fit."""
    return (
        BASE_WAY.get(scenario.way, scenario.way) in control.answers
        and (not control.persons or scenario.person in control.persons)
        and control.laser in ("", scenario.laser)
    )


def with_controls(scenarios: list[Scenario], controls: tuple[Control, ...]) -> list[Scenario]:
    """Return the scenarios with the controls that answer those above the limit."""
    found = []
    for scenario in scenarios:
        own = [control for control in controls if not scenario.below and answers_scenario(control, scenario)]
        in_place = tuple(control.text for control in own if control.in_place)
        found.append(replace(scenario, controls=tuple(control.text for control in own), in_place=in_place))
    return found


def control_findings(
    scenarios: list[Scenario], controls: tuple[Control, ...], fitted: set[tuple[str, str]], by_barrier: set[str]
) -> tuple[ControlFinding, ...]:
    """Return the scenarios of today above the limit that nothing of the first two kinds answers.

    Parameters
    ----------
    scenarios : list of Scenario
        With their final keys.
    controls : tuple of Control
        All of the case.
    fitted : set of tuple
        Laser and set-up that are fitted today.
    by_barrier : set of str
        Keys of the scenarios that a barrier which holds answers; a barrier is a technical control.
    """
    strong = [control for control in controls if control.in_place and control.alone and control.kind in FIRST_KINDS]
    found = []
    for scenario in scenarios:
        if scenario.below or scenario.struck_out or (scenario.laser, scenario.setup) not in fitted:
            continue
        if scenario.key in by_barrier or any(answers_scenario(control, scenario) for control in strong):
            continue
        personal = bool(scenario.answer) or any(
            control.in_place
            and control.kind == "personal"
            and (scenario.tissue == "eye" or control.key.startswith("cover skin"))
            and answers_scenario(control, scenario)
            for control in controls
        )
        found.append(
            ControlFinding(
                scenario.key, scenario.laser, scenario.setup, scenario.person, scenario.way, scenario.tissue, personal
            )
        )
    return tuple(found)
