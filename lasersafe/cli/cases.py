"""Commands on a case file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

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
from lasersafe.cli.streams import say, show


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the case and the sheet are written.")],
    as_json: Json = False,
) -> None:
    """Write the demo case and its sheet into a folder."""
    from lasersafe.ask.cases import write_demo

    data = write_demo(folder)
    tell(as_json, data, f"{data['verdict']}\ncase: {data['case']}\nsheet: {data['sheet']}\n{data['caution']}")


@app.command()
def new(
    case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The file to write.", show_default=False)],
    template: Annotated[
        Text, typer.Option("--from", help="Name of the starter case; without it the names are listed.")
    ] = None,
    replace: Annotated[
        bool, typer.Option(help="Overwrite a file that is there, unless it is a case that was edited.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Start a case file from a template."""
    from lasersafe.ask.cases import start_case

    data = start_case(case, template, replace)
    tell(as_json, data, f"case: {data['case']}\nedit it, then: lasersafe check {data['case']}")


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
