"""The commands ``signoff``, ``verify`` and ``register``: options in, lines, JSON and exit code out."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from lasersafe.errors import refuse
from lasersafe.typed import shown

PASSWORD = "LASERSAFE_CERTIFICATE_PASSWORD"  # the name of the variable
_LONGEST_PASSWORD = 1024


def sign_answer(
    case: Path | None,
    role: str,
    name: str,
    conditions: str,
    expires: str,
    fingerprint: str,
    again: bool,
    for_them: str,
    certificate: Path | None,
    sheet: Path | None,
    password_fd: int | None,
) -> tuple[dict[str, Any], list[str]]:
    """Sign a case on record, or a sheet with a certificate; return JSON and lines.

    Raises
    ------
    InputError
        If options are missing or do not go together.
    """
    if certificate is not None or sheet is not None:
        if certificate is None or sheet is None or not role:
            refuse("a certificate needs all three: --certificate FILE.p12, --sheet SHEET.pdf and --role ROLE")
        if case is not None or name or conditions or expires or fingerprint or again or for_them:
            refuse("with --certificate only --sheet, --role and --password-fd are used: the rest stands in the sheet")
        return _with_certificate(certificate, sheet, role, password_fd)
    if case is None or not role or not name:
        refuse("say what to sign, and who signs: lasersafe signoff CASE.toml --name 'NAME' --role ROLE")
    from lasersafe.signing.signing_off import sign, signed_json, signed_lines

    data = signed_json(sign(case, name, role, conditions, expires, fingerprint, again, for_them))
    return data, signed_lines(data)


def _with_certificate(
    certificate: Path, sheet: Path, role: str, password_fd: int | None
) -> tuple[dict[str, Any], list[str]]:
    from lasersafe.signing.certificate import sign_with_certificate
    from lasersafe.signing.certificate_check import need_extra
    from lasersafe.signing.signing_off import known_role

    need_extra()
    signed = sign_with_certificate(sheet, certificate, _password(password_fd), known_role(role))
    data = {"sheet": str(sheet), "role": signed.role, "signer": signed.signer, "at": signed.when}
    return data, [
        f"{sheet}: signed by {signed.label}",
        f"check it with: lasersafe verify {sheet} --trust CERTIFICATES.pem",
    ]


def _password(descriptor: int | None) -> bytes | None:
    """Return the password of a certificate; it is never an option, and never in a message."""
    if descriptor is not None:
        try:
            with os.fdopen(descriptor, "rb", closefd=False) as file:
                typed = file.read(_LONGEST_PASSWORD)
        except OSError as error:
            refuse(f"password-fd = {descriptor}: cannot be read: {error.strerror or error}")
        return typed.rstrip(b"\r\n") or None
    if PASSWORD in os.environ:
        return os.environ[PASSWORD].encode() or None
    if not sys.stdin.isatty():
        refuse(f"there is nobody to ask for the password: set {PASSWORD}, or use --password-fd")
    import getpass

    return getpass.getpass("Password of the certificate (not shown): ").encode() or None


def verify_answer(
    sheet: Path, trust: Sequence[Path], case: Path | None, on: str | None, time_limit: float
) -> tuple[int, dict[str, Any], list[str]]:
    """Check a sheet; return exit code, JSON and lines.

    Raises
    ------
    InputError
        If a file or an option cannot be used.
    """
    from lasersafe.signing.container import TookTooLongError, at_most
    from lasersafe.signing.verify import Report, verify, verify_json, verify_lines

    if not 0.0 < time_limit <= 86400.0:
        refuse(f"time-limit = {time_limit}: seconds, above zero and at most a day")
    try:
        with at_most(time_limit):
            report = verify(sheet, _day(on), trust, case)
    except TookTooLongError:
        report = Report(str(sheet))
        report.add("not checked", f"it takes longer than {time_limit:g} s to work out; give more with --time-limit")
    return report.code, verify_json(report), verify_lines(report)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        if len(text) == 10:
            return date.fromisoformat(text)
    except ValueError:
        pass
    refuse(f"on = {shown(text)}: write a day as 2027-03-01 (year-month-day)")


def register_answer(folder: Path, recursive: bool, on: str | None, as_csv: bool = False) -> tuple[dict[str, Any], str]:
    """Return the sheets of a folder as JSON and as text."""
    from lasersafe.signing.register import register, register_csv, register_json, register_lines

    rows = list(register(folder, _day(on), recursive))
    return register_json(rows), register_csv(rows) if as_csv else "\n".join(register_lines(rows))
