"""Which values a question is worked out with where inputs of the case carry tolerances, in words and as data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lasersafe.quantity import format_quantity
from lasersafe.records.fields import as_json
from lasersafe.records.uncertainty import InputTolerance
from lasersafe.studies.subject import Subject, trimmed

MOST_NAMED = 8
_TOLD = ("field", "typed", "unit", "nominal", "low", "high", "kind")
EXACT, CORNER, TYPED = "exact inputs", "worst corner of the tolerances", "values as typed"


def worked_out_with(subject: Subject, values: Mapping[str, float]) -> str:
    """Return which values of the inputs that are not changed are used: `EXACT`, `CORNER` or `TYPED`.

    Parameters
    ----------
    subject : Subject
        What the question is about.
    values : mapping of str to float
        Path of each input that is changed to a value that it takes. [SI]
    """
    if not subject.unsure(values):
        return EXACT
    return TYPED if subject.case.settings.decide_by == "as typed" else CORNER


def certainty(subject: Subject, values: Mapping[str, float]) -> list[str]:
    """Return the sentence on the tolerances of all inputs that are not changed; nothing where there are none."""
    how, every = worked_out_with(subject, values), subject.unsure(values)
    if how == EXACT:
        return []
    named = [f"{one.field} = {one.typed}" + (f" ({_used(one)})" if how == CORNER else "") for one in every]
    more = len(named) - MOST_NAMED
    said = "; ".join(named[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")
    if how == CORNER:
        return [f"Every number is that of the worst corner of the tolerances, not of the values typed: {said}."]
    why = subject.case.settings.decide_by_reason.rstrip(".")
    return [f"Tolerances are not counted, since the case decides by the values as typed ({why}): {said}."]


def _used(one: InputTolerance) -> str:
    if one.found == "monotone":
        return f"with {_text(one, one.used[0])}"
    return f"the worst from {_text(one, one.low)} to {_text(one, one.high)}"


def _text(one: InputTolerance, value: float) -> str:
    if one.field.endswith("wavelength"):
        return f"{value * 1e9:.6g} nm"
    return trimmed(format_quantity(value, one.unit, 4))


def certainty_data(subject: Subject, values: Mapping[str, float]) -> dict[str, Any]:
    """Return the same as plain values."""
    how = worked_out_with(subject, values)
    return {
        "worked_out_with": how,
        "tolerances": [
            as_json(one, _TOLD) | {"used": [one.nominal] if how == TYPED else list(one.used)}
            for one in subject.unsure(values)
        ],
        "decided_as_typed_because": subject.case.settings.decide_by_reason if how == TYPED else "",
    }
