"""What is hung up or handed out names every wavelength of a laser, whether it can be seen, and eyewear for each."""

from __future__ import annotations

import io
import json
import unicodedata
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader

from lasersafe.assessment import assess
from lasersafe.data import templates_path
from lasersafe.drawing.primitives import Words
from lasersafe.models import parse_case
from lasersafe.results import Assessment
from lasersafe.sheet import PAPERS, back, render_sheet
from lasersafe.sheet.flow import Sheet
from lasersafe.wording import load_wording
from tests.behaviour.command import run

STARTER = (templates_path("cases") / "nanosecond-marker.toml").read_text(encoding="utf-8")
PUMP = 'wavelength = "976 nm"\npower = "40 mW"\n'
GREEN = PUMP + '\n[[laser.line]]\nname = "green"\nwavelength = "{green}"\nshare = 0.01\n'


def case(green: str = "532 nm", extra: str = "") -> str:
    assert PUMP in STARTER
    text = STARTER.partition("\n[scene]\n")[0].replace(PUMP, GREEN.format(green=green))
    return text.replace('title = "', f'{extra}title = "', 1)


@cache
def assessed(green: str = "532 nm", extra: str = "") -> Assessment:
    return assess(parse_case(case(green, extra)))


def squeezed(text: str) -> str:
    return "".join(unicodedata.normalize("NFC", text).split())


def printed(kind: str, found: Assessment) -> str:
    return squeezed("".join(p.extract_text() for p in PdfReader(io.BytesIO(render_sheet(found, kind=kind))).pages))


@pytest.mark.parametrize("kind", ["sign", "card", "notice"])
def test_each_further_wavelength_stands_there_with_its_visibility_and_its_eyewear(kind: str, tmp_path: Path) -> None:
    # Operator and crew need, at 1064 nm, D LB7 for 30 W at 0.7 m and D LB6 at 1.5 m: whoever reads it is told the
    # higher number of each letter. 1 % of 1.5 mJ at most in a pulse at 532 nm: letter R there too.
    found = assessed()
    if kind == "notice":
        path = tmp_path / "case.toml"
        path.write_text(case(), encoding="utf-8")
        text = squeezed(run("notice", path).out)
    else:
        text = printed(kind, found)
    for wave, seen in ((1064, "invisible"), (976, "invisible"), (532, "visible")):
        needs = [need for need in found.eyewear if round(need.wavelength * 1e9) == wave]
        assert {need.person for need in needs} == {"Operator", "Camera crew", "Visitors at the counter"}
        numbers = {s.mode: max(n.scale_number or 99 for m in needs for n in m.scales if n.mode == s.mode)
                   for need in needs for s in need.scales}  # fmt: skip
        density = max(need.optical_density_exact for need in needs)
        ask = " + ".join(f"{mode} LB{max(numbers[mode], -int(-density // 1))}" for mode in "DR" if mode in numbers)
        assert squeezed(f"wavelength {wave} nm, {seen}") in text
        assert squeezed(f"Eyewear inside: {wave} {ask}, optical density at least") in text
    assert "Visibleandinvisiblelaserradiation" in text or kind != "sign"


