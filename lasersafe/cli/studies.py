"""Commands that ask what would be if an input of a case were different."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from lasersafe.cli.options import CaseFile, Json, Replace, Text, app, tell

Texts = Optional[list[str]]  # noqa: UP045 (typer reads the annotation)
File = Optional[Path]  # noqa: UP045
LaserName = Annotated[Text, typer.Option("--laser", help="Name of the laser, where the case has several.")]
SetupName = Annotated[Text, typer.Option("--setup", help="Name of the set-up; without it the fitted one.")]


@app.command()
def sweep(
    case: CaseFile,
    vary: Annotated[
        Texts,
        typer.Option(
            help="FIELD=LOW..HIGH:COUNT, ':log' behind it for equal ratios, or FIELD='A|B|C'; several make a grid.",
            show_default=False,
        ),
    ] = None,
    laser: LaserName = None,
    setup: SetupName = None,
    at: Annotated[Text, typer.Option(help="Add the optical density for the eye at this distance, as '6 m'.")] = None,
    output: Annotated[File, typer.Option("--output", "-o", help="The table to write: .csv, .json or .parquet.")] = None,
    drawing: Annotated[File, typer.Option(help="The drawing to write: .svg, .png or .pdf; one or two inputs.")] = None,
    show: Annotated[Text, typer.Option(help="What the drawing shows, as 'direct eye'.")] = None,
    replace: Replace = False,
    as_json: Json = False,
) -> None:
    """Print the distances over the values of some inputs of a case."""
    from lasersafe.studies.commands import run_sweep

    text, data = run_sweep(case, vary or (), laser, setup, at, output, drawing, show, replace)
    tell(as_json, data, text)


@app.command()
def solve(
    case: CaseFile,
    wanted: Annotated[
        Text, typer.Option("--for", help="The input that is asked for, as laser.power.", show_default=False)
    ] = None,
    at: Annotated[Text, typer.Option(help="The nearest place of the person, as '6 m'.", show_default=False)] = None,
    eyewear: Annotated[Text, typer.Option(help="Marking of the eyewear that is worn, as '1064 D LB6'.")] = None,
    density: Annotated[Text, typer.Option(help="Optical density that is worn, as 5, the damage class aside.")] = None,
    way: Annotated[Texts, typer.Option(help="direct, mirror or scatter; without it all three.")] = None,
    tissue: Annotated[Texts, typer.Option(help="eye or skin; without it both.")] = None,
    between: Annotated[Text, typer.Option(help="The range to search, as '1 W..2 kW'.")] = None,
    laser: LaserName = None,
    setup: SetupName = None,
    as_json: Json = False,
) -> None:
    """Print how far an input may go so that a place needs no protection."""
    from lasersafe.studies.commands import run_solve

    text, data = run_solve(case, wanted, at, eyewear, density, way or (), tissue or (), between, laser, setup)
    tell(as_json, data, text)
