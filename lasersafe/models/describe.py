"""What a case says: as lines for the sheet, as plain SI data for the fingerprint, and each field described."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from lasersafe.frozen import dataclass
from lasersafe.models.base import CaseModel
from lasersafe.models.case import Case
from lasersafe.models.messages import Place
from lasersafe.models.places import Path, Spot
from lasersafe.models.values import Axes, Knob, Measured, SIValue

if TYPE_CHECKING:
    from lasersafe.results import InputLine


@dataclass(frozen=True)
class FieldRow:
    """One field of the case file, for the documentation."""

    table: str
    field: str
    value: str
    required: bool
    default: str
    description: str


def typed_inputs(case: Case) -> tuple[InputLine, ...]:
    """Return every input as typed, in the order of the file.

    Parameters
    ----------
    case : Case
        From ``read_case``; a case from ``case_from`` has no lines.

    Returns
    -------
    tuple of InputLine
        ``used`` is the value in SI units, empty for plain text. Fields that were left out are not there.
    """
    inputs = _inputs(case, (), case._lines)
    return tuple(sorted(inputs, key=lambda line: line.line or 0))


def _inputs(model: BaseModel, place: Place, lines: dict[Place, int]) -> Iterator[InputLine]:
    from lasersafe.results import InputLine

    for name in type(model).model_fields:
        if name not in model.model_fields_set:
            continue
        value, here = getattr(model, name), (*place, name)
        if isinstance(value, BaseModel):
            yield from _inputs(value, here, lines)
        elif isinstance(value, tuple) and value and isinstance(value[0], BaseModel):
            for i, one in enumerate(value):
                yield from _inputs(one, (*here, i), lines)
        elif here in lines or not lines:
            yield InputLine(_path(here), _typed(value), _used(value), lines.get(here))


def _path(place: Place) -> str:
    text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in place)
    return text.removeprefix(".")


def _typed(value: object) -> str:
    if isinstance(value, (SIValue, Knob, Axes, Spot, Path)):
        return value.typed
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(str(one) for one in value)
    return value.isoformat() if isinstance(value, date) else str(value)


def _used(value: object) -> str:
    if isinstance(value, SIValue):
        return _plain(value)
    if isinstance(value, Knob):
        return f"{_plain(value.low)} to {_plain(value.high)}" if value.turnable else _plain(value.low)
    if isinstance(value, Axes):
        return _plain(value.x) if value.circular else f"{_plain(value.x)} x {_plain(value.y)}"
    if isinstance(value, Spot):
        return f"({_plain(value.x)}, {_plain(value.y)})"
    if isinstance(value, Path):
        return " ".join(_used(spot) for spot in value.spots)
    return ""


def _plain(value: SIValue) -> str:
    unit = "" if value.unit == "1" else f" {value.unit}"
    off = value.tolerance
    if off is None:
        return f"{float(value):.6g}{unit}"
    word = "" if off.kind == "bound" else f", {off.kind}"
    return f"{float(value):.6g} ({off.low:.6g} to {off.high:.6g}{word}){unit}"


def canonical(case: Case) -> dict[str, Any]:
    """Return the case as plain data in SI units, with defaults filled in and keys sorted, for a fingerprint.

    Two cases that mean the same (``1.5 kW`` and ``1500 W``) give the same data.

    Parameters
    ----------
    case : Case
        The case.

    Returns
    -------
    dict
        Only dictionaries, lists, text, numbers, booleans and None; floats in SI units.
    """
    return {name: _simple(getattr(case, name)) for name in sorted(type(case).model_fields)}


def _simple(value: object) -> Any:
    if isinstance(value, BaseModel):
        return {name: _simple(getattr(value, name)) for name in sorted(type(value).model_fields)}
    if isinstance(value, SIValue):
        number = float(value) + 0.0  # minus zero becomes zero
        off = value.tolerance
        if off is None:
            return number
        return {"value": number, "lowest": off.low + 0.0, "highest": off.high + 0.0, "kind": off.kind}
    if isinstance(value, Knob):
        return [_simple(value.low), _simple(value.high)]
    if isinstance(value, Axes):
        return [_simple(value.x), _simple(value.y)]
    if isinstance(value, Spot):
        return [_simple(value.x), _simple(value.y)]
    if isinstance(value, Path):
        return [_simple(one) for one in value.spots]
    if isinstance(value, tuple):
        return [_simple(one) for one in value]
    return value.isoformat() if isinstance(value, date) else value


def json_schema() -> dict[str, Any]:
    """Return the JSON schema of a case file; every number with a unit is a string with ``x-unit``."""
    for info in Case.model_fields.values():
        if isinstance(info.default, CaseModel):
            type(info.default).model_rebuild()  # pydantic below 2.14 wants it built before it is written as a default
    return Case.model_json_schema()


def describe_fields() -> tuple[FieldRow, ...]:
    """Return a row for each field of a case file, table by table, for ``docs/cases.md``."""
    return tuple(_rows(Case, "top of the file"))


def _rows(model: type[CaseModel], table: str) -> Iterator[FieldRow]:
    below: list[tuple[type[CaseModel], str]] = []
    for name, info in model.model_fields.items():
        models = [one for one in _leaves(info.annotation) if isinstance(one, type) and issubclass(one, CaseModel)]
        for one in models:
            parent = "" if table == "top of the file" else table.partition(" (")[0].strip("[]") + "."
            many = "tuple" in str(info.annotation)
            heading = f"[[{parent}{name}]]" if many else f"[{parent}{name}]"
            kind = f' (kind = "{_leaves(one.model_fields["kind"].annotation)[0]}")' if len(models) > 1 else ""
            below.append((one, heading + kind))
        value = "table" if models else _value(info)
        yield FieldRow(table, name, value, info.is_required(), _default(info), info.description or "")
    for one, heading in below:
        yield from _rows(one, heading)


def _leaves(annotation: Any) -> list[Any]:
    parts = [part for part in get_args(annotation) if part is not Ellipsis and part is not type(None)]
    if hasattr(annotation, "__metadata__"):
        parts = parts[:1]
    return [leaf for part in parts for leaf in _leaves(part)] if parts else [annotation]


def _value(info: FieldInfo) -> str:
    mark = next((mark for mark in info.metadata if isinstance(mark, Measured)), None)
    if mark is not None:
        shape = {
            "number": "",
            "range": ", or a range",
            "axes": ", or two axes",
            "point": ", x and y",
            "path": ", x and y of each corner",
            "area": ", x and y of each corner",
        }[mark.shape]
        bounds = f"{'above ' if mark.above_low else ''}{mark.low} to {'below ' if mark.below_high else ''}{mark.high}"
        with_tolerance = "" if mark.worst == "none" else ", may carry a tolerance"
        return ("number" if mark.unit == "1" else "number with unit") + f"{shape}: {bounds}{with_tolerance}"
    leaves = _leaves(info.annotation)
    many = "tuple" in str(info.annotation)
    if all(isinstance(leaf, str) for leaf in leaves):
        kind = " | ".join(f'"{leaf}"' for leaf in leaves)
    else:
        kind = {str: "text", bool: "true | false", date: "day", int: "whole number", float: "number"}[leaves[0]]
    if leaves[0] in (int, float):
        kind += "s" * many + _bounds(info)
    return f"list of {kind}" if many else kind


def _bounds(info: FieldInfo) -> str:
    """Return from where to where a plain number may go, wherever in the annotation that is said."""
    inside, marks = [info.annotation], list(info.metadata)
    while inside:
        one = inside.pop()
        inside += get_args(one)
        for mark in getattr(one, "__metadata__", ()):
            marks += mark.metadata
    ends = {name: getattr(mark, name) for mark in marks for name in ("ge", "le") if hasattr(mark, name)}
    return f": {ends['ge']:g} to {ends['le']:g}"


def _default(info: FieldInfo) -> str:
    if info.is_required() or info.default in (None, "", ()) or isinstance(info.default, (BaseModel, Axes, Knob)):
        return ""
    return _typed(info.default) if not isinstance(info.default, bool) else str(info.default).lower()
