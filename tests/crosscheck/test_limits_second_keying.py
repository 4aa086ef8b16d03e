"""``lasersafe.limits`` against the second keying, which was written without looking at the first."""

from __future__ import annotations

import math
import random
import sys
from pathlib import Path

import numpy as np
import pytest

from lasersafe.limits import exposure_limit, hazard_limits, pulse_train_limit

sys.path.insert(0, str(Path(__file__).parent))

import second_keying as second

RULE_SETS = (second.ICNIRP, second.EU)
TISSUES = ("eye", "skin")
RELATIVE = 1e-9

# fmt: off
WAVELENGTH_EDGES_NM = (180, 302.5, *range(303, 316), 400, 450, 500, 600, 700, 1050, 1150, 1200, 1250, 1400, 1500, 1800,
                       2600, 1e5, 1e6)
DURATION_EDGES_S = (1e-13, 1e-11, 1e-9, 1e-7, 5e-6, 13e-6, 18e-6, 50e-6, 625e-6, 1e-3, 0.25, 0.3, 0.35, 10, 100,
                    1e4, 3e4)
ANGLES_MRAD = (0.0, 1.5, 1.5000001, 5.0, 60.0, 100.0, 350.0)
# fmt: on


def around(edges: tuple[float, ...], step: float) -> list[float]:
    """Return just below, on and just above each edge, within the first and the last."""
    points = [edge * factor for edge in edges for factor in (1 - step, 1.0, 1 + step)]
    return [x for x in points if edges[0] <= x <= edges[-1]]


def compare_points(rule_set: str, tissue: str, points: list[tuple[float, float, float]]) -> None:
    wavelength_nm, duration, angle_mrad = (np.array(column) for column in zip(*points, strict=True))
    arguments = (rule_set, tissue, wavelength_nm * 1e-9, duration, angle_mrad * 1e-3)
    theirs = hazard_limits(*arguments)
    whole = exposure_limit(*arguments)
    names = [hazard.name for hazard in theirs]
    assert len(set(names)) == len(names)
    tables = {
        hazard.name: (
            np.broadcast_to(hazard.radiant_exposure, duration.shape),
            np.broadcast_to(hazard.irradiance, duration.shape),
            np.broadcast_to(hazard.limiting_aperture, duration.shape),
        )
        for hazard in theirs
    }
    differences: list[str] = []
    for i, (w, t, alpha) in enumerate(points):
        mine = second.limit(rule_set, tissue, w, t, alpha)
        here = f"{rule_set} {tissue} {w!r} nm {t!r} s {alpha!r} mrad"
        applicable = {name for name, (dose, _, _) in tables.items() if math.isfinite(dose[i])}
        if applicable != set(mine):
            differences.append(f"{here}: hazards {sorted(applicable)}, second keying {sorted(mine)}")
            continue
        for name, expected in mine.items():
            dose, irradiance, aperture = tables[name]
            got = (dose[i], irradiance[i], aperture[i] * 1e3)
            if not all(math.isclose(a, b, rel_tol=RELATIVE) for a, b in zip(got, expected, strict=True)):
                differences.append(f"{here}: {name} {got}, second keying {expected}")
        hazard, lowest = second.strictest(mine)
        decided = str(whole.hazard[i])
        if not math.isclose(whole.radiant_exposure[i], lowest, rel_tol=RELATIVE):
            differences.append(f"{here}: whole {whole.radiant_exposure[i]} {decided}, second keying {lowest} {hazard}")
        elif not (decided in mine and math.isclose(mine[decided][0], lowest, rel_tol=RELATIVE)):
            differences.append(f"{here}: decided by {decided}, second keying {hazard}")
        elif not math.isclose(whole.limiting_aperture[i] * 1e3, mine[decided][2], rel_tol=RELATIVE):
            differences.append(f"{here}: aperture of the whole {whole.limiting_aperture[i] * 1e3}, {mine[decided][2]}")
        elif not math.isclose(whole.irradiance[i], lowest / t, rel_tol=RELATIVE):
            differences.append(f"{here}: irradiance of the whole {whole.irradiance[i]}, {lowest / t}")
    assert not differences, f"{len(differences)} differences\n" + "\n".join(differences[:30])


@pytest.mark.parametrize("tissue", TISSUES)
@pytest.mark.parametrize("rule_set", RULE_SETS)
def test_every_edge(rule_set: str, tissue: str) -> None:
    # both steps stay clear of the tolerance of an edge (1e-12) and below the distance to the next one
    angles = ANGLES_MRAD if tissue == "eye" else (1.5,)
    points = [
        (w, t, alpha)
        for w in around(WAVELENGTH_EDGES_NM, 1e-8)
        for t in around(DURATION_EDGES_S, 1e-8)
        for alpha in angles
    ]
    compare_points(rule_set, tissue, points)


