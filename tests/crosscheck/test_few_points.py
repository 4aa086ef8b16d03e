"""Limits at few points, which take a path of their own, are bit for bit those that stand among many."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.hazard.distances import direct_distance
from lasersafe.hazard.exposure import Emission, Received, compare
from lasersafe.limits import exposure_limit, hazard_limits, rule_sets, tables
from lasersafe.limits.exposure import alike
from lasersafe.optics.beam import BeamGeometry
from tests.project import ROOT

TURNS = 15  # 60 000 points are more than one block


@pytest.mark.parametrize("tissue", ["eye", "skin"])
@pytest.mark.parametrize("rule_set", rule_sets())
def test_few_points_are_those_among_many(rule_set: str, tissue: str) -> None:
    chance = np.random.default_rng(7)
    size = 4000
    edges = np.array([400e-9, 700e-9, 1050e-9, 1400e-9, 302.5e-9, 1500e-9])
    wavelength = np.where(chance.random(size) < 0.2, chance.choice(edges, size), 10 ** chance.uniform(-6.74, -3, size))
    duration = np.where(
        chance.random(size) < 0.2, chance.choice([1e-9, 1e-3, 10.0, 100.0], size), 10 ** chance.uniform(-13, 4.4, size)
    )
    angle = 10 ** chance.uniform(-4, 0, size)
    many = exposure_limit(rule_set, tissue, *(np.tile(column, TURNS) for column in (wavelength, duration, angle)))
    for name in ("radiant_exposure", "irradiance", "limiting_aperture", "piece"):
        turns = getattr(many, name).reshape(TURNS, size)
        assert (turns == turns[0]).all(), name
    start = 0
    while start < size:
        part = slice(start, min(start + int(chance.choice([1, 2, 7, 40, 400])), size))
        few = exposure_limit(rule_set, tissue, wavelength[part], duration[part], angle[part])
        for name in ("radiant_exposure", "irradiance", "limiting_aperture", "piece"):
            assert np.array_equal(getattr(few, name), getattr(many, name)[part]), (name, part)
        start = part.stop


def test_few_distances_are_those_among_many() -> None:
    chance = np.random.default_rng(8)
    size = 4000
    power, limit = 10 ** chance.uniform(-3, 4, size), 10 ** chance.uniform(0, 4, size)
    waist, angle = 10 ** chance.uniform(-4, -1, size), 10 ** chance.uniform(-4, -1, size)
    few = direct_distance(power, limit, 7e-3, BeamGeometry((waist, waist), (angle, angle)))
    power, limit, waist, angle = (np.tile(column, TURNS) for column in (power, limit, waist, angle))
    many = direct_distance(power, limit, 7e-3, BeamGeometry((waist, waist), (angle, angle)))
    assert (many.reshape(TURNS, size) == few).all()
    apart = direct_distance(power[:, None], limit[:1], 7e-3, BeamGeometry((waist[:1],) * 2, (angle[None, :2],) * 2))
    assert apart.shape == (TURNS * size, 2)
    at_waist = direct_distance(1.0, 10.0, 7e-3, BeamGeometry((1e-3, 1e-3), (1e-3, 1e-3), (np.zeros(3),) * 2))
    assert at_waist.shape == (3,)  # of places of the waist alone, also where all are 0


@pytest.mark.parametrize("rule_set", rule_sets())
def test_wavelengths_that_stand_for_many_have_their_limits(rule_set: str) -> None:
    # 1050 nm ends the slope of C_A: 200 wavelengths below it and on it stand for themselves, the others are alike
    chance = np.random.default_rng(9)
    wavelength = np.concatenate([chance.uniform(1050.1e-9, 1149e-9, 3000), chance.uniform(1e-6, 1.05e-6, 200)])
    wavelength[-1] = 1050e-9
    own, number = alike(rule_set, "eye", wavelength)
    assert number is not None
    assert own.size < 210
    for name in ("retina thermal", "cornea thermal"):
        for time, angle in ((1e-8, 1.5e-3), (10.0, 1.5e-3), (100.0, 20e-3)):
            every = {h.name: h for h in hazard_limits(rule_set, "eye", wavelength, time, angle)}
            told = {h.name: h for h in hazard_limits(rule_set, "eye", own, time, angle)}
            assert every.keys() == told.keys()
            if name in every:
                np.testing.assert_array_equal(told[name].radiant_exposure[number], every[name].radiant_exposure)
    train = Emission("pulse train", pulse_energy=1e-3, pulse_duration=1e-8, repetition_rate=1e4)
    for emission in (Emission("continuous", power=np.linspace(1.0, 2.0, wavelength.size)), train):
        compared = compare(Received(rule_set, "eye", emission, wavelength, 10.0))
        lowest = np.min([np.broadcast_to(one.limit, wavelength.shape) for one in compared], axis=0)
        for at in (0, 2999, 3000, 3100, 3199):
            alone = compare(Received(rule_set, "eye", emission, float(wavelength[at]), 10.0))
            assert lowest[at] == pytest.approx(min(float(one.limit.min()) for one in alone), rel=1e-12)


def test_a_limit_that_is_never_the_lowest_still_depends_on_the_wavelength(monkeypatch, tmp_path) -> None:
    # Over another aperture a higher limit can be the stricter one, so it is not told by another nm:
    # 1e15 x 10^(0.002 (nm - 500)) W/m2 at 510 and 990 nm differ by 10^0.96, the skin's limit not at all.
    for file in (ROOT / "tests" / "editions" / "made_up").iterdir():
        text = file.read_text().replace('"MADE-UP"', '"SLOPED"').replace('"madeup"', '"sloped"')
        text = text.replace('"infrared", "skin"', '"infrared", "cornea", "cs", "skin"')
        (tmp_path / file.name.replace("madeup", "sloped")).write_text(text)
    head = '[source]\nkey = "SLOPED"\nlocator = "none"\nseen = "memory"\nerrata = "none known"\n[table]\n'
    (tmp_path / "sloped_cornea.toml").write_text(
        head + 'kind = "limit"\nhazard = { skin = "cornea thermal" }\naperture = "eye"\n'
        'unit = { wavelength = "nm", duration = "s", H = "J/m2", E = "W/m2" }\n'
        'row = [{ wavelength = ["395", "1410"], duration = ["1e-13", "3e4"], E = "1e15", factors = ["C_S"] }]\n'
    )
    (tmp_path / "sloped_cs.toml").write_text(
        head + 'kind = "factor"\nname = "C_S"\nmeaning = "a slope"\nunit = { wavelength = "nm", value = "1" }\n'
        'row = [{ wavelength = ["395", "1410"], slope = "0.002", origin = "500" }]\n'
    )
    monkeypatch.setattr(tables, "MORE_FOLDERS", [tmp_path])
    wavelength = np.linspace(510e-9, 990e-9, 3000)
    light = Received("SLOPED", "skin", Emission("continuous", power=1.0), wavelength, 10.0)
    (cornea,) = (one for one in compare(light) if one.hazard == "cornea thermal")
    assert cornea.limit[-1] / cornea.limit[0] == pytest.approx(10**0.96)
