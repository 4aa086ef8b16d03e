"""Errors of pydantic in our own words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

from lasersafe.typed import shown

Place = tuple[str | int, ...]
Finding = tuple[Place, str]  # where in the table, and the message

_OTHER_WORDS = {  # what people call it elsewhere
    "pulse_width": "pulse_duration",
    "pulse_length": "pulse_duration",
    "frequency": "repetition_rate",
    "rate": "repetition_rate",
    "energy": "pulse_energy",
    "average_power": "mean_power",
    "diameter": "beam_diameter",
    "spot_size": "spot_diameter",
    "na": "numerical_aperture",
    "mfd": "mode_field_diameter",
    "class": "class_label",
    "lasers": "laser",
    "setups": "setup",
    "people": "person",
    "persons": "person",
    "surfaces": "surface",
    "barriers": "barrier",
    "controls": "control",
    "goggles": "eyewear",
    "glasses": "eyewear",
}


_WRITE = {
    "bool_type": "write true or false, without quotes",
    **dict.fromkeys(("tuple_type", "list_type"), "write a list here, in square brackets"),
    **dict.fromkeys(("int_type", "int_from_float", "int_parsing"), "write a whole number, without quotes"),
    **dict.fromkeys(("float_type", "float_parsing", "finite_number"), "write a number, without quotes"),
}


def path_text(place: Place) -> str:
    """Return a place in words, as ``laser[1].setup[2].divergence``."""
    text = ""
    for part in place:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            key = part if re.fullmatch(r"[A-Za-z0-9_-]{1,40}", part) else shown(part)
            text += f".{key}" if text else key
    return text or "case"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that looks most like *word*, or None."""
    import difflib

    words = list(known)
    other = _OTHER_WORDS.get(word.lower())
    if other in words:
        return other
    by_lower = {name.lower(): name for name in words}
    found = difflib.get_close_matches(word.lower()[:60], list(by_lower), n=1, cutoff=0.5)
    return by_lower[found[0]] if found else None


def not_known(word: str, what: str, known: Iterable[str]) -> str:
    """Return the message on a word that is not one of the known ones."""
    words = list(known)
    near = nearest(word, words)
    hint = f"did you mean {shown(near)}? " if near else ""
    listed = ", ".join(shown(name) for name in words[:30])
    return f"{shown(word)} is not {what}; {hint}known here: {listed or 'none'}"


def refusal(title: str, findings: list[Finding]) -> ValidationError:
    """Return one error that carries all findings, for a validator to raise."""
    details = [
        InitErrorDetails(type=PydanticCustomError("fault", "{message}", {"message": message}), loc=place, input=None)
        for place, message in findings
    ]
    return ValidationError.from_exception_data(title, details)


def findings_of(error: ValidationError, descriptions: Mapping[str, str]) -> list[Finding]:
    """Return what pydantic found, in our words.

    Parameters
    ----------
    error : ValidationError
        From pydantic.
    descriptions : mapping
        Known field -> what it is, or how to get it.
    """
    found: list[Finding] = []
    for one in error.errors(include_url=False):
        if one["type"] == "too_short" and one["input"]:
            continue  # there are some, and each is refused for a reason of its own
        message = _message(one["type"], one["loc"], one["msg"], one.get("ctx", {}), one["input"], descriptions)
        found.append((one["loc"], message))
    return found


def _message(
    kind: str, place: Place, plain: str, context: Mapping[str, Any], given: Any, descriptions: Mapping[str, str]
) -> str:
    field = str(place[-1]) if place else ""
    if kind == "fault":
        return str(context["message"])
    if kind == "value_error":
        return str(context["error"]).removeprefix(f"{field} = ")
    if kind == "missing":
        return f"missing; {_instruction(field, descriptions)}"
    if kind == "extra_forbidden":
        return not_known(field, "a key of this table", descriptions)
    if kind == "literal_error":
        return _choice(given, "a choice", str(context["expected"]))
    if kind == "union_tag_invalid":
        return "kind = " + _choice(context["tag"], "a kind", str(context["expected_tags"]))
    if kind == "union_tag_not_found":
        return f"kind is missing; {descriptions.get(str(place[0]), '')}"
    if kind in ("too_short", "too_long"):
        if kind == "too_long":
            return f"at most {context['max_length']} may be given; make two cases of it"
        return f"none is given, at least one is needed; {_instruction(field, descriptions)}"
    if kind in ("tuple_type", "list_type") and isinstance(given, Mapping):
        return f"several may be given: write the heading in double brackets, as [[{field}]]"
    if kind in _WRITE:
        return f"{shown(given)}: {_WRITE[kind]}"
    if kind in ("greater_than_equal", "less_than_equal"):
        bound = f"{context['ge']:g} or more" if "ge" in context else f"at most {context['le']:g}"
        return f"{shown(given)}: must be {bound}"
    if kind in ("model_attributes_type", "model_type", "dict_type"):
        return no_table(given)
    return f"{shown(given)}: {plain}"


def no_table(given: object) -> str:
    """Return the message on something that should be a table."""
    return f"{shown(given)}: a table is expected here; write its keys below a heading of its own, in square brackets"


def _instruction(field: str, descriptions: Mapping[str, str]) -> str:
    """Return what to do about a field that is not there."""
    text = descriptions.get(field, "")
    return text if text.startswith("write ") else f"write {field}: {text}"


def _choice(word: object, what: str, listed: str) -> str:
    words = re.findall(r"'([^']*)'", listed)
    if isinstance(word, str):
        return not_known(word, what, words)
    return f"{shown(word)}: write one of " + ", ".join(f"'{one}'" for one in words)
