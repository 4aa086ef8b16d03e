"""Bursts, lists of pulses, tables of modes, duty and visits, as a user writes them and reads them on the sheet."""

from __future__ import annotations

import dataclasses
import io
import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from lasersafe.assessment import assess
from lasersafe.assessment.problem import space_of
from lasersafe.data import templates_path
from lasersafe.errors import CaseError
from lasersafe.hazard.exposure import continuous
from lasersafe.hazard.other_rules import class_check, label_class
from lasersafe.hazard.settings import trains
from lasersafe.models import canonical, parse_case
from lasersafe.optics.beam import collimated
from lasersafe.records import as_json
from lasersafe.sheet import render_sheet
from tests.case_head import HEAD, aim

MARKER = templates_path("cases", "nanosecond-marker.toml").read_text(encoding="utf-8").partition("\n[scene]\n")[0]
ULTRAVIOLET = templates_path("cases", "ultraviolet.toml").read_text(encoding="utf-8")
EMISSION = MARKER[MARKER.index("[laser.emission]") : MARKER.index("[[laser.setup]]")]
TIME = ULTRAVIOLET[ULTRAVIOLET.index('time = "3600 s"') : ULTRAVIOLET.index('briefed = true\nlaser = "Glass marker"')]
VISITS = """
[[person.visits]]
way = "scatter"
time = "1800 s"
note = "first take"

[[person.visits]]
way = "scatter"
time = "{time}"
"""

BURST = """kind = "pulse train"
pulse_duration = "300 fs"
repetition_rate = "200 kHz"
mean_power = "20 W"
burst = { pulses = 5, spacing = "20 ns" }
"""
LIST = """kind = "pulse list"
repeat_every = "100 ms"
pedestal_power = "20 mW"

[[laser.emission.pulses]]
start = "0 s"
duration = "1 ms"
energy = "20 mJ"

[[laser.emission.pulses]]
start = "5 ms"
duration = "2 ms"
energy = "60 mJ"
"""
MODES = """kind = "mode table"

[[laser.emission.modes]]
name = "waveform 1"
pulse_duration = "200 ns"
repetition_rate = ["25 kHz", "200 kHz"]
pulse_energy = "1.25 mJ"
mean_power = "30 W"

[[laser.emission.modes]]
name = "waveform 2"
pulse_duration = "4 ns"
repetition_rate = ["500 kHz", "1 MHz"]
pulse_energy = "60 uJ"
mean_power = "30 W"
"""
DUTY = """kind = "pulse train"
duty = "20 %"
repetition_rate = "1 kHz"
mean_power = "30 W"
pedestal_power = "1 W"
"""


def with_emission(text):
    return MARKER.replace(EMISSION, f"[laser.emission]\n{text}\n")


def with_visits(time):
    text, name = (
        ULTRAVIOLET.partition("\n[scene]\n")[0].replace(TIME, ""),
        '[[person]]\nname = "Visitors at the window"',
    )
    assert text.count(name) == 1
    return text.replace(name, VISITS.format(time=time) + "\n" + name)


def refused(text):
    with pytest.raises(CaseError) as error:
        parse_case(text)
    return [str(fault) for fault in error.value.faults]


def sheet_text(assessment):
    pages = PdfReader(io.BytesIO(render_sheet(assessment, kind="annex"))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (BURST, "bursts of 5 pulses 20.00 ns apart, 20.00 uJ in 300.0 fs each, 200.0 kHz, mean 20.00 W"),
        (LIST, "list of 2 pulses every 100.0 ms, the largest 60.00 mJ in 2.000 ms, on 20.00 mW continuous"),
        (MODES, "mode waveform 1, train, 1.200 mJ in 200.0 ns at 25.00 kHz, mean 30.00 W"),
        (DUTY, "train, 30.00 mJ in 200.0 us at 1.000 kHz, mean 31.00 W, on 1.000 W continuous"),
    ],
)
def test_each_kind_of_pulses_is_assessed_and_printed_with_its_rules(text, words):
    assessment = assess(parse_case(with_emission(text)))
    eye, skin = assessment.settings
    assert (eye.tissue, skin.tissue) == ("eye", "skin")
    assert eye.setting == words
    for report in (eye, skin):
        assert [line.decides for line in report.rules].count(True) == 1
        assert {line.rule_set for line in report.rules} == {"ICNIRP-2013", "EU-2006/25/EC"}
        decided = next(line for line in report.rules if line.decides)
        assert decided.share == 1.0 == max(line.share for line in report.rules)
        assert decided.rule in report.sentence
    zone = assessment.setups[0].zone("direct", "eye")
    assert zone.distance > 0.0
    printed = sheet_text(assessment)
    assert "Settings, pulse rules and class" in printed
    assert "(decides)" in printed
    data = as_json(assessment)
    assert [one["worst_setting"] for one in data["settings"]] == [eye.setting, skin.setting]
    assert data["class_checks"][0]["computed"] in ("4", "3B or 4")


