"""A person with an instrument, through the whole calculation: strict when not described, credit only for its glass."""

from __future__ import annotations

import io
import math

import pytest
from pypdf import PdfReader

from lasersafe.assessment import assess
from lasersafe.data import templates_path
from lasersafe.errors import CaseError
from lasersafe.hazard.distances import direct_reach
from lasersafe.hazard.exposure import Received, continuous, pulse_train
from lasersafe.hazard.instruments import UNDESCRIBED, aid
from lasersafe.models import parse_case
from lasersafe.optics.beam import BeamGeometry
from lasersafe.sheet import render_sheet
from tests.case_head import HEAD, aim

BEAM = BeamGeometry((4e-3, 4e-3), (2e-3, 2e-3))
BINOCULAR = aid("binoculars 7x50")


def ratios(replaced: str, name: str = "handheld-welder.toml") -> dict[tuple[str, str], float]:
    text = templates_path("cases", name).read_text(encoding="utf-8").partition("\n[scene]\n")[0]  # distances only
    line = next(line for line in text.splitlines() if line.startswith("aided = true"))
    case = parse_case(text.replace(line, replaced))
    person = next(p.name for p in parse_case(text).person if p.aided)
    fitted = case.laser[0].fitted_setup.name
    return {(s.way, s.tissue): s.ratio for s in assess(case).scenarios if s.person == person and s.setup == fitted}


def test_no_instrument_is_weaker_than_one_that_is_described_weaker_than_one_that_is_not():
    none = ratios("")
    described = ratios('aided = true\nviewing_aid = "binoculars 7x50"')
    strict = ratios("aided = true")
    for way in ("direct", "mirror", "scatter"):
        assert none[way, "eye"] <= described[way, "eye"] <= strict[way, "eye"]
        assert none[way, "skin"] == described[way, "skin"] == strict[way, "skin"]
    assert strict["scatter", "eye"] > 10.0 * none["scatter", "eye"]
    # the same spot behind the same glass: 0.7 of the light
    assert described["scatter", "eye"] == pytest.approx(0.7 * strict["scatter", "eye"], rel=0.5)


def test_glass_stops_the_far_infrared():
    text = templates_path("cases", "co2-cutter.toml").read_text(encoding="utf-8").partition("\n[scene]\n")[0]
    head, sep, tail = text.partition('[[person]]\nname = "Early spectators at the door"\n')
    assert sep

    def worst(lines: str) -> float:
        assessment = assess(parse_case(head + sep + lines + tail))
        fitted = next(s.setup for s in assessment.setups if s.fitted)
        found = [s for s in assessment.scenarios if s.person.startswith("Early") and s.tissue == "eye"]
        found = [s for s in found if s.setup == fitted]
        return max(s.ratio for s in found if s.way == "scatter")

    assert worst('aided = true\nviewing_aid = "binoculars 7x50"\n') == worst("")
    assert worst("aided = true\n") == pytest.approx(7.0**2 * worst(""))  # 3.5 mm are imaged to 24.5 mm


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ('aided = true\nviewing_aid = "binoculars 7x5"', "did you mean 'binoculars 7x50'"),
        ('viewing_aid = "binoculars 7x50"', "write aided = true as well"),
    ],
)
def test_refusals(lines, message):
    with pytest.raises(CaseError, match=message) as caught:
        ratios(lines)
    assert len(caught.value.faults) == 1


@pytest.mark.parametrize("emission", [continuous(100.0), pulse_train(1e-3, 10e-9, 1e4)])
@pytest.mark.parametrize("wavelength", [355e-9, 532e-9, 1070e-9, 1550e-9, 10.6e-6])
def test_reach(emission, wavelength):
    bare = direct_reach(Received("ICNIRP-2013", "eye", emission, wavelength, 10.0), BEAM).distance
    described = direct_reach(Received("ICNIRP-2013", "eye", emission, wavelength, 10.0), BEAM, 1.0, BINOCULAR).distance
    strict = direct_reach(Received("ICNIRP-2013", "eye", emission, wavelength, 10.0), BEAM, 1.0, UNDESCRIBED).distance
    assert bare <= described <= strict
    if wavelength == 10.6e-6:
        assert described == bare
    # a beam far wider than every opening: by the root of the gain, and of the area of the openings
    assert strict <= bare * 50.0 / 7.0 * 1.01 + 50.0 / 2e-3 * 1e-3 * 8.0


