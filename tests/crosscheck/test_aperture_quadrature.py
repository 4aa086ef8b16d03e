"""Fraction of a beam through an aperture, against quadrature over the plane in other coordinates (scipy)."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, optimize, special

from lasersafe.optics.beam import fraction_through, mean_exposure, peak_exposure


def gaussian_by_strips(dx: float, dy: float, aperture: float) -> float:
    """Integrate exp(-(2x/dx)^2 - (2y/dy)^2) over a disc in strips x = constant; the strip has a closed form (erf)."""
    radius = aperture / 2.0

    def strip(angle: float) -> float:
        x, half_height = radius * math.sin(angle), radius * math.cos(angle)
        density = math.exp(-((2.0 * x / dx) ** 2)) * 2.0 / (dx * math.sqrt(math.pi))
        return density * float(special.erf(2.0 * half_height / dy)) * half_height

    quarter = math.pi / 2.0
    steps = {math.asin(s * dx / 2.0 / radius) for s in (0.3, 1.0, 3.0, 6.0) if s * dx / 2.0 < radius}
    steps |= {quarter - math.asin(s * dy / 2.0 / radius) for s in (0.3, 1.0, 3.0, 6.0) if s * dy / 2.0 < radius}
    value, _ = integrate.quad(strip, 0.0, quarter, points=sorted(steps) or None, epsabs=0.0, epsrel=1e-12, limit=500)
    return 2.0 * value


def top_hat_by_strips(dx: float, dy: float, aperture: float) -> float:
    """Integrate the lower of circle and ellipse over x = end sin(t); split where they cross, found by brentq."""
    a, b, radius = dx / 2.0, dy / 2.0, aperture / 2.0
    end = min(a, radius)

    def circle(x: float) -> float:
        return math.sqrt(max(radius**2 - x**2, 0.0))

    def ellipse(x: float) -> float:
        return b * math.sqrt(max(1.0 - (x / a) ** 2, 0.0))

    def strip(angle: float) -> float:
        x = end * math.sin(angle)
        return min(circle(x), ellipse(x)) * end * math.cos(angle)

    cuts = [0.0, math.pi / 2.0]
    if (circle(0.0) - ellipse(0.0)) * (circle(end) - ellipse(end)) < 0.0:
        cuts.insert(1, math.asin(optimize.brentq(lambda x: circle(x) - ellipse(x), 0.0, end, xtol=1e-15) / end))
    parts = [integrate.quad(strip, low, high, epsabs=0.0, epsrel=1e-12, limit=500)[0] for low, high in pairwise(cuts)]
    return 4.0 * sum(parts) / (math.pi * a * b)


@pytest.mark.parametrize("ratio", [1e-3, 0.1, 0.5, 1.0, 2.0, 30.0])
def test_circular_gaussian(ratio):
    value, _ = integrate.quad(lambda r: 2.0 * r * math.exp(-(r**2)), 0.0, ratio, epsabs=0.0, epsrel=1e-13, limit=200)
    assert float(fraction_through(1.0, 1.0, ratio)) == pytest.approx(value, rel=1e-12, abs=0)


@pytest.mark.parametrize("aspect", [1.001, 1.5, 3.0, 10.0, 100.0, 1000.0])
@pytest.mark.parametrize("aperture", [0.01, 0.3, 1.0, 4.0, 50.0])
def test_elliptical_gaussian(aspect, aperture):
    dx, dy = math.sqrt(aspect), 1.0 / math.sqrt(aspect)
    expected = gaussian_by_strips(dx, dy, aperture)
    assert float(fraction_through(dx, dy, aperture)) == pytest.approx(expected, rel=1e-11, abs=0)
    assert float(fraction_through(dy, dx, aperture)) == pytest.approx(expected, rel=1e-11, abs=0)


@pytest.mark.parametrize(("dx", "dy"), [(1.0, 1.0), (1.2, 1.0), (4.0, 0.5), (100.0, 0.1), (0.3, 0.2)])
@pytest.mark.parametrize("aperture", [0.05, 0.5, 1.0, 1.1, 3.0, 200.0])
def test_top_hat(dx, dy, aperture):
    expected = top_hat_by_strips(dx, dy, aperture)
    assert float(fraction_through(dx, dy, aperture, "top-hat")) == pytest.approx(expected, rel=1e-11, abs=0)
    assert float(fraction_through(dy, dx, aperture, "top-hat")) == pytest.approx(expected, rel=1e-11, abs=0)


def test_a_line_focus_is_the_limit_of_a_thin_ellipse():
    # a Gaussian line across a disc: the part with |x| below the radius, erf
    assert float(fraction_through(1.0, 0.0, 0.7)) == pytest.approx(float(special.erf(0.7)), rel=1e-12, abs=0)
    # an even line of length 1 projected from a disc: integral of the chord over 0.7 of it
    value, _ = integrate.quad(lambda x: 4.0 / math.pi * math.sqrt(1.0 - x**2), 0.0, 0.7, epsabs=0.0, epsrel=1e-12)
    assert float(fraction_through(0.0, 1.0, 0.7, "top-hat")) == pytest.approx(value, rel=1e-12, abs=0)
    thin = fraction_through(1.0, [1e-4, 1e-7, 1e-10], 0.7, "top-hat")
    assert np.abs(thin - value).max() < 1e-7


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
def test_a_point_passes_whole(profile):
    assert float(fraction_through(0.0, 0.0, 1e-3, profile)) == 1.0


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
@pytest.mark.parametrize(("dx", "dy"), [(1.0, 1.0), (1.0, 2.5)])
def test_a_wide_beam_averages_to_its_peak(profile, dx, dy):
    mean = float(mean_exposure(3.0, dx, dy, 1e-6, profile))
    assert mean == pytest.approx(float(peak_exposure(3.0, dx, dy)), rel=1e-11, abs=0)


def test_arrays_agree_with_single_calls():
    dx = np.array([1.0, 1.0, 2.0, 0.0, 0.5])
    dy = np.array([[1.0], [3.0]])
    for profile in ("gaussian", "top-hat"):
        together = fraction_through(dx, dy, 0.8, profile)
        assert together.shape == (2, 5)
        alone = [[float(fraction_through(x, float(y[0]), 0.8, profile)) for x in dx] for y in dy]
        assert together == pytest.approx(np.array(alone), rel=1e-14, abs=0)