def test_a_burst_of_one_pulse_is_the_train():
    plain = with_emission(BURST.replace('burst = { pulses = 5, spacing = "20 ns" }\n', ""))
    burst = with_emission(BURST.replace("pulses = 5", "pulses = 1"))
    one, two = (assess(parse_case(text), wanted="short") for text in (plain, burst))
    found, expected = ([zone.distance for zone in a.setups[0].zones] for a in (one, two))
    assert found == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("pulses", "columns", "refused_"), [(37, 2, False), (41, 1, True), (26, 4, True), (25, 4, False)]
)
def test_a_list_before_an_extended_source_has_a_length_that_can_be_worked_out(pulses, columns, refused_):
    rows = "".join(
        f'[[laser.emission.pulses]]\nstart = "{k} ms"\nduration = "100 us"\nenergy = "1 mJ"\n' for k in range(pulses)
    )
    text = with_emission('kind = "pulse list"\nrepeat_every = "100 ms"\n' + rows)
    laser = re.search(r'name = "(.*)"', text).group(1)
    text += f'\n[[extended]]\nname = "Panel"\nlaser = "{laser}"\nsize = "1 mm"\ncolumns = {columns}\npitch = "3 mm"\n'
    if not refused_:
        parse_case(text)
        return
    (fault,) = refused(text)
    assert (
        f"extended[1].laser: '{laser}' gives {pulses} pulses one by one, before {columns} emitters; at most 40" in fault
    )
    assert "write the pulses as a train or in bursts, or the array as one source" in fault


def test_what_many_persons_see_of_extended_sources_is_bounded():
    rows = "".join(
        f'[[laser.emission.pulses]]\nstart = "{k} ms"\nduration = "100 us"\nenergy = "1 mJ"\n' for k in range(40)
    )
    listed = with_emission('kind = "pulse list"\nrepeat_every = "100 ms"\n' + rows)
    plain = with_emission('kind = "continuous"\npower = "1 W"\n')
    laser = re.search(r'name = "(.*)"', plain).group(1)
    panel = '\n[[extended]]\nname = "Panel {}"\nlaser = "' + laser + '"\nsize = "1 mm"\n'
    person = '\n[[person]]\nname = "Guest {}"\nrole = "spectator"\ndistance = "9 m"\ndistance_from_work = "9 m"\n'
    have = plain.count("[[person]]")
    more = "".join(person.format(k) for k in range(9 - have))
    (fault,) = refused(listed + more + panel.format(1))
    assert f"'{laser}' gives 40 pulses one by one, before 1 emitters, to 9 persons; at most 300" in fault
    (fault,) = refused(plain + more + "".join(panel.format(k) for k in range(12)))
    assert "12 extended sources and 9 persons make 108 views to be worked out; at most 100" in fault
    parse_case(plain + more + "".join(panel.format(k) for k in range(11)))


def test_where_one_pulse_may_stand_for_a_burst_its_spacing_means_nothing():
    wide = BURST.replace("pulses = 5", "pulses = 1").replace('"20 ns"', '["20 ns", "20 us"]')  # the period is 5 us
    plain = BURST.replace('burst = { pulses = 5, spacing = "20 ns" }\n', "")
    one, two = (assess(parse_case(with_emission(text)), wanted="short") for text in (wide, plain))
    found, expected = ([zone.distance for zone in a.setups[0].zones] for a in (one, two))
    assert found == pytest.approx(expected, rel=1e-12)
    assert "spacing in the burst" not in [effect.knob for report in one.settings for effect in report.effects]
    some = assess(parse_case(with_emission(wide.replace("pulses = 1", "pulses = [1, 5]"))))
    assert all(z.distance >= d * (1 - 1e-12) for z, d in zip(some.setups[0].zones, expected, strict=True))