def test_the_table_of_distances_names_the_limit_in_front_of_the_instrument():
    """It named that of the bare eye alone: behind 7x50 without loss (50 mm / 7 mm)² = 51 times less may arrive.

    Here 50 W/m² / 51.02 = 0.98 W/m², rounded down.
    """
    text = templates_path("cases", "handheld-welder.toml").read_text(encoding="utf-8").partition("\n[scene]\n")[0]
    pages = PdfReader(io.BytesIO(render_sheet(assess(parse_case(text)), kind="annex"))).pages
    annex = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "0.980 W/m² in front of the instrument; behind it 50.0 W/m² for 10 s, over 7 mm: " in annex


LENS = (
    HEAD
    + """
[settings]
surfaces_complete = true
[[laser]]
name = "Lamp"
wavelength = "1070 nm"
[laser.emission]
kind = "continuous"
power = "50 mW"
[[laser.setup]]
name = "Lens"
kind = "lens"
beam_diameter = "40 mm"
criterion = "1/e"
focal_length = "200 mm"
[[person]]
name = "Watcher"
role = "spectator"
distance = "50 m"
aided = {aided}
[scene]
"""
    + aim("Lamp", "1.5 m", "")
    + """[[scene.person]]
name = "Watcher"
position = ["0 m", "50 m"]
eye_height = "1.5 m"
"""
)


@pytest.mark.parametrize(("aided", "aperture"), [("false", 7e-3), ("true", 50e-3)])
def test_who_uses_an_instrument_uses_it_when_the_lens_is_lost_as_well(aided, aperture):
    # 50 mW in a beam of 40 mm: through 7 mm 0.78 times the 50 W/m2 of 10 s, through 50 mm into the pupil 20.5 times.
    found = assess(parse_case(LENS.format(aided=aided)))
    (row,) = [s for s in found.scenarios if (s.way, s.tissue) == ("optic lost", "eye")]
    inside = 0.05 * -math.expm1(-((aperture / 40e-3) ** 2))
    assert row.ratio == pytest.approx(inside / (math.pi * 3.5e-3**2) / 50.0, rel=1e-3)
    assert row.below is (aided == "false")


BOARD = (
    HEAD
    + """
[settings]
surfaces_complete = true
[[laser]]
name = "Lamp"
wavelength = "450 nm"
fibre = false
[laser.emission]
kind = "continuous"
power = "2 W"
[[laser.setup]]
name = "Bare"
kind = "collimated"
criterion = "1/e"
beam_diameter = "3 mm"
divergence = "2 mrad"
work_distance = "1 m"
[[person]]
name = "Watcher"
role = "crew"
distance = "3 m"
briefed = {briefed}
aided = true
[[surface]]
name = "board"
material = "card"
finish = "matt"
reflectance = 0.5
distance = "1 m"
[scene]
"""
    + aim("Lamp", "1.5 m", "")
    + """[[scene.surface]]
name = "board"
position = ["0 m", "1 m"]
height = "1.5 m"
normal = "180 deg"
width = "0.5 m"
shape = "flat"
fixed = true
[[scene.person]]
name = "Watcher"
position = ["2.2 m", "-1 m"]
eye_height = "1.5 m"
"""
)


@pytest.mark.parametrize("briefed", ["false", "true"])
def test_an_instrument_is_turned_to_what_scatters_for_as_long_as_the_bare_eye_is(briefed):
    # 1 W of scatter, 2.973 m away and cos 42.3 degrees from its normal: 0.02423 W/m2, and 51.02 times that behind
    # 7x50; blue light of 100 s may have 100 J/m2, so 1 W/m2; of 10 s ten times as much, of 0.25 s 25 times
    found = assess(parse_case(BOARD.format(briefed=briefed)), wanted="short")
    (row,) = [s for s in found.scenarios if s.way == "aided viewing" and "running" in s.modes]
    there = math.hypot(2.2, 2.0)
    assert row.ratio == pytest.approx(1.0 / math.pi / there**2 * 2.0 / there * (50.0 / 7.0) ** 2, rel=0.1)
    assert row.duration == 100.0
    assert not row.below
