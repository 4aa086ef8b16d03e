"""What all models of a case share: frozen, unknown keys refused, every fault of a table at once, in our words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from inspect import cleandoc
from typing import Annotated, Any, ClassVar, Self, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, ModelWrapValidatorHandler, StrictBool, model_validator
from pydantic_core import ErrorDetails, InitErrorDetails, PydanticCustomError, ValidationError

from lasersafe.errors import InputError
from lasersafe.models.values import Measured
from lasersafe.quantity import shown
from lasersafe.wording import Message
from lasersafe.wording import word as said

Place = tuple[str | int, ...]

_OTHER_WORDS = {  # what people call it elsewhere
    "pulse_duration": ("pulse_width", "pulse_length"), "repetition_rate": ("frequency", "rate"),
    "pulse_energy": ("energy",), "mean_power": ("average_power",), "beam_diameter": ("diameter",),
    "spot_diameter": ("spot_size",), "numerical_aperture": ("na",), "mode_field_diameter": ("mfd",),
    "class_label": ("class",), "person": ("people", "persons"), "eyewear": ("goggles", "glasses"),
}  # fmt: skip
_WRITE = {
    "bool_type": "bool",
    **dict.fromkeys(("tuple_type", "list_type"), "list"),
    **dict.fromkeys(("int_type", "int_from_float", "int_parsing"), "whole"),
    **dict.fromkeys(("float_type", "float_parsing", "finite_number"), "number"),
    **dict.fromkeys(("model_attributes_type", "model_type", "dict_type"), "table"),
}


def path_text(place: Place) -> str:
    """Return a place in words, as ``laser[1].setup[2].divergence``."""
    text = ""
    for part in place:
        key = part if isinstance(part, int) or re.fullmatch(r"[A-Za-z0-9_-]{1,40}", part) else shown(part)
        text += f"[{key + 1}]" if isinstance(key, int) else f".{key}"
    return text.removeprefix(".") or "case"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that looks most like *word*, or None."""
    import difflib

    words = list(known)
    by_lower = {name.lower(): name for name in words}
    for name in words:
        if word.lower() in (*_OTHER_WORDS.get(name, ()), f"{name}s"):
            return name
    found = difflib.get_close_matches(word.lower()[:60], list(by_lower), n=1, cutoff=0.5)
    return by_lower[found[0]] if found else None


def not_known(word: str, what: str, known: Iterable[str]) -> str:
    """Return the message on a word that is not one of the known ones."""
    words = list(known)
    near = nearest(word, words)
    hint = Message("misread.hint", near=shown(near)) if near else ""
    listed = ", ".join(shown(name) for name in words[:30]) or said("none")
    return Message("misread.not_known", word=shown(word), what=said(what), hint=hint, listed=listed)


def _message(one: ErrorDetails, descriptions: Mapping[str, str]) -> str:
    """Return what pydantic found, in our words, by what the fields are or how to get them."""
    kind, place, context, given = one["type"], one["loc"], one.get("ctx", {}), one["input"]
    field, typed = str(place[-1]) if place else "", {"given": shown(given)}
    if kind == "fault":
        message: str = context["message"]
        return message
    if kind == "value_error":
        (said_of,) = context["error"].args
        if not isinstance(said_of, Message):
            return str(said_of).removeprefix(f"{field} = ")
        named = said_of.key == "typed.refused" and said_of.values["field"] == field
        return said_of.values["told"] if named else said_of
    if kind in ("missing", "too_short"):
        text = descriptions.get(field, "")
        told = said(text) if text.startswith("write ") else Message("misread.write", field=field, text=said(text))
        return Message(f"misread.{kind}", instruction=told)
    if kind == "extra_forbidden":
        return not_known(field, "a key of this table", descriptions)
    if kind == "literal_error":
        return _choice(given, "a choice", str(context["expected"]))
    if kind == "union_tag_invalid":
        return Message("misread.kind", said=_choice(context["tag"], "a kind", str(context["expected_tags"])))
    if kind == "union_tag_not_found":
        return Message("misread.kind_missing", instruction=said(descriptions.get(str(place[0]), "")))
    if kind == "too_long":
        return Message("misread.too_long", most=context["max_length"])
    if kind in ("tuple_type", "list_type") and isinstance(given, Mapping):
        return Message("misread.double_brackets", field=field)
    if kind in _WRITE:
        return Message(f"misread.{_WRITE[kind]}", **typed)
    if kind in ("greater_than_equal", "less_than_equal"):
        key, bound = ("least", context["ge"]) if "ge" in context else ("most", context["le"])
        return Message(f"misread.{key}", bound=f"{bound:g}", **typed)
    return f"{shown(given)}: {one['msg']}"


