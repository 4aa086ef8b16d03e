"""The data files of the scene: a gap, an overlap, an unknown key or a figure that cannot be is refused."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from lasersafe import data
from lasersafe.data import shared_path
from lasersafe.errors import ReferenceDataError
from lasersafe.hazard import barriers, instruments, other_rules
from lasersafe.optics import viewing

READERS: dict[str, Callable[[], Any]] = {
    "photopic/cie1924_v.toml": partial(data.load, other_rules._Photopic),
    "atmosphere/kruse.toml": partial(data.load, viewing.Kruse),
    "viewing/aids.toml": partial(data.load, instruments.Viewing),
    "cameras/thresholds.toml": partial(data.load, instruments._Thresholds),
    "ignition/screening.toml": partial(data.load, barriers._Screening),
    "reflectance/metals.toml": barriers.materials.__wrapped__,
    "reflectance/non_metals.toml": barriers.materials.__wrapped__,
    "spectator_rules/germany_shows.toml": other_rules.packs.__wrapped__,
}


def read_changed(name: str, old: str, new: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read a copy of the data with one change."""
    shutil.copytree(shared_path(), folder / "shared")
    path = folder / "shared" / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    for module in (data, other_rules):
        monkeypatch.setattr(module, "shared_path", lambda *parts: (folder / "shared").joinpath(*parts))
    data._loaded.cache_clear()
    try:
        READERS[name]()
    finally:
        data._loaded.cache_clear()


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("photopic/cie1924_v.toml", 'ac70 = "4.0e-4"', 'ac70 = "1.4"'),
        ("photopic/cie1924_v.toml", "wavelength = 410", "wavelength = 425"),
        ("photopic/cie1924_v.toml", 'wavelength = "nm"', 'wavelength = "um"'),
        ("atmosphere/kruse.toml", "[6, 50]", "[7, 50]"),
        ("atmosphere/kruse.toml", "contrast =", "contrst ="),
        ("atmosphere/kruse.toml", "reference_nm", "factor_of_mine = 1\nreference_nm"),
        ("viewing/aids.toml", "[400, 700]", "[410, 700]"),
        ("viewing/aids.toml", 'transmission = "0.9"', 'transmission = "1.9"'),
        ("viewing/aids.toml", 'magnification = "7"', 'magnificaton = "7"'),
        ("cameras/thresholds.toml", 'unit = "J/cm2"', 'unit = "W/cm2"'),
        ("cameras/thresholds.toml", 'mode = "nanosecond pulse"', 'mode = "pulses"'),
        ("ignition/screening.toml", 'irradiance_w_cm2 = "0.5"', 'irradiance_w_cm2 = "0"'),
        ("ignition/screening.toml", 'power_w = "0.5"', 'power = "0.5"'),
        ("reflectance/metals.toml", 'value = "0.96"', 'value = "9.6"'),
        ("ignition/screening.toml", 'power_w = "0.5"', 'power_w = "half"'),
        ("reflectance/metals.toml", 'value = "0.96"', 'value = "most"'),
        ("reflectance/metals.toml", "wavelength_nm = 532", "wavelength_nm = 440"),
        ("reflectance/metals.toml", 'seen = "memory"', 'seen = "guessed"'),
        ("reflectance/metals.toml", 'key = "gold"', 'key = "copper"'),
        ("reflectance/non_metals.toml", 'low = "0.7"', 'low = "0.95"'),
        ("spectator_rules/germany_shows.toml", 'fact = "lateral_gap"', 'fact = "lateral gap"'),
        ("spectator_rules/germany_shows.toml", 'value = "2.70"', 'value = "about 2.70"'),
        ("spectator_rules/germany_shows.toml", 'key = "germany_shows"', 'key = "germany"'),
        ("spectator_rules/germany_shows.toml", 'unit = "m"', 'units = "m"'),
    ],
)
def test_a_damaged_file_is_refused(name, old, new, tmp_path, monkeypatch):
    with pytest.raises(ReferenceDataError, match=Path(name).name) as caught:
        read_changed(name, old, new, tmp_path, monkeypatch)
    assert "\n" not in str(caught.value)


def test_a_copy_without_a_change_is_read(tmp_path, monkeypatch):
    for number, name in enumerate(READERS):
        read_changed(name, "[source]", "[source]", tmp_path / str(number), monkeypatch)
