"""From the case, its assessment and the record to what the sheet says about its signatures; no clock in here."""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from typing import TYPE_CHECKING, Any

from lasersafe.models import canonical
from lasersafe.results import Assessment, RoleSigned, SignOff
from lasersafe.signing.compare import NOTHING, changes
from lasersafe.signing.record import Record
from lasersafe.wording import load_wording

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from lasersafe.models import Case
    from lasersafe.signing.record import Entry

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
        reasons.append(wording.text("sign_off.not_passed", verdict=assessment.decision.verdict))
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
    state = "draft"
    if not fatal:
        state = "signed" if not missing else "printed for signature" if rule.printed_for_signature else "draft"
    return SignOff(
        state=state,
        required=tuple(rule.required_roles),
        signed=tuple(RoleSigned(e.role, e.name, e.at, e.conditions, e.expires, e.for_them) for e in signed.values()),
        missing=missing,
        reasons=tuple(reasons),
        changed=_changed(case, assessment, record),
        review_by=case.review_by.isoformat() if case.review_by else "",
    )


def _changed(case: Case, assessment: Assessment, record: Record) -> tuple[str, ...]:
    """Return what changed since the latest signature, when that was given for other inputs."""
    if not record.entries or record.entries[-1].fingerprint == assessment.fingerprint:
        return ()
    from lasersafe.assessment.fingerprint import ingredients

    before = record.inputs[record.entries[-1].fingerprint]
    return changed_inputs(before.case, canonical(case), before.ingredients, ingredients(case, assessment.language))


def changed_inputs(
    old_case: Mapping[str, Any], new_case: Mapping[str, Any], old: Mapping[str, str], new: Mapping[str, str]
) -> tuple[str, ...]:
    """Return a line for each input that is not what it was: fields of the case, data files, wording, version."""
    lines = [str(change) for change in changes(old_case, new_case)]
    for part in sorted(old.keys() | new.keys()):
        if part != "case" and old.get(part) != new.get(part):
            if part == "version":
                lines.append(f"program: was version {old.get(part)}, is {new.get(part)}")
            else:
                how = "is new" if part not in old else "is gone" if part not in new else "has other content"
                lines.append(f"{part}: this file {how}")
    if len(lines) > _MOST_CHANGES:
        more = len(lines) - _MOST_CHANGES
        lines = [*lines[:_MOST_CHANGES], f"and {more} more"]
    return tuple(lines)
