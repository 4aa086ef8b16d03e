"""Forged sheets: each as somebody would build it who holds a trusted certificate, and ``verify`` refuses it by name."""

from __future__ import annotations

import asyncio
import hashlib
import re
import zlib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("pyhanko", reason="the optional extra 'sign' is not installed")

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.content import RawContent
from pyhanko.pdf_utils.generic import ArrayObject, DictionaryObject, NumberObject, StreamObject, pdf_name, pdf_string
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import fields, signers
from pyhanko.sign.signers import pdf_signer
from pyhanko.stamp import TextStampStyle

from lasersafe.errors import InputError
from lasersafe.signing import making
from lasersafe.signing.container import open_sheet, read_about
from lasersafe.signing.signing_off import sign_with_certificate
from lasersafe.signing.verify import CODES
from tests.behaviour.signing_help import (
    PASSWORD,
    PEOPLE,
    lay,
    make_certificate,
    print_sheet,
    sign_all,
    signed_sheet,
    write_case,
)
from tests.behaviour.test_verify import GOOD, answer, rebuilt, resealed

Keys = dict[str, tuple[Path, Path]]
Writer = IncrementalPdfFileWriter
TWO = "[sign_off]\nrequired_roles = ['laser_safety_officer', 'operator']\n"
OFFICER, OPERATOR = PEOPLE["laser_safety_officer"], PEOPLE["operator"]


@pytest.fixture(scope="module")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Keys:
    """Return PKCS#12 file and certificate by name; those who look at the sheets trust all of them."""
    folder = tmp_path_factory.mktemp("keys")
    return {name: make_certificate(folder, name, elliptic=True) for name in (OFFICER, OPERATOR, "Mallory Finch")}


