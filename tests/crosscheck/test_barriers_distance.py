"""The nearest place for a barrier against root finding on the peak irradiance, written out independently."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from lasersafe.hazard.barriers import barrier_distance
from lasersafe.optics.beam import BeamGeometry


@pytest.mark.parametrize("profile", ["gaussian", "top-hat"])
@pytest.mark.parametrize("seed", range(40))
def test_distance_keeps_the_peak_at_the_rating(seed, profile):
    random = np.random.default_rng(seed)
    waist = tuple(float(w) for w in 10 ** random.uniform(-5, -2, 2))
    divergence = tuple(float(w) for w in 10 ** random.uniform(-3, -0.7, 2))
    position = (float(random.uniform(0, 0.5)),) * 2
    if seed % 2:
        waist, divergence = (waist[0],) * 2, (divergence[0],) * 2
    power, rating = float(10 ** random.uniform(1, 4)), float(10 ** random.uniform(4, 6))
    beam = BeamGeometry(waist, divergence, position, profile, "hyperbolic")

    def excess(z):
        axes = [math.hypot(w, d * (z - position[0])) for w, d in zip(waist, divergence, strict=True)]
        return math.log(power / (math.pi / 4 * axes[0] * axes[1]) / rating)

    got = barrier_distance(power, rating, beam)
    if excess(position[0]) <= 0:
        assert got == 0.0
    else:
        expected = brentq(excess, position[0], 1e6, xtol=1e-12, rtol=1e-14)
        assert got == pytest.approx(expected, rel=1e-7)
        assert excess(got) <= 0
