"""`lasersafe batch`: the same answers as one by one, in order, resumable, and nothing misread."""

from __future__ import annotations

import csv
import json
import os
import random
import re
import sqlite3
from pathlib import Path

import pytest

from lasersafe.assessment import assess
from lasersafe.batch import record as store
from lasersafe.batch import run as working
from lasersafe.batch.record import FIELDS, from_json, part_of, record_of
from lasersafe.batch.sources import COLUMNS, Inventory, Item, Reading
from lasersafe.data import templates_path
from lasersafe.models import read_case
from tests.behaviour.command import Answer, run
from tests.project import ROOT

HEADING = "name,class,wavelength [nm],power [W],beam diameter [mm],divergence [mrad],criterion,person distance [m]"
GOOD = "Line one,4,532,2,3,2,1/e2,1"


def write(path: Path, *lines: str, encoding: str = "utf-8", end: str = "\n") -> Path:
    path.write_bytes((end.join(lines) + end).encode(encoding))
    return path


def unfinished(out: Path, lines: list[str]) -> None:
    """Leave the database of a run that was stopped: these texts of rows, whole or not."""
    with sqlite3.connect(part_of(out)) as database:
        database.execute(f"PRAGMA application_id = {store.OURS}")
        database.execute(store.TABLE)
        for line in lines:
            found = re.search('"input_fingerprint": "([0-9a-f]{64})"', line)
            key = bytes.fromhex(found[1]) if found else bytes(32)
            database.execute("INSERT INTO row VALUES (?, ?)", (key, line))
    database.close()


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def refusal(tmp_path: Path, *lines: str) -> str:
    """Return the reason of the first refused row."""
    answer = run("batch", write(tmp_path / "in.csv", *lines), "-o", tmp_path / "out.jsonl", "--processes", 1)
    assert answer.code == 2
    records = [json.loads(line) for line in (tmp_path / "out.jsonl").read_text().splitlines()]
    reason: str = next(record["reason"] for record in records if record["status"] == "refused")
    assert reason in answer.err
    return reason


def random_inventory(path: Path, count: int, seed: int) -> Path:
    dice = random.Random(seed)
    heading = HEADING + ",pulse energy [mJ],pulse duration [ns],repetition rate [kHz],spectator distance [m],eyewear"
    lines = [heading]
    for number in range(count):
        wavelength = dice.choice(["405", "532", "1064", "1550", "10.6 um", f"{dice.uniform(400, 1400):.1f}"])
        power, energy, pulse, rate = f"{10 ** dice.uniform(-3, 3):.4g}", "", "", ""
        if number % 3:
            power, energy, pulse = "", f"{10 ** dice.uniform(-3, 1):.4g}", f"{10 ** dice.uniform(0, 3):.4g}"
        if number % 3 == 2:
            rate = f"{10 ** dice.uniform(-2, 2):.4g}"
        spread = f"{dice.uniform(15, 30):.3g}" + (" +- 10 %" if number % 7 == 3 else "")
        lines.append(
            f"L{number},4,{wavelength},{power},{dice.uniform(1, 20):.3g},{spread},1/e2,{dice.uniform(0.3, 3):.3g},"
            f"{energy},{pulse},{rate},{'12' if number % 4 == 0 else ''},{'1064 D LB6' if number % 5 == 0 else ''}"
        )
    return write(path, *lines)


