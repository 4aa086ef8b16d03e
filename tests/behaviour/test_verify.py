"""``lasersafe verify``: each answer with its exit code; exchanged attachments, damaged and hostile files."""

from __future__ import annotations

import hashlib
import json
import random
import re
import time
import zlib
from pathlib import Path
from typing import Any

import pytest

from lasersafe.errors import CalcError
from lasersafe.models import canonical, case_from, parse_case
from lasersafe.sheet.flow import Page
from lasersafe.sheet.paint import Facts, attachment, paint
from lasersafe.signing import container, making, verify
from lasersafe.signing.container import SheetError, open_sheet, parse_sheet, register_answer, seal
from lasersafe.signing.verify import verify_answer
from tests.behaviour import command
from tests.behaviour.signing_help import case_text, lay, print_sheet, run, sign, sign_all, signed_sheet, write_case
from tests.behaviour.test_sign_off import flipped

GOOD = "unchanged"


def answer(path: Path, **options: Any) -> tuple[int, dict[str, Any], str]:
    """Return exit code, JSON and text of verify."""
    wanted: dict[str, Any] = {"trust": [], "case": None, "on": None, "time_limit": 100.0} | options
    data, lines, code = verify_answer(path, **wanted)
    assert data["exit_code"] == code
    assert data["unchanged"] is (code == 0)
    return code, data, "\n".join(lines)


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """Return a copy of the signed sheet."""
    path = tmp_path / "sheet.pdf"
    lay(path, signed_sheet())
    return path


def rebuilt(changes: dict[str, bytes | None], about: dict[str, Any] | None = None) -> bytes:
    """Return a sheet with one empty page whose attachments were exchanged by somebody who knows how they are made."""
    old = parse_sheet(signed_sheet())
    names = (container.CASE_TEXT, container.CASE, container.RESULTS, container.RECORD, container.ABOUT)
    files = {name: old.attachment(name) for name in names}
    if about is not None:
        files[container.ABOUT] = json.dumps(json.loads(files[container.ABOUT]) | about).encode()
    for name, content in changes.items():
        if content is None:
            del files[name]
        else:
            files[name] = content
    packed = {name: attachment(content) for name, content in files.items()}
    return seal(paint([Page()], [], (595.0, 842.0), None, Facts("t", "a", "s", "c", "en"), packed))


def test_a_signed_sheet_is_unchanged(sheet: Path) -> None:
    code, data, text = answer(sheet)
    assert (code, data["findings"], data["state"]) == (0, [], "signed")
    assert text.splitlines()[0].endswith("unchanged, signed, in date, and still what this version computes")


def test_the_command_prints_the_same_and_exits_with_the_code(sheet: Path) -> None:
    good = run("verify", sheet)
    assert (good.returncode, good.stderr) == (0, "")
    late = command.run("verify", sheet, "--on", "2090-07-01", "--json")
    assert late.code == verify.CODES["overdue"] == late.data["exit_code"]


def test_a_draft_is_not_signed(tmp_path: Path) -> None:
    print_sheet(write_case(tmp_path), tmp_path / "draft.pdf")
    code, _, text = answer(tmp_path / "draft.pdf")
    assert code == verify.CODES["not signed"]
    assert "missing: assessor, laser safety officer, operator, venue" in text
    assert GOOD not in text


def test_printed_for_signature_is_not_signed_for_a_program(tmp_path: Path) -> None:
    print_sheet(write_case(tmp_path, "[sign_off]\nprinted_for_signature = true\n"), tmp_path / "ink.pdf")
    code, _, text = answer(tmp_path / "ink.pdf")
    assert code == verify.CODES["not signed"]
    assert "ink, which no program can check" in text


