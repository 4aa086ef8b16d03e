"""Commands about a scene: where people may stand."""

from __future__ import annotations

import typer

from lasersafe.cli.options import CaseFile, Json, app, print_json


@app.command()
def spectators(case: CaseFile, as_json: Json = False) -> None:
    """Print the nearest allowed line on each side, in metres and feet."""
    from lasersafe.report_scene import spectators_json, spectators_text

    data = spectators_json(case)
    if as_json:
        print_json(data)
    else:
        typer.echo(spectators_text(data))
