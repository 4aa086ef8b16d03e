"""Case files as a user writes them: starter cases, every fault with its line, what is kept for the sheet."""

from __future__ import annotations

import copy
import json
import os
import pickle
import re
import subprocess
import sys
import tomllib
from datetime import date
from pathlib import Path

import pytest
from pydantic import ValidationError

from lasersafe import models
from lasersafe.data import load_toml, templates_path
from lasersafe.errors import CaseError, Fault
from lasersafe.models import (
    Case,
    Knob,
    SIValue,
    canonical,
    case_from,
    json_schema,
    parse_case,
    read_case,
    typed_inputs,
)
from lasersafe.models.values import Axes
from tests.behaviour.command import run
from tools.case_fields import describe_fields


def check_case(path: str | os.PathLike[str]) -> list[Fault]:
    try:
        read_case(path)
    except CaseError as error:
        return error.faults
    return []


TEMPLATES = sorted(templates_path("cases").glob("*.toml"))
DEMO = templates_path("cases", "demo.toml").read_text(encoding="utf-8")

SMALL = """\
title = "Test"
place = "Hall"
dates = "today"
review_by = 2026-11-14
[in_charge]
assessor = "A"
laser_safety_officer = "B"
operator = "C"
venue = "D"
[[laser]]
name = "L"
class_label = "4"
wavelength = "1064 nm"
[laser.emission]
kind = "continuous"
power = "10 W"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "5 mm"
divergence = "1 mrad"
criterion = "1/e2"
[[person]]
name = "P"
role = "crew"
distance = "3 m"
"""
CONTINUOUS = 'kind = "continuous"\npower = "10 W"'
TRAIN = 'kind = "pulse train"\npulse_duration = "10 ns"\nrepetition_rate = "20 kHz"\n'
FREE_BEAM = 'kind = "collimated"\nbeam_diameter = "5 mm"\ndivergence = "1 mrad"\ncriterion = "1/e2"'
LENS = 'kind = "lens"\nbeam_diameter = "5 mm"\ncriterion = "1/e2"\nfocal_length = "100 mm"\n'
FIBRE = (
    'kind = "fibre multimode"\nnumerical_aperture = 0.22\nnumerical_aperture_criterion = "5 %"\n'
    + 'core_diameter = "50 um"'
)


def faults(*changes: tuple[str, str], text: str = SMALL) -> list[str]:
    """Return the faults of the small case after replacements, each of which must find its text."""
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    try:
        parse_case(text)
    except CaseError as error:
        return [str(fault) for fault in error.faults]
    return []


def one_fault(*changes: tuple[str, str]) -> str:
    found = faults(*changes)
    assert len(found) == 1, found
    return found[0]


# --- starter cases ---------------------------------------------------------------------------------------------------


def test_there_is_a_starter_case_for_each_kind_of_laser():
    assert [path.stem for path in TEMPLATES] == [
        "co2-cutter", "demo", "handheld-welder", "nanosecond-marker", "ultraviolet", "visible-diode",
    ]  # fmt: skip


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_starter_case_is_complete(path):
    assert check_case(path) == []
    case = read_case(path)
    roles = {person.role for person in case.person}
    assert {"operator", "spectator", "crew"} <= roles
    assert len(case.surface) >= 2
    assert case.barrier
    assert case.control
    assert case.strike_out
    assert [one.fitted for laser in case.laser for one in laser.setup].count(True) == len(case.laser)
    assert all(surface.reflectance_source for surface in case.surface if surface.reflectance < 1)


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_starter_case_names_only_hazards_of_the_wording(path):
    known = {row["key"] for row in load_toml(templates_path("wording", "en", "other_hazards.toml"))["hazard"]}
    assert set(read_case(path).other_hazards.keys) <= known


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_starter_case_explains_itself(path):
    text = path.read_text(encoding="utf-8")
    assert text.startswith("# ")
    assert "lasersafe check" in text
    assert len(re.findall(r"# \w", text)) > 8