def test_the_notice_as_json_lists_the_further_wavelengths(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(case(), encoding="utf-8")
    (laser,) = json.loads(run("notice", path, "--json").out)["lasers"]
    lines = laser["further_wavelengths"]
    assert [(line["name"], line["seen"]) for line in lines] == [
        ("residual pump light", ["invisible"]), ("green", ["visible"])
    ]  # fmt: skip
    assert lines[0]["power_W"] == [0.04, 0.04]
    assert [line["eyewear"].split()[0] for line in (laser, *lines)] == ["1064", "976", "532"]


def test_a_tolerance_over_the_end_of_the_visible_is_called_both() -> None:
    # 690 nm +- 20 nm goes from 670 to 710 nm, over the end of the visible at 700 nm.
    (laser,) = assessed("690 nm +- 20 nm").record.lasers
    assert [line.seen for line in (laser, *laser.lines)] == [("invisible",), ("invisible",), ("visible", "invisible")]


def test_the_card_in_german_names_them_too() -> None:
    text = printed("card", assessed(extra='language = "de"\n'))
    assert squeezed("green: Wellenlänge 532 nm, sichtbar;") in text
    assert squeezed("residual pump light: Wellenlänge 976 nm, unsichtbar;") in text


def test_the_power_on_card_and_notice_holds_bursts_and_pedestal(tmp_path: Path) -> None:
    # 1 uJ in bursts of 5 at 20 kHz are 0.1 W; with 2 W under them 2.1 W leave the laser.
    emission = STARTER[STARTER.index('mean_power = "30 W"') : STARTER.index("# burst =")]
    burst = 'pulse_energy = "1 uJ"\nburst = { pulses = 5, spacing = "1 us" }\npedestal_power = "2 W"\n'
    text = case().replace(emission, burst).replace('["20 kHz", "500 kHz"]', '"20 kHz"')
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    assert "mean power up to 2.1 W" in run("notice", path).out


@pytest.mark.parametrize("name", ["lines-visible", "lines-infrared"])
def test_the_steps_of_a_scenario_lead_to_its_exposure_and_its_limit(name: str) -> None:
    """They were those of the main beam for its own time: 47 100 W/m2 / 9780 below the 121 000 / 100 of the scenario."""
    text = (Path(__file__).parents[1] / "golden" / "cases" / f"{name}.toml").read_text(encoding="utf-8")
    found = assess(parse_case(text)).scenarios
    assert any(one.shares for one in found if one.steps)
    for one in (one for one in found if one.steps):
        value, share = (step for step in one.steps if step.symbol in ("E", "H", "E/E_limit", "H/H_limit"))
        assert value.value == one.exposure
        assert share.value == pytest.approx(one.exposure / one.limit, rel=1e-12)


def test_no_step_of_eyewear_is_printed_twice() -> None:
    """The steps of each mode stood below the person, and once more below the mode."""
    sheet = Sheet(PAPERS["A4"], (42.0, 44.0, 42.0, 53.0), assessed(), load_wording(), "A4")
    back.steps(sheet)
    texts = [mark.text for page in sheet.pages for mark in page.marks if isinstance(mark, Words)]
    scales = [scale for need in assessed().eyewear for scale in need.scales]
    last = load_wording("en").say(scales[0].steps[-1].meaning).split()[0]
    assert last == "scale"
    assert sum(text.startswith("scale number") for text in texts) == len(scales)


def test_the_load_of_a_barrier_and_its_reading_lead_from_each_wavelength() -> None:
    """E was 19 806 W/m2 of the main beam, and the share of the rating 20 400 / 5000, without a line between them.

    A sum of what each wavelength brings stands between; the expected reading names the power of each.
    """
    text = (Path(__file__).parents[1] / "golden" / "cases" / "lines-infrared.toml").read_text(encoding="utf-8")
    plate = '[[barrier]]\nname = "Plate"\ndistance = "2 m"\nrating = "1 MW/m2"\nrated_time = "100 s"\n'
    found = assess(parse_case(f"{text}\n{plate}"))
    assert found.barriers
    for one in found.barriers:
        first, every, share, *_ = one.steps
        peaks = [float(peak) for peak in every.numbers.split(" + ")]
        assert (first.symbol, every.symbol, share.symbol) == ("E", "ΣE", "E / E_R")
        assert peaks[0] == pytest.approx(first.value, rel=1e-4)
        assert sum(peaks) == pytest.approx(one.irradiance, rel=1e-4)
    (reading, *_) = [row for row in found.record.expected if row.where == "Plate" and row.way == "direct"]
    assert reading.numbers.count(" W / (π") == len(found.barriers[0].steps[1].numbers.split(" + "))