def test_angle_and_t_2_edges() -> None:
    points = []
    for alpha in (1.4, *around((1.5, 5.0, 40.0, 100.0), 1e-8), 99.0, 101.0):
        for t in (1e-9, 4e-4, 625e-6, (alpha / 200) ** 2, 0.1, 1.0, *around((9.0, second.t_2(alpha), 3e4), 1e-8)):
            points += [(w, t, alpha) for w in (420.0, 532.0, 699.0, 701.0, 905.0, 1064.0, 1175.0, 1320.0, 1399.0)]
    for rule_set in RULE_SETS:
        compare_points(rule_set, "eye", points)


def log_uniform(generator: random.Random, low: float, high: float) -> float:
    return math.exp(generator.uniform(math.log(low), math.log(high)))


@pytest.mark.parametrize("tissue", TISSUES)
@pytest.mark.parametrize("rule_set", RULE_SETS)
def test_random_points(rule_set: str, tissue: str) -> None:
    generator = random.Random(f"{rule_set} {tissue}")
    points = []
    for i in range(6000):
        w = generator.uniform(180, 1600) if i % 4 else log_uniform(generator, 180, 1e6)
        alpha = generator.choice((1.5, log_uniform(generator, 0.1, 3000)))
        points.append((w, log_uniform(generator, 1e-13, 3e4), alpha))
    compare_points(rule_set, tissue, points)


def test_exposed_skin_area() -> None:
    for area in (1e-4, 0.00999, 0.01, 0.02, 0.0999999, 0.1, 0.100001, 1.0):
        for w in (532.0, 1399.0, 1400.0, 1401.0, 1550.0, 10600.0, 3e5):
            for t in (1e-8, 9.99, 10.0, 11.0, 100.0, 3e4):
                mine = second.limit(second.ICNIRP, "skin", w, t, 1.5, area)["skin thermal"]
                theirs = exposure_limit(second.ICNIRP, "skin", w * 1e-9, t, exposed_area=area)
                assert float(theirs.radiant_exposure) == pytest.approx(mine[0], rel=RELATIVE), (area, w, t)


def random_train(generator: random.Random) -> tuple[float, float, float, float, float]:
    """Return wavelength nm, pulse s, rate Hz, exposure s, angle mrad."""
    w = generator.choice((generator.uniform(180, 3000), generator.uniform(400, 1400), log_uniform(generator, 180, 1e6)))
    exposure = generator.choice((0.25, 10.0, 100.0, 3e4, log_uniform(generator, 1e-3, 3e4)))
    rate = log_uniform(generator, max(1e-2, 0.5 / exposure), 1e8)
    longest = min(1 / rate, exposure)
    pulse = generator.choice((log_uniform(generator, 1e-13, longest), longest * generator.uniform(0.01, 1)))
    alpha = generator.choice((1.5, log_uniform(generator, 1, 300)))
    return w, pulse, rate, exposure, alpha


@pytest.mark.parametrize("tissue", TISSUES)
@pytest.mark.parametrize("rule_set", RULE_SETS)
def test_random_trains(rule_set: str, tissue: str) -> None:
    generator = random.Random(f"trains {rule_set} {tissue}")
    differences = []
    for _ in range(250):
        w, pulse, rate, exposure, alpha = random_train(generator)
        rows = second.pulse_rows(rule_set, tissue, w, pulse, rate, exposure, alpha, windows=600)
        lowest = min(rows.values())
        theirs = pulse_train_limit(rule_set, tissue, w * 1e-9, pulse, rate, exposure, alpha * 1e-3)
        equal_rules = {rule for (rule, _), value in rows.items() if math.isclose(value, lowest, rel_tol=RELATIVE)}
        per_pulse, rule = float(theirs.per_pulse), str(theirs.deciding_rule)
        if not math.isclose(per_pulse, lowest, rel_tol=RELATIVE) or rule not in equal_rules:
            differences.append(
                f"{rule_set} {tissue} {w!r} nm, pulse {pulse!r} s, {rate!r} Hz, {exposure!r} s, {alpha!r} mrad: "
                f"{per_pulse!r} {rule}, second keying {lowest!r} {equal_rules} of {rows}"
            )
    assert not differences, f"{len(differences)} differences\n" + "\n".join(differences[:30])
