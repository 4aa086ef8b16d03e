"""Commands on signed sheets."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lasersafe.cli.options import (
    Json,
    Text,
    app,
    tell,
)


@app.command()
def signoff(
    case: Annotated[Path | None, typer.Argument(metavar="[CASE.toml]", help="The case file to sign.")] = None,
    role: Annotated[str, typer.Option(help="assessor, laser_safety_officer, operator or venue.")] = "",
    name: Annotated[str, typer.Option(help="Who signs.")] = "",
    conditions: Annotated[str, typer.Option(help="Under which conditions.")] = "",
    expires: Annotated[str, typer.Option(help="Last day on which the signature holds, as 2027-03-01.")] = "",
    fingerprint: Annotated[str, typer.Option(help="Beginning of the fingerprint on the sheet that was read.")] = "",
    again: Annotated[bool, typer.Option("--again", help="Sign anew what the same role has signed.")] = False,
    for_them: Annotated[
        str, typer.Option(help="Why somebody else signs than the case names for the role; it is printed.")
    ] = "",
    certificate: Annotated[
        Path | None, typer.Option(help="PKCS#12 file: put a PDF signature on --sheet instead.")
    ] = None,
    sheet: Annotated[Path | None, typer.Option(help="The sheet that the certificate signs.")] = None,
    password_fd: Annotated[
        int | None,
        typer.Option(help="File descriptor to read the password of the certificate from."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Record who signs a case, or sign a printed sheet with a certificate.

    The password of the certificate comes from --password-fd, or from the environment variable
    LASERSAFE_CERTIFICATE_PASSWORD, or is asked for.
    """
    from lasersafe.signing.commands import sign_answer

    data, lines = sign_answer(
        case, role, name, conditions, expires, fingerprint, again, for_them, certificate, sheet, password_fd
    )
    tell(as_json, data, lines)


@app.command()
def verify(
    sheet: Annotated[Path, typer.Argument(metavar="SHEET.pdf", help="The sheet to check.", show_default=False)],
    trust: Annotated[
        list[Path] | None,
        typer.Option(help="Certificates (PEM or DER) that are trusted; may be given more than once."),
    ] = None,
    case: Annotated[Path | None, typer.Option(help="A case file to compare the sheet with, as it is now.")] = None,
    on: Annotated[Text, typer.Option(help="Day for which dates are judged, as 2027-03-01; today without it.")] = None,
    time_limit: Annotated[float, typer.Option(help="Seconds after which it gives up.")] = 120.0,
    as_json: Json = False,
) -> None:
    """Say whether a sheet is still what was signed and what this version computes.

    Exit codes: 0 all is well, 10 not signed, 11 past its date, 12 this version computes other
    results, 13 changed since it was signed, 14 certificate signature broken or not trusted, 15
    damaged or no sheet, 16 cannot be checked by this version, 2 no such file or bad option.
    """
    from lasersafe.signing.commands import verify_answer

    code, data, lines = verify_answer(sheet, trust or [], case, on, time_limit)
    tell(as_json, data, lines)
    if code:
        raise typer.Exit(code)


@app.command()
def register(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder with the sheets.", show_default=False)],
    as_csv: Annotated[bool, typer.Option("--csv", help="Print CSV.")] = False,
    recursive: Annotated[bool, typer.Option("--recursive", help="Look into the folders below as well.")] = False,
    on: Annotated[Text, typer.Option(help="Day for which dates are judged, as 2027-03-01; today without it.")] = None,
    as_json: Json = False,
) -> None:
    """List the sheets of a folder with state and review date.

    Nothing is checked but the checksum of each file; verify checks the rest.
    """
    from lasersafe.signing.commands import register_answer

    data, text = register_answer(folder, recursive, on, as_csv)
    tell(as_json, data, text.rstrip("\n"))