@pytest.mark.parametrize("count", [12, pytest.param(2000, marks=pytest.mark.soak)])
def test_a_batch_gives_what_single_runs_give(tmp_path: Path, count: int) -> None:
    inventory = random_inventory(tmp_path / "in.csv", count, seed=count)
    answer = run(
        "batch", inventory, "-o", tmp_path / "out.jsonl", "-o", tmp_path / "out.csv", "--cases", tmp_path / "cases",
        "--processes", 1,
    )  # fmt: skip
    assert (answer.code, answer.err) == (0, "")
    records = [from_json(line) for line in (tmp_path / "out.jsonl").read_text().splitlines()]
    files = sorted((tmp_path / "cases").iterdir())
    assert len(records) == len(files) == count
    for number, (record, file) in enumerate(zip(records, files, strict=True)):
        assert record is not None
        alone = record_of(assess(read_case(file)))
        named = {key: record[key] for key in ("line", "case", "input_fingerprint", "source", "digest")}
        assert record == alone | named
        if number % (count // 6) == 0:
            data = run("assess", file, "--json").data
            zones = {(z["way"], z["tissue"]): z["distance_m"] for z in data["setups"][0]["zones"]}
            assert {(way, tissue): record[f"{way}_{tissue}_m"] for way, tissue in zones} == zones
            assert data["decision"]["distance_m"] == record["distance_m"]
            assert data["decision"]["verdict"] == record["verdict"]
            assert (data["fingerprint"], data["caution"]) == (record["fingerprint"], record["caution"])
            assert data["decision"]["passed"] is record["passed"]
    for row, record in zip(rows(tmp_path / "out.csv"), records, strict=True):
        assert record is not None
        assert float(row["distance [m]"]) == record["distance_m"]
        assert row["fingerprint"] == record["fingerprint"]


def test_several_processes_give_the_same_file(tmp_path: Path) -> None:
    lines = [f"L{number},4,1064,{number},3,2,1/e2,1" for number in range(Inventory.few + 5)]
    inventory = write(tmp_path / "in.csv", HEADING, *lines)
    assert run("batch", inventory, "-o", tmp_path / "one.csv", "--processes", 1).code == 2  # no power in one
    assert run("batch", inventory, "-o", tmp_path / "two.csv", "--processes", 2).code == 2
    assert (tmp_path / "one.csv").read_bytes() == (tmp_path / "two.csv").read_bytes()


class Deadly(Item):
    """A row whose worker dies when it is handed over."""

    def __reduce__(self) -> tuple[object, tuple[int]]:
        """Make the process that receives it end at once."""
        return os._exit, (7,)


def test_a_worker_that_dies_is_reported_and_the_other_rows_are_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Inventory, "few", 1)
    monkeypatch.setattr(Inventory, "at_once", 2)
    source = Inventory(write(tmp_path / "in.csv", HEADING, *[GOOD] * 3))
    good = list(source)
    bad = Deadly(b"x" * 32, "deadly", 9, {})
    found = [
        (item.name, record["status"], record["reason"])
        for chunk, records in working.results(iter([good[0], bad, good[1], good[2]]), source, 2)
        for item, record in zip(chunk, records, strict=True)
    ]
    assert sorted(found) == [("Line one", "assessed", "")] * 3 + [("deadly", "refused", working.DIED)]


