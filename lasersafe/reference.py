"""Find and load the reference data (``shared/``) and the editable texts (``templates/``)."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from lasersafe.errors import ReferenceDataError, refuse

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


def material_keys() -> tuple[str, ...]:
    """Return the keys of the materials in ``shared/reflectance/``.

    Raises
    ------
    ReferenceDataError
        If a file is missing or damaged.
    """
    found: list[str] = []
    for name in ("metals.toml", "non_metals.toml"):
        for table in load_toml(shared_path("reflectance", name)).get("material", []):
            found.append(str(table.get("key", "")))
    return tuple(found)


def viewing_aid_names() -> tuple[str, ...]:
    """Return the names of the instruments in ``shared/viewing/aids.toml``.

    Raises
    ------
    ReferenceDataError
        If the file is missing or damaged.
    """
    return tuple(str(table.get("name", "")) for table in load_toml(shared_path("viewing", "aids.toml")).get("aid", []))