def test_bursts_without_a_gap_between_them_are_assessed():
    text = BURST.replace('"20 ns"', '"0.1 us"').replace('"200 kHz"', '"10 MHz"').replace("pulses = 5", "pulses = 1")
    assert assess(parse_case(with_emission(text))).settings
    close = BURST.replace('"20 ns"', '"1 us"').replace('"300 fs"', '"900 ns"')
    assert assess(parse_case(with_emission(close))).settings


@settings(max_examples=60)
@given(
    st.floats(-9.0, -2.0), st.floats(-2.0, 0.5), st.floats(0.0, 3.0), st.floats(-1.0, 0.0), st.floats(0.0, 3.0),
    st.floats(-4.0, 0.0), st.floats(0.0, 2.0), st.integers(1, 30), st.integers(1, 4),
)  # fmt: skip
def test_a_train_that_can_be_read_has_a_setting_that_can_be_assessed(
    base, pulse, pulse_span, spacing, spacing_span, rate, rate_span, number, times
):
    """No case is read only to be refused afterwards in words that name no field."""

    def span(low, width, unit):
        return f'["{10**low:.3g} {unit}", "{10 ** (low + width):.3g} {unit}"]'

    text = (
        f'kind = "pulse train"\npulse_energy = "1 mJ"\npulse_duration = {span(base + pulse, pulse_span, "s")}\n'
        f"repetition_rate = {span(rate - base, rate_span, 'Hz')}\n"
        f"burst = {{ pulses = [{number}, {number * times}], spacing = {span(base + spacing, spacing_span, 's')} }}\n"
    )
    duty = (
        f'kind = "pulse train"\npulse_energy = "1 mJ"\nduty = ["{10 ** (base + pulse):.3g}", "1"]\n'
        f"repetition_rate = {span(-base + 4 * spacing, rate_span, 'Hz')}\n"
    )
    for emission in (text, duty):
        try:
            case = parse_case(with_emission(emission))
        except CaseError:
            continue
        tried = trains(space_of(case.laser[0]))
        assert tried.energy.size > 0


def test_knobs_are_printed_with_what_they_bring():
    assessment = assess(parse_case(MARKER))
    eye = assessment.settings[0]
    found = {effect.knob: effect for effect in eye.effects}
    assert set(found) == {"mean power", "pulse energy", "pulse duration", "repetition rate"}
    assert found["mean power"].then == "15.00 W (half)"
    assert 0.0 < found["repetition rate"].ratio < 1.0
    printed = sheet_text(assessment)
    assert "15.00 W (half)" in printed
    assert "of now" in printed


