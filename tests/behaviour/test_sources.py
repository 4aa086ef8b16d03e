"""Scanners, further wavelengths, modules and extended sources as a user writes them and as the sheet answers."""

from __future__ import annotations

import json
import math
import re
import tomllib

import numpy as np
import pytest

from lasersafe.ask.printed import assessment_text
from lasersafe.assessment import assess
from lasersafe.assessment.context import contexts
from lasersafe.assessment.scenarios import _Glow, source_of
from lasersafe.data import templates_path
from lasersafe.errors import CaseError
from lasersafe.models import parse_case
from lasersafe.records import as_json
from lasersafe.sheet import render_sheet
from tests.case_head import HEAD

DEMO = templates_path("cases", "demo.toml").read_text(encoding="utf-8")
BASE = (
    HEAD
    + """\
[[laser]]
name = "L"
class_label = "4"
wavelength = "532 nm"
[laser.emission]
kind = "continuous"
power = "20 mW"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "2 mm"
divergence = "1 mrad"
criterion = "1/e"
#SCAN
#LINE
[[person]]
name = "P"
role = "crew"
distance = "10 m"
distance_from_work = "10 m"
#PERSON
#END
"""
)
SCAN = '[laser.setup.scan]\npattern = "line"\nfull_angle = "20 deg"\nfrequency = "100 Hz"\n'
CUT_OFF = 'monitored = true\nreaction_time = "50 us"\n'
PUMP = '[[laser.line]]\nname = "pump"\nwavelength = "808 nm"\npower = "15 mW"\n'
ARRAY = (
    '[[extended]]\nname = "Panel"\nlaser = "L"\nsize = "1 mm"\ncolumns = 2\nrows = 1\npitch = "30 mm"\n'
    "shares = [0.9, 0.1]\n"
)


def text_of(**parts: str) -> str:
    text = BASE
    for name in ("SCAN", "LINE", "PERSON", "END"):
        text = text.replace(f"#{name}", parts.get(name.lower(), ""))
    return text


def answer(**parts: str):
    return assess(parse_case(text_of(**parts)))


def faults(**parts: str) -> str:
    with pytest.raises(CaseError) as caught:
        parse_case(text_of(**parts))
    return " | ".join(str(fault) for fault in caught.value.faults)


def rows(found, mode, way="direct", tissue="eye"):
    return [s for s in found.scenarios if (s.modes, s.way, s.tissue) == ((mode,), way, tissue)]


@pytest.mark.parametrize(
    ("part", "change", "message"),
    [
        ("scan", SCAN.replace('full_angle = "20 deg"\n', ""), "full_angle: missing"),
        ("scan", SCAN + 'full_width = "10 mm"\nwidth_at = "1 m"\n', "both are given"),
        ("scan", SCAN.replace("full_angle", "full_width").replace("20 deg", "10 mm"), "width_at: missing"),
        ("scan", SCAN.replace('"line"', '"raster"'), "lines: missing"),
        ("scan", SCAN + "lines = 5\n", "only a raster has lines"),
        ("scan", SCAN + "monitored = true\n", "reaction_time: missing"),
        ("scan", SCAN + 'reaction_time = "1 ms"\n', "monitored: missing"),
        ("scan", SCAN.replace("100 Hz", "0 Hz"), "frequency: '0 Hz'"),
        ("scan", SCAN.replace('"line"', '"spiral"'), "spiral"),
        ("line", PUMP.replace('power = "15 mW"\n', ""), "power: missing"),
        ("line", PUMP + "share = 0.1\n", "both power and share"),
        ("line", PUMP + 'divergence = "2 mrad"\n', "divergence_criterion: missing"),
        ("line", PUMP + PUMP, "is also the name"),
        ("line", PUMP.replace("808 nm", "100 nm"), "wavelength: '100 nm'"),
        ("line", '[laser.module]\ncolumns = 0\ncolumn_pitch = "1 mm"\n', "columns"),
        ("end", ARRAY.replace("[0.9, 0.1]", "[0.9, 0.2]"), "add up to 1.1"),
        ("end", ARRAY.replace("[0.9, 0.1]", "[1.0]"), "1 are given for 2 emitters"),
        ("end", ARRAY.replace('pitch = "30 mm"\n', ""), "pitch: missing"),
        ("end", ARRAY + 'spread = "cone"\n', "divergence: missing"),
        ("end", ARRAY + 'divergence = "3 deg"\n', "only spread = 'cone'"),
        ("end", ARRAY.replace('laser = "L"', 'laser = "M"'), "'M' is not a laser of this case"),
    ],
)
def test_faults_name_the_field(part, change, message):
    assert message in faults(**{part: change})


