"""``lasersafe.limits`` against the second keying, which was written without looking at the first."""

from __future__ import annotations

import math
import random
import sys
from collections.abc import Callable
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
ANGLES_MRAD = (0.0, 1.5000001, 5.0, 60.0, 100.0, 350.0, 1000.0)
# fmt: on


def around(edges: tuple[float, ...], step: float) -> list[float]:
    """Return just below, on and just above each edge, within the first and the last."""
    points = [edge * factor for edge in edges for factor in (1 - step, 1.0, 1 + step)]
    return [x for x in points if edges[0] <= x <= edges[-1]]


def smallest_of(mine: dict[str, tuple[float, float, float]], lowest: float) -> float:
    """Of equal limits that over the smaller aperture: less of the light around it takes part in the mean. [mm]."""
    return min(aperture for dose, _, aperture in mine.values() if math.isclose(dose, lowest, rel_tol=RELATIVE))


def compare_points(rule_set: str, tissue: str, points: list[tuple[float, float, float]]) -> None:
    wavelength_nm, duration, angle_mrad = (np.array(column) for column in zip(*points, strict=True))
    arguments = (rule_set, tissue, wavelength_nm * 1e-9, duration, angle_mrad * 1e-3)
    theirs = hazard_limits(*arguments)
    whole = exposure_limit(*arguments)
    names = [hazard.name for hazard in theirs]
    assert len(set(names)) == len(names)
    tables = {
        hazard.name: [
            np.broadcast_to(column, duration.shape).tolist()
            for column in (hazard.radiant_exposure, hazard.irradiance, hazard.limiting_aperture)
        ]
        for hazard in theirs
    }
    whole_hazard, whole_dose = whole.hazard.tolist(), whole.radiant_exposure.tolist()
    whole_irradiance, whole_aperture = whole.irradiance.tolist(), whole.limiting_aperture.tolist()
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
        decided = whole_hazard[i]
        if not math.isclose(whole_dose[i], lowest, rel_tol=RELATIVE):
            differences.append(f"{here}: whole {whole_dose[i]} {decided}, second keying {lowest} {hazard}")
        elif not (decided in mine and math.isclose(mine[decided][0], lowest, rel_tol=RELATIVE)):
            differences.append(f"{here}: decided by {decided}, second keying {hazard}")
        elif not math.isclose(whole_aperture[i] * 1e3, smallest_of(mine, lowest), rel_tol=RELATIVE):
            differences.append(f"{here}: aperture of the whole {whole_aperture[i] * 1e3}, {smallest_of(mine, lowest)}")
        elif not math.isclose(whole_irradiance[i], lowest / t, rel_tol=RELATIVE):
            differences.append(f"{here}: irradiance of the whole {whole_irradiance[i]}, {lowest / t}")
    assert not differences, f"{len(differences)} differences\n" + "\n".join(differences[:30])


@pytest.mark.parametrize("tissue", TISSUES)
@pytest.mark.parametrize("rule_set", RULE_SETS)
def test_every_edge(rule_set: str, tissue: str) -> None:
    # the step is clear of the width of an edge (1e-12) and below the distance to the next edge
    pairs = [(w, t) for w in around(WAVELENGTH_EDGES_NM, 1e-8) for t in around(DURATION_EDGES_S, 1e-8)]
    points = [(w, t, 1.5) for w, t in pairs]
    if tissue == "eye":
        points += [(w, t, ANGLES_MRAD[i % len(ANGLES_MRAD)]) for i, (w, t) in enumerate(pairs)]
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
    for i in range(4000):
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


Train = tuple[float, float, float, float, float]


def random_train(generator: random.Random) -> Train:
    """Return wavelength nm, pulse s, rate Hz, exposure s, angle mrad."""
    w = generator.choice((generator.uniform(180, 3000), generator.uniform(400, 1400), log_uniform(generator, 180, 1e6)))
    exposure = generator.choice((0.25, 10.0, 100.0, 3e4, log_uniform(generator, 1e-3, 3e4)))
    rate = log_uniform(generator, max(1e-2, 0.5 / exposure), 1e10)
    longest = min(1 / rate, exposure)
    pulse = generator.choice((log_uniform(generator, 1e-13, longest), longest * generator.uniform(0.01, 1)))
    alpha = generator.choice((1.5, log_uniform(generator, 1, 300)))
    return w, pulse, rate, exposure, alpha


