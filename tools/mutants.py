"""Change one line of the package at a time, and see whether the suite finds it.

    python -m tools.mutants               all changes of tests/mutants.toml; the outcome goes to docs/mutants.json
    python -m tools.mutants --only WORD   those whose name holds WORD; nothing is written
    python -m tools.mutants --more        all but those that docs/mutants.json says are found already
    python -m tools.mutants --quick       without the whole suite for what the first tests did not find
    python -m tools.mutants --check       only whether each change still fits its file

A change is a name, a file of the package, the text that is there once and the text that takes its place. The package
is copied; the checkout is not touched. The test that found a change last time is tried first. For what it finds no
more, the suite runs once and notes which tests come through each function that a change is in (kept in
out/mutants.jsonl until a file is newer), and the quickest of these run until one fails; only a change that none of them
finds has the whole suite run. All in one process, nicely: some ten minutes; an hour where every change is new.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
LIST = ROOT / "tests" / "mutants.toml"
OUTCOME = ROOT / "docs" / "mutants.json"
NOTED = ROOT / "out" / "mutants.jsonl"
VARIABLE = "LASERSAFE_MUTANTS_NOTED"  # the file that the noting run writes
LEFT = ("tests/behaviour/test_gate.py", "tests/behaviour/test_docstrings.py")  # they read the source itself
QUICK = 90.0  # s of the quickest tests that come through a function, before the whole suite has to find a change


@dataclass(frozen=True)
class Mutant:
    """One change: what it breaks in words, where, and what takes the place of what."""

    name: str
    file: str
    old: str
    new: str

    def changed(self, root: Path) -> str:
        """Return the file with the change; the text to change has to be there exactly once."""
        path = root / self.file
        text = path.read_text(encoding="utf-8") if path.is_file() else ""
        if (count := text.count(self.old)) != 1:
            message = f"{self.name}: {self.old!r} stands {count} times in {self.file}; write it so that it fits once"
            raise SystemExit(message)
        return text.replace(self.old, self.new)

    def places(self, root: Path) -> dict[int, str]:
        """Return where a note is taken, line and name: the function of the change, or all where it is in none."""
        text = (root / self.file).read_text(encoding="utf-8")
        line = text[: text.index(self.old)].count("\n") + 1
        every = [n for n in ast.walk(ast.parse(text)) if isinstance(n, (ast.FunctionDef, ast.AsyncFunctionDef))]
        around = [n for n in every if n.lineno <= line <= (n.end_lineno or n.lineno)]
        chosen = [max(around, key=lambda n: n.lineno)] if around else every
        first = [(n.body[int(ast.get_docstring(n) is not None and len(n.body) > 1)], n.name) for n in chosen]
        alone = [(n.lineno, name) for n, name in first if not text.split("\n")[n.lineno - 1][: n.col_offset].strip()]
        return {line: f"{self.file}:{name}" for line, name in alone}


def mutants() -> list[Mutant]:
    """Return the list of tests/mutants.toml."""
    return [Mutant(**one) for one in tomllib.loads(LIST.read_text(encoding="utf-8"))["mutant"]]


# --- the noting run: this module is a plugin of pytest there ------------------------------------------------------

_SEEN: set[tuple[str, str]] = set()


def _note(row: dict[str, Any]) -> None:
    if VARIABLE in os.environ:
        with open(os.environ[VARIABLE], "a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")


def came_through(place: str) -> None:
    """Note that the test that runs comes through a function; in a process that a test starts, too."""
    test = os.environ.get("PYTEST_CURRENT_TEST", "").rpartition(" ")[0]
    if test and (place, test) not in _SEEN:
        _SEEN.add((place, test))
        _note({"place": place, "test": test})


def pytest_runtest_logreport(report: Any) -> None:
    """Note how long a part of a test took, and whether it failed."""
    _note({"test": report.nodeid, "seconds": report.duration, "failed": report.failed})


def write_notes(every: list[Mutant], copy: Path) -> dict[str, str]:
    """Let the functions of a copy say which test comes through them; return the files as they were."""
    lines: dict[str, dict[int, str]] = defaultdict(dict)
    for one in every:
        lines[one.file] |= one.places(copy)
    kept = {name: (copy / name).read_text(encoding="utf-8") for name in lines}
    for name, text in kept.items():
        rows = text.split("\n")
        for line in sorted(lines[name], reverse=True):
            indent = rows[line - 1][: len(rows[line - 1]) - len(rows[line - 1].lstrip())]
            note = f'__import__("tools.mutants", fromlist=["_"]).came_through({lines[name][line]!r})'
            rows.insert(line - 1, indent + note)
        (copy / name).write_text("\n".join(rows), encoding="utf-8")
    return kept


def noted(every: list[Mutant], copy: Path) -> None:
    """Run the suite once and keep which test comes through which function."""
    kept = write_notes(every, copy)
    NOTED.parent.mkdir(exist_ok=True)
    part = NOTED.with_suffix(".part")
    part.unlink(missing_ok=True)
    words = ["-p", "tools.mutants", *(f"--ignore={path}" for path in LEFT), "tests"]
    run = pytest(copy, words, **{VARIABLE: str(part)})
    if run.returncode not in (0, 1):
        message = f"the suite did not run\n{run.stdout[-2000:]}{run.stderr[-2000:]}"
        raise SystemExit(message)
    part.replace(NOTED)
    for name, text in kept.items():
        (copy / name).write_text(text, encoding="utf-8")


def read_noted() -> tuple[dict[str, set[str]], dict[str, float], set[str]]:
    """Return the tests that come through each place, how long each test took, and which failed without any change."""
    through: dict[str, set[str]] = defaultdict(set)
    seconds: dict[str, float] = defaultdict(float)
    failed = set()
    for line in NOTED.read_text(encoding="utf-8").splitlines():
        row = json.loads(line)
        if "place" in row:
            through[row["place"]].add(row["test"])
        else:
            seconds[row["test"]] += row["seconds"]
            failed |= {row["test"]} if row["failed"] else set()
    return through, seconds, failed


# --- the changes --------------------------------------------------------------------------------------------------


def pytest(copy: Path, words: Iterable[str], **environment: str) -> subprocess.CompletedProcess[str]:
    """Run pytest in the copy, behind everything else that the machine does."""
    command = [sys.executable, "-m", "pytest", "-q", "--no-header", "-p", "no:cacheprovider", *words]
    more = {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1", **environment}
    return subprocess.run(
        ["nice", "-n", "19", *command], cwd=copy, env=os.environ | more, capture_output=True, text=True, check=False
    )


def found_by(mutant: Mutant, copy: Path, quick: list[str], whole: list[str]) -> str:
    """Return the first test that fails with a change, "" when the suite passes."""
    target = copy / mutant.file
    kept = target.read_text(encoding="utf-8")
    target.write_text(mutant.changed(copy), encoding="utf-8")
    arguments = copy / "quick.txt"
    arguments.write_text("\n".join(quick), encoding="utf-8")
    try:
        for words in ([f"@{arguments}"] if quick else [], whole):
            run = pytest(copy, ["-x", "-rfE", *words]) if words else None
            if run is None or run.returncode == 0:
                continue
            lines = [line for line in run.stdout.splitlines() if line.startswith(("FAILED tests", "ERROR tests"))]
            if run.returncode not in (1, 2) or not lines:
                message = f"{mutant.name}: the tests did not run\n{run.stdout[-2000:]}{run.stderr[-2000:]}"
                raise SystemExit(message)
            return lines[0].split(" ", 1)[1].partition(" - ")[0]
        return ""
    finally:
        target.write_text(kept, encoding="utf-8")


def passing(copy: Path, tests: set[str]) -> set[str]:
    """Return those tests that pass without any change; one that is no more is none of them."""
    files = sorted({path for path in (test.partition("::")[0] for test in tests) if (copy / path).is_file()})
    there = set(pytest(copy, ["--collect-only", "-v", *files]).stdout.splitlines()) & tests  # -v: a test a line
    lines = pytest(copy, ["-rp", *sorted(there)]).stdout.splitlines() if there else []
    return {line.split(" ", 1)[1] for line in lines if line.startswith("PASSED ")}


def main() -> int:
    """Run the command; return 1 when a change was not found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="")
    parser.add_argument("--more", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    every = mutants()
    for one in every:
        one.changed(ROOT)
    if options.check:
        return 0
    before = json.loads(OUTCOME.read_text(encoding="utf-8")) if options.more and OUTCOME.is_file() else []
    rows = {row["name"]: row for row in before if row["found by"]}
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        names = [name for name in listed.split("\0") if name and (ROOT / name).is_file()]
        for name in names:
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, copy / name)
        newest = max((ROOT / name).stat().st_mtime for name in names if name.startswith(("lasersafe/", "tests/")))
        last = {row["name"]: row["found by"] for row in json.loads(OUTCOME.read_text(encoding="utf-8"))}
        chosen = [m for m in every if options.only in m.name and m.name not in rows]
        sound = passing(copy, {last.get(m.name, "") for m in chosen} - {""})
        notes: tuple[dict[str, set[str]], dict[str, float], set[str]] | None = None
        for one in chosen:
            known = last.get(one.name, "")
            found = found_by(one, copy, [known], []) if known in sound else ""
            if not found and notes is None:
                if not NOTED.is_file() or (NOTED.stat().st_mtime < newest and not options.more):
                    noted(every, copy)
                notes = read_noted()
            through, seconds, failed = notes or ({}, {}, set())
            left = [f"--ignore={path}" for path in LEFT] + [f"--deselect={test}" for test in sorted(failed)]
            tests = {test for place in one.places(copy).values() for test in through.get(place, ())} - failed
            quick, spent = [], 0.0
            for test in sorted(tests, key=lambda name: seconds[name]):
                spent += seconds[test]
                quick += [test] if spent < QUICK else []
            found = found or found_by(one, copy, quick, [] if options.quick else [*left, "tests"])
            tried = f"{len(quick)} tests" if options.quick else "the whole suite"
            rows[one.name] = {"name": one.name, "file": one.file, "found by": found, "tried": "" if found else tried}
            sys.stdout.write(f"{one.name}: {found or f'NOT FOUND by {tried}'}\n")
            sys.stdout.flush()
            if not options.only:
                done = [rows[m.name] for m in every if m.name in rows]
                OUTCOME.write_text(json.dumps(done, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return int(not all(row["found by"] for row in rows.values()))


if __name__ == "__main__":
    sys.exit(main())