def test_the_welder_can_be_read_as_the_documentation_says():
    case = read_case(templates_path("cases", "handheld-welder.toml"))
    (welder,) = case.laser
    assert [one.kind for one in welder.setup] == ["lens", "lens", "collimated"]
    assert (welder.wavelength, welder.wavelength.typed, welder.wavelength.unit) == (1.07e-6, "1070 nm", "m")
    assert welder.handheld
    assert (welder.emission.kind, welder.emission.power.high) == ("continuous", 1500.0)
    assert welder.fitted_setup.name == "Long-focus lens, 400 mm"
    assert welder.fitted_setup.beam_diameter.pair == (0.0085, 0.0085)
    assert case.review_by == date(2027, 11, 13)
    assert case.person[-1].distance.typed == "8 m"
    assert case.surface[1].reflectance == 1.0
    assert case.settings.propagation == "hyperbolic"


def test_the_marker_has_two_knobs():
    marker = read_case(templates_path("cases", "nanosecond-marker.toml")).laser[0].emission
    assert marker.pulse_duration.span == (1e-8, 2e-7)
    assert marker.pulse_duration.typed == "10 ns to 200 ns"
    assert (marker.repetition_rate.turnable, marker.mean_power.turnable) == (True, False)


# --- faults ----------------------------------------------------------------------------------------------------------


def test_the_small_case_is_good():
    assert faults() == []


def test_all_faults_are_reported_at_once_with_their_lines():
    found = faults(
        ('title = "Test"', 'title = ""\ntitel = "Test"'),
        ('wavelength = "1064 nm"', 'wavelength = "150 nm"'),
        ('power = "10 W"', 'power = "-5 W"'),
        ('divergence = "1 mrad"\n', ""),
        ('criterion = "1/e2"', 'criterion = "1/e3"'),
        ('role = "crew"', 'role = "crow"'),
        ('distance = "3 m"', 'distance = "3,5 m"\nlaser = "M"\nbriefed = "yes"'),
    )
    assert [fault.partition(": ")[0] for fault in found] == [
        f"line {n}" for n in (1, 2, 14, 17, 18, 22, 25, 26, 27, 28)
    ]
    assert [fault.split(": ")[1] for fault in found] == [
        "title", "titel", "laser[1].wavelength", "laser[1].emission.power", "laser[1].setup[1].divergence",
        "laser[1].setup[1].criterion", "person[1].role", "person[1].distance", "person[1].laser", "person[1].briefed",
    ]  # fmt: skip
    assert "did you mean 'title'?" in found[1]
    assert "did you mean 'crew'?" in found[6]
    assert found[7].endswith("'3,5 m': write the decimal point as '.', as in '3.5 m'")