@pytest.fixture(scope="module")
def once(keys: Keys, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return a sheet that the laser safety officer has signed with a certificate, as this program does it."""
    path = tmp_path_factory.mktemp("once") / "s.pdf"
    lay(path, signed_sheet(TWO))
    sign_with_certificate(path, keys[OFFICER][0], PASSWORD.encode(), "laser_safety_officer")
    return path.read_bytes()


@pytest.fixture
def sheet(tmp_path: Path, once: bytes) -> Path:
    """Return that sheet as a file; the operator, who signs next, is the forger."""
    path = tmp_path / "s.pdf"
    lay(path, once)
    return path


def forge(
    path: Path,
    key: Path,
    edit: Callable[[Writer], None] | None = None,
    *,
    name: str = OPERATOR,
    place: tuple[int, tuple[int, int, int, int]] | None = None,
    background: bytes = b"",
    words: str = "Signed with a certificate",
    **more: Any,
) -> None:
    """Sign as operator with pyHanko itself, in the form of this program but for what is forged."""
    about = read_about(open_sheet(path))
    writer = Writer(BytesIO(path.read_bytes()))
    if edit is not None:
        edit(writer)
    field = "lasersafe_operator"
    if place or not any(found == field for found, *_ in fields.enumerate_sig_fields(writer)):
        page, box = place or about.sign_here["operator"]
        fields.append_signature_field(writer, fields.SigFieldSpec(field, on_page=page, box=box))
    facts = {
        "field_name": field,
        "md_algorithm": "sha256",
        "subfilter": fields.SigSeedSubFilter.PADES,
        "reason": f"operator: lasersafe sheet {about.fingerprint[:12]}",
    }
    meta = signers.PdfSignatureMetadata(**(facts | more))
    style = TextStampStyle(
        border_width=1,
        stamp_text=f"{words}\n{name}\n%(ts)s",
        timestamp_format="%Y-%m-%d %H:%M %Z",
        background=RawContent(background) if background else None,
        background_opacity=1.0,
    )
    signer = signers.SimpleSigner.load_pkcs12(str(key), passphrase=PASSWORD.encode())
    output = BytesIO()
    signers.PdfSigner(meta, signer, stamp_style=style).sign_pdf(writer, output=output)
    lay(path, output.getvalue())


def refused(path: Path, keys: Keys, *words: str) -> str:
    """Assert that verify refuses a sheet, and says why, though every certificate is trusted; return what it says."""
    code, data, text = answer(path, trust=[certificate for _, certificate in keys.values()])
    assert code == CODES["signature"], text
    assert GOOD not in text
    for word in words:
        assert word in text, text
    assert {one["kind"] for one in data["findings"]} <= {"signature", "not signed"}
    return text


def dated(monkeypatch: pytest.MonkeyPatch, moment: datetime) -> None:
    """Let pyHanko sign at another moment."""

    class Clock(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return moment

    monkeypatch.setattr(pdf_signer, "datetime", Clock)


def test_what_is_built_here_is_good_when_nothing_is_forged(sheet: Path, keys: Keys) -> None:
    forge(sheet, keys[OPERATOR][0])
    code, data, text = answer(sheet, trust=[keys[OFFICER][1], keys[OPERATOR][1]])
    assert (code, data["findings"]) == (0, []), text


# ---------------------------------------------------------------------------------------------------------------------
# Who signs, when, and what is cut off


def test_a_signature_field_over_the_decision_with_an_opaque_box_is_refused(tmp_path: Path, keys: Keys) -> None:
    path = tmp_path / "s.pdf"
    lay(path, signed_sheet(TWO))
    white = b"1 1 1 rg 0 0 520 200 re f"
    forge(path, keys[OPERATOR][0], place=(0, (40, 560, 560, 760)), background=white)
    refused(path, keys, "the signature of operator is not in its place to sign")
    before = path.read_bytes()
    with pytest.raises(InputError, match="not signed, because of this: signature: the signature of operator is not in"):
        sign_with_certificate(path, keys[OFFICER][0], PASSWORD.encode(), "laser_safety_officer")
    assert path.read_bytes() == before


def test_an_opaque_box_in_the_place_to_sign_is_refused(sheet: Path, keys: Keys) -> None:
    forge(sheet, keys[OPERATOR][0], background=b"1 1 1 rg 0 0 187 26 re f")
    refused(sheet, keys, "a place to sign shows something that is no stamp")


def test_a_certificate_whose_holder_is_not_the_named_person_is_refused(sheet: Path, keys: Keys) -> None:
    before = sheet.read_bytes()
    with pytest.raises(InputError, match=f"that of Mallory Finch; the case names {OPERATOR} as operator"):
        sign_with_certificate(sheet, keys["Mallory Finch"][0], PASSWORD.encode(), "operator")
    assert sheet.read_bytes() == before
    forge(sheet, keys["Mallory Finch"][0], name="Mallory Finch")
    refused(sheet, keys, f"its holder is not {OPERATOR}, whom the case names as operator")


def test_a_stamp_with_the_name_of_somebody_else_is_refused(sheet: Path, keys: Keys) -> None:
    forge(sheet, keys[OPERATOR][0], name=OFFICER)
    refused(sheet, keys, "its stamp shows another name than its certificate")


def test_one_trusted_signature_does_not_stand_for_every_role(sheet: Path, keys: Keys) -> None:
    """On record both have signed, and what is on record can be written by anybody."""
    refused(sheet, keys, "no signature with a trusted certificate, though --trust asks for one: operator")


def test_the_last_of_two_signatures_cut_off_is_missed(sheet: Path, keys: Keys, once: bytes, tmp_path: Path) -> None:
    sign_with_certificate(sheet, keys[OPERATOR][0], PASSWORD.encode(), "operator")
    assert sheet.read_bytes().startswith(once)
    lay(sheet, sheet.read_bytes()[: len(once)])
    refused(sheet, keys, "no signature with a trusted certificate, though --trust asks for one: operator")
    ink = tmp_path / "ink.pdf"
    print_sheet(write_case(tmp_path, TWO + "printed_for_signature = true\n"), ink)
    sign_with_certificate(ink, keys[OFFICER][0], PASSWORD.encode(), "laser_safety_officer")
    code, _, text = answer(ink, trust=[keys[OFFICER][1], keys[OPERATOR][1]])
    assert (code, "missing: operator" in text) == (CODES["not signed"], True)


def test_one_key_for_two_roles_is_refused_even_under_two_names(sheet: Path, keys: Keys, tmp_path: Path) -> None:
    """The key of the operator, in a certificate that says it is the officer's, signs first."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.serialization import pkcs12
    from cryptography.x509.oid import NameOID

    key, own, _ = pkcs12.load_key_and_certificates(keys[OPERATOR][0].read_bytes(), PASSWORD.encode())
    assert key is not None
    assert own is not None
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, OFFICER)])
    builder = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    builder = (
        builder.serial_number(7).not_valid_before(own.not_valid_before_utc).not_valid_after(own.not_valid_after_utc)
    )
    for extension in own.extensions:
        builder = builder.add_extension(extension.value, extension.critical)
    other = builder.sign(key, hashes.SHA256())  # type: ignore[arg-type]
    pack, alone = tmp_path / "o.p12", tmp_path / "o.pem"
    secret = serialization.BestAvailableEncryption(PASSWORD.encode())
    pack.write_bytes(pkcs12.serialize_key_and_certificates(b"key", key, other, None, secret))  # type: ignore[arg-type]
    alone.write_bytes(other.public_bytes(serialization.Encoding.PEM))
    lay(sheet, signed_sheet(TWO))
    sign_with_certificate(sheet, pack, PASSWORD.encode(), "laser_safety_officer")
    before = sheet.read_bytes()
    with pytest.raises(InputError, match="this key has signed as laser safety officer already; the case wants two"):
        sign_with_certificate(sheet, keys[OPERATOR][0], PASSWORD.encode(), "operator")
    assert sheet.read_bytes() == before
    forge(sheet, keys[OPERATOR][0])
    refused(sheet, {**keys, "other": (pack, alone)}, "its key has signed as laser safety officer too")


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (2, "it is dated in the future"),
        (-2, "it is dated before a signature that it follows"),
        (-800, "it is dated outside the days for which its certificate holds"),
    ],
)
def test_a_signature_with_a_date_that_cannot_be_is_refused(
    sheet: Path, keys: Keys, monkeypatch: pytest.MonkeyPatch, days: int, words: str
) -> None:
    """The certificates of the tests began 100 days ago."""
    with monkeypatch.context() as patch:
        dated(patch, datetime.now(UTC) + timedelta(days=days))
        forge(sheet, keys[OPERATOR][0])
    refused(sheet, keys, words)


