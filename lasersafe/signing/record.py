"""The record of sign-offs beside a case, what the sheet says of them, and what differs between two answers; no clock.

Each entry is chained to the last. The chain shows damage and careless edits; it proves nothing against somebody who
writes the file anew, a certificate does (see ``docs/signing.md``).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

from lasersafe.assessment import case_digest, combined, ingredients
from lasersafe.errors import refuse
from lasersafe.files import read_limited
from lasersafe.models import Case, canonical
from lasersafe.models.site import SignRole
from lasersafe.quantity import choice, printable, shown
from lasersafe.results import Assessment, RoleSigned, SignOff
from lasersafe.wording import load_wording

FORMAT = "lasersafe sign-off 1"
LARGEST_RECORD = 20_000_000
ROLES: tuple[SignRole, ...] = ("assessor", "laser_safety_officer", "operator", "venue")
_HASH = re.compile(r"[0-9a-f]{64}\Z")
CLOCKS = timedelta(minutes=10)  # by which the clocks of two machines may differ
_MOMENT = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True, kw_only=True)
class Entry(RoleSigned):
    """One signature."""

    fingerprint: str
    results: str  # digest of the results that were signed
    version: str
    previous: str = ""
    digest: str = ""

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
        content = json.dumps(chained.row, sort_keys=True, ensure_ascii=True)
        return replace(chained, digest=hashlib.sha256(content.encode()).hexdigest())


@dataclass(frozen=True)
class Inputs:
    """What stood behind one fingerprint: the parts and the resolved case."""

    ingredients: dict[str, str]
    case: dict[str, Any]


@dataclass(frozen=True)
class Record:
    """All signatures of one case, the oldest first, and the inputs that they were given for."""

    entries: tuple[Entry, ...] = ()
    inputs: Mapping[str, Inputs] = field(default_factory=dict)

    def signed(self, fingerprint: str) -> dict[str, Entry]:
        """Return role -> the latest signature for exactly these inputs."""
        return {entry.role: entry for entry in self.entries if entry.fingerprint == fingerprint}

    def with_entry(self, entry: Entry, inputs: Inputs) -> Record:
        """Return the record with one more signature."""
        previous = self.entries[-1].digest if self.entries else ""
        return Record((*self.entries, entry.sealed(previous)), {**self.inputs, entry.fingerprint: inputs})

    def text(self) -> bytes:
        """Return the content of the file."""
        data = {
            "format": FORMAT,
            "signatures": [entry.row for entry in self.entries],
            "inputs": {name: asdict(one) for name, one in self.inputs.items()},
        }
        return (json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def known_role(role: str) -> str:
    """Return a role as the case names it.

    Raises
    ------
    InputError
        If there is no such role.
    """
    return choice("role", role.strip().lower().replace(" ", "_").replace("-", "_"), ROLES)


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
        data = read_json(content)
        if set(data) != {"format", "signatures", "inputs"} or data["format"] != FORMAT:
            refuse(f"its format is not '{FORMAT}'", _EditedError)
        inputs, entries = dict[str, Inputs](), list[Entry]()
        for fingerprint, one in data["inputs"].items():
            parts, case = one["ingredients"], one["case"]
            if not isinstance(case, dict) or not all(isinstance(value, str) for value in parts.values()):
                raise TypeError
            if combined(parts) != fingerprint or case_digest(case) != parts["case"]:
                refuse(f"the inputs {fingerprint[:12]} do not match their fingerprint", _EditedError)
            inputs[fingerprint] = Inputs(dict(parts), case)
        for number, row in enumerate(data["signatures"], 1):
            entry = Entry(**row)
            if not all(isinstance(value, str) for value in row.values()):
                raise TypeError
            if entry.sealed(entries[-1].digest if entries else "") != entry:
                refuse(f"signature {number} does not match its checksum", _EditedError)
            if entry.expires and date.fromisoformat(entry.expires) < entry.moment.date():
                refuse(f"signature {number} ended before it was given", _EditedError)
            known = entry.role in ROLES and entry.name.strip() and (entry.name + entry.for_them).isprintable()
            if not known or not _HASH.match(entry.fingerprint) or not _HASH.match(entry.results):
                refuse(f"signature {number} has a role, a name or a fingerprint that cannot be", _EditedError)
            if entries and entry.moment < entries[-1].moment:
                refuse(f"signature {number} is dated before the one that it follows", _EditedError)
            if entry.fingerprint not in inputs:
                refuse(f"the inputs of signature {number} are missing", _EditedError)
            entries.append(entry)
        return Record(tuple(entries), inputs)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        reason = str(error) if isinstance(error, _EditedError) else "it is not what 'lasersafe signoff' writes"
        refuse(f"{name}: the record of sign-offs is damaged or was edited ({reason}); move it away and sign again")


class _EditedError(ValueError):
    """A record whose parts do not fit together."""


def read_json(content: bytes) -> Any:
    """Return what JSON says, a ValueError where a number is none."""
    return json.loads(content, parse_constant=lambda text: refuse(text, ValueError))


MOST = 1000  # changes that are collected; more help nobody
_SAME = 1e-9  # relative; two machines may differ in the last digits
NOTHING = 1e-13  # SI; what cancels out to less than this differs between machines by any factor
_SAME_EDGE = 1e-5  # relative, of outlines and areas: a library may put the corners of one elsewhere on an edge
_NAMES = ("name", "laser", "setup", "person", "barrier", "surface", "way", "tissue", "hazard", "rule", "field", "what")
_MISSING = "(not there)"


@dataclass(frozen=True)
class Change:
    """One field with its old and its new value; ``relative`` for numbers, None otherwise."""

    field: str
    old: Any
    new: Any
    relative: float | None = None

    def __str__(self) -> str:
        apart = "" if self.relative is None else f" ({self.relative * 100.0:+.3g} %)"
        return f"{self.field}: was {_short(self.old)}, is {_short(self.new)}{apart}"


def changes(old: Any, new: Any, nothing: float = 0.0) -> tuple[Change, ...]:
    """Return the fields in which two trees of dictionaries, lists and plain values differ, at most `MOST`.

    Numbers that are both at most ``nothing`` are the same. Lists of tables are matched by the names in the tables where
    these are unique, by place otherwise.
    """
    return tuple(islice(_walk("", old, new, nothing), MOST))


def _walk(path: str, old: Any, new: Any, nothing: float) -> Iterator[Change]:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys([*old, *new]):
            inner = f"{path}.{key}" if path else str(key)
            yield from _walk(inner, old.get(key, _MISSING), new.get(key, _MISSING), nothing)
    elif isinstance(old, list) and isinstance(new, list):
        if nothing and path.endswith(".polygons") and _same_shape(old, new):
            return
        left, right = _by_name(old), _by_name(new)
        if left is None or right is None:
            left, right = ({str(place): item for place, item in enumerate(items, 1)} for items in (old, new))
        for key in dict.fromkeys([*left, *right]):
            yield from _walk(f"{path}[{key}]", left.get(key, _MISSING), right.get(key, _MISSING), nothing)
    elif not _same(old, new, nothing, _SAME_EDGE if nothing and path.endswith(".area") else _SAME):
        apart = None
        with contextlib.suppress(OverflowError):
            if _is_number(old) and _is_number(new) and old != 0:
                apart = float(new) / float(old) - 1.0
        yield Change(path or "everything", old, new, apart if apart is None or math.isfinite(apart) else None)


def _by_name(items: Sequence[Any]) -> dict[str, Any] | None:
    if not all(isinstance(item, Mapping) for item in items):
        return None
    texts = ([item[name] for name in _NAMES if isinstance(item.get(name), str) and item[name]] for item in items)
    found = dict(zip(map(", ".join, texts), items, strict=True))
    return None if "" in found or len(found) < len(items) else found


def _same_shape(old: list[Any], new: list[Any]) -> bool:
    """Return whether two lists of outlines with holes have the same edges, whatever corners stand on them."""
    if old == new:
        return True
    import shapely

    try:
        for part in (*old, *new):
            rings = (part["outline"], *part["holes"])
            if set(part) != {"outline", "holes"} or any(len(corner) != 2 for ring in rings for corner in ring):
                return False
        one, other = (
            shapely.union_all([shapely.make_valid(shapely.Polygon(part["outline"], part["holes"])) for part in each])
            for each in (old, new)
        )
        return bool(one.hausdorff_distance(other) <= _SAME_EDGE * max(map(abs, one.bounds)))
    except (TypeError, KeyError, ValueError, shapely.errors.ShapelyError):
        return False


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _same(old: Any, new: Any, nothing: float, relative: float) -> bool:
    if _is_number(old) and _is_number(new):
        try:
            return old == new or math.isclose(old, new, rel_tol=relative) or max(abs(old), abs(new)) <= nothing
        except OverflowError:
            return False
    return type(old) is type(new) and bool(old == new)


def _short(value: Any) -> str:
    if isinstance(value, Mapping):
        if any(key in value for key in ("tolerance", "lowest", "highest")):
            return shown(dict(value))
        name = next((value[key] for key in _NAMES if isinstance(value.get(key), str)), "")
        return f"a table {plain(name)}".strip()
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, str):
        return value if value == _MISSING else f"'{plain(value)}'"
    if isinstance(value, float):
        return f"{value:.6g}"
    return plain({True: "true", False: "false", None: "nothing"}.get(value, str(value)) if value != 1 else str(value))


def plain(text: str, longest: int = 80) -> str:
    """Return a text fit for one line of a terminal: short, with control characters spelled out."""
    return printable(text[:longest]) + "..." * (len(text) > longest)


_MOST_CHANGES = 30
_NOT_RESULTS = frozenset({"inputs", "steps", "beam", "worst_setting", "fingerprint", "polygons"})


# inputs, or how they were typed; and what is drawn, whose corners another library may put elsewhere on the same edge
def results_digest(results: Mapping[str, Any]) -> str:
    """Return the SHA-256 of the numbers and verdicts of an assessment, as `records.as_json` gives them.

    Numbers count to nine digits, and up to `NOTHING` as zero, so that the last bits of another machine do not matter;
    the words in which an input was typed do not count.
    """
    text = json.dumps(_rounded(results), sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return "0" if -NOTHING <= value <= NOTHING else f"{value:.8e}"
    if isinstance(value, dict):
        shape = "polygons" in value  # with its area, as a library draws it; its distances count
        left_out = _NOT_RESULTS | {"area"} if shape else _NOT_RESULTS
        return {key: _rounded(one) for key, one in value.items() if key not in left_out}
    return [_rounded(one) for one in value] if isinstance(value, (list, tuple)) else value


def named_in(text: str, person: str) -> bool:
    """Return whether a text of ``[in_charge]``, as ``"Rafe Sollberg, duty manager"``, names a person.

    The name is the whole text, or a part of it between commas, semicolons or brackets.
    """
    return any(_folded(part) == _folded(person) for part in (text, *re.split(r"[,;()]", text)) if part.strip())


def may_sign(case: Case, signed: Mapping[str, Entry], role: str, name: str) -> bool:
    """Return whether the case names a person for a role, or the record says why this one signs in place of them."""
    instead = (entry := signed.get(role)) is not None and entry.for_them and _folded(entry.name) == _folded(name)
    return named_in(getattr(case.in_charge, role), name) or bool(instead)


def _folded(name: str) -> str:
    """Return a name as it is compared: whatever the case, the spaces and the form of the letters."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def doubled(people: Iterable[tuple[str, str]]) -> list[str]:
    """Return a line for each person who fills two roles; ``people`` are pairs of role and name."""
    found: dict[str, tuple[str, str]] = {}
    lines = []
    for role, name in people:
        other = found.setdefault(_folded(name), (role, name))
        if other[0] != role:
            lines.append(f"{name} has signed as {spoken(other[0])} and as {spoken(role)}; the case wants two people")
    return lines