def test_fixed_continuous_light_has_no_setting_report():
    text = with_emission('kind = "continuous"\npower = "30 W"\n')
    assert assess(parse_case(text)).settings == ()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (BURST.replace("5,", "2.5,"), "laser[1].emission.burst.pulses: 2.5: a burst has whole pulses"),
        (BURST.replace("20 ns", "2 us"), "do not fit into the 5.00 us between bursts at 200 kHz"),
        (BURST.replace("20 ns", "100 fs"), "must be 1 ps or more"),
        (BURST.replace('"300 fs"', '"30 ns"'), "20 ns is shorter than the pulse of 30 ns"),
        (
            BURST.replace('"300 fs"', '"1.5 us"').replace('"20 ns"', '["20 ns", "10 us"]'),
            "burst.spacing: 20 ns to 10 us cannot be less than the pulse of 1.5 us, and 5 pulses that far apart do not "
            "fit into the 5.00 us between bursts at 200 kHz; check the four",
        ),
        (DUTY.replace('"1 kHz"', '"1 MHz"').replace('"20 %"', '["1e-9", "20 %"]'), "duty: 1e-9 at 1 MHz makes a pulse"),
        (DUTY.replace('"1 kHz"', '"1e-6 Hz"'), "must be 100 fs or more, and at most 30000 s"),
        (BURST.replace("spacing", "gap"), "laser[1].emission.burst.spacing: missing"),
        (DUTY.replace('"20 %"', '"120 %"'), "must be above 0 and at most 1"),
        (DUTY + 'pulse_duration = "1 us"\n', "one follows from the other, leave one out"),
        (DUTY.replace('duty = "20 %"\n', ""), "missing; write pulse_duration, as '100 ns', or duty, as '20 %'"),
        (LIST.replace('"5 ms"', '"0.5 ms"'), "0.5 ms is before the end of the pulse above at 1.00 ms"),
        (LIST.replace('"100 ms"', '"6 ms"'), "6 ms is shorter than the list, which ends after 7.00 ms"),
        (LIST.replace('energy = "60 mJ"\n', ""), "laser[1].emission.pulses[2].energy: missing"),
        (LIST[: LIST.index("[[")], "laser[1].emission.pulses: missing; write one table [[laser.emission.pulses]]"),
        (MODES.replace("waveform 2", "waveform 1"), "is also the name of modes[1]"),
        (MODES.replace('pulse_energy = "60 uJ"\nmean_power = "30 W"\n', ""), "modes[2].pulse_energy: missing; write"),
        (MODES.replace('"4 ns"', '"4 ms"'), "4 ms is longer than the period of 2.00 us"),
        ('kind = "pulse lists"\n', "did you mean 'pulse list'?"),
    ],
)
def test_bad_pulses_are_refused_at_their_line(text, message):
    faults = refused(with_emission(text))
    found = [fault for fault in faults if message in fault]
    assert found, faults
    line = int(found[0].split(":")[0].removeprefix("line "))
    lines = with_emission(text).splitlines()
    first = lines.index("[laser.emission]") + 1
    assert first <= line <= first + len(text.splitlines()) + 1


def test_the_doses_of_all_visits_of_a_day_add_up():
    assessment = assess(parse_case(with_visits("900 s")))
    eye, skin = assessment.ultraviolet
    assert (eye.person, eye.tissue, eye.band) == ("Camera crew", "eye", "315-400 nm")
    assert eye.below
    assert skin.ratio > 0.0
    once = assess(parse_case(with_visits("2700 s"))).ultraviolet[0]
    parts = [step.value for step in eye.steps[:-1]]
    assert eye.ratio == pytest.approx(sum(parts), rel=1e-12)
    more = 4500.0 / 2700.0  # the dose limit is one for the whole day, but for a last pulse of each visit
    assert once.ratio == pytest.approx(eye.ratio * more, rel=1e-7)
    own = [s for s in assessment.scenarios if s.person == "Camera crew" and s.way == "scatter"]
    assert {s.duration for s in own} == {2700.0}
    assert all("2 visits of the day" in s.duration_reason for s in own)
    printed = sheet_text(assessment)
    assert "sum over all visits of dose / limit(time of all visits) <= 1" in printed
    assert "first take" in printed
    assert as_json(assessment)["ultraviolet_days"][0]["ratio"] == eye.ratio


DAY = (
    HEAD
    + """
[settings]
surfaces_complete = true
[[surface]]
name = "plate"
material = "card"
finish = "matt"
reflectance = 0.9
distance = "1 m"
[[laser]]
name = "Lamp"
wavelength = "{wavelength}"
[[laser.setup]]
name = "Bare"
kind = "collimated"
beam_diameter = "30 mm"
divergence = "1 mrad"
criterion = "1/e"
profile = "top-hat"
work_distance = "1 m"
[[person]]
name = "Visitor"
role = "crew"
distance = "6 m"
distance_from_work = "5 m"
[[person.visits]]
way = "{way}"
time = "{time}"
[laser.emission]
"""
)
THREE = """kind = "pulse list"
pulses = [
  {start = "0 s", duration = "1 ms", energy = "1 J"},
  {start = "1 s", duration = "1 ms", energy = "1 J"},
  {start = "2 s", duration = "1 ms", energy = "0.5 J"},
]
"""
SLOW = 'kind = "pulse train"\npulse_energy = "1 J"\npulse_duration = "1 ms"\nrepetition_rate = "{rate}"\n'
WAVEFORMS = """kind = "mode table"
[[laser.emission.modes]]
name = "strong"
pulse_energy = "20 mJ"
pulse_duration = "1 ns"
repetition_rate = "1 Hz"
[[laser.emission.modes]]
name = "quick"
pulse_energy = "1.2 uJ"
pulse_duration = "100 ns"
repetition_rate = "100 kHz"
"""