def test_a_fault_of_ours_is_the_reason_of_one_row(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(data: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(working, "case_from", fails)
    record = working.record_of_item(Item(b"", "x", 2, {}), Reading({}, False))
    assert record["status"] == "refused"
    assert record["passed"] is False
    assert "fault inside lasersafe" in record["reason"]


def test_what_was_done_is_taken_over_and_what_changed_is_done_again(tmp_path: Path) -> None:
    source, out = tmp_path / "in.csv", tmp_path / "out.csv"
    other = GOOD.replace("532,2,", "1064,2,")

    def again(*lines: str, flags: tuple[str, ...] = ()) -> tuple[int, int]:
        data = run("batch", write(source, HEADING, *lines), "-o", out, "--json", *flags).data
        return data["worked_out"], data["taken_over"]

    assert again(GOOD, other) == (2, 0)
    first = out.read_bytes()
    assert again(GOOD, other) == (0, 2)
    assert out.read_bytes() == first
    assert again(other, GOOD, GOOD.replace("532,2,", "532,3,")) == (1, 2)
    assert [row["line"] for row in rows(out)] == ["2", "3", "4"]
    assert again(GOOD, other) == (0, 2)
    assert out.read_bytes() == first
    whole = first.splitlines(keepends=True)
    out.write_bytes(b"".join(whole[:2]) + whole[2][:-40])  # a line that is cut short does not count
    assert again(GOOD, other) == (1, 1)
    assert out.read_bytes() == first
    assert again(GOOD, other, flags=("--replace",)) == (2, 0)
    assert again(GOOD, other, flags=("--decimal-comma",)) == (0, 2)
    assert b";" in out.read_bytes()
    assert again(GOOD, other, flags=()) == (0, 2)
    assert out.read_bytes() == first


def test_half_a_line_of_a_stopped_run_never_counts(tmp_path: Path) -> None:
    source, out = write(tmp_path / "in.csv", HEADING, GOOD, GOOD.replace("532", "633")), tmp_path / "out.jsonl"
    assert run("batch", source, "-o", out, "--json").data["worked_out"] == 2
    whole = out.read_bytes()
    one, two = whole.decode().splitlines()
    out.unlink()
    for cut in (1, 100, len(two) - 1):
        unfinished(out, [one, two[:cut]])
        assert run("batch", source, "-o", out, "--json").data["worked_out"] == 1
        assert out.read_bytes() == whole
        assert not part_of(out).exists()
        out.unlink()


def test_bad_rows_have_their_reason_and_the_good_ones_are_done(tmp_path: Path) -> None:
    source = write(
        tmp_path / "in.csv", HEADING, GOOD, "Two,4,53,2,3,2,1/e2,1", '"Three",4,532,"1,5",3,2,1/e2,1', ",4,532,2,3,2,,1"
    )
    answer = run("batch", source, "-o", tmp_path / "out.csv")
    assert answer.code == 2
    assert "4 cases: 1 assessed, 3 refused" in answer.out
    assert "line 3, 'Two': wavelength [nm] = '53': must be 180 nm or more" in answer.err
    assert "line 4, 'Three': power [W] = '1,5': write the decimal point as '.', as in '1.5'" in answer.err
    assert "line 5: " in answer.err
    assert "criterion: missing" in answer.err
    found = rows(tmp_path / "out.csv")
    assert [row["status"] for row in found] == ["assessed", "refused", "refused", "refused"]
    assert all(row["passed"] == "no" and not row["distance [m]"] for row in found[1:])
    assert all("local law" in row["caution"] for row in found)


def test_a_german_spreadsheet(tmp_path: Path) -> None:
    lines = [
        "sep=;", "Bezeichnung;Klasse;Wellenlänge [nm];Leistung [W];Strahldurchmesser [mm];Divergenz [mrad];Kriterium;"
        "Abstand [m];Halle", "", '"Gerät; groß";4;532;2;3;2;1/e2;1;"Nord\n2"', "Zwei;4;532;1,5;3;2;1/e2;1;", ";;;;;;;;",
        "Drei;4;1.064 µm;2;3;2;1/e2;1;", "Vier;4;1064;1.500;3;2;1/e2;1;", "Fünf;4;10.6 µm;0.125;3;20;1/e2;1;",
    ]  # fmt: skip
    answer = run(
        "batch", write(tmp_path / "in.csv", *lines, encoding="cp1252", end="\r\n"), "-o", tmp_path / "out.csv",
        "--decimal-comma",
    )  # fmt: skip
    assert answer.code == 2
    assert "read as Windows-1252" in answer.err
    assert "'Zwei'" not in answer.err  # in a file with semicolons 1,5 is 1.5
    assert "line 9, 'Vier': Leistung [W] = '1.500': in a file of this kind '1.500' can mean 1500" in answer.err
    assert "line 8, 'Drei': Wellenlänge [nm] = '1.064 µm': in a file of this kind" in answer.err
    with (tmp_path / "out.csv").open(encoding="utf-8-sig", newline="") as file:
        found = list(csv.DictReader(file, delimiter=";"))
    assert [(row["case"], row["status"]) for row in found] == [
        ("Gerät; groß", "assessed"),
        ("Zwei", "assessed"),
        ("Drei", "refused"),
        ("Vier", "refused"),
        ("Fünf", "assessed"),
    ]
    assert "," in found[0]["distance [m]"]
    assert "." not in found[0]["distance [m]"]


@pytest.mark.parametrize(
    ("cell", "heading", "same"),
    [
        ("0.002 kW", "power [W]", "2"),
        ("2000", "power [mW]", "2"),
        ("2 W", "power", "2"),
        ("2", "mean power (W)", "2"),
        ("2 +- 0.5", "power [W]", "2 W +- 0.5 W"),
        ("2 ± 25 %", "power [W]", "2 W +- 25 %"),
        ("1 to 2", "power [W]", "1 W to 2 W"),
    ],
)
def test_a_cell_has_the_unit_of_its_heading_or_its_own(tmp_path: Path, cell: str, heading: str, same: str) -> None:
    lines = HEADING.replace("power [W]", heading), GOOD.replace(",2,3", f",{cell},3")
    one = run("batch", write(tmp_path / "a.csv", *lines), "-o", tmp_path / "a.csv.csv")
    two = run(
        "batch", write(tmp_path / "b.csv", HEADING, GOOD.replace(",2,3", f",{same},3")), "-o", tmp_path / "b2.csv"
    )
    assert (one.code, two.code) == (0, 0), one.err
    assert rows(tmp_path / "a.csv.csv")[0]["fingerprint"] == rows(tmp_path / "b2.csv")[0]["fingerprint"]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ((HEADING, GOOD.replace(",2,3", ",2 J,3")), "power [W] = '2 J': 'J' is a unit of energy"),
        ((HEADING.replace(" [W]", ""), GOOD), "power = '2': a number without a unit; add the unit"),
        ((HEADING, GOOD.replace(",2,3", ",,3")), "power [W]: missing; fill power"),
        ((HEADING, GOOD.replace("Line one", "")), "name: missing; write what this laser"),
        ((HEADING, GOOD.replace(",4,", ",,", 1)), "class: missing; write the class on the label of the maker"),
        ((HEADING + ",optics", GOOD + ",lens"), "divergence [mrad] = '2': belongs to optics = collimated, but optics"),
        ((HEADING + ",optics", GOOD + ",laser"), "optics = 'laser': write one of: collimated"),
        ((HEADING + ",handheld", GOOD + ",perhaps"), "handheld = 'perhaps': write yes or no"),
        ((HEADING + ",repetition rate [kHz]", GOOD + ",1"), "pulse duration: missing"),
        ((HEADING, GOOD + ",stray"), "9 cells, but the heading has 8"),
        ((HEADING, GOOD.replace("Line one", '"Line one'), GOOD, GOOD), "this line cannot be read"),
        ((HEADING + ",room", GOOD + ',"3', GOOD + ',4"', GOOD + ",5"), "a quotation mark may have lost its partner"),
    ],
)
def test_a_row_that_cannot_be_read_is_refused(tmp_path: Path, lines: tuple[str, ...], words: str) -> None:
    assert words in refusal(tmp_path, *lines)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "there is no heading"),
        (b"a,b\n1,2\n", "is no heading that is understood"),
        (HEADING.replace("divergence", "divergance").encode(), "did you mean 'divergence [mrad]'"),
        (HEADING.replace("[nm]", "[W]").encode(), "'W' is a unit of power"),
        (HEADING.replace("person distance [m]", "room").encode(), "column 'person distance [m]' is missing"),
        ((HEADING + ",mean power [W]").encode(), "both mean 'power'"),
        (HEADING.encode(), "there is no case"),
        (b"PK\3\4\0\0\0", "this is no text"),
        (b"\0\1", "this is no text"),
    ],
)
def test_a_file_that_is_no_inventory_is_refused(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "in.csv"
    path.write_bytes(content)
    answer = run("batch", path, "-o", tmp_path / "out.csv")
    assert answer.code == 2
    assert words in answer.err
    assert not (tmp_path / "out.csv").exists()


def test_the_template_runs_as_it_is_and_explains_every_column(tmp_path: Path) -> None:
    assert run("batch", "--template", tmp_path / "t.csv").code == 0
    answer = run("batch", tmp_path / "t.csv")
    assert answer.code == 0
    assert [row["status"] for row in csv.DictReader(answer.out.splitlines())] == ["assessed"] * 5
    assert "5 cases: 5 assessed, 0 refused" in answer.err
    assert "already" in run("batch", "--template", tmp_path / "t.csv").err


def test_the_template_heads_and_explains_every_column() -> None:
    lines = templates_path("inventory", "example.csv").read_text(encoding="utf-8").splitlines()
    found = list(csv.reader(lines))
    assert next(row for row in found if not row[0].startswith("#")) == [column.heading for column in COLUMNS]
    for column in COLUMNS:
        needed = " (needed)" if column.required else ""
        assert [f"# {column.heading}{needed}: {column.what}"] in found


def test_a_folder_is_read_with_all_folders_below(tmp_path: Path) -> None:
    run("batch", write(tmp_path / "in.csv", HEADING, GOOD), "--cases", tmp_path / "in")
    (tmp_path / "in" / "line-000002-Line-one.toml").rename(tmp_path / "in" / "b.toml")
    (tmp_path / "in" / "a" / ".hidden").mkdir(parents=True)
    (tmp_path / "in" / "a" / "z.toml").write_text("title = 5\n")
    (tmp_path / "in" / "a" / ".hidden" / "c.toml").write_text("")
    answer = run("batch", tmp_path / "in", "-o", tmp_path / "out.csv")
    assert answer.code == 2
    found = rows(tmp_path / "out.csv")
    assert [(row["case"], row["status"]) for row in found] == [("a/z.toml", "refused"), ("b.toml", "assessed")]
    assert "line 1: title: " in found[0]["reason"]
    assert found[1]["fingerprint"] == run("assess", tmp_path / "in" / "b.toml", "--json").data["fingerprint"]


def test_other_files_are_not_written_over(tmp_path: Path) -> None:
    source = write(tmp_path / "in.csv", HEADING, GOOD)
    mine = write(tmp_path / "mine.csv", "a,b", "1,2")

    def refused(*words: object) -> str:
        answer: Answer = run("batch", *words)
        assert answer.code == 2
        return answer.err

    assert "this is the inventory itself" in refused(source, "-o", source)
    assert "is no result of" in refused(source, "-o", mine)
    assert mine.read_text() == "a,b\n1,2\n"
    assert "must end in .csv or .jsonl" in refused(source, "-o", tmp_path / "out.pdf")
    assert "must be 1 to" in refused(source, "-o", tmp_path / "o.csv", "--processes", 0)
    assert "name a folder" in refused()
    assert "no such file" in refused(tmp_path / "none.csv")


def test_a_column_that_is_wrong_as_a_whole_is_one_answer(tmp_path: Path) -> None:
    lines = [HEADING.replace("power [W]", "power"), *(GOOD.replace("Line one", f"Laser {n}") for n in range(300))]
    answer = run("batch", write(tmp_path / "in.csv", *lines), "-o", tmp_path / "out.csv")
    assert (answer.code, answer.out) == (2, "")
    assert "no cell can be read in\n  column 'power', as in line 2: '2': a number without a unit" in answer.err
    assert len(answer.err.splitlines()) == 2
    assert not (tmp_path / "out.csv").exists()
    lines[7] = GOOD.replace(",2,3", ",2 W,3")  # one that can be read: the others are refused row by row
    assert run("batch", write(tmp_path / "in.csv", *lines[:12]), "-o", tmp_path / "out.csv").code == 2
    assert [row["status"] for row in rows(tmp_path / "out.csv")].count("refused") == 10


@pytest.mark.parametrize(
    ("cell", "power"),
    [("1,5", "1.5 W"), ("0,125", "0.125 W"), ("2,5 +- 0,5", "2.5 W +- 0.5 W"), ("1,25 bis 2", ""), ("1.500", ""),
     ("1,500", ""), ("1.234,5", ""), ("1,2,3", ""), ("12,0000", "12.0000 W")],
)  # fmt: skip
def test_a_decimal_comma_is_one_where_commas_part_no_cells(tmp_path: Path, cell: str, power: str) -> None:
    lines = HEADING.replace(",", ";"), GOOD.replace(",2,3", f",{power or 2},3").replace(",", ";")
    typed = lines[1].replace(f";{power or 2};3", f";{cell};3")
    answer = run("batch", write(tmp_path / "a.csv", lines[0], typed), "-o", tmp_path / "a-out.csv")
    assert answer.code == (0 if power else 2), answer.err
    if power:
        run("batch", write(tmp_path / "b.csv", *lines), "-o", tmp_path / "b-out.csv")
        both = [rows(tmp_path / name)[0] for name in ("a-out.csv", "b-out.csv")]
        assert both[0]["fingerprint"] == both[1]["fingerprint"]
    else:
        assert f"power [W] = '{cell}'" in answer.err


def test_a_workbook_is_the_same_as_its_csv(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["# an inventory"])
    sheet.append(HEADING.split(","))
    cells = [float(c) if c.replace(".", "").isdigit() and n > 1 else c for n, c in enumerate(GOOD.split(","))]
    sheet.append([*cells[:3], 1.125, *cells[4:]])  # a number of a cell is no thousand
    sheet.append([*cells[:3], "1,5", *cells[4:]])
    sheet.append([*cells[:3], "1.500", *cells[4:]])
    sheet.append([*cells[:3], "=1+1", *cells[4:]])  # never worked out by a spreadsheet program
    book.create_sheet("Old").append(["nothing"])
    book.save(tmp_path / "in.xlsx")
    answer = run("batch", tmp_path / "in.xlsx", "-o", tmp_path / "out.csv")
    assert answer.code == 2
    assert "only the first sheet, 'Sheet', is read; not: 'Old'" in answer.err
    assert "line 5, 'Line one': power [W] = '1.500': in a file of this kind" in answer.err
    assert "cell D6: its formula has no result" in answer.err
    found = rows(tmp_path / "out.csv")
    assert [row["status"] for row in found] == ["assessed", "assessed", "refused", "refused"]
    same = [GOOD.replace(",2,3", f",{power},3") for power in ("1.1250", "1.5")]
    run("batch", write(tmp_path / "in.csv", HEADING, *same), "-o", tmp_path / "csv.csv")
    far = [[row["distance [m]"] for row in rows(tmp_path / name)[:2]] for name in ("out.csv", "csv.csv")]
    assert far[0] == far[1]
    (tmp_path / "bad.xlsx").write_bytes(b"PK\x03\x04 no workbook")
    assert "no workbook that can be read" in run("batch", tmp_path / "bad.xlsx", "-o", tmp_path / "x.csv").err


def test_names_cannot_become_formulas_of_a_spreadsheet(tmp_path: Path) -> None:
    source = write(tmp_path / "in.csv", HEADING, GOOD.replace("Line one", "=1+1"))
    assert run("batch", source, "-o", tmp_path / "out.csv").code == 0
    assert rows(tmp_path / "out.csv")[0]["case"] == "'=1+1"
    assert run("batch", source, "-o", tmp_path / "out.csv", "--json").data["taken_over"] == 1
    assert rows(tmp_path / "out.csv")[0]["case"] == "'=1+1"
    assert len(FIELDS) == len(rows(tmp_path / "out.csv")[0])


def test_the_page_names_every_column() -> None:
    page = (ROOT / "docs" / "batch.md").read_text(encoding="utf-8")
    assert [column.heading for column in COLUMNS if f"| `{column.heading}`" not in page] == []
    assert [column.name for column in COLUMNS if f"| {', '.join(column.also)} |" not in page] == []
    assert [field.key for field in FIELDS if f"| `{field.heading}` | `{field.key}` | {field.what} |" not in page] == []


def test_one_result_named_twice_is_called_that(tmp_path: Path) -> None:
    # It said that another program was writing it.
    out = tmp_path / "out.csv"
    source, other = write(tmp_path / "in.csv", HEADING, GOOD), tmp_path / "out.jsonl"
    for names in (["-o", out, "-o", out], ["-o", out, "-o", out, "-o", other]):  # not the last name, but that one
        answer = run("batch", source, *names, "--processes", 1)
        assert (answer.code, answer.out) == (2, "")
        assert answer.err == f"error: output = '{out}': this name is given twice; name a file for each\n"
        assert not out.exists()
