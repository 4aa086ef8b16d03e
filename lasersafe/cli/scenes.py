"""Commands about a scene: the drawing, and where people may stand."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lasersafe.cli.options import CaseFile, Json, Replace, Text, app, tell


@app.command()
def spectators(case: CaseFile, as_json: Json = False) -> None:
    """Print the nearest allowed line on each side, in metres and feet."""
    from lasersafe.ask.printed import spectators_json, spectators_text

    data = spectators_json(case)
    tell(as_json, data, spectators_text(data))


@app.command()
def plan(
    case: CaseFile,
    output: Annotated[
        Path,
        typer.Option(
            "--output",
            "-o",
            help="The .svg, .png or .pdf to write; - for .svg to the standard output.",
            show_default=False,
        ),
    ],
    elevation: Annotated[bool, typer.Option("--elevation", help="The elevations instead of the plan.")] = False,
    barriers: Annotated[
        bool, typer.Option("--barriers", help="The irradiance on each barrier instead of the plan.")
    ] = False,
    paper: Annotated[
        Text, typer.Option(help="A4, A3, A2, A1, Letter or Tabloid; without it, what the case says.")
    ] = None,
    every: Annotated[
        bool, typer.Option("--all", help="Write the further pages of an .svg or .png, too, to files with -2, -3.")
    ] = False,
    replace: Replace = False,
    as_json: Json = False,
) -> None:
    """Draw the plan, the elevation or the barriers of a case that has a scene, to scale."""
    from lasersafe.ask.plans import plan_text, write_plan

    data = write_plan(case, output, paper, elevation=elevation, barriers=barriers, every=every, replace=replace)
    tell(as_json, data, plan_text(data))
