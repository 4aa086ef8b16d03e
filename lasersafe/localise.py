"""An assessment in another language: what the program says in it goes through the phrases of the wording.

Names, notes and reasons that a user typed are left alone; so are symbols, formulas, numbers and units.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from lasersafe.results import (
    Assessment,
    BarrierResult,
    ChartData,
    ClassCheck,
    Criterion,
    Curve,
    Expected,
    ExtendedResult,
    EyewearNeed,
    InputLine,
    KnobEffect,
    LimitLine,
    LineShare,
    MarkingVerdict,
    ModuleResult,
    RuleLine,
    RuleSetDifference,
    ScanPlace,
    ScanResult,
    Scenario,
    SettingReport,
    SetupResult,
    Step,
    SumResult,
    UltravioletDay,
    Zone,
)
from lasersafe.wording import Wording

Record = TypeVar("Record")

SPOKEN: dict[type, tuple[str, ...]] = {
    Step: ("meaning", "formula", "numbers"),
    Criterion: ("hazard", "rule", "note"),
    Zone: ("origin", "note"),
    Curve: ("label",),
    LimitLine: ("label",),
    ChartData: ("quantity",),
    SetupResult: ("beam", "setting"),
    Scenario: ("duration_reason", "surface"),
    MarkingVerdict: ("verdict", "reasons"),
    EyewearNeed: ("marking", "decides", "no_reliance", "notes"),
    BarrierResult: ("verdict", "notes"),
    RuleSetDifference: ("what",),
    InputLine: ("used",),
    Expected: ("numbers",),
    Assessment: ("rules",),
    SettingReport: ("setting", "sentence", "others"),
    KnobEffect: ("knob", "now", "then", "worst_then"),
    RuleLine: ("rule", "hazard", "note"),
    ClassCheck: ("sentence",),
    UltravioletDay: ("rule", "visits"),
    ScanResult: ("tissue", "pattern", "credit"),
    ScanPlace: ("sentence",),
    SumResult: ("sentence",),
    LineShare: ("line", "hazard"),
    ModuleResult: ("sentence",),
    ExtendedResult: ("tissue", "hazard", "rule", "part", "sentence"),
}
WHOLE: dict[type, tuple[str, ...]] = {  # translated as a whole or not at all
    Scenario: ("struck_out",),  # the user's words, or one sentence of the program
    Step: ("source",),  # a place in a document keeps its words
}


def localise(assessment: Assessment, wording: Wording) -> Assessment:
    """Return the assessment with the words of the program in the language of the wording.

    Parameters
    ----------
    assessment : Assessment
        As assessed.
    wording : Wording
        Its phrases are used; a wording without any leaves the assessment as it is.
    """
    if not wording.phrases:
        return assessment
    return _Localiser(wording).record(assessment)


class _Localiser:
    """Walks through records; the same record stays the same, since the sheet tells limits apart by identity."""

    def __init__(self, wording: Wording) -> None:
        self.wording = wording
        self.done: dict[int, Any] = {}

    def record(self, value: Record) -> Record:
        if id(value) not in self.done:
            spoken = SPOKEN.get(type(value), ())
            changed: dict[str, Any] = {}
            for field in fields(value):  # type: ignore[arg-type]
                old = getattr(value, field.name)
                new = self._spoken(old) if field.name in spoken else self._inside(old)
                if field.name in WHOLE.get(type(value), ()):
                    new = dict(self.wording.phrases).get(old, old)
                if new is not old:
                    changed[field.name] = new
            self.done[id(value)] = replace(value, **changed) if changed else value  # type: ignore[type-var]
        found: Record = self.done[id(value)]
        return found

    def _spoken(self, value: Any) -> Any:
        if isinstance(value, str):
            said = self.wording.say(value)
            return value if said == value else said
        return tuple(map(self.wording.say, value))

    def _inside(self, value: Any) -> Any:
        if is_dataclass(value) and not isinstance(value, type):
            return self.record(value)
        if isinstance(value, tuple) and value and is_dataclass(value[0]):
            return tuple(self.record(one) for one in value)
        return value