@pytest.mark.parametrize(
    ("emission", "energy"),
    [
        pytest.param(THREE, 2.5, id="list that comes once"),
        pytest.param('repeat_every = "40 s"\n' + THREE, 2.5, id="list that comes again later"),
        pytest.param('repeat_every = "8 s"\n' + THREE, 7.5, id="third list that begins"),
        pytest.param(SLOW.format(rate="0.03 Hz"), 1.0, id="less than a period"),
        pytest.param(SLOW.format(rate="0.13 Hz"), 3.0, id="2.6 periods"),
        pytest.param(WAVEFORMS, 2.4, id="highest mean power of a table"),
    ],
)
def test_the_dose_of_a_visit_holds_every_pulse_that_begins_in_it(emission, energy):
    text = DAY.format(wavelength="313 nm", way="direct", time="20 s") + emission
    days = assess(parse_case(text), wanted="short").ultraviolet
    wide = 30e-3**2 + 6e-3**2  # of an even beam at 6 m
    dose = energy / (math.pi / 4.0 * wide)
    for day in days:  # 10^(0.2 (313 - 295)) J/m2, or 4000 J/m2 of the list
        assert day.ratio == pytest.approx(dose / 10**3.6, rel=1e-6)


TURNED = """kind = "pulse train"
mean_power = "50 mW"
pulse_energy = "{energy}"
pulse_duration = "1 ms"
repetition_rate = ["{low}", "{high}"]
"""
BURSTS = 'burst = {{ pulses = {most}, spacing = "10 ms" }}\n'


@pytest.mark.parametrize(
    ("low", "high", "energy", "burst"),
    [
        pytest.param(0.05, 100.0, 1.0, 1, id="between the rates that are tried"),
        pytest.param(0.01, 100.0, 0.3, 1, id="cap of a pulse"),
        pytest.param(0.01, 0.03, 1.0, 1, id="slow"),
        pytest.param(0.01, 10.0, 0.3, 4, id="bursts"),
    ],
)
def test_the_dose_of_a_visit_bounds_what_any_setting_brings(low, high, energy, burst):
    # By brute force: every rate of a fine grid, the most energy that it allows, and every pulse that begins in 20 s.
    time, highest = 20.0, 0.0
    for rate in np.geomspace(low, high, 20001).tolist():
        for number in range(1, burst + 1):
            whole = number * min(energy, 50e-3 / rate / number)
            highest = max(highest, whole * math.ceil(time * rate - 1e-6))
    text = DAY.format(wavelength="313 nm", way="direct", time="20 s")
    text += TURNED.format(energy=f"{energy} J", low=f"{low} Hz", high=f"{high} Hz")
    text += BURSTS.format(most=[1, burst]) if burst > 1 else ""
    dose = highest / (math.pi / 4.0 * (30e-3**2 + 6e-3**2))
    for day in assess(parse_case(text), wanted="short").ultraviolet:
        assert dose / 10**3.6 * (1.0 - 1e-9) <= day.ratio <= 1.11 * dose / 10**3.6


