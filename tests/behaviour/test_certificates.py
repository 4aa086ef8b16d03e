"""PDF signatures: made with a certificate of the test, checked by us, by pyHanko's own validator and by pdfsig."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import zlib
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("pyhanko", reason="the optional extra 'sign' is not installed")

from lasersafe.errors import InputError
from lasersafe.signing import container
from lasersafe.signing import signatures as certificates
from lasersafe.signing.container import open_sheet, read_about, register_answer
from lasersafe.signing.signing_off import PASSWORD as VARIABLE
from lasersafe.signing.signing_off import sign_with_certificate
from lasersafe.signing.verify import CODES
from tests.behaviour import command
from tests.behaviour.signing_help import (
    PASSWORD,
    lay,
    make_certificate,
    print_sheet,
    sign,
    signed_sheet,
    write_case,
)
from tests.behaviour.test_verify import GOOD, answer, damaged, resealed

TWO = "[sign_off]\nrequired_roles = ['laser_safety_officer', 'operator']\n"
INK = TWO + "printed_for_signature = true\n"
ZOE = "Зоя Ångström %(ts)s"


def printed() -> bytes:
    """Return a sheet that two people have to sign, as everybody has on record."""
    return signed_sheet(TWO, operator=ZOE)


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, Path]]:
    """Return PKCS#12 file and certificate of three people, one of them with a certificate that has ended."""
    folder = tmp_path_factory.mktemp("keys")
    return {
        "tobias": make_certificate(folder, "Tobias Quendel"),
        "zoe": make_certificate(folder, ZOE, elliptic=True),
        "old": make_certificate(folder, "Old Hand", days=-5, elliptic=True),
    }


