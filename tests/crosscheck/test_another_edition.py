"""A made-up edition, as data only, against its limits written out as formulas: limits, trains, distances, scans."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lasersafe.assessment import assess
from lasersafe.hazard.combine import groups
from lasersafe.hazard.distances import direct_reach
from lasersafe.hazard.exposure import Received, continuous, pulse_pattern, pulse_train, trains_at
from lasersafe.hazard.scanning import Scan, scan_ratio
from lasersafe.hazard.scatter import scatter_reach
from lasersafe.hazard.settings import SettingSpace, worst_ratio
from lasersafe.library.answers import direct_distance
from lasersafe.library.beams import collimated_beam
from lasersafe.limits import hazard_limits, pulse_list_limit, pulse_train_limit, rule_sets, tables
from lasersafe.models import parse_case
from lasersafe.optics.beam import collimated, diameters, mean_exposure
from lasersafe.optics.viewing import ScanPattern
from tests.case_head import HEAD
from tests.project import ROOT
from tests.regression.test_verdicts import laser, person

NAME = "MADE-UP"
EDGE, SLACK = 1e-12, 1e-9
WAVELENGTHS = (250.0, 300.0, 350.0, 395.0, 532.0, 1064.0, 1200.0, 1300.0, 1410.0, 1550.0, 10600.0)
TIMES = (1e-13, 1e-9, 2e-9, 1e-8, 1e-6, 3e-5, 80e-6, 1e-3, 2e-3, 0.25, 0.5, 20.0, 30.0, 200.0, 3e4)


@pytest.fixture(autouse=True)
def _with_it(monkeypatch):
    monkeypatch.setattr(tables, "MORE_FOLDERS", [ROOT / "tests" / "editions" / "made_up"])
    assert rule_sets()[-1] == NAME
    yield
    groups.cache_clear()  # what adds was asked of all three


def between(low, x, high):
    return bool(low * (1 - EDGE) <= x <= high * (1 + EDGE))


def t_2(mrad):
    return min(max(20 * 10 ** ((mrad - 2) / 78), 20.0), 200.0)


def alpha_max(t):
    return 6.0 if t < 1e-3 * (1 - EDGE) else 190 * t**0.5 if t < 0.25 * (1 - EDGE) else 95.0


def rows(tissue, nm, t, mrad):
    """Yield hazard, radiant exposure [J/m2] and aperture [m] of every row that holds."""
    wide = [1.2] * between(1e-13, t, 0.5) + [1.6 * t**0.3] * between(0.5, t, 20) + [4.0] * between(20, t, 3e4)
    small = 1e-3 * (3.0 if tissue == "skin" else min(wide))
    if between(180, nm, 395):
        for low, high, dose in ((1e-13, 2e-9, 2e10 * t), (2e-9, 20, 4e3 * t**0.3), (20, 3e4, 9e3)):
            if between(low, t, high):
                yield "ultraviolet thermal", dose, small
    if between(180, nm, 300) and t >= 1e-9 * (1 - EDGE):
        yield "ultraviolet photochemical", 25.0, small
    if between(395, nm, 1410) and tissue == "eye":
        c_e = max(mrad, 2.0) / 2.0 * max(mrad / alpha_max(t), 1.0)
        for low, high, dose in ((1e-13, 1e-9, 3e6 * t), (1e-9, 3e-5, 3e-3), (3e-5, 20, 15 * t**0.8)):
            if between(low, t, high):
                yield "retina thermal", dose * c_e, 6e-3
        if t >= 20 * (1 - EDGE):
            dose = 8 * t if mrad <= 2 else 15 * t**0.8 * c_e if t < t_2(mrad) else 15 * c_e * t * t_2(mrad) ** -0.2
            yield "retina thermal", dose, 6e-3
    if between(395, nm, 1410) and tissue == "skin":
        for low, high, dose in (
            (1e-13, 1e-9, 1e11 * t),
            (1e-9, 1e-6, 100),
            (1e-6, 20, 5e3 * t**0.3),
            (20, 3e4, 600 * t),
        ):
            if between(low, t, high):
                yield "skin thermal", dose, 3e-3
    if between(1410, nm, 1e6):
        for low, high, dose in (
            (1e-13, 1e-9, 5e11 * t),
            (1e-9, 2e-3, 500),
            (2e-3, 20, 3e3 * t**0.3),
            (20, 3e4, 300 * t),
        ):
            if between(low, t, high):
                yield ("skin" if tissue == "skin" else "cornea") + " thermal", dose, small


def limit(tissue, nm, t, mrad=1.5):
    """Return hazard -> (strictest radiant exposure, aperture)."""
    found = {}
    for hazard, dose, hole in rows(tissue, nm, t, mrad):
        found[hazard] = min(found.get(hazard, (math.inf, math.inf)), (dose, hole))
    return found


def joining(nm, exposure, mrad):
    found = [(30e-6, 20.0)] * between(395, nm, 1200) + [(80e-6, t_2(mrad))] * between(1200, nm, 1410)
    return [(t, min(n, exposure)) for t, n in [*found, *[(5e-4, math.inf)] * between(1410, nm, 1e6)]]


def c_p(number, within, mrad, pulse):
    return 1.0 if not within and mrad > alpha_max(pulse) else max(number**-0.25, 0.3)


def whole(x):
    return max(math.ceil(x * (1 - SLACK)), 1)


def comparisons(tissue, nm, starts, pulse, exposure, mrad=1.5):
    """Yield energy in pulses, limit and aperture of every comparison, pulse by pulse; starts at even spacing or not."""
    groups = [(pulse, 1, 1.0, False)]
    for i in range(starts.size):
        inside = starts[(starts >= starts[i]) & (starts < starts[i] + exposure * (1 - SLACK))]
        groups += [(min(s - starts[i] + pulse, exposure), n + 1, 1.0, False) for n, s in enumerate(inside)]
        groups.append((exposure, inside.size, 1.0, False))
    for t_i, over in joining(nm, exposure, mrad):
        if pulse > 0.5 or (starts.size > 1 and pulse >= np.diff(starts).max() * (1 - SLACK)):
            continue
        within, most, joined = pulse <= t_i, 0, 1
        for start in starts:
            here = starts[(starts >= start) & (starts < start + over * (1 - SLACK))]
            number, end = 0, -math.inf
            for s in here if within else ():
                if s >= end:
                    number, end = number + 1, s + min(t_i, exposure) * (1 - SLACK)
            most = max(most, number if within else here.size)
            joined = max(joined, int((here < start + min(t_i, exposure) * (1 - SLACK)).sum()) if within else 1)
        factor = c_p(most, within, mrad, pulse)
        groups += [(pulse, 1, factor, True), *[(min(t_i, exposure), joined, factor, True)] * (joined > 1)]
    for time, number, factor, train in groups:
        for hazard, (dose, hole) in limit(tissue, nm, time, mrad).items():
            if not train or hazard in ("retina thermal", "cornea thermal", "skin thermal"):
                yield number, dose * factor, hole


def per_pulse(*case):
    return min(dose / number for number, dose, _ in comparisons(*case))


@pytest.mark.parametrize("tissue", ["eye", "skin"])
def test_limits_of_any_edition_are_its_rows_and_the_stricter_row_on_an_edge(tissue):
    for nm in WAVELENGTHS:
        for t in [t * side for t in TIMES for side in (1 - 1e-8, 1.0, 1 + 1e-8) if 1e-13 <= t * side <= 3e4]:
            for mrad in (1.0, 2.0, 10.0, 150.0):
                found = {h.name: h for h in hazard_limits(NAME, tissue, nm * 1e-9, t, mrad * 1e-3)}
                expected = limit(tissue, nm, t, mrad)
                assert set(found) == set(expected)
                for hazard, (dose, hole) in expected.items():
                    assert float(found[hazard].radiant_exposure) == pytest.approx(dose, rel=1e-9), (nm, t, mrad, hazard)
                    assert float(found[hazard].limiting_aperture) == pytest.approx(hole, rel=1e-9), (
                        nm,
                        t,
                        mrad,
                        hazard,
                    )


@pytest.mark.parametrize("tissue", ["eye", "skin"])
def test_trains_bursts_and_lists_of_any_edition_are_the_sum_over_every_pulse(tissue):
    draw = np.random.default_rng(7)
    for number in range(60):
        nm, mrad = float(draw.choice(WAVELENGTHS)), float(draw.choice([1.5, 10.0]))
        pulse = float(10 ** draw.uniform(-9, -2))
        period = pulse * float(10 ** draw.uniform(0, 4))
        exposure = float(np.clip(period * draw.uniform(1, 40), pulse, 3e4))
        starts = np.arange(math.ceil(exposure / period) + 1) * period
        case = (tissue, nm, starts, pulse, exposure, mrad)
        expected = per_pulse(*case)
        for found in (
            pulse_train_limit(NAME, tissue, nm * 1e-9, pulse, 1 / period, exposure, mrad * 1e-3),
            pulse_train_limit(NAME, tissue, nm * 1e-9, pulse, 1 / period, exposure, mrad * 1e-3),
        ):
            assert float(found.per_pulse) == pytest.approx(expected, rel=1e-9), (number, case)
        quick = float(trains_at(NAME, tissue, nm * 1e-9, exposure, mrad * 1e-3).per_pulse(pulse, 1 / period))
        assert quick == pytest.approx(expected, rel=1e-9), (number, case)
        gaps = np.cumsum(pulse * 10 ** draw.uniform(0.1, 3, 6))
        found = pulse_list_limit(NAME, tissue, nm * 1e-9, gaps, pulse, 1.0, 10.0, mrad * 1e-3)
        assert float(found.per_pulse) == pytest.approx(per_pulse(tissue, nm, gaps, pulse, 10.0, mrad), rel=1e-9)


def test_distances_of_any_edition_are_those_of_its_own_train_factor():
    # 1064 nm, 10 ns, 1 mJ, 10 kHz for 10 s: no two in 30 us, N = 100 000, N^-0.25 = 0.056, not below 0.3: 3e-3 x 0.3 =
    # 9e-4 J/m2 (mean: 15 x 10^0.8 / 1e5 = 9.46e-4). 4 mJ / (pi x 9e-4) in 1 mrad: 1189.4 m, less the waist
    beam = collimated(3e-3, 1e-3, "1/e")
    one = direct_reach(Received(NAME, "eye", pulse_train(1e-3, 1e-8, 1e4), 1064e-9, 10.0), beam).distance
    z = math.sqrt(4e-3 / (math.pi * 9e-4) - 9e-6) / 1e-3
    assert one == pytest.approx(z, rel=1e-4)
    many = direct_distance(
        collimated_beam("3 mm", "1 mrad", "1/e"), "1064 nm", "10 s", pulse_energy=np.full(300, 1e-3),
        pulse_duration=1e-8, repetition_rate=np.geomspace(1e3, 1e4, 300), rule_set=NAME,
    )  # fmt: skip
    assert float(many.distance[-1]) == pytest.approx(one, rel=1e-9)
    alone = [
        direct_reach(Received(NAME, "eye", pulse_train(1e-3, 1e-8, f), 1064e-9, 10.0), beam).distance
        for f in (1e3, 1e4)
    ]
    assert many.distance[[0, -1]] == pytest.approx(alone, rel=1e-9)


def test_narrow_beams_of_any_edition_are_averaged_over_its_apertures():
    draw = np.random.default_rng(17)
    for nm in (250.0, 350.0, 1550.0, 10600.0):
        starts = np.sort(10 ** draw.uniform(-1, 1.2, 6))
        emission = pulse_pattern(tuple((float(s), 1e-8, 1e-3) for s in starts))
        for z in (0.1, 0.5, 2.0):
            beam = collimated(0.3e-3, 1e-3, "1/e")
            d = float(diameters(beam, z)[0])
            worst = max(
                number * float(mean_exposure(1.0, d, d, hole, "gaussian")) / dose
                for number, dose, hole in comparisons("eye", nm, starts, 1e-8, 20.0)
            )
            energy = 1.0 / worst  # the limit is met at z, beyond it nothing is above
            lit = pulse_pattern(tuple((s, t, energy) for s, t, _ in emission.pulses))
            assert direct_reach(Received(NAME, "eye", lit, nm * 1e-9, 20.0), beam).distance == pytest.approx(
                z, rel=5e-3
            )


@pytest.mark.parametrize("nm", [532.0, 1300.0, 1550.0])
def test_worst_settings_of_any_edition_take_its_edges(nm):
    # 3e-5 s, 80e-6 s and 2e-3 s end rows or T_i in this edition alone
    space = SettingSpace("pulse train", (1e-3, 5.0), (1e-3, 1e-3), (1e-6, 1e-2), (2.0, 2e5))
    for tissue in ("eye", "skin"):
        highest, _ = worst_ratio(space, (NAME,), tissue, nm * 1e-9, 10.0)
        limits = trains_at(NAME, tissue, nm * 1e-9, 10.0)
        for pulse in (1e-6, 3e-5, 80e-6, 5e-4, 2e-3, 1e-2):
            at = np.concatenate(
                [np.geomspace(2.0, 2e5, 3000), *(np.arange(1, 500) / t for t in (3e-5, 80e-6, 5e-4, 10))]
            )
            rate = np.unique(np.clip(at[:, None] * [1 - 4e-9, 1, 1 + 4e-9], 2.0, min(2e5, 1 / pulse)))
            energy = np.minimum(1e-3, 5.0 / rate)
            assert (energy / limits.per_pulse(pulse, rate)).max() <= highest * (1 + 1e-8), (
                tissue,
                pulse,
            )


def test_scans_of_any_edition_take_its_apertures_and_its_train_factor():
    # 0.2 rad at 50 Hz, 20 pulses a period, at 10 m: two of them cross, 1002 in 10 s; 3e-3 J/m2 x 0.3
    line, beam = ScanPattern("line", (0.2, 0.2), 50.0, "triangle"), collimated(3e-3, 1e-3, "1/e")
    assert Scan(NAME, "skin", beam, 532e-9, 10.0, line).aperture == 3.5e-3  # the largest of all three
    assert Scan(NAME, "eye", beam, 10.6e-6, 10.0, line).aperture == pytest.approx(4e-3)  # 3.5 mm in the others
    exposure = float(mean_exposure(1e-6, *diameters(beam, 10.0), 6e-3, "gaussian"))
    found = float(scan_ratio(Scan(NAME, "eye", beam, 532e-9, 10.0, line), pulse_train(1e-6, 1e-8, 1000.0), 10.0))
    assert exposure / 9e-4 * (1 - 1e-9) <= found <= exposure / 9e-4 * 1.01


def test_scatter_and_a_whole_case_know_any_edition():
    # 8 W/m2 from 20 s on, small source: 10 W, Lambert: sqrt(10 / (8 pi)) = 0.6308 m; 15 x 20^-0.2 = 8.24 is laxer
    found = scatter_reach(Received(NAME, "eye", continuous(10.0), 532e-9, 100.0))
    assert found.distance == pytest.approx(math.sqrt(10 / (8 * math.pi)), rel=1e-9)
    text = HEAD + laser("A", "1064 nm") + person("Visitor", "8 m", "spectator")
    zone = assess(parse_case(text)).setups[0].zone("direct", "eye")
    assert set(zone.by_rule_set) == set(rule_sets())
    assert zone.distance == max(zone.by_rule_set.values())