def test_what_eyewear_lets_through_of_a_visit_counts_in_the_dose_of_the_day():
    # 266 nm, 30 J/m2: 20 mW over 30 mm and 6 mm bring 27.2 W/m2 in the beam, 0.9 of it by the plate, which scatters
    # 20 mW 0.9 / (pi 25 m2). For 10 s each: 9.07, 8.16 and 7.6e-5 times the limit; D LB5 leaves 1e-5 of the first two.
    visits = "".join(f'[[person.visits]]\nway = "{way}"\ntime = "10 s"\n' for way in ("mirror", "scatter"))
    text = DAY.format(wavelength="266 nm", way="direct", time="10 s") + 'kind = "continuous"\npower = "20 mW"\n'
    text = text.replace("[laser.emission]", visits + "[laser.emission]")
    text = text.replace('"crew"\n', '"crew"\neyewear = "266 D LB5"\n')
    beam = 20e-3 / (math.pi / 4.0 * (30e-3**2 + 6e-3**2)) * 10.0 / 30.0
    scatter = 20e-3 * 0.9 / (math.pi * 5.0**2) * 10.0 / 30.0
    assessment = assess(parse_case(text))
    days = {one.tissue: one for one in assessment.ultraviolet}
    assert days["eye"].ratio == pytest.approx(1.9 * beam * 1e-5 + scatter, rel=1e-6)
    assert days["skin"].ratio == pytest.approx(1.9 * beam + scatter, rel=1e-6)
    assert [one.partition(":")[0] for one in days["eye"].visits] == [
        "Lamp, direct, 10 s, behind eyewear '266 D LB5' as marked",
        "Lamp, mirror, 10 s, behind eyewear '266 D LB5' as marked", "Lamp, scatter, 10 s",
    ]  # fmt: skip


PLACES = (
    """kind = "continuous"
power = "20 mW"
[scene]
"""
    + aim("Lamp", "1.5 m", "")
    + """[[scene.surface]]
name = "plate"
position = ["0 m", "1 m"]
height = "1.5 m"
normal = "135 deg"
width = "0.1 m"
shape = "flat"
fixed = true
[[scene.person]]
name = "Visitor"
position = ["0.5 m", "1 m"]
eye_height = "1.5 m"
"""
)


def test_the_dose_of_a_visit_is_that_of_the_place_in_a_scene():
    text = DAY.format(wavelength="266 nm", way="scatter", time="1200 s") + PLACES
    assessment = assess(parse_case(text.replace("30 mm", "3 mm")))
    (row,) = [s for s in assessment.scenarios if (s.way, s.tissue) == ("scatter", "eye") and "running" in s.modes]
    apart = 0.5  # m beside the spot, at 45 degrees to its normal; 5 m is what is typed
    assert row.ratio >= 20e-3 * 0.9 * math.cos(math.pi / 4) / (math.pi * apart**2) * 1200.0 / 30.0
    for day in assessment.ultraviolet:
        assert day.ratio >= row.ratio * (1.0 - 1e-9)


def test_a_day_above_the_limit_refuses_the_decision():
    from lasersafe.assessment.decision import Sentences
    from lasersafe.wording import load_wording

    case = parse_case(with_visits("900 s"))
    assessment, say = assess(case), Sentences(case, load_wording("en"))
    passed = dataclasses.replace(assessment.decision, passed=True)
    bad = tuple(dataclasses.replace(day, ratio=1.2, below=False) for day in assessment.ultraviolet)
    assert say.with_days(passed, assessment.ultraviolet) == passed
    refused_one = say.with_days(passed, bad)
    assert not refused_one.passed
    assert "add up to 1.20 times" in refused_one.reasons[0]
    assert "ultraviolet doses of a day" in refused_one.verdict


