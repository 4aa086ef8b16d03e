"""Change one line of the package at a time, and see whether the suite finds it.

    python -m tools.mutants               all changes of tests/mutants.toml; the outcome goes to docs/mutants.json
    python -m tools.mutants --only WORD   those whose name holds WORD; nothing is written
    python -m tools.mutants --check       only whether each change still fits its file

A change is a name, a file of the package, the text that is there once and the text that takes its place. The package
is copied; the checkout is not touched. First the tests that the change names run, or the frozen answers, then the whole
suite until one fails.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
LIST = ROOT / "tests" / "mutants.toml"
OUTCOME = ROOT / "docs" / "mutants.json"
FIRST = ("tests/regression/test_golden.py",)
LEFT = ("tests/behaviour/test_gate.py", "tests/behaviour/test_docstrings.py")  # they read the source itself


@dataclass(frozen=True)
class Mutant:
    """One change: what it breaks in words, where, and the tests that are tried first."""

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...] = ()

    def changed(self, root: Path) -> str:
        """Return the file with the change; the text to change has to be there exactly once."""
        path = root / self.file
        text = path.read_text(encoding="utf-8") if path.is_file() else ""
        if (count := text.count(self.old)) != 1:
            message = f"{self.name}: {self.old!r} stands {count} times in {self.file}; write it so that it fits once"
            raise SystemExit(message)
        return text.replace(self.old, self.new)


def mutants() -> list[Mutant]:
    """Return the list of tests/mutants.toml."""
    listed = tomllib.loads(LIST.read_text(encoding="utf-8"))["mutant"]
    return [Mutant(**{**one, "tests": tuple(one.get("tests", ()))}) for one in listed]


def found_by(mutant: Mutant, copy: Path) -> str:
    """Return the first test that fails with a change, "" when the suite passes."""
    target = copy / mutant.file
    kept = target.read_text(encoding="utf-8")
    target.write_text(mutant.changed(copy), encoding="utf-8")
    try:
        whole = ("--numprocesses=2", *(f"--ignore={path}" for path in LEFT), "tests")
        for tests in (mutant.tests or ("-m", "soak or not soak", *FIRST), whole):
            command = [sys.executable, "-m", "pytest", "-x", "-q", "--no-header", "-p", "no:cacheprovider", *tests]
            run = subprocess.run(
                command, cwd=copy, env={**os.environ, "PYTHONPATH": str(copy)}, capture_output=True, text=True
            )
            lines = [line for line in run.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
            if lines:
                return lines[0].split()[1]
            if run.returncode:
                message = f"{mutant.name}: the tests did not run\n{run.stdout[-2000:]}{run.stderr[-2000:]}"
                raise SystemExit(message)
        return ""
    finally:
        target.write_text(kept, encoding="utf-8")


def main() -> int:
    """Run the command; return 1 when a change was not found."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="")
    parser.add_argument("--check", action="store_true")
    options = parser.parse_args()
    chosen = [one for one in mutants() if options.only in one.name]
    for one in chosen:
        one.changed(ROOT)
    if options.check:
        return 0
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "copy"
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
        for name in filter(None, listed.split("\0")):
            (copy / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, copy / name)
        rows = []
        for one in chosen:
            rows.append({"name": one.name, "file": one.file, "found by": found_by(one, copy)})
            sys.stdout.write(f"{one.name}: {rows[-1]['found by'] or 'NOT FOUND'}\n")
            sys.stdout.flush()
    if not options.only:
        OUTCOME.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    return int(not all(row["found by"] for row in rows))


if __name__ == "__main__":
    sys.exit(main())