def test_the_error_lists_all_faults_below_its_first_line(tmp_path):
    path = tmp_path / "case.toml"
    path.write_text(SMALL.replace('"10 W"', '"0 W"').replace('"3 m"', '"3"'), encoding="utf-8")
    with pytest.raises(CaseError) as error:
        read_case(path)
    lines = str(error.value).splitlines()
    assert lines[0] == f"{path}: 2 faults"
    assert [line.split(":")[0] for line in lines[1:]] == ["  line 16", "  line 26"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"10 W"', '"0 W"', "line 16: laser[1].emission.power: '0 W': must be above 0 W and at most 1 MW"),
        ('"10 W"', '"-1 W"', "line 16: laser[1].emission.power: '-1 W': must be above 0 W and at most 1 MW"),
        (
            '"10 W"',
            '"10 MW"',
            "line 16: laser[1].emission.power: '10 MW': did you mean '10 mW'? a continuous or mean power "
            "above 1 MW is not accepted",
        ),
        (
            '"10 W"',
            "10",
            "line 16: laser[1].emission.power: 10: write number and unit together, in quotes, as in '1.5 kW'",
        ),
        (
            '"10 W"',
            '["10 W", "5 W"]',
            "line 16: laser[1].emission.power: '10 W' to '5 W': write the smaller end first",
        ),
        (
            '"10 W"',
            '["10 W"]',
            "line 16: laser[1].emission.power: ['10 W']: a range has two ends, as in ['10 ns', '200 ns']",
        ),
        (
            '"1064 nm"',
            '"1064 um"',
            "line 13: laser[1].wavelength: '1064 um': must be 180 nm or more, and at most 1 mm; the limit "
            "tables of both rule sets cover no other light",
        ),
        (
            '"1064 nm"',
            '"179.9 nm"',
            "line 13: laser[1].wavelength: '179.9 nm': must be 180 nm or more, and at most 1 mm; the limit "
            "tables of both rule sets cover no other light",
        ),
        ('"1 mrad"', '"1 rad"', None),
        (
            '"1 mrad"',
            '"1.5 rad"',
            "line 21: laser[1].setup[1].divergence: '1.5 rad': did you mean '1.5 mrad'? a divergence above "
            "1 rad is not accepted",
        ),
        (
            '"1 mrad"',
            '"0.27 mrad"',
            "line 21: laser[1].setup[1].divergence: 0.27 mrad is below the diffraction limit: light of 1064 "
            "nm with a waist of 5.00 mm (1/e2) spreads by at least 271 urad on this criterion; check "
            "criterion, unit and diameter",
        ),
        (
            '"1 mrad"',
            '["1 mrad", "0.1 mrad"]',
            "line 21: laser[1].setup[1].divergence: 0.1 mrad is below the diffraction limit: light of 1064 "
            "nm with a waist of 5.00 mm (1/e2) spreads by at least 271 urad on this criterion; check "
            "criterion, unit and diameter",
        ),
        (
            '"1 mrad"',
            '["1 mrad", "2 mrad", "3 mrad"]',
            "line 21: laser[1].setup[1].divergence: ['1 mrad', '2 mrad', '3 mrad']: an elliptical beam has two "
            "axes, as in ['3 mm', '5 mm']",
        ),
        (
            'criterion = "1/e2"\n',
            "",
            "line 17: laser[1].setup[1].criterion: missing; write criterion: where on the profile the diameters and "
            "the divergence were read: '1/e', '1/e2' or 'FWHM'; it is never guessed, the data sheet names it "
            "(most give 1/e2, German safety papers 1/e, called d63)",
        ),
        (
            'divergence = "1 mrad"\n',
            "",
            "line 17: laser[1].setup[1].divergence: missing; write divergence: it is never guessed: take it from the "
            "data sheet, or have it measured; behind a lens use kind = 'lens', where it follows from beam "
            "diameter and focal length; write the full angle, as '3 mrad'",
        ),
        (
            'criterion = "1/e2"',
            'criterion = "1/e2"\nwaist_at = "-10 m"',
            "line 20: laser[1].setup[1].beam_diameter: 5 mm is less than the 10.0 mm that the divergence "
            "alone makes between waist_at and measured_at; check divergence and places",
        ),
        (
            'kind = "collimated"',
            'kind = "lense"',
            "line 17: laser[1].setup[1]: kind = 'lense' is not a kind; did you mean 'lens'? known here: "
            "'collimated', 'lens', 'fibre multimode', 'fibre single mode'",
        ),
        (
            'kind = "collimated"\n',
            "",
            "line 17: laser[1].setup[1]: kind is missing; write a table [[laser.setup]] with kind = "
            "'collimated', 'lens', 'fibre multimode' or 'fibre single mode', or say what the laser is like, as like = "
            "'hand-held welder'",
        ),
        (
            'kind = "continuous"\n',
            "",
            "line 14: laser[1].emission: kind is missing; write a table [laser.emission] with kind = "
            "'continuous', 'single pulse', 'pulse train', 'pulse list' or 'mode table'",
        ),
        (
            "[[person]]",
            "[person]",
            "line 23: person: several may be given: write the heading in double brackets, as [[person]]",
        ),
        ('role = "crew"', 'role = "crew"\ntime = "8 h"\ntime_reason = "a shift"', None),
        (
            'role = "crew"',
            'role = "crew"\ntime = "9 h"\ntime_reason = "a shift"',
            "line 26: person[1].time: '9 h': must be 100 fs or more, and at most 30000 s; the limit tables "
            "end at 30 000 s, which stands for any longer shift: '30000 s'",
        ),
        (
            'role = "crew"',
            'role = "crew"\ntime = "5 s"',
            "line 23: person[1].time_reason: missing; say why the usual time does not fit, it is printed "
            "beside the time",
        ),
        (
            '"3 m"',
            '"0 m"',
            "line 26: person[1].distance: '0 m': must be 1 mm or more, and at most 1000 km; nearer than 1 "
            "mm is inside the optics",
        ),
        (
            "2026-11-14",
            "2026-11-14T10:00:00",
            "line 4: review_by: 2026-11-14T10:00:00: write a day as 2026-11-14 (year-month-day)",
        ),
        ("2026-11-14", '"14.11.2026"', "line 4: review_by: '14.11.2026': write a day as 2026-11-14 (year-month-day)"),
        ('place = "Hall"\n', "", None),  # needed for signing alone
        ('class_label = "4"', "class_label = 4", "line 12: laser[1].class_label: 4: write text in quotes"),
        (
            'name = "P"',
            'name = "P\\u0007"',
            r"line 24: person[1].name: 'P\x07': there is a character that does not print; type the text again",
        ),
    ],
)
def test_refused_by_name(old, new, message):
    found = faults((old, new))
    assert found == ([] if message is None else [message])