def test_stopped_beam_is_always_there_and_counts_for_the_whole_exposure_without_a_cut_off():
    plain, scanned = answer(), answer(scan=SCAN)
    (still,) = rows(plain, "running")
    (failure,) = rows(scanned, "scan failure")
    (running,) = rows(scanned, "running")
    assert (failure.ratio, failure.duration) == (still.ratio, still.duration)
    assert failure.ratio > 1.0
    assert not failure.below
    assert running.ratio < failure.ratio
    assert not scanned.decision.passed
    assert scanned.decision.headline_distance == plain.decision.headline_distance
    assert "no monitored scan-fail cut-off" in failure.surface


def test_cut_off_earns_credit_only_below_the_limit_for_its_reaction_time():
    near = answer(scan=SCAN + CUT_OFF)
    (failure,) = rows(near, "scan failure")
    assert failure.duration == pytest.approx(50e-6)
    assert failure.below is (failure.ratio <= 1.0)
    assert failure.below
    slow = answer(scan=SCAN + CUT_OFF.replace("50 us", "10 s"))
    (failure,) = rows(slow, "scan failure")
    assert failure.duration == 10.0
    assert not failure.below


def test_optical_aids_take_all_credit():
    found = answer(scan=SCAN + CUT_OFF, person="aided = true")
    (failure,) = rows(found, "scan failure")
    assert failure.duration == 10.0
    assert not rows(found, "running")
    assert rows(found, "running", tissue="skin")


def test_scan_results_are_in_order_and_printed():
    found = answer(scan=SCAN + CUT_OFF)
    eye = next(s for s in found.scans if s.tissue == "eye")
    assert eye.reaction is not None
    assert eye.running < eye.stopped
    assert eye.reaction < eye.stopped
    assert "turning points" in eye.places[0].sentence
    assert render_sheet(found).startswith(b"%PDF")


def test_demo_has_a_scan_failure_row_and_says_which_rule_decided():
    placed = assess(parse_case(DEMO))
    assert any("scan failure" in s.modes for s in placed.scenarios if s.laser == "Marker")
    found = assess(parse_case(re.sub(r"(?m)^spectator_rules = .*\n", "", DEMO.partition("\n[scene]\n")[0])))
    assert any("scan failure" in s.modes for s in found.scenarios if s.laser == "Marker")
    assert len(found.rules) == sum(len(setup.zones) for setup in found.setups if setup.fitted) >= 12
    assert all("rule of" in sentence and sentence.endswith(".") for sentence in found.rules)
    data = as_json(found)
    json.dumps(data, allow_nan=False)
    assert data["which_rule_decided"] == list(found.rules)
    assert {s["mode"] for s in data["scenarios"]} == {"running", "scan failure"}
    assert data["scanned_beams"][0]["stopped_distance_m"] >= data["scanned_beams"][0]["running_distance_m"]
    assert "scan failure" in assessment_text(found)


def test_pump_light_moves_every_distance_out_and_adds_in_each_row():
    plain, pumped = answer(), answer(line=PUMP)
    for zone, alone in zip(pumped.setups[0].zones, plain.setups[0].zones, strict=True):
        assert zone.distance >= alone.distance
    zone = pumped.setups[0].zone("direct", "eye")
    assert zone.distance > plain.setups[0].zone("direct", "eye").distance
    assert "further wavelengths" in zone.note
    (row,) = rows(pumped, "running")
    assert math.fsum(s.fraction for s in row.shares) == pytest.approx(row.ratio)
    assert {s.line for s in row.shares} == {"532 nm, main beam", "pump"}
    assert row.ratio > rows(plain, "running")[0].ratio


