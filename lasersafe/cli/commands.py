"""The commands on a case file and its sheets, and on many at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer
from typer import Argument, Option

from lasersafe import ask
from lasersafe.cli import options


@options.command()
def demo(
    folder: Annotated[Path, Argument(metavar="FOLDER", help="Where the case and the sheet are written.")],
) -> options.Answer:
    """Write the demo case and its sheet into a folder."""
    from lasersafe.ask.cases import write_demo

    return write_demo(folder)


@options.command(ask.NewQuestion)
def new(
    case: Annotated[Path, Argument(metavar="CASE.toml", help="The file to write.", show_default=False)],
    question: ask.NewQuestion,
) -> options.Answer:
    """Start a case file: question by question, or from a starter case.

    Enter takes what stands in brackets; what was not answered is marked 'replace me' in the file, and nobody can sign
    before it is replaced.
    """
    from lasersafe.ask.cases import ask_case, write_starter

    if question.template is not None:
        data = write_starter(case, question.template, question.replace)
    else:
        data = ask_case(case, question, _ask, _answers())
    return data, f"case: {data['case']}\nedit it, then: lasersafe check {data['case']}"


def _answers() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()


def _ask(question: str, changes: str, default: str) -> str | None:
    """Return the line that is typed, None for an empty one, which takes the default.

    Raises
    ------
    EOFError
        If there is nobody to answer.
    """
    options.complain(f"{question}\n  {changes}{default and f' [{default}]'}")
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


@options.command()
def check(case: options.CaseFile) -> options.Answer:
    """List all faults of a case file at once, with line numbers."""
    from lasersafe.ask.cases import check_lines

    return check_lines(case)


@options.command()
def assess(
    case: options.CaseFile,
    everything: Annotated[bool, Option("--all", help="Print every distance, barrier and scenario, too.")] = False,
    as_json: options.Json = False,
) -> None:
    """Print the answer to a case in 25 lines.

    Exit codes: 0 the verdict passes, 1 do not run as planned, 2 the case was refused.
    """
    from lasersafe.ask.printed import LABEL, assessment_text, brief
    from lasersafe.assessment import assess_file
    from lasersafe.records import as_json as plain

    assessment = assess_file(case, "all" if as_json or everything else "short")
    if as_json:
        options.print_json(plain(assessment))
    elif everything:
        options.say(assessment_text(assessment))
    else:
        options.show(brief(assessment), LABEL, assessment.decision.passed)
    if not assessment.decision.passed:
        raise typer.Exit(1)


@options.command()
def sheet(
    case: options.CaseFile,
    output: Annotated[Path, Option("--output", "-o", help="The PDF to write.", show_default=False)],
    paper: Annotated[ask.Text, Option(help="A4 or Letter; without it, what the case says.")] = None,
    replace: Annotated[
        bool, Option(help="Replace a sheet that is signed, or another file; a dated copy of it is kept.")
    ] = False,
) -> options.Answer:
    """Print the assessment sheet of a case as a PDF."""
    from lasersafe.ask.cases import write_case_sheet

    return write_case_sheet(case, output, paper, replace)


def _page(name: str, kind: str, words: str) -> None:
    """Add the command that prints one page to hand out."""

    @options.command(None, name, words)
    def page(
        case: options.CaseFile,
        output: options.PageOutput,
        paper: options.Paper = None,
        replace: options.Replace = False,
    ) -> options.Answer:
        from lasersafe.ask.cases import write_case_page

        return write_case_page(case, output, paper, kind, replace)


_page("prestart", "prestart", "Print the pre-use check with the stop criteria on one page.")
_page("card", "card", "Print the casualty card on one page.")
_page("door-sign", "sign", "Print the text of the sign for the entrances on one page.")


@options.command()
def notice(case: options.CaseFile) -> options.Answer:
    """Print data for a notice to an authority; no permission is claimed."""
    from lasersafe.ask.cases import notice_of

    return notice_of(case)


@options.command(ask.SignQuestion)
def signoff(
    question: ask.SignQuestion,
    case: Annotated[Path | None, Argument(metavar="[CASE.toml]", help="The case file to sign.")] = None,
) -> options.Answer:
    """Record who signs a case, or sign a printed sheet with a certificate.

    The password of the certificate comes from --password-fd, or from the environment variable
    LASERSAFE_CERTIFICATE_PASSWORD, or is asked for.
    """
    from lasersafe.signing.signing_off import sign_answer

    return sign_answer(case, question)


@options.command()
def verify(
    sheet: Annotated[Path, Argument(metavar="SHEET.pdf", help="The sheet to check.", show_default=False)],
    trust: Annotated[
        list[Path] | None, Option(help="Certificates (PEM or DER) that are trusted; may be given more than once.")
    ] = None,
    case: Annotated[Path | None, Option(help="A case file to compare the sheet with, as it is now.")] = None,
    on: Annotated[ask.Text, Option(help="Day for which dates are judged, as 2027-03-01; today without it.")] = None,
    time_limit: Annotated[float, Option(help="Seconds after which it gives up.")] = 120.0,
) -> options.Answer:
    """Say whether a sheet is still what was signed and what this version computes.

    Exit codes: 0 all is well, 10 not signed, 11 past its date, 12 this version computes other
    results, 13 changed since it was signed, 14 certificate signature broken or not trusted, 15
    damaged or no sheet, 16 cannot be checked by this version, 2 no such file or bad option.
    """
    from lasersafe.signing.verify import verify_answer

    return verify_answer(sheet, trust or [], case, on, time_limit)


@options.command()
def register(
    folder: Annotated[Path, Argument(metavar="DIR", help="The folder with the sheets.", show_default=False)],
    as_csv: Annotated[bool, Option("--csv", help="Print CSV.")] = False,
    recursive: Annotated[bool, Option("--recursive", help="Look into the folders below as well.")] = False,
    on: Annotated[ask.Text, Option(help="Day for which dates are judged, as 2027-03-01; today without it.")] = None,
) -> options.Answer:
    """List the sheets of a folder with state and review date.

    Nothing is checked but the checksum of each file; verify checks the rest.
    """
    from lasersafe.signing.container import register_answer

    data, text = register_answer(folder, recursive, on, as_csv)
    return data, text.rstrip("\n")


@options.command(ask.BatchQuestion)
def batch(
    question: ask.BatchQuestion,
    source: Annotated[
        Path | None,
        Argument(metavar="FOLDER|FILE", help="Case files, also in folders below, or an inventory: CSV or .xlsx.",
                 show_default=False),
    ] = None,
    as_json: options.Json = False,
) -> None:  # fmt: skip
    """Assess many cases in parallel: a folder of case files, or an inventory."""
    from lasersafe.batch.run import Batch
    from lasersafe.errors import refuse

    if (template := question.template) is not None:
        from lasersafe.data import templates_path
        from lasersafe.files import Output, write_outputs

        example = templates_path("inventory", "example.csv").read_bytes()
        write_outputs([Output(template, example)], replace=question.replace)
        words = f"inventory: {template}\nfill it in, then: lasersafe batch {template} -o results.csv"
        options.tell(as_json, {"inventory": str(template)}, words)
        return
    if source is None:
        refuse("name a folder with case files or an inventory as CSV; --template FILE.csv writes one to start from")
    if as_json and not question.output:
        refuse("--json describes the run; name the file for the results with -o")
    one = Batch(source, question)
    said = list(one.summary.remarks)
    for remark in said:
        options.complain(f"note: {remark}")

    def write(line: bytes) -> None:
        options.say(line.decode(), end="")

    try:
        if sys.stderr.isatty():
            with typer.progressbar(length=sum(1 for _ in one.source.names()), label="cases", file=sys.stderr) as bar:
                summary = one.run(write, bar.update)
        else:
            summary = one.run(write)
    except KeyboardInterrupt:
        kept = "; the same command goes on from there" if question.output else ""
        options.complain(f"stopped after {one.summary.worked_out} cases{kept}")
        raise typer.Exit(130) from None
    for remark in summary.remarks[len(said) :]:
        options.complain(f"note: {remark}")
    if question.output:
        options.tell(as_json, summary.plain(), summary.lines())
    for line in [*([] if question.output else summary.lines()), *summary.refusals()]:
        options.complain(line)
    if summary.refused:
        raise typer.Exit(2)
