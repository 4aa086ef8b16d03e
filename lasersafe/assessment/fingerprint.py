"""One SHA-256 over everything that a result depends on."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

import lasersafe
from lasersafe.models import canonical
from lasersafe.reference import shared_path

if TYPE_CHECKING:
    from lasersafe.models import Case

_DATA = ("limits", "eyewear")


def fingerprint(case: Case, wording_digest: str) -> str:
    """Return the SHA-256 of the resolved case, the reference data, the wording and the program version."""
    digest = hashlib.sha256()
    digest.update(json.dumps(canonical(case), sort_keys=True, ensure_ascii=True).encode())
    for folder in _DATA:
        for path in sorted(shared_path(folder).glob("*.toml")):
            digest.update(path.name.encode() + b"\0")
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    digest.update(wording_digest.encode())
    digest.update(lasersafe.__version__.encode())
    return digest.hexdigest()
