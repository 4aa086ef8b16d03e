"""A case that passes, signed by all, and a certificate: for the tests of sign-off, verify and register."""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import os
import re
import subprocess
import sys
from functools import lru_cache
from pathlib import Path
from typing import Any

from lasersafe.ask import SignQuestion
from lasersafe.cli import app
from tests.project import ROOT

PEOPLE = {
    "assessor": "Ines Falkenrath",
    "laser_safety_officer": "Tobias Quendel",
    "operator": "Callum Rosendahl",
    "venue": "Rafe Sollberg",
}
PASSWORD = "a long walk by the brook"
FAR = "2090-06-30"


@lru_cache(maxsize=4)
def case_text(template: str = "") -> str:
    """Return a starter case that passes, with values of its own, to be looked at again long after this test.

    Where none is named it is the cutter without its scene, which takes 1 s, and the rest 0.03 s.
    """
    text = (ROOT / "templates" / "cases" / f"{template or 'co2-cutter'}.toml").read_text(encoding="utf-8")
    text = text if template else text.partition("\n[scene]\n")[0] + "\n"
    changed = text.replace("review_by = 2027-11-13", f"review_by = {FAR}")
    assert changed != text
    return own_values(changed)


def own_values(text: str) -> str:
    """Return a starter case whose persons, eyewear, barriers, readings and strike-outs were looked at anew."""
    table, lines = "", []
    for line in text.splitlines(keepends=True):
        table = line.strip() if line.startswith("[") else table
        if table in ("[[person]]", "[[barrier]]"):
            line = re.sub(r'^(distance = ")([\d.]+)', lambda found: f"{found[1]}{float(found[2]) * 1.01:g}", line)
            line = re.sub(r'^(eyewear = "[^"]*?LB)(\d)', lambda found: f"{found[1]}{int(found[2]) + 1}", line)
        if table == "[[strike_out]]":
            line = re.sub(r'^reason = "', 'reason = "Looked at on site: ', line)
        if table == "[[reading]]":
            line = re.sub(r'^instrument = "', 'instrument = "own ', line)
        lines.append(line)
    return "".join(lines)


def write_case(folder: Path, more: str = "", template: str = "", **named: str) -> Path:
    """Write that case into a folder; ``more`` are tables at its end, ``named`` who is in charge in a role."""
    path, text = folder / "case.toml", case_text(template)
    for role, name in named.items():
        place = re.search(rf"(?m)^{role} = .*$", text)
        assert place is not None
        text = f"{text[: place.start()]}{role} = {json.dumps(name, ensure_ascii=False)}{text[place.end() :]}"
    path.write_text(text + more, encoding="utf-8")
    return path


def sign(case: Path, name: str, role: str, **more: object) -> dict[str, Any]:
    """Let one person sign; ``more`` are other fields of the question."""
    from lasersafe.signing import signing_off

    return signing_off.sign(case, SignQuestion(name=name, role=role, **more))  # type: ignore[arg-type]


def sign_all(case: Path, **named: str) -> None:
    """Let everybody sign."""
    for role, name in (PEOPLE | named).items():
        sign(case, name, role)


def print_sheet(case: Path, output: Path, replace: bool = False) -> dict[str, object]:
    """Print the sheet of a case."""
    from lasersafe.ask.cases import write_case_sheet

    return write_case_sheet(case, output, None, replace)[0]


@lru_cache(maxsize=4)
def signed_sheet(more: str = "", **named: str) -> bytes:
    """Return a sheet that everybody has signed."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        case = write_case(Path(folder), more, **named)
        sign_all(case, **named)
        print_sheet(case, Path(folder) / "sheet.pdf")
        keep_annex((Path(folder) / "sheet-annex.pdf").read_bytes())
        return (Path(folder) / "sheet.pdf").read_bytes()


_ANNEXES: dict[str, bytes] = {}  # by their checksum


def keep_annex(content: bytes) -> None:
    """Keep an annex for `lay`."""
    _ANNEXES[hashlib.sha256(content).hexdigest()] = content


def lay(path: Path, content: bytes) -> None:
    """Write a sheet, whatever was done to it, and beside it the annex that it names."""
    from lasersafe.signing.container import SheetError, parse_sheet, read_about
    from lasersafe.signing.making import annex_path

    path.write_bytes(content)
    with contextlib.suppress(SheetError, RecursionError):
        if annex := _ANNEXES.get(read_about(parse_sheet(content)).annex):
            annex_path(path).write_bytes(annex)


def run(*arguments: str | Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own."""
    return subprocess.run(
        command(*arguments), env=os.environ | {"PYTHONPATH": str(ROOT)} | environment, capture_output=True, text=True,
        check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def command(*arguments: str | Path) -> list[str]:
    """Return the command line as a list."""
    assert app is not None
    return [sys.executable, "-m", "lasersafe.cli", *map(str, arguments)]


def make_certificate(
    folder: Path, name: str, days: int = 900, password: str = PASSWORD, elliptic: bool = False
) -> tuple[Path, Path]:
    """Make a certificate that signs itself; return the PKCS#12 file and the certificate alone.

    Its key is of the RSA kind, or of an elliptic curve, which is quicker to make.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec, rsa
    from cryptography.hazmat.primitives.serialization import pkcs12
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1()) if elliptic else rsa.generate_private_key(65537, 2048)
    owner = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    end = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=days)
    usage = x509.KeyUsage(True, True, False, False, False, True, False, False, False)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(owner)
        .issuer_name(owner)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(end - datetime.timedelta(days=1000))
        .not_valid_after(end)
        .add_extension(x509.BasicConstraints(True, None), critical=True)
        .add_extension(usage, critical=True)
        .sign(key, hashes.SHA256())
    )
    stem = name.split()[0].lower()
    pack, alone = folder / f"{stem}.p12", folder / f"{stem}.pem"
    secret = serialization.BestAvailableEncryption(password.encode())
    pack.write_bytes(pkcs12.serialize_key_and_certificates(b"key", key, certificate, None, secret))
    alone.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return pack, alone
