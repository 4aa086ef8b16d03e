"""Worst corner, slopes and inverse solutions on functions whose answer is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.errors import InputError
from lasersafe.hazard.tolerances import Uncertain, limits_of, slope, solved_input, worst_corner

POWER = Uncertain("power", 2.0, 1.8, 2.3)
ANGLE = Uncertain("divergence", 3e-3, 2.4e-3, 3.3e-3)


def law(case):
    return np.sqrt(case["power"]) / case["divergence"]


def test_limits_of_bounds_and_standard_uncertainties() -> None:
    assert limits_of(POWER) == (1.8, 2.3)
    low, high = limits_of(Uncertain("divergence", 3e-3, 2.5e-3, 3.6e-3, "standard uncertainty"))
    assert low == pytest.approx(2e-3, rel=1e-12)
    assert high == pytest.approx(4.2e-3, rel=1e-12)
    assert limits_of(Uncertain("reflectance", 0.8, 0.6, 1.0, "standard uncertainty"))[1] == 1.0
    assert limits_of(Uncertain("measured_at", 0.1, 0.0, 0.2, "standard uncertainty"))[0] == 0.0


def test_the_corner_of_a_monotone_law_is_exact() -> None:
    found = worst_corner(law, [POWER, ANGLE], {"power": 1, "divergence": -1})
    assert found == math.sqrt(2.3) / 2.4e-3
    assert worst_corner(law, [POWER, ANGLE], {}) == found


def test_a_peak_and_a_jump_inside_are_found() -> None:
    wave = Uncertain("wavelength", 700e-9, 690e-9, 712e-9)

    def peak(case):
        return np.where(case["wavelength"] == 700e-9, 5.0, 1.0 - 1e16 * (case["wavelength"] - 707.7e-9) ** 2)

    assert worst_corner(peak, [wave], {}, {"wavelength": [700e-9]}) == 5.0
    assert worst_corner(peak, [wave._replace(nominal=707e-9, low=701e-9)], {}) == pytest.approx(1.0, abs=1e-9)


def test_the_search_of_several_inputs_finds_a_ridge() -> None:
    names = ["a", "b", "c", "d", "e"]
    inputs = [Uncertain(name, 1.0, 0.5, 2.0) for name in names]

    def ridge(case):
        return -sum((case[name] - 0.7 - 0.2 * i) ** 2 for i, name in enumerate(names))

    assert worst_corner(ridge, inputs, {}) == pytest.approx(0.0, abs=1e-4)


def test_combinations_that_cannot_be_do_not_count() -> None:
    def possible(case):
        return case["power"] + 1000.0 * case["divergence"] <= 5.0

    found = worst_corner(lambda c: c["power"] + c["divergence"], [POWER, ANGLE], {"power": 1}, None, possible)
    assert 2.3 + 2.65e-3 < found <= 2.3 + 2.7e-3
    with pytest.raises(InputError, match="no combination"):
        worst_corner(law, [POWER, ANGLE], {"power": 1}, None, lambda c: np.zeros(np.shape(c["divergence"]), bool))


def test_nothing_to_vary_gives_the_nominal_value() -> None:
    fixed = [one._replace(low=one.nominal, high=one.nominal) for one in (POWER, ANGLE)]
    assert worst_corner(law, fixed, {}) == law({"power": 2.0, "divergence": 3e-3})


def test_slopes_of_a_law_are_its_exponents() -> None:
    nominal = {"power": 2.0, "divergence": 3e-3}
    assert slope(law, nominal, "divergence") == pytest.approx(-1.0, rel=1e-3)
    assert slope(law, nominal, "power") == pytest.approx(0.5, rel=1e-3)


def test_slopes_of_zeros_jumps_and_bounds() -> None:
    for end in (180e-9, 1e-3):  # the tables end there

        def inside(c: dict[str, np.ndarray]) -> np.ndarray:
            assert 180e-9 <= c["wavelength"].min() <= c["wavelength"].max() <= 1e-3
            return 2.0 * c["wavelength"] ** 2

        assert slope(inside, {"wavelength": end}, "wavelength") == pytest.approx(2.0, rel=1e-3)
    assert math.isnan(slope(lambda c: 0.0 * c["power"], {"power": 1.0}, "power"))
    assert math.isnan(slope(lambda c: 1.0 + c["waist_at"], {"waist_at": 0.0}, "waist_at"))
    assert slope(lambda c: np.where(c["wavelength"] <= 1e-6, 2.0, 1.0), {"wavelength": 1e-6}, "wavelength") == math.inf
    assert slope(lambda c: np.maximum(c["power"] - 1.0, 0.0) + 0.0, {"power": 1.0 + 1e-9}, "power") == math.inf
    assert slope(lambda c: c["reflectance"], {"reflectance": 1.0}, "reflectance") == pytest.approx(1.0)
    assert slope(lambda c: 3.0 + 0.0 * c["power"], {"power": 1.0}, "power") == 0.0
    asked = []

    def cube(case):
        asked.append(np.size(case["power"]))
        return np.asarray(case["power"]) ** 3.0

    assert slope(cube, {"power": 2.0}, "power", 8.0) == slope(cube, {"power": 2.0}, "power") == pytest.approx(3.0)
    assert asked == [4, 1, 4]  # both sides in one call, and what is known already is not asked for


def test_inverse_solutions_put_back() -> None:
    found = solved_input(lambda x: np.sqrt(x) / 3e-3, 1e-3, 1e4, 1000.0, largest=True)
    assert found.value is not None
    assert found.value == pytest.approx(9.0, rel=1e-12)
    more = math.nextafter(found.value, math.inf) * (1 + 1e-15)
    assert math.sqrt(found.value) / 3e-3 <= 1000.0 < math.sqrt(more) / 3e-3 * (1 + 1e-15)
    small = solved_input(lambda x: 3.0 / x, 1e-3, 1e4, 1000.0, largest=False)
    assert small.value == pytest.approx(3e-3, rel=1e-12)
    assert 3.0 / small.value <= 1000.0


def test_inverse_takes_the_first_crossing() -> None:
    def waves(x):
        return np.where((x >= 2.0) & (x <= 2.5), 10.0, x)

    assert solved_input(waves, 0.5, 9.0, 5.0, largest=True).value == pytest.approx(2.0, rel=1e-12)
    assert solved_input(waves, 0.5, 9.0, 9.5, largest=False).value == pytest.approx(2.5, rel=1e-12)

    def needle(x):
        return np.where(x == 3.0, 10.0, x)

    assert solved_input(needle, 0.5, 9.0, 9.5, largest=True).every  # no grid sees it ...
    held = solved_input(needle, 0.5, 9.0, 9.5, critical=[3.0], largest=True)  # ... unless it is named
    assert held.value is not None
    assert 2.99 < held.value < 3.0


def test_inverse_says_when_none_or_all_values_do() -> None:
    none = solved_input(lambda x: x + 10.0, 1.0, 2.0, 5.0, largest=True)
    assert none == (None, False)
    every = solved_input(lambda x: x, 1.0, 2.0, 5.0, largest=False)
    assert (every.value, every.every) == (1.0, True)
    with pytest.raises(InputError, match="not a number"):
        solved_input(lambda x: x * math.nan, 1.0, 2.0, 5.0, largest=True)
