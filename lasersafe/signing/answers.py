"""What ``verify`` and ``signoff`` print: lines and JSON."""

from __future__ import annotations

from typing import Any

from lasersafe.records.fields import as_json
from lasersafe.signing.compare import plain
from lasersafe.signing.signing_off import Signed
from lasersafe.signing.state import spoken
from lasersafe.signing.verify import Report
from lasersafe.wording import load_wording

_MOST = 20


def verify_lines(report: Report) -> list[str]:
    """Return what a person reads."""
    about = report.about
    lines = []
    if not report.findings:
        lines.append(f"{report.sheet}: unchanged, signed, in date, and still what this version computes")
    for finding in report.findings:
        lines.append(f"{report.sheet}: {finding.kind}: {plain(finding.message, 400)}")
    lines += _listed("changed", [plain(line, 300) for line in report.changed_fields])
    lines += _listed("result", [plain(str(change), 300) for change in report.changed_results])
    lines += [f"  note: {plain(note, 600)}" for note in report.notes]
    if report.decision is not None:
        lines.append(f"  verdict: {plain(report.decision.verdict, 1000)}")
    if about is not None:
        lines.append(
            f"  {plain(about.place)}, {plain(about.dates)}; fingerprint {about.fingerprint[:12]}, {about.state}"
        )
        lines += [f"  signed: {plain(one.name)}, {plain(spoken(one.role))}, {plain(one.at)}" for one in about.signed]
    return lines


def _listed(label: str, lines: list[str]) -> list[str]:
    shown = [f"  {label}: {line}" for line in lines[:_MOST]]
    return shown if len(lines) <= _MOST else [*shown, f"  and {len(lines) - _MOST} more; --json lists them"]


def verify_json(report: Report) -> dict[str, Any]:
    """Return the same for scripts."""
    about = report.about
    return {
        "sheet": report.sheet,
        "exit_code": report.code,
        "unchanged": not report.findings,
        "findings": as_json(report.findings),
        "changed_fields": report.changed_fields,
        "changed_results": as_json(report.changed_results, ("field", "old:was", "new:is", "relative:relative_change")),
        "certificate_signatures": [
            as_json(one, ("role", "signer", "when:claimed_time")) | {"problem": one.problem or None}
            for one in report.signatures
        ],
        "notes": report.notes,
        "verdict": None if report.decision is None else report.decision.verdict,
        "strike_outs": None if report.decision is None else as_json(report.decision.strike_outs),
        "fingerprint": None if about is None else about.fingerprint,
        "version": None if about is None else about.version,
        "state": None if about is None else about.state,
        "review_by": None if about is None else about.review_by.isoformat(),
    }


def signed_json(signed: Signed) -> dict[str, Any]:
    """Return what was recorded."""
    return {
        "record": str(signed.path),
        "name": signed.entry.name,
        "role": signed.entry.role,
        "at": signed.entry.at,
        "conditions": signed.entry.conditions,
        "expires": signed.entry.expires or None,
        "fingerprint": signed.fingerprint,
        "verdict": signed.verdict,
        "state": signed.sign_off.state,
        "missing_roles": list(signed.sign_off.missing),
        "caution": load_wording().caution_short,
    }


def signed_lines(data: dict[str, Any]) -> list[str]:
    """Return what a person reads after signing."""
    missing = ", ".join(spoken(role) for role in data["missing_roles"])
    return [
        f"{data['name']} has signed as {spoken(data['role'])}: fingerprint {data['fingerprint'][:12]}",
        f"verdict signed: {data['verdict']}",
        f"still to sign: {missing}; the sheet is a draft until then" if missing else "every required role has signed",
        f"record: {data['record']}; print the sheet anew to show it",
        data["caution"],
    ]