@pytest.mark.parametrize(
    ("emission", "message"),
    [
        (TRAIN + 'pulse_energy = "1 mJ"', None),
        (TRAIN + 'mean_power = "20 W"', None),
        (TRAIN + 'pulse_energy = "1 mJ"\nmean_power = "20.1 W"', None),
        (
            TRAIN + 'pulse_energy = "1 mJ"\nmean_power = "20.3 W"',
            "mean_power: 20.3 W does not agree with 1 mJ at 20 kHz, which make 20.0 W;",
        ),
        (TRAIN + 'pulse_energy = ["0.1 mJ", "1 mJ"]\nmean_power = "50 W"', None),
        (TRAIN, "pulse_energy: missing; write pulse_energy, as '1 mJ', or mean_power, as '50 W'"),
        (
            TRAIN.replace("10 ns", "51 us") + 'mean_power = "1 W"',
            "pulse_duration: 51 us is longer than the period of 50.0 us at 20 kHz, a duty above 1;",
        ),
        (TRAIN.replace("10 ns", "50 us") + 'mean_power = "1 W"', None),
        (TRAIN.replace('"10 ns"', '["10 ns", "1 ms"]') + 'mean_power = "1 W"', None),
        (
            TRAIN.replace("10 ns", "99 fs") + 'mean_power = "1 W"',
            "pulse_duration: '99 fs': must be 100 fs or more, and at most 30000 s; the limit tables",
        ),
        (TRAIN.replace("10 ns", "100 fs") + 'mean_power = "1 W"', None),
        (
            TRAIN + 'mean_power = "1 W"\npulse_width = "1 ns"',
            "pulse_width: 'pulse_width' is not a key of this table; did you mean 'pulse_duration'?",
        ),
        (
            TRAIN + 'mean_power = "1 W"\nfrequency = "1 Hz"',
            "frequency: 'frequency' is not a key of this table; did you mean 'repetition_rate'?",
        ),
        ('kind = "single pulse"\npulse_energy = "40 mJ"\npulse_duration = "10 ns"', None),
        (
            'kind = "single pulse"\npulse_energy = "0 J"\npulse_duration = "10 ns"',
            "pulse_energy: '0 J': must be above 0 J",
        ),
        (
            'kind = "single pulse"\npulse_duration = "10 ns"',
            "pulse_energy: missing; write pulse_energy: Energy of the pulse",
        ),
    ],
)
def test_emission(emission, message):
    found = faults((CONTINUOUS, emission))
    if message is None:
        assert found == []
    else:
        assert len(found) == 1, found
        assert f": laser[1].emission.{message}" in found[0]


