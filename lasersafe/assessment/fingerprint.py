"""One SHA-256 over everything that a result depends on, and the same by part, so that a change can be named."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.models import canonical
from lasersafe.reference import shared_path, templates_path
from lasersafe.wording import languages

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

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
    return _sha256(json.dumps(data, sort_keys=True, ensure_ascii=True, allow_nan=False).encode())


def combined(parts: Mapping[str, str]) -> str:
    """Return the fingerprint of the parts that `ingredients` gives."""
    return _sha256(json.dumps(dict(parts), sort_keys=True, ensure_ascii=True).encode())


def fingerprint(case: Case, language: str = "en") -> str:
    """Return the SHA-256 of the resolved case, the reference data, the wording and the program version."""
    return combined(ingredients(case, language))


@lru_cache(maxsize=1)
def data_digest() -> str:
    """Return the SHA-256 of all that any result depends on besides its case: data, every wording, version."""
    files = {name: _files(name) for name in languages()}
    return _sha256(json.dumps([lasersafe.__version__, files], sort_keys=True, ensure_ascii=True).encode())


@lru_cache(maxsize=8)
def _files(language: str) -> dict[str, str]:
    found = {}
    for kind, folder in (("shared", shared_path()), ("wording", templates_path("wording", language))):
        for path in sorted(folder.rglob("*")):
            parts = path.relative_to(folder).parts
            if path.suffix in _DATA and parts[0] not in _NOT_IN_RESULTS and path.is_file():
                found["/".join((kind, *parts))] = _digest(path)
    return found


def _digest(path: Path) -> str:
    return _sha256(path.read_bytes().replace(b"\r\n", b"\n"))


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
