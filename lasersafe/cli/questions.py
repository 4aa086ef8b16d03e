"""Commands that answer a question: of a beam, of a scene, of one input of a case; and the page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from typer import Option

from lasersafe.cli.options import (
    BeamDiameter,
    CaseFile,
    Criterion,
    Divergence,
    Json,
    LensFocalLength,
    Power,
    Profile,
    PulseDuration,
    PulseEnergy,
    RepetitionRate,
    Replace,
    RuleSet,
    Text,
    Wavelength,
    app,
    asked,
    print_json,
    say,
    tell,
)


@app.command()
def limit(
    wavelength: Wavelength,
    duration: Annotated[str, Option(help="Exposure duration, as '10 s'.", show_default=False)],
    source_angle: Annotated[str, Option(help="Angular subtense of the source.")] = "1.5 mrad",
    rule_set: Annotated[str, Option(help="Rule set.")] = "ICNIRP-2013",
    pulse_duration: PulseDuration = None,
    repetition_rate: RepetitionRate = None,
    exposed_area: Annotated[
        Text, Option(help="Exposed skin area, as '0.05 m2' (far infrared). Left out: a large one.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Print the exposure limits of eye and skin."""
    from lasersafe.ask.beams import limit_answer, limit_text

    data = limit_answer(wavelength, duration, source_angle, rule_set, pulse_duration, repetition_rate, exposed_area)
    tell(as_json, data, limit_text(data))


@app.command()
def reach(
    wavelength: Wavelength,
    beam_diameter: BeamDiameter,
    criterion: Criterion,
    power: Power = None,
    pulse_energy: PulseEnergy = None,
    pulse_duration: PulseDuration = None,
    repetition_rate: RepetitionRate = None,
    duration: Annotated[
        Text, Option(help="Exposure duration; without it, as in a case, by way and wavelength.")
    ] = None,
    divergence: Divergence = None,
    lens_focal_length: LensFocalLength = None,
    profile: Profile = "gaussian",
    propagation: Annotated[str, Option(help="hyperbolic or linear.")] = "hyperbolic",
    reflectance: Annotated[str, Option(help="Diffuse reflectance of the lit surface; 1 is the bound.")] = "1",
    scatter: Annotated[str, Option(help="Scatter model: lambert or hemisphere.")] = "lambert",
    limit_eye: Annotated[Text, Option(help="A limit of your own for the eye, as '50.6 W/m2'.")] = None,
    limit_skin: Annotated[Text, Option(help="A limit of your own for the skin.")] = None,
    limit_aperture: Annotated[
        Text, Option(help="What that limit is averaged over, as '7 mm'; without it the smallest of the rule sets.")
    ] = None,
    rule_set: RuleSet = None,
    drawing: Annotated[
        Path | None, Option(help="The drawing to write, .svg: the beam from the side, limits and people.")
    ] = None,
    replace: Replace = False,
    as_json: Json = False,
) -> None:
    """Print how far a beam exceeds the limits, direct and by scatter."""
    options = locals()
    from lasersafe.ask.beams import ReachQuestion, reach_answer, reach_text

    question = asked(ReachQuestion, options)
    data = reach_answer(question)
    if drawing is not None:
        from lasersafe.ask.drawings import write_drawing

        write_drawing(drawing, question, data, replace=replace)
    tell(as_json, data, reach_text(data))