def test_a_signature_that_is_dated_before_the_record_it_stands_under_is_refused(
    tmp_path: Path, keys: Keys, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "s.pdf"
    lay(path, signed_sheet(TWO))
    with monkeypatch.context() as patch:
        dated(patch, datetime.now(UTC) - timedelta(hours=1))
        forge(path, keys[OPERATOR][0])
    refused(path, keys, "it is dated before a signature that it follows")


@pytest.mark.parametrize("whole", [True, False])
def test_another_case_of_the_letters_inside_contents_is_refused(sheet: Path, keys: Keys, whole: bool) -> None:
    """The place of the signature is the one part of a file that it does not cover."""
    content = sheet.read_bytes()
    place = re.search(rb"/Contents <([0-9A-F]{200,})>", content)
    assert place is not None
    letters = place[1].lower() if whole else re.sub(rb"[A-F]", lambda m: m[0].lower(), place[1], count=1)
    assert letters != place[1]
    lay(sheet, content[: place.start(1)] + letters + content[place.end(1) :])
    refused(sheet, keys, "the signature is damaged")


# ---------------------------------------------------------------------------------------------------------------------
# What is slipped in before the last signature, and covered by it


def page_of(writer: Writer, number: int) -> DictionaryObject:
    return writer.find_page_for_modification(number)[0].get_object()  # type: ignore[no-any-return]


def stream(data: bytes, **facts: Any) -> StreamObject:
    return StreamObject({pdf_name(f"/{key}"): value for key, value in facts.items()}, stream_data=data)


def a_note_over_the_decision(writer: Writer) -> None:
    box = ArrayObject(map(NumberObject, (40, 560, 560, 760)))
    look = stream(b"1 1 1 rg 0 0 520 200 re f", Type=pdf_name("/XObject"), Subtype=pdf_name("/Form"), BBox=box)
    note = DictionaryObject(
        {
            pdf_name("/Type"): pdf_name("/Annot"), pdf_name("/Subtype"): pdf_name("/FreeText"),
            pdf_name("/Rect"): box, pdf_name("/Contents"): pdf_string("0.0 m"),
            pdf_name("/AP"): DictionaryObject({pdf_name("/N"): writer.add_object(look)}),
        }
    )  # fmt: skip
    page_of(writer, 0)[pdf_name("/Annots")] = ArrayObject([writer.add_object(note)])


def another_content_of_a_page(writer: Writer) -> None:
    page = page_of(writer, 0)
    page[pdf_name("/Contents")] = writer.add_object(stream(b"1 1 1 rg 0 0 600 900 re f"))


def the_content_of_a_page_overwritten(writer: Writer) -> None:
    reference = page_of(writer, 0).raw_get("/Contents")
    writer.objects[reference.generation, reference.idnum] = stream(b"1 1 1 rg 0 0 600 900 re f")


def another_order_of_the_pages(writer: Writer) -> None:
    tree = writer.root["/Pages"]
    kids = tree["/Kids"]
    kids[0], kids[1] = kids.raw_get(1), kids.raw_get(0)
    writer.update_container(kids)


def a_page_more(writer: Writer) -> None:
    tree = writer.root["/Pages"]
    new = DictionaryObject({pdf_name("/Type"): pdf_name("/Page"), pdf_name("/Parent"): writer.root.raw_get("/Pages"),
                            pdf_name("/MediaBox"): ArrayObject(map(NumberObject, (0, 0, 595, 842)))})  # fmt: skip
    tree["/Kids"].append(writer.add_object(new))
    tree[pdf_name("/Count")] = NumberObject(int(tree["/Count"]) + 1)
    writer.update_container(tree["/Kids"])


def another_case_inside(writer: Writer) -> None:
    files = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    place = [str(files[n]) for n in range(0, len(files), 2)].index("case.toml")
    reference = files[2 * place + 1]["/EF"].raw_get("/F")
    writer.objects[reference.generation, reference.idnum] = stream(b'title = "harmless"\n')


def another_name_of_what_is_inside(writer: Writer) -> None:
    files = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    files[0], files[2] = files.raw_get(2), files.raw_get(0)
    writer.update_container(files)


def one_more_file_inside(writer: Writer) -> None:
    files = writer.root["/Names"]["/EmbeddedFiles"]["/Names"]
    files.append(pdf_string("results.txt"))
    files.append(writer.add_object(DictionaryObject({pdf_name("/Type"): pdf_name("/Filespec")})))
    writer.update_container(files)


def layers_that_hide(writer: Writer) -> None:
    group = writer.add_object(
        DictionaryObject({pdf_name("/Type"): pdf_name("/OCG"), pdf_name("/Name"): pdf_string("x")})
    )
    state = DictionaryObject({pdf_name("/OFF"): ArrayObject([group])})
    writer.root[pdf_name("/OCProperties")] = DictionaryObject({pdf_name("/OCGs"): ArrayObject([group]),
                                                               pdf_name("/D"): state})  # fmt: skip
    writer.update_root()


def something_to_run(writer: Writer) -> None:
    action = {pdf_name("/S"): pdf_name("/JavaScript"), pdf_name("/JS"): pdf_string("app.alert('below the limit')")}
    writer.root[pdf_name("/OpenAction")] = DictionaryObject(action)
    writer.update_root()


def other_page_labels(writer: Writer) -> None:
    writer.root[pdf_name("/PageLabels")] = DictionaryObject({pdf_name("/Nums"): ArrayObject()})
    writer.update_root()


def another_title(writer: Writer) -> None:
    info = writer.trailer["/Info"]
    info[pdf_name("/Title")] = pdf_string("Released")
    writer.update_container(info)
    writer.document_meta_view.title = "Released"
    writer._meta.title = "Released"


def a_text_field(writer: Writer) -> None:
    field = DictionaryObject({pdf_name("/FT"): pdf_name("/Tx"), pdf_name("/T"): pdf_string("zone"),
                              pdf_name("/V"): pdf_string("0 m")})  # fmt: skip
    form = writer.root["/AcroForm"]
    form["/Fields"].append(writer.add_object(field))
    writer.update_container(form["/Fields"])


def a_field_that_runs_something(writer: Writer) -> None:
    for name, _, reference in fields.enumerate_sig_fields(writer):
        if name == "lasersafe_operator":
            action = {pdf_name("/S"): pdf_name("/URI"), pdf_name("/URI"): pdf_string("https://example.org")}
            reference.get_object()[pdf_name("/A")] = DictionaryObject(action)
            writer.mark_update(reference)


def a_field_that_is_moved(writer: Writer) -> None:
    for name, _, reference in fields.enumerate_sig_fields(writer):
        if name == "lasersafe_operator":
            box = ArrayObject(map(NumberObject, (40, 560, 560, 760)))
            reference.get_object()[pdf_name("/Rect")] = box
            writer.mark_update(reference)


def something_nobody_refers_to(writer: Writer) -> None:
    writer.add_object(stream(b"another sheet, for a reader that looks for it"))


@pytest.mark.parametrize(
    "edit",
    [
        a_note_over_the_decision, another_content_of_a_page, the_content_of_a_page_overwritten,
        another_order_of_the_pages, a_page_more, another_case_inside, another_name_of_what_is_inside,
        one_more_file_inside, layers_that_hide, something_to_run, other_page_labels, another_title, a_text_field,
        a_field_that_runs_something, a_field_that_is_moved, something_nobody_refers_to,
    ],
)  # fmt: skip
def test_what_is_slipped_in_under_a_signature_is_refused(
    sheet: Path, keys: Keys, edit: Callable[[Writer], None]
) -> None:
    before = sheet.read_bytes()
    forge(sheet, keys[OPERATOR][0], edit)
    assert sheet.read_bytes().startswith(before)
    found = refused(sheet, keys)
    assert "appended" in found or "place to sign" in found, found


def test_the_same_is_refused_when_it_is_the_first_thing_appended(tmp_path: Path, keys: Keys) -> None:
    for edit in (a_note_over_the_decision, a_page_more, another_case_inside, another_title, layers_that_hide):
        path = tmp_path / "s.pdf"
        lay(path, signed_sheet(TWO))
        forge(path, keys[OPERATOR][0], edit)
        refused(path, keys, "appended")


@pytest.mark.parametrize(
    "more",
    [
        {"name": "Ines Falkenrath"}, {"reason": "laser_safety_officer: lasersafe sheet"}, {"location": "everywhere"},
        {"certify": True}, {"contact_info": "call me"},
    ],
)  # fmt: skip
def test_a_signature_that_says_more_of_itself_is_refused(tmp_path: Path, keys: Keys, more: dict[str, Any]) -> None:
    path = tmp_path / "s.pdf"
    lay(path, signed_sheet(TWO))
    if "name" in more:
        forge(path, keys[OPERATOR][0], **{"words": "Signed with a certificate\nlaser safety officer"})
    else:
        forge(path, keys[OPERATOR][0], **more)
    refused(path, keys)


def test_bytes_that_no_table_names_are_refused(sheet: Path, keys: Keys, once: bytes) -> None:
    """Between the revisions, after the last one, and a table of contents beside the one that is read."""
    for more in (b"%comment\n", b"1 0 obj\n<<>>\nendobj\n", b"\n"):
        lay(sheet, once + more)
        forge(sheet, keys[OPERATOR][0])
        refused(sheet, keys)
        lay(sheet, once)
        forge(sheet, keys[OPERATOR][0])
        lay(sheet, sheet.read_bytes() + more)
        refused(sheet, keys)


def test_an_empty_revision_between_two_signatures_is_refused(sheet: Path, keys: Keys, once: bytes) -> None:
    output, writer = BytesIO(), Writer(BytesIO(once))
    writer.add_object(generic.NullObject())
    writer.write(output)
    lay(sheet, output.getvalue())
    forge(sheet, keys[OPERATOR][0])
    refused(sheet, keys)


# ---------------------------------------------------------------------------------------------------------------------
# What the sheet says of itself


@pytest.mark.parametrize("paper", ["A3", "Letter", "", "A4 ", "a4"])
def test_a_forged_paper_size_is_changed(tmp_path: Path, paper: str) -> None:
    path = tmp_path / "s.pdf"
    lay(path, rebuilt({}, {"paper": paper}))
    code, data, text = answer(path)
    assert code == CODES["changed"], text
    assert {one["kind"] for one in data["findings"]} == {"changed"}
    if paper not in ("", "Letter"):  # nothing at all stands for the paper of the case
        assert f"it cannot have been printed as it says: paper = '{paper}'" in text


# ---------------------------------------------------------------------------------------------------------------------
# Read in one way by this program, in another by a reader of PDF files


def retabled(content: bytes, start: int) -> bytes:
    """Return a file whose last revision, from ``start`` on, names the places of its objects again."""
    table = content.index(b"\nxref\n", start) + 1
    places = {int(found[1]): found.start() for found in re.finditer(rb"(?m)^(\d+) 0 obj$", content[:table])
              if found.start() >= start}  # fmt: skip
    foot = content.index(b"trailer", table)
    rows = content[table:foot]
    for first, _, listed in re.findall(rb"(?m)^(\d+) (\d+)\n((?:\d{10} 00000 n \n)+)", rows):
        if int(first) in places:
            new = b"".join(b"%010d 00000 n \n" % places[int(first) + n] for n in range(listed.count(b"\n")))
            rows = rows.replace(listed, new)
    tail = re.sub(rb"startxref\n\d+", b"startxref\n%d" % table, content[foot:])
    return content[:table] + rows + tail


def resigned(path: Path, key: Path, patch: Callable[[bytes], bytes], start: int) -> None:
    """Change the last revision, which begins at ``start``, and sign it anew as it then is."""
    content = path.read_bytes()
    content = retabled(content[:start] + patch(content[start:]), start)
    hole = re.compile(rb"/Contents (<[0-9A-F]+>)\n/ByteRange (\[[\d ]+\] *)").search(content, start)
    assert hole is not None
    first, second = hole.span(1)
    ranges = b"[0 %d %d %d]" % (first, second, len(content) - second)
    content = content[: hole.start(2)] + ranges.ljust(len(hole[2])) + content[hole.end(2) :]
    signer = signers.SimpleSigner.load_pkcs12(str(key), passphrase=PASSWORD.encode())
    digest = hashlib.sha256(content[:first] + content[second:]).digest()
    made = asyncio.run(signer.async_sign(digest, "sha256", use_pades=True)).dump().hex().upper()
    lay(path, content[: first + 1] + made.ljust(second - first - 2, "0").encode() + content[second - 1 :])


def more_rows(rows: bytes) -> Callable[[bytes], bytes]:
    return lambda content: content.replace(b"0000000000 65535 f \n", b"0000000000 65535 f \n" + rows, 1)


def same(content: bytes) -> bytes:
    return content


@pytest.fixture(scope="module")
def twice(keys: Keys, once: bytes, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Return that sheet signed by the operator too, and signed anew as `resigned` does it, which is good."""
    path = tmp_path_factory.mktemp("twice") / "s.pdf"
    lay(path, once)
    forge(path, keys[OPERATOR][0])
    resigned(path, keys[OPERATOR][0], same, len(once))
    assert answer(path, trust=[one for _, one in keys.values()])[0] == 0, "what is built here is good"
    return path.read_bytes()


def as_deleted(content: bytes) -> bytes:
    """Delete the first page, under the place of an object that is named again after it."""
    row = re.search(rb"(?m)^\d{10} 00000 n $", content)
    assert row is not None
    return more_rows(b"2 1\n%s f \n" % row[0][:16])(content)


def another_kind_of_table(content: bytes) -> bytes:
    return content.replace(b"/Prev ", b"/XRefStm 100\n/Prev ", 1)


def fewer_objects(content: bytes) -> bytes:
    return re.sub(rb"/Size \d+", b"/Size 20", content)


def a_remark_that_ends_differently(content: bytes) -> bytes:
    return content.replace(b"/FT /Sig\n", b"/FT /Sig %\r/Rect [ 0 0 600 900 ]\n", 1)


def a_key_twice(content: bytes) -> bytes:
    return content.replace(b"/FT /Sig\n", b"/FT /Sig\n/Rect [ 0 0 600 900 ]\n", 1)


def a_name_in_other_letters(content: bytes) -> bytes:
    return content.replace(b"/FT /Sig\n", b"/FT /Sig\n/#52ect [ 0 0 600 900 ]\n", 1)


def an_object_inside_another(content: bytes) -> bytes:
    return content.replace(b"(Callum Rosendahl) Tj", b"(Callum Rosendahl) Tj\nendobj\n5 0 obj\n<<>>\n", 1)


def a_stamp_packed(content: bytes) -> bytes:
    return content.replace(b"/Subtype /Form\n", b"/Subtype /Form\n/Filter /ASCIIHexDecode\n", 1)


@pytest.mark.parametrize(
    "patch",
    [
        as_deleted, more_rows(b"2 1\n0000000000 00001 f \n"), more_rows(b"2 1\n0000000061 00000 n \n"),
        another_kind_of_table, fewer_objects, a_remark_that_ends_differently, a_key_twice, a_name_in_other_letters,
        an_object_inside_another, a_stamp_packed,
    ],
)  # fmt: skip
def test_what_other_readers_would_read_differently_is_refused(
    sheet: Path, keys: Keys, once: bytes, twice: bytes, patch: Callable[[bytes], bytes]
) -> None:
    lay(sheet, twice)
    resigned(sheet, keys[OPERATOR][0], patch, len(once))
    assert abs(len(sheet.read_bytes()) - len(twice)) < 100
    found = refused(sheet, keys)
    assert re.search("appended|is no stamp", found.partition("\n")[0]), found


def test_a_table_that_deletes_a_page_is_damaged_whoever_packed_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What another packer has packed is compared unpacked; its table of contents has to be as plain as ours."""
    case, path, pack = write_case(tmp_path), tmp_path / "s.pdf", zlib.compress
    sign_all(case)
    library, _ = making.drawn_with()
    with monkeypatch.context() as other:
        other.setattr(zlib, "compress", lambda content, level=1: pack(content, 1))
        other.setattr(making, "drawn_with", lambda: (library, "zlib 9.9"))
        print_sheet(case, path)
    good = path.read_bytes()
    assert answer(path)[0] == 0
    table = good.rindex(b"\nxref\n")
    row = good.index(b" 00000 n \n", table + 200)
    for forged in (
        good[:row] + b" 00000 f \n" + good[row + 10 :],
        good[:row] + b" 00001 n \n" + good[row + 10 :],
        good.replace(b"n \ntrailer\n", b"n \n5 1\n0000000061 00000 n \ntrailer\n"),
    ):
        assert forged != good
        lay(path, resealed(forged))
        code, _, text = answer(path)
        assert (code, "its table of contents is damaged" in text) == (CODES["damaged"], True)