@pytest.mark.parametrize(
    ("setup", "message"),
    [
        (LENS, None),
        (
            LENS.replace('focal_length = "100 mm"\n', ""),
            "focal_length: missing; write focal_length: it is engraved on the lens",
        ),
        (LENS.replace('criterion = "1/e2"\n', ""), "criterion: missing; write criterion: where on the profile"),
        (LENS.replace("100 mm", "0 mm"), "focal_length: '0 mm': must be 0.1 mm or more"),
        (LENS + 'focus_diameter = "28 um"', None),
        (
            LENS + 'focus_diameter = "27 um"',
            "focus_diameter: 27 um is below the diffraction limit: this lens focuses light of 1064 nm to no "
            "less than 27.1 um;",
        ),
        (FIBRE, None),
        (FIBRE.replace("0.22", "1"), "numerical_aperture: '1': must be above 0 and below 1"),
        (FIBRE.replace("0.22", "0"), "numerical_aperture: '0': must be above 0 and below 1"),
        (FIBRE.replace("0.22", '"22 %"'), None),
        (
            FIBRE.replace("50 um", "2 um"),
            "numerical_aperture: 0.22 is below the diffraction limit: light of 1064 nm from a core of 2 um "
            "has at least 0.288;",
        ),
        (
            FIBRE.replace('"5 %"', '"10 %"'),
            "numerical_aperture_criterion: '10 %' is not a choice; did you mean '5 %'?",
        ),
        ('kind = "fibre single mode"\nmode_field_diameter = "6.2 um"', None),
        (
            'kind = "fibre single mode"\nmode_field_diameter = "0.9 um"',
            "mode_field_diameter: 0.9 um is smaller than the wavelength of 1064 nm",
        ),
    ],
)
def test_setup(setup, message):
    found = faults((FREE_BEAM, setup))
    if message is None:
        assert found == []
    else:
        assert len(found) == 1, found
        assert f": laser[1].setup[1].{message}" in found[0]


def test_one_setup_is_fitted():
    second = "[[person]]", '[[laser.setup]]\nname = "T"\n' + FREE_BEAM + "\n[[person]]"
    assert read_one_setup(SMALL).fitted
    assert one_fault(second).startswith("line 17: laser[1].setup: no set-up is marked; write fitted = true")
    fitted = ('name = "S"', 'name = "S"\nfitted = true')
    assert faults(second, fitted) == []
    both = ('name = "T"', 'name = "T"\nfitted = true')
    assert one_fault(second, fitted, both).startswith("line 26: laser[1].setup[2].fitted: two set-ups are marked")
    assert one_fault(('name = "S"', 'name = "S"\nfitted = false')).startswith("line 17: laser[1].setup: no set-up")
    assert one_fault(second, ('name = "S"', 'name = "S"\nfitted = "yes"')).split(": ")[1] == "laser[1].setup[1].fitted"


def read_one_setup(text: str):
    return parse_case(text).laser[0].fitted_setup


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            '[[person]]\nname = " p"\nrole = "crew"\ndistance = "1 m"',
            "line 28: person[2].name: 'p' is also the name of person[1]; give each its own name",
        ),
        (
            '[[strike_out]]\nway = "direct"\nperson = "PP"\nreason = "a wall between"',
            "line 29: strike_out[1].person: 'PP' is not a person of this case; did you mean 'P'? known here: 'P'",
        ),
        (
            '[[strike_out]]\nway = "direct"\nperson = "P"',
            "line 27: strike_out[1].reason: missing; write reason: nothing is struck out without a reason; it is "
            "printed",
        ),
        (
            '[[strike_out]]\nway = "direct"\nperson = "P"\nreason = "  "',
            "line 30: strike_out[1].reason: nothing is written here;",
        ),
        (
            '[[strike_out]]\nway = "direct"\nperson = "P"\nreason = "a wall between"\nsetup = "s"',
            "line 31: strike_out[1].setup: 's' is not a set-up of this case; did you mean 'S'?",
        ),
        (
            '[[barrier]]\nname = "b"\ndistance = "1 m"\nlaser = "LL"',
            "line 30: barrier[1].laser: 'LL' is not a laser of this case; did you mean 'L'?",
        ),
        (
            '[[barrier]]\nname = "b"\ndistance = "1 m"\nrating = "5 W/cm2"',
            "line 27: barrier[1].rated_time: missing; a rating holds for a time only",
        ),
        (
            '[[barrier]]\nname = "b"\ndistance = "1 m"\nrating = "5 W"\nrated_time = "60 s"',
            "line 30: barrier[1].rating: '5 W': 'W' is a unit of power, and this is an irradiance",
        ),
        (
            '[[barrier]]\nname = "b"\ndistance = "1 m"\nmust_stop = []',
            "line 30: barrier[1].must_stop: none is given, at least one is needed",
        ),
        (
            '[[surface]]\nname = "s"\nmaterial = "m"\ndistance = "1 m"\nreflectance = 1.01',
            "line 31: surface[1].reflectance: '1.01': must be 0 or more, and at most 1",
        ),
        (
            '[[surface]]\nname = "s"\nmaterial = "m"\ndistance = "1 m"\nreflectance = -0.1',
            "line 31: surface[1].reflectance: '-0.1': must be 0 or more, and at most 1",
        ),
        (
            '[[surface]]\nname = "s"\nmaterial = "m"\ndistance = "1 m"\nreflectance = nan',
            "line 31: surface[1].reflectance: 'nan': not a number that can be worked with",
        ),
        (
            '[[surface]]\nname = "s"\nmaterial = "m"\ndistance = "1 m"\nview_angle = "90 deg"',
            "line 31: surface[1].view_angle: '90 deg': must be 0 deg or more, and below 90 deg",
        ),
        ("[theatre]\nx = 1", "line 27: theatre: 'theatre' is not a key of this table;"),
        (
            '[settings]\nscatter_model = "lambertian"',
            "line 28: settings.scatter_model: 'lambertian' is not a choice; did you mean 'lambert'?",
        ),
    ],
)
def test_refused_around_the_laser(more, message):
    (found,) = faults(text=SMALL + more)
    assert found.startswith(message)


