"""``lasersafe register`` tells sheets from pages to hand out, and says what was appended to a sheet."""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import Any

import pytest

from lasersafe.signing import container
from lasersafe.signing.container import register_answer
from tests.behaviour import command
from tests.behaviour.signing_help import PASSWORD, PEOPLE, lay, make_certificate, print_sheet, signed_sheet, write_case


def listed(folder: Path) -> tuple[dict[str, Any], dict[str, dict[str, Any]], str]:
    """Return the answer, its rows by file, and the text."""
    data, text = register_answer(folder, False, "2026-01-01")
    return data, {row["file"]: row for row in data["sheets"]}, text


def test_a_sheet_with_appended_bytes_is_not_counted_as_signed(tmp_path: Path) -> None:
    kinds = {"comment": b"%nothing\n", "line": b"\n", "sheet": signed_sheet(), "object": b"1 0 obj\n<<>>\nendobj\n"}
    for name, more in kinds.items():
        (tmp_path / f"{name}.pdf").write_bytes(signed_sheet() + more)
    (tmp_path / "whole.pdf").write_bytes(signed_sheet())
    data, rows, text = listed(tmp_path)
    assert {name: row["state"] for name, row in rows.items()} == {
        "whole.pdf": "signed", **{f"{name}.pdf": "changed after printing" for name in kinds}
    }  # fmt: skip
    assert all("appended after printing" in rows[f"{name}.pdf"]["problem"] for name in kinds)
    assert not any(row["certificates"] for row in rows.values())
    assert (data["count"], data["not_readable"], data["changed_after_printing"]) == (5, 0, 4)
    assert text.splitlines()[-1] == "5 files, 0 overdue, 0 not readable, 4 changed after printing"


def test_the_pages_to_hand_out_are_no_damaged_sheets(tmp_path: Path) -> None:
    case, folder = write_case(tmp_path), tmp_path / "all"
    folder.mkdir()
    for name in ("card", "prestart", "door-sign"):
        assert command.run(name, case, "-o", folder / f"{name}.pdf").code == 0
    (folder / "cut.pdf").write_bytes((folder / "card.pdf").read_bytes()[:-20])
    (folder / "edited.pdf").write_bytes((folder / "card.pdf").read_bytes().replace(b"/Lang", b"/Lamg", 1))
    print_sheet(case, folder / "sheet.pdf")
    data, rows, text = listed(folder)
    assert {name: (row["state"], row["handout"]) for name, row in rows.items()} == {
        "card.pdf": ("handout", "card"), "prestart.pdf": ("handout", "pre-use check"),
        "door-sign.pdf": ("handout", "door sign"), "sheet.pdf": ("draft", ""), "cut.pdf": ("damaged", ""),
        "edited.pdf": ("foreign", ""), "sheet-annex.pdf": ("handout", "annex"),
    }  # fmt: skip
    assert not any(rows[f"{name}.pdf"]["problem"] for name in ("card", "prestart", "door-sign", "sheet"))
    assert (data["count"], data["not_readable"], data["handouts"]) == (7, 2, 4)
    assert "handout: pre-use check" in text
    assert text.splitlines()[-1] == "7 files, 0 overdue, 2 not readable, 4 pages to hand out or annexes"


def test_certificate_signatures_are_told_from_other_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("pyhanko", reason="the optional extra 'sign' is not installed")
    from lasersafe.signing import signatures as certificate_check
    from lasersafe.signing import signing_off as certificate

    keys, folder = tmp_path / "keys", tmp_path / "sheets"
    keys.mkdir()
    folder.mkdir()
    pack, _ = make_certificate(keys, PEOPLE["operator"], elliptic=True)
    good = folder / "good.pdf"
    lay(good, signed_sheet())
    certificate.sign_with_certificate(good, pack, PASSWORD.encode(), "operator")
    content, base = good.read_bytes(), len(signed_sheet())
    (folder / "after.pdf").write_bytes(content + b"%\n")
    place = content.index(b"/Contents <3", base) + 40
    (folder / "broken.pdf").write_bytes(content[:place] + b"00" + content[place + 2 :])
    packer = zlib.compressobj(9)
    bomb = packer.compress(bytes(1_000_000)) + b"".join(packer.compress(bytes(1_000_000)) for _ in range(399))
    bomb += packer.flush()
    head = b"<< /Type /XRef /Size 901 /W [1 4 2] /Root 1 0 R /Filter /FlateDecode /Length %d >>" % len(bomb)
    more = (
        b"900 0 obj\n" + head + b"\nstream\n" + bomb + b"\nendstream\nendobj\nstartxref\n%d\n%%%%EOF\n" % len(content)
    )
    (folder / "bomb.pdf").write_bytes(content + more)
    with monkeypatch.context() as patch:
        patch.setattr(container, "MEMORY", 150_000_000)
        data, rows, text = listed(folder)
    assert (rows["good.pdf"]["state"], rows["good.pdf"]["certificates"], rows["good.pdf"]["problem"]) == (
        "signed", True, ""
    )  # fmt: skip
    assert "signed + certificate" in text
    for name in ("after.pdf", "broken.pdf", "bomb.pdf"):
        assert (rows[name]["state"], rows[name]["certificates"]) == ("changed after printing", False)
        assert rows[name]["problem"]
    assert data["changed_after_printing"] == 3
    monkeypatch.setattr(certificate_check, "available", lambda: False)
    assert "cannot be checked here" in listed(folder)[1]["good.pdf"]["problem"]
