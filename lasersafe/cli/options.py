"""The application and the options that several commands share."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional, TypeVar

import typer

from lasersafe.cli.streams import can_hold, say

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Question = TypeVar("Question", bound="DataclassInstance")
app = typer.Typer(
    name="lasersafe",
    help="Laser hazard zones, eyewear and barriers from one case file, printed as a sheet that can be retraced.",
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    epilog="Every result defers to local law and to a qualified laser safety officer.",
)

CaseFile = Annotated[
    Path, typer.Argument(metavar="CASE.toml", help="The case file; - for the standard input.", show_default=False)
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON: SI numbers, the unit in each key.")]
Wavelength = Annotated[str, typer.Option(help="Wavelength, as '1070 nm'.", show_default=False)]
Text = Optional[str]  # noqa: UP045 (typer reads the annotation)
RuleSet = Annotated[Text, typer.Option(help="Rule set; without it both are worked out and the stricter decides.")]
Power = Annotated[Text, typer.Option(help="Continuous power, or the mean power of a train, as '1.5 kW'.")]
PulseEnergy = Annotated[Text, typer.Option(help="Energy of one pulse, as '1 mJ'.")]
PulseDuration = Annotated[Text, typer.Option(help="Duration of one pulse, as '10 ns', or its range, as '2..350 ns'.")]
RepetitionRate = Annotated[
    Text, typer.Option(help="Pulses per second, as '20 kHz' or '20..80 kHz'; 'single': one single pulse.")
]
Divergence = Annotated[Text, typer.Option(help="Full-angle divergence on the same criterion, as '1 mrad'.")]
LensFocalLength = Annotated[
    Text, typer.Option(help="Focal length of a lens in the beam; the diameter is then that at the lens.")
]
BeamDiameter = Annotated[str, typer.Option(help="Beam diameter, as '8 mm'.", show_default=False)]
Criterion = Annotated[
    str, typer.Option(help="What the diameter is measured at: 1/e, 1/e2 or FWHM.", show_default=False)
]
Profile = Annotated[str, typer.Option(help="gaussian or top-hat.")]
PageOutput = Annotated[
    Path, typer.Option("--output", "-o", help="The PDF to write; - for the standard output.", show_default=False)
]
Replace = Annotated[
    bool,
    typer.Option("--replace", help="Replace a file that this command did not write for this case, or that was edited."),
]
Paper = Annotated[Text, typer.Option(help="A4 or Letter; without it, what the case says.")]


def asked(kind: type[Question], options: Mapping[str, Any]) -> Question:
    """Return a question made of the options of a command, which have the names of its fields."""
    return kind(**{one.name: options[one.name] for one in fields(kind)})


def print_json(data: dict[str, Any]) -> None:
    """Print JSON; a number that JSON does not know is a fault of ours."""
    import json

    text = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)
    say(text if can_hold(text) else json.dumps(data, indent=2, allow_nan=False))


def tell(as_json: bool, data: dict[str, Any], words: str | Iterable[str]) -> None:
    """Print an answer: JSON where it is asked for, else its text or its lines."""
    if as_json:
        print_json(data)
    else:
        for line in [words] if isinstance(words, str) else words:
            say(line)
