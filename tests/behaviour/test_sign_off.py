"""Sign-off on record: who may sign what, what the sheet then says, and that any change makes it a draft again."""

from __future__ import annotations

import copy
import json
import re
import subprocess
import threading
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from lasersafe.assessment import assess, fingerprint, ingredients
from lasersafe.errors import CalcError, CaseError, InputError, OutputError
from lasersafe.files import locked
from lasersafe.models import case_from, parse_case
from lasersafe.signing.container import open_sheet
from lasersafe.signing.making import annex_path, results_of
from lasersafe.signing.record import parse_record, read_record, record_path, results_digest, sign_off_of
from tests.assessed_once import anew
from tests.behaviour.command import run
from tests.behaviour.signing_help import PEOPLE, case_text, print_sheet, sign, sign_all, write_case


def test_the_sheet_stops_being_a_draft_when_the_last_role_signs(tmp_path: Path) -> None:
    case, sheet = write_case(tmp_path), tmp_path / "sheet.pdf"
    states = [print_sheet(case, sheet)["state"]]
    for role, name in PEOPLE.items():
        sign(case, name, role)
        states.append(print_sheet(case, sheet)["state"])
    assert states == ["draft", "draft", "draft", "draft", "signed"]


def test_equal_case_and_record_give_equal_bytes(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign_all(case)
    print_sheet(case, tmp_path / "one.pdf")
    with anew():
        print_sheet(case, tmp_path / "two.pdf")
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_the_pages_say_what_was_signed(tmp_path: Path) -> None:
    import pypdf

    case, sheet = write_case(tmp_path, venue="Rafe Sollberg (Zoë Ångström)"), tmp_path / "sheet.pdf"
    print_sheet(case, sheet)
    assert all("DRAFT" in page.extract_text() for page in pypdf.PdfReader(sheet).pages)
    sign_all(case)
    sign(case, "Zoë Ångström", "venue", conditions="only with the extraction on", expires="2080-01-02", again=True)
    print_sheet(case, sheet)
    pages = [page.extract_text() for page in pypdf.PdfReader(sheet).pages]
    assert not any("DRAFT" in page for page in pages)
    for text in ("Zoë Ångström", "only with the extraction on", "2080-01-02", "Tobias Quendel"):
        assert text in pages[0] + pages[1]


def test_the_attachments_can_be_taken_out_by_any_reader(tmp_path: Path) -> None:
    import pypdf

    case = write_case(tmp_path)
    print_sheet(case, tmp_path / "sheet.pdf")
    files = pypdf.PdfReader(tmp_path / "sheet.pdf").attachments
    assert set(files) == {"case.toml", "case.json", "results.json", "signoff.json", "sheet.json"}
    assert files["case.toml"][0].decode() == case_text()
    sheet = open_sheet(tmp_path / "sheet.pdf")
    assert {name: sheet.attachment(name) for name in files} == {name: content[0] for name, content in files.items()}


# ---------------------------------------------------------------------------------------------------------------------
# Every field of a case


def leaves(data: Any, place: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Yield the place of each value in nested tables; a list of plain values is one value."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield from leaves(value, (*place, key))
    elif isinstance(data, list) and data and isinstance(data[0], dict):
        for number, value in enumerate(data):
            yield from leaves(value, (*place, number))
    else:
        yield place


WORDS = {
    "rule_set": ["EU-2006/25/EC"], "paper": ["Letter"], "class_label": ["3B", "3R"], "criterion": ["1/e", "1/e2"],
    "role": ["spectator", "crew"], "finish": ["matt", "mirror", "unknown"], "way": ["scatter", "mirror", "direct"],
    "scatter_model": ["hemisphere", "lambert"], "propagation": ["linear", "hyperbolic"], "profile": ["top-hat"],
    "kind": ["technical", "organisational", "personal"], "must_stop": [["direct"], ["scatter"]],
    "key": ["extraction", "enclose", "limit aim"], "protects": [[]],
    "mode": ["running", "fault"], "stature": ["seated", "child"], "shape": ["convex"],
    "keys": [["noise"], ["fire"]], "required_roles": [["laser_safety_officer"]],
}  # fmt: skip


def others(key: str, value: Any) -> Iterator[Any]:
    """Yield values that could stand in place of a value."""
    if isinstance(value, bool):
        yield not value
    elif isinstance(value, date):
        yield value + timedelta(days=1)
    elif key in WORDS:
        yield from (word for word in WORDS[key] if word != value)
    elif isinstance(value, list):
        for number, part in enumerate(value):
            if len(value) > 1:
                yield [*value[:number], *value[number + 1 :]]
            for other in others("", part):
                yield [*value[:number], other, *value[number + 1 :]]
    elif isinstance(value, (int, float)):
        yield value * 0.9
        yield value * 1.1
    elif isinstance(value, str):
        if re.match(r"-?[0-9.]+ ?[A-Za-z%]", value):
            number = float(re.match(r"-?[0-9.]+", value)[0])  # type: ignore[index]
            yield re.sub(r"-?[0-9.]+", f"{number * 1.01 or 0.5:.6g}", value, count=1)
            yield re.sub(r"-?[0-9.]+", f"{number * 0.99:.6g}", value, count=1)
        yield value + " (changed)"


def at(data: Any, place: tuple[str | int, ...]) -> Any:
    for step in place:
        data = data[step]
    return data


def flipped(text: str) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Yield (place, case) with one field changed, for every field that can be changed on its own."""
    data = tomllib.loads(text)
    for place in leaves(data):
        for value in others(str(place[-1]), at(data, place)):
            changed = copy.deepcopy(data)
            at(changed, place[:-1])[place[-1]] = value
            try:
                yield place, case_from(changed)
            except CaseError:
                continue
            break
        else:
            yield place, None


# Fields that another field refers to, or that decide which other fields there are: changed on their own they are
# refused before anything is worked out.
BOUND = {"name", "kind", "laser", "setup", "person", "fitted", "where", "what", "key"}
MORE = """
[sign_off]
required_roles = ["laser_safety_officer", "assessor", "operator", "venue"]
one_person_two_roles = false
printed_for_signature = false
"""


@pytest.mark.parametrize("template", ["co2-cutter", "nanosecond-marker"])
def test_every_field_that_is_changed_after_signing_is_caught_and_named(tmp_path: Path, template: str) -> None:
    path = write_case(tmp_path, MORE, template, **PEOPLE)
    sign_all(path)
    record = read_record(record_path(path))
    case = parse_case(path.read_text(encoding="utf-8"))
    assessment = assess(case)
    digest = results_digest(results_of(assessment))
    assert sign_off_of(case, assessment, record, digest).state == "signed"
    refused, caught = set(), 0
    for place, changed in flipped(path.read_text(encoding="utf-8")):
        if changed is None:
            refused.add(place)
            continue
        found = sign_off_of(changed, replace(assessment, fingerprint=fingerprint(changed)), record, digest)
        assert found.state == ("printed for signature" if place[-1] == "printed_for_signature" else "draft"), place
        assert not found.signed, place
        assert any(str(place[-1]) in line.split(": was ")[0] or "a table" in line for line in found.changed), place
        caught += 1
    assert caught > 60
    assert {place for place in refused if place[-1] not in BOUND} == set()


def test_units_typed_in_another_way_are_the_same_case(tmp_path: Path) -> None:
    text = case_text()
    power = re.search(r'power = "([0-9.]+) W"', text)
    assert power is not None
    other = text.replace(power[0], f'power = "{float(power[1]) / 1000:g} kW"')
    assert other != text
    assert fingerprint(parse_case(text)) == fingerprint(parse_case(other))


def test_the_fingerprint_covers_all_data_that_a_result_needs() -> None:
    parts = ingredients(parse_case(case_text()))
    for name in ("case", "version", "shared/units.txt", "shared/limits/icnirp2013_ca.toml",
                 "shared/eyewear/en207_2017.toml", "wording/sheet.toml", "wording/controls.toml"):  # fmt: skip
        assert re.fullmatch(r"[0-9a-f]{64}|[0-9.]+", parts[name])


def test_the_sheet_names_what_changed(tmp_path: Path) -> None:
    import pypdf

    path, sheet = write_case(tmp_path), tmp_path / "sheet.pdf"
    sign_all(path)
    path.write_text(case_text().replace("distance = ", "distance =  ", 1), encoding="utf-8")
    assert print_sheet(path, sheet)["state"] == "signed", "only a space"
    path.write_text(re.sub(r'place = "[^"]*"', 'place = "Elsewhere"', case_text()), encoding="utf-8")
    data = print_sheet(path, tmp_path / "new.pdf")
    assert data["state"] == "draft"
    assert [line for line in data["changed_since_sign_off"] if line.startswith("place: was ")]  # type: ignore[attr-defined]
    pages = [page.extract_text() for page in pypdf.PdfReader(tmp_path / "new.pdf").pages]
    assert "is 'Elsewhere'" in (pages[0] + pages[1]).replace("\n", " ")


# ---------------------------------------------------------------------------------------------------------------------
# Who may sign


def test_one_person_cannot_fill_two_roles_unless_the_case_allows_it(tmp_path: Path) -> None:
    case = write_case(tmp_path, assessor="Tobias Quendel")
    sign(case, "Tobias Quendel", "assessor")
    with pytest.raises(InputError, match="the case wants two people"):
        sign(case, " tobias  QUENDEL ", "laser safety officer")
    case = write_case(tmp_path, "[sign_off]\none_person_two_roles = true\n", assessor="Tobias Quendel")
    sign(case, "Tobias Quendel", "assessor")
    sign(case, "Tobias Quendel", "laser_safety_officer")


def test_a_record_in_which_one_person_signed_twice_releases_nothing(tmp_path: Path) -> None:
    both = dict.fromkeys(PEOPLE, "Tobias Quendel")
    case = write_case(tmp_path, "[sign_off]\none_person_two_roles = true\n", **both)
    for role in PEOPLE:
        sign(case, "Tobias Quendel", role)
    parsed = parse_case(case.read_text(encoding="utf-8"))
    strict = parsed.model_copy(update={"sign_off": parsed.sign_off.model_copy(update={"one_person_two_roles": False})})
    assessment = assess(parsed)
    digest = results_digest(results_of(assessment))
    record = read_record(record_path(case))
    assert sign_off_of(parsed, assessment, record, digest).state == "signed"
    assert sign_off_of(strict, assessment, record, digest).state == "draft"


def test_the_case_says_which_roles_have_to_sign(tmp_path: Path) -> None:
    case = write_case(tmp_path, '[sign_off]\nrequired_roles = ["laser_safety_officer", "operator"]\n')
    sign(case, "Tobias Quendel", "laser_safety_officer")
    assert sign(case, "Callum Rosendahl", "operator")["state"] == "signed"


@pytest.mark.parametrize(
    ("rule", "message"),
    [
        ('required_roles = ["operator"]', "no sheet is released without that role"),
        ('required_roles = ["laser_safety_officer", "laser_safety_officer"]', "stands here twice"),
        ('required_roles = ["boss"]', "required_roles"),
        ("required_roles = []", "required_roles"),
        ('one_person_two_roles = "yes"', "one_person_two_roles"),
        ("release = true", "release"),
    ],
)
def test_a_rule_that_cannot_be_is_refused(rule: str, message: str) -> None:
    with pytest.raises(CaseError, match=message):
        parse_case(case_text() + f"[sign_off]\n{rule}\n")


def test_printed_for_signature_stands_in_place_of_draft_only_when_the_verdict_passes(tmp_path: Path) -> None:
    import pypdf

    ink = "[sign_off]\nprinted_for_signature = true\n"
    assert print_sheet(write_case(tmp_path, ink), tmp_path / "ink.pdf")["state"] == "printed for signature"
    first = pypdf.PdfReader(tmp_path / "ink.pdf").pages[0].extract_text()
    assert "DRAFT" not in first
    assert "worth nothing until" in first
    failing = tmp_path / "failing.toml"  # the walls do not hold, and nothing else is wrong
    failing.write_text(case_text().replace('"30 W/cm2"', '"1 W/cm2"') + ink, encoding="utf-8")
    assert print_sheet(failing, tmp_path / "failing.pdf")["state"] == "draft"


def test_a_verdict_that_does_not_pass_cannot_be_signed(tmp_path: Path) -> None:
    failing = tmp_path / "failing.toml"
    failing.write_text(case_text().replace('"30 W/cm2"', '"1 W/cm2"'), encoding="utf-8")
    result = run("signoff", failing, "--name", "Tobias Quendel", "--role", "assessor")
    assert result.code == 2
    assert "there is nothing to sign" in result.err
    assert not record_path(failing).exists()


def test_a_sheet_that_stays_a_draft_for_another_reason_is_not_released(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign_all(case)
    parsed = parse_case(case.read_text(encoding="utf-8"))
    found = assess(parsed)
    record = replace(found.record, draft_reasons=("a reading is above what was expected",))
    assessment = replace(found, record=record)
    found = sign_off_of(parsed, assessment, read_record(record_path(case)), results_digest(results_of(assessment)))
    assert (found.state, found.missing) == ("draft", ())
    assert found.reasons[0] == "a reading is above what was expected"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--role", "asessor", "--name", "A"), "did you mean 'assessor'"),
        (("--role", "assessor"), "who signs"),
        (("--role", "assessor", "--name", "   "), "name = "),
        (("--role", "assessor", "--name", "A\x1b[31m"), "name = "),
        (("--role", "assessor", "--name", "王小明"), "the case names"),
        (("--role", "assessor", "--name", "A", "--expires", "tomorrow"), "year-month-day"),
        (("--role", "assessor", "--name", "A", "--expires", "2020-01-01"), "has passed"),
        (("--role", "assessor", "--name", "Ines Falkenrath", "--fingerprint", "0123456789ab"), "the case now gives"),
        (("--role", "assessor", "--name", "Ines Falkenrath", "--fingerprint", "0"), "the case now gives"),
        (("--role", "assessor", "--certificate", "a.p12"), "all three"),
    ],
)
def test_a_bad_sign_off_is_one_line_and_records_nothing(
    tmp_path: Path, arguments: tuple[str, ...], message: str
) -> None:
    case = write_case(tmp_path)
    result = run("signoff", case, *arguments)
    assert (result.code, result.out) == (2, "")
    assert re.search(message, result.err)
    assert result.err.count("\n") == 1
    assert not record_path(case).exists()


def test_a_case_past_its_review_day_cannot_be_signed(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    case.write_text(re.sub(r"review_by = \S+", "review_by = 2020-01-01", case_text()), encoding="utf-8")
    with pytest.raises(InputError, match="this day has passed"):
        sign(case, "Ines Falkenrath", "assessor")


def test_the_fingerprint_that_was_read_can_be_insisted_on(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    shown = str(print_sheet(case, tmp_path / "sheet.pdf")["fingerprint"])
    assert sign(case, "Ines Falkenrath", "assessor", fingerprint=shown[:12])["fingerprint"] == shown


# ---------------------------------------------------------------------------------------------------------------------
# The record and the file


def test_two_programs_that_sign_at_once_one_wins_and_the_other_is_told(tmp_path: Path) -> None:
    from tests.behaviour.signing_help import command

    case = write_case(tmp_path)
    lines = command("signoff", case, "--name", "Ines Falkenrath", "--role", "assessor")
    both = [subprocess.Popen(lines, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    errors = [process.communicate()[1] for process in both]
    assert sorted(process.returncode for process in both) == [0, 2]
    assert re.search(r"another program is writing|has signed as assessor", "".join(errors))
    assert len(read_record(record_path(case)).entries) == 1


def test_a_lock_that_is_held_is_told_at_once_and_leaves_nothing(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    path = record_path(case)
    held, done = threading.Event(), threading.Event()

    def hold() -> None:
        with locked(path):
            held.set()
            done.wait(20)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait(20)
    try:
        with pytest.raises(OutputError, match=r"another program is writing case.signoff.json just now"):
            sign(case, "Ines Falkenrath", "assessor")
    finally:
        done.set()
        thread.join()
    sign(case, "Ines Falkenrath", "assessor")
    assert sorted(one.name for one in tmp_path.iterdir()) == ["case.signoff.json", "case.toml"]


def test_a_role_signs_once_unless_it_says_again(tmp_path: Path) -> None:
    case = write_case(tmp_path, assessor="Ines Falkenrath; Somebody Else")
    sign(case, "Ines Falkenrath", "assessor")
    with pytest.raises(InputError, match="--again"):
        sign(case, "Somebody Else", "assessor")
    assert sign(case, "Somebody Else", "assessor", again=True)["name"] == "Somebody Else"


def test_each_edit_of_a_record_is_noticed(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    sign(case, "Ines Falkenrath", "assessor", conditions="with the lid closed")
    sign(case, "Tobias Quendel", "laser_safety_officer")
    content = record_path(case).read_bytes()
    good = json.loads(content)
    for number, entry in enumerate(good["signatures"]):
        for key in entry:
            bad = copy.deepcopy(good)
            bad["signatures"][number][key] += "0"
            with pytest.raises(InputError, match="damaged or was edited"):
                parse_record(json.dumps(bad).encode(), "record")
    bad = copy.deepcopy(good)
    del bad["signatures"][0]
    with pytest.raises(InputError, match="checksum"):
        parse_record(json.dumps(bad).encode(), "record")
    for junk in (b"", b"[]", b"{}", b"\xff", b"[" * 5000, b'{"format": 1}', content[:-20], b"NaN", b"1" * 6000):
        with pytest.raises(InputError, match="damaged or was edited"):
            parse_record(junk, "record")


def test_a_damaged_record_stops_the_sheet_in_one_line(tmp_path: Path) -> None:
    case = write_case(tmp_path)
    record_path(case).write_text("{}", encoding="utf-8")
    result = run("sheet", case, "-o", tmp_path / "sheet.pdf")
    assert (result.code, result.err.count("\n")) == (2, 1)
    assert not (tmp_path / "sheet.pdf").exists()


def test_a_signed_sheet_is_only_replaced_on_demand_and_then_kept(tmp_path: Path) -> None:
    case, sheet = write_case(tmp_path), tmp_path / "sheet.pdf"
    print_sheet(case, sheet)
    sign_all(case)
    print_sheet(case, sheet)
    old, annex = sheet.read_bytes(), annex_path(sheet).read_bytes()
    with pytest.raises(OutputError, match=r"is signed.*--replace"):
        print_sheet(case, sheet)
    assert sheet.read_bytes() == old
    case.write_text(re.sub(r'place = "[^"]*"', 'place = "Elsewhere"', case_text()), encoding="utf-8")
    kept = Path(str(print_sheet(case, sheet, replace=True)["kept"]))
    assert kept.read_bytes() == old != sheet.read_bytes()
    assert re.fullmatch(r"sheet\.\d{4}-\d{2}-\d{2}T\d{6}Z\.pdf", kept.name)
    assert annex_path(kept).read_bytes() == annex != annex_path(sheet).read_bytes(), "where verify looks for it"


def test_a_file_that_is_no_draft_of_ours_is_not_overwritten(tmp_path: Path) -> None:
    case, sheet = write_case(tmp_path), tmp_path / "sheet.pdf"
    sheet.write_bytes(b"%PDF-1.4 somebody's invoice")
    with pytest.raises(CalcError, match="no sheet of lasersafe"):
        print_sheet(case, sheet)
    assert sheet.read_bytes() == b"%PDF-1.4 somebody's invoice"