def test_a_setup_of_several_lasers_needs_the_laser():
    laser = SMALL[SMALL.index("[[laser]]") : SMALL.index("[[person]]")].replace('name = "L"', 'name = "M"')
    person = ('role = "crew"', 'role = "crew"\nsetup = "S"')
    assert faults(("[[person]]", laser + "[[person]]"), person)[0].startswith(
        "line 36: person[1].laser: missing; the set-up 'S' exists on several lasers: say on which one"
    )
    assert (
        faults(("[[person]]", laser + "[[person]]"), ('role = "crew"', 'role = "crew"\nsetup = "S"\nlaser = "M"')) == []
    )


# --- files that are no case ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            b'title = "x"\npower = 1.5 kW\n',
            "line 2: TOML: 'power = 1.5 kW': Expected newline or end of document after a statement in column 13; "
            "check this line: text",
        ),
        (
            b"a = 1\na = 2\n",
            "line 2: TOML: 'a = 2': Cannot overwrite a value in column 6; a key may stand once in a table",
        ),
        (b'a = "x', "line 1: TOML: 'a = \"x': Unterminated string at the end of the file"),
        (b"a = 1\nb = '\xff'", "line 2: file: not UTF-8 text; save the file as UTF-8 in your editor"),
        (b"a = " + b"[" * 100_000, "file: brackets are nested too deeply for a case file; name a case file"),
        (b"a = " + b"9" * 10_000, "file: a number with thousands of digits cannot be read; shorten it"),
        (b"#" * 1_000_001, "file: larger than 1 MB, which is the most for a case file; name a case file"),
    ],
    ids=["no quotes", "twice", "open string", "not UTF-8", "deep", "long number", "huge"],
)
def test_a_file_that_cannot_be_read_is_one_fault(tmp_path, content, message):
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    (found,) = check_case(path)
    assert str(found).startswith(message)


