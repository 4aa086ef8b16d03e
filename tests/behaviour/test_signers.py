"""Who signs is whom the case names for the role, and when is in order: on record, on the sheet and for ``verify``."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader

from lasersafe.errors import InputError
from lasersafe.files import marked
from lasersafe.models import parse_case
from lasersafe.signing import container, making, verify
from lasersafe.signing.container import open_sheet, read_about
from lasersafe.signing.record import Record, named_in, parse_record, read_record, record_path
from tests.behaviour import command
from tests.behaviour.signing_help import PEOPLE, case_text, keep_annex, lay, print_sheet, sign, sign_all, write_case
from tests.behaviour.test_verify import GOOD, answer


def first_page(path: Path) -> str:
    return PdfReader(path).pages[0].extract_text()


MOMENT = "%Y-%m-%dT%H:%M:%SZ"


def dated(case: Path, *moments: str, **changed: str) -> Record:
    """Return the record of a case, sealed anew with other moments, as somebody would who knows the format."""
    old, new = read_record(record_path(case)), Record()
    for entry, moment in zip(old.entries, moments, strict=True):
        new = new.with_entry(replace(entry, at=moment, **changed), old.inputs[entry.fingerprint])
    return new


def forged(case: Path, record: Record, sheet: Path) -> None:
    """Write the sheet that a record gives, whatever it says."""
    text = case.read_text(encoding="utf-8")
    made = making.make_sheet(text, parse_case(text), record)
    keep_annex(marked(made.annex))
    lay(sheet, made.content)


def test_a_signer_who_is_not_the_one_named_for_the_role_is_refused(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    for name, role in (("Mallory Finch", "assessor"), ("Ines Falkenrath", "operator"), ("duty Rafe Sollberg", "venue")):
        result = command.run("signoff", case, "--name", name, "--role", role)
        assert (result.code, result.out, result.err.count("\n")) == (2, "", 1)
        assert f"name = '{name}': the case names '" in result.err
    assert not record_path(case).exists()
    assert sign(case, " ines  FALKENRATH", "assessor")["name"] == "ines FALKENRATH"


@pytest.mark.parametrize(
    ("text", "person", "named"),
    [
        ("Rafe Sollberg, duty manager, facilities office", "rafe sollberg", True),
        ("Facilities office (Rafe Sollberg; Ada Quist)", "Ada Quist", True),
        ("Ana Maria Lopes", "Maria Lopes", False),
        ("Maria Lopes", "Maria", False),
        ("Rafe Sollberg", "R. Sollberg", False),
        ("Tobias Quendel", "\u0422obias Quendel", False),  # a Cyrillic letter
        ("Tobias Quendel,", "", False),
    ],
)
def test_a_text_names_a_person_as_a_whole_or_between_commas(text: str, person: str, named: bool) -> None:
    assert named_in(text, person) is named


@pytest.mark.parametrize(("language", "words"), [("en", "Mallory Finch has signed as Assessor; the case names Ines"),
                                                 ("de", "Mallory Finch hat als")])  # fmt: skip
def test_a_record_with_somebody_else_in_a_role_releases_nothing(tmp_path: Path, language: str, words: str) -> None:
    case, sheet = write_case(tmp_path, assessor="Mallory Finch"), tmp_path / "s.pdf"
    if language != "en":
        case.write_text(f'language = "{language}"\n' + case.read_text(encoding="utf-8"), encoding="utf-8")
    sign(case, "Mallory Finch", "assessor")
    text = case.read_text(encoding="utf-8")
    wrong = text.replace('assessor = "Mallory Finch"', 'assessor = "Ines Falkenrath"')
    assessment = making.assess(parse_case(wrong))
    (entry,) = read_record(record_path(case)).entries
    entry = replace(
        entry, fingerprint=assessment.fingerprint, results=making.results_digest(making.results_of(assessment))
    )
    old = read_record(record_path(case)).inputs[read_record(record_path(case)).entries[0].fingerprint]
    made = making.make_sheet(wrong, parse_case(wrong), Record().with_entry(entry, old))
    assert made.sign_off.state == "draft"
    assert any(reason.startswith(words) for reason in made.sign_off.reasons)
    keep_annex(marked(made.annex))
    lay(sheet, made.content)
    assert answer(sheet)[0] != 0


def test_a_record_whose_dates_are_out_of_order_is_refused(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign_all(case)
    days = ["2026-01-04T10:00:00Z", "2026-01-03T10:00:00Z", "2026-01-05T10:00:00Z", "2026-01-06T10:00:00Z"]
    with pytest.raises(InputError, match="signature 2 is dated before the one that it follows"):
        parse_record(dated(case, *days).text(), "record")
    assert parse_record(dated(case, *sorted(days)).text(), "record").entries[0].at == days[1]
    with pytest.raises(InputError, match="signature 1 ended before it was given"):
        parse_record(dated(case, *sorted(days), expires="2026-01-02").text(), "record")
    forged(case, dated(case, *days), tmp_path / "s.pdf")
    code, _, text = answer(tmp_path / "s.pdf")
    assert code == verify.CODES["changed"]
    assert "signature 2 is dated before the one that it follows" in text


def test_a_sign_off_that_is_dated_in_the_future_is_named(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign_all(case)
    later = (datetime.now(UTC) + timedelta(days=2)).strftime(MOMENT)
    past = [entry.at for entry in read_record(record_path(case)).entries[:3]]
    record = dated(case, *past, later)
    forged(case, record, tmp_path / "s.pdf")
    code, _, text = answer(tmp_path / "s.pdf")
    assert code == verify.CODES["changed"]
    assert f"the sign-off of Rafe Sollberg (venue) is dated {later}, in the future" in text
    assert GOOD not in text
    record_path(case).write_bytes(record.text())
    with pytest.raises(InputError, match="which is later than the clock of this machine"):
        sign(case, "Ines Falkenrath", "assessor", again=True)
    assert json.loads(record_path(case).read_bytes())["signatures"] == [one.row for one in record.entries]


def test_the_starter_cases_name_people_as_they_sign() -> None:
    assert named_in(parse_case(case_text()).in_charge.venue, "Rafe Sollberg")


def test_somebody_signs_for_another_with_a_reason_that_is_printed(tmp_path: Path) -> None:
    case, sheet = write_case(tmp_path), tmp_path / "s.pdf"
    reason = "Rafe Sollberg is ill today; she has the keys"
    result = command.run("signoff", case, "--name", "Mallory Finch", "--role", "venue", "--for-them", reason)
    assert result.code == 0, result.err
    sign(case, "Callum Rosendahl", "operator", conditions="only with the lid clamped")
    for role in ("assessor", "laser_safety_officer"):
        sign(case, PEOPLE[role], role)
    assert print_sheet(case, sheet)["state"] == "signed"
    code, data, text = answer(sheet)
    assert (code, data["signed"][0]["for_them"]) == (0, reason)
    assert f"Mallory Finch signs for another: {reason}" in text
    assert "condition of Callum Rosendahl: only with the lid clamped" in text
    first = " ".join(first_page(sheet).split())
    assert reason in first
    assert "only with the lid clamped" in first
    check = tmp_path / "check.pdf"
    assert command.run("prestart", case, "-o", check).code == 0
    assert "Condition of Callum Rosendahl: only with the lid clamped" in " ".join(first_page(check).split())


def test_a_missing_a_changed_and_a_foreign_annex_are_found_and_named(tmp_path: Path) -> None:
    case, sheet = write_case(tmp_path), tmp_path / "s.pdf"
    sign_all(case)
    print_sheet(case, sheet)
    annex = making.annex_path(sheet)
    printed = annex.read_bytes()
    assert answer(sheet)[0] == 0
    other = making.annex_of(making.assess(parse_case(case_text())), "Letter", case.name)
    foreign = making.annex_of(making.assess(parse_case(case_text())), "A4", "else.toml")
    for content, words in (
        (printed.replace(b"/Lang", b"/Lamg", 1), "was edited, or is no annex of this case"),
        (b"%PDF-1.7\nhello\n%%EOF\n", "was edited, or is no annex of this case"),
        (marked(foreign), "was edited, or is no annex of this case"),
        (marked(other), "is another annex of this case: its checksum is"),
    ):
        annex.write_bytes(content)
        code, _, text = answer(sheet)
        assert code == verify.CODES["changed"]
        assert f"s-annex.pdf {'beside it ' if 'edited' in words else ''}{words}" in text
    annex.unlink()
    code, _, text = answer(sheet)
    assert code == verify.CODES["not checked"]
    assert "its annex, s-annex.pdf, is not beside it" in text


def test_an_annex_of_other_numbers_whose_checksum_the_sheet_prints_is_found(tmp_path: Path) -> None:
    """As somebody prints it who makes sheets as this program does: sheet, checksum and record are in order."""
    case, sheet = write_case(tmp_path), tmp_path / "s.pdf"
    sign_all(case)
    print_sheet(case, sheet)
    parsed, good = parse_case(case_text()), open_sheet(sheet)
    forged = marked(making.annex_of(making.assess(parsed), "Letter", case.name))
    about = read_about(good).model_copy(update={"annex": hashlib.sha256(forged).hexdigest()})
    like = about, good.attachment(container.RESULTS)
    made = making.make_sheet(case_text(), parsed, read_record(record_path(case)), about.paper, like=like)
    sheet.write_bytes(made.content)
    making.annex_path(sheet).write_bytes(forged)
    code, _, text = answer(sheet)
    assert (code, "its annex is not what this version prints from its case" in text) == (verify.CODES["changed"], True)
