"""The command line: thin, imports inside the command bodies, one line for every error, exit code 2."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated, Any, Optional

import typer

import lasersafe
from lasersafe.errors import CalcError

app = typer.Typer(
    name="lasersafe",
    help="Laser hazard zones, eyewear and barriers from one case file, printed as a sheet that can be retraced.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    epilog="Every result defers to local law and to a qualified laser safety officer.",
)

CaseFile = Annotated[Path, typer.Argument(metavar="CASE.toml", help="The case file.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Print JSON: SI numbers, the unit in each key.")]
Wavelength = Annotated[str, typer.Option(help="Wavelength, as '1070 nm'.", show_default=False)]
Text = Optional[str]  # noqa: UP045 (typer reads the annotation)
RuleSet = Annotated[Text, typer.Option(help="Rule set; without it both are worked out and the stricter decides.")]
Power = Annotated[Text, typer.Option(help="Continuous power, or the mean power of a train, as '1.5 kW'.")]
PulseEnergy = Annotated[Text, typer.Option(help="Energy of one pulse, as '1 mJ'.")]
PulseDuration = Annotated[Text, typer.Option(help="Duration of one pulse, as '10 ns'.")]
RepetitionRate = Annotated[Text, typer.Option(help="Pulses per second, as '20 kHz'; left out: one single pulse.")]
BeamDiameter = Annotated[str, typer.Option(help="Beam diameter, as '8 mm'.", show_default=False)]
Criterion = Annotated[
    str, typer.Option(help="What the diameter is measured at: 1/e, 1/e2 or FWHM.", show_default=False)
]
Profile = Annotated[str, typer.Option(help="gaussian or top-hat.")]


def _print_json(data: dict[str, Any]) -> None:
    import json

    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"lasersafe {lasersafe.__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    del version


@app.command()
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the case and the sheet are written.")],
) -> None:
    """Write the demo case and its sheet into a folder."""
    from lasersafe.report import write_demo

    for line in write_demo(folder):
        typer.echo(line)


@app.command()
def new(
    case: Annotated[Path, typer.Argument(metavar="CASE.toml", help="The file to write.", show_default=False)],
    template: Annotated[
        Text, typer.Option("--from", help="Name of the starter case; without it the names are listed.")
    ] = None,
    replace: Annotated[bool, typer.Option(help="Overwrite a file that is there.")] = False,
) -> None:
    """Start a case file from a template."""
    from lasersafe.report import start_case

    typer.echo(start_case(case, template, replace))


@app.command()
def check(case: CaseFile, as_json: Json = False) -> None:
    """List all faults of a case file at once, with line numbers."""
    from lasersafe.report import check_lines

    faults, data = check_lines(case)
    if as_json:
        _print_json(data)
    else:
        for line in faults:
            typer.echo(line)
    if data["faults"]:
        raise typer.Exit(2)


@app.command()
def assess(case: CaseFile, as_json: Json = False) -> None:
    """Print the decision block and the table of scenarios of a case."""
    from lasersafe.assessment import assess_file
    from lasersafe.report import assessment_json, assessment_text

    assessment = assess_file(case)
    if as_json:
        _print_json(assessment_json(assessment))
    else:
        typer.echo(assessment_text(assessment))


@app.command()
def sheet(
    case: CaseFile,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PDF to write.", show_default=False)],
    paper: Annotated[Text, typer.Option(help="A4 or Letter; without it, what the case says.")] = None,
    as_json: Json = False,
) -> None:
    """Print the assessment sheet of a case as a PDF."""
    from lasersafe.report import write_case_sheet

    data = write_case_sheet(case, output, paper)
    if as_json:
        _print_json(data)
    else:
        typer.echo(f"{data['verdict']}\nsheet: {data['sheet']}\n{data['caution']}")


@app.command()
def spectators(case: CaseFile, as_json: Json = False) -> None:
    """Print the nearest allowed line on each side, in metres and feet."""
    from lasersafe.report_scene import spectators_json, spectators_text

    data = spectators_json(case)
    if as_json:
        _print_json(data)
    else:
        typer.echo(spectators_text(data))


@app.command()
def plan(
    case: CaseFile,
    output: Annotated[
        Path, typer.Option("--output", "-o", help="The .svg, .png or .pdf to write.", show_default=False)
    ],
    elevation: Annotated[bool, typer.Option("--elevation", help="The elevations instead of the plan.")] = False,
    paper: Annotated[
        Text, typer.Option(help="A4, A3, A2, A1, Letter or Tabloid; without it, what the case says.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Draw the plan or the elevation of a case that has a scene, to scale."""
    from lasersafe.report_plan import plan_text, write_plan

    data = write_plan(case, output, paper, elevation=elevation)
    if as_json:
        _print_json(data)
    else:
        typer.echo(plan_text(data))


@app.command()
def limit(
    wavelength: Wavelength,
    duration: Annotated[str, typer.Option(help="Exposure duration, as '10 s'.", show_default=False)],
    source_angle: Annotated[str, typer.Option(help="Angular subtense of the source.")] = "1.5 mrad",
    rule_set: Annotated[str, typer.Option(help="Rule set.")] = "ICNIRP-2013",
    pulse_duration: PulseDuration = None,
    repetition_rate: RepetitionRate = None,
    exposed_area: Annotated[Text, typer.Option(help="Exposed skin area, as '0.05 m2' (far infrared).")] = None,
    as_json: Json = False,
) -> None:
    """Print the exposure limits of eye and skin."""
    from lasersafe.answers import limit_answer, limit_text

    data = limit_answer(wavelength, duration, source_angle, rule_set, pulse_duration, repetition_rate, exposed_area)
    if as_json:
        _print_json(data)
    else:
        typer.echo(limit_text(data))


