"""Zones with inputs as arrays against one assessment for each case, for every kind of laser and set-up."""

from __future__ import annotations

import numpy as np
import pytest

from lasersafe.assessment.context import contexts
from lasersafe.assessment.distances import exposure_ratios, variable_inputs, zone_distances
from lasersafe.assessment.scene_matrix import placed_case
from lasersafe.assessment.setups import setup_result
from lasersafe.assessment.uncertainty import possible_cases
from lasersafe.data import templates_path
from lasersafe.errors import CalcError, InputError
from lasersafe.limits import rule_sets
from lasersafe.models import read_case
from tests.crosscheck.varied_cases import context_of, directions

TEMPLATES = sorted(templates_path("cases").glob("*.toml"))
CLOSE = 5e-14  # relative: both searches end at neighbouring numbers

CONTINUOUS = {"kind": "continuous", "power": 40.0}
PULSE = {"kind": "single pulse", "pulse_energy": 0.04, "pulse_duration": 8e-9}
TRAIN = {"kind": "pulse train", "pulse_energy": 2e-3, "pulse_duration": 2e-7, "repetition_rate": 3e3}
POWERED = {"kind": "pulse train", "mean_power": 20.0, "pulse_duration": 3e-4, "repetition_rate": 220.0}
TURNED = {
    "kind": "pulse train", "mean_power": 20.0, "pulse_energy": 1e-3, "pulse_duration": (1e-8, 2e-7),
    "repetition_rate": (2e4, 2e5),
}  # fmt: skip
FREE = {"kind": "collimated", "beam_diameter": 6e-3, "divergence": 2e-3, "criterion": "1/e2", "work_distance": 0.5}
AWAY = FREE | {"measured_at": 0.4, "waist_at": -0.2}
OVAL = FREE | {"beam_diameter": (3e-3, 9e-3), "divergence": (4e-3, 1.5e-3), "criterion": "FWHM"}
ASTIGMATIC = OVAL | {"measured_at": 0.3, "waist_at": (0.1, 0.9)}
LENS = {"kind": "lens", "beam_diameter": 8e-3, "focal_length": 0.15, "criterion": "1/e"}
SPOT = LENS | {"focus_diameter": 2e-4, "spot_diameter": 9e-3, "profile": "top-hat"}
FIBRE = {
    "kind": "fibre multimode", "numerical_aperture": 0.2, "numerical_aperture_criterion": "5 %",
    "core_diameter": 2e-4, "work_distance": 0.05,
}  # fmt: skip
MODE = {"kind": "fibre single mode", "mode_field_diameter": 8e-6}
KINDS = {
    "free": (1064.0, CONTINUOUS, FREE, {}),
    "free, blue, aided": (450.0, CONTINUOUS, FREE, {"aided": True, "propagation": "linear"}),
    "away": (532.0, PULSE, AWAY, {}),
    "oval": (808.0, CONTINUOUS, OVAL, {"aided": True}),
    "astigmatic": (1550.0, PULSE, ASTIGMATIC, {}),
    "lens, two wavelengths": (1064.0, TRAIN, LENS, {"line": "532 nm", "aided": True}),
    "free, two wavelengths": (808.0, CONTINUOUS, FREE, {"line": "976 nm"}),
    "spot": (900.0, CONTINUOUS, SPOT, {}),
    "spot of a train": (532.0, POWERED, SPOT, {}),
    "fibre": (405.0, CONTINUOUS, FIBRE, {}),
    "ultraviolet fibre": (355.0, TRAIN, FIBRE, {}),
    "single mode": (1310.0, POWERED, MODE, {"aided": True}),
    "turned": (1064.0, TURNED, LENS, {}),
    "far infrared": (10600.0, CONTINUOUS, FREE | {"divergence": 9e-3}, {}),
}


def made(kind: str, changed: dict[str, float]):
    """Return the context of a kind with some figures replaced."""
    wavelength, emission, setup, more = KINDS[kind]
    emission, setup = dict(emission), dict(setup)
    for name, value in changed.items():
        field, _, axis = name.partition(".")
        if field == "wavelength":
            wavelength = value * 1e9
        elif field in emission:
            emission[field] = value
        elif axis:
            pair = list(setup[field])
            pair["xy".index(axis)] = value
            setup[field] = tuple(pair)
        else:
            setup[field] = value
    return context_of({"wavelength": wavelength, "emission": emission, "setup": setup, **more})