@pytest.fixture(scope="module")
def signed(keys: dict[str, tuple[Path, Path]], tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a sheet that two people have signed with certificates."""
    path = tmp_path_factory.mktemp("signed") / "s.pdf"
    lay(path, printed())
    sign_with_certificate(path, keys["tobias"][0], PASSWORD.encode(), "laser_safety_officer")
    sign_with_certificate(path, keys["zoe"][0], PASSWORD.encode(), "operator")
    return path.read_bytes()


@pytest.fixture
def sheet(tmp_path: Path, signed: bytes) -> Path:
    path = tmp_path / "s.pdf"
    lay(path, signed)
    return path


def test_a_signed_sheet_is_intact_and_trusted(sheet: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    code, data, text = answer(sheet, trust=[keys["tobias"][1], keys["zoe"][1]])
    assert code == 0
    assert [(one["role"], one["problem"]) for one in data["certificate_signatures"]] == [
        ("laser_safety_officer", None),
        ("operator", None),
    ]
    assert "Tobias Quendel as laser safety officer" in text
    assert "Зоя Ångström" in text


def test_without_trust_it_is_said_in_plain_words(sheet: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    code, _, text = answer(sheet)
    assert code == CODES["signature"]
    assert text.count("intact, but not trusted: name the certificates that you trust with --trust") == 2
    assert GOOD not in text
    code, data, text = answer(sheet, trust=[keys["tobias"][1]])
    assert code == CODES["signature"]
    assert [bool(one["problem"]) for one in data["certificate_signatures"]] == [False, True]
    assert "intact, but not trusted" in text


def test_signatures_that_were_cut_off_are_missed_by_whoever_trusts_a_certificate(
    sheet: Path, keys: dict[str, tuple[Path, Path]]
) -> None:
    lay(sheet, printed())
    assert answer(sheet)[0] == 0
    code, _, text = answer(sheet, trust=[keys["tobias"][1]])
    assert code == CODES["signature"]
    assert "no certificate signature" in text


def test_what_was_signed_stays_as_it_was(signed: bytes) -> None:
    assert signed.startswith(printed())


def test_pyhanko_finds_it_valid_and_of_the_baseline(signed: bytes, keys: dict[str, tuple[Path, Path]]) -> None:
    from io import BytesIO

    from pyhanko.keys import load_cert_from_pemder
    from pyhanko.pdf_utils.reader import PdfFileReader
    from pyhanko.sign.validation import validate_pdf_signature
    from pyhanko_certvalidator import ValidationContext

    roots = [load_cert_from_pemder(str(keys[name][1])) for name in ("tobias", "zoe")]
    reader = PdfFileReader(BytesIO(signed))
    assert len(reader.embedded_regular_signatures) == 2
    for one in reader.embedded_regular_signatures:
        status = validate_pdf_signature(one, ValidationContext(trust_roots=roots, allow_fetching=False))
        assert status.bottom_line
        assert one.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
        attributes = {attribute["type"].native for attribute in one.signer_info["signed_attrs"]}
        assert {"content_type", "message_digest", "signing_certificate_v2"} <= attributes


def test_pdfsig_finds_it_valid(sheet: Path) -> None:
    if shutil.which("pdfsig") is None:
        pytest.skip("pdfsig (poppler-utils) is not installed")
    found = subprocess.run(["pdfsig", str(sheet)], capture_output=True, text=True, check=False)
    assert found.stdout.count("Signature is Valid") == 2
    assert found.stdout.count("Total document signed") + found.stdout.count("Not total document signed") == 2
    assert "ETSI.CAdES.detached" in found.stdout


def test_the_signature_is_seen_on_its_box(sheet: Path) -> None:
    import pypdf

    pages = pypdf.PdfReader(sheet).pages
    fields = [one.get_object() for page in pages for one in page.get("/Annots", [])]
    boxes = {one["/T"]: one for one in fields if "/T" in one}
    assert {"lasersafe_laser_safety_officer", "lasersafe_operator"} == set(boxes)
    box = boxes["lasersafe_laser_safety_officer"]
    left, bottom, right, top = (float(number) for number in box["/Rect"])
    assert right - left > 100
    assert top - bottom > 20
    assert "/V" in box
    assert "/V" in boxes["lasersafe_operator"]
    drawn = box["/AP"]["/N"]
    assert b"Tobias Quendel" in drawn.get_data()


def test_certificates_count_as_signatures_of_a_sheet_that_was_printed_for_signature(
    tmp_path: Path, keys: dict[str, tuple[Path, Path]]
) -> None:
    sheet = tmp_path / "ink.pdf"
    print_sheet(write_case(tmp_path, INK, operator=ZOE), sheet)
    trust = [keys["tobias"][1], keys["zoe"][1]]
    sign_with_certificate(sheet, keys["tobias"][0], PASSWORD.encode(), "laser_safety_officer")
    assert answer(sheet, trust=trust)[0] == CODES["not signed"]
    sign_with_certificate(sheet, keys["zoe"][0], PASSWORD.encode(), "operator")
    assert answer(sheet, trust=trust)[0] == 0


def test_one_certificate_cannot_fill_two_roles(tmp_path: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    sheet = tmp_path / "ink.pdf"
    print_sheet(write_case(tmp_path, INK, operator=ZOE), sheet)
    sign_with_certificate(sheet, keys["tobias"][0], PASSWORD.encode(), "laser_safety_officer")
    before = sheet.read_bytes()
    with pytest.raises(InputError, match="this key has signed as laser safety officer already; the case wants two"):
        sign_with_certificate(sheet, keys["tobias"][0], PASSWORD.encode(), "operator")
    assert sheet.read_bytes() == before


def test_a_draft_a_second_time_and_an_old_certificate_are_refused(
    tmp_path: Path, sheet: Path, keys: dict[str, tuple[Path, Path]]
) -> None:
    draft = tmp_path / "draft.pdf"
    print_sheet(write_case(tmp_path), draft)
    for path, name, role, message in (
        (draft, "tobias", "operator", "says DRAFT"),
        (sheet, "tobias", "laser_safety_officer", "on this sheet already"),
        (sheet, "old", "venue", "the certificate holds from"),
        (keys["tobias"][1], "tobias", "venue", "no PDF file"),
    ):
        before = path.read_bytes()
        with pytest.raises(InputError, match=message):
            sign_with_certificate(path, keys[name][0], PASSWORD.encode(), role)
        assert path.read_bytes() == before


def test_a_changed_sheet_is_not_signed(tmp_path: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    path = tmp_path / "s.pdf"
    lay(path, resealed(printed().replace(b"/Lang", b"/Lamg", 1)))
    with pytest.raises(InputError, match="not signed, because of this: changed"):
        sign_with_certificate(path, keys["tobias"][0], PASSWORD.encode(), "operator")


# ---------------------------------------------------------------------------------------------------------------------
# The command, and its password


def test_the_password_comes_from_the_environment_or_a_file_descriptor(
    tmp_path: Path, keys: dict[str, tuple[Path, Path]]
) -> None:
    sheet = tmp_path / "s.pdf"
    lay(sheet, printed())
    arguments = ["signoff", "--certificate", keys["tobias"][0], "--sheet", sheet, "--role", "laser_safety_officer"]
    asked = command.run(*arguments)
    assert (asked.code, asked.err.count("\n")) == (2, 1)
    assert "nobody to ask for the password" in asked.err
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(VARIABLE, "wrong secret")
        wrong = command.run(*arguments)
        assert sheet.read_bytes() == printed()
        patch.setenv(VARIABLE, PASSWORD)
        right = command.run(*arguments)
    assert (wrong.code, wrong.err.count("\n")) == (2, 1)
    assert "the password is wrong or the file is damaged" in wrong.err
    assert "wrong secret" not in wrong.err + wrong.out
    assert (right.code, right.err) == (0, "")
    assert PASSWORD not in right.out
    read, write = os.pipe()
    os.write(write, PASSWORD.encode() + b"\n")
    os.close(write)
    arguments[2], arguments[-1] = keys["zoe"][0], "operator"
    found = command.run(*arguments, "--password-fd", str(read))
    assert (found.code, found.err) == (0, "")
    assert len(answer(sheet)[1]["certificate_signatures"]) == 2


def test_no_option_takes_a_password() -> None:
    from typer.main import get_command

    from lasersafe.cli import app

    options = {name for parameter in get_command(app).commands["signoff"].params for name in parameter.opts}  # type: ignore[attr-defined]
    assert {name for name in options if "pass" in name} == {"--password-fd"}


def test_without_the_extra_there_is_one_clear_line(
    sheet: Path, keys: dict[str, tuple[Path, Path]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(certificates, "available", lambda: False)
    with pytest.raises(InputError, match=r"pip install 'lasersafe\[sign\]'"):
        sign_with_certificate(sheet, keys["tobias"][0], None, "venue")
    code, _, text = answer(sheet)
    assert code == CODES["signature"]
    assert "cannot be checked here" in text


@pytest.mark.parametrize("content", [b"", b"junk", b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"])
def test_a_trust_file_without_certificates_is_one_line(tmp_path: Path, sheet: Path, content: bytes) -> None:
    trust = tmp_path / "t.pem"
    trust.write_bytes(content)
    result = command.run("verify", sheet, "--trust", trust)
    assert (result.code, result.err.count("\n"), result.out) == (2, 1, "")


# ---------------------------------------------------------------------------------------------------------------------
# Broken and hostile


def test_pages_that_are_replaced_after_signing_are_caught(sheet: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    import pypdf

    writer = pypdf.PdfWriter(str(sheet), incremental=True)
    writer.pages[0].rotate(90)
    writer.write(sheet)
    code, _, text = answer(sheet, trust=[keys["tobias"][1], keys["zoe"][1]])
    assert code == CODES["signature"]
    assert GOOD not in text


def test_what_is_slipped_in_before_a_signature_is_caught(tmp_path: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    """Somebody appends a page change to the printed sheet and then signs it with a certificate that is trusted."""
    import pypdf
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import fields, signers

    path = tmp_path / "s.pdf"
    lay(path, printed())
    writer = pypdf.PdfWriter(str(path), incremental=True)
    writer.pages[0].rotate(90)
    writer.write(path)
    signer = signers.SimpleSigner.load_pkcs12(str(keys["tobias"][0]), passphrase=PASSWORD.encode())
    meta = signers.PdfSignatureMetadata(field_name="lasersafe_operator", subfilter=fields.SigSeedSubFilter.PADES)
    with path.open("rb") as file:
        done = signers.sign_pdf(IncrementalPdfFileWriter(file), meta, signer)
    lay(path, done.getvalue())
    code, _, text = answer(path, trust=[keys["tobias"][1]])
    assert code == CODES["signature"]
    assert GOOD not in text


def test_filling_beside_the_signature_is_caught(sheet: Path, keys: dict[str, tuple[Path, Path]]) -> None:
    content = sheet.read_bytes()
    trust = [keys["tobias"][1], keys["zoe"][1]]
    place = content.rindex(b"000>")
    for other in (b"001>", b"00a>"):
        lay(sheet, content[:place] + other + content[place + 4 :])
        assert answer(sheet, trust=trust)[0] == CODES["signature"], other


def packed_zeros(millions: int) -> bytes:
    """Return what so many millions of zeros are packed to; each million gives the same bytes, so one is packed."""
    packer = zlib.compressobj(9)
    first, again = (packer.compress(bytes(1_000_000)) + packer.flush(zlib.Z_FULL_FLUSH) for _ in range(2))
    total = (millions * 1_000_000 % 65521) << 16 | 1  # Adler-32 of zeros
    return first + again * (millions - 1) + b"\x03\x00" + total.to_bytes(4, "big")


def test_a_bomb_in_what_was_appended_is_not_unpacked(
    sheet: Path, keys: dict[str, tuple[Path, Path]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(container, "MEMORY", 150_000_000)
    bomb = packed_zeros(1000)
    assert len(zlib.decompress(packed_zeros(3))) == 3_000_000
    content = sheet.read_bytes()
    table = content[: content.rindex(b"startxref")].rindex(b"xref")
    head = b"<< /Type /XRef /Size 901 /W [1 4 2] /Root 1 0 R /Prev %d /Filter /FlateDecode /Length %d >>"
    more = b"900 0 obj\n" + head % (table, len(bomb)) + b"\nstream\n" + bomb + b"\nendstream\nendobj\n"
    lay(sheet, content + more + b"startxref\n%d\n%%%%EOF\n" % len(content))
    code, _, text = answer(sheet, trust=[keys["tobias"][1]])
    assert code == CODES["signature"]
    assert "damaged" in text


@pytest.mark.parametrize("count", [8, pytest.param(2000, marks=pytest.mark.soak)])
def test_damaged_signed_sheets_get_an_answer_and_are_never_unchanged(
    sheet: Path, keys: dict[str, tuple[Path, Path]], count: int
) -> None:
    dice = random.Random(7 + count)
    content = sheet.read_bytes()
    base = len(printed())
    trust = [keys["tobias"][1], keys["zoe"][1]]
    for number in range(count):
        if number % 4:  # mostly in what the signatures are made of
            bad = content[:base] + damaged(content[base:], dice)
        else:
            bad = damaged(content, dice)
        if bad == content:
            continue
        lay(sheet, bad)
        code, _, text = answer(sheet, trust=trust)
        assert code != 0, number
        assert GOOD not in text, number
        rows: list[Any] = register_answer(sheet.parent, False, None)[0]["sheets"]
        rows = [row for row in rows if row["handout"] != "annex"]
        assert len(rows) == 1, number


def test_odd_names_places_on_two_pages_and_roles_that_need_not_sign_are_no_forgery(tmp_path: Path) -> None:
    """What signing appends then looks different, and is still only what it appends."""
    people = {
        "assessor": "Anna (Lab) O'Neil-Smith, Dr.",
        "laser_safety_officer": "J. \\ M\u00fcller",
        "operator": "A & B <c> 100%",
        "venue": "x" * 29 + " yz " + "w" * 30,
    }
    case, sheet = write_case(tmp_path, TWO, **people), tmp_path / "s.pdf"
    case.write_text('language = "de"\n' + case.read_text(encoding="utf-8"), encoding="utf-8")
    for role, name in people.items():
        sign(case, name, role, conditions="only with the lid closed, and " * 60)
    print_sheet(case, sheet)
    places = read_about(open_sheet(sheet)).sign_here
    assert len({page for page, _ in places.values()}) == 2
    trust = []
    for role, name in people.items():
        (tmp_path / role).mkdir()
        pack, alone = make_certificate(tmp_path / role, name, elliptic=True)
        sign_with_certificate(sheet, pack, PASSWORD.encode(), role)
        trust.append(alone)
    code, data, text = answer(sheet, trust=trust)
    assert (code, [one["role"] for one in data["certificate_signatures"]]) == (0, list(people)), text