def spoken(role: str) -> str:
    """Return a role as it is said."""
    return role.replace("_", " ")


def sign_off_of(case: Case, assessment: Assessment, record: Record, results: str) -> SignOff:
    """Return what the sheet says about its signatures.

    Parameters
    ----------
    case : Case
        The case; its table ``[sign_off]`` is the rule.
    assessment : Assessment
        Its assessment; one that does not pass stays a draft.
    record : Record
        The signatures.
    results : str
        `results_digest` of the assessment.
    """
    rule = case.sign_off
    signed = record.signed(assessment.fingerprint)
    missing = tuple(role for role in rule.required_roles if role not in signed)
    reasons, wording = list(assessment.record.draft_reasons), load_wording(assessment.language)
    if not assessment.decision.passed:
        reasons.append(wording.text("sign_off.not_passed"))
    spoilt = [role for role, entry in signed.items() if entry.results != results]
    reasons += [wording.text("sign_off.other_results", role=wording.roles[spoken(role)]) for role in spoilt]
    for role, entry in signed.items():
        if not may_sign(case, signed, role, entry.name):
            words = {"role": wording.roles[spoken(role)], "named": getattr(case.in_charge, role)}
            reasons.append(wording.text("sign_off.not_named", name=entry.name, **words))
    if not rule.one_person_two_roles:
        reasons += doubled((role, entry.name) for role, entry in signed.items())
    fatal = bool(reasons)
    if missing and not rule.printed_for_signature:
        roles = ", ".join(wording.roles[spoken(role)] for role in missing)
        reasons.append(wording.text("sign_off.not_yet", roles=roles))
    changed: tuple[str, ...] = ()
    if record.entries and record.entries[-1].fingerprint != assessment.fingerprint:  # signed for other inputs
        before = record.inputs[record.entries[-1].fingerprint]
        now = ingredients(case, assessment.language)
        changed = changed_inputs(before.case, canonical(case), before.ingredients, now)
    unsigned = "printed for signature" if rule.printed_for_signature else "draft"
    return SignOff(
        state="draft" if fatal else unsigned if missing else "signed", required=tuple(rule.required_roles),
        signed=tuple(signed.values()), missing=missing, reasons=tuple(reasons), changed=changed,
        review_by=case.review_by.isoformat() if case.review_by else "",
    )  # fmt: skip


def day_of(text: str | None, option: str) -> date | None:
    """Return a day that was typed, None where none was.

    Raises
    ------
    InputError
        If it is no day.
    """
    if text is None:
        return None
    with contextlib.suppress(ValueError):
        if len(text) == 10:
            return date.fromisoformat(text)
    refuse(f"{option} = {shown(text)}: write a day as 2027-03-01 (year-month-day)")


def changed_inputs(
    old_case: Mapping[str, Any], new_case: Mapping[str, Any], old: Mapping[str, str], new: Mapping[str, str]
) -> tuple[str, ...]:
    """Return a line for each input that is not what it was: fields of the case, data files, wording, version."""
    lines = [str(change) for change in changes(old_case, new_case)]
    for part in sorted(old.keys() | new.keys()):
        how = "is new" if part not in old else "is gone" if part not in new else "has other content"
        if part == "version" and old.get(part) != new.get(part):
            lines.append(f"program: was version {old.get(part)}, is {new.get(part)}")
        elif part != "case" and old.get(part) != new.get(part):
            lines.append(f"{part}: this file {how}")
    more = len(lines) - _MOST_CHANGES
    return (*lines[:_MOST_CHANGES], f"and {more} more") if more > 0 else tuple(lines)
