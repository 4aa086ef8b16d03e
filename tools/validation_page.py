"""docs/validation.md, from what the published checks compared."""

from __future__ import annotations

import json
import math
import re
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

from tools import markdown

BIBLIOGRAPHY = Path(__file__).resolve().parent.parent / "shared" / "references.bib"
SOAK = Path(__file__).resolve().parent.parent / "docs" / "soak.json"
MUTANTS = SOAK.with_name("mutants.json")
HEAD = """# Validation

Made by `make docs` from the tests under `tests/published/`, which compare our numbers with numbers typed from
documents; `make test` fails when this page differs from what the tests compared. *Agrees* means that ours rounds to
the digits as printed. *Differs* means that it does not, within a bound that the test states, as where a print is cut
off or rounded up. *Superseded* marks a value that was right in the edition that prints it and is another today.
*Wrong in print* marks a value that contradicts its own source: it stays in the table with the reason, and the tests
fail on the day when ours does agree. What no document prints and we worked out from its formulas and tables stands
apart and is counted apart: it tests how a table was keyed, not what a document says.
"""
VERDICTS = {
    ("passed", True): "agrees",
    ("passed", False): "differs",
    ("xfailed", True): "agrees",
    ("xfailed", False): "wrong in print",
}
COLUMNS = ("check", "place", "{}", "ours", "difference", "remark")


def read_rows(record: Path) -> list[dict[str, Any]]:
    """Return the rows of a record; one of a test that failed is an error.

    Parameters
    ----------
    record : Path
        What ``pytest --published-record`` wrote.
    """
    rows: list[dict[str, Any]] = json.loads(record.read_text(encoding="utf-8"))
    failed = sorted({row["test"] for row in rows if row["outcome"] == "failed"})
    if failed or not rows:
        message = f"no validation page: {'these tests failed: ' + ', '.join(failed) if failed else 'no row recorded'}"
        raise SystemExit(message)
    return rows


def titles() -> dict[str, str]:
    """Return key -> title of the documents in shared/references.bib."""
    found = {}
    for entry in re.split(r"^@", BIBLIOGRAPHY.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]:
        key = re.match(r"\w+\{\s*([^,\s]+)\s*,", entry)
        title = re.search(r"^\s*title\s*=\s*[{\"](.+?)[}\"],?\s*$", entry, re.MULTILINE)
        if key and title:
            found[key[1]] = re.sub(r"[{}]", "", title[1])
    return found


def our_digits(printed: str, ours: float) -> str:
    """Return our number with two digits more than the print has, at least four.

    Parameters
    ----------
    printed : str
        The number as printed.
    ours : float
        Our number, in the unit of the print.
    """
    digits = max(4, len(Decimal(printed).as_tuple().digits) + 2)
    return f"{ours:#.{min(digits, 10)}g}".rstrip(".")


def relative(printed: str, ours: float) -> str:
    """Return the difference of our number from the print, relative to the print.

    Parameters
    ----------
    printed : str
        The number as printed.
    ours : float
        Our number, in the unit of the print.
    """
    wanted = float(printed)
    if not math.isfinite(ours) or wanted == 0.0:
        return "" if ours != wanted else "0 %"
    percent = 100.0 * (ours - wanted) / wanted
    return "0 %" if abs(percent) < 5e-4 else f"{percent:+.2g} %"


def verdict_of(row: dict[str, Any]) -> str:
    """Return what the comparison of one row came to, in a word or two."""
    if row["superseded"]:
        return "superseded"
    return VERDICTS.get((row["outcome"], row["agrees"]), str(row["outcome"]))


def counted(rows: list[dict[str, Any]]) -> str:
    """Return how many numbers came to what, as text."""
    return ", ".join(f"{verdict} {count}" for verdict, count in sorted(Counter(map(verdict_of, rows)).items()))


def table(rows: list[dict[str, Any]], head: str) -> str:
    """Return a table of rows; *head* stands above the numbers that ours are compared with."""
    lines = [markdown.row(*COLUMNS).format(head), "| --- | --- | ---: | ---: | ---: | --- |"]
    return "\n".join([*lines, *(line_of(row) for row in sorted(rows, key=lambda row: (row["test"],)))]) + "\n"


def line_of(row: dict[str, Any]) -> str:
    """Return the line of one row."""
    words = row["test"].rsplit("::", 1)[-1].removeprefix("test_").replace("_", " ")
    check = f"{words}: {row['case']}" if row["case"] else words
    ours = difference = ""
    if row["ours"] is not None:
        ours, difference = our_digits(row["printed"], row["ours"]), relative(row["printed"], row["ours"])
    verdict = verdict_of(row)
    remark = f"{verdict}; {row['note']}" if row["note"] else verdict
    return markdown.row(check, row["locator"], row["printed"], ours, difference, remark)


