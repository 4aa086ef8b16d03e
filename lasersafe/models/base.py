"""What all models of a case share: frozen, unknown keys refused, and every fault of a table reported at once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from inspect import cleandoc
from typing import Annotated, Any, ClassVar, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    ModelWrapValidatorHandler,
    StrictBool,
    ValidationError,
    model_validator,
)

from lasersafe.errors import InputError
from lasersafe.models.measured import Measured
from lasersafe.models.messages import Finding, Place, findings_of, no_table, refusal
from lasersafe.typed import shown

Findings = Iterator[tuple[str | Place, str]]  # the field, or the place below this table; and what is wrong

_ATTRIBUTES = "\n\nAttributes\n----------\n"
_ATTRIBUTE = re.compile(r"^(\w+)\n((?:    .+\n?)+)", re.MULTILINE)


def _summary_alone(schema: dict[str, Any]) -> None:
    schema["description"] = schema["description"].partition(_ATTRIBUTES)[0]


class CaseModel(BaseModel):
    """Base of every table of a case file; the section Attributes of the docstring describes its fields."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", defer_build=True, arbitrary_types_allowed=True, json_schema_extra=_summary_alone
    )

    how_to_get: ClassVar[dict[str, str]] = {}  # field -> what to do when it is missing

    @classmethod
    def __pydantic_init_subclass__(cls, **kwargs: Any) -> None:
        """Describe each field as the docstring does."""
        for name, text in _ATTRIBUTE.findall(cleandoc(cls.__doc__ or "").partition(_ATTRIBUTES)[2]):
            cls.model_fields[name].description = " ".join(text.split())

    @classmethod
    def findings(cls, peek: Peek) -> Findings:
        """Yield what is wrong between the fields of one table; each model adds its own."""
        yield from ()

    @model_validator(mode="wrap")
    @classmethod
    def _all_faults(cls, data: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        if isinstance(data, cls):
            return data
        if not isinstance(data, Mapping):
            raise InputError(no_table(data))
        found: list[Finding] = []
        model: Self | None = None
        try:
            model = handler(data)
        except ValidationError as error:
            descriptions = {name: info.description or "" for name, info in cls.model_fields.items()}
            found = findings_of(error, descriptions | cls.how_to_get)
        found += [((at,) if isinstance(at, str) else at, text) for at, text in cls.findings(Peek(cls, data))]
        if model is None or found:
            raise refusal(cls.__name__, found)
        return model


class Peek:
    """One table as typed; gives the fields that can be read on their own, so that one fault does not hide another."""

    def __init__(self, model: type[CaseModel], data: Mapping[str, Any]) -> None:
        self.model = model
        self.data = data

    def __contains__(self, field: str) -> bool:
        """Return whether a field was typed."""
        return field in self.data

    def value(self, field: str) -> Any:
        """Return a measured field, its default, or None when it cannot be read."""
        info = self.model.model_fields[field]
        if field not in self.data:
            return None if info.is_required() else info.default
        mark = next((mark for mark in info.metadata if isinstance(mark, Measured)), None)
        if mark is None:
            return self.data[field]
        try:
            return mark.read(self.data[field], field)
        except InputError:
            return None

    def text(self, field: str) -> str | None:
        """Return a field of plain text, stripped, or None."""
        return word_of(self.data, field)

    def tables(self, field: str) -> list[tuple[int, Mapping[str, Any]]]:
        """Return the tables of an array of tables, each with its index; whatever is no table is left out."""
        value = self.data.get(field)
        if not isinstance(value, (list, tuple)):
            return []
        return [(i, table) for i, table in enumerate(value) if isinstance(table, Mapping)]


def word_of(table: Mapping[str, Any], key: str) -> str | None:
    """Return a text of a table as typed, stripped; None where there is none."""
    value = table.get(key)
    return value.strip() if isinstance(value, str) and value.strip() else None


def doubles(field: str, tables: list[tuple[int, Mapping[str, Any]]]) -> Findings:
    """Refuse each table whose name an earlier one of the same array has."""
    first: dict[str, int] = {}
    for i, table in tables:
        name = word_of(table, "name")
        if name is None:
            continue
        before = first.setdefault(" ".join(name.casefold().split()), i)
        if before != i:
            yield (field, i, "name"), f"{shown(name)} is also the name of {field}[{before + 1}]; give each its own name"


def _line(text: Any) -> str:
    return _text(text, 200, "")


def _long(text: Any) -> str:
    return _text(text, 4000, "\n\t")


def _text(text: Any, longest: int, also: str) -> str:
    if not isinstance(text, str):
        message = f"{shown(text)}: write text in quotes"
        raise InputError(message)
    plain = text.strip()
    if not plain:
        message = "nothing is written here; write some text, or leave the line out where it is optional"
        raise InputError(message)
    if len(plain) > longest:
        message = f"{shown(plain)}: {len(plain)} characters; at most {longest} are printed"
        raise InputError(message)
    if not all(c.isprintable() or c in also or c in "\u00a0\u2009\u202f" for c in plain):
        message = f"{shown(plain)}: there is a character that does not print; type the text again"
        raise InputError(message)
    return plain


def _day(value: Any) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and len(value) == 10:
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    message = f"{shown(value)}: write a day as 2026-11-14 (year-month-day)"
    raise InputError(message)


Line = Annotated[str, BeforeValidator(_line)]
Text = Annotated[str, BeforeValidator(_long)]
Day = Annotated[date, BeforeValidator(_day)]
Flag = StrictBool
