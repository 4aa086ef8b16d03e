"""The commands that answer a question: of a beam, of an input, of what a file may say; and the page."""

from __future__ import annotations

from typing import Annotated

from typer import Option

from lasersafe import ask
from lasersafe.cli import options


@options.command(ask.LimitQuestion)
def limit(question: ask.LimitQuestion) -> options.Answer:
    """Print the exposure limits of eye and skin."""
    from lasersafe.ask.beams import limit_answer

    return limit_answer(question)


@options.command(ask.ReachQuestion)
def reach(question: ask.ReachQuestion, replace: options.Replace = False) -> options.Answer:
    """Print how far a beam exceeds the limits, direct and by scatter."""
    from lasersafe.ask.reach import reach_answer

    return reach_answer(question, replace)


@options.command(ask.EyewearQuestion)
def eyewear(question: ask.EyewearQuestion) -> options.Answer:
    """Print what eyewear must carry, and judge what is printed on each pair."""
    from lasersafe.ask.eyewear import eyewear_answer, eyewear_text

    data = eyewear_answer(question)
    return data, eyewear_text(data, question.language)


@options.command()
def units() -> options.Answer:
    """List the units that a case file and the options may use."""
    from lasersafe.quantity import units as known

    rows = known()
    by_dimension: dict[str, list[str]] = {}
    for row in rows:
        by_dimension.setdefault(row.dimension, []).append(row.text)
    data = {"units": [{"unit": row.text, "measures": row.dimension} for row in rows]}
    return data, [f"{dimension}: {', '.join(names)}" for dimension, names in by_dimension.items()]


@options.app.command()
def schema() -> None:
    """Print the JSON schema of a case file."""
    from lasersafe.models import json_schema

    options.print_json(json_schema())


@options.command()
def spectators(case: options.CaseFile) -> options.Answer:
    """Print the nearest allowed line on each side, in metres and feet."""
    from lasersafe.ask.printed import spectator_lines

    return spectator_lines(case)


@options.command(ask.PlanQuestion)
def plan(case: options.CaseFile, question: ask.PlanQuestion, replace: options.Replace = False) -> options.Answer:
    """Draw the plan, the elevation or the barriers of a case that has a scene, to scale."""
    from lasersafe.ask.drawings import write_plan

    return write_plan(case, question, replace)


@options.command(ask.SweepQuestion)
def sweep(case: options.CaseFile, question: ask.SweepQuestion, replace: options.Replace = False) -> options.Answer:
    """Print the distances over the values of some inputs of a case."""
    from lasersafe.studies.tables import run_sweep

    return run_sweep(case, question, replace)


@options.command(ask.SolveQuestion)
def solve(case: options.CaseFile, question: ask.SolveQuestion) -> options.Answer:
    """Print how far an input may go so that a place needs no protection."""
    from lasersafe.studies.solving import run_solve

    return run_solve(case, question)


@options.app.command()
def page(
    port: Annotated[int, Option(help="Port of this computer; the next free one where it is in use.")] = 8642,
    language: Annotated[str, Option(help="Language of what is printed here: en or de.")] = "en",
    no_browser: Annotated[bool, Option("--no-browser", help="Print the address, and open no browser.")] = False,
) -> None:
    """Open the page for makers, producers and officers in the browser; Ctrl-C ends it."""
    from lasersafe.page import serve

    serve(port, language, options.say, browser=not no_browser)