def soak_lines(record: Path) -> str:
    """Return the section on the last long run, from what ``make soak`` wrote.

    Parameters
    ----------
    record : Path
        The counts, as JSON; without the file the section says that there was none.
    """
    if not record.is_file():
        return "## The last soak\n\nNone is on record.\n"
    data = json.loads(record.read_text(encoding="utf-8"))
    run = "`make soak`" if data["profile"] == "soak" else "A part of `make soak`, with the suite's own random cases,"
    return (
        f"## The last soak\n\n{run} of {data['date']}: {data['passed']} tests passed, {data['failed']} failed, "
        f"{data['error']} errors, {data['xfailed']} wrong in print, {data['skipped']} skipped, "
        f"up to {data['examples_per_property']} random cases for each property, {data['minutes']} minutes.\n"
        + fuzz_lines(data)
        + scene_lines(data)
    )


def scene_lines(data: dict[str, Any]) -> str:
    """Return what random scenes showed against the brute-force tracer, as far as a run is on record."""
    if "scenes" not in data:
        return ""
    run = data["scenes"]
    return (
        f"\nRandom scenes against a brute-force tracer that shares no code, run of {run['date']}: {run['scenes']} "
        f"scenes, {run['places_found_above']} groups of people that the tracer finds above the limit, "
        f"{run['called_below']} of them called below, {run['outside_zones']} outside the zones; highest of the "
        f"program over highest of the tracer {run['median_factor']} in the median, above 5 in {run['factors_above_5']} "
        f"scenes{_reasons(run)}.\n"
    )


def _reasons(run: dict[str, Any]) -> str:
    """Return in how many of these scenes the program says why, as far as that is on record."""
    said = run.get("of_these_with_a_reason")
    return "" if said is None else f", in {said} of which the row says what makes it strict"


def fuzz_lines(data: dict[str, Any]) -> str:
    """Return what became of random and damaged case files, as far as a run is on record."""
    words = {"fuzz": "Random and damaged case files", "guided": "Case files led by coverage"}
    text = ""
    for name, head in words.items():
        if name in data:
            run = data[name]
            text += (
                f"\n{head}, run of {run['date']} through `check` and `assess`: {run['files']} files, {run['assessed']} "
                f"assessed, {run['refused']} refused, {run['broken']} ended in a traceback or were stopped after "
                f"20 s; {run['files_against_a_rule']} broke a rule in all, most of them by the wording of a refusal; "
                f"{run['over_two_seconds']} took longer than 2 s of processor time, at most {run['longest_seconds']} "
                f"s; {run['behaviours']} different answers. A file that broke a rule counts even if the fault was "
                "mended after the run.\n"
            )
    return text


def mutant_lines(record: Path) -> str:
    """Return the section on lines of the package that were changed on purpose, from what ``make mutants`` wrote."""
    if not record.is_file():
        return ""
    rows = json.loads(record.read_text(encoding="utf-8"))
    found = sum(bool(row["found by"]) for row in rows)
    head = (
        "## Changed lines\n\nOne line of the package at a time was changed as a slip would change it: "
        f"{len(rows)} changes of `tests/mutants.toml`, {found} of them found. `make mutants` tries them; the test "
        "that failed first is named.\n\n"
    )
    table = [markdown.row("change", "file", "found by"), "| --- | --- | --- |"]
    for row in rows:
        name = row["found by"].removeprefix("tests/") or f"**not found** by {row['tried']}"
        table.append(markdown.row(row["name"], row["file"], name))
    return head + "\n".join(table) + "\n"


def validation_page(rows: list[dict[str, Any]]) -> str:
    """Return the text of docs/validation.md.

    Parameters
    ----------
    rows : list of dict
        The rows of a record.
    """
    numbers = [row for row in rows if row["ours"] is not None]
    typed, own = ([row for row in numbers if row["own"] is mine] for mine in (False, True))
    sources = sorted({row["source"] for row in rows})
    documents = len({row["source"] for row in typed})
    parts = [HEAD, f"{len(typed)} numbers typed from {documents} documents: {counted(typed)}.\n"]
    if own:
        parts.append(f"Beside them {len(own)} numbers that we worked out ourselves: {counted(own)}.\n")
    known = titles()
    if unknown := sorted(set(sources) - set(known)):
        message = f"no validation page: no entry in shared/references.bib for the sources {unknown}"
        raise SystemExit(message)
    for source in sources:
        parts.append(f"## {source}\n\n{known[source]}\n")
        here = [row for row in rows if row["source"] == source]
        for head, mine, words in (("printed", False, ""), ("worked out", True, "Worked out by us:\n\n")):
            if found := [row for row in here if row["own"] is mine]:
                parts.append(words + table(found, head))
    parts += filter(None, [soak_lines(SOAK), mutant_lines(MUTANTS)])
    return "\n".join(parts)