def test_invisible_pump_light_outlasts_the_turning_away():
    found = answer(line=PUMP, person="briefed = true")
    assert rows(found, "running")[0].duration == 10.0


def test_eyewear_has_to_hold_every_wavelength():
    worn = 'eyewear = "532 D LB4"'
    plain = answer(person=worn)
    pumped = answer(line=PUMP, person=worn)
    assert plain.eyewear[0].verdict.enough
    assert [n.wavelength for n in pumped.eyewear] == pytest.approx([532e-9, 808e-9])
    assert not any(n.verdict.enough for n in pumped.eyewear)
    assert any("808 nm" in reason for n in pumped.eyewear for reason in n.verdict.reasons)
    assert not any(s.answer.startswith("eyewear") for s in pumped.scenarios)
    both = answer(line=PUMP, person='eyewear = "532 D LB4; 808 D LB4"')
    assert all(n.verdict.enough for n in both.eyewear)
    assert all(s.below or s.answer or s.struck_out for s in both.scenarios if s.way != "together")
    assert "808 D" in both.decision.wear


def test_a_shared_tissue_asks_for_more_density():
    alone = answer(person='eyewear = "532 D LB4"').eyewear[0].optical_density_exact
    shared = answer(line=PUMP, person='eyewear = "532 D LB4"').eyewear[0].optical_density_exact
    assert shared == pytest.approx(alone + math.log10(2.0))
    far = PUMP.replace("808 nm", "10.6 um")
    assert answer(line=far, person='eyewear = "532 D LB4"').eyewear[0].optical_density_exact == alone


def test_share_keeps_the_pulses_of_the_main_beam():
    train = 'kind = "pulse train"\npulse_duration = "10 ns"\nrepetition_rate = "1 kHz"\npulse_energy = "1 mJ"'
    text = text_of(line=PUMP.replace('power = "15 mW"', "share = 0.25").replace("808 nm", "1064 nm"))
    text = text.replace('kind = "continuous"\npower = "20 mW"', train)
    found = assess(parse_case(text))
    zone = found.setups[0].zone("direct", "eye")
    assert {s.rule for s in found.sums[0].shares} <= {"single pulse", "mean", "train"}
    assert zone.distance == pytest.approx(max(s.distance for s in found.sums if s.way == "direct"))


def test_module_is_counted_as_one_point_source():
    module = '[laser.module]\ncolumns = 4\nrows = 2\ncolumn_pitch = "20 mm"\n'
    plain, found = answer(), answer(line=module)
    assert found.setups[0].zone("direct", "eye").distance == plain.setups[0].zone("direct", "eye").distance
    (one,) = found.modules
    assert one.separation == pytest.approx(2e-3)
    assert one.offset < one.joined
    assert "one point source" in one.sentence


def test_extended_source_is_a_scenario_with_its_worst_part():
    red = assess(parse_case(text_of(end=ARRAY).replace("532 nm", "650 nm")))
    (eye,) = (e for e in red.extended if e.tissue == "eye")
    assert eye.part == "columns 1 to 1, rows 1 to 1"
    assert eye.radiance_limit is None
    found = answer(end=ARRAY)
    (eye,) = (e for e in found.extended if e.tissue == "eye")
    assert eye.hazard == "retina photochemical"
    assert eye.part == "the whole source"
    assert eye.worst_distance == pytest.approx(0.1)
    assert eye.radiance > 0.0
    assert eye.radiance_limit > 0.0
    assert len(rows(found, "extended source", "scatter")) == 1
    json.dumps(as_json(found), allow_nan=False)
    assert "Panel" in assessment_text(found)
    assert render_sheet(found).startswith(b"%PDF")


