"""One SHA-256 over everything that a result depends on, and the same by part, so that a change can be named."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.data import shared_path, templates_path
from lasersafe.models import canonical
from lasersafe.wording import languages

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lasersafe.models import Case

_DATA = (".toml", ".json", ".txt")
_NOT_IN_RESULTS = ("fonts",)


def ingredients(case: Case, language: str = "en") -> dict[str, str]:
    """Return what a result depends on, part by part.

    Parameters
    ----------
    case : Case
        The case; its units are resolved, so that ``1.5 kW`` and ``1500 W`` are the same.
    language : str
        Folder of the wording.

    Returns
    -------
    dict
        ``case`` and each data and wording file with the SHA-256 of its content (line ends do not count), and
        ``version``, the version of the program.
    """
    return {"version": lasersafe.__version__, "case": case_digest(canonical(case)), **_files(language)}


def case_digest(data: Mapping[str, object]) -> str:
    """Return the SHA-256 of a resolved case."""
    return _digest(data, allow_nan=False)


def combined(parts: Mapping[str, str]) -> str:
    """Return the fingerprint of the parts that `ingredients` gives."""
    return _digest(dict(parts))


def fingerprint(case: Case, language: str = "en") -> str:
    """Return the SHA-256 of the resolved case, the reference data, the wording and the program version."""
    return combined(ingredients(case, language))


@lru_cache(maxsize=1)
def data_digest() -> str:
    """Return the SHA-256 of all that any result depends on besides its case: data, every wording, version."""
    return _digest([lasersafe.__version__, {name: _files(name) for name in languages()}])


@lru_cache(maxsize=8)
def _files(language: str) -> dict[str, str]:
    found = {}
    for kind, folder in (("shared", shared_path()), ("wording", templates_path("wording", language))):
        for path in sorted(folder.rglob("*")):
            parts = path.relative_to(folder).parts
            if path.suffix in _DATA and parts[0] not in _NOT_IN_RESULTS and path.is_file():
                content = path.read_bytes().replace(b"\r\n", b"\n")
                found["/".join((kind, *parts))] = hashlib.sha256(content).hexdigest()
    return found


def _digest(value: object, *, allow_nan: bool = True) -> str:
    text = json.dumps(value, sort_keys=True, ensure_ascii=True, allow_nan=allow_nan)
    return hashlib.sha256(text.encode()).hexdigest()
