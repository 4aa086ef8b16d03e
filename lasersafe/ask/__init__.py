"""Questions as they are typed: each field is an option of a command, with what is said of it there; nothing heavy.

A field that may be left out is None then, or what usually holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

Text = str | None
Texts = list[str] | None
File = Path | None


_LANGUAGE = "Language of the answer: en or de."
_LENGTH = "Duration of one pulse, as '10 ns', or its range, as '2..350 ns'."
_RATE = "Pulses per second, as '20 kHz' or '20..80 kHz'; 'single': one single pulse."


@dataclass(frozen=True, kw_only=True)
class LimitQuestion:
    """A question for the limits of eye and skin at one point."""

    wavelength: Annotated[str, "Wavelength, as '1070 nm'."]
    duration: Annotated[str, "Exposure duration, as '10 s'."]
    source_angle: Annotated[str, "Angular subtense of the source."] = "1.5 mrad"
    rule_set: Annotated[str, "Rule set."] = "ICNIRP-2013"
    pulse_duration: Annotated[
        Text, "Duration of one pulse of a train, as '10 ns'; that of one single pulse is --duration."
    ] = None
    repetition_rate: Annotated[Text, "Pulses of the train per second, as '20 kHz'."] = None
    exposed_area: Annotated[Text, "Exposed skin area, as '0.05 m2' (far infrared). Left out: a large one."] = None
    language: Annotated[str, _LANGUAGE] = "en"


@dataclass(frozen=True, kw_only=True)
class BeamQuestion:
    """The beam as typed; every field is text."""

    wavelength: Annotated[str, "Wavelength, as '1070 nm'."]
    beam_diameter: Annotated[str, "Beam diameter, as '8 mm'."]
    criterion: Annotated[str, "What the diameter is measured at: 1/e, 1/e2 or FWHM."]
    power: Annotated[Text, "Continuous power, or the mean power of a train, as '1.5 kW'."] = None
    pulse_energy: Annotated[Text, "Energy of one pulse, as '1 mJ'."] = None
    pulse_duration: Annotated[Text, _LENGTH] = None
    repetition_rate: Annotated[Text, _RATE] = None
    divergence: Annotated[Text, "Full-angle divergence on the same criterion, as '1 mrad'."] = None
    lens_focal_length: Annotated[Text, "Focal length of a lens in the beam; the diameter is then that at the lens."] = (
        None
    )
    profile: Annotated[str, "gaussian or top-hat."] = "gaussian"
    rule_set: Annotated[Text, "Rule set; without it both are worked out and the stricter decides."] = None
    language: Annotated[str, _LANGUAGE] = "en"


@dataclass(frozen=True, kw_only=True)
class ReachQuestion(BeamQuestion):
    """A question for distances."""

    duration: Annotated[Text, "Exposure duration; without it, as in a case, by way and wavelength."] = None
    propagation: Annotated[str, "hyperbolic or linear."] = "hyperbolic"
    reflectance: Annotated[str, "Diffuse reflectance of the lit surface; 1 is the bound."] = "1"
    scatter: Annotated[str, "Scatter model: lambert or hemisphere."] = "lambert"
    limit_eye: Annotated[Text, "A limit of your own for the eye, as '50.6 W/m2'."] = None
    limit_skin: Annotated[Text, "A limit of your own for the skin."] = None
    limit_aperture: Annotated[
        Text, "What that limit is averaged over, as '7 mm'; without it the smallest of the rule sets."
    ] = None
    drawing: Annotated[File, "The drawing to write, .svg: the beam from the side, limits and people."] = None


@dataclass(frozen=True, kw_only=True)
class EyewearQuestion(BeamQuestion):
    """A question for eyewear; what was not typed is "" or None."""

    wavelength: Annotated[str, "Wavelength, as '1064 nm' or '1064 nm +- 5 nm'."] = ""
    beam_diameter: Annotated[str, "Beam diameter at the eyewear, as '8 mm', or 'unknown'."] = ""
    criterion: Annotated[str, "What it is measured at: 1/e, 1/e2 or FWHM; left out: the strictest."] = ""
    continuous: Annotated[bool, "The laser cannot pulse; needed where no pulse data are given."] = False
    at: Annotated[
        Text,
        "Nearest distance of a face from the last optic, as '0.5 m', or 'unknown'; the beam diameter is then "
        "that at the last optic, and the divergence or the lens is needed.",
    ] = None
    duration: Annotated[Text, "Exposure duration; without it 30000 s up to 400 nm and 10 s elsewhere."] = None
    wearing: Annotated[Texts, "What is printed on a pair, as '1064 D LB6 + R LB7'; once for each."] = None


_LASER = "Name of the laser, where the case has several."
_SETUP = "Name of the set-up; without it the fitted one."


@dataclass(frozen=True, kw_only=True)
class SweepQuestion:
    """A sweep: inputs and their values, and the files to write."""

    vary: Annotated[
        Texts,
        "FIELD=LOW..HIGH:COUNT, ':log' behind it for equal ratios, or FIELD='A|B|C'; several make a grid.",
    ] = None
    laser: Annotated[Text, _LASER] = None
    setup: Annotated[Text, _SETUP] = None
    output: Annotated[File, "The table to write: .csv, .json or .parquet.", "--output", "-o"] = None
    drawing: Annotated[File, "The drawing to write: .svg, .png or .pdf; one or two inputs."] = None
    show: Annotated[Text, "What the drawing shows, as 'direct eye'."] = None


@dataclass(frozen=True, kw_only=True)
class SolveQuestion:
    """A question backwards: the input that is asked for, and what has to hold."""

    wanted: Annotated[Text, "The input that is asked for, as laser.power.", "--for"] = None
    at: Annotated[Text, "The nearest place of the person, as '6 m'."] = None
    eyewear: Annotated[Text, "Marking of the eyewear that is worn, as '1064 D LB6'."] = None
    way: Annotated[Texts, "direct, mirror or scatter; without it all three."] = None
    tissue: Annotated[Texts, "eye or skin; without it both."] = None
    between: Annotated[Text, "The range to search, as '1 W..2 kW'."] = None
    laser: Annotated[Text, _LASER] = None
    setup: Annotated[Text, _SETUP] = None


@dataclass(frozen=True, kw_only=True)
class PlanQuestion:
    """What is to be drawn of a scene, and on what."""

    output: Annotated[Path, "The .svg, .png or .pdf to write; - for .svg to the standard output.", "--output", "-o"]
    elevation: Annotated[bool, "The elevations instead of the plan."] = False
    barriers: Annotated[bool, "The irradiance on each barrier instead of the plan."] = False
    paper: Annotated[Text, "A4, A3, A2, A1, Letter or Tabloid; without it, what the case says."] = None
    every: Annotated[bool, "Write the further pages of an .svg or .png, too, to files with -2, -3.", "--all"] = False


@dataclass(frozen=True, kw_only=True)
class NewQuestion:
    """What is known of a new case beforehand; what is None is asked."""

    template: Annotated[
        Text, "A starter case, as handheld-welder, or demo, the long example; then nothing is asked.", "--from"
    ] = None
    laser: Annotated[
        Texts, "Kind of laser, and what is known of it, as 'blue diode, 5 W, 2 mrad'; may be given several times."
    ] = None
    crew: Annotated[Text, "How many and how near, as '6 at 2 m' or '1 camera at 3 m'. Asked for without it."] = None
    guests: Annotated[Text, "The same of the guests, as '40 at 8 m'."] = None
    yes: Annotated[bool, "Ask nothing: take what is usual, marked 'replace me' in the file."] = False
    language: Annotated[str, "Language of the questions and of the case: en or de."] = "en"
    replace: Annotated[
        bool, "Overwrite a file that is there, unless it is a case that was edited.", "--replace/--no-replace"
    ] = False


@dataclass(frozen=True, kw_only=True)
class SignQuestion:
    """Who signs, as what and under which conditions; or which certificate signs which sheet instead."""

    role: Annotated[str, "assessor, laser_safety_officer, operator or venue."] = ""
    name: Annotated[str, "Who signs."] = ""
    conditions: Annotated[str, "Under which conditions."] = ""
    expires: Annotated[str, "Last day on which the signature holds, as 2027-03-01."] = ""
    fingerprint: Annotated[str, "Beginning of the fingerprint on the sheet that was read."] = ""
    again: Annotated[bool, "Sign anew what the same role has signed."] = False
    for_them: Annotated[str, "Why somebody else signs than the case names for the role; it is printed."] = ""
    certificate: Annotated[File, "PKCS#12 file: put a PDF signature on --sheet instead."] = None
    sheet: Annotated[File, "The sheet that the certificate signs."] = None
    password_fd: Annotated[int | None, "File descriptor to read the password of the certificate from."] = None


@dataclass(frozen=True, kw_only=True)
class BatchQuestion:
    """Where the results of many cases go, and how they are made."""

    output: Annotated[
        list[Path] | None,
        "Result, .csv or .jsonl; may be given twice. The same command again goes on where it was stopped, and does "
        "again what changed. Without it: CSV to the terminal.",
        "--output",
        "-o",
    ] = None
    processes: Annotated[int | None, "How many processes work; without it, one for each core."] = None
    decimal_comma: Annotated[bool, "Write 1,5 and semicolons, for spreadsheets in such a language."] = False
    cases: Annotated[File, "Folder for the case file of each row that was assessed."] = None
    template: Annotated[File, "Only write an inventory to start from, with explanations, to this .csv."] = None
    replace: Annotated[bool, "Work everything out anew, and replace what is there.", "--replace/--no-replace"] = False