def test_first_page_and_plan_count_an_extended_source():
    """1 W of 450 nm through an opal disc of 10 mm that sends it into a cone of 5 degrees, 1/e.

    By hand at 22.4 m a point: 1 W * 4 / (pi (87.3 mrad * 22.4 m)^2) = 0.333 W/m2, a third of the 1 W/m2 of 100 s;
    3 W are 1.0 times. The first page said 31 mm, and lines of a plan ended nearer.
    """
    cone = '[[extended]]\nname = "Opal"\nlaser = "L"\nsize = "10 mm"\nspread = "cone"\ndivergence = "5 deg"\n'
    text = text_of(end=cone).replace("532 nm", "450 nm").replace("20 mW", "3 W")
    far = math.sqrt(3.0 * 4.0 / math.pi / 1.0) / math.radians(5.0)
    scene = '[scene]\n[[scene.aim]]\nlaser = "L"\nposition = ["0 m", "0 m"]\nheight = "1.6 m"\nbearing = "0 deg"\n'
    for one, what in ((text, "people"), (text + scene, "scene")):
        found = assess(parse_case(one), wanted="short")
        assert what == "scene" or found.decision.scatter_distance == pytest.approx(far, rel=1e-3)
        assert "light of the extended source 'Opal' (22.4 m)" in (
            found.decision.people if what == "people" else found.scene.left_out
        )
        assert "22.4 m" in found.decision.people


@pytest.mark.parametrize("second", ["glows", "scatters"])
def test_the_second_distance_adds_extended_sources_of_several_lasers(second):
    """Two discs as above, each 22.4 m: Σ = 1 at √2 times that, 31.7 m; the first page said 22.4 m, that of one.

    With one that scatters alone, 3 W from a perfect point: 3 W / (pi r2) of 1 W/m2 more, 22.4 m and 0.98 m: 22.42 m.
    """
    cone = '[[extended]]\nname = "{0} disc"\nlaser = "{0}"\nsize = "10 mm"\nspread = "cone"\ndivergence = "5 deg"\n'
    end = cone.format("L") + (cone.format("M") if second == "glows" else "")
    text = text_of(end=end).replace("532 nm", "450 nm").replace("20 mW", "3 W")
    head, one, rest = re.split(r"(?s)(\[\[laser\]\].*?)(?=\[\[person\]\])", text, maxsplit=1)
    found = assess(parse_case(head + one + one.replace('"L"', '"M"') + rest), wanted="short")
    glows = 3.0 * 4.0 / math.pi / math.radians(5.0) ** 2
    far = math.sqrt(2.0 * glows if second == "glows" else glows + 3.0 / math.pi)
    assert found.decision.scatter_distance == pytest.approx(far, rel=1e-3)
    assert found.decision.scatter_distance > 1.0005 * math.sqrt(glows)


def test_a_bound_of_an_extended_source_never_rises_and_holds_between_its_steps():
    # a train of 6 us before a narrow cone: the limit falls by 2.5 just beyond 5 mrad, and the ratio has a hump
    end = '[[extended]]\nname = "E"\nlaser = "L"\nsize = "3 mm"\nspread = "cone"\ndivergence = "0.5 deg"\n'
    train = 'kind = "pulse train"\npulse_duration = "6 us"\nrepetition_rate = "5 Hz"\npulse_energy = "1 mJ"'
    text = text_of(end=end).replace('kind = "continuous"\npower = "20 mW"', train)
    (own,) = contexts(parse_case(text))
    glow = _Glow(own.every.values(), "eye", 10.0, source_of(own.case.extended[0]))
    places = np.geomspace(0.1, 100.0, 20_001)
    for name in own.rule_sets:
        bound, there = glow.falling(name, 0.1)(places), glow.ratio(name)(places)
        assert (np.diff(bound) <= 1e-12 * bound[:-1]).all()
        assert (bound >= np.maximum.accumulate(there[::-1])[::-1]).all()
        assert bound[0] <= 1.1 * there.max()
        assert there.max() > 1.1 * there[0]


