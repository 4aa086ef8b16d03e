"""The fields of a case file, table by table, as docs/cases.md describes them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from lasersafe.models import Axes, Case, Knob
from lasersafe.models.base import CaseModel
from lasersafe.models.values import Measured


@dataclass(frozen=True)
class FieldRow:
    """One field of the case file, for the documentation."""

    table: str
    field: str
    value: str
    required: bool
    default: str
    description: str


def describe_fields() -> tuple[FieldRow, ...]:
    """Return a row for each field of a case file, table by table, for ``docs/cases.md``."""
    return tuple(_rows(Case, "top of the file"))


def _rows(model: type[CaseModel], table: str) -> Iterator[FieldRow]:
    below: list[tuple[type[CaseModel], str]] = []
    for name, info in model.model_fields.items():
        models = [one for one in leaves_of(info.annotation) if isinstance(one, type) and issubclass(one, CaseModel)]
        for one in models:
            parent = "" if table == "top of the file" else table.partition(" (")[0].strip("[]") + "."
            many = "tuple" in str(info.annotation)
            heading = f"[[{parent}{name}]]" if many else f"[{parent}{name}]"
            kind = f' (kind = "{leaves_of(one.model_fields["kind"].annotation)[0]}")' if len(models) > 1 else ""
            below.append((one, heading + kind))
        value = "table" if models else _value(info)
        yield FieldRow(table, name, value, info.is_required(), _default(info), info.description or "")
    for one, heading in below:
        yield from _rows(one, heading)


def leaves_of(annotation: Any) -> list[Any]:
    """Return the types and the words that an annotation is made of."""
    parts = [part for part in get_args(annotation) if part is not Ellipsis and part is not type(None)]
    if hasattr(annotation, "__metadata__"):
        parts = parts[:1]
    return [leaf for part in parts for leaf in leaves_of(part)] if parts else [annotation]


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
    leaves = leaves_of(info.annotation)
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
    return str(info.default).lower() if isinstance(info.default, bool) else _shown(info.default)


def _shown(value: Any) -> str:
    return ", ".join(map(str, value)) if isinstance(value, tuple) else str(getattr(value, "typed", value))
