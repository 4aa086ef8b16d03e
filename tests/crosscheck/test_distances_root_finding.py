"""Distances against root finding (scipy.optimize.brentq) on formulas written again here; 10 000 random beams."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, optimize, special

from lasersafe.hazard.distances import direct_distance, farthest_crossing
from lasersafe.hazard.scatter import scatter_farthest
from lasersafe.optics.beam import BeamGeometry, diameters, mean_exposure
from lasersafe.optics.reflection import LitSpot

CIRCULAR, ELLIPTICAL = 9600, 400


def gaussian_fraction(diameter: float, aperture: float) -> float:
    """Integral of a Rayleigh density, as a chi-square probability of two degrees of freedom."""
    return float(special.gammainc(1.0, (aperture / diameter) ** 2))


def excess(z: float, row: np.ndarray, profile: str, propagation: str) -> float:
    amount, limit, aperture, waist, angle, position = row
    way = angle * (z - position)
    diameter = math.sqrt(waist**2 + way**2) if propagation == "hyperbolic" else waist + abs(way)
    fraction = gaussian_fraction(diameter, aperture) if profile == "gaussian" else min(1.0, (aperture / diameter) ** 2)
    return math.log(4.0 * amount * fraction / (math.pi * aperture**2 * limit))


def random_rows(count: int, seed: int) -> np.ndarray:
    draw = np.random.default_rng(seed)
    return np.stack(
        [
            10.0 ** draw.uniform(-3, 4, count),
            10.0 ** draw.uniform(-1, 4, count),
            10.0 ** draw.uniform(-3.0, -1.3, count),
            10.0 ** draw.uniform(-5, -1.5, count),
            10.0 ** draw.uniform(-4, -0.5, count),
            draw.uniform(-1.0, 1.0, count),
        ],
        axis=1,
    )


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
@pytest.mark.parametrize("propagation", ["hyperbolic", "linear"])
def test_circular_beams(profile, propagation):
    rows = random_rows(CIRCULAR // 4, seed=len(profile) * 100 + len(propagation))
    amount, limit, aperture, *columns = rows.T
    ours = direct_distance(amount, limit, aperture, BeamGeometry(*((c, c) for c in columns), profile, propagation))
    exceeded = 0
    for row, distance in zip(rows, ours, strict=True):
        start = max(row[5], 0.0)
        if excess(start, row, profile, propagation) <= 0.0:
            assert distance == 0.0
            continue
        exceeded += 1
        far = start + 2.0 * math.sqrt(4.0 * row[0] / (math.pi * row[1])) / row[4]
        root = optimize.brentq(excess, start, far, args=(row, profile, propagation), xtol=1e-300, rtol=4e-15)
        assert distance == pytest.approx(root, rel=1e-9, abs=0)
    assert exceeded > CIRCULAR // 16


def elliptical_fraction(dx: float, dy: float, aperture: float) -> float:
    """The strip integral with erf, by a fixed Gauss rule on the angle; independent of the package's own integral."""
    x, weight = GAUSS
    angle = 0.5 * math.pi * 0.5 * (x + 1.0)
    radius = aperture / 2.0
    long_axis, short_axis = max(dx, dy), min(dx, dy)
    strip = np.exp(-((2.0 * radius * np.sin(angle) / long_axis) ** 2)) * special.erf(
        2.0 * radius * np.cos(angle) / short_axis
    )
    total = float((strip * np.cos(angle) * weight).sum()) * math.pi / 4.0
    return 2.0 * radius * 2.0 / (long_axis * math.sqrt(math.pi)) * total


GAUSS = np.polynomial.legendre.leggauss(400)