def test_who_has_a_place_is_as_near_to_an_extended_source_as_that():
    """Typed are 25 m from the work, in the scene the eyes are 0.5 m beside it, 5 m in front of the last optic.

    By hand: 3 W / (pi (0.5 m)^2) = 3.82 W/m2, of which the cone of 100 s (11 mrad) sees all of 10 mm, 20 mrad, as the
    limit of a small one is taken without a measured evenness: 3.82 times 1 W/m2. It was 25 m: 0.0015 times.
    """
    disc = '[[extended]]\nname = "Opal"\nlaser = "L"\nsize = "10 mm"\n'
    text = text_of(scan='work_distance = "5 m"\n', end=disc).replace("532 nm", "450 nm").replace("20 mW", "3 W")
    text = text.replace('distance_from_work = "10 m"', 'distance_from_work = "25 m"')
    text += '[scene]\n[[scene.aim]]\nlaser = "L"\nposition = ["0 m", "0 m"]\nheight = "1.6 m"\nbearing = "0 deg"\n'
    text += '[[scene.person]]\nname = "P"\nposition = ["0.5 m", "5 m"]\neye_height = "1.6 m"\n'
    (row,) = rows(assess(parse_case(text), wanted="short"), "extended source", "scatter")
    assert row.distance == pytest.approx(0.5)
    assert row.ratio == pytest.approx(3.0 / (math.pi * 0.5**2), rel=1e-3)


@pytest.mark.parametrize("part", [{"scan": SCAN}, {"end": ARRAY}], ids=["scan", "extended"])
@pytest.mark.parametrize("way", ["direct", "scatter"])
def test_a_place_has_one_reading_of_a_way_beside_scans_and_extended_sources(part, way):
    # each had two rows alike, so that no reading could be entered: "several lasers can light this place"
    reading = '[[reading]]\nwhat = "power"\nwhere = "P"\nvalue = "1 nW"\ninstrument = "M 1"\nuncertainty = "5 %"\n'
    found = answer(**part | {"end": part.get("end", "") + reading + f'way = "{way}"\n'}).record.expected
    assert len({(one.what, one.where, one.way) for one in found}) == len(found)
    assert [one.way for one in found if one.reading is not None] == [way]


def test_barrier_carries_all_wavelengths():
    barrier = '[[barrier]]\nname = "B"\ndistance = "5 m"\nrating = "1 W/cm2"\nrated_time = "60 s"\n'
    plain, pumped = (answer(end=barrier, line=line) for line in ("", PUMP))
    assert pumped.barriers[0].irradiance == pytest.approx(plain.barriers[0].irradiance * 35.0 / 20.0)


def test_a_laser_without_any_of_it_has_empty_sections():
    found = answer()
    assert (found.scans, found.sums, found.modules, found.extended) == ((), (), (), ())
    assert {s.modes for s in found.scenarios} == {("running",)}
    tomllib.loads(DEMO)


def test_reaction_time_shorter_than_a_pulse_counts_one_pulse():
    train = 'kind = "pulse train"\npulse_duration = "200 us"\nrepetition_rate = "1 kHz"\npulse_energy = "1 uJ"'
    text = text_of(scan=SCAN + CUT_OFF).replace('kind = "continuous"\npower = "20 mW"', train)
    found = assess(parse_case(text))
    for row in rows(found, "scan failure"):
        assert row.duration in (pytest.approx(200e-6), 10.0)


@pytest.mark.parametrize("pattern", ["circle", "figure of eight", "wobble", "raster"])
def test_every_pattern_is_worked_out(pattern):
    scan = SCAN.replace('"line"', f'"{pattern}"') + ("lines = 11\n" if pattern == "raster" else "")
    found = answer(scan=scan)
    eye = next(s for s in found.scans if s.tissue == "eye")
    assert pattern in eye.pattern
    assert 0.0 < eye.running <= eye.stopped


def test_pattern_behind_a_lens_takes_its_angle_through_the_focal_length():
    lens = 'kind = "lens"\nbeam_diameter = "8 mm"\nfocal_length = "200 mm"\ncriterion = "1/e"'
    free = 'kind = "collimated"\nbeam_diameter = "2 mm"\ndivergence = "1 mrad"\ncriterion = "1/e"'
    found = assess(parse_case(text_of(scan=SCAN).replace(free, lens)))
    assert found.scans[0].running == pytest.approx(found.scans[0].stopped)  # no wider behind the focus, so no credit
