"""Write the generated pages of docs/, or check that they are up to date.

::

    python -m tools.make_docs [--check] [--published-record FILE]

docs/commands.md comes from the help of each command, docs/cases.md from the models of a case file, and
docs/validation.md from what ``pytest --published-record FILE`` compared. Without a record, the validation page is
left as it is.
"""

from __future__ import annotations

import argparse
import difflib
import sys
from pathlib import Path

from tools.cases_page import cases_page
from tools.commands_page import commands_page
from tools.validation_page import read_rows, validation_page

DOCS = Path(__file__).resolve().parent.parent / "docs"


def pages(record: Path | None) -> dict[str, str]:
    """Return the text of each generated page by its name.

    Parameters
    ----------
    record : Path or None
        What the published checks compared, as JSON; without it the validation page is left out.
    """
    made = {"commands.md": commands_page(), "cases.md": cases_page()}
    if record is not None:
        made["validation.md"] = validation_page(read_rows(record))
    return made


def difference(name: str, text: str) -> list[str]:
    """Return the lines in which a page differs from what would be written now, at most 20."""
    path = DOCS / name
    kept = path.read_text(encoding="utf-8") if path.is_file() else ""
    lines = difflib.unified_diff(
        kept.splitlines(), text.splitlines(), f"docs/{name} as it is", f"docs/{name} anew", lineterm="", n=1
    )
    return list(lines)[:20]


def main() -> int:
    """Run the command; return the exit code."""
    parser = argparse.ArgumentParser(description="Write the generated pages of docs/.")
    parser.add_argument("--check", action="store_true", help="change nothing; exit 1 when a page is out of date")
    parser.add_argument("--published-record", type=Path, metavar="FILE", help="the record for the validation page")
    options = parser.parse_args()
    made = pages(options.published_record)
    stale = {name: lines for name, text in made.items() if (lines := difference(name, text))}
    if options.check:
        for lines in stale.values():
            sys.stderr.write("\n".join(lines) + "\n")
        if stale:
            sys.stderr.write(f"out of date: {', '.join(sorted(stale))}; 'make docs' writes them anew\n")
            return 1
        sys.stdout.write(f"docs: {', '.join(sorted(made))} up to date\n")
        return 0
    DOCS.mkdir(exist_ok=True)
    for name in stale:
        (DOCS / name).write_text(made[name], encoding="utf-8")
    sys.stdout.write(f"docs: written {', '.join(sorted(stale)) or 'nothing, all up to date'}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