def test_elliptical_beams():
    draw = np.random.default_rng(7)
    exceeded = 0
    for _ in range(ELLIPTICAL):
        amount, limit = 10.0 ** draw.uniform(-1, 4), 10.0 ** draw.uniform(0, 4)
        aperture = 10.0 ** draw.uniform(-3.0, -1.3)
        waists = 10.0 ** draw.uniform(-3.5, -2, 2)
        angles = 10.0 ** draw.uniform(-3, -1, 2)
        positions = draw.uniform(-2.0, 0.0, 2)  # beyond both waists the exposure only falls
        beam = BeamGeometry(tuple(waists), tuple(angles), tuple(positions))

        def above(z, amount=amount, limit=limit, aperture=aperture, w=waists, a=angles, p=positions):
            dx, dy = np.sqrt(w**2 + (a * (z - p)) ** 2)
            return math.log(4.0 * amount * elliptical_fraction(dx, dy, aperture) / (math.pi * aperture**2 * limit))

        ours = direct_distance(amount, limit, aperture, beam)
        if above(0.0) <= 0.0:
            assert ours == 0.0
            continue
        exceeded += 1
        far = 2.0 * math.sqrt(4.0 * amount / (math.pi * limit * angles[0] * angles[1]))
        assert ours == pytest.approx(optimize.brentq(above, 0.0, far, xtol=1e-300, rtol=4e-15), rel=1e-9, abs=0)
    assert exceeded > ELLIPTICAL // 4


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_astigmatic_beams_against_a_dense_scan(profile):
    """Two waists apart: the farthest excess, against 20 001 places and the package's own averaged exposure."""
    draw = np.random.default_rng(11)
    between = 0
    for _ in range(12):
        beam = BeamGeometry(
            tuple(10.0 ** draw.uniform(-4.5, -3, 2)),
            tuple(10.0 ** draw.uniform(-2, -0.7, 2)),
            tuple(draw.uniform(0.05, 2.0, 2)),
            profile,
        )
        aperture = 3.5e-3
        place = np.sort(np.concatenate([np.linspace(0.0, 4.0, 20_001), beam.waist_position]))
        exposure = mean_exposure(1.0, *diameters(beam, place), aperture, profile)
        limit = float(np.quantile(exposure, draw.uniform(0.7, 0.995)))
        over = place[exposure > limit]
        far = float(direct_distance(1.0, limit, aperture, beam))
        step = 4.0 / 20_000
        if over[-1] < 4.0:
            assert over[-1] <= far <= over[-1] + step
        between += far < max(beam.waist_position)
    assert between > 0


def test_extended_source_scatter():
    draw = np.random.default_rng(13)
    for _ in range(60):
        power, spot = 10.0 ** draw.uniform(0, 3.5), 10.0 ** draw.uniform(-4, -1.5)
        base, view = 10.0 ** draw.uniform(0.5, 2), draw.uniform(0, 1.4)

        def limit(first, second, at, base=base):
            del at
            return base * np.clip((first + second) / 3e-3, 1.0, 66.7)

        def above(r, power=power, spot=spot, view=view, base=base):
            mean = 0.5 * (2 * math.atan(spot * math.cos(view) / 2 / r) + 2 * math.atan(spot / 2 / r))
            return math.log(power * math.cos(view) / (math.pi * r * r) / (base * min(max(mean / 1.5e-3, 1), 66.7)))

        ours = float(scatter_farthest(power, limit, LitSpot(1.0, view, "lambert", spot), ()))
        root = optimize.brentq(above, 1e-4, 1e3, xtol=1e-300, rtol=4e-15)
        assert ours == pytest.approx(root, rel=1e-9, abs=0)


def test_farthest_of_several_crossings():
    # a comb of four humps; the last falls through 1 where sin(5 z) = 0.5 for the last time before z = 7
    def ratio(z):
        return np.where(z < 7.0, np.maximum(0.5 + np.sin(5.0 * z), 0.0), 0.0)

    last = (2.0 * math.pi * 5 + math.pi - math.asin(0.5)) / 5.0
    assert last < 7.0
    assert float(farthest_crossing(ratio, 0.1, 20.0)) == pytest.approx(last, rel=1e-12, abs=0)


def test_the_gauss_rule_of_this_file_is_good_enough():
    for dx, dy, aperture in [(1.0, 1.0, 0.5), (3.0, 0.1, 1.0), (0.02, 1.0, 1.0)]:
        radius = aperture / 2

        def density(y, x, dx=dx, dy=dy):
            return math.exp(-((2 * x / dx) ** 2) - (2 * y / dy) ** 2) * 4 / (math.pi * dx * dy)

        value, _ = integrate.dblquad(
            density,
            0.0,
            min(radius, 4 * dx),
            0.0,
            lambda x, radius=radius, dy=dy: min(math.sqrt(max(radius**2 - x * x, 0.0)), 4 * dy),
            epsabs=1e-11,
        )
        assert elliptical_fraction(dx, dy, aperture) == pytest.approx(4 * value, rel=1e-8, abs=0)
