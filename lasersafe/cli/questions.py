"""The commands that answer a question: of a beam, of an input, of what a file may say; and the page."""

from __future__ import annotations

from typing import Annotated

from typer import Option

from lasersafe.ask import (
    EyewearQuestion,
    LimitQuestion,
    PlanQuestion,
    ReachQuestion,
    SolveQuestion,
    SweepQuestion,
)
from lasersafe.cli.options import (
    CaseFile,
    Json,
    Replace,
    app,
    asking,
    print_json,
    say,
    tell,
)


@app.command()
@asking(LimitQuestion)
def limit(question: LimitQuestion, as_json: Json = False) -> None:
    """Print the exposure limits of eye and skin."""
    from lasersafe.ask.beams import limit_answer, limit_text

    data = limit_answer(question)
    tell(as_json, data, limit_text(data))


@app.command()
@asking(ReachQuestion)
def reach(question: ReachQuestion, replace: Replace = False, as_json: Json = False) -> None:
    """Print how far a beam exceeds the limits, direct and by scatter."""
    from lasersafe.ask.reach import reach_answer, reach_text, write_drawing

    data = reach_answer(question)
    if question.drawing is not None:
        write_drawing(question.drawing, question, data, replace=replace)
    tell(as_json, data, reach_text(data))


@app.command()
@asking(EyewearQuestion)
def eyewear(question: EyewearQuestion, as_json: Json = False) -> None:
    """Print what eyewear must carry, and judge what is printed on each pair."""
    from lasersafe.ask.eyewear import eyewear_answer, eyewear_text

    data = eyewear_answer(question)
    tell(as_json, data, eyewear_text(data))


@app.command()
def units(as_json: Json = False) -> None:
    """List the units that a case file and the options may use."""
    from lasersafe.quantity import units as known

    rows = known()
    by_dimension: dict[str, list[str]] = {}
    for row in rows:
        by_dimension.setdefault(row.dimension, []).append(row.text)
    data = {"units": [{"unit": row.text, "measures": row.dimension} for row in rows]}
    tell(as_json, data, [f"{dimension}: {', '.join(names)}" for dimension, names in by_dimension.items()])


@app.command()
def schema() -> None:
    """Print the JSON schema of a case file."""
    from lasersafe.models import json_schema

    print_json(json_schema())


@app.command()
def spectators(case: CaseFile, as_json: Json = False) -> None:
    """Print the nearest allowed line on each side, in metres and feet."""
    from lasersafe.ask.printed import spectator_lines

    tell(as_json, *spectator_lines(case))


@app.command()
@asking(PlanQuestion)
def plan(case: CaseFile, question: PlanQuestion, replace: Replace = False, as_json: Json = False) -> None:
    """Draw the plan, the elevation or the barriers of a case that has a scene, to scale."""
    from lasersafe.ask.drawings import write_plan

    tell(as_json, *write_plan(case, question, replace))


@app.command()
@asking(SweepQuestion)
def sweep(case: CaseFile, question: SweepQuestion, replace: Replace = False, as_json: Json = False) -> None:
    """Print the distances over the values of some inputs of a case."""
    from lasersafe.studies.tables import run_sweep

    tell(as_json, *run_sweep(case, question, replace))


@app.command()
@asking(SolveQuestion)
def solve(case: CaseFile, question: SolveQuestion, as_json: Json = False) -> None:
    """Print how far an input may go so that a place needs no protection."""
    from lasersafe.studies.solving import run_solve

    tell(as_json, *run_solve(case, question))


@app.command()
def page(
    port: Annotated[int, Option(help="Port of this computer; the next free one where it is in use.")] = 8642,
    language: Annotated[str, Option(help="Language of what is printed here: en or de.")] = "en",
    no_browser: Annotated[bool, Option("--no-browser", help="Print the address, and open no browser.")] = False,
) -> None:
    """Open the page for makers, producers and officers in the browser; Ctrl-C ends it."""
    from lasersafe.page import serve

    serve(port, language, say, browser=not no_browser)
