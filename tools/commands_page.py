"""docs/commands.md, from the help of each command."""

from __future__ import annotations

import typer.main
from typer.testing import CliRunner

from lasersafe.cli import app

WIDTH = 100
HEAD = """# Commands

Made from `--help` by `make docs`; `make test` fails when it differs. Each command prints errors as one line on
standard error and then exits with code 2. With `--json`, numbers are in SI units and the unit is in the key.

An answer is in the language that the case states, one that needs no case in that of `--language`. That a case file
is missing or cannot be read is said in the language of the environment (the first of `LC_ALL`, `LC_MESSAGES` and
`LANG` that is set) where there is a wording for it, else in English.
"""


def help_text(*words: str) -> str:
    """Return what ``lasersafe WORDS --help`` prints, on a terminal of a fixed width.

    Parameters
    ----------
    *words : str
        The command, none for the program itself.
    """
    environment = {"COLUMNS": str(WIDTH), "NO_COLOR": "1", "TERM": "dumb"}
    result = CliRunner().invoke(app, [*words, "--help"], prog_name="lasersafe", env=environment, terminal_width=WIDTH)
    if result.exit_code != 0:
        message = f"lasersafe {' '.join(words)} --help ended with {result.exit_code}: {result.output}"
        raise RuntimeError(message)
    return "\n".join(line.rstrip() for line in result.output.strip().splitlines())


def command_names() -> list[str]:
    """Return the names of the commands, in the order of the help."""
    return list(typer.main.get_command(app).commands)  # type: ignore[attr-defined]


def commands_page() -> str:
    """Return the text of docs/commands.md."""
    parts = [HEAD, f"```text\n{help_text()}\n```\n"]
    for name in command_names():
        parts.append(f"## lasersafe {name}\n\n```text\n{help_text(name)}\n```\n")
    return "\n".join(parts)