@app.command()
def eyewear(
    wavelength: Annotated[str, Option(help="Wavelength, as '1064 nm' or '1064 nm +- 5 nm'.", show_default=False)] = "",
    beam_diameter: Annotated[
        str, Option(help="Beam diameter at the eyewear, as '8 mm', or 'unknown'.", show_default=False)
    ] = "",
    criterion: Annotated[
        str, Option(help="What it is measured at: 1/e, 1/e2 or FWHM; left out: the strictest.", show_default=False)
    ] = "",
    power: Power = None,
    pulse_energy: PulseEnergy = None,
    pulse_duration: PulseDuration = None,
    repetition_rate: RepetitionRate = None,
    continuous: Annotated[
        bool, Option("--continuous", help="The laser cannot pulse; needed where no pulse data are given.")
    ] = False,
    at: Annotated[
        Text,
        Option(
            help="Nearest distance of a face from the last optic, as '0.5 m', or 'unknown'; the beam diameter is then "
            "that at the last optic, and the divergence or the lens is needed."
        ),
    ] = None,
    divergence: Divergence = None,
    lens_focal_length: LensFocalLength = None,
    duration: Annotated[
        Text, Option(help="Exposure duration; without it 30000 s up to 400 nm and 10 s elsewhere.")
    ] = None,
    profile: Profile = "gaussian",
    wearing: Annotated[
        list[str], Option(help="What is printed on a pair, as '1064 D LB6 + R LB7'; once for each.", show_default=False)
    ] = [],  # noqa: B006
    rule_set: RuleSet = None,
    as_json: Json = False,
) -> None:
    """Print what eyewear must carry, and judge what is printed on each pair."""
    options = locals()
    from lasersafe.ask.eyewear import EyewearQuestion, eyewear_answer, eyewear_text

    data = eyewear_answer(asked(EyewearQuestion, options))
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
def plan(
    case: CaseFile,
    output: Annotated[
        Path,
        Option(
            "--output",
            "-o",
            help="The .svg, .png or .pdf to write; - for .svg to the standard output.",
            show_default=False,
        ),
    ],
    elevation: Annotated[bool, Option("--elevation", help="The elevations instead of the plan.")] = False,
    barriers: Annotated[bool, Option("--barriers", help="The irradiance on each barrier instead of the plan.")] = False,
    paper: Annotated[Text, Option(help="A4, A3, A2, A1, Letter or Tabloid; without it, what the case says.")] = None,
    every: Annotated[
        bool, Option("--all", help="Write the further pages of an .svg or .png, too, to files with -2, -3.")
    ] = False,
    replace: Replace = False,
    as_json: Json = False,
) -> None:
    """Draw the plan, the elevation or the barriers of a case that has a scene, to scale."""
    from lasersafe.ask.drawings import write_plan

    choices = {"elevation": elevation, "barriers": barriers, "every": every, "replace": replace}
    tell(as_json, *write_plan(case, output, paper, **choices))


Texts = list[str] | None
File = Path | None
LaserName = Annotated[Text, Option("--laser", help="Name of the laser, where the case has several.")]
SetupName = Annotated[Text, Option("--setup", help="Name of the set-up; without it the fitted one.")]


@app.command()
def sweep(
    case: CaseFile,
    vary: Annotated[
        Texts,
        Option(
            help="FIELD=LOW..HIGH:COUNT, ':log' behind it for equal ratios, or FIELD='A|B|C'; several make a grid.",
            show_default=False,
        ),
    ] = None,
    laser: LaserName = None,
    setup: SetupName = None,
    at: Annotated[Text, Option(help="Add the optical density for the eye at this distance, as '6 m'.")] = None,
    output: Annotated[File, Option("--output", "-o", help="The table to write: .csv, .json or .parquet.")] = None,
    drawing: Annotated[File, Option(help="The drawing to write: .svg, .png or .pdf; one or two inputs.")] = None,
    show: Annotated[Text, Option(help="What the drawing shows, as 'direct eye'.")] = None,
    replace: Replace = False,
    as_json: Json = False,
) -> None:
    """Print the distances over the values of some inputs of a case."""
    options = locals()
    from lasersafe.studies.commands import SweepQuestion, run_sweep

    tell(as_json, *run_sweep(asked(SweepQuestion, options)))


@app.command()
def solve(
    case: CaseFile,
    wanted: Annotated[
        Text, Option("--for", help="The input that is asked for, as laser.power.", show_default=False)
    ] = None,
    at: Annotated[Text, Option(help="The nearest place of the person, as '6 m'.", show_default=False)] = None,
    eyewear: Annotated[Text, Option(help="Marking of the eyewear that is worn, as '1064 D LB6'.")] = None,
    density: Annotated[Text, Option(help="Optical density that is worn, as 5, the damage class aside.")] = None,
    way: Annotated[Texts, Option(help="direct, mirror or scatter; without it all three.")] = None,
    tissue: Annotated[Texts, Option(help="eye or skin; without it both.")] = None,
    between: Annotated[Text, Option(help="The range to search, as '1 W..2 kW'.")] = None,
    laser: LaserName = None,
    setup: SetupName = None,
    as_json: Json = False,
) -> None:
    """Print how far an input may go so that a place needs no protection."""
    options = locals()
    from lasersafe.studies.commands import SolveQuestion, run_solve

    tell(as_json, *run_solve(asked(SolveQuestion, options)))


@app.command()
def page(
    port: Annotated[int, Option(help="Port of this computer; the next free one where it is in use.")] = 8642,
    language: Annotated[str, Option(help="Language of what is printed here: en or de.")] = "en",
    no_browser: Annotated[bool, Option("--no-browser", help="Print the address, and open no browser.")] = False,
) -> None:
    """Open the page for makers, producers and officers in the browser; Ctrl-C ends it."""
    from lasersafe.page.server import serve

    serve(port, language, say, browser=not no_browser)
