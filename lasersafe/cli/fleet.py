"""The command that assesses many cases at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from lasersafe.cli.options import Json, app, tell
from lasersafe.cli.streams import complain, say

if TYPE_CHECKING:
    from lasersafe.batch.run import Batch, Summary

_Path = Optional[Path]  # noqa: UP045 (typer reads the annotation)
_Paths = Optional[list[Path]]  # noqa: UP045
_Number = Optional[int]  # noqa: UP045


@app.command()
def batch(
    source: Annotated[
        _Path,
        typer.Argument(metavar="FOLDER|FILE", help="Case files, also in folders below, or an inventory: CSV or .xlsx.",
                       show_default=False),
    ] = None,
    output: Annotated[
        _Paths,
        typer.Option("--output", "-o", help="Result, .csv or .jsonl; may be given twice. The same command again goes "
                     "on where it was stopped, and does again what changed. Without it: CSV to the terminal."),
    ] = None,
    processes: Annotated[_Number, typer.Option(help="How many processes work; without it, one for each core.")] = None,
    decimal_comma: Annotated[
        bool, typer.Option("--decimal-comma", help="Write 1,5 and semicolons, for spreadsheets in such a language.")
    ] = False,
    cases: Annotated[
        _Path, typer.Option(metavar="FOLDER", help="Write the case file of each row that was assessed, too.")
    ] = None,
    template: Annotated[
        _Path, typer.Option(metavar="FILE.csv", help="Only write an inventory to start from, with explanations.")
    ] = None,
    replace: Annotated[bool, typer.Option(help="Work everything out anew, and replace what is there.")] = False,
    as_json: Json = False,
) -> None:  # fmt: skip
    """Assess many cases in parallel: a folder of case files, or an inventory."""
    from lasersafe.batch.run import Batch, refused_lines, summary_lines, write_template
    from lasersafe.errors import InputError

    if template is not None:
        data = write_template(template, replace)
        tell(as_json, data, f"inventory: {template}\nfill it in, then: lasersafe batch {template} -o results.csv")
        return
    if source is None:
        message = "name a folder with case files or an inventory as CSV; --template FILE.csv writes one to start from"
        raise InputError(message)
    if as_json and not output:
        message = "--json describes the run; name the file for the results with -o"
        raise InputError(message)
    one = Batch(source, output or [], processes, replace, decimal_comma)
    said = list(one.summary.remarks)
    for remark in said:
        complain(f"note: {remark}")
    try:
        summary = _run(one, cases)
    except KeyboardInterrupt:
        done = one.summary.worked_out
        kept = "; the same command goes on from there" if output else ""
        complain(f"stopped after {done} cases{kept}")
        raise typer.Exit(130) from None
    for remark in summary.remarks[len(said) :]:
        complain(f"note: {remark}")
    if output:
        tell(as_json, summary.plain(), summary_lines(summary))
    else:
        for line in summary_lines(summary):
            complain(line)
    for line in refused_lines(summary):
        complain(line)
    if summary.refused:
        raise typer.Exit(2)


def _run(one: Batch, cases: Path | None) -> Summary:
    def write(line: bytes) -> None:
        say(line.decode(), end="")

    if not sys.stderr.isatty():
        return one.run(write=write, case_files=cases)
    with typer.progressbar(length=one.count(), label="cases", file=sys.stderr) as bar:
        return one.run(bar.update, write, cases)
