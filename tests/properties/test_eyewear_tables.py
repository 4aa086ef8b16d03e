"""A damaged data file is refused, whatever the damage: no key too many or too few, no gap, no overlap."""

from __future__ import annotations

import re
from functools import partial
from itertools import count

import pytest

from lasersafe.data import load, shared_path
from lasersafe.errors import ReferenceDataError
from lasersafe.hazard import eyewear_scale

READERS = {
    "en207_2017.toml": partial(load, eyewear_scale.En207),
    "en208.toml": partial(load, eyewear_scale.En208),
    "en12254.toml": partial(load, eyewear_scale.En12254),
    "iec60825_4.toml": partial(load, eyewear_scale.Iec60825Part4),
}
NUMBER = count()
OPTIONAL = {"lower_coefficient"}


def text_of(name: str) -> str:
    return shared_path("eyewear", name).read_text(encoding="utf-8")


def lines_of(name: str) -> list[int]:
    return [number for number, line in enumerate(text_of(name).splitlines()) if line and not line.startswith("#")]


def read(tmp_path, name: str, text: str):
    path = tmp_path / f"{next(NUMBER)}_{name}"  # files are cached by path
    path.write_text(text, encoding="utf-8")
    return READERS[name](path)


@pytest.mark.parametrize("name", READERS)
def test_the_file_as_shipped_is_read(tmp_path, name):
    assert read(tmp_path, name, text_of(name)) == READERS[name](shared_path("eyewear", name))


@pytest.mark.parametrize("name", READERS)
def test_any_line_left_out_is_noticed(tmp_path, name):
    lines = text_of(name).splitlines()
    for number in lines_of(name):
        if lines[number].split(" ")[0] in OPTIONAL:
            continue
        with pytest.raises(ReferenceDataError, match="data file"):
            read(tmp_path, name, "\n".join(lines[:number] + lines[number + 1 :]))


@pytest.mark.parametrize("name", READERS)
def test_a_key_too_many_is_noticed_in_every_table(tmp_path, name):
    lines = text_of(name).splitlines()
    headings = [number for number in lines_of(name) if lines[number].startswith("[")]
    assert len(headings) > 1
    for number in headings:
        with pytest.raises(ReferenceDataError, match="key 'spare' is not known; known: "):
            read(tmp_path, name, "\n".join([*lines[: number + 1], "spare = 1", *lines[number + 1 :]]))


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize("value", ["-1", "true", '"x"', "nan", "[1, 1]", "[]", "{}", '""', "inf"])
def test_a_value_of_the_wrong_kind_is_noticed(tmp_path, name, value):
    lines = text_of(name).splitlines()
    tried = 0
    for number in lines_of(name):
        key, _, old = lines[number].partition(" = ")
        if not old or old == value:
            continue
        free_text = key in ("key", "locator", "errata", "transmittance", "use", "name") and value == '"x"'
        if free_text or (key, value) in (("offset", "-1"), ("observed", "true")):
            continue
        tried += 1
        with pytest.raises(ReferenceDataError, match="data file"):
            read(tmp_path, name, "\n".join([*lines[:number], f"{key} = {value}", *lines[number + 1 :]]))
    assert tried > 3


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("wavelength_nm = [315, 1400]", "wavelength_nm = [316, 1400]", "gap from 315 to 316"),
        ("wavelength_nm = [315, 1400]", "wavelength_nm = [314, 1400]", "overlap from 314 to 315"),
        ("wavelength_nm = [180, 315]", "wavelength_nm = [181, 315]", "gap from 180"),
        ("wavelength_nm = [1400, 1000000]", "wavelength_nm = [1400, 10000]", "must reach 1e+06"),
        ("pulse_duration_s = [1e-9, 1e-6]", "pulse_duration_s = [2e-9, 1e-6]", "gap"),
        ("diameter_mm = [15.0, inf]", "diameter_mm = [14.0, inf]", "overlap"),
        ("wavelength_nm = [1050, 1400]\ntime_s", "wavelength_nm = [1051, 1400]\ntime_s", "merge: gap"),
        ('modes = "M"', 'modes = "D"', "overlap"),
        ('modes = "IR"', 'modes = "IX"', "letters out of D, I, R, M"),
        ('letter = "M"', 'letter = "R"', "must stand once each"),
        ("lowest = 1", "lowest = 11", "below 'highest'"),
        ('seen = "part"', 'seen = "heard"', "seen 'heard' is not known; known: read, part, memory"),
        ('unit = "J/m2"', 'unit = "J/cm2"', "unit 'J/cm2' is not known; known: W/m2, J/m2"),
    ],
)
def test_damage_to_the_tables_is_named(tmp_path, old, new, words):
    text = text_of("en207_2017.toml")
    assert old in text
    with pytest.raises(ReferenceDataError, match=re.escape(words)):
        read(tmp_path, "en207_2017.toml", text.replace(old, new, 1))


def test_the_lower_of_two_printed_figures_is_used():
    ultraviolet = next(row for row in load(eyewear_scale.En207).capacities if row.modes == "M" and row.unit == "W/m2")
    assert (ultraviolet.coefficient, ultraviolet.wavelength_nm) == (1.0, (180, 315))
    assert 'coefficient = "3"\nlower_coefficient = "1"' in text_of("en207_2017.toml")


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("en208.toml", "number = 3", "number = 4", "without a gap"),
        ("en208.toml", "power_w = 1.0", "power_w = 0.1", "powers must rise"),
        ("iec60825_4.toml", 'name = "T2"', 'name = "T1"', "stands twice"),
    ],
)
def test_damage_to_the_smaller_tables_is_named(tmp_path, name, old, new, words):
    with pytest.raises(ReferenceDataError, match=words):
        read(tmp_path, name, text_of(name).replace(old, new, 1))