@app.command()
def reach(
    wavelength: Wavelength,
    beam_diameter: BeamDiameter,
    criterion: Criterion,
    duration: Annotated[str, typer.Option(help="Exposure duration, as '10 s'.", show_default=False)],
    power: Power = None,
    pulse_energy: PulseEnergy = None,
    pulse_duration: PulseDuration = None,
    repetition_rate: RepetitionRate = None,
    divergence: Annotated[Text, typer.Option(help="Full-angle divergence on the same criterion, as '1 mrad'.")] = None,
    lens_focal_length: Annotated[
        Text, typer.Option(help="Focal length of a lens in the beam; the diameter is then that at the lens.")
    ] = None,
    profile: Profile = "gaussian",
    propagation: Annotated[str, typer.Option(help="hyperbolic or linear.")] = "hyperbolic",
    reflectance: Annotated[str, typer.Option(help="Diffuse reflectance of the lit surface; 1 is the bound.")] = "1",
    scatter: Annotated[str, typer.Option(help="Scatter model: lambert or hemisphere.")] = "lambert",
    limit_eye: Annotated[Text, typer.Option(help="A limit of your own for the eye, as '50.6 W/m2'.")] = None,
    limit_skin: Annotated[Text, typer.Option(help="A limit of your own for the skin.")] = None,
    rule_set: RuleSet = None,
    as_json: Json = False,
) -> None:
    """Print how far a beam exceeds the limits, direct and by scatter."""
    from lasersafe.reach import ReachQuestion, reach_answer, reach_text

    question = ReachQuestion(
        wavelength=wavelength,
        beam_diameter=beam_diameter,
        criterion=criterion,
        duration=duration,
        power=power,
        pulse_energy=pulse_energy,
        pulse_duration=pulse_duration,
        repetition_rate=repetition_rate,
        divergence=divergence,
        lens_focal_length=lens_focal_length,
        profile=profile,
        propagation=propagation,
        reflectance=reflectance,
        scatter=scatter,
        limit_eye=limit_eye,
        limit_skin=limit_skin,
        rule_set=rule_set,
    )
    data = reach_answer(question)
    if as_json:
        _print_json(data)
    else:
        typer.echo(reach_text(data))


@app.command()
def eyewear(
    wavelength: Wavelength,
    beam_diameter: BeamDiameter,
    criterion: Criterion,
    power: Power = None,
    pulse_energy: PulseEnergy = None,
    pulse_duration: PulseDuration = None,
    repetition_rate: RepetitionRate = None,
    duration: Annotated[
        Text, typer.Option(help="Exposure duration; without it 30000 s below 400 nm and 10 s elsewhere.")
    ] = None,
    profile: Profile = "gaussian",
    wearing: Annotated[Text, typer.Option(help="The marking on the eyewear, as '1064 D LB6'.")] = None,
    rule_set: RuleSet = None,
    as_json: Json = False,
) -> None:
    """Print what eyewear must carry, and judge a marking."""
    from lasersafe.answers import EyewearQuestion, eyewear_answer, eyewear_text

    question = EyewearQuestion(
        wavelength=wavelength,
        beam_diameter=beam_diameter,
        criterion=criterion,
        power=power,
        pulse_energy=pulse_energy,
        pulse_duration=pulse_duration,
        repetition_rate=repetition_rate,
        duration=duration,
        profile=profile,
        wearing=wearing,
        rule_set=rule_set,
    )
    data = eyewear_answer(question)
    if as_json:
        _print_json(data)
    else:
        typer.echo(eyewear_text(data))


@app.command()
def units(as_json: Json = False) -> None:
    """List the units that a case file and the options may use."""
    from lasersafe.quantity import units as known

    rows = known()
    if as_json:
        _print_json({"units": [{"unit": r.text, "measures": r.dimension} for r in rows]})
    else:
        by_dimension: dict[str, list[str]] = {}
        for row in rows:
            by_dimension.setdefault(row.dimension, []).append(row.text)
        for dimension, names in by_dimension.items():
            typer.echo(f"{dimension}: {', '.join(names)}")


@app.command()
def schema() -> None:
    """Print the JSON schema of a case file."""
    from lasersafe.models import json_schema

    _print_json(json_schema())


def main() -> None:
    """Run the command line; every error that a user can cause is one message and exit code 2."""
    try:
        app()
    except CalcError as error:
        sys.stderr.write(f"error: {error}\n")
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except Exception as error:
        if not isinstance(error, OSError):
            fault = f"{type(error).__name__}: {error}"
            sys.stderr.write(f"error: fault inside lasersafe, please report it with the input: {fault}\n")
            sys.exit(3)
        name = f"{error.filename}: " if error.filename else ""
        sys.stderr.write(f"error: {name}{error.strerror or error}\n")
        sys.exit(2)


if __name__ == "__main__":
    main()
