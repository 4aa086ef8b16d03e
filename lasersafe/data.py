"""Data files as records: every key is known and there, every value is of the kind that the field of the record says.

The files lie in ``shared/``, editable texts in ``templates/``. A field is text that is not blank, a positive number, a
whole number, true or false, a rising range, one of a few words, a record (a table), or a tuple of texts or of records.
One with a default may be left out of the file.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable
from dataclasses import MISSING, dataclass, fields, is_dataclass
from functools import lru_cache
from pathlib import Path
from types import NoneType
from typing import Annotated, Any, Literal, NoReturn, TypeVar, get_args, get_origin, get_type_hints

from lasersafe.errors import ReferenceDataError, refuse

Record = TypeVar("Record")
Span = tuple[float, float]
Seen = Literal["read", "part", "memory"]


@dataclass(frozen=True)
class As:
    """How a field stands in the file, where that is not a positive number or a range in SI under the name of the field.

    A ``key`` with dots stands in the tables that they name. ``scale`` makes SI units; ``printed`` is a number
    in quotes, zero or more; a range lies ``inside``; a field with ``key`` None is not in the file; one that is
    ``required`` may not be left out although it has a default.
    """

    key: str | None = ""
    scale: float = 1.0
    printed: bool = False
    inside: Span = (0.0, math.inf)
    required: bool = False


Printed = Annotated[float, As(printed=True)]
Count = Annotated[int, As(inside=(1.0, math.inf))]
WavelengthsNm = Annotated[Span, As(inside=(180.0, 1e6))]


@dataclass(frozen=True)
class Source:
    """Where a file comes from: a key of references.bib, the place in the document and how it was obtained."""

    key: str
    locator: str
    seen: Seen
    errata: str


def fail(where: str, message: str) -> NoReturn:
    """Refuse a file, naming the table."""
    text = f"{where}: {message}"
    raise ReferenceDataError(text)


def load(kind: type[Record], file: str | Path = "") -> Record:
    """Return a data file as a record, read once: the file of ``shared/`` that the record names, or another one.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged, or is not what the record says.
    """
    one: Any = kind
    found: Record = _loaded(one, str(file or one.file))
    return found


@lru_cache(maxsize=64)
def _loaded(kind: Any, file: str) -> Any:
    path = shared_path(file)
    return record(kind, load_toml(path), f"data file {path.name}")


def record(kind: type[Record], content: object, where: str, /, **given: Any) -> Record:
    """Return a table as a record; what is *given* does not stand in the table.

    A ValueError of the record itself, which can compare its fields, refuses the table too.

    Raises
    ------
    ReferenceDataError
        If the table is not what the record says.
    """
    if not isinstance(content, dict):
        fail(where, "must be a table")
    known = {
        one.key or name: (name, hint, one, optional)
        for name, (hint, one, optional) in _fields_of(kind).items()  # type: ignore[arg-type]
        if one.key is not None and name not in given
    }
    content = dict(content)
    for table in sorted({key[:at] for key in known for at, letter in enumerate(key) if letter == "."}):
        inner = content.pop(table, {})
        if not isinstance(inner, dict):
            fail(where, f"{table} must be a table")
        content |= {f"{table}.{key}": value for key, value in inner.items()}
    for key, (_, _, _, optional) in known.items():
        if key not in content and not optional:
            fail(where, f"key '{key}' is missing")
    for key in content:
        if key not in known:
            table, _, name = key.rpartition(".")
            fail(", ".join(filter(None, (where, table))), f"key '{name}' is not known; known: {', '.join(known)}")
    values = {
        name: _value(hint, one, content[key], where, key, optional)
        for key, (name, hint, one, optional) in known.items()
        if key in content
    }
    try:
        return kind(**values, **given)
    except ValueError as error:
        fail(where, str(error))


@lru_cache(maxsize=64)
def _fields_of(kind: Any) -> dict[str, tuple[Any, As, bool]]:
    """Return for each field its type without marks, its mark, and whether it may be left out."""
    found = {}
    hints = get_type_hints(kind, include_extras=True)
    for one in fields(kind):
        hint = hints[one.name]
        marks = [mark for mark in getattr(hint, "__metadata__", ()) if isinstance(mark, As)]
        bare = get_args(hint)[0] if marks else hint
        options = [option for option in get_args(bare) if option is not NoneType]
        if NoneType in get_args(bare):
            bare = options[0]
            marks += [mark for mark in getattr(bare, "__metadata__", ()) if isinstance(mark, As)]
            bare = bare.__origin__ if hasattr(bare, "__metadata__") else bare
        mark = (marks or [As()])[-1]
        found[one.name] = bare, mark, one.default is not MISSING and not mark.required
    return found


def _value(hint: Any, mark: As, value: Any, where: str, key: str, optional: bool) -> Any:
    if is_dataclass(hint):
        return record(hint, value, f"{where}, {key}")  # type: ignore[arg-type]
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    low, high = mark.inside
    if hint == Span:
        two = isinstance(value, list) and len(value) == 2 and all(type(one) in (int, float) for one in value)
        if not (two and low <= value[0] < value[1] <= high):
            fail(where, f"{key} must be two rising numbers from {low:g} to {high:g}")
        return float(value[0]) * mark.scale, float(value[1]) * mark.scale
    if get_origin(hint) is tuple:
        kind = get_args(hint)[0]
        what = "tables" if is_dataclass(kind) else "words"
        if not isinstance(value, list) or not (value or optional):
            fail(where, f"{key} must be a list of {what}" + (f", [[{key}]]" if what == "tables" else ""))
        if what == "tables":
            return tuple(record(kind, one, f"{where}, {key} {i}") for i, one in enumerate(value, 1))
        if not all(isinstance(word, str) and word.strip() for word in value):
            fail(where, f"{key} must be a list of words")
        return tuple(value if kind is str else (_choice(get_args(kind), word, where, key) for word in value))
    if get_origin(hint) is Literal:
        return _choice(get_args(hint), value, where, key)
    if hint is bool and not isinstance(value, bool):
        fail(where, f"{key} must be true or false")
    if hint is str and not (isinstance(value, str) and value.strip()):
        fail(where, f"key '{key}' must be a text that is not empty")
    if hint is int and not (number and isinstance(value, int) and (mark.inside == As.inside or low <= value <= high)):
        fail(where, f"{key} must be a whole number" + ("" if mark.inside == As.inside else f" from {low:g} on"))
    if hint is float and mark.printed:
        try:
            printed = float(value) if isinstance(value, str) else math.nan
        except ValueError:
            printed = math.nan
        if not (math.isfinite(printed) and printed >= 0.0):
            fail(where, f"{key} must be a number in quotes, as printed, zero or more")
        return printed * mark.scale
    if hint is float:
        if not (number and math.isfinite(value) and value > 0):
            fail(where, f"{key} must be a positive number")
        return float(value) * mark.scale
    return value


def _choice(words: tuple[Any, ...], value: Any, where: str, key: str) -> Any:
    if value not in words:
        fail(where, f"{key} '{value}' is not known; known: {', '.join(words)}")
    return value


def check_cover(what: str, ranges: Iterable[Span], whole: Span) -> None:
    """Refuse ranges that leave a gap, overlap or do not fill the whole.

    Raises
    ------
    ValueError
        If they do not.
    """
    reached = whole[0]
    for low, high in sorted(ranges):
        if low != reached:
            found = f"gap from {reached:g} to {low:g}" if low > reached else f"overlap from {low:g} to {reached:g}"
            refuse(f"{what}: {found}", ValueError)
        reached = high
    if reached != whole[1]:
        refuse(f"{what}: ends at {reached:g}, must reach {whole[1]:g}", ValueError)


def check(good: bool, message: str) -> None:
    """Refuse a record with a reason.

    Raises
    ------
    ValueError
        If it is not good.
    """
    if not good:
        raise ValueError(message)


_PACKAGE = Path(__file__).resolve().parent


@lru_cache(maxsize=2)
def _root(kind: str) -> Path:
    installed = _PACKAGE / "_data" / kind
    return installed if installed.is_dir() else _PACKAGE.parent / kind


def shared_path(*parts: str) -> Path:
    """Return the path of a reference data file, installed or in the checkout."""
    return _root("shared").joinpath(*parts)


def templates_path(*parts: str) -> Path:
    """Return the path of an editable text or starter case, installed or in the checkout."""
    return _root("templates").joinpath(*parts)


@lru_cache(maxsize=64)
def load_toml(path: Path) -> dict[str, Any]:
    """Return the content of a data file; treat it as read-only, since it is cached.

    Raises
    ------
    ReferenceDataError
        If the file is missing or is not TOML.
    """
    try:
        with path.open("rb") as file:
            return tomllib.load(file)
    except FileNotFoundError:
        refuse(f"data file {path.name} is missing; install lasersafe again", ReferenceDataError)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        refuse(f"data file {path.name} is damaged: {error}", ReferenceDataError)


def listed_in(table: str, key: str, *files: str) -> tuple[str, ...]:
    """Return one field of all tables of a kind in files of ``shared/``, without reading what else is in them.

    Raises
    ------
    ReferenceDataError
        If a file is missing or damaged.
    """
    contents = (load_toml(shared_path(file)) for file in files)
    return tuple(str(one.get(key, "")) for content in contents for one in content.get(table, []))