def variations(kind: str, size: int, seed: int) -> dict[str, np.ndarray]:
    random = np.random.default_rng(seed)
    skip = ("duration", "reflectance", "view_angle")
    nominal = {name: value for name, value in variable_inputs(made(kind, {})).items() if name not in skip}
    spread = {"wavelength": 0.02, "numerical_aperture": 0.2}
    changes = {
        name: value * np.exp(random.uniform(-1.0, 1.0, size) * spread.get(name, 0.4)) for name, value in nominal.items()
    }
    if kind == "turned":  # one search for each value
        changes["wavelength"] = np.full(size, nominal["wavelength"])
    return changes


FEW_PAIRS = 64


def check(kind: str, size: int, seed: int) -> int:
    changes = variations(kind, size, seed)
    base = made(kind, {})
    good = possible_cases(base, changes)
    compared = 0
    arrays: dict = {}
    for i in np.flatnonzero(good):
        try:
            zones = setup_result(made(kind, {name: float(values[i]) for name, values in changes.items()})).zones
        except CalcError:  # diffraction is judged for one case, not for many
            continue
        for zone in zones:
            way = (zone.way, zone.tissue)
            if way not in arrays:
                used = {name: values[good] for name, values in changes.items()}
                arrays[way] = np.full(size, np.nan)
                arrays[way][good] = zone_distances(base, *way, used)
            if kind == "turned" and size > FEW_PAIRS:  # of many pairs of caps a bound from above, docs/method.md 26
                assert zone.distance * (1.0 - CLOSE) <= arrays[way][i] <= zone.distance * 1.2, (kind, way, i)
            else:
                assert arrays[way][i] == pytest.approx(zone.distance, rel=CLOSE, abs=0.0), (kind, way, i)
            compared += 1
    return compared


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_nothing_changed_gives_the_zones_of_the_starter_cases(path) -> None:
    case = read_case(path)
    case = case if case.scene is None else placed_case(case)
    for own in contexts(case, (case.rule_set, *(name for name in rule_sets() if name != case.rule_set))):
        for zone in setup_result(own).zones:
            found = zone_distances(own, zone.way, zone.tissue, {})
            assert found.shape == ()
            assert float(found) == pytest.approx(zone.distance, rel=CLOSE, abs=0.0)
            sets = [float(zone_distances(own, zone.way, zone.tissue, {}, (name,))) for name in own.rule_sets]
            assert max(sets) == float(found)


@pytest.mark.parametrize("kind", KINDS)
def test_random_cases(kind: str) -> None:
    assert check(kind, 1, 3) >= 6


@pytest.mark.soak
@pytest.mark.parametrize("kind", KINDS)
def test_many_random_cases(kind: str) -> None:
    assert check(kind, 200, int(np.random.default_rng().integers(1 << 31))) >= 100


def check_directions(kind: str, points: int) -> None:
    own = made(kind, {})
    nominal = variable_inputs(own)
    ways = [("direct", "eye"), ("mirror", "skin"), ("scatter", "eye")]
    for way, tissue in [*ways, ("aided", "eye")] if KINDS[kind][3].get("aided") else ways:
        for name, direction in directions(own, way, tissue).items():
            values = np.geomspace(0.05, 20.0, points) * nominal[name]
            if name in ("reflectance", "numerical_aperture"):
                values = np.linspace(0.01, 0.9, points)
            if direction and name != "view_angle":
                values = values[possible_cases(own, {name: values})]
                steps = np.diff(zone_distances(own, way, tissue, {name: values})) * direction
                assert (steps >= -1e-12).all(), (way, tissue, name)


@pytest.mark.parametrize("kind", KINDS)
def test_directions_hold(kind: str) -> None:
    check_directions(kind, 7)


@pytest.mark.soak
@pytest.mark.parametrize("kind", KINDS)
def test_directions_hold_in_small_steps(kind: str) -> None:
    check_directions(kind, 101)


@pytest.mark.parametrize("kind", KINDS)
def test_the_limit_is_met_at_the_edge_of_the_zone(kind: str) -> None:
    own = made(kind, {})
    name = next(iter(set(variable_inputs(own)) & {"power", "mean_power", "pulse_energy"}))
    changes = {name: variable_inputs(own)[name] * np.array([0.5, 1.0, 3.0])}
    if kind == "turned":
        changes = {one: variable_inputs(own)[one] * np.array([0.5, 1.0, 3.0]) for one in ("mean_power", "pulse_energy")}
    for way, tissue in (("direct", "eye"), ("mirror", "skin"), ("scatter", "eye"), ("scatter", "skin")):
        edge = zone_distances(own, way, tissue, changes)
        lit = edge > 0.0
        used = {key: values[lit] for key, values in changes.items()}
        if lit.any():
            beyond = exposure_ratios(own, way, tissue, edge[lit] * (1 + 1e-9), used)
            before = exposure_ratios(own, way, tissue, edge[lit] * (1 - 1e-9), used)
            assert (beyond <= 1.0).all()
            assert (before >= 1.0).all()


