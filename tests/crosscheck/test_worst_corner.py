"""The worst corner of a zone against every combination of a grid, and the uncertainty of a zone against known laws."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from lasersafe.assessment.distances import variable_inputs, zone_distances
from lasersafe.assessment.uncertainty import critical_values, possible_cases
from lasersafe.hazard.barriers import material_reflectance
from lasersafe.hazard.tolerances import Uncertain, monte_carlo, slope, worst_corner
from tests.crosscheck.test_variation_one_by_one import made
from tests.crosscheck.varied_cases import directions

KINDS = ("free", "away", "oval", "lens, two wavelengths", "spot", "fibre", "single mode", "far infrared")
ENDS = 4  # places of each input in the enumeration


def enumerate_corner(kind: str, seed: int) -> None:
    """Compare the corner of up to four random inputs with all combinations of their ends and two places between."""
    random = np.random.default_rng(seed)
    own = made(kind, {})
    nominal = variable_inputs(own)
    way, tissue = [("direct", "eye"), ("direct", "skin"), ("mirror", "eye"), ("scatter", "skin")][random.integers(4)]
    names = random.permutation(sorted(nominal))[: random.integers(1, 5)]
    inputs = []
    for name in names:
        wide = {"wavelength": 0.03, "numerical_aperture": 0.2, "reflectance": 0.2}.get(name, 0.4) * random.uniform()
        low, high = nominal[name] * (1 - wide), nominal[name] * (1.0 if name == "reflectance" else 1 + wide)
        inputs.append(Uncertain(str(name), nominal[name], min(low, high), max(low, high)))

    def evaluate(case):
        return zone_distances(own, way, tissue, case)

    def possible(case):
        return possible_cases(own, case)

    found = worst_corner(evaluate, inputs, directions(own, way, tissue), critical_values(own), possible)
    grid = itertools.product(*(np.linspace(one.low, one.high, ENDS) for one in inputs))
    columns = {one.name: column for one, column in zip(inputs, np.array(list(grid)).T, strict=True)}
    can = np.broadcast_to(possible(columns), (ENDS ** len(inputs),))
    brute = evaluate({name: column[can] for name, column in columns.items()})
    assert found >= brute.max() * (1 - 1e-13), (kind, way, tissue, inputs)


@pytest.mark.parametrize("kind", KINDS)
def test_corner_against_enumeration(kind: str) -> None:
    enumerate_corner(kind, 1)
    enumerate_corner(kind, 2)


@pytest.mark.soak
@pytest.mark.parametrize("kind", KINDS)
def test_corner_against_enumeration_of_ten_thousand_cases(kind: str) -> None:
    start = int(np.random.default_rng().integers(1 << 30))
    for seed in range(1250):
        enumerate_corner(kind, start + seed)


def test_a_peak_of_the_tables_inside_the_range_is_found() -> None:
    own = made("far infrared", {"wavelength": 1398e-9})
    inputs = [Uncertain("wavelength", 1398e-9, 1390e-9, 1410e-9), Uncertain("power", 40.0, 36.0, 44.0)]
    found = worst_corner(
        lambda case: zone_distances(own, "direct", "eye", case), inputs, directions(own, "direct", "eye"),
        critical_values(own),
    )  # fmt: skip
    places = np.concatenate([np.linspace(1390e-9, 1410e-9, 4001), [1400e-9]])
    best = zone_distances(own, "direct", "eye", {"wavelength": places, "power": 44.0})
    assert found >= best.max()


def test_what_a_surface_reflects_jumps_at_critical_wavelengths_alone() -> None:
    # A row of a material stands for wavelengths within 2 % of it (`lasersafe.hazard.barriers`), and beside those the
    # larger neighbour counts: so the reflectance jumps at 0.98 and 1.02 times each row, and nowhere between them.
    own = made("free", {})
    plate = own.case.surface[0].model_copy(update={"material_key": "steel", "finish": "mirror"})
    own = replace(own, case=own.case.model_copy(update={"surface": (plate,)}))
    edges = [edge for edge in critical_values(own)["wavelength"] if 200e-9 < edge < 20e-6]
    for low, high in itertools.pairwise(edges):
        inside = np.linspace(low, high, 101)[1:-1].tolist()
        assert len({material_reflectance("steel", "mirror", one).value for one in inside}) == 1, (low, high)


def law_of(kind: str):
    own = made(kind, {"power": 4e4, "divergence": 3e-3, "beam_diameter": 3e-3})
    return own, lambda case: zone_distances(own, "direct", "eye", case)


def test_monte_carlo_of_a_far_zone_is_linear_propagation() -> None:
    # far out r is proportional to 1 / divergence and to the root of the power; of small u the sum of squares is exact
    _, evaluate = law_of("free")
    u_power, u_angle = 0.01, 0.004
    inputs = [
        Uncertain("power", 4e4, 4e4 * (1 - u_power), 4e4 * (1 + u_power), "standard uncertainty"),
        Uncertain("divergence", 3e-3, 3e-3 * (1 - u_angle), 3e-3 * (1 + u_angle), "standard uncertainty"),
    ]
    found = monte_carlo(evaluate, inputs, draws=200_000, seed=1)
    nominal = float(evaluate({}))
    spread = math.hypot(u_power / 2.0, u_angle)
    assert found.upper == pytest.approx(nominal * (1.0 + 1.6449 * spread), rel=3e-4)


def test_slopes_of_a_far_zone_are_those_of_its_law() -> None:
    _, evaluate = law_of("free")
    nominal = {"power": 4e4, "divergence": 3e-3}
    assert round(slope(evaluate, nominal, "divergence"), 3) == -1.0
    assert round(slope(evaluate, nominal, "power"), 3) == 0.5
