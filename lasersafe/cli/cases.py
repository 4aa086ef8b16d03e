"""Commands on a case file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Optional

import typer

from lasersafe.cli.options import (
    CaseFile,
    Json,
    PageOutput,
    Paper,
    Replace,
    Text,
    app,
    print_json,
    tell,
)
from lasersafe.cli.streams import complain, say, show

Texts = Optional[list[str]]  # noqa: UP045 (typer reads the annotation)


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the case and the sheet are written.")],
    as_json: Json = False,
) -> None:
    """Write the demo case and its sheet into a folder."""
    from lasersafe.ask.cases import write_demo

    data = write_demo(folder)
    tell(
        as_json,
        data,
        f"{data['verdict']}\ncase: {data['case']}\nsheet: {data['sheet']}\nannex: {data['annex']}\n{data['caution']}",
    )


@app.command()
def new(
    case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The file to write.", show_default=False)],
    template: Annotated[
        Text,
        typer.Option(
            "--from", help="A starter case, as handheld-welder, or demo, the long example; then nothing is asked."
        ),
    ] = None,
    laser: Annotated[
        Texts,
        typer.Option(
            help="Kind of laser, and what is known of it, as 'blue diode, 5 W, 2 mrad'; may be given several times."
        ),
    ] = None,
    crew: Annotated[Text, typer.Option(help="How many and how near, as '6 at 2 m'. Asked for without it.")] = None,
    guests: Annotated[Text, typer.Option(help="The same of the guests, as '40 at 8 m'.")] = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Ask nothing: take what is usual, marked 'replace me' in the file.")
    ] = False,
    language: Annotated[str, typer.Option(help="Language of the questions and of the case: en or de.")] = "en",
    replace: Annotated[
        bool, typer.Option(help="Overwrite a file that is there, unless it is a case that was edited.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Start a case file: question by question, or from a starter case.

    Enter takes what stands in brackets; what was not answered is marked 'replace me' in the file, and nobody can sign
    before it is replaced.
    """
    from lasersafe.ask.new import Said, ask_case, start_case

    if template is not None:
        data = start_case(case, template, replace)
    else:
        data = ask_case(case, Said(laser or (), crew, guests, language, _answers()), _unasked if yes else _ask, replace)
    tell(as_json, data, f"case: {data['case']}\nedit it, then: lasersafe check {data['case']}")


def _answers() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()


def _unasked(question: str, changes: str, default: str) -> None:
    """Take the default."""


def _ask(question: str, changes: str, default: str) -> str | None:
    """Return the line that is typed, None for an empty one, which takes the default.

    Raises
    ------
    EOFError
        If there is nobody to answer.
    """
    complain(f"{question}\n  {changes}{default and f' [{default}]'}")
    if _answers():
        sys.stderr.write("> ")
        sys.stderr.flush()
    try:
        line = sys.stdin.readline() if sys.stdin is not None else ""
    except OSError:
        line = ""
    if not line:
        raise EOFError(question)
    return line.strip() or None


@app.command()
def check(case: CaseFile, as_json: Json = False) -> None:
    """List all faults of a case file at once, with line numbers."""
    from lasersafe.ask.cases import check_lines

    faults, data = check_lines(case)
    tell(as_json, data, faults)
    if data["faults"]:
        raise typer.Exit(2)


@app.command()
def assess(
    case: CaseFile,
    everything: Annotated[bool, typer.Option("--all", help="Print every distance, barrier and scenario, too.")] = False,
    as_json: Json = False,
) -> None:
    """Print the answer to a case in 25 lines.

    Exit codes: 0 the verdict passes, 1 do not run as planned, 2 the case was refused.
    """
    from lasersafe.ask.brief import LABEL, brief
    from lasersafe.ask.printed import assessment_text
    from lasersafe.assessment import assess_file
    from lasersafe.records.fields import as_json as plain

    assessment = assess_file(case)
    if as_json:
        print_json(plain(assessment))
    elif everything:
        say(assessment_text(assessment))
    else:
        show(brief(assessment), LABEL, assessment.decision.passed)
    if not assessment.decision.passed:
        raise typer.Exit(1)


@app.command()
def sheet(
    case: CaseFile,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PDF to write.", show_default=False)],
    paper: Annotated[Text, typer.Option(help="A4 or Letter; without it, what the case says.")] = None,
    replace: Annotated[
        bool, typer.Option(help="Replace a sheet that is signed, or another file; a dated copy of it is kept.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Print the assessment sheet of a case as a PDF."""
    from lasersafe.ask.cases import write_case_sheet

    data = write_case_sheet(case, output, paper, replace)
    lines = [f"{data['verdict']}\nsheet: {data['sheet']} ({data['state']})", f"annex: {data['annex']}"]
    lines += [f"changed since the last sign-off: {line}" for line in data["changed_since_sign_off"]]
    lines += [f"the sheet that was there is kept as {data['kept']}"] if data["kept"] else []
    tell(as_json, data, [*lines, data["caution"]])


def _page(case: Path, output: Path, paper: str | None, kind: str, replace: bool, as_json: bool) -> None:
    from lasersafe.ask.cases import write_case_page

    data = write_case_page(case, output, paper, kind, replace)
    page = data.pop("sheet")
    tell(as_json, {"page": page, **data}, f"page: {page}\n{data['caution']}")


@app.command()
def prestart(
    case: CaseFile, output: PageOutput, paper: Paper = None, replace: Replace = False, as_json: Json = False
) -> None:
    """Print the pre-use check with the stop criteria on one page."""
    _page(case, output, paper, "prestart", replace, as_json)


@app.command()
def card(
    case: CaseFile, output: PageOutput, paper: Paper = None, replace: Replace = False, as_json: Json = False
) -> None:
    """Print the casualty card on one page."""
    _page(case, output, paper, "card", replace, as_json)


@app.command("door-sign")
def door_sign(
    case: CaseFile, output: PageOutput, paper: Paper = None, replace: Replace = False, as_json: Json = False
) -> None:
    """Print the text of the sign for the entrances on one page."""
    _page(case, output, paper, "sign", replace, as_json)


@app.command()
def notice(case: CaseFile, as_json: Json = False) -> None:
    """Print data for a notice to an authority; no permission is claimed."""
    from lasersafe.ask.printed import notice_of

    lines, data = notice_of(case)
    tell(as_json, data, lines)