def edge_train(generator: random.Random) -> Train:
    """Return a train that sits on an edge of the rules of trains."""
    w, pulse, rate, exposure, alpha = random_train(generator)
    kind = generator.randrange(6)
    if kind == 0:
        w = float(generator.choice((302.5, 315, 400, 700, 1050, 1200, 1400, 1500, 1800, 2600, 1e5)))
    elif kind == 1:
        alpha = generator.choice((1.5, 5.0, 5.0001, 100.0, 100.0001))
    elif kind == 2:  # a whole number of pulses inside T_i
        rate = generator.choice((1, 2, 3, 5)) / generator.choice((5e-6, 13e-6, 18e-6, 50e-6, 1e-3))
    elif kind == 3:  # a pulse as long as T_i, or the longest of the train rule
        pulse = generator.choice((5e-6, 13e-6, 18e-6, 50e-6, 0.25))
        rate = generator.choice((0.5, 0.1)) / pulse
    elif kind == 4:  # N next to where C_P changes
        rate = generator.choice((2, 3, 39, 40, 41, 599, 600, 601, 624, 625, 626)) / exposure
    else:  # a whole number of pulses in 10 s
        rate = 10.0 ** generator.randrange(5)
    exposure = max(exposure, 1 / rate)
    return w, min(pulse, 1 / rate), rate, exposure, alpha


def by_hazard(rows: dict[tuple[str, str], float]) -> dict[tuple[str, str], float]:
    """Put the single pulse and the mean together: the mean of one pulse is the single pulse."""
    result: dict[tuple[str, str], float] = {}
    for (rule, hazard), value in rows.items():
        key = ("train" if rule == "train" else "single pulse or mean", hazard)
        result[key] = min(value, result.get(key, math.inf))
    return result


@pytest.mark.parametrize("kind", [random_train, edge_train])
@pytest.mark.parametrize("tissue", TISSUES)
@pytest.mark.parametrize("rule_set", RULE_SETS)
def test_trains(rule_set: str, tissue: str, kind: Callable[[random.Random], Train]) -> None:
    generator = random.Random(f"trains {rule_set} {tissue}")
    trains = [kind(generator) for _ in range(250)]
    w, pulse, rate, exposure, alpha = (np.array(column) for column in zip(*trains, strict=True))
    theirs = pulse_train_limit(rule_set, tissue, w * 1e-9, pulse, rate, exposure, alpha * 1e-3)
    differences = []
    for i, train in enumerate(trains):
        here = f"{rule_set} {tissue} nm, pulse s, Hz, exposure s, mrad = {train}"
        mine = second.pulse_rows(rule_set, tissue, *train, windows=300)
        lowest = min(mine.values())
        equal_rules = {rule for (rule, _), value in mine.items() if math.isclose(value, lowest, rel_tol=RELATIVE)}
        per_pulse, rule = float(theirs.per_pulse[i]), str(theirs.deciding_rule[i])
        if not math.isclose(per_pulse, lowest, rel_tol=RELATIVE) or rule not in equal_rules:
            differences.append(f"{here}: {per_pulse!r} {rule}, second keying {lowest!r} {equal_rules}")
        found: dict[tuple[str, str], float] = {}
        for row in theirs.rows:
            key = (row.rule, row.hazard)
            found[key] = min(float(np.broadcast_to(row.per_pulse, w.shape)[i]), found.get(key, math.inf))
        got, expected = by_hazard(found), by_hazard(mine)
        for key in got.keys() | expected.keys():
            a, b = got.get(key, math.inf), expected.get(key, math.inf)
            if not (a == b or math.isclose(a, b, rel_tol=RELATIVE)):
                differences.append(f"{here}: {key} {a!r}, second keying {b!r}")
    assert not differences, f"{len(differences)} differences\n" + "\n".join(differences[:30])