def _choice(word: object, what: str, listed: str) -> str:
    words = re.findall(r"'([^']*)'", listed)
    if isinstance(word, str):
        return not_known(word, what, words)
    return Message("misread.one_of", given=shown(word), listed=", ".join(f"'{one}'" for one in words))


Findings = Iterator[tuple[str | Place, str]]  # the field, or the place below this table; and what is wrong

_ATTRIBUTES = "\n\nAttributes\n----------\n"
_ATTRIBUTE = re.compile(r"^(\w+)\n((?:    .+\n?)+)", re.MULTILINE)


class CaseModel(BaseModel):
    """Base of every table of a case file; the section Attributes of the docstring describes its fields."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", defer_build=True, arbitrary_types_allowed=True,
        json_schema_extra=lambda schema: schema.update(description=schema["description"].partition(_ATTRIBUTES)[0]),
    )  # fmt: skip
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
            raise InputError(Message("misread.table", given=shown(data)))
        found: list[tuple[Place, str]] = []
        model: Self | None = None
        try:
            model = handler(data)
        except ValidationError as error:
            descriptions = {name: info.description or "" for name, info in cls.model_fields.items()}
            found = [
                (one["loc"], _message(one, descriptions | cls.how_to_get))
                for one in error.errors(include_url=False)
                if one["type"] != "too_short"
                or not one["input"]  # there are some, each refused for a reason of its own
            ]
        found += [((at,) if isinstance(at, str) else at, text) for at, text in cls.findings(Peek(cls, data))]
        if model is None or found:
            raise ValidationError.from_exception_data(
                cls.__name__,
                [
                    InitErrorDetails(
                        type=PydanticCustomError("fault", "{message}", {"message": text}), loc=at, input=None
                    )
                    for at, text in found
                ],
            )
        return model


def kinds_of(union: Any) -> dict[str, Any]:
    """Return the tables that can stand in one place, each by its ``kind``."""
    return {get_args(one.model_fields["kind"].annotation)[0]: one for one in get_args(union)}


def wrong(place: str | Place, key: str, /, **values: object) -> tuple[str | Place, str]:
    """Return a finding: the field, or the place below this table, and the sentence on what is wrong with it."""
    return place, Message(key, **values)


def needs(peek: Peek, given: str | bool, needed: str, key: str, alone: str = "") -> Findings:
    """Ask for a field where another one is given, or something holds, that says nothing without it.

    With *alone* the other way round as well: the field says nothing by itself.
    """
    there = given in peek if isinstance(given, str) else given
    if there and needed not in peek:
        yield wrong(needed, key)
    elif alone and needed in peek and not there:
        yield wrong(given if isinstance(given, str) else needed, alone)


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


KEPT = {"laser": ("all lasers together",), "person": ("direct", "mirror", "scatter")}  # words beside such names


def plain_text(text: str) -> str:
    """Return a text as it is told from others: without case, its words one space apart."""
    return " ".join(text.casefold().split())


def doubles(field: str, tables: list[tuple[int, Mapping[str, Any]]]) -> Findings:
    """Refuse each table whose name an earlier one of the same array has, or that means something else beside it."""
    first: dict[str, int] = {}
    for i, table in tables:
        name = word_of(table, "name")
        if name is None:
            continue
        plain = plain_text(name)
        if plain in KEPT.get(field, ()):
            yield (field, i, "name"), Message("misread.kept", name=shown(name))
        before = first.setdefault(plain, i)
        if before != i:
            yield (field, i, "name"), Message("misread.double", name=shown(name), first=f"{field}[{before + 1}]")


def _text(text: Any, longest: int, also: str) -> str:
    if not isinstance(text, str):
        raise InputError(Message("misread.text", given=shown(text)))
    plain = text.strip()
    if not plain:
        raise InputError(Message("misread.empty"))
    if len(plain) > longest:
        raise InputError(Message("misread.long", given=shown(plain), count=len(plain), most=longest))
    if not all(c.isprintable() or c in also or c in "\u00a0\u2009\u202f" for c in plain):
        raise InputError(Message("misread.unprintable", given=shown(plain)))
    return plain


def _day(value: Any) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and len(value) == 10:
        try:
            return date.fromisoformat(value)
        except ValueError:
            pass
    raise InputError(Message("misread.day", given=shown(value)))


Line = Annotated[str, BeforeValidator(lambda text: _text(text, 200, ""))]
Text = Annotated[str, BeforeValidator(lambda text: _text(text, 4000, "\n\t"))]
Day = Annotated[date, BeforeValidator(_day)]
Flag = StrictBool