def test_a_visit_counts_what_comes_on_a_way_that_is_not_struck_out_with_its_own():
    """Straight light is struck out, and half of the beam passes through the target: 600 s of it are in the day.

    By hand 6 m away, 8.49 mm wide: 1 mW * (1 - exp(-(3.5 / 8.49)^2)) / 9.62 mm2 = 16.3 W/m2, half of it for 600 s is
    0.49 of 1e4 J/m2. The day counted nothing, however much came.
    """
    text = (
        HEAD
        + """\
[settings]
surfaces_complete = true
[[laser]]
name = "L"
class_label = "4"
wavelength = "355 nm"
fibre = false
[laser.emission]
kind = "continuous"
power = "1 mW"
[[laser.setup]]
name = "S"
kind = "collimated"
beam_diameter = "6 mm"
divergence = "1 mrad"
criterion = "1/e"
work_distance = "5 m"
[[surface]]
name = "Plate"
material = "glass"
finish = "mirror"
reflectance = 0.001
transmittance = 0.5
distance = "5 m"
[[person]]
name = "P"
role = "crew"
distance = "6 m"
distance_from_work = "2 m"
in_beam_possible = {possible}
[[person.visits]]
way = "direct"
time = "600 s"
"""
    )
    days = [
        {
            day.tissue: day.ratio
            for day in assess(parse_case(text.replace("{possible}", word)), wanted="short").ultraviolet
        }
        for word in ("true", "false")
    ]
    # limit of 315 nm to 400 nm for 600 s: 1e4 J/m2; eye and skin over 3.5 mm
    width = math.hypot(6e-3, 6e-3)
    there = 1e-3 * (1.0 - math.exp(-((3.5e-3 / width) ** 2))) / (math.pi * 3.5e-3**2 / 4.0)
    for tissue in ("eye", "skin"):
        assert days[0][tissue] == pytest.approx(there * 600.0 / 1e4, rel=1e-6)
        assert days[1][tissue] == pytest.approx(days[0][tissue] / 2.0, rel=1e-9)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('time = "900 s"', 'time = "900"', "person[3].visits[2].time"),
        ('way = "scatter"\ntime = "1800 s"', 'way = "wall"\ntime = "1800 s"', "person[3].visits[1].way"),
        ('note = "first take"', 'laser = "Glas marker"', "did you mean 'Glass marker'?"),
        ('distance = "1.5 m"\n', 'distance = "1.5 m"\ntime = "60 s"\ntime_reason = "x"\n', "are given beside time"),
    ],
)
def test_bad_visits_are_refused(old, new, message):
    text = with_visits("900 s")
    assert old in text
    assert any(message in fault for fault in refused(text.replace(old, new, 1)))


def test_pulses_and_visits_reach_the_fingerprint():
    for text, other in (
        (with_emission(LIST), with_emission(LIST.replace("20 mW", "21 mW"))),
        (with_emission(BURST), with_emission(BURST.replace("pulses = 5", "pulses = 6"))),
        (with_visits("900 s"), with_visits("901 s")),
    ):
        assert canonical(parse_case(text)) != canonical(parse_case(other))


BEAM = collimated((3e-3, 3e-3), (1e-3, 1e-3), "1/e", "gaussian")


@pytest.mark.parametrize(
    ("power", "lam", "label", "computed", "lower"),
    [
        (0.3e-3, 633e-9, "1", "1", False),
        (0.9e-3, 633e-9, "Class 2", "2", False),
        (4e-3, 633e-9, "2", "3R", True),
        (0.4, 633e-9, "3R", "3B", True),
        (0.6, 633e-9, "3B", "4", True),
        (0.6, 633e-9, "4", "4", False),
        (0.6, 633e-9, "none", "4", False),
        (1.0, 10.6e-6, "1", "4", True),
        (0.01, 10.6e-6, "1", "no figures", False),
    ],
)
def test_class_next_to_the_label(power, lam, label, computed, lower):
    finding = class_check((continuous(power),), BEAM, lam, label)
    assert (finding.computed, finding.label_is_lower) == (computed, lower)


def test_optics_make_an_m_class():
    wide = collimated((40e-3, 40e-3), (1e-4, 1e-4), "1/e", "gaussian")  # 3 % through 7 mm, nearly all through 50 mm
    assert class_check((continuous(5e-3),), wide, 850e-9, "1").computed == "1M"
    assert class_check((continuous(1e-2),), wide, 633e-9, "1").computed == "1M"
    assert class_check((continuous(2.5e-2),), wide, 633e-9, "1").computed == "2M"


