"""The command that serves the page in a browser."""

from __future__ import annotations

from typing import Annotated

import typer

from lasersafe.cli.options import app
from lasersafe.cli.streams import say


@app.command()
def page(
    port: Annotated[int, typer.Option(help="Port of this computer; the next free one where it is in use.")] = 8642,
    language: Annotated[str, typer.Option(help="Language of what is printed here: en or de.")] = "en",
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Print the address, and open no browser.")] = False,
) -> None:
    """Open the page for makers, producers and officers in the browser; Ctrl-C ends it."""
    from lasersafe.page.server import serve

    serve(port, language, say, browser=not no_browser)