def test_two_caps_of_a_turned_laser_are_searched_anew() -> None:
    own = made("turned", {})
    power = np.array([5.0, 20.0, 60.0])
    found = zone_distances(own, "direct", "eye", {"mean_power": power})
    for value, distance in zip(power, found, strict=True):
        zone = setup_result(made("turned", {"mean_power": float(value)})).zones[0]
        assert distance == pytest.approx(zone.distance, rel=CLOSE)
    light = zone_distances(own, "direct", "eye", {"wavelength": [1060e-9, 1064e-9]})
    assert light[0] == pytest.approx(setup_result(made("turned", {"wavelength": 1060e-9})).zones[0].distance, rel=CLOSE)
    with pytest.raises(InputError, match="at most 2000 are taken"):
        zone_distances(own, "direct", "eye", {"wavelength": np.linspace(1050e-9, 1070e-9, 2500)})


def test_shapes_broadcast_and_blocks_do_not_show() -> None:
    own = made("free", {})
    grid = zone_distances(own, "direct", "eye", {"power": [[1.0], [9.0]], "divergence": [1e-3, 2e-3, 3e-3]})
    assert grid.shape == (2, 3)
    many = np.geomspace(1.0, 1e4, 70_001)
    long = zone_distances(own, "direct", "eye", {"power": many, "duration": np.asarray(10.0)})
    np.testing.assert_array_equal(
        long[65_530:65_545], zone_distances(own, "direct", "eye", {"power": many[65_530:65_545]})
    )


def test_what_cannot_be_is_said() -> None:
    away = made("away", {})
    assert possible_cases(away, {"divergence": [2e-3, 20e-3]}).tolist() == [True, False]
    with pytest.raises(InputError, match="the divergence alone makes the beam wider"):
        zone_distances(away, "direct", "eye", {"divergence": [2e-3, 20e-3]})
    train = made("spot of a train", {})
    assert possible_cases(train, {"repetition_rate": [220.0, 5000.0]}).tolist() == [True, False]
    with pytest.raises(InputError, match="nobody in the case uses an optical aid"):
        zone_distances(away, "aided", "eye", {})
    with pytest.raises(InputError, match="aided with eye"):
        zone_distances(away, "aided", "skin", {})
    with pytest.raises(InputError, match="write one of: ICNIRP-2013"):
        zone_distances(away, "direct", "eye", {}, ("none",))


def test_the_quick_way_for_many_trains_and_spots_is_the_slow_one(monkeypatch) -> None:
    random = np.random.default_rng(3)
    for kind in ("spot of a train", "lens, two wavelengths", "spot"):
        own = made(kind, {})
        nominal = variable_inputs(own)
        names = [name for name in ("pulse_duration", "repetition_rate") if name in nominal]
        spot = {
            name: nominal[name] * np.exp(random.uniform(-2, 2, 65))
            for name in ("power", "mean_power")
            if name in nominal
        }
        trains = {name: nominal[name] * np.exp(random.uniform(-1, 1, 257)) for name in names}
        quick = [zone_distances(own, *one) for one in (("direct", "eye", trains), ("scatter", "eye", spot)) if one[2]]
        monkeypatch.setattr("lasersafe.hazard.exposure._MANY", 10**9)
        monkeypatch.setattr("lasersafe.hazard.scatter._FEW", 10**9)
        slow = [zone_distances(own, *one) for one in (("direct", "eye", trains), ("scatter", "eye", spot)) if one[2]]
        monkeypatch.undo()
        for first, second in zip(quick, slow, strict=True):
            np.testing.assert_allclose(first, second, rtol=1e-11)


def test_many_pairs_of_caps_are_bounded_from_above_and_closely() -> None:
    own = made("turned", {})
    nominal = variable_inputs(own)
    random = np.random.default_rng(4)
    changes = {name: nominal[name] * np.exp(random.normal(0.0, 0.05, 66)) for name in ("mean_power", "pulse_energy")}
    many = zone_distances(own, "direct", "eye", changes)
    few = zone_distances(own, "direct", "eye", {name: part[:12] for name, part in changes.items()})
    assert (many[:12] >= few * (1 - 1e-12)).all()
    assert (many[:12] <= few * 1.01).all()
