"""The record of sign-offs beside a case: who signed what, when, in which role. JSON, each entry chained to the last.

The chain shows damage and careless edits. It proves nothing against somebody who writes the file anew; a certificate
does (see ``docs/signing.md``).
"""

from __future__ import annotations

import difflib
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from lasersafe.assessment import case_digest, combined
from lasersafe.errors import refuse
from lasersafe.files import read_limited
from lasersafe.models.site import SignRole
from lasersafe.quantity import shown

FORMAT = "lasersafe sign-off 1"
LARGEST_RECORD = 20_000_000
ROLES: tuple[SignRole, ...] = ("assessor", "laser_safety_officer", "operator", "venue")
_HASH = re.compile(r"[0-9a-f]{64}\Z")
CLOCKS = timedelta(minutes=10)  # by which the clocks of two machines may differ
_MOMENT = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True)
class Entry:
    """One signature."""

    role: str
    name: str
    at: str
    conditions: str
    expires: str
    fingerprint: str
    results: str  # digest of the results that were signed
    version: str
    previous: str = ""
    digest: str = ""
    for_them: str = ""  # why somebody else signs than the case names for the role

    @property
    def row(self) -> dict[str, str]:
        """The entry as the file holds it; why somebody else signs stands there only where somebody does."""
        return {name: value for name, value in asdict(self).items() if value or name != "for_them"}

    @property
    def moment(self) -> datetime:
        """When it was given."""
        return datetime.strptime(self.at, _MOMENT).replace(tzinfo=UTC)

    def sealed(self, previous: str) -> Entry:
        """Return the entry chained to the digest of the one before."""
        chained = replace(self, previous=previous, digest="")
        return replace(chained, digest=_digest(chained.row))


@dataclass(frozen=True)
class Inputs:
    """What stood behind one fingerprint: the parts and the resolved case."""

    ingredients: dict[str, str]
    case: dict[str, Any]


@dataclass(frozen=True)
class Record:
    """All signatures of one case, the oldest first, and the inputs that they were given for."""

    entries: tuple[Entry, ...] = ()
    inputs: Mapping[str, Inputs] = ()  # type: ignore[assignment]

    def signed(self, fingerprint: str) -> dict[str, Entry]:
        """Return role -> the latest signature for exactly these inputs."""
        return {entry.role: entry for entry in self.entries if entry.fingerprint == fingerprint}

    def with_entry(self, entry: Entry, inputs: Inputs) -> Record:
        """Return the record with one more signature."""
        previous = self.entries[-1].digest if self.entries else ""
        return Record((*self.entries, entry.sealed(previous)), {**dict(self.inputs or {}), entry.fingerprint: inputs})

    def text(self) -> bytes:
        """Return the content of the file."""
        data = {
            "format": FORMAT,
            "signatures": [entry.row for entry in self.entries],
            "inputs": {name: asdict(one) for name, one in dict(self.inputs or {}).items()},
        }
        return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def known_role(role: str) -> str:
    """Return a role as the case names it.

    Raises
    ------
    InputError
        If there is no such role.
    """
    plain = role.strip().lower().replace(" ", "_").replace("-", "_")
    if plain not in ROLES:
        near = difflib.get_close_matches(plain[:60], ROLES, 1, 0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        refuse(f"role = {shown(role)}: {hint}roles are: {', '.join(ROLES)}")
    return plain


def record_path(case: Path) -> Path:
    """Return the name of the record of a case file: ``stage.toml`` -> ``stage.signoff.json``."""
    return case.with_name(f"{case.stem}.signoff.json")


def read_record(path: Path) -> Record:
    """Return the record of a file; an empty one when there is no file.

    Raises
    ------
    InputError
        If the file is damaged or was edited.
    """
    if not path.exists():
        return Record()
    return parse_record(read_limited(path, LARGEST_RECORD, "record of sign-offs"), str(path))


def parse_record(content: bytes, name: str) -> Record:
    """Return the record that a text holds.

    Raises
    ------
    InputError
        If it is damaged or was edited; a signature is never taken from such a record.
    """
    try:
        return _record(read_json(content))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        reason = str(error) if isinstance(error, _EditedError) else "it is not what 'lasersafe signoff' writes"
        refuse(f"{name}: the record of sign-offs is damaged or was edited ({reason}); move it away and sign again")


class _EditedError(ValueError):
    """A record whose parts do not fit together."""


def read_json(content: bytes) -> Any:
    """Return what JSON says, a ValueError where a number is none."""
    return json.loads(content, parse_constant=lambda text: refuse(text, ValueError))


def _record(data: Any) -> Record:
    if set(data) != {"format", "signatures", "inputs"} or data["format"] != FORMAT:
        refuse(f"its format is not '{FORMAT}'", _EditedError)
    inputs = {name: _inputs(name, one) for name, one in data["inputs"].items()}
    entries: list[Entry] = []
    previous = ""
    for number, row in enumerate(data["signatures"], 1):
        entry = Entry(**row)
        if not all(isinstance(value, str) for value in row.values()):
            raise TypeError
        if entry.sealed(previous) != entry:
            refuse(f"signature {number} does not match its checksum", _EditedError)
        _check(entry, number)
        if entries and entry.moment < entries[-1].moment:
            refuse(f"signature {number} is dated before the one that it follows", _EditedError)
        if entry.fingerprint not in inputs:
            refuse(f"the inputs of signature {number} are missing", _EditedError)
        entries.append(entry)
        previous = entry.digest
    return Record(tuple(entries), inputs)


def _check(entry: Entry, number: int) -> None:
    given = entry.moment.date()
    if entry.expires and date.fromisoformat(entry.expires) < given:
        refuse(f"signature {number} ended before it was given", _EditedError)
    known = entry.role in ROLES and entry.name.strip() and (entry.name + entry.for_them).isprintable()
    if not known or not _HASH.match(entry.fingerprint) or not _HASH.match(entry.results):
        refuse(f"signature {number} has a role, a name or a fingerprint that cannot be", _EditedError)


def _inputs(name: str, data: Any) -> Inputs:
    parts, case = data["ingredients"], data["case"]
    if not isinstance(case, dict) or not all(isinstance(value, str) for value in parts.values()):
        raise TypeError
    if combined(parts) != name or case_digest(case) != parts["case"]:
        refuse(f"the inputs {name[:12]} do not match their fingerprint", _EditedError)
    return Inputs(dict(parts), case)


def _digest(data: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(data, sort_keys=True, ensure_ascii=True).encode()).hexdigest()
