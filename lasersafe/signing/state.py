"""What the sheet says about its signatures, and what differs between two answers; no clock in here."""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import TYPE_CHECKING, Any

from lasersafe.errors import refuse
from lasersafe.models import canonical
from lasersafe.quantity import shown
from lasersafe.results import Assessment, RoleSigned, SignOff
from lasersafe.signing.record import Record
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from lasersafe.models import Case
    from lasersafe.signing.record import Entry


MOST = 1000  # changes that are collected; more help nobody
_SAME = 1e-9  # relative; two machines may differ in the last digits
NOTHING = 1e-13  # SI; what cancels out to less than this differs between machines by any factor
# Outlines that a library joined from others: it may put corners elsewhere on an edge; shadows are simplified to 2 cm.
_DRAWN = {".polygons": 0.0, ".shadows": 0.04}  # m
_SAME_EDGE = 1e-5  # relative, of outlines and areas
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
        drawn_to = next((most for key, most in _DRAWN.items() if path.endswith(key)), None)
        if drawn_to is None or not nothing or not _same_shape(old, new, drawn_to):
            yield from _lists(path, old, new, nothing)
    elif not _same(old, new, nothing, _SAME_EDGE if nothing and path.endswith(".area") else _SAME):
        yield Change(path or "everything", old, new, _relative(old, new))


def _lists(path: str, old: list[Any], new: list[Any], nothing: float) -> Iterator[Change]:
    left, right = _by_name(old), _by_name(new)
    if left is None or right is None:
        left, right = ({str(place): item for place, item in enumerate(items, 1)} for items in (old, new))
    for key in dict.fromkeys([*left, *right]):
        yield from _walk(f"{path}[{key}]", left.get(key, _MISSING), right.get(key, _MISSING), nothing)


def _by_name(items: Sequence[Any]) -> dict[str, Any] | None:
    found: dict[str, Any] = {}
    for item in items:
        if not isinstance(item, Mapping):
            return None
        key = ", ".join(str(item[name]) for name in _NAMES if isinstance(item.get(name), str) and item[name])
        if not key or key in found:
            return None
        found[key] = item
    return found


def _same_shape(old: list[Any], new: list[Any], drawn_to: float) -> bool:
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
        reach = max(map(abs, one.bounds))
        return bool(one.hausdorff_distance(other) <= max(drawn_to, _SAME_EDGE * reach))
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


def _relative(old: Any, new: Any) -> float | None:
    if not (_is_number(old) and _is_number(new)) or old == 0:
        return None
    try:
        apart = float(new) / float(old) - 1.0
    except OverflowError:
        return None
    return apart if math.isfinite(apart) else None


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
    shown = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text[:longest])
    return shown if len(text) <= longest else shown + "..."


_MOST_CHANGES = 30
_NOT_RESULTS = frozenset({"inputs", "steps", "beam", "worst_setting", "fingerprint"}) | {"polygons", "shadows"}


# inputs, or how they were typed; and what is drawn, whose corners another library may put elsewhere on the same edge
def results_digest(results: Mapping[str, Any]) -> str:
    """Return the SHA-256 of the numbers and verdicts of an assessment, as `records.fields.as_json` gives them.

    Numbers count to nine digits, and up to `NOTHING` as zero, so that the last bits of another machine do not matter;
    the words in which an input was typed do not count.
    """
    text = json.dumps(_rounded(results), sort_keys=True, ensure_ascii=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return _digits(value)
    if isinstance(value, dict):
        shape = "polygons" in value  # with its area, as a library draws it; its distances count
        return {
            key: _rounded(one)
            for key, one in value.items()
            if key not in _NOT_RESULTS and not (shape and key == "area")
        }
    if isinstance(value, (list, tuple)):  # mostly coordinates
        if value and all(
            [type(one) is list and len(one) == 2 and type(one[0]) is type(one[1]) is float for one in value]
        ):
            return [[_digits(x), _digits(y)] for x, y in value]
        return [_digits(one) if type(one) is float else _rounded(one) for one in value]
    return value


def _digits(value: float) -> str:
    return "0" if -NOTHING <= value <= NOTHING else f"{value:.8e}"


def same_person(one: str, other: str) -> bool:
    """Return whether two names are written alike, whatever the case, the spaces and the form of the letters."""
    return _folded(one) == _folded(other)


def named_in(text: str, person: str) -> bool:
    """Return whether a text of ``[in_charge]``, as ``"Rafe Sollberg, duty manager"``, names a person.

    The name is the whole text, or a part of it between commas, semicolons or brackets.
    """
    return any(same_person(part, person) for part in (text, *re.split(r"[,;()]", text)) if part.strip())


def may_sign(case: Case, signed: Mapping[str, Entry], role: str, name: str) -> bool:
    """Return whether the case names a person for a role, or the record says why this one signs in place of them."""
    entry = signed.get(role)
    return named_in(getattr(case.in_charge, role), name) or bool(
        entry is not None and entry.for_them and same_person(entry.name, name)
    )


def _folded(name: str) -> str:
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
    reasons += [
        wording.text("sign_off.other_results", role=wording.roles[spoken(role)])
        for role, entry in signed.items()
        if entry.results != results
    ]
    reasons += [
        wording.text(
            "sign_off.not_named", name=entry.name, role=wording.roles[spoken(role)], named=getattr(case.in_charge, role)
        )
        for role, entry in signed.items()
        if not may_sign(case, signed, role, entry.name)
    ]
    if not rule.one_person_two_roles:
        reasons += doubled((role, entry.name) for role, entry in signed.items())
    fatal = bool(reasons)
    if missing and not rule.printed_for_signature:
        roles = ", ".join(wording.roles[spoken(role)] for role in missing)
        reasons.append(wording.text("sign_off.not_yet", roles=roles))
    changed: tuple[str, ...] = ()
    if record.entries and record.entries[-1].fingerprint != assessment.fingerprint:  # signed for other inputs
        from lasersafe.assessment import ingredients

        before = record.inputs[record.entries[-1].fingerprint]
        now = ingredients(case, assessment.language)
        changed = changed_inputs(before.case, canonical(case), before.ingredients, now)
    unsigned = "printed for signature" if rule.printed_for_signature else "draft"
    return SignOff(
        state="draft" if fatal else unsigned if missing else "signed",
        required=tuple(rule.required_roles),
        signed=tuple(RoleSigned(e.role, e.name, e.at, e.conditions, e.expires, e.for_them) for e in signed.values()),
        missing=missing,
        reasons=tuple(reasons),
        changed=changed,
        review_by=case.review_by.isoformat() if case.review_by else "",
    )


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