def test_review_date_and_expiry_are_judged_on_the_day(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign_all(case)
    sign(case, "Rafe Sollberg", "venue", expires="2080-01-02", again=True)
    print_sheet(case, tmp_path / "s.pdf")
    assert answer(tmp_path / "s.pdf", on="2080-01-02")[0] == 0
    code, _, text = answer(tmp_path / "s.pdf", on="2080-01-03")
    assert (code, "Rafe Sollberg (venue) ended on 2080-01-02" in text) == (verify.CODES["overdue"], True)
    assert answer(tmp_path / "s.pdf", on="2090-06-30")[1]["findings"][0]["kind"] == "overdue"
    assert "past its review date" in answer(tmp_path / "s.pdf", on="2090-07-01")[2]


def test_a_sheet_printed_after_a_change_names_what_changed(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign_all(case)
    case.write_text(re.sub(r'place = "[^"]*"', 'place = "Elsewhere"', case_text()), encoding="utf-8")
    print_sheet(case, tmp_path / "s.pdf")
    code, data, text = answer(tmp_path / "s.pdf")
    assert code == verify.CODES["changed"]
    assert "changed since Rafe Sollberg signed" in text
    assert [line.split(":")[0] for line in data["changed_fields"]] == ["place"]


def test_a_case_file_that_changed_after_printing_is_named(sheet: Path, tmp_path: Path) -> None:
    case = write_case(tmp_path)
    assert answer(sheet, case=case)[0] == 0
    case.write_text(re.sub(r"review_by = \S+", "review_by = 2091-01-01", case_text()), encoding="utf-8")
    code, data, _ = answer(sheet, case=case)
    assert code == verify.CODES["changed"]
    assert data["changed_fields"] == ["review_by: was '2090-06-30', is '2091-01-01'"]


def test_other_results_of_this_version_are_listed_with_how_far_they_are_apart(
    sheet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = making.results_of

    def longer(assessment: Any) -> dict[str, Any]:
        data = real(assessment)
        data["setups"][0]["zones"][0]["distance_m"] *= 1.02
        return data

    monkeypatch.setattr(making, "results_of", longer)
    code, data, text = answer(sheet)
    assert code == verify.CODES["other results"]
    assert {one["kind"] for one in data["findings"]} == {"other results"}
    (change,) = data["changed_results"]
    assert change["field"].endswith("distance_m")
    assert change["relative_change"] == pytest.approx(0.02)
    assert "(+2 %)" in text


def test_another_version_with_the_same_results_is_named(sheet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import lasersafe

    monkeypatch.setattr(lasersafe, "__version__", "9.9.9")
    code, data, text = answer(sheet)
    assert (code, data["changed_results"]) == (0, [])
    assert "program: was version 0.1.0, is 9.9.9" in text


def test_another_library_that_drew_the_pages_differently_is_named(tmp_path: Path) -> None:
    path = tmp_path / "s.pdf"
    lay(path, rebuilt({}, {"drawn_with": "reportlab 1.0, zlib 1.2"}))
    code, _, text = answer(path)
    assert code == verify.CODES["not checked"]
    assert "compare by eye" in text


def test_pages_that_were_made_anew_are_caught(tmp_path: Path) -> None:
    path = tmp_path / "s.pdf"
    lay(path, rebuilt({}))
    code, _, text = answer(path)
    assert code == verify.CODES["changed"]
    assert "not what this version prints" in text


@pytest.mark.parametrize(("packer", "code"), [("zlib 9.9", 0), ("", verify.CODES["changed"])])
def test_another_packer_of_the_same_pages_makes_no_difference(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, packer: str, code: int
) -> None:
    case, path, pack = write_case(tmp_path), tmp_path / "s.pdf", zlib.compress
    sign_all(case)
    library, own = making.drawn_with()
    with monkeypatch.context() as other:
        other.setattr(zlib, "compress", lambda content, level=1: pack(content, 1))
        other.setattr(making, "drawn_with", lambda: (library, packer or own))
        print_sheet(case, path)
    assert answer(path)[0] == code, "the same packer gives the same bytes; another need not"


# ---------------------------------------------------------------------------------------------------------------------
# Exchanged parts


def test_an_exchanged_case_is_caught_with_the_field(tmp_path: Path) -> None:
    text = re.sub(r'power = "[^"]*"', 'power = "1 W"', case_text(), count=1)
    assert text != case_text()
    hashes = {container.CASE_TEXT: text.encode(), container.CASE: making.packed(canonical(parse_case(text)))}
    attached = json.loads(parse_sheet(signed_sheet()).attachment(container.ABOUT))["attachments"]
    new = attached | {name: hashlib.sha256(content).hexdigest() for name, content in hashes.items()}
    path = tmp_path / "s.pdf"
    for changes, about, named in (
        ({container.CASE_TEXT: text.encode()}, None, True),
        ({container.CASE_TEXT: text.encode()}, {"attachments": new}, True),
        (hashes, {"attachments": new}, False),
    ):
        lay(path, rebuilt(changes, about))  # type: ignore[arg-type]
        code, data, lines = answer(path)
        assert code == verify.CODES["changed"]
        assert GOOD not in lines
        assert any("power" in line for line in data["changed_fields"]) is named


@pytest.mark.parametrize("count", [12, pytest.param(1000, marks=pytest.mark.soak)])
def test_each_field_exchanged_inside_the_sheet_is_caught(tmp_path: Path, count: int) -> None:
    """With all attachments and fingerprints made to fit, as somebody would who knows how: the record stays behind."""
    from lasersafe.assessment import combined, ingredients

    old = parse_sheet(signed_sheet())
    about = json.loads(old.attachment(container.ABOUT))
    good = canonical(parse_case(case_text()))
    path = tmp_path / "s.pdf"
    changed = [(place, case) for place, case in flipped(case_text()) if case is not None]
    random.Random(5).shuffle(changed)
    for place, case in changed[:count]:
        parts = ingredients(case)
        inputs = making.packed(canonical(case))
        assert canonical(case_from({**case_from_tree(case)})) != good, place
        fitted = {"ingredients": parts, "fingerprint": combined(parts), "review_by": case.review_by.isoformat()}
        fitted["attachments"] = about["attachments"] | {container.CASE: hashlib.sha256(inputs).hexdigest()}
        lay(path, rebuilt({container.CASE: inputs}, fitted))
        code, data, _ = answer(path)
        assert code == verify.CODES["changed"], place
        assert any(str(place[-1]) in line or "a table" in line for line in data["changed_fields"]), place


def case_from_tree(case: Any) -> dict[str, Any]:
    return {name: getattr(case, name) for name in case.model_fields_set}


@pytest.mark.parametrize("name", [container.CASE, container.RESULTS, container.RECORD, container.CASE_TEXT])
def test_an_attachment_that_is_exchanged_or_missing_is_caught(tmp_path: Path, name: str) -> None:
    path = tmp_path / "s.pdf"
    content = parse_sheet(signed_sheet()).attachment(name)
    for other in (content + b" ", b"", b"{}", b"[]", b"null", b"\xff\xfe", b"[" * 3000, None):
        lay(path, rebuilt({name: other}))
        code, _, text = answer(path)
        assert code in (verify.CODES["changed"], verify.CODES["damaged"]), other
        assert GOOD not in text


def test_changed_results_that_are_made_to_fit_are_caught(tmp_path: Path) -> None:
    from lasersafe.signing.record import results_digest

    old = parse_sheet(signed_sheet())
    results = json.loads(old.attachment(container.RESULTS))
    results["setups"][0]["zones"][0]["distance_m"] = 0.1
    content = making.packed(results)
    attached = json.loads(old.attachment(container.ABOUT))["attachments"]
    fitted = {
        "results": results_digest(results),
        "attachments": attached | {container.RESULTS: hashlib.sha256(content).hexdigest()},
    }
    path = tmp_path / "s.pdf"
    lay(path, rebuilt({container.RESULTS: content}, fitted))
    code, data, _ = answer(path)
    assert code == verify.CODES["changed"] or data["changed_results"]
    assert code != 0


def test_a_number_that_was_changed_on_a_page_is_caught(sheet: Path) -> None:
    """The attachments are as they were, the checksum is made to fit: only printing it again can tell."""
    content = signed_sheet()
    for match in re.finditer(rb"/Length (\d+)\s*>>\nstream\n", content):
        packed = content[match.end() : match.end() + int(match[1])]
        try:
            page = zlib.decompress(packed)
        except zlib.error:
            continue
        if b" Tj" not in page:
            continue
        other = zlib.compress(re.sub(rb"\(([^)]*)1([^)]*)\) Tj", rb"(\g<1>2\g<2>) Tj", page, count=1), 9)
        if len(other) > len(packed):
            continue
        other = other.ljust(len(packed), b"\n")
        forged = content[: match.end()] + other + content[match.end() + len(packed) :]
        lay(sheet, resealed(forged))
        code, _, text = answer(sheet)
        assert code in (verify.CODES["changed"], verify.CODES["damaged"])
        assert GOOD not in text
        return
    pytest.fail("no page found")


def resealed(content: bytes) -> bytes:
    """Return a file with the checksum made to fit what somebody changed."""
    return seal(re.sub(rb"%lasersafe sheet 1 sha256=[0-9a-f]{64}\n", b"", content))


def test_what_is_appended_is_caught(sheet: Path) -> None:
    for more in (b"\n", b" ", b"%comment\n", b"\n1 0 obj\n<<>>\nendobj\n" + signed_sheet()[-400:], signed_sheet()):
        lay(sheet, signed_sheet() + more)
        code, _, text = answer(sheet)
        assert code == verify.CODES["signature"]
        assert GOOD not in text


# ---------------------------------------------------------------------------------------------------------------------
# Damaged and hostile


def test_files_that_are_no_sheet_are_one_line_each(tmp_path: Path) -> None:
    path = tmp_path / "s.pdf"
    content = signed_sheet()
    for junk in (
        b"",
        b"x",
        b"%PDF-1.4\n%%EOF\n",
        content[:1000],
        content[:-1],
        content[1:],
        content[:-300],
        b"\0" * 9999,
    ):
        lay(path, junk)
        result = command.run("verify", path) if junk in (b"", content[:-1]) else None
        code, _, text = answer(path)
        assert code == verify.CODES["damaged"]
        assert GOOD not in text
        assert len(text.splitlines()) == 1
        if result:
            assert (result.code, result.out.count("\n"), result.err) == (code, 1, "")


def test_missing_files_and_folders_are_one_line(tmp_path: Path) -> None:
    for name in ("none.pdf", "."):
        result = command.run("verify", tmp_path / name)
        assert (result.code, result.err.count("\n"), result.out) == (2, 1, "")


def test_an_attachment_bomb_is_not_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(container, "LARGEST_ATTACHMENT", 2_000_000)
    monkeypatch.setattr(container.SheetFile.attachment, "__defaults__", (2_000_000,))
    path = tmp_path / "s.pdf"
    bomb = b" " * 50_000_000
    for name in (container.CASE_TEXT, container.RESULTS, container.ABOUT, container.CASE):
        lay(path, rebuilt({name: bomb}))
        assert path.stat().st_size < 300_000
        start = time.perf_counter()
        code, _, text = answer(path)
        assert code == verify.CODES["damaged"]
        assert "it is not unpacked" in text
        assert time.perf_counter() - start < 2.0
        assert register_answer(tmp_path, False, None)[0]["count"] == 1 + making.annex_path(path).exists()


def test_a_huge_file_is_refused_without_reading_all_of_it(tmp_path: Path) -> None:
    path = tmp_path / "s.pdf"
    with path.open("wb") as file:
        file.truncate(10_000_000_000)  # sparse
    start = time.perf_counter()
    with pytest.raises(CalcError, match="larger than 64 MB"):
        answer(path)
    rows = register_answer(tmp_path, False, None)[0]["sheets"]
    assert (rows[0]["state"], time.perf_counter() - start < 5.0) == ("unreadable", True)


@pytest.mark.parametrize(
    "text",
    [
        'power = "1e308 W"', 'power = "-1 W"', 'power = "nan W"', 'power = "1e400 W"', 'power = ""', "power = 1",
        "power = " + "[" * 900 + "]" * 900, 'power = "' + "9" * 50_000 + ' W"',
    ],
)  # fmt: skip
def test_a_case_with_absurd_values_inside_is_one_line(tmp_path: Path, text: str) -> None:
    absurd = re.sub(r'power = "[^"]*"', lambda _: text, case_text(), count=1).encode()
    attached = json.loads(parse_sheet(signed_sheet()).attachment(container.ABOUT))["attachments"]
    fitted = {"attachments": attached | {container.CASE_TEXT: hashlib.sha256(absurd).hexdigest()}}
    path = tmp_path / "s.pdf"
    lay(path, rebuilt({container.CASE_TEXT: absurd}, fitted))
    code, _, lines = answer(path)
    assert code == verify.CODES["not checked"]
    assert "cannot read the embedded case" in lines
    assert GOOD not in lines


def test_what_takes_too_long_is_given_up(sheet: Path) -> None:
    code, data, text = answer(sheet, time_limit=0.001)
    assert code == verify.CODES["not checked"]
    assert "takes longer than 0.001 s" in text
    assert data["fingerprint"] is None


def damaged(content: bytes, dice: random.Random) -> bytes:
    """Return a file with one kind of damage."""
    place = dice.randrange(len(content))
    kind = dice.randrange(7)
    if kind <= 2:
        bad = bytearray(content)
        bad[place] ^= 1 << dice.randrange(8)
        return bytes(bad)
    if kind == 3:
        return content[:place]
    if kind == 4:
        return content[:place] + bytes(dice.randrange(1, 200)) + content[place + 100 :]
    if kind == 5:
        return content[:place] + content[place + dice.randrange(1, 100) :]
    return content[:place] + dice.randbytes(dice.randrange(1, 50)) + content[place:]


@pytest.mark.parametrize("count", [40, pytest.param(2000, marks=pytest.mark.soak)])
def test_damaged_files_get_an_answer_and_are_never_unchanged(tmp_path: Path, count: int) -> None:
    dice = random.Random(20 + count)
    path = tmp_path / "s.pdf"
    for number in range(count):
        bad = damaged(signed_sheet(), dice)
        if bad == signed_sheet():
            continue
        if number % 4 == 3:  # and made to fit the checksum, where that can be done
            try:
                bad = resealed(bad)
            except ValueError:
                pass
        lay(path, bad)
        code, _, text = answer(path)
        assert code != 0, number
        assert GOOD not in text, number
        rows = register_answer(tmp_path, False, None)[0]["sheets"]
        rows = [row for row in rows if row["handout"] != "annex"]
        assert len(rows) == 1
        assert number % 4 == 3 or rows[0]["problem"] or code == verify.CODES["signature"], number


def test_each_part_of_the_container_is_checked() -> None:
    content = signed_sheet()
    sheet = parse_sheet(content)
    assert sheet.base == content
    assert sheet.appended == b""
    with pytest.raises(SheetError):
        sheet.attachment("none.txt")
    with pytest.raises(SheetError):
        sheet.attachment(container.RESULTS, 10)
    with pytest.raises(ValueError, match="not the end"):
        seal(b"%PDF-1.4\n%%EOF")
    assert open_sheet.__doc__