@pytest.mark.parametrize(
    ("power", "lam", "waist", "angle", "computed"),
    [
        # 1 - exp(-(D / d)^2) of a beam of 20 mm: 3 % through 3.5 mm, 78 % through 24.5 mm, against 10 mW
        (30e-3, 1550e-9, 20e-3, 1e-4, "1M"),
        (12e-3, 1550e-9, 20e-3, 1e-4, "1"),
        # of 10 mm: 1 % through 1 mm, 39 % through 7 mm, against 7.9 uW
        (100e-6, 350e-9, 10e-3, 1e-4, "1M"),
        (19e-6, 350e-9, 10e-3, 1e-4, "1"),
        # all of it through 1 mm at the source, 0.04 % of it at 100 mm: 3e4 s * 10 nW are 0.3 mJ, against 24 uJ
        (1e-8, 250e-9, 0.2e-3, 0.5, "3B"),
        (1.0, 10.6e-6, 0.2e-3, 0.5, "4"),
    ],
)
def test_apertures_and_distances_of_the_measuring_conditions(power, lam, waist, angle, computed):
    beam = collimated((waist, waist), (angle, angle), "1/e", "gaussian")
    assert class_check((continuous(power),), beam, lam, "1").computed == computed


def test_a_label_that_is_too_low_is_warned_about_and_never_a_classification():
    text = MARKER.replace('class_label = "4"', 'class_label = "2"')
    check = assess(parse_case(text)).class_checks[0]
    assert check.label_is_lower
    assert "The label is lower than the computed emission" in check.sentence
    assert "only the manufacturer classifies a product" in check.sentence
    assert "This is not a classification" in sheet_text(assess(parse_case(text)))


@pytest.mark.parametrize(
    ("text", "name"), [("4", "4"), ("Class 3b", "3B"), ("laser class 1M", "1M"), ("IV", ""), ("14", "")]
)
def test_label_class(text, name):
    assert label_class(text) == name


BOARD = (
    HEAD
    + """
[settings]
surfaces_complete = true
[[laser]]
name = "L"
wavelength = "355 nm"
fibre = false
[laser.emission]
kind = "continuous"
power = "{power} W"
[[laser.setup]]
name = "Bare"
kind = "collimated"
criterion = "1/e"
beam_diameter = "10 mm"
divergence = "20 mrad"
work_distance = "1 m"
[[person]]
name = "Visitor"
role = "crew"
distance = "30 m"
distance_from_work = "2 m"
aided = {aided}
[[person.visits]]
way = "direct"
time = "20 s"
[[person.visits]]
way = "scatter"
time = "1000 s"
[[surface]]
name = "board"
material = "card"
finish = "matt"
reflectance = {reflectance}
distance = "1 m"
"""
)


def test_a_visit_with_an_instrument_counts_what_it_gathers_of_scatter_as_well():
    """Each way alone is below: 7x50 gathers 49 times of the beam for 20 s, and of the scatter for 1000 s.

    By hand 2.5 W on 0.6001 m, and half of it from 2 m away: (8.839 * 20 + 0.09947 * 1000) * 49 / 1e4 = 1.353. The day
    counted the bare eye of the scatter: 0.876.
    """
    found = assess(parse_case(BOARD.format(power="2.5", aided="true", reflectance="0.5")))
    (day,) = [day for day in found.ultraviolet if day.tissue == "eye"]
    beam, scatter = (2.5 / (math.pi * 0.6001**2 / 4.0), 1.25 / (4.0 * math.pi))
    assert day.ratio == pytest.approx((beam * 20.0 + scatter * 1000.0) * 49.0 / 1e4, rel=1e-3)
    assert not day.below


@pytest.mark.parametrize(
    "struck", ["", '[[strike_out]]\nway = "scatter"\nperson = "Visitor"\nreason = "not any board"\n']
)
def test_a_visit_to_scatter_counts_an_extended_source_as_well(struck):
    """All of 100 W leaves a diffuser 2 m away, 7.958 W/m2 for 1000 s, beside 353.6 W/m2 for 20 s of the beam.

    The day counted what a dark board scatters, 0.398 W/m2, or nothing where that is struck out.
    """
    glow = '[[extended]]\nname = "diffuser"\nlaser = "L"\nsize = "20 mm"\n'
    found = assess(parse_case(BOARD.format(power="100", aided="false", reflectance="0.05") + glow + struck))
    beam, scatter = (100.0 / (math.pi * 0.6001**2 / 4.0), 100.0 / (4.0 * math.pi))
    for day in found.ultraviolet:
        assert day.ratio == pytest.approx((beam * 20.0 + scatter * 1000.0) / 1e4, rel=1e-3)
        assert not day.below