def test_what_is_no_file_is_one_fault(tmp_path):
    assert "there is no such file" in str(check_case(tmp_path / "none.toml")[0])
    assert "this is a directory" in str(check_case(tmp_path)[0])
    assert "the name cannot be used" in str(check_case("a\x00b")[0])
    if Path("/dev/zero").exists():
        assert "this is not a plain file" in str(check_case("/dev/zero")[0])


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"LANG": "de_DE.UTF-8"}, "diese Datei gibt es nicht"),
        ({"LC_ALL": "en_GB.UTF-8", "LANG": "de_DE.UTF-8"}, "there is no such file"),
        ({"LC_ALL": "", "LC_MESSAGES": "de_AT", "LANG": "C"}, "diese Datei gibt es nicht"),
        ({"LANG": "xx_XX.UTF-8"}, "there is no such file"),
        ({}, "there is no such file"),
    ],
)
def test_what_is_said_before_a_case_is_read_is_in_the_language_of_the_environment(tmp_path, monkeypatch, stated, said):
    """It was English, since no command knows a language before it has read the case."""
    for name in ("LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    for name, value in stated.items():
        monkeypatch.setenv(name, value)
    (found,) = check_case(tmp_path / "none.toml")
    assert said in str(found)
    (tmp_path / "plain.toml").write_text("title = 1", "utf-8")  # it was read: in the language of the case
    assert "TOML" not in str(check_case(tmp_path / "plain.toml")[0])
    assert not any("fehlt" in str(one) for one in check_case(tmp_path / "plain.toml"))
    answer = run("assess", tmp_path)
    german = "diese" in said
    assert (answer.code, ("ein Ordner" in answer.err, "this is a directory" in answer.err)) == (2, (german, not german))


@pytest.mark.parametrize("change", [lambda raw: raw.replace(b"\n", b"\r\n"), lambda raw: b"\xef\xbb\xbf" + raw])
def test_files_of_other_editors_are_read(tmp_path, change):
    path = tmp_path / "case.toml"
    path.write_bytes(change(DEMO.encode()))
    assert canonical(read_case(path)) == canonical(parse_case(DEMO))
    path.write_bytes(change(DEMO.replace('"30 W"', '"30"').encode()))
    assert [fault.line for fault in check_case(path)] == [DEMO[: DEMO.index('"30 W"')].count("\n") + 1]


# --- what is kept ----------------------------------------------------------------------------------------------------


def test_inputs_are_kept_as_typed_with_their_lines():
    lines = DEMO.splitlines()
    inputs = typed_inputs(parse_case(DEMO))
    by_field = {one.field: one for one in inputs}
    power = by_field["laser[1].emission.power"]
    assert (power.typed, power.used) == ("1.5 kW +- 3 %", "1500 (1455 to 1545) W")
    assert lines[power.line - 1].startswith('power = "1.5 kW +- 3 %"')
    assert by_field["laser[2].emission.pulse_duration"].used == "1e-08 s to 2e-07 s"
    assert by_field["person[3].aided"].typed == "true"
    assert by_field["surface[1].reflectance"].used == "0.7"
    assert "person[5].time" not in by_field
    assert [one.line for one in inputs] == sorted(one.line for one in inputs)
    for one in inputs:
        key = one.field.rpartition(".")[2]
        assert re.match(rf"\s*{key}\s*=", lines[one.line - 1]), one


def test_every_line_of_the_file_is_an_input():
    written = {number for number, line in enumerate(DEMO.splitlines(), 1) if re.match(r"\w+ *=", line)}
    assert {one.line for one in typed_inputs(parse_case(DEMO))} == written


def test_a_case_of_data_has_inputs_without_lines():
    inputs = typed_inputs(case_from(tomllib.loads(SMALL)))
    assert {one.line for one in inputs} == {None}
    assert "laser[1].setup[1].divergence" in {one.field for one in inputs}


def test_canonical_data_is_plain_and_complete():
    data = canonical(parse_case(DEMO))
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert list(data) == sorted(data)
    assert data["laser"][0]["wavelength"] == 1.07e-6
    assert data["laser"][1]["emission"]["pulse_duration"] == [1e-8, 2e-7]
    assert data["person"][4]["time"] is None
    assert data["surface"][1]["reflectance"] == 1.0


def test_what_is_left_out_and_its_default_mean_the_same():
    typed = SMALL + '[[surface]]\nname = "s"\nmaterial = "m"\ndistance = "1 m"\nreflectance = 1\nview_angle = "0 rad"\n'
    short = SMALL + '[[surface]]\nname = "s"\nmaterial = "m"\ndistance = "100 cm"\n'
    assert canonical(parse_case(typed)) == canonical(parse_case(short))
    assert canonical(parse_case(SMALL)) != canonical(parse_case(short))


def test_a_case_is_frozen():
    case = parse_case(SMALL)
    with pytest.raises(ValidationError, match="frozen"):
        case.title = "other"
    with pytest.raises(ValidationError, match="frozen"):
        case.laser[0].setup[0].fitted = False
    with pytest.raises(AttributeError):
        case.laser[0].wavelength.typed = "1 nm"


def test_si_values_survive_copy_and_pickle():
    value = SIValue(1.5, "1500 mm", "m")
    for again in (copy.copy(value), copy.deepcopy(value), pickle.loads(pickle.dumps(value))):
        assert (again, again.typed, again.unit) == (1.5, "1500 mm", "m")


def test_models_can_be_fed_with_their_own_values():
    case = parse_case(DEMO)
    assert canonical(Case.model_validate(dict(case))) == canonical(case)
    emission = {key: value for key, value in dict(case.laser[1].emission).items() if value is not None}  # as in TOML
    assert models.PulseTrainEmission.model_validate(emission) == case.laser[1].emission
    assert isinstance(emission["pulse_duration"], Knob)
    assert isinstance(case.laser[0].setup[0].beam_diameter, Axes)


# --- description -----------------------------------------------------------------------------------------------------


def test_every_field_is_described():
    rows = describe_fields()
    assert len(rows) > 90
    for row in rows:
        assert row.description.endswith("."), row
        assert row.value, row
    assert {row.table.partition(" (")[0] for row in rows} == {
        "top of the file", "[in_charge]", "[settings]", "[other_hazards]", "[[laser]]", "[laser.emission]",
        "[[laser.setup]]", "[[person]]", "[[surface]]", "[[barrier]]", "[[control]]", "[[strike_out]]", "[area]",
        "[[reading]]", "[sign_off]",
        "[laser.emission.burst]", "[[laser.emission.pulses]]", "[[laser.emission.modes]]", "[[person.visits]]",
        "[laser.setup.scan]", "[[laser.line]]", "[laser.module]", "[[extended]]",
        "[scene]", "[[scene.aim]]", "[[scene.target]]", "[[scene.surface]]", "[[scene.barrier]]",
        "[[scene.barrier.opening]]", "[[scene.person]]", "[[scene.camera]]", "[[scene.floor]]", "[scene.outdoor]",
        "[scene.ceiling]", "[scene.ground]",
    }  # fmt: skip


def test_examples_of_the_descriptions_can_be_typed():
    marks = [
        (name, mark)
        for model in vars(models).values()
        if isinstance(model, type) and hasattr(model, "model_fields")
        for name, info in model.model_fields.items()
        for mark in info.metadata
        if hasattr(mark, "example")
    ]
    assert len(marks) > 25
    for name, mark in marks:
        one = mark.example
        corners = [[one, one], ["1 m", one], [one, "1 m"]]
        mark.read({"point": corners[0], "path": corners, "area": corners}.get(mark.shape, one), name)


def test_json_schema_names_units_and_descriptions():
    schema = json_schema()
    laser = schema["$defs"]["Laser"]["properties"]
    assert laser["wavelength"]["x-unit"] == "m"
    assert laser["wavelength"]["description"].startswith("Vacuum wavelength")
    assert schema["$defs"]["PulseTrainEmission"]["properties"]["pulse_duration"]["x-shape"] == "range"
    assert schema["additionalProperties"] is False
    json.dumps(schema, allow_nan=False)


def test_reading_a_case_loads_neither_pint_nor_reportlab_and_numpy_only_for_outlines():
    person = 'person = [{ role = "crew", distance = "3 m" }]\n[[laser]]\nlike = "any laser"\nwavelength = "532 nm"\n'
    plain = f'{person}emission = {{ kind = "continuous", power = "1 W" }}\n'
    code = (
        "import sys; from lasersafe.models import parse_case, read_case; from lasersafe.data import templates_path;"
        f"parse_case({plain!r}); assert 'numpy' not in sys.modules;"
        "read_case(templates_path('cases', 'demo.toml'));"
        "sys.exit(', '.join({'pint', 'reportlab', 'scipy'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_more_people_and_set_ups_than_can_be_worked_out_are_refused_in_one_line():
    person = '[[person]]\nname = "P{}"\nrole = "crew"\ndistance = "3 m"\n'
    text = DEMO.partition("[scene]")[0]
    text = text[: text.rindex("#")] if "#" in text[-300:] else text
    with pytest.raises(CaseError, match=r"at most 1500 are taken: put people who stand together"):
        parse_case(text.replace("spectator_rules", "# spectator_rules") + "".join(person.format(n) for n in range(500)))
